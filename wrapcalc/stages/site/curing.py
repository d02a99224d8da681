"""Cure: a plan of the time to release, and the age that logged steel temperatures prove. A forecast never releases."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from wrapcalc.case import Bundle
from wrapcalc.checks import Check
from wrapcalc.formulas.climate import reading_lowered
from wrapcalc.formulas.curing import equivalent_hours
from wrapcalc.recorder import active
from wrapcalc.searches.cure_age import Age
from wrapcalc.searches.cure_age import cure_age as search
from wrapcalc.searches.time_table import TimeTable
from wrapcalc.stages.site.dosing import citation, inside, time_at
from wrapcalc.standards.documents import MECHANICS, PRACTICE
from wrapcalc.systems.field_model import BANDS
from wrapcalc.units import show, steady
from wrapcalc.values import Value

PLAN_ONLY = ("The time to release is a plan, at the coldest steel expected. A forecast may plan a release; only steel "
             "temperatures logged on the pipe release.")


@dataclass(frozen=True)
class CurePlan:
    """time: to release at the coldest steel expected, None where it is not known or outside the table.

    earliest: when that would be by the planned start and the times for blasting and application, "" where one of them
    is not stated. checks: that the table covers the steel.
    """

    time: Value | None
    earliest: str
    words: str
    checks: tuple[Check, ...]


@dataclass(frozen=True)
class Cured:
    """What a log proves. age: 1 is cured; equivalent: hours at the coldest row of the table.

    reached: when 1 was reached, None where it was not. gaps: (from, to) between readings too far apart; gap, cold:
    time without credit because of gaps, and below the lowest row; hot: readings above the hottest steel of the sheet.
    """

    age: Value
    equivalent: Value
    reached: datetime | None
    gaps: tuple[tuple[datetime, datetime], ...]
    gap: Value
    cold: Value
    hot: int
    check: Check


def cure_plan(bundle: Bundle) -> CurePlan | None:
    """Time to release at the coldest steel expected; None without a system.

    Above the highest row the time of the highest row counts: it is not shortened further.
    """
    system, rec = bundle.system, active()
    if system is None:
        return None
    rec.begin("Cure and release")
    rec.assume(PLAN_ONLY, citation(bundle))
    table = cure_table(bundle)
    steel, checks = inside(bundle, _read_low(bundle, bundle.case.optional("work.steel_low")), "cure_table.temperatures",
                           len(table.temperatures), "Cure: coldest steel until release", top=False)
    if steel is None:
        return CurePlan(None, "", PLAN_ONLY, checks)
    if steel.to("degC") > table.hottest:
        rec.assume("The coldest steel expected is above the highest row of the cure table: the time of that row "
                   "counts.", "safer reading")
        time = system.value(f"cure_table.times.{len(table.times) - 1}")
    else:
        time = time_at(bundle, "cure_table.temperatures", "cure_table.times", table, steel,
                       "Time to release at the coldest steel expected")
    return CurePlan(time, _earliest(bundle, time), PLAN_ONLY, checks)


def _read_low(bundle: Bundle, steel: Value | None) -> Value | None:
    """The steel with the error of the thermometer taken off, where one is stated."""
    error = bundle.case.optional("work.temperature_error")
    return steel if steel is None or error is None or not error.magnitude else reading_lowered(steel, error)


def cure_table(bundle: Bundle) -> TimeTable:
    """The cure table of the sheet, in °C and hours."""
    assert bundle.system is not None
    cure = bundle.system.cure_table
    return TimeTable(tuple(t.base for t in cure.temperatures), tuple(t.base for t in cure.times), cure.kind == BANDS,
                     straight=True)


def _earliest(bundle: Bundle, time: Value) -> str:
    """Planned start, blasting, application and cure, one after the other."""
    case = bundle.case
    start, parts = case.work.planned_start, [case.optional(f"work.{k}") for k in ("blast_time", "application_time")]
    if start is None or any(p is None for p in parts):
        return ""
    hours = time.to("hour") + sum(p.to("hour") for p in parts if p is not None)
    # Up to the next whole minute: a release is not planned before its time.
    end = datetime.fromisoformat(start) + timedelta(minutes=math.ceil(round(hours * 60, 6)))
    return end.isoformat(sep=" ", timespec="minutes")


def cure_age(bundle: Bundle, log: Sequence[tuple[datetime, float]], *, source: str, since: datetime | None = None
             ) -> Cured | None:
    """Age of the cure by logged steel temperatures in °C; None, with a check "no data", for a log without readings.

    log: readings in their order, each time once (the reader of the log sees to that). source: where they stand, for
    the record. since: when the last unit was laid; without it the first reading.
    """
    system, rec, display = bundle.system, active(), bundle.case.display
    assert system is not None
    title, one = "Cure age by logged steel temperature", bundle.tables.value(PRACTICE.id, "whole_cure")
    if not log:
        rec.check(title, None, ">=", one, citation=citation(bundle), status="system sheet",
                  note="no steel temperature is logged; a forecast or a plan does not take its place")
        return None
    table, first = cure_table(bundle), log[0][0]
    longest = system.value("cure_table.log_interval")
    hours = [(t - first).total_seconds() / 3600 for t, _ in log]
    if since is None:
        rec.assume("The cure is counted from the first logged steel temperature: nobody stated when the last unit was "
                   "laid.", source)
    start = -math.inf if since is None else (since - first).total_seconds() / 3600
    error = bundle.case.optional("work.temperature_error")
    if error is not None and error.magnitude:
        rec.assume(f"The error of the thermometer, {error.show(display)}, is taken off every logged steel temperature.",
                   "safer reading")
    low = [steady(c - (0.0 if error is None else error.to("delta_degC"))) for _, c in log]
    age = search(table, hours, low, longest.to("hour"), since=start)
    out = _recorded(bundle, table, age, longest, log, source)
    check = rec.check(title, out["cure age"], ">=", one, citation=citation(bundle), status="system sheet",
                      note=_note(age, display))
    hottest = system.value("application.steel_temperature_max")
    hot = sum(c > hottest.to("degC") for _, c in log)
    if hot:
        warmest = show(max(c for _, c in log), "degC", system=display)
        rec.warn(f"The steel was logged at up to {warmest}, above the hottest for application of the sheet "
                 f"({hottest.show(display)}), in {hot} of {len(log)} readings. The cure age gives no more credit than "
                 "the highest row of the table; ask the supplier whether the heat did harm.", source)
    if age.gaps:
        rec.warn(f"The log of the steel temperature has {len(age.gaps)} gap{'s' if len(age.gaps) > 1 else ''} longer "
                 f"than {longest.show(display)}, without credit: "
                 + "; ".join(f"{_when(first, a)} to {_when(first, b)}" for a, b in age.gaps) + ".", source)
    return Cured(out["cure age"], equivalent_hours(out["cure age"], system.value("cure_table.times.0")),
                 None if age.reached is None else _moment(first, age.reached),
                 tuple((_moment(first, a), _moment(first, b)) for a, b in age.gaps), out["without credit, gaps"],
                 out["without credit, too cold"], hot, check)


def _recorded(bundle: Bundle, table: TimeTable, age: Age, longest: Value, log: Sequence[tuple[datetime, float]],
              source: str) -> dict[str, Value]:
    system, display, first = bundle.system, bundle.case.display, log[0][0]
    assert system is not None
    inputs = {f"temperature {n + 1}": system.value(f"cure_table.temperatures.{n}")
              for n in range(len(table.temperatures))}
    inputs |= {f"time {n + 1}": system.value(f"cure_table.times.{n}") for n in range(len(table.times))}
    inputs["longest interval"] = longest
    coldest, warmest = (show(fn(c for _, c in log), "degC", system=display) for fn in (min, max))
    details = [("log", source), ("readings", str(len(log))), ("first", _when(first, 0)),
               ("last", _at(log[-1][0])), ("coldest and warmest", f"{coldest}, {warmest}"),
               ("age 1 reached", "no" if age.reached is None else _when(first, age.reached))]
    details += [(f"gap {n}", f"{_when(first, a)} to {_when(first, b)}") for n, (a, b) in enumerate(age.gaps, 1)]
    return active().procedure(
        "Cure age by logged steel temperature", "sum of time over the time to load by the table; the colder "
        "of two readings counts between them; no credit below the lowest row, for gaps, or beyond the last reading; "
        "above the highest row the credit of that row", MECHANICS.id, "derived", inputs,
        {"cure age": (age.share, ""), "without credit, gaps": (age.gap, "hour"),
         "without credit, too cold": (age.cold, "hour"), "above the highest row": (age.hot, "hour")}, details)


def _note(age: Age, display: str) -> str:
    """What the engineer must know beside the number."""
    lost = [f"{show(h, 'hour', system=display, significant=3)} {why}" for h, why in (
        (age.cold, "below the lowest row"), (age.gap, "in gaps")) if h]
    return "colder of two readings counts between them" + (f"; without credit: {', '.join(lost)}" if lost else "")


def _moment(first: datetime, hours: float) -> datetime:
    """Rounded up to the next whole second: nothing is cured before its time."""
    return first + timedelta(seconds=math.ceil(round(hours * 3600, 6)))


def _when(first: datetime, hours: float) -> str:
    return _at(_moment(first, hours))


def _at(moment: datetime) -> str:
    return moment.isoformat(sep=" ", timespec="minutes")
