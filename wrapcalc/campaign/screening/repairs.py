"""What a screening makes of neighbours and of earlier repairs: rows that become one repair, rows that lie under one.

A *place* is a group of anomalies that act as one, or an anomaly by itself, for which a wrap is designed. Memory grows
with the places and with the rows near earlier repairs, not with the listing.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wrapcalc.campaign.line.windows import reach_of, taken
from wrapcalc.campaign.neighbours import damage_over, neighbours
from wrapcalc.campaign.neighbours import wraps as neighbour_wraps
from wrapcalc.campaign.rows.judging import LOSSES, Judge, Rows, gravest, take_graver
from wrapcalc.campaign.rows.strength import DISPOSITIONS, REPAIR
from wrapcalc.campaign.screening import known, ranking
from wrapcalc.campaign.screening.columns import LAST, block_of
from wrapcalc.campaign.screening.screen import NEIGHBOURS
from wrapcalc.campaign.tables import tables
from wrapcalc.campaign.tables.spill import Store
from wrapcalc.campaign.tables.tables import CODE, NUMBER, TEXT, WHOLE, Column

if TYPE_CHECKING:
    from wrapcalc.campaign.line.line import Line
    from wrapcalc.campaign.listing.mapping import Mapping

WHAT = ("act as one", "wraps become one")
_BUDGET, _AT_ONCE = 16_000_000, 65_536
#: A number that stands by itself in a sentence: a count of rows, which is added up over the windows.
_COUNT = re.compile(r"(?<![\w.])\d+(?![\w.])")
_OF_KNOWN = ("survey", "kind", "joint", "upstream_weld", "joint_length", "from_upstream_weld", "length", "clock",
             "depth")
#: What is asked of rows that act as one.
_OF_ONE = ("row", "feature_id", "kind", "group", "survey", "depth", "length", "width", "clock", "sound_wall",
           "clear_upstream", "clear_downstream")
_OF_WRAP = ("x0", "x1", "cover", "end", "depth", "layers", "safe_pressure")
_PLACE = Column("place", WHOLE)


def _columns() -> tuple[Column, ...]:
    """Columns of neighbours.csv: those of both kinds of joining."""
    out = [Column("what", CODE, words=WHAT), Column("repair", TEXT)]
    for name, unit in (neighbours.COLUMNS | neighbour_wraps.COLUMNS).items():
        if name.startswith("disposition"):
            out.append(Column(name, CODE, words=DISPOSITIONS))
        else:
            out.append(Column(name, TEXT if name in ("rows", "feature ids", "reason") else NUMBER, unit))
    return tuple(out)


def convention(line: Line) -> neighbours.Convention:
    """How the anomalies of a line lie and when they act as one, as its base case and its mapping say."""
    def base(field: str) -> float | None:
        given = line.case.get(field)
        return None if given is None else given.base

    how = neighbours.Convention(
        line.case.assessment.interaction, line.place,
        (base("assessment.interaction_axial"), base("assessment.interaction_around")),
        base("defect.length_allowance") or 0.0, base("defect.rejoin_gap"))
    how.refuse(line.file)
    return how


def _next_of(numbers: list[int]) -> Callable[[object], str]:
    """Gives the numbers one after the other."""
    left = iter(numbers)
    return lambda _: str(next(left))


class Repairs:
    """Takes windows of judged rows one after the other; answers for single rows when all are taken."""

    def __init__(self, line: Line, mapping: Mapping, judge: Judge, work: Path, register: Path | None):
        self.line, self.judge, self.work = line, judge, work
        self.how = convention(line)
        self.place, self.run_date = self.how.place, str(mapping.listing.run_date or "")
        self.joined = self.repairs = self.under = 0
        self._told: dict[str, list[int]] = {}
        self._late: list[str] = []
        self._groups = Store(work / "neighbours.arrow", tables.schema((*_columns(), _PLACE)), _BUDGET)
        self._of_row: list[np.ndarray] = []
        self._x0: list[np.ndarray] = []
        self._wraps: list[dict[str, np.ndarray]] = []
        self._places = 0
        self._known: list[known.Known] = []
        self._near: list[Rows] = []
        #: Whether other damage of the listing has no length: it may reach farther than it says.
        self.unsized = False
        self.made_from: dict[str, str] = {}
        if register is not None:
            from wrapcalc.register import current
            self._known, told = known.known_repairs(register, current(register))
            self._late += told

    @property
    def knows_any(self) -> bool:
        """Whether the register names a repair at all."""
        return bool(self._known)

    @property
    def told(self) -> tuple[str, ...]:
        """What the reader must know; counts are of the whole listing, in an order that does not depend on where the
        line is cut."""
        counted = [_COUNT.sub(_next_of(numbers), text) for text, numbers in sorted(self._told.items())]
        return (*counted, *self._late)

    def _tell(self, texts: tuple[str, ...]) -> None:
        for text in texts:
            numbers = [int(n) for n in _COUNT.findall(text)]
            before = self._told.setdefault(_COUNT.sub("0", text), [0] * len(numbers))
            before[:] = [a + b for a, b in zip(before, numbers, strict=True)]

    def reach(self, wall: float) -> float:
        """How far from its edge an anomaly may act with another, mm. wall: thickest of the listing, mm."""
        diameter, sound = (self.line.case.get(f"pipe.{n}") for n in ("outside_diameter", "sound_wall"))
        walls = [wall, *self.line.walls.tolist(), 0.0 if sound is None else sound.base]
        out = reach_of(self.how, 0.0 if diameter is None else diameter.base, max(w for w in walls if np.isfinite(w)))
        return out + diameter.base if self.unsized and diameter is not None else out

    # -- window by window ------------------------------------------------------------------------------------------
    def link(self, rows: Rows) -> None:
        """Find what acts as one, and other damage over metal loss, before the rows are judged: riser and loss_under go
        to `rows`."""
        diameter = self.judge.diameters(rows["group"])
        self._found = neighbours.interacting(rows, diameter, self.how)
        self._links = damage_over.links(rows, diameter, self.how, self._found.groups)
        rows["riser"], rows["loss_under"] = self._links.riser, self._links.loss_under

    def take(self, rows: Rows, judged: Rows, first: int) -> None:
        """Judge what acts as one as one (`judged` is changed), find what lies under other damage, what is wrapped, and
        what lies near an earlier repair. rows: as `link` left them; first: place of the first row in the order of the
        line."""
        found = self._found
        self._tell(found.told)
        place = np.full(len(rows["row"]), -1, np.int32)
        self._inside(rows, judged)
        one = None
        if found.groups:
            members = np.concatenate([np.array(g.rows) for g in found.groups])
            of = np.repeat(np.arange(len(found.groups)), [len(g.rows) for g in found.groups])
            asked, inside = self._beside(rows, found.groups, members, of)
            one = neighbours.as_one(asked, found, judged, self.judge, self.how)
            before = judged["disposition"][members]
            take_graver(judged, one.after, members, of)
            self._one_inside(asked, found, judged, one, inside)
            place[members] = self._places + of
        marked, told = damage_over.take_links(rows, judged, self._links, self.judge.reasons.code(damage_over.REASON))
        self._tell(told)
        if one is not None:
            self._spool(one, before, judged["disposition"][members], of, np.unique(of[marked[members]]))
            self._wrap_groups(rows, one, np.unique(of[marked[members]]))
            self._places += len(found.groups)
        self._wrap_rows(rows, judged, place)
        self._of_row.append(place)
        if self._known:
            near = np.flatnonzero(known.may_match(rows, self._known, known.Tolerances()))
            self._near.append({n: rows[n][near] for n in _OF_KNOWN} | {"at": near + first})

    def _inside(self, rows: Rows, judged: Rows) -> None:
        """Judge rows over a bend, a valve or a fitting again with that inside the repair; the graver answer stands."""
        at = np.flatnonzero((rows["inside"] != "") & np.isin(rows["kind"], LOSSES))
        if len(at):
            some = taken(rows, at)
            again = self.judge(some, self.line.inside(some["group"], some["inside"]))
            take_graver(judged, again, at, np.arange(len(at)))

    def _one_inside(self, asked: Rows, found: neighbours.Interaction, judged: Rows, one: neighbours.Joined,
                    inside: np.ndarray) -> None:
        """The same for what acts as one; the lower pressure of both stands in its columns, none being lowest."""
        which = np.flatnonzero(inside != "")
        if not len(which):
            return
        some = tuple(found.groups[k] for k in which.tolist())
        members = np.concatenate([np.array(g.rows) for g in some])
        of = np.repeat(np.arange(len(some)), [len(g.rows) for g in some])
        group = asked["group"].copy()
        group[members] = self.line.inside(group[members], inside[which][of])
        again = neighbours.as_one(asked | {"group": group}, neighbours.Interaction(some, found.of_row, ()), judged,
                                  self.judge, self.how)
        take_graver(judged, again.after, members, of)
        for name in ("safe pressure after", "safe pressure"):
            one.columns[name][which] = np.minimum(one.columns[name][which], again.columns[name])
        both = np.concatenate([one.columns["disposition after"][which], again.columns["disposition after"]])
        one.columns["disposition after"][which] = gravest(both, np.tile(np.arange(len(some)), 2), len(some))

    def _beside(self, rows: Rows, groups: tuple[neighbours.Group, ...], members: np.ndarray, of: np.ndarray
                ) -> tuple[Rows, np.ndarray]:
        """What is asked of rows that act as one, where a bend, a valve or the like may lie between them; and what is
        inside each of them."""
        asked = {n: rows[n] for n in _OF_ONE}
        x0, x1 = (np.array([getattr(g, n) for g in groups]) for n in ("x0", "x1"))
        number, inside = self.line.beside().over(x0, x1)
        over = members[number[of] >= 0]
        for name in ("clear_upstream", "clear_downstream"):
            asked[name] = asked[name].copy()
            asked[name][over] = 0.0
        return asked, inside

    def _spool(self, one: neighbours.Joined, before: np.ndarray, after: np.ndarray, of: np.ndarray,
               struck: np.ndarray) -> None:
        """Keep what was joined. struck: groups under other damage, which have no pressure."""
        count = len(one)
        for name in ("safe pressure after", "safe pressure"):
            one.columns[name][struck] = np.nan
        self.joined += count
        block = {c.name: np.full(count, "" if c.kind == TEXT else np.nan, object if c.kind == TEXT else float)
                 if c.kind != CODE else np.full(count, -1) for c in _columns()}
        block |= {n: v for n, v in one.columns.items()}
        block |= {"what": np.zeros(count, int), "disposition before": gravest(before, of, count),
                  "disposition": gravest(after, of, count), _PLACE.name: self._places + np.arange(count)}
        self._groups.add(tables.batch((*_columns(), _PLACE), block))

    def _wrap_groups(self, rows: Rows, one: neighbours.Joined, struck: np.ndarray) -> None:
        """Places and wraps of the groups; none where other damage lies over one."""
        x0, x1 = (np.array([getattr(g, n) for g in one.groups]) for n in ("x0", "x1"))
        self._x0.append(x0)
        if "wrap_feasible" not in one.after:
            return
        feasible = (one.after["disposition"] == REPAIR) & one.after["wrap_feasible"].astype(bool)
        at = np.setdiff1d(np.flatnonzero(feasible), struck)
        joint = np.array([_one(rows["joint"][list(one.groups[k].rows)]) for k in at.tolist()], dtype=object)
        answers = {n: np.asarray(v)[at] for n, v in one.after.items()}
        self._add_wraps(self._places + at, one.columns["feature ids"][at], x0[at], x1[at], x1[at] - x0[at], joint,
                        answers)

    def _wrap_rows(self, rows: Rows, judged: Rows, place: np.ndarray) -> None:
        """Places and wraps of the rows that are alone."""
        if "wrap_feasible" not in judged:
            return
        at = np.flatnonzero((place < 0) & (judged["disposition"] == REPAIR) & judged["wrap_feasible"].astype(bool))
        if not len(at):
            return
        some = {n: rows[n][at] for n in ("survey", "length")}
        x0, x1 = neighbours.edges(some, self.place)
        place[at] = self._places + np.arange(len(at))
        self._x0.append(x0)
        self._add_wraps(place[at], rows["feature_id"][at], x0, x1, some["length"], rows["joint"][at],
                        {n: v[at] for n, v in judged.items()})
        self._places += len(at)

    def _add_wraps(self, place: np.ndarray, label: np.ndarray, x0: np.ndarray, x1: np.ndarray, length: np.ndarray,
                   joint: np.ndarray, answers: Rows) -> None:
        """Wraps of places. Where the edge of an anomaly may lie in two ways the wrap covers both."""
        more = self.how.length_allowance / 2
        self._wraps.append({
            "place": place, "label": label, "joint": joint, "x0": x0 - more, "x1": x1 + more,
            "cover": answers["cover"] + (x1 - x0 - length), "end": answers["end_length"],
            "depth": answers["depth_used"],
            "layers": answers["layers"].astype(float), "safe_pressure": answers["safe_pressure"]})

    # -- when all windows are taken --------------------------------------------------------------------------------
    def finish(self, folder: Path) -> None:
        """Join wraps that come too close, number the repairs along the line, match earlier ones, write neighbours.csv.
        """
        self._place_of = np.concatenate([np.empty(0, np.int32), *self._of_row])
        x0 = np.concatenate([np.empty(0), *self._x0])
        self._of_row, self._x0 = [], []
        chain, groups, wraps, block = self._touching()
        rows = np.bincount(chain[self._place_of[self._place_of >= 0]], minlength=self._places)
        first = np.full(self._places, np.inf)
        np.minimum.at(first, chain, x0)
        several = np.flatnonzero(rows > 1)
        order = several[np.argsort(first[several], kind="stable")]
        self.repairs = len(order)
        names = np.full(self._places + 1, "", dtype=object)
        names[order] = [f"R{n:0{max(4, len(str(len(order))))}d}" for n in range(1, len(order) + 1)]
        self._names = np.append(names[chain], "")
        self._match()
        self._write(folder / NEIGHBOURS, wraps, groups, block)

    def _touching(self) -> tuple[np.ndarray, tuple[tuple[int, ...], ...], np.ndarray, dict[str, np.ndarray]]:
        """Chain of each place (a number of one of its places), groups of wraps, place of each wrap, their columns."""
        chain = np.arange(self._places)
        system = self.line.system
        if not self._wraps or system is None:
            return chain, (), np.empty(0, int), {}
        w = {n: np.concatenate([x[n] for x in self._wraps]) for n in self._wraps[0]}
        self._wraps = []
        found = neighbour_wraps.touching(
            neighbour_wraps.Wraps(**{n: w[n] for n in (*_OF_WRAP, "label", "joint")}),
            least_gap=system.ends.least_gap.base, over_girth_weld=system.ends.over_girth_weld == "yes")
        self._late += found.told
        for group in found.groups:
            at = w["place"][list(group)]
            chain[at] = at.min()
        return chain, found.groups, w["place"], found.columns

    def _match(self) -> None:
        """Which rows lie under earlier repairs."""
        self._under = None
        if not self._near:
            return
        near = {n: np.concatenate([x[n] for x in self._near]) for n in self._near[0]}
        self._near = []
        self._near_at = near.pop("at")
        self._under = u = known.under_repair(near, self._known, run_date=self.run_date, place=self.place,
                                             depth_allowance=self.line.depth_allowance)
        self._late += u.told
        self._sound = (u.status == known.UNDER) & ~np.isin(u.depth, known.NOT_CARRIED)
        self.under = int(self._sound.sum())

    def _write(self, path: Path, wraps: np.ndarray, groups: tuple[tuple[int, ...], ...], more: dict[str, np.ndarray]
               ) -> None:
        import pyarrow as pa
        columns = _columns()
        count = len(groups)
        with tables.open_table(path, columns, "csv", self._groups.rows + count) as table:
            for part in ranking.ranked(self._groups, np.arange(self._groups.rows), self.work, _AT_ONCE):
                names = pa.array(self._names[part.column(_PLACE.name).to_numpy()], pa.string())
                table.write(pa.record_batch([names if c.name == "repair" else part.column(c.name) for c in columns],
                                            schema=tables.schema(columns)))
            if count:
                names = self._names[[wraps[g[0]] for g in groups]]
                block = block_of(columns, more, count) | {"what": np.ones(count, int), "repair": names}
                table.write(tables.batch(columns, block))
        self._groups.drop()

    def last(self, rows: np.ndarray) -> dict[str, np.ndarray]:
        """The columns LAST of these rows (places in the order of the line)."""
        count = len(rows)
        out: dict[str, Any] = {c.name: np.full(count, "", object) if c.kind == TEXT else np.zeros(count, int)
                               if c.kind == CODE else np.full(count, np.nan) for c in LAST}
        out["repair"] = self._names[self._place_of[rows]]
        if (u := self._under) is not None and len(self._near_at):
            k = np.minimum(np.searchsorted(self._near_at, rows), len(self._near_at) - 1)
            at = np.flatnonzero(self._near_at[k] == rows)
            k = k[at]
            out["under repair"][at] = np.where(self._sound[k], u.repair[k], "")
            for name, values in (("known repair", u.repair), ("known repair is", u.status),
                                 ("depth against design", u.depth), ("planned depth", u.planned),
                                 ("carried depth", u.carried)):
                out[name][at] = values[k]
        return out


def _one(names: np.ndarray) -> str:
    """The name that all have, "" when they have several."""
    return str(names[0]) if len(set(names.tolist())) == 1 else ""
