"""From files to a bundle: the case, its grid, its system sheet and its tables, all checked before anything runs."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, field
from pathlib import Path

from wrapcalc import units
from wrapcalc.case import grid as grids
from wrapcalc.case.consistency import inconsistencies
from wrapcalc.case.fit import fitted
from wrapcalc.case.grid import Grid
from wrapcalc.case.model import Case
from wrapcalc.errors import CaseFaults, Fault, UnknownItem
from wrapcalc.fields import RESERVED_NAME, examine, line_numbers, read_bytes, read_toml, shown_name
from wrapcalc.standards import tables as standard_tables
from wrapcalc.standards.tables import Tables
from wrapcalc.systems import System, load_system

#: What stands in for the fields that cannot be missing, while the rest of a faulty file is checked.
_STAND_IN = {"schema_version": "1", "case": {"id": "faulty"}}
#: File names that a package uses itself, in small letters.
_TAKEN = frozenset(("case.toml", "record.json", "manifest.json", "run.json", "takeoff.csv", "package.html",
                    "package.pdf", "readme.txt", "repair_package.ipynb"))


@dataclass(frozen=True)
class Bundle:
    """Everything that makes one package. files: name in the package -> bytes, exactly as read."""

    case: Case
    tables: Tables
    grid: Grid | None = None
    system: System | None = None
    files: dict[str, bytes] = field(default_factory=dict)

    def digest(self) -> str:
        """SHA-256 over names and bytes of the files that were read."""
        h = hashlib.sha256()
        for name in sorted(self.files):
            h.update(name.encode() + b"\0" + hashlib.sha256(self.files[name]).digest())
        return h.hexdigest()


def load_bundle(path: Path) -> Bundle:
    """Read and check a case file and all that it names. Raises CaseFaults with every fault of every file."""
    name = shown_name(path)
    data, raw = read_toml(path)
    case, faults = examine(Case, data, raw, name, _STAND_IN)
    if case is None:
        raise CaseFaults(faults)
    faults += inconsistencies(case, raw, name)
    found = _Beside(path.parent, name, line_numbers(raw), {"case.toml": raw}, faults)
    grid, system = found.grid(case), found.system(case)
    loaded = found.tables(case)
    if faults:
        raise CaseFaults(sorted(faults, key=lambda f: (f.file != name, f.file, f.line or 0)))
    return Bundle(case, loaded, grid, system, found.files)


@dataclass
class _Beside:
    """Reads the files that a case names; they stand beside it. Collects their bytes and their faults."""

    here: Path
    case_name: str
    lines: dict[str, int]
    files: dict[str, bytes]
    faults: list[Fault]

    def _fault(self, field_name: str, found: str, allowed: str, mend: str) -> None:
        self.faults.append(Fault(self.case_name, field_name, found, allowed, mend, self.lines.get(field_name)))

    def _file(self, field_name: str, name: str) -> Path | None:
        """A bare file name only, so that the copy in the package can be read the same way on any computer."""
        shown = units.shown(name)
        if re.search(r"[/\\]", name) or name.startswith("."):
            self._fault(field_name, shown, "a file name without folders", "put the file beside the case file")
        elif re.search(r'[<>:"|?*]', name) or name.endswith(".") or RESERVED_NAME.fullmatch(name) or len(name) > 120:
            self._fault(field_name, shown, "a file name of at most 120 characters that every computer can hold, "
                        "without < > : \" | ? *", "rename the file")
        elif name.casefold() in _TAKEN:
            self._fault(field_name, shown, "another name: the package uses this one", "rename the file")
        else:
            return self.here / name
        return None

    def _keep(self, field_name: str, name: str, raw: bytes) -> None:
        if name.casefold() in (n.casefold() for n in self.files):
            self._fault(field_name, units.shown(name), "a name that no other file of this case has", "rename the file")
        self.files[name] = raw

    def grid(self, case: Case) -> Grid | None:
        if not case.defect.grid or (file := self._file("defect.grid", case.defect.grid)) is None:
            return None
        try:
            raw = read_bytes(file, shown_name(file), most=grids.MAX_BYTES)
            self._keep("defect.grid", file.name, raw)
            return fitted(case, grids.read_grid(raw, shown_name(file)), self.case_name, self.lines)
        except CaseFaults as e:
            self.faults += e.faults
        return None

    def system(self, case: Case) -> System | None:
        wanted = case.design.system
        if not wanted or self._file("design.system", wanted) is None:
            return None
        try:
            system, raw, name = load_system(wanted, self.here, packaged=(self.here / "record.json").is_file())
            self._keep("design.system", name, raw)
            return system
        except CaseFaults as e:
            self.faults += e.faults
        except UnknownItem as e:
            self._fault("design.system", units.shown(e.name), "a shipped system or a file such as my_system.toml",
                        str(e))
        return None

    def tables(self, case: Case) -> Tables:
        overlay = case.documents.overlay
        if overlay and (file := self._file("documents.overlay", overlay)) is not None:
            try:
                loaded = standard_tables.load(file)
                self._keep("documents.overlay", file.name, read_bytes(file, shown_name(file)))
                return loaded
            except CaseFaults as e:
                self.faults += e.faults
        return standard_tables.load()
