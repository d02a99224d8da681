"""Plain data of the strip chart of a forecast, as the record keeps it: at most sixteen days from the planned start."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.case.forecast import HOUR, Forecast
from wrapcalc.searches.weather_windows import Search
from wrapcalc.stages.site import climate

if TYPE_CHECKING:
    from wrapcalc.stages.site.weather import Hours

DAYS = 16
_ABOUT = ("steel", "humidity", "wind", "rain")


def strip(bundle: Bundle, forecast: Forecast, hours: Hours | None, found: Search | None, start: float | None
          ) -> dict[str, Any]:
    """What record and drawing hold. hours, found: None where no window could be worked out; start: planned, s, UTC.

    Times are s in UTC, temperatures °C, humidity shares of 1, wind m/s. fails: what they are about -> runs of (first,
    last) row time that fail. offsets: (from this time on, offset in s) of local time.
    """
    rows, notes = _rows(forecast, start)
    keep = slice(rows[0], rows[1])
    utc = forecast.utc[keep]
    low, high = int(utc[0]), int(utc[-1])
    work = [bundle.case.optional(f"work.{n}") for n in ("blast_time", "application_time")]
    ends = None if start is None or None in work else start + HOUR * sum(w.to("hour") for w in work if w is not None)
    data: dict[str, Any] = {
        "utc": utc.tolist(), "offsets": _offsets(forecast, keep), "air": _plain(forecast.air[keep]),
        "humidity": _plain(forecast.humidity[keep]), "wind": None if forecast.wind is None else
        _plain(forecast.wind[keep]), "steel": None, "dew_point": None, "least_steel": None, "fails": {}, "windows": [],
        "planned": None if start is None or not low <= start <= high else
        [round(start), None if ends is None else round(ends), None],
        "humidity_max": None, "wind_max": None, "steel_words": "", "notes": notes,
    }
    if hours is None or found is None:
        return data
    error = bundle.case.value("work.temperature_error").magnitude
    least = hours.dew + climate.limit(bundle, climate.MARGIN).value.magnitude + error
    wind = bundle.case.optional("work.wind_max")
    data |= {
        "steel": _plain(hours.cold[keep]), "dew_point": _plain(hours.dew[keep]), "least_steel": _plain(least[keep]),
        "humidity": _plain(hours.humid[keep]), "steel_words": hours.steel_words,
        "humidity_max": climate.limit(bundle, climate.HUMIDITY).value.magnitude,
        "wind_max": None if wind is None else wind.magnitude,
        "fails": {about: _runs(utc, (f for _, of, f in hours.fails if of == about), keep) for about in _ABOUT},
        "windows": [[round(t) for t in (w.earliest, w.latest, w.first_cured, w.last_cured)] for w in found.windows
                    if w.latest >= low and w.earliest <= high],
    }
    if start is not None and data["planned"] is not None and any(w.holds(start) for w in found.windows):
        after = int(np.searchsorted(forecast.utc, start))
        data["planned"][2] = round(float(found.cured[after]))
    return data


def _rows(forecast: Forecast, start: float | None) -> tuple[tuple[int, int], list[str]]:
    """(first, one past the last) row that is shown, and a note where some are not."""
    utc, most = forecast.utc, DAYS * 24 * HOUR
    if utc[-1] - utc[0] <= most:
        return (0, len(utc)), []
    inside = start is not None and utc[0] <= start <= utc[-1]
    begin = float(start) if inside and start is not None else float(utc[0])
    first = max(int(np.searchsorted(utc, begin, side="right")) - 1, 0)
    last = int(np.searchsorted(utc, begin + most, side="right"))
    first = min(first, max(last - 2, 0))
    words = "the planned start" if inside else "its beginning"
    return (first, last), [f"The forecast is longer: {DAYS} days from {words} are shown."]


def _offsets(forecast: Forecast, keep: slice) -> list[list[int]]:
    utc, offset = forecast.utc[keep], forecast.offset[keep]
    new = np.concatenate([[True], np.diff(offset) != 0])
    return [[int(t), int(s)] for t, s in zip(utc[new], offset[new], strict=True)]


def _runs(utc: np.ndarray, fails: Iterable[np.ndarray], keep: slice) -> list[list[int]]:
    """Runs of rows, an hour apart, that fail any of these limits."""
    any_of = np.zeros(len(utc), dtype=bool)
    for f in fails:
        any_of |= f[keep]
    rows = np.flatnonzero(any_of)
    parts = np.split(rows, np.flatnonzero(np.diff(utc[rows]) != HOUR) + 1) if len(rows) else []
    return [[int(utc[p[0]]), int(utc[p[-1]])] for p in parts]


def _plain(values: np.ndarray) -> list[float]:
    """As numbers of a record: 6 decimals, which no drawing shows."""
    return [round(float(v), 6) for v in values]
