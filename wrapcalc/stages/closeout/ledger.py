"""What the checks of a close-out share: the repair, its readings, and the book in which each verdict is kept."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, field

from wrapcalc import units
from wrapcalc.case import Bundle
from wrapcalc.case.readings import WHATS, Reading, Readings
from wrapcalc.checks import Check
from wrapcalc.recorder import active
from wrapcalc.stages.wrap.design import Design
from wrapcalc.standards.documents import PRACTICE
from wrapcalc.standards.tables import Entry
from wrapcalc.values import Origin, Value

#: Who may accept a deviation. ANYONE: whoever is not the installer. OTHERS: nobody who installed, counted or read.
#: NOBODY: no row of the readings can; the design no longer holds, or what was read is of another repair.
ANYONE, OTHERS, NOBODY = "not the installer", "nobody of the crew", "nobody"


@dataclass(frozen=True)
class Entered:
    """One check of the book, who may accept it when it fails, and the rows of the readings it rests on."""

    check: Check
    guard: str
    rows: tuple[str, ...] = ()


@dataclass
class Ledger:
    """entered: checks in their order; missing: what is not there, in words."""

    entered: list[Entered] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)

    def lack(self, text: str) -> None:
        """Something is missing, told once."""
        if text not in self.missing:
            self.missing.append(text)


@dataclass
class Work:
    """The repair as designed, what was read, and the book."""

    bundle: Bundle
    design: Design
    readings: Readings
    book: Ledger
    beside: Value | None = None

    @property
    def sheet(self) -> str:
        """Citation of the system sheet."""
        assert self.bundle.system is not None
        return f"sheet of {self.bundle.system.system.id}"

    def value(self, r: Reading, name: str = "") -> Value:
        """A reading with its origin: the row of the file."""
        assert r.given is not None
        at = f", {r.where}" if r.where else ""
        return Value(r.base, units.KINDS[r.given.kind].base, Origin("reading", f"row {r.row}"), name or f"{r.what}{at}")

    def fine(self, v: Value) -> Value:
        """The same value in a unit in which it can be read: a share in per cent, a profile in µm or mil."""
        return v.converted("percent" if v.unit == "" else {"SI": "um", "US": "thou"}[self.bundle.case.display])

    def practice(self, name: str) -> Entry:
        """An entry of the tables of trade practice."""
        return self.bundle.tables.entry(PRACTICE.id, name)

    def show(self, v: Value) -> str:
        """For reading, in the units of the case."""
        return v.show(self.bundle.case.display)

    def limit(self, title: str, provided: Value | None, sense: str, limit: Value | None, *, citation: str, status: str,
              guard: str = ANYONE, rows: Sequence[Reading] = (), note: str = "") -> Check:
        """A check of a number, kept in the book."""
        check = active().check(title, provided, sense, limit, citation=citation, status=status, note=note)
        return self._keep(check, guard, rows)

    def gate(self, title: str, holds: bool, found: str, wanted: str, *, citation: str, status: str,
             guard: str = ANYONE, rows: Sequence[Reading] = (), note: str = "") -> Check:
        """A check of words, kept in the book."""
        check = active().gate(title, holds, found, wanted, citation=citation, status=status, note=note)
        return self._keep(check, guard, rows)

    def _keep(self, check: Check, guard: str, rows: Sequence[Reading]) -> Check:
        self.book.entered.append(Entered(check, guard, tuple(r.row for r in rows)))
        return check

    def lacks(self, what: str, where: str = "", more: str = "") -> None:
        """A reading is missing."""
        assert what in WHATS
        self.book.lack(f"reading: {what}" + (f", {where}" if where else "") + (f" ({more})" if more else ""))

    def unstated(self, case_field: str, why: str) -> None:
        """A field of the case is missing, without which a limit cannot be named."""
        self.book.lack(f"case: {case_field} is not stated, so that {why}; state it and issue a new revision of the "
                       "package")

    def worst(self, what: str, *, most: bool, rows: Sequence[Reading] | None = None) -> Reading | None:
        """The greatest, or the least, reading of one kind; None, and told as missing, without one."""
        rows = self.readings.of(what) if rows is None else rows
        if not rows:
            self.lacks(what)
            return None
        return max(rows, key=lambda r: r.base) if most else min(rows, key=lambda r: r.base)

    def log(self, what: str, start: datetime.datetime | None = None, end: datetime.datetime | None = None
            ) -> list[Reading]:
        """The timed readings of one kind from start to end, by time."""
        rows = [r for r in self.readings.of(what) if r.time is not None and (start is None or r.time >= start)
                and (end is None or r.time <= end)]
        return sorted(rows, key=lambda r: (r.time, r.line))

    def hours(self, start: datetime.datetime, end: datetime.datetime, name: str, rows: Sequence[Reading]) -> Value:
        """Time between two moments as a value."""
        hours = units.steady((end - start).total_seconds() / 3600)
        return Value(hours, "hour", Origin("reading", ", ".join(f"row {r.row}" for r in rows)), name)

    # -- the moments of the job ------------------------------------------------------------------------------
    def first(self, what: str) -> Reading | None:
        """The earliest timed reading of one kind."""
        return next(iter(self.log(what)), None)

    def last(self, what: str) -> Reading | None:
        """The latest timed reading of one kind."""
        return next(reversed(self.log(what)), None)
