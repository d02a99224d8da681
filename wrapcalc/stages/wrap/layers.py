"""From thickness to layers: a lay-up is sized; a sleeve has a fixed number and is checked, one or more tiers."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wrapcalc.case import Bundle
from wrapcalc.case.model import COMPONENTS
from wrapcalc.formulas import wrap_thickness as thickness
from wrapcalc.recorder import active
from wrapcalc.stages.wrap.routes import Demand
from wrapcalc.stages.wrap.strain import Gates, is_asme
from wrapcalc.standards.documents import ISO_24817
from wrapcalc.values import Value


@dataclass(frozen=True)
class Layers:
    """count: layers in all; thickness: that counts; required: with all factors; tiers: sleeves one over the other.

    proposal: what to do when the sleeves are too few, "" when they suffice.
    """

    count: Value
    thickness: Value
    required: Value
    governing: Demand
    tiers: int
    proposal: str = ""


def component_factor(bundle: Bundle) -> Value | None:
    """Factor on the thickness of straight pipe for the part that is inside the repair; None for straight pipe."""
    inside = bundle.case.service.inside_repair
    if inside not in COMPONENTS:
        return None
    return bundle.tables.value(bundle.case.design.standard, f"component_factor_{inside}")


def lay(bundle: Bundle, demands: tuple[Demand, ...], ply: Value, factors: list[Value], gates: Gates) -> Layers:
    """Layers and thickness for the greatest of the demands, with the factors of component and room on it."""
    system, rec = bundle.system, active()
    assert system is not None and demands
    governing = max(demands, key=lambda d: d.required.magnitude)
    required = governing.required
    for other in demands:
        if other is not governing:
            required = thickness.greater_thickness(required, other.required)
    for factor in factors:
        required = thickness.design_thickness(required, factor)
    if required.magnitude == 0:
        rec.assume("No wrap is needed for strength: the steel alone carries every load case. What is laid is the least "
                   "that the system allows.", required.origin.ref)
    if system.is_sleeve:
        return _sleeves(bundle, required, governing, ply, gates)
    entry = bundle.tables.entry(bundle.case.design.standard, "minimum_layers")
    least = system.value("lay_up.least_layers")
    if entry.value().magnitude > least.magnitude:
        least = entry.value()
    layers = thickness.layers_required(required, ply, least)
    t_c = thickness.wrap_thickness(layers, ply)
    gates.add(rec.check("Layers against the most that were qualified", layers, "<=",
                        system.value("lay_up.most_layers"), citation=f"sheet of {system.system.id}",
                        status="system sheet", kind="gate"))
    _enough(bundle, t_c, required, governing, gates)
    return Layers(layers, t_c, required, governing, 1)


def _enough(bundle: Bundle, t_c: Value, required: Value, governing: Demand, gates: Gates) -> bool:
    return gates.add(active().check(
        "Wrap thickness against the thickness required", t_c, ">=", required,
        citation=f"{bundle.case.design.standard}, thickness", status="from memory",
        note=f"governing load case: {governing.what}, {governing.load_case}")).met


def _sleeves(bundle: Bundle, required: Value, governing: Demand, ply: Value, gates: Gates) -> Layers:
    system, rec, case = bundle.system, active(), bundle.case
    assert system is not None
    of_one = system.value("sleeve.layers")
    stated = case.optional("design.tiers")
    layers, tiers = of_one, 1
    if stated is not None and stated.magnitude > 1:
        tiers = int(stated.magnitude)
        layers = thickness.layers_of_tiers(stated, of_one)
        gates.add(rec.check("Sleeves one over the other against the most that were qualified", stated, "<=",
                            system.value("sleeve.most_tiers"), citation=f"sheet of {system.system.id}",
                            status="system sheet", kind="gate"))
    t_c = thickness.wrap_thickness(layers, ply)
    if _enough(bundle, t_c, required, governing, gates):
        return Layers(layers, t_c, required, governing, tiers)
    wanted = math.ceil(required.magnitude / (ply.magnitude * of_one.magnitude) - 1e-9)
    most = int(system.value("sleeve.most_tiers").magnitude)
    proposal = (f"{wanted} sleeves one over the other ({wanted * int(of_one.magnitude)} layers) would be thick enough: "
                f"state design.tiers = {wanted} and run again" if wanted <= most else
                f"{wanted} sleeves one over the other would be needed and the sheet qualifies {most}: choose another "
                "system, a lower pressure, or another repair")
    return Layers(layers, t_c, required, governing, tiers, proposal)


def slender(bundle: Bundle, t_c: Value) -> None:
    """A warning where the wrap is too thick for thin-wall design."""
    ratio = thickness.slenderness(bundle.case.value("pipe.outside_diameter"), t_c)
    limit = bundle.tables.entry(ISO_24817.id if is_asme(bundle) else bundle.case.design.standard, "thick_laminate")
    if limit.waits:  # a warning only: the value of another edition serves
        limit = bundle.tables.entry(ISO_24817.id, "thick_laminate")
    if ratio.magnitude < limit.value().magnitude:
        active().warn(f"The wrap is thicker than D/{limit.written} ({limit.citation}, {limit.status}): thin-wall "
                      "design is doubtful.", ratio.origin.ref)
