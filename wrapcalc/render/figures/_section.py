"""The wall in section along the river bottom, with its labels in the margin."""

from __future__ import annotations

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._numbers import decimals_for, fixed, ticks
from wrapcalc.render.figures._sheet import Sheet, line_height, wrap

LEFT, RIGHT = (20.0, 140.0)  # the axial axis in mm on paper; the right margin takes colour bar and labels
FOOT = 12.0  # below the section: numbers and name of the axial axis


class Scale:
    """A straight scale from data to millimetres on paper."""

    def __init__(self, low: float, high: float, start: float, end: float) -> None:
        self.low, self.high, self.start, self.end = low, high, start, end

    def __call__(self, value: float) -> float:
        return self.start + (value - self.low) * (self.end - self.start) / (self.high - self.low)


def depth_text(value: float, unit: str, decimals: int) -> str:
    """A thickness with its unit, with no fewer decimals than the depths beside it."""
    return f"{fixed(value, max(decimals, decimals_for([value], value)))} {unit}"


def draw_section(
    page: Sheet,
    xs: list[float],
    river: list[float],
    wall: float,
    limit: float | None,
    limit_label: str,
    deep: Scale,
    unit: str,
    decimals: int,
) -> None:
    """The wall in section: steel grey, metal loss left white, outer surface at the top."""
    inner = deep(wall)
    # A cell stands for its whole width, so the first and last depths reach the ends of the axis.
    path = [(LEFT, river[0]), *zip(xs, river, strict=True), (RIGHT, river[-1])]
    steel = [(x, deep(min(value, wall))) for x, value in path]
    page.areas([[*steel, (RIGHT, inner), (LEFT, inner)]], fill=sheet.PALE)
    page.lines([[(LEFT, deep(0.0)), (RIGHT, deep(0.0))]], colour=sheet.RULE, pen=0.6, dash=(1.5, 1.5))
    page.lines([[(LEFT, inner), (RIGHT, inner)]], pen=1.4)
    wall_lines = ["inner surface", f"wall {depth_text(wall, unit, decimals)}"]
    labels = [(deep(0.0), ["outer surface"]), (inner, wall_lines)]
    if limit is not None:
        page.lines([[(LEFT, deep(limit)), (RIGHT, deep(limit))]], pen=0.9, dash=(5, 2.5))
        labels.append((deep(limit), _limit_lines(limit_label, depth_text(limit, unit, decimals))))
    page.lines([[(x, deep(value)) for x, value in path]], colour=sheet.ACCENT, pen=1.5)
    page.lines([[(LEFT, deep.start), (LEFT, deep.end), (RIGHT, deep.end)]])
    _side_labels(page, labels, deep.end + FOOT - 1)
    for value, text in ticks(deep.low, deep.high, 5):
        page.lines([[(LEFT - 1, deep(value)), (LEFT, deep(value))]])
        page.text(LEFT - 1.6, deep(value), text, size=sheet.SMALL, across="right")
    page.text(
        1.8, (deep.start + deep.end) / 2, f"depth from outside ({unit})", size=sheet.SMALL, upright=True
    )


def _limit_lines(label: str, value: str) -> list[str]:
    room = sheet.WIDTH - RIGHT - 4
    lines = wrap(f"{label}: {value}", room, sheet.SMALL)
    return lines if len(lines) == 1 else [*wrap(f"{label}:", room, sheet.SMALL), value]


def _side_labels(page: Sheet, labels: list[tuple[float, list[str]]], lowest: float) -> None:
    """Labels right of the section at their depths, moved apart where they would touch."""
    labels = sorted(labels, key=lambda entry: entry[0])
    halves = [line_height(sheet.SMALL) * len(lines) / 2 for _, lines in labels]
    middles = [y for y, _ in labels]
    for i in range(1, len(middles)):
        middles[i] = max(middles[i], middles[i - 1] + halves[i - 1] + halves[i])
    ceiling = lowest
    for i in reversed(range(len(middles))):
        middles[i] = min(middles[i], ceiling - halves[i])
        ceiling = middles[i] - halves[i]
    for (y, lines), middle in zip(labels, middles, strict=True):
        page.lines([[(RIGHT, y), (RIGHT + 2.6, middle)]], colour=sheet.GREY, pen=0.4)
        page.text(RIGHT + 3.2, middle, lines, size=sheet.SMALL)
