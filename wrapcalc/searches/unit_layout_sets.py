"""Which sets of units are searched, and in which order: the numbers of a problem, a bound of the rank of each set.

Lengths are whole numbers, so many to the mm; `length` of a set is from its first to its last side. See unit_layout.py.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wrapcalc.searches.unit_layout_lattice import Forbidden, Lattice, TooLarge
from wrapcalc.searches.unit_layout_order import Row, Rows, Spent, Zones

if TYPE_CHECKING:
    from wrapcalc.searches.unit_layout import Problem

OBJECTIVES = ("fewest units", "least waste", "joints away from the deepest metal", "symmetry", "oldest stock")
#: What each objective is called in the search of orders.
SHORT = dict(zip(OBJECTIVES, ("units", "waste", "joints", "symmetry", "age"), strict=True))
#: Whole numbers per mm: quarters of a millionth; the least distance from a closed keep-out.
PER_MM = 4_000_000
_APART = 4
#: Vectors of counts that are held at most; of all lattices together looked at, 64 shifts at once; layouts told.
LIMIT, WORK, _TOLD = 400_000, 400_000_000, 4
#: Distinct lengths of the sets of the first batch, and how it grows.
BATCH, GROWTH = 2, 4


def whole(x: float) -> int:
    return round(x * 1e6) * (PER_MM // 1_000_000)


class Asked:
    """The problem in whole numbers, and what follows from it without a search."""

    def __init__(self, p: Problem):
        self.p = p
        self.most = 1 if p.single else p.most_units
        self.joint, self.taper, self.beyond = whole(p.joint), whole(p.taper), whole(p.beyond)
        self.need = (whole(p.need[0]), whole(p.need[1]))
        self.least = self.need[1] - self.need[0] + 2 * self.taper
        self.widths = sorted({whole(u.width) for u in p.units})
        self.steps = np.array(self.widths, dtype=np.int64) - self.joint
        ordered = 1 + max((u.age_rank for u in p.units if u.count is not None), default=-1)
        self.ages: list[list[int]] = []  # of the pieces of each width, the oldest first, at most as many as a set has
        for width in self.widths:
            same = [u for u in p.units if whole(u.width) == width]
            ages = sorted(u.age_rank for u in same if u.count for _ in range(min(u.count, self.most)))
            ages += [ordered] * self.most if any(u.count is None for u in same) else []
            self.ages.append(ages[:self.most])
        self.caps = np.array([len(a) for a in self.ages], dtype=np.int64)
        named = tuple(p.objectives) + tuple(o for o in OBJECTIVES if o not in p.objectives)
        self.objectives = tuple(SHORT[o] for o in named)
        self.gap = max(-self.joint, 0)
        self.lap = max(self.joint, 0)
        self.spans = [(whole(k.start), whole(k.end), k.rule) for k in p.keep_outs]
        self.damage = (whole(p.damage[0]), whole(p.damage[1])) if p.damage and p.butted else None
        stations = sorted({whole(x) for x in p.deepest})
        if not stations:
            stations = [(whole(p.damage[0]) + whole(p.damage[1])) // 2] if p.damage else [0]
        self.stations = stations

    # -- joints: what their station, the end of the unit upstream, may not be -----------------------------------------
    def _at(self, start: int, end: int) -> tuple[int, int]:
        return start - self.gap, end + self.lap

    def no_joint(self) -> Forbidden:
        return [self._at(a - _APART, b + _APART) for a, b, rule in self.spans if rule == "no joint"]

    def over_damage(self) -> Forbidden:
        return [self._at(*self.damage)] if self.damage else []

    def near(self, r: int) -> Forbidden:
        """Closer than r to a station."""
        return [self._at(x - r, x + r) for x in self.stations]

    # -- ends ---------------------------------------------------------------------------------------------------------
    def starts(self, length: int) -> list[tuple[int, int]]:
        """Closed intervals in which a set of this length may start."""
        free = [(self.need[1] + self.taper - length, self.need[0] - self.taper)]
        for a, b, rule in self.spans:
            first, last = a - _APART, b + _APART
            up = (first + self.beyond, last + self.beyond)
            down = (first - self.beyond - length, last - self.beyond - length)
            barred = {"no part": [(down[0], up[1])], "no end": [up, down], "no joint": []}[rule]
            for low, high in barred:
                free = [part for f in free for part in ((f[0], min(f[1], low)), (max(f[0], high), f[1]))
                        if part[0] <= part[1]]
        return sorted(set(free))


class Search:
    """Batches of sets in the order of a bound of their rank, until nothing better can be left."""

    def __init__(self, asked: Asked):
        self.asked = asked
        self.exact = self.alternatives_exact = True
        self.found: list[Row] = []
        self.spare = WORK
        self.counts = {"sets": 0, "sets with room": 0, "sets searched": 0, "vectors": 0, "passes": 0,
                       "most units tried": 0}

    def run(self) -> list[Row]:
        """The best, at most four."""
        most, tried = self.asked.most, 0
        if self.asked.objectives[0] == "units":
            # one number of units after the other: what has more ranks behind, unless it alone is clear of the damage
            for n in range(1, most + 1):
                if len(self.found) == _TOLD and self.found[-1].key < (self._over_bound(), n):
                    return self.found
                lattice = self._lattice(n)
                if lattice is None:
                    break
                self._through(lattice, lattice.count == n)
                tried = n
                if self.spare < 0:
                    break
        else:
            tried, lattice = self._greatest(most)
            if lattice is not None:
                self._through(lattice, lattice.count > 0)
        if tried < most:
            self._left_out(self._bound_above(tried))
        return self.found

    def _left_out(self, bound: tuple) -> None:
        """Some sets were not searched: whether what was found is better than they can be."""
        self.exact &= bool(self.found) and self.found[0].key < bound
        self.alternatives_exact &= len(self.found) == _TOLD and self.found[-1].key < bound

    def _greatest(self, most: int) -> tuple[int, Lattice | None]:
        """The greatest number of units, at most so many, whose lattice can be held, and that."""
        lattice = self._lattice(most)
        if lattice is not None:
            return most, lattice
        low, high = 0, most - 1
        while low < high:
            n = (low + high + 1) // 2
            held = self._lattice(n)
            lattice, low, high = (lattice, low, n - 1) if held is None else (held, n, high)
        self.counts["most units tried"] = low
        return low, lattice

    def _bound_above(self, tried: int) -> tuple:
        """Rank at best of the sets of more units than these."""
        a, n = self.asked, tried + 1
        farthest = np.inf
        if a.p.butted and any(a.need[0] <= x <= a.need[1] for x in a.stations):
            # a unit lies over a station within the need: a joint of it is no farther than it is wide
            longest = a.most * int(a.steps.max()) + a.joint
            farthest = self._passable(a.steps.tolist(), (a.need[1] + a.taper - longest, a.need[0] - a.taper),
                                      (a.need[1] + a.taper, a.need[0] - a.taper + longest), a.widths[-1])
        least = {"units": n, "waste": 0, "joints": -farthest, "symmetry": 0,
                 "age": sum(sorted(age for ages in a.ages for age in ages)[:n])}
        return (self._over_bound(), *(least[o] for o in a.objectives))

    def _lattice(self, most: int) -> Lattice | None:
        a = self.asked
        try:
            out = Lattice(a.steps, a.caps, a.joint, most, a.least, LIMIT)
        except TooLarge:
            return None
        self.counts["vectors"] += len(out.units)
        self.counts["most units tried"] = most
        return out

    def _over_bound(self, widest: int | None = None) -> int:
        """1 where a joint must lie over the damage: no unit is as wide, and the damage is within the need."""
        d, need = self.asked.damage, self.asked.need
        widest = self.asked.widths[-1] if widest is None else widest
        return int(d is not None and self.asked.most > 1 and need[0] <= d[0] and d[1] <= need[1]
                   and widest < d[1] - d[0])

    def _through(self, lattice: Lattice, wanted: np.ndarray) -> None:
        """All sets of a lattice that are wanted and cover the need, batch by batch."""
        sets = np.flatnonzero(wanted & (lattice.length >= self.asked.least))
        self.counts["sets"] += len(sets)
        if not len(sets):
            return
        lengths = np.unique(lattice.length[sets])
        free = [self.asked.starts(int(length)) for length in lengths]
        room = np.array([bool(f) for f in free])
        sets = sets[room[np.searchsorted(lengths, lattice.length[sets])]]
        self.counts["sets with room"] += len(sets)
        flat = np.array([(*part, i) for i, f in enumerate(free) for part in f], dtype=np.int64).reshape(-1, 3)
        zones = Zones(*flat.T)
        bounds, values = self._bounds(lattice, sets, lengths, zones)
        order = np.lexsort(bounds.T[::-1])
        at, allowance = 0, BATCH
        while at < len(sets):
            if len(self.found) == _TOLD and self.found[-1].key < tuple(bounds[order[at]]):
                break
            taken = self._batch(lattice.length[sets[order[at:]]], allowance)
            batch = order[at:at + taken]
            at, allowance = at + taken, allowance * GROWTH
            try:
                self._search(lattice, sets[batch], lengths, zones, {k: v[batch] for k, v in values.items()},
                             bounds[batch])
            except Spent:
                self._left_out(tuple(bounds[batch[0]]))
                return

    @staticmethod
    def _batch(lengths: np.ndarray, allowance: int) -> int:
        """How many sets come next: as many as have not more distinct lengths than this."""
        _, first = np.unique(lengths, return_index=True)
        return len(lengths) if len(first) <= allowance else int(np.sort(first)[allowance])

    def _search(self, lattice: Lattice, sets: np.ndarray, lengths: np.ndarray, zones: Zones,
                values: dict[str, np.ndarray], bounds: np.ndarray) -> None:
        a = self.asked
        mine = zones.of_some(np.unique(np.searchsorted(lengths, lattice.length[sets])))
        if a.p.butted and lattice.count[sets].min() > 1:
            steps = a.steps[lattice.units[sets].any(axis=0)].tolist()
            ends = mine.low + lengths[mine.of], mine.high + lengths[mine.of]
            values["farthest"] = np.minimum(values["farthest"], self._passable(
                steps, (int(mine.low.min()), int(mine.high.max())), (int(ends[0].min()), int(ends[1].max())),
                int(values["farthest"].max())))
            column = 1 + a.objectives.index("joints")
            bounds[:, column] = np.maximum(bounds[:, column], -values["farthest"])
            if len(self.found) == _TOLD and self.found[-1].key < min(map(tuple, bounds.tolist())):
                return
        rows = Rows(lattice, sets, mine, lengths, sum(a.need), a.no_joint(), a.over_damage(),
                    a.near if a.p.butted else None, values, a.objectives, values["farthest"], self.found, self.spare)
        try:
            rows.search(_TOLD)
            self.counts["sets searched"] += len(sets)
        finally:
            self.found, self.spare = rows.found, rows.spare
            self.counts["passes"] += rows.passes

    def _bounds(self, lattice: Lattice, sets: np.ndarray, lengths: np.ndarray, zones: Zones
                ) -> tuple[np.ndarray, dict[str, np.ndarray]]:
        """Rank of each set at best, and the values of which the order knows nothing."""
        a, units, index = self.asked, lattice.units[sets], np.searchsorted(lengths, lattice.length[sets])
        age = np.zeros(len(sets), dtype=np.int64)
        for i, ages in enumerate(a.ages):
            age += np.concatenate([[0], np.cumsum(ages, dtype=np.int64)])[units[:, i]]
        count, length = lattice.count[sets], lattice.length[sets]
        off = np.full(len(lengths), np.iinfo(np.int64).max)
        wanted = ((sum(a.need) - lengths) // 2)[zones.of]
        np.minimum.at(off, zones.of, np.maximum(np.maximum(zones.low - wanted, wanted - zones.high), 0))
        values = {"units": count, "waste": length - a.least, "age": age}
        widest = np.array(a.widths)[len(a.widths) - 1 - np.argmax(units[:, ::-1] > 0, axis=1)]
        farthest = self._farthest(units, count, index, length, lengths, zones)
        values["farthest"] = np.where(np.isfinite(farthest), farthest, 0).astype(np.int64)
        columns = values | {"joints": -farthest, "symmetry": off[index]}
        over = np.array([self._over_bound(int(w)) for w in a.widths])[np.searchsorted(a.widths, widest)]
        over = np.where(count > 1, over, 0)
        values["over"] = over
        return np.stack([over, *(columns[o] for o in a.objectives)], axis=1).astype(float), values

    def _farthest(self, units: np.ndarray, count: np.ndarray, index: np.ndarray, length: np.ndarray,
                  lengths: np.ndarray, zones: Zones) -> np.ndarray:
        """Bound of the distance of joints from the stations: the stations fall into groups.

        Each group lies under one unit, a joint lies between two groups.
        """
        a = self.asked
        low, high = np.full(len(lengths), np.iinfo(np.int64).max), np.full(len(lengths), np.iinfo(np.int64).min)
        np.minimum.at(low, zones.of, zones.low)
        np.maximum.at(high, zones.of, zones.high)
        low, high = low[index], high[index]
        out = np.full(len(units), np.inf)
        if not a.p.butted:
            return out
        # stations outside the need may have no unit over them: only that joints are within the set is known
        for x in a.stations:
            out = np.minimum(out, np.maximum(np.abs(low - x), np.abs(high + length - x)))
        inside = [x for x in a.stations if a.need[0] <= x <= a.need[1]]
        up_to = [out]  # bound from the first stations only
        for j, last in enumerate(inside):
            bound = np.full(len(units), -np.inf)
            for i, first in enumerate(inside[:j + 1]):
                here = np.minimum(up_to[i], self._over_both(units, count, first, last, low + length, high))
                if i:
                    here = np.minimum(here, (first - inside[i - 1] - a.gap) // 2)
                bound = np.maximum(bound, here)
            up_to.append(bound)
        return np.where(count == 1, np.inf, np.maximum(up_to[-1], 0))

    def _passable(self, steps: list[int], starts: tuple[int, int], ends: tuple[int, int], most: int) -> int:
        """Bound of that distance, at most so much, for all rows of such units from these starts to these ends."""
        a, low = self.asked, 0
        fixed = a.no_joint()
        while low < most:
            r = (low + most + 1) // 2
            low, most = (r, most) if passes(steps, a.joint, starts, ends, fixed + a.near(r)) else (low, r - 1)
        return low

    def _over_both(self, units: np.ndarray, count: np.ndarray, first: int, last: int, end: np.ndarray,
                   start: np.ndarray) -> np.ndarray:
        """Greatest distance from two stations to the joints of one unit that lies over both, by set.

        end: least station of the downstream end of a set; start: greatest of its upstream end.
        """
        out = np.full(len(units), -np.inf)
        for i, width in enumerate(self.asked.widths):
            here = np.maximum(start + width - last, first - (end - width))
            here = np.where(count > 2, np.maximum(here, (width - (last - first)) // 2), here)
            out = np.where(units[:, i] > 0, np.maximum(out, here), out)
        return out


def passes(steps: list[int], joint: int, starts: tuple[int, int], ends: tuple[int, int], forbidden: Forbidden) -> bool:
    """False only if no row of such units, of any number, from these starts to these ends has its joints allowed.

    Between forbidden places that overlap there is no room, so that they are one; between the others lies a zone. Where
    joints can be in a zone that is as long as a unit is taken as all of it from the first place on, which is too much
    and never too little.
    """
    merged: list[list[int]] = []
    for a, b in sorted(forbidden):
        if merged and a < merged[-1][1]:
            merged[-1][1] = max(merged[-1][1], b)
        elif b > a:
            merged.append([a, b])
    edges = [min(starts[0], ends[0]), *(x for pair in merged for x in pair), ends[1]]
    reached = [(starts[0] + step + joint, starts[1] + step + joint) for step in steps]
    if any(low <= ends[1] and high >= ends[0] for low, high in reached):
        return True
    places: list[tuple[int, int]] = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        here = [(max(low, first), min(high, last)) for low, high in reached if low <= last and high >= first]
        if here and last - first >= min(steps):
            here = [(min(low for low, _ in here), last)]
        places += here
        reached += [(low + step, high + step) for low, high in set(here) for step in steps]
    return any(low <= ends[1] and high >= ends[0] for low, high in
               ((low + step, high + step) for low, high in places for step in steps))
