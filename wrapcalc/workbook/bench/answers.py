"""What the job says of one variant: the same run and record as of a package, without what the bench does not show."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from wrapcalc import record as records
from wrapcalc.case import Bundle
from wrapcalc.checks import Check
from wrapcalc.recorder import Recorder
from wrapcalc.render import assessment_drawings, figures, wrap_drawings
from wrapcalc.stages.job import PARTS, Outcome, add_sizes, run
from wrapcalc.stages.wrap.why import Why

#: The mark of all that the bench shows; it stands inside every panel.
MARK = "Exploratory: not a package"
#: Checks that are told for a reader's information decide nothing.
_TOLD = "information"


@dataclass
class Answer:
    """One variant worked out. record: of the case as any page reads it, without its steps; checks: that govern;
    changed_on_disk: names of the files that were others by then than when the bench was opened."""

    outcome: Outcome
    record: dict[str, Any]
    checks: tuple[dict[str, Any], ...]
    struck: tuple[tuple[str, str, str], ...]
    changed_on_disk: tuple[str, ...] = ()

    @property
    def left_out(self) -> tuple[str, ...]:
        """Parts of the job that were not worked out here, in the order of the job."""
        return tuple(p for p in PARTS if p in self.outcome.left_out)

    def figures(self) -> dict[str, str]:
        """The figures that follow at once: methods side by side, routes to a thickness, use of the wrap."""
        made = {"methods": assessment_drawings.methods(self.record, _drawn),
                "thickness routes": wrap_drawings.routes(self.record, _drawn),
                "use over layers": wrap_drawings.use(self.record, _drawn)}
        return {name: svg for name, svg in made.items() if svg is not None}

    def curve(self) -> str | None:
        """The assessment curve, worked out now: it takes longer than all the rest."""
        add_sizes(self.outcome)
        record = _record(self.outcome)
        return assessment_drawings.curve(record, _drawn)


def answer(bundle: Bundle) -> Answer:
    """Decision, design and order of a case. Raises CalculationError for numbers that cannot be worked."""
    return of_outcome(run(bundle, without=PARTS))


def in_full(bundle: Bundle) -> Answer:
    """The same, nothing left out."""
    return of_outcome(run(bundle))


def of_outcome(outcome: Outcome) -> Answer:
    """What the bench shows of a run."""
    return Answer(outcome, _record(outcome), _governing(outcome), _struck(outcome))


def _record(outcome: Outcome) -> dict[str, Any]:
    """The record of the run without its steps: they are most of the work, and the bench prints none of them."""
    bare = Recorder(outcome.recorder.system)
    bare.assumptions, bare.warnings = outcome.recorder.assumptions, outcome.recorder.warnings
    # The figure of the routes asks for the thickness required in all, which stands with the sensitivities.
    return records.build(replace(outcome, recorder=bare, why=outcome.why or Why({}, (), None)))


def _governing(outcome: Outcome) -> tuple[dict[str, Any], ...]:
    """The check that decides the assessment; of the design those that are not met, or the one nearest to its limit."""
    rec, a, d = outcome.recorder, outcome.assessment, outcome.design
    found: list[Check] = []
    if a is not None:
        found += [c for c in (a.strength_check if a.governing is not None else a.depth_check,) if c is not None]
        if a.axial_check is not None and not a.axial_check.met:
            found.append(a.axial_check)
    if d is not None:
        of_design = [i for i in rec.items if isinstance(i, Check) and rec.place_of[i.id][0] == "D" and i.kind != _TOLD]
        # A gate is passed or not; how near it is says nothing of the thickness.
        near = [c for c in of_design if c.utilisation is not None and c.kind == "limit"]
        found += d.failed or ((max(near, key=lambda c: c.utilisation or 0.0),) if near else ())
    return tuple(records.item_data(c, rec.place_of[c.id], outcome) for c in dict.fromkeys(found))


def _struck(outcome: Outcome) -> tuple[tuple[str, str, str], ...]:
    """(what, value, reason) of every value outside the validity of its method."""
    out = []
    for item in outcome.recorder.items:
        if getattr(item, "struck", ""):
            data = records.item_data(item, outcome.recorder.place_of[item.id], outcome)
            value = (f"{data['printed']} {data['unit_label']}".rstrip() if data["type"] == "step"
                     else ", ".join(r["shown"] for r in data["results"]))
            out.append((data["title"], value, data["struck"]))
    return tuple(out)


def _drawn(figure: str, **arguments: Any) -> str:
    """A figure for the screen, whose title says that it belongs to no package."""
    arguments["title"] = f"{MARK}. {arguments['title']}"
    with figures.on_screen():
        return str(getattr(figures, figure)(**arguments))
