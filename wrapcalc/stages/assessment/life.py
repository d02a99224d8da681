"""Growth: its rate, the time to the depth limit and to the failure pressure, and when to look again."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.case.model import GAS, GROWTHS, LIQUID, PLANT, SOILS
from wrapcalc.formulas import growth, pressure, uncertainty
from wrapcalc.recorder import active
from wrapcalc.searches.inversions import Bracketed, largest_passing
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.assessment.kernels import Strength
from wrapcalc.stages.assessment.of_record import Beside, OfRecord, clusters_beside, name_of, of_record
from wrapcalc.standards.documents import B31_8S, CFR_192, CFR_195, MECHANICS, PRACTICE
from wrapcalc.units import digits, show
from wrapcalc.values import Value

TWO, FULL, HALF, STATED, SOIL = GROWTHS
#: A longer life is called longer than this, years; the picture ends there.
HORIZON = 60.0
DAYS_IN_A_YEAR = 365.25
#: A time to the next look below this (years) is no time to wait for: the defect is repaired.
SHORTEST = 1.0


@dataclass(frozen=True)
class Life:
    """Rate of growth and what follows from it. Times in years from the measurement.

    between: years between two measurements, or of service, when the rate rests on them. time_to_pressure: None when the
    depth limit comes first; time_to_safe: until the governing safe pressure meets the MAOP, None when it is below it
    today or the depth limit comes first. due: the next look would have to be sooner than can be waited for.
    target: pressure at which life ends. years, depth (greatest of all clusters), failure: for
    the picture, mm and MPa, None beyond the limit of the method. events: (year, what).
    """

    basis: str
    rate: Value
    length_rate: Value | None
    between: Value | None
    time_to_depth: Value
    time_to_pressure: Value | None
    time_to_safe: Value | None
    life: Value
    interval: Value
    schedule: Value | None
    due: bool
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
        if self.life.magnitude > HORIZON:
            return f"more than {HORIZON:g} y"
        return show(self.life.magnitude, "year", significant=3)

    @property
    def words_of_safe(self) -> str:
        """How long the safe pressure stays at or above the MAOP, "" when that does not decide."""
        if self.time_to_safe is None or self.time_to_safe.magnitude > HORIZON:
            return ""
        return f", safe pressure not below the MAOP for {show(self.time_to_safe.magnitude, 'year', significant=3)}"


def remaining_life(bundle: Bundle, a: Assessment) -> Life | None:
    """Remaining life of a defect that is inside the scope of a method; None where the case states no growth."""
    case, rec = bundle.case, active()
    if case.growth.basis is None:
        return None
    rec.begin("Growth and remaining life")
    rec.assume(f"Growth by the basis “{case.growth.basis}”, because: {case.growth.basis_reason}", "case: growth.basis")
    rate, length_rate, between = _rates(bundle, a)
    record = of_record(bundle, a)
    limit = depth_limit(bundle, a)
    to_depth = growth.time_to_depth(limit, a.greatest, rate)
    target = end_of_life_pressure(bundle, record)
    to_pressure, decisive = _time_to_pressure(bundle, a, record, rate, length_rate, target, to_depth)
    life = rec.named(growth.remaining_life(to_depth, to_pressure), "Remaining life") if to_pressure is not None else (
        to_depth)
    interval, schedule = _interval(bundle, a, life)
    to_safe = _time_to_safe(bundle, a, record, rate, length_rate, to_depth)
    if to_safe is not None:
        interval = rec.named(growth.shorter_time(interval, to_safe),
                             "Time to the next look, not after the safe pressure meets the MAOP")
    _planned(bundle, interval)
    due = _due(bundle, interval)
    return Life(case.growth.basis, rate, length_rate, between, to_depth, to_pressure, to_safe, life, interval,
                schedule, due, target, limit.magnitude, record.failure_is_safe,
                *_picture(bundle, a, decisive, rate, limit, life, interval, to_depth, to_safe))


def depth_limit(bundle: Bundle, a: Assessment) -> Value:
    """Depth at the depth limit, on the thinner of nominal and used wall, as the limit itself is checked."""
    nominal = bundle.case.value("pipe.nominal_wall")
    return growth.limiting_depth(a.depth_check.limit, nominal if a.wall.magnitude > nominal.magnitude else a.wall)


def _years_between(title: str, first: str, last: str, what: tuple[str, str], like: Value) -> Value:
    days = (datetime.date.fromisoformat(last) - datetime.date.fromisoformat(first)).days
    return active().procedure(title, f"days between both dates over {DAYS_IN_A_YEAR}", MECHANICS.id, "derived",
                              {"depth measured": like}, {"years": (days / DAYS_IN_A_YEAR, "year")},
                              [(what[0], first), (what[1], last), ("days", str(days))])["years"]


def _rates(bundle: Bundle, a: Assessment) -> tuple[Value, Value | None, Value | None]:
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
        significant = _significant(bundle, rate)
        return significant, stated_length, between if significant is rate else None
    rule = growth.growth_rate_full_life if g.basis == FULL else growth.growth_rate_half_life
    # the depth with its allowance: the rate must not be lower than the size that grows from it
    return rule(a.greatest, between), stated_length, between


def _significant(bundle: Bundle, rate: Value) -> Value:
    """The rate from two measurements; the lowest tabulated one where their difference proves no slower growth.

    Two readings that agree, within the tolerance of their difference, are no proof of standstill.
    """
    case, rec = bundle.case, active()
    entry = bundle.tables.entry(B31_8S.id, "soil_resistive")
    least = entry.value()
    if case.uncertainty.depth_tolerance is None:
        if 0 < rate.magnitude < least.magnitude:
            rec.warn(f"The two measurements give a rate below {entry.written}, the lowest of the table, and the case "
                     "states no sizing tolerance: the difference may be error alone.", "case: growth")
        noise = rate.magnitude == 0
    else:
        tolerance = uncertainty.tolerance_of_difference(case.value("uncertainty.depth_tolerance"))
        noise = case.get("defect.depth").base - case.get("growth.earlier_depth").base <= tolerance.magnitude
    if noise and rate.magnitude < least.magnitude:
        rec.assume("Both measurements show the same depth within their tolerance; the rate is taken as "
                   f"{entry.written}, the lowest of the table, not as less.", "safer reading")
        return least
    if noise:
        rec.warn("The two measurements differ by no more than the tolerance of their difference: the rate is hardly "
                 "known. Compare it with another basis.", rate.origin.ref)
    return rate


def end_of_life_pressure(bundle: Bundle, record: OfRecord) -> Value:
    """Pressure at which life ends: a ratio of the rule, or of the case, on the MAOP."""
    case, rec, tables = bundle.case, active(), bundle.tables
    maop, stated = case.value("service.maop"), case.optional("growth.failure_ratio")
    if record.failure_is_safe:
        rec.assume("The governing method gives a safe pressure only: life ends where that meets the MAOP."
                   + ("" if stated is None else " growth.failure_ratio is not used."), "safer reading")
        return maop
    entry = tables.entry(CFR_195.id if case.service.service == LIQUID else CFR_192.id, "life_end_ratio")
    ruled = entry.value()
    if stated is not None and stated.magnitude < ruled.magnitude:
        rec.warn(f"Life is taken to end at a failure pressure of {digits(stated.magnitude)} times the MAOP; repair is "
                 f"immediate already at {entry.written} ({entry.citation}).", "case: growth.failure_ratio")
    return growth.pressure_at_end_of_life(stated or ruled, maop)


#: Lowest pressure (MPa) of what decides, at each of these years.
OverTime = Callable[[np.ndarray], np.ndarray]


def _time_to_pressure(bundle: Bundle, a: Assessment, record: OfRecord, rate: Value, length_rate: Value | None,
                      target: Value, to_depth: Value) -> tuple[Value | None, OverTime]:
    """Years until the pressure meets its limit (None: the depth limit comes first), and the pressure over the years."""
    rec, until = active(), to_depth.magnitude
    grown = [Beside("", a.depth.magnitude, a.length.magnitude, record.safe, record.failure)]
    if until <= 0:
        return None, _over_time(grown, _failure, rate, length_rate)
    found, weaker = _search(grown[0], clusters_beside(bundle, a), _failure, target, until, rate, length_rate)
    over_time = _over_time(grown + weaker, _failure, rate, length_rate)
    details = [("clusters that decide then", ", ".join(b.label for b in weaker))] if weaker else []
    what = "safe pressure" if record.failure_is_safe else "failure pressure"
    names = ", ".join(name_of(k) for k in record.failure_of)
    method = (f"bisection on the {what} ({names}) of the grown defect, up to the time to the depth limit; the side of "
              "the bracket that still passes" + (f". {record.note}" if record.note else ""))
    inputs = {"depth used": a.depth, "length used": a.length, "wall used": a.wall, "rate": rate,
              "pressure at the end of life": target}
    if length_rate is not None:
        inputs["rate of the length"] = length_rate
    results = {"time": (0.0 if found.passing is None else found.passing, "year")}
    if found.passing is None:
        details = [("now", "the limit is passed already")]
    elif found.failing is None:
        results = {}
        details = [("not before", show(until, "year", significant=3)), ("then", "the depth limit comes first")]
    else:
        details += [("bracket", found.words), ("steps", str(found.steps)),
                    (f"{what} found less limit", show(found.residual, "MPa", system=bundle.case.display))]
    out = rec.procedure(f"Time until the {what} meets its limit", method, PRACTICE.id, "common practice", inputs,
                        results, details)
    return out.get("time"), over_time


def _time_to_safe(bundle: Bundle, a: Assessment, record: OfRecord, rate: Value, length_rate: Value | None,
                  to_depth: Value) -> Value | None:
    """Years until the governing safe pressure meets the MAOP, by which the decision of today would change."""
    rec, maop = active(), bundle.case.value("service.maop")
    if record.failure_is_safe or a.governing is None or a.governing.magnitude < maop.magnitude or (
            to_depth.magnitude <= 0):
        return None
    governing = Beside("", a.depth.magnitude, a.length.magnitude, record.safe, record.failure)
    found, weaker = _search(governing, clusters_beside(bundle, a), _safe, maop, to_depth.magnitude, rate, length_rate)
    if found.failing is None:
        return None
    return rec.procedure(
        "Time until the governing safe pressure meets the MAOP", "bisection on the safe pressure ("
        + ", ".join(name_of(k) for k in record.each) + ") of the grown defect; the side of the bracket that still "
        "passes" + (f". {record.note}" if record.note else ""), PRACTICE.id, "common practice",
        {"depth used": a.depth, "length used": a.length, "rate": rate, "MAOP": maop},
        {"time": (found.passing or 0.0, "year")},
        [*([("clusters that decide then", ", ".join(b.label for b in weaker))] if weaker else []),
         ("bracket", found.words), ("steps", str(found.steps))])["time"]


def _due(bundle: Bundle, interval: Value) -> bool:
    """Whether the next look would have to come sooner than is planned, or than a year from the measurement."""
    planned = bundle.case.get("growth.planned_interval")
    if planned is not None and interval.magnitude < planned.base:
        active().warn("The planned time to the next assessment is longer than the time to the next look: repair, or "
                      "look sooner.", interval.origin.ref)
    return interval.magnitude < SHORTEST


def _failure(b: Beside) -> Strength:
    return b.failure


def _safe(b: Beside) -> Strength:
    return b.safe


def _search(governing: Beside, beside: list[Beside], which: Callable[[Beside], Strength], target: Value, until: float,
            rate: Value, length_rate: Value | None) -> tuple[Bracketed, list[Beside]]:
    """Years until the first cluster fails the target, and those that are weaker by then than what governs today."""
    def found(grown: list[Beside]) -> Bracketed:
        over_time = _over_time(grown, which, rate, length_rate)
        return largest_passing(lambda T: float(over_time(np.array([T]))[0]), target.magnitude, 0.0, until)

    first = found([governing])
    if first.passing is None:
        return first, []
    then = np.array([first.passing])
    weaker = [b for b in beside if _over_time([b], which, rate, length_rate)(then)[0] < target.magnitude]
    return (found([governing, *weaker]), weaker) if weaker else (first, [])


def _over_time(grown: list[Beside], which: Callable[[Beside], Strength], rate: Value, length_rate: Value | None
               ) -> OverTime:
    longer = 0.0 if length_rate is None else length_rate.magnitude
    return lambda T: np.minimum.reduce([which(b)(b.depth + rate.magnitude * T, b.length + longer * T) for b in grown])


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
        if case.service.high_consequence_area != "yes":
            rule = tables.value(CFR_192.id, "interval_other")
        # At exactly half of SMYS the interval of the rule has one curve and the figure the other, stricter one.
        curve = "medium" if level == "high" and share.magnitude <= 0.5 else level
        if a.failure is not None:
            ratio = pressure.failure_pressure_ratio(a.failure, case.value("service.maop"))
            schedule = growth.response_time(ratio, tables.value(B31_8S.id, "schedule_ratio_start"),
                                            tables.value(B31_8S.id, f"schedule_ratio_{curve}_stress"),
                                            tables.value(B31_8S.id, f"schedule_years_{curve}_stress"))
            rule = rec.named(growth.shorter_time(rule, schedule), "Interval of the rule and response time, the shorter")
    return growth.reinspection_interval(life, rule), schedule


def _planned(bundle: Bundle, interval: Value) -> None:
    """The planned time, against the time to the next look when all is in it."""
    planned, gas = bundle.case.optional("growth.planned_interval"), bundle.case.service.service == GAS
    if planned is not None:
        active().check("Planned time to the next assessment", planned, "<=", interval,
                       citation="49 CFR 192.939" if gas else PRACTICE.id, status="seen" if gas else "common practice")


def _picture(bundle: Bundle, a: Assessment, over_time: OverTime, rate: Value, limit: Value, life: Value,
             interval: Value, to_depth: Value, to_safe: Value | None):
    """Years, depth, failure pressure, events and the start of the picture."""
    last = min(HORIZON, max(1.25 * life.magnitude, 1.25 * interval.magnitude, 2.0))
    years = np.linspace(0.0, last, 41)
    depth = a.greatest.magnitude + rate.magnitude * years
    inside = (depth <= limit.magnitude) & (years <= to_depth.magnitude)
    failure: list[float | None] = [None] * len(years)
    if inside.any():
        for i, p in zip(np.flatnonzero(inside), over_time(years[inside]), strict=True):
            failure[int(i)] = float(p)
    events = [(interval.magnitude, "next look at the latest"), (life.magnitude / 2, "half the remaining life"),
              (life.magnitude, "remaining life")]
    if to_safe is not None:
        events.append((to_safe.magnitude, "safe pressure meets the MAOP"))
    design = bundle.case.optional("design.design_life")
    if design is not None:
        events.append((design.magnitude, "design life of a repair"))
    start = f"the measurement of {bundle.case.growth.measured_date}" if bundle.case.growth.measured_date else (
        "the measurement")
    return (tuple(map(float, years)), tuple(map(float, depth)), tuple(failure), tuple(events), start)
