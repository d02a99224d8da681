"""Formulas as SVG: drawn as the layout library draws them, only sooner and smaller."""

from __future__ import annotations

import html
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from wrapcalc.errors import MathsNotRendered
from wrapcalc.render import maths
from wrapcalc.render.maths import tex_svg

ziamath, Mrow = maths.ziamath, maths.Mrow
mnode = ziamath.nodes.mnode

FORMULAS = [
    r"P_{F}",
    r"S_{\mathrm{flow}} = 1.1 \cdot S_{\mathrm{y}}",
    r"\frac{2 \cdot 400.5 \cdot 9.53}{609.6} \cdot \frac{1 - 0.85 \cdot \frac{4.1}{9.53}}"
    r"{1 - 0.85 \cdot \frac{4.1}{9.53 \cdot 2.117}} = 10.37\,\mathrm{MPa}",
    r"M = \begin{cases} \sqrt{1 + 0.6275 \cdot z - 0.003375 \cdot z^{2}} & z \leq 50 \\"
    r" 3.3 + 0.032 \cdot z & \text{otherwise} \end{cases}",
    r"\min\left(\frac{a}{b}, \left(1 + \left(\frac{x}{y^{2}}\right)^{0.5}\right)^{2}\right)",
    r"\max\left(\left\lceil \frac{x}{50} \right\rceil, 2\right) = \lceil x \rceil + \lfloor y \rfloor",
    r"\varepsilon_{c} = 0.25\,\% + 20\,^{\circ}\mathrm{C} = 3.5\,\mathrm{in}^{2}",
    r"\sqrt{\frac{\left(D - t\right) \cdot L}{2}} \ne \sum_{i=1}^{n} x_{i} \pm \bar{x}",
    r"\exp\left(-\frac{E}{R \cdot T}\right) \cdot \ln\left(x\right) \cdot \left|y\right|",
    r"\mathrm{AVA} = \text{AVA To} = AVA",
    r"x^{\frac{\left(a + b\right)}{c}} \geq 1{,}234.5",
]
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def stock(tex: str, display: bool) -> ET.Element:
    """As the library draws it by itself: its own font object, row and style code."""
    kept = ziamath.config.svg2, ziamath.config.precision
    row = mnode._node_classes["mrow"]
    try:
        ziamath.config.svg2, ziamath.config.precision = False, 3
        mnode._node_classes["mrow"] = Mrow
        return ziamath.Latex(tex, size=16, inline=not display, margin=1.0).svgxml()
    finally:
        mnode._node_classes["mrow"] = row
        ziamath.config.svg2, ziamath.config.precision = kept


def points(svg: ET.Element) -> list[list[tuple[float, float]]]:
    """The end and control points of each path in px, from absolute or from placed relative path data."""
    shapes = []
    for path in (e for e in svg.iter() if e.tag.endswith("path")):
        a, _, _, d, e, f = map(float, NUMBER.findall(path.get("transform", "matrix(1 0 0 1 0 0)")))
        x = y = 0.0
        shape = []
        for letter, rest in re.findall(r"([MLQCZlqcz])([^MLQCZlqcz]*)", path.get("d", "")):
            values = list(map(float, NUMBER.findall(rest)))
            pairs = list(zip(values[::2], values[1::2], strict=True))
            if letter.islower():
                pairs = [(x + dx, y + dy) for dx, dy in pairs]
            shape += [(a * px + e, d * py + f) for px, py in pairs]
            x, y = pairs[-1] if pairs else (x, y)
        shapes.append(shape)
    return shapes


def bars(svg: ET.Element) -> list[list[float]]:
    rects = [e for e in svg.iter() if e.tag.endswith("rect")]
    return [[float(e.get(name, "nan")) for name in ("x", "y", "width", "height")] for e in rects]


@pytest.mark.parametrize("display", [True, False])
@pytest.mark.parametrize("tex", FORMULAS)
def test_the_drawing_is_that_of_the_library(tex, display):
    """Every point of every glyph, every bar and the box, to a hundredth of a pixel or so."""
    ours, theirs = ET.fromstring(tex_svg(tex, display=display)), stock(tex, display)
    assert len(points(ours)) == len(points(theirs)) > 0
    for mine, other in zip(points(ours), points(theirs), strict=True):
        assert mine == pytest.approx([pytest.approx(p, abs=0.02) for p in other])
    for mine, other in zip(bars(ours), bars(theirs), strict=True):
        assert mine == pytest.approx(other, abs=0.02)
    box = [list(map(float, svg.get("viewBox", "").split())) for svg in (ours, theirs)]
    assert box[0] == pytest.approx(box[1], abs=0.02)


def test_label_role_and_no_ids():
    tex = r"a < b \text{ if } x \geq 2"
    svg = tex_svg(tex)
    root = ET.fromstring(svg)
    assert root.get("role") == "img" and root.get("aria-label") == tex
    assert html.escape(tex) in svg
    assert " id=" not in svg and "href" not in svg and "url(" not in svg
    assert {e.get("fill") for e in root.iter() if e is not root} == {"currentColor"}


def test_inline_stands_on_the_baseline():
    """The depth below the line is that of the drawing: a letter with a tail hangs lower."""
    depths = {}
    for tex in ("x", "y", r"\frac{a}{b}"):
        root = ET.fromstring(tex_svg(tex, display=False))
        depth = -float(re.search(r"vertical-align:(-?[\d.]+)px", root.get("style", "")).group(1))
        top, height = (float(root.get("viewBox").split()[i]) for i in (1, 3))
        assert depth == pytest.approx(top + height, abs=0.011)
        depths[tex] = depth
    assert depths["x"] < depths["y"] < depths[r"\frac{a}{b}"]
    assert "vertical-align" not in tex_svg("y")


def test_the_same_bytes_in_any_order():
    def draw(order: list[str]) -> dict[str, str]:
        maths.tex_svg.cache_clear()
        return {tex: tex_svg(tex) for tex in order}

    forward, backward = draw(FORMULAS), draw(FORMULAS[::-1])
    assert forward == backward
    code = (
        "import sys; from wrapcalc.render.maths import tex_svg;"
        "sys.stdout.buffer.write(tex_svg(sys.argv[1]).encode())"
    )
    command = [sys.executable, "-c", code, FORMULAS[4]]
    fresh = subprocess.run(command, check=True, capture_output=True, cwd=Path(__file__).parents[2])
    assert fresh.stdout.decode() == forward[FORMULAS[4]]


def test_size_scales_the_drawing():
    small, large = (ET.fromstring(tex_svg("x + 1", size=size)) for size in (12, 24))
    ratio = (float(large.get("width")) - 2) / (float(small.get("width")) - 2)
    assert ratio == pytest.approx(2, abs=0.01)


def test_the_librarys_settings_are_put_back():
    maths.tex_svg.cache_clear()
    config = ziamath.config
    before = (config.svg2, config.precision, config.math.color, config.numbering.autonumber)
    asdict = ziamath.styles.asdict
    tex_svg("x_{1}")
    with pytest.raises(MathsNotRendered):
        tex_svg(r"\frac{1")
    assert (config.svg2, config.precision, config.math.color, config.numbering.autonumber) == before
    assert ziamath.styles.asdict is asdict


@pytest.mark.parametrize(
    "tex",
    [
        *("", " ", r"\frac{1", r"\frac{1}", r"\foo{x}", "x}", r"x^", r"\begin{nope} x \end{nope}", "a_b_c"),
        *(r"\text{$x}", "管", "a & b", r"\sqrt", r"\left( x", r"\begin{cases} a & b"),
    ],
)
def test_what_cannot_be_set_is_refused_by_name(tex):
    with pytest.raises(MathsNotRendered) as caught:
        tex_svg(tex)
    assert not tex.strip() or repr(tex) in str(caught.value)


def test_nested_brackets_do_not_cost_exponential_time():
    """Counts the nodes that are laid out: by itself the library lays out ten times as many."""
    made = 0
    original = mnode.Mnode.__init__

    def counting(self, *args, **kwargs):
        nonlocal made
        made += 1
        original(self, *args, **kwargs)

    counts = []
    mnode.Mnode.__init__ = counting
    try:
        for draw in (lambda: tex_svg.__wrapped__(FORMULAS[2]), lambda: stock(FORMULAS[2], True)):
            made = 0
            draw()
            counts.append(made)
    finally:
        mnode.Mnode.__init__ = original
    assert counts[0] * 4 < counts[1]
