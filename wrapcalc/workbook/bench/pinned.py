"""Variants that are kept: a small TOML file in the folder `what_if` beside the case. It holds what was changed, never a
number that was worked out: a page that is opened again works every variant again."""

from __future__ import annotations

import os
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit

from wrapcalc import units
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.reading import read_toml
from wrapcalc.workbook.bench.inputs import Raw

FOLDER = "what_if"
MOST = 4
NAMES = "ABCD"
_SCHEMA = "1"


@dataclass(frozen=True)
class Pin:
    """A variant that was pinned. name: A to D; note: what it is for."""

    name: str
    changes: Mapping[str, Raw]
    note: str = ""


@dataclass(frozen=True)
class Pins:
    """All that is pinned, and the SHA-256 of the case with all its files when it was."""

    pins: tuple[Pin, ...]
    digest: str

    def named(self, name: str) -> Pin | None:
        """The pin of this name."""
        return next((p for p in self.pins if p.name == name), None)


def file_of(case: Path) -> Path:
    """Where the variants of a case are kept; in a folder of its own, where nobody takes it for a case."""
    return case.parent / FOLDER / f"{case.stem}.toml"


def read(case: Path, fields: frozenset[str]) -> Pins:
    """What is pinned; none when there is no file. Raises CaseFaults for a file that is not one of ours.

    fields: what may be changed on the bench of this case.
    """
    path = file_of(case)
    if not path.exists():
        return Pins((), "")
    data, _ = read_toml(path, shown_as=f"{FOLDER}/{path.name}")
    faults: list[Fault] = []

    def fault(field: str, found: object, allowed: str) -> None:
        faults.append(Fault(f"{FOLDER}/{path.name}", field, units.shown(found), allowed,
                            "correct it, or remove the file: then nothing is pinned"))

    if data.get("schema_version") != _SCHEMA:
        fault("schema_version", data.get("schema_version"), f'"{_SCHEMA}"; a newer wrapcalc may have written this file')
        raise CaseFaults(faults)
    rows = data.get("variant", [])
    if not isinstance(rows, list) or len(rows) > MOST:
        fault("variant", rows, f"at most {MOST} tables [[variant]]")
        raise CaseFaults(faults)
    out = []
    for i, row in enumerate(rows):
        pin = _pin(row, f"variant.{i}", fields, fault)
        if pin is not None and any(p.name == pin.name for p in out):
            fault(f"variant.{i}.name", pin.name, "each name once")
        elif pin is not None:
            out.append(pin)
    if faults:
        raise CaseFaults(faults)
    return Pins(tuple(sorted(out, key=lambda p: p.name)), str(data.get("case_sha256", "")))


def _pin(row: Any, where: str, fields: frozenset[str], fault: Any) -> Pin | None:
    name = row.get("name") if isinstance(row, dict) else None
    if not isinstance(name, str) or len(name) != 1 or name not in NAMES:
        fault(f"{where}.name", name, ", ".join(NAMES))
        return None
    changes, note = row.get("changes"), row.get("note", "")
    if not isinstance(changes, dict) or not changes:
        fault(f"{where}.changes", changes, "a table of fields and what stands in them")
        return None
    if not isinstance(note, str):
        fault(f"{where}.note", note, "a text")
        return None
    sound = True
    for field, value in changes.items():
        if field not in fields:
            fault(f"{where}.changes", field, f"one of {', '.join(sorted(fields))}")
            sound = False
        elif isinstance(value, bool) or not isinstance(value, (str, int)):
            fault(f"{where}.changes.{field}", value, "a text in quotation marks, or a whole number")
            sound = False
    return Pin(name, {k: v if v != "" else None for k, v in changes.items()}, note) if sound else None


def free_name(pins: tuple[Pin, ...]) -> str | None:
    """The next name; None when four are pinned."""
    return next((n for n in NAMES if n not in {p.name for p in pins}), None)


def write(case: Path, pins: Pins) -> Path:
    """Keep them: written aside and renamed, so that the file is whole at any time. Raises OSError."""
    doc = tomlkit.document()
    doc.add(tomlkit.comment(f"Variants of {case.name}, pinned on the what-if bench. Exploratory: not a package."))
    doc.add(tomlkit.comment("Only what was changed is kept; the bench works each variant again when it is opened."))
    doc["schema_version"] = _SCHEMA
    doc["case_sha256"] = pins.digest
    rows = tomlkit.aot()
    for pin in pins.pins:
        row = tomlkit.table()
        row["name"], row["note"] = pin.name, pin.note
        changes = tomlkit.table()
        for field, value in pin.changes.items():
            changes[field] = "" if value is None else value
        row["changes"] = changes
        rows.append(row)
    if pins.pins:
        doc["variant"] = rows
    path = file_of(case)
    path.parent.mkdir(exist_ok=True)
    aside = path.with_name(f".{path.name}-{secrets.token_hex(4)}.part")
    try:
        aside.write_text(tomlkit.dumps(doc), encoding="utf-8", newline="\n")
        os.replace(aside, path)
    finally:
        aside.unlink(missing_ok=True)
    return path
