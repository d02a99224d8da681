"""After the cure: pressure in steps up to its cap, and the voltage of the holiday test by the standard that is named.

Voltages are written with a stated voltage at a stated thickness, both table entries: the law is then right in any unit.
"""

from wrapcalc.expression import cases, sqrt
from wrapcalc.formula import formula
from wrapcalc.standards.documents import ASTM_G62, MECHANICS, PRACTICE, SP0274, SP0490


@formula(symbol="P_k", unit="MPa", source=PRACTICE, clause="", status="common practice",
         P_i="MPa", P_cap="MPa", k="", n="")
def restoration_step(P_i, P_cap, k, n):
    """Pressure after one step of the restoration.

    n equal steps from the pressure at installation P_i up to the cap P_cap; the last step is the cap.
    """
    return P_i + (P_cap - P_i) * k / n


@formula(symbol="V", unit="V", source=SP0274, clause="test voltage", status="seen", V_1="V", t="mm", t_1="mm")
def holiday_voltage_square_root(V_1, t, t_1):
    """Voltage of the holiday test, thick film.

    With 1250 V at 1 mil it is 1250 times the square root of the thickness in mil, about 250 times the square root of
    the thickness in µm. Read in a manual that quotes the standard.
    """
    return V_1 * sqrt(t / t_1)


@formula(symbol="V", unit="V", source=SP0490, clause="test voltage", status="seen", V_1="V", t="mm", t_1="mm")
def holiday_voltage_thin_film(V_1, t, t_1):
    """Voltage of the holiday test, fusion-bonded epoxy.

    In proportion to the thickness. The voltages per mil were read in a regulator's answer about this edition.
    """
    return V_1 * t / t_1


@formula(symbol="V", unit="V", source=ASTM_G62, clause="method B", status="from memory",
         V_a="V", V_b="V", t="mm", t_1="mm", t_k="mm")
def holiday_voltage_two_branches(V_a, V_b, t, t_1, t_k):
    """Voltage of the holiday test, two branches.

    Recalled as 525 times the square root of the thickness in mil up to 40 mil and 1250 times above. At t_k the thin
    branch holds. The two differ by a factor of 2.4 there.
    """
    return cases((t <= t_k, V_a * sqrt(t / t_1)), (True, V_b * sqrt(t / t_1)))


@formula(symbol="V_d", unit="V", source=MECHANICS, clause="", status="derived", V_g="V", t="mm", t_g="mm")
def voltage_across(V_g, t, t_g):
    """Voltage that breaks down a gap or a film of thickness t.

    In proportion to the thickness, from the strength V_g over t_g. Of air: below it a pinhole through the whole film is
    not found. Of the film: above it a sound film may be burnt.
    """
    return V_g * t / t_g
