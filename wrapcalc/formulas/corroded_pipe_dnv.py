"""Corroded pipe by tensile strength, allowable-stress format: one defect, with compression along the pipe, and the
closed steps of neighbouring and of complex-shaped defects.

Which run of defects, and which depth increment, governs is a search (`wrapcalc.searches.interacting`,
`wrapcalc.searches.complex_shape`); these are the closed formulas at the ones they find. S_u is SMTS, lowered where the
line runs hot.
"""

from wrapcalc.expression import pi, sqrt
from wrapcalc.formula import formula
from wrapcalc.standards.documents import DNV_F101

_SINGLE = "part B, single defect"
_COMPRESSION = "part B, single defect with compression"
_GROUP = "part B, interacting defects"
_COMPLEX = "part B, complex-shaped defect"


@formula(symbol="Q", unit="", source=DNV_F101, clause=_SINGLE, status="from memory", L="mm", D="mm", t="mm")
def length_correction_factor(L, D, t):
    """Length correction factor."""
    return sqrt(1 + 0.31 * (L / sqrt(D * t)) ** 2)


@formula(symbol="P_f", unit="MPa", source=DNV_F101, clause=_SINGLE, status="from memory",
         t="mm", S_u="MPa", D="mm", d="mm", Q="")
def failure_pressure_dnv(t, S_u, D, d, Q):
    """Failure pressure from tensile strength.

    The loss is a rectangle of full depth. S_u is SMTS at the operating temperature, the hoop stress is on the mean
    diameter. For d/t ≤ 0.85. Also for the mean depth of a group or of a whole profile, with its length in Q.
    """
    return 2 * t * S_u / (D - t) * (1 - d / t) / (1 - d / (t * Q))


@formula(symbol="P_sw", unit="MPa", source=DNV_F101, clause=_SINGLE, status="from memory",
         F_1="", F_2="", P_f="MPa")
def safe_pressure_dnv(F_1, F_2, P_f):
    """Safe working pressure.

    F_1 modelling factor, F_2 operational usage factor, usually the design factor of the line. It is already a safe
    pressure and is never divided by a safety factor again.
    """
    return F_1 * F_2 * P_f


# -- compression along the pipe ---------------------------------------------------------------------------------------

@formula(symbol="sigma_A", unit="MPa", source=DNV_F101, clause=_COMPRESSION, status="from memory",
         F_x="N", D="mm", t="mm")
def axial_force_stress_dnv(F_x, D, t):
    """Longitudinal stress from the external axial force, on the nominal wall.

    Tension is positive. The end force of the internal pressure is no part of F_x: the form holds it already.
    """
    return F_x / (pi * (D - t) * t)


@formula(symbol="sigma_B", unit="MPa", source=DNV_F101, clause=_COMPRESSION, status="from memory",
         M_y="N*mm", D="mm", t="mm")
def bending_stress_dnv(M_y, D, t):
    """Longitudinal stress from the external bending moment, on the nominal wall.

    M_y is positive when it stretches the side of the defect; where the side is not known it is taken negative.
    """
    return 4 * M_y / (pi * (D - t) ** 2 * t)


@formula(symbol="sigma_L", unit="MPa", source=DNV_F101, clause=_COMPRESSION, status="from memory",
         sigma_A="MPa", sigma_B="MPa")
def longitudinal_stress_dnv(sigma_A, sigma_B):
    """Longitudinal stress from external loads, nominal wall.

    Tension is positive.
    """
    return sigma_A + sigma_B


@formula(symbol="sigma_1", unit="MPa", source=DNV_F101, clause=_COMPRESSION, status="from memory",
         S_u="MPa", d="mm", t="mm", Q="")
def compression_limit_dnv(S_u, d, t, Q):
    """Longitudinal stress above which external loads do not lower the failure pressure.

    Only a stress below it, so a compression larger in size, has to be worked further.
    """
    return -0.5 * S_u * (1 - d / t) / (1 - d / (t * Q))


@formula(symbol="theta", unit="", source=DNV_F101, clause=_COMPRESSION, status="from memory", c="mm", D="mm")
def circumferential_share(c, D):
    """Share of the circumference that the defect takes."""
    return c / (pi * D)


@formula(symbol="A_r", unit="", source=DNV_F101, clause=_COMPRESSION, status="from memory",
         d="mm", t="mm", theta="")
def area_factor(d, t, theta):
    """Share of the cross-section that is left.

    Thin ring; theta is a share of the circumference, not an angle.
    """
    return 1 - d / t * theta


@formula(symbol="H_1", unit="", source=DNV_F101, clause=_COMPRESSION, status="from memory",
         sigma_L="MPa", S_u="MPa", A_r="", d="mm", t="mm", Q="")
def compression_factor(sigma_L, S_u, A_r, d, t, Q):
    """Factor of longitudinal compression on the failure pressure.

    Largest difference of stresses in the section left, hoop stress against the compression. 1 at the limit sigma_1,
    nothing where the compression alone exhausts the section (sigma_L = -S_u A_r); beyond that it has no meaning.
    """
    return (1 + sigma_L / (S_u * A_r)) / (1 - (1 - d / t) / (2 * A_r * (1 - d / (t * Q))))


@formula(symbol="P_comp", unit="MPa", source=DNV_F101, clause=_COMPRESSION, status="from memory",
         P_f="MPa", H_1="")
def failure_pressure_compression(P_f, H_1):
    """Failure pressure under longitudinal compression.

    The lower of this and P_f governs.
    """
    return P_f * H_1


# -- neighbours -------------------------------------------------------------------------------------------------------

@formula(symbol="s_max", unit="mm", source=DNV_F101, clause=_GROUP, status="from memory", k_s="", D="mm", t="mm")
def interaction_spacing_dnv(k_s, D, t):
    """Gap along the pipe beyond which neighbours are single defects."""
    return k_s * sqrt(D * t)


@formula(symbol="phi_Z", unit="", source=DNV_F101, clause=_GROUP, status="from memory", k_phi="", t="mm", D="mm")
def interaction_angle_dnv(k_phi, t, D):
    """Angle around the pipe beyond which neighbours are single defects, in degrees.

    It is also the reach of a projection line to either side.
    """
    return k_phi * sqrt(t / D)


@formula(symbol="Z", unit="mm", source=DNV_F101, clause=_GROUP, status="from memory", phi_Z="", D="mm")
def interaction_arc_dnv(phi_Z, D):
    """Arc on the outside of the pipe for an angle in degrees."""
    return pi * D * phi_Z / 360


# -- complex shape ----------------------------------------------------------------------------------------------------

@formula(symbol="d_ave", unit="mm", source=DNV_F101, clause=_COMPLEX, status="from memory", A_tot="mm**2", L="mm")
def mean_depth_dnv(A_tot, L):
    """Mean depth of the whole profile."""
    return A_tot / L


@formula(symbol="d_p", unit="mm", source=DNV_F101, clause=_COMPLEX, status="from memory", A_p="mm**2", L="mm")
def patch_depth_dnv(A_p, L):
    """Mean depth of the patch.

    The patch is the profile cut off at the depth increment, over the whole length.
    """
    return A_p / L


@formula(symbol="t_e", unit="mm", source=DNV_F101, clause=_COMPLEX, status="from memory",
         P_p="MPa", D="mm", S_u="MPa")
def effective_wall_dnv(P_p, D, S_u):
    """Effective wall: of the plain pipe that fails at the pressure of the patch.

    2 t_e S_u/(D - t_e) = P_p solved for t_e. Between the wall less the mean depth of the patch, and the wall.
    """
    return P_p * D / (2 * S_u + P_p)


@formula(symbol="d_e", unit="mm", source=DNV_F101, clause=_COMPLEX, status="from memory",
         d_i="mm", t="mm", t_e="mm")
def effective_depth_dnv(d_i, t, t_e):
    """Effective depth: mean depth of a pit from the outer surface, less what the patch took from the wall.

    The wall left below the pit stays as it is.
    """
    return d_i - (t - t_e)


@formula(symbol="Q_e", unit="", source=DNV_F101, clause=_COMPLEX, status="from memory", L_g="mm", D="mm", t_e="mm")
def length_correction_effective(L_g, D, t_e):
    """Length correction factor of the pits in the effective wall.

    L_g is the overall length of the governing pits, gaps included.
    """
    return sqrt(1 + 0.31 * (L_g / sqrt(D * t_e)) ** 2)


@formula(symbol="P_j", unit="MPa", source=DNV_F101, clause=_COMPLEX, status="from memory",
         t_e="mm", S_u="MPa", D="mm", d_e="mm", Q_e="")
def failure_pressure_effective(t_e, S_u, D, d_e, Q_e):
    """Failure pressure of the pits in the effective wall.

    d_e is the effective depth of one pit, or of a group spread over its overall length.
    """
    return 2 * t_e * S_u / (D - t_e) * (1 - d_e / t_e) / (1 - d_e / (t_e * Q_e))
