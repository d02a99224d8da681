"""Remaining strength by second routes: the parent equation with integrated areas, and identities of the forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from wrapcalc.formulas import pressure, takeoff
from wrapcalc.formulas import remaining_strength as f
from wrapcalc.standards.tables import shipped

D, T_WALL = 609.6, 9.525


def parent(flow: float, area_ratio: float, bulging: float) -> float:
    """The parent equation of the whole family, as quoted by Bjørnøy and Marley 2001 (seen), on the area lost."""
    return flow * (1 - area_ratio) / (1 - area_ratio / bulging)


def area_ratio(depth_over_length, length: float, t: float) -> float:
    """Area of a depth profile over L t, integrated."""
    return quad(depth_over_length, 0, length, limit=200)[0] / (length * t)


@pytest.mark.guards("length_parameter", "bulging_factor_085dl", kind="published")
@pytest.mark.parametrize("L", [20.0, 152.4, 300.0, 538.0, 539.0, 900.0])
def test_two_written_forms_of_the_bulging_factor(L):
    """Y. Bai, Pipelines and Risers, 2001, eq. 14.27 in half the length against 14.41 in z (seen).

    2.51/4 = 0.6275 and 0.054/16 = 0.003375; the linear branch is 14.42.
    """
    half, root = L / 2, D * T_WALL
    z = f.length_parameter.core(L, D, T_WALL)
    m = f.bulging_factor_085dl.core(z)
    if L ** 2 / root <= 50:
        assert m ** 2 == pytest.approx(1 + 2.51 * half ** 2 / root - 0.054 * half ** 4 / root ** 2, rel=1e-12)
    else:
        assert m == pytest.approx(0.032 * (2 * half) ** 2 / root + 3.3, rel=1e-12)


def test_bulging_factor_joins():
    """4.8926 against 4.9000 at z = 50, a step of 0.15 % that the method has."""
    below, above = f.bulging_factor_085dl.core(50.0), f.bulging_factor_085dl.core(math.nextafter(50, 51))
    assert below == pytest.approx(4.8926, abs=5e-5)
    assert above == pytest.approx(4.9, abs=5e-5)


@pytest.mark.guards("length_factor_1991", "safe_pressure_1991_uncapped", kind="published")
@pytest.mark.parametrize("x", [0.18, 0.2, 0.3, 0.4, 0.55, 0.7, 0.8])
def test_allowable_length_is_where_the_safe_pressure_is_the_reference_pressure(x):
    """Y. Bai, Pipelines and Risers, 2001, eqs 14.5 and 14.6 (seen): L = 1.12 B sqrt(D t), B from d/t with B <= 4.

    At that length the 1991 form gives back the reference pressure. B meets it exactly; 1.12 stands for 1/0.893,
    which is 0.016 % less, so the length meets it within that.
    """
    B = math.sqrt((x / (1.1 * x - 0.15)) ** 2 - 1)
    assert B < 4
    P, d = 7.0, x * T_WALL
    assert f.safe_pressure_1991_uncapped.core(P, d, T_WALL, B) == pytest.approx(P, rel=1e-12)
    A = f.length_factor_1991.core(1.12 * B * math.sqrt(D * T_WALL), D, T_WALL)
    assert A == pytest.approx(B, rel=2e-4)
    assert f.safe_pressure_1991_uncapped.core(P, d, T_WALL, A) == pytest.approx(P, rel=2e-4)


@pytest.mark.guards("safe_pressure_1991_uncapped", "length_factor_1991", "length_parameter", kind="independent")
@pytest.mark.parametrize("L", [60.0, 150.0, 300.0, 800.0])
@pytest.mark.parametrize("x", [0.15, 0.4, 0.75])
def test_1991_form_from_the_parent_equation(L, x):
    """Flow stress 1.1 S, a parabola or a box as drawn, M = sqrt(1 + 0.79745 z): the 1991 form, as a pressure."""
    d, P = x * T_WALL, 7.0
    A = f.length_factor_1991.core(L, D, T_WALL)
    z = f.length_parameter.core(L, D, T_WALL)
    assert A ** 2 == pytest.approx(0.893 ** 2 * z, rel=1e-12)
    if A <= 4:
        lost = area_ratio(lambda s: 4 * d * s * (L - s) / L ** 2, L, T_WALL)
        want = parent(1.1 * P, lost, math.sqrt(1 + 0.797449 * z))
    else:
        want = parent(1.1 * P, area_ratio(lambda s: d, L, T_WALL), math.inf)
    assert f.safe_pressure_1991_uncapped.core(P, d, T_WALL, A) == pytest.approx(want, rel=1e-9)


def test_example_6_is_rejected_by_depth():
    """ASME B31G-1991, appendix, example 6 (from memory): 0.41 in of 0.500 in is outside the method."""
    limit = shipped()["ASME B31G-1991/depth_limit"].value().magnitude
    assert f.relative_depth.core(0.41 * 25.4, 0.5 * 25.4) > limit
    assert f.relative_depth.core(0.40 * 25.4 - 1e-9, 0.5 * 25.4) <= limit


@pytest.mark.guards("reference_pressure_1991", "safe_pressure_1991", kind="independent")
def test_reference_and_cap_by_sorting():
    rng = np.random.default_rng(3)
    for maop, p_unc in rng.uniform(4, 12, (100, 2)):
        design = pressure.code_design_pressure_gas.core(359.0, T_WALL, D, 0.72, 1, 1)
        assert f.reference_pressure_1991.core(maop, 359.0, T_WALL, D, 0.72, 1) == pytest.approx(
            sorted([maop, design])[1], rel=1e-12)
        assert f.safe_pressure_1991.core(p_unc, maop) == sorted([p_unc, maop])[0]


@pytest.mark.guards("failure_stress_original", "flow_stress_factor", "failure_pressure", kind="independent")
@pytest.mark.parametrize("z", [0.5, 4.0, 19.9, 20.1, 100.0])
@pytest.mark.parametrize("x", [0.15, 0.4, 0.75])
def test_original_2012_form_from_the_parent_equation(z, x):
    """Parabola up to z = 20, box beyond, both integrated; and the pressure that stresses the pipe to it."""
    L, d, smys = math.sqrt(z * D * T_WALL), x * T_WALL, 359.0
    flow = sum([smys, smys / 10])
    if z <= 20:
        want = parent(flow, area_ratio(lambda s: 4 * d * s * (L - s) / L ** 2, L, T_WALL), math.sqrt(1 + 0.8 * z))
    else:
        want = parent(flow, area_ratio(lambda s: d, L, T_WALL), math.inf)
    stress = f.failure_stress_original.core(f.length_parameter.core(L, D, T_WALL),
                                            f.flow_stress_factor.core(1.1, smys), d, T_WALL)
    assert stress == pytest.approx(want, rel=1e-9)
    assert pressure.hoop_stress.core(f.failure_pressure.core(stress, T_WALL, D), D, T_WALL) == pytest.approx(
        want, rel=1e-9)


@pytest.mark.guards("failure_stress_original", "safe_pressure_1991_uncapped", kind="independent")
@pytest.mark.parametrize("A", [0.5, 1.786, 3.9])
def test_the_two_original_forms_are_one(A):
    """With 0.8 z = A² the 2012 form on the yield pressure is the 1991 form: written twice, one equation."""
    d, smys = 0.4 * T_WALL, 359.0
    yield_pressure = 2 * smys * T_WALL / D
    of_2012 = f.failure_pressure.core(f.failure_stress_original.core(A ** 2 / 0.8, 1.1 * smys, d, T_WALL), T_WALL, D)
    assert of_2012 == pytest.approx(f.safe_pressure_1991_uncapped.core(yield_pressure, d, T_WALL, A), rel=1e-12)


@pytest.mark.guards("failure_stress_085dl", "flow_stress_increment", kind="independent")
@pytest.mark.parametrize("x", [0.15, 0.4, 0.75])
@pytest.mark.parametrize("M", [1.2, 1.859, 6.5])
def test_085dl_form_from_the_parent_equation(x, M):
    """85 % of the box, integrated as a box over 85 % of the length."""
    L, d, smys = 200.0, x * T_WALL, 359.0
    lost = area_ratio(lambda s: d, 0.85 * L, T_WALL) * 0.85
    want = parent(sum([smys, 69.0]), lost, M)
    assert f.failure_stress_085dl.core(f.flow_stress_increment.core(smys, 69.0), d, T_WALL, M) == pytest.approx(
        want, rel=1e-9)


@pytest.mark.guards("wall_for_assessment", "wall_as_chosen", "depth_for_assessment", "length_for_assessment",
                    kind="independent")
def test_sizes_are_the_worst_within_the_allowance():
    """Try every reading inside the allowance: the wall is the least, depth and length the greatest."""
    within = np.linspace(-1, 1, 201)
    for nominal, measured in ((9.53, 9.4), (9.53, 9.61)):
        assert f.wall_for_assessment.core(nominal, measured, 0.1) == pytest.approx(
            min((w + 0.1 * within).min() for w in (nominal, measured)))
    assert f.wall_as_chosen.core(9.61, 0.1) == pytest.approx((9.61 + 0.1 * within).min())
    assert f.depth_for_assessment.core(4.1, 0.3) == pytest.approx((4.1 + 0.3 * within).max())
    assert f.length_for_assessment.core(236.0, 10.0) == pytest.approx((236.0 + 10 * within).max())


@pytest.mark.guards("relative_depth", "filler_box", kind="independent")
def test_depth_over_wall_as_volumes():
    """A box dug out of a plate of the wall's thickness leaves the share 1 - d/t of its volume."""
    L, w, d, t = 230.0, 150.0, 3.9, 8.74
    dug = takeoff.filler_box.core(L, w, d)
    depths = np.linspace(0, t, 100_001)
    assert (depths < d).mean() == pytest.approx(f.relative_depth.core(d, t), abs=2e-5)
    assert dug / (L * w * t) == pytest.approx(f.relative_depth.core(d, t), rel=1e-12)


@pytest.mark.guards("least_wall_in_loss", kind="independent")
def test_least_wall_under_a_measured_bottom():
    """Steel above and below a bottom of many readings: the least of what is left."""
    t, depth = 8.74, np.random.default_rng(5).uniform(0, 3.9, 500)
    left = [t - brentq(lambda y, d=d: y - d, 0, t) for d in depth]
    assert f.least_wall_in_loss.core(t, depth.max()) == pytest.approx(min(left), rel=1e-12)
