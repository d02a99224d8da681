"""The pipe's surface unrolled flat, with the boxes of a list of metal loss and the clusters that they form."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._depth_map import Shading
from wrapcalc.render.figures._numbers import (
    clock_text,
    decimals_for,
    dimension,
    finite,
    fixed,
    hours,
    positive,
    span,
)
from wrapcalc.render.figures._plot import (
    AXIS_FOOT,
    Box,
    along_axis,
    draw_notes,
    named,
    notes_rows,
    quantity,
)
from wrapcalc.render.figures._section import Scale
from wrapcalc.render.figures._sheet import POINTS_PER_MM, Point, Sheet, ink_on, line_height, text_width, wrap

LEFT, RIGHT = (16.0, 152.0)  # as the unwrapped pipe: the right margin takes the seam's label
HIGH = 112.0
STRETCH = 12.0  # the pipe is drawn at most so much longer than it is, against its circumference
KEY = 13.0  # height of the key of depths below the axis
MOST_BOXES = 5000
MOST_NUMBERS = 400  # with more boxes than this no depths are printed into them


@dataclass(frozen=True)
class _Patch:
    """A rectangle on the pipe: axial extent, extent around, and the pieces of the latter on the sheet."""

    x0: float
    x1: float
    parts: list[tuple[float, float]]


def cluster_map(
    *,
    boxes: Sequence[tuple[float, float, float, float, float]],
    clusters: Sequence[tuple[float, float, float, float, str, bool]],
    circumference: float,
    clock_from: float,
    seam_clock: float | None = None,
    length_unit: str,
    depth_unit: str,
    title: str,
) -> str:
    """Boxes of metal loss and their clusters on the unrolled pipe, as one inline `<svg>`; lengths in `length_unit`.

    boxes: one to 5000 (axial start, end, start around, end around, depth in `depth_unit`); clusters: (axial start,
    end, start around, end around, label, governs), at most one of which governs. Along: axial position, downstream
    to the right. Around: from 0 at the upper edge of the sheet, clockwise facing downstream, drawn downwards; a
    position below 0 or beyond the circumference counts round the pipe, and what crosses the edge of the sheet is
    drawn in two pieces. clock_from: clock position in hours of the upper edge. Labels of clusters are left out,
    and a note says so, where there is no room; the governing one is always labelled.

    Raises ValueError, naming the argument, for NaN or infinity, no boxes or too many, extents that do not rise or
    go more than once round the pipe, negative depths, clocks outside 0 to 12, empty labels and two that govern.
    """
    around = positive(circumference, "circumference")
    upper = hours(clock_from, "clock_from")
    seam = None if seam_clock is None else hours(seam_clock, "seam_clock")
    if not 1 <= len(boxes) <= MOST_BOXES:
        raise ValueError(f"boxes has {len(boxes)} entries: 1 to {MOST_BOXES} can be drawn")
    pits = [_patch(box, around, f"boxes[{i}]") for i, box in enumerate(boxes)]
    depths = [finite(box[4], f"boxes[{i}] depth") for i, box in enumerate(boxes)]
    if min(depths) < 0:
        raise ValueError(f"boxes[{depths.index(min(depths))}] depth is {min(depths):g}: a depth is not below zero")
    groups = [_patch(entry, around, f"clusters[{i}]") for i, entry in enumerate(clusters)]
    names = [named(entry[4], f"clusters[{i}] label") for i, entry in enumerate(clusters)]
    chief = [i for i, entry in enumerate(clusters) if entry[5]]
    if len(chief) > 1:
        raise ValueError(f"clusters[{chief[1]}] governs as well as clusters[{chief[0]}]: only one can")

    ends = [x for patch in (*pits, *groups) for x in (patch.x0, patch.x1)]
    middle = (min(ends) + max(ends)) / 2
    equal = around * (RIGHT - LEFT) / HIGH
    shown = max(1.06 * (max(ends) - min(ends)), equal / STRETCH)
    if equal / 1.6 < shown < equal:
        shown = equal  # near enough to one scale in both directions: take it
    across = Scale(middle - shown / 2, middle + shown / 2, LEFT, RIGHT)
    stretch = equal / shown

    crossing = sum(len(patch.parts) > 1 for patch in groups)
    head = [] if not chief else wrap(f"governs: {names[chief[0]]}", RIGHT - LEFT, sheet.BODY, True)
    top = 3.0 + (line_height(sheet.BODY) * len(head) + 3.2 if head else 0.0)
    down = Scale(0.0, around, top, top + HIGH)
    shading = Shading.of(0.0, max(depths), max(depths) or 1.0)
    obstacles = [_on_paper(patch, across, down) for patch in pits]
    seam_level = None if seam is None else down((seam - upper) % 12 / 12 * around)
    labels, missing = _labels(groups, names, chief, obstacles, across, down, seam_level)

    notes = ["Dashed: clusters. Heavy: the cluster that governs." if chief else "Dashed: clusters."]
    if not groups:
        notes = ["No clusters."]
    if crossing:
        notes[0] += f" {crossing} of {len(groups)} across the edge of the sheet: drawn in two pieces, open there."
    if missing:
        few = ", ".join(missing) if len(missing) <= 12 else f"{len(missing)} of {len(groups)} clusters"
        notes.append(f"Not labelled, for want of room: {few}.")
    if 0.999 < stretch < 1.001:
        notes.append("Drawn to one scale in both directions.")
    else:
        way = ("along the pipe", "around it") if stretch > 1 else ("around the pipe", "along it")
        times = quantity(max(stretch, 1 / stretch), "", 3)
        notes.append(f"Not to scale: {way[0]} drawn {times} times as large as {way[1]}.")
    rows = notes_rows(notes, RIGHT - LEFT + 14)
    foot = top + HIGH + AXIS_FOOT + KEY
    # A whole number of points high, so that rounded places stay short in the file.
    page = Sheet(math.ceil((foot + len(rows) * line_height(sheet.SMALL) + 1.0) * POINTS_PER_MM) / POINTS_PER_MM)

    page.box(LEFT, top, RIGHT - LEFT, HIGH, fill=sheet.WHITE)
    _draw_boxes(page, obstacles, depths, shading)
    if len(pits) <= MOST_NUMBERS:
        _numbers(page, obstacles, depths, shading, seam_level)
    if seam_level is not None:
        _seam(page, seam_level, clock_text(seam or 0.0), down)
    for i, patch in enumerate(groups):
        if i not in chief:
            page.lines(_outline(patch, across, down, around), pen=0.8 if len(groups) <= 60 else 0.5, dash=(3, 1.6))
    for i in chief:
        page.lines(_outline(groups[i], across, down, around), pen=2.2)
        _governing(page, groups[i], head, across, down, top)
    for (left, high, right, low), text in labels:
        page.text((left + right) / 2, (high + low) / 2, text, size=sheet.SMALL, across="center")
    page.lines([[(LEFT, y), (RIGHT, y)] for y in (top, top + HIGH)], pen=1.2)
    _clock_axis(page, upper, down)
    along_axis(page, across, top + HIGH, f"axial distance, downstream \u2192 ({length_unit})")
    _key(page, shading, top + HIGH + AXIS_FOOT + 1.5, depth_unit)
    draw_notes(page, LEFT, foot, rows)

    worst = depths.index(max(depths))
    said = [
        f"Unrolled pipe, circumference {dimension(around, length_unit)}, upper edge at {clock_text(upper)}, "
        f"downstream to the right",
        f"{len(pits)} boxes of metal loss, the deepest {quantity(depths[worst], depth_unit)} at "
        f"{dimension(pits[worst].x0, length_unit)} to {dimension(pits[worst].x1, length_unit)}",
        f"{len(groups)} clusters, {crossing} across the edge of the sheet",
    ]
    for i in chief:
        x0, x1, y0, y1 = clusters[i][:4]
        said.append(
            f"governs: {names[i]}, {dimension(x0, length_unit)} to {dimension(x1, length_unit)} along and "
            f"{dimension(y1 - y0, length_unit)} around, from {clock_text((y0 / around * 12 + upper) % 12)}"
        )
    if seam is not None:
        said.append(f"long seam at {clock_text(seam)}")
    return page.svg(title, "; ".join(said) + ".")


def _patch(entry: Sequence[object], around: float, name: str) -> _Patch:
    x0, x1 = span(entry[0:2], f"{name} axial")
    y0, y1 = span(entry[2:4], f"{name} around")
    if y1 - y0 > around * (1 + 1e-9):
        raise ValueError(f"{name} around is {y1 - y0:g}: wider than the circumference of {around:g}")
    start = y0 % around
    end = start + y1 - y0
    if y1 - y0 >= around * (1 - 1e-9):
        return _Patch(x0, x1, [(0.0, around)])
    if end > around * (1 + 1e-9):
        return _Patch(x0, x1, [(start, around), (0.0, end - around)])
    return _Patch(x0, x1, [(start, min(end, around))])


def _on_paper(patch: _Patch, across: Scale, down: Scale) -> list[Box]:
    return [(across(patch.x0), down(a), across(patch.x1), down(b)) for a, b in patch.parts]


def _outline(patch: _Patch, across: Scale, down: Scale, around: float) -> list[list[Point]]:
    """The sides of an envelope; open where the sheet's edge cuts it."""
    pieces: list[list[Point]] = []
    for left, top, right, bottom in _on_paper(patch, across, down):
        if len(patch.parts) == 1:
            # Begun in the middle of a side, so that all four corners are joined.
            begin = ((left + right) / 2, top)
            pieces.append([begin, (right, top), (right, bottom), (left, bottom), (left, top), begin])
        elif math.isclose(bottom, down(around)):
            pieces.append([(left, bottom), (left, top), (right, top), (right, bottom)])
        else:
            pieces.append([(left, top), (left, bottom), (right, bottom), (right, top)])
    return pieces


def _draw_boxes(page: Sheet, found: Sequence[Sequence[Box]], depths: Sequence[float], shading: Shading) -> None:
    pen = 0.5 if len(found) <= 500 else 0.25
    for level in range(shading.count):
        pieces = [
            [(left, top), (right, top), (right, bottom), (left, bottom)]
            for parts, depth in zip(found, depths, strict=True)
            if shading.level(depth) == level
            for left, top, right, bottom in (_rounded(box) for box in parts)
        ]
        page.areas(pieces, fill=shading.colour(level), edge=sheet.INK, pen=pen)


def _rounded(box: Box) -> Box:
    """The rectangle to hundredths of a point: half the size of a file with thousands of them."""
    left, top, right, bottom = (round(edge * POINTS_PER_MM, 2) / POINTS_PER_MM for edge in box)
    return left, top, right, bottom


def _numbers(
    page: Sheet,
    found: Sequence[Sequence[Box]],
    depths: Sequence[float],
    shading: Shading,
    seam: float | None,
) -> None:
    """Depths printed into the boxes that have room for them and lie free of others and of the seam."""
    decimals = decimals_for(depths, max(depths) or 1.0)
    every = np.array([box for parts in found for box in parts] + _seam_box(seam))
    for parts, depth in zip(found, depths, strict=True):
        left, top, right, bottom = max(parts, key=lambda box: box[3] - box[1])
        text = fixed(depth, decimals)
        wide = text_width(text, sheet.SMALL)
        if right - left < wide + 1.0 or bottom - top < line_height(sheet.SMALL):
            continue
        if _hits(every, (left, top, right, bottom), 0.0) == 1:
            ink = ink_on(shading.colour(shading.level(depth)))
            middle = ((left + right) / 2, (top + bottom) / 2)
            page.text(*middle, text, size=sheet.SMALL, colour=ink, across="center")


def _hits(boxes: np.ndarray, box: Box, gap: float) -> int:
    """How many of the boxes, rows of left, top, right and bottom, come nearer to one than `gap`."""
    if not len(boxes):
        return 0
    level = (boxes[:, 0] < box[2] + gap) & (boxes[:, 2] > box[0] - gap)
    return int(np.count_nonzero(level & (boxes[:, 1] < box[3] + gap) & (boxes[:, 3] > box[1] - gap)))


def _labels(
    groups: Sequence[_Patch],
    names: Sequence[str],
    chief: Sequence[int],
    pits: Sequence[Sequence[Box]],
    across: Scale,
    down: Scale,
    seam: float | None,
) -> tuple[list[tuple[Box, str]], list[str]]:
    """Places of labels beside their envelopes, clear of all else that is drawn; and those without a place."""
    taken = [box for parts in pits for box in parts]
    for patch in groups:
        for left, top, right, bottom in _on_paper(patch, across, down):
            # The four sides, not the inside: a label may stand within an envelope.
            taken += [(left, top, right, top), (left, bottom, right, bottom)]
            taken += [(left, top, left, bottom), (right, top, right, bottom)]
    taken += _seam_box(seam)
    for i in chief:
        box = min(_on_paper(groups[i], across, down), key=lambda part: part[1])
        middle = (box[0] + box[2]) / 2
        taken.append((middle - 0.6, down.start, middle + 0.6, box[1]))
    obstacles = np.array(taken)
    placed: list[tuple[Box, str]] = []
    missing: list[str] = []
    for i, (patch, name) in enumerate(zip(groups, names, strict=True)):
        if i in chief:
            continue
        spot = _spot(_on_paper(patch, across, down), text_width(name, sheet.SMALL), obstacles, down)
        if spot is None:
            missing.append(name)
            continue
        obstacles = np.vstack([obstacles, spot])
        placed.append((spot, name))
    return placed, missing


def _spot(parts: Sequence[Box], wide: float, obstacles: np.ndarray, down: Scale) -> Box | None:
    high = line_height(sheet.SMALL)
    for left, top, right, bottom in parts:
        middle = (left + right) / 2
        for x, y in (
            (middle, top - high / 2 - 0.4),
            (middle, bottom + high / 2 + 0.4),
            (right + wide / 2 + 0.8, (top + bottom) / 2),
            (left - wide / 2 - 0.8, (top + bottom) / 2),
            (left + wide / 2, top - high / 2 - 0.4),
            (right - wide / 2, bottom + high / 2 + 0.4),
        ):
            box = (x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)
            if box[0] < LEFT + 0.5 or box[2] > RIGHT - 0.5 or box[1] < down.start + 0.5 or box[3] > down.end - 0.5:
                continue
            if not _hits(obstacles, box, 0.3):
                return box
    return None


def _governing(page: Sheet, patch: _Patch, head: Sequence[str], across: Scale, down: Scale, top: float) -> None:
    """The name of the governing cluster above the sheet, with a line down to the cluster."""
    left, high, right, _ = min(_on_paper(patch, across, down), key=lambda part: part[1])
    x = (left + right) / 2
    page.areas([[(x, top - 0.3), (x - 1.3, top - 2.7), (x + 1.3, top - 2.7)]], fill=sheet.INK)
    if high - top > 0.5:
        for colour, pen in ((sheet.WHITE, 1.8), (sheet.INK, 0.7)):
            page.lines([[(x, top), (x, high)]], colour=colour, pen=pen)
    half = max(text_width(row, sheet.BODY, True) for row in head) / 2
    middle = top - 3.0 - line_height(sheet.BODY) * len(head) / 2
    page.text(min(max(x, LEFT + half), RIGHT - half), middle, head, bold=True, across="center")


def _seam_box(level: float | None) -> list[Box]:
    return [] if level is None else [(LEFT, level - 0.5, RIGHT, level + 0.5)]


def _seam(page: Sheet, level: float, clock: str, down: Scale) -> None:
    levels = [level] if level > down.start else [down.start, down.end]
    for y in levels:
        page.lines([[(LEFT, y), (RIGHT, y)]], colour=sheet.WHITE, pen=2.4)
        page.lines([[(LEFT, y), (RIGHT + 1.5, y)]], pen=1.0, dash=(7, 2, 1.5, 2))
    text = ["long seam", clock]
    page.text(RIGHT + 2.2, max(levels[0], down.start + line_height(sheet.SMALL) / 2), text, size=sheet.SMALL)


def _clock_axis(page: Sheet, upper: float, down: Scale) -> None:
    marks = [((hour - upper) % 12 / 12, str(hour)) for hour in (3, 6, 9, 12)]
    marks += [(1.0, text) for share, text in marks if share == 0]
    for edge in (0.0, 1.0):
        # The edge of the sheet is named, unless a round hour stands at it or too near.
        if all(abs(share - edge) * HIGH > line_height(sheet.SMALL) + 0.6 for share, _ in marks):
            marks.append((edge, clock_text(upper)))
    for share, text in marks:
        y = down.start + share * HIGH
        page.lines([[(LEFT - 1.2, y), (LEFT, y)]])
        page.text(LEFT - 1.9, y, text, size=sheet.SMALL if ":" in text else sheet.BODY, across="right")
    name = "clock, facing downstream (hours)"
    page.text(3.4, (down.start + down.end) / 2, name, size=sheet.SMALL, upright=True)


def _key(page: Sheet, shading: Shading, top: float, unit: str) -> None:
    """Bands of depth with their numbers, in a row."""
    name = f"depth ({unit})"
    start = LEFT + text_width(name, sheet.BODY) + 4.0
    page.text(LEFT, top + 2.0, name)
    each = min(14.0, (RIGHT - start) / shading.count)
    decimals = next(d for d in range(12) if abs(round(shading.step, d) - shading.step) < 1e-6 * shading.step)
    for level in range(shading.count):
        page.box(start + level * each, top, each, 4.0, fill=shading.colour(level), edge=sheet.GREY, pen=0.4)
    for k in range(shading.count + 1):
        x = start + k * each
        page.lines([[(x, top + 4.0), (x, top + 5.0)]], colour=sheet.GREY)
        text = fixed(shading.floor + k * shading.step, decimals)
        page.text(x, top + 7.0, text, size=sheet.SMALL, across="center")
