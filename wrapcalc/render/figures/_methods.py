"""Safe and failure pressure by each method, one bar to a method, against the pressures that matter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._numbers import finite
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
from wrapcalc.render.figures._sheet import Sheet, line_height, text_width, wrap

ROLES = ("governs", "stands beside", "cross-check", "outside scope")
LABELS = 59.0  # right edge of the names, mm
START, END = (62.0, 140.0)  # the bars' axis, mm; the room to the right takes the numbers
BAR, CORE = 5.0, 2.6  # height of the open bar of the failure pressure and of the solid one of the safe pressure


@dataclass(frozen=True)
class _Row:
    name: str
    failure: float | None
    safe: float | None
    role: str
    reason: str

    @property
    def outside(self) -> bool:
        return self.role == "outside scope"

    @property
    def head(self) -> list[str]:
        return wrap(self.name, LABELS - 1, sheet.BODY, self.role == "governs")

    @property
    def below(self) -> list[str]:
        joined = self.role if self.outside or not self.reason else f"{self.role}: {self.reason}"
        return wrap(joined, LABELS - 1, sheet.SMALL)

    @property
    def words(self) -> list[str]:
        """What stands in the place of a bar."""
        if self.outside:
            text = f"outside scope: {self.reason}" if self.reason else "outside scope, no bar is drawn"
        elif self.failure is None and self.safe is None:
            text = "no pressure by this method"
        else:
            return []
        return wrap(text, END - START - 5.0, sheet.SMALL)

    @property
    def high(self) -> float:
        names = line_height(sheet.BODY) * len(self.head) + line_height(sheet.SMALL) * len(self.below)
        return max(8.0, names + 2.6, line_height(sheet.SMALL) * len(self.words) + 2.6)


def methods(
    *,
    rows: Sequence[tuple[str, float | None, float | None, str, str]],
    lines: Sequence[tuple[str, float]],
    pressure_unit: str,
    title: str,
) -> str:
    """Bars of safe pressure (solid) and failure pressure (open) by method, as one inline `<svg>` element.

    rows: (method, failure pressure or None, safe pressure or None, role, reason), drawn from the top; the role is
    one of governs, stands beside, cross-check, outside scope. A row outside its scope gets words in place of a
    bar, and numbers given with it are struck through. lines: (label, pressure) of upright lines, such as the MAOP.
    All pressures in `pressure_unit`, drawn from zero. The drawing does not judge: roles are taken as given.

    Raises ValueError, naming the argument, for no rows, empty names, unknown roles, NaN or infinity and pressures
    below zero.
    """
    if not rows:
        raise ValueError("rows is empty: there is nothing to draw")
    found = [_checked(row, f"rows[{i}]") for i, row in enumerate(rows)]
    marks = [
        (named(label, f"lines[{i}] label"), _pressure(value, f"lines[{i}] pressure"))
        for i, (label, value) in enumerate(lines)
    ]
    shown = [p for row in found if not row.outside for p in (row.failure, row.safe) if p is not None]
    longest = max([*shown, *(value for _, value in marks)], default=0.0) or 1.0
    across = Scale(0.0, 1.05 * longest, START, END)

    texts = [(across(value), f"{label}: {quantity(value, pressure_unit)}") for label, value in marks]
    heads = flags(texts, 2.0, sheet.WIDTH - 1.0)
    top = flags_height(heads) + 1.5
    bottom = top + sum(row.high for row in found)
    notes = notes_rows(["Solid bar: safe pressure. Open bar: failure pressure."], sheet.WIDTH - START)
    page = Sheet(bottom + AXIS_FOOT + len(notes) * line_height(sheet.SMALL) + 1.0)

    for value, _ in along_ticks(across):
        page.lines([[(across(value), top), (across(value), bottom)]], colour=sheet.PALE, pen=0.5)
    y = top
    for row in found:
        if row.high and y > top:
            page.lines([[(1.0, y), (sheet.WIDTH - 1.0, y)]], colour=sheet.PALE, pen=0.5)
        _bar(page, row, y + row.high / 2, across)
        y += row.high
    upright = [[(across(value), top - 1.0), (across(value), bottom)] for _, value in marks]
    page.lines(upright, colour=sheet.WHITE, pen=2.6)
    for k, line in enumerate(upright):
        page.lines([line], pen=1.2, dash=DASHES[k % len(DASHES)])
    draw_flags(page, heads, top - 1.0)
    y = top
    for row in found:
        _names(page, row, y + row.high / 2)
        if row.words:
            page.text(START + 2.4, y + row.high / 2, row.words, size=sheet.SMALL, ground=sheet.WHITE)
        _values(page, row, y + row.high / 2, pressure_unit)
        y += row.high
    page.lines([[(START, top), (START, bottom), (END, bottom)]], pen=0.7)
    along_axis(page, across, bottom, f"pressure ({pressure_unit})")
    draw_notes(page, START, bottom + AXIS_FOOT, notes)

    said = [_said(row, pressure_unit) for row in found]
    said += [f"{label}: {quantity(value, pressure_unit)}" for label, value in marks]
    return page.svg(title, f"Pressure by each method. {'; '.join(said)}.")


def _checked(row: tuple[str, float | None, float | None, str, str], name: str) -> _Row:
    method, failure, safe, role, reason = row
    if role not in ROLES:
        raise ValueError(f"{name} role {role!r} is none of {', '.join(ROLES)}")
    pressures = [
        None if value is None else _pressure(value, f"{name} {what}")
        for what, value in (("failure", failure), ("safe", safe))
    ]
    return _Row(named(method, f"{name} method"), pressures[0], pressures[1], role, sheet.clean(reason))


def _pressure(value: object, name: str) -> float:
    number = finite(value, name)
    if number < 0:
        raise ValueError(f"{name} is {number:g}: a pressure is not below zero")
    return number


def _bar(page: Sheet, row: _Row, middle: float, across: Scale) -> None:
    if row.outside:
        return
    governs = row.role == "governs"
    if row.failure is not None:
        long = across(row.failure) - START
        page.box(START, middle - BAR / 2, long, BAR, fill=sheet.WHITE, edge=sheet.INK, pen=1.4 if governs else 0.8)
    if row.safe is not None:
        fill = sheet.ACCENT if governs else sheet.RULE
        page.box(START, middle - CORE / 2, across(row.safe) - START, CORE, fill=fill)


def _names(page: Sheet, row: _Row, middle: float) -> None:
    pitch, small = line_height(sheet.BODY), line_height(sheet.SMALL)
    high = pitch * len(row.head) + small * len(row.below)
    top = middle - high / 2
    page.text(LABELS, top + pitch * len(row.head) / 2, row.head, across="right", bold=row.role == "governs")
    below = top + pitch * len(row.head) + small * len(row.below) / 2
    page.text(LABELS, below, row.below, size=sheet.SMALL, colour=sheet.GREY, across="right")


def _values(page: Sheet, row: _Row, middle: float, unit: str) -> None:
    entries = [(name, value) for name, value in (("safe", row.safe), ("failure", row.failure)) if value is not None]
    pitch = line_height(sheet.SMALL)
    for k, (name, value) in enumerate(entries):
        y = middle + (k - (len(entries) - 1) / 2) * pitch
        text, bold = f"{name} {quantity(value, unit)}", row.role == "governs" and name == "safe"
        page.text(END + 3.0, y, text, size=sheet.SMALL, bold=bold)
        if row.outside:
            end = END + 3.4 + text_width(text, sheet.SMALL, bold)
            page.lines([[(END + 2.6, y), (end, y)]], pen=0.8)


def _said(row: _Row, unit: str) -> str:
    parts = [row.role]
    for name, value in (("safe", row.safe), ("failure", row.failure)):
        if value is not None:
            parts.append(f"{name} pressure {quantity(value, unit)}{', struck' if row.outside else ''}")
    if row.reason:
        parts.append(row.reason)
    return f"{row.name}: {', '.join(parts)}"
