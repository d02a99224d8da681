"""Bends, valves and the like beside an anomaly: the nearest of them bounds the clear pipe, and the case says so."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.helpers.line import BASE, block, line, welds_at
from wrapcalc.campaign.cases.row_case import bundle_of, row_case
from wrapcalc.campaign.line.joints import Welds
from wrapcalc.campaign.listing.blocks import Block
from wrapcalc.campaign.neighbours import features_beside as beside
from wrapcalc.campaign.neighbours.joined import joined
from wrapcalc.campaign.neighbours.neighbours import DOWNSTREAM_END, MIDDLE, NOT_STATED, PLACES, UPSTREAM_END
from wrapcalc.stages import job

ROW = {"log_distance": 605_000.0, "depth_share": 0.4, "length": 100.0, "width": 50.0, "clock": 4.5}
WELDS = welds_at(600, 612)
NO_POINTS = ""


def feature(metres, kind="bend", **more):
    return {"kind": kind, "log_distance": 1000 * metres} | more


def resolved(tmp_path, *features, row=None, place="upstream end", **how):
    """(line, the row as the line resolves it) beside girth welds at 600 m and 612 m."""
    at = line(tmp_path, more=NO_POINTS, listing=f'place = "{place}"' if place else "", **how)
    rows, faults = at.resolve(block(ROW | (row or {})), Welds.collect([block(*WELDS, *features)]))
    assert faults == []
    return at, {n: v[0] for n, v in rows.items()}


def sides(row):
    return tuple(pytest.approx(row[f"clear_{s}"]) for s in ("upstream", "downstream"))


# -- one row ------------------------------------------------------------------------------------------------------
def test_the_nearest_feature_on_each_side_bounds_the_clear_pipe_and_is_named(tmp_path):
    _, row = resolved(tmp_path, feature(602), feature(604.8, length=150.0), feature(608, "valve"),
                      feature(609, "other"))
    assert sides(row) == (50, 2900)  # by hand: 605 - 604.95 m; 608 - 605.1 m
    assert row["beside_upstream"] == "bend at 604.800 m of the log"
    assert row["beside_downstream"] == "valve at 608.000 m of the log" and row["inside"] == ""


def test_without_a_feature_in_the_joint_the_girth_welds_bound_it(tmp_path):
    _, row = resolved(tmp_path, feature(590), feature(620))
    assert sides(row) == (5000, 6900) and row["beside_upstream"] == row["beside_downstream"] == ""


@pytest.mark.parametrize("kind", beside.KINDS)
def test_every_kind_that_is_neither_anomaly_nor_girth_weld_counts(tmp_path, kind):
    _, row = resolved(tmp_path, feature(605.3, kind))
    assert sides(row) == (5000, 200)
    assert row["beside_downstream"] == f"{'other feature' if kind == 'other' else kind} at 605.300 m of the log"


@pytest.mark.parametrize(("place", "up", "down"), [
    # by hand: row 100 mm at 605 m, bends 400 mm at 604 m and 606 m
    (UPSTREAM_END, 1000 - 400, 1000 - 100), (MIDDLE, 1000 - 50 - 200, 1000 - 50 - 200),
    (DOWNSTREAM_END, 1000 - 100, 1000 - 400), (NOT_STATED, 1000 - 50 - 400, 1000 - 100 - 200)])
def test_both_lie_as_the_mapping_says_and_at_the_outer_reading_where_it_does_not(tmp_path, place, up, down):
    _, row = resolved(tmp_path, feature(604, length=400.0), feature(606, length=400.0),
                      place="" if place == NOT_STATED else place)
    assert sides(row) == (up, down)


@pytest.mark.parametrize("at", [604.6, 604.8, 605.02, 605.1])
@pytest.mark.parametrize(("kind", "inside"), [("bend", "bend"), ("valve", "fitting"), ("fitting", "fitting"),
                                              ("repair", ""), ("marker", ""), ("other", "")])
def test_where_one_lies_over_it_nothing_is_clear_and_the_case_says_what_is_inside(tmp_path, at, kind, inside):
    """It covers the row, touches an edge of it, or lies inside it."""
    own, row = resolved(tmp_path, feature(at, kind, length=400.0 if at < 605 else 10.0))
    assert sides(row) == (0, 0) and row["inside"] == inside
    assert row["beside_upstream"].startswith("over it: ") and row["beside_downstream"].startswith("over it: ")
    case = bundle_of(own, row_case(own, row, "F-1", "loss")).case
    assert case.service.inside_repair == (inside or "nothing")
    assert case.defect.clear_upstream.base == case.defect.clear_downstream.base == 0
    assert case.defect.clear_upstream.source.startswith("over it: ")
    if inside:
        assert f"over it: {kind} at {at:.3f} m of the log" in case.service.inside_repair.source


def test_of_several_over_it_the_one_that_is_not_covered_is_named(tmp_path):
    _, row = resolved(tmp_path, feature(604.9, "marker", length=900.0), feature(605.01), feature(605.05, "valve"))
    assert row["inside"] == "fitting" and row["beside_upstream"] == "over it: valve at 605.050 m of the log"


def test_what_the_base_case_says_is_inside_stays_where_it_is_graver(tmp_path):
    base = BASE.replace('inside_repair = "nothing"', 'inside_repair = "corroded seam"')
    at, row = resolved(tmp_path, feature(605.01), base=base)
    assert bundle_of(at, row_case(at, row, "F-1", "loss")).case.service.inside_repair == "corroded seam"
    for stated, listed, graver in (("nothing", "bend", "bend"), (None, "fitting", "fitting"), ("tee", "bend", "tee"),
                                   ("bend", "fitting", "fitting"), ("girth weld", "bend", "bend")):
        assert beside.graver_inside(stated, listed) == graver


@pytest.mark.parametrize("kind", ["bend", "valve"])
def test_the_single_case_of_a_row_in_a_bend_or_valve_never_clears_it(tmp_path, kind):
    shallow = {"depth_share": 0.15}
    at, row = resolved(tmp_path, row=shallow)
    assert job.run(bundle_of(at, row_case(at, row, "F-1", "loss"))).decision.word == "no repair needed"
    at, row = resolved(tmp_path, feature(604.9, kind, length=900.0), row=shallow)
    assert job.run(bundle_of(at, row_case(at, row, "F-1", "loss"))).decision.word != "no repair needed"


def test_a_row_without_length_has_no_clear_pipe_that_is_known_unless_one_lies_over_it(tmp_path):
    _, row = resolved(tmp_path, feature(605.5), row={"length": math.nan})
    assert math.isnan(row["clear_upstream"]) and math.isnan(row["clear_downstream"])
    _, row = resolved(tmp_path, feature(604.9, length=300.0), row={"length": math.nan})
    assert sides(row) == (0, 0) and row["inside"] == "bend"


def test_against_the_flow_the_sides_are_turned(tmp_path):
    points = '[[reference_point]]\nlog = "0 m"\nsurvey = "1000 m"\n[[reference_point]]\nlog = "1000 m"\nsurvey = "0 m"'
    at = line(tmp_path, more=points, listing='place = "upstream end"', line='reversed = "yes"')
    rows, _ = at.resolve(block(ROW), Welds.collect([block(*WELDS, feature(604), feature(607, "valve"))]))
    # by hand: the place that the tool met first is the downstream end; the row is 394.9 to 395 m, the bend at 396 m
    assert (rows["clear_upstream"][0], rows["clear_downstream"][0]) == (pytest.approx(1900), pytest.approx(1000))
    assert rows["beside_downstream"][0] == "bend at 604.000 m of the log"


# -- other damage -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("kind", beside.DAMAGE)
@pytest.mark.parametrize("clock", [4.5, 10.5])
def test_other_damage_beside_metal_loss_bounds_the_clear_pipe_at_any_clock(tmp_path, kind, clock):
    at, row = resolved(tmp_path, feature(604.8, kind, length=150.0, clock=clock),
                       feature(605.3, kind, length=40.0, clock=clock))
    assert sides(row) == (50, 200)  # by hand: 605 - 604.95 m; 605.3 - 605.1 m
    assert row["beside_upstream"] == f"{kind} at 604.800 m of the log" and row["inside"] == ""
    case = bundle_of(at, row_case(at, row, "F-1", "loss")).case
    assert case.defect.clear_downstream.base == 200
    assert case.defect.clear_downstream.source.startswith(f"{kind} at 605.300 m of the log")
    assert ("1 row (row 2): a dent, gouge or crack lies beside the metal loss or over it, at whatever clock, nearer "
            "than the girth weld: a wrap must end before it, see beside upstream and beside downstream.") in at.told
    assert not any("or other feature" in t for t in at.told)


def test_other_damage_over_metal_loss_leaves_no_pipe_clear(tmp_path):
    _, row = resolved(tmp_path, feature(605.05, "dent", length=10.0, clock=10.5),
                      feature(604.9, "marker", length=900.0))
    assert sides(row) == (0, 0) and row["inside"] == ""
    assert row["beside_upstream"] == row["beside_downstream"] == "over it: dent at 605.050 m of the log"
    _, row = resolved(tmp_path, feature(605.05, "dent", length=10.0), feature(605.01, "bend"))
    assert row["inside"] == "bend" and row["beside_upstream"] == "over it: bend at 605.010 m of the log"


@pytest.mark.parametrize("kind", beside.DAMAGE)
def test_other_damage_bounds_nothing_but_metal_loss_nor_itself(tmp_path, kind):
    own = feature(605, kind, length=100.0)
    _, row = resolved(tmp_path, own, feature(605.3, "dent"), feature(606, "valve"), row={"kind": kind})
    assert sides(row) == (5000, 900) and row["beside_downstream"] == "valve at 606.000 m of the log"
    for loss in ("external metal loss", "internal metal loss", "metal loss"):
        _, row = resolved(tmp_path, feature(605.3, "dent"), row={"kind": loss})
        assert sides(row) == (5000, 200)


def test_other_damage_between_rows_that_become_one_leaves_nothing_clear():
    name = "dent at 1.120 m of the log"
    row = joined([member(2, 1000.0, clear_downstream=20.0, beside_downstream=name),
                  member(3, 1150.0, clear_upstream=30.0, beside_upstream=name)], 406.4, UPSTREAM_END).row
    assert (row["clear_upstream"], row["clear_downstream"]) == (0, 0)
    assert row["beside_upstream"] == f"over it: {name}" and beside.inside_of(row["beside_upstream"]) == ""


def test_other_damage_without_length_counts_as_a_point_and_is_told(tmp_path):
    assert "2 dent, 1 valve; each counts as a point" in " ".join(Welds.collect([block(
        *WELDS, feature(604, "dent"), feature(605, "dent"), feature(606, "valve"))]).told)


# -- told ---------------------------------------------------------------------------------------------------------
def test_features_without_length_or_distance_are_told_with_their_kinds():
    told = Welds.collect([block(*WELDS, feature(604), feature(605), feature(606, "valve"), feature(607, length=30.0)),
                          block(feature(math.nan, "repair", length=900.0))]).told
    assert told == (
        "Features beside the anomalies that have no distance: 1 repair; they bound no clear pipe: see where they are "
        "before a wrap is laid near them.",
        "Features beside the anomalies that have no length: 2 bend, 1 valve; each counts as a point: see how far it "
        "reaches before a wrap is laid near it.")


def test_rows_that_features_bound_are_told_by_count(tmp_path):
    at = line(tmp_path, more=NO_POINTS, listing='place = "upstream end"')
    rows = block(*(ROW | {"log_distance": 1000.0 * x} for x in (602, 604, 606, 608)))
    at.resolve(rows, Welds.collect([block(*WELDS, feature(601), feature(604.05, "valve"))]))
    told = " ".join(at.told)
    assert "1 row (row 3): a bend, valve, fitting, repair, marker or other feature of the listing lies over it" in told
    assert "1 row (row 3): a bend, valve or fitting lies over it: its case says so" in told
    assert "3 rows (rows 2, 4, 5): a bend, valve, fitting, repair, marker or other feature lies nearer than" in told


# -- brute force --------------------------------------------------------------------------------------------------
@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2 ** 32 - 1), st.sampled_from(PLACES))
def test_the_nearest_feature_is_that_of_a_plain_search(seed, place):
    """Independent: every row against every feature, one by one, from the words of the brief."""
    random = np.random.default_rng(seed)
    n, rows = int(random.integers(0, 30)), 40
    log, length = random.integers(0, 20_000, n) * 1.0, random.choice([np.nan, 0.0, 50.0, 700.0, 9000.0], n)
    kind = random.choice(np.array((*beside.KINDS, *beside.DAMAGE), object), n)
    made = beside.Collector()
    made.add(block(*({"kind": k, "log_distance": x, "length": w}
                     for k, x, w in zip(kind.tolist(), log.tolist(), length.tolist(), strict=True))))
    found = beside.Beside(made.features(), lambda x: (np.asarray(x), None), place)
    x0 = random.integers(0, 20_000, rows) * 1.0
    x1 = x0 + random.choice([0.0, 20.0, 800.0], rows)
    got = found.bound(x0, x1)
    ahead = {UPSTREAM_END: (0, 1), MIDDLE: (0.5, 0.5), DOWNSTREAM_END: (1, 0), NOT_STATED: (0.5, 1)}[place]
    boxes = [(a - ahead[0] * (0 if np.isnan(w) else w), a + ahead[1] * (0 if np.isnan(w) else w), k)
             for a, w, k in zip(log.tolist(), length.tolist(), kind.tolist(), strict=True)]
    for i in range(rows):
        over = [k for a, b, k in boxes if a <= x1[i] and b >= x0[i]]
        assert got["over"][i] == bool(over)
        word = "fitting" if {"fitting", "valve"} & {*over} else "bend" if "bend" in over else ""
        assert got["inside"][i] == word
        up = min((x0[i] - b for _, b, _ in boxes if b < x0[i]), default=math.inf)
        down = min((a - x1[i] for a, _, _ in boxes if a > x1[i]), default=math.inf)
        assert (got["room_upstream"][i], got["room_downstream"][i]) == ((0, 0) if over else (up, down))
        for side, room in (("upstream", up), ("downstream", down)):
            assert bool(got[f"beside_{side}"][i]) == (bool(over) or room < math.inf)
            assert beside.inside_of(got[f"beside_{side}"][i]) == word
    plain, found = found.without_damage.bound(x0, x1), boxes
    for i in range(rows):  # the same without other damage
        boxes = [b for b in found if b[2] not in beside.DAMAGE]
        assert plain["over"][i] == any(a <= x1[i] and b >= x0[i] for a, b, _ in boxes)
        assert plain["inside"][i] == got["inside"][i]
        if not plain["over"][i]:
            assert plain["room_downstream"][i] == min((a - x1[i] for a, _, _ in boxes if a > x1[i]), default=math.inf)


@settings(max_examples=20, deadline=None)
@given(st.permutations(range(11)), st.integers(1, 11))
def test_the_order_of_the_features_and_the_blocks_change_nothing(order, size):
    rows = [*WELDS, *(feature(x, k, length=w) for x, k, w in (
        (604, "bend", math.nan), (604, "valve", math.nan), (604, "bend", 80.0), (605, "other", 10.0),
        (605.2, "marker", math.nan), (606, "repair", 900.0), (607, "fitting", 20.0),
        (604, "dent", math.nan), (604, "crack", 80.0)))]

    def collected(order, size):
        whole = block(*(rows[i] for i in order))
        return Welds.collect(Block(whole.row[i:i + size], {n: v[i:i + size] for n, v in whole.columns.items()}, [])
                             for i in range(0, 11, size))

    plain, mixed = collected(range(11), 11), collected(order, size)
    assert plain.told == mixed.told
    for name in ("log", "length", "kind"):
        a, b = getattr(plain.features, name), getattr(mixed.features, name)
        assert np.array_equal(a, b, equal_nan=a.dtype.kind == "f")


# -- several rows -------------------------------------------------------------------------------------------------
def member(i, survey, **more):
    return {"row": i, "feature_id": f"F{i}", "kind": "external metal loss", "survey": survey, "length": 100.0,
            "width": 50.0, "depth": 3.0, "clock": 6.0, "nominal_wall": 8.74, "sound_wall": math.nan, "weld": "",
            "clear_upstream": 900.0, "clear_downstream": 900.0, "beside_upstream": "", "beside_downstream": ""} | more


def test_a_feature_between_two_rows_that_become_one_leaves_nothing_clear():
    name = "bend at 1.120 m of the log"
    first = member(2, 1000.0, clear_downstream=20.0, beside_downstream=name)
    second = member(3, 1150.0, clear_upstream=30.0, beside_upstream=name)
    row = joined([first, second], 406.4, UPSTREAM_END).row
    assert (row["clear_upstream"], row["clear_downstream"]) == (0, 0)
    assert row["beside_upstream"] == row["beside_downstream"] == f"over it: {name}"
    assert beside.inside_of(row["beside_upstream"]) == "bend"


def test_rows_that_become_one_keep_the_nearest_feature_on_each_side():
    first = member(2, 1000.0, clear_upstream=40.0, beside_upstream="valve at 0.960 m of the log")
    second = member(3, 1150.0, clear_downstream=70.0, beside_downstream="bend at 1.320 m of the log")
    row = joined([first, second], 406.4, UPSTREAM_END).row
    assert (row["clear_upstream"], row["clear_downstream"]) == (40, 70)
    assert (row["beside_upstream"], row["beside_downstream"]) == ("valve at 0.960 m of the log",
                                                                  "bend at 1.320 m of the log")


def test_one_row_inside_a_valve_puts_the_whole_inside_it():
    over = "over it: valve at 1.010 m of the log"
    first = member(2, 1000.0, clear_upstream=0.0, clear_downstream=0.0, beside_upstream=over, beside_downstream=over)
    row = joined([member(3, 1150.0), first], 406.4, UPSTREAM_END).row
    assert (row["clear_upstream"], row["clear_downstream"]) == (0, 0)
    assert beside.inside_of(row["beside_upstream"]) == "fitting"
