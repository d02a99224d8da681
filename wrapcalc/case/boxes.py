"""Boxes of metal loss on the unrolled pipe: what grids and tables of pits are reduced to before they are grouped."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Boxes:
    """Axial x0 to x1 and around y0 to y1 (arc, clockwise facing downstream), depth; n each, mm.

    y1 is never below y0: a box across the seam of the sheet ends above the circumference.
    """

    x0: np.ndarray
    x1: np.ndarray
    y0: np.ndarray
    y1: np.ndarray
    depth: np.ndarray

    def __post_init__(self) -> None:
        for side in ("x0", "x1", "y0", "y1", "depth"):
            object.__setattr__(self, side, np.atleast_1d(np.asarray(getattr(self, side), dtype=float)))

    def __len__(self) -> int:
        return len(self.x0)

    def taken(self, members: np.ndarray | list[int] | tuple[int, ...] | slice) -> Boxes:
        """Some of the boxes, by index."""
        at = members if isinstance(members, slice) else np.asarray(members, dtype=np.intp)
        return Boxes(self.x0[at], self.x1[at], self.y0[at], self.y1[at], self.depth[at])


def shortest_arc(y0: np.ndarray, y1: np.ndarray, circumference: float) -> tuple[float, float]:
    """From, to (mm): the shortest arc that holds all arcs y0 to y1; it begins where one of them begins.

    When the arcs leave no gap it is the whole circumference. Of equal gaps the first is left out.
    """
    width = y1 - y0
    start = np.mod(y0, circumference)
    order = np.argsort(start, kind="stable")
    start, end = start[order], (start + width)[order]
    # How far the arcs reach that begin at or before each one, those that pass the seam included.
    reach = np.maximum.accumulate(np.concatenate([[end.max() - circumference], end]))
    gaps = np.append(start, start[0] + circumference) - reach
    gaps[0] = -np.inf  # the gap before the first is the one after the last
    at = int(np.argmax(gaps))
    if gaps[at] <= 0:
        first = order[0]
        return float(y0[first]), float(y0[first] + circumference)
    first = order[at % len(order)]
    return float(y0[first]), float(y0[first] + circumference - gaps[at])
