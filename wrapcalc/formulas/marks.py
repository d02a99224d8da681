"""Marks on the pipe: sides of the units along it, and where a wrap ends on the circumference that the tape shows.

Positions are measured along the pipe, downstream positive, from the girth weld that is named, or from the middle of the
damage where no weld is.
"""

from wrapcalc.expression import pi
from wrapcalc.formula import formula
from wrapcalc.standards.documents import MECHANICS


@formula(symbol="x_m", unit="mm", source=MECHANICS, clause="", status="derived", x_d="mm", L_0="mm")
def damage_middle(x_d, L_0):
    """Middle of all damage, from its upstream edge and its length."""
    return x_d + L_0 / 2


@formula(symbol="x_r", unit="mm", source=MECHANICS, clause="", status="derived", x_m="mm", c_r="mm")
def set_middle(x_m, c_r):
    """Middle of a set of units.

    c_r: how far it lies downstream of the middle of all damage.
    """
    return x_m + c_r


@formula(symbol="x_u", unit="mm", source=MECHANICS, clause="", status="derived", x_r="mm", L_s="mm")
def set_upstream_side(x_r, L_s):
    """Upstream side of the first unit: half the length of the set before its middle."""
    return x_r - L_s / 2


@formula(symbol="x_v", unit="mm", source=MECHANICS, clause="", status="derived", x_u="mm", w_u="mm")
def unit_downstream_side(x_u, w_u):
    """Downstream side of a unit, its width beyond the upstream side."""
    return x_u + w_u


@formula(symbol="x_u", unit="mm", source=MECHANICS, clause="", status="derived", x_v="mm", o_l="mm")
def next_upstream_side(x_v, o_l):
    """Upstream side of the next band, which laps over the one before by o_l."""
    return x_v - o_l


@formula(symbol="x_e", unit="mm", source=MECHANICS, clause="", status="derived", x_r="mm", L_all="mm")
def upstream_edge_of_repair(x_r, L_all):
    """Upstream edge of the end treatment: half the overall length before the middle of the set."""
    return x_r - L_all / 2


@formula(symbol="x_e", unit="mm", source=MECHANICS, clause="", status="derived", x_r="mm", L_all="mm")
def downstream_edge_of_repair(x_r, L_all):
    """Downstream edge of the end treatment: half the overall length beyond the middle of the set."""
    return x_r + L_all / 2


@formula(symbol="x_p", unit="mm", source=MECHANICS, clause="", status="derived", x_e="mm", b_p="mm")
def upstream_edge_of_steel(x_e, b_p):
    """Upstream edge of the prepared steel, b_p before the end treatment."""
    return x_e - b_p


@formula(symbol="x_p", unit="mm", source=MECHANICS, clause="", status="derived", x_e="mm", b_p="mm")
def downstream_edge_of_steel(x_e, b_p):
    """Downstream edge of the prepared steel, b_p beyond the end treatment."""
    return x_e + b_p


@formula(symbol="U", unit="mm", source=MECHANICS, clause="", status="derived", D="mm")
def circumference_under(D):
    """Circumference under the wrap, from its diameter."""
    return pi * D


@formula(symbol="C", unit="mm", source=MECHANICS, clause="", status="derived", n="", U="mm", h="mm", delta="mm")
def sleeve_length_on(n, U, h, delta):
    """Length of n layers of a sleeve on the circumference U that the tape shows.

    U is read on the prepared, filled and primed pipe. Ply k lies with its mid-line at U + pi (2 (k - 1) h + h + delta);
    the sum over k = 1..n is closed.
    """
    return n * (U + pi * (n * h + delta))


@formula(symbol="C", unit="mm", source=MECHANICS, clause="", status="derived", n="", U="mm", t_ply="mm")
def cloth_length_on(n, U, t_ply):
    """Length of n layers of cloth on the circumference U that the tape shows.

    U is read on the prepared, filled and primed pipe. Layer k lies with its mid-line at U + pi (2 k - 1) t_ply; the sum
    over k = 1..n is closed.
    """
    return n * (U + pi * n * t_ply)


@formula(symbol="a_e", unit="mm", source=MECHANICS, clause="", status="derived", C_m="mm", C="mm")
def wrap_end_beyond_start(C_m, C):
    """How far the wrap ends beyond its start after the last layer; negative where it ends short of it.

    Along the outer layer, in the direction of laying. C_m: length as made or cut; C: length of all layers.
    """
    return C_m - C


@formula(symbol="Delta_U", unit="mm", source=MECHANICS, clause="", status="derived", a_t="mm", n="")
def circumference_off(a_t, n):
    """How far the circumference may be off until the end of the wrap is off by a_t: each layer shifts the end."""
    return a_t / n
