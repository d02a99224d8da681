"""After the cure: limits of the readings on the finished wrap, and the pressure raised in steps up to its cap."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from wrapcalc.case import Bundle
from wrapcalc.checks import compare
from wrapcalc.formulas import acceptance as reading
from wrapcalc.formulas import pressure
from wrapcalc.formulas import release as law
from wrapcalc.recorder import active
from wrapcalc.stages.wrap.bears import Bears
from wrapcalc.stages.wrap.design import Design
from wrapcalc.standards.documents import ASTM_D2583, ISO_24817, PRACTICE
from wrapcalc.systems.field_model import BARCOL
from wrapcalc.values import Value

if TYPE_CHECKING:
    from wrapcalc.stages.job import Decision

#: What must hold before the first step, and during each.
BEFORE = (
    "The release is signed: it names the logged steel temperature and the cure by the system's table, the dose, and "
    "the hardness. A forecast releases nothing.",
    "Nobody is in the trench, and nobody stands beside the repair, while the pressure is raised.",
    "The control room knows of each step before it is taken and writes the pressure down, with the time, at each.",
    "At each hold listen and look, from outside the trench, for noise, a leak or an edge that lifts. If there is "
    "any: go back to the pressure before the step and call the engineer.",
)
#: What the sheet leaves blank: nobody but a person fills it in.
BLANKS = ("released by, with date and time", "restriction lifted by, with date and time",
          "pressure and time at the end of each step", "told the control room")


@dataclass(frozen=True)
class Accepted:
    """Limits of the hardness. usual_readings: of the scale's method at the row of the reference, None without a row."""

    scale: str | None
    reference: Value
    mean: Value
    single: Value
    readings: Value
    usual_readings: Value | None


@dataclass(frozen=True)
class Restoration:
    """Pressure from the installation to the cap. start: None where it is not stated; steps: the last is the cap.

    governing: what makes the cap, in words; people: pressure while anyone is beside the pipe; note: what is missing, or
    why nothing is raised (`none`).
    """

    start: Value | None
    cap: Value
    governing: str
    limits: tuple[tuple[str, Value], ...]
    steps: tuple[Value, ...] = ()
    hold: Value | None = None
    people: Value | None = None
    note: str = ""
    none: bool = False
    before: tuple[str, ...] = BEFORE
    blanks: tuple[str, ...] = BLANKS


# -- hardness -----------------------------------------------------------------------------------------------------
def accepted(bundle: Bundle) -> Accepted:
    """Limits of the hardness, from the least that was obtained in the qualification."""
    rec, tables, system = active(), bundle.tables, bundle.system
    assert system is not None
    rec.begin("Cure and release")
    reference = system.value("acceptance.hardness_reference")
    mean = reading.hardness_limit(tables.value(ISO_24817.id, "hardness_share"), reference)
    if bundle.case.design.standard != ISO_24817.id:
        rec.assume(f"The limits of hardness and of the laminate are those recalled of {ISO_24817.id}, whatever edition "
                   "the case names: of other editions we recall none.", "safer reading")
    single = reading.hardness_single_limit(tables.value(PRACTICE.id, "hardness_single_share"), reference)
    rec.assume("No single reading of hardness may be below its own limit, besides the mean: how far one may lie "
               "below the mean is not known to us from the standard; the share is a table entry.", "safer reading")
    scale, readings = system.acceptance.hardness_scale, system.value("acceptance.hardness_readings")
    usual = _usual_readings(bundle, reference) if scale == BARCOL else None
    if scale == BARCOL:
        rec.check("Readings of hardness against the table of the method", readings, ">=", usual,
                  citation=f"{ASTM_D2583.id}, table 1", status="from memory", kind="information",
                  note="row at or below the reference" if usual else "the reference is below the first row of the "
                                                                     "table")
    return Accepted(scale, reference, mean, single, readings, usual)


def _usual_readings(bundle: Bundle, reference: Value) -> Value | None:
    """Readings of the row at or below the reference: softer plastics scatter more and ask for more."""
    rows = [h for h in (30, 40, 50, 60, 70) if h <= reference.magnitude]
    return bundle.tables.value(ASTM_D2583.id, f"readings_{rows[-1]}") if rows else None


# -- pressure -----------------------------------------------------------------------------------------------------
def restoration(bundle: Bundle, design: Design, bears: Bears, decision: Decision) -> Restoration:
    """Steps up to the lowest of MAOP, repaired pressure and every open restriction of the section."""
    rec, case = active(), bundle.case
    assert design.holds, "a pressure is restored over a design that holds"
    rec.begin("Pressure restoration")
    limits = _limits(bundle, bears)
    cap = limits[0][1]
    for i, (_, limit) in enumerate(limits[1:], 2):
        cap = rec.named(pressure.lower_pressure(cap, limit), "Highest pressure of the restoration" if i == len(limits)
                        else f"Lower pressure, {limits[i - 1][0]} included")
    out = Restoration(case.optional("service.installation_pressure"), cap, _governing(limits), limits,
                      hold=case.optional("work.restoration_hold"), people=decision.beside)
    rec.assume("The pressure is restored up to the lowest of the MAOP, the repaired pressure and the restrictions "
               "that the case states. Every other open anomaly of the hydraulic section bounds it, too: those who "
               "release look for them.", "scope")
    if out.people is not None:
        out = replace(out, before=(*BEFORE, "Nobody goes back beside the repair above "
                                            f"{out.people.show(case.display)} before the release allows it in "
                                            "writing."))
    return _raised(bundle, out)


def _limits(bundle: Bundle, bears: Bears) -> tuple[tuple[str, Value], ...]:
    """Everything that bounds the pressure after the repair, in words, with its value."""
    case = bundle.case
    out = [("the MAOP", case.value("service.maop"))]
    if (lowered := case.optional("service.lowered_maop")) is not None:
        out.append(("the lowered MAOP", lowered))
    out += [(f"{r.reference}, still open in this section", case.value(f"restriction.{i}.pressure"))
            for i, r in enumerate(case.restriction) if r.pressure is not None]
    return (*out, ("the pressure that the repair restores", bears.restored))


def _governing(limits: tuple[tuple[str, Value], ...]) -> str:
    """Which of them make the cap; the repaired pressure, itself capped by the others, only where it alone is lowest."""
    least = min(limit.magnitude for _, limit in limits)
    lowest = [words for words, limit in limits if limit.magnitude == least]
    return " and ".join(lowest[:-1] if len(lowest) > 1 and lowest[-1] == limits[-1][0] else lowest)


def _raised(bundle: Bundle, r: Restoration) -> Restoration:
    """With the steps, or with the reason why there are none."""
    rec, case = active(), bundle.case
    if r.start is None:
        return replace(r, note="The pressure at installation is not stated (service.installation_pressure): no steps "
                       "are given.")
    display = case.display
    if compare(r.start, ">=", r.cap):
        higher = compare(r.start, ">", r.cap)
        note = (f"The line is at {r.start.show(display)} while the wrap is installed, "
                + (f"above the cap {r.cap.show(display)}: nothing is raised, the pressure comes down to the cap."
                   if higher else "which is the cap: nothing is raised."))
        if higher:
            rec.warn(note, r.cap.origin.ref)
        return replace(r, note=note, none=True)
    count = case.optional("work.restoration_steps")
    for title, stated, usual in (("Steps of the pressure restoration", count, "restoration_steps_usual"),
                                 ("Hold at each step of the pressure restoration", r.hold, "restoration_hold_usual")):
        entry = bundle.tables.entry(PRACTICE.id, usual)
        rec.check(title, stated, ">=", entry.value(), citation=entry.citation, status=entry.status, kind="information",
                  note="" if stated is not None else "not stated: left blank for those who release")
    if count is None:
        return replace(r, note="The steps are not stated (work.restoration_steps): those who release lay them down.")
    n = int(count.magnitude)
    steps = tuple(rec.named(law.restoration_step(r.start, r.cap, replace(count, magnitude=float(k), name="step"),
                                                 count), f"Pressure after step {k} of {n}") for k in range(1, n + 1))
    blank = "The hold at each step is not stated (work.restoration_hold): those who release lay it down."
    return replace(r, steps=steps, note="" if r.hold is not None else blank)
