"""Rows of a CSV file, block by block; memory does not grow with the file.

Numbers of rows count records, so that a cell with a line break inside quotation marks is in one row, as a spreadsheet
shows it. Lines with nothing in any cell are no rows, but they are counted; so are whole rows inside of a quotation mark
that is not closed, so that the rows after them keep their numbers.
"""

from __future__ import annotations

import csv
import re
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wrapcalc.campaign.listing.blocks import RowFault
from wrapcalc.campaign.listing.chunks import Cells, Chunk, nothing, places, whole
from wrapcalc.campaign.listing.csv_text import open_text, records
from wrapcalc.campaign.listing.mapping import DELIMITERS
from wrapcalc.errors import CaseFaults
from wrapcalc.reading import shown_name

if TYPE_CHECKING:
    import pyarrow as pa

    from wrapcalc.campaign.listing.mapping import Mapping

#: Bytes read at once; no record may be longer.
_AT_ONCE = 1 << 21
_BREAK = re.compile(rb"\n")
#: Lines inside one cell from which on the file is refused as a whole.
_SWALLOWED = 100


def csv_rows(path: Path, mapping: Mapping, rows: int) -> Iterator[Chunk]:
    """Chunks of `rows` rows. Raises CaseFaults for the file as a whole, also on the way."""
    name, s = shown_name(path), mapping.listing
    delimiter = DELIMITERS[s.delimiter or "comma"]
    with open_text(path, s.encoding or "utf-8", name) as stream:
        head = list(islice(records(stream, delimiter, name), s.first_row - 1))
        if not any(c.strip() for r in head for c in r):
            raise whole(name, "nothing: it is empty", "a listing: headings, and a row for each feature",
                        "check that it is the right file")
        if len(head) < s.first_row - 1:
            raise nothing(name)
        headings = head[s.heading_row - 1]
        at = places(mapping, headings, head[s.units_row - 1] if s.units_row else (), name)
        yield from _Rows(stream, mapping, delimiter, len(headings), at, name).chunks(rows)


@dataclass(frozen=True)
class _Ragged:
    """A record with too many or too few cells. fault: None when nothing stands in it; lines: rows that a quotation mark
    of it swallowed."""

    record: int
    fault: RowFault | None
    lines: int


class _Rows:
    def __init__(self, stream: Any, mapping: Mapping, delimiter: str, width: int, at: dict[str, int], name: str):
        self._stream, self._delimiter, self._width, self._name = stream, delimiter, width, name
        self._names = [str(k) for k in range(width)]
        self._mapped = {ours: str(k) for ours, k in at.items()}
        self._headings = {ours: c.column for ours, c in mapping.columns.items()}
        self._first = mapping.listing.first_row - 1  # number of the row before the first
        self._ragged: deque[_Ragged] = deque()
        self._last = self._first  # number of the last record
        self._swallowed = 0  # rows inside of quotation marks that were not closed, so far

    def chunks(self, rows: int) -> Iterator[Chunk]:
        import pyarrow as pa
        waiting: list[Any] = []
        count, seen = 0, False
        for batch in self._batches():
            waiting.append(batch)
            count += batch.num_rows
            while count >= rows:
                table = pa.Table.from_batches(waiting)
                yield self._chunk(table.slice(0, rows))
                seen, count, waiting = True, count - rows, table.slice(rows).to_batches()
        if count or self._ragged:
            table = pa.Table.from_batches(waiting, schema=self._schema())
            yield self._chunk(table, last=True)
        elif not seen:
            raise nothing(self._name)

    def _types(self) -> dict[str, Any]:
        """Columns that are not mapped are looked at only for whether there is anything in them."""
        import pyarrow as pa
        return {n: pa.string() if n in self._mapped.values() else pa.binary() for n in self._names}

    def _schema(self) -> Any:
        import pyarrow as pa
        return pa.schema(list(self._types().items()))

    def _batches(self) -> Iterator[pa.RecordBatch]:
        import pyarrow as pa
        from pyarrow import csv as arrow
        try:
            yield from arrow.open_csv(
                self._stream,
                # one thread: only then does the reader say which row it could not part into cells
                read_options=arrow.ReadOptions(column_names=self._names, use_threads=False, block_size=_AT_ONCE),
                parse_options=arrow.ParseOptions(delimiter=self._delimiter, newlines_in_values=True,
                                                 ignore_empty_lines=False, invalid_row_handler=self._invalid),
                convert_options=arrow.ConvertOptions(column_types=self._types(), null_values=[""], check_utf8=False,
                                                     strings_can_be_null=True, quoted_strings_can_be_null=True))
        except pa.ArrowInvalid as e:
            if "Empty CSV file" in str(e):
                return
            raise self._endless() from None

    def _endless(self) -> CaseFaults:
        return whole(self._name, "a record that does not end: a quotation mark that is not closed, or a cell of more "
                     f"than {_AT_ONCE / 1e6:.2g} MB", "records of cells, each quotation mark closed",
                     f"look below row {self._last + self._swallowed} for a cell that begins with a quotation mark")

    def _invalid(self, row: Any) -> str:
        number, lines = self._first + row.number, self._rows_inside(row.text)
        fault = RowFault(number, "the row", f"{row.actual_columns} cells",
                         f"{row.expected_columns} cells, one under each heading",
                         "put texts and numbers that hold the delimiter in quotation marks, or remove what is too many")
        some = row.text.strip(self._delimiter + '"')
        self._ragged.append(_Ragged(number, fault if some else None, lines))
        return "skip"

    def _rows_inside(self, text: str) -> int:
        """How many whole rows stand behind the first line of a record: a quotation mark of it is not closed."""
        first, *others = text.rstrip("\r\n").split("\n")
        if not others or first.count(self._delimiter) < self._least:
            return 0
        if len(others) > _SWALLOWED:
            return len(others)
        cells = [next(csv.reader([line.rstrip("\r")], delimiter=self._delimiter), []) for line in others]
        return len(others) if all(len(c) == self._width for c in cells) else 0

    @property
    def _least(self) -> int:
        """Delimiters of a row."""
        return max(self._width - 1, 1)

    def _chunk(self, table: pa.Table, last: bool = False) -> Chunk:
        """Number the rows, drop those in which nothing stands, tell those that swallowed others."""
        record, ragged = self._records(table.num_rows, last)
        columns = {n: table.column(k).combine_chunks() for k, n in enumerate(self._names)}
        swallowing = self._swallowing(columns)
        events = sorted([(int(record[k]), lines) for k, lines in swallowing.items()]
                        + [(r.record, r.lines) for r in ragged])
        if any(lines > _SWALLOWED for _, lines in events):
            raise self._endless()
        at = np.array([r for r, _ in events], np.int64)
        before = self._swallowed + np.cumsum([0, *(lines for _, lines in events)])
        number = record + before[np.searchsorted(at, record)]
        self._swallowed = int(before[-1])
        faults: list[RowFault] = []
        for r in ragged:
            faults += self._of_ragged(r, int(r.record + before[np.searchsorted(at, r.record)]))
        keep = np.ones(table.num_rows, bool)
        for k, lines in swallowing.items():
            keep[k] = False
            faults += _unclosed(int(number[k]), lines)
        keep &= ~_blank(columns.values(), table.num_rows)
        if not keep.all():
            number = number[keep]
            columns = {n: c.filter(keep) for n, c in columns.items() if n in self._mapped.values()}
        return Chunk(number, {ours: Cells(columns[n]) for ours, n in self._mapped.items()},
                     sorted(faults, key=lambda f: f.row))

    @staticmethod
    def _of_ragged(ragged: _Ragged, row: int) -> list[RowFault]:
        if ragged.lines:
            return _unclosed(row, ragged.lines)
        return [] if ragged.fault is None else [replace(ragged.fault, row=row)]

    def _records(self, count: int, last: bool) -> tuple[np.ndarray, list[_Ragged]]:
        """Numbers of the next records, and those among them with too many or too few cells, which are left out."""
        end = self._last + count
        ragged: list[_Ragged] = []
        while self._ragged and (last or self._ragged[0].record <= end + 1):
            ragged.append(self._ragged.popleft())
            end += 1
        record = np.setdiff1d(np.arange(self._last + 1, end + 1), [r.record for r in ragged], assume_unique=True)
        self._last = end
        return record, ragged

    def _swallowing(self, columns: dict[str, Any]) -> dict[int, int]:
        """Places of rows with a cell over several lines that holds as many delimiters as a row, and how many whole rows
        are inside of it."""
        out: dict[int, int] = {}
        for values in columns.values():
            first, ends = values.offset, np.frombuffer(values.buffers()[1], np.int32)
            ends = ends[first:first + len(values) + 1]
            data = values.buffers()[2]
            if data is None or not _BREAK.search(memoryview(data)[ends[0]:ends[-1]]):
                continue
            text = memoryview(data)[ends[0]:ends[-1]].tobytes()
            breaks = np.flatnonzero(np.frombuffer(text, np.uint8) == ord("\n")) + ends[0]
            for k in np.unique(np.searchsorted(ends, breaks, side="right") - 1).tolist():
                cell = text[ends[k] - ends[0]:ends[k + 1] - ends[0]]
                lines, delimiters = cell.count(b"\n"), cell.count(self._delimiter.encode())
                if delimiters >= self._least:
                    # the record has as many cells as a row: its mark stands in the same column as the one that closes
                    out[k] = max(out.get(k, 0), lines if delimiters == lines * self._least or lines > _SWALLOWED else 0)
        return dict(sorted(out.items()))


def _unclosed(row: int, lines: int) -> list[RowFault]:
    """Faults of a row whose quotation mark is not closed, and of the rows inside of it."""
    over = f"{lines + 1} lines" if lines else "several lines"
    inside = ("" if not lines else f"; row {row + 1} is inside of this cell" if lines == 1 else
              f"; rows {row + 1} to {row + lines} are inside of this cell")
    first = RowFault(row, "the row", f"a cell over {over} that holds as many delimiters as a row", "cells within their "
                     "row", f"close the quotation mark before it{inside or '; rows that follow may be inside of it'}")
    return [first, *(RowFault(row + k, "the row", f"a row inside of a cell of row {row}", "a row of its own",
                              f"close the quotation mark in row {row}") for k in range(1, lines + 1))]


def _blank(columns: Any, count: int) -> np.ndarray:
    """Rows in which nothing stands."""
    out = np.ones(count, bool)
    for values in columns:
        if not out.any():
            break
        if values.null_count < count:
            out &= values.is_null().to_numpy(zero_copy_only=False) if values.null_count else False
    return out

