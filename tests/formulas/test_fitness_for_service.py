"""Remaining strength factor of a local thin area, by second routes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from wrapcalc.formulas import fitness_for_service as f
from wrapcalc.formulas.remaining_strength import bulging_factor_085dl, length_parameter, relative_depth
from wrapcalc.standards.documents import API_579
from wrapcalc.standards.tables import shipped

LIMIT = shipped()[f"{API_579.id}/length_parameter_limit"].value().magnitude
SHELLS = [(590.55, 9.525), (173.08, 23.01), (154.08, 7.11), (1193.6, 12.7)]

#: Bulging factor of a cylinder by length parameter 0, 0.5, ... 20 as the standard tabulates it (API 579-1, table 5.2,
#: from memory).
TABULATED = [1.001, 1.056, 1.199, 1.394, 1.618, 1.857, 2.103, 2.351, 2.600, 2.847, 3.091, 3.331, 3.568, 3.801, 4.032,
             4.262, 4.492, 4.727, 4.970, 5.225, 5.497, 5.791, 6.112, 6.468, 6.864, 7.307, 7.804, 8.362, 8.989, 9.693,
             10.481, 11.361, 12.340, 13.423, 14.616, 15.921, 17.338, 18.864, 20.494, 22.219, 24.027]


def edge_decay(D_i: float, t: float, nu: float = 0.3) -> float:
    """Rate (1/mm) at which an edge disturbance of a thin cylinder dies away: root of its bending equation.

    E t³/(12 (1 - ν²)) w'''' + E t/R² w = 0 with w = exp(k x), R = D_i/2 as the standard takes it; found numerically.
    """
    roots = np.roots([t ** 3 / (12 * (1 - nu ** 2)), 0, 0, 0, t / (D_i / 2) ** 2])
    return float(np.abs(roots.real).min())


@pytest.mark.guards("shell_length_parameter", kind="independent")
@pytest.mark.parametrize(("D_i", "t_c"), SHELLS)
@pytest.mark.parametrize("s", [20.0, 150.0, 700.0])
def test_length_parameter_from_shell_bending(D_i, t_c, s):
    """The length over √2 decay lengths of the shell; 1.285 is rounded from 1.2854."""
    want = s * edge_decay(D_i, t_c) / math.sqrt(2)
    assert f.shell_length_parameter.core(s, D_i, t_c) == pytest.approx(want, rel=5e-4)


@pytest.mark.guards("least_distance_to_discontinuity", kind="independent")
@pytest.mark.parametrize(("D_i", "t_c"), SHELLS)
def test_distance_to_a_discontinuity_in_decay_lengths(D_i, t_c):
    """1.8 √(D t) is 3.27 decay lengths of any shell: an edge disturbance has fallen to 4 % there."""
    factor = shipped()[f"{API_579.id}/discontinuity_factor"].value().magnitude
    lengths = f.least_distance_to_discontinuity.core(factor, D_i, t_c) * edge_decay(D_i, t_c)
    assert lengths == pytest.approx(1.8 * math.sqrt(2) * (3 * 0.91) ** 0.25, rel=1e-9)
    assert 0.035 < math.exp(-lengths) < 0.04


@pytest.mark.guards("bulging_factor_level_1", kind="published")
def test_bulging_factor_is_the_tabulated_one():
    """41 values (from memory), to their last digit; so no coefficient is misremembered by more than its last digit."""
    for i, listed in enumerate(TABULATED):
        assert f.bulging_factor_level_1.core(i / 2) == pytest.approx(listed, abs=0.0006), i / 2
    assert len(TABULATED) == 2 * LIMIT + 1


def z_of(parameter: float) -> float:
    """L²/(D t) that belongs to a length parameter."""
    return brentq(lambda z: f.shell_length_parameter.core(math.sqrt(z), 1.0, 1.0) - parameter, 0, 1e4)


@pytest.mark.guards("bulging_factor_level_1", kind="independent")
@pytest.mark.parametrize("parameter", np.linspace(0.1, 9, 30))
def test_bulging_factor_against_other_fits_of_the_same_shell_solution(parameter):
    """Up to 9: the three terms of 1989 (z up to 50) within 3 %, and a ratio of polynomials for cracks within 1.2 %.

    The ratio is API 579-1 annex C, axial through-wall crack (from memory).
    """
    ours = f.bulging_factor_level_1.core(parameter)
    assert ours == pytest.approx(bulging_factor_085dl.core(z_of(parameter)), rel=0.03)
    q = parameter ** 2
    ratio = math.sqrt((1.02 + 0.4411 * q + 0.006124 * q ** 2) / (1 + 0.02642 * q + 1.533e-6 * q ** 2))
    assert ours == pytest.approx(ratio, rel=0.012)


@pytest.mark.parametrize("parameter", np.linspace(0.05, 20, 80))
def test_bulging_factor_against_the_older_root(parameter):
    """√(1 + 0.48 λ²) of the edition of 2000 (from memory).

    The newer one is lower up to 14.9, by at most 22 % (near 10), and higher beyond, by 73 % at 20. A higher one gives a
    lower strength.
    """
    older = math.sqrt(1 + 0.48 * parameter ** 2)
    ratio = f.bulging_factor_level_1.core(parameter) / older
    assert 0.78 < ratio < (1.002 if parameter < 14.9 else 1.74)
    if parameter > 15.1:
        assert ratio > 1


def test_bulging_factor_grows_within_its_range_and_runs_away_beyond():
    """That is why the limit is a limit: past it the fit leaves the shell solution altogether."""
    at = np.linspace(0.03, LIMIT, 4000)
    values = f.bulging_factor_level_1.array(at)
    assert (np.diff(values) > 0).all() and values.min() > 1
    assert f.bulging_factor_level_1.core(2 * LIMIT) > 50 * math.sqrt(1 + 0.48 * (2 * LIMIT) ** 2)


@pytest.mark.guards("remaining_strength_factor", kind="independent")
@pytest.mark.parametrize("R_t", [0.2, 0.5, 0.6, 0.95])
@pytest.mark.parametrize("M_t", [1.001, 1.2, 1.911, 5.0, 24.0])
def test_remaining_strength_by_shedding_load(R_t, M_t):
    """What the wall under the loss cannot carry goes round it, and of that 1/M of the stress reached bridges it.

    Strength x of the sound one: x = R_t + (1 - R_t) x / M. Run to rest from the sound wall, no closed form.
    """
    x = 1.0
    for _ in range(200_000):
        last, x = x, R_t + (1 - R_t) * x / M_t
        if abs(last - x) < 1e-14:
            break
    assert f.remaining_strength_factor.core(R_t, M_t) == pytest.approx(x, rel=1e-9)


@pytest.mark.guards("thickness_ratio", kind="independent")
@pytest.mark.parametrize(("wall", "loss", "future"), [(9.5, 3.8, 0.0), (12.7, 6.0, 1.5), (7.11, 4.0, 0.8)])
def test_thickness_ratio_is_what_the_depth_leaves_when_the_allowance_has_gone(wall, loss, future):
    """Corrode the whole pipe, loss and sound wall alike, by the allowance; then compare the walls."""
    sound, least = wall - future, wall - loss - future
    assert f.thickness_ratio.core(wall - loss, future, sound) == pytest.approx(least / sound)
    assert f.thickness_ratio.core(wall - loss, future, sound) == pytest.approx(1 - relative_depth.core(loss, sound))


@pytest.mark.guards("reduced_working_pressure", kind="independent")
@pytest.mark.parametrize("rsf", [0.5, 0.75, 0.899, 0.9, 0.901, 1.0])
def test_reduced_pressure_restores_the_margin(rsf):
    """The greatest pressure up to the MAWP at which the damaged shell keeps at least 0.90 of the sound one's margin."""
    allowed = shipped()[f"{API_579.id}/allowable_rsf"].value().magnitude
    mawp, collapse = 8.0, 8.0 * 2.4

    def margin(P):
        return rsf * collapse / P - allowed * collapse / mawp

    want = mawp if margin(mawp) >= 0 else brentq(margin, 1e-3, mawp)
    assert f.reduced_working_pressure.core(mawp, rsf, allowed) == pytest.approx(want, rel=1e-9)


def strength(s: float, R_t: float, D_i: float = 590.55, t_c: float = 9.525) -> float:
    return f.remaining_strength_factor.core(R_t, f.bulging_factor_level_1.core(
        f.shell_length_parameter.core(s, D_i, t_c)))


@settings(deadline=None, max_examples=100, derandomize=True)
@given(s=st.floats(5, 1000), R_t=st.floats(0.2, 0.95))
def test_longer_or_deeper_loss_is_weaker_and_never_below_the_groove(s, R_t):
    here = strength(s, R_t)
    assert strength(s * 1.05, R_t) < here
    assert strength(s, R_t * 0.98) < here
    assert R_t < here < 1


def test_length_parameter_and_z_are_one():
    assert f.shell_length_parameter.core(152.4, 590.55, 9.525) ** 2 == pytest.approx(
        1.285 ** 2 * length_parameter.core(152.4, 590.55, 9.525))


def test_factor_by_our_earlier_numbers():
    """Regression: our own notes; inside diameter 23.25 in, 6 in long, 40 % deep."""
    assert f.shell_length_parameter.core(152.4, 590.55, 9.525) == pytest.approx(2.6111, abs=5e-5)
    assert f.bulging_factor_level_1.core(2.6111) == pytest.approx(1.9110, abs=5e-5)
    assert strength(152.4, 0.6) == pytest.approx(0.75883, abs=5e-6)


def test_limits_are_in_the_tables():
    """As recalled (from memory): 0.90, 0.20 and so 0.80, 1.3 mm, 2.5 mm, 1.8 and 20."""
    ours = {e.name: (e.value().magnitude, e.status) for e in shipped().values() if e.document == API_579.id}
    assert ours == {"allowable_rsf": (0.9, "from memory"), "least_thickness_ratio": (0.2, "from memory"),
                    "least_wall_piping": (1.3, "from memory"), "least_wall_vessel": (2.5, "from memory"),
                    "discontinuity_factor": (1.8, "from memory"), "length_parameter_limit": (20.0, "from memory"),
                    "depth_limit": (0.8, "from memory")}
