"""Where the defect lies on its joint, how large the trench becomes, and what the bared pipe bears on its own."""

from wrapcalc.expression import absolute, minimum, pi, sqrt
from wrapcalc.formula import formula
from wrapcalc.standards.documents import CFR_192, MECHANICS, PRACTICE


@formula(symbol="S", unit="m", source=MECHANICS, clause="", status="derived",
         O="m", O_1="m", O_2="m", S_1="m", S_2="m")
def surveyed_distance(O, O_1, O_2, S_1, S_2):  # noqa: E741 -- odometer
    """Log distance rescaled between two surveyed points.

    Straight line between the points (O_1, S_1) and (O_2, S_2): slip of the odometer wheel is spread evenly.
    """
    return S_1 + (O - O_1) * (S_2 - S_1) / (O_2 - O_1)


@formula(symbol="S_0", unit="m", source=MECHANICS, clause="", status="derived", O="m", O_1="m", S_1="m")
def naive_distance(O, O_1, S_1):  # noqa: E741 -- odometer
    """Log distance carried on from the first point alone, without rescaling."""
    return S_1 + O - O_1


@formula(symbol="x_m", unit="m", source=MECHANICS, clause="", status="derived", x_u="m", L="m")
def defect_middle(x_u, L):
    """Middle of the defect from the upstream girth weld."""
    return x_u + L / 2


@formula(symbol="x_d", unit="m", source=MECHANICS, clause="", status="derived", x_u="m", L="m")
def defect_far_edge(x_u, L):
    """Downstream edge of the defect from the upstream girth weld."""
    return x_u + L


@formula(symbol="y", unit="m", source=MECHANICS, clause="", status="derived", L_J="m", x="m")
def rest_of_joint(L_J, x):
    """From the downstream girth weld: what the joint leaves beyond a place on it."""
    return L_J - x


@formula(symbol="Delta_L", unit="m", source=MECHANICS, clause="", status="derived", L_1="m", L_2="m")
def lengths_apart(L_1, L_2):
    """Difference of two lengths."""
    return absolute(L_1 - L_2)


@formula(symbol="L_D", unit="m", source=MECHANICS, clause="", status="derived", a_J="m")
def least_apart(a_J):
    """Least difference that tells two lengths apart: both may be read wrong by their tolerance."""
    return 2 * a_J


@formula(symbol="Delta_h", unit="", source=MECHANICS, clause="", status="derived", h_1="", h_2="")
def clocks_apart(h_1, h_2):
    """Difference of two clock positions, the shorter way round."""
    return minimum(absolute(h_1 - h_2), 12 - absolute(h_1 - h_2))


@formula(symbol="h_D", unit="", source=MECHANICS, clause="", status="derived", a_h="")
def least_clock_apart(a_h):
    """Least difference that tells two clock positions apart: both may be read wrong by their tolerance."""
    return 2 * a_h


@formula(symbol="phi", unit="", source=MECHANICS, clause="", status="derived", h="")
def clock_degrees(h):
    """Clock position in degrees, clockwise from the top, facing downstream.

    The result is the number of degrees.
    """
    return 30 * h


@formula(symbol="s", unit="mm", source=MECHANICS, clause="", status="derived", D="mm", h="")
def clock_arc(D, h):
    """Arc from the top of the pipe to a clock position, the shorter way round, on the outer surface."""
    return pi * D * minimum(h, 12 - h) / 12


@formula(symbol="h_w", unit="", source=MECHANICS, clause="", status="derived", w="mm", D="mm")
def clock_width(w, D):
    """Width around the pipe in hours of the clock."""
    return 12 * w / (pi * D)


@formula(symbol="L_B", unit="m", source=PRACTICE, clause="", status="common practice", L_R="m", m_p="m", m_c="m")
def bared_length(L_R, m_p, m_c):
    """Length of pipe to bare: the repair, and at each end prepared steel and the tie-in to the old coating."""
    return L_R + 2 * (m_p + m_c)


@formula(symbol="L_T", unit="m", source=PRACTICE, clause="", status="common practice", L_B="m", m_e="m")
def trench_length(L_B, m_e):
    """Length of the trench at its bottom: bared length and room at each end."""
    return L_B + 2 * m_e


@formula(symbol="W_T", unit="m", source=PRACTICE, clause="", status="common practice", D="m", m_s="m")
def trench_width(D, m_s):
    """Width of the trench at its bottom: pipe and room on each side."""
    return D + 2 * m_s


@formula(symbol="H", unit="m", source=PRACTICE, clause="", status="common practice", C="m", D="m", m_b="m")
def trench_depth(C, D, m_b):
    """Depth of the trench: cover, pipe and room under it."""
    return C + D + m_b


@formula(symbol="B_top", unit="m", source=MECHANICS, clause="", status="derived", B="m", k_s="", H="m")
def trench_top(B, k_s, H):
    """Length or width of the trench at its top, with slopes of k_s across to 1 up on both sides."""
    return B + 2 * k_s * H


@formula(symbol="V_T", unit="m**3", source=MECHANICS, clause="", status="derived",
         L_T="m", W_T="m", k_s="", H="m")
def trench_volume(L_T, W_T, k_s, H):
    """Volume of the trench with equal slopes all round, as it lies in the ground.

    Prismatoid: a sixth of the depth times bottom, four times the middle and top. It is exact, because the area is a
    polynomial of the second degree in height. The pipe is not taken off; loosened soil takes more room.
    """
    return H / 6 * (L_T * W_T + 4 * (L_T + k_s * H) * (W_T + k_s * H) + (L_T + 2 * k_s * H) * (W_T + 2 * k_s * H))


@formula(symbol="L_u", unit="m", source=MECHANICS, clause="", status="derived", L_T="m", k_s="", m_b="m")
def unsupported_length(L_T, k_s, m_b):
    """Length of pipe without soil under it: the trench at the height of the underside of the pipe."""
    return L_T + 2 * k_s * m_b


@formula(symbol="Z", unit="mm**3", source=MECHANICS, clause="", status="derived", I_0="mm**4", D="mm")
def section_modulus(I_0, D):
    """Section modulus of the sound pipe."""
    return 2 * I_0 / D


@formula(symbol="q_s", unit="kg/m", source=MECHANICS, clause="", status="derived", unit_bound=True,
         D="m", t_n="m", rho_s="kg/L")
def steel_per_length(D, t_n, rho_s):
    """Mass of the steel of the pipe per length.

    A ring of the nominal wall; 1000 L are one m³.
    """
    return 1000 * rho_s * pi * (D - t_n) * t_n


@formula(symbol="q_p", unit="kg/m", source=MECHANICS, clause="", status="derived", unit_bound=True,
         D="m", t="m", rho_p="kg/L")
def contents_per_length(D, t, rho_p):
    """Mass of what is in the pipe per length.

    The bore of the thinner wall is full; 1000 L are one m³.
    """
    return 1000 * rho_p * pi * (D - 2 * t) ** 2 / 4


@formula(symbol="L_S", unit="m", source=PRACTICE, clause="", status="common practice", unit_bound=True,
         sigma_b="MPa", Z="mm**3", q_s="kg/m", q_p="kg/m")
def unsupported_span(sigma_b, Z, q_s, q_p):
    """Unsupported span at which the pipe's own weight bends it to a stress: for the engineer, a screening only.

    The moment is taken as weight per length times the square of the span over 10, between built-in (12) and hinged
    ends (8). N·mm over 1000 is N·m; 9.80665 N act on each kg. Pressure, temperature, coating, settlement and the damage
    itself are not in it.
    """
    return sqrt(10 * sigma_b * Z / 1000 / (9.80665 * (q_s + q_p)))


@formula(symbol="r", unit="m", source=CFR_192, clause="192.903", status="from memory", unit_bound=True,
         k_r="", P="MPa", D="mm")
def impact_radius(k_r, P, D):
    """Potential impact radius of a gas line.

    The rule has k_r times the root of pressure in psi times the square of the diameter in inches, in feet;
    1 psi is 0.00689476 MPa, 1 in is 25.4 mm, 1 ft is 0.3048 m.
    """
    return 0.3048 * k_r * sqrt(P / 0.00689476 * (D / 25.4) ** 2)


@formula(symbol="e_U", unit="mm", source=MECHANICS, clause="", status="derived",
         t_i="mm", Delta_T="delta_degC", k_U="", Delta_U="delta_degC")
def ultrasonic_excess(t_i, Delta_T, k_U, Delta_U):
    """How much too thick an ultrasonic gauge reads on steel warmer than its calibration block.

    Sound slows by the share k_U for each Delta_U of warming; the true wall is the reading less this.
    """
    return t_i * k_U * Delta_T / Delta_U


@formula(symbol="e_B", unit="mm", source=MECHANICS, clause="", status="derived", D="mm", c="mm")
def bar_error(D, c):
    """How far a straight bar of length c that lies round the pipe stands off its surface.

    Sagitta of the chord c; a pit gauge on such a bar is wrong by up to as much, either way.
    """
    return D / 2 - sqrt(D ** 2 / 4 - c ** 2 / 4)
