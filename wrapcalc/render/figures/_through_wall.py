"""Hoop stress through steel, filler and wrap, over the distance from the bore."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._numbers import finite, positive
from wrapcalc.render.figures._plot import (
    AXIS_FOOT,
    SideLabel,
    along_axis,
    depth_axis,
    draw_notes,
    labels_height,
    named,
    notes_rows,
    quantity,
    side_labels,
    side_rows,
)
from wrapcalc.render.figures._section import Scale
from wrapcalc.render.figures._sheet import Sheet, line_height, text_width, wrap

LEFT, RIGHT = (22.0, 138.0)
HEAD, HIGH = 8.0, 62.0
NARROWEST = 3.0  # a material thinner than this on paper is named beside the frame, mm

Ring = tuple[str, list[tuple[float, float]]]


def through_wall(
    *,
    rings: Sequence[tuple[str, Sequence[tuple[float, float]]]],
    lines: Sequence[tuple[str, float]],
    state: str,
    straight: bool,
    length_unit: str,
    stress_unit: str,
    title: str,
) -> str:
    """Hoop stress from the bore outwards, as one inline `<svg>`; places in `length_unit`, stresses in `stress_unit`.

    rings: (material, points of radius and hoop stress from its inner to its outer face), from the inside out, each
    beginning where the one before ends. lines: (label, stress) of level lines, such as SMYS. state: the load in words.
    straight: whether only the faces are known, and the lines between them are drawn straight. Each material is named
    and has its own ground.

    Raises ValueError, naming the argument, for no rings, empty names, NaN or infinity, radii that do not rise or not
    above zero, and rings that do not touch.
    """
    if not rings:
        raise ValueError("rings is empty: there is nothing to draw")
    found = [_checked(ring, f"rings[{i}]") for i, ring in enumerate(rings)]
    bore, outside = found[0][1][0][0], found[-1][1][-1][0]
    for i in range(1, len(found)):
        before, after = found[i - 1][1][-1][0], found[i][1][0][0]
        if abs(after - before) > 1e-6 * outside:
            raise ValueError(f"rings[{i}] begins at {after:g}, the one before ends at {before:g}: they have to touch")
    marks = [(named(label, f"lines[{i}] label"), finite(v, f"lines[{i}] stress")) for i, (label, v) in enumerate(lines)]
    what = named(state, "state")

    stresses = [s for _, points in found for _, s in points] + [v for _, v in marks] + [0.0]
    spread = (max(stresses) - min(stresses)) or 1.0
    low = min(stresses) - (0.06 * spread if min(stresses) < 0 else 0.0)
    labels_at = _labels(found, marks, stress_unit)
    high = max(HIGH, labels_height(labels_at) + 2.0)
    across = Scale(0.0, (outside - bore) * 1.02, LEFT, RIGHT)
    down = Scale(low, max(stresses) + 0.08 * spread, HEAD + high, HEAD)
    notes = [f"State: {what}."]
    if straight:
        notes.append("Stresses are worked out at the faces (dots); between them drawn straight.")
    rows = notes_rows(notes, RIGHT - LEFT + 26)
    bottom = HEAD + high
    page = Sheet(bottom + AXIS_FOOT + len(rows) * line_height(sheet.SMALL) + 1.0)

    grounds = (sheet.PALE, sheet.WHITE, sheet.TINT_DEEP)
    for k, (name, points) in enumerate(found):
        x0, x1 = across(points[0][0] - bore), across(points[-1][0] - bore)
        ground = grounds[0] if k == 0 and len(found) > 1 else grounds[2] if k == len(found) - 1 else grounds[1]
        page.box(x0, HEAD, x1 - x0, high, fill=ground)
        page.lines([[(x1, HEAD), (x1, bottom)]], colour=sheet.RULE, pen=0.6)
        rows_of = wrap(name, max(x1 - x0 - 1.0, 1.0), sheet.SMALL, True)
        if x1 - x0 >= NARROWEST and text_width(name, sheet.SMALL, True) <= x1 - x0 - 1.0:
            page.text((x0 + x1) / 2, HEAD - 3.0, rows_of, size=sheet.SMALL, bold=True, across="center")
    if low < 0:
        page.lines([[(LEFT, down(0.0)), (RIGHT, down(0.0))]], colour=sheet.GREY, pen=0.6)
    for _, value in marks:
        page.lines([[(LEFT, down(value)), (RIGHT, down(value))]], pen=0.9, dash=(5, 2.5))
    for _, points in found:
        line = [(across(r - bore), down(s)) for r, s in points]
        page.lines([line], colour=sheet.ACCENT, pen=1.6)
        for x, y in (line[0], line[-1]):
            page.areas([[(x - 0.7, y), (x, y - 0.7), (x + 0.7, y), (x, y + 0.7)]], fill=sheet.ACCENT)
    page.lines([[(LEFT, HEAD), (LEFT, bottom), (RIGHT, bottom)]], pen=0.7)
    placed = [_moved(label, across, down, bore) for label in labels_at]
    side_labels(page, RIGHT, placed, HEAD, bottom + AXIS_FOOT - 2.0)
    depth_axis(page, LEFT, down, f"hoop stress ({stress_unit})")
    along_axis(page, across, bottom, f"distance from the bore of the steel, outwards \u2192 ({length_unit})")
    draw_notes(page, LEFT, bottom + AXIS_FOOT, rows)

    said = [f"{name}: {quantity(points[0][1], stress_unit)} at its inner face, "
            f"{quantity(points[-1][1], stress_unit)} at its outer face" for name, points in found]  # fmt: skip
    said += [f"{label}: {quantity(value, stress_unit)}" for label, value in marks]
    return page.svg(title, f"Hoop stress, {what}. {'; '.join(said)}.")


def _checked(ring: tuple[str, Sequence[tuple[float, float]]], name: str) -> Ring:
    material, given = ring
    points = [(positive(p[0], f"{name} radius {k}"), finite(p[1], f"{name} stress {k}")) for k, p in enumerate(given)]
    if len(points) < 2 or any(b[0] <= a[0] for a, b in pairwise(points)):
        raise ValueError(f"{name} needs two or more radii that rise")
    return named(material, f"{name} material"), points


def _labels(found: Sequence[Ring], marks: Sequence[tuple[str, float]], unit: str) -> list[SideLabel]:
    """Names right of the frame with stresses at the faces; their places are still radius and stress."""
    out = []
    for name, points in found:
        inner, outer = quantity(points[0][1], unit), quantity(points[-1][1], unit)
        rows = [*side_rows(name, RIGHT, bold=True), *side_rows("inner face", RIGHT, inner),
                *side_rows("outer face", RIGHT, outer)]  # fmt: skip
        out.append(SideLabel(points[-1], rows))
    return out + [SideLabel((-1.0, value), side_rows(label, RIGHT, quantity(value, unit))) for label, value in marks]


def _moved(label: SideLabel, across: Scale, down: Scale, bore: float) -> SideLabel:
    x = RIGHT if label.at[0] < 0 else across(label.at[0] - bore)
    return SideLabel((x, down(label.at[1])), label.rows)
