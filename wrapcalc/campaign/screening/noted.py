"""What the user must know of rows that are screened all the same: how many there are, and the first of them."""

from __future__ import annotations

import numpy as np

_FIRST = 5


class Noted:
    """Notes about rows, collected block by block; the same whatever the size of the blocks."""

    def __init__(self) -> None:
        self._count: dict[str, int] = {}
        self._first: dict[str, list[int]] = {}

    def add(self, text: str, rows: np.ndarray) -> None:
        """text: what is odd, as in "12 rows (rows 3, 4 and more): TEXT"; rows: their numbers; none leaves no note."""
        if len(rows):
            self._count[text] = self._count.get(text, 0) + len(rows)
            few = np.partition(rows, _FIRST)[:_FIRST] if len(rows) > _FIRST else rows
            self._first[text] = sorted([*self._first.get(text, []), *few.tolist()])[:_FIRST]

    @property
    def texts(self) -> tuple[str, ...]:
        """A sentence for each note."""
        return tuple(f"{n} {'row' if n == 1 else 'rows'} ({_words(self._first[text], n)}): {text}."
                     for text, n in sorted(self._count.items()))


def rows_in_words(rows: np.ndarray) -> str:
    """"rows 3, 7, 12 and more"."""
    return _words(rows[:_FIRST].tolist(), len(rows))


def _words(first: list[int], count: int) -> str:
    return f"row{'s' if count > 1 else ''} {', '.join(map(str, first[:_FIRST]))}" + (
        " and more" if count > _FIRST else "")
