"""Mixing: batches of some kilograms, doses of some per cent, pot lives of minutes."""

_AIR = {"T_air": (-5, 45), "T_s": (-5, 45)}
_ROWS = {"T_a": (0, 9), "T_b": (21, 40), "T": (9, 21)}
_SHARE, _TIME, _MASS, _SMALL = (0.01, 0.4), (0.1, 2), (0.3, 6), (0.005, 1)

RANGES = {
    **{(name, n): bounds for name in ("highest_temperature", "lowest_temperature") for n, bounds in _AIR.items()},
    **{(name, n): bounds for name in ("dose_between", "pack_dose_between") for n, bounds in _ROWS.items()},
    ("dose_between", "s_a"): _SHARE, ("dose_between", "s_b"): _SHARE,
    ("pack_dose_between", "m_a"): _SMALL, ("pack_dose_between", "m_b"): _SMALL,
    ("resin_in_batch", "N_b"): (1, 5), ("resin_in_batch", "m_1"): _MASS,
    ("hardener_of_packs", "N_b"): (1, 5), ("hardener_of_packs", "m_1h"): _SMALL,
    **{(name, n): bounds for name in ("hardener_of_resin", "hardener_of_mix")
       for n, bounds in (("s", _SHARE), ("m_r", _MASS))},
    **{(name, n): bounds for name in ("mixed_mass", "mixed_volume", "ratio_by_mass", "ratio_by_volume")
       for n, bounds in (("m_r", _MASS), ("m_h", _SMALL))},
    **{(name, n): (0.8, 2) for name in ("mixed_volume", "ratio_by_volume") for n in ("rho_r", "rho_h")},
    ("pack_difference", "m_1"): (0.2, 4), ("pack_difference", "m_1h"): _SMALL, ("pack_difference", "m_pack"): (0.5, 5),
    ("batches_of_packs", "N_p"): (1, 40), ("batches_of_packs", "N_b"): (1, 5),
    ("part_of_last_pack", "N_p"): (1, 8),
    ("shorter_pot_life", "t_1"): _TIME, ("shorter_pot_life", "t_2"): _TIME,
    ("mixing_times", "t_1"): _TIME, ("mixing_times", "t_2"): _TIME,
    ("mixing_of_batches", "N_s"): (1, 4), ("mixing_of_batches", "t_1"): _TIME,
    ("batches_for_set", "m_m"): _MASS,
    ("length_per_clock", "N_u"): (1, 4), ("length_per_clock", "C"): (2, 60),
    ("laying_time", "C_b"): (2, 60), ("laying_time", "v"): (0.01, 0.2),
    ("time_needed", "t_m"): _TIME, ("time_needed", "t_l"): _TIME, ("time_needed", "N_u"): (1, 4),
    ("time_needed", "t_c"): _TIME,
    ("time_allowed", "phi"): (0.4, 1), ("time_allowed", "t_p"): _TIME,
    ("window_margin", "t_al"): _TIME, ("window_margin", "t_n"): _TIME,
}
