"""Variants that are kept beside the case."""

import os

import pytest

from wrapcalc.cli import main
from wrapcalc.errors import CaseFaults, PackageError
from wrapcalc.workbook.bench import pinned
from wrapcalc.workbook.bench.bench import Bench


def pin(bench, text="4.1 mm", note=""):
    bench.put("defect.depth", text)
    return bench.pin(note)


def test_a_pinned_variant_is_there_when_the_case_is_opened_again(bench):
    one = bench("HB-07")
    pin(one, note="deeper")
    one.put("assessment.method", "original 1991")
    one.pin()
    again = bench("HB-07")
    assert [(p.name, dict(p.changes), p.note) for p in again.pins.pins] == [
        ("A", {"defect.depth": "4.1 mm"}, "deeper"),
        ("B", {"defect.depth": "4.1 mm", "assessment.method": "original 1991"}, "")]
    assert not again.pins_moved_on() and again.changes == {}


def test_the_file_holds_no_number_that_was_worked_out(bench, example):
    pin(bench("HB-07"))
    lines = pinned.file_of(example / "HB-07.toml").read_text(encoding="utf-8").splitlines()
    assert [x for x in lines if x and not x.startswith("#")] == [
        'schema_version = "1"', lines[3], "[[variant]]", 'name = "A"', 'note = ""', "[variant.changes]",
        '"defect.depth" = "4.1 mm"']
    assert lines[0].endswith("Exploratory: not a package.") and lines[3].startswith("case_sha256 = ")


def test_four_can_be_pinned_and_no_fifth(bench):
    one = bench("HB-02")
    names = [pin(one, f"{d} mm").name for d in (1.1, 1.2, 1.3, 1.4)]
    assert names == list(pinned.NAMES)
    with pytest.raises(CaseFaults, match="found 4 that are pinned already; allowed: at most 4"):
        pin(one, "1.6 mm")
    one.unpin("B")
    assert pin(one, "1.6 mm").name == "B"
    assert [p.name for p in bench("HB-02").pins.pins] == list("ABCD")


@pytest.mark.parametrize(("text", "told"), [("1.5 mm", "the case as it is"), ("1500 um", "the case as it is")])
def test_the_case_itself_is_no_variant(bench, text, told):
    with pytest.raises(CaseFaults, match=told):
        pin(bench("HB-02"), text)


def test_the_same_variant_is_pinned_once(bench):
    one = bench("HB-02")
    pin(one, "2 mm")
    with pytest.raises(CaseFaults, match="a variant that is pinned already"):
        pin(one, "2 mm")


def test_a_variant_that_the_case_could_not_be_is_not_pinned(bench, example):
    with pytest.raises(CaseFaults, match="at most the wall"):
        pin(bench("HB-02"), "12 mm")
    assert not (example / pinned.FOLDER).exists()


def test_another_window_s_variants_are_not_overwritten(bench):
    one, other = bench("HB-02"), bench("HB-02")
    pin(one, "2 mm")
    with pytest.raises(CaseFaults, match="other variants than this page shows"):
        pin(other, "3 mm")
    assert [dict(p.changes) for p in bench("HB-02").pins.pins] == [{"defect.depth": "2 mm"}]


def test_variants_of_a_case_that_has_changed_since_are_kept_and_told(bench, example):
    pin(bench("HB-02"), "2 mm")
    path = example / "HB-02.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('"34 mm"', '"36 mm"'), encoding="utf-8")
    again = bench("HB-02")
    assert again.pins_moved_on() and again.pins.pins[0].changes == {"defect.depth": "2 mm"}


def test_nothing_is_pinned_for_a_case_that_has_changed_since_it_was_opened(bench, example):
    one = bench("HB-02")
    path = example / "HB-02.toml"
    path.write_bytes(path.read_bytes() + b"# later\n")
    with pytest.raises(CaseFaults, match="run the notebook again from the top"):
        pin(one, "2 mm")


def test_the_file_is_never_taken_for_a_case(bench, example, capsys):
    pin(bench("HB-02"), "2 mm")
    assert main(["check", str(example)]) == 0
    said = capsys.readouterr().out
    assert "HB-02" in said and "what_if" not in said


@pytest.mark.parametrize(("text", "told"), [
    ("schema_version = '2'", "a newer wrapcalc may have written this file"),
    ("", "nothing: it is empty"),
    ("schema_version = '1'\nvariant = 3", "at most 4 tables"),
    ("schema_version = '1'\n[[variant]]\nname = 'E'", "A, B, C, D"),
    ("schema_version = '1'\n[[variant]]\nname = 'A'\nchanges = 3", "a table of fields"),
    ("schema_version = '1'\n[[variant]]\nname = 'A'\nnote = 3\n[variant.changes]\n'defect.depth' = '2 mm'", "a text"),
    ("schema_version = '1'\n[[variant]]\nname = 'A'\n[variant.changes]\n'defect.kind' = 'leak'", "defect.kind"),
    ("schema_version = '1'\n[[variant]]\nname = 'A'\n[variant.changes]\n'defect.depth' = 2.5", "in quotation marks"),
    ("schema_version = '1'\n" + "[[variant]]\nname = 'A'\n[variant.changes]\n'defect.depth' = '2 mm'\n" * 2,
     "each name once"),
])
def test_a_file_that_is_not_one_of_ours_is_told_and_never_overwritten(bench, example, text, told):
    path = pinned.file_of(example / "HB-02.toml")
    path.parent.mkdir()
    path.write_text(text, encoding="utf-8")
    one = bench("HB-02")
    assert told in str(one.pins_fault) and one.pins.pins == ()
    with pytest.raises(CaseFaults, match="what_if/HB-02"):
        pin(one, "2 mm")
    assert path.read_text(encoding="utf-8") == text


def test_a_failure_while_writing_leaves_the_old_file_and_nothing_else(bench, example, monkeypatch):
    one = bench("HB-02")
    pin(one, "2 mm")
    before = pinned.file_of(example / "HB-02.toml").read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(PackageError, match=r"^what_if/HB-02\.toml: cannot be written \(No space left on device\)"):
        pin(one, "3 mm")
    assert [p.name for p in (example / pinned.FOLDER).iterdir()] == ["HB-02.toml"]
    assert pinned.file_of(example / "HB-02.toml").read_bytes() == before and len(one.pins.pins) == 1


def test_a_case_with_faults_does_not_open(example):
    with pytest.raises(CaseFaults):
        Bench.open(example / "faults" / "HB-31.toml")


@pytest.mark.parametrize(("field", "value", "told"), [
    ("defect.depth", "'4.2 psi'", "a length"), ("defect.depth", "5", "a number with its unit, in quotation marks"),
    ("defect.depth", "''", "a length"), ("service.class_location", "4", "one of '1', '2', '3', '4'"),
    ("design.standard", "5", "one of "), ("design.system", "'../../x'", "one of "), ("defect.depth", "['x']", "a text"),
    ("defect.depth", "true", "a text")])
def test_each_pinned_value_is_one_that_its_field_takes(bench, example, field, value, told):
    path = pinned.file_of(example / "HB-07.toml")
    path.parent.mkdir()
    path.write_text(f"schema_version = '1'\n[[variant]]\nname = 'A'\n[variant.changes]\n'{field}' = {value}\n",
                    encoding="utf-8")
    one = bench("HB-07")
    (fault,) = one.pins_fault.faults
    assert (fault.file, fault.field) == ("what_if/HB-07.toml", f"variant.0.changes.{field}") and told in fault.allowed


def test_every_value_that_can_be_pinned_is_read_again(bench):
    one = bench("HB-07")
    for c in one.choices:
        for _, value in c.options:
            assert pinned._not_taken(c, "" if value is None else value) == ""
    for s in one.sliders:
        assert pinned._not_taken(s, s.text(s.high)) == pinned._not_taken(s, s.as_stated) == ""


def test_a_folder_that_cannot_be_made_is_one_message(bench, example):
    (example / pinned.FOLDER).write_text("a file", encoding="utf-8")
    with pytest.raises(PackageError, match=r"what_if/HB-02\.toml: cannot be written"):
        pin(bench("HB-02"), "2 mm")
