"""Pressure in steps, and voltages of the holiday test."""

RANGES = {
    ("restoration_step", "P_i"): (0, 6), ("restoration_step", "P_cap"): (6, 12),
    ("restoration_step", "k"): (1, 10), ("restoration_step", "n"): (10, 20),
    ("holiday_voltage_square_root", "V_1"): (1000, 1500), ("holiday_voltage_square_root", "t"): (0.5, 19),
    ("holiday_voltage_square_root", "t_1"): (0.02, 0.03),
    ("holiday_voltage_thin_film", "V_1"): (100, 200), ("holiday_voltage_thin_film", "t"): (0.25, 0.76),
    ("holiday_voltage_thin_film", "t_1"): (0.02, 0.03),
    ("holiday_voltage_two_branches", "V_a"): (400, 600), ("holiday_voltage_two_branches", "V_b"): (1000, 1500),
    ("holiday_voltage_two_branches", "t"): (0.25, 2), ("holiday_voltage_two_branches", "t_1"): (0.02, 0.03),
    ("holiday_voltage_two_branches", "t_k"): (0.9, 1.1),
    ("voltage_across", "V_g"): (3000, 30000), ("voltage_across", "t"): (0.1, 20), ("voltage_across", "t_g"): (0.5, 1.5),
}
