"""The repair on the unrolled pipe for the site sheet: sides from the girth weld, wrap starts, ends, prepared steel.

Large letters and few words: it is read beside a ditch, in the rain. What is measured stands outside the pipe as numbers
from one zero, each at its place or led to it; along and around have scales of their own, so that both stay large.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._dimensions import bands
from wrapcalc.render.figures._numbers import clock_text, finite, hours, positive, span
from wrapcalc.render.figures._section import Scale
from wrapcalc.render.figures._sheet import Sheet, line_height, text_width, wrap
from wrapcalc.render.figures._unwrapped import _around_parts

LEFT, RIGHT = 15.0, 153.0  # the pipe on paper, mm: clocks on its left, the seam on its right
TEXT, BIG = 9.0, 11.0  # letters in points; the sheet prints the figure a tenth larger
HIGHEST, LOWEST = 50.0, 38.0  # height of the pipe on paper, mm
BREAK = 13.0  # what a girth weld beyond the drawing takes at its end
_REACH = 0.45  # share of the length drawn up to which a weld is still drawn in its place
_LEADER = 3.2  # mm from the pipe to a row of numbers
_PITCH = line_height(TEXT)
_MOST_TOLD = 6  # starts that are told in words below the drawing
_SHIFT = 14.0  # mm that a number may stand beside its place
_NAMES = {"in": "inches"}

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class _Unit:
    """A piece of the wrap as laid: sides, name, and (clock, words) of each start, one for each tier."""

    left: float
    right: float
    name: str
    starts: list[tuple[float, str]]


@dataclass(frozen=True)
class _Row:
    """Numbers in one row outside the pipe: (place, text), their middles on paper, and how they are written."""

    caption: str
    labels: list[tuple[float, str]]
    middles: list[float]
    upright: bool

    @property
    def height(self) -> float:
        return _LEADER + (max(text_width(t, TEXT, True) for _, t in self.labels) + 1.0 if self.upright else _PITCH)


@dataclass
class _Inside:
    """What stands on the pipe already, so that no two texts meet."""

    top: float
    bottom: float
    taken: list[Box] = field(default_factory=list)

    def put(self, x: float, wide: float, size: float, wanted: Sequence[float], soft: Sequence[Box]) -> float | None:
        """The first wanted height at which a text centred on x meets nothing; None where there is none."""
        half = line_height(size) / 2
        for avoid in ([*self.taken, *soft], self.taken):
            for y in wanted:
                box = (x - wide / 2 - 0.3, y - half, x + wide / 2 + 0.3, y + half)
                if box[1] >= self.top + 0.4 and box[3] <= self.bottom - 0.4 and not any(_meet(box, b) for b in avoid):
                    self.taken.append(box)
                    return y
        return None


def _meet(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def site_drawing(
    *,
    circumference: float,
    zero: str,
    zero_is_weld: bool,
    damage: Sequence[tuple[float, float, float, float]],
    repairs: Sequence[Mapping[str, Any]],
    seam_clock: float | None,
    keep_outs: Sequence[tuple[float, float, str]],
    other_weld: float | None,
    ends: str,
    length_unit: str,
    title: str,
    least: bool = False,
) -> str:
    """The unrolled pipe with everything that is marked on it, as one inline `<svg>` element; lengths in `length_unit`.

    All places are from one zero, downstream positive: the girth weld that `zero` names (zero_is_weld), or the middle
    of the damage. damage: (start, end, clock of its middle in hours, width around). repairs: of each label, overall
    and steel as two (place, text) each, units of name, upstream and downstream as (place, text) and starts as
    (clock in hours, words before it). keep_outs: (start, end, words). other_weld: place of another girth weld. ends:
    words on the end treatment. least: the pipe is drawn less high, where the sheet has little room.

    Raises ValueError, naming the argument, for no repairs, no units, NaN, clocks outside 0 to 12, and a start
    behind its end.
    """
    around = positive(circumference, "circumference")
    if not repairs:
        raise ValueError("repairs is empty: there is nothing to mark")
    hurt = [(*span(d[:2], f"damage[{i}]"), hours(d[2], f"damage[{i}] clock"), positive(d[3], f"damage[{i}] width"))
            for i, d in enumerate(damage)]
    units = [_unit(u, f"repairs[{i}] units[{k}]") for i, r in enumerate(repairs) for k, u in enumerate(r["units"])]
    if not units:
        raise ValueError("repairs have no units: there is nothing to mark")
    bounds = [(span([p for p, _ in r["overall"]], f"repairs[{i}] overall"),
               span([p for p, _ in r["steel"]], f"repairs[{i}] steel")) for i, r in enumerate(repairs)]
    seam = None if seam_clock is None else hours(seam_clock, "seam_clock")
    view = _view([s for b in bounds for s in b[1]] + [x for d in hurt for x in d[:2]]
                 + [x for u in units for x in (u.left, u.right)], zero_is_weld)
    across, broken = view
    height = LOWEST if least else HIGHEST

    sides = _row("sides", [p for r in repairs for u in r["units"] for p in (u["upstream"], u["downstream"])], across)
    below = [_row("ends", [p for r in repairs for p in r["overall"]], across),
             _row("steel", [p for r in repairs for p in r["steel"]], across)]
    top = 7.0 + (sides.height if sides else 0.0) + 1.0
    foot = top + height
    inside = _Inside(top, foot)
    drawn = [k for k in keep_outs if across.low <= k[0] and k[1] <= across.high]
    marks = _starts(units, across, top, height, inside, _hurt_boxes(hurt, across, top, height, around))
    notes = _notes(seam, marks, keep_outs, ends, units,
                   [r for r in (sides, *below) if r is None])
    rows_high = sum(r.height for r in below if r) + 1.5
    lines = [line for n in notes for line in wrap(n, sheet.WIDTH - 2.0, TEXT)]
    page = Sheet(foot + rows_high + len(lines) * _PITCH + 1.0)

    for overall, steel in bounds:
        page.box(across(steel[0]), top, across(steel[1]) - across(steel[0]), height, fill=sheet.PALE)
        page.box(across(overall[0]), top, across(overall[1]) - across(overall[0]), height, fill=sheet.TINT)
    for hour in (3, 6, 9):
        page.lines([[(LEFT, top + hour / 12 * height), (RIGHT, top + hour / 12 * height)]], colour=sheet.RULE, pen=0.5,
                   dash=(1.5, 2.5))
    for u in units:
        page.box(across(u.left), top, across(u.right) - across(u.left), height, edge=sheet.INK, pen=1.4)
    for box in _hurt_boxes(hurt, across, top, height, around):
        page.box(box[0], box[1], box[2] - box[0], box[3] - box[1], fill=sheet.WHITE, edge=sheet.INK, pen=0.8)
        page.hatch(box[0], box[1], box[2] - box[0], box[3] - box[1], colour=sheet.INK)
    for start, end, _ in drawn:
        for falling in (False, True):
            page.hatch(across(start), top, max(across(end) - across(start), 1.0), height, colour=sheet.INK, gap=2.2,
                       pen=0.5, falling=falling)
    for _, steel in bounds:
        page.lines([[(across(x), top - 0.5), (across(x), foot + 0.5)] for x in steel], pen=1.0, dash=(3, 2))
    if not zero_is_weld:
        page.lines([[(across(0.0), top - 1.0), (across(0.0), foot + 1.0)]], pen=0.9, dash=(8, 2, 1.5, 2))
    _edges(page, top, foot, across, broken, zero_is_weld, other_weld)
    if seam is not None:
        y = top + seam / 12 * height
        page.lines([[(LEFT, y), (RIGHT + 1.5, y)]], pen=1.6, dash=(7, 2.5))
        page.text(RIGHT + 2.5, min(max(y, top + _PITCH + 0.4), foot - _PITCH - 0.4), ["seam", clock_text(seam)],
                  size=TEXT, bold=True)
    for overall, _ in bounds:
        for x in overall:
            page.areas([[(across(x), top + 0.4), (across(x) + 1.7, top + 2.3), (across(x), top + 4.2),
                         (across(x) - 1.7, top + 2.3)]], fill=sheet.INK, edge=sheet.WHITE, pen=0.5)
    _start_marks(page, marks)
    for band, y in marks.names:
        page.text((band.x0 + band.x1) / 2, y, band.label, size=BIG, bold=True, across="center", ground=sheet.WHITE)
    for hour in (0, 3, 6, 9, 12):
        page.text(LEFT - 1.5, top + hour / 12 * height, f"{hour or 12}:00", size=TEXT, across="right")
    if sides:
        _draw_row(page, sides, across, top, top, -1)
    level = foot
    for row in below:
        if row:
            _draw_row(page, row, across, level, foot, 1)
            level += row.height
    _head(page, zero, zero_is_weld, length_unit, across, broken)
    for i, line in enumerate(lines):
        page.text(1.0, foot + rows_high + (i + 0.5) * _PITCH, line, size=TEXT)
    return page.svg(title, _said(repairs, zero, seam, length_unit))


def _unit(u: Mapping[str, Any], name: str) -> _Unit:
    left, right = span((u["upstream"][0], u["downstream"][0]), name)
    return _Unit(left, right, sheet.clean(str(u["name"])),
                 [(hours(c, f"{name} start"), sheet.clean(f"{words} {clock_text(c)}")) for c, words in u["starts"]])


def _view(places: Sequence[float], weld: bool) -> tuple[Scale, bool]:
    """The scale along the pipe, and whether the weld at zero lies beyond it and is drawn behind a break."""
    low, high = min(places), max(places)
    edge = 0.05 * (high - low)
    if not weld or low <= 0 <= high:
        return Scale(low - edge, high + edge, LEFT, RIGHT), False
    gap = low if low > 0 else -high
    if gap <= _REACH * (high - low):
        return Scale(min(low, 0.0) - edge, max(high, 0.0) + edge, LEFT, RIGHT), False
    left, right = (LEFT + BREAK, RIGHT) if low > 0 else (LEFT, RIGHT - BREAK)
    return Scale(low - edge, high + edge, left, right), True


# -- numbers outside the pipe ------------------------------------------------------------------------------------
def _row(caption: str, found: Sequence[tuple[float, str]], across: Scale) -> _Row | None:
    """One row of numbers, each once; level where they fit, else upright, else none: the table has them."""
    labels: list[tuple[float, str]] = []
    for place, text in sorted((finite(p, caption), sheet.clean(t)) for p, t in found):
        if not labels or labels[-1][1] != text:
            labels.append((place, text))
    wants = [across(p) for p, _ in labels]
    for upright in (False, True):
        wides = [line_height(TEXT) if upright else text_width(t, TEXT, True) + 2.0 for _, t in labels]
        middles = _spread(wants, wides, LEFT + 1.0, sheet.WIDTH - 1.0)
        if middles and (upright or max(abs(a - b) for a, b in zip(middles, wants, strict=True)) <= _SHIFT):
            return _Row(caption, labels, middles, upright)
    return None


def _spread(wants: Sequence[float], wides: Sequence[float], low: float, high: float) -> list[float] | None:
    """Middles nearest to those wanted, in their order, that leave each its width; None where there is no room."""
    if sum(wides) > high - low:
        return None
    offsets, at = [], 0.0
    for wide in wides:
        offsets.append(at + wide / 2)
        at += wide
    groups: list[list[float]] = []  # sum and number of what has to stand side by side
    for want, offset in zip(wants, offsets, strict=True):
        groups.append([want - offset, 1.0])
        while len(groups) > 1 and groups[-2][0] / groups[-2][1] >= groups[-1][0] / groups[-1][1]:
            last = groups.pop()
            groups[-1] = [groups[-1][0] + last[0], groups[-1][1] + last[1]]
    starts = [min(max(s / n, low), high - at) for s, n in groups for _ in range(int(n))]
    return [s + o for s, o in zip(starts, offsets, strict=True)]


def _draw_row(page: Sheet, row: _Row, across: Scale, near: float, pipe: float, side: int) -> None:
    """A row beginning at `near`, above (side -1) or below (+1) the pipe whose edge is at `pipe`."""
    inner = near + side * _LEADER
    for (place, _), middle in zip(row.labels, row.middles, strict=True):
        page.lines([[(across(place), pipe), (across(place), near + side * 0.8), (middle, inner)]], pen=0.7)
    high = row.height - _LEADER
    for (_, text), middle in zip(row.labels, row.middles, strict=True):
        page.text(middle, inner + side * high / 2, text, size=TEXT, bold=True, upright=row.upright, across="center",
                  ground=sheet.WHITE)
    page.text(LEFT - 1.5, inner + side * high / 2, row.caption, size=TEXT, across="right")


# -- on the pipe --------------------------------------------------------------------------------------------------
@dataclass
class _Marks:
    """Start lines as (x0, x1, y), the words of each as (x, y, text, y of its line), names of units; the rest is
    told below."""

    lines: list[tuple[float, float, float]]
    words: list[tuple[float, float, str, float]]
    names: list[tuple[Any, float]]
    told: list[str]
    unnamed: list[str]


def _starts(units: Sequence[_Unit], across: Scale, top: float, height: float, inside: _Inside, soft: Sequence[Box]
            ) -> _Marks:
    out = _Marks([], [], [], [], [])
    found = bands([(across(u.left), across(u.right), u.name) for u in units])
    for band, unit in zip(found, sorted(units, key=lambda u: (u.left, u.right)), strict=True):
        room, x = band.x1 - band.x0 - 1.2, (band.x0 + band.x1) / 2
        for clock, words in unit.starts:
            y = top + clock / 12 * height
            out.lines.append((band.left, band.right, y))
            wide = text_width(words, TEXT, True)
            fits = inside.put(x, wide, TEXT, (y + 4.4, y - 4.4), soft) if wide <= room else None
            if fits is None:
                out.told.append(f"{unit.name}: {words}")
            else:
                out.words.append((x, fits, words, y))
    for band in found:
        room, x = band.x1 - band.x0 - 0.8, (band.x0 + band.x1) / 2
        wide = text_width(band.label, BIG, True)
        wanted = [top + height * s / 20 for s in (13, 14, 12, 15, 11, 16, 10, 17, 9, 8, 7, 18, 6, 5, 4, 3, 2)]
        y = inside.put(x, wide, BIG, wanted, soft) if wide <= room else None
        if y is None:
            out.unnamed.append(band.label)
        else:
            out.names.append((band, y))
    return out


def _start_marks(page: Sheet, marks: _Marks) -> None:
    """A heavy line where each wrap starts, and an arrow to it from its clock."""
    page.lines([[(x0, y), (x1, y)] for x0, x1, y in marks.lines], pen=2.6)
    for x, y, text, line in marks.words:
        page.text(x, y, text, size=TEXT, bold=True, across="center", ground=sheet.WHITE)
        way = 1 if line > y else -1
        page.areas([[(x, line), (x - 1.3, line - way * 2.4), (x + 1.3, line - way * 2.4)]], fill=sheet.INK)


def _hurt_boxes(hurt: Sequence[tuple[float, float, float, float]], across: Scale, top: float, height: float,
                around: float) -> list[Box]:
    """Damage on paper, in two parts where it crosses 12 o'clock, never too small to be seen."""
    out = []
    for start, end, clock, width in hurt:
        x0, x1 = across(start), across(end)
        wide = max(x1 - x0, 1.0)
        out += [((x0 + x1 - wide) / 2, top + a / around * height, (x0 + x1 + wide) / 2, top + b / around * height)
                for a, b in _around_parts(clock / 12 * around, min(width, around), around)]
    return out


def _edges(page: Sheet, top: float, foot: float, across: Scale, broken: bool, weld: bool, other: float | None) -> None:
    """The pipe's two edges, torn ends, and girth welds in their places or behind the break."""
    page.lines([[(LEFT, y), (RIGHT, y)] for y in (top, foot)], pen=1.4)
    at = across(0.0) if weld and not broken and across.low <= 0 <= across.high else None
    if broken:
        left = across.start > LEFT
        at = LEFT + 3.0 if left else RIGHT - 3.0
        middle = LEFT + 9.0 if left else RIGHT - 9.0
        page.box(middle - 1.0, top - 1.0, 2.0, foot - top + 2.0, fill=sheet.WHITE)
        page.lines([[(middle + s + (0.7 if k % 2 else -0.7), top - 1.0 + k * (foot - top + 2.0) / 12)
                     for k in range(13)] for s in (-1.0, 1.0)], pen=0.9)
    for x in (at, across(other) if other is not None and across.low <= other <= across.high else None):
        if x is not None:
            page.lines([[(x, top - 1.0), (x, foot + 1.0)]], pen=3.2)


def _head(page: Sheet, zero: str, weld: bool, unit: str, across: Scale, broken: bool) -> None:
    """What zero is, above its place, and the flow on the side that is free."""
    text = wrap(f"0 = {zero}, {'' if weld else 'downstream +, '}{_NAMES.get(unit, unit)}", 130.0, BIG, True)[0]
    half = text_width(text, BIG, True) / 2
    place = across(0.0)
    if broken:
        place = LEFT + 3.0 if across.start > LEFT else RIGHT - 3.0
    x = min(max(place, half + 1.0), sheet.WIDTH - half - 1.0)
    page.text(x, 3.2, text, size=BIG, bold=True, across="center")
    wide = text_width("flow", BIG) + 16.0
    start = sheet.WIDTH - wide - 1.0 if x < sheet.WIDTH / 2 else 2.0
    page.text(start, 3.2, "flow", size=BIG)
    tip = start + wide
    page.lines([[(tip - 14.0, 3.2), (tip - 2.0, 3.2)]], pen=1.6)
    page.areas([[(tip, 3.2), (tip - 3.2, 2.1), (tip - 3.2, 4.3)]], fill=sheet.INK)


def _notes(seam: float | None, marks: _Marks, keep_outs: Sequence[tuple[float, float, str]],
           ends: str, units: Sequence[_Unit], missing: Sequence[None]) -> list[str]:
    out = ["Heavy line at an arrow: a wrap starts (no direction of wrapping). Hatched: damage. Diamonds: magnetic "
           f"markers. Tinted: repair{f', ends {ends}' if ends else ''}. Two scales: along and around."]
    if seam is None:
        out.append("Seam: clock not stated.")
    if any(len(u.starts) > 1 for u in units):
        out.append("1st, 2nd: tier from the pipe.")
    if marks.unnamed:
        names = dict.fromkeys(u.name for u in sorted(units, key=lambda u: u.left))
        out.append(f"Units from upstream: {', '.join(names)}.")
    if len(marks.told) > _MOST_TOLD:
        out.append("Starts without a clock here: see the table.")
    elif marks.told:
        out.append(f"Starts: {'; '.join(marks.told)}.")
    out += [f"Keep out, crossed: {words}." for _, _, words in keep_outs]
    if missing:
        out.append("Too many to write here: see the table for their places.")
    return out


def _said(repairs: Sequence[Mapping[str, Any]], zero: str, seam: float | None, unit: str) -> str:
    said = [f"Places in {unit} from {zero}"]
    for r in repairs:
        said += [f"unit {u['name']} from {u['upstream'][1]} to {u['downstream'][1]}, starts at "
                 + ", ".join(clock_text(c) for c, _ in u["starts"]) for u in r["units"]]
        said.append(f"repair {r['label']} from {r['overall'][0][1]} to {r['overall'][1][1]}, prepared steel from "
                    f"{r['steel'][0][1]} to {r['steel'][1][1]}")
    said += [f"seam at {clock_text(seam)}"] if seam is not None else []
    return "; ".join(said) + "."
