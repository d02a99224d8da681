"""The close-out of one repair: every reading against its limit, the design once more, and one of four words.

Decided here, for the safety of those beside the pipe:
- What is missing is never filled in: with anything missing the word is "open". A repair whose design does not hold as
  built is "rejected" even then.
- A deviation is accepted by name, for one numbered non-conformance whose title is repeated, with a reason, and never by
  the installer. What bears on people (layers, pressure, dew point, pot life, dates) is accepted by nobody who
  installed, counted or read; a design that does not hold as built, by nobody at all.
- The next look is the planned interval of the case, and where the loss goes on inside, the interval of its growth; the
  earlier of the two, and a blank where neither is stated.
- Work starts from a look into the ditch that says the design holds, and that came before the first mix. The last look
  counts: one that stops rejects, by nobody to be accepted; none, or one that is not whole, leaves it open.
- What was built is held against the damage of the package and against the one as found; the worse counts.
- What releases a pressure is no deviation: cure, dose, mean hardness, and a release after both are met, or nobody
  accepts the repair. Nor does anybody accept bare steel between units.
- The cure is that of the slowest place at which the steel was logged.
- Names are as typed. A close-out authenticates nobody, and approves nothing.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from wrapcalc import units
from wrapcalc.case import Bundle
from wrapcalc.case.csv_table import counted
from wrapcalc.case.readings import CONFIRMED, DONE, NONE, WHATS, Reading, Readings, same_name
from wrapcalc.checks import Check
from wrapcalc.errors import CaseFaults, Fault, PackageError
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.closeout import (
    as_built,
    before_work,
    cover_readings,
    mass_readings,
    mix_readings,
    order_readings,
    placement_readings,
    site_readings,
    wrap_readings,
)
from wrapcalc.stages.closeout.before_work import Approval, Look
from wrapcalc.stages.closeout.cure_readings import cure
from wrapcalc.stages.closeout.ledger import NOBODY, OTHERS, Entered, Ledger, Work
from wrapcalc.stages.closeout.site_readings import installers, stamp
from wrapcalc.stages.job import WRAP, Outcome
from wrapcalc.stages.site.marks import Marks, marks
from wrapcalc.stages.wrap.end_of_life import goes_on
from wrapcalc.standards.documents import PRACTICE
from wrapcalc.systems.field_model import END_SEAL
from wrapcalc.values import Value

ACCEPTED, DEVIATION, REJECTED, OPEN = "accepted", "accepted with deviation", "rejected", "open"
LIMITS, BUILT = "Readings against their limits", "As built"
#: Rows that are not readings of the crew.
_NOT_CREW = ("package", "record", "correction", "accepted deviation", "accepted by", "pressure released by",
             "least wall for blasting")
#: Rows that may be later than the acceptance.
_LATER = ("line pressure", "accepted deviation", "accepted by", "photo", "correction")
_SENSE = {"<=": "at most", "<": "less than", ">=": "at least", ">": "more than"}
#: A reading this much hotter than the case expects, or than the steel while it was laid, may be one in degrees
#: Fahrenheit, in °C: 50 °F written as 50 °C is 40 °C too hot, 60 °F 44 °C.
_FAR = 8.0
_FUTURE = datetime.timedelta(minutes=10)


@dataclass(frozen=True)
class Nonconformance:
    """One check that is not met. guard: who may accept it; accepted_by, reason: blank as long as nobody does."""

    number: str
    title: str
    check: str
    found: str
    wanted: str
    citation: str
    guard: str
    rows: tuple[str, ...]
    accepted_by: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Closeout:
    """What a close-out says. Dates as text (ISO 8601), blank where they do not apply or nothing is stated."""

    package: str
    verdict: str
    recorder: Recorder
    readings: Readings
    entered: tuple[Entered, ...]
    nonconformances: tuple[Nonconformance, ...]
    missing: tuple[str, ...]
    batches: tuple[dict[str, str], ...]
    accepted_by: str = ""
    closed_on: str = ""
    next_inspection: str = ""
    end_of_life: str = ""
    restored: Value | None = None
    correction: str = ""


def units_of(outcome: Outcome) -> int:
    """Units of all repairs, as they lie on the pipe."""
    assert outcome.design is not None and outcome.design.extent is not None
    return sum(len(r.layout.widths) for r in outcome.design.extent.repairs if r.layout is not None)


def closeout(bundle: Bundle, outcome: Outcome, readings: Readings, *, package: str, made: datetime.datetime,
             now: datetime.datetime, approval: Approval | None, look: Look | None) -> Closeout:
    """Hold readings against the package.

    package: its name; made: when it was written; now: nothing may be read later; look: the last look into the ditch,
    None without one. Raises CaseFaults for readings that
    cannot be of this repair or this time, or that accept one's own work; PackageError when there is no wrap.
    """
    d = outcome.design
    if outcome.decision.word != WRAP or d is None or not d.holds:
        raise PackageError(f"{package}: its decision is '{outcome.decision.word}'; only a package that decides "
                           f"'{WRAP}' is closed out")
    count = units_of(outcome)
    w = Work(bundle, d, readings, Ledger(), outcome.decision.beside)
    faults = [*_out_of_time(readings, made, now), *_unknown_units(readings, count), *_fahrenheit(w), *_own_work(w)]
    if faults:
        raise CaseFaults(counted(sorted(faults, key=lambda f: f.line or 0), readings.name))
    with recording(Recorder(bundle.case.display)):
        marked = marks(bundle, d)
    rec = Recorder(bundle.case.display)
    rec.stage = "B"
    with recording(rec):
        batches, built = _judged(w, rec, outcome, marked, look.damage if look is not None else None)
        before_work.seen(w, look)
        accepted = _acceptance(w)
        before_work.approved(w, approval)
    found = _accepted_deviations(w, package, list(_nonconformances(w, package)))
    verdict = _verdict(w.book, found)
    good = verdict in (ACCEPTED, DEVIATION)
    day = accepted.time.date() if accepted is not None and accepted.time is not None else None
    life = bundle.case.value("design.design_life").magnitude
    correction = readings.one("correction")
    return Closeout(
        package, verdict, rec, readings, tuple(w.book.entered), tuple(found), tuple(w.book.missing), tuple(batches),
        accepted.text if accepted and good else "", day.isoformat() if day and good else "",
        _next_look(outcome, day) if good and day else "", years_after(day, life).isoformat() if good and day else "",
        _restored(outcome, built) if good else None, correction.text if correction else "")


# -- the order of the checks -------------------------------------------------------------------------------------
def _judged(w: Work, rec: Recorder, outcome: Outcome, marked: Marks, damage: as_built.Damage | None
            ) -> tuple[list[dict[str, str]], as_built.Again | None]:
    """Every check, under its heading; the batches, and the design as built. damage: as found."""
    count = units_of(outcome)
    rec.begin(LIMITS)
    blasted, mixed, first = w.first("blast finished"), w.first("mixing started"), w.first("material placed")
    if blasted is None:
        w.lacks("blast finished")
    bonding = [r for r in w.log("material placed") if not r.where.startswith(END_SEAL)]
    laid = bonding[-1].time if bonding else None
    release_row = w.first("pressure released by")
    released = release_row.time if release_row else None
    rec.begin(BUILT)
    cured = cure(w, laid)
    rec.begin(LIMITS)
    site_readings.installer(w, laid)
    start = mixed.time if mixed else None
    pressures = site_readings.pressures(w, blasted.time if blasted else None, start, cured, released)
    site_readings.weather(w, blasted.time if blasted else None, laid, first.time if first else None)
    site_readings.surface(w, blasted, first)
    batches = mix_readings.batches(w, count, laid)
    until = cured or released
    steel = w.log("steel temperature", start, until) if start else []
    mix_readings.mixes(w, min(steel, key=lambda r: r.base) if steel else None)
    mass_readings.enough(w)
    counted = wrap_readings.layers(w, count)
    wrap_readings.circumference(w, count, counted)
    hard = wrap_readings.hardness(w)
    wrap_readings.tapping(w)
    wrap_readings.laminate(w)
    wrap_readings.coating(w)
    wrap_readings.points(w)
    wrap_readings.release(w, cured, hard)
    order_readings.order(w, order_readings.Moments(blasted.time if blasted else None, first.time if first else None,
                                                   laid, cured, released))
    rec.begin(BUILT)
    built = as_built.again(w, outcome, damage, [r for r in pressures if r is not None], _while_laying(w, start, laid),
                           counted)
    _after_release(w, released, built)
    found = cover_readings.spans(w, count)
    if found:
        placement_readings.sides(w, marked, found)
        cover_readings.extent(w, outcome, damage, found, built)
    placement_readings.starts_around(w, marked, count)
    placement_readings.wrap_ends(w, marked, count)
    return batches, built


def _while_laying(w: Work, start: datetime.datetime | None, laid: datetime.datetime | None) -> list[Reading]:
    """Steel temperatures from the first mix until all is laid, and those just before and after."""
    if start is None or laid is None:
        return []
    around = datetime.timedelta(hours=w.practice("climate_interval").value().to("hour"))
    return w.log("steel temperature", start - around, laid + around)


def _after_release(w: Work, released: datetime.datetime | None, built: as_built.Again | None) -> None:
    """What was logged since the release is not above what the repair restores."""
    rows = w.log("line pressure", released) if released is not None else []
    if rows and built is not None and built.restored is not None:
        top = max(rows, key=lambda r: r.base)
        w.limit("Line pressure since the release, highest logged", w.value(top), "<=", built.restored,
                citation="record: restored pressure", status="derived", guard=OTHERS, rows=[top])


def _acceptance(w: Work) -> Reading | None:
    """Who accepts, and when: after everything that was read."""
    row = w.last("accepted by")
    if row is None:
        w.lacks("accepted by")
    else:
        assert row.time is not None
        last = max((r for r in w.readings.rows if r.time is not None and r.what not in _LATER), key=lambda r: r.time,
                   default=None)
        if last is not None:
            w.gate("Accepted after the last reading", row.time >= last.time, stamp(row.time),
                   f"not before {stamp(last.time)}", citation=PRACTICE.id, status="common practice", guard=OTHERS,
                   rows=[row, last])
    return row


# -- the word ----------------------------------------------------------------------------------------------------
def _nonconformances(w: Work, package: str) -> Iterator[Nonconformance]:
    """Numbered in the order of the checks: the same readings give the same numbers."""
    number = 0
    for e in w.book.entered:
        c = e.check
        if c.verdict == "no data":
            w.book.lack(f"for the check: {c.title}" + (f" ({c.note})" if c.note else ""))
        elif not c.met:
            number += 1
            yield Nonconformance(f"{package}-N{number}", c.title, c.id, *told(c, w.bundle.case.display), c.citation,
                                 e.guard, e.rows)


def told(c: Check, display: str) -> tuple[str, str]:
    """What was found and what is wanted, in words."""
    if c.provided is not None and c.limit is not None:
        return c.provided.show(display), f"{_SENSE[c.sense]} {c.limit.show(display)}"
    return c.found, c.wanted


def _verdict(book: Ledger, found: list[Nonconformance]) -> str:
    if any(n.guard == NOBODY for n in found):
        return REJECTED
    if book.missing:
        return OPEN
    if any(not n.accepted_by for n in found):
        return REJECTED
    return DEVIATION if found else ACCEPTED


def _accepted_deviations(w: Work, package: str, found: list[Nonconformance]) -> list[Nonconformance]:
    """The non-conformances with who accepts them. Raises CaseFaults for a row that accepts what it may not."""
    faults: list[Fault] = []
    by_number = {n.number.casefold(): n for n in found}
    # Who says that a hold point is not done has read nothing.
    crew = installers(w) | {same_name(r.by) for r in w.readings.rows if r.by and r.what not in _NOT_CREW
                            and not (WHATS[r.what].kind == DONE and r.text == NONE)}
    for r in w.readings.of("accepted deviation"):
        n = by_number.get(r.where.casefold())
        if n is None:
            faults.append(w.readings.fault(r, "where", units.shown(r.where), "the number of a non-conformance: "
                          + (", ".join(x.number for x in found[:12]) or "there is none"),
                          "close out without this row first: the page lists the numbers"))
        elif same_name(r.text) != same_name(n.title):
            faults.append(w.readings.fault(r, "reading", units.shown(r.text), f"'{n.title}', the title of {n.number}",
                          "repeat the title of what is accepted; numbers move when readings change"))
        elif n.guard == NOBODY:
            faults.append(w.readings.fault(r, "where", n.number, "a non-conformance that a person may accept",
                          "remove the row: this one needs the wrap mended, or a new revision of the package"))
        elif n.guard == OTHERS and same_name(r.by) in crew:
            faults.append(w.readings.fault(r, "by", units.shown(r.by), "somebody who neither installed, counted nor "
                          f"read: {n.title} bears on the safety of people",
                          "have it accepted by another person, or mend it"))
        else:
            by_number[r.where.casefold()] = replace(n, accepted_by=r.by, reason=r.remark)
    if faults:
        raise CaseFaults(faults)
    return list(by_number.values())


# -- dates and pressure ------------------------------------------------------------------------------------------
def years_after(day: datetime.date | None, years: float) -> datetime.date:
    """The day so many years later; of 29 February the 28th where there is none, and of a part of a year whole days."""
    assert day is not None
    whole = int(years + 1e-9)
    try:
        out = day.replace(year=day.year + whole)
    except ValueError:
        out = day.replace(year=day.year + whole, day=28)
    return out + datetime.timedelta(days=int((years - whole) * 365.25 + 1e-6))


def _next_look(outcome: Outcome, day: datetime.date) -> str:
    """Earliest of the planned interval of the case and, where the loss goes on, the interval of its growth."""
    case = outcome.bundle.case
    dates = []
    planned, measured = case.optional("growth.planned_interval"), case.get("growth.measured_date")
    if planned is not None:
        dates.append(years_after(day, planned.magnitude))
    if outcome.life is not None and measured and goes_on(outcome.bundle):
        dates.append(years_after(datetime.date.fromisoformat(str(measured)), outcome.life.interval.magnitude))
    return min(dates).isoformat() if dates else ""


def _restored(outcome: Outcome, built: as_built.Again | None) -> Value | None:
    """The lower of what the record restores and what the repair as built does."""
    if built is None or built.restored is None or outcome.bears is None:
        return None
    designed = outcome.bears.restored
    return built.restored if built.restored.magnitude <= designed.magnitude else designed


# -- what cannot be ----------------------------------------------------------------------------------------------
def _out_of_time(readings: Readings, made: datetime.datetime, now: datetime.datetime) -> Iterator[Fault]:
    for r in readings.rows:
        if r.time is None:
            continue
        if r.time < made:
            yield readings.fault(r, "time", stamp(r.time), f"not before the package was made, {stamp(made)}",
                                 "check the date and the offset; readings of earlier work do not close this revision")
        elif r.time > now + _FUTURE:
            yield readings.fault(r, "time", stamp(r.time), f"not in the future (now {stamp(now)})",
                                 "check the date and the offset")


def _unknown_units(readings: Readings, count: int) -> Iterator[Fault]:
    for r in readings.rows:
        if r.what == "photo":
            continue
        for number in re.findall(r"\bunit (\d+)", r.where.casefold()):
            if not 1 <= int(number) <= count:
                yield readings.fault(r, "where", units.shown(r.where), f"unit 1 to unit {count}",
                                     "units are numbered from upstream, through all repairs of the package")


def _fahrenheit(w: Work) -> Iterator[Fault]:
    """Readings in °C that are far too hot for the case but would do in °F."""
    work, system = w.bundle.case.work, w.bundle.system
    assert system is not None
    most = system.application.steel_temperature_max.base
    placed = w.last("material placed")
    laying = [r.base for r in w.log("steel temperature", None, placed.time)] if placed else []
    for what, given in (("air temperature", work.air_high), ("steel temperature", work.steel_high)):
        top = most if given is None else min(most, given.base + _FAR)
        near = sorted(laying) if what == "steel temperature" else []
        for r in w.readings.of(what):
            assert r.given is not None
            other = (r.base - 32) / 1.8
            # A jump is one of scale only where the other scale leads back to what was read while laying.
            jump = bool(near) and r.base > near[len(near) // 2] + _FAR and other >= near[0] - _FAR
            if r.given.unit == "degC" and (r.base > top or jump) and other <= top and not r.confirmed:
                fahrenheit = units.show(other, "degC", significant=3)
                yield w.readings.fault(r, "reading", units.shown(r.text), f"at most about "
                                       f"{units.show(near[len(near) // 2] + _FAR if jump else top, 'degC')} "
                                       f"for {what} here; as {r.base:g} °F it would be {fahrenheit}",
                                       "write °F if it was read so; if it is right, begin the remark with "
                                       f"'{CONFIRMED}'")


def _own_work(w: Work) -> Iterator[Fault]:
    """Nobody accepts his own work, nor a deviation of it."""
    names = installers(w)
    for what, column in (("accepted by", "reading"), ("accepted deviation", "by"), ("pressure released by", "reading")):
        for r in w.readings.of(what):
            name = r.text if column == "reading" else r.by
            if same_name(name) in names:
                yield w.readings.fault(r, column, units.shown(name), "a name other than that of the installer",
                                       "nobody accepts his own work, nor releases it: have another person do it")

