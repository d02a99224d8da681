"""Tables of any length, block by block, as Parquet, CSV or XLSX: named columns with unit and kind.

Numbers are written with at most 12 significant digits in their shortest form and stay numbers; a number that is not
known is an empty cell. Codes are written as their words. Texts are written so that no spreadsheet runs them. Each file
is written aside and renamed when it is whole; the same blocks give the same bytes.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from wrapcalc.errors import CalculationError, PackageError

if TYPE_CHECKING:
    import pyarrow as pa

#: What a column holds: floats, whole numbers, texts, or codes that stand for words.
NUMBER, WHOLE, TEXT, CODE = "number", "whole", "text", "code"
FORMATS = ("parquet", "csv", "xlsx")
#: Rows of a sheet of a spreadsheet, its heading among them, and characters of one of its cells.
SHEET_ROWS, CELL_TEXT = 1_048_576, 32_767
_DIGITS, _CACHED = 12, 16_384


@dataclass(frozen=True)
class Column:
    """One column of a table. unit: as it is printed, "" for none; words: of a code, by code; one outside is empty."""

    name: str
    kind: str = NUMBER
    unit: str = ""
    words: tuple[str, ...] = ()

    @property
    def heading(self) -> str:
        """Name and unit, as it stands above the column."""
        return f"{self.name} [{self.unit}]" if self.unit else self.name

    @property
    def stored(self) -> pa.DataType:
        """Arrow type of the column between the passes: codes as small whole numbers."""
        import pyarrow as pa
        return {NUMBER: pa.float64(), WHOLE: pa.int64(), TEXT: pa.string(), CODE: pa.int16()}[self.kind]


def schema(columns: Sequence[Column]) -> pa.Schema:
    """Arrow schema of the batches that the writers take."""
    import pyarrow as pa
    return pa.schema([(c.name, c.stored) for c in columns])


def batch(columns: Sequence[Column], block: Mapping[str, np.ndarray]) -> pa.RecordBatch:
    """Arrays by name as one batch of these columns: floats to 12 significant digits, no number where none is known.

    Raises CalculationError for a column that is not there or not as long as the first.
    """
    import pyarrow as pa
    missing = [c.name for c in columns if c.name not in block]
    if missing or len({len(block[c.name]) for c in columns}) > 1:
        raise CalculationError("a table takes columns of one length: " + ", ".join(
            f"{c.name} {'missing' if c.name in missing else len(block[c.name])}" for c in columns))
    return pa.record_batch([_stored(c, block[c.name]) for c in columns], schema=schema(columns))


def _stored(column: Column, values: np.ndarray) -> pa.Array:
    import pyarrow as pa
    if column.kind == NUMBER:
        rounded = short(np.asarray(values, float))
        known = np.isfinite(rounded)
        return pa.array(rounded) if known.all() else pa.array(rounded, mask=~known)
    if column.kind == CODE:
        codes = np.asarray(values).astype(np.int16)
        outside = codes < 0
        return pa.array(codes, mask=outside) if outside.any() else pa.array(codes)
    return pa.array(values, column.stored)


# -- 12 significant digits ----------------------------------------------------------------------------------------
_POWERS = 10.0 ** np.arange(23)
_EXPONENTS = np.arange(-40, 45)
#: Decade of 2 ** (e - 1), the least number of which frexp gives the exponent e; and where the next decade begins.
_DECADE = np.array([len(str(2 ** (e - 1))) - 1 if e > 0 else -len(str(2 ** (1 - e) - 1)) for e in _EXPONENTS.tolist()])
_NEXT = np.array([float(f"1e{d + 1}") for d in _DECADE.tolist()])


def short(x: np.ndarray) -> np.ndarray:
    """Floats to 12 significant digits, so that their shortest form has no more; infinities and NaN stay."""
    out = np.empty(x.shape)
    for first in range(0, len(x), _CACHED):
        part = x[first:first + _CACHED]
        size = np.abs(part)
        usual = (size >= 1e-10) & (size < 1e12)
        all_usual = usual.all()
        size = size if all_usual else np.where(usual, size, 1.0)
        at = np.frexp(size)[1] - _EXPONENTS[0]
        # A whole number over a power of ten below 1e23 is the nearest float to the decimal number.
        up = _POWERS[_DIGITS - 1 - _DECADE[at] - (size >= _NEXT[at])]
        whole = np.rint((part if all_usual else np.where(usual, part, 0.0)) * up) / up
        if not all_usual:
            odd = np.flatnonzero(~usual)
            whole[odd] = [float(f"{v:.{_DIGITS}g}") for v in part[odd].tolist()] if _any_odd(part[odd]) else part[odd]
        out[first:first + _CACHED] = whole + 0.0  # minus nothing is nothing
    return out


def _any_odd(x: np.ndarray) -> bool:
    return bool((np.isfinite(x) & (x != 0)).any())


# -- texts --------------------------------------------------------------------------------------------------------
def _safe(texts: pa.Array) -> pa.Array:
    """Texts as a spreadsheet may hold them; only those that do not begin with a letter or digit are looked at."""
    import pyarrow as pa
    import pyarrow.compute as pc
    odd = pc.invert(pc.fill_null(pc.match_substring_regex(texts, r"\A[0-9A-Za-z]|\A\z"), True))
    if not pc.any(odd).as_py():
        return texts
    from wrapcalc.campaign.tables.cells_safe import safe_text
    mended = [safe_text(t) for t in texts.filter(odd).to_pylist()]
    return pc.replace_with_mask(texts, odd, pa.array(mended, pa.string()))


def worded(columns: Sequence[Column], part: pa.RecordBatch, *, safe: bool = False) -> list[pa.Array]:
    """The columns of a batch with codes as their words; safe: also texts as a spreadsheet may hold them."""
    import pyarrow as pa
    out = []
    for column, values in zip(columns, part.columns, strict=True):
        if column.kind == CODE:
            words = pa.array(column.words, pa.string())
            values = pa.DictionaryArray.from_arrays(values, _safe(words) if safe else words)
            values = values.cast(pa.string()) if safe else values
        elif column.kind == TEXT and safe:
            values = _safe(values)
        out.append(values)
    return out


# -- files --------------------------------------------------------------------------------------------------------
class Table(Protocol):
    """A file that is being written."""

    def write(self, part: pa.RecordBatch) -> None:
        """Append a batch as `batch` makes them."""

    def close(self) -> None:
        """Write what stands at the end."""


def refuse_rows(count: int, format: str, what: str = "the table") -> None:
    """Raises PackageError when so many rows do not fit on one sheet."""
    if format == "xlsx" and count > SHEET_ROWS - 1:
        raise PackageError(f"{what} has {count} rows; a sheet of XLSX holds {SHEET_ROWS - 1} and a heading. Choose "
                           "Parquet or CSV (--format parquet, --format csv), or keep fewer rows with --where")


@contextmanager
def open_table(path: Path, columns: Sequence[Column], format: str, rows: int) -> Iterator[Table]:
    """A table to be written to `path`: it is there when all went well, else nothing is.

    rows: how many will come. Raises PackageError for a format that is none, and rows that the format cannot hold.
    """
    from wrapcalc.campaign.tables.sheet_file import XlsxTable
    if format not in FORMATS:
        raise PackageError(f"there is no format '{format}'; allowed: {', '.join(FORMATS)}")
    refuse_rows(rows, format, path.name)
    handle, name = tempfile.mkstemp(prefix=".aside-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            kind: Any = {"parquet": ParquetTable, "csv": CsvTable, "xlsx": XlsxTable}[format]
            table = kind(file, columns)
            try:
                yield table
            finally:
                table.close()
        os.chmod(name, 0o644)
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


class ParquetTable:
    """Parquet: one row group for each batch, words as a dictionary, units also in the metadata of the fields."""

    def __init__(self, file: Any, columns: Sequence[Column]):
        import pyarrow as pa
        from pyarrow import parquet
        self._columns = columns
        words = pa.dictionary(pa.int16(), pa.string())
        self._schema = pa.schema([pa.field(c.heading, words if c.kind == CODE else c.stored,
                                           metadata={"unit": c.unit} if c.unit else None) for c in columns])
        spelled = [c.heading for c in columns if c.kind in (TEXT, CODE)]
        self._writer = parquet.ParquetWriter(file, self._schema, use_dictionary=spelled)

    def write(self, part: pa.RecordBatch) -> None:
        """Append a row group."""
        import pyarrow as pa
        self._writer.write_table(pa.Table.from_arrays(worded(self._columns, part), schema=self._schema),
                                 row_group_size=max(part.num_rows, 1))

    def close(self) -> None:
        """Write the footer."""
        self._writer.close()


class CsvTable:
    """CSV in UTF-8, with a byte order mark by which spreadsheets know it; commas, decimal points, texts in quotes."""

    def __init__(self, file: Any, columns: Sequence[Column]):
        import pyarrow as pa
        from pyarrow import csv
        self._columns = columns
        self._schema = pa.schema([(c.heading, pa.string() if c.kind == CODE else c.stored) for c in columns])
        file.write(b"\xef\xbb\xbf")
        self._writer = csv.CSVWriter(file, self._schema)

    def write(self, part: pa.RecordBatch) -> None:
        """Append lines."""
        import pyarrow as pa
        self._writer.write(pa.RecordBatch.from_arrays(worded(self._columns, part, safe=True), schema=self._schema))

    def close(self) -> None:
        """Write what is still held back."""
        self._writer.close()
