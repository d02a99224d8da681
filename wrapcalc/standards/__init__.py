"""Documents, editions and clauses, and the numbers that belong to them. Numbers live in data/, never in code."""
