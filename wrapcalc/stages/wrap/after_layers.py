"""What the wrap as laid must still meet: its strain with the steel, the yield of the steel, the pressure test."""

from __future__ import annotations

from typing import TYPE_CHECKING

from wrapcalc.case import Bundle
from wrapcalc.case.design_model import BY_STEEL
from wrapcalc.formulas import wrap_thickness as thickness
from wrapcalc.recorder import active
from wrapcalc.stages.assessment.axial import axial_stress_at
from wrapcalc.stages.wrap.routes import LOAD_SHARING, YIELDED, Demand, Work
from wrapcalc.stages.wrap.strain import Gates
from wrapcalc.standards.documents import ISO_24817, MECHANICS
from wrapcalc.values import Value

if TYPE_CHECKING:
    from wrapcalc.stages.wrap.design import Design


def checks_as_laid(bundle: Bundle, d: Design, gates: Gates) -> None:
    """Checks of the route of record at the thickness as laid, which may be thicker than required."""
    work, laid = d.work, d.laid
    if work is None or laid is None or d.chosen is None:
        return
    if d.chosen.key == LOAD_SHARING:
        _shared(bundle, work, laid.thickness, gates)
        for demand in d.chosen.demands:
            if demand.capacity is not None and demand.required.magnitude > 0:
                _shared_along(work, demand, laid.thickness, gates)
    if d.chosen.key == YIELDED:
        _still_yields(bundle, work, laid.thickness, gates)
    if work.loads.test is not None and counts_on_section(bundle, d):
        _axial_at_test(bundle, work, gates)


def counts_on_section(bundle: Bundle, d: Design) -> bool:
    """Whether the damaged section carries the axial load, or shares it: then it must hold it at the test, too."""
    assert d.chosen is not None
    if d.chosen.key == YIELDED and d.chosen.axial is not None:
        return False
    return d.chosen.key in (LOAD_SHARING, YIELDED) or bundle.case.design.axial_carried_by == BY_STEEL


def _axial_at_test(bundle: Bundle, work: Work, gates: Gates) -> None:
    rec, test = active(), work.loads.test
    assert work.a is not None and work.a.section is not None and test is not None
    stress = rec.procedure(
        "Axial stress of the damaged section at the pressure test", "every load case with the external loads and the "
        "test pressure, at its worst width; no help of the wrap is counted", MECHANICS.id, "derived",
        {"test pressure": test}, {"greatest axial stress": (axial_stress_at(bundle, work.a.section, test.magnitude),
                                                            "MPa")})["greatest axial stress"]
    gates.add(rec.check("Axial stress of the damaged section at the pressure test", stress, "<=",
                        bundle.case.value("pipe.smys"), citation=MECHANICS.id, status="derived"))


def _shared(bundle: Bundle, work: Work, t_c: Value, gates: Gates) -> None:
    rec, a, allowed, loads = active(), work.a, work.allowed, work.loads
    assert a is not None and a.governing is not None and allowed is not None
    modulus = work.laminate("modulus_hoop")
    ring = thickness.equivalent_wall(a.governing, work.diameter, a.allowable)
    worked = thickness.wrap_strain_load_sharing(loads.equivalent, work.diameter, work.metal.modulus, ring, modulus, t_c)
    gates.add(rec.check("Hoop strain of the wrap, load sharing", worked, "<=", allowed.hoop, citation=MECHANICS.id,
                        status="derived"))
    limit = thickness.installation_pressure_limit(a.governing, thickness.thickness_load_sharing(
        work.diameter, a.allowable, work.metal.modulus, modulus, loads.equivalent, a.governing), t_c)
    rec.check("Installation pressure against the highest for which these layers suffice", work.live, "<=", limit,
              citation=MECHANICS.id, status="derived", kind="information",
              note="where it is not met: more layers, or a lower pressure while wrapping")
    if loads.test is not None and allowed.rare is not None:
        tested = rec.named(thickness.wrap_strain_load_sharing(loads.test, work.diameter, work.metal.modulus, ring,
                                                              modulus, t_c),
                           "Hoop strain of the wrap at the pressure test, load sharing")
        gates.add(rec.check("Hoop strain of the wrap at the pressure test", tested, "<=", allowed.rare,
                            citation=MECHANICS.id, status="derived"))
        stress = thickness.steel_stress_shared(work.live, loads.test, work.diameter, ring, work.metal.modulus, modulus,
                                               t_c)
        gates.add(rec.check("Stress of the steel under the wrap at the pressure test", stress, "<=",
                            bundle.case.value("pipe.smys"), citation=MECHANICS.id, status="derived",
                            note="of a sound ring as strong as the damaged pipe"))


def _shared_along(work: Work, demand: Demand, t_c: Value, gates: Gates) -> None:
    rec, a, allowed = active(), work.a, work.allowed
    assert a is not None and allowed is not None and demand.force is not None and demand.capacity is not None
    ring = rec.named(thickness.equivalent_wall(demand.capacity, work.diameter, a.allowable),
                     "Wall of a sound ring as strong as the damaged section along the pipe")
    worked = thickness.wrap_axial_strain_load_sharing(demand.force, work.diameter, work.metal.modulus, ring,
                                                      work.laminate("modulus_axial"), t_c)
    gates.add(rec.check("Axial strain of the wrap, load sharing", worked, "<=", allowed.axial, citation=MECHANICS.id,
                        status="derived"))


def _still_yields(bundle: Bundle, work: Work, t_c: Value, gates: Gates) -> None:
    """The route holds only if the steel yields under the wrap as laid, which may be thicker than required."""
    rec = active()
    assert work.remaining is not None
    elastic = rec.named(thickness.ligament_stress_elastic(work.loads.equivalent, work.diameter, work.remaining, t_c,
                                                          work.laminate("modulus_hoop"), work.metal.modulus),
                        "Stress of the remaining wall under the wrap as laid, if it stayed elastic")
    gates.add(rec.check("Steel yields under the wrap as laid, yielded steel", elastic, ">",
                        bundle.case.value("pipe.smys"), citation=f"{ISO_24817.id}, 7.5.4", status="from memory",
                        kind="gate", note="if it does not, the route does not hold: use load sharing"))
    rec.warn("The yielded-steel route limits the strain of the wrap; it has no margin of its own against burst. "
             "Confirm that margin by the system's tests.", elastic.origin.ref)
