"""Tables of any length on disk, safe for spreadsheets."""
