"""Quantiles without scipy, and the toughness of a bond from tests over holes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from wrapcalc.errors import CalculationError
from wrapcalc.formulas import wrap_through_wall as leak
from wrapcalc.searches.student import normal_quantile, student_cdf, student_quantile
from wrapcalc.searches.toughness import toughness_of_tests

SHARES = (0.005, 0.05, 0.3, 0.5, 0.9, 0.975, 0.9999)


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 5, 7, 8, 13, 30, 101])
@pytest.mark.parametrize("share", SHARES)
def test_student_against_scipy(share, freedom):
    """independent: scipy.stats.t."""
    t = student_quantile(share, freedom)
    assert t == pytest.approx(stats.t.ppf(share, freedom), rel=1e-9, abs=1e-12)
    assert student_cdf(t, freedom) == pytest.approx(share, rel=1e-9)


def test_student_against_the_printed_table():
    """published: Student's t, two-sided 95 %, in any table of statistics (7 to 16 degrees of freedom)."""
    table = [2.365, 2.306, 2.262, 2.228, 2.201, 2.179, 2.160, 2.145, 2.131, 2.120]
    assert [round(student_quantile(0.975, n), 3) for n in range(7, 17)] == table


@pytest.mark.parametrize("share", SHARES)
def test_normal_against_scipy(share):
    """independent: scipy.stats.norm."""
    assert normal_quantile(share) == pytest.approx(stats.norm.ppf(share), rel=1e-12, abs=1e-14)


@pytest.mark.parametrize("share", [0.0, 1.0, -1.0, 2.0, math.nan])
def test_what_is_no_share_is_refused(share):
    with pytest.raises(CalculationError):
        normal_quantile(share)
    with pytest.raises(CalculationError):
        student_quantile(share, 5)


HOLES = [10, 10, 10, 15, 15, 15, 25, 25, 25]
PRESSURES = [9.6, 10.4, 9.9, 7.1, 7.7, 7.3, 4.30, 4.05, 4.52]


def roots(holes, thickness=8.0):
    """Pressure for a toughness of 1 N/mm, laminate of 24 and 14 GPa."""
    modulus = leak.geometric_modulus.core(E_a=14_000.0, E_c=24_000.0)
    return [leak.leak_pressure_hole.core(K=1.0, gamma=1.0, nu=0.2, E_ac=modulus, d_h=float(d), t_c=thickness, G=2500.0)
            for d in holes]


def test_the_fit_against_scipy():
    """independent: scipy least squares through the origin and scipy's t; invented tests."""
    a, p = np.array(roots(HOLES)), np.array(PRESSURES)
    found = toughness_of_tests(a, p)
    root = np.linalg.lstsq(a[:, None], p, rcond=None)[0][0]
    deviation = math.sqrt(((p - root * a) ** 2).sum() / 7)
    assert found.mean == pytest.approx(root ** 2, rel=1e-12)
    assert found.deviation == pytest.approx(deviation, rel=1e-12)
    lower = (root - stats.t.ppf(0.975, 7) * deviation / math.sqrt((a * a).sum())) ** 2
    assert found.lower == pytest.approx(lower, rel=1e-10) and found.lower < found.mean
    # regression: our own earlier figures in J/m2, MPa
    assert (round(found.mean * 1e3, 3), round(found.deviation, 5), round(found.student, 4), round(found.lower * 1e3, 3)
            ) == (41.258, 0.34782, 2.3646, 38.324)


def test_tests_without_scatter_give_the_toughness_itself():
    made = [math.sqrt(0.08) * a for a in roots(HOLES)]
    found = toughness_of_tests(roots(HOLES), made)
    assert found.mean == pytest.approx(0.08, rel=1e-12) and found.lower == pytest.approx(0.08, rel=1e-6)


@pytest.mark.parametrize(("a", "p"), [([1.0, 2.0], [1.0, 2.0]), ([1.0, 2.0, 3.0], [1.0, 2.0]),
                                      ([1.0, 2.0, 3.0], [1.0, -2.0, 3.0]), ([1.0, 0.0, 3.0], [1.0, 2.0, 3.0]),
                                      ([1.0, 2.0, 3.0], [1.0, math.nan, 3.0]), ([1.0, 1.1, 1.2], [0.1, 9.0, 0.2])])
def test_tests_that_say_nothing_are_refused(a, p):
    """Too few, not of one length, no pressure, no hole, no number, too much scatter."""
    with pytest.raises(CalculationError, match="toughness"):
        toughness_of_tests(a, p)
