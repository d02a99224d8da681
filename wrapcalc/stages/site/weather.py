"""The climate of the plan, and the windows of a forecast in which blasting, application and cure fit.

A forecast plans; the readings on the day decide, and only logged steel temperatures release.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.case.forecast import HOUR, Forecast, moment_words, utc_of
from wrapcalc.case.site_model import FOLLOWS_AIR, HELD_BY_PRODUCT
from wrapcalc.formulas import climate as formula
from wrapcalc.recorder import active
from wrapcalc.searches import weather_windows as windows
from wrapcalc.stages.site import climate
from wrapcalc.stages.site.climate import Conditions
from wrapcalc.stages.site.weather_strip import strip
from wrapcalc.standards.documents import MAGNUS_1996, PRACTICE
from wrapcalc.units import show
from wrapcalc.values import Value

CureRate = Callable[[np.ndarray], np.ndarray]
_SOURCE = "case: work.forecast"
INSIDE, OUTSIDE, NO_DATA = "inside a window", "outside every window", "no data"


@dataclass(frozen=True, eq=False)
class Hours:
    """The rows of a forecast as the limits see them.

    cold, hot: steel (°C) for what must not be too cold, and too hot; dew: dew point (°C) and humid: share, with the
    errors of the instruments; fails: for each limit its words, what it is about, and the rows that fail it.
    """

    cold: np.ndarray
    hot: np.ndarray
    dew: np.ndarray
    humid: np.ndarray
    steel_words: str
    fails: tuple[tuple[str, str, np.ndarray], ...] = ()


@dataclass(frozen=True, eq=False)
class Weather:
    """What is planned and what the forecast says.

    missing: what would be needed for windows; verdict: on the planned start; reason: why not, in words; found: of the
    search; next_start: start of the next window in words; strip: plain data for the drawing and the record.
    """

    planned: Conditions
    worst: Conditions | None = None
    missing: tuple[str, ...] = ()
    verdict: str = NO_DATA
    reason: str = ""
    found: windows.Search | None = None
    next_start: str = ""
    window_words: tuple[str, ...] = ()
    strip: dict[str, Any] | None = None


def weather(bundle: Bundle, forecast: Forecast | None, cure_rate: CureRate | None) -> Weather:
    """Climate as planned, and windows where there is a forecast. cure_rate: steel (°C) -> cure per hour, 0 where the
    cure table gives no credit; None where there is no table."""
    rec, planned = active(), Conditions()
    if forecast is None or bundle.case.get("work.humidity") is not None:
        planned = climate.planned(bundle)
    if forecast is None:
        return Weather(planned)
    rec.begin("Weather")
    for note in forecast.notes:
        rec.warn(note, _SOURCE)
    missing = _missing(bundle, forecast, cure_rate)
    if missing:
        _no_data(f"not known: {', '.join(missing)}")
        return Weather(planned, missing=missing, strip=strip(bundle, forecast, None, None, _start(bundle)))
    assert cure_rate is not None
    rec.assume("A forecast has errors of its own, which are not in the limits: it plans, and the readings on the day "
               "decide.", "common practice")
    hours = _hours(bundle, forecast)
    rate = np.asarray(cure_rate(hours.cold), dtype=float)
    found = windows.search(forecast.utc, [f for _, _, f in hours.fails], rate, _work(bundle))
    words = _recorded(bundle, forecast, hours, found)
    out = Weather(planned, found=found, window_words=words,
                  strip=strip(bundle, forecast, hours, found, _start(bundle)))
    return _judged(bundle, forecast, hours, out)


def _missing(bundle: Bundle, forecast: Forecast, cure_rate: CureRate | None) -> tuple[str, ...]:
    """Fields and columns without which no window can be worked out."""
    case = bundle.case
    fields = ["planned_start", "blast_time", "application_time", "temperature_error", "humidity_error"]
    held = case.get("work.steel_held_by")
    if held is None and forecast.steel is None:
        fields.append("steel_held_by")
    if held == HELD_BY_PRODUCT:
        fields += ["steel_low", "steel_high"]
    out = [f"work.{f}" for f in fields if case.get(f"work.{f}") is None]
    if case.get("work.wind_max") is not None and forecast.wind is None:
        out.append("the column wind of the forecast, for work.wind_max")
    return tuple(out if cure_rate is not None else [*out, "the cure table of the sheet"])


def _start(bundle: Bundle) -> float | None:
    """The planned start in s, UTC."""
    text = bundle.case.get("work.planned_start")
    return None if text is None else utc_of(text)[0]


def _work(bundle: Bundle) -> float:
    """Hours from the start of blasting to the end of application."""
    return sum(bundle.case.value(f"work.{name}").to("hour") for name in ("blast_time", "application_time"))


def _no_data(note: str) -> None:
    active().check("Planned start inside a window of the forecast", None, "", None, citation=PRACTICE.id,
                   status="common practice", note=note)


# -- the rows --------------------------------------------------------------------------------------------------------

def _hours(bundle: Bundle, forecast: Forecast) -> Hours:
    case, tables = bundle.case, bundle.tables
    error = case.value("work.temperature_error").magnitude
    humid = np.round(np.minimum(forecast.humidity + case.value("work.humidity_error").magnitude, 1.0), 9)
    a, b = (tables.value(MAGNUS_1996.id, name).magnitude for name in ("magnus_a", "magnus_b"))
    warm = forecast.air + error
    dew = formula.dew_point.array(a=a, b=b, gamma=formula.magnus_term.array(phi=humid, a=a, b=b, T=warm))
    cold, hot, known, words = _steel(bundle, forecast)
    return Hours(cold, hot, dew, humid, words, _fails(bundle, forecast, (cold, hot, known), warm, dew, humid))


def _steel(bundle: Bundle, forecast: Forecast) -> tuple[np.ndarray, np.ndarray, np.ndarray, str]:
    """(steel for cold limits, for hot limits, whether it is known, in words), row by row."""
    case, rec = bundle.case, active()
    known = np.ones(len(forecast), dtype=bool)
    held = case.get("work.steel_held_by")
    if held == HELD_BY_PRODUCT:
        low, high = (np.full(len(forecast), case.value(f"work.{n}").magnitude) for n in ("steel_low", "steel_high"))
        if forecast.steel is not None:
            rec.assume("The product holds the steel; where the forecast has the steel colder or hotter than the plan, "
                       "that is taken.", "safer reading")
            return np.minimum(low, forecast.steel), np.maximum(high, forecast.steel), known, "held by the product"
        rec.assume("The product holds the steel: every hour has the coldest steel of the plan for what must not be too "
                   "cold, and the hottest for what must not be too hot.", "case: work.steel_held_by")
        return low, high, known, "held by the product"
    if forecast.steel is not None:
        return forecast.steel, forecast.steel, known, "by the forecast"
    assert held == FOLLOWS_AIR
    entry = bundle.tables.entry(PRACTICE.id, "steel_lag")
    lag = math.ceil(entry.value().to("hour") - 1e-9)
    rec.assume(f"Steel follows the air: it is read as cold as the coldest, and as hot as the hottest, air of the "
               f"{entry.value().show()} before. Sun on the pipe is not in it: it may be much hotter.", entry.citation)
    before = np.lib.stride_tricks.sliding_window_view(np.pad(forecast.air, (lag, 0), mode="edge"), lag + 1)
    # Known where no gap lies in the hours before.
    whole = np.convolve(forecast.whole.astype(int), np.ones(lag, dtype=int))[:len(forecast)]
    known = np.concatenate([[0], whole[:-1]]) == lag
    return before.min(axis=1), before.max(axis=1), known, "lagging behind the air"


def _fails(bundle: Bundle, forecast: Forecast, steel: tuple[np.ndarray, np.ndarray, np.ndarray], warm: np.ndarray,
           dew: np.ndarray, humid: np.ndarray) -> tuple[tuple[str, str, np.ndarray], ...]:
    """(words, what it is about, rows that fail) of each limit; the first names an hour that fails several."""
    case, system, tables, display = bundle.case, bundle.system, bundle.tables, bundle.case.display
    assert system is not None
    cold, hot, known = steel
    low, high = (tables.value(MAGNUS_1996.id, name).magnitude for name in ("range_low", "range_high"))
    freezing = tables.value(PRACTICE.id, "freezing")
    margin, most = climate.limit(bundle, climate.MARGIN).value, climate.limit(bundle, climate.HUMIDITY).value
    lowered = cold - case.value("work.temperature_error").magnitude
    out = [
        ("rain", "rain", np.zeros(len(warm), dtype=bool) if forecast.rain is None else forecast.rain > 0),
        ("steel not known: the hours before are not in the forecast", "steel", ~known),
        ("outside the range of the dew point formula", "steel", (warm < low) | (warm > high) | (dew < low)),
        (f"steel below {freezing.show(display)}, where frost forms", "steel", lowered < freezing.magnitude),
        (f"steel less than {margin.show(display)} above the dew point", "steel",
         np.round(lowered - dew, 9) < margin.magnitude),
        (f"humidity, with the error of the instrument, above {show(most.magnitude * 100, 'percent')}", "humidity",
         humid > most.magnitude),
    ]
    for name, words, values, sign in (("steel_temperature_min", "below", cold, 1),
                                      ("steel_temperature_max", "above", hot, -1)):
        if getattr(system.application, name) is not None:
            at = system.value(f"application.{name}")
            out.append((f"steel {words} {at.show(display)}, the limit of application", "steel",
                        sign * values < sign * at.magnitude))
    wind = case.optional("work.wind_max")
    if wind is not None and forecast.wind is not None:
        out.append((f"wind above {wind.show(display)}", "wind", forecast.wind > wind.magnitude))
    return tuple(out)


# -- what comes out --------------------------------------------------------------------------------------------------

def _recorded(bundle: Bundle, forecast: Forecast, hours: Hours, found: windows.Search) -> tuple[str, ...]:
    """The search as a procedure; its windows in words."""
    case = bundle.case
    words = tuple(f"start from {moment_words(forecast.local(w.earliest))} to {moment_words(forecast.local(w.latest))}, "
                  f"cured at the earliest {moment_words(_full_minute(forecast, w.first_cured))}" for w in found.windows)
    shown = list(enumerate(words, 1))[:12]
    details = [(f"window {i}", text) for i, text in shown]
    if len(words) > len(shown):
        details.append(("further windows", str(len(words) - len(shown))))
    details.append(("steel", hours.steel_words))
    details += [("hours that fail", f"{text}: {int(rows.sum())}") for text, _, rows in hours.fails if rows.any()]
    inputs = {n: case.value(f"work.{n.replace(' ', '_')}") for n in ("blast time", "application time",
                                                                     "temperature error", "humidity error")}
    inputs |= {"least steel above the dew point": climate.limit(bundle, climate.MARGIN).value,
               "most humidity": climate.limit(bundle, climate.HUMIDITY).value}
    wind = case.optional("work.wind_max")
    inputs |= {} if wind is None else {"most wind": wind}
    active().procedure(
        "Weather windows", "each hour of the forecast as a start; every hour of blasting and application has to meet "
        "the limits at both its ends; then the cure, by the slower of the rates at both ends of each hour, until it is "
        "complete, without an hour that gives no credit and without a gap", PRACTICE.id, "common practice", inputs,
        {"hours of the forecast": (float(len(forecast)), ""),
         "starts that fit": (float((found.reason == windows.FITS).sum()), ""),
         "windows": (float(len(found.windows)), "")}, details)
    return words


def _judged(bundle: Bundle, forecast: Forecast, hours: Hours, out: Weather) -> Weather:
    """The planned start against the windows."""
    start, offset = utc_of(bundle.case.get("work.planned_start"))
    rec, found = active(), out.found
    assert found is not None
    if offset != forecast.offset_at(start):
        rec.warn(f"The planned start is stated with the offset {_offset(offset)}, the forecast with "
                 f"{_offset(forecast.offset_at(start))}: they are compared in UTC. In local time of the forecast the "
                 f"start is {moment_words(forecast.local(start))}.", "case: work.planned_start")
    if not forecast.utc[0] <= start <= forecast.utc[-1]:
        reason = (f"the forecast runs from {moment_words(forecast.local(forecast.utc[0]))} to "
                  f"{moment_words(forecast.local(forecast.utc[-1]))} and does not hold the planned start")
        rec.warn(f"The forecast is not for the planned work: {reason}.", _SOURCE)
        _no_data(reason)
        return replace(out, reason=reason)
    worst = _worst(bundle, forecast, hours, start)
    _beyond_plan(bundle, forecast, start)
    if any(w.holds(start) for w in found.windows):
        cured = found.cured[_rows(forecast, start)[1]]
        rec.gate("Planned start inside a window of the forecast", True, moment_words(forecast.local(start)),
                 f"a start inside a window; the cure is then complete by {moment_words(_full_minute(forecast, cured))}",
                 citation=PRACTICE.id, status="common practice", kind="limit")
        return replace(out, verdict=INSIDE, worst=worst)
    reason = _why_not(forecast, hours, found, start)
    later = next((w for w in found.windows if w.earliest > start), None)
    following = moment_words(forecast.local(later.earliest)) if later is not None else ""
    wanted = f"a start inside a window; the next one begins {following}" if following else \
        "a start inside a window; the forecast has no later one"
    rec.gate("Planned start inside a window of the forecast", False, reason, wanted, citation=PRACTICE.id,
             status="common practice", kind="limit")
    rec.warn(f"The planned start {moment_words(forecast.local(start))} is outside every window of the forecast: "
             f"{reason}. " + (f"The next window begins {following}." if following
                              else "The forecast has no later window."), _SOURCE)
    return replace(out, verdict=OUTSIDE, reason=reason, next_start=following, worst=worst)


def _rows(forecast: Forecast, start: float) -> tuple[int, int]:
    """The rows before and after a time inside the forecast; the same one where it falls on a row."""
    return (int(np.searchsorted(forecast.utc, start, side="right")) - 1,
            int(np.searchsorted(forecast.utc, start, side="left")))


def _why_not(forecast: Forecast, hours: Hours, found: windows.Search, start: float) -> str:
    before, after = _rows(forecast, start)
    row = before if found.reason[before] != windows.FITS else after
    if found.reason[row] == windows.FITS:  # both ends fit, but not as one window: a gap lies between them
        return "the start lies in a gap of the forecast"
    reason, at = int(found.reason[row]), moment_words(forecast.local(float(found.at[row])))
    if reason >= 0:
        return f"{hours.fails[reason][0]}, at {at}"
    return {windows.NO_CURE: f"the steel leaves the cure table before the cure is complete, at {at}",
            windows.GAP: f"the forecast has a gap after {at}",
            windows.ENDS: f"the forecast ends at {at}, before the cure is complete"}[reason]


def _worst(bundle: Bundle, forecast: Forecast, hours: Hours, start: float) -> Conditions | None:
    """The hour of the planned work with the least margin to the dew point, worked as a sub-case; None across a gap."""
    rec = active()
    first, last = _rows(forecast, start)[0], int(np.searchsorted(forecast.utc, start + HOUR * _work(bundle)))
    if last >= len(forecast) or not forecast.whole[first:last].all():
        return None
    part = slice(first, last + 1)
    row = first + int(np.argmin(hours.cold[part] - hours.dew[part]))
    out = rec.procedure(
        "Worst hour of the planned work", "of the rows of the forecast from the planned start to the end of "
        "application, the one with the least steel above the dew point; and the highest humidity of all", PRACTICE.id,
        "common practice",
        {"temperature error": bundle.case.value("work.temperature_error")},
        {"air": (float(forecast.air[row]), "degC"), "humidity": (float(forecast.humidity[row]), ""),
         "steel": (float(hours.cold[row]), "degC"), "highest humidity": (float(forecast.humidity[part].max()), "")},
        [("at", moment_words(forecast.local(float(forecast.utc[row])))), ("steel", hours.steel_words)])
    return climate.conditions(bundle, out["air"], out["humidity"], out["steel"],
                              "planned hours of the forecast", out["highest humidity"])


def _beyond_plan(bundle: Bundle, forecast: Forecast, start: float) -> None:
    """A warning where the air of the planned work is not what the plan expects: dose and dew point rest on it."""
    case = bundle.case
    first, last = _rows(forecast, start)[0], int(np.searchsorted(forecast.utc, start + HOUR * _work(bundle)))
    air = forecast.air[first:last + 1]
    for name, value, beyond in (("air_low", air.min(), -1), ("air_high", air.max(), 1)):
        stated: Value | None = case.optional(f"work.{name}")
        if stated is not None and beyond * (float(value) - stated.magnitude) > 0:
            active().warn(f"The forecast has air of {show(float(value), 'degC', system=case.display)} in the planned "
                          f"hours of work, beyond work.{name} = {stated.show(case.display)}: check the plan, and the "
                          "unit of the forecast.", _SOURCE)


def _full_minute(forecast: Forecast, utc: float) -> datetime:
    """Local time, rounded up: a cure is not complete before."""
    return forecast.local(math.ceil(utc / 60 - 1e-6) * 60)


def _offset(seconds: int) -> str:
    """+01:00 for 3600."""
    minutes = abs(seconds) // 60
    return f"{'-' if seconds < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"
