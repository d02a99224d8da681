"""Units as the headings of listings and their rows of units write them."""

from __future__ import annotations

import re

from wrapcalc.campaign.listing.columns import CLOCK, DEGREES, H_MM, HOURS, OF_MEASURED, OF_NOMINAL, SHARES, Known

#: Per cent of a wall that the text does not name.
PERCENT = "%"
_SPELLED = {
    **dict.fromkeys(("millimetre", "millimeter", "millimetres", "millimeters"), "mm"),
    **dict.fromkeys(("metre", "meter", "metres", "meters", "mtr"), "m"),
    **dict.fromkeys(("inch", "inches", "ins", '"'), "in"), **dict.fromkeys(("feet", "foot", "'"), "ft"),
    **dict.fromkeys(("mils", "thou"), "mil"), **dict.fromkeys(("kilometre", "kilometres", "kilometer"), "km"),
    **dict.fromkeys(("percent", "per cent", "pct", "%", "%wt", "% wt", "wt%", "wt %", "% of wall", "% wall", "% of wt"),
                    PERCENT),
    **dict.fromkeys(("%nwt", "% nwt", "% nominal", "% of nominal", "% nom wt", "% nominal wt"), OF_NOMINAL),
    **dict.fromkeys(("% measured", "% of measured", "% local wt", "% measured wt", "% actual wt"), OF_MEASURED),
    **dict.fromkeys(("deg", "degree", "°"), DEGREES),
    **dict.fromkeys(("hh:mm", "hh:mm:ss", "h:m", "hrs:mins", "hr:min"), H_MM),
    **dict.fromkeys(("o'clock", "oclock", "clock", "hours", "hrs", "h"), CLOCK)}
_ENDING = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]$")


def unit_of(text: str, known: Known) -> str:
    """The unit that a text of a heading or a row of units names for a column; "" when it names none that we know.

    PERCENT when it is per cent of a wall that is not said, CLOCK when it is a clock in a form that is not said.
    """
    plain = text.strip().strip("[](){}").strip()
    for same in (plain, plain.casefold()):
        unit = same if same in known.units else _SPELLED.get(same, "")
        if unit in known.units or (unit == PERCENT and OF_NOMINAL in known.units) or (
                unit == CLOCK and H_MM in known.units):
            return unit
    return ""


def agrees(read: str, declared: str) -> bool:
    """Whether a unit that was found may be the one that is declared."""
    return read == declared or (read == PERCENT and declared in SHARES) or (read == CLOCK and declared in (H_MM, HOURS))


def in_heading(heading: str) -> str:
    """What stands in brackets at the end of a heading; "" when nothing does."""
    found = _ENDING.search(heading.strip())
    return found[1].strip() if found else ""
