"""What a source of rows hands on: cells as the file holds them, not yet read; and what all sources share."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wrapcalc import units
from wrapcalc.campaign.listing.blocks import RowFault
from wrapcalc.campaign.listing.columns import COLUMNS
from wrapcalc.campaign.listing.mapping import DELIMITERS
from wrapcalc.campaign.listing.unit_words import agrees, said_in, unit_of
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.fields import suggest

if TYPE_CHECKING:
    from wrapcalc.campaign.listing.mapping import Mapping

#: (found, how to mend) of a cell that is neither a text nor a number.
Odd = tuple[str, str]


@dataclass
class Cells:
    """Cells of one column. text: null where it is blank, or not a text; number: NaN where it is not a number, None when
    the source knows no numbers; odd: place -> what stands there that is neither."""

    text: Any
    number: np.ndarray | None = None
    odd: dict[int, Odd] = field(default_factory=dict)


@dataclass
class Chunk:
    """Rows of a source, and faults of rows that could not even be parted into cells."""

    row: np.ndarray
    cells: dict[str, Cells]
    faults: list[RowFault]


Source = Iterator[Chunk]


def whole(name: str, found: str, allowed: str, mend: str, line: int | None = None) -> CaseFaults:
    """The error for a file that cannot be read as a whole."""
    return CaseFaults([Fault(name, "the file", found, allowed, mend, line)])


def nothing(name: str) -> CaseFaults:
    """The error for a file without a row."""
    return whole(name, "no row below the headings", "a listing: headings, and a row for each feature",
                 "check that it is the right file, and header_row in the mapping file")


def heading(cell: object) -> str:
    """A heading as it is compared: line breaks and runs of blanks are one blank."""
    return " ".join(str(cell).split()) if cell is not None else ""


def places(mapping: Mapping, headings: Sequence[object], unit_cells: Sequence[object], name: str) -> dict[str, int]:
    """Our name -> place of its column. Raises CaseFaults for headings that are missing, twice there, or whose unit is
    another than the mapping says."""
    there = [heading(h) for h in headings]
    _refuse_all(mapping, there, name)
    faults, out = [], {}
    for ours, column in mapping.columns.items():
        wanted, known = heading(column.column), COLUMNS[ours]

        def fault(field: str, found: str, allowed: str, mend: str, key: str = ours) -> None:
            faults.append(Fault(mapping.file, f"columns.{key}.{field}", found, allowed, mend,
                                mapping.line_of(f"columns.{key}.{field}")))

        count = there.count(wanted)
        if count > 1:
            at = ", ".join(letters(k) for k, h in enumerate(there) if h == wanted)
            fault("column", f"{units.shown(wanted)}, which {count} columns of {name} have ({at})", "a heading that one "
                  "column has", "rename all but one of these columns in the listing")
        elif not count:
            fault("column", f"{units.shown(wanted)}, which no column of {name} has", _some(there, mapping),
                  suggest(wanted, [h for h in there if h], "check header_row, delimiter and encoding, or the heading"))
        else:
            out[ours] = there.index(wanted)
            if not known.units:
                continue
            cell = heading(unit_cells[out[ours]]) if out[ours] < len(unit_cells) else ""
            told = [("the heading", *said) for said in said_in(wanted, known)] + (
                [("the row of units", cell, unit_of(cell, known))] if cell else [])
            for where, text, read in told:
                if not read:
                    fault("unit", f"{units.shown(text)} in the row of units under {units.shown(wanted)}",
                          ", ".join(known.units), "correct units_row, or that cell")
                elif not agrees(read, column.unit):
                    fault("unit", f"{units.shown(str(column.unit))}, but {where} of {units.shown(wanted)} says "
                          f"{units.shown(text)}", "the unit in which the column is written",
                          "look at the numbers, then correct the mapping or the listing")
    if faults:
        raise CaseFaults(sorted(faults, key=lambda f: f.line or 0))
    return out


def _refuse_all(mapping: Mapping, there: list[str], name: str) -> None:
    """Where no heading at all is found the row or the delimiter is wrong: one fault instead of one for each column."""
    wanted = {heading(c.column) for c in mapping.columns.values()}
    if wanted & set(there):
        return
    row = mapping.listing.heading_row
    one = [h for h in there if h]
    inside = [word for word, mark in DELIMITERS.items() if len(one) == 1 and mark in one[0] and {
        heading(h.strip('"')) for h in one[0].split(mark)} & wanted]
    field, found, mend = "header_row", str(row), "correct header_row, and delimiter and encoding for a CSV file"
    if inside:
        field, found = "delimiter", units.shown(mapping.listing.delimiter or "comma")
        mend = f'write delimiter = "{inside[0]}"'
    raise CaseFaults([Fault(
        mapping.file, f"listing.{field}", f"{found}, but none of the {len(wanted)} headings of the mapping stands in "
        f"row {row} of {name}", _some(there, mapping), mend, mapping.line_of(f"listing.{field}"))])


def _some(there: list[str], mapping: Mapping) -> str:
    shown = [units.shown(h) for h in there if h]
    return f"a heading in row {mapping.listing.heading_row}: " + (", ".join(shown[:12]) or "there is none") + \
        (" and others" if len(shown) > 12 else "")


def letters(place: int) -> str:
    """Column as a spreadsheet names it, the first (0) is A."""
    out = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        out = chr(65 + rest) + out
    return out


def number_text(number: float) -> str:
    """A number in a column of texts: 120.0 is the joint 120."""
    return str(int(number)) if float(number).is_integer() and abs(number) < 1e15 else repr(number)


def file_open(path: Path, name: str) -> Any:
    """The file opened for reading bytes. Raises CaseFaults when it is none that can be read."""
    allowed = "a listing as CSV, XLSX or Parquet"
    try:
        if path.is_dir():
            raise whole(name, "a folder", allowed, "name the file itself")
        if path.exists() and not path.is_file():
            raise whole(name, "something that is not a file", allowed, "name a file")
        return path.open("rb")
    except FileNotFoundError:
        raise whole(name, "no such file", allowed, "check the name and the folder") from None
    except (OSError, ValueError) as e:
        raise whole(name, f"a file that cannot be read ({type(e).__name__})", allowed,
                    "check the name and the permissions") from None
