"""Can a wrap restore the pipe? Gates, loads, strains, routes to a thickness, layers, extent, in this order."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from wrapcalc.case import Bundle
from wrapcalc.case.design_model import THICKER
from wrapcalc.case.model import COMPONENTS
from wrapcalc.checks import Check
from wrapcalc.formulas import wrap_thickness as thickness
from wrapcalc.recorder import Recorder, active, recording
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.assessment.axial import axial_state
from wrapcalc.stages.assessment.life import Life
from wrapcalc.stages.assessment.restriction import Interim, interim_limit
from wrapcalc.stages.scope import discovery_fraction
from wrapcalc.stages.site.keep_out import deepest_stations
from wrapcalc.stages.wrap import extent as reach
from wrapcalc.stages.wrap import gate, through_wall
from wrapcalc.stages.wrap.after_layers import checks_as_laid
from wrapcalc.stages.wrap.end_of_life import worn
from wrapcalc.stages.wrap.extent import Extent
from wrapcalc.stages.wrap.layers import Layers, component_factor, lay, slender
from wrapcalc.stages.wrap.loads import Loads, design_loads, repair_pressure, steel_outside
from wrapcalc.stages.wrap.routes import (
    ALONG,
    LOAD_SHARING,
    LONG_TERM,
    STRAIN,
    YIELDED,
    Demand,
    Route,
    Work,
    leak_routes,
    routes,
)
from wrapcalc.stages.wrap.strain import Allowed, Gates, allowable_strain, same_equations, steel
from wrapcalc.stages.wrap.zones import Zone, zones
from wrapcalc.standards.documents import ISO_24817
from wrapcalc.values import Value

__all__ = ["LOAD_SHARING", "LONG_TERM", "STRAIN", "YIELDED", "Design", "Route", "design"]


@dataclass(frozen=True)
class Design:
    """What the design hands on. remaining_wall: at the end of the repair's life, None for an opening through the wall.

    opening: of a leak; at_end: the damage that was designed for; failed: gates and checks that are not met.
    """

    pressure: Value
    remaining_wall: Value | None
    routes: tuple[Route, ...]
    interim: Interim
    loads: Loads | None = None
    allowed: Allowed | None = None
    laid: Layers | None = None
    ply: Value | None = None
    extent: Extent | None = None
    opening: through_wall.Opening | None = None
    at_end: Assessment | None = None
    work: Work | None = field(default=None, repr=False)
    factors: tuple[Value, ...] = ()
    failed: tuple[Check, ...] = ()

    @property
    def clear(self) -> tuple[Check, ...]:
        """The checks that it stays clear of welds, bends, fittings and other repairs."""
        return self.extent.clear if self.extent else ()

    @property
    def fits(self) -> bool:
        """The repair stays clear of welds, bends, fittings and other repairs."""
        return all(c.met for c in self.clear)

    @property
    def holds(self) -> bool:
        """Every gate and check of the chosen design is met, and there is a design to speak of."""
        return not self.failed and self.extent is not None and self.laid is not None

    @property
    def chosen(self) -> Route | None:
        """The route of record; None for an opening, where the leak and the laminate both decide."""
        return next((r for r in self.routes if r.chosen), None)

    @property
    def layers(self) -> Value | None:
        """Layers in all."""
        return self.laid.count if self.laid else None

    @property
    def wrap_thickness(self) -> Value | None:
        """Thickness that counts."""
        return self.laid.thickness if self.laid else None


def design(bundle: Bundle, a: Assessment, life: Life | None = None) -> Design:
    """Design the wrap for a case whose fields for it are all answered. `a.governing` must exist.

    What the wrap is designed for is the damage at the end of its life.
    """
    case, rec, system = bundle.case, active(), bundle.system
    assert system is not None and a.governing is not None
    gates = Gates()
    interim = _interim(bundle, a, gates)
    at_end = worn(bundle, a, life, gates)
    rec.begin("Repair design pressure and remaining wall")
    same_equations(bundle)
    p = repair_pressure(bundle)
    if at_end is None:
        return Design(p, None, (), interim, failed=gates.failed)
    a = at_end
    remaining = thickness.remaining_wall(a.wall, a.greatest)
    least = bundle.tables.entry(case.design.standard, "minimum_remaining_wall")
    left = rec.check("Remaining wall at the end of life", remaining, ">=", least.value(), citation=least.citation,
                     status=least.status, kind="gate", note="thinner is designed as through-wall")
    gates.add(left)
    loads = _loads(bundle, p, a.wall, remaining, a.allowable, gates)
    assert a.section is not None
    work_axial = axial_state(bundle, a.section, p, a.allowable, "repair design pressure", for_wrap=True)
    rec.begin("Temperature and allowable strain")
    allowed = allowable_strain(bundle, gates)
    rec.begin("Tested envelope")
    gate.envelope(bundle, p, a.greatest_share, gates)
    gate.repair_class(bundle, p, gates)
    _inside_component(bundle, gates)
    base = Design(p, remaining, (), interim, loads, allowed, at_end=a)
    if not left.met:
        return replace(base, failed=gates.failed)
    work = Work(bundle, a, loads, remaining, allowed, steel(bundle), work_axial)
    if loads.outside is not None and case.design.design_method in (LOAD_SHARING, YIELDED):
        steel_outside(bundle, loads.outside, remaining, work.metal.modulus, gates)
    found = routes(work, gates)
    base = replace(base, routes=found, work=work)
    chosen = next(r for r in found if r.chosen)
    if chosen.required is None or allowed is None:
        return replace(base, failed=gates.failed)
    return _laid(bundle, base, chosen.demands, gates)


def design_leak(bundle: Bundle, allowable: Value) -> Design:
    """Design the wrap over an opening through the wall: the leak equation and the laminate alone both decide."""
    rec, gates = active(), Gates()
    interim = _interim(bundle, None, gates)
    rec.begin("Repair design pressure and remaining wall")
    same_equations(bundle)
    p = repair_pressure(bundle)
    through_wall.gates_of_leak(bundle, gates)
    loads = _loads(bundle, p, None, None, allowable, gates)
    rec.begin("Temperature and allowable strain")
    allowed = allowable_strain(bundle, gates, through_wall=True)
    rec.begin("Tested envelope")
    gate.envelope(bundle, p, None, gates)
    gate.repair_class(bundle, p, gates)
    _inside_component(bundle, gates)
    base = Design(p, None, (), interim, loads, allowed)
    assert bundle.system is not None
    if allowed is None or bundle.system.through_wall is None:
        return replace(base, failed=gates.failed)
    rec.begin("Opening through the wall")
    opening = through_wall.opening_thickness(bundle, loads, allowed, gates)
    base = replace(base, opening=opening)
    if opening.required is None:
        return replace(base, failed=gates.failed)
    found = leak_routes(Work(bundle, None, loads, None, allowed, steel(bundle), None), gates)
    base = replace(base, routes=found)
    chosen = next((r for r in found if r.chosen), None)
    if chosen is None or chosen.required is None:
        return replace(base, failed=gates.failed)
    over = (Demand("over the opening", opening.required, "leak equation"),
            Demand("impact", bundle.system.value("through_wall.impact_thickness"), "test over a hole"))
    whole = replace(chosen, demands=(*chosen.demands, *over))
    base = replace(base, routes=tuple(whole if r is chosen else r for r in found))
    return _laid(bundle, base, whole.demands, gates)


def _interim(bundle: Bundle, a: Assessment | None, gates: Gates) -> Interim:
    """Limit until the repair; the pressure while wrapping must not be above it."""
    interim = interim_limit(bundle, a)
    entry = discovery_fraction(bundle)
    gates.add(active().check("Installation pressure against the interim limit",
                             bundle.case.value("service.installation_pressure"), "<=", interim.limit,
                             citation=entry.citation, status=entry.status, kind="gate"))
    return interim


def _loads(bundle: Bundle, p: Value, wall: Value | None, remaining: Value | None, allowable: Value, gates: Gates
           ) -> Loads:
    active().begin("Loads on the wrap")
    return design_loads(bundle, p, wall, remaining, allowable, gates)


def _inside_component(bundle: Bundle, gates: Gates) -> None:
    """In a bend, tee, reducer or flange only a laminate that carries all; over a girth weld if the sheet allows."""
    rec, case, system = active(), bundle.case, bundle.system
    assert system is not None
    inside = case.service.inside_repair
    if inside == "girth weld":
        gates.add(rec.gate("Repair over a girth weld", system.ends.over_girth_weld == "yes",
                           system.ends.over_girth_weld, "yes in the sheet", citation=f"sheet of {system.system.id}",
                           status="system sheet"))
        rec.assume("Filler brings the pipe beside the girth weld level with its cap before the wrap is laid.",
                   "common practice")
    if inside in COMPONENTS:
        route = case.design.design_method
        gates.add(rec.gate(f"Route inside a {inside}", route in (STRAIN, LONG_TERM), route,
                           f"{STRAIN} or {LONG_TERM}: the remaining strength of a {inside} is not assessed here",
                           citation=ISO_24817.id, status="from memory"))


def _laid(bundle: Bundle, base: Design, demands: tuple[Demand, ...], gates: Gates) -> Design:
    """Layers, checks on them, and the extent, for the demands of the route of record."""
    rec, case, system = active(), bundle.case, bundle.system
    assert system is not None and base.allowed is not None
    rec.begin("Layers and wrap thickness")
    ply = reach.counted_ply(bundle)
    along = next((d for d in demands if d.what == ALONG and d.required.magnitude > 0), None)
    if along is not None:
        gates.add(rec.gate("Laminate qualified to carry axial load", system.laminate.carries_axial == "yes",
                           system.laminate.carries_axial, "yes in the sheet: hoop-only cloth leaves all axial load to "
                           "the steel", citation=f"sheet of {system.system.id}", status="system sheet"))
    factors = [f for f in (component_factor(bundle),) if f is not None]
    if case.design.limited_room == THICKER:
        room = _room(bundle, base, demands, ply, factors, along is not None)
        if room is not None:
            factor = reach.room_factor(bundle, *room, gates)
            if factor is None:  # there is no place for any overlap that the standard knows
                return replace(base, failed=gates.failed)
            factors.append(factor)
    laid = lay(bundle, demands, ply, factors, gates)
    base = replace(base, laid=laid, ply=ply, factors=tuple(factors))
    checks_as_laid(bundle, base, gates)
    slender(bundle, laid.thickness)
    rec.begin("Extent, ends and units")
    if base.opening is not None:
        through_wall.validity(bundle, base.opening.size, laid.thickness, gates)
    overlap = _overlap(bundle, base, laid, along is not None)
    single = along is not None and not reach.lap_carries(bundle, base.allowed.axial, laid.thickness)
    deepest = deepest_stations(bundle, base.at_end.shape if base.at_end is not None else None)
    made = reach.lay_repairs(bundle, _zones(bundle, base, overlap), overlap, laid.count, laid.thickness, gates,
                             single=single, deepest=deepest)
    return replace(base, extent=made, failed=gates.failed)


def _overlap(bundle: Bundle, base: Design, laid: Layers, axial: bool) -> Value:
    assert base.allowed is not None
    overlap = reach.overlap_of(bundle, base.opening.size if base.opening else None)
    return reach.with_bond(bundle, overlap, base.allowed.axial, laid.thickness) if axial else overlap


def _zones(bundle: Bundle, base: Design, overlap: Value) -> tuple[Zone, ...]:
    if base.at_end is not None:
        return zones(bundle, base.at_end, overlap)
    assert base.opening is not None
    return (through_wall.zone(bundle, base.opening),)


def _room(bundle: Bundle, base: Design, demands: tuple[Demand, ...], ply: Value, factors: list[Value], axial: bool
          ) -> tuple[Value, Value] | None:
    """(overlap required, overlap that there is room for) where it does not fit; the end of a thicker wrap is longer.

    Tried in a recorder of its own, layer by layer, until the number of layers stays.
    """
    last, found = -1.0, None
    for _ in range(40):
        with recording(Recorder(bundle.case.display)) as trial:
            trial.begin("Layers and wrap thickness")
            factor = None if found is None else reach.room_factor(bundle, *found, Gates())
            if found is not None and factor is None:
                break  # the thicker wrap leaves less than the least room: its gate says so
            tried = list(factors) + ([] if factor is None else [factor])
            laid = lay(bundle, demands, ply, tried, Gates())
            overlap = _overlap(bundle, base, laid, axial)
            short = reach.room_on_short_side(bundle, overlap, reach.heights(bundle, laid.count, laid.thickness)[2])
            if short is None:
                return None
            if laid.count.magnitude == last:
                break
            last, found = laid.count.magnitude, (overlap, short[0])
    assert found is not None
    names = ("overlap required", "overlap that there is room for")
    out = active().procedure(
        "Overlap that there is room for", "the end of the wrap grows with its layers and takes room from the overlap: "
        "repeated until the number of layers stays", ISO_24817.id, "from memory",
        {"distance upstream": bundle.case.value("defect.clear_upstream"),
         "distance downstream": bundle.case.value("defect.clear_downstream"), "thickness of a layer": ply},
        {n: (v.magnitude, "mm") for n, v in zip(names, found, strict=True)}, [("layers", f"{last:.0f}")])
    return out[names[0]], out[names[1]]
