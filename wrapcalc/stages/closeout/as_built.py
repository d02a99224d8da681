"""The design checked again with what was built, for the damage as issued and as found: the worse of both counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from wrapcalc.case import Bundle
from wrapcalc.case.readings import Reading
from wrapcalc.errors import ValueWaits
from wrapcalc.fields import Given
from wrapcalc.formulas import wrap_thickness as thickness
from wrapcalc.recorder import Recorder, active, recording
from wrapcalc.stages import job, scope
from wrapcalc.stages.assessment.assess import assess
from wrapcalc.stages.assessment.life import remaining_life
from wrapcalc.stages.assessment.sound_pipe import allowable
from wrapcalc.stages.closeout.ledger import NOBODY, OTHERS, Work
from wrapcalc.stages.wrap.design import Design, design, design_leak
from wrapcalc.stages.wrap.extent import Repair
from wrapcalc.standards.documents import MECHANICS
from wrapcalc.values import Value

#: What stands behind the title of a check that takes the damage as the ditch showed it.
AS_FOUND = ", damage as found"


@dataclass(frozen=True)
class Again:
    """The design with what was built. required: thickness; full: full-thickness lengths by repair; restored: pressure,
    None where the design does not hold any more."""

    required: Value | None
    full: dict[str, Value]
    restored: Value | None


@dataclass(frozen=True)
class Damage:
    """The damage that the design is checked for. outcome: the run of its case; source: where it stands, in words;
    label: behind the titles."""

    outcome: job.Outcome
    source: str = "case of the package"
    label: str = ""


# -- the design, checked again ------------------------------------------------------------------------------------
def again(w: Work, as_stated: job.Outcome, found: Damage | None, pressures: Sequence[Reading],
          temperatures: Sequence[Reading], counted: dict[str, Value]) -> Again | None:
    """Run the job with the logged pressure, the measured temperature and the layers that were counted: for the damage
    of the package, and for the one that the look into the ditch found, where there is a whole one.

    Of the logged values the worst set counts: each corner of stated, highest and lowest pressure and temperature is
    designed, and the one that asks for the thickest wrap, or does not hold, goes through the whole job.
    """
    if not counted or not pressures or not temperatures:
        return None
    one = _again(w, Damage(as_stated), as_stated, pressures, temperatures, counted)
    if found is None:
        return one
    active().assume(f"What was built is held against the damage of the package and against the one as found "
                    f"({found.source}); of both the worse counts.", "safer reading")
    two = _again(w, found, as_stated, pressures, temperatures, counted)
    full = {k: max((x.full[k] for x in (one, two) if k in x.full), key=_size) for k in one.full | two.full}
    return Again(max((v for v in (one.required, two.required) if v is not None), key=_size, default=None), full,
                 None if one.restored is None or two.restored is None else min(one.restored, two.restored, key=_size))


def _size(v: Value) -> float:
    return v.magnitude


def _again(w: Work, of: Damage, as_stated: job.Outcome, pressures: Sequence[Reading],
           temperatures: Sequence[Reading], counted: dict[str, Value]) -> Again:
    bundle = of.outcome.bundle
    rec, case, display = active(), bundle.case, w.bundle.case.display
    least = min(counted.values(), key=lambda v: v.magnitude)
    built = _with_layers(of.outcome, least)
    p = _ends(case.get("service.installation_pressure"), pressures)
    t = _ends(case.get("service.installation_temperature"), temperatures)
    corners = [_at(built, a, b) for a in p for b in t]
    worst = corners[0] if len(corners) == 1 else _worst(corners)
    outcome = of.outcome if _same(worst, bundle) else job.run(worst, without=job.PARTS)
    d, service = outcome.design, worst.case.service
    holds = outcome.decision.word == job.WRAP and d is not None and d.holds and outcome.bears is not None
    inputs = {"highest logged pressure": w.value(max(pressures, key=lambda r: r.base)),
              "lowest logged pressure": w.value(min(pressures, key=lambda r: r.base)),
              "coldest logged steel": w.value(min(temperatures, key=lambda r: r.base)),
              "hottest logged steel": w.value(max(temperatures, key=lambda r: r.base)), "layers counted": least}
    results: dict[str, tuple[float, str]] = {}
    if d is not None and d.laid is not None:
        results["thickness required"] = (d.laid.required.magnitude, "mm")
    if d is not None and d.extent is not None:
        results |= {_full(r, d): (r.full.magnitude, "mm") for r in d.extent.repairs}
    if holds and outcome.bears is not None:
        results["restored pressure"] = (outcome.bears.restored.magnitude, "MPa")
    out = rec.procedure(
        "Design with what was built" + of.label, "the whole job once more, with the worst set of what is stated and "
        "what was logged: pressure from the first mix until cured, steel temperature while it was laid; and with the "
        "least number of layers that was counted",
        MECHANICS.id, "derived", inputs, results,
        [("damage taken from", of.source),
         ("pressure while wrapping taken", service.installation_pressure.written),
         ("steel temperature taken", service.installation_temperature.written),
         ("decision", outcome.decision.word), ("sets tried", str(len(corners)))])
    failed = [] if d is None else [c.title for c in d.failed]
    w.gate("The design holds with what was built" + of.label, holds, ": ".join(filter(None, (outcome.decision.word,
           "; ".join(failed)))), "wrap", citation=str(case.design.standard), status="derived", guard=NOBODY,
           rows=[*pressures[:1], *temperatures[:1]], note="" if holds else outcome.decision.sentence)
    if "thickness required" in out and w.design.ply is not None:
        laid = rec.named(thickness.wrap_thickness(least, w.design.ply),
                         "Wrap thickness as built: layers counted times ply")
        w.limit("Wrap thickness as built against the thickness required as built" + of.label, laid, ">=",
                out["thickness required"], citation=str(case.design.standard), status="derived", guard=NOBODY)
    restored = out.get("restored pressure")
    if restored is not None and as_stated.bears is not None:
        w.limit("Restored pressure as built against that of the design" + of.label, restored, ">=",
                as_stated.bears.restored, citation="record: restored pressure", status="derived", guard=OTHERS,
                note=f"accepted, it is restored to {restored.show(display)} only")
    full = {} if d is None or d.extent is None else {r.label: out[_full(r, d)] for r in d.extent.repairs}
    return Again(out.get("thickness required"), full, restored)


def _full(r: Repair, d: Design) -> str:
    assert d.extent is not None
    return "full-thickness length required" + (f", repair {r.label}" if len(d.extent.repairs) > 1 else "")


def _with_layers(of: job.Outcome, least: Value) -> Bundle:
    """The bundle with a sleeve of the layers that were counted; more than designed are not credited."""
    bundle, system = of.bundle, of.bundle.system
    laid = of.design.laid if of.design is not None else None
    if system is None or laid is None or not system.is_sleeve or least.magnitude >= laid.count.magnitude:
        return bundle
    each = max(int(least.magnitude // laid.tiers), 1)
    given = Given(float(each), "", str(each), "count", least.origin.ref, "measured")
    sleeve = system.sleeve.model_copy(update={"layers": given})
    return replace(bundle, system=system.model_copy(update={"sleeve": sleeve}))


def _ends(stated: Given, rows: Sequence[Reading]) -> list[Given]:
    """The least and the greatest of what is stated and what was logged; one where they are the same."""
    found = [stated, *(r.given for r in rows if r.given is not None)]
    low, high = min(found, key=lambda g: g.base), max(found, key=lambda g: g.base)
    return [low] if low.base == high.base else [high, low]


def _same(a: Bundle, b: Bundle) -> bool:
    """Whether two bundles state the same pressure, temperature and layers: one run serves both."""
    fields = ("service.installation_pressure", "service.installation_temperature")
    return a.system is b.system and all(a.case.get(f).base == b.case.get(f).base for f in fields)


def _at(bundle: Bundle, pressure: Given, temperature: Given) -> Bundle:
    service = bundle.case.service.model_copy(update={"installation_pressure": pressure,
                                                     "installation_temperature": temperature})
    return replace(bundle, case=bundle.case.model_copy(update={"service": service}))


def _worst(corners: list[Bundle]) -> Bundle:
    """The set that asks for most: one that fails, or the thickest wrap; by the design alone, nothing is kept.

    What the damage can bear depends on none of the two: it is assessed once.
    """
    first = corners[0]
    with recording(Recorder(first.case.display)):
        a = None if scope.is_leak(first) else assess(first)
        life = remaining_life(first, a) if a is not None and a.governing is not None and not a.too_deep else None

    def demand(bundle: Bundle) -> tuple[int, float]:
        with recording(Recorder(bundle.case.display)) as rec:
            rec.stage = "D"
            try:
                if a is None:
                    d = design_leak(bundle, allowable(bundle, None))
                else:
                    d = None if a.governing is None else design(bundle, a, life)
            except ValueWaits:
                d = None
        if d is None or d.laid is None:
            return 2, 0.0
        return int(bool(d.failed)), d.laid.required.magnitude

    return max(corners, key=demand)
