"""Thickness of the wrap for a defect that is not through-wall: around and along the pipe, and what checks it."""

from wrapcalc.expression import absolute, cases, ceil, maximum, pi, sqrt
from wrapcalc.formula import formula
from wrapcalc.standards.documents import ISO_24817, MECHANICS


@formula(symbol="t_s", unit="mm", source=ISO_24817, clause="7.5", status="from memory", t="mm", d="mm")
def remaining_wall(t, d):
    """Remaining wall at the end of the repair's life.

    External loss stops growing under a wrap.
    """
    return t - d


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

    The steel carries its yield load; no credit for pressure while wrapping. Nothing or less where the steel does not
    yield: the route does not apply there.
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


@formula(symbol="p_a", unit="MPa", source=MECHANICS, clause="", status="derived",
         F_eq="N", D="mm", s="MPa", sigma_a="MPa")
def axial_capacity(F_eq, D, s, sigma_a):
    """Axial capacity of the damaged section, as a pressure.

    The equivalent force at which the greatest stress of the net section reaches s, over the area πD²/2. Taken from the
    section by its circumferential extent, never from a metal-loss method. For a loss right round the pipe it is
    twice s times the remaining wall, over D.
    """
    return 2 * absolute(F_eq) / (pi * D ** 2) * s / sigma_a


@formula(symbol="t_LSa", unit="mm", source=ISO_24817, clause="7.5.4", status="from memory",
         D="mm", s="MPa", E_s="MPa", E_a="MPa", F_eq="N", p_a="MPa")
def thickness_load_sharing_axial(D, s, E_s, E_a, F_eq, p_a):
    """Thickness, load sharing along the pipe.

    The steel stays elastic and shares the axial load; no load on the pipe while wrapping.
    """
    return maximum(0, D / (2 * s) * (E_s / E_a) * (2 * absolute(F_eq) / (pi * D ** 2) - p_a))


@formula(symbol="p_al", unit="MPa", source=MECHANICS, clause="", status="derived", sigma_live="MPa", p_a="MPa", s="MPa")
def axial_load_while_wrapping(sigma_live, p_a, s):
    """Axial load on the section while wrapping, as a pressure like the axial capacity."""
    return p_a * sigma_live / s


@formula(symbol="eps_wa", unit="", source=MECHANICS, clause="", status="derived",
         F_eq="N", D="mm", E_s="MPa", t_ea="mm", E_a="MPa", t_c="mm")
def wrap_axial_strain_load_sharing(F_eq, D, E_s, t_ea, E_a, t_c):
    """Axial strain of the wrap, load sharing.

    Steel and wrap side by side under the whole axial load; t_ea is the wall of a sound ring as strong as the section.
    """
    return absolute(F_eq) / (pi * D * (E_s * t_ea + E_a * t_c))


@formula(symbol="t_eps", unit="mm", source=ISO_24817, clause="7.5.5", status="from memory",
         p="MPa", D="mm", E_c="MPa", F_eq="N", nu="", eps_c="")
def thickness_strain_hoop(p, D, E_c, F_eq, nu, eps_c):
    """Thickness, laminate strain around the pipe.

    The laminate alone carries the load. The axial force relieves the hoop strain only where it surely acts; a
    compressive one adds to it.
    """
    return maximum(0, (p * D / (2 * E_c) - F_eq * nu / (pi * D * E_c)) / eps_c)


@formula(symbol="t_ax", unit="mm", source=ISO_24817, clause="7.5.5", status="from memory",
         F_eq="N", D="mm", E_a="MPa", p="MPa", nu="", E_c="MPa", eps_a="")
def thickness_strain_axial(F_eq, D, E_a, p, nu, E_c, eps_a):
    """Thickness, laminate strain along the pipe.

    The laminate alone carries the load. Pressure relieves the strain of a pulled pipe, only where it surely acts; that
    of a pipe pushed together it adds to.
    """
    return cases((F_eq >= 0, maximum(0, (F_eq / (pi * D * E_a) - p * D * nu / (2 * E_c)) / eps_a)),
                 (True, (p * D * nu / (2 * E_c) - F_eq / (pi * D * E_a)) / eps_a))


@formula(symbol="t_ax", unit="mm", source=ISO_24817, clause="7.5.5", status="from memory",
         F_eq="N", D="mm", E_a="MPa", eps_a="")
def thickness_strain_axial_no_relief(F_eq, D, E_a, eps_a):
    """Thickness, laminate strain along the pipe, without relief from pressure."""
    return absolute(F_eq) / (pi * D * E_a * eps_a)


@formula(symbol="s_lt", unit="MPa", source=ISO_24817, clause="7.5.6", status="from memory",
         p_t="MPa", D_t="mm", E_c="MPa", t_ct="mm", E_s="MPa", t_st="mm")
def long_term_strength_survival(p_t, D_t, E_c, t_ct, E_s, t_st):
    """Long-term strength of the laminate from a survival test.

    Stress of the laminate at the pressure that the wrapped spool withstood; the steel of the spool stays elastic.
    """
    return p_t * D_t * E_c / (2 * (E_c * t_ct + E_s * t_st))


@formula(symbol="t_lt", unit="mm", source=ISO_24817, clause="7.5.6", status="from memory",
         p="MPa", D="mm", f="", f_T2="", s_lt="MPa")
def thickness_long_term(p, D, f, f_T2, s_lt):
    """Thickness, long-term strength.

    The laminate alone carries the pressure within its factored long-term strength.
    """
    return p * D / (2 * f * f_T2 * s_lt)


@formula(symbol="t_lts", unit="mm", source=ISO_24817, clause="7.5.6", status="from memory",
         p="MPa", D="mm", t_s="mm", s="MPa", f="", f_T2="", s_lt="MPa")
def thickness_long_term_shared(p, D, t_s, s, f, f_T2, s_lt):
    """Thickness, long-term strength, remaining wall credited."""
    return maximum(0, (p * D / 2 - t_s * s) / (f * f_T2 * s_lt))


@formula(symbol="q", unit="N/mm", source=ISO_24817, clause="7.5.4", status="from memory",
         p="MPa", D="mm", S_y="MPa", t_s="mm")
def load_beyond_yield(p, D, S_y, t_s):
    """Load per length that the yielded wall does not carry."""
    return p * D / 2 - S_y * t_s


@formula(symbol="b", unit="N/mm", source=MECHANICS, clause="", status="derived",
         eps_c="", E_s="MPa", t_s="mm", q="N/mm", p_live="MPa", D="mm")
def linear_term(eps_c, E_s, t_s, q, p_live, D):
    """Linear term of the quadratic for the wrap stiffness."""
    return eps_c * E_s * t_s - q + p_live * D / 2


@formula(symbol="t_Yl", unit="mm", source=MECHANICS, clause="", status="derived",
         b="N/mm", eps_c="", q="N/mm", E_s="MPa", t_s="mm", E_c="MPa")
def thickness_yielded_steel_live(b, eps_c, q, E_s, t_s, E_c):
    """Thickness, yielded steel, with credit for pressure while wrapping.

    Exact root of the implicit equation of the standards. Information only: once the steel has yielded the wrap carries
    the same load whatever the pressure was, so that the credit is not on the safe side.
    """
    return (sqrt(b ** 2 + 4 * eps_c * q * E_s * t_s) - b) / (2 * eps_c * E_c)


@formula(symbol="p_lim", unit="MPa", source=MECHANICS, clause="", status="derived", p_s="MPa", t_LS="mm", t_c="mm")
def installation_pressure_limit(p_s, t_LS, t_c):
    """Highest pressure while wrapping for which this thickness suffices, load sharing.

    Zero where the wrap is too thin even for an empty pipe.
    """
    return maximum(0, p_s * (1 - t_LS / t_c))


@formula(symbol="t_des", unit="mm", source=ISO_24817, clause="7.5", status="from memory", t_max="mm", f_m="")
def design_thickness(t_max, f_m):
    """Design thickness: the greatest of those required, times the factor of the component or of limited room."""
    return t_max * f_m


@formula(symbol="n", unit="", source=MECHANICS, clause="", status="derived", n_s="", n_t="")
def layers_of_tiers(n_s, n_t):
    """Layers of several sleeves one over the other."""
    return n_s * n_t


@formula(symbol="t_max", unit="mm", source=ISO_24817, clause="7.5", status="from memory", t_1="mm", t_2="mm")
def greater_thickness(t_1, t_2):
    """The greater of two thicknesses required."""
    return maximum(t_1, t_2)


@formula(symbol="sigma_ring", unit="MPa", source=MECHANICS, clause="", status="derived",
         p_live="MPa", p="MPa", D="mm", t_eq="mm", E_s="MPa", E_c="MPa", t_c="mm")
def steel_stress_shared(p_live, p, D, t_eq, E_s, E_c, t_c):
    """Hoop stress of elastic steel under the wrap.

    The steel alone carries the pressure while wrapping, steel and wrap together what is added afterwards. For p of at
    least p_live.
    """
    return p_live * D / (2 * t_eq) + (p - p_live) * D / (2 * (t_eq + t_c * E_c / E_s))
