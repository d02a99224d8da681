"""Numbers on drawings: what can not be drawn is refused; few but enough digits, round ticks, clocks."""

from __future__ import annotations

import math
from collections.abc import Sequence

_DECIMALS = {"mm": 1, "cm": 2, "m": 3, "in": 2, "ft": 3}


def finite(value: object, name: str) -> float:
    """The value as a float.

    Raises ValueError, naming the thing, if it is no number, NaN or infinite.
    """
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        raise ValueError(f"{name} is {value!r}: a figure needs a number") from None
    if not math.isfinite(number):
        raise ValueError(f"{name} is {number}: a figure needs a finite number")
    return number


def positive(value: object, name: str) -> float:
    """The value as a float above zero; raises ValueError, naming the thing, otherwise."""
    number = finite(value, name)
    if number <= 0:
        raise ValueError(f"{name} is {number:g}: it has to be above zero")
    return number


def span(pair: Sequence[object], name: str) -> tuple[float, float]:
    """A (start, end) pair with start before end; raises ValueError, naming the thing, otherwise."""
    if len(pair) != 2:
        raise ValueError(f"{name} has {len(pair)} values: it has to be (start, end)")
    start, end = finite(pair[0], f"{name} start"), finite(pair[1], f"{name} end")
    if start >= end:
        raise ValueError(f"{name} runs from {start:g} to {end:g}: the start has to lie before the end")
    return start, end


def stations(values: Sequence[object], name: str, fewest: int) -> list[float]:
    """Stations that rise from one to the next; raises ValueError, naming the thing, otherwise."""
    found = [finite(value, f"{name}[{index}]") for index, value in enumerate(values)]
    if len(found) < fewest:
        raise ValueError(f"{name} has {len(found)} stations: at least {fewest} are needed")
    for index in range(1, len(found)):
        if found[index] <= found[index - 1]:
            raise ValueError(
                f"{name}[{index}] is {found[index]:g} after {found[index - 1]:g}: stations have to rise"
            )
    return found


def fixed(value: float, decimals: int) -> str:
    """The value with so many decimals, a true minus sign, and no minus before a zero."""
    shown = f"{value:.{decimals}f}"
    if float(shown) == 0:
        shown = shown.removeprefix("-")
    return shown.replace("-", "\u2212")


def dimension(value: float, unit: str) -> str:
    """A dimension as drawings print it: 0.1 mm or 0.01 in at most, zeros at the end dropped, unit behind."""
    decimals = _DECIMALS.get(unit)
    if decimals is None:
        decimals = max(0, 3 - math.floor(math.log10(abs(value)))) if value else 0
    shown = fixed(value, decimals)
    if "." in shown:
        shown = shown.rstrip("0").rstrip(".")
    return f"{shown} {unit}"


def decimals_for(values: Sequence[float], scale: float) -> int:
    """Decimals for a family of numbers: as few as show each one, at most what resolves 1/200 of `scale`."""
    most = max(0, math.ceil(-math.log10(scale / 200)))
    for decimals in range(most):
        if all(abs(round(value, decimals) - value) < 1e-9 * scale for value in values):
            return decimals
    return most


def round_step(length: float, most: int) -> float:
    """The smallest of 1, 2, 2.5 or 5 times a power of ten that divides `length` into at most `most` parts."""
    power = 10.0 ** math.floor(math.log10(length / most))
    return next(f * power for f in (1, 2, 2.5, 5, 10, 20) if length / (f * power) <= most * (1 + 1e-9))


def ticks(low: float, high: float, most: int) -> list[tuple[float, str]]:
    """Round positions from `low` to `high`, in at most `most` parts, each with its printed number."""
    step = round_step(high - low, max(most, 1))
    decimals = next(d for d in range(12) if abs(round(step, d) - step) < 1e-6 * step)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [(k * step, fixed(k * step, decimals)) for k in range(first, last + 1)]


def hours(value: object, name: str) -> float:
    """A clock position in hours from 0 to below 12 (12 reads as 0); raises ValueError, naming the thing."""
    number = finite(value, name)
    if not 0 <= number <= 12:
        raise ValueError(f"{name} is {number:g}: a clock position lies between 0 and 12 hours")
    return number % 12


def clock_text(position: float) -> str:
    """A clock position in hours as the trade writes it, 4.5 -> 4:30, 0 -> 12:00."""
    minutes = round(position * 60) % 720
    return f"{minutes // 60 or 12}:{minutes % 60:02d}"
