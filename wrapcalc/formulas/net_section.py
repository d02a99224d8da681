"""Axial capacity of the damaged section: lost area, its eccentricity, and the stress under end thrust.

The loss is taken as a sector of depth d over the arc w, at full depth: the safe side of any rounder shape.
"""

from wrapcalc.expression import absolute, cos, maximum, pi, sin
from wrapcalc.formula import formula
from wrapcalc.standards.documents import MECHANICS


@formula(symbol="theta", unit="", source=MECHANICS, clause="", status="derived", w="mm", D="mm")
def half_angle(w, D):
    """Half angle of the loss around the pipe, in radians.

    Arc w on the radius D/2, halved.
    """
    return w / D


@formula(symbol="A_0", unit="mm**2", source=MECHANICS, clause="", status="derived", D="mm", t="mm")
def sound_area(D, t):
    """Cross-section of the sound pipe."""
    return pi * t * (D - t)


@formula(symbol="A_L", unit="mm**2", source=MECHANICS, clause="", status="derived", theta="", d="mm", D="mm")
def lost_area(theta, d, D):
    """Cross-section lost.

    Ring sector of half angle theta and depth d, outside at D.
    """
    return theta * d * (D - d)


@formula(symbol="A_n", unit="mm**2", source=MECHANICS, clause="", status="derived", A_0="mm**2", A_L="mm**2")
def net_area(A_0, A_L):
    """Cross-section left."""
    return A_0 - A_L


@formula(symbol="y_L", unit="mm", source=MECHANICS, clause="", status="derived",
         theta="", D="mm", d="mm", A_L="mm**2")
def lost_centroid(theta, D, d, A_L):
    """Distance of the centroid of the lost area from the pipe axis."""
    return 2 * sin(theta) * ((D / 2) ** 3 - (D / 2 - d) ** 3) / (3 * A_L)


@formula(symbol="e", unit="mm", source=MECHANICS, clause="", status="derived",
         A_L="mm**2", y_L="mm", A_n="mm**2")
def eccentricity(A_L, y_L, A_n):
    """Shift of the centroid of the net section away from the loss."""
    return A_L * y_L / A_n


@formula(symbol="I_0", unit="mm**4", source=MECHANICS, clause="", status="derived", D="mm", t="mm")
def sound_second_moment(D, t):
    """Second moment of area of the sound pipe."""
    return pi * (D ** 4 - (D - 2 * t) ** 4) / 64


@formula(symbol="I_L", unit="mm**4", source=MECHANICS, clause="", status="derived", D="mm", d="mm", theta="")
def lost_second_moment(D, d, theta):
    """Second moment of the lost area about the diameter square to the loss."""
    return ((D / 2) ** 4 - (D / 2 - d) ** 4) / 4 * (theta + sin(theta) * cos(theta))


@formula(symbol="I_n", unit="mm**4", source=MECHANICS, clause="", status="derived",
         I_0="mm**4", I_L="mm**4", A_n="mm**2", e="mm")
def net_second_moment(I_0, I_L, A_n, e):
    """Second moment of the net section about its own centroid."""
    return I_0 - I_L - A_n * e ** 2


@formula(symbol="c", unit="mm", source=MECHANICS, clause="", status="derived", e="mm", D="mm", d="mm", theta="")
def extreme_fibre(e, D, d, theta):
    """Distance of the farthest fibre on the loss side.

    Bottom of the loss, or sound steel at its edge.
    """
    return e + maximum(D / 2 - d, D / 2 * cos(theta))


@formula(symbol="sigma_a", unit="MPa", source=MECHANICS, clause="", status="derived",
         N="N", A_n="mm**2", e="mm", c="mm", I_n="mm**4")
def net_section_stress(N, A_n, e, c, I_n):
    """Greatest axial stress of the net section under end thrust.

    The thrust acts on the pipe axis, the net section's centroid is off it: direct stress plus bending. A
    restrained buried pipe sees less; no credit is taken for that.
    """
    return N / A_n + N * e * c / I_n


@formula(symbol="c", unit="mm", source=MECHANICS, clause="", status="derived", e="mm", D="mm")
def extreme_fibre_internal(e, D):
    """Distance of the farthest fibre on the loss side, internal loss.

    The outer surface is whole. The section itself is taken as if the loss were outside, where it costs more.
    """
    return e + D / 2


@formula(symbol="N_r", unit="N", source=MECHANICS, clause="", status="derived",
         nu="", sigma_h="MPa", E_s="MPa", alpha_s="1/delta_degC", Delta_T="delta_degC", A_0="mm**2")
def restrained_force(nu, sigma_h, E_s, alpha_s, Delta_T, A_0):
    """Axial force in the wall of a restrained pipe.

    Poisson tension from pressure less the thermal force of warming since tie-in; tension is positive.
    """
    return (nu * sigma_h - E_s * alpha_s * Delta_T) * A_0


@formula(symbol="Delta_T", unit="delta_degC", source=MECHANICS, clause="", status="derived", T_d="degC", T_i="degC")
def warming_since_tie_in(T_d, T_i):
    """Warming of the steel since the pipe was tied in."""
    return T_d - T_i


@formula(symbol="N", unit="N", source=MECHANICS, clause="", status="derived", N_p="N", F_ax="N")
def total_axial_force(N_p, F_ax):
    """Axial force on the section: from pressure and restraint, with the external force. Tension is positive."""
    return N_p + F_ax


@formula(symbol="sigma_a", unit="MPa", source=MECHANICS, clause="", status="derived",
         N="N", M="N*mm", A_n="mm**2", e="mm", c="mm", I_n="mm**4")
def axial_stress_at_loss(N, M, A_n, e, c, I_n):
    """Greatest axial stress at the loss, in size.

    The force acts on the pipe axis, the centroid of the net section lies e away from the loss. M is positive when it
    stretches the side of the loss; it acts in the plane through the loss.
    """
    return absolute(N / A_n + (N * e + M) * c / I_n)


@formula(symbol="sigma_a", unit="MPa", source=MECHANICS, clause="", status="derived",
         N="N", M="N*mm", A_n="mm**2", e="mm", D="mm", I_n="mm**4")
def axial_stress_opposite(N, M, A_n, e, D, I_n):
    """Axial stress on the side opposite to the loss, in size."""
    return absolute(N / A_n - (N * e + M) * (D / 2 - e) / I_n)


@formula(symbol="M", unit="N*mm", source=MECHANICS, clause="", status="derived", M_0="N*mm")
def opposite_moment(M_0):
    """Bending moment in the other sense."""
    return -M_0
