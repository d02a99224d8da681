"""A small x-y plot on a sheet: scales, axes, lines cut at the frame, labels in the margins that do not touch."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from wrapcalc import units
from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._numbers import ticks
from wrapcalc.render.figures._section import Scale
from wrapcalc.render.figures._sheet import Point, Sheet, line_height, text_width, wrap

#: Dashes that stay apart when they are printed black on white; the first is a solid line.
DASHES: tuple[tuple[float, ...] | None, ...] = (
    None,
    (6, 2),
    (1.2, 1.4),
    (7, 1.6, 1.2, 1.6),
    (3, 1.4),
    (7, 1.6, 1.2, 1.6, 1.2, 1.6),
    (12, 2.4),
    (7, 1.6, 3, 1.6),
    (1.2, 3.2),
)

Axis = Callable[[float], float]
Box = tuple[float, float, float, float]
"""Left, top, right and bottom of a rectangle in mm."""


def quantity(value: float, unit: str, significant: int = 4) -> str:
    """A number with few digits and its unit, with a true minus sign; no space before a missing unit."""
    return f"{units.digits(value, significant).replace('-', chr(0x2212))} {unit}".strip()


class LogScale:
    """A logarithmic scale from data above zero to millimetres on paper."""

    def __init__(self, low: float, high: float, start: float, end: float) -> None:
        self.low, self.high, self.start, self.end = low, high, start, end

    def __call__(self, value: float) -> float:
        share = math.log10(value / self.low) / math.log10(self.high / self.low)
        return self.start + share * (self.end - self.start)

    def ticks(self, most: int) -> list[tuple[float, str]]:
        """Powers of ten, every one or every few, each with its printed number."""
        first, last = round(math.log10(self.low)), round(math.log10(self.high))
        step = max(1, math.ceil((last - first) / max(most, 1)))
        return [(10.0**k, power_text(k)) for k in range(last, first - 1, -step)]


def power_text(power: int) -> str:
    """A power of ten as it is printed: 0.1, 10 or 10 with a raised number."""
    raised = str.maketrans("-0123456789", "\u207b\u2070\u00b9\u00b2\u00b3\u2074\u2075\u2076\u2077\u2078\u2079")
    return {0: "1", -1: "0.1", -2: "0.01", 1: "10"}.get(power, f"10{str(power).translate(raised)}")


def thin(points: Sequence[Point], across: Axis, pitch: float = 0.3) -> list[Point]:
    """The points that a drawing can show: of each `pitch` mm of paper the first, the last and both extremes."""
    kept: list[Point] = []
    start = 0
    while start < len(points):
        column = int(across(points[start][0]) / pitch)
        end = start
        while end < len(points) and int(across(points[end][0]) / pitch) == column:
            end += 1
        some = range(start, end)
        chosen = {
            start,
            end - 1,
            min(some, key=lambda i: points[i][1]),
            max(some, key=lambda i: points[i][1]),
        }
        kept += [points[i] for i in sorted(chosen)]
        start = end
    return kept


def cut(points: Sequence[Point], box: Box) -> list[list[Point]]:
    """A line on paper cut at the edges of a rectangle: the pieces of it that lie inside."""
    pieces: list[list[Point]] = []
    for a, b in pairwise(points):
        found = _inside(a, b, box)
        if found is None:
            continue
        if pieces and pieces[-1][-1] == found[0]:
            pieces[-1].append(found[1])
        else:
            pieces.append(list(found))
    return pieces


def _inside(a: Point, b: Point, box: Box) -> tuple[Point, Point] | None:
    """The part of the straight line from a to b within the rectangle (Liang and Barsky, 1984)."""
    low, high = 0.0, 1.0
    run, rise = b[0] - a[0], b[1] - a[1]
    for step, room in (
        (-run, a[0] - box[0]),
        (run, box[2] - a[0]),
        (-rise, a[1] - box[1]),
        (rise, box[3] - a[1]),
    ):
        if step == 0:
            if room < 0:
                return None
        elif step < 0:
            low = max(low, room / step)
        else:
            high = min(high, room / step)
    if low > high:
        return None
    return (
        a if low == 0 else (a[0] + low * run, a[1] + low * rise),
        b if high == 1 else (a[0] + high * run, a[1] + high * rise),
    )


def touches(one: Box, other: Box, gap: float = 0.0) -> bool:
    """Whether two rectangles come nearer to each other than `gap`."""
    return (
        one[0] < other[2] + gap
        and other[0] < one[2] + gap
        and one[1] < other[3] + gap
        and other[1] < one[3] + gap
    )


@dataclass
class SideLabel:
    """A label right of a frame: where its line ends there, its rows of text, and the pen of that line."""

    at: Point
    rows: list[str]
    pen: float = 0.0  # 0: no sample of the line before the text
    dash: tuple[float, ...] | None = None
    colour: str = sheet.INK
    bold: bool = False

    @property
    def high(self) -> float:
        """Height of its rows in mm."""
        return line_height(sheet.SMALL) * len(self.rows) + 0.4


LEADERS = "Fine dotted lines only lead to names."
"""The note for a drawing in which a line ends before the frame does."""

SAMPLE = 8.0
"""Length in mm of the piece of line before a label."""


def side_rows(text: str, x: float, value: str = "", *, bold: bool = False, sample: bool = False) -> list[str]:
    """The text in lines that fit between a frame whose right edge is x and the edge of the sheet.

    A value behind it is not torn from its unit: it stands in the same line or in one of its own.
    """
    room = sheet.WIDTH - x - 4.2 - (SAMPLE + 1.2 if sample else 0.0)
    if not value:
        return wrap(text, room, sheet.SMALL, bold)
    rows = wrap(f"{text} {value}", room, sheet.SMALL, bold)
    whole = any(value in row for row in rows)
    return rows if whole else [*wrap(text, room, sheet.SMALL, bold), *wrap(value, room, sheet.SMALL, bold)]


def labels_height(labels: Sequence[SideLabel]) -> float:
    """Least height in mm of a frame that has these labels beside it."""
    return sum(label.high for label in labels)


def side_labels(page: Sheet, x: float, labels: Sequence[SideLabel], top: float, bottom: float) -> None:
    """Labels right of x at the ends of their lines, moved apart between top and bottom where they would touch."""
    ordered = sorted(labels, key=lambda label: label.at[1])
    middles = [label.at[1] for label in ordered]
    floor = top
    for i, label in enumerate(ordered):
        middles[i] = max(middles[i], floor + label.high / 2)
        floor = middles[i] + label.high / 2
    ceiling = bottom
    for i in reversed(range(len(ordered))):
        middles[i] = min(middles[i], ceiling - ordered[i].high / 2)
        ceiling = middles[i] - ordered[i].high / 2
    for label, middle in zip(ordered, middles, strict=True):
        # Dotted within the frame: it leads to the name and does not carry the line on.
        page.lines([[label.at, (x, label.at[1])]], colour=sheet.GREY, pen=0.5, dash=(0.7, 1.8))
        page.lines([[(x, label.at[1]), (x + 2.6, middle)]], colour=sheet.GREY, pen=0.4)
        left = x + 3.2
        if label.pen:
            sample = [[(left, middle), (left + SAMPLE, middle)]]
            page.lines(sample, colour=label.colour, pen=label.pen, dash=label.dash)
            left += SAMPLE + 1.2
        page.text(left, middle, label.rows, size=sheet.SMALL, bold=label.bold)


@dataclass(frozen=True)
class Flag:
    """A label above a frame at the head of an upright line: x of the line, its rows, and where they stand."""

    x: float
    rows: list[str]
    side: int  # the text stands right (+1) or left (-1) of the line
    level: int = 0  # lowest line of text that it takes, counted upwards from the frame

    @property
    def wide(self) -> float:
        """How far its text reaches from the line, in mm."""
        return max(text_width(row, sheet.SMALL) for row in self.rows) + 0.9

    @property
    def top(self) -> int:
        """First level above it."""
        return self.level + len(self.rows)


def flags(marks: Sequence[tuple[float, str]], left: float, right: float) -> list[Flag]:
    """Labels (x, text) at the heads of upright lines, none over another and none over another's line.

    Those before some place stand left of their lines and the others right of them, the outer ones lowest: so no
    line meets a label. The place is the one that needs the least height. Left and right are the sheet's bounds,
    mm; each label needs some 25 mm of room on its right.
    """
    ordered = sorted(marks)
    best: list[Flag] | None = None
    for split in range(len(ordered) + 1):
        before, after = ordered[:split], ordered[split:]
        if any(x - left < 25.0 for x, _ in before):
            break
        found = [*_stacked(before, -1, left), *_stacked(after[::-1], 1, right)]
        if best is None or _levels(found) < _levels(best):
            best = found
    return best or []


def _stacked(marks: Sequence[tuple[float, str]], side: int, bound: float) -> list[Flag]:
    """Labels all on one side of their lines, from the outermost inwards, each above those that it reaches over."""
    found: list[Flag] = []
    for x, text in marks:
        flag = Flag(x, wrap(text, min(64.0, abs(bound - x) - 1.5), sheet.SMALL), side)
        reached = [other.top for other in found if (other.x - x) * side < flag.wide + 1.2]
        found.append(replace(flag, level=max(reached, default=0)))
    return found


def _levels(placed: Sequence[Flag]) -> int:
    return max((flag.top for flag in placed), default=0)


def flags_height(placed: Sequence[Flag]) -> float:
    """Height in mm that the labels take above the frame."""
    return _levels(placed) * line_height(sheet.SMALL) + (1.5 if placed else 0.0)


def draw_flags(page: Sheet, placed: Sequence[Flag], base: float) -> None:
    """Draw the labels upwards from `base`, with lines from there to each of them."""
    pitch = line_height(sheet.SMALL)
    heads = [[(flag.x, base), (flag.x, base - 1.0 - flag.top * pitch)] for flag in placed]
    page.lines(heads, colour=sheet.GREY, pen=0.5)
    for flag in placed:
        middle = base - 1.0 - (flag.level + flag.top) / 2 * pitch
        across = "left" if flag.side > 0 else "right"
        page.text(flag.x + 0.9 * flag.side, middle, flag.rows, size=sheet.SMALL, across=across)


def depth_axis(page: Sheet, x: float, scale: Scale | LogScale, name: str, most: int = 6) -> None:
    """Numbers left of a frame and the name of what they measure, upright, in as many lines as it needs."""
    marks = scale.ticks(most) if isinstance(scale, LogScale) else ticks(scale.low, scale.high, most)
    for value, text in marks:
        page.lines([[(x - 1, scale(value)), (x, scale(value))]])
        page.text(x - 1.6, scale(value), text, size=sheet.SMALL, across="right")
    widest = max((text_width(text, sheet.SMALL) for _, text in marks), default=0.0)
    rows = wrap(name, abs(scale.end - scale.start), sheet.SMALL)
    pitch = line_height(sheet.SMALL)
    middle = x - 1.6 - widest - 1.4 - pitch * len(rows) / 2
    middle = min(middle, 1.8 + pitch * (len(rows) - 1) / 2 + 3.0)
    page.text(max(middle, pitch * len(rows) / 2), (scale.start + scale.end) / 2, rows, size=sheet.SMALL, upright=True)


def along_ticks(scale: Scale) -> list[tuple[float, str]]:
    """Round positions along a level axis, as many as stand apart."""
    for most in range(9, 0, -1):
        found = ticks(scale.low, scale.high, most)
        room = sum(text_width(text, sheet.SMALL) + 2.0 for _, text in found)
        if room <= scale.end - scale.start:
            break
    return found


def along_axis(page: Sheet, scale: Scale, y: float, name: str) -> None:
    """Numbers below a frame and the name of what they measure; takes 11 mm."""
    for value, text in along_ticks(scale):
        page.lines([[(scale(value), y), (scale(value), y + 1)]])
        page.text(scale(value), y + 3.1, text, size=sheet.SMALL, across="center")
    page.text((scale.start + scale.end) / 2, y + 8.0, name, across="center")


AXIS_FOOT = 11.0
"""Height in mm of the numbers and the name below a frame."""


def notes_rows(notes: Sequence[str], width: float) -> list[str]:
    """All notes in lines that fit the width."""
    return [line for note in notes for line in wrap(note, width, sheet.SMALL)]


def draw_notes(page: Sheet, x: float, y: float, rows: Sequence[str]) -> None:
    """Small grey lines of text from y downwards."""
    for k, row in enumerate(rows):
        page.text(x, y + (k + 0.5) * line_height(sheet.SMALL), row, size=sheet.SMALL, colour=sheet.GREY)


def named(text: str, name: str) -> str:
    """The text on one line.

    Raises ValueError, naming the argument, if nothing of it can be seen.
    """
    seen = sheet.clean(text)
    if not seen:
        raise ValueError(f"{name} is empty: it has to be named")
    return seen
