"""A number with its unit and its origin: what flows through a recorded calculation.

The origin is carried by the value itself, so every input of every step can be traced to a field of the
case, to an entry of a table, to the system sheet or to an earlier step.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from wrapcalc import units


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a value comes from. kind: case / system / table / step / procedure; ref: field, entry or step."""

    kind: str
    ref: str

    def __str__(self) -> str:
        return f"{self.kind}:{self.ref}"


@dataclass(frozen=True, slots=True)
class Value:
    """A finite magnitude in a pint unit, with its origin; `name` is how people call it."""

    magnitude: float
    unit: str
    origin: Origin
    name: str = ""

    def to(self, unit: str) -> float:
        """The magnitude in `unit`. Raises pint.DimensionalityError for another dimension."""
        return self.magnitude if unit == self.unit else units.steady(
            float(units.convert(self.magnitude, self.unit, unit)))

    def converted(self, unit: str) -> Value:
        """The same value written in another unit, same origin."""
        return replace(self, magnitude=self.to(unit), unit=unit)

    def show(self, system: str = "SI", significant: int = 4) -> str:
        """For reading, in the display units of `system`."""
        return units.show(self.magnitude, self.unit, system=system, significant=significant)
