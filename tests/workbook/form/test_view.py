"""The widgets of the form without a browser: what is typed reaches the draft, what is wrong stands at its field."""

import asyncio
import re
from html import unescape
from pathlib import Path

import pytest

pytest.importorskip("ipywidgets")

import ipywidgets as w

from wrapcalc import workbook as wb
from wrapcalc.case import load_bundle
from wrapcalc.workbook import calm
from wrapcalc.workbook.form.questions import SECTIONS, questions


def text(widget: w.HTML) -> str:
    """What a reader sees of a widget of HTML."""
    return unescape(re.sub(r"<[^>]+>", "", re.sub(r"<style>.*?</style>", "", widget.value, flags=re.S)))


def everything(widget: w.Widget):
    yield widget
    for child in getattr(widget, "children", ()):
        yield from everything(child)


@pytest.fixture
def form(example):
    return wb.case_form(example / "HB-07.toml")


def test_text_with_a_unit_or_a_number_and_a_chosen_unit(form):
    form.show("pipe")
    row = form.row("pipe.nominal_wall")
    assert (row.answer.value, row.unit.value) == ("8.74", "mm")
    row.answer.value = "0.375 in"
    assert form.draft.answer("pipe.nominal_wall").text == "0.375 in" and row.unit.value == "in"
    assert "= 9.525 mm" in text(row.message)
    row.unit.value = "mm"
    assert (row.answer.value, form.draft.answer("pipe.nominal_wall").text) == ("0.375", "0.375 mm"), "never converted"
    assert "at least 0.5 mm" in text(row.message)
    row.answer.value = "8.74"
    assert text(row.message) == "" and form.draft.unsaved() == []


def test_a_number_without_a_unit_is_a_fault_and_no_unit_is_guessed(example):
    form = wb.case_form(example / "NEW.toml")
    form.show("pipe")
    row = form.row("pipe.outside_diameter")
    assert row.unit.value == ""
    row.answer.value = "406.4"
    assert "Fault: found '406.4', which has no unit" in text(row.message)
    row.unit.value = "mm"
    assert text(row.message) == "" and form.draft.answer("pipe.outside_diameter").text == "406.4 mm"


def test_sources_stand_beside_values(form):
    form.show("service")
    row = form.row("service.product")
    row.source.value, row.kind.value = "operating permit", "document"
    assert form.draft.answer("service.product").source == "operating permit"
    assert form.row("case.id").source is None, "a name has no source"


def test_faults_and_what_is_needed_are_counted_at_their_sections(form):
    form.show("pipe")
    form.row("pipe.nominal_wall").answer.value = "nine"
    form.row("pipe.grade").answer.value = ""
    assert form._nav["pipe"].description == "Pipe · 1 fault · 1 needed"
    form.show("what is missing")
    assert [*form._panel._fields] == ["pipe.nominal_wall", "pipe.grade"]
    assert form.row("pipe.grade").answer.description == "Pipe: Grade and specification (needed)"
    form.show("pipe")
    assert form.row("pipe.grade").answer.description == "Grade and specification (needed)"


def test_what_is_needed_comes_first_and_the_rest_behind_one_button(example):
    form = wb.case_form(example / "NEW.toml")
    form.show("service")
    panel = form._panel
    first = list(panel._first)
    assert "service.maop" in first and "service.class_location" not in first
    assert panel._more.description == f"Show {40 - len(first)} more questions, which are optional"
    form.row("service.service").answer.value = "gas line"
    assert "service.class_location" in panel._first, "what becomes needed comes into view"
    panel._more.click()
    laid = panel.box.children
    assert len([x for x in laid if isinstance(x, w.VBox)]) == 40
    form.row("service.product").answer.value = "dry gas"
    assert panel.box.children == laid, "what somebody types in does not move"
    panel._more.click()
    assert form.row("service.product").box in panel.box.children


def test_rows_of_questions_are_made_only_when_they_are_shown(form):
    assert {f.split(".")[0] for f in form._rows} == {"case"}


def test_every_section_opens_and_every_control_has_a_label(form):
    for name in form._nav:
        form.show(name)
        if getattr(form._panel, "_more", None) is not None and not form._panel._all:
            form._panel._more.click()
        for x in everything(form._place):
            if isinstance(x, (w.Text, w.Dropdown, w.Textarea, w.Checkbox, w.Button)):
                assert x.description, (name, x)
        assert "defect of wrapcalc" not in form._told.value
    assert {f.split(".")[0] for f in form._rows} == {*SECTIONS} - {"restriction"}  # none is stated in this case


def test_a_question_is_found_by_its_words(form):
    form._search.value = "seam clock"
    found = form._panel._fields
    assert "pipe.seam_clock" in found and len(found) < 10
    assert all("seam" in f"{questions()[re.sub('.[0-9]+', '', f)].asks} {f}".lower() for f in found)
    form._search.value = "no such words"
    assert form._panel._fields == []


def test_rows_of_a_list_are_added_and_removed(form):
    form.show("keep_out")
    form._panel._add.click()
    assert form.draft.rows("keep_out") == 2
    form.row("keep_out.1.start").answer.value = "3 m"
    assert "found nothing" in text(form.row("keep_out.1.what").message)
    remove = next(x for x in everything(form._place) if isinstance(x, w.Button) and x.description == "Remove number 1")
    remove.click()
    assert form.draft.rows("keep_out") == 1 and form.row("keep_out.0.start").answer.value == "3"
    assert "keep_out.1.start" not in form._rows


def test_systems_and_editions_show_their_status_and_their_data(form):
    form.show("design")
    system, standard = form.row("design.system"), form.row("design.standard")
    assert any("invented" in label for label, _ in system.answer.options)
    system.answer.value = "example-cloth"
    assert "Example cloth" in text(system.message) and "no product has these values" in text(system.message)
    standard.answer.value = "ISO/TS 24817:2006"
    assert "36 values of this edition are not known" in text(standard.message)


def test_a_choice_that_is_not_in_the_list_is_shown_with_its_fault(form):
    form.draft.set("assessment.method", "lowest")
    form.show("assessment")
    row = form.row("assessment.method")
    assert row.answer.value == "lowest" and "Fault" in text(row.message)


def test_a_pasted_grid_is_written_beside_the_case_and_drawn_at_once(form):
    form.show("grid")
    panel = form._panel
    assert "<svg" in panel.drawing.value
    panel.paste.value = "mm\t0\t20\t40\n0\t0\t\t0\n25\t0\t1,4\t0\n50\t0\t0\t0"
    panel.use.click()
    assert "row 1, column" not in text(panel.told) and "row 2, column 3" in text(panel.told)
    assert form.draft.answer("defect.grid").text == "HB-07-grid.csv" and panel.paste.value
    panel.paste.value = panel.paste.value.replace("0\t0\t\t0", "0\t0\t0\t0")
    panel.use.click()
    assert form.draft.answer("defect.grid").text == "HB-07-grid-2.csv"
    assert "HB-07-grid.csv is still there" in text(panel.told) and "3 stations around" in text(panel.drawing)
    assert form._nav["grid"].description == "Depth grid"
    panel.beside.value = "HB-07-forecast.csv"
    assert "Fault" in text(panel.told) and form.draft.answer("defect.grid").text == "HB-07-grid-2.csv"
    panel.beside.value = "HB-07-grid.csv"
    assert "10 along" in text(panel.drawing) and form.draft.unsaved() == []
    assert form.row("defect.grid").answer.value == "HB-07-grid.csv"


def test_a_grid_is_loaded_from_a_file(form):
    form.show("grid")
    file = {"name": "mine.csv", "type": "", "size": 0, "content": b"mm;0;20;40\n0;0;0;0\n25;0;1,4;0\n50;0;0;0\n",
            "last_modified": __import__("datetime").datetime.now()}
    form._panel.load.value = (file,)
    assert "3 stations around" in text(form._panel.drawing)
    form._panel.load.value = (file | {"content": b"PK\x03\x04"},)
    assert "a workbook of a spreadsheet" in text(form._panel.told)


def test_saving_says_what_was_saved_what_is_not_and_what_comes_next(form):
    form.show("pipe")
    form.row("pipe.nominal_wall").answer.value = "nine"
    assert "not saved: Nominal wall" in text(form._save.state)
    form._save.run.click()
    assert "1 answer on this page is not saved" in text(form._save.told) and "Wrap" in text(form._save.told)
    form.row("pipe.nominal_wall").answer.value = "ten"
    assert "worked out before the last change" in text(form._save.told) and "Wrap" in text(form._save.told)
    form._save.save.click()
    assert "saved HB-07.toml" in text(form._save.told) and "does not read yet: 1 fault" in text(form._save.told)
    form.row("pipe.nominal_wall").answer.value = "8.9"
    assert text(form._save.told) == "", "a message of an earlier state goes"
    form._save.save.click()
    assert "wrapcalc package" in text(form._save.told) and "All that was typed is saved" in text(form._save.state)
    assert load_bundle(form.draft.path).case.pipe.nominal_wall.written == "8.9 mm"


def test_a_file_changed_on_disk_asks_for_a_word(form):
    form.show("pipe")
    form.row("pipe.nominal_wall").answer.value = "8.9"
    form.draft.path.write_bytes(form.draft.path.read_bytes().replace(b'"3.9 mm"', b'"3.8 mm"'))
    assert form._save.replace.layout.display == "none"
    form._save.save.click()
    assert "changed on disk" in text(form._save.told) and form._save.replace.layout.display == ""
    assert load_bundle(form.draft.path).case.pipe.nominal_wall.written == "8.74 mm"
    form._save.replace.value = True
    form._save.save.click()
    assert load_bundle(form.draft.path).case.defect.depth.written == "3.9 mm"
    assert form._save.replace.layout.display == "none" and not form._save.replace.value


def test_what_was_typed_before_the_kernel_ended_is_asked_for_first(form):
    form.show("pipe")
    form.row("pipe.nominal_wall").answer.value = "8.9"
    again = wb.case_form(form.draft.path)
    said = [text(x) for x in everything(again._place) if isinstance(x, w.HTML)]
    assert "typed earlier and not saved: Nominal wall" in " ".join(said)
    assert again._save.save.disabled and all(b.disabled for b in again._nav.values())
    back = next(x for x in everything(again._place) if isinstance(x, w.Button) and x.description == "Take it back")
    back.click()
    assert again.draft.unsaved() == ["pipe.nominal_wall"] and not again._save.save.disabled


def test_what_is_typed_is_checked_after_a_pause_and_saving_does_not_wait_for_it(form):
    form.show("pipe")
    row = form.row("pipe.nominal_wall")

    async def typing():
        for part in ("8", "8.", "8.9"):
            row.answer.value = part
        assert form.draft.unsaved() == [], "nothing is checked while somebody types"
        form._save.save.click()
    asyncio.run(typing())
    assert load_bundle(form.draft.path).case.pipe.nominal_wall.written == "8.9 mm"


def test_an_error_in_a_callback_is_a_message(form, monkeypatch):
    def fail(*_, **__):
        raise ZeroDivisionError("x")
    form.show("pipe")
    monkeypatch.setattr(type(form.draft), "set", fail)
    form.row("pipe.nominal_wall").answer.value = "8.9"
    assert "defect of wrapcalc" in text(form.row("pipe.nominal_wall").message)


def test_what_cannot_be_opened_is_one_message_and_no_form(tmp_path):
    (tmp_path / "A.toml").write_text('schema_version = "9"\n', encoding="utf-8")
    shown = wb.case_form(tmp_path / "A.toml")
    assert shown.html.count('class="wb-message ') == 1 and "format version" in shown.text
    assert shown.outcome().text == "" and not isinstance(shown, calm.View)
    assert "there is no such folder" in wb.case_form(Path("no") / "such" / "A.toml").text


def test_the_page_without_widgets_goes_with_the_widgets(form):
    bundle = form._repr_mimebundle_()
    assert "application/vnd.jupyter.widget-view+json" in bundle
    assert "8.74 mm" in bundle["text/plain"] and "Answers of the case" in bundle["text/html"]
    form.draft.path.write_bytes(b"")
    assert "empty" in form._repr_mimebundle_()["text/plain"]


# -- what the draft cannot take ---------------------------------------------------------------------------------------
def test_what_cannot_be_taken_is_told_until_it_is_mended_and_nothing_is_saved(form):
    raw = form.draft.path.read_bytes()
    form.show("case")
    row = form.row("case.title")
    before = row.answer.value
    row.answer.value = "x" * 10_001
    assert "found 10001 characters" in text(row.message)
    form.row("case.line").answer.value = "another line"
    assert "found 10001 characters" in text(row.message), "another edit does not wipe it"
    asks = questions()["case.title"].asks
    assert f"1 answer cannot be taken as typed: {asks}" in text(form._save.state)
    assert form._nav["case"].description.startswith("The anomaly · 1 fault")
    form._save.save.click()
    assert f"what is typed cannot be taken: {asks}; nothing was done" in text(form._save.told)
    assert form.draft.path.read_bytes() == raw and row.answer.value == "x" * 10_001
    form.show("what is missing")
    assert "case.title" in form._panel._fields
    row.answer.value = before
    assert text(row.message) == "" and "cannot be taken" not in text(form._save.state)
    form._save.save.click()
    assert "saved HB-07.toml" in text(form._save.told) and "another line" in form.draft.path.read_text(encoding="utf-8")


def test_a_line_that_the_form_cannot_change_is_held_at_its_field(tmp_path):
    path = tmp_path / "A.toml"
    path.write_text('schema_version = "1"\n[case]\nid = "A"\n[pipe]\nnominal_wall.value = "9 mm" # see NCR 12\n'
                    'nominal_wall.source = "x" # c\n', encoding="utf-8")
    form = wb.case_form(path)
    form.show("pipe")
    row = form.row("pipe.nominal_wall")
    row.answer.value = "10"
    form.row("pipe.grade").answer.value = "L360"
    assert "losing a comment" in text(row.message) and form.draft.answer("pipe.nominal_wall").text == "9 mm"
    form._save.save.click()
    assert "nothing was done" in text(form._save.told) and "L360" not in path.read_text(encoding="utf-8")


def test_no_row_is_removed_while_something_typed_there_cannot_be_taken(form):
    form.show("stock")
    row = form.row("stock.0.batch")
    row.answer.value = "x" * 10_001
    count = form.draft.rows("stock")
    next(x for x in everything(form._place) if getattr(x, "description", "") == "Remove number 2").click()
    assert "what is typed cannot be taken" in text(form._told) and form.draft.rows("stock") == count
    assert row.answer.value == "x" * 10_001


def test_two_windows_and_a_damaged_draft_are_told(example):
    one, other = wb.case_form(example / "HB-07.toml"), wb.case_form(example / "HB-07.toml")
    one.row("case.title").answer.value = "one"
    other.row("case.title").answer.value = "other"
    assert "Another window has typed answers" in text(other._save.state)
    assert "Another window" not in text(one._save.state)
    (example / ".HB-02.toml.unsaved").write_text('{"opened":"","text":"a=["}', encoding="utf-8")
    form = wb.case_form(example / "HB-02.toml")
    assert "is kept as HB-02.toml.damaged-draft" in text(form._told)
    assert "is kept as HB-02.toml.damaged-draft" in form.still().text
