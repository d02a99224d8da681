"""Figures of a campaign: what cannot be drawn is refused, what is drawn is told."""

import math
import xml.etree.ElementTree as ET

import pytest

from wrapcalc.render.figures._campaign_charts import histogram, season_bars, unity
from wrapcalc.render.figures._line_map import MARKS, line_map

DAYS = ["2026-06-01", "2026-06-02", "2026-06-03"]


def said(svg: str) -> str:
    root = ET.fromstring(svg)
    return root.findtext("{http://www.w3.org/2000/svg}desc") or ""


def test_a_map_counts_its_marks_and_is_the_same_twice():
    args = {"points": {MARKS[0]: [(10, 3.5), (20, 12.0)], MARKS[3]: [(15, 6)]}, "welds": 4, "start": 0, "end": 30,
            "unit": "m", "title": "map"}
    one = line_map(**args)
    assert one == line_map(**args)
    assert said(one) == ("Anomalies from 0 to 30 m by distance and clock: 2 left as it is, 0 under repair, "
                         "0 repair asked, not chosen, 1 chosen; 4 girth welds.")


@pytest.mark.parametrize(("change", "word"), [
    ({"end": 0}, "beyond the start"), ({"points": {"dug": [(1, 1)]}}, "has to be one of"),
    ({"points": {MARKS[0]: [(1, 13)]}}, "between 0 and 12"), ({"points": {MARKS[0]: [(math.nan, 1)]}}, "finite")])
def test_a_map_refuses_what_it_cannot_draw(change, word):
    with pytest.raises(ValueError, match=word):
        line_map(**{"points": {}, "start": 0, "end": 30, "unit": "m", "title": "map"} | change)


def test_a_histogram_tells_its_bars():
    svg = histogram(counts=[5, 0, 1], edges=[0, 10, 20, 30], limit=25, limit_label="limit", name="depth", title="h")
    assert said(svg) == "depth: 5 from 0 to 10, 1 from 20 to 30."


@pytest.mark.parametrize("change", [{"edges": [0, 10, 10, 30]}, {"edges": [0, 10]}, {"counts": [0, 0, 0]},
                                    {"counts": [1, -1, 0]}])
def test_a_histogram_refuses_edges_and_counts_that_are_none(change):
    with pytest.raises(ValueError):
        histogram(**{"counts": [5, 0, 1], "edges": [0, 10, 20, 30], "limit": None, "limit_label": "", "name": "d",
                     "title": "h"} | change)


def test_unity_counts_what_is_outside_the_tolerance():
    svg = unity(pairs=[(2, 2.5), (2, 3.5)], tolerance=1, confidence="80 %", mean_error=1.0, unit="mm", title="u")
    assert said(svg) == "2 pairs of depths, 1 outside the tolerance of 1 mm; mean error 1 mm."
    with pytest.raises(ValueError, match="nothing to compare"):
        unity(pairs=[], tolerance=1, confidence="80 %", mean_error=0.0, unit="mm", title="u")
    with pytest.raises(ValueError, match="above zero"):
        unity(pairs=[(1, 1)], tolerance=0, confidence="80 %", mean_error=0.0, unit="mm", title="u")


def test_season_bars_name_sites_and_refuse_days_that_are_not_there():
    svg = season_bars(bars=[("A", 0, 1, 0, "1"), ("B", 1, 2, None, "2")], days=DAYS, title="s")
    assert "A 2026-06-01 to 2026-06-02; B 2026-06-02 to 2026-06-03" in said(svg)
    with pytest.raises(ValueError, match="days are 0 to 2"):
        season_bars(bars=[("A", 0, 3, None, "1")], days=DAYS, title="s")
    with pytest.raises(ValueError, match="nothing to draw"):
        season_bars(bars=[], days=DAYS, title="s")
