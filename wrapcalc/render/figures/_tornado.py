"""Thickness required at both ends of every stated tolerance: two bars to an input, from the line of the design."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._numbers import finite, positive
from wrapcalc.render.figures._plot import (
    AXIS_FOOT,
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
from wrapcalc.render.figures._sheet import Sheet, line_height, text_width, wrap

LABELS = 38.0  # right edge of the names, mm
FIRST, LAST = 41.0, 168.0  # the room of bars and their labels, mm
BAR = 3.0
ROW = 10.4
NONE = "no thickness holds"


@dataclass(frozen=True)
class _End:
    """One end of a tolerance: the input there, and the thickness required; None where no thickness holds."""

    at: str
    thickness: float | None

    def text(self, unit: str) -> str:
        return f"{NONE if self.thickness is None else quantity(self.thickness, unit)} at {self.at}"

    def beyond(self, provided: float) -> bool:
        """Whether more is required there than is provided."""
        return self.thickness is None or self.thickness > provided * (1 + 1e-12)


def tolerances(
    *,
    swings: Sequence[tuple[str, float | None, float | None, str, str]],
    required: float,
    provided: float | None,
    length_unit: str,
    title: str,
) -> str:
    """Bars of the thickness required at the ends of each tolerance, as one inline `<svg>`; in `length_unit`.

    swings: (input, thickness at its lower end, at its upper end, lower end as text, upper end as text), drawn from
    the top; a thickness is None where no thickness holds. Bars start at `required`, the thickness of the design as
    stated; `provided` is a second line. Upper bar of a pair, open: the lower end of the input; lower bar, solid: its
    upper end. The axis does not start at zero.

    Raises ValueError, naming the argument, for no swings, empty texts, NaN or infinity and sizes not above zero.
    """
    if not swings:
        raise ValueError("swings is empty: there is nothing to draw")
    base = positive(required, "required")
    laid = None if provided is None else positive(provided, "provided")
    rows = [_checked(swing, f"swings[{i}]") for i, swing in enumerate(swings)]
    shown = [e.thickness for _, ends in rows for e in ends if e.thickness is not None]
    across = _scale([base, *([laid] if laid is not None else []), *shown], rows, base, length_unit)

    same = laid is not None and abs(laid - base) < 1e-9 * base
    marks = [(across(base), f"required as designed{', and provided' if same else ''}: {quantity(base, length_unit)}")]
    if laid is not None and not same:
        marks.append((across(laid), f"provided: {quantity(laid, length_unit)}"))
    heads = flags(marks, 2.0, sheet.WIDTH - 1.0)
    names = [wrap(name, LABELS - 1, sheet.BODY) for name, _ in rows]
    highs = [max(ROW, line_height(sheet.BODY) * len(lines) + 2.4) for lines in names]
    top = flags_height(heads) + 1.5
    bottom = top + sum(highs)
    text = "Open bar: the input at its lower end. Solid bar: at its upper end. The others as designed."
    told = [text] + (["The axis does not start at zero."] if across.low > 0 else [])
    if all(e.thickness is not None and abs(e.thickness - base) < 1e-9 * base for _, ends in rows for e in ends):
        told.append("No bar: none of the stated tolerances moves the thickness required.")
    if laid is not None and any(e.beyond(laid) for _, ends in rows for e in ends):
        told.append("Bold: more than the thickness provided.")
    notes = notes_rows(told, LAST - FIRST)
    page = Sheet(bottom + AXIS_FOOT + len(notes) * line_height(sheet.SMALL) + 1.0)

    for value, _ in along_ticks(across):
        page.lines([[(across(value), top), (across(value), bottom)]], colour=sheet.PALE, pen=0.5)
    y = top
    for (_, ends), high in zip(rows, highs, strict=True):
        if y > top:
            page.lines([[(1.0, y), (LAST, y)]], colour=sheet.PALE, pen=0.5)
        for k, end in enumerate(ends):
            _bar(page, end, y + high / 2 + (k - 0.5) * (BAR + 0.9), across, base, solid=k == 1)
        y += high
    page.lines([[(across(base), top - 1.0), (across(base), bottom)]], pen=1.2)
    if laid is not None and not same:
        page.lines([[(across(laid), top - 1.0), (across(laid), bottom)]], colour=sheet.WHITE, pen=2.6)
        page.lines([[(across(laid), top - 1.0), (across(laid), bottom)]], pen=1.2, dash=(6, 2))
    draw_flags(page, heads, top - 1.0)
    y = top
    for (_, ends), lines, high in zip(rows, names, highs, strict=True):
        page.text(LABELS, y + high / 2, lines, across="right")
        for k, end in enumerate(ends):
            _label(page, end, y + high / 2 + (k - 0.5) * (BAR + 0.9), across, base, length_unit, laid)
        y += high
    page.lines([[(across.start, bottom), (across.end, bottom)]], pen=0.7)
    along_axis(page, across, bottom, f"wrap thickness required ({length_unit})")
    draw_notes(page, FIRST, bottom + AXIS_FOOT, notes)

    said = [f"{name}, {low.text(length_unit)}, {high.text(length_unit)}" for name, (low, high) in rows]
    lines = [f"required as designed {quantity(base, length_unit)}"]
    lines += [f"provided {quantity(laid, length_unit)}"] if laid is not None else []
    return page.svg(title, f"Thickness required at the ends of each stated tolerance, {', '.join(lines)}. "
                           f"{'; '.join(said)}.")  # fmt: skip


def _checked(swing: tuple[str, float | None, float | None, str, str], name: str) -> tuple[str, tuple[_End, _End]]:
    what, low, high, at_low, at_high = swing
    ends = [
        _End(named(text, f"{name} {side} end"), None if value is None else finite(value, f"{name} {side} thickness"))
        for value, text, side in ((low, at_low, "lower"), (high, at_high, "upper"))
    ]
    return named(what, f"{name} input"), (ends[0], ends[1])


def _scale(
    values: Sequence[float], rows: Sequence[tuple[str, tuple[_End, _End]]], base: float, unit: str
) -> Scale:
    """A scale on which every label fits beside its bar, within the room."""
    low, high = min(values), max(values)
    # A swing of next to nothing must not fill the width.
    spread, middle = max(high - low, 0.2 * base), (low + high) / 2
    start = middle - 0.53 * spread
    low, high = max(start, 0.0) if low >= 0 else start, middle + 0.53 * spread
    left = right = 2.0
    for _, ends in rows:
        for end in ends:
            wide = text_width(end.text(unit), sheet.SMALL, True) + 3.2
            if end.thickness is not None and end.thickness < base:
                left = max(left, wide)
            else:
                # Where no thickness holds the bar runs to the end of the axis.
                right = max(right, wide)
    return Scale(low, high, FIRST + left, LAST - right)


def _bar(page: Sheet, end: _End, middle: float, across: Scale, base: float, *, solid: bool) -> None:
    to = across.end if end.thickness is None else across(end.thickness)
    left, right = min(to, across(base)), max(to, across(base))
    fill = sheet.ACCENT if solid else sheet.WHITE
    if end.thickness is None:
        # No end to the bar: it is hatched and points on.
        page.box(left, middle - BAR / 2, right - left, BAR, fill=sheet.WHITE)
        page.hatch(left, middle - BAR / 2, right - left, BAR, colour=sheet.INK, gap=1.0, pen=0.8)
        page.lines([[(right, middle - BAR / 2), (left, middle - BAR / 2)], [(right, middle + BAR / 2),
                   (left, middle + BAR / 2)]], pen=0.8)  # fmt: skip
        page.arrowhead(right + 1.9, middle, 1)
    elif right - left > 0.05:
        page.box(left, middle - BAR / 2, right - left, BAR, fill=fill, edge=sheet.ACCENT, pen=0.9)


def _label(
    page: Sheet, end: _End, middle: float, across: Scale, base: float, unit: str, laid: float | None
) -> None:
    text, bold = end.text(unit), laid is not None and end.beyond(laid)
    if end.thickness is not None and end.thickness < base:
        page.text(across(end.thickness) - 1.4, middle, text, size=sheet.SMALL, across="right", ground=sheet.WHITE,
                  bold=bold)  # fmt: skip
        return
    x = across.end + 1.4 if end.thickness is None else across(end.thickness)
    if laid is not None and x < across(laid) < x + 1.4 + text_width(text, sheet.SMALL, bold):
        x = across(laid)  # a label is not crossed by the line of the thickness provided
    page.text(x + 1.4, middle, text, size=sheet.SMALL, ground=sheet.WHITE, bold=bold)
