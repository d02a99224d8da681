"""Thickness that each route asks for, one bar to a demand, against the thickness provided."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._numbers import finite, positive
from wrapcalc.render.figures._plot import (
    AXIS_FOOT,
    DASHES,
    along_axis,
    along_ticks,
    draw_flags,
    draw_notes,
    flags,
    flags_height,
    named,
    notes_rows,
    quantity,
)
from wrapcalc.render.figures._section import Scale
from wrapcalc.render.figures._sheet import Sheet, line_height, wrap

FILLS = ("solid", "hatched", "open", "dashed")
LABELS = 59.0  # right edge of the names, mm
START, END = (62.0, 140.0)  # the bars' axis, mm; the room to the right takes the numbers
BAR = 4.2
CUT = 5.0  # longest bar that is drawn whole, over the greatest thickness of record or provided
GAP = 2.4  # between one route and the next


@dataclass(frozen=True)
class _Demand:
    """One bar: what asks for it, the load case below, its thickness, its fill, and whether it governs its route."""

    what: str
    thickness: float
    load_case: str
    fill: str
    governs: bool

    @property
    def head(self) -> list[str]:
        return wrap(self.what, LABELS - 1, sheet.SMALL)

    @property
    def below(self) -> list[str]:
        return wrap(self.load_case, LABELS - 1, sheet.SMALL) if self.load_case not in ("", self.what) else []

    @property
    def high(self) -> float:
        return max(BAR + 1.6, line_height(sheet.SMALL) * (len(self.head) + len(self.below)) + 1.6)


@dataclass(frozen=True)
class _Route:
    name: str
    chosen: bool
    reason: str
    demands: list[_Demand]

    @property
    def head(self) -> list[str]:
        return wrap(self.name, LABELS - 1, sheet.BODY, self.chosen)

    @property
    def role(self) -> str:
        return "of record" if self.chosen else "for information"

    @property
    def words(self) -> list[str]:
        """What stands in the place of bars."""
        if self.demands:
            return []
        text = f"no thickness: {self.reason}" if self.reason else "no thickness"
        return wrap(text, sheet.WIDTH - START - 4.0, sheet.SMALL)

    @property
    def top(self) -> float:
        """Height of its heading, or of the words in place of bars if they are higher."""
        heading = line_height(sheet.BODY) * len(self.head) + (line_height(sheet.SMALL) if self.words else 0.0)
        return max(heading, line_height(sheet.SMALL) * len(self.words)) + 1.0

    @property
    def high(self) -> float:
        return self.top + sum(d.high for d in self.demands) + GAP


def thickness_routes(
    *,
    rows: Sequence[tuple[str, bool, str, Sequence[tuple[str, float, str, str]]]],
    lines: Sequence[tuple[str, float]],
    length_unit: str,
    title: str,
) -> str:
    """Bars of the thickness required by each route, as one inline `<svg>`; thicknesses in `length_unit`, from zero.

    rows: (route, whether it is of record, reason, demands), drawn from the top; a demand is (what asks for it,
    thickness, load case, fill), the fill one of solid, hatched, open, dashed. A route without demands is listed with
    its reason. A thickness of zero or less has no bar: nothing is asked for. lines: (label, thickness) of upright
    lines, such as the thickness provided. The bars of the route of record stand out by colour and by words.

    Raises ValueError, naming the argument, for no rows, empty names, unknown fills, NaN or infinity, two routes of
    record, and lines not above zero.
    """
    if not rows:
        raise ValueError("rows is empty: there is nothing to draw")
    found = [_checked(row, f"rows[{i}]") for i, row in enumerate(rows)]
    if sum(route.chosen for route in found) > 1:
        raise ValueError("rows has more than one route of record")
    marks = [
        (named(label, f"lines[{i}] label"), positive(value, f"lines[{i}] thickness"))
        for i, (label, value) in enumerate(lines)
    ]
    shown = [d.thickness for route in found for d in route.demands]
    longest = max([*shown, *(value for _, value in marks)], default=0.0)
    # A bar far beyond what is of record would leave nothing to see of the others: it is cut, and marked as cut.
    near = [*(d.thickness for route in found if route.chosen for d in route.demands), *(value for _, value in marks)]
    bound = CUT * max(near, default=0.0)
    cut = bound if 0 < bound < longest else None
    longest = cut if cut is not None else longest
    across = Scale(0.0, 1.05 * longest if longest > 0 else 1.0, START, END)

    heads = flags([(across(v), f"{label}: {quantity(v, length_unit)}") for label, v in marks], 2.0, sheet.WIDTH - 1.0)
    top = flags_height(heads) + 1.5
    bottom = top + sum(route.high for route in found)
    told = _key(found) + ([] if cut is None else ["Two slanted strokes: a bar that is longer than the axis."])
    notes = notes_rows(told, sheet.WIDTH - START)
    page = Sheet(bottom + AXIS_FOOT + len(notes) * line_height(sheet.SMALL) + 1.0)

    for value, _ in along_ticks(across):
        page.lines([[(across(value), top), (across(value), bottom)]], colour=sheet.PALE, pen=0.5)
    y = top
    for route in found:
        if y > top:
            page.lines([[(1.0, y), (sheet.WIDTH - 1.0, y)]], colour=sheet.PALE, pen=0.5)
        _bars(page, route, y + route.top + GAP / 2, across, cut)
        y += route.high
    upright = [[(across(value), top - 1.0), (across(value), bottom)] for _, value in marks]
    page.lines(upright, colour=sheet.WHITE, pen=2.6)
    for k, line in enumerate(upright):
        page.lines([line], pen=1.2, dash=DASHES[k % len(DASHES)])
    draw_flags(page, heads, top - 1.0)
    y = top
    for route in found:
        _texts(page, route, y + GAP / 2, length_unit)
        y += route.high
    page.lines([[(START, top), (START, bottom), (END, bottom)]], pen=0.7)
    along_axis(page, across, bottom, f"wrap thickness ({length_unit})")
    draw_notes(page, START, bottom + AXIS_FOOT, notes)

    said = [_said(route, length_unit) for route in found]
    said += [f"{label}: {quantity(value, length_unit)}" for label, value in marks]
    return page.svg(title, f"Wrap thickness required by each route. {'; '.join(said)}.")


def _checked(row: tuple[str, bool, str, Sequence[tuple[str, float, str, str]]], name: str) -> _Route:
    route, chosen, reason, demands = row
    taken = []
    for k, (what, thickness, load_case, fill) in enumerate(demands):
        if fill not in FILLS:
            raise ValueError(f"{name} demand {k} fill {fill!r} is none of {', '.join(FILLS)}")
        number = finite(thickness, f"{name} demand {k} thickness")
        taken.append((named(what, f"{name} demand {k}"), number, sheet.clean(load_case), fill))
    most = max((d[1] for d in taken), default=0.0)
    found = [_Demand(*d, governs=d[1] == most and len(taken) > 1) for d in taken]
    return _Route(named(route, f"{name} route"), bool(chosen), sheet.clean(reason), found)


def _key(found: Sequence[_Route]) -> list[str]:
    words = {"solid": "solid", "hatched": "hatched", "open": "open", "dashed": "dashed outline"}
    seen: dict[str, list[str]] = {}
    for route in found:
        for d in route.demands:
            names = seen.setdefault(d.fill, [])
            if d.what not in names:
                names.append(d.what)
    if not seen:
        return []
    text = "; ".join(f"{words[fill]}: {', '.join(seen[fill])}" for fill in FILLS if fill in seen)
    return [f"{text[0].upper()}{text[1:]}."]


def _bars(page: Sheet, route: _Route, y: float, across: Scale, cut: float | None) -> None:
    colour = sheet.ACCENT if route.chosen else sheet.RULE
    for d in route.demands:
        shown = max(d.thickness, 0.0) if cut is None else min(max(d.thickness, 0.0), cut)
        top, long = y + (d.high - BAR) / 2, across(shown) - START
        if long > 0:
            if d.fill == "solid":
                page.box(START, top, long, BAR, fill=colour, edge=colour, pen=1.0)
            else:
                page.box(START, top, long, BAR, fill=sheet.WHITE)
                if d.fill == "hatched":
                    page.hatch(START, top, long, BAR, colour=colour, gap=1.0, pen=0.9)
                dash = (2.4, 1.2) if d.fill == "dashed" else None
                page.box(START, top, long, BAR, edge=colour, pen=1.2, dash=dash)
        if shown < d.thickness:
            _stroke(page, START + long - 6.0, top)
        y += d.high


def _stroke(page: Sheet, at: float, top: float) -> None:
    """Two slanted strokes with the paper showing between them: the bar goes on."""
    low, high = top + BAR + 0.8, top - 0.8
    page.areas([[(at - 0.8, low), (at + 0.8, high), (at + 2.4, high), (at + 0.8, low)]], fill=sheet.WHITE)
    page.lines([[(at - 0.8, low), (at + 0.8, high)], [(at + 0.8, low), (at + 2.4, high)]], pen=0.9)


def _texts(page: Sheet, route: _Route, y: float, unit: str) -> None:
    pitch, small = line_height(sheet.BODY), line_height(sheet.SMALL)
    name = y + pitch * len(route.head) / 2
    page.text(LABELS, name, route.head, across="right", bold=route.chosen)
    if route.words:
        page.text(LABELS, y + pitch * len(route.head) + small / 2, route.role, size=sheet.SMALL, colour=sheet.GREY,
                  across="right")  # fmt: skip
        page.text(START + 2.4, y + small * len(route.words) / 2, route.words, size=sheet.SMALL, ground=sheet.WHITE)
        return
    page.text(END + 3.0, y + pitch / 2, route.role, size=sheet.SMALL, bold=route.chosen)
    y += route.top
    for d in route.demands:
        middle = y + d.high / 2
        high = small * (len(d.head) + len(d.below))
        page.text(LABELS, middle - high / 2 + small * len(d.head) / 2, d.head, size=sheet.SMALL, across="right")
        if d.below:
            below = middle + high / 2 - small * len(d.below) / 2
            page.text(LABELS, below, d.below, size=sheet.SMALL, colour=sheet.GREY, across="right")
        page.text(END + 3.0, middle, _number(d, unit), size=sheet.SMALL, bold=d.governs and route.chosen)
        y += d.high


def _number(d: _Demand, unit: str) -> list[str]:
    if d.thickness <= 0:
        return [quantity(d.thickness, unit), "none needed"]
    return [quantity(d.thickness, unit)] + (["governs"] if d.governs else [])


def _said(route: _Route, unit: str) -> str:
    if not route.demands:
        return f"{route.name}, {route.role}: no thickness{', ' + route.reason if route.reason else ''}"
    asked = ", ".join(
        f"{d.what}{' (' + d.load_case + ')' if d.load_case else ''} {quantity(d.thickness, unit)}"
        + (", governs" if d.governs else "")
        for d in route.demands
    )
    return f"{route.name}, {route.role}: {asked}"
