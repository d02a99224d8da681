"""Magnitudes of a record in the units that it prints."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from wrapcalc import units


class Shown:
    """Magnitudes in one unit of calculation, in the unit of display of the record."""

    def __init__(self, record: Mapping[str, Any], base: str = "mm"):
        self.base = base
        self.unit = units.display_unit(base, record["case"]["display"])
        self.label = units.label(self.unit)

    def __call__(self, magnitude: float) -> float:
        return float(units.convert(magnitude, self.base, self.unit))

    def all(self, magnitudes: Sequence[float]) -> list[float]:
        """Each of them."""
        return [self(x) for x in magnitudes]

    def maybe(self, magnitude: float | None) -> float | None:
        """None stays None."""
        return None if magnitude is None else self(magnitude)


def hours(clock: str) -> float:
    """"4:30" -> 4.5; 12 o'clock is 0."""
    hour, minutes = clock.split(":")
    return int(hour) % 12 + int(minutes) / 60
