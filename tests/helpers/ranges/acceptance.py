"""Readings on the finished repair."""

RANGES = {
    ("hardness_limit", "f_H"): (0.8, 1), ("hardness_limit", "H_ref"): (30, 95),
    ("hardness_single_limit", "f_1"): (0.7, 1), ("hardness_single_limit", "H_ref"): (30, 95),
    ("tape_thickness", "C_1"): (2100, 5000), ("tape_thickness", "C_0"): (200, 2000),
    ("layers_by_tape", "t_tape"): (1, 40), ("layers_by_tape", "h"): (0.3, 3),
    ("circumference_over_layers", "C_0"): (200, 5000), ("circumference_over_layers", "h"): (0.3, 3),
    ("dull_share", "A_d"): (0, 0.2), ("dull_share", "A_b"): (0.2, 20),
    ("open_time", "tau_f"): (6, 12), ("open_time", "tau_b"): (0, 5),
}
