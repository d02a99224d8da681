"""Figures for a screen: the same drawing, made in a fraction of the time."""

import re
from importlib import resources
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc import record as records
from wrapcalc.case import load_bundle
from wrapcalc.render import assessment_drawings, figures, wrap_drawings
from wrapcalc.render.figures import _assessment_curve
from wrapcalc.stages.job import run

SVG = "{http://www.w3.org/2000/svg}"
EXAMPLE = Path(str(resources.files("wrapcalc.example")))
DRAWN = {"methods": assessment_drawings.methods, "curve": assessment_drawings.curve, "routes": wrap_drawings.routes,
         "use": wrap_drawings.use, "along": wrap_drawings.along}


@pytest.fixture(scope="module")
def record():
    return records.build(run(load_bundle(EXAMPLE / "HB-07.toml")))


def page(figure, **arguments):
    return getattr(figures, figure)(**arguments)


def screen(figure, **arguments):
    with figures.on_screen():
        return getattr(figures, figure)(**arguments)


@pytest.mark.parametrize("name", DRAWN)
def test_a_figure_on_a_screen_has_the_size_name_and_description_of_that_on_a_page(record, name):
    one, other = (ElementTree.fromstring(DRAWN[name](record, draw)) for draw in (page, screen))
    for key in ("width", "height", "viewBox", "role"):
        assert one.get(key) == other.get(key)
    for part in ("title", "desc"):
        assert one.find(SVG + part).text == other.find(SVG + part).text
        assert other.get({"title": "aria-labelledby", "desc": "aria-describedby"}[part]) == other.find(
            SVG + part).get("id")


@pytest.mark.parametrize("name", DRAWN)
def test_its_letters_are_text_that_lies_on_the_sheet(record, name):
    drawn = ElementTree.fromstring(DRAWN[name](record, screen))
    wide, high = map(float, drawn.get("viewBox").split()[2:])
    texts = drawn.findall(f".//{SVG}text")
    assert texts and all(t.text.strip() for t in texts)
    for t in texts:
        x, y, length = (float(t.get(k)) for k in ("x", "y", "textLength"))
        assert -1 <= x <= wide + 1 and -1 <= y <= high + 1 and length > 0
        assert t.get("transform") or x + length <= wide + 1


@pytest.mark.parametrize("name", DRAWN)
def test_as_many_outlines_are_drawn_as_on_a_page_beside_its_letters(record, name):
    """Matplotlib draws each shape as one <path> outside the definitions of its letters."""
    shapes = re.findall(r'<g id="[^"]*patch[^"]*">|<path [^>]*clip|<path d=', DRAWN[name](record, screen))
    on_page = re.sub(r"<defs>.*?</defs>", "", DRAWN[name](record, page), flags=re.S)
    letters = len(re.findall(r"<use ", on_page))
    assert letters and len(shapes) == len(re.findall(r"<path ", on_page))


def test_pages_are_made_as_before_after_a_figure_for_a_screen(record):
    before = DRAWN["use"](record, page)
    DRAWN["use"](record, screen)
    assert DRAWN["use"](record, page) == before and "<text" not in before


def test_text_is_escaped():
    svg = screen("margins", rows=[("a < b & c", 0.5, "met")], title="x")
    assert "a &lt; b &amp; c" in svg


@settings(max_examples=25, deadline=None)
@given(long=st.floats(20, 900), deep=st.floats(0.2, 9), level=st.floats(0.5, 8), steep=st.floats(0.1, 3))
def test_words_stand_where_a_look_at_every_place_puts_them(long, deep, level, steep):
    """Places are left out only where they cannot be better; the second route leaves out none."""
    xs = [20 + 20 * k for k in range(25)]
    arguments = {"curves": [["one", [[x, level / (1 + steep * x / 200) + 0.3] for x in xs], True],
                            ["two", [[x, level] for x in xs], False]],
                 "point": [long, deep], "depth_limit": 7.0, "depth_limit_label": "depth limit", "length_unit": "mm",
                 "depth_unit": "mm", "pressure_words": "at the MAOP", "title": "t"}
    fast = screen("assessment_curve", **arguments)
    kept = _assessment_curve._STEADY
    _assessment_curve._STEADY = float("inf")
    try:
        assert screen("assessment_curve", **arguments) == fast
    finally:
        _assessment_curve._STEADY = kept
