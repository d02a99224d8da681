"""Times that a table gives by temperature: pot life and cure, between two rows; age as hours of the coldest row."""

from wrapcalc.formula import formula
from wrapcalc.standards.documents import MECHANICS


@formula(symbol="t_T", unit="hour", source=MECHANICS, clause="", status="derived",
         t_a="hour", t_b="hour", T_a="degC", T_b="degC", T="degC", T_0="degC")
def time_in_table(t_a, t_b, T_a, T_b, T, T_0):
    """Time at a temperature between two rows of a table.

    The logarithm of the time is linear in 1/T above absolute zero T_0: exact where the time follows Arrhenius'
    law. A straight line in the temperature would give longer times. Only for T from T_a to T_b.
    """
    return t_a * (t_b / t_a) ** ((T - T_a) / (T_b - T_a) * ((T_b - T_0) / (T - T_0)))


@formula(symbol="t_T", unit="hour", source=MECHANICS, clause="", status="derived",
         t_a="hour", t_b="hour", T_a="degC", T_b="degC", T="degC")
def straight_time(t_a, t_b, T_a, T_b, T):
    """Time of a cure at a temperature between two rows of its table.

    A straight line in the temperature: longer than by Arrhenius' law, whose curve it spans. Only for T from T_a to T_b.
    """
    return t_a + (t_b - t_a) * ((T - T_a) / (T_b - T_a))


@formula(symbol="t_eq", unit="hour", source=MECHANICS, clause="", status="derived", A_c="", t_1="hour")
def equivalent_hours(A_c, t_1):
    """Cure age as hours at the coldest row of the table."""
    return A_c * t_1
