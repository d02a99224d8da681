"""A campaign follows its own season: what a close-out accepted is done, and nothing else is."""

import json

import pytest

from tests.helpers import campaign as helper
from tests.helpers import site_packages as make
from wrapcalc.campaign.cases.selection import Chosen, Selection
from wrapcalc.campaign.digs.dig_list import dig_list, dig_rows, with_stock
from wrapcalc.campaign.digs.season import season
from wrapcalc.campaign.model import load_campaign
from wrapcalc.campaign.order.order import order_list
from wrapcalc.campaign.report import roll_up as rolled
from wrapcalc.campaign.run import CampaignRun, Packaged
from wrapcalc.package import digests


def after(paths, **more):
    """(dig list with stock, season, order) of these packages as they stand now."""
    settings = make.settings(**more)
    found = dig_list(paths, settings)
    plan = season(found, settings)
    order = order_list(paths, [], confidence=0.9, planned=plan.planned, done=plan.done)
    return with_stock(found, order), plan, order


@pytest.fixture
def two(tmp_path):
    """A, the more urgent one with the lower limits, and B, both approved."""
    paths = [make.package(tmp_path, "A", rule=("immediate", "rule 1"), interim=4.0, beside=1.0),
             make.package(tmp_path, "B", interim=6.0, beside=2.0)]
    for path in paths:
        make.approve(path)
    return paths


def test_what_a_close_out_accepted_is_shown_as_done_and_taken_out_of_season_and_order(two):
    before, plan, order = after(two)
    assert [(p.case_id, p.done, p.state) for p in before.places] == [("A", False, "approved"), ("B", False, "approved")]
    assert [b.case_id for b in plan.bars] == ["A", "B"] and before.places[0].section.lowest == 4.0
    assert before.places[0].section.occupied == 1.0
    make.close(two[0])
    found, plan, order = after(two)
    assert [(p.number, p.case_id, p.done, p.state) for p in found.places] == [
        (1, "B", False, "approved"), (2, "A", True, "accepted")]
    assert found.places[1].stock == "done: accepted, closed out on 2026-09-01"
    assert [b.case_id for b in plan.bars] == ["B"] and plan.missed == () and plan.unplaced == ()
    assert {s.case_id for line in order.lines for s in line.sites} == {"B"} and order.done == ("A",)
    assert order.told[0].startswith("accepted by a close-out and not in the order: A; [[stock]] has to be what")
    # the limits of A are gone: its interim limit was lifted, and nobody stands beside the pipe there any more
    s = found.places[0].section
    assert (s.lowest, s.occupied, s.beside) == (6.0, 2.0, (("B", 2.0),))
    assert [r["state"] for r in dig_rows(found)] == ["approved", "accepted"]


@pytest.mark.parametrize("verdict", ["rejected", "open"])
def test_nothing_but_an_acceptance_takes_a_site_out(two, verdict):
    make.close(two[0], verdict)
    found, plan, order = after(two)
    assert [p.case_id for p in found.places] == ["A", "B"] == [b.case_id for b in plan.bars]
    assert order.done == () and (found.places[0].section.lowest, found.places[0].section.occupied) == (4.0, 1.0)
    assert found.places[0].state == verdict and not found.places[0].done


def test_an_acceptance_that_was_taken_back_or_is_spoilt_counts_no_more(two):
    make.close(two[0])
    make.close(two[0], "rejected", number=2)
    assert not any(p.done for p in after(two)[0].places)
    make.close(two[1])
    (two[1].parent / "closeout" / "B-r1-1" / "closeout.json").write_text("{}", encoding="utf-8")
    assert not any(p.done for p in after(two)[0].places)


def test_an_acceptance_of_what_nobody_approved_lifts_nothing_and_is_told(tmp_path):
    path = make.package(tmp_path, "A", interim=4.0)
    make.close(path)
    found, plan, order = after([path])
    (p,) = found.places
    assert not p.done and p.section.lowest == 4.0 and [b.case_id for b in plan.bars] == ["A"] and order.lines
    assert p.told[0] == ("accepted, closed out on 2026-09-01, but the package is not approved: its acceptance does not "
                         "count")


def test_a_revision_that_was_made_after_an_acceptance_stays_on_the_list_and_is_told(two):
    make.close(two[0])
    new = make.package(two[0].parent, "A", 2, interim=4.5, beside=1.5)
    found, *_ = after([new, two[1]])
    p = next(p for p in found.places if p.case_id == "A")
    assert not p.done and p.package == "A-r2" and p.section.lowest == 4.5 and p.told[0] == (
        "A-r1 was accepted, closed out on 2026-09-01; A-r2 is another revision of it, made of other data: decide "
        "whether anything is to be dug")


def test_where_all_is_done_nobody_has_to_stand_in_the_section(two):
    for path in two:
        make.close(path)
    found, plan, order = after(two)
    assert all(p.done for p in found.places) and not plan.bars and not order.lines
    assert found.places[0].section.words("SI") == (
        "no open restriction is known; no site of this section is still to be worked at")


def test_a_register_that_cannot_be_read_leaves_all_to_be_done(two, monkeypatch):
    import wrapcalc.register
    from wrapcalc.errors import PackageError

    def broken(folder):
        raise PackageError(f"{folder}: the register is damaged")
    make.close(two[0])
    monkeypatch.setattr(wrapcalc.register, "current", broken)
    found, plan, _ = after(two)
    assert [b.case_id for b in plan.bars] == ["A", "B"] and found.places[0].section.lowest == 4.0
    assert [p.words for p in found.problems] == [
        "what is closed out cannot be read (the register is damaged): all of it is taken as still to be done"]


def test_a_campaign_that_runs_again_after_half_the_digs_goes_on_with_the_other_half(tmp_path, monkeypatch):
    plan = load_campaign(helper.campaign(tmp_path / "c", 2, """[dig]
start = "2026-08-03"
crews = 1
hours_per_day = "10 h"
hours_dig_per_m3 = "0.4 h"
hours_per_unit = "0.5 h"
hours_fixed = "16 h"
"""))
    out = tmp_path / "out"
    paths = [make.package(out / "packages", c) for c in "AB"]
    for path in paths:
        make.approve(path)
    make.close(paths[0])
    (out / "screening").mkdir()
    helper.write_ranked(out / "screening" / "ranked.parquet", helper.rows({}, {}))
    monkeypatch.setattr(rolled, "drawn", lambda ranked, chosen: {})
    chosen = [Chosen(c, ({"row": r["row"], "feature_id": r["feature_id"]},), ("x",))
              for c, r in zip("AB", helper.rows({}, {}), strict=True)]
    run = CampaignRun(plan, out, Selection("x", chosen), packaged=[Packaged(c, f"{c}-r1", 1, "wrap", "0" * 64)
                                                                  for c in "AB"])
    data = rolled.roll_up(run)
    assert [(r["site"], r["state"]) for r in data["dig"]] == [("B", "approved"), ("A", "accepted")]
    assert [bar[0] for bar in data["season"]["bars"]] == ["B"]
    assert not [r for r in data["order"] if "A" in str(r.get("sites", ""))]
    assert any("not in the order: A" in t for t in data["order_told"])
    assert json.loads((out / "roll-up.json").read_bytes())["dig"] == data["dig"]
    assert digests.read_manifest(paths[0])["case"] == "A"
