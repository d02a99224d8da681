"""Girth welds and the joint of each row: linked by distance, what contradicts is told and never settled."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.helpers.line import block, welds_at
from wrapcalc.campaign.line.joints import Welds, clear, link
from wrapcalc.campaign.listing.blocks import Block
from wrapcalc.campaign.neighbours.neighbours import DOWNSTREAM_END, MIDDLE, NOT_STATED, UPSTREAM_END
from wrapcalc.campaign.screening.noted import Noted


def linked(rows, welds, *, backwards=False, survey=None):
    """Rows linked to welds; without `survey` the log is the survey. Arrays, notes."""
    b = block(*rows)
    c = {**b.columns, "row": b.row}
    how = survey or (lambda log: (-log if backwards else log, np.zeros(len(log), bool)))
    c["survey"] = how(c["log_distance"])[0]
    noted = Noted()
    link(c, Welds.collect([block(*welds, first=1000)]), how, noted, backwards=backwards)
    return c, noted.texts


def test_a_row_gets_its_joint_and_both_welds():
    c, told = linked([{"log_distance": 14_000.0}], welds_at(10, 22, 34))
    assert (c["joint"][0], c["upstream_weld"][0], c["downstream_weld"][0]) == ("1", "10", "20")
    assert (c["from_upstream_weld"][0], c["from_downstream_weld"][0], c["joint_length"][0]) == (4000, 8000, 12_000)
    assert told == ()


def test_before_the_first_weld_and_after_the_last_one_side_is_not_known():
    c, _ = linked([{"log_distance": 5000.0}, {"log_distance": 40_000.0}], welds_at(10, 22, 34))
    assert c["upstream_weld"].tolist() == ["", "30"] and c["downstream_weld"].tolist() == ["10", ""]
    assert math.isnan(c["from_upstream_weld"][0]) and c["from_downstream_weld"][0] == 5000
    assert c["from_upstream_weld"][1] == 6000 and math.isnan(c["from_downstream_weld"][1])


def test_what_lies_on_a_weld_lies_in_the_joint_that_begins_there():
    c, _ = linked([{"log_distance": 22_000.0}], welds_at(10, 22, 34))
    assert c["joint"][0] == "2" and c["from_upstream_weld"][0] == 0


def test_against_the_flow_sides_and_clock_are_turned():
    """derived: the tool meets the weld at 10 m first, which lies downstream; the seam at 2:00 is at 10:00."""
    c, told = linked([{"log_distance": 14_000.0, "from_upstream_weld": 4000.0}], welds_at(10, 22, 34, seam_clock=2.0),
                     backwards=True)
    assert (c["upstream_weld"][0], c["downstream_weld"][0], c["joint"][0]) == ("20", "10", "1")
    assert (c["from_upstream_weld"][0], c["from_downstream_weld"][0]) == (8000, 4000)
    assert c["seam_clock"][0] == 10.0 and told == ()


def test_the_seam_of_the_row_goes_before_that_of_the_weld():
    welds = welds_at(10, 22, seam_clock=2.0)
    c, _ = linked([{"log_distance": 14_000.0, "seam_clock": 3.5}, {"log_distance": 15_000.0}], welds)
    assert c["seam_clock"].tolist() == [3.5, 2.0]


def test_what_a_row_states_stands_and_a_contradiction_is_told():
    rows = [{"log_distance": 14_000.0, "from_upstream_weld": 4400.0},  # within the tolerance
            {"log_distance": 14_000.0, "from_upstream_weld": 5200.0, "joint": "7"},
            {"log_distance": 14_000.0, "joint_length": 13_100.0}]
    c, told = linked(rows, welds_at(10, 22, 34))
    assert c["from_upstream_weld"].tolist() == [4400, 5200, 4000] and c["joint"].tolist() == ["1", "7", "1"]
    assert c["joint_length"].tolist() == [12_000, 12_000, 13_100]
    assert told == (
        "1 row (row 3): the stated distance from the girth weld and the girth welds of the listing are more than 0.5 m "
        "apart: see which joint it is before anybody digs.",
        "1 row (row 3): the stated joint is not that of the girth weld before it.",
        "1 row (row 4): the stated length of the joint and the girth welds of the listing are more than 0.5 m apart.")


def test_of_contradicting_distances_the_lesser_is_the_room():
    c, _ = linked([{"log_distance": 14_000.0, "from_upstream_weld": 5200.0, "joint_length": 12_000.0}],
                  welds_at(10, 22, 34))
    assert c["room_upstream"][0] == 4000 and c["room_downstream"][0] == 6800


def test_a_distance_beyond_the_joint_leaves_the_other_side_unknown_and_is_told():
    c, told = linked([{"log_distance": 14_000.0, "from_upstream_weld": 15_000.0, "joint_length": 12_000.0}], [])
    assert math.isnan(c["from_downstream_weld"][0])
    assert any("farther from the girth weld than the joint is long" in t for t in told)


def test_where_welds_are_missing_from_the_listing_no_joint_is_made_up():
    c, told = linked([{"log_distance": 100_000.0, "joint": "8"}, {"log_distance": 49_000.0}], welds_at(10, 22, 130))
    assert c["joint"].tolist() == ["8", ""] and c["upstream_weld"].tolist() == ["", ""]
    assert np.isnan(c["from_upstream_weld"]).all() and np.isnan(c["joint_length"]).all()
    assert told == ("2 rows (rows 2, 3): no girth weld of the listing within 50 m, or the next two farther apart: the "
                    "joint is not known from them.",)


def test_without_girth_welds_what_is_stated_is_taken_and_that_is_told():
    c, _ = linked([{"log_distance": 14_000.0, "from_upstream_weld": 4000.0, "joint_length": 12_000.0, "weld": "1180",
                    "joint": "118"}, {"log_distance": 15_000.0, "weld": "1190"}], [])
    assert c["upstream_weld"].tolist() == ["1180", ""] and c["from_downstream_weld"][0] == 8000
    told = Welds.collect([block({"log_distance": 14_000.0})]).told
    assert told == ("The listing has no girth welds: anomalies are not linked to joints, and what is stated of joints "
                    "is taken as it stands.",)


def test_joints_out_of_order_are_told_with_their_rows():
    welds = welds_at(10, 22, 34, 46)
    welds[2]["joint"], welds[2]["weld"] = "1", "15"
    told = Welds.collect([block(*welds)]).told
    assert told == (
        "Girth welds out of order by their numbers along the log: 1 (15 after 20 in row 4); anomalies are linked by "
        "distance, check them.",
        "Joints out of order by their numbers along the log: 1 (1 after 2 in row 4); anomalies are linked by distance, "
        "check them.")


def test_numbers_that_fall_all_along_are_in_order():
    welds = [w | {"weld": str(100 - k), "joint": ""} for k, w in enumerate(welds_at(10, 22, 34))]
    assert Welds.collect([block(*welds)]).told == ()


def test_a_weld_that_is_listed_twice_counts_once():
    welds = [*welds_at(10, 22), {"kind": "girth weld", "log_distance": 22_030.0, "weld": "20"}]
    w = Welds.collect([block(*welds)])
    assert w.log.tolist() == [10_000, 22_000]
    assert w.told == ("Girth welds listed twice, within 50 mm: 1 (row 4); the first of each along the log stands.",)


def test_a_weld_without_a_distance_is_none():
    assert len(Welds.collect([block({"kind": "girth weld", "weld": "10"})]).log) == 0


def test_feature_ids_that_come_twice_are_told_with_their_rows_across_blocks():
    first = block({"feature_id": "F1"}, {"feature_id": "F2"}, {"feature_id": ""})
    second = block({"feature_id": "F2"}, {"feature_id": "F1"}, {"feature_id": ""}, first=5)
    assert Welds.collect([first, second]).told[0] == (
        "Feature ids that another row has, too: 2 (rows 5, 6); such rows are told apart by their number.")


def _cut(b: Block, cuts: list[int]) -> list[Block]:
    edges = [0, *sorted({c % (len(b.row) + 1) for c in cuts}), len(b.row)]
    return [Block(b.row[i:j], {n: v[i:j] for n, v in b.columns.items()}, []) for i, j in pairwise(edges)]


@given(st.permutations(range(12)), st.lists(st.integers(0, 50), max_size=4), st.booleans())
def test_the_order_of_rows_and_the_size_of_blocks_change_no_link(order, cuts, backwards):
    rows = [{"row": 100 + k} | w for k, w in enumerate(welds_at(10, 22, 22.04, 34, 46, 58))]
    rows[3]["weld"] = "15"
    rows += [{"row": 200 + k, "log_distance": x, "feature_id": f"F{k % 4}"} for k, x in enumerate(
        (9000.0, 14_000.0, 22_000.0, 22_020.0, 40_000.0, 59_000.0))]
    plain = Welds.collect([block(*rows)])
    mixed = Welds.collect(_cut(block(*(rows[i] for i in order)), cuts))
    for name in ("log", "names", "joints", "seam"):
        np.testing.assert_array_equal(getattr(mixed, name), getattr(plain, name))
    assert mixed.told == plain.told
    at = np.array([9000.0, 22_000.0, 22_020.0, 59_000.0, np.nan])
    assert [k.tolist() for k in mixed.beside(at)] == [[-1, 1, 1, 4, -1], [0, 2, 2, -1, -1]]


@pytest.mark.parametrize(("place", "up", "down"), [
    (UPSTREAM_END, 4000, 7900), (MIDDLE, 3950, 7950), (DOWNSTREAM_END, 3900, 8000), (NOT_STATED, 3950, 7900)])
def test_clear_pipe_is_from_the_edges_of_the_anomaly(place, up, down):
    """derived: 100 mm long, stated 4 m from the weld upstream and 8 m from that downstream; not stated: the lesser of
    the two usual readings on each side."""
    assert clear(4000.0, 8000.0, 100.0, place) == (up, down)
