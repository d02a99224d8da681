"""Searches, roots, integrals and clusters on bare arrays: what is not one closed formula. Each ends at a governing
sub-case, at which a stage then runs the closed formula, so that a reviewer can punch that. No input or output."""
