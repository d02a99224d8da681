"""Pressure of a hydraulic section: the lowest open restriction, and what holds while anybody is in a trench of it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from wrapcalc.campaign.closed import Own
from wrapcalc.campaign.report.site_record import Read, Site, shown
from wrapcalc.register.restrictions import Restriction, restrictions, same_section, unknown_limits
from wrapcalc.register.state import Snapshot

#: So many cases are named in one line.
_NAMED = 20
NO_LIMIT = "not known: nobody stands beside the pipe until the engineer gives it"


@dataclass(frozen=True)
class Section:
    """Pressures of one hydraulic section, MPa gauge.

    open: every open restriction, of the register and of the cases, the lowest first. beside: (case, pressure) of each
    site that is still to be worked at while people stand beside the pipe, None where it is not known. lowest: the
    lowest open restriction, None when none is open. occupied: the pressure at which the section is held while anybody
    is in any of its trenches; None when one of its sites has no limit: then nobody enters any of them, and when no
    site is still to be worked at. doubts: why the pressures may not be complete: packages whose limit nobody can read,
    which may hold here, too, and selected cases without a result.
    """

    name: str
    open: tuple[Restriction, ...]
    beside: tuple[tuple[str, float | None], ...]
    lowest: float | None
    occupied: float | None
    doubts: tuple[str, ...]

    def words(self, display: str) -> str:
        """Both pressures and their sources, for print."""
        out = "no open restriction is known" if self.lowest is None else (
            f"at most {shown(self.lowest, 'MPa', display)} ({self.open[0].source})")
        if not self.beside:
            out += "; no site of this section is still to be worked at"
        elif self.occupied is None:
            silent = ", ".join(c for c, p in self.beside if p is None)
            out += f"; while anybody is in a trench of this section: {NO_LIMIT} ({silent})"
        else:
            out += (f"; while anybody is in a trench of this section at most {shown(self.occupied, 'MPa', display)} "
                    f"({self._because(self.occupied)})")
        return out + "".join(f"; {d}" for d in self.doubts)

    def _because(self, pressure: float) -> str:
        of = [f"people beside the pipe at {c}" for c, p in self.beside if p == pressure]
        return of[0] if of else self.open[0].source


def sections(read: Read, snapshot: Snapshot | None, own: Own | None = None) -> dict[str, Section]:
    """The section of each site, by case.

    A package that the register knows by its digest counts as the register says, approvals and close-outs and all; every
    other one counts as if nothing had lifted its limits. Where no section is stated, the text of the line stands for
    it, as in the register; whether such a site lies in a section of that line that others state is a doubt of both.
    own: what has become of these packages; nobody stands beside the pipe where one is done.
    """
    known = {s.revision.digest for s in snapshot.standings} if snapshot else set()
    own = own or Own()
    ours = {(s.case_id, s.known.revision) for s in (*read.older, *read.sites) if s.known.digest in own.standings}
    known |= set(own.standings)
    held = [r for r in own.restrictions if (r.case_id, r.revision) in ours]
    mine = [s.known for s in (*read.older, *read.sites) if s.known.digest not in known]
    mine.sort(key=lambda r: (r.case_id, r.revision))
    opened = dict.fromkeys(r for r in (*(snapshot.restrictions if snapshot else ()), *held, *restrictions(mine, ()))
                           if r.open)
    lost = dict.fromkeys((*(unknown_limits(snapshot) if snapshot else ()), *read.unread))
    by_section: dict[str, list[Site]] = {}
    for s in read.sites:
        by_section.setdefault(same_section(s.known.section), []).append(s)
    out: dict[str, Section] = {}
    for key, here in by_section.items():
        doubts = [_not_read(p) for p in lost]
        section = _section(here, [r for r in opened if same_section(r.section) == key],
                           (*doubts, *_perhaps(here, read.sites)), own)
        out |= {s.case_id: section for s in here}
    return out


def with_the_rest(found: Section, own: Snapshot, counted: Collection[tuple[str, int]], silent: Sequence[str]
                  ) -> Section:
    """The section with what else is in the folder of the campaign, and with a word on the cases without a result.

    own: the register of that folder, whose older revisions and whose packages of cases that failed or are no longer
    chosen hold their limits until something lifts them; counted: (case, revision) of the packages that `found` counts;
    silent: cases that were selected and have no result.
    """
    here = same_section(found.name)
    rest = [r for r in own.restrictions if r.open and same_section(r.section) == here
            and (r.case_id, r.revision) not in counted]
    opened = sorted(dict.fromkeys((*found.open, *rest)), key=_lowest_first)
    lost = [_not_read(p) for p in unknown_limits(own)]
    doubts = dict.fromkeys((*found.doubts, *lost, *_not_complete(silent)))
    return _held(found.name, opened, found.beside, tuple(doubts))


def _not_complete(silent: Sequence[str]) -> list[str]:
    if not silent:
        return []
    named = ", ".join(silent[:_NAMED]) + (" and more" if len(silent) > _NAMED else "")
    count = f"{len(silent)} selected case{'' if len(silent) == 1 else 's'}"
    return [f"not complete: {count} ({named}) {'has' if len(silent) == 1 else 'have'} no result, and a lower limit may "
            "hold until there is one"]


def _perhaps(here: Sequence[Site], sites: Sequence[Site]) -> list[str]:
    """Sites of the same line that may lie in this section, since they or those here do not state theirs."""
    lines = {(same_section(s.known.line), bool(s.written("location.section"))) for s in here}
    cases = [s.case_id for s in sites if s not in here
             and (same_section(s.known.line), not s.written("location.section")) in lines]
    return [f"{', '.join(cases)} may lie in this section, too: not everybody on this line states the section; then the "
            "lower of the limits holds"] if cases else []


def _not_read(package: str) -> str:
    return f"the limit of {package} is not known: its package cannot be read"


def _lowest_first(r: Restriction) -> tuple:
    return r.pressure, r.case_id, r.revision, r.source


def _section(here: Sequence[Site], opened: Sequence[Restriction], doubts: tuple[str, ...], own: Own) -> Section:
    return _held(here[0].known.section, sorted(opened, key=_lowest_first),
                 tuple((s.case_id, s.known.beside) for s in here if not own.done(s)), doubts)


def _held(name: str, opened: Sequence[Restriction], beside: tuple[tuple[str, float | None], ...],
          doubts: tuple[str, ...]) -> Section:
    """opened: the lowest first."""
    lowest = opened[0].pressure if opened else None
    limits = [p for _, p in beside] + ([lowest] if lowest is not None else [])
    occupied = None if None in limits or not beside else min(p for p in limits if p is not None)
    return Section(name, tuple(opened), beside, lowest, occupied, doubts)
