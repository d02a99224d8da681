"""A wrap as sections show it: its layers in tiers, their bond lines, and scales drawn larger one way."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from wrapcalc.render.figures._numbers import finite, positive
from wrapcalc.render.figures._plot import quantity
from wrapcalc.render.figures._sheet import POINTS_PER_MM, Point, Sheet

SIDES = ("outer", "inner")
#: Lines nearer to each other than this on paper run together: mm.
FINEST = 0.42
#: Dots of filler in one area, so that a file stays small.
MOST_DOTS = 500
#: How much larger one way may be drawn than the other.
TIMES = (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100)


@dataclass(frozen=True)
class Wrap:
    """layers: in all, None if the drawing does not know; build_up: height on the pipe; thickness: that counts.

    bond_line: adhesive between two layers of a sleeve, 0 for a lay-up. All in one unit of length.
    """

    layers: int | None
    tiers: int
    thickness: float
    build_up: float
    bond_line: float
    sleeve: bool

    @classmethod
    def checked(
        cls, layers: object, tiers: object, thickness: object, build_up: object, bond_line: object, sleeve: bool
    ) -> Wrap:
        """Raises ValueError, naming the argument, for what can not be drawn."""
        count = None if layers is None else positive(layers, "layers")
        stacked = positive(tiers, "tiers")
        if (count is not None and count != int(count)) or stacked != int(stacked):
            raise ValueError("layers and tiers have to be whole numbers")
        if count is not None and count % stacked:
            raise ValueError(f"layers is {count:g}: that does not divide into {stacked:g} tiers")
        bond, high = finite(bond_line, "bond_line"), positive(build_up, "build_up")
        if bond < 0:
            raise ValueError(f"bond_line is {bond:g}: it is not below zero")
        if count is not None and bond * count >= high:
            raise ValueError(f"bond_line is {bond:g}: {count:g} of them are more than the height of {high:g}")
        return cls(None if count is None else int(count), int(stacked), positive(thickness, "thickness"), high, bond,
                   bool(sleeve))  # fmt: skip

    def shows_layers(self, per: float) -> bool:
        """Whether lines between the layers stay apart where one unit of thickness is `per` mm on paper."""
        return self.layers is not None and self.build_up / self.layers * per >= FINEST

    def between(self) -> list[float]:
        """Heights on the pipe at which one layer ends and the next begins, without those between tiers."""
        if self.layers is None:
            return []
        each = self.layers // self.tiers
        return [self.build_up * i / self.layers for i in range(1, self.layers) if i % each]

    def between_tiers(self) -> list[float]:
        """Heights on the pipe at which one sleeve ends and the next begins."""
        return [self.build_up * i / self.tiers for i in range(1, self.tiers)]

    def bonds(self) -> list[tuple[float, float]]:
        """From, to: heights of the bond lines, one below each layer; none where they are lines without thickness."""
        if self.layers is None or not self.bond_line:
            return []
        pitch = self.build_up / self.layers
        return [(i * pitch, i * pitch + self.bond_line) for i in range(self.layers)]

    def rows(self, unit: str) -> list[str]:
        """The wrap in few words, line by line, no number torn from its unit."""
        out = ["wrap" if self.layers is None else f"wrap, {self.layers} layers"]
        if self.tiers > 1:
            out.append(f"in {self.tiers} sleeves")
        if abs(self.build_up - self.thickness) < 1e-6 * self.build_up:
            return [*out, f"{quantity(self.thickness, unit)} thick"]
        return [*out, f"{quantity(self.thickness, unit)} counted", f"{quantity(self.build_up, unit)} high"]

    def words(self, unit: str) -> str:
        """The same on one line."""
        return ", ".join(self.rows(unit))


def loss_lines(losses: Sequence[Sequence[Sequence[object]]], wall: float, name: str) -> list[list[Point]]:
    """Outlines of losses as (place, depth), places rising, no deeper than the wall.

    Raises ValueError, naming the argument, for what can not be drawn.
    """
    found: list[list[Point]] = []
    for i, line in enumerate(losses):
        points = [(finite(p[0], f"{name}[{i}] place"), finite(p[1], f"{name}[{i}] depth")) for p in line]
        if len(points) < 2 or any(b[0] < a[0] for a, b in pairwise(points)):
            raise ValueError(f"{name}[{i}] needs two or more places that do not fall back")
        if any(not 0 <= d <= wall * (1 + 1e-9) for _, d in points):
            raise ValueError(f"{name}[{i}] has a depth outside 0 to the wall of {wall:g}")
        found.append(points)
    return found


def side_of(side: str) -> bool:
    """Whether the loss is on the outer surface. Raises ValueError for another word than outer or inner."""
    if side not in SIDES:
        raise ValueError(f"side {side!r} is none of {', '.join(SIDES)}")
    return side == "outer"


def times_larger(most: float) -> float:
    """The largest plain number by which one way may be drawn larger than the other, at most `most`; not below 1."""
    return max([t for t in TIMES if t <= most * (1 + 1e-9)], default=1.0)


def times_text(times: float) -> str:
    """5.0 -> "5 times"."""
    return f"{times:g} times"


def part(line: Sequence[Point], start: float, end: float) -> list[Point]:
    """The outline of a loss between two places; empty where it does not reach in."""
    if line[0][0] >= start and line[-1][0] <= end:
        return list(line)
    out: list[Point] = []
    for a, b in pairwise(line):
        if b[0] <= start or a[0] >= end or b[0] == a[0]:
            if b[0] == a[0] and start <= a[0] <= end:
                out += [a, b]
            continue
        for x in (max(a[0], start), min(b[0], end)):
            out.append((x, a[1] + (b[1] - a[1]) * (x - a[0]) / (b[0] - a[0])))
    return out


def dots(page: Sheet, area: Sequence[Point]) -> None:
    """Filler: dots within an area, which need no colour to be told from steel and wrap."""
    size = 0.15
    xs, ys = [p[0] for p in area], [p[1] for p in area]
    gap = max(1.1, ((max(xs) - min(xs)) * (max(ys) - min(ys)) / MOST_DOTS) ** 0.5)
    marks: list[list[Point]] = []
    for row in range(math.floor(min(ys) / gap), math.ceil(max(ys) / gap)):
        y = (row + 0.5) * gap
        for column in range(math.floor(min(xs) / gap), math.ceil(max(xs) / gap)):
            x = (column + (0.5 if row % 2 else 0.0)) * gap
            if _inside(x, y, area):
                marks.append([(x - size, y), (x + size, y)])
    page.lines(marks, pen=2 * size * POINTS_PER_MM)


def _inside(x: float, y: float, area: Sequence[Point]) -> bool:
    found = False
    for (x0, y0), (x1, y1) in pairwise([*area, area[0]]):
        if (y0 > y) != (y1 > y) and x < x0 + (y - y0) * (x1 - x0) / (y1 - y0):
            found = not found
    return found
