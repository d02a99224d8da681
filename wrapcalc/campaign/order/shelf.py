"""The shelf of a campaign: which batch serves which site, the oldest first, and what is lacking."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from wrapcalc.campaign.model import lacking, unproven
from wrapcalc.case.site_model import PACKED, SAME_PACK, STOCK_ITEMS, Stock
from wrapcalc.formulas.materials import shelf_life_consumed
from wrapcalc.standards import tables
from wrapcalc.standards.documents import PRACTICE

#: Sizes of the shelf and of the order agree within this, in mm, as for a single site.
SAME_SIZE = 0.6
_DAY = datetime.timedelta(days=1)
#: Items of which the shelf is never counted, whatever it states.
NEVER = tuple(i for i in STOCK_ITEMS if i not in (*PACKED, "unit"))


@dataclass(frozen=True)
class Batch:
    """One row of the shelf. row: its number in [[stock]], from 1; width, diameter in mm, pack in kg.

    expiry: "use before" of the label; good_until: that less what a warm storage consumed. left: pieces that nobody
    takes; unused: why none of it counts, "" when it counts.
    """

    row: int
    item: str
    width: float | None
    diameter: float | None
    count: int
    batch: str
    expiry: datetime.date
    good_until: datetime.datetime
    left: int
    unused: str = ""
    system: str = ""
    layers: int | None = None
    pack: float | None = None

    @property
    def words(self) -> str:
        """Its name in a message."""
        return f"{self.item}, batch {self.batch}"


@dataclass(frozen=True)
class Taken:
    """Pieces of a batch for a site, or for the spares of all."""

    batch: str
    row: int
    pieces: int


@dataclass(frozen=True)
class Wanted:
    """Pieces of one line for one site (or for spares). needed_until: the day on which they must still be in date, None
    when no day is known: then nothing is taken, since nobody knows whether it is in date. system, layers, pack (kg):
    of which it must be."""

    kind: str
    width: float | None
    diameter: float | None
    pieces: int
    needed_until: datetime.date | None
    system: str = ""
    layers: int | None = None
    pack: float | None = None


def read_shelf(stock: Sequence[Stock]) -> tuple[list[Batch], list[str]]:
    """The rows that can be counted, and one line for each that cannot."""
    out, told = [], []
    for i, s in enumerate(stock, 1):
        if missing := lacking(s):
            told.append(f"[[stock]] row {i}{f', batch {s.batch}' if s.batch else ''}: not counted: "
                        f"{', '.join(missing)} not stated")
            continue
        if s.item not in NEVER and (missing := unproven(s)):
            told.append(f"[[stock]] row {i}, batch {s.batch}: not counted: {', '.join(missing)} not stated, so nobody "
                        "knows that it is what the sites need; add it from the label")
            continue
        expiry = datetime.date.fromisoformat(str(s.expiry))
        count, good = int(s.count.base), datetime.datetime.combine(expiry, datetime.time())
        try:
            good -= datetime.timedelta(hours=_consumed(s))
        except OverflowError:
            told.append(f"[[stock]] row {i}, batch {s.batch}: not counted: its warm storage consumed all of its life")
            continue
        out.append(Batch(i, str(s.item), _base(s.width), _base(s.diameter), count, str(s.batch), expiry, good, count,
                         system=str(s.system or ""), layers=None if s.layers is None else int(s.layers.base),
                         pack=_base(s.pack)))
    return out, told


def _base(given: Any) -> float | None:
    return None if given is None else float(given.base)


def _consumed(s: Any) -> float:
    """Hours of shelf life that a warm storage consumed; all of it is taken off, as for a single site."""
    if s.excursion_time is None:
        return 0.0
    known = tables.load()
    return float(shelf_life_consumed.core(
        tau=s.excursion_time.base, q_a=known.value(PRACTICE.id, "ageing_factor").magnitude,
        T_e=s.excursion_temperature.base, T_l=s.storage_limit.base,
        Delta_T=known.value(PRACTICE.id, "ageing_step").magnitude))


def margin() -> datetime.timedelta:
    """Least shelf life that is left when a wrap is released."""
    return datetime.timedelta(hours=tables.load().value(PRACTICE.id, "shelf_life_margin").magnitude)


class Shelf:
    """Gives pieces away, the oldest batch first; what is given is gone."""

    def __init__(self, batches: Sequence[Batch]):
        self._left = {b.row: b.count for b in batches}
        self._batches = sorted(batches, key=lambda b: (b.good_until, b.row))
        self._unused: dict[int, str] = {}
        self._margin = margin()

    def refuse(self, b: Batch, why: str) -> None:
        """Nothing of the batch counts."""
        self._unused[b.row] = why

    def fitting(self, wanted: Wanted) -> list[Batch]:
        """Batches of this kind, size, system, layers and pack, in date or not."""
        return [b for b in self._batches if fits(b, wanted) and not other_than(b, wanted)]

    def take(self, wanted: Wanted, told: Callable[[Batch], None] = lambda b: None) -> tuple[Taken, ...]:
        """As many pieces as there are in date, at most those wanted. told: called for each batch that fits but is too
        old, while pieces are still lacking."""
        lacking, out = wanted.pieces, []
        if wanted.needed_until is None:
            return ()
        # Released at some hour of that day: counted to its end.
        end = datetime.datetime.combine(wanted.needed_until, datetime.time()) + _DAY + self._margin
        for b in self.fitting(wanted):
            if lacking == 0:
                break
            if b.row in self._unused or self._left[b.row] == 0:
                continue
            if b.good_until < end:
                told(b)
                continue
            n = min(self._left[b.row], lacking)
            self._left[b.row] -= n
            lacking -= n
            out.append(Taken(b.batch, b.row, n))
        return tuple(out)

    def batches(self) -> tuple[Batch, ...]:
        """Every row with what is left of it, as [[stock]] lists them."""
        return tuple(replace(b, left=self._left[b.row], unused=self._unused.get(b.row, ""))
                     for b in sorted(self._batches, key=lambda b: b.row))


def fits(b: Batch, w: Wanted) -> bool:
    """Whether a batch is of this kind and size."""
    if b.item != w.kind:
        return False
    pairs = [(b.width, w.width)] if w.kind in ("unit", "cloth") else []
    pairs += [(b.diameter, w.diameter)] if w.kind == "unit" else []
    return all(have is not None and want is not None and abs(have - want) <= SAME_SIZE for have, want in pairs)


def other_than(b: Batch, w: Wanted) -> str:
    """Of which other system, layers or pack a batch of the kind and size is; "" when it is what is wanted."""
    if w.kind in NEVER:
        return ""
    if b.system.casefold() != w.system.casefold():
        return f"it is of system {b.system}, and the sites need it of {w.system}"
    if w.kind == "unit" and b.layers != w.layers:
        return f"it has {b.layers} layers, and the sites need {w.layers or 'a number that no record says'}"
    if w.kind in PACKED and (b.pack is None or w.pack is None or abs(b.pack - w.pack) > SAME_PACK * w.pack):
        return f"its packs are of {b.pack:g} kg, and the sites need packs of {w.pack or 0:g} kg"
    return ""
