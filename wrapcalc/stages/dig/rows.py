"""Lines of the dig sheet, and how distances and clocks are read on site."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from wrapcalc import units
from wrapcalc.values import Value


@dataclass(frozen=True)
class Row:
    """One line of the sheet. value: with its origin; words: as it is read on site; note: in small letters.

    struck: why the value does not hold. A row without value and words is a blank to be filled in.
    """

    label: str
    value: Value | None = None
    words: str = ""
    note: str = ""
    struck: str = ""


def far(display: str, decimals: int | None = None) -> Callable[[Value | None], str]:
    """A printer of distances on the ground, in m or ft: "4.19 m"; nothing for no value.

    decimals: at most so many; without them millimetres of a metre or hundredths of a foot.
    """
    unit = units.display_unit("m", display)
    places = decimals if decimals is not None else 3 if display == "SI" else 2

    def show(value: Value | None) -> str:
        if value is None:
            return ""
        x = units.steady(round(float(units.convert(value.to("m"), "m", unit)), places))
        return units.show(x, unit, system="SI", significant=12)
    return show


def clock_text(hours: float, *, span: bool = False) -> str:
    """4.5 -> "4:30"; of a span, half an hour is "0:30"."""
    minutes = round(hours * 60)
    return f"{minutes // 60 if span else minutes // 60 % 12 or 12}:{minutes % 60:02d}"
