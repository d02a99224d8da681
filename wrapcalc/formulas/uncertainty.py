"""Sizing error: from a tolerance to a standard deviation, and to the probability that a limit is exceeded."""

from wrapcalc.expression import normal_cdf, normal_quantile, sqrt
from wrapcalc.formula import formula
from wrapcalc.standards.documents import MECHANICS

_NORMAL = {"source": MECHANICS, "clause": "normal error", "status": "derived"}


@formula(symbol="sigma_d", unit="mm", **_NORMAL, a_tol="mm", C="")
def deviation_from_tolerance(a_tol, C):
    """Standard deviation of a reading.

    A share C of the readings lies within the tolerance to either side, the error is normal and without bias.
    """
    return a_tol / normal_quantile(0.5 + C / 2)


@formula(symbol="a_12", unit="mm", **_NORMAL, a_tol="mm")
def tolerance_of_difference(a_tol):
    """Tolerance of the difference of two readings.

    At the confidence of the tolerance of each; both have the same, and their errors are independent.
    """
    return sqrt(2) * a_tol


@formula(symbol="sigma_T", unit="mm", **_NORMAL, sigma_d="mm", T="year", T_12="year")
def deviation_two_measurements(sigma_d, T, T_12):
    """Standard deviation of the depth after some years, rate from two measurements.

    The later reading stands in the depth and in the rate: d + (d - d_1) T/T_12. Both readings have the same deviation,
    and their errors are independent.
    """
    return sigma_d * sqrt((1 + T / T_12) ** 2 + (T / T_12) ** 2)


@formula(symbol="sigma_T", unit="mm", **_NORMAL, sigma_d="mm", T="year", n="", T_a="year")
def deviation_over_life(sigma_d, T, n, T_a):
    """Standard deviation of the depth after some years, rate from the life of the pipe.

    The reading stands in the depth and in the rate: d (1 + n T/T_a), n = 1 for the full life, 2 for half of it.
    """
    return sigma_d * (1 + n * T / T_a)


@formula(symbol="POE_d", unit="", **_NORMAL, d="mm", d_lim="mm", sigma_d="mm")
def exceedance_of_depth(d, d_lim, sigma_d):
    """Probability that the depth exceeds a limit."""
    return normal_cdf((d - d_lim) / sigma_d)
