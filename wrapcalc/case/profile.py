"""River-bottom profiles: CSV in, a frozen profile of arrays out.

Two columns with a heading that says what each holds and its unit; stations grow downstream:

    station mm,depth mm
    0,0
    20,1.4
    40,0

"remaining mm" instead of "depth mm" says that the readings are the wall that remains.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wrapcalc import units
from wrapcalc.case.csv_table import UNITS, Row, counted, length, read_rows
from wrapcalc.case.fit import reference_wall, wall_missing
from wrapcalc.case.model import Case
from wrapcalc.errors import CaseFaults, Fault

MAX_STATIONS = 20_000
_FORM = "a heading such as station mm,depth mm and at least three rows of station and depth"
_START = 'write "station mm,depth mm" into the first row and a station and its depth into each further row'
_NOISE = 1e-9  # share by which two conversions of the same size may differ


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """stations and depth (n each) in mm, read-only. unit: that of the stations. notes: what was changed, in words.

    remaining: depth holds remaining wall until it has been fitted to the case.
    """

    stations: np.ndarray
    depth: np.ndarray
    unit: str
    notes: tuple[str, ...] = ()
    remaining: bool = False

    def __post_init__(self) -> None:
        for field in ("stations", "depth"):
            new = np.array(getattr(self, field), dtype=float)
            new.flags.writeable = False
            object.__setattr__(self, field, new)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Profile):
            return NotImplemented
        return ((self.unit, self.notes, self.remaining) == (other.unit, other.notes, other.remaining)
                and np.array_equal(self.stations, other.stations) and np.array_equal(self.depth, other.depth))

    __hash__ = None  # type: ignore[assignment]

    @property
    def deepest_at(self) -> int:
        """Index of the deepest station; the first of equals."""
        return int(np.argmax(self.depth))

    def ends_on_sound_wall(self) -> bool:
        """Whether the first and the last depth are zero."""
        return not (self.depth[0] or self.depth[-1])

    def extent(self) -> float:
        """Distance (mm) between the first and the last station that show loss."""
        loss = np.flatnonzero(self.depth)
        return float(self.stations[loss[-1]] - self.stations[loss[0]]) if len(loss) else 0.0

    def extended(self, by: float) -> Profile:
        """The profile with sound wall at the declared distance (mm) outside both ends."""
        x = self.stations
        return replace(self, stations=np.concatenate([[x[0] - by], x, [x[-1] + by]]), depth=np.pad(self.depth, 1))


def read_profile(raw: bytes, name: str) -> Profile:
    """A profile from the bytes of its CSV file. Raises CaseFaults with every bad cell (the first 20, then how many)."""
    rows = read_rows(raw, name, _FORM, _START)
    if len(rows) < 4:
        raise CaseFaults([Fault(name, "the file", f"{len(rows) - 1} stations", _FORM, "read at least one station with "
                                "loss and the sound wall on both sides of it")])
    if len(rows) - 1 > MAX_STATIONS:
        raise CaseFaults([Fault(name, "the file", f"{len(rows) - 1} stations", f"at most {MAX_STATIONS}",
                                "keep the deepest of each few stations")])
    x_unit, d_unit, remaining = _headings(rows[0], name)
    faults: list[Fault] = []
    stations, depth = _columns(rows, name, x_unit, d_unit, remaining, faults)
    if not faults and not remaining and not any(depth):
        line = rows[1][0]
        faults.append(Fault(name, f"row {line}, column 2", "zero everywhere", "at least one depth", "check the file",
                            line))
    if faults:
        raise CaseFaults(counted(faults, name))
    return Profile(stations, depth, x_unit, remaining=remaining)  # type: ignore[arg-type]


def _headings(row: Row, name: str) -> tuple[str, str, bool]:
    """Unit of the stations, unit of the readings, and whether they are remaining wall."""
    line, cells = row
    faults: list[Fault] = []
    if len(cells) != 2:
        raise CaseFaults([Fault(name, f"row {line}", f"{len(cells)} columns", "two columns: station and depth",
                                "keep these two; a grid of several rows goes into defect.grid", line)])
    found: list[tuple[str, str]] = []
    for column, (cell, names) in enumerate(zip(cells, (("station",), ("depth", "remaining")), strict=True), 1):
        words = cell.split()
        if len(words) == 2 and words[0] in names and words[1] in UNITS:
            found.append((words[0], words[1]))
            continue
        allowed = [f"{n} {u}" for n in names for u in UNITS]
        named = words and words[0] in names  # only its unit is wrong
        near = None if named else units.close(" ".join(words), allowed)
        faults.append(Fault(name, f"row {line}, column {column}", units.shown(cell) if words else "no heading",
                            f"{' or '.join(names)}, then one of the units {', '.join(UNITS)}",
                            f"did you mean '{near}'?" if near else
                            f"write '{words[0] if named else names[0]} mm' into this cell", line))
    if faults:
        raise CaseFaults(faults)
    return found[0][1], found[1][1], found[1][0] == "remaining"


def _columns(rows: list[Row], name: str, x_unit: str, d_unit: str, remaining: bool,
             faults: list[Fault]) -> tuple[list[float | None], list[float | None]]:
    stations: list[float | None] = []
    depth: list[float | None] = []
    before: tuple[float, int] | None = None

    def fault(line: int, column: int, found: str, allowed: str, mend: str) -> None:
        faults.append(Fault(name, f"row {line}, column {column}", found, allowed, mend, line))

    for line, cells in rows[1:]:
        if len(cells) != 2:
            fault(line, min(len(cells), 2) + 1 if len(cells) < 2 else 3, f"{len(cells)} cells", "2 cells: station and "
                  "depth", "add or remove cells; numbers take a decimal point")
            continue
        x, d = length(cells[0], x_unit), length(cells[1], d_unit)
        for column, (cell, number) in enumerate(zip(cells, (x, d), strict=True), 1):
            if number is None:
                sound = "; 0 for sound wall" if column == 2 and not remaining else ""
                fault(line, column, units.shown(cell) if cell.strip() else "an empty cell",
                      f"a number with a decimal point{sound}", "correct this cell")
        if d is not None and d < 0 and not remaining:
            fault(line, 2, units.shown(cells[1]), "a depth of 0 or more", "depths are positive; where the readings are "
                  f"remaining wall, write 'remaining {d_unit}' above them")
        if d is not None and d <= 0 and remaining:
            fault(line, 2, units.shown(cells[1]), "a remaining wall above 0", "a hole is a leak, and no echo is no "
                  "reading: measure there again")
        if x is not None:
            if before is not None and x <= before[0]:
                what = "again" if x == before[0] else f"after {before[0]:g} mm"
                fault(line, 1, f"station {x:g} mm {what} (line {before[1]})", "growing stations, each once",
                      "remove one of the two" if x == before[0] else "sort the stations")
            before = (x, line)
        stations.append(x)
        depth.append(d)
    return stations, depth


def deeper_than(profile: Profile, wall: float | None, words: str, name: str) -> list[Fault]:
    """A fault for each station whose depth is over the wall (mm); none when the wall is not known.

    words: what that wall is; name: the file of the profile.
    """
    if wall is None:
        return []
    over = np.flatnonzero(profile.depth > wall * (1 + _NOISE))
    return counted([Fault(name, f"station {profile.stations[i]:g} mm", f"a depth of {profile.depth[i]:g} mm",
                          f"at most the {words} of {wall:g} mm", "correct the reading, its unit or the wall")
                    for i in over.tolist()], name)


def fitted_profile(case: Case, profile: Profile, name: str, lines: dict[str, int]) -> Profile:
    """The profile of depths, ending on sound wall, its deepest station at the stated depth. Raises CaseFaults.

    name, lines: the case file and the lines of its fields.
    """
    d = case.defect
    faults: list[Fault] = []

    def fault(field_name: str, found: str, allowed: str, mend: str) -> None:
        faults.append(Fault(name, field_name, found, allowed, mend, lines.get(field_name)))

    wall = reference_wall(case)
    if profile.remaining:
        if wall is None:
            raise wall_missing(name, lines, "defect.profile")
        profile = _as_depth(profile, *wall)
        if not profile.depth.any():
            fault("defect.profile", f"'{d.profile}', where no reading is below the {wall[1]} of {wall[0]:g} mm",
                  "at least one reading of less", "check the wall and the file")
            raise CaseFaults(faults)
    if wall is not None:
        faults += deeper_than(profile, *wall, str(d.profile))
    if not profile.ends_on_sound_wall():
        if d.grid_extension is None:
            fault("defect.profile", f"'{d.profile}', whose first and last depths are not both 0",
                  "a profile that ends on sound wall", "measure on to sound wall, or declare grid_extension, the "
                  "distance from the outermost readings to it")
        else:
            profile = profile.extended(d.grid_extension.base)
            profile = replace(profile, notes=(
                *profile.notes, f"Sound wall was added {d.grid_extension.written} outside both ends of the profile, as "
                "declared in defect.grid_extension."))
    elif d.grid_extension is not None:
        fault("defect.grid_extension", f"'{d.grid_extension.written}'", "nothing: this profile ends on sound wall",
              "remove it")
    top, at = float(profile.depth.max()), profile.deepest_at
    if d.depth is not None and top > d.depth.base * (1 + _NOISE):
        fault("defect.depth", f"'{d.depth.written}'", f"at least {top:g} mm, the deepest reading of the profile",
              "state the greatest depth measured by any means")
    elif d.depth is not None and top < d.depth.base * (1 - _NOISE):
        raised = profile.depth.copy()
        raised[at] = d.depth.base
        profile = replace(profile, depth=raised, notes=(
            *profile.notes, f"The stated depth {d.depth.written} is above what the profile shows: its deepest station "
            f"({top:g} mm), at {profile.stations[at]:g} mm, was raised to it."))
    if d.length is not None and d.length.base < profile.extent() * (1 - _NOISE):
        fault("defect.length", f"'{d.length.written}'", f"at least {profile.extent():g} mm, over which the profile "
              "shows loss", "correct the stated size or the profile")
    if faults:
        raise CaseFaults(faults)
    return profile


def _as_depth(profile: Profile, wall: float, words: str) -> Profile:
    over = profile.depth - wall
    notes = [f"Depths are the wall of {wall:g} mm ({words}) less the remaining wall that was read."]
    if count := int((over > 0).sum()):
        notes.append(f"{'1 reading lies' if count == 1 else f'{count} readings lie'} above that wall, by at most "
                     f"{over.max():.4g} mm, and {'counts' if count == 1 else 'count'} as no loss.")
    return replace(profile, depth=np.round(np.maximum(-over, 0.0), 12), notes=(*profile.notes, *notes), remaining=False)
