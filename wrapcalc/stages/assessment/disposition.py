"""What the rule book says: every repair criterion evaluated, what rules a wrap out, and what leads."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from wrapcalc.case import Bundle
from wrapcalc.case.model import INTERNAL_LOSS, LIQUID, PLANT
from wrapcalc.fields import clock_hours
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.recorder import active
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.assessment.life import Life
from wrapcalc.standards import criteria as rules
from wrapcalc.standards.criteria import Criteria, Finding
from wrapcalc.standards.documents import CFR_192
from wrapcalc.values import Value

#: Classes that ask for no repair now: what is monitored, and what a schedule gives years for. A ratio so low that the
#: schedule gives little time is below the MAOP's margin, too, and asks for repair by strength.
NOT_NOW = ("monitored", "by schedule", "excluded", "extra care")
#: What rules a wrap out until an assessment is made, and is no reason for another repair by itself.
AWAITS = ("plain dent without assessment",)
#: Outside diameter below which the dent limits are in inches: NPS 12.
_SMALL = 12.75 * 25.4


@dataclass(frozen=True)
class Ruled:
    """One list of criteria and how each of them ended."""

    criteria: Criteria
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Disposition:
    """lists: the rules that hold and the company's; exclusions: what bears on a wrap. leading: the most urgent
    criterion that asks for repair. excluded: why a wrap is out; excluded_now: why, whatever the life of a repair;
    reasons: everything that fires, in words."""

    why: str
    lists: tuple[Ruled, ...]
    exclusions: Ruled
    leading: Finding | None
    excluded: tuple[str, ...]
    excluded_now: tuple[str, ...]
    missing: tuple[str, ...]
    facts: dict[str, Any]
    _fires: Callable[[Value], bool] = field(repr=False, default=lambda _: False)

    @property
    def reasons(self) -> tuple[str, ...]:
        """Every criterion that fires with its deadline, then what rules a wrap out or asks for care."""
        out = [f"{f.criterion.advice}: {f.criterion.text}" for r in self.lists for f in r.findings
               if f.verdict == rules.FIRES and f.criterion.deadline.name not in ("excluded", "extra care")]
        return tuple(out) + self.excluded + tuple(f"extra care: {t}" for t in self.care)

    @property
    def rules_out(self) -> bool:
        """Whether something rules a wrap out for good: not only until a plain dent is assessed."""
        return any(f.verdict == rules.FIRES and f.criterion.deadline.name == "excluded"
                   and f.criterion.paragraph not in AWAITS for r in (*self.lists, self.exclusions) for f in r.findings)

    @property
    def care(self) -> tuple[str, ...]:
        """What asks for extra care before a wrap."""
        return tuple(t for r in (*self.lists, self.exclusions) for t in _of_class(r, "extra care"))

    @property
    def open_words(self) -> str:
        """How many repair criteria are open for want of answers, "" when none is."""
        count = sum(f.verdict == rules.NO_DATA for r in self.lists for f in r.findings)
        return f" {count} repair criteria could not be evaluated for want of answers." if count else ""

    @property
    def sentence(self) -> str:
        """The leading criterion in words, "" when none fires."""
        return self.leading.criterion.advice if self.leading else ""

    def fires_at(self, maop: Value) -> bool:
        """Whether a criterion would still ask for repair if the MAOP were lowered to this."""
        return self._fires(maop)


def _of_class(ruled: Ruled, name: str) -> tuple[str, ...]:
    return tuple(f"{f.criterion.text} ({f.criterion.citation})" for f in ruled.findings
                 if f.verdict == rules.FIRES and f.criterion.deadline.name == name)


def dispose(bundle: Bundle, a: Assessment | None, life: Life | None) -> Disposition:
    """Evaluate every criterion of the rules that hold, of the company's file, and of what rules a wrap out."""
    rec, case = active(), bundle.case
    rec.begin("Repair criteria")
    names, why = rules.rules_for(case.service.service, case.service.high_consequence_area)
    # What the person who evaluates judges holds everywhere, also where no list of a rule does.
    lists = [rules.load(n) for n in names or (rules.JUDGEMENT,)] + ([bundle.criteria] if bundle.criteria else [])
    over_nominal = None
    if a is not None:
        over_nominal = rec.named(strength.relative_depth(a.greatest, case.value("pipe.nominal_wall")),
                                 "Depth with allowance over nominal wall, for the repair criteria")
    facts = _facts(bundle, a, life, case.value("service.maop"), over_nominal)
    done = tuple(Ruled(c, tuple(rules.evaluate(c, facts))) for c in lists)
    apart = rules.load(rules.WRAP)
    exclusions = Ruled(apart, tuple(rules.evaluate(apart, facts)))
    asking = [f for r in done for f in r.findings if f.criterion.deadline.name not in NOT_NOW]
    excluded = tuple(t for r in (*done, exclusions) for t in _of_class(r, "excluded"))
    today = facts | {"depth_over_wall_end_of_life": facts["depth_over_wall"]}
    excluded_now = tuple(t for c in (*lists, apart) for t in _of_class(Ruled(c, tuple(rules.evaluate(c, today))),
                                                                       "excluded"))
    missing = tuple(dict.fromkeys(m for r in done for f in r.findings if f.verdict == rules.NO_DATA
                                  for m in f.missing))

    def fires(maop: Value) -> bool:
        lower = _facts(bundle, a, life, maop, over_nominal)
        return any(f.verdict == rules.FIRES and f.criterion.deadline.name not in NOT_NOW
                   for c in lists for f in rules.evaluate(c, lower))

    out = Disposition(why, done, exclusions, rules.leading(asking, _schedule_days(life)), excluded, excluded_now,
                      missing, facts,
                      fires)
    _record(bundle, a, out, over_nominal)
    return out


def _schedule_days(life: Life | None) -> float | None:
    return None if life is None or life.schedule is None else life.schedule.magnitude * 365


def _record(bundle: Bundle, a: Assessment | None, d: Disposition, over_nominal: Value | None) -> None:
    rec, case = active(), bundle.case
    inputs: dict[str, Value] = {"MAOP": case.value("service.maop")}
    if over_nominal is not None:
        inputs["depth over nominal wall"] = over_nominal
    if a is not None and a.failure is not None:
        inputs["failure pressure"] = a.failure
    if a is not None and a.governing is not None:
        inputs["safe pressure"] = a.governing
    for ruled in (*d.lists, d.exclusions):
        found = {v: [f for f in ruled.findings if f.verdict == v] for v in (rules.FIRES, rules.NO_DATA)}
        rows = [(f"{f.criterion.paragraph} fires", "; ".join(f.because)) for f in found[rules.FIRES]]
        if found[rules.NO_DATA]:
            rows.append(("without data", ", ".join(f.criterion.paragraph for f in found[rules.NO_DATA])))
        rec.procedure(f"Criteria of {ruled.criteria.rule}",
                      f"all {len(ruled.findings)} criteria evaluated, none passed over; text as of "
                      f"{ruled.criteria.text_as_of}; each of them stands under Repair criteria",
                      ruled.criteria.rule, ruled.criteria.status, inputs,
                      {"criteria that fire": (float(len(found[rules.FIRES])), ""),
                       "criteria without data": (float(len(found[rules.NO_DATA])), "")}, rows)
    rec.assume(f"Which repair criteria hold: {d.why}.", "case: service")
    if d.missing:
        open_ones = sum(f.verdict == rules.NO_DATA for r in d.lists for f in r.findings)
        rec.warn(f"{open_ones} of {sum(len(r.findings) for r in d.lists)} repair criteria could not be evaluated, for "
                 f"want of {len(d.missing)} answer{'s' if len(d.missing) > 1 else ''}: see Repair "
                 "criteria.", "case: features")
    unknown = [f for f in d.exclusions.findings if f.verdict == rules.NO_DATA and not set(f.missing) <= set(d.missing)]
    if unknown:
        asked = dict.fromkeys(rules.FACTS[m].label for f in unknown for m in f.missing if m in rules.FACTS)
        rec.warn(f"{len(unknown)} conditions that rule a wrap out or ask for care could not be evaluated, for want of: "
                 f"{'; '.join(asked)}.", "case: features")
    for text in d.care:
        rec.warn(f"Extra care before a wrap: {text}.", "wrap exclusions")


def _facts(bundle: Bundle, a: Assessment | None, life: Life | None, maop: Value, over_nominal: Value | None
           ) -> dict[str, Any]:
    """What is known, by the names of the criteria; None is not stated."""
    case = bundle.case
    f, kind, service = case.features, case.defect.kind, case.service.service

    def over(given: str, base: str) -> float | None:
        top, bottom = case.get(given), case.get(base)
        return None if top is None or bottom is None else top.base / bottom.base

    loss = a is not None
    dent = kind == "dent" or f.dent_depth is not None
    seam = {"none": ("no", "no"), "along the seam": ("no", "yes"), "preferential": ("yes", "yes")}.get(
        f.seam_corrosion, (None, None))
    facts: dict[str, Any] = {
        "metal_loss": "yes" if loss else "no" if f.dent_stress_riser == "no" or not dent else None,
        "depth_over_nominal": None if over_nominal is None else over_nominal.magnitude,
        "depth_over_wall": None if a is None else a.greatest.magnitude / a.wall.magnitude,
        "depth_over_wall_end_of_life": _at_end(bundle, a, life),
        "failure_ratio": None if a is None or a.failure is None else a.failure.magnitude / maop.magnitude,
        "operating_ratio": None if a is None or a.governing is None else a.governing.magnitude / maop.magnitude,
        "class_location": case.service.class_location, "uprated_class_1": case.service.uprated_class_1,
        "high_consequence_area": case.service.high_consequence_area
        if case.service.high_consequence_area in ("yes", "no") else None,
        "transmission_line": "no" if service == PLANT else "yes",
        "general_corrosion": f.general_corrosion, "crossing": f.crossing,
        "widespread_circumferential": f.widespread_circumferential, "girth_weld_affected": f.girth_weld_affected,
        "small_pipe": "yes" if case.get("pipe.outside_diameter").base < _SMALL else "no",
        "dent": "yes" if dent else "no", "dent_over_diameter": over("features.dent_depth", "pipe.outside_diameter"),
        "dent_depth_in_mm": None if f.dent_depth is None else f.dent_depth.base,
        "dent_position": None if not f.dent_clock else rules.dent_position(clock_hours(f.dent_clock)),
        "dent_stress_riser": f.dent_stress_riser, "dent_at_weld": f.dent_at_weld,
        "dent_strain_passed": f.dent_strain_passed, "seam_corrosion_preferential": seam[0],
        "seam_corrosion_along": seam[1], "seam_type": case.pipe.seam_process,
        "joint_factor": _joint_factor(bundle),
        "crack": "yes" if kind == "crack" or f.crack_depth is not None or f.crack_beyond_tool == "yes" else f.crack,
        "crack_depth_over_wall": over("features.crack_depth", "pipe.nominal_wall"),
        "crack_beyond_tool": f.crack_beyond_tool,
        "gouge": "yes" if kind == "gouge" or f.gouge_depth is not None else "no",
        "gouge_over_nominal": over("features.gouge_depth", "pipe.nominal_wall"), "gouge_ground": f.gouge_ground,
        "arc_burn": f.arc_burn, "leak": "yes" if kind == "leak" else "no",
        "internal_corrosion": case.service.internal_corrosion,
        "growth_rate_known": "yes" if case.growth.basis is not None else "no",
        "judgement_immediate": f.judgement_immediate,
    }
    return facts


def _at_end(bundle: Bundle, a: Assessment | None, life: Life | None) -> float | None:
    """Depth over wall at the end of the repair's life: external loss stops under a wrap, internal loss goes on."""
    if a is None:
        return None
    grows = bundle.case.defect.kind == INTERNAL_LOSS or bundle.case.service.internal_corrosion != "none"
    if not grows:
        return a.greatest.magnitude / a.wall.magnitude
    years = bundle.case.get("design.design_life")
    if life is None or years is None:
        return None
    return (a.greatest.magnitude + life.rate.magnitude * years.base) / a.wall.magnitude


def _joint_factor(bundle: Bundle) -> float | None:
    case = bundle.case
    if case.service.service == PLANT or case.pipe.joint_type is None:
        return None
    document = "49 CFR 195" if case.service.service == LIQUID else CFR_192.id
    return bundle.tables.value(document, "joint_factor_" + case.pipe.joint_type.replace(" ", "_")).magnitude
