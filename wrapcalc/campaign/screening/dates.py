"""Days of a screening held against each other: the run, the measurement that growth counts from, and today."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from wrapcalc.errors import CaseFaults, Fault

if TYPE_CHECKING:
    from wrapcalc.campaign.line.line import Line
    from wrapcalc.campaign.listing.mapping import Mapping

_MEASURED = "growth.measured_date"
_ONE = datetime.timedelta(days=1)


def today() -> datetime.date:
    """The later of the day here and in UTC: nobody's day is refused for a time zone."""
    return max(datetime.datetime.now(datetime.UTC).date(), datetime.date.today())


def refuse_future(mapping: Mapping, line: Line, now: datetime.date) -> None:
    """Raises CaseFaults for a day of the run, or of a measurement, that is yet to come."""
    faults = []
    if (run := _day(mapping.listing.run_date)) is not None and run > now:
        faults.append(_future(mapping.file, "listing.run_date", run, now, mapping.line_of("listing.run_date")))
    for file, field, at, day in _measured(mapping, line):
        if day > now:
            faults.append(_future(file, field, day, now, at))
    if faults:
        raise CaseFaults(faults)


def told_days(mapping: Mapping, line: Line) -> tuple[str, ...]:
    """What must be known of a remaining life that counts from another day than that of the run."""
    run = _day(mapping.listing.run_date)
    if run is None:
        return ()
    return tuple(dict.fromkeys(
        f"Remaining lives count from measured_date = {day}, but the run was on {run} by the mapping: correct the one "
        "that is wrong, or say why in the base case." for *_, day in _measured(mapping, line) if abs(day - run) > _ONE))


def _measured(mapping: Mapping, line: Line) -> Iterator[tuple[str, str, int | None, datetime.date]]:
    """(file, field, line, day) of each stated day of measurement: of the base case, and of segments."""
    if (day := _day(line.case.growth.measured_date)) is not None:
        yield line.file, _MEASURED, None, day
    for i, segment in enumerate(mapping.segment):
        given = segment.set.get(_MEASURED)
        if (day := _day(given.get("value") if isinstance(given, dict) else given)) is not None:
            field = f"segment.{i}.set"
            yield mapping.file, f"{field}: {_MEASURED}", mapping.line_of(field), day


def _day(given: Any) -> datetime.date | None:
    if isinstance(given, datetime.date):
        return given
    try:
        return datetime.date.fromisoformat(str(given)) if given else None
    except ValueError:  # told where the field is read
        return None


def _future(file: str, field: str, day: datetime.date, now: datetime.date, at: int | None) -> Fault:
    return Fault(file, field, f"{day}, which is after today, {now}", "a day that is over", "correct the date; if it is "
                 "right, set the clock of this computer", at)
