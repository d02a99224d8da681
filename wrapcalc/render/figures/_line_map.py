"""Anomalies along a line: surveyed distance against clock, in as many strips as the length needs."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._numbers import finite
from wrapcalc.render.figures._plot import AXIS_FOOT, along_axis, draw_notes, notes_rows
from wrapcalc.render.figures._section import Scale
from wrapcalc.render.figures._sheet import Point, Sheet, line_height, text_width

LEFT, RIGHT = 15.0, 163.0
STRIP = 26.0  # height of a strip in mm
MOST = 4  # strips on a landscape page
#: How the marks look, the later over the earlier: told apart by shape and size, not by colour.
MARKS = ("left as it is", "under repair", "repair asked, not chosen", "chosen")


def line_map(
    *,
    points: Mapping[str, Sequence[tuple[float, float]]],
    welds: int = 0,
    start: float,
    end: float,
    unit: str,
    title: str,
    note: str = "",
) -> str:
    """Marks (distance, clock in hours) by what becomes of them, as one inline `<svg>`; distances in `unit`.

    points: for each of MARKS its places, clocks from 0 to 12 facing downstream; the clock runs down
    from 12 over 6 to 12.
    welds: number of girth welds, said in the description only. note: what is not drawn.
    Raises ValueError, naming the argument, for an unknown mark, NaN, a clock outside 0 to 12, or an end
    before its start.
    """
    first, last = finite(start, "start"), finite(end, "end")
    if last <= first:
        raise ValueError(f"end is {last:g}: it has to lie beyond the start {first:g}")
    for kind, places in points.items():
        if kind not in MARKS:
            raise ValueError(f"points has {kind!r}: it has to be one of {', '.join(MARKS)}")
        for i, (at, clock) in enumerate(places):
            finite(at, f"points {kind} [{i}] distance")
            if not 0 <= finite(clock, f"points {kind} [{i}] clock") <= 12:
                raise ValueError(f"points {kind} [{i}] clock is {clock:g}: it has to lie between 0 and 12")
    strips = min(MOST, max(1, math.ceil(sum(len(p) for p in points.values()) / 400)))
    each = (last - first) / strips
    told = notes_rows([note] if note else [], RIGHT - LEFT)
    head = 7.0
    page = Sheet(head + strips * (STRIP + AXIS_FOOT) + len(told) * line_height(sheet.SMALL) + 1)
    _legend(page, {k: len(points.get(k, ())) for k in MARKS})
    for s in range(strips):
        top = head + s * (STRIP + AXIS_FOOT)
        across = Scale(first + s * each, first + (s + 1) * each, LEFT, RIGHT)
        around = Scale(0.0, 12.0, top, top + STRIP)
        for hour in (3, 6, 9):
            page.lines([[(LEFT, around(hour)), (RIGHT, around(hour))]], colour=sheet.PALE)
        for kind in MARKS:
            inside = [(across(x), around(c)) for x, c in points.get(kind, ())
                      if across.low <= x <= across.high]
            _SHAPES[kind](page, inside)
        page.box(LEFT, top, RIGHT - LEFT, STRIP, edge=sheet.INK, pen=0.7)
        for hour in (0, 3, 6, 9, 12):
            page.text(LEFT - 1.4, around(hour), f"{hour or 12}:00", size=sheet.SMALL, across="right")
        along_axis(page, across, top + STRIP, f"surveyed distance ({unit})")
    draw_notes(page, LEFT, page.height - 1 - len(told) * line_height(sheet.SMALL), told)
    counts = ", ".join(f"{len(points.get(k, ()))} {k}" for k in MARKS)
    return page.svg(title, f"Anomalies from {first:g} to {last:g} {unit} by distance and clock: {counts}; "
                           f"{welds} girth welds.")


def _dots(page: Sheet, at: Sequence[Point]) -> None:
    page.areas([ring(x, y, 0.35, 6) for x, y in at], fill=sheet.RULE)


def _known(page: Sheet, at: Sequence[Point]) -> None:
    page.areas([_square(x, y, 1.1) for x, y in at], fill=sheet.WHITE, edge=sheet.GREY, pen=0.7)


def _asked(page: Sheet, at: Sequence[Point]) -> None:
    page.areas([ring(x, y, 1.2, 16) for x, y in at], fill=sheet.WHITE, edge=sheet.INK, pen=0.8)


def _chosen(page: Sheet, at: Sequence[Point]) -> None:
    page.areas([[(x, y - 1.5), (x + 1.4, y + 1.1), (x - 1.4, y + 1.1)] for x, y in at], fill=sheet.ACCENT,
               edge=sheet.WHITE, pen=0.3)


_SHAPES: dict[str, Callable[[Sheet, Sequence[Point]], None]] = dict(
    zip(MARKS, (_dots, _known, _asked, _chosen), strict=True))


def ring(x: float, y: float, r: float, corners: int) -> list[Point]:
    return [(x + r * math.cos(2 * math.pi * k / corners), y + r * math.sin(2 * math.pi * k / corners))
            for k in range(corners)]


def _square(x: float, y: float, r: float) -> list[Point]:
    return [(x - r, y - r), (x + r, y - r), (x + r, y + r), (x - r, y + r)]


def _legend(page: Sheet, counts: Mapping[str, int]) -> None:
    x = LEFT + 1.5
    for kind in MARKS:
        _SHAPES[kind](page, [(x, 3.0)])
        text = f"{kind} ({counts[kind]})"
        page.text(x + 2.6, 3.0, text, size=sheet.SMALL)
        x += 2.6 + text_width(text, sheet.SMALL) + 6
