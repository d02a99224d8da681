"""Share of the wrap that is used over the layers: one column to a number of layers, against the limit of 1."""

from __future__ import annotations

from collections.abc import Sequence

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._numbers import finite, ticks
from wrapcalc.render.figures._plot import draw_notes, notes_rows, quantity
from wrapcalc.render.figures._section import Scale
from wrapcalc.render.figures._sheet import Sheet, line_height, text_width

LEFT, RIGHT = (20.0, 140.0)
HEAD, HIGH = 6.0, 52.0
WIDEST = 14.0  # of a column, mm
FOOT = 15.0  # numbers of layers, a word below the one designed, and the name of the axis


def use_over_layers(*, points: Sequence[tuple[int, float, bool]], title: str) -> str:
    """Columns of the use of the wrap (demand over what holds, no unit) by layers, as one inline `<svg>`.

    points: (layers, use, whether these are the layers designed), layers rising. The column of the layers designed is
    filled and named; a column above 1 is hatched. The line at 1 is the limit.

    Raises ValueError, naming the argument, for no points, NaN or infinity, a use below zero, layers that do not rise
    or are not whole numbers above zero, and more than one design.
    """
    if not points:
        raise ValueError("points is empty: there is nothing to draw")
    found: list[tuple[int, float, bool]] = []
    for i, (layers, use, designed) in enumerate(points):
        count = finite(layers, f"points[{i}] layers")
        if count < 1 or count != int(count):
            raise ValueError(f"points[{i}] layers is {count:g}: it has to be a whole number above zero")
        if found and count <= found[-1][0]:
            raise ValueError(f"points[{i}] layers is {count:g} after {found[-1][0]}: layers have to rise")
        share = finite(use, f"points[{i}] use")
        if share < 0:
            raise ValueError(f"points[{i}] use is {share:g}: a use is not below zero")
        found.append((int(count), share, bool(designed)))
    if sum(designed for *_, designed in found) > 1:
        raise ValueError("points has more than one design")

    down = Scale(0.0, 1.12 * max(1.0, *(use for _, use, _ in found)), HEAD + HIGH, HEAD)
    bottom, step = HEAD + HIGH, (RIGHT - LEFT) / len(found)
    wide = min(WIDEST, 0.6 * step)
    note = "Filled: the layers designed. Fewer layers are not offered." if any(d for *_, d in found) else ""
    notes = notes_rows([note] if note else [], RIGHT - LEFT)
    page = Sheet(bottom + FOOT + len(notes) * line_height(sheet.SMALL) + 1.0)

    marks = ticks(0.0, down.low + (down.high - down.low), 6)
    page.lines([[(LEFT, down(v)), (RIGHT, down(v))] for v, _ in marks if v > 0], colour=sheet.PALE, pen=0.5)
    tops = []
    for k, (_, use, designed) in enumerate(found):
        x = LEFT + (k + 0.5) * step - wide / 2
        top = down(use)
        tops.append(top)
        _column(page, x, top, wide, bottom - top, over=use > 1, designed=designed)
    page.lines([[(LEFT, down(1.0)), (RIGHT, down(1.0))]], colour=sheet.WHITE, pen=2.6)
    page.lines([[(LEFT, down(1.0)), (RIGHT, down(1.0))]], pen=1.2, dash=(6, 2))
    page.text(RIGHT + 2.0, down(1.0), ["limit 1", "all of it used"], size=sheet.SMALL)
    crowded = any(text_width(quantity(use, ""), sheet.SMALL, True) + 1.0 > step for _, use, _ in found)
    for k, ((layers, use, designed), top) in enumerate(zip(found, tops, strict=True)):
        x = LEFT + (k + 0.5) * step
        if not crowded:
            _share(page, x, top, bottom, wide, quantity(use, ""), filled=designed and use <= 1)
        page.text(x, bottom + 3.3, str(layers), across="center", bold=designed)
        if designed:
            page.text(x, bottom + 6.9, "designed", size=sheet.SMALL, across="center", bold=True)
    page.lines([[(LEFT, HEAD), (LEFT, bottom), (RIGHT, bottom)]], pen=0.7)
    for value, text in marks:
        page.lines([[(LEFT - 1, down(value)), (LEFT, down(value))]])
        page.text(LEFT - 1.6, down(value), text, size=sheet.SMALL, across="right")
    page.text(4.0, HEAD + HIGH / 2, "use of the wrap (share, no unit)", size=sheet.SMALL, upright=True)
    page.text((LEFT + RIGHT) / 2, bottom + 11.4, "layers (number)", across="center")
    draw_notes(page, LEFT, bottom + FOOT, notes)

    said = [f"{n} layers: {quantity(use, '')}{', designed' if designed else ''}" for n, use, designed in found]
    return page.svg(title, f"Use of the wrap by layers; the limit is 1. {'; '.join(said)}.")


def _column(page: Sheet, x: float, top: float, wide: float, high: float, *, over: bool, designed: bool) -> None:
    if designed and not over:
        page.box(x, top, wide, high, fill=sheet.ACCENT, edge=sheet.ACCENT, pen=1.0)
        return
    page.box(x, top, wide, high, fill=sheet.WHITE)
    if over:
        page.hatch(x, top, wide, high, colour=sheet.INK, gap=1.0, pen=0.8)
    page.box(x, top, wide, high, edge=sheet.ACCENT if designed else sheet.INK, pen=1.0)


def _share(page: Sheet, x: float, top: float, bottom: float, wide: float, text: str, *, filled: bool) -> None:
    """The number inside its column at the top, or above a column that is too low or too narrow for it."""
    high = line_height(sheet.SMALL) + 1.2
    if bottom - top < high + 0.6 or wide < text_width(text, sheet.SMALL, filled) + 1.6:
        page.text(x, top - high / 2, text, size=sheet.SMALL, across="center", bold=filled, ground=sheet.WHITE)
        return
    colour, ground = (sheet.WHITE, None) if filled else (sheet.INK, sheet.WHITE)
    page.text(x, top + high / 2 + 0.4, text, size=sheet.SMALL, across="center", colour=colour, bold=filled,
              ground=ground)  # fmt: skip
