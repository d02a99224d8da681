"""The lattice of sets of units by their counts: at which shifts every joint of some order is where it may be.

64 shifts at once, one bit each. See unit_layout_order.py.
"""

from __future__ import annotations

import math
from copy import copy
from functools import cached_property

import numpy as np

#: A forbidden place of joints: open interval of the station of a joint.
Forbidden = list[tuple[int, int]]
BITS = 64
LOW = np.array([(1 << j) - 1 for j in range(BITS + 1)], dtype=np.uint64)
ALL = LOW[-1]


class TooLarge(Exception):
    """The lattice has more vectors than the search may hold."""


class Lattice:
    """All vectors of counts that can still become a set of at most `most` units with the least length, by layers.

    steps: what one more unit of each width adds to the length, rising; caps: how many there are; joint: overlap of
    neighbours. Raises TooLarge for more than `limit` vectors.
    """

    def __init__(self, steps: np.ndarray, caps: np.ndarray, joint: int, most: int, least: int, limit: int):
        self.steps, self.caps, self.joint, self.most, self.least = steps, np.minimum(caps, most), joint, most, least
        kinds = len(steps)
        radix = [int(c) + 1 for c in self.caps]
        if math.prod(radix) < 2**62:
            self.strides = np.array([math.prod(radix[:i]) for i in range(kinds)], dtype=np.int64)
        else:  # sums of odd numbers drawn once, modulo 2**64: whether each vector has its own is looked at below
            self.strides = np.random.default_rng(5).integers(-2**62, 2**62, kinds) * 2 + 1
        layers, total = [np.zeros((1, kinds), dtype=np.int64)], 1
        while len(layers) <= most and len(layers[-1]):
            layers.append(self._next(layers[-1]))
            total += len(layers[-1])
            if total > limit:
                raise TooLarge
        if not len(layers[-1]):
            layers.pop()
        self.units = np.concatenate(layers)
        self.count = np.repeat(np.arange(len(layers)), [len(x) for x in layers])
        self.length = self.units @ steps + np.where(self.count > 0, joint, 0)
        self.edge = np.searchsorted(self.count, np.arange(len(layers) + 1))
        self.before = self._before()

    def below(self, sets: np.ndarray) -> tuple[Lattice, np.ndarray]:
        """The part in which all orders of these sets lie, and their rows in it."""
        below = (self.units <= self.units[sets].max(axis=0)).all(axis=1)
        rows = np.flatnonzero(below & (self.count <= self.count[sets].max()))
        new = np.full(len(self.units) + 1, len(rows), dtype=np.intp)
        new[rows] = np.arange(len(rows))
        out = copy(self)
        out.units, out.count, out.length = self.units[rows], self.count[rows], self.length[rows]
        out.edge = np.searchsorted(out.count, np.arange(out.count[-1] + 2))
        out.before = new[self.before[rows]]
        for name in ("by_length", "sorted_length", "distinct", "after"):
            out.__dict__.pop(name, None)
        return out, new[sets]

    @cached_property
    def by_length(self) -> np.ndarray:
        """Rows by rising length."""
        return np.argsort(self.length, kind="stable")

    @cached_property
    def sorted_length(self) -> np.ndarray:
        return self.length[self.by_length]

    @cached_property
    def distinct(self) -> np.ndarray:
        """Lengths behind which a joint can lie."""
        return np.unique(self.length[1:])

    def _next(self, layer: np.ndarray) -> np.ndarray:
        """One unit more, never of a width below one that is there, so that each vector is made once."""
        out = []
        for i in range(len(self.steps)):
            grown = layer[(layer[:, i + 1:] == 0).all(axis=1) & (layer[:, i] < self.caps[i])].copy()
            grown[:, i] += 1
            out.append(grown)
        grown = np.concatenate(out)
        grown = grown[self._longest(grown) >= self.least]
        codes = grown @ self.strides
        order = np.argsort(codes)
        if (np.diff(codes[order]) == 0).any():
            raise TooLarge
        return grown[order]

    def _longest(self, units: np.ndarray) -> np.ndarray:
        """Greatest length that each can still have: the widest of what is left on top."""
        left = self.most - units.sum(axis=1)
        out = units @ self.steps + self.joint
        for i in range(len(self.steps) - 1, -1, -1):
            taken = np.minimum(self.caps[i] - units[:, i], left)
            out += taken * self.steps[i]
            left = left - taken
        return out

    def _before(self) -> np.ndarray:
        """Row of the vector with one unit less of each width; one behind the last row where there is none."""
        codes = self.units @ self.strides
        out = np.full(self.units.shape, len(codes), dtype=np.intp)
        for n in range(1, len(self.edge) - 1):
            here, low = slice(self.edge[n], self.edge[n + 1]), slice(self.edge[n - 1], self.edge[n])
            for i, stride in enumerate(self.strides):
                has = self.units[here, i] > 0
                out[here, i][has] = self.edge[n - 1] + np.searchsorted(codes[low], (codes[here] - stride)[has])
        return out

    @cached_property
    def after(self) -> np.ndarray:
        """Row of the vector with one unit more of each width; one behind the last row where there is none."""
        size, kinds = self.units.shape
        out = np.full((size + 1, kinds), size, dtype=np.intp)
        for i in range(kinds):
            out[self.before[:, i], i] = np.arange(size)
        out[size] = size
        return out

    def allowed(self, shifts: np.ndarray, forbidden: Forbidden) -> np.ndarray:
        """Bits of the shifts (rising, at most 64) at which a joint may lie behind each vector."""
        out = np.full(len(self.units), ALL)
        for a, b in forbidden:
            low = np.searchsorted(self.sorted_length, a - shifts[-1], "right")
            high = np.searchsorted(self.sorted_length, b - shifts[0], "left")
            rows, length = self.by_length[low:high], self.sorted_length[low:high]
            first = np.searchsorted(shifts, a - length, "right")
            last = np.searchsorted(shifts, b - length, "left")
            out[rows] &= ~(LOW[last] & ~LOW[first])
        return out

    def reached(self, shifts: np.ndarray, forbidden: Forbidden) -> tuple[np.ndarray, np.ndarray]:
        """Bits of the shifts at which each vector can be laid: as a whole row, and with one more unit to follow."""
        allowed = self.allowed(shifts, forbidden)
        whole = np.zeros(len(self.units) + 1, dtype=np.uint64)
        followed = np.zeros_like(whole)
        whole[0] = followed[0] = LOW[len(shifts)]
        for n in range(1, len(self.edge) - 1):
            a, b = self.edge[n], self.edge[n + 1]
            whole[a:b] = np.bitwise_or.reduce(followed[self.before[a:b]], axis=1)
            followed[a:b] = whole[a:b] & allowed[a:b]
        return whole, followed
