"""What a number format of a spreadsheet makes of a number: what is shown is what somebody meant when they wrote it.

0.85 with the format 0% is shown as 85 %, 4.5 with the format 0.0" in" as 4.5 in; the file holds 0.85 and 4.5.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from wrapcalc import units
from wrapcalc.campaign.listing.chunks import Odd
from wrapcalc.campaign.listing.columns import FRACTIONS, H_MM, NUMBER, PER_CENT, Known
from wrapcalc.campaign.listing.unit_words import PERCENT, agrees, any_unit, unit_of

_TOKEN = re.compile(r'"([^"]*)"|\\(.)|[_*](.)|\[([^\]]*)\]|(.)', re.DOTALL)
#: Marks that a format shows without quotation marks and that may be a unit.
_BARE = "'°"
_DIGITS = "0#?"


@dataclass(frozen=True)
class Shown:
    """What a format does to a positive number. per_cent: how often it is shown times 100; thousands: how often over
    1000; text: the words that stand beside it."""

    per_cent: int = 0
    thousands: int = 0
    text: str = ""

    @property
    def plain(self) -> bool:
        """Whether the number is shown as it is held, without words."""
        return self == Shown()


@lru_cache(maxsize=4096)
def shown_by(number_format: str) -> Shown:
    """What a number format does, by its first section."""
    per_cent, marks, words = 0, "", []
    for m in _TOKEN.finditer(number_format):
        quoted, escaped, _, bracket, bare = m.groups()
        if bare == ";":
            break
        if bracket is not None:  # [Red] and conditions say nothing; [$mm-409] shows a text
            words.append(bracket[1:].split("-")[0] if bracket.startswith("$") else "")
        elif bare is not None:
            per_cent += bare == "%"
            marks += bare
            words.append(bare if bare in _BARE else "\0")
        else:
            words.append(quoted or escaped or "")
    text = " ".join(" ".join("".join(words).split("\0")).split())
    scaled = re.search(r"[0#?](,+)(?![0#?,])", marks)
    return Shown(per_cent, len(scaled[1]) if scaled else 0, text)


def refused(shown: Shown, known: Known, unit: str, number: float) -> Odd | None:
    """Why a number so shown is not what the mapping says of its column; None when it is. `meant` gives the number."""
    if known.holds == NUMBER or (unit == H_MM and not shown.per_cent):
        return None
    mend = "look at what the number means, then format the column as a plain number; correct the unit in the mapping " \
           "if the whole column is so"
    if shown.per_cent and (shown.per_cent > 1 or unit not in (*PER_CENT, *FRACTIONS)):
        return f"{number:.12g}, which the sheet shows as per cent ({100 ** shown.per_cent * number:.10g} %)", mend
    if shown.thousands:
        return f"{number:.12g}, which the sheet shows over {1000 ** shown.thousands}", mend
    if not any(c.isalnum() or c in "%\"'°″′" for c in shown.text):
        return None
    read = unit_of(shown.text, known) or any_unit(shown.text)
    if read == PERCENT and shown.per_cent == 0 and unit in FRACTIONS:
        return f"{number:.12g}, which the sheet shows with {units.shown(shown.text)}", mend
    if read and agrees(read, unit):
        return None
    return f"{number:.12g}, which the sheet shows with {units.shown(shown.text)}", mend


def meant(shown: Shown, unit: str, number: float) -> float:
    """The number in the unit of its column: 0.85 shown as 85 % is 85 in per cent, without a digit lost."""
    return float(Decimal(repr(number)).scaleb(2)) if shown.per_cent and unit in PER_CENT else number
