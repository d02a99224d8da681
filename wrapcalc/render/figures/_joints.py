"""The joint to be dug between its neighbours, to scale: girth welds, lengths, seams, and where the defect lies."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._numbers import fixed, hours, positive, span
from wrapcalc.render.figures._section import Scale
from wrapcalc.render.figures._sheet import Point, Sheet, line_height, text_width, wrap

LEFT, RIGHT = (7.0, 163.0)  # of the joints on paper, mm; the pipe goes on beyond them
BIG, TEXT = 11.0, 10.0  # letters in points, printed a tenth larger: read beside a ditch
MOST = 2  # neighbours drawn on each side
PIPE = 10.0  # height of the pipe on paper, mm
TOP = 25.5  # where it begins: defect, weld numbers and two rows of distances above it
DIAL = 5.0  # radius, mm
_SPACE = 2 * DIAL + 3.0  # that a dial takes on the left of its words
_PLACES = {"m": 3, "ft": 2}


@dataclass(frozen=True)
class _Joint:
    number: str
    length: float
    seam: float | None
    this: bool

    def rows(self, unit: str) -> list[str]:
        seam = "seam not stated" if self.seam is None else f"seam {_clock(self.seam)}"
        return [self.number or "no number", _length(self.length, unit), seam]


def joint_strip(
    *,
    joints: Sequence[Mapping[str, object]],
    welds: tuple[str, str],
    defect: tuple[float, float] | None,
    clock: float | None,
    marker: str,
    length_unit: str,
    title: str,
) -> str:
    """The joint and its neighbours along the pipe, to scale, as one inline `<svg>` element.

    joints: from upstream to downstream, of each number, length, seam (clock in hours, or None) and this (whether it is
    the one to be dug: exactly one is). welds: numbers of its upstream and downstream girth weld. defect: from, to,
    from the upstream weld. clock: of the defect, in hours. marker: words on the reference point. At most two
    neighbours on each side are drawn, one where their words would touch; circles with seam and defect stand beside the
    words where there is room.

    Raises ValueError, naming the argument, for no or several joints to be dug, lengths not above zero, NaN, and a
    defect that does not lie on the joint.
    """
    found = [
        _Joint(sheet.clean(str(j["number"] or "")), positive(j["length"], f"joints[{i}] length"),
               None if j["seam"] is None else hours(j["seam"], f"joints[{i}] seam"), bool(j["this"]))
        for i, j in enumerate(joints)
    ]  # fmt: skip
    at = [i for i, j in enumerate(found) if j.this]
    if len(at) != 1:
        raise ValueError(f"joints has {len(at)} that are to be dug: it has to be one")
    where = None if defect is None else span(defect, "defect")
    whole = found[at[0]].length
    if where is not None and not (where[0] >= 0 and where[1] <= whole * (1 + 1e-9)):
        raise ValueError(f"defect from {where[0]:g} to {where[1]:g} does not lie on a joint of {whole:g}")
    turned = None if clock is None else hours(clock, "clock")

    drawn = _drawn(found, at[0], length_unit)
    found, place, edges, across, blocks = drawn.joints, drawn.place, drawn.edges, drawn.across, drawn.blocks
    sides, dials = [across(e) for e in edges], drawn.space > 0
    high = line_height(TEXT) * 3 + 2.0
    levels = 1 + max(level for _, level, _ in blocks)
    below = TOP + PIPE + 2.5
    notes = _notes(marker, dials and any(j.seam is not None for j in found), dials and turned is not None)
    page = Sheet(below + levels * high + len(notes) * line_height(TEXT) + 2.0)

    _pipe(page, found, sides)
    _flow(page)
    weld = (sides[place], sides[place + 1])
    mark = None if where is None else (across(edges[place] + where[0]), across(edges[place] + where[1]))
    if mark is not None:
        _defect(page, mark, turned)
    _welds(page, welds, weld, mark)
    if where is not None and mark is not None:
        rest = whole - where[1]
        _distance(page, weld[0], mark[0], TOP - 9.8, _length(where[0], length_unit), mark[1])
        _distance(page, mark[1], weld[1], TOP - 4.2, _length(rest, length_unit), mark[0])
    for joint, (x, level, rows) in zip(found, blocks, strict=True):
        _words(page, joint, x, below + level * high, rows, _SPACE if dials else 0.0)
        if dials:
            _dial(page, joint, _left(rows, x) + DIAL, below + level * high + 1.5 * line_height(TEXT), turned)
    for i, line in enumerate(notes):
        page.text(2.0, below + levels * high + (i + 0.5) * line_height(TEXT), line, size=TEXT)

    said = [f"joint {j.number or 'without number'}{' (to be dug)' if j.this else ''}: "
            + ", ".join(j.rows(length_unit)[1:]) for j in found]  # fmt: skip
    if where is not None:
        rest = whole - where[1]
        said.append(f"defect {_length(where[0], length_unit)} from the upstream and {_length(rest, length_unit)} from "
                    "the downstream girth weld")  # fmt: skip
    return page.svg(title, "; ".join(said) + ".")


class _Drawn:
    """The joints that are drawn: at most `most` on each side, their words with `space` mm for a dial."""

    def __init__(self, joints: Sequence[_Joint], at: int, most: int, space: float, unit: str) -> None:
        self.joints, self.place, self.space = list(joints[max(0, at - most) : at + most + 1]), min(at, most), space
        self.edges = [0.0]
        for joint in self.joints:
            self.edges.append(self.edges[-1] + joint.length)
        self.across = Scale(0.0, self.edges[-1], LEFT, RIGHT)
        self.blocks = _blocks(self.joints, [self.across(e) for e in self.edges], unit, space)

    @property
    def crowded(self) -> bool:
        """Whether words had to go one level down."""
        return any(level for _, level, _ in self.blocks)


def _drawn(found: Sequence[_Joint], at: int, unit: str) -> _Drawn:
    """As many joints as have room for their words: circles go first, then the outer neighbours."""
    tried = [_Drawn(found, at, most, space, unit) for most in (MOST, 1) for space in (_SPACE, 0.0)]
    return next((d for d in tried if not d.crowded), tried[-1])


def _length(value: float, unit: str) -> str:
    shown = fixed(value, _PLACES.get(unit, 2))
    return f"{shown.rstrip('0').rstrip('.') if '.' in shown else shown} {unit}"


def _clock(position: float) -> str:
    minutes = round(position * 60) % 720
    return f"{minutes // 60 or 12}:{minutes % 60:02d}"


def _notes(marker: str, seams: bool, clock: bool) -> list[str]:
    drawn = [w for w, shown in (("the stroke is the seam", seams), ("the dot is the defect", clock)) if shown]
    texts = [marker] if sheet.clean(marker) else []
    if drawn:
        texts.append(f"Circles: facing downstream; {', '.join(drawn)}.")
    return [line for text in texts for line in wrap(text, sheet.WIDTH - 4.0, TEXT)]


def _blocks(
    found: Sequence[_Joint], sides: Sequence[float], unit: str, space: float
) -> list[tuple[float, int, list[str]]]:
    """Middle, level and lines of the words below each joint, `space` mm on their left.

    Words that would touch go one level down.
    """
    out: list[tuple[float, int, list[str]]] = []
    ends: list[float] = []
    for joint, x0, x1 in zip(found, sides, sides[1:], strict=False):
        rows = [wrap(text, 36.0, TEXT, True)[0] for text in joint.rows(unit)]
        half = _half(rows, space)
        x = min(max((x0 + x1) / 2, half + 1.0), sheet.WIDTH - half - 1.0)
        level = next((k for k, end in enumerate(ends) if x - half >= end + 2.0), len(ends))
        ends[level : level + 1] = [x + half]
        out.append((x, level, rows))
    return out


def _pipe(page: Sheet, found: Sequence[_Joint], sides: Sequence[float]) -> None:
    for x, step in ((sides[0], -1), (sides[-1], 1)):
        # The pipe goes on: a torn edge.
        zigzag = [(x + step * (4.0 + (1.0 if k % 2 else 0.0)), TOP + PIPE * k / 6) for k in range(7)]
        page.areas([[(x, TOP), *zigzag, (x, TOP + PIPE)]], fill=sheet.WHITE)
        page.lines([[(x, TOP), zigzag[0]], zigzag, [(x, TOP + PIPE), zigzag[-1]]], pen=0.7)
    for joint, x0, x1 in zip(found, sides, sides[1:], strict=False):
        page.box(x0, TOP, x1 - x0, PIPE, fill=sheet.TINT_DEEP if joint.this else sheet.WHITE, edge=sheet.INK, pen=0.7)
    page.lines([[(x, TOP - 1.2), (x, TOP + PIPE + 1.2)] for x in sides], pen=1.8)


def _flow(page: Sheet) -> None:
    page.text(2.0, 3.0, "flow", size=TEXT)
    start = 2.0 + text_width("flow", TEXT) + 2.0
    page.lines([[(start, 3.0), (start + 10.0, 3.0)]], pen=1.0)
    page.arrowhead(start + 11.5, 3.0, 1)


def _welds(page: Sheet, names: tuple[str, str], at: tuple[float, float], mark: tuple[float, float] | None) -> None:
    """Numbers of the two welds of the joint, away from each other and from the pin of the defect."""
    texts = [f"weld {sheet.clean(n)}"[:24] if sheet.clean(n) else f"{side} weld"
             for n, side in zip(names, ("upstream", "downstream"), strict=True)]  # fmt: skip
    halves = [text_width(t, BIG, True) / 2 + 1.5 for t in texts]
    pin = None if mark is None else (mark[0] + mark[1]) / 2
    middles = [x + side * (half - 1.0) if pin is not None and abs(pin - x) < half else x
               for half, x, side in zip(halves, at, (-1, 1), strict=True)]  # fmt: skip
    both = sum(halves)
    if middles[1] - middles[0] < both:
        spread = (both - (middles[1] - middles[0])) / 2
        middles = [middles[0] - spread, middles[1] + spread]
    # What would leave the sheet on one side pushes the other along.
    first = min(max(middles[0], halves[0]), sheet.WIDTH - both - halves[1])
    second = min(max(middles[1], first + both), sheet.WIDTH - halves[1])
    for text, middle in zip(texts, (min(first, second - both), second), strict=True):
        page.text(middle, TOP - 15.6, text, size=BIG, bold=True, across="center", ground=sheet.WHITE)


def _defect(page: Sheet, mark: tuple[float, float], clock: float | None) -> None:
    """The defect on the pipe, never thinner than can be seen, and a pin with its name."""
    x = (mark[0] + mark[1]) / 2
    wide = max(mark[1] - mark[0], 1.0)
    page.box(x - wide / 2, TOP, wide, PIPE, fill=sheet.INK)
    text = "defect" if clock is None else f"defect, clock {_clock(clock)}"
    half = text_width(text, BIG, True) / 2
    flow = 2.0 + text_width("flow", TEXT) + 16.0
    page.lines([[(x, TOP), (x, 5.6)]], pen=0.7)
    page.text(min(max(x, flow + half), sheet.WIDTH - half - 1.0), 3.0, text, size=BIG, bold=True, across="center")


def _distance(page: Sheet, x0: float, x1: float, y: float, text: str, beyond: float) -> None:
    """A dimension line from x0 to x1; where its text does not fit it stands on the other side of the defect."""
    page.lines([[(x, TOP - 1.2), (x, y - 1.2)] for x in (x0, x1)], colour=sheet.GREY, pen=0.4)
    tight = x1 - x0 < 5.0
    tail = 4.5 if tight else 0.0
    page.lines([[(x0 - tail, y), (x1 + tail, y)]], pen=0.6)
    page.arrowhead(x0, y, 1 if tight else -1)
    page.arrowhead(x1, y, -1 if tight else 1)
    wide = text_width(text, BIG, True)
    if x1 - x0 >= wide + 8.0:
        page.text((x0 + x1) / 2, y, text, size=BIG, bold=True, across="center", ground=sheet.WHITE)
    elif beyond >= x1:
        page.text(min(max(beyond, x1 + tail) + 2.0, sheet.WIDTH - wide - 1.0), y, text, size=BIG, bold=True,
                  ground=sheet.WHITE)  # fmt: skip
    else:
        page.text(max(min(beyond, x0 - tail) - 2.0, wide + 1.0), y, text, size=BIG, bold=True, across="right",
                  ground=sheet.WHITE)  # fmt: skip


def _half(rows: Sequence[str], space: float) -> float:
    return (max(text_width(row, TEXT, True) for row in rows) + space) / 2


def _left(rows: Sequence[str], x: float) -> float:
    """Where a dial with its words, together centred on x, begins."""
    return x - _half(rows, _SPACE)


def _words(page: Sheet, joint: _Joint, x: float, y: float, rows: Sequence[str], space: float) -> None:
    spot = x - _half(rows, space) + space
    for i, row in enumerate(rows):
        page.text(spot, y + (i + 0.5) * line_height(TEXT), row, size=TEXT, bold=joint.this or i == 0)


def _dial(page: Sheet, joint: _Joint, x: float, y: float, clock: float | None) -> None:
    """The pipe as a circle, seen facing downstream: stroke at the seam, dot at the defect."""
    page.areas([[_on_dial(x, y, k / 4, DIAL) for k in range(48)]], edge=sheet.INK, fill=sheet.WHITE, pen=0.8)
    page.lines([[_on_dial(x, y, h, DIAL), _on_dial(x, y, h, DIAL - 0.8)] for h in (0, 3, 6, 9)], pen=0.5)
    if joint.seam is not None:
        stroke = [_on_dial(x, y, joint.seam, DIAL - 2.6), _on_dial(x, y, joint.seam, DIAL + 0.9)]
        page.lines([stroke], pen=2.2, colour=sheet.ACCENT)
    if joint.this and clock is not None:
        dot = _on_dial(x, y, clock, DIAL)
        page.areas([[_on_dial(*dot, k / 2, 1.1) for k in range(24)]], fill=sheet.INK)


def _on_dial(x: float, y: float, hour: float, radius: float) -> Point:
    angle = hour * math.pi / 6
    return x + radius * math.sin(angle), y - radius * math.cos(angle)
