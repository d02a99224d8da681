"""Figures of an assessment: the same bytes each time, nothing cut off or overlapping, nothing invented."""

import json
import math
import random
import re
import subprocess
import sys
from itertools import combinations, pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given as fed
from hypothesis import settings
from hypothesis import strategies as st

from tests.render import test_figures as others
from tests.render.test_figures import assert_legible, described
from wrapcalc.render import figures
from wrapcalc.render.figures import _plot, _sheet

SVG = "{http://www.w3.org/2000/svg}"
NAN, INF = float("nan"), float("inf")
LONG_NAME = "limit of the assessment method for blunt flaws, growth up to the end of the design life"

written = others.written  # the fixture that collects every text a figure places


def wall(count: int = 61, length: float = 600.0, peak: float = 6.3, **changes: object) -> dict:
    noise = random.Random(1)
    share = [i / (count - 1) for i in range(count)]
    deep = [
        peak * (0.5 * math.exp(-(((s - 0.3) / 0.1) ** 2)) + math.exp(-(((s - 0.6) / 0.12) ** 2))) for s in share
    ]
    return {
        "stations": [length * s for s in share],
        "depth": [d + 0.05 * peak * noise.random() for d in deep],
        "wall": 9.53,
        "governing": (0.4 * length, 0.8 * length),
        "effective_depth": 0.6 * peak,
        "limit_depth": 7.62,
        "limit_label": "80 % of wall",
        "length_unit": "mm",
        "depth_unit": "mm",
        "title": "Profile",
    } | changes


def pipe(
    count: int = 40, groups: int = 6, length: float = 2000.0, around: float = 1276.7, size: float = 1.0,
    governs: int = 0, **changes: object
) -> dict:
    noise = random.Random(2)
    boxes, found = [], []
    for c in range(groups):
        x, y = noise.uniform(0, length * 0.9), noise.uniform(0, around)
        own = []
        for _ in range(max(1, count // groups)):
            x0, y0 = x + noise.uniform(0, length * 0.12 * size), y + noise.uniform(0, around * 0.12 * size)
            x1 = x0 + size * noise.uniform(length * 0.004, length * 0.03)
            y1 = y0 + size * noise.uniform(around * 0.01, around * 0.05)
            own.append((x0, x1, y0, y1, round(noise.uniform(0.5, 6.0), 1)))
        boxes += own
        low, high = [min(b[k] for b in own) for k in (0, 2)], [max(b[k] for b in own) for k in (1, 3)]
        found.append((low[0], high[0], low[1], high[1], f"C{c + 1}", c == governs))
    return {
        "boxes": boxes,
        "clusters": found,
        "circumference": around,
        "clock_from": 0.0,
        "seam_clock": 1.5,
        "length_unit": "mm",
        "depth_unit": "mm",
        "title": "Cluster map",
    } | changes


def allowed(
    count: int = 4, length: float = 1000.0, scale: float = 1.0, name: str = "method", **changes: object
) -> dict:
    curves = []
    for j in range(count):
        first, last = (0 if j % 3 else 5), (120 if j == 1 else 200)
        points = [
            (length * i / 200, scale * (1.9 + 0.15 * j + 7 * math.exp(-i / (12.0 + 8 * j))))
            for i in range(first, last + 1)
        ]
        curves.append((f"{name} {j + 1}", points, j == 0))
    return {
        "curves": curves,
        "point": (0.12 * length, 5.2 * scale),
        "ellipse": (0.015 * length, 0.9 * scale, "tolerance of the measurement, 80 % confidence"),
        "depth_limit": 7.62 * scale,
        "depth_limit_label": "80 % of wall",
        "length_unit": "mm",
        "depth_unit": "mm",
        "pressure_words": "at MAOP 8.6 MPa",
        "title": "Assessment curve",
    } | changes


def bars(**changes: object) -> dict:
    return {
        "rows": [
            ("first method", 11.43, 8.23, "governs", "the lowest of those within their scope"),
            ("effective area", 12.9, 9.29, "stands beside", ""),
            ("annex", 12.1, None, "cross-check", "no safety factor of its own"),
            ("curve fit for blunt flaws in tough steel", 13.2, 9.51, "outside scope", "toughness is not known"),
            ("search", None, None, "stands beside", "no root found"),
        ],
        "lines": [("MAOP", 8.6), ("interim limit", 8.23), ("installation pressure", 6.1)],
        "pressure_unit": "MPa",
        "title": "Methods",
    } | changes


def growth(count: int = 41, span: float = 20.0, **changes: object) -> dict:
    years = [span * i / (count - 1) for i in range(count)]
    deep = [4 + 5 * y / span for y in years]
    return {
        "years": years,
        "depth": deep,
        "depth_high": [d + 0.9 for d in deep],
        "limit_depth": 7.62,
        "failure_pressure": [12 - 6 * y / span if y < 0.85 * span else None for y in years],
        "pressure_limits": [("MAOP", 8.6), ("MAOP with the safety factor", 10.75)],
        "events": [
            (0.62 * span, "remaining life"),
            (0.31 * span, "half of the remaining life"),
            (0.25 * span, "code interval"),
            (span, "end of design life"),
            (2 * span, "a later inspection"),
        ],
        "probability": (
            years,
            [0.0 if y == 0 else 10 ** (-9 + 8 * y / span) for y in years],
            [10 ** (-12 + 10 * y / span) for y in years],
        ),
        "length_unit": "mm",
        "pressure_unit": "MPa",
        "start_label": "the measurement of May 2024",
        "title": "Life",
    } | changes


CASES = {
    ("profile", "usual"): wall(),
    ("profile", "many stations"): wall(20_000, 12_000.0),
    ("profile", "inner, governing part very short"): wall(11, 23.0, side="inner", governing=(11.5, 11.7)),
    ("profile", "inches, long name"): wall(
        200, 24.0, 0.2, wall=0.375, limit_depth=0.3, limit_label=LONG_NAME, governing=(0, 24.0),
        effective_depth=0.09, length_unit="in", depth_unit="in",
    ),
    ("profile", "all at one depth, no limit"): wall(2, 1.0, depth=[9.53, 9.53], effective_depth=9.53, limit_depth=None),
    ("profile", "tiny"): wall(9, 2e-3, 1e-4, wall=1.5e-4, effective_depth=6e-5, limit_depth=None),
    ("profile", "huge"): wall(9, 4e7, 5e5, wall=9e5, effective_depth=3e5, limit_depth=8e5),
    ("cluster_map", "usual"): pipe(),
    ("cluster_map", "edge and seam off the hours"): pipe(12, 3, 300.0, clock_from=4.25, seam_clock=4.25),
    ("cluster_map", "300 clusters"): pipe(5000, 300, 12_000.0, size=0.1),
    ("cluster_map", "one box over the edge"): pipe(
        boxes=[(10, 22, 1270, 1290, 3.2)], clusters=[(10, 22, 1270, 1290, LONG_NAME * 2, True)]
    ),
    ("cluster_map", "no cluster governs, inches"): pipe(
        60, 9, 40.0, 94.2, governs=99, length_unit="in", depth_unit="in", clock_from=9.0, seam_clock=None
    ),
    ("cluster_map", "no loss, no clusters, long pipe"): pipe(
        boxes=[(0, 2e6, 0, 1276.7, 0.0), (5e5, 5.1e5, -20.0, 30.0, 0.0)], clusters=[], seam_clock=12
    ),
    ("assessment_curve", "usual"): allowed(),
    ("assessment_curve", "nine, long names, point outside"): allowed(9, name=LONG_NAME[:50], point=(2500, 8.5)),
    ("assessment_curve", "one, inches"): allowed(
        1, 40.0, 0.04, point=(1.5, 0.02), ellipse=None, length_unit="in", depth_unit="in"
    ),
    ("assessment_curve", "share of wall, ellipse over the corner"): allowed(
        3, 1000.0, 10.0, point=(15, 2), ellipse=(30, 10, "one standard deviation"), depth_unit="% of wall"
    ),
    ("assessment_curve", "none governs, point far above"): allowed(
        2, point=(500, 40.0), curves=[("a", [(0, 5.0), (900, 2.0)], False), ("b", [(100, 3.0), (200, 3.0)], False)]
    ),
    ("assessment_curve", "a curve above the drawing"): allowed(
        curves=[("low", [(0, 1.0), (900, 0.5)], True), ("high", [(0, 90.0), (900, 12.0)], False)]
    ),
    ("assessment_curve", "tiny"): allowed(2, 1e-3, 1e-5),
    ("assessment_curve", "huge"): allowed(2, 1e8, 1e6),
    ("methods", "usual"): bars(),
    ("methods", "one, psi, two lines at one place"): bars(
        rows=[("one", 1247.0, 898.6, "governs", "")],
        lines=[("MAOP", 1250.0), ("MAOP before", 1250.0)],
        pressure_unit="psi",
    ),
    ("methods", "nine, long"): bars(
        rows=[
            (f"{LONG_NAME} {i}", 10.0 + i, 7.0 + i, "stands beside" if i else "governs", LONG_NAME) for i in range(9)
        ],
        lines=[(f"{LONG_NAME} {k}", 8 + 0.1 * k) for k in range(6)],
    ),
    ("methods", "nothing known"): bars(rows=[("a", None, None, "outside scope", "")], lines=[]),
    ("methods", "zero, tiny"): bars(rows=[("a", 0.0, 1e-6, "governs", "")], lines=[("MAOP", 0.0)]),
    ("methods", "huge"): bars(
        rows=[("a", 1.2345e12, 1e11, "outside scope", "x " * 200), ("b", 123456.7, 1.0, "governs", "")]
    ),
    ("life", "usual"): growth(),
    ("life", "coincident events"): growth(
        probability=None,
        depth_high=None,
        events=[
            (10, "remaining life"), (10, "half of the remaining life"), (10, "code interval"), (10.05, LONG_NAME),
            (20, "last"), (20, "last again"), (0, "first"), (0, LONG_NAME), (-3, "before"),
        ],
    ),
    ("life", "US units, no events"): growth(
        probability=None, events=[], limit_depth=0.3, depth=[0.15] * 41, depth_high=[0.2] * 41, length_unit="in",
        failure_pressure=[1700.0 - 15 * i for i in range(41)], pressure_unit="psi",
        pressure_limits=[("MAOP", 1250.0), (LONG_NAME, 1240.0), (LONG_NAME, 1240.0), ("hydrotest", 1300.0)],
    ),
    ("life", "no failure pressure, no chance"): growth(
        failure_pressure=[None] * 41, pressure_limits=[], probability=([0, 20], [0, 0], [0, 0])
    ),
    ("life", "lone values, far chances"): growth(
        failure_pressure=[5.0 if i == 7 else None for i in range(41)],
        probability=([0, 10, 50], [1e-300, 1e-200, 1.0], [0, 1e-3, 0]),
    ),
    ("life", "tiny and huge"): growth(
        2, 1e-3, limit_depth=1e-6, depth=[0, 1e-6], failure_pressure=[2e9, 1e9], depth_high=None, probability=None
    ),
}
USUAL = {name: case for (name, what), case in CASES.items() if what == "usual"}
NAMES = list(USUAL)


def drawn(name: str, case: dict) -> str:
    """The figure as the caller has it drawn: its arguments went through JSON."""
    return getattr(figures, name)(**json.loads(json.dumps(case)))


@pytest.mark.parametrize("name", CASES, ids=": ".join)
def test_no_text_overlaps_or_is_cut_off(name: tuple[str, str], written: list) -> None:
    svg = drawn(name[0], CASES[name])
    assert_legible(written)
    root = ElementTree.fromstring(svg)
    height = float((root.get("height") or "").removesuffix("mm"))
    assert root.get("width") == "170mm" and 20 < height < 230
    # 5000 boxes of four corners each are the most that any of them holds.
    assert len(svg) < (600_000 if name[1] == "300 clusters" else 300_000)
    assert "nan" not in re.sub(r"<(title|desc).*?>.*?</\1>", "", svg) and "inf" not in described(svg)


@pytest.mark.parametrize("name", CASES, ids=": ".join)
def test_no_number_of_a_drawing_leaves_it(name: tuple[str, str]) -> None:
    svg = drawn(name[0], CASES[name])
    root = ElementTree.fromstring(svg)
    wide, high = (float(part) for part in (root.get("viewBox") or "").split()[2:])
    found = 0
    for path in root.iter(f"{SVG}path"):
        if path.get("id"):
            continue  # the outline of a letter, in its own units
        numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*(?:e-?\d+)?", path.get("d") or "")]
        for x, y in zip(numbers[::2], numbers[1::2], strict=True):
            assert -0.01 <= x <= wide + 0.01 and -0.01 <= y <= high + 0.01, (x, y, wide, high)
            found += 1
    assert found > 8


@pytest.mark.parametrize("name", NAMES)
def test_same_bytes_again(name: str) -> None:
    assert drawn(name, USUAL[name]) == drawn(name, USUAL[name])


def test_same_bytes_in_another_process() -> None:
    code = (
        "import json, sys; from wrapcalc.render import figures; name, case = json.load(sys.stdin); "
        "print(getattr(figures, name)(**case), end='')"
    )
    given = json.dumps(["assessment_curve", USUAL["assessment_curve"]])
    run = subprocess.run([sys.executable, "-c", code], input=given, capture_output=True, check=True, encoding="utf-8")
    assert run.stdout == drawn("assessment_curve", USUAL["assessment_curve"])


def test_figures_share_a_page_without_colliding() -> None:
    seen: set[str] = set()
    for name in NAMES:
        svg = drawn(name, USUAL[name])
        ids = re.findall(r'\bid="([^"]+)"', svg)
        assert len(ids) == len(set(ids)) and not seen & set(ids)
        seen |= set(ids)
        assert set(re.findall(r'(?:href="#|url\(#)([^")]+)', svg)) <= set(ids) and "<style" not in svg


@pytest.mark.parametrize("name", NAMES)
def test_named_described_and_self_contained(name: str) -> None:
    svg = drawn(name, USUAL[name] | {"title": "<b>&\"'</title><script>"})
    root = ElementTree.fromstring(svg)
    assert svg.startswith("<svg ") and root.get("role") == "img" and "<script" not in svg
    assert root.findtext(f"{SVG}title") == "<b>&\"'</title><script>"
    assert len(described(svg)) > 60
    outside = svg.replace("http://www.w3.org/2000/svg", "").replace("http://www.w3.org/1999/xlink", "")
    assert "http" not in outside and "<image" not in svg


@pytest.mark.parametrize("name", NAMES)
def test_one_accent_and_greys_only(name: str) -> None:
    """Every colour is a grey or belongs to the one accent, whose shades differ in brightness."""
    for colour in set(re.findall(r"#[0-9a-f]{6}\b", drawn(name, USUAL[name]).lower())):
        red, green, blue = (int(colour[k : k + 2], 16) for k in (1, 3, 5))
        grey = max(red, green, blue) - min(red, green, blue) <= 2
        assert grey or (red < green <= blue + 1), colour


EXPECTED = {
    "profile": [
        "governing length 240 mm", "whole length 600 mm", "mean depth 3.78 mm", "outer surface",
        "80 % of wall: 7.62 mm",
        "depth from the outer surface (mm)", "axial distance, downstream \u2192 (mm)", "sound wall 9.53 mm",
    ],
    "cluster_map": [
        "governs: C1", "C2", "C6", "long seam 1:30", "depth (mm)", "clock, facing downstream (hours)",
        "axial distance, downstream \u2192 (mm)", "1 of 6 across the edge of the sheet: drawn in two pieces",
    ],
    "assessment_curve": [
        "method 1 (governs)", "method 4", "this anomaly", "not allowed", "allowed", "80 % of wall: 7.62 mm",
        "depth (mm)", "length along the pipe (mm)", "Curves: allowable depth at MAOP 8.6 MPa.",
        "80 % confidence, \u00b1 15 mm in length",
    ],
    "methods": [
        "MAOP: 8.6 MPa", "interim limit: 8.23 MPa", "first method", "governs: the lowest", "safe 8.23 MPa",
        "failure 12.1 MPa", "outside scope: toughness is not known", "no pressure by this method", "pressure (MPa)",
        "cross-check: no safety factor of its own", "Solid bar: safe pressure. Open bar: failure pressure.",
    ],
    "life": [
        "expected depth", "depth with tolerance", "depth limit 7.62 mm", "failure pressure", "MAOP: 8.6 MPa",
        "remaining life, 12.4 years", "code interval, 5 years", "time from the measurement of May 2024 (years)",
        "depth (mm)", "failure pressure (MPa)", "probability (no unit)",
        "Probabilities below 10\u207b\u00b9\u00b9 are not",
        "Beyond the drawing: a later inspection, 40 years.", "there is no value where its line is missing",
        "The axis of the failure pressure does not begin at zero.",
    ],
}  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_key_words_and_units_are_drawn(name: str, written: list) -> None:
    drawn(name, USUAL[name])
    texts = [entry[0] for entry in written]
    for part in EXPECTED[name]:
        assert any(part in text for text in texts), (part, texts)


SAID = {
    "profile": [
        "61 stations from 0 mm to 600 mm", "from 240 mm to 480 mm, with a mean depth of 3.78 mm",
        "sound wall 9.53 mm",
    ],
    "cluster_map": ["circumference 1276.7 mm", "36 boxes", "6 clusters, 1 across the edge", "governs: C1"],
    # The curve at station 24 of 200, worked out here again.
    "assessment_curve": [
        "this anomaly: length 120 mm, depth 5.2 mm",
        f"method 1 (governs): allowable depth {1.9 + 7 * math.exp(-24 / 12):.3f} mm",
    ],
    "methods": [
        "first method: governs, safe pressure 8.23 MPa, failure pressure 11.43 MPa",
        "failure pressure 13.2 MPa, struck",
        "interim limit: 8.23 MPa",
    ],
    "life": ["expected depth 4 mm to 9 mm", "failure pressure 12 MPa to no value", "remaining life, 12.4 years"],
}  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_key_numbers_are_said(name: str) -> None:
    said = described(drawn(name, USUAL[name]))
    for part in SAID[name]:
        assert part in said, (part, said)


def test_a_length_beyond_a_curve_gets_no_value_from_it() -> None:
    said = described(drawn("assessment_curve", allowed(point=(900.0, 3.0))))
    assert "method 2: no value at this length, the curve goes from 0 mm to 600 mm" in said


def test_an_outside_scope_row_has_no_bar(monkeypatch: pytest.MonkeyPatch) -> None:
    boxes: list[float] = []
    real = _sheet.Sheet.box

    def box(self: _sheet.Sheet, x: float, y: float, width: float, height: float, **look: object) -> None:
        if x == 62.0 and look.get("fill"):
            boxes.append(width)
        real(self, x, y, width, height, **look)

    monkeypatch.setattr(_sheet.Sheet, "box", box)
    drawn("methods", bars(lines=[]))
    scale = 78.0 / (1.05 * 12.9)  # the longest bar within scope sets the axis
    assert boxes == pytest.approx([scale * p for p in (11.43, 8.23, 12.9, 9.29, 12.1)])


def test_what_crosses_the_edge_is_drawn_in_two_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    heavy: list[list] = []
    real = _sheet.Sheet.lines

    def lines(self: _sheet.Sheet, pieces: list, **look: object) -> None:
        if look.get("pen") == 2.2:
            heavy.extend(pieces)
        real(self, pieces, **look)

    monkeypatch.setattr(_sheet.Sheet, "lines", lines)
    case = pipe(boxes=[(0, 50, 1250, 1300, 2.0)], clusters=[(0, 50, 1250, 1300, "C", True)])
    drawn("cluster_map", case)
    assert len(heavy) == 2
    highs = [max(y for _, y in piece) - min(y for _, y in piece) for piece in heavy]
    assert sum(highs) == pytest.approx(112.0 * 50 / 1276.7)
    heavy.clear()
    drawn("cluster_map", case | {"clusters": [(0, 50, 600, 650, "C", True)]})
    assert len(heavy) == 1 and heavy[0][0] == heavy[0][-1]
    # Once round the pipe further on is the same place.
    heavy_before = list(heavy)
    heavy.clear()
    drawn("cluster_map", case | {"clusters": [(0, 50, 600 - 1276.7, 650 - 1276.7, "C", True)]})
    for one, other in zip(heavy[0], heavy_before[0], strict=True):
        assert one == pytest.approx(other)


def test_the_equivalent_rectangle_has_the_stated_size(monkeypatch: pytest.MonkeyPatch) -> None:
    dashed: list[list] = []
    real = _sheet.Sheet.lines

    def lines(self: _sheet.Sheet, pieces: list, **look: object) -> None:
        if look.get("dash") == (4, 1.8):
            dashed.extend(pieces)
        real(self, pieces, **look)

    monkeypatch.setattr(_sheet.Sheet, "lines", lines)
    drawn("profile", wall())
    (left, top), (_, bottom), (right, _), _ = dashed[0]
    assert right - left == pytest.approx(120.0 * 240 / 600)
    assert bottom - top == pytest.approx(56.0 * 3.78 / (9.53 * 1.04))


@fed(st.lists(st.floats(-1.0, 10.0), min_size=3, max_size=400), st.floats(0.01, 40.0))
@settings(derandomize=True, max_examples=60, deadline=None)
def test_thinning_keeps_ends_and_extremes(depths: list[float], width: float) -> None:
    points = [(width * i, y) for i, y in enumerate(depths)]
    kept = _plot.thin(points, lambda x: 0.01 * x)
    assert kept[0] == points[0] and kept[-1] == points[-1]
    assert max(y for _, y in kept) == max(depths) and min(y for _, y in kept) == min(depths)
    assert [p for p in points if p in set(kept)] == kept
    assert len(kept) <= 4 * (0.01 * points[-1][0] / 0.3 + 1)


@fed(
    # rounded: a step below the smallest normal number has no middle
    st.lists(st.tuples(*[st.floats(-50, 150).map(lambda v: round(v, 6))] * 2), min_size=2, max_size=12),
)
@settings(derandomize=True, max_examples=80, deadline=None)
def test_a_line_is_cut_where_it_leaves_the_frame(points: list) -> None:
    box = (0.0, 0.0, 100.0, 60.0)
    pieces = _plot.cut(points, box)
    for piece in pieces:
        for x, y in piece:
            assert -1e-9 <= x <= 100 + 1e-9 and -1e-9 <= y <= 60 + 1e-9
    # Second route: the length inside, from small steps along each segment.
    length = sum(math.dist(a, b) for piece in pieces for a, b in pairwise(piece))
    steps = 200
    count = 0.0
    for a, b in pairwise(points):
        each = math.dist(a, b) / steps
        for k in range(steps):
            t = (k + 0.5) / steps
            x, y = a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])
            count += each * (0 <= x <= 100 and 0 <= y <= 60)
    total = sum(math.dist(a, b) for a, b in pairwise(points))
    assert length == pytest.approx(count, abs=2 * total / steps + 1e-6)


@fed(st.lists(st.tuples(st.floats(20, 140), st.integers(1, 90)), max_size=9))
@settings(derandomize=True, max_examples=60, deadline=None)
def test_no_flag_lies_over_another_or_is_struck_by_a_line(marks: list) -> None:
    placed = _plot.flags([(x, "word " * (n // 5 + 1)) for x, n in marks], 2.0, 169.0)
    assert len(placed) == len(marks)
    spans = [(f, *sorted((f.x, f.x + f.side * f.wide))) for f in placed]
    for (one, a, b), (other, c, d) in combinations(spans, 2):
        assert min(a, c) >= 0 and max(b, d) <= 170
        assert b <= c + 1e-9 or d <= a + 1e-9 or one.top <= other.level or other.top <= one.level
        for flag, (low, high), line in ((one, (a, b), other), (other, (c, d), one)):
            assert not (line.top > flag.level and low + 0.1 < line.x < high - 0.1)


BAD = [
    ("profile", {"wall": 0}, "wall is 0"),
    ("profile", {"depth": [1.0]}, "depth has 1 values for 61 stations"),
    ("profile", {"depth": [NAN] * 61}, r"depth\[0\] is nan"),
    ("profile", {"stations": [0.0] * 61}, r"stations\[1\] is 0 after 0"),
    ("profile", {"governing": (100, 700)}, "governing runs from 100 to 700: the stations reach from 0 to 600"),
    ("profile", {"governing": (300, 200)}, "governing runs from 300 to 200"),
    ("profile", {"effective_depth": INF}, "effective_depth is inf"),
    ("profile", {"limit_label": " "}, "limit_label is empty"),
    ("profile", {"side": "left"}, "side is 'left'"),
    ("profile", {"stations": list(range(100_001)), "depth": [1.0] * 100_001}, "stations has 100001 values: at most"),
    ("cluster_map", {"boxes": []}, "boxes has 0 entries"),
    ("cluster_map", {"boxes": [(0, 1, 0, 1, 1.0)] * 5001}, "boxes has 5001 entries"),
    ("cluster_map", {"boxes": [(0, 1, 0, 1, NAN)]}, r"boxes\[0\] depth is nan"),
    ("cluster_map", {"boxes": [(0, 1, 0, 1, -1.0)]}, r"boxes\[0\] depth is -1"),
    ("cluster_map", {"boxes": [(1, 0, 0, 1, 1.0)]}, r"boxes\[0\] axial runs from 1 to 0"),
    ("cluster_map", {"boxes": [(0, 1, 0, 1300, 1.0)]}, r"boxes\[0\] around is 1300: wider"),
    ("cluster_map", {"clusters": [(0, 1, 0, 1, "", False)]}, r"clusters\[0\] label is empty"),
    ("cluster_map", {"clusters": [(0, 1, 0, 1, "a", True)] * 2}, r"clusters\[1\] governs as well"),
    ("cluster_map", {"circumference": 0}, "circumference is 0"),
    ("cluster_map", {"clock_from": 13}, "clock_from is 13"),
    ("cluster_map", {"seam_clock": NAN}, "seam_clock is nan"),
    ("assessment_curve", {"curves": []}, "curves has 0 entries"),
    ("assessment_curve", {"curves": [("a", [(0, 1)], False)]}, r"curves\[0\] length has 1 stations"),
    ("assessment_curve", {"curves": [("a", [(0, 1), (0, 2)], False)]}, r"curves\[0\] length\[1\] is 0 after 0"),
    ("assessment_curve", {"curves": [("a", [(0, 1), (1, NAN)], False)]}, r"curves\[0\] depth\[1\] is nan"),
    ("assessment_curve", {"curves": [("a", [(0, 1), (1, -1)], False)]}, r"curves\[0\] has a length or depth below"),
    ("assessment_curve", {"curves": [("", [(0, 1), (1, 1)], False)]}, r"curves\[0\] name is empty"),
    ("assessment_curve", {"curves": [("a", [(0, 1), (1, 1)], True)] * 2}, r"curves\[1\] governs as well"),
    ("assessment_curve", {"point": (NAN, 1)}, "point length is nan"),
    ("assessment_curve", {"point": (1, -1)}, "point depth is -1"),
    ("assessment_curve", {"ellipse": (0, 1, "x")}, "ellipse half_length is 0"),
    ("assessment_curve", {"ellipse": (1, 1, "")}, "ellipse words is empty"),
    ("assessment_curve", {"depth_limit": 0}, "depth_limit is 0"),
    ("assessment_curve", {"depth_limit_label": ""}, "depth_limit_label is empty"),
    ("assessment_curve", {"pressure_words": ""}, "pressure_words is empty"),
    ("methods", {"rows": []}, "rows is empty"),
    ("methods", {"rows": [("", 1, 1, "governs", "")]}, r"rows\[0\] method is empty"),
    ("methods", {"rows": [("a", NAN, 1, "governs", "")]}, r"rows\[0\] failure is nan"),
    ("methods", {"rows": [("a", 1, -1, "governs", "")]}, r"rows\[0\] safe is -1"),
    ("methods", {"rows": [("a", 1, 1, "wins", "")]}, r"rows\[0\] role 'wins' is none of"),
    ("methods", {"lines": [("", 1)]}, r"lines\[0\] label is empty"),
    ("methods", {"lines": [("a", INF)]}, r"lines\[0\] pressure is inf"),
    ("life", {"years": [0]}, "years has 1 stations"),
    ("life", {"depth": [1.0]}, "depth has 1 values for 41 years"),
    ("life", {"depth": [None] * 41}, r"depth\[0\] is None"),
    ("life", {"depth_high": [-1.0] * 41}, r"depth_high\[0\] is -1"),
    ("life", {"limit_depth": 0}, "limit_depth is 0"),
    ("life", {"failure_pressure": [NAN] * 41}, r"failure_pressure\[0\] is nan"),
    ("life", {"pressure_limits": [("", 1)]}, r"pressure_limits\[0\] label is empty"),
    ("life", {"pressure_limits": [("a", NAN)]}, r"pressure_limits\[0\] pressure is nan"),
    ("life", {"events": [(NAN, "a")]}, r"events\[0\] year is nan"),
    ("life", {"events": [(1, "")]}, r"events\[0\] label is empty"),
    ("life", {"probability": ([0, 1], [0, 1])}, "probability has 2 lists"),
    ("life", {"probability": ([0, 1], [0, 1], [0])}, "probability pressure has 1 values for 2 years"),
    ("life", {"probability": ([0, 1], [0, 1.5], [0, 0])}, r"probability depth\[1\] is 1.5"),
    ("life", {"start_label": ""}, "start_label is empty"),
]


@pytest.mark.parametrize(("name", "change", "named"), BAD)
def test_what_can_not_be_drawn_is_refused(name: str, change: dict, named: str) -> None:
    with pytest.raises(ValueError, match=named):
        getattr(figures, name)(**USUAL[name] | change)
