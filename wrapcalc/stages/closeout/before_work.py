"""What stands before the work: the look into the ditch, and the approval of the package.

Decided here: a look that is dated after the first mix says nothing of what was wrapped, whatever it found, and nobody
accepts that; a date alone does not tell which came first on one day, and that is told. Of an approval the time at which
it was written counts, not the day that was typed.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from wrapcalc.recorder import active
from wrapcalc.stages.as_found.as_found import HOLDS, STOP
from wrapcalc.stages.closeout.as_built import AS_FOUND, Damage
from wrapcalc.stages.closeout.ledger import NOBODY, OTHERS, Work
from wrapcalc.stages.closeout.site_readings import stamp
from wrapcalc.stages.job import Outcome


@dataclass(frozen=True)
class Approval:
    """The approval beside the package. by, on: as typed there, the day in ISO 8601; written: when it was written."""

    by: str
    on: str
    written: datetime.datetime


@dataclass(frozen=True)
class Look:
    """The look into the ditch that counts. verdict: its word, blank where it counts for nothing; words: for the reader,
    what it is and why it counts for nothing; on: its day (ISO 8601); found: the run of the case with what was found,
    None where it cannot be run."""

    name: str
    verdict: str
    words: str
    on: str = ""
    found: Outcome | None = None

    @property
    def damage(self) -> Damage | None:
        """The damage as found, where the look is whole and lets the work begin."""
        if self.verdict != HOLDS or self.found is None:
            return None
        return Damage(self.found, f"{self.name}, next_case.toml", AS_FOUND)


def seen(w: Work, look: Look | None) -> None:
    """The look into the ditch: whether the design holds for what was found there, and whether it came first."""
    if look is None:
        w.book.lack("as-found check of the package: nobody has shown that the design holds for what was found in the "
                    "ditch; fill in as_found.toml and run wrapcalc as-found")
        return
    if look.verdict not in (HOLDS, STOP):
        w.book.lack(f"as-found check of the package: {look.words}")
        return
    w.gate("The design holds for what was found in the ditch", look.verdict == HOLDS, f"{look.name}: {look.verdict}",
           HOLDS, citation=look.name, status="derived", guard=NOBODY)
    if look.verdict != HOLDS:
        return
    if look.found is None:
        w.book.lack(f"as-found check of the package: {look.name} cannot be run again; restore it, or look again")
    began = w.first("mixing started")
    if began is None or began.time is None:
        return
    day = began.time.date().isoformat()
    same = "of the day of the first mix: which came first, a date alone does not tell" if look.on == day else ""
    w.gate("Look into the ditch before the wrap was laid", look.on <= day, look.on, f"not after {day}",
           citation=look.name, status="stated", guard=NOBODY, rows=[began], note=same)
    if same:
        active().warn(f"{look.name} is {same}. It counts as the look before the work; see that it was.", look.name)


def approved(w: Work, approval: Approval | None) -> None:
    """The package was approved before the first mix."""
    if approval is None:
        w.book.lack("approval of the package: it is not approved, and nothing may be built by it; approve it, or close "
                    "out the revision that was approved")
        return
    written = {approval.written.date().isoformat()}
    began = w.first("mixing started")
    if began is not None and began.time is not None:
        day = began.time.date().isoformat()
        written.add(approval.written.astimezone(began.time.tzinfo).date().isoformat())
        w.gate("Package approved before the work", approval.on <= day and approval.written <= began.time,
               f"{approval.on}, written at {stamp(approval.written)}", f"not after {stamp(began.time)}",
               citation="approval", status="stated", guard=OTHERS, rows=[began])
    if approval.on not in written:
        active().warn(f"The approval is dated {approval.on}, but was written at {stamp(approval.written)} (UTC). The "
                      "time at which it was written counts.", "approval")
