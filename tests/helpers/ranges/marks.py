"""Marks on the pipe: positions along a joint, units of line-pipe repairs, circumferences."""

RANGES: dict[tuple[str, str], tuple[float, float]] = {
    ("damage_middle", "x_d"): (100, 12000),
    ("set_middle", "x_m"): (100, 12000), ("set_middle", "c_r"): (-1500, 1500),
    ("set_upstream_side", "x_r"): (1000, 12000), ("set_upstream_side", "L_s"): (150, 1900),
    ("unit_downstream_side", "x_u"): (100, 12000), ("unit_downstream_side", "w_u"): (100, 600),
    ("next_upstream_side", "x_v"): (500, 12000), ("next_upstream_side", "o_l"): (10, 60),
    ("upstream_edge_of_repair", "x_r"): (2500, 12000), ("downstream_edge_of_repair", "x_r"): (2500, 12000),
    ("upstream_edge_of_steel", "x_e"): (500, 12000), ("upstream_edge_of_steel", "b_p"): (20, 100),
    ("downstream_edge_of_steel", "x_e"): (500, 12000), ("downstream_edge_of_steel", "b_p"): (20, 100),
    ("sleeve_length_on", "U"): (300, 4000), ("cloth_length_on", "U"): (300, 4000),
    ("wrap_end_beyond_start", "C_m"): (2000, 60000), ("wrap_end_beyond_start", "C"): (2000, 60000),
    ("circumference_off", "a_t"): (20, 100),
}
