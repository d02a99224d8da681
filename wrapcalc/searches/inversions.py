"""Largest size that still passes: a non-increasing function turned round by bisection.

A safe pressure falls with depth and with length, but not smoothly: the original form jumps at its switch. Bisection
needs no smoothness, keeps both sides of the answer, and its passing side is a size at which the function was worked.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from wrapcalc.errors import CalculationError

#: Share of the largest value met that rounding may leave: a rise above it is no rounding.
_ROUNDING = 1e-9
#: A fall across the closed bracket is a jump when it is above this share of the largest value met, and this many times
#: what the mean slope of the range gives over the bracket (which tells only where the tolerance is wide).
_JUMP, _STEEP = 1e-6, 1e4


@dataclass(frozen=True)
class Bracketed:
    """What `largest_passing` found, in the unit of the argument.

    passing: the largest argument known to pass, None when not even the smallest does; failing: the smallest known to
    fail, None when all pass; residual: function less target, at `passing` (at the smallest when none passes); steps:
    halvings; words: how it ended, for the page.
    """

    passing: float | None
    failing: float | None
    residual: float
    steps: int
    words: str


def largest_passing(function: Callable[[float], float], target: float, low: float, high: float, *,
                    tolerance: float = 1e-9) -> Bracketed:
    """The largest argument from low to high at which a non-increasing function is at least target.

    tolerance: width of the bracket at the end, in the unit of the argument (or the next number of the machine, where
    that is wider). Raises CalculationError for a range that is none, for a value that is not a finite number, and for
    a function that is seen to rise: where it rises there is no largest passing argument to bracket.
    """
    if not (math.isfinite(target) and math.isfinite(low) and math.isfinite(high) and low < high and tolerance > 0):
        raise CalculationError(f"largest passing size: a range from {low!r} to {high!r} with the target {target!r} and "
                               f"the tolerance {tolerance!r} cannot be searched")

    def value(x: float) -> float:
        y = float(function(x))
        if not math.isfinite(y):
            raise CalculationError(f"largest passing size: no finite number at {x!r}, between {low!r} and {high!r}")
        return y

    at_low, at_high = value(low), value(high)
    scale = max(abs(at_low), abs(at_high), abs(target))
    _must_not_rise(low, at_low, high, at_high, scale)
    if at_low < target:
        return Bracketed(None, low, at_low - target, 0, "none passes: not even the smallest size of the range")
    if at_high >= target:
        return Bracketed(high, None, at_high - target, 0, "no limit up to the largest size of the range")
    passing, at_passing, failing, at_failing, steps = low, at_low, high, at_high, 0
    while failing - passing > tolerance:
        middle = passing + (failing - passing) / 2
        if not passing < middle < failing:
            break
        steps += 1
        y = value(middle)
        _must_not_rise(passing, at_passing, middle, y, scale)
        _must_not_rise(middle, y, failing, at_failing, scale)
        if y >= target:
            passing, at_passing = middle, y
        else:
            failing, at_failing = middle, y
    words = "bracket closed; the passing side is taken"
    if at_passing - at_failing > max(_JUMP * scale,
                                     _STEEP * (at_low - at_high) * (failing - passing) / (high - low)):
        words = "bracket closed at the jump: just beyond, the value falls at once; the passing side is taken"
    return Bracketed(passing, failing, at_passing - target, steps, words)


def _must_not_rise(a: float, at_a: float, b: float, at_b: float, scale: float) -> None:
    if at_b > at_a + _ROUNDING * scale:
        raise CalculationError(f"largest passing size: the function rises from {at_a!r} at {a!r} to {at_b!r} at {b!r}; "
                               "no largest passing size can be bracketed")
