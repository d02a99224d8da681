"""Depth, failure pressure and probability of exceedance over the years from the measurement."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._numbers import finite, positive, stations
from wrapcalc.render.figures._plot import (
    AXIS_FOOT,
    LEADERS,
    LogScale,
    SideLabel,
    along_axis,
    along_ticks,
    cut,
    depth_axis,
    draw_flags,
    draw_notes,
    flags,
    flags_height,
    labels_height,
    named,
    notes_rows,
    power_text,
    quantity,
    side_labels,
    side_rows,
    thin,
)
from wrapcalc.render.figures._section import Scale
from wrapcalc.render.figures._sheet import Point, Sheet, line_height

LEFT, RIGHT = (20.0, 128.0)
HIGH, HIGH_PROBABILITY, GAP = (42.0, 38.0, 5.0)
DECADES = 10  # of probability at most
LIMIT_DASHES: tuple[tuple[float, ...] | None, ...] = ((9, 2, 1.5, 2), (5, 2.5), (1.5, 1.5), (9, 2, 1.5, 2, 1.5, 2))

_DOT = [(math.cos(k * math.pi / 12), math.sin(k * math.pi / 12)) for k in range(24)]

Values = Sequence[float | None]


@dataclass
class _Line:
    """A line over time: its pieces (broken where a value is missing), its name and its pen."""

    name: str
    pieces: list[list[Point]]
    heavy: bool = True
    dash: tuple[float, ...] | None = None

    def label(self) -> SideLabel:
        rows = side_rows(self.name, RIGHT, bold=self.heavy, sample=True)
        colour = sheet.ACCENT if self.heavy else sheet.INK
        return SideLabel((0.0, 0.0), rows, 1.8 if self.heavy else 1.0, self.dash, colour, self.heavy)


@dataclass
class _Panel:
    """One panel: the name of its upright axis, its lines, and level limits (value, rows of the label)."""

    name: str
    low: float
    high: float
    least: float
    lines: list[_Line]
    limits: list[tuple[float, list[str]]] = field(default_factory=list)
    log: bool = False

    @property
    def height(self) -> float:
        labels = [line.label() for line in self.lines] + [SideLabel((0.0, 0.0), rows) for _, rows in self.limits]
        return max(self.least, labels_height(labels) + 1.0)


def life(
    *,
    years: Sequence[float],
    depth: Sequence[float],
    depth_high: Sequence[float] | None,
    limit_depth: float,
    failure_pressure: Sequence[float | None],
    pressure_limits: Sequence[tuple[str, float]],
    events: Sequence[tuple[float, str]],
    probability: tuple[Sequence[float], Sequence[float], Sequence[float]] | None = None,
    length_unit: str,
    pressure_unit: str,
    start_label: str,
    title: str,
) -> str:
    """What growth does to the defect over the years, in panels with one time axis, as one inline `<svg>`.

    years: n rising times in years from the measurement; depth, depth_high (with the tolerance, or None) and
    limit_depth in `length_unit`; failure_pressure, with None where there is no value, and pressure_limits (label,
    pressure) in `pressure_unit`; events: (year, label) of upright lines through all panels, those beyond the time
    axis are named in a note. probability: (years, of exceeding the depth limit, of exceeding the pressure), drawn on
    a logarithmic axis of at most ten decades; what lies below it is not drawn, and a note says so. start_label
    names the time from which the years count (such as "the measurement of May 2024").

    Raises ValueError, naming the argument, for NaN or infinity, times that do not rise, lengths that do not agree,
    values below zero, probabilities outside 0 to 1 and empty labels.
    """
    times = stations(years, "years", 2)
    expected = _values(depth, "depth", times)
    upper = None if depth_high is None else _values(depth_high, "depth_high", times)
    limit = positive(limit_depth, "limit_depth")
    failing = _values(failure_pressure, "failure_pressure", times, gaps=True)
    levels = [
        (named(label, f"pressure_limits[{i}] label"), _level(value, f"pressure_limits[{i}] pressure"))
        for i, (label, value) in enumerate(pressure_limits)
    ]
    marks = [
        (finite(year, f"events[{i}] year"), named(label, f"events[{i}] label"))
        for i, (year, label) in enumerate(events)
    ]
    chances = None if probability is None else _chances(probability)
    start = named(start_label, "start_label")

    first, last = times[0], times[-1]
    if chances is not None:
        first, last = min(first, chances[0][0]), max(last, chances[0][-1])
    across = Scale(first, last, LEFT, RIGHT)
    notes: list[str] = []
    panels = [
        _depth_panel(times, expected, upper, limit, length_unit),
        _pressure_panel(times, failing, levels, pressure_unit, notes),
    ]
    if chances is not None:
        panels += _probability_panel(chances, notes)
    inside = [(across(year), _event(year, label)) for year, label in marks if first <= year <= last]
    beyond = sorted((year, label) for year, label in marks if not first <= year <= last)
    notes += [f"Beyond the drawing: {_event(year, label)}." for year, label in beyond]
    ends = [line.pieces[-1][-1][0] for panel in panels for line in panel.lines if line.pieces]
    if min(ends) < last - 0.06 * (last - first):
        notes.append(LEADERS)
    rows = notes_rows(notes, sheet.WIDTH - LEFT)
    heads = flags(inside, 2.0, sheet.WIDTH - 1.0)

    top = flags_height(heads) + 2.0
    bottom = top + sum(panel.height for panel in panels) + GAP * (len(panels) - 1)
    page = Sheet(bottom + AXIS_FOOT + len(rows) * line_height(sheet.SMALL) + 1.0)
    upright = [[(x, top - 0.4), (x, bottom)] for x in sorted({x for x, _ in inside})]
    page.lines(upright, colour=sheet.GREY, pen=0.7, dash=(2.5, 1.8))
    draw_flags(page, heads, top - 0.4)
    y = top
    for panel in panels:
        _draw_panel(page, panel, across, y, last_one=panel is panels[-1])
        y += panel.height + GAP
    along_axis(page, across, bottom, f"time from {start} (years)")
    draw_notes(page, LEFT, bottom + AXIS_FOOT, rows)

    return page.svg(title, _said(times, expected, upper, limit, failing, levels, marks, chances,
                                 (length_unit, pressure_unit, start)))


def _values(given: Values, name: str, times: Sequence[float], *, gaps: bool = False) -> list[float | None]:
    if len(given) != len(times):
        raise ValueError(f"{name} has {len(given)} values for {len(times)} years")
    return [None if gaps and value is None else _level(value, f"{name}[{i}]") for i, value in enumerate(given)]


def _level(value: object, name: str) -> float:
    number = finite(value, name)
    if number < 0:
        raise ValueError(f"{name} is {number:g}: it is not below zero")
    return number


def _chances(given: Sequence[Sequence[float]]) -> tuple[list[float], list[list[float]]]:
    if len(given) != 3:
        raise ValueError(f"probability has {len(given)} lists: it has to be (years, depth, pressure)")
    times = stations(given[0], "probability years", 2)
    found: list[list[float]] = []
    for name, values in (("depth", given[1]), ("pressure", given[2])):
        if len(values) != len(times):
            raise ValueError(f"probability {name} has {len(values)} values for {len(times)} years")
        found.append([_level(value, f"probability {name}[{i}]") for i, value in enumerate(values)])
        for i, value in enumerate(found[-1]):
            if value > 1:
                raise ValueError(f"probability {name}[{i}] is {value:g}: a probability is not above 1")
    return times, found


def _pieces(times: Sequence[float], values: Values) -> list[list[Point]]:
    pieces: list[list[Point]] = [[]]
    for time, value in zip(times, values, strict=True):
        if value is None:
            pieces.append([])
        else:
            pieces[-1].append((time, value))
    return [piece for piece in pieces if piece]


def _event(year: float, label: str) -> str:
    shown = quantity(year, "")
    return f"{label}, {shown} {'year' if shown == '1' else 'years'}"


def _depth_panel(times: list[float], expected: Values, upper: Values | None, limit: float, unit: str) -> _Panel:
    lines = [_Line("expected depth", _pieces(times, expected))]
    if upper is not None:
        lines.append(_Line("depth with tolerance", _pieces(times, upper), heavy=False, dash=(6, 2)))
    high = 1.06 * max([limit, *(y for line in lines for piece in line.pieces for _, y in piece)])
    limits = [(limit, side_rows("depth limit", RIGHT, quantity(limit, unit), sample=True))]
    return _Panel(f"depth ({unit})", 0.0, high, HIGH, lines, limits)


def _pressure_panel(
    times: list[float], failing: Values, levels: list[tuple[str, float]], unit: str, notes: list[str]
) -> _Panel:
    line = _Line("failure pressure", _pieces(times, failing))
    shown = [y for piece in line.pieces for _, y in piece]
    if not shown:
        line.name = "failure pressure: no value"
    if len(shown) < len(times):
        notes.append("Failure pressure: there is no value where its line is missing.")
    shown += [value for _, value in levels]
    low, high = min(shown, default=0.0), max(shown, default=0.0) or 1.0
    if low < 0.5 * high or low == high:
        low, high = 0.0, 1.06 * high
    else:
        low, high = low - 0.25 * (high - low), high + 0.15 * (high - low)
        notes.append("The axis of the failure pressure does not begin at zero.")
    limits = [(value, side_rows(f"{label}:", RIGHT, quantity(value, unit), sample=True)) for label, value in levels]
    return _Panel(f"failure pressure ({unit})", low, high, HIGH, [line], limits)


def _probability_panel(chances: tuple[list[float], list[list[float]]], notes: list[str]) -> list[_Panel]:
    times, (deep, bursts) = chances
    above = [value for value in (*deep, *bursts) if value > 0]
    if not above:
        notes.append("Probability of exceedance: zero at all times, no panel is drawn.")
        return []
    power = math.ceil(math.log10(max(above)) - 1e-9)
    least = max(math.floor(math.log10(min(above)) + 1e-9), power - DECADES)
    low, high = 10.0 ** min(least, power - 1), 10.0**power
    if min(*deep, *bursts) < low * (1 - 1e-9):
        notes.append(f"Probabilities below {power_text(round(math.log10(low)))} are not drawn.")
    lines = []
    for name, values, heavy, dash in (("depth limit exceeded", deep, True, None),
                                      ("failure by pressure", bursts, False, (6.0, 2.0))):
        drawn = [value or None for value in values]
        lines.append(_Line(name if any(drawn) else f"{name}: zero", _pieces(times, drawn), heavy, dash))
    return [_Panel("probability (no unit)", low, high, HIGH_PROBABILITY, lines, log=True)]


def _draw_panel(page: Sheet, panel: _Panel, across: Scale, top: float, *, last_one: bool) -> None:
    bottom = top + panel.height
    down = (LogScale if panel.log else Scale)(panel.low, panel.high, bottom, top)
    frame = (LEFT, top, RIGHT, bottom)
    labels: list[SideLabel] = []
    for k, (value, rows) in enumerate(panel.limits):
        dash = LIMIT_DASHES[k % len(LIMIT_DASHES)]
        page.lines([[(LEFT, down(value)), (RIGHT, down(value))]], pen=0.9, dash=dash)
        labels.append(SideLabel((RIGHT, down(value)), rows, 0.9, dash))
    for line in panel.lines:
        label = line.label()
        drawn: list[list[Point]] = []
        for piece in line.pieces:
            paper = [(across(x), down(y)) for x, y in thin(piece, across)]
            drawn += cut(paper, frame)
            if len(paper) == 1 and top <= paper[0][1] <= bottom:
                # A lone value has no line: a dot, which is as good an end for the label.
                x, y = paper[0]
                page.areas([[(x + 0.7 * a, y + 0.7 * b) for a, b in _DOT]], fill=label.colour)
                drawn.append([(x, y), (x, y)])
        page.lines(drawn, colour=label.colour, pen=label.pen, dash=label.dash)
        label.at = drawn[-1][-1] if drawn else (RIGHT, bottom)
        labels.append(label)
    page.lines([[(LEFT, top), (LEFT, bottom), (RIGHT, bottom)]], pen=0.7)
    if not last_one:
        page.lines([[(across(x), bottom), (across(x), bottom + 1)] for x, _ in along_ticks(across)])
    side_labels(page, RIGHT, labels, top, bottom)
    depth_axis(page, LEFT, down, panel.name, 5)


def _said(
    times: list[float],
    expected: Values,
    upper: Values | None,
    limit: float,
    failing: Values,
    levels: list[tuple[str, float]],
    marks: list[tuple[float, str]],
    chances: tuple[list[float], list[list[float]]] | None,
    words: tuple[str, str, str],
) -> str:
    unit, pressure_unit, start = words

    def ends(values: Values, of: str) -> str:
        shown = ["no value" if v is None else quantity(v, of) for v in (values[0], values[-1])]
        return f"{shown[0]} to {shown[1]}"

    said = [
        f"From {quantity(times[0], '')} to {quantity(times[-1], '')} years from {start}",
        f"expected depth {ends(expected, unit)}",
    ]
    if upper is not None:
        said.append(f"with tolerance {ends(upper, unit)}")
    said += [f"depth limit {quantity(limit, unit)}", f"failure pressure {ends(failing, pressure_unit)}"]
    said += [f"{label} {quantity(value, pressure_unit)}" for label, value in levels]
    if chances is not None:
        said.append(f"probability that the depth limit is exceeded {ends(chances[1][0], '')}")
        said.append(f"probability of failure by pressure {ends(chances[1][1], '')}")
    said += [_event(year, label) for year, label in sorted(marks)]
    return "; ".join(said) + "."
