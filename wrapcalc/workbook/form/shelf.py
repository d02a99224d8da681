"""What a case may choose from, with its data and its status: wrap systems, and editions of the wrap standards."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from pathlib import Path

from wrapcalc.case.design_model import ASME_EDITIONS, ISO_EDITIONS
from wrapcalc.errors import CaseFaults
from wrapcalc.fields import Sheet, lookup, walk
from wrapcalc.reading import MAX_BYTES
from wrapcalc.standards.documents import document
from wrapcalc.standards.tables import NOT_KNOWN, Entry
from wrapcalc.systems import System, load_system
from wrapcalc.systems.sheets import shipped_systems
from wrapcalc.workbook import calm
from wrapcalc.workbook.form.measured import files_beside

SHIPPED, BESIDE = "shipped, invented example", "sheet beside the case"
_STATUS_ORDER = ("verified", "seen", "from memory", "derived", "common practice", NOT_KNOWN)


@dataclass(frozen=True)
class Choice:
    """Something to choose. value: as the case names it; status: what it rests on, in a few words."""

    value: str
    words: str
    status: str

    @property
    def label(self) -> str:
        """As it stands in a list."""
        return f"{self.value} · {self.words} · {self.status}" if self.words else f"{self.value} · {self.status}"


def systems(folder: Path) -> list[Choice]:
    """The shipped systems, and every TOML file beside the case that means to be a sheet."""
    out = []
    for name, file in shipped_systems().items():
        out.append(Choice(name, _name(file.read_bytes()), SHIPPED))
    for name in files_beside(folder, ".toml"):
        try:
            path = folder / name
            raw = path.read_bytes() if path.stat().st_size <= MAX_BYTES else b""
            said = tomllib.loads(raw.decode("utf-8-sig"))
        except (OSError, ValueError, RecursionError):
            continue
        if not isinstance(said.get("system"), dict) or "case" in said:
            continue
        try:
            sheet, _, _ = load_system(name, folder)
            out.append(Choice(name, sheet.system.name, f"{BESIDE}, complete"))
        except CaseFaults as e:
            count = len(e.faults)
            out.append(Choice(name, _name(raw), f"{BESIDE}, refused: {count} fault{'s' if count > 1 else ''}"))
    return out


def _name(raw: bytes) -> str:
    said = tomllib.loads(raw.decode("utf-8-sig"))["system"].get("name", "")
    return said if isinstance(said, str) else ""


def system_sheet(name: str, folder: Path) -> str:
    """The data of a system as HTML: what it is, its evidence, every value with its source; its faults when refused."""
    if not name or "/" in name or "\\" in name:
        return ""
    known = shipped_systems()
    if name not in known and not (folder / name).is_file():
        return ""
    try:
        sheet, _, file = load_system(name, folder)
    except CaseFaults as e:
        return calm.message("Warning", f"{name} is refused as it stands; no wrap can be designed with it.") + "".join(
            calm.fault(f) for f in e.faults[:20])
    head = [("System", sheet.system.name), ("Kind", sheet.system.system_type), ("Data sheet", sheet.system.sheet),
            ("File", f"{file}, {SHIPPED if name in known else BESIDE}")]
    head += [("Evidence", f"{e.covers}: {e.reference}") for e in sheet.evidence]
    rows = [(info.description, _said(sheet, field), getattr(lookup(sheet, field), "source", "") or "")
            for field, info in walk(System) if not _of_a_row(sheet, field) and lookup(sheet, field) not in (None, ())]
    rows = [r for r in rows if r[1]]
    warning = calm.message("Note", "this system is invented; no product has these values.") if name in known else ""
    return (warning + calm.table(("", ""), head)
            + f"<details><summary>All {len(rows)} values of the sheet</summary>"
            + calm.scrolling(calm.table(("Value", "Stated", "Source"), rows), f"Values of {escape(name)}")
            + "</details>")


def _of_a_row(sheet: Sheet, field: str) -> bool:
    """Whether a field stands in a list of tables."""
    first = field.partition(".")[0]
    return isinstance(getattr(sheet, first), tuple) or first in ("schema_version", "system")


def _said(sheet: Sheet, field: str) -> str:
    value = lookup(sheet, field)
    if isinstance(value, tuple):
        return ", ".join(str(getattr(v, "written", v)) for v in value)
    return str(getattr(value, "written", value))


# -- editions ---------------------------------------------------------------------------------------------------------
def editions(entries: Mapping[str, Entry]) -> list[Choice]:
    """The editions that may be named, with how much of each is known."""
    return [Choice(name, "", _known(_of(name, entries))) for name in (*ISO_EDITIONS, *ASME_EDITIONS)]


def edition_sheet(name: str, entries: Mapping[str, Entry]) -> str:
    """The data of an edition as HTML: title, what our knowledge rests on, every value with clause and status."""
    if name not in (*ISO_EDITIONS, *ASME_EDITIONS):
        return ""
    about, values = document(name), _of(name, entries)
    waiting = sum(e.waits for e in values)
    warning = calm.message("Warning", f"{waiting} value{'s' if waiting > 1 else ''} of this edition "
                           f"{'are' if waiting > 1 else 'is'} not known: a design that needs one stops there.",
                           f'Compare a licensed copy: wrapcalc worksheet "{name}".') if waiting else ""
    rows = [(e.title, "" if e.waits else e.written, e.clause, str(e.mark) if e.mark else "", e.status) for e in values]
    head = [("Edition", f"{name}: {about.title}"), ("Our knowledge of it", about.note), ("Values", _known(values))]
    return (warning + calm.table(("", ""), head)
            + f"<details><summary>All {len(rows)} values of the edition</summary>"
            + calm.scrolling(calm.table(("Value", "As used", "Clause", "Verified by", "Status"), rows),
                             f"Values of {escape(name)}") + "</details>")


def _of(name: str, entries: Mapping[str, Entry]) -> list[Entry]:
    return [e for e in entries.values() if e.document == name]


def _known(values: list[Entry]) -> str:
    counts = Counter(e.status for e in values)
    said = [f"{counts[s]} {s}" for s in (*_STATUS_ORDER, *sorted(set(counts) - set(_STATUS_ORDER))) if counts[s]]
    return ", ".join(said) or "no values of its own"
