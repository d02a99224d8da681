"""The pipe's surface unrolled flat: damage, repairs with their units, seam, welds and other repairs, to scale."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._dimensions import (
    Band,
    Dimension,
    band_labels,
    bands,
    draw_dimensions,
    free_gap,
    rows_height,
)
from wrapcalc.render.figures._numbers import clock_text, dimension, finite, hours, positive, span, ticks
from wrapcalc.render.figures._plot import draw_flags, draw_notes, flags, flags_height, named, notes_rows, quantity
from wrapcalc.render.figures._sheet import Sheet, line_height, text_width

LEFT, RIGHT = (16.0, 152.0)  # the pipe on paper, mm; the right margin takes the seam's label
TALLEST, LOWEST = 112.0, 18.0  # height of the pipe on paper, mm
FOOT = 11.0
MOST_MEASURED = 3  # repairs that have their lengths above them; those of more repairs are listed
MOST_NAMED = 8  # pieces of damage that are described in words


@dataclass(frozen=True)
class _Damage:
    """Extent along, and around in lengths from 12 o'clock; words: its size and place."""

    start: float
    end: float
    parts: list[tuple[float, float]]
    label: str
    governs: bool
    words: str


@dataclass(frozen=True)
class _Repair:
    """label is empty where there is only one; units: (start, end, label)."""

    label: str
    units: list[tuple[float, float, str]]
    full: tuple[float, float]
    overall: tuple[float, float]

    def name(self, what: str) -> str:
        return f"{self.label}: {what}" if self.label else what


@dataclass(frozen=True)
class _Beside:
    """A weld, or the next repair, on one side: where it is, its words, and how far from it is kept clear."""

    at: float
    side: int
    words: str
    keep: float
    repair: bool


def unwrapped(
    *,
    circumference: float,
    damage: Sequence[tuple[float, float, float, float, str, bool]],
    repairs: Sequence[Mapping[str, object]],
    seam_clock: float | None,
    upstream_clear: float | None,
    downstream_clear: float | None,
    upstream_neighbour: float | None,
    downstream_neighbour: float | None,
    keep_from_weld: float | None,
    keep_from_repair: float | None,
    length_unit: str,
    title: str,
) -> str:
    """The unwrapped pipe around its damage, as one inline `<svg>` element; lengths in `length_unit`.

    Along: distance from the middle of all damage, downstream to the right. Down: clock position facing downstream,
    12:00 at both edges. damage: (start, end, clock of its middle, width around, label, whether it governs); the label
    is empty for damage in one piece. Clocks are hours from 0 to 12 (4.5 is 4:30). repairs: of each label (empty for one
    repair), units as (start, width, label), full (full-thickness cover) and overall as (start, end); none for a bare
    pipe. clear: distance from the edge of all damage to the nearest weld or fitting on each side; neighbour: to the
    full thickness of the next repair; None if there is none to speak of. What lies beyond the drawing is named in a
    note. keep_from_weld, keep_from_repair: distance that an end of the wrap keeps from a weld or fitting, and full
    thickness from the full thickness of another repair; drawn hatched where they are known and large enough. Both
    directions have one scale, except for a pipe that would be too slim to read; the drawing then says how much it is
    stretched.

    Raises ValueError, naming the argument, for no damage, NaN or infinity, sizes not above zero, a start behind its
    end, damage wider than the circumference, a clock outside 0 to 12, empty labels of units and negative distances.
    """
    around = positive(circumference, "circumference")
    if not damage:
        raise ValueError("damage is empty: there is nothing to draw")
    hurt = [_damage(entry, around, f"damage[{i}]", len(damage) > 1, length_unit) for i, entry in enumerate(damage)]
    made = [_repair(r, f"repairs[{i}]", len(repairs) > 1) for i, r in enumerate(repairs)]
    seam = None if seam_clock is None else hours(seam_clock, "seam_clock")
    ends = min(d.start for d in hurt), max(d.end for d in hurt)
    given = {"upstream_clear": upstream_clear, "downstream_clear": downstream_clear,
             "upstream_neighbour": upstream_neighbour, "downstream_neighbour": downstream_neighbour}  # fmt: skip
    keeps = [None if k is None else finite(k, n) for k, n in ((keep_from_weld, "keep_from_weld"),
                                                              (keep_from_repair, "keep_from_repair"))]  # fmt: skip
    beside = _beside(given, ends, keeps[0] or 0.0, keeps[1] or 0.0, len(hurt) > 1, length_unit)

    # The axial range: everything with some pipe on both sides, and no more height than the page allows.
    reach = [*ends, *(x for r in made for u in r.units for x in u[:2]), *(x for r in made for x in r.overall)]
    middle = (min(reach) + max(reach)) / 2
    shown = max(1.3 * (max(reach) - min(reach)), around * (RIGHT - LEFT) / TALLEST)
    low, per = middle - shown / 2, (RIGHT - LEFT) / shown
    height = max(around * per, LOWEST)
    stretch = height / (around * per)

    def across(value: float) -> float:
        return LEFT + (value - low) * per

    inside = [b for b in beside if low <= b.at <= low + shown]
    strips = [(a / around * height, b / around * height) for d in hurt for a, b in d.parts]
    taken = [(a - 0.8, b + 0.8) for a, b in strips]
    if seam is not None:
        taken.append((seam / 12 * height - 1.0, seam / 12 * height + 1.0))
    gap = free_gap(0.6, height - 0.6, taken)
    found = bands([(across(a), across(b), label) for r in made for a, b, label in r.units])
    mode, lines = band_labels(found, gap) if found else ("level", [])
    notes = _notes(hurt, made, [b for b in beside if b not in inside], inside, per, length_unit)
    if stretch > 1.001:
        notes.append(f"Not to scale: around the pipe drawn {stretch:.1f} times as large as along it.")
    else:
        notes.append("Drawn to one scale in both directions.")
    notes += _key(mode, sorted(u for r in made for u in r.units), length_unit)

    nearest = min(strips)[0]
    rows = [Dimension(across(a), across(b), text, float(k == 0)) for k, (a, b, text) in
            enumerate(_measures(hurt, made, ends, length_unit))]  # fmt: skip
    heads = flags([(across(b.at), b.words) for b in inside], 2.0, sheet.WIDTH - 1.0)
    above = rows_height(rows, LEFT, RIGHT)
    top = max(above + flags_height(heads) + 2.0, 12.0 if height < 36 else 0.0)
    note_rows = notes_rows(notes, RIGHT - LEFT + 14)
    page = Sheet(top + height + FOOT + len(note_rows) * line_height(sheet.SMALL) + 1.0)

    for repair in made:
        for ends_of, fill in ((repair.overall, sheet.TINT), (repair.full, sheet.TINT_DEEP)):
            page.box(across(ends_of[0]), top, across(ends_of[1]) - across(ends_of[0]), height, fill=fill)
    for hour in (3, 6, 9):
        page.lines([[(LEFT, top + hour / 12 * height), (RIGHT, top + hour / 12 * height)]], colour=sheet.RULE, pen=0.4,
                   dash=(0.8, 2.4))  # fmt: skip
    for band in found:
        page.box(band.left, top, band.right - band.left, height, edge=sheet.ACCENT, pen=1.0)
    for b in inside:
        _kept(page, b, across, per, top, height)
    page.lines([[(LEFT, y), (RIGHT, y)] for y in (top, top + height)], pen=1.2)
    if seam is not None:
        _seam(page, seam, top, height)
    for b in inside:
        page.lines([[(across(b.at), top + height), (across(b.at), top - above - 0.6)]], pen=1.0,
                   dash=(1.5, 1.5) if b.repair else (6, 1.5))  # fmt: skip
    for d in hurt:
        _hurt(page, d, across, per, top, height / around)
    if len(hurt) == 1 and nearest > 0:
        drop = [[(across(x), top), (across(x), top + nearest)] for x in (hurt[0].start, hurt[0].end)]
        page.lines(drop, colour=sheet.GREY, pen=0.5, dash=(1, 1.5))
    _band_text(page, found, mode, lines, top + (gap[0] + gap[1]) / 2)
    draw_dimensions(page, [Dimension(d.x0, d.x1, d.text, top) for d in rows], top, LEFT, RIGHT)
    draw_flags(page, heads, top - above - 0.6)
    _clock_axis(page, top, height)
    _along_axis(page, low, low + shown, across, top + height, length_unit, several=len(hurt) > 1)
    draw_notes(page, LEFT, top + height + FOOT, note_rows)
    return page.svg(title, _said(around, hurt, made, beside, seam, length_unit))


def _damage(entry: Sequence[object], around: float, name: str, many: bool, unit: str) -> _Damage:
    start, end = span(entry[0:2], f"{name} along")
    at, width = hours(entry[2], f"{name} clock"), positive(entry[3], f"{name} width")
    if width > around * (1 + 1e-9):
        raise ValueError(f"{name} width is {width:g}: wider than the circumference of {around:g}")
    label = named(str(entry[4]), f"{name} label") if many else sheet.clean(str(entry[4]))
    words = f"{quantity(end - start, unit)} long \u00d7 {quantity(width, unit)} wide, centre at {clock_text(at)}"
    parts = _around_parts(at / 12 * around, width, around)
    return _Damage(start, end, parts, label, bool(entry[5]), words)


def _repair(r: Mapping[str, object], name: str, many: bool) -> _Repair:
    label = named(str(r["label"]), f"{name} label") if many else ""
    pieces = []
    for k, (start, wide, text) in enumerate(r["units"]):  # type: ignore[arg-type,var-annotated]
        begin = finite(start, f"{name} units[{k}] start")
        if not sheet.clean(text):
            raise ValueError(f"{name} units[{k}] has an empty label")
        pieces.append((begin, begin + positive(wide, f"{name} units[{k}] width"), sheet.clean(text)))
    full, overall = (span(r[k], f"{name} {k}") for k in ("full", "overall"))  # type: ignore[arg-type]
    return _Repair(label, pieces, full, overall)


def _beside(
    given: Mapping[str, float | None], ends: tuple[float, float], weld: float, repair: float, many: bool, unit: str
) -> list[_Beside]:
    found = []
    what = "all damage" if many else "the defect"
    for name, distance in given.items():
        if distance is None:
            continue
        free = finite(distance, name)
        if free < 0:
            raise ValueError(f"{name} is {free:g}: a distance is not below zero")
        side, kind = name.split("_")
        sign = -1 if side == "upstream" else 1
        other = kind == "neighbour"
        words = f"{quantity(free, unit)} {side} of {what}"
        words = f"full thickness of the next repair, {words}" if other else f"weld or fitting, {words}"
        keep = repair if other else weld
        found.append(_Beside((ends[0] if sign < 0 else ends[1]) + sign * free, sign, words, keep, other))
    return found


def _measures(
    hurt: Sequence[_Damage], made: Sequence[_Repair], ends: tuple[float, float], unit: str
) -> list[tuple[float, float, str]]:
    """What is measured above the pipe, the damage first."""
    whole = f"all damage {quantity(ends[1] - ends[0], unit)} long" if len(hurt) > 1 else f"defect {hurt[0].words}"
    out = [(*ends, whole)]
    if len(made) > MOST_MEASURED:
        return out
    for what, pick in (("full thickness", lambda r: r.full), ("overall", lambda r: r.overall)):
        out += [(*pick(r), r.name(f"{what} {quantity(pick(r)[1] - pick(r)[0], unit)}")) for r in made]
    out += [(a.full[1], b.full[0], f"gap {quantity(b.full[0] - a.full[1], unit)}") for a, b in pairwise(made)
            if b.full[0] > a.full[1]]  # fmt: skip
    return out


def _notes(
    hurt: Sequence[_Damage], made: Sequence[_Repair], beyond: Sequence[_Beside], inside: Sequence[_Beside], per: float,
    unit: str,
) -> list[str]:  # fmt: skip
    notes = []
    if len(hurt) > 1:
        told = [f"cluster {d.label}, {d.words}{' (governs)' if d.governs else ''}" for d in hurt]
        few = sorted(hurt, key=lambda d: not d.governs)[0]
        notes.append(f"Hatched: {'; '.join(told)}." if len(hurt) <= MOST_NAMED else
                     f"Hatched: {len(hurt)} clusters; cluster {few.label} governs, {few.words}." if few.governs else
                     f"Hatched: {len(hurt)} clusters.")  # fmt: skip
    if len(made) > MOST_MEASURED:
        notes += [f"{r.label}: full thickness {quantity(r.full[1] - r.full[0], unit)}, overall "
                  f"{quantity(r.overall[1] - r.overall[0], unit)}." for r in made]  # fmt: skip
    for b in beyond:
        notes.append(f"Nearest {b.words}: beyond the drawing." if not b.repair else
                     f"{b.words[0].upper()}{b.words[1:]}: beyond the drawing.")  # fmt: skip
    for keep, text in (({b.keep for b in inside if not b.repair and b.keep}, "no end of a wrap within {} of a weld or "
                        "fitting"), ({b.keep for b in inside if b.repair and b.keep},
                                     "no full thickness within {} of that of another repair")):  # fmt: skip
        notes += [f"Kept clear, cross-hatched: {text.format(quantity(k, unit))}." for k in sorted(keep)]
    return notes


def _said(
    around: float, hurt: Sequence[_Damage], made: Sequence[_Repair], beside: Sequence[_Beside], seam: float | None,
    unit: str,
) -> str:  # fmt: skip
    said = [f"Circumference {quantity(around, unit)}"]
    for d in hurt:
        name = f"cluster {d.label}" if d.label else "defect"
        said.append(f"{name} {d.words}{', governs' if d.governs and d.label else ''}")
    for r in made:
        said.append(r.name(f"full thickness {quantity(r.full[1] - r.full[0], unit)}"))
        said.append(r.name(f"overall {quantity(r.overall[1] - r.overall[0], unit)}"))
    said += [f"long seam at {clock_text(seam)}"] if seam is not None else []
    said += [b.words if b.repair else f"nearest {b.words}" for b in beside]
    said += [_unit_text(piece, unit) for r in made for piece in sorted(r.units)] or ["no wrap"]
    return "; ".join(said) + "."


def _kept(page: Sheet, b: _Beside, across: Callable[[float], float], per: float, top: float, height: float) -> None:
    """What has to stay clear of a weld or of another repair, hatched both ways; the other repair itself is tinted."""
    x = across(b.at)
    if b.repair:
        edge = LEFT if b.side < 0 else RIGHT
        page.box(min(x, edge), top, abs(edge - x), height, fill=sheet.TINT_DEEP)
    wide = b.keep * per
    if wide < 0.4:
        return
    left = max(x - wide if b.side > 0 else x, LEFT)
    right = min(x if b.side > 0 else x + wide, RIGHT)
    page.hatch(left, top, right - left, height, colour=sheet.GREY, gap=1.6, pen=0.4)
    page.hatch(left, top, right - left, height, colour=sheet.GREY, gap=1.6, pen=0.4, falling=True)


def _hurt(page: Sheet, d: _Damage, across: Callable[[float], float], per: float, top: float, down: float) -> None:
    left, long = across(d.start), (d.end - d.start) * per
    for a, b in d.parts:
        y, high = top + a * down, (b - a) * down
        page.box(left, y, long, high, fill=sheet.WHITE)
        page.hatch(left, y, long, high, colour=sheet.INK)
        page.box(left, y, long, high, edge=sheet.INK, pen=2.0 if d.governs and d.label else 1.1)
    a, b = max(d.parts, key=lambda p: p[1] - p[0])
    if d.label and long >= text_width(d.label, sheet.SMALL) + 3.0 and (b - a) * down >= line_height(sheet.SMALL) + 1.0:
        page.text(left + long / 2, top + (a + b) / 2 * down, d.label, size=sheet.SMALL, across="center",
                  ground=sheet.WHITE)  # fmt: skip


def _around_parts(centre: float, width: float, around: float) -> list[tuple[float, float]]:
    """The defect's extent around the pipe, in two parts if it crosses 12 o'clock."""
    start, end = centre - width / 2, centre + width / 2
    if width >= around:
        return [(0.0, around)]
    if start < 0:
        return [(0.0, end), (start + around, around)]
    if end > around:
        return [(0.0, end - around), (start, around)]
    return [(start, end)]


def _unit_text(piece: tuple[float, float, str], unit: str) -> str:
    return f"{piece[2]} from {dimension(piece[0], unit)} to {dimension(piece[1], unit)}"


def _key(mode: str, pieces: Sequence[tuple[float, float, str]], unit: str) -> list[str]:
    if mode == "numbered":
        return ["Wrap units: " + "; ".join(f"{i + 1} = {piece[2]}" for i, piece in enumerate(pieces)) + "."]
    if mode == "listed":
        return ["Wrap units: " + "; ".join(_unit_text(piece, unit) for piece in pieces) + "."]
    return []


def _seam(page: Sheet, seam: float, top: float, height: float) -> None:
    levels = [top + seam / 12 * height] if seam else [top, top + height]
    for y in levels:
        page.lines([[(LEFT, y), (RIGHT, y)]], colour=sheet.WHITE, pen=2.4)
        page.lines([[(LEFT, y), (RIGHT + 1.5, y)]], pen=1.0, dash=(7, 2, 1.5, 2))
    text = ["long seam", clock_text(seam)]
    page.text(RIGHT + 2.2, max(levels[0], top + line_height(sheet.SMALL) / 2), text, size=sheet.SMALL)


def _band_text(page: Sheet, found: Sequence[Band], mode: str, lines: list[list[str]], y: float) -> None:
    if mode == "listed":
        return
    for band, entry in zip(found, lines, strict=True):
        x = (band.x0 + band.x1) / 2
        size = sheet.SMALL if mode == "numbered" else sheet.BODY
        ground = None if mode == "numbered" else sheet.WHITE
        page.text(x, y, entry, size=size, across="center", upright=mode == "upright", ground=ground)


def _clock_axis(page: Sheet, top: float, height: float) -> None:
    for hour, text in ((0, "12"), (3, "3"), (6, "6"), (9, "9"), (12, "12")):
        y = top + height * hour / 12
        page.lines([[(LEFT - 1.2, y), (LEFT, y)]])
        page.text(LEFT - 1.9, y, text, across="right")
    name = "clock, facing downstream"
    if height >= 36:
        page.text(4.0, top + height / 2, f"{name} (hours)", size=sheet.SMALL, upright=True)
    else:
        lines = ["clock, facing", "downstream", "(hours)"]
        page.text(0.5, top - 2.4 - line_height(sheet.SMALL) * 1.5, lines, size=sheet.SMALL)


def _along_axis(
    page: Sheet, low: float, high: float, across: Callable[[float], float], y: float, unit: str, *, several: bool
) -> None:
    for value, text in ticks(low, high, 9):
        x = across(value)
        page.lines([[(x, y), (x, y + 1.2)]])
        page.text(x, y + 3.3, text, size=sheet.SMALL, across="center")
    middle = "the middle of all damage" if several else "the defect's centre"
    name = f"axial distance from {middle} ({unit})"
    page.text((LEFT + RIGHT) / 2 - 10, y + 8.0, name, across="center")
    page.text(RIGHT - 15, y + 8.0, "downstream", across="right", bold=True)
    page.lines([[(RIGHT - 13.5, y + 8.0), (RIGHT - 1, y + 8.0)]], pen=1.0)
    page.arrowhead(RIGHT, y + 8.0, 1)
