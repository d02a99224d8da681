"""Which packages rest on what: found in the records, by whole names, never silent about what cannot be read."""

import shutil

import pytest

from wrapcalc.errors import UnknownItem
from wrapcalc.register import affected, affected_lines, update
from wrapcalc.register.affected import INSIDE


@pytest.fixture
def used(folder):
    folder.package(inputs={"stock.0.batch": "B-19"})
    folder.approve()
    folder.close()
    folder.package(revision=2, system={"id": "example-cloth", "name": "Example cloth (invented)"})
    return folder


def hits(folder, name):
    return [(h.folder, h.kind, h.item, h.where) for h in affected(folder.root, name)]


@pytest.mark.parametrize("name", ["49 CFR 192/depth_limit", "depth_limit", " Depth_Limit "])
def test_a_value_by_its_key_and_by_its_bare_name(used, name):
    assert hits(used, name) == [("HB-07-r1", "value", "49 CFR 192/depth_limit", ("A1",)),
                                ("HB-07-r2", "value", "49 CFR 192/depth_limit", ("A1",))]


def test_a_formula_in_the_package(used):
    (first, second) = affected(used.root, "failure_pressure")
    assert (first.folder, first.latest, first.state, first.where) == ("HB-07-r1", False, "accepted", ("A1",))
    assert (second.folder, second.latest, second.state) == ("HB-07-r2", True, "designed")


def test_a_formula_of_a_close_out(used):
    assert hits(used, "dew_point") == [("closeout/HB-07-r1-1", "formula", "dew_point", ("Q1",))]


@pytest.mark.parametrize(("name", "item", "where"), [
    ("ASME B31G-2012", "ASME B31G-2012", ("A1",)), ("asme b31g", "ASME B31G-2012", ("A1",)),
    ("49 CFR 192", "49 CFR 192", ("A1", "C1"))])
def test_a_document_with_and_without_its_edition(used, name, item, where):
    assert {(i, w) for _, _, i, w in hits(used, name)} == {(item, where)}


def test_a_document_is_not_taken_for_a_longer_name_that_begins_alike(used):
    used.package(case="HB-08", items=[{"type": "check", "id": "C9", "citation": "ISO 8502-3, 4"},
                                      {"type": "check", "id": "C10", "citation": "Trade practice; ISO 8502, 4"}])
    assert [(f, w) for f, _, _, w in hits(used, "ISO 8502")] == [("HB-08-r1", ("C10",))]


def test_a_known_name_that_nothing_used_gives_nothing(used):
    assert affected(used.root, "ISO/TS 24817:2006") == []
    assert affected_lines([]) == ["no record here names it", INSIDE]


@pytest.mark.parametrize("name", ["example-cloth", "Example cloth (invented)"])
def test_a_system_by_id_and_by_name(used, name):
    assert [(f, k, i) for f, k, i, _ in hits(used, name)] == [("HB-07-r2", "system", "example-cloth")]
    assert hits(used, "example-sleeve")[0] == ("HB-07-r1", "system", "example-sleeve", ("A1",))


def test_a_batch_of_a_close_out_and_of_the_stock(used):
    assert hits(used, "a-2207") == [("closeout/HB-07-r1-1", "batch", "A-2207", ("adhesive",))]
    assert hits(used, "B-19") == [("HB-07-r1", "batch", "B-19", ("stock.0.batch",))]


@pytest.mark.parametrize(("name", "near"), [
    ("failure_presure", "failure_pressure"), ("A-2270", "A-2207"), ("example-clothe", "example-cloth"),
    ("49 CFR 192/depth_limt", "49 CFR 192/depth_limit")])
def test_an_unknown_name_is_a_message_with_the_nearest(used, name, near):
    with pytest.raises(UnknownItem, match=f"there is no formula, value, document, system or batch named '{name}'. "
                       f"Did you mean '{near}'?"):
        affected(used.root, name)


@pytest.mark.parametrize("name", ["", "  ", "A-22", "ASME", "49"])
def test_a_part_of_a_name_is_no_name(used, name):
    with pytest.raises(UnknownItem):
        affected(used.root, name)


def test_what_cannot_be_read_is_a_hit_of_its_own(used):
    (used.root / "HB-07-r1" / "record.json").write_text("{", encoding="utf-8")
    (used.root / "closeout" / "HB-07-r1-1" / "closeout.json").write_text("[]", encoding="utf-8")
    assert affected_lines(affected(used.root, "failure_pressure")) == [
        "HB-07-r1: superseded, damaged: cannot be read; look by hand",
        "closeout/HB-07-r1-1: superseded, damaged: cannot be read; look by hand",
        "HB-07-r2: latest, designed: formula failure_pressure in A1", INSIDE]


def test_it_needs_no_register_and_makes_none(used):
    affected(used.root, "failure_pressure")
    assert not (used.root / "register").exists()


def test_a_package_that_went_away_is_a_hit_of_its_own(used):
    update(used.root)
    shutil.rmtree(used.root / "HB-07-r2")
    assert affected_lines(affected(used.root, "failure_pressure"))[-2] == (
        "HB-07-r2: latest, designed, package missing: cannot be read; look by hand")


def test_a_close_out_whose_package_went_away_is_still_read(used):
    shutil.rmtree(used.root / "HB-07-r1")
    assert affected_lines(affected(used.root, "A-2207")) == [
        "HB-07-r1: latest, missing: cannot be read; look by hand",
        "closeout/HB-07-r1-1: latest, missing: batch A-2207 in adhesive"]
