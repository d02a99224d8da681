"""Which packages and closed repairs rest on a formula, a value, a document, a system or a batch.

Asked when one of them turns out to be wrong. It reads the records themselves; a record that cannot be read is a hit of
its own, so that nobody takes silence for an answer.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wrapcalc.errors import PackageError, UnknownItem
from wrapcalc.formula import registry
from wrapcalc.package.explain import read_record
from wrapcalc.register.evidence import MISSING, PLACES, Revision, inputs_of, listed, part, scan, text
from wrapcalc.register.state import Standing, snapshot
from wrapcalc.register.store import remembered, remembered_evidence
from wrapcalc.standards import tables
from wrapcalc.standards.documents import DOCUMENTS
from wrapcalc.units import printable

FORMULA, VALUE, DOCUMENT, SYSTEM, BATCH, UNREADABLE = (
    "formula", "value", "document", "system", "batch", "cannot be read; look by hand")
#: kind, item, its other names, where.
Use = tuple[str, str, tuple[str, ...], tuple[str, ...]]
INSIDE = "a search or simulation may run a formula inside it; its record gives the method in words, not each formula"
#: The edition at the end of a document's name: ":2017", "-2012", " (2007)", " 1989".
_EDITION = re.compile(r"(:| \(|[- ])(19|20)\d\d\)?$")


@dataclass(frozen=True, slots=True)
class Hit:
    """One use. folder: the package, or the close-out in its record; latest: no later revision is known; state: of that
    revision; kind, item: what was used, as it is named there; where: steps, procedures and checks (of a batch: the
    item it belongs to)."""

    folder: str
    case_id: str
    revision: int
    latest: bool
    state: str
    kind: str
    item: str
    where: tuple[str, ...]


def affected(packages: Path, name: str) -> list[Hit]:
    """Every use of what is named: a formula, a key of a table ("49 CFR 192/design_factor_class_2") or its bare name, a
    document with or without its edition, a system by id or name, a batch. Case and spacing do not matter.

    Needs no register; with one, packages that went away are told, too. Empty when the name is known and nothing used
    it. Raises UnknownItem with the nearest name."""
    wanted, hits, seen = _plain(name), [], set()
    for s in _standings(packages):
        for folder, record in _records(packages, s):
            if record is None:
                hits.append(_hit(folder, s, UNREADABLE, "", ()))
                continue
            for kind, item, names, where in _uses(record):
                seen |= {n for n in (item, *names) if n}
                if item and any(_matches(wanted, n, kind) for n in (item, *names)):
                    hits.append(_hit(folder, s, kind, item, where))
    known = seen | set(registry()) | set(DOCUMENTS) | set(tables.shipped())
    known |= {k.partition("/")[2] for k in tables.shipped()}
    if not wanted or not any(_matches(wanted, k, DOCUMENT if k in DOCUMENTS else VALUE) for k in known):
        raise UnknownItem("formula, value, document, system or batch", name, known)
    return hits


def affected_lines(hits: Sequence[Hit]) -> list[str]:
    """The hits for a terminal, and what a record does not tell."""
    out = [] if hits else ["no record here names it"]
    for h in hits:
        where = f" in {', '.join(map(printable, h.where))}" if h.where else ""
        out.append(f"{h.folder}: {'latest' if h.latest else 'superseded'}, {h.state}: "
                   + f"{h.kind} {printable(h.item)}".strip() + where)
    return [*out, INSIDE] if not hits or any(h.kind == FORMULA for h in hits) else out


def _hit(folder: str, s: Standing, kind: str, item: str, where: Sequence[str]) -> Hit:
    return Hit(folder, s.revision.case_id, s.revision.revision, s.latest, s.words, kind, item, tuple(where))


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


def _matches(wanted: str, name: str, kind: str) -> bool:
    """Whole names only; of a document also its name without the edition."""
    plain = _plain(name)
    return plain == wanted or (kind == DOCUMENT and _EDITION.sub("", plain) == wanted)


def _standings(packages: Path) -> list[Standing]:
    """Every revision, also those of which only an approval, a check or a close-out is left."""
    found = scan(packages)
    now = snapshot(found, remembered(packages), remembered_evidence(packages))
    left = {(e.case_id, e.revision) for e in found.evidence}
    left -= {(s.revision.case_id, s.revision.revision) for s in now.standings}
    return [*now.standings, *(Standing(Revision(c, r, MISSING), MISSING, True, "", "") for c, r in sorted(left))]


def _records(packages: Path, s: Standing) -> Iterator[tuple[str, dict[str, Any] | None]]:
    """The record of a package, and what stands beside it; None for one that cannot be read."""
    package = s.revision.package
    try:
        yield package, read_record(packages / package)
    except (PackageError, OSError):
        yield package, None
    for place, (_, file) in PLACES.items():
        for path in sorted((packages / place).glob(f"{package}-*")) if file else ():
            if path.name.removeprefix(f"{package}-").isdigit():
                yield f"{place}/{path.name}", _data(path / file)


def _data(path: Path) -> dict[str, Any] | None:
    try:
        data = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    return data if isinstance(data, dict) else None


def _uses(record: dict[str, Any]) -> Iterator[Use]:
    """Everything that a record rests on."""
    items = listed(record, "items")
    where = _places(items)
    for name in sorted({text(i.get("formula")) for i in items} - {""}):
        yield FORMULA, name, (), _ids(i for i in items if i.get("formula") == name)
    keys = {text(e.get("key")) for e in listed(record, "table_entries")} | {r for k, r in where if k == "table"}
    for key in sorted(keys - {""}):
        yield VALUE, key, (key.partition("/")[2],), where.get(("table", key), ())
    yield from _documents(record, items, keys)
    system = part(record, "system")
    if text(system.get("id")):
        start = text(system["id"]) + "/"
        yield (SYSTEM, text(system["id"]), (text(system.get("name")),),
               _ids(i for i in items if _takes(i, "system", start)))
    for row in listed(record, "batches"):
        yield BATCH, text(row.get("batch")), (), (text(row.get("item")) or "no item named",)
    for field, row in inputs_of(record).items():
        if field.startswith("stock.") and field.endswith(".batch"):
            yield BATCH, row["written"], (), (field,)


def _documents(record: dict[str, Any], items: list[dict[str, Any]], keys: set[str]) -> Iterator[Use]:
    cited = {text(d.get("id")) for d in listed(record, "documents")} - {""}
    cited |= {d for d in DOCUMENTS if any(_cites(i, d) for i in items)} | {k.partition("/")[0] for k in keys if k}
    for name in sorted(cited):
        yield DOCUMENT, name, (), _ids(i for i in items if _cites(i, name) or _takes(i, "table", f"{name}/"))


def _takes(item: dict[str, Any], kind: str, start: str) -> bool:
    return any(k == kind and r.startswith(start) for k, r in _origins(item))


def _cites(item: dict[str, Any], document: str) -> bool:
    parts = [p.strip() for p in text(item.get("citation")).split(";")]
    return any(p == document or p.startswith(document + ",") for p in parts)


def _origins(item: dict[str, Any]) -> list[tuple[str, str]]:
    sources = [item[s] for s in ("provided", "limit") if isinstance(item.get(s), dict)] + listed(item, "inputs")
    origins = [part(s, "origin") for s in sources]
    return [(text(o.get("kind")), text(o.get("ref"))) for o in origins]


def _places(items: list[dict[str, Any]]) -> dict[tuple[str, str], tuple[str, ...]]:
    """Origin -> items that take it directly."""
    out: dict[tuple[str, str], dict[str, None]] = {}
    for item in items:
        for origin in _origins(item):
            out.setdefault(origin, {})[text(item.get("id"))] = None
    return {k: tuple(v) for k, v in out.items()}


def _ids(items: Iterable[dict[str, Any]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(text(i.get("id")) for i in items))
