"""What was measured in the ditch, by feature id: it goes before the listing, which is kept beside it.

The first row of the CSV file names the columns, in any order; sizes have their unit in the heading:

    feature_id,depth mm,length mm,width mm,sound wall mm,clock,grid,measured on,source
    F00418,4.1,182,120,8.52,4:30,F00418-grid.csv,2026-09-02,dig sheet D-12

A blank cell leaves what the listing says. `depth allowance` and `length allowance` may stand beside the sizes: without
them the allowances of the base case hold. `joint`, `girth weld` and `from girth weld` say where it was found: they tell
the bias of the run which feature this is, and do not change the case.
"""

from __future__ import annotations

import copy
import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from wrapcalc import units
from wrapcalc.case import grid as grids
from wrapcalc.case.csv_table import UNITS, Row, counted, length, read_rows
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.fields import Clock, Day, FieldFault, Sheet, clock_hours, read_text
from wrapcalc.reading import read_bytes, shown_name

#: Column -> field of the case that it replaces; "" for what says only where, when and by whom.
SIZES = {"depth": "defect.depth", "length": "defect.length", "width": "defect.width", "sound wall": "pipe.sound_wall",
         "depth allowance": "defect.depth_allowance", "length allowance": "defect.length_allowance",
         "from girth weld": ""}
WORDS = {"feature_id": "", "clock": "defect.clock", "seam clock": "pipe.seam_clock", "grid": "defect.grid",
         "joint": "", "girth weld": "", "measured on": "", "source": ""}
_MAY_BE_ZERO = ("depth allowance", "length allowance", "from girth weld")
_FORM = "a heading such as feature_id,depth mm,length mm,width mm,clock,source and a row for each feature"
_START = f"write {_FORM.removeprefix('a ')}"


class _Cell(Sheet):
    """Cells that are read as fields of a case are."""

    clock: Clock = None
    day: Day = None


@dataclass(frozen=True)
class MeasuredRow:
    """One feature as measured. sizes: mm; texts: column -> text as a case takes it; written: sizes with their unit."""

    line: int
    feature_id: str
    sizes: Mapping[str, float]
    written: Mapping[str, str]
    texts: Mapping[str, str]

    def stated(self) -> dict[str, str]:
        """Field of the case -> what was measured, as a case file states it."""
        out = {SIZES[c]: w for c, w in self.written.items() if SIZES[c]}
        return out | {WORDS[c]: t for c, t in self.texts.items() if WORDS[c]}


@dataclass(frozen=True)
class Measured:
    """A file of field measurements. rows: feature id -> row, in the order of the file; at: feature id -> number of the
    row of the listing that it is of, as `measured_rows.matched` finds it."""

    name: str = ""
    sha256: str = ""
    folder: Path = Path()
    rows: Mapping[str, MeasuredRow] = field(default_factory=dict)
    at: Mapping[str, int] = field(default_factory=dict)

    def of(self, row: Mapping[str, Any]) -> MeasuredRow | None:
        """What was measured at a ranked row; of rows that share an id, at the one that the measurement is of."""
        name = str(row["feature_id"])
        return self.rows.get(name) if self.at.get(name) == row["row"] else None

    def grid(self, row: MeasuredRow) -> Path | None:
        """The depth grid that the row names."""
        return self.folder / row.texts["grid"] if "grid" in row.texts else None


@dataclass(frozen=True)
class Replaced:
    """A field of a case that a measurement replaced. listing: what the listing says, "" where it says nothing."""

    field: str
    listing: str
    measured: str
    source: str


def merged(data: dict[str, Any], row: MeasuredRow, file: str) -> tuple[dict[str, Any], list[Replaced]]:
    """The data of a case with what was measured in it, and what that replaced.

    data: as a case file; it is not changed. file: name of the file of measurements. Every field says where it comes
    from and what the listing says. The date of the measurement goes before that of the run where growth is reckoned.
    """
    data, kept = copy.deepcopy(data), []
    source = f"{file} line {row.line}" + (f": {row.texts['source']}" if "source" in row.texts else "")
    stated = row.stated()
    if "measured on" in row.texts and "growth" in data and "depth" in row.sizes:
        stated["growth.measured_date"] = row.texts["measured on"]
    for dotted, value in stated.items():
        table, _, key = dotted.partition(".")
        before = data.setdefault(table, {}).get(key)
        before = str(before.get("value", "") if isinstance(before, dict) else before or "")
        says = f"; instead of {before} of the listing or the base case" if before else ""
        data[table][key] = value if key == "grid" else {"value": value, "source": (source + says)[:2000],
                                                        "source_kind": "measured"}
        kept.append(Replaced(dotted, before, value, source))
    if "grid" in row.texts:  # a gap over which pits are rejoined is a word on a table of pits only
        data["defect"].pop("rejoin_gap", None)
    return data, kept


def with_less_room(row: Mapping[str, Any], measured: MeasuredRow) -> dict[str, Any]:
    """The row with the clear pipe that a length found in the ditch leaves: what it is longer than listed may lie on
    either side. A shorter one makes no room."""
    longer = measured.sizes.get("length", 0.0) - row["length"]
    if not longer > 0:
        return dict(row)
    return dict(row) | {n: max(row[n] - longer, 0.0) for n in ("clear_upstream", "clear_downstream")
                        if not math.isnan(row.get(n, math.nan))}


def over_row(row: Mapping[str, Any], measured: MeasuredRow, file: str) -> tuple[dict[str, Any], list[Replaced]]:
    """A row of the ranked table (mm, hours) with what was measured at it, and what that replaced. "NAME_source" says
    of each measured value that it is, where it stands and what the listing says."""
    out, kept = with_less_room(row, measured), []
    source = f"{file} line {measured.line}" + (f": {measured.texts['source']}" if "source" in measured.texts else "")
    found: dict[str, tuple[float, str]] = {c: (measured.sizes[c], measured.written[c]) for c in measured.sizes}
    if "clock" in measured.texts:
        found["clock"] = (clock_hours(measured.texts["clock"]), measured.texts["clock"])
    for column, (value, written) in found.items():
        key = {"sound wall": "sound_wall"}.get(column, column)
        if key in ("depth", "length", "width", "clock", "sound_wall"):
            before = row.get(key)
            unit = "h" if key == "clock" else "mm"
            listing = "" if before is None or math.isnan(before) else f"{before:.6g} {unit}"
            out[key] = value
            says = f"; instead of {listing} of the listing" if listing else ""
            out[f"{key}_source"] = f"{source}{says}"
            if key == "depth" and "depth_share" in row:
                out["depth_share"] = math.nan  # it is of the depth in the listing
            kept.append(Replaced((SIZES | WORDS)[column], listing, written, source))
    return out, kept


# -- reading ------------------------------------------------------------------------------------------------------
def read_measured(path: Path) -> Measured:
    """Read a file of field measurements. Raises CaseFaults with every bad cell (the first 20, then how many)."""
    name = shown_name(path)
    raw = read_bytes(path, name, most=grids.MAX_BYTES)
    rows = read_rows(raw, name, _FORM, _START)
    columns = _headings(rows[0], name)
    faults: list[Fault] = []
    out: dict[str, MeasuredRow] = {}
    for row in rows[1:]:
        read = _row(row, columns, name, path.parent, faults)
        if read is None:
            continue
        if (first := out.get(read.feature_id)) is not None:
            faults.append(Fault(name, f"row {read.line}", f"feature_id {units.shown(read.feature_id)} again (line "
                                f"{first.line})", "each feature once", "remove one of the two", read.line))
        out.setdefault(read.feature_id, read)
    if faults:
        raise CaseFaults(counted(faults, name))
    return Measured(name, hashlib.sha256(raw).hexdigest(), path.parent, out)


def _headings(row: Row, name: str) -> dict[str, tuple[int, str]]:
    """Column -> (its place, its unit)."""
    line, cells = row
    faults: list[Fault] = []
    out: dict[str, tuple[int, str]] = {}
    known = [*(f"{c} mm" for c in SIZES), *WORDS]

    def fault(column: int, found: str, allowed: str, mend: str) -> None:
        faults.append(Fault(name, f"row {line}, column {column + 1}", found, allowed, mend, line))

    for column, cell in enumerate(cells):
        text = " ".join(cell.split())
        head, _, unit = text.rpartition(" ")
        if text in WORDS:
            head, unit = text, ""
        elif head not in SIZES:
            head, unit = text, ""
        if head in out:
            fault(column, f"'{head}' again", "each column once", "remove one of the two")
        elif head in WORDS or (head in SIZES and unit in UNITS):
            out[head] = (column, unit)
        elif head in SIZES:
            fault(column, units.shown(cell), f"{head}, then one of the units {', '.join(UNITS)}", f"write '{head} mm'")
        else:
            near = units.close(text, known)
            fault(column, units.shown(cell) if text else "a column without a heading", ", ".join(known),
                  f"did you mean '{near}'?" if near else "remove this column")
    if "feature_id" not in out:
        fault(len(cells), "no column 'feature_id'", _FORM, "add it: it says which row of the listing was measured")
    if faults:
        raise CaseFaults(counted(faults, name))
    return out


def _row(row: Row, columns: dict[str, tuple[int, str]], name: str, folder: Path,
         faults: list[Fault]) -> MeasuredRow | None:
    """One feature; None when it has no id. Faulty cells are told and left out."""
    line, cells = row
    sizes: dict[str, float] = {}
    written: dict[str, str] = {}
    texts: dict[str, str] = {}

    def fault(column: int, found: str, allowed: str, mend: str = "correct this cell") -> None:
        faults.append(Fault(name, f"row {line}, column {column + 1}", found, allowed, mend, line))

    if len(cells) != len(columns):
        fault(min(len(cells), len(columns)), f"{len(cells)} cells", f"{len(columns)} cells, as in the first row",
              "add or remove cells; numbers take a decimal point")
        return None
    for head, (column, unit) in columns.items():
        cell = cells[column].strip()
        if not cell:
            continue
        if head in SIZES:
            number = length(cell, unit)
            if number is None:
                fault(column, units.shown(cell), "a number with a decimal point")
            elif number < 0 or (number == 0 and head not in _MAY_BE_ZERO):
                least = "0 or more" if head in _MAY_BE_ZERO else "more than 0"
                fault(column, units.shown(cell), f"a {head} of {least}", "correct it, or leave it blank")
            else:
                sizes[head], written[head] = number, f"{cell} {unit}"
            continue
        try:
            texts[head] = _text(head, cell)
        except FieldFault as e:
            fault(column, e.found, e.allowed, e.mend)
            continue
        if head == "grid" and not (folder / texts[head]).is_file():
            fault(column, units.shown(cell), "a file that stands beside this one", "check the name")
    if "feature_id" not in texts:
        fault(columns["feature_id"][0], "an empty cell", "the feature id as in the listing")
        return None
    return MeasuredRow(line, texts["feature_id"], sizes, written, texts)


def _text(head: str, cell: str) -> str:
    """A cell that is no size. Raises FieldFault."""
    kind = {"clock": "clock", "seam clock": "clock", "measured on": "day"}.get(head)
    if kind is None:
        return read_text(cell) or ""
    try:
        return str(getattr(_Cell(**{kind: cell}), kind))
    except ValidationError as e:
        raise e.errors()[0]["ctx"]["error"] from None
