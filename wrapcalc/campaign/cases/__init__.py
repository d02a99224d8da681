"""From ranked rows to cases: which are dug, and what each states."""
