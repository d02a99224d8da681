"""Sound pipe, safety factor and limits by second routes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from tests.helpers.cylinder import Layer, lame, pressurised
from wrapcalc.formulas import pressure as f

PIPES = [(609.6, 9.525), (219.1, 23.01), (168.3, 7.11), (1219.0, 12.7)]


@pytest.mark.guards("hoop_stress", kind="independent")
@pytest.mark.parametrize(("D", "t"), PIPES)
def test_hoop_stress_from_lame(D, t):
    """Lamé's stress averaged over the wall, times outside over inside diameter, is Barlow on the outside diameter.

    It is also above the greatest stress of the thick cylinder, so it is on the safe side at any wall.
    """
    bore, p = D - 2 * t, 10.0
    mean = quad(lambda d: lame(bore, D, p, d), bore, D)[0] / (2 * t)
    barlow = f.hoop_stress.core(p, D, t)
    assert barlow * bore / D == pytest.approx(mean, rel=1e-9)
    assert barlow > lame(bore, D, p, bore)


def test_handbook_values_of_thick_cylinders():
    """The many-layer solver used elsewhere gives Lamé's answer for one layer; both give the handbook ratios.

    For an outside diameter of twice the bore: 5/3 p inside and 2/3 p outside (textbook result, from memory).
    """
    assert lame(1, 2, 1, 1) == pytest.approx(5 / 3)
    assert lame(1, 2, 1, 2) == pytest.approx(2 / 3)
    one = pressurised(100.0, [Layer(50.0, 2e5, 2e5)], 10.0)
    assert one.stress[0] == pytest.approx((50 / 3, 20 / 3))
    split = pressurised(100.0, [Layer(20.0, 2e5, 2e5), Layer(30.0, 2e5, 2e5)], 10.0)
    assert split.stress[0][0] == pytest.approx(50 / 3)
    assert split.stress[1][1] == pytest.approx(20 / 3)


@pytest.mark.guards("code_design_pressure_gas", "code_design_pressure_liquid", "allowable_stress",
                    kind="independent")
@pytest.mark.parametrize(("D", "t"), PIPES)
@pytest.mark.parametrize("F", [0.72, 0.6, 0.5, 0.4])
def test_design_pressure_stresses_the_sound_pipe_to_its_allowance(D, t, F):
    """Raise the pressure until the hoop stress is F E T times SMYS: that is the design pressure."""
    smys, E, T = 359.0, 0.8, 0.967
    at = brentq(lambda p: f.hoop_stress.core(p, D, t) / smys - F * E * T, 0.01, 200)
    assert f.code_design_pressure_gas.core(smys, t, D, F, E, T) == pytest.approx(at, rel=1e-9)
    at = brentq(lambda p: f.hoop_stress.core(p, D, t) / smys - F * E, 0.01, 200)
    assert f.code_design_pressure_liquid.core(smys, t, D, E, F) == pytest.approx(at, rel=1e-9)
    at = brentq(lambda p: f.hoop_stress.core(p, D, t) / smys - F, 0.01, 200)
    assert f.allowable_stress.core(F, smys) == pytest.approx(f.hoop_stress.core(at, D, t), rel=1e-9)


@pytest.mark.guards("safety_factor", kind="independent")
@pytest.mark.parametrize(("F", "governed_by"), [(0.72, "class"), (0.4, "class"), (0.9, "least"), (1.0, "least")])
def test_safety_factor_keeps_both_margins(F, governed_by):
    """The smallest factor for which failure pressure / factor exceeds neither F times it nor 1/1.25 of it."""
    candidates = np.linspace(1, 4, 300_001)
    kept = candidates[(1 / candidates <= F + 1e-12) & (1 / candidates <= 1 / 1.25 + 1e-12)]
    ours = f.safety_factor.core(F, 1.25)
    assert ours == pytest.approx(kept.min(), abs=2e-5)
    assert (ours == 1.25) == (governed_by == "least")


@pytest.mark.guards("safe_pressure", "repair_factor", kind="independent")
@pytest.mark.parametrize(("P_F", "SF", "maop"), [(10.8, 1.389, 6.5), (7.0, 1.25, 6.5)])
def test_safe_pressure_and_repair_factor(P_F, SF, maop):
    """The safe pressure, raised by the factor, fails; the MAOP, divided by the repair factor, is safe."""
    safe = brentq(lambda p: p * SF - P_F, 0, 100)
    assert f.safe_pressure.core(P_F, SF) == pytest.approx(safe, rel=1e-9)
    factor = brentq(lambda x: maop / x - safe, 0.01, 100)
    assert f.repair_factor.core(maop, f.safe_pressure.core(P_F, SF)) == pytest.approx(factor, rel=1e-9)


@pytest.mark.guards("lower_pressure", "interim_pressure_limit", "repair_design_pressure", kind="independent")
def test_lower_and_larger_by_sorting():
    rng = np.random.default_rng(7)
    for a, b in rng.uniform(1, 20, (200, 2)):
        assert f.lower_pressure.core(a, b) == sorted([a, b])[0]
        assert f.repair_design_pressure.core(a, b) == sorted([a, b])[1]
        assert f.interim_pressure_limit.core(0.8, a, b) == sorted([a * 0.8, b])[0]


@pytest.mark.guards("end_thrust", kind="independent")
@pytest.mark.parametrize(("D", "t"), PIPES)
def test_end_thrust_by_rings(D, t):
    """Pressure on a disc of the outside diameter, ring by ring; the true force on the bore is smaller."""
    p = 8.0
    disc = quad(lambda r: p * 2 * math.pi * r, 0, D / 2)[0]
    bore = quad(lambda r: p * 2 * math.pi * r, 0, D / 2 - t)[0]
    assert f.end_thrust.core(D, p) == pytest.approx(disc, rel=1e-9)
    assert f.end_thrust.core(D, p) > bore


@pytest.mark.guards("failure_pressure_ratio", kind="independent")
@pytest.mark.parametrize(("P_F", "maop"), [(10.8, 6.5), (7.0, 6.5), (5.0, 6.5)])
def test_failure_pressure_ratio_is_the_factor_by_which_the_maop_may_be_raised(P_F, maop):
    factor = brentq(lambda x: x * maop - P_F, 0.01, 100)
    assert f.failure_pressure_ratio.core(P_F, maop) == pytest.approx(factor, rel=1e-9)


@pytest.mark.guards("share_of_yield", kind="independent")
@pytest.mark.parametrize(("D", "t"), PIPES)
@pytest.mark.parametrize("share", [0.29, 0.5, 0.72])
def test_share_of_yield_is_the_design_factor_of_a_pipe_that_just_bears_it(D, t, share):
    """The design pressure for a factor stresses the pipe to that share of SMYS."""
    at = f.code_design_pressure_gas.core(359.0, t, D, share, 1.0, 1.0)
    assert f.share_of_yield.core(f.hoop_stress.core(at, D, t), 359.0) == pytest.approx(share, rel=1e-12)
