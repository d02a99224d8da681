"""Cross-check equations, fitness-for-service factors and plant piping."""

_TUBE = {"D": (150, 1200), "D_i": (60, 140)}
RANGES: dict[tuple[str, str], tuple[float, float]] = {
    ("inside_diameter", "t"): (3, 25),
    ("leis_stephens_pressure", "S_u"): (310, 730),
    ("leis_stephens_pressure", "t"): (6, 20),
    ("leis_stephens_pressure", "d"): (0.2, 4.8),
    **{(name, n): bounds for name in ("hoop_stress_at_bore", "hoop_stress_at_surface", "pressure_for_stress_at_bore")
       for n, bounds in _TUBE.items()},
    ("pressure_for_stress_at_bore", "S"): (100, 500),
    ("thickness_ratio", "t_mm"): (3, 9),
    ("thickness_ratio", "FCA"): (0, 1.5),
    ("thickness_ratio", "t_c"): (9, 25),
    ("shell_length_parameter", "s"): (10, 800),
    ("shell_length_parameter", "D_i"): (60, 1200),
    ("shell_length_parameter", "t_c"): (3, 25),
    ("bulging_factor_level_1", "lambda_s"): (0.02, 12),
    ("remaining_strength_factor", "R_t"): (0.2, 0.99),
    ("remaining_strength_factor", "M_t"): (1.01, 12),
    ("reduced_working_pressure", "MAWP"): (1, 20),
    ("reduced_working_pressure", "RSF"): (0.6, 1.0),
    ("reduced_working_pressure", "RSF_a"): (0.85, 0.95),
    ("least_distance_to_discontinuity", "k_d"): (1.5, 2.5),
    ("least_distance_to_discontinuity", "D_i"): (60, 1200),
    ("least_distance_to_discontinuity", "t_c"): (3, 25),
    ("plant_design_pressure", "S"): (80, 170),
    ("plant_design_pressure", "W"): (0.8, 1.0),
    ("plant_design_pressure", "t"): (2, 9),
    ("plant_design_pressure", "Y"): (0.35, 0.7),
    ("plant_longitudinal_pressure", "S"): (80, 170),
    ("plant_longitudinal_pressure", "E_L"): (0.6, 1.0),
    ("plant_longitudinal_pressure", "t"): (2, 9),
}
