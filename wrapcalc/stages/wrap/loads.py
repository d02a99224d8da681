"""What a wrap is designed for: pressure with shear and torsion, axial load with bending both ways, outside pressure."""

from __future__ import annotations

from dataclasses import dataclass

from wrapcalc.case import Bundle
from wrapcalc.formulas import pressure
from wrapcalc.formulas import wrap_external as external
from wrapcalc.formulas import wrap_loads as loads
from wrapcalc.formulas.net_section import total_axial_force
from wrapcalc.recorder import active
from wrapcalc.stages.wrap.strain import Gates
from wrapcalc.standards.documents import MECHANICS, PRACTICE
from wrapcalc.values import Value


@dataclass(frozen=True)
class AxialLoad:
    """One axial load case. force: signed, N, with the line force of bending; pressure: that surely acts with it."""

    force: Value
    pressure: Value | None
    words: str


@dataclass(frozen=True)
class Loads:
    """pressure: repair design pressure; equivalent: with shear and torsion; test: of the pressure test, None without.

    axial: load cases of a laminate that carries all of the axial load; relief: signed axial force that surely relieves
    the hoop direction, None where support or restraint is unknown; outside: outside pressure, None where none is
    stated; words: what makes up the equivalent pressure.
    """

    pressure: Value
    equivalent: Value
    test: Value | None
    axial: tuple[AxialLoad, ...]
    relief: Value | None
    outside: Value | None
    words: str


def repair_pressure(bundle: Bundle) -> Value:
    """The pressure to be restored, or a declared upset above it."""
    case, rec = bundle.case, active()
    restored = case.optional("service.lowered_maop")
    if restored is None:
        restored = case.value("service.maop")
    else:
        rec.assume("The wrap is designed for the lowered MAOP, not for the present one.", "case: service.lowered_maop")
    upset = case.optional("service.upset_pressure")
    if upset is None:
        return restored
    rec.assume("A declared upset pressure is designed for as a lasting load, at the strain of lasting load.",
               "safer reading")
    return pressure.repair_design_pressure(restored, upset)


def design_loads(bundle: Bundle, p: Value, wall: Value | None, remaining: Value | None, allowable: Value, gates: Gates
                 ) -> Loads:
    """Every load of the case on the wrap. wall: sound one; remaining: what is left; both None for a leak."""
    case, rec = bundle.case, active()
    diameter = case.value("pipe.outside_diameter")
    equivalent, words = p, "pressure"
    shear, torsion = (case.optional(f"service.{n}") for n in ("shear_force", "torsion"))
    if any(v is not None and v.magnitude for v in (shear, torsion)):
        none = bundle.tables.value
        shear = shear or none(PRACTICE.id, "no_force")
        torsion = torsion or none(PRACTICE.id, "no_moment")
        equivalent = loads.equivalent_pressure(p, diameter, shear, torsion)
        words = "pressure, shear and torsion"
        if shear.magnitude:
            rec.warn("The transverse force enters the equivalent pressure by the mean of its shear stress, as the "
                     "recalled form has it; the peak is twice that. Look at the combined stress by yourself where the "
                     "force is large.", equivalent.origin.ref)
        if remaining is None:
            gates.add(rec.gate("Shear or torsion over an opening", False, "stated", "none: without pressure nothing is "
                               "known to us of what they ask of a wrap over an opening", citation=MECHANICS.id,
                               status="derived", kind="scope"))
        if remaining is not None and wall is not None:
            ring = loads.ring_mean_diameter(diameter, wall, remaining)
            gates.add(rec.check("Shear of the remaining wall without pressure",
                                loads.shear_stress(shear, torsion, ring, remaining), "<=",
                                loads.allowable_shear(allowable), citation=MECHANICS.id, status="derived",
                                note="the equivalent pressure says nothing about a pipe without pressure"))
    axial, relief = _axial(bundle, p, diameter)
    return Loads(p, equivalent, case.optional("service.test_pressure"), axial, relief, _outside(bundle), words)


def _axial(bundle: Bundle, p: Value, diameter: Value) -> tuple[tuple[AxialLoad, ...], Value | None]:
    """Load cases, and the signed force that relieves the hoop direction."""
    case, rec = bundle.case, active()
    sure = case.service.restraint == "unrestrained"
    moment, outer = case.value("service.bending_moment"), case.value("service.axial_force")
    thrust = pressure.end_thrust(diameter, p)
    both = total_axial_force(thrust, outer) if outer.magnitude else thrust
    if not sure:
        rec.assume("Support and restraint are not known to leave the pipe free: the full end thrust is taken, and no "
                   "relief between the two directions of the laminate.", "safer reading")
    acting = p if sure else None
    tested = _at_test(bundle, diameter, outer, moment, sure)
    if not moment.magnitude:
        out = [AxialLoad(both, acting, "end thrust" + (", external force" if outer.magnitude else "")), *tested]
        if outer.magnitude:
            out.append(AxialLoad(outer, None, "external force without pressure"))
        return tuple(out), both if sure else None
    pressed = loads.equivalent_force_compressed(both, moment, diameter)
    bare = loads.equivalent_force_stretched if outer.magnitude >= 0 else loads.equivalent_force_compressed
    return (AxialLoad(loads.equivalent_force_stretched(both, moment, diameter), acting, "bending stretches"),
            AxialLoad(pressed, acting, "bending compresses"),
            AxialLoad(rec.named(bare(outer, moment, diameter), "Equivalent axial force without pressure"), None,
                      "bending without pressure"), *tested), pressed if sure else None


def _at_test(bundle: Bundle, diameter: Value, outer: Value, moment: Value, sure: bool) -> list[AxialLoad]:
    """Axial load of the pressure test, held against the strain of lasting load: a rare axial one is not known to us."""
    test, rec = bundle.case.optional("service.test_pressure"), active()
    if test is None:
        return []
    force = rec.named(pressure.end_thrust(diameter, test), "End thrust at the pressure test")
    if outer.magnitude:
        force = rec.named(total_axial_force(force, outer), "Axial force at the pressure test")
    if moment.magnitude:
        force = rec.named(loads.equivalent_force_stretched(force, moment, diameter),
                          "Equivalent axial force at the pressure test")
    return [AxialLoad(force, test if sure else None, "pressure test")]


def _outside(bundle: Bundle) -> Value | None:
    """Outside pressure of water or vacuum, soil and surface load; None where nothing of it is stated."""
    case, tables, rec = bundle.case, bundle.tables, active()
    cover, ext, surface = (case.optional(f"service.{n}") for n in ("soil_cover", "external_pressure",
                                                                   "surface_pressure"))
    if cover is None and ext is None and surface is None:
        return None
    nothing = tables.value(PRACTICE.id, "no_pressure")
    soil = nothing
    if cover is not None:
        density = case.optional("service.soil_density")
        if density is None:
            density = tables.value(PRACTICE.id, "soil_density")
            rec.assume(f"The density of the soil is {density.show(case.display)}; the case gives none.",
                       "common practice")
        soil = loads.soil_pressure(density, cover)
        rec.warn("The standards' own formula for soil load was not recalled: the weight of the cover stands for it.",
                 soil.origin.ref)
    return loads.outside_pressure(ext or nothing, soil, surface or nothing)


def steel_outside(bundle: Bundle, outside: Value, remaining: Value, modulus: Value, gates: Gates) -> None:
    """Where the route counts on the steel: the remaining wall, taken all round, must bear the outside pressure."""
    rec, tables = active(), bundle.tables
    need = rec.named(external.thickness_outside_pressure(
        bundle.case.value("pipe.outside_diameter"), tables.value(bundle.case.design.standard,
                                                                 "external_pressure_safety"),
        tables.value(PRACTICE.id, "steel_poisson"), outside, modulus), "Wall of steel against outside pressure")
    gates.add(rec.check("Remaining wall against outside pressure", remaining, ">=", need, citation=MECHANICS.id,
                        status="derived", note="a long ring of steel, with the safety factor of the laminate; nothing "
                        "of the wrap is counted"))


def thickness_outside(bundle: Bundle, outside: Value) -> Value:
    """Thickness of a laminate that must bear the outside pressure by itself."""
    system = bundle.system
    assert system is not None
    return external.thickness_outside_pressure(
        bundle.case.value("pipe.outside_diameter"),
        bundle.tables.value(bundle.case.design.standard, "external_pressure_safety"),
        system.value("laminate.poisson_ratio"), outside, system.value("laminate.modulus_hoop"))


