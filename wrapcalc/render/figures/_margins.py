"""How much of each limit is used: one bar to a check, with its number and its verdict in words."""

from __future__ import annotations

from collections.abc import Sequence

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._numbers import finite, fixed, ticks
from wrapcalc.render.figures._sheet import Sheet, line_height, text_width, wrap

VERDICTS = ("met", "not met", "outside scope", "no data")
LABELS = 54.0  # right edge of the labels, mm
START, END = (57.0, 134.0)  # the bars' axis, mm; the room to the right takes numbers and verdicts
CUT = 2.0  # a bar longer than this is cut
BAR = 4.2
HEAD, FOOT = 7.0, 11.0


def margins(rows: Sequence[tuple[str, float | None, str]], *, title: str) -> str:
    """Bars of utilisation (demand over limit, no unit) against the limit of 1.00, as one inline `<svg>`.

    rows: (label, utilisation or None, verdict), drawn from the top; the verdict is one of met, not met,
    outside scope, no data. A bar above 1 is hatched, one above 2 is cut and marked as cut; outside scope the
    bar is an empty outline and its number is struck through; without a utilisation only the verdict is
    printed. The drawing does not judge: verdict and utilisation are taken as given.

    Raises ValueError, naming the row, for no rows, an empty label, an unknown verdict, NaN or infinity.
    """
    if not rows:
        raise ValueError("margins has no rows: there is nothing to draw")
    checked: list[tuple[str, float | None, str]] = []
    for index, (label, value, verdict) in enumerate(rows):
        if not sheet.clean(label):
            raise ValueError(f"margins row {index} has an empty label")
        if verdict not in VERDICTS:
            raise ValueError(
                f"margins row {index} ({label}): verdict {verdict!r} is none of {', '.join(VERDICTS)}"
            )
        used = None if value is None else finite(value, f"margins row {index} ({label}): utilisation")
        checked.append((sheet.clean(label), used, verdict))

    longest = max((value for _, value, _ in checked if value is not None), default=0.0)
    top_value = 1.25 if longest <= 1.25 else CUT
    texts = [wrap(label, LABELS - 1, sheet.BODY) for label, _, _ in checked]
    heights = [max(7.0, line_height(sheet.BODY) * len(lines) + 2.4) for lines in texts]
    bottom = HEAD + sum(heights)
    page = Sheet(bottom + FOOT)

    def across(value: float) -> float:
        return START + (END - START) * value / top_value

    for value, text in ticks(0.0, top_value, 5 if top_value < CUT else 4):
        page.lines([[(across(value), HEAD), (across(value), bottom)]], colour=sheet.PALE, pen=0.5)
        page.lines([[(across(value), bottom), (across(value), bottom + 1)]])
        page.text(across(value), bottom + 3.1, text, size=sheet.SMALL, across="center")
    limit = [[(across(1.0), HEAD - 1), (across(1.0), bottom)]]
    page.text(across(1.0), HEAD - 3.2, "limit 1.00", bold=True, across="center")
    page.text((START + END) / 2, bottom + 7.6, "utilisation, demand / limit (no unit)", across="center")

    y = HEAD
    ends: list[tuple[float, float, str | None, str]] = []
    for (_, value, verdict), lines, height in zip(checked, texts, heights, strict=True):
        middle = y + height / 2
        page.text(LABELS, middle, lines, across="right")
        end = START
        if value is not None:
            end = max(START, across(min(value, top_value)))
            _bar(page, end, middle, value, verdict, cut=value > CUT)
        ends.append((end, middle, None if value is None else number(value), verdict))
        y += height
    page.lines(limit, colour=sheet.INK, pen=1.2)
    for end, middle, shown, verdict in ends:
        _verdict(page, end + 2.0, middle, shown, verdict)
    page.lines([[(START, HEAD), (START, bottom), (END, bottom)]], pen=0.7)

    said = [
        f"{label}: {'' if value is None else number(value) + ', '}{verdict}"
        for label, value, verdict in checked
    ]
    return page.svg(title, f"Utilisation against the limit of 1.00. {'; '.join(said)}.")


def number(value: float) -> str:
    """A utilisation with two decimals, or with as many (up to six) as show on which side of 1 it lies.

    From 100 up no decimals are printed; from 100 000 up a power of ten.
    """
    if abs(value) >= 1e5:
        return f"{value:.1e}"
    if abs(value) >= 100:
        return fixed(value, 0)
    for decimals in range(2, 7):
        if float(f"{value:.{decimals}f}") != 1.0 or value == 1.0:
            return fixed(value, decimals)
    return fixed(value, 2)


def _bar(page: Sheet, end: float, middle: float, value: float, verdict: str, *, cut: bool) -> None:
    top = middle - BAR / 2
    if verdict in ("outside scope", "no data"):
        page.box(START, top, end - START, BAR, fill=sheet.WHITE, edge=sheet.GREY, pen=0.8, dash=(2, 1.5))
    elif float(number(value).replace("\u2212", "-")) > 1:
        page.box(START, top, end - START, BAR, fill=sheet.WHITE)
        page.hatch(START, top, end - START, BAR, colour=sheet.INK, gap=1.0, pen=0.8)
        page.box(START, top, end - START, BAR, edge=sheet.INK, pen=1.0)
    else:
        page.box(START, top, end - START, BAR, fill=sheet.ACCENT, edge=sheet.ACCENT, pen=1.0)
    if cut:
        # Two slanted strokes with the paper showing between them: the bar goes on.
        at = end - 6.0
        low, high = middle + BAR / 2 + 0.8, middle - BAR / 2 - 0.8
        page.areas([[(at - 0.8, low), (at + 0.8, high), (at + 2.4, high), (at + 0.8, low)]], fill=sheet.WHITE)
        strokes = [[(at - 0.8, low), (at + 0.8, high)], [(at + 0.8, low), (at + 2.4, high)]]
        page.lines(strokes, pen=0.9)


def _verdict(page: Sheet, x: float, middle: float, value: str | None, verdict: str) -> None:
    bold = verdict == "not met"
    number_wide = 0.0 if value is None else text_width(value, sheet.BODY, bold) + 2.0
    wide = number_wide + text_width(verdict, sheet.BODY, bold)
    # One box behind both, or the limit line would show between them like a bracket.
    page.box(x - 1, middle - BAR / 2, wide + 2, BAR, fill=sheet.WHITE)
    if value is not None:
        page.text(x, middle, value, bold=bold)
        if verdict == "outside scope":
            page.lines([[(x - 0.4, middle), (x + number_wide - 1.6, middle)]], pen=0.9)
    page.text(x + number_wide, middle, verdict, bold=bold)
