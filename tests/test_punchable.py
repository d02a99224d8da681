"""Whoever types the printed line of any step of any example gets the printed result, to its last digit but one.

The line is taken from the record, as the page has it, and read by the strict reader of tests/helpers, which knows
nothing of how it was written; for one example sympy reads it as well.
"""

from __future__ import annotations

import functools
import math
import re
from importlib import resources
from pathlib import Path
from statistics import NormalDist

import pytest

from tests.helpers import latex
from wrapcalc import record
from wrapcalc.case.load import load_bundle
from wrapcalc.stages.job import run

EXAMPLES = sorted(Path(str(resources.files("wrapcalc.example"))).glob("*.toml"))
each = pytest.mark.parametrize("example", EXAMPLES, ids=lambda p: p.stem)

_UNIT = re.compile(r"\\,(?:\\frac\{1\}\{\^\{\\circ\}\\mathrm\{[CF]\}\}|\^\{\\circ\}\\mathrm\{[CF]\}"
                   r"|\\mathrm\{[^{}]+\}(?:\^\{[234]\})?)")


@functools.cache
def steps(example: Path, display: str = "") -> list[dict]:
    """The steps of the record; display: print in these units whatever the case says."""
    bundle = load_bundle(example)
    if display:
        identity = bundle.case.case.model_copy(update={"display": display})
        object.__setattr__(bundle, "case", bundle.case.model_copy(update={"case": identity}))
        assert bundle.case.display == display
    built = record.build(run(bundle))
    return [i for i in built["items"] if i["type"] == "step"]


def bare(tex: str) -> str:
    """The line without its units; anything that then still looks like one is a failure of the reader."""
    return _UNIT.sub("", tex)


def close(value: float, step: dict) -> bool:
    """Half a unit of the last digit but one of five, as the house rule has it."""
    printed = float(step["printed"])
    if printed == 0:
        return abs(value) < 1e-9
    return abs(value - printed) <= 5 * 10.0 ** (math.floor(math.log10(abs(printed))) - 4)


def pocket(line: str) -> float:
    """A pocket calculator: numbers, signs and its few keys."""
    keys = {n: getattr(math, n) for n in ("sqrt", "exp", "log10", "sin", "cos", "ceil", "pi")}
    keys |= {"normal_cdf": lambda x: math.erfc(-x / math.sqrt(2)) / 2, "normal_quantile": NormalDist().inv_cdf}
    return float(eval(line, {"__builtins__": {}, "min": min, "max": max, "abs": abs} | keys))


def test_there_are_examples_with_steps_units_and_branches():
    """The tests below are not empty."""
    found = [s for e in EXAMPLES for s in steps(e)]
    whole = [s for e in EXAMPLES if e.stem == "HB-07" for s in steps(e)]
    assert len(whole) > 50
    assert {s["id"][0] for s in whole} == {"A", "D", "T", "I", "E"}
    assert any(s["tex_conditions"] for s in found)
    assert sum(bare(s["tex_numbers"]) != s["tex_numbers"] for s in whole) > 40


@each
@pytest.mark.parametrize("display", ["SI", "US"])
def test_printed_lines(example, display):
    """Both lines of every step, in both unit systems."""
    for step in steps(example, display):
        line = bare(step["tex_numbers"])
        assert latex.symbols(line) == set(), f"{step['id']}: more than numbers in {line}"
        by_page = latex.read(line)({})
        assert close(by_page, step), f"{step['id']} {step['formula']}: {line} = {by_page!r}, not {step['printed']}"
        by_text = pocket(step["text_numbers"])
        assert close(by_text, step), f"{step['id']} {step['formula']}: {step['text_numbers']} = {by_text!r}"


def test_printed_lines_by_sympy():
    """One example through sympy's grammar, whose numbers are not ours either."""
    example = next(p for p in EXAMPLES if p.stem == "HB-07")
    for step in steps(example):
        line = bare(step["tex_numbers"])
        assert close(latex.read_sympy(line)({}), step), f"{step['id']}: {line}"


@each
def test_conditions_of_the_branch_hold(example):
    """What is printed beside a branch as the reason for taking it is true of the printed numbers."""
    for step in steps(example):
        for condition in step["tex_conditions"]:
            line = bare(condition)
            sign = next(s for s in (r"\leq", r"\geq", "<", ">") if s in line)
            left, right = (latex.read(side.strip())({}) for side in line.split(sign))
            assert {r"\leq": left <= right, r"\geq": left >= right, "<": left < right, ">": left > right}[sign]


@each
def test_inputs_of_the_page_are_the_inputs_of_the_step(example):
    """Every number of the symbolic form stands with its unit in the list of inputs, and has an origin."""
    for step in steps(example):
        assert {i["tex"] for i in step["inputs"]} == latex.symbols(step["tex"])
        assert all(i["origin"]["kind"] in ("case", "system", "table", "step", "procedure") for i in step["inputs"])
        page = {i["tex"]: float(i["printed"]) for i in step["inputs"]}
        assert close(latex.read(step["tex"])(page), step)
