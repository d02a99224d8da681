"""What has become of a campaign's own packages: their state in the register of their folder.

Only a close-out that accepts an approved package takes its site off the season and the order, and lifts its limit; what
cannot be read lifts nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from wrapcalc.campaign.report.site_record import Problem, Site
from wrapcalc.errors import PackageError
from wrapcalc.register.evidence import WHOLE
from wrapcalc.register.restrictions import Restriction
from wrapcalc.register.state import Standing


@dataclass(frozen=True)
class Own:
    """standings: each revision by the digest of its package; accepted: the last accepted revision of each case;
    restrictions: of all of them; problems: folders whose state cannot be read."""

    standings: Mapping[str, Standing] = field(default_factory=dict)
    accepted: Mapping[str, Standing] = field(default_factory=dict)
    restrictions: tuple[Restriction, ...] = ()
    problems: tuple[Problem, ...] = ()

    def state(self, site: Site) -> str:
        """How far a site is, in the words of the register; "" when it is not known."""
        found = self.standings.get(site.known.digest)
        return found.words if found is not None else ""

    def done(self, site: Site) -> str:
        """That a close-out accepted the package of a site, in words; "" while none did."""
        s = self.standings.get(site.known.digest)
        return f"done: {_accepted(s)}" if s is not None and _counts(s) and s.approved_on else ""

    def perhaps(self, site: Site) -> str:
        """Why a site that is still on the list may be done already, in words; "" when nothing says so."""
        s = self.accepted.get(site.case_id)
        if s is None or self.done(site):
            return ""
        if s.revision.digest == site.known.digest:
            return f"{_accepted(s)}, but the package is not approved: its acceptance does not count"
        return (f"{s.revision.package} was {_accepted(s)}; {site.package} is another revision of it, made of other "
                "data: decide whether anything is to be dug")


def _counts(s: Standing) -> bool:
    return s.accepted and s.revision.condition == WHOLE


def _accepted(s: Standing) -> str:
    return s.state + (f", closed out on {s.closed_on}" if s.closed_on else "")


def own_of(packages: Iterable[Path]) -> Own:
    """The state of these packages by what stands beside them."""
    from wrapcalc.register import current
    standings: dict[str, Standing] = {}
    accepted: dict[str, Standing] = {}
    restrictions: list[Restriction] = []
    problems = []
    for folder in sorted({p.parent for p in map(Path, packages) if p.parent.is_dir()}):  # who reads them tells the rest
        try:
            now = current(folder)
        except PackageError as e:
            words = " ".join(str(e).replace(f"{folder}: ", "").split())
            problems.append(Problem(folder.name, f"what is closed out cannot be read ({words}): all of it is taken as "
                                    "still to be done"))
            continue
        for s in now.standings:  # the first revision first
            standings.setdefault(s.revision.digest, s)
            if _counts(s):
                accepted[s.revision.case_id] = s
        restrictions += now.restrictions
    return Own(standings, accepted, tuple(restrictions), tuple(problems))
