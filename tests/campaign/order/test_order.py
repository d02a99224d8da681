"""The order of a campaign: sums counted by hand, spares for all sites, stock with batches and expiry."""

import csv
import datetime
import io
import json
import math

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as profile
from hypothesis import strategies as st

from tests.helpers import site_packages as make
from wrapcalc.campaign.order.order import order_list
from wrapcalc.campaign.order.table import NOT_PLANNED, order_rows, site_rows, write_order, write_sites
from wrapcalc.case.site_model import Stock
from wrapcalc.errors import CalculationError

DAY = datetime.date
AUGUST = DAY(2026, 8, 3)
LATE = "2027-12-31"


def order(paths, stock=(), *, confidence=0.95, planned=None, **more):
    planned = {p.name.rpartition("-r")[0]: AUGUST for p in paths} if planned is None else planned
    return order_list(paths, stock, confidence=confidence, planned=planned, **more)


def of(found, kind, n=0):
    return [line for line in found.lines if line.key.kind == kind][n]


def shelf(item="adhesive", count=1, batch="A-1", expiry=LATE, **more):
    """A row of the shelf as the packages of these tests need it: their system, packs and layers."""
    of = {"layers": 8} if item == "unit" else {} if item in ("cloth", "hardener") else {"pack": "2 kg"}
    of |= {"system": "example-sleeve"} | more
    return Stock(item=item, count=count, batch=batch, expiry=expiry, **of)


# -- sums ---------------------------------------------------------------------------------------------------------
def test_lines_are_the_sums_of_the_sites_and_name_where_each_comes_from(tmp_path):
    paths = [make.package(tmp_path, "A", parts=make.wrap(units=((260.0, 2), (170.0, 1)), adhesive=3.1, packs=2)),
             make.package(tmp_path, "B", parts=make.wrap(units=((260.0, 1),), adhesive=5.3, packs=3))]
    found = order(paths)
    wide, narrow, glue = of(found, "unit"), of(found, "unit", 1), of(found, "adhesive")
    # by hand: 2 + 1 of 260 mm, 1 of 170 mm; 3.1 + 5.3 kg in 2 + 3 packs of 2 kg
    assert (wide.key.width, wide.pieces, narrow.key.width, narrow.pieces) == (260, 3, 170, 1)
    assert (glue.quantity, glue.pieces, glue.key.pack) == (8.4, 5, 2)
    assert [(s.case_id, s.quantity, s.packs, s.refs) for s in glue.sites] == [
        ("A", 3.1, 2, ("T3", "T3p")), ("B", 5.3, 3, ("T3", "T3p"))]
    assert of(found, "abrasive").quantity == 80 and of(found, "consumable").quantity == 12
    assert of(found, "consumable").sites[0].refs == ("I101",)
    assert found.problems == () and found.without == ()


def test_two_part_packs_are_whole_for_each_site_even_when_one_pack_would_serve_both(tmp_path):
    # by hand: 0.6 kg and 0.7 kg fit one pack of 2 kg, but an opened pack is used up at its site
    paths = [make.package(tmp_path, c, parts=make.wrap(adhesive=kg, packs=1)) for c, kg in (("A", 0.6), ("B", 0.7))]
    assert of(order(paths), "adhesive").pieces == 2


def test_packs_that_a_record_asks_for_beyond_its_mass_are_ordered(tmp_path):
    # a batch of its own for each clock: 3.1 kg would be 2 packs, the record asks for 4
    path = make.package(tmp_path, "A", parts=make.wrap(adhesive=3.1, packs=4))
    assert of(order([path]), "adhesive").pieces == 4


def test_different_diameters_systems_sheets_layers_and_packs_are_never_mixed(tmp_path):
    paths = [make.package(tmp_path, "A"), make.package(tmp_path, "B", diameter=508.0),
             make.package(tmp_path, "C", system="other"), make.package(tmp_path, "D", sheet="sheet 2"),
             make.package(tmp_path, "E", parts=make.wrap(layers=9)),
             make.package(tmp_path, "F", parts=make.wrap(pack=1.0, packs=4))]
    found = order(paths)
    units = [{s.case_id for s in line.sites} for line in found.lines if line.key.kind == "unit"]
    assert sorted(map(sorted, units)) == [["A", "F"], ["B"], ["C"], ["D"], ["E"]]
    glue = [{s.case_id for s in line.sites} for line in found.lines if line.key.kind == "adhesive"]
    assert sorted(map(sorted, glue)) == [["A", "B", "E"], ["C"], ["D"], ["F"]]
    assert "example-sleeve: packages were made with different sheets (sheet 1; sheet 2); they are ordered apart" in \
        found.told


def test_a_second_sleeve_is_ordered_for_the_diameter_that_the_record_gives_it(tmp_path):
    step = {"type": "step", "id": "T2", "title": "Diameter under sleeve 2",
            "result": {"magnitude": 436.54, "unit": "mm"}}
    path = make.package(tmp_path, "A", parts=make.wrap(tiers=2), items=(step,))
    first, second = (of(order([path]), "unit", i) for i in (0, 1))
    assert (first.key.diameter, second.key.diameter, first.pieces, second.pieces) == (406.4, 436.54, 2, 2)
    assert "T2" in second.sites[0].refs


def test_cloth_goes_by_width_and_its_area_with_the_width(tmp_path):
    cloth = make.laid("Cloth, bands", "cloth", 8.4, "m**2", 3, "T4")
    path = make.package(tmp_path, "A", spoil=0.0, parts=make.wrap(units=((300.0, 2), (100.0, 1)), cloth=cloth))
    found = order([path], [Stock(item="cloth", width="300 mm", count=9, batch="C", expiry=LATE)])
    wide, narrow = of(found, "cloth"), of(found, "cloth", 1)
    # by hand: widths 300 + 300 + 100 = 700 mm for 8.4 m², so 7.2 and 1.2 m²
    assert (wide.quantity, wide.pieces, narrow.quantity, narrow.pieces) == (7.2, 2, 1.2, 1)
    assert wide.to_get == 2 and wide.from_stock is None and wide.lacking is None and wide.needed_by == AUGUST
    assert "the length of cloth on the rolls is not stated" in wide.notes[0]


def test_a_spare_band_of_cloth_is_as_great_as_the_greatest(tmp_path):
    paths = [make.package(tmp_path, c, spoil=0.3, parts=make.wrap(
        units=((300.0, 1),), cloth=make.laid("Cloth", "cloth", area, "m**2", 1, "T4"))) for c, area in
        (("A", 2.0), ("B", 3.5))]
    line = of(order(paths), "cloth")
    assert line.spares > 0 and line.to_get_quantity == pytest.approx(5.5 + 3.5 * line.spares, rel=1e-12)


def test_hardener_is_taken_at_the_end_of_the_plan_that_takes_more_and_comes_in_the_packs(tmp_path):
    paths = [make.package(tmp_path, "A", parts=make.wrap(hardener=(0.05, 0.04), batches=2)),
             make.package(tmp_path, "B", parts=make.wrap(hardener=(0.03, 0.06), batches=3))]
    line = of(order(paths), "hardener")
    assert line.quantity == pytest.approx(2 * 0.05 + 3 * 0.06) and line.to_get is None and line.needed_by is None
    assert line.sites[1].refs == ("I9", "I1")


def test_hardener_that_one_site_does_not_know_has_no_sum(tmp_path):
    paths = [make.package(tmp_path, "A", parts=make.wrap(hardener=(0.05, 0.04))),
             make.package(tmp_path, "B", parts=make.wrap(hardener=(None, None)))]
    line = of(order(paths), "hardener")
    assert line.quantity is None and [s.quantity for s in line.sites] == [0.1, None]
    assert "B: not stated" in next(r["sites"] for r in order_rows(order(paths)) if r["kind"] == "hardener")


# -- spares -------------------------------------------------------------------------------------------------------
def by_hand(need, spoil, confidence):
    """Second route: exact binomial with whole numbers, no logarithms."""
    s = 0
    while sum(math.comb(need + s, k) * spoil**k * (1 - spoil) ** (need + s - k) for k in range(s + 1)) < confidence:
        s += 1
    return s


def test_spares_are_counted_once_for_all_sites_and_say_what_that_saves(tmp_path):
    paths = [make.package(tmp_path, c, spoil=0.05, parts=make.wrap(adhesive=7.5, packs=4)) for c in "ABCDEF"]
    line = of(order(paths, confidence=0.95), "adhesive")
    alone = by_hand(4, 0.05, 0.95 ** (1 / 6))
    assert (line.pieces, line.spares) == (24, by_hand(24, 0.05, 0.95))
    assert line.spares_apart == 6 * alone and line.saved == 6 * alone - line.spares > 0
    assert [s.spares for s in line.sites] == [alone] * 6
    assert line.to_get == 24 + line.spares


@given(st.lists(st.integers(1, 9), min_size=1, max_size=6), st.floats(0, 0.3), st.floats(0.5, 0.999))
@profile(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_one_store_never_holds_less_than_the_need_nor_more_than_separate_stores(tmp_path_factory, packs, spoil, sure):
    root = tmp_path_factory.mktemp("p")
    paths = [make.package(root, f"S{i}", spoil=spoil, parts=make.wrap(adhesive=2.0 * n, packs=n))
             for i, n in enumerate(packs)]
    line = of(order(paths, confidence=sure), "adhesive")
    assert line.pieces == sum(packs)
    assert max(packs) <= sum(packs) <= line.pieces + line.spares <= sum(packs) + line.spares_apart
    assert line.saved >= 0


def test_without_a_share_or_a_confidence_no_spares_are_counted_and_it_is_told(tmp_path):
    paths = [make.package(tmp_path, "A"), make.package(tmp_path, "B", spoil=None)]
    line = of(order(paths), "adhesive")
    assert (line.spares, line.spares_apart, line.saved) == (None, None, None) and line.to_get == line.pieces
    assert line.notes == ("no spares are counted: takeoff.spoil_share of B not stated",)
    line = of(order(paths[:1], confidence=None), "adhesive")
    assert line.spares is None and line.notes == ("no spares are counted: order.spare_confidence not stated",)


def test_the_greatest_share_counts_where_sites_state_different_ones(tmp_path):
    paths = [make.package(tmp_path, "A", spoil=0.01), make.package(tmp_path, "B", spoil=0.2)]
    line = of(order(paths), "adhesive")
    assert line.spares == by_hand(4, 0.2, 0.95) and line.spoil_share == 0.2
    assert "sites state different shares of spoilt pieces; the greatest is taken: 20 %" in line.notes


@pytest.mark.parametrize("wrong", [0.0, 1.0, 1.5, float("nan")])
def test_a_confidence_that_is_none_is_refused(tmp_path, wrong):
    with pytest.raises(CalculationError, match="order: a confidence of"):
        order([], confidence=wrong)


# -- stock --------------------------------------------------------------------------------------------------------
def test_the_oldest_batch_goes_to_the_first_site_and_what_is_lacking_has_its_day(tmp_path):
    paths = [make.package(tmp_path, c, spoil=0.0) for c in "AB"]
    stock = [shelf(count=2, batch="new", expiry="2027-09-01"), shelf(count=1, batch="old", expiry="2027-01-01")]
    days = {"A": DAY(2026, 9, 1), "B": DAY(2026, 8, 3)}
    line = of(order(paths, stock, planned=days), "adhesive")
    # by hand: B comes first: 1 old and 1 new of its 2; A gets the other new one and lacks 1 on 1 September
    assert [(s.case_id, [(t.batch, t.pieces) for t in s.taken], s.lacking) for s in line.sites] == [
        ("B", [("old", 1), ("new", 1)], 0), ("A", [("new", 1)], 1)]
    assert (line.from_stock, line.lacking, line.to_get, line.needed_by) == (3, 1, 1, DAY(2026, 9, 1))


@pytest.mark.parametrize(("expiry", "counts"), [("2026-08-06", False), ("2026-08-07", True)])
def test_a_batch_must_be_in_date_until_the_release_and_a_day_more(tmp_path, expiry, counts):
    # by hand: planned on 3 August, longest cure 36 h is 2 days: released by the end of the 5th, 24 h in hand: the 7th
    path = make.package(tmp_path, "A", spoil=0.0)
    line = of(order([path], [shelf(count=2, expiry=expiry)]), "adhesive")
    assert line.sites[0].needed_until == DAY(2026, 8, 5)
    assert (line.to_get == 0) is counts
    told = f"batch A-1 (use before {expiry}) is too old for A, released on 2026-08-05"
    assert (told in line.notes) is not counts


def test_work_that_lasts_is_counted_from_the_day_on_which_the_wrap_is_laid(tmp_path):
    path = make.package(tmp_path, "A", spoil=0.0)
    line = of(order([path], [shelf(count=2, expiry="2026-08-07")], done={"A": DAY(2026, 8, 4)}), "adhesive")
    assert line.to_get == 2 and line.sites[0].needed_until == DAY(2026, 8, 6) and line.needed_by == AUGUST


def test_warm_storage_takes_life_off_a_batch(tmp_path):
    # by hand: twice as fast for 10 °C: 10 days at 35 °C over 25 °C consume 20 days of the label of 31 August
    path = make.package(tmp_path, "A", spoil=0.0)
    warm = {"storage_limit": "25 °C", "excursion_temperature": "35 °C", "excursion_time": "10 d"}
    found = order([path], [shelf(count=2, expiry="2026-08-31", **warm)], planned={"A": DAY(2026, 8, 8)})
    assert found.shelf[0].good_until == datetime.datetime(2026, 8, 11) and of(found, "adhesive").to_get == 2
    cold = order([path], [shelf(count=2, expiry="2026-08-31")], planned={"A": DAY(2026, 8, 8)})
    assert of(cold, "adhesive").to_get == 0


def test_spares_are_taken_from_what_is_left_and_must_last_to_the_last_site(tmp_path):
    paths = [make.package(tmp_path, c, spoil=0.05) for c in "AB"]
    stock = [shelf(count=5, batch="short", expiry="2026-08-20"), shelf(count=4, batch="long")]
    line = of(order(paths, stock, planned={"A": AUGUST, "B": DAY(2026, 9, 1)}), "adhesive")
    assert [(t.batch, t.pieces) for s in line.sites for t in s.taken] == [("short", 2), ("long", 2)]
    assert line.spares == by_hand(4, 0.05, 0.95) == 1
    assert [(t.batch, t.pieces) for t in line.spares_taken] == [("long", 1)] and line.to_get == 0
    assert line.needed_by is None


def test_spares_that_are_lacking_are_needed_from_the_first_day_on(tmp_path):
    paths = [make.package(tmp_path, c, spoil=0.05) for c in "AB"]
    line = of(order(paths, [shelf(count=4)], planned={"A": DAY(2026, 9, 1), "B": AUGUST}), "adhesive")
    assert (line.lacking, line.spares, line.to_get, line.needed_by) == (0, 1, 1, AUGUST)


def test_units_of_the_shelf_fit_by_width_and_diameter(tmp_path):
    path = make.package(tmp_path, "A", spoil=0.0)
    sizes = [("260 mm", "406.4 mm"), ("170 mm", "406.4 mm"), ("260 mm", "508 mm")]
    stock = [shelf("unit", width=w, diameter=d, batch=f"S{i}") for i, (w, d) in enumerate(sizes)]
    found = order([path], stock)
    assert of(found, "unit").from_stock == 1 and [b.left for b in found.shelf] == [0, 1, 1]
    assert [b.unused for b in found.shelf] == ["", "no site needs it", "no site needs it"]


def test_a_batch_serves_the_system_that_it_states(tmp_path):
    paths = [make.package(tmp_path, "A", spoil=0.0), make.package(tmp_path, "B", system="other", spoil=0.0)]
    found = order(paths, [shelf(count=9, system="Other")])
    assert {line.key.system: line.from_stock for line in found.lines if line.key.kind == "adhesive"} == {
        "example-sleeve": 0, "other": 2}


def test_a_batch_that_may_be_of_two_sheets_counts_for_none(tmp_path):
    paths = [make.package(tmp_path, "A"), make.package(tmp_path, "B", sheet="sheet 2")]
    found = order(paths, [shelf(count=9)])
    assert [line.from_stock for line in found.lines if line.key.kind == "adhesive"] == [0, 0]
    assert any(t.startswith("adhesive, batch A-1: not counted: sites need it of more than one sheet of its system")
               for t in found.told)


UNIT = {"width": "260 mm", "diameter": "406.4 mm"}


@pytest.mark.parametrize(("row", "why"), [
    (shelf(count=9, system="another maker"), "it is of system another maker, and the sites need it of example-sleeve"),
    (shelf(count=9, pack="0.5 kg"), "its packs are of 0.5 kg, and the sites need packs of 2 kg"),
    (shelf("unit", 9, layers=4, **UNIT), "it has 4 layers, and the sites need 8"),
    (shelf("unit", 9, system="another maker", **UNIT), "it is of system another maker")])
def test_what_is_of_another_system_pack_or_layers_is_told_and_never_counted(tmp_path, row, why):
    found = order([make.package(tmp_path, "A", spoil=0.0)], [row])
    line = of(found, row.item)
    assert (line.from_stock, line.lacking) == (0, line.pieces) and why in found.shelf[0].unused
    assert any(t.startswith(f"{row.item}, batch A-1: not counted: {why}") for t in found.told)


def test_packs_of_one_mass_in_two_units_are_the_same(tmp_path):
    found = order([make.package(tmp_path, "A", spoil=0.0)], [shelf(count=9, pack="4.4 lb")])
    assert of(found, "adhesive").from_stock == 2


@pytest.mark.parametrize(("row", "missing"), [
    (shelf(count=9, system=None), "system"), (shelf(count=9, pack=None), "pack"),
    (shelf("unit", 9, layers=None, system=None, **UNIT), "system, layers")])
def test_what_does_not_state_its_system_pack_or_layers_is_not_counted_even_where_there_is_one_system(tmp_path, row,
                                                                                                     missing):
    found = order([make.package(tmp_path, "A")], [row])
    assert of(found, row.item).from_stock == 0 and found.told == (
        f"[[stock]] row 1, batch A-1: not counted: {missing} not stated, so nobody knows that it is what the sites "
        "need; add it from the label",)


def test_hardener_on_the_shelf_is_not_counted_since_it_does_not_say_of_what(tmp_path):
    found = order([make.package(tmp_path, "A", parts=make.wrap(hardener=(0.1, 0.1)))], [shelf("hardener", 3)])
    assert "does not say of which" in found.shelf[0].unused and found.shelf[0].left == 3


def test_a_site_without_a_day_gets_nothing_from_the_shelf(tmp_path):
    paths = [make.package(tmp_path, c, spoil=0.0) for c in "AB"]
    found = order(paths, [shelf(count=9)], planned={"B": AUGUST})
    line = of(found, "adhesive")
    assert (line.from_stock, line.to_get, line.needed_by) == (2, 2, None)
    assert "no planned day: A; nothing of the shelf is taken for them" in found.told
    assert next(r for r in order_rows(found) if r["kind"] == "adhesive")["needed by"] == NOT_PLANNED


def test_a_sheet_without_a_cure_table_takes_nothing_from_the_shelf(tmp_path):
    found = order([make.package(tmp_path, "A", cure_table="")], [shelf(count=9)])
    assert of(found, "adhesive").from_stock == 0
    assert any(t.startswith("the sheet of A has no cure table") for t in found.told)


@pytest.mark.parametrize(("row", "told"), [
    (Stock(item="adhesive", count=1, batch="X"), "[[stock]] row 1, batch X: not counted: expiry not stated"),
    (Stock(item="unit", count=1, batch="X", expiry=LATE, width="260 mm"),
     "[[stock]] row 1, batch X: not counted: diameter not stated"),
    (Stock(item="filler", count=1, batch="X", expiry=LATE, excursion_time="5 d"),
     "[[stock]] row 1, batch X: not counted: storage_limit, excursion_temperature not stated"),
    (shelf("filler", batch="X", excursion_time="4000 d", storage_limit="-60 °C", excursion_temperature="90 °C"),
     "[[stock]] row 1, batch X: not counted: its warm storage consumed all of its life")])
def test_a_row_of_the_shelf_that_lacks_something_is_one_line_and_not_counted(tmp_path, row, told):
    found = order([make.package(tmp_path, "A")], [row])
    assert told in found.told and found.shelf == ()


@given(st.lists(st.tuples(st.integers(1, 4), st.integers(0, 30)), min_size=1, max_size=5),
       st.lists(st.tuples(st.integers(1, 5), st.integers(0, 40)), max_size=5))
@profile(max_examples=60, deadline=None)
def test_oldest_first_by_planned_day_serves_as_many_pieces_as_any_other_way(sites, batches):
    """Independent: the greatest flow from batches to sites, by scipy."""
    import numpy as np
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import maximum_flow

    from wrapcalc.campaign.order.shelf import Shelf, Wanted, read_shelf
    start = DAY(2026, 1, 1)
    rows, _ = read_shelf([shelf(count=n, batch=f"B{i}", expiry=(start + datetime.timedelta(days=d)).isoformat())
                          for i, (n, d) in enumerate(batches)])
    store = Shelf(rows)
    taken = sum(t.pieces for n, d in sorted(sites, key=lambda s: s[1]) for t in store.take(
        Wanted("adhesive", None, None, n, start + datetime.timedelta(days=d), "example-sleeve", None, 2.0)))
    size = 2 + len(sites) + len(batches)
    net = np.zeros((size, size), int)
    for j, (n, good) in enumerate(batches):
        net[0, 1 + j] = n
        for i, (_, day) in enumerate(sites):
            net[1 + j, 1 + len(batches) + i] = n if good >= day + 2 else 0  # end of the day and 24 h
    for i, (n, _) in enumerate(sites):
        net[1 + len(batches) + i, size - 1] = n
    assert taken == maximum_flow(csr_array(net.astype(np.int32)), 0, size - 1).flow_value


# -- bad packages -------------------------------------------------------------------------------------------------
def test_a_package_that_cannot_be_read_is_one_line_and_the_others_count(tmp_path):
    good = make.package(tmp_path, "A")
    damaged, other, empty = make.package(tmp_path, "B"), make.package(tmp_path, "C", schema=99), tmp_path / "D-r1"
    (damaged / "record.json").write_text("{}", encoding="utf-8")
    empty.mkdir()
    odd = make.package(tmp_path, "E", parts={"order": [], "wrap": {"materials": {"items": []}}})
    found = order([good, damaged, other, empty, odd, tmp_path / "notes", tmp_path / "gone" / "F-r1"])
    assert {s.case_id for line in found.lines for s in line.sites} == {"A"}
    words = {p.package: p.words for p in found.problems}
    assert sorted(words) == ["B-r1", "C-r1", "D-r1", "E-r1", "F-r1", "notes"]
    assert words["B-r1"] == "damaged: record.json: changed since it was written"
    assert "schema 99 is not the 1 that this version reads" in words["C-r1"]
    assert words["notes"] == words["D-r1"] == "this is no package; name the folder of one, such as HB-07-r1"
    assert words["E-r1"].startswith("record.json is not as expected") and "there is no such folder" in words["F-r1"]
    assert all("\n" not in w for w in words.values())


@pytest.mark.parametrize("spoil", [
    lambda r: r["order"].pop(), lambda r: r["order"][0].update(item="x"),
    lambda r: r["site"]["wrap"]["marks"]["repairs"][0]["units"].pop(),
    lambda r: r["order"][1]["quantity"].update(magnitude=None), lambda r: r["order"][1]["pack"].update(unit="lb"),
    lambda r: r.update(inputs=[]), lambda r: r["site"]["wrap"]["materials"].update(abrasive=None),
    lambda r: r["order"][1]["quantity"].update(magnitude=-1e999), lambda r: r.update(system=None)])
def test_a_record_of_another_form_is_a_line_and_never_a_wrong_sum(tmp_path, spoil):
    found = order([make.changed(make.package(tmp_path, "A"), spoil)])
    assert found.lines == () and len(found.problems) == 1
    assert found.problems[0].words.startswith("record.json is not as expected")


def test_only_the_latest_revision_of_a_case_is_ordered(tmp_path):
    paths = [make.package(tmp_path, "A", n, parts=make.wrap(adhesive=n * 2.0, packs=n)) for n in (1, 3, 2)]
    found = order(paths)
    assert of(found, "adhesive").pieces == 3
    assert [(p.package, p.words) for p in found.problems] == [
        ("A-r1", "not counted: A-r3 takes its place"), ("A-r2", "not counted: A-r3 takes its place")]


def test_the_same_package_from_two_folders_is_ordered_once(tmp_path):
    found = order([make.package(tmp_path / x, "A") for x in ("one", "two")])
    assert of(found, "adhesive").pieces == 2 and "another folder" in found.problems[0].words


def test_sites_that_need_no_wrap_are_named(tmp_path):
    found = order([make.package(tmp_path, "A", decision="other repair needed")])
    assert found.lines == () and found.without == (("A", "other repair needed"),)


# -- print and files ----------------------------------------------------------------------------------------------
def read_back(path):
    return list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8-sig"), newline="")))


def test_the_file_has_units_in_its_headings_and_the_sites_with_their_records(tmp_path):
    paths = [make.package(tmp_path, c) for c in "AB"]
    found = order(paths, [shelf(count=3)])
    write_order(tmp_path / "order.csv", found)
    write_sites(tmp_path / "sites.csv", found)
    row = next(r for r in read_back(tmp_path / "order.csv") if r["kind"] == "adhesive")
    assert row["item"] == "Adhesive, packs of 2 kg" and row["pack [kg]"] == "2"
    assert row["needed mass [kg]"] == "6.2" and row["needed pieces"] == "4" and row["from stock"] == "3"
    assert row["sites"] == "A: 3.1 kg, 2 packs (T3, T3p); B: 3.1 kg, 2 packs (T3, T3p)"
    assert row["batches"] == "3 of batch A-1" and row["needed by"] == "2026-08-03"
    mine = [r for r in read_back(tmp_path / "sites.csv") if r["site"] == "B" and r["kind"] == "adhesive"]
    assert [(r["needed pieces"], r["from stock"], r["lacking"], r["record"]) for r in mine] == [
        ("2", "1", "1", "T3, T3p")]


def test_us_customary_units_stand_in_headings_and_numbers(tmp_path):
    found = order([make.package(tmp_path, "A", parts=make.wrap(adhesive=2.0, packs=1))], display="US")
    write_order(tmp_path / "order.csv", found)
    rows = read_back(tmp_path / "order.csv")
    glue, unit = (next(r for r in rows if r["kind"] == k) for k in ("adhesive", "unit"))
    assert float(glue["needed mass [lb]"]) == pytest.approx(2 / 0.45359237) and "4.409 lb" in glue["sites"]
    assert float(unit["width [in]"]) == pytest.approx(260 / 25.4)
    assert unit["item"] == "Sleeve, 10.24 in wide, 8 layers, for outside diameter 16 in"


def test_an_empty_order_is_a_table_without_rows(tmp_path):
    write_order(tmp_path / "order.csv", order([]))
    assert read_back(tmp_path / "order.csv") == []


def test_data_is_json_and_does_not_depend_on_the_order_of_the_packages(tmp_path):
    paths = [make.package(tmp_path, c) for c in "ABC"]
    data = json.dumps(order(paths, [shelf(count=3)]).data(), allow_nan=False)
    assert data == json.dumps(order(paths[::-1], [shelf(count=3)]).data(), allow_nan=False)
    assert [r["site"] for r in site_rows(order(paths)) if r["kind"] == "adhesive"] == ["A", "B", "C"]


def test_shortages_stand_by_the_day_on_which_they_are_needed(tmp_path):
    paths = [make.package(tmp_path, "A", spoil=0.0), make.package(tmp_path, "B", spoil=0.0, diameter=508.0)]
    found = order(paths, [shelf(count=9)], planned={"A": DAY(2026, 9, 1), "B": AUGUST})
    assert [(x.key.diameter, x.needed_by) for x in found.shortages if x.key.kind == "unit"] == [
        (508, AUGUST), (406.4, DAY(2026, 9, 1))]
    assert not [x for x in found.shortages if x.key.kind == "adhesive"]


# -- packages as the command writes them --------------------------------------------------------------------------
def test_the_order_of_real_packages_is_what_their_records_say(packages):
    """Counted again from record.json by another route: the lines of `order` themselves."""
    paths = sorted(p for p in packages.iterdir() if p.name.endswith("-r1"))
    found = order(paths)
    records = [json.loads((p / "record.json").read_text(encoding="utf-8")) for p in paths]
    wraps = [r for r in records if r["decision"]["word"] == "wrap"]
    packs = sum(line["packs"]["magnitude"] for r in wraps for line in r["order"] if line["packs"])
    assert wraps and found.problems == ()
    assert sum(x.pieces for x in found.lines if x.key.pack is not None) == packs
    mass = math.fsum(line["quantity"]["magnitude"] for r in wraps for line in r["order"] if line["packs"])
    assert math.fsum(x.quantity for x in found.lines if x.key.pack is not None) == pytest.approx(mass)
    units = sum(x["quantity"]["magnitude"] for r in wraps for x in r["order"] if x["item"].startswith("Sleeve"))
    assert sum(x.pieces for x in found.lines if x.key.kind == "unit") == units
    for line in found.lines:  # each number leads back to its record
        for s in line.sites:
            record = next(r for r in records if r["case"]["id"] == s.case_id)
            ids = {i["id"] for i in record["items"]}
            assert s.refs and {ref.partition("/")[0] for ref in s.refs} <= ids, (line.key, s)
