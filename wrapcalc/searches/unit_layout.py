"""The best set of wrap units (sleeves, bands of cloth) along a pipe, its order and its place, on bare numbers in mm.

x runs downstream, 0 is the middle of the damage. Sets of units are vectors of counts; the place of a set is one shift,
the order within it a path (unit_layout_order.py).

Exactness. Numbers are read to a millionth of a millimetre and worked as whole numbers of a quarter of that, so that
no comparison hangs on rounding and the middles and half distances below are whole numbers too. Where a set of given
length can start is a finite union of closed intervals, from `need` and from the keep-outs that bear on the ends. The
sets come in the order of a bound of their rank: number, waste and age are exact; a joint is no farther from the
stations than half of what the unit over them has to spare, or than the ends of the set allow; a set is no nearer the
middle than its intervals. Batch by batch they are searched exactly, one objective after the other, over all orders
and all shifts: see unit_layout_order.py. The search ends when what is found is better than the bound of all that is
left. `exact` is False
only where there were too many sets to hold, or to search, and what was found is not better than the bound of those left
out; it still obeys every rule.

A keep-out is a closed interval: what lies on its edge lies inside, so that the nearest place is a millionth of a
millimetre off it. "Strictly inside the damage" leaves its edges free. Waste is the cover beyond the need.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from wrapcalc.errors import CalculationError
from wrapcalc.searches import unit_layout_sets as sets
from wrapcalc.searches.unit_layout_lattice import Lattice, TooLarge
from wrapcalc.searches.unit_layout_order import Row
from wrapcalc.searches.unit_layout_sets import OBJECTIVES, PER_MM, SHORT, Asked, Search

RULES = ("no part", "no end", "no joint")


@dataclass(frozen=True)
class Unit:
    """A kind of piece. width in mm; count: how many there are, None for pieces to be ordered, without limit.

    age_rank: 0 for the oldest, which expires first; pieces to be ordered rank behind all of stock whatever it says.
    """

    width: float
    count: int | None
    age_rank: int = 0


@dataclass(frozen=True)
class KeepOut:
    """A closed interval in mm and its rule.

    "no part": nothing of the repair, its end treatment included; "no end": no end of the repair, end treatment
    included, crossing it is allowed; "no joint": no joint between units, nor any of its gap or lap.
    """

    start: float
    end: float
    rule: str
    name: str = ""


@dataclass(frozen=True)
class Problem:
    """What is asked, lengths and stations in mm.

    need: must be under full thickness; joint: overlap of neighbouring bands, or minus the gap of butted sleeves;
    taper: at each end, inside the units, not of full thickness; beyond: end treatment outside the units at each end;
    deepest: stations from which butted joints stay away (the middle of the damage, else 0, where none is given);
    damage: a butted joint strictly inside it, or any of its gap, is over the damage; single: one unit covers all.
    """

    need: tuple[float, float]
    units: tuple[Unit, ...]
    joint: float
    butted: bool
    taper: float
    beyond: float
    most_units: int
    keep_outs: tuple[KeepOut, ...] = ()
    deepest: tuple[float, ...] = ()
    damage: tuple[float, float] | None = None
    objectives: tuple[str, ...] = OBJECTIVES
    single: bool = False


@dataclass(frozen=True)
class Layout:
    """One layout, in mm. widths and age ranks upstream first; start: upstream side of the first unit, to 1e-6.

    cover: of full thickness; footprint: with end treatment; joints: gap or lap of each, both ends equal for a plain
    butt; values: of every objective (units, mm of cover beyond the need, mm from the deepest metal, infinite without
    butted joints, mm off the middle, sum of age ranks).
    """

    widths: tuple[float, ...]
    age_ranks: tuple[int, ...]
    start: float
    cover: tuple[float, float]
    footprint: tuple[float, float]
    joints: tuple[tuple[float, float], ...]
    values: dict[str, float]
    over_damage: bool


@dataclass(frozen=True)
class Alternative:
    """A layout of another set of widths. costs: by objective how much worse than the best (below 0: better)."""

    layout: Layout
    costs: dict[str, float]


@dataclass(frozen=True)
class Best:
    """What was found. layout None: reason and numbers (mm) say why.

    exact: the layout is proved best; alternatives_exact: so are the others. counts, for the record: "sets" in the stock
    range that cover the need, "sets with room" where the ends may lie, "sets searched", "vectors" of the lattices,
    "passes" of 64 shifts over one, "most units tried" in a set.
    """

    layout: Layout | None
    alternatives: tuple[Alternative, ...] = ()
    reason: str = ""
    numbers: dict[str, float] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)
    exact: bool = True
    alternatives_exact: bool = True


def best(problem: Problem) -> Best:
    """The best layout, up to three with other sets of widths, or why there is none.

    Ranked by: no butted joint over the damage; the objectives in their order, those not named behind them in the order
    of OBJECTIVES; the widths upstream first; the start. Raises CalculationError for a problem that is not one.
    """
    _check(problem)
    asked = Asked(problem)
    reason, numbers = _hopeless(asked)
    if reason:
        return Best(None, reason=reason, numbers=numbers)
    search = Search(asked)
    rows = search.run()
    if not rows:
        reason = "no room between keep-outs" if search.exact else "search too large"
        return Best(None, reason=reason, numbers=_tightest(asked), counts=search.counts, exact=search.exact,
                    alternatives_exact=search.exact)
    layouts = [_layout(asked, row) for row in rows]
    first = layouts[0]
    others = tuple(Alternative(o, _costs(first, o)) for o in layouts[1:])
    return Best(first, others, counts=search.counts, exact=search.exact, alternatives_exact=search.alternatives_exact)


def _costs(first: Layout, other: Layout) -> dict[str, float]:
    """How much worse by objective; the distance of joints is the one of which more is better."""
    out = {}
    for name in OBJECTIVES:
        a, b = first.values[name], other.values[name]
        worse = 0.0 if a == b else b - a
        out[name] = -worse if name == OBJECTIVES[2] and worse else worse
    return out


def _check(p: Problem) -> None:
    """Raises CalculationError for what cannot be asked."""
    def wrong(what: str, found: object, allowed: str) -> None:
        raise CalculationError(f"layout of units: {what}: found {found}; allowed: {allowed}")

    spans = [("need", p.need), ("damage", p.damage or (0, 0))]
    spans += [(f"keep-out {k.name or i + 1}", (k.start, k.end)) for i, k in enumerate(p.keep_outs)]
    for name, (a, b) in spans:
        if not (math.isfinite(a) and math.isfinite(b) and a <= b and max(abs(a), abs(b)) <= 1e6):
            wrong(name, f"{a} to {b} mm", "a start and an end not before it, within 1000 m of the damage")
    for name, value in [("taper", p.taper), ("beyond", p.beyond), *((f"joint of {p.joint} mm", j) for j in (
            [-p.joint] if p.butted else [p.joint]))]:
        if not 0 <= value <= 1e6:
            wrong(name, value, "0 or more for taper, beyond and overlap; 0 or less for the joint of butted units")
    for x in p.deepest:
        if not (math.isfinite(x) and abs(x) <= 1e6):
            wrong("deepest", x, "stations within 1000 m of the damage")
    for u in p.units:
        if not (max(p.joint, 0.0) + 1e-6 <= u.width <= 1e6):
            wrong("unit width", u.width, "a width above the overlap")
        if (u.count is not None and u.count < 0) or u.age_rank < 0:
            wrong("unit count and age rank", f"{u.count}, {u.age_rank}", "0 or more")
    if not p.units or not 1 <= p.most_units <= 1000:
        wrong("units and most units", f"{len(p.units)} kinds, {p.most_units}", "a unit or more, 1 to 1000 in a set")
    for names, known in ((p.objectives, OBJECTIVES), ([k.rule for k in p.keep_outs], RULES)):
        for name in names:
            if name not in known:
                wrong("objective or rule", name, ", ".join(known))
    if len(set(p.objectives)) < len(p.objectives):
        wrong("objectives", ", ".join(p.objectives), "each once")


def _longest(asked: Asked, caps: np.ndarray) -> int:
    """Greatest full-thickness cover with these counts."""
    left, out = asked.most, asked.joint - 2 * asked.taper
    for step, cap in sorted(zip(asked.steps.tolist(), caps.tolist(), strict=True), reverse=True):
        out += min(cap, left) * step
        left -= min(cap, left)
    return out


def _hopeless(asked: Asked) -> tuple[str, dict[str, float]]:
    """A reason that needs no search, and its numbers."""
    for a, b, rule in asked.spans:
        if rule == "no part" and a <= asked.need[1] and b >= asked.need[0]:
            return "keep-outs cover the damage", {"keep-out start": a / PER_MM, "keep-out end": b / PER_MM,
                                                  "need start": asked.p.need[0], "need end": asked.p.need[1]}
    need = asked.need[1] - asked.need[0]
    for reason, caps in (("no width fits", np.full_like(asked.caps, asked.most)), ("stock too small", asked.caps)):
        longest = _longest(asked, caps)
        if not caps.any() or longest < need:
            covers = max(longest, 0) / PER_MM if caps.any() else 0.0
            return reason, {"need": need / PER_MM, "greatest cover": covers}
    return "", {}


def _tightest(asked: Asked) -> dict[str, float]:
    """Room between the "no part" keep-outs beside the need, and least footprint of a set that covers it."""
    up = max((b for _, b, rule in asked.spans if rule == "no part" and b < asked.need[0]), default=None)
    down = min((a for a, _, rule in asked.spans if rule == "no part" and a > asked.need[1]), default=None)
    room = math.inf if up is None or down is None else (down - up) / PER_MM
    out = {"room": room, "need": (asked.need[1] - asked.need[0]) / PER_MM}
    least = _shortest(asked)
    return out if least is None else out | {"least footprint": (least + 2 * asked.beyond) / PER_MM}


def _shortest(asked: Asked) -> int | None:
    """Least length of a set that covers the need; None where there are too many sets to say."""
    try:
        lattice = Lattice(asked.steps, asked.caps, asked.joint, asked.most, asked.least, sets.LIMIT)
    except TooLarge:
        return None
    covering = lattice.length[(lattice.count > 0) & (lattice.length >= asked.least)]
    return int(covering.min())


def _layout(asked: Asked, row: Row) -> Layout:
    """A row in mm."""
    order, s, length = row.order, row.shift, row.length
    values = dict(zip(asked.objectives, row.key[1:], strict=True))
    ends = [s + sum(int(asked.steps[i]) for i in order[:k]) + asked.joint for k in range(1, len(order))]
    ages = [iter(a) for a in asked.ages]
    back = {"units": float, "age": float, "waste": lambda v: v / PER_MM, "symmetry": lambda v: v / PER_MM,
            "joints": lambda v: -v / PER_MM}
    return Layout(
        tuple(asked.widths[i] / PER_MM for i in order), tuple(next(ages[i]) for i in order),
        round(s / PER_MM, 6), ((s + asked.taper) / PER_MM, (s + length - asked.taper) / PER_MM),
        ((s - asked.beyond) / PER_MM, (s + length + asked.beyond) / PER_MM),
        tuple(((x - asked.lap) / PER_MM, (x + asked.gap) / PER_MM) for x in ends),
        {name: back[SHORT[name]](values[SHORT[name]]) for name in OBJECTIVES}, bool(row.key[0]))
