"""Marks on the pipe: sides and starts of every unit, ends of the repair, and where each wrap ends."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wrapcalc import units
from wrapcalc.case import Bundle
from wrapcalc.checks import Check
from wrapcalc.formulas import marks as mark
from wrapcalc.formulas import takeoff as quantity
from wrapcalc.recorder import active
from wrapcalc.stages.site.starts import Places, places
from wrapcalc.stages.site.takeoff import tiers_below
from wrapcalc.stages.wrap.design import Design
from wrapcalc.stages.wrap.extent import Repair
from wrapcalc.standards.documents import MECHANICS, PRACTICE
from wrapcalc.values import Value

#: Rows of the table of the wrap end within its tolerance, about.
_ROWS = 7


@dataclass(frozen=True)
class Unit:
    """One unit on the pipe. number: from upstream, in its repair; tier: 1 lies on the pipe.

    upstream, downstream: its sides, from the reference. lap: how far it lies over the unit before it (None for the
    first, and for butted units). start: arc clockwise from 12 o'clock, facing downstream, on the bare pipe.
    """

    number: int
    tier: int
    width: Value
    upstream: Value
    downstream: Value
    lap: Value | None
    start: Value
    clock: str


@dataclass(frozen=True)
class Marked:
    """One repair on the pipe: middle of its set, edges of the end treatment and of the prepared steel, its units."""

    label: str
    middle: Value
    upstream_edge: Value
    downstream_edge: Value
    upstream_steel: Value
    downstream_steel: Value
    units: tuple[Unit, ...]
    places: Places


@dataclass(frozen=True)
class EndRow:
    """A circumference that the tape may show, the length that all layers need there, and where the wrap ends, in mm."""

    circumference: float
    length: float
    beyond: float
    within: bool


@dataclass(frozen=True)
class WrapEnd:
    """Where a wrap of one tier ends. nominal: circumference under it; made: length as made or cut; at_nominal: how far
    beyond its start it ends on the nominal circumference.

    least, most: circumferences between which it ends within the tolerance (of cloth, which is cut to length, only the
    greatest); rule: in words, for the tape on site.
    """

    tier: int
    nominal: Value
    made: Value
    at_nominal: Value
    least: Value | None
    most: Value
    rule: str
    rows: tuple[EndRow, ...]


@dataclass(frozen=True)
class Marks:
    """All marks. reference: from where positions are measured, downstream positive; notes: what must be found first."""

    reference: str
    from_weld: bool
    repairs: tuple[Marked, ...]
    ends: tuple[WrapEnd, ...]
    checks: tuple[Check, ...]
    side_tolerance: Value
    end_tolerance: Value
    gap: Value | None
    if_not_met: str
    notes: tuple[str, ...]


def marks(bundle: Bundle, design: Design) -> Marks:
    """Marks for a design that holds. Blank fields of the site leave "no data" and a note, never a guess."""
    system, rec = bundle.system, active()
    assert system is not None and design.extent is not None and design.laid is not None
    rec.begin("Marks on the pipe")
    damage, reference = _reference(bundle)
    cited = {"citation": f"sheet of {system.system.id}", "status": "system sheet"}
    checks, notes = [], []
    if damage is None:
        checks.append(rec.check("Sides measured from a girth weld", None, "<=",
                                system.value("placement.side_tolerance"),
                                note="location.from_upstream_weld is not stated", **cited))
        notes.append("The distance from the girth weld is not stated: all positions are from the middle of the damage.")
    many = len(design.extent.repairs) > 1
    repairs = []
    for r in design.extent.repairs:
        label = f", repair {r.label}" if many else ""
        repairs.append(_marked(bundle, design, r, damage, label))
        checks += repairs[-1].places.checks
        notes += [f"{w[0].upper()}{w[1:]}{label}." for w in repairs[-1].places.missed]
    rec.assume("Clock positions face downstream. Arcs are measured on the bare pipe; over a wrap, the same clock is a "
               "longer arc.", "scope")
    ends = tuple(_wrap_end(bundle, design, tier) for tier in range(design.laid.tiers))
    rec.assume("Sides and starts are marked beyond the repair, where the wrap leaves the marks visible.", PRACTICE.id)
    return Marks(reference, damage is not None, tuple(repairs), ends, tuple(checks),
                 system.value("placement.side_tolerance"), system.value("placement.end_tolerance"),
                 system.value("placement.joint_gap_max") if system.is_sleeve else None,
                 str(system.placement.if_not_met or ""), tuple(dict.fromkeys(notes)))


def _reference(bundle: Bundle) -> tuple[Value | None, str]:
    """(middle of all damage from the girth weld, None where it is not known; from where positions are measured)."""
    case = bundle.case
    edge, weld = case.optional("location.from_upstream_weld"), case.location.upstream_weld
    if edge is None:
        return None, "the middle of the damage"
    named = f"girth weld {weld}" if weld else "the girth weld upstream"
    return active().named(mark.damage_middle(edge, case.value("defect.length")),
                          f"Middle of all damage, downstream of {named}"), named


def _marked(bundle: Bundle, d: Design, r: Repair, damage: Value | None, label: str) -> Marked:
    system, rec = bundle.system, active()
    assert system is not None and r.layout is not None and r.overall is not None
    # Square ends of sleeves carry their end treatment outside the set; tapered ends of bands lie inside it.
    span = r.layout.cover if system.is_sleeve else r.overall
    off = rec.procedure("Middle of the set of units" + label, "middle of the damage under it, moved by the shift of "
                        "the set; downstream of the middle of all damage is positive", MECHANICS.id, "derived",
                        {"damage that it covers": r.length, "length of the set": span},
                        {"middle of the set": (r.centre + r.shift, "mm")})["middle of the set"]
    middle = off if damage is None else rec.named(mark.set_middle(damage, off), "Middle of the set" + label)
    up = rec.named(mark.upstream_edge_of_repair(middle, r.overall), "Upstream edge of the end treatment" + label)
    down = rec.named(mark.downstream_edge_of_repair(middle, r.overall), "Downstream edge of the end treatment" + label)
    beyond = system.value("surface.prepared_beyond")
    steel = (rec.named(mark.upstream_edge_of_steel(up, beyond), "Upstream edge of the prepared steel" + label),
             rec.named(mark.downstream_edge_of_steel(down, beyond), "Downstream edge of the prepared steel" + label))
    found = places(bundle, d, r, _crossed(bundle, damage, up, down), label)
    return Marked(r.label, middle, up, down, *steel, _units(bundle, d, r, middle, span, found, label), found)


def _crossed(bundle: Bundle, damage: Value | None, up: Value, down: Value) -> tuple[str, ...]:
    """Sides on which a repair reaches over a girth weld of its joint."""
    if damage is None:
        return ()
    whole = bundle.case.optional("location.joint_length")
    return (*(["upstream"] if up.magnitude < 0 else []),
            *(["downstream"] if whole is not None and down.magnitude > whole.magnitude else []))


def _units(bundle: Bundle, d: Design, r: Repair, middle: Value, span: Value, found: Places, label: str
           ) -> tuple[Unit, ...]:
    """Every unit of every tier, from upstream to downstream; those of all tiers have the same sides."""
    system, rec = bundle.system, active()
    assert system is not None and r.layout is not None and d.laid is not None
    lap = None if system.is_sleeve else system.value("lay_up.band_overlap")
    out, side = [], rec.named(mark.set_upstream_side(middle, span), "Upstream side of unit 1" + label)
    for n, width in enumerate(r.layout.widths, 1):
        if n > 1 and lap is not None:
            side = rec.named(mark.next_upstream_side(side, lap), f"Upstream side of unit {n}{label}")
        source = next(w for w in system.unit_widths if w.magnitude == width)
        end = rec.named(mark.unit_downstream_side(side, source), f"Downstream side of unit {n}{label}")
        for tier in range(1, d.laid.tiers + 1):
            turn = (n + tier) % len(found.arcs)
            out.append(Unit(n, tier, source, side, end, lap if n > 1 else None, found.arcs[turn], found.clocks[turn]))
        side = end
    return tuple(sorted(out, key=lambda u: (u.tier, u.number)))


def _wrap_end(bundle: Bundle, d: Design, tier: int) -> WrapEnd:
    """Where the wrap ends on the nominal circumference, and what the tape on site makes of it."""
    system, rec = bundle.system, active()
    assert system is not None and d.laid is not None and d.extent is not None
    label = f", sleeve {tier + 1} from the pipe" if d.laid.tiers > 1 else ""
    around = _circumference(bundle, d, tier, label)
    if system.is_sleeve:
        n, pitch, bond = system.value("sleeve.layers"), d.extent.pitch, system.value("sleeve.bond_line")
        need = made = rec.named(mark.sleeve_length_on(n, around, pitch, bond), "Length of all layers" + label)
    else:
        n = d.laid.count
        need = rec.named(mark.cloth_length_on(n, around, system.value("laminate.ply_thickness")),
                         "Length of all layers of a band")
        made = quantity.cut_length(need, system.value("lay_up.cutting_allowance"))
    beyond = rec.named(mark.wrap_end_beyond_start(made, need), "Wrap end on the nominal circumference, beyond its start"
                       + label)
    off = rec.named(mark.circumference_off(system.value("placement.end_tolerance"), n),
                    "Circumference off by, where the end reaches its tolerance" + label)
    layers = n.magnitude
    # A sleeve ends where its length ends; of cloth what is too long is cut off, what is too short is not mended: over
    # the arc that is lacking there is one layer less.
    short = off.magnitude if system.is_sleeve and _one_less_holds(d) else 0.0
    most = around.magnitude + short + beyond.magnitude / layers
    least = around.magnitude - off.magnitude if system.is_sleeve else None
    rows = []
    for u in _round_numbers(around.magnitude - off.magnitude, most, bundle.case.display):
        length = need.magnitude + layers * (u - around.magnitude)
        rows.append(EndRow(u, length, made.magnitude - length, u <= most and (least is None or u >= least)))
    rule, bounds = _rule(bundle, n, around, need, made), {"greatest circumference within the tolerance": (most, "mm")}
    if least is not None:
        bounds["least circumference within the tolerance"] = (least, "mm")
    out = rec.procedure(
        "Wrap end by the circumference that the tape shows" + label, "tape on the prepared, filled and primed pipe; "
        "each layer lies on the one below, so that the end moves by the layers times the change of the circumference; "
        + ("length as made" if system.is_sleeve else "length as cut, with its allowance"), MECHANICS.id, "derived",
        {"layers": n, "nominal circumference": around, "length": made, "off by": off}, bounds,
        [("rule", rule), *(_told(x, bundle.case.display) for x in rows)])
    return WrapEnd(tier + 1, around, made, beyond, out.get("least circumference within the tolerance"),
                   out["greatest circumference within the tolerance"], rule, tuple(rows))


def _one_less_holds(d: Design) -> bool:
    """Whether the layers but one suffice, as they are where the wrap ends short of its start."""
    assert d.laid is not None and d.ply is not None
    return d.laid.required.magnitude <= (d.laid.count.magnitude - 1) * d.ply.magnitude


def _circumference(bundle: Bundle, d: Design, tier: int, label: str) -> Value:
    """Nominal circumference under a wrap: of the pipe, or of the sleeves below."""
    system, rec, diameter = bundle.system, active(), bundle.case.value("pipe.outside_diameter")
    assert system is not None and d.extent is not None
    if tier:
        below = quantity.diameter_under_tier(diameter, tiers_below(bundle.case, tier), system.value("sleeve.layers"),
                                             d.extent.pitch)
        diameter = rec.named(below, "Diameter under the sleeve" + label)
    return rec.named(mark.circumference_under(diameter), "Nominal circumference under the wrap" + label)


def _rule(bundle: Bundle, n: Value, around: Value, need: Value, made: Value) -> str:
    """The wrap end for a measured circumference U, in numbers that a pocket calculator takes."""
    system, shown = bundle.system, _shown(bundle.case.display)
    assert system is not None
    growth = shown(need.magnitude - n.magnitude * around.magnitude)
    if system.is_sleeve:
        return (f"end beyond the start = {shown(made.magnitude)} − {int(n.magnitude)} × U − {growth}; a negative "
                "number is short of the start")
    more = shown(made.magnitude - need.magnitude)
    return (f"length of all layers = {int(n.magnitude)} × U + {growth}; cut it {more} longer, and cut off what reaches "
            "beyond the start line")


def _told(x: EndRow, display: str) -> tuple[str, str]:
    shown = _shown(display)
    where = "beyond" if x.beyond >= 0 else "short of"
    return (f"tape {shown(x.circumference)}", f"layers need {shown(x.length)}; end {shown(abs(x.beyond))} {where} the "
            "start" + ("" if x.within else ": outside the tolerance"))


def _shown(display: str):
    return lambda length: tape_text(length, display)


def tape_text(length: float, display: str) -> str:
    """A length (mm) as a tape is read: to 0.1 mm, or to 0.01 in."""
    unit = units.display_unit("mm", display)
    return units.show(round(float(units.convert(length, "mm", unit)), 1 if unit == "mm" else 2), unit, significant=9)


def _round_numbers(low: float, high: float, display: str) -> list[float]:
    """Circumferences (mm) in round steps of the unit that is printed, from one below `low` to one above `high`."""
    unit = units.display_unit("mm", display)
    first, last = (float(units.convert(x, "mm", unit)) for x in (low, high))
    rough = (last - first) / _ROWS
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(k * power for k in (1, 2, 5, 10) if k * power >= rough * (1 - 1e-9))
    rows = range(math.ceil(first / step) - 1, math.floor(last / step) + 2)
    return [float(units.convert(round(k * step, 9), unit, "mm")) for k in rows]
