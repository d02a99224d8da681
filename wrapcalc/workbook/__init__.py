"""See DEVELOPERS.md for what lives in `workbook/` and what it may import."""
