"""The whole job for one case, in its order, ending in one of five words."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field, replace

from wrapcalc.case import Bundle
from wrapcalc.case.model import COMPONENTS, DNV, METAL_LOSS
from wrapcalc.checks import Check, compare
from wrapcalc.errors import ValueWaits
from wrapcalc.recorder import Recorder, active, recording
from wrapcalc.stages import scope
from wrapcalc.stages.assessment.allowable import Allowable, allowable_sizes
from wrapcalc.stages.assessment.assess import Assessment, assess
from wrapcalc.stages.assessment.axial import axial_check
from wrapcalc.stages.assessment.beside import pressure_beside
from wrapcalc.stages.assessment.chance import Chance, chance
from wrapcalc.stages.assessment.disposition import Disposition, dispose
from wrapcalc.stages.assessment.forms import OF_DNV
from wrapcalc.stages.assessment.life import Life, remaining_life
from wrapcalc.stages.assessment.restriction import Interim, interim_limit
from wrapcalc.stages.assessment.sound_pipe import allowable
from wrapcalc.stages.dig.dig import Dig, dig
from wrapcalc.stages.site.mixing import mixing
from wrapcalc.stages.site.site import ForSite, for_site, packs_for_batches
from wrapcalc.stages.site.takeoff import Line, takeoff
from wrapcalc.stages.wrap.bears import Bears, bears, restored_pressure, uses_over_layers
from wrapcalc.stages.wrap.chain import Chain
from wrapcalc.stages.wrap.design import Design, design, design_leak
from wrapcalc.stages.wrap.second_opinion import Opinion, second_opinion
from wrapcalc.stages.wrap.why import Why, why
from wrapcalc.values import Value

NO_REPAIR = "no repair needed"
REDUCE = "reduce pressure and monitor"
WRAP = "wrap"
OTHER = "other repair needed"
NO_DATA = "insufficient data"
_SENSE = {"<=": "at most", "<": "less than", ">=": "at least", ">": "more than"}
#: What else there is, in general terms, when a wrap does not hold.
CONSIDER = ("Consider a replacement of the pipe, a welded or bolted full-encirclement sleeve by those who are "
            "licensed, a lower MAOP, or another wrap system.")
DECISIONS = (NO_REPAIR, REDUCE, WRAP, OTHER, NO_DATA)
#: Parts that a run may leave out, in words for whoever reads what is left: decision, design and order do not need them.
SIZES, CHANCE, ENVELOPE = "allowable sizes", "probability of exceedance", "design envelope and the box for the site"
WHY, OPINION = "sensitivity to the inputs", "second opinion"
SITE, DIG = "marks, materials, weather, cure and release", "dig"
PARTS = (SIZES, CHANCE, ENVELOPE, WHY, OPINION, SITE, DIG)


@dataclass(frozen=True)
class Decision:
    """One of the five words, one sentence with its governing numbers, reasons, and the limit until then."""

    word: str
    sentence: str
    reasons: tuple[str, ...] = ()
    interim: Interim | None = None
    beside: Value | None = None

    @property
    def interim_limit(self) -> Value | None:
        """Pressure limit until the repair is accepted or the MAOP is lowered."""
        return self.interim.limit if self.interim else None


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
    disposition: Disposition | None = None
    allowable: Allowable | None = None
    life: Life | None = None
    chance: Chance | None = None
    bears: Bears | None = None
    why: Why | None = None
    opinion: Opinion | None = None
    dig: Dig | None = None
    site: ForSite | None = None
    left_out: frozenset[str] = frozenset()


def run(bundle: Bundle, *, without: Collection[str] = ()) -> Outcome:
    """Assess, design and take off one case. Raises CalculationError only for a defect of ours or of the numbers.

    without: some of PARTS, left out to answer sooner. Decision, reasons, design and order are the same without them;
    what is left out is missing and named in `left_out`, and with it the warnings that it would have given.
    """
    with recording(Recorder(bundle.case.display)) as rec:
        left_out = frozenset(without) | ({SITE} if ENVELOPE in without else set())  # the site sheet has the box in it
        out = _run(bundle, rec, left_out)
        if out.decision.word == WRAP and out.design is not None and out.bears is not None:
            if SITE in out.left_out:
                rec.stage = "I"
                out.order = packs_for_batches(out.order, mixing(bundle, out.design, out.order))
            else:
                out.site = for_site(bundle, out.assessment, out.design, out.bears, out.order, out.decision)
                out.order = out.site.order
        if out.decision.word != NO_REPAIR and DIG not in out.left_out:
            rec.stage = "E"
            out.dig = dig(bundle, out.assessment, out.design, out.decision)
        return out


def _run(bundle: Bundle, rec: Recorder, without: frozenset[str]) -> Outcome:
    missing = scope.missing_for_assessment(bundle)
    outside = scope.features_outside(bundle)
    if missing:
        return Outcome(bundle, rec, _incomplete(missing, also=tuple(outside)), missing=missing, left_out=without)
    if outside:
        return Outcome(bundle, rec, Decision(NO_DATA, "Insufficient data: " + "; ".join(outside) + ".",
                                             tuple(outside)), left_out=without)
    if scope.is_leak(bundle):
        return _leak(bundle, rec, without)
    if not scope.is_loss(bundle):
        return _feature(bundle, rec, without)
    a = assess(bundle)
    out = Outcome(bundle, rec, Decision(NO_DATA, ""), a, left_out=without)
    if a.governing is not None and not a.too_deep and not _by_size_alone(bundle, a):
        rec.warn("Allowable sizes, remaining life and probability are not worked out: where DNV-RP-F101 governs, they "
                 "know pressure alone, not the external loads of this case.", "case: service")
    elif a.governing is not None and not a.too_deep:
        out.allowable = None if SIZES in without else allowable_sizes(bundle, a)
        out.life = remaining_life(bundle, a)
        out.chance = None if CHANCE in without else chance(bundle, a, out.life)
    out.disposition = dispose(bundle, a, out.life)
    out.decision = _with_people_beside(bundle, a, _decided(bundle, rec, out))
    return out


def add_sizes(out: Outcome) -> None:
    """Give a run that left the allowable sizes out the same ones afterwards; nothing else depends on them."""
    a = out.assessment
    if SIZES in out.left_out and a is not None and a.governing is not None and not a.too_deep and _by_size_alone(
            out.bundle, a):
        with recording(out.recorder) as rec:
            rec.stage = "A"
            out.allowable = allowable_sizes(out.bundle, a)
    out.left_out -= {SIZES}


def _by_size_alone(bundle: Bundle, a: Assessment) -> bool:
    """Whether the governing answer depends on depth and length only, as searches over sizes take it."""
    loads = bundle.case.get("service.axial_force").base or bundle.case.get("service.bending_moment").base
    return a.governing_key not in OF_DNV or not loads


def _decided(bundle: Bundle, rec: Recorder, out: Outcome) -> Decision:
    a, ruled = out.assessment, out.disposition
    assert a is not None and ruled is not None
    early = _after_assessment(bundle, a, ruled, out.life)
    if early is not None:
        return early
    out.missing = scope.missing_for_design(bundle)
    if out.missing:
        interim = interim_limit(bundle, a)
        count = len(out.missing)
        return Decision(NO_DATA, f"Insufficient data: {_why(bundle, a, ruled, out.life)}, and {count} "
                        f"value{'s' if count > 1 else ''} needed for designing a wrap {'are' if count > 1 else 'is'} "
                        f"missing. Until then {_hold(bundle, interim)}.", ruled.reasons, interim)
    rec.stage = "D"
    try:
        out.design = design(bundle, a, out.life)
    except ValueWaits as e:
        return _waits(bundle, a, e)
    decision = _after_design(bundle, a, out.design, _why(bundle, a, ruled, out.life), ruled)
    return _beside_design(bundle, a, out, decision) if decision.word == WRAP else decision


def _beside_design(bundle: Bundle, a: Assessment | None, out: Outcome, decision: Decision) -> Decision:
    """What a design that holds can bear, why it is what it is, a second opinion, and the order.

    Gives the decision back, with the pressure that is really restored where something else bounds it.
    """
    rec, d = active(), out.design
    assert d is not None
    chain = Chain(bundle, d)
    out.bears = _bears(bundle, a, d, chain) if ENVELOPE in out.left_out else bears(bundle, a, d, chain)
    out.why = None if WHY in out.left_out else why(bundle, d, chain)
    out.opinion = None if OPINION in out.left_out else second_opinion(bundle, d)
    rec.stage = "T"
    rec.begin("Quantities")
    out.order = takeoff(bundle, d)
    asked = bundle.case.optional("service.lowered_maop") or bundle.case.value("service.maop")
    restored = out.bears.restored
    if compare(restored, ">=", asked):
        return decision
    return replace(decision, sentence=f"{decision.sentence} After the repair the pressure stays at "
                   f"{restored.show(bundle.case.display, 4)}: something else than the wrap bounds it.")


def _bears(bundle: Bundle, a: Assessment | None, d: Design, chain: Chain) -> Bears:
    """What the decision and the figures need of what the design can bear: no envelope, no box."""
    active().begin("Restored pressure")
    return Bears(restored_pressure(bundle, a, d, chain), uses_over_layers(bundle, d, chain), {}, (), ())


def _waits(bundle: Bundle, a: Assessment | None, e: ValueWaits) -> Decision:
    """A value of the chosen edition is not known to us: nothing is filled with a guess."""
    interim = interim_limit(bundle, a)
    edition = bundle.case.design.standard
    others = [e.name for e in bundle.tables.entries.values() if e.document == edition and e.waits]
    more = f"Not known of {edition}, needed or not: {', '.join(others)}"
    return Decision(NO_DATA, f"Insufficient data: {e}. Until then {_hold(bundle, interim)}.", (str(e), more), interim)


def _with_people_beside(bundle: Bundle, a: Assessment | None, decision: Decision) -> Decision:
    """The decision with the pressure that holds while people are beside the pipe."""
    active().stage = "A"
    return replace(decision, beside=pressure_beside(bundle, a, decision.interim_limit))


def _feature(bundle: Bundle, rec: Recorder, without: frozenset[str]) -> Outcome:
    """A dent, gouge, crack or leak: no strength method here; the repair criteria and the pressure speak."""
    ruled = dispose(bundle, None, None)
    interim = interim_limit(bundle, None)
    kind = bundle.case.defect.kind
    hold = f"Until then {_hold(bundle, interim)}, the pressure rule alone, or less as those who are licensed decide."
    if ruled.leading is not None or ruled.rules_out or kind in ("crack", "leak"):
        what = ruled.sentence or f"a {kind} is outside what a wrap of this kind may restore"
        decision = Decision(OTHER, f"Other repair needed: {what}. {hold}", ruled.reasons, interim)
    else:
        decision = Decision(NO_DATA, "Insufficient data: no repair criterion that could be evaluated asks for repair "
                            f"of this {kind}, and this version has no strength method for it. {hold}", ruled.reasons,
                            interim)
    return Outcome(bundle, rec, _with_people_beside(bundle, None, decision), disposition=ruled, left_out=without)


def _leak(bundle: Bundle, rec: Recorder, without: frozenset[str]) -> Outcome:
    """An opening through the wall of plant piping: the leak design of the wrap, or another repair."""
    ruled = dispose(bundle, None, None)
    interim = interim_limit(bundle, None)
    hold = f"Until then {_hold(bundle, interim)}, or less as those who are licensed decide."
    out = Outcome(bundle, rec, Decision(NO_DATA, ""), disposition=ruled, left_out=without)
    out.missing = scope.missing_for_design(bundle)
    what = f"{bundle.case.defect.leak_shape} through the wall"
    if ruled.rules_out:
        out.decision = Decision(OTHER, f"Other repair needed: {ruled.excluded[0]}. {hold}", ruled.reasons, interim)
    elif out.missing:
        out.decision = Decision(NO_DATA, f"Insufficient data: there is a {what}, and {len(out.missing)} values needed "
                                f"for designing a wrap are missing. {hold}", ruled.reasons, interim)
    else:
        rec.stage = "D"
        try:
            out.design = design_leak(bundle, allowable(bundle, None))
            out.decision = _after_design(bundle, None, out.design, f"there is a {what}", ruled)
        except ValueWaits as e:
            out.decision = _waits(bundle, None, e)
        if out.decision.word == WRAP:
            out.decision = _beside_design(bundle, None, out, out.decision)
    out.decision = _with_people_beside(bundle, None, out.decision)
    return out


def _incomplete(missing: list[str], purpose: str = "a decision", also: tuple[str, ...] = ()) -> Decision:
    """Missing values, and what is outside the scope besides."""
    return Decision(NO_DATA, f"Insufficient data: {len(missing)} value{'s' if len(missing) > 1 else ''} needed for "
                    f"{purpose} {'are' if len(missing) > 1 else 'is'} missing.", also)


def _after_assessment(bundle: Bundle, a: Assessment, ruled: Disposition, life: Life | None) -> Decision | None:
    """The decision that the assessment alone makes, or None when a wrap must be tried."""
    case, show = bundle.case, _shower(bundle)
    if a.outside:
        interim = interim_limit(bundle, a)
        return Decision(NO_DATA, "Insufficient data: " + "; ".join(a.outside) + ". Until then "
                        f"{_hold(bundle, interim)}.",
                        a.outside + ruled.reasons, interim)
    if a.too_deep:
        interim = interim_limit(bundle, a)
        return Decision(OTHER, f"Other repair needed: depth with allowance is {a.greatest_share.show(significant=3)} "
                        f"of the wall, above the limit {a.depth_check.limit.show()} ({a.depth_check.citation}); no "
                        "strength method and no wrap of this kind applies. Until it is repaired hold at most "
                        f"{show(interim.limit)}, the pressure rule alone, or less as those who are licensed decide.",
                        ruled.reasons, interim=interim)
    if a.governing is None:
        reasons = tuple(f"{f.key}: {f.reason}" for f in a.forms if f.reason)
        if case.assessment.method == DNV and case.get("pipe.smts") is None:
            reasons += (f"{DNV} is named and rests on the tensile strength: state pipe.smts",)
        interim = interim_limit(bundle, a)
        return Decision(NO_DATA, "Insufficient data: no form of remaining strength that may govern is inside its "
                        f"scope. Until then {_hold(bundle, interim)}, the pressure rule alone, or less as those who "
                        "are licensed decide.", reasons + ruled.reasons, interim)
    assert a.axial_check is not None and a.strength_check is not None and a.section is not None
    maop = case.value("service.maop")
    if ruled.excluded_now:
        return _excluded(bundle, a, ruled, ruled.excluded_now[0])
    straight = case.service.inside_repair not in COMPONENTS
    fit = a.strength_check.met and a.axial_check.met and straight
    if fit and ruled.leading is None and not (life and life.due):
        _warn_upset(bundle, a)
        recoat = case.defect.kind == METAL_LOSS
        if recoat:
            active().assume("Recoating of the pipe is assumed" + ("." if life else "; growth of the defect is not "
                            "assessed."), "scope")
        return Decision(NO_REPAIR, f"No repair needed for strength: the governing safe pressure {show(a.governing)} "
                        f"({a.told_form(bundle)}) is not below the MAOP {show(maop)}, repair factor "
                        f"{a.repair_factor.show(significant=3)}. " + ("Recoating is assumed; " if recoat else "")
                        + _capital(_growth(life), not recoat) + ruled.open_words, ruled.reasons)
    lowered = case.optional("service.lowered_maop")
    due = life is not None and life.due
    if straight and lowered is not None and compare(lowered, "<=", a.governing) and not (
            ruled.fires_at(lowered) or due):
        _warn_upset(bundle, a)
        axial = axial_check(bundle, a.section, lowered, a.allowable, "lowered MAOP")
        if axial.met:
            interim = interim_limit(bundle, a)
            return Decision(REDUCE, f"Reduce pressure and monitor: the MAOP is lowered from {show(maop)} to "
                            f"{show(lowered)}, not above the governing safe pressure {show(a.governing)} "
                            f"({a.told_form(bundle)}). Until then {_hold(bundle, interim)}. "
                            + _capital(_growth(life)) + ruled.open_words, ruled.reasons, interim=interim)
    # What would end the life of a wrap too soon counts only now that one would be tried.
    return _excluded(bundle, a, ruled, ruled.excluded[0]) if ruled.excluded else None


def _excluded(bundle: Bundle, a: Assessment, ruled: Disposition, why: str) -> Decision:
    interim = interim_limit(bundle, a)
    return Decision(OTHER, f"Other repair needed: {why}. Until it is repaired {_hold(bundle, interim)}.", ruled.reasons,
                    interim)


def _growth(life: Life | None) -> str:
    """What the decision says about growth."""
    if life is None:
        return "growth is not assessed."
    return (f"remaining life {life.words}{life.words_of_safe}, look again within "
            f"{life.interval.show(significant=3)} of the measurement.")


def _capital(text: str, wanted: bool = True) -> str:
    return text[0].upper() + text[1:] if wanted else text


def _hold(bundle: Bundle, interim: Interim) -> str:
    """What to hold until then; where no pressure mends the loads, that comes first."""
    return f"hold at most {interim.limit.show(bundle.case.display, 4)}" + (f", and {interim.also}" if interim.also else
                                                                          "")


def _after_design(bundle: Bundle, a: Assessment | None, d: Design, why: str, ruled: Disposition) -> Decision:
    """Wrap, or what stands against it. a: None for an opening through the wall."""
    show, case = _shower(bundle), bundle.case
    failed = tuple(_told(c, case.display) for c in d.failed)
    if not d.fits:
        return Decision(NO_DATA, "Insufficient data: the repair would come too close to a weld, a bend, a fitting or "
                        f"another repair. Until then {_hold(bundle, d.interim)}.",
                        tuple(_told(c, case.display) for c in d.clear if not c.met), d.interim)
    if any(c.kind == "scope" for c in d.failed):
        return Decision(NO_DATA, f"Insufficient data: {why}, and the design of the wrap leaves what its equations are "
                        f"known for. Until then {_hold(bundle, d.interim)}.", failed + ruled.reasons, d.interim)
    if not d.holds:
        proposal = f" {_capital(d.laid.proposal)}." if d.laid is not None and d.laid.proposal else ""
        return Decision(OTHER, f"Other repair needed: {why}, and the chosen wrap does not meet {len(failed)} of its "
                        f"gates and checks.{proposal} Until it is repaired {_hold(bundle, d.interim)}. {CONSIDER}",
                        failed + ruled.reasons, interim=d.interim)
    assert d.extent is not None and d.laid is not None and bundle.system is not None
    covers = [r.layout.cover for r in d.extent.repairs if r.layout is not None]
    over = show(covers[0]) if len(covers) == 1 else " and ".join(show(c) for c in covers)
    tiers = f" in {d.laid.tiers} sleeves one over the other" if d.laid.tiers > 1 else ""
    parts = f" in {len(covers)} separate repairs" if len(covers) > 1 else ""
    return Decision(WRAP, f"Wrap: {why}; {int(d.laid.count.magnitude)} layers of {bundle.system.system.name}{tiers}, "
                    f"{show(d.laid.thickness)} thick over {over}{parts}, restore {show(d.pressure)}. Until the repair "
                    f"is accepted hold at most {show(d.interim.limit)}, and while it is laid and cures at most "
                    f"{show(case.value('service.installation_pressure'))}.", ruled.reasons, d.interim)


def _why(bundle: Bundle, a: Assessment, ruled: Disposition, life: Life | None) -> str:
    """Why something must be done, in the words of what governs."""
    show = _shower(bundle)
    assert a.governing is not None and a.strength_check is not None and a.axial_check is not None
    if not a.strength_check.met:
        return (f"the governing safe pressure {show(a.governing)} ({a.told_form(bundle)}) is below the MAOP "
                f"{show(bundle.case.value('service.maop'))}")
    if not a.axial_check.met:
        return "the axial stress of the damaged section is too high"
    if bundle.case.service.inside_repair in COMPONENTS:
        return f"the strength of the damaged {bundle.case.service.inside_repair} is not assessed"
    return ruled.sentence or (f"the remaining life is {life.words}, too short to wait" if life else "")


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
