"""Every formula of the package: it prints as it runs, alone or in arrays, in any coherent units; and what the
decorator refuses."""

from __future__ import annotations

import ast
import importlib.util
import math
import warnings
from collections import Counter
from statistics import NormalDist

import numpy as np
import pytest

from tests.helpers import latex
from tests.helpers.ranges import BY_FORMULA
from wrapcalc import formula as formula_module
from wrapcalc import units
from wrapcalc.errors import CalculationError, FormulaError
from wrapcalc.formula import STATUSES, print_numbers, punches, registry, symbol_tex
from wrapcalc.recorder import Recorder, recording
from wrapcalc.standards.documents import MECHANICS, PRACTICE
from wrapcalc.units import US_TWIN, Quantity
from wrapcalc.values import Origin, Value

FORMULAS = registry()
each = pytest.mark.parametrize("f", FORMULAS.values(), ids=FORMULAS)
HOMOGENEOUS = {n: f for n, f in FORMULAS.items() if not f.unit_bound}
each_homogeneous = pytest.mark.parametrize("f", HOMOGENEOUS.values(), ids=HOMOGENEOUS)
ROWS = 120

#: Where each symbol lives, in the declared unit: the size of line pipe, its defects and its repairs.
RANGES: dict[str, tuple[float, float]] = {
    "D": (60, 1500), "t": (5, 25), "t_n": (5, 25), "t_m": (5, 25), "t_g": (5, 25), "a_t": (0, 0.5),
    "d": (0.2, 3.9), "d_0": (0.2, 3.9), "a_d": (0, 0.5), "L": (10, 1500), "L_0": (10, 1500),
    "a_L": (0, 20), "w": (10, 180), "W": (50, 3000), "theta": (0.02, 3), "A_0": (8e3, 4e4),
    "A_L": (50, 4e3), "A_n": (4e3, 4e4), "y_L": (30, 700), "e": (0.1, 60), "I_0": (5e7, 5e9),
    "I_L": (1e6, 4e7), "I_n": (2e7, 5e9), "c": (30, 760), "N": (1e4, 1e7), "P": (1, 20),
    "S_y": (205, 555), "F": (0.4, 1.0), "E": (0.6, 1), "T": (0.86, 1), "SF_min": (1.0, 2.0),
    "SF": (1.25, 2.5), "P_F": (2, 30), "P_a": (2, 20), "P_b": (2, 20), "P_S": (2, 16), "MAOP": (2, 12),
    "phi": (0.7, 0.9), "P_disc": (2, 12), "P_upset": (2, 12), "P_unc": (2, 12), "A": (0.1, 9),
    "k": (1, 1.2), "Delta_S": (50, 90), "z": (0.1, 120), "S_flow": (230, 620), "M": (1.05, 8),
    "S_F": (100, 600), "t_ply": (0.2, 2), "delta": (0.1, 1), "n": (2, 30), "h": (0.3, 3),
    "L_e": (10, 120), "t_b": (2, 40), "V_d": (1e4, 1e6), "V_e": (1e4, 1e6), "C": (1e3, 6e4),
    "a_c": (0, 200), "L_all": (200, 4000), "C_cut": (1, 60), "A_f": (0.5, 60), "g_f": (0.2, 1.5),
    "w_f": (0.4, 0.8), "u": (0, 0.4), "V": (0.1, 30), "rho": (0.9, 2), "A_b": (0.2, 20),
    "g_p": (0.1, 0.5), "m": (0.1, 50), "m_pack": (0.3, 8), "L_min": (20, 200), "L_P": (20, 200),
    "L_I": (20, 200), "L_o": (50, 300), "k_e": (3, 8), "L_cov": (200, 3000), "T_a": (40, 130),
    "T_b": (40, 130), "T_g": (60, 150), "Delta_T": (0, 60), "T_m": (40, 120), "T_d": (-10, 40),
    "x": (0, 90), "T_min": (-30, 10), "T_i": (-5, 35), "f_T": (0.7, 1), "eps_0": (0.001, 0.004),
    "alpha_s": (1e-5, 1.3e-5), "alpha_c": (1e-6, 3e-5), "s": (100, 400), "E_s": (1.95e5, 2.1e5),
    "E_c": (1e4, 1e5), "p": (4, 14), "p_s": (3, 10), "t_LS": (0.5, 40), "p_live": (0, 2.9),
    "S_0": (230, 620), "S_u": (300, 600), "sigma_a": (50, 400), "alpha_a": (1e-6, 3e-5),
    "t_eq": (2, 12), "t_s": (1, 12), "eps_c": (0.001, 0.004), "t_c": (1, 50), "t_req": (0.3, 40), "n_min": (2, 8),
}
#: Where a branch would hardly be met otherwise: narrow losses, whose edge is the farthest fibre.
NARROWER = {("extreme_fibre", "theta"): (0.02, 0.3)} | BY_FORMULA
WHOLE = {"n", "n_min"}


def sample(f, rows: int = ROWS) -> dict[str, np.ndarray]:
    """Random values inside scope, the same on every run."""
    rng = np.random.default_rng(sum(map(ord, f.name)))
    out = {}
    for n in f.units:
        low, high = NARROWER.get((f.name, n)) or RANGES[n]
        out[n] = rng.integers(low, high, rows).astype(float) if n in WHOLE else rng.uniform(low, high, rows)
    return out


def rows_of(values: dict[str, np.ndarray]) -> list[dict[str, float]]:
    return [dict(zip(values, map(float, row), strict=True)) for row in zip(*values.values(), strict=True)]


# -- the walker: a formula's body on anything, apart from the compiler ----------------------------------------------

class Walker:
    """Works a body out node by node, on floats or on quantities; counts the branches that were taken."""

    def __init__(self, body: ast.expr):
        self.body = body
        self.taken: Counter[tuple[int, int]] = Counter()
        self.forks = {id(n): len(n.args) for n in ast.walk(body) if isinstance(n, ast.Call)
                      and isinstance(n.func, ast.Name) and n.func.id in ("cases", "minimum", "maximum")}
        self.forks |= {id(n): 2 for n in ast.walk(body) if isinstance(n, ast.Call)
                       and isinstance(n.func, ast.Name) and n.func.id == "absolute"}

    def __call__(self, values):
        return self.value(self.body, values)

    @property
    def missed(self) -> list[str]:
        return [f"branch {i} of {ast.unparse(n)}" for n in ast.walk(self.body) if id(n) in self.forks
                for i in range(self.forks[id(n)]) if self.taken[id(n), i] < 3]

    def value(self, node, v):
        match node:
            case ast.Constant(value=number):
                return number
            case ast.Name(id="pi"):
                return math.pi
            case ast.Name(id=name):
                return v[name]
            case ast.UnaryOp(operand=operand):
                return -self.value(operand, v)
            case ast.BinOp(left=left, op=op, right=right):
                a, b = self.value(left, v), self.value(right, v)
                match op:
                    case ast.Add():
                        return a + b
                    case ast.Sub():
                        return a - b
                    case ast.Mult():
                        return a * b
                    case ast.Div():
                        return a / b
                    case ast.Pow():
                        return a ** b
            case ast.Compare(left=left, ops=[op], comparators=[right]):
                a, b = self.value(left, v), self.value(right, v)
                return {ast.Lt: lambda: a < b, ast.LtE: lambda: a <= b, ast.Gt: lambda: a > b,
                        ast.GtE: lambda: a >= b}[type(op)]()
            case ast.Call(func=ast.Name(id="cases"), args=args):
                for i, branch in enumerate(args):
                    condition, value = branch.elts
                    if isinstance(condition, ast.Constant) or self.value(condition, v):
                        self.taken[id(node), i] += 1
                        return self.value(value, v)
            case ast.Call(func=ast.Name(id="minimum" | "maximum" as name), args=args):
                first, second = (self.value(a, v) for a in args)
                if isinstance(first, int) and first == 0 and isinstance(second, Quantity):
                    first = Quantity(0.0, second.units)  # nothing is nothing in every unit
                second_wins = second < first if name == "minimum" else second > first
                self.taken[id(node), int(second_wins)] += 1
                return second if second_wins else first
            case ast.Call(func=ast.Name(id=name), args=[argument]):
                x = self.value(argument, v)
                if name == "absolute":
                    self.taken[id(node), int((x.magnitude if isinstance(x, Quantity) else x) > 0)] += 1
                    return abs(x)
                if name == "sqrt":
                    return x ** 0.5
                plain = x.m_as("dimensionless") if isinstance(x, Quantity) else x
                function = {"exp": math.exp, "log10": math.log10, "sin": math.sin, "cos": math.cos,
                            "ceil": math.ceil, "normal_cdf": lambda v: math.erfc(-v / math.sqrt(2)) / 2,
                            "normal_quantile": NormalDist().inv_cdf}[name]
                return function(plain)
        raise AssertionError(ast.unparse(node))


# -- every formula ---------------------------------------------------------------------------------------------------

@each
def test_printed_form_is_what_runs(f):
    """Two readers, one of them sympy, give the function's own numbers on random values, every branch hit."""
    symbols = {n: symbol_tex(n) for n in f.parameters}
    assert len(set(symbols.values())) == len(symbols), "two parameters look the same on the page"
    tex = f.tex()
    assert latex.symbols(tex) == set(symbols.values())
    ours, by_sympy, walker = latex.read(tex), latex.read_sympy(tex), Walker(f.body)
    for row in rows_of(sample(f)):
        want = f.core(**row)
        assert math.isfinite(want)
        page = {symbols[n]: v for n, v in row.items()}
        scale = pytest.approx(want, rel=1e-9, abs=1e-9 * _largest(f, row))
        assert ours(page) == scale
        assert by_sympy(page) == scale
        assert walker(row) == scale
    assert not walker.missed


def _largest(f, row) -> float:
    """The size of the terms of a sum that may cancel: the printed order of multiplication is not the machine's."""
    return max((abs(Walker(n)(row)) for n in ast.walk(f.body) if isinstance(n, ast.BinOp)), default=1.0)


@each
def test_scalar_array_and_batch_are_one(f):
    """Rows one by one through `core`, all at once through `array`, and each row as a batch of its own."""
    values = sample(f)
    with warnings.catch_warnings(), np.errstate(all="raise"):
        warnings.simplefilter("error")
        batch = f.array(**values)
    singles = np.array([f.core(**row) for row in rows_of(values)])
    assert batch.shape == singles.shape
    assert np.isfinite(batch).all()
    scale = max(_largest(f, rows_of(values)[0]), 1e-30)
    np.testing.assert_allclose(batch, singles, rtol=1e-13, atol=1e-13 * scale)
    for i in (0, ROWS // 2, ROWS - 1):
        alone = f.array(**{n: v[i:i + 1] for n, v in values.items()})
        np.testing.assert_allclose(alone, batch[i:i + 1], rtol=1e-13, atol=1e-13 * scale)
    first = next(iter(values))
    mixed = f.array(**{n: v if n == first else v[0] for n, v in values.items()})
    expected = [f.core(**{n: float(v[i] if n == first else v[0]) for n, v in values.items()}) for i in range(ROWS)]
    np.testing.assert_allclose(np.broadcast_to(mixed, ROWS), expected, rtol=1e-13, atol=1e-13 * scale)


@each_homogeneous
def test_dimensions(f):
    """The body on quantities all through gives the declared dimension and the same number."""
    for row in rows_of(sample(f, 12)):
        with_units = {n: Quantity(v, f.units[n] or "dimensionless") for n, v in row.items()}
        out = Walker(f.body)(with_units)
        out = out if isinstance(out, Quantity) else Quantity(out, "dimensionless")
        assert out.m_as(f.unit or "dimensionless") == pytest.approx(f.core(**row), rel=1e-9,
                                                                    abs=1e-9 * _largest(f, row))


@each_homogeneous
def test_us_twin(f):
    """The bare body on US magnitudes gives the US magnitude of the result."""
    for row in rows_of(sample(f, 40)):
        us = {n: float(units.convert(v, f.units[n], US_TWIN[f.units[n]])) for n, v in row.items()}
        back = units.convert(f.core(**us), US_TWIN[f.unit], f.unit)
        assert back == pytest.approx(f.core(**row), rel=1e-9, abs=1e-9 * _largest(f, row))


UNIT_BOUND = [n for n, f in FORMULAS.items() if f.unit_bound]


def test_unit_bound_formulas_are_known():
    """Each of these holds constants with hidden units; a new one needs a test like the next."""
    assert sorted(UNIT_BOUND) == [
        "contents_per_length", "dew_point", "humidity_at_steel", "impact_radius", "laying_time", "leak_factor_by_class",
        "leak_number", "magnus_term", "soil_pressure", "steel_per_length", "temperature_factor",
        "temperature_factor_by_table", "temperature_factor_strength", "unsupported_span"]


def test_unit_bound():
    """Constants in 1/°C: a margin in °F is converted at the door and printed in °C even on a US page."""
    f = FORMULAS["temperature_factor"]
    assert f(Quantity(54.0, "delta_degF")).m == pytest.approx(0.7854)
    assert f.core(54.0) != pytest.approx(f.core(30.0)), "the body itself cannot know"
    margin = Value(54.0, "delta_degF", Origin("case", "x"))
    for system in ("SI", "US"):
        with recording(Recorder(system)) as rec:
            out = f(margin)
        printed = rec.items[0].printed
        assert out.magnitude == pytest.approx(0.7854)
        assert (printed.inputs["x"], printed.input_units["x"], printed.result) == ("30", "delta_degC", "0.7854")
    other = FORMULAS["temperature_margin"]
    with recording(Recorder("US")) as rec:
        other(Value(75.0, "degC", Origin("case", "a")), Value(45.0, "degC", Origin("case", "b")))
    assert rec.items[0].printed.input_units == {"T_m": "degF", "T_d": "degF"}


@each
def test_papers_of_a_formula(f):
    assert f.status in STATUSES
    assert f.clause or f.source in (MECHANICS, PRACTICE), "a document is cited with its clause"
    assert (f.status == "derived") == (f.source is MECHANICS)
    assert (f.status == "common practice") == (f.source is PRACTICE)
    assert f.title and not f.title.endswith(".") and "\n" not in f.title
    assert f.symbol not in f.parameters
    assert f.unit in US_TWIN
    assert set(f.units.values()) <= set(US_TWIN)
    assert f.line > 0 and f.module.startswith("wrapcalc.formulas.")


@each
@pytest.mark.parametrize("system", ["SI", "US"])
def test_any_step_is_punchable(f, system):
    """The printed digits give the printed result; the print itself is chosen on random values."""
    for row in rows_of(sample(f, 15)):
        values = {n: Value(v, f.units[n], Origin("case", n)) for n, v in row.items()}
        with recording(Recorder(system)) as rec:
            out = f(**values)
        step = rec.items[0]
        assert out.magnitude == units.steady(f.core(**row))
        assert punches(f, {n: float(t) for n, t in step.printed.inputs.items()}, step.printed.result)
        shown = float(step.printed.result)
        assert shown == pytest.approx(float(units.convert(out.magnitude, f.unit, step.printed.result_unit)), rel=6e-5)


# -- what the decorator refuses ------------------------------------------------------------------------------------

HEAD = '''
from wrapcalc.expression import cases, maximum, pi, sqrt
from wrapcalc.formula import formula
from wrapcalc.standards.documents import MECHANICS
G = 9.81
'''
GOOD = dict(symbol="y", unit="mm", source="MECHANICS", clause="", status="derived", a="mm", b="mm")


def module_with(path, source: str):
    """Import a module of this source, as a formula file would be."""
    file = path / "some_formulas.py"
    file.write_text(HEAD + source, encoding="utf-8")
    spec = importlib.util.spec_from_file_location("some_formulas", file)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def source_of(body: str, signature: str = "a, b", doc: str = '"""Something."""', name: str = "made_up", **changed):
    declared = {k: v for k, v in (GOOD | changed).items() if v is not None}
    args = ", ".join(f"{k}={v}" if k == "source" else f"{k}={v!r}" for k, v in declared.items())
    return f"@formula({args})\ndef {name}({signature}):\n    {doc}\n    {body}\n"


@pytest.fixture(autouse=True)
def own_registry(monkeypatch):
    """Formulas made up here do not stay in the package's list."""
    monkeypatch.setattr(formula_module, "_REGISTRY", dict(formula_module._REGISTRY))


REFUSED = {
    "two statements": (source_of("c = a + b; return c"), "one return expression; split it"),
    "loop": (source_of("for i in range(3): a += b\n    return a"), "one return expression; split it"),
    "no value": (source_of("return"), "one return expression; split it"),
    "unknown name": (source_of("return a + b + q"), "'q' is not a parameter"),
    "module constant": (source_of("return a + b * G"), "'G' is not a parameter; pass it as an argument"),
    "keyword argument": (source_of("return sqrt(x=a) + b"), "cannot print"),
    "lambda in the body": (source_of("return (lambda x: x)(a) + b"), "cannot print"),
    "lambda as the formula": ("made = formula(symbol='y', unit='mm', source=MECHANICS, clause='', status='derived', "
                              "a='mm')(lambda a: a)\n", "not a lambda"),
    "chained comparison": (source_of("return cases((0 < a < 1, a), (True, b))"), "cannot print '0 < a < 1'"),
    "comparison as a number": (source_of("return a + (a < b)"), "cannot print 'a < b'"),
    "missing otherwise": (source_of("return cases((a < 1, a), (b < 1, b))"), "the condition True"),
    "unused parameter": (source_of("return 2 * a"), "the parameters ['b'] are not used"),
    "undeclared parameter": (source_of("return a + b", b=None), "units are declared for ['a'], parameters are"),
    "declared too much": (source_of("return a + b", c="mm"), "units are declared for"),
    "other order": (source_of("return a + b", signature="b, a"), "units are declared for"),
    "default value": (source_of("return a + b", signature="a, b=1.0"), "['b'] must be plain parameters"),
    "any number of arguments": (source_of("return a + b", signature="a, *b"), "['b'] must be plain parameters"),
    "keyword-only": (source_of("return a + b", signature="a, *, b"), "['b'] must be plain parameters"),
    "duplicate name": (source_of("return a + b", name="hoop_stress"), "already a formula of this name in "
                                                                       "wrapcalc.formulas.pressure"),
    "unknown unit": (source_of("return a + b", unit="furlong"), "'furlong' is not one of the units"),
    "unknown unit of a parameter": (source_of("return a + b", b="cm"), "'cm' is not one of the units"),
    "no docstring": (source_of("return a + b", doc=""), "needs a docstring"),
    "unknown status": (source_of("return a + b", status="certain"), "needs a docstring and one of the statuses"),
    "call of a stranger": (source_of("return round(a) + b"), "cannot print 'round(a)'"),
    "where instead of cases": (source_of("return a if a < b else b"), "cannot print"),
}


@pytest.mark.parametrize(("source", "why"), REFUSED.values(), ids=REFUSED)
def test_refused_at_import(tmp_path, source, why):
    with pytest.raises(FormulaError) as e:
        module_with(tmp_path, source)
    assert why in str(e.value)
    assert "made_up" in str(e.value) or "hoop_stress" in str(e.value) or "<lambda>" in str(e.value)


def test_a_good_one_is_taken(tmp_path):
    made = module_with(tmp_path, source_of("return maximum(a, 0) + sqrt(b ** 2) * pi", doc='"""Title.\n\n    Note one\n'
                                           '    and two.\n    """')).made_up
    assert registry()["made_up"] is made
    assert (made.title, made.notes, made.parameters) == ("Title", "Note one and two.", ["a", "b"])
    assert made.text == "max(a, 0) + sqrt(b ** 2) * pi"
    assert made.core(1.0, -2.0) == pytest.approx(1 + 2 * math.pi)


# -- what a call refuses -------------------------------------------------------------------------------------------

def made(path, body: str, **changed):
    return module_with(path, source_of(body, **changed)).made_up


@pytest.mark.parametrize(("body", "a", "b"), [
    ("return a / b", 1.0, 0.0), ("return a + sqrt(b)", 1.0, -2.0), ("return a + b ** 0.5", 1.0, -2.0),
    ("return a * b ** 999", 1e308, 1e30), ("return a + b - b", 1.0, math.inf), ("return a + b", math.nan, 1.0)])
def test_no_number_is_an_error_that_names_formula_and_inputs(tmp_path, body, a, b):
    f = made(tmp_path, body, a="mm", b="mm")
    for call in (lambda: f(Quantity(a, "mm"), Quantity(b, "mm")),
                 lambda: f(Value(a, "mm", Origin("case", "a")), Value(b, "mm", Origin("case", "b"))),
                 lambda: f(Quantity(np.array([1.0, a]), "mm"), Quantity(np.array([1.0, b]), "mm"))):
        with pytest.raises(CalculationError, match="made_up") as e:
            call()
    with pytest.raises(CalculationError) as e:
        f(Quantity(a, "mm"), Quantity(b, "mm"))
    assert f"a = {a!r} mm" in str(e.value) and f"b = {b!r} mm" in str(e.value)
    assert "Mechanics" in str(e.value)


def test_arrays_of_quantities():
    f = FORMULAS["hoop_stress"]
    out = f(Quantity(np.array([5.0, 10.0]), "MPa"), Quantity(24.0, "inch"), Quantity(9.525, "mm"))
    assert out.m_as("MPa").tolist() == pytest.approx([160.0, 320.0])


def test_a_bare_number_is_refused_unless_pure():
    f = FORMULAS["allowable_stress"]
    assert f(0.72, Quantity(100.0, "MPa")).m == pytest.approx(72)
    with pytest.raises(CalculationError, match=r"allowable_stress: the argument S_y is the bare number 100.0; it "
                                               "needs a unit such as MPa"):
        f(0.72, 100.0)


@pytest.mark.parametrize("arguments", [{"F": 0.7}, {"F": 0.7, "S_y": 1, "x": 2}, {}])
def test_wrong_arguments(arguments):
    with pytest.raises(TypeError, match="allowable_stress takes F, S_y"):
        FORMULAS["allowable_stress"](**arguments)
    with pytest.raises(TypeError, match="allowable_stress takes F, S_y"):
        FORMULAS["allowable_stress"](0.7, F=0.7)


def test_wrong_dimension():
    import pint
    with pytest.raises(pint.DimensionalityError):
        FORMULAS["allowable_stress"](0.72, Quantity(1.0, "mm"))


def test_a_value_without_origin_is_refused():
    smys = Value(359.0, "MPa", Origin("case", "pipe.smys"), "SMYS")
    for stray in (0.72, Quantity(0.72, "dimensionless"), "0.72"):
        with pytest.raises(CalculationError, match=r"allowable_stress: the argument F = .* has no origin"):
            FORMULAS["allowable_stress"](stray, smys)


def values(*pairs):
    return [Value(m, u, Origin("case", f"field {i}")) for i, (m, u) in enumerate(pairs)]


def test_a_struck_value_is_used_for_nothing():
    stress, wall, diameter = values((400.0, "MPa"), (9.5, "mm"), (600.0, "mm"))
    with recording() as rec:
        failure = FORMULAS["failure_pressure"](stress, wall, diameter)
        rec.strike(failure, "depth over wall is above 0.80")
        assert rec.get(failure.origin.ref).struck
        with pytest.raises(CalculationError, match=r"safe_pressure would be derived from A1 .*struck: depth over wall"):
            FORMULAS["safe_pressure"](failure, *values((1.39, "")))
        with pytest.raises(CalculationError, match="struck"):
            rec.procedure("search", "by hand", "Mechanics", "derived", {"P": failure}, {"x": (1.0, "mm")})
        out = rec.procedure("search", "by hand", "Mechanics", "derived", {"t": wall}, {"x": (1.0, "mm")})["x"]
        rec.strike(out, "no convergence")
        with pytest.raises(CalculationError, match="no convergence"):
            FORMULAS["remaining_wall"](wall, out)
        with pytest.raises(CalculationError, match="only a recorded step"):
            rec.strike(wall, "why")
    assert len(rec.items) == 2


def test_steps_name_their_inputs_and_blocks_do_not_mix():
    stress, wall, diameter = values((400.0, "MPa"), (9.5, "mm"), (600.0, "mm"))
    with recording() as outer:
        first = FORMULAS["failure_pressure"](stress, wall, diameter)
        with recording() as inner:
            inside = FORMULAS["remaining_wall"](wall, *values((2.0, "mm")))
        second = FORMULAS["safe_pressure"](first, *values((1.39, "")))
    assert [i.id for i in outer.items] == ["A1", "A2"]
    assert [i.formula.name for i in inner.items] == ["remaining_wall"]
    assert inside.origin == Origin("step", "A1") == first.origin  # of another recorder
    assert outer.items[1].inputs["P_F"].origin.ref == "A1" and second.origin.ref == "A2"
    outside = FORMULAS["failure_pressure"](stress, wall, diameter)
    assert outside.origin.kind == "unrecorded" and len(outer.items) == 2


def test_recording_ends_when_the_block_fails():
    with pytest.raises(ZeroDivisionError), recording() as rec:
        raise ZeroDivisionError
    FORMULAS["remaining_wall"](*values((9.0, "mm"), (2.0, "mm")))
    assert rec.items == []


def test_print_numbers_gives_more_digits_where_terms_cancel():
    f = FORMULAS["remaining_wall"]
    close = dict(zip(("t", "d"), values((9.5281, "mm"), (9.5278312, "mm")), strict=True))
    printed = print_numbers(f, close, f.core(9.5281, 9.5278312), "SI")
    assert printed.sensitive
    assert punches(f, {n: float(t) for n, t in printed.inputs.items()}, printed.result)
    plain = print_numbers(f, dict(zip(("t", "d"), values((9.5, "mm"), (2.0, "mm")), strict=True)), 7.5, "SI")
    assert not plain.sensitive and plain.inputs == {"t": "9.5", "d": "2"}
