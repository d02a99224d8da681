"""Depth grids: CSV in, a frozen grid of arrays out.

The first cell of the first row is the unit of everything ("mm" or "in"); the rest of the row are the axial
stations, growing downstream; each further row is one circumferential station, clockwise facing downstream,
and its depths. Example:

    mm,0,20,40
    0,0,0,0
    25,0,1.4,0
    50,0,0,0

With "mm remaining" (or "in remaining") in the first cell the readings are the wall that remains; `as_depth` makes
depths of them. A clean file is read at once; one with anything odd is read cell by cell, so that each fault is named.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from wrapcalc import units
from wrapcalc.case.csv_table import UNITS, Row, counted, length, lengths, read_rows
from wrapcalc.errors import CaseFaults, Fault

MAX_CELLS = 4_000_000
MAX_BYTES = 40_000_000
_FORM = "a unit, axial stations, and at least two rows of depths, separated by commas"
_START = "start from the grid of `wrapcalc example`"
_SAME = 1e-6  # mm within which two grids have the same station or reading


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """axial (n) and around (m) stations and depth (m rows of n), in mm, read-only. notes: what was changed, in words.

    remaining: the readings are remaining wall, not depth, until `as_depth` has been applied.
    """

    axial: np.ndarray
    around: np.ndarray
    depth: np.ndarray
    unit: str
    notes: tuple[str, ...] = ()
    remaining: bool = False

    def __post_init__(self) -> None:
        for field in ("axial", "around", "depth"):
            given = getattr(self, field)
            if not (isinstance(given, np.ndarray) and given.dtype == float and not given.flags.writeable):
                given = np.array(given, dtype=float)
                given.flags.writeable = False
                object.__setattr__(self, field, given)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Grid):
            return NotImplemented
        return ((self.unit, self.notes, self.remaining) == (other.unit, other.notes, other.remaining) and all(
            np.array_equal(getattr(self, f), getattr(other, f)) for f in ("axial", "around", "depth")))

    __hash__ = None  # type: ignore[assignment]

    @property
    def deepest_at(self) -> tuple[int, int]:
        """Row and column of the deepest node; the first in reading order."""
        row, column = np.unravel_index(int(np.argmax(self.depth)), self.depth.shape)
        return int(row), int(column)

    @property
    def deepest(self) -> tuple[float, int, int]:
        """(depth, row, column) of the deepest node; the first in reading order."""
        row, column = self.deepest_at
        return float(self.depth[row, column]), row, column

    @property
    def profile(self) -> np.ndarray:
        """River-bottom profile (n): at each axial station the deepest reading of any row."""
        return self.depth.max(axis=0)

    def ends_on_sound_wall(self) -> bool:
        """Whether every reading on the rim is zero."""
        d = self.depth
        return not (d[0].any() or d[-1].any() or d[:, 0].any() or d[:, -1].any())

    def extent(self) -> tuple[float, float]:
        """Axial and circumferential distance between the first and last readings that show loss."""
        cols, rows = np.flatnonzero(self.depth.any(axis=0)), np.flatnonzero(self.depth.any(axis=1))
        if not len(cols):
            return 0.0, 0.0
        return (float(self.axial[cols[-1]] - self.axial[cols[0]]), float(self.around[rows[-1]] - self.around[rows[0]]))

    def extended(self, by: float) -> Grid:
        """The grid with a rim of zero depth at the declared distance outside its outermost readings."""
        axial, around = (np.concatenate([[s[0] - by], s, [s[-1] + by]]) for s in (self.axial, self.around))
        return replace(self, axial=axial, around=around, depth=np.pad(self.depth, 1))

    def raised(self, row: int, column: int, depth: float, note: str) -> Grid:
        """The grid with one node set to `depth`, and a note that says so."""
        new = self.depth.copy()
        new[row, column] = depth
        return replace(self, depth=new, notes=(*self.notes, note))

    def thinned(self, rows: int, columns: int) -> Grid:
        """At most so many rows and columns (3 or more), for drawings: the greatest reading of each block of stations.

        Never lower than the fine grid: each fine reading is in a block at least as deep (of remaining wall: as thin).
        The outermost stations stay as they are; a block stands at its middle station, the deepest one at its own.
        """
        if rows < 3 or columns < 3:
            raise ValueError("a grid is thinned to 3 rows and 3 columns or more")
        r, c = _blocks(len(self.around), rows), _blocks(len(self.axial), columns)
        if len(r) == len(self.around) and len(c) == len(self.axial):
            return self
        worst = np.minimum if self.remaining else np.maximum
        row, column = self.deepest_at
        return replace(self, axial=self.axial[_middles(c, len(self.axial), column)],
                       around=self.around[_middles(r, len(self.around), row)],
                       depth=worst.reduceat(worst.reduceat(self.depth, r, axis=0), c, axis=1))


def _blocks(count: int, most: int) -> np.ndarray:
    """Where blocks of stations start: first and last stand alone."""
    if count <= most:
        return np.arange(count)
    inner = 1 + np.arange(most - 2) * (count - 2) // (most - 2)
    return np.concatenate([[0], inner, [count - 1]])


def _middles(starts: np.ndarray, count: int, kept: int) -> np.ndarray:
    ends = np.append(starts[1:], count)
    return np.where((starts <= kept) & (kept < ends), kept, (starts + ends - 1) // 2)


# -- what a case may do to a grid ---------------------------------------------------------------------------------
def as_depth(grid: Grid, wall: float, words: str = "") -> Grid:
    """Depths of a grid of remaining wall: wall (mm) less each reading, 0 where a reading is above the wall.

    words: what that wall is, for the note. A grid of depths is returned as it is.
    """
    if not grid.remaining:
        return grid
    over = grid.depth - wall
    depth = _cleaned(np.maximum(-over, 0.0))
    which = f" ({words})" if words else ""
    notes = [f"Depths are the wall of {wall:g} mm{which} less the remaining wall that was read."]
    if count := int((over > 0).sum()):
        notes.append(f"{_readings(count)} above that wall, by at most {over.max():.4g} mm, and "
                     f"{'counts' if count == 1 else 'count'} as no loss.")
    return replace(grid, depth=depth, notes=(*grid.notes, *notes), remaining=False)


def with_noise_removed(grid: Grid, threshold: float) -> Grid:
    """The grid with readings below the threshold (mm) set to zero, and a note that says how many and the greatest."""
    low = (grid.depth > 0) & (grid.depth < threshold)
    if not (count := int(low.sum())):
        return grid
    note = (f"{_readings(count)} below the stated noise threshold of {threshold:g} mm, the greatest "
            f"{grid.depth[low].max():.4g} mm, and {'counts' if count == 1 else 'count'} as sound wall.")
    return replace(grid, depth=np.where(low, 0.0, grid.depth), notes=(*grid.notes, note))


def merged(a: Grid, b: Grid, name: str = "the grids") -> Grid:
    """One grid of two of one anomaly that were measured from the same datum.

    Where both have a pair of stations their readings must agree within 1e-6 mm, and together they must fill a
    rectangle. Raises CaseFaults that name each station of disagreement, or the stations that neither has.
    """
    if a.remaining != b.remaining:
        raise CaseFaults([Fault(name, "the first cell", "one grid of depths and one of remaining wall", "two grids of "
                                "one kind", "measure both the same way, or name one grid")])
    axial, ca, cb = _union(a.axial, b.axial)
    around, ra, rb = _union(a.around, b.around)
    depth = np.full((len(around), len(axial)), np.nan)
    depth[np.ix_(ra, ca)] = a.depth
    before = depth[np.ix_(rb, cb)]
    faults = [Fault(name, f"around {b.around[r]:g} mm (row {r + 2}), axial {b.axial[c]:g} mm (column {c + 2} of the "
                    "second grid)", f"{before[r, c]:g} mm in the first grid and {b.depth[r, c]:g} mm in the second",
                    "one reading at one place", "measure there again, and check that both grids have the same datum")
              for r, c in np.argwhere(np.abs(before - b.depth) > _SAME)]
    if faults:
        raise CaseFaults(counted(faults, name))
    depth[np.ix_(rb, cb)] = np.where(np.isnan(before), b.depth, before)
    missing = np.argwhere(np.isnan(depth))
    if len(missing):
        some = [f"around {around[r]:g} mm, axial {axial[c]:g} mm" for r, c in missing[:3].tolist()]
        raise CaseFaults([Fault(name, "the grids together", f"no reading at {len(missing)} of "
                                f"{depth.size} pairs of stations: "
                                f"{'; '.join(some)}{'; …' if len(missing) > 3 else ''}", "two grids that fill a "
                                "rectangle", "measure what is missing, or name one grid")])
    note = f"Two grids were joined: {len(a.around)} × {len(a.axial)} and {len(b.around)} × {len(b.axial)} readings."
    return Grid(axial, around, depth, a.unit, (*a.notes, *b.notes, note), a.remaining)


def _union(one: np.ndarray, other: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """All stations, and where those of each of the two are among them; what is within 1e-6 mm is one station."""
    both = np.concatenate([one, other])
    order = np.argsort(both, kind="stable")
    rank = np.concatenate([[0], np.cumsum(np.diff(both[order]) > _SAME)])
    at = np.empty(len(both), dtype=np.intp)
    at[order] = rank
    return both[order][np.searchsorted(rank, np.arange(rank[-1] + 1))], at[:len(one)], at[len(one):]


def _cleaned(depth: np.ndarray) -> np.ndarray:
    """To 12 decimal places: 9.53 - 8.13 is 1.4."""
    return np.round(depth, 12)


def _readings(count: int) -> str:
    return "1 reading lies" if count == 1 else f"{count} readings lie"


# -- reading ------------------------------------------------------------------------------------------------------
def read_grid(raw: bytes, name: str) -> Grid:
    """A grid from the bytes of its CSV file. Raises CaseFaults with every bad cell (the first 20, then how many)."""
    grid = _at_once(raw, name)
    if grid is not None:
        return grid
    rows = read_rows(raw, name, _FORM, _START)
    if len(rows) < 3 or len(rows[0][1]) < 3:
        raise CaseFaults([Fault(name, "the file", "less than two stations in one direction", _FORM, _START)])
    _refuse_too_many(sum(len(r) for _, r in rows), name)
    return _parsed(rows, name)


def _refuse_too_many(cells: int, name: str) -> None:
    if cells > MAX_CELLS:
        raise CaseFaults([Fault(name, "the file", f"{cells} cells", f"at most {MAX_CELLS}",
                                "keep the local maxima of a coarser grid")])


_PLAIN_BODY = b"0123456789+-.eE, \r\n"
_SEPARATORS = np.frombuffer(b",\r\n", dtype=np.uint8)
_LONGEST = 60  # characters of a cell that is plain beyond doubt


def _at_once(raw: bytes, name: str) -> Grid | None:
    """The grid of a clean file; None when anything in it needs a second look."""
    raw = raw.removeprefix(b"\xef\xbb\xbf").lstrip(b"\r\n")
    first, _, body = raw.partition(b"\n")
    head, _, stations = first.partition(b",")
    rest = stations + b"\n" + body
    if rest.translate(None, _PLAIN_BODY):
        return None
    unit, remaining = _unit(head.decode("ascii", "replace"))
    if unit not in UNITS:
        return None
    ends = np.flatnonzero(np.isin(np.frombuffer(rest, dtype=np.uint8), _SEPARATORS))
    if np.diff(ends, prepend=-1, append=len(rest)).max() > _LONGEST:
        return None
    lines = [line for line in rest.decode("ascii").splitlines() if line]
    if len(lines) < 3:
        return None
    _refuse_too_many(rest.count(b",") + len(lines) + 1, name)  # the comma after the unit was taken off
    lines[0] = "0," + lines[0]
    try:
        values = np.loadtxt(lines, delimiter=",", comments=None, ndmin=2)
    except ValueError:
        return None
    mm = lengths(values, unit) if values.shape[1] >= 3 and np.isfinite(values).all() else None
    if mm is None:
        return None
    grid = Grid(mm[0, 1:], mm[1:, 0], mm[1:, 1:], unit, remaining=remaining)
    rising = (np.diff(grid.axial) > 0).all() and (np.diff(grid.around) > 0).all()
    sound = (grid.depth > 0).all() if remaining else (grid.depth >= 0).all() and grid.depth.any()
    return grid if rising and sound else None


def _unit(cell: str) -> tuple[str, bool]:
    """Unit of the first cell, and whether the readings are remaining wall."""
    words = cell.split()
    return (words[0], True) if len(words) == 2 and words[1] == "remaining" else (cell.strip(), False)


def _parsed(rows: list[Row], name: str) -> Grid:
    faults: list[Fault] = []

    def fault(row: int, column: int, found: str, allowed: str, mend: str) -> None:
        line = rows[row][0]
        faults.append(Fault(name, f"row {line}, column {column + 1}", found, allowed, mend, line))

    header = rows[0][1]
    unit, remaining = _unit(header[0])
    if unit not in UNITS:
        two = unit.split()
        near = f"{two[0]} remaining" if len(two) == 2 and two[0] in UNITS and units.close(two[1], ["remaining"]) else \
            units.close(unit, UNITS)
        fault(0, 0, units.shown(unit) if unit else "no unit", f"the unit of all numbers: {', '.join(UNITS)}",
              f"did you mean '{near}'?" if near else "write the unit into the first cell")
    read = _Cells(unit if unit in UNITS else "mm", remaining, fault)
    values: list[list[float | None]] = []
    for r, (_, cells) in enumerate(rows):
        if len(cells) != len(header):
            fault(r, min(len(cells), len(header)), f"{len(cells)} cells", f"{len(header)} cells, as in the first row",
                  "add or remove cells")
        values.append(read.row(r, cells[:len(header)]))
    axial, around = values[0][1:], [row[0] for row in values[1:]]
    for label, stations in (("axial", axial), ("around", around)):
        for i in range(1, len(stations)):
            now, before = stations[i], stations[i - 1]
            if now is not None and before is not None and now <= before:
                row, column = (0, i + 1) if label == "axial" else (i + 1, 0)
                fault(row, column, f"{now:g} mm after {before:g} mm", f"growing {label} stations", "sort the stations")
    if not faults and not any(any(row[1:]) for row in values[1:]):
        fault(1, 1, "zero everywhere", "at least one depth", "check the file")
    if faults:
        raise CaseFaults(counted(faults, name))
    return Grid(axial, around, [r[1:] for r in values[1:]], unit, remaining=remaining)  # type: ignore[arg-type]


_PLAIN_CELL = re.compile(r" *[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)? *", re.ASCII)


class _Cells:
    """Reads rows of cells; a row that is plain is converted at once, another cell by cell."""

    def __init__(self, unit: str, remaining: bool, fault: Callable[[int, int, str, str, str], None]):
        self.unit, self.remaining, self.fault = unit, remaining, fault
        self.seen: dict[str, float | None] = {}  # bad cells are mostly the same few

    def row(self, r: int, cells: list[str]) -> list[float | None]:
        """The cells of row r in mm; None, and a fault, for what is no number or below 0. None for the first cell."""
        skip = 1 if r == 0 else 0
        body = cells[skip:]
        plain: np.ndarray | None = None
        if all(len(c) <= _LONGEST and _PLAIN_CELL.fullmatch(c) for c in body):
            plain = lengths(np.array(body, dtype=float), self.unit)
        if plain is not None and (r == 0 or not (plain[1:] <= 0 if self.remaining else plain[1:] < 0).any()):
            return [None] * skip + plain.tolist()
        return [None if c < skip else self._number(r, c, cell) for c, cell in enumerate(cells)]

    def _number(self, row: int, column: int, cell: str) -> float | None:
        if cell not in self.seen:
            self.seen[cell] = length(cell, self.unit)
        number, reading = self.seen[cell], row > 0 and column > 0
        if number is None:
            sound = "" if not reading or self.remaining else "; 0 for sound wall"
            self.fault(row, column, units.shown(cell) if cell.strip() else "an empty cell",
                       f"a number with a decimal point{sound}", "correct this cell")
        elif reading and self.remaining and number <= 0:
            self.fault(row, column, units.shown(cell), "a remaining wall above 0", "a hole is a leak, and no echo is "
                       "no reading: measure there again")
            return None
        elif reading and number < 0:
            self.fault(row, column, units.shown(cell), "a depth of 0 or more", "depths are positive; where the cells "
                       "are remaining wall, write 'mm remaining' into the first cell")
            return None
        return number
