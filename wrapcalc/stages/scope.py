"""Before anything is calculated: what is missing, and what this version does not cover."""

from __future__ import annotations

from wrapcalc.case import Bundle
from wrapcalc.case.model import GAS, LIQUID, METAL_LOSS
from wrapcalc.recorder import active
from wrapcalc.standards.documents import B31G_2012, CFR_192, CFR_195, ISO_24817, PRACTICE


def code(bundle: Bundle) -> str:
    """Document of the line code that the service asks for."""
    return CFR_195.id if bundle.case.service.service == LIQUID else CFR_192.id


def missing_for_assessment(bundle: Bundle) -> list[str]:
    """Unanswered fields without which no decision can be made."""
    needs = {"assess"} | ({"gas"} if bundle.case.service.service == GAS else set())
    return bundle.case.unanswered(needs)


def missing_for_design(bundle: Bundle) -> list[str]:
    """Unanswered fields without which no wrap can be designed."""
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

    kind = case.defect.kind
    words("Kind of defect", kind == METAL_LOSS, kind, METAL_LOSS,
          f"the kind of defect is “{kind}”; this version treats {METAL_LOSS} only")
    inside = case.service.inside_repair
    words("Bend, girth weld, fitting or corroded seam inside the repair", inside == "nothing", inside, "nothing",
          f"there is a {inside} inside the repair, which this version does not cover")
    corrosion = case.service.internal_corrosion
    words("Internal corrosion at the defect", corrosion == "none", corrosion, "none",
          "internal corrosion is active or unknown: it goes on under a wrap, which this version does not cover")
    for name, what in (("axial_force", "external axial force"), ("bending_moment", "external bending moment")):
        if (given := case.get(f"service.{name}")) is None:
            continue
        words(what.capitalize(), given.base == 0, given.written, "none (0)",
              f"an {what} of {given.written} is declared: metal-loss methods know only internal pressure")
    if case.get("service.pressure_cycles") is not None:
        reasons += _cycles(bundle)
    if case.get("service.service_temperature") is not None and case.service.service is not None:
        reasons += _heat(bundle)
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
