"""The season: the sites of the dig list put forward on crews, one after the other. A table to look at, not a planner.

Each site, in the order of the list, begins on the first working day on which a crew is free, with the crew that is
free first. A crew finishes a site before it begins the next, on a later day. Working hours fill working days; the cure
runs by the clock from the hour at which the working hours end, counted from the beginning of the working day, and the
release falls on the first working day at whose hours it can be looked at. Whoever wants another order sorts the list.
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass, replace
from typing import Any

from wrapcalc.campaign.digs.dig_list import DigList, Place
from wrapcalc.campaign.digs.dig_terms import NONE
from wrapcalc.campaign.model import Campaign
from wrapcalc.campaign.report.site_record import plain
from wrapcalc.campaign.tables.tables import TEXT, WHOLE, Column
from wrapcalc.units import steady

WEEK = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
#: Working days when the campaign names none: the fewer, the later the dates, which is the safer reading.
USUAL = WEEK[:5]
#: No site takes longer than that, and no season runs longer after its start; in days.
_MOST_DAYS = 3660


@dataclass(frozen=True)
class Bar:
    """One site on its crew. first: day on which it begins; laid: day on which the working hours end; last: day of the
    release, the cure in it; deadline: None without a date; late: days by which `last` is after it, 0 when it is not."""

    number: int
    case_id: str
    crew: int
    first: datetime.date
    laid: datetime.date
    last: datetime.date
    deadline: datetime.date | None
    late: int


@dataclass(frozen=True)
class Missed:
    """A date that is not met, or of which nobody knows; days: by how many, None when it is not known."""

    case_id: str
    deadline: datetime.date | None
    last: datetime.date | None
    days: int | None
    words: str


@dataclass(frozen=True)
class Season:
    """Sites over days. bars: in the order of the list; unplaced: (case, why) of sites without a day; missed: every
    deadline that is not met, the first date first; days: working days from the start to the last release; told: what
    was taken where nothing was stated."""

    bars: tuple[Bar, ...]
    unplaced: tuple[tuple[str, str], ...]
    missed: tuple[Missed, ...]
    days: tuple[datetime.date, ...]
    told: tuple[str, ...]

    @property
    def planned(self) -> dict[str, datetime.date]:
        """First day of the work by case."""
        return {b.case_id: b.first for b in self.bars}

    @property
    def done(self) -> dict[str, datetime.date]:
        """Day on which the wrap is laid by case."""
        return {b.case_id: b.laid for b in self.bars}

    def chart(self) -> dict[str, Any]:
        """Arguments `bars` and `days` of the bar chart: places among the working days. A deadline is the last working
        day that is not after it, -1 when it lies before the first."""
        at = {d: i for i, d in enumerate(self.days)}
        bars = [(b.case_id, at[b.first], at[b.last], None if b.deadline is None else
                 sum(d <= b.deadline for d in self.days) - 1, str(b.crew)) for b in self.bars]
        return {"bars": bars, "days": [d.isoformat() for d in self.days]}

    def data(self) -> dict:
        """The season as data for JSON."""
        return plain(self)


def season(found: DigList, settings: Campaign) -> Season:
    """Put the sites of the list on days; those that are done need none. Without [dig] start, crews and hours_per_day
    nothing is put anywhere: the reason stands for each site, and its deadline among those of which nobody knows."""
    dig, found = settings.dig, replace(found, places=tuple(p for p in found.places if not p.done))
    lacking = [f"dig.{n}" for n in ("start", "crews", "hours_per_day") if getattr(dig, n) is None]
    if lacking:
        why = f"{', '.join(lacking)} not stated"
        unplaced = tuple((p.case_id, why) for p in found.places)
        return Season((), unplaced, _missed(found, {}, dict(unplaced)), (), ())
    calendar = Calendar(datetime.date.fromisoformat(str(dig.start)), tuple(dig.working_days) or USUAL,
                        frozenset(datetime.date.fromisoformat(d) for d in dig.days_off))
    told = [] if dig.working_days else [f"dig.working_days is not stated: {USUAL[0]} to {USUAL[-1]} are taken"]
    crews = [0] * int(dig.crews.base)
    bars: list[Bar] = []
    unplaced_list: list[tuple[str, str]] = []
    for p in found.places:
        if p.hours.work is None or p.hours.cure is None:
            unplaced_list.append((p.case_id, f"hours not stated: {p.hours.why}"))
            continue
        crew = min(range(len(crews)), key=lambda i: (crews[i], i))
        placed = _place(calendar, crews[crew], p.hours.work, p.hours.cure, float(dig.hours_per_day.base))
        if placed is None:
            unplaced_list.append((p.case_id, f"it would end more than {_MOST_DAYS} days after the start"))
            continue
        first, laid, last = placed
        crews[crew] = calendar.number(last) + 1
        due = p.deadline.date
        bars.append(Bar(p.number, p.case_id, crew + 1, first, laid, last, due,
                        0 if due is None else max(0, (last - due).days)))
    end = max((b.last for b in bars), default=None)
    last = max((b.number for b in bars), default=0)
    ahead = [p.case_id for p in found.places if p.number < last and p.case_id in dict(unplaced_list)]
    if ahead:
        told.append(f"no crew is held back for {', '.join(ahead)}, which come before sites that have a day: state what "
                    "their hours lack, or keep a crew free")
    return Season(tuple(bars), tuple(unplaced_list),
                  _missed(found, {b.case_id: b for b in bars}, dict(unplaced_list)),
                  () if end is None else calendar.days[:calendar.number(end) + 1], tuple(told))


class Calendar:
    """Working days from a start, counted from 0."""

    def __init__(self, start: datetime.date, working: tuple[str, ...], off: frozenset[datetime.date]):
        every = (start + datetime.timedelta(days=i) for i in range(_MOST_DAYS))
        self.days = tuple(d for d in every if WEEK[d.weekday()] in working and d not in off)
        self._number = {d: i for i, d in enumerate(self.days)}

    def number(self, day: datetime.date) -> int:
        """The place of a working day."""
        return self._number[day]

    def from_day(self, day: datetime.date) -> datetime.date | None:
        """The first working day that is not before a day; None when there is none."""
        return next((d for d in self.days if d >= day), None)


def _place(calendar: Calendar, free: int, work: float, cure: float, in_a_day: float
           ) -> tuple[datetime.date, datetime.date, datetime.date] | None:
    """(first day, day on which the working hours end, day of the release); None when it does not fit in.

    A site takes a day, even when its hours are none.
    """
    count = max(1, math.ceil(steady(work / in_a_day) - 1e-9))
    if free + count > len(calendar.days):
        return None
    first, laid = calendar.days[free], calendar.days[free + count - 1]
    # Hours from the beginning of the day on which the wrap is laid to the end of the cure.
    over, rest = divmod(steady(work - (count - 1) * in_a_day + cure), 24)
    # What ends at night is looked at on the next morning.
    ready = int(over) + (1 if rest > in_a_day else 0)
    if ready > _MOST_DAYS:
        return None
    last = calendar.from_day(laid + datetime.timedelta(days=ready)) if cure else laid
    return None if last is None else (first, laid, last)


def _missed(found: DigList, bars: dict[str, Bar], unplaced: dict[str, str]) -> tuple[Missed, ...]:
    out = [m for p in found.places if (m := _miss(p, bars.get(p.case_id), unplaced.get(p.case_id, ""))) is not None]
    return tuple(sorted(out, key=lambda m: (m.deadline or datetime.date.min, m.case_id)))


def _miss(p: Place, bar: Bar | None, why: str) -> Missed | None:
    """What is to be said of the deadline of a site; None when it is met, or when there is none."""
    due, asked = p.deadline.date, p.deadline.words
    if p.deadline.rank == NONE:
        return None
    if bar is None:
        return Missed(p.case_id, due, None, None, f"{p.case_id}: {asked}: nobody knows whether it is met ({why})")
    if bar.late:
        days = f"{bar.late} day{'' if bar.late == 1 else 's'}"
        return Missed(p.case_id, due, bar.last, bar.late,
                      f"{p.case_id}: {asked}: asked by {due}, released on {bar.last}, {days} late")
    if p.deadline.undated:
        return Missed(p.case_id, due, bar.last, None,
                      f"{p.case_id}: {asked}: nobody knows whether the release on {bar.last} meets it")
    return None


# -- table --------------------------------------------------------------------------------------------------------
def season_columns() -> tuple[Column, ...]:
    """Columns of the season."""
    return (Column("place", WHOLE), Column("site", TEXT), Column("crew", WHOLE), Column("first day", TEXT),
            Column("laid", TEXT), Column("last day", TEXT), Column("deadline date", TEXT), Column("late", WHOLE, "d"))


def season_rows(found: Season) -> list[dict[str, Any]]:
    """One row for each bar, by the names of `season_columns`."""
    return [{"place": b.number, "site": b.case_id, "crew": b.crew, "first day": b.first.isoformat(),
             "laid": b.laid.isoformat(), "last day": b.last.isoformat(),
             "deadline date": b.deadline.isoformat() if b.deadline else "", "late": b.late} for b in found.bars]
