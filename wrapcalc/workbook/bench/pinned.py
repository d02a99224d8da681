"""Variants that are kept: a small TOML file in the folder `what_if` beside the case. It holds what was changed, never a
number that was worked out: a page that is opened again works every variant again."""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit

from wrapcalc import units
from wrapcalc.errors import CaseFaults, Fault, PackageError
from wrapcalc.reading import read_toml
from wrapcalc.workbook.bench.inputs import Input, Raw, Slider

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


def read(case: Path, inputs: Mapping[str, Input]) -> Pins:
    """What is pinned; none when there is no file. Raises CaseFaults for a file that is not one of ours.

    inputs: what may be changed on the bench of this case, by its field; each value must be one that it takes.
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
        pin = _pin(row, f"variant.{i}", inputs, fault)
        if pin is not None and any(p.name == pin.name for p in out):
            fault(f"variant.{i}.name", pin.name, "each name once")
        elif pin is not None:
            out.append(pin)
    if faults:
        raise CaseFaults(faults)
    return Pins(tuple(sorted(out, key=lambda p: p.name)), str(data.get("case_sha256", "")))


def _pin(row: Any, where: str, inputs: Mapping[str, Input], fault: Any) -> Pin | None:
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
        if field not in inputs:
            fault(f"{where}.changes", field, f"one of {', '.join(sorted(inputs))}")
            sound = False
        elif isinstance(value, bool) or not isinstance(value, (str, int)):
            fault(f"{where}.changes.{field}", value, "a text in quotation marks, or a whole number")
            sound = False
        elif allowed := _not_taken(inputs[field], value):
            fault(f"{where}.changes.{field}", value, allowed)
            sound = False
    return Pin(name, {k: v if v != "" else None for k, v in changes.items()}, note) if sound else None


def _not_taken(one: Input, value: str | int) -> str:
    """What an input takes, for a value that it does not take; "" for one that it takes."""
    if isinstance(one, Slider):
        if not isinstance(value, str):
            return "a number with its unit, in quotation marks"
        try:
            one.place(value)
        except units.QuantityFault as e:
            return e.allowed
        return ""
    known = [v for _, v in one.options]
    if (None if value == "" else value) in known:
        return ""
    return "one of " + ", ".join(units.shown("" if v is None else v) for v in known)


def free_name(pins: tuple[Pin, ...]) -> str | None:
    """The next name; None when four are pinned."""
    return next((n for n in NAMES if n not in {p.name for p in pins}), None)


def write(case: Path, pins: Pins) -> Path:
    """Keep them: written aside and renamed, so that the file is whole at any time. Raises PackageError."""
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
    aside = path.with_name(f".{path.name}-{secrets.token_hex(4)}.part")
    try:
        path.parent.mkdir(exist_ok=True)
        aside.write_text(tomlkit.dumps(doc), encoding="utf-8", newline="\n")
        os.replace(aside, path)
    except OSError as e:
        raise PackageError(f"{FOLDER}/{path.name}: cannot be written ({e.strerror or e}); what was pinned before stays "
                           "as it was; ask for leave to write in the folder of the case, or make room there") from None
    finally:
        with contextlib.suppress(OSError):  # not there any more when it was put in place
            aside.unlink()
    return path
