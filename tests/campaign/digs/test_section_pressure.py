"""Pressures of a section: what else is in the folder of a campaign holds, too, and what has no result is told."""

import json

import pytest

from tests.helpers import campaign as helper
from tests.helpers import site_packages as make
from wrapcalc.campaign.cases.selection import Chosen, Selection
from wrapcalc.campaign.digs.section_pressure import sections, with_the_rest
from wrapcalc.campaign.model import load_campaign
from wrapcalc.campaign.report import roll_up as rolled
from wrapcalc.campaign.report.site_record import read_sites
from wrapcalc.campaign.run import CampaignRun, Failure, Packaged
from wrapcalc.package import digests
from wrapcalc.register import current


def of(root, *paths, silent=()):
    """The section of the first site, with the rest of its folder."""
    read = read_sites(paths)
    counted = {(s.case_id, s.known.revision) for s in read.sites}
    return with_the_rest(sections(read, None)[read.sites[0].case_id], current(root), counted, silent)


def test_older_revisions_and_other_packages_of_the_folder_hold_their_limits(tmp_path):
    make.package(tmp_path, "A", 1, interim=4.0)
    make.package(tmp_path, "GONE", interim=5.0)
    make.package(tmp_path, "ELSEWHERE", interim=1.0, section="valve 3 to 4")
    s = of(tmp_path, make.package(tmp_path, "A", 2, interim=6.0, beside=4.5))
    assert [(r.case_id, r.revision, r.pressure) for r in s.open] == [("A", 1, 4.0), ("GONE", 1, 5.0), ("A", 2, 6.0)]
    assert (s.lowest, s.occupied, s.doubts) == (4.0, 4.0, ())
    assert s.words("SI").startswith("at most 4 MPa (case A r1 interim limit); while anybody is in a trench")


def test_an_older_revision_whose_limit_was_lifted_holds_no_more(tmp_path):
    make.package(tmp_path, "A", 1, interim=4.0)
    new = make.package(tmp_path, "A", 2, interim=6.0)
    folder = tmp_path / "approval" / "A-r2"
    folder.mkdir(parents=True)
    digests.write_manifest(folder, {"kind": "approval", "package": "A-r2", "approver": "C", "approved_on": "2026-05-03",
                                    "package_manifest_sha256": digests.sha256((new / "manifest.json").read_bytes())})
    assert [r.pressure for r in of(tmp_path, new).open] == [6.0]


def test_a_limit_in_the_folder_that_nobody_can_read_is_told(tmp_path):
    old = make.package(tmp_path, "A", 1)
    (old / "record.json").write_text("{}", encoding="utf-8")
    assert of(tmp_path, make.package(tmp_path, "A", 2)).doubts == (
        "the limit of A-r1 is not known: its package cannot be read",)


@pytest.mark.parametrize(("silent", "words"), [
    (["B"], "not complete: 1 selected case (B) has no result, and a lower limit may hold until there is one"),
    ([f"B{i}" for i in range(22)], "not complete: 22 selected cases (B0, B1")])
def test_selected_cases_without_a_result_leave_the_section_not_complete(tmp_path, silent, words):
    s = of(tmp_path, make.package(tmp_path, "A"), silent=silent)
    assert f"; {words}" in s.words("SI") and ("B19 and more)" in s.words("SI")) == (len(silent) > 20)


def test_the_dig_list_of_a_campaign_hears_of_what_failed_and_of_older_revisions(tmp_path, monkeypatch):
    plan = load_campaign(helper.campaign(tmp_path / "c", 2))
    out = tmp_path / "out"
    make.package(out / "packages", "A", 1, interim=4.0)
    make.package(out / "packages", "B", 1, interim=5.0)  # of an earlier run; this time B failed
    make.package(out / "packages", "A", 2, interim=6.0)
    (out / "screening").mkdir()
    helper.write_ranked(out / "screening" / "ranked.parquet", helper.rows({}, {}))
    monkeypatch.setattr(rolled, "drawn", lambda ranked, chosen: {})
    rows = helper.rows({}, {})
    chosen = [Chosen(case, ({"row": r["row"], "feature_id": r["feature_id"]},), ("x",))
              for case, r in zip("AB", rows, strict=True)]
    run = CampaignRun(plan, out, Selection("x", chosen), packaged=[Packaged("A", "A-r2", 2, "wrap", "0" * 64)],
                      failures=[Failure("B", "no length")])
    (row,) = rolled.roll_up(run)["dig"]
    assert row["section at most"] == 4.0
    assert "not complete: 1 selected case (B) has no result" in row["pressures"]
    assert "not complete" in (out / "dig-list.csv").read_text("utf-8-sig")
    assert json.loads((out / "roll-up.json").read_bytes())["dig"] == [row]
