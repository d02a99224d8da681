"""What is dug and what is left: nothing that asks for a repair is left without a word."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.helpers import campaign as helper
from wrapcalc.campaign.cases import selection, undecided
from wrapcalc.campaign.cases.selection import plain_heading, ranked_blocks, select
from wrapcalc.campaign.model import DISPOSITIONS, REPAIRS, load_campaign
from wrapcalc.case.model import Identity
from wrapcalc.errors import CaseFaults


@pytest.fixture
def chosen(tmp_path):
    """Selects of a table by what stands in a campaign file; blocks of two rows."""
    def run(text, *rows):
        plan = load_campaign(helper.campaign(tmp_path, 1, text))
        return select(blocks(helper.rows(*rows)), plan)
    return run


def blocks(table, size=2):
    return lambda: (helper.block(table[i:i + size]) for i in range(0, len(table), size))


def ids(selected) -> list[list[str]]:
    return [[r["feature_id"] for r in c.rows] for c in selected.chosen]


def reasons(selected) -> dict[str, str]:
    return {x.row["feature_id"]: x.reason for x in selected.left}


MONITOR = {"disposition": "reduce pressure and monitor"}
SOUND = {"disposition": "no repair needed", "repair factor": 0.9}


def test_without_a_rule_all_that_ask_for_a_repair_are_dug_and_the_rule_says_so(chosen):
    s = chosen("", {}, {"disposition": "other repair needed"}, SOUND, MONITOR | {"deadline days [d]": 365.0})
    assert ids(s) == [["M-01"], ["M-02"]]
    assert s.rule == "disposition repair or other repair needed (no rule is stated)"
    assert reasons(s) == {"M-04": "no rule of the selection takes it"}
    assert s.rows == 4 and s.chosen[0].why == ("disposition: repair",)


@pytest.mark.parametrize(("rule", "row", "other", "why"), [
    ('deadline_within = "30 d"', {"deadline days [d]": 30.0}, {"deadline days [d]": 31.0}, "deadline within 30 d"),
    ("repair_factor_above = 1.3", {"repair factor": 1.31}, {"repair factor": 1.3}, "repair factor above 1.3"),
    ('safe_pressure_below = "60 bar"', {"safe pressure [MPa]": 5.9}, {"safe pressure [MPa]": 6.0},
     "safe pressure below 60 bar"),
    ('depth_above = "50 %"', {"depth [mm]": 4.36}, {"depth [mm]": 4.35}, "depth above 50 % of the wall"),
    ('dispositions = ["insufficient data"]', {"disposition": "insufficient data"}, {}, "disposition: insufficient "
     "data")])
def test_each_rule_takes_what_it_says_and_leaves_the_rest_with_a_reason(chosen, rule, row, other, why):
    s = chosen(f"[select]\n{rule}\n", other, row, SOUND)
    assert ids(s) == [["M-02"]] and s.chosen[0].why == (why,)
    assert reasons(s) == {"M-01": "no rule of the selection takes it"}


def test_a_row_that_meets_several_rules_says_all_of_them(chosen):
    s = chosen('[select]\nrepair_factor_above = 1\ndispositions = ["repair"]\n', {})
    assert s.chosen[0].why == ("disposition: repair", "repair factor above 1")
    assert s.rule == "disposition repair; or repair factor above 1"


def test_a_number_that_is_missing_meets_no_rule(chosen):
    text = '[select]\nrepair_factor_above = 0.1\nsafe_pressure_below = "99 MPa"\ndepth_above = "1 %"\n'
    nothing = {"repair factor": np.nan, "safe pressure [MPa]": np.nan, "depth [mm]": np.nan}
    s = chosen(text, nothing, nothing | {"disposition": "insufficient data", "reason": "no wall"})
    assert ids(s) == [] and list(reasons(s)) == ["M-01"] and s.undecided == {"no wall": 1}


def test_most_takes_the_first_of_the_ranking_and_names_what_lies_beyond(chosen):
    add = '[[add]]\nid = "M-05"\nreason = "one trench"\n'
    s = chosen(f"[select]\nmost = 2\n{add}", {}, {}, {}, {}, SOUND)
    assert ids(s) == [["M-01"], ["M-02"], ["M-05"]]  # what is added by name comes on top
    beyond = "beyond the first 2 of the ranking (select.most); it meets: disposition: repair"
    assert reasons(s) == {"M-03": beyond, "M-04": beyond}
    assert s.chosen[2].why == ("added: one trench",)
    assert s.rule.endswith("; at most 2 repairs by this, the first of the ranking")


def test_what_is_left_by_somebody_and_what_is_under_repair_is_not_dug(chosen):
    leave = '[[leave]]\nid = "M-02"\nreason = "pipe is replaced"\nby = "E. Example"\n'
    add = '[[add]]\nid = "M-03"\nreason = "seen from the air"\n'
    s = chosen(leave + add, {"under repair": "HB-07-r1"}, {}, SOUND | {"under repair": "HB-09-r1"})
    assert ids(s) == []
    assert reasons(s) == {"M-01": "under repair HB-07-r1", "M-02": "left by E. Example: pipe is replaced",
                          "M-03": "under repair HB-09-r1"}


def off_plan(rule, *known):
    """Selects of sound rows under repair, whose depth against the design, plan and end are given."""
    table = helper.rows(*[SOUND | {"under repair": repair} for repair, *_ in known])
    block = helper.block(table) | {
        "depth_against_design": np.array([word for _, word, *_ in known], dtype=object),
        "planned_depth": np.array([plan for *_, plan, _ in known]), "carried_depth": np.array([e for *_, e in known])}
    return select(lambda: iter([block]), rule)


def test_a_row_ahead_of_the_plan_of_its_repair_is_told_though_no_rule_takes_it(tmp_path):
    plan = load_campaign(helper.campaign(tmp_path, 1))
    nan = float("nan")
    s = off_plan(plan, ("HB-1-r1", "as planned", 3.6, 5.0), ("HB-1-r1", "ahead of the plan", 3.25, 5.0),
                 ("HB-2-r1", "not known", nan, 5.5), ("HB-1-r1", "ahead of the plan", 3.3, 5.0))
    assert ids(s) == []
    ahead = ("under repair HB-1-r1, but ahead of the plan of its design (listed without allowance 3.4 mm, planned by "
             "now with allowance ")
    assert reasons(s) == {
        "M-02": ahead + "3.25 mm, carried by the design 5 mm)",
        "M-03": "under repair HB-2-r1, but not known to be as its design plans (listed without allowance 3.4 mm, "
                "carried by the design 5.5 mm)",
        "M-04": ahead + "3.3 mm, carried by the design 5 mm)"}
    end = (". Not dug: the wrap stands over it, but its life is in question; the engineer decides on a look or a new "
           "design")
    assert s.told == [f"2 rows under repair HB-1-r1 are ahead of the plan of its design: M-02, M-04{end}",
                      f"1 row under repair HB-2-r1 is not known to be as its design plans: M-03{end}"]


def test_a_row_ahead_of_the_plan_that_a_rule_takes_or_that_is_added_is_told_as_well(tmp_path):
    plan = load_campaign(helper.campaign(tmp_path, 1, "[select]\nrepair_factor_above = 0.5\n[[add]]\nid = \"M-01\"\n"
                                                      'reason = "seen"\n'))
    s = off_plan(plan, ("HB-1-r1", "ahead of the plan", 3.25, 5.0), ("HB-1-r1", "as planned", 3.5, 5.0))
    assert ids(s) == [] and list(reasons(s)) == ["M-01", "M-02"] and reasons(s)["M-02"] == "under repair HB-1-r1"
    assert "ahead of the plan" in reasons(s)["M-01"] and s.told[0].startswith("1 row under repair HB-1-r1 is ahead")


def test_what_is_dug_at_a_known_repair_is_told_since_a_wrap_may_lie_there(tmp_path):
    block = helper.block(helper.rows({}, {}, {}, SOUND)) | {
        "known_repair": np.array(["HB-1-r1", "", "HB-1-r1", "HB-1-r1"], dtype=object),
        "known_repair_is": np.array(["under repair", "", "under repair", "under repair"], dtype=object),
        "depth_against_design": np.array(["past its design life", "", "past its design life", "x"], dtype=object)}
    s = select(lambda: iter([block]), load_campaign(helper.campaign(tmp_path, 1)))
    assert ids(s) == [["M-01"], ["M-02"], ["M-03"]] and s.told == [
        "M-01, M-03 at the known repair HB-1-r1 (under repair, past its design life): a wrap may lie on the pipe "
        "there, of which the case knows nothing; look before anybody digs"]


def test_many_rows_ahead_of_the_plan_are_counted_and_the_first_named(tmp_path):
    plan = load_campaign(helper.campaign(tmp_path, 1))
    s = off_plan(plan, *[("HB-1-r1", "ahead of the plan", 3.25, 5.0)] * 23)
    assert s.told[0].startswith("23 rows under repair") and "M-20 and more" in s.told[0] and len(s.left) == 23


def test_a_feature_that_is_not_in_the_ranking_is_a_fault(tmp_path):
    plan = load_campaign(helper.campaign(tmp_path, 1, '[[add]]\nid = "X"\nreason = "x"\n[[leave]]\nid = "M-01"\n'
                                                      'reason = "x"\nby = "E. Example"\n'))
    with pytest.raises(CaseFaults) as raised:
        select(blocks(helper.rows({})), plan)
    assert [str(f) for f in raised.value.faults] == [
        "CAMPAIGN.toml, line 8: add.0.id: found 'X'; allowed: a feature of the ranked table. To mend: look it up in "
        "ranked.parquet; a row with a fault stands in faults.csv"]


UNKNOWN = {"disposition": "insufficient data", "reason": "no length", "repair factor": np.nan}


def test_rows_without_enough_data_are_named_the_deepest_first(chosen):
    rows = [UNKNOWN | {"depth [mm]": d} for d in (2.0, np.nan, 6.5, 4.0)]
    s = chosen("", {}, *rows)
    assert [(r["feature_id"], r["depth"], r["reason"]) for r in s.undecided_deepest[:3]] == [
        ("M-04", 6.5, "no length"), ("M-05", 4.0, "no length"), ("M-02", 2.0, "no length")]
    assert s.undecided_deepest[3]["feature_id"] == "M-03" and s.undecided_not_named == 0


def test_a_depth_in_an_unknown_wall_comes_before_all_shares(tmp_path):
    block = helper.block(helper.rows(*[UNKNOWN | {"depth [mm]": d} for d in (6.0, 5.0, np.nan, 1.0)]))
    block["relative_depth"] = np.array([0.5, 0.7, 0.6, np.nan])
    s = select(lambda: iter([block]), load_campaign(helper.campaign(tmp_path, 1)))
    assert [r["feature_id"] for r in s.undecided_deepest] == ["M-04", "M-02", "M-03", "M-01"]


def test_so_many_without_enough_data_are_named_and_the_rest_is_counted(chosen, monkeypatch):
    monkeypatch.setattr(undecided, "MOST_NAMED", 3)
    s = chosen("", *[UNKNOWN | {"depth [mm]": float(d)} for d in range(1, 12)])
    assert [r["depth"] for r in s.undecided_deepest] == [11, 10, 9]
    assert s.undecided == {"no length": 11} and s.undecided_not_named == 8


def test_what_a_repair_takes_in_is_not_named_as_undecided(chosen):
    s = chosen("", {"repair": "g"}, UNKNOWN | {"repair": "g", "depth [mm]": 7.0}, UNKNOWN)
    assert [r["feature_id"] for r in s.undecided_deepest] == ["M-03"] and s.undecided_not_named == 0


TWINS = ({}, {"feature_id": "M-01"}, {})


@pytest.mark.parametrize("table", ["add", "leave"])
def test_an_id_that_several_rows_have_needs_its_row(tmp_path, table):
    more = 'by = "E. Example"\n' if table == "leave" else ""
    text = f'[[{table}]]\nid = "M-01"\nreason = "x"\n{more}'

    def found(named, *rows):
        with pytest.raises(CaseFaults) as raised:
            select(blocks(helper.rows(*rows)), load_campaign(helper.campaign(tmp_path, 1, named)))
        return [str(f) for f in raised.value.faults]
    assert found(text, *TWINS) == [
        f"CAMPAIGN.toml, line 8: {table}.0.id: found 'M-01', which 2 ranked rows have: 2, 3; allowed: one feature. To "
        f"mend: state which one is meant: add row = N with its row in the listing, a [[{table}]] for each"]
    assert found(text + "row = 4\n", *TWINS)[0].startswith(
        f"CAMPAIGN.toml, line {10 + bool(more)}: {table}.0.row: found 4; allowed: a ranked row of 'M-01': 2, 3.")


def test_of_rows_with_one_id_only_the_row_that_is_named_is_left_or_added(chosen):
    leave = '[[leave]]\nid = "M-01"\nrow = 3\nreason = "pipe is replaced"\nby = "E. Example"\n'
    s = chosen(leave, *TWINS)
    assert [r["row"] for c in s.chosen for r in c.rows] == [2, 4]
    assert [(x.row["row"], x.reason) for x in s.left] == [(3, "left by E. Example: pipe is replaced")]
    add = '[[add]]\nid = "M-01"\nrow = 2\nreason = "seen"\n'
    s = chosen(leave + add, SOUND, SOUND | {"feature_id": "M-01"}, SOUND)
    assert [r["row"] for c in s.chosen for r in c.rows] == [2] and [x.row["row"] for x in s.left] == [3]
    assert ids(chosen('[[leave]]\nid = "M-03"\nrow = 4\nreason = "x"\nby = "E. Example"\n', *TWINS)) == [
        ["M-01"], ["M-01"]]


def test_neighbours_become_one_repair_that_names_all_its_rows_and_counts_once(chosen):
    s = chosen("[select]\nmost = 2\n", {"repair": "g1"}, SOUND, {"repair": "g1"}, SOUND | {"repair": "g1"}, {}, {},
               SOUND | {"repair": "g2"})
    assert ids(s) == [["M-01", "M-03", "M-04"], ["M-05"]]
    assert s.chosen[0].case_id == "M-01"
    assert s.chosen[0].why == ("M-01: disposition: repair", "M-03: disposition: repair",
                               "M-04: in one repair with M-01")
    assert list(reasons(s)) == ["M-06"]


def test_a_neighbour_that_is_left_or_under_repair_is_told(chosen):
    leave = '[[leave]]\nid = "M-02"\nreason = "pipe is replaced"\nby = "E. Example"\n'
    s = chosen(leave, {"repair": "g"}, {"repair": "g"}, {"repair": "g", "under repair": "HB-07-r1"},
               {"repair": "g", "disposition": "insufficient data", "reason": "no length", "repair factor": np.nan})
    assert ids(s) == [["M-01", "M-02", "M-04"]]
    assert reasons(s) == {"M-03": "under repair HB-07-r1"}
    assert s.undecided == {}
    assert s.told == ["M-02 is left by E. Example: pipe is replaced; it is in the repair of M-01 all the same, with "
                      "which it acts or would touch", "M-03 is under repair HB-07-r1 and lies where the repair of M-01 "
                      "would be: see whether the two get in each other's way"]


@pytest.mark.parametrize(("names", "cases"), [
    (["a/b", "a b"], ["a-b-row-2", "a-b-row-3"]), (["", "..."], ["row-2", "row-3"]), (["CON", "con "], ["F-CON-row-2",
     "F-con-row-3"]), (["ü", "x" * 80], ["row-2", "x" * 58])])
def test_a_case_has_a_name_that_may_be_a_folder_and_no_two_are_the_same(chosen, names, cases):
    s = chosen("", *({"feature_id": n} for n in names))
    assert [c.case_id for c in s.chosen] == cases
    assert all(Identity(id=c).id == c for c in cases)


def test_a_table_is_read_as_it_was_ranked(tmp_path):
    table = helper.rows({"repair factor": 1.5}, SOUND, {})
    helper.write_ranked(tmp_path / "ranked.parquet", table)
    (block,) = ranked_blocks(tmp_path / "ranked.parquet")
    assert list(block) == [plain_heading(n) for n in helper.COLUMNS]
    for name, values in helper.block(table).items():
        np.testing.assert_array_equal(block[name], values)
    assert plain_heading("safe pressure [MPa]") == "safe_pressure" and plain_heading("row") == "row"


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(DISPOSITIONS), st.sampled_from([np.inf, 0.0, 180.0, 365.0]),
                          st.floats(0.5, 2), st.sampled_from(["", "", "g1", "g2"]), st.booleans()), max_size=14),
       st.sampled_from([None, 1, 3]), st.sampled_from([1, 3, 50]))
def test_every_row_that_asks_is_dug_or_left_with_a_reason_whatever_the_blocks(tmp_path_factory, given_rows, most, size):
    table = helper.rows(*({"disposition": d, "deadline days [d]": t, "repair factor": f, "repair": g,
                           "under repair": "HB-07-r1" if u else ""} for d, t, f, g, u in given_rows))
    text = "[select]\nrepair_factor_above = 1.2\n" + (f"most = {most}\n" if most else "")
    plan = load_campaign(helper.campaign(tmp_path_factory.mktemp("c"), 1, text))
    s = select(blocks(table, size), plan)
    dug, left = [r["row"] for c in s.chosen for r in c.rows], [x.row["row"] for x in s.left]
    assert len({*dug, *left}) == len(dug) + len(left)
    asks = {r["row"] for r in table if r["disposition"] in REPAIRS or np.isfinite(r["deadline days [d]"])}
    assert asks <= {*dug, *left} and all(x.reason for x in s.left)
    assert most is None or len(s.chosen) <= most
    assert not {r["row"] for r in table if r["under repair"]} & set(dug)
    assert [c.lead["row"] for c in s.chosen] == sorted(c.lead["row"] for c in s.chosen)
    again = select(blocks(table, 50), plan)
    assert (ids(again), reasons(again), again.undecided) == (ids(s), reasons(s), s.undecided)
    assert selection.NO_DATA in DISPOSITIONS
