"""The report: complete, closed to the outside, safe in every text, and right on paper."""

from __future__ import annotations

import copy
import json
import re
from functools import lru_cache
from html import unescape
from html.parser import HTMLParser
from importlib import resources
from io import BytesIO
from pathlib import Path

import pypdf
import pytest

from wrapcalc import record as records
from wrapcalc.case import load_bundle
from wrapcalc.package.glyphs import PLACE
from wrapcalc.package.pdf import html_to_pdf
from wrapcalc.package.report import WARNING, covering, guard_words, report_html
from wrapcalc.stages.job import run
from wrapcalc.units import tidy

EVIL = "<script>alert(1)</script> & \"x\" 'y' </style>"
CHANGES = [{"what": "input pipe.smys", "before": "359 MPa <b>", "after": "360 MPa"}]


@lru_cache
def _made(edits: tuple[tuple[str, str], ...] = ()) -> str:
    """The record of the example, its case file edited by regular expressions, as JSON."""
    import tempfile

    with (
        resources.as_file(resources.files("wrapcalc.example")) as source,
        tempfile.TemporaryDirectory() as to,
    ):
        text = (Path(source) / "HB-07.toml").read_text(encoding="utf-8")
        for pattern, new in edits:
            assert re.search(pattern, text), pattern
            text = re.sub(pattern, new, text)
        (Path(to) / "case.toml").write_text(text, encoding="utf-8")
        for name in ("HB-07-grid.csv", "HB-07-forecast.csv"):
            (Path(to) / name).write_bytes((Path(source) / name).read_bytes())
        return json.dumps(records.build(run(load_bundle(Path(to) / "case.toml"))))


NO_GRID = (r"(?m)^grid = .*\n", "")
EDITS = {
    "wrap": (),
    "no repair needed": (('"3.9 mm"', '"1.2 mm"'), NO_GRID),
    "other repair needed": (('"3.9 mm"', '"7.2 mm"'), NO_GRID),
    "insufficient data": (("(?m)^smys = .*\n", ""), (r"(?m)^depth_allowance = .*\n", "")),
    "reduce pressure and monitor": (
        ("(?m)^internal_corr", 'lowered_maop = "7.0 MPa"\nlowered_maop_reason = "letter 12"\ninternal_corr'),
    ),
}
US = (('display = "SI"', 'display = "US"'), ('paper = "A4"', 'paper = "Letter"'))


def record_of(edits=()) -> dict:
    return json.loads(_made(tuple(edits)))


def page(record: dict, **options) -> str:
    given = {"revision": 3, "digest": records.digest(record)} | options
    return report_html(record, **given)


@lru_cache
def made_page(word: str) -> str:
    return page(record_of(EDITS[word]))


def plain(html: str) -> str:
    html = re.sub(r"<(svg|style)\b.*?</\1>", "", html, flags=re.S)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def parsed(html: str) -> list[tuple[str, dict[str, str | None]]]:
    found: list[tuple[str, dict[str, str | None]]] = []
    reader = HTMLParser()
    reader.handle_starttag = lambda tag, attrs: found.append((tag, dict(attrs)))  # type: ignore[method-assign]
    reader.feed(html)
    return found


def tight(text: str) -> str:
    """Without white space: how a reader of PDF finds spaces is its own affair."""
    return "".join(text.split())


def without_the_site(html: str) -> str:
    """The page without the steps of the work on site and of the dig, which are printed in the form of the trace."""
    start, end = html.index('id="stage-I"'), html.index('id="methods"')
    return html[:start] + html[end:]


def section(html: str, name: str) -> str:
    return re.split(r"<h2\b", html[html.index(f'id="{name}"') :])[0]


@pytest.mark.parametrize("word", EDITS)
def test_everything_of_the_record_is_printed(word):
    record, html = record_of(EDITS[word]), made_page(word)
    assert record["decision"]["word"] == word
    text = plain(html)
    assert record["decision"]["sentence"] in text and text.count(WARNING) >= 2
    for item in record["items"]:
        assert f'id="step-{item["id"]}"' in html
        assert item["title"] in text and item["citation"] in text
        if item["type"] == "step":
            assert f"{tidy(item['printed'])} {item['unit_label']}".strip() in text
            assert f"= {item['result']['magnitude']!r}" in text
            assert f"{item['module'].replace('.', '/')}.py, line {item['line']}" in text
            for given in item["inputs"]:
                assert f"= {given['magnitude']!r}" in text
        elif item["type"] == "check":
            assert f"{item['verdict']}" in text and (item["utilisation_shown"] or "") in text
    summary = plain(section(html, "checks")) if record["items"] else ""
    for check in (i for i in record["items"] if i["type"] == "check"):
        assert f"{check['id']} {check['title']}" in summary
    form, used = plain(section(html, "form")), plain(section(html, "inputs"))
    for i in record["inputs"]:
        wrap = i["need"] in ("design", "lay-up", "primer") and word not in ("wrap", "insufficient data")
        sourced = i["answered"] and (i["magnitude"] is None or i["source"] or i["source_kind"])
        asked = not sourced and i["applies"] and not wrap
        assert (f"{i['question']} {i['field']}" in form) == bool(asked), i["field"]
        assert not i["answered"] or i["shown"] in used
    for h in record["headline"]:
        assert h["label"] in text and h["value"]["shown"] in text
    for row in (*record["assumptions"], *record["warnings"]):
        assert row["text"] in text and row["source"] in text
    for document in record["documents"]:
        assert document["title"] in text and document["note"] in text
    for name, digest in record["files"].items():
        assert name in text and digest in text
    assert records.digest(record) in text and record["tool"]["version"] in text


@pytest.mark.parametrize("word", EDITS)
def test_order_and_wrap_are_printed_for_a_wrap_only(word):
    html = made_page(word)
    assert ('id="order"' in html) == (word == "wrap")
    assert ("Wrap thickness" in plain(html)) == (word == "wrap")
    if word == "wrap":
        order = plain(section(html, "order"))
        assert all(line["item"] in order for line in record_of()["order"])


def test_missing_values_are_named_on_the_cover_and_marked_in_the_form():
    html = made_page("insufficient data")
    cover = plain(html[: html.index('id="contents"')])
    assert "Specified minimum yield strength pipe.smys" in cover and "defect.depth_allowance" in cover
    assert plain(section(html, "form")).count("☐ unanswered: the decision waits for it") == 2
    assert plain(section(html, "inputs")).count("○ unanswered: needed for a decision") == 2
    assert "No step was worked out." in plain(section(html, "trace"))
    assert "The dig, step by step" in plain(html), "what the site states of the place is worked out all the same"


def test_a_step_outside_its_scope_is_struck_everywhere():
    record, html = record_of(EDITS["other repair needed"]), made_page("other repair needed")
    struck = [i for i in record["items"] if i.get("struck")]
    assert struck
    for item in struck:
        shown = f"{tidy(item['printed'])} {item['unit_label']}"
        deleted = [plain(d) for d in re.findall(r"<del>(.*?)</del>", html)]
        full = next(d for d in deleted if d.startswith(repr(item["result"]["magnitude"])))
        assert shown in deleted
        assert plain(html).count(item["struck"].rstrip(".")) >= 2
        alone = plain(re.sub(r"<del>.*?</del>", "", html))
        assert shown not in alone and full not in alone


def test_the_page_loads_nothing_and_holds_every_place_it_links_to():
    for word in EDITS:
        html = made_page(word)
        tags = parsed(html)
        ids = [a["id"] for _, a in tags if a.get("id")]
        assert len(ids) == len(set(ids))
        for tag, attributes in tags:
            assert tag not in ("script", "link", "img", "iframe", "object", "embed", "base", "form")
            assert "src" not in attributes and not any(a.startswith("on") for a in attributes)
            for name in ("href", "xlink:href"):
                if name in attributes:
                    assert attributes[name].startswith("#") and attributes[name][1:] in ids
        loads = re.findall(r"url\(([^)]*)\)", html)
        assert all(u.startswith(("#", "data:font/ttf;base64,")) for u in loads)
        assert "@import" not in html and "file:/" not in html
        assert set(re.findall(r"https?://[^\"' <]*", html)) <= {
            "http://www.w3.org/2000/svg",
            "http://www.w3.org/1999/xlink",
        }


def infect(value, depth=0):
    """Markup in every text that an engineer may have written."""
    if isinstance(value, dict):
        return {k: infect(v) for k, v in value.items()}
    if isinstance(value, list):
        return [infect(v) for v in value]
    return value + EVIL if isinstance(value, str) and value else value


def test_markup_in_any_text_prints_as_text():
    record = record_of()
    sound = parsed(page(record, changes=CHANGES))
    keep = {n: record["decision"][n] for n in ("word", "missing", "interim_limit")}
    for part in ("tool", "system", "assumptions", "documents"):
        record[part] = infect(record[part])
    case = {k: v + EVIL for k, v in record["case"].items() if k not in ("display", "paper")}
    record["case"] |= case
    record["decision"] = infect(record["decision"]) | keep
    record["warnings"] = [{"text": EVIL, "source": EVIL}]
    record["files"] = {name + EVIL: digest for name, digest in record["files"].items()}
    for row in record["inputs"]:
        row |= {k: infect(row[k]) for k in ("question", "written", "shown", "source", "source_kind")}
    for item in record["items"]:
        item |= {k: infect(item[k]) for k in ("title", "citation", "note", "notes", "method") if k in item}
    for name in ("table_entries", "formulas"):
        for row in record[name]:
            row |= {"title": row["title"] + EVIL, "mark": EVIL}
    changes = infect(CHANGES)
    html = page(record, changes=changes, guards={f["name"]: [EVIL] for f in record["formulas"]})
    assert "<script" not in html and html.count("</style>") == 1
    assert html.count("&lt;script&gt;alert(1)&lt;/script&gt; &amp;") > 300
    tags = parsed(html)
    assert {t for t, _ in tags} <= {t for t, _ in sound} | {"section"}
    assert {n for _, a in tags for n in a} == {n for _, a in sound for n in a}


def test_full_precision_stands_in_the_trace_appendix_only():
    html = made_page("wrap")
    before, trace = without_the_site(html).split('id="trace"')
    digits = re.compile(r"\d\.\d{9}")
    assert not digits.search(plain(before)) and len(digits.findall(plain(trace))) > 50


def test_what_must_be_verified_is_listed():
    record, html = record_of(), made_page("wrap")
    text = section(html, "verify")
    heads = re.split(r"<h3[^>]*>", text)
    parts = {h.split("</h3>")[0]: plain(h) for h in heads[1:]}
    assert "Clause numbers of items from memory are from memory, too." in plain(text)
    for entry in record["table_entries"]:
        known = entry["status"] in ("seen", "verified")
        where = parts["Values seen in the document, or verified" if known else "Values"]
        assert entry["title"] in where and entry["written"] in where and entry["citation"] in where
    for formula in record["formulas"]:
        known = {"derived": "Formulas derived here", "seen": "Formulas seen in the document, or verified"}
        where = parts[known.get(formula["status"], "Formulas")]
        assert formula["title"] in where and all(
            re.search(rf"\b{name}\b", where) for name in formula["used_in"]
        )
        assert formula["status"] in ("derived", "seen") or formula["text"] in where
    for check in record["items"]:
        if check["type"] == "check" and check["status"] == "from memory":
            assert re.search(rf"\b{check['id']}\b", parts["Rules behind checks"])
    assert parts["Values"].count("from memory, unverified") == sum(
        e["status"] == "from memory" for e in record["table_entries"]
    )


def test_a_verified_mark_moves_a_value_and_names_who():
    record = record_of()
    entry = next(e for e in record["table_entries"] if e["status"] == "from memory")
    entry |= {"status": "verified", "mark": "B. Reader, 2026-10-01, company copy 4"}
    text = section(page(record), "verify")
    assert entry["title"] in plain(text[text.index("Values seen") :]) and entry["mark"] in plain(text)


def test_changes_and_guards_are_printed_when_given():
    record = record_of()
    name = record["formulas"][0]["name"]
    html = page(record, changes=CHANGES, guards={name: ["independent: second route", "published: table 3"]})
    assert "input pipe.smys 359 MPa <b> 360 MPa" in plain(section(html, "changes"))
    assert "Guarded by 1 published, 1 independent (first: table 3)." in plain(html)
    assert "Guarded by no reference check." in plain(html)
    assert "Nothing that is printed here differs." in plain(page(record, changes=[]))
    assert 'id="changes"' not in page(record)


def test_units_of_the_display(tmp_path):
    text = plain(without_the_site(page(record_of(US))))
    steps = text[
        text.rindex("Assessment, step by step") : text.index("To verify against a licensed copy What")
    ]
    assert " psi" in steps and "°F" in steps and "US customary units" in text
    assert not re.search(r"\d MPa|\d mm\b", re.sub(r"SMYS \+ 69 MPa|is 68.95 MPa", "", steps))


def test_checks_that_cover_a_step():
    def step(name, *inputs):
        return {"type": "step", "id": name, "inputs": [{"origin": {"kind": k, "ref": r}} for k, r in inputs]}

    def check(name, ref):
        value = {"origin": {"kind": "procedure", "ref": ref}}
        return {"type": "check", "id": name, "provided": value, "limit": None}

    chain = [
        step("A1", ("case", "pipe.smys")),
        step("A2", ("step", "A1"), ("table", "A1")),
        check("C1", "A2/x"),
        step("A3", ("step", "A2")),
        check("C2", "A3"),
        step("A4"),
    ]
    assert covering(chain) == {
        "A1": {"direct": [], "later": ["C1", "C2"]},
        "A2": {"direct": ["C1"], "later": ["C2"]},
        "A3": {"direct": ["C2"], "later": []},
        "A4": {"direct": [], "later": []},
    }


def test_a_name_that_the_record_lacks_is_an_error():
    record = record_of()
    del record["case"]["line"]
    with pytest.raises(Exception, match="line"):
        page(record)


@pytest.mark.parametrize(("edits", "size"), [((), (595, 842)), (US, (612, 792))])
def test_on_paper(tmp_path, edits, size):
    record = record_of(edits)
    html = page(record, changes=CHANGES)
    html_to_pdf(html, tmp_path / "1.pdf", paper=record["case"]["paper"])
    html_to_pdf(
        page(copy.deepcopy(record), changes=CHANGES), tmp_path / "2.pdf", paper=record["case"]["paper"]
    )
    written = (tmp_path / "1.pdf").read_bytes()
    assert written == (tmp_path / "2.pdf").read_bytes()
    reader = pypdf.PdfReader(BytesIO(written))
    count = len(reader.pages)
    # ten methods, four routes, what the repair bears, a second opinion, eleven figures and the repair criteria: what
    # nobody reads is not printed, what is printed is found
    assert 20 < count < 110
    digest = records.digest(record)[:12]
    texts = [sheet.extract_text() for sheet in reader.pages]
    for number, (sheet, text) in enumerate(zip(reader.pages, texts, strict=True), 1):
        assert (round(sheet.mediabox.width), round(sheet.mediabox.height)) == size
        for wanted in (WARNING, f"Page {number} of {count}", "HB-07, revision 3", f"record {digest}"):
            assert tight(wanted) in tight(text), wanted
    whole = tight("".join(texts))
    for step in (i for i in record["items"] if i["type"] == "step"):
        assert tight(f"={tidy(step['printed'])} {step['unit_label']}") in whole


def test_a_table_over_several_pages_repeats_its_head(tmp_path):
    html_to_pdf(made_page("wrap"), tmp_path / "r.pdf")
    texts = [p.extract_text() for p in pypdf.PdfReader(tmp_path / "r.pdf").pages]
    start = next(
        n for n, t in enumerate(texts) if "Inputs and their sources" in t and "as used in the calculation" in t
    )
    for text in texts[start : start + 2]:
        assert tight("Question Value Source") in tight(text)


def test_odd_names_do_not_break_the_page_margins(tmp_path):
    record = record_of()
    record["case"]["id"] = 'A "1" \\ } </style><b>ü'
    html = page(record)
    assert html.count("</style>") == 1
    html_to_pdf(html, tmp_path / "r.pdf")
    text = tight(pypdf.PdfReader(tmp_path / "r.pdf").pages[2].extract_text())
    assert tight(f"{record['case']['id']}, revision 3") in text and tight(WARNING) in text


def test_the_page_has_a_reasonable_size():
    assert len(made_page("wrap").encode()) < 2.2e6


def test_formulas_share_one_font():
    record, html = record_of(), made_page("wrap")
    assert "data:font/ttf;base64," in html and PLACE not in html
    formula = re.search(r'<svg style="vertical-align[^>]*>.*?</svg>', html)[0]
    assert "<text" in formula
    assert page(record) == html


def test_a_guard_is_named_once_and_counted():
    texts = ["regression: r", "independent: second route", "published: table 3", "published: table 4"]
    assert guard_words(texts) == "2 published, 1 independent, 1 regression (first: table 3)"
    assert guard_words(["regression: r"]) == "1 regression" and guard_words([]) == ""


def test_the_subtitle_speaks_of_a_wrap_only_where_one_was_designed():
    for word in EDITS:
        subtitle = "Calculation package: assessment of a corroded pipe"
        assert subtitle in plain(made_page(word))
        assert (subtitle + " and design of a bonded composite wrap" in plain(made_page(word))) == (word == "wrap")


def test_wrap_questions_are_not_listed_where_no_wrap_was_designed():
    unanswered = (*EDITS["no repair needed"], (r"(?m)^(standard|design_life|filler_waste) = .*\n", ""))
    html = page(record_of(unanswered))
    for name in ("inputs", "form"):
        text = plain(section(html, name))
        asked = re.search(r"The (\d+) questions of a wrap design were not asked", text)
        assert asked and int(asked[1]) >= 3 and "Waste of filler" not in text
    assert "were not asked" not in plain(made_page("wrap"))


def test_the_first_page_names_caps_thickness_and_what_is_unverified():
    record = record_of()
    html = page(record, revision=4, changes=[])
    cover = plain(html[: html.index('id="contents"')])
    doubt = sum(x["status"] == "from memory" for x in (*record["table_entries"], *record["formulas"]))
    assert doubt and f"Unverified: {doubt} values and formulas are from memory" in cover
    assert "revision 4; supersedes revision 3; see what differs" in cover
    assert "supersedes" not in plain(page(record, revision=1))
    assert "supersedes revision 2" in plain(page(record, revision=4, supersedes=2))
    given = {i["field"]: i["shown"] for i in record["inputs"]}
    at_most = given['service.installation_pressure'].removesuffix(' gauge')
    assert f"while the wrap is laid and cures {at_most}" in cover
    limit = record["decision"]["interim_limit"]["shown"]
    assert f"the repair is accepted or the MAOP is lowered {limit}" in cover
    chosen = next(x for x in record["routes"] if x["chosen"])
    assert f"required ({chosen['route']}) {chosen['required']['shown']}" in cover


def test_the_order_says_whom_it_is_for_and_where_the_rest_stands():
    text = plain(section(made_page("wrap"), "order"))
    assert "NOT APPROVED" in text and "kit list" in text and "site sheet" in text
    assert all(line["item"] in text for line in record_of()["order"])


def test_text_without_spaces_does_not_shrink_the_page(tmp_path):
    record = record_of()
    record["case"] |= {"title": "x" * 300, "line": "y" * 300, "joint": "z" * 300}
    record["system"]["evidence"][0]["reference"] = "w" * 300
    record["assumptions"][0]["text"] = "v" * 300
    for row in record["inputs"]:
        row |= {"source": row["source"] and "u" * 200}
    sizes = []
    for n, html in enumerate((made_page("wrap"), page(record))):
        html_to_pdf(html, tmp_path / f"{n}.pdf")
        found = []

        def note(text, outer, inner, _font, size, found=found):
            if text.strip() == "Decision":
                found.append(abs(outer[0] * inner[0] * size))

        pypdf.PdfReader(tmp_path / f"{n}.pdf").pages[0].extract_text(visitor_text=note)
        sizes.append(found[0])
    assert sizes[0] == pytest.approx(8.5 * 0.92, rel=0.02) and sizes[1] == pytest.approx(sizes[0])


def test_a_caption_stays_with_its_figure(tmp_path):
    html_to_pdf(made_page("wrap"), tmp_path / "r.pdf")
    pages = pypdf.PdfReader(tmp_path / "r.pdf").pages
    texts = [tight(p.extract_text()) for p in pages]
    (bars,) = (n for n, t in enumerate(texts) if tight("Use of each limit") in t)
    # The drawing is paths, not text: its page is far heavier than one of a caption alone.
    assert len(pages[bars].get_contents().get_data()) > 30_000


def test_the_kinds_of_checks_have_one_set_of_words():
    text = plain(made_page("wrap"))
    assert all(f"{w}" in text for w in ("A criterion decides", "A gate asks", "A limit of validity", "for information"))
    assert "(limit)" not in text and "(scope)" not in text and "may this method be used" not in text
