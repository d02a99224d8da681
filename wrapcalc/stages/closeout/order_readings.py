"""Whether the readings were taken in the order of the work: a profile before blasting is of another surface."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from wrapcalc.case.readings import LAMINATE
from wrapcalc.stages.closeout.ledger import OTHERS, Work
from wrapcalc.stages.closeout.site_readings import stamp
from wrapcalc.standards.documents import PRACTICE
from wrapcalc.systems.field_model import END_SEAL


@dataclass(frozen=True)
class Moments:
    """The moments of the job, None where they are not known. first: first material placed; laid: last bonding material
    placed; cured: by the log; released: the written release of the pressure."""

    blasted: datetime.datetime | None
    first: datetime.datetime | None
    laid: datetime.datetime | None
    cured: datetime.datetime | None
    released: datetime.datetime | None


_WORDS = {"blasted": "the end of blasting", "first": "the first material", "laid": "all is laid",
          "cured": "the cure age is reached", "released": "the release of the pressure"}
#: Kind of reading: (not before, not after). Of what is read unit by unit the first material is the earliest.
ORDER: dict[str, tuple[str, str]] = {
    "wall under blasting": ("", "blasted"), "least wall for blasting": ("", "blasted"),
    "blast grade": ("blasted", "first"), "blast profile": ("blasted", "first"), "soluble salt": ("blasted", "first"),
    "dust rating": ("blasted", "first"), "rust bloom": ("blasted", "first"),
    "circumference before": ("", "laid"), "circumference after": ("first", ""), "layers counted": ("first", ""),
    "wrap end off its mark": ("first", ""), "joint gap": ("first", ""),
    "hardness": ("cured", ""), "tap test": ("laid", ""), "dull area": ("laid", ""),
    **{f"laminate: {x}": ("laid", "") for x in LAMINATE},
    "carbon kept off the steel": ("blasted", "laid"), "leak or pressure test": ("cured", ""),
    "end seal": ("laid", ""), "coating thickness": ("laid", ""), "holiday test voltage": ("laid", ""),
    "holidays found": ("laid", "")}


def order(w: Work, at: Moments) -> None:
    """Each kind of reading that has a time, after what it must follow and before what it must precede."""
    for what, ends in ORDER.items():
        _between(w, what, "", ends, at)
    for what in ("mixing started", "material placed"):
        _between(w, what, END_SEAL, ("laid", "released"), at)
    if at.cured is None and at.laid is not None:
        _between(w, "hardness", "", ("laid", ""), at)


def _between(w: Work, what: str, material: str, ends: tuple[str, str], at: Moments) -> None:
    rows = [r for r in w.log(what) if r.where.startswith(material)]
    early, late = (getattr(at, e) if e else None for e in ends)
    if not rows or (early is None and late is None):
        return
    # Readings are noted to the minute; the moment of the cure is worked out to the second.
    odd = [r for r in rows if (early is not None and r.time < early) or (late is not None and r.time > late)]
    wanted = [f"not before {_WORDS[e]}, {stamp(t)}" if n == 0 else f"not after {_WORDS[e]}, {stamp(t)}"
              for n, (e, t) in enumerate(zip(ends, (early, late), strict=True)) if t is not None]
    worst = odd or (rows[:1] if early is not None else rows[-1:])
    name = f"{material}: {what}" if material else what
    w.gate(f"Order of the work, {name}", not odd, ", ".join(stamp(r.time) for r in worst[:3])
           + (" and more" if worst[3:] else ""), "; ".join(wanted), citation=PRACTICE.id, status="common practice",
           guard=OTHERS, rows=worst)
