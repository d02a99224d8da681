"""Readings on the finished repair, as numbers that are held against their limits."""

from wrapcalc.expression import pi
from wrapcalc.formula import formula
from wrapcalc.standards.documents import ISO_24817, MECHANICS, PRACTICE


@formula(symbol="H_min", unit="", source=ISO_24817, clause="acceptance, hardness", status="from memory",
         f_H="", H_ref="")
def hardness_limit(f_H, H_ref):
    """Least mean hardness.

    A share of the least value that was obtained in the qualification of the resin.
    """
    return f_H * H_ref


@formula(symbol="H_one", unit="", source=PRACTICE, clause="", status="common practice", f_1="", H_ref="")
def hardness_single_limit(f_1, H_ref):
    """Least single reading of hardness.

    What is recalled of the standard is the mean and "no single outlier much lower"; how much is the user's to set.
    """
    return f_1 * H_ref


@formula(symbol="t_tape", unit="mm", source=MECHANICS, clause="", status="derived", C_1="mm", C_0="mm")
def tape_thickness(C_1, C_0):
    """Thickness of the wrap by tape.

    From the circumference before and after, over the same plane. Of a sleeve it holds the bond lines, too: a
    cross-check. Layers are counted by position and by two people.
    """
    return (C_1 - C_0) / (2 * pi)


@formula(symbol="n_tape", unit="", source=MECHANICS, clause="", status="derived", t_tape="mm", h="mm")
def layers_by_tape(t_tape, h):
    """Layers by tape.

    h is the pitch of one layer, with its bond line where it has one. Thick bond lines measure like further layers:
    a cross-check, never the count.
    """
    return t_tape / h


@formula(symbol="C_1", unit="mm", source=MECHANICS, clause="", status="derived", C_0="mm", n="", h="mm")
def circumference_over_layers(C_0, n, h):
    """Circumference over n layers, from that measured before wrapping."""
    return C_0 + 2 * pi * n * h


@formula(symbol="s_d", unit="", source=MECHANICS, clause="", status="derived", A_d="m**2", A_b="m**2")
def dull_share(A_d, A_b):
    """Share of the bonded area that sounds dull when tapped."""
    return A_d / A_b


@formula(symbol="tau_o", unit="hour", source=PRACTICE, clause="", status="common practice", tau_f="hour", tau_b="hour")
def open_time(tau_f, tau_b):
    """Time from the end of blasting to the first material.

    Both clock times counted from the same moment; blasting ends where it ended first, on the oldest area.
    """
    return tau_f - tau_b
