"""The line of a listing: its base case, its segments, and what each row becomes on it. Units mm, clocks in hours."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wrapcalc import units
from wrapcalc.campaign.cases.case_text import at, length, mm, put, toml_of, value
from wrapcalc.campaign.line import row_checks
from wrapcalc.campaign.line.joints import Welds, clear, link
from wrapcalc.campaign.line.odometer import Odometer, odometer
from wrapcalc.campaign.neighbours.features_beside import NONE, Beside, Features, bound_rows, graver_inside, with_inside
from wrapcalc.campaign.neighbours.neighbours import DOWNSTREAM_END, UPSTREAM_END
from wrapcalc.campaign.rows.rounding import steady_rows
from wrapcalc.campaign.screening.noted import Noted
from wrapcalc.case import Bundle, Case, read_bundle
from wrapcalc.case.consistency import inconsistencies
from wrapcalc.case.listed import with_listed_values
from wrapcalc.case.model import METAL_LOSS
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.fields import examine
from wrapcalc.reading import line_numbers, read_toml, shown_name

if TYPE_CHECKING:
    from wrapcalc.campaign.listing.blocks import Block, RowFault
    from wrapcalc.campaign.listing.mapping import Mapping as ListingMapping

__all__ = ["Line", "Welds", "load_line"]

#: Where the sound wall of a row comes from, by code.
WALL_SOURCES = ("measured wall of the row", "sound wall of the base case", "nominal wall")
#: What the base case says of neighbours; a case has it only with a grid or a table of pits.
OF_NEIGHBOURS = ("assessment.interaction", "assessment.interaction_axial", "assessment.interaction_around",
                 "assessment.interaction_reason", "defect.rejoin_gap")
#: What the rows say: the base case must not, or it would stand where a row is silent.
OF_ROWS = (*(f"defect.{n}" for n in ("kind", "depth", "length", "width", "clock", "grid", "second_grid", "profile",
                                     "pits", "deepest_axial", "deepest_around", "neighbour_upstream",
                                     "neighbour_downstream")),
           *(f"location.{n}" for n in ("joint_number", "joint_length", "upstream_weld", "downstream_weld",
                                       "from_upstream_weld", "from_downstream_weld", "log_distance", "first_point_log",
                                       "first_point_survey", "second_point_log", "second_point_survey", "latitude",
                                       "longitude")))
#: Stand-in sizes of a template: they are never judged.
_STAND_IN = {"kind": METAL_LOSS, "length": "50 mm", "width": "50 mm", "clock": "6:00"}
#: Nominal walls that a line may have; more are measured walls in the wrong column.
_MOST_WALLS = 200
#: A nominal wall of a row that is so many times that of its segment is told: a slip makes the pipe look strong.
_THICK = 1.02
_TURNED = {UPSTREAM_END: DOWNSTREAM_END, DOWNSTREAM_END: UPSTREAM_END}


@dataclass(frozen=True)
class Segment:
    """A stretch of the line by surveyed distance (mm), and the fields of the base case that are others there."""

    start: float
    end: float
    set: Mapping[str, Any]
    words: str
    place: int


class Line:
    """A line as its mapping states it.

    data: the base case as plain data; case: the same read, with its rule of interaction; base: its bundle without it;
    place: of which edge the surveyed distance of a row is, facing downstream; backwards: the log counts against the
    flow; walls: nominal wall of each segment, mm, NaN where none is stated. Groups are numbered as they come up.
    """

    def __init__(self, mapping: ListingMapping, folder: Path):
        """Raises CaseFaults with every fault of base case, segments and reference points."""
        self.mapping, self.folder = mapping, folder
        self.backwards = mapping.line.reversed == "yes"
        place = str(mapping.place)
        self.place = _TURNED.get(place, place) if self.backwards else place
        self.noted = Noted()
        self._base: Bundle | None = None
        self._groups: dict[tuple[int, float, str], int] = {}
        self._keys: list[tuple[int, float, str]] = []  # segment, nominal wall, what is inside the repair
        self._beside: tuple[Features, Beside] | None = None
        self._bundles: dict[int, Bundle] = {}
        self._refused: dict[int, Fault | None] = {}
        self._scalars: dict[int, tuple[float, float]] = {}
        self._unsounded: set[int] = set()  # groups whose template has its nominal wall as sound wall, too
        faults: list[Fault] = []
        self._read_base(folder / str(mapping.line.base), faults)
        self.odometer = self._read_points(faults)
        self.segments = _segments(mapping, faults)
        if not faults:
            self._check_segments(faults)
        if faults:
            raise CaseFaults(faults)

    # -- reading ---------------------------------------------------------------------------------------------------
    def _read_base(self, path: Path, faults: list[Fault]) -> None:
        self.file = shown_name(path)
        self.data, raw = read_toml(path)
        lines = line_numbers(raw)
        for field in OF_ROWS:
            if (given := at(self.data, field)) is not None:
                faults.append(Fault(self.file, field, units.shown(value(given)), "nothing: each row of the listing "
                                    "has its own", "remove it from the base case", lines.get(field)))
        case, found = examine(Case, put(with_listed_values(self.data, raw, self.file)[0], "defect.pits", "pits.csv"),
                              raw, self.file, {})
        faults += found
        if case is not None:
            faults += [f for f in inconsistencies(case, raw, self.file) if f.field in OF_NEIGHBOURS]
            self.case: Case = case.model_copy(update={"defect": case.defect.model_copy(update={"pits": None})})
        told = {f.field for f in faults}
        try:
            self._base = self._bundle_of(self.data, None)
        except CaseFaults as e:
            faults += [Fault(f.file, f.field, f.found, f.allowed, f.mend, lines.get(f.field) if f.file == self.file
                             else f.line) for f in e.faults if f.field not in told]

    def _read_points(self, faults: list[Fault]) -> Odometer:
        known: tuple[Any, ...] = self.mapping.reference_point
        points = [(p.log.base, p.survey.base) for p in known]
        try:
            return odometer(points, self.mapping.file, backwards=self.backwards)
        except CaseFaults as e:
            faults += e.faults
            return Odometer(np.empty(0), np.empty(0))

    def _check_segments(self, faults: list[Fault]) -> None:
        """Let the case model look at each segment once, before any row is read."""
        own = self.case.get("pipe.nominal_wall")
        self.walls = np.array([length(s.set.get("pipe.nominal_wall"), own) for s in self.segments]
                               or [length(None, own)])
        for i, s in enumerate(self.segments):
            try:
                if np.isfinite(self.walls[i]):
                    self.bundle(self._group(i, float(self.walls[i])))
                else:
                    self._bundle_of(self._with_segment(i), s)
            except CaseFaults as e:
                faults += e.faults

    def _bundle_of(self, data: Mapping[str, Any], segment: Segment | None) -> Bundle:
        """The case of these data without what is said of neighbours. Raises CaseFaults that name the segment; lines of
        a text that nobody wrote are not told."""
        for field in OF_NEIGHBOURS:
            data = put(data, field, None)
        try:
            return self._shared(read_bundle(toml_of(data), self.folder, self.file))
        except CaseFaults as e:
            raise CaseFaults([self._told_at(f, segment) for f in e.faults]) from None

    def _shared(self, bundle: Bundle) -> Bundle:
        """The bundle with the system, tables and criteria of the base case, where they come from the same files."""
        beside = {n: raw for n, raw in bundle.files.items() if n != "case.toml"}
        if self._base is None or beside != {n: raw for n, raw in self._base.files.items() if n != "case.toml"}:
            return bundle
        b = self._base
        return replace(bundle, system=b.system, tables=b.tables, criteria=b.criteria, forecast=b.forecast)

    def _told_at(self, f: Fault, s: Segment | None) -> Fault:
        if f.file != self.file:
            return f
        if s is None:
            return Fault(f.file, f.field, f.found, f.allowed, f.mend)
        return Fault(self.mapping.file, f"segment.{s.place}.set ({s.words}): {f.field}", f.found, f.allowed, f.mend,
                     self.mapping.line_of(f"segment.{s.place}.set"))

    # -- what the line is ------------------------------------------------------------------------------------------
    @property
    def told(self) -> tuple[str, ...]:
        """What the user must know: of the line, and of the rows resolved so far."""
        own = [] if len(self.odometer.log) else ["The mapping has no reference points: the log is taken as surveyed."]
        own += [f"No segment covers {a.end / 1000:.10g} m to {b.start / 1000:.10g} m: rows there are faults."
                for a, b in zip(self.segments, self.segments[1:], strict=False) if b.start > a.end]
        return (*own, *self.noted.texts)

    @property
    def run(self) -> str:
        """Name of the inspection run."""
        return str(self.mapping.listing.run or "inspection run")

    @property
    def base(self) -> Bundle:
        """The base case, read and checked."""
        assert self._base is not None  # without it there is no line
        return self._base

    @property
    def system(self) -> Any:
        """The wrap system of the base case; None without one."""
        return self.base.system

    @property
    def depth_allowance(self) -> float:
        """Allowance added to the depth, mm; 0 where the base case states none, which the screening says row by row."""
        given = self.case.get("defect.depth_allowance")
        return 0.0 if given is None else given.base

    def survey(self, log: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Surveyed distances (mm), and which lie outside the outermost reference points."""
        return self.odometer(log)

    def section(self, group: int) -> str:
        """Hydraulic section of a group, "" where none is stated."""
        return str(self.bundle(group).case.location.section or "")

    # -- groups ----------------------------------------------------------------------------------------------------
    def group_of(self, survey: np.ndarray, nominal_wall: np.ndarray) -> np.ndarray:
        """Group of each place: its segment and nominal wall; -1 where it lies in no segment or no wall is known."""
        segment = self._segment(survey)
        out = np.full(len(survey), -1, np.int64)
        known = (segment >= 0) & np.isfinite(nominal_wall)
        if known.any():
            walls, wall = np.unique(nominal_wall[known], return_inverse=True)
            self._refuse_walls(walls)
            pairs, back = np.unique(segment[known] * len(walls) + wall.ravel(), return_inverse=True)
            out[known] = np.array([self._group(p // len(walls), float(walls[p % len(walls)]))
                                   for p in pairs.tolist()])[back.ravel()]
        return out

    def _refuse_walls(self, walls: np.ndarray) -> None:
        count = len({w for _, w, _ in self._keys} | set(walls.tolist()))
        if count > _MOST_WALLS:
            raise CaseFaults([Fault(self.mapping.file, "columns.nominal_wall", f"a column with more than {_MOST_WALLS} "
                                    "different nominal walls", f"nominal walls, of which a line has at most "
                                    f"{_MOST_WALLS}", "see whether this column holds the measured wall",
                                    self.mapping.line_of("columns.nominal_wall"))])

    def inside(self, group: np.ndarray, word: np.ndarray) -> np.ndarray:
        """Groups of rows, those with a word in groups of their own: what is inside the repair, beside what the base
        case states."""
        out = group.copy()
        for w in sorted(set(word.tolist()) - {""}):
            for g in np.unique(group[word == w]).tolist():
                segment, wall, stated = self._keys[g]
                out[(word == w) & (group == g)] = self._group(segment, wall, graver_inside(stated, w))
        return out

    def _group(self, segment: int, wall: float, inside: str = "") -> int:
        key = (segment, wall, inside)
        if key not in self._groups:
            self._groups[key] = len(self._keys)
            self._keys.append(key)
        return self._groups[key]

    def bundle(self, group: int) -> Bundle:
        """Template of a group: a case whose defect has stand-in sizes. Raises CaseFaults that name the segment."""
        if group not in self._bundles:
            segment, wall, _ = self._keys[group]
            data = self.template(group)
            data["defect"] = _STAND_IN | {"depth": mm(wall / 10)} | data.get("defect", {})
            if at(data, "pipe.sound_wall") is None:
                self._unsounded.add(group)
                data["pipe"]["sound_wall"] = mm(wall)
            self._bundles[group] = self._bundle_of(data, self.segments[segment] if self.segments else None)
        return self._bundles[group]

    def refused(self, group: int) -> Fault | None:
        """Why the case cannot hold the nominal wall of a group; None when it can."""
        if group not in self._refused:
            self._refused[group] = None
            try:
                self.bundle(group)
            except CaseFaults as e:
                self._refused[group] = e.faults[0]
        return self._refused[group]

    def _sound_and_around(self, group: int) -> tuple[float, float]:
        """Sound wall that base case or segment state, and the circumference; NaN where they do not."""
        if group not in self._scalars:
            case = self.bundle(group).case
            sound = None if group in self._unsounded else case.get("pipe.sound_wall")
            diameter = case.get("pipe.outside_diameter")
            self._scalars[group] = (np.nan if sound is None else sound.base,
                                    np.nan if diameter is None else np.pi * diameter.base)
        return self._scalars[group]

    def template(self, group: int) -> dict[str, Any]:
        """The base case with what the segment of a group sets, and its nominal wall, as plain data."""
        segment, wall, inside = self._keys[group]
        data = with_inside(self._with_segment(segment), inside)
        pipe = data.setdefault("pipe", {})
        if self.walls[segment] != wall:
            if pipe.pop("listed_size", None) and "outside_diameter" not in pipe:
                pipe["outside_diameter"] = mm(self.case.get("pipe.outside_diameter").base)
            pipe["nominal_wall"] = {"value": mm(wall), "source": f"listing of the {self.run}",
                                    "source_kind": "document"}
        return data

    def _with_segment(self, segment: int) -> dict[str, Any]:
        data = copy.deepcopy(self.data)
        if not self.segments:
            return data
        s = self.segments[segment]
        for field, given in s.set.items():
            if isinstance(given, str) and field.partition(".")[0] in ("pipe", "service"):
                given = {"value": given, "source": f"{self.mapping.file}, {s.words}", "source_kind": "document"}
            data = put(data, field, given)
        return data

    def _segment(self, survey: np.ndarray) -> np.ndarray:
        """Segment of each place, -1 for none; where two meet, the one that begins there."""
        if not self.segments:
            return np.where(np.isfinite(survey), 0, -1)
        starts, ends = (np.array([getattr(s, n) for s in self.segments]) for n in ("start", "end"))
        k = np.searchsorted(starts, survey, side="right") - 1
        inside = np.isfinite(survey) & (k >= 0) & (survey <= ends[np.maximum(k, 0)])
        return np.where(inside, k, -1)

    # -- rows ------------------------------------------------------------------------------------------------------
    def resolve(self, block: Block, welds: Welds) -> tuple[dict[str, np.ndarray], list[RowFault]]:
        """Rows of a block on the line, those that cannot be left out; and a fault for each that cannot.

        Adds row, survey, group, sound_wall, wall_source (a code of WALL_SOURCES), upstream_weld, downstream_weld,
        from_downstream_weld (from the stated place of the row), clear_upstream, clear_downstream (from the edges of the
        anomaly to the welds and other features, the lesser reading where two can be meant), beside_upstream,
        beside_downstream, inside (as `features_beside.bound_rows` does); fills in depth (from its share of the wall),
        nominal_wall, joint, joint_length, from_upstream_weld, seam_clock. Clock and sides face downstream.
        """
        c: dict[str, np.ndarray] = {**block.columns, "row": np.asarray(block.row)}
        c["survey"], outside = self.survey(c["log_distance"])
        checks = row_checks.Checks(c, self.mapping)
        self._place_and_wall(c, checks)
        if not checks.sound.all():
            c, outside = {n: v[checks.sound] for n, v in c.items()}, outside[checks.sound]
        self.noted.add("outside the outermost reference points, where the slope of the nearest stretch goes on",
                       c["row"][outside])
        self.noted.add("a dent whose depth is a share of the wall, which says nothing of a dent: its depth is taken as "
                       "not stated", c["row"][(c["kind"] == "dent") & np.isfinite(c["depth_share"])])
        self.noted.add("metal loss whose side is not stated: taken as internal, because that may grow under a wrap",
                       c["row"][c["kind"] == "metal loss"])
        if self.backwards:
            for name in ("clock", "seam_clock"):
                c[name] = np.mod(12 - c[name], 12)
        link(c, welds, self.survey, self.noted, backwards=self.backwards)
        self._clear(c)
        bound_rows(c, self.beside(welds.features), self.place, self.noted.add)
        return c, sorted(checks.faults, key=lambda f: f.row)

    def _place_and_wall(self, c: dict[str, np.ndarray], checks: row_checks.Checks) -> None:
        """Group, walls and depth of each row; what cannot be is told to `checks`."""
        segment = self._segment(c["survey"])
        own = np.where(segment >= 0, self.walls[np.maximum(segment, 0)], np.nan)
        self.noted.add(
            f"the nominal wall of the row is more than {100 * (_THICK - 1):.0f} % above that of the segment or the "
            "base case, and is taken: a wall that no document shows makes a defect look harmless; where it is right "
            "state a segment with it, where it is not leave the column out", c["row"][c["nominal_wall"] > _THICK * own])
        c["nominal_wall"] = np.where(np.isfinite(c["nominal_wall"]), steady_rows(c["nominal_wall"]), own)
        checks.placed(segment)
        group = self.group_of(c["survey"], c["nominal_wall"])
        found, back = np.unique(group, return_inverse=True)
        checks.walls([None if g < 0 else self.refused(g) for g in found.tolist()], back.ravel())
        base, around = (np.array(v)[back.ravel()] for v in zip(
            *((np.nan, np.nan) if g < 0 or self.refused(g) else self._sound_and_around(g) for g in found.tolist()),
            strict=True)) if len(found) else (np.empty(0), np.empty(0))
        measured = np.isfinite(c["measured_wall"])
        c["group"] = group
        c["wall_source"] = np.where(measured, 0, np.where(np.isfinite(base), 1, 2)).astype(np.uint8)
        c["sound_wall"] = np.where(measured, c["measured_wall"], np.where(np.isfinite(base), base, c["nominal_wall"]))
        column = self.mapping.columns.get("depth")
        of = c["measured_wall"] if column is not None and "measured" in str(column.unit) else c["nominal_wall"]
        share = np.where(c["kind"] == "dent", np.nan, c["depth_share"])
        c["depth"] = np.where(np.isfinite(c["depth_share"]), steady_rows(share * of), c["depth"])
        checks.sizes(around)

    def beside(self, features: Features | None = None) -> Beside:
        """Features placed along the line; without an argument those of the rows resolved last."""
        if self._beside is None or (features is not None and self._beside[0] is not features):
            self._beside = (features or NONE, Beside(features or NONE, self.survey, self.place))
        return self._beside[1]

    def _clear(self, c: dict[str, np.ndarray]) -> None:
        """Clear pipe beside each row; nothing is clear on the side on which it reaches over a weld."""
        up, down = clear(c.pop("room_upstream"), c.pop("room_downstream"), c["length"], self.place)
        self.noted.add("across a girth weld, or perhaps across one: no pipe is clear on that side; where it is dug, "
                       "service.inside_repair and the other joint belong into its case",
                       c["row"][(up < 0) | (down < 0)])
        for name, room in (("clear_upstream", up), ("clear_downstream", down)):
            stated = self.case.get(f"defect.{name}")
            c[name] = np.fmin(np.maximum(room, 0.0), np.nan if stated is None else stated.base)


def load_line(mapping: ListingMapping, folder: Path) -> Line:
    """The line of a mapping; its base case stands in `folder`. Raises CaseFaults with every fault that is found."""
    return Line(mapping, folder)


def _segments(mapping: ListingMapping, faults: list[Fault]) -> tuple[Segment, ...]:
    """Segments by their start; a fault for one that ends before it starts, and for two that overlap."""
    found = sorted((Segment(s.from_.base, s.to.base, dict(s.set), f"segment {s.from_.written} to {s.to.written}", i)
                    for i, s in enumerate(mapping.segment)), key=lambda s: (s.start, s.end))

    def fault(s: Segment, key: str, text: str, allowed: str, mend: str) -> None:
        field = f"segment.{s.place}.{key}"
        faults.append(Fault(mapping.file, field, text, allowed, mend, mapping.line_of(field)))
    for i, s in enumerate(found):
        if s.end <= s.start:
            fault(s, "to", s.words, "an end beyond its start", "check both distances")
        elif i and s.start < found[i - 1].end:
            fault(s, "from", f"{s.words} and {found[i - 1].words}", "segments that do not overlap",
                  "let each begin where the one before ends")
    return tuple(found)
