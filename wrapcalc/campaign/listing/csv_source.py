"""Rows of a CSV file, block by block; memory does not grow with the file.

Numbers of rows count records, so that a cell with a line break inside quotation marks is in one row, as a spreadsheet
shows it. Lines with nothing in any cell are no rows, but they are counted.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Iterator
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


class _Rows:
    def __init__(self, stream: Any, mapping: Mapping, delimiter: str, width: int, at: dict[str, int], name: str):
        self._stream, self._delimiter, self._width, self._name = stream, delimiter, width, name
        self._names = [str(k) for k in range(width)]
        self._mapped = {ours: str(k) for ours, k in at.items()}
        self._headings = {ours: c.column for ours, c in mapping.columns.items()}
        self._first = mapping.listing.first_row - 1  # number of the row before the first
        #: Rows with too many or too few cells, by their numbers; no fault when nothing stands in them.
        self._ragged: deque[tuple[int, RowFault | None]] = deque()
        self._last = self._first

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
        from pyarrow import csv
        try:
            yield from csv.open_csv(
                self._stream,
                # one thread: only then does the reader say which row it could not part into cells
                read_options=csv.ReadOptions(column_names=self._names, use_threads=False, block_size=_AT_ONCE),
                parse_options=csv.ParseOptions(delimiter=self._delimiter, newlines_in_values=True,
                                               ignore_empty_lines=False, invalid_row_handler=self._invalid),
                convert_options=csv.ConvertOptions(column_types=self._types(), null_values=[""], check_utf8=False,
                                                   strings_can_be_null=True, quoted_strings_can_be_null=True))
        except pa.ArrowInvalid as e:
            if "Empty CSV file" in str(e):
                return
            raise self._endless() from None

    def _endless(self) -> CaseFaults:
        return whole(self._name, "a record that does not end: a quotation mark that is not closed, or a cell of more "
                     f"than {_AT_ONCE / 1e6:.2g} MB", "records of cells, each quotation mark closed",
                     f"look below row {self._last} for a cell that begins with a quotation mark")

    def _invalid(self, row: Any) -> str:
        number = self._first + row.number
        fault = RowFault(number, "the row", f"{row.actual_columns} cells",
                         f"{row.expected_columns} cells, one under each heading",
                         "put texts and numbers that hold the delimiter in quotation marks, or remove what is too many")
        self._ragged.append((number, fault if row.text.strip(self._delimiter + '"') else None))
        return "skip"

    def _chunk(self, table: pa.Table, last: bool = False) -> Chunk:
        """Number the rows, drop those in which nothing stands, tell those that swallowed others."""
        faults: list[RowFault] = []
        number = self._numbers(table.num_rows, faults, last)
        columns = {n: table.column(k).combine_chunks() for k, n in enumerate(self._names)}
        keep = np.ones(table.num_rows, bool)
        for k in self._swallowing(columns):
            keep[k] = False
            faults.append(RowFault(
                int(number[k]), "the row", "a cell over several lines that holds as many delimiters as a row",
                "cells within their row", "close the quotation mark before it; rows that follow may be inside of this "
                "cell"))
        keep &= ~_blank(columns.values(), table.num_rows)
        if not keep.all():
            number = number[keep]
            columns = {n: c.filter(keep) for n, c in columns.items() if n in self._mapped.values()}
        return Chunk(number, {ours: Cells(columns[n]) for ours, n in self._mapped.items()},
                     sorted(faults, key=lambda f: f.row))

    def _numbers(self, count: int, faults: list[RowFault], last: bool) -> np.ndarray:
        """Numbers of the next rows; those of rows with too many or too few cells are left out."""
        end = self._last + count
        left_out = []
        while self._ragged and (last or self._ragged[0][0] <= end + 1):
            row, fault = self._ragged.popleft()
            faults += [fault] if fault is not None else []
            left_out.append(row)
            end += 1
        number = np.setdiff1d(np.arange(self._last + 1, end + 1), left_out, assume_unique=True)
        self._last = end
        return number

    def _swallowing(self, columns: dict[str, Any]) -> list[int]:
        """Rows with a cell over several lines that holds as many delimiters as a row."""
        out: set[int] = set()
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
                if cell.count(self._delimiter.encode()) >= max(self._width - 1, 1):
                    out.add(k)
                    if cell.count(b"\n") > _SWALLOWED:
                        raise self._endless()
        return sorted(out)


def _blank(columns: Any, count: int) -> np.ndarray:
    """Rows in which nothing stands."""
    out = np.ones(count, bool)
    for values in columns:
        if not out.any():
            break
        if values.null_count < count:
            out &= values.is_null().to_numpy(zero_copy_only=False) if values.null_count else False
    return out

