"""The wall in section along the river bottom, and the part of it that governs as a rectangle of equal mean depth."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._dimensions import Dimension, draw_dimensions, rows_height
from wrapcalc.render.figures._numbers import dimension, finite, positive, span, stations
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
    thin,
)
from wrapcalc.render.figures._section import LEFT, RIGHT, Scale
from wrapcalc.render.figures._sheet import Point, Sheet, line_height

HIGH = 56.0
SIDES = ("outer", "inner")
MOST_STATIONS = 100_000


def profile(
    *,
    stations: Sequence[float],
    depth: Sequence[float],
    wall: float,
    governing: tuple[float, float],
    effective_depth: float,
    limit_depth: float | None = None,
    limit_label: str = "",
    length_unit: str,
    depth_unit: str,
    title: str,
    side: str = "outer",
) -> str:
    """The wall in section with its river-bottom profile and the governing length, as one inline `<svg>`.

    stations: two to 100 000 rising axial positions, downstream to the right; governing: (start, end) of the
    governing length, within them; both in `length_unit`. depth: one depth to a station; wall: sound thickness;
    effective_depth: mean depth over the governing length, drawn as a dashed rectangle (so that its area is the
    metal loss there); limit_depth: depth of a dashed line named `limit_label`; all in `depth_unit`. side: the
    surface that the depth is measured from, outer or inner. Of many stations the extremes of each 0.3 mm of
    paper are drawn. Length and depth are not drawn to one scale.

    Raises ValueError, naming the argument, for NaN or infinity, sizes that do not agree or are not above zero,
    stations that do not rise, a governing length that leaves them, an unknown side and a limit without a name.
    """
    xs, deep = _checked(stations, depth)
    thick = positive(wall, "wall")
    start, end = span(governing, "governing")
    if start < xs[0] or end > xs[-1]:
        raise ValueError(
            f"governing runs from {start:g} to {end:g}: the stations reach from {xs[0]:g} to {xs[-1]:g}"
        )
    mean = positive(effective_depth, "effective_depth")
    limit = None if limit_depth is None else positive(limit_depth, "limit_depth")
    limit_name = "" if limit is None else named(limit_label, "limit_label")
    if side not in SIDES:
        raise ValueError(f"side is {side!r}: it has to be one of {', '.join(SIDES)}")

    worst = max(deep)
    deepest = f"{quantity(worst, depth_unit)} at {dimension(xs[deep.index(worst)], length_unit)}"
    governs = f"governing length {dimension(end - start, length_unit)}"
    whole = f"whole length {dimension(xs[-1] - xs[0], length_unit)}"
    notes = [
        f"Tinted: metal loss within the governing length. Dashed: rectangle of its mean depth, "
        f"{quantity(mean, depth_unit)}. Deepest {deepest}.",
        "Length and depth are not drawn to one scale.",
    ]
    across = Scale(xs[0], xs[-1], LEFT, RIGHT)
    points = thin(list(zip(xs, deep, strict=True)), across)
    if len(points) < len(xs):
        notes[1] += f" Of {len(xs)} stations the extremes are drawn."
    rows = notes_rows(notes, sheet.WIDTH - LEFT)

    dims = [Dimension(across(start), across(end), governs, 0.0)]
    if end - start < xs[-1] - xs[0]:
        dims.append(Dimension(LEFT, RIGHT, whole, 0.0))
    top = rows_height(dims, LEFT, sheet.WIDTH) + 1.0
    values = [0.0, thick, worst, mean] + ([] if limit is None else [limit])
    low, high = min(0.0, *deep), max(values) * 1.04
    other = "inner" if side == "outer" else "outer"
    texts = [
        (0.0, f"{side} surface", ""),
        (thick, f"{other} surface, sound wall", quantity(thick, depth_unit)),
        (mean, "mean depth", quantity(mean, depth_unit)),
    ]
    if limit is not None:
        texts.append((limit, f"{limit_name}:", quantity(limit, depth_unit)))
    labels = [SideLabel((RIGHT, at), side_rows(text, RIGHT, value)) for at, text, value in texts]
    height = max(HIGH, labels_height(labels))
    bottom = top + height
    page = Sheet(bottom + AXIS_FOOT + len(rows) * line_height(sheet.SMALL) + 1.0)
    # Seen from the side: the outer surface is always the upper one.
    down = Scale(low, high, top, bottom) if side == "outer" else Scale(low, high, bottom, top)
    for label in labels:
        label.at = (RIGHT, down(label.at[1]))

    surface, inner = down(0.0), down(thick)
    river = [(across(x), down(value)) for x, value in points]
    loss = [(across(x), down(value)) for x, value in _part(points, start, end)]
    page.areas([[(loss[0][0], surface), *loss, (loss[-1][0], surface)]], fill=sheet.TINT_DEEP)
    metal = [(across(x), down(min(value, thick))) for x, value in points]
    page.areas([[*metal, (RIGHT, inner), (LEFT, inner)]], fill=sheet.PALE)
    page.lines([[(LEFT, surface), (RIGHT, surface)]], colour=sheet.RULE, pen=0.6, dash=(1.5, 1.5))
    page.lines([[(LEFT, inner), (RIGHT, inner)]], pen=1.4)
    if limit is not None:
        page.lines([[(LEFT, down(limit)), (RIGHT, down(limit))]], pen=0.9, dash=(9, 2, 1.5, 2))
    page.lines([river], colour=sheet.ACCENT, pen=1.5)
    reach = top if side == "outer" else surface
    drop = [[(x, top), (x, reach)] for x in (dims[0].x0, dims[0].x1)]
    page.lines(drop, colour=sheet.GREY, pen=0.5, dash=(1, 1.5))
    base = down(mean)
    outline = [(dims[0].x0, surface), (dims[0].x0, base), (dims[0].x1, base), (dims[0].x1, surface)]
    page.lines([outline], pen=1.2, dash=(4, 1.8))
    page.lines([[(dims[0].x1, base), (RIGHT, base)]], colour=sheet.GREY, pen=0.4, dash=(1, 1.5))
    page.lines([[(LEFT, top), (LEFT, bottom), (RIGHT, bottom)]])
    drawn = [Dimension(d.x0, d.x1, d.text, top) for d in dims]
    draw_dimensions(page, drawn, top, LEFT, sheet.WIDTH)
    side_labels(page, RIGHT, labels, top, bottom + AXIS_FOOT - 1)
    depth_axis(page, LEFT, down, f"depth from the {side} surface ({depth_unit})")
    along_axis(page, across, bottom, f"axial distance, downstream \u2192 ({length_unit})")
    draw_notes(page, LEFT, bottom + AXIS_FOOT, rows)

    said = [
        f"River-bottom profile in the wall, {len(xs)} stations from {dimension(xs[0], length_unit)} to "
        f"{dimension(xs[-1], length_unit)}, downstream to the right",
        f"depth from the {side} surface, deepest {deepest}",
        f"sound wall {quantity(thick, depth_unit)}",
        f"{governs}, from {dimension(start, length_unit)} to {dimension(end, length_unit)}, with a mean depth of "
        f"{quantity(mean, depth_unit)}",
    ]
    if limit is not None:
        said.append(f"{limit_name}: {quantity(limit, depth_unit)}")
    return page.svg(title, "; ".join(said) + ".")


def _checked(places: Sequence[float], depth: Sequence[float]) -> tuple[list[float], list[float]]:
    xs = stations(places, "stations", 2)
    if len(xs) > MOST_STATIONS:
        raise ValueError(f"stations has {len(xs)} values: at most {MOST_STATIONS} can be drawn")
    if len(depth) != len(xs):
        raise ValueError(f"depth has {len(depth)} values for {len(xs)} stations")
    return xs, [finite(value, f"depth[{index}]") for index, value in enumerate(depth)]


def _part(points: Sequence[Point], start: float, end: float) -> list[Point]:
    """The line between two positions, with its depth at both ends."""
    xs = [x for x, _ in points]
    return [
        (start, _at(points, xs, start)),
        *points[bisect_right(xs, start) : bisect_left(xs, end)],
        (end, _at(points, xs, end)),
    ]


def _at(points: Sequence[Point], xs: Sequence[float], place: float) -> float:
    right = min(max(bisect_left(xs, place), 1), len(xs) - 1)
    (x0, y0), (x1, y1) = points[right - 1], points[right]
    return y0 + (y1 - y0) * (place - x0) / (x1 - x0)
