"""Cure: hours at the temperatures of a trench; the temperature lies between its two rows."""

RANGES = {
    ("time_in_table", "t_a"): (20, 80), ("time_in_table", "t_b"): (4, 20),
    ("time_in_table", "T_a"): (0, 9), ("time_in_table", "T_b"): (21, 40), ("time_in_table", "T"): (9, 21),
    ("straight_time", "t_a"): (20, 80), ("straight_time", "t_b"): (4, 20),
    ("straight_time", "T_a"): (0, 9), ("straight_time", "T_b"): (21, 40), ("straight_time", "T"): (9, 21),
    ("time_in_table", "T_0"): (-273.16, -273.14),
    ("equivalent_hours", "A_c"): (0.05, 3), ("equivalent_hours", "t_1"): (4, 80),
}
