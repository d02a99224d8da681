"""What the checks of a look into the ditch share: sheet, package, and the book in which each verdict is kept."""

from __future__ import annotations

from dataclasses import dataclass, field

from wrapcalc.case import Bundle
from wrapcalc.case.as_found import AsFound, Sighting, found_value
from wrapcalc.checks import Check
from wrapcalc.recorder import active
from wrapcalc.stages.dig.rows import far
from wrapcalc.standards.documents import PRACTICE
from wrapcalc.standards.tables import Entry
from wrapcalc.values import Value

_SENSE = {"<=": "at most", "<": "less than", ">=": "at least", ">": "more than"}
#: What a check that is not met means. STOP: the design does not hold; SHORT: not shown yet; TOLD: for reading only.
STOP, SHORT, TOLD = "stop", "incomplete", "information"


@dataclass(frozen=True)
class Compared:
    """One line of the comparison: what, as issued, as found, and the check behind it."""

    what: str
    issued: str
    found: str
    check: Check


@dataclass
class Book:
    """The package (bundle, its name), the sheet, and what came of it. reasons: for a stop; missing: in words."""

    bundle: Bundle
    sighting: Sighting
    package: str
    rows: list[Compared] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)

    @property
    def found(self) -> AsFound:
        """What the sheet says."""
        return self.sighting.found

    def value(self, dotted: str, name: str = "") -> Value | None:
        """A measured value; None when it is blank."""
        return self.found.value(dotted, name)

    @property
    def wall(self) -> Value | None:
        """The least reading of the sound wall."""
        least = self.found.least_wall
        return None if least is None else found_value(least, "pipe.sound_wall", "least sound wall as found")

    def practice(self, name: str) -> Entry:
        """An entry of the tables of trade practice."""
        return self.bundle.tables.entry(PRACTICE.id, name)

    def shown(self, value: Value | None) -> str:
        """For reading, in the units of the case."""
        return "" if value is None else value.show(self.bundle.case.display)

    def far(self, value: Value | None) -> str:
        """A place along the pipe, for reading."""
        return far(self.bundle.case.display)(value)

    def lack(self, text: str) -> None:
        """Something is missing, told once."""
        if text not in self.missing:
            self.missing.append(text)

    def unstated(self, field_name: str, why: str) -> None:
        """The package itself lacks what the comparison needs."""
        self.lack(f"case: {field_name} is not stated, so that {why}; state it and issue a new revision")

    def limit(self, title: str, provided: Value | None, sense: str, limit: Value | None, *, citation: str, status: str,
              means: str = STOP, lacks: str = "", issued: str = "", found: str = "", note: str = "") -> Check:
        """A check of a number. lacks: what is missing where it has no data; issued, found: as the page shows them."""
        check = active().check(title, provided, sense, limit, citation=citation, status=status, note=note,
                               kind="information" if means == TOLD else "limit")
        return self._keep(check, means, lacks, issued or self.shown(limit), found or self.shown(provided))

    def gate(self, title: str, holds: bool, found: str, wanted: str, *, citation: str, status: str, means: str = STOP,
             note: str = "", issued: str = "") -> Check:
        """A check of words."""
        check = active().gate(title, holds, found, wanted, citation=citation, status=status, note=note,
                              kind="information" if means == TOLD else "gate")
        return self._keep(check, means, "", issued or wanted, found)

    def unanswered(self, title: str, wanted: str, *, citation: str, status: str, lacks: str) -> Check:
        """A check of words that has no answer."""
        check = active().check(title, None, "<=", None, citation=citation, status=status, kind="gate", note=wanted)
        return self._keep(check, STOP, lacks, wanted, "")

    def _keep(self, check: Check, means: str, lacks: str, issued: str, found: str) -> Check:
        self.rows.append(Compared(check.title, issued, found, check))
        if check.met or means == TOLD:
            return check
        if check.verdict == "no data":
            self.lack(lacks or check.title)
        elif means == SHORT:
            self.lack(self._told(check))
        else:
            self.reasons.append(self._told(check))
        return check

    def _told(self, c: Check) -> str:
        if c.provided is not None and c.limit is not None:
            said = f"{c.title}: {self.shown(c.provided)}, allowed {_SENSE[c.sense]} {self.shown(c.limit)}"
        else:
            said = f"{c.title}: {c.found or 'nothing'}, wanted {c.wanted}"
        return said + (f" ({c.note})" if c.note else "")
