"""The register as short lines for a terminal."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from wrapcalc.register.due import Due, due
from wrapcalc.register.restrictions import governing, same_section, unknown_limits
from wrapcalc.register.state import Snapshot
from wrapcalc.units import printable


def lines(now: Snapshot, on: datetime.date) -> list[str]:
    """One line per repair (revision, state, decision, lowest restriction of its section, what is due next), then the
    governing restriction of each section."""
    coming = due(now, on)
    rows = [("repair", "rev", "state", "decision", "restriction of its own", "next due")]
    for s in now.repairs:
        own = min((r for r in now.restrictions if r.open and r.case_id == s.revision.case_id),
                  key=lambda r: r.pressure, default=None)
        rows.append((s.revision.case_id, f"r{s.revision.revision}", s.words, s.revision.decision or "not known",
                     own.shown if own else "none open", _next(coming, s.revision.case_id)))
    return _aligned(rows) + _sections(now)


def due_lines(found: Sequence[Due]) -> list[str]:
    """What is due, one line each; a line that says so when nothing is."""
    rows = [("OVERDUE" if d.overdue else "", d.when.isoformat() if d.when else "no date", f"{d.case_id} r{d.revision}",
             d.what, d.words + (f" ({d.note})" if d.note else "")) for d in found]
    return _aligned(rows) if rows else ["nothing is due"]


def _next(coming: Sequence[Due], case_id: str) -> str:
    """What is overdue first, then what comes next."""
    mine = sorted((d for d in coming if d.case_id == case_id), key=lambda d: not d.overdue)
    return f"{mine[0].what}: {mine[0].words}" if mine else "nothing"


def _sections(now: Snapshot) -> list[str]:
    opened = [r for r in now.restrictions if r.open]
    out = [f"the limits of {p} are not known: the package is damaged; a limit of it may hold"
           for p in unknown_limits(now)]
    out.append("open pressure restrictions, by hydraulic section:" if opened else "no pressure restriction is open")
    for key in dict.fromkeys(same_section(r.section) for r in opened):
        here = governing(now, next(r.section for r in opened if same_section(r.section) == key))
        out.append(f"  {printable(here.section)}: at most {here.open[0].shown} gauge")
        out += [f"    {r.shown}: {printable(r.source)}" + (f"; {printable(r.note)}" if r.note else "")
                for r in here.open]
    return out


def _aligned(rows: Sequence[tuple[str, ...]]) -> list[str]:
    rows = [tuple(printable(c) for c in r) for r in rows]
    widths = [max(len(r[i]) for r in rows) for i in range(len(rows[0]))]
    return ["  ".join(c.ljust(w) for c, w in zip(r, widths, strict=True)).rstrip() for r in rows]
