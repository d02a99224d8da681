"""Reduced pressures: pressures of transmission lines."""

RANGES = {
    ("reduced_pressure_by_design_factor", "P_F"): (2, 30),
    ("reduced_pressure_by_design_factor", "F"): (0.4, 0.8),
    ("reduced_pressure_by_failure_ratio", "P_F"): (2, 30),
    ("reduced_pressure_by_failure_ratio", "k_red"): (1.05, 1.5),
    ("reduced_pressure_from_recent_months", "phi"): (0.7, 0.9),
    ("reduced_pressure_from_recent_months", "P_2m"): (1, 15),
}
