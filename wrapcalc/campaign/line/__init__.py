"""The line behind a listing: base case, segments, girth welds, and where each row lies."""
