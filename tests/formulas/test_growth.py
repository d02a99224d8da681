"""Growth by second routes: lines fitted, rates integrated, equations solved, tables interpolated."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from wrapcalc.formulas import growth as f
from wrapcalc.formulas import remaining_strength as strength

MIL, INCH, PSI = 0.0254, 25.4, 6.894757293168361e-3
PITS = [(3.4, 2.3, 7.95), (5.1, 0.0, 12.0), (1.2, 1.15, 3.0)]


@pytest.mark.guards("growth_rate_two_measurements", kind="independent")
@pytest.mark.parametrize(("now", "before", "years"), PITS)
def test_rate_is_the_slope_of_the_line_through_both_readings(now, before, years):
    slope = np.polyfit([2001.5, 2001.5 + years], [before, now], 1)[0]
    assert f.growth_rate_two_measurements.core(now, before, years) == pytest.approx(slope, rel=1e-9)


@pytest.mark.guards("growth_rate_full_life", "growth_rate_half_life", kind="independent")
@pytest.mark.parametrize(("d", "age"), [(3.4, 40.0), (0.8, 6.5)])
def test_rate_over_life_makes_the_depth_in_the_years_it_had(d, age):
    """Corrosion at the rate from the first day, or from the middle of the life, ends at the depth found."""
    for rule, begins in ((f.growth_rate_full_life, 0.0), (f.growth_rate_half_life, age / 2)):
        found = brentq(lambda r, begins=begins: quad(lambda t: r if t >= begins else 0.0, 0, age, points=[age / 2])[0]
                       - d, 0, 10, xtol=1e-14)
        assert rule.core(d, age) == pytest.approx(found, rel=1e-9)


@pytest.mark.guards("depth_after", "time_to_depth", "limiting_depth", kind="independent")
@pytest.mark.parametrize(("d", "t", "share", "rate"), [(3.4, 9.38, 0.8, 0.138), (1.0, 6.35, 0.8, 0.4),
                                                      (7.5, 9.38, 0.8, 1.0)])
def test_a_pit_grows_to_its_limit(d, t, share, rate):
    """Year by year until the depth over wall reaches its limit: the depth then, and the years taken."""
    limit = brentq(lambda x: strength.relative_depth.core(x, t) - share, 0, t, xtol=1e-14)
    assert f.limiting_depth.core(share, t) == pytest.approx(limit, rel=1e-12)
    years = brentq(lambda T: d + quad(lambda _: rate, 0, T)[0] - limit, 0, 500, xtol=1e-13)
    assert f.time_to_depth.core(limit, d, rate) == pytest.approx(years, rel=1e-9, abs=1e-12)
    steps = np.full(1000, rate * years / 1000)
    assert f.depth_after.core(d, rate, years) == pytest.approx(d + steps.sum(), rel=1e-9)
    assert f.depth_after.core(d, rate, 0.0) == d


@pytest.mark.guards("remaining_life", "shorter_time", "reinspection_interval", kind="independent")
def test_the_shorter_time_by_sorting():
    rng = np.random.default_rng(11)
    for a, b in rng.uniform(0, 30, (200, 2)):
        assert f.remaining_life.core(a, b) == f.shorter_time.core(a, b) == sorted([a, b])[0]
        # the latest look that leaves as much time after it as before it, and is not later than the rule
        halves = [T for T in (b, a - a / 2) if T <= b and T <= a - T + 1e-12]
        assert f.reinspection_interval.core(a, b) == pytest.approx(max(halves), rel=1e-12)
    assert f.reinspection_interval.core(0.0, 10.0) == 0.0


@pytest.mark.guards("pressure_at_end_of_life", kind="independent")
def test_pressure_at_the_end_of_life_over_maop_is_the_ratio():
    found = brentq(lambda p: p / 6.9 - 1.1, 0, 100)
    assert f.pressure_at_end_of_life.core(1.1, 6.9) == pytest.approx(found, rel=1e-12)


#: Corners of figure 4 of ASME B31.8S as we take it (from memory): ratio and years by share of SMYS.
FIGURE = {"high": (1.39, 10.0), "medium": (2.0, 15.0), "low": (3.3, 20.0)}


@pytest.mark.guards("response_time", kind="independent")
@pytest.mark.parametrize("level", FIGURE)
def test_response_time_is_interpolated_between_the_corners(level):
    """numpy's interpolation in a table of two rows, held flat outside it."""
    k_1, T_1 = FIGURE[level]
    ratios = np.concatenate([np.linspace(0.2, 5, 400), [1.1, k_1]])
    ours = f.response_time.array(FPR=ratios, k_0=1.1, k_1=k_1, T_1=T_1)
    np.testing.assert_allclose(ours, np.interp(ratios, [1.1, k_1], [0.0, T_1]), rtol=1e-12, atol=1e-12)
    assert f.response_time.core(1.1, 1.1, k_1, T_1) == 0 and f.response_time.core(k_1, 1.1, k_1, T_1) == T_1


def test_the_schedule_goes_with_the_steps_of_the_interval_table():
    """Interval table of ASME B31.8S for in-line inspection (from memory): a ratio above each step allows so many years.

    The straight line gives at each step from a tenth less to a twentieth more.
    """
    table = {"high": [(1.25, 5), (1.39, 10)], "medium": [(1.39, 5), (1.65, 10), (2.0, 15)],
             "low": [(1.65, 5), (2.2, 10), (2.75, 15), (3.3, 20)]}
    for level, rows in table.items():
        k_1, T_1 = FIGURE[level]
        for ratio, years in rows:
            at = f.response_time.core(ratio, 1.1, k_1, T_1)
            assert 0.9 * years <= at <= 1.05 * years


def test_regression_of_rates_and_times():
    """Our own earlier numbers (regression): 24 in x 0.250 in, 0.0875 in deep, 40 years, 10 mil a year."""
    d, t = 0.0875 * INCH, 0.25 * INCH
    assert f.growth_rate_full_life.core(d, 40) / MIL == pytest.approx(2.1875, rel=1e-6)
    assert f.growth_rate_half_life.core(d, 40) / MIL == pytest.approx(4.3750, rel=1e-6)
    assert f.time_to_depth.core(f.limiting_depth.core(0.8, t), d, 10 * MIL) == pytest.approx(11.25, rel=1e-9)
    assert f.reinspection_interval.core(6.4948, 10) == pytest.approx(3.2474, rel=1e-6)
    assert f.response_time.core(1.3812, 1.1, 1.39, 10) == pytest.approx(9.6978, rel=2e-4)  # ratio printed to 5 digits
