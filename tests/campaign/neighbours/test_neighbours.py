"""Neighbours of a listing: against brute force, under any order, and as a single case does it."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc.campaign.neighbours.neighbours import COLUMNS, PLACES, Convention, as_one, edges, interacting
from wrapcalc.campaign.neighbours.wraps import COLUMNS as WRAP_COLUMNS
from wrapcalc.campaign.neighbours.wraps import Wraps, touching
from wrapcalc.campaign.rows.strength import NO_DATA, REPAIR
from wrapcalc.case.boxes import shortest_arc
from wrapcalc.case.pits import read_pits, rejoined
from wrapcalc.errors import CalculationError, CaseFaults

D, T = 406.4, 8.74
AROUND = math.pi * D
SIX_T = Convention("6t", "upstream end")


def rows_of(*places, **more):
    """Rows of (survey, length, clock, width, depth)."""
    columns = np.array(places, dtype=float).reshape(-1, 5).T
    n = columns.shape[1]
    out = dict(zip(("survey", "length", "clock", "width", "depth"), columns, strict=True))
    out |= {"row": np.arange(2, n + 2), "feature_id": np.array([f"F{i}" for i in range(n)], dtype=object),
            "kind": np.full(n, "external metal loss", dtype=object), "joint": np.full(n, "1", dtype=object),
            "weld": np.full(n, "", dtype=object), "nominal_wall": np.full(n, T), "sound_wall": np.full(n, T),
            "group": np.zeros(n, dtype=int), "from_upstream_weld": out["survey"] - 100.0,
            "from_downstream_weld": 12_000 - out["survey"]}
    for name, values in more.items():
        out[name] = np.array(values, dtype=out[name].dtype)
    return out


def together(found, rows):
    return {frozenset(rows["feature_id"][list(g.rows)]) for g in found.groups}


def brute(rows, axial, around):
    """Independent: join any two groups whose boxes are within both gaps, until none is; all pairs, no sorting."""
    boxes = [([i], rows["survey"][i], rows["survey"][i] + rows["length"][i],
              (rows["clock"][i] / 12 * AROUND - rows["width"][i] / 2) % AROUND, rows["width"][i])
             for i in range(len(rows["survey"]))]
    while True:
        for a, b in itertools.combinations(boxes, 2):
            ahead = (b[3] - a[3]) % AROUND
            gap = min(ahead - a[4], AROUND - ahead - b[4])
            if max(b[1] - a[2], a[1] - b[2]) <= axial + 1e-6 and gap <= around + 1e-6:
                members = a[0] + b[0]
                y0 = np.array([(rows["clock"][i] / 12 * AROUND - rows["width"][i] / 2) % AROUND for i in members])
                low, high = shortest_arc(y0, y0 + rows["width"][members], AROUND)
                boxes = [c for c in boxes if c is not a and c is not b]
                boxes.append((members, min(a[1], b[1]), max(a[2], b[2]), low % AROUND, high - low))
                break
        else:
            return {frozenset(rows["feature_id"][b[0]]) for b in boxes if len(b[0]) > 1}


place = st.tuples(st.integers(0, 2500), st.integers(5, 120), st.integers(0, 719).map(lambda m: m / 60),
                  st.integers(5, 200), st.integers(1, 60).map(lambda d: d / 10))


@settings(max_examples=150, deadline=None)
@given(places=st.lists(place, min_size=2, max_size=30), name=st.sampled_from(["3t", "6t", "1 in x 6t"]))
def test_groups_are_those_of_brute_force(places, name):
    rows = rows_of(*places)
    axial, around = {"3t": (3 * T, 3 * T), "6t": (6 * T, 6 * T), "1 in x 6t": (25.4, 6 * T)}[name]
    assert together(interacting(rows, D, Convention(name, "upstream end")), rows) == brute(rows, axial, around)


def test_a_long_line_is_grouped_as_brute_force_does_stretch_by_stretch():
    rng = np.random.default_rng(5)
    n = 400
    rows = rows_of(*zip(rng.uniform(0, 40_000, n), rng.uniform(5, 90, n), rng.uniform(0, 12, n),
                        rng.uniform(5, 120, n), rng.uniform(1, 5, n), strict=True))
    found = interacting(rows, D, SIX_T)
    assert together(found, rows) == brute(rows, 6 * T, 6 * T) and len(found.groups) > 5
    assert [g.x0 for g in found.groups] == sorted(g.x0 for g in found.groups)


@settings(max_examples=50, deadline=None)
@given(places=st.lists(place, min_size=2, max_size=25), seed=st.integers(0, 99))
def test_the_order_of_the_rows_does_not_matter(places, seed):
    rows = rows_of(*places)
    order = np.random.default_rng(seed).permutation(len(places))
    shuffled = {k: v[order] for k, v in rows.items()}
    a, b = (interacting(r, D, Convention("6t")) for r in (rows, shuffled))
    assert together(a, rows) == together(b, shuffled) and a.told == b.told
    sizes = [sorted((g.x0, g.x1, g.depth, round(g.width, 6)) for g in f.groups) for f in (a, b)]
    assert sizes[0] == sizes[1]
    assert [frozenset(np.flatnonzero(b.of_row == k)) for k in range(len(b.groups))] == [
        frozenset(g.rows) for g in b.groups]


def test_anomalies_act_as_one_right_across_12_o_clock():
    rows = rows_of((0, 50, 11.9, 20, 2), (70, 50, 0.1, 20, 3))
    (g,) = interacting(rows, D, SIX_T).groups
    assert g.rows == (0, 1) and g.length == 120 and g.depth == 3
    assert g.width == pytest.approx(0.2 / 12 * AROUND + 20) and min(g.clock, 12 - g.clock) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(("name", "axial"), [("3t", 3 * T), ("6t", 6 * T), ("1 in x 6t", 25.4),
                                             ("2 sqrt(Dt)", 2 * math.sqrt(D * T))])
def test_the_gap_of_the_named_rule_parts(name, axial):
    for gap, joined in ((axial - 0.01, 1), (axial + 0.01, 0)):
        rows = rows_of((0, 50, 3, 20, 2), (50 + gap, 50, 3, 20, 3))
        assert len(interacting(rows, D, Convention(name, "upstream end")).groups) == joined


def test_own_gaps_and_the_allowance_on_the_lengths_count():
    rows = rows_of((0, 50, 3, 20, 2), (75, 50, 3, 20, 3))
    own = {"rule": "own", "place": "upstream end", "own": (20.0, 20.0)}
    assert not interacting(rows, D, Convention(**own)).groups
    (g,) = interacting(rows, D, Convention(**own, length_allowance=5.0)).groups
    assert g.length == 125  # as measured; the allowance is added by the assessment


def test_the_thicker_wall_of_two_neighbours_counts_as_in_a_single_case():
    rows = rows_of((0, 50, 3, 20, 2), (50 + 6 * 9.5, 50, 3, 20, 3), sound_wall=[8.0, 9.6])
    assert len(interacting(rows, D, SIX_T).groups) == 1
    rows["sound_wall"] = np.array([8.0, 9.4])
    assert not interacting(rows, D, SIX_T).groups


def test_which_edge_the_distance_is_of_decides_and_no_answer_takes_both():
    rows = rows_of((0, 300, 3, 20, 2), (340, 20, 3, 20, 3))  # gap: 40 from the end, 180 from the middle
    assert len(interacting(rows, D, Convention("6t", "upstream end")).groups) == 1
    assert not interacting(rows, D, Convention("6t", "middle")).groups
    both = interacting(rows, D, Convention("6t"))
    assert len(both.groups) == 1 and both.groups[0].length == 500  # from -150 to 350 read as the middle
    assert "does not say which edge" in both.told[0]
    with pytest.raises(CalculationError, match=r"'start'; allowed: upstream end"):
        Convention("6t", "start")
    x0, x1 = edges({"survey": np.array([10.0]), "length": np.array([4.0])}, "downstream end")
    assert (x0[0], x1[0]) == (6, 10) and len(PLACES) == 4


def test_without_a_named_rule_nothing_is_joined_but_it_is_told_what_would_be():
    rows = rows_of((0, 50, 3, 20, 2), (60, 50, 3, 20, 3), (5000, 50, 3, 20, 3))
    found = interacting(rows, D, Convention(None, "upstream end"))
    assert not found.groups and (found.of_row == -1).all()
    assert "names no rule of interaction" in found.told[0] and "By 6t 2 of them would act as one" in found.told[0]
    alone = interacting(rows_of((0, 50, 3, 20, 2)), D, Convention(None, "upstream end"))
    assert alone.told == ()


def test_a_rule_that_joins_all_of_a_line_is_refused():
    with pytest.raises(CaseFaults, match=r"base.toml: assessment.interaction: found 'all one'"):
        Convention("all one").refuse("base.toml")
    Convention("6t").refuse("base.toml")
    Convention(None).refuse("base.toml")


def test_what_is_not_known_is_told_and_the_safer_reading_taken():
    nan = math.nan
    rows = rows_of((0, 50, 3, 20, 2), (60, 50, nan, 20, 3), (120, 50, 9, 20, 1), (180, nan, 9, 20, 1))
    found = interacting(rows, D, SIX_T)
    assert together(found, rows) == {frozenset({"F0", "F1", "F2"})}  # F1 is taken all round
    assert found.told == ("1 anomalies without place, length or depth are left out of the rule of interaction: whether "
                          "they act as one with their neighbours is not known.",
                          "1 anomalies without width or clock are taken all round the pipe when neighbours are sought.")


def test_what_is_no_metal_loss_joins_nothing():
    rows = rows_of((0, 50, 3, 20, 2), (10, 50, 3, 20, 2), kind=["dent", "external metal loss"])
    assert not interacting(rows, D, SIX_T).groups
    assert not interacting(rows_of(), D, SIX_T).groups


def test_loss_from_within_under_or_beside_loss_from_without_adds_the_depths():
    """As `joined` does for the case of the group: screening and package must not judge by two depths."""
    rows = rows_of((0, 50, 3, 40, 2), (30, 50, 3, 40, 3), kind=["external metal loss", "internal metal loss"])
    (g,) = interacting(rows, D, SIX_T).groups
    assert g.both_sides and g.depth == 5
    rows["survey"] = np.array([0.0, 80.0])  # beside each other
    (g,) = interacting(rows, D, SIX_T).groups
    assert g.both_sides and g.depth == 5
    rows["kind"][:] = "external metal loss"
    (g,) = interacting(rows, D, SIX_T).groups
    assert not g.both_sides and g.depth == 3


@pytest.mark.parametrize(("kinds", "depth"), [
    # by hand, of depths 2, 3 and 4: a side that is not stated may be either, and no row is added to itself
    (("external metal loss", "metal loss", "external metal loss"), 7), (("internal metal loss", "metal loss"), 5),
    (("external metal loss", "metal loss", "metal loss"), 7), (("metal loss", "metal loss", "internal metal loss"), 7),
    (("external metal loss", "internal metal loss", "external metal loss"), 7), (("metal loss",) * 3, 4),
    (("internal metal loss",) * 3, 4)])
def test_loss_whose_side_is_not_stated_may_be_of_the_other_side(kinds, depth):
    n = len(kinds)
    rows = rows_of(*((30.0 * i, 50, 3, 40, 2 + i) for i in range(n)), kind=kinds)
    (g,) = interacting(rows, D, SIX_T).groups
    assert g.depth == depth and g.both_sides == (depth > 4)


def test_groups_without_any_side_are_counted_and_told():
    rows = rows_of((0, 50, 3, 40, 2), (30, 50, 3, 40, 3), (9000, 50, 3, 40, 2), (9030, 50, 3, 40, 3),
                   kind=["metal loss", "metal loss", "external metal loss", "metal loss"])
    assert interacting(rows, D, SIX_T).told == (
        "1 groups that act as one have no row whose side is stated: the loss counts as of one side, and depths are not "
        "added; where it may come from within and from without state the side.",)


# -- cut at a girth weld ------------------------------------------------------------------------------------------
def split_rows():
    return rows_of((0, 94, 3, 20, 2), (106, 60, 3, 20, 3), (400, 60, 3, 20, 3), weld=["20", "20", ""],
                   joint=["1", "2", "2"])


def test_pieces_at_one_weld_are_rejoined_as_a_single_case_does():
    how = Convention("3t", "upstream end", rejoin_gap=15.0)
    (g,) = interacting(split_rows(), D, how).groups
    table = read_pits(b"start mm,length mm,width mm,depth mm,clock,weld\n0,94,20,2,3:00,20\n106,60,20,3,3:00,20\n", "p")
    one = rejoined(table, 15.0, AROUND)  # the single case
    assert (g.length, g.depth, g.width) == pytest.approx((one.length[0], one.depth[0], one.width[0]))
    assert g.over_weld and "girth weld" in g.reason and g.rows == (0, 1)


def test_pieces_farther_apart_or_elsewhere_around_stay_two():
    far = Convention("own", "upstream end", own=(1.0, 1.0), rejoin_gap=10.0)
    assert not interacting(split_rows(), D, far).groups
    rows = split_rows()
    rows["clock"] = np.array([3.0, 5.0, 3.0])
    assert not interacting(rows, D, Convention("own", "upstream end", own=(1.0, 1.0), rejoin_gap=15.0)).groups


def test_without_a_gap_it_is_told_that_the_listing_parts_anomalies():
    found = interacting(split_rows(), D, Convention("own", "upstream end", own=(1.0, 1.0)))
    assert "parts anomalies at 1 girth welds; without defect.rejoin_gap" in found.told[0] and not found.groups


def test_rejoined_pieces_act_as_one_with_their_neighbours():
    rows = rows_of((0, 94, 3, 20, 2), (106, 60, 3, 20, 3), (200, 60, 3, 20, 1), weld=["20", "20", ""])
    (g,) = interacting(rows, D, Convention("6t", "upstream end", rejoin_gap=15.0)).groups
    assert g.rows == (0, 1, 2) and "rule of interaction" in g.reason


# -- judged again -------------------------------------------------------------------------------------------------
def judge(rows, group):
    """Stands in for a Screener: longer, deeper, thinner, in a higher group: less pressure; through the wall: none."""
    p = 12 - rows["depth"] - rows["length"] / 100 - (8.74 - rows["sound_wall"]) - group
    return {"safe_pressure": np.where(rows["depth"] > 7, np.nan, p),
            "disposition": np.where(rows["depth"] > 7, 3, np.where(p < 8, 2, 0)), "asked": rows["length"]}


def joined(rows, how=SIX_T):
    found = interacting(rows, D, how)
    return as_one(rows, found, judge(rows, rows["group"]), judge, how)


def test_the_lower_answer_governs_and_both_are_shown():
    out = joined(rows_of((0, 90, 3, 20, 2), (100, 90, 3, 20, 3), (5000, 90, 3, 20, 3)))
    assert len(out) == 1 and set(out.columns) == set(COLUMNS)
    c = {k: v[0] for k, v in out.columns.items()}
    assert (c["safe pressure before"], c["safe pressure after"], c["safe pressure"]) == pytest.approx((8.1, 7.1, 7.1))
    assert (c["disposition before"], c["disposition after"], c["disposition"]) == (0, 2, 2)
    assert (c["rows"], c["feature ids"], c["anomalies"]) == ("2 3", "F0 F1", 2)
    assert (c["from"], c["to"], c["length before"], c["length after"]) == (0, 190, 90, 190)
    assert "act as one by the rule of interaction" in c["reason"] and out.after["asked"][0] == 190


def test_an_answer_alone_that_is_lower_stays():
    def kinder(rows, group):
        return {"safe_pressure": np.full(len(group), 99.0), "disposition": np.zeros(len(group), int)}

    rows = rows_of((0, 90, 3, 20, 2), (100, 90, 3, 20, 6))
    out = as_one(rows, interacting(rows, D, SIX_T), judge(rows, rows["group"]), kinder, SIX_T)
    assert out.columns["safe pressure"][0] == pytest.approx(5.1) and out.columns["disposition"][0] == 2


def test_the_graver_disposition_stands_not_the_one_with_the_higher_code():
    def unknown(rows, group):
        return {"safe_pressure": np.full(len(group), np.nan), "disposition": np.full(len(group), NO_DATA)}

    rows = rows_of((0, 90, 3, 20, 2), (100, 90, 3, 20, 6))
    out = as_one(rows, interacting(rows, D, SIX_T), judge(rows, rows["group"]), unknown, SIX_T)
    assert NO_DATA > REPAIR and out.columns["disposition"].tolist() == [REPAIR]


def test_no_pressure_is_never_replaced_by_a_number():
    out = joined(rows_of((0, 90, 3, 20, 2), (100, 90, 3, 20, 7.5)))
    assert math.isnan(out.columns["safe pressure"][0]) and out.columns["disposition"][0] == 3
    both = joined(rows_of((0, 90, 3, 40, 4), (40, 90, 3, 40, 4), kind=["external metal loss", "internal metal loss"]))
    assert not math.isnan(both.columns["safe pressure before"][0]) and math.isnan(both.columns["safe pressure"][0])
    assert "the depths are added" in both.columns["reason"][0]


def test_a_group_in_two_stretches_of_the_line_is_judged_in_both_with_the_thinnest_wall():
    rows = rows_of((0, 90, 3, 20, 2), (100, 90, 3, 20, 3), group=[0, 1], sound_wall=[8.2, 8.74], joint=["1", "2"])
    out = joined(rows)
    assert out.columns["safe pressure after"][0] == pytest.approx(12 - 3 - 1.9 - 0.54 - 1)
    assert "goes over a girth weld" in out.columns["reason"][0]


def test_the_judge_sees_one_row_for_each_group_with_its_kind_and_nearest_weld():
    seen = {}

    def watch(rows, group):
        seen.update(rows)
        return judge(rows, group)

    rows = rows_of((110, 90, 11, 20, 2), (210, 90, 11, 20, 3), kind=["external metal loss", "metal loss"])
    for place, at in (("upstream end", 110), ("middle", 110 + 50), ("downstream end", 210)):
        how = Convention("6t", place)
        as_one(rows, interacting(rows, D, how), judge(rows, rows["group"]), watch, how)
        assert seen["kind"].tolist() == ["internal metal loss"] and seen["from_upstream_weld"].tolist() == [10]
        assert seen["length"][0] == 190 and seen["clock"][0] == pytest.approx(11)
        assert seen["survey"][0] == pytest.approx(at if place != "middle" else 110 - 45 + 95)


def test_nothing_to_join_gives_an_empty_table():
    rows = rows_of((0, 90, 3, 20, 2))
    out = joined(rows)
    assert len(out) == 0 and all(len(v) == 0 for v in out.columns.values())


# -- wraps that touch ---------------------------------------------------------------------------------------------
def wraps(*places, joint=None, end=45.0):
    """Wraps of (x0, x1, cover)."""
    x0, x1, cover = np.array(places, dtype=float).reshape(-1, 3).T
    n = len(x0)
    return Wraps(np.array([f"W{i}" for i in range(n)], dtype=object), x0, x1, cover, np.full(n, end),
                 np.array(joint or ["1"] * n, dtype=object), np.linspace(2, 4, n), np.linspace(6, 9, n),
                 np.linspace(8, 7, n))


def test_wraps_closer_than_the_sheet_allows_become_one_chained():
    got = touching(wraps((0, 100, 340), (640, 740, 340), (1180, 1280, 340), (3000, 3100, 340)), least_gap=310,
                   over_girth_weld=False)
    assert got.groups == ((0, 1, 2),) and got.of_wrap.tolist() == [0, 0, 0, 1] and not got.told
    c = {k: v[0] for k, v in got.columns.items()}
    assert set(c) == set(WRAP_COLUMNS) and c["gap"] == 200 and "closer than the system allows (310 mm)" in c["reason"]
    assert (c["from"], c["to"], c["length before"], c["length after"]) == (0, 1280, 100, 1280)
    assert (c["cover before"], c["cover after"], c["repairs"]) == (340, 1520, 3)
    assert c["safe pressure after"] == c["safe pressure before"] == pytest.approx(8 - 2 / 3)
    assert c["layers after"] == 8 and c["feature ids"] == "W0 W1 W2"


def test_a_short_wrap_inside_a_long_one_does_not_hide_what_the_long_one_reaches():
    got = touching(wraps((0, 1600, 1800), (400, 500, 300), (1950, 2050, 300)), least_gap=210, over_girth_weld=False)
    assert got.groups == ((0, 1, 2),)  # 150 mm from the long one, 1300 mm from the short one


@pytest.mark.parametrize(("gap", "joined"), [(209.9, 1), (210.0, 0), (210.1, 0)])
def test_the_least_gap_itself_is_allowed(gap, joined):
    got = touching(wraps((0, 100, 340), (340 + gap, 440 + gap, 340)), least_gap=210, over_girth_weld=False)
    assert len(got.groups) == joined


def test_ends_that_would_touch_join_where_the_sheet_has_a_smaller_gap():
    close = wraps((0, 100, 340), (400, 500, 340))  # 60 mm between full thicknesses, two ends of 45 mm
    got = touching(close, least_gap=50, over_girth_weld=False)
    assert len(got.groups) == 1 and got.columns["reason"][0] == "the ends of their wraps would touch"
    assert not touching(wraps((0, 100, 340), (400, 500, 340), end=30.0), least_gap=50, over_girth_weld=False).groups


def test_over_a_girth_weld_wraps_stay_apart_and_that_is_told():
    two = wraps((0, 100, 340), (300, 400, 340), joint=["1", "2"])
    got = touching(two, least_gap=210, over_girth_weld=False)
    assert not got.groups and "1 pairs of repairs would come too close over a girth weld" in got.told[0]
    assert "W0 and W1" in got.told[0]
    may = touching(two, least_gap=210, over_girth_weld=True)
    assert may.groups == ((0, 1),) and 'service.inside_repair = "girth weld"' in may.told[0]


def test_a_joint_that_is_not_known_is_no_reason_to_join():
    got = touching(wraps((0, 100, 340), (300, 400, 340), joint=["", ""]), least_gap=210, over_girth_weld=False)
    assert not got.groups and "or where the joint is not known" in got.told[0]


@settings(max_examples=100, deadline=None)
@given(places=st.lists(st.tuples(st.integers(0, 6000), st.integers(10, 300), st.integers(300, 800)), min_size=1,
                       max_size=15), seed=st.integers(0, 9))
def test_joined_wraps_are_those_of_brute_force_in_any_order(places, seed):
    w = wraps(*((x, x + length, length + cover) for x, length, cover in places))
    low, high = (w.x0 + w.x1) / 2 - w.cover / 2, (w.x0 + w.x1) / 2 + w.cover / 2
    label = list(range(len(places)))  # independent: all pairs, until nothing changes
    for _ in places:
        for i, j in itertools.permutations(range(len(places)), 2):
            apart = low[j] - high[i]
            if low[j] >= low[i] and (apart < 210 - 1e-6 or apart < 90 - 1e-6):
                label[i] = label[j] = min(label[i], label[j])
    got = touching(w, least_gap=210, over_girth_weld=False)
    pairs = itertools.combinations(range(len(places)), 2)
    assert all((got.of_wrap[i] == got.of_wrap[j]) == (label[i] == label[j]) for i, j in pairs)
    order = np.random.default_rng(seed).permutation(len(places))
    again = touching(Wraps(*(getattr(w, f)[order] for f in Wraps.__dataclass_fields__)), least_gap=210,
                     over_girth_weld=False)
    assert (again.of_wrap == got.of_wrap[order]).all()


def test_a_wrap_without_place_or_cover_is_refused():
    with pytest.raises(CalculationError, match="leave out what has no wrap"):
        wraps((0, 100, math.nan))
    empty = touching(wraps(), least_gap=210, over_girth_weld=False)
    assert empty.groups == () and all(len(v) == 0 for v in empty.columns.values())
