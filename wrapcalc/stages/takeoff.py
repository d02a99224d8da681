"""What to order for one repair: units or cloth, adhesive or resin, primer, filler, in whole packs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.formulas import takeoff as quantity
from wrapcalc.recorder import active
from wrapcalc.stages.assess import Assessment
from wrapcalc.stages.design import Design
from wrapcalc.standards.documents import MECHANICS
from wrapcalc.values import Value


@dataclass(frozen=True)
class Line:
    """One line of the order. quantity: what to order, waste in it; packs: whole packs, where there are packs."""

    item: str
    quantity: Value
    packs: Value | None = None
    pack: Value | None = None
    basis: str = ""


def takeoff(bundle: Bundle, a: Assessment, d: Design) -> tuple[Line, ...]:
    """Quantities for a design that holds."""
    system = bundle.system
    assert system is not None and d.layout is not None and d.overall is not None and d.layers is not None
    diameter = bundle.case.value("pipe.outside_diameter")
    bonded = quantity.bonded_area(diameter, d.overall)
    lines = _sleeves(bundle, d) if system.is_sleeve else _cloth(bundle, d)
    lines.append(_filler(bundle, a, d))
    if system.primer.used == "yes":
        mass = quantity.coating_mass(bonded, system.value("primer.coverage"),
                                     bundle.case.value("takeoff.primer_waste"))
        lines.append(_packed("Primer", mass, system.value("primer.pack"), "bonded area, with waste"))
    active().assume("The order is for this repair alone: no spares, consumables, abrasive or coating.", "scope")
    return tuple(lines)


def _packed(item: str, mass: Value, pack: Value, basis: str) -> Line:
    mass = active().named(mass, f"{item} to order, with waste")
    return Line(item, mass, active().named(quantity.packs(mass, pack), f"{item}: whole packs"), pack, basis)


def _sleeves(bundle: Bundle, d: Design) -> list[Line]:
    system, diameter = bundle.system, bundle.case.value("pipe.outside_diameter")
    bond = system.value("sleeve.bond_line")
    length = quantity.wrap_length(d.layers, diameter, d.pitch, bond)
    out = []
    for width, pieces in sorted(d.layout.counts.items(), reverse=True):
        source = next(w for w in system.unit_widths if w.magnitude == width)
        out.append(Line(f"Sleeve, {source.show(bundle.case.display)} wide, "
                        f"{int(d.layers.magnitude)} layers, for outside diameter "
                        f"{diameter.show(bundle.case.display)}", pieces,
                        basis=f"developed length of each {length.show(bundle.case.display)} ({length.origin.ref})"))
    volume = quantity.adhesive_volume(d.layers, diameter, d.pitch, bond, d.layout.total_width)
    mass = quantity.mass_from_volume(volume, system.value("adhesive.density"),
                                     bundle.case.value("takeoff.adhesive_waste"))
    out.append(_packed("Adhesive", mass, system.value("adhesive.pack"), "all bond lines, with waste"))
    return out


def _cloth(bundle: Bundle, d: Design) -> list[Line]:
    system, case = bundle.system, bundle.case
    diameter, ply = case.value("pipe.outside_diameter"), system.value("laminate.ply_thickness")
    length = quantity.wrap_length_lay_up(d.layers, diameter, ply)
    cut = quantity.cut_length(length, system.value("lay_up.cutting_allowance"))
    area = quantity.cloth_area(cut, d.layout.total_width)
    waste = case.value("takeoff.cloth_waste")
    order = quantity.cloth_area_with_waste(area, waste)
    words = "; ".join(f"{int(d.layout.counts[w.magnitude].magnitude)} of {w.show(case.display)}"
                      for w in system.unit_widths if w.magnitude in d.layout.counts)
    out = [Line(f"Cloth, bands: {words}; each cut to {cut.show(case.display)}", order,
                basis=f"{int(d.layers.magnitude)} layers, with waste")]
    resin = quantity.resin_mass(area, system.value("lay_up.cloth_areal_mass"),
                                system.value("lay_up.fibre_mass_share"), case.value("takeoff.adhesive_waste"))
    out.append(_packed("Resin", resin, system.value("adhesive.pack"), "wetting out the cloth, with waste"))
    return out


def _filler(bundle: Bundle, a: Assessment, d: Design) -> Line:
    system, case, rec = bundle.system, bundle.case, active()
    if bundle.grid is None:
        bound = quantity.filler_box(a.extent, case.value("defect.width"), a.greatest)
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
        fillets = quantity.end_fillet_volume(case.value("pipe.outside_diameter"), d.end_length, d.build_up)
        bound = quantity.filler_volume(bound, fillets)
        basis += " and end fillets"
    mass = quantity.mass_from_volume(bound, system.value("filler.density"), case.value("takeoff.filler_waste"))
    return _packed("Filler", mass, system.value("filler.pack"), f"{basis}, with waste")


def grid_volumes(bundle: Bundle) -> tuple[float, float, int]:
    """(trapezium estimate, upper bound) in mm³ and the number of cells of the grid."""
    g = bundle.grid
    x, y, depth = np.array(g.axial), np.array(g.around), np.array(g.depth)
    corners = np.stack([depth[:-1, :-1], depth[:-1, 1:], depth[1:, :-1], depth[1:, 1:]])
    cell = np.outer(np.diff(y), np.diff(x))
    return float((corners.mean(axis=0) * cell).sum()), float((corners.max(axis=0) * cell).sum()), int(cell.size)
