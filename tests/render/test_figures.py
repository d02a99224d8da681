"""Figures: same bytes each time, no collision on a page, nothing cut off or overlapping, nothing invented."""

import re
import subprocess
import sys
from collections.abc import Iterator
from itertools import combinations
from xml.etree import ElementTree

import pytest

from wrapcalc.render.figures import _numbers, _sheet, depth_map, margins, unwrapped

SVG = "{http://www.w3.org/2000/svg}"


def grid(
    columns: int = 11, rows: int = 7, length: float = 200.0, width: float = 120.0, peak: float = 6.3
) -> dict:
    axial = [length * i / (columns - 1) for i in range(columns)]
    around = [width * i / max(rows - 1, 1) for i in range(rows)]
    deep = [
        [
            round(peak / (1 + ((i - columns * 0.6) / 3) ** 2 + ((j - rows * 0.4) / 2) ** 2), 2)
            for i in range(columns)
        ]
        for j in range(rows)
    ]
    _, column, row = max((value, i, j) for j, line in enumerate(deep) for i, value in enumerate(line))
    return {
        "axial": axial,
        "around": around,
        "depth": deep,
        "profile": [max(line[i] for line in deep) for i in range(columns)],
        "wall": 9.53,
        "deepest": (axial[column], around[row]),
        "length_unit": "mm",
        "depth_unit": "mm",
        "title": "Depth map",
        "limit_depth": 7.62,
        "limit_label": "80 % of wall",
    }


def repair(units: list, full: tuple, overall: tuple, label: str = "repair 1") -> dict:
    return {"label": label, "units": units, "full": full, "overall": overall}


def piece(length: float, width: float, clock: float = 4.5, middle: float = 0.0, label: str = "", chief: bool = True):
    return (middle - length / 2, middle + length / 2, clock, width, label, chief)


def pipe(**changes: object) -> dict:
    return {
        "circumference": 1276.7,
        "damage": [piece(120.0, 80.0)],
        "repairs": [
            repair([(-250.0, 260.0, "unit 1"), (-10.0, 260.0, "unit 2")], (-200.0, 200.0), (-250.0, 250.0))
        ],
        "seam_clock": 1.5,
        "upstream_clear": 430.0,
        "downstream_clear": 2150.0,
        "upstream_neighbour": None,
        "downstream_neighbour": None,
        "keep_from_weld": None,
        "keep_from_repair": None,
        "length_unit": "mm",
        "title": "Unwrapped pipe",
    } | changes


ROWS = [
    ("Remaining strength at MAOP", 0.85, "met"),
    ("Depth against 80 % of the sound wall, after growth to the end of the design life", 1.0004, "not met"),
    ("Bond area", 3.4, "not met"),
    ("Surface temperature", 0.7, "outside scope"),
    ("Dew point", None, "no data"),
]


def row_of_units(start: float, wide: float, count: int, name: str = "unit") -> list[tuple[float, float, str]]:
    return [(start + i * wide, wide, f"{name} {i + 1}") for i in range(count)]


LONG_NAME = "limit of the assessment method for blunt flaws, growth up to the end of the design life"
GRIDS = {
    "tiny": grid(2, 1, 30, 0, 2.5),
    "three": grid(3, 3, 30, 10) | {"limit_depth": 9.5, "limit_label": LONG_NAME},
    "shallow limit": grid() | {"limit_depth": 0.4, "limit_label": LONG_NAME},
    "printed": grid(14, 12, 260, 220),
    "inches": grid(14, 12, 10.5, 8.25, 0.21)
    | {"wall": 0.375, "limit_depth": 0.3, "length_unit": "in", "depth_unit": "in"},
    "large": grid(80, 60, 800, 300),
    "long": grid(120, 9, 3000, 80),
    "through the wall": grid(9, 5, peak=15.0),
}
PIPES = {
    "400 pipe, 500 wrap": pipe(),
    "1000 pipe, 2 m wrap, over 12 o'clock": pipe(
        circumference=3192,
        damage=[piece(1200, 700, 11.75)],
        repairs=[repair(row_of_units(-1000, 290, 7), (-900, 900), (-1000, 1030))],
        seam_clock=11,
        upstream_clear=350,
        downstream_clear=700,
    ),
    "long and small": pipe(
        circumference=358.1,
        damage=[piece(1500, 60, 6)],
        repairs=[repair(row_of_units(-900, 300, 6, "sleeve"), (-850, 850), (-900, 900))],
        seam_clock=3,
        upstream_clear=100,
    ),
    "very slim": pipe(
        circumference=188.5,
        damage=[piece(6000, 40, 12)],
        repairs=[repair(row_of_units(-3300, 300, 22), (-3200, 3200), (-3300, 3300))],
        upstream_clear=100,
        downstream_clear=90,
    ),
    "bare, all around": pipe(damage=[piece(45.5, 1276.7)], repairs=[], seam_clock=12, upstream_clear=0),
    "small defect, large pipe": pipe(
        circumference=131.95,
        damage=[piece(1.25, 0.8)],
        repairs=[repair([(-6, 12, "layered sleeve 1: 12 in wide, 8 layers")], (-4.5, 4.5), (-6, 6))],
        seam_clock=None,
        upstream_clear=14,
        length_unit="in",
    ),
    "one over the other": pipe(
        repairs=[repair([(-250, 500, "pass 1"), (-200, 400, "pass 2")], (-200, 200), (-250, 250))],
        downstream_clear=200,
    ),
    "off centre": pipe(
        damage=[piece(30, 30)],
        repairs=[repair([(-100, 300, "A"), (200, 300, "B")], (-60, 450), (-100, 500))],
    ),
    "welds and repairs beside": pipe(
        upstream_neighbour=520.0, downstream_neighbour=610.0, downstream_clear=450.0, keep_from_weld=25.0,
        keep_from_repair=180.0,
    ),
    "two repairs over four clusters": pipe(
        damage=[
            piece(120, 150, 11.8, -840, "1"), piece(60, 60, 1, -670, "2", False),
            piece(200, 300, 6, 600, "3", False), piece(140, 90, 6.2, 830, "4", False),
        ],
        repairs=[
            repair([(-1172, 280, "band 1.1"), (-927, 560, "band 1.2")], (-1120, -420), (-1172, -367)),
            repair([(298, 280, "band 2.1"), (543, 560, "band 2.2")], (350, 1050), (298, 1103), "repair 2"),
        ],
        upstream_clear=700.0, downstream_clear=6000.0,
    ),
    "five repairs": pipe(
        damage=[piece(100, 90, 2 * i, 900 * i, f"cluster of pits {i}", i == 2) for i in range(5)],
        repairs=[
            repair([(x - 250, 500, f"band {i}.1")], (x - 200, x + 200), (x - 250, x + 250), f"repair {i}")
            for i, x in enumerate((0, 900, 1800, 2700, 3600))
        ],
        downstream_neighbour=300.0, downstream_clear=200.0,
    ),
    "many clusters, bare": pipe(
        damage=[piece(40, 60, i % 12, 70 * i, str(i), i == 3) for i in range(20)], repairs=[],
    ),
}


def all_figures() -> list[str]:
    return [depth_map(**grid()), unwrapped(**pipe()), margins(ROWS, title="Margins")]


def described(svg: str) -> str:
    return ElementTree.fromstring(svg).findtext(f"{SVG}desc") or ""


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch) -> Iterator[list]:
    """Every text that a figure places: (text, left, top, right, bottom in mm, the sheet it stands on)."""
    found: list = []
    real = _sheet.Sheet.text

    def text(self: _sheet.Sheet, x: float, y: float, text: object, **look: object) -> None:
        rows = [text] if isinstance(text, str) else list(text)  # type: ignore[call-overload]
        size, bold = look.get("size", _sheet.BODY), look.get("bold", False)
        wide = max(_sheet.text_width(_sheet.clean(row), size, bold) for row in rows)
        # From the top of the capitals of the first line to the foot of the last line's letters.
        high = _sheet.line_height(size) * (len(rows) - 1) + 0.75 * size * _sheet.MM_PER_POINT
        if look.get("upright"):
            box = (x - high / 2, y - wide / 2, x + high / 2, y + wide / 2)
        else:
            left = x - {"left": 0, "center": wide / 2, "right": wide}[look.get("across", "left")]
            box = (left, y - high / 2, left + wide, y + high / 2)
        found.append((" ".join(rows), *box, self))
        real(self, x, y, text, **look)

    monkeypatch.setattr(_sheet.Sheet, "text", text)
    yield found


def assert_legible(found: list) -> None:
    assert found
    for text, left, top, right, bottom, page in found:
        assert left >= 0 and top >= 0 and right <= _sheet.WIDTH and bottom <= page.height, f"cut off: {text}"
    for one, other in combinations(found, 2):
        apart = one[3] <= other[1] or other[3] <= one[1] or one[4] <= other[2] or other[4] <= one[2]
        assert apart, f"{one[0]!r} overlaps {other[0]!r}"


@pytest.mark.parametrize("name", GRIDS)
def test_depth_map_has_no_overlapping_or_cut_text(name: str, written: list) -> None:
    depth_map(**GRIDS[name])
    assert_legible(written)


@pytest.mark.parametrize("name", PIPES)
def test_unwrapped_has_no_overlapping_or_cut_text(name: str, written: list) -> None:
    unwrapped(**PIPES[name])
    assert_legible(written)


@pytest.mark.parametrize("value", [0.0, 0.62, 0.97, 1.0, 1.000012, 1.9, 2.0, 2.6, 12345.67, 3.2e8, -0.12])
@pytest.mark.parametrize("verdict", ["met", "not met", "outside scope", "no data"])
def test_margins_have_no_overlapping_or_cut_text(value: float, verdict: str, written: list) -> None:
    margins([*ROWS, ("Last " + "m" * 90, value, verdict)], title="Margins")
    assert_legible(written)


def test_the_legibility_check_sees_an_overlap(written: list) -> None:
    page = _sheet.Sheet(20)
    page.text(10, 10, "one")
    page.text(11, 10.5, "other")
    with pytest.raises(AssertionError, match="overlaps"):
        assert_legible(written)
    del written[1:]
    page.text(165, 10, "beyond the edge")
    with pytest.raises(AssertionError, match="cut off"):
        assert_legible(written)


def test_same_bytes_again_whatever_the_reader_set() -> None:
    import matplotlib

    first = all_figures()
    changed = {
        "svg.fonttype": "none",
        "font.family": "serif",
        "path.sketch": (1, 100, 2),
        "figure.dpi": 200,
        "lines.scale_dashes": False,
        "lines.antialiased": False,
        "savefig.dpi": 300,
    }
    with matplotlib.rc_context(changed):
        assert all_figures() == first
        assert matplotlib.rcParams["svg.fonttype"] == "none"
    assert all_figures() == first


def test_same_bytes_in_another_process() -> None:
    code = (
        "from wrapcalc.render.figures import margins; print(margins([('a', 0.5, 'met')], title='t'), end='')"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, encoding="utf-8")
    assert run.stdout == margins([("a", 0.5, "met")], title="t")


def test_matplotlib_is_not_imported_before_a_figure_is_drawn() -> None:
    code = "import sys, wrapcalc.render.figures; sys.exit('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_figures_share_a_page_without_colliding() -> None:
    figures = [*all_figures(), depth_map(**grid(9)), unwrapped(**pipe(title="another title"))]
    seen: set[str] = set()
    for svg in figures:
        ids = re.findall(r'\bid="([^"]+)"', svg)
        assert len(ids) == len(set(ids)) and len(ids) > 5
        assert not seen & set(ids)
        seen |= set(ids)
        # All references stay inside their own figure, and there is no style that would reach the page.
        used = re.findall(r'(?:href="#|url\(#)([^")]+)', svg)
        assert set(used) <= set(ids) and used
        assert "<style" not in svg


def test_well_formed_named_and_self_contained() -> None:
    for svg in all_figures():
        root = ElementTree.fromstring(svg)
        assert svg.startswith("<svg ") and "<?xml" not in svg and "<!DOCTYPE" not in svg and "<!--" not in svg
        assert root.get("role") == "img"
        names = {element.get("id"): element.text for element in root.iter() if element.text}
        assert names[root.get("aria-labelledby")] in ("Depth map", "Unwrapped pipe", "Margins")
        assert len(names[root.get("aria-describedby")] or "") > 60
        outside = svg.replace("http://www.w3.org/2000/svg", "").replace("http://www.w3.org/1999/xlink", "")
        assert (
            "http" not in outside and "<image" not in svg and "@import" not in svg and "date" not in outside
        )
        assert all(link.startswith("#") for link in re.findall(r'href="([^"]*)"', svg))


def test_sizes_fit_the_text_column() -> None:
    for svg in [*all_figures(), *(unwrapped(**case) for case in PIPES.values())]:
        root = ElementTree.fromstring(svg)
        height = float((root.get("height") or "").removesuffix("mm"))
        assert root.get("width") == "170mm" and 25 < height < 190
        box = [float(part) for part in (root.get("viewBox") or "").split()]
        assert box[3] / box[2] == pytest.approx(height / 170, rel=1e-3)
        assert len(svg) < 200_000


def test_a_large_grid_stays_small() -> None:
    assert len(depth_map(**GRIDS["large"])) < 200_000


def test_markup_is_text() -> None:
    evil = "<b>&\"'</title><script>"
    figures = [
        depth_map(**grid() | {"title": evil, "limit_label": evil}),
        unwrapped(**pipe(title=evil, repairs=[repair([(-250, 500, evil)], (-200, 200), (-250, 250))])),
        margins([(evil, 0.5, "met")], title=evil),
    ]
    for svg in figures:
        root = ElementTree.fromstring(svg)
        assert root.findtext(f"{SVG}title") == evil
        assert evil in described(svg)
        assert "<b>" not in svg and "<script" not in svg


def test_mathematical_dollars_are_drawn_as_dollars(written: list) -> None:
    margins([("cost $a$ and $b", 0.5, "met")], title="$x$ \x00")
    assert "cost $a$ and $b" in [entry[0] for entry in written]


def test_key_numbers_are_said_and_drawn(written: list) -> None:
    said = described(depth_map(**grid()))
    assert "Deepest 6.13 mm at 140 mm along, 60 mm around" in said
    assert "Wall 9.53 mm" in said and "80 % of wall: 7.62 mm" in said
    said = described(unwrapped(**pipe()))
    for part in (
        "defect 120 mm long \u00d7 80 mm wide, centre at 4:30",
        "full thickness 400 mm",
        "overall 500 mm",
        "Circumference 1277 mm",
        "long seam at 1:30",
        "430 mm upstream",
        "unit 1 from \u2212250 mm to 10 mm",
    ):
        assert part in said
    said = described(margins(ROWS, title="t"))
    assert (
        "Remaining strength at MAOP: 0.85, met" in said
        and "1.0004, not met" in said
        and "3.40, not met" in said
    )
    assert "Surface temperature: 0.70, outside scope" in said and "Dew point: no data" in said
    drawn = [entry[0] for entry in written]
    for part in (
        "9.53",
        "depth (mm)",
        "axial distance, downstream \u2192 (mm)",
        "overall 500 mm",
        "long seam 1:30",
        "weld or fitting, 430 mm upstream of the defect",
        "unit 2",
        "downstream",
        "limit 1.00",
        "1.0004",
        "not met",
        "outside scope",
        "no data",
        "utilisation, demand / limit (no unit)",
        "Nearest weld or fitting, 2150 mm downstream of the defect: beyond the drawing.",
    ):
        assert any(part in text for text in drawn), part


def test_numbers_are_printed_in_a_small_grid_only(written: list) -> None:
    shown = grid(14, 12)
    depth_map(**shown)
    assert f"{shown['depth'][2][3]:.2f}" in [entry[0] for entry in written]
    before = len(written)
    depth_map(**grid(15, 12))
    assert len(written) - before < 60


def test_a_defect_over_twelve_is_drawn_in_two_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    parts: list[tuple[float, float]] = []

    def hatch(self: object, x: float, y: float, width: float, height: float, **look: object) -> None:
        parts.append((y, height))

    monkeypatch.setattr(_sheet.Sheet, "hatch", hatch)
    unwrapped(**pipe(damage=[piece(120, 80, 11.9)]))
    assert len(parts) == 2
    scale = 112.0 / 1276.7  # the pipe fills the height that the page allows
    assert sum(height for _, height in parts) == pytest.approx(80 * scale)
    top, bottom = sorted(parts)
    assert bottom[0] + bottom[1] - top[0] == pytest.approx(112.0)
    parts.clear()
    unwrapped(**pipe())
    assert len(parts) == 1


def test_a_slim_pipe_says_that_it_is_stretched(written: list) -> None:
    unwrapped(**PIPES["very slim"])
    unwrapped(**pipe())
    drawn = [entry[0] for entry in written]
    assert "Not to scale: around the pipe drawn 6.0 times as large as along it." in drawn
    assert "Drawn to one scale in both directions." in drawn


NAN, INF = float("nan"), float("inf")


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"wall": NAN}, "wall is nan"),
        ({"wall": 0}, "wall is 0"),
        ({"axial": [0, NAN, *range(2, 11)]}, r"axial\[1\] is nan"),
        ({"axial": [0, 0, *range(2, 11)]}, r"axial\[1\] is 0 after 0"),
        ({"around": list(range(6))}, "depth has 7 rows for 6 stations"),
        ({"depth": [[1.0] * 11] * 6 + [[1.0] * 10 + [NAN]]}, r"depth\[6\]\[10\] is nan"),
        ({"depth": [[1.0] * 10] * 7}, r"depth\[0\] has 10 values"),
        ({"profile": [1.0] * 10 + [INF]}, r"profile\[10\] is inf"),
        ({"profile": [1.0]}, "profile has 1 values"),
        ({"deepest": (NAN, 60)}, "deepest axial is nan"),
        ({"deepest": (900, 60)}, "deepest axial is 900"),
        ({"deepest": (0, 0)}, "deepest of the grid is 6.13"),
        ({"limit_depth": NAN}, "limit_depth is nan"),
        ({"limit_label": ""}, "limit_label is empty"),
    ],
)
def test_depth_map_refuses(change: dict, named: str) -> None:
    with pytest.raises(ValueError, match=named):
        depth_map(**grid() | change)


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"circumference": NAN}, "circumference is nan"),
        ({"damage": []}, "damage is empty"),
        ({"damage": [(NAN, 60, 4.5, 80, "", True)]}, r"damage\[0\] along start is nan"),
        ({"damage": [piece(120, 1300)]}, r"damage\[0\] width is 1300"),
        ({"damage": [piece(120, 80, NAN)]}, r"damage\[0\] clock is nan"),
        ({"damage": [piece(120, 80), piece(120, 80)]}, r"damage\[0\] label is empty"),
        ({"repairs": [repair([(NAN, 300, "u")], (-1, 1), (-2, 2))]}, r"repairs\[0\] units\[0\] start is nan"),
        ({"repairs": [repair([(0, -300, "u")], (-1, 1), (-2, 2))]}, r"repairs\[0\] units\[0\] width is -300"),
        ({"repairs": [repair([(0, 300, " ")], (-1, 1), (-2, 2))]}, r"repairs\[0\] units\[0\] has an empty label"),
        ({"repairs": [repair([], (200, -200), (-2, 2))]}, r"repairs\[0\] full runs from 200 to -200"),
        ({"repairs": [repair([], (-1, 1), (-250, INF))]}, r"repairs\[0\] overall end is inf"),
        ({"seam_clock": 13}, "seam_clock is 13"),
        ({"upstream_clear": -1}, "upstream_clear is -1"),
        ({"downstream_clear": NAN}, "downstream_clear is nan"),
        ({"upstream_neighbour": -1}, "upstream_neighbour is -1"),
        ({"keep_from_weld": NAN}, "keep_from_weld is nan"),
    ],
)
def test_unwrapped_refuses(change: dict, named: str) -> None:
    with pytest.raises(ValueError, match=named):
        unwrapped(**pipe(**change))


@pytest.mark.parametrize(
    ("rows", "named"),
    [
        ([], "no rows"),
        ([("a", NAN, "met")], r"row 0 \(a\): utilisation is nan"),
        ([("a", 0.5, "fine")], "verdict 'fine'"),
        ([("", 0.5, "met")], "row 0 has an empty label"),
    ],
)
def test_margins_refuse(rows: list, named: str) -> None:
    with pytest.raises(ValueError, match=named):
        margins(rows, title="t")


def test_a_number_on_a_shade_is_readable() -> None:
    def bright(colour: str) -> float:
        parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    from wrapcalc.render.figures._depth_map import Shading

    for count in range(1, 12):
        shading = Shading(step=1.0, count=count, floor=0.0)
        for level in range(count):
            fill = shading.colour(level)
            low, high = sorted((bright(fill), bright(_sheet.ink_on(fill))))
            assert (high + 0.05) / (low + 0.05) >= 4.5
    for ink in (_sheet.INK, _sheet.GREY):
        assert 1.05 / (bright(ink) + 0.05) >= 4.5


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        (1276.71, "mm", "1276.7 mm"),
        (80.0, "mm", "80 mm"),
        (0.125, "in", "0.12 in"),
        (-0.001, "mm", "0 mm"),
        (-250, "mm", "\u2212250 mm"),
        (1.5, "m", "1.5 m"),
        (123.456, "furlong", "123.5 furlong"),
    ],
)
def test_dimensions_print_sensible_digits(value: float, unit: str, shown: str) -> None:
    assert _numbers.dimension(value, unit) == shown


def test_ticks_are_round_and_clock_positions_read_as_the_trade_writes_them() -> None:
    assert [text for _, text in _numbers.ticks(-0.1, 0.35, 5)] == ["\u22120.1", "0.0", "0.1", "0.2", "0.3"]
    assert [_numbers.clock_text(h) for h in (0, 4.5, 11.999, 1.25)] == ["12:00", "4:30", "12:00", "1:15"]
