"""The strip chart of a forecast, from the record to a drawing in the units that it prints."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from wrapcalc.render.display import Shown

Record = Mapping[str, Any]


def weather(record: Record, draw: Callable[..., str]) -> str | None:
    """Temperatures, humidity and wind of the forecast with their limits, and the windows of the work."""
    for_site = record["site"]["wrap"]
    found = for_site["weather"]["strip"] if for_site else None
    if found is None:
        return None
    warm, fast = Shown(record, "degC"), Shown(record, "m/s")
    fails = found["fails"]
    lines = [["steel" + (f", {found['steel_words']}" if found["steel_words"] else ""), found["steel"]],
             ["air", found["air"]], ["dew point, with errors", found["dew_point"]],
             ["least steel for the work", found["least_steel"]]]
    strips: list[list[Any]] = [
        ["temperature", warm.label, [[name, warm.all(v)] for name, v in lines if v is not None], [],
         fails.get("steel", [])],
        ["relative humidity", "%", [["humidity" + (", with error" if found["steel"] is not None else ""),
                                     [100 * v for v in found["humidity"]]]],
         [] if found["humidity_max"] is None else [["limit", 100 * found["humidity_max"]]], fails.get("humidity", [])],
    ]
    if found["wind"] is not None:
        strips.append(["wind", fast.label, [["wind", fast.all(found["wind"])]],
                       [] if found["wind_max"] is None else [["limit", fast(found["wind_max"])]],
                       fails.get("wind", [])])
    return draw("weather", utc=found["utc"], offsets=found["offsets"], strips=strips, windows=found["windows"],
                planned=found["planned"], rain=fails.get("rain", []), notes=found["notes"],
                title=f"Case {record['case']['id']}: the forecast and the windows of the work")
