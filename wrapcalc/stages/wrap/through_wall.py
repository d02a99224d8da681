"""A wrap over an opening through the wall: factors, ceiling, thickness by a bracketed root, validity.

Only for plant piping whose fluid does no harm and whose flow is stopped; a leaking transmission line is refused by its
line code before anything of this runs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from wrapcalc.case import Bundle
from wrapcalc.case.model import AXIAL_SLOT, HOLE, PLANT
from wrapcalc.errors import CalculationError
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.formulas import wrap_strain
from wrapcalc.formulas import wrap_through_wall as leak
from wrapcalc.recorder import active
from wrapcalc.searches.inversions import largest_passing
from wrapcalc.searches.toughness import toughness_of_tests
from wrapcalc.stages.wrap.loads import Loads
from wrapcalc.stages.wrap.strain import Allowed, Gates, is_asme
from wrapcalc.stages.wrap.zones import Zone
from wrapcalc.standards.documents import ISO_24817, MECHANICS, PCC_2
from wrapcalc.units import show
from wrapcalc.values import Value

#: Thickest laminate that is looked at, over the outside diameter, and width of the bracket at its end in mm.
_THICKEST, _NARROW = 1.0, 1e-7


@dataclass(frozen=True)
class Opening:
    """size: at the end of the repair's life; required: thickness over it, None when nothing holds; reason: why."""

    size: Value
    required: Value | None
    reason: str = ""
    knockdown: Value | None = None


def answered(bundle: Bundle) -> bool:
    """Whether the case says enough of an opening to design for it."""
    case = bundle.case
    return case.defect.leak_shape is not None and case.get("defect.leak_size") is not None


def gates_of_leak(bundle: Bundle, gates: Gates) -> None:
    """What must hold before an opening through the wall may be wrapped at all."""
    case, rec, system = bundle.case, active(), bundle.system
    assert system is not None
    for title, holds, found, wanted, cite, status in (
            ("Service of the leaking pipe", case.service.service == PLANT, case.service.service,
             "plant piping; a leaking transmission line is repaired as its line code asks", ISO_24817.id,
             "from memory"),
            ("Fluid that leaks", case.service.fluid == "non-hazardous", case.service.fluid or "not stated",
             "non-hazardous", ISO_24817.id, "from memory"),
            ("Flow stopped before anything is bonded", case.defect.leak_stopped == "yes",
             case.defect.leak_stopped or "not stated", "yes: no fluid at the bond line", ISO_24817.id, "from memory"),
            ("System tested over openings", system.through_wall is not None,
             "yes" if system.through_wall is not None else "no [through_wall] in the sheet", "yes",
             f"sheet of {system.system.id}", "system sheet")):
        gates.add(rec.gate(title, holds, found, wanted, citation=cite, status=status))


def opening_thickness(bundle: Bundle, loads: Loads, allowed: Allowed, gates: Gates) -> Opening:
    """Thickness over the opening at the end of the repair's life."""
    case, rec, system = bundle.case, active(), bundle.system
    assert system is not None and system.through_wall is not None
    diameter, p = case.value("pipe.outside_diameter"), loads.equivalent
    if loads.test is not None and loads.test.magnitude > p.magnitude:
        p = loads.test
        rec.assume("Over the opening the pressure test is designed for as a lasting load.", "safer reading")
    growth = case.optional("defect.leak_growth")
    size = case.value("defect.leak_size")
    if growth is not None and growth.magnitude:
        size = leak.opening_after(size, growth, case.value("design.design_life"))
    _risk(bundle, p, size, diameter)
    sheet = {"citation": f"sheet of {system.system.id}", "status": "system sheet", "kind": "gate",
             "note": f"evidence: {system.through_wall.reference}"}
    gates.add(rec.check("Opening inside what was tested", size, "<=", system.value("through_wall.largest_opening"),
                        **sheet))
    gates.add(rec.check("Pressure over the opening inside what was tested over openings", p, "<=",
                        system.value("through_wall.pressure_max"), **sheet))
    toughness = system.value("through_wall.toughness")
    if system.blister:
        _toughness_of_tests(bundle, toughness, gates)
    knockdown = leak.leak_knockdown(wrap_strain.temperature_factor_strength(allowed.margin),
                                    system.value("through_wall.degradation_factor"), _leak_factor(bundle),
                                    allowed.cyclic)
    modulus = leak.geometric_modulus(system.value("laminate.modulus_axial"), system.value("laminate.modulus_hoop"))
    first = (knockdown, toughness, system.value("laminate.poisson_ratio"), modulus, size)
    hole = case.defect.leak_shape == HOLE
    ceiling = (leak.ceiling_hole if hole else leak.ceiling_slot)(*first)
    fits = gates.add(rec.check("Equivalent pressure against the ceiling that no thickness reaches", p, "<", ceiling,
                               citation=MECHANICS.id, status="derived", kind="gate"))
    if not fits.met:
        return Opening(size, None, "the pressure is above what any thickness of this system reaches over the opening",
                       knockdown)
    if case.defect.leak_shape == AXIAL_SLOT:
        rec.warn("The equation of the standards for an axial slot was not recalled: that of a slot right round the "
                 "pipe stands for it, with the width of the slot around the pipe. The result is information.",
                 size.origin.ref)
        gates.add(rec.gate("Equation for an axial slot is known", False, "a stand-in of ours",
                           "the equation of the standard", citation=f"{ISO_24817.id}, 7.5.7", status="from memory",
                           kind="scope"))
    shear = system.value("through_wall.shear_modulus")
    slot_shear = bundle.tables.value(case.design.standard, "slot_shear_coefficient")
    required = _root(bundle, p, first, shear, None if hole else slot_shear)
    if required is None:
        reason = "no wrap up to the pipe's own diameter reaches the pressure"
        gates.add(rec.gate("Thickness over the opening", False, reason, "a thickness",
                           citation=f"{ISO_24817.id}, 7.5.7", status="from memory"))
        return Opening(size, None, reason, knockdown)
    if hole:
        reached = leak.leak_pressure_hole(*first, required, shear)
    else:
        reached = leak.leak_pressure_slot(*first, required, shear, slot_shear)
    gates.add(rec.check("Pressure reached by the thickness found", reached, ">=", p, citation=f"{ISO_24817.id}, 7.5.7",
                        status="from memory"))
    return Opening(size, required, "", knockdown)


def _toughness_of_tests(bundle: Bundle, stated: Value, gates: Gates) -> None:
    """The toughness of the sheet must not be above the lower limit that its own tests give."""
    system, rec = bundle.system, active()
    assert system is not None
    same = {"K": 1.0, "gamma": 1.0, "nu": system.value("laminate.poisson_ratio").magnitude,
            "E_ac": leak.geometric_modulus.core(E_a=system.value("laminate.modulus_axial").magnitude,
                                                E_c=system.value("laminate.modulus_hoop").magnitude),
            "G": system.value("through_wall.shear_modulus").magnitude}
    roots = [leak.leak_pressure_hole.core(**same, d_h=b.hole.base, t_c=b.thickness.base) for b in system.blister]
    try:
        found = toughness_of_tests(roots, [b.pressure.base for b in system.blister])
    except CalculationError as e:
        gates.add(rec.gate("Toughness from tests over holes", False, str(e), "at least three tests that agree",
                           citation=f"sheet of {system.system.id}", status="system sheet"))
        return
    display = bundle.case.display
    lower = rec.procedure(
        "Toughness from tests over holes", "least squares of the pressures at failure on those of the equation for a "
        "toughness of one, through the origin; lower 95 % limit by Student's t with two degrees of freedom fewer than "
        "tests", f"{PCC_2.id}, mandatory appendix IV", "from memory",
        {"hoop modulus": system.value("laminate.modulus_hoop"),
         "axial modulus": system.value("laminate.modulus_axial"),
         "shear modulus": system.value("through_wall.shear_modulus")},
        {"lower limit": (found.lower, "N/mm"), "mean": (found.mean, "N/mm")},
        [("tests", str(found.tests)), ("deviation of the pressures", show(found.deviation, "MPa", system=display)),
         ("Student's t, two-sided 95 %", f"{found.student:.4f}")])["lower limit"]
    gates.add(rec.check("Toughness of the sheet against the lower limit of its tests", stated, "<=", lower,
                        citation=f"sheet of {system.system.id}", status="system sheet", kind="gate"))


def validity(bundle: Bundle, size: Value, t_c: Value, gates: Gates) -> None:
    """The opening against the limit of the equation, at the thickness as laid."""
    case, rec = bundle.case, active()
    diameter, document = case.value("pipe.outside_diameter"), case.design.standard
    if case.defect.leak_shape == HOLE:
        entry = bundle.tables.entry(document, "hole_limit_coefficient")
        limit = leak.hole_limit(entry.value(), diameter, t_c)
    else:
        entry = bundle.tables.entry(document, "slot_limit_coefficient")
        limit = leak.slot_limit(entry.value(), diameter, t_c)
    gates.add(rec.check("Opening inside the validity of the equation", size, "<=", limit, citation=entry.citation,
                        status=entry.status, kind="scope", note="the smaller of two recollections"))


def zone(bundle: Bundle, opening: Opening) -> Zone:
    """The damage under the wrap: the thinned metal around the opening, or the opening at the end of its life."""
    case, rec = bundle.case, active()
    length = rec.named(strength.length_for_assessment(case.value("defect.length"),
                                                      case.value("defect.length_allowance")),
                       "Length of the damage around the opening, with allowance")
    rate = case.optional("growth.length_rate")
    if rate is not None:
        length = leak.opening_after(length, rate, case.value("design.design_life"))
        length = rec.named(length, "Length of the damage around the opening at the end of the repair's life")
    elif case.service.internal_corrosion == "active":
        rec.assume("The thinned metal around the opening keeps its length: the case states no rate of length.",
                   "case: growth")
    whole = leak.damage_with_opening(length, opening.size)
    return Zone("1", 0.0, whole, case.value("defect.length"))


def _leak_factor(bundle: Bundle) -> Value:
    case, tables, document = bundle.case, bundle.tables, bundle.case.design.standard
    if is_asme(bundle):
        return tables.value(document, "leak_factor")
    grade = case.design.repair_class or "3"
    return leak.leak_factor_by_class(tables.value(document, f"leak_factor_start_class_{grade}"),
                                     tables.value(document, f"leak_factor_slope_class_{grade}"),
                                     case.value("design.design_life"))


def _risk(bundle: Bundle, p: Value, size: Value, diameter: Value) -> None:
    """ASME's split between high and low risk, for information: the article for low risk is not used here."""
    rec, number = active(), leak.leak_number(p, size)
    share = leak.hole_share(size, diameter)
    for title, have, name in (("Pressure times root of the opening", number, "high_risk_leak_number"),
                              ("Opening over outside diameter", share, "high_risk_hole_share")):
        entry = bundle.tables.entry(PCC_2.id, name)
        if not entry.waits:
            rec.check(f"{title}, split of high and low risk", have, "<=", entry.value(), citation=entry.citation,
                      status=entry.status, kind="information", note="above it the repair is of high risk; it is "
                      "designed as such in any case")


def _root(bundle: Bundle, p: Value, first: tuple[Value, ...], shear: Value, slot_shear: Value | None
          ) -> Value | None:
    """Least thickness whose pressure reaches p, None for none: the pressure grows with every bit of thickness."""
    K, gamma, nu, E_ac, size = (v.magnitude for v in first)
    common = {"K": K, "gamma": gamma, "nu": nu, "E_ac": E_ac, "G": shear.magnitude}

    def reached(t: float) -> float:
        if slot_shear is None:
            return leak.leak_pressure_hole.core(**common, d_h=size, t_c=t)
        return leak.leak_pressure_slot.core(**common, W_s=size, t_c=t, k_sh=slot_shear.magnitude)

    most = bundle.case.get("pipe.outside_diameter").base * _THICKEST
    # Turned round: the thinner, the less it reaches; the largest part that may be left out of the thickest.
    found = largest_passing(lambda less: reached(most - less), p.magnitude, 0.0, most - _NARROW, tolerance=_NARROW)
    if found.passing is None:
        return None
    thickness = most - found.passing
    assert math.isfinite(thickness)
    return active().procedure(
        "Thickness over the opening", "bisection on the pressure that a wrap over the opening is good for; the side of "
        "the bracket that passes", ISO_24817.id + ", 7.5.7", "from memory",
        {"pressure": p, "factors": first[0], "toughness": first[1], "size of the opening": first[4],
         "shear modulus": shear},
        {"thickness": (thickness, "mm")},
        [("bracket", found.words), ("steps", str(found.steps)),
         ("pressure reached less pressure wanted", show(found.residual, "MPa", system=bundle.case.display))]
    )["thickness"]
