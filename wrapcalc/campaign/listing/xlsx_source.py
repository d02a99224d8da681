"""Rows of a sheet of an XLSX workbook, block by block. Only the texts that the workbook shares are held whole.

Formulas are read by the value that the spreadsheet kept; one without is a fault. Merged cells below the title are
refused: only the first of them holds a value, and nobody knows whether it is meant for all rows.
"""

from __future__ import annotations

import datetime
import re
import warnings
import zipfile
from collections.abc import Iterator, Sequence
from collections.abc import Mapping as Named
from itertools import islice, repeat
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wrapcalc import units
from wrapcalc.campaign.listing.chunks import Cells, Chunk, Odd, file_open, nothing, number_text, places, whole
from wrapcalc.campaign.listing.columns import COLUMNS, H_MM
from wrapcalc.campaign.listing.number_formats import Shown, meant, refused
from wrapcalc.campaign.listing.xlsx_book import (
    AGAIN,
    FORM,
    ShownNumber,
    listing_sheet,
    open_book,
    styles_shown,
    values_shown,
)
from wrapcalc.campaign.screening.noted import Noted
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.reading import shown_name

if TYPE_CHECKING:
    from wrapcalc.campaign.listing.mapping import Mapping

#: Bytes when unpacked, of the whole and of the texts that are held whole.
_MOST, _MOST_TEXTS = 8_000_000_000, 1_000_000_000
_ERRORS = ("#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NUM!", "#NAME?", "#NULL!", "#GETTING_DATA", "#SPILL!", "#CALC!")
_MERGED = re.compile(rb'<(?:\w+:)?mergeCell\s[^>]*?ref="([A-Z]{1,3})(\d{1,7})(?::([A-Z]{1,3})(\d{1,7}))?"')
_FORMULA = re.compile(rb"<(?:\w+:)?f[\s>/]")
_HIDDEN = re.compile(rb'<(?:\w+:)?row\s(?=(?:[^>]*\s)?hidden="(?:1|true)")(?:[^>]*?\s)?r="(\d{1,7})"')
_TOLD = 10


def xlsx_rows(path: Path, mapping: Mapping, rows: int, noted: Noted) -> Iterator[Chunk]:
    """Chunks of `rows` rows of the sheet that the mapping names, or of the only one. Raises CaseFaults.

    noted: takes rows that the workbook hides.
    """
    name, s = shown_name(path), mapping.listing
    with file_open(path, name) as file:
        _refuse(file, name)
        book = open_book(file, name, kept=True)
        sheet = listing_sheet(book, mapping, name)
        merged, formulas, hidden = _scan(file, sheet)
        values = _cells(sheet, name, styles_shown(book))
        head = list(islice(values, s.first_row - 1))
        if len(head) < s.heading_row or not any(c is not None for r in head for c in r):
            raise nothing(name) if head else whole(name, "nothing: the sheet is empty", "a listing", "name the sheet "
                                                   "under [listing], or check that it is the right file")
        at = places(mapping, head[s.heading_row - 1], head[s.units_row - 1] if s.units_row and
                    len(head) >= s.units_row else (), name)
        _refuse_merged(merged, s.heading_row, name)
        under: Any = repeat(None)
        if formulas:
            under = _cells(listing_sheet(open_book(file, name, kept=False), mapping, name), name, {})
            list(islice(under, s.first_row - 1))
        for chunk in _chunks(values, under, at, mapping, rows):
            noted.add("the workbook hides the row, by itself or by a filter; it is read all the same",
                      chunk.row[np.isin(chunk.row, hidden)])
            if sheet.sheet_state != "visible":
                noted.add("the sheet that the mapping names is hidden in the workbook", chunk.row)
            yield chunk


def _refuse(file: Any, name: str) -> None:
    try:
        with zipfile.ZipFile(file) as packed:
            about = packed.infolist()
    except (zipfile.BadZipFile, ValueError, OSError):
        raise whole(name, "something that is no XLSX workbook", FORM, AGAIN) from None
    size = sum(i.file_size for i in about)
    texts = sum(i.file_size for i in about if i.filename.casefold().endswith("sharedstrings.xml"))
    if size > _MOST or texts > _MOST_TEXTS:
        raise whole(name, f"a workbook of {max(size, texts) / 1e9:.3g} GB when unpacked", f"at most {_MOST / 1e9:g} GB"
                    f", its texts at most {_MOST_TEXTS / 1e9:g} GB", "save it as CSV (UTF-8) or Parquet")
    if any(i.filename.casefold().endswith("vbaproject.bin") for i in about):
        raise whole(name, "a workbook with macros", "a workbook without macros", "save it as .xlsx without macros")


def _scan(file: Any, sheet: Any) -> tuple[list[tuple[str, int, str, int]], bool, list[int]]:
    """Merged cells (first column, row; last column, row), whether there are formulas, and rows that are hidden: none of
    it is told by a reader that reads row by row."""
    merged, formulas, hidden = [], False, []
    with zipfile.ZipFile(file) as packed, packed.open(sheet._worksheet_path.lstrip("/")) as part:
        rest = b""
        while some := part.read(1 << 20):
            text = rest + some
            formulas = formulas or _FORMULA.search(text) is not None
            cut = text.rfind(b"<")
            merged += [(m[1].decode(), int(m[2]), (m[3] or m[1]).decode(), int(m[4] or m[2]))
                       for m in _MERGED.finditer(text, 0, cut)]
            if b"hidden=" in text:
                hidden += [int(m[1]) for m in _HIDDEN.finditer(text, 0, cut)]
            rest = text[cut:][-4096:]
    return merged, formulas, hidden


def _refuse_merged(merged: list[tuple[str, int, str, int]], heading_row: int, name: str) -> None:
    """Merged titles above the headings do no harm."""
    below = [m for m in merged if m[3] >= heading_row]
    if below:
        faults = [Fault(name, f"cells {a}{r}:{b}{q}", "merged cells", "one cell for each row and column",
                        "take the merging back and fill in each cell", r) for a, r, b, q in below[:_TOLD]]
        if len(below) > _TOLD:
            faults.append(Fault(name, "the file", f"{len(below) - _TOLD} more merged cells", "none", "take them back"))
        raise CaseFaults(faults)


def _cells(sheet: Any, name: str, styles: Named[int, Shown]) -> Iterator[Sequence[Any]]:
    """Values of the cells, row by row. styles: formats that show numbers as something else; it is faster without."""
    sheet.reset_dimensions()  # what a workbook says of its size is often wrong
    rows = sheet.iter_rows(values_only=not styles)
    while True:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # a date that is none becomes the error #VALUE!, which is told
                row = next(rows, None)
        except Exception:
            raise whole(name, "a sheet that cannot be read to its end", FORM, AGAIN) from None
        if row is None:
            return
        yield values_shown(row, styles)


def _chunks(values: Iterator[Sequence[Any]], under: Iterator[Any], at: dict[str, int], mapping: Mapping, rows: int
            ) -> Iterator[Chunk]:
    columns = {ours: _Column(ours, mapping) for ours in at}
    number: list[int] = []
    for row, (cells, formulas) in enumerate(zip(values, under, strict=False), mapping.listing.first_row):
        kept = formulas is not None and any(isinstance(f, str) and f.startswith("=") for f in formulas)
        if not kept and not any(c is not None and c != "" for c in cells):
            continue
        for ours, place in at.items():
            cell = cells[place] if place < len(cells) else None
            formula = cell is None and kept and place < len(formulas) and isinstance(formulas[place], str) and \
                formulas[place].startswith("=")
            columns[ours].add(cell, formula)
        number.append(row)
        if len(number) == rows:
            yield Chunk(np.array(number, np.int64), {n: c.taken() for n, c in columns.items()}, [])
            number = []
    if number:
        yield Chunk(np.array(number, np.int64), {n: c.taken() for n, c in columns.items()}, [])


class _Column:
    """Cells of one column as they come."""

    def __init__(self, ours: str, mapping: Mapping):
        self._known = COLUMNS[ours]
        self._text = self._known.is_text
        self._unit = str(getattr(mapping.columns[ours], "unit", ""))
        self._clock = self._unit == H_MM
        self._clear()

    def _clear(self) -> None:
        self._texts: list[str | None] = []
        self._numbers: list[float] = []
        self._odd: dict[int, Odd] = {}

    def taken(self) -> Cells:
        """The cells so far; begins anew."""
        import pyarrow as pa
        out = Cells(pa.array(self._texts, pa.string()), np.array(self._numbers), self._odd)
        self._clear()
        return out

    def add(self, cell: Any, formula: bool) -> None:
        """Take one cell. formula: it has one whose value was not kept."""
        text, number = None, np.nan
        if isinstance(cell, ShownNumber):
            cell = self._as_shown(cell)
        if formula:
            self._odd[len(self._texts)] = ("a formula whose value was not kept",
                                           "open it in a spreadsheet and save it, or write the value")
        elif isinstance(cell, str):
            if cell in _ERRORS:
                self._odd[len(self._texts)] = (f"the error {cell}", "write the value, or leave the cell empty")
            else:
                text = cell or None
        elif isinstance(cell, bool) or not isinstance(cell, (int, float, type(None))):
            text = self._other(cell)
        elif cell is not None and self._text:
            text = number_text(cell)
        elif cell is not None:
            number = float(cell)
        self._texts.append(text)
        self._numbers.append(number)

    def _as_shown(self, cell: ShownNumber) -> float | None:
        """The number that the sheet shows; none where it is not what the mapping says of the column."""
        odd = None if self._text else refused(cell.how, self._known, self._unit, cell.number)
        if odd is not None:
            self._odd[len(self._texts)] = odd
            return None
        return meant(cell.how, self._unit, cell.number)

    def _other(self, cell: Any) -> str | None:
        """A time of day as text where it is one of the clock; what else is told."""
        place = len(self._texts)
        if isinstance(cell, datetime.time):
            if self._clock:
                return f"{cell.hour}:{cell.minute:02d}" + (f":{cell.second:02d}" if cell.second else "")
            self._odd[place] = (f"the time of day {cell:%H:%M}", "format the column as a number, or as text, and write "
                                "the value again")
        elif isinstance(cell, datetime.timedelta):
            self._odd[place] = (f"the duration {cell}", "write a position such as 4:30" if self._clock else
                                "format the column as a number and write the value again")
        elif isinstance(cell, (datetime.datetime, datetime.date)):
            self._odd[place] = (f"the date {str(cell)[:16]}", "the spreadsheet took the value for a date: "
                                "format the column as text or number, then write the value again")
        elif isinstance(cell, bool):
            self._odd[place] = (f"the logical value {str(cell).upper()}", "write the value, or leave the cell empty")
        else:
            self._odd[place] = (units.shown(str(cell)), "write a text or a number")
        return None

