"""Axial loads on the damaged section, of either sign: tension and compression, bending towards and from the loss."""

_FORCE, _MOMENT = (-5e6, 1e7), (-8e8, 8e8)
RANGES: dict[tuple[str, str], tuple[float, float]] = {
    ("restrained_force", "nu"): (0.25, 0.35), ("restrained_force", "sigma_h"): (10, 400),
    ("restrained_force", "E_s"): (1.95e5, 2.1e5), ("restrained_force", "alpha_s"): (1e-5, 1.3e-5),
    ("restrained_force", "Delta_T"): (-40, 90), ("restrained_force", "A_0"): (4e3, 4e4),
    ("warming_since_tie_in", "T_d"): (-10, 90), ("warming_since_tie_in", "T_i"): (-5, 35),
    ("total_axial_force", "N_p"): _FORCE, ("total_axial_force", "F_ax"): (-1e6, 1e6),
    ("axial_stress_at_loss", "N"): _FORCE, ("axial_stress_at_loss", "M"): _MOMENT,
    ("axial_stress_opposite", "N"): _FORCE, ("axial_stress_opposite", "M"): _MOMENT,
    ("opposite_moment", "M_0"): _MOMENT,
    ("share_of_yield", "sigma_h"): (20, 400),
}
