"""The PDF maker: closed to the outside, the same bytes each time, and independent of the machine's fonts."""

from __future__ import annotations

import subprocess
import sys
from base64 import b64encode
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import pypdf
import pytest

from wrapcalc.package.pdf import PdfNotMade, html_to_pdf

PAGE = """<!doctype html><html lang="en"><head><title>Case A1 – report</title><style>
@page {{ margin: 20mm; @bottom-right {{ content: "Page " counter(page) " of " counter(pages) }} {page} }}
table {{ width: 100%; border-collapse: collapse }} h1 {{ break-before: page }}
</style></head><body>{body}</body></html>"""
ROWS = "".join(f"<tr><td>row {i}</td><td>{i * 1.25:.2f} mm ≤ 9.53 mm</td></tr>" for i in range(80))
BODY = f"""<p>See <a href="#trace">trace</a>, <b>ε ± ² °</b> <code>f(x)</code> <i>italic</i></p>
<table><thead><tr><th>NAME</th><th>VALUE</th></tr></thead>{ROWS}</table><h1 id="trace">Trace</h1><p>end</p>"""
REPORT = PAGE.format(page="", body=BODY)


def make(tmp_path: Path, html: str, **options) -> pypdf.PdfReader:
    path = tmp_path / "r.pdf"
    html_to_pdf(html, path, **options)
    return pypdf.PdfReader(BytesIO(path.read_bytes()))


def fonts(reader: pypdf.PdfReader) -> set[str]:
    found = set()
    for page in reader.pages:
        for font in page["/Resources"].get("/Font", {}).values():
            found.add(font.get_object()["/BaseFont"].split("+")[-1])
    return found


def test_pages_heads_and_page_numbers(tmp_path):
    reader = make(tmp_path, REPORT)
    texts = [page.extract_text() for page in reader.pages]
    count = len(texts)
    assert count >= 3
    assert all(f"Page {n} of {count}" in text for n, text in enumerate(texts, 1))
    assert all("NAME" in text for text in texts[:-1]), "the head of a table stands on each of its pages"
    assert "ε ± ² °" in texts[0] and "row 79" in texts[-2] and "Trace" in texts[-1]
    link = reader.pages[0]["/Annots"][0].get_object()
    assert reader.named_destinations[link["/Dest"]].page.get_object() == reader.pages[-1].get_object()


def test_two_runs_give_the_same_bytes_and_no_time(tmp_path):
    first, second = tmp_path / "1.pdf", tmp_path / "2.pdf"
    html_to_pdf(REPORT, first)
    html_to_pdf(REPORT, second)
    assert first.read_bytes() == second.read_bytes()
    metadata = pypdf.PdfReader(first).metadata
    assert metadata.title == "Case A1 – report"
    assert "/CreationDate" not in metadata and "/ModDate" not in metadata
    assert sorted(p.name for p in tmp_path.iterdir()) == ["1.pdf", "2.pdf"]


def test_a_given_date_is_stored(tmp_path):
    moment = datetime(2026, 3, 1, 12, 30, tzinfo=UTC)
    assert make(tmp_path, REPORT, created=moment).metadata.creation_date_raw == "20260301123000Z"
    with pytest.raises(ValueError, match=r"time zone"):
        make(tmp_path, REPORT, created=datetime(2026, 3, 1))


@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_paper(tmp_path, paper, size):
    box = make(tmp_path, REPORT, paper=paper).pages[0].mediabox
    assert (round(float(box.width)), round(float(box.height))) == size


@pytest.mark.parametrize("place", ["file", "http", "relative", "style", "font", "svg"])
def test_nothing_outside_is_read(tmp_path, place):
    secret = tmp_path / "secret.png"
    secret.write_bytes(b"not to be read")
    body = {
        "file": f'<img src="{secret.as_uri()}">',
        "http": '<img src="http://127.0.0.1:9/x.png">',
        "relative": '<img src="../secret.png">',
        "style": f'<link rel="stylesheet" href="{secret.as_uri()}">',
        "font": f"<style>@font-face {{ font-family: X; src: url('{secret.as_uri()}') }}"
        " p { font-family: X }</style>",
        "svg": f'<svg width="9" height="9"><image href="{secret.as_uri()}" width="9" height="9"/></svg>',
    }[place]
    with pytest.raises(PdfNotMade, match=r"outside itself: (file|http|report):"):
        make(tmp_path, PAGE.format(page="", body=f"<p>{body} text</p>"))
    assert not (tmp_path / "r.pdf").exists()


def test_given_resources_and_data_uris_are_read(tmp_path):
    square = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><path d="M0 0H9V9z" fill="{}"/></svg>'
    )
    data = "data:image/svg+xml;base64," + b64encode(square.format("#ff0000").encode()).decode()
    html = PAGE.format(page="", body=f'<img src="logo.svg"><img src="{data}">')
    svg = square.format("#0000ff").encode()
    drawn = make(tmp_path, html, resources={"logo.svg": svg}).pages[0].get_contents().get_data()
    assert b"0 0 1 rg" in drawn and b"1 0 0 rg" in drawn
    with pytest.raises(PdfNotMade, match=r"logo.svg"):
        make(tmp_path, html)


def test_dead_links_are_refused(tmp_path):
    good = '<a href="#here">y</a><p id="here">z</p>'
    make(tmp_path, PAGE.format(page="", body=good))
    with pytest.raises(PdfNotMade, match=r"not in it: nowhere$"):
        make(tmp_path, PAGE.format(page="", body='<a href="#nowhere">x</a>' + good))


@pytest.mark.parametrize("text", ["管", "&#31649;"])
def test_characters_without_a_glyph_are_refused(tmp_path, text):
    with pytest.raises(PdfNotMade, match=r"管 \(U\+7BA1\)"):
        make(tmp_path, PAGE.format(page="", body=f"<p>pipe {text}</p>"))


def test_the_fonts_are_our_own_even_where_the_machine_has_none(tmp_path):
    """The same bytes in a process that sees no system font at all."""
    assert fonts(make(tmp_path, REPORT)) == {
        "DejaVuSans", "DejaVuSans-Bold", "DejaVuSans-Oblique", "DejaVuSansMono"
    }  # fmt: skip
    bare = tmp_path / "bare"
    bare.mkdir()
    (bare / "fonts.conf").write_text("<fontconfig></fontconfig>")
    (tmp_path / "r.html").write_text(REPORT, encoding="utf-8")
    code = (
        "import plutoprint, sys; from pathlib import Path;"
        "plutoprint.plutobook_set_fontconfig_path(sys.argv[1]);"
        "from wrapcalc.package.pdf import html_to_pdf;"
        "html_to_pdf(Path(sys.argv[2]).read_text(encoding='utf-8'), Path(sys.argv[3]))"
    )
    target = tmp_path / "bare.pdf"
    subprocess.run(
        [sys.executable, "-c", code, str(bare), str(tmp_path / "r.html"), str(target)],
        check=True,
        cwd=Path(__file__).parents[2],
    )
    assert target.read_bytes() == (tmp_path / "r.pdf").read_bytes()


def test_text_of_a_drawing_uses_our_font(tmp_path):
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with rc_context({"svg.fonttype": "none", "svg.hashsalt": "wrapcalc"}):
        figure = Figure(figsize=(3, 2))
        FigureCanvasSVG(figure)
        axes = figure.subplots()
        axes.plot([0, 5], [0, 9])
        axes.set(ylim=(0, 4), title="Depth d [mm]")
        buffer = BytesIO()
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    svg = buffer.getvalue().decode()
    reader = make(tmp_path, PAGE.format(page="", body=svg[svg.index("<svg") :]))
    assert "Depth d [mm]" in reader.pages[0].extract_text()
    assert fonts(reader) == {"DejaVuSans"}


@pytest.mark.parametrize(("pdfs", "sizes"), [(5, 10), (6, 10)])
def test_a_process_that_made_many_pdfs_ends_well(tmp_path, pdfs, sizes):
    """PlutoPrint keeps fonts until the process ends; fonts owned by Python crashed it there (status 139)."""
    code = (f"from pathlib import Path; from wrapcalc.package.pdf import html_to_pdf\n"
            f"text = ''.join(f'<p style=\"font-size:{{7 + j / 10}}pt\">a <b>b</b> <i>c</i> <code>d</code></p>' "
            f"for j in range({sizes}))\n"
            f"for i in range({pdfs}): html_to_pdf(text, Path({str(tmp_path)!r}) / 'x.pdf')\n")
    assert subprocess.run([sys.executable, "-c", code]).returncode == 0
