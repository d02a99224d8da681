"""Repairs whose wraps would come too close become one repair, from one end of the line to the other.

A wrap lies in the middle of its damage, as far as its full thickness reaches and its ends beyond. Two are one repair
when their full thickness comes closer than the sheet of the system allows, or when their ends would touch, as in a
single design (`stages.wrap.zones`). Over a girth weld only where the sheet allows it; else they stay apart and that is
told.
The anomalies under such a wrap do not act as one: the weakest of them governs the pressure, the wrap gets the layers of
the worst. Lengths are in mm, pressures in MPa gauge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wrapcalc.errors import CalculationError

_TOUCH = 1e-6  # mm
#: Pairs that are named in a message; the rest is counted.
_NAMED = 10
CLOSE, ENDS = "their wraps would come closer than the system allows", "the ends of their wraps would touch"
#: Columns of what was joined -> unit.
COLUMNS = {"feature ids": "", "reason": "", "repairs": "", "gap": "mm", "from": "mm", "to": "mm",
           "length before": "mm", "length after": "mm", "depth before": "mm", "depth after": "mm", "cover before": "mm",
           "cover after": "mm", "layers before": "", "layers after": "", "safe pressure before": "MPa",
           "safe pressure after": "MPa"}


@dataclass(frozen=True)
class Wraps:
    """Wraps by first pass, one for each place that asks for one. label: ids of its features; x0, x1: damage with its
    allowance, mm surveyed; cover: length of the full thickness; end: length of one end; joint: number, "" not known."""

    label: np.ndarray
    x0: np.ndarray
    x1: np.ndarray
    cover: np.ndarray
    end: np.ndarray
    joint: np.ndarray
    depth: np.ndarray
    layers: np.ndarray
    safe_pressure: np.ndarray

    def __post_init__(self) -> None:
        numbers = np.stack([np.asarray(v, float) for v in (self.x0, self.x1, self.cover, self.end)])
        if not np.isfinite(numbers).all() or (self.x1 < self.x0).any() or (np.asarray(self.cover) <= 0).any():
            raise CalculationError("neighbouring wraps: a wrap without place, cover or end; leave out what has no wrap")


@dataclass(frozen=True)
class Touching:
    """What became one repair. of_wrap: number of the repair of each wrap, along the line from 0; groups: wraps of each
    repair that has two or more; columns: as in COLUMNS, one for each of these groups; told: what the user must know."""

    of_wrap: np.ndarray
    groups: tuple[tuple[int, ...], ...]
    columns: dict[str, np.ndarray]
    told: tuple[str, ...]


def touching(w: Wraps, *, least_gap: float, over_girth_weld: bool) -> Touching:
    """Join wraps that come too close, chained until none does. least_gap: between full thicknesses, of the sheet, mm;
    over_girth_weld: whether the sheet allows a wrap over one."""
    middle = (np.asarray(w.x0, float) + w.x1) / 2
    low, high = middle - w.cover / 2, middle + w.cover / 2
    key = np.zeros(len(low), dtype=int) if over_girth_weld else _by_joint(w.joint)
    order = np.lexsort((np.asarray(w.label, dtype=str), high, low, key))
    chain, gap, why = _chains(low[order], high[order], w.end[order], key[order], least_gap)
    of = np.empty(len(low), dtype=int)
    of[order] = chain
    told = [] if over_girth_weld else _over_welds(w, low, high, of, least_gap)
    if over_girth_weld:
        told = _crossing(w, of)
    first = np.array([low[of == k].min() for k in range(chain[-1] + 1)]) if len(chain) else np.empty(0)
    rank = np.argsort(np.argsort(first, kind="stable"), kind="stable")
    groups = sorted((sorted(order[chain == k].tolist(), key=lambda i: (low[i], high[i])) for k in
                     np.flatnonzero(np.bincount(chain) > 1).tolist()), key=lambda g: low[g[0]]) if len(chain) else []
    nearest = {}
    for at, k in enumerate(chain.tolist()):
        if np.isfinite(gap[at]):
            nearest[k] = min(nearest.get(k, (np.inf, "")), (float(gap[at]), why[at]))
    return Touching(rank[of] if len(of) else of, tuple(map(tuple, groups)),
                    _columns(w, low, high, groups, [nearest[of[g[0]]] for g in groups], least_gap), tuple(told))


def _by_joint(joint: np.ndarray) -> np.ndarray:
    """A number for each joint; wraps whose joint is not known have one of their own: a weld may lie between."""
    known = np.unique(np.asarray(joint, dtype=str), return_inverse=True)[1].ravel()
    blank = np.asarray(joint, dtype=str) == ""
    return np.where(blank, known.max(initial=0) + 1 + np.arange(len(known)), known)


def _chains(low: np.ndarray, high: np.ndarray, end: np.ndarray, key: np.ndarray, least_gap: float
            ) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """(chain, gap to what is before it, why) of wraps sorted by key, then low; the gap is NaN where a chain begins.

    The end that reaches farthest need not be that of the farthest full thickness: both are carried along.
    """
    chain, gap, why = np.zeros(len(low), dtype=int), np.full(len(low), np.nan), [""] * len(low)
    number, full, whole = -1, -np.inf, -np.inf
    for i in range(len(low)):
        apart, touch = low[i] - full, low[i] - end[i] - whole
        if i and key[i] == key[i - 1] and (apart < least_gap - _TOUCH or touch < -_TOUCH):
            gap[i], why[i] = apart, CLOSE if apart < least_gap - _TOUCH else ENDS
            full, whole = max(full, high[i]), max(whole, high[i] + end[i])
        else:
            number, full, whole = number + 1, high[i], high[i] + end[i]
        chain[i] = number
    return chain, gap, why


def _over_welds(w: Wraps, low: np.ndarray, high: np.ndarray, of: np.ndarray, least_gap: float) -> list[str]:
    """Repairs that stay apart though they come too close: a girth weld lies between, or may lie between."""
    out, order = [], np.lexsort((high, low))
    farthest = -1
    for i in order.tolist():
        if farthest >= 0 and of[i] != of[farthest]:
            apart = low[i] - high[farthest]
            if apart < least_gap - _TOUCH or apart - w.end[i] - w.end[farthest] < -_TOUCH:
                out.append(f"{w.label[farthest]} and {w.label[i]}")
        if farthest < 0 or high[i] > high[farthest]:
            farthest = i
    if not out:
        return []
    more = f", and {len(out) - _NAMED} more" if len(out) > _NAMED else ""
    return [f"{len(out)} pairs of repairs would come too close over a girth weld, or where the joint is not known; "
            f"they stay apart, and the design of each decides: {'; '.join(out[:_NAMED])}{more}."]


def _crossing(w: Wraps, of: np.ndarray) -> list[str]:
    joints: dict[int, set[str]] = {}
    for k, joint in zip(of.tolist(), np.asarray(w.joint, dtype=str).tolist(), strict=True):
        joints.setdefault(k, set()).add(joint)
    count = sum(len(j) > 1 for j in joints.values())
    return [f"{count} repairs go over a girth weld, as the sheet of the system allows; their cases must state the "
            "other joint and service.inside_repair = \"girth weld\"."] if count else []


def _columns(w: Wraps, low: np.ndarray, high: np.ndarray, groups: list[list[int]], nearest: list[tuple[float, str]],
             least_gap: float) -> dict[str, np.ndarray]:
    def of(values: np.ndarray, pick: object) -> np.ndarray:
        return np.array([pick(np.asarray(values, float)[g]) for g in groups], dtype=float)  # type: ignore[operator]

    # Before: what the weakest one would be alone; no pressure counts as lower than any.
    p = np.asarray(w.safe_pressure, float)
    weak = [g[int(np.argmin(np.where(np.isnan(p[g]), -np.inf, p[g])))] for g in groups]
    start, stop = of(w.x0, np.min), of(w.x1, np.max)
    return {"feature ids": np.array([" ".join(map(str, np.asarray(w.label)[g])) for g in groups], dtype=object),
            "reason": np.array([f"{why} ({least_gap:g} mm)" if why == CLOSE else why for _, why in nearest], object),
            "repairs": np.array([len(g) for g in groups], dtype=int), "gap": np.array([n[0] for n in nearest], float),
            "from": start, "to": stop, "length before": (np.asarray(w.x1) - w.x0)[weak] if weak else np.empty(0),
            "length after": stop - start, "depth before": np.asarray(w.depth, float)[weak],
            "depth after": of(w.depth, np.max), "cover before": np.asarray(w.cover, float)[weak],
            "cover after": of(high, np.max) - of(low, np.min), "layers before": np.asarray(w.layers, float)[weak],
            "layers after": of(w.layers, np.max), "safe pressure before": p[weak], "safe pressure after": p[weak]}
