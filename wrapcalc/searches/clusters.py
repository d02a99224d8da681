"""Which pits act as one: regions of a grid, boxes, interaction rules, clusters, and the river bottom of a cluster.

Lengths are in mm; `around` is arc on the outside, clockwise facing downstream. No rule of interaction is prescribed by
regulation; the rules known differ by more than ten times, so the case must choose one and say why.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wrapcalc.case.boxes import Boxes, shortest_arc
from wrapcalc.errors import CalculationError, UnknownItem
from wrapcalc.standards.documents import B31G_2012, DNV_F101, KIEFNER_VIETH, PRACTICE

__all__ = ["RULES", "Boxes", "Cluster", "Rule", "boxes_of_grid", "clusters", "interaction_rule", "profile_of_boxes",
           "profile_of_cluster", "thinned_profile"]

#: mm by which a gap may be over the rule and still join: what arithmetic leaves behind must not part two pits.
_TOUCH = 1e-6
#: mm over which the side of a pit of a table falls to sound wall, outside the pit.
SIDE = 0.01
_PAIRS = 2_000_000  # looked at together: some arrays of 16 MB
_NEAR = 16  # neighbours that are tried first


# -- rules --------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Rule:
    """Gaps (mm) up to which two boxes act as one: both must be kept. words: the rule; status: as for formulas."""

    axial: float
    around: float
    name: str
    words: str
    citation: str
    status: str


@dataclass(frozen=True, slots=True)
class _Known:
    """A rule that is known by name. Gaps are multiples of the wall t, of sqrt(D t), or mm."""

    words: str
    citation: str
    status: str
    axial: tuple[float, str]
    around: tuple[float, str]


#: Every rule we know but the case's own; the multipliers stand here and nowhere else.
RULES: dict[str, _Known] = {
    "3t": _Known("gap of at most 3 walls along and around", B31G_2012.id, "from memory", (3, "t"), (3, "t")),
    "6t": _Known("gap of at most 6 walls along and around", PRACTICE.id, "common practice", (6, "t"), (6, "t")),
    "1 in x 6t": _Known("gap of at most 25.4 mm along and 6 walls around", KIEFNER_VIETH.id, "from memory",
                        (25.4, "mm"), (6, "t")),
    # around: an angle of 360 degrees times sqrt(t/D), whose arc on the diameter D is pi sqrt(D t)
    "2 sqrt(Dt)": _Known("gap of at most 2 √(D t) along and π √(D t) around", DNV_F101.id, "from memory",
                         (2, "sqrt(Dt)"), (math.pi, "sqrt(Dt)")),
}


def interaction_rule(name: str, D: float, t: float, own_axial: float | None = None,
                     own_around: float | None = None) -> Rule:
    """The rule of that name for a pipe of outside diameter D and wall t (mm); "own" takes its gaps (mm) as stated.

    Raises UnknownItem for another name, CalculationError for sizes that are none or an own rule without its gaps.
    """
    if name == "own":
        if own_axial is None or own_around is None or not (0 <= own_axial < math.inf and 0 <= own_around < math.inf):
            raise CalculationError(f"own interaction rule: gaps of 0 mm or more along and around are needed; got "
                                   f"{own_axial} and {own_around}")
        return Rule(float(own_axial), float(own_around), name, f"gap of at most {own_axial:g} mm along and "
                    f"{own_around:g} mm around, the case's own rule", PRACTICE.id, "common practice")
    if name not in RULES:
        raise UnknownItem("interaction rule", name, [*RULES, "own"])
    if not (math.isfinite(D) and 0 < 2 * t < D):
        raise CalculationError(f"interaction rule: the wall {t:g} mm must be above 0 and below half the diameter "
                               f"{D:g} mm")
    known, scale = RULES[name], {"t": t, "sqrt(Dt)": math.sqrt(D * t), "mm": 1.0}
    axial, around = (factor * scale[of] for factor, of in (known.axial, known.around))
    return Rule(axial, around, name, known.words, known.citation, known.status)


# -- regions of a grid --------------------------------------------------------------------------------------------
def boxes_of_grid(axial: np.ndarray, around: np.ndarray, depth: np.ndarray,
                  circumference: float | None = None) -> Boxes:
    """One box for each connected region of loss: readings above 0 that are neighbours, diagonal ones included.

    axial (n), around (m): rising stations; depth (m, n). A box runs from the station before the first loss to the
    station after the last, where sound wall was read: loss may reach that far. At the rim of the grid it runs one step
    beyond. With the circumference given, a grid whose last row is next to its first (nearer than one and a half of its
    greatest steps) is closed, and regions go on across its seam. Boxes are in reading order. Raises CalculationError.
    """
    x, y, depth = _grid(axial, around, depth)
    missing = math.inf if circumference is None else circumference - (y[-1] - y[0])
    closed = -_TOUCH <= missing <= 1.5 * np.diff(y).max()
    row, start, end, flat, label = _regions(depth > 0, closed)
    if not len(row):
        return Boxes(*[np.empty(0)] * 5)
    deep = np.maximum.reduceat(np.append(np.pad(depth, ((0, 0), (0, 1))).ravel(), 0.0), flat)
    order = np.argsort(label, kind="stable")
    first = np.flatnonzero(np.diff(label[order], prepend=-1))
    before_x, after_x = np.append(2 * x[0] - x[1], x), np.append(x, 2 * x[-1] - x[-2])
    if closed:
        before_y, after_y = np.append(y[-1] - circumference, y), np.append(y, y[0] + circumference)
    else:
        before_y, after_y = np.append(2 * y[0] - y[1], y), np.append(y, 2 * y[-1] - y[-2])
    low, high = np.minimum.reduceat(row[order], first), np.maximum.reduceat(row[order], first)
    y0, y1 = before_y[low], after_y[high + 1]
    if closed:
        ends = np.append(first[1:], len(order))
        for k in np.flatnonzero((low == 0) & (high == len(y) - 1)):
            y0[k], y1[k] = _around_seam(np.unique(row[order[first[k]:ends[k]]]), y, float(circumference))  # type: ignore
    return Boxes(before_x[np.minimum.reduceat(start[order], first)], after_x[np.maximum.reduceat(end[order], first)],
                 y0, y1, np.maximum.reduceat(deep[order], first))


def _grid(axial: np.ndarray, around: np.ndarray, depth: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    x, y, depth = (np.asarray(v, dtype=float) for v in (axial, around, depth))
    if x.ndim != 1 or y.ndim != 1 or depth.shape != (len(y), len(x)) or len(x) < 2 or len(y) < 2:
        raise CalculationError(f"grid: {x.shape} axial and {y.shape} circumferential stations, {depth.shape} depths; "
                               "two stations or more each way and a depth for each pair are needed")
    if not ((np.diff(x) > 0).all() and (np.diff(y) > 0).all() and np.isfinite(x).all() and np.isfinite(y).all()):
        raise CalculationError("grid: the stations must be numbers that rise from one to the next")
    if not ((depth >= 0) & (depth < np.inf)).all():
        raise CalculationError("grid: every depth must be a number and not negative")
    return x, y, depth


def _regions(loss: np.ndarray, closed: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Runs of loss along the rows: row, first column, column after the last, flat start, and region of each.

    Runs are numbered in reading order, in a sheet with one sound column added, so that a run and its neighbours in the
    next row are found by two look-ups in sorted lists: no cell is visited one by one.
    """
    m, n = loss.shape
    wide = n + 1
    sheet = np.zeros(m * wide + 1, dtype=np.int8)
    sheet[1:].reshape(m, wide)[:, :n] = loss
    change = np.diff(sheet)
    starts, ends = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
    i, j = _neighbours(starts + wide, ends + wide, starts, ends)
    if closed:
        in_last = np.flatnonzero(starts >= (m - 1) * wide)
        back = (m - 1) * wide
        p, q = _neighbours(starts[in_last] - back, ends[in_last] - back, starts, ends)
        i, j = np.concatenate([i, in_last[p]]), np.concatenate([j, q])
    root = _joined(np.arange(len(starts)), i, j)
    row = starts // wide
    return row, starts - row * wide, ends - row * wide, starts, np.unique(root, return_inverse=True)[1]


def _neighbours(start: np.ndarray, end: np.ndarray, starts: np.ndarray, ends: np.ndarray
                ) -> tuple[np.ndarray, np.ndarray]:
    """Pairs (k, run): runs that touch the interval start[k] to end[k] or lie one cell beside it."""
    return _expanded(np.searchsorted(ends, start, "left"), np.searchsorted(starts, end, "right"))


def _expanded(low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pairs (k, v) for each v from low[k] up to but not including high[k]."""
    count = np.maximum(high - low, 0)
    k = np.repeat(np.arange(len(low)), count)
    return k, np.arange(len(k)) + np.repeat(low - (np.cumsum(count) - count), count)


def _joined(label: np.ndarray, i: np.ndarray, j: np.ndarray) -> np.ndarray:
    """Labels after the pairs i, j are joined: the least index of each component. label[label] == label at the start.

    Union-find for whole lists of pairs: each root hangs under the least root it is paired with, then paths are halved
    until all point at their root; pairs that are not yet one go on.
    """
    while True:
        a, b = label[i], label[j]
        apart = a != b
        if not apart.any():
            return label
        i, j, a, b = i[apart], j[apart], a[apart], b[apart]
        label = label.copy()
        np.minimum.at(label, np.maximum(a, b), np.minimum(a, b))
        while not np.array_equal(label, up := label[label]):
            label = up


def _around_seam(rows: np.ndarray, y: np.ndarray, circumference: float) -> tuple[float, float]:
    """From, to of a region that goes on from the last row to the first: y0 stands low in the sheet, y1 above it."""
    if len(rows) == len(y):
        return float(y[0]), float(y[0]) + circumference
    split = int(np.argmax(np.diff(rows))) + 1  # rows[split:] come before the seam, rows[:split] after it
    return float(y[rows[split] - 1]), float(y[rows[split - 1] + 1]) + circumference


# -- clusters -----------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Cluster:
    """Boxes that act as one. members: indices of the boxes, rising; x0 to x1 along, y0 to y1 around; greatest depth.

    y0 is that of the member where the arc begins; an arc across the seam of the sheet has y1 above the circumference.
    """

    members: tuple[int, ...]
    x0: float
    x1: float
    y0: float
    y1: float
    depth: float
    circumference: float

    @property
    def length(self) -> float:
        """Axial length, mm."""
        return self.x1 - self.x0

    @property
    def width(self) -> float:
        """Arc around, mm."""
        return self.y1 - self.y0


def clusters(boxes: Boxes, rule: Rule, circumference: float, envelope: bool = True) -> list[Cluster]:
    """The boxes grouped by the rule, right across 12 o'clock; clusters in the order of x0, then y0.

    Two boxes act as one when their gap along is at most rule.axial and their gap around at most rule.around (0 where
    they overlap; the shorter way round). Chains of such pairs are one cluster. With `envelope` the boxes around the
    clusters are then grouped by the same rule, again and again until nothing joins. The result does not depend on the
    order of the boxes, nor on where around the pipe the sheet begins. Raises CalculationError for boxes that are none.
    """
    _refuse(boxes, circumference)
    group = np.arange(len(boxes))
    around = boxes
    # The result is the same whichever pairs are tried first, since a box only grows. Near ones alone go on while they
    # join many; the end is reached when all pairs join nothing.
    near = envelope
    while True:
        before = len(around)
        found = np.unique(_linked(around, rule, circumference, near), return_inverse=True)[1]
        group = found[group]
        around = _envelopes(boxes, group, circumference)
        if not near and (not envelope or len(around) == before):
            break
        near = envelope and len(around) < 0.9 * before
    members = _members(group)
    sides = np.stack([around.x0, np.mod(around.y0, circumference), around.x1, around.y1, around.depth])
    order = np.lexsort(sides[::-1])
    return [Cluster(tuple(members[k].tolist()), float(around.x0[k]), float(around.x1[k]), float(around.y0[k]),
                    float(around.y1[k]), float(around.depth[k]), float(circumference)) for k in order]


def _refuse(boxes: Boxes, circumference: float) -> None:
    if not (math.isfinite(circumference) and circumference > 0):
        raise CalculationError(f"clusters: the circumference {circumference:g} mm must be above 0")
    sides = np.stack([boxes.x0, boxes.x1, boxes.y0, boxes.y1, boxes.depth])
    if not np.isfinite(sides).all() or (boxes.x1 < boxes.x0).any() or (boxes.y1 < boxes.y0).any():
        raise CalculationError("clusters: a box has a side that is no number, or ends before it starts")


def _linked(boxes: Boxes, rule: Rule, circumference: float, near: bool) -> np.ndarray:
    """Label (n) of the connected boxes. near: only some neighbours of each are tried, in strips around the pipe."""
    low = np.arange(len(boxes)) + 1
    if near and len(boxes):
        strip = rule.axial + float(np.mean(boxes.x1 - boxes.x0)) + _TOUCH
        order = np.lexsort((boxes.y0, np.floor(boxes.x0 / strip)))
        high = np.minimum(low + _NEAR, len(boxes))
    else:
        order = np.argsort(boxes.x0, kind="stable")
        high = np.searchsorted(boxes.x0[order], boxes.x1[order] + rule.axial + _TOUCH, "right")
    x0, x1, y0 = boxes.x0[order], boxes.x1[order], boxes.y0[order]
    width = (boxes.y1 - boxes.y0)[order]
    label, done, total = np.arange(len(order)), 0, np.cumsum(np.maximum(high - low, 0))
    while done < len(order):
        until = int(np.searchsorted(total, (total[done - 1] if done else 0) + _PAIRS, "right"))
        until = max(until, done + 1)
        i, j = _expanded(low[done:until], high[done:until])
        i += done
        ahead = np.mod(y0[j] - y0[i], circumference)
        gap = np.minimum(ahead - width[i], circumference - ahead - width[j])
        one = gap <= rule.around + _TOUCH
        if near:
            one &= np.maximum(x0[j] - x1[i], x0[i] - x1[j]) <= rule.axial + _TOUCH
        label = _joined(label, i[one], j[one])
        done = until
    out = np.empty(len(order), dtype=np.intp)
    out[order] = label
    return out


def _members(group: np.ndarray) -> list[np.ndarray]:
    order = np.argsort(group, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(group[order])) + 1) if len(order) else []


def _envelopes(boxes: Boxes, group: np.ndarray, circumference: float) -> Boxes:
    """The box around each group; around the pipe the shortest arc that holds all."""
    order = np.argsort(group, kind="stable")
    first = np.flatnonzero(np.diff(group[order], prepend=-1))
    y0, y1 = boxes.y0[order][first], boxes.y1[order][first]
    for k, members in enumerate(_members(group)):
        if len(members) > 1:
            y0[k], y1[k] = shortest_arc(boxes.y0[members], boxes.y1[members], circumference)
    return Boxes(np.minimum.reduceat(boxes.x0[order], first), np.maximum.reduceat(boxes.x1[order], first), y0, y1,
                 np.maximum.reduceat(boxes.depth[order], first))


# -- river bottoms ------------------------------------------------------------------------------------------------
def profile_of_cluster(axial: np.ndarray, around: np.ndarray, depth: np.ndarray,
                       cluster: Cluster) -> tuple[np.ndarray, np.ndarray]:
    """River bottom of a cluster of a grid: stations (mm, rising) and depths (mm), 0 at both ends.

    At each axial station of the cluster the deepest reading of the rows within its arc, across the seam too. That is
    at least as deep as any path along the pipe. Where the grid ends with loss, a station of sound wall is added where
    the cluster ends, one step beyond. Raises CalculationError for a cluster that is not on the grid.
    """
    x, y, depth = _grid(axial, around, depth)
    rows = np.mod(y - cluster.y0 + _TOUCH, cluster.circumference) <= cluster.width + 2 * _TOUCH
    columns = np.flatnonzero((x >= cluster.x0 - _TOUCH) & (x <= cluster.x1 + _TOUCH))
    if not len(columns) or not rows.any():
        raise CalculationError("river bottom: the cluster does not lie on this grid")
    part = slice(columns[0], columns[-1] + 1)
    d, x_part = depth[rows, part].max(axis=0), x[part]
    head = [min(cluster.x0, x_part[0] - (x[1] - x[0]))] if d[0] > 0 else []
    tail = [max(cluster.x1, x_part[-1] + (x[-1] - x[-2]))] if d[-1] > 0 else []
    return np.concatenate([head, x_part, tail]), np.pad(d, (len(head), len(tail)))


def profile_of_boxes(boxes: Boxes, members: tuple[int, ...] | None = None) -> tuple[np.ndarray, np.ndarray]:
    """River bottom of pits of which only boxes are known, or of some of them: stations and depths, 0 at both ends.

    Each pit has its full depth over its whole length, the safe reading of a table; its sides fall to sound wall, or to
    the next pit, within 0.01 mm outside it. At each place along the deepest pit counts, wherever it is around.
    """
    some = boxes if members is None else boxes.taken(members)
    if not len(some):
        raise CalculationError("river bottom: there are no pits")
    x = np.unique(np.round(np.concatenate([some.x0 - SIDE, some.x0, some.x1, some.x1 + SIDE]), 6))
    low, high = np.searchsorted(x, some.x0 - _TOUCH), np.searchsorted(x, some.x1 + _TOUCH, "right")
    d = np.zeros(len(x))
    for k in np.argsort(some.depth, kind="stable"):  # the deepest last, over the others
        d[low[k]:high[k]] = some.depth[k]
    return x, d


def thinned_profile(x: np.ndarray, d: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The profile without stations on the straight line between their neighbours: same shape, same area.

    For drawings and areas. Not for the search of the weakest sub-length: a sub-length may begin or end at such a
    station, so that the lowest pressure could be missed.
    """
    x, d = np.asarray(x, dtype=float), np.asarray(d, dtype=float)
    if len(x) < 3:
        return x, d
    slope = np.diff(d) / np.diff(x)
    straight = np.abs(np.diff(slope)) * np.minimum(np.diff(x)[:-1], np.diff(x)[1:]) <= 1e-12 * max(d.max(), 1e-300)
    keep = np.concatenate([[True], ~straight, [True]])
    return x[keep], d[keep]
