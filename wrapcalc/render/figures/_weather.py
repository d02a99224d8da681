"""A forecast as strips over time: temperatures, humidity and wind with their limits, and the windows of the work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._numbers import finite, stations
from wrapcalc.render.figures._plot import (
    SideLabel,
    cut,
    depth_axis,
    draw_flags,
    draw_notes,
    flags,
    flags_height,
    labels_height,
    named,
    notes_rows,
    quantity,
    side_labels,
    side_rows,
)
from wrapcalc.render.figures._section import Scale
from wrapcalc.render.figures._sheet import Point, Sheet, line_height, text_width

LEFT, RIGHT, GAP = 20.0, 124.0, 4.0
HOUR, DAY = 3600, 86400
MOST_DAYS = 16
LIMIT_DASH = (9.0, 2.0, 1.5, 2.0)
#: Pens of the lines of one strip, so that they stay apart in black and white: (points, dashes, colour).
PENS: tuple[tuple[float, tuple[float, ...] | None, str], ...] = (
    (1.8, None, sheet.ACCENT), (1.1, (6.0, 2.0), sheet.INK), (1.1, (1.5, 1.5), sheet.INK), (0.9, LIMIT_DASH, sheet.INK))
BAR, ROW = 2.6, 5.6
FOOT = 12.0
_MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
           "December")
_WEEK = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")

Run = tuple[float, float]


@dataclass
class _Strip:
    """One strip: name of its axis, its lines (name, values), level limits (rows of the label, value), what fails."""

    name: str
    low: float
    high: float
    lines: list[tuple[str, list[float]]]
    fails: list[Run]
    limits: list[tuple[list[str], float]] = field(default_factory=list)

    def labels(self) -> list[SideLabel]:
        """One for each line, then one for each limit."""
        out = [SideLabel((0.0, 0.0), side_rows(name, RIGHT, bold=k == 0, sample=True), *PENS[k], bold=k == 0)
               for k, (name, _) in enumerate(self.lines)]
        return out + [SideLabel((0.0, 0.0), rows, PENS[3][0], LIMIT_DASH) for rows, _ in self.limits]

    @property
    def height(self) -> float:
        least = 20.0 if len(self.lines) == 1 else 32.0
        return max(least, labels_height(self.labels()) + 1.0)


def weather(
    *,
    utc: Sequence[float],
    offsets: Sequence[Sequence[float]],
    strips: Sequence[Sequence[Any]],
    windows: Sequence[Sequence[float]],
    planned: Sequence[float | None] | None,
    rain: Sequence[Sequence[float]] = (),
    notes: Sequence[str],
    title: str,
) -> str:
    """Strips over one time axis, with the windows below, as one inline `<svg>`.

    utc: rising times of the rows (s, UTC), at most sixteen days; lines break where they are more than an hour apart.
    offsets: (from this time on, offset of local time in s). strips: each (name, unit, lines, limits, fails): lines
    (label, values), of which the first is drawn boldest; limits (label, value), a level line; fails: runs of (first,
    last) row time, hatched half an hour to both sides. windows: (earliest start, latest start, cure of the first, cure
    of the last). planned: (start, end of application or None, cure or None), or None. rain: runs of (first, last) row
    time with rain.

    Raises ValueError, naming the argument, for NaN or infinity, times that do not rise, lengths that do not agree, and
    more than sixteen days.
    """
    times = stations(utc, "utc", 2)
    if times[-1] - times[0] > MOST_DAYS * DAY + HOUR:
        raise ValueError(f"utc spans {(times[-1] - times[0]) / DAY:g} days: at most {MOST_DAYS} can be read")
    clock = _Clock(offsets)
    drawn = [_strip(given, times, f"strips[{i}]") for i, given in enumerate(strips)]
    spans = [[finite(v, f"windows[{i}]") for v in w] for i, w in enumerate(windows)]
    plan = None if planned is None else [None if v is None else finite(v, "planned") for v in planned]
    wet = [(finite(a, f"rain[{i}]"), finite(b, f"rain[{i}]")) for i, (a, b) in enumerate(rain)]
    across = Scale(times[0], times[-1], LEFT, RIGHT)
    told = [*notes, *_told(drawn, spans, plan, times)]
    rows = notes_rows(told, sheet.WIDTH - LEFT)
    heads = []
    if plan is not None and plan[0] is not None:
        heads = flags([(across(plan[0]), f"planned start, {clock.words(plan[0])}")], 2.0, sheet.WIDTH - 1.0)

    top = flags_height(heads) + 2.0
    foot = GAP + ROW * (1 + bool(wet) + (plan is not None))
    bottom = top + sum(s.height for s in drawn) + GAP * (len(drawn) - 1) + foot
    page = Sheet(bottom + FOOT + len(rows) * line_height(sheet.SMALL) + 1.0)
    marks = clock.quarters(times[0], times[-1])
    page.lines([[(across(t), top), (across(t), bottom)] for t, hour in marks if hour == 0], colour=sheet.PALE, pen=0.6)
    y = top
    for one in drawn:
        _draw_strip(page, one, times, across, y)
        y += one.height + GAP
    _draw_bars(page, across, y, wet, spans, plan)
    if heads and plan is not None and plan[0] is not None:
        x = across(plan[0])
        page.lines([[(x, top - 0.4), (x, bottom)]], colour=sheet.INK, pen=0.9, dash=(2.5, 1.8))
        draw_flags(page, heads, top - 0.4)
    _draw_time(page, across, bottom, clock, marks)
    draw_notes(page, LEFT, bottom + FOOT, rows)
    return page.svg(title, _said(drawn, spans, plan, times, clock))


class _Clock:
    """Local time of the forecast: the offset changes where the clocks do."""

    def __init__(self, offsets: Sequence[Sequence[float]]) -> None:
        if not offsets:
            raise ValueError("offsets is empty: local time has to be known")
        self.runs = [(finite(t, "offsets time"), finite(s, "offsets offset")) for t, s in offsets]

    def local(self, utc: float) -> datetime:
        shift = next((s for t, s in reversed(self.runs) if t <= utc), self.runs[0][1])
        return datetime.fromtimestamp(utc, UTC) + timedelta(seconds=shift)

    def words(self, utc: float) -> str:
        at = self.local(utc)
        return f"{_WEEK[at.weekday()]} {at.day} {_MONTHS[at.month - 1][:3]} {at:%H:%M}"

    def quarters(self, low: float, high: float) -> list[tuple[float, int]]:
        """(time in UTC, local hour) of each local 0, 6, 12 and 18 o'clock."""
        out = {}
        for _, shift in self.runs:
            k = int((low + shift) // (6 * HOUR))
            while (utc := k * 6 * HOUR - shift) <= high:
                if utc >= low and self.local(utc).hour % 6 == 0 and self.local(utc).minute == 0:
                    out[utc] = self.local(utc).hour
                k += 1
        return sorted(out.items())


def _strip(given: Sequence[Any], times: list[float], name: str) -> _Strip:
    if len(given) != 5:
        raise ValueError(f"{name} has {len(given)} parts: it has to be (name, unit, lines, limits, fails)")
    label, unit, lines, limits, fails = given
    found: list[tuple[str, list[float]]] = []
    for i, (words, values) in enumerate(lines):
        if len(values) != len(times):
            raise ValueError(f"{name} line {i} has {len(values)} values for {len(times)} times")
        found.append((named(words, f"{name} line {i}"), [finite(v, f"{name} line {i}") for v in values]))
    if not 0 < len(found) <= len(PENS):
        raise ValueError(f"{name} has {len(found)} lines: it has to have 1 to {len(PENS)}")
    levels = [(str(words), finite(v, f"{name} limit")) for words, v in limits]
    runs = [(finite(a, f"{name} fails"), finite(b, f"{name} fails")) for a, b in fails]
    shown = [v for _, values in found for v in values] + [v for _, v in levels]
    low, high = min(shown), max(shown)
    room = 0.08 * (high - low) or max(abs(high), 1.0) * 0.1
    floor = 0.0 if low >= 0 and low < 0.5 * high and str(unit) not in ("°C", "°F") else low - room
    rows = [(side_rows(f"{words}:", RIGHT, quantity(v, str(unit)), sample=True), v) for words, v in levels]
    return _Strip(f"{label} ({unit})", floor, high + room, found, runs, rows)


def _draw_strip(page: Sheet, one: _Strip, times: list[float], across: Scale, top: float) -> None:
    bottom = top + one.height
    down = Scale(one.low, one.high, bottom, top)
    for first, last in one.fails:
        left = max(across(first - HOUR / 2), LEFT)
        page.hatch(left, top, min(across(last + HOUR / 2), RIGHT) - left, bottom - top, colour=sheet.RULE)
    labels = one.labels()
    frame = (LEFT, top, RIGHT, bottom)
    for label, (_, values) in zip(labels, one.lines, strict=False):
        points = [(across(t), down(v)) for t, v in zip(times, values, strict=True)]
        pieces = [part for piece in _unbroken(times, points) for part in cut(piece, frame)]
        if label.dash is None:  # white beside the bold line keeps it apart from the hatching
            page.lines(pieces, colour=sheet.WHITE, pen=label.pen + 1.4)
        page.lines(pieces, colour=label.colour, pen=label.pen, dash=label.dash)
        label.at = points[-1]
    for label, (_, value) in zip(labels[len(one.lines):], one.limits, strict=True):
        page.lines([[(LEFT, down(value)), (RIGHT, down(value))]], pen=label.pen, dash=label.dash)
        label.at = (RIGHT, down(value))
    page.lines([[(LEFT, top), (LEFT, bottom), (RIGHT, bottom)]], pen=0.7)
    side_labels(page, RIGHT, labels, top, bottom)
    depth_axis(page, LEFT, down, one.name, 4)


def _unbroken(times: list[float], points: list[Point]) -> list[list[Point]]:
    """The line between gaps of the forecast."""
    pieces: list[list[Point]] = [[points[0]]]
    for (a, b), point in zip(pairwise(times), points[1:], strict=True):
        if b - a > HOUR:
            pieces.append([])
        pieces[-1].append(point)
    return [piece for piece in pieces if len(piece) > 1]


def _draw_bars(page: Sheet, across: Scale, top: float, wet: list[Run], spans: list[list[float]],
               plan: list[float | None] | None) -> None:
    """Hours of rain, hatched; starts that fit as bars; the planned work as a bar and its cure as a hatched one."""
    def bar(first: float, last: float, y: float, **look: str) -> tuple[float, float]:
        left = min(max(across(first), LEFT), RIGHT)
        right = min(max(across(last), left + 0.6), RIGHT)
        page.box(left, y - BAR / 2, right - left, BAR, pen=0.6, **look)
        return left, right

    y = top + ROW / 2
    if wet:
        for first, last in wet:
            left = max(across(first - HOUR / 2), LEFT)
            page.hatch(left, y - BAR / 2, min(across(last + HOUR / 2), RIGHT) - left, BAR, colour=sheet.INK, gap=0.9,
                       pen=0.4, falling=True)
        page.lines([[(LEFT, y + BAR / 2), (RIGHT, y + BAR / 2)]], colour=sheet.PALE)
        page.text(RIGHT + 3.2, y, "rain", size=sheet.SMALL)
        y += ROW
    page.lines([[(LEFT, y), (RIGHT, y)]], colour=sheet.PALE)
    for earliest, latest, _, _ in spans:
        bar(earliest, latest, y, fill=sheet.ACCENT, edge=sheet.ACCENT)
    page.text(RIGHT + 3.2, y, "starts that fit" if spans else "no start fits", size=sheet.SMALL, bold=True)
    if plan is None or plan[0] is None:
        return
    y += ROW
    page.lines([[(LEFT, y), (RIGHT, y)]], colour=sheet.PALE)
    start, ends, cured = plan[0], plan[1], plan[2]
    words = []
    if ends is not None and start is not None:
        bar(start, ends, y, fill=sheet.INK, edge=sheet.INK)
        words.append("planned work")
    if ends is not None and cured is not None:
        left, right = bar(ends, cured, y, fill=sheet.WHITE, edge=sheet.INK)
        page.hatch(left, y - BAR / 2, right - left, BAR, colour=sheet.INK, gap=0.9, pen=0.4)
        words.append("and cure (hatched)")
    page.text(RIGHT + 3.2, y, " ".join(words) or "planned start", size=sheet.SMALL)


def _draw_time(page: Sheet, across: Scale, y: float, clock: _Clock, marks: list[tuple[float, int]]) -> None:
    """Ticks every 6 h; hours where they have room; each day's name in the middle of what is shown of it."""
    page.lines([[(LEFT, y), (RIGHT, y)]], pen=0.7)
    page.lines([[(across(t), y), (across(t), y + (2.2 if hour == 0 else 1.0))] for t, hour in marks])
    pitch = min((across(b) - across(a) for (a, _), (b, _) in pairwise(marks)), default=99.0)
    shown = pitch > text_width("00", sheet.SMALL) + 1.2
    below = 6.6 if shown else 4.4
    if shown:
        for t, hour in marks:
            page.text(across(t), y + 3.6, f"{hour:02d}", size=sheet.SMALL, across="center")
    edges = sorted({across.low, *(t for t, hour in marks if hour == 0), across.high})
    days = [(clock.local((a + b) / 2), across(a), across(b)) for a, b in pairwise(edges)]
    whole = max(b - a for _, a, b in days)
    forms = ([f"{_WEEK[d.weekday()]} {d.day} {_MONTHS[d.month - 1][:3]}", f"{d.day} {_MONTHS[d.month - 1][:3]}",
              f"{_WEEK[d.weekday()]} {d.day}", str(d.day)] for d, _, _ in days)
    named_days = list(zip(days, forms, strict=True))
    form = next((k for k in range(4) if all(text_width(f[k], sheet.SMALL) + 1.4 <= b - a for (_, a, b), f in named_days
                                            if b - a >= 0.99 * whole)), 3)
    for (_, a, b), words in named_days:
        if text_width(words[form], sheet.SMALL) + 1.0 <= b - a:
            page.text((a + b) / 2, y + below, words[form], size=sheet.SMALL, across="center")
    page.text((LEFT + RIGHT) / 2, y + below + 3.6, f"local time of the forecast, {_months([d for d, _, _ in days])}",
              size=sheet.SMALL, across="center")


def _months(days: Sequence[datetime]) -> str:
    first, last = days[0], days[-1]
    if (first.year, first.month) == (last.year, last.month):
        return f"{_MONTHS[first.month - 1]} {first.year}"
    year = f" {first.year}" if first.year != last.year else ""
    return f"{_MONTHS[first.month - 1]}{year} to {_MONTHS[last.month - 1]} {last.year}"


def _told(drawn: list[_Strip], spans: list[list[float]], plan: list[float | None] | None, times: list[float]
          ) -> list[str]:
    out = []
    if any(one.fails for one in drawn):
        out.append("Hatched: hours that do not meet a limit of the work, with the errors of the instruments.")
    if any(b - a > HOUR for a, b in pairwise(times)):
        out.append("Lines are broken where the forecast has gaps.")
    if plan is not None and plan[2] is not None and plan[2] > times[-1]:
        out.append("The planned cure goes on beyond the drawing.")
    if any(w[1] > times[-1] for w in spans):
        out.append("A window goes on beyond the drawing.")
    return out


def _said(drawn: list[_Strip], spans: list[list[float]], plan: list[float | None] | None, times: list[float],
          clock: _Clock) -> str:
    said = [f"Forecast from {clock.words(times[0])} to {clock.words(times[-1])}"]
    for one in drawn:
        for name, values in one.lines:
            said.append(f"{one.name}, {name}: {quantity(min(values), '')} to {quantity(max(values), '')}")
        said += [" ".join(rows) for rows, _ in one.limits]
    said += [f"start fits from {clock.words(w[0])} to {clock.words(w[1])}" for w in spans] or ["no start fits"]
    if plan is not None and plan[0] is not None:
        said.append(f"planned start {clock.words(plan[0])}")
    return "; ".join(said) + "."
