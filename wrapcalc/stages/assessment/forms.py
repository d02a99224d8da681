"""The forms of remaining strength that take one depth and one length, and how every method is told."""

from __future__ import annotations

from dataclasses import dataclass

from wrapcalc.case import Bundle
from wrapcalc.case.model import AREA, DNV, LIQUID, RSF
from wrapcalc.formulas import pressure
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.recorder import active
from wrapcalc.stages.assessment.kernels import MODIFIED, ORIGINAL, ORIGINAL_1991, SINGLE
from wrapcalc.standards.documents import B31G_1991, B31G_2012, CFR_192
from wrapcalc.values import Value

INTERACTING, COMPLEX, LEIS = "DNV interacting", "DNV complex shape", "Leis and Stephens"
#: How a method is called on the page.
NAMES = {ORIGINAL_1991: "ASME B31G-1991, original form", ORIGINAL: "ASME B31G-2012, original form",
         MODIFIED: "ASME B31G-2012, 0.85 dL form", AREA: "Kiefner and Vieth 1989, effective area",
         SINGLE: "DNV-RP-F101, single defect", INTERACTING: "DNV-RP-F101, interacting defects",
         COMPLEX: "DNV-RP-F101, complex shape", RSF: "API 579-1 part 5, remaining-strength factor",
         LEIS: "Leis and Stephens 1997"}
BOXES = (ORIGINAL_1991, ORIGINAL, MODIFIED)
OF_DNV = (SINGLE, INTERACTING, COMPLEX)
#: Methods that the case may name, and the keys of the forms that stand behind the name.
BEHIND = {DNV: OF_DNV}
RECORD, BESIDE, CROSS_CHECK = "method of record", "stands beside", "cross-check"


@dataclass(frozen=True)
class Form:
    """One method of remaining strength. safe is None when it is outside its scope, and reason says why; failure is
    None for methods whose result is already a safe pressure. flow, basis: flow stress and safety factor in words."""

    key: str
    failure: Value | None
    safe: Value | None
    reason: str = ""
    flow: str = ""
    basis: str = ""
    role: str = RECORD
    status: str = "from memory"


@dataclass(frozen=True)
class Sizes:
    """Wall, depth and length as a method takes them."""

    wall: Value
    depth: Value
    length: Value
    relative: Value
    z: Value


def flow_factor(bundle: Bundle) -> Value:
    """1.1 SMYS, not above SMTS."""
    flow = strength.flow_stress_factor(bundle.tables.value(B31G_2012.id, "flow_factor"), bundle.case.value("pipe.smys"))
    return _capped(bundle, flow)


def flow_increment(bundle: Bundle) -> Value:
    """SMYS + 69 MPa, not above SMTS."""
    flow = strength.flow_stress_increment(bundle.case.value("pipe.smys"),
                                          bundle.tables.value(B31G_2012.id, "flow_increment"))
    return _capped(bundle, flow)


def increment_outside(bundle: Bundle) -> str:
    """Check the SMYS limit of SMYS + 69 MPa; the reason when it is passed."""
    limit = bundle.tables.entry(B31G_2012.id, "flow_increment_smys_limit")
    check = active().check("SMYS, flow stress SMYS + 69 MPa", bundle.case.value("pipe.smys"), "<=", limit.value(),
                           citation=limit.citation, status=limit.status, kind="scope")
    return "" if check.met else f"SMYS is above {limit.written} ({limit.citation})"


def _capped(bundle: Bundle, flow: Value) -> Value:
    """The flow stress, brought down to SMTS where it would be above: weaker steel never gives a higher pressure."""
    smts = bundle.case.optional("pipe.smts")
    measured = bundle.grid is not None or bundle.profile is not None or bundle.pits is not None
    if smts is None:
        active().warn("SMTS is not stated: the flow stress cannot be held against it, and the methods that rest on the "
                      "tensile strength were not run (DNV-RP-F101; Leis and Stephens 1997). These remain: "
                      f"{'; '.join(NAMES[k] for k in BOXES + ((AREA,) if measured else ()))}.", "case: pipe.smts")
        return flow
    if flow.magnitude <= smts.magnitude:
        return flow
    active().assume("The flow stress is brought down to SMTS.", f"{B31G_2012.id}, 1.7")
    return strength.flow_stress_capped(flow, smts)


def derating(bundle: Bundle) -> Value:
    """Temperature factor of the 1991 form."""
    if bundle.case.service.service == LIQUID:
        return bundle.tables.value(B31G_1991.id, "temperature_factor_liquid")
    return bundle.tables.value(CFR_192.id, "temperature_factor")


def form_1991(bundle: Bundle, factor: Value, s: Sizes) -> Form:
    """Original form of 1991; its result is a safe pressure."""
    case, tables, rec = bundle.case, bundle.tables, active()
    diameter = case.value("pipe.outside_diameter")
    a = strength.length_factor_1991(s.length, diameter, s.wall)
    reference = strength.reference_pressure_1991(case.value("service.maop"), case.value("pipe.smys"), s.wall, diameter,
                                                 factor, derating(bundle))
    raw = strength.safe_pressure_1991_uncapped(reference, s.depth, s.wall, a)
    words = {"flow": "1.1 SMYS", "basis": "margin of the design factor, inside the form"}
    lower = tables.entry(B31G_1991.id, "depth_lower")
    check = rec.check("Depth over wall, lower end of the 1991 form", s.relative, ">", lower.value(),
                      citation=lower.citation, status=lower.status, kind="scope")
    flow = strength.flow_stress_factor(tables.value(B31G_2012.id, "flow_factor"), case.value("pipe.smys"))
    hard = rec.check("Flow stress 1.1 SMYS of the 1991 form against SMTS", flow, "<=", case.optional("pipe.smts"),
                     citation=f"{B31G_2012.id}, 1.7", status="from memory", kind="scope")
    if hard.verdict == "outside scope":
        reason = "1.1 SMYS, which this form contains, is above SMTS"
        rec.strike(raw, reason)
        return Form(ORIGINAL_1991, None, None, reason, **words)
    if not check.met:
        reason = (f"depth over wall is at most {lower.written} ({lower.citation}): the manual accepts such loss "
                  "without calculation")
        rec.strike(raw, reason)
        return Form(ORIGINAL_1991, None, None, reason, **words)
    return Form(ORIGINAL_1991, None, strength.safe_pressure_1991(raw, reference), **words)


def form_original(bundle: Bundle, s: Sizes, safety: Value) -> Form:
    """Original form of 2012."""
    stress = strength.failure_stress_original(s.z, flow_factor(bundle), s.depth, s.wall)
    return pressures(bundle, ORIGINAL, stress, s.wall, safety, "original form of 2012", "1.1 SMYS")


def form_085dl(bundle: Bundle, s: Sizes, safety: Value) -> Form:
    """0.85 dL form."""
    flow = flow_increment(bundle)
    outside = increment_outside(bundle)
    stress = strength.failure_stress_085dl(flow, s.depth, s.wall, strength.bulging_factor_085dl(s.z))
    return pressures(bundle, MODIFIED, stress, s.wall, safety, "0.85 dL form", "SMYS + 69 MPa", outside)


def pressures(bundle: Bundle, key: str, stress: Value, wall: Value, safety: Value, words: str, flow: str,
              outside: str = "") -> Form:
    """Failure and safe pressure from a failure stress; struck when outside says why."""
    told = {"flow": flow, "basis": f"safety factor {safety.show(significant=3)} on the failure pressure"}
    rec = active()
    if outside:
        rec.strike(stress, outside)
        return Form(key, None, None, outside, **told)
    failure = rec.named(strength.failure_pressure(stress, wall, bundle.case.value("pipe.outside_diameter")),
                        f"Failure pressure, {words}")
    return Form(key, failure, rec.named(pressure.safe_pressure(failure, safety), f"Safe pressure, {words}"), **told)


def struck_form(bundle: Bundle, s: Sizes) -> None:
    """Too deep: show what the form would say, struck; derive nothing from it."""
    if s.relative.magnitude >= 1:
        return
    rec, tables = active(), bundle.tables
    limit = tables.entry(B31G_2012.id, "depth_limit")
    flow = strength.flow_stress_factor(tables.value(B31G_2012.id, "flow_factor"), bundle.case.value("pipe.smys"))
    rec.strike(strength.failure_stress_original(s.z, flow, s.depth, s.wall),
               f"depth over wall is above {limit.written} ({limit.citation}), the limit of the method")
