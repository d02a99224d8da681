"""Repairs that are known: which rows of a listing lie under one, so that nobody digs there again, and how loss under a
wrap goes on.

A row is matched by joint and distance from the upstream girth weld, which the slip of an odometer does not touch; where
the register or the listing states no joint, by surveyed distance and clock within a tolerance. What may be meant in two
ways is told and never taken. Only a row whose whole length lies under the full thickness is under a repair: what goes
beyond is not, and what no close-out accepted is a repair that is still open. Lengths in mm, clocks in hours.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from wrapcalc import units
from wrapcalc.campaign.neighbours.neighbours import NOT_STATED, edges
from wrapcalc.case.model import INTERNAL_LOSS, METAL_LOSS
from wrapcalc.errors import PackageError
from wrapcalc.fields import clock_hours
from wrapcalc.package.explain import read_record
from wrapcalc.register import Snapshot, Standing
from wrapcalc.register.evidence import inputs_of, listed, number, part
from wrapcalc.register.state import WRAP

#: What a row can be: code -> words.
STATUS = NOT_KNOWN, UNDER, BEYOND, OPEN = range(4)
WORDS = ("", "under repair", "beyond the wrap", "repair open")
#: How a row was matched: code -> words.
BY = ("", "joint and distance from the girth weld", "surveyed distance and clock")
#: How deep it is against the design: code -> words.
DEPTHS = ("", "as planned", "ahead of the plan", "deeper than the design carries", "not known",
          "past its design life")
AS_PLANNED, AHEAD, TOO_DEEP, DEPTH_NOT_KNOWN, PAST_LIFE = 1, 2, 3, 4, 5
#: Codes of rows that no wrap carries any more: they are ranked as if there were none.
NOT_CARRIED = (TOO_DEEP, PAST_LIFE)
_LOSSES = (METAL_LOSS, INTERNAL_LOSS, "metal loss")
_DAYS_IN_A_YEAR = 365.25


@dataclass(frozen=True)
class Tolerances:
    """When a row and a repair are the same place. survey: mm of surveyed distance either way; clock: hours; joint:
    lengths of one joint differ by no more, mm; far: a joint of the same number this far off is another one, mm."""

    survey: float = 2000.0
    clock: float = 1.0
    joint: float = 150.0
    far: float = 25_000.0


@dataclass(frozen=True)
class Known:
    """One repair of the register. name: of its package; joint, weld: numbers, "" not stated; edge: upstream edge of its
    damage from the upstream weld; covers: (from, to) of each full thickness, from the upstream edge of the damage;
    survey: of that edge; None where not stated. depth, end_depth: with allowance, now and at the end of its life, mm;
    life: years; since: day of the measurement; until: last day of its life by the close-out, "" not stated; grows:
    whether loss goes on under it."""

    name: str
    state: str
    accepted: bool
    covers: tuple[tuple[float, float], ...]
    joint: str = ""
    weld: str = ""
    joint_length: float | None = None
    edge: float | None = None
    survey: float | None = None
    length: float | None = None
    clock: float | None = None
    internal: bool = False
    depth: float | None = None
    end_depth: float | None = None
    life: float | None = None
    since: str = ""
    until: str = ""
    grows: bool = False

    def years_on(self, day: str) -> float | None:
        """Years from the measurement to a day; None when one of them is not known."""
        try:
            return (datetime.date.fromisoformat(day) - datetime.date.fromisoformat(self.since)).days / _DAYS_IN_A_YEAR
        except ValueError:
            return None

    def past_life(self, day: str) -> bool | None:
        """Whether its life is over on a day: by the close-out, else by the life of the design from the measurement;
        None when nobody knows."""
        try:
            return datetime.date.fromisoformat(day) > datetime.date.fromisoformat(self.until)
        except ValueError:
            years = self.years_on(day)
            return None if years is None or not self.life else years > self.life


@dataclass(frozen=True)
class UnderRepair:
    """What is known of each row. status: code of WORDS; repair: name of the package, ""; by: code of BY; depth: code of
    DEPTHS; planned, carried: depth with allowance that the design reckons with by now, and at its end (mm, NaN)."""

    status: np.ndarray
    repair: np.ndarray
    by: np.ndarray
    depth: np.ndarray
    planned: np.ndarray
    carried: np.ndarray
    told: tuple[str, ...]


# -- from the register --------------------------------------------------------------------------------------------
def known_repairs(packages: Path, now: Snapshot) -> tuple[list[Known], list[str]]:
    """Every wrap of the register as it was issued, and what could not be read. now: `register.current(packages)`."""
    out, told = [], []
    for s in now.repairs:
        r = s.revision
        if not r.decision:
            told.append(f"{r.package}: {r.condition}: {r.reason or 'nothing is known of it'}; rows there are screened "
                        "as if there were no repair.")
        elif r.decision == WRAP:
            try:
                out.append(known(s, read_record(packages / r.package)))
            except PackageError as e:
                told.append(f"{r.package}: where it lies cannot be read ({e}); rows there are screened as if there "
                            "were no repair.")
    return out, told


def known(standing: Standing, record: Mapping[str, Any]) -> Known:
    """A repair from its record. Raises PackageError when the record does not say how far the wrap reaches."""
    r, rows = standing.revision, inputs_of(dict(record))
    wrap = part(part(dict(record), "geometry"), "wrap")
    laid = [(number(w.get("middle")), number(w.get("cover"))) for w in listed(wrap, "repairs")]
    length = _base(rows, "defect.length")
    if not laid or length is None or any(m is None or c is None for m, c in laid):
        raise PackageError("its record does not say how far the wrap reaches")
    covers = tuple((length / 2 + m - c / 2, length / 2 + m + c / 2) for m, c in laid)  # type: ignore[operator]
    depth, more = (_base(rows, f"defect.{n}") for n in ("depth", "depth_allowance"))
    now = None if depth is None else depth + (more or 0.0)
    internal = _text(rows, "defect.kind") == INTERNAL_LOSS
    clock = clock_hours(_text(rows, "defect.clock")) if _text(rows, "defect.clock") else None
    accepted = standing.accepted and r.condition == "whole"
    return Known(r.package, standing.words, accepted, covers, _text(rows, "location.joint_number"),
                 _text(rows, "location.upstream_weld"), _base(rows, "location.joint_length"),
                 _base(rows, "location.from_upstream_weld"), _surveyed(rows), length, clock, internal, now,
                 number(wrap.get("depth")), _base(rows, "design.design_life"), r.measured_on or r.written_on,
                 standing.end_of_life, internal or _text(rows, "service.internal_corrosion") != "none")


def _text(rows: Mapping[str, Mapping[str, Any]], field: str) -> str:
    return rows.get(field, {}).get("written", "")


def _base(rows: Mapping[str, Mapping[str, Any]], field: str) -> float | None:
    """A quantity of a record in mm or years; None when it is none."""
    row = rows.get(field, {})
    magnitude = number(row.get("magnitude"))
    if magnitude is None:
        return None
    try:
        return units.convert(magnitude, row["unit"], "year" if field == "design.design_life" else "mm")
    except Exception:  # pint raises errors of many kinds for a text that is no unit
        return None


def _surveyed(rows: Mapping[str, Mapping[str, Any]]) -> float | None:
    """Surveyed distance from the log of the case between its two reference points."""
    at, a, b, s, t = (_base(rows, f"location.{n}") for n in (
        "log_distance", "first_point_log", "second_point_log", "first_point_survey", "second_point_survey"))
    if at is None or a is None or b is None or s is None or t is None or a == b:
        return None
    return s + (at - a) * (t - s) / (b - a)


# -- matching -----------------------------------------------------------------------------------------------------
def may_match(rows: Mapping[str, np.ndarray], repairs: Iterable[Known], tolerances: Tolerances) -> np.ndarray:
    """Rows near a repair, by joint, weld or surveyed distance: all that `under_repair` needs of a long listing."""
    repairs = list(repairs)
    out = np.zeros(len(rows["survey"]), dtype=bool)
    for name, numbers in (("joint", {r.joint for r in repairs}), ("upstream_weld", {r.weld for r in repairs})):
        if numbers - {""} and name in rows:
            out |= np.fromiter((v in numbers and v != "" for v in rows[name]), dtype=bool, count=len(out))
    places = np.sort([r.survey for r in repairs if r.survey is not None])
    reach = tolerances.far + max((max(map(abs, c)) for r in repairs for c in r.covers), default=0.0)
    if len(places):
        k = np.searchsorted(places, rows["survey"])
        apart = np.minimum(np.abs(rows["survey"] - places[np.maximum(k - 1, 0)]),
                           np.abs(rows["survey"] - places[np.minimum(k, len(places) - 1)]))
        out |= apart <= reach
    return out


def under_repair(rows: Mapping[str, np.ndarray], repairs: Iterable[Known], *, run_date: str, place: str = NOT_STATED,
                 depth_allowance: float = 0.0, tolerances: Tolerances | None = None) -> UnderRepair:
    """Which rows of metal loss lie under which repair. rows: arrays as `Line.resolve` gives them; run_date: ISO 8601;
    place: of which edge distances are (`neighbours.PLACES`); depth_allowance: added to depths of the listing (mm)."""
    matcher = _Matcher(rows, place, tolerances or Tolerances())
    ordered = sorted(repairs, key=lambda r: (not r.accepted, r.name))  # the accepted one goes before an open one
    for r in ordered:
        matcher.take(r)
    n = len(rows["survey"])
    names = np.full(n, "", dtype=object)
    depth, planned, carried = np.zeros(n, np.uint8), np.full(n, np.nan), np.full(n, np.nan)
    for i in np.flatnonzero(matcher.of >= 0).tolist():
        r = ordered[matcher.of[i]]
        names[i] = r.name
        if matcher.status[i] == UNDER:
            planned[i], carried[i], depth[i] = _followed(r, float(rows["depth"][i]) + depth_allowance, run_date)
    _tell_depths(matcher, names, depth)
    _tell_clocks(matcher, ordered)
    return UnderRepair(matcher.status, names, matcher.by, depth, planned, carried, tuple(matcher.told))


def _followed(r: Known, depth: float, run_date: str) -> tuple[float, float, int]:
    """(planned by now, carried at the end, code): the design lets depth grow evenly over the life of the repair.

    Loss that does not grow under the wrap is planned to stay. A wrap whose life is over carries nothing, however deep
    the loss is. What is not known is told as such."""
    past = r.past_life(run_date)
    end = np.nan if r.end_depth is None else r.end_depth
    if depth > end * (1 + 1e-9):
        return np.nan, end, TOO_DEEP
    if past:
        return np.nan, end, PAST_LIFE
    years = r.years_on(run_date)
    if r.end_depth is None or r.depth is None or past is None or not np.isfinite(depth):
        return np.nan, end, DEPTH_NOT_KNOWN
    if not r.grows:
        return end, end, AS_PLANNED
    if years is None or not r.life:
        return np.nan, end, DEPTH_NOT_KNOWN
    plan = r.depth + (end - r.depth) * min(max(years / r.life, 0.0), 1.0)
    return plan, end, AHEAD if depth > plan * (1 + 1e-9) else AS_PLANNED


def _tell_depths(m: _Matcher, names: np.ndarray, depth: np.ndarray) -> None:
    words = {AHEAD: "{} rows under repair are ahead of the plan", TOO_DEEP: "{} rows under repair are deeper than the "
             "design carries", DEPTH_NOT_KNOWN: "Of {} rows under repair it is not known whether they are as planned",
             PAST_LIFE: "{} rows lie under a wrap that is past its design life on the day of the run; they are ranked "
             "as if there were none"}
    for code, said in words.items():
        at = np.flatnonzero(depth == code)
        if len(at):
            m.told.append(f"{said.format(len(at))}: {', '.join(sorted(set(names[at].tolist())))}.")


def _tell_clocks(m: _Matcher, repairs: list[Known]) -> None:
    at = np.flatnonzero(m.status == UNDER)
    hours = np.abs(m.rows["clock"][at] - np.array([repairs[k].clock if repairs[k].clock is not None else np.nan
                                                   for k in m.of[at]], dtype=float))
    if n := int((np.minimum(hours, 12 - hours) > m.tolerances.clock).sum()):
        m.told.append(f"{n} rows under repair lie at another clock than the damage that the wrap was designed for; it "
                      "goes all round the pipe, and their depth is held against its design.")


class _Matcher:
    """Rows are taken by one repair after another; the first that takes a row keeps it, a second one is told."""

    def __init__(self, rows: Mapping[str, np.ndarray], place: str, tolerances: Tolerances):
        self.rows, self.place, self.tolerances = rows, place, tolerances
        n = len(rows["survey"])
        self.loss = np.isin(rows["kind"], _LOSSES)
        self.status, self.by = np.zeros(n, np.uint8), np.zeros(n, np.uint8)
        self.of = np.full(n, -1, dtype=np.int64)
        self.told: list[str] = []
        self.start, self.stop = edges({"survey": rows["from_upstream_weld"], "length": rows["length"]}, place)
        self.count = 0
        self.index: dict[str, dict[str, list[int]]] = {"joint": defaultdict(list), "upstream_weld": defaultdict(list)}
        self.named = {name: set(rows[name]) if name in rows else set() for name in self.index}
        for name, index in self.index.items():
            if name in rows:
                for i in np.flatnonzero(self.loss & (rows[name] != "")).tolist():
                    index[rows[name][i]].append(i)

    def take(self, r: Known) -> None:
        """Mark the rows of one repair."""
        mine, self.count = self.count, self.count + 1
        found = self._by_joint(r) if (r.joint or r.weld) and r.edge is not None else None
        by = 1
        if found is None:
            found, by = self._by_survey(r), 2
        for i, status in found:
            if self.of[i] >= 0 and not (status == UNDER and self.status[i] == BEYOND):
                continue  # taken; but where one wrap ends within the row, another may cover it whole
            self.of[i], self.by[i] = mine, by
            self.status[i] = status if status == BEYOND else UNDER if r.accepted else OPEN

    def _by_joint(self, r: Known) -> list[tuple[int, int]] | None:
        """(row, UNDER or BEYOND) of the joint; None when the listing does not know the joint of this repair."""
        joints, welds = self.index["joint"].get(r.joint, []), self.index["upstream_weld"].get(r.weld, [])
        at = np.array(sorted(set(joints) & set(welds) if joints and welds else set(joints) | set(welds)), dtype=int)
        if joints and welds and not len(at):
            self._doubt(r, f"joint {r.joint} and girth weld {r.weld} of its record are not one joint in the listing")
            return []
        if not len(at):  # a joint that the listing knows and reports no loss in has none to be matched
            there = r.joint in self.named["joint"] - {""} or r.weld in self.named["upstream_weld"] - {""}
            return [] if there else None
        length = self.rows["joint_length"][at]
        if r.joint_length is not None and (np.abs(length - r.joint_length) > self.tolerances.joint).any():
            self._doubt(r, f"joint {r.joint or 'below weld ' + r.weld} has another length in the listing")
            return []
        weld = self.rows["survey"][at] - self.rows["from_upstream_weld"][at]
        sure = (joints and welds) or (r.joint_length is not None and np.isfinite(length).all())
        if not sure and r.survey is None:
            self._doubt(r, "nothing beside one number says that this joint is the one of the listing: no weld number, "
                        "length or surveyed distance")
            return []
        if r.survey is not None:
            near = ~(np.abs(weld - (r.survey - (r.edge or 0.0))) > self.tolerances.far)
            if not near.any():
                self._doubt(r, f"joint {r.joint or 'below weld ' + r.weld} lies elsewhere in the listing")
                return []
            at, weld = at[near], weld[near]
        if len(seen := weld[np.isfinite(weld)]) and np.ptp(seen) > self.tolerances.survey:
            self._doubt(r, f"two joints of the listing have the number {r.joint or 'below weld ' + r.weld}")
            return []
        return self._covered(r, at)

    def _covered(self, r: Known, at: np.ndarray) -> list[tuple[int, int]]:
        assert r.edge is not None
        out = {}
        for low, high in r.covers:
            a, b = self.start[at] - r.edge, self.stop[at] - r.edge
            for i, inside, laps in zip(at.tolist(), (a >= low) & (b <= high), (b > low) & (a < high), strict=True):
                if inside or (laps and i not in out):
                    out[i] = UNDER if inside else BEYOND
        return list(out.items())

    def _by_survey(self, r: Known) -> list[tuple[int, int]]:
        """The one row that is the anomaly of this repair: nothing else of metal loss may stand near it."""
        if r.survey is None or r.length is None:
            self._doubt(r, "neither its joint nor a surveyed distance is known in this listing")
            return []
        rows, t = self.rows, self.tolerances
        at = np.flatnonzero(self.loss & (np.abs(rows["survey"] - r.survey) <= t.survey))
        hours = np.abs(rows["clock"][at] - (np.nan if r.clock is None else r.clock))
        apart = np.minimum(hours, 12 - hours)
        at = at[~(apart > t.clock)]
        sure = np.isfinite(apart[~(apart > t.clock)])
        at, sure = at[self._same_side(r, at)], sure[self._same_side(r, at)]
        if len(at) != 1 or not sure.all():
            found = "no row" if not len(at) else "several rows" if len(at) > 1 else "a row without a clock"
            self._doubt(r, f"{found} within {t.survey / 1000:g} m of its surveyed distance at its clock")
            return []
        i = int(at[0])
        # Where exactly it lies under the wrap is not known: it must be no longer than what was covered with room.
        reach = max(min(-low, high - r.length) for low, high in r.covers)
        return [(i, UNDER if rows["length"][i] <= r.length + 2 * max(reach, 0.0) else BEYOND)]

    def _same_side(self, r: Known, at: np.ndarray) -> np.ndarray:
        inner = self.rows["kind"][at] != METAL_LOSS
        return inner == r.internal

    def _doubt(self, r: Known, why: str) -> None:
        self.told.append(f"{r.name} ({r.state}) is not matched: {why}. Rows there are screened as if there were no "
                         "repair; look before anybody digs.")
