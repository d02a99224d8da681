"""The widgets of the bench, driven without a browser."""

import os
import re
import stat

import pytest

from wrapcalc import workbook as wb
from wrapcalc.workbook.bench.answers import MARK
from wrapcalc.workbook.bench.pinned import Pin, Pins, file_of

pytest.importorskip("ipywidgets")


@pytest.fixture
def view(example):
    return wb.what_if(str(example / "HB-07.toml"))


def click(view, words):
    def buttons(widget):
        for child in getattr(widget, "children", ()):
            yield from ([child] if getattr(child, "description", "") == words and hasattr(child, "click") else
                        buttons(child))
    next(buttons(view.box)).click()


def row(view, field):
    return view._rows[field]


def text_of(html):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", re.sub(r"<style>.*?</style>", "", html, flags=re.S)))


def test_a_slider_answers_and_its_text_follows(view):
    row(view, "defect.depth").slider.value = 4.1000000000000005
    assert row(view, "defect.depth").text.value == "4.1 mm"
    assert "Depth of the defect 4.1 mm (case: 3.9 mm)" in text_of(view._answer.value)
    assert "Layers 11" in text_of(view._answer.value) and view._figures.value.count("<svg") == 4


def test_a_move_is_worked_once(view):
    before = view._run
    row(view, "defect.depth").slider.value = 4.2
    row(view, "defect.depth").text.value = "4.2 mm"
    assert view._run == before + 1


def test_an_exact_text_moves_the_slider_and_may_have_another_unit(view):
    row(view, "defect.depth").text.value = "0.16 in"
    assert row(view, "defect.depth").slider.value == pytest.approx(4.064)
    assert view.bench.changes == {"defect.depth": "0.16 in"}


@pytest.mark.parametrize(("text", "told"), [
    ("deep", "a length with one of the units"), ("4.1", "which has no unit"), ("4,1 mm", "use a decimal point"),
    ("4.1 MPa", "measures a gauge pressure"), ("12 mm", "at most the wall"), ("-1 mm", "at least 0.01 mm"),
    ("", "a length with one of the units"), ("1e99 mm", "a size from")])
def test_a_bad_text_is_told_at_its_field_and_the_results_are_removed(view, text, told):
    row(view, "defect.depth").text.value = text
    assert told in text_of(row(view, "defect.depth")._fault.value)
    assert row(view, "defect.length")._fault.value == "" or told not in row(view, "defect.length")._fault.value
    assert "No results" in view._answer.value and "Layers" not in view._answer.value
    assert "<svg" not in view._figures.value
    row(view, "defect.depth").text.value = "4.1 mm"
    assert row(view, "defect.depth")._fault.value == "" and "Layers 11" in text_of(view._answer.value)


def test_a_bad_text_stays_a_fault_while_another_field_is_moved_and_nothing_is_kept(view, example):
    row(view, "defect.depth").text.value = "deep"
    row(view, "service.maop").slider.value = 8.0
    assert "No results" in view._answer.value
    places = {"Pin this variant": view._said_of_pins, "Save as a new case": view._said_of_saving,
              "Work out in full": view._said}
    for words, place in places.items():  # told beside the button, and nowhere else
        click(view, words)
        assert [p for p in places.values() if "a length with one of the units" in text_of(p.value)] == [place], words
    assert not file_of(example / "HB-07.toml").exists()


def test_a_contradiction_is_told_at_the_field_of_the_reader(view):
    row(view, "service.lowest_temperature").text.value = "60 °C"
    assert "which is which" in text_of(row(view, "service.lowest_temperature")._fault.value)


def test_a_choice_answers(view):
    row(view, "design.design_method").list.value = "laminate strain"
    assert "Other repair needed" in text_of(view._answer.value) and "(does not hold)" in view._answer.value


def test_back_to_the_case(view):
    first = view._answer.value
    row(view, "defect.depth").text.value = "deep"
    row(view, "service.maop").slider.value = 8.0
    click(view, "Back to the case")
    assert view.bench.changes == {} and row(view, "service.maop").slider.value == 8.6
    assert text_of(view._answer.value) == text_of(first)


def test_pin_put_back_and_unpin(view, example):
    row(view, "defect.depth").slider.value = 4.1
    view._note.value = "deeper"
    click(view, "Pin this variant")
    assert "variant A is pinned" in view._said_of_pins.value and "deeper" in view._compare.value
    click(view, "Back to the case")
    click(view, "Put A on the sliders")
    assert view.bench.changes == {"defect.depth": "4.1 mm"} and row(view, "defect.depth").text.value == "4.1 mm"
    click(view, "Unpin A")
    assert "No variant is pinned" in view._compare.value
    assert wb.what_if(str(example / "HB-07.toml")).bench.pins.pins == ()


def test_the_notebook_run_again_gives_the_same_page(view, example):
    row(view, "defect.depth").slider.value = 4.1
    click(view, "Pin this variant")
    again = wb.what_if(str(example / "HB-07.toml"))
    assert again._compare.value == view._compare.value and again.still().html == view.still().html
    bundle = again._repr_mimebundle_()
    assert {"text/html", "text/plain", "application/vnd.jupyter.widget-view+json"} <= set(bundle)
    assert bundle["text/plain"].splitlines()[0] == MARK
    assert [x.partition(":")[0] for x in bundle["text/plain"].splitlines()[1:]] == ["Case as stated", "A"]


def test_save_tells_the_new_file_or_what_is_wrong(view, example):
    row(view, "defect.depth").slider.value = 4.1
    click(view, "Save as a new case")
    assert "name of the new case: found nothing" in text_of(view._said_of_saving.value)
    view._id.value = "HB-07-b"
    click(view, "Save as a new case")
    assert "reason: found nothing" in text_of(view._said_of_saving.value)
    view._reason.value = "the next look"
    click(view, "Save as a new case")
    assert "HB-07-b.toml was written beside HB-07.toml" in text_of(view._said_of_saving.value)
    click(view, "Save as a new case")
    assert "which HB-07-b.toml has already" in text_of(view._said_of_saving.value)


def test_work_out_in_full_gives_what_was_left_out_and_a_move_removes_it(view):
    click(view, "Work out in full")
    assert "Box for the site" in view._full.value and MARK in view._full.value
    row(view, "defect.depth").slider.value = 4.1
    assert view._full.value == ""


def test_a_file_of_variants_that_cannot_be_read_is_told_when_the_page_opens(example):
    path = file_of(example / "HB-07.toml")
    path.parent.mkdir()
    path.write_text("schema_version = '2'\n", encoding="utf-8")
    said = text_of(wb.what_if(str(example / "HB-07.toml"))._said.value)
    assert "a newer wrapcalc may have written this file" in said and "nothing can be pinned until" in said


def test_variants_of_a_changed_case_are_told(view, example):
    row(view, "defect.depth").slider.value = 4.1
    click(view, "Pin this variant")
    path = example / "HB-07.toml"
    path.write_bytes(path.read_bytes() + b"# later\n")
    click(view, "Unpin A")
    again = wb.what_if(str(path))
    assert again.bench.pins.pins == ()


@pytest.mark.skipif(getattr(os, "geteuid", lambda: 0)() == 0, reason="root may write anywhere")
def test_a_folder_without_write_permission_is_one_message(view, example):
    example.chmod(stat.S_IRUSR | stat.S_IXUSR)
    try:
        row(view, "defect.depth").slider.value = 4.1
        click(view, "Pin this variant")
    finally:
        example.chmod(stat.S_IRWXU)
    assert "Permission denied" in view._said_of_pins.value


def test_a_refused_write_is_one_message(view, monkeypatch):
    def refused(*_, **__):
        raise PermissionError(13, "Permission denied", "the folder what_if")

    monkeypatch.setattr("pathlib.Path.mkdir", refused)
    row(view, "defect.depth").slider.value = 4.1
    click(view, "Pin this variant")
    assert text_of(view._said_of_pins.value).strip() == (
        "Fault: what_if/HB-07.toml: cannot be written (Permission denied); what was pinned before stays as it was; ask "
        "for leave to write in the folder of the case, or make room there")
    assert view.bench.pins.pins == ()


def test_a_case_that_cannot_be_opened_is_one_calm_message(example, tmp_path):
    shown = wb.what_if(str(tmp_path / "nowhere.toml"))
    assert "no such file" in shown.text and "wb-fault" in shown.html
    faults = wb.what_if(str(example / "faults" / "HB-31.toml"))
    assert faults.html.count("wb-fault") >= 8


def test_every_control_has_a_label(view):
    for r in view._rows.values():
        control = getattr(r, "text", None) or r.list
        assert control.description
        if hasattr(r, "slider"):
            assert re.fullmatch(r".+ \(.+\)", control.description)


def test_there_is_no_way_to_a_package(view):
    words = []

    def walk(widget):
        words.append(getattr(widget, "description", ""))
        for child in getattr(widget, "children", ()):
            walk(child)

    walk(view.box)
    assert not [w for w in words if re.search("export|package|print|PDF", str(w), re.I)]


def test_a_variant_that_a_control_cannot_show_leaves_the_page_as_it_was(view):
    row(view, "defect.depth").text.value = "4.1 mm"
    view.bench.pins = Pins((Pin("A", {"defect.length": "240 mm", "design.standard": 5}),), "")
    view._show_pins()
    click(view, "Put A on the sliders")
    assert "Fault" in text_of(view._said_of_pins.value)
    assert view.bench.changes == {"defect.depth": "4.1 mm"}
    assert row(view, "defect.length").text.value == view.bench.inputs["defect.length"].as_stated
