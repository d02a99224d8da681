"""faults.csv: every row that cannot be screened, with its column, what stands there, what may, and how to mend it."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np

from wrapcalc.campaign.screening import ranking
from wrapcalc.campaign.tables import tables
from wrapcalc.campaign.tables.spill import Store
from wrapcalc.campaign.tables.tables import TEXT, WHOLE, Column

COLUMNS = (Column("row", WHOLE), Column("column", TEXT), Column("found", TEXT), Column("allowed", TEXT),
           Column("mend", TEXT))
_BUDGET, _AT_ONCE = 16_000_000, 65_536


class FaultsFile:
    """Faults of rows as they come up, written in the order of the rows when the block ends without an error."""

    def __init__(self, path: Path, work: Path):
        self.path, self.work, self.rows = path, work, 0
        self._store = Store(work / "faults.arrow", tables.schema(COLUMNS), _BUDGET)
        self._of: list[np.ndarray] = []

    def add(self, faults: Iterable[Any]) -> int:
        """Append faults (row, column, found, allowed, mend); how many rows they are of."""
        faults = list(faults)
        if not faults:
            return 0
        block = {c.name: np.array([getattr(f, c.name) for f in faults], dtype=object if c.kind == TEXT else np.int64)
                 for c in COLUMNS}
        self._store.add(tables.batch(COLUMNS, block))
        self._of.append(block["row"])
        return len(np.unique(block["row"]))

    def __enter__(self) -> FaultsFile:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
                 ) -> None:
        if kind is None:
            self._write()
        self._store.drop()

    def _write(self) -> None:
        of = np.concatenate(self._of) if self._of else np.empty(0, np.int64)
        self.rows = len(np.unique(of))
        with tables.open_table(self.path, COLUMNS, "csv", len(of)) as table:
            for part in ranking.ranked(self._store, np.argsort(of, kind="stable"), self.work, _AT_ONCE):
                table.write(part)
