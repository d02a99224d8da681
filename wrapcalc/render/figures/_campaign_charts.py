"""Charts of a campaign: how many of what size, listing against field, sites over working days."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from wrapcalc.render.figures import _sheet as sheet
from wrapcalc.render.figures._line_map import LEFT, RIGHT, ring
from wrapcalc.render.figures._numbers import finite, positive, ticks
from wrapcalc.render.figures._plot import AXIS_FOOT, along_axis, named
from wrapcalc.render.figures._section import Scale
from wrapcalc.render.figures._sheet import Point, Sheet


def histogram(
    *, counts: Sequence[int], edges: Sequence[float], limit: float | None, limit_label: str, name: str, title: str,
) -> str:
    """Bars of how many fall between two edges, as one inline `<svg>`; a dashed upright line at the limit.

    The upright axis is logarithmic (1, 10, 100 ...), since thousands of small ones stand beside a few great ones.
    Raises ValueError for edges that do not rise, for counts below 0, and for nothing to draw.
    """
    if len(edges) != len(counts) + 1 or any(b <= a for a, b in pairwise(edges)):
        raise ValueError("edges have to rise, one more than counts")
    if any(c < 0 for c in counts) or not any(counts):
        raise ValueError("counts holds nothing to draw")
    top, high = 4.0, 40.0
    powers = max(1, math.ceil(math.log10(max(counts) + 1)))
    across = Scale(finite(edges[0], "edges"), finite(edges[-1], "edges"), LEFT + 4, RIGHT - 24)

    def up(count: float) -> float:
        # Half a power of ten below 1, so that a single one still shows.
        return top + high - (math.log10(max(count, 0.316)) + 0.5) / (powers + 0.5) * high
    page = Sheet(top + high + AXIS_FOOT + 1)
    for k in range(powers + 1):
        page.lines([[(across.start, up(10.0**k)), (across.end, up(10.0**k))]], colour=sheet.PALE)
        page.text(across.start - 1.4, up(10.0**k), f"{10**k:,}".replace(",", "\u202f"), size=sheet.SMALL,
                  across="right")
    for count, low, over in zip(counts, edges[:-1], edges[1:], strict=True):
        if count:
            page.box(across(low), up(count), across(over) - across(low), top + high - up(count), fill=sheet.TINT_DEEP,
                     edge=sheet.ACCENT, pen=0.5)
    if limit is not None and across.low < limit < across.high:
        page.lines([[(across(limit), top - 1), (across(limit), top + high)]], pen=1.1, dash=(6, 2))
        page.text(across(limit) + 1.2, top + 2, named(limit_label, "limit_label"), size=sheet.SMALL, ground=sheet.WHITE)
    page.lines([[(across.start, top), (across.start, top + high), (across.end, top + high)]], pen=0.7)
    page.text(2.5, top + high / 2, "how many", size=sheet.SMALL, upright=True)
    along_axis(page, across, top + high, named(name, "name"))
    rows = ", ".join(f"{c} from {a:g} to {b:g}" for c, a, b in zip(counts, edges[:-1], edges[1:], strict=True) if c)
    return page.svg(title, f"{name}: {rows}.")


def unity(
    *, pairs: Sequence[tuple[float, float]], tolerance: float, confidence: str, mean_error: float, unit: str,
    title: str,
) -> str:
    """Depths of the listing against depths of the field, with the line of equality and the sizing tolerance.

    pairs: (field, listing) in `unit`; tolerance: either way, in `unit`; mean_error: of listing less field.
    Raises ValueError for no pairs, NaN or a tolerance that is not above zero.
    """
    if not pairs:
        raise ValueError("pairs is empty: there is nothing to compare")
    width = positive(tolerance, "tolerance")
    most = max(max(finite(a, "field depth"), finite(b, "listing depth")) for a, b in pairs) + width
    side, top = 84.0, 4.0
    across, up = Scale(0.0, most, LEFT + 4, LEFT + 4 + side), Scale(0.0, most, top + side, top)
    page = Sheet(top + side + AXIS_FOOT + 1)

    def line(shift: float) -> list[Point]:
        a, b = max(0.0, -shift), min(most, most - shift)
        return [(across(a), up(a + shift)), (across(b), up(b + shift))]
    page.lines([line(0.0)], pen=1.0)
    page.lines([line(width), line(-width)], pen=0.8, dash=(5, 2.5))
    page.lines([line(finite(mean_error, "mean_error"))], colour=sheet.ACCENT, pen=1.2, dash=(1.2, 1.4))
    page.areas([ring(across(a), up(b), 0.9, 14) for a, b in pairs], fill=sheet.TINT_DEEP, edge=sheet.ACCENT, pen=0.7)
    page.lines([[(across.start, top), (across.start, top + side), (across.end, top + side)]], pen=0.7)
    for value, text in ticks(0.0, most, 7):
        page.text(across.start - 1.4, up(value), text, size=sheet.SMALL, across="right")
    page.text(3.0, top + side / 2, f"depth in the listing ({unit})", size=sheet.SMALL, upright=True)
    along_axis(page, across, top + side, f"depth measured in the field ({unit})")
    outside = sum(abs(b - a) > width for a, b in pairs)
    rows = ["solid: both agree", f"dashed: tolerance ±{width:.3g} {unit}", f"  ({confidence} of readings)",
            f"dotted: mean error {mean_error:+.2g} {unit}".replace("-", "\u2212"),
            f"{len(pairs)} pairs, {outside} outside"]
    page.text(across.end + 5, top + 14, rows, size=sheet.SMALL)
    return page.svg(title, f"{len(pairs)} pairs of depths, {outside} outside the tolerance of {width:.3g} {unit}; "
                           f"mean error {mean_error:.3g} {unit}.")


def season_bars(
    *, bars: Sequence[tuple[str, int, int, int | None, str]], days: Sequence[str], title: str,
) -> str:
    """Sites over working days: a bar from the first to the last day of each, and a mark at its deadline.

    bars: (site, first day, last day, deadline, crew), days counted from 0 along `days` (ISO dates, in order); a
    deadline may lie outside and is then not drawn; None has none. A bar that ends after its deadline is hatched.
    Raises ValueError for no bars or a day that is not among `days`.
    """
    if not bars:
        raise ValueError("bars is empty: there is nothing to draw")
    row, top, left, right = 5.2, 9.0, 36.0, 150.0
    across = Scale(0.0, float(len(days)), left, right)
    page = Sheet(top + row * len(bars) + 4)
    step = max(1, math.ceil(len(days) / 8))
    for k in range(0, len(days), step):
        page.lines([[(across(k), top - 1), (across(k), top + row * len(bars))]], colour=sheet.PALE)
        page.text(across(k), 4.0, days[k][5:], size=sheet.SMALL, across="left")
    for i, (site, start, end, due, crew) in enumerate(bars):
        if not 0 <= start <= end < len(days):
            raise ValueError(f"bars[{i}] runs from day {start} to {end}: days are 0 to {len(days) - 1}")
        y = top + i * row
        late = due is not None and end > due
        page.text(left - 1.6, y + row / 2, named(site, f"bars[{i}] site"), size=sheet.SMALL, across="right", bold=late)
        box = (across(start), y + 0.9, across(end + 1) - across(start), row - 1.8)
        page.box(*box, fill=sheet.WHITE if late else sheet.TINT_DEEP, edge=sheet.ACCENT, pen=0.7)
        if late:
            page.hatch(*box, colour=sheet.INK, gap=1.0)
        if due is not None and 0 <= due < len(days):
            x = across(due + 1)
            page.lines([[(x, y + 0.2), (x, y + row - 0.2)]], pen=1.6)
        told = f"crew {crew}" + (", late" if late else "")
        page.text(right + 1.6, y + row / 2, told, size=sheet.SMALL, bold=late)
    page.lines([[(left, top), (left, top + row * len(bars))]], pen=0.7)
    said = "; ".join(f"{s} {days[a]} to {days[b]}" for s, a, b, _, _ in bars)
    return page.svg(title, f"Sites over working days: {said}. A heavy stroke is the deadline; a hatched bar ends "
                           "after it.")
