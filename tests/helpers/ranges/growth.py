"""Growth and sizing error: pits of some millimetres, rates of corrosion in soil, years of a pipe's life."""

_YEARS, _AGE, _RATE = (0, 40), (2, 60), (0.02, 0.6)
RANGES: dict[tuple[str, str], tuple[float, float]] = {
    ("growth_rate_two_measurements", "d_2"): (3, 6), ("growth_rate_two_measurements", "d_1"): (0, 3),
    ("growth_rate_two_measurements", "T_12"): (1, 20),
    **{(f"growth_rate_{basis}_life", n): bounds for basis in ("full", "half")
       for n, bounds in (("d", (0.2, 6)), ("T_a", _AGE))},
    ("depth_after", "d"): (0.2, 6), ("depth_after", "r"): _RATE, ("depth_after", "T"): _YEARS,
    ("limiting_depth", "eta_lim"): (0.6, 0.9), ("limiting_depth", "t"): (5, 25),
    ("time_to_depth", "d_lim"): (4, 20), ("time_to_depth", "d"): (0.2, 3.9), ("time_to_depth", "r"): _RATE,
    ("remaining_life", "T_d"): (1, 60), ("remaining_life", "T_P"): (1, 60),
    ("shorter_time", "T_a"): (1, 20), ("shorter_time", "T_b"): (1, 20),
    ("pressure_at_end_of_life", "k_F"): (1, 1.5), ("pressure_at_end_of_life", "MAOP"): (2, 12),
    ("reinspection_interval", "T_life"): (1, 60), ("reinspection_interval", "T_rule"): (5, 20),
    ("response_time", "FPR"): (1.0, 2.4), ("response_time", "k_0"): (1.05, 1.2),
    ("response_time", "k_1"): (1.3, 2.0), ("response_time", "T_1"): (5, 20),
    ("deviation_from_tolerance", "a_tol"): (0.1, 20), ("deviation_from_tolerance", "C"): (0.5, 0.999),
    ("tolerance_of_difference", "a_tol"): (0.1, 2),
    ("deviation_two_measurements", "sigma_d"): (0.05, 1.5), ("deviation_two_measurements", "T"): _YEARS,
    ("deviation_two_measurements", "T_12"): (1, 20),
    ("deviation_over_life", "sigma_d"): (0.05, 1.5), ("deviation_over_life", "T"): _YEARS,
    ("deviation_over_life", "n"): (1, 3), ("deviation_over_life", "T_a"): _AGE,
    ("exceedance_of_depth", "d"): (1, 9), ("exceedance_of_depth", "d_lim"): (4, 9),
    ("exceedance_of_depth", "sigma_d"): (0.2, 1.5),
}
