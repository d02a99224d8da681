"""What is due, and by when."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

from wrapcalc.register.evidence import OPEN, REJECTED, WHOLE
from wrapcalc.register.state import DESIGNED, STOPPED, UNPROVEN, Snapshot, Standing

_DAYS_IN_A_YEAR = 365.25
#: Decisions by which the pipe stays as it is and is looked at again.
_LEFT_AS_IT_IS = ("no repair needed", "reduce pressure and monitor")
#: A remaining life above this, years, is "more than 60 y": no date.
_HORIZON = 60.0


@dataclass(frozen=True, slots=True)
class Due:
    """One thing that is due. when: the day, None where the records give none; what: what is to be done; words: "in 12
    days", "today", "overdue by 3 days", or since when it waits; overdue: its day is past; note: from when it counts."""

    when: datetime.date | None
    case_id: str
    revision: int
    what: str
    words: str
    overdue: bool
    note: str = ""


def due(now: Snapshot, on: datetime.date) -> list[Due]:
    """What is due as seen on a day: what has no date first, then by date.

    Where a record does not say when the defect was found or measured, times run from the day of its first package:
    the true day can only be earlier, which the text says.
    """
    out = [d for s in now.repairs for d in _of_repair(s, now.revisions_of(s.revision.case_id), on)]
    return sorted(out, key=lambda d: (d.when is not None, d.when or on, d.case_id, d.revision, d.what))


def _of_repair(s: Standing, all_of_it: tuple[Standing, ...], on: datetime.date) -> Iterator[Due]:
    r = s.revision
    # Where an acceptance is in doubt the wrap may lie on the pipe all the same: its inspection stays due.
    done = next((x for x in reversed(all_of_it)
                 if x.accepted or (x.closed_on and x.state in (STOPPED, UNPROVEN))), None)
    if r.condition != WHOLE:
        yield _waits(s, f"package {r.condition}: restore it", None, on)
    if done is not None:
        if done.next_inspection:
            yield _by(done, done.next_inspection, "next inspection of the repair", on)
        if done.end_of_life:
            yield _by(done, done.end_of_life, "end of the life of the repair", on)
    if s.state == DESIGNED:
        yield _waits(s, "approval of the design", _date(r.written_on), on)
    if s.state == OPEN:
        yield _waits(s, "close-out with the readings that are missing", _date(s.closed_on), on)
    if s.state == REJECTED:
        yield _waits(s, "what is to be done after the repair was rejected", _date(s.closed_on), on)
    if s.state == UNPROVEN:
        yield _waits(s, "the acceptance is not proven: restore what stands beside the package, or close out again",
                     _date(s.closed_on), on)
    if not s.accepted:
        yield from _deadlines(s, all_of_it, on)
    yield from _life(s, on)


def _deadlines(s: Standing, all_of_it: tuple[Standing, ...], on: datetime.date) -> Iterator[Due]:
    r = s.revision
    if r.due_by:
        yield _by(s, r.due_by, "repair, by the date that the case states", on)
    days = _days(r.deadline)
    if days is None:
        return
    first = min((x.revision.written_on for x in all_of_it if x.revision.written_on), default="")
    start = min((d for d in (r.measured_on, first) if d), default="")
    what = f"repair, {r.rule}: " + ("immediate" if days == 0 else f"within {r.deadline} of discovery")
    if not start:
        yield _waits(s, f"{what}; the day of discovery is not in the record", None, on)
        return
    yield _after(s, start, days, what, on, "counted from the measurement" if start == r.measured_on else
                 "counted from the first package; discovery was earlier")


def _life(s: Standing, on: datetime.date) -> Iterator[Due]:
    r = s.revision
    start = r.measured_on or r.written_on
    note = "" if r.measured_on else "at the latest: counted from the package, the measurement was earlier"
    left = r.decision in _LEFT_AS_IT_IS
    years, what = (r.look, "next look at the defect") if left else (
        r.life, "end of the remaining life without a repair")
    if years is None or years > _HORIZON or s.accepted:
        return
    if not start:
        yield _waits(s, f"{what}; the day of the measurement is not in the record", None, on)
    else:
        yield _after(s, start, math.floor(years * _DAYS_IN_A_YEAR), what, on, note)


def _days(deadline: str) -> int | None:
    """Days after discovery of a class of deadline, None when it gives no number."""
    if deadline == "immediate":
        return 0
    m = re.fullmatch(r"(\d{1,4}) (day|year)s?", deadline, re.ASCII)
    return None if m is None else int(m[1]) * (365 if m[2] == "year" else 1)


def _date(text: str) -> datetime.date | None:
    return datetime.date.fromisoformat(text) if text else None


def _after(s: Standing, start: str, days: int, what: str, on: datetime.date, note: str) -> Due:
    try:
        when = datetime.date.fromisoformat(start) + datetime.timedelta(days=days)
    except OverflowError:
        when = datetime.date.max
    return _by(s, when.isoformat(), what, on, note)


def _by(s: Standing, day: str, what: str, on: datetime.date, note: str = "") -> Due:
    when = datetime.date.fromisoformat(day)
    left = (when - on).days
    words = "today" if left == 0 else f"in {_count(left)}" if left > 0 else f"overdue by {_count(-left)}"
    return Due(when, s.revision.case_id, s.revision.revision, what, words, left < 0, note)


def _waits(s: Standing, what: str, since: datetime.date | None, on: datetime.date) -> Due:
    """Something that is due as long as it stands; its day is the day since when it waits."""
    words = "date not known" if since is None else f"waits since {since.isoformat()}"
    return Due(since, s.revision.case_id, s.revision.revision, what, words, False)


def _count(days: int) -> str:
    return "1 day" if days == 1 else f"{days} days"
