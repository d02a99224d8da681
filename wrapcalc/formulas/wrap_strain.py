"""Temperature, fatigue and strain: what the laminate may do over its life."""

from wrapcalc.expression import absolute, cases, log10, minimum, sqrt
from wrapcalc.formula import formula
from wrapcalc.standards.documents import ISO_24817, ISO_24817_2006


@formula(symbol="T_g", unit="degC", source=ISO_24817, clause="7.4", status="from memory", T_a="degC", T_b="degC")
def lower_glass_transition(T_a, T_b):
    """Lower of two glass transition temperatures."""
    return minimum(T_a, T_b)


@formula(symbol="T_m", unit="degC", source=ISO_24817, clause="7.4", status="from memory",
         T_g="degC", Delta_T="delta_degC")
def upper_temperature_limit(T_g, Delta_T):
    """Upper temperature limit of the repair system."""
    return T_g - Delta_T


@formula(symbol="x", unit="delta_degC", source=ISO_24817, clause="7.5.5", status="from memory",
         T_m="degC", T_d="degC")
def temperature_margin(T_m, T_d):
    """Margin between upper temperature limit and service temperature."""
    return T_m - T_d


@formula(symbol="f_T", unit="", source=ISO_24817, clause="7.5.5", status="from memory", unit_bound=True,
         x="delta_degC")
def temperature_factor(x):
    """Temperature factor on the allowable strain.

    x in °C, at least 0.
    """
    return minimum(1, 6e-5 * x ** 2 + 0.001 * x + 0.7014)


@formula(symbol="f_T", unit="", source=ISO_24817_2006, clause="6", status="from memory", unit_bound=True,
         x="delta_degC", f_0="", f_20="", f_40="", f_50="", f_60="")
def temperature_factor_by_table(x, f_0, f_20, f_40, f_50, f_60):
    """Temperature factor on the allowable strain, by the table of the technical specification.

    x in °C, at least 0. The row at or below the margin; rows are not interpolated. One part in 10⁹ of a degree is the
    computer's arithmetic.
    """
    return cases((x + 1e-9 >= 60, f_60), (x + 1e-9 >= 50, f_50), (x + 1e-9 >= 40, f_40), (x + 1e-9 >= 20, f_20),
                 (True, f_0))


@formula(symbol="Delta_T", unit="delta_degC", source=ISO_24817, clause="7.5.5", status="from memory",
         T_d="degC", T_i="degC")
def temperature_change(T_d, T_i):
    """Change from the installation temperature, in size."""
    return absolute(T_d - T_i)


@formula(symbol="eps_c", unit="", source=ISO_24817, clause="7.5.5", status="from memory",
         f_c="", f_T="", eps_0="", Delta_T="delta_degC", alpha_s="1/delta_degC", alpha_c="1/delta_degC")
def allowable_hoop_strain(f_c, f_T, eps_0, Delta_T, alpha_s, alpha_c):
    """Allowable hoop strain of the laminate.

    Cyclic and temperature factor on the tabulated strain, less the thermal mismatch between steel and laminate, which
    is always taken as unfavourable.
    """
    return f_c * f_T * eps_0 - Delta_T * absolute(alpha_s - alpha_c)


@formula(symbol="eps_t", unit="", source=ISO_24817, clause="7.5.5", status="from memory",
         f_T="", eps_0="", Delta_T="delta_degC", alpha_s="1/delta_degC", alpha_c="1/delta_degC")
def allowable_hoop_strain_rare(f_T, eps_0, Delta_T, alpha_s, alpha_c):
    """Allowable hoop strain of the laminate under a load that occurs rarely.

    As for lasting load, without cyclic factor.
    """
    return f_T * eps_0 - Delta_T * absolute(alpha_s - alpha_c)


@formula(symbol="eps_a", unit="", source=ISO_24817, clause="7.5.5", status="from memory",
         f_c="", f_T="", eps_0="", Delta_T="delta_degC", alpha_s="1/delta_degC", alpha_a="1/delta_degC")
def allowable_axial_strain(f_c, f_T, eps_0, Delta_T, alpha_s, alpha_a):
    """Allowable axial strain of the laminate.

    As in the hoop direction, with the axial expansion. What is left after the mismatch must be more than nothing,
    or the laminate is spent by temperature alone.
    """
    return f_c * f_T * eps_0 - Delta_T * absolute(alpha_s - alpha_a)


@formula(symbol="f_T2", unit="", source=ISO_24817, clause="7.5.7", status="from memory", unit_bound=True,
         x="delta_degC")
def temperature_factor_strength(x):
    """Temperature factor on strength and on through-wall design.

    x in °C, at least 0. The least certain of the recalled curves; it lies up to 0.06 below the square of the factor on
    strain and at most 0.01 above.
    """
    return minimum(1, 9e-5 * x ** 2 + 0.0014 * x + 0.5014)


@formula(symbol="R_c", unit="", source=ISO_24817, clause="7.5.9", status="from memory", p_low="MPa", p_high="MPa")
def cycle_ratio(p_low, p_high):
    """Ratio of the lowest to the highest pressure of a cycle."""
    return p_low / p_high


@formula(symbol="f_c", unit="", source=ISO_24817, clause="7.5.9", status="from memory", N="", N_0="", R_c="")
def cyclic_factor(N, N_0, R_c):
    """Cyclic factor on the allowable strain.

    Up to N₀ cycles there is none. Just above, the factor falls at once: the step is in the recalled text and is not
    smoothed. For N₀ of at least 1000: the curve is above 1 for fewer than about 640 cycles.
    """
    return cases((N <= N_0, 1),
                 (True, sqrt(R_c ** 2 + (1 - R_c ** 2) / (2.888 * log10(N) - 7.108))))
