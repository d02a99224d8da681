"""What acts on a wrap: equivalent axial force and pressure, outside pressure and soil."""

from wrapcalc.expression import absolute, pi
from wrapcalc.formula import formula
from wrapcalc.standards.documents import ISO_24817, MECHANICS


@formula(symbol="F_eq", unit="N", source=ISO_24817, clause="7.5.3", status="from memory", F_ax="N", M="N*mm", D="mm")
def equivalent_force_stretched(F_ax, M, D):
    """Equivalent axial force where bending stretches.

    The line force of bending at the outermost fibre of a thin wall, taken all round, on the axial force, which includes
    the end thrust. Tension is positive.
    """
    return F_ax + 4 * absolute(M) / D


@formula(symbol="F_eq", unit="N", source=ISO_24817, clause="7.5.3", status="from memory", F_ax="N", M="N*mm", D="mm")
def equivalent_force_compressed(F_ax, M, D):
    """Equivalent axial force where bending compresses.

    Bending acts with both signs: this side has the least relief for the hoop direction. Tension is positive.
    """
    return F_ax - 4 * absolute(M) / D


@formula(symbol="p_eq", unit="MPa", source=ISO_24817, clause="7.5.3", status="from memory",
         p="MPa", D="mm", F_sh="N", M_to="N*mm")
def equivalent_pressure(p, D, F_sh, M_to):
    """Equivalent pressure with shear force and torsion.

    For p above 0. For torsion slightly more than the greatest principal stress asks for. A transverse force enters by
    the mean of its shear, whose peak is twice that: with a large one the form may fall short. Shear and torsion in
    size.
    """
    return p * (1 + 16 / (pi * D ** 2 * p) ** 2 * (F_sh + 2 * M_to / D) ** 2)


@formula(symbol="p_soil", unit="MPa", source=MECHANICS, clause="", status="derived", unit_bound=True,
         rho="kg/L", h="mm")
def soil_pressure(rho, h):
    """Pressure of the soil above the pipe.

    Weight of the cover, h in mm; the standards' own soil formula was not recalled. No arching is credited.
    """
    return 9.80665e-6 * rho * h


@formula(symbol="p_out", unit="MPa", source=MECHANICS, clause="", status="derived",
         p_ext="MPa", p_soil="MPa", p_surf="MPa")
def outside_pressure(p_ext, p_soil, p_surf):
    """Outside pressure: water or vacuum, soil, and load on the surface."""
    return p_ext + p_soil + p_surf


@formula(symbol="D_m", unit="mm", source=MECHANICS, clause="", status="derived", D="mm", t="mm", t_s="mm")
def ring_mean_diameter(D, t, t_s):
    """Mean diameter of the remaining wall, taken all round.

    As for loss outside, which leaves the smaller ring; t is the sound wall.
    """
    return D - 2 * t + t_s


@formula(symbol="tau_w", unit="MPa", source=MECHANICS, clause="", status="derived",
         F_sh="N", M_to="N*mm", D_m="mm", t_s="mm")
def shear_stress(F_sh, M_to, D_m, t_s):
    """Shear stress of the remaining wall by shear force and torsion, without pressure.

    The remaining wall all round, as a thin tube of its mean diameter: greatest shear under a transverse force, and that
    of torsion.
    """
    return 2 * F_sh / (pi * D_m * t_s) + 2 * M_to / (pi * D_m ** 2 * t_s)


@formula(symbol="tau_s", unit="MPa", source=MECHANICS, clause="", status="derived", s="MPa")
def allowable_shear(s):
    """Allowable shear stress: half the allowable stress, by the greatest shear."""
    return s / 2
