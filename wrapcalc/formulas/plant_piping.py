"""Design pressure of straight plant pipe; the allowable stress is the case's, not a share of SMYS."""

from wrapcalc.formula import formula
from wrapcalc.standards.documents import B31_3, MECHANICS


@formula(symbol="P_des", unit="MPa", source=B31_3, clause="304.1.2, eq. (3a)", status="from memory",
         S="MPa", E="", W="", t="mm", D="mm", Y="")
def plant_design_pressure(S, E, W, t, D, Y):
    """Design pressure of straight plant pipe.

    The wall equation t = P D / (2 (S E W + P Y)) solved for P; t is the wall after every allowance (corrosion,
    threads, mill tolerance). S allowable stress at the design temperature, E quality factor of the seam, W strength
    reduction factor of the weld, Y wall coefficient. For t < D/6; thicker pipe needs more thought by the code itself.
    """
    return 2 * S * E * W * t / (D - 2 * Y * t)


@formula(symbol="P_long", unit="MPa", source=MECHANICS, clause="", status="derived", S="MPa", E_L="", t="mm", D="mm")
def plant_longitudinal_pressure(S, E_L, t, D):
    """Pressure that brings a closed plant pipe to its allowable longitudinal stress.

    End thrust on the outside diameter over a thin wall of the same diameter, pressure alone: no weight, no thermal
    load. E_L quality factor of the girth welds. Below the exact force balance on bore and wall, so on the safe side.
    """
    return 4 * S * E_L * t / D
