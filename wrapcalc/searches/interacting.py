"""Neighbouring defects by the allowable-stress form on tensile strength: the weakest run of neighbours on one
projection line, and on every line that can be drawn.

Every run n..m of neighbours is one defect: its length is the overall one, gaps included, and its depth is the depths
spread over that length, sum(d_i l_i)/l_nm. The lowest of all singles and all runs governs; then the closed formulas of
`wrapcalc.formulas.corroded_pipe_dnv` hold at its length and depth. Source: DNV-RP-F101 (2010), part B, interacting
defects, from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wrapcalc.errors import CalculationError
from wrapcalc.formulas.corroded_pipe_dnv import failure_pressure_dnv, length_correction_factor

#: A run of more defects governs only if it is lower by more than what rounding leaves: alike, the shorter is shown.
_ROUNDING = 1e-12


@dataclass(frozen=True)
class Group:
    """The governing defect or run of defects on one line.

    first, last: among the composites, from 0 along the pipe; length (mm) overall; depth (mm), spread over the length;
    pressure: failure pressure (MPa); single: failure pressure of each composite alone (MPa); count: singles and runs
    compared; start (mm), where the group begins; composites: (start, length, depth) of each in mm, overlapping
    defects as one; members: for each composite the places of its defects in the lists that were given.
    """

    first: int
    last: int
    length: float
    depth: float
    pressure: float
    single: tuple[float, ...]
    count: int
    start: float
    composites: tuple[tuple[float, float, float], ...]
    members: tuple[tuple[int, ...], ...]


@dataclass(frozen=True)
class Line:
    """The projection line with the lowest failure pressure.

    position: arc on the outside from the zero of the boxes (mm), from 0 to the circumference; boxes: places of the
    boxes projected onto it; group: what governs there, its members as places in the lists of boxes; lines: number of
    lines with different boxes that were worked.
    """

    position: float
    boxes: tuple[int, ...]
    group: Group
    lines: int


@dataclass(frozen=True)
class Run:
    """The lowest single or run of defects that do not overlap; see `weakest_run`."""

    first: int
    last: int
    length: float
    depth: float
    pressure: float
    single: tuple[float, ...]


def weakest_group(starts: Sequence[float] | np.ndarray, lengths: Sequence[float] | np.ndarray,
                  depths: Sequence[float] | np.ndarray, D: float, t: float, S_u: float) -> Group:
    """The weakest single defect or run of neighbours on one projection line.

    starts, lengths, depths (n): along the pipe, mm, in any order; D, t: mm; S_u: SMTS, MPa. Defects that overlap or
    touch along the pipe are one composite first: overall length, greatest depth. All N(N+1)/2 runs of the N composites
    are compared, whatever the gaps: a wide gap makes a run strong, it needs no limit. Raises CalculationError for
    what is no defect or no pipe.
    """
    starts, lengths, depths = _defects(starts, lengths, depths, D, t, S_u)
    composites: list[list[float]] = []
    members: list[list[int]] = []
    for i in np.argsort(starts, kind="stable"):
        start, end, depth = float(starts[i]), float(starts[i] + lengths[i]), float(depths[i])
        if composites and start <= composites[-1][1]:
            composites[-1][1:] = max(composites[-1][1], end), max(composites[-1][2], depth)
            members[-1].append(int(i))
        else:
            composites.append([start, end, depth])
            members.append([int(i)])
    start, end, depth = np.array(composites).T
    run = weakest_run(start, end, depth, D, t, S_u)
    n = len(start)
    return Group(run.first, run.last, run.length, run.depth, run.pressure, run.single, n * (n + 1) // 2,
                 float(start[run.first]), tuple((s, e - s, d) for s, e, d in composites),
                 tuple(tuple(sorted(m)) for m in members))


def weakest_run(start: np.ndarray, end: np.ndarray, depth: np.ndarray, D: float, t: float, S_u: float) -> Run:
    """The weakest single or run of defects that follow one another without overlap.

    start, end, depth (n): mm, rising; the arguments are not checked. Alike to rounding, the run of fewest defects is
    taken, and of those the first.
    """
    n = len(start)
    single = _failure_pressure(end - start, depth, D, t, S_u)
    i = int(np.argmin(single))
    best = Run(i, i, float(end[i] - start[i]), float(depth[i]), float(single[i]), tuple(map(float, single)))
    if n == 1:
        return best
    volume = np.concatenate(([0.0], np.cumsum(depth * (end - start))))
    first, last = np.triu_indices(n, 1)
    length = end[last] - start[first]
    spread = (volume[last + 1] - volume[first]) / length
    pressure = _failure_pressure(length, spread, D, t, S_u)
    lowest = pressure.min()
    if lowest >= best.pressure * (1 - _ROUNDING):
        return best
    near = np.flatnonzero(pressure <= lowest * (1 + _ROUNDING))
    k = int(near[np.argmin(last[near] - first[near])])
    return Run(int(first[k]), int(last[k]), float(length[k]), float(spread[k]), float(pressure[k]), best.single)


def projection_lines(starts: Sequence[float] | np.ndarray, lengths: Sequence[float] | np.ndarray,
                     depths: Sequence[float] | np.ndarray, arc_starts: Sequence[float] | np.ndarray,
                     arc_widths: Sequence[float] | np.ndarray, D: float, t: float, S_u: float, Z: float) -> Line:
    """The weakest group over every projection line that can be drawn along the pipe.

    starts, lengths, depths (n): along the pipe, mm; arc_starts, arc_widths (n): around it, arc on the outside in mm,
    counted one way from any zero; a box may run past the zero (12 o'clock). Z: reach of a line to either side, arc in
    mm. A box is projected onto a line when any part of it is within Z.

    The method draws lines Z apart from a zero of one's choice. Here all lines are drawn: the boxes within reach change
    only where the edge of a box comes within reach or leaves it, so one line at each such place and one between each
    two of them meet every set of boxes that any line meets. What lines at the centres of the boxes meet, or lines Z
    apart from any zero, is among that: the result is never above theirs. (A line that meets more boxes is not always
    the weaker one, so the smaller sets are worked too.) It may be below, since two boxes up to 2 Z apart have a line
    between them that reaches both.

    Ties go to the first line from the zero. Raises CalculationError for what is no box or no pipe.
    """
    starts, lengths, depths = _defects(starts, lengths, depths, D, t, S_u)
    arc_starts, arc_widths = np.asarray(arc_starts, dtype=float), np.asarray(arc_widths, dtype=float)
    round_ = math.pi * D
    if arc_starts.shape != starts.shape or arc_widths.shape != starts.shape:
        raise CalculationError(f"defects: {starts.shape} along the pipe, {arc_starts.shape} and {arc_widths.shape} "
                               "around it; lists of one length are needed")
    if not (np.isfinite(arc_starts).all() and ((arc_widths > 0) & (arc_widths <= round_ * (1 + 1e-9))).all()):
        raise CalculationError("defects: every place around the pipe must be a number and every width positive and not "
                               f"above the circumference of {round_:g} mm")
    if not (math.isfinite(Z) and Z > 0):
        raise CalculationError(f"projection lines: the reach must be a positive arc; got {Z!r} mm")
    # On the edge itself a box is within reach, whatever rounding says.
    hair = 1e-9 * round_
    enter, span = arc_starts - Z, arc_widths + 2 * Z
    turns = np.unique(np.concatenate((enter, enter + span)) % round_)
    positions = np.sort(np.concatenate((turns, (turns + np.append(turns[1:], turns[0] + round_)) / 2 % round_)))
    best: tuple[Group, float, tuple[int, ...]] | None = None
    seen: set[tuple[int, ...]] = set()
    for at in positions:
        boxes = tuple(map(int, np.flatnonzero((at - enter + hair) % round_ <= span + 2 * hair)))
        if not boxes or boxes in seen:
            continue
        seen.add(boxes)
        take = list(boxes)
        group = weakest_group(starts[take], lengths[take], depths[take], D, t, S_u)
        if best is None or group.pressure < best[0].pressure * (1 - _ROUNDING):
            best = group, float(at), boxes
    assert best is not None  # every box is within reach of the line at its own edge
    group, at, boxes = best
    members = tuple(tuple(boxes[i] for i in m) for m in group.members)
    return Line(at, boxes, Group(group.first, group.last, group.length, group.depth, group.pressure, group.single,
                                 group.count, group.start, group.composites, members), len(seen))


def _failure_pressure(length: np.ndarray, depth: np.ndarray, D: float, t: float, S_u: float) -> np.ndarray:
    """Failure pressure of each length and depth, MPa."""
    return failure_pressure_dnv.array(t, S_u, D, depth, length_correction_factor.array(length, D, t))


def refuse_pipe(D: float, t: float, S_u: float) -> None:
    """Raise CalculationError for what is no pipe."""
    if not (all(map(math.isfinite, (D, t, S_u))) and 0 < 2 * t < D and S_u > 0):
        raise CalculationError(f"pipe: diameter {D!r} mm, wall {t!r} mm and tensile strength {S_u!r} MPa must be "
                               "positive numbers and the wall less than half the diameter")


def _defects(starts, lengths, depths, D: float, t: float, S_u: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The three lists as arrays. Raises CalculationError."""
    refuse_pipe(D, t, S_u)
    starts, lengths, depths = (np.asarray(v, dtype=float) for v in (starts, lengths, depths))
    if starts.ndim != 1 or len(starts) == 0 or starts.shape != lengths.shape or starts.shape != depths.shape:
        raise CalculationError(f"defects: {starts.shape} starts, {lengths.shape} lengths and {depths.shape} depths; "
                               "lists of one length, with at least one defect, are needed")
    good = np.isfinite(starts) & np.isfinite(lengths) & (lengths > 0) & (depths > 0) & (depths < t)
    if not good.all():
        i = int(np.argmin(good))
        raise CalculationError(f"defect {i + 1}: start {starts[i]:g} mm, length {lengths[i]:g} mm, depth {depths[i]:g} "
                               f"mm; all must be numbers, length and depth positive, the depth less than the wall of "
                               f"{t:g} mm")
    return starts, lengths, depths
