"""The pipe across its axis at the deepest point: whole and to scale, and the damage under the wrap enlarged."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._numbers import clock_text, finite, hours, positive
from wrapcalc.render.figures._plot import (
    SideLabel,
    draw_notes,
    labels_height,
    notes_rows,
    quantity,
    side_labels,
    side_rows,
)
from wrapcalc.render.figures._sheet import Point, Sheet, line_height, text_width, wrap
from wrapcalc.render.figures._wrap import Wrap, dots, loss_lines, part, side_of, times_larger, times_text

WHOLE = 50.0  # diameter of pipe and wrap on paper, mm
LEFT, RIGHT = (70.0, 133.0)  # the enlarged part, mm
HIGHEST, THICKEST = 58.0, 34.0  # height of the enlarged part, and of wall and wrap in it, mm
HEAD = 9.0
FOOT = HEAD + 4.0 + WHOLE + 7.5  # where the words below the whole pipe begin
WIDER = 1.35  # the enlarged part, over what is damaged
FLAT = 0.02  # a chord stays so near to its arc, mm
LEAST, MOST = 1.2, 0.25  # half of it: at least so many heights of wall and wrap, at most so much of the circumference


@dataclass(frozen=True)
class _Bend:
    """The enlarged part: arc from its middle (clockwise) and height over the outer surface, to paper.

    per: mm of paper to one unit along the surface; times: how much larger heights are drawn.
    """

    x: float
    y: float
    radius: float
    per: float
    times: float

    def __call__(self, arc: float, height: float) -> Point:
        angle = arc / self.radius
        reach = self.per * (self.radius + self.times * height)
        return self.x + reach * math.sin(angle), self.y - reach * math.cos(angle)

    def curve(self, start: float, end: float, height: float) -> list[Point]:
        reach = self.per * (self.radius + self.times * abs(height))
        steps = max(2, math.ceil(abs(end - start) / self.radius / math.sqrt(8 * FLAT / reach)))
        return [self(start + (end - start) * k / steps, height) for k in range(steps + 1)]

    def band(self, start: float, end: float, low: float, high: float) -> list[Point]:
        return [*self.curve(start, end, high), *self.curve(end, start, low)]


def cross_section(
    *,
    outside_diameter: float,
    wall: float,
    defect_clock: float,
    losses: Sequence[Sequence[tuple[float, float]]],
    side: str,
    measured: bool,
    words: Sequence[str],
    later_depth: float | None,
    opening: float | None,
    wrapped: tuple[int | None, int, float, float, float, bool] | None,
    seam_clock: float | None,
    length_unit: str,
    title: str,
) -> str:
    """The pipe at its deepest point facing downstream, as one inline `<svg>` element; lengths in `length_unit`.

    losses: outlines of metal loss, each (arc from `defect_clock`, clockwise; depth from the surface of `side`), side
    outer or inner; measured: whether their form was, or is drawn plain. words: lines that say what the damage is.
    later_depth: depth that the repair is designed for, dashed. opening: size of an opening through the wall, or None.
    wrapped: (layers or None, tiers, thickness that counts, height, bond line, whether it is a sleeve), None for a bare
    pipe. Clocks are hours from 0 to 12. The whole pipe has one scale; the enlarged part may have higher heights,
    and then says so. Filler fills loss on the outer surface under a wrap.

    Raises ValueError, naming the argument, for NaN or infinity, sizes not above zero, a wall that leaves no bore,
    depths outside the wall, an opening without room on the pipe, clocks outside 0 to 12 and an unknown side.
    """
    diameter, thick = positive(outside_diameter, "outside_diameter"), positive(wall, "wall")
    if 2 * thick >= diameter:
        raise ValueError(f"wall is {thick:g}: it leaves no bore in a pipe of {diameter:g}")
    at = hours(defect_clock, "defect_clock")
    seam = None if seam_clock is None else hours(seam_clock, "seam_clock")
    outer = side_of(side)
    found = loss_lines(losses, thick, "losses")
    later = None if later_depth is None else finite(later_depth, "later_depth")
    if later is not None and not 0 <= later <= thick * (1 + 1e-9):
        raise ValueError(f"later_depth is {later:g}: outside 0 to the wall of {thick:g}")
    hole = None if opening is None else positive(opening, "opening")
    around = math.pi * diameter
    places = [x for line in found for x, _ in line] + ([-hole / 2, hole / 2] if hole else [])
    if not places:
        raise ValueError("losses is empty and there is no opening: there is nothing to draw")
    if max(places) - min(places) > around * (1 + 1e-9):
        raise ValueError("losses reach more than once round the pipe")
    laid = None if wrapped is None else Wrap.checked(*wrapped)

    bend, half = _bend(diameter, thick, laid, places)
    labels, notes = _labels(bend, half, thick, laid, found, outer, hole, later, length_unit)
    notes = [*notes, _form(found, measured)] if found else notes
    what = [row for line in words for row in wrap(line, 76.0, sheet.SMALL)]
    corners = [bend(x, y) for x in (-half, 0.0, half) for y in (-thick, laid.build_up if laid else 0.0)]
    low = max(max(y for _, y in corners), HEAD + labels_height(labels))
    text_top = low + 5.5
    rows = notes_rows(notes, sheet.WIDTH - LEFT - 1.0)
    foot = text_top + (len(what) + len(rows)) * line_height(sheet.SMALL) + 6.0
    page = Sheet(max(foot, FOOT + 2 * line_height(sheet.SMALL)) + 1.0)

    middle = _whole(page, diameter, thick, laid, at, seam, found, outer, hole, length_unit)
    _enlarged(page, bend, half, thick, laid, found, outer, hole, later)
    page.text((LEFT + RIGHT) / 2, 3.0, f"enlarged at {clock_text(at)}, outer surface up", size=sheet.BODY, bold=True,
              across="center")  # fmt: skip
    page.text(middle, 3.0, "facing downstream", size=sheet.BODY, bold=True, across="center")
    side_labels(page, RIGHT, labels, HEAD, low + 3.0)
    x = _down(page, bend, found, thick, outer, hole, text_top)
    half_wide = max(text_width(row, sheet.SMALL) for row in what) / 2
    x = min(max(x, LEFT - 6.0 + half_wide), sheet.WIDTH - 1.0 - half_wide)
    page.text(x, text_top + len(what) * line_height(sheet.SMALL) / 2, what, size=sheet.SMALL,
              across="center")  # fmt: skip
    draw_notes(page, LEFT, text_top + len(what) * line_height(sheet.SMALL) + 1.0, rows)

    said = [f"Outside diameter {quantity(diameter, length_unit)}, wall {quantity(thick, length_unit)}", *words]
    if later is not None:
        said.append(f"designed for a depth of {quantity(later, length_unit)}")
    if hole is not None:
        said.append(f"opening through the wall {quantity(hole, length_unit)}")
    said.append("no wrap" if laid is None else laid.words(length_unit))
    if seam is not None:
        said.append(f"long seam at {clock_text(seam)}")
    return page.svg(title, "; ".join(said) + ".")


def _bend(diameter: float, wall: float, laid: Wrap | None, places: Sequence[float]) -> tuple[_Bend, float]:
    """The enlarged part as large as it may be, and half of its arc."""
    radius, high = diameter / 2, laid.build_up if laid else 0.0
    reach = max(abs(min(places)), abs(max(places)))
    half = min(max(WIDER * reach, LEAST * (wall + high)), MOST * math.pi * diameter)
    angle = half / radius

    def room(times: float) -> float:
        """mm of paper to one unit along the surface, so that it fits both ways."""
        wide = 2 * (radius + times * high) * math.sin(min(angle, math.pi / 2))
        tall = radius + times * high - (radius - times * wall) * math.cos(angle)
        return min((RIGHT - LEFT) / wide, HIGHEST / tall, THICKEST / (times * (wall + high)))

    most = max(1.0, min(10.0, 0.6 * radius / (wall + high)))  # beyond that the bend would not be one of this pipe
    times = times_larger(min(most, THICKEST / (room(1.0) * (wall + high))))
    while times > 1 and room(times) < 0.72 * room(1.0):
        times = times_larger(times * 0.95)
    per = room(times)
    top = per * (radius + times * high)
    return _Bend((LEFT + RIGHT) / 2, HEAD + top, radius, per, times), half


def _form(found: Sequence[Sequence[Point]], measured: bool) -> str:
    if measured:
        return "Form of the loss as measured."
    return "Width and depth of the loss to scale, its form drawn plain."


def _whole(
    page: Sheet, diameter: float, wall: float, laid: Wrap | None, at: float, seam: float | None,
    found: Sequence[Sequence[Point]], outer: bool, hole: float | None, unit: str,
) -> float:  # fmt: skip
    """The pipe as it is, with the hours around it; returns the x of its middle."""
    high = laid.build_up if laid else 0.0
    per = WHOLE / (diameter + 2 * high)
    x, y = 6.0 + WHOLE / 2, HEAD + 4.0 + WHOLE / 2
    radius = diameter / 2

    def ring(reach: float) -> list[Point]:
        return [(x + reach * per * math.sin(a), y - reach * per * math.cos(a))
                for a in (math.radians(2 * k) for k in range(180))]  # fmt: skip

    def spot(hour: float, reach: float) -> Point:
        a = math.radians(30 * hour)
        return x + reach * math.sin(a), y - reach * math.cos(a)

    if laid is not None:
        page.areas([ring(radius + high)], fill=sheet.TINT_DEEP, edge=sheet.ACCENT, pen=0.7)
    page.areas([ring(radius)], fill=sheet.RULE, edge=sheet.INK, pen=0.5)
    page.areas([ring(radius - wall)], fill=sheet.WHITE, edge=sheet.INK, pen=0.5)
    for line in found:
        page.areas([_loss_area(lambda arc, h: spot(at + arc / radius * 6 / math.pi, (radius + h) * per), line, wall,
                               outer)], fill=sheet.WHITE, edge=sheet.INK, pen=0.4)  # fmt: skip
    if hole is not None:
        ends = [at + s * hole / 2 / radius * 6 / math.pi for s in (-1, 1)]
        page.areas([[spot(ends[0], radius * per), spot(ends[1], radius * per), spot(ends[1], (radius - wall) * per),
                     spot(ends[0], (radius - wall) * per)]], fill=sheet.WHITE, edge=sheet.INK, pen=0.4)  # fmt: skip
    edge = WHOLE / 2
    for hour, text in ((0, "12"), (3, "3"), (6, "6"), (9, "9")):
        page.lines([[spot(hour, edge), spot(hour, edge + 1.2)]], pen=0.5)
        page.text(*spot(hour, edge + 3.4), text, size=sheet.SMALL, across="center")
    # The hour of the damage stands inside the bore: outside it could meet the hours of the clock.
    bore = (radius - wall) * per
    page.lines([[spot(at, 0.52 * bore), spot(at, bore - 0.4)]], colour=sheet.ACCENT, pen=1.2)
    page.text(*spot(at, 0.36 * bore), clock_text(at), size=sheet.SMALL, across="center", bold=True, ground=sheet.WHITE)
    if seam is not None:
        page.areas([[spot(seam - 0.06, radius * per), spot(seam + 0.06, radius * per),
                     spot(seam + 0.06, (radius - wall) * per), spot(seam - 0.06, (radius - wall) * per)]],
                   fill=sheet.INK)  # fmt: skip
    lines = [f"outside diameter {quantity(diameter, unit)}"]
    lines += [f"long seam at {clock_text(seam)}, black"] if seam is not None else []
    page.text(x, FOOT + len(lines) * line_height(sheet.SMALL) / 2, lines, size=sheet.SMALL, across="center")
    return x


def _loss_area(place, line: Sequence[Point], wall: float, outer: bool) -> list[Point]:
    """The outline of a loss closed along the surface that it starts from; place: (arc, height) -> paper."""
    surface, sign = (0.0, -1.0) if outer else (-wall, 1.0)
    fine = _fine(line)
    bottom = [place(arc, surface + sign * depth) for arc, depth in fine]
    return [*bottom, *(place(arc, surface) for arc, _ in reversed(fine))]


def _fine(line: Sequence[Point]) -> list[Point]:
    """The same line with points near to each other, so that it bends with the pipe."""
    step = (line[-1][0] - line[0][0]) / 40 or 1.0
    out = [line[0]]
    for a, b in pairwise(line):
        parts = max(1, math.ceil((b[0] - a[0]) / step))
        out += [(a[0] + (b[0] - a[0]) * k / parts, a[1] + (b[1] - a[1]) * k / parts) for k in range(1, parts + 1)]
    return out


def _enlarged(
    page: Sheet, bend: _Bend, half: float, wall: float, laid: Wrap | None, found: Sequence[Sequence[Point]],
    outer: bool, hole: float | None, later: float | None,
) -> None:  # fmt: skip
    if laid is not None:
        page.areas([bend.band(-half, half, 0.0, laid.build_up)], fill=sheet.TINT_DEEP)
        if laid.shows_layers(bend.per * bend.times):
            bonds = laid.bonds()
            page.areas([bend.band(-half, half, a, b) for a, b in bonds], fill=sheet.RULE)
            if not bonds:
                page.lines([bend.curve(-half, half, h) for h in laid.between()], colour=sheet.ACCENT, pen=0.4)
        page.lines([bend.curve(-half, half, h) for h in laid.between_tiers()], colour=sheet.ACCENT, pen=1.8)
        page.lines([bend.curve(-half, half, laid.build_up)], colour=sheet.ACCENT, pen=1.2)
    page.areas([bend.band(-half, half, -wall, 0.0)], fill=sheet.RULE)
    filled = laid is not None and outer
    deepest = max((d for line in found for _, d in line), default=0.0)
    for whole in found:
        line = part(whole, -half, half)
        if not line:
            continue
        area = _loss_area(bend, line, wall, outer)
        page.areas([area], fill=sheet.WHITE)
        if filled:
            dots(page, area)
        page.areas([area], edge=sheet.INK, pen=0.9)
        if later is not None and later > deepest * (1 + 1e-9) and deepest and max(d for _, d in whole) == deepest:
            grown = [(arc, depth * later / deepest) for arc, depth in _fine(line)]
            page.lines([[bend(arc, -d if outer else d - wall) for arc, d in grown]], pen=0.9, dash=(2.4, 1.4))
    if hole is not None:
        page.areas([bend.band(-hole / 2, hole / 2, -wall, 0.0)], fill=sheet.WHITE, edge=sheet.INK, pen=0.9)
    page.lines([bend.curve(-half, half, 0.0), bend.curve(-half, half, -wall)], pen=0.9)


def _labels(
    bend: _Bend, half: float, wall: float, laid: Wrap | None, found: Sequence[Sequence[Point]], outer: bool,
    hole: float | None, later: float | None, unit: str,
) -> tuple[list[SideLabel], list[str]]:  # fmt: skip
    """Names right of the enlarged part, and notes below it."""
    rim = 0.985 * half
    labels = [SideLabel(bend(rim, -wall / 2), side_rows(f"steel wall {quantity(wall, unit)}", RIGHT))]
    notes = []
    if laid is not None:
        rows = [row for line in laid.rows(unit) for row in side_rows(line, RIGHT, bold=True)]
        labels.append(SideLabel(bend(rim, laid.build_up * 0.7), rows, bold=True))
        if not laid.shows_layers(bend.per * bend.times) and laid.layers is not None:
            notes.append("The layers are too thin to be drawn one by one.")
        elif laid.bonds():
            notes.append(f"Dark lines in the wrap: bond lines of {quantity(laid.bond_line, unit)} between the layers.")
        if outer and found:
            notes.append("Dotted: filler.")
    deepest = max((d for line in found for _, d in line), default=0.0)
    if later is not None and later > deepest * (1 + 1e-9) and found:
        notes.append(f"Dashed: depth that the repair is designed for, {quantity(later, unit)}.")
    if bend.times > 1:
        notes.append(f"Not to scale: heights drawn {times_text(bend.times)} as large as widths.")
    else:
        notes.append("The enlarged part has one scale in both directions.")
    if any(abs(line[k][0]) > half for line in found for k in (0, -1)):
        notes.append("The loss goes on beyond the enlarged part.")
    return labels, notes


def _down(
    page: Sheet, bend: _Bend, found: Sequence[Sequence[Point]], wall: float, outer: bool, hole: float | None, y: float
) -> float:
    """A line from the deepest loss, or the opening, down to its words; returns its x."""
    if hole is not None:
        arc, depth = 0.0, wall / 2
    else:
        arc, depth = max((p for line in found for p in line), key=lambda p: p[1])
    x0, y0 = bend(arc, -depth / 2 if outer or hole is not None else -wall + depth / 2)
    page.areas([[(x0 - 0.7, y0), (x0, y0 - 0.7), (x0 + 0.7, y0), (x0, y0 + 0.7)]], fill=sheet.INK)
    for colour, pen in ((sheet.WHITE, 1.6), (sheet.INK, 0.6)):
        page.lines([[(x0, y0), (x0, y - 0.8)]], colour=colour, pen=pen)
    return x0

