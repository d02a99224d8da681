"""Repair criteria of a rule, or of a company, as data: read strictly, judged in three values, none passed over.

A criteria file has a head and [[criterion]] tables with conditions over FACTS (conditions.py). A criterion holds when
all of `when` hold, and all conditions of at least one group of `any_of`, and it is not lifted by `unless`. A fact
that nobody stated is None; a criterion that depends on it is "no data" and names it. An exception has to be shown: a
fact of `unless` that nobody stated lifts nothing. What is printed is advice: the licensed engineer decides.
"""

from __future__ import annotations

import datetime
import functools
import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any

from wrapcalc import units
from wrapcalc.errors import CaseFaults, Fault, UnknownItem
from wrapcalc.fields import FieldFault, read_text, suggest
from wrapcalc.formula import STATUSES
from wrapcalc.reading import line_numbers, parse_toml, read_bytes, shown_name
from wrapcalc.standards.conditions import (
    FACTS,
    Condition,
    Facts,
    checked_facts,
    dent_position,
    either,
    every,
    parse_condition,
    possible,
)

__all__ = ["FACTS", "Criteria", "Criterion", "Deadline", "Facts", "Finding", "dent_position", "evaluate", "leading",
           "load", "load_file", "rules_for", "shipped", "shipped_digest"]

FIRES, DOES_NOT_FIRE, NO_DATA = "fires", "does not fire", "no data"


# -- criteria -----------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Deadline:
    """How soon a criterion asks for repair. days: after discovery (immediate 0), None when there is no number;
    words: in print; rank: the smaller the more urgent."""

    name: str
    days: int | None
    words: str
    rank: float


_NAMED = {
    "immediate": Deadline("immediate", 0, "immediate repair, the pressure reduced or the line shut down until then", 0),
    # A schedule may ask for any time after "immediate", so without its answer it comes next.
    "by schedule": Deadline("by schedule", None, "", 0.5),
    "monitored": Deadline("monitored", None, "monitoring, and repair before growth makes it a scheduled condition",
                          1e6),
    "excluded": Deadline("excluded", None, "another repair than a wrap", 2e6),
    "extra care": Deadline("extra care", None, "extra care before a wrap", 3e6),
}
_WITHIN = re.compile(r"([1-9]\d{0,3}) (day|year)(s?)", re.ASCII)
CLASSES = ("immediate", "60 days", "180 days", "1 year", "2 years", *list(_NAMED)[1:])


def _deadline(name: str) -> Deadline | None:
    if name in _NAMED:
        return _NAMED[name]
    m = _WITHIN.fullmatch(name)
    if m is None or (m[1] == "1") == bool(m[3]):
        return None
    days = int(m[1]) * (365 if m[2] == "year" else 1)
    return Deadline(name, days, f"repair within {name} of discovery", days) if days <= 3650 else None


@dataclass(frozen=True, slots=True)
class Criterion:
    """One criterion. text: what it says, in our words; status: what our knowledge of it rests on (formula.STATUSES)."""

    paragraph: str
    deadline: Deadline
    text: str
    when: tuple[Condition, ...]
    any_of: tuple[tuple[Condition, ...], ...]
    unless: tuple[Condition, ...]
    citation: str
    status: str
    text_as_of: str

    @property
    def advice(self) -> str:
        """What it asks for, in words that leave the decision to the licensed engineer."""
        return f"{self.citation} asks for {self.deadline.words} (text as of {self.text_as_of})"


@dataclass(frozen=True, slots=True)
class Criteria:
    """The criteria of one rule, or of a company. recheck: what to watch before relying on the text."""

    rule: str
    title: str
    text_as_of: str
    recheck: str
    status: str
    criteria: tuple[Criterion, ...]


@dataclass(frozen=True, slots=True)
class Finding:
    """How one criterion ends for one set of facts.

    because: the conditions that decide, with what was found; missing: facts that are not stated and on which it
    depends (of one that fires: facts that could still lift it).
    """

    criterion: Criterion
    verdict: str
    because: tuple[str, ...]
    missing: tuple[str, ...]


def evaluate(criteria: Criteria, facts: Facts) -> list[Finding]:
    """Every criterion against the facts, in the order of the file; never stopped at the first that fires.

    facts: name -> number (share, ratio or mm), word, yes/no (also as a boolean), or None for not stated; names that
    are left out are not stated. Raises UnknownItem for a name or word that we do not know, CalculationError for a
    number that is none.
    """
    known = checked_facts(facts)
    return [_judged(c, known) for c in criteria.criteria]


def _judged(c: Criterion, facts: Facts) -> Finding:
    groups = [(group, every(x.holds(facts) for x in group)) for group in c.any_of]
    either_group = either(held for _, held in groups)
    base = every([*(x.holds(facts) for x in c.when), *([either_group] if groups else [])])
    lifted = bool(c.unless) and every(x.holds(facts) for x in c.unless) is True
    if lifted and base is not False:
        return _finding(c, DOES_NOT_FIRE, [s for x in c.unless for s in x.said(facts)], [])
    # Of the conditions, those that decide: all that hold, or those that fail, or those that cannot be told.
    deciding = [x for x in c.when if x.holds(facts) is base]
    if groups and either_group is base and not (base is False and deciding):
        alike = [group for group, held in groups if held is base]
        deciding += [x for group in (alike[:1] if base else alike) for x in group if x.holds(facts) is base]
    if base is True:
        said = [s for x in deciding for s in x.said(facts)] + [
            f"not lifted by {s}" for x in c.unless if x.holds(facts) is not True for s in x.said(facts)]
        return _finding(c, FIRES, said, [m for x in c.unless for m in x.missing(facts)])
    return _finding(c, DOES_NOT_FIRE if base is False else NO_DATA, [s for x in deciding for s in x.said(facts)],
                    [m for x in deciding for m in x.missing(facts)])


def _finding(c: Criterion, verdict: str, because: list[str], missing: list[str]) -> Finding:
    return Finding(c, verdict, tuple(dict.fromkeys(because)), tuple(dict.fromkeys(missing)))


def leading(findings: Sequence[Finding], schedule_days: float | None = None) -> Finding | None:
    """The most urgent finding that fires: by deadline, then by order. None when none fires.

    schedule_days: what the schedule of a "by schedule" criterion gives; without it such a criterion comes right after
    "immediate", the safer reading.
    """
    def rank(f: Finding) -> float:
        given = f.criterion.deadline.name == "by schedule" and schedule_days is not None
        return schedule_days if given else f.criterion.deadline.rank  # type: ignore[return-value]
    return min((f for f in findings if f.verdict == FIRES), key=rank, default=None)


# -- which rule ---------------------------------------------------------------------------------------------------
GAS_HCA, GAS_OTHER, LIQUID_HCA = "49 CFR 192.933", "49 CFR 192.714", "49 CFR 195.452(h)(4)"
WRAP, JUDGEMENT = "Wrap exclusions", "Judgement"


def rules_for(service: str | None, high_consequence_area: str | None) -> tuple[tuple[str, ...], str]:
    """(rules whose lists hold, why) for "gas line", "liquid line" or "plant piping" and "yes", "no", "unknown".

    What is not known is read the safer way, and the words say so. Raises UnknownItem for another service or answer.
    """
    if service not in (None, "gas line", "liquid line", "plant piping"):
        raise UnknownItem("service", service, ("gas line", "liquid line", "plant piping"))
    if high_consequence_area not in (None, "yes", "no", "unknown"):
        raise UnknownItem("answer", high_consequence_area, ("yes", "no", "unknown"))
    area = high_consequence_area
    unknown = "whether a high-consequence area is affected is not known; "
    if service is None:
        return (GAS_HCA, LIQUID_HCA), "the service is not known; the stricter lists of both services are evaluated"
    if service == "plant piping":
        return (), "the repair lists of 49 CFR 192 and 195 are for pipelines, not for plant piping"
    if service == "gas line":
        if area == "no":
            return (GAS_OTHER,), "gas transmission line outside high-consequence areas"
        return (GAS_HCA,), ("gas line in a high-consequence area" if area == "yes" else
                            unknown + f"{GAS_HCA} is evaluated, whose deadlines are shorter than those of {GAS_OTHER}")
    if area == "no":
        return (), (f"the list of {LIQUID_HCA} is for segments that could affect a high-consequence area; elsewhere "
                    "the rule asks for repair within a reasonable time, at once for an immediate hazard (195.401(b))")
    return (LIQUID_HCA,), ("liquid line that could affect a high-consequence area" if area == "yes" else
                           unknown + f"{LIQUID_HCA} is evaluated as if it were")


# -- reading ------------------------------------------------------------------------------------------------------
_HEAD, _OPTIONAL_HEAD = ("rule", "title", "text_as_of", "status"), ("recheck",)
_NEEDED, _OPTIONAL = ("paragraph", "class", "text"), ("when", "any_of", "unless", "deadline", "citation", "status")


@functools.lru_cache(maxsize=1)
def _files() -> dict[str, tuple[str, bytes]]:
    """Rule -> (file name, bytes) of what ships."""
    out = {}
    for file in sorted(resources.files("wrapcalc.standards").joinpath("criteria").iterdir(), key=lambda f: f.name):
        if file.name.endswith(".toml"):
            raw = file.read_bytes()
            out[parse_toml(raw, file.name)["rule"]] = (file.name, raw)
    return out


def shipped() -> tuple[str, ...]:
    """Rules whose criteria ship with wrapcalc."""
    return tuple(_files())


@functools.lru_cache(maxsize=1)
def shipped_digest() -> str:
    """SHA-256 over the shipped criteria as read, whatever the line endings: a change of one changes what was judged."""
    return hashlib.sha256(repr([load(rule) for rule in sorted(shipped())]).encode()).hexdigest()


@functools.cache
def load(rule: str) -> Criteria:
    """The shipped criteria of a rule. Raises UnknownItem with the nearest rule."""
    if rule not in _files():
        raise UnknownItem("rule", rule, _files())
    name, raw = _files()[rule]
    return _Reader(name, raw, own=False).read()


def load_file(file: Path | bytes, name: str = "") -> Criteria:
    """The criteria of a company's own file, given as path or bytes. Raises CaseFaults with every fault of the file."""
    name = name or (shown_name(file) if isinstance(file, Path) else "criteria.toml")
    return _Reader(name, read_bytes(file, name) if isinstance(file, Path) else file, own=True).read()


@dataclass
class _Reader:
    """Reads one criteria file and collects its faults. own: a company's file, not one of ours."""

    name: str
    raw: bytes
    own: bool
    faults: list[Fault] = field(default_factory=list)
    lines: dict[str, int] = field(default_factory=dict)
    text: list[str] = field(default_factory=list)

    def read(self) -> Criteria:
        """The whole file. Raises CaseFaults with every fault."""
        data = parse_toml(self.raw, self.name)
        self.lines = line_numbers(self.raw)
        self.text = self.raw.decode("utf-8-sig").split("\n")
        self._keys(data, "", (*_HEAD, *_OPTIONAL_HEAD, "criterion"))
        rule, title = self._word(data, "rule"), self._word(data, "title")
        if self.own and rule in shipped():
            self._fault("rule", units.shown(rule), "a name of its own: that one is the text of the rule",
                        'name it such as "Company repair list, issue 3"')
        as_of, status = self._as_of(data), self._status(data, "status")
        recheck = self._word(data, "recheck", needed=False)
        found = data.get("criterion", [])
        if not isinstance(found, list) or not found or not all(isinstance(c, dict) for c in found):
            self._fault("criterion", units.shown(found) if found else "nothing",
                        f"at least one table [[criterion]] with {', '.join(_NEEDED)}",
                        "write [[criterion]] with two brackets and its fields below")
            found = []
        criteria: list[Criterion] = []
        for i, c in enumerate(found):
            one = self._criterion(c, f"criterion.{i}.", rule, as_of, status)
            if one.paragraph and one.paragraph in [x.paragraph for x in criteria]:
                self._fault(f"criterion.{i}.paragraph", f"{units.shown(one.paragraph)} for the second time",
                            "each paragraph once", 'tell the two apart, such as "(a), class 1"')
            criteria.append(one)
        if self.faults:
            raise CaseFaults(self.faults)
        return Criteria(rule, title, as_of, recheck, status, tuple(criteria))

    def _fault(self, where: str, found: str, allowed: str, mend: str, line: int | None = None) -> None:
        line = line or self.lines.get(where) or self.lines.get(where.rpartition(".")[0])
        self.faults.append(Fault(self.name, units.printable(where)[:120], found, allowed, mend, line))

    def _keys(self, table: dict, where: str, known: Sequence[str]) -> None:
        for key in table:
            if key not in known:
                self._fault(where + key, "a key that we do not know", ", ".join(known),
                            suggest(key, known, "remove it"))

    def _word(self, table: dict, key: str, where: str = "", *, needed: bool = True) -> str:
        try:
            text = read_text(table.get(key))
        except FieldFault as e:
            self._fault(where + key, e.found, e.allowed, e.mend)
            return ""
        if needed and text is None:
            self._fault(where + key, "nothing", "a text in quotation marks", f'add {key} = "..."')
        return text or ""

    def _as_of(self, data: dict) -> str:
        raw = data.get("text_as_of")
        text = raw.isoformat()[:10] if isinstance(raw, datetime.date) else str(raw)
        try:
            if not re.fullmatch(r"\d{4}(-\d\d(-\d\d)?)?", text, re.ASCII):
                raise ValueError
            datetime.date.fromisoformat((text + "-01-01")[:10])
        except ValueError:
            self._fault("text_as_of", "nothing" if raw is None else units.shown(raw), "the date of the text: year, "
                        "year-month or year-month-day", 'write text_as_of = "2026-09-17"')
        return text

    def _status(self, table: dict, key: str, where: str = "", otherwise: str = "") -> str:
        if otherwise and key not in table:
            return otherwise
        raw = table.get(key)
        if raw not in STATUSES:
            self._fault(where + key, "nothing" if raw is None else units.shown(raw), ", ".join(STATUSES),
                        suggest(raw, STATUSES, "say what our knowledge of the text rests on"))
        return str(raw)

    def _criterion(self, c: dict, where: str, rule: str, as_of: str, status: str) -> Criterion:
        self._keys(c, where, (*_NEEDED, *_OPTIONAL))
        paragraph, name, text = (self._word(c, key, where) for key in _NEEDED)
        deadline = _deadline(name)
        if name and deadline is None:
            self._fault(where + "class", units.shown(name), f"{', '.join(CLASSES)}, or another number of days or years "
                        "up to ten years", suggest(name, CLASSES, "choose one of them"))
        words = self._word(c, "deadline", where, needed=name == "by schedule")
        deadline = deadline or _NAMED["immediate"]
        if words:
            deadline = Deadline(deadline.name, deadline.days, words, deadline.rank)
        when = self._conditions(c.get("when", []), where + "when")
        groups = c.get("any_of", [])
        if not isinstance(groups, list) or not all(isinstance(g, list) and g for g in groups):
            self._fault(where + "any_of", units.shown(groups), "a list of groups, each a list of conditions",
                        'write any_of = [["dent = yes"], ["crack = yes", "gouge = yes"]]')
            groups = []
        any_of = tuple(self._conditions(g, where + "any_of") for g in groups)
        unless = self._conditions(c.get("unless", []), where + "unless")
        if not any(key in c and c[key] not in ([], None) for key in ("when", "any_of")):
            self._fault(where + "when", "no condition", "conditions in when, or groups of them in any_of",
                        'add when = ["depth_over_nominal > 0.80"]')
        for part in [when, *([*when, *g] for g in any_of)]:
            if not possible(part):
                self._fault(where + ("when" if part is when else "any_of"),
                            units.shown(" and ".join(x.text for x in part)), "conditions that can hold together",
                            "check the limits: no facts meet all of them")
                break
        glue = "" if paragraph.startswith("(") else ", "
        return Criterion(paragraph, deadline, text, when, any_of, unless,
                         self._word(c, "citation", where, needed=False) or f"{rule}{glue}{paragraph}",
                         self._status(c, "status", where, status), as_of)

    def _conditions(self, raw: Any, where: str) -> tuple[Condition, ...]:
        if not isinstance(raw, list):
            self._fault(where, units.shown(raw), "a list of conditions in square brackets",
                        'write ["dent = yes", "dent_position = top"]')
            return ()
        out = []
        for one in raw:
            try:
                out.append(parse_condition(one))
            except FieldFault as e:
                self._fault(where, e.found, e.allowed, e.mend, self._line_of(one, where))
        return tuple(out)

    def _line_of(self, condition: Any, where: str) -> int | None:
        """The line on which the condition stands, at or below its key."""
        first = self.lines.get(where)
        if first is None or not isinstance(condition, str):
            return first
        return next((n for n, text in enumerate(self.text[first - 1:], first) if f'"{condition}"' in text), first)
