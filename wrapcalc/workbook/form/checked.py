"""What the readers of a case say of a draft: each fault at its field, and what is needed and not answered."""

from __future__ import annotations

import tomllib
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wrapcalc.case import Bundle, Case, read_bundle
from wrapcalc.case.listed import with_listed_values
from wrapcalc.errors import CaseFaults, Fault, WrapcalcError
from wrapcalc.fields import examine
from wrapcalc.package.starters import LISTED
from wrapcalc.stages.scope import missing_for_assessment, missing_for_design
from wrapcalc.standards import tables as standard_tables
from wrapcalc.systems import load_system
from wrapcalc.workbook.form.questions import needed

#: What stands in for the fields that cannot be missing, so that the rest of a faulty draft can be looked at.
_STAND_IN = {"schema_version": "1", "case": {"id": "faulty"}}
#: Fields that name a file beside the case.
FILES = ("defect.grid", "defect.second_grid", "defect.profile", "defect.pits", "disposition.criteria", "work.forecast",
         "design.system", "documents.overlay")


@dataclass(frozen=True)
class Checked:
    """Faults of the whole draft; the sound part of it as a bundle; fields that are needed and for what.

    at: field -> its faults; for_decision, for_wrap: needed and not answered. reads: whether there is no fault, and
    `bundle` is then the very bundle that a package is made of.
    """

    faults: tuple[Fault, ...]
    at: Mapping[str, tuple[Fault, ...]]
    bundle: Bundle | None
    needs: Mapping[str, str]
    for_decision: tuple[str, ...]
    for_wrap: tuple[str, ...]

    @property
    def reads(self) -> bool:
        """Whether the case has no fault."""
        return not self.faults

    @property
    def missing(self) -> tuple[str, ...]:
        """All that is needed and not answered."""
        return tuple(dict.fromkeys((*self.for_decision, *self.for_wrap)))

    def elsewhere(self, shown: set[str]) -> tuple[Fault, ...]:
        """Faults that stand at none of these fields."""
        return tuple(f for field, faults in self.at.items() if field not in shown for f in faults)


def checked(text: str, folder: Path, name: str) -> Checked:
    """All that is to be said of the text of a case file."""
    raw = text.encode()
    faults: list[Fault] = []
    try:
        bundle: Bundle | None = read_bundle(raw, folder, name)
    except CaseFaults as e:
        faults = e.faults
        bundle = _sound_part(raw, folder, name)
    at = _at_fields(faults, tomllib.loads(text), name)
    if bundle is None:
        return Checked(tuple(faults), at, None, {}, (), ())
    # a field that cannot be read is told as a fault, not also as missing
    decision, wrap = ([f for f in fields if f not in at] for fields in (
        missing_for_assessment(bundle), missing_for_design(bundle)))
    return Checked(tuple(faults), at, bundle, needed(bundle), tuple(decision), tuple(wrap))


def _sound_part(raw: bytes, folder: Path, name: str) -> Bundle | None:
    """The case without its faulty fields, and its system; None when not even that can be made."""
    data, _ = with_listed_values(tomllib.loads(raw.decode()), raw, name)
    case, _ = examine(Case, data, raw, name, _STAND_IN)
    if case is None:
        return None
    system = None
    if case.design.system:
        try:
            system = load_system(case.design.system, folder)[0]
        except (WrapcalcError, OSError, ValueError):
            pass  # told among the faults
    return Bundle(case, standard_tables.load(), system=system)


def _at_fields(faults: list[Fault], data: dict[str, Any], name: str) -> dict[str, tuple[Fault, ...]]:
    """Each fault at its field; one of a file beside the case at the field that names the file."""
    out: dict[str, list[Fault]] = defaultdict(list)
    for f in faults:
        out[_row_of(f.field, data) if f.file == name else _namer(f.file, data)].append(f)
    return {field: tuple(found) for field, found in out.items()}


def _namer(file: str, data: dict[str, Any]) -> str:
    for field in FILES:
        section, _, key = field.partition(".")
        table = data.get(section)
        given = table.get(key) if isinstance(table, dict) else None
        given = given.get("value") if isinstance(given, dict) else given
        if given == file or f"{given}.toml" == file:
            return field
    return file


def _row_of(field: str, data: dict[str, Any]) -> str:
    """Rows are counted without the blank ones where they are read, and with them in the file."""
    table, _, rest = field.partition(".")
    index, _, key = rest.partition(".")
    rows = data.get(table)
    if table not in LISTED or not index.isdigit() or not isinstance(rows, list):
        return field
    stated = [i for i, r in enumerate(rows) if not (isinstance(r, dict) and all(v == "" for v in r.values()))]
    place = stated[int(index)] if int(index) < len(stated) else int(index)
    return ".".join([table, str(place), *([key] if key else [])])
