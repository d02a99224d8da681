"""Remaining strength factor of a local thin area in a cylinder, fitness-for-service way, level 1.

Lengths are those of the corroded condition: t_c is the wall away from the loss, less what will still corrode, and
D_i the inside diameter that goes with it. Limits and the allowable factor are entries of data/api_579_2007.toml.
"""

from wrapcalc.expression import cases, sqrt
from wrapcalc.formula import formula
from wrapcalc.standards.documents import API_579


@formula(symbol="R_t", unit="", source=API_579, clause="5.4.2.2", status="from memory", t_mm="mm", FCA="mm", t_c="mm")
def thickness_ratio(t_mm, FCA, t_c):
    """Remaining thickness ratio.

    t_mm least measured wall in the loss, FCA future corrosion allowance, t_c sound wall in the corroded condition (the
    allowance is already off it). Its least value, and that of t_mm - FCA, are limits of the method.
    """
    return (t_mm - FCA) / t_c


@formula(symbol="lambda_s", unit="", source=API_579, clause="5.4.2.2", status="from memory", s="mm", D_i="mm",
         t_c="mm")
def shell_length_parameter(s, D_i, t_c):
    """Length parameter of the loss along the shell.

    s longitudinal extent of the loss. The factor 1.285 is the fourth root of 12 (1 - 0.3²), over √2.
    """
    return 1.285 * s / sqrt(D_i * t_c)


@formula(symbol="M_t", unit="", source=API_579, clause="table 5.2", status="from memory", lambda_s="")
def bulging_factor_level_1(lambda_s):
    """Bulging factor of a cylinder, level 1.

    The fit holds for a length parameter from 0 to 20. Beyond about 10 it lies far above the other fits of the same
    shell solution, on the safe side; at 0 it is 1.001, not 1.
    """
    return (1.001 - 0.014195 * lambda_s + 0.29090 * lambda_s ** 2 - 0.096420 * lambda_s ** 3
            + 0.020890 * lambda_s ** 4 - 0.0030540 * lambda_s ** 5 + 2.9570e-4 * lambda_s ** 6
            - 1.8462e-5 * lambda_s ** 7 + 7.1553e-7 * lambda_s ** 8 - 1.5631e-8 * lambda_s ** 9
            + 1.4656e-10 * lambda_s ** 10)


@formula(symbol="RSF", unit="", source=API_579, clause="5.4.2.2", status="from memory", R_t="", M_t="")
def remaining_strength_factor(R_t, M_t):
    """Remaining strength factor.

    Collapse pressure of the damaged over that of the sound shell; the loss is taken as a rectangle of full depth.
    """
    return R_t / (1 - (1 - R_t) / M_t)


@formula(symbol="MAWP_r", unit="MPa", source=API_579, clause="2.4.2.2", status="from memory", MAWP="MPa", RSF="",
         RSF_a="")
def reduced_working_pressure(MAWP, RSF, RSF_a):
    """Reduced maximum allowable working pressure.

    MAWP of the sound shell in the corroded condition by its own design code; it is kept where the remaining strength
    factor reaches the allowable one.
    """
    return cases((RSF >= RSF_a, MAWP), (True, MAWP * RSF / RSF_a))


@formula(symbol="L_msd", unit="mm", source=API_579, clause="5.4.2.2", status="from memory", k_d="", D_i="mm",
         t_c="mm")
def least_distance_to_discontinuity(k_d, D_i, t_c):
    """Least distance from the loss to a major structural discontinuity.

    k_d is 1.8. Nearer than this the local stress of a branch, support, reducer or flange reaches the loss and level 1
    does not hold.
    """
    return k_d * sqrt(D_i * t_c)
