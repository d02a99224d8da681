"""One row as a case: what it states and from where, equal in memory and on disk, accepted by the case itself."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.helpers.line import BASE, POINTS, SEGMENTS, block, line, welds_at
from wrapcalc.campaign.cases.row_case import bundle_of, companions, row_case, write_case
from wrapcalc.campaign.line.joints import Welds
from wrapcalc.campaign.measured.measured import MeasuredRow, merged
from wrapcalc.case import Case, load_bundle
from wrapcalc.errors import CaseFaults, PackageError
from wrapcalc.fields import Given, lookup, walk
from wrapcalc.stages import job

ROW = {"row": 118, "feature_id": "F-118", "log_distance": 605_000.0, "depth_share": 0.4, "length": 100.0, "width": 50.0,
       "clock": 4.5, "measured_wall": 12.5}
WELDS = welds_at(600, 612, seam_clock=2.0)
RUN = "listing of the run of 2026 (invented), row 118"


def resolved(at, **more) -> dict:
    """A row as the line resolves it."""
    rows, faults = at.resolve(block(ROW | more), Welds.collect([block(*WELDS)]))
    assert faults == []
    return {n: v[0] for n, v in rows.items()}


def case_of(at, row, **how) -> Case:
    return bundle_of(at, row_case(at, row, "F-118", "loss", **how)).case


def written(case: Case, field: str) -> tuple[str, str, str]:
    """(as written, source, kind of source) of a field."""
    given_ = case.get(field)
    return getattr(given_, "written", str(given_)), given_.source, given_.source_kind


def stated(case: Case) -> dict:
    """Every field that is answered, with source."""
    out = {}
    for name, _ in walk(Case):
        value = lookup(case, name)
        out[name] = (value.written, value.source, value.source_kind) if isinstance(value, Given) else value
    return out


def test_the_case_says_what_the_listing_says_and_where_it_stands(tmp_path):
    at = line(tmp_path, more=POINTS + SEGMENTS, listing='place = "upstream end"')
    case = case_of(at, resolved(at))
    assert written(case, "defect.depth") == ("5.08 mm", f"{RUN}: 40 % of the wall", "measured")
    assert written(case, "defect.length") == ("100 mm", RUN, "measured")
    assert written(case, "defect.width") == ("50 mm", RUN, "measured")
    assert written(case, "defect.clock") == ("4:30", RUN, "measured")
    assert written(case, "defect.kind") == ("external metal loss", RUN, "measured")
    assert written(case, "pipe.sound_wall") == ("12.5 mm", RUN, "measured")
    assert written(case, "pipe.seam_clock") == ("2:00", RUN, "document")
    assert written(case, "pipe.nominal_wall")[:2] == ("12.7 mm", "mapping.toml, segment 400 m to 1100 m")
    assert (case.case.id, case.case.title, case.case.line) == ("F-118", "loss", "test line (invented)")
    assert case.case.joint == "joint 1, 4.95 m downstream of girth weld 10"
    assert case.defect.depth_allowance.base == 0.2


def test_the_place_is_filled_in_for_the_dig_sheet(tmp_path):
    """independent: log 605 m between (100, 0) and (1110, 1000) is 500 m; 5 m of log are 4.9505 m."""
    at = line(tmp_path, more=POINTS + SEGMENTS, listing='place = "upstream end"')
    where = case_of(at, resolved(at)).location
    assert (where.section, where.joint_number, where.upstream_weld, where.downstream_weld) == (
        "valve 2 to valve 3", "1", "10", "20")
    assert where.log_distance.base == 605_000
    assert where.from_upstream_weld.base == pytest.approx(5000 / 1.01)
    assert where.from_downstream_weld.base == pytest.approx(7000 / 1.01 - 100)
    assert where.joint_length.base == pytest.approx(12_000 / 1.01)
    assert [getattr(where, f"{w}_point_{k}").base for w in ("first", "second") for k in ("log", "survey")] == [
        100e3, 0, 1110e3, 1000e3]
    assert where.first_point_log.source == "mapping.toml, reference points"


def test_clear_pipe_comes_from_the_girth_welds(tmp_path):
    at = line(tmp_path, more="", listing='place = "upstream end"')
    case = case_of(at, resolved(at, measured_wall=8.5))
    assert written(case, "defect.clear_upstream") == ("5000 mm", f"girth welds, {RUN}", "derived")
    assert case.defect.clear_downstream.base == 6900


def test_without_a_word_on_the_edge_the_lesser_room_counts_and_the_source_says_so(tmp_path):
    at = line(tmp_path, more="")
    case = case_of(at, resolved(at, measured_wall=8.5))
    assert (case.defect.clear_upstream.base, case.defect.clear_downstream.base) == (4950, 6900)
    assert case.location.from_upstream_weld.base == 5000
    assert "it does not say of which edge its distance is: taken as the upstream one" in (
        case.location.from_upstream_weld.source)


def test_an_anomaly_across_a_weld_makes_a_case_with_no_clear_pipe_there(tmp_path):
    at = line(tmp_path, more="", listing='place = "upstream end"')
    case = case_of(at, resolved(at, log_distance=611_950.0, measured_wall=8.5))
    assert case.defect.clear_downstream.base == 0
    assert "it reaches over the weld" in case.defect.clear_downstream.source
    assert case.location.from_upstream_weld.base == 11_950 and case.location.joint_length is None


@pytest.mark.parametrize("length", [1.05078125, 0.3, 100.1, 6999.7])
def test_an_anomaly_that_ends_on_the_weld_keeps_the_length_of_its_joint(tmp_path, length):
    at = line(tmp_path, more="", line="", listing='place = "upstream end"')
    row = resolved(at, log_distance=611_000.0, from_upstream_weld=12_000.0 - length, joint_length=12_000.0,
                   length=length, measured_wall=8.5)
    where = case_of(at, row).location
    assert where.joint_length.base == 12_000
    assert where.from_upstream_weld.base == pytest.approx(12_000 - length, abs=2e-3)


def test_a_reversed_log_gives_a_case_that_the_case_model_takes(tmp_path):
    """Its reference points fall, which a case does not hold: they are left out."""
    at = line(tmp_path, line='reversed = "yes"', more=POINTS.replace("0 m\"\n[[", "1000 m\"\n[[").replace(
        '"1110 m"\nsurvey = "1000 m"', '"1110 m"\nsurvey = "0 m"'))
    case = case_of(at, resolved(at, measured_wall=8.5))
    assert case.defect.clock == "7:30" and case.location.first_point_log is None
    assert case.location.log_distance.base == 605_000


def test_outside_the_reference_points_the_log_stands_alone(tmp_path):
    at = line(tmp_path)
    case = case_of(at, resolved(at, log_distance=1200e3, measured_wall=8.5))
    assert case.location.first_point_log is None and case.location.log_distance.base == 1200e3


def test_coordinates_and_due_date(tmp_path):
    at = line(tmp_path)
    row = resolved(at, latitude=52.1234, longitude=-1.5, measured_wall=8.5)
    where = case_of(at, row | {"due": "2026-09-30"}).location
    assert (where.latitude.base, where.longitude.base, where.due) == (52.1234, -1.5, "2026-09-30")
    assert where.datum == "not stated in the listing"
    alone = case_of(at, resolved(at, latitude=52.1234, measured_wall=8.5)).location
    assert alone.latitude is None and alone.datum is None
    at = line(tmp_path, base=BASE + '[location]\ndatum = "WGS 84"\n')
    assert case_of(at, resolved(at, latitude=52.1, longitude=1.0, measured_wall=8.5)).location.datum == "WGS 84"


def test_loss_whose_side_is_not_stated_is_internal_and_says_so(tmp_path):
    at = line(tmp_path)
    case = case_of(at, resolved(at, kind="metal loss", measured_wall=8.5))
    assert case.defect.kind == "internal metal loss"
    assert case.defect.kind.source.endswith("its side is not stated: internal, because that may grow under a wrap")


@pytest.mark.parametrize(("kind", "field"), [("dent", "features.dent_depth"), ("gouge", "features.gouge_depth"),
                                             ("crack", "features.crack_depth")])
def test_the_depth_of_other_damage_is_that_of_the_feature(tmp_path, kind, field):
    at = line(tmp_path)
    case = case_of(at, resolved(at, kind=kind, depth=7.0, depth_share=math.nan, measured_wall=8.5))
    assert case.get(field).base == 7.0 and case.defect.depth is None and case.defect.kind == kind
    assert case.features.dent_clock == ("4:30" if kind == "dent" else None)


def test_a_dent_without_a_depth_makes_a_case(tmp_path):
    at = line(tmp_path)
    case = case_of(at, resolved(at, kind="dent", measured_wall=8.5))
    assert case.features.dent_depth is None and case.features.dent_clock is None and case.defect.clock == "4:30"


# -- walls --------------------------------------------------------------------------------------------------------
def test_without_a_measured_wall_the_nominal_is_assumed_and_says_so(tmp_path):
    at = line(tmp_path)
    case = case_of(at, resolved(at, measured_wall=math.nan))
    assert written(case, "pipe.sound_wall") == ("8.74 mm", f"nominal wall: the {RUN} has no measured wall", "assumed")


def test_the_sound_wall_of_the_base_case_stays_where_the_row_has_none(tmp_path):
    at = line(tmp_path, base=BASE.replace("[service]", 'sound_wall = { value = "8.6 mm", source = "UT" }\n[service]'))
    assert written(case_of(at, resolved(at, measured_wall=math.nan)), "pipe.sound_wall") == ("8.6 mm", "UT", "")
    assert written(case_of(at, resolved(at, measured_wall=8.5)), "pipe.sound_wall") == ("8.5 mm", RUN, "measured")


def test_a_sound_wall_measured_in_the_ditch_goes_before_that_of_the_listing_and_both_are_kept(tmp_path):
    at = line(tmp_path)
    row = resolved(at, measured_wall=8.5) | {"sound_wall": 8.3}
    assert written(case_of(at, row), "pipe.sound_wall") == (
        "8.3 mm", f"measured at the anomalies of this repair; the {RUN} has 8.5 mm", "measured")


def test_a_source_beside_a_value_goes_before_the_listing(tmp_path):
    at = line(tmp_path)
    source = "dig sheet D-12; the listing had 3.496 mm"
    row = resolved(at, measured_wall=8.5) | {"depth": 3.9, "depth_share": math.nan, "depth_source": source}
    assert written(case_of(at, row), "defect.depth") == ("3.9 mm", source, "measured")


def test_what_was_measured_over_a_row_loads_and_keeps_both(tmp_path):
    at = line(tmp_path)
    data, kept = merged(row_case(at, resolved(at, measured_wall=8.5), "F-118", "loss"), MeasuredRow(
        2, "F-118", {"depth": 3.9}, {"depth": "3.9 mm"}, {"feature_id": "F-118"}), "field.csv")
    case = bundle_of(at, data).case
    assert case.defect.depth.base == 3.9 and "instead of 3.496 mm" in case.defect.depth.source
    assert [r.field for r in kept] == ["defect.depth"]


# -- neighbours, files --------------------------------------------------------------------------------------------
RULE = '[assessment]\ninteraction = "6t"\ninteraction_reason = "company rule (invented)"\n'


def test_the_rule_of_interaction_stays_only_with_pits(tmp_path):
    at = line(tmp_path, base=BASE + 'rejoin_gap = "60 mm"\n' + RULE)
    row = resolved(at, measured_wall=8.5)
    data = row_case(at, row, "F-118", "loss")
    assert "assessment" not in data and "rejoin_gap" not in data["defect"]
    bundle_of(at, data)
    data = row_case(at, row, "F-118", "loss", pits=True)
    data["defect"]["pits"] = "pits.csv"
    (tmp_path / "pits.csv").write_text("name,start mm,length mm,width mm,depth mm,clock,weld\n"
                                       "a,0,100,50,3.496,4:30,10\n", "utf-8")
    bundle = bundle_of(at, data)
    assert bundle.case.assessment.interaction == "6t" and bundle.case.defect.rejoin_gap.base == 60


CRITERIA = """rule = "Own"
title = "Company criteria (invented)"
text_as_of = "2026"
status = "common practice"
[[criterion]]
paragraph = "1"
class = "1 year"
text = "Metal loss deeper than three tenths of the wall"
when = ["depth_over_wall > 0.3"]
"""


def test_a_written_case_loads_to_what_is_made_in_memory(tmp_path):
    home = tmp_path / "home"
    home.mkdir()
    (home / "rules.toml").write_text(CRITERIA, "utf-8")
    at = line(home, base=BASE + '[design]\nsystem = "example-sleeve"\n[disposition]\ncriteria = "rules.toml"\n')
    data = row_case(at, resolved(at, measured_wall=8.5), "F-118", "loss")
    memory, path = bundle_of(at, data), write_case(tmp_path / "out", at, data)
    disk = load_bundle(path)
    assert sorted(p.name for p in path.parent.iterdir()) == ["F-118.toml", "rules.toml"]
    assert stated(disk.case) == stated(memory.case)
    assert disk.files == memory.files and disk.digest() == memory.digest()
    assert job.run(disk).decision == job.run(memory).decision


def test_a_file_that_a_segment_names_goes_with_its_cases(tmp_path):
    home = tmp_path / "home"
    home.mkdir()
    from wrapcalc.systems.sheets import shipped_systems
    (home / "sleeve.toml").write_bytes(shipped_systems()["example-sleeve"].read_bytes())
    at = line(home, more=SEGMENTS.replace('{ "pipe', '{ "design.system" = "sleeve.toml", "pipe'))
    assert at.system is None
    data = row_case(at, resolved(at), "F-118", "loss")
    assert list(companions(at, data)) == ["sleeve.toml"]
    assert load_bundle(write_case(tmp_path / "out", at, data)).system is not None


def test_a_case_named_as_a_file_of_the_base_case_is_refused(tmp_path):
    from wrapcalc.systems.sheets import shipped_systems
    (tmp_path / "sleeve.toml").write_bytes(shipped_systems()["example-sleeve"].read_bytes())
    at = line(tmp_path, base=BASE + '[design]\nsystem = "sleeve.toml"\n')
    with pytest.raises(CaseFaults, match=r"Sleeve\.toml: case\.id: found 'Sleeve'"):
        write_case(tmp_path / "out", at, row_case(at, resolved(at, measured_wall=8.5), "Sleeve", "loss"))
    assert not (tmp_path / "out").exists()


def test_a_folder_that_cannot_be_written_is_refused_and_nothing_is_left(tmp_path):
    at = line(tmp_path)
    (tmp_path / "out").write_text("a file", "utf-8")
    with pytest.raises(PackageError, match="cannot be written"):
        write_case(tmp_path / "out", at, row_case(at, resolved(at, measured_wall=8.5), "F-118", "loss"))


def test_writing_again_replaces_the_case_and_leaves_nothing_aside(tmp_path):
    at = line(tmp_path)
    data = row_case(at, resolved(at, measured_wall=8.5), "F-118", "loss")
    write_case(tmp_path / "out", at, data)
    path = write_case(tmp_path / "out", at, data | {"case": data["case"] | {"title": "again"}})
    assert [p.name for p in path.parent.iterdir()] == ["F-118.toml"] and load_bundle(path).case.case.title == "again"


def test_a_row_that_lies_nowhere_on_the_line_is_refused(tmp_path):
    at = line(tmp_path, more=POINTS + SEGMENTS)
    with pytest.raises(CaseFaults, match="a place in a segment of the line, with a wall"):
        row_case(at, {"row": 3, "survey": 5e6, "nominal_wall": 8.74, "kind": "metal loss"}, "F", "x")


@settings(max_examples=40, deadline=None)
@given(st.fixed_dictionaries({
    "log_distance": st.floats(100e3, 1200e3), "depth_share": st.floats(0.005, 0.9), "length": st.floats(0.2, 15_000),
    "width": st.floats(0.2, 1200), "clock": st.floats(0, 11.99), "measured_wall": st.sampled_from([math.nan, 8.5]),
    "kind": st.sampled_from(["external metal loss", "metal loss", "dent", "gouge", "crack"]),
    "from_upstream_weld": st.sampled_from([math.nan, 0.0, 3000.0, 20_000.0]),
    "joint_length": st.sampled_from([math.nan, 12_000.0])}), st.booleans(),
    st.sampled_from(["", 'place = "upstream end"', 'place = "middle"', 'place = "downstream end"']))
def test_every_row_that_is_resolved_makes_a_case_with_its_numbers(tmp_path_factory, row, backwards, place):
    folder = tmp_path_factory.mktemp("line")
    points = POINTS if not backwards else POINTS.replace("0 m\"\n[[", "1000 m\"\n[[").replace(
        '"1110 m"\nsurvey = "1000 m"', '"1110 m"\nsurvey = "0 m"')
    at = line(folder, more=points, listing=place, line='reversed = "yes"' if backwards else "")
    rows, faults = at.resolve(block(row), Welds.collect([block(*welds_at(100, 505, 517, 1000))]))
    if faults:
        return
    one = {n: v[0] for n, v in rows.items()}
    case = case_of(at, one)
    assert case.defect.length.base == one["length"] and case.pipe.sound_wall.base == one["sound_wall"]
    if row["kind"] in ("external metal loss", "metal loss"):
        assert case.defect.depth.base == one["depth"]
    for side in ("upstream", "downstream"):
        clear, listed = case.get(f"defect.clear_{side}"), one[f"clear_{side}"]
        assert (math.nan if clear is None else clear.base) == pytest.approx(listed, rel=1e-12, abs=1e-6, nan_ok=True)
    # the same from a table that keeps no clear pipe, but for rows that contradict themselves
    if np.isnan(row["from_upstream_weld"]):
        bare = case_of(at, {n: v for n, v in one.items() if not n.startswith("clear_")})
        assert stated(bare)["defect.clear_upstream"] is None or bare.defect.clear_upstream.base == pytest.approx(
            one["clear_upstream"], abs=1e-6)
