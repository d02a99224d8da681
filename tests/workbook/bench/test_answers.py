"""What the bench says of a variant is what the job says."""

from importlib import resources
from pathlib import Path

import pytest

from wrapcalc import record as records
from wrapcalc.case import load_bundle
from wrapcalc.stages.job import PARTS, run
from wrapcalc.workbook.bench.answers import MARK, answer, in_full
from wrapcalc.workbook.bench.pages import rows_of

EXAMPLE = Path(str(resources.files("wrapcalc.example")))
CASES = sorted(p.stem for p in EXAMPLE.glob("*.toml"))


@pytest.mark.parametrize("name", CASES)
def test_numbers_and_order_are_those_of_the_record_of_a_package(name):
    bundle = load_bundle(EXAMPLE / f"{name}.toml")
    whole, found = records.build(run(bundle)), answer(bundle).record
    assert found["decision"]["sentence"] == whole["decision"]["sentence"]
    assert [(o["item"], o["quantity"]["shown"], o["packs"] and o["packs"]["shown"]) for o in found["order"]] == [
        (o["item"], o["quantity"]["shown"], o["packs"] and o["packs"]["shown"]) for o in whole["order"]]
    assert [f["safe"] and f["safe"]["shown"] for f in found["forms"]] == [
        f["safe"] and f["safe"]["shown"] for f in whole["forms"]]


def test_the_governing_checks_are_that_of_the_assessment_and_of_the_design_the_one_nearest_to_its_limit():
    bundle = load_bundle(EXAMPLE / "HB-07.toml")
    first, second = answer(bundle).checks
    assert (first["title"], first["verdict"]) == ("Governing safe pressure against MAOP", "not met")
    design = [i for i in records.build(run(bundle))["items"] if i["type"] == "check" and i["stage"] == "D"
              and i["kind"] == "limit" and i["utilisation"] is not None]
    assert second["verdict"] == "met" and second["utilisation"] == max(c["utilisation"] for c in design)


def test_a_case_too_deep_shows_its_struck_value_with_the_reason():
    found = answer(load_bundle(EXAMPLE / "HB-23.toml"))
    assert found.struck and all(reason for _, _, reason in found.struck)
    assert [c["title"] for c in found.checks] == ["Depth with allowance over wall"]


def test_what_was_left_out_is_named_and_in_full_nothing_is():
    bundle = load_bundle(EXAMPLE / "HB-42.toml")
    assert answer(bundle).left_out == PARTS and in_full(bundle).left_out == ()


def test_every_figure_says_in_its_title_that_it_belongs_to_no_package():
    found = answer(load_bundle(EXAMPLE / "HB-07.toml"))
    made = [*found.figures().values(), found.curve()]
    assert len(made) == 4 and all(f">{MARK}. " in svg.partition("</title>")[0] for svg in made)


def test_rows_to_compare_hold_layers_and_say_when_they_do_not_hold():
    assert dict(rows_of(answer(load_bundle(EXAMPLE / "HB-07.toml"))))["Layers"] == "11"
    text = (EXAMPLE / "HB-07.toml").read_text(encoding="utf-8").replace('"load sharing"', '"laminate strain"')
    from wrapcalc.case.load import read_bundle
    rows = dict(rows_of(answer(read_bundle(text.encode(), EXAMPLE, "HB-07.toml"))))
    assert rows["Decision"] == "other repair needed" and rows["Layers"].endswith("(does not hold)")
