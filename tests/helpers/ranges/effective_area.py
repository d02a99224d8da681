"""Sub-lengths whose lost area stays below the whole wall: at most 200 mm² of 60 mm x 5 mm."""

RANGES: dict[tuple[str, str], tuple[float, float]] = {
    ("mean_depth_effective", "A_eff"): (20, 200), ("mean_depth_effective", "L_eff"): (60, 600),
    ("failure_stress_effective_area", "S_flow"): (230, 620), ("failure_stress_effective_area", "A_eff"): (20, 200),
    ("failure_stress_effective_area", "L_eff"): (60, 600), ("failure_stress_effective_area", "t"): (5, 25),
    ("failure_stress_effective_area", "M"): (1.05, 8),
}
