"""Which anomalies of a listing act as one, and what they are as one: by the rule that the base case names, right across
12 o'clock, by the same functions as pits of a single case.

Lengths are in mm, clocks in hours. Which edge of an anomaly the log distance is of is a question of the listing:
without an answer two anomalies act as one when they do so with either of the usual readings, and their common length
is the longer of both. The thickest wall of a stretch of neighbours and the allowance on the lengths count for the gaps,
as in a single case. An anomaly without width or clock is taken all round the pipe.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from wrapcalc.campaign.neighbours.sweep import TOUCH, Sheet, envelopes, grouped, stretches
from wrapcalc.campaign.rows.judging import gravest
from wrapcalc.case.boxes import shortest_arc
from wrapcalc.case.model import INTERACTIONS, INTERNAL_LOSS, METAL_LOSS
from wrapcalc.errors import CalculationError, CaseFaults, Fault
from wrapcalc.searches.clusters import interaction_rule

#: Which edge of an anomaly its surveyed distance is of. Without an answer both of the first two count.
UPSTREAM_END, MIDDLE, DOWNSTREAM_END, NOT_STATED = "upstream end", "middle", "downstream end", "not stated"
PLACES = (UPSTREAM_END, MIDDLE, DOWNSTREAM_END, NOT_STATED)
#: Rule by which it is counted what would be joined where the base case names none.
TOLD_RULE = "6t"
_UNSTATED = "metal loss"  # of which the listing does not say the side
_LOSSES = (METAL_LOSS, INTERNAL_LOSS, _UNSTATED)
INTERACT, SPLIT = "the anomalies act as one by the rule of interaction", "the listing parts one anomaly at a girth weld"


@dataclass(frozen=True)
class Convention:
    """How the anomalies lie and when they act as one. Gaps and allowances in mm.

    rule: name as in assessment.interaction, None when the base case names none; own: its gaps along and around; place:
    of which edge the surveyed distance is; rejoin_gap: pieces of one anomaly cut at a girth weld are one up to it.
    """

    rule: str | None
    place: str = NOT_STATED
    own: tuple[float | None, float | None] = (None, None)
    length_allowance: float = 0.0
    rejoin_gap: float | None = None

    def __post_init__(self) -> None:
        if self.place not in PLACES:
            raise CalculationError(f"place of an anomaly: '{self.place}'; allowed: {', '.join(PLACES)}")

    def refuse(self, file: str) -> None:
        """Raises CaseFaults for a rule that cannot hold along a line."""
        if self.rule in (None, *INTERACTIONS[1:]):
            return
        raise CaseFaults([Fault(file, "assessment.interaction", f"'{self.rule}'", ", ".join(INTERACTIONS[1:]) +
                                ", or nothing", "all anomalies of a line cannot act as one: name a rule with a gap")])


@dataclass(frozen=True)
class Group:
    """Anomalies that act as one. rows: their places in the arrays, rising; reason; x0, x1 (mm, surveyed) of the metal
    lost, depth and width (mm), clock of the middle (hours); over_weld: a girth weld lies inside; both_sides: loss from
    within and from without, or of a side that is not stated: the depths are added (`deepest_of`), because clocks and
    places of a listing do not prove that they lie beside each other, and because the case of the group adds them, too.
    """

    rows: tuple[int, ...]
    reason: str
    x0: float
    x1: float
    depth: float
    width: float
    clock: float
    over_weld: bool
    both_sides: bool

    @property
    def length(self) -> float:
        """From the first edge to the last, mm."""
        return self.x1 - self.x0


@dataclass(frozen=True)
class Interaction:
    """All groups of two or more, along the line. of_row: group of each row, -1 alone. told: what the user must know."""

    groups: tuple[Group, ...]
    of_row: np.ndarray
    told: tuple[str, ...]


def edges(rows: Mapping[str, np.ndarray], place: str) -> tuple[np.ndarray, np.ndarray]:
    """Upstream and downstream edge (mm, surveyed) of each row; "not stated": of the two usual readings the outer."""
    at, length = rows["survey"], rows["length"]
    return {UPSTREAM_END: (at, at + length), MIDDLE: (at - length / 2, at + length / 2),
            DOWNSTREAM_END: (at - length, at), NOT_STATED: (at - length / 2, at + length)}[place]


def deepest_of(depth: np.ndarray, kind: np.ndarray) -> tuple[int, ...]:
    """Places of the rows whose depths, added, are the depth of loss that is one: the deepest row, or two where there
    may be loss from within and from without.

    Decided here: a side that is not stated may be either, so beside a stated one the two rows count that are deepest
    together and may be of two sides; no row is added to itself. Where no row states a side the deepest counts alone:
    a listing without sides is read as of one side, or every group of it would count twice; `interacting` tells that.
    """
    outer, inner = kind == METAL_LOSS, kind == INTERNAL_LOSS
    deepest = int(np.argmax(depth))
    if outer.all() or inner.all() or not (outer.any() or inner.any()):
        return (deepest,)
    from_out, from_in = (np.where(other, -np.inf, depth) for other in (inner, outer))
    pairs = []
    for one, two in ((from_out, from_in), (from_in, from_out)):
        first = int(np.argmax(one))
        rest = two.copy()
        rest[first] = -np.inf
        pairs.append((first, int(np.argmax(rest)), float(one[first] + rest.max())))
    a, b, _ = max(pairs, key=lambda p: p[2])
    return tuple(sorted((a, b)))


def interacting(rows: Mapping[str, np.ndarray], diameter: float | np.ndarray, how: Convention) -> Interaction:
    """Which rows act as one. rows: arrays kind, survey, length, width, clock, depth, nominal_wall, sound_wall, joint,
    weld, as `Line.resolve` gives them; diameter: outside, mm, one or one for each row. The order of the rows does not
    matter. Raises CalculationError for another place or a rule that is none."""
    told: list[str] = []
    use = _usable(rows, told)
    x = _Loss.of(rows, np.broadcast_to(np.asarray(diameter, float), rows["survey"].shape), use, how)
    if use.size and how.place == NOT_STATED:
        told.append("The mapping does not say which edge of an anomaly the log distance is of: anomalies act as one "
                    "when they do so read as the upstream end or as the middle, and the longer common length counts.")
    split = _split(rows, x, use, how, told)
    label = _linked(x, split, how.rule, how.own) if how.rule is not None else split
    if how.rule is None:
        would = _linked(x, split, TOLD_RULE, (None, None))
        count = len(use) - len(np.unique(would))
        if count:
            joined = int((np.bincount(would)[would] > 1).sum())
            told.append(f"The base case names no rule of interaction (assessment.interaction): each anomaly is judged "
                        f"alone. By {TOLD_RULE} {joined} of them would act as one with another.")
    groups = _groups(rows, x, use, label, split, how)
    if n := sum(all(k == _UNSTATED for k in rows["kind"][list(g.rows)].tolist()) for g in groups):
        told.append(f"{n} groups that act as one have no row whose side is stated: the loss counts as of one side, and "
                    "depths are not added; where it may come from within and from without state the side.")
    of_row = np.full(len(rows["survey"]), -1, dtype=np.int64)
    for k, g in enumerate(groups):
        of_row[list(g.rows)] = k
    return Interaction(tuple(groups), of_row, tuple(told))


def _usable(rows: Mapping[str, np.ndarray], told: list[str]) -> np.ndarray:
    """Rows of metal loss whose place, length and depth are known."""
    loss = np.isin(rows["kind"], _LOSSES)
    known = np.isfinite(rows["survey"]) & np.isfinite(rows["length"]) & np.isfinite(rows["depth"])
    if n := int((loss & ~known).sum()):
        told.append(f"{n} anomalies without place, length or depth are left out of the rule of interaction: whether "
                    "they act as one with their neighbours is not known.")
    if n := int((loss & known & ~(np.isfinite(rows["clock"]) & np.isfinite(rows["width"]))).sum()):
        told.append(f"{n} anomalies without width or clock are taken all round the pipe when neighbours are sought.")
    return np.flatnonzero(loss & known)


@dataclass(frozen=True)
class _Loss:
    """The usable rows as boxes on the unrolled pipe, as measured and with the allowance on their lengths; wall: that
    the rule takes for each, mm."""

    boxes: Sheet
    grown: Sheet
    wall: np.ndarray

    @classmethod
    def of(cls, rows: Mapping[str, np.ndarray], diameter: np.ndarray, use: np.ndarray, how: Convention) -> _Loss:
        x0, x1 = (e[use] for e in edges(rows, how.place))
        ring = np.pi * diameter[use]
        clock, width = rows["clock"][use], rows["width"][use]
        unknown = ~(np.isfinite(clock) & np.isfinite(width))
        width = np.where(unknown, ring, np.minimum(width, ring))
        y0 = np.where(unknown, 0.0, np.mod(clock / 12 * ring - width / 2, ring))
        wall = np.fmax(rows["nominal_wall"][use], rows["sound_wall"][use])
        if not (np.isfinite(wall).all() and np.isfinite(ring).all()):
            raise CalculationError("neighbours: a row has no wall or no diameter")
        none = np.zeros(len(use))
        boxes, more = Sheet(x0, x1, y0, width, none, none, ring), how.length_allowance / 2
        return cls(boxes, replace(boxes, x0=x0 - more, x1=x1 + more), wall)


# -- cut at a girth weld ------------------------------------------------------------------------------------------
def _split(rows: Mapping[str, np.ndarray], x: _Loss, use: np.ndarray, how: Convention, told: list[str]) -> np.ndarray:
    """Label of each usable row: pieces of one anomaly that the listing parts at a girth weld have the same."""
    label = np.arange(len(use))
    weld = rows["weld"][use]
    welds: dict[str, list[int]] = defaultdict(list)
    for i in np.flatnonzero(weld != "").tolist():
        welds[weld[i]].append(i)
    cut = {w: m for w, m in welds.items() if len(m) > 1}
    if cut and how.rejoin_gap is None:
        told.append(f"The listing parts anomalies at {len(cut)} girth welds; without defect.rejoin_gap they are joined "
                    "by the rule of interaction only.")
    elif how.rejoin_gap is not None:
        for members in cut.values():
            _rejoined(x, np.array(members), how.rejoin_gap, label)
    return label


def _rejoined(x: _Loss, members: np.ndarray, gap: float, label: np.ndarray) -> None:
    """Join pieces at one weld, as `case.pits.rejoined` does: gap at most `gap` along, lapping around, until none."""
    ring = float(x.boxes.ring[members].max())
    groups, boxes = [[int(m)] for m in members], [_box(x.boxes, int(m)) for m in members]
    k = 1
    while k < len(groups):
        near = next((j for j in range(k) if _laps(boxes[j], boxes[k], gap, ring)), None)
        if near is None:
            k += 1
            continue
        groups[near] += groups.pop(k)
        boxes.pop(k)
        mine = np.array([_box(x.boxes, m) for m in groups[near]]).T
        boxes[near] = (float(mine[0].min()), float(mine[1].max()), *shortest_arc(mine[2], mine[3], ring))
        k = 1
    for g in groups:
        label[g] = min(g)


def _laps(a: tuple[float, ...], b: tuple[float, ...], gap: float, circumference: float) -> bool:
    ahead = (b[2] - a[2]) % circumference
    lap = ahead <= a[3] - a[2] + TOUCH or circumference - ahead <= b[3] - b[2] + TOUCH
    return lap and max(b[0] - a[1], a[0] - b[1]) <= gap + TOUCH


# -- the rule -----------------------------------------------------------------------------------------------------
def _linked(x: _Loss, label: np.ndarray, name: str, own: tuple[float | None, float | None]) -> np.ndarray:
    """Labels after the rule, for boxes of which some are one already. The thickest wall of a stretch counts in it."""
    if not len(label):
        return label
    owner, number = np.unique(label, return_inverse=True)
    number = np.ravel(number)
    wall = np.zeros(len(owner))
    np.maximum.at(wall, number, x.wall)
    boxes = _with_gaps(envelopes(x.grown, number, len(owner)), wall, name, own)
    stretch = stretches(boxes)
    for values in (wall, boxes.ring):
        most = np.zeros(int(stretch.max()) + 1)
        np.maximum.at(most, stretch, values)
        values[:] = most[stretch]
    found = grouped(_with_gaps(boxes, wall, name, own), stretch)
    return owner[found][number]


def _with_gaps(boxes: Sheet, wall: np.ndarray, name: str, own: tuple[float | None, float | None]) -> Sheet:
    """The boxes with the gaps that the rule gives for their wall and diameter."""
    (rings, of_ring), (walls, of_wall) = (np.unique(x, return_inverse=True) for x in (boxes.ring, wall))
    kinds, which = np.unique(of_ring.ravel() * len(walls) + of_wall.ravel(), return_inverse=True)
    rules = [interaction_rule(name, rings[k // len(walls)] / np.pi, walls[k % len(walls)], *own)
             for k in kinds.tolist()]
    which = which.ravel()
    return replace(boxes, axial=np.array([r.axial for r in rules])[which],
                   around=np.array([r.around for r in rules])[which])


def _groups(rows: Mapping[str, np.ndarray], x: _Loss, use: np.ndarray, label: np.ndarray, split: np.ndarray,
            how: Convention) -> list[Group]:
    """The groups of two or more with their common boxes, along the line."""
    many = np.flatnonzero(np.bincount(label, minlength=1)[label] > 1) if len(label) else np.empty(0, int)
    many = many[np.argsort(label[many], kind="stable")]
    if not len(many):
        return []
    first = np.flatnonzero(np.diff(label[many], prepend=-1))
    owner = np.cumsum(np.append(0, np.diff(label[many]) != 0))
    at = use[many]
    around = envelopes(x.grown.taken(many), owner, len(first))
    some = {k: rows[k][at] for k in ("survey", "length")}
    read = [edges(some, p) for p in ((UPSTREAM_END, MIDDLE) if how.place == NOT_STATED else (how.place,))]
    ends = [(np.minimum.reduceat(a, first), np.maximum.reduceat(b, first)) for a, b in read]
    longest = np.argmax([b - a for a, b in ends], axis=0)
    x0, x1 = (np.choose(longest, [e[k] for e in ends]) for k in (0, 1))
    joints = np.unique(rows["joint"][at].astype(str), return_inverse=True)[1].ravel()
    crosses = np.minimum.reduceat(joints, first) != np.maximum.reduceat(joints, first)
    one = np.minimum.reduceat(split[many], first) == np.maximum.reduceat(split[many], first)
    depth, kind = rows["depth"][at], rows["kind"][at]
    clock = np.mod(around.y0 + around.width / 2, around.ring) / around.ring * 12
    out = []
    for k, (a, b) in enumerate(pairwise([*first.tolist(), len(many)])):
        deep = depth[a:b][list(deepest_of(depth[a:b], kind[a:b]))]
        out.append(Group(tuple(sorted(at[a:b].tolist())), SPLIT if one[k] else INTERACT, float(x0[k]), float(x1[k]),
                         float(deep.sum()), float(around.width[k]), float(clock[k]), bool(crosses[k]), len(deep) > 1))
    return sorted(out, key=lambda g: (g.x0, g.x1, g.clock, g.rows))


def _box(b: Sheet, i: int) -> tuple[float, float, float, float]:
    return float(b.x0[i]), float(b.x1[i]), float(b.y0[i]), float(b.y0[i] + b.width[i])


# -- judged again -------------------------------------------------------------------------------------------------
#: Columns of what was joined -> unit, "" for texts and counts.
COLUMNS = {"rows": "", "feature ids": "", "reason": "", "anomalies": "", "from": "mm", "to": "mm",
           "length before": "mm", "length after": "mm", "depth before": "mm", "depth after": "mm",
           "width after": "mm", "clock after": "h", "safe pressure before": "MPa", "safe pressure after": "MPa",
           "safe pressure": "MPa", "disposition before": "", "disposition after": "", "disposition": ""}
#: (rows, their groups) -> what a Screener answers: at least safe_pressure (MPa) and disposition (code).
Judge = Callable[[dict[str, np.ndarray], np.ndarray], Mapping[str, np.ndarray]]


@dataclass(frozen=True)
class Joined:
    """What became one. columns: name -> array, as in COLUMNS, one for each group, dispositions as codes; after: all
    answers of the judge for each group as one."""

    columns: dict[str, np.ndarray]
    groups: tuple[Group, ...]
    after: Mapping[str, np.ndarray]

    def __len__(self) -> int:
        return len(self.groups)


def as_one(rows: Mapping[str, np.ndarray], found: Interaction, judged: Mapping[str, np.ndarray], judge: Judge,
           how: Convention) -> Joined:
    """Each group judged again as one anomaly; the worse of both answers governs.

    judged: answers for the rows alone. A group that lies in two groups of the line (two walls, two classes) is judged
    in each of them. An answer without a pressure counts as lower than any: it never makes room for a number.
    """
    groups = found.groups
    asked, of = _asked(rows, groups, how)
    none = {"safe_pressure": np.empty(0), "disposition": np.empty(0, int)}
    answers = judge(asked, asked["group"]) if len(of) else none
    worst = _worst(np.asarray(answers["safe_pressure"]), np.asarray(answers["disposition"]), of, len(groups))
    after = {k: np.asarray(v)[worst] for k, v in answers.items()}
    members, owner = _members(groups)
    p, word = np.asarray(judged["safe_pressure"])[members], np.asarray(judged["disposition"])[members]
    before = _worst(p, word, owner, len(groups))
    was, now = p[before], after["safe_pressure"]
    lower = np.where(np.isnan(was) | np.isnan(now), np.nan, np.minimum(was, now))
    answered = np.asarray(answers["disposition"])
    words = gravest(word, owner, len(groups)), gravest(answered, of, len(groups))
    both = gravest(np.concatenate([word, answered]), np.concatenate([owner, of]), len(groups))
    return Joined(_columns(rows, groups, members[before]) | {
        "safe pressure before": was, "safe pressure after": now, "safe pressure": lower, "disposition before": words[0],
        "disposition after": words[1], "disposition": both}, groups, after)


def _asked(rows: Mapping[str, np.ndarray], groups: tuple[Group, ...], how: Convention
           ) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Rows for the judge: the deepest member's with the sizes of the whole and the thinnest wall; group of each."""
    members, whole = _members(groups)
    line = np.asarray(rows["group"])[members]
    order = np.lexsort((line, whole))  # stable: the rows of a part stay in the order of the line
    members, line, part_of = members[order], line[order], whole[order]
    parts = np.flatnonzero((np.diff(part_of, prepend=-1) != 0) | (np.diff(line, prepend=line[:1]) != 0))
    part = np.repeat(np.arange(len(parts)), np.diff([*parts, len(members)]))
    depth = np.asarray(rows["depth"])[members]
    most = np.maximum.reduceat(depth, parts)[part] if len(parts) else depth
    pick = members[np.minimum.reduceat(np.where(depth == most, np.arange(len(members)), len(members)), parts)
                   ] if len(parts) else members
    owner = part_of[parts]
    firsts = np.flatnonzero(np.diff(part_of, prepend=-1))
    out = {name: np.asarray(v)[pick] for name, v in rows.items()}
    for name in ("depth", "length", "width", "clock"):
        out[name] = np.array([getattr(g, name) for g in groups], float)[owner]
    for name in ("sound_wall", "from_upstream_weld", "from_downstream_weld", "clear_upstream", "clear_downstream"):
        if name in out and len(firsts):
            out[name] = np.minimum.reduceat(np.asarray(rows[name])[members], firsts)[owner]
    x0 = np.array([g.x0 for g in groups], float)[owner]
    out["survey"] = x0 + {MIDDLE: 0.5, DOWNSTREAM_END: 1.0}.get(how.place, 0.0) * out["length"]
    inside = np.asarray(rows["kind"])[members] != METAL_LOSS
    inner = np.logical_or.reduceat(inside, firsts)[owner] if len(firsts) else inside
    # Loss from within may go on under a wrap: one such member makes the whole of that kind.
    out["kind"] = np.where(inner, INTERNAL_LOSS, METAL_LOSS).astype(object)
    return out, owner


def _members(groups: tuple[Group, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Rows of the groups, one group after the other, and the group of each."""
    count = [len(g.rows) for g in groups]
    members = np.fromiter((i for g in groups for i in g.rows), np.int64, sum(count))
    return members, np.repeat(np.arange(len(groups)), count)


def _worst(p: np.ndarray, word: np.ndarray, owner: np.ndarray, n: int) -> np.ndarray:
    """Of each owner the place with the lowest pressure, none counting as lowest; of equal ones the graver word."""
    order = np.lexsort((-word.astype(int), np.where(np.isnan(p), -np.inf, p), owner))
    return order[np.searchsorted(owner[order], np.arange(n))]


def _columns(rows: Mapping[str, np.ndarray], groups: tuple[Group, ...], leading: np.ndarray) -> dict[str, np.ndarray]:
    members, owner = _members(groups)
    ends = np.cumsum([0, *np.bincount(owner, minlength=len(groups)).tolist()]).tolist()

    def texts(name: str) -> np.ndarray:
        words = [*map(str, np.asarray(rows[name])[members].tolist())]
        return np.array([" ".join(words[a:b]) for a, b in pairwise(ends)], dtype=object)

    out: dict[str, np.ndarray] = {"rows": texts("row"), "feature ids": texts("feature_id"),
                                  "reason": np.array([_words(g) for g in groups], dtype=object)}
    out["anomalies"] = np.array([len(g.rows) for g in groups], dtype=int)
    for name, of in (("from", "x0"), ("to", "x1"), ("length after", "length"), ("depth after", "depth"),
                     ("width after", "width"), ("clock after", "clock")):
        out[name] = np.array([getattr(g, of) for g in groups], dtype=float)
    out["length before"], out["depth before"] = (np.asarray(rows[n])[leading] for n in ("length", "depth"))
    return out


def _words(g: Group) -> str:
    both = "loss from within beside loss from without, or of a side that is not stated: the depths are added"
    return "; ".join([g.reason, *(["it goes over a girth weld"] if g.over_weld else []),
                      *([both] if g.both_sides else [])])
