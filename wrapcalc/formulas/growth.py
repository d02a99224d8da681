"""Growth of metal loss: its rate, its sizes after some years, the time to a limit, and when to look again."""

from wrapcalc.expression import cases, minimum
from wrapcalc.formula import formula
from wrapcalc.standards.documents import B31_8S, CFR_192, PRACTICE

_LINEAR = {"source": PRACTICE, "clause": "", "status": "common practice"}


@formula(symbol="r", unit="mm/year", **_LINEAR, d_2="mm", d_1="mm", T_12="year")
def growth_rate_two_measurements(d_2, d_1, T_12):
    """Rate of growth from two measurements.

    Straight line between them; the difference of two readings carries the error of both.
    """
    return (d_2 - d_1) / T_12


@formula(symbol="r", unit="mm/year", **_LINEAR, d="mm", T_a="year")
def growth_rate_full_life(d, T_a):
    """Rate of growth over the full life.

    As if corrosion had begun with the service: no mean rate that the depth allows is lower.
    """
    return d / T_a


@formula(symbol="r", unit="mm/year", **_LINEAR, d="mm", T_a="year")
def growth_rate_half_life(d, T_a):
    """Rate of growth over half the life.

    As if corrosion had begun half way: twice the rate of the full life.
    """
    return 2 * d / T_a


@formula(symbol="d_T", unit="mm", **_LINEAR, d="mm", r="mm/year", T="year")
def depth_after(d, r, T):
    """Depth after some years at a constant rate."""
    return d + r * T


@formula(symbol="d_lim", unit="mm", **_LINEAR, eta_lim="", t="mm")
def limiting_depth(eta_lim, t):
    """Depth at the depth limit."""
    return eta_lim * t


@formula(symbol="T_d", unit="year", **_LINEAR, d_lim="mm", d="mm", r="mm/year")
def time_to_depth(d_lim, d, r):
    """Time until the depth reaches its limit."""
    return (d_lim - d) / r


@formula(symbol="T_life", unit="year", **_LINEAR, T_d="year", T_P="year")
def remaining_life(T_d, T_P):
    """Remaining life: the shorter of the times to the depth limit and to the failure pressure."""
    return minimum(T_d, T_P)


@formula(symbol="T_min", unit="year", **_LINEAR, T_a="year", T_b="year")
def shorter_time(T_a, T_b):
    """Shorter of two times."""
    return minimum(T_a, T_b)


@formula(symbol="P_end", unit="MPa", **_LINEAR, k_F="", MAOP="MPa")
def pressure_at_end_of_life(k_F, MAOP):
    """Failure pressure at which the remaining life ends: a ratio on the MAOP."""
    return k_F * MAOP


@formula(symbol="T_look", unit="year", source=CFR_192, clause="192.939", status="seen", T_life="year", T_rule="year")
def reinspection_interval(T_life, T_rule):
    """Time to the next look: the lesser of half the remaining life and the interval of the rule.

    The half is written for direct assessment of gas lines (192.939(a)(3)(iii)); it is taken for every method and every
    service, as is usual.
    """
    return minimum(T_life / 2, T_rule)


@formula(symbol="T_resp", unit="year", source=B31_8S, clause="figure 4", status="from memory",
         FPR="", k_0="", k_1="", T_1="year")
def response_time(FPR, k_0, k_1, T_1):
    """Response time by the schedule.

    From nothing at the ratio k_0 in a straight line to T_1 at k_1 (above k_0); nothing below, T_1 above. It is no
    calculation of growth: where growth is known, the lesser of both holds.
    """
    return cases((FPR <= k_0, 0 * T_1), (FPR >= k_1, T_1), (True, T_1 * (FPR - k_0) / (k_1 - k_0)))
