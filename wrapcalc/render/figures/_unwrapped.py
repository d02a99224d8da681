"""The pipe's surface unrolled flat: defect, wrap units, seam and neighbouring welds, to scale."""

from __future__ import annotations

from collections.abc import Callable, Sequence

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
from wrapcalc.render.figures._sheet import Sheet, line_height, text_width, wrap

LEFT, RIGHT = (16.0, 152.0)  # the pipe on paper, mm; the right margin takes the seam's label
TALLEST, LOWEST = 112.0, 18.0  # height of the pipe on paper, mm
FOOT = 11.0


def unwrapped(
    *,
    circumference: float,
    defect: tuple[float, float],
    units: Sequence[tuple[float, float, str]],
    full_thickness: tuple[float, float] | None,
    overall: tuple[float, float] | None,
    seam_clock: float | None,
    defect_clock: float,
    upstream_clear: float | None,
    downstream_clear: float | None,
    length_unit: str,
    title: str,
) -> str:
    """The unwrapped pipe around a defect, as one inline `<svg>` element; lengths in `length_unit`.

    Along: distance from the defect's centre, downstream to the right. Down: clock position facing
    downstream, 12:00 at both edges. defect: (length along, width around), centred at `defect_clock`; clocks
    are hours from 0 to 12 (4.5 is 4:30). units: (start, width, label) of each wrap unit, none for a bare
    pipe; full_thickness, overall: (start, end) of the wrap, None for a bare pipe. upstream_clear,
    downstream_clear: distance from the defect's edge to the nearest weld or fitting, None if there is none to
    speak of; one that lies beyond the drawing is named in a note. Both directions have one scale, except for
    a pipe that would be too slim to read; the drawing then says how much it is stretched.

    Raises ValueError, naming the argument, for NaN or infinity, sizes not above zero, a start behind its end,
    a defect wider than the circumference, a clock outside 0 to 12 and a negative clear distance.
    """
    around = positive(circumference, "circumference")
    length, width = (positive(defect[0], "defect length"), positive(defect[1], "defect width"))
    if width > around:
        raise ValueError(f"defect width is {width:g}: wider than the circumference of {around:g}")
    at = hours(defect_clock, "defect_clock")
    seam = None if seam_clock is None else hours(seam_clock, "seam_clock")
    pieces = []
    for index, (start, wide, label) in enumerate(units):
        begin = finite(start, f"units[{index}] start")
        if not sheet.clean(label):
            raise ValueError(f"units[{index}] has an empty label")
        pieces.append((begin, begin + positive(wide, f"units[{index}] width"), sheet.clean(label)))
    full = None if full_thickness is None else span(full_thickness, "full_thickness")
    whole = None if overall is None else span(overall, "overall")
    welds: list[tuple[float, str]] = []
    for name, clear, side in (("upstream", upstream_clear, -1), ("downstream", downstream_clear, 1)):
        if clear is not None:
            free = finite(clear, f"{name}_clear")
            if free < 0:
                raise ValueError(f"{name}_clear is {free:g}: a clear distance is not below zero")
            welds.append((side * (length / 2 + free), f"{dimension(free, length_unit)} {name} of the defect"))

    # The axial range: everything with some pipe on both sides, and no more height than the page allows.
    reach: list[float] = [
        -length / 2,
        length / 2,
        *(x for p in pieces for x in p[:2]),
        *(full or ()),
        *(whole or ()),
    ]
    middle = (min(reach) + max(reach)) / 2
    shown = max(1.3 * (max(reach) - min(reach)), around * (RIGHT - LEFT) / TALLEST)
    low, per = middle - shown / 2, (RIGHT - LEFT) / shown
    height = max(around * per, LOWEST)
    stretch = height / (around * per)

    def across(value: float) -> float:
        return LEFT + (value - low) * per

    long_text, wide_text = dimension(length, length_unit), dimension(width, length_unit)
    defect_text = f"defect {long_text} long \u00d7 {wide_text} wide, centre at {clock_text(at)}"
    inside = [(x, text) for x, text in welds if low <= x <= low + shown]
    beyond = [text for x, text in welds if not low <= x <= low + shown]
    notes = [f"Nearest weld or fitting {text}: beyond the drawing." for text in beyond]
    if stretch > 1.001:
        notes.append(f"Not to scale: around the pipe drawn {stretch:.1f} times as large as along it.")
    else:
        notes.append("Drawn to one scale in both directions.")

    parts = _around_parts(at / 12 * around, width, around)
    strips = [(a / around * height, b / around * height) for a, b in parts]
    taken = [(a - 0.8, b + 0.8) for a, b in strips]
    if seam is not None:
        taken.append((seam / 12 * height - 1.0, seam / 12 * height + 1.0))
    gap = free_gap(0.6, height - 0.6, taken)
    found = bands([(across(a), across(b), label) for a, b, label in pieces])
    mode, lines = band_labels(found, gap) if found else ("level", [])
    notes += _key(mode, sorted(pieces), length_unit)

    measures = [(-length / 2, length / 2, defect_text, min(strips)[0])]
    for name, ends in (("full thickness", full), ("overall", whole)):
        if ends is not None:
            measures.append((*ends, f"{name} {dimension(ends[1] - ends[0], length_unit)}", 0.0))
    weld_lines = [_weld_lines(across(x), across(0.0), text) for x, text in inside]
    weld_rows = max((len(entry[1]) for entry in weld_lines), default=0)
    rows = [Dimension(across(a), across(b), text, 0.0) for a, b, text, _ in measures]
    above = rows_height(rows, LEFT, RIGHT)
    top = max(above + weld_rows * line_height(sheet.SMALL) + 2.0, 12.0 if height < 36 else 0.0)
    note_lines = [line for note in notes for line in wrap(note, RIGHT - LEFT + 14, sheet.SMALL)]
    page = Sheet(top + height + FOOT + len(note_lines) * line_height(sheet.SMALL) + 1.0)

    if whole is not None:
        page.box(across(whole[0]), top, across(whole[1]) - across(whole[0]), height, fill=sheet.TINT)
    if full is not None:
        page.box(across(full[0]), top, across(full[1]) - across(full[0]), height, fill=sheet.TINT_DEEP)
    for band in found:
        page.box(band.left, top, band.right - band.left, height, edge=sheet.ACCENT, pen=1.0)
    page.lines([[(LEFT, y), (RIGHT, y)] for y in (top, top + height)], pen=1.2)
    if seam is not None:
        _seam(page, seam, top, height)
    for x, _ in inside:
        page.lines([[(across(x), top + height), (across(x), top - above - 0.6)]], pen=1.0, dash=(6, 1.5))
    left, long = across(-length / 2), length * per
    for a, b in strips:
        page.box(left, top + a, long, b - a, fill=sheet.WHITE)
        page.hatch(left, top + a, long, b - a, colour=sheet.INK)
        page.box(left, top + a, long, b - a, edge=sheet.INK, pen=1.1)
    if min(strips)[0] > 0:
        drop = [[(x, top), (x, top + min(strips)[0])] for x in (left, left + long)]
        page.lines(drop, colour=sheet.GREY, pen=0.5, dash=(1, 1.5))
    _band_text(page, found, mode, lines, top + (gap[0] + gap[1]) / 2)
    drawn = [Dimension(d.x0, d.x1, d.text, top) for d in rows]
    draw_dimensions(page, drawn, top, LEFT, RIGHT)
    for x, entry in weld_lines:
        y = top - above - 0.8 - len(entry) * line_height(sheet.SMALL) / 2
        page.text(x, y, entry, size=sheet.SMALL, across="center")
    _clock_axis(page, top, height)
    _along_axis(page, low, low + shown, across, top + height, length_unit)
    for k, line in enumerate(note_lines):
        y = top + height + FOOT + (k + 0.5) * line_height(sheet.SMALL)
        page.text(LEFT, y, line, size=sheet.SMALL, colour=sheet.GREY)

    said = [f"Circumference {dimension(around, length_unit)}", *(text for _, _, text, _ in measures)]
    if seam is not None:
        said.append(f"long seam at {clock_text(seam)}")
    said += [f"nearest weld or fitting {text}" for _, text in welds]
    said += [_unit_text(piece, length_unit) for piece in sorted(pieces)] or ["no wrap"]
    return page.svg(title, "; ".join(said) + ".")


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


def _weld_lines(x: float, centre: float, text: str) -> tuple[float, list[str]]:
    """Middle and lines of a weld's label, kept on its own side of the defect's centre."""
    low, high = (LEFT, centre - 1.5) if x < centre else (centre + 1.5, RIGHT)
    lines = wrap(f"weld or fitting, {text}", min(high - low, 62.0), sheet.SMALL)
    half = max(text_width(line, sheet.SMALL) for line in lines) / 2
    return min(max(x, low + half), high - half), lines


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
    page: Sheet, low: float, high: float, across: Callable[[float], float], y: float, unit: str
) -> None:
    for value, text in ticks(low, high, 9):
        x = across(value)
        page.lines([[(x, y), (x, y + 1.2)]])
        page.text(x, y + 3.3, text, size=sheet.SMALL, across="center")
    name = f"axial distance from the defect's centre ({unit})"
    page.text((LEFT + RIGHT) / 2 - 10, y + 8.0, name, across="center")
    page.text(RIGHT - 15, y + 8.0, "downstream", across="right", bold=True)
    page.lines([[(RIGHT - 13.5, y + 8.0), (RIGHT - 1, y + 8.0)]], pen=1.0)
    page.arrowhead(RIGHT, y + 8.0, 1)
