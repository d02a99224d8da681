"""Strains of the wrap by the clauses at the thickness as laid, to be held against a second opinion."""

from wrapcalc.formula import formula
from wrapcalc.standards.documents import MECHANICS


@formula(symbol="eps_w", unit="", source=MECHANICS, clause="", status="derived",
         p="MPa", D="mm", S_y="MPa", t_s="mm", E_c="MPa", t_c="mm")
def wrap_strain_yielded(p, D, S_y, t_s, E_c, t_c):
    """Hoop strain of the wrap, yielded steel.

    What the yielded wall does not carry, on the wrap as laid. For steel that yields.
    """
    return (p * D / 2 - S_y * t_s) / (E_c * t_c)


@formula(symbol="eps_w", unit="", source=MECHANICS, clause="", status="derived", p="MPa", D="mm", E_c="MPa", t_c="mm")
def wrap_strain_alone(p, D, E_c, t_c):
    """Hoop strain of a wrap that carries the pressure alone."""
    return p * D / (2 * E_c * t_c)


@formula(symbol="delta", unit="", source=MECHANICS, clause="", status="derived", eps_N="", eps_w="")
def opinion_difference(eps_N, eps_w):
    """Second opinion against the clause, as a share of the clause.

    Above zero the second opinion sees more strain than the clause.
    """
    return eps_N / eps_w - 1
