"""The pipe beside the defect: design factor, code design pressure, and whether it is what the MAOP supposes."""

from __future__ import annotations

from wrapcalc.case import Bundle
from wrapcalc.case.model import LIQUID, WALL_BASES
from wrapcalc.formulas import pressure
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.recorder import active
from wrapcalc.stages.scope import code
from wrapcalc.standards.documents import CFR_192, CFR_195, PRACTICE
from wrapcalc.values import Value


def design_factor(bundle: Bundle) -> Value:
    """Design factor of the rule, or the lower one of the case."""
    case, tables = bundle.case, bundle.tables
    if case.service.service == LIQUID:
        rule = tables.value(code(bundle), "design_factor")
    else:
        rule = tables.value(CFR_192.id, f"design_factor_class_{case.service.class_location}")
    lower = case.optional("service.lower_design_factor")
    if lower is None:
        return rule
    if lower.magnitude > rule.magnitude:
        active().warn(f"The design factor {lower.show()} of the case is above the {rule.show()} of the rule; the "
                      "rule's factor is used.", "case: service.lower_design_factor")
        return rule
    active().assume(f"The design factor is {lower.show()} instead of {rule.show()}, because: "
                    f"{case.service.lower_design_factor_reason}", "case: service.lower_design_factor")
    return lower


def sound_pipe(bundle: Bundle, factor: Value, used: Value) -> tuple[str, ...]:
    """Reasons why the pipe beside the defect is not what the MAOP supposes; no repair of the defect mends that."""
    rec, case, tables = active(), bundle.case, bundle.tables
    reasons: list[str] = []
    design = _code_pressure(bundle, factor)
    kept = case.optional("service.lowered_maop") or case.value("service.maop")
    fits = rec.check("MAOP to be kept against the code design pressure", kept, "<=", design,
                     citation="49 CFR 195.106(a)" if case.service.service == LIQUID else "49 CFR 192.105(a)",
                     status="seen", kind="scope" if case.service.maop_basis is None else "information")
    if not fits.met and case.service.maop_basis is None:
        reasons.append(f"the MAOP {kept.show(case.display)} is above the code design pressure "
                       f"{design.show(case.display)} of the sound pipe; say in service.maop_basis how it was "
                       "established")
    elif not fits.met:
        rec.assume(f"The MAOP is above the code design pressure of the sound pipe, because: {case.service.maop_basis}",
                   "case: service.maop_basis")
        rec.warn("The MAOP is above the code design pressure of the sound pipe; the 1991 form takes the MAOP for its "
                 "reference pressure then.", design.origin.ref)
    entry = tables.entry(CFR_195.id if case.service.service == LIQUID else PRACTICE.id, "least_share_of_nominal")
    wall = used
    if case.pipe.wall_basis not in (None, WALL_BASES[0]):
        wall = strength.wall_for_assessment(case.value("pipe.nominal_wall"), case.value("pipe.sound_wall"),
                                            case.value("pipe.wall_allowance"))
    share = rec.named(strength.relative_depth(wall, case.value("pipe.nominal_wall")), "Sound wall over nominal wall")
    thin = rec.check("Sound wall over nominal wall", share, ">=", entry.value(), citation=entry.citation,
                     status=entry.status, kind="scope")
    if not thin.met:
        reasons.append(f"the sound wall is {share.show(significant=3)} of the nominal wall: general loss, or another "
                       "pipe than stated; a repair of the defect would not mend it")
    joint = _joint_factor(bundle)
    entry = tables.entry(PRACTICE.id, "least_joint_factor")
    seam = rec.check("Longitudinal joint factor", joint, ">=", entry.value(), citation=entry.citation,
                     status=entry.status, kind="scope")
    if not seam.met:
        reasons.append(f"the joint factor is {joint.show()}: the strength of the seam would enter, which this version "
                       "does not cover")
    return tuple(reasons)


def _joint_factor(bundle: Bundle) -> Value:
    return bundle.tables.value(code(bundle), "joint_factor_" + bundle.case.pipe.joint_type.replace(" ", "_"))


def _code_pressure(bundle: Bundle, factor: Value) -> Value:
    case, tables, value = bundle.case, bundle.tables, bundle.case.value
    joint = _joint_factor(bundle)
    sound = (value("pipe.smys"), value("pipe.nominal_wall"), value("pipe.outside_diameter"))
    if case.service.service == LIQUID:
        design = pressure.code_design_pressure_liquid(*sound, joint, factor)
    else:
        design = pressure.code_design_pressure_gas(*sound, factor, joint,
                                                   tables.value(CFR_192.id, "temperature_factor"))
    if case.value("service.discovery_pressure").magnitude > value("service.maop").magnitude:
        active().warn("The pressure at discovery is above the MAOP: confirm both.", "case")
    return design
