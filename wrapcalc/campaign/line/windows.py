"""Rows along the line, cut where no anomaly can act with one beyond: what lies between two cuts is judged by itself.

The cuts depend on the rows alone. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from wrapcalc.campaign.neighbours.neighbours import TOLD_RULE, Convention, edges
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
    held: list[Rows] = []
    for block in blocks:
        held.append(block)
        cut = _cut({n: np.concatenate([h[n] for h in held]) for n in ("survey", "length")}, place, longest, reach)
        if cut:
            rest = cut - sum(len(h["survey"]) for h in held[:-1])
            if rest <= 0:  # the cut lies in what was held back
                whole = joined(held)
                yield taken(whole, slice(0, cut))
                held = [taken(whole, slice(cut, None))]
            else:
                yield joined([*held[:-1], taken(block, slice(0, rest))])
                held = [taken(block, slice(rest, None))]
    if held and sum(len(h["survey"]) for h in held):
        yield joined(held)


def joined(parts: list[Rows]) -> Rows:
    """The rows of all, one after the other."""
    some = [p for p in parts if len(p["survey"])] or parts[:1]
    return some[0] if len(some) == 1 else {n: np.concatenate([p[n] for p in some]) for n in some[0]}


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
