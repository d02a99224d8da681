"""The bias of the run as an allowance on depth: only when asked for, and never below nothing."""

import tomllib
from dataclasses import replace

import pytest

from tests.helpers import campaign as helper
from wrapcalc.campaign.cases import sources
from wrapcalc.campaign.measured.carried import pairs, with_allowance
from wrapcalc.campaign.measured.measured import read_measured
from wrapcalc.campaign.model import load_campaign
from wrapcalc.campaign.run import run_campaign
from wrapcalc.errors import CaseFaults

CARRY = '[measured]\nfile = "field.csv"\n[bias]\ncarry = "yes"\nreason = "reads shallow in this joint type"\n'


@pytest.fixture
def campaign(tmp_path, monkeypatch):
    """A campaign of eight rows of 3.4 mm, with field depths; what was screened with which allowance."""
    screened: list[str] = []

    def screen(plan, folder):
        base = sources.base_case(plan.mapping)
        screened.append(tomllib.loads(base.read_text(encoding="utf-8"))["defect"]["depth_allowance"])
        helper.fake_screen(plan, folder)
    monkeypatch.setattr(sources, "screen", screen)
    monkeypatch.setattr(sources, "Cases", helper.FakeCases)
    monkeypatch.setattr("wrapcalc.campaign.run.package_all", lambda files, out, **kwargs: [])

    def make(*depths, more=CARRY):
        path = helper.campaign(tmp_path, 8, more)
        (tmp_path / "mapping.toml").write_text('[line]\nbase = "base.toml"\n[[segment]]\nfrom = "0 m"\n',
                                               encoding="utf-8")
        (tmp_path / "base.toml").write_text('[defect]\ndepth_allowance = { value = "0.5 mm", source = "x" }\n'
                                            '[design]\nsystem = "mine.toml"\n', encoding="utf-8")
        (tmp_path / "mine.toml").write_text("x = 1\n", encoding="utf-8")
        lines = [f"M-{i + 1:02d},{d}" for i, d in enumerate(depths)]
        (tmp_path / "field.csv").write_text("\n".join(["feature_id,depth mm", *lines]) + "\n", encoding="utf-8")
        return path
    return make, screened


def test_a_run_that_reads_shallow_is_screened_again_with_a_greater_allowance(campaign, tmp_path):
    make, screened = campaign
    path, out = make(3.8, 3.9, 3.9, 4.0, 4.0, 3.9), tmp_path / "out"
    run = run_campaign(path, out)
    # independent: mean error -0.51667 mm, s = 0.075277 mm, t(0.975, 5) = 2.5706: 0.51667 + 2.5706 s / sqrt(6) = 0.5957
    assert run.bias_allowance == 0.596
    assert screened[0]["value"] == "0.5 mm" and screened[1]["value"] == "1.096 mm" and len(screened) == 2
    assert screened[1]["source"] == ("0.5 mm of the base case and 0.596 mm for the bias of the run against field "
                                     "depths: reads shallow in this joint type")
    assert run.told[0].startswith("bias of the run: 0.596 mm more allowance on every depth that was not measured")
    assert run_campaign(path, out).bias_allowance == 0.596 and len(screened) == 2
    make(3.8, 3.9, 3.9, 4.0, 4.0, 4.1)
    assert run_campaign(path, out).bias_allowance > 0.596 and len(screened) == 4


def test_a_run_that_reads_deep_takes_nothing_off(campaign, tmp_path):
    make, screened = campaign
    run = run_campaign(make(2.8, 2.9, 2.9, 2.8, 2.9, 2.9), tmp_path / "out")
    assert run.bias_allowance == 0 and len(screened) == 1


def test_without_being_asked_nothing_is_carried(campaign, tmp_path):
    make, screened = campaign
    run = run_campaign(make(3.8, 3.9, 3.9, 4.0, 4.0, more='[measured]\nfile = "field.csv"\n'), tmp_path / "out")
    assert run.bias_allowance == 0 and len(screened) == 1 and not run.told


def test_too_few_pairs_are_a_fault_before_anything_is_written(campaign, tmp_path):
    make, _ = campaign
    with pytest.raises(CaseFaults, match=r"bias\.carry: found 'yes', with 4 features .*; allowed: at least 5 of them"):
        run_campaign(make(3.8, 3.9, 3.9, 4.0), tmp_path / "out")
    assert not (tmp_path / "out" / "screening").exists() and not list((tmp_path / "out").glob(".aside-*"))


def test_pairs_are_of_features_that_both_know_and_of_an_id_twice_the_row_that_was_measured(campaign, tmp_path):
    make, _ = campaign
    plan = load_campaign(make(3.8, 3.9))
    table = helper.rows({}, {"feature_id": "M-01", "depth [mm]": 1.0},
                        {"feature_id": "M-02", "depth [mm]": float("nan")})
    measured = replace(read_measured(plan.measured), at={"M-01": 2, "M-02": 4})
    found = pairs([helper.block(table)], measured)
    assert [(p.feature_id, p.listing, p.field, p.wall) for p in found] == [("M-01", 3.4, 3.8, 8.7)]


def test_the_copy_with_the_allowance_has_all_that_the_base_case_names(campaign, tmp_path):
    make, _ = campaign
    plan = load_campaign(make(3.8))
    again = with_allowance(plan, 0.2, tmp_path / "copy")
    assert sorted(p.name for p in (tmp_path / "copy").iterdir()) == ["base.toml", "mapping.toml", "mine.toml"]
    assert again.listing == plan.listing
    assert tomllib.loads(again.mapping.read_text(encoding="utf-8")) == tomllib.loads(
        plan.mapping.read_text(encoding="utf-8"))
