"""Rows without enough data that no rule takes: the deepest are named, the others counted."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

#: So many are named.
MOST_NAMED = 200
_SAID = ("row", "feature_id", "kind", "reason", "survey", "joint", "depth", "wall", "relative_depth")


class Deepest:
    """The deepest rows of all blocks, by relative depth. A depth of which the wall is not known comes before all, since
    nobody knows how much is left; a row without a depth comes last."""

    def __init__(self) -> None:
        self._rows: list[tuple[tuple[float, float, int], dict[str, Any]]] = []

    def add(self, block: Mapping[str, np.ndarray], at: np.ndarray, place: int) -> None:
        """Rows of a block by their places in it; place: of its first row in the ranking."""
        depth, share = (np.asarray(block[n], float)[at] if n in block else np.full(len(at), np.nan)
                        for n in ("depth", "relative_depth"))
        key = np.where(np.isfinite(share), share, np.where(np.isfinite(depth), np.inf, -np.inf))
        deep = np.where(np.isfinite(depth), depth, -np.inf)
        # Twice as many are kept, since some may yet be taken into a repair.
        for k in np.lexsort((at, -deep, -key))[:2 * MOST_NAMED].tolist():
            row = {n: block[n][at[k]] for n in _SAID if n in block}
            self._rows.append(((-key[k], -deep[k], place + int(at[k])),
                               {n: v.item() if isinstance(v, np.generic) else v for n, v in row.items()}))
        self._rows = sorted(self._rows, key=lambda r: r[0])[:2 * MOST_NAMED]

    def named(self, taken: set[Any]) -> list[dict[str, Any]]:
        """The deepest first, without those that were taken into a repair, by the number of their row."""
        return [row for _, row in self._rows if row["row"] not in taken][:MOST_NAMED]
