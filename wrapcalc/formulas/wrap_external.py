"""Outside pressure on a wrap that is not helped by the steel."""

from wrapcalc.formula import formula
from wrapcalc.standards.documents import ISO_24817


@formula(symbol="t_ext", unit="mm", source=ISO_24817, clause="7.5.10", status="from memory",
         D="mm", SF="", nu="", p_out="MPa", E_c="MPa")
def thickness_outside_pressure(D, SF, nu, p_out, E_c):
    """Thickness against collapse by outside pressure.

    Buckling of a long ring of the laminate alone, with its safety factor inside the root.
    """
    return D * (SF * (1 - nu ** 2) * p_out / (2 * E_c)) ** (1 / 3)
