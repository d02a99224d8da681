"""Figures of a wrap design: to scale, nothing cut off or overlapping, nothing invented, nothing drawn without data."""

import math
import re
from xml.etree import ElementTree

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.render import test_figures as others
from tests.render.test_figures import assert_legible, described
from wrapcalc.render import figures, wrap_drawings
from wrapcalc.render.drawings import drawings
from wrapcalc.render.figures import _along, _cross_section, _dimensions, _routes, _sheet, _tornado, _use, _wrap

SVG = "{http://www.w3.org/2000/svg}"
NAN, INF = float("nan"), float("inf")
LONG_NAME = "axial thrust, external force and bending in both senses, with the least relief by the pressure"
EVIL = "<b>&\"'</title><script>"

written = others.written  # the fixture that collects every text a figure places


def plain(start: float, end: float, depth: float) -> list:
    return wrap_drawings._plain(start, end, depth)


def routes(**changes: object) -> dict:
    return {
        "rows": [
            ("load sharing", True, "", [("around the pipe", 9.421, "pressure with shear and torsion", "solid"),
                                        ("along the pipe", 3.2, "end thrust and bending", "hatched")]),
            ("yielded steel", False, "the remaining wall carries the pressure below yield", []),
            ("laminate strain", False, "", [("around the pipe", 14.1, "pressure", "solid"),
                                            ("pressure test", 12.2, "pressure test", "open"),
                                            ("outside pressure", -0.4, "outside pressure", "dashed")]),
        ],
        "lines": [("required in all", 9.9), ("provided", 12.65)],
        "length_unit": "mm",
        "title": "Routes",
    } | changes  # fmt: skip


def use(**changes: object) -> dict:
    return {"points": [(14, 0.9731, True), (15, 0.908, False), (16, 0.8514, False), (17, 0.8013, False)],
            "title": "Use"} | changes  # fmt: skip


def swings(**changes: object) -> dict:
    return {
        "swings": [
            ("sound wall", 11.2, 8.1, "7.9 mm", "8.3 mm"),
            ("hoop modulus", 10.3, 8.7, "25.2 GPa", "29.6 GPa"),
            ("repair design pressure", 9.1, None, "7.9 MPa", "8.2 MPa"),
            ("length", 9.421, 9.421, "236 mm", "260 mm"),
        ],
        "required": 9.421,
        "provided": 12.65,
        "length_unit": "mm",
        "title": "Tolerances",
    } | changes


SLEEVE = (11, 1, 12.65, 15.07, 0.22, True)
TWO_SLEEVES = (22, 2, 25.3, 30.14, 0.22, True)
CLOTH = (14, 1, 9.24, 9.24, 0.0, False)


def section(**changes: object) -> dict:
    return {
        "outside_diameter": 610.0,
        "wall": 9.3,
        "defect_clock": 5 + 1 / 3,
        "losses": [plain(-77, 77, 3.9)],
        "side": "outer",
        "measured": False,
        "words": ["loss 3.9 mm deep, 154 mm wide, as measured", "5.4 mm of the wall left there"],
        "later_depth": 4.6,
        "opening": None,
        "wrapped": SLEEVE,
        "seam_clock": 10.75,
        "length_unit": "mm",
        "title": "Section",
    } | changes


def repair(label: str, middle: float, damage: float, widths: list, joint: float, cover: float, overall: float,
           losses: list, shift: float = 0.0) -> dict:  # fmt: skip
    at = middle + shift
    placed = wrap_drawings._units({"widths": widths, "joint": joint, "middle": at})
    return {
        "label": label, "damage": (middle - damage / 2, middle + damage / 2),
        "full": (at - cover / 2, at + cover / 2), "overall": (at - overall / 2, at + overall / 2),
        "needed": 0.9 * cover, "units": placed, "losses": losses,
    }  # fmt: skip


ONE = repair("repair 1", 0, 246, [260, 410], 0, 670, 760, [plain(-118, 118, 3.9)])


def along(**changes: object) -> dict:
    return {
        "repairs": [ONE],
        "wall": 9.3,
        "side": "outer",
        "measured": False,
        "later_depth": 4.6,
        "opening": None,
        "wrapped": SLEEVE,
        "overlap": 119.2,
        "end": 45.0,
        "ends": "square with fillet",
        "joint": 0.0,
        "length_unit": "mm",
        "title": "Along",
    } | changes


def through(**changes: object) -> dict:
    return {
        "rings": [("steel", [(194.7, 205.1), (201.5, 197.9)]), ("filler", [(201.5, 1.4), (203.2, 1.3)]),
                  ("wrap", [(203.2, 24.2), (215.9, 22.6)])],
        "lines": [("SMYS", 360.0)],
        "state": "no axial load",
        "straight": True,
        "length_unit": "mm",
        "stress_unit": "MPa",
        "title": "Through",
    } | changes  # fmt: skip


DRAW = {
    "routes": (figures.thickness_routes, routes),
    "use": (figures.use_over_layers, use),
    "tolerances": (figures.tolerances, swings),
    "section": (figures.cross_section, section),
    "along": (figures.repair_along, along),
    "through": (figures.through_wall, through),
}
CASES: dict[str, tuple[str, dict]] = {
    "routes as usual": ("routes", {}),
    "routes, one only": ("routes", {"rows": routes()["rows"][:1], "lines": []}),
    "routes, none gives": ("routes", {"rows": [("load sharing", True, LONG_NAME * 3, [])], "lines": []}),
    "routes, a giant": ("routes", {"rows": [*routes()["rows"], ("long-term strength", False, "", [
        ("along the pipe", 2090.0, LONG_NAME, "hatched")])]}),
    "routes, lines at one place": ("routes", {"lines": [("required in all", 12.6), ("provided", 12.65)]}),
    "routes, long names": ("routes", {"rows": [(LONG_NAME, True, "", [(LONG_NAME, 2.0, LONG_NAME, "open")] * 3)]}),
    "use as usual": ("use", {}),
    "use, one": ("use", {"points": [(8, 0.99999, True)]}),
    "use, above the limit": ("use", {"points": [(8, 1.83, True), (9, 1.1, False), (10, 0.97, False)]}),
    "use, next to nothing": ("use", {"points": [(8, 0.0, True), (9, 1e-9, False)]}),
    "use, thirty": ("use", {"points": [(n, 0.9 / n, n == 3) for n in range(3, 33)]}),
    "tolerances as usual": ("tolerances", {}),
    "tolerances, nothing provided": ("tolerances", {"provided": None}),
    "tolerances, provided as required": ("tolerances", {"provided": 9.421}),
    "tolerances, flat": ("tolerances", {"swings": [("length", 9.421, 9.421, "236 mm", "260 mm")]}),
    "tolerances, nothing holds": ("tolerances", {"swings": [("depth", None, None, "3 mm", "4 mm")]}),
    "tolerances, long": ("tolerances", {"swings": [(LONG_NAME, 2.0, 900.0, "123.4 mm", "1.234 × 10⁻⁵ in")] * 8}),
    "section as usual": ("section", {}),
    "section, bare": ("section", {"wrapped": None, "later_depth": None, "seam_clock": None}),
    "section, two sleeves inside": ("section", {"wrapped": TWO_SLEEVES, "side": "inner"}),
    "section, a hole": ("section", {"outside_diameter": 168.3, "losses": [], "opening": 10.0, "wrapped": CLOTH}),
    "section, all round": ("section", {"losses": [plain(-958, 958, 3.9)]}),
    "section, pits": ("section", {"losses": [plain(-3, 3, 3.9), plain(20, 31, 2.0), plain(-60, -40, 1.0)]}),
    "section, one pit on a large pipe": ("section", {"outside_diameter": 1422.0, "losses": [plain(-3, 3, 3.9)]}),
    "section, small thick pipe": ("section", {"outside_diameter": 60.3, "losses": [plain(-20, 20, 3.9)]}),
    "section, in": ("section", {"outside_diameter": 24.0, "wall": 0.375, "losses": [plain(-3, 3, 0.15)],
                                "later_depth": 0.18, "wrapped": (9, 1, 0.2339, 0.2339, 0.0, False),
                                "length_unit": "in"}),
    "section, sixty layers": ("section", {"wrapped": (60, 1, 39.6, 39.6, 0.0, False)}),
    "section, layers unknown": ("section", {"wrapped": (None, 1, 12.65, 15.07, 0.0, True)}),
    "section, at twelve": ("section", {"defect_clock": 0, "seam_clock": 0}),
    "along as usual": ("along", {}),
    "along, tapered bands": ("along", {
        "repairs": [repair("repair 1", 0, 246, [280, 560], 35, 694, 805, [plain(-118, 118, 3.9)])],
        "wrapped": CLOTH, "ends": "tapered", "end": 55.4, "joint": 35.0}),
    "along, uneven": ("along", {
        "repairs": [repair("repair 1", 0, 246, [560], 35, 445, 560, [plain(-118, 118, 3.9)], 60.0)],
        "wrapped": CLOTH, "ends": "tapered", "end": 57.5, "joint": 35.0, "side": "inner"}),
    "along, a hole": ("along", {
        "repairs": [repair("repair 1", 0, 54, [280], 35, 232.5, 280, [])], "opening": 10.0, "later_depth": None,
        "wrapped": (6, 1, 3.96, 3.96, 0.0, False), "ends": "tapered", "end": 23.8}),
    "along, two": ("along", {
        "repairs": [ONE, repair("repair 2", 1500, 60, [410], 0, 410, 500, [plain(1475, 1525, 1.0)])]}),
    "along, five": ("along", {
        "repairs": [repair(f"repair {i}", 800 * i, 100, [410], 0, 410, 590, [plain(800 * i - 40, 800 * i + 40, 2)])
                    for i in range(5)], "wrapped": TWO_SLEEVES, "end": 90.0}),
    "along, very long": ("along", {
        "repairs": [repair("repair 1", 0, 6000, [410] * 16, 0, 6560, 6650, [plain(-3000, 3000, 3.9)])]}),
    "along, in": ("along", {
        "repairs": [repair("repair 1", 0, 7.3, [22.05], 1.38, 19.24, 22.05, [plain(-3.45, 3.45, 0.135)])],
        "wall": 0.337, "later_depth": 0.143, "wrapped": (9, 1, 0.2339, 0.2339, 0.0, False), "overlap": 4.69,
        "end": 1.403, "ends": "tapered", "joint": 1.38, "length_unit": "in"}),
    "through as usual": ("through", {}),
    "through, compressed": ("through", {"rings": [("steel", [(100, -40.0), (107, -38)]), ("wrap", [(107, 9),
                                                                                                 (120, 8)])]}),
    "through, thin filler": ("through", {"rings": [("steel", [(194.7, 205.1), (201.5, 197.9)]), ("filler", [
        (201.5, 1.4), (201.6, 1.3)]), ("wrap", [(201.6, 24.2), (215.9, 22.6)])], "lines": []}),
    "through, wrap alone": ("through", {"rings": [("wrap", [(203.2, 24.2), (215.9, 22.6)])], "straight": False}),
}  # fmt: skip


def drawn(name: str) -> str:
    kind, changes = CASES[name]
    draw, base = DRAW[kind]
    return draw(**base(**changes))


@pytest.fixture
def marks(monkeypatch: pytest.MonkeyPatch) -> dict[str, list]:
    """Every area, box and line that a figure draws, with its look."""
    found: dict[str, list] = {"areas": [], "lines": [], "box": [], "hatch": []}
    for kind, kept in found.items():
        real = getattr(_sheet.Sheet, kind)

        def spy(self: object, *places: object, _kept: list = kept, _real: object = real, **look: object) -> None:
            _kept.append((places, look))
            _real(self, *places, **look)  # type: ignore[operator]

        monkeypatch.setattr(_sheet.Sheet, kind, spy)
    return found


# -- every figure ----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("name", CASES)
def test_no_text_is_cut_off_or_overlaps(name: str, written: list) -> None:
    svg = drawn(name)
    assert_legible(written)
    root = ElementTree.fromstring(svg)
    height = float((root.get("height") or "").removesuffix("mm"))
    assert root.get("width") == "170mm" and 25 < height < 190 and len(svg) < 200_000
    assert root.get("role") == "img" and len(described(svg)) > 40
    assert "nan" not in svg and "inf" not in re.sub("information", "", svg)


def test_same_bytes_again_and_no_ids_shared() -> None:
    names = [f"{kind} as usual" for kind in DRAW]
    first = [drawn(name) for name in names]
    assert [drawn(name) for name in names] == first
    seen: set[str] = set()
    for svg in first:
        ids = re.findall(r'\bid="([^"]+)"', svg)
        assert len(ids) == len(set(ids)) and not seen & set(ids)
        seen |= set(ids)
        used = re.findall(r'(?:href="#|url\(#)([^")]+)', svg)
        assert set(used) <= set(ids) and "<style" not in svg


def test_markup_is_text() -> None:
    evil = [
        figures.thickness_routes(**routes(title=EVIL, rows=[(EVIL, True, "", [(EVIL, 2.0, EVIL, "solid")])])),
        figures.tolerances(**swings(title=EVIL, swings=[(EVIL, 9.0, 10.0, EVIL, EVIL)])),
        figures.use_over_layers(**use(title=EVIL)),
        figures.cross_section(**section(title=EVIL, words=[EVIL])),
        figures.repair_along(**along(title=EVIL)),
        figures.through_wall(**through(title=EVIL, state=EVIL)),
    ]
    for svg in evil:
        assert ElementTree.fromstring(svg).findtext(f"{SVG}title") == EVIL
        assert "<b>" not in svg and "<script" not in svg


@pytest.mark.parametrize(
    ("kind", "change", "named"),
    [
        ("routes", {"rows": []}, "rows is empty"),
        ("routes", {"rows": [("", True, "", [])]}, r"rows\[0\] route is empty"),
        ("routes", {"rows": [("a", True, "", [("b", NAN, "", "solid")])]}, r"rows\[0\] demand 0 thickness is nan"),
        ("routes", {"rows": [("a", True, "", [("b", 1, "", "blue")])]}, "fill 'blue'"),
        ("routes", {"rows": [("a", True, "", []), ("b", True, "", [])]}, "more than one route of record"),
        ("routes", {"lines": [("provided", 0)]}, r"lines\[0\] thickness is 0"),
        ("use", {"points": []}, "points is empty"),
        ("use", {"points": [(8, NAN, True)]}, r"points\[0\] use is nan"),
        ("use", {"points": [(8, -0.1, True)]}, r"points\[0\] use is -0.1"),
        ("use", {"points": [(8.5, 0.1, True)]}, r"points\[0\] layers is 8.5"),
        ("use", {"points": [(8, 0.1, True), (8, 0.1, False)]}, r"points\[1\] layers is 8 after 8"),
        ("use", {"points": [(8, 0.1, True), (9, 0.1, True)]}, "more than one design"),
        ("tolerances", {"swings": []}, "swings is empty"),
        ("tolerances", {"swings": [("a", NAN, 1.0, "b", "c")]}, r"swings\[0\] lower thickness is nan"),
        ("tolerances", {"swings": [("a", 1.0, 1.0, "", "c")]}, r"swings\[0\] lower end is empty"),
        ("tolerances", {"required": 0}, "required is 0"),
        ("tolerances", {"provided": INF}, "provided is inf"),
        ("section", {"wall": 305}, "wall is 305"),
        ("section", {"losses": []}, "there is nothing to draw"),
        ("section", {"losses": [[(0, 1), (5, 9.4)]]}, r"losses\[0\] has a depth outside"),
        ("section", {"losses": [[(5, 1), (0, 1)]]}, r"losses\[0\] needs two or more places"),
        ("section", {"losses": [plain(-1000, 1000, 1)]}, "more than once round the pipe"),
        ("section", {"side": "left"}, "side 'left'"),
        ("section", {"later_depth": 12}, "later_depth is 12"),
        ("section", {"opening": -1}, "opening is -1"),
        ("section", {"wrapped": (11, 2, 12.65, 15.07, 0.22, True)}, "does not divide into 2 tiers"),
        ("section", {"wrapped": (11, 1, 12.65, 2.0, 0.22, True)}, "are more than the height"),
        ("section", {"wrapped": (11, 1, NAN, 15.07, 0.22, True)}, "thickness is nan"),
        ("along", {"repairs": []}, "repairs is empty"),
        ("along", {"ends": "round"}, "ends 'round'"),
        ("along", {"joint": -1}, "joint is -1"),
        ("along", {"overlap": NAN}, "overlap is nan"),
        ("along", {"repairs": [ONE | {"full": (-100, 335)}]}, r"repairs\[0\] damage does not lie within its full"),
        ("along", {"repairs": [ONE | {"overall": (-100, 335)}]}, r"repairs\[0\] full does not lie within its overall"),
        ("along", {"repairs": [ONE | {"losses": [plain(0, 10, 99)]}]}, r"repairs\[0\] losses\[0\] has a depth"),
        ("along", {"repairs": [ONE | {"units": [(0, 0)]}]}, r"repairs\[0\] unit 0 width is 0"),
        ("through", {"rings": []}, "rings is empty"),
        ("through", {"rings": [("steel", [(10, 1)])]}, r"rings\[0\] needs two or more radii"),
        ("through", {"rings": [("steel", [(10, 1), (11, NAN)])]}, r"rings\[0\] stress 1 is nan"),
        ("through", {"rings": [("a", [(10, 1), (11, 1)]), ("b", [(12, 1), (13, 1)])]}, "they have to touch"),
    ],
)
def test_figures_refuse(kind: str, change: dict, named: str) -> None:
    draw, base = DRAW[kind]
    with pytest.raises(ValueError, match=named):
        draw(**base(**change))


# -- thickness by route ----------------------------------------------------------------------------------------------
def bars(marks: dict) -> list[tuple[float, float]]:
    """(start, length) of the outlines of all bars, from the top."""
    boxes = [p for p, look in marks["box"] if look.get("edge", "none") != "none" and p[3] == _routes.BAR]
    return [(x, wide) for x, _, wide, _ in boxes]


def test_bars_of_the_routes_are_to_scale_and_marked(marks: dict, written: list) -> None:
    said = described(figures.thickness_routes(**routes()))
    # independent: the axis ends at 1.05 times the longest of all, 14.1 mm, and starts at zero
    per = (_routes.END - _routes.START) / (1.05 * 14.1)
    assert bars(marks) == [(_routes.START, pytest.approx(t * per)) for t in (9.421, 3.2, 14.1, 12.2)]
    colours = [look["edge"] for p, look in marks["box"] if look.get("edge", "none") != "none"]
    assert colours == [_sheet.ACCENT, _sheet.ACCENT, _sheet.RULE, _sheet.RULE]
    dashed = [p[0][0][0][0] for p, look in marks["lines"] if look.get("pen") == 1.2]
    assert dashed == [pytest.approx(_routes.START + t * per) for t in (9.9, 12.65)]
    for part in (
        "load sharing, of record: around the pipe (pressure with shear and torsion) 9.421 mm, governs",
        "yielded steel, for information: no thickness, the remaining wall carries",
        "provided: 12.65 mm", "outside pressure (outside pressure) −0.4 mm",
    ):  # fmt: skip
        assert part in said
    texts = [entry[0] for entry in written]
    for part in ("along the pipe", "end thrust and bending", "9.421 mm governs", "−0.4 mm none needed", "of record",
                 "wrap thickness (mm)", "provided: 12.65 mm", "no thickness: the remaining wall carries the pressure "
                 "below yield", "Solid: around the pipe; hatched: along the pipe; open: pressure test"):  # fmt: skip
        assert any(part in text for text in texts), part


def test_a_route_far_beyond_the_others_is_cut_and_says_so(marks: dict, written: list) -> None:
    drawn("routes, a giant")
    # independent: 5 times the thickness provided, which is the greatest that is of record, ends the longest bar
    longest = max(wide for _, wide in bars(marks))
    assert longest == pytest.approx((_routes.END - _routes.START) / 1.05)
    first = bars(marks)[0][1]
    assert first == pytest.approx(longest * 9.421 / (5 * 12.65))
    texts = [entry[0] for entry in written]
    assert "2090 mm" in texts and "Two slanted strokes: a bar that is longer than the axis." in texts
    drawn("routes as usual")
    assert texts.count("Two slanted strokes: a bar that is longer than the axis.") == 1


# -- use over layers -------------------------------------------------------------------------------------------------
def test_columns_of_the_use_are_to_scale(marks: dict, written: list) -> None:
    said = described(figures.use_over_layers(**use()))
    columns = [(p, look) for p, look in marks["box"] if look.get("edge", "none") != "none"]
    highs = [p[3] for p, _ in columns]
    # independent: the axis reaches 1.12 times the limit, which is above all shares
    assert highs == [pytest.approx(u / 1.12 * _use.HIGH) for u in (0.9731, 0.908, 0.8514, 0.8013)]
    assert [look["edge"] for _, look in columns] == [_sheet.ACCENT] + [_sheet.INK] * 3
    limit = [p[0][0][0][1] for p, look in marks["lines"] if look.get("pen") == 1.2]
    assert limit == [pytest.approx(_use.HEAD + _use.HIGH * (1 - 1 / 1.12))]
    texts = [entry[0] for entry in written]
    assert {"0.9731", "14", "17", "designed", "limit 1 all of it used", "layers (number)"} <= set(texts)
    assert "14 layers: 0.9731, designed" in said and "17 layers: 0.8013" in said


def test_a_use_above_the_limit_is_hatched(marks: dict) -> None:
    drawn("use, above the limit")
    assert len(marks["hatch"]) == 2


# -- tolerances ------------------------------------------------------------------------------------------------------
def test_bars_of_the_tolerances_run_from_the_design_to_their_ends(marks: dict, written: list) -> None:
    said = described(figures.tolerances(**swings()))
    boxes = [(p, look) for p, look in marks["box"] if p[3] == _tornado.BAR and look.get("edge", "none") != "none"]
    upright = [p[0][0] for p, look in marks["lines"] if look.get("pen") == 1.2]
    base, laid = upright[0][0][0], upright[1][0][0]
    per = (laid - base) / (12.65 - 9.421)
    spans = [(p[0], p[0] + p[2]) for p, _ in boxes]
    # independent: each from the line of the design to its own thickness, on one scale
    assert spans[0] == (pytest.approx(base), pytest.approx(base + (11.2 - 9.421) * per))
    assert spans[1] == (pytest.approx(base + (8.1 - 9.421) * per), pytest.approx(base))
    assert len(spans) == 5  # the flat input has no bar, the one without an end is hatched
    assert [look["fill"] for _, look in boxes] == [_sheet.WHITE, _sheet.ACCENT] * 2 + [_sheet.WHITE]
    texts = [entry[0] for entry in written]
    for part in ("11.2 mm at 7.9 mm", "no thickness holds at 8.2 MPa", "required as designed: 9.421 mm",
                 "provided: 12.65 mm", "wrap thickness required (mm)", "The axis does not start at zero.",
                 "Bold: more than the thickness provided."):  # fmt: skip
        assert any(part in text for text in texts), part
    assert "repair design pressure, 9.1 mm at 7.9 MPa, no thickness holds at 8.2 MPa" in said


def test_only_what_is_beyond_the_thickness_provided_is_bold(monkeypatch: pytest.MonkeyPatch) -> None:
    bold = []
    real = _sheet.Sheet.text

    def text(self, x, y, text, **look):
        if look.get("bold"):
            bold.append(text)
        real(self, x, y, text, **look)

    monkeypatch.setattr(_sheet.Sheet, "text", text)
    figures.tolerances(**swings(provided=10.9))
    assert bold == ["11.2 mm at 7.9 mm", "no thickness holds at 8.2 MPa"]


# -- across the pipe -------------------------------------------------------------------------------------------------
def extent(points: list) -> tuple[float, float, float, float]:
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return min(xs), min(ys), max(xs), max(ys)


def test_the_whole_pipe_is_to_scale_with_its_damage_at_the_clock(marks: dict) -> None:
    figures.cross_section(**section(losses=[plain(-10, 10, 3.9)], later_depth=None))
    rings = [p[0][0] for p, _ in marks["areas"] if len(p[0]) == 1 and len(p[0][0]) == 180]
    sizes = [extent(ring)[2] - extent(ring)[0] for ring in rings]
    # independent: wrap, outer surface and bore: 610 + 2 × 15.07, 610, 610 - 2 × 9.3
    assert sizes == [pytest.approx(_cross_section.WHOLE * d / 640.14, rel=1e-3) for d in (640.14, 610.0, 591.4)]
    left, top, right, bottom = extent(rings[0])
    x, y = (left + right) / 2, (top + bottom) / 2
    loss = next(p[0][0] for p, look in marks["areas"] if look.get("pen") == 0.4)
    at = [sum(axis) / len(axis) for axis in zip(*loss, strict=True)]
    # independent: 5:20 is 160 degrees clockwise from the top
    assert math.degrees(math.atan2(at[0] - x, y - at[1])) % 360 == pytest.approx(160, abs=0.5)


def test_an_enlarged_loss_is_as_deep_as_it_is_with_heights_on_one_scale(marks: dict, written: list) -> None:
    figures.cross_section(**section(losses=[[(-40, 0), (-40, 4), (40, 4), (40, 0)]], later_depth=None))
    said = next(e[0] for e in written if e[0].startswith("Not to scale"))
    times = float(re.search(r"drawn ([\d.]+) times", said)[1])
    shapes = [(p[0][0], look) for p, look in marks["areas"] if len(p[0]) == 1]
    steel = [s for s, look in shapes if look.get("fill") == _sheet.RULE and len(s) != 180][-1]
    loss = [s for s, look in shapes if look.get("edge") == _sheet.INK and look.get("pen") == 0.9][-1]
    centre = (_cross_section.LEFT + _cross_section.RIGHT) / 2

    def heights(points: list) -> list[float]:
        near = [y for x, y in points if abs(x - centre) < 1.0]
        return [min(near), max(near)]

    wall, depth = heights(steel), heights(loss)
    # independent: 4 of 9.3 deep from the same surface
    assert (depth[1] - depth[0]) / (wall[1] - wall[0]) == pytest.approx(4 / 9.3, rel=0.02)
    assert depth[0] == pytest.approx(wall[0], abs=0.05)
    per = (wall[1] - wall[0]) / 9.3 / times
    # independent: 80 wide along the outer surface, which is nearly straight there
    reach = [x for x, y in loss]
    assert max(reach) - min(reach) == pytest.approx(2 * per * 305 * math.sin(40 / 305), rel=1e-6)


def test_layers_tiers_and_bond_lines_are_drawn_one_by_one(marks: dict, written: list) -> None:
    def bend_lines(pen: float) -> list[int]:
        return [len(p[0]) for p, look in marks["lines"] if look.get("pen") == pen and look["colour"] == _sheet.ACCENT]

    figures.cross_section(**section(wrapped=TWO_SLEEVES))
    bonds = [len(p[0]) for p, look in marks["areas"] if look.get("fill") == _sheet.RULE and len(p[0]) > 1]
    assert bonds == [22] and bend_lines(1.8) == [1]  # one below each layer, and one joint of two sleeves
    marks["lines"].clear()
    figures.cross_section(**section(wrapped=CLOTH))
    assert bend_lines(0.4) == [13]
    assert any("bond lines of 0.22 mm" in e[0] for e in written)
    drawn("section, sixty layers")
    assert any("too thin to be drawn one by one" in e[0] for e in written)


def test_filler_is_under_a_wrap_on_outer_loss_only(written: list) -> None:
    for changes, there in (({}, True), ({"side": "inner"}, False), ({"wrapped": None}, False)):
        written.clear()
        figures.cross_section(**section(**changes))
        assert any("Dotted: filler." in e[0] for e in written) == there


def test_the_depth_of_the_design_is_dashed_only_where_it_is_greater(written: list) -> None:
    for later, there in ((4.6, True), (3.9, False), (None, False)):
        written.clear()
        figures.cross_section(**section(later_depth=later))
        assert any(e[0].startswith("Dashed: depth that the repair is designed for") for e in written) == there


# -- along the pipe --------------------------------------------------------------------------------------------------
def test_the_repair_along_the_pipe_is_to_scale(marks: dict, written: list) -> None:
    said = described(figures.repair_along(**along()))
    per = (_along.RIGHT - _along.LEFT) / (760 * (1 + 2 * _along.SPARE))
    wrap = next(p[0][0] for p, look in marks["areas"] if look.get("edge") == _sheet.ACCENT)
    left, top, right, bottom = extent(wrap)
    # independent: 670 of full thickness, centred; heights 15.07 of wrap and 9.3 of wall on one scale
    assert right - left == pytest.approx(670 * per)
    steel = next(p for p, look in marks["box"] if look.get("fill") == _sheet.RULE)
    assert (bottom - top) / steel[3] == pytest.approx(15.07 / 9.3) and steel[1] == pytest.approx(bottom)
    note = next(e[0] for e in written if "heights drawn" in e[0])
    assert steel[3] == pytest.approx(9.3 * per * float(re.search(r"drawn ([\d.]+) times", note)[1]))
    joint = [p[0] for p, look in marks["lines"] if look.get("pen") == 1.2 and look.get("colour") == _sheet.INK]
    assert len(joint) == 1
    # independent: 260 + 410 butted and centred meet at -335 + 260
    assert joint[0][0][0][0] == pytest.approx((_along.LEFT + _along.RIGHT) / 2 - 75 * per)
    texts = [e[0] for e in written]
    for part in ("overall 760 mm", "full thickness 670 mm, 603 mm required", "overlap 212 mm", "fillet 45 mm each end",
                 "damage with allowance 246 mm", "steel wall 9.3 mm", "wrap, 11 layers 12.65 mm counted 15.07 mm high",
                 "axial distance from the middle of all damage, downstream → (mm)", "Overlap required on each side: "
                 "119.2 mm.", "Heavy upright lines in the wrap: butted joints of units."):  # fmt: skip
        assert any(part in text for text in texts), part
    assert "overlap 212 mm each side (119.2 mm required)" in said


def test_tapered_ends_run_out_and_bands_show_their_laps(marks: dict) -> None:
    drawn("along, tapered bands")
    wrap = next(p[0][0] for p, look in marks["areas"] if look.get("edge") == _sheet.ACCENT)
    low = [x for x, y in wrap if y == max(q[1] for q in wrap)]
    high = [x for x, y in wrap if y == min(q[1] for q in wrap)]
    per = (_along.RIGHT - _along.LEFT) / (805 * (1 + 2 * _along.SPARE))
    # independent: 805 overall at the pipe, 694 of full thickness on top
    assert max(low) - min(low) == pytest.approx(805 * per) and max(high) - min(high) == pytest.approx(694 * per)
    lap = next(p[0] for p, look in marks["lines"] if look.get("dash") == (3, 1.6))
    assert lap[1][0][0] - lap[0][0][0] == pytest.approx(35 * per)


def test_an_uneven_overlap_is_said_on_both_sides() -> None:
    said = described(drawn("along, uneven"))
    # independent: (445 - 246) / 2 = 99.5 each side, moved by 60 downstream
    assert "39.5 mm upstream, 159.5 mm downstream (119.2 mm required)" in said


def test_more_repairs_than_are_drawn_are_listed(written: list) -> None:
    drawn("along, five")
    texts = [e[0] for e in written]
    assert [t for t in texts if t in ("repair 0", "repair 1", "repair 2", "repair 3")] == [
        "repair 0", "repair 1", "repair 2"]  # fmt: skip
    assert sum(t.startswith("Not drawn: repair") for t in texts) == 2


# -- through the wall and unrolled -----------------------------------------------------------------------------------
def test_stresses_through_the_wall_are_to_scale(marks: dict, written: list) -> None:
    said = described(figures.through_wall(**through()))
    lines = [p[0][0] for p, look in marks["lines"] if look.get("pen") == 1.6]
    level = next(p[0][0] for p, look in marks["lines"] if look.get("dash") == (5, 2.5))
    bottom = next(p[0][0] for p, look in marks["lines"] if look.get("pen") == 0.7)[1][1]
    # independent: 360 of SMYS gives the scale; the bore is at the left edge, 21.2 of steel, filler and wrap
    per = (bottom - level[0][1]) / 360
    assert [(bottom - y) / per for line in lines for _, y in line] == [
        pytest.approx(s) for s in (205.1, 197.9, 1.4, 1.3, 24.2, 22.6)]  # fmt: skip
    across = (lines[2][1][0] - lines[0][0][0]) / 21.2
    assert [(line[1][0] - line[0][0]) / across for line in lines] == [pytest.approx(t) for t in (6.8, 1.7, 12.7)]
    assert {"steel", "filler", "wrap"} <= {e[0] for e in written} and "SMYS: 360 MPa" in said


def test_several_repairs_their_gap_and_what_is_kept_clear(marks: dict, written: list) -> None:
    svg = figures.unwrapped(**others.PIPES["two repairs over four clusters"])
    texts = [e[0] for e in written]
    # independent: full thickness ends at -420 and begins again at 350
    assert "gap 770 mm" in texts and "all damage 1800 mm long" in texts
    assert any("cluster 1, 120 mm long × 150 mm wide, centre at 11:48 (governs)" in t for t in texts)
    tints = [p for p, look in marks["box"] if look.get("fill") == _sheet.TINT_DEEP]
    assert len(tints) == 2 and tints[0][2] == pytest.approx(tints[1][2])
    assert "repair 2: overall 805 mm" in described(svg)
    marks["hatch"].clear()
    figures.unwrapped(**others.PIPES["welds and repairs beside"])
    # 25 from the weld in the drawing and 180 from both repairs, each hatched both ways; the damage one way
    assert len(marks["hatch"]) == 2 * 4 + 1
    wide = sorted({round(p[2], 3) for p, look in marks["hatch"] if look.get("gap") == 1.6})
    assert wide[1] / wide[0] == pytest.approx(180 / 25, rel=1e-3)
    assert "Kept clear, cross-hatched: no full thickness within 180 mm of that of another repair." in [
        e[0] for e in written]  # fmt: skip


def test_dimensions_share_a_row_only_where_they_do_not_meet() -> None:
    one = _dimensions.Dimension(10, 60, "one 50 mm", 0)
    other, over = _dimensions.Dimension(60, 110, "two 50 mm", 0), _dimensions.Dimension(40, 90, "three 50 mm", 0)
    assert _dimensions.rows_of([one, other], 0, 170) == [[one, other]]
    assert _dimensions.rows_of([one, over], 0, 170) == [[one], [over]]
    narrow = _dimensions.Dimension(10, 16, "narrow 6 mm", 0)  # its text stands right of it
    assert _dimensions.rows_of([narrow, over], 0, 170) == [[narrow, over]]
    assert _dimensions.rows_of([narrow, _dimensions.Dimension(20, 90, "x", 0)], 0, 170) != [[narrow, over]]
    assert _dimensions.rows_height([one, other, over], 0, 170) == 2 * _dimensions.ROW


def test_a_part_of_a_loss_is_cut_where_it_leaves_the_view() -> None:
    # independent: a straight rise from 0 to 4 over 8, seen from 2 to 6
    assert _wrap.part([(0, 0), (8, 4)], 2, 6) == [(2, 1), (6, 3)]
    assert _wrap.part([(0, 0), (8, 4)], 9, 12) == []
    assert _wrap.part([(0, 0), (8, 4)], -1, 9) == [(0, 0), (8, 4)]


# -- whatever comes --------------------------------------------------------------------------------------------------
QUIET = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
SIZES = st.floats(0.01, 1e4)


@QUIET
@given(st.lists(st.tuples(st.booleans(), SIZES | st.none(), SIZES | st.none()), min_size=1, max_size=7), SIZES, SIZES)
def test_any_tolerances_are_legible(written: list, found: list, required: float, provided: float) -> None:
    written.clear()
    rows = [("repair design pressure" if long else "depth", low, high, "12.34 MPa", "1.234 × 10⁻⁵ 1/°C")
            for long, low, high in found]  # fmt: skip
    figures.tolerances(swings=rows, required=required, provided=provided, length_unit="mm", title="t")
    assert_legible(written)


@QUIET
@given(st.floats(48, 1500), st.floats(0.02, 0.12), st.floats(0.01, 0.95), st.floats(0.02, 0.95), st.integers(1, 40),
       st.floats(0, 11.99), st.booleans(), st.integers(1, 2))  # fmt: skip
def test_any_cross_section_is_legible(
    written: list, diameter: float, share: float, wide: float, deep: float, layers: int, clock: float, inner: bool,
    tiers: int,
) -> None:  # fmt: skip
    written.clear()
    wall, half = diameter * share, wide * math.pi * diameter / 2
    figures.cross_section(**section(
        outside_diameter=diameter, wall=wall, defect_clock=clock, losses=[plain(-half, half, deep * wall)],
        later_depth=wall * (deep + 1) / 2, side="inner" if inner else "outer", seam_clock=(clock + 1) % 12,
        wrapped=(layers * tiers, tiers, layers * tiers * 1.15, layers * tiers * 1.37, 0.22, True)))  # fmt: skip
    assert_legible(written)


@QUIET
@given(st.integers(1, 4), st.floats(10, 3000), st.floats(5, 400), st.floats(2, 120), st.floats(3, 30),
       st.integers(1, 30), st.booleans())  # fmt: skip
def test_any_repair_along_is_legible(
    written: list, count: int, damage: float, lap: float, end: float, wall: float, layers: int, tapered: bool
) -> None:
    written.clear()
    cover = damage + 2 * lap
    made = [repair(f"repair {i}", i * 2 * cover, damage, [cover / 2] * 2, 0, cover, cover + 2 * end,
                   [plain(i * 2 * cover - damage / 3, i * 2 * cover + damage / 3, 0.5 * wall)])
            for i in range(count)]  # fmt: skip
    figures.repair_along(**along(repairs=made, wall=wall, later_depth=0.6 * wall, overlap=lap, end=end,
                                 wrapped=(layers, 1, layers * 0.66, layers * 0.66, 0.0, False),
                                 ends="tapered" if tapered else "square with fillet"))  # fmt: skip
    assert_legible(written)


# -- from a record to drawings ---------------------------------------------------------------------------------------
NAMES = ["thickness routes", "unwrapped pipe", "repair along", "cross-section", "use over layers", "tolerances",
         "through the wall"]  # fmt: skip


def value(magnitude: float, unit: str = "mm") -> dict:
    return {"magnitude": magnitude, "unit": unit}


def stated(**fields: object) -> list[dict]:
    """Inputs of a record: numbers in the units we calculate in, words as written."""
    given = {"defect.kind": "external metal loss", "defect.depth": 3.9, "defect.length": 236.0, "pipe.smys": 360.0,
             "pipe.sound_wall": 8.6}  # fmt: skip
    given |= {k.replace("__", "."): v for k, v in fields.items()}
    return [{"field": k, "written": v if isinstance(v, str) else "", "magnitude": None if isinstance(v, str) else v}
            for k, v in given.items()]  # fmt: skip


def laid(label: str = "1", middle: float = 0.0, damage_middle: float | None = None, **changes: object) -> dict:
    return {"label": label, "middle": middle, "damage_middle": middle if damage_middle is None else damage_middle,
            "damage": 246.0, "widths": [170.0, 260.0, 170.0], "joint": 0.0, "cover": 600.0, "overall": 690.42,
            "full_required": 484.4} | changes  # fmt: skip


@pytest.fixture
def record() -> dict:
    """What the drawings of a wrap read of a record."""
    return {
        "case": {"id": "T-1", "display": "SI"},
        "inputs": stated(),
        "site": {"dig": None, "wrap": None},
        "items": [],
        "forms": [],
        "profile": None,
        "allowable": None,
        "life": None,
        "chance": None,
        "clusters": None,
        "decision": {"interim_limit": None},
        "system": {"type": "layered sleeve", "rows": []},
        "geometry": {
            "outside_diameter": 406.4, "defect_length": 246.0, "defect_width": 154.0, "defect_clock": "5:20",
            "seam_clock": "10:45", "clear_upstream": 4190.0, "clear_downstream": 420.0, "wall": 8.51,
            "depth_limit_share": None, "grid": None,
            "wrap": {"repairs": [laid()], "overlap": 119.2, "end": 45.21, "build_up": 15.07, "tiers": 1,
                     "thickness": 12.65, "layers": 11, "bond_line": 0.22, "depth": 4.1, "opening": None,
                     "end_from_weld": 25.0, "least_gap": 210.0, "ends": "square with fillet"},
        },
        "routes": [
            {"route": "load sharing", "required": value(9.832), "chosen": True, "reason": "",
             "demands": [{"what": "around the pipe", "required": value(9.832), "load_case": "pressure"}]},
            {"route": "yielded steel", "required": None, "chosen": False, "reason": "it does not yield",
             "demands": [{"what": "around the pipe", "required": value(1.0), "load_case": "pressure"}]},
        ],
        "bears": {"uses": [{"layers": 11, "use": value(0.7772, ""), "designed": True}], "restored": None, "box": []},
        "why": {"required": 9.832, "provided": 12.65, "swings": [
            {"name": "depth", "low": 9.0, "high": None, "low_label": "3.8 mm", "high_label": "4.4 mm"}]},
        "opinion": {"through": {"state": "no axial load", "rings": [
            {"name": "steel", "points": [[194.7, 205.1], [201.5, 197.9]]},
            {"name": "wrap", "points": [[201.5, 24.2], [214.2, 22.6]]}]}},
    }  # fmt: skip


def caught(record: dict) -> dict[str, dict]:
    """Figure -> what it was asked to draw."""
    found: dict[str, dict] = {}
    for name in ("routes", "use", "tolerances", "along", "cross_section", "through_wall", "unwrapped"):
        getattr(wrap_drawings, name)(record, lambda figure, **asked: found.setdefault(figure, asked) and figure)
    return found


def test_a_record_of_a_wrap_has_all_its_drawings(record: dict) -> None:
    made = drawings(record)
    assert list(made) == NAMES
    for svg in made.values():
        assert (ElementTree.fromstring(svg).findtext(f"{SVG}title") or "").startswith("Case T-1: ")


def test_without_data_nothing_is_drawn(record: dict) -> None:
    record["geometry"] |= {"wrap": None, "defect_clock": None}
    record |= {"routes": [], "bears": None, "why": None, "opinion": None, "system": None}
    assert drawings(record) == {}
    record["geometry"]["defect_clock"] = "5:20"
    assert list(drawings(record)) == ["unwrapped pipe"]  # the bare pipe
    record |= {"bears": {"uses": []}, "why": {"swings": []}, "opinion": {"difference": None}}
    assert list(drawings(record)) == ["unwrapped pipe"]


def test_drawings_of_a_wrap_are_in_the_units_of_the_record(record: dict) -> None:
    metric, us = drawings(record), drawings(record | {"case": record["case"] | {"display": "US"}})
    for name in NAMES:
        if name == "use over layers":
            continue
        assert re.search(r"\d (mm|MPa)\b", described(metric[name]) + metric[name]), name
        # The ends of a tolerance come as text, in the units of the record they were made for.
        told = described(us[name]).replace("at 3.8 mm", "").replace("at 4.4 mm", "")
        assert re.search(r"\d (in|psi)\b", told) and not re.search(r"\d (mm|MPa)\b", told), name
    # independent: 12.65 / 25.4 = 0.49803
    assert "provided: 0.4980 in" in described(us["thickness routes"])


def test_units_of_a_repair_are_centred_on_it_with_their_joints() -> None:
    # independent: 200 + 300 + 200 less two laps of 50 is 600 long, half of it upstream of the middle at 40
    placed = wrap_drawings._units({"widths": [200.0, 300.0, 200.0], "joint": 50.0, "middle": 40.0})
    assert placed == [(-260.0, 200.0), (-110.0, 300.0), (140.0, 200.0)]


def test_what_a_record_says_reaches_the_figures(record: dict) -> None:
    record["inputs"] = stated(defect__neighbour_upstream=900.0)
    asked = caught(record)
    assert asked["thickness_routes"]["rows"][1] == ["yielded steel", False, "it does not yield", []]
    assert asked["thickness_routes"]["lines"] == [["provided", 12.65]]
    assert asked["tolerances"]["swings"] == [["depth", 9.0, None, "3.8 mm", "4.4 mm"]]
    assert asked["cross_section"]["defect_clock"] == pytest.approx(5 + 1 / 3)
    assert asked["cross_section"]["wrapped"] == [11, 1, 12.65, 15.07, 0.22, True]
    # independent: 8.51 of wall less 3.9 measured
    assert asked["cross_section"]["words"][1] == "4.61 mm of the wall left there"
    one = asked["repair_along"]["repairs"][0]
    assert one["damage"] == [-123.0, 123.0] and one["full"] == [-300.0, 300.0] and len(one["losses"]) == 1
    flat = asked["unwrapped"]
    # the defect as measured, without the allowance on its length: distances to welds count from its edges
    assert flat["damage"] == [[-118.0, 118.0, pytest.approx(5 + 1 / 3), 154.0, "", True]]
    assert flat["repairs"][0]["units"][1] == [-130.0, 260.0, "sleeve 2"]
    assert flat["upstream_neighbour"] == 900.0 and flat["keep_from_repair"] == 210.0


def test_what_governs_beyond_the_routes_has_a_line_of_its_own(record: dict) -> None:
    record["why"] |= {"required": 11.0, "governing": "impact, impact test over a hole"}
    words = "required in all (impact, impact test over a hole)"
    assert caught(record)["thickness_routes"]["lines"] == [[words, 11.0], ["provided", 12.65]]
    record["why"]["required"] = 12.65
    assert caught(record)["thickness_routes"]["lines"] == [[f"{words}, and provided", 12.65]]


def test_an_opening_takes_the_wall_that_the_case_states(record: dict) -> None:
    record["inputs"] = stated(defect__kind="leak", defect__depth=None, defect__length=48.0)
    record["geometry"] |= {"wall": None}
    record["geometry"]["wrap"] |= {"opening": 10.0, "depth": None}
    asked = caught(record)
    assert asked["cross_section"]["wall"] == 8.6 and asked["cross_section"]["losses"] == []
    assert asked["cross_section"]["words"] == ["opening through the wall, 10 mm at the end of the repair's life"]
    assert asked["repair_along"]["opening"] == 10.0
    assert set(NAMES) - set(drawings(record)) == set()
    record["geometry"]["wrap"]["opening"] = None
    assert not {"repair along", "cross-section"} & set(drawings(record))  # a whole wall would be untrue
    record["geometry"]["wrap"]["opening"] = 10.0
    record["inputs"] = stated(defect__kind="leak", pipe__sound_wall=None)
    assert not {"repair along", "cross-section"} & set(drawings(record))


def test_clusters_lie_where_they_were_measured(record: dict) -> None:
    circumference = math.pi * 406.4
    record["clusters"] = {
        "clock": "5:20", "middle_around": None, "rule": "6t",
        "boxes": [[100, 160, -20.0, 20.0, 4.0], [110, 150, circumference - 60, circumference - 40, 2.0],
                  [900, 940, 300.0, 340.0, 1.0]],
        "pieces": [
            {"label": "1", "along": [100, 160], "around": [-60.0, 20.0], "depth": 4.0, "governs": True},
            {"label": "2", "along": [900, 940], "around": [300.0, 340.0], "depth": 1.0, "governs": False},
        ],
    }  # fmt: skip
    record["geometry"]["wrap"]["repairs"] = [
        laid("1", -390.0, damage=70.0), laid("2", 400.0, damage=50.0, widths=[600.0])]  # fmt: skip
    asked = caught(record)
    # independent: all damage from 100 to 940 has its middle at 520; 20 round a pipe is 12 × 20 / circumference hours
    first, second = asked["unwrapped"]["damage"]
    assert first == [-420.0, -360.0, pytest.approx(12 - 12 * 20 / circumference), 80.0, "1", True]
    assert second[:2] == [380.0, 420.0] and second[4:] == ["2", False]
    assert [r["units"][0][2] for r in asked["unwrapped"]["repairs"]] == ["sleeve 1.1", "sleeve 2.1"]
    # each repair shows its own loss only
    assert [[line[0][0] for line in r["losses"]] for r in asked["repair_along"]["repairs"]] == [[-420.0], [380.0]]
    # the deepest box is at twelve; the one beside it, measured on the other side of twelve, is 40 to 60 before it
    across = asked["cross_section"]
    assert across["defect_clock"] == pytest.approx(0.0)
    assert [(line[0][0], line[-1][0]) for line in across["losses"]] == [
        (-20.0, 20.0), (pytest.approx(-60.0), pytest.approx(-40.0))]  # fmt: skip
    assert across["words"][0] == "loss 4 mm deep, 80 mm wide in 2 pits, as measured"
    assert set(NAMES) <= {*drawings(record), "clusters"}


def test_a_grid_gives_the_measured_form(record: dict) -> None:
    record["geometry"]["grid"] = {
        "axial": [0.0, 118.0, 236.0], "around": [0.0, 77.0, 154.0],
        "depth": [[0.0, 1.0, 0.0], [0.5, 3.9, 0.2], [0.0, 2.0, 0.0]], "profile": [0.5, 3.9, 0.2],
        "deepest": [118.0, 77.0], "notes": [], "file": "",
    }  # fmt: skip
    asked = caught(record)
    assert asked["cross_section"]["losses"] == [[[-77.0, 1.0], [0.0, 3.9], [77.0, 2.0]]]
    assert asked["repair_along"]["repairs"][0]["losses"] == [[[-118.0, 0.5], [0.0, 3.9], [118.0, 0.2]]]
    assert asked["cross_section"]["measured"] and asked["repair_along"]["measured"]
