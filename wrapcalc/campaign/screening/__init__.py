"""A listing screened: passes, ranking, known repairs, comparisons, what is told and written."""
