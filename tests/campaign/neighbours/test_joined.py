"""Rows of one repair as one box and as pits: the box holds them all, and nothing is made shallower."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.helpers.line import block, line
from wrapcalc.campaign.cases.row_case import bundle_of, row_case
from wrapcalc.campaign.line.joints import Welds
from wrapcalc.campaign.measured.measured import over_row, read_measured
from wrapcalc.campaign.neighbours.joined import joined
from wrapcalc.campaign.neighbours.neighbours import (
    DOWNSTREAM_END,
    MIDDLE,
    NOT_STATED,
    UPSTREAM_END,
    Convention,
    interacting,
)
from wrapcalc.case.model import INTERNAL_LOSS, METAL_LOSS
from wrapcalc.case.pits import read_pits

D = 406.4


def row(i, **given_):
    return {"row": i + 2, "feature_id": f"F{i}", "kind": METAL_LOSS, "survey": 1000.0, "length": 100.0, "width": 50.0,
            "depth": 3.0, "clock": 6.0, "nominal_wall": 8.74, "sound_wall": math.nan, "from_upstream_weld": 500.0,
            "clear_upstream": 500.0, "weld": ""} | given_


def test_two_rows_become_a_box_and_two_pits():
    j = joined([row(0), row(1, survey=1150.0, depth=4.0, sound_wall=8.5, from_upstream_weld=650.0)], D, UPSTREAM_END)
    assert (j.row["length"], j.row["depth"], j.row["survey"]) == (250.0, 4.0, 1000.0)
    assert (j.row["sound_wall"], j.row["from_upstream_weld"], j.row["feature_id"]) == (8.5, 500.0, "F0")
    assert j.row["width"] == pytest.approx(50) and j.row["clock"] == pytest.approx(6)
    pits = read_pits(j.pits, "pits")
    assert pits.start.tolist() == [0, 150] and pits.depth.tolist() == [3, 4] and pits.names == ("F0", "F1")
    assert j.note == "one repair for F0, F1 (rows 2, 3)"


@pytest.mark.parametrize(("place", "length", "survey"), [
    (UPSTREAM_END, 350, 1000), (MIDDLE, 300, 1100), (DOWNSTREAM_END, 250, 1150), (NOT_STATED, 350, 1000)])
def test_the_place_of_the_distance_decides_and_without_one_the_longer_counts(place, length, survey):
    j = joined([row(0), row(1, survey=1150.0, length=200.0)], D, place)
    assert j.row["length"] == length and j.row["survey"] == survey


def test_across_twelve_o_clock_the_short_way_counts():
    j = joined([row(0, clock=11.75), row(1, clock=0.25)], D)
    assert j.row["width"] == pytest.approx(0.5 / 12 * math.pi * D + 50)
    assert min(j.row["clock"], 12 - j.row["clock"]) == pytest.approx(0, abs=1e-9)


def test_loss_from_both_sides_is_one_box_with_the_depths_added():
    j = joined([row(0), row(1, kind=INTERNAL_LOSS, depth=2.0)], D)
    assert (j.pits, j.row["depth"], j.row["kind"]) == (None, 5.0, INTERNAL_LOSS)
    assert j.note.endswith("; loss from within beside loss from without, or of a side that is not stated: depths added")


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(st.sampled_from([METAL_LOSS, INTERNAL_LOSS, "metal loss"]), st.integers(1, 5)), min_size=2,
                max_size=6))
def test_screening_and_package_have_the_depth_of_a_plain_search(members):
    """Independent: every two rows that may be of two sides, where one states its side; else the deepest."""
    kinds, depth = [k for k, _ in members], [float(d) for _, d in members]
    out, inn = ([k != other for k in kinds] for other in (INTERNAL_LOSS, METAL_LOSS))
    two = [depth[i] + depth[k] for i in range(len(kinds)) for k in range(len(kinds)) if i != k and out[i] and inn[k]]
    wanted = max(two) if two and {*kinds} != {"metal loss"} else max(depth)
    rows = [row(i, kind=k, depth=d, survey=1000.0 + 20 * i) for i, (k, d) in enumerate(members)]
    j = joined(rows, D, UPSTREAM_END)
    arrays = {n: np.array([r[n] for r in rows], object if isinstance(rows[0][n], str) else float) for n in rows[0]}
    (g,) = interacting(arrays | {"joint": np.full(len(rows), "1", object)}, D, Convention("6t", UPSTREAM_END)).groups
    assert g.depth == j.row["depth"] == wanted
    assert g.both_sides == ("depths added" in j.note) == (j.pits is None) == (wanted == max(two, default=0)
                                                                            and {*kinds} != {"metal loss"})


def test_the_sources_of_added_depths_are_those_of_the_rows_that_are_added():
    j = joined([row(0, depth_source="ditch"), row(1, kind="metal loss", depth=2.0), row(2, depth=1.0)], D)
    assert j.row["depth"] == 5.0 and j.row["depth_source"] == "F0: ditch; F1: as listed, row 3"
    assert math.isnan(j.row["depth_share"])


def test_a_row_without_clock_is_a_box_without_width_which_the_case_asks_for():
    j = joined([row(0), row(1, clock=math.nan)], D)
    assert j.pits is None and math.isnan(j.row["width"]) and "a clock is not known" in j.note


def test_rows_of_one_id_keep_names_of_their_own():
    assert read_pits(joined([row(0), row(1, feature_id="F0", survey=1200.0)], D).pits, "p").names == ("F0", "F0 row 3")


FIELD = "field.csv line 3: dig sheet D-12"


def test_a_depth_that_was_measured_in_the_ditch_says_so_whichever_row_has_it():
    j = joined([row(0, depth_share=0.34), row(1, survey=1150.0, depth=4.0, depth_source=FIELD)], D, UPSTREAM_END)
    assert j.row["depth_source"] == f"F1: {FIELD}" and math.isnan(j.row["depth_share"])
    assert (j.row["length_source"], j.row["width_source"], j.row["clock_source"]) == ("", "", "")


def test_a_depth_of_the_listing_is_never_said_to_be_measured_in_the_ditch():
    """The leading row was measured and is shallower than what the listing says of the other."""
    j = joined([row(0, depth_source=FIELD), row(1, depth=4.0, depth_share=0.46)], D, UPSTREAM_END)
    assert (j.row["depth"], j.row["depth_source"], j.row["depth_share"]) == (4.0, "", 0.46)


def test_depths_that_are_added_name_both_sources():
    j = joined([row(0, depth_source=FIELD), row(1, kind=INTERNAL_LOSS, depth=2.0)], D)
    assert j.row["depth_source"] == f"F0: {FIELD}; F1: as listed, row 3" and math.isnan(j.row["depth_share"])


def test_a_box_of_measured_and_listed_sizes_names_both():
    j = joined([row(0), row(1, survey=1150.0, length=120.0, length_source=FIELD), row(2, survey=1300.0)], D)
    assert j.row["length_source"] == f"F1: {FIELD}; F0, F2: as listed, row 2, 4"


def test_the_least_wall_has_the_source_of_its_row():
    rows = [row(0, sound_wall=8.6, sound_wall_source=FIELD), row(1, sound_wall=8.5)]
    assert joined(rows, D).row["sound_wall_source"] == ""
    assert joined([rows[0], row(1, sound_wall=8.7)], D).row["sound_wall_source"] == f"F0: {FIELD}"


@settings(max_examples=80, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 3000), st.floats(1, 500), st.floats(1, 600), st.floats(0.1, 8),
                          st.integers(0, 719)), min_size=1, max_size=6),
       st.sampled_from([UPSTREAM_END, MIDDLE, NOT_STATED]))
def test_the_box_holds_every_row_and_the_pits_are_read_back(given_rows, place):
    rows = [row(i, survey=s, length=a, width=w, depth=d, clock=m / 60) for i, (s, a, w, d, m) in enumerate(given_rows)]
    j, around = joined(rows, D, place), math.pi * D
    pits = read_pits(j.pits, "pits")
    assert j.row["depth"] == max(r["depth"] for r in rows)
    axial, wide = pits.extent(around)
    assert j.row["length"] >= axial * (1 - 1e-9) and j.row["width"] >= wide - 1e-5
    half = j.row["width"] / 2
    for r in rows:  # the middle of each, by the shorter way round, plus half its width, lies within half the box
        off = abs((r["clock"] - j.row["clock"] + 6) % 12 - 6) / 12 * around
        assert off + r["width"] / 2 <= half + 1e-5 or j.row["width"] >= around - 1e-6
    # No depth is lost; what is missing is the same box as another one that is at least as deep.
    assert pits.depth.max() == pytest.approx(max(r["depth"] for r in rows), rel=1e-11)
    for r in rows:
        same = (np.abs(pits.length - r["length"]) < 1e-5) & (np.abs(pits.width - r["width"]) < 1e-5)
        assert pits.depth[same].max() >= r["depth"] * (1 - 1e-11)


def test_the_case_of_a_joined_repair_names_the_ditch_where_it_was_measured(tmp_path):
    """Through the whole chain: field file, row, repair, case."""
    at = line(tmp_path)
    rows, faults = at.resolve(block(*({"row": 2 + i, "feature_id": f"F{i}", "log_distance": 605_000.0 + 150 * i,
                                       "depth_share": 0.4, "length": 100.0, "width": 50.0, "clock": 4.5,
                                       "measured_wall": 8.74} for i in range(2))), Welds.collect([block()]))
    assert faults == []
    listed = [{n: v[i] for n, v in rows.items()} for i in range(2)]
    (tmp_path / "field.csv").write_text("feature_id,depth mm,source\nF1,4.4,dig sheet D-12\n", encoding="utf-8")
    measured = read_measured(tmp_path / "field.csv")
    listed[1], _ = over_row(listed[1], measured.rows["F1"], measured.name)
    row = joined(listed, D, UPSTREAM_END).row
    data = row_case(at, row, "F0", "loss")
    assert data["defect"]["depth"] == {"value": "4.4 mm", "source_kind": "measured", "source":
                                       "F1: field.csv line 2: dig sheet D-12; instead of 3.496 mm of the listing"}
    assert data["defect"]["length"]["source"] == "listing of the run of 2026 (invented), row 2"
    assert bundle_of(at, data).case.defect.depth.base == 4.4
