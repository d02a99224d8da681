"""Grouping of very many boxes along a line, each with gaps of its own: the same answer as `searches.clusters`, in a few
sweeps over whole arrays. Lengths in mm; `around` is arc on the outside of a pipe whose circumference is `ring`.

A sort along the line cuts it into stretches that a gap parts for good; in each, boxes that act as one are joined, the
box around them is taken, and that is repeated until nothing joins. A line of n boxes costs n log n and the pairs that
lie beside each other along the pipe.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

TOUCH = 1e-6  # by which a gap may be over the rule and still join, as in `searches.clusters`
_PAIRS = 2_000_000  # looked at together


@dataclass(frozen=True)
class Sheet:
    """Boxes on the unrolled pipe: x0 to x1 along, from y0 over `width` around; gaps that still join; ring."""

    x0: np.ndarray
    x1: np.ndarray
    y0: np.ndarray
    width: np.ndarray
    axial: np.ndarray
    around: np.ndarray
    ring: np.ndarray

    def taken(self, at: np.ndarray) -> Sheet:
        """Some of the boxes, by index."""
        return Sheet(*(getattr(self, f)[at] for f in self.__dataclass_fields__))


def stretches(s: Sheet) -> np.ndarray:
    """Number of the stretch of each box; boxes of two stretches never join. The widest gap of the line parts them."""
    order = np.argsort(s.x0, kind="stable")
    reach = np.maximum.accumulate(s.x1[order])
    out = np.empty(len(order), dtype=np.int64)
    out[order] = np.cumsum(np.append(0, s.x0[order][1:] - reach[:-1] > s.axial.max() + TOUCH)) if len(order) else []
    return out


def grouped(s: Sheet, stretch: np.ndarray) -> np.ndarray:
    """Label of each box: the least index of those it acts as one with. Gaps are alike in one stretch."""
    label = np.arange(len(s.x0))
    crowd = np.flatnonzero(np.bincount(stretch, minlength=1)[stretch] > 1)
    now, part, of = s.taken(crowd), stretch[crowd], np.arange(len(crowd))
    while True:
        linked = _linked(now, part)
        found, first = np.unique(linked, return_index=True)
        if len(found) == len(linked):
            break
        number = np.searchsorted(found, linked)
        of = number[of]
        now, part = envelopes(now, number, len(found)), part[first]
    owner = np.full(int(of.max(initial=-1)) + 1, len(label))
    np.minimum.at(owner, of, crowd)
    label[crowd] = owner[of]
    return label


def envelopes(s: Sheet, owner: np.ndarray, n: int) -> Sheet:
    """The box around each owner's boxes, 0 to n - 1; around the pipe the shortest arc that holds all."""
    order = np.argsort(owner, kind="stable")
    first = np.flatnonzero(np.diff(owner[order], prepend=-1))
    ring = np.maximum.reduceat(s.ring[order], first) if n else s.ring
    y0, width = arcs(s.y0, s.width, ring, owner)
    low, *high = (f.reduceat(v[order], first) if n else v for f, v in (
        (np.minimum, s.x0), (np.maximum, s.x1), (np.maximum, s.axial), (np.maximum, s.around)))
    return replace(s, x0=low, x1=high[0], y0=y0, width=width, axial=high[1], around=high[2], ring=ring)


def arcs(y0: np.ndarray, width: np.ndarray, ring: np.ndarray, owner: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(from, width) of the shortest arc that holds all arcs of each owner, as `case.boxes.shortest_arc` finds it.

    ring: circumference of each owner. An arc begins where one of its members begins; without a gap it is the ring.
    """
    start = np.mod(y0, ring[owner])
    order = np.lexsort((start, owner))
    o, s = owner[order], start[order]
    e = s + width[order]
    first = np.flatnonzero(np.diff(o, prepend=-1))
    if not len(first):
        return np.empty(0), np.empty(0)
    # How far the arcs reach that begin at or before each one, those that pass the seam included. One running maximum
    # of ranks, which whole numbers lay apart by owner, serves all owners: the reaches themselves lose no digit.
    seam = np.maximum.reduceat(e, first) - ring
    far = np.maximum(e, seam[o])
    by = np.argsort(far, kind="stable")
    rank = np.empty(len(far), np.int64)
    rank[by] = np.arange(len(far))
    reach = far[by][np.maximum.accumulate(rank + o * len(far)) - o * len(far)]
    gap = np.empty(len(s))
    gap[1:] = s[1:] - reach[:-1]
    last = np.append(first[1:], len(s)) - 1
    gap[first] = s[first] + ring - reach[last]
    most = np.maximum.reduceat(gap, first)
    at = np.minimum.reduceat(np.where(gap == most[o], np.arange(len(s)), len(s)), first)
    whole = most <= TOUCH
    return s[at], np.where(whole, ring, ring - most)


def _linked(s: Sheet, stretch: np.ndarray) -> np.ndarray:
    """Label of the connected boxes of each stretch."""
    order = np.argsort(s.x0, kind="stable")
    at = s.taken(order)
    low = np.arange(len(order)) + 1
    high = np.searchsorted(at.x0, at.x1 + at.axial + TOUCH, "right")
    count = np.maximum(high - low, 0)
    total, done, found = np.cumsum(count), 0, []
    while done < len(order):
        until = int(np.searchsorted(total, (total[done - 1] if done else 0) + _PAIRS, "right"))
        until = max(until, done + 1)
        i = np.repeat(np.arange(done, until), count[done:until])
        j = np.arange(len(i)) - np.repeat(np.cumsum(count[done:until]) - count[done:until], count[done:until])
        j += low[i]
        ahead = np.mod(at.y0[j] - at.y0[i], at.ring[i])
        gap = np.minimum(ahead - at.width[i], at.ring[i] - ahead - at.width[j])
        one = (gap <= at.around[i] + TOUCH) & (stretch[order[i]] == stretch[order[j]])
        found.append((order[i[one]], order[j[one]]))
        done = until
    i, j = (np.concatenate(v) for v in zip(*found, strict=True)) if found else (order, order)
    return _components(len(order), i, j)


def _components(n: int, i: np.ndarray, j: np.ndarray) -> np.ndarray:
    """The least index of each connected part: roots hang under the least they are paired with, paths are halved."""
    label = np.arange(n)
    while (apart := label[i] != label[j]).any():
        i, j = i[apart], j[apart]
        a, b = label[i], label[j]
        np.minimum.at(label, np.maximum(a, b), np.minimum(a, b))
        while not np.array_equal(label, up := label[label]):
            label = up
    return label
