"""A row of the shelf: is it of the system of the case, and is it still good when the wrap is released."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from wrapcalc.case import Bundle
from wrapcalc.case.site_model import PACKED, SAME_PACK, Stock
from wrapcalc.formulas import materials as site
from wrapcalc.standards.documents import PRACTICE


@dataclass(frozen=True)
class Times:
    """Plan of the work, local time: its end, and the release of the wrap; None without a planned start."""

    start: datetime | None
    done: datetime | None
    released: datetime | None


def times(bundle: Bundle) -> Times:
    """Planned times, with the longest time of the cure table: the safer reading, for what must still be in date. It
    needs no layout: the layout asks it."""
    case, system = bundle.case, bundle.system
    assert system is not None
    if case.work.planned_start is None:
        return Times(None, None, None)
    # Dates of labels and certificates are local; so is the planned start with its offset.
    start = datetime.fromisoformat(case.work.planned_start).replace(tzinfo=None)
    stated = [case.optional(f"work.{key}") for key in ("blast_time", "application_time")]
    done = start + timedelta(hours=sum(h.magnitude for h in stated if h is not None))
    return Times(start, done, done + timedelta(hours=system.value(longest_cure(bundle)).magnitude))


def longest_cure(bundle: Bundle) -> str:
    """Where the sheet has the longest time of its cure table."""
    times = bundle.system.cure_table.times
    return f"cure_table.times.{max(range(len(times)), key=lambda i: times[i].base)}"


def good_until(bundle: Bundle, i: int) -> datetime:
    """The beginning of the labelled day of a row of the shelf, less what a warm storage has consumed."""
    s, where = bundle.case.stock[i], f"stock.{i}."
    good = datetime.fromisoformat(str(s.expiry))
    if s.excursion_time is None:
        return good
    ageing = [bundle.tables.value(PRACTICE.id, n).magnitude for n in ("ageing_factor", "ageing_step")]
    long, warm, limit = (bundle.case.value(where + k).magnitude for k in (
        "excursion_time", "excursion_temperature", "storage_limit"))
    return good - timedelta(hours=float(site.shelf_life_consumed.core(long, ageing[0], warm, limit, ageing[1])))


def in_date(bundle: Bundle, i: int, plan: Times) -> bool | None:
    """Whether a row of the shelf is good until the release, by the margin; None without a planned start."""
    if plan.released is None:
        return None
    margin = bundle.tables.value(PRACTICE.id, "shelf_life_margin").magnitude
    return (good_until(bundle, i) - plan.released).total_seconds() / 3600 >= margin


def other_than(bundle: Bundle, s: Stock) -> str:
    """Of which other system, layers or pack a row of the shelf says that it is; "" when it may be of this one. What it
    does not state is that of the sheet of this case."""
    system = bundle.system
    assert system is not None
    if s.system is not None and s.system.casefold() != str(system.system.id).casefold():
        return f"it is of system {s.system}, the case is of {system.system.id}"
    if s.layers is not None and s.item == "unit" and system.is_sleeve:
        made = system.value("sleeve.layers").magnitude
        if s.layers.base != made:
            return f"its units have {s.layers.base:g} layers, those of the sheet {made:g}"
    part = getattr(system, str(s.item).replace(" ", "_"), None) if s.item in PACKED else None
    pack = getattr(part, "pack", None)
    if s.pack is not None and pack is not None and abs(s.pack.base - pack.base) > SAME_PACK * pack.base:
        return f"its packs are of {s.pack.written}, those of the sheet of {pack.written}"
    return ""
