"""The closed formulas at a sub-length, by integration and by what they must become at their ends."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from wrapcalc.formulas import effective_area as f
from wrapcalc.formulas import remaining_strength as strength

PROFILES = [
    ([0, 30, 75, 80, 140], [0, 2.1, 4.4, 1.0, 0]),
    ([0, 10, 90, 100], [1.5, 6.0, 6.0, 3.0]),
]


@pytest.mark.guards("mean_depth_effective", kind="independent")
@pytest.mark.parametrize(("x", "depth"), PROFILES)
def test_mean_depth_is_the_mean_of_the_depths_read_off_everywhere(x, depth):
    everywhere = np.interp(np.linspace(0, x[-1], 200_001), x, depth)
    area = quad(lambda s: np.interp(s, x, depth), 0, x[-1], points=x, limit=200)[0]
    assert f.mean_depth_effective.core(area, float(x[-1])) == pytest.approx(everywhere.mean(), rel=1e-4)


@pytest.mark.guards("failure_stress_effective_area", kind="independent")
@pytest.mark.parametrize(("x", "depth"), PROFILES)
@pytest.mark.parametrize("M", [1.2, 1.859, 6.5])
def test_failure_stress_from_the_parent_equation_on_the_steel_that_is_left(x, depth, M):
    """Parent equation S_flow (1 - A/A0)/(1 - (A/A0)/M), quoted by Bjørnøy and Marley 2001 (seen); areas integrated.

    The steel left and the steel of the sound wall are integrated, the loss is never formed.
    """
    t, flow, length = 9.525, 428.0, float(x[-1])
    left = quad(lambda s: t - np.interp(s, x, depth), 0, length, points=x, limit=200)[0] / (t * length)
    want = flow * left / (1 - (1 - left) / M)
    area = quad(lambda s: np.interp(s, x, depth), 0, length, points=x, limit=200)[0]
    assert f.failure_stress_effective_area.core(flow, area, length, t, M) == pytest.approx(want, rel=1e-9)


@pytest.mark.parametrize("M", [1.2, 4.0])
def test_with_085_d_L_as_the_area_it_is_the_085dl_form(M):
    t, d, L, flow = 9.525, 4.0, 210.0, 428.0
    assert f.failure_stress_effective_area.core(flow, 0.85 * d * L, L, t, M) == pytest.approx(
        strength.failure_stress_085dl.core(flow, d, t, M), rel=1e-12)


def test_ends_of_the_form():
    """No loss: the flow stress. Short (M = 1): the flow stress. Long (M without end): the steel that is left."""
    assert f.failure_stress_effective_area.core(428.0, 0.0, 200.0, 9.5, 3.0) == 428.0
    assert f.failure_stress_effective_area.core(428.0, 700.0, 200.0, 9.5, 1.0) == pytest.approx(428.0, rel=1e-15)
    assert f.failure_stress_effective_area.core(428.0, 950.0, 200.0, 9.5, 1e15) == pytest.approx(214.0, rel=1e-12)
