"""Times by temperature, on bare numbers: °C and hours. Points are joined, bands are not; outside there is no time."""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass

from wrapcalc.formulas.curing import straight_time, time_in_table

ABSOLUTE_ZERO = -273.15


@dataclass(frozen=True)
class TimeTable:
    """temperatures in °C, rising: of points one for each time, of bands their edges, one more. times in hours, not
    rising with the temperature.

    straight: points are joined by straight lines, which is the longer of the two readings and right for a cure;
    otherwise ln time by 1/T, the shorter and right for a pot life.

    Of bands each holds from its lower edge up to, but without, the next one; the last edge belongs to the last band.
    """

    temperatures: tuple[float, ...]
    times: tuple[float, ...]
    banded: bool
    straight: bool = False

    @property
    def coldest(self) -> float:
        """Lowest temperature for which there is a time."""
        return self.temperatures[0]

    @property
    def hottest(self) -> float:
        """Highest temperature for which there is a time."""
        return self.temperatures[-1]

    def row(self, temperature: float) -> int | None:
        """The band, or the interval between two points, that a temperature lies in; None outside the table."""
        return row_of(self.temperatures, temperature)

    def at(self, temperature: float) -> float | None:
        """Time at a temperature; None outside the table, where nothing is known."""
        i = self.row(temperature)
        if i is None:
            return None
        if self.banded:
            return self.times[i]
        if self.straight:
            return straight_time.core(self.times[i], self.times[i + 1], self.temperatures[i], self.temperatures[i + 1],
                                      temperature)
        return time_in_table.core(self.times[i], self.times[i + 1], self.temperatures[i], self.temperatures[i + 1],
                                  temperature, ABSOLUTE_ZERO)

    def hottest_with(self, time: float) -> float | None:
        """Highest temperature of the table at which at least this time is left; None where there is none.

        Of bands it is the upper edge of the last band that suffices: the band ends just below it, but for the last.
        """
        enough = [i for i, t in enumerate(self.times) if t >= time]
        if not enough:
            return None
        i = enough[-1]
        if self.banded:
            return self.temperatures[i + 1]
        if i == len(self.times) - 1:
            return self.hottest
        return self._between(i, time)

    def _between(self, i: int, time: float) -> float:
        """Where between points i and i + 1 the time is met: ln t is linear in 1/T. Times differ there."""
        low, high = (1 / (t - ABSOLUTE_ZERO) for t in self.temperatures[i:i + 2])
        share = math.log(time / self.times[i]) / math.log(self.times[i + 1] / self.times[i])
        return 1 / (low + share * (high - low)) + ABSOLUTE_ZERO


def row_of(temperatures: tuple[float, ...], temperature: float) -> int | None:
    """Interval of rising temperatures that holds this one, its lower end included; None outside."""
    if not temperatures[0] <= temperature <= temperatures[-1]:
        return None
    return min(bisect_right(temperatures, temperature) - 1, len(temperatures) - 2)
