"""Growth on arrays of anomalies: remaining life, time to the next look, and which look would be due too soon.

The same rules as `stages.assessment.life`, on the same functions of depth, length and wall
(`stages.assessment.of_record`); the searches halve the brackets of all rows at once, to the tolerance of the single
case. Times are years from the measurement.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wrapcalc.campaign.rows.method_rows import Answers, Line, Sizes
from wrapcalc.campaign.rows.rounding import How, Unrounded
from wrapcalc.case import Bundle
from wrapcalc.case.model import GAS, LIQUID, RSF, SOILS
from wrapcalc.formulas import growth, pressure, uncertainty
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.assessment.forms import Form
from wrapcalc.stages.assessment.kernels import MODIFIED, ORIGINAL, ORIGINAL_1991, SINGLE
from wrapcalc.stages.assessment.life import DAYS_IN_A_YEAR, FULL, SHORTEST, SOIL, STATED, TWO, end_of_life_pressure
from wrapcalc.stages.assessment.of_record import OfRecord, of_record
from wrapcalc.standards.documents import B31_8S, CFR_192, CFR_195, PRACTICE
from wrapcalc.values import Origin, Value

#: Width of a bracket at its end, years; the most halvings that may be needed for it.
_NARROW, _MOST = 1e-9, 200

#: (depth, length, wall, rows) -> MPa.
OverRows = Callable[[np.ndarray, np.ndarray, np.ndarray, np.ndarray], np.ndarray]


class Records:
    """The governing rule of a line as functions of depth, length and wall, for rows that differ in what is in scope."""

    def __init__(self, bundle: Bundle, line: Line):
        self.by: list[OfRecord] = []
        self._of = line.keys
        with recording(Recorder()):
            for keys, failure_key in self._variants(line):
                self.by.append(of_record(bundle, _stand_in(line, keys, failure_key)))
            self.target = end_of_life_pressure(bundle, self.by[0]).magnitude if self.by else np.nan
        self.failure_is_safe = bool(self.by) and self.by[0].failure_is_safe

    @staticmethod
    def _variants(line: Line) -> list[tuple[tuple[str, ...], str]]:
        """Forms inside their scope, and the form whose failure pressure counts, that rows of this line may have."""
        if line.keys in ((RSF,), (SINGLE,)):
            return [] if line.keys == (SINGLE,) and line.smts is None else [(line.keys, "")]
        keys = tuple(k for k in line.keys if k in line.flow)
        if keys == (ORIGINAL_1991,):
            return [(keys, ORIGINAL), (keys, MODIFIED)] if MODIFIED in line.flow else [(keys, ORIGINAL)]
        without = tuple(k for k in keys if k != ORIGINAL_1991)
        return [(k, "") for k in dict.fromkeys((without, keys)) if k]

    def variant(self, found: Answers) -> np.ndarray | int:
        """Which of `by` holds for each row."""
        if len(self.by) < 2:
            return 0
        if self._of == (ORIGINAL_1991,):
            return (found[MODIFIED].failure < found[ORIGINAL].failure).astype(np.uint8)
        return found[ORIGINAL_1991].inside.astype(np.uint8)

    def over(self, which: str, variant: np.ndarray | int) -> OverRows:
        """"safe" or "failure" as a function of sizes, for rows of these variants."""
        def function(depth: np.ndarray, length: np.ndarray, wall: np.ndarray, rows: np.ndarray) -> np.ndarray:
            if not isinstance(variant, np.ndarray):
                return getattr(self.by[variant], which)(depth, length, wall)
            out, mine = np.empty(len(rows)), variant[rows]
            for i, record in enumerate(self.by):
                here = mine == i
                if here.any():
                    out[here] = getattr(record, which)(depth[here], length[here], wall[here])
            return out
        return function


def _stand_in(line: Line, keys: tuple[str, ...], failure_key: str) -> Assessment:
    """An assessment in which these forms are inside their scope; its sizes are never used."""
    def of(x: float, unit: str = "MPa") -> Value:
        return Value(x, unit, Origin("table", "stand-in"))

    forms = tuple(Form(k, of(1.0), of(1.0)) for k in keys)
    factor, safety = (None if x is None else of(x, "") for x in (line.factor, line.safety))
    size = of(line.nominal, "mm")
    return Assessment(size, size, size, of(1.0, ""), None, factor, of(line.allowable),  # type: ignore[arg-type]
                      forms=forms, governing_key=keys[0], failure_key=failure_key, safety=safety)


@dataclass
class Grown:
    """What grows: sizes today, rates (mm per year), and years until the depth is at its limit."""

    sizes: Sizes
    rate: np.ndarray
    length_rate: np.ndarray | float
    to_depth: np.ndarray

    def taken(self, at: np.ndarray) -> Grown:
        """Some of the rows."""
        s, along = self.sizes, self.length_rate
        some = Sizes(s.wall[at], s.depth[at], s.length[at], s.share[at], s.width[at])
        return Grown(some, self.rate[at], along[at] if isinstance(along, np.ndarray) else along, self.to_depth[at])


@dataclass
class Lives:
    """Years, row by row: remaining life, time to the next look; due: the look would come too soon."""

    life: np.ndarray
    look: np.ndarray
    due: np.ndarray


class LifeRows:
    """Growth of the anomalies of one line, whose case states a basis of growth."""

    def __init__(self, bundle: Bundle, line: Line, records: Records):
        self._line, self._records, self._case = line, records, bundle.case
        g, tables = bundle.case.growth, bundle.tables
        self._basis = g.basis
        self._least = tables.value(B31_8S.id, "soil_resistive").magnitude
        self._stated = self._of_soil(bundle) if g.basis == SOIL else bundle.case.get("growth.rate")
        self._stated = getattr(self._stated, "base", self._stated)
        first = g.earlier_date if g.basis == TWO else g.service_date
        self._between = None if first is None else (datetime.date.fromisoformat(g.measured_date)
                                                   - datetime.date.fromisoformat(first)).days / DAYS_IN_A_YEAR
        self._length_rate = None if g.length_rate is None else g.length_rate.base
        with recording(Recorder()):
            self._rule, self._curve = self._rule_of(bundle)
            tolerance = bundle.case.optional("uncertainty.depth_tolerance")
            self._noise = None if tolerance is None else uncertainty.tolerance_of_difference(tolerance).magnitude

    @staticmethod
    def _of_soil(bundle: Bundle) -> float:
        names = dict(zip(SOILS, ("soil_resistive", "soil_medium", "soil_conductive"), strict=True))
        return bundle.tables.value(B31_8S.id, names[bundle.case.growth.soil]).magnitude

    @staticmethod
    def _rule_of(bundle: Bundle) -> tuple[float, tuple[float, float, float] | None]:
        """Interval of the rule in years, and for gas the schedule: ratio at its start and end, years at its end."""
        case, tables = bundle.case, bundle.tables
        if case.service.service != GAS:
            document, name = (CFR_195.id, "interval") if case.service.service == LIQUID else (PRACTICE.id,
                                                                                             "interval_plant")
            return tables.value(document, name).magnitude, None
        stress = pressure.hoop_stress(case.value("service.maop"), case.value("pipe.outside_diameter"),
                                      case.value("pipe.nominal_wall"))
        share = pressure.share_of_yield(stress, case.value("pipe.smys")).magnitude
        level = "high" if share >= 0.5 else "medium" if share >= 0.3 else "low"
        listed = case.service.high_consequence_area == "yes"
        rule = tables.value(CFR_192.id, f"interval_{level}_stress" if listed else "interval_other").magnitude
        curve = "medium" if level == "high" and share <= 0.5 else level
        return rule, tuple(tables.value(B31_8S.id, n).magnitude for n in (  # type: ignore[return-value]
            "schedule_ratio_start", f"schedule_ratio_{curve}_stress", f"schedule_years_{curve}_stress"))

    def rate(self, s: Sizes, measured: np.ndarray, how: How) -> np.ndarray:
        """Rate of depth (mm per year); measured: depths without allowance."""
        if self._basis in (STATED, SOIL):
            return np.full(len(measured), self._stated)
        if self._basis == TWO:
            before = self._case.get("growth.earlier_depth").base
            rate = how.steady(growth.growth_rate_two_measurements.array(d_2=measured, d_1=before, T_12=self._between))
            noise = rate == 0 if self._noise is None else ~how.above(measured - before, self._noise)
            return np.where(noise & (rate < self._least), self._least, rate)
        rule = growth.growth_rate_full_life if self._basis == FULL else growth.growth_rate_half_life
        return how.steady(rule.array(d=s.depth, T_a=self._between))

    def grown(self, s: Sizes, measured: np.ndarray, length: np.ndarray, how: How) -> Grown:
        """What grows, and how; length: measured, without allowance."""
        rate = self.rate(s, measured, how)
        before = self._case.get("growth.earlier_length")
        along: np.ndarray | float = self._length_rate or 0.0
        if self._basis == TWO and before is not None and self._length_rate is None:
            along = how.steady(growth.growth_rate_two_measurements.array(d_2=length, d_1=before.base,
                                                                         T_12=self._between))
        limit = limit_rows(self._line, s, how)
        return Grown(s, rate, along, how.steady(growth.time_to_depth.array(d_lim=limit, d=s.depth, r=rate)))

    def schedule(self, failure: np.ndarray, how: How) -> np.ndarray | None:
        """Response time by the schedule, years; infinite where there is no failure pressure. None: no schedule."""
        if self._curve is None:
            return None
        ratio = how.steady(pressure.failure_pressure_ratio.array(P_F=np.where(np.isnan(failure), np.inf, failure),
                                                                 MAOP=self._line.maop))
        start, end, years = self._curve
        found = how.steady(growth.response_time.array(FPR=np.where(np.isinf(ratio), end, ratio), k_0=start, k_1=end,
                                                      T_1=years))
        return np.where(np.isinf(ratio), np.inf, found)

    def variant(self, found: Answers) -> np.ndarray | int:
        """Which form of the record holds for each row."""
        return self._records.variant(found)

    def due(self, g: Grown, found: Answers, governing: np.ndarray, failure: np.ndarray, how: How) -> np.ndarray:
        """Rows whose next look would be due too soon; the search for when is made only where rounding might decide.

        It is when the remaining life is below twice that time, the schedule or the rule below it, or the safe pressure
        would meet the MAOP before it.
        """
        variant, look = self.variant(found), Unrounded() if how.exact else how
        out = self._due(g, variant, governing, failure, look)
        if how.exact and look.near is not None:
            at = np.flatnonzero(look.near)
            some = variant[at] if isinstance(variant, np.ndarray) else variant
            out[at] = self.lives(g.taken(at), some, governing[at], failure[at], how).due
        return out

    def _due(self, g: Grown, variant: np.ndarray | int, governing: np.ndarray, failure: np.ndarray, how: How
             ) -> np.ndarray:
        twice = 2 * SHORTEST
        out = how.below(g.to_depth, twice)
        if self._rule < SHORTEST:
            out = np.ones(len(out), bool)
        later = self._at(g, "failure", variant, np.minimum(twice, np.maximum(g.to_depth, 0.0)))
        out |= how.below(later, self._records.target)
        schedule = self.schedule(failure, how)
        if schedule is not None:
            out |= how.below(schedule, SHORTEST)
        if not self._records.failure_is_safe:
            soon = self._at(g, "safe", variant, np.minimum(SHORTEST, np.maximum(g.to_depth, 0.0)))
            out |= how.below(soon, self._line.maop) & ~how.below(governing, self._line.maop)
        return out

    def _at(self, g: Grown, which: str, variant: np.ndarray | int, years: np.ndarray) -> np.ndarray:
        s = g.sizes
        return self._records.over(which, variant)(s.depth + g.rate * years, s.length + g.length_rate * years, s.wall,
                                                  np.arange(len(years)))

    def lives(self, g: Grown, variant: np.ndarray | int, governing: np.ndarray, failure: np.ndarray, how: How) -> Lives:
        """Remaining life and time to the next look of rows that a method governs; variant: as `variant` gives it."""
        time, _ = self._search(g, "failure", variant, np.full(len(g.rate), self._records.target))
        life = np.where(g.to_depth > 0, np.minimum(g.to_depth, time), g.to_depth)
        rule, schedule = self._rule, self.schedule(failure, how)
        shorter = rule if schedule is None else np.minimum(rule, schedule)
        look = how.steady(growth.reinspection_interval.array(T_life=life, T_rule=shorter))
        if not self._records.failure_is_safe:
            asked = ~(governing < self._line.maop) & (g.to_depth > 0)
            time, fails = self._search(g, "safe", variant, np.full(len(g.rate), self._line.maop))
            look = np.where(asked & fails, np.minimum(look, time), look)
        return Lives(life, look, how.below(look, SHORTEST))

    def _search(self, g: Grown, which: str, variant: np.ndarray | int, target: np.ndarray
                ) -> tuple[np.ndarray, np.ndarray]:
        """Years until the pressure falls below its target, and whether it does before the depth limit.

        The passing side of the bracket; 0 where it is below today, and infinite where it is not below at the limit.
        """
        s, function = g.sizes, self._records.over(which, variant)
        longer = np.broadcast_to(g.length_rate, len(g.rate))

        def passes(rows: np.ndarray, years: np.ndarray) -> np.ndarray:
            return function(s.depth[rows] + g.rate[rows] * years, s.length[rows] + longer[rows] * years, s.wall[rows],
                            rows) >= target[rows]

        rows = np.arange(len(g.rate))
        high = np.maximum(g.to_depth, 0.0)
        today, then = passes(rows, np.zeros(len(rows))), passes(rows, high)
        out = np.where(today, np.where(then, np.inf, 0.0), 0.0)
        rows = np.flatnonzero(today & ~then)
        passing, failing = np.zeros(len(rows)), high[rows]
        for _ in range(_MOST):
            middle = passing + (failing - passing) / 2
            open_ = (failing - passing > _NARROW) & (passing < middle) & (middle < failing)
            if not open_.all():
                out[rows[~open_]] = passing[~open_]
                rows, passing, failing, middle = rows[open_], passing[open_], failing[open_], middle[open_]
            if not len(rows):
                break
            good = passes(rows, middle)
            passing, failing = np.where(good, middle, passing), np.where(good, failing, middle)
        out[rows] = passing
        return out, ~then


def limit_rows(line: Line, s: Sizes, how: How) -> np.ndarray:
    """Depth (mm) at the depth limit, on the thinner of nominal and used wall."""
    return how.steady(growth.limiting_depth.array(eta_lim=line.depth_limit, t=np.minimum(s.wall, line.nominal)))
