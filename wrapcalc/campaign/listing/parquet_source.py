"""Rows of a Parquet file, block by block. Row numbers are as if the headings stood in row 1 of a sheet."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wrapcalc import units
from wrapcalc.campaign.listing.chunks import Cells, Chunk, file_open, nothing, number_text, places, whole
from wrapcalc.campaign.listing.columns import COLUMNS, H_MM
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.reading import shown_name

if TYPE_CHECKING:
    import pyarrow as pa

    from wrapcalc.campaign.listing.mapping import Mapping


def parquet_rows(path: Path, mapping: Mapping, rows: int) -> Iterator[Chunk]:
    """Chunks of at most `rows` rows. Raises CaseFaults for a file that is not sound, and for columns of wrong types."""
    import pyarrow as pa
    from pyarrow import parquet
    name, s = shown_name(path), mapping.listing
    if s.units_row is not None or s.heading_row != 1:
        field = "units_row" if s.units_row is not None else "header_row"
        raise CaseFaults([Fault(mapping.file, f"listing.{field}", str(getattr(s, field)), "nothing for Parquet, which "
                                "has no rows of headings or units", "remove it", mapping.line_of(f"listing.{field}"))])
    with file_open(path, name) as source:
        try:
            file = parquet.ParquetFile(source)
            schema = file.schema_arrow
            at = places(mapping, schema.names, (), name)
            _refuse_types(schema, at, mapping, name)
            if not file.metadata.num_rows:
                raise nothing(name)
            first = 2
            for batch in file.iter_batches(batch_size=rows, columns=[schema.names[k] for k in at.values()]):
                row = np.arange(first, first + batch.num_rows, dtype=np.int64)
                first += batch.num_rows
                cells = {ours: _cells(batch.column(schema.names[k]), ours) for ours, k in at.items()}
                yield Chunk(row, cells, [])
        except (pa.ArrowException, OSError):
            raise whole(name, "a Parquet file that cannot be read to its end", "a sound Parquet file",
                        "write it again from its source") from None


def _refuse_types(schema: Any, at: dict[str, int], mapping: Mapping, name: str) -> None:
    import pyarrow as pa
    faults = []
    for ours, k in at.items():
        kind, known = schema.types[k], COLUMNS[ours]
        clock = getattr(mapping.columns[ours], "unit", "") == H_MM
        value = kind.value_type if pa.types.is_dictionary(kind) else kind
        text = pa.types.is_string(value) or pa.types.is_large_string(value) or pa.types.is_null(value) or \
            pa.types.is_string_view(value)
        number = pa.types.is_floating(value) or pa.types.is_integer(value) or pa.types.is_decimal(value)
        if not (text or (number and not clock) or (clock and pa.types.is_time(value))):
            allowed = "texts such as 4:30, or times of day" if clock else "texts or numbers"
            faults.append(Fault(name, f"column {units.shown(schema.names[k])}", f"the type {units.printable(str(kind))}"
                                f" for {known.says}", allowed, "write the column as that type, or correct the mapping"))
    if faults:
        raise CaseFaults(faults)


def _cells(values: pa.Array, ours: str) -> Cells:
    """NaN is a number that is not stated, as data frames write it."""
    import pyarrow as pa
    if pa.types.is_dictionary(values.type):
        values = values.dictionary_decode()
    if pa.types.is_time(values.type):
        seconds = values.cast(pa.time64("us")).cast(pa.int64()).to_pylist()
        return Cells(pa.array([None if t is None else _time(t) for t in seconds], pa.string()))
    if not (pa.types.is_floating(values.type) or pa.types.is_integer(values.type) or pa.types.is_decimal(values.type)):
        return Cells(values.cast(pa.string()))
    if not COLUMNS[ours].is_text:
        number = np.array(values.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False), float)
        return Cells(pa.nulls(len(number), pa.string()), number)
    plain = [None if v is None or v != v else number_text(v) for v in values.to_pylist()]
    return Cells(pa.array(plain, pa.string()))


def _time(microseconds: int) -> str:
    """A time of day; what it has beyond whole seconds stays visible, and is refused."""
    seconds, rest = divmod(microseconds, 1_000_000)
    minutes, seconds = divmod(seconds, 60)
    text = f"{minutes // 60}:{minutes % 60:02d}" + (f":{seconds:02d}" if seconds or rest else "")
    return text + (f".{rest:06d}" if rest else "")
