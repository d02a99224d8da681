"""Readings in an XLSX workbook: the cells of one sheet as text, and whatever a spreadsheet made of them told."""

from __future__ import annotations

import datetime
import io
import warnings
import zipfile
from typing import Any

from wrapcalc.case.csv_table import Row, counted
from wrapcalc.errors import CaseFaults, Fault

SHEET = "readings"
_MOST_UNPACKED = 40_000_000
_MOST_ROWS, _MOST_COLUMNS = 5000, 60
_TIME_COLUMN = "write it as text, such as 2026-05-14T07:30+01:00; format the column as text first"


def workbook_rows(raw: bytes, name: str) -> list[Row]:
    """The rows of the sheet "readings" (or of the only sheet) that are not blank, with their numbers.

    Formulas are read by the value that the spreadsheet kept; one without is refused. Raises CaseFaults.
    """
    values, formulas = _sheets(raw, name)
    faults: list[Fault] = []
    for area in values.merged_cells.ranges:
        faults.append(Fault(name, f"cells {area.coord}", "merged cells", "one cell for each reading",
                            "take the merging back and fill in each cell", area.min_row))
    if values.max_row > _MOST_ROWS or values.max_column > _MOST_COLUMNS:
        raise _whole(name, f"{values.max_row} rows and {values.max_column} columns",
                     f"at most {_MOST_ROWS} rows and {_MOST_COLUMNS} columns", "remove what is empty, then save again")
    rows: list[Row] = []
    for cells, under in zip(values.iter_rows(), formulas.iter_rows(), strict=True):
        texts: list[str] = []
        for cell, formula in zip(cells, under, strict=True):
            text, fault = _text(cell, formula, name)
            texts.append(text)
            faults += [fault] if fault else []
        if any(t.strip() for t in texts):
            rows.append((cells[0].row, texts))
    if faults:
        raise CaseFaults(counted(sorted(faults, key=lambda f: f.line or 0), name))
    if not rows:
        raise _whole(name, "nothing: the sheet is empty", "a table of readings", "fill in the template")
    return rows


def _whole(name: str, found: str, allowed: str, mend: str) -> CaseFaults:
    return CaseFaults([Fault(name, "the file", found, allowed, mend)])


def _sheets(raw: bytes, name: str) -> tuple[Any, Any]:
    """The sheet with kept values, and the same with formulas."""
    wanted, mend = "an XLSX workbook", "save it as .xlsx, or as CSV (UTF-8)"
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as packed:
            size = sum(i.file_size for i in packed.infolist())
            macros = any(i.filename.casefold().endswith("vbaproject.bin") for i in packed.infolist())
    except (zipfile.BadZipFile, ValueError, OSError):
        raise _whole(name, "something that is no XLSX workbook, or is locked with a password", wanted, mend) from None
    if size > _MOST_UNPACKED:
        raise _whole(name, f"a workbook of {size / 1e6:.3g} MB when unpacked", f"at most {_MOST_UNPACKED / 1e6:g} MB",
                     "save the sheet of readings alone")
    if macros:
        raise _whole(name, "a workbook with macros", "a workbook without macros", "save it as .xlsx without macros")
    try:
        import openpyxl
    except ImportError:
        raise _whole(name, "an XLSX workbook, which this installation cannot read", "CSV",
                     "save the sheet as CSV (UTF-8), or install openpyxl") from None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles and validations that are not read
            books = [openpyxl.load_workbook(io.BytesIO(raw), data_only=d, keep_links=False) for d in (True, False)]
    except Exception:  # openpyxl raises errors of many kinds for a workbook that is not sound
        raise _whole(name, "a workbook that cannot be read", wanted, mend) from None
    names = books[0].sheetnames
    found = [n for n in names if n.strip().casefold() == SHEET] or (names if len(names) == 1 else [])
    if len(found) != 1:
        raise _whole(name, f"the sheets {', '.join(names)[:120]}", f"one sheet named '{SHEET}'", "rename the sheet")
    return books[0][found[0]], books[1][found[0]]


def _text(cell: Any, formula: Any, name: str) -> tuple[str, Fault | None]:
    """The text of one cell, and what is wrong with it."""
    value = getattr(cell, "value", None)
    is_formula = getattr(formula, "data_type", "") == "f"

    def fault(found: str, allowed: str, mend: str) -> tuple[str, Fault]:
        return "", Fault(name, f"cell {cell.coordinate}", found, allowed, mend, cell.row)

    if value is None:
        return fault("a formula whose value was not kept", "a reading", "open it in a spreadsheet and save it, or "
                     "write the value") if is_formula else ("", None)
    if isinstance(value, bool):
        return fault(f"the logical value {str(value).upper()}", "a text", "write yes or no as text")
    if isinstance(value, (datetime.datetime, datetime.date)):
        return fault(f"the date {value.isoformat(' ')[:16]}, which the spreadsheet keeps without an offset from UTC",
                     "a date or time as text", _TIME_COLUMN)
    if isinstance(value, (datetime.time, datetime.timedelta)):
        return fault(f"the time of day {value}", "a clock position or time as text",
                     "format the column as text, then write it again, such as 4:30")
    if getattr(cell, "data_type", "") == "e":
        return fault(f"the error {value}", "a reading", "write the value")
    if isinstance(value, float) and value == int(value):
        value = int(value)
    return str(value), None
