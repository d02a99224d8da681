"""The order in which anomalies ask for attention, for any number of them.

First comes the nearest deadline, then the greatest repair factor (MAOP over safe pressure), then the greatest share of
the wall that is gone, then the place along the line; rows that are equal in all of it are ordered by what stands in
them. A repair factor or share that is not known counts as greater than any: what could not be judged is not ranked
behind what could. So the order depends on the rows alone, neither on their order in the listing nor on how they were
cut into blocks; two rows that are the same in everything are interchangeable.

Only the keys are kept in memory. The rows lie in a `Store`; when that had to go to a file, they are dealt into files of
neighbouring ranks, each of which is small enough to be sorted in memory.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from wrapcalc.campaign.tables.spill import Store

if TYPE_CHECKING:
    import pyarrow as pa

#: Rows of one file of neighbouring ranks: what is sorted in memory at once.
BUCKET = 131_072
#: Bytes of a text that are mixed at once; longer ones are digested one by one.
_WIDE = 64
_ODD = np.uint64(0x9E3779B97F4A7C15)


class Keys:
    """Rank keys of all rows, block by block, 40 bytes a row."""

    def __init__(self) -> None:
        self._parts: list[np.ndarray] = []
        self._ties: list[np.ndarray] = []

    def add(self, deadline: np.ndarray, factor: np.ndarray, share: np.ndarray, place: np.ndarray, tie: np.ndarray
            ) -> None:
        """Keys of a block. deadline: days, not finite for none; factor, share: NaN for not known; place: along the
        line, mm; tie: a number made of what stands in the row, such as `mixed` gives."""
        late = np.where(np.isfinite(deadline), deadline, np.inf)
        great = [-np.where(np.isnan(x), np.inf, x) for x in (factor, share)]
        self._parts.append(np.stack([late, *great, np.where(np.isnan(place), np.inf, place)]))
        self._ties.append(np.asarray(tie, np.uint64))

    def order(self) -> np.ndarray:
        """Number of the row (in the order in which they were added, from 0) that stands at each rank."""
        if not self._parts:
            return np.empty(0, np.int64)
        late, factor, share, place = np.concatenate(self._parts, axis=1)
        tie = np.concatenate(self._ties)
        self._parts, self._ties = [], []
        out = np.lexsort((factor, late))
        # What deadline and factor do not part is sorted by the other keys: few rows as a rule.
        parted = np.empty(len(out), bool)
        parted[:1] = True
        a, b = out[1:], out[:-1]
        parted[1:] = (late[a] != late[b]) | (factor[a] != factor[b])
        twin = ~parted
        twin[:-1] |= ~parted[1:]
        at = np.flatnonzero(twin)
        rows = out[at]
        out[at] = rows[np.lexsort((tie[rows], place[rows], share[rows], np.cumsum(parted)[at]))]
        return out


def mixed(part: pa.RecordBatch, names: list[str]) -> np.ndarray:
    """A number for each row that depends on what stands in these columns and on nothing else."""
    out = np.zeros(part.num_rows, np.uint64)
    for name in names:
        for word, there in _words_of(part.column(name)):
            new = (out ^ word) * _ODD
            new ^= new >> np.uint64(32)
            out = new if there is None else np.where(there, new, out)
    return out


def _words_of(column: pa.Array) -> Iterator[tuple[np.ndarray, np.ndarray | None]]:
    """The column as numbers of 64 bit, one array for each 8 bytes, and the rows that are so long (None: all)."""
    import pyarrow as pa
    import pyarrow.compute as pc
    if column.type != pa.string():
        filled = pc.fill_null(column.cast(pa.float64()), float("inf"))
        yield filled.to_numpy(zero_copy_only=False).view(np.uint64), None
        return
    column = pc.fill_null(column, "")
    size = pc.binary_length(column).to_numpy(zero_copy_only=False)
    yield size.astype(np.uint64), None
    long = np.flatnonzero(size > _WIDE)
    if len(long):
        texts = column.take(pa.array(long)).to_pylist()
        digests = pa.array([hashlib.sha256(t.encode()).hexdigest() for t in texts], pa.string())
        column = pc.replace_with_mask(column, pa.array(size > _WIDE), digests)
        size = np.where(size > _WIDE, _WIDE, size)
    wide = -int(size.max(initial=0)) // 8 * -8
    padded = pc.binary_join_element_wise(column, pc.binary_repeat("\0", pa.array(wide - size)), "")
    raw = np.frombuffer(padded.buffers()[2] or b"", np.uint8, len(size) * wide, padded.offset * wide)
    for k, words in enumerate(raw.view("<u8").reshape(len(size), wide // 8).T):
        yield words.astype(np.uint64), size > 8 * k


def ranked(store: Store, order: np.ndarray, folder: Path, rows: int, bucket: int = BUCKET) -> Iterator[pa.RecordBatch]:
    """The rows of the store by rank, so many at a time (the last time fewer). folder: for files on the way."""
    import pyarrow as pa
    if store.kept is not None:
        whole = pa.Table.from_batches(store.kept, store.schema).combine_chunks()
        for first in range(0, len(order), rows):
            yield _one(whole.take(pa.array(order[first:first + rows])))
        return
    bucket = max(rows, bucket // rows * rows)
    for first, part in enumerate(_dealt(store, order, folder, bucket)):
        here = order[first * bucket:(first + 1) * bucket]
        # The rows came in the order of the store.
        part = part.take(pa.array(np.argsort(np.argsort(here, kind="stable"), kind="stable")))
        for start in range(0, part.num_rows, rows):
            yield _one(part.slice(start, rows))


def _one(part: pa.Table) -> pa.RecordBatch:
    return part.combine_chunks().to_batches()[0]


def _dealt(store: Store, order: np.ndarray, folder: Path, bucket: int) -> Iterator[pa.Table]:
    """The rows of each bucket of ranks, in the order of the store."""
    import pyarrow as pa
    count = -(-len(order) // bucket)
    of = np.empty(len(order), np.int32)
    for k in range(count):
        of[order[k * bucket:(k + 1) * bucket]] = k
    files = [Store(folder / f"ranks-{k}.arrow", store.schema) for k in range(count)]
    try:
        place = 0
        for part in store.batches():
            here = of[place:place + part.num_rows]
            place += part.num_rows
            by_file = np.argsort(here, kind="stable")
            edges = np.searchsorted(here[by_file], np.arange(count + 1))
            dealt = part.take(pa.array(by_file))
            for k, file in enumerate(files):
                file.add(dealt.slice(edges[k], edges[k + 1] - edges[k]))
        store.drop()
        for file in files:
            yield pa.Table.from_batches(list(file.batches()), store.schema)
            file.drop()
    finally:
        for file in files:
            file.drop()
