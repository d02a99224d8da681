"""What may stand in a formula, how it prints, and that two strangers read the print as it runs."""

from __future__ import annotations

import ast
import math
import warnings
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.helpers import latex
from wrapcalc import expression
from wrapcalc.errors import CalculationError, FormulaError

NAMES = ["a", "b", "c"]
NORMAL = NormalDist()


def tree(text: str) -> ast.expr:
    return ast.parse(text, mode="eval").body


def tex(text: str) -> str:
    return expression.to_tex(tree(text), lambda n: (n, 4))


# -- brackets ----------------------------------------------------------------------------------------------------

BRACKETS = {
    "a + b + c": "a + b + c", "a + (b + c)": r"a + \left(b + c\right)", "a - (b - c)": r"a - \left(b - c\right)",
    "a - (b + c)": r"a - \left(b + c\right)", "a - b - c": "a - b - c", "(a + b) * c": r"\left(a + b\right) \cdot c",
    "a * (b + c)": r"a \cdot \left(b + c\right)", "a * b + c": r"a \cdot b + c", "a + b * c": r"a + b \cdot c",
    "a * (b * c)": r"a \cdot b \cdot c", "a / b / c": r"\frac{a}{b \cdot c}",
    "a / (b * c)": r"\frac{a}{b \cdot c}", "a / (b / c)": r"\frac{a}{\frac{b}{c}}",
    "a * b / c": r"\frac{a \cdot b}{c}", "a / b * c": r"\frac{a}{b} \cdot c", "a * (b / c)": r"a \cdot \frac{b}{c}",
    "(a + b) / c": r"\frac{a + b}{c}", "a / (b + c)": r"\frac{a}{b + c}", "a / b / (b + c)":
    r"\frac{a}{b \cdot \left(b + c\right)}", "a / b + c": r"\frac{a}{b} + c", "(a / b) ** 2":
    r"\left(\frac{a}{b}\right)^{2}", "(a * b) ** 2": r"\left(a \cdot b\right)^{2}", "a * b ** 2": r"a \cdot b^{2}",
    "(a + b) ** 2": r"\left(a + b\right)^{2}", "a ** (b + c)": "a^{b + c}", "a ** b ** c": "a^{b^{c}}",
    "(a ** b) ** c": r"\left(a^{b}\right)^{c}", "-a ** 2": "-a^{2}", "(-a) ** 2": r"\left(-a\right)^{2}",
    "-a + b": "-a + b", "a + -b": r"a + \left(-b\right)", "a - -b": r"a - \left(-b\right)",
    "a * -b": r"a \cdot \left(-b\right)", "-a * b": r"\left(-a\right) \cdot b", "-(a * b)": r"-a \cdot b",
    "-(a + b)": r"-\left(a + b\right)", "-a / b": r"\frac{-a}{b}", "2e-05 ** a": r"\left(2 \cdot 10^{-5}\right)^{a}",
    "a / 2e-05": r"\frac{a}{2 \cdot 10^{-5}}", "a - 1e-09": r"a - 1 \cdot 10^{-9}", "a ** -2": "a^{-2}",
    "sqrt(a) ** 2": r"\sqrt{a}^{2}", "sqrt(a + b) * c": r"\sqrt{a + b} \cdot c",
    "sin(a) ** 2": r"\left(\sin\left(a\right)\right)^{2}", "sin(a ** 2)": r"\sin\left(a^{2}\right)",
    "exp(a) * b": r"\exp\left(a\right) \cdot b", "log10(a) ** b": r"\left(\log_{10}\left(a\right)\right)^{b}",
    "absolute(a - b) ** 2": r"\left|a - b\right|^{2}",
    "ceil(a / b) * c": r"\left\lceil \frac{a}{b} \right\rceil \cdot c",
    "normal_cdf((a - b) / c)": r"\Phi\left(\frac{a - b}{c}\right)",
    "a * normal_cdf(b) ** 2": r"a \cdot \left(\Phi\left(b\right)\right)^{2}",
    "a / normal_quantile(0.5 + b / 2)": r"\frac{a}{\Phi^{-1}\left(0.5 + \frac{b}{2}\right)}",
    "minimum(a, b) ** c": r"\left(\min\left(a, b\right)\right)^{c}",
    "maximum(a + b, c) - a": r"\max\left(a + b, c\right) - a", "pi * a ** 2 / 4": r"\frac{\pi \cdot a^{2}}{4}",
    "a * cases((b < c, a), (True, b))": r"a \cdot \left(\begin{cases}a & b < c \\ b & \text{otherwise}\end{cases}"
                                        r"\right)",
}
VALUES = [{"a": 1.7, "b": 0.6, "c": 2.9}, {"a": 2.3, "b": 3.1, "c": 1.2}]
#: Where the share 0.5 + b/2 must lie between 0 and 1.
SHARES = [{"a": 1.7, "b": 0.6, "c": 2.9}, {"a": 2.3, "b": -0.31, "c": 1.2}]


@pytest.mark.parametrize(("text", "printed"), BRACKETS.items())
def test_brackets(text, printed):
    assert tex(text) == printed
    function = expression.compile_scalar(tree(text), NAMES, "f")
    for values in SHARES if "quantile" in text else VALUES:
        want = function(**values)
        assert latex.read(printed)(values) == pytest.approx(want, rel=1e-12)


@pytest.mark.parametrize("text", [t for t in BRACKETS if "sqrt(a) **" not in t and "cases" not in t][::3]
                         + [t for t in BRACKETS if "normal" in t])
def test_brackets_read_by_sympy(text):
    function = expression.compile_scalar(tree(text), NAMES, "f")
    read = latex.read_sympy(tex(text))
    for values in SHARES if "quantile" in text else VALUES:
        assert read(values) == pytest.approx(function(**values), rel=1e-12)


def test_every_pair_of_operators():
    """a o (b o c) and (a o b) o c for every pair, minus signs included: each prints, reads back and agrees."""
    operators = ["+", "-", "*", "/", "**"]
    for first in operators:
        for second in operators:
            for text in (f"(a {first} b) {second} c", f"a {first} (b {second} c)", f"-(a {first} b) {second} c",
                         f"a {first} (-b {second} c)", f"a {first} -(b {second} c)"):
                function = expression.compile_scalar(tree(text), NAMES, "f")
                for values in VALUES:
                    want = function(**values)
                    if isinstance(want, complex):  # a negative number to a broken power: nothing to compare
                        continue
                    assert latex.read(tex(text))(values) == pytest.approx(want, rel=1e-9), text


def build(leaves):
    pair = st.tuples(leaves, leaves)
    return st.one_of(
        st.builds(lambda p, o: f"({p[0]} {o} {p[1]})", pair, st.sampled_from(["+", "-", "*", "/", "**"])),
        st.builds(lambda x: f"(-{x})", leaves), st.builds(lambda x: f"({x})**2", leaves),
        st.builds(lambda x, f: f"{f}({x})", leaves, st.sampled_from(["sqrt", "exp", "log10", "sin", "cos",
                                                                     "absolute", "normal_cdf"])),
        st.builds(lambda p, f: f"{f}({p[0]}, {p[1]})", pair, st.sampled_from(["minimum", "maximum"])),
        st.builds(lambda p, q, o: f"cases(({p[0]} {o} {p[1]}, {q[0]}), (True, {q[1]}))", pair, pair,
                  st.sampled_from(["<", "<=", ">", ">="])))


EXPRESSIONS = st.recursive(st.one_of(st.sampled_from([*NAMES, "pi"]), st.sampled_from(["2", "0.75", "3e-05", "12.5"])),
                           build, max_leaves=9)


def tame(body: ast.expr, values: dict[str, float]) -> bool:
    """No part is huge, a mere rounding error, or compared with its equal: there the order of a product, which the page
    does not keep, may decide the answer, and a difference would prove nothing."""
    for node in ast.walk(expression.taken_branch(body, values)):
        if isinstance(node, (ast.BinOp, ast.UnaryOp, ast.Call)):
            x = expression.evaluate(node, values)
            if not (x == 0 or 1e-6 < abs(x) < 1e6):
                return False
    sides = [(expression.evaluate(n.left, values), expression.evaluate(n.comparators[0], values))
             for n in expression.conditions(body, values)]
    return all(a == b or not math.isclose(a, b, rel_tol=1e-6) for a, b in sides)


@settings(max_examples=300, deadline=None)
@given(EXPRESSIONS, st.sampled_from(VALUES))
def test_any_expression_reads_back_as_it_runs(text, values):
    """Print, read, compare; and the plain text line too. An expression without a value here is no evidence."""
    body = tree(text)
    try:
        want = expression.compile_scalar(body, NAMES, "f")(**values)
        assume(not isinstance(want, complex) and tame(body, values))
    except (ValueError, ZeroDivisionError, OverflowError, CalculationError, TypeError):
        assume(False)  # no number here: root of a negative number, power of one, division by zero
    read = latex.read(expression.to_tex(body, lambda n: (n, 4)))(values)
    assert read == pytest.approx(want, rel=1e-6, abs=1e-6)
    line = expression.to_text(expression.taken_branch(body, values), lambda n: n)
    again = eval(line, {n: getattr(math, n) for n in ("sqrt", "exp", "log10", "sin", "cos", "ceil", "pi")}
                 | {"min": min, "max": max, "abs": abs, "normal_cdf": NORMAL.cdf}, dict(values))
    assert again == pytest.approx(want, rel=1e-9, abs=1e-9)


# -- what is refused ---------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("text", "why"), [
    ("a + q", "'q' is not a parameter"), ("sqrt(x=a)", "cannot print"), ("(lambda: a)()", "cannot print"),
    ("cases((1 < a < 2, a), (True, b))", "cannot print '1 < a < 2'"), ("cases((a < 1, a))", "has the condition True"),
    ("cases((a < 1, a), (b < 1, b))", "has the condition True"), ("cases((True, a), (True, b))", "the last case"),
    ("cases((a, b), (True, c))", "a condition is one comparison"), ("cases(a < 1, a)", "each case is a pair"),
    ("cases((a == 1, a), (True, b))", "cannot print"), ("cases((a < 1 and b < 1, a), (True, b))", "one comparison"),
    ("sqrt(a, b)", "wrong number of arguments"), ("minimum(a, b, c)", "wrong number of arguments"),
    ("normal_cdf(a, b)", "wrong number of arguments"), ("normal_quantile()", "wrong number of arguments"),
    ("normal_pdf(a)", "cannot print"), ("erfc(a)", "cannot print"),
    ("a if b else c", "cannot print"), ("a // b", "cannot print"), ("a % b", "cannot print"), ("a @ b", "cannot print"),
    ("[a for b in c]", "cannot print"), ("a[0]", "cannot print"), ("a.real", "cannot print"), ("+a", "cannot print"),
    ("not a", "cannot print"), ("'a'", "cannot print the constant"), ("True", "cannot print the constant"),
    ("1j * a", "cannot print the constant"), ("1e999 * a", "cannot print the constant"), ("math.sqrt(a)",
                                                                                          "cannot print"),
    ("where(a, b, c)", "cannot print"), ("cases()", "cannot print"), ("a < b", "cannot print"),
    ("a + (b < c)", "cannot print")])
def test_refused(text, why):
    with pytest.raises(FormulaError, match="somewhere") as e:
        expression.validate(tree(text), NAMES, "somewhere")
    assert why in str(e.value)


def test_unused_parameter_is_refused():
    with pytest.raises(FormulaError, match=r"the parameters \['c'\] are not used"):
        expression.validate(tree("a + b"), NAMES, "somewhere")


def test_cases_is_only_a_marker():
    with pytest.raises(FormulaError, match="only inside the return expression"):
        expression.cases((True, 1))


# -- branches ----------------------------------------------------------------------------------------------------

BRANCHING = "cases((a < 0, b), (a <= 4, sqrt(a) / b), (True, log10(a)))"


def test_scalar_branches_are_lazy():
    """No square root of a negative number, no division by zero, no logarithm, unless that branch is taken."""
    f = expression.compile_scalar(tree(BRANCHING), ["a", "b"], "f")
    assert f(-4.0, 0.0) == 0.0
    assert f(4.0, 2.0) == 1.0
    assert f(100.0, 0.0) == 2.0
    with pytest.raises(ZeroDivisionError):
        f(4.0, 0.0)


def test_array_branches_are_masked():
    """The same row by row; the branch not taken raises not even a warning."""
    f = expression.compile_array(tree(BRANCHING), ["a", "b"], "f")
    a, b = np.array([-4.0, 4.0, 100.0, 0.0]), np.array([0.0, 2.0, 0.0, 1.0])
    with warnings.catch_warnings(), np.errstate(all="raise"):
        warnings.simplefilter("error")
        out = f(a, b)
    scalar = expression.compile_scalar(tree(BRANCHING), ["a", "b"], "f")
    assert out.tolist() == [scalar(x, y) for x, y in zip(a, b, strict=True)]
    assert f(np.array([[1.0, -1.0]]), 2.0).tolist() == [[0.5, 2.0]]
    assert f(np.array([]), 2.0).shape == (0,)


def test_nested_branches():
    text = "cases((a < 0, cases((b < 0, 1), (True, 2))), (True, 3 + cases((b < 0, 10), (True, 20))))"
    scalar, array = (c(tree(text), ["a", "b"], "f") for c in (expression.compile_scalar, expression.compile_array))
    a, b = np.array([-1.0, -1.0, 1.0, 1.0]), np.array([-1.0, 1.0, -1.0, 1.0])
    assert array(a, b).tolist() == [1.0, 2.0, 13.0, 23.0] == [scalar(x, y) for x, y in zip(a, b, strict=True)]
    read = latex.read(expression.to_tex(tree("3 + " + BRANCHING), lambda n: (n, 4)))
    assert read({"a": 100.0, "b": 1.0}) == 5.0


def test_taken_branch_and_its_conditions():
    body = tree(BRANCHING)
    show = [expression.to_text(expression.taken_branch(body, {"a": a, "b": 2.0}), str) for a in (-1.0, 4.0, 5.0)]
    assert show == ["b", "sqrt(a) / b", "log10(a)"]
    met = [[expression.to_text(c, str) for c in expression.conditions(body, {"a": a, "b": 2.0})]
           for a in (-1.0, 4.0, 5.0)]
    assert met == [["a < 0"], ["a >= 0", "a <= 4"], ["a >= 0", "a > 4"]]


def test_evaluate_raises_our_error():
    with pytest.raises(CalculationError):
        expression.evaluate(tree("a / b"), {"a": 1.0, "b": 0.0})
    assert expression.evaluate(tree("a / b"), {"a": 1.0, "b": 4.0}) == 0.25


@pytest.mark.parametrize(("value", "text", "printed"), [
    (2.0, None, "2"), (0.893, None, "0.893"), (1e-9, None, r"1 \cdot 10^{-9}"), (6e-5, None, r"6 \cdot 10^{-5}"),
    (3, None, "3"), (1e16, None, r"1 \cdot 10^{16}"), (0.0, "-4.5", "-4.5"), (0.0, "-1.2e-5", r"-1.2 \cdot 10^{-5}"),
    (10_000_000.0, None, "10000000"), (12_345_678.0, None, "12345678")])
def test_number(value, text, printed):
    assert expression.number_tex(value, text)[0] == printed
    assert (expression.number_tex(value, text)[1] == 4) == (not printed.startswith("-") and "cdot" not in printed)


# -- the normal distribution ---------------------------------------------------------------------------------------

def test_normal_tail_keeps_its_digits():
    """scipy, and the asymptotic series of the tail at -10: 1 - erf would be nothing there."""
    from scipy.stats import norm
    for z in (-37.5, -20.0, -10.0, -6.2, -1.0, 0.0, 0.3, 5.0):
        assert expression.normal_cdf(z) == pytest.approx(float(norm.cdf(z)), rel=1e-12, abs=0)
    z, series, term = 10.0, 0.0, 1.0
    for k in range(12):
        series += term
        term *= -(2 * k + 1) / z ** 2
    density = math.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    assert expression.normal_cdf(-z) == pytest.approx(density / z * series, rel=1e-8, abs=0)
    assert expression.normal_cdf(-10.0) == pytest.approx(7.619853024160527e-24, rel=1e-12, abs=0)  # tables, from memory
    assert [expression.normal_cdf(x) for x in (-40.0, -math.inf, math.inf)] == [0, 0, 1]


def test_normal_quantile_turns_the_distribution_round():
    from scipy.stats import norm
    for p in (1e-300, 1e-12, 0.025, 0.5, 0.9, 0.9995):
        assert expression.normal_quantile(p) == pytest.approx(float(norm.ppf(p)), rel=1e-9, abs=1e-12)
        assert expression.normal_cdf(expression.normal_quantile(p)) == pytest.approx(p, rel=1e-9)


@pytest.mark.parametrize("function", [expression.normal_cdf, expression.normal_quantile])
def test_normal_of_arrays_is_that_of_scalars(function):
    x = np.linspace(0.01, 0.99, 24).reshape(4, 6)
    out = function(x)
    assert isinstance(function(0.3), float) and out.dtype == float and out.shape == x.shape
    assert out.ravel().tolist() == [function(float(v)) for v in x.ravel()]
    assert function(np.array([])).shape == (0,) and function(np.float64(0.25)) == function(0.25)
    for bare in (np.array(0.25), np.float32(0.25)):  # numbers that are no Python float, and have no axis
        assert function(bare) == function(0.25) and np.ndim(function(bare)) == 0


@pytest.mark.parametrize("p", [0.0, 1.0, -0.2, 1.3])
def test_no_quantile_outside_the_open_interval(p):
    with pytest.raises(ValueError):
        expression.normal_quantile(p)
    with pytest.raises(ValueError):
        expression.normal_quantile(np.array([0.5, p]))
    with pytest.raises(CalculationError):
        expression.evaluate(tree("normal_quantile(a)"), {"a": p})
