"""Allowable depth against length by each method, and the anomaly with its tolerance among the curves."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._numbers import dimension, finite, positive, stations
from wrapcalc.render.figures._plot import (
    AXIS_FOOT,
    DASHES,
    LEADERS,
    Box,
    SideLabel,
    along_axis,
    cut,
    depth_axis,
    draw_notes,
    labels_height,
    named,
    notes_rows,
    quantity,
    side_labels,
    side_rows,
    thin,
)
from wrapcalc.render.figures._section import Scale
from wrapcalc.render.figures._sheet import Point, Sheet, line_height, text_width

LEFT, RIGHT, TOP = (20.0, 124.0, 3.0)
HIGH = 84.0
MOST_CURVES = 20
#: Places at which words are tried, mm apart; and what rounding may add to a distance.
_STRIDE, _STEADY = 2.5, 1e-9


@dataclass(frozen=True)
class _Curve:
    name: str
    points: list[Point]
    governs: bool
    dash: tuple[float, ...] | None


def assessment_curve(
    *,
    curves: Sequence[tuple[str, Sequence[tuple[float, float]], bool]],
    point: tuple[float, float],
    ellipse: tuple[float, float, str] | None = None,
    depth_limit: float,
    depth_limit_label: str,
    length_unit: str,
    depth_unit: str,
    pressure_words: str,
    title: str,
) -> str:
    """Allowable depth against length at one pressure, as one inline `<svg>` element.

    curves: one to twenty (name, [(length, allowable depth), ...], governs), lengths rising, at most one of them
    governs; the region above it or above `depth_limit`, within its lengths, is marked as not allowed. point:
    (length, depth) of the anomaly; ellipse: (half of its length, half of its depth, words) of the tolerance
    around the point. Lengths in `length_unit`, depths in `depth_unit` (such as mm or % of wall). pressure_words
    say for which pressure the curves hold (such as "at MAOP 8.6 MPa"). Nothing is drawn beyond the ends of a
    curve; parts of curves above the drawing are cut off there.

    Raises ValueError, naming the argument, for NaN or infinity, a curve with less than two points or lengths that
    do not rise, negative sizes, empty names and two curves that govern.
    """
    found = _checked(curves)
    long, deep = positive(point[0], "point length"), finite(point[1], "point depth")
    if deep < 0:
        raise ValueError(f"point depth is {deep:g}: a depth is not below zero")
    halves = None if ellipse is None else (positive(ellipse[0], "ellipse half_length"),
                                           positive(ellipse[1], "ellipse half_depth"))
    words = "" if ellipse is None else named(ellipse[2], "ellipse words")
    limit, limit_name = positive(depth_limit, "depth_limit"), named(depth_limit_label, "depth_limit_label")
    pressure = named(pressure_words, "pressure_words")

    reach = (long + (halves[0] if halves else 0.0), deep + (halves[1] if halves else 0.0))
    across = Scale(0.0, 1.03 * max(reach[0], *(c.points[-1][0] for c in found)), LEFT, RIGHT)
    # Depths far above all that matters are cut off.
    lowest = max(limit, reach[1], *(min(y for _, y in c.points) for c in found))
    high = 1.06 * min(max(lowest, *(y for c in found for _, y in c.points)), 1.35 * lowest)

    where = f"length {dimension(long, length_unit)}, depth {quantity(deep, depth_unit)}"
    notes = [f"Curves: allowable depth {pressure}. Dot: this anomaly, {where}."]
    if halves is not None:
        notes.append(
            f"Ellipse: {words}, \u00b1 {dimension(halves[0], length_unit)} in length and "
            f"\u00b1 {quantity(halves[1], depth_unit)} in depth."
        )
    labels = [_label(curve) for curve in found]
    labels.append(
        SideLabel((RIGHT, limit), side_rows(f"{limit_name}:", RIGHT, quantity(limit, depth_unit)), 0.0)
    )
    height = max(HIGH, labels_height(labels))
    down = Scale(0.0, high, TOP + height, TOP)
    frame = (LEFT, TOP, RIGHT, TOP + height)
    lines = [cut([(across(x), down(y)) for x, y in thin(c.points, across)], frame) for c in found]
    ring = _ellipse((across(long), down(deep)), (0.0, 0.0) if halves is None else
                    (halves[0] * (RIGHT - LEFT) / across.high, halves[1] * height / high))
    spot = (across(long), down(deep))
    ink = _ink([*lines, [ring], [[(LEFT, down(limit)), (RIGHT, down(limit))]]], spot)
    chief = next((c for c in found if c.governs), None)
    bound = _bound(chief, limit, across, down)
    texts = _texts(chief, spot, ink, bound, across, frame)
    forbidden = "" if chief is None else f"above the curve of {chief.name}, which governs, or "
    notes.append(f"Hatched: not allowed, {forbidden}above the depth limit.")
    if chief is not None and "allowed" not in {text for text, _ in texts}:
        notes[-1] += " Below that curve: allowed."
    if min(c.points[-1][0] for c in found) < 0.94 * across.high:
        notes.append(LEADERS)
    rows = notes_rows(notes, sheet.WIDTH - LEFT)
    page = Sheet(TOP + height + AXIS_FOOT + len(rows) * line_height(sheet.SMALL) + 1.0)

    _forbidden(page, bound, frame)
    page.lines([[(LEFT, down(limit)), (RIGHT, down(limit))]], pen=0.8)
    for label, curve, pieces in zip(labels, found, lines, strict=False):
        page.lines(pieces, colour=label.colour, pen=label.pen, dash=curve.dash)
        end = pieces[-1][-1] if pieces else (across(curve.points[-1][0]), TOP)
        label.at = end
        page.areas([_ellipse(end, (0.5, 0.5))], fill=sheet.GREY)
    labels[-1].at = (RIGHT, down(limit))
    for _, (left, top, right, bottom) in texts:
        page.box(left, top, right - left, bottom - top, fill=sheet.WHITE)
    if halves is not None:
        inside = cut([*ring, ring[0]], frame)
        page.lines(inside, colour=sheet.WHITE, pen=2.2)
        page.lines(inside, pen=0.9, dash=(2, 1.2))
    page.areas([_ellipse(spot, (1.3, 1.3))], fill=sheet.INK, edge=sheet.WHITE, pen=0.8)
    for text, box in texts:
        middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
        page.text(*middle, text, bold=text != ANOMALY, across="center")
    page.lines([[(LEFT, TOP), (LEFT, frame[3]), (RIGHT, frame[3])]], pen=0.7)
    side_labels(page, RIGHT, labels, TOP - 1.0, frame[3] + AXIS_FOOT - 1)
    depth_axis(page, LEFT, down, f"depth ({depth_unit})", 8)
    along_axis(page, across, frame[3], f"length along the pipe ({length_unit})")
    draw_notes(page, LEFT, frame[3] + AXIS_FOOT, rows)

    said = [f"Allowable depth against length {pressure}", f"this anomaly: {where}"]
    if halves is not None:
        said.append(notes[1][0].lower() + notes[1][1:-1])
    said.append(f"{limit_name}: {quantity(limit, depth_unit)}")
    said += [_said(curve, long, length_unit, depth_unit) for curve in found]
    return page.svg(title, "; ".join(said) + ".")


ANOMALY = "this anomaly"


def _checked(curves: Sequence[tuple[str, Sequence[tuple[float, float]], bool]]) -> list[_Curve]:
    if not 1 <= len(curves) <= MOST_CURVES:
        raise ValueError(f"curves has {len(curves)} entries: 1 to {MOST_CURVES} can be drawn")
    found: list[_Curve] = []
    for i, (name, points, governs) in enumerate(curves):
        xs = stations([p[0] for p in points], f"curves[{i}] length", 2)
        ys = [finite(p[1], f"curves[{i}] depth[{k}]") for k, p in enumerate(points)]
        if xs[0] < 0 or min(ys) < 0:
            raise ValueError(f"curves[{i}] has a length or depth below zero")
        thin_ones = sum(not c.governs for c in found)
        # The heavy line is the only solid one as long as there are dashes left.
        dash = None if governs else DASHES[1 + thin_ones % (len(DASHES) - 1)]
        found.append(_Curve(named(name, f"curves[{i}] name"), list(zip(xs, ys, strict=True)), bool(governs), dash))
    chief = [i for i, c in enumerate(found) if c.governs]
    if len(chief) > 1:
        raise ValueError(f"curves[{chief[1]}] governs as well as curves[{chief[0]}]: only one can")
    return found


def _label(curve: _Curve) -> SideLabel:
    text = f"{curve.name} (governs)" if curve.governs else curve.name
    rows = side_rows(text, RIGHT, bold=curve.governs, sample=True)
    colour = sheet.ACCENT if curve.governs else sheet.INK
    return SideLabel((0.0, 0.0), rows, 2.0 if curve.governs else 0.9, curve.dash, colour, curve.governs)


def _said(curve: _Curve, long: float, length_unit: str, depth_unit: str) -> str:
    name = f"{curve.name}{' (governs)' if curve.governs else ''}"
    if not curve.points[0][0] <= long <= curve.points[-1][0]:
        reach = f"{dimension(curve.points[0][0], length_unit)} to {dimension(curve.points[-1][0], length_unit)}"
        return f"{name}: no value at this length, the curve goes from {reach}"
    return f"{name}: allowable depth {quantity(_at(curve.points, long), depth_unit)} at this length"


def _at(points: Sequence[Point], place: float) -> float:
    right = min(max(bisect_left([x for x, _ in points], place), 1), len(points) - 1)
    (x0, y0), (x1, y1) = points[right - 1], points[right]
    return y0 + (y1 - y0) * (place - x0) / (x1 - x0)


def _ellipse(middle: Point, halves: tuple[float, float]) -> list[Point]:
    return [
        (middle[0] + halves[0] * math.cos(k * math.pi / 36), middle[1] + halves[1] * math.sin(k * math.pi / 36))
        for k in range(72)
    ]


def _bound(chief: _Curve | None, limit: float, across: Scale, down: Scale) -> list[Point]:
    """The lower of curve and depth limit, on paper, from left to right; beyond the curve's ends the limit alone."""
    level = down(limit)
    if chief is None:
        return [(LEFT, level), (RIGHT, level)]
    curve = [(across(x), max(down(y), level)) for x, y in thin(_with_crossings(chief.points, limit), across)]
    # The steps at the ends are all but upright, so that the line can be read off at any place.
    first, last = curve[0][0] - 1e-6, curve[-1][0] + 1e-6
    before = [(LEFT, level), (first, level)] if first > LEFT else []
    return [*before, *curve, (last, level), (RIGHT, level)]


def _with_crossings(points: Sequence[Point], level: float) -> list[Point]:
    found = [points[0]]
    for (x0, y0), (x1, y1) in pairwise(points):
        if (y0 - level) * (y1 - level) < 0:
            found.append((x0 + (x1 - x0) * (level - y0) / (y1 - y0), level))
        found.append((x1, y1))
    return found


def _forbidden(page: Sheet, bound: Sequence[Point], frame: Box) -> None:
    """The region above a line, pale and with lines that rise to the right."""
    page.areas([[*bound, (bound[-1][0], frame[1]), (bound[0][0], frame[1])]], fill="#f3f3f3")
    xs, ys = np.array([x for x, _ in bound]), np.array([y for _, y in bound])
    pieces: list[list[Point]] = []
    step = 3.2 * 2**0.5
    for k in range(int(frame[0] / step), int((frame[2] + frame[3]) / step) + 2):
        # Along x + y = k * step, in short lengths: those above the bound are drawn.
        x = np.arange(xs[0], xs[-1], 0.2)
        y = k * step - x
        above = (y > frame[1]) & (y < np.interp(x, xs, ys))
        edges = np.flatnonzero(np.diff(np.concatenate(([0], above.astype(int), [0]))))
        for first, last in zip(edges[::2], edges[1::2], strict=True):
            if last - first > 1:
                pieces.append([(float(x[first]), float(y[first])), (float(x[last - 1]), float(y[last - 1]))])
    page.lines(pieces, colour="#b4b4b4", pen=0.4)


def _ink(lines: Sequence[Sequence[Sequence[Point]]], spot: Point) -> np.ndarray:
    """Points close to each other along all that is drawn, to keep words away from it."""
    found = [np.array([spot])]
    for pieces in lines:
        for piece in pieces:
            for a, b in pairwise(piece):
                count = int(math.dist(a, b) / 0.5) + 2
                found.append(np.linspace(a, b, count))
    return np.vstack(found)


def _texts(
    chief: _Curve | None, spot: Point, ink: np.ndarray, bound: Sequence[Point], across: Scale, frame: Box
) -> list[tuple[str, Box]]:
    """Words within the frame, each where it stands clear of all lines and of the words before it."""
    placed: list[tuple[str, Box]] = []
    high = line_height(sheet.BODY)
    wide = text_width(ANOMALY, sheet.BODY) + 1.4
    near = [
        (spot[0] + dx * (wide / 2 + gap), spot[1] + dy * (high / 2 + gap))
        for gap in (2.2, 4.0, 7.0, 11.0)
        for dx, dy in ((1, 0), (-1, 0), (1, -1), (1, 1), (-1, -1), (-1, 1), (0, -1), (0, 1))
    ]
    boxes = [_around(place, wide, high) for place in near]
    boxes = [box for box in boxes if _within(box, frame)]
    fit = next((box for box in boxes if _clearance(box, ink) > 0.3), None)
    if fit is not None:
        placed.append((ANOMALY, fit))
    words = [("not allowed", -1, frame[0], frame[2])]
    if chief is not None:
        words.append(("allowed", 1, across(chief.points[0][0]), across(chief.points[-1][0])))
    xs, ys = np.array([x for x, _ in bound]), np.array([y for _, y in bound])
    for text, side, left, right in words:
        wide = text_width(text, sheet.BODY, True) + 2.0
        best: tuple[float, Box] | None = None
        for x in np.arange(frame[0], frame[2], _STRIDE):
            row = _around((float(x), 0.0), wide, high)
            if row[0] < left or row[2] > right:
                continue
            edge = np.interp(np.linspace(row[0], row[2], 9), xs, ys)
            least, most = float(edge.min()) - 0.5, float(edge.max()) + 0.5
            bound_here = math.inf  # what the place before says of this one: a step changes the room by no more than it
            for y in np.arange(frame[1], frame[3], _STRIDE):
                bound_here += _STRIDE
                box = _around((float(x), float(y)), wide, high)
                if not _within(box, frame) or (box[3] > least if side < 0 else box[1] < most):
                    bound_here = math.inf
                    continue
                if best is not None and bound_here < best[0] - _STEADY:
                    continue
                free = min([_clearance(box, ink), *(_apart(box, other) for _, other in placed)])
                bound_here = free
                if free > 0.6 and (best is None or free > best[0]):
                    best = (free, box)
        if best is not None:
            placed.append((text, best[1]))
    return placed


def _around(middle: Point, wide: float, high: float) -> Box:
    return middle[0] - wide / 2, middle[1] - high / 2, middle[0] + wide / 2, middle[1] + high / 2


def _within(box: Box, frame: Box) -> bool:
    return (
        box[0] >= frame[0] + 0.8
        and box[1] >= frame[1] + 0.4
        and box[2] <= frame[2] - 0.8
        and box[3] <= frame[3] - 0.8
    )


def _clearance(box: Box, ink: np.ndarray) -> float:
    """Least distance in mm from a rectangle to what is drawn; 0 where it lies over it."""
    dx = np.maximum(np.maximum(box[0] - ink[:, 0], ink[:, 0] - box[2]), 0.0)
    dy = np.maximum(np.maximum(box[1] - ink[:, 1], ink[:, 1] - box[3]), 0.0)
    return float(np.min(np.hypot(dx, dy)))


def _apart(one: Box, other: Box) -> float:
    dx = max(one[0] - other[2], other[0] - one[2], 0.0)
    dy = max(one[1] - other[3], other[1] - one[3], 0.0)
    return math.hypot(dx, dy)
