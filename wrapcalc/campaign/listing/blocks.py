"""A block of a listing as arrays, and the faults of its rows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wrapcalc.campaign.listing.columns import NUMBERS, TEXTS


@dataclass(frozen=True, slots=True)
class RowFault:
    """What is wrong with a row. row: as a spreadsheet shows it, the first row of the file is 1; column: its heading."""

    row: int
    column: str
    found: str
    allowed: str
    mend: str


@dataclass(frozen=True)
class Block:
    """Sound rows of a listing, and the faults of those that are not; no row is in both.

    row: number of each sound row; columns: name -> array, in mm, shares of the wall, hours of the clock from 0 to less
    than 12, degrees of latitude; NaN and "" are what is not stated. Every known column is there.
    """

    row: np.ndarray
    columns: dict[str, np.ndarray]
    faults: list[RowFault]


def unstated(rows: int) -> dict[str, np.ndarray]:
    """Columns of so many rows of which nothing is stated."""
    none, blank = np.full(rows, np.nan), np.full(rows, "", dtype=object)
    return {**dict.fromkeys(TEXTS, blank), **dict.fromkeys(NUMBERS, none)}
