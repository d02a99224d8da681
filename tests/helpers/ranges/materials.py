"""Materials for the site: fillets, seals, blasting, storage."""

RANGES: dict[tuple[str, str], tuple[float, float]] = {
    ("seam_fairing_volume", "h_w"): (0.5, 4), ("seam_fairing_volume", "b_w"): (5, 40),
    ("start_ramp_volume", "k_e"): (2, 10), ("start_ramp_volume", "t_1"): (0.4, 3),
    ("end_seal_area", "b_s"): (40, 150),
    ("bond_line_volume", "k_b"): (1, 30), ("resin_in_layer", "k_b"): (1, 30), ("resin_in_layer", "D"): (0.1, 1.5),
    ("resin_in_layer", "t_ply"): (2e-4, 2e-3), ("resin_in_layer", "W"): (0.1, 3),
    ("prepared_length", "b_p"): (20, 100), ("abrasive_mass", "g_a"): (15, 60),
    ("coating_area", "b_p"): (20, 100), ("tie_in_area", "l_t"): (50, 600),
    ("shelf_life_consumed", "tau"): (1, 3000), ("shelf_life_consumed", "q_a"): (1.5, 3),
    ("shelf_life_consumed", "T_e"): (26, 50), ("shelf_life_consumed", "T_l"): (5, 25),
    ("shelf_life_consumed", "Delta_T"): (8, 12),
}
