"""Pressure restrictions by hydraulic section: which are open, and which is the lowest."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from wrapcalc import units
from wrapcalc.errors import UnknownItem
from wrapcalc.register.evidence import (
    ACCEPTED,
    APPROVAL,
    AS_FOUND,
    CLOSE_OUT,
    DEVIATION,
    STOP,
    WHOLE,
    Evidence,
    Revision,
)

if TYPE_CHECKING:
    from wrapcalc.register.state import Snapshot

NO_REPAIR = "no repair needed"
#: A restored pressure is lower than designed when it is so by more than what rounding leaves behind.
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Restriction:
    """One restriction. section: as written; source: where it was laid down; pressure: MPa gauge, at most; since,
    closed_on: dates as text, blank when not known; closed_by: what lifted it; note: why it still stands, where one
    might think that it does not."""

    section: str
    source: str
    case_id: str
    revision: int
    pressure: float
    open: bool
    since: str = ""
    closed_on: str = ""
    closed_by: str = ""
    note: str = ""
    display: str = "SI"

    @property
    def shown(self) -> str:
        """The pressure with its unit, in the units of its case."""
        return units.show(self.pressure, "MPa", system=self.display)


@dataclass(frozen=True)
class Governing:
    """The restrictions of a section. lowest: of the open ones, None when none is open; open: all open ones, the lowest
    first; unknown: packages that were damaged before the register saw them, whose section and limit nobody knows."""

    section: str
    lowest: Restriction | None
    open: tuple[Restriction, ...]
    unknown: tuple[str, ...] = ()


def same_section(text: str) -> str:
    """A section as it is compared: without case and spacing."""
    return "".join(unicodedata.normalize("NFKC", text).casefold().split())


def against_acceptance(accepted: Evidence, known: Iterable[Evidence]) -> Evidence | None:
    """What stands against a close-out: the last whole look at its revision that says stop, a look after the last whole
    one that cannot be read, or a later close-out that cannot be read: each may have taken the acceptance back.

    known: evidence of the case, whole or spoilt (condition other than whole). None when nothing stands against it.
    """
    of = sorted((e for e in known if e.package == accepted.package), key=lambda e: e.number)
    looks = [e for e in of if e.kind == AS_FOUND]
    whole = next((e for e in reversed(looks) if e.condition == WHOLE), None)
    if whole is not None and whole.word == STOP:
        return whole
    return next((e for e in reversed(of) if e.condition != WHOLE and (
        (e.kind == AS_FOUND and (whole is None or e.number > whole.number))
        or (e.kind == CLOSE_OUT and e.number > accepted.number))), None)


def why_in_doubt(e: Evidence) -> str:
    """Why an acceptance lifts nothing, in words."""
    if e.condition == WHOLE:
        return f"the acceptance does not count: {e.folder} says '{e.word}'"
    again = "look into the ditch again" if e.kind == AS_FOUND else "close out again"
    return (f"the acceptance is not proven: {e.folder} is {e.condition} and may have taken it back; restore it, or "
            f"{again}")


def restrictions(revisions: Iterable[Revision], counted: Iterable[Evidence], spoilt: Iterable[Evidence] = ()
                 ) -> list[Restriction]:
    """Every restriction, open or closed, sorted.

    The interim limit of a revision stands until a close-out of it, or of a later revision, accepts the repair, or a
    later revision that is whole and approved takes its place. A restriction that the case states stands until an
    approved later revision states it no more. Nothing that is not approved lifts a restriction, nor does an acceptance
    against which something stands (`against_acceptance`). spoilt: evidence that is damaged or gone.
    """
    evidence, lost = list(counted), list(spoilt)
    approved = {e.package: e for e in evidence if e.kind == APPROVAL}
    by_case: dict[str, list[Revision]] = {}
    for r in revisions:
        by_case.setdefault(r.case_id, []).append(r)
    out: list[Restriction] = []
    for case_id, of_case in by_case.items():
        accepted = sorted((e for e in evidence if e.case_id == case_id and e.kind == CLOSE_OUT
                           and e.word in (ACCEPTED, DEVIATION)), key=lambda e: (e.revision, e.number))
        # A later close-out of the same revision that rejects it, or finds readings missing, takes the acceptance back.
        last = {e.revision: e for e in sorted(evidence, key=lambda e: e.number)
                if e.case_id == case_id and e.kind == CLOSE_OUT}
        accepted = [e for e in accepted if last[e.revision] is e]
        against = {e.folder: against_acceptance(e, [*evidence, *lost]) for e in accepted}
        doubts = {folder: e for folder, e in against.items() if e is not None}
        for r in of_case:
            out += _interim(r, of_case, accepted, approved, doubts)
            out += _stated(r, of_case, approved)
        out += _restored({r.revision: r for r in of_case}, accepted, doubts)
    return sorted(out, key=lambda x: (same_section(x.section), not x.open, x.pressure, x.case_id, x.revision, x.source))


def _interim(r: Revision, of_case: list[Revision], accepted: list[Evidence],
             approved: dict[str, Evidence], doubts: dict[str, Evidence]) -> Iterator[Restriction]:
    if r.interim is None:
        return
    base = (r.section, f"case {r.case_id} r{r.revision} interim limit", r.case_id, r.revision, r.interim)
    good = next((e for e in accepted if e.revision >= r.revision and e.package in approved
                 and e.folder not in doubts), None)
    later = _later(r, of_case, approved, lambda n: n.interim is not None or n.decision == NO_REPAIR)
    if good is not None:
        yield Restriction(*base, False, r.written_on, good.on, good.folder, display=r.display)
    elif later is not None:
        yield Restriction(*base, False, r.written_on, approved[later.package].on,
                          f"{later.package}: {later.decision}", display=r.display)
    else:
        yield Restriction(*base, True, r.written_on, note=_still(r, of_case, accepted, approved, doubts),
                          display=r.display)


def _still(r: Revision, of_case: list[Revision], accepted: list[Evidence], approved: dict[str, Evidence],
           doubts: dict[str, Evidence]) -> str:
    """Why a limit stands although something might seem to have lifted it."""
    for e in accepted:
        if e.revision >= r.revision and e.package in approved:
            return f"{e.folder} does not lift it: {why_in_doubt(doubts[e.folder])}"
        if e.revision >= r.revision:
            return f"{e.folder} does not lift it: the package {e.package} is not approved"
    waiting = [n for n in of_case if n.revision > r.revision]
    if waiting:
        n = waiting[-1]
        why = "is not approved" if n.package not in approved else (
            f"is {n.condition}" if n.condition != WHOLE else "gives no limit of its own")
        return f"{n.package} does not lift it: it {why}"
    return ""


def _later(r: Revision, of_case: list[Revision], approved: dict[str, Evidence], takes_its_place) -> Revision | None:
    return next((n for n in of_case if n.revision > r.revision and n.condition == WHOLE and n.package in approved
                 and takes_its_place(n)), None)


def _stated(r: Revision, of_case: list[Revision], approved: dict[str, Evidence]) -> Iterator[Restriction]:
    later = _later(r, of_case, approved, lambda n: True)
    for s in r.stated:
        closed = (approved[later.package].on, f"{later.package}: stated anew or no more") if later else ("", "")
        yield Restriction(r.section, f"case {r.case_id} r{r.revision}: {s.reference}", r.case_id, r.revision,
                          s.pressure, later is None, r.written_on, *closed, display=r.display)


def _restored(of_case: dict[int, Revision], accepted: list[Evidence], doubts: dict[str, Evidence]
              ) -> Iterator[Restriction]:
    """A repair that was accepted for less than its design restores: that pressure is the limit of the section."""
    for i, e in enumerate(accepted):
        after = next((later for later in accepted[i + 1:] if later.folder not in doubts), None)
        r = of_case[e.revision]
        if e.restored is None or r.restored is None or e.restored >= r.restored * (1 - _ROUNDING):
            continue
        yield Restriction(r.section, f"case {r.case_id} r{r.revision} restored pressure, close-out {e.number}",
                          r.case_id, r.revision, e.restored, after is None, e.on, after.on if after else "",
                          after.folder if after else "", display=r.display)


def governing(now: Snapshot, section: str) -> Governing:
    """The lowest open restriction of a hydraulic section, and all open ones. Sections are compared without case and
    spacing. Raises UnknownItem for a section that no package names: a misspelt one must not look free."""
    wanted = same_section(section)
    written = sorted({s.revision.section for s in now.standings if s.revision.section})
    here = [w for w in written if same_section(w) == wanted]
    if not here:
        raise UnknownItem("hydraulic section", section, written)
    opened = tuple(r for r in now.restrictions if r.open and same_section(r.section) == wanted)
    return Governing(here[0], opened[0] if opened else None, opened, unknown_limits(now))


def unknown_limits(now: Snapshot) -> tuple[str, ...]:
    """Packages of which nothing is known but that they are damaged: a limit of theirs may hold in any section."""
    return tuple(s.revision.package for s in now.standings if not s.revision.decision)
