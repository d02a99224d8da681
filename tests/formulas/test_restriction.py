"""Reduced pressures by second routes."""

from __future__ import annotations

import pytest
from scipy.optimize import brentq

from wrapcalc.formulas import pressure, restriction


@pytest.mark.guards("reduced_pressure_by_design_factor", "reduced_pressure_by_failure_ratio",
                    "reduced_pressure_from_recent_months", kind="independent")
@pytest.mark.parametrize(("P_F", "F", "ratio", "recent"), [(8.31, 0.72, 1.1, 6.9), (12.4, 0.5, 1.1, 4.2),
                                                           (3.0, 0.4, 1.25, 2.0)])
def test_each_option_is_the_pressure_that_keeps_its_margin(P_F, F, ratio, recent):
    """Raise the pressure until it is F of the failure pressure, until the failure pressure is 1.1 times it, until the
    reduction from the recent pressure is no more than 20 %."""
    at = brentq(lambda p: p / P_F - F, 0, 100, xtol=1e-14, rtol=1e-14)
    assert restriction.reduced_pressure_by_design_factor.core(P_F, F) == pytest.approx(at, rel=1e-9)
    at = brentq(lambda p: P_F - ratio * p, 0, 100, xtol=1e-14, rtol=1e-14)
    assert restriction.reduced_pressure_by_failure_ratio.core(P_F, ratio) == pytest.approx(at, rel=1e-9)
    at = brentq(lambda p: (recent - p) / recent - 0.20, 0, 100, xtol=1e-14, rtol=1e-14)
    assert restriction.reduced_pressure_from_recent_months.core(0.80, recent) == pytest.approx(at, rel=1e-9)


def test_three_options_of_the_gas_rule_worked_by_hand():
    """Pressure at discovery 1000 psi, predicted failure pressure 1205 psi, class 1: the options of 192.933(a)(1).

    independent: the options are the rule's text, the arithmetic is ours: 0.80 × 1000, 1205 × 0.72 = 867.6,
    1205 / 1.1 = 1095.4545..., which is above the pressure at discovery and so no reduction.
    """
    assert pressure.discovery_pressure_limit.core(0.80, 1000.0) == pytest.approx(800.0, abs=1e-9)
    assert restriction.reduced_pressure_by_design_factor.core(1205.0, 0.72) == pytest.approx(867.6, abs=1e-9)
    assert restriction.reduced_pressure_by_failure_ratio.core(1205.0, 1.1) == pytest.approx(12050 / 11, abs=1e-9)
    assert round(restriction.reduced_pressure_by_failure_ratio.core(1205.0, 1.1), 1) == 1095.5


def test_at_the_immediate_limit_the_fixed_ratio_allows_the_maop():
    """A metal loss at exactly 1.1 times the MAOP: the option over 1.1 gives the MAOP itself."""
    assert restriction.reduced_pressure_by_failure_ratio.core(1.1 * 7.0, 1.1) == pytest.approx(7.0, rel=1e-12)
