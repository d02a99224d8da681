"""What of the shelf is still good when the wrap is released, used oldest first, and what is lacking."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial

from wrapcalc.case import Bundle
from wrapcalc.checks import Check
from wrapcalc.formulas import materials as site
from wrapcalc.recorder import active
from wrapcalc.stages.site.shelf import Times, good_until, longest_cure, other_than
from wrapcalc.stages.site.shelf import times as planned
from wrapcalc.stages.site.takeoff import Line
from wrapcalc.standards.documents import PRACTICE
from wrapcalc.values import Value

#: Widths and diameters of the shelf and of the order agree within this, in mm: the same size in another unit.
_SAME = 0.6


@dataclass(frozen=True)
class Batch:
    """One row of the shelf. expiry as labelled; good_until: after what a warm storage has consumed of it.

    left: time from the release of the wrap to that, None without a planned start; usable: whether that is enough.
    """

    row: int
    item: str
    width: Value | None
    diameter: Value | None
    count: int
    batch: str
    expiry: date
    good_until: date
    consumed: Value | None
    left: Value | None
    usable: bool | None


@dataclass(frozen=True)
class Cover:
    """How one line of the order is covered. usable: pieces on the shelf that may be used, None where it cannot be said.

    lacking: of the order, without spares; to_get: with spares; take: (batch, pieces) of order and spares, oldest first.
    """

    usable: int | None
    lacking: int | None
    to_get: int | None
    take: tuple[tuple[str, int], ...]


def times(bundle: Bundle) -> Times:
    """Planned times, and what is taken for granted in them."""
    case, system, rec, plan = bundle.case, bundle.system, active(), planned(bundle)
    assert system is not None
    if plan.start is not None:
        for key in ("blast_time", "application_time"):
            if case.optional(f"work.{key}") is None:
                rec.assume(f"work.{key} is not stated; it is not counted in the time until release.", "scope")
        cure = system.value(longest_cure(bundle))
        rec.assume(f"Materials must be in date until the wrap is released, after the longest time of the cure table, "
                   f"{cure.show(case.display)}.", "safer reading")
    return plan


def batches(bundle: Bundle, plan: Times) -> tuple[tuple[Batch, ...], tuple[Check, ...]]:
    """Every row of the shelf, and whether it is in date; "no data" without a planned start."""
    case, rec = bundle.case, active()
    if not case.stock:
        return (), ()
    margin, named = bundle.tables.entry(PRACTICE.id, "shelf_life_margin"), partial(_named, display=case.display)
    cited = {"citation": margin.citation, "status": margin.status, "kind": "gate"}
    found = [_batch(bundle, i, plan) for i in range(len(case.stock)) if _is_ours(bundle, i)]
    if not found:
        return (), ()
    if plan.released is None:
        check = rec.check("Stock in date when the wrap is released", None, ">=", margin.value(),
                          note="work.planned_start is not stated", **cited)
        return tuple(b for b, _ in found), (check,)
    out = rec.procedure(
        "Shelf life of the stock that is left", "from the release of the wrap to the beginning of the labelled day, "
        "less what a warm storage has consumed", PRACTICE.id, "common practice",
        {f"consumed of {named(b)}": b.consumed for b, _ in found if b.consumed is not None}
        | {"margin": margin.value()},
        {named(b): (left, "hour") for b, left in found if left is not None},
        [("planned start", f"{plan.start:%Y-%m-%d %H:%M}"),
         ("release at the latest", f"{plan.released:%Y-%m-%d %H:%M}")]
        + [(named(b), f"use before {b.expiry}" + (f"; by storage {b.good_until}" if b.consumed is not None else ""))
           for b, _ in found])
    rows, checks = [], []
    for b, _ in found:
        check = rec.check(f"In date when the wrap is released: {named(b)}", out[named(b)], ">=", margin.value(),
                          note=f"use before {b.good_until}", **cited)
        checks.append(check)
        rows.append(Batch(b.row, b.item, b.width, b.diameter, b.count, b.batch, b.expiry, b.good_until, b.consumed,
                          out[named(b)], check.met))
    return tuple(rows), tuple(checks)


def _is_ours(bundle: Bundle, i: int) -> bool:
    """Whether a row of the shelf is of the system of the case; what is of another one is told and never counted."""
    s = bundle.case.stock[i]
    why = other_than(bundle, s)
    if why:
        active().warn(f"On the shelf: {s.item}, batch {s.batch}, is not counted: {why}.", f"stock.{i}")
    return not why


def _batch(bundle: Bundle, i: int, plan: Times) -> tuple[Batch, float | None]:
    """A row of the shelf and the hours that are left of it at the release."""
    case, s = bundle.case, bundle.case.stock[i]
    expiry, consumed, good = date.fromisoformat(s.expiry), None, good_until(bundle, i)
    if s.excursion_time is not None:
        practice = [bundle.tables.value(PRACTICE.id, n) for n in ("ageing_factor", "ageing_step")]
        where = f"stock.{i}."
        consumed = active().named(site.shelf_life_consumed(
            case.value(where + "excursion_time"), practice[0], case.value(where + "excursion_temperature"),
            case.value(where + "storage_limit"), practice[1]), f"Shelf life consumed by warm storage: {s.item}, batch "
            f"{s.batch}")
        active().assume("All of the shelf life that a warm storage consumed is taken off the labelled day, although "
                        "the calendar has counted the time itself: ageing may be faster than the rule.",
                        "safer reading")
    left = None if plan.released is None else (good - plan.released).total_seconds() / 3600
    return Batch(i, s.item, case.optional(f"stock.{i}.width"), case.optional(f"stock.{i}.diameter"),
                 int(s.count.base), str(s.batch), expiry, good.date(), consumed, None, None), left


def _named(b: Batch, display: str) -> str:
    wide = f" {b.width.show(display)} wide" if b.width is not None else ""
    wide += f" for {b.diameter.show(display)}" if b.diameter is not None else ""
    return f"{b.item}{wide}, batch {b.batch}"


def cover(bundle: Bundle, order: Sequence[Line], spares: Sequence[int], shelf: tuple[Batch, ...]
          ) -> tuple[tuple[Cover, ...], tuple[Check, ...]]:
    """Order against shelf, line by line; () where no stock is stated. Cloth cannot be counted: a roll has no length."""
    if not shelf:
        return (), ()
    rec, out = active(), []
    for line, spare in zip(order, spares, strict=True):
        mine = sorted((b for b in shelf if _fits(b, line)), key=lambda b: (b.good_until, b.row))
        known = line.kind != "cloth" and all(b.usable is not None for b in mine)
        good = [b for b in mine if b.usable]
        if known:
            usable, wanted = sum(b.count for b in good), line.pieces + spare
            out.append(Cover(usable, max(0, line.pieces - usable), max(0, wanted - usable), _taken(good, wanted)))
        else:
            out.append(Cover(None, None, None, ()))
    counted = rec.procedure(
        "Stock against the order", "pieces or whole packs that are in date, the oldest first; the order is without "
        "spares", PRACTICE.id, "common practice", {line.item: line.packs or line.quantity for line in order},
        {f"on the shelf: {line.item}": (float(c.usable), "") for line, c in zip(order, out, strict=True)
         if c.usable is not None},
        [(line.item, ", ".join(f"{n} of batch {b}" for b, n in c.take) or "none on the shelf")
         for line, c in zip(order, out, strict=True) if c.usable is not None])
    checks = []
    for line, c in zip(order, out, strict=True):
        note = "" if c.usable is not None else (
            "the length of cloth on the rolls is not stated" if line.kind == "cloth" else
            "work.planned_start is not stated")
        checks.append(rec.check(f"On the shelf: {line.item}", counted.get(f"on the shelf: {line.item}"), ">=",
                                line.packs or line.quantity, citation=PRACTICE.id, status="common practice",
                                kind="information", note=f"{c.lacking} to get" if c.lacking else note))
    return tuple(out), tuple(checks)


def _fits(b: Batch, line: Line) -> bool:
    if b.item != line.kind:
        return False
    pairs = [(b.width, line.width)] + ([(b.diameter, line.diameter)] if line.kind == "unit" else [])
    return all(want is None or (have is not None and abs(have.magnitude - want) <= _SAME) for have, want in pairs)


def _taken(good: list[Batch], need: int) -> tuple[tuple[str, int], ...]:
    out = []
    for b in good:
        n = min(b.count, need)
        if n:
            out.append((b.batch, n))
        need -= n
    return tuple(out)


def certificate(bundle: Bundle, plan: Times) -> Check:
    """Whether the installer's certificate still holds when the work is done, with a margin.

    It is counted to the end of the day that it names; the margin of a day is for those who count to its beginning.
    """
    case, rec = bundle.case, active()
    entry = bundle.tables.entry(PRACTICE.id, "certificate_margin")
    ends, left, note = case.work.qualified_until, None, "work.qualified_until is not stated"
    if ends is not None and plan.done is None:
        note = "work.planned_start is not stated"
    elif ends is not None and plan.done is not None:
        last = datetime.combine(date.fromisoformat(ends) + timedelta(days=1), datetime.min.time())
        note = ", ".join(str(x) for x in (case.work.installer, case.work.installer_certificate) if x)
        note += f"{'; ' if note else ''}ends on {ends}"
        left = rec.procedure(
            "Time left of the installer's certificate", "from the planned end of the work to the end of the day on "
            "which it ends", PRACTICE.id, "common practice", {"margin": entry.value()},
            {"time left": ((last - plan.done).total_seconds() / 3600, "hour")},
            [("work done", f"{plan.done:%Y-%m-%d %H:%M}"), ("certificate ends on", ends)])["time left"]
    return rec.check("Installer's certificate when the work is done", left, ">=", entry.value(),
                     citation=entry.citation, status=entry.status, kind="gate", note=note)
