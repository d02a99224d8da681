"""What the bench prints."""

import re

from wrapcalc.errors import CaseFaults
from wrapcalc.workbook.bench import pages
from wrapcalc.workbook.bench.answers import MARK


def columns(bench, *variants):
    return [("Case as stated", bench.of({}), {}, ""), *((n, bench.of(c), c, "note") for n, c in variants)]


def test_every_panel_says_that_it_is_no_package(bench):
    one = bench("HB-07")
    a = one.answer()
    shown = [pages.answered(one, a), pages.drawn(a.figures(), None), pages.drawn({}, None), pages.full(a),
             pages.compared(one, columns(one)), pages.compared(one, columns(one, ("A", {"defect.depth": "4 mm"}))),
             pages.refused(one, CaseFaults([]))]
    assert all(f'<div class="wb-mark">{MARK}</div>' in html for html in shown)
    assert pages.drawn(a.figures(), None).count(f"{MARK}.</figcaption>") == 3


def test_differences_from_the_case_are_marked_by_a_sign_and_weight_and_explained(bench):
    one = bench("HB-07")
    html = pages.compared(one, columns(one, ("A", {"defect.depth": "4 mm"})))
    assert 'content: "≠ "' in html and "font-weight: bold" in html and "differs from the case as stated" in html
    marked = dict(re.findall(r"<th scope=row>([^<]*)</th><td>[^<]*</td><td class=wb-differs>([^<]*)</td>", html))
    assert marked["Depth of the defect"] == "4 mm" and marked["Thickness required"] == "10.61 mm"
    plain = dict(re.findall(r"<th scope=row>([^<]*)</th><td>[^<]*</td><td>([^<]*)</td>", html))
    assert plain["Layers"] == "11" and plain["Interim pressure limit"] == "6.48 MPa"


def test_a_variant_that_cannot_be_worked_says_why_and_shows_no_number(bench):
    one = bench("HB-07")
    html = pages.compared(one, columns(one, ("A", {"defect.depth": "20 mm"})))
    assert "at most the wall" in html
    assert re.search(r"<th scope=row>Layers</th><td>11</td><td class=wb-differs>none</td>", html)


def test_what_is_outside_its_validity_is_struck_through_with_its_reason(bench):
    one = bench("HB-23")
    html = pages.answered(one, one.answer())
    assert "Outside their validity" in html and re.search(r"<del>[^<]+</del> – struck through, not to be used: ", html)


def test_faults_are_told_by_the_names_of_the_bench(bench):
    one = bench("HB-07")
    html = pages.refused(one, one.of({"defect.depth": "20 mm"}))
    assert "Depth of the defect: found" in html and "defect.depth" not in html
    assert "those of the last valid values were removed" in html


def test_a_case_that_changed_on_disk_is_told_wherever_numbers_of_the_old_one_stand(bench):
    one = bench("HB-07")
    path, words = one.stated.path, "changed on disk after the bench was opened: what is shown is of the case as it was"
    path.write_bytes(one.stated.raw.replace(b'"3.9 mm"', b'"4.3 mm"'))
    for changes in ({}, {"service.maop": "6 MPa"}):
        one.put_all(changes)
        html = pages.answered(one, one.answer())
        assert f"<b>Warning:</b> HB-07.toml was {words}" in html and "Run the notebook again" in html
    assert words in pages.full(one.in_full()) and words in pages.compared(one, columns(one, ("A", one.changes)))
    path.write_bytes(one.stated.raw)
    assert words not in pages.answered(one, one.answer())
    grid = path.parent / "HB-07-grid.csv"
    grid.write_bytes(grid.read_bytes() + b"\n")
    assert f"HB-07-grid.csv was {words}" in pages.answered(one.untouched(), one.untouched().answer())


def test_what_somebody_wrote_is_escaped(bench):
    one = bench("HB-02")
    one.put("defect.depth", "2 mm")
    pin = one.pin("<img src=x>")
    html = pages.compared(one, [("Case as stated", one.of({}), {}, ""), (pin.name, one.of(pin.changes), {}, pin.note)])
    assert "<img" not in html and "&lt;img src=x&gt;" in html


def test_what_was_not_worked_out_is_named(bench):
    one = bench("HB-42")
    assert "Not worked out here, nor its warnings: allowable sizes; probability" in pages.answered(one, one.answer())
    assert "Not worked out here" not in pages.answered(one, one.in_full())


def test_no_number_is_printed_raw(bench):
    one = bench("HB-15")
    for s in one.sliders:
        one.put(s.field, s.text(s.base + 3 * s.step if s.high > s.base + 3 * s.step else s.base))
    text = re.sub(r"<[^>]*>", " ", re.sub(r"<style>.*?</style>|<svg.*?</svg>", "", pages.answered(one, one.answer()),
                                         flags=re.S))
    assert not re.search(r"\d\.\d{6,}", text)
