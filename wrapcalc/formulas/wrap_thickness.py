"""Thickness of the wrap for a defect that is not through-wall: hoop direction, three routes, and their gates."""

from wrapcalc.expression import absolute, ceil, maximum, minimum
from wrapcalc.formula import formula
from wrapcalc.standards.documents import ISO_24817, MECHANICS


@formula(symbol="t_s", unit="mm", source=ISO_24817, clause="7.5", status="from memory", t="mm", d="mm")
def remaining_wall(t, d):
    """Remaining wall at the end of the repair's life.

    External loss stops growing under a wrap.
    """
    return t - d


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


@formula(symbol="Delta_T", unit="delta_degC", source=ISO_24817, clause="7.5.5", status="from memory",
         T_d="degC", T_min="degC", T_i="degC")
def temperature_change(T_d, T_min, T_i):
    """Greatest change from the installation temperature, hotter or colder."""
    return maximum(absolute(T_d - T_i), absolute(T_min - T_i))


@formula(symbol="eps_c", unit="", source=ISO_24817, clause="7.5.5", status="from memory",
         f_T="", eps_0="", Delta_T="delta_degC", alpha_s="1/delta_degC", alpha_c="1/delta_degC")
def allowable_hoop_strain(f_T, eps_0, Delta_T, alpha_s, alpha_c):
    """Allowable hoop strain of the laminate.

    Temperature factor on the tabulated strain, less the thermal mismatch between steel and laminate, which is
    always taken as unfavourable. Cyclic factor 1: no more than 7000 pressure cycles.
    """
    return f_T * eps_0 - Delta_T * absolute(alpha_s - alpha_c)


@formula(symbol="eps_a", unit="", source=ISO_24817, clause="7.5.5", status="from memory",
         f_T="", eps_0="", Delta_T="delta_degC", alpha_s="1/delta_degC", alpha_a="1/delta_degC")
def allowable_axial_strain(f_T, eps_0, Delta_T, alpha_s, alpha_a):
    """Allowable axial strain of the laminate.

    As in the hoop direction, with the axial expansion. What is left after the mismatch must be more than nothing,
    or the laminate is spent by temperature alone.
    """
    return f_T * eps_0 - Delta_T * absolute(alpha_s - alpha_a)


@formula(symbol="t_LS", unit="mm", source=ISO_24817, clause="7.5.4", status="from memory",
         D="mm", s="MPa", E_s="MPa", E_c="MPa", p="MPa", p_s="MPa")
def thickness_load_sharing(D, s, E_s, E_c, p, p_s):
    """Thickness, load sharing.

    The steel stays elastic and shares the load; no pressure in the pipe while wrapping.
    """
    return maximum(0, D / (2 * s) * (E_s / E_c) * (p - p_s))


@formula(symbol="t_live", unit="mm", source=MECHANICS, clause="", status="derived",
         t_LS="mm", p_s="MPa", p_live="MPa")
def thickness_load_sharing_live(t_LS, p_s, p_live):
    """Thickness, load sharing with pressure while wrapping.

    The wrap carries only the pressure added after it has cured, so the ligament reaches its allowable stress
    earlier and the wrap must be stiffer. For p_live < p_s. Neither standard writes this check.
    """
    return t_LS * p_s / (p_s - p_live)


@formula(symbol="t_Y", unit="mm", source=ISO_24817, clause="7.5.4", status="from memory",
         p="MPa", D="mm", S_y="MPa", t_s="mm", eps_c="", E_c="MPa")
def thickness_yielded_steel(p, D, S_y, t_s, eps_c, E_c):
    """Thickness, yielded steel.

    The steel carries its yield load; no credit for pressure while wrapping.
    """
    return (p * D / 2 - S_y * t_s) / (eps_c * E_c)


@formula(symbol="t_eps", unit="mm", source=ISO_24817, clause="7.5.5", status="from memory",
         p="MPa", D="mm", E_c="MPa", eps_c="")
def thickness_laminate_strain(p, D, E_c, eps_c):
    """Thickness, laminate strain.

    The laminate alone carries the pressure within its strain; no Poisson relief.
    """
    return p * D / (2 * E_c * eps_c)


@formula(symbol="sigma_s", unit="MPa", source=MECHANICS, clause="", status="derived",
         p="MPa", D="mm", t_s="mm", t_c="mm", E_c="MPa", E_s="MPa")
def ligament_stress_elastic(p, D, t_s, t_c, E_c, E_s):
    """Stress of the remaining wall under the wrap if it stayed elastic.

    Above SMYS the steel yields, which is what the yielded-steel route assumes.
    """
    return p * D / (2 * (t_s + t_c * E_c / E_s))


@formula(symbol="sigma_live", unit="MPa", source=MECHANICS, clause="", status="derived",
         p_live="MPa", D="mm", t_s="mm")
def ligament_stress_installation(p_live, D, t_s):
    """Stress of the remaining wall at the installation pressure."""
    return p_live * D / (2 * t_s)


@formula(symbol="t_eq", unit="mm", source=MECHANICS, clause="", status="derived", p_s="MPa", D="mm", s="MPa")
def equivalent_wall(p_s, D, s):
    """Wall of a sound ring that is as strong as the damaged pipe.

    The wall whose stress is s at the safe pressure p_s: what load sharing takes the damaged pipe for.
    """
    return p_s * D / (2 * s)


@formula(symbol="eps_w", unit="", source=MECHANICS, clause="", status="derived",
         p="MPa", D="mm", E_s="MPa", t_eq="mm", E_c="MPa", t_c="mm")
def wrap_strain_load_sharing(p, D, E_s, t_eq, E_c, t_c):
    """Hoop strain of the wrap, load sharing.

    Steel and wrap side by side under the whole pressure, for a pipe that was empty while wrapping: any pressure in
    it then leaves less for the wrap. Holds for a wrap thicker than required, too, which draws more load.
    """
    return p * D / (2 * (E_s * t_eq + E_c * t_c))


@formula(symbol="n", unit="", source=ISO_24817, clause="7.5", status="from memory",
         t_req="mm", t_ply="mm", n_min="")
def layers_required(t_req, t_ply, n_min):
    """Number of layers, whole, never fewer than the system's least.

    One part in 10⁹ is taken off before rounding up, so that an exact multiple is not raised by the computer's
    arithmetic.
    """
    return maximum(n_min, ceil(t_req / t_ply - 1e-9))


@formula(symbol="t_c", unit="mm", source=MECHANICS, clause="", status="derived", n="", t_ply="mm")
def wrap_thickness(n, t_ply):
    """Wrap thickness: layers times ply.

    Bond lines carry nothing and are not counted.
    """
    return n * t_ply


@formula(symbol="chi", unit="", source=MECHANICS, clause="", status="derived", D="mm", t_c="mm")
def slenderness(D, t_c):
    """Outside diameter over wrap thickness."""
    return D / t_c
