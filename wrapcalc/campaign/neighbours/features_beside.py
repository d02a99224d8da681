"""What else the listing has along the pipe (bends, valves, fittings, repairs, markers, casing ends; beside metal loss
also dents, gouges and cracks), and what it leaves of the clear pipe beside an anomaly. Lengths in mm.

Decided here: each feature that is neither an anomaly nor a girth weld bounds the clear pipe, also a marker and what is
"other": what it is on the pipe is not known. One without length counts as a point, and that is told. Where the mapping
does not say of which edge a distance is, the outer of the usual readings holds, for features as for anomalies. A wrap
that would lie over a feature has no clear pipe on either side. A dent, gouge or crack bounds the clear pipe beside
metal loss whatever its clock: a wrap goes all round the pipe, and none is laid over one unseen.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from wrapcalc.campaign.cases.case_text import at, put, value
from wrapcalc.campaign.neighbours.neighbours import edges
from wrapcalc.campaign.neighbours.sweep import TOUCH
from wrapcalc.case.model import COMPONENTS, INTERNAL_LOSS, METAL_LOSS

if TYPE_CHECKING:
    from wrapcalc.campaign.listing.blocks import Block

#: Kinds of rows that bound the clear pipe.
KINDS = ("valve", "fitting", "bend", "marker", "repair", "other")
#: Those that bound it beside metal loss only.
DAMAGE = ("dent", "gouge", "crack")
_LOSSES = (METAL_LOSS, INTERNAL_LOSS, "metal loss")
#: What a case says is inside the repair where such a feature lies over the damage. The others are no part of the pipe.
INSIDE = {"bend": "bend", "fitting": "fitting", "valve": "fitting"}
#: From what is assessed as straight pipe to what is not covered.
_GRAVER = ("nothing", "girth weld", *COMPONENTS, "fitting", "corroded seam")
OVER = "over it: "
ASSUMED = (
    "Bends, valves, fittings, repairs, markers and other features of the listing bound the clear pipe beside a row as "
    "girth welds do; one without length counts as a point. Where one lies over a row no pipe is clear; with a bend, "
    "valve or fitting there it is judged as straight pipe and with that inside the repair, and the graver answer "
    "stands. A dent, gouge or crack bounds the clear pipe beside metal loss in the same way, at any clock.")


@dataclass(frozen=True)
class Features:
    """Features by their distance in the log. log, length (NaN not known): mm; kind: of KINDS or DAMAGE; told: what is
    odd."""

    log: np.ndarray
    length: np.ndarray
    kind: np.ndarray
    told: tuple[str, ...] = ()


NONE = Features(np.empty(0), np.empty(0), np.empty(0, object))


class Collector:
    """Takes the blocks of a listing; memory grows with the features only."""

    def __init__(self) -> None:
        self._parts: list[dict[str, np.ndarray]] = []

    def add(self, block: Block) -> None:
        """Keep the features of a block."""
        c = block.columns
        here = np.flatnonzero(np.isin(c["kind"], (*KINDS, *DAMAGE)))
        if len(here):
            self._parts.append({n: c[n][here] for n in ("log_distance", "length", "kind")})

    def features(self) -> Features:
        """All of them, in an order that does not depend on that of the rows."""
        if not self._parts:
            return NONE
        log, length, kind = (np.concatenate([p[n] for p in self._parts]) for n in ("log_distance", "length", "kind"))
        placed, sized = np.isfinite(log), np.isfinite(length)
        told = []
        if not placed.all():
            told.append(f"Features beside the anomalies that have no distance: {_counted(kind[~placed])}; they bound "
                        "no clear pipe: see where they are before a wrap is laid near them.")
        if (placed & ~sized).any():
            told.append(f"Features beside the anomalies that have no length: {_counted(kind[placed & ~sized])}; each "
                        "counts as a point: see how far it reaches before a wrap is laid near it.")
        use = np.flatnonzero(placed)
        use = use[np.lexsort((kind[use].astype(str), length[use], log[use]))]
        return Features(log[use], length[use], kind[use], tuple(told))


def _counted(kinds: np.ndarray) -> str:
    names, count = np.unique(kinds.astype(str), return_counts=True)
    return ", ".join(f"{n} {k}" for n, k in zip(count.tolist(), names.tolist(), strict=True))


class Beside:
    """Features placed along the line, facing downstream.

    survey: from the log to surveyed distances; place: of which edge the distance of a feature is, facing downstream.
    """

    def __init__(self, features: Features, survey: Callable[[np.ndarray], Any], place: str):
        where, length = survey(features.log)[0], np.where(np.isfinite(features.length), features.length, 0.0)
        x0, x1 = edges({"survey": where, "length": length}, place)
        order = np.lexsort((features.log, features.kind.astype(str), x1, x0))
        self.x0, self.x1 = x0[order], x1[order]
        self._kind = features.kind[order]
        self._names = np.array([f"{k} at {x / 1000:.3f} m of the log" if k != "other" else
                                f"other feature at {x / 1000:.3f} m of the log" for k, x in
                                zip(self._kind.tolist(), features.log[order].tolist(), strict=True)] + [""], object)
        self._by_end = np.argsort(self.x1, kind="stable")
        everything = np.arange(len(order))
        damage = np.isin(self._kind, DAMAGE)
        self._damage = np.append(damage, False)
        #: The same without other damage: what bounds the pipe beside what is no metal loss.
        self.without_damage = Beside(_some(features, ~np.isin(features.kind, DAMAGE)), survey, place) if damage.any() \
            else self
        inside = np.array([INSIDE.get(k, "") for k in self._kind.tolist()] + [""], object)[:-1]
        #: What may lie over an anomaly, the gravest first.
        self._sets = [(word, _Prefix(self.x0, self.x1, use)) for word, use in (
            ("fitting", np.flatnonzero(inside == "fitting")), ("bend", np.flatnonzero(inside == "bend")),
            ("", np.flatnonzero(damage)), ("", everything))]

    def over(self, x0: np.ndarray, x1: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(number of a feature that lies over x0 to x1 or touches it, -1 for none; what is inside there, "" for
        nothing that a case names)."""
        number, word = np.full(len(x0), -1), np.full(len(x0), "", object)
        for name, some in self._sets:
            found = some.over(x0, x1)
            new = (number < 0) & (found >= 0)
            number[new], word[new] = found[new], name
        return number, word

    def bound(self, x0: np.ndarray, x1: np.ndarray) -> dict[str, np.ndarray]:
        """room_upstream, room_downstream: from the edges to the nearest feature, infinite for none; beside_upstream,
        beside_downstream: its name; damage_upstream, damage_downstream: whether it is other damage; over: whether one
        lies over it; inside: as `over` gives it."""
        over, word = self.over(x0, x1)
        up = np.append(self._by_end, -1)[np.searchsorted(self.x1[self._by_end], x0) - 1]
        down = np.searchsorted(self.x0, x1, "right")
        down = np.where(down < len(self.x0), down, -1)
        is_over = over >= 0
        up, down = np.where(is_over, over, up), np.where(is_over, over, down)
        rooms = (x0 - np.append(self.x1, -np.inf)[up], np.append(self.x0, np.inf)[down] - x1)
        out = {"over": is_over, "inside": word}
        for side, room, which in zip(("upstream", "downstream"), rooms, (up, down), strict=True):
            out[f"room_{side}"] = np.where(is_over, 0.0, np.maximum(room, 0.0))
            name = self._names[which]
            name[is_over] = OVER + name[is_over]
            out[f"beside_{side}"] = name
            out[f"damage_{side}"] = self._damage[which]
        return out


def _some(f: Features, which: np.ndarray) -> Features:
    return Features(f.log[which], f.length[which], f.kind[which])


class _Prefix:
    """Which of some boxes lies over a place: of those that begin before its end the one that reaches farthest."""

    def __init__(self, x0: np.ndarray, x1: np.ndarray, use: np.ndarray):
        self._x0, self._x1, self._use = x0[use], np.append(x1[use], -np.inf), np.append(use, -1)
        far = np.maximum.accumulate(self._x1[:-1])
        new = np.diff(far, prepend=-np.inf) > 0
        self._far = np.append(np.maximum.accumulate(np.where(new, np.arange(len(use)), 0)), len(use)).astype(np.int64)

    def over(self, x0: np.ndarray, x1: np.ndarray) -> np.ndarray:
        best = self._far[np.searchsorted(self._x0, x1 + TOUCH, "right") - 1]
        return np.where(self._x1[best] >= x0 - TOUCH, self._use[best], -1)


# -- rows ---------------------------------------------------------------------------------------------------------
def bound_rows(c: dict[str, np.ndarray], beside: Beside, place: str, note: Callable[[str, np.ndarray], None]) -> None:
    """Bound clear_upstream and clear_downstream of rows by the features; add beside_upstream, beside_downstream (what
    bounds them, "" for a girth weld or nothing) and inside (for service.inside_repair, "" for nothing).

    c: rows of a line with survey and length, changed in place; note: takes a text and the rows it is about. Where
    the clear pipe is not known a feature farther off does not make it known.
    """
    sized = np.isfinite(c["length"])
    x0, x1 = edges({"survey": c["survey"], "length": np.where(sized, c["length"], 0.0)}, place)
    found, plain = beside.bound(x0, x1), beside.without_damage.bound(x0, x1)
    loss = np.isin(c["kind"], _LOSSES)
    found = {n: np.where(loss, v, plain[n]) for n, v in found.items()}
    over = found["over"]
    bounded, damaged = np.zeros(len(over), bool), np.zeros(len(over), bool)
    for side in ("upstream", "downstream"):
        clear, room, name = c[f"clear_{side}"], found[f"room_{side}"], found[f"beside_{side}"]
        nearer = over | (room < clear)
        c[f"clear_{side}"] = np.where(nearer, np.round(room, 6), clear)
        c[f"beside_{side}"] = np.where(nearer, name, "")
        bounded |= nearer & ~over & ~found[f"damage_{side}"]
        damaged |= nearer & found[f"damage_{side}"]
    c["inside"] = found["inside"]
    note("a bend, valve, fitting, repair, marker or other feature of the listing lies over it: no pipe is clear there, "
         "see beside upstream", c["row"][over & ~damaged])
    note("a dent, gouge or crack lies beside the metal loss or over it, at whatever clock, nearer than the girth weld: "
         "a wrap must end before it, see beside upstream and beside downstream", c["row"][damaged])
    note("a bend, valve or fitting lies over it: its case says so in service.inside_repair, and straight pipe does not "
         "clear it", c["row"][c["inside"] != ""])
    note("a bend, valve, fitting, repair, marker or other feature lies nearer than the girth weld and bounds the clear "
         "pipe, see beside upstream and beside downstream", c["row"][bounded])


def graver_inside(stated: str | None, listed: str) -> str:
    """What a case says is inside the repair: what the base case states, or what the listing has if that is graver."""
    known = [w for w in (stated, listed) if w in _GRAVER]
    return max(known, key=_GRAVER.index, default=listed)


def with_inside(data: dict[str, Any], word: str, source: str = "the listing") -> dict[str, Any]:
    """The data of a case with what is inside the repair; "" for nothing more than they state."""
    stated = value(at(data, "service.inside_repair"))
    if not word or graver_inside(stated, word) == stated:
        return data
    return put(data, "service.inside_repair", {"value": word, "source": source, "source_kind": "document"})


def inside_of(name: str) -> str:
    """What is inside the repair by a name that `bound_rows` gives, "" for nothing that a case names."""
    return INSIDE.get(name.removeprefix(OVER).partition(" ")[0], "") if name.startswith(OVER) else ""


def _gravity(name: str) -> int:
    return _GRAVER.index(inside_of(name) or "nothing")


def joined_beside(rows: Sequence[Mapping[str, Any]], ends: np.ndarray, end: float) -> dict[str, Any]:
    """What of the clear pipe is to be changed where rows become one: a feature may lie between them.

    ends: downstream edge of each row, end: of the whole; mm, surveyed.
    """
    out: dict[str, Any] = {}
    for side in ("upstream", "downstream"):
        known = [(float(r.get(f"clear_{side}", np.nan)), -_gravity(str(r.get(f"beside_{side}") or "")),
                  str(r.get(f"beside_{side}") or "")) for r in rows]
        out[f"beside_{side}"] = min((k for k in known if np.isfinite(k[0])), default=(0.0, 0, ""))[2]
    between = [str(r["beside_downstream"]) for r, x in zip(rows, ends.tolist(), strict=True)
               if r.get("beside_downstream") and x + float(r["clear_downstream"]) <= end + TOUCH]
    if between:
        word = max((OVER + n.removeprefix(OVER) for n in between), key=lambda n: (_gravity(n), n))
        out |= {"clear_upstream": 0.0, "clear_downstream": 0.0, "beside_upstream": word, "beside_downstream": word}
    return out
