"""A listing read by its mapping: blocks of sound rows as arrays, and the faults of all others."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from wrapcalc.campaign.listing.blocks import Block, RowFault, unstated
from wrapcalc.campaign.listing.cells import Reader
from wrapcalc.campaign.listing.chunks import Chunk, Source, file_open, nothing, whole
from wrapcalc.campaign.listing.depth_sense import Depths
from wrapcalc.campaign.screening.noted import Noted
from wrapcalc.reading import shown_name

if TYPE_CHECKING:
    from wrapcalc.campaign.listing.mapping import Mapping

CSV, XLSX, PARQUET = "CSV", "XLSX", "Parquet"
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"


def form_of(path: Path) -> str:
    """CSV, XLSX or PARQUET, by how the file begins and by its name. Raises CaseFaults for what is none of them."""
    name = shown_name(path)
    with file_open(path, name) as file:
        start = file.read(4)
    suffix = path.suffix.casefold()
    if start == _OLD_WORKBOOK:
        raise whole(name, "a workbook of the old form, or one that is locked with a password", "CSV, XLSX or Parquet",
                    "save it as .xlsx without a password, or as CSV (UTF-8)")
    form = {b"PK\x03\x04": XLSX, b"PAR1": PARQUET}.get(start, CSV)
    if form == CSV and suffix in (".xlsx", ".xlsm", ".parquet"):
        raise whole(name, "nothing: it is empty" if not start else f"something that is not what {suffix} means",
                    "CSV, XLSX or Parquet", "save it again from its source, or give it its right name")
    return form


def source(listing: Path, mapping: Mapping, rows: int, noted: Noted) -> Source:
    """Chunks of the file, cells not yet read."""
    form = form_of(listing)
    if form == XLSX:
        from wrapcalc.campaign.listing.xlsx_source import xlsx_rows
        return xlsx_rows(listing, mapping, rows, noted)
    if form == PARQUET:
        from wrapcalc.campaign.listing.parquet_source import parquet_rows
        return parquet_rows(listing, mapping, rows)
    from wrapcalc.campaign.listing.csv_source import csv_rows
    return _ahead(csv_rows(listing, mapping, rows))


def _ahead(chunks: Source) -> Source:
    """The next chunk is parted into cells while the last one is read; that work needs no Python."""
    with ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(next, chunks, None)
        while (chunk := waiting.result()) is not None:
            waiting = pool.submit(next, chunks, None)
            yield chunk


def read_blocks(listing: Path, mapping: Mapping, rows: int = 65_536, noted: Noted | None = None) -> Iterator[Block]:
    """The listing block by block, `rows` rows at once; memory does not grow with it (but for the texts of a workbook).

    Every row is in the arrays of a block or has a fault in it, never both; lines in which nothing stands are no rows.
    noted: takes what must be known of rows that are read all the same. Raises CaseFaults for what is wrong with the
    file as a whole, some of it only when reading comes to it.
    """
    noted = Noted() if noted is None else noted
    reader, depths, any_row = Reader(mapping), Depths(mapping, noted), False
    for chunk in source(listing, mapping, rows, noted):
        block = _block(chunk, reader, depths)
        any_row = any_row or len(block.row) > 0 or bool(block.faults)
        yield block
    depths.refuse()
    reader.clocks.refuse()
    if not any_row:
        raise nothing(shown_name(listing))


def _block(chunk: Chunk, reader: Reader, depths: Depths) -> Block:
    read, faults = reader.read(chunk)
    faults += depths.faults(chunk, read)
    wrong = np.unique(np.array([k for k, _ in faults], dtype=np.intp))
    told = sorted([*chunk.faults, *(f for _, f in faults)], key=_row)
    row = chunk.row
    if len(wrong):
        keep = np.ones(len(row), bool)
        keep[wrong] = False
        row, read = row[keep], {n: v[keep] for n, v in read.items()}
    return Block(row, {**unstated(len(row)), **read}, told)


def _row(fault: RowFault) -> int:
    return fault.row
