"""Remaining strength of external metal loss under internal pressure, from one depth and one length."""

from wrapcalc.expression import cases, maximum, minimum, sqrt
from wrapcalc.formula import formula
from wrapcalc.standards.documents import B31G_1991, B31G_2012, MECHANICS, PRACTICE


@formula(symbol="t", unit="mm", source=PRACTICE, clause="", status="common practice", t_n="mm", t_m="mm", a_t="mm")
def wall_for_assessment(t_n, t_m, a_t):
    """Wall used: smaller of nominal and measured, less allowance."""
    return minimum(t_n, t_m) - a_t


@formula(symbol="t", unit="mm", source=PRACTICE, clause="", status="common practice", t_g="mm", a_t="mm")
def wall_as_chosen(t_g, a_t):
    """Wall used: the wall that the case names, less allowance."""
    return t_g - a_t


@formula(symbol="d", unit="mm", source=PRACTICE, clause="", status="common practice", d_0="mm", a_d="mm")
def depth_for_assessment(d_0, a_d):
    """Depth used: greatest measured depth with allowance."""
    return d_0 + a_d


@formula(symbol="L", unit="mm", source=PRACTICE, clause="", status="common practice", L_0="mm", a_L="mm")
def length_for_assessment(L_0, a_L):
    """Length used: measured length with allowance."""
    return L_0 + a_L


@formula(symbol="t_mm", unit="mm", source=MECHANICS, clause="", status="derived", t="mm", d="mm")
def least_wall_in_loss(t, d):
    """Least wall in the loss."""
    return t - d


@formula(symbol="eta", unit="", source=MECHANICS, clause="", status="derived", d="mm", t="mm")
def relative_depth(d, t):
    """Depth over wall."""
    return d / t


@formula(symbol="z", unit="", source=B31G_2012, clause="1.2", status="from memory", L="mm", D="mm", t="mm")
def length_parameter(L, D, t):
    """Length parameter of the flaw."""
    return L ** 2 / (D * t)


@formula(symbol="A", unit="", source=B31G_1991, clause="part 4", status="from memory", L="mm", D="mm", t="mm")
def length_factor_1991(L, D, t):
    """Length factor of the 1991 form.

    A = 4 corresponds to z = 20.064, not 20: between them the two editions take different branches.
    """
    return 0.893 * L / sqrt(D * t)


@formula(symbol="P", unit="MPa", source=B31G_1991, clause="part 4", status="from memory",
         MAOP="MPa", S_y="MPa", t="mm", D="mm", F="", T="")
def reference_pressure_1991(MAOP, S_y, t, D, F, T):
    """Reference pressure of the 1991 form.

    The greater of the MAOP and the design pressure of the sound pipe.
    """
    return maximum(MAOP, 2 * S_y * t / D * F * T)


@formula(symbol="P_unc", unit="MPa", source=B31G_1991, clause="part 4", status="from memory",
         P="MPa", d="mm", t="mm", A="")
def safe_pressure_1991_uncapped(P, d, t, A):
    """Safe pressure of the 1991 form before its cap.

    Parabolic area (2/3 d L) up to A = 4, full-depth rectangle beyond; the jump between them is the manual's own.
    For 0.10 < d/t ≤ 0.80.
    """
    return cases((A <= 4, 1.1 * P * (1 - 2 * d / (3 * t)) / (1 - 2 * d / (3 * t * sqrt(A ** 2 + 1)))),
                 (True, 1.1 * P * (1 - d / t)))


@formula(symbol="P_91", unit="MPa", source=B31G_1991, clause="part 4", status="from memory", P_unc="MPa", P="MPa")
def safe_pressure_1991(P_unc, P):
    """Safe pressure, original form of 1991.

    Never above the reference pressure. It is already a safe pressure and is never divided by a safety factor again.
    """
    return minimum(P_unc, P)


@formula(symbol="S_flow", unit="MPa", source=B31G_2012, clause="1.7", status="from memory", k="", S_y="MPa")
def flow_stress_factor(k, S_y):
    """Flow stress as a multiple of SMYS (used with the original form)."""
    return k * S_y


@formula(symbol="S_flow", unit="MPa", source=B31G_2012, clause="1.7", status="from memory",
         S_y="MPa", Delta_S="MPa")
def flow_stress_increment(S_y, Delta_S):
    """Flow stress as SMYS plus an increment (used with the 0.85 dL form)."""
    return S_y + Delta_S


@formula(symbol="S_flow", unit="MPa", source=B31G_2012, clause="1.7", status="from memory", S_0="MPa", S_u="MPa")
def flow_stress_capped(S_0, S_u):
    """Flow stress, not above SMTS."""
    return minimum(S_0, S_u)


@formula(symbol="S_F", unit="MPa", source=B31G_2012, clause="2.2(a)", status="from memory",
         z="", S_flow="MPa", d="mm", t="mm")
def failure_stress_original(z, S_flow, d, t):
    """Failure stress, original form of 2012.

    Parabolic area with M = √(1 + 0.8 z) up to z = 20, full-depth rectangle beyond. For d/t ≤ 0.80.
    """
    return cases((z <= 20, S_flow * (1 - 2 * d / (3 * t)) / (1 - 2 * d / (3 * t * sqrt(1 + 0.8 * z)))),
                 (True, S_flow * (1 - d / t)))


@formula(symbol="M", unit="", source=B31G_2012, clause="2.2(b)", status="from memory", z="")
def bulging_factor_085dl(z):
    """Bulging factor of the 0.85 dL form."""
    return cases((z <= 50, sqrt(1 + 0.6275 * z - 0.003375 * z ** 2)), (True, 0.032 * z + 3.3))


@formula(symbol="S_F", unit="MPa", source=B31G_2012, clause="2.2(b)", status="from memory",
         S_flow="MPa", d="mm", t="mm", M="")
def failure_stress_085dl(S_flow, d, t, M):
    """Failure stress, 0.85 dL form.

    The lost area is taken as 0.85 d L. For d/t ≤ 0.80. For long, deep, flat loss (z > 20) the true area is larger
    and the form may predict too much.
    """
    return S_flow * (1 - 0.85 * d / t) / (1 - 0.85 * d / (t * M))


@formula(symbol="P_F", unit="MPa", source=B31G_2012, clause="2.2", status="from memory",
         S_F="MPa", t="mm", D="mm")
def failure_pressure(S_F, t, D):
    """Failure pressure from the failure stress."""
    return 2 * S_F * t / D
