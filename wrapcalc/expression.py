"""From the source of a formula to what runs and what is printed: both come from one syntax tree.

A body is one return expression of + - * / **, pi, and the functions below. `cases((condition, expression),
..., (True, expression))` is lazy for scalars and masked for arrays: numpy's `where` would evaluate the
branch that is not taken.
"""

from __future__ import annotations

import ast
import math
import statistics
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from wrapcalc.errors import CalculationError, FormulaError

pi = math.pi


def _dual(scalar: Callable, array: Callable) -> Callable:
    def function(x):
        return scalar(x) if isinstance(x, (int, float)) else array(x)
    return function


sqrt = _dual(math.sqrt, np.sqrt)
exp = _dual(math.exp, np.exp)
log10 = _dual(math.log10, np.log10)
sin = _dual(math.sin, np.sin)
cos = _dual(math.cos, np.cos)
_NORMAL = statistics.NormalDist()


def _cdf(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2))


def _each(scalar: Callable[[float], float]) -> Callable:
    """A function of one number as one of arrays, also of those without an axis."""
    rows = np.frompyfunc(scalar, 1, 1)
    return lambda x: np.asarray(rows(x), dtype=float)[()]


#: Standard normal distribution and its inverse; erfc keeps the tail exact, where 1 - erf would lose it.
normal_cdf = _dual(_cdf, _each(_cdf))
normal_quantile = _dual(_NORMAL.inv_cdf, _each(_NORMAL.inv_cdf))
ceil = _dual(lambda x: float(math.ceil(x)), np.ceil)
absolute = _dual(abs, np.abs)


def minimum(a, b):
    """The smaller of two numbers, or row by row of two arrays."""
    return min(a, b) if isinstance(a, (int, float)) and isinstance(b, (int, float)) else np.minimum(a, b)


def maximum(a, b):
    """The larger of two numbers, or row by row of two arrays."""
    return max(a, b) if isinstance(a, (int, float)) and isinstance(b, (int, float)) else np.maximum(a, b)


def cases(*branches):
    """Marker in a formula body; never called: the decorator compiles it to a lazy or masked form."""
    raise FormulaError("cases() works only inside the return expression of a @formula")


FUNCTIONS: dict[str, Callable] = {"sqrt": sqrt, "exp": exp, "log10": log10, "sin": sin, "cos": cos, "ceil": ceil,
                                  "normal_cdf": normal_cdf, "normal_quantile": normal_quantile,
                                  "absolute": absolute, "minimum": minimum, "maximum": maximum}
_TEX = {"sqrt": r"\sqrt{%s}", "exp": r"\exp\left(%s\right)", "log10": r"\log_{10}\left(%s\right)",
        "sin": r"\sin\left(%s\right)", "cos": r"\cos\left(%s\right)", "ceil": r"\left\lceil %s \right\rceil",
        "absolute": r"\left|%s\right|", "minimum": r"\min\left(%s\right)", "maximum": r"\max\left(%s\right)"}
_TEX |= {"normal_cdf": r"\Phi\left(%s\right)", "normal_quantile": r"\Phi^{-1}\left(%s\right)"}
_RELATION = {ast.Lt: ("<", "<"), ast.LtE: (r"\leq", "<="), ast.Gt: (">", ">"), ast.GtE: (r"\geq", ">=")}
_SUM, _PRODUCT, _POWER, _ATOM = 1, 2, 3, 4


def validate(body: ast.expr, parameters: Sequence[str], where: str) -> None:
    """Refuse anything that could not be printed faithfully. Raises FormulaError naming place and reason."""
    used: set[str] = set()

    def bad(node: ast.AST, why: str) -> FormulaError:
        return FormulaError(f"{where}, line {getattr(node, 'lineno', '?')} of its source: {why}")

    def visit(node: ast.AST) -> None:
        match node:
            case ast.Name(id=name):
                if name != "pi" and name not in parameters:
                    raise bad(node, f"'{name}' is not a parameter; pass it as an argument")
                used.add(name)
            case ast.Constant(value=value):
                if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
                    raise bad(node, f"cannot print the constant {value!r}")
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                visit(operand)
            case ast.BinOp(left=left, op=ast.Add() | ast.Sub() | ast.Mult() | ast.Div() | ast.Pow(), right=right):
                visit(left)
                visit(right)
            case ast.Call(func=ast.Name(id="cases"), args=args, keywords=[]) if args:
                for i, branch in enumerate(args):
                    if not (isinstance(branch, ast.Tuple) and len(branch.elts) == 2):
                        raise bad(branch, "each case is a pair (condition, expression)")
                    condition, value = branch.elts
                    otherwise = isinstance(condition, ast.Constant) and condition.value is True
                    if otherwise != (i == len(args) - 1):
                        raise bad(branch, "the last case, and only the last, has the condition True")
                    if not otherwise:
                        if not isinstance(condition, ast.Compare):
                            raise bad(condition, "a condition is one comparison")
                        if len(condition.ops) != 1 or type(condition.ops[0]) not in _RELATION:
                            raise bad(condition, f"cannot print {ast.unparse(condition)!r}; use one of < <= > >=")
                        visit(condition.left)
                        visit(condition.comparators[0])
                    visit(value)
            case ast.Call(func=ast.Name(id=name), args=args, keywords=[]) if name in FUNCTIONS:
                if len(args) != (2 if name in ("minimum", "maximum") else 1):
                    raise bad(node, f"{name} has the wrong number of arguments")
                for a in args:
                    visit(a)
            case _:
                raise bad(node, f"cannot print {ast.unparse(node)!r}; use + - * / **, pi, cases, "
                          + ", ".join(FUNCTIONS))

    visit(body)
    if unused := set(parameters) - used:
        raise FormulaError(f"{where}: the parameters {sorted(unused)} are not used")


def compile_scalar(body: ast.expr, parameters: Sequence[str], name: str) -> Callable:
    """The body as a function of floats (or anything with arithmetic); branches are lazy."""
    class Lazy(ast.NodeTransformer):
        def visit_Call(self, node: ast.Call) -> Any:
            self.generic_visit(node)
            if not (isinstance(node.func, ast.Name) and node.func.id == "cases"):
                return node
            *firsts, last = [b.elts for b in node.args]  # type: ignore[attr-defined]
            out = last[1]
            for condition, value in reversed(firsts):
                out = ast.IfExp(condition, value, out)
            return out

    return _function(Lazy().visit(copy_tree(body)), parameters, name, {})


def compile_array(body: ast.expr, parameters: Sequence[str], name: str) -> Callable:
    """The body as a function of arrays of one shape (scalars broadcast); branches are masked."""
    class Masked(ast.NodeTransformer):
        def visit_Call(self, node: ast.Call) -> Any:
            self.generic_visit(node)
            if not (isinstance(node.func, ast.Name) and node.func.id == "cases"):
                return node
            args = ast.arguments(posonlyargs=[], args=[ast.arg(p) for p in parameters], kwonlyargs=[],
                                 kw_defaults=[], defaults=[])
            lambdas: list[ast.expr] = [ast.Lambda(args, part) for b in node.args
                                       for part in b.elts]  # type: ignore[attr-defined]
            row = ast.Tuple([ast.Name(p, ast.Load()) for p in parameters], ast.Load())
            return ast.Call(ast.Name("__masked__", ast.Load()), [row, *lambdas], [])

    return _function(Masked().visit(copy_tree(body)), parameters, name, {"__masked__": _masked})


def _masked(row: tuple, *functions: Callable):
    shape = np.broadcast_shapes(*(np.shape(p) for p in row))
    # Numbers stay numbers; index vectors are several times faster than boolean masks.
    full = [np.broadcast_to(p, shape).ravel() if np.ndim(p) else p for p in row]
    out = np.empty(math.prod(shape), dtype=float)
    left: np.ndarray | slice = slice(None)
    rows, count = full, out.size
    for condition, value in zip(functions[::2], functions[1::2], strict=True):
        holds = np.broadcast_to(condition(*rows), (count,))
        if holds.all():
            out[left] = value(*rows)
            break
        these, rest = np.flatnonzero(holds), np.flatnonzero(~holds)
        out[these if isinstance(left, slice) else left[these]] = value(*(p[these] if np.ndim(p) else p for p in rows))
        left, count = rest if isinstance(left, slice) else left[rest], len(rest)
        rows = [p[rest] if np.ndim(p) else p for p in rows]
    return out.reshape(shape)


def copy_tree(node: ast.expr) -> ast.expr:
    """A tree of its own, so that a transformer cannot change the original."""
    return ast.parse(ast.unparse(node), mode="eval").body


def _function(body: ast.expr, parameters: Sequence[str], name: str, extra: dict) -> Callable:
    args = ast.arguments(posonlyargs=[], args=[ast.arg(p) for p in parameters], kwonlyargs=[], kw_defaults=[],
                         defaults=[])
    tree = ast.fix_missing_locations(ast.Expression(ast.Lambda(args, body)))
    function = eval(compile(tree, f"<formula {name}>", "eval"), {**FUNCTIONS, "pi": pi, **extra})
    function.__name__ = function.__qualname__ = name
    return function


def taken_branch(body: ast.expr, parameters: dict[str, float]) -> ast.expr:
    """The body with every `cases` replaced by (conditions that were met, the branch that was taken)."""
    class Take(ast.NodeTransformer):
        def visit_Call(self, node: ast.Call) -> Any:
            if isinstance(node.func, ast.Name) and node.func.id == "cases":
                for b in node.args:
                    condition, value = b.elts  # type: ignore[attr-defined]
                    if isinstance(condition, ast.Constant) or _evaluate(condition, parameters):
                        return self.visit(value)
            self.generic_visit(node)
            return node

    return Take().visit(copy_tree(body))


def conditions(body: ast.expr, parameters: dict[str, float]) -> list[ast.expr]:
    """The comparisons that decided the branch taken: the one that held, or the last that failed."""
    out: list[ast.expr] = []
    for node in ast.walk(body):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "cases":
            for b in node.args:
                condition = b.elts[0]  # type: ignore[attr-defined]
                if isinstance(condition, ast.Compare):
                    if _evaluate(condition, parameters):
                        out.append(condition)
                        break
                    out.append(_negated(condition))
    return out


def _negated(node: ast.Compare) -> ast.Compare:
    opposite = {ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt}[type(node.ops[0])]
    return ast.Compare(node.left, [opposite()], node.comparators)


def _evaluate(node: ast.expr, parameters: dict[str, float]) -> Any:
    return compile_scalar(node, list(parameters), "part")(**parameters)


def evaluate(node: ast.expr, parameters: dict[str, float]) -> float:
    """The number that a branch-free tree gives for these floats. Raises CalculationError."""
    try:
        return float(_evaluate(node, parameters))
    except (ZeroDivisionError, ValueError, OverflowError) as e:
        raise CalculationError(str(e)) from None


def to_tex(node: ast.expr, leaf: Callable[[str], tuple[str, int]]) -> str:
    """LaTeX of the tree. `leaf` gives text and precedence (1 sum, 2 product, 4 atom) of a parameter."""
    return _tex(node, leaf)[0]


def to_text(node: ast.expr, leaf: Callable[[str], str]) -> str:
    """One line of plain text of the tree, as one would type it; the tree's own brackets are kept."""
    class Names(ast.NodeTransformer):
        def visit_Name(self, n: ast.Name) -> Any:
            return ast.Name(leaf(n.id), ast.Load()) if n.id != "pi" and n.id not in FUNCTIONS else n

    text = ast.unparse(Names().visit(copy_tree(node)))
    return text.replace("minimum(", "min(").replace("maximum(", "max(").replace("absolute(", "abs(")


def number_tex(value: float | int, text: str | None = None) -> tuple[str, int]:
    """A number as LaTeX with its precedence: 1.2e-5 is a product, a negative number a sum."""
    s = repr(value) if text is None else text
    if text is None:
        s = s.removesuffix(".0")
    if "e" in s:
        mantissa, exponent = s.split("e")
        return rf"{mantissa} \cdot 10^{{{int(exponent)}}}", (_SUM if s.startswith("-") else _PRODUCT)
    return s, (_SUM if s.startswith("-") else _ATOM)


def _wrap(pair: tuple[str, int], least: int) -> str:
    return pair[0] if pair[1] >= least else rf"\left({pair[0]}\right)"


def _tex(node: ast.AST, leaf: Callable[[str], tuple[str, int]]) -> tuple[str, int]:
    match node:
        case ast.Name(id="pi"):
            return r"\pi", _ATOM
        case ast.Name(id=name):
            return leaf(name)
        case ast.Constant(value=value):
            return number_tex(value)
        case ast.UnaryOp(operand=operand):
            return "-" + _wrap(_tex(operand, leaf), _PRODUCT), _SUM
        case ast.BinOp(left=left, op=ast.Add(), right=right):
            return f"{_tex(left, leaf)[0]} + {_wrap(_tex(right, leaf), _PRODUCT)}", _SUM
        case ast.BinOp(left=left, op=ast.Sub(), right=right):
            return f"{_tex(left, leaf)[0]} - {_wrap(_tex(right, leaf), _PRODUCT)}", _SUM
        case ast.BinOp(left=left, op=ast.Pow(), right=right):
            return f"{_wrap(_tex(left, leaf), _ATOM)}^{{{_tex(right, leaf)[0]}}}", _POWER
        case ast.BinOp():
            return _fractions(node, leaf), _PRODUCT
        case ast.Compare(left=left, ops=[op], comparators=[right]):
            return f"{_tex(left, leaf)[0]} {_RELATION[type(op)][0]} {_tex(right, leaf)[0]}", _SUM
        case ast.Call(func=ast.Name(id="cases"), args=args):
            rows = []
            for b in args:
                condition, value = b.elts  # type: ignore[attr-defined]
                when = (r"\text{otherwise}" if isinstance(condition, ast.Constant) else _tex(condition, leaf)[0])
                rows.append(f"{_tex(value, leaf)[0]} & {when}")
            return r"\begin{cases}" + r" \\ ".join(rows) + r"\end{cases}", _SUM
        case ast.Call(func=ast.Name(id=name), args=args):
            # a power of sin(x) without its own brackets could be read as a power of x
            binding = _ATOM if name in ("sqrt", "ceil", "absolute") else _POWER
            return _TEX[name] % ", ".join(_tex(a, leaf)[0] for a in args), binding
    raise FormulaError(f"cannot print {ast.unparse(node)!r}")


def _fractions(node: ast.AST, leaf: Callable[[str], tuple[str, int]]) -> str:
    """A chain a*b/c/d*e as a product of fractions: (a b)/(c d) . e; the value is the same, the page is calmer."""
    chain: list[tuple[type, ast.AST]] = []
    while isinstance(node, ast.BinOp) and isinstance(node.op, (ast.Mult, ast.Div)):
        chain.append((type(node.op), node.right))
        node = node.left
    groups: list[tuple[list[ast.AST], list[ast.AST]]] = [([node], [])]
    for op, operand in reversed(chain):
        if op is ast.Div:
            groups[-1][1].append(operand)
        elif groups[-1][1]:
            groups.append(([operand], []))
        else:
            groups[-1][0].append(operand)
    parts = []
    for over, under in groups:
        top = r" \cdot ".join(_wrap(_tex(n, leaf), _PRODUCT) if len(over) > 1 else _tex(n, leaf)[0] for n in over)
        if under:
            below = r" \cdot ".join(_wrap(_tex(n, leaf), _PRODUCT) if len(under) > 1 else _tex(n, leaf)[0]
                                    for n in under)
            parts.append(rf"\frac{{{top}}}{{{below}}}")
        elif len(over) == 1 and len(groups) > 1:
            parts.append(_wrap(_tex(over[0], leaf), _PRODUCT))
        else:
            parts.append(top)
    return r" \cdot ".join(parts)
