"""Growth: its rate, the time to the depth limit and to the failure pressure, and when to look again."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.case.model import GAS, GROWTHS, LIQUID, PLANT, SOILS
from wrapcalc.formulas import growth, pressure
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.recorder import active
from wrapcalc.searches.inversions import largest_passing
from wrapcalc.stages.assess import Assessment
from wrapcalc.stages.of_record import OfRecord, name_of, of_record
from wrapcalc.standards.documents import B31_8S, CFR_192, CFR_195, MECHANICS, PRACTICE
from wrapcalc.units import show
from wrapcalc.values import Value

TWO, FULL, HALF, STATED, SOIL = GROWTHS
#: How far ahead is looked.
HORIZON = 60.0
_DAYS_IN_A_YEAR = 365.25


@dataclass(frozen=True)
class Life:
    """Rate of growth and what follows from it. Times in years from the measurement; None: not inside the horizon.

    between: years between two measurements, or of service (None for other bases). target: pressure at which life ends.
    years, depth, failure: for the picture, mm and MPa, None beyond the limit of the method. events: (year, what).
    """

    basis: str
    rate: Value
    length_rate: Value | None
    between: Value | None
    time_to_depth: Value
    time_to_pressure: Value | None
    life: Value
    interval: Value
    schedule: Value | None
    target: Value
    limit_depth: float
    failure_is_safe: bool
    years: tuple[float, ...]
    depth: tuple[float, ...]
    failure: tuple[float | None, ...]
    events: tuple[tuple[float, str], ...]
    start: str

    @property
    def words(self) -> str:
        """The remaining life in words."""
        return show(self.life.magnitude, "year", significant=3)


def remaining_life(bundle: Bundle, a: Assessment) -> Life | None:
    """Remaining life of a defect that is inside the scope of a method; None where the case states no growth."""
    case, rec = bundle.case, active()
    if case.growth.basis is None:
        return None
    rec.begin("Growth and remaining life")
    rec.assume(f"Growth by the basis “{case.growth.basis}”, because: {case.growth.basis_reason}", "case: growth.basis")
    rate, length_rate, between = _rates(bundle)
    record = of_record(bundle, a)
    limit = growth.limiting_depth(a.depth_check.limit, a.wall)
    to_depth = growth.time_to_depth(limit, a.depth, rate)
    target = _target(bundle, record)
    to_pressure = _time_to_pressure(bundle, a, record, rate, length_rate, target, to_depth)
    life = rec.named(growth.remaining_life(to_depth, to_pressure), "Remaining life") if to_pressure is not None else (
        to_depth)
    interval, schedule = _interval(bundle, a, life)
    return Life(case.growth.basis, rate, length_rate, between, to_depth, to_pressure, life, interval, schedule, target,
                limit.magnitude, record.failure_is_safe, *_picture(bundle, a, record, rate, length_rate, limit, life,
                                                                  interval, to_depth, to_pressure))


def _years_between(title: str, first: str, last: str, what: tuple[str, str], like: Value) -> Value:
    days = (datetime.date.fromisoformat(last) - datetime.date.fromisoformat(first)).days
    return active().procedure(title, f"days between both dates over {_DAYS_IN_A_YEAR}", MECHANICS.id, "derived",
                              {"depth measured": like}, {"years": (days / _DAYS_IN_A_YEAR, "year")},
                              [(what[0], first), (what[1], last), ("days", str(days))])["years"]


def _rates(bundle: Bundle) -> tuple[Value, Value | None, Value | None]:
    """Rate of depth, rate of the whole length (None: held), and the years that they rest on."""
    case, rec = bundle.case, active()
    g, depth = case.growth, case.value("defect.depth")
    stated_length = case.optional("growth.length_rate")
    if stated_length is None and g.earlier_length is None:
        rec.warn("The length is held while the depth grows: the case states no rate of length.", "case: growth")
    if g.basis == STATED:
        return case.value("growth.rate"), stated_length, None
    if g.basis == SOIL:
        name = dict(zip(SOILS, ("soil_resistive", "soil_medium", "soil_conductive"), strict=True))[g.soil]
        return bundle.tables.value(B31_8S.id, name), stated_length, None
    first = g.earlier_date if g.basis == TWO else g.service_date
    between = _years_between("Years between the measurements" if g.basis == TWO else "Years of service", first,
                             g.measured_date, ("from", "to"), depth)
    if g.basis == TWO:
        rate = growth.growth_rate_two_measurements(depth, case.value("growth.earlier_depth"), between)
        if g.earlier_length is not None and stated_length is None:
            stated_length = rec.named(growth.growth_rate_two_measurements(
                case.value("defect.length"), case.value("growth.earlier_length"), between), "Rate of the whole length")
        return _at_least_something(bundle, rate), stated_length, between
    rule = growth.growth_rate_full_life if g.basis == FULL else growth.growth_rate_half_life
    return rule(depth, between), stated_length, between


def _at_least_something(bundle: Bundle, rate: Value) -> Value:
    """Two equal readings are no proof of standstill: the lowest tabulated rate then."""
    if rate.magnitude > 0:
        return rate
    entry = bundle.tables.entry(B31_8S.id, "soil_resistive")
    active().assume(f"Both measurements show the same depth; the rate is taken as {entry.written}, the lowest of the "
                    "table, not as nothing.", "safer reading")
    return entry.value()


def _target(bundle: Bundle, record: OfRecord) -> Value:
    """Pressure at which life ends: a ratio of the rule, or of the case, on the MAOP."""
    case, rec, tables = bundle.case, active(), bundle.tables
    maop = case.value("service.maop")
    if record.failure_is_safe:
        rec.assume("The governing method gives a safe pressure only: life ends where that meets the MAOP.",
                   "safer reading")
        return maop
    ratio = case.optional("growth.failure_ratio")
    if ratio is None:
        document = CFR_195.id if case.service.service == LIQUID else CFR_192.id
        ratio = tables.value(document, "life_end_ratio")
    return growth.pressure_at_end_of_life(ratio, maop)


def _time_to_pressure(bundle: Bundle, a: Assessment, record: OfRecord, rate: Value, length_rate: Value | None,
                      target: Value, to_depth: Value) -> Value | None:
    rec = active()
    until = min(to_depth.magnitude, HORIZON)
    inputs = {"depth used": a.depth, "length used": a.length, "wall used": a.wall, "rate": rate,
              "pressure at the end of life": target}
    if length_rate is not None:
        inputs["rate of the length"] = length_rate
    if until <= 0:
        return None
    over_time = _over_time(a, record, rate, length_rate)
    found = largest_passing(lambda T: float(over_time(np.array([T]))[0]), target.magnitude, 0.0, until)
    what = "safe pressure" if record.failure_is_safe else "failure pressure"
    method = (f"bisection on the {what} (" + ", ".join(name_of(k) for k in record.each) + ") of the grown defect; the "
              "side of the bracket that still passes" + (f". {record.note}" if record.note else ""))
    if found.passing is None:
        return rec.procedure(f"Time until the {what} meets its limit", method, PRACTICE.id, "common practice", inputs,
                             {"time": (0.0, "year")}, [("now", "the limit is passed already")])["time"]
    if found.failing is None:
        rec.procedure(f"Time until the {what} meets its limit", method, PRACTICE.id, "common practice", inputs, {},
                      [("not before", show(until, "year", significant=3)), ("then", "the depth limit, or the horizon of "
                        f"{HORIZON:g} years, comes first")])
        return None
    return rec.procedure(
        f"Time until the {what} meets its limit", method, PRACTICE.id, "common practice", inputs,
        {"time": (found.passing, "year")},
        [("bracket", found.words), ("steps", str(found.steps)),
         (f"{what} found less limit", show(found.residual, "MPa", system=bundle.case.display))])["time"]


def _over_time(a: Assessment, record: OfRecord, rate: Value, length_rate: Value | None
               ) -> Callable[[np.ndarray], np.ndarray]:
    longer = 0.0 if length_rate is None else length_rate.magnitude
    return lambda T: record.failure(a.depth.magnitude + rate.magnitude * T, a.length.magnitude + longer * T)


def _interval(bundle: Bundle, a: Assessment, life: Value) -> tuple[Value, Value | None]:
    """Time to the next look, and for gas the response time by the schedule."""
    case, tables, rec = bundle.case, bundle.tables, active()
    schedule = None
    if case.service.service == PLANT:
        rule = tables.value(PRACTICE.id, "interval_plant")
    elif case.service.service == LIQUID:
        rule = tables.value(CFR_195.id, "interval")
    else:
        stress = pressure.hoop_stress(case.value("service.maop"), case.value("pipe.outside_diameter"),
                                      case.value("pipe.nominal_wall"))
        share = pressure.share_of_yield(stress, case.value("pipe.smys"))
        level = "high" if share.magnitude >= 0.5 else "medium" if share.magnitude >= 0.3 else "low"
        rule = tables.value(CFR_192.id, f"interval_{level}_stress")
        if a.failure is not None:
            ratio = pressure.failure_pressure_ratio(a.failure, case.value("service.maop"))
            schedule = growth.response_time(ratio, tables.value(B31_8S.id, "schedule_ratio_start"),
                                            tables.value(B31_8S.id, f"schedule_ratio_{level}_stress"),
                                            tables.value(B31_8S.id, f"schedule_years_{level}_stress"))
            rule = rec.named(growth.shorter_time(rule, schedule), "Interval of the rule and response time, the shorter")
    interval = growth.reinspection_interval(life, rule)
    planned = case.optional("growth.planned_interval")
    if planned is not None:
        rec.check("Planned time to the next assessment", planned, "<=", interval, citation="49 CFR 192.939"
                  if case.service.service == GAS else PRACTICE.id, status="seen" if case.service.service == GAS else
                  "common practice")
    return interval, schedule


def _picture(bundle: Bundle, a: Assessment, record: OfRecord, rate: Value, length_rate: Value | None, limit: Value,
             life: Value, interval: Value, to_depth: Value, to_pressure: Value | None):
    """Years, depth, failure pressure, events and the start of the picture."""
    last = min(HORIZON, max(1.25 * life.magnitude, 1.25 * interval.magnitude, 2.0))
    years = np.linspace(0.0, last, 41)
    depth = a.depth.magnitude + rate.magnitude * years
    over_time = _over_time(a, record, rate, length_rate)
    inside = depth <= limit.magnitude
    failure: list[float | None] = [None] * len(years)
    for i, p in zip(np.flatnonzero(inside), over_time(years[inside]), strict=True):
        failure[int(i)] = float(p)
    events = [(interval.magnitude, "next look at the latest"), (life.magnitude / 2, "half the remaining life"),
              (life.magnitude, "remaining life")]
    design = bundle.case.optional("design.design_life")
    if design is not None:
        events.append((design.magnitude, "design life of a repair"))
    start = f"the measurement of {bundle.case.growth.measured_date}" if bundle.case.growth.measured_date else (
        "the measurement")
    return (tuple(map(float, years)), tuple(map(float, depth)), tuple(failure), tuple(events), start)


def depth_at_end(bundle: Bundle, a: Assessment, life: Life, years: Value) -> Value:
    """Depth at the end of the repair's life, for loss that goes on under a wrap."""
    return active().named(growth.depth_after(a.depth, life.rate, years), "Depth at the end of the repair's life")


def relative_at_end(a: Assessment, depth: Value) -> Value:
    """The same over the wall."""
    return active().named(strength.relative_depth(depth, a.wall), "Depth over wall at the end of the repair's life")
