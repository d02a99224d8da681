"""Whether a wrap would hold on each anomaly that asks for a repair, with its layers and its length: a first pass.

Row i is what the design of `stages.job.run` gives for that case: the same checks in the same order, every step carried
to 12 digits as there. What does not depend on the row is asked of the stages once, without any stand-in defect; the
rest runs on arrays. Units are mm and MPa; NaN is "no answer", with a code that says why.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wrapcalc.campaign.rows import wrap_extent_rows as reach
from wrapcalc.campaign.rows.axial_rows import AxialRows
from wrapcalc.campaign.rows.interim_rows import InterimRows
from wrapcalc.campaign.rows.life_rows import LifeRows, Records
from wrapcalc.campaign.rows.method_rows import Answers, Sizes, answers, failure_of_record, governing, line_of
from wrapcalc.campaign.rows.reasons import DISPOSITIONS
from wrapcalc.campaign.rows.rounding import Rounded, steady_rows
from wrapcalc.campaign.rows.wrap_demand_rows import Asked, AtEnd, Demands, SectionRows, step, taken
from wrapcalc.campaign.rows.wrap_reasons import (
    ARRAY,
    CLASS,
    COLD_SITE,
    COMPONENT_ROUTE,
    DEEP_AT_END,
    DEPTH_TESTED,
    DESIGN_DATA,
    DIAMETER,
    ENVELOPE,
    FEW_LAYERS,
    GIRTH_WELD,
    HOT,
    LEAST_ROOM,
    LIVE_ABOVE_INTERIM,
    LONG_LIFE,
    MOST_LAYERS,
    NO_LONG_TERM,
    NO_METHOD_AT_END,
    NO_SET,
    NO_STRAIN,
    NOT_FOR_AXIAL,
    ONE_UNIT,
    OUTSIDE,
    SHEAR,
    SINGLE,
    SINGLE_CASE,
    THIN_AT_END,
    TIERS,
    TOO_NEAR,
    WAITS,
    WRAP_BASIS,
    WRAP_REASONS,
    First,
)
from wrapcalc.case import Bundle
from wrapcalc.case.model import COMPONENTS
from wrapcalc.errors import ValueWaits
from wrapcalc.formulas import growth, wrap_extent, wrap_loads
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.formulas import wrap_thickness as thickness
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages import scope
from wrapcalc.stages.assessment.kernels import SINGLE as DNV_SINGLE
from wrapcalc.stages.wrap import gate
from wrapcalc.stages.wrap.extent import counted_ply
from wrapcalc.stages.wrap.layers import component_factor
from wrapcalc.stages.wrap.loads import design_loads, repair_pressure, steel_outside
from wrapcalc.stages.wrap.routes import LOAD_SHARING, LONG_TERM, STRAIN, YIELDED
from wrapcalc.stages.wrap.strain import Gates, allowable_strain, same_equations, steel
from wrapcalc.values import Origin, Value

__all__ = ["WRAP_BASIS", "WRAP_REASONS", "WrapRows", "first_pass"]

_REPAIR, _AXIAL_NOT_MET = DISPOSITIONS.index("repair"), 2
#: Where the title of a check of the line says this, the reason is that one.
_OF_TITLE = (("Hottest service against", HOT), ("Installation temperature against", COLD_SITE),
             ("Allowable ", NO_STRAIN), ("Design life against", LONG_LIFE), ("inside the tested envelope", ENVELOPE),
             ("inside repair class", CLASS), ("Sleeve made for", DIAMETER))
_SIDES = ("clear_upstream", "clear_downstream")
#: Columns, all in mm but layers and units; "units of W mm" of each width W come besides.
_NUMBERS = ("layers", "wrap_thickness", "required_thickness", "overlap", "full_length", "cover", "end_length",
            "overall_length")
#: Reasons that leave a thickness required which means something.
_KEEP_REQUIRED = (0, FEW_LAYERS, MOST_LAYERS, NO_SET, ONE_UNIT, TOO_NEAR)


def first_pass(bundle: Bundle, rows: dict[str, np.ndarray], judged: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Wraps of the rows whose disposition is "repair", by columns; see `WrapRows.judge`."""
    return WrapRows(bundle).judge(rows, judged)


@dataclass
class _Laid:
    """What is laid on each row: layers, thickness that counts, thickness required with all factors."""

    count: np.ndarray
    t_c: np.ndarray
    required: np.ndarray


class WrapRows:
    """First-pass wraps of one line. notes: what of the line stands in the way of every row, in words."""

    def __init__(self, bundle: Bundle):
        self.notes: tuple[str, ...] = ()
        self._bundle, self._stop = bundle, 0
        missing = [f for f in scope.missing_for_design(bundle) if f.removeprefix("defect.") not in _SIDES]
        odd = "" if missing or bundle.system is None else _single_only(bundle)
        if missing or bundle.system is None:
            self._stop, self.notes = DESIGN_DATA, tuple(f"not stated: {f}" for f in missing)
        elif odd:
            self._stop, self.notes = SINGLE_CASE, (odd,)
        else:
            try:
                with recording(Recorder()):
                    self._prepare(bundle)
            except ValueWaits as e:
                self._stop, self.notes = WAITS, (str(e),)

    def _prepare(self, bundle: Bundle) -> None:
        """What is the same for every row."""
        case, tables, system = bundle.case, bundle.tables, bundle.system
        assert system is not None
        self._line = line = line_of(bundle)
        self._section = SectionRows(bundle, line, AxialRows(bundle, line))
        self._live = case.get("service.installation_pressure").base
        self._years = case.get("design.design_life").base
        self._growth = _growth(bundle)
        self._corroding = case.service.internal_corrosion != "none"
        same_equations(bundle)
        self._pressure = p = repair_pressure(bundle)
        self._least_wall = tables.value(case.design.standard, "minimum_remaining_wall").magnitude
        loads = design_loads(bundle, p, None, None, p, Gates())
        self._shear = tuple(0.0 if (g := case.get(f"service.{n}")) is None else g.base
                            for n in ("shear_force", "torsion"))
        gates = Gates()
        self._allowed = allowed = allowable_strain(bundle, gates)
        gate.envelope(bundle, p, None, gates)
        gate.repair_class(bundle, p, gates)
        self._fixed = [next(code for words, code in _OF_TITLE if words in c.title) for c in gates.failed]
        self.notes = tuple(c.title for c in gates.failed)
        self._deepest = system.value("envelope.depth_max").magnitude
        self._inside(case.service.inside_repair, case.design.design_method)
        self._steel_outside = 0.0
        if loads.outside is not None and case.design.design_method in (LOAD_SHARING, YIELDED):
            needed = Gates()
            steel_outside(bundle, loads.outside, Value(line.nominal, "mm", Origin("table", "stand-in")),
                          steel(bundle).modulus, needed)
            limit = needed.checks[0].limit
            assert limit is not None
            self._steel_outside = limit.magnitude
        self._interim = InterimRows(bundle)
        self._no_test = case.design.design_method == LONG_TERM and system.long_term is None
        if allowed is not None and not self._no_test:
            self._prepare_layers(bundle, Demands(bundle, loads, allowed, line, self._section))

    def _inside(self, inside: str | None, route: str | None) -> None:
        """Gates on what is inside the repair."""
        assert self._bundle.system is not None
        if inside == "girth weld" and self._bundle.system.ends.over_girth_weld != "yes":
            self._fixed.append(GIRTH_WELD)
        if inside in COMPONENTS and route not in (STRAIN, LONG_TERM):
            self._fixed.append(COMPONENT_ROUTE)

    def _prepare_layers(self, bundle: Bundle, demands: Demands) -> None:
        """How a thickness becomes layers, and how far they reach."""
        case, tables, system = bundle.case, bundle.tables, bundle.system
        assert system is not None
        self._demands = demands
        self._ply = counted_ply(bundle).magnitude
        factor = component_factor(bundle)
        self._factor = None if factor is None else factor.magnitude
        self._for_axial = system.laminate.carries_axial == "yes"
        self._tiers = 0.0
        if system.is_sleeve:
            stated = case.get("design.tiers")
            self._tiers = 1.0 if stated is None else max(1.0, stated.base)
            self._of_one = system.value("sleeve.layers").magnitude
            self._most = system.value("sleeve.most_tiers").magnitude
        else:
            self._least = max(system.value("lay_up.least_layers").magnitude,
                              tables.value(case.design.standard, "minimum_layers").magnitude)
            self._most = system.value("lay_up.most_layers").magnitude
        self._waits_bond = self._waits_room = False
        bond = room = None
        try:
            bond = reach.bond_factor(bundle)
        except ValueWaits:
            self._waits_bond = True
        try:
            room = reach.least_room(bundle)
        except ValueWaits:
            self._waits_room = True
        self._extents = reach.Extents(bundle, bond_factor=bond, least_room=room)
        self._sets = reach.UnitSets(bundle)

    # -- all rows --------------------------------------------------------------------------------------------------
    def judge(self, rows: dict[str, np.ndarray], judged: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
        """Columns by name, for every row; filled where the disposition is "repair".

        rows: as `Screener.judge` takes them, and clear_upstream, clear_downstream (mm from the edges of the measured
        damage; without them those of the template); judged: what it gave back.

        wrap_feasible; wrap_reason, a code of WRAP_REASONS; wrap_basis, of WRAP_BASIS; layers; in mm wrap_thickness
        (that counts), required_thickness, overlap (each side), full_length (required at full thickness), cover (of the
        set of units), end_length, overall_length; units, and "units of W mm" of each width. Numbers stand where a wrap
        is feasible, the thickness required also where layers, units or room are too few for it.
        """
        count = len(judged["disposition"])
        out: dict[str, np.ndarray] = {"wrap_feasible": np.zeros(count, bool), "wrap_reason": np.zeros(count, np.uint8),
                                      "wrap_basis": np.zeros(count, np.uint8)}
        widths = [w.magnitude for w in self._bundle.system.unit_widths] if self._bundle.system is not None else []
        units = ("units", *dict.fromkeys(f"units of {w:g} mm" for w in widths))
        out |= {n: np.full(count, np.nan) for n in (*_NUMBERS, *units)}
        at = np.flatnonzero(judged["disposition"] == _REPAIR)
        out["wrap_basis"][at] = SINGLE if self._stop == SINGLE_CASE else ARRAY
        clear = [self._clear(rows, n, at) for n in _SIDES]
        known = ~np.isnan(clear[0]) & ~np.isnan(clear[1])
        out["wrap_reason"][at] = self._stop or np.where(known, 0, DESIGN_DATA)
        if self._stop or not known.any():
            return out
        at, clear = at[known], [c[known] for c in clear]
        beside = reach.Beside(clear[0], clear[1], np.asarray(rows["length"], float)[at])
        with np.errstate(all="ignore"), recording(Recorder()):
            part = self._worked({n: np.asarray(rows[n])[at] for n in ("depth", "length", "width", "internal")},
                                {n: np.asarray(judged[n])[at] for n in ("wall", "depth_used", "length_used", "axial")},
                                beside)
        for name, values in part.items():
            out[name][at] = values
        return out

    def _clear(self, rows: dict[str, np.ndarray], name: str, at: np.ndarray) -> np.ndarray:
        if name in rows:
            return np.asarray(rows[name], float)[at]
        stated = self._bundle.case.get(f"defect.{name}")
        return np.full(len(at), np.nan if stated is None else stated.base)

    def _worked(self, rows: dict[str, np.ndarray], judged: dict[str, np.ndarray], beside: reach.Beside
                ) -> dict[str, np.ndarray]:
        line, how = self._line, Rounded()
        wall, depth, length = (steady_rows(judged[n]) for n in ("wall", "depth_used", "length_used"))
        today = Sizes(wall, depth, length, step(strength.relative_depth, d=depth, t=wall), np.asarray(rows["width"],
                                                                                                      float))
        found = answers(line, today, how)
        safe, code = governing(line, found, len(wall), how)
        first = First(len(wall))
        self._held(today, rows["internal"], safe, failure_of_record(line, found, code), judged["axial"], first)
        end = self._at_end(today, rows, found, safe, first)
        left = end.remaining >= self._least_wall
        first.stop(~left, THIN_AT_END)
        if any(self._shear):
            self._sheared(end, first)
        for stopped in self._fixed[:1]:
            first.stop(True, stopped)
        first.stop(~(end.sizes.share <= self._deepest), DEPTH_TESTED)
        first.stop(~(end.remaining >= self._steel_outside), OUTSIDE)
        if self._no_test:
            first.stop(True, NO_LONG_TERM)
        if self._allowed is None or self._no_test:
            return {"wrap_reason": first.code}
        asked = self._demands.asked(end, self._pressure.magnitude, first)
        asked.required = np.where(left & ~np.isnan(end.safe), asked.required, np.nan)
        return self._laid(end, asked, beside, first)

    # -- before the route --------------------------------------------------------------------------------------------
    def _held(self, s: Sizes, internal: np.ndarray, safe: np.ndarray, failure: np.ndarray, axial: np.ndarray,
              first: First) -> None:
        """The installation pressure against the interim limit."""
        over = ~(self._live <= self._interim.limit(safe, failure))
        rows = np.flatnonzero(axial == _AXIAL_NOT_MET)
        if len(rows):
            # The greatest stress is convex in the pressure: inside its limit without pressure and at this one, it is so
            # between. Where it is not inside without pressure no pressure limit mends it, and none is set.
            bare, now = (self._section.met(taken(s, rows), internal[rows], at) for at in (0.0, self._live))
            over[rows] |= bare & ~now
        first.stop(over, LIVE_ABOVE_INTERIM)

    def _at_end(self, s: Sizes, rows: dict[str, np.ndarray], found: Answers, safe: np.ndarray, first: First) -> AtEnd:
        """Sizes and safe pressure at the end of the repair's life: external loss stops under a wrap."""
        line, how = self._line, Rounded()
        goes_on = (rows["internal"] != 0) | self._corroding
        if self._growth is None and self._bundle.case.growth.basis is not None:
            # Growth is stated, but no life is worked out where DNV-RP-F101 governs under loads: nothing is said here.
            first.stop(goes_on, SINGLE_CASE)
        if self._growth is not None and goes_on.any():
            grown = self._growth.grown(s, np.asarray(rows["depth"], float), np.asarray(rows["length"], float), how)
            depth = step(growth.depth_after, d=s.depth, r=grown.rate, T=self._years)
            length = step(growth.depth_after, d=s.length, r=grown.length_rate, T=self._years)
            depth, length = np.where(goes_on, depth, s.depth), np.where(goes_on, length, s.length)
            share = step(strength.relative_depth, d=depth, t=np.minimum(s.wall, line.nominal))
            deep = goes_on & ~(share <= line.depth_limit)
            first.stop(deep, DEEP_AT_END)
            inner = np.where(deep, 0.5 * s.wall, depth)
            then = Sizes(s.wall, inner, length, step(strength.relative_depth, d=inner, t=s.wall), s.width)
            lowest, code = governing(line, answers(line, then, how), len(depth), how)
            first.stop(goes_on & (code == 0), NO_METHOD_AT_END)
            s, safe = then, np.where(deep, np.nan, np.where(goes_on, lowest, safe))
        return AtEnd(s, rows["internal"], safe, step(thickness.remaining_wall, t=s.wall, d=s.depth))

    def _sheared(self, e: AtEnd, first: First) -> None:
        """Shear of the remaining wall by shear force and torsion, without pressure."""
        force, torsion = self._shear
        ring = step(wrap_loads.ring_mean_diameter, D=self._line.D, t=e.sizes.wall, t_s=e.remaining)
        stress = step(wrap_loads.shear_stress, F_sh=force, M_to=torsion, D_m=ring, t_s=e.remaining)
        limit = step(wrap_loads.allowable_shear, s=self._line.allowable)
        first.stop(~(stress <= limit), SHEAR)

    # -- layers and extent -------------------------------------------------------------------------------------------
    def _lay(self, thick: np.ndarray, factor: np.ndarray) -> _Laid:
        """Layers for a thickness, with the factors of component and room."""
        required = thick
        for f in (self._factor, factor):
            if f is not None:
                required = np.where(f == 1, required, step(thickness.design_thickness, t_max=required, f_m=f))
        if self._tiers:
            count = np.full(len(thick), self._tiers * self._of_one)
        else:
            count = step(thickness.layers_required, t_req=required, t_ply=self._ply, n_min=self._least)
        return _Laid(count, step(thickness.wrap_thickness, n=count, t_ply=self._ply), required)

    def _laid(self, e: AtEnd, asked: Asked, beside: reach.Beside, first: First) -> dict[str, np.ndarray]:
        x, strain = self._extents, self._demands.axial
        worked = ~np.isnan(asked.required)
        first.stop(~worked, SINGLE_CASE)  # never without a reason
        along = asked.along > 0
        if not self._for_axial:
            first.stop(along, NOT_FOR_AXIAL)
        if self._waits_bond:
            first.stop(along, WAITS)
        thick = np.where(worked, asked.required, 1.0)

        def tried(factor: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            laid = self._lay(thick, factor)
            return laid.count, laid.t_c

        need, room = x.room(tried, along, strain, beside)
        short = ~np.isnan(room)
        first.stop(short & (not self._waits_room) & ~(room >= (x.least_room or 0.0)), LEAST_ROOM)
        first.stop(short & self._waits_room, WAITS)
        laid = self._lay(thick, x.room_factor(need, room))
        first.stop(self._tiers > self._most if self._tiers else laid.count > self._most,
                   TIERS if self._tiers else MOST_LAYERS)
        first.stop(~(laid.t_c >= laid.required), FEW_LAYERS)
        self._demands.as_laid(e, asked, laid.t_c, first)
        out = self._reach(e, laid, along, beside, worked, first)
        return self._told(out, laid, first)

    def _reach(self, e: AtEnd, laid: _Laid, along: np.ndarray, beside: reach.Beside, worked: np.ndarray, first: First
               ) -> dict[str, np.ndarray]:
        x, sets = self._extents, self._sets
        length = e.sizes.length
        overlap = x.overlap(along, self._demands.axial, laid.t_c)
        single = along & ~x.lap_carries(self._demands.axial, laid.t_c)
        end = x.end(laid.count, laid.t_c)
        room, side = x.short_side(beside, overlap, end)
        up, down = (np.where(~np.isnan(room) & (side == s), room, overlap) for s in (-1, 1))
        full = np.where(np.isnan(room), step(wrap_extent.full_thickness_length, L=length, L_o=overlap),
                        step(wrap_extent.full_thickness_length_uneven, L=length, L_o=overlap, L_av=room))
        start = -length / 2 - up
        placed = sets.place((start, start + full), (-length / 2 - sets.off, length / 2 + sets.off),
                            x.bounds(beside, end), end, single)
        cover = sets.cover(placed.chosen, end)
        # A joint is looked for beside the damage within what must be covered: elsewhere the single design looks closer.
        if sets.butted:
            first.stop((up < sets.off) | (down < sets.off), SINGLE_CASE)
        fits = cover >= full
        first.stop(~fits & single, ONE_UNIT)
        first.stop(~fits, NO_SET)
        near = worked & fits & placed.crowded & (first.code != SINGLE_CASE)
        first.code[near] = TOO_NEAR  # told before all others, as in the single case
        return {"overlap": overlap, "full_length": full, "cover": cover, "end_length": end,
                "overall_length": step(wrap_extent.overall_length, L_cov=cover, L_e=end)} | sets.counts(placed.chosen)

    def _told(self, out: dict[str, np.ndarray], laid: _Laid, first: First) -> dict[str, np.ndarray]:
        """What may be told of each row; numbers of a wrap that does not hold are struck."""
        holds = first.code == 0
        out |= {"layers": laid.count, "wrap_thickness": laid.t_c}
        out = {n: np.where(holds, v, np.nan) for n, v in out.items()}
        keep = np.isin(first.code, _KEEP_REQUIRED)
        return out | {"required_thickness": np.where(keep, laid.required, np.nan), "wrap_feasible": holds,
                      "wrap_reason": first.code,
                      "wrap_basis": np.where(first.code == SINGLE_CASE, np.uint8(SINGLE), np.uint8(ARRAY))}


def _single_only(bundle: Bundle) -> str:
    """Why the whole line is worked as single cases only, "" where it is not."""
    if not scope.is_loss(bundle) or bundle.grid or bundle.profile or bundle.pits:
        return "the template is no metal loss of one depth and one length"
    return reach.only_single(bundle)


def _growth(bundle: Bundle) -> LifeRows | None:
    """What grows under a wrap, as in the single case; None where it works out no life."""
    line = line_of(bundle)
    if bundle.case.growth.basis is None or (line.keys == (DNV_SINGLE,) and (line.axial_force or line.bending)):
        return None
    records = Records(bundle, line)
    return LifeRows(bundle, line, records) if records.by else None
