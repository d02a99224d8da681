"""Dimension lines above a drawing, and labels of wrap units inside their bands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._sheet import Sheet, line_height, text_width, wrap

ROW = 5.2
"""Height of one row of dimensions, mm; a row whose text has to stand above its line takes two."""


@dataclass(frozen=True)
class Dimension:
    """A dimension line from x0 to x1 (mm on paper), its text, and the y where its extension lines end."""

    x0: float
    x1: float
    text: str
    reach: float

    def place(self, left: float, right: float) -> tuple[str, float]:
        """Where the text goes between the bounds: (inside / right / left / above, x of its anchor)."""
        wide = text_width(self.text, sheet.BODY)
        tail = 1.5 if self.x1 - self.x0 >= 5 else 5.5
        if self.x1 - self.x0 >= wide + 9:
            return "inside", (self.x0 + self.x1) / 2
        if self.x1 + tail + wide <= right:
            return "right", self.x1 + tail
        if self.x0 - tail - wide >= left:
            return "left", self.x0 - tail
        half = wide / 2
        return "above", min(max((self.x0 + self.x1) / 2, left + half), right - half)

    def taken(self, left: float, right: float) -> tuple[float, float]:
        """From, to on paper of what line and text take in their row; everything where the text stands above."""
        where, x = self.place(left, right)
        if where == "above":
            return left, right
        wide, tail = text_width(self.text, sheet.BODY), 4.5 if self.x1 - self.x0 < 5 else 0.0
        ends = {"inside": (x, x), "right": (x, x + wide), "left": (x - wide, x)}[where]
        return min(self.x0 - tail, ends[0]), max(self.x1 + tail, ends[1])


def rows_of(dimensions: Sequence[Dimension], left: float, right: float) -> list[list[Dimension]]:
    """The dimensions in rows, in their order; neighbours share a row where neither lines nor texts meet."""
    rows: list[list[Dimension]] = []
    for dimension in dimensions:
        start, end = dimension.taken(left, right)
        free = bool(rows)
        for other in rows[-1] if rows else []:
            low, high = other.taken(left, right)
            # Lines that end at the same place may touch there; texts stay apart.
            apart = 0.0 if {dimension.place(left, right)[0], other.place(left, right)[0]} == {"inside"} else 1.5
            free = free and (end <= low - apart + 1e-6 or start >= high + apart - 1e-6)
        if free:
            rows[-1].append(dimension)
        else:
            rows.append([dimension])
    return rows


def _row_height(row: Sequence[Dimension], left: float, right: float) -> float:
    return ROW * (1.8 if any(d.place(left, right)[0] == "above" for d in row) else 1)


def rows_height(dimensions: Sequence[Dimension], left: float, right: float) -> float:
    """Height in mm that the rows of dimensions take."""
    return sum(_row_height(row, left, right) for row in rows_of(dimensions, left, right))


def draw_dimensions(
    page: Sheet, dimensions: Sequence[Dimension], base: float, left: float, right: float
) -> None:
    """Draw the dimensions in rows upwards from `base`, the first one nearest to the drawing."""
    placed: list[tuple[Dimension, float, str, float]] = []
    y = base
    for row in rows_of(dimensions, left, right):
        placed += [(dimension, y - ROW / 2, *dimension.place(left, right)) for dimension in row]
        y -= _row_height(row, left, right)
    for dimension, level, _, _ in placed:
        ends = [[(x, dimension.reach), (x, level - 1)] for x in (dimension.x0, dimension.x1)]
        page.lines(ends, colour=sheet.GREY, pen=0.4)
    for dimension, level, where, x in placed:
        x0, x1 = dimension.x0, dimension.x1
        inward = x1 - x0 < 5
        tail = 4.5 if inward else 0.0
        page.lines([[(x0 - tail, level), (x1 + tail, level)]], pen=0.5)
        page.arrowhead(x0, level, 1 if inward else -1)
        page.arrowhead(x1, level, -1 if inward else 1)
        height = level - 0.8 * ROW if where == "above" else level
        across = {"inside": "center", "above": "center", "right": "left", "left": "right"}[where]
        page.text(x, height, dimension.text, across=across, ground=sheet.WHITE)


@dataclass(frozen=True)
class Band:
    """A wrap unit on paper: its sides in mm, and the part of it (x0 to x1) that no other unit covers."""

    left: float
    right: float
    x0: float
    x1: float
    label: str


def bands(units: Sequence[tuple[float, float, str]]) -> list[Band]:
    """Units as (left, right, label) in mm, sorted from upstream, with the part of each that stands free."""
    ordered = sorted(units, key=lambda unit: unit[:2])
    found = []
    for i, (left, right, label) in enumerate(ordered):
        x0 = max([left, *(other[1] for other in ordered[:i])])
        x1 = min([right, *(other[0] for other in ordered[i + 1 :])])
        found.append(Band(left, right, x0, x1, label))
    return found


def free_gap(top: float, bottom: float, taken: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """The longest stretch between top and bottom that the taken stretches leave free."""
    best, start = (top, top), top
    for low, high in [*sorted(taken), (bottom, bottom)]:
        if low - start > best[1] - best[0]:
            best = (start, low)
        start = max(start, high)
    return best


def band_labels(found: Sequence[Band], gap: tuple[float, float]) -> tuple[str, list[list[str]]]:
    """How the labels of all bands fit into the free gap: (level / upright / numbered / listed, their lines).

    `numbered` asks for a key below the drawing; `listed` puts all of it there, for bands too narrow or units
    that lie one over the other.
    """
    high = gap[1] - gap[0] - 1.0
    pitch = line_height(sheet.BODY)
    rooms = [band.x1 - band.x0 - 2.6 for band in found]
    if min(rooms) >= 4:
        lines = [wrap(band.label, room, sheet.BODY) for band, room in zip(found, rooms, strict=True)]
        whole = all(
            text_width(word, sheet.BODY) <= room
            for band, room in zip(found, rooms, strict=True)
            for word in sheet.clean(band.label).split()
        )
        if (
            whole
            and max(len(entry) for entry in lines) <= 3
            and max(len(entry) for entry in lines) * pitch <= high
        ):
            return "level", lines
    if min(rooms) >= pitch and max(text_width(sheet.clean(band.label), sheet.BODY) for band in found) <= high:
        return "upright", [[sheet.clean(band.label)] for band in found]
    numbers = [[str(i + 1)] for i in range(len(found))]
    # Numbers stand without a box of their own and may come nearer to the sides.
    if min(rooms) + 1.8 >= max(text_width(n[0], sheet.SMALL) for n in numbers) and pitch <= high:
        return "numbered", numbers
    return "listed", []
