"""Factor tables of the documents, with a user's overlay of verified marks applied."""

from __future__ import annotations

import datetime
import functools
import hashlib
import math
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wrapcalc import units
from wrapcalc.errors import CaseFaults, Fault, UnknownItem, ValueWaits
from wrapcalc.fields import FieldFault, read_text, suggest
from wrapcalc.reading import line_numbers, read_toml, shown_name
from wrapcalc.standards.documents import document
from wrapcalc.values import Origin, Value

if TYPE_CHECKING:
    from wrapcalc.formula import Formula


#: Written for a value, and its status, where our knowledge of an edition stops.
NOT_KNOWN = "not known"


@dataclass(frozen=True, slots=True)
class Mark:
    """A user's word that an item agrees with a licensed copy."""

    by: str
    on: str
    copy: str
    changed_from: str = ""

    def __str__(self) -> str:
        return f"{self.by}, {self.on}, {self.copy}" + (f" (was {self.changed_from})" if self.changed_from else "")


@dataclass(frozen=True, slots=True)
class Entry:
    """One value of a document. written: as the table writes it; status: see formula.STATUSES."""

    document: str
    name: str
    title: str
    written: str
    kind: str
    clause: str
    status: str
    mark: Mark | None = None

    @property
    def key(self) -> str:
        """'document/name', by which records and overlays refer to it."""
        return f"{self.document}/{self.name}"

    @property
    def citation(self) -> str:
        """Document and clause as printed."""
        return f"{self.document}, {self.clause}" if self.clause else self.document

    @property
    def waits(self) -> bool:
        """Whether no value is known to us."""
        return self.written == NOT_KNOWN

    def value(self) -> Value:
        """The number with this entry as origin. Raises ValueWaits where we know none."""
        if self.waits:
            raise ValueWaits(f"a value of {self.document} is not known to us: {lowered(self.title)} ({self.key}); read "
                             "it in a licensed copy and state it in an overlay (wrapcalc worksheet prints the list), "
                             "or name another edition")
        magnitude, unit = units.parse(_raw(self.written, self.kind), self.kind)
        base = units.KINDS[self.kind].base
        return Value(units.to_base(magnitude, unit, self.kind), base, Origin("table", self.key), self.title)


def lowered(title: str) -> str:
    """A title inside a sentence."""
    return title[0].lower() + title[1:]


def _raw(written: str, kind: str) -> Any:
    return float(written) if units.KINDS[kind].units == {} else written


@functools.lru_cache(maxsize=1)
def shipped() -> dict[str, Entry]:
    """Every entry that ships with wrapcalc, by key."""
    out: dict[str, Entry] = {}
    for file in sorted(resources.files("wrapcalc.standards").joinpath("data").iterdir(), key=lambda f: f.name):
        if not file.name.endswith(".toml"):
            continue
        data = tomllib.loads(file.read_text(encoding="utf-8"))
        doc = document(data.pop("document")).id
        for name, e in data.items():
            entry = Entry(doc, name, e["title"], str(e["value"]), e["kind"], e["clause"], e["status"])
            assert entry.waits == (entry.status == NOT_KNOWN) and entry.kind in units.KINDS
            if not entry.waits:
                entry.value()
            out[entry.key] = entry
    return out


@functools.lru_cache(maxsize=1)
def shipped_digest() -> str:
    """SHA-256 over every shipped entry: a change of any table is a change of what made a package."""
    return hashlib.sha256(repr(sorted((k, e.written, e.clause, e.status) for k, e in shipped().items()))
                          .encode()).hexdigest()


class Tables:
    """The tables of one run: shipped entries with the overlay of one user applied."""

    def __init__(self, entries: dict[str, Entry], formula_marks: dict[str, Mark] | None = None):
        self.entries = entries
        self.formula_marks = formula_marks or {}

    def entry(self, doc_id: str, name: str) -> Entry:
        """The entry. Raises UnknownItem with the nearest name."""
        key = f"{doc_id}/{name}"
        if key not in self.entries:
            raise UnknownItem("table entry", key, self.entries)
        return self.entries[key]

    def value(self, doc_id: str, name: str) -> Value:
        """The entry as a value with its origin."""
        return self.entry(doc_id, name).value()

    def formula_status(self, f: Formula) -> tuple[str, Mark | None]:
        """Status of a formula after the overlay: ("verified", mark) or its own."""
        mark = self.formula_marks.get(f.name)
        return ("verified", mark) if mark else (f.status, None)


def load(overlay: Path | None = None) -> Tables:
    """Tables with the overlay file applied, if any.

    An overlay has [[value]] marks (item, value, by, on, copy) and [[formula]] marks (name, expression, by, on,
    copy). A value that differs from the shipped one replaces it and says so; an expression must agree with ours.
    Raises CaseFaults with all faults of the file.
    """
    if overlay is None:
        return Tables(dict(shipped()))
    data, raw = read_toml(overlay)
    reader = _Overlay(shown_name(overlay), line_numbers(raw))
    out = reader.read(data)
    if reader.faults:
        raise CaseFaults(reader.faults)
    return out


def _of_another_edition(entry: Entry, known: dict[str, Entry]) -> Entry | None:
    """The entry of the same name that is known in another edition: a slip is measured by it."""
    return next((e for e in known.values() if e.name == entry.name and not e.waits), None)


#: A value of a licensed copy that differs from ours by more than this factor is taken for a slip.
_FARTHEST = 4
#: Temperatures may differ by so much, °C: they have no factor.
_FARTHEST_TEMPERATURE = 40
#: Limits whose meaning ends somewhere, whatever a copy says.
_MOST = {"depth_limit": 0.9, "temperature_factor_60": 1.0, "equations": 1.0}
_MARK = ("by", "on", "copy")


@dataclass
class _Overlay:
    """Reads the marks of one overlay file and collects its faults."""

    name: str
    lines: dict[str, int]
    faults: list[Fault] = field(default_factory=list)

    def fault(self, where: str, found: str, allowed: str, mend: str) -> None:
        line = self.lines.get(where) or self.lines.get(where.rpartition(".")[0])
        self.faults.append(Fault(self.name, units.printable(where)[:120], found, allowed, mend, line))

    def read(self, data: dict) -> Tables:
        """Every mark of the file on the shipped tables."""
        from wrapcalc.formula import registry
        for key in data:
            if key not in ("value", "formula"):
                self.fault(key, "a key that we do not know", "[[value]], [[formula]]",
                           suggest(key, ("value", "formula"), "remove it"))
        entries, marks = dict(shipped()), {}
        for where, m, mark in self._marks(data, "value", ("item", "value")):
            changed = self._value(where, m, mark, shipped())
            if changed is not None:
                entries[changed.key] = changed
        formulas = registry()
        for where, m, mark in self._marks(data, "formula", ("name", "expression")):
            ours = formulas.get(m["name"])
            if ours is None:
                self.fault(f"{where}.name", units.shown(m["name"]), "the name of a formula",
                           suggest(m["name"], formulas, "see the list in a report"))
            elif "".join(m["expression"].split()) != "".join(ours.text.split()):
                self.fault(f"{where}.expression", units.shown(m["expression"]), ours.text,
                           "a mark holds only for the expression that runs; tell us if the licensed copy differs")
            else:
                marks[ours.name] = mark
        return Tables(entries, marks)

    def _value(self, where: str, m: dict, mark: Mark, known: dict[str, Entry]) -> Entry | None:
        entry = known.get(m["item"])
        if entry is None:
            self.fault(f"{where}.item", units.shown(m["item"]), "a table entry 'document/name'",
                       suggest(m["item"], known, "see the list in a report"))
            return None
        try:
            units.parse(m["value"], entry.kind)
        except units.QuantityFault as e:
            self.fault(f"{where}.value", e.found, e.allowed, e.mend)
            return None
        changed = replace(entry, written=" ".join(str(m["value"]).split()), status="verified", mark=mark)
        ours = entry if not entry.waits else _of_another_edition(entry, known)
        if ours is None:
            return replace(changed, mark=replace(mark, changed_from=entry.written))
        old, new = ours.value().magnitude, changed.value().magnitude
        if not entry.waits and math.isclose(old, new, rel_tol=1e-9):  # the same number, perhaps in another unit
            return changed
        if entry.kind == "temperature":
            least, most = old - _FARTHEST_TEMPERATURE, old + _FARTHEST_TEMPERATURE
        else:
            least = old / _FARTHEST
            most = min(old * _FARTHEST, _MOST.get(entry.name, math.inf),
                       1.0 if entry.kind == "number" and old < 1 else math.inf)
        if not least <= new <= most:
            base = units.KINDS[entry.kind].base
            self.fault(f"{where}.value", units.shown(m["value"]),
                       f"{units.show(least, base)} to {units.show(most, base)}; "
                       + (f"ours is {ours.written}" if ours is entry else f"{ours.document} has {ours.written}"),
                       "check the value and its unit; tell us if the licensed copy says so")
            return None
        return replace(changed, mark=replace(mark, changed_from=entry.written))

    def _marks(self, data: dict, table: str, needed: tuple[str, str]) -> Iterator[tuple[str, dict, Mark]]:
        """(place, mark as read, who and when) of every sound [[table]]; each item once."""
        given = data.get(table, [])
        if not isinstance(given, list):
            self.fault(table, units.shown(given), f"tables [[{table}]] with {', '.join((*needed, *_MARK))}",
                       f"write [[{table}]] with two brackets")
            return
        seen: set[str] = set()
        for i, m in enumerate(given):
            where = f"{table}.{i}"
            if not isinstance(m, dict):
                self.fault(where, units.shown(m), f"a table [[{table}]]", f"write [[{table}]] and its fields below")
            elif (mark := self._mark(m, needed, where)) is not None:
                if m[needed[0]] in seen:
                    self.fault(f"{where}.{needed[0]}", f"{units.shown(m[needed[0]])} for the second time",
                               "one mark for each", "remove one of the two")
                    continue
                seen.add(m[needed[0]])
                yield where, m, mark

    def _mark(self, m: dict, needed: tuple[str, str], where: str) -> Mark | None:
        wanted = (*needed, *_MARK)
        before = len(self.faults)
        for key in m:
            if key not in wanted:
                self.fault(f"{where}.{key}", "a key that we do not know", ", ".join(wanted),
                           suggest(key, wanted, "remove it"))
        words: dict[str, str | None] = {}
        for key in wanted:
            if m.get(key, "") == "" or (isinstance(m[key], str) and not m[key].strip()):
                self.fault(f"{where}.{key}", "nothing", ", ".join(wanted),
                           "say what was verified, by whom, when, and in which copy")
            elif key == "on":
                words[key] = self._day(m[key], f"{where}.on")
            elif key != "value":
                try:
                    words[key] = read_text(m[key])
                except FieldFault as e:
                    self.fault(f"{where}.{key}", e.found, e.allowed, e.mend)
        if len(self.faults) > before:
            return None
        return Mark(*(words[key] or "" for key in _MARK))

    def _day(self, raw: Any, where: str) -> str | None:
        try:
            day = raw if isinstance(raw, datetime.date) else datetime.date.fromisoformat(raw)
        except (TypeError, ValueError):
            self.fault(where, units.shown(raw), "a date: year-month-day", 'write on = "2026-09-30"')
            return None
        return day.isoformat()[:10]
