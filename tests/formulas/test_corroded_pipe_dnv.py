"""The allowable-stress forms on tensile strength by second routes: equilibrium, yielding of the section, inversions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from wrapcalc.formulas import corroded_pipe_dnv as f
from wrapcalc.formulas import remaining_strength
from wrapcalc.standards.tables import shipped

D, T_WALL, S_U = 609.6, 9.525, 455.05


def plain_pipe(t: float) -> float:
    """Pressure that brings the mean hoop stress of a plain pipe to its strength: equilibrium of a half ring cut along
    its mean diameter, the pressure taken there."""
    return brentq(lambda p: p * (D - t) - 2 * t * S_U, 0, 2 * S_U, xtol=1e-14, rtol=1e-14)


def share_left(x: float, Q: float) -> float:
    """What a loss of relative depth x leaves: the parent equation of the corroded-pipe family (Bjørnøy and Marley 2001,
    seen), with a rectangle."""
    lost = quad(lambda s: x, 0, 1)[0]
    return (1 - lost) / (1 - lost / Q)


@pytest.mark.guards("length_correction_factor", "failure_pressure_dnv", kind="independent")
@pytest.mark.parametrize("L", [20.0, 152.4, 300.0, 900.0])
@pytest.mark.parametrize("x", [0.1, 0.4, 0.85])
def test_one_defect_is_the_parent_equation_on_tensile_strength_and_mean_diameter(L, x):
    z = remaining_strength.length_parameter.core(L, D, T_WALL)
    Q = f.length_correction_factor.core(L, D, T_WALL)
    assert Q ** 2 - 1 == pytest.approx(0.31 * z, rel=1e-12)
    assert f.failure_pressure_dnv.core(T_WALL, S_U, D, x * T_WALL, Q) == pytest.approx(
        plain_pipe(T_WALL) * share_left(x, math.sqrt(1 + 0.31 * z)), rel=1e-12)


@pytest.mark.parametrize("x", [0.1, 0.4, 0.85])
def test_short_defects_cost_nothing_and_long_ones_leave_the_wall_below_them(x):
    def of(L):
        return f.failure_pressure_dnv.core(T_WALL, S_U, D, x * T_WALL, f.length_correction_factor.core(L, D, T_WALL))
    pressures = [of(L) for L in (1e-6, 10, 50, 200, 1000, 1e4, 1e12)]
    assert pressures == sorted(pressures, reverse=True)
    assert pressures[0] == pytest.approx(plain_pipe(T_WALL), rel=1e-12)
    assert pressures[-1] == pytest.approx(plain_pipe(T_WALL) * (1 - x), rel=1e-8)


@pytest.mark.guards("safe_pressure_dnv", kind="independent")
def test_safe_pressure_of_the_shipped_modelling_factor():
    """0.9 of 0.72, as per mille: 648 parts of a thousand."""
    factor = shipped()["DNV-RP-F101 (2010)/modelling_factor"].value().magnitude
    assert f.safe_pressure_dnv.core(factor, 0.72, 1000.0) == pytest.approx(9 * 72, rel=1e-12)


# -- compression ------------------------------------------------------------------------------------------------------

@pytest.mark.guards("axial_force_stress_dnv", "bending_stress_dnv", "longitudinal_stress_dnv", kind="independent")
def test_longitudinal_stress_balances_force_and_moment():
    """The stresses, integrated around the mean circle, give back the force and the moment."""
    F_x, M_y, r = -8.0e5, -1.1e8, (D - T_WALL) / 2
    sigma_A = f.axial_force_stress_dnv.core(F_x, D, T_WALL)
    sigma_B = f.bending_stress_dnv.core(M_y, D, T_WALL)

    def stress(phi):
        return f.longitudinal_stress_dnv.core(sigma_A, sigma_B * math.cos(phi))
    assert quad(lambda a: stress(a) * T_WALL * r, 0, 2 * math.pi)[0] == pytest.approx(F_x, rel=1e-9)
    assert quad(lambda a: stress(a) * r * math.cos(a) * T_WALL * r, 0, 2 * math.pi)[0] == pytest.approx(M_y, rel=1e-9)
    assert stress(0) == min(stress(a) for a in np.linspace(0, 2 * math.pi, 37))


def by_yielding(sigma_L: float, x: float, Q: float, A_r: float) -> float:
    """Share of P_f at which the section left fails by the largest difference of stresses.

    At the share p the hoop stress at the defect is p S_u, by the meaning of P_f. The hoop stress of the sound wall is
    p S_u (1-x)/(1-x/Q); closed ends carry half of it along the pipe, on the sound section, and so do the external
    loads sigma_L; both rise by 1/A_r in the section left.
    """
    def excess(p):
        return p * S_U - (sigma_L + p * S_U * share_left(x, Q) / 2) / A_r - S_U
    return brentq(excess, 0, 10, xtol=1e-14, rtol=1e-14)


@pytest.mark.guards("compression_factor", "compression_limit_dnv", "failure_pressure_compression",
                    kind="independent")
@pytest.mark.parametrize("x", [0.1, 0.4, 0.8])
@pytest.mark.parametrize("A_r", [0.9, 1.0])
@pytest.mark.parametrize("L", [30.0, 152.4, 900.0])
def test_compression_factor_is_the_largest_difference_of_stresses(x, A_r, L):
    Q, d = f.length_correction_factor.core(L, D, T_WALL), x * T_WALL
    sigma_1 = f.compression_limit_dnv.core(S_U, d, T_WALL, Q)
    limit = brentq(lambda s: by_yielding(s, x, Q, A_r) - 1, -0.99 * S_U * A_r, 0, xtol=1e-12)
    assert sigma_1 == pytest.approx(limit, rel=1e-9)
    for sigma_L in (-0.8 * S_U * A_r, -250.0, sigma_1):
        H_1 = f.compression_factor.core(sigma_L, S_U, A_r, d, T_WALL, Q)
        assert H_1 == pytest.approx(by_yielding(sigma_L, x, Q, A_r), rel=1e-9)
        P_f = f.failure_pressure_dnv.core(T_WALL, S_U, D, d, Q)
        assert f.failure_pressure_compression.core(P_f, H_1) == pytest.approx(
            plain_pipe(T_WALL) * share_left(x, Q) * by_yielding(sigma_L, x, Q, A_r), rel=1e-9)


@pytest.mark.parametrize("A_r", [0.8, 0.95, 1.0])
def test_compression_factor_falls_from_one_at_the_limit_to_nothing(A_r):
    Q, d = 1.5, 0.4 * T_WALL
    sigma_1 = f.compression_limit_dnv.core(S_U, d, T_WALL, Q)
    factors = [f.compression_factor.core(s, S_U, A_r, d, T_WALL, Q) for s in np.linspace(sigma_1, -S_U * A_r, 9)]
    assert factors[0] == pytest.approx(1, rel=1e-12)
    assert factors == sorted(factors, reverse=True)
    assert factors[-1] == pytest.approx(0, abs=1e-12)


@pytest.mark.guards("circumferential_share", "area_factor", kind="independent")
def test_area_left_by_counting_points_of_the_unrolled_ring():
    c, d = 100.0, 3.81
    around, through = np.meshgrid((np.arange(4000) + 0.5) / 4000 * math.pi * D, (np.arange(500) + 0.5) / 500 * T_WALL)
    left = 1 - ((around < c) & (through < d)).mean()
    assert f.area_factor.core(d, T_WALL, f.circumferential_share.core(c, D)) == pytest.approx(left, abs=2e-4)


# -- neighbours and complex shape -------------------------------------------------------------------------------------

@pytest.mark.guards("interaction_spacing_dnv", "interaction_angle_dnv", "interaction_arc_dnv", kind="independent")
def test_limits_of_interaction_with_the_shipped_factors():
    """24 in x 0.375 in: sqrt(D t) is 3 in, t/D is 1/64. Gap 2 x 3 in; an eighth of a turn; arc pi x 3 in."""
    table = {n: shipped()[f"DNV-RP-F101 (2010)/{n}"].value().magnitude for n in ("spacing_factor", "angle_factor")}
    assert f.interaction_spacing_dnv.core(table["spacing_factor"], D, T_WALL) == pytest.approx(6 * 25.4, rel=1e-12)
    angle = f.interaction_angle_dnv.core(table["angle_factor"], T_WALL, D)
    assert angle == pytest.approx(360 / 8, rel=1e-12)
    assert f.interaction_arc_dnv.core(angle, D) == pytest.approx(math.pi * 3 * 25.4, rel=1e-12)


@pytest.mark.guards("mean_depth_dnv", "patch_depth_dnv", kind="independent")
def test_mean_depths_of_an_integrated_profile():
    x, depth = np.array([0, 40, 100, 180, 250.0]), np.array([0, 3, 1.5, 4, 0])
    fine = np.linspace(0, 250, 500_001)
    whole = np.interp(fine, x, depth)
    for cut, mean in ((9.0, f.mean_depth_dnv), (2.0, f.patch_depth_dnv)):
        area = quad(lambda s, cut=cut: min(np.interp(s, x, depth), cut), 0, 250, limit=500, points=x)[0]
        assert mean.core(area, 250.0) == pytest.approx(np.minimum(whole, cut).mean(), rel=1e-5)


@pytest.mark.guards("effective_wall_dnv", kind="independent")
@pytest.mark.parametrize("pressure", [0.5, 6.0, 14.0])
def test_effective_wall_is_that_of_the_plain_pipe(pressure):
    found = brentq(lambda t: plain_pipe(t) - pressure, 1e-3, T_WALL, xtol=1e-13)
    assert f.effective_wall_dnv.core(pressure, D, S_U) == pytest.approx(found, rel=1e-9)


@pytest.mark.parametrize("x", [0.05, 0.3, 0.8])
@pytest.mark.parametrize("L", [1e-3, 60.0, 1000.0, 1e6])
def test_effective_wall_lies_between_the_wall_below_the_patch_and_the_wall(x, L):
    Q = f.length_correction_factor.core(L, D, T_WALL)
    wall = f.effective_wall_dnv.core(f.failure_pressure_dnv.core(T_WALL, S_U, D, x * T_WALL, Q), D, S_U)
    assert T_WALL * (1 - x) <= wall <= T_WALL * (1 + 1e-12)


@pytest.mark.guards("effective_depth_dnv", "length_correction_effective", "failure_pressure_effective",
                    kind="independent")
@pytest.mark.parametrize("d_i", [3.0, 5.0, 7.5])
def test_a_pit_in_the_effective_wall_is_one_defect_in_a_thinner_pipe(d_i):
    t_e, L_g = 7.6, 130.0
    d_e = f.effective_depth_dnv.core(d_i, T_WALL, t_e)
    assert t_e - d_e == pytest.approx(T_WALL - d_i, rel=1e-12), "the wall left below the pit"
    Q = math.sqrt(1 + 0.31 * remaining_strength.length_parameter.core(L_g, D, t_e))
    assert f.length_correction_effective.core(L_g, D, t_e) == pytest.approx(Q, rel=1e-12)
    assert f.failure_pressure_effective.core(t_e, S_U, D, d_e, Q) == pytest.approx(
        plain_pipe(t_e) * share_left(1 - (T_WALL - d_i) / t_e, Q), rel=1e-12)


def test_the_depth_limit_is_that_of_the_recalled_document():
    """0.85 of the wall, from memory."""
    assert shipped()["DNV-RP-F101 (2010)/depth_limit"].value().magnitude == 0.85
