"""The corroded area seen from outside, and below it the wall in section along its deepest path."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import cos, pi, sin

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._numbers import (
    decimals_for,
    dimension,
    finite,
    fixed,
    positive,
    round_step,
    stations,
    ticks,
)
from wrapcalc.render.figures._section import FOOT, LEFT, RIGHT, Scale, depth_text, draw_section
from wrapcalc.render.figures._sheet import Sheet, ink_on, line_height, text_width, wrap

STRIP = 9.0  # above the map: where the deepest point's label stands
SECTION = 38.0
GAP = 6.0
MOST_COLUMNS, MOST_ROWS = (14, 12)  # a grid of this size or smaller is printed with its numbers
LIGHT, DARK = (0xF4, 0xF9, 0xF9), (0x0B, 0x52, 0x5B)


def depth_map(
    *,
    axial: Sequence[float],
    around: Sequence[float],
    depth: Sequence[Sequence[float]],
    wall: float,
    profile: Sequence[float],
    length_unit: str,
    depth_unit: str,
    title: str,
    deepest: tuple[float, float],
    limit_depth: float | None = None,
    limit_label: str = "",
) -> str:
    """Map of metal loss with the river-bottom profile below it, as one inline `<svg>` element.

    axial: n rising stations along the pipe (two or more), downstream to the right; around: m rising stations
    around it, clockwise facing downstream, drawn downwards; both in `length_unit`. depth: m rows of n depths,
    profile: n depths, wall: thickness, limit_depth: depth of a dashed line named `limit_label` (such as 80 %
    of wall); all in `depth_unit`. deepest: the (axial, around) position of the deepest point. The two
    directions of the map are not drawn to one scale.

    Raises ValueError, naming the argument, for NaN or infinite values, shapes that do not agree, stations
    that do not rise, and a `deepest` that is off the grid or not where the grid is deepest.
    """
    xs, ys = stations(axial, "axial", 2), stations(around, "around", 1)
    if len(depth) != len(ys):
        raise ValueError(f"depth has {len(depth)} rows for {len(ys)} stations around")
    rows: list[list[float]] = []
    for i, row in enumerate(depth):
        if len(row) != len(xs):
            raise ValueError(f"depth[{i}] has {len(row)} values for {len(xs)} axial stations")
        rows.append([finite(value, f"depth[{i}][{j}]") for j, value in enumerate(row)])
    if len(profile) != len(xs):
        raise ValueError(f"profile has {len(profile)} values for {len(xs)} axial stations")
    river = [finite(value, f"profile[{j}]") for j, value in enumerate(profile)]
    thick = positive(wall, "wall")
    limit = None if limit_depth is None else positive(limit_depth, "limit_depth")
    if limit is not None and not limit_label.strip():
        raise ValueError("limit_label is empty: a limit line needs its name")

    x_edges = _edges(xs, 1.0)
    y_edges = _edges(ys, xs[1] - xs[0])
    mark = (finite(deepest[0], "deepest axial"), finite(deepest[1], "deepest around"))
    column, line = (_cell(mark[0], x_edges, "deepest axial"), _cell(mark[1], y_edges, "deepest around"))
    worst = max(max(row) for row in rows)
    if rows[line][column] != worst:
        raise ValueError(
            f"deepest is at {mark[0]:g}, {mark[1]:g} where the depth is {rows[line][column]:g}, "
            f"but the deepest of the grid is {worst:g}"
        )

    decimals = decimals_for([value for row in rows for value in row] + river, thick)
    numbered = len(xs) <= MOST_COLUMNS and len(ys) <= MOST_ROWS
    # As near to equal scales as the page allows, without blowing up a few rows to a whole page.
    natural = (RIGHT - LEFT) * (y_edges[-1] - y_edges[0]) / (x_edges[-1] - x_edges[0])
    height = max(36.0, 4.2 * len(ys) if numbered else 0.0, min(84.0, 14.0 * len(ys), natural))

    top, bottom = STRIP, STRIP + height
    page = Sheet(bottom + GAP + SECTION + FOOT)
    across = Scale(x_edges[0], x_edges[-1], LEFT, RIGHT)
    down = Scale(y_edges[0], y_edges[-1], top, bottom)
    shading = Shading.of(min(0.0, min(min(row) for row in rows)), worst, thick)
    columns, lines = [across(x) for x in x_edges], [down(y) for y in y_edges]
    _cells(page, rows, shading, columns, lines)
    if numbered:
        numbered = _cell_numbers(page, rows, shading, columns, lines, decimals)
    page.box(LEFT, top, RIGHT - LEFT, height, edge=sheet.INK, pen=0.7)
    _colour_bar(page, top, bottom, shading, depth_unit)

    where = f"{dimension(mark[0], length_unit)} along, {dimension(mark[1], length_unit)} around"
    label = f"deepest {fixed(worst, decimals)} {depth_unit} at {where}"
    if numbered:
        corner = (across(x_edges[column]), down(y_edges[line]))
        size = (across(x_edges[column + 1]) - corner[0], down(y_edges[line + 1]) - corner[1])
        page.box(*corner, *size, edge=sheet.WHITE, pen=3.2)
        page.box(*corner, *size, edge=sheet.INK, pen=1.6)
        _deepest_label(page, corner[0] + size[0] / 2, top, label)
    else:
        spot = (across(mark[0]), down(mark[1]))
        _ring(page, spot)
        if spot[1] - 1.8 > top:
            for colour, pen in ((sheet.WHITE, 1.8), (sheet.INK, 0.7)):
                page.lines([[(spot[0], top), (spot[0], spot[1] - 1.6)]], colour=colour, pen=pen)
        _deepest_label(page, spot[0], top, label)

    _down_axis(page, ys, down, f"around the pipe, clockwise facing downstream ({length_unit})", top, bottom)
    section_top = bottom + GAP
    values = [0.0, thick, max(river)] + ([] if limit is None else [limit])
    deep = Scale(min(0.0, min(river)), max(values) * 1.04, section_top, section_top + SECTION)
    draw_section(page, [across(x) for x in xs], river, thick, limit, limit_label, deep, depth_unit, decimals)
    _along_axis(page, xs, across, section_top + SECTION, f"axial distance, downstream \u2192 ({length_unit})")

    x_range, y_range = (
        f"{dimension(v[0], length_unit)} to {dimension(v[-1], length_unit)}" for v in (xs, ys)
    )
    description = (
        f"Metal loss at {len(xs)} axial by {len(ys)} circumferential stations: axial {x_range} (downstream "
        f"to the right), around {y_range} (clockwise facing downstream, downwards). "
        f"{label[0].upper()}{label[1:]}. "
        f"Wall {depth_text(thick, depth_unit, decimals)}."
    )
    if limit is not None:
        description += f" {limit_label}: {depth_text(limit, depth_unit, decimals)}."
    description += f" River-bottom profile: {', '.join(fixed(v, decimals) for v in river)} {depth_unit}."
    return page.svg(title, description)


def _edges(middles: list[float], lone: float) -> list[float]:
    """Edges of the cells, half way between stations; `lone` is the size of an only cell."""
    inner = [(a + b) / 2 for a, b in pairwise(middles)]
    if not inner:
        return [middles[0] - lone / 2, middles[0] + lone / 2]
    return [2 * middles[0] - inner[0], *inner, 2 * middles[-1] - inner[-1]]


def _cell(position: float, edges: list[float], name: str) -> int:
    if not edges[0] <= position <= edges[-1]:
        raise ValueError(f"{name} is {position:g}: the grid reaches from {edges[0]:g} to {edges[-1]:g}")
    return max(0, sum(edge <= position for edge in edges[:-1]) - 1)


@dataclass(frozen=True)
class Shading:
    """Bands of one depth step each: steps are easier to tell apart, and to print grey, than a ramp."""

    step: float
    count: int
    floor: float

    @classmethod
    def of(cls, low: float, high: float, wall: float) -> Shading:
        """Bands from `low` (not above 0) to `high`; a surface without loss still gets a scale."""
        step = round_step(max(high - low, wall / 20), 9)
        floor = step * (low // step) if low else 0.0
        return cls(step, max(1, -int((floor - high) // step)), floor)

    def level(self, value: float) -> int:
        """Number of the band that the value falls into."""
        return min(self.count - 1, max(0, int((value - self.floor) / self.step + 1e-9)))

    def colour(self, level: int) -> str:
        """Colour of a band, from light to dark."""
        share = level / max(self.count - 1, 1)
        return "#" + "".join(f"{round(a + (b - a) * share):02x}" for a, b in zip(LIGHT, DARK, strict=True))


def _cells(page: Sheet, rows: list[list[float]], shading: Shading, xs: list[float], ys: list[float]) -> None:
    levels = [[shading.level(value) for value in row] for row in rows]
    page.box(xs[0], ys[0], xs[-1] - xs[0], ys[-1] - ys[0], fill=shading.colour(0))
    for level in range(1, shading.count):
        # Each band is laid over everything at least as deep, with a hair line around it: no white seams.
        pieces = []
        for i, row in enumerate(levels):
            j = 0
            while j < len(row):
                start = j
                while j < len(row) and row[j] >= level:
                    j += 1
                if j > start:
                    left, right, high, low = xs[start], xs[j], ys[i], ys[i + 1]
                    pieces.append([(left, high), (right, high), (right, low), (left, low)])
                else:
                    j += 1
        page.areas(pieces, fill=shading.colour(level), edge=shading.colour(level), pen=0.25)


def _cell_numbers(
    page: Sheet, rows: list[list[float]], shading: Shading, xs: list[float], ys: list[float], decimals: int
) -> bool:
    """Print the depths into their cells; False, and nothing printed, if they do not fit."""
    room = min(b - a for a, b in pairwise(xs)) - 1.2
    high = min(b - a for a, b in pairwise(ys))
    widest = max((fixed(v, decimals) for row in rows for v in row), key=len)
    for size in (sheet.BODY, sheet.SMALL, 5.5):
        if text_width(widest, size) <= room and line_height(size) <= high:
            break
    else:
        return False
    for i, row in enumerate(rows):
        for j, value in enumerate(row):
            spot = ((xs[j] + xs[j + 1]) / 2, (ys[i] + ys[i + 1]) / 2)
            ink = ink_on(shading.colour(shading.level(value)))
            page.text(*spot, fixed(value, decimals), size=size, colour=ink, across="center")
    return True


def _colour_bar(page: Sheet, top: float, bottom: float, shading: Shading, unit: str) -> None:
    left, wide = RIGHT + 5.0, 4.0
    start = top + 4.5
    each = (bottom - start) / shading.count
    decimals = next(d for d in range(12) if abs(round(shading.step, d) - shading.step) < 1e-6 * shading.step)
    page.text(left, top + 0.6, f"depth ({unit})")
    for level in range(shading.count):
        y = start + level * each
        page.box(left, y, wide, each, fill=shading.colour(level), edge=sheet.GREY, pen=0.4)
    for k in range(shading.count + 1):
        y = start + k * each
        page.lines([[(left + wide, y), (left + wide + 1, y)]], colour=sheet.GREY)
        number = fixed(shading.floor + k * shading.step, decimals)
        page.text(left + wide + 1.8, y, number, size=sheet.SMALL)


def _ring(page: Sheet, spot: tuple[float, float]) -> None:
    circle = [(spot[0] + 1.6 * cos(k * pi / 16), spot[1] + 1.6 * sin(k * pi / 16)) for k in range(32)]
    page.areas([circle], edge=sheet.WHITE, pen=2.8)
    page.areas([circle], edge=sheet.INK, pen=1.2)


def _deepest_label(page: Sheet, x: float, top: float, label: str) -> None:
    page.areas([[(x, top - 0.3), (x - 1.3, top - 2.7), (x + 1.3, top - 2.7)]], fill=sheet.INK)
    half = text_width(label, sheet.BODY, True) / 2
    page.text(min(max(x, half + 1), RIGHT - half + 20), top - 5.2, label, bold=True, across="center")


def _pick(values: list[float], scale: Scale, room: float) -> list[tuple[float, str]]:
    """The stations themselves as ticks where they are few and far enough apart, round positions otherwise."""
    if len(values) <= MOST_COLUMNS:
        decimals = decimals_for(values, scale.high - scale.low)
        found = [(value, fixed(value, decimals)) for value in values]
        gaps = [abs(scale(b) - scale(a)) for a, b in pairwise(values)]
        if min(gaps, default=room) >= max(room, 1.0):
            return found
    return ticks(scale.low, scale.high, max(1, int(abs(scale.end - scale.start) / max(room, 9.0))))


def _down_axis(page: Sheet, ys: list[float], down: Scale, name: str, top: float, bottom: float) -> None:
    for value, text in _pick(ys, down, line_height(sheet.SMALL) + 0.4):
        page.lines([[(LEFT - 1, down(value)), (LEFT, down(value))]])
        page.text(LEFT - 1.6, down(value), text, size=sheet.SMALL, across="right")
    lines = wrap(name, bottom - top, sheet.SMALL)
    x = 1.8 + line_height(sheet.SMALL) * (len(lines) - 1) / 2
    page.text(x, (top + bottom) / 2, lines, size=sheet.SMALL, upright=True)


def _along_axis(page: Sheet, xs: list[float], across: Scale, y: float, name: str) -> None:
    widest = max(text_width(text, sheet.SMALL) for _, text in _pick(xs, across, 0.0))
    for value, text in _pick(xs, across, widest + 1.5):
        page.lines([[(across(value), y), (across(value), y + 1)]])
        page.text(across(value), y + 3.1, text, size=sheet.SMALL, across="center")
    page.text((LEFT + RIGHT) / 2, y + 8.2, name, across="center")
