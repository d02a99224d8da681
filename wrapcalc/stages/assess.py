"""Is the pipe fit? Wall, depth and length as used; three forms of remaining strength; the axial section."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.case.model import LIQUID, WALL_BASES
from wrapcalc.checks import Check
from wrapcalc.formulas import net_section as section
from wrapcalc.formulas import pressure
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.recorder import active
from wrapcalc.stages.cautions import warn_about_grid, warn_about_length, warn_besides_strength
from wrapcalc.stages.scope import code
from wrapcalc.stages.sound_pipe import design_factor, sound_pipe
from wrapcalc.standards.documents import B31G_1991, B31G_2012, CFR_192, MECHANICS, PRACTICE
from wrapcalc.values import Value

FORMS = {"original 1991": "ASME B31G-1991, original form", "original 2012": "ASME B31G-2012, original form",
         "0.85dL": "ASME B31G-2012, 0.85 dL form"}


@dataclass(frozen=True)
class Form:
    """One form of remaining strength. safe is None when the form is outside its scope; failure is None for
    the 1991 form, whose result is already a safe pressure."""

    key: str
    failure: Value | None
    safe: Value | None
    reason: str = ""


@dataclass(frozen=True)
class Section:
    """Properties of the damaged section."""

    area: Value
    shift: Value
    fibre: Value
    moment: Value


@dataclass(frozen=True)
class Assessment:
    """What the assessment hands on.

    outside: why the sound pipe itself does not bear the MAOP. too_deep: depth over wall above its limit; then
    nothing after `allowable` is set.
    """

    wall: Value
    depth: Value
    length: Value
    relative_depth: Value
    depth_check: Check
    design_factor: Value
    allowable: Value
    forms: tuple[Form, ...] = ()
    governing: Value | None = None
    governing_form: str = ""
    repair_factor: Value | None = None
    section: Section | None = None
    axial_check: Check | None = None
    strength_check: Check | None = None
    outside: tuple[str, ...] = ()

    @property
    def too_deep(self) -> bool:
        """Depth with its allowance is above the limit of code or method."""
        return not self.depth_check.met


def assess(bundle: Bundle) -> Assessment:
    """Assess a case whose fields for it are all answered and inside scope."""
    case, tables, rec = bundle.case, bundle.tables, active()
    value = case.value
    rec.begin("Wall, depth and length as used")
    for note in bundle.grid.notes if bundle.grid else ():
        rec.assume(note, "case: defect.grid")
    wall, depth, length = _sizes(bundle)
    rec.begin("Sound pipe")
    diameter, smys = value("pipe.outside_diameter"), value("pipe.smys")
    factor = design_factor(bundle)
    allowable = pressure.allowable_stress(factor, smys)
    rec.assume("The allowable stress is the design factor on SMYS; it serves the axial check and load sharing. "
               "Texts that take SMYS itself would allow more.", "safer reading")
    maop = value("service.maop")
    pressure.hoop_stress(maop, diameter, value("pipe.nominal_wall"))
    outside = sound_pipe(bundle, factor, wall)
    rec.begin("Depth, length and safety factor")
    eta = strength.relative_depth(depth, wall)
    deepest = eta
    if wall.magnitude > value("pipe.nominal_wall").magnitude:
        # The line codes put the limit on the nominal wall; the thinner of both is the safer.
        deepest = rec.named(strength.relative_depth(depth, value("pipe.nominal_wall")), "Depth over nominal wall")
    limit = tables.entry(code(bundle), "depth_limit")
    deep = rec.check("Depth with allowance over wall", deepest, "<=", limit.value(), citation=limit.citation,
                     status=limit.status, note="also the limit of ASME B31G, both editions")
    z = strength.length_parameter(length, diameter, wall)
    if not deep.met:
        rec.begin("Original form, 2012")
        _struck_forms(bundle, z, depth, wall, eta)
        return Assessment(wall, depth, length, eta, deep, factor, allowable, outside=outside)
    safety = pressure.safety_factor(factor, tables.value(B31G_2012.id, "minimum_safety_factor"))
    forms = (_form_1991(bundle, factor, depth, wall, length, eta), _form_original(bundle, z, depth, wall, safety),
             _form_085dl(bundle, z, depth, wall, safety))
    warn_about_length(z)
    warn_about_grid(bundle, depth, length)
    warn_besides_strength(bundle, eta)
    rec.begin("Axial section")
    props = _section(bundle, depth, wall)
    axial = axial_check(bundle, props, maop, allowable, "MAOP")
    rec.begin("Governing safe pressure")
    governing, name = _governing(bundle, forms)
    if governing is None:
        return Assessment(wall, depth, length, eta, deep, factor, allowable, forms, section=props,
                          axial_check=axial, outside=outside)
    erf = pressure.repair_factor(maop, governing)
    fit = rec.check("Governing safe pressure against MAOP", governing, ">=", maop,
                    citation=f"{B31G_2012.id}, 2.2", status="from memory", note=f"form: {name}")
    return Assessment(wall, depth, length, eta, deep, factor, allowable, forms, governing, name, erf, props, axial,
                      fit, outside)


def axial_check(bundle: Bundle, props: Section, at: Value, allowable: Value, words: str) -> Check:
    """Net-section axial stress under the end thrust of one pressure against the allowable stress."""
    thrust = pressure.end_thrust(bundle.case.value("pipe.outside_diameter"), at)
    stress = section.net_section_stress(thrust, props.area, props.shift, props.fibre, props.moment)
    return active().check(f"Net-section axial stress at {words}", stress, "<=", allowable, citation=PRACTICE.id,
                          status="common practice", note="end thrust unrestrained, eccentricity included; "
                          "metal-loss methods say nothing about this direction")


def _sizes(bundle: Bundle) -> tuple[Value, Value, Value]:
    case, value = bundle.case, bundle.case.value
    basis = case.pipe.wall_basis or WALL_BASES[0]
    if basis == WALL_BASES[0]:
        wall = strength.wall_for_assessment(value("pipe.nominal_wall"), value("pipe.sound_wall"),
                                            value("pipe.wall_allowance"))
    else:
        wall = strength.wall_as_chosen(value("pipe.nominal_wall" if basis == "nominal" else "pipe.sound_wall"),
                                       value("pipe.wall_allowance"))
        active().assume(f"The wall is the {basis} wall, not the smaller of both, because: "
                        f"{case.pipe.wall_basis_reason}", "case: pipe.wall_basis")
    depth = strength.depth_for_assessment(value("defect.depth"), value("defect.depth_allowance"))
    length = strength.length_for_assessment(value("defect.length"), value("defect.length_allowance"))
    return wall, depth, length


def _form_1991(bundle: Bundle, factor: Value, depth: Value, wall: Value, length: Value, eta: Value) -> Form:
    active().begin("Original form, 1991")
    case, tables, rec = bundle.case, bundle.tables, active()
    diameter = case.value("pipe.outside_diameter")
    if case.service.service == LIQUID:
        derating = tables.value(B31G_1991.id, "temperature_factor_liquid")
    else:
        derating = tables.value(CFR_192.id, "temperature_factor")
    a = strength.length_factor_1991(length, diameter, wall)
    reference = strength.reference_pressure_1991(case.value("service.maop"), case.value("pipe.smys"), wall, diameter,
                                                 factor, derating)
    raw = strength.safe_pressure_1991_uncapped(reference, depth, wall, a)
    lower = tables.entry(B31G_1991.id, "depth_lower")
    check = rec.check("Depth over wall, lower end of the 1991 form", eta, ">", lower.value(),
                      citation=lower.citation, status=lower.status, kind="scope")
    flow = strength.flow_stress_factor(tables.value(B31G_2012.id, "flow_factor"), case.value("pipe.smys"))
    hard = rec.check("Flow stress 1.1 SMYS of the 1991 form against SMTS", flow, "<=", case.value("pipe.smts"),
                     citation=f"{B31G_2012.id}, 1.7", status="from memory", kind="scope")
    if not hard.met:
        reason = "1.1 SMYS, which this form contains, is above SMTS"
        rec.strike(raw, reason)
        return Form("original 1991", None, None, reason)
    if not check.met:
        reason = (f"depth over wall is at most {lower.written} ({lower.citation}): the manual accepts such loss "
                  "without calculation")
        rec.strike(raw, reason)
        return Form("original 1991", None, None, reason)
    return Form("original 1991", None, strength.safe_pressure_1991(raw, reference))


def _form_original(bundle: Bundle, z: Value, depth: Value, wall: Value, safety: Value) -> Form:
    active().begin("Original form, 2012")
    case, tables = bundle.case, bundle.tables
    flow = strength.flow_stress_factor(tables.value(B31G_2012.id, "flow_factor"), case.value("pipe.smys"))
    flow = _capped(bundle, flow)
    stress = strength.failure_stress_original(z, flow, depth, wall)
    return _pressures(bundle, "original 2012", stress, wall, safety, "")


def _form_085dl(bundle: Bundle, z: Value, depth: Value, wall: Value, safety: Value) -> Form:
    active().begin("0.85 dL form")
    case, tables, rec = bundle.case, bundle.tables, active()
    smys = case.value("pipe.smys")
    flow = strength.flow_stress_increment(smys, tables.value(B31G_2012.id, "flow_increment"))
    limit = tables.entry(B31G_2012.id, "flow_increment_smys_limit")
    check = rec.check("SMYS, flow stress SMYS + 69 MPa", smys, "<=", limit.value(), citation=limit.citation,
                      status=limit.status, kind="scope")
    ok = "" if check.met else f"SMYS is above {limit.written} ({limit.citation})"
    flow = _capped(bundle, flow)
    bulging = strength.bulging_factor_085dl(z)
    stress = strength.failure_stress_085dl(flow, depth, wall, bulging)
    return _pressures(bundle, "0.85dL", stress, wall, safety, ok)


def _capped(bundle: Bundle, flow: Value) -> Value:
    """The flow stress, brought down to SMTS where it would be above: weaker steel never gives a higher pressure."""
    smts = bundle.case.value("pipe.smts")
    if flow.magnitude <= smts.magnitude:
        return flow
    active().assume("The flow stress is brought down to SMTS.", f"{B31G_2012.id}, 1.7")
    return strength.flow_stress_capped(flow, smts)


def _pressures(bundle: Bundle, key: str, stress: Value, wall: Value, safety: Value, reason: str) -> Form:
    if reason:
        active().strike(stress, reason)
        return Form(key, None, None, reason)
    rec, words = active(), {"original 2012": "original form of 2012", "0.85dL": "0.85 dL form"}[key]
    failure = rec.named(strength.failure_pressure(stress, wall, bundle.case.value("pipe.outside_diameter")),
                        f"Failure pressure, {words}")
    return Form(key, failure, rec.named(pressure.safe_pressure(failure, safety), f"Safe pressure, {words}"))


def _struck_forms(bundle: Bundle, z: Value, depth: Value, wall: Value, eta: Value) -> None:
    """Too deep: show what the forms would say, struck; derive nothing from it."""
    if eta.magnitude >= 1:
        return
    rec, tables = active(), bundle.tables
    limit = tables.entry(B31G_2012.id, "depth_limit")
    reason = f"depth over wall is above {limit.written} ({limit.citation}), the limit of the method"
    smys = bundle.case.value("pipe.smys")
    flow = strength.flow_stress_factor(tables.value(B31G_2012.id, "flow_factor"), smys)
    rec.strike(strength.failure_stress_original(z, flow, depth, wall), reason)


def _governing(bundle: Bundle, forms: tuple[Form, ...]) -> tuple[Value | None, str]:
    case, rec = bundle.case, active()
    method = case.assessment.method or "lower of all"
    if method != "lower of all":
        chosen = next(f for f in forms if f.key == method)
        rec.assume(f"The {FORMS[method]} governs although a lower form may exist, because: "
                   f"{case.assessment.method_reason}", "case: assessment.method")
        return chosen.safe, FORMS[method]
    inside = [f for f in forms if f.safe is not None]
    if not inside:
        return None, ""
    lowest = min(inside, key=lambda f: f.safe.magnitude)  # type: ignore[union-attr]
    governing: Value = inside[0].safe  # type: ignore[assignment]
    for f in inside[1:]:
        governing = rec.named(pressure.lower_pressure(governing, f.safe),
                              "Governing safe pressure: the lowest of the forms" if f is inside[-1] else
                              "Lower of the safe pressures of the original forms")
    rec.assume("The lowest safe pressure of the forms inside their scope governs; the case names no method.",
               "safer reading")
    return governing, FORMS[lowest.key]


def _worst_width(bundle: Bundle, diameter: Value, depth: Value, wall: Value) -> Value:
    """The width, up to the stated one, that stresses the section most.

    Beyond about two thirds of the circumference a wider loss is a rounder one and its eccentricity falls; a loss
    that is deep over part of its stated width only must not pass because of that.
    """
    stated = bundle.case.value("defect.width")
    widths = np.linspace(stated.magnitude / 2000, stated.magnitude, 2000)
    stress = _axial_stress(widths, diameter.magnitude, depth.magnitude, wall.magnitude)
    worst = float(widths[int(np.argmax(stress))])
    return active().procedure(
        "Width that stresses the section most", "2000 widths from nothing up to the stated one, greatest net-section "
        "axial stress under one thrust; the formulas that follow are run at the width found", MECHANICS.id, "derived",
        {"stated width": stated, "depth used": depth, "wall used": wall, "outside diameter": diameter},
        {"width": (worst, "mm")}, [("stress at the stated width over the greatest", f"{stress[-1] / stress.max():.4f}")]
    )["width"]


def _axial_stress(w: np.ndarray, D: float, d: float, t: float) -> np.ndarray:
    """Net-section stress for a thrust of 1 N and many widths, in MPa: the formulas of net_section, in their order."""
    theta = section.half_angle.array(w=w, D=D)
    lost = section.lost_area.array(theta=theta, d=d, D=D)
    net = section.net_area.array(A_0=section.sound_area.core(D=D, t=t), A_L=lost)
    e = section.eccentricity.array(A_L=lost, y_L=section.lost_centroid.array(theta=theta, D=D, d=d, A_L=lost), A_n=net)
    moment = section.net_second_moment.array(I_0=section.sound_second_moment.core(D=D, t=t), A_n=net, e=e,
                                             I_L=section.lost_second_moment.array(D=D, d=d, theta=theta))
    fibre = section.extreme_fibre.array(e=e, D=D, d=d, theta=theta)
    return section.net_section_stress.array(N=1.0, A_n=net, e=e, c=fibre, I_n=moment)


def interim_limit(bundle: Bundle, a: Assessment) -> Value:
    """Pressure limit until the repair is accepted or the MAOP is lowered."""
    rec, case = active(), bundle.case
    rec.begin("Interim pressure limit")
    entry = bundle.tables.entry(code(bundle), "discovery_fraction")
    if a.governing is None or a.axial_check is None:
        return pressure.discovery_pressure_limit(entry.value(), case.value("service.discovery_pressure"))
    rec.assume(f"The interim limit takes {entry.written} of the pressure at discovery and the safe pressure, whichever "
               "is lower; the rule asks for one of them.", entry.citation)
    limit = pressure.interim_pressure_limit(entry.value(), case.value("service.discovery_pressure"), a.governing)
    if a.axial_check.met or a.axial_check.provided is None:
        return limit
    axial = pressure.axial_pressure(case.value("service.maop"), a.allowable, a.axial_check.provided)
    return rec.named(pressure.lower_pressure(limit, axial), "Interim pressure limit, axial section included")


def _section(bundle: Bundle, depth: Value, wall: Value) -> Section:
    diameter = bundle.case.value("pipe.outside_diameter")
    theta = section.half_angle(_worst_width(bundle, diameter, depth, wall), diameter)
    lost = section.lost_area(theta, depth, diameter)
    net = section.net_area(section.sound_area(diameter, wall), lost)
    shift = section.eccentricity(lost, section.lost_centroid(theta, diameter, depth, lost), net)
    moment = section.net_second_moment(section.sound_second_moment(diameter, wall),
                                       section.lost_second_moment(diameter, depth, theta), net, shift)
    return Section(net, shift, section.extreme_fibre(shift, diameter, depth, theta), moment)
