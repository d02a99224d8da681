"""What was measured, as the methods take it: one box, a river-bottom profile, or clusters of pits.

Neighbouring pits that act as one are found by the interaction rule that the case names; without one all of them act as
one, which is the safer reading. The cluster whose safe pressure is lowest goes on.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.case.boxes import Boxes, shortest_arc
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.recorder import active
from wrapcalc.searches import clusters as grouping
from wrapcalc.stages.assessment.kernels import River
from wrapcalc.standards.documents import MECHANICS
from wrapcalc.units import show
from wrapcalc.values import Value

#: Rows of the table of clusters that the page prints; the drawing shows all.
_MOST_ROWS = 12


@dataclass(frozen=True)
class Piece:
    """One cluster in mm: where it is (along from, to; around from, to), depth as measured, river bottom as measured.

    grown: the river bottom holds the allowance on the length already, half at each end of every pit.
    """

    label: str
    along: tuple[float, float]
    around: tuple[float, float]
    depth: float
    count: int
    river: tuple[np.ndarray, np.ndarray] | None
    grown: bool = False

    @property
    def length(self) -> float:
        """Axial length between its first and last loss."""
        return self.along[1] - self.along[0]


@dataclass(frozen=True)
class Shape:
    """The pieces, the one that governs, and the rule. boxes: (x0, x1, y0, y1, depth) of every pit, in mm.

    failures: lowest failure pressure (MPa) of each piece by the methods that may govern, by which they are ranked.
    """

    pieces: tuple[Piece, ...]
    governing: int
    rule: str
    boxes: tuple[tuple[float, float, float, float, float], ...]
    failures: tuple[float, ...] = ()

    @property
    def piece(self) -> Piece:
        """The cluster that governs."""
        return self.pieces[self.governing]

    @property
    def split(self) -> bool:
        """Whether the rule found more than one cluster."""
        return len(self.pieces) > 1


def measured(bundle: Bundle, safe_of: Callable[[Piece], float]) -> Shape | None:
    """Clusters of the grid, the table of pits or the profile; None where only a box was stated.

    safe_of gives the safe pressure (MPa) of a piece, to rank them.
    """
    case = bundle.case
    if bundle.profile is not None:
        x, d = trimmed(bundle.profile.stations, bundle.profile.depth)
        piece = Piece("1", (float(x[0]), float(x[-1])), (0.0, case.get("defect.width").base), float(d.max()), 1, (x, d))
        return Shape((piece,), 0, "", ())
    if bundle.grid is None and bundle.pits is None:
        return None
    boxes = _boxes(bundle)
    rows = tuple(zip(*(map(float, v) for v in (boxes.x0, boxes.x1, boxes.y0, boxes.y1, boxes.depth)), strict=True))
    name = case.assessment.interaction or "all one"
    if name == "all one":
        active().assume("All pits act as one; the case names no interaction rule that would part them.", "safer reading"
                        if case.assessment.interaction is None else "case: assessment.interaction")
        return Shape((_whole(bundle, boxes),), 0, "all one", rows)
    D = case.get("pipe.outside_diameter").base
    # The thicker wall and the allowance on the lengths make pits act as one more often: the safer reading.
    thick = max((case.value(f"pipe.{f}") for f in ("nominal_wall", "sound_wall")), key=lambda w: w.magnitude)
    rule = grouping.interaction_rule(name, D, thick.magnitude, *(
        None if (g := case.get(f"assessment.interaction_{side}")) is None else g.base for side in ("axial", "around")))
    found = grouping.clusters(_longer(boxes, case.get("defect.length_allowance").base), rule, np.pi * D)
    pieces = tuple(_piece(bundle, boxes, c, i) for i, c in enumerate(found, 1))
    pressures = [safe_of(p) for p in pieces]
    governing = int(np.argmin(pressures))
    _told(bundle, pieces, pressures, rule, len(rows), thick)
    return Shape(pieces, governing, rule.words, rows, tuple(pressures))


def _boxes(bundle: Bundle) -> Boxes:
    if bundle.pits is not None:
        return bundle.pits.boxes(np.pi * bundle.case.get("pipe.outside_diameter").base)
    grid = bundle.grid
    assert grid is not None
    return grouping.boxes_of_grid(grid.axial, grid.around, grid.depth)


def _longer(boxes: Boxes, by: float) -> Boxes:
    """The boxes with the allowance on their lengths, half at each end."""
    return Boxes(boxes.x0 - by / 2, boxes.x1 + by / 2, boxes.y0, boxes.y1, boxes.depth)


def _whole(bundle: Bundle, boxes: Boxes) -> Piece:
    """All loss as one piece."""
    if bundle.grid is not None:
        x, d = trimmed(bundle.grid.axial, np.asarray(bundle.grid.profile))
    else:
        x, d = grouping.profile_of_boxes(_longer(boxes, bundle.case.get("defect.length_allowance").base))
    around = shortest_arc(boxes.y0, boxes.y1, float(np.pi * bundle.case.get("pipe.outside_diameter").base))
    return Piece("1", (float(boxes.x0.min()), float(boxes.x1.max())), around,
                 float(boxes.depth.max()), len(boxes.depth), (x, d), bundle.grid is None)


def _piece(bundle: Bundle, boxes: Boxes, cluster: grouping.Cluster, number: int) -> Piece:
    if bundle.grid is not None:
        grid = bundle.grid
        river = trimmed(*grouping.profile_of_cluster(grid.axial, grid.around, grid.depth, cluster))
    else:
        more = bundle.case.get("defect.length_allowance").base
        river = grouping.profile_of_boxes(_longer(boxes, more), cluster.members)
    mine = boxes.taken(cluster.members)
    return Piece(str(number), (float(mine.x0.min()), float(mine.x1.max())), (cluster.y0, cluster.y1), cluster.depth,
                 len(cluster.members), river, bundle.grid is None)


def trimmed(x: np.ndarray, d: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Stations and depths from the last sound station before the loss to the first after it."""
    loss = np.flatnonzero(d)
    part = slice(max(int(loss[0]) - 1, 0), int(loss[-1]) + 2)
    return np.asarray(x, float)[part], np.asarray(d, float)[part]


def _told(bundle: Bundle, pieces: tuple[Piece, ...], pressures: list[float], rule: grouping.Rule, pits: int,
          thick: Value) -> None:
    case, rec = bundle.case, active()
    order = sorted(range(len(pieces)), key=lambda i: pressures[i])
    rows = [(f"cluster {pieces[i].label}", f"{pieces[i].count} pits, depth {mm(bundle, pieces[i].depth)}, length "
             f"{mm(bundle, pieces[i].length)}, at {mm(bundle, pieces[i].along[0])} along")
            for i in order[:_MOST_ROWS]]
    if len(order) > _MOST_ROWS:
        rows.append((f"{len(order) - _MOST_ROWS} more", "with higher safe pressures"))
    rec.procedure("Clusters of pits that act as one", f"{rule.words}; right across 12 o'clock, repeated on the "
                  "envelopes until nothing joins; the first row governs", rule.citation, rule.status,
                  {"outside diameter": case.value("pipe.outside_diameter"), "thicker of nominal and sound wall": thick,
                   "allowance on the length of each pit": case.value("defect.length_allowance")},
                  {"pits": (float(pits), ""), "clusters": (float(len(pieces)), "")}, rows)
    rec.assume(f"Pits act as one by the rule “{rule.name}”, because: {case.assessment.interaction_reason}",
               "case: assessment.interaction")


def mm(bundle: Bundle, length: float) -> str:
    """A length in mm as the case prints it."""
    return show(float(length), "mm", system=bundle.case.display)


def governing_sizes(bundle: Bundle, shape: Shape | None) -> tuple[Value, Value]:
    """Depth and length as measured of what governs: the stated ones, or those of the governing cluster."""
    case = bundle.case
    if shape is None or not shape.split:
        return case.value("defect.depth"), case.value("defect.length")
    piece = shape.piece
    found = active().procedure(
        f"Sizes of the governing cluster {piece.label}", "greatest reading and distance between first and last loss",
        MECHANICS.id, "derived", {"greatest measured depth of all": case.value("defect.depth")},
        {"depth": (piece.depth, "mm"), "length": (piece.length, "mm")})
    return found["depth"], found["length"]


def river_of(piece: Piece, depth_allowance: float, length_allowance: float, length: float) -> River:
    """The river bottom with its allowances: depth added wherever there is loss, length stretched about the middle.

    A table of pits has the allowance at each pit already: stretching would widen the sound gaps, too.

    length: the length used, for which the profile stands.
    """
    assert piece.river is not None
    x, d = piece.river
    span = float(x[-1] - x[0])
    if piece.grown:
        length_allowance = 0.0
    deep = np.where(d > 0, d + depth_allowance, 0.0)
    return River((x - x[0]) * (span + length_allowance) / span, deep, float(deep.max()), length)


def sizes_with_allowance(bundle: Bundle, shape: Shape | None) -> tuple[Value, Value]:
    """Depth and length used, allowances added."""
    value = bundle.case.value
    depth, length = governing_sizes(bundle, shape)
    return (strength.depth_for_assessment(depth, value("defect.depth_allowance")),
            strength.length_for_assessment(length, value("defect.length_allowance")))
