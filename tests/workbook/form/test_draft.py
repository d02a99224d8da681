"""A case in work: it says what the readers say, keeps what is not touched, and never overwrites unseen."""

import difflib
import json
import os
import re
import tomllib
from pathlib import Path

import pytest
import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wrapcalc.case import Case, load_bundle
from wrapcalc.case.model import METHODS
from wrapcalc.errors import CaseFaults, PackageError, WrapcalcError
from wrapcalc.fields import examine, lookup
from wrapcalc.workbook.form import disk, toml_text
from wrapcalc.workbook.form.draft import Answer, Draft, NeedsWord, flat
from wrapcalc.workbook.form.questions import questions


def changed_lines(before: str, after: str) -> tuple[list[str], list[str]]:
    """Lines that went and lines that came."""
    lines = list(difflib.ndiff(before.split("\n"), after.split("\n")))
    return [x[2:] for x in lines if x[0] == "-"], [x[2:] for x in lines if x[0] == "+"]


@pytest.fixture
def draft(example) -> Draft:
    return Draft.open(example / "HB-07.toml")


# -- what is kept -----------------------------------------------------------------------------------------------------
def test_a_draft_that_nobody_touched_is_the_file_byte_for_byte(example):
    for path in example.glob("*.toml"):
        raw = path.read_bytes()
        d = Draft.open(path)
        assert d.unsaved() == []
        d.save()
        assert path.read_bytes() == raw, path.name


def test_a_changed_value_changes_its_line_alone_and_keeps_source_and_comment(tmp_path):
    path = tmp_path / "A.toml"
    text = ('# head\nschema_version = "1"\n\n[case]   # who\nid = "A"\n\n[pipe]\n# above the wall\n'
            'nominal_wall = { value = "9.53 mm", source = "mill certificate 4471", source_kind = "document" }  # behind'
            "\n"
            "smys   =  '360 MPa'\n\n# of the service\n[service]\npressure_cycles = 1_200 # counted\n")
    path.write_text(text, encoding="utf-8")
    d = Draft.open(path)
    d.set("pipe.nominal_wall", "0.375 in")
    gone, came = changed_lines(text, d.text)
    assert gone == [text.split("\n")[8]]
    assert came == ['nominal_wall = { value = "0.375 in", source = "mill certificate 4471", source_kind = "document" }'
                    "  # behind"]
    d.set("service.pressure_cycles", "1200", "log of 2025", "derived")
    assert ('pressure_cycles = { value = 1_200, source = "log of 2025", source_kind = "derived" } '
            "# counted" in d.text.split("\n")), "the spelling of a value stays when only its source changes"


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_line_ends_and_byte_order_mark_stay_as_they_were(example, ending, mark):
    path = example / "HB-02.toml"
    raw = mark + path.read_bytes().replace(b"\n", ending.encode())
    path.write_bytes(raw)
    d = Draft.open(path)
    d.set("pipe.seam_clock", "3:30")
    d.set("excavation.cover", "1.1 m", "probe", "measured")
    d.save()
    saved = path.read_bytes()
    assert saved.startswith(mark + b"#") and saved.count(b"\r") == (saved.count(b"\n") if ending == "\r\n" else 0)
    assert load_bundle(path).case.pipe.seam_clock == "3:30"


def test_a_new_line_stands_where_its_question_does(draft):
    before = draft.text
    draft.set("pipe.steel_modulus", "207 GPa")
    gone, came = changed_lines(before, draft.text)
    assert (gone, came) == ([], ['steel_modulus = "207 GPa"'])
    lines = draft.text.split("\n")
    assert lines[lines.index(came[0]) - 1].startswith("seam_clock"), "behind the question before it"


def test_a_new_section_comes_last_and_a_comment_stays_with_its_heading(tmp_path):
    path = tmp_path / "A.toml"
    path.write_text('schema_version = "1"\n[case]\nid = "A"\n\n# about the pipe\n[pipe]\ngrade = "L360"\n# end')
    d = Draft.open(path)
    d.set("case.title", "leak test")
    d.set("growth.basis", "stated")
    assert '[case]\nid = "A"\ntitle = "leak test"\n\n# about the pipe\n[pipe]' in d.text
    assert d.text.endswith('# end\n\n[growth]\nbasis = "stated"\n')


@pytest.mark.parametrize("text", [
    '[case]\nid = "A"\n[pipe.nominal_wall] # own\nvalue = "9 mm"\n# why\nsource = "x"\n[service]\nmaop = "5 MPa"\n',
    '[case]\nid = "A"\n[pipe]\nother_smys = nan\nnominal_wall = "9 mm" # nan\n',
    'pipe.nominal_wall = "9 mm"\n[case]\nid = "A"\n',
    'pipe = { nominal_wall = "9 mm", grade = "L360" }\n[case]\nid = "A"\n',
    '[case]\nid = "A"\n["pipe"]\n"nominal_wall" = """9 mm"""\ngrade = """L\\\n360"""\n',
    'case.id = "A"\n[pipe]\nnominal_wall = \'\'\'9 mm\'\'\'\n[[stock]]\nitem="unit"\n[[stock]]\n',
])
def test_other_ways_to_write_toml_are_changed_too_or_refused_whole(tmp_path, text):
    path = tmp_path / "A.toml"
    path.write_text(f'schema_version = "1"\n{text}', encoding="utf-8")
    d = Draft.open(path)
    for field, value in (("pipe.nominal_wall", "10 mm"), ("pipe.sound_wall", "9.5 mm"), ("service.maop", "6 MPa")):
        before = d.text
        wanted = tomllib.loads(before)
        try:
            d.set(field, value)
        except toml_text.CannotChange as e:
            assert d.text == before and "in the file itself" in str(e)
            continue
        section, key = field.split(".")
        old = wanted.setdefault(section, {}).get(key)
        wanted[section][key] = {**old, "value": value} if isinstance(old, dict) else value
        ours, theirs = (json.dumps(x, sort_keys=True) for x in (tomllib.loads(d.text), wanted))
        assert ours == theirs, "compared as text, for nan is no number's equal"
        assert set(re.findall("#.*", before)) == set(re.findall("#.*", d.text))
    assert d.answer("pipe.nominal_wall").text == "10 mm"


def test_an_unchanged_answer_changes_nothing(draft):
    before = draft.text
    for field in [f for s in ("pipe", "service", "stock", "joint", "location") for f in draft.fields(s)]:
        a = draft.answer(field)
        draft.set(field, a.text, a.source, a.source_kind)
    assert draft.text == before and draft.unsaved() == []


# -- property: as by hand ---------------------------------------------------------------------------------------------
_SAMPLES = {"length": ["9.53 mm", "0.375 in", "1 ft", "8,2 mm", "5"],
            "gauge pressure": ["6.2 MPa", "900 psi", "5 psia"],
            "stress": ["360 MPa", "52 ksi", "52 degC"], "temperature": ["38 °C", "100 °F", "-3 K"],
            "count": ["900", "1.5"], "number": ["0.4", "-1e-3", "x"], "percentage": ["15 %", "0.15"],
            "time": ["2 h", "40 min"]}


def _answers(field: str) -> st.SearchStrategy[str]:
    q = questions()[field]
    known = [*_SAMPLES.get(q.kind, []), *q.words[:3], q.example, ""]
    return st.one_of(st.sampled_from(known), st.text(st.characters(exclude_categories=["Cs"]), max_size=12))


@st.composite
def _changes(draw):
    field = draw(st.sampled_from([f for f, q in questions().items() if not q.listed]))
    return (field, draw(_answers(field)), draw(st.sampled_from(["", "tape", 'a "b" \\ # c', "Prüfung 7"])),
            draw(st.sampled_from(["", "measured", "assumed"])))


def _said(text: str) -> tuple:
    """The model and the faults of a case file without its lines."""
    data = tomllib.loads(text)
    case, faults = examine(Case, data, text.encode(), "A.toml", {"schema_version": "1", "case": {"id": "faulty"}})
    values = {f: (getattr(v, "written", v), getattr(v, "source", ""), getattr(v, "source_kind", ""))
              for f in questions() if not questions()[f].listed for v in [lookup(case, f)]}
    return values, sorted((f.field, f.found, f.allowed) for f in faults)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(changes=st.lists(_changes(), min_size=1, max_size=6), new=st.booleans())
def test_a_draft_reads_as_the_same_file_written_by_hand(tmp_path, changes, new):
    path = tmp_path / ("new.toml" if new else "old.toml")
    path.unlink(missing_ok=True)
    disk.Unsaved(path).drop()
    if not new:
        path.write_bytes((Path(toml_text.__file__).parents[2] / "example" / "HB-15.toml").read_bytes())
    d = Draft.open(path)
    before, by_hand = d.text, tomllib.loads(d.text)
    for field, text, source, source_kind in changes:
        d.set(field, text, source, source_kind)
        section, key = field.split(".")
        q, text = questions()[field], " ".join(text.split())
        value = int(text) if q.bare and re.fullmatch(r"\d+", text) and not re.match(r"0\d", text) else text
        if q.bare and re.fullmatch(r"-?\d+(\.\d+)?(e-\d+)?", text) and not isinstance(value, int):
            value = float(text) if "." in text or "e" in text else value
        source, source_kind = (source, source_kind) if q.sourced else ("", "")
        said = {"value": value} | ({"source": source} if source else {}) | (
            {"source_kind": source_kind} if source_kind else {})
        by_hand.setdefault(section, {})[key] = said if len(said) > 1 else value
    assert _said(d.text) == _said(tomlkit.dumps(by_hand))
    touched = {f.split(".")[1] for f, *_ in changes}
    for line in changed_lines(before, d.text)[0]:
        assert re.match(r"\w+", line) and re.match(r"\w+", line)[0] in touched, line
    assert re.findall(r"(?m)^#.*$", before) == re.findall(r"(?m)^#.*$", d.text)
    saved = d.save()
    assert saved.path.read_text(encoding="utf-8") == d.text and saved.faults == len(d.checked.faults)
    assert Draft.open(path).text == d.text and Draft.open(path).unsaved() == []


# -- faults at their fields -------------------------------------------------------------------------------------------
@pytest.mark.parametrize("field, text, says", [
    ("pipe.nominal_wall", "nine", "8.2 mm"),
    ("pipe.nominal_wall", "9.53", "which has no unit"),
    ("pipe.nominal_wall", "9,53 mm", "use a decimal point"),
    ("pipe.nominal_wall", "9.53 MPa", "MPa measures a gauge pressure"),
    ("pipe.nominal_wall", "-9.53 mm", "at least 0.5 mm"),
    ("service.maop", "900 psia", "it is an absolute pressure"),
    ("service.pressure_cycles", "900 cycles", "a whole number"),
    ("service.pressure_cycles", "1,200", "a whole number"),
    ("service.pressure_cycles", "nan", "a whole number"),
    ("service.quality_factor", "1e400", "a pure number"),
    ("case.id", "HB 07", "letters, digits"),
    ("case.title", "a\u0007b", "without control characters"),
    ("defect.clock", "25:00", "clock position"),
    ("location.due", "30.9.2026", "year-month-day"),
    ("work.planned_start", "2026-05-14T07:30", "no time zone"),
    ("assessment.method", "lowest", ", ".join(METHODS)),
    ("design.system", "no-such", "there is no wrap system"),
    ("defect.grid", "gone.csv", "no such file"),
    ("defect.grid", "../HB-07-grid.csv", "a file name without folders"),
    ("stock.1.width", "410", "which has no unit"),
])
def test_bad_input_is_told_at_its_field_in_the_words_of_the_readers(draft, field, text, says):
    checked = draft.set(field, text)
    assert not checked.reads
    assert says in " ".join(str(f) for f in checked.at[field])
    saved = draft.save()
    assert saved.faults == len(checked.faults) >= 1
    with pytest.raises(CaseFaults) as e:
        load_bundle(draft.path)
    assert [str(f) for f in e.value.faults] == [str(f) for f in checked.faults]
    again = Draft.open(draft.path)
    assert again.answer(field).text == text.replace("\u0007", "\u0007"), "what was half typed is still there"


def test_a_contradiction_of_two_fields_is_told_at_the_one_that_the_readers_name(draft):
    checked = draft.set("defect.depth", "12 mm")
    assert "at most the wall" in str(checked.at["defect.depth"][0])
    assert draft.set("defect.depth", "3.9 mm").reads


def test_a_fault_in_a_file_beside_the_case_is_told_at_the_field_that_names_it(draft, example):
    (example / "bad.csv").write_text("mm,0,10,20\n0,0,0,0\n5,0,x,0\n9,0,0,0\n", encoding="utf-8")
    assert "row 3, column 3" in str(draft.set("defect.grid", "bad.csv").at["defect.grid"][0])
    (example / "sys.toml").write_text('schema_version = "1"\n[system]\nid = "sys"\n', encoding="utf-8")
    assert draft.set("design.system", "sys.toml").at["design.system"]


def test_faults_of_rows_stand_at_their_rows_though_blank_rows_are_not_counted_where_they_are_read(tmp_path):
    d = Draft.open(tmp_path / "NEW.toml")  # has one blank row of each list
    d.add_row("restriction")
    checked = d.set("restriction.1.pressure", "5 MPa")
    assert set(checked.at) == {"restriction.1.reference"}


def test_what_no_file_can_hold_is_refused_and_the_draft_stays(draft):
    before = draft.text
    for text in ("\ud800", "x" * 20_000):
        with pytest.raises(CaseFaults):
            draft.set("case.title", text)
    assert draft.text == before


def test_the_unknown_key_of_a_value_stays_and_is_told(tmp_path):
    path = tmp_path / "A.toml"
    path.write_text('schema_version = "1"\n[case]\nid = "A"\n[pipe]\ngrade = { value = "L360", note = "old" }\n')
    d = Draft.open(path)
    assert d.set("pipe.grade", "L415").at["pipe.grade"]
    assert 'note = "old"' in d.text


# -- what is needed ---------------------------------------------------------------------------------------------------
def test_what_is_needed_is_what_check_lists(tmp_path, example, capsys):
    from wrapcalc.cli import main
    d = Draft.open(tmp_path / "NEW.toml")
    d.save()
    main(["check", str(d.path)])
    listed = re.findall(r"^    (\S+)  ", capsys.readouterr().out, re.M)
    assert [*d.checked.for_decision, *d.checked.for_wrap] == listed and len(listed) > 20
    assert "service.class_location" not in d.checked.needs
    assert d.set("service.service", "gas line").needs["service.class_location"] == "decision"
    assert "service.class_location" in d.checked.for_decision
    assert not Draft.open(example / "HB-07.toml").checked.missing


def test_a_field_with_a_fault_is_not_told_as_missing_too(draft):
    checked = draft.set("pipe.nominal_wall", "9.53")
    assert "pipe.nominal_wall" in checked.at and "pipe.nominal_wall" not in checked.missing
    assert draft.set("pipe.nominal_wall", "").for_decision == ("pipe.nominal_wall",)


# -- lists of tables --------------------------------------------------------------------------------------------------
def test_rows_are_added_filled_and_removed_and_the_rest_stays(draft):
    before = draft.text
    draft.add_row("keep_out")
    for key, value in (("what", "clamp"), ("start", "7 m"), ("end", "7.2 m"), ("rule", "no end")):
        checked = draft.set(f"keep_out.1.{key}", value)
    assert checked.reads and checked.bundle.case.keep_out[1].what == "clamp"
    assert changed_lines(before, draft.text)[0] == []
    draft.drop_row("keep_out", 1)
    assert draft.text == before
    draft.drop_row("joint", 1)
    assert [r["number"] for r in draft.data["joint"]] == ["117", "119"]
    gone, came = changed_lines(before, draft.text)
    assert sorted(gone) == sorted(["[[joint]]", 'side = "upstream"', 'number = "116"', 'length = "11.93 m"',
                                   'seam_clock = "11:05"']) and came == []


def test_the_first_row_of_a_list_and_none(tmp_path):
    path = tmp_path / "A.toml"
    path.write_text('schema_version = "1"\n[case]\nid = "A"\n# last word', encoding="utf-8")
    d = Draft.open(path)
    d.add_row("stock")
    assert d.rows("stock") == 1 and d.checked.reads and "# last word" in d.text
    d.drop_row("stock", 0)
    assert d.rows("stock") == 0 and "# last word" in d.text


def test_rows_written_in_one_line_are_left_alone_with_a_word(tmp_path):
    path = tmp_path / "A.toml"
    path.write_text('schema_version = "1"\nstock = [ { item = "unit", width = "260 mm" } ]\n[case]\nid = "A"\n')
    d = Draft.open(path)
    before = d.text
    with pytest.raises(toml_text.CannotChange, match="in the file itself"):
        d.add_row("stock")
    with pytest.raises(toml_text.CannotChange):
        d.drop_row("stock", 0)
    assert d.text == before
    d.set("stock.0.width", "300 mm")
    assert d.answer("stock.0.width").text == "300 mm"


# -- opening ----------------------------------------------------------------------------------------------------------
def test_a_new_case_is_the_blank_file_of_wrapcalc_new_with_its_name(tmp_path):
    from wrapcalc.cli import main
    main(["new", str(tmp_path / "n")])
    blank = (tmp_path / "n" / "case.toml").read_text(encoding="utf-8")
    d = Draft.open(tmp_path / "HB-99.toml")
    gone, came = changed_lines(blank, d.text)
    assert len(gone) == len(came) == 1 and came[0].startswith('id = "HB-99"')
    assert not d.on_disk and not (tmp_path / "HB-99.toml").exists()
    d.save()
    assert d.on_disk and d.unsaved() == [] and d.checked.reads


@pytest.mark.parametrize("name, content, says", [
    ("A.txt", None, "ends in .toml"), ("no/A.toml", None, "no such folder"), ("A.toml", "", "empty"),
    ("A.toml", "x = ", "not TOML"), ("A.toml", 'schema_version = "2"\n', "format version '2'"),
    ("A.toml", b"\xff\xfe", "not UTF-8"), ("d.toml", "folder", "a folder")])
def test_what_cannot_be_opened_is_one_message(tmp_path, name, content, says):
    path = tmp_path / name
    if content == "folder":
        path.mkdir()
    elif content is not None:
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(WrapcalcError) as e:
        Draft.open(path)
    assert says in str(e.value) and "\n" not in str(e.value)


# -- saving -----------------------------------------------------------------------------------------------------------
def test_a_file_changed_on_disk_is_never_overwritten_unseen(draft):
    draft.set("pipe.nominal_wall", "9 mm")
    theirs = draft.path.read_bytes().replace(b'"3.9 mm"', b'"3.8 mm"')
    draft.path.write_bytes(theirs)
    with pytest.raises(NeedsWord, match=r"changed on disk since it was opened \(defect.depth\); nothing was saved"):
        draft.save()
    assert draft.path.read_bytes() == theirs and draft.unsaved() == ["pipe.nominal_wall"]
    draft.save("HB-07b.toml")
    assert draft.path.name == "HB-07b.toml" and draft.unsaved() == []
    again = Draft.open(draft.path.with_name("HB-07.toml"))
    again.path.write_bytes(b"spoilt")
    with pytest.raises(NeedsWord):
        again.save()
    again.save(overwrite=True)
    assert again.path.read_bytes() == theirs


def test_another_name_never_replaces_a_file_unseen(draft, example):
    before = (example / "HB-02.toml").read_bytes()
    with pytest.raises(NeedsWord, match=r"there is a file HB-02\.toml already"):
        draft.save("HB-02")
    assert (example / "HB-02.toml").read_bytes() == before and draft.path.name == "HB-07.toml"
    draft.save("HB-02", overwrite=True)
    assert (example / "HB-02.toml").read_text(encoding="utf-8") == draft.text


def test_a_new_case_never_replaces_a_file_that_came_meanwhile(tmp_path):
    d = Draft.open(tmp_path / "A.toml")
    (tmp_path / "A.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(NeedsWord):
        d.save()
    assert (tmp_path / "A.toml").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("name", ["../A.toml", "a/b", "con.toml", ".toml", ".hidden", "a?.toml", "x" * 120, "a..toml",
                                  "a .toml", "aux .toml", "aux .x.toml", "\u202ex.toml", "a\u2028b"])
def test_a_name_that_is_no_file_name_is_refused(draft, name):
    with pytest.raises(PackageError, match="nothing was saved"):
        draft.save(name)


def test_a_file_that_is_gone_is_written_anew_and_that_is_said(draft):
    draft.path.unlink()
    assert "written anew" in draft.save().remark and draft.path.is_file()


def test_without_leave_to_write_there_is_one_message_and_nothing_half_written(draft, monkeypatch):
    raw = draft.path.read_bytes()
    draft.set("pipe.nominal_wall", "9 mm")

    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")
    monkeypatch.setattr(Path, "write_bytes", refuse)
    with pytest.raises(PackageError, match=r"HB-07\.toml: cannot be written \(Permission denied\); nothing was saved"):
        draft.save()
    assert draft.path.read_bytes() == raw and not list(draft.path.parent.glob(".*.part"))
    assert draft.unsaved() == ["pipe.nominal_wall"]


def test_a_write_protected_file_is_not_replaced(draft, monkeypatch):
    real = os.access
    monkeypatch.setattr(os, "access", lambda p, mode: mode != os.W_OK and real(p, mode))
    with pytest.raises(PackageError, match="write-protected"):
        draft.save()


def test_a_case_too_long_to_be_opened_again_is_not_saved(draft):
    draft.text += "# " + "x" * 1_100_000
    with pytest.raises(PackageError, match="could not be opened again"):
        draft.save()


# -- what was typed and not saved -------------------------------------------------------------------------------------
def test_what_was_typed_and_not_saved_is_said_after_the_kernel_ended_and_can_be_taken_back(draft):
    raw = draft.path.read_bytes()
    draft.set("pipe.nominal_wall", "9 mm")
    again = Draft.open(draft.path)  # a new kernel
    assert again.left_over() == ["pipe.nominal_wall"] and again.unsaved() == []
    assert again.answer("pipe.nominal_wall").text == "8.74 mm"
    again.take_back()
    assert again.unsaved() == ["pipe.nominal_wall"] and draft.path.read_bytes() == raw
    again.save()
    assert Draft.open(draft.path).left_over() == [] and load_bundle(draft.path).case.pipe.nominal_wall.written == "9 mm"
    assert not list(draft.path.parent.glob(".*"))


def test_what_was_typed_against_another_file_still_does_not_overwrite_it_unseen(draft):
    draft.set("pipe.nominal_wall", "9 mm")
    draft.path.write_bytes(draft.path.read_bytes().replace(b'"3.9 mm"', b'"3.8 mm"'))
    again = Draft.open(draft.path)
    again.take_back()
    with pytest.raises(NeedsWord):
        again.save()


def test_it_can_be_thrown_away(draft):
    draft.set("pipe.nominal_wall", "9 mm")
    Draft.open(draft.path).throw_away()
    assert Draft.open(draft.path).left_over() == []


def test_where_it_cannot_be_kept_the_draft_says_so(draft, monkeypatch):
    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")
    monkeypatch.setattr(Path, "write_text", refuse)
    draft.set("pipe.nominal_wall", "9 mm")
    assert not draft.kept and draft.answer("pipe.nominal_wall") == Answer(
        "9 mm", "mill certificate MC-2207", "document")


def test_flat_names_values_with_their_sources_and_rows():
    data = tomllib.loads('[pipe]\ngrade = {value="a", source="b"}\nsmys = ""\n[[stock]]\nwidth = {value=1}\n[[stock]]')
    assert [k for k, _ in flat(data)] == ["pipe.grade", "stock.0", "stock.0.width", "stock.1"]


# -- two windows, damaged drafts --------------------------------------------------------------------------------------
def test_another_window_s_unsaved_answers_are_neither_overwritten_nor_removed(draft):
    other = Draft.open(draft.path)
    draft.set("pipe.nominal_wall", "9 mm")
    held = disk.Unsaved(draft.path).path.read_bytes()
    other.set("case.title", "typed in the other one")
    assert not other.kept and other.not_kept.startswith("Another window has typed answers of this case")
    with pytest.raises(PackageError, match="another window has typed more"):
        other.throw_away()
    assert "another window has typed and not saved" in other.save().remark
    assert disk.Unsaved(draft.path).path.read_bytes() == held
    draft.set("pipe.nominal_wall", "9.1 mm")
    assert draft.kept and draft.not_kept == ""
    draft.save(overwrite=True)
    assert not list(draft.path.parent.glob(".*"))
    other.set("case.title", "again")
    assert other.kept, "nothing of the other window is left"


def test_a_draft_that_says_what_the_file_says_is_no_hindrance(draft):
    draft.set("pipe.nominal_wall", "9 mm")
    draft.set("pipe.nominal_wall", "8.74 mm")
    again = Draft.open(draft.path)
    again.set("pipe.nominal_wall", "9.2 mm")
    assert again.kept and Draft.open(draft.path).left_over() == ["pipe.nominal_wall"]


@pytest.mark.parametrize("damaged", [b"{", b"[]", b"\xff", b"[" * 200_000, b'{"opened":"","text":"a=["}',
                                     b'{"opened":"","text":""}', b'{"opened":1,"text":"a=1"}',
                                     b'{"opened":"","text":"\\ud800"}'])
def test_a_damaged_draft_is_kept_under_another_name_and_told(draft, damaged):
    place = disk.Unsaved(draft.path).path
    (draft.path.parent / "HB-07.toml.damaged-draft").write_text("an earlier one", encoding="utf-8")
    place.write_bytes(damaged)
    again = Draft.open(draft.path)
    assert "is damaged. It is kept as HB-07.toml.damaged-draft-2." in again.damaged and again.left_over() == []
    again.take_back()
    again.set("pipe.nominal_wall", "9 mm")
    assert again.kept and (draft.path.parent / "HB-07.toml.damaged-draft-2").read_bytes() == damaged
    assert (draft.path.parent / "HB-07.toml.damaged-draft").read_text(encoding="utf-8") == "an earlier one"


def test_a_damaged_draft_that_cannot_be_renamed_stays_and_is_told(draft, monkeypatch):
    place = disk.Unsaved(draft.path).path
    place.write_bytes(b"{")

    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")
    monkeypatch.setattr(os, "link", refuse)
    monkeypatch.setattr(os, "rename", refuse)
    again = Draft.open(draft.path)
    again.set("pipe.nominal_wall", "9 mm")
    assert "not be given another name and stays as it is" in again.damaged
    assert not again.kept and place.read_bytes() == b"{"


# -- comments ---------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("text", [
    'pipe.nominal_wall.value = "9 mm" # check, see NCR 12\npipe.nominal_wall.source = "x" # c\n',
    '[pipe]\nnominal_wall.value = "9 mm" # check, see NCR 12\nnominal_wall.source = "x"\n',
    '[pipe.nominal_wall] # own\n# before\nvalue = "9 mm"\n# why\nsource = "x" # c\n[service]\nmaop = "5 MPa"\n'])
@pytest.mark.parametrize("answer", [("10 mm",), ("10 mm", "", ""), ("",), ("", "", "")])
def test_no_edit_loses_a_comment_unsaid(tmp_path, text, answer):
    path = tmp_path / "A.toml"
    path.write_text(f'schema_version = "1"\ncase.id = "A"\n{text}', encoding="utf-8")
    d = Draft.open(path)
    before = d.text
    try:
        d.set("pipe.nominal_wall", *answer)
    except toml_text.CannotChange as e:
        assert d.text == before and "losing a comment" in str(e)
    assert set(re.findall("#.*", before)) == set(re.findall("#.*", d.text))


def test_what_looks_like_a_comment_inside_a_text_is_none():
    text = 'a = "x # 1" # one\nb = \'# 2\' #two\n'
    text += 'c = """\n# 3 \\""" # 4\n""""# three\nd = "" # one\ne = \'\'\'# 5\'\'\'\n'
    assert dict(toml_text.comments(text)) == {"# one": 2, "#two": 1, "# three": 1}


@pytest.mark.parametrize("version", ["1", "1.0", "true", "[1]"])
def test_a_version_that_is_no_text_is_told_with_its_mend(tmp_path, version):
    path = tmp_path / "A.toml"
    path.write_text(f"schema_version = {version}\n", encoding="utf-8")
    with pytest.raises(PackageError, match='Put it in quotation marks: schema_version = "1"'):
        Draft.open(path)


@pytest.mark.parametrize("text", ["5 # 7", "5_0", "0b11", "9" * 400, "9" * 5000, "5."])
def test_what_is_no_plain_number_is_told_at_its_field(draft, text):
    assert draft.set("service.pressure_cycles", text).at["service.pressure_cycles"]
    assert draft.answer("service.pressure_cycles").text == text
