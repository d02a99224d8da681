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

MAX_CELLS = 250_000


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
    """A grid from the bytes of its CSV file. Raises CaseFaults with every bad cell (the first 20)."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as e:
        raise CaseFaults([Fault(name, "the file", f"a byte that is not UTF-8 at position {e.start}", "UTF-8 text",
                                "save it as CSV (UTF-8)")]) from None
    try:
        rows = [r for r in csv.reader(io.StringIO(text), strict=True) if any(c.strip() for c in r)]
    except csv.Error as e:
        raise CaseFaults([Fault(name, "the file", f"text that is not CSV ({e})", "numbers separated by commas",
                                "save it again as CSV")]) from None
    if len(rows) < 3 or len(rows[0]) < 3:
        found = "nothing: it is empty" if not rows else "less than two stations in one direction"
        if rows and ";" in rows[0][0]:
            found = "semicolons between the cells"
        raise CaseFaults([Fault(name, "the file", found, "a unit, axial stations, and at least two rows of depths, "
                                "separated by commas", "see the blank case of `wrapcalc new`")])
    if len(rows) * len(rows[0]) > MAX_CELLS:
        raise CaseFaults([Fault(name, "the file", f"{len(rows) * len(rows[0])} cells", f"at most {MAX_CELLS}",
                                "keep the local maxima of a coarser grid")])
    return _parsed(rows, name)


def _parsed(rows: list[list[str]], name: str) -> Grid:
    faults: list[Fault] = []

    def fault(row: int, column: int, found: str, allowed: str, mend: str) -> None:
        faults.append(Fault(name, f"row {row + 1}, column {column + 1}", found, allowed, mend, row + 1))

    unit = rows[0][0].strip()
    if unit not in ("mm", "cm", "m", "in", "mil"):
        fault(0, 0, units.shown(unit) if unit else "no unit", "the unit of all numbers: mm, cm, m, in or mil",
              "write the unit into the first cell")
    for r, row in enumerate(rows[1:], 1):
        if len(row) != len(rows[0]):
            fault(r, min(len(row), len(rows[0])), f"{len(row)} cells", f"{len(rows[0])} cells, as in the first row",
                  "add or remove cells")
    if faults:
        raise CaseFaults(faults[:20])
    values: list[list[float]] = []
    for r, row in enumerate(rows):
        values.append([])
        for c, cell in enumerate(row):
            if r == c == 0:
                values[-1].append(0.0)
                continue
            try:
                number, pint_unit = units.parse(f"{cell.strip()} {unit}", "length")
            except units.QuantityFault:
                found = units.shown(cell) if cell.strip() else "an empty cell"
                fault(r, c, found, "a number with a decimal point; 0 for sound wall", "correct this cell")
                number, pint_unit = 0.0, "mm"
            number = float(units.convert(number, pint_unit, "mm"))
            if r and c and number < 0:
                fault(r, c, units.shown(cell), "a depth of 0 or more", "depths are positive; remaining wall is not "
                      "read by this version")
            values[-1].append(number)
    axial, around = values[0][1:], [row[0] for row in values[1:]]
    for label, stations, place in (("axial", axial, lambda i: (0, i + 1)), ("around", around, lambda i: (i + 1, 0))):
        for i in range(1, len(stations)):
            if stations[i] <= stations[i - 1]:
                fault(*place(i), f"{stations[i]:g} mm after {stations[i - 1]:g} mm", f"growing {label} stations",
                      "sort the stations")
    if not faults and not any(any(row[1:]) for row in values[1:]):
        fault(1, 1, "zero everywhere", "at least one depth", "check the file")
    if faults:
        raise CaseFaults(faults[:20])
    return Grid(tuple(axial), tuple(around), tuple(tuple(r[1:]) for r in values[1:]), unit)
