"""The recorder: collects steps, procedures, checks, assumptions and warnings while a stage runs."""

from __future__ import annotations

import contextvars
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from wrapcalc.checks import Check, compare
from wrapcalc.errors import CalculationError
from wrapcalc.values import Origin, Value

if TYPE_CHECKING:
    from wrapcalc.formula import Formula, Step

_ACTIVE: contextvars.ContextVar[Recorder | None] = contextvars.ContextVar("recorder", default=None)


#: Headings of the job in its order; the notebook has a section for each.
TOPICS = (
    "What this version covers", "Wall, depth and length as used", "Sound pipe", "Depth, length and safety factor",
    "Original form, 1991", "Original form, 2012", "0.85 dL form", "Effective area", "Tensile-strength forms",
    "Remaining-strength factor", "Cross-checks", "Axial section", "Governing safe pressure", "Allowable sizes",
    "Growth and remaining life", "Probability of exceedance", "Repair criteria", "Interim pressure limit",
    "Pressure while people are beside it",
    "Wall at the end of the repair's life", "Repair design pressure and remaining wall", "Loads on the wrap",
    "Temperature and allowable strain", "Tested envelope", "Opening through the wall", "Load sharing", "Yielded steel",
    "Laminate strain", "Long-term strength",
    "Layers and wrap thickness", "Extent, ends and units", "Restored pressure", "Design envelope", "Why this number",
    "Second opinion", "Quantities",
    "Marks on the pipe", "Mixing", "Working window", "Materials for the site", "Surface and climate", "Weather",
    "Cure and release", "Pressure restoration", "Holiday test", "Where it is and how it is dug",
)
#: Headings of what comes after the package: the as-found gate and the close-out, which have records of their own.
CLOSING_TOPICS = ("As found", "Readings against their limits", "As built")


@dataclass(frozen=True)
class Procedure:
    """A search or an integral: method, inputs, what came out, and the sub-case that governs."""

    id: str
    title: str
    method: str
    citation: str
    status: str
    inputs: dict[str, Value]
    results: dict[str, Value]
    details: list[tuple[str, str]] = field(default_factory=list)
    struck: str = ""


class Recorder:
    """What a run leaves behind, in the order it happened. system: "SI" or "US" for the printed numbers."""

    def __init__(self, system: str = "SI"):
        self.system = system
        self.stage = "A"
        self.topic = ""
        self.items: list[Step | Procedure | Check] = []
        self.place_of: dict[str, tuple[str, str]] = {}
        self.assumptions: list[dict[str, str]] = []
        self.warnings: list[dict[str, str]] = []
        self._count: dict[str, int] = {}

    def begin(self, topic: str) -> None:
        """What follows belongs under this heading of the page and of the notebook."""
        if topic not in (*TOPICS, *CLOSING_TOPICS):
            raise CalculationError(f"'{topic}' is not one of the topics")
        self.topic = topic

    # -- numbering -----------------------------------------------------------------------------------------
    def _id(self, letter: str) -> str:
        self._count[letter] = self._count.get(letter, 0) + 1
        return f"{letter}{self._count[letter]}"

    def _keep(self, item):
        self.items.append(item)
        self.place_of[item.id] = (self.stage, self.topic)
        return item

    # -- steps and procedures -------------------------------------------------------------------------------
    def add_step(self, f: Formula, inputs: dict[str, Value], result: float) -> Value:
        """Record one formula run; give back its result with this step as origin."""
        from wrapcalc.formula import Step, print_numbers
        step_id = self._id(self.stage)
        value = Value(result, f.unit, Origin("step", step_id), f.title)
        self._keep(Step(step_id, f, f.title, dict(inputs), value, print_numbers(f, inputs, result, self.system)))
        return value

    def procedure(self, title: str, method: str, citation: str, status: str, inputs: dict[str, Value],
                  results: dict[str, tuple[float, str]], details: list[tuple[str, str]] | None = None
                  ) -> dict[str, Value]:
        """Record a procedure; give back its results (name -> magnitude, unit) as values."""
        self.refuse_struck(title, inputs.values())
        procedure_id = self._id(self.stage)
        values = {n: Value(float(m), u, Origin("procedure", f"{procedure_id}/{n}"), n)
                  for n, (m, u) in results.items()}
        self._keep(Procedure(procedure_id, title, method, citation, status, dict(inputs), values, details or []))
        return values

    def refuse_struck(self, name: str, values: Iterable[Value]) -> None:
        """Nothing may be derived from a value that is outside the validity of its method."""
        for v in values:
            item = self.get(v.origin.ref.partition("/")[0]) if v.origin.kind in ("step", "procedure") else None
            if item is not None and getattr(item, "struck", ""):
                raise CalculationError(f"{name} would be derived from {v.origin.ref} ({v.name}), which is struck: "
                                       f"{item.struck}")  # type: ignore[union-attr]

    def named(self, value: Value, title: str) -> Value:
        """Give the step behind `value` a title of its own: one formula may serve several purposes on a page."""
        for i, item in enumerate(self.items):
            if item.id == value.origin.ref:
                self.items[i] = replace(item, title=title)  # type: ignore[call-arg]
                return replace(value, name=title)
        raise CalculationError(f"only a recorded step can be named, not {value.origin}")

    def strike(self, value: Value, reason: str) -> None:
        """Show the value struck through with this reason; nothing is derived from it afterwards."""
        wanted = value.origin.ref.partition("/")[0]
        for i, item in enumerate(self.items):
            if item.id == wanted:
                self.items[i] = replace(item, struck=reason)  # type: ignore[call-arg]
                return
        raise CalculationError(f"only a recorded step can be struck, not {value.origin}")

    def get(self, item_id: str) -> Step | Procedure | Check | None:
        """The step, procedure or check of this id."""
        return next((i for i in self.items if i.id == item_id), None)

    # -- checks ----------------------------------------------------------------------------------------------
    def check(self, title: str, provided: Value | None, sense: str, limit: Value | None, *, citation: str,
              status: str, kind: str = "limit", note: str = "") -> Check:
        """Record a numeric check. A missing number gives "no data", a failed scope check "outside scope"."""
        if provided is None or limit is None:
            verdict = "no data"
        elif compare(provided, sense, limit):
            verdict = "met"
        else:
            verdict = "outside scope" if kind == "scope" else "not met"
        return self._keep(Check(self._id("C"), title, kind, verdict, citation, status, provided, sense, limit,
                                note=note))

    def gate(self, title: str, holds: bool, found: str, wanted: str, *, citation: str, status: str,
             kind: str = "gate", note: str = "") -> Check:
        """Record a check of words: what was found, what is wanted."""
        verdict = "met" if holds else ("outside scope" if kind == "scope" else "not met")
        return self._keep(Check(self._id("C"), title, kind, verdict, citation, status, found=found, wanted=wanted,
                                note=note))

    # -- words -----------------------------------------------------------------------------------------------
    def assume(self, text: str, source: str) -> None:
        """An engineering judgement that was made for the user, printed in its own list."""
        entry = {"text": text, "source": source}
        if entry not in self.assumptions:
            self.assumptions.append(entry)

    def warn(self, text: str, source: str = "") -> None:
        """Something the engineer must know; printed near the decision."""
        entry = {"text": text, "source": source}
        if entry not in self.warnings:
            self.warnings.append(entry)


@contextmanager
def recording(recorder: Recorder | None = None) -> Iterator[Recorder]:
    """Record the formulas that run inside; nested blocks do not mix."""
    rec = recorder or Recorder()
    token = _ACTIVE.set(rec)
    try:
        yield rec
    finally:
        _ACTIVE.reset(token)


def active() -> Recorder:
    """The recorder of the open block. Raises CalculationError outside one."""
    rec = _ACTIVE.get()
    if rec is None:
        raise CalculationError("a stage runs inside `with recording()`")
    return rec
