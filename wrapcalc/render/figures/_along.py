"""Repairs in section along the pipe: wall and loss, filler, wrap with its layers, ends and joints, and the lengths."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._dimensions import Dimension, draw_dimensions, rows_height
from wrapcalc.render.figures._numbers import finite, positive, span
from wrapcalc.render.figures._plot import (
    AXIS_FOOT,
    SideLabel,
    along_ticks,
    draw_notes,
    labels_height,
    named,
    notes_rows,
    quantity,
    side_labels,
    side_rows,
)
from wrapcalc.render.figures._section import Scale
from wrapcalc.render.figures._sheet import Point, Sheet, line_height
from wrapcalc.render.figures._wrap import Wrap, dots, loss_lines, side_of, times_larger, times_text

LEFT, RIGHT = (4.0, 138.0)  # the pipe on paper, mm; the right margin takes the names
ENDS = ("tapered", "square with fillet")
MOST = 3  # repairs that are drawn; the lengths of the others are listed
THICKEST = {1: 34.0, 2: 24.0, 3: 15.0}  # wall and wrap on paper by the number of repairs drawn, mm
NUMBERS = 5.6  # height of the numbers below a section, mm
SPARE = 0.06  # bare pipe shown beyond each end, over the length of the repair


@dataclass(frozen=True)
class _Repair:
    """One repair, places in one unit from the middle of all damage; units: (start, width)."""

    label: str
    damage: tuple[float, float]
    full: tuple[float, float]
    overall: tuple[float, float]
    needed: float
    units: list[tuple[float, float]]
    losses: list[list[Point]]

    def lengths(self, unit: str) -> str:
        return (f"damage {quantity(self.damage[1] - self.damage[0], unit)}, full thickness "
                f"{quantity(self.full[1] - self.full[0], unit)} ({quantity(self.needed, unit)} required), overall "
                f"{quantity(self.overall[1] - self.overall[0], unit)}")  # fmt: skip


def repair_along(
    *,
    repairs: Sequence[Mapping[str, object]],
    wall: float,
    side: str,
    measured: bool,
    later_depth: float | None,
    opening: float | None,
    wrapped: tuple[int | None, int, float, float, float, bool],
    overlap: float,
    end: float,
    ends: str,
    joint: float,
    length_unit: str,
    title: str,
) -> str:
    """Repairs in section along the pipe, as one inline `<svg>` element; all in `length_unit`.

    repairs: of each label, damage, full (full-thickness cover) and overall as (start, end), needed (full-thickness
    length required), units as (start, width), losses as outlines of (place, depth from the surface of `side`); places
    count from the middle of all damage, downstream to the right. The first three are drawn, the others listed.
    measured: whether the form of the losses was, or is drawn plain. later_depth: depth that the repair is designed for,
    dashed. opening: size of an opening through the wall, in the middle of the damage. wrapped: as for `cross_section`.
    overlap, end: required overlap and length of one end; ends: tapered or square with fillet; joint: overlap of
    neighbouring units, 0 if butted. Along the pipe to scale; heights are drawn larger by a plain number that is stated.

    Raises ValueError, naming the argument, for no repairs, NaN or infinity, sizes not above zero, starts behind ends,
    a cover outside the overall length, depths outside the wall, and unknown sides or ends.
    """
    if not repairs:
        raise ValueError("repairs is empty: there is nothing to draw")
    thick, outer = positive(wall, "wall"), side_of(side)
    if ends not in ENDS:
        raise ValueError(f"ends {ends!r} is none of {', '.join(ENDS)}")
    lap, slope, over = positive(overlap, "overlap"), positive(end, "end"), finite(joint, "joint")
    if over < 0:
        raise ValueError(f"joint is {over:g}: units overlap by zero or more")
    laid = Wrap.checked(*wrapped)
    hole = None if opening is None else positive(opening, "opening")
    later = None if later_depth is None else finite(later_depth, "later_depth")
    found = [_checked(r, thick, f"repairs[{i}]") for i, r in enumerate(repairs)]
    drawn = found[:MOST]

    # One scale for all: the longest repair fills the width.
    longest = max(r.overall[1] - r.overall[0] for r in drawn) * (1 + 2 * SPARE)
    per = (RIGHT - LEFT) / longest
    room = THICKEST[len(drawn)] / (thick + laid.build_up)
    times = times_larger(max(1.0, room / per))
    down = min(per * times, room)
    views = [_View(r, Scale(_middle(r) - longest / 2, _middle(r) + longest / 2, LEFT, RIGHT), down) for r in drawn]
    rows = [_rows(r, v.across, slope, ends, length_unit) for r, v in zip(drawn, views, strict=True)]
    names = _labels(laid, thick, length_unit)
    deepest = max((d for r in found for line in r.losses for _, d in line), default=0.0)
    high = max(down * (thick + laid.build_up), labels_height([SideLabel((0.0, 0.0), rows) for _, rows in names]))
    tops: list[float] = []
    y = 1.0
    for dims in rows:
        tops.append(y)
        head = line_height(sheet.BODY) + 1.0 if len(found) > 1 else 0.0
        y += head + rows_height(dims, LEFT, sheet.WIDTH) + 1.0 + high + NUMBERS + 2.0
    y += AXIS_FOOT - NUMBERS
    notes = notes_rows(_notes(found, laid, lap, over, outer, measured, later, hole, down, per, times, length_unit),
                       sheet.WIDTH - LEFT - 2.0)  # fmt: skip
    page = Sheet(y + len(notes) * line_height(sheet.SMALL) + 1.0)
    for repair, view, dims, start in zip(drawn, views, rows, tops, strict=True):
        top = start
        if len(found) > 1:
            page.text(LEFT, top + line_height(sheet.BODY) / 2, repair.label, bold=True)
            top += line_height(sheet.BODY) + 1.0
        top += rows_height(dims, LEFT, sheet.WIDTH) + 1.0
        surface = top + down * laid.build_up
        _section(page, view, surface, thick, laid, outer, deepest, later, hole, ends)
        draw_dimensions(page, [Dimension(d.x0, d.x1, d.text, surface if d.reach else top) for d in dims], top - 0.5,
                        LEFT, sheet.WIDTH)  # fmt: skip
        side_labels(page, RIGHT, _at(names, view, surface, thick, laid, down), top, top + high)
        _numbers(page, view.across, top + high + 0.8)
    page.text((LEFT + RIGHT) / 2, y - 5.0, f"axial distance from the middle of all damage, downstream \u2192 "
              f"({length_unit})", across="center")  # fmt: skip
    draw_notes(page, LEFT, y, notes)

    said = [f"{r.label}: {r.lengths(length_unit)}, overlap {_overlaps(r, lap, length_unit)}" for r in found]
    said += [f"each end {quantity(slope, length_unit)}, {ends}", laid.words(length_unit),
             f"steel wall {quantity(thick, length_unit)}"]  # fmt: skip
    return page.svg(title, "; ".join(said) + ".")


@dataclass(frozen=True)
class _View:
    repair: _Repair
    across: Scale
    down: float


def _checked(r: Mapping[str, object], wall: float, name: str) -> _Repair:
    pairs = {k: span(r[k], f"{name} {k}") for k in ("damage", "full", "overall")}  # type: ignore[arg-type]
    hair = 1e-9 * (pairs["overall"][1] - pairs["overall"][0])
    for inner, outside in (("damage", "full"), ("full", "overall")):
        if pairs[inner][0] < pairs[outside][0] - hair or pairs[inner][1] > pairs[outside][1] + hair:
            raise ValueError(f"{name} {inner} does not lie within its {outside}")
    placed: Sequence[Sequence[object]] = r["units"]  # type: ignore[assignment]
    units = [(finite(start, f"{name} unit {k} start"), positive(wide, f"{name} unit {k} width"))
             for k, (start, wide) in enumerate(placed)]  # fmt: skip
    return _Repair(named(str(r["label"]), f"{name} label"), pairs["damage"], pairs["full"], pairs["overall"],
                   positive(r["needed"], f"{name} needed"), units,
                   loss_lines(r["losses"], wall, f"{name} losses"))  # type: ignore[arg-type]  # fmt: skip


def _middle(r: _Repair) -> float:
    return (r.overall[0] + r.overall[1]) / 2


def _overlaps(r: _Repair, needed: float, unit: str) -> str:
    up, down = r.damage[0] - r.full[0], r.full[1] - r.damage[1]
    asked = f"{quantity(needed, unit)} required"
    if abs(up - down) < 1e-6 * max(up, down, 1e-9):
        return f"{quantity(up, unit)} each side ({asked})"
    return f"{quantity(up, unit)} upstream, {quantity(down, unit)} downstream ({asked})"


def _rows(r: _Repair, across: Scale, end: float, ends: str, unit: str) -> list[Dimension]:
    """Dimension lines from the wrap upwards; `reach` says whether they stand on the outer surface."""
    full = f"full thickness {quantity(r.full[1] - r.full[0], unit)}, {quantity(r.needed, unit)} required"
    each = "taper" if ends == "tapered" else "fillet"
    out = [
        (r.damage, f"damage with allowance {quantity(r.damage[1] - r.damage[0], unit)}", True),
        ((r.full[0], r.damage[0]), f"overlap {quantity(r.damage[0] - r.full[0], unit)}", False),
        ((r.damage[1], r.full[1]), f"overlap {quantity(r.full[1] - r.damage[1], unit)}", False),
        (r.full, full, False),
        ((r.full[1], r.overall[1]), f"{each} {quantity(end, unit)} each end", False),
        (r.overall, f"overall {quantity(r.overall[1] - r.overall[0], unit)}", False),
    ]
    return [Dimension(across(a), across(b), text, float(low)) for (a, b), text, low in out if b > a]


def _labels(laid: Wrap, wall: float, unit: str) -> list[tuple[str, list[str]]]:
    return [
        ("wrap", [row for line in laid.rows(unit) for row in side_rows(line, RIGHT, bold=True)]),
        ("wall", side_rows("steel wall", RIGHT, quantity(wall, unit))),
    ]


def _at(names, view: _View, surface: float, wall: float, laid: Wrap, down: float) -> list[SideLabel]:
    """The names with the places that they lead to."""
    edge = view.across(view.repair.full[1]) - 0.8
    spots = {"wrap": (edge, surface - 0.6 * laid.build_up * down), "wall": (RIGHT, surface + wall * down / 2)}
    return [SideLabel(spots[key], rows, bold=key == "wrap") for key, rows in names]


def _numbers(page: Sheet, across: Scale, y: float) -> None:
    for value, text in along_ticks(across):
        page.lines([[(across(value), y), (across(value), y + 1)]])
        page.text(across(value), y + 3.1, text, size=sheet.SMALL, across="center")


def _section(
    page: Sheet, view: _View, surface: float, wall: float, laid: Wrap, outer: bool, deepest: float,
    later: float | None, hole: float | None, ends: str,
) -> None:  # fmt: skip
    r, across, down = view.repair, view.across, view.down
    inner = surface + wall * down
    page.box(LEFT, surface, RIGHT - LEFT, inner - surface, fill=sheet.RULE)
    _wrap(page, view, surface, laid, ends)
    for line in r.losses:
        if outer:
            area = [(across(x), surface + d * down) for x, d in line]
            base = surface
        else:
            area = [(across(x), inner - d * down) for x, d in line]
            base = inner
        closed = [*area, (area[-1][0], base), (area[0][0], base)]
        page.areas([closed], fill=sheet.WHITE)
        if outer:
            dots(page, closed)
        page.areas([closed], edge=sheet.INK, pen=0.9)
        if later is not None and deepest and later > deepest and max(d for _, d in line) == deepest:
            grown = [(x, base + (y - base) * later / deepest) for x, y in area]
            page.lines([grown], pen=0.9, dash=(2.4, 1.4))
    if hole is not None:
        middle = (r.damage[0] + r.damage[1]) / 2
        left = across(middle - hole / 2)
        page.box(left, surface, across(middle + hole / 2) - left, inner - surface, fill=sheet.WHITE, edge=sheet.INK,
                 pen=0.9)  # fmt: skip
    page.lines([[(LEFT, y), (RIGHT, y)] for y in (surface, inner)], pen=0.9)


def _wrap(page: Sheet, view: _View, surface: float, laid: Wrap, ends: str) -> None:
    r, across, down = view.repair, view.across, view.down
    top = surface - laid.build_up * down
    x0, x1, x2, x3 = (across(x) for x in (r.overall[0], r.full[0], r.full[1], r.overall[1]))
    tapered = ends == "tapered"

    def reach(height: float) -> tuple[float, float]:
        """From, to of the wrap at a height."""
        share = height / laid.build_up if tapered else 1.0
        return x0 + (x1 - x0) * share, x3 - (x3 - x2) * share

    def level(height: float) -> list[Point]:
        left, right = reach(height)
        return [(left, surface - height * down), (right, surface - height * down)]

    outline = [(x0, surface), (x1, top), (x2, top), (x3, surface)] if tapered else [
        (x1, surface), (x1, top), (x2, top), (x2, surface)]  # fmt: skip
    if not tapered:
        for a, b in ((x0, x1), (x3, x2)):
            fillet = [(a, surface), (b, top), (b, surface)]
            page.areas([fillet], fill=sheet.WHITE, edge=sheet.INK, pen=0.7)
    page.areas([outline], fill=sheet.TINT_DEEP)
    if laid.shows_layers(down):
        bonds = [[*level(a), *reversed(level(b))] for a, b in laid.bonds()]
        page.areas(bonds, fill=sheet.RULE)
        if not bonds:
            page.lines([level(h) for h in laid.between()], colour=sheet.ACCENT, pen=0.4)
    page.lines([level(h) for h in laid.between_tiers()], colour=sheet.ACCENT, pen=1.8)
    page.areas([outline], edge=sheet.ACCENT, pen=1.2)
    for one, other in pairwise(sorted(r.units)):
        edge, start = one[0] + one[1], other[0]
        places = [start] if abs(edge - start) < 1e-6 * (r.overall[1] - r.overall[0]) else [start, edge]
        lines = [[(across(x), surface), (across(x), top)] for x in places]
        page.lines(lines, colour=sheet.INK, pen=1.2, dash=None if len(places) == 1 else (3, 1.6))


def _notes(
    found: Sequence[_Repair], laid: Wrap, lap: float, joint: float, outer: bool, measured: bool, later: float | None,
    hole: float | None, down: float, per: float, times: float, unit: str,
) -> list[str]:  # fmt: skip
    drawn = found[:MOST]
    notes = [f"Overlap required on each side: {quantity(lap, unit)}."]
    if any(len(r.units) > 1 for r in drawn):
        notes.append("Heavy upright lines in the wrap: butted joints of units." if not joint else
                     f"Dashed upright lines in the wrap: neighbouring bands overlap by {quantity(joint, unit)}.")
        if laid.tiers > 1:
            notes.append("Joints are drawn through all tiers; how they are staggered is not worked out here.")
    if not laid.shows_layers(down) and laid.layers is not None:
        notes.append("The layers are too thin to be drawn one by one.")
    elif laid.bonds():
        notes.append(f"Dark lines in the wrap: bond lines of {quantity(laid.bond_line, unit)} between the layers.")
    if any(r.losses for r in drawn):
        notes.append(("Dotted: filler. " if outer else "") + ("Form of the loss as measured." if measured else
                     "Length and depth of the loss to scale, its form drawn plain."))  # fmt: skip
    deepest = max((d for r in found for line in r.losses for _, d in line), default=0.0)
    if later is not None and deepest and later > deepest:
        notes.append(f"Dashed in the wall: depth that the repair is designed for, {quantity(later, unit)}.")
    if hole is not None:
        notes.append(f"Opening through the wall: {quantity(hole, unit)}.")
    shown = down / per
    notes.append(f"To scale along the pipe; heights drawn {times_text(times)} as large." if times > 1 and
                 abs(shown - times) < 1e-6 * times else
                 "Drawn to one scale in both directions." if abs(shown - 1) < 1e-6 else
                 f"To scale along the pipe; heights drawn {quantity(shown, '', 2)} times as large.")  # fmt: skip
    notes += [f"Not drawn: {r.label}, {r.lengths(unit)}." for r in found[MOST:]]
    return notes

