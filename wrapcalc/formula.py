"""`@formula`: one Python function, one return expression, that runs, prints and records itself.

Units at the door, bare inside: arguments are converted to the declared units once, the body runs on bare
floats or arrays, the result gets its unit back. `formula.core` is the bare function for screening.

Three ways to call one:
  with Values (number + unit + origin)   -> a Value; inside `with recording()` also a Step
  with pint quantities                   -> a quantity
  `core(...)` with floats or arrays      -> a float or an array, in the declared units
"""

from __future__ import annotations

import ast
import inspect
import math
import textwrap
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from wrapcalc import expression, units
from wrapcalc.errors import CalculationError, FormulaError
from wrapcalc.recorder import _ACTIVE
from wrapcalc.values import Origin, Value

if TYPE_CHECKING:
    from wrapcalc.standards.documents import Document

STATUSES = ("verified", "seen", "from memory", "derived", "common practice")
_REGISTRY: dict[str, Formula] = {}


@dataclass(frozen=True, eq=False)
class Formula:
    """A published or derived equation: what runs, how it prints, where it comes from.

    units: parameter -> declared unit; unit: of the result; unit_bound: the body holds constants that are
    right only in the declared units, so it is always printed in them.
    """

    name: str
    symbol: str
    unit: str
    source: Document
    clause: str
    status: str
    units: dict[str, str]
    title: str
    notes: str
    module: str
    line: int
    unit_bound: bool
    body: ast.expr = field(repr=False)
    core: Callable = field(repr=False)
    array: Callable = field(repr=False)

    @property
    def parameters(self) -> list[str]:
        """Names of the parameters, in order; they are also the symbols."""
        return list(self.units)

    @property
    def citation(self) -> str:
        """Document and clause, as printed beside the step."""
        return f"{self.source.id}, {self.clause}" if self.clause else self.source.id

    @property
    def text(self) -> str:
        """The right-hand side as one line of plain text."""
        return expression.to_text(self.body, lambda n: n)

    def tex(self) -> str:
        """The right-hand side as LaTeX, in symbols."""
        return expression.to_tex(self.body, lambda n: (symbol_tex(n), 4))

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        bound = dict(zip(self.units, args, strict=False)) | kwargs
        if bound.keys() != self.units.keys() or len(args) + len(kwargs) != len(self.units):
            raise TypeError(f"{self.name} takes {', '.join(self.units)}; got {', '.join(bound)}")
        if any(isinstance(v, Value) for v in bound.values()):
            return self._on_values(bound)
        plain = {n: v.m_as(self.units[n] or "dimensionless") if isinstance(v, units.Quantity)
                 else _only_pure(self, n, v) for n, v in bound.items()}
        arrays = any(np.ndim(v) for v in plain.values())
        out = self._run(plain, self.array if arrays else self.core)
        return units.Quantity(out, self.unit or "dimensionless")

    def _on_values(self, bound: dict[str, Any]) -> Value:
        for n, v in bound.items():
            if not isinstance(v, Value):
                raise CalculationError(f"{self.name}: the argument {n} = {v!r} has no origin; "
                                       "take it from the case, a table, the system or an earlier step")
        active = _ACTIVE.get()
        if active is not None:
            active.refuse_struck(self.name, bound.values())
        out = units.steady(float(self._run({n: v.to(self.units[n]) for n, v in bound.items()}, self.core)))
        if active is None:
            return Value(out, self.unit, Origin("unrecorded", self.name), self.title)
        return active.add_step(self, bound, out)

    def _run(self, plain: dict[str, Any], function: Callable) -> Any:
        given = ", ".join(f"{n} = {v!r} {self.units[n]}".rstrip() for n, v in plain.items()
                          if not np.ndim(v))
        try:
            with np.errstate(all="ignore"):
                out = _in_blocks(function, plain) if function is self.array else function(**plain)
        except (ZeroDivisionError, ValueError, OverflowError) as e:
            raise CalculationError(f"{self.name} ({self.citation}) cannot be evaluated: {e}; with {given}") from None
        if isinstance(out, complex) or not np.all(np.isfinite(out)):
            raise CalculationError(f"{self.name} ({self.citation}) gives no finite number; with {given}")
        return out


#: Rows worked at once: what a formula needs for them stays in the second-level cache.
_BLOCK = 16384


def _in_blocks(function: Callable, plain: dict[str, Any]) -> Any:
    """A function of long arrays of one shape, and of numbers, block by block; row by row it is the same."""
    shapes = {np.shape(v) for v in plain.values() if np.ndim(v)}
    if len(shapes) != 1 or math.prod(shape := shapes.pop()) <= 2 * _BLOCK:
        return function(**plain)
    flat = {n: np.asarray(v).reshape(-1) if np.ndim(v) else v for n, v in plain.items()}
    out = np.empty(math.prod(shape))
    for first in range(0, len(out), _BLOCK):
        rows = slice(first, first + _BLOCK)
        out[rows] = function(**{n: v[rows] if np.ndim(v) else v for n, v in flat.items()})
    return out.reshape(shape)


def _only_pure(formula: Formula, name: str, value: Any) -> Any:
    if formula.units[name] != "":
        raise CalculationError(f"{formula.name}: the argument {name} is the bare number {value!r}; "
                               f"it needs a unit such as {formula.units[name]}")
    return value


def formula(*, symbol: str, unit: str, source: Document, clause: str, status: str, unit_bound: bool = False,
            **parameter_units: str) -> Callable[[Callable], Formula]:
    """Decorator: turn a function with one return expression into a Formula. Raises FormulaError at import."""
    def decorate(function: Callable) -> Formula:
        name = function.__name__
        lines, first = inspect.getsourcelines(function)
        tree = ast.parse(textwrap.dedent("".join(lines))).body[0]
        if not isinstance(tree, ast.FunctionDef):
            raise FormulaError(f"{name}: a formula is a function with a name, not a lambda")
        statements = [s for s in tree.body if not (isinstance(s, ast.Expr) and isinstance(s.value, ast.Constant))]
        if len(statements) != 1 or not isinstance(statements[0], ast.Return) or statements[0].value is None:
            raise FormulaError(f"{name}: a formula is one return expression; split it")
        signature = inspect.signature(function).parameters
        if odd := [n for n, p in signature.items()
                   if p.kind is not p.POSITIONAL_OR_KEYWORD or p.default is not p.empty]:
            raise FormulaError(f"{name}: {odd} must be plain parameters without a default value")
        parameters = list(signature)
        if parameters != list(parameter_units):
            raise FormulaError(f"{name}: units are declared for {list(parameter_units)}, parameters are {parameters}")
        for u in [unit, *parameter_units.values()]:
            if u not in units.US_TWIN:
                raise FormulaError(f"{name}: '{u}' is not one of the units of units.US_TWIN")
        doc = inspect.getdoc(function)
        if not doc or status not in STATUSES:
            raise FormulaError(f"{name}: needs a docstring and one of the statuses {STATUSES}")
        if name in _REGISTRY:
            raise FormulaError(f"{name}: there is already a formula of this name in {_REGISTRY[name].module}")
        expression.validate(statements[0].value, parameters, f"{function.__module__}.{name}")
        title, _, notes = doc.partition("\n")
        body = expression.copy_tree(statements[0].value)
        out = Formula(name, symbol, unit, source, clause, status, dict(parameter_units), title.rstrip("."),
                      " ".join(notes.split()), function.__module__, first, unit_bound, body,
                      expression.compile_scalar(body, parameters, name),
                      expression.compile_array(body, parameters, name))
        _REGISTRY[name] = out
        return out
    return decorate


def registry() -> dict[str, Formula]:
    """Every formula of the package by name; imports the formula modules first."""
    import importlib
    import pkgutil

    import wrapcalc.formulas as package
    for module in pkgutil.iter_modules(package.__path__):
        importlib.import_module(f"{package.__name__}.{module.name}")
    return dict(_REGISTRY)


_GREEK = {"alpha", "beta", "gamma", "delta", "theta", "eta", "lambda", "chi", "mu", "nu", "rho", "sigma", "tau", "phi",
          "Delta"}


def symbol_tex(name: str) -> str:
    """LaTeX of a symbol name: 'S_flow' -> S_{\\mathrm{flow}}, 'eps_c' -> \\varepsilon_{c}."""
    head, _, tail = name.partition("_")
    if head == "eps":
        head = r"\varepsilon"
    elif head in _GREEK:
        head = rf"\{head}"
    elif len(head) > 1:
        head = rf"\mathrm{{{head}}}"
    if not tail:
        return head
    below = r"\varepsilon" if tail == "eps" else tail if len(tail) == 1 else rf"\mathrm{{{tail}}}"
    return f"{head}_{{{below}}}"


@dataclass(frozen=True)
class Step:
    """One formula run on one set of values: what a reviewer reads and punches."""

    id: str
    formula: Formula
    title: str
    inputs: dict[str, Value]
    result: Value
    printed: Printed
    struck: str = ""


@dataclass(frozen=True, slots=True)
class Printed:
    """The numbers of a step as printed: plain digits by parameter, and of the result, with display units.

    Whoever types the inputs gets the result to its last digit but one; `sensitive` says that more than the
    usual digits were needed for that.
    """

    inputs: dict[str, str]
    input_units: dict[str, str]
    result: str
    result_unit: str
    sensitive: bool


def print_numbers(f: Formula, inputs: dict[str, Value], result: float, system: str) -> Printed:
    """Choose digits so that the printed line is punchable (see Printed).

    Where terms cancel to nothing, conversion to US units can leave a rest that no number of digits repeats; such a
    line is printed in the units of the calculation, and marked as sensitive.
    """
    for shown_in in dict.fromkeys(["SI" if f.unit_bound else system, "SI"]):
        printed = _numbers_in(f, inputs, result, shown_in)
        if printed is not None:
            return printed if shown_in == system or f.unit_bound else replace(printed, sensitive=True)
    raise CalculationError(f"{f.name}: no number of digits makes the printed line repeat its result")


def _numbers_in(f: Formula, inputs: dict[str, Value], result: float, shown_in: str) -> Printed | None:
    input_units = {n: units.display_unit(u, shown_in) for n, u in f.units.items()}
    result_unit = units.display_unit(f.unit, shown_in)
    magnitudes = {n: inputs[n].to(u) for n, u in input_units.items()}
    out = float(units.convert(result, f.unit, result_unit))
    for significant in range(5, 16):
        texts = {n: units.digits(v, significant) for n, v in magnitudes.items()}
        text = units.digits(out, 5)
        if punches(f, {n: float(t) for n, t in texts.items()}, text):
            return Printed(texts, input_units, text, result_unit, significant > 5)
    return None


def punches(f: Formula, typed: dict[str, float], printed: str) -> bool:
    """Whether these typed numbers give the printed result to its last digit but one."""
    try:
        again = float(f.core(**typed))
    except (ZeroDivisionError, ValueError, OverflowError):
        return False
    want = float(printed)
    if want == 0:
        return abs(again) < 1e-9
    unit_in_last_place = 10.0 ** (math.floor(math.log10(abs(want))) - 4)
    return abs(again - want) <= 5 * unit_in_last_place
