"""The cure by the steel temperatures as logged, place by place: the slowest place governs."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from wrapcalc.case.readings import Reading
from wrapcalc.recorder import Recorder, active, recording
from wrapcalc.stages.closeout.expected_readings import MOMENTS
from wrapcalc.stages.closeout.ledger import NOBODY, Entered, Work
from wrapcalc.stages.closeout.site_readings import stamp
from wrapcalc.stages.site.curing import Cured, cure_age


def cure(w: Work, laid: datetime.datetime | None) -> datetime.datetime | None:
    """When the logged steel temperature proved the cure, counted from when the last bonding material lay in place.

    Each place (the column `where`) is a log of its own: a warm probe gives no credit that a cold one denies. A place
    that was read once after the wrap was laid is no log; its reading is held in every log, where it is the slower.
    """
    if laid is None:
        return None
    after = [r for r in w.log("steel temperature") if r.time > laid]
    if not after:
        w.lacks("steel temperature", "cure log", f"none after {stamp(laid)}")
        return None
    logs = _logs(w, after)
    if not logs:
        w.lacks("steel temperature", "cure log", "no place was read twice after all was laid; write the same place in "
                "the same words")
        return None
    aside = Recorder(w.bundle.case.display)
    with recording(aside):
        place, rows = max(logs, key=lambda x: _slowness(_age(w, *x, laid)))
    places = len({p for p, _ in logs})
    if places > 1:
        active().assume(f"The steel was logged at {places} places; the cure is that of the slowest, {place}.",
                        "safer reading")
    cured = _age(w, place, rows, laid)
    w.book.entered.append(Entered(cured.check, NOBODY, (rows[0].row, rows[-1].row)))
    return cured.reached


def _logs(w: Work, after: Sequence[Reading]) -> list[tuple[str, list[Reading]]]:
    """(place, its readings by time) for every place that was read twice, alone and with those that were read once."""
    by_place: dict[str, list[Reading]] = {}
    for r in after:
        by_place.setdefault(_place(r), []).append(r)
    several = {p for p, rows in by_place.items() if len({r.time for r in rows}) > 1 and p not in MOMENTS}
    single = [r for p, rows in by_place.items() if p not in several for r in rows]
    out = []
    for place in sorted(several):
        own = [r for r in w.log("steel temperature") if _place(r) == place]
        out.append((place, own))
        if single:
            out.append((place, sorted([*own, *single], key=lambda r: (r.time, r.line))))
    return out


def _place(r: Reading) -> str:
    return r.where.casefold() or "no place named"


def _age(w: Work, place: str, rows: Sequence[Reading], laid: datetime.datetime) -> Cured:
    """The age by one log; of two readings at one moment the colder."""
    coldest: dict[datetime.datetime, float] = {}
    for r in rows:
        coldest[r.time] = min(r.base, coldest.get(r.time, r.base))
    cured = cure_age(w.bundle, sorted(coldest.items()), source=f"{w.readings.name}, {place}", since=laid)
    assert cured is not None
    return cured


def _slowness(cured: Cured) -> tuple[bool, float, float]:
    """To order by: what never cured first, then what cured last, then the least age."""
    reached = cured.reached
    return reached is None, reached.timestamp() if reached else 0.0, -cured.age.magnitude
