"""Texts of strangers in cells: a spreadsheet must not take one for a formula. Numbers are written as numbers."""

from __future__ import annotations

#: What a spreadsheet may run when a text begins with it.
RUNS = ("=", "+", "-", "@", "\t", "\r")


def safe_text(text: str) -> str:
    """The text with an apostrophe in front where a spreadsheet would run it; otherwise as it is."""
    return f"'{text}" if text.startswith(RUNS) else text
