"""Batches and mixes against their limits: in date, dose of the table, laid within the pot life."""

from __future__ import annotations

import datetime

from wrapcalc.case.readings import Reading, same_name
from wrapcalc.recorder import Recorder, active, recording
from wrapcalc.stages.closeout.expected_readings import materials, unit_places
from wrapcalc.stages.closeout.ledger import NOBODY, OTHERS, Work
from wrapcalc.stages.closeout.site_readings import nearest, stamp, together
from wrapcalc.stages.site import dosing, stock
from wrapcalc.standards.documents import MECHANICS, PRACTICE
from wrapcalc.systems.field_model import END_SEAL
from wrapcalc.units import show
from wrapcalc.values import Value

_SHEET = "system sheet"


# -- batches -----------------------------------------------------------------------------------------------------
def batches(w: Work, units: int, laid: datetime.datetime | None) -> list[dict[str, str]]:
    """Every batch that was used with its expiry, in the order of the materials; checks that none was expired when the
    last of its material lay in place. What a warm storage has consumed is taken off the label.
    """
    system, case = w.bundle.system, w.bundle.case
    assert system is not None
    parts = unit_places(units) if system.is_sleeve else ["cloth"]
    out, seen, good = [], set(), _good_until(w)
    for where in (*parts, *materials(w.bundle)):
        rows = w.readings.of("batch", where)
        if not rows:
            w.lacks("batch", where)
        for r in rows:
            item = "unit" if where.startswith("unit") else where
            label = [e for e in w.readings.of("expiry") if _same_batch(e.where, where, r.text)]
            listed = [s for s in case.stock if s.item == item and s.batch is not None
                     and same_name(str(s.batch)) == same_name(r.text) and s.expiry is not None]
            kept = {day for x, number, day in good if x == item and same_name(number) == same_name(r.text)}
            days = sorted({e.text for e in label} | {str(s.expiry) for s in listed} | kept)
            placed = w.log("material placed")
            end = max((x.time for x in placed if x.where.startswith(f"{item}, ")), default=laid)
            if not listed and any(s.item == item for s in case.stock):
                active().warn(f"Batch {r.text} of {item} is not in the stock list of the case: how it was stored is "
                              "not known here.", f"row {r.row}")
            if not days:
                w.lacks("expiry", f"{where}: {r.text}")
            else:
                key = (item, same_name(r.text))
                if end is not None and key not in seen:
                    w.gate(f"Batch in date, {item} {r.text}", end.date().isoformat() <= days[0], end.date().isoformat(),
                           f"not after {days[0]}", citation="label" if label else f"case: stock, {r.text}",
                           status="stated", guard=OTHERS, rows=[r, *label],
                           note="by storage earlier than the label" if days[0] in kept - {e.text for e in label}
                           - {str(s.expiry) for s in listed} else "")
                seen.add(key)
            out.append({"item": where, "batch": r.text, "expiry": days[0] if days else ""})
    return out


def _good_until(w: Work) -> list[tuple[str, str, str]]:
    """(item, batch, last day) of the stock of the case, after what a warm storage has consumed."""
    with recording(Recorder(w.bundle.case.display)):
        shelf, _ = stock.batches(w.bundle, stock.Times(None, None, None))
    return [(b.item, b.batch, b.good_until.isoformat()) for b in shelf]


def _same_batch(place: str, where: str, batch: str) -> bool:
    material, _, number = place.partition(":")
    mine = "unit" if where.startswith("unit") else where
    theirs = material.strip().casefold()
    return (theirs == where or ("unit" if theirs.startswith("unit") else theirs) == mine) and (
        same_name(number) == same_name(batch))


# -- mixes -------------------------------------------------------------------------------------------------------
def mixes(w: Work, coldest: Reading | None) -> None:
    """Each mix: its dose in the table at what was measured, and laid within its pot life.

    Of what was read together the coldest counts for the dose, which must still cure there, and the warmest for the pot
    life, which is shortest there.
    """
    span = datetime.timedelta(hours=w.practice("climate_interval").value().to("hour"))
    for material in materials(w.bundle):
        places = dict.fromkeys(r.where for r in w.readings.rows if r.where.startswith(f"{material}, mix "))
        for where in places or (f"{material}, mix 1",):
            resin, hardener, start, placed = (_of_mix(w, x, where) for x in (
                "resin in mix", "hardener in mix", "mixing started", "material placed"))
            if start is None:
                continue
            near = {x: nearest(w.log(x), start.time, span) for x in ("air temperature", "steel temperature")}
            if None in near.values():
                w.book.lack("reading: air and steel temperature within "
                            f"{show(span.total_seconds() / 3600, 'hour')} of the time of mixing, {where}")
                continue
            air, steel = (together(w, w.log(x), r.time) for x, r in near.items())
            cold, warm = ([w.value(f(x, key=lambda r: r.base)) for x in (air, steel)] for f in (min, max))
            if resin is not None and hardener is not None:
                _dose(w, where, material, resin, hardener, (cold[0], cold[1]), w.value(coldest) if coldest else cold[1])
            if placed is not None:
                _pot_life(w, where, material, start, placed, (warm[0], warm[1]))


def _of_mix(w: Work, what: str, where: str) -> Reading | None:
    row = w.readings.one(what, where)
    if row is None:
        w.lacks(what, where)
    return row


def _dose(w: Work, where: str, material: str, resin: Reading, hardener: Reading, at: tuple[Value, Value],
          coldest: Value) -> None:
    """Hardener as weighed against the dose of the table for the resin as weighed.

    A dose that is not of the table cures by no table: nobody accepts it. The end seal bears no load.
    """
    rec, (mix, i) = active(), dosing.mix_of(w.bundle, material)
    assert mix is not None
    guard = OTHERS if material == END_SEAL else NOBODY
    rows = [resin, hardener]
    governing, checks = dosing.governed(w.bundle, material, *at, coldest, words=where)
    if governing is None or resin.base == 0:
        w.gate(f"Dose in the table of the sheet, {where}", False, "; ".join(f"{c.title}: {w.show(c.provided)}" for c in
               checks if c.provided is not None and not c.met) or "no resin", "a temperature inside the table",
               citation=w.sheet, status=_SHEET, guard=guard, rows=rows)
        return
    dose, mass = dosing.dose_value(w.bundle, material, governing), w.value(resin)
    of_pack = dosing.sheet(w.bundle, i, "resin_in_pack")
    packs = rec.procedure(f"Packs in {where}", "resin as weighed over the resin in one pack", MECHANICS.id, "derived",
                          {"resin": mass, "in one pack": of_pack}, {"packs": (mass.magnitude / of_pack.magnitude, "")}
                          )["packs"]
    need = rec.named(dosing.hardener(mix.basis, dose, mass, packs), f"Hardener by the table for {where}")
    off = rec.procedure(f"Hardener in {where}, off the dose of the table", "difference over the dose, without its sign",
                        MECHANICS.id, "derived", {"weighed": w.value(hardener), "by the table": need},
                        {"off": (round(abs(hardener.base - need.magnitude) / need.magnitude, 9), "")},
                        [("governing temperature", f"{mix.governing_temperature}: {w.show(governing)}")])["off"]
    entry = w.practice("dose_tolerance")
    w.limit(f"Hardener off the dose of the table, {where}", w.fine(off), "<=", w.fine(entry.value()),
            citation=entry.citation, status=entry.status, guard=guard, rows=rows,
            note=f"table: {w.show(need)} at {w.show(governing)}")


def _pot_life(w: Work, where: str, material: str, start: Reading, placed: Reading, at: tuple[Value, Value]) -> None:
    """From the time at which both parts met until the last of it lay in place."""
    rows = [start, placed]
    if placed.time < start.time:
        w.gate(f"Placed after mixing, {where}", False, f"placed at {stamp(placed.time)}", f"after {stamp(start.time)}",
               citation=PRACTICE.id, status="common practice", guard=OTHERS, rows=rows)
        return
    life = dosing.pot_life_at(w.bundle, material, *at, words=where)
    if life is None:
        w.gate(f"Pot life in the table of the sheet, {where}", False, "air and steel as measured are outside",
               "a temperature inside the table", citation=w.sheet, status=_SHEET, guard=OTHERS, rows=rows)
        return
    took = w.hours(start.time, placed.time, f"time, {where}", rows)
    w.limit(f"Time from mixing until it lay in place, {where}", took.converted("minute"), "<=",
            life.converted("minute"), citation=w.sheet, status=_SHEET, guard=OTHERS, rows=rows)
