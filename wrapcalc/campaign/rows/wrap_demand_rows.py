"""Thickness that the wraps of many anomalies need, by the route of the case, and what they must meet as laid.

The formulas are those that `stages.wrap.routes` and `stages.wrap.after_layers` record, each step carried to 12 digits
as there; `tests/campaign/rows/test_wrap_rows.py` holds every row equal to the single design. Units are mm, MPa, N.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wrapcalc.campaign.rows.axial_rows import AxialRows, of_kind
from wrapcalc.campaign.rows.method_rows import Line, Sizes
from wrapcalc.campaign.rows.rounding import Rounded, steady_rows
from wrapcalc.campaign.rows.wrap_reasons import (
    AXIAL_AS_LAID,
    AXIAL_ON_STEEL,
    AXIAL_TEST,
    HOOP_STRAIN,
    LIVE_ABOVE_SAFE,
    LIVE_AXIAL,
    LIVE_YIELDS,
    NO_YIELD,
    NO_YIELD_AS_LAID,
    NOT_YIELDED,
    TEST_STRAIN,
    TEST_STRESS,
    First,
)
from wrapcalc.case import Bundle
from wrapcalc.case.design_model import BY_STEEL
from wrapcalc.case.model import INTERNAL_LOSS, METAL_LOSS
from wrapcalc.formula import Formula
from wrapcalc.formulas import wrap_strain
from wrapcalc.formulas import wrap_thickness as thickness
from wrapcalc.stages.assessment.axial import axial_demands, axial_stresses
from wrapcalc.stages.wrap.loads import Loads, thickness_outside
from wrapcalc.stages.wrap.routes import LOAD_SHARING, LONG_TERM, STRAIN, YIELDED, long_term_factor, long_term_strength
from wrapcalc.stages.wrap.strain import Allowed, steel
from wrapcalc.values import Value

#: Widths of the section that the single design looks at; rows worked at all of them at once.
_WIDTHS, _ROWS = 2000, 64


def step(formula: Formula, **inputs) -> np.ndarray:
    """A formula on arrays, to 12 digits like a recorded step."""
    return steady_rows(formula.array(**inputs))


@dataclass
class AtEnd:
    """Damage at the end of the repair's life, row by row: sizes, its kind, safe pressure, remaining wall."""

    sizes: Sizes
    internal: np.ndarray
    safe: np.ndarray
    remaining: np.ndarray


@dataclass
class Asked:
    """Thickness required, NaN where the route gives none; along: that of the axial load, 0 for none; line, capacity: of
    an axial load that steel and wrap share, NaN for none."""

    required: np.ndarray
    along: np.ndarray
    line: np.ndarray
    capacity: np.ndarray


class SectionRows:
    """Axial stress of the damaged section at every width of the single design, for the rows that need it."""

    def __init__(self, bundle: Bundle, line: Line, rows: AxialRows):
        self._of_kind = tuple(of_kind(bundle, k) for k in (METAL_LOSS, INTERNAL_LOSS))
        self._line, self._rows = line, rows

    def met(self, s: Sizes, internal: np.ndarray, at: float) -> np.ndarray:
        """Whether the greatest stress at this pressure is not above the allowable stress."""
        return self._rows.met(s, internal, at, Rounded())

    def stress(self, s: Sizes, internal: np.ndarray, at: float) -> np.ndarray:
        """Greatest stress over all load cases, MPa."""
        return self._each(s, internal, lambda bundle, part: axial_stresses(
            bundle, part.depth, part.wall, np.full(len(part.depth), at), widths=_WIDTHS, width=part.width)[None, :])[0]

    def demands(self, e: AtEnd, rows: np.ndarray, at: float) -> tuple[np.ndarray, np.ndarray]:
        """(line force all round, stress) of the load case that asks most of a wrap, of some rows."""
        line, stress = self._each(taken(e.sizes, rows), e.internal[rows], lambda bundle, part: np.stack(axial_demands(
            bundle, part.depth, part.wall, np.full(len(part.depth), at), self._line.allowable, widths=_WIDTHS,
            width=part.width)))
        return steady_rows(line), steady_rows(stress)

    def _each(self, s: Sizes, internal: np.ndarray, function: Callable[[Bundle, Sizes], np.ndarray]) -> np.ndarray:
        out = np.empty((2, len(s.depth)))
        for kind, bundle in enumerate(self._of_kind):
            mine = np.flatnonzero((internal != 0) == bool(kind))
            for first in range(0, len(mine), _ROWS):
                rows = mine[first:first + _ROWS]
                out[:, rows] = function(bundle, taken(s, rows))
        return out


def taken(s: Sizes, rows: np.ndarray) -> Sizes:
    """Some of the rows."""
    return Sizes(s.wall[rows], s.depth[rows], s.length[rows], s.share[rows], s.width[rows])


class Demands:
    """The route of one line. Made while recording; raises ValueWaits for a value that is not known."""

    def __init__(self, bundle: Bundle, loads: Loads, allowed: Allowed, line: Line, section: SectionRows):
        case, system = bundle.case, bundle.system
        assert system is not None
        self.route, self._line, self._section = case.design.design_method, line, section
        self._loads, self._allowed, self._smys = loads, allowed, line.smys
        self.live = case.get("service.installation_pressure").base
        self._by_steel = case.design.axial_carried_by == BY_STEEL
        self._p, self._test = loads.equivalent.magnitude, None if loads.test is None else loads.test.magnitude
        self._hoop, self.axial = allowed.hoop.magnitude, allowed.axial.magnitude
        self._rare = None if allowed.rare is None else allowed.rare.magnitude
        self._metal = steel(bundle).modulus.magnitude
        self._diameter, self._laminate = case.value("pipe.outside_diameter"), system.value
        self._around, self._axial = system.value("laminate.modulus_hoop"), system.value("laminate.modulus_axial")
        self._alone = self._laminate_alone(bundle) if self.route in (STRAIN, LONG_TERM) else 0.0
        self._all_along = self._whole_along()

    # -- a laminate that ignores the steel: the same for every row ---------------------------------------------------
    def _laminate_alone(self, bundle: Bundle) -> float:
        """Thickness around the pipe, of a test and of outside pressure."""
        loads, hoop = self._loads, self._allowed.hoop
        relief = None if self._by_steel else loads.relief
        if self.route == LONG_TERM:
            out = [thickness.thickness_long_term(
                loads.equivalent, self._diameter, long_term_factor(bundle),
                wrap_strain.temperature_factor_strength(self._allowed.margin), long_term_strength(bundle))]
        elif relief is None:
            out = [thickness.thickness_laminate_strain(loads.equivalent, self._diameter, self._around, hoop)]
        else:
            out = [thickness.thickness_strain_hoop(loads.equivalent, self._diameter, self._around, relief,
                                                   self._laminate("laminate.poisson_ratio"), hoop)]
        if loads.test is not None and self._allowed.rare is not None:
            out.append(thickness.thickness_laminate_strain(loads.test, self._diameter, self._around,
                                                           self._allowed.rare))
        if loads.outside is not None:
            out.append(thickness_outside(bundle, loads.outside))
        return max(v.magnitude for v in out)

    def _whole_along(self) -> float:
        """Thickness along the pipe of a laminate that carries all of the axial load; 0 where no strain is left."""
        if self.axial <= 0 or self.route == LOAD_SHARING:
            return 0.0
        made: list[Value] = []
        for load in self._loads.axial:
            if load.pressure is None:
                made.append(thickness.thickness_strain_axial_no_relief(load.force, self._diameter, self._axial,
                                                                       self._allowed.axial))
            else:
                made.append(thickness.thickness_strain_axial(
                    load.force, self._diameter, self._axial, load.pressure, self._laminate("laminate.poisson_ratio"),
                    self._around, self._allowed.axial))
        return max((v.magnitude for v in made), default=0.0)

    # -- row by row ------------------------------------------------------------------------------------------------
    def asked(self, e: AtEnd, at: float, first: First) -> Asked:
        """Thickness by the route of the case. at: repair design pressure, which the section is looked at."""
        count = len(e.safe)
        out = Asked(np.full(count, self._alone), np.zeros(count), np.full(count, np.nan), np.full(count, np.nan))
        if self.route == LOAD_SHARING:
            self._sharing(e, at, first, out)
        elif self.route == YIELDED:
            self._yielded(e, at, first, out)
        elif self._by_steel:
            first.stop(~self._section.met(e.sizes, e.internal, at), AXIAL_ON_STEEL)
        else:
            out.along[:] = self._all_along
        out.required = np.fmax(out.required, np.where(np.isnan(out.required), np.nan, out.along))
        return out

    def _sharing(self, e: AtEnd, at: float, first: First, out: Asked) -> None:
        line = self._line
        bare = step(thickness.thickness_load_sharing, D=line.D, s=line.allowable, E_s=self._metal,
                    E_c=self._around.magnitude, p=self._p, p_s=e.safe)
        room = self.live < e.safe
        first.stop(~room, LIVE_ABOVE_SAFE)
        out.required = np.where(room, step(thickness.thickness_load_sharing_live, t_LS=bare, p_s=e.safe,
                                           p_live=self.live), np.nan)
        rows = np.flatnonzero(room & ~self._section.met(e.sizes, e.internal, at))
        if not len(rows):
            return
        force, stress = self._section.demands(e, rows, at)
        capacity = step(thickness.axial_capacity, F_eq=force, D=line.D, s=line.allowable, sigma_a=stress)
        along = step(thickness.thickness_load_sharing_axial, D=line.D, s=line.allowable, E_s=self._metal,
                     E_a=self._axial.magnitude, F_eq=force, p_a=capacity)
        before = self._section.stress(taken(e.sizes, rows), e.internal[rows], self.live)
        holds = before < line.allowable
        stopped = np.zeros(len(e.safe), bool)
        stopped[rows[~holds]] = True
        first.stop(stopped, LIVE_AXIAL)
        live = step(thickness.axial_load_while_wrapping, sigma_live=before, p_a=capacity, s=line.allowable)
        out.along[rows] = step(thickness.thickness_load_sharing_live, t_LS=along, p_s=capacity, p_live=live)
        out.line[rows], out.capacity[rows] = force, capacity
        out.required[stopped] = np.nan

    def _yielded(self, e: AtEnd, at: float, first: First, out: Asked) -> None:
        line, common = self._line, {"D": self._line.D, "S_y": self._smys, "E_c": self._around.magnitude}
        below = step(thickness.ligament_stress_installation, p_live=self.live, D=line.D, t_s=e.remaining) < self._smys
        first.stop(~below, LIVE_YIELDS)
        required = step(thickness.thickness_yielded_steel, p=self._p, t_s=e.remaining, eps_c=self._hoop, **common)
        yields = required > 0
        first.stop(~yields, NOT_YIELDED)
        under = self._elastic(e, np.where(yields, required, 1.0)) > self._smys
        first.stop(~under, NO_YIELD)
        out.required = np.where(below & yields & under, required, np.nan)
        if self._test is not None and self._rare is not None:
            tested = step(thickness.thickness_yielded_steel, p=self._test, t_s=e.remaining, eps_c=self._rare, **common)
            out.required = np.where(np.isnan(out.required), np.nan, np.fmax(out.required, tested))
        over = ~self._section.met(e.sizes, e.internal, at)
        if self._by_steel:
            first.stop(over & ~np.isnan(out.required), AXIAL_ON_STEEL)
        else:
            out.along[over] = self._all_along

    def _elastic(self, e: AtEnd, t_c: np.ndarray) -> np.ndarray:
        """Stress of the remaining wall under the wrap if it stayed elastic."""
        return step(thickness.ligament_stress_elastic, p=self._p, D=self._line.D, t_s=e.remaining, t_c=t_c,
                    E_c=self._around.magnitude, E_s=self._metal)

    # -- as laid ---------------------------------------------------------------------------------------------------
    def as_laid(self, e: AtEnd, asked: Asked, t_c: np.ndarray, first: First) -> None:
        """Checks of the wrap as laid, which may be thicker than required."""
        if self.route == LOAD_SHARING:
            self._shared(e, t_c, first)
            self._shared_along(asked, t_c, first)
        if self.route == YIELDED:
            first.stop(~(self._elastic(e, t_c) > self._smys), NO_YIELD_AS_LAID)
        if self._test is not None:
            self._at_test(e, asked, first)

    def _shared(self, e: AtEnd, t_c: np.ndarray, first: First) -> None:
        D, E_c = self._line.D, self._around.magnitude
        ring = step(thickness.equivalent_wall, p_s=e.safe, D=D, s=self._line.allowable)
        laid = {"D": D, "E_s": self._metal, "t_eq": ring, "E_c": E_c, "t_c": t_c}
        first.stop(~(step(thickness.wrap_strain_load_sharing, p=self._p, **laid) <= self._hoop), HOOP_STRAIN)
        if self._test is None or self._rare is None:
            return
        first.stop(~(step(thickness.wrap_strain_load_sharing, p=self._test, **laid) <= self._rare), TEST_STRAIN)
        stress = step(thickness.steel_stress_shared, p_live=self.live, p=self._test, **laid)
        first.stop(~(stress <= self._smys), TEST_STRESS)

    def _shared_along(self, asked: Asked, t_c: np.ndarray, first: First) -> None:
        rows = np.flatnonzero(asked.along > 0)
        if not len(rows):
            return
        ring = step(thickness.equivalent_wall, p_s=asked.capacity[rows], D=self._line.D, s=self._line.allowable)
        worked = step(thickness.wrap_axial_strain_load_sharing, F_eq=asked.line[rows], D=self._line.D, E_s=self._metal,
                      t_ea=ring, E_a=self._axial.magnitude, t_c=t_c[rows])
        fails = np.zeros(len(t_c), bool)
        fails[rows] = ~(worked <= self.axial)
        first.stop(fails, AXIAL_AS_LAID)

    def _at_test(self, e: AtEnd, asked: Asked, first: First) -> None:
        """The damaged section carries or shares the axial load: at the test it must hold it without the wrap."""
        if self.route not in (LOAD_SHARING, YIELDED) and not self._by_steel:
            return
        counts = ~np.isnan(asked.required) & ~((self.route == YIELDED) & (asked.along > 0))
        fails = counts & ~self._section.met(e.sizes, e.internal, self._test)
        rows = np.flatnonzero(fails)
        fails[rows] = ~(self._section.stress(taken(e.sizes, rows), e.internal[rows], self._test) <= self._smys)
        first.stop(fails, AXIAL_TEST)
