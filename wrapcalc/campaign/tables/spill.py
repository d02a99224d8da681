"""Batches of rows kept between two passes: in memory while they are few, then in a file.

The file lies in a folder that the caller makes and takes away. It is read batch by batch, so that what was written
takes no memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pyarrow as pa


def recut(batches: Iterable[pa.RecordBatch], rows: int) -> Iterator[pa.RecordBatch]:
    """The same rows, so many at a time (the last time fewer)."""
    import pyarrow as pa
    held: list[pa.RecordBatch] = []
    count = 0
    for part in batches:
        while count + part.num_rows >= rows:
            held.append(part.slice(0, rows - count))
            part = part.slice(rows - count)
            yield pa.concat_batches(held)
            held, count = [], 0
        if part.num_rows:
            held.append(part)
            count += part.num_rows
    if held:
        yield pa.concat_batches(held)


class Store:
    """Batches in the order in which they came. budget: bytes that may stay in memory."""

    def __init__(self, path: Path, schema: pa.Schema, budget: int = 0):
        self.path, self.schema, self.rows = path, schema, 0
        self._left, self._kept, self._sizes = budget, [], []  # type: ignore[var-annotated]
        self._file: Any = None

    @property
    def kept(self) -> list[pa.RecordBatch] | None:
        """The batches when all of them are in memory, else None."""
        return self._kept if not self._sizes else None

    @property
    def sizes(self) -> list[int]:
        """Rows of each batch."""
        return [b.num_rows for b in self._kept] + self._sizes

    def add(self, part: pa.RecordBatch) -> None:
        """Append a batch; an empty one is left out."""
        import pyarrow as pa
        if not part.num_rows:
            return
        self.rows += part.num_rows
        self._left -= part.get_total_buffer_size()
        if self._left >= 0:
            self._kept.append(part)
            return
        if self._file is None:
            self._file = pa.ipc.new_file(self.path, self.schema)
        self._file.write_batch(part)
        self._sizes.append(part.num_rows)

    def batches(self) -> Iterator[pa.RecordBatch]:
        """All batches; nothing can be added any more."""
        import pyarrow as pa
        self.close()
        yield from self._kept
        if self._sizes:
            with pa.OSFile(str(self.path)) as file, pa.ipc.open_file(file) as reader:
                for i in range(reader.num_record_batches):
                    yield reader.get_batch(i)

    def close(self) -> None:
        """End the file."""
        if self._file is not None:
            self._file.close()
            self._file = None

    def drop(self) -> None:
        """Give up memory and file."""
        self.close()
        self._kept, self._sizes, self.rows = [], [], 0
        self.path.unlink(missing_ok=True)
