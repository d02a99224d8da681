"""From files to a bundle: the case, its grid, its system sheet and its tables, all checked before anything runs."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from wrapcalc import units
from wrapcalc.case import grid as grids
from wrapcalc.case import pits as pit_tables
from wrapcalc.case import profile as profiles
from wrapcalc.case.consistency import inconsistencies
from wrapcalc.case.design_consistency import design_faults, system_faults
from wrapcalc.case.fit import fitted
from wrapcalc.case.forecast import Forecast, read_forecast
from wrapcalc.case.grid import Grid
from wrapcalc.case.listed import with_listed_values
from wrapcalc.case.model import Case
from wrapcalc.case.pits import PitTable
from wrapcalc.case.profile import Profile
from wrapcalc.case.site_consistency import site_faults
from wrapcalc.errors import CaseFaults, Fault, UnknownItem
from wrapcalc.fields import RESERVED_NAME, examine
from wrapcalc.reading import line_numbers, parse_toml, read_bytes, read_toml, shown_name
from wrapcalc.standards import criteria as repair_criteria
from wrapcalc.standards import tables as standard_tables
from wrapcalc.standards.criteria import Criteria
from wrapcalc.standards.tables import Tables
from wrapcalc.systems import System, load_system

#: What stands in for the fields that cannot be missing, while the rest of a faulty file is checked.
_STAND_IN = {"schema_version": "1", "case": {"id": "faulty"}}
#: File names that a package uses itself, in small letters.
_TAKEN = frozenset(("case.toml", "record.json", "manifest.json", "run.json", "takeoff.csv", "package.html",
                    "package.pdf", "readme.txt", "repair_package.ipynb", "dig-sheet.html", "dig-sheet.pdf",
                    "site-sheet.html", "site-sheet.pdf", "readings-template.csv", "as-found-form.toml", "as_found.toml",
                    "as_found.json", "as_found.html", "as_found.pdf", "next_case.toml", "kit-list.html",
                    "kit-list.pdf"))


@dataclass(frozen=True)
class Bundle:
    """Everything that makes one package. files: name in the package -> bytes, exactly as read."""

    case: Case
    tables: Tables
    grid: Grid | None = None
    system: System | None = None
    profile: Profile | None = None
    pits: PitTable | None = None
    criteria: Criteria | None = None
    forecast: Forecast | None = None
    files: dict[str, bytes] = field(default_factory=dict)

    def digest(self) -> str:
        """SHA-256 over names and bytes of the files that were read."""
        h = hashlib.sha256()
        for name in sorted(self.files):
            h.update(name.encode() + b"\0" + hashlib.sha256(self.files[name]).digest())
        return h.hexdigest()


def load_bundle(path: Path) -> Bundle:
    """Read and check a case file and all that it names. Raises CaseFaults with every fault of every file."""
    return read_bundle(read_toml(path)[1], path.parent, shown_name(path))


def read_bundle(raw: bytes, folder: Path, name: str) -> Bundle:
    """The same of the bytes of a case file; the files that it names stand in `folder`."""
    data = parse_toml(raw, name)
    data, faults = with_listed_values(data, raw, name)
    case, more = examine(Case, data, raw, name, _STAND_IN)
    faults += more
    if case is None:
        raise CaseFaults(faults)
    told = {f.field for f in faults}  # a field that cannot be read is not missed, too
    lines = line_numbers(raw)
    faults += [f for f in (*inconsistencies(case, raw, name), *design_faults(case, name, lines),
                           *site_faults(case, name, lines)) if f.field not in told]
    found = _Beside(folder, name, lines, {"case.toml": raw}, faults)
    grid, profile, pits = found.grid(case), found.profile(case), found.pits(case)
    system, loaded, criteria = found.system(case), found.tables(case), found.criteria(case)
    forecast = found.forecast(case)
    if system is not None:
        faults += system_faults(case, system, name, lines)
    if faults:
        raise CaseFaults(sorted(faults, key=lambda f: (f.file != name, f.file, f.line or 0)))
    return Bundle(case, loaded, grid, system, profile, pits, criteria, forecast, found.files)


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

    def _measured(self, field_name: str, wanted: Any, read: Callable[[bytes, str], Any]) -> Any:
        """What `read` makes of a file of measurements; None, and its faults kept, when it cannot."""
        if not wanted or (file := self._file(field_name, wanted)) is None:
            return None
        try:
            raw = read_bytes(file, shown_name(file), most=grids.MAX_BYTES)
        except CaseFaults as e:  # not what stands in it but that it cannot be read: told at the field that names it
            for f in e.faults:
                self._fault(field_name, f"{units.shown(wanted)}: {f.found}", f.allowed, f.mend)
            return None
        try:
            self._keep(field_name, file.name, raw)
            return read(raw, shown_name(file))
        except CaseFaults as e:
            self.faults += e.faults
        return None

    def grid(self, case: Case) -> Grid | None:
        second = self._measured("defect.second_grid", case.defect.second_grid, grids.read_grid)

        def read(raw: bytes, name: str) -> Grid:
            grid = grids.read_grid(raw, name)
            return fitted(case, grid if second is None else grids.merged(grid, second, name), self.case_name,
                          self.lines)

        return self._measured("defect.grid", case.defect.grid, read)

    def profile(self, case: Case) -> Profile | None:
        return self._measured("defect.profile", case.defect.profile, lambda raw, name: profiles.fitted_profile(
            case, profiles.read_profile(raw, name), self.case_name, self.lines))

    def pits(self, case: Case) -> PitTable | None:
        return self._measured("defect.pits", case.defect.pits, lambda raw, name: pit_tables.fitted_pits(
            case, pit_tables.read_pits(raw, name), self.case_name, self.lines))

    def criteria(self, case: Case) -> Criteria | None:
        return self._measured("disposition.criteria", case.disposition.criteria, repair_criteria.load_file)

    def forecast(self, case: Case) -> Forecast | None:
        return self._measured("work.forecast", case.work.forecast, read_forecast)

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
