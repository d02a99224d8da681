"""Remaining strength from the area lost over a sub-length of a measured profile.

Which sub-length governs is a search (`wrapcalc.searches.sub_lengths`); these are the closed formulas at the one it
finds. The bulging factor is that of the 0.85 dL form, with the sub-length as length.
"""

from wrapcalc.formula import formula
from wrapcalc.standards.documents import KIEFNER_VIETH


@formula(symbol="d_eff", unit="mm", source=KIEFNER_VIETH, clause="effective area", status="from memory",
         A_eff="mm**2", L_eff="mm")
def mean_depth_effective(A_eff, L_eff):
    """Mean depth over the effective length."""
    return A_eff / L_eff


@formula(symbol="S_F", unit="MPa", source=KIEFNER_VIETH, clause="effective area", status="from memory",
         S_flow="MPa", A_eff="mm**2", L_eff="mm", t="mm", M="")
def failure_stress_effective_area(S_flow, A_eff, L_eff, t, M):
    """Failure stress, effective area.

    The area lost over the effective length stands in the place of 0.85 d L. Level 2 of ASME B31G-2012 has the same
    form. For d/t ≤ 0.80 everywhere on the profile.
    """
    return S_flow * (1 - A_eff / (L_eff * t)) / (1 - A_eff / (L_eff * t * M))
