"""LaTeX to inline SVG, without a browser, a TeX installation or a network.

The layout is ziamath's. Two things are done here to make it several times faster and its output smaller:
a font object that keeps what it has worked out about its glyphs, and a row that measures only when it must.
"""

from __future__ import annotations

import re
import warnings
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from html import escape
from typing import Any

with warnings.catch_warnings():  # ziamath 0.13 finds its font by a call that importlib deprecates
    warnings.simplefilter("ignore", DeprecationWarning)
    import ziamath
    import ziamath.styles
    import ziamath.zmath
from ziafont.glyph import SimpleGlyph
from ziafont.svgpath import Cubic, Lineto, Moveto, Quad
from ziamath.mathfont import MathFont
from ziamath.nodes.mrow import Mrow
from ziamath.operators import names as operator_names
from ziamath.operators import operators

from wrapcalc.errors import MathsNotRendered

_FONT_NAME = "wrapcalc-stix-two-math"
_SIZE = 16.0
_MARGIN = 1.0
_STRETCHY = frozenset(name for (name, _form), params in operators.items() if params.get("stretchy") == "true")
_ENVIRONMENT = re.compile(r"\\begin\{([^}]*)\}")
_ENVIRONMENTS = frozenset(
    "aligned align align* array cases matrix pmatrix bmatrix Bmatrix vmatrix split".split()
)
# Elements that ziamath turns into a row of their own, which sets a row height of its own for what it holds.
_ROW_TAGS = frozenset({"mrow", "math", "mtd", "merror"})


def _pair(x: float, y: float) -> str:
    """Two coordinates in font units (whole numbers but for a few halves) as short as SVG allows."""
    first, second = (f"{value:.1f}".removesuffix(".0") for value in (x, y))
    return first + (second if second.startswith("-") else " " + second)


def _outline(glyph: SimpleGlyph) -> str:
    """SVG path data of a glyph in font units, y upwards; relative, which takes half the characters."""
    parts: list[str] = []
    x0 = y0 = 0.0
    for op in glyph.operators:
        match op:
            case Moveto():
                letter, points = "M", (op.p,)
                x0 = y0 = 0.0
                if parts:
                    parts.append("z")
            case Lineto():
                letter, points = "l", (op.p,)
            case Quad():
                letter, points = "q", (op.p1, op.p2)
            case Cubic():
                letter, points = "c", (op.p1, op.p2, op.p3)
            case _:
                raise TypeError(f"unknown outline operator {op!r}")
        pairs = [_pair(p.x - x0, p.y - y0) for p in points]
        parts.append(letter + pairs[0] + "".join(p if p.startswith("-") else " " + p for p in pairs[1:]))
        x0, y0 = points[-1].x, points[-1].y
    return "".join(parts) + "z" if parts else ""


def _place_with(glyph: SimpleGlyph):
    """A `place` for one glyph that reuses its outline; ziafont writes all coordinates anew each time."""
    outline = _outline(glyph)
    per_em = glyph.font.info.layout.unitsperem

    def place(x: float, y: float, point_size: float) -> ET.Element | None:
        if glyph.index == 0:  # the font's "no such character" box
            raise MathsNotRendered("a character of it is not in the font")
        if not outline:
            return None
        scale = f"{point_size / per_em:.5g}"
        return ET.Element(
            "path", {"transform": f"matrix({scale} 0 0 -{scale} {x:.2f} {y:.2f})", "d": outline}
        )

    return place


class _CachingFont(MathFont):
    """ziamath's font, remembering the outlines and advance widths that it has worked out once."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self._advances: dict[tuple[int, int | None, bool, Any], int] = {}
        super().__init__(*args, **kwargs)

    def glyph_fromid(self, glyphid: int) -> SimpleGlyph:
        known = glyphid in self._glyphs
        glyph = super().glyph_fromid(glyphid)
        if not known:
            glyph.place = _place_with(glyph)  # type: ignore[method-assign]
        return glyph

    def advance(self, glyph: int, glyph2: int | None) -> int:
        # Kerning depends on the script in force; ziamath switches it for \text{...} and back.
        script = self.gpos.language.script if self.gpos else None
        key = (glyph, glyph2, self.features.get("kern", True), script)
        if key not in self._advances:
            self._advances[key] = super().advance(glyph, glyph2)
        return self._advances[key]


def _uses_row_height(element: ET.Element) -> bool:
    """Whether anything in `element` may stretch to the height of its row (errs towards True)."""
    text = (element.text or "").strip()
    if element.tag in ("mo", "mi") and (element.tag == "mo" or text in operator_names):
        if "stretchy" in element.attrib:
            return element.attrib["stretchy"] != "false"
        return text in _STRETCHY
    return any(_uses_row_height(child) for child in element if child.tag not in _ROW_TAGS)


class _MeasuringRow(Mrow, tag="mrow"):
    """ziamath's row, which lays out its children twice, first to learn the height for stretchy brackets.

    Nested rows double that at each level: 10 times the work in an ordinary formula. The first pass is left
    out where nothing in the row can stretch, because its result is then not used. (Subclassing with `tag` is
    how ziamath registers a node; the drawing is unchanged, which tests/render/test_maths.py holds.)
    """

    def _get_height_nostretch(self, line: list[ET.Element], **kwargs: Any) -> tuple[float, float]:
        if any(_uses_row_height(child) for child in line if child.tag not in _ROW_TAGS):
            return super()._get_height_nostretch(line, **kwargs)
        return 0.0, 0.0


@lru_cache(1)
def _font_name() -> str:
    """Load our font object once and hand it to ziamath under a name, through its table of loaded fonts."""
    default = ziamath.zmath.loadedfonts["default"]
    ziamath.zmath.loadedfonts[_FONT_NAME] = _CachingFont(default.fname, default.basesize)
    return _FONT_NAME


@contextmanager
def _own_settings() -> Iterator[None]:
    """ziamath's settings are global: set those we rely on, and put back what another user had chosen."""
    config, styles = ziamath.config, ziamath.styles
    kept = config.svg2, config.precision, config.math.color, config.numbering.autonumber, styles.asdict
    # No <symbol>/<use>: their ids would clash when several formulas stand in one page.
    config.svg2, config.precision, config.math.color, config.numbering.autonumber = (
        False,
        2,
        "currentColor",
        False,
    )
    # ziamath copies the parent's style deeply for each node, a quarter of the time, only to read plain
    # fields.
    styles.asdict = vars
    try:
        yield
    finally:
        config.svg2, config.precision, config.math.color, config.numbering.autonumber, styles.asdict = kept


def _check(tex: str, tree: ET.Element) -> None:
    """Refuse what latex2mathml lets through as ordinary letters or leaves out without a word."""
    if tex.replace(r"\{", "").count("{") != tex.replace(r"\}", "").count("}"):
        raise MathsNotRendered("its braces do not match")
    if unknown := set(_ENVIRONMENT.findall(tex)) - _ENVIRONMENTS:
        raise MathsNotRendered(f"environment not known: {', '.join(sorted(unknown))}")
    for text in tree.itertext():
        if "\\" in text or "$" in text:
            raise MathsNotRendered(f"not known: {text.strip()}")


def _draw(tex: str, display: bool, size: float) -> tuple[ET.Element, float]:
    """The SVG element and the depth (px) of its lower edge below the baseline."""
    with _own_settings():
        maths = ziamath.Latex(tex, size=size, font=_font_name(), inline=not display, margin=_MARGIN)
        _check(tex, maths.element)
        return maths.svgxml(), _MARGIN - maths.getyofst()


@lru_cache(maxsize=4096)
def tex_svg(tex: str, *, display: bool = True, size: float = _SIZE) -> str:
    """One LaTeX expression (without delimiters) as a self-contained inline `<svg>`.

    display: displayed (large fractions), else set in small on the baseline of the line it stands in.
    size: font size in CSS px. The colour is that of the surrounding text. The TeX is the accessible label.
    The result holds no id and refers to nothing, so any number may stand in one page; it depends on the
    arguments only. Raises MathsNotRendered when the expression cannot be set as written.
    """
    source = tex.strip()
    if not source:
        raise MathsNotRendered("an empty formula cannot be drawn")
    try:
        svg, depth = _draw(source, display, size)
    except MathsNotRendered as error:
        raise MathsNotRendered(f"the formula {source!r} could not be drawn: {error}") from None
    except Exception as error:  # latex2mathml and ziamath raise their own errors, ParseError, IndexError, ...
        raise MathsNotRendered(
            f"the formula {source!r} could not be drawn: {type(error).__name__} {error}".rstrip()
        ) from error
    style = "" if display else f' style="vertical-align:{-depth:.2f}px"'
    body = "".join(ET.tostring(child, encoding="unicode") for child in svg)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{escape(source)}"'
        f' width="{svg.attrib["width"]}" height="{svg.attrib["height"]}" viewBox="{svg.attrib["viewBox"]}"'
        f"{style}>{body}</svg>"
    )
