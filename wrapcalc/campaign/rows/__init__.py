"""Rows judged as arrays by the formulas of the single case."""
