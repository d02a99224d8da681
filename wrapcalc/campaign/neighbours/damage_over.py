"""Dents, gouges and cracks of a listing that lie in or over metal loss: neither is judged as if it were alone.

Two boxes lie over each other when they overlap along the pipe, each at the outer of its readings and the loss with its
allowance on the length, and around it within the tolerance on clocks by which earlier repairs are matched. Without
clock or width a row lies all round the pipe. Other damage without length reaches one outside diameter either way of its
place: our judgement. Losses that act as one are one loss from their first edge to the last and over the arc that holds
them: what lies in a gap between them lies over all of them. A dent over a gouge or a crack has a stress riser as well.
Lengths in mm, clocks in hours.
"""

from __future__ import annotations

import copy
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from wrapcalc.campaign.cases.case_text import number
from wrapcalc.campaign.neighbours.neighbours import Convention, Group, edges
from wrapcalc.campaign.neighbours.sweep import TOUCH, arcs
from wrapcalc.campaign.rows.judging import LOSSES, WRAP
from wrapcalc.campaign.rows.other_damage import KINDS
from wrapcalc.campaign.rows.strength import NO_DATA, NO_REPAIR, OTHER, REDUCE, REPAIR
from wrapcalc.campaign.screening.known import Tolerances

#: Kinds by what is graver to find in metal loss; one of several is named.
_GRAVEST = ("crack", "dent", "gouge")
_PAIRS = 2_000_000  # looked at together
GROUP = "over the loss that acts as one here: "
#: How a name ends where the depth of the damage is known.
_DEPTH = re.compile(r" of the log, (\S+) mm deep(?: and \d+ more)?$")
#: Why such a row of metal loss is not judged as plain loss.
REASON = ("other damage lies over the metal loss, or over loss that acts as one with it (see damage over): no strength "
          "method and no wrap by the loss alone")
ASSUMED = ("A dent, gouge or crack whose box in the listing overlaps that of metal loss lies in that loss: a dent is "
           "judged with a stress riser, the loss gets no pressure and no wrap, and both have the nearer deadline. Loss "
           "that acts as one is one box from its first edge to the last. The boxes count at the outer reading of their "
           "places, and around the pipe within one hour of the clock.")
_DEADLINE = ("deadline_days", "deadline", "criterion", "citation")
_STRUCK = ("repair_factor", "remaining_life", "next_look", "probability", "probability_of_depth")


@dataclass(frozen=True)
class Links:
    """Pairs of rows by their places: `damage` (a dent, gouge or crack) lies over `under`, or over loss that acts as one
    with it. names: of the other row, "" for none; loss_under: the greatest depth of loss under other damage, that of
    what acts as one included, mm, NaN for none; told: what must be known."""

    damage: np.ndarray
    under: np.ndarray
    names: np.ndarray
    loss_under: np.ndarray
    told: tuple[str, ...] = ()

    @property
    def riser(self) -> np.ndarray:
        """Rows of other damage that lie over something."""
        out = np.zeros(len(self.names), bool)
        out[self.damage] = True
        return out


def links(rows: Mapping[str, np.ndarray], diameter: np.ndarray, how: Convention, groups: Sequence[Group] = ()) -> Links:
    """Which other damage lies over which loss. rows: as `Line.resolve` gives them; diameter: outside, of each; groups:
    of rows that act as one, as `neighbours.interacting` finds them."""
    kinds = rows["kind"]
    damage = np.flatnonzero(np.isin(kinds, KINDS))
    none = np.empty(0, np.int64)
    names, depth = np.full(len(kinds), "", object), np.full(len(kinds), np.nan)
    if not len(damage):
        return Links(none, none, names, depth)
    loss = np.flatnonzero(np.isin(kinds, LOSSES))
    dent = kinds[damage] == "dent"
    boxes = _Boxes(rows, diameter, how)
    a, b = (np.concatenate(x) for x in zip(
        boxes.pairs(damage, loss), boxes.pairs(damage[dent], damage[~dent]), strict=True))
    _name(rows, np.concatenate([a, b]), np.concatenate([b, a]), names)
    deep = np.zeros(len(kinds))
    of_loss = np.isin(kinds[b], LOSSES)
    np.fmax.at(deep, a[of_loss], rows["depth"][b[of_loss]])
    if groups:
        over, k = boxes.over_groups(damage, groups)
        np.fmax.at(deep, over, np.array([g.depth for g in groups])[k])
        more = _members(over, k, groups)
        a, b = _once(np.concatenate([a, more[0]]), np.concatenate([b, more[1]]), len(kinds))
        whole = np.full(len(kinds), "", object)
        _name(rows, np.concatenate([a, b]), np.concatenate([b, a]), whole)
        names[damage] = whole[damage]
        bare = np.flatnonzero((names == "") & (whole != ""))
        names[bare] = GROUP + whole[bare]
    return Links(a, b, names, np.where(deep > 0, deep, np.nan), _told(rows, damage))


def _members(over: np.ndarray, k: np.ndarray, groups: Sequence[Group]) -> tuple[np.ndarray, np.ndarray]:
    """Pairs of damage over the groups k with every row of them."""
    count = np.array([len(g.rows) for g in groups])
    rows, first = np.concatenate([np.array(g.rows) for g in groups]), np.cumsum(count) - count
    n = count[k]
    step = np.arange(int(n.sum())) - np.repeat(np.cumsum(n) - n, n)
    return np.repeat(over, n), rows[np.repeat(first[k], n) + step]


def _once(a: np.ndarray, b: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Each pair once."""
    pair = np.unique(a.astype(np.int64) * count + b)
    return pair // count, pair % count


def _told(rows: Mapping[str, np.ndarray], damage: np.ndarray) -> tuple[str, ...]:
    blank = int(np.isnan(rows["length"][damage]).sum())
    return (f"{blank} dents, gouges or cracks have no length: each is taken to reach one outside diameter either way "
            "when the metal loss under it is sought.",) if blank else ()


class _Boxes:
    """Rows as boxes on the unrolled pipe."""

    def __init__(self, rows: Mapping[str, np.ndarray], diameter: np.ndarray, how: Convention):
        kinds, blank = rows["kind"], np.isnan(rows["length"])
        x0, x1 = edges({"survey": rows["survey"], "length": np.where(blank, 0.0, rows["length"])}, how.place)
        more = np.where(np.isin(kinds, LOSSES), how.length_allowance / 2, np.where(blank, diameter, 0.0))
        self.x0, self.x1, self.ring = x0 - more, x1 + more, np.pi * diameter
        clock, width = rows["clock"], rows["width"]
        round_ = ~(np.isfinite(clock) & np.isfinite(width))
        self.width = np.where(round_, self.ring, np.minimum(width, self.ring))
        self.y0 = np.where(round_, 0.0, np.mod(clock / 12 * self.ring - width / 2, self.ring))

    def over_groups(self, damage: np.ndarray, groups: Sequence[Group]) -> tuple[np.ndarray, np.ndarray]:
        """Pairs of damage and the numbers of groups that it lies over, each group as one box."""
        count = [len(g.rows) for g in groups]
        rows, of = np.concatenate([np.array(g.rows) for g in groups]), np.repeat(np.arange(len(groups)), count)
        first = np.cumsum(count) - count
        n, ring = len(self.x0), np.maximum.reduceat(self.ring[rows], first)
        y0, width = arcs(self.y0[rows], self.width[rows], ring, of)
        whole = copy.copy(self)
        whole.x0 = np.append(self.x0, np.minimum.reduceat(self.x0[rows], first))
        whole.x1 = np.append(self.x1, np.maximum.reduceat(self.x1[rows], first))
        whole.ring, whole.y0, whole.width = (np.append(v, w) for v, w in (
            (self.ring, ring), (self.y0, y0), (self.width, width)))
        over, k = whole.pairs(damage, n + np.arange(len(groups)))
        return over, k - n

    def pairs(self, a: np.ndarray, b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Of rows a and b the pairs that lie over each other."""
        b = b[np.argsort(self.x0[b], kind="stable")]
        longest = float((self.x1[b] - self.x0[b]).max(initial=0.0))
        low = np.searchsorted(self.x0[b], self.x0[a] - longest - TOUCH)
        count = np.maximum(np.searchsorted(self.x0[b], self.x1[a] + TOUCH, "right") - low, 0)
        total, done, found = np.cumsum(count), 0, [(a[:0], a[:0])]
        while done < len(a):
            until = max(int(np.searchsorted(total, (total[done - 1] if done else 0) + _PAIRS, "right")), done + 1)
            i, n = np.arange(done, until), count[done:until]
            i, k = np.repeat(i, n), np.arange(int(n.sum())) - np.repeat(np.cumsum(n) - n, n)
            i, j = a[i], b[low[i] + k]
            over = self._over(i, j)
            found.append((i[over], j[over]))
            done = until
        i, j = (np.concatenate(x) for x in zip(*found, strict=True))
        return i, j

    def _over(self, i: np.ndarray, j: np.ndarray) -> np.ndarray:
        along = (self.x0[i] <= self.x1[j] + TOUCH) & (self.x0[j] <= self.x1[i] + TOUCH)
        ring = np.maximum(self.ring[i], self.ring[j])
        ahead = np.mod(self.y0[j] - self.y0[i], ring)
        gap = np.minimum(ahead - self.width[i], ring - ahead - self.width[j])
        return along & (gap <= Tolerances().clock / 12 * ring + TOUCH)


def _name(rows: Mapping[str, np.ndarray], owner: np.ndarray, other: np.ndarray, names: np.ndarray) -> None:
    """Of each owner the gravest of the others, and how many more there are. Of dents, gouges or cracks the deepest is
    named, one whose depth is not known first: what is said of one must not stand for a deeper one. Else the first by
    its name."""
    which, at = np.unique(other, return_inverse=True)
    kinds, ids, log, depth = (rows[n][which].tolist() for n in ("kind", "feature_id", "log_distance", "depth"))
    deep = [d if k in KINDS and d > 0 else math.inf for k, d in zip(kinds, depth, strict=True)]
    said = np.array([f"{k} {i} at {x / 1000:.3f} m of the log".replace("  ", " ")
                     + (f", {number(d)} mm deep" if math.isfinite(d) else "")
                     for k, i, x, d in zip(kinds, ids, log, deep, strict=True)], object)
    rank = np.array([_GRAVEST.index(k) if k in _GRAVEST else len(_GRAVEST) for k in kinds], int)
    by_text = np.unique(said.astype(str), return_inverse=True)[1].ravel()
    order = np.lexsort((by_text[at], -np.array(deep, float)[at], rank[at], owner))
    first = np.flatnonzero(np.diff(owner[order], prepend=-1))
    count = np.diff([*first.tolist(), len(order)])
    here = said[at[order[first]]]
    names[owner[order[first]]] = np.where(count > 1, here + np.array([f" and {n - 1} more" for n in count.tolist()],
                                                                     object), here)


def kind_of(name: str) -> str:
    """Kind of the other row by its name: "dent", "gouge" or "crack", "" for metal loss or nothing."""
    kind = name.removeprefix(GROUP).partition(" ")[0]
    return kind if kind in KINDS else ""


def depth_of(name: str) -> float:
    """Depth (mm) of the damage of such a name; NaN where it is not stated."""
    found = _DEPTH.search(name) if kind_of(name) else None
    return float(found[1]) if found else math.nan


def gravest_name(names: list[str]) -> str:
    """Of the names of several rows the one of the gravest damage: of one kind the deepest, without a depth first; then
    of a row that is itself under it; "" for none."""
    def key(n: str) -> tuple[int, float, bool, str]:
        deep = depth_of(n)
        return (_GRAVEST.index(kind_of(n)) if kind_of(n) else len(_GRAVEST),
                -math.inf if math.isnan(deep) else -deep, n.startswith(GROUP), n)
    return min((n for n in names if n), key=key, default="")


# -- answers ------------------------------------------------------------------------------------------------------
def take_links(rows: dict[str, np.ndarray], judged: dict[str, np.ndarray], found: Links, reason: int
               ) -> tuple[np.ndarray, tuple[str, ...]]:
    """Let the links stand in the answers; gives back which rows of loss are not judged as plain loss, and what is told.

    rows: `damage_over` is set in it; judged: answers of all rows, changed in place; reason: code of REASON.
    """
    names = rows["damage_over"] = found.names.copy()
    is_loss = np.isin(rows["kind"], LOSSES)
    marked = np.zeros(len(names), bool)
    marked[found.under] = True
    marked &= is_loss
    told = list(found.told)
    if not len(found.damage):
        return marked, tuple(told)
    owner, other = np.concatenate([found.damage, found.under]), np.concatenate([found.under, found.damage])
    _nearer_deadline(judged, owner, other)
    _not_plain(judged, marked, owner, other, reason)
    if count := int(marked.sum()):
        told.append(f"{count} rows of metal loss lie under a dent, gouge or crack of the listing, or act as one with "
                    "such a row: they are not judged as plain loss and get no wrap; see damage over.")
    told.append(f"{int(found.riser.sum())} dents, gouges or cracks lie over metal loss, or a dent over a gouge or a "
                "crack: a dent there is judged with a stress riser; see damage over.")
    return marked, tuple(told)


def _nearer_deadline(judged: dict[str, np.ndarray], owner: np.ndarray, other: np.ndarray) -> None:
    """Each row takes the nearest deadline of those with which it is linked, with its criterion."""
    days = judged["deadline_days"].copy()
    order = np.lexsort((other, days[other], owner))
    first = order[np.flatnonzero(np.diff(owner[order], prepend=-1))]
    sooner = first[days[other[first]] < days[owner[first]]]
    for name in _DEADLINE:
        judged[name][owner[sooner]] = judged[name][other[sooner]].copy()


def _not_plain(judged: dict[str, np.ndarray], marked: np.ndarray, owner: np.ndarray, other: np.ndarray, reason: int
               ) -> None:
    """Strike what rests on the loss alone; what may stay is insufficient data, what would be wrapped another repair."""
    word = judged["disposition"]
    milder = marked & np.isin(word, (NO_REPAIR, REDUCE, REPAIR))
    word[marked & (word == REPAIR)] = OTHER
    word[milder & (word != OTHER)] = NO_DATA
    judged["reason"][milder] = reason
    pick = np.flatnonzero(marked[owner] & (judged["exclusion"][owner] == 0) & (judged["exclusion"][other] > 0))
    pick = pick[np.argsort(other[pick], kind="stable")][::-1]  # the first along the line is written last
    judged["exclusion"][owner[pick]] = judged["exclusion"][other[pick]]
    for name, values in judged.items():
        if name in WRAP or name.startswith("units of ") or name in ("governing", "axial"):
            values[marked] = np.nan if values.dtype.kind == "f" else 0
        elif values.dtype.kind == "f" and (name in _STRUCK or name.startswith(("safe", "failure"))):
            values[marked] = np.nan


def of_case(row: Mapping[str, Any], kind: str) -> str:
    """Kind of defect of the case of a row: that of the damage over metal loss, which no strength method covers."""
    over = kind_of(str(row.get("damage_over") or ""))
    return over if over and kind not in KINDS else kind
