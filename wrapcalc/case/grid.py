"""Depth grids: CSV in, a frozen grid that ends on sound wall out.

The first cell of the first row is the unit of everything ("mm" or "in"); the rest of the row are the axial
stations, growing downstream; each further row is one circumferential station, clockwise facing downstream,
and its depths. Example:

    mm,0,20,40
    0,0,0,0
    25,0,1.4,0
    50,0,0,0
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

from wrapcalc import units
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.fields import decoded

MAX_CELLS = 250_000
MAX_BYTES = 5_000_000
_MOST_FAULTS = 20
_UNITS = ("mm", "cm", "m", "in", "mil")


@dataclass(frozen=True, slots=True)
class Grid:
    """axial (n) and around (m) stations and depth (m rows of n), in mm. notes: what was changed, in words."""

    axial: tuple[float, ...]
    around: tuple[float, ...]
    depth: tuple[tuple[float, ...], ...]
    unit: str
    notes: tuple[str, ...] = ()

    @property
    def deepest(self) -> tuple[float, int, int]:
        """(depth, row, column) of the deepest node; the first in reading order."""
        return max(((d, -r, -c) for r, row in enumerate(self.depth) for c, d in enumerate(row)))

    @property
    def deepest_at(self) -> tuple[int, int]:
        """Row and column of the deepest node."""
        _, r, c = self.deepest
        return -r, -c

    @property
    def profile(self) -> tuple[float, ...]:
        """River-bottom profile: at each axial station the deepest reading of any row."""
        return tuple(max(row[c] for row in self.depth) for c in range(len(self.axial)))

    def ends_on_sound_wall(self) -> bool:
        """Whether every reading on the rim is zero."""
        return not (any(self.depth[0]) or any(self.depth[-1]) or any(r[0] or r[-1] for r in self.depth))

    def extent(self) -> tuple[float, float]:
        """Axial and circumferential distance between the first and last readings that show loss."""
        cols = [c for c in range(len(self.axial)) if any(r[c] for r in self.depth)]
        rows = [r for r in range(len(self.around)) if any(self.depth[r])]
        if not cols:
            return 0.0, 0.0
        return self.axial[cols[-1]] - self.axial[cols[0]], self.around[rows[-1]] - self.around[rows[0]]

    def extended(self, by: float) -> Grid:
        """The grid with a rim of zero depth at the declared distance outside its outermost readings."""
        axial = (self.axial[0] - by, *self.axial, self.axial[-1] + by)
        around = (self.around[0] - by, *self.around, self.around[-1] + by)
        zero = (0.0,) * len(axial)
        depth = (zero, *((0.0, *row, 0.0) for row in self.depth), zero)
        return Grid(axial, around, depth, self.unit, self.notes)

    def raised(self, row: int, column: int, depth: float, note: str) -> Grid:
        """The grid with one node set to `depth`, and a note that says so."""
        rows = [list(r) for r in self.depth]
        rows[row][column] = depth
        return Grid(self.axial, self.around, tuple(tuple(r) for r in rows), self.unit, (*self.notes, note))


def read_grid(raw: bytes, name: str) -> Grid:
    """A grid from the bytes of its CSV file. Raises CaseFaults with every bad cell (the first 20, then how many)."""
    text = decoded(raw, name, "save it as CSV (UTF-8)")

    def fault(found: str, allowed: str, mend: str) -> CaseFaults:
        return CaseFaults([Fault(name, "the file", found, allowed, mend)])

    form = "a unit, axial stations, and at least two rows of depths, separated by commas"
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        rows = [(reader.line_num, r) for r in reader if any(c.strip() for c in r)]
    except csv.Error as e:
        raise fault(f"text that is not CSV ({e})", "numbers separated by commas", "save it again as CSV") from None
    if not rows:
        raise fault("nothing: it is empty", form, "start from the grid of `wrapcalc example`")
    for mark, what in ((";", "semicolons"), ("\t", "tabs")):
        if mark in "".join(rows[0][1]):
            raise fault(f"{what} between the cells", "cells separated by commas, numbers with a decimal point",
                        "save it as CSV with commas, or replace decimal commas by points and then "
                        f"{what} by commas")
    if len(rows) < 3 or len(rows[0][1]) < 3:
        raise fault("less than two stations in one direction", form, "start from the grid of `wrapcalc example`")
    cells = sum(len(r) for _, r in rows)
    if cells > MAX_CELLS:
        raise fault(f"{cells} cells", f"at most {MAX_CELLS}", "keep the local maxima of a coarser grid")
    return _parsed(rows, name)


def _parsed(rows: list[tuple[int, list[str]]], name: str) -> Grid:
    faults: list[Fault] = []

    def fault(row: int, column: int, found: str, allowed: str, mend: str) -> None:
        line = rows[row][0]
        faults.append(Fault(name, f"row {line}, column {column + 1}", found, allowed, mend, line))

    header = rows[0][1]
    unit = header[0].strip()
    if unit not in _UNITS:
        near = units.close(unit, _UNITS)
        fault(0, 0, units.shown(unit) if unit else "no unit", f"the unit of all numbers: {', '.join(_UNITS)}",
              f"did you mean '{near}'?" if near else "write the unit into the first cell")
    values: list[list[float | None]] = []
    for r, (_, cells) in enumerate(rows):
        if len(cells) != len(header):
            fault(r, min(len(cells), len(header)), f"{len(cells)} cells", f"{len(header)} cells, as in the first row",
                  "add or remove cells")
        values.append([None if r == c == 0 else _number(r, c, cell, unit if unit in _UNITS else "mm", fault)
                       for c, cell in enumerate(cells[:len(header)])])
    axial, around = values[0][1:], [row[0] for row in values[1:]]
    for label, stations in (("axial", axial), ("around", around)):
        for i in range(1, len(stations)):
            now, before = stations[i], stations[i - 1]
            if now is not None and before is not None and now <= before:
                row, column = (0, i + 1) if label == "axial" else (i + 1, 0)
                fault(row, column, f"{now:g} mm after {before:g} mm", f"growing {label} stations", "sort the stations")
    if not faults and not any(any(row[1:]) for row in values[1:]):
        fault(1, 1, "zero everywhere", "at least one depth", "check the file")
    if len(faults) > _MOST_FAULTS:
        more = len(faults) - _MOST_FAULTS
        faults[_MOST_FAULTS:] = [Fault(name, "the file", f"{more} more faults like these", "none",
                                       "mend the ones above, then check again")]
    if faults:
        raise CaseFaults(faults)
    return Grid(tuple(axial), tuple(around), tuple(tuple(r[1:]) for r in values[1:]), unit)  # type: ignore[arg-type]


def _number(row: int, column: int, cell: str, unit: str, fault) -> float | None:
    """A cell in mm; None, and a fault, when it is no number or a depth below 0."""
    try:
        magnitude, pint_unit = units.parse(f"{cell.strip()} {unit}", "length")
    except units.QuantityFault:
        fault(row, column, units.shown(cell) if cell.strip() else "an empty cell",
              "a number with a decimal point" + ("; 0 for sound wall" if row and column else ""), "correct this cell")
        return None
    number = units.to_base(magnitude, pint_unit, "length")
    if row and column and number < 0:
        fault(row, column, units.shown(cell), "a depth of 0 or more", "depths are positive; remaining wall is not "
              "read by this version")
        return None
    return number
