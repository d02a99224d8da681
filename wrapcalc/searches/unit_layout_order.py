"""Orders and shifts of a row of units on whole numbers: which sets can be laid so that every joint is where it may be.

Words. A set is a vector of counts, one count for each width. `length` of a set is from the upstream side of its first
unit to the downstream side of its last. A joint behind the units u of a row that starts at s lies at s + length(u),
whatever the order within u: so a row is a path through the lattice of vectors, one unit a step, and a joint that may
not be in the open interval (a, b) forbids the vector u for the shifts a - length(u) < s < b - length(u).

Exactness. For a fixed path the shifts that are allowed are what is left of closed intervals after open ones are taken
out: a finite union of closed intervals, whose left ends are left ends of the given intervals or b - length(u), and
whose right ends are right ends or a - length(u). So a path with an allowed shift exists if and only if one exists at
one of these left ends, and the allowed shift nearest to a wanted one is the wanted one or one of these ends. At a given
shift, paths are found by dynamic programming over the lattice: 64 shifts at once, one bit each. The greatest distance r
of the joints from the stations is reached where two of these distances are equal or at an end of an interval: with all
inputs multiples of four it is a whole number, so that a layout at r and none at r + 1 prove r.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from wrapcalc.searches.unit_layout_lattice import ALL, BITS, LOW, Forbidden, Lattice


class Spent(Exception):
    """The search has looked at as many vectors as it may."""


@dataclass
class Zones:
    """Closed intervals of the shift for each length: flat arrays low, high and the index `of` their length."""

    low: np.ndarray
    high: np.ndarray
    of: np.ndarray

    def bits(self, shifts: np.ndarray, lengths: int) -> np.ndarray:
        out = np.zeros(lengths, dtype=np.uint64)
        here = LOW[np.searchsorted(shifts, self.high, "right")] & ~LOW[np.searchsorted(shifts, self.low, "left")]
        np.bitwise_or.at(out, self.of, here)
        return out

    def of_some(self, wanted: np.ndarray) -> Zones:
        keep = np.isin(self.of, wanted)
        return Zones(self.low[keep], self.high[keep], self.of[keep])


@dataclass(frozen=True)
class Row:
    """One row found. key: over the damage, objectives in order; then widths by index, shift and length."""

    key: tuple
    order: tuple[int, ...]
    shift: int
    length: int

    @property
    def rank(self) -> tuple:
        return (*self.key, self.order, self.shift)


@dataclass
class Rows:
    """The best rows among some sets of a lattice, each set once.

    sets: rows of the lattice; zones: shifts by length; lengths: distinct lengths; middle: twice the middle of the
    need; base, damage: forbidden places of joints, always and where a joint lies over the damage; near: forbidden
    places for a distance of at least r from the stations, None where distances do not count; values: the objectives
    that are known for a set without its order, "over" a bound of it; objectives in their order, "joints" and
    "symmetry" being those of position; farthest: a bound of the distance by set; found: rows known before, and then
    the best of all, the best first; spare: how many vectors may be looked at, 64 shifts at once.
    """

    lattice: Lattice
    sets: np.ndarray
    zones: Zones
    lengths: np.ndarray
    middle: int
    base: Forbidden
    damage: Forbidden
    near: Callable[[int], Forbidden] | None
    values: dict[str, np.ndarray]
    objectives: tuple[str, ...]
    farthest: np.ndarray
    found: list[Row]
    spare: int
    passes: int = 0
    index: np.ndarray = field(init=False)
    wanted: np.ndarray = field(init=False)
    _kept: tuple[np.ndarray, Lattice, np.ndarray] | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        self.index = np.searchsorted(self.lengths, self.lattice.length[self.sets])
        self.wanted = (self.middle - self.lengths) // 2

    def search(self, many: int) -> None:
        """Up to so many rows of different sets, those found before included. Raises Spent."""
        fits = self._promising(np.arange(len(self.sets)), self._worst(many))
        fits = self._possible(fits, self.base, self.zones)
        clear = fits[self.values["over"][fits] == 0]
        if self.damage:
            clear = self._possible(clear, self.base + self.damage, self.zones)
        while len(fits):
            over = not len(clear)
            one = self._one(fits if over else clear, over, self._worst(many))
            if one is None:  # and what is left is no better
                return
            self.found = sorted([*self.found, one[0]], key=lambda row: row.rank)[:many]
            if one[0] not in self.found:
                return
            clear, fits = clear[clear != one[1]], fits[fits != one[1]]

    def _worst(self, many: int) -> tuple | None:
        """The key that is to be beaten, once there are so many."""
        return self.found[-1].key if len(self.found) == many else None

    def _promising(self, some: np.ndarray, worst: tuple | None) -> np.ndarray:
        """Those that can reach the distance of a key that is to be beaten, where distance comes first."""
        if worst is None or self.near is None or self.objectives[0] != "joints" or not 0 < -worst[1] < np.inf:
            return some
        if worst[0] and not self.values["over"].all():  # may be better by being clear of the damage alone
            return some
        return self._possible(some, self.base + ([] if worst[0] else self.damage) + self.near(-worst[1]), self.zones)

    def _one(self, some: np.ndarray, over: bool, worst: tuple | None) -> tuple[Row, int] | None:
        """The best row of some sets that fit, and its set; None where it is worse than a key that is known."""
        forbidden = self.base + ([] if over else self.damage)
        zones, key = self.zones.of_some(self.index[some]), [int(over)]
        for name in self.objectives:
            if name == "joints":
                level = worst is not None and tuple(key) == worst[:len(key)] and 0 < -worst[len(key)] < np.inf
                some, forbidden, value = self._away(some, forbidden, zones, -worst[len(key)] if level else 0)
            elif name == "symmetry":
                some, zones, value = self._middle(some, forbidden, zones)
            else:
                values = self.values[name][some]
                value = int(values.min())
                some = some[values == value]
            key.append(value)
            if worst is not None and tuple(key) > worst[:len(key)]:
                return None
            zones = zones.of_some(self.index[some])
        order, shift, who = self._first(some, forbidden, zones)
        return Row(tuple(key), order, shift, int(self.lattice.length[self.sets[who]])), who

    def _part(self, some: np.ndarray) -> tuple[Lattice, np.ndarray]:
        """The lattice below these sets, their rows in it; of the last ones asked it is kept."""
        if self._kept is None or not np.array_equal(self._kept[0], some):
            self._kept = (some, *self.lattice.below(self.sets[some]))
        return self._kept[1:]

    # -- what is possible ---------------------------------------------------------------------------------------------
    def _shifts(self, some: np.ndarray, forbidden: Forbidden, zones: Zones, *, both: bool) -> np.ndarray:
        """Where an interval of allowed shifts can begin (both: or end), rising."""
        low, high = zones.low.min(), zones.high.max()
        out = [zones.low]
        lengths = self._part(some)[0].distinct
        for a, b in forbidden:
            for edge in (a, b) if both else (b,):
                first = np.searchsorted(lengths, edge - high, "left")
                out.append(edge - lengths[first:np.searchsorted(lengths, edge - low, "right")])
        if both:
            out.append(zones.high)
            out.append(np.clip(self.wanted[zones.of], zones.low, zones.high))
        shifts = np.unique(np.concatenate(out))
        return shifts[self._inside(shifts, zones)]

    @staticmethod
    def _inside(shifts: np.ndarray, zones: Zones) -> np.ndarray:
        """Shifts that lie in any of the intervals."""
        order = np.argsort(zones.low, kind="stable")
        reach = np.maximum.accumulate(zones.high[order])
        at = np.searchsorted(zones.low[order], shifts, "right") - 1
        return (at >= 0) & (shifts <= reach[at])

    def _scan(self, some: np.ndarray, forbidden: Forbidden, zones: Zones, shifts: np.ndarray
              ) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
        """64 shifts at a time: the shifts, the bits of those at which each set can be laid, the lattice's own bits."""
        lattice, rows = self._part(some)
        for at in range(0, len(shifts), BITS):
            part = shifts[at:at + BITS]
            self.spare -= len(lattice.units)
            if self.spare < 0:
                raise Spent
            whole, followed = lattice.reached(part, forbidden)
            self.passes += 1
            yield part, whole[rows] & zones.bits(part, len(self.lengths))[self.index[some]], followed

    def _possible(self, some: np.ndarray, forbidden: Forbidden, zones: Zones) -> np.ndarray:
        """Those that can be laid at all."""
        if not forbidden or not len(some):
            return some
        out = np.zeros(len(some), dtype=bool)
        for _, bits, _ in self._scan(some, forbidden, zones, self._shifts(some, forbidden, zones, both=False)):
            out |= bits != 0
            if out.all():
                break
        return some[out]

    # -- joints away from the stations --------------------------------------------------------------------------------
    def _away(self, some: np.ndarray, forbidden: Forbidden, zones: Zones, least: int
              ) -> tuple[np.ndarray, Forbidden, float]:
        """Greatest distance: those that reach it, the places then forbidden, minus the distance.

        least: what is worth finding; what is told where that is not reached is below it and no more than that.
        """
        single = some[self.lattice.count[self.sets[some]] == 1]
        if self.near is None or len(single):
            return (some if self.near is None else single), forbidden, -np.inf
        high = int(self.farthest[some].max())
        if least > high or (least and self._any(some, forbidden + self.near(least), zones) is None):
            return some, forbidden, 1 - least
        low = least
        ask, proving = high, True
        while low < high:
            path = self._any(some, forbidden + self.near(ask), zones)
            if path is None:
                high = ask - 1
            else:
                low = max(ask, self._of_path(path, forbidden, zones, high))
            # what was found is often the best already: that is asked in turn with halving the bracket
            proving = not proving
            ask = low + 1 if proving else (low + high + 1) // 2
        if low:
            forbidden = forbidden + self.near(low)
            some = self._possible(some, forbidden, zones)
        return some, forbidden, -low

    def _any(self, some: np.ndarray, forbidden: Forbidden, zones: Zones) -> tuple[int, np.ndarray] | None:
        """Some row that can be laid: index of its length, lengths up to each of its joints."""
        lattice, ends = self._part(some)
        for _, bits, followed in self._scan(some, forbidden, zones, self._shifts(some, forbidden, zones, both=False)):
            hit = np.flatnonzero(bits)
            if len(hit):
                bit = bits[hit[0]] & (~bits[hit[0]] + np.uint64(1))
                rows, row = [], int(ends[hit[0]])
                while lattice.count[row] > 1:
                    row = int(next(v for v in lattice.before[row] if followed[v] & bit))
                    rows.append(row)
                return int(self.index[some[hit[0]]]), lattice.length[rows]
        return None

    def _of_path(self, path: tuple[int, np.ndarray], forbidden: Forbidden, zones: Zones, high: int) -> int:
        """Greatest distance of this row over its shifts."""
        assert self.near is not None
        mine = zones.of_some(np.array([path[0]]))
        low = 0
        while low < high:
            r = (low + high + 1) // 2
            a, b = np.array(forbidden + self.near(r)).T
            a, b = (a[:, None] - path[1]).ravel(), (b[:, None] - path[1]).ravel()
            keep = (a < mine.high.max()) & (b > mine.low.min())
            a, b = a[keep], b[keep]
            shifts = np.concatenate([mine.low, b])
            shifts = shifts[self._inside(shifts, mine)]
            free = ~((shifts[:, None] > a) & (shifts[:, None] < b)).any(axis=1)
            low, high = (r, high) if free.any() else (low, r - 1)
        return low

    # -- the middle, and the first of equals --------------------------------------------------------------------------
    def _middle(self, some: np.ndarray, forbidden: Forbidden, zones: Zones) -> tuple[np.ndarray, Zones, int]:
        """Least distance from the middle: those that reach it, their shifts there, the distance."""
        wanted = self.wanted[self.index[some]]
        nearest = np.full(len(some), np.iinfo(np.int64).max)
        shifts = self._shifts(some, forbidden, zones, both=True)
        off = self._off(shifts, np.unique(wanted))
        nearby = np.argsort(off, kind="stable")
        for at in range(0, len(shifts), BITS):
            if off[nearby[at]] > nearest.min():
                break
            for part, bits, _ in self._scan(some, forbidden, zones, np.sort(shifts[nearby[at:at + BITS]])):
                for k, shift in enumerate(part):
                    here = (bits >> np.uint64(k)) & np.uint64(1) != 0
                    nearest[here] = np.minimum(nearest, np.abs(shift - wanted))[here]
        least = int(nearest.min())
        some = some[nearest == least]
        points_of, of = [], []
        for i in np.unique(self.index[some]):
            mine = zones.of_some(np.array([i]))
            points = np.unique([self.wanted[i] - least, self.wanted[i] + least])
            points = points[self._inside(points, mine)]
            points_of.append(points)
            of.append(np.full(len(points), i))
        at = np.concatenate(points_of)
        return some, Zones(at, at, np.concatenate(of)), least

    @staticmethod
    def _off(shifts: np.ndarray, wanted: np.ndarray) -> np.ndarray:
        """Distance of each shift from the nearest wanted one (rising)."""
        at = np.searchsorted(wanted, shifts)
        return np.minimum(np.abs(shifts - wanted[np.minimum(at, len(wanted) - 1)]),
                          np.abs(shifts - wanted[np.maximum(at - 1, 0)]))

    def _first(self, some: np.ndarray, forbidden: Forbidden, zones: Zones) -> tuple[tuple[int, ...], int, int]:
        """Among equals the first by its widths upstream first, then by its shift: order, shift, which set."""
        found = []
        shifts = np.unique(zones.low)
        lattice, rows = self._part(some)
        layers = int(lattice.count[-1])  # all of them have as many units
        for at in range(0, len(shifts), BITS):
            part = shifts[at:at + BITS]
            self.passes += 1
            ends = np.zeros(len(lattice.units) + 1, dtype=np.uint64)
            ends[rows] = zones.bits(part, len(self.lengths))[self.index[some]]
            allowed = lattice.allowed(part, forbidden)
            for n in range(layers - 1, 0, -1):
                a, b = lattice.edge[n], lattice.edge[n + 1]
                ends[a:b] = np.bitwise_or.reduce(ends[lattice.after[a:b]], axis=1) & allowed[a:b]
            order, row, bits = [], 0, ALL
            while len(order) < layers:
                kind = next((i for i, v in enumerate(lattice.after[row]) if ends[v] & bits), None)
                if kind is None:
                    break
                order.append(kind)
                row = int(lattice.after[row, kind])
                bits &= ends[row]
            else:
                first = int(bits) & -int(bits)
                found.append((tuple(order), int(part[first.bit_length() - 1]), int(some[rows == row][0])))
        return min(found)
