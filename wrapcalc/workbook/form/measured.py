"""Files of measurements beside a case: a grid written there, those that are there, and the grid of a draft drawn."""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import escape
from pathlib import Path

from wrapcalc import units
from wrapcalc.case import Bundle
from wrapcalc.case.fit import fitted, reference_wall
from wrapcalc.case.grid import MAX_BYTES, Grid, as_depth, merged, read_grid
from wrapcalc.errors import CaseFaults, PackageError
from wrapcalc.fields import RESERVED_NAME
from wrapcalc.reading import read_bytes, shown_name
from wrapcalc.workbook import calm
from wrapcalc.workbook.form import disk
from wrapcalc.workbook.form.draft import Draft

#: A drawing has no more stations than it can show.
_DRAWN = 120
#: A table of readings on the page has no more.
_TABLE_ROWS, _TABLE_COLUMNS = 60, 40


@dataclass(frozen=True)
class Picture:
    """The grid of a draft as it is drawn: HTML, and the same in words."""

    html: str
    text: str


def write_grid(folder: Path, stem: str, raw: bytes) -> str:
    """Write a grid beside the case under a name that is free; its name. A file with the same bytes is used again.

    Raises PackageError when it cannot be written.
    """
    stem = stem if re.fullmatch(r"[A-Za-z0-9][\w. -]{0,99}", stem) and not RESERVED_NAME.fullmatch(stem) else "case"
    for number in range(1, 1000):
        name = f"{stem}-grid.csv" if number == 1 else f"{stem}-grid-{number}.csv"
        path = folder / name
        if path.is_file() and path.stat().st_size == len(raw) and path.read_bytes() == raw:
            return name
        if not path.exists():
            disk.write(path, raw, new=True, most=MAX_BYTES)
            return name
    raise PackageError(f"{stem}-grid.csv and 998 more of that name stand beside the case; nothing was written; move "
                       "the old ones away")


def files_beside(folder: Path, ending: str) -> list[str]:
    """Names of the files of an ending beside a case, sorted; hidden ones are left out."""
    try:
        return sorted(p.name for p in folder.iterdir() if p.suffix.lower() == ending and not p.name.startswith("."))
    except OSError:
        return []


def picture(draft: Draft) -> Picture | None:
    """The grid that the draft names, drawn; None when it names none."""
    name = draft.answer("defect.grid").text
    if not name:
        return None
    bundle = draft.checked.bundle
    wall = reference_wall(bundle.case) if bundle is not None else None
    raised = ""
    if bundle is not None and bundle.grid is not None:
        grid, notes = bundle.grid, list(bundle.grid.notes)
        read, raised = _as_read(bundle)
        name += f" and {bundle.case.defect.second_grid}" if bundle.case.defect.second_grid else ""
    else:  # the case has faults: the grid as it was read, if it can be
        path = draft.path.parent / Path(name).name
        try:
            grid = read = read_grid(read_bytes(path, shown_name(path), most=MAX_BYTES), shown_name(path))
        except CaseFaults as e:
            return Picture(calm.messages(e), str(e))
        notes = ["As it stands in the file: the case has faults, and what it says of the grid is not applied yet."]
        if grid.remaining and wall is not None:
            grid = as_depth(grid, *wall)
    display = bundle.case.display if bundle is not None else "SI"
    said = _in_words(name, read, display, raised)
    if wall is None or grid.remaining or grid.deepest[0] <= 0:
        notes.append("It is drawn as soon as the wall is stated (nominal or sound wall of the pipe).")
        html = _table(grid, display)
    else:
        html = _drawn(grid, wall[0], display, draft.answer("case.id").text, as_used=bool(raised))
    below = "".join(f'<p class="wb-quiet">{escape(n)}</p>' for n in notes)
    return Picture(f"<p>{escape(said)}</p>{html}{below}", "\n".join([said, *notes]))


def _as_read(bundle: Bundle) -> tuple[Grid, str]:
    """The grid as the file holds it, and where the case raises it to the stated depth, in words; "" where nowhere.

    A depth that the case states is no reading of the file, and is never told as one.
    """
    case, used, stated = bundle.case, bundle.grid, bundle.case.defect.depth
    assert used is not None
    names = [n for n in (case.defect.grid, case.defect.second_grid) if n]
    grids = [read_grid(bundle.files[n], n) for n in names]
    read = grids[0] if len(grids) == 1 else merged(grids[0], grids[1], names[0])
    if stated is None:
        return read, ""
    before = fitted(case.model_copy(update={"defect": case.defect.model_copy(update={
        "depth": None, "deepest_axial": None, "deepest_around": None})}), read, names[0], {})
    if not (used.depth > before.depth).any():
        return read, ""
    to = f"raised to the stated {stated.written}"
    _, row, column = used.deepest
    if (row, column) == before.deepest_at:
        return read, f"the depth there is {to}" if read.remaining else to
    return read, f"the depth {_place(used, row, column, case.display)} is {to}"


def _in_words(name: str, grid: Grid, display: str, raised: str) -> str:
    depth, row, column = grid.deepest
    what = "least" if grid.remaining else "deepest"
    value = float(grid.depth.min()) if grid.remaining else depth
    where = "" if grid.remaining else f" {_place(grid, row, column, display)}"
    return (f"{name}: {len(grid.around)} stations around × {len(grid.axial)} along; {what} reading "
            f"{_shown(value, display)}{where}{'; ' if raised else ''}{raised}.")


def _place(grid: Grid, row: int, column: int, display: str) -> str:
    return (f"at axial {_shown(float(grid.axial[column]), display)}, around "
            f"{_shown(float(grid.around[row]), display)}")


def _shown(mm: float, display: str) -> str:
    return units.show(mm, "mm", system=display)


def _drawn(grid: Grid, wall: float, display: str, case_id: str, *, as_used: bool) -> str:
    from wrapcalc.render import figures
    from wrapcalc.render.display import Shown as InUnits
    size = InUnits({"case": {"display": display}})
    if max(grid.depth.shape) > _DRAWN:
        grid = grid.thinned(_DRAWN, _DRAWN)
    row, column = grid.deepest_at
    return figures.depth_map(
        axial=size.all(grid.axial.tolist()), around=size.all(grid.around.tolist()),
        depth=[size.all(r) for r in grid.depth.tolist()], wall=size(wall), profile=size.all(grid.profile.tolist()),
        length_unit=size.label, depth_unit=size.label,
        title=f"Case {units.printable(case_id)[:60] or 'without a name'}: "
              f"{'depth as used' if as_used else 'measured depth'} and river-bottom profile",
        deepest=(size(float(grid.axial[column])), size(float(grid.around[row]))))


def _table(grid: Grid, display: str) -> str:
    if len(grid.around) > _TABLE_ROWS or len(grid.axial) > _TABLE_COLUMNS:
        return ""
    head = ("around \\ along", *(_shown(x, display) for x in grid.axial.tolist()))
    rows = [(_shown(y, display), *(_shown(d, display) for d in line))
            for y, line in zip(grid.around.tolist(), grid.depth.tolist(), strict=True)]
    return calm.scrolling(calm.table(head, rows, numbers=range(len(head))), "Readings of the grid")
