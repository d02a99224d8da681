"""The whole job for one case, in its order, ending in one of five words."""

from __future__ import annotations

from dataclasses import dataclass, field

from wrapcalc.case import Bundle
from wrapcalc.checks import Check, compare
from wrapcalc.recorder import Recorder, active, recording
from wrapcalc.stages import scope
from wrapcalc.stages.assess import Assessment, assess, axial_check, interim_limit
from wrapcalc.stages.design import Design, design
from wrapcalc.stages.takeoff import Line, takeoff
from wrapcalc.values import Value

NO_REPAIR = "no repair needed"
REDUCE = "reduce pressure and monitor"
WRAP = "wrap"
OTHER = "other repair needed"
NO_DATA = "insufficient data"
_SENSE = {"<=": "at most", "<": "less than", ">=": "at least", ">": "more than"}
DECISIONS = (NO_REPAIR, REDUCE, WRAP, OTHER, NO_DATA)


@dataclass(frozen=True)
class Decision:
    """One of the five words, one sentence with its governing numbers, reasons, and the limit until then."""

    word: str
    sentence: str
    reasons: tuple[str, ...] = ()
    interim_limit: Value | None = None


@dataclass
class Outcome:
    """What a run leaves: recorder, decision and the parts that were reached."""

    bundle: Bundle
    recorder: Recorder
    decision: Decision
    assessment: Assessment | None = None
    design: Design | None = None
    order: tuple[Line, ...] = ()
    missing: list[str] = field(default_factory=list)


def run(bundle: Bundle) -> Outcome:
    """Assess, design and take off one case. Raises CalculationError only for a defect of ours or of the numbers."""
    with recording(Recorder(bundle.case.display)) as rec:
        return _run(bundle, rec)


def _run(bundle: Bundle, rec: Recorder) -> Outcome:
    missing = scope.missing_for_assessment(bundle)
    outside = scope.features_outside(bundle)
    if missing:
        return Outcome(bundle, rec, _incomplete(missing, also=tuple(outside)), missing=missing)
    if outside:
        return Outcome(bundle, rec, Decision(NO_DATA, "Insufficient data: " + "; ".join(outside) + ".",
                                             tuple(outside)))
    a = assess(bundle)
    early = _after_assessment(bundle, a)
    if early is not None:
        return Outcome(bundle, rec, early, a)
    missing = scope.missing_for_design(bundle)
    if missing:
        return Outcome(bundle, rec, _incomplete(missing, "designing a wrap"), a, missing=missing)
    rec.stage = "D"
    d = design(bundle, a)
    decision = _after_design(bundle, a, d)
    order: tuple[Line, ...] = ()
    if decision.word == WRAP:
        rec.stage = "T"
        rec.begin("Quantities")
        order = takeoff(bundle, a, d)
    return Outcome(bundle, rec, decision, a, d, order)


def _incomplete(missing: list[str], purpose: str = "a decision", also: tuple[str, ...] = ()) -> Decision:
    """Missing values, and what is outside the scope besides."""
    return Decision(NO_DATA, f"Insufficient data: {len(missing)} value{'s' if len(missing) > 1 else ''} needed for "
                    f"{purpose} {'are' if len(missing) > 1 else 'is'} missing.", also)


def _after_assessment(bundle: Bundle, a: Assessment) -> Decision | None:
    """The decision that the assessment alone makes, or None when a wrap must be tried."""
    case, show = bundle.case, _shower(bundle)
    if a.outside:
        return Decision(NO_DATA, "Insufficient data: " + "; ".join(a.outside) + ".", a.outside)
    if a.too_deep:
        limit = interim_limit(bundle, a)
        return Decision(OTHER, f"Other repair needed: depth with allowance is {a.relative_depth.show(significant=3)} "
                        f"of the wall, above the limit {a.depth_check.limit.show()} ({a.depth_check.citation}); no "
                        "strength method and no wrap of this kind applies. Until it is repaired hold at most "
                        f"{show(limit)}, the pressure rule alone, or less as those who are licensed decide.",
                        interim_limit=limit)
    if a.governing is None:
        reasons = tuple(f"{f.key}: {f.reason}" for f in a.forms if f.reason)
        return Decision(NO_DATA, "Insufficient data: no form of remaining strength that may govern is inside its "
                        "scope.", reasons)
    assert a.axial_check is not None and a.strength_check is not None and a.section is not None
    maop = case.value("service.maop")
    if a.strength_check.met and a.axial_check.met:
        _warn_upset(bundle, a)
        rec = active()
        rec.assume("Recoating of the pipe is assumed; growth of the defect is not assessed.", "scope")
        return Decision(NO_REPAIR, f"No repair needed for strength: the governing safe pressure {show(a.governing)} "
                        f"({a.governing_form}) is not below the MAOP {show(maop)}, repair factor "
                        f"{a.repair_factor.show(significant=3)}. Recoating is assumed; growth is not assessed.")
    lowered = case.optional("service.lowered_maop")
    if lowered is not None and compare(lowered, "<=", a.governing):
        _warn_upset(bundle, a)
        axial = axial_check(bundle, a.section, lowered, a.allowable, "lowered MAOP")
        if axial.met:
            limit = interim_limit(bundle, a)
            return Decision(REDUCE, f"Reduce pressure and monitor: the MAOP is lowered from {show(maop)} to "
                            f"{show(lowered)}, not above the governing safe pressure {show(a.governing)} "
                            f"({a.governing_form}). Until then hold at most {show(limit)}. Growth is not assessed.",
                            interim_limit=limit)
    return None


def _after_design(bundle: Bundle, a: Assessment, d: Design) -> Decision:
    show, case = _shower(bundle), bundle.case
    assert a.governing is not None
    failed = tuple(_told(c, case.display) for c in d.failed)
    if not d.fits:
        return Decision(NO_DATA, "Insufficient data: the repair would reach a girth weld, bend or fitting, which this "
                        f"version does not cover. Until then hold at most {show(d.interim_limit)}.",
                        tuple(_told(c, case.display) for c in d.clear if not c.met), d.interim_limit)
    if not d.holds:
        why = (f"the governing safe pressure {show(a.governing)} ({a.governing_form}) is below the MAOP "
               f"{show(case.value('service.maop'))}" if not a.strength_check.met else  # type: ignore[union-attr]
               "the axial stress of the damaged section is too high")
        return Decision(OTHER, f"Other repair needed: {why}, and the chosen wrap does not meet {len(failed)} of its "
                        f"gates and checks. Until it is repaired hold at most {show(d.interim_limit)}.", failed,
                        interim_limit=d.interim_limit)
    limit = d.interim_limit
    layers, cover = d.layers, d.layout.cover  # type: ignore[union-attr]
    return Decision(WRAP, f"Wrap: the governing safe pressure {show(a.governing)} ({a.governing_form}) is below the "
                    f"MAOP {show(case.value('service.maop'))}; {int(layers.magnitude)} layers of "  # type: ignore[union-attr]
                    f"{bundle.system.system.name}, {show(d.wrap_thickness)} thick over {show(cover)}, "  # type: ignore
                    f"restore {show(d.pressure)}. Until the repair is accepted hold at most {show(limit)}, and while "
                    f"it is laid and cures at most {show(case.value('service.installation_pressure'))}.",
                    interim_limit=limit)


def _told(c: Check, display: str) -> str:
    """A failed check in words, with its numbers."""
    if c.provided is not None and c.limit is not None:
        return f"{c.id} {c.title}: {c.provided.show(display)} should be {_SENSE[c.sense]} {c.limit.show(display)}"
    return f"{c.id} {c.title}: {c.found or c.note or c.verdict}" + (f", wanted: {c.wanted}" if c.wanted else "")


def _warn_upset(bundle: Bundle, a: Assessment) -> None:
    upset = bundle.case.optional("service.upset_pressure")
    if upset is not None and a.governing is not None and upset.magnitude > a.governing.magnitude:
        active().warn(f"The declared upset pressure {upset.show(bundle.case.display)} is above the governing safe "
                      "pressure: the decision rests on the MAOP; confirm that the upset may act on this defect.",
                      "case: service.upset_pressure")


def _shower(bundle: Bundle):
    return lambda v: v.show(bundle.case.display, 4)
