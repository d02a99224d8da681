"""What to order for one repair: units or cloth, adhesive or resin, filler, primer, end seal, in whole packs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import reduce

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.case.model import Case
from wrapcalc.formula import Formula
from wrapcalc.formulas import materials as site
from wrapcalc.formulas import takeoff as quantity
from wrapcalc.recorder import active
from wrapcalc.stages.wrap.design import Design
from wrapcalc.standards.documents import MECHANICS
from wrapcalc.values import Value


@dataclass(frozen=True)
class Line:
    """One line of the order. quantity: what to order, waste in it; packs: whole packs, where there are packs.

    kind: what it is on the shelf ([[stock]] has the same words); width, diameter (mm): of units, and width of cloth.
    pieces: how many of it may be spoilt one by one: units, bands or packs.
    """

    item: str
    quantity: Value
    packs: Value | None = None
    pack: Value | None = None
    basis: str = ""
    kind: str = ""
    width: float | None = None
    diameter: float | None = None
    pieces: int = 0


def takeoff(bundle: Bundle, d: Design) -> tuple[Line, ...]:
    """Quantities for a design that holds, all its repairs together."""
    system, rec = bundle.system, active()
    assert system is not None and d.extent is not None and d.laid is not None
    diameter = bundle.case.value("pipe.outside_diameter")
    lines = _sleeves(bundle, d) if system.is_sleeve else _cloth(bundle, d)
    lines.append(_filler(bundle, d))
    if system.primer.used == "yes":
        areas = []
        for r in d.extent.repairs:
            assert r.overall is not None
            areas.append(quantity.bonded_area(diameter, r.overall))
        mass = quantity.coating_mass(_sum(areas, quantity.areas_together), system.value("primer.coverage"),
                                     bundle.case.value("takeoff.primer_waste"))
        lines.append(_packed("Primer", mass, system.value("primer.pack"), "bonded area, with waste", "primer"))
    if system.end_seal.used == "yes":
        lines.append(_end_seal(bundle, d))
    rec.assume("The order is for this repair alone; spares, consumables and abrasive stand with the materials for the "
               "site.", "scope")
    return tuple(lines)


def _sum(values: list[Value], plus: Formula) -> Value:
    """All of them together, one step for each further one."""
    return reduce(plus, values)


def _widths(d: Design) -> Value:
    """Sum of the widths of all units, of all repairs."""
    assert d.extent is not None
    widths = [r.layout.total_width for r in d.extent.repairs if r.layout is not None]
    return _sum(widths, quantity.widths_together)


def _counts(d: Design) -> list[tuple[float, list[Value]]]:
    """(width in mm, its count in each repair that has it), the widest first."""
    assert d.extent is not None
    out: dict[float, list[Value]] = {}
    for r in d.extent.repairs:
        for width, count in (r.layout.counts if r.layout else {}).items():
            out.setdefault(width, []).append(count)
    return sorted(out.items(), reverse=True)


def _packed(item: str, mass: Value, pack: Value, basis: str, kind: str) -> Line:
    mass = active().named(mass, f"{item} to order, with waste")
    packs = active().named(quantity.packs(mass, pack), f"{item}: whole packs")
    return Line(item, mass, packs, pack, basis, kind, pieces=int(packs.magnitude))


def _sleeves(bundle: Bundle, d: Design) -> list[Line]:
    system, case = bundle.system, bundle.case
    assert system is not None and d.laid is not None and d.extent is not None
    rec, diameter = active(), case.value("pipe.outside_diameter")
    bond, of_one = system.value("sleeve.bond_line"), system.value("sleeve.layers")
    out = []
    for tier in range(d.laid.tiers):
        under = diameter if tier == 0 else rec.named(
            quantity.diameter_under_tier(diameter, tiers_below(case, tier), of_one, d.extent.pitch),
            f"Diameter under sleeve {tier + 1}")
        length = quantity.wrap_length(of_one, under, d.extent.pitch, bond)
        words = f", number {tier + 1} from the pipe" if d.laid.tiers > 1 else ""
        for width, counts in _counts(d):
            source = next(w for w in system.unit_widths if w.magnitude == width)
            count = _sum(counts, quantity.counts_together)
            out.append(Line(f"Sleeve{words}, {source.show(case.display)} wide, {int(of_one.magnitude)} layers, for "
                            f"outside diameter {under.show(case.display)}", count,
                            basis=f"developed length of each {length.show(case.display)} ({length.origin.ref})",
                            kind="unit", width=width, diameter=under.magnitude, pieces=int(count.magnitude)))
    volume = quantity.adhesive_volume(d.laid.count, diameter, d.extent.pitch, bond, _widths(d))
    mass = quantity.mass_from_volume(volume, system.value("adhesive.density"),
                                     case.value("takeoff.adhesive_waste"))
    out.append(_packed("Adhesive", mass, system.value("adhesive.pack"), "all bond lines, with waste", "adhesive"))
    return out


def tiers_below(case: Case, tier: int) -> Value:
    """How many sleeves lie below, as a value that leads back to the number that the case states."""
    stated = case.value("design.tiers")
    return replace(stated, magnitude=float(tier), name="sleeves below")


def _cloth(bundle: Bundle, d: Design) -> list[Line]:
    system, case = bundle.system, bundle.case
    assert system is not None and d.laid is not None
    diameter, ply = case.value("pipe.outside_diameter"), system.value("laminate.ply_thickness")
    length = quantity.wrap_length_lay_up(d.laid.count, diameter, ply)
    cut = quantity.cut_length(length, system.value("lay_up.cutting_allowance"))
    area = quantity.cloth_area(cut, _widths(d))
    waste = case.value("takeoff.cloth_waste")
    order = quantity.cloth_area_with_waste(area, waste)
    counts = {width: int(sum(c.magnitude for c in each)) for width, each in _counts(d)}
    words = "; ".join(f"{counts[w.magnitude]} of {w.show(case.display)}"
                      for w in system.unit_widths if w.magnitude in counts)
    out = [Line(f"Cloth, bands: {words}; each cut to {cut.show(case.display)}", order,
                basis=f"{int(d.laid.count.magnitude)} layers, with waste", kind="cloth",
                width=max(counts) if len(counts) == 1 else None, pieces=sum(counts.values()))]
    resin = quantity.resin_mass(area, system.value("lay_up.cloth_areal_mass"),
                                system.value("lay_up.fibre_mass_share"), case.value("takeoff.adhesive_waste"))
    out.append(_packed("Resin", resin, system.value("adhesive.pack"), "wetting out the cloth, with waste",
                       "adhesive"))
    return out


def _filler(bundle: Bundle, d: Design) -> Line:
    system, case, rec = bundle.system, bundle.case, active()
    assert system is not None and d.extent is not None
    if bundle.grid is None:
        if d.at_end is not None:
            long, deep = d.at_end.extent, d.at_end.greatest
        else:
            long, deep = d.extent.repairs[0].length, case.value("pipe.nominal_wall")
        bound = quantity.filler_box(long, case.value("defect.width"), deep)
        basis = "box of greatest depth (no grid)"
        rec.assume("There is no depth grid: filler is ordered for a box of the greatest depth.", "safer reading")
    else:
        estimate, upper, cells = grid_volumes(bundle)
        bound = rec.procedure(
            "Filler volume from the depth grid",
            "trapezium rule over all cells; bound: each cell at the deepest of its four corners", MECHANICS.id,
            "derived", {"depth": case.value("defect.depth")},
            {"trapezium estimate": (estimate, "mm**3"), "upper bound": (upper, "mm**3")},
            [("cells", str(cells)), ("grid file", case.defect.grid)])["upper bound"]
        basis = "upper bound of the depth grid"
        rec.assume("Filler is ordered for the upper bound of the grid, not for the trapezium estimate.",
                   "safer reading")
    if system.ends.treatment == "square with fillet":
        fillets = quantity.end_fillet_volume(case.value("pipe.outside_diameter"), d.extent.end, d.extent.build_up)
        for _ in d.extent.repairs:
            bound = quantity.filler_volume(bound, fillets)
        basis += ", end fillets"
    bound, basis = _fairings(bundle, d, bound, basis)
    mass = quantity.mass_from_volume(bound, system.value("filler.density"), case.value("takeoff.filler_waste"))
    return _packed("Filler", mass, system.value("filler.pack"), f"{basis}, with waste", "filler")


def _fairings(bundle: Bundle, d: Design, volume: Value, basis: str) -> tuple[Value, str]:
    """Volume and its words with the fairing along the seam and the ramps at the starts of the first layers."""
    system, case, rec = bundle.system, bundle.case, active()
    assert system is not None and d.extent is not None and d.laid is not None
    height, run = case.optional("takeoff.seam_height"), case.optional("takeoff.seam_run")
    if case.pipe.joint_type == "seamless":
        pass
    elif height is None or run is None:
        missing = " and ".join(f"takeoff.{n}" for n, v in (("seam_height", height), ("seam_run", run)) if v is None)
        rec.assume(f"No filler is counted for fairing the seam: {missing} not stated.", "scope")
    else:
        for r in d.extent.repairs:
            assert r.overall is not None
            volume = rec.named(quantity.filler_volume(volume, site.seam_fairing_volume(height, run, r.overall)),
                               "Filler with the fairing of the seam")
        basis += ", fairing of the seam"
    # Every sleeve of every tier has a start of its own; a lay-up has one for each band.
    first = d.extent.pitch if system.is_sleeve else system.value("laminate.ply_thickness")
    widths = _widths(d)
    for _ in range(d.laid.tiers):
        ramps = site.start_ramp_volume(system.value("ends.slope"), first, widths)
        volume = rec.named(quantity.filler_volume(volume, ramps), "Filler with the ramps at the starts")
    return volume, basis + " and ramps at the starts"


def _end_seal(bundle: Bundle, d: Design) -> Line:
    """Seal over both ends of every repair."""
    system, case = bundle.system, bundle.case
    assert system is not None and d.extent is not None
    area = site.end_seal_area(case.value("pipe.outside_diameter"), d.extent.build_up, system.value("end_seal.width"))
    area = _sum([area] * len(d.extent.repairs), quantity.areas_together)
    waste = case.optional("takeoff.seal_waste")
    if waste is None:
        waste = case.value("takeoff.adhesive_waste")
        active().assume("The waste of the end seal is not stated; that of the adhesive is taken.",
                        "case: takeoff.adhesive_waste")
    mass = quantity.coating_mass(area, system.value("end_seal.coverage"), waste)
    return _packed("End seal", mass, system.value("end_seal.pack"), "both ends, on the outside of the wrap, with waste",
                   "end seal")


def grid_volumes(bundle: Bundle) -> tuple[float, float, int]:
    """(trapezium estimate, upper bound) in mm³ and the number of cells of the grid."""
    g = bundle.grid
    assert g is not None
    x, y, depth = np.array(g.axial), np.array(g.around), np.array(g.depth)
    corners = np.stack([depth[:-1, :-1], depth[:-1, 1:], depth[1:, :-1], depth[1:, 1:]])
    cell = np.outer(np.diff(y), np.diff(x))
    return float((corners.mean(axis=0) * cell).sum()), float((corners.max(axis=0) * cell).sum()), int(cell.size)
