"""A line: base case and segments checked by the case itself, groups, and rows resolved on it."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.helpers.line import BASE, POINTS, SEGMENTS, block, line, welds_at
from wrapcalc.campaign.line.joints import Welds
from wrapcalc.campaign.line.line import WALL_SOURCES
from wrapcalc.campaign.listing.blocks import Block
from wrapcalc.campaign.neighbours.neighbours import DOWNSTREAM_END, MIDDLE, NOT_STATED
from wrapcalc.campaign.rows.strength import Screener
from wrapcalc.errors import CaseFaults

NO_WELDS = Welds.collect([])
ROW = {"log_distance": 605_000.0, "depth_share": 0.4, "length": 100.0, "width": 50.0, "clock": 4.5}


def refused(tmp_path, **how) -> str:
    with pytest.raises(CaseFaults) as e:
        line(tmp_path, **how)
    return str(e.value)


# -- base case and segments ---------------------------------------------------------------------------------------
def test_the_template_of_a_group_is_the_base_case_with_what_its_segment_sets(tmp_path):
    at = line(tmp_path, more=POINTS + SEGMENTS)
    first, second, heavy = at.group_of(np.array([100e3, 500e3, 500e3]), np.array([8.74, 12.7, 14.3])).tolist()
    assert at.bundle(first).case.service.class_location == "3" and at.bundle(second).case.service.class_location == "2"
    assert [at.bundle(g).case.pipe.nominal_wall.base for g in (first, second, heavy)] == [8.74, 12.7, 14.3]
    assert [at.section(g) for g in (first, second)] == ["valve 1 to valve 2", "valve 2 to valve 3"]
    assert at.bundle(heavy).case.pipe.nominal_wall.source == "listing of the run of 2026 (invented)"
    assert at.bundle(second).case.pipe.nominal_wall.source == "mapping.toml, segment 400 m to 1100 m"


def test_a_template_is_loaded_once_and_shares_what_stands_beside_it(tmp_path):
    at = line(tmp_path, base=BASE + '[design]\nsystem = "example-sleeve"\n', more=POINTS + SEGMENTS)
    first, second = at.group_of(np.array([100e3, 500e3]), np.array([8.74, 12.7])).tolist()
    assert at.bundle(first) is at.bundle(first)
    assert at.bundle(first).system is at.bundle(second).system is at.system is not None
    assert at.bundle(first).tables is at.bundle(second).tables


def test_a_place_in_no_segment_or_without_a_wall_has_no_group(tmp_path):
    at = line(tmp_path, more=POINTS + SEGMENTS)
    groups = at.group_of(np.array([-1.0, 1_100_001.0, np.nan, 5.0]), np.array([8.74, 8.74, 8.74, np.nan]))
    assert groups.tolist() == [-1] * 4


def test_where_two_segments_meet_the_one_that_begins_there_holds_and_the_last_end_belongs_to_it(tmp_path):
    at = line(tmp_path, more=POINTS + SEGMENTS)
    groups = at.group_of(np.array([400e3, 1100e3]), np.array([12.7, 12.7]))
    assert {at.section(g) for g in groups.tolist()} == {"valve 2 to valve 3"}


def test_stand_in_sizes_change_no_answer(tmp_path):
    """A screening with the template gives what one with a template without sizes gives."""
    at = line(tmp_path)
    bundle = at.bundle(int(at.group_of(np.array([5e3]), np.array([8.74]))[0]))
    bare = bundle.case.model_copy(update={
        "defect": bundle.case.defect.model_copy(update=dict.fromkeys(("kind", "depth", "length", "width", "clock"))),
        "pipe": bundle.case.pipe.model_copy(update={"sound_wall": None})})
    rows = {"depth": np.array([3.4, 6.9, 0.5]), "length": np.array([180.0, 30.0, 900.0]), "clock": np.array([4.5] * 3),
            "width": np.array([120.0, 50.0, np.nan]), "sound_wall": np.array([8.6, 8.74, 8.7]),
            "internal": np.zeros(3, np.uint8)}
    one = Screener(bundle).judge(rows)
    other = Screener(type(bundle)(bare, bundle.tables)).judge(rows)
    assert one.keys() == other.keys()
    for name in one:
        np.testing.assert_array_equal(one[name], other[name], err_msg=name)


@pytest.mark.parametrize(("field", "text"), [
    ("defect.depth", '[defect]\ndepth = "3 mm"\n'), ("defect.clock", '[defect]\nclock = "4:30"\n'),
    ("location.upstream_weld", '[location]\nupstream_weld = "1180"\n'),
    ("location.latitude", "[location]\nlatitude = 52.1\nlongitude = 1.2\ndatum = 'WGS 84'\n")])
def test_what_each_row_has_of_its_own_may_not_stand_in_the_base_case(tmp_path, field, text):
    base = BASE.replace("[defect]\n", text) if "[defect]" in text else BASE + text
    said = refused(tmp_path, base=base)
    assert f": {field}: found" in said and "nothing: each row of the listing has its own" in said
    assert said.startswith("base.toml, line ")


def test_faults_of_base_case_segments_and_points_are_told_together(tmp_path):
    said = refused(tmp_path, base=BASE.replace('"360 MPa"', '"360"'), more=POINTS.replace("1000 m", "1200 m")
                   + SEGMENTS.replace('from = "400 m"', 'from = "390 m"'))
    assert "base.toml, line 12: pipe.smys: found '360', which has no unit" in said
    assert "mapping.toml: reference_point.1.survey: found" in said
    assert "segment 390 m to 1100 m and segment 0 m to 400 m; allowed: segments that do not overlap" in said


def test_a_segment_that_the_case_refuses_is_named_with_its_field(tmp_path):
    said = refused(tmp_path, more=POINTS + SEGMENTS.replace('"12.7 mm"', '"127 mm"').replace('= "3"', '= "7"'))
    assert "mapping.toml, line" in said
    assert "segment.0.set (segment 0 m to 400 m): service.class_location: found '7'; allowed: 1, 2, 3, 4" in said
    assert "segment.1.set (segment 400 m to 1100 m): pipe.nominal_wall: found '127 mm'; allowed: at least" in said


def test_a_segment_that_ends_before_it_begins_is_refused(tmp_path):
    said = refused(tmp_path, more=SEGMENTS.replace('to = "400 m"', 'to = "-1 m"'))
    assert "segment.0.to: found segment 0 m to -1 m; allowed: an end beyond its start" in said


def test_a_gap_between_segments_is_told(tmp_path):
    at = line(tmp_path, more=POINTS + SEGMENTS.replace('from = "400 m"', 'from = "450 m"'))
    assert at.told == ("No segment covers 400 m to 450 m: rows there are faults.",)


def test_that_there_are_no_reference_points_is_told(tmp_path):
    assert line(tmp_path, more="").told == ("The mapping has no reference points: the log is taken as surveyed.",)


def test_the_rule_of_interaction_is_that_of_the_line_and_in_no_template(tmp_path):
    rule = '[assessment]\ninteraction = "6t"\ninteraction_reason = "company rule (invented)"\n'
    at = line(tmp_path, base=BASE + rule)
    assert at.case.assessment.interaction == "6t" and at.case.defect.pits is None
    assert at.base.case.assessment.interaction is None
    said = refused(tmp_path, base=BASE + rule.replace('"6t"', '"own"'))
    assert "base.toml, line 30: assessment.interaction_axial: found nothing; allowed: the gap of the own rule" in said


def test_a_base_case_that_is_not_there_is_refused(tmp_path):
    (tmp_path / "more").mkdir()
    at = line(tmp_path)
    with pytest.raises(CaseFaults, match=r"base\.toml: the file: found no such file"):
        type(at)(at.mapping, tmp_path / "more")


def test_too_many_nominal_walls_are_measured_walls(tmp_path):
    at = line(tmp_path)
    with pytest.raises(CaseFaults, match="a column with more than 200 different nominal walls"):
        at.group_of(np.full(300, 5e3), np.linspace(8, 9, 300))


# -- rows ---------------------------------------------------------------------------------------------------------
def test_depth_is_the_share_of_the_nominal_wall_of_row_segment_or_base(tmp_path):
    at = line(tmp_path, more=POINTS + SEGMENTS)
    rows, faults = at.resolve(block(ROW, ROW | {"nominal_wall": 9.53}, ROW | {"log_distance": 200e3}), NO_WELDS)
    assert faults == [] and rows["depth"].tolist() == [5.08, 3.812, 3.496]  # independent: 40 % by hand
    assert rows["nominal_wall"].tolist() == [12.7, 9.53, 8.74] and rows["survey"][0] == pytest.approx(500e3)


def test_depth_is_the_share_of_the_measured_wall_where_the_mapping_says_so(tmp_path):
    at = line(tmp_path, depth="% of measured wall")
    rows, faults = at.resolve(block(ROW | {"measured_wall": 8.5}, ROW), NO_WELDS)
    assert rows["depth"].tolist() == [3.4]
    assert [(f.row, f.column, f.found) for f in faults] == [(3, "Depth", "40 % of a measured wall that is not stated")]


def test_the_sound_wall_is_that_of_the_row_else_of_the_base_else_the_nominal(tmp_path):
    blocks = block(ROW | {"measured_wall": 8.5}, ROW)
    rows, _ = line(tmp_path).resolve(blocks, NO_WELDS)
    assert rows["sound_wall"].tolist() == [8.5, 8.74]
    assert [WALL_SOURCES[k] for k in rows["wall_source"]] == ["measured wall of the row", "nominal wall"]
    stated = BASE.replace("[service]", 'sound_wall = "8.6 mm"\n[service]')
    rows, _ = line(tmp_path, base=stated).resolve(blocks, NO_WELDS)
    assert rows["sound_wall"].tolist() == [8.5, 8.6]
    assert [WALL_SOURCES[k] for k in rows["wall_source"]] == ["measured wall of the row", "sound wall of the base case"]


@pytest.mark.parametrize(("row", "column", "found", "allowed"), [
    ({"log_distance": math.nan}, "Log", "nothing", "a distance in the log"),
    ({"log_distance": -5e3}, "Log", "-5 m", "a distance of 0 or more"),
    ({"log_distance": 2000e3}, "Log", "2000 m, by survey 1881.188119 m", "a place inside a segment of the mapping"),
    ({"nominal_wall": 127.0}, "t", "127 mm", "a nominal wall that the case can hold: pipe.nominal_wall: at least"),
    ({"nominal_wall": 0.4}, "t", "0.4 mm", "a nominal wall that the case can hold: pipe.nominal_wall: at least"),
    ({"depth_share": 1.01}, "Depth", "12.827 mm", "at most the wall, 12.7 mm"),
    ({"measured_wall": 10.0, "depth_share": 0.9}, "Depth", "11.43 mm", "at most the wall, 10 mm"),
    ({"depth_share": 0.0}, "Depth", "0 mm", "at least 0.01 mm, or a blank cell where it is not known"),
    ({"measured_wall": 4.0}, "measured_wall", "4 mm beside a nominal wall of 12.7 mm", "half to one and a half times"),
    ({"measured_wall": 20.0}, "measured_wall", "20 mm beside a nominal wall of 12.7 mm", "half to one and"),
    ({"length": 0.0}, "length", "0 mm", "at least 0.1 mm"),
    ({"length": 20_001.0}, "length", "20001 mm", "at most 20 m"),
    ({"width": 1277.0}, "width", "1277 mm", "at most the circumference, 1276.7 mm")])
def test_a_row_that_cannot_be_is_a_fault_with_its_column_and_the_others_stay(tmp_path, row, column, found, allowed):
    """independent: the circumference of 406.4 mm is 1276.74 mm; 100 m + 900/1010 of the log by hand."""
    at = line(tmp_path, more=POINTS + SEGMENTS)
    rows, faults = at.resolve(block(ROW, ROW | row, ROW | {"depth_share": math.nan}), NO_WELDS)
    assert rows["row"].tolist() == [2, 4] and all(len(v) == 2 for v in rows.values())
    assert [(f.row, f.column, f.found) for f in faults] == [(3, column, found)]
    assert faults[0].allowed.startswith(allowed) and faults[0].mend


def test_a_row_without_any_nominal_wall_is_a_fault(tmp_path):
    at = line(tmp_path, base=BASE.replace('nominal_wall = "8.74 mm"\n', ""))
    rows, faults = at.resolve(block(ROW, ROW | {"nominal_wall": 8.74}), NO_WELDS)
    assert rows["row"].tolist() == [3]
    assert (faults[0].column, faults[0].allowed) == ("t", "a nominal wall of the row, its segment or the base case")


def test_depth_as_deep_as_the_wall_is_no_fault(tmp_path):
    assert line(tmp_path).resolve(block(ROW | {"depth_share": 1.0}), NO_WELDS)[1] == []


def test_a_dent_may_be_deeper_than_the_wall_and_a_share_says_nothing_of_it(tmp_path):
    at = line(tmp_path)
    dent = ROW | {"kind": "dent"}
    rows, faults = at.resolve(block(dent | {"depth": 12.0, "depth_share": math.nan}, dent), NO_WELDS)
    assert faults == [] and rows["depth"][0] == 12.0 and math.isnan(rows["depth"][1])
    assert at.told == ("1 row (row 3): a dent whose depth is a share of the wall, which says nothing of a dent: its "
                       "depth is taken as not stated.",)


def test_what_is_odd_is_told_with_rows_once_for_all_blocks(tmp_path):
    at = line(tmp_path)
    for first in (2, 10):
        at.resolve(block(ROW | {"log_distance": 99e3}, ROW | {"kind": "metal loss"}, first=first), NO_WELDS)
    assert at.told == (
        "2 rows (rows 3, 11): metal loss whose side is not stated: taken as internal, because that may grow under a "
        "wrap.",
        "2 rows (rows 2, 10): outside the outermost reference points, where the slope of the nearest stretch goes on.")


def test_a_log_against_the_flow_turns_clock_sides_and_the_edge_of_the_distance(tmp_path):
    """derived: looking the other way round 4:30 is 7:30; the upstream end for the tool lies downstream."""
    at = line(tmp_path, line='reversed = "yes"', listing='place = "upstream end"', more=POINTS.replace(
        'survey = "0 m"', 'survey = "1000 m"', 1).replace('"1110 m"\nsurvey = "1000 m"', '"1110 m"\nsurvey = "0 m"'))
    assert at.place == DOWNSTREAM_END
    welds = Welds.collect([block(*welds_at(600, 612))])
    rows, _ = at.resolve(block(ROW | {"seam_clock": 0.0}), welds)
    assert (rows["clock"][0], rows["seam_clock"][0]) == (7.5, 0.0)
    assert rows["survey"][0] == pytest.approx(500e3)
    assert (rows["upstream_weld"][0], rows["downstream_weld"][0]) == ("20", "10")
    # the distance is of the downstream edge: 100 mm less is clear upstream
    assert rows["clear_upstream"][0] == pytest.approx(7000 / 1.01 - 100)
    assert rows["clear_downstream"][0] == pytest.approx(5000 / 1.01)


@pytest.mark.parametrize(("listing", "place", "up", "down"), [
    ("", NOT_STATED, 4950, 6900), ('place = "middle"', MIDDLE, 4950, 6950)])
def test_clear_pipe_lies_between_the_edges_and_the_welds(tmp_path, listing, place, up, down):
    at = line(tmp_path, listing=listing, more="")
    assert at.place == place
    rows, _ = at.resolve(block(ROW), Welds.collect([block(*welds_at(600, 612))]))
    assert (rows["clear_upstream"][0], rows["clear_downstream"][0]) == (up, down)


def test_across_a_girth_weld_nothing_is_clear_and_that_is_told(tmp_path):
    at = line(tmp_path, listing='place = "upstream end"', more="")
    rows, _ = at.resolve(block(ROW | {"log_distance": 611_950.0}), Welds.collect([block(*welds_at(600, 612))]))
    assert (rows["clear_upstream"][0], rows["clear_downstream"][0]) == (11_950, 0)
    assert any(t.startswith("1 row (row 2): across a girth weld, or perhaps across one: no pipe") for t in at.told)


def test_clear_pipe_of_the_base_case_is_an_upper_bound_and_stands_where_no_weld_is_known(tmp_path):
    at = line(tmp_path, base=BASE + 'clear_upstream = "1 m"\nclear_downstream = "9 m"\n', more="")
    rows, _ = at.resolve(block(ROW, ROW | {"log_distance": 5000.0}), Welds.collect([block(*welds_at(600, 612))]))
    assert rows["clear_upstream"].tolist() == [1000, 1000] and rows["clear_downstream"].tolist() == [6900, 9000]


def test_the_block_is_not_changed(tmp_path):
    given_block = block(ROW, ROW)
    before = {n: v.copy() for n, v in given_block.columns.items()}
    line(tmp_path).resolve(given_block, Welds.collect([block(*welds_at(600, 612))]))
    for name, values in before.items():
        np.testing.assert_array_equal(given_block.columns[name], values)


def test_a_nominal_wall_above_that_of_its_segment_is_told(tmp_path):
    at = line(tmp_path)
    at.resolve(block(ROW | {"nominal_wall": 8.8}, ROW | {"nominal_wall": 9.0}, ROW | {"nominal_wall": 87.4}), NO_WELDS)
    (told,) = at.told
    assert told.startswith("2 rows (rows 3, 4): the nominal wall of the row is more than 2 % above that of the segment")
    assert "makes a defect look harmless" in told


def test_a_block_without_rows_gives_no_rows(tmp_path):
    rows, faults = line(tmp_path).resolve(block(), NO_WELDS)
    assert faults == [] and len(rows["survey"]) == 0


ROWS = st.lists(st.fixed_dictionaries({
    "log_distance": st.sampled_from([-5.0, 50e3, 100e3, 300e3, 503.9e3, 504.1e3, 700e3, 1110e3, 1300e3, math.nan]),
    "depth_share": st.sampled_from([0.0, 0.3, 0.9, 1.1, math.nan]), "length": st.sampled_from([0.0, 60.0, math.nan]),
    "nominal_wall": st.sampled_from([math.nan, 8.74, 12.7, 127.0]),
    "measured_wall": st.sampled_from([math.nan, 8.5, 3.0]),
    "kind": st.sampled_from(["external metal loss", "metal loss", "dent"]), "clock": st.sampled_from([0.0, 4.5])}),
    min_size=1, max_size=14)


@settings(max_examples=30, deadline=None)
@given(ROWS, st.randoms(), st.lists(st.integers(0, 20), max_size=4))
def test_the_order_of_rows_and_the_size_of_blocks_change_no_row(tmp_path_factory, rows, random, cuts):
    rows = [r | {"row": 2 + k} for k, r in enumerate(rows)]
    welds = Welds.collect([block(*welds_at(0, 290, 302, 504, 690, 702, 1200))])
    mixed = list(rows)
    random.shuffle(mixed)
    folder = tmp_path_factory.mktemp("line")
    one, other = (line(folder, more=POINTS + SEGMENTS) for _ in "ab")
    whole, faults = one.resolve(block(*rows), welds)
    edges = [0, *sorted({c % (len(rows) + 1) for c in cuts}), len(rows)]
    b = block(*mixed)
    parts = [other.resolve(Block(b.row[i:j], {n: v[i:j] for n, v in b.columns.items()}, []), welds)
             for i, j in pairwise(edges)]
    found = {n: np.concatenate([p[n] for p, _ in parts]) for n in whole}
    order = np.argsort(found["row"])
    for name, values in whole.items():
        if name != "group":  # groups are numbered as they come up
            np.testing.assert_array_equal(found[name][order], values, err_msg=name)
    assert sorted((f for _, p in parts for f in p), key=lambda f: f.row) == faults
    assert len(faults) + len(whole["row"]) == len(rows)
    assert other.told == one.told
    for a, g in zip(whole["group"].tolist(), found["group"][order].tolist(), strict=True):
        assert one.template(a) == other.template(g)
