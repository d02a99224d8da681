"""Readings of the work against their limits: people, pressure, climate, surface. Each limit with its clause."""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Sequence

from wrapcalc.case.readings import Reading, same_name
from wrapcalc.formulas import acceptance, climate
from wrapcalc.recorder import active
from wrapcalc.stages.closeout.ledger import ANYONE, NOBODY, OTHERS, Work
from wrapcalc.standards.documents import IMO_COATING, ISO_8501, ISO_8502, ISO_24817, MAGNUS_1996, PRACTICE
from wrapcalc.units import show
from wrapcalc.values import Value

_SHEET = "system sheet"
_STATUS = (("sheet", _SHEET), (ISO_24817.id, "from memory"))
_CLIMATE = ("air temperature", "relative humidity", "steel temperature")


# -- people and pressure -----------------------------------------------------------------------------------------
def installers(w: Work) -> set[str]:
    """Who installed, as names are compared: those of the readings and the one of the case."""
    names = {same_name(r.text) for r in w.readings.of("installer")}
    stated = w.bundle.case.get("work.installer")
    return names | ({same_name(str(stated))} if stated else set())


def installer(w: Work, end: datetime.datetime | None) -> None:
    """Who installed, and whether the certificate was valid on that day."""
    case, rows = w.bundle.case, w.readings.of("installer")
    if not rows:
        w.lacks("installer")
        return
    stated, until = case.get("work.installer"), case.get("work.qualified_until")
    if stated is None:
        w.unstated("work.installer", "nobody is named who is qualified")
        return
    for r in rows:
        known = same_name(r.text) == same_name(str(stated))
        w.gate(f"Installer, {r.text}", known, r.text, str(stated), citation="case: work.installer", status="stated",
               guard=OTHERS, rows=[r], note="" if known else "qualification of another installer is not known here")
    if until is None:
        w.unstated("work.qualified_until", "nobody can tell whether the certificate was valid")
    elif end is not None:
        w.gate("Certificate of the installer valid on the day", end.date().isoformat() <= str(until),
               end.date().isoformat(), f"not after {until}", citation="case: work.qualified_until", status="stated",
               guard=OTHERS, rows=rows)


def gaps(w: Work, title: str, times: Sequence[tuple[datetime.datetime, Reading]], start: datetime.datetime,
         end: datetime.datetime, longest: Value, *, citation: str, status: str) -> None:
    """The longest time without a reading from start to end, against the interval and what a log by hand may be late."""
    # A reading shortly before the start is the one from which the first interval runs.
    early = [t for t, _ in times if start - datetime.timedelta(hours=longest.to("hour")) <= t < start]
    moments = [max(early, default=start), *(t for t, _ in times if start <= t <= end), end]
    widest = max(itertools.pairwise(moments), key=lambda x: x[1] - x[0])
    rows = [r for t, r in times if t in widest]
    gap = w.hours(*widest, "longest time without a reading", rows)
    slack = w.practice("log_slack").value()
    limit = active().procedure(f"{title}: longest interval, with what a log kept by hand may be late",
                               "interval of the log, longer by the share", PRACTICE.id, "common practice",
                               {"interval": longest, "share": slack},
                               {"longest": (longest.to("hour") * (1 + slack.magnitude), "hour")})["longest"]
    w.limit(title, gap, "<=", limit, citation=citation, status=status, rows=rows,
            note=f"from {stamp(widest[0])} to {stamp(widest[1])}")


def stamp(t: datetime.datetime) -> str:
    """A moment for reading, in the offset in which it was written."""
    return t.isoformat(sep=" ", timespec="minutes")


def pressures(w: Work, blasted: datetime.datetime | None, start: datetime.datetime | None,
              cured: datetime.datetime | None, released: datetime.datetime | None
              ) -> tuple[Reading | None, Reading | None]:
    """(highest, lowest) line pressure from the first material until cured; checks of the whole log, which begins with
    the blasting: people are beside the pipe from then on. blasted: when it ended.
    """
    rows, case = w.log("line pressure"), w.bundle.case
    if not rows:
        w.lacks("line pressure")
        return None, None
    until = released or cured
    working = [r for r in rows if until is None or r.time <= until]
    if working and w.beside is not None:
        top = max(working, key=lambda r: r.base)
        w.limit("Line pressure while people are beside the pipe, highest logged", w.value(top), "<=", w.beside,
                citation="record: pressure while people are beside the pipe", status="derived", guard=OTHERS,
                rows=[top])
    if start is None:
        return None, None
    laying = [r for r in rows if r.time >= start and (cured is None or r.time <= cured)]
    if not laying:
        w.lacks("line pressure", more="none between the first mix and the end of the cure")
        return None, None
    top, low = (f(laying, key=lambda r: r.base) for f in (max, min))
    w.limit("Line pressure from the first mix until cured, highest logged", w.value(top), "<=",
            case.value("service.installation_pressure"), citation="case: service.installation_pressure",
            status="stated", guard=OTHERS, rows=[top])
    interval = case.optional("work.pressure_interval")
    entry = w.practice("pressure_interval_usual")
    if until is not None:
        gaps(w, "Log of the line pressure without a gap", [(r.time, r) for r in rows if r.time],
             min(start, _blasting(w, blasted)), until,
             interval or entry.value(), citation="case: work.pressure_interval" if interval else entry.citation,
             status="stated" if interval else entry.status)
    return top, low


def _blasting(w: Work, blasted: datetime.datetime | None) -> datetime.datetime:
    """When blasting began, by its planned time; the first timed reading where that is not known."""
    took = w.bundle.case.optional("work.blast_time")
    if blasted is not None and took is not None:
        return blasted - datetime.timedelta(hours=took.to("hour"))
    return min(r.time for r in w.readings.rows if r.time is not None)


# -- climate -----------------------------------------------------------------------------------------------------
def weather(w: Work, start: datetime.datetime | None, end: datetime.datetime | None,
            first: datetime.datetime | None = None) -> None:
    """Steel, humidity and dew point from the end of blasting until all is laid. first: when the first material lay in
    place."""
    system = w.bundle.system
    assert system is not None
    for what in _CLIMATE:
        if not w.readings.of(what):
            w.lacks(what)
    if start is None or end is None:
        return
    interval = w.practice("climate_interval")
    rows = {what: _around(w, what, start, end, interval.value()) for what in _CLIMATE}
    for what, of in rows.items():
        if of:
            gaps(w, f"Readings of {what} without a gap", [(r.time, r) for r in of if r.time], start, end,
                 interval.value(), citation=interval.citation, status=interval.status)
        elif w.readings.of(what):
            w.lacks(what, more=f"none from the end of blasting, {stamp(start)}, until all was laid, {stamp(end)}")
    air, wet, steel = rows.values()
    span, near = (datetime.timedelta(hours=w.practice(n).value().to("hour")) for n in (
        "climate_interval", "climate_together"))
    if first is not None:
        _complete(w, rows, max(first - span, start - near), first, "before the first material")
    _complete(w, rows, end - near, end + span, "when all is laid")
    if steel:
        for sense, name, row in ((">=", "steel_temperature_min", min(steel, key=lambda r: r.base)),
                                 ("<=", "steel_temperature_max", max(steel, key=lambda r: r.base))):
            word = "coldest" if sense == ">=" else "hottest"
            w.limit(f"Steel temperature while working, {word}", w.value(row), sense,
                    system.value(f"application.{name}"), citation=w.sheet, status=_SHEET, guard=OTHERS, rows=[row])
    if wet:
        top = max(wet, key=lambda r: r.base)
        w.limit("Relative humidity, highest", w.fine(w.value(top)), "<=", w.fine(system.value("surface.humidity_max")),
                citation=f"{w.sheet}; {IMO_COATING.id}", status=_SHEET, rows=[top])
    _dew(w, air, wet, steel)


def _around(w: Work, what: str, start: datetime.datetime, end: datetime.datetime, longest: Value) -> list[Reading]:
    """The readings of the span, the last one before it where it is not too old, and what was read when it ended: the
    wrap is still wet then. The first one after the end counts where nothing was read nearer to it."""
    span = datetime.timedelta(hours=longest.to("hour"))
    near = datetime.timedelta(hours=w.practice("climate_together").value().to("hour"))
    rows = w.log(what, start - span, end + span)
    before = [r for r in rows if r.time < start]
    after = [r for r in rows if r.time > end + near]
    late = after[:1] if not any(abs(r.time - end) <= near for r in rows) else []
    return [*before[-1:], *(r for r in rows if start <= r.time <= end + near), *late]


def _complete(w: Work, rows: dict[str, list[Reading]], start: datetime.datetime, end: datetime.datetime, when: str
              ) -> None:
    """Air, humidity and steel were read together at least once from start to end: without, nobody knows the dew point
    at that moment."""
    air, *others = ([r for r in of if start <= r.time <= end] for of in rows.values())
    if not any(all(together(w, of, r.time) for of in others) for r in air):
        w.book.lack(f"reading: air temperature, relative humidity and steel temperature together {when}, from "
                    f"{stamp(start)} to {stamp(end)}")


def nearest(rows: Sequence[Reading], time: datetime.datetime, most: datetime.timedelta) -> Reading | None:
    """The reading nearest to a moment, not farther than `most`."""
    found = min((r for r in rows if r.time is not None), key=lambda r: abs(r.time - time), default=None)
    return found if found is not None and abs(found.time - time) <= most else None


def together(w: Work, rows: Sequence[Reading], time: datetime.datetime) -> list[Reading]:
    """All readings that count as taken together with one of that moment."""
    most = datetime.timedelta(hours=w.practice("climate_together").value().to("hour"))
    return [r for r in rows if r.time is not None and abs(r.time - time) <= most]


def _dew(w: Work, air: list[Reading], wet: list[Reading], steel: list[Reading]) -> None:
    """The least margin to the dew point, the errors of the instruments taken off: of what was read together the highest
    humidity and the coldest steel.
    """
    case, rec = w.bundle.case, active()
    errors = [case.optional(f"work.{x}_error") for x in ("temperature", "humidity")]
    for name, error in zip(("temperature", "humidity"), errors, strict=True):
        if error is None:
            w.unstated(f"work.{name}_error", "the margin to the dew point cannot be worked out")
    if None in errors or not (air and wet and steel):
        return
    sets = []
    for r in air:
        damp, cold = (together(w, rows, r.time) for rows in (wet, steel))
        if not damp or not cold:
            w.book.lack("reading: relative humidity and steel temperature together with the air temperature of row "
                        f"{r.row}")
        else:
            sets.append((r, max(damp, key=lambda x: x.base), min(cold, key=lambda x: x.base)))
    entry = w.bundle.tables.entry
    low, high = (entry(MAGNUS_1996.id, n).value().magnitude for n in ("range_low", "range_high"))
    sound = [s for s in sets if all(low <= s[i].base <= high for i in (0, 2)) and s[1].base > 0]
    if len(sound) < len(sets):
        w.gate("Readings inside what the dew point is worked out for", False, f"{len(sets) - len(sound)} outside",
               f"air and steel from {show(low, 'degC')} to {show(high, 'degC')}, humidity above 0",
               citation=MAGNUS_1996.id, status="from memory")
    if not sound:
        return
    e_t, e_h = errors
    a, b = (w.bundle.tables.value(MAGNUS_1996.id, n) for n in ("magnus_a", "magnus_b"))

    def margin(s) -> float:
        t = s[0].base + e_t.magnitude
        g = climate.magnus_term.core(phi=min(s[1].base + e_h.magnitude, 1.0), a=a.magnitude, b=b.magnitude, T=t)
        return s[2].base - e_t.magnitude - climate.dew_point.core(a=a.magnitude, b=b.magnitude, gamma=g)

    worst = min(sound, key=margin)
    warm = climate.reading_raised(w.value(worst[0]), e_t)
    gamma = climate.magnus_term(climate.humidity_raised(w.value(worst[1]), e_h), a, b, warm)
    left = climate.dew_margin(climate.reading_lowered(w.value(worst[2]), e_t), climate.dew_point(a, b, gamma))
    left = rec.named(left, "Steel above the dew point, least, errors of the instruments taken off")
    w.limit("Steel above the dew point, least", left, ">=", w.bundle.system.value("surface.dew_margin"),
            citation=f"{w.sheet}; {IMO_COATING.id}", status=_SHEET, guard=OTHERS, rows=worst)


# -- surface -----------------------------------------------------------------------------------------------------
def surface(w: Work, blasted: Reading | None, first: Reading | None) -> None:
    """Wall under blasting, grade, profile, salt, dust, bloom, and the time until the first material."""
    system = w.bundle.system
    assert system is not None
    _wall(w, blasted)
    answer(w, "blast grade", True, str(system.surface.grade), f"{w.sheet}; {ISO_8501.id}")
    spots = w.readings.of("blast profile")
    many = w.practice("profile_spots")
    if len(spots) < many.value().magnitude:
        w.lacks("blast profile", more=f"{len(spots)} of {many.written} spots")
    if spots:
        for sense, name, row in ((">=", "profile_min", min(spots, key=lambda r: r.base)),
                                 ("<=", "profile_max", max(spots, key=lambda r: r.base))):
            w.limit(f"Blast profile, {'least' if sense == '>=' else 'greatest'}", w.fine(w.value(row)), sense,
                    w.fine(system.value(f"surface.{name}")), citation=w.sheet, status=_SHEET, rows=[row])
    salt = w.worst("soluble salt", most=True)
    if salt is not None:
        w.limit(f"Soluble salt, greatest, as {system.surface.salt_as}", w.value(salt), "<=",
                system.value("surface.salt_max"), citation=f"{w.sheet}; {ISO_8502.id}", status=_SHEET, rows=[salt])
    dust = w.worst("dust rating", most=True)
    if dust is not None:
        w.limit("Dust rating, greatest", w.value(dust), "<=", system.value("surface.dust_max"),
                citation=f"{w.sheet}; {ISO_8502.id}, part 3", status=_SHEET, rows=[dust])
    answer(w, "rust bloom", False, "none right before the first material", PRACTICE.id)
    if blasted is not None and first is not None:
        if first.time < blasted.time:
            w.gate("First material after blasting", False, f"material at {stamp(first.time)}, blasting finished at "
                   f"{stamp(blasted.time)}", "blasting first", citation=PRACTICE.id, status="common practice",
                   guard=NOBODY, rows=[blasted, first])
            return
        zero = Value(0.0, "hour", w.hours(blasted.time, blasted.time, "", [blasted]).origin, "end of blasting")
        open_for = acceptance.open_time(w.hours(blasted.time, first.time, "first material", [first]), zero)
        w.limit("Time from the end of blasting to the first material", open_for, "<=",
                system.value("surface.open_time"), citation=w.sheet, status=_SHEET, rows=[blasted, first])


def _wall(w: Work, blasted: Reading | None) -> None:
    """The wall under blasting against the least of the case, or of the engineer; nothing where the pipe was without
    pressure, which the log has to show from when the blasting began."""
    stated = w.bundle.case.optional("work.blast_least_wall")
    rows = w.readings.of("least wall for blasting")
    laid_down = max((r for r in rows if same_name(r.by) not in installers(w)), key=lambda r: r.base, default=None)
    if rows and laid_down is None:
        w.lacks("least wall for blasting", more="laid down by the installer; the engineer does that")
    elif stated is None and laid_down is None:
        end = blasted.time if blasted is not None else None
        log = w.log("line pressure", _blasting(w, end) if end is not None else None, end)
        if log and all(r.base == 0 for r in log):
            return
        w.lacks("least wall for blasting", more="the case states none (work.blast_least_wall), and the pipe was not "
                "shown to be without pressure while it was blasted")
    row = w.worst("wall under blasting", most=False)
    if row is None:
        return
    if stated is not None:
        w.limit("Wall under blasting, least", w.value(row), ">=", stated, citation="case: work.blast_least_wall",
                status="stated", guard=OTHERS, rows=[row])
    if laid_down is not None:
        w.limit("Wall under blasting, least, against that of the engineer", w.value(row), ">=", w.value(laid_down),
                citation=f"laid down by {laid_down.by}", status="stated", guard=OTHERS, rows=[row, laid_down])


def answer(w: Work, what: str, wanted: bool, words: str, citation: str, guard: str = ANYONE) -> None:
    """A reading that is yes or no; all of them count."""
    rows = w.readings.of(what)
    if not rows:
        w.lacks(what)
        return
    holds = all(r.yes == wanted for r in rows)
    w.gate(what[0].upper() + what[1:], holds, ", ".join(r.text for r in rows), words, citation=citation,
           status=next((s for start, s in _STATUS if citation.startswith(start)), "common practice"), guard=guard,
           rows=rows)
