"""One order for all sites of a campaign: what each needs, together in whole packs, spares, stock, and what is lacking.

Two-part packs that are opened are used up at their site, so packs are whole for each site and only then added. Spares
are counted once for all sites of a line: the fewest with which the whole campaign has enough with the confidence that
was asked for. Beside that stands what separate stores would need for the same confidence that no site runs short, each
of n sites at its n-th root; the common store never needs more (whenever no separate store runs short, the common one
does not).
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from wrapcalc.campaign.closed import own_of
from wrapcalc.campaign.order.needs import ABRASIVE, CLOTH, CONSUMABLE, HARDENER, KINDS, Key, Need, needs_of
from wrapcalc.campaign.order.shelf import Batch, Shelf, Taken, Wanted, fits, other_than, read_shelf
from wrapcalc.campaign.report.site_record import WRAP, Problem, Site, counted, plain, read_sites, shown
from wrapcalc.case.site_model import Stock
from wrapcalc.errors import CalculationError
from wrapcalc.searches.spares import spares
from wrapcalc.units import steady

#: Kinds of which the shelf is never counted, and why.
_NOT_ON_SHELF = {CLOTH: "the length of cloth on the rolls is not stated", HARDENER: "it comes in the packs of its "
                 "material; a row of the shelf does not say of which", ABRASIVE: "the shelf has no abrasive",
                 CONSUMABLE: "the shelf has no consumables"}


@dataclass(frozen=True)
class SiteNeed:
    """What one site needs of a line. planned: first day of the work; needed_until: day of the release, on which it must
    still be in date; spares: that its own store would need; taken: from the shelf; lacking: pieces without spares, None
    where the shelf is not counted. refs: ids in the record of its package."""

    case_id: str
    package: str
    planned: datetime.date | None
    needed_until: datetime.date | None
    quantity: float | None
    packs: int | None
    pieces: int | None
    spares: int | None
    taken: tuple[Taken, ...]
    lacking: int | None
    refs: tuple[str, ...]


@dataclass(frozen=True)
class OrderLine:
    """One item of the order for all sites. quantity in `unit` ("", "kg", "m**2"), waste in it and no spares; None when
    a site does not say it.

    pieces: units, whole packs or bands. spares: for all sites together; spares_apart: if each site had its own;
    saved: pieces that the common store saves; spoil_share: by which they are counted. None where no share is stated.
    from_stock: pieces from the shelf, spares among them. lacking: pieces without spares; to_get: with spares;
    to_get_quantity: of what does not come in units or packs. needed_by: first day on which something is lacking, a
    spare from the first day of all; None when nothing is, or when one of the days is not known. spares_taken: batches
    of the spares.
    """

    key: Key
    unit: str
    quantity: float | None
    pieces: int | None
    spares: int | None
    spares_apart: int | None
    saved: int | None
    spoil_share: float | None
    from_stock: int | None
    lacking: int | None
    to_get: int | None
    to_get_quantity: float | None
    needed_by: datetime.date | None
    sites: tuple[SiteNeed, ...]
    spares_taken: tuple[Taken, ...]
    notes: tuple[str, ...]

    def label(self, display: str) -> str:
        """The item with its size, as it is asked for."""
        k = self.key
        words = [k.item]
        if k.width is not None:
            words.append(f"{shown(k.width, 'mm', display)} wide")
        if k.layers is not None:
            words.append(f"{k.layers} layers")
        if k.diameter is not None:
            words.append(f"for outside diameter {shown(k.diameter, 'mm', display)}")
        if k.pack is not None:
            words.append(f"packs of {shown(k.pack, 'kg', display)}")
        return ", ".join(words)


@dataclass(frozen=True)
class Order:
    """The order. without: (case, decision) of sites that need no wrap; problems: packages that are not counted; told:
    what the reader should know. confidence: of the spares of each line; done: sites that were accepted by a close-out
    and are in no line."""

    lines: tuple[OrderLine, ...]
    shelf: tuple[Batch, ...]
    without: tuple[tuple[str, str], ...]
    problems: tuple[Problem, ...]
    told: tuple[str, ...]
    confidence: float | None
    display: str = "SI"
    done: tuple[str, ...] = ()

    @property
    def shortages(self) -> tuple[OrderLine, ...]:
        """Lines of which something is to be got, what is needed first first; days that nobody knows come first."""
        short = [line for line in self.lines if line.to_get]
        return tuple(sorted(short, key=lambda x: (x.needed_by or datetime.date.min, self.lines.index(x))))

    def lacking_at(self, case_id: str) -> list[tuple[OrderLine, int]] | None:
        """(line, pieces) that a site lacks; None when the site is not in the order."""
        mine = [(line, s) for line in self.lines for s in line.sites if s.case_id == case_id]
        return [(line, s.lacking) for line, s in mine if s.lacking] if mine else None

    def data(self) -> dict:
        """The order as data for JSON."""
        return plain(self)


@dataclass
class _Pool:
    """Needs of one line while it is worked out; by the place of the site in the order of planned days."""

    key: Key
    needs: list[tuple[Site, Need]] = field(default_factory=list)


def order_list(packages: Sequence[Path], stock: Sequence[Stock], *, confidence: float | None,
               planned: Mapping[str, datetime.date], done: Mapping[str, datetime.date] | None = None,
               display: str = "SI") -> Order:
    """The order of a campaign against its stock.

    confidence: of the spares, None when the campaign does not state it: then none are counted. planned: first day of
    the work by case; done: day on which the wrap is laid, the planned day where it is not given. A batch counts for a
    site if it is in date until the release, the longest cure of the sheet after that day, with the margin of a single
    site. Sites are served by planned day, those without a day get nothing from the shelf. What a close-out beside its
    package accepted needs nothing any more. display: "SI" or "US".
    Raises CalculationError for a confidence that is none.
    """
    if confidence is not None and not 0 < confidence < 1:
        raise CalculationError(f"order: a confidence of {confidence!r}")
    read = read_sites(packages)
    own = own_of(packages)
    problems = [*read.problems, *own.problems]
    over = tuple(s.case_id for s in read.sites if own.done(s))
    wraps = counted([s for s in read.sites if s.known.decision == WRAP and s.case_id not in over], needs_of, problems)
    days = {s.case_id: _days(s, planned, done or {}) for s, _ in wraps}
    pools: dict[Key, _Pool] = {}
    for site, needs in sorted(wraps, key=lambda x: (days[x[0].case_id][0] or datetime.date.max, x[0].case_id)):
        for need in needs:
            pools.setdefault(need.key, _Pool(need.key)).needs.append((site, need))
    batches, told = read_shelf(stock)
    ordered = sorted(pools.values(), key=lambda p: _place(p.key))
    shelf = Shelf(batches)
    _refuse(shelf, batches, ordered, told)
    lines = _Allocation(shelf, days, confidence).lines(ordered)
    if over:
        told.append(f"accepted by a close-out and not in the order: {', '.join(over)}; [[stock]] has to be what is on "
                    "the shelf now, without what was laid there")
    told += _told(lines, days, [s for s, _ in wraps])
    without = tuple((s.case_id, s.known.decision) for s in read.sites if s.known.decision != WRAP)
    return Order(tuple(lines), shelf.batches(), without, tuple(problems), tuple(dict.fromkeys(told)), confidence,
                 display, over)


def _place(k: Key) -> tuple:
    known = KINDS.index(k.kind) if k.kind in KINDS else len(KINDS)
    return (known, k.system, k.sheet, k.diameter or 0.0, -(k.width or 0.0), k.layers or 0, k.pack or 0.0, k.item)


def _days(site: Site, planned: Mapping[str, datetime.date], done: Mapping[str, datetime.date]
          ) -> tuple[datetime.date | None, datetime.date | None]:
    """(first day, day of the release) of a site; the release only when the record says how long the cure may last."""
    first, cure = planned.get(site.case_id), site.longest_cure
    last = max((d for d in (first, done.get(site.case_id)) if d is not None), default=None)
    if first is None or last is None or cure is None:
        return first, None
    return first, last + datetime.timedelta(days=math.ceil(cure / 24))


def _refuse(shelf: Shelf, batches: Sequence[Batch], pools: Sequence[_Pool], told: list[str]) -> None:
    """A batch of another system, layers or pack counts for none, and neither does one that may be of several sheets."""
    of: dict[int, set[tuple]] = {}
    other: dict[int, str] = {}
    for p in pools:
        wanted = _wanted(p.key, 0, None)
        for b in shelf.fitting(wanted):
            of.setdefault(b.row, set()).add((p.key.system, p.key.sheet, p.key.layers, p.key.pack))
        for b in batches:
            if fits(b, wanted) and (why := other_than(b, wanted)):
                other.setdefault(b.row, why)
    for b in batches:
        if b.item == HARDENER:
            shelf.refuse(b, _NOT_ON_SHELF[HARDENER])
        elif b.item == CLOTH:
            shelf.refuse(b, _NOT_ON_SHELF[CLOTH])
        elif b.row not in of:
            shelf.refuse(b, other.get(b.row, "no site needs it"))
            if b.row in other:
                told.append(f"{b.words}: not counted: {other[b.row]}")
        elif len(of[b.row]) > 1:
            why = "sites need it of more than one sheet of its system, and the shelf does not say of which it is"
            shelf.refuse(b, why)
            told.append(f"{b.words}: not counted: {why}")


def _wanted(k: Key, pieces: int, until: datetime.date | None) -> Wanted:
    return Wanted(k.kind, k.width, k.diameter, pieces, until, k.system, k.layers, k.pack)


class _Allocation:
    """Serves the sites from the shelf by their days, then the spares from what is left."""

    def __init__(self, shelf: Shelf, days: Mapping[str, tuple[datetime.date | None, datetime.date | None]],
                 confidence: float | None):
        self.shelf, self.days, self.confidence = shelf, days, confidence
        self._old: dict[Key, list[str]] = {}

    def lines(self, pools: Sequence[_Pool]) -> list[OrderLine]:
        taken: dict[tuple[Key, str], tuple[Taken, ...]] = {}
        # Site by site, not line by line: two sizes may fit one batch.
        wanted = [(site, need) for p in pools for site, need in p.needs if need.key.kind not in _NOT_ON_SHELF]
        for site, need in sorted(wanted, key=lambda x: (self._when(x[0]), x[0].case_id)):
            until = self.days[site.case_id][1]
            taken[need.key, site.case_id] = self._take(need.key, need.pieces or 0, until, site.case_id)
        return [self._line(p, taken) for p in pools]

    def _when(self, site: Site) -> datetime.date:
        return self.days[site.case_id][0] or datetime.date.max

    def _take(self, k: Key, pieces: int, until: datetime.date | None, what: str) -> tuple[Taken, ...]:
        def told(b: Batch) -> None:
            self._old.setdefault(k, []).append(f"batch {b.batch} (use before {b.expiry}) is too old for {what}, "
                                               f"released on {until}")
        return self.shelf.take(_wanted(k, pieces, until), told)

    def _line(self, p: _Pool, taken: Mapping[tuple[Key, str], tuple[Taken, ...]]) -> OrderLine:
        on_shelf = p.key.kind not in _NOT_ON_SHELF
        quantities = [n.quantity for _, n in p.needs]
        quantity = None if None in quantities else steady(math.fsum(quantities))  # type: ignore[arg-type]
        whole = [n.pieces for _, n in p.needs]
        pieces = None if None in whole else sum(whole)  # type: ignore[arg-type]
        spare, own, share, notes = self._spares(p)
        if not on_shelf:
            notes.append(f"the shelf is not counted: {_NOT_ON_SHELF[p.key.kind]}")
        sites = tuple(self._site(site, need, s, taken.get((p.key, site.case_id), ()), on_shelf)
                      for (site, need), s in zip(p.needs, own, strict=True))
        extra: tuple[Taken, ...] = ()
        if on_shelf and spare:
            ends = [s.needed_until for s in sites]
            extra = self._take(p.key, spare, None if None in ends else max(e for e in ends if e is not None),
                               "the spares")
        from_stock = sum(t.pieces for s in sites for t in s.taken) + sum(t.pieces for t in extra)
        spare_lacking = (spare or 0) > sum(t.pieces for t in extra)
        lacking = sum(s.lacking or 0 for s in sites) if on_shelf else None
        to_get = None if pieces is None else pieces + (spare or 0) - from_stock
        # Spares have to be there from the first day on.
        every = spare_lacking or not on_shelf
        short = [s.planned for s in sites if every or s.lacking] if p.key.kind != HARDENER else []
        notes += self._old.get(p.key, [])
        apart = None if None in own else sum(own)  # type: ignore[arg-type]
        return OrderLine(
            p.key, p.needs[0][1].unit, quantity, pieces, spare, apart if spare is not None else None,
            None if spare is None or apart is None else apart - spare, share, from_stock if on_shelf else None,
            lacking, to_get, _rest(p, quantity, spare), None if not short or None in short
            else min(d for d in short if d is not None), sites, extra, tuple(dict.fromkeys(notes)))

    def _site(self, site: Site, need: Need, own: int | None, taken: tuple[Taken, ...], on_shelf: bool) -> SiteNeed:
        first, until = self.days[site.case_id]
        lacking = (need.pieces or 0) - sum(t.pieces for t in taken) if on_shelf else None
        return SiteNeed(site.case_id, site.package, first, until, need.quantity, need.packs, need.pieces, own, taken,
                        lacking, need.refs)

    def _spares(self, p: _Pool) -> tuple[int | None, list[int | None], float | None, list[str]]:
        """(spares for all, those of each site by itself, share spoilt, notes)."""
        nothing: list[int | None] = [None] * len(p.needs)
        if any(n.pieces is None for _, n in p.needs):
            return None, nothing, None, []
        shares = {s.case_id: s.magnitude("takeoff.spoil_share") for s, _ in p.needs}
        silent = sorted(c for c, share in shares.items() if share is None)
        if self.confidence is None or silent:
            why = [f"takeoff.spoil_share of {', '.join(silent)}"] if silent else []
            why += ["order.spare_confidence"] if self.confidence is None else []
            return None, nothing, None, [f"no spares are counted: {' and '.join(why)} not stated"]
        share = max(s for s in shares.values() if s is not None)
        notes = [] if len(set(shares.values())) == 1 else [
            f"sites state different shares of spoilt pieces; the greatest is taken: {100 * share:g} %"]
        each = self.confidence ** (1 / len(p.needs))
        whole = [n.pieces or 0 for _, n in p.needs]
        own: list[int | None] = [spares(n, share, each) for n in whole]
        return spares(sum(whole), share, self.confidence), own, share, notes


def _rest(p: _Pool, quantity: float | None, spare: int | None) -> float | None:
    """What is to be got of what does not come in units or packs; spare bands are as great as the greatest."""
    if p.key.kind == CLOTH and quantity is not None:
        return steady(quantity + (spare or 0) * max((n.quantity or 0.0) / (n.pieces or 1) for _, n in p.needs))
    return quantity if p.key.kind in (ABRASIVE, CONSUMABLE) else None


def _told(lines: Sequence[OrderLine], days: Mapping[str, tuple[datetime.date | None, datetime.date | None]],
          sites: Sequence[Site]) -> list[str]:
    out = []
    late = sorted(c for c, (first, _) in days.items() if first is None)
    if late:
        out.append(f"no planned day: {', '.join(late)}; nothing of the shelf is taken for them")
    open_end = sorted(s.case_id for s in sites if s.longest_cure is None and days[s.case_id][0] is not None)
    if open_end:
        out.append(f"the sheet of {', '.join(open_end)} has no cure table, so nobody knows until when materials must "
                   "be in date; nothing of the shelf is taken for them")
    sheets: dict[str, set[str]] = {}
    for line in lines:
        sheets.setdefault(line.key.system, set()).add(line.key.sheet)
    out += [f"{system}: packages were made with different sheets ({'; '.join(sorted(found))}); they are ordered apart"
            for system, found in sorted(sheets.items()) if len(found) > 1]
    if any(line.pieces is not None and line.spares is None for line in lines):
        out.append("spares are not counted for every line; see the notes of the lines")
    return out
