"""Second opinions: a burst equation on the tensile strength, and the exact hoop stress of a thick wall."""

from wrapcalc.expression import exp, sqrt
from wrapcalc.formula import formula
from wrapcalc.standards.documents import LEIS_STEPHENS, MECHANICS


@formula(symbol="D_i", unit="mm", source=MECHANICS, clause="", status="derived", D="mm", t="mm")
def inside_diameter(D, t):
    """Inside diameter of the sound pipe."""
    return D - 2 * t


@formula(symbol="P_LS", unit="MPa", source=LEIS_STEPHENS, clause="closed form for blunt defects",
         status="from memory", S_u="MPa", t="mm", D="mm", d="mm", L="mm")
def leis_stephens_pressure(S_u, t, D, d, L):
    """Failure pressure on the tensile strength, flat-bottomed loss.

    For pipe of moderate to high toughness only, which fails by ductile collapse; not for brittle or old pipe of
    unknown toughness. Variants of the equation use the mean instead of the outside radius, or a factor 0.95 in front:
    the form here is the one recalled, a cross-check and never the governing form.
    """
    return 2 * S_u * t / D * (1 - d / t * (1 - exp(-0.157 * L / sqrt(D / 2 * (t - d)))))


@formula(symbol="sigma_i", unit="MPa", source=MECHANICS, clause="", status="derived", P="MPa", D="mm", D_i="mm")
def hoop_stress_at_bore(P, D, D_i):
    """Hoop stress at the bore of a thick elastic wall.

    After Lamé: equilibrium and compatibility of a round elastic tube, radial stress -P inside and 0 outside. It is the
    greatest hoop stress of the wall and does not depend on the elastic constants or on the end thrust.
    """
    return P * (D ** 2 + D_i ** 2) / (D ** 2 - D_i ** 2)


@formula(symbol="sigma_o", unit="MPa", source=MECHANICS, clause="", status="derived", P="MPa", D="mm", D_i="mm")
def hoop_stress_at_surface(P, D, D_i):
    """Hoop stress at the outer surface of a thick elastic wall.

    After Lamé, as at the bore; it is P less than there.
    """
    return 2 * P * D_i ** 2 / (D ** 2 - D_i ** 2)


@formula(symbol="P_i", unit="MPa", source=MECHANICS, clause="", status="derived", S="MPa", D="mm", D_i="mm")
def pressure_for_stress_at_bore(S, D, D_i):
    """Pressure that brings the bore of a thick elastic wall to a hoop stress.

    Lamé's hoop stress at the bore, solved for the pressure. First reaching of a stress, not collapse.
    """
    return S * (D ** 2 - D_i ** 2) / (D ** 2 + D_i ** 2)
