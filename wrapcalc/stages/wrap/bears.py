"""What the repair can bear: the pressure it restores, its use over more layers, how far each input may go, the box.

All of it is information beside the design but the restored pressure and the box: the crew stops where the box ends.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wrapcalc import units
from wrapcalc.case import Bundle
from wrapcalc.case.model import PLANT
from wrapcalc.formulas import pressure
from wrapcalc.recorder import active
from wrapcalc.searches import design_space as space
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.assessment.axial import has_loads
from wrapcalc.stages.assessment.sound_pipe import code_pressure, least_share_of_nominal
from wrapcalc.stages.scope import code
from wrapcalc.stages.wrap.chain import DEPTH, HOT, LENGTH, OPENING, PRESSURE, UNITS, WALL, WIDTH, Chain
from wrapcalc.stages.wrap.design import Design
from wrapcalc.stages.wrap.strain import is_asme
from wrapcalc.standards.documents import ISO_24817, MECHANICS
from wrapcalc.values import Value

#: Further layers whose use is shown beside that of the layers designed.
_MORE = 4
#: Width of a bracket at its end, over the size of what is searched for.
_NARROW = 1e-9
#: Points at which an input is looked at between the design and its end, before the bracket is closed.
_POINTS = 96
#: What the ditch shows: the box holds for all of these at once.
IN_THE_BOX = (DEPTH, LENGTH, WIDTH, WALL, OPENING)
#: What ends the way of each input where no check of the method of record does.
_END_OF = {PRESSURE: "the highest pressure that was tested, or of the repair class",
           HOT: "the hottest service that was tested, or of the repair class",
           DEPTH: "the depth limit of the line code or of the tests, or the least remaining wall",
           LENGTH: "the cover as laid, its joints, or the room to welds and other repairs",
           WIDTH: "the whole circumference", OPENING: "the largest opening that was tested",
           WALL: "the depth limit, the least remaining wall, or the least share of the nominal wall"}
#: Steps to which the edges of the box are rounded, towards the design; finer where there is less room.
_STEPS = {"SI": {DEPTH: 0.1, LENGTH: 5.0, WIDTH: 5.0, WALL: 0.1, OPENING: 0.5},
          "US": {DEPTH: 0.127, LENGTH: 6.35, WIDTH: 6.35, WALL: 0.127, OPENING: 0.635}}


@dataclass(frozen=True)
class Bears:
    """restored: pressure that the repair restores; uses: (layers, use, designed); edges: of the envelope, by input.

    limits: the same for the page; box: limits that hold all at once, as the ditch shows them.
    """

    restored: Value
    uses: tuple[tuple[int, Value, bool], ...]
    edges: dict[str, space.Edge]
    limits: tuple[Limit, ...]
    box: tuple[BoxSide, ...]


@dataclass(frozen=True)
class Limit:
    """How far one input may go by itself. value: with allowances and growth, as calculated; why: what ends it."""

    name: str
    value: Value
    designed: float
    why: str


@dataclass(frozen=True)
class BoxSide:
    """One side of the box. edge: greatest or least reading; designed: reading of the case, in the unit of the edge.

    A reading is what a gauge shows: without measuring allowance, and today, before any growth.
    """

    name: str
    edge: Value
    designed: float
    at_most: bool


def bears(bundle: Bundle, a: Assessment | None, d: Design, chain: Chain) -> Bears:
    """What a design that holds can bear."""
    rec = active()
    rec.begin("Restored pressure")
    restored = restored_pressure(bundle, a, d, chain)
    uses = uses_over_layers(bundle, d, chain)
    rec.begin("Design envelope")
    found = {name: _edge(bundle, d, chain, name, toward) for name, toward in _ends(bundle, d, chain).items()}
    edges = {name: edge for name, (edge, _) in found.items()}
    return Bears(restored, uses, edges, tuple(limit for _, limit in found.values()), _box(bundle, chain, edges))


def restored_pressure(bundle: Bundle, a: Assessment | None, d: Design, chain: Chain) -> Value:
    """The pressure for which the layers as designed hold, capped by everything else that bounds it."""
    case, rec, system = bundle.case, active(), bundle.system
    assert system is not None and d.laid is not None
    high = _ends(bundle, d, chain).get(PRESSURE)
    found = space.Edge(PRESSURE, d.pressure.magnitude, d.pressure.magnitude, None, float(chain.use({})[0]), 0,
                       "the design stands at the end of what was tested")
    if high is not None:
        found = space.farthest_holding(chain.use, chain.base, PRESSURE, high, tolerance=_NARROW * high, points=_POINTS)
    layers = rec.procedure(
        "Pressure for which the layers as designed hold", "bisection on the use of the wrap by the method of record, "
        "from the repair design pressure up to the highest tested; the side of the bracket that holds", ISO_24817.id,
        "from memory", {"layers": d.laid.count, "repair design pressure": d.pressure},
        {"pressure": (found.value, "MPa")}, [("bracket", found.words), ("use there", f"{found.use_at_value:.4f}")]
    )["pressure"]
    restored = case.optional("service.lowered_maop") or case.value("service.maop")
    out = rec.named(pressure.lower_pressure(layers, restored), "Restored pressure, not above the MAOP asked for")
    if case.service.service != PLANT or a is not None:
        sound = rec.named(code_pressure(bundle, a.design_factor if a else None, case.value("pipe.nominal_wall") if
                                        a is None or a.design_factor is not None else a.wall),
                          "Code design pressure of the sound pipe, for the restored pressure")
        if case.service.maop_basis is None:
            out = rec.named(pressure.lower_pressure(out, sound),
                            "Restored pressure, not above the code design pressure")
    for i, r in enumerate(case.restriction):
        if r.pressure is not None and r.pressure.base < out.magnitude:
            out = rec.named(pressure.lower_pressure(out, case.value(f"restriction.{i}.pressure")),
                            f"Restored pressure, {r.reference} included")
            rec.warn(f"The pressure stays at {out.show(case.display)} after the repair: {r.reference} is still open in "
                     "this section.", out.origin.ref)
    rec.check("Restored pressure against the MAOP asked for", out, ">=", restored, citation=ISO_24817.id,
              status="from memory", kind="information", note="" if out.magnitude >= restored.magnitude else
              "what is below it is bounded by another restriction, not by the wrap")
    return out


def uses_over_layers(bundle: Bundle, d: Design, chain: Chain) -> tuple[tuple[int, Value, bool], ...]:
    """Use of the wrap over the layers designed and more; fewer are never offered."""
    system, rec = bundle.system, active()
    assert system is not None and d.laid is not None
    count = int(d.laid.count.magnitude)
    if system.is_sleeve:
        of_one = int(system.value("sleeve.layers").magnitude)
        most = int(system.value("sleeve.most_tiers").magnitude)
        counts = [of_one * k for k in range(d.laid.tiers, max(most, d.laid.tiers) + 1)]
    else:
        most = int(system.value("lay_up.most_layers").magnitude)
        counts = [n for n in range(count, count + _MORE + 1) if n <= most]
    found = {n: float(chain.use({}, n)[0]) for n in counts}
    found = {n: u for n, u in found.items() if np.isfinite(u)}
    out = rec.procedure("Use of the wrap over more layers", "every check of the method of record at the thickness of "
                        "so many layers; fewer layers than designed are not offered", ISO_24817.id, "from memory",
                        {"layers": d.laid.count, "thickness required": d.laid.required},
                        {f"use of {n} layers": (u, "") for n, u in found.items()})
    return tuple((n, out[f"use of {n} layers"], n == count) for n in found)


def _ends(bundle: Bundle, d: Design, chain: Chain) -> dict[str, float]:
    """How far each input may be looked at: limits of the code, of the system's tests and of the length as laid."""
    case, system, tables = bundle.case, bundle.system, bundle.tables
    assert system is not None and d.allowed is not None and d.extent is not None
    out = {PRESSURE: system.value("envelope.pressure_max").magnitude,
           HOT: min(d.allowed.upper.magnitude, system.value("envelope.service_temperature_max").magnitude)}
    grade = case.design.repair_class
    if grade in ("1", "2") and not is_asme(bundle):
        for name, of_class in ((PRESSURE, "pressure"), (HOT, "temperature")):
            limit = tables.value(case.design.standard, f"class_{grade}_{of_class}").magnitude
            out[name] = min(out[name], limit * (1 - _NARROW))
    if has_loads(bundle) and case.service.restraint in ("restrained", "unknown"):
        del out[HOT]  # heat pushes a held pipe together: that is worked at the temperatures of the case only
    laid = [r for r in d.extent.repairs if r.layout is not None]
    # With little room the length of the damage decides how much there is: it is not looked at beyond the design.
    if d.extent.room is None:
        spare = min(r.layout.cover.magnitude - r.full.magnitude - 2 * abs(r.shift)  # type: ignore[union-attr]
                    for r in laid)
        # Damage that is longer at one end brings the wrap nearer to what is there by half as much.
        slack = min((2 * abs(c.limit.magnitude - c.provided.magnitude) for c in d.clear
                     if c.limit is not None and c.provided is not None), default=math.inf)
        # A set whose joints stay off the damage is laid for that: longer damage would come under a joint.
        off = [r.layout.off_joints - r.length.magnitude for r in laid]  # type: ignore[union-attr]
        out[LENGTH] = chain.base[LENGTH] + min([spare, slack, *(o for o in off if o >= 0)])
    if d.at_end is None:
        assert system.through_wall is not None
        if d.extent.room is None:
            out[OPENING] = system.value("through_wall.largest_opening").magnitude
        out[PRESSURE] = min(out[PRESSURE], system.value("through_wall.pressure_max").magnitude)
        return {k: v for k, v in out.items() if v > chain.base[k]}
    wall, depth = chain.base[WALL], chain.base[DEPTH]
    share = min(tables.value(code(bundle), "depth_limit").magnitude, system.value("envelope.depth_max").magnitude)
    thinner = min(wall, case.get("pipe.nominal_wall").base)
    least = tables.value(case.design.standard, "minimum_remaining_wall").magnitude
    out[DEPTH] = min(share * thinner, wall - least)
    out[WIDTH] = math.pi * case.get("pipe.outside_diameter").base
    down = max(depth / share, depth + least,
               least_share_of_nominal(bundle).value().magnitude * case.get("pipe.nominal_wall").base)
    out = {k: v for k, v in out.items() if v > chain.base[k]}
    return out | ({WALL: down} if down < wall else {})


def _edge(bundle: Bundle, d: Design, chain: Chain, name: str, toward: float) -> tuple[space.Edge, Limit]:
    rec, display = active(), bundle.case.display
    base = chain.base[name]
    found = space.farthest_holding(chain.use, chain.base, name, toward, tolerance=_NARROW * max(abs(base), abs(toward)),
                                   points=_POINTS)
    assert found.value is not None and d.laid is not None
    unit = UNITS[name]
    word = "Least" if toward < base else "Greatest"
    why = (f"{units.show(toward, unit, system=display)}: {_END_OF[name]}" if found.failing is None
           else "a check of the method of record is used up")
    label = f"{word.lower()} {name}"
    value = rec.procedure(
        f"{word} {name} for which these layers and this length hold", "that input alone is moved until a check of the "
        "method of record is used up; the side of the bracket that holds. Information: not all at once", MECHANICS.id,
        "derived", {"layers": d.laid.count}, {label: (found.value, unit)},
        [("in the design", units.show(base, unit, system=display)), ("ends at", why)])[label]
    return found, Limit(name, value, base, why if found.failing is not None else _END_OF[name])


def _box(bundle: Bundle, chain: Chain, edges: dict[str, space.Edge]) -> tuple[BoxSide, ...]:
    """Edges that hold all at once, at the worst corner, rounded towards the design.

    What has no room of its own stands at the reading of the case: the ditch may not show more.
    """
    rec, display = active(), bundle.case.display
    names = [n for n in IN_THE_BOX if n in chain.base]
    wanted = {n: edges[n].value for n in names if n in edges}
    shown = {n: _reading(bundle, chain, n) for n in names}
    offsets = {n: shown[n] - chain.base[n] for n in names}
    steps = {n: _STEPS[display][n] for n in wanted}
    box = space.box_that_holds(chain.use, chain.base, wanted, steps=steps, offsets=offsets)
    readings = {n: box.edges.get(n, chain.base[n]) + offsets[n] for n in names}
    out = rec.procedure(
        "Box for the site, all at once", "one common share of every margin, closed by bisection until the worst corner "
        "and what lies between still holds; as readings, without measuring allowance and before growth, rounded "
        "towards the design. Beyond it: stop and call the engineer",
        MECHANICS.id,
        "derived", {}, {n: (v, UNITS[n]) for n, v in readings.items()},
        [("share of the single margins", f"{box.fraction:.3f}"), ("use at the worst corner", f"{box.use:.3f}"),
         ("worst corner, with allowances and growth",
          ", ".join(f"{n} {units.show(v, UNITS[n], system=display)}" for n, v in box.worst.items()) or "the design")])
    return tuple(BoxSide(n, out[n], shown[n], n != WALL) for n in names)


def _reading(bundle: Bundle, chain: Chain, name: str) -> float:
    """What the case states, or what the ditch must show, for the value that the design was worked with."""
    get = bundle.case.get
    if name == WALL:
        return chain.base[WALL] + get("pipe.wall_allowance").base
    fields = {DEPTH: "depth", LENGTH: "length", WIDTH: "width", OPENING: "leak_size"}
    return get(f"defect.{fields[name]}").base
