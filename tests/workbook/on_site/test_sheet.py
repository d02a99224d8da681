"""The as-found sheet in the notebook: the package's own questions, the reader's faults, the gate's verdict."""

import datetime
import json
import re

import pytest
import tomlkit

from wrapcalc.case.as_found import AsFound, read_as_found
from wrapcalc.errors import CaseFaults, PackageError
from wrapcalc.fields import walk
from wrapcalc.package import as_found as af
from wrapcalc.workbook.on_site import pages_found as pages
from wrapcalc.workbook.on_site.questions import FIXED


# -- questions ----------------------------------------------------------------------------------------------------
def test_every_question_of_the_form_is_asked_and_no_other(place):
    s = place.sheet()
    asked = {re.sub(r"\.\d+\.", ".", q.field) for q in s.questions}
    form = (place.package / "as-found-form.toml").read_text("utf-8")
    left_out = {"defect.leak_size", "neighbour.side", "neighbour.number", *FIXED}  # no leak; joints are those listed
    assert asked == {f for f, _ in walk(AsFound)} - left_out
    assert all(q.label in form for q in s.questions if not q.field.startswith("neighbour"))


def test_stop_rules_beside_the_fields_are_those_of_the_record(place):
    record = json.loads((place.package / "record.json").read_bytes())
    beside = {q.field: q.beside for q in place.sheet().questions}
    names = {"depth": "defect.depth", "length": "defect.length", "width": "defect.width",
             "sound wall": "pipe.sound_wall"}
    sides = {names[b["input"]]: b for b in record["bears"]["box"] if b["input"] in names}
    assert set(sides) == set(names.values())
    for field, b in sides.items():
        word = "beyond" if b["bound"] == "at most" else "below"
        assert beside[field].endswith(f"stop {word} {b['edge']['shown']}")


def test_predictions_are_what_the_case_states(place):
    predicted = {q.field: q.predicted for q in place.sheet().questions}
    case = tomlkit.parse((place.package / "case.toml").read_text("utf-8"))
    assert predicted["defect.depth"] == "3.9 mm" == case["defect"]["depth"]["value"]
    assert predicted["neighbour.0.length"] == "12.11 m" and predicted["neighbour.2.seam_clock"] == "2:40"
    assert predicted["as_found.date"] == ""  # nobody predicts a day


def test_a_field_that_takes_a_quantity_says_its_unit_and_one_that_takes_a_word_does_not(place):
    asked = {q.field: q.asked for q in place.sheet().questions}
    assert asked["defect.depth"] == "Greatest depth by any means (with unit: mm)"
    assert asked["service.steel_now"].endswith("(with unit: °C)")
    assert "with unit: mm, readings parted by ;" in asked["pipe.sound_wall"]
    assert asked["crack.method"] == "Magnetic particles (MT), penetrant (PT), or none"


# -- answers ------------------------------------------------------------------------------------------------------
def test_comments_of_the_sheet_survive_and_only_the_answer_changes(place):
    path = place.found()
    path.write_text("# mine\n" + path.read_text("utf-8").replace('depth = "3.9 mm"', 'depth = "3.9 mm"  # pit gauge 4'))
    before = path.read_text("utf-8").splitlines()
    s = place.sheet()
    s.put("defect.depth", "3.8 mm")
    s.save()
    after = path.read_text("utf-8").splitlines()
    changed = [(a, b) for a, b in zip(before, after, strict=True) if a != b]
    assert changed == [('depth = "3.9 mm"  # pit gauge 4', 'depth = "3.8 mm"  # pit gauge 4')]


def test_a_blank_form_saved_is_the_form_with_what_was_typed(place):
    s = place.sheet()
    s.put("coating.ph", "8.5")
    s.put("pipe.sound_wall", "8.61 mm, 8.64 mm;8.66 mm")
    s.put("as_found.date", "2026-11-30")
    s.save()
    found = read_as_found(s.kept.path).found
    assert found.coating.ph.magnitude == 8.5 and [g.written for g in found.pipe.sound_wall] == ["8.61 mm", "8.64 mm",
                                                                                               "8.66 mm"]
    form = (place.package / "as-found-form.toml").read_text("utf-8")
    assert re.findall(r"#.*", form) == re.findall(r"#.*", s.kept.path.read_text("utf-8"))


def test_a_value_with_its_source_keeps_the_source(place):
    s = place.sheet()
    s.put("as_found.reference", "sheet 1")
    text = s.raw.decode().replace('depth = ""', 'depth = { value = "3.9 mm", source = "gauge 4" }')
    place.field.mkdir(exist_ok=True)
    (place.field / "as_found.toml").write_text(text, "utf-8")
    s.kept.drop()
    s = place.sheet()
    assert s.answer("defect.depth") == "3.9 mm"
    s.put("defect.depth", "3.7 mm")
    assert 'depth = { value = "3.7 mm", source = "gauge 4" }' in s.raw.decode()


@pytest.mark.parametrize(("field", "text", "found", "allowed"), [
    ("defect.depth", "three", "'three'", "a length"), ("defect.depth", "3.9", "which has no unit", "mm"),
    ("defect.depth", "3,9 mm", "'3,9 mm'", "a length"), ("defect.depth", "3.9 MPa", "'3.9 MPa'", "a length"),
    ("defect.depth", "-3 mm", "'-3 mm'", "at least"), ("service.steel_now", "20 mm", "'20 mm'", "a temperature"),
    ("service.pressure_now", "3 bara", "'3 bara'", "gauge"), ("defect.clock", "half past", "'half past'", "a clock"),
    ("as_found.date", "tomorrow", "'tomorrow'", "year-month-day"),
    ("as_found.date", "2099-01-01", "2099-01-01", "future"),
    ("coating.ph", "sour", "'sour'", "number"), ("pipe.sound_wall", "8,61 mm", "'8,61 mm'", "a length"),
    ("crack.method", "dye", "'dye'", "MT, PT, none"), ("neighbour.0.length", "12", "which has no unit", "a length"),
    ("as_found.package", "HB-11-r1", "'HB-11-r1'", "HB-07-r1"), ("as_found.digest", "0" * 12, "'000000000000'", ""),
    ("defect.grid", "none.csv", "'none.csv': no such file", "file"),
    ("defect.grid", "../case.toml", "'../case.toml'", "beside the sheet")])
def test_what_cannot_be_read_is_a_fault_at_its_field_in_the_words_of_the_reader(place, field, text, found, allowed):
    s = place.sheet()
    s.put("defect.depth", "3.9 mm")
    s.put(field, text)
    _, faults = s.read()
    at = [f for f in faults if f.field == field]
    assert len(at) == 1 and found in at[0].found and allowed in at[0].allowed and at[0].mend
    assert s.answer(field) == text  # and it stays as typed


def test_faults_on_the_page_are_those_of_the_command(place):
    s = place.sheet()
    for field, text in (("defect.depth", "3"), ("joint.length", "x"), ("as_found.found_by", "G. Example"),
                        ("as_found.checked_by", "g. example")):
        s.put(field, text)
    s.save()
    with pytest.raises(CaseFaults) as e:
        af.as_found_package(place.package, s.kept.path)
    assert e.value.faults == s.read()[1] and len(e.value.faults) == 3


def test_a_key_that_nobody_knows_is_told_above_the_fields(place):
    path = place.found()
    path.write_text(path.read_text("utf-8").replace("[crack]", "[crack]\nmethd = 'MT'"), "utf-8")
    s = place.sheet()
    html = pages.general(s.read()[1], {q.field for q in s.questions})
    assert "crack.methd: found a key that we do not know" in html


def test_a_measurement_beyond_the_stop_rule_is_told_at_once(place):
    s = place.sheet()
    s.put("defect.depth", "3.9 mm")
    s.put("pipe.sound_wall", "8.61 mm; 8.4 mm")
    told = s.beyond(s.read()[0])
    assert told == {"pipe.sound_wall": "8.4 mm is below 8.5 mm, the stop rule of the crew: stop, and call the engineer"}


@pytest.mark.parametrize(("text", "words"), [("[defect\n", "not TOML"), ("", "empty")])
def test_a_sheet_that_is_not_toml_is_one_message(place, text, words):
    place.field.mkdir()
    (place.field / "as_found.toml").write_text(text)
    with pytest.raises(CaseFaults, match=words):
        place.sheet()


@pytest.mark.parametrize(("text", "words"), [
    ('as_found = "x"\n', r"as_found.*found 'x'.*a table, headed \[as_found\]"), ("defect = 3\n", "defect"),
    ("neighbour = [1]\n", r"tables, headed \[\[neighbour\]\]"), ("neighbour = 2\n", "neighbour"),
    ("defect = [{ depth = '3 mm' }]\n", "defect")])
def test_a_sheet_whose_tables_are_none_is_one_message(place, text, words):
    place.field.mkdir()
    (place.field / "as_found.toml").write_text(text)
    with pytest.raises(CaseFaults, match=f"(?s){words}") as e:
        place.sheet()
    assert len(e.value.faults) == 1 and e.value.faults[0].mend.startswith("write it below a heading")


@pytest.mark.parametrize("field", ["as_found.date", "neighbour.0.length", "pipe.sound_wall"])
def test_half_a_sign_is_refused_at_its_field_and_typing_goes_on(place, field):
    s = place.sheet()
    before = s.answer(field)
    with pytest.raises(CaseFaults, match="half a sign that cannot be written") as e:
        s.put(field, "a\ud800")
    assert e.value.faults[0].field == field and s.answer(field) == before and place.left() == []
    s.put("coating.ph", "8.5")
    s.save()
    assert place.left() == ["as_found.toml"]


# -- depth grid ---------------------------------------------------------------------------------------------------
def test_a_grid_pasted_from_a_spreadsheet_stands_beside_the_sheet_as_csv(place):
    s = place.sheet()
    g = s.take_grid(b"mm\t0\t20\t40\t\n0\t0\t0\t0\t\n25\t0\t1.4\t0\t\n50\t0\t0\t0\t\n").grid
    assert (g.deepest[0], s.answer("defect.grid"), place.left()) == (
        1.4, "found-grid.csv", ["as_found.toml.unsaved", "found-grid.csv"])
    assert (place.field / "found-grid.csv").read_text() == "mm,0,20,40\n0,0,0,0\n25,0,1.4,0\n50,0,0,0\n"


def test_another_grid_of_the_same_name_never_replaces_the_first(place):
    s = place.sheet()
    one, two = b"mm,0,20\n0,0,1\n5,0,0\n", b"mm,0,20\n0,0,2\n5,0,0\n"
    for raw in (one, two, one):
        s.take_grid(raw, "g.csv")
    assert (place.field / "g.csv").read_bytes() == one and (place.field / "g-2.csv").read_bytes() == two
    assert s.answer("defect.grid") == "g.csv"


@pytest.mark.parametrize(("raw", "words"), [
    (b"station\t0\t20\n0\t0\t1\n5\t0\t0\n", "'station'"), (b"mm\t0\t20\n0\t0\t1,400\n5\t0\t0\n", "'1,400', "
                                                             "which may be"),
    (b'mm,0,20\n0,0,"1\n5,0,0\n', "cells that cannot be told apart"),
    (b'mm\t0\t20\n0\t0\t"1\n5\t0\t0\n', "cells that cannot be told apart"), (b"PK\x03\x04", "a workbook"),
    (b"mm\t0\t20\n0\t0\t\n5\t0\t0\n", "cell"), (b"", "nothing"),
    (b"\xff\xfe", "not UTF-8")])
def test_what_is_no_grid_is_told_and_nothing_is_written(place, raw, words):
    with pytest.raises(CaseFaults, match=words):
        place.sheet().take_grid(raw)
    assert place.left() == []


@pytest.mark.parametrize("raw", [
    b"mm;0;20\n0;0;1,4\n5;0;0\n", b"mm\t0\t20\n0\t0\t1,4\n5\t0\t0\n", b"mm\t0\t20\r0\t0\t1.4\r5\t0\t0\r",
    b"mm,0,20\r\n0,0,1.4\r\n5,0,0\r\n"])
def test_a_grid_is_taken_in_every_form_that_the_case_form_takes(place, raw):
    s = place.sheet()
    taken = s.take_grid(raw)
    assert (place.field / "found-grid.csv").read_bytes() == taken.csv == b"mm,0,20\n0,0,1.4\n5,0,0\n"
    assert taken.notes == (("Decimal commas were read as decimal points.",) if b"1,4" in raw else ())


# -- saving and judging -------------------------------------------------------------------------------------------
def test_what_is_not_saved_is_named_and_outlives_the_kernel(place):
    place.found()
    place.sheet().put("defect.depth", "3.8 mm")
    s = place.sheet()
    assert s.unsaved() == [("Greatest depth by any means", "3.9 mm", "3.8 mm")]
    assert "Greatest depth by any means: 3.8 mm (saved: 3.9 mm)" in pages.unsaved(s)
    s.reopen()
    assert s.answer("defect.depth") == "3.9 mm" and s.unsaved() == [] and pages.unsaved(s) == ""


def test_a_preview_writes_nothing_and_says_what_the_command_writes(place):
    place.found()
    s = place.sheet()
    data, number = s.verdict(place.now)
    assert (data["verdict"], number) == ("the design holds", 0) and not (place.out / "as_found").exists()
    result = s.write(place.now)
    assert (result.state, result.verdict, result.folder.name) == ("written", "the design holds", "HB-07-r1-1")
    assert json.loads((result.folder / "as_found.json").read_bytes()) == data
    assert (result.folder / "as_found.toml").read_bytes() == s.kept.path.read_bytes()


def test_what_was_written_is_shown_from_its_file_and_is_not_written_twice(place, monkeypatch):
    place.found()
    s = place.sheet()
    said = s.verdict(place.now)[0]
    s.write(place.now)
    monkeypatch.setattr(af, "judge", None)  # nothing is worked again
    s = place.sheet()
    assert s.verdict() == (said, 1) and not s.may_be_written
    with pytest.raises(PackageError, match="judge it again"):
        s.write(place.now)


def test_stop_or_go_comes_first_in_words_with_what_differs_and_both_designs(place):
    place.found(defect__depth="4.3 mm")
    data, number = place.sheet().verdict(place.now)
    html = pages.verdict(data, number)
    text = re.sub(r"<[^>]+>", " ", html)
    assert text.split()[0] == "Stop." and "stop: new revision" in text
    assert html.index("Why to stop") < html.index("What differs from the prediction") < html.index("worked again")
    assert re.search(r"depth</td><td>3\.9 mm</td><td>4\.3 mm</td><td>differs", html)
    assert re.search(r"Stop rule of the crew: depth</td><td>4 mm</td><td>4\.3 mm</td><td>not met", html)


def test_what_is_missing_stops_for_now_and_is_listed(place):
    place.found(defect__width=None)
    html = pages.verdict(*place.sheet().verdict(place.now))
    assert html.index("Stop for now: something is missing") < html.index("width of the defect (“")


def test_what_was_typed_since_is_never_judged_nor_written(place):
    place.found()
    s = place.sheet()
    s.judge(place.now)
    s.put("defect.depth", "3.8 mm")
    assert s.verdict() is None and not s.may_be_written
    for call in (s.judge, s.write):
        with pytest.raises(PackageError, match="answers that are not saved; save it before"):
            call()
    s.save()
    with pytest.raises(PackageError, match="not the one that was judged last"):
        s.write(place.now)
    assert not (place.out / "as_found").exists()


def test_a_sheet_or_grid_that_changed_on_disk_is_told_before_anything_is_judged_or_written(place):
    path = place.found()
    s = place.sheet()
    s.judge(place.now)
    (place.field / "found.csv").write_bytes((place.field / "found.csv").read_bytes() + b"\n")
    with pytest.raises(PackageError, match="not the one that was judged last"):
        s.write(place.now)
    path.write_bytes(path.read_bytes() + b"# theirs\n")
    for call in (s.judge, s.write):
        with pytest.raises(PackageError, match="was changed by somebody else since you opened it"):
            call()
    assert "was changed by somebody else" in pages.unsaved(s)


def test_a_sheet_with_faults_has_no_verdict(place):
    place.found(defect__depth="3.9")
    with pytest.raises(CaseFaults, match="no unit"):
        place.sheet().verdict(place.now)


def test_a_sheet_of_another_package_is_refused_as_by_the_command(place):
    place.found(as_found__package="HB-07-r2")
    with pytest.raises(CaseFaults, match="take the sheet of this package"):
        place.sheet().verdict(place.now)


def test_an_approval_that_comes_later_gives_another_verdict_to_write(place):
    place.found()
    s = place.sheet()
    s.judge(place.now)
    s.write(place.now)
    place.approve_only()
    assert s.judge(place.now).notes == () and s.may_be_written
    assert s.write(place.now).folder.name == "HB-07-r1-2"


def test_a_day_in_the_future_of_the_clock_is_a_fault_only_then(place):
    place.found()
    s = place.sheet()
    assert s.read(place.now)[1] == [] and s.read(place.made - datetime.timedelta(days=3))[1] != []
