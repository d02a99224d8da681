"""What the dig list says of one site: deadline, risk, expected hours. Every term with where it comes from."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from wrapcalc.campaign.model import Dig
from wrapcalc.campaign.order.needs import CLOTH, UNIT, Need
from wrapcalc.campaign.report.site_record import WRAP, Site, refs, shown
from wrapcalc.fields import Given
from wrapcalc.register.evidence import listed, number, part, text
from wrapcalc.stages.assessment.life import DAYS_IN_A_YEAR, HORIZON
from wrapcalc.units import steady

AS_IT_IS = ("no repair needed", "reduce pressure and monitor")
#: Decisions of which nobody knows what will be done in the trench.
_NOT_DESIGNED = "what is done at this site is not designed"
#: Ranks of a deadline: at once; so many days after a day that nobody stated, which may be past; a date; none known.
IMMEDIATE, UNDATED, DATED, UNKNOWN, NONE = range(5)


@dataclass(frozen=True)
class Deadline:
    """rank: one of IMMEDIATE to NONE; days: of the most urgent, None where it is not counted so; date: the earliest
    that is known, of all that ask for a date; words: all of them, the most urgent first; undated: one of them has no
    date, or whether there is one is not known."""

    rank: int
    days: int | None
    date: datetime.date | None
    words: str
    undated: bool = False

    @property
    def key(self) -> tuple:
        """For sorting: the most urgent first."""
        first = {UNDATED: self.days or 0, DATED: self.date.toordinal() if self.date else 0}.get(self.rank, 0)
        return (self.rank, first)


@dataclass(frozen=True)
class Term:
    """A part of the expected hours; hours: None when it is not stated. how: with the numbers it is made of."""

    label: str
    hours: float | None
    how: str
    refs: tuple[str, ...] = ()


@dataclass(frozen=True)
class Hours:
    """Expected hours at a site. terms: each of them; work: working hours; cure: hours by the clock in which nobody
    works; total: both. None where a term is not stated; why says which."""

    terms: tuple[Term, ...]
    work: float | None
    cure: float | None
    total: float | None
    why: str = ""


@dataclass(frozen=True)
class Risk:
    """factor: repair factor (MAOP over safe pressure), None when no method gives one; consequence: high-consequence
    area, "yes", "no" or "not stated"; class_location: None when not stated."""

    factor: float | None
    consequence: str
    class_location: int | None

    @property
    def key(self) -> tuple:
        """For sorting: what is not known counts as the worst."""
        return (-(math.inf if self.factor is None else self.factor), self.consequence == "no",
                -(9 if self.class_location is None else self.class_location))


# -- deadline -----------------------------------------------------------------------------------------------------
def deadline(site: Site, discovery: datetime.date | None, rows: Sequence[Mapping[str, Any]]) -> Deadline:
    """The deadline of a site: what the leading criterion asks for, the date of the case, the remaining life; where the
    package names no criterion and leaves more than monitoring, the screening of its rows."""
    found = [*_by_rule(site, discovery), *_by_case(site), *_by_life(site, discovery)]
    if not site.known.deadline and site.known.decision not in AS_IT_IS:
        found += _by_rows(rows, discovery)
    if not found:
        if site.known.decision == "insufficient data":
            return Deadline(UNKNOWN, None, None, "not known: insufficient data", True)
        return Deadline(NONE, None, None, "none")
    found.sort(key=lambda d: d.key)
    dates = [d.date for d in found if d.date is not None]
    return Deadline(found[0].rank, found[0].days, min(dates, default=None), "; ".join(d.words for d in found),
                    len(dates) < len(found))


def _counted(days: int, start: datetime.date | None, what: str, unstated: str) -> list[Deadline]:
    """A deadline by days after a day; one that no calendar holds is none."""
    if start is None:
        return [Deadline(UNDATED, days, None, f"{what}; {unstated}")]
    try:
        return [Deadline(DATED, days, start + datetime.timedelta(days=days), what)]
    except OverflowError:
        return []


_NO_DISCOVERY = "the day of discovery is not stated"


def _by_rule(site: Site, discovery: datetime.date | None) -> list[Deadline]:
    word, rule = site.known.deadline, site.known.rule
    if word == "immediate":
        return [Deadline(IMMEDIATE, 0, discovery, f"immediate ({rule})")]
    amount, _, unit = word.partition(" ")
    if amount.isdecimal() and unit.rstrip("s") in ("day", "year"):
        days = int(amount) * (365 if unit.startswith("year") else 1)
        return _counted(days, discovery, f"within {word} of discovery ({rule})", _NO_DISCOVERY)
    if word == "by schedule":
        step = site.step("response_time")
        if step is None or step[1] != "year":
            # A schedule may ask for any time after "immediate": without its answer it comes right after that.
            return [Deadline(UNDATED, 0, None, f"by schedule ({rule}), whose time the record does not say")]
        days = math.floor(step[0] * 365)
        return _counted(days, discovery, f"within {days} days of discovery by schedule ({rule}, {step[2]})",
                        _NO_DISCOVERY)
    return []


def _by_case(site: Site) -> list[Deadline]:
    due = site.known.due_by
    return [Deadline(DATED, None, datetime.date.fromisoformat(due), f"by {due} (location.due)")] if due else []


def _by_life(site: Site, discovery: datetime.date | None) -> list[Deadline]:
    left = site.known.decision in AS_IT_IS
    years, what = (site.known.look, "next look") if left else (site.known.life, "end of the remaining life")
    if years is None or years > HORIZON:
        return []
    start = datetime.date.fromisoformat(site.known.measured_on) if site.known.measured_on else discovery
    days = math.floor(years * DAYS_IN_A_YEAR)
    note = "measurement" if site.known.measured_on else "discovery; the measurement was earlier"
    factor = risk(site).factor
    # The life runs to the failure pressure of the rule; a far day must not read as leave to run at the MAOP until then.
    held = "" if left or (factor is not None and factor <= 1) else (
        ", by failure pressure: not a day until which the line may run at its MAOP, the pressure stays reduced until "
        "the repair is accepted")
    return _counted(days, start, f"{what}, {days} days after {note}{held}", "the day is not stated")


def _by_rows(rows: Sequence[Mapping[str, Any]], discovery: datetime.date | None) -> list[Deadline]:
    stated = [(d, r) for r in rows if (d := number(_plain(r.get("deadline_days")))) is not None and d >= 0]
    if not stated:
        return []
    days, row = min(stated, key=lambda x: x[0])
    where = f"screening of {text(str(row.get('feature_id') or '')) or 'a row'}"
    if days == 0:
        return [Deadline(IMMEDIATE, 0, discovery, f"immediate ({where})")]
    return _counted(math.floor(days), discovery, f"within {math.floor(days)} days of discovery ({where})",
                    _NO_DISCOVERY)


def _plain(raw: Any) -> Any:
    """A number of an array as a number of Python."""
    return raw.item() if hasattr(raw, "item") else raw


# -- risk ---------------------------------------------------------------------------------------------------------
def risk(site: Site) -> Risk:
    """Risk of a site, as the record tells it."""
    factor = next((number(part(h, "value").get("magnitude")) for h in listed(site.record, "headline")
                   if text(h.get("label")).startswith("Repair factor")), None)
    hca, of_class = site.written("service.high_consequence_area"), site.written("service.class_location")
    return Risk(factor, hca if hca in ("yes", "no") else "not stated", int(of_class) if of_class.isdecimal() else None)


# -- hours --------------------------------------------------------------------------------------------------------
def hours(site: Site, needs: Sequence[Need], dig: Dig, display: str) -> Hours:
    """Expected hours: what is fixed, trench, units, cure. A term that is not stated leaves the sum not stated."""
    decision = site.known.decision
    terms = [_fixed(dig), _trench(site, dig, display)]
    cure: float | None = 0.0
    if decision == WRAP:
        time = part(part(site.wrap, "cure"), "time")
        cure = number(time.get("magnitude")) if time.get("unit") == "hour" else None
        how = ("by the sheet at the coldest steel expected" if cure is not None else
               "the record has no time of cure: work.steel_low is not stated, or outside the cure table of the sheet")
        terms += [_units(needs, dig), Term("cure", cure, how, refs(time))]
    elif decision not in AS_IT_IS:
        terms.append(Term("work on the pipe", None, f"{_NOT_DESIGNED} ({decision})"))
    lacking = "; ".join(f"{t.label}: {t.how}" for t in terms if t.hours is None)
    if lacking:
        return Hours(tuple(terms), None, cure, None, lacking)
    total = math.fsum(t.hours for t in terms if t.hours is not None)
    return Hours(tuple(terms), steady(total - (cure or 0.0)), cure, steady(total))


def _rate(given: Given | None) -> tuple[float | None, str]:
    return (None, "") if given is None else (float(given.base), given.written)


def _fixed(dig: Dig) -> Term:
    stated, written = _rate(dig.hours_fixed)
    return Term("fixed", stated, f"dig.hours_fixed = {written}" if written else "dig.hours_fixed is not stated")


def _trench(site: Site, dig: Dig, display: str) -> Term:
    rate, written = _rate(dig.hours_dig_per_m3)
    row = next((r for r in listed(site.dig, "trench") if r.get("label") == "Volume in the ground"), {})
    volume = number(part(row, "value").get("magnitude"))
    if part(row, "value").get("unit") != "m**3":
        volume = None
    of = refs(part(row, "value"))
    if rate is None:
        return Term("trench", None, "dig.hours_dig_per_m3 is not stated")
    if row.get("struck"):
        return Term("trench", None, f"the volume of the trench is struck: {text(row['struck'])}", of)
    if volume is None:
        return Term("trench", None, "the record has no volume of the trench: state excavation.cover")
    return Term("trench", steady(volume * rate), f"{shown(volume, 'm**3', display)} × {written} for each m³", of)


def _units(needs: Sequence[Need], dig: Dig) -> Term:
    rate, written = _rate(dig.hours_per_unit)
    laid = [n for n in needs if n.key.kind in (UNIT, CLOTH)]
    count = sum(n.pieces or 0 for n in laid)
    if rate is None:
        return Term("units", None, "dig.hours_per_unit is not stated")
    return Term("units", steady(count * rate), f"{count} unit{'' if count == 1 else 's'} × {written} for each",
                tuple(dict.fromkeys(r for n in laid for r in n.refs)))
