"""Before anything is calculated: what is missing, and what this version does not cover."""

from __future__ import annotations

from wrapcalc.case import Bundle
from wrapcalc.case.model import COMPONENTS, GAS, INTERNAL_LOSS, LEAK, LIQUID, LOSSES, PLANT
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.recorder import active
from wrapcalc.standards.documents import API_579, B31G_2012, CFR_192, CFR_195, PRACTICE
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
    """Whether the defect is metal loss, for which there are strength methods here.

    A gouge or an arc burn that was ground smooth, is free of cracks and was measured again is metal loss.
    """
    case = bundle.case
    return case.defect.kind in (None, *LOSSES) or is_ground(bundle)


def is_ground(bundle: Bundle) -> bool:
    """Whether the defect is a gouge that was ground smooth, shown free of cracks, and measured again."""
    case = bundle.case
    return case.defect.kind == "gouge" and case.features.gouge_ground == "yes" and case.features.crack == "no"


def is_leak(bundle: Bundle) -> bool:
    """Whether the defect is an opening through the wall of plant piping, which may be wrapped."""
    return bundle.case.defect.kind == LEAK and bundle.case.service.service == PLANT


def missing_for_assessment(bundle: Bundle) -> list[str]:
    """Unanswered fields without which no decision can be made."""
    service = bundle.case.service.service
    needs = {"assess"} | {GAS: {"gas"}, PLANT: {"plant"}}.get(service, set())
    kind = bundle.case.defect.kind
    needs |= {"plant strength"} if service == PLANT and is_loss(bundle) else set()
    needs |= {"loss"} if is_loss(bundle) else {kind} if kind != LEAK or is_leak(bundle) else set()
    return bundle.case.unanswered(needs) + (_of_leak(bundle) if is_leak(bundle) else [])


def _of_leak(bundle: Bundle) -> list[str]:
    """The thinned metal around an opening must be stated, too."""
    return [f for f in ("defect.length", "defect.length_allowance", "defect.width") if bundle.case.get(f) is None]


def missing_for_design(bundle: Bundle) -> list[str]:
    """Unanswered fields without which no wrap can be designed; none for what no wrap is designed for."""
    if not is_loss(bundle) and not is_leak(bundle):
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
    words("Bend, girth weld, fitting or corroded seam at the defect",
          inside == "nothing" or crossed or inside in COMPONENTS, inside,
          "nothing, a girth weld with both joints stated, or a bend, tee, reducer or flange",
          "there is a girth weld inside the repair and the other joint is not stated: give pipe."
          + ", pipe.".join(f"other_{n}" for n in needed) if inside == "girth weld" else
          f"there is a {inside} inside the repair, which this version does not cover")
    if crossed:
        rec.assume("The corrosion is assessed at its full length across the girth weld, with the lower wall and grade "
                   "of the two joints, which stand in [pipe]. The weld metal itself is not assessed.", "case: pipe")
    if inside in COMPONENTS:
        rec.warn(f"There is a {inside} at the defect: the methods of remaining strength are those of straight pipe and "
                 "stand for information; they neither clear the defect nor allow a lower pressure instead of a repair.",
                 "case: service.inside_repair")
    corrosion = case.service.internal_corrosion
    known = case.growth.basis is not None
    words("Internal corrosion at the defect", corrosion == "none" or known, corrosion,
          "none, or a rate of growth", "internal corrosion is active or unknown, and no rate of growth is stated: it "
          "goes on, also under a wrap")
    if case.defect.kind == INTERNAL_LOSS and corrosion == "none" and not known:
        rec.warn("Internal metal loss is stated without a rate of growth and as not active: confirm that it has "
                 "stopped; it would go on under a wrap.", "case: service.internal_corrosion")
    if is_ground(bundle) and case.get("pipe.nominal_wall") is not None:
        reasons += _ground(bundle)
    if case.get("service.service_temperature") is not None and case.service.service not in (None, PLANT):
        reasons += _heat(bundle)
    return reasons


def _ground(bundle: Bundle) -> list[str]:
    """The grinding limit of the line code, on the nominal wall."""
    rec, case = active(), bundle.case
    if case.get("defect.depth") is None:
        return []
    entry = bundle.tables.entry(PRACTICE.id, "grinding_depth")
    share = rec.named(strength.relative_depth(case.value("defect.depth"), case.value("pipe.nominal_wall")),
                      "Depth of grinding over nominal wall")
    rec.assume("The gouge or arc burn was ground smooth, is free of cracks by magnetic particle or penetrant test, and "
               "its depth was measured again: it is assessed as metal loss.", "case: features")
    fits = rec.check("Depth of grinding", share, "<=", entry.value(), citation=entry.citation, status=entry.status,
                     kind="scope")
    return [] if fits.met else [f"the grinding is {share.show(significant=3)} of the nominal wall deep, above "
                                f"{entry.written} up to which it is treated as metal loss"]


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
