"""Pressures that a restriction may be drawn from, one option of the rule each.

The share of the pressure at discovery is pressure.discovery_pressure_limit; the remaining-strength pressure of a liquid
line is pressure.safe_pressure.
"""

from wrapcalc.formula import formula
from wrapcalc.standards.documents import CFR_192, CFR_195


@formula(symbol="P_red", unit="MPa", source=CFR_192, clause="192.933(a)(1), 192.714(e)(1)", status="seen", P_F="MPa",
         F="")
def reduced_pressure_by_design_factor(P_F, F):
    """Reduced pressure, predicted failure pressure times the design factor.

    F is the design factor of the class location. One of three options; it keeps the margin of the class.
    """
    return P_F * F


@formula(symbol="P_red", unit="MPa", source=CFR_192, clause="192.933(a)(1), 192.714(e)(1)", status="seen", P_F="MPa",
         k_red="")
def reduced_pressure_by_failure_ratio(P_F, k_red):
    """Reduced pressure, predicted failure pressure over a fixed ratio.

    The rule's ratio is 1.1. One of three options; often above the pressure at discovery, and then no reduction.
    """
    return P_F / k_red


@formula(symbol="P_red", unit="MPa", source=CFR_195, clause="195.452(h)(4)(i)", status="seen", phi="", P_2m="MPa")
def reduced_pressure_from_recent_months(phi, P_2m):
    """Reduced pressure, share of the recent operating pressure.

    Of the actual operating pressure in the two months before the inspection, where no remaining-strength method fits.
    """
    return phi * P_2m
