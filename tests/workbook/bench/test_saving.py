"""A variant saved as a case of its own."""

import os
import tomllib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wrapcalc.case import load_bundle
from wrapcalc.errors import CaseFaults, PackageError
from wrapcalc.stages.job import run
from wrapcalc.workbook.bench.bench import Bench


def moved(bench, **changes):
    for field, value in changes.items():
        bench.put(field.replace("__", "."), value)
    return bench


def comments(text):
    return [line for line in text.splitlines() if line.startswith("#")]


def test_the_saved_file_reads_to_the_numbers_that_the_bench_showed(bench, example):
    one = moved(bench("HB-07"), defect__depth="4.1 mm", service__maop="8.4 MPa")
    shown = one.answer()
    path = one.save("HB-07-deeper", "what the next look may find")
    assert path == example / "HB-07-deeper.toml"
    whole = run(load_bundle(path))
    assert whole.decision.sentence == shown.record["decision"]["sentence"]
    assert [(x.item, x.quantity.magnitude) for x in whole.order] == [
        (x.item, x.quantity.magnitude) for x in shown.outcome.order]
    assert whole.design.laid.required.magnitude == shown.outcome.design.laid.required.magnitude


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_variant_saved_is_the_variant_shown(example, data):
    one = Bench.open(example / "HB-15.toml")
    for s in one.sliders:
        if data.draw(st.booleans()):
            one.put(s.field, s.text(data.draw(st.floats(s.low, s.high))))
    for c in one.choices:
        if data.draw(st.booleans()):
            one.put(c.field, data.draw(st.sampled_from([v for _, v in c.options])))
    name = f"V-{data.draw(st.integers(0, 10 ** 9))}"
    if not one.changes or (example / f"{name}.toml").exists():
        return
    try:
        shown = one.answer()
    except CaseFaults as e:
        with pytest.raises(CaseFaults) as caught:
            one.save(name, "because")
        assert {f.field for f in caught.value.faults} == {f.field for f in e.faults}
        assert not (example / f"{name}.toml").exists()
        return
    whole = run(load_bundle(one.save(name, "because")))
    assert whole.decision.sentence == shown.record["decision"]["sentence"]
    assert [(x.item, x.quantity.magnitude) for x in whole.order] == [
        (x.item, x.quantity.magnitude) for x in shown.outcome.order]


def test_comments_of_the_case_survive_and_a_head_says_what_it_is(bench, example):
    source = example / "HB-02.toml"
    source.write_text(source.read_text(encoding="utf-8").replace(
        "[defect]", "# a note of the crew\n[defect]  # as measured"), encoding="utf-8")
    path = moved(bench("HB-02"), defect__depth="2 mm").save("HB-02-b", "two years on")
    text = path.read_text(encoding="utf-8")
    assert comments(text)[:3] == [
        "# What-if of HB-02: two years on",
        "# Saved from the what-if bench on HB-02.toml; values marked “assumed” there are not measured.",
        "# defect.depth: 1.5 mm -> 2 mm"]
    assert comments(text)[3:] == comments(source.read_text(encoding="utf-8"))
    assert "[defect]  # as measured" in text


def test_the_reason_stands_where_a_reviewer_reads_it(bench):
    path = moved(bench("HB-07"), design__design_method="yielded steel").save("HB-07-y", "steel may yield")
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    assert data["case"]["title"].startswith("What-if of HB-07: steel may yield. External corrosion")
    assert data["design"]["design_method"]["source_kind"] == "assumed"
    assert data["design"]["design_method_reason"] == "what-if of HB-07: steel may yield"


def test_a_case_without_a_title_gets_one(bench, example):
    source = example / "HB-02.toml"
    text = source.read_text(encoding="utf-8")
    source.write_text(text.replace('title = "Single shallow pit at a coating holiday"\n', ""), encoding="utf-8")
    path = moved(bench("HB-02"), defect__depth="2 mm").save("HB-02-b", "why not")
    assert tomllib.loads(path.read_text(encoding="utf-8"))["case"]["title"] == "What-if of HB-02: why not"


@pytest.mark.parametrize(("name", "told"), [
    ("HB-07", "which HB-07.toml has already"), ("hb-07", "which HB-07.toml has already"),
    ("", "found nothing"), ("a/b", "1 to 60 letters"), ("con", "no name that Windows reserves"),
    ("x" * 61, "1 to 60 letters")])
def test_a_name_that_cannot_be_taken_is_told_and_nothing_is_written(bench, example, name, told):
    one = moved(bench("HB-07"), defect__depth="4.1 mm")
    before = sorted(example.iterdir()), (example / "HB-07.toml").read_bytes()
    with pytest.raises(CaseFaults, match=told):
        one.save(name, "because")
    assert (sorted(example.iterdir()), (example / "HB-07.toml").read_bytes()) == before


def test_a_name_that_another_file_has_inside_is_taken(bench, example):
    (example / "HB-02.toml").rename(example / "other.toml")
    with pytest.raises(CaseFaults, match=r"which other\.toml has already"):
        moved(bench("HB-07"), defect__depth="4.1 mm").save("HB-02", "because")


@pytest.mark.parametrize(("reason", "told"), [
    ("", "in words that a reviewer reads"), ("  ", "in words that a reviewer reads"),
    ("x" * 401, "found 401 characters; allowed: at most 400"), ("a\x07b", "without control characters")])
def test_a_variant_is_not_saved_without_a_reason_that_can_be_printed(bench, reason, told):
    with pytest.raises(CaseFaults, match=told):
        moved(bench("HB-07"), defect__depth="4.1 mm").save("HB-07-b", reason)


def test_a_reason_with_marks_of_toml_stays_what_it_is(bench):
    reason = 'said "deeper" \\ [x] # {y}'
    path = moved(bench("HB-02"), defect__depth="2 mm").save("HB-02-b", reason)
    assert reason in load_bundle(path).case.defect.depth.source


def test_the_case_itself_is_not_saved_as_another_one(bench):
    with pytest.raises(CaseFaults, match="at least one input other than in the case"):
        bench("HB-07").save("HB-07-b", "because")


def test_a_case_changed_on_disk_since_is_told_before_anything_is_written(bench, example):
    one = moved(bench("HB-02"), defect__depth="2 mm")
    (example / "HB-02.toml").write_bytes(one.stated.raw + b"# later\n")
    with pytest.raises(CaseFaults, match="other bytes than when this bench was opened"):
        one.save("HB-02-b", "because")
    assert not (example / "HB-02-b.toml").exists()


def test_a_file_that_appears_meanwhile_is_not_overwritten(bench, example, monkeypatch):
    one = moved(bench("HB-02"), defect__depth="2 mm")
    link = os.link

    def late(source, target):
        target.write_text("somebody else's", encoding="utf-8")
        link(source, target)

    monkeypatch.setattr(os, "link", late)
    with pytest.raises(CaseFaults, match="which has just been taken"):
        one.save("HB-02-b", "because")
    assert (example / "HB-02-b.toml").read_text(encoding="utf-8") == "somebody else's"
    assert not list(example.glob(".*"))


def test_a_file_system_without_links_is_served_too(bench, monkeypatch):
    def none(*_):
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", none)
    path = moved(bench("HB-02"), defect__depth="2 mm").save("HB-02-b", "because")
    assert load_bundle(path).case.id == "HB-02-b"


def test_two_saves_of_the_same_variant_have_the_same_bytes(bench):
    one = moved(bench("HB-02"), defect__depth="2 mm")
    first = one.save("HB-02-b", "because")
    raw = first.read_bytes()
    first.unlink()
    assert one.save("HB-02-b", "because").read_bytes() == raw


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_line_ends_are_those_of_the_case(bench, example, ending):
    source = example / "HB-02.toml"
    source.write_bytes(source.read_bytes().replace(b"\n", ending.encode()))
    raw = moved(bench("HB-02"), defect__depth="2 mm", service__maop="7 MPa").save("HB-02-b", "because").read_bytes()
    assert raw.count(b"\r") == (raw.count(b"\n") if ending == "\r\n" else 0)


def test_a_comment_that_would_be_lost_is_told_and_nothing_is_written(bench, example):
    source = example / "HB-07.toml"
    text = source.read_text(encoding="utf-8")
    line = next(x for x in text.splitlines() if x.startswith("depth = "))
    source.write_text(text.replace(line, 'depth.value = "3.9 mm" # see NCR 12\ndepth.source = "pit gauge" # c'),
                      encoding="utf-8")
    with pytest.raises(CaseFaults, match=r"comments: found .*which would be lost"):
        moved(bench("HB-07"), defect__depth="4.1 mm").save("HB-07-b", "because")
    assert not (example / "HB-07-b.toml").exists()


def test_a_folder_that_cannot_be_written_is_one_message_that_names_the_case(bench, example, monkeypatch):
    def refused(self, *_):
        raise PermissionError(13, "Permission denied", str(self))
    one = moved(bench("HB-02"), defect__depth="2 mm")
    monkeypatch.setattr("pathlib.Path.write_bytes", refused)
    with pytest.raises(PackageError, match=r"^HB-02-b\.toml: cannot be written \(Permission denied\); nothing was"):
        one.save("HB-02-b", "because")
    assert not list(example.glob(".*"))
