"""From the evidence to the state of each repair. The same folders and the same memory give the same answer."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from wrapcalc.register.evidence import (
    ACCEPTED,
    APPROVAL,
    AS_FOUND,
    CLOSE_OUT,
    DAMAGED,
    DEVIATION,
    HOLDS,
    MISSING,
    REJECTED,
    STOP,
    WHOLE,
    Evidence,
    Revision,
    Scan,
)
from wrapcalc.register.restrictions import Restriction, against_acceptance, restrictions, why_in_doubt

WRAP = "wrap"
ASSESSED, DESIGNED, APPROVED, CHECKED = "assessed", "designed", "approved", "as found checked"
#: What was found stands against the design: nobody goes back before a new revision is issued.
STOPPED = "stopped by what was found"
#: A close-out or a look after the acceptance cannot be read any more: it may have taken the acceptance back.
UNPROVEN = "acceptance not proven"


@dataclass(frozen=True, slots=True)
class Standing:
    """A revision with its state. because, evidence_digest: the folder that decides the state and the SHA-256 of its
    manifest; closed_on, next_inspection, end_of_life: of the last close-out; restored_found: the pressure that it
    restored, MPa gauge. latest: no later revision is known."""

    revision: Revision
    state: str
    latest: bool
    because: str
    evidence_digest: str
    approved_on: str = ""
    closed_on: str = ""
    next_inspection: str = ""
    end_of_life: str = ""
    restored_found: float | None = None

    @property
    def words(self) -> str:
        """The state, and what is wrong with the package."""
        condition = self.revision.condition
        return self.state if condition in (WHOLE, self.state) else f"{self.state}, package {condition}"

    @property
    def accepted(self) -> bool:
        """A close-out accepted it."""
        return self.state in (ACCEPTED, DEVIATION)


@dataclass(frozen=True)
class Snapshot:
    """All repairs now. standings: every revision, sorted; evidence: what counts; problems: for the user, in words.
    spoilt: evidence of a known package that does not count: damaged, gone, or of other bytes; its reason in words."""

    standings: tuple[Standing, ...]
    evidence: tuple[Evidence, ...]
    restrictions: tuple[Restriction, ...]
    problems: tuple[str, ...]
    spoilt: tuple[Evidence, ...] = ()

    @property
    def repairs(self) -> tuple[Standing, ...]:
        """The latest revision of each case."""
        return tuple(s for s in self.standings if s.latest)

    def revisions_of(self, case_id: str) -> tuple[Standing, ...]:
        """Every revision of a case, the first first."""
        return tuple(s for s in self.standings if s.revision.case_id == case_id)


def snapshot(found: Scan, memory: Iterable[Revision] = (), seen: Iterable[Evidence] = ()) -> Snapshot:
    """State of every repair. memory, seen: revisions and evidence as the register knows them; what was damaged or went
    away since is taken from there. Evidence that does not count gives nothing, and may take an acceptance back."""
    problems = list(found.problems)
    revisions = _remembered(found.revisions, memory)
    problems += [f"{r.package}: {r.condition}: {r.reason}" for r in revisions if r.condition != WHOLE]
    known = {r.package: r for r in revisions}
    counted, spoilt = [], []
    for e in _seen(found.evidence, seen):
        why = _why_not(e, known)
        if not why:
            counted.append(e)
            continue
        problems.append(f"{e.folder}: not counted: {why}")
        if e.package in known and e.kind != APPROVAL:
            spoilt.append(replace(e, condition=DAMAGED if e.condition == WHOLE else e.condition, reason=why))
    last = {r.case_id: r.revision for r in sorted(revisions, key=lambda r: r.revision)}
    standings = []
    for r in revisions:
        of, lost = ([e for e in group if e.package == r.package] for group in (counted, spoilt))
        standing, problem = _standing(r, of, lost, last[r.case_id] == r.revision)
        standings.append(standing)
        problems += problem
    return Snapshot(tuple(standings), tuple(counted), tuple(restrictions(revisions, counted, spoilt)),
                    tuple(sorted(problems)), tuple(spoilt))


def _seen(found: Iterable[Evidence], seen: Iterable[Evidence]) -> list[Evidence]:
    """The evidence on disk; looks and close-outs that went away or changed since the register saw them are damaged
    evidence. An approval that is gone lifts nothing, and needs no memory."""
    old = {e.folder: e for e in seen if e.kind != APPROVAL}
    out = []
    for e in found:
        before = old.pop(e.folder, None)
        if before is None or not before.digest:
            out.append(e)
        elif e.condition != WHOLE:
            out.append(replace(before, condition=e.condition, reason=e.reason))
        elif e.digest != before.digest:
            out.append(replace(before, condition=DAMAGED, reason="it is another one than the register saw under this "
                               "name; restore that one, and give the new one a number of its own"))
        else:
            out.append(e)
    gone = "its folder is no longer there; put it back, the register keeps what it knew"
    out += [replace(e, condition=MISSING, reason=gone) for e in old.values()]
    return sorted(out, key=lambda e: (e.case_id, e.revision, e.kind, e.number))


def _remembered(found: Iterable[Revision], memory: Iterable[Revision]) -> list[Revision]:
    """What stands on disk; of what was damaged or went away, what was known before."""
    old = {r.package: r for r in memory}
    out = []
    for r in found:
        before = old.pop(r.package, None)
        if before is None or not before.digest:
            out.append(r)
        elif r.condition != WHOLE:
            out.append(replace(before, condition=r.condition, reason=r.reason))
        elif r.digest != before.digest:
            # A package is never changed after it was written: a new seal over changed bytes is a change, too.
            out.append(replace(before, condition=DAMAGED, reason="it is another package than the one that the register "
                               "saw under this name; restore that one, or keep this one in another folder"))
        else:
            out.append(r)
    gone = "its folder is no longer there; put it back, the register keeps what it knew"
    out += [replace(r, condition=MISSING, reason=gone) for r in old.values()]
    return sorted(out, key=lambda r: (r.case_id, r.revision))


def _why_not(e: Evidence, known: dict[str, Revision]) -> str:
    if e.condition != WHOLE:
        return e.reason
    package = known.get(e.package)
    if package is None:
        return f"there is no package {e.package}"
    if not package.digest:
        return f"the package {e.package} is {package.condition}"
    return "" if e.package_digest == package.digest else f"it is of other bytes than the package {e.package} here"


def _standing(r: Revision, of: list[Evidence], lost: list[Evidence], latest: bool) -> tuple[Standing, list[str]]:
    approval = next((e for e in of if e.kind == APPROVAL), None)
    check = max((e for e in of if e.kind == AS_FOUND), key=lambda e: e.number, default=None)
    closed = max((e for e in of if e.kind == CLOSE_OUT), key=lambda e: e.number, default=None)
    problems = [f"{e.folder}: the package {r.package} is not approved" for e in (check, closed)
                if e is not None and approval is None]
    doubt = against_acceptance(closed, [*of, *lost]) if closed is not None and closed.word != REJECTED else None
    if closed is not None and closed.word in (ACCEPTED, DEVIATION) and doubt is not None:
        problems.append(f"{closed.folder}: {why_in_doubt(doubt)}")
    looks = [e for e in lost if e.kind == AS_FOUND]
    if not r.decision:  # damaged before the register ever saw it whole
        state, by = r.condition, None
    elif doubt is not None and doubt.word == STOP and doubt.condition == WHOLE:
        state, by = STOPPED, doubt
    elif closed is not None and closed.word in (ACCEPTED, DEVIATION) and doubt is not None:
        state, by = UNPROVEN, doubt
    elif closed is not None:
        state, by = closed.word, closed
    elif r.decision != WRAP:
        state, by = ASSESSED, None
    elif check is not None and check.word == STOP:
        state, by = STOPPED, check
    elif approval is None:
        state, by = DESIGNED, None
    elif check is not None and check.word == HOLDS and all(e.number < check.number for e in looks):
        state, by = CHECKED, check
    else:
        state, by = APPROVED, approval
    return Standing(r, state, latest, by.folder if by else r.package, by.digest if by else r.digest,
                    approval.on if approval else "", closed.on if closed else "",
                    closed.next_inspection if closed else "", closed.end_of_life if closed else "",
                    closed.restored if closed else None), problems
