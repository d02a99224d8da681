"""A report as PDF, from its HTML alone: nothing is fetched, and the same HTML gives the same bytes."""

from __future__ import annotations

import html as html_entities
import io
import mimetypes
import os
import re
from collections.abc import Mapping
from datetime import UTC, datetime
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Literal

import plutoprint

from wrapcalc.errors import PackageError

# Any scheme will do that no fetcher knows; without a base, links within the document are dropped.
_BASE = "report:/"
_FONTS = {
    "DejaVu Sans": ("DejaVuSans", "DejaVuSans-Bold", "DejaVuSans-Oblique", "DejaVuSans-BoldOblique"),
    "DejaVu Sans Mono": ("DejaVuSansMono", "DejaVuSansMono-Bold", "DejaVuSansMono-Oblique", None),
}
_FACES = (("normal", "normal"), ("bold", "normal"), ("normal", "italic"), ("bold", "italic"))
_MARKUP = re.compile(r"<!--.*?-->|<script\b.*?</script\s*>|<[^>]*>", re.DOTALL | re.IGNORECASE)
_COMMENT = re.compile(r"<!--.*?-->", re.DOTALL)
_ID = re.compile(r"""\sid\s*=\s*(["']?)([^"'\s>]+)\1""", re.IGNORECASE)
_LOCAL_LINK = re.compile(r"""<a\s[^>]*?href\s*=\s*(["']?)#([^"'\s>]+)\1""", re.IGNORECASE)


class PdfNotMade(PackageError):
    """A report could not be made into a PDF; the message says what stood in the way."""


class _Resources(plutoprint.ResourceFetcher):
    """Serves what it was given and our fonts; notes what else was asked for. data: URIs do not come here."""

    def __init__(self, resources: Mapping[str, bytes]):
        super().__init__()
        self._resources = resources
        self.refused: list[str] = []

    def fetch_url(self, url: str) -> plutoprint.ResourceData:
        name = url.removeprefix(_BASE) if url.startswith(_BASE) else None
        if name is not None and name in self._resources:
            mime = mimetypes.guess_type(name)[0] or "application/octet-stream"
            return plutoprint.ResourceData(self._resources[name], mime)
        if name is not None and name.startswith("fonts/") and (font := _font_folder() / name[6:]).is_file():
            # Read by PlutoPrint itself: it keeps fonts until the process ends, and one that Python owned would be
            # given back to an interpreter that is gone by then (a crash at exit, after the work is done).
            return plutoprint.default_resource_fetcher.fetch_url(font.as_uri())
        self.refused.append(url)
        return plutoprint.ResourceData(b"", "text/plain")  # an exception would only be printed by PlutoPrint


@lru_cache(1)
def _font_folder() -> Path:
    """matplotlib's DejaVu fonts: a machine may have none, and its text would be left out without a word."""
    spec = find_spec("matplotlib")  # found, not imported: 0.2 s
    if spec is None or spec.origin is None:
        raise PdfNotMade("the fonts for the PDF come with matplotlib, which is not installed")
    return Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"


@lru_cache(1)
def _user_style() -> str:
    """The two font families of a report, and their use where its own style says nothing.

    They go by the fonts' own names, so that the text of matplotlib's SVG drawings finds them, too.
    """
    rules = [
        f'@font-face {{ font-family: "{family}"; font-weight: {weight}; font-style: {style};'
        f" src: url({_BASE}fonts/{file}.ttf); }}"
        for family, files in _FONTS.items()
        for file, (weight, style) in zip(files, _FACES, strict=True)
        if file
    ]
    rules.append('html { font-family: "DejaVu Sans" }')
    rules.append('code, pre, kbd, samp { font-family: "DejaVu Sans Mono", "DejaVu Sans" }')
    return "\n".join(rules)


@lru_cache(1)
def printable_characters() -> frozenset[int]:
    """Code points that the fonts of the report have, upright and bold."""
    from matplotlib.ft2font import FT2Font

    files = (f"{name}.ttf" for name in _FONTS["DejaVu Sans"][:2])
    return frozenset.intersection(*(frozenset(FT2Font(str(_font_folder() / f)).get_charmap()) for f in files))


def _check_characters(html: str) -> None:
    """A character that no font has is left out of a PDF without a word."""
    text = html_entities.unescape(_MARKUP.sub(" ", html)) if not html.isascii() or "&" in html else ""
    odd = {c for c in text if not c.isascii()}
    missing = sorted(c for c in odd if ord(c) not in printable_characters())
    if missing:
        names = ", ".join(f"{c} (U+{ord(c):04X})" for c in missing[:10])
        raise PdfNotMade(f"the report holds characters that its font cannot print: {names}")


def _check_links(html: str) -> None:
    """A link to a place that is not there would be a link that does nothing."""
    bare = _COMMENT.sub("", html)
    places = {html_entities.unescape(name) for _, name in _ID.findall(bare)}
    dead = sorted({html_entities.unescape(t) for _, t in _LOCAL_LINK.findall(bare)} - places)
    if dead:
        raise PdfNotMade(f"the report links to places that are not in it: {', '.join(dead[:10])}")


def html_to_pdf(
    html: str,
    path: Path,
    *,
    paper: Literal["A4", "Letter"] = "A4",
    resources: Mapping[str, bytes] | None = None,
    created: datetime | None = None,
) -> None:
    """Write an HTML document as PDF; its title is that of the document.

    paper: the size where the document's `@page` rule gives none. resources: files that it may refer to, by
    relative name; apart from them and `data:` URIs nothing is read. created: date of creation to be stored
    (with time zone), else none is. Equal arguments give equal bytes.
    Text should ask for the fonts "DejaVu Sans" (the default) and "DejaVu Sans Mono" only: every machine has
    them here. Raises PdfNotMade when the document refers to anything else, links to a place that it does
    not have, or holds characters that cannot be printed.
    """
    _check_characters(html)
    _check_links(html)
    fetcher = _Resources(resources or {})
    size = {"A4": plutoprint.PAGE_SIZE_A4, "Letter": plutoprint.PAGE_SIZE_LETTER}[paper]
    book = plutoprint.Book(size)
    book.custom_resource_fetcher = fetcher
    stream = io.BytesIO()
    try:
        book.load_html(html, user_style=_user_style(), base_url=f"{_BASE}report.html")
        book.set_metadata(plutoprint.PDF_METADATA_CREATION_DATE, _iso(created))
        book.write_to_pdf_stream(stream)
    except plutoprint.Error as error:
        raise PdfNotMade(f"the report could not be made into a PDF: {error}") from error
    if fetcher.refused:
        shown = ", ".join(sorted({url[:100] for url in fetcher.refused}))
        raise PdfNotMade(f"the report refers to something outside itself: {shown}")
    partial = path.with_name(path.name + ".part")
    partial.write_bytes(stream.getvalue())
    os.replace(partial, path)


def page_count(html: str) -> int:
    """How many pages a document takes that says its own paper size."""
    book = plutoprint.Book(plutoprint.PAGE_SIZE_A4)
    book.custom_resource_fetcher = _Resources({})
    book.load_html(html, user_style=_user_style(), base_url=f"{_BASE}report.html")
    return book.get_page_count()


def _iso(moment: datetime | None) -> str:
    """As cairo reads it; empty means no date at all (it would take the present time)."""
    if moment is None:
        return ""
    if moment.tzinfo is None:
        raise ValueError("a date of creation needs a time zone")
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
