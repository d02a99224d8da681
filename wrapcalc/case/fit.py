"""A depth grid made to agree with the stated depth, length and width, or faults that say why it cannot."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from wrapcalc.case.grid import Grid, as_depth, with_noise_removed
from wrapcalc.case.model import Case
from wrapcalc.errors import CaseFaults, Fault

_NOISE = 1e-9  # share by which two conversions of the same size may differ


def fitted(case: Case, grid: Grid, name: str, lines: dict[str, int]) -> Grid:
    """The grid ending on sound wall, its deepest node at the stated depth. Raises CaseFaults."""
    d = case.defect
    faults: list[Fault] = []

    def fault(field_name: str, found: str, allowed: str, mend: str) -> None:
        faults.append(Fault(name, field_name, found, allowed, mend, lines.get(field_name)))

    grid = _depths(case, grid, name, lines)
    if not grid.ends_on_sound_wall():
        if d.grid_extension is None:
            fault("defect.grid", f"'{d.grid}', whose outermost readings are not all 0",
                  "a grid that ends on sound wall",
                  "measure on to sound wall, or declare grid_extension, the distance from the outermost readings to it")
        else:
            grid = grid.extended(d.grid_extension.base)
            grid = replace(grid, notes=(
                *grid.notes, f"A rim of sound wall was added {d.grid_extension.written} outside the outermost "
                "readings, as declared in defect.grid_extension."))
    elif d.grid_extension is not None:
        fault("defect.grid_extension", f"'{d.grid_extension.written}'", "nothing: this grid ends on sound wall",
              "remove it")
    grid = _deepest(case, grid, fault)
    axial, around = grid.extent()
    for field_name, given, extent in (("defect.length", d.length, axial), ("defect.width", d.width, around)):
        if given is not None and given.base < extent * (1 - _NOISE):
            fault(field_name, f"'{given.written}'", f"at least {extent:g} mm, over which the grid shows loss",
                  "correct the stated size or the grid")
    if faults:
        raise CaseFaults(faults)
    return grid


def reference_wall(case: Case) -> tuple[float, str] | None:
    """Wall (mm) that a remaining wall is taken from, and what it is: the smaller of nominal and measured sound wall."""
    stated = ((case.pipe.nominal_wall, "nominal wall"), (case.pipe.sound_wall, "measured sound wall"))
    walls = [(given.base, words) for given, words in stated if given is not None]
    return min(walls) if walls else None


def wall_missing(name: str, lines: dict[str, int], field_name: str) -> CaseFaults:
    """The fault of a case that names readings of remaining wall and no wall to take them from."""
    return CaseFaults([Fault(name, "pipe.nominal_wall", "nothing", "the wall from which the remaining wall read in "
                             f"{field_name} is taken", "add nominal_wall or sound_wall", lines.get("pipe"))])


def _depths(case: Case, grid: Grid, name: str, lines: dict[str, int]) -> Grid:
    """Depths of remaining wall, without what the case says is noise. Raises CaseFaults when nothing is left."""
    if grid.remaining:
        wall = reference_wall(case)
        if wall is None:
            raise wall_missing(name, lines, "defect.grid")
        grid = as_depth(grid, *wall)
        if not grid.depth.any():
            raise CaseFaults([Fault(name, "defect.grid", f"'{case.defect.grid}', where no reading is below the "
                                    f"{wall[1]} of {wall[0]:g} mm", "at least one reading of less", "check the wall "
                                    "and the file", lines.get("defect.grid"))])
    noise = getattr(case.defect, "noise_threshold", None)
    if noise is None:
        return grid
    top = grid.deepest[0]
    if top < noise.base:
        raise CaseFaults([Fault(name, "defect.noise_threshold", f"'{noise.written}'", f"at most {top:g} mm, the "
                                "deepest reading of the grid", "lower it: it would remove every reading",
                                lines.get("defect.noise_threshold"))])
    return with_noise_removed(grid, noise.base)


def _deepest(case: Case, grid: Grid, fault: Callable[..., None]) -> Grid:
    """The deepest node, or the one nearest to the stated position, raised to the stated depth."""
    d = case.defect
    if d.depth is None:
        return grid
    top = grid.deepest[0]
    if top > d.depth.base * (1 + _NOISE):
        fault("defect.depth", f"'{d.depth.written}'", f"at least {top:g} mm, the deepest reading of the grid",
              "state the greatest depth measured by any means")
        return grid
    if (d.deepest_axial is None) != (d.deepest_around is None):
        given, other = (("defect.deepest_axial", "deepest_around") if d.deepest_around is None
                        else ("defect.deepest_around", "deepest_axial"))
        fault(given, "one of two coordinates", "both deepest_axial and deepest_around, or neither", f"add {other}")
        return grid
    if d.deepest_axial is None or d.deepest_around is None:
        row, column = grid.deepest_at
        where = f"its deepest node ({top:g} mm)"
    else:
        x, y = d.deepest_axial.base, d.deepest_around.base
        column, row = int(np.abs(grid.axial - x).argmin()), int(np.abs(grid.around - y).argmin())
        inside = grid.axial[0] <= x <= grid.axial[-1] and grid.around[0] <= y <= grid.around[-1]
        if not inside or column in (0, len(grid.axial) - 1) or row in (0, len(grid.around) - 1):
            # the outermost nodes are sound wall, and must stay so
            fault("defect.deepest_axial", f"'{d.deepest_axial.written}', '{d.deepest_around.written}'",
                  f"a place inside the grid, nearer to {_span(grid.axial[1:-1])} axially and "
                  f"{_span(grid.around[1:-1])} around than to its outermost stations",
                  "correct the position, or measure on to sound wall beyond it")
            return grid
        where = f"its node nearest to the stated position ({grid.depth[row, column]:g} mm)"
    if grid.depth[row, column] >= d.depth.base * (1 - _NOISE):
        return grid
    note = (f"The stated depth {d.depth.written} is above what the grid shows: {where}, at axial "
            f"{grid.axial[column]:g} mm, around {grid.around[row]:g} mm, was raised to it.")
    return grid.raised(row, column, d.depth.base, note)


def _span(stations: np.ndarray) -> str:
    if not len(stations):
        return "no inner station"
    return f"{stations[0]:g} mm" if len(stations) == 1 else f"{stations[0]:g} to {stations[-1]:g} mm"
