"""Wrap over a hole or a slot through the wall: pressure that opens the bond, its ceiling, limits of validity.

The wrap over the opening is a clamped plate or strip whose stored energy drives the bond apart. Bending, crack and
shear terms were derived again, shear with the plate factor 3/2; the form is the recalled one of the standards.
"""

from wrapcalc.expression import maximum, pi, sqrt
from wrapcalc.formula import formula
from wrapcalc.standards.documents import ISO_24817, MECHANICS, PCC_2


@formula(symbol="E_ac", unit="MPa", source=ISO_24817, clause="7.5.7", status="from memory", E_a="MPa", E_c="MPa")
def geometric_modulus(E_a, E_c):
    """Modulus of the laminate over an opening: geometric mean of both directions."""
    return sqrt(E_a * E_c)


@formula(symbol="f_leak", unit="", source=ISO_24817, clause="7.5.7", status="from memory", unit_bound=True,
         a="", b="", L_y="year")
def leak_factor_by_class(a, b, L_y):
    """Service factor of a leak repair, by class and life.

    L_y in years, up to 20; less than a year counts as one. The three recalled curves meet at about one third at 20
    years.
    """
    return a * 10 ** (-b * maximum(0, L_y - 1))


@formula(symbol="K", unit="", source=ISO_24817, clause="7.5.7", status="from memory",
         f_T2="", f_D="", f_leak="", f_c="")
def leak_knockdown(f_T2, f_D, f_leak, f_c):
    """All factors on the pressure that opens the bond."""
    return f_T2 * f_D * f_leak * f_c


@formula(symbol="p_h", unit="MPa", source=ISO_24817, clause="7.5.7", status="from memory",
         K="", gamma="N/mm", nu="", E_ac="MPa", d_h="mm", t_c="mm", G="MPa")
def leak_pressure_hole(K, gamma, nu, E_ac, d_h, t_c, G):
    """Pressure for which a wrap over a round hole is good."""
    return K * sqrt(gamma / ((1 - nu ** 2) / E_ac * (3 * d_h ** 4 / (512 * t_c ** 3) + d_h / pi)
                             + 3 * d_h ** 2 / (64 * G * t_c)))


@formula(symbol="p_sl", unit="MPa", source=ISO_24817, clause="7.5.7", status="from memory",
         K="", gamma="N/mm", nu="", E_ac="MPa", W_s="mm", t_c="mm", G="MPa", k_sh="")
def leak_pressure_slot(K, gamma, nu, E_ac, W_s, t_c, G, k_sh):
    """Pressure for which a wrap over a slot right round the pipe is good.

    W_s is the width of the slot along the pipe. The coefficient of the shear term is disputed: the larger of the two
    recalled ones agrees with the derivation.
    """
    return K * sqrt(gamma / ((1 - nu ** 2) / E_ac * (W_s ** 4 / (24 * t_c ** 3) + pi * W_s / 4)
                             + k_sh * W_s ** 2 / (G * t_c)))


@formula(symbol="p_top", unit="MPa", source=MECHANICS, clause="", status="derived",
         K="", gamma="N/mm", nu="", E_ac="MPa", d_h="mm")
def ceiling_hole(K, gamma, nu, E_ac, d_h):
    """Pressure that no thickness reaches, round hole.

    In a very thick wrap only the crack term is left.
    """
    return K * sqrt(pi * gamma * E_ac / ((1 - nu ** 2) * d_h))


@formula(symbol="p_top", unit="MPa", source=MECHANICS, clause="", status="derived",
         K="", gamma="N/mm", nu="", E_ac="MPa", W_s="mm")
def ceiling_slot(K, gamma, nu, E_ac, W_s):
    """Pressure that no thickness reaches, slot.

    In a very thick wrap only the crack term is left.
    """
    return K * sqrt(4 * gamma * E_ac / ((1 - nu ** 2) * pi * W_s))


@formula(symbol="d_lim", unit="mm", source=ISO_24817, clause="7.5.7", status="from memory", k_h="", D="mm", t_c="mm")
def hole_limit(k_h, D, t_c):
    """Largest hole for which the equation holds: the smaller of two recollections."""
    return sqrt(k_h * D * t_c)


@formula(symbol="W_lim", unit="mm", source=ISO_24817, clause="7.5.7", status="from memory", k_w="", D="mm", t_c="mm")
def slot_limit(k_w, D, t_c):
    """Widest slot for which the equation holds: the smaller of two recollections."""
    return k_w * sqrt(D * t_c)


@formula(symbol="J", unit="", source=PCC_2, clause="401-1.2.2", status="seen", unit_bound=True, p="MPa", d_h="mm")
def leak_number(p, d_h):
    """Pressure times root of the hole, in MN/m^1.5, by which a leak counts as high risk."""
    return p * sqrt(d_h / 1000)


@formula(symbol="d_D", unit="", source=PCC_2, clause="401-1.2.2", status="seen", d_h="mm", D="mm")
def hole_share(d_h, D):
    """Hole over outside diameter."""
    return d_h / D


@formula(symbol="d_h", unit="mm", source=MECHANICS, clause="", status="derived", d_0="mm", r="mm/year", L_y="year")
def opening_after(d_0, r, L_y):
    """Size of the opening at the end of the repair's life.

    It grows on both of its sides.
    """
    return d_0 + 2 * r * L_y


@formula(symbol="L", unit="mm", source=MECHANICS, clause="", status="derived", L_0="mm", d_h="mm")
def damage_with_opening(L_0, d_h):
    """Length of the damage: of the thinned metal or of the opening, whichever is greater."""
    return maximum(L_0, d_h)
