"""The pipe beside the defect: design factor, code design pressure, and whether it is what the MAOP supposes."""

from __future__ import annotations

from wrapcalc.case import Bundle
from wrapcalc.case.model import LIQUID, PLANT, WALL_BASES
from wrapcalc.formulas import plant_piping, pressure
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.recorder import active
from wrapcalc.stages.scope import code
from wrapcalc.standards.documents import CFR_192, CFR_195, PRACTICE
from wrapcalc.standards.tables import Entry
from wrapcalc.values import Value


def design_factor(bundle: Bundle) -> Value | None:
    """Design factor of the rule, or the lower one of the case. None for plant piping, which has an allowable stress."""
    case, tables = bundle.case, bundle.tables
    if case.service.service == PLANT:
        return None
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


def allowable(bundle: Bundle, factor: Value | None) -> Value:
    """Allowable stress of the steel: the design factor on SMYS; of plant piping, the one that the case states."""
    rec, case = active(), bundle.case
    if factor is None:
        rec.assume(f"The allowable stress is {case.get('service.allowable_stress').written}, by "
                   f"{case.service.allowable_stress_basis}; it serves the axial check and load sharing, too.",
                   "case: service.allowable_stress")
        return case.value("service.allowable_stress")
    rec.assume("The allowable stress is the design factor on SMYS; it serves the axial check and load sharing. "
               "Texts that take SMYS itself would allow more.", "safer reading")
    return pressure.allowable_stress(factor, case.value("pipe.smys"))


def sound_pipe(bundle: Bundle, factor: Value | None, used: Value) -> tuple[str, ...]:
    """Reasons why the pipe beside the defect is not what the MAOP supposes; no repair of the defect mends that."""
    rec, case, tables = active(), bundle.case, bundle.tables
    reasons: list[str] = []
    # Mill tolerance is not off the nominal wall: plant piping takes the wall as used.
    design = code_pressure(bundle, factor, used if factor is None else case.value("pipe.nominal_wall"))
    if case.value("service.discovery_pressure").magnitude > case.value("service.maop").magnitude:
        rec.warn("The pressure at discovery is above the MAOP: confirm both.", "case")
    kept = case.optional("service.lowered_maop") or case.value("service.maop")
    fits = rec.check("MAOP to be kept against the code design pressure", kept, "<=", design,
                     citation=_PRESSURE_RULE.get(case.service.service, "49 CFR 192.105(a)"),
                     status="from memory" if factor is None else "seen",
                     kind="scope" if case.service.maop_basis is None else "information")
    if not fits.met and case.service.maop_basis is None:
        reasons.append(f"the MAOP {kept.show(case.display)} is above the code design pressure "
                       f"{design.show(case.display)} of the sound pipe; say in service.maop_basis how it was "
                       "established")
    elif not fits.met:
        rec.assume(f"The MAOP is above the code design pressure of the sound pipe, because: {case.service.maop_basis}",
                   "case: service.maop_basis")
        rec.warn(f"The MAOP {kept.show(case.display)} is above the code design pressure {design.show(case.display)} of "
                 "the sound pipe; the 1991 form takes the MAOP for its "
                 "reference pressure then.", design.origin.ref)
    entry = least_share_of_nominal(bundle)
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
    if factor is None:  # the quality factor of plant piping is inside its design pressure
        return tuple(reasons)
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


#: Where the design pressure of the sound pipe stands.
_PRESSURE_RULE = {LIQUID: "49 CFR 195.106(a)", PLANT: "ASME B31.3, 304.1.2"}


def code_pressure(bundle: Bundle, factor: Value | None, wall: Value) -> Value:
    """Design pressure of the sound pipe by its code, at one wall."""
    case, tables, value = bundle.case, bundle.tables, bundle.case.value
    if factor is None:
        return plant_piping.plant_design_pressure(
            value("service.allowable_stress"), value("service.quality_factor"), value("service.weld_strength_factor"),
            wall, value("pipe.outside_diameter"), value("service.wall_coefficient"))
    joint = _joint_factor(bundle)
    sound = (value("pipe.smys"), wall, value("pipe.outside_diameter"))
    if case.service.service == LIQUID:
        design = pressure.code_design_pressure_liquid(*sound, joint, factor)
    else:
        design = pressure.code_design_pressure_gas(*sound, factor, joint,
                                                   tables.value(CFR_192.id, "temperature_factor"))
    return design


def least_share_of_nominal(bundle: Bundle) -> Entry:
    """Sound wall over nominal wall below which the pipe itself is in question."""
    return bundle.tables.entry(CFR_195.id if bundle.case.service.service == LIQUID else PRACTICE.id,
                               "least_share_of_nominal")
