"""Axial extent of the wrap: overlap beyond the damage, full-thickness length, ends."""

from wrapcalc.expression import cases, maximum, sqrt
from wrapcalc.formula import formula
from wrapcalc.standards.documents import ISO_24817, MECHANICS, PCC_2


@formula(symbol="L_P", unit="mm", source=PCC_2, clause="401-3.4.8", status="from memory", D="mm", t_n="mm")
def overlap_pcc2(D, t_n):
    """Overlap beyond the damage, rule of ASME PCC-2; nominal wall."""
    return 2.5 * sqrt(D * t_n / 2)


@formula(symbol="L_I", unit="mm", source=ISO_24817, clause="7.5.8", status="from memory", D="mm", t_n="mm")
def overlap_iso(D, t_n):
    """Overlap beyond the damage, rule of ISO 24817; nominal wall."""
    return 2 * sqrt(D * t_n)


@formula(symbol="L_h", unit="mm", source=ISO_24817, clause="7.5.8", status="from memory", d_h="mm", D="mm", t_n="mm")
def overlap_hole(d_h, D, t_n):
    """Overlap beyond a hole, rule of ISO 24817.

    Four diameters of a small hole; both branches meet at d = 0.5 √(D t).
    """
    return cases((d_h < 0.5 * sqrt(D * t_n), 4 * d_h), (True, 2 * sqrt(D * t_n)))


@formula(symbol="L_b", unit="mm", source=ISO_24817, clause="7.5.8", status="from memory",
         k_b="", E_a="MPa", eps_a="", t_c="mm", tau="MPa")
def bond_length(k_b, E_a, eps_a, t_c, tau):
    """Bond length by lap shear, where the wrap carries axial load.

    The axial force of the laminate at its allowable strain, over the lap shear strength; k_b is disputed, the larger of
    the recalled values is taken.
    """
    return k_b * E_a * eps_a * t_c / tau


@formula(symbol="f_room", unit="", source=ISO_24817, clause="7.5.8", status="from memory", L_o="mm", L_av="mm")
def room_factor(L_o, L_av):
    """Factor on the thickness where there is less room than the overlap.

    For an overlap that is cut short on one side, down to the least room; not below 1.
    """
    return maximum(1, (L_o / L_av) ** (2 / 3))


@formula(symbol="L_o", unit="mm", source=ISO_24817, clause="7.5.8", status="from memory", L_1="mm", L_2="mm")
def longer_overlap(L_1, L_2):
    """The longer of two overlaps."""
    return maximum(L_1, L_2)


@formula(symbol="g", unit="mm", source=MECHANICS, clause="", status="derived", x_d="mm", L_o="mm")
def gap_between_repairs(x_d, L_o):
    """Gap between the full-thickness zones of neighbouring damage: sound metal between them, less both overlaps."""
    return x_d - 2 * L_o


@formula(symbol="L_o", unit="mm", source=ISO_24817, clause="7.5.8", status="from memory",
         L_min="mm", L_P="mm", L_I="mm")
def overlap_required(L_min, L_P, L_I):
    """Overlap on each side, from sound metal.

    The larger of both rules and the least overlap.
    """
    return maximum(L_min, maximum(L_P, L_I))


@formula(symbol="L_full", unit="mm", source=ISO_24817, clause="7.5.8", status="from memory", L="mm", L_o="mm")
def full_thickness_length(L, L_o):
    """Full-thickness length required.

    The damage and both overlaps; ends do not count.
    """
    return L + 2 * L_o


@formula(symbol="L_full", unit="mm", source=ISO_24817, clause="7.5.8", status="from memory",
         L="mm", L_o="mm", L_av="mm")
def full_thickness_length_uneven(L, L_o, L_av):
    """Full-thickness length required where there is little room on one side.

    The damage, the overlap on one side and what there is room for on the other; ends do not count.
    """
    return L + L_o + L_av


@formula(symbol="L_av", unit="mm", source=MECHANICS, clause="", status="derived",
         c_1="mm", a_w="mm", L_e="mm", a_L="mm")
def room_for_overlap(c_1, a_w, L_e, a_L):
    """Overlap that there is room for.

    Distance from the measured edge to the weld or fitting, less the end, its distance from the weld, and half of the
    allowance on the length.
    """
    return c_1 - a_w - L_e - a_L / 2


@formula(symbol="L_r", unit="mm", source=MECHANICS, clause="", status="derived", L_side="mm", a_w="mm")
def room_needed(L_side, a_w):
    """Room that the repair needs beside the damage: its reach and the distance of its end from a weld."""
    return L_side + a_w


@formula(symbol="g", unit="mm", source=MECHANICS, clause="", status="derived", x_n="mm", L_side="mm", L_e="mm")
def gap_to_neighbour(x_n, L_side, L_e):
    """Gap between the full thickness of this repair and of the next one.

    x_n: from the edge of the measured damage to the full thickness of the next repair.
    """
    return x_n - (L_side - L_e)


@formula(symbol="L_e", unit="mm", source=ISO_24817, clause="7.5.8", status="from memory", k_e="", t_b="mm")
def end_length(k_e, t_b):
    """Length of one end, taper or fillet.

    Slope k_e : 1 over the height of the wrap.
    """
    return k_e * t_b


@formula(symbol="L_all", unit="mm", source=MECHANICS, clause="", status="derived", L_cov="mm", L_e="mm")
def overall_length(L_cov, L_e):
    """Overall length on the pipe: cover and both ends."""
    return L_cov + 2 * L_e


@formula(symbol="L_side", unit="mm", source=MECHANICS, clause="", status="derived", L_all="mm", L="mm")
def reach_beyond_defect(L_all, L):
    """Reach of the repair beyond the damage, each side, when centred."""
    return (L_all - L) / 2
