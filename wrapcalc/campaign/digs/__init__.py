"""The dig list and the season."""
