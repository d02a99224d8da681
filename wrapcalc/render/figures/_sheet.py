"""A sheet of paper to draw on in millimetres, the shared style, and the way from the sheet to inline SVG.

All figures are drawn on a `Sheet`: x to the right and y downwards, in millimetres from the top left corner,
so that a layout can be checked against measured text (`text_width`, `wrap`) before anything is drawn.
Letters become outlines: a page then looks the same in a browser and in the PDF engine, whatever fonts are
installed. Hatching is drawn as plain lines, because pattern fills print differently from engine to engine.
"""

from __future__ import annotations

import hashlib
import html
import io
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache, lru_cache, partial
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.font_manager import FontProperties

WIDTH = 170.0
"""Width of every figure in mm: the text column of a report page."""

INK = "#1a1a1a"
GREY = "#595959"  # 7.0 : 1 on white, still readable as small text
RULE = "#8c8c8c"
PALE = "#e4e4e4"
WHITE = "#ffffff"
ACCENT = "#0b525b"
TINT = "#e3eeee"
TINT_DEEP = "#c9dfdf"

SMALL, BODY = 6.5, 7.5
"""Sizes of letters in points."""

MM_PER_POINT = 25.4 / 72
POINTS_PER_MM = 72 / 25.4

Point = tuple[float, float]

_STYLED = ("figure.", "font.", "hatch.", "lines.", "patch.", "path.", "savefig.", "svg.", "text.")


_ON_SCREEN: ContextVar[bool] = ContextVar("on screen", default=False)


@contextmanager
def on_screen() -> Iterator[None]:
    """Figures made inside are for a screen: the same drawing, its letters as text instead of outlines, in a few ms.

    They are not for a page: what a letter looks like depends on the fonts of the reader.
    """
    token = _ON_SCREEN.set(True)
    try:
        yield
    finally:
        _ON_SCREEN.reset(token)


@lru_cache(maxsize=1)
def _settings() -> Any:
    """Matplotlib's own defaults for all that a reader's settings could change, and ours on top."""
    import matplotlib

    shipped = {key: value for key, value in matplotlib.rcParamsDefault.items() if key.startswith(_STYLED)}
    ours = {
        "svg.hashsalt": "wrapcalc",
        "svg.fonttype": "path",
        "path.simplify": False,
        "text.parse_math": False,
    }
    return shipped | ours


@cache
def _font(size: float, bold: bool) -> FontProperties:
    import matplotlib
    from matplotlib.font_manager import FontProperties

    # The file that ships with matplotlib, not a font of the same name found on this machine.
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return FontProperties(fname=FilePath(matplotlib.get_data_path()) / "fonts" / "ttf" / name, size=size)


@lru_cache(maxsize=1)
def _line_of_text() -> Callable[..., Artist]:
    from matplotlib.artist import Artist

    class Line(Artist):
        """One line of text at a known place: matplotlib's own Text measures it again, at twice the time."""

        def __init__(
            self, x: float, y: float, *, text: str, font: FontProperties, colour: str, angle: float
        ) -> None:
            super().__init__()
            self.x, self.y, self.line, self.font, self.colour, self.angle = (x, y, text, font, colour, angle)

        def draw(self, renderer: Any) -> None:
            pen = renderer.new_gc()
            pen.set_foreground(self.colour)
            renderer.draw_text(pen, self.x, self.y, self.line, self.font, self.angle, ismath=False)
            pen.restore()

    return Line


def clean(text: str) -> str:
    """The text on one line: white space runs become one space, characters that XML forbids are dropped."""
    visible = re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]", "", str(text))
    return " ".join(visible.split())


@lru_cache(maxsize=4096)
def text_width(text: str, size: float, bold: bool = False) -> float:
    """Width of one line of text in mm, for a letter size in points."""
    from matplotlib.textpath import text_to_path

    width, _, _ = text_to_path.get_text_width_height_descent(text, _font(size, bold), ismath=False)
    return float(width) * MM_PER_POINT


def ink_on(fill: str) -> str:
    """Black or white, whichever stands out more from a fill given as #rrggbb: at least 4.5 : 1."""
    parts = [int(fill[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    bright = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return "#000000" if bright > 0.179 else WHITE


def line_height(size: float) -> float:
    """Distance between two lines of text in mm, for a letter size in points."""
    return 1.25 * size * MM_PER_POINT


def wrap(text: str, width: float, size: float, bold: bool = False) -> list[str]:
    """The text in lines no wider than `width` mm; a word that is too long by itself is cut."""
    lines = [""]
    for word in clean(text).split(" "):
        joined = f"{lines[-1]} {word}".strip()
        if text_width(joined, size, bold) <= width:
            lines[-1] = joined
            continue
        if lines[-1]:
            lines.append("")
        while len(word) > 1 and text_width(word, size, bold) > width:
            keep = max(
                (k for k in range(1, len(word)) if text_width(word[:k], size, bold) <= width), default=1
            )
            lines[-1:] = [word[:keep], ""]
            word = word[keep:]
        lines[-1] = word
    return lines


class Sheet:
    """A drawing in mm, 170 mm wide; what is drawn later lies on top of what was drawn before."""

    def __init__(self, height: float) -> None:
        from matplotlib.transforms import Affine2D

        self.height = height
        self._to_points = Affine2D().scale(POINTS_PER_MM, -POINTS_PER_MM).translate(0, height * POINTS_PER_MM)
        # Artists read the reader's own matplotlib settings when they are made, so they are made in `svg`.
        self._marks: list[Callable[[], Artist]] = []
        self._plain: list[str] | None = [] if _ON_SCREEN.get() else None

    def _path(self, pieces: Sequence[Sequence[Point]], closed: bool, **look: Any) -> None:
        if self._plain is not None:
            self._plain.append(_plain_path(pieces, closed, look))
            return
        from matplotlib.patches import PathPatch
        from matplotlib.path import Path

        points: list[Point] = []
        codes: list[Any] = []
        for piece in pieces:
            points += piece
            codes += [Path.MOVETO] + [Path.LINETO] * (len(piece) - 1)
            if closed:
                points.append(piece[0])
                codes.append(Path.CLOSEPOLY)
        if points:
            path = Path(points, codes)
            self._marks.append(lambda: PathPatch(path, transform=self._to_points, **look))

    def areas(
        self,
        pieces: Sequence[Sequence[Point]],
        *,
        fill: str = "none",
        edge: str = "none",
        pen: float = 0.5,
        dash: tuple[float, ...] | None = None,
    ) -> None:
        """Closed outlines as one shape; `pen` and `dash` in points."""
        style: Any = (0, dash) if dash else "solid"
        look = {"facecolor": fill, "edgecolor": edge, "linewidth": pen if edge != "none" else 0.0}
        self._path(pieces, True, linestyle=style, joinstyle="miter", **look)

    def box(self, x: float, y: float, width: float, height: float, **look: Any) -> None:
        """A rectangle from its top left corner; `look` as for `areas`."""
        self.areas([[(x, y), (x + width, y), (x + width, y + height), (x, y + height)]], **look)

    def lines(
        self,
        pieces: Sequence[Sequence[Point]],
        *,
        colour: str = INK,
        pen: float = 0.5,
        dash: tuple[float, ...] | None = None,
    ) -> None:
        """Open lines in one pen; `pen` and `dash` in points."""
        style: Any = (0, dash) if dash else "solid"
        look = {"facecolor": "none", "edgecolor": colour, "linewidth": pen, "linestyle": style}
        self._path(pieces, False, capstyle="butt", joinstyle="round", **look)

    def hatch(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        colour: str,
        gap: float = 1.3,
        pen: float = 0.6,
        falling: bool = False,
    ) -> None:
        """Lines that rise (or fall) to the right, `gap` mm apart, cut at the edges of a rectangle."""
        step = gap * 2**0.5
        pieces: list[list[Point]] = []
        # Multiples of the step counted from the sheet's corner, so that two parts of one area match.
        k = int((x + y) / step)
        while k * step < x + width + y + height:
            total = k * step
            left, right = max(x, total - y - height), min(x + width, total - y)
            if right > left:
                pieces.append([(left, total - left), (right, total - right)])
            k += 1
        if falling:
            # The mirror image in the middle of the rectangle.
            pieces = [[(x, 2 * y + height - level) for x, level in piece] for piece in pieces]
        self.lines(pieces, colour=colour, pen=pen)

    def arrowhead(self, x: float, y: float, direction: int, colour: str = INK) -> None:
        """A filled head with its tip at (x, y), pointing right (+1) or left (-1)."""
        back = x - direction * 1.9
        self.areas([[(x, y), (back, y - 0.65), (back, y + 0.65)]], fill=colour)

    def text(
        self,
        x: float,
        y: float,
        text: str | Sequence[str],
        *,
        size: float = BODY,
        colour: str = INK,
        across: str = "left",
        bold: bool = False,
        upright: bool = False,
        ground: str | None = None,
    ) -> None:
        """One or more lines of text, vertically centred on y.

        `across` is left, center or right; `upright` turns the text to be read from the right, then it is
        centred on (x, y); `ground` paints a box of that colour behind it, so that no line strikes it through.
        """
        rows = [clean(text)] if isinstance(text, str) else [clean(row) for row in text]
        if ground is not None:
            wide = max(text_width(row, size, bold) for row in rows) + 2.0
            high = line_height(size) * len(rows)
            shift = {"left": 1.0, "center": wide / 2, "right": wide - 1.0}[across]
            if upright:
                self.box(x - high / 2, y - wide / 2, high, wide, fill=ground)
            else:
                self.box(x - shift, y - high / 2, wide, high, fill=ground)
        pitch = line_height(size)
        for index, row in enumerate(rows):
            offset = (index - (len(rows) - 1) / 2) * pitch
            # The middle of a capital letter stands 0.365 of the size above its base line.
            base = offset + 0.365 * size * MM_PER_POINT
            spot = (x + base, y) if upright else (x, y + base)
            # The anchor is the left end of the base line; upright text is centred on y and reads upwards.
            wide = text_width(row, size, bold)
            if upright:
                spot = (spot[0], spot[1] + wide / 2)
            else:
                spot = (spot[0] - {"left": 0.0, "center": wide / 2, "right": wide}[across], spot[1])
            if self._plain is not None:
                self._plain.append(_plain_text(row, spot, wide, size, colour, bold, upright))
                continue
            look = {
                "text": row,
                "font": _font(size, bold),
                "colour": colour,
                "angle": 90.0 if upright else 0.0,
            }
            self._marks.append(
                partial(_line_of_text(), spot[0] * POINTS_PER_MM, spot[1] * POINTS_PER_MM, **look)
            )

    def svg(self, title: str, description: str) -> str:
        """The sheet as one inline `<svg>`; `title` names it, `description` carries its key numbers."""
        if self._plain is not None:
            return _framed("".join(self._plain), clean(title), clean(description), self.height)
        import matplotlib
        from matplotlib.backends.backend_svg import FigureCanvasSVG
        from matplotlib.figure import Figure

        buffer = io.StringIO()
        with matplotlib.rc_context(_settings()):
            figure = Figure(figsize=(WIDTH / 25.4, self.height / 25.4), dpi=72)
            figure.patch.set_visible(False)
            for layer, make in enumerate(self._marks):
                artist = make()
                artist.set_zorder(layer)
                figure.add_artist(artist)
            metadata = dict.fromkeys(("Date", "Creator", "Format", "Type"))
            canvas: Any = FigureCanvasSVG(figure)
            canvas.print_svg(buffer, metadata=metadata)
        return _inline(buffer.getvalue(), clean(title), clean(description), self.height)


def _inline(raw: str, title: str, description: str, height: float) -> str:
    """A file of matplotlib's made fit to stand in a page among others."""
    body = raw[raw.index("<svg") :]
    body = body[body.index(">") + 1 : body.rindex("</svg>")]
    body = re.sub(r"<!--.*?-->", "", body, flags=re.DOTALL)
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    # Matplotlib's style sheet would reach the whole page; the outer group says the same for this figure.
    body = re.sub(r"<defs>\s*<style.*?</style>\s*</defs>", "", body, flags=re.DOTALL)
    key = "f" + hashlib.sha256(f"{title}\0{description}\0{body}".encode()).hexdigest()[:12]
    used = set(re.findall(r'(?:href="#|url\(#)([^")]+)', body))
    body = re.sub(r' id="([^"]+)"', lambda m: f' id="{key}-{m[1]}"' if m[1] in used else "", body)
    body = re.sub(r'(href="#|url\(#)', rf"\g<1>{key}-", body)
    body = re.sub(r"\s*\n\s*", "\n", body).strip()
    return _framed(body, title, description, height, key)


def _framed(body: str, title: str, description: str, height: float, key: str = "") -> str:
    """The drawing as one `<svg>` with its name and description. key: what its own names begin with."""
    key = key or "f" + hashlib.sha256(f"{title}\0{description}\0{body}".encode()).hexdigest()[:12]
    width_pt, height_pt = WIDTH * POINTS_PER_MM, height * POINTS_PER_MM
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'width="{WIDTH:g}mm" height="{height:.2f}mm" viewBox="0 0 {width_pt:.3f} {height_pt:.3f}" '
        f'style="max-width:100%;height:auto" role="img" aria-labelledby="{key}-title" '
        f'aria-describedby="{key}-desc">\n'
        f'<title id="{key}-title">{html.escape(title)}</title>\n'
        f'<desc id="{key}-desc">{html.escape(description)}</desc>\n'
        f'<g stroke-linejoin="round" stroke-linecap="butt">\n{body}\n</g>\n</svg>'
    )


def _plain_path(pieces: Sequence[Sequence[Point]], closed: bool, look: dict[str, Any]) -> str:
    """Outlines as one path of a drawing for a screen; places in points, to a hundredth."""
    lines = []
    for piece in pieces:
        spots = " ".join(f"{x * POINTS_PER_MM:.2f} {y * POINTS_PER_MM:.2f}" for x, y in piece)
        lines.append(f"M{spots}{'Z' if closed else ''}")
    if not lines:
        return ""
    pen, style = look["linewidth"], look["linestyle"]
    dash = f' stroke-dasharray="{" ".join(f"{d * pen:.2f}" for d in style[1])}"' if isinstance(style, tuple) else ""
    join = ' stroke-linejoin="miter"' if look["joinstyle"] == "miter" else ""
    return (f'<path d="{"".join(lines)}" fill="{look["facecolor"]}" stroke="{look["edgecolor"]}" '
            f'stroke-width="{pen:g}"{dash}{join}/>\n')


def _plain_text(row: str, spot: Point, wide: float, size: float, colour: str, bold: bool, upright: bool) -> str:
    """One line of text of a drawing for a screen, as wide as it was measured, whatever fonts are there."""
    if not row:
        return ""
    x, y = spot[0] * POINTS_PER_MM, spot[1] * POINTS_PER_MM
    turned = f' transform="rotate(-90 {x:.2f} {y:.2f})"' if upright else ""
    weight = ' font-weight="bold"' if bold else ""
    return (f'<text x="{x:.2f}" y="{y:.2f}" font-family="DejaVu Sans, Verdana, sans-serif" font-size="{size:g}px"'
            f'{weight} fill="{colour}" textLength="{wide * POINTS_PER_MM:.2f}" lengthAdjust="spacingAndGlyphs"{turned}>'
            f"{html.escape(row)}</text>\n")
