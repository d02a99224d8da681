"""From files to a bundle: the case, its grid, its system sheet and its tables, all checked before anything runs."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path

from wrapcalc.case.consistency import inconsistencies
from wrapcalc.case.grid import Grid, read_grid
from wrapcalc.case.model import Case
from wrapcalc.errors import CaseFaults, Fault, UnknownItem
from wrapcalc.fields import line_numbers, read_bytes, read_toml, validate
from wrapcalc.standards import tables as standard_tables
from wrapcalc.standards.tables import Tables
from wrapcalc.systems import System, load_system


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
    data, raw = read_toml(path)
    case: Case = validate(Case, data, raw, path.name)
    faults: list[Fault] = list(inconsistencies(case, raw, path.name))
    files = {"case.toml": raw}
    lines = line_numbers(raw)
    here = path.parent
    packaged = (here / "record.json").is_file()

    def beside(field_name: str, name: str) -> Path | None:
        """A file beside the case; a bare name only, so that the copy in the package can be read the same way."""
        if Path(name).name != name or "\\" in name or name.startswith("."):
            faults.append(Fault(path.name, field_name, f"'{name}'", "a file name without folders",
                                "put the file beside the case file", lines.get(field_name)))
            return None
        if name in ("case.toml", "record.json", "manifest.json"):
            faults.append(Fault(path.name, field_name, f"'{name}'", "another name: the package uses this one",
                                "rename the file", lines.get(field_name)))
            return None
        return here / name

    grid, system, loaded = None, None, standard_tables.load()
    if case.defect.grid and (file := beside("defect.grid", case.defect.grid)):
        try:
            files[file.name] = read_bytes(file, file.name)
            grid = _fitted(case, read_grid(files[file.name], file.name), path.name, lines)
        except CaseFaults as e:
            faults += e.faults
    if case.design.system and (not case.design.system.endswith(".toml")
                               or beside("design.system", case.design.system)):
        try:
            system, sheet, name = load_system(case.design.system, here, packaged=packaged)
            files[name] = sheet
        except CaseFaults as e:
            faults += e.faults
        except UnknownItem as e:
            faults.append(Fault(path.name, "design.system", f"'{e.name}'",
                                "a shipped system or a file such as my_system.toml", str(e),
                                lines.get("design.system")))
    if case.documents.overlay and (file := beside("documents.overlay", case.documents.overlay)):
        try:
            loaded = standard_tables.load(file)
            files[file.name] = read_bytes(file, file.name)
        except CaseFaults as e:
            faults += e.faults
    if faults:
        raise CaseFaults(faults)
    return Bundle(case, loaded, grid, system, files)


def _fitted(case: Case, grid: Grid, name: str, lines: dict[str, int]) -> Grid:
    """The grid made to agree with the stated sizes, or faults that say why it cannot."""
    d = case.defect
    faults: list[Fault] = []

    def fault(field_name: str, found: str, allowed: str, mend: str) -> None:
        faults.append(Fault(name, field_name, found, allowed, mend, lines.get(field_name)))

    if not grid.ends_on_sound_wall():
        if d.grid_extension is None:
            fault("defect.grid", f"{d.grid}, whose outermost readings are not all 0",
                  "a grid that ends on sound wall",
                  "measure on to sound wall, or declare grid_extension, the distance from the outermost readings to it")
        else:
            grid = grid.extended(d.grid_extension.base)
            grid = Grid(grid.axial, grid.around, grid.depth, grid.unit, (
                *grid.notes, f"A rim of sound wall was added {d.grid_extension.written} outside the outermost "
                "readings, as declared in defect.grid_extension."))
    elif d.grid_extension is not None:
        fault("defect.grid_extension", f"'{d.grid_extension.written}'", "nothing: this grid ends on sound wall",
              "remove it")
    axial, around = grid.extent()
    for field_name, given, extent in (("defect.length", d.length, axial), ("defect.width", d.width, around)):
        if given is not None and given.base < extent:
            fault(field_name, f"'{given.written}'", f"at least {extent:g} mm, over which the grid shows loss",
                  "correct the stated size or the grid")
    if d.depth is not None:
        grid = _deepest(case, grid, fault)
    if faults:
        raise CaseFaults(faults)
    return grid


def _deepest(case: Case, grid: Grid, fault) -> Grid:
    d = case.defect
    top = grid.deepest[0]
    if top > d.depth.base * (1 + 1e-9):
        fault("defect.depth", f"'{d.depth.written}'", f"at least {top:g} mm, the deepest reading of the grid",
              "state the greatest depth measured by any means")
        return grid
    row, column = grid.deepest_at
    where = "the deepest node"
    if (d.deepest_axial is None) != (d.deepest_around is None):
        fault("defect.deepest_axial" if d.deepest_axial is not None else "defect.deepest_around",
              "one of two coordinates", "both deepest_axial and deepest_around, or neither", "add the other one")
        return grid
    if d.deepest_axial is not None:
        x, y = d.deepest_axial.base, d.deepest_around.base
        if not (grid.axial[0] <= x <= grid.axial[-1] and grid.around[0] <= y <= grid.around[-1]):
            fault("defect.deepest_axial", f"{d.deepest_axial.written}, {d.deepest_around.written}",
                  f"a place inside the grid, {grid.axial[0]:g} to {grid.axial[-1]:g} mm and {grid.around[0]:g} to "
                  f"{grid.around[-1]:g} mm", "correct the position")
            return grid
        column = min(range(len(grid.axial)), key=lambda i: abs(grid.axial[i] - x))
        row = min(range(len(grid.around)), key=lambda i: abs(grid.around[i] - y))
        where = "the node nearest to the stated position"
    if grid.depth[row][column] < d.depth.base:
        note = (f"The stated depth {d.depth.written} is above the deepest reading of the grid ({top:g} mm); {where}, "
                f"axial {grid.axial[column]:g} mm, around {grid.around[row]:g} mm, was raised to it.")
        grid = grid.raised(row, column, d.depth.base, note)
    return grid
