"""How far the wrap reaches: overlap from sound metal, bond length, ends, room to welds and to other repairs."""

from __future__ import annotations

from dataclasses import dataclass

from wrapcalc.case import Bundle
from wrapcalc.case.design_model import THICKER
from wrapcalc.case.model import HOLE
from wrapcalc.checks import Check
from wrapcalc.formulas import takeoff as quantity
from wrapcalc.formulas import wrap_extent as extent
from wrapcalc.recorder import active
from wrapcalc.stages.site import keep_out as keep
from wrapcalc.stages.site.layout import Layout, lay_out
from wrapcalc.stages.wrap.strain import Gates, is_asme
from wrapcalc.stages.wrap.zones import Zone
from wrapcalc.standards.documents import ISO_24817, MECHANICS, PCC_2, PRACTICE
from wrapcalc.units import show
from wrapcalc.values import Value


@dataclass(frozen=True)
class Repair:
    """One wrap on the pipe. centre: of its damage, mm from the middle of all damage; length: damage that it covers.

    full: full-thickness length required; shift: how far the set of units lies downstream of the damage's middle, mm.
    """

    label: str
    centre: float
    length: Value
    full: Value
    layout: Layout | None
    overall: Value | None
    shift: float = 0.0


@dataclass(frozen=True)
class Extent:
    """overlap: each side from sound metal; end: length of one end; pitch, build_up: of the layers.

    clear: checks against welds, bends, fittings and other repairs. room: overlap that there is on the short side, None
    where the whole of it fits.
    """

    overlap: Value
    end: Value
    pitch: Value
    build_up: Value
    repairs: tuple[Repair, ...]
    clear: tuple[Check, ...]
    room: Value | None = None


def counted_ply(bundle: Bundle) -> Value:
    """Thickness of one layer that counts: that to which the moduli of the sheet refer."""
    system = bundle.system
    assert system is not None
    ply = system.value("laminate.ply_thickness")
    if not system.is_sleeve or system.laminate.modulus_basis != "ply and bond line":
        return ply
    active().assume("The moduli of the sheet refer to ply and bond line together; that thickness counts.",
                    f"sheet of {system.system.id}")
    return quantity.layer_pitch(ply, system.value("sleeve.bond_line"))


def overlap_of(bundle: Bundle, opening: Value | None = None) -> Value:
    """Overlap beyond the damage by both rules and the least one; opening: size of a hole through the wall."""
    case, tables = bundle.case, bundle.tables
    diameter, nominal = case.value("pipe.outside_diameter"), case.value("pipe.nominal_wall")
    hole = opening is not None and case.defect.leak_shape == HOLE
    iso = (extent.overlap_hole(opening, diameter, nominal) if hole else extent.overlap_iso(diameter, nominal))
    return extent.overlap_required(tables.value(case.design.standard, "minimum_overlap"),
                                   extent.overlap_pcc2(diameter, nominal), iso)


def with_bond(bundle: Bundle, overlap: Value, strain: Value, t_c: Value) -> Value:
    """The overlap with the bond length of a wrap that carries axial load."""
    system, tables, rec = bundle.system, bundle.tables, active()
    assert system is not None
    document = bundle.case.design.standard
    known = [tables.entry(d, "bond_length_factor") for d in dict.fromkeys((document, PCC_2.id))]
    factor = max(known, key=lambda e: e.value().magnitude)
    rec.assume(f"The bond length takes the factor {factor.written} of {factor.citation}, the larger of the recalled "
               "values.", "safer reading")
    bond = extent.bond_length(factor.value(), system.value("laminate.modulus_axial"), strain, t_c,
                              system.value("adhesive.lap_shear"))
    if not system.is_sleeve:
        lap = system.value("lay_up.band_overlap")
        if lap.magnitude < bond.magnitude:
            display = bundle.case.display
            rec.assume(f"The lap of neighbouring bands, {lap.show(display)}, is shorter than the bond length, "
                       f"{bond.show(display)}: it does not hand the axial load on, and one band must cover all.",
                       bond.origin.ref)
    return extent.longer_overlap(overlap, bond)


def lap_carries(bundle: Bundle, strain: Value, t_c: Value) -> bool:
    """Whether the lap of neighbouring bands hands the axial load on; nothing is recorded."""
    system = bundle.system
    assert system is not None
    if system.is_sleeve:
        return False
    factor = max(bundle.tables.value(d, "bond_length_factor").magnitude
                 for d in (bundle.case.design.standard, PCC_2.id))
    need = extent.bond_length.core(k_b=factor, E_a=system.value("laminate.modulus_axial").magnitude,
                                   eps_a=strain.magnitude, t_c=t_c.magnitude,
                                   tau=system.value("adhesive.lap_shear").magnitude)
    return system.value("lay_up.band_overlap").magnitude >= need


def heights(bundle: Bundle, layers: Value, t_c: Value) -> tuple[Value, Value, Value]:
    """(pitch of a layer, height on the pipe, length of one end)."""
    system = bundle.system
    assert system is not None
    ply = system.value("laminate.ply_thickness")
    if system.is_sleeve:
        pitch = quantity.layer_pitch(ply, system.value("sleeve.bond_line"))
        build = quantity.build_up(layers, pitch)
    else:
        pitch, build = ply, t_c
    return pitch, build, extent.end_length(system.value("ends.slope"), build)


def lay_repairs(bundle: Bundle, zones: tuple[Zone, ...], overlap: Value, layers: Value, t_c: Value, gates: Gates, *,
                single: bool, deepest: tuple[float, ...] = ()) -> Extent:
    """Units over every zone of damage, and whether they stay clear of welds, fittings and other repairs.

    deepest: stations of the deepest metal, in mm from the middle of all damage.
    """
    pitch, build, end = heights(bundle, layers, t_c)
    short = room_on_short_side(bundle, overlap, end)
    repairs: list[Repair] = []
    for i, zone in enumerate(zones):
        label = f", repair {zone.label}" if len(zones) > 1 else ""
        if short is None:
            full = extent.full_thickness_length(zone.length, overlap)
        else:
            full = extent.full_thickness_length_uneven(zone.length, overlap, short[0])
        rec = active()
        if label:
            full = rec.named(full, "Full-thickness length required" + label)
        place = keep.place(bundle, zones, i, repairs, full, overlap, short, end, deepest)
        placed = lay_out(bundle, full, end, zone.length, place, single=single, label=label)
        covered = gates.add(rec.check("Full-thickness cover against the length required" + label,
                                      placed.cover if placed else None, ">=", full,
                                      citation=f"{bundle.case.design.standard}, overlap", status="from memory",
                                      note="" if placed else _why_no_set(bundle, single)))
        overall = extent.overall_length(placed.cover, end) if placed and covered.met else None
        shift = round(placed.middle - zone.centre, 9) if placed and overall else 0.0
        if shift and short is None:
            _tell_shift(bundle, shift)
        repairs.append(Repair(zone.label, zone.centre, zone.length, full, placed, overall, shift))
    whole = all(r.overall is not None for r in repairs)
    clear = (*_clear(bundle, zones, repairs, end), *_kept_out(bundle, repairs)) if whole else ()
    return Extent(overlap, end, pitch, build, tuple(repairs), clear, short[0] if short else None)


def _tell_shift(bundle: Bundle, shift: float) -> None:
    side = "downstream" if shift > 0 else "upstream"
    apart = show(abs(shift), "mm", system=bundle.case.display)
    active().assume(f"The set of units is laid {apart} off the middle of the damage, {side}, by the objectives of the "
                    "layout and what it keeps clear of; the overlap is whole on both sides.", "layout of the units")


def _kept_out(bundle: Bundle, repairs: list[Repair]) -> tuple[Check, ...]:
    """Whether each stretch that the case names is kept out of, by the rule that it has."""
    return tuple(active().gate(
        f"Repair clear of {k.name}", not blocked, "reaches it" if blocked else "clear",
        f"{k.rule} of the repair from {_of_weld(bundle, i, 'start')} to {_of_weld(bundle, i, 'end')} downstream of the "
        "upstream girth weld", citation=f"case: keep_out.{i}", status="derived", kind="scope")
        for i, k in enumerate(keep.named(bundle))
        for blocked in (any(_blocks(k, r) for r in repairs),))


def _of_weld(bundle: Bundle, i: int, key: str) -> str:
    return bundle.case.value(f"keep_out.{i}.{key}").show(bundle.case.display)


def _blocks(k: keep.KeepOut, r: Repair) -> bool:
    """Whether the repair as laid breaks the rule of a stretch."""
    assert r.layout is not None and r.overall is not None
    middle, half = r.layout.middle, r.overall.magnitude / 2
    if k.rule == "no joint":
        return any(k.start <= x <= k.end for x in r.layout.joints)
    if k.rule == "no end":
        return any(k.start <= x <= k.end for x in (middle - half, middle + half))
    return middle - half <= k.end and k.start <= middle + half


def _why_no_set(bundle: Bundle, single: bool) -> str:
    assert bundle.system is not None
    if single:
        return ("the wrap carries axial load and no single unit is wide enough: "
                + ("butted units do" if bundle.system.is_sleeve else "a lap shorter than the bond length does")
                + " not hand it on")
    return "no set of the system's widths covers it"


def room_on_short_side(bundle: Bundle, overlap: Value, end: Value) -> tuple[Value, str] | None:
    """(overlap that there is room for, side) where the case accepts a thicker wrap instead of a whole overlap."""
    case, tables, rec = bundle.case, bundle.tables, active()
    if case.design.limited_room != THICKER:
        return None
    off = tables.value(PRACTICE.id, "end_from_weld")
    allowance = case.value("defect.length_allowance")
    sides = {side: extent.room_for_overlap.core(c_1=case.value(f"defect.clear_{side}").magnitude, a_w=off.magnitude,
                                                L_e=end.magnitude, a_L=allowance.magnitude)
             for side in ("upstream", "downstream")}
    short = [side for side, have in sides.items() if have < overlap.magnitude]
    if len(short) != 1:
        return None
    side = short[0]
    have = extent.room_for_overlap(case.value(f"defect.clear_{side}"), off, end, allowance)
    rec.assume(f"The overlap {side} is shorter than required, with a thicker wrap instead, because: "
               f"{case.design.limited_room_reason}", "case: design.limited_room")
    return have, side


def room_factor(bundle: Bundle, overlap: Value, room: Value, gates: Gates) -> Value | None:
    """Factor on the thickness for the short overlap; None where there is less than the least room."""
    rec, entry = active(), bundle.tables.entry(
        bundle.case.design.standard if not is_asme(bundle) else ISO_24817.id, "least_room")
    enough = gates.add(rec.check("Overlap on the short side against the least room", room, ">=", entry.value(),
                                 citation=entry.citation, status=entry.status, kind="gate"))
    return extent.room_factor(overlap, room) if enough.met else None


def _clear(bundle: Bundle, zones: tuple[Zone, ...], repairs: list[Repair], end: Value) -> tuple[Check, ...]:
    """Distance to welds, bends, fittings and to the full thickness of neighbouring repairs, on each side."""
    case, rec, system = bundle.case, active(), bundle.system
    assert system is not None
    out = []
    for side, i in (("upstream", 0), ("downstream", -1)):
        repair, zone = repairs[i], zones[i]
        assert repair.overall is not None and repair.layout is not None
        sign = -1 if side == "upstream" else 1
        reach = extent.reach_beyond_defect(repair.overall, zone.measured)
        laid = reach.magnitude + sign * repair.shift
        told = round(laid, 5) if repair.shift else laid
        limit = keep.touched(bundle, side, end, laid, told)
        if repair.shift or limit is not None:
            kind = "an uneven" if repair.shift else "a centred"
            reach = rec.procedure(f"Reach beyond the damage of {kind} repair, {side}", "half of what it covers more "
                                  "than the damage, moved by the shift of the set; a set that touches its limit "
                                  "reaches to it", MECHANICS.id, "derived", {"reach when centred": reach},
                                  {"reach": (told if limit is None else limit, "mm")})["reach"]
        needed = extent.room_needed(reach, bundle.tables.value(PRACTICE.id, "end_from_weld"))
        out.append(rec.check(f"Repair clear of welds, bends and fittings, {side}", needed, "<=",
                             case.value(f"defect.clear_{side}"), citation=PRACTICE.id, status="common practice",
                             kind="scope"))
        neighbour = case.optional(f"defect.neighbour_{side}")
        if neighbour is not None:
            gap = extent.gap_to_neighbour(neighbour, reach, end)
            out.append(rec.check(f"Gap to the full thickness of the next repair, {side}", gap, ">=",
                                 system.value("ends.least_gap"), citation=f"sheet of {system.system.id}",
                                 status="system sheet", kind="scope",
                                 note="closer repairs become one, governed by the worst damage of both"))
    return tuple(out)
