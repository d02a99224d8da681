"""The first rows of a listing as texts, with what can be told of its form: encoding, delimiter, headings, units."""

from __future__ import annotations

import codecs
import csv
import datetime
import warnings
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

from wrapcalc.campaign.listing.chunks import file_open, heading, nothing, number_text, whole
from wrapcalc.campaign.listing.columns import COLUMNS
from wrapcalc.campaign.listing.csv_text import marked, open_text, records
from wrapcalc.campaign.listing.look_words import HEADINGS, plain_words
from wrapcalc.campaign.listing.mapping import DELIMITERS
from wrapcalc.campaign.listing.read import CSV, PARQUET, XLSX, form_of
from wrapcalc.campaign.listing.unit_words import unit_of
from wrapcalc.campaign.listing.xlsx_book import (
    AGAIN,
    FORM,
    ShownNumber,
    open_book,
    styles_shown,
    values_shown,
    visible,
)
from wrapcalc.reading import shown_name

#: Rows that are looked at, and those among which the headings are sought.
SAMPLE, _TOP = 2000, 30
_DECIDES = 4_000_000
_KNOWN = {word for words in HEADINGS.values() for word in words}


@dataclass
class Sample:
    """The first rows of a listing. form: CSV, XLSX or Parquet; numbers: whether its numbers are numbers, not texts;
    units: row of units, empty when there is none; more: whether rows follow."""

    form: str
    headings: list[str]
    rows: list[list[str]]
    header_row: int = 1
    units: list[str] = field(default_factory=list)
    delimiter: str = ""
    encoding: str = ""
    sheet: str = ""
    numbers: bool = False
    more: bool = False
    doubts: list[str] = field(default_factory=list)


def sample_of(listing: Path) -> Sample:
    """The first rows of a listing. Raises CaseFaults."""
    return {CSV: _csv, XLSX: _xlsx, PARQUET: _parquet}[form_of(listing)](listing)


def _csv(path: Path) -> Sample:
    name = shown_name(path)
    encoding, doubts = _encoding(path, name)
    delimiter, sure = _delimiter(path, encoding, name)
    if not sure:
        doubts.append(f"what parts the cells? {delimiter} is the likeliest")
    with open_text(path, encoding, name) as stream:
        rows = list(islice(records(stream, DELIMITERS[delimiter], name), SAMPLE + _TOP + 1))
    return _headed(rows, name, Sample(CSV, [], [], delimiter=delimiter, encoding=encoding, doubts=doubts))


def _encoding(path: Path, name: str) -> tuple[str, list[str]]:
    with file_open(path, name) as file:
        start = file.read(_DECIDES)
    if told := marked(start):
        return told, []
    try:
        codecs.getincrementaldecoder("utf-8")("strict").decode(start)
        return "utf-8", []
    except UnicodeDecodeError:
        return "windows-1252", ["the file is not UTF-8; windows-1252 is a guess: look at letters with accents and at °"]


def _delimiter(path: Path, encoding: str, name: str) -> tuple[str, bool]:
    """The delimiter that gives the most cells in rows of one length, and whether no other comes near."""
    scores = {}
    for word, mark in DELIMITERS.items():
        try:
            with open_text(path, encoding, name) as stream:
                widths = [len(r) for r in islice(records(stream, mark, name), _TOP * 2) if r]
        except csv.Error:
            continue
        most = max(set(widths), key=widths.count) if widths else 0
        scores[word] = (most - 1) * widths.count(most) if most > 1 else 0
    ranked = sorted(scores, key=lambda w: -scores[w])
    return ranked[0], scores[ranked[0]] > 2 * scores[ranked[1]]


def _xlsx(path: Path) -> Sample:
    name = shown_name(path)
    with file_open(path, name) as file, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about dates that are none
        book = open_book(file, name, kept=True)
        sheets = visible(book)
        if not sheets:
            raise whole(name, "a workbook without a sheet of cells that is not hidden", "a sheet with the listing",
                        "show the sheet that is meant, and save it again")
        styles = styles_shown(book)
        try:
            sheets[0].reset_dimensions()
            rows = [[_shown(c) for c in values_shown(r, styles)]
                    for r in islice(sheets[0].iter_rows(values_only=not styles), SAMPLE + _TOP + 1)]
        except Exception:  # openpyxl raises errors of many kinds for a sheet that is not sound
            raise whole(name, "a workbook that cannot be read", FORM, AGAIN) from None
    out = _headed(rows, name, Sample(XLSX, [], [], sheet=sheets[0].title, numbers=True))
    others, hidden = [w.title for w in sheets[1:]], len(book.worksheets) - len(sheets)
    if others:
        out.doubts.append(f"the first sheet was looked at; there are {len(others)} more: {', '.join(others)[:120]}")
    if hidden:
        out.doubts.append(f"{hidden} hidden sheet{'s were' if hidden > 1 else ' was'} not looked at")
    return out


def _parquet(path: Path) -> Sample:
    import pyarrow as pa
    from pyarrow import parquet
    name = shown_name(path)
    with file_open(path, name) as source:
        try:
            file = parquet.ParquetFile(source)
            names = list(file.schema_arrow.names)
            batch = next(file.iter_batches(batch_size=SAMPLE), None)
            more = file.metadata.num_rows > SAMPLE
        except (pa.ArrowException, OSError):
            raise whole(name, "a Parquet file that cannot be read", "a sound Parquet file",
                        "write it again from its source") from None
    if batch is None or not batch.num_rows:
        raise nothing(name)
    rows = [[_shown(v) for v in row] for row in zip(*(c.to_pylist() for c in batch.columns), strict=True)]
    return Sample(PARQUET, names, rows, numbers=True, more=more)


def _shown(cell: Any) -> str:
    if cell is None or cell != cell:
        return ""
    if isinstance(cell, ShownNumber):
        return _shown(cell.number) if not cell.how.per_cent else f"{100 * cell.number:.10g}%"
    if isinstance(cell, datetime.time):
        return f"{cell.hour}:{cell.minute:02d}"
    return number_text(cell) if isinstance(cell, (int, float)) and not isinstance(cell, bool) else str(cell)


def _headed(rows: list[list[str]], name: str, out: Sample) -> Sample:
    """Find the headings: the row among the first with the most headings that we know."""
    if not any(c.strip() for r in rows for c in r):
        raise whole(name, "nothing: it is empty", "a listing: headings, and a row for each feature",
                    "check that it is the right file")
    counts = [sum(plain_words(c) in _KNOWN or plain_words(c).rpartition(" ")[0] in _KNOWN for c in r)
              for r in rows[:_TOP]]
    at = counts.index(max(counts))
    if counts[at] < 2:
        at = next(k for k, r in enumerate(rows) if any(c.strip() for c in r))
        out.doubts.append(f"no row has headings that we know; row {at + 1} is taken for them")
    elif at:
        out.doubts.append(f"the headings seem to stand in row {at + 1}; what is above is not read")
    out.header_row, out.headings = at + 1, rows[at]
    below = rows[at + 1:]
    if below and _are_units(below[0]):
        out.units, below = below[0], below[1:]
    out.more = len(below) > SAMPLE
    out.rows = [r for r in below[:SAMPLE]]
    if not any(c.strip() for r in out.rows for c in r):
        raise nothing(name)
    return out


def _are_units(cells: Iterable[str]) -> bool:
    """Whether a row holds units: at least two that we know, and no cell with a digit."""
    told = [heading(c) for c in cells if c.strip()]
    known = [c for c in told if any(unit_of(c, k) for k in COLUMNS.values())]
    return len(known) >= 2 and not any(ch.isdigit() for c in told for ch in c)
