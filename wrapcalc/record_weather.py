"""Climate and weather of the plan as plain data."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from wrapcalc.values import Value

if TYPE_CHECKING:
    from wrapcalc.stages.site.climate import Conditions
    from wrapcalc.stages.site.weather import Weather

AsData = Callable[[Value | None], dict[str, Any] | None]


def part(weather: Weather | None, data: AsData) -> dict[str, Any] | None:
    """What the weather adds to the record; None where the stage was not reached.

    planned, worst: conditions of the plan, and of the worst hour of the planned work by the forecast. verdict: on the
    planned start. strip: see stages/weather_strip.py; None without a forecast.
    """
    return None if weather is None else {
        "planned": _conditions(weather.planned, data),
        "worst": None if weather.worst is None else _conditions(weather.worst, data),
        "missing": list(weather.missing), "verdict": weather.verdict, "reason": weather.reason,
        "next_start": weather.next_start, "windows": list(weather.window_words), "strip": weather.strip}


def _conditions(c: Conditions, data: AsData) -> dict[str, Any]:
    return {"dew_point": data(c.dew_point), "margin": data(c.margin), "humidity": data(c.humidity),
            "at_steel": data(c.at_steel)}
