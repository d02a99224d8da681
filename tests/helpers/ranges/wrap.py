"""Wraps: loads of either sign on pipes of some inches, laminates of glass or carbon, holes, slots, lengths, sleeves."""

_FORCE, _MOMENT, _PIPE = (-2e6, 2e6), (-8e8, 8e8), (150, 1200)
_POISSON, _SHARE, _STRAIN = (0.05, 0.35), (0.1, 1), (5e-4, 4e-3)
_HOLE, _SLOT, _ROOM = (1, 100), (1, 60), (20, 320)
_AXIAL_MODULUS, _SHEAR = (5e3, 6e4), {"F_sh": (0, 5e5), "M_to": (0, 5e8), "D": _PIPE}
_LEAK = {"K": (0.05, 0.9), "gamma": (0.02, 0.8), "nu": _POISSON, "E_ac": (8e3, 9e4), "d_h": _HOLE, "W_s": _SLOT,
         "G": (1e3, 6e3)}
_BOND = {"hole": ("d_h",), "slot": ("W_s",)}

RANGES: dict[tuple[str, str], tuple[float, float]] = {
    # loads
    **{(f"equivalent_force_{side}", n): bounds for side in ("stretched", "compressed")
       for n, bounds in (("F_ax", _FORCE), ("M", _MOMENT), ("D", _PIPE))},
    **{(name, n): bounds for name in ("equivalent_pressure", "shear_stress") for n, bounds in _SHEAR.items()},
    ("shear_stress", "D_m"): (90, 1400), ("ring_mean_diameter", "D"): (100, 1420), ("ring_mean_diameter", "t"): (5, 25),
    ("ring_mean_diameter", "t_s"): (1, 5),
    ("soil_pressure", "rho"): (1.2, 2.4), ("soil_pressure", "h"): (100, 6000),
    **{("outside_pressure", n): (0, 0.3) for n in ("p_ext", "p_soil", "p_surf")},
    # strain
    ("allowable_hoop_strain", "f_c"): _SHARE, ("allowable_axial_strain", "f_c"): _SHARE,
    ("temperature_change", "T_d"): (-30, 90),
    **{("temperature_factor_by_table", f"f_{row}"): (0.5, 1) for row in (0, 20, 40, 50, 60)},
    ("cycle_ratio", "p_low"): (0, 6), ("cycle_ratio", "p_high"): (6, 14),
    # cycles on both sides of the step, and so few thousands that random rows meet it
    ("cyclic_factor", "N"): (1e3, 6e4), ("cyclic_factor", "N_0"): (3e3, 9e3), ("cyclic_factor", "R_c"): (0, 1),
    # thickness
    ("axial_capacity", "F_eq"): _FORCE,
    ("thickness_load_sharing_axial", "E_a"): _AXIAL_MODULUS, ("thickness_load_sharing_axial", "F_eq"): _FORCE,
    ("thickness_load_sharing_axial", "D"): (150, 700), ("thickness_load_sharing_axial", "p_a"): (0.5, 8),
    ("axial_load_while_wrapping", "sigma_live"): (0, 300), ("axial_load_while_wrapping", "p_a"): (0.5, 8),
    ("wrap_axial_strain_load_sharing", "F_eq"): _FORCE, ("wrap_axial_strain_load_sharing", "t_ea"): (1, 20),
    ("wrap_axial_strain_load_sharing", "E_a"): _AXIAL_MODULUS,
    ("thickness_strain_hoop", "F_eq"): (-4e6, 2e7), ("thickness_strain_hoop", "nu"): (0.1, 0.35),
    ("thickness_strain_hoop", "D"): (150, 600),
    ("thickness_strain_axial", "F_eq"): (-4e6, 4e6), ("thickness_strain_axial", "nu"): _POISSON,
    ("thickness_strain_axial", "E_a"): _AXIAL_MODULUS, ("thickness_strain_axial", "eps_a"): _STRAIN,
    ("thickness_strain_axial_no_relief", "F_eq"): _FORCE, ("thickness_strain_axial_no_relief", "eps_a"): _STRAIN,
    ("thickness_strain_axial_no_relief", "E_a"): _AXIAL_MODULUS,
    ("long_term_strength_survival", "p_t"): (5, 40), ("long_term_strength_survival", "D_t"): (100, 500),
    ("long_term_strength_survival", "t_ct"): (2, 20), ("long_term_strength_survival", "t_st"): (1, 10),
    **{(name, n): bounds for name in ("thickness_long_term", "thickness_long_term_shared")
       for n, bounds in (("f", (0.3, 0.7)), ("f_T2", (0.5, 1)), ("s_lt", (40, 400)))},
    ("linear_term", "q"): (-500, 3000),
    ("thickness_yielded_steel_live", "b"): (-2000, 4000), ("thickness_yielded_steel_live", "q"): (20, 3000),
    ("design_thickness", "t_max"): (0.3, 40), ("design_thickness", "f_m"): (1, 1.6),
    ("layers_of_tiers", "n_s"): (1, 20), ("layers_of_tiers", "n_t"): (1, 4),
    ("greater_thickness", "t_1"): (0, 40), ("greater_thickness", "t_2"): (0, 40),
    ("steel_stress_shared", "p_live"): (0, 3), ("steel_stress_shared", "p"): (4, 12),
    ("steel_stress_shared", "t_eq"): (3, 12),
    # openings through the wall
    ("geometric_modulus", "E_a"): _AXIAL_MODULUS,
    ("leak_factor_by_class", "a"): (0.3, 0.9), ("leak_factor_by_class", "b"): (0.002, 0.03),
    ("leak_factor_by_class", "L_y"): (0.2, 20),
    ("leak_knockdown", "f_T2"): (0.5, 1), ("leak_knockdown", "f_D"): _SHARE, ("leak_knockdown", "f_leak"): _SHARE,
    ("leak_knockdown", "f_c"): _SHARE,
    **{(f"{kind}_{shape}", n): _LEAK[n] for kind in ("leak_pressure", "ceiling") for shape, size in _BOND.items()
       for n in ("K", "gamma", "nu", "E_ac", *size)},
    ("leak_pressure_hole", "G"): _LEAK["G"], ("leak_pressure_slot", "G"): _LEAK["G"],
    ("leak_pressure_slot", "k_sh"): (0.1, 0.2),
    ("hole_limit", "k_h"): (2, 8), ("slot_limit", "k_w"): (0.5, 2),
    ("leak_number", "d_h"): _HOLE, ("hole_share", "d_h"): _HOLE, ("damage_with_opening", "d_h"): (10, 400),
    ("damage_with_opening", "L_0"): (10, 400),
    ("opening_after", "r"): (0.02, 0.6), ("opening_after", "L_y"): (0, 30),
    # outside pressure
    ("thickness_outside_pressure", "nu"): _POISSON, ("thickness_outside_pressure", "p_out"): (0.01, 2),
    # lengths
    ("overlap_hole", "d_h"): _HOLE,
    ("bond_length", "k_b"): (1, 3), ("bond_length", "E_a"): _AXIAL_MODULUS, ("bond_length", "eps_a"): _STRAIN,
    ("bond_length", "tau"): (3, 15),
    ("room_factor", "L_av"): _ROOM, ("full_thickness_length_uneven", "L_av"): _ROOM,
    ("longer_overlap", "L_1"): _ROOM, ("longer_overlap", "L_2"): _ROOM,
    ("gap_between_repairs", "x_d"): (0, 3000),
    ("room_for_overlap", "c_1"): (0, 800), ("room_for_overlap", "a_w"): (0, 100),
    ("room_needed", "L_side"): _ROOM, ("room_needed", "a_w"): (0, 100),
    ("gap_to_neighbour", "x_n"): (0, 3000), ("gap_to_neighbour", "L_side"): _ROOM,
    # quantities
    ("widths_together", "W_a"): (50, 3000), ("widths_together", "W_b"): (50, 3000),
    ("areas_together", "A_1"): (1e4, 1e7), ("areas_together", "A_2"): (1e4, 1e7),
    ("counts_together", "m_1"): (1, 20), ("counts_together", "m_2"): (1, 20),
    ("diameter_under_tier", "k_0"): (0, 5), ("diameter_under_tier", "n_t"): (1, 12),
    # second opinion
    ("opinion_difference", "eps_N"): _STRAIN, ("opinion_difference", "eps_w"): _STRAIN,
}
