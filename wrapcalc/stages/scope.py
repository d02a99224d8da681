"""Before anything is calculated: what is missing, and what this version does not cover."""

from __future__ import annotations

from wrapcalc.case import Bundle
from wrapcalc.case.model import GAS, INTERNAL_LOSS, LIQUID, LOSSES, PLANT
from wrapcalc.recorder import active
from wrapcalc.standards.documents import API_579, B31G_2012, CFR_192, CFR_195, ISO_24817, PRACTICE
from wrapcalc.standards.tables import Entry

#: What must be known of the joint on the other side of a girth weld.
_OF_A_JOINT = ("nominal_wall", "sound_wall", "smys")


def code(bundle: Bundle) -> str:
    """Document of the code that the service asks for."""
    return {LIQUID: CFR_195.id, PLANT: API_579.id}.get(bundle.case.service.service, CFR_192.id)


def discovery_fraction(bundle: Bundle) -> Entry:
    """Share of the pressure at discovery that may be held: of the rule, or common practice where there is none."""
    document = PRACTICE.id if bundle.case.service.service == PLANT else code(bundle)
    return bundle.tables.entry(document, "discovery_fraction")


def is_loss(bundle: Bundle) -> bool:
    """Whether the defect is metal loss, for which there are strength methods here."""
    return bundle.case.defect.kind in (None, *LOSSES)


def missing_for_assessment(bundle: Bundle) -> list[str]:
    """Unanswered fields without which no decision can be made."""
    service = bundle.case.service.service
    needs = {"assess"} | {GAS: {"gas"}, PLANT: {"plant"}}.get(service, set())
    needs |= {"loss"} if is_loss(bundle) else {bundle.case.defect.kind}
    return bundle.case.unanswered(needs)


def missing_for_design(bundle: Bundle) -> list[str]:
    """Unanswered fields without which no wrap can be designed; none for what is no metal loss."""
    if not is_loss(bundle):
        return []
    needs = {"design"}
    if bundle.system is not None:
        needs |= set() if bundle.system.is_sleeve else {"lay-up"}
        needs |= {"primer"} if bundle.system.primer.used == "yes" else set()
    return bundle.case.unanswered(needs)


def features_outside(bundle: Bundle) -> list[str]:
    """Record one scope check for each feature; give back the reasons of those that are outside."""
    rec, case = active(), bundle.case
    reasons: list[str] = []
    rec.begin("What this version covers")

    def words(title: str, holds: bool, found: str | None, wanted: str, reason: str) -> None:
        if found is None:  # unanswered: told elsewhere
            return
        rec.gate(title, holds, found, wanted, citation=PRACTICE.id, status="common practice", kind="scope")
        if not holds:
            reasons.append(reason)

    inside = case.service.inside_repair
    needed = _OF_A_JOINT + (("smts",) if case.get("pipe.smts") is not None else ())
    crossed = inside == "girth weld" and all(case.get(f"pipe.other_{n}") is not None for n in needed)
    words("Bend, girth weld, fitting or corroded seam at the defect", inside == "nothing" or crossed, inside,
          "nothing, or a girth weld with both joints stated",
          "there is a girth weld inside the repair and the other joint is not stated: give pipe."
          + ", pipe.".join(f"other_{n}" for n in needed) if inside == "girth weld" else
          f"there is a {inside} inside the repair, which this version does not cover")
    if crossed:
        rec.assume("The corrosion is assessed at its full length across the girth weld, with the lower wall and grade "
                   "of the two joints, which stand in [pipe]. The weld metal itself is not assessed.", "case: pipe")
    corrosion = case.service.internal_corrosion
    known = case.growth.basis is not None
    words("Internal corrosion at the defect", corrosion == "none" or known, corrosion,
          "none, or a rate of growth", "internal corrosion is active or unknown, and no rate of growth is stated: it "
          "goes on, also under a wrap")
    if case.defect.kind == INTERNAL_LOSS and corrosion == "none" and not known:
        rec.warn("Internal metal loss is stated without a rate of growth and as not active: confirm that it has "
                 "stopped; it would go on under a wrap.", "case: service.internal_corrosion")
    if case.get("service.pressure_cycles") is not None:
        reasons += _cycles(bundle)
    if case.get("service.service_temperature") is not None and case.service.service not in (None, PLANT):
        reasons += _heat(bundle)
    return reasons


def outside_of_design(bundle: Bundle) -> list[str]:
    """What the assessment can do and the design of a wrap, in this version, can not."""
    case, reasons = bundle.case, []
    for name, what in (("axial_force", "external axial force"), ("bending_moment", "external bending moment")):
        if case.get(f"service.{name}").base != 0:
            reasons.append(f"an {what} of {case.get(f'service.{name}').written} is declared, which the design of a "
                           "wrap does not cover in this version")
    if case.service.inside_repair == "girth weld":
        reasons.append("there is a girth weld inside the repair, which the design of a wrap does not cover in this "
                       "version")
    return reasons


def _cycles(bundle: Bundle) -> list[str]:
    rec, case = active(), bundle.case
    entry = bundle.tables.entry(case.design.standard or ISO_24817.id, "cycles_without_factor")
    cycles = rec.check("Pressure cycles over the design life", case.value("service.pressure_cycles"), "<=",
                       entry.value(), citation=entry.citation, status=entry.status, kind="scope")
    return [] if cycles.met else [
        f"{case.get('service.pressure_cycles').written} pressure cycles: more than {entry.written} need a cyclic "
        "factor, which this version does not have"]


def _heat(bundle: Bundle) -> list[str]:
    rec, case, tables, reasons = active(), bundle.case, bundle.tables, []
    limits = [tables.entry(B31G_2012.id, "temperature_limit"), tables.entry(code(bundle), "temperature_factor_limit")]
    for limit in limits:
        hot = rec.check("Hottest service temperature", case.value("service.service_temperature"), "<=",
                        limit.value(), citation=limit.citation, status=limit.status, kind="scope")
        if not hot.met:
            reasons.append(f"the service temperature {case.get('service.service_temperature').written} is above "
                           f"{limit.written} ({limit.citation}), where the strength would have to be derated")
    return reasons
