"""Check values as data: reading the files beside this one, and running them.

A file holds `title`, `source`, `mark` (seen / from memory / independent / regression), `note` and a list of
`[[check]]`. A check gives quantities (`given`) and a list of steps; a step is one of

  formula = "name"        a formula of the registry; its parameters are looked up by name among `given` and what
                          earlier steps gave; `with = { P_S = "P_F" }` takes another name for a parameter
  table = "document/name" an entry of the shipped tables
  expression = "a / b"    plain arithmetic on what is known, to bring a result to the form in which it is published

and may say `gives` (its name for later steps), `expected` (number as printed, with its unit), `significant` (how
many digits of it are printed, when its zeros hide that), `tolerance` with `reason` (when it is not half a unit of
the last printed digit) and `status`: "agrees", or "differs" with `reason`. A check that is said to differ and
starts to agree is a failure too.

The last number of a check that agrees guards the formulas before it, unless `guards` names fewer: a formula is named
only if a wrong result of it would be noticed, and a test proves that for each.
"""

from __future__ import annotations

import ast
import math
import operator
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from wrapcalc import units
from wrapcalc.formula import registry
from wrapcalc.standards.tables import shipped

HERE = Path(__file__).resolve().parent
KINDS = ("published", "independent", "regression")
#: Marks that a folder may hold: a number of our own never stands among the published ones.
MARKS = {"published": ("seen", "from memory"), "independent": ("independent",), "regression": ("regression",)}


@dataclass(frozen=True)
class Step:
    """One line of a check; see the head of this module."""

    formula: str = ""
    table: str = ""
    expression: str = ""
    gives: str = ""
    expected: str = ""
    significant: int = 0
    tolerance: str = ""
    reason: str = ""
    status: str = "agrees"
    renamed: dict[str, str] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """What is run."""
        return self.formula or self.table or self.expression


@dataclass(frozen=True)
class Check:
    """One example with the file it stands in."""

    kind: str
    file: str
    source: str
    source_title: str
    mark: str
    title: str
    given: dict[str, Any]
    steps: tuple[Step, ...]
    guards: tuple[str, ...]

    @property
    def id(self) -> str:
        """Short and unique."""
        return f"{self.kind}/{self.file}: {self.title}"


@dataclass(frozen=True)
class Outcome:
    """One printed number against ours, both in the printed unit."""

    step: Step
    computed: float
    expected: float
    tolerance: float
    unit: str

    @property
    def deviation(self) -> float:
        """(ours - printed) / printed, or the difference where zero was printed."""
        difference = self.computed - self.expected
        return difference / abs(self.expected) if self.expected else difference

    @property
    def agrees(self) -> bool:
        """Within the tolerance. NaN never is."""
        return abs(self.computed - self.expected) <= self.tolerance * (1 + 1e-9)

    @property
    def as_stated(self) -> bool:
        """The outcome is the one that the file states."""
        return self.agrees == (self.step.status == "agrees")

    def __str__(self) -> str:
        return (f"{self.step.name}: ours {self.computed:.8g}, printed {self.expected:.8g} {self.unit}, tolerance "
                f"{self.tolerance:.3g} ({self.deviation:+.3%}); stated: {self.step.status}")


def load() -> list[Check]:
    """Every check of every file. Raises ValueError naming file and fault."""
    out: list[Check] = []
    for kind in KINDS:
        for path in sorted((HERE / kind).glob("*.toml")):
            out += _file(kind, path)
    ids = [c.id for c in out]
    if twice := {i for i in ids if ids.count(i) > 1}:
        raise ValueError(f"two checks of one title: {sorted(twice)}")
    return out


_FILE_KEYS = {"title", "source", "mark", "note", "check"}
_STEP_KEYS = {"formula", "table", "expression", "gives", "expected", "significant", "tolerance", "reason", "status",
              "with"}


def _file(kind: str, path: Path) -> list[Check]:
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    if data.keys() != _FILE_KEYS or data["mark"] not in MARKS[kind] or not all(data[k] for k in _FILE_KEYS):
        raise ValueError(f"{path.name}: needs {sorted(_FILE_KEYS)}, mark one of {MARKS[kind]}")
    out = []
    for c in data["check"]:
        where = f"{path.name}, {c.get('title', 'a check without title')}"
        if not {"title", "step"} <= c.keys() <= {"title", "step", "given", "guards"}:
            raise ValueError(f"{where}: has {sorted(c)}")
        steps = tuple(_step(where, s) for s in c["step"])
        if not any(s.expected for s in steps):
            raise ValueError(f"{where}: nothing is compared")
        last = max((i for i, s in enumerate(steps) if s.expected and s.status == "agrees"), default=-1)
        guards = c.get("guards", [s.formula for s in steps[:last + 1] if s.formula])
        out.append(Check(kind, path.name, data["source"], data["title"], data["mark"], c["title"], c.get("given", {}),
                         steps, tuple(dict.fromkeys(guards))))
    return out


def _step(where: str, s: dict[str, Any]) -> Step:
    if not s.keys() <= _STEP_KEYS or sum(k in s for k in ("formula", "table", "expression")) != 1:
        raise ValueError(f"{where}: a step has {sorted(s)}")
    step = Step(renamed=s.pop("with", {}), **s)
    if step.status not in ("agrees", "differs") or ((step.status == "differs" or step.tolerance) and not step.reason):
        raise ValueError(f"{where}: status is agrees or differs; a difference or a wider tolerance needs a reason")
    if step.formula and step.formula not in registry():
        raise ValueError(f"{where}: there is no formula {step.formula}")
    return step


def quantity(written: Any) -> units.Quantity:
    """A quantity of a check file: a pure number, or "number unit" with the unit as pint calls it."""
    if isinstance(written, (int, float)):
        return units.Quantity(float(written), "dimensionless")
    number, _, unit = written.partition(" ")
    return units.Quantity(float(number), {"%": "percent"}.get(unit, unit) or "dimensionless")


def last_digit(written: str, significant: int = 0) -> float:
    """Half a unit of the last printed digit of the number in `written`."""
    number = Decimal(written.partition(" ")[0])
    exponent = int(number.as_tuple().exponent)
    if significant:
        exponent = number.adjusted() - significant + 1
    return 0.5 * 10.0 ** exponent


def run(check: Check, *, system: str = "as written", spoil: str = "") -> Iterator[Outcome]:
    """Run a check; one outcome for each printed number.

    system: "as written", or "SI" / "US" to hand every formula its arguments in the units of that system. spoil:
    a formula whose results are falsified by 5 % (whole numbers by 1), to see whether the check notices.
    """
    known = {n: quantity(q) for n, q in check.given.items()}
    for step in check.steps:
        if step.formula:
            f = registry()[step.formula]
            arguments = {p: known[step.renamed.get(p, p)] for p in f.parameters}
            result = f(**{p: _twin(q, f.units[p], system) for p, q in arguments.items()})
            if step.formula == spoil:
                result = _spoilt(result, f.name)
        elif step.table:
            v = shipped()[step.table].value()
            result = units.Quantity(v.magnitude, v.unit or "dimensionless")
        else:
            result = _arithmetic(step.expression, known)
        if step.gives:
            known[step.gives] = result
        if step.expected:
            want = quantity(step.expected)
            unit = str(want.units)
            tolerance = last_digit(step.expected, step.significant)
            if step.tolerance:
                tolerance = quantity(step.tolerance).m_as(unit)
            yield Outcome(step, float(result.m_as(unit)), float(want.magnitude), float(tolerance),
                          unit.replace("dimensionless", ""))


_WHOLE = ("packs", "layers_required")


def _spoilt(q: units.Quantity, name: str) -> units.Quantity:
    if name in _WHOLE:
        return q + 1
    if q.units == units.ureg.degC:
        return units.Quantity(q.magnitude + 1, "degC")
    return q * 1.05 if q.magnitude else units.Quantity(0.05, q.units)


def _twin(q: units.Quantity, declared: str, system: str) -> units.Quantity:
    """The argument in the unit that a user of this system would write."""
    if system == "as written":
        return q
    unit = declared if system == "SI" else units.US_TWIN[declared]
    return q.to(unit or "dimensionless")


_OPERATORS = {ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul, ast.Div: operator.truediv,
              ast.Pow: operator.pow}


def _arithmetic(text: str, known: dict[str, Any]) -> Any:
    """Plain arithmetic with quantities; nothing else can be written in a check file."""
    def value(node: ast.AST) -> Any:
        match node:
            case ast.Constant(value=number) if isinstance(number, (int, float)):
                return number
            case ast.Name(id="pi"):
                return math.pi
            case ast.Name(id=name):
                return known[name]
            case ast.BinOp(left=left, op=op, right=right):
                return _OPERATORS[type(op)](value(left), value(right))
        raise ValueError(f"{text!r} is not plain arithmetic")

    return value(ast.parse(text, mode="eval").body)
