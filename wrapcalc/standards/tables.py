"""Factor tables of the documents, with a user's overlay of verified marks applied."""

from __future__ import annotations

import functools
import hashlib
import tomllib
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wrapcalc import units
from wrapcalc.errors import CaseFaults, Fault, UnknownItem, nearest
from wrapcalc.fields import line_numbers, read_toml
from wrapcalc.standards.documents import document
from wrapcalc.values import Origin, Value

if TYPE_CHECKING:
    from wrapcalc.formula import Formula


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

    def value(self) -> Value:
        """The number with this entry as origin."""
        magnitude, unit = units.parse(_raw(self.written, self.kind), self.kind)
        base = units.KINDS[self.kind].base
        return Value(float(units.convert(magnitude, unit, base)), base, Origin("table", self.key), self.title)


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
    from wrapcalc.formula import registry
    data, raw = read_toml(overlay)
    entries, marks, faults = dict(shipped()), {}, []
    lines = line_numbers(raw)

    def fault(where: str, found: str, allowed: str, mend: str) -> None:
        line = lines.get(where) or lines.get(where.rpartition(".")[0])
        faults.append(Fault(overlay.name, where, found, allowed, mend, line))

    for key in data:
        if key not in ("value", "formula"):
            near = nearest(key, ("value", "formula"))
            fault(key, "a key that we do not know", "[[value]], [[formula]]",
                  f"did you mean '{near}'?" if near else "remove it")
    for i, m in enumerate(_list(data.get("value"))):
        where = f"value.{i}"
        if (mark := _mark(m, ("item", "value"), where, fault)) is None:
            continue
        if m["item"] not in entries:
            near = nearest(m["item"], entries)
            fault(f"{where}.item", units.shown(m["item"]), "a table entry 'document/name'",
                  f"did you mean '{near}'?" if near else "see the list in a report")
            continue
        entry = entries[m["item"]]
        try:
            raw_value = m["value"] if isinstance(m["value"], str) or not units.KINDS[entry.kind].units else m["value"]
            units.parse(raw_value, entry.kind)
        except units.QuantityFault as e:
            fault(f"{where}.value", e.found, e.allowed, e.mend)
            continue
        changed = replace(entry, written=str(m["value"]), status="verified", mark=mark)
        if changed.value().magnitude != entry.value().magnitude:
            changed = replace(changed, mark=replace(mark, changed_from=entry.written))
        entries[entry.key] = changed
    formulas = registry()
    for i, m in enumerate(_list(data.get("formula"))):
        where = f"formula.{i}"
        if (mark := _mark(m, ("name", "expression"), where, fault)) is None:
            continue
        if m["name"] not in formulas:
            near = nearest(m["name"], formulas)
            fault(f"{where}.name", units.shown(m["name"]), "the name of a formula",
                  f"did you mean '{near}'?" if near else "see the list in a report")
        elif "".join(m["expression"].split()) != "".join(formulas[m["name"]].text.split()):
            fault(f"{where}.expression", units.shown(m["expression"]), formulas[m["name"]].text,
                  "a mark holds only for the expression that runs; tell us if the licensed copy differs")
        else:
            marks[m["name"]] = mark
    if faults:
        raise CaseFaults(faults)
    return Tables(entries, marks)


def _list(x: Any) -> list[dict]:
    return [m for m in x if isinstance(m, dict)] if isinstance(x, list) else []


def _mark(m: dict, needed: tuple[str, ...], where: str, fault) -> Mark | None:
    wanted = (*needed, "by", "on", "copy")
    ok = True
    for key in wanted:
        if not isinstance(m.get(key), (str, int, float)) and not hasattr(m.get(key), "isoformat") or m.get(key) == "":
            fault(f"{where}.{key}", "nothing" if key not in m else units.shown(m[key]), ", ".join(wanted),
                  "say what was verified, by whom, when, and in which copy")
            ok = False
        elif key in ("item", "name", "expression", "by", "copy") and not isinstance(m[key], str):
            fault(f"{where}.{key}", units.shown(m[key]), "a text", "put it in quotation marks")
            ok = False
    for key in m:
        if key not in wanted:
            fault(f"{where}.{key}", "a key that we do not know", ", ".join(wanted), "remove it")
            ok = False
    return Mark(m["by"], str(m["on"]), m["copy"]) if ok else None
