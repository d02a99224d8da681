"""Axial extent of the wrap: overlap beyond the damage, full-thickness length, ends."""

from wrapcalc.expression import maximum, sqrt
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
