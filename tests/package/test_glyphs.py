"""The font that the formulas of a page share: the same shapes at the same places, the same bytes each time."""

from __future__ import annotations

import re
from base64 import b64decode
from io import BytesIO

import pytest
from fontTools.ttLib import TTFont

from wrapcalc.package import glyphs
from wrapcalc.package.glyphs import PLACE, share_glyphs
from wrapcalc.render.maths import tex_svg


def test_a_page_without_formulas_needs_no_font():
    assert share_glyphs(f"<style>{PLACE}</style><p>x</p>") == "<style></style><p>x</p>"


def test_the_same_font_each_time():
    html = f"<style>{PLACE}</style>{tex_svg('a = b')}"
    first = share_glyphs(html)
    glyphs._style.cache_clear()
    assert share_glyphs(html) == first and "base64," in first


def test_outlines_that_the_font_has_no_room_for_stay_outlines(monkeypatch):
    monkeypatch.setattr(glyphs, "_MOST", 2)
    html = f"<style>{PLACE}</style>{tex_svg('abc')}"
    shared = share_glyphs(html)
    assert html.count("<path") == 3 and shared.count("<path") == 1
    assert len("".join(re.findall(r"<text[^>]*>([^<]*)</text>", shared))) == 2


def test_an_outline_in_the_font_is_the_outline_of_the_formula():
    """The font read back: each of its characters has the corner points of the outline that it stands for."""
    svg = tex_svg(r"\sqrt{\frac{S_{y}}{2}} + 17.5")
    html = f"<style>{PLACE}</style>{svg}"
    shared = share_glyphs(html)
    outlines = dict.fromkeys(re.findall(r'<path transform="matrix[^"]*" d="([^"]*)"', svg))
    letters = dict.fromkeys("".join(re.findall(r"<text[^>]*>([^<]*)</text>", shared)))
    assert len(letters) == len(outlines) > 6
    font = TTFont(BytesIO(b64decode(re.search(r"base64,([^)]*)", shared)[1])))
    glyphs, cmap = font["glyf"], font.getBestCmap()
    for outline, letter in zip(outlines, letters, strict=True):
        xs, ys = [], []
        for x, y in re.findall(r"M(-?\d+) ?(-?\d+)", outline):
            xs.append(int(x))
            ys.append(int(y))
        glyph = glyphs[cmap[ord(letter)]]
        assert glyph.numberOfContours == outline.count("M")
        starts = [0, *(e + 1 for e in glyph.endPtsOfContours[:-1])]
        assert {glyph.coordinates[s] for s in starts} == set(zip(xs, ys, strict=True))
    places = re.findall(r'x="([^"]*)" y="([^"]*)" font-size="([^"]*)"', shared)
    moved = re.findall(r"matrix\(([\d.]+) 0 0 -[\d.]+ (\S+) (\S+)\)", svg)
    drawn = [
        n for xs, y, size in places for x in xs.split() for n in (float(size) / 1000, float(x), float(y))
    ]
    assert drawn == pytest.approx([float(n) for m in moved for n in m])
