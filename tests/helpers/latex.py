"""Two readers of the LaTeX that the package prints, neither of which knows how it was written.

`read` is a small strict parser for the few constructs that are allowed on a page; it refuses everything else,
so that a new construct cannot slip through. `read_sympy` gives the same text to sympy's grammar. A formula is
faithful when both readers and the function itself agree.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from functools import lru_cache
from statistics import NormalDist
from typing import Any

_GREEK = "varepsilon|alpha|beta|gamma|delta|theta|eta|lambda|chi|mu|nu|rho|sigma|tau|phi|Delta"
#: A symbol as printed: one letter, a Greek letter or an upright word, with or without a subscript.
SYMBOL = (rf"(?:\\(?:{_GREEK})(?![a-zA-Z])|\\mathrm\{{[A-Za-z]+\}}|[A-Za-z])"
          r"(?:_\{(?:\\mathrm\{[A-Za-z0-9]+\}|\\varepsilon|[A-Za-z0-9])\})?")
_TOKEN = re.compile(
    r"(?P<begin>\\begin\{cases\})|(?P<end>\\end\{cases\})|(?P<otherwise>\\text\{otherwise\})|(?P<row>\\\\)"
    r"|(?P<open>\\left\(|\\left\||\\left\\lceil)|(?P<close>\\right\)|\\right\||\\right\\rceil)"
    r"|(?P<call>\\Phi\^\{-1\}|\\Phi|\\min|\\max|\\exp|\\sin|\\cos|\\log_\{10\})(?=\\left\()"
    r"|(?P<macro>\\frac|\\sqrt|\\cdot|\\pi|\\leq|\\geq)(?![a-zA-Z])"
    rf"|(?P<symbol>{SYMBOL})|(?P<number>\d+(?:\.\d+)?)|(?P<mark>[-+^{{}},&<>])|(?P<space>\s+)")

Function = Callable[[Mapping[str, float]], float]


class Unreadable(ValueError):
    """The text holds something that a page may not hold, or that two people could read in two ways."""


def tokens(tex: str) -> list[tuple[str, str]]:
    """(kind, text) of every token. Raises Unreadable at the first thing that is none."""
    out, at = [], 0
    while at < len(tex):
        m = _TOKEN.match(tex, at)
        if m is None:
            raise Unreadable(f"cannot read {tex[at:at + 30]!r} in {tex!r}")
        if m.lastgroup != "space":
            out.append((str(m.lastgroup), m.group()))
        at = m.end()
    return out


@lru_cache(maxsize=4096)
def read(tex: str) -> Function:
    """The function of {symbol as printed: number} that the text describes. Raises Unreadable."""
    return _Reader(tex).whole()


def symbols(tex: str) -> set[str]:
    """Every symbol on the page."""
    return {text for kind, text in tokens(tex) if kind == "symbol"}


_CALLS: dict[str, Callable[..., float]] = {
    r"\min": min, r"\max": max, r"\exp": math.exp, r"\sin": math.sin, r"\cos": math.cos, r"\log_{10}": math.log10,
    r"\Phi": lambda x: math.erfc(-x / math.sqrt(2)) / 2,
    r"\Phi^{-1}": NormalDist().inv_cdf}
_RELATIONS: dict[str, Callable[[float, float], bool]] = {
    "<": lambda a, b: a < b, ">": lambda a, b: a > b, r"\leq": lambda a, b: a <= b, r"\geq": lambda a, b: a >= b}
_CLOSING = {r"\left(": r"\right)", r"\left|": r"\right|", r"\left\lceil": r"\right\rceil"}


class _Reader:
    """Recursive descent; each method eats its part of the tokens and gives a function back."""

    def __init__(self, tex: str):
        self.tex, self.tokens, self.at = tex, tokens(tex), 0

    def whole(self) -> Function:
        out = self.sum()
        if self.at != len(self.tokens):
            raise Unreadable(f"{self.tokens[self.at][1]!r} is left over in {self.tex!r}")
        return out

    def peek(self) -> str:
        return self.tokens[self.at][1] if self.at < len(self.tokens) else ""

    def eat(self, wanted: str = "") -> str:
        found = self.peek()
        if not found or (wanted and found != wanted):
            raise Unreadable(f"found {found!r} where {wanted or 'something'!r} belongs, in {self.tex!r}")
        self.at += 1
        return found

    def group(self) -> Function:
        self.eat("{")
        inner = self.sum()
        self.eat("}")
        return inner

    def sum(self) -> Function:
        negative = self.peek() == "-"
        if negative:
            self.eat()
        first = self.product()
        parts: list[tuple[int, Function]] = [(-1 if negative else 1, first)]
        while self.peek() in ("+", "-"):
            sign = 1 if self.eat() == "+" else -1
            if self.peek() == "-":
                raise Unreadable(f"two signs in a row in {self.tex!r}")
            parts.append((sign, self.product()))
        return lambda v: sum(sign * part(v) for sign, part in parts) if len(parts) > 1 else parts[0][0] * first(v)

    def product(self) -> Function:
        factors = [self.power()]
        while self.peek() == r"\cdot":
            self.eat()
            factors.append(self.power())
        return lambda v: math.prod(f(v) for f in factors)

    def power(self) -> Function:
        kind = self.tokens[self.at][0] if self.at < len(self.tokens) else ""
        base = self.atom()
        if self.peek() != "^":
            return base
        if kind == "call" or self.tokens[self.at - 1][1] == r"\end{cases}":
            raise Unreadable(f"is the power inside or outside the function? In {self.tex!r}")
        self.eat()
        exponent = self.group()
        return lambda v: base(v) ** exponent(v)

    def atom(self) -> Function:
        kind, text = self.tokens[self.at] if self.at < len(self.tokens) else ("", "")
        if kind == "number":
            number = float(self.eat())
            return lambda v: number
        if kind == "symbol":
            self.eat()
            return lambda v: v[text]
        if kind == "open":
            self.eat()
            inner = self.sum()
            self.eat(_CLOSING[text])
            return {"(": inner, "|": lambda v: abs(inner(v))}.get(text[-1], lambda v: math.ceil(inner(v)))
        if kind == "call":
            self.eat()
            return self.call(text)
        if kind == "begin":
            return self.cases()
        match self.eat():
            case r"\pi":
                return lambda v: math.pi
            case r"\frac":
                over, under = self.group(), self.group()
                return lambda v: over(v) / under(v)
            case r"\sqrt":
                inner = self.group()
                return lambda v: math.sqrt(inner(v))
        raise Unreadable(f"{text!r} cannot stand here, in {self.tex!r}")

    def call(self, name: str) -> Function:
        self.eat(r"\left(")
        arguments = [self.sum()]
        while self.peek() == ",":
            self.eat()
            arguments.append(self.sum())
        self.eat(r"\right)")
        if len(arguments) != (2 if name in (r"\min", r"\max") else 1):
            raise Unreadable(f"{name} of {len(arguments)} things in {self.tex!r}")
        return lambda v: _CALLS[name](*(a(v) for a in arguments))

    def cases(self) -> Function:
        self.eat(r"\begin{cases}")
        rows: list[tuple[Callable[[Mapping[str, float]], bool], Function]] = []
        while True:
            value = self.sum()
            self.eat("&")
            if self.peek() == r"\text{otherwise}":
                self.eat()
                self.eat(r"\end{cases}")
                return lambda v: next((f for holds, f in rows if holds(v)), value)(v)
            rows.append((self.condition(), value))
            self.eat(r"\\")

    def condition(self) -> Callable[[Mapping[str, float]], bool]:
        left, sign, right = self.sum(), self.eat(), self.sum()
        relation = _RELATIONS[sign]
        return lambda v: relation(left(v), right(v))


# -- the same text through sympy ---------------------------------------------------------------------------------

def read_sympy(tex: str) -> Function:
    """The same as `read`, through the LaTeX grammar of sympy, which knows nothing of this package.

    Its grammar knows no multi-letter symbols and no `cases`, and reads on past the bracket of a sine; those three
    are taken apart here, everything else is sympy's reading.
    """
    return _Sympy().whole(tex)


class _Sympy:
    """Parts that sympy cannot read stand in its text as v_{0}, v_{1}, ... and are worked out apart."""

    def __init__(self) -> None:
        self.parts: dict[str, Function] = {}
        self.names = iter(f"{letter}_{{{digit}}}" for letter in "vwxyz" for digit in range(10))

    def stand_in(self, function: Function) -> str:
        name = next(self.names)
        self.parts[name] = function
        return name

    def whole(self, tex: str) -> Function:
        known: dict[str, str] = {}

        def replace(m: re.Match[str]) -> str:
            text = m.group()
            if text not in known:
                if m["symbol"]:
                    known[text] = self.stand_in(lambda v: v[text])
                else:
                    known[text] = self.stand_in(lambda v: math.pi) if text == r"\pi" else text
            return known[text]

        return self.function(re.sub(rf"\\(?:begin|end)\{{cases\}}|\\text\{{otherwise\}}|\\log_\{{10\}}|\\Phi\^\{{-1\}}"
                                    rf"|(?P<symbol>{SYMBOL})|\\[a-zA-Z]+|.", replace, tex))

    def function(self, tex: str) -> Function:
        if r"\begin{cases}" in tex:
            return self.with_cases(tex)
        for call in (r"\sin", r"\cos", r"\exp", r"\log_{10}", r"\Phi^{-1}", r"\Phi"):
            while (at := tex.find(call + r"\left(")) >= 0:
                end = _closing(tex, at + len(call))
                inner = self.function(tex[at + len(call) + len(r"\left("):end - len(r"\right)")])
                tex = tex[:at] + self.stand_in(lambda v, f=inner, g=_CALLS[call]: g(f(v))) + tex[end:]
        return self.plain(tex)

    def with_cases(self, tex: str) -> Function:
        start, end = tex.index(r"\begin{cases}"), tex.index(r"\end{cases}")
        rows = [row.split("&") for row in tex[start + len(r"\begin{cases}"):end].split(r"\\")]
        if rows[-1][1].strip() != r"\text{otherwise}":
            raise Unreadable(f"the last case is not the rest, in {tex!r}")
        values = [self.function(value) for value, _ in rows]
        tests = []
        for _, when in rows[:-1]:
            sign = next(s for s in (r"\leq", r"\geq", "<", ">") if s in when)
            left, right = (self.function(side) for side in when.split(sign))
            tests.append((left, _RELATIONS[sign], right))

        def chosen(v: Mapping[str, float]) -> float:
            for (left, relation, right), value in zip(tests, values, strict=False):
                if relation(left(v), right(v)):
                    return value(v)
            return values[-1](v)

        return self.function(tex[:start] + self.stand_in(chosen) + tex[end + len(r"\end{cases}"):])

    def plain(self, tex: str) -> Function:
        import sympy
        from sympy.parsing.latex import parse_latex

        expression: Any = parse_latex(tex, backend="lark")
        if not isinstance(expression, sympy.Expr):
            raise Unreadable(f"sympy reads {tex!r} in more than one way: {expression}")
        used = {n: f for n, f in self.parts.items() if n in tex}
        if extra := {str(s) for s in expression.free_symbols} - set(used):
            raise Unreadable(f"sympy finds {extra} in {tex!r}")
        fast = sympy.lambdify([sympy.Symbol(n) for n in used], expression, modules=["math"])
        return lambda v: float(fast(*(f(v) for f in used.values())))


def _closing(tex: str, at: int) -> int:
    """The place after the bracket that closes the one at `at`."""
    depth = 0
    for m in re.compile(r"\\left(?![a-z])|\\right(?![a-z])\)?").finditer(tex, at):
        depth += 1 if m.group() == r"\left" else -1
        if depth == 0:
            return m.end()
    raise Unreadable(f"a bracket of {tex!r} is not closed")
