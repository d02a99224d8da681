"""The two notebooks of field data without a browser: messages instead of errors, the same page from the same files."""

import ast
import json
import re
from html import unescape
from pathlib import Path

import pytest

import wrapcalc.workbook.on_site as on_site
from wrapcalc import workbook as wb
from wrapcalc.package import digests
from wrapcalc.workbook.shown import Shown

w = pytest.importorskip("ipywidgets")

CALLS = ("as_found", "close_out")


def walked(widget):
    yield widget
    for child in getattr(widget, "children", ()):
        yield from walked(child)


def control(view, label):
    (found,) = [x for x in walked(view.box) if getattr(x, "description", "").startswith(label)]
    return found


def text(view, name):
    """What a part of the page says, hidden parts left out."""
    return unescape(" ".join(re.sub(r"<style>.*?</style>|<[^>]+>", " ", x.value, flags=re.S) for x in walked(view.box)
                             if isinstance(x, w.HTML) and name in x._dom_classes and x.layout.display != "none"))


def view_of(place, call):
    return getattr(wb, call)(str(place.package), str(place.field))


# -- one calm message ---------------------------------------------------------------------------------------------
@pytest.mark.parametrize("call", CALLS)
@pytest.mark.parametrize(("spoil", "words"), [
    (lambda p: p.rename(p.with_name("gone")), "there is no such folder. Make a package first"),
    (lambda p: (p / "manifest.json").unlink(), "this is not a package folder"),
    (lambda p: (p / "case.toml").write_text("changed"), "was changed after it was written"),
    (lambda p: newer(p, "manifest.json"), "written by a newer wrapcalc (schema 99"),
    (lambda p: newer(p, "record.json"), "schema 99 is not the 1 that this version reads"),
    (lambda p: decided(p, "monitor"), "its decision is 'monitor'; only a package that decides 'wrap'")],
    ids=["missing", "no manifest", "changed", "newer manifest", "newer record", "no wrap"])
def test_a_package_that_cannot_be_worked_with_is_one_message(place, call, spoil, words):
    spoil(place.package)
    shown = view_of(place, call)
    assert isinstance(shown, Shown) and words in shown.text and shown.html.count('class="wb-message') == 1
    assert not place.field.exists()


def newer(package: Path, name: str) -> None:
    data = json.loads((package / name).read_bytes()) | {"schema": 99}
    (package / name).write_text(json.dumps(data))
    if name != "manifest.json":
        sealed_again(package)


def decided(package: Path, word: str) -> None:
    record = json.loads((package / "record.json").read_bytes())
    record["decision"]["word"] = word
    (package / "record.json").write_text(json.dumps(record))
    sealed_again(package)


def sealed_again(package: Path) -> None:
    facts = digests.read_manifest(package)
    for name in ("manifest.json", "manifest.sha256"):
        (package / name).unlink()
    digests.write_manifest(package, {k: v for k, v in facts.items() if k not in ("schema", "versions", "files")})


@pytest.mark.parametrize(("call", "name"), [("as_found", "as_found.toml"), ("close_out", "readings.csv")])
def test_field_data_that_cannot_be_read_are_one_message(place, call, name):
    place.field.mkdir()
    (place.field / name).write_bytes(b"\xff\xfe[")
    shown = view_of(place, call)
    assert isinstance(shown, Shown) and "UTF-8" in shown.text and 'role="alert"' in shown.html


# -- as found -----------------------------------------------------------------------------------------------------
def test_a_fault_stands_at_its_field_and_goes_when_it_is_mended(place):
    v = view_of(place, "as_found")
    depth = control(v, "Greatest depth")
    depth.value = "4.3"
    assert "which has no unit" in text(v, "wb-fault-of") and "typed and not saved" in text(v, "wb-state")
    depth.value = "3.9 mm"
    assert text(v, "wb-fault-of") == "" and control(v, "Judge").disabled and not control(v, "Save the").disabled


def test_saving_judges_and_the_page_is_the_same_from_the_files_alone(place):
    v = view_of(place, "as_found")
    control(v, "Greatest depth").value = "4.3 mm"
    control(v, "Save the").click()
    assert "saved:" in text(v, "wb-told") and "Stop. " in text(v, "wb-found-verdict")
    again = view_of(place, "as_found")
    assert again.still().html == v.still().html and "Stop. " in again.still().text
    assert text(again, "wb-found-verdict") == text(v, "wb-found-verdict")
    assert not (place.out / "as_found").exists()
    write = control(v, "Write the verdict")
    assert not write.disabled
    write.click()
    assert (place.out / "as_found" / "HB-07-r1-1").is_dir() and write.disabled
    assert "Written beside the package: as_found/HB-07-r1-1." in text(v, "wb-found-verdict")
    assert view_of(place, "as_found").still().html == v.still().html


def test_a_file_changed_on_disk_is_told_and_saved_over_only_by_its_own_button(place):
    v = view_of(place, "as_found")
    control(v, "Greatest depth").value = "3.9 mm"
    path = place.found()
    theirs = path.read_bytes()
    over = control(v, "Save over")
    assert over.layout.display == "none"
    control(v, "Save the").click()
    assert "was not when you began; nothing was saved" in text(v, "wb-told") and path.read_bytes() == theirs
    assert over.layout.display == "" and control(v, "Save the").disabled
    over.click()
    assert b'depth = "3.9 mm"' in path.read_bytes() and path.read_bytes() != theirs


def test_dropping_what_was_typed_fills_the_fields_from_the_file(place):
    place.found()
    v = view_of(place, "as_found")
    control(v, "Greatest depth").value = "3.7 mm"
    control(v, "Drop").click()
    assert control(v, "Greatest depth").value == "3.9 mm" and text(v, "wb-state") == ""
    assert "the design holds" in text(v, "wb-found-verdict")


def test_a_pasted_grid_is_taken_and_a_bad_one_is_told_beside_it(place):
    v = view_of(place, "as_found")
    paste, take = control(v, "Depth grid, pasted"), control(v, "Take the pasted grid")
    paste.value = "heading\t0\t20\n0\t0\t1\n5\t0\t0"
    take.click()
    assert "'heading'" in text(v, "wb-grid-told") and paste.value
    paste.value = paste.value.replace("heading", "mm")
    take.click()
    assert "found-grid.csv" in text(v, "wb-grid-told") and "deepest reading 1 mm" in text(v, "wb-grid")
    assert control(v, "Depth grid as read").value == "found-grid.csv"


def test_a_word_that_the_list_does_not_have_is_shown_with_its_fault(place):
    path = place.found()
    path.write_text(path.read_text("utf-8").replace('method = "MT"', 'method = "dye"'), "utf-8")
    v = view_of(place, "as_found")
    method = control(v, "Magnetic particles")
    assert method.value == "dye" and "'dye'" in text(v, "wb-fault-of")
    method.value = "MT"
    assert "'dye'" not in text(v, "wb-fault-of")


@pytest.mark.parametrize("call", CALLS)
def test_no_write_permission_is_one_message_and_what_was_typed_stays(place, call, monkeypatch):
    v = view_of(place, call)

    def refused(*_, **__):
        raise PermissionError(13, "Permission denied")
    monkeypatch.setattr("pathlib.Path.mkdir", refused)
    field = control(v, {"as_found": "Greatest depth", "close_out": "installer"}[call])
    field.value = "3.9 mm" if call == "as_found" else "F. Example"
    assert "typed and not saved" in text(v, "wb-state")
    control(v, "Save the").click()
    told = text(v, "wb-told")
    assert "cannot be written (Permission denied); nothing half-written was left" in told and not place.field.exists()


# -- close-out ----------------------------------------------------------------------------------------------------
def test_a_reading_beyond_its_limit_is_seen_mended_and_the_page_is_the_same_from_the_files(place):
    v = view_of(place, "close_out")
    control(v, "Topic").value = "Blast"
    dust = control(v, "dust rating")
    dust.value = "4"
    assert "not met: Dust rating, greatest: 4, wanted at most 2" in text(v, "wb-standing-of")
    assert "HB-07-r1-N1" in text(v, "wb-close-verdict") and control(v, "Write the close-out").disabled
    dust.value = "1"
    assert "not met" not in text(v, "wb-standing-of") and "Met:" in text(v, "wb-standing-of")
    control(v, "Save the").click()
    again = view_of(place, "close_out")
    assert again.still().html == v.still().html and text(again, "wb-overview") == text(v, "wb-overview")


def test_the_close_out_is_written_by_the_second_button_only(place):
    v = view_of(place, "close_out")
    control(v, "Save the").click()
    really = control(v, "Yes, write it")
    assert really.layout.display == "none"
    control(v, "Write the close-out").click()
    assert "with the verdict 'open'" in text(v, "wb-told") and not (place.out / "closeout").exists()
    really.click()
    assert (place.out / "closeout" / "HB-07-r1-1").is_dir() and really.layout.display == "none"
    assert view_of(place, "close_out").still().html == v.still().html


def test_a_long_log_is_shown_page_by_page_and_a_row_can_be_added(place):
    v = view_of(place, "close_out")
    control(v, "Topic").value = "Pressure"
    assert "rows 1 to 12 of 16" in text(v, "wb-which") and control(v, "Earlier").disabled
    control(v, "Later").click()
    assert "rows 13 to 16 of 16" in text(v, "wb-which") and control(v, "Later").disabled
    control(v, "Add the row").click()
    assert "rows 13 to 17 of 17" in text(v, "wb-which")


def test_a_deviation_can_be_accepted_in_the_row_of_the_template_by_writing_its_number(place):
    v = view_of(place, "close_out")
    control(v, "Topic").value = "Release and acceptance"
    i = next(i for i, e in enumerate(v.book.entries) if e.what == "accepted deviation")
    row = v.book.entries[i].cells["row"]
    control(v, f"Where, row {row}").value = "HB-07-r1-N1"
    assert v.book.entries[i].cells["where"] == "HB-07-r1-N1"


# -- both ---------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("call", CALLS)
def test_every_control_has_a_label(place, call):
    v = view_of(place, call)
    controls = [x for x in walked(v.box) if isinstance(x, (w.Text, w.Textarea, w.Dropdown, w.Button, w.FileUpload))]
    assert len(controls) > 20 and all(x.description.strip() for x in controls)
    labels = [x.description for x in controls if not isinstance(x, w.Button)]
    assert len(set(labels)) == len(labels) or call == "close_out"


def test_a_defect_of_ours_is_a_message_and_the_view_goes_on(place, monkeypatch):
    v = view_of(place, "as_found")
    monkeypatch.setattr(v.sheet, "save", lambda **_: 1 / 0)
    control(v, "Save the").click()
    assert "this is a defect of wrapcalc (ZeroDivisionError" in text(v, "wb-told")


def test_only_the_views_know_widgets():
    for path in Path(on_site.__file__).parent.glob("*.py"):
        names = {a.name for n in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(n, ast.Import)
                 for a in n.names}
        assert ("ipywidgets" in names) == (path.stem in ("style", "view_found", "view_close")), path.name


# -- what must not be lost or broken ------------------------------------------------------------------------------
@pytest.mark.parametrize("call", CALLS)
@pytest.mark.parametrize("inside", ["", "deeper/field", "../as_linked/field"])
def test_a_field_folder_in_a_package_is_refused(place, call, inside):
    (place.out / "as_linked").symlink_to(place.package)
    before = sorted(p.name for p in place.package.iterdir())
    said = getattr(wb, call)(str(place.package), str(place.package / inside))
    assert isinstance(said, Shown) and "the sealed folder HB-07-r1, in which nothing may be changed" in said.text
    assert sorted(p.name for p in place.package.iterdir()) == before and digests.integrity(place.package) == []


@pytest.mark.parametrize("call", CALLS)
def test_a_field_folder_that_can_be_none_is_one_message(place, call):
    said = getattr(wb, call)(str(place.package), "a\0b")
    assert isinstance(said, Shown) and "is no folder for field data" in said.text


@pytest.mark.parametrize(("call", "name"), [("as_found", "as_found.toml"), ("close_out", "readings.csv")])
def test_damaged_typing_and_that_of_another_window_are_told_on_the_page(place, call, name):
    place.field.mkdir()
    (place.field / f"{name}.unsaved").write_text("[" * 200_000)
    view = view_of(place, call)
    assert f"{name}.unsaved is damaged, and stands as {name}.unsaved-damaged now" in text(view, "wb-state")
    (place.field / f"{name}.unsaved").write_text("of another window")
    assert f"it stands in {name}.unsaved, and nothing" in unescape(view.still().html)


@pytest.mark.parametrize(("call", "name"), [("as_found", "as_found.toml"), ("close_out", "readings.csv")])
@pytest.mark.parametrize("typed", ["", "a = [", "a,b\n", 'x = "1\n', "defect = 3\nx = [1, 2"])
def test_typing_that_is_no_table_is_put_aside_and_the_saved_file_opens(place, call, name, typed):
    place.field.mkdir()
    raw = json.dumps({"over": "", "text": typed})
    (place.field / f"{name}.unsaved").write_text(raw)
    view = view_of(place, call)
    assert f"stands as {name}.unsaved-damaged now" in text(view, "wb-state")
    assert (place.field / f"{name}.unsaved-damaged").read_text() == raw and place.left() == [f"{name}.unsaved-damaged"]


def test_a_refused_cell_shows_what_is_held_and_why(place):
    view = view_of(place, "as_found")
    (date,) = [x for x in walked(view.box) if "wb-field-as-found-date" in getattr(x, "_dom_classes", ())]
    date.value = "\ud800"
    assert date.value == "" and "half a sign that cannot be written" in text(view, "wb-told")
    close = view_of(place, "close_out")
    remark = next(x for x in walked(close.box) if getattr(x, "description", "").startswith("Remark, row "))
    remark.value = "@SUM(A1)"
    assert remark.value == "" and "would run as a formula" in text(close, "wb-told")
