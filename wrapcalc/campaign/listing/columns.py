"""The columns of a listing that we know: what they hold, in which units their numbers may stand, and what may stand."""

from __future__ import annotations

from dataclasses import dataclass

from wrapcalc import units

#: Words for what a row is.
KINDS = ("external metal loss", "internal metal loss", "metal loss", "dent", "gouge", "crack", "girth weld", "valve",
         "fitting", "bend", "marker", "repair", "other")
#: Those that are damage; the others say what stands along the line.
DAMAGE = KINDS[:6]
TEXT, WORD, LENGTH, DEPTH, CLOCK, ANGLE, NUMBER = "text", "word", "length", "depth", "clock", "angle", "number"
OF_NOMINAL, OF_MEASURED = "% of nominal wall", "% of measured wall"
PER_CENT = (OF_NOMINAL, OF_MEASURED)
#: The same as numbers from 0 to 1.
FRACTIONS = ("share of nominal wall", "share of measured wall")
SHARES = (*PER_CENT, *FRACTIONS)
#: The last one is how a spreadsheet keeps a time of day: 0.1875 is 4:30.
H_MM, DEGREES, HOURS, OF_DAY = "h:mm", "degrees", "decimal hours", "share of a day"
LENGTHS = ("mm", "cm", "m", "km", "in", "ft", "mil")
_UNITS: dict[str, tuple[str, ...]] = {
    TEXT: (), WORD: (), NUMBER: (), LENGTH: LENGTHS, DEPTH: (*SHARES, "mm", "cm", "in", "mil"),
    CLOCK: (H_MM, DEGREES, HOURS, OF_DAY), ANGLE: (DEGREES,)}


@dataclass(frozen=True)
class Known:
    """A column that we know. needed: no row without it; low, high: bounds in the base unit, low itself allowed
    unless `above`."""

    name: str
    holds: str
    says: str
    low: float = 0.0
    high: float = 1e12
    above: bool = False
    needed: bool = False

    @property
    def units(self) -> tuple[str, ...]:
        """Units its numbers may stand in; () when it takes none."""
        return _UNITS[self.holds]

    @property
    def is_text(self) -> bool:
        """Whether its values are texts."""
        return self.holds in (TEXT, WORD)


_FAR, _WALL = 1e10, 500.0  # 10 000 km along the line; half a metre of wall
COLUMNS: dict[str, Known] = {c.name: c for c in (
    Known("feature_id", TEXT, "number of the feature"),
    Known("line", TEXT, "name of the line"),
    Known("kind", WORD, "what it is", needed=True),
    Known("log_distance", LENGTH, "distance by the odometer of the tool", high=_FAR, needed=True),
    Known("depth", DEPTH, "depth of the loss", high=_WALL),
    Known("length", LENGTH, "length along the pipe", high=1e6),
    Known("width", LENGTH, "width around the pipe", high=1e5),
    Known("clock", CLOCK, "clock position facing downstream"),
    Known("nominal_wall", LENGTH, "nominal wall", high=_WALL, above=True),
    Known("measured_wall", LENGTH, "measured wall", high=_WALL, above=True),
    Known("joint", TEXT, "number of the joint"),
    Known("joint_length", LENGTH, "length of the joint", high=1e6),
    Known("from_upstream_weld", LENGTH, "distance from the girth weld upstream", high=1e6),
    Known("weld", TEXT, "number of the girth weld"),
    Known("seam_clock", CLOCK, "clock position of the seam, facing downstream"),
    Known("listed_repair_factor", NUMBER, "repair factor as the listing prints it", high=1e3),
    Known("comment", TEXT, "comment"),
    Known("latitude", ANGLE, "latitude, north above 0", low=-90.0, high=90.0),
    Known("longitude", ANGLE, "longitude, east above 0", low=-180.0, high=180.0),
)}
#: Most that a clock reading may be, by its unit; hours and shares of a day stay below it.
CLOCK_HIGH = {DEGREES: 360.0, HOURS: 13.0, OF_DAY: 13 / 24}
TEXTS = tuple(c.name for c in COLUMNS.values() if c.is_text)
NUMBERS = (*(c.name for c in COLUMNS.values() if not c.is_text), "depth_share")


def range_words(known: Known, unit: str) -> str:
    """What a number of a column may be, in words and in the unit of the column."""
    if unit in SHARES:
        return f"a number from 0 to {100 if unit in PER_CENT else 1}, {unit}"
    if known.holds == CLOCK:
        return {DEGREES: "degrees from 0 to 360", OF_DAY: "a share of a day from 0 to less than 0.541667 (13:00), such "
                "as 0.1875 for 4:30"}.get(unit, "hours of the clock from 0 to less than 13")
    if known.holds == ANGLE:
        return f"degrees from {units.tidy(f'{known.low:g}')} to {known.high:g}"
    low, high = known.low, known.high
    if unit:
        low, high = (float(units.convert(bound, "mm", units.KINDS["length"].units[unit])) for bound in (low, high))
    lead = "more than" if known.above else "at least"
    return f"a number, {lead} {low:g} and at most {units.digits(high, 4)} {unit}".rstrip()
