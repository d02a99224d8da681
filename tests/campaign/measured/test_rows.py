"""Which row a measurement of the ditch is of, and what the selection makes of it."""

import math

import numpy as np
import pytest

from tests.helpers import campaign as helper
from tests.helpers.line import line
from wrapcalc.campaign.cases.selection import select
from wrapcalc.campaign.measured.measured import read_measured
from wrapcalc.campaign.measured.rows import as_measured, matched, reaching
from wrapcalc.campaign.model import load_campaign
from wrapcalc.errors import CaseFaults


@pytest.fixture
def field(tmp_path):
    """Reads a file of measurements."""
    def make(*lines, head="feature_id,depth mm,joint,from girth weld mm,clock,measured on"):
        path = tmp_path / "field.csv"
        path.write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
        return read_measured(path)
    return make


def ranked(*given):
    """A block of ranked rows: (row, id, joint, from weld, clock)."""
    names = ("row", "feature_id", "joint", "from_upstream_weld", "clock")
    out = {n: np.array([g[k] for g in given], object if n in ("feature_id", "joint") else float)
           for k, n in enumerate(names)}
    return [out | {"row": out["row"].astype(int), "length": np.full(len(given), 40.0)}]


TWO = ranked((12, "F29", "1", 2223.0, 5.6), (30, "F29", "2", 8182.0, 6.4), (31, "F30", "2", 9000.0, 3.0))


@pytest.mark.parametrize("place", ["2,,", ",8300,", ",,7:00", "2,8182,6:21"])
def test_of_rows_that_share_an_id_the_place_tells_which(field, place):
    assert matched(TWO, field(f"F29,3,{place},")).at == {"F29": 30}


@pytest.mark.parametrize(("row", "found", "mend"), [
    ("F29,3,,,,", "'F29', which 2 ranked rows have (rows 12, 30)", "add joint"),
    ("F30,3,1,,,", "'F30' at joint '1', and the row has '2' (row 31)", "correct the id or the place"),
    ("F30,3,,2000,,", "'F30' at 2000 mm from the girth weld, and the row lies 9000 mm from it (row 31)", "which"),
    ("F30,3,,,9:00,", "'F30' at clock 9:00, and the row has 3 h (row 31)", "which"),
    ("f30,3,,,,", "'f30', which no ranked row has", "did you mean 'F30'?"),
    ("ZZZ,3,,,,", "'ZZZ', which no ranked row has", "wrapcalc new")])
def test_a_measurement_that_is_of_no_row_for_sure_is_a_fault(field, row, found, mend):
    with pytest.raises(CaseFaults) as caught:
        matched(TWO, field(row))
    (fault,) = caught.value.faults
    assert fault.file == "field.csv" and fault.line == 2 and fault.found == found and mend in fault.mend


def test_a_measurement_older_than_the_run_is_a_fault_and_one_of_its_day_is_none(field):
    with pytest.raises(CaseFaults) as caught:
        matched(TWO, field("F30,3,,,,2016-09-14"), "2026-05-14")
    (fault,) = caught.value.faults
    assert fault.found == "'2016-09-14'" and "2026-05-14, or later" in fault.allowed
    assert matched(TWO, field("F30,3,,,,2026-05-14"), "2026-05-14").at == {"F30": 31}
    assert matched(TWO, field("F30,3,,,,2016-09-14")).at == {"F30": 31}  # nobody stated the day of the run


def test_a_measurement_yet_to_come_is_a_fault(field):
    with pytest.raises(CaseFaults) as caught:
        matched(TWO, field("F30,3,,,,2099-01-01"), "2026-05-14")
    (fault,) = caught.value.faults
    assert fault.found == "'2099-01-01'" and "a day that is over" in fault.allowed


def test_all_faults_are_told_at_once(field):
    with pytest.raises(CaseFaults) as caught:
        matched(TWO, field("F29,3,,,,", "ZZZ,3,,,,"))
    assert [f.line for f in caught.value.faults] == [2, 3]


def test_a_place_that_the_listing_does_not_state_does_not_differ(field):
    rows = ranked((3, "A", "", math.nan, math.nan))
    assert matched(rows, field("A,3,7,100,6:00,")).at == {"A": 3}


# -- judged as measured -------------------------------------------------------------------------------------------
@pytest.fixture
def shallow(tmp_path):
    """(a ranked row of 8 % that needs no repair, its line)."""
    at = line(tmp_path)
    row = {"row": 5, "feature_id": "F5", "kind": "external metal loss", "depth": 0.7, "length": 30.0, "width": 25.0,
           "clock": 4.0, "sound_wall": 8.74, "nominal_wall": 8.74, "survey": 605_000.0, "clear_upstream": 3000.0,
           "clear_downstream": 3000.0, "repair": "", "depth_share": 0.08}
    return [{n: np.array([v], object if isinstance(v, str) else None) for n, v in row.items()}], at


def test_a_row_found_far_deeper_is_judged_by_what_was_found(field, shallow):
    blocks, at = shallow
    measured = matched(blocks, field("F5,6.2,300", head="feature_id,depth mm,length mm"))
    found = as_measured(blocks, measured, at)[5]
    assert found["disposition"] in ("repair", "other repair") and not found["worse"]
    listed = as_measured(blocks, matched(blocks, field("F5,0.7", head="feature_id,depth mm")), at)[5]
    assert listed["disposition"] == "no repair needed" and listed["safe_pressure"] > found["safe_pressure"]
    assert found["depth_used"] >= 6.2


def test_what_was_found_worse_in_a_repair_of_several_rows_is_looked_at_in_its_case(field, shallow):
    (block,), at = shallow
    block["repair"] = np.array(["R0001"], object)
    for text, worse in (("F5,0.71,", True), ("F5,0.6,", False), ("F5,0.7,31", True), ("F5,,", False)):
        measured = matched([block], field(text, head="feature_id,depth mm,length mm"))
        assert as_measured([block], measured, at)[5]["worse"] is worse


def test_the_selection_takes_a_row_that_only_its_measurement_asks_for(tmp_path):
    plan = load_campaign(helper.campaign(tmp_path, 2))
    table = helper.rows({"disposition": "no repair needed", "deadline days [d]": math.inf},
                        {"disposition": "no repair needed", "deadline days [d]": math.inf})
    bad = {"disposition": "repair", "safe_pressure": 5.0, "repair_factor": 1.7, "deadline_days": 0.0, "worse": False}
    assert select(lambda: [helper.block(table)], plan).chosen == []
    (chosen,) = select(lambda: [helper.block(table)], plan, {3: bad}).chosen
    assert chosen.lead["row"] == 3 and all(w.startswith("as measured in the ditch: ") for w in chosen.why)
    worse = {**bad, "disposition": "no repair needed", "deadline_days": math.inf, "repair_factor": 0.9, "worse": True}
    (chosen,) = select(lambda: [helper.block(table)], plan, {2: worse}).chosen
    assert chosen.lead["row"] == 2 and chosen.why[0].startswith("measured deeper")


def test_what_was_measured_as_urgent_is_not_cut_for_what_the_listing_ranks_first(tmp_path):
    plan = load_campaign(helper.campaign(tmp_path, 2, "[select]\nmost = 1\n"))
    table = helper.rows({"deadline days [d]": 365.0, "repair factor": 1.3},
                        {"disposition": "no repair needed", "deadline days [d]": math.inf, "repair factor": 0.8})
    bad = {"disposition": "other repair needed", "safe_pressure": math.nan, "repair_factor": math.nan,
           "deadline_days": 0.0, "worse": False}
    found = select(lambda: [helper.block(table)], plan, {3: bad})
    assert [c.lead["row"] for c in found.chosen] == [3] and not found.told
    assert [x.row["row"] for x in found.left] == [2] and "beyond the first 1" in found.left[0].reason


def test_an_immediate_repair_beyond_the_most_is_told(tmp_path):
    plan = load_campaign(helper.campaign(tmp_path, 2, "[select]\nmost = 1\n"))
    table = helper.rows({"deadline days [d]": 0.0}, {"deadline days [d]": 0.0})
    (told,) = select(lambda: [helper.block(table)], plan).told
    assert told == ("1 features that ask for an immediate repair are beyond the first 1 (select.most) and have no "
                    "case: M-02")


def test_a_deadline_that_only_the_measurement_has_is_left_with_a_reason_where_no_rule_takes_it(tmp_path):
    plan = load_campaign(helper.campaign(tmp_path, 1))
    table = helper.rows({"disposition": "no repair needed", "deadline days [d]": math.inf})
    late = {"disposition": "insufficient data", "safe_pressure": 6.0, "repair_factor": 1.354, "deadline_days": 730.0,
            "worse": False}
    found = select(lambda: [helper.block(table)], plan, {2: late})
    assert not found.chosen and [x.row["row"] for x in found.left] == [2]


@pytest.mark.parametrize(("length", "told"), [(145, True), (60, False), (30, False)])
def test_a_feature_found_longer_that_comes_near_another_is_told(field, length, told):
    block = {"row": np.array([2, 3]), "feature_id": np.array(["A", "B"], object), "survey": np.array([1000.0, 1200.0]),
             "length": np.array([40.0, 50.0]), "repair": np.array(["", ""], object)}
    measured = matched([block], field(f"A,3,{length}", head="feature_id,depth mm,length mm"))
    found = reaching([block], measured, 60.0)
    assert bool(found) is told
    if told:
        assert found[0].startswith("A was found 145 mm long instead of 40 mm and may act as one with B:")
        block["repair"] = np.array(["R0001", "R0001"], object)
        assert reaching([block], measured, 60.0) == []
