"""Mixing and the working window: governing temperature, dose, masses of a batch, ratios, time needed and allowed."""

from wrapcalc.expression import absolute, ceil, maximum, minimum
from wrapcalc.formula import formula
from wrapcalc.standards.documents import MECHANICS, PRACTICE


@formula(symbol="T_g", unit="degC", source=MECHANICS, clause="", status="derived", T_air="degC", T_s="degC")
def highest_temperature(T_air, T_s):
    """Governing temperature: the highest of air and steel."""
    return maximum(T_air, T_s)


@formula(symbol="T_g", unit="degC", source=MECHANICS, clause="", status="derived", T_air="degC", T_s="degC")
def lowest_temperature(T_air, T_s):
    """Governing temperature: the lowest of air and steel."""
    return minimum(T_air, T_s)


@formula(symbol="s", unit="", source=MECHANICS, clause="", status="derived",
         s_a="", s_b="", T_a="degC", T_b="degC", T="degC")
def dose_between(s_a, s_b, T_a, T_b, T):
    """Dose of hardener as a share, between two rows of the table.

    Linear in the temperature; only for T from T_a to T_b.
    """
    return s_a + (s_b - s_a) * (T - T_a) / (T_b - T_a)


@formula(symbol="m_1h", unit="kg", source=MECHANICS, clause="", status="derived",
         m_a="kg", m_b="kg", T_a="degC", T_b="degC", T="degC")
def pack_dose_between(m_a, m_b, T_a, T_b, T):
    """Dose of hardener for one pack, between two rows of the table.

    Linear in the temperature; only for T from T_a to T_b.
    """
    return m_a + (m_b - m_a) * (T - T_a) / (T_b - T_a)


@formula(symbol="m_r", unit="kg", source=MECHANICS, clause="", status="derived", N_b="", m_1="kg")
def resin_in_batch(N_b, m_1):
    """Resin in one batch."""
    return N_b * m_1


@formula(symbol="m_h", unit="kg", source=MECHANICS, clause="", status="derived", N_b="", m_1h="kg")
def hardener_of_packs(N_b, m_1h):
    """Hardener for one batch, dose per pack."""
    return N_b * m_1h


@formula(symbol="m_h", unit="kg", source=MECHANICS, clause="", status="derived", s="", m_r="kg")
def hardener_of_resin(s, m_r):
    """Hardener for one batch, dose as a share of the resin."""
    return s * m_r


@formula(symbol="m_h", unit="kg", source=MECHANICS, clause="", status="derived", s="", m_r="kg")
def hardener_of_mix(s, m_r):
    """Hardener for one batch, dose as a share of the mix.

    From s = m_h / (m_r + m_h).
    """
    return s / (1 - s) * m_r


@formula(symbol="m_m", unit="kg", source=MECHANICS, clause="", status="derived", m_r="kg", m_h="kg")
def mixed_mass(m_r, m_h):
    """Mass of one mixed batch."""
    return m_r + m_h


@formula(symbol="V_m", unit="L", source=MECHANICS, clause="", status="derived",
         m_r="kg", m_h="kg", rho_r="kg/L", rho_h="kg/L")
def mixed_volume(m_r, m_h, rho_r, rho_h):
    """Volume of one mixed batch; what the parts lose when they mix is not counted."""
    return m_r / rho_r + m_h / rho_h


@formula(symbol="r_m", unit="", source=MECHANICS, clause="", status="derived", m_h="kg", m_r="kg")
def ratio_by_mass(m_h, m_r):
    """Hardener over resin, by mass."""
    return m_h / m_r


@formula(symbol="r_v", unit="", source=MECHANICS, clause="", status="derived",
         m_h="kg", m_r="kg", rho_h="kg/L", rho_r="kg/L")
def ratio_by_volume(m_h, m_r, rho_h, rho_r):
    """Hardener over resin, by volume.

    It differs from the ratio by mass wherever the densities differ.
    """
    return m_h / rho_h / (m_r / rho_r)


@formula(symbol="e_p", unit="", source=MECHANICS, clause="", status="derived", m_1="kg", m_1h="kg", m_pack="kg")
def pack_difference(m_1, m_1h, m_pack):
    """How far resin and hardener of one pack are from the stated mass of the pack."""
    return absolute(m_1 + m_1h - m_pack) / m_pack


@formula(symbol="N", unit="", source=MECHANICS, clause="", status="derived", N_p="", N_b="")
def batches_of_packs(N_p, N_b):
    """Batches into which the packs go; the last one may hold fewer packs, all of them whole.

    One part in 10⁹ is taken off before rounding up, so that the computer's arithmetic raises no exact multiple.
    """
    return ceil(N_p / N_b - 1e-9)


@formula(symbol="x_p", unit="", source=MECHANICS, clause="", status="derived", m="kg", m_pack="kg", N_p="")
def part_of_last_pack(m, m_pack, N_p):
    """Share of the last pack that the mass asks for; 1 when it is whole packs."""
    return m / m_pack - (N_p - 1)


@formula(symbol="t_p", unit="hour", source=MECHANICS, clause="", status="derived", t_1="hour", t_2="hour")
def shorter_pot_life(t_1, t_2):
    """Pot life of two materials that are laid wet together: one clock, the shorter one governs."""
    return minimum(t_1, t_2)


@formula(symbol="t_m", unit="hour", source=MECHANICS, clause="", status="derived", t_1="hour", t_2="hour")
def mixing_times(t_1, t_2):
    """Mixing times one after the other, on one clock."""
    return t_1 + t_2


@formula(symbol="t_m", unit="hour", source=MECHANICS, clause="", status="derived", N_s="", t_1="hour")
def mixing_of_batches(N_s, t_1):
    """Time to mix all batches for the units that are laid on one clock."""
    return N_s * t_1


@formula(symbol="N_s", unit="", source=MECHANICS, clause="", status="derived", m="kg", m_m="kg")
def batches_for_set(m, m_m):
    """Batches that the units laid on one clock need.

    One part in 10⁹ is taken off before rounding up, so that the computer's arithmetic raises no exact multiple.
    """
    return ceil(m / m_m - 1e-9)


@formula(symbol="C_b", unit="m", source=MECHANICS, clause="", status="derived", N_u="", C="m")
def length_per_clock(N_u, C):
    """Length of wrap laid on one clock: its units, each taken as long as the longest."""
    return N_u * C


@formula(symbol="t_l", unit="hour", source=MECHANICS, clause="", status="derived", unit_bound=True, C_b="m", v="m/s")
def laying_time(C_b, v):
    """Time to lay the wrap."""
    return C_b / (v * 3600)


@formula(symbol="t_n", unit="hour", source=PRACTICE, clause="", status="common practice",
         t_m="hour", t_l="hour", N_u="", t_c="hour")
def time_needed(t_m, t_l, N_u, t_c):
    """Time that the crew needs: mixing, laying, and consolidating each unit.

    The clock starts when hardener first meets resin.
    """
    return t_m + t_l + N_u * t_c


@formula(symbol="t_al", unit="hour", source=PRACTICE, clause="", status="common practice", phi="", t_p="hour")
def time_allowed(phi, t_p):
    """Time that the crew may use: a share of the pot life."""
    return phi * t_p


@formula(symbol="t_x", unit="hour", source=MECHANICS, clause="", status="derived", t_al="hour", t_n="hour")
def window_margin(t_al, t_n):
    """Margin of the working window."""
    return t_al - t_n
