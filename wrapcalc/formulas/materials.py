"""Materials for the site: filler along the seam and at the starts, end seal, layers, abrasive, coating, shelf life."""

from wrapcalc.expression import pi
from wrapcalc.formula import formula
from wrapcalc.standards.documents import MECHANICS, PRACTICE


@formula(symbol="V_w", unit="mm**3", source=MECHANICS, clause="", status="derived", h_w="mm", b_w="mm", L_all="mm")
def seam_fairing_volume(h_w, b_w, L_all):
    """Filler that fairs the cap of the seam.

    Two triangles, one on each side of the cap: height h_w of the cap, run b_w around, over the whole length.
    """
    return h_w * b_w * L_all


@formula(symbol="V_r", unit="mm**3", source=MECHANICS, clause="", status="derived", k_e="", t_1="mm", W="mm")
def start_ramp_volume(k_e, t_1, W):
    """Filler that ramps up to the starts of the first layers.

    A triangle of the height t_1 of the first layer and the run k_e t_1, over the sum of widths W.
    """
    return k_e * t_1**2 / 2 * W


@formula(symbol="A_s", unit="mm**2", source=MECHANICS, clause="", status="derived", D="mm", t_b="mm", b_s="mm")
def end_seal_area(D, t_b, b_s):
    """Area of the end seal at both ends of a repair.

    Two bands of the width b_s on the outside of the wrap: more than on the end treatment, where it lies in part.
    """
    return 2 * pi * (D + 2 * t_b) * b_s


@formula(symbol="V_k", unit="mm**3", source=MECHANICS, clause="", status="derived",
         k_b="", D="mm", h="mm", delta="mm", W="mm")
def bond_line_volume(k_b, D, h, delta, W):
    """Adhesive in bond line number k_b from the pipe, over the sum of widths W."""
    return pi * (D + 2 * (k_b - 1) * h + delta) * delta * W


@formula(symbol="m_k", unit="kg", source=MECHANICS, clause="", status="derived",
         k_b="", D="m", t_ply="m", W="m", g_f="kg/m**2", w_f="")
def resin_in_layer(k_b, D, t_ply, W, g_f, w_f):
    """Resin in layer number k_b of a lay-up, over the sum of widths W, without waste and cutting allowance."""
    return pi * (D + (2 * k_b - 1) * t_ply) * W * g_f * (1 - w_f) / w_f


@formula(symbol="L_p", unit="mm", source=MECHANICS, clause="", status="derived", L_all="mm", b_p="mm")
def prepared_length(L_all, b_p):
    """Length of prepared steel: the repair and b_p beyond each end."""
    return L_all + 2 * b_p


@formula(symbol="m_g", unit="kg", source=PRACTICE, clause="", status="common practice", A_b="m**2", g_a="kg/m**2")
def abrasive_mass(A_b, g_a):
    """Abrasive for the prepared steel."""
    return A_b * g_a


@formula(symbol="A_c", unit="mm**2", source=MECHANICS, clause="", status="derived", D="mm", t_b="mm", L_all="mm",
         b_p="mm")
def coating_area(D, t_b, L_all, b_p):
    """Area to coat: the outside of the wrap and the prepared steel beyond both ends."""
    return pi * (D + 2 * t_b) * L_all + 2 * pi * D * b_p


@formula(symbol="A_t", unit="mm**2", source=MECHANICS, clause="", status="derived", D="mm", l_t="mm")
def tie_in_area(D, l_t):
    """Area where the new coating ties in with the old one, at both ends."""
    return 2 * pi * D * l_t


@formula(symbol="tau_c", unit="hour", source=PRACTICE, clause="", status="common practice",
         tau="hour", q_a="", T_e="degC", T_l="degC", Delta_T="delta_degC")
def shelf_life_consumed(tau, q_a, T_e, T_l, Delta_T):
    """Shelf life that a warm storage has consumed.

    Ageing is q_a times as fast for each Delta_T above the temperature T_l to which the expiry refers.
    """
    return tau * q_a ** ((T_e - T_l) / Delta_T)
