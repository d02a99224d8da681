"""Which answer governs: the rule that the case states, or the lowest of the metal-loss forms."""

from __future__ import annotations

from wrapcalc.case import Bundle
from wrapcalc.case.model import AREA, DNV, LOWEST, PLANT, PROFILE_FIRST, RSF
from wrapcalc.formulas import pressure
from wrapcalc.recorder import active
from wrapcalc.stages.assessment.forms import BOXES, INTERACTING, NAMES, OF_DNV, Form
from wrapcalc.values import Value

FAMILY = (*BOXES, AREA)


def methods_of_record(bundle: Bundle, has_profile: bool) -> tuple[str, ...]:
    """Keys of the forms among which the lowest governs, by the rule of the case."""
    chosen = bundle.case.assessment.method or LOWEST
    if bundle.case.service.service == PLANT:
        return (RSF,)
    if chosen == LOWEST:
        return FAMILY if has_profile else BOXES
    if chosen == PROFILE_FIRST:
        return (AREA,) if has_profile else BOXES
    return OF_DNV if chosen == DNV else (chosen,)


def govern(bundle: Bundle, forms: tuple[Form, ...], has_profile: bool, split: bool = False
           ) -> tuple[Value | None, Form | None]:
    """The governing safe pressure and its form; None when no form that may govern is inside its scope.

    split: the pits are parted into clusters, of which the profile is that of one.
    """
    case, rec = bundle.case, active()
    chosen = case.assessment.method or LOWEST
    keys = methods_of_record(bundle, has_profile)
    inside = [f for f in forms if f.key in keys and f.safe is not None]
    if keys == OF_DNV:
        # Of one method's own answers the most refined speaks: complex shape, interacting, single. The group of
        # neighbours is found among all pits, the complex shape on one cluster only: of clusters, the lower of both.
        inside = [f for f in inside if f is inside[-1] or (split and f.key == INTERACTING)]
    if chosen != LOWEST and case.service.service != PLANT:
        what = NAMES.get(chosen, f"rule “{chosen}”")
        rec.assume(f"The {what} governs although a lower answer may exist, because: {case.assessment.method_reason}",
                   "case: assessment.method")
        if chosen == PROFILE_FIRST and not has_profile:
            rec.assume("There is no profile: the lowest of the box forms governs.", "case: assessment.method")
    if not inside:
        return None, None
    governing: Value = inside[0].safe  # type: ignore[assignment]
    for f in inside[1:]:
        governing = rec.named(pressure.lower_pressure(governing, f.safe),
                              "Governing safe pressure: the lowest of the forms" if f is inside[-1] else
                              f"Lower safe pressure, {NAMES[f.key]} included")
    if chosen == LOWEST and case.service.service != PLANT:
        rec.assume("The lowest safe pressure of the metal-loss forms inside their scope governs; the case names no "
                   "method.", "safer reading")
    lowest = min(inside, key=lambda f: f.safe.magnitude)  # type: ignore[union-attr]
    _warn(bundle, forms, lowest, has_profile)
    return governing, lowest


def _warn(bundle: Bundle, forms: tuple[Form, ...], governing: Form, has_profile: bool) -> None:
    rec, display = active(), bundle.case.display
    assert governing.safe is not None
    if has_profile and governing.key in BOXES:
        rec.warn(f"A profile was measured, and the {NAMES[governing.key]}, which sees one depth and one length only, "
                 "governs: it is the lower answer. Where company practice lets a profile come before a box, say so in "
                 "assessment.method.", governing.safe.origin.ref)
    # A profile beats the boxes of its own family; their lower answers are no news.
    known = {*methods_of_record(bundle, has_profile), *(BOXES if governing.key == AREA else ())}
    lower = [f for f in forms if f.key not in known and f.safe is not None
             and f.safe.magnitude < governing.safe.magnitude]
    if lower:
        rec.warn("Methods that do not govern give a lower safe pressure: " + "; ".join(
            f"{NAMES[f.key]} {f.safe.show(display)}" for f in lower)  # type: ignore[union-attr]
            + ". Look why before relying on the governing one.", governing.safe.origin.ref)


def failure_of_record(forms: tuple[Form, ...], governing: Form | None) -> tuple[Value | None, Form | None]:
    """Failure pressure that the repair criteria take.

    That of the governing method, if it is one of those that 49 CFR 192.712(b) names (ASME B31G, PR 3-805); otherwise,
    and where its result is already a safe pressure, the lowest of those.
    """
    if governing is None:
        return None, None
    if governing.failure is not None and governing.key in FAMILY:
        return governing.failure, governing
    inside = [f for f in forms if f.key in FAMILY and f.failure is not None]
    if not inside:
        return None, None
    lowest = min(inside, key=lambda f: f.failure.magnitude)  # type: ignore[union-attr]
    return lowest.failure, lowest
