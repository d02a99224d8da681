"""Rows along the line, cut where no anomaly can act with one beyond: what lies between two cuts is judged by itself.

The cuts depend on the rows alone. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from wrapcalc.campaign.neighbours import TOLD_RULE, Convention, edges
from wrapcalc.errors import CalculationError
from wrapcalc.searches.clusters import interaction_rule

Rows = dict[str, np.ndarray]


def reach_of(how: Convention, diameter: float, wall: float) -> float:
    """How far from its edge an anomaly may act with another, mm. diameter, wall: the greatest of the line."""
    try:
        gap = interaction_rule(how.rule or TOLD_RULE, diameter, wall, *how.own).axial
    except CalculationError:  # a rule that wants what is not stated; whoever asks it tells
        gap = 0.0
    return max(gap, how.rejoin_gap or 0.0) + how.length_allowance + 1.0


def windows(blocks: Iterable[Rows], place: str, longest: float, reach: float) -> Iterator[Rows]:
    """Blocks in the order of the line cut anew. longest: greatest length of an anomaly of the whole listing, mm;
    place: of which edge the surveyed distance is."""
    carry: Rows | None = None
    for block in blocks:
        rows = block if carry is None else joined(carry, block)
        cut = _cut(rows, place, longest, reach)
        if cut:
            yield taken(rows, slice(0, cut))
        carry = taken(rows, slice(cut, None))
    if carry is not None and len(carry["survey"]):
        yield carry


def joined(a: Rows, b: Rows) -> Rows:
    """Rows of both, one after the other."""
    return {n: np.concatenate([v, b[n]]) for n, v in a.items()}


def taken(rows: Rows, at: slice | np.ndarray) -> Rows:
    """Some of the rows."""
    return {n: v[at] for n, v in rows.items()}


def _cut(rows: Rows, place: str, longest: float, reach: float) -> int:
    """The last place where nothing before reaches what comes after, be it here or still to come; 0 for none."""
    survey = np.where(np.isnan(rows["survey"]), np.inf, rows["survey"])
    if not len(survey):
        return 0
    length = np.where(np.isfinite(rows["length"]), rows["length"], 0.0)
    first, last = edges({"survey": survey, "length": length}, place)
    far = np.maximum.accumulate(np.where(np.isfinite(last), last, -np.inf))
    to_come = survey[-1] - longest  # no edge of a row still to come lies before
    near = np.minimum(np.minimum.accumulate(first[::-1])[::-1], to_come)
    apart = np.flatnonzero(near[1:] - far[:-1] > reach)
    return int(apart[-1]) + 1 if len(apart) else 0
