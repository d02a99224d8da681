"""Quantities: lengths on the growing circumference, areas, adhesive, resin, filler, packs. Geometry, derived."""

from wrapcalc.expression import ceil, pi
from wrapcalc.formula import formula
from wrapcalc.standards.documents import MECHANICS, PRACTICE


@formula(symbol="h", unit="mm", source=MECHANICS, clause="", status="derived", t_ply="mm", delta="mm")
def layer_pitch(t_ply, delta):
    """Pitch of one layer: ply and bond line."""
    return t_ply + delta


@formula(symbol="t_b", unit="mm", source=MECHANICS, clause="", status="derived", n="", h="mm")
def build_up(n, h):
    """Height of the wrap on the pipe: all plies and bond lines."""
    return n * h


@formula(symbol="V_e", unit="mm**3", source=MECHANICS, clause="", status="derived", D="mm", L_e="mm", t_b="mm")
def end_fillet_volume(D, L_e, t_b):
    """Volume of the fillets at both square ends.

    Triangles of length L_e and height t_b around the pipe. Their centroid lies a third of t_b above the pipe.
    """
    return pi * (D + 2 * t_b / 3) * L_e * t_b


@formula(symbol="W", unit="mm", source=MECHANICS, clause="", status="derived", W_a="mm", W_b="mm")
def widths_together(W_a, W_b):
    """Widths of the units of two repairs together."""
    return W_a + W_b


@formula(symbol="A_b", unit="mm**2", source=MECHANICS, clause="", status="derived", A_1="mm**2", A_2="mm**2")
def areas_together(A_1, A_2):
    """Bonded areas of two repairs together."""
    return A_1 + A_2


@formula(symbol="m_u", unit="", source=MECHANICS, clause="", status="derived", m_1="", m_2="")
def counts_together(m_1, m_2):
    """Units of two repairs together."""
    return m_1 + m_2


@formula(symbol="V_f", unit="mm**3", source=MECHANICS, clause="", status="derived", V_d="mm**3", V_e="mm**3")
def filler_volume(V_d, V_e):
    """Filler in all: the defect and the end fillets."""
    return V_d + V_e


@formula(symbol="C", unit="mm", source=MECHANICS, clause="", status="derived", n="", D="mm", h="mm", delta="mm")
def wrap_length(n, D, h, delta):
    """Developed length of a sleeve.

    All layers along the mid-line of the ply, on the growing circumference.
    Ply k lies at the diameter D + 2 (k - 1) h + 2 delta + (h - delta); the sum over k = 1..n is closed.
    """
    return pi * n * (D + n * h + delta)


@formula(symbol="D_k", unit="mm", source=MECHANICS, clause="", status="derived", D="mm", k_0="", n_t="", h="mm")
def diameter_under_tier(D, k_0, n_t, h):
    """Diameter on which a further sleeve is laid: over k_0 sleeves of n_t layers."""
    return D + 2 * k_0 * n_t * h


@formula(symbol="C", unit="mm", source=MECHANICS, clause="", status="derived", n="", D="mm", t_ply="mm")
def wrap_length_lay_up(n, D, t_ply):
    """Developed length of one band of cloth.

    All layers along the mid-line of the ply, on the growing circumference.
    """
    return pi * n * (D + n * t_ply)


@formula(symbol="C_cut", unit="mm", source=PRACTICE, clause="", status="common practice", C="mm", a_c="mm")
def cut_length(C, a_c):
    """Length to cut for one band: all layers and the cutting allowance."""
    return C + a_c


@formula(symbol="A_b", unit="mm**2", source=MECHANICS, clause="", status="derived", D="mm", L_all="mm")
def bonded_area(D, L_all):
    """Bonded area of pipe."""
    return pi * D * L_all


@formula(symbol="V_a", unit="mm**3", source=MECHANICS, clause="", status="derived",
         n="", D="mm", h="mm", delta="mm", W="mm")
def adhesive_volume(n, D, h, delta, W):
    """Volume of all bond lines of a sleeve.

    On the growing circumference, over the sum of widths W.
    """
    return pi * n * (D + (n - 1) * h + delta) * delta * W


@formula(symbol="A_f", unit="m**2", source=MECHANICS, clause="", status="derived", C_cut="m", W="m")
def cloth_area(C_cut, W):
    """Area of cloth: length cut times the sum of the band widths."""
    return C_cut * W


@formula(symbol="m_r", unit="kg", source=MECHANICS, clause="", status="derived",
         A_f="m**2", g_f="kg/m**2", w_f="", u="")
def resin_mass(A_f, g_f, w_f, u):
    """Resin to wet out the cloth at the fibre mass share w_f, with waste u."""
    return A_f * g_f * (1 - w_f) / w_f * (1 + u)


@formula(symbol="A_buy", unit="m**2", source=PRACTICE, clause="", status="common practice", A_f="m**2", u="")
def cloth_area_with_waste(A_f, u):
    """Area of cloth to order, with waste u."""
    return A_f * (1 + u)


@formula(symbol="m", unit="kg", source=MECHANICS, clause="", status="derived", V="L", rho="kg/L", u="")
def mass_from_volume(V, rho, u):
    """Mass of a volume, with waste u."""
    return V * rho * (1 + u)


@formula(symbol="m_p", unit="kg", source=MECHANICS, clause="", status="derived", A_b="m**2", g_p="kg/m**2", u="")
def coating_mass(A_b, g_p, u):
    """Mass of primer on the bonded area, with waste u."""
    return A_b * g_p * (1 + u)


@formula(symbol="N_p", unit="", source=MECHANICS, clause="", status="derived", m="kg", m_pack="kg")
def packs(m, m_pack):
    """Whole packs, rounded up after the waste.

    One part in 10⁹ of a pack is taken off before rounding up, so that an exact multiple is not raised by the
    computer's arithmetic.
    """
    return ceil(m / m_pack - 1e-9)


@formula(symbol="V_box", unit="mm**3", source=MECHANICS, clause="", status="derived", L="mm", w="mm", d="mm")
def filler_box(L, w, d):
    """Filler bound without a depth grid: a box of greatest depth."""
    return L * w * d
