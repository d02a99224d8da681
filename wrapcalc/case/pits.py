"""Tables of pits: CSV in, a frozen table of boxes out.

The first row names the columns, in any order; sizes have their unit in the heading:

    name,start mm,length mm,width mm,depth mm,clock
    A,120,40,30,1.8,4:30
    B,190,25,25,2.4,5:00

`start` is the upstream edge of the pit, measured downstream from the datum. Its middle around the pipe stands either
under `clock` ("4:30" is half past four, facing downstream) or under `around mm` (arc, clockwise facing downstream from
the datum of the case). `name` and `weld`, the girth weld that cut the feature into two rows of
the listing, may be left out.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from wrapcalc import units
from wrapcalc.case.boxes import Boxes, shortest_arc
from wrapcalc.case.csv_table import UNITS, Row, counted, length, read_rows
from wrapcalc.case.model import Case
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.fields import FieldFault, read_text

MAX_PITS = 5_000
_SIZES = ("start", "length", "width", "depth", "around")
_WORDS = ("clock", "name", "weld")
_FORM = "a heading such as name,start mm,length mm,width mm,depth mm,clock and a row for each pit"
_START = f"write {_FORM.removeprefix('a ')}"
_NOISE = 1e-9  # share by which two conversions of the same size may differ
_TOUCH = 1e-6  # mm
_ROUND = 0.5  # mm


@dataclass(frozen=True, slots=True)
class Pit:
    """One pit in mm: upstream edge, sizes, depth; its middle by clock hours or by arc, the other None."""

    name: str
    start: float
    length: float
    width: float
    depth: float
    hours: float | None
    around: float | None
    weld: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class PitTable:
    """start, length, width, depth (n each, mm, read-only), and middle: hours of the clock, or arc in mm.

    by_clock: which of the two `middle` is. names, welds: "" where the file has none. notes: what was changed, in words.
    """

    start: np.ndarray
    length: np.ndarray
    width: np.ndarray
    depth: np.ndarray
    middle: np.ndarray
    by_clock: bool
    names: tuple[str, ...]
    welds: tuple[str, ...]
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for field in ("start", "length", "width", "depth", "middle"):
            new = np.array(getattr(self, field), dtype=float)
            new.flags.writeable = False
            object.__setattr__(self, field, new)

    def __len__(self) -> int:
        return len(self.start)

    @property
    def pits(self) -> tuple[Pit, ...]:
        """The pits one by one."""
        return tuple(Pit(n, *map(float, v[:4]), hours=float(v[4]) if self.by_clock else None,
                         around=None if self.by_clock else float(v[4]), weld=w) for n, w, *v in zip(
            self.names, self.welds, self.start, self.length, self.width, self.depth, self.middle, strict=True))

    def boxes(self, circumference: float) -> Boxes:
        """Boxes of full depth on a sheet of that circumference (mm); y0 is from 0 to the circumference."""
        middle = self.middle / 12 * circumference if self.by_clock else self.middle
        y0 = np.mod(middle - self.width / 2, circumference)
        return Boxes(self.start, self.start + self.length, y0, y0 + self.width, self.depth)

    def extent(self, circumference: float | None) -> tuple[float, float | None]:
        """Axial length of all pits together and the shortest arc that holds them (None without circumference), mm."""
        axial = float((self.start + self.length).max() - self.start.min())
        if circumference is None:
            return axial, None
        b = self.boxes(circumference)
        y0, y1 = shortest_arc(b.y0, b.y1, circumference)
        return axial, y1 - y0


# -- reading ------------------------------------------------------------------------------------------------------
def read_pits(raw: bytes, name: str) -> PitTable:
    """A table of pits from the bytes of its CSV file. Raises CaseFaults with every bad cell (the first 20, then how
    many)."""
    rows = read_rows(raw, name, _FORM, _START)
    if len(rows) < 2:
        raise CaseFaults([Fault(name, "the file", "no pits", _FORM, "write a row for each pit below the heading")])
    if len(rows) - 1 > MAX_PITS:
        raise CaseFaults([Fault(name, "the file", f"{len(rows) - 1} pits", f"at most {MAX_PITS}",
                                "keep the pits of this anomaly only, or name a grid")])
    columns = _headings(rows[0], name)
    faults: list[Fault] = []
    read = [_row(row, columns, name, faults) for row in rows[1:]]
    _twice(rows[1:], read, name, faults)
    if faults:
        raise CaseFaults(counted(faults, name))
    by_clock = "clock" in columns

    def of(key: str) -> list:
        return [r.get(key, "") for r in read]

    return PitTable(*(of(k) for k in _SIZES[:4]), of("clock" if by_clock else "around"), by_clock,  # type: ignore[arg-type]
                    tuple(of("name")), tuple(of("weld")))


def _headings(row: Row, name: str) -> dict[str, tuple[int, str]]:
    """Column -> (its place, its unit)."""
    line, cells = row
    faults: list[Fault] = []
    out: dict[str, tuple[int, str]] = {}
    meant: set[str] = set()  # columns that are there, with a faulty heading

    def fault(column: int, found: str, allowed: str, mend: str) -> None:
        faults.append(Fault(name, f"row {line}, column {column + 1}", found, allowed, mend, line))

    known = ["start mm", "length mm", "width mm", "depth mm", "around mm", *_WORDS]
    for column, cell in enumerate(cells):
        words = cell.split()
        head, unit = (words[0], " ".join(words[1:])) if words else ("", "")
        near = units.close(" ".join(words), known)
        meant |= {head, near.split()[0] if near else ""}
        if head in out:
            fault(column, f"'{head}' again", "each column once", "remove one of the two")
        elif (head in _SIZES and unit in UNITS) or (head in _WORDS and not unit):
            out[head] = (column, unit)
        elif head == "depth" and unit in ("%", "% wt", "%wt"):
            fault(column, units.shown(cell), f"depth, then one of the units {', '.join(UNITS)}",
                  "multiply each share by the wall it is a share of, and write depths")
        elif head in _SIZES:
            fault(column, units.shown(cell), f"{head}, then one of the units {', '.join(UNITS)}", f"write '{head} mm'")
        else:
            fault(column, units.shown(cell) if words else "a column without a heading", ", ".join(known),
                  f"did you mean '{near}'?" if near else "remove this column")
    for head in _SIZES[:4]:
        if head not in out and head not in meant:
            fault(len(cells), f"no column '{head} mm'", _FORM, "add it")
    if "clock" in out and "around" in out:
        fault(out["around"][0], "'clock' and 'around' together", "one of the two", "remove one of the two columns")
    elif not meant & {"clock", "around"}:
        fault(len(cells), "no column 'clock' or 'around mm'", _FORM, "add one of the two")
    if faults:
        raise CaseFaults(counted(faults, name))
    return out


def _row(row: Row, columns: dict[str, tuple[int, str]], name: str, faults: list[Fault]) -> dict:
    """Column -> value of one pit; a column whose cell is faulty is left out."""
    line, cells = row
    out: dict = {}

    def fault(column: int, found: str, allowed: str, mend: str = "correct this cell") -> None:
        faults.append(Fault(name, f"row {line}, column {column + 1}", found, allowed, mend, line))

    if len(cells) != len(columns):
        fault(min(len(cells), len(columns)), f"{len(cells)} cells", f"{len(columns)} cells, as in the first row",
              "add or remove cells; numbers take a decimal point")
        return out
    for head, (column, unit) in columns.items():
        cell = cells[column].strip()
        if head in ("name", "weld"):
            try:
                out[head] = read_text(cell) or ""
            except FieldFault as e:
                fault(column, e.found, e.allowed, e.mend)
        elif not cell:
            fault(column, "an empty cell", "a clock position such as 4:30" if head == "clock" else
                  "a number with a decimal point")
        elif head == "clock":
            hours = _hours(cell)
            if hours is None:
                fault(column, units.shown(cell), "a clock position facing downstream from 0:00 to 12:59",
                      "write 4:30 for half past four")
            else:
                out[head] = hours
        else:
            number = length(cell, unit)
            if number is None:
                fault(column, units.shown(cell), "a number with a decimal point")
            elif head in ("length", "width", "depth") and number <= 0:
                fault(column, units.shown(cell), f"a {head} of more than 0", "correct it, or remove the row")
            else:
                out[head] = number
    return out


def _hours(cell: str) -> float | None:
    """"4:30" -> 4.5, 12 o'clock is 0; None when it is no clock position."""
    m = re.fullmatch(r"([0-9]{1,2}):([0-5][0-9])", cell)
    return None if m is None or int(m[1]) > 12 else int(m[1]) % 12 + int(m[2]) / 60


def _twice(rows: list[Row], read: list[dict], name: str, faults: list[Fault]) -> None:
    """Faults for a name given to two pits, and for a pit that stands in the table twice."""
    names: dict[str, int] = {}
    places: dict[tuple, int] = {}
    for (line, _), pit in zip(rows, read, strict=True):
        if pit.get("name"):
            if pit["name"] in names:
                faults.append(Fault(name, f"row {line}", f"the name {units.shown(pit['name'])} again (line "
                                    f"{names[pit['name']]})", "a name for one pit", "rename one of the two", line))
            names.setdefault(pit["name"], line)
        place = tuple(pit.get(k) for k in ("start", "length", "width", "clock", "around"))
        if place.count(None) == 1:  # clock or around
            if place in places:
                faults.append(Fault(name, f"row {line}", f"the same pit again: place and sizes of line {places[place]}",
                                    "each pit once", "remove one of the two, the shallower one", line))
            places.setdefault(place, line)


# -- what a case may do to a table --------------------------------------------------------------------------------
def rejoined(table: PitTable, gap: float, circumference: float) -> PitTable:
    """Pieces that a listing split at a girth weld made one: same weld, axial gap at most `gap`, overlapping around.

    gap, circumference: mm. A joined pit is the box around its pieces, as deep as the deepest; a note names it.
    """
    while True:
        b = table.boxes(circumference)
        pair = next(_split_pairs(table, b, gap, circumference), None)
        if pair is None:
            return table
        table = _joined(table, b, *pair, circumference)


def _split_pairs(table: PitTable, b: Boxes, gap: float, circumference: float):
    welds: dict[str, list[int]] = {}
    for i, weld in enumerate(table.welds):
        if weld:
            welds.setdefault(weld, []).append(i)
    for members in welds.values():
        at = np.array(members)
        for k, i in enumerate(members):
            rest = at[k + 1:]
            apart = np.maximum(b.x0[rest] - b.x1[i], b.x0[i] - b.x1[rest])
            ahead = np.mod(b.y0[rest] - b.y0[i], circumference)
            lap = (ahead <= table.width[i] + _TOUCH) | (circumference - ahead <= table.width[rest] + _TOUCH)
            yield from ((i, int(j)) for j in rest[(apart <= gap + _TOUCH) & lap])


def _joined(table: PitTable, b: Boxes, i: int, j: int, circumference: float) -> PitTable:
    both, keep = [i, j], [k for k in range(len(table)) if k != j]
    start, end = float(b.x0[both].min()), float(b.x1[both].max())
    y0, y1 = shortest_arc(b.y0[both], b.y1[both], circumference)
    middle = (y0 + y1) / 2 % circumference
    new = {"start": start, "length": end - start, "width": y1 - y0, "depth": float(b.depth[both].max()),
           "middle": middle / circumference * 12 if table.by_clock else middle}
    columns = {}
    for field, value in new.items():
        column = getattr(table, field).copy()
        column[i] = value
        columns[field] = column[keep]
    names = [n or f"at {s:g} mm" for n, s in zip(table.names, table.start, strict=True)]
    name = " + ".join(names[k] for k in both)
    note = (f"Pits {names[i]} and {names[j]}, which the listing parts at girth weld {table.welds[i]}, are one: "
            f"{end - start:g} mm long, {y1 - y0:.4g} mm wide, {new['depth']:g} mm deep.")
    return replace(table, **columns, names=tuple(name if k == i else table.names[k] for k in keep),
                   welds=tuple(table.welds[k] for k in keep), notes=(*table.notes, note))


def fitted_pits(case: Case, table: PitTable, name: str, lines: dict[str, int]) -> PitTable:
    """The table with pieces rejoined as the case says, its deepest pit at the stated depth. Raises CaseFaults.

    name, lines: the case file and the lines of its fields.
    """
    d, diameter = case.defect, case.pipe.outside_diameter
    around = None if diameter is None else float(np.pi * diameter.base)
    faults: list[Fault] = []

    def fault(field_name: str, found: str, allowed: str, mend: str) -> None:
        faults.append(Fault(name, field_name, found, allowed, mend, lines.get(field_name)))

    if around is not None and table.width.max() > around * (1 + _NOISE):
        fault("defect.pits", f"'{d.pits}', where a pit is {table.width.max():g} mm wide",
              f"at most {around:.5g} mm, the circumference", "correct the width or the outside diameter")
        raise CaseFaults(faults)
    gap = getattr(d, "rejoin_gap", None)
    if gap is not None:
        if not any(table.welds):
            fault("defect.rejoin_gap", f"'{gap.written}'", "nothing: the table of pits has no column 'weld'",
                  "name the girth weld of each split pit in a column 'weld', or remove this")
        elif around is not None:
            table = rejoined(table, gap.base, around)
    elif len(cut := [w for w in table.welds if w]) > len(set(cut)):
        table = replace(table, notes=(*table.notes, "The table names girth welds at which the listing parts pits; "
                                      "without defect.rejoin_gap they are joined by the interaction rule only."))
    table = _at_stated_depth(case, table, fault)
    axial, wide = table.extent(around)
    if wide is not None and around is not None:
        wide = min(wide, around - _ROUND)  # all round: a width that is written in whole millimetres must do
    for field_name, given, extent in (("defect.length", d.length, axial), ("defect.width", d.width, wide)):
        if given is not None and extent is not None and given.base < extent * (1 - _NOISE):
            fault(field_name, f"'{given.written}'", f"at least {extent:.6g} mm, over which the table has pits",
                  "correct the stated size or the table")
    if faults:
        raise CaseFaults(faults)
    return table


def _at_stated_depth(case: Case, table: PitTable, fault: Callable[..., None]) -> PitTable:
    stated = case.defect.depth
    if stated is None:
        return table
    at = int(np.argmax(table.depth))
    top = float(table.depth[at])
    if top > stated.base * (1 + _NOISE):
        fault("defect.depth", f"'{stated.written}'", f"at least {top:g} mm, the deepest pit of the table",
              "state the greatest depth measured by any means")
    if top >= stated.base * (1 - _NOISE):
        return table
    depth = table.depth.copy()
    depth[at] = stated.base
    return replace(table, depth=depth, notes=(
        *table.notes, f"The stated depth {stated.written} is above what the table shows: its deepest pit ({top:g} mm), "
        f"{table.names[at] or f'at {table.start[at]:g} mm'}, was raised to it."))
