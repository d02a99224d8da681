"""Where around the pipe the units of a repair start: every minute of the clock is tried, alone and in pairs.

Neighbours, side by side and one over the other, must start apart. Units in rows and tiers take turns like the fields of
a chess board: whatever starts keep all neighbours apart, those of any two neighbours, taken in turns, do it too. The
best starts are thus one place, or a pair of places.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wrapcalc.errors import CalculationError

#: Places that a clock can name: every minute of twelve hours.
PLACES = 720
_NOISE = 1e-9


@dataclass(frozen=True)
class Keep:
    """A stretch of the circumference, from low to high (arc in mm clockwise from 12 o'clock), and the arc to keep from
    it."""

    low: float
    high: float
    clear: float


@dataclass(frozen=True)
class Starts:
    """minutes: of the clock (0 is 12 o'clock), of one start or of the two that take turns; arcs: the same in mm.

    margin: least distance beyond what the rules ask, in mm; negative where a rule is missed, infinite without a rule.
    upper: all starts lie in the upper half.
    """

    minutes: tuple[int, ...]
    arcs: tuple[float, ...]
    margin: float
    upper: bool


def arc_between(a, b, around: float):
    """The shorter way round between two places, in mm; numbers or arrays."""
    off = np.mod(np.asarray(a, float) - b, around)
    return np.minimum(off, around - off)


def arc_to(place, low: float, high: float, around: float):
    """The shortest way round from a place to a stretch, 0 inside it, in mm; numbers or arrays."""
    span = high - low
    off = np.mod(np.asarray(place, float) - low, around)
    return np.where((off <= span) | (span >= around), 0.0, np.minimum(off - span, around - off))


def best_starts(around: float, keeps: Sequence[Keep], stagger: float | None) -> Starts:
    """The starts with the greatest least margin; in the upper half where all rules can be met there.

    stagger: least arc between neighbours; None for a single unit. Of equal ones those nearest to 12 o'clock.
    Raises CalculationError for a circumference or a rule that is no length.
    """
    rules = [v for k in keeps for v in (k.low, k.high - k.low, k.clear)] + ([] if stagger is None else [stagger])
    if not (math.isfinite(around) and around > 0) or not all(map(math.isfinite, rules)):
        raise CalculationError(f"starts: circumference {around!r} mm with the rules {rules!r}")
    place = around * np.arange(PLACES) / PLACES
    free = np.full(PLACES, np.inf)
    for k in keeps:
        free = np.minimum(free, arc_to(place, k.low, k.high, around) - k.clear)
    high = arc_between(place, 0.0, around)
    above = high <= around / 4 * (1 + _NOISE)
    if stagger is None:
        margin, far, up = free, high, above
    else:
        # How far two places are apart depends on the minutes between them only, and high is that from 12 o'clock.
        minute = np.arange(PLACES)
        apart = (high - stagger)[np.abs(minute[:, None] - minute[None, :])]
        margin = np.minimum(np.minimum(free[:, None], free[None, :]), apart)
        far, up = high[:, None] + high[None, :], above[:, None] & above[None, :]
    if (margin[up] >= 0).any():
        margin = np.where(up, margin, -np.inf)
    best = margin.max()
    good = margin >= best - _NOISE * around if math.isfinite(best) else margin == best
    first = int(np.argmin(np.where(good, far, np.inf)))
    chosen = (first,) if stagger is None else (first // PLACES, first % PLACES)
    return Starts(chosen, tuple(float(place[i]) for i in chosen), float(margin.flat[first]),
                  bool(all(above[i] for i in chosen)))


def clock_text(minutes: int) -> str:
    """Minutes of the clock as they are written: 0 is 12:00."""
    return f"{minutes // 60 % 12 or 12}:{minutes % 60:02d}"
