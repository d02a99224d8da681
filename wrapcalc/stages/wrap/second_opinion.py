"""A second opinion on a design: thick-wall elasticity of steel, filler and wrap, beside the answer of the clause."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from wrapcalc import units
from wrapcalc.case import Bundle
from wrapcalc.case.model import INTERNAL_LOSS
from wrapcalc.errors import CalculationError
from wrapcalc.formulas import second_opinion as strains
from wrapcalc.formulas import wrap_thickness as thickness
from wrapcalc.recorder import active
from wrapcalc.searches.cylinders import Layer, Stack, stacked
from wrapcalc.stages.wrap.design import Design
from wrapcalc.stages.wrap.routes import LOAD_SHARING, YIELDED
from wrapcalc.standards.documents import MECHANICS, PRACTICE
from wrapcalc.values import Value

STEEL, FILLER, WRAP = "steel", "filler", "wrap"
#: A filler thinner than this, in mm, is none.
_NO_FILLER = 1e-6


@dataclass(frozen=True)
class Opinion:
    """strain: greatest hoop strain of the wrap by the second opinion, for a pipe that was empty while wrapping.

    clause: strain by the route of record; difference: of both, over the clause; rings: (state, wrap strain, steel hoop
    stress, share of the steel that yields) with the declared installation pressure; through: hoop stress by radius for
    the first of those states.
    """

    strain: Value
    clause: Value
    difference: Value
    rings: tuple[dict[str, float | str], ...]
    through: dict[str, Any]


def second_opinion(bundle: Bundle, d: Design) -> Opinion | None:
    """Strains of steel and wrap as a stack of thick cylinders; None where that is outside its scope."""
    rec = active()
    rec.begin("Second opinion")
    if d.at_end is None or d.work is None:
        rec.gate("Second opinion covers this design", False, "an opening through the wall: outside scope",
                 "a wall that is left all round", citation=MECHANICS.id, status="derived", kind="scope")
        return None
    assert d.chosen is not None and d.laid is not None and d.loads is not None
    counted = d.chosen.key in (LOAD_SHARING, YIELDED)
    wall = _wall(bundle, d)
    clause = _clause(bundle, d, wall)
    layers = _layers(bundle, d, wall if counted else None)
    found, beside = {}, {}
    whole = _layers(bundle, d, wall)
    try:
        for words, force in _states(bundle, d, layers).items():
            found[words] = _run(bundle, d, layers, force, empty=True)
        for words, force in _states(bundle, d, whole).items():
            beside[words] = _run(bundle, d, whole, force, empty=False)
    except CalculationError as e:
        rec.warn(f"The second opinion could not be worked out: {e}. The design stands on the clause alone.",
                 d.laid.thickness.origin.ref)
        return None
    if d.chosen.key == LOAD_SHARING:
        _steel(bundle, d, beside)
    return _told(bundle, d, wall, clause, found, beside, counted)


def _steel(bundle: Bundle, d: Design, beside: dict[str, Stack]) -> None:
    """Mean hoop stress of the steel ring with the installation pressure, against what the clause brings it to.

    A thick wrap is stressed less at its outside and leaves more to the steel than thin-wall sharing has it.
    """
    rec, work = active(), d.work
    assert work is not None and work.a is not None
    means = {w: (s.inner[STEEL].stress_hoop + s.outer[STEEL].stress_hoop) / 2 for w, s in beside.items()}
    worst = max(means, key=lambda w: means[w])
    mean = rec.procedure("Mean hoop stress of the steel ring", "half the sum of the stresses at its inner and outer "
                         "face, the greatest over the axial states, with the installation pressure", MECHANICS.id,
                         "derived", {"installation pressure": bundle.case.value("service.installation_pressure")},
                         {"mean hoop stress": (means[worst], "MPa")}, [("governs", worst)])["mean hoop stress"]
    c = rec.check("Mean hoop stress of the steel ring by the second opinion", mean, "<=", work.a.allowable,
                  citation=MECHANICS.id, status="derived", kind="information", note=f"axial state: {worst}")
    if not c.met:
        rec.warn(f"By the second opinion the steel ring is stressed to {mean.show(bundle.case.display, 3)}, above the "
                 f"allowable {work.a.allowable.show(bundle.case.display, 3)} that load sharing aims at: for a thick "
                 "wrap the clause is not on the safe side for the steel. More layers, or a lower pressure while "
                 "wrapping.",
                 mean.origin.ref)


def _clause(bundle: Bundle, d: Design, wall: Value) -> Value:
    """Hoop strain of the wrap by the route of record, at the thickness as laid and the whole pressure."""
    work, t_c = d.work, d.laid.thickness  # type: ignore[union-attr]
    assert work is not None and d.chosen is not None and d.at_end is not None and d.at_end.governing is not None
    p, modulus = work.loads.equivalent, work.laminate("modulus_hoop")
    if d.chosen.key == LOAD_SHARING:
        return thickness.wrap_strain_load_sharing(p, work.diameter, work.metal.modulus, wall, modulus, t_c)
    if d.chosen.key == YIELDED:
        assert work.remaining is not None
        return strains.wrap_strain_yielded(p, work.diameter, bundle.case.value("pipe.smys"), work.remaining, modulus,
                                           t_c)
    return strains.wrap_strain_alone(p, work.diameter, modulus, t_c)


def _wall(bundle: Bundle, d: Design) -> Value:
    """Wall of the steel ring: as strong as the damaged pipe where steel and wrap share, else what is left."""
    assert d.at_end is not None and d.chosen is not None and d.remaining_wall is not None
    if d.chosen.key != LOAD_SHARING:
        return d.remaining_wall
    assert d.at_end.governing is not None
    return thickness.equivalent_wall(d.at_end.governing, bundle.case.value("pipe.outside_diameter"), d.at_end.allowable)


def _layers(bundle: Bundle, d: Design, wall: Value | None) -> list[Layer]:
    """The stack from the inside out; without a wall the steel is not counted and the pressure acts on the wrap.

    Loss outside: steel, then filler up to the outside diameter. Loss inside: the steel lies at the outside diameter.
    """
    system, work = bundle.system, d.work
    assert system is not None and work is not None and d.at_end is not None and d.laid is not None
    radius = bundle.case.get("pipe.outside_diameter").base / 2
    out = []
    if wall is not None:
        nu = bundle.tables.value(PRACTICE.id, "steel_poisson").magnitude
        smys = bundle.case.get("pipe.smys").base
        outer = radius
        if bundle.case.defect.kind != INTERNAL_LOSS:
            outer = radius - max(d.at_end.wall.magnitude - wall.magnitude, 0.0)
        out.append(Layer.isotropic(STEEL, outer - wall.magnitude, outer, work.metal.modulus.magnitude, nu, yields=smys))
        if radius - outer > _NO_FILLER:
            out.append(Layer.isotropic(FILLER, outer, radius, system.value("filler.modulus").magnitude,
                                       system.value("filler.poisson_ratio").magnitude, later=True))
    nu, through, around, along = (system.value(f"laminate.{n}").magnitude for n in (
        "poisson_ratio", "modulus_through", "modulus_hoop", "modulus_axial"))
    out.append(Layer(WRAP, radius, radius + d.laid.thickness.magnitude, through, around, along, nu, nu, nu,
                     later=wall is not None))
    return out


def _states(bundle: Bundle, d: Design, layers: list[Layer]) -> dict[str, tuple[float, float] | None]:
    """Axial states: (force, force while wrapping) in N, None for a pipe that is held along its length.

    The one without axial load is what the clause takes; it is always among them.
    """
    case = bundle.case
    assert d.loads is not None
    p, live = d.loads.equivalent.magnitude, case.get("service.installation_pressure").base
    outer = case.get("service.axial_force").base
    bore = math.pi * layers[0].inner ** 2
    out: dict[str, tuple[float, float] | None] = {"no axial load": (0.0, 0.0)}
    if case.service.restraint != "restrained":
        out["end thrust" + (" and external force" if outer else "")] = (bore * p + outer, bore * live + outer)
    if case.service.restraint != "unrestrained":
        out["held along the pipe"] = None
    return out


def _run(bundle: Bundle, d: Design, layers: list[Layer], force: tuple[float, float] | None, *, empty: bool) -> Stack:
    assert d.loads is not None
    live = 0.0 if empty or not layers[-1].later else bundle.case.get("service.installation_pressure").base
    if force is None:
        return stacked(layers, d.loads.equivalent.magnitude, pressure_before=live)
    outer = force[1] if live else 0.0
    return stacked(layers, d.loads.equivalent.magnitude, force=force[0], pressure_before=live, force_before=outer)


def _row(words: str, stack: Stack) -> dict[str, float | str]:
    return {"state": words, "wrap": stack.inner[WRAP].strain_hoop, "axial": stack.inner[WRAP].strain_axial,
            "steel": stack.inner[STEEL].stress_hoop, "yielded": stack.yielded}


def _told(bundle: Bundle, d: Design, wall: Value, clause: Value, found: dict[str, Stack],
          beside: dict[str, Stack], counted: bool) -> Opinion:
    rec, system, display = active(), bundle.system, bundle.case.display
    assert system is not None and d.laid is not None and d.loads is not None
    worst = max(found, key=lambda w: found[w].inner[WRAP].strain_hoop)
    rings = tuple(_row(w, s) for w, s in beside.items())
    rec.assume("Second opinion: the ring of steel and filler is taken right round the pipe, as the clause does; "
               "bending is not in it; the wrap is one layer of the thickness that counts, with the one Poisson "
               "ratio of the sheet in every plane. A long, narrow pocket with steep edges bends its ligament and may "
               "strain the wrap by about a third more than any ring (our finite elements).", "derived")
    details = [(f"wrap put on the empty pipe, {w}", f"wrap hoop strain {_strain(s.inner[WRAP].strain_hoop)}"
                + (f", steel hoop stress {units.show(s.inner[STEEL].stress_hoop, 'MPa', system=display)}, "
                   f"{_yields(s.yielded)}" if counted else ", steel not counted"))
               for w, s in found.items()]
    details += [(f"wrap put on at the installation pressure, {r['state']}",
                 f"wrap hoop strain {_strain(float(r['wrap']))}, axial {_strain(float(r['axial']))}, steel hoop stress "
                 f"{units.show(float(r['steel']), 'MPa', system=display)}, {_yields(float(r['yielded']))}")
                for r in rings]
    details.append(("greatest imbalance of the solution over the pressure",
                    units.tidy(f"{max(s.residual for s in found.values()):.0e}")))
    strain = rec.procedure(
        "Wrap and steel as thick cylinders", "steel, filler and wrap as bonded cylinders, the wrap of different moduli "
        "along, around and through; radial equilibrium solved exactly while the steel is elastic, by finite elements "
        "along the radius where it yields; filler and wrap are without stress when they are put on. The greatest hoop "
        "strain of the wrap over the axial states, for a pipe that was empty then", MECHANICS.id, "derived",
        {"pressure": d.loads.equivalent, "wall of the steel ring": wall, "wrap thickness": d.laid.thickness,
         "hoop modulus": system.value("laminate.modulus_hoop"), "axial modulus": system.value("laminate.modulus_axial"),
         "modulus through the thickness": system.value("laminate.modulus_through"),
         "modulus of the filler": system.value("filler.modulus"),
         "installation pressure": bundle.case.value("service.installation_pressure")},
        {"hoop strain of the wrap": (found[worst].inner[WRAP].strain_hoop, "")}, [*details, ("governs", worst)]
    )["hoop strain of the wrap"]
    difference = strains.opinion_difference(strain, clause)
    limit = bundle.tables.entry(PRACTICE.id, "difference_of_opinions")
    rec.check("Second opinion above the clause", difference, "<=", limit.value(), citation=limit.citation,
              status=limit.status, kind="information", note=f"axial state: {worst}")
    if abs(difference.magnitude) > limit.value().magnitude:
        side = ("sees more strain in the wrap than the clause: find out why before relying on the design"
                if difference.magnitude > 0 else "sees less strain in the wrap than the clause, which is on the safe "
                "side")
        rec.warn(f"The second opinion differs from the clause by {difference.show(significant=2)}, more than "
                 f"{limit.written}: it {side}.", difference.origin.ref)
    first, stack = next(iter(beside.items()))
    through = {"state": f"{first}, wrap put on at the installation pressure",
               "rings": [{"name": n, "points": [[e.radius, e.stress_hoop] for e in (stack.inner[n], stack.outer[n])]}
                         for n in stack.inner]}
    return Opinion(strain, clause, difference, rings, through)


def _strain(value: float) -> str:
    return units.show(value, "", significant=4)


def _yields(share: float) -> str:
    return "none of its wall yields" if share == 0 else f"{share:.0%} of its wall yields"
