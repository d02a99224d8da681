"""Sizing error by second routes: scipy's normal distribution, roots, convolution and simulated readings."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import norm

from wrapcalc.formulas import growth
from wrapcalc.formulas import uncertainty as f

#: Readings simulated; the deviation of a sample deviation is 1/sqrt(2 n) of it.
N = 400_000


def sampled(true: float):
    """Within five standard errors of a deviation of N samples: one run in two million fails by chance."""
    return pytest.approx(true, rel=5 / math.sqrt(2 * N))


@pytest.mark.guards("deviation_from_tolerance", kind="independent")
@pytest.mark.parametrize("confidence", [0.5, 0.8, 0.9, 0.95, 0.999])
@pytest.mark.parametrize("tolerance", [0.5, 12.0])
def test_the_tolerance_holds_its_share_of_readings(tolerance, confidence):
    sigma = f.deviation_from_tolerance.core(tolerance, confidence)
    assert norm.interval(confidence, scale=sigma) == pytest.approx((-tolerance, tolerance), rel=1e-9)
    root = brentq(lambda s: norm.cdf(tolerance / s) - norm.cdf(-tolerance / s) - confidence, 1e-3, 1e3, xtol=1e-14)
    assert sigma == pytest.approx(root, rel=1e-9)
    readings = np.random.default_rng(3).normal(0, sigma, N)
    share = np.mean(np.abs(readings) <= tolerance)
    assert share == pytest.approx(confidence, abs=5 * math.sqrt(confidence * (1 - confidence) / N))


@pytest.mark.guards("tolerance_of_difference", kind="independent")
@pytest.mark.parametrize("confidence", [0.5, 0.8, 0.95])
def test_the_difference_of_two_readings_holds_the_same_share(confidence):
    """The second reading is integrated over: no rule for the sum of variances is used."""
    sigma = f.deviation_from_tolerance.core(0.5, confidence)
    wide = f.tolerance_of_difference.core(0.5)
    near = norm(scale=sigma)
    share = quad(lambda x: near.pdf(x) * (near.cdf(x + wide) - near.cdf(x - wide)), -9 * sigma, 9 * sigma)[0]
    assert share == pytest.approx(confidence, abs=1e-9)


def depth_by_two(d_2, d_1, T, T_12):
    rate = growth.growth_rate_two_measurements.array(d_2=d_2, d_1=d_1, T_12=T_12)
    return growth.depth_after.array(d=d_2, r=rate, T=T)


@pytest.mark.guards("deviation_two_measurements", kind="independent")
@pytest.mark.parametrize(("T", "T_12"), [(0.0, 8.0), (5.0, 8.0), (30.0, 8.0), (12.0, 2.0)])
def test_two_readings_simulated(T, T_12):
    """Both readings drawn with their own error; rate and depth worked from the same later reading.

    Taking the depth and the rate as independent would give less: the later reading stands in both.
    """
    sigma = 0.39
    rng = np.random.default_rng(17)
    d_2, d_1 = rng.normal(3.4, sigma, N), rng.normal(2.3, sigma, N)
    ours = f.deviation_two_measurements.core(sigma, T, T_12)
    assert np.std(depth_by_two(d_2, d_1, T, T_12)) == sampled(ours)
    apart = math.hypot(sigma, T * sigma * math.sqrt(2) / T_12)
    assert ours > apart * (1 + 1e-9) if T else ours == pytest.approx(apart) == sigma


@pytest.mark.guards("deviation_two_measurements", "deviation_over_life", kind="independent")
@pytest.mark.parametrize("T", [0.0, 5.0, 30.0])
def test_deviations_by_the_slopes_of_the_depth(T):
    """Slopes by finite differences of the package's own depth, then slope times covariance times slope."""
    h, cov = 1e-3, 0.39 ** 2 * np.eye(2)
    slopes = np.array([(depth_by_two(3.4 + h, 2.3, T, 7.95) - depth_by_two(3.4 - h, 2.3, T, 7.95)) / (2 * h),
                       (depth_by_two(3.4, 2.3 + h, T, 7.95) - depth_by_two(3.4, 2.3 - h, T, 7.95)) / (2 * h)])
    assert f.deviation_two_measurements.core(0.39, T, 7.95) == pytest.approx(math.sqrt(slopes @ cov @ slopes), rel=1e-9)
    for n, rule in ((1.0, growth.growth_rate_full_life), (2.0, growth.growth_rate_half_life)):
        def at(d, rule=rule):
            return growth.depth_after.core(d, rule.core(d, 38.0), T)
        slope = (at(3.4 + h) - at(3.4 - h)) / (2 * h)
        assert f.deviation_over_life.core(0.39, T, n, 38.0) == pytest.approx(0.39 * slope, rel=1e-9)


@pytest.mark.guards("exceedance_of_depth", kind="independent")
@pytest.mark.parametrize("d", [0.5, 3.0, 5.0, 6.7, 7.504, 9.0])
@pytest.mark.parametrize("sigma", [0.2, 0.39, 1.5])
def test_exceedance_is_the_upper_tail(d, sigma):
    ours = f.exceedance_of_depth.core(d, 7.504, sigma)
    # Each tail with its own relative accuracy; an angle z rounded to 1e-16 moves the tail by z² of that.
    assert ours == pytest.approx(norm.sf(7.504, loc=d, scale=sigma), rel=1e-11, abs=1e-300)
    assert ours + f.exceedance_of_depth.core(7.504, d, sigma) == pytest.approx(1.0, abs=1e-15)


def test_exceedance_far_in_the_tail_is_a_number():
    assert f.exceedance_of_depth.core(1.0, 8.0, 0.1) == 0.0 and f.exceedance_of_depth.core(9.0, 1.0, 0.1) == 1.0


def test_regression_of_deviations_and_probabilities():
    """Our own earlier numbers (regression): 10 % of the wall at 80 % of readings, limit 80 %."""
    sigma = f.deviation_from_tolerance.core(10, 0.8)
    assert sigma == pytest.approx(7.8030, rel=1e-5)
    assert f.deviation_from_tolerance.core(10, 0.9) == pytest.approx(6.0796, rel=1e-5)
    assert f.deviation_from_tolerance.core(15, 0.8) == pytest.approx(11.705, rel=5e-5)
    for depth, chance in ((50, 6.0361e-5), (60, 5.1871e-3), (65, 0.027282), (70, 0.1), (75, 0.26083)):
        assert f.exceedance_of_depth.core(depth, 80, sigma) == pytest.approx(chance, rel=3e-5)
    # the rate from two such readings, five years apart: what the depth gains in deviation per year, far ahead
    assert f.deviation_two_measurements.core(sigma, 1e6, 5) / 1e6 == pytest.approx(2.2070, rel=3e-5)
