"""Stress and pressure of the sound pipe, safety factor, safe pressure and the limits drawn from it."""

from wrapcalc.expression import maximum, minimum, pi
from wrapcalc.formula import formula
from wrapcalc.standards.documents import B31G_2012, CFR_192, CFR_195, MECHANICS, PRACTICE


@formula(symbol="sigma_h", unit="MPa", source=MECHANICS, clause="", status="derived", P="MPa", D="mm", t="mm")
def hoop_stress(P, D, t):
    """Hoop stress of the sound pipe.

    Thin-wall (Barlow) with the outside diameter; above the mean stress of a thick wall, so on the safe side.
    """
    return P * D / (2 * t)


@formula(symbol="P_code", unit="MPa", source=CFR_192, clause="192.105(a)", status="seen",
         S_y="MPa", t="mm", D="mm", F="", E="", T="")
def code_design_pressure_gas(S_y, t, D, F, E, T):
    """Code design pressure of the sound pipe, gas line.

    The temperature derating factor is 1.000 up to 250 °F; hotter service is outside this version.
    """
    return 2 * S_y * t / D * F * E * T


@formula(symbol="P_code", unit="MPa", source=CFR_195, clause="195.106(a)", status="seen",
         S_y="MPa", t="mm", D="mm", E="", F="")
def code_design_pressure_liquid(S_y, t, D, E, F):
    """Code design pressure of the sound pipe, liquid line.

    E seam joint factor (195.106(e)), F design factor.
    """
    return 2 * S_y * t / D * E * F


@formula(symbol="s", unit="MPa", source=PRACTICE, clause="", status="common practice", F="", S_y="MPa")
def allowable_stress(F, S_y):
    """Allowable stress of the pipe steel.

    The design factor of the line code on SMYS. The same s serves load sharing and the axial check; taking SMYS
    instead, as some editions word it, would give thinner wraps.
    """
    return F * S_y


@formula(symbol="SF", unit="", source=B31G_2012, clause="2.2", status="from memory", F="", SF_min="")
def safety_factor(F, SF_min):
    """Safety factor on the failure pressure.

    The inverse of the design factor keeps the margin of the location class; never below the least factor.
    """
    return maximum(1 / F, SF_min)


@formula(symbol="P_S", unit="MPa", source=B31G_2012, clause="2.2", status="from memory", P_F="MPa", SF="")
def safe_pressure(P_F, SF):
    """Safe pressure beside the defect."""
    return P_F / SF


@formula(symbol="P_gov", unit="MPa", source=PRACTICE, clause="", status="common practice", P_a="MPa", P_b="MPa")
def lower_pressure(P_a, P_b):
    """Lower of two pressures.

    Unless the case names its method with a reason, the lower of the forms governs.
    """
    return minimum(P_a, P_b)


@formula(symbol="ERF", unit="", source=PRACTICE, clause="", status="common practice", MAOP="MPa", P_S="MPa")
def repair_factor(MAOP, P_S):
    """Estimated repair factor.

    MAOP over the governing safe pressure. More than 1 asks for action. Other texts use another safe pressure, so
    the basis is printed with it.
    """
    return MAOP / P_S


@formula(symbol="P_lim", unit="MPa", source=PRACTICE, clause="", status="common practice", phi="", P_disc="MPa",
         P_S="MPa")
def interim_pressure_limit(phi, P_disc, P_S):
    """Interim pressure limit.

    Until the repair is accepted or the MAOP is lowered: the lower of a share of the pressure at discovery and the
    safe pressure; the rule asks for one of them.
    """
    return minimum(phi * P_disc, P_S)


@formula(symbol="P_lim", unit="MPa", source=PRACTICE, clause="", status="common practice", phi="", P_disc="MPa")
def discovery_pressure_limit(phi, P_disc):
    """Interim pressure limit, pressure rule alone.

    Where no strength method applies there is no safe pressure to compare with; those who are licensed may ask for less.
    """
    return phi * P_disc


@formula(symbol="P_ax", unit="MPa", source=MECHANICS, clause="", status="derived", P="MPa", s="MPa", sigma_a="MPa")
def axial_pressure(P, s, sigma_a):
    """Pressure that brings the damaged section to its allowable axial stress.

    The stress under end thrust grows in proportion to the pressure.
    """
    return P * s / sigma_a


@formula(symbol="p", unit="MPa", source=PRACTICE, clause="", status="common practice", MAOP="MPa", P_upset="MPa")
def repair_design_pressure(MAOP, P_upset):
    """Repair design pressure.

    The larger of the MAOP to be restored and the declared upset.
    """
    return maximum(MAOP, P_upset)


@formula(symbol="N", unit="N", source=MECHANICS, clause="", status="derived", D="mm", P="MPa")
def end_thrust(D, P):
    """End thrust of a closed pipe.

    On the outside diameter, as composite repair standards take it; above the true force on the bore.
    """
    return pi * D ** 2 * P / 4


@formula(symbol="FPR", unit="", source=PRACTICE, clause="", status="common practice", P_F="MPa", MAOP="MPa")
def failure_pressure_ratio(P_F, MAOP):
    """Failure pressure over MAOP.

    The repair criteria compare it with 1.1, 1.25, 1.39 and 1.50. Other texts divide by the pressure at SMYS instead.
    """
    return P_F / MAOP


@formula(symbol="s_y", unit="", source=PRACTICE, clause="", status="common practice", sigma_h="MPa", S_y="MPa")
def share_of_yield(sigma_h, S_y):
    """Hoop stress over SMYS."""
    return sigma_h / S_y
