"""Dew point, humidity at the steel, and the margin that is left after the errors of the instruments.

The Magnus form is that over liquid water: relative humidity is stated over water, also in frost. Below 0 °C frost forms
a little above the dew point, which is why the rule is used for steel above freezing only.
"""

from wrapcalc.expression import exp, log10, minimum
from wrapcalc.formula import formula
from wrapcalc.standards.documents import MAGNUS_1996, MECHANICS, PRACTICE


@formula(symbol="T_w", unit="degC", source=PRACTICE, clause="", status="common practice", T="degC", e_T="delta_degC")
def reading_raised(T, e_T):
    """Temperature with the error of the thermometer on it."""
    return T + e_T


@formula(symbol="T_c", unit="degC", source=PRACTICE, clause="", status="common practice", T_s="degC",
         e_T="delta_degC")
def reading_lowered(T_s, e_T):
    """Temperature with the error of the thermometer taken off."""
    return T_s - e_T


@formula(symbol="phi_w", unit="", source=PRACTICE, clause="", status="common practice", phi="", e_phi="")
def humidity_raised(phi, e_phi):
    """Relative humidity with the error of the hygrometer on it.

    At most 1: air that is in balance with water holds no more, by the definition of relative humidity.
    """
    return minimum(phi + e_phi, 1)


@formula(symbol="gamma", unit="", source=MAGNUS_1996, clause="Magnus form over water", status="seen", unit_bound=True,
         phi="", a="", b="delta_degC", T="degC")
def magnus_term(phi, a, b, T):
    """Exponent of the vapour pressure of the air.

    Natural logarithm of the vapour pressure over that at 0 °C; log₁₀(x) / log₁₀(e) is ln(x). T in °C.
    """
    return log10(phi) / log10(exp(1)) + a * T / (b + T)


@formula(symbol="T_d", unit="degC", source=MAGNUS_1996, clause="Magnus form over water, solved for the temperature",
         status="seen", unit_bound=True, a="", b="delta_degC", gamma="")
def dew_point(a, b, gamma):
    """Dew point of the air: the temperature at which this vapour pressure saturates."""
    return b * gamma / (a - gamma)


@formula(symbol="Delta_d", unit="delta_degC", source=MECHANICS, clause="", status="derived", T_c="degC", T_d="degC")
def dew_margin(T_c, T_d):
    """Steel above the dew point."""
    return T_c - T_d


@formula(symbol="phi_s", unit="", source=MAGNUS_1996, clause="Magnus form over water", status="seen", unit_bound=True,
         phi="", a="", b="delta_degC", T="degC", T_s="degC")
def humidity_at_steel(phi, a, b, T, T_s):
    """Relative humidity in the air that touches the steel.

    The vapour pressure of the air over that which saturates at the temperature of the steel. More than 1 means that
    water condenses. Temperatures in °C.
    """
    return phi * exp(a * T / (b + T) - a * T_s / (b + T_s))
