"""Age of a cure from logged steel temperatures, on bare numbers: °C and hours.

The age is the integral of dt / t(T(t)), where t(T) is the system's time to load at constant temperature; at age 1 that
time is over. Between two readings nobody knows the temperature: the colder of the two counts for the whole interval.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from wrapcalc.searches.time_table import TimeTable
from wrapcalc.units import steady


@dataclass(frozen=True)
class Age:
    """share: 1 is cured; reached: hours at which 1 was reached, None where it was not.

    gaps: (from, to) in hours of every interval that is longer than allowed; gap, cold: hours without credit because of
    gaps, and below the lowest row; hot: hours above the highest row, credited as at that row.
    """

    share: float
    reached: float | None
    gaps: tuple[tuple[float, float], ...]
    gap: float
    cold: float
    hot: float


def credit(table: TimeTable, temperature: float) -> float:
    """Age per hour: none below the lowest row, that of the highest row above it, where nothing is known either."""
    if temperature < table.coldest:
        return 0.0
    time = table.at(min(temperature, table.hottest))
    assert time is not None
    return 1 / time


def cure_age(table: TimeTable, hours: Sequence[float], temperatures: Sequence[float], longest: float, *,
             since: float = -math.inf) -> Age:
    """Age after the last reading. hours: of the readings, rising; longest: interval that still gives credit.

    since: hour from which there is something to cure. Sums are carried to 12 digits, so that whole hours at a row of
    the table make a whole age.
    """
    assert len(hours) == len(temperatures) and all(math.isfinite(x) for x in (*hours, *temperatures))
    assert all(b > a for a, b in pairwise(hours)), "readings rise in time, each time once"
    age = _Sum()
    reached, gaps, gap, cold, hot = None, [], 0.0, 0.0, 0.0
    for i in range(len(hours) - 1):
        start, end = max(hours[i], since), hours[i + 1]
        if end <= start:
            continue
        colder = min(temperatures[i], temperatures[i + 1])
        # The interval between two readings is judged whole: a gap stays one even where the cure begins inside it.
        if steady(hours[i + 1] - hours[i]) > steady(longest):
            gaps.append((start, end))
            gap += end - start
            continue
        if colder < table.coldest:
            cold += end - start
            continue
        hot += end - start if colder > table.hottest else 0.0
        rate, before = credit(table, colder), age.total
        age.add(rate * (end - start))
        if reached is None and steady(age.total) >= 1:
            reached = min(start + max(1 - before, 0.0) / rate, end)
    return Age(steady(age.total), reached, tuple(gaps), gap, cold, hot)


class _Sum:
    """A running sum that keeps what each addition loses (Neumaier): months of readings make no drift."""

    def __init__(self) -> None:
        self._sum, self._lost = 0.0, 0.0

    @property
    def total(self) -> float:
        return self._sum + self._lost

    def add(self, x: float) -> None:
        new = self._sum + x
        larger, smaller = (self._sum, x) if self._sum >= x else (x, self._sum)
        self._lost += larger - new + smaller
        self._sum = new
