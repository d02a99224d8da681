"""Units as the headings of listings and their rows of units write them."""

from __future__ import annotations

import re
from collections.abc import Iterator

from wrapcalc.campaign.listing.columns import (
    CLOCK,
    COLUMNS,
    DEGREES,
    H_MM,
    HOURS,
    OF_DAY,
    OF_MEASURED,
    OF_NOMINAL,
    SHARES,
    Known,
)

#: Per cent of a wall that the text does not name.
PERCENT = "%"
_SPELLED = {
    **dict.fromkeys(("millimetre", "millimeter", "millimetres", "millimeters"), "mm"),
    **dict.fromkeys(("metre", "meter", "metres", "meters", "mtr"), "m"),
    **dict.fromkeys(("centimetre", "centimeter", "centimetres", "centimeters"), "cm"),
    **dict.fromkeys(("inch", "inches", "ins", '"', "\u2033"), "in"),
    **dict.fromkeys(("feet", "foot", "'", "\u2032"), "ft"),
    **dict.fromkeys(("mils", "thou"), "mil"),
    **dict.fromkeys(("kilometre", "kilometres", "kilometer", "kilometers"), "km"),
    **dict.fromkeys(("percent", "per cent", "pct", "%", "%wt", "% wt", "wt%", "wt %", "% of wall", "% wall", "% of wt"),
                    PERCENT),
    **dict.fromkeys(("%nwt", "% nwt", "% nominal", "% of nominal", "% nom wt", "% nominal wt"), OF_NOMINAL),
    **dict.fromkeys(("% measured", "% of measured", "% local wt", "% measured wt", "% actual wt"), OF_MEASURED),
    **dict.fromkeys(("deg", "degree", "°"), DEGREES),
    **dict.fromkeys(("hh:mm", "hh:mm:ss", "h:m", "hrs:mins", "hr:min"), H_MM),
    **dict.fromkeys(("fraction of a day", "fraction of day", "day fraction", "share of day"), OF_DAY),
    **dict.fromkeys(("o'clock", "oclock", "clock", "hours", "hrs", "h"), CLOCK)}
_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]")
_PARTED = re.compile(r"[\s_,;/]+")
#: A small letter before a capital and another letter: LengthMm.
_JOINED = re.compile(r"(?<=[a-z])(?=[A-Z%][A-Za-z])")
#: Words that mean a unit only where they end a heading.
_AT_THE_END = ("in", "m", "h", "'", '"', "\u2032", "\u2033")


def unit_of(text: str, known: Known) -> str:
    """The unit that a text of a heading or a row of units names for a column; "" when it names none that we know.

    PERCENT when it is per cent of a wall that is not said, CLOCK when it is a clock in a form that is not said.
    """
    plain = text.strip().strip("[](){}").strip()
    for same in (plain, plain.casefold(), plain.casefold().rstrip(".")):
        unit = same if same in known.units else _SPELLED.get(same, "")
        if unit in known.units or (unit == PERCENT and OF_NOMINAL in known.units) or (
                unit == CLOCK and H_MM in known.units):
            return unit
    return ""


def any_unit(text: str) -> str:
    """The unit that a text names for a column of whatever kind; "" when it names none that we know."""
    return next((u for known in COLUMNS.values() if (u := unit_of(text, known))), "")


def agrees(read: str, declared: str) -> bool:
    """Whether a unit that was found may be the one that is declared."""
    if declared in SHARES and read in SHARES:
        return ("measured" in read) == ("measured" in declared)
    return read == declared or (read == PERCENT and declared in SHARES) or (
        read == CLOCK and declared in (H_MM, HOURS, OF_DAY)) or (read == H_MM and declared == OF_DAY)


def said_in(heading: str, known: Known) -> list[tuple[str, str]]:
    """(text, unit) of what a heading says of the unit of a column, as it is written.

    Brackets say it wherever they stand; without them the words at the end; else a word that is nothing but a unit. A
    unit that such a column cannot have is only believed in brackets.
    """
    groups = [g.strip() for g in _BRACKETS.findall(heading)]
    if found := [(g, u) for g in groups if (u := unit_of(g, known) or any_unit(g))]:
        return found
    words = [w for w in _PARTED.split(_JOINED.sub(" ", _BRACKETS.sub(" ", heading)).strip()) if w.strip(":")]
    for text in _ends(words):
        if (u := unit_of(text, known)) and u != CLOCK:
            return [(text, u)]
    return [(w, u) for w in words if w.casefold().rstrip(".") not in _AT_THE_END and (u := unit_of(w, known))
            and u != CLOCK]


def _ends(words: list[str]) -> Iterator[str]:
    """The last words of a heading of several, the longest first."""
    for count in range(min(4, len(words) - 1), 0, -1):
        yield " ".join(words[-count:])
    if words and words[-1].endswith("%"):
        yield "%"
