"""A depth grid as a spreadsheet gives it (tabs, semicolons, decimal commas), as the CSV that a case names.

Nothing is guessed: what could be read in two ways, and every cell that is no number, is told with its row and column as
they were pasted.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from wrapcalc import units
from wrapcalc.case import grid as grids
from wrapcalc.case.csv_table import UNITS
from wrapcalc.case.grid import Grid, read_grid
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.reading import decoded

POINT, COMMA = "point", "comma"
_FORM = ("the unit in the first cell, axial stations along the first row, and a row of depths for each station around")
_SEPARATORS = {"\t": "tabs", ";": "semicolons", ",": "commas"}
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+")
_COMMA_NUMBER = re.compile(r"[+\-−]?\d+,\d+(?:[eE][+-]?\d+)?")
#: What spreadsheets write where there is no number.
_NO_NUMBER = re.compile(r"#(?:REF|N/A|VALUE|DIV/0|NAME|NUM|NULL)\S*|n/?a|-+|–|x", re.IGNORECASE)


@dataclass(frozen=True)
class Pasted:
    """A grid that reads: the bytes of its CSV file, the grid, and what was done to it, in words."""

    csv: bytes
    grid: Grid
    notes: tuple[str, ...]


def read_pasted(text: str, *, unit: str = "", decimal: str = "", name: str = "the pasted grid") -> Pasted:
    """The grid in a piece of text from a spreadsheet, or in a CSV file.

    unit: the unit of all numbers ("mm", "mm remaining", ...) where the first cell does not say it; decimal: POINT or
    COMMA, "" where the cells show it. Raises CaseFaults with row and column.
    """
    rows, separator = _rows(text, name)
    rows, notes = _trimmed(rows)
    if len(rows) < 3 or max(len(r) for r in rows) < 3:
        raise CaseFaults([Fault(name, "the whole", f"{len(rows)} row{'s' if len(rows) > 1 else ''} and "
                                f"{max(map(len, rows), default=0)} columns", _FORM, "paste the whole table, with its "
                                "stations")])
    rows[0][0] = _first_cell(rows[0][0], unit, name)
    _blank_cells(rows, name)
    decimal = _decimal(rows, separator, decimal, name)
    if decimal == COMMA:
        rows = [[re.sub(r"^([^,]*),([^,]*)$", r"\1.\2", c) for c in r] for r in rows]
        notes.append("Decimal commas were read as decimal points.")
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    raw = out.getvalue().encode()
    try:
        return Pasted(raw, read_grid(raw, name), tuple(notes))
    except CaseFaults as e:
        raise CaseFaults(_first_and_count(e.faults, name)) from None


def text_of_file(raw: bytes, name: str) -> str:
    """The text of a CSV file that was chosen. Raises CaseFaults for a workbook and for what is not UTF-8."""
    if raw.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        raise CaseFaults([Fault(name, "the file", "a workbook of a spreadsheet", "a CSV file, or cells that are copied "
                                "and pasted", "copy the cells and paste them, or save the sheet as CSV (UTF-8)")])
    return decoded(raw, name, "save it as CSV (UTF-8)")


def _rows(text: str, name: str) -> tuple[list[list[str]], str]:
    if len(text) > grids.MAX_BYTES:
        raise CaseFaults([Fault(name, "the whole", f"{len(text) / 1e6:.3g} million characters", f"at most "
                                f"{grids.MAX_BYTES / 1e6:g} million", "keep the local maxima of a coarser grid")])
    text = text.lstrip("\ufeff")
    if not text.strip():
        raise CaseFaults([Fault(name, "the whole", "nothing", _FORM, "copy the cells in the spreadsheet, paste them "
                                "here")])
    separator = next((s for s in _SEPARATORS if s in text), "")
    if not separator:
        raise CaseFaults([Fault(name, "row 1", f"{units.shown(text.strip().splitlines()[0])}, without a separator",
                                "cells separated by tabs, semicolons or commas", "copy the cells in the spreadsheet "
                                "itself, not from a printed page")])
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error as e:
        raise CaseFaults([Fault(name, "the whole", f"cells that cannot be told apart ({e})", _FORM,
                                "remove the quotation marks")]) from None
    return [[" ".join(c.split()) for c in r] for r in rows], separator


def _trimmed(rows: list[list[str]]) -> tuple[list[list[str]], list[str]]:
    """Without rows and columns at the end in which nothing stands at all: more was marked than the table."""
    while rows and not any(rows[-1]):
        rows.pop()
    width = max((k + 1 for r in rows for k, c in enumerate(r) if c), default=0)
    cut = any(len(r) > width for r in rows)
    return [r[:width] for r in rows], ["Empty columns behind the table were left out."] if cut else []


def _fault(name: str, row: int, column: int, found: str, allowed: str, mend: str) -> CaseFaults:
    return CaseFaults([Fault(name, f"row {row + 1}, column {column + 1}", found, allowed, mend, row + 1)])


def _first_cell(cell: str, unit: str, name: str) -> str:
    """The unit of all numbers, as it stands in the first cell or was chosen."""
    allowed = f"the unit of all numbers: {', '.join(UNITS)}, with “remaining” behind it for remaining wall"
    words = cell.split()
    is_unit = bool(words) and words[0] in UNITS and words[1:] in ([], ["remaining"])
    if is_unit and unit and " ".join(words) != unit:
        raise _fault(name, 0, 0, units.shown(cell), f"the chosen unit, {unit}", "choose the unit that stands in the "
                     "first cell, or correct the cell")
    if is_unit:
        return " ".join(words)
    if not cell:
        if unit:
            return unit
        raise _fault(name, 0, 0, "an empty cell", allowed, "choose the unit beside the table, or write it into the "
                     "cell")
    near = units.close(cell, UNITS)
    raise _fault(name, 0, 0, units.shown(cell), allowed, f"did you mean '{near}'?" if near else "copy the table "
                 "without headings above or beside it: its first cell holds the unit, or nothing")


def _blank_cells(rows: Sequence[Sequence[str]], name: str) -> None:
    """The first cell in which nothing stands: blank, or part of a merged one."""
    width = len(rows[0])
    blank = [(r, c) for r, row in enumerate(rows) for c, cell in enumerate(row) if not cell]
    short = [(r, len(row)) for r, row in enumerate(rows) if len(row) < max(len(x) for x in rows)]
    if not blank and not short:
        return
    row, column = min([*blank, *short])
    count = len(blank) + len(short)
    more = f" ({count - 1} more like it)" if count > 1 else ""
    what = f"an empty cell{more}" if (row, column) in blank else f"{len(rows[row])} cells, then nothing{more}"
    raise _fault(name, row, column, what, "a number in every cell" + ("" if row and column else ", here a station")
                 + ("" if not (row and column) else "; 0 for sound wall"), "fill it in; a merged cell holds its number "
                 "once: split it and fill in each reading" + (f"; the first row has {width} cells" if short else ""))


def _decimal(rows: Sequence[Sequence[str]], separator: str, decimal: str, name: str) -> str:
    """The decimal sign of the cells. Raises CaseFaults where it is not one, or cannot be told."""
    cells = [(r, c, cell) for r, row in enumerate(rows) for c, cell in enumerate(row) if r or c]
    with_comma = [x for x in cells if "," in x[2]]
    if not with_comma:
        return POINT
    both = next((x for x in with_comma if "." in x[2]), None)
    if both is not None:
        raise _fault(name, both[0], both[1], f"{units.shown(both[2])}, with comma and point", "numbers without a "
                     "separator of thousands", "show the cells in the spreadsheet without thousands, then copy them "
                     "again")
    if separator == ",":  # quoted cells of a CSV file with commas
        row, column, cell = with_comma[0]
        raise _fault(name, row, column, units.shown(cell), "a number with a decimal point, where commas separate the "
                     "cells", "save it with semicolons, or with decimal points")
    if decimal == POINT:
        row, column, cell = with_comma[0]
        raise _fault(name, row, column, units.shown(cell), "a number with a decimal point, as chosen", "choose the "
                     "decimal comma, or correct the cell")
    point = next((x for x in cells if re.fullmatch(r"[+-]?\d*\.\d+", x[2])), None)
    if point is not None:
        row, column, cell = with_comma[0]
        raise _fault(name, row, column, f"{units.shown(cell)}, while row {point[0] + 1}, column {point[1] + 1} has "
                     f"{units.shown(point[2])}", "one decimal sign in the whole table", "correct the cells that differ")
    surely = any(_COMMA_NUMBER.fullmatch(c) and not _THOUSANDS.fullmatch(c) for _, _, c in with_comma)
    if not surely and decimal != COMMA:
        row, column, cell = next(x for x in with_comma)
        raise _fault(name, row, column, f"{units.shown(cell)}, which may be {cell.replace(',', '.')} or "
                     f"{cell.replace(',', '')}", "numbers that can be read in one way", "say beside the table that the "
                     "comma is the decimal sign, or copy the cells without thousands")
    return COMMA


def _first_and_count(faults: Sequence[Fault], name: str) -> list[Fault]:
    """One clear fault: the first, with how many follow; what spreadsheets write for nothing is said in words."""
    first, more = faults[0], len(faults) - 1
    found = first.found
    bare = found.strip("'")
    mend = first.mend
    if _NO_NUMBER.fullmatch(bare):
        mend = "write the reading, or 0 where the wall is sound; a place that was not measured is no reading"
    elif m := re.fullmatch(r"([\d.]+) ?([a-zA-Z]+)", bare):
        mend = f"write the number alone: {m[1]}; the unit stands in the first cell"
    elif first.allowed.startswith("a number") and re.search(r"[A-Za-z]{3}", bare):
        mend = "copy the table without headings; only stations and readings belong to it"
    return [replace(first, file=name, found=found + (f" ({more} more like it)" if more else ""), mend=mend)]
