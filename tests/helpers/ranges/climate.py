"""Climate on site: air and steel of work on a pipe, humidity, errors of thermometers and hygrometers."""

_AIR, _SHARE, _A, _B = (-40, 50), (0.05, 1), (17, 18), (240, 246)
RANGES: dict[tuple[str, str], tuple[float, float]] = {
    ("reading_raised", "T"): _AIR, ("reading_raised", "e_T"): (0, 3),
    ("reading_lowered", "T_s"): _AIR, ("reading_lowered", "e_T"): (0, 3),
    ("humidity_raised", "phi"): (0.5, 1), ("humidity_raised", "e_phi"): (0, 0.2),
    ("magnus_term", "phi"): _SHARE, ("magnus_term", "a"): _A, ("magnus_term", "b"): _B, ("magnus_term", "T"): _AIR,
    ("dew_point", "a"): _A, ("dew_point", "b"): _B, ("dew_point", "gamma"): (-4, 3.5),
    ("dew_margin", "T_c"): _AIR, ("dew_margin", "T_d"): _AIR,
    ("humidity_at_steel", "phi"): _SHARE, ("humidity_at_steel", "a"): _A, ("humidity_at_steel", "b"): _B,
    ("humidity_at_steel", "T"): _AIR, ("humidity_at_steel", "T_s"): _AIR,
}
