"""The calls that notebooks make."""

import pytest

from wrapcalc import record as records
from wrapcalc import workbook as wb
from wrapcalc.case import load_bundle
from wrapcalc.errors import UnknownItem
from wrapcalc.recorder import TOPICS
from wrapcalc.stages.job import run


@pytest.fixture(scope="module")
def job():
    return wb.open_case("example:HB-07")


def test_a_notebook_shows_the_record_of_the_package(job, example):
    assert job.record == records.build(run(load_bundle(example / "HB-07.toml")))
    assert wb.fingerprint(job).text == f"record SHA-256 {records.digest(job.record)}"


def test_every_item_stands_under_exactly_one_heading(job):
    shown = [line.split()[0] for topic in TOPICS for line in wb.steps(job, topic).text.splitlines()
             if not line.startswith("Not reached")]
    assert sorted(shown) == sorted(i["id"] for i in job.record["items"])


def test_a_heading_that_was_not_reached_says_so():
    job = wb.open_case("example:HB-23")
    assert wb.steps(job, "Load sharing").text == (
        "Not reached: the decision “other repair needed” was made without it.")
    assert wb.order(job).text == "Nothing to order."
    assert wb.routes(job).text == "No wrap was designed."
    assert wb.drawing(job, "depth map").text == "This case has no depth grid."


def test_an_unknown_heading_or_drawing_suggests_the_nearest(job):
    with pytest.raises(UnknownItem, match="Did you mean 'Sound pipe'"):
        wb.steps(job, "Sound pipes")
    with pytest.raises(UnknownItem, match="Did you mean 'depth map'"):
        wb.drawing(job, "depthmap")


def test_a_faulty_case_shows_its_faults_without_a_traceback(example):
    with pytest.raises(wb.CaseNotOpened) as caught:
        wb.open_case(str(example / "faults" / "HB-31.toml"))
    shown = caught.value._render_traceback_()
    assert len(shown) == 1 and "Traceback" not in shown[0] and shown[0].count(": found ") >= 8


def test_an_unknown_example_suggests_the_nearest():
    with pytest.raises(wb.CaseNotOpened, match=r"Did you mean 'HB-\d7'"):
        wb.open_case("example:HB-O7")


def test_what_must_be_verified_is_listed(job):
    text = wb.to_verify(job).text
    assert "Flow stress above SMYS" in text and "Thickness, load sharing" in text
    assert "Code design pressure" not in text


def test_everything_shown_is_html_and_text(job):
    for shown in (wb.decision(job), wb.inputs(job), wb.forms(job), wb.routes(job), wb.checks(job), wb.order(job),
                  wb.judgements(job), wb.to_verify(job), wb.drawing(job, "unwrapped pipe"), wb.drawing(job, "margins")):
        assert shown._repr_html_().startswith("<style>") and repr(shown)


def test_markup_in_any_text_prints_as_text(example):
    path = example / "HB-11.toml"
    evil = "<script>alert(1)</script> & <b>bold</b>"
    text = path.read_text(encoding="utf-8")
    for key in ("title", "line", "joint", "lowered_maop_reason", "grade"):
        lines = [f'{key} = "{evil}"' if line.startswith(f"{key} = ") else line for line in text.splitlines()]
        text = "\n".join(lines)
    path.write_text(text, encoding="utf-8")
    job = wb.open_case(str(path))
    for shown in (wb.decision(job), wb.inputs(job), wb.judgements(job), wb.drawing(job, "unwrapped pipe"),
                  *(wb.steps(job, t) for t in TOPICS)):
        assert "<script" not in shown.html and "<b>bold" not in shown.html
    assert "&lt;script&gt;" in wb.decision(job).html
