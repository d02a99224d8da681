"""The dig list: sites in order of deadline and risk, with what whoever goes there has to know. A table to sort.

Order: deadline (immediate first; then so many days after a discovery that nobody dated, which may be past; then by
date; then sites without enough data; then those without a deadline), then repair factor, greatest first, one that is
not known before all; then consequence (a high-consequence area that nobody denied before one that is denied, then the
higher class location, one that is not stated before all); then the name of the case. Sites whose package was
accepted by a close-out stand at the end, as done.
"""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from wrapcalc.campaign.closed import Own, own_of
from wrapcalc.campaign.digs.dig_terms import Deadline, Hours, Risk, deadline, hours, risk
from wrapcalc.campaign.digs.section_pressure import NO_LIMIT, Section, sections
from wrapcalc.campaign.model import Campaign
from wrapcalc.campaign.order.needs import CLOTH, UNIT, Need, needs_of
from wrapcalc.campaign.order.order import Order
from wrapcalc.campaign.report.site_record import (
    WRAP,
    Problem,
    Site,
    column_unit,
    counted,
    in_display,
    joined,
    plain,
    read_sites,
    shown,
)
from wrapcalc.campaign.tables.tables import NUMBER, TEXT, WHOLE, Column
from wrapcalc.register.evidence import listed, number, part, text
from wrapcalc.register.state import Snapshot
from wrapcalc.units import convert

#: Ranked rows of the screening by case, headings without units, lengths in mm.
Rows = Mapping[str, Sequence[Mapping[str, Any]]]


@dataclass(frozen=True)
class Place:
    """One site of the list. survey: mm by survey, None when not known; materials: in brief; windows: of the weather, by
    the forecast of its package; verdict: on its planned start; stock: "" until the order is known; told: what stands
    against it or is not stated. state: of its package by the register of its folder; done: a close-out accepted it."""

    number: int
    case_id: str
    package: str
    joint: str
    survey: float | None
    decision: str
    deadline: Deadline
    risk: Risk
    hours: Hours
    materials: str
    section: Section
    beside: float | None
    windows: tuple[str, ...]
    verdict: str
    stock: str
    access: str
    told: tuple[str, ...]
    state: str = ""
    done: bool = False


@dataclass(frozen=True)
class DigList:
    """The dig list; problems: packages that are not in it."""

    places: tuple[Place, ...]
    problems: tuple[Problem, ...]
    display: str = "SI"

    def data(self) -> dict:
        """The list as data for JSON; each section stands once, by its name."""
        out = plain(self)
        found = {p.section.name: plain(p.section) for p in self.places}
        for place in out["places"]:
            place["section"] = place["section"]["name"]
        return out | {"sections": list(found.values())}


def dig_list(packages: Sequence[Path], settings: Campaign, snapshot: Snapshot | None = None,
             chosen_rows: Rows | None = None) -> DigList:
    """The dig list of a campaign. snapshot: the register of earlier repairs, whose restrictions hold, too; chosen_rows:
    what the screening says of the rows of each case. A package that cannot be read is a line in `problems`. What was
    accepted by a close-out beside its package is done: it stands at the end, and nobody has to go there."""
    display = str(settings.campaign.display or "SI")
    found = settings.campaign.discovery_date
    discovery = datetime.date.fromisoformat(str(found)) if found else None
    read = read_sites(packages)
    own = own_of(packages)
    problems = [*read.problems, *own.problems]
    rows = chosen_rows or {}
    drafts = counted(read.sites, lambda s: _draft(s, settings, display, discovery, rows.get(s.case_id, ())), problems)
    pressures = sections(read, snapshot, own)
    places = [_as_far(replace(p, section=pressures[s.case_id], state=own.state(s)), s, own) for s, p in drafts]
    places.sort(key=lambda p: (p.done, p.deadline.key, p.risk.key, p.case_id))
    return DigList(tuple(replace(p, number=i) for i, p in enumerate(places, 1)),
                   tuple(sorted(problems, key=lambda p: (p.package, p.words))), display)


def _as_far(p: Place, site: Site, own: Own) -> Place:
    """A place with what has become of its package."""
    done, perhaps = own.done(site), own.perhaps(site)
    if done:
        return replace(p, done=True, stock=done)
    return replace(p, told=(perhaps, *p.told)) if perhaps else p


_NOWHERE = Section("", (), (), None, None, ())


def _draft(site: Site, settings: Campaign, display: str, discovery: datetime.date | None,
           rows: Sequence[Mapping[str, Any]]) -> Place:
    """A site without its number and the pressures of its section."""
    is_wrap = site.known.decision == WRAP
    needs = needs_of(site) if is_wrap else ()
    weather = part(site.wrap, "weather")
    forecast = weather.get("strip") is not None
    windows = tuple(text(w) for w in weather.get("windows") or () if text(w)) if forecast else ()
    told = [] if site.written("location.section") else [
        "hydraulic section not stated; the text of the line stands for it" if site.known.section else
        "neither hydraulic section nor line stated; restrictions of other sites may hold here, too"]
    if site.known.beside is None:
        told.append(f"pressure beside the pipe {NO_LIMIT}")
    told += [text(c) for c in site.dig.get("cautions") or () if text(c)]
    return Place(0, site.case_id, site.package, site.written("location.joint_number") or site.known.joint,
                 _survey(site, rows), site.known.decision, deadline(site, discovery, rows), risk(site),
                 hours(site, needs, settings.dig, display), _brief(needs, display) if is_wrap else "no wrap",
                 _NOWHERE, site.known.beside, windows, text(weather.get("verdict")) if forecast else "",
                 "" if is_wrap else "no wrap", site.written("excavation.access"), tuple(told))


def _survey(site: Site, rows: Sequence[Mapping[str, Any]]) -> float | None:
    """Surveyed distance in mm: of the record, else of the first row of the screening."""
    for row in listed(site.dig, "where"):
        found = number(part(row, "value").get("magnitude"))
        if row.get("label") == "By survey, rescaled" and found is not None and not row.get("struck"):
            return float(convert(found, text(part(row, "value").get("unit")), "mm"))
    return next((float(r["survey"]) for r in rows if number(float(r.get("survey", np.nan))) is not None), None)


def _brief(needs: Iterable[Need], display: str) -> str:
    """Units by width, bands of cloth, packs."""
    words: Counter[str] = Counter()
    for n in needs:
        if n.key.kind in (UNIT, CLOTH):
            what = "sleeve" if n.key.kind == UNIT else "band of cloth"
            over = f" on {shown(n.key.diameter, 'mm', display)}" if n.key.diameter is not None else ""
            words[f"{what} {shown(n.key.width, 'mm', display)} wide{over}"] += n.pieces or 0
        elif n.packs is not None:
            words[f"{n.key.item.lower()}, packs of {shown(n.key.pack, 'kg', display)}"] += n.packs
    return "; ".join(f"{n} × {w}" for w, n in words.items())


def with_stock(found: DigList, order: Order) -> DigList:
    """The same list, each site with what the order says of its materials: ready, or what is short."""
    return replace(found, places=tuple(p if p.done else replace(p, stock=_stock(p, order)) for p in found.places))


def _stock(p: Place, order: Order) -> str:
    lacking = order.lacking_at(p.case_id)
    if lacking is None:
        return "no wrap" if p.decision != WRAP else "not in the order"
    short = "; ".join(f"{n} × {line.label(order.display)}" for line, n in lacking)
    cloth = any(line.key.kind == CLOTH and s.case_id == p.case_id for line in order.lines for s in line.sites)
    return (f"short: {short}" if short else "ready") + ("; cloth is not counted" if cloth else "")


# -- table --------------------------------------------------------------------------------------------------------
_TERMS = ("fixed", "trench", "units", "cure")


def dig_columns(display: str) -> tuple[Column, ...]:
    """Columns of the dig list, in the units of `display`."""
    far, pressure = column_unit("m", display), column_unit("MPa", display)
    return (Column("place", WHOLE), Column("site", TEXT), Column("package", TEXT), Column("section", TEXT),
            Column("joint", TEXT), Column("survey", NUMBER, far), Column("decision", TEXT), Column("state", TEXT),
            Column("deadline", TEXT), Column("deadline date", TEXT), Column("repair factor", NUMBER),
            Column("high-consequence area", TEXT), Column("class location", NUMBER), Column("expected", NUMBER, "h"),
            *(Column(f"of that {t}", NUMBER, "h") for t in _TERMS), Column("how counted", TEXT),
            Column("materials", TEXT), Column("stock", TEXT), Column("section at most", NUMBER, pressure),
            Column("section at most while anybody is in a trench", NUMBER, pressure), Column("pressures", TEXT),
            Column("weather windows", TEXT), Column("access", TEXT), Column("told", TEXT))


def dig_rows(found: DigList) -> list[dict[str, Any]]:
    """One row for each site, by the names of `dig_columns`."""
    return [_row(p, found.display) for p in found.places]


def _row(p: Place, display: str) -> dict[str, Any]:
    by_term = {t.label: t.hours for t in p.hours.terms}
    how = [f"{t.label}: {t.how}" + (f" ({', '.join(t.refs)})" if t.refs else "") for t in p.hours.terms]
    return {"place": p.number, "site": p.case_id, "package": p.package, "section": p.section.name, "joint": p.joint,
            "survey": in_display(None if p.survey is None else p.survey / 1000, "m", display), "decision": p.decision,
            "state": p.state,
            "deadline": p.deadline.words, "deadline date": p.deadline.date.isoformat() if p.deadline.date else "",
            "repair factor": _number(p.risk.factor), "high-consequence area": p.risk.consequence,
            "class location": _number(p.risk.class_location), "expected": _number(p.hours.total),
            **{f"of that {t}": _number(by_term.get(t)) for t in _TERMS},
            "how counted": joined([*how, *(["hours not stated"] if p.hours.total is None else [])]),
            "materials": p.materials, "stock": p.stock, "section at most": in_display(p.section.lowest, "MPa", display),
            "section at most while anybody is in a trench": in_display(p.section.occupied, "MPa", display),
            "pressures": p.section.words(display), "weather windows": joined([p.verdict, *p.windows]),
            "access": p.access, "told": joined(p.told)}


def _number(x: float | None) -> float:
    return float("nan") if x is None else float(x)


def write_dig_list(path: Path, found: DigList, format: str = "csv") -> None:
    """The dig list as a file."""
    from wrapcalc.campaign.order.table import write_rows
    write_rows(path, dig_columns(found.display), dig_rows(found), format)
