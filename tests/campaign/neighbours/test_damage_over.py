"""Dents, gouges and cracks over metal loss: found by their boxes, and neither judged as if it were alone."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.helpers.line import BASE as PLAIN
from tests.helpers.line import block, line, welds_at
from wrapcalc.campaign.cases.row_case import bundle_of, row_case
from wrapcalc.campaign.line.joints import Welds
from wrapcalc.campaign.neighbours import damage_over
from wrapcalc.campaign.neighbours.joined import joined
from wrapcalc.campaign.neighbours.neighbours import (
    DOWNSTREAM_END,
    MIDDLE,
    NOT_STATED,
    PLACES,
    UPSTREAM_END,
    Convention,
    interacting,
)
from wrapcalc.campaign.rows.judging import Judge
from wrapcalc.campaign.rows.other_damage import OtherDamage
from wrapcalc.campaign.rows.strength import DISPOSITIONS
from wrapcalc.campaign.screening.repairs import convention
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages import job
from wrapcalc.stages.assessment.disposition import dispose
from wrapcalc.standards.criteria import NO_DATA

D = 406.4
BASE = PLAIN.replace('class_location = "2"', 'class_location = "2"\nhigh_consequence_area = "no"')
RING = math.pi * D
LOSS = {"log_distance": 605_000.0, "depth_share": 0.3, "length": 100.0, "width": 50.0, "clock": 12.0,
        "feature_id": "L1"}
DENT = {"kind": "dent", "log_distance": 605_050.0, "length": 60.0, "width": 60.0, "clock": 12.0, "depth": 6.0,
        "feature_id": "D1"}


def arrays(*rows):
    """Rows as a line resolves them: survey, length, width, clock in mm and hours."""
    full = [{"feature_id": f"F{i}", "depth": 2.0, "length": 50.0, "width": 40.0, "clock": 6.0} | r
            for i, r in enumerate(rows)]
    out = {n: np.array([r[n] for r in full], float) for n in ("survey", "length", "width", "clock", "depth")}
    out |= {n: np.array([r[n] for r in full], object) for n in ("kind", "feature_id")}
    return out | {"log_distance": out["survey"]}


def pairs(rows, place=UPSTREAM_END, allowance=0.0):
    found = damage_over.links(rows, np.full(len(rows["kind"]), D), Convention(None, place, length_allowance=allowance))
    return sorted(zip(found.damage.tolist(), found.under.tolist(), strict=True))


def loss(survey, **more):
    return {"kind": "external metal loss", "survey": survey} | more


def dent(survey, **more):
    return {"kind": "dent", "survey": survey} | more


# -- which rows ---------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("place", "gap", "over"), [
    # by hand: loss 50 mm at 1000, dent 50 mm at 1000 + gap
    (UPSTREAM_END, 50, True), (UPSTREAM_END, 51, False), (UPSTREAM_END, -50, True), (UPSTREAM_END, -51, False),
    (MIDDLE, 50, True), (MIDDLE, 51, False), (DOWNSTREAM_END, 50, True), (DOWNSTREAM_END, 51, False),
    (NOT_STATED, 75, True), (NOT_STATED, 76, False), (NOT_STATED, -75, True), (NOT_STATED, -76, False)])
def test_along_the_pipe_the_outer_reading_counts(place, gap, over):
    assert pairs(arrays(loss(1000), dent(1000 + gap)), place) == ([(1, 0)] if over else [])


def test_the_allowance_on_the_length_counts_for_the_loss():
    rows = arrays(loss(1000), dent(1054))
    assert pairs(rows, allowance=7.0) == [] and pairs(rows, allowance=8.0) == [(1, 0)]


@pytest.mark.parametrize(("hours", "over"), [(0.0, True), (1.37, True), (1.38, False), (-1.37, True), (6.0, False)])
def test_around_the_pipe_one_hour_is_allowed_for(hours, over):
    """By hand: both 40 mm wide, half of each is 0.188 h of 1276.7 mm; with one hour between them 1.376 h."""
    for clock in (6.0, 11.9):
        rows = arrays(loss(1000, clock=clock), dent(1000, clock=(clock + hours) % 12))
        assert pairs(rows) == ([(1, 0)] if over else [])


@pytest.mark.parametrize("blank", [{"clock": math.nan}, {"width": math.nan}])
def test_without_clock_or_width_a_row_lies_all_round_the_pipe(blank):
    assert pairs(arrays(loss(1000, clock=6.0), dent(1000, clock=12.0))) == []
    assert pairs(arrays(loss(1000), dent(1000, clock=12.0, width=5.0) | blank)) == [(1, 0)]
    assert pairs(arrays(loss(1000, clock=12.0, width=5.0) | blank, dent(1000))) == [(1, 0)]


def test_a_dent_without_length_reaches_one_diameter_and_that_is_told():
    for gap, over in ((406, True), (407, False)):
        rows = arrays(loss(1000), dent(1050 + gap, length=math.nan))
        assert pairs(rows) == ([(1, 0)] if over else [])
    told = damage_over.links(rows, np.full(2, D), Convention(None, UPSTREAM_END)).told
    assert told == ("1 dents, gouges or cracks have no length: each is taken to reach one outside diameter either way "
                    "when the metal loss under it is sought.",)


def test_a_gouge_or_crack_in_a_dent_is_a_stress_riser_but_not_in_one_another():
    rows = arrays(dent(1000), {"kind": "gouge", "survey": 1010}, {"kind": "crack", "survey": 1020}, loss(9000))
    assert pairs(rows) == [(0, 1), (0, 2)]


def test_the_other_row_is_named_and_the_deepest_loss_under_it_is_kept():
    rows = arrays(loss(1000, depth=2.0), loss(1010, depth=3.5), dent(1020), {"kind": "crack", "survey": 1005.0},
                  loss(9000))
    found = damage_over.links(rows, np.full(5, D), Convention(None, UPSTREAM_END))
    assert found.names.tolist() == ["crack F3 at 1.005 m of the log, 2 mm deep and 1 more",
                                    "crack F3 at 1.005 m of the log, 2 mm deep and 1 more",
                                    "crack F3 at 1.005 m of the log, 2 mm deep and 2 more",
                                    "dent F2 at 1.020 m of the log, 2 mm deep and 2 more", ""]
    assert found.loss_under[[2, 3]].tolist() == [3.5, 3.5] and np.isnan(found.loss_under[[0, 1, 4]]).all()
    assert found.riser.tolist() == [False, False, True, True, False]


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2 ** 32 - 1), st.sampled_from(PLACES), st.sampled_from([0.0, 30.0]),
       st.sampled_from([3, 10 ** 6]))
def test_the_pairs_are_those_of_a_plain_search(seed, place, allowance, at_once):
    """Independent: every pair by itself, around the pipe from the arc between the middles."""
    random = np.random.default_rng(seed)
    n = 24
    rows = arrays(*(dict(zip(("kind", "survey", "length", "width", "clock"), v, strict=True)) for v in zip(
        random.choice(["dent", "gouge", "crack", "external metal loss", "internal metal loss", "metal loss"], n),
        random.integers(0, 3000, n) * 1.0, random.choice([20.0, 333.0, np.nan], n),
        random.choice([10.0, 200.0, 2000.0, np.nan], n), random.choice([*np.arange(0, 12, 0.7), np.nan], n),
        strict=True)))
    ahead = {UPSTREAM_END: (0, 1), MIDDLE: (0.5, 0.5), DOWNSTREAM_END: (1, 0), NOT_STATED: (0.5, 1)}[place]

    def along(i):
        x, length = rows["survey"][i], rows["length"][i]
        is_loss = "loss" in rows["kind"][i]
        if np.isnan(length):
            more = allowance / 2 if is_loss else D
            return x - more, x + more
        more = allowance / 2 if is_loss else 0
        return x - ahead[0] * length - more, x + ahead[1] * length + more

    def apart(i, j):
        """Least arc between the two, mm."""
        if np.isnan([rows[n][k] for n in ("clock", "width") for k in (i, j)]).any():
            return 0.0
        centres = abs(rows["clock"][i] - rows["clock"][j]) % 12 / 12 * RING
        return min(centres, RING - centres) - rows["width"][i] / 2 - rows["width"][j] / 2

    wanted = []
    for i in range(n):
        for j in range(n):
            a, b = rows["kind"][i], rows["kind"][j]
            if a in ("dent", "gouge", "crack") and ("loss" in b or (a == "dent" and b in ("gouge", "crack"))):
                (p, q), (r, s) = along(i), along(j)
                if p <= s and r <= q and apart(i, j) <= RING / 12 + 1e-6:
                    wanted.append((i, j))
    whole = damage_over._PAIRS
    try:
        damage_over._PAIRS = at_once
        assert pairs(rows, place, allowance) == wanted
    finally:
        damage_over._PAIRS = whole


# -- loss that acts as one ----------------------------------------------------------------------------------------
def grouped(rows, rule="6t", place=UPSTREAM_END):
    n = len(rows["kind"])
    rows = rows | {"nominal_wall": np.full(n, 8.74), "sound_wall": np.full(n, np.nan),
                   "weld": np.full(n, "", object), "joint": np.full(n, "1", object)}
    how = Convention(rule, place)
    diameter = np.full(n, D)
    return damage_over.links(rows, diameter, how, interacting(rows, diameter, how).groups)


def both(found):
    return sorted(zip(found.damage.tolist(), found.under.tolist(), strict=True))


def test_a_dent_in_the_gap_of_a_group_lies_over_all_of_it():
    rows = arrays(loss(1000), loss(1090, depth=3.5), dent(1060, length=10.0), loss(9000))
    assert pairs(rows) == []  # over none of them alone
    found = grouped(rows)
    assert both(found) == [(2, 0), (2, 1)] and found.riser.tolist() == [False, False, True, False]
    assert found.loss_under[2] == 3.5 and np.isnan(found.loss_under[[0, 1, 3]]).all()
    dent_ = "over the loss that acts as one here: dent F2 at 1.060 m of the log, 2 mm deep"
    assert found.names.tolist() == [dent_, dent_, "external metal loss F0 at 1.000 m of the log and 1 more", ""]


@pytest.mark.parametrize(("x", "clock", "over"), [
    # by hand: group 1000 to 1140 mm, 40 mm wide at 6:00; one hour of the clock counts beside the arc
    (1060, 6.0, True), (1060, 7.3, True), (1060, 7.4, False), (1060, 12.0, False), (1141, 6.0, False),
    (1140, 6.0, True), (989, 6.0, False), (990, 6.0, True)])
def test_the_envelope_of_the_group_is_what_counts(x, clock, over):
    found = grouped(arrays(loss(1000), loss(1090), dent(x, length=10.0, clock=clock)))
    assert both(found) == ([(2, 0), (2, 1)] if over else [])


def test_around_the_pipe_a_group_reaches_over_the_arc_of_all_of_it():
    """By hand: 10:00 and 2:00 around the top; a gap of 4.0 h less 0.376 h, which the own rule below joins."""
    rows = arrays(loss(1000, clock=10.0), loss(1090, clock=2.0), dent(1060, length=10.0, clock=12.0),
                  dent(1060, length=10.0, clock=6.0))
    n = {"nominal_wall": np.full(4, 8.74), "sound_wall": np.full(4, np.nan), "weld": np.full(4, "", object),
         "joint": np.full(4, "1", object)}
    how = Convention("own", UPSTREAM_END, (100.0, 400.0))
    groups = interacting(rows | n, np.full(4, D), how).groups
    assert [g.rows for g in groups] == [(0, 1)]
    assert both(damage_over.links(rows, np.full(4, D), how, groups)) == [(2, 0), (2, 1)]


def test_a_crack_over_a_group_of_both_sides_counts_with_both_depths():
    rows = arrays(loss(1000, depth=2.0), loss(1090, depth=3.0) | {"kind": "internal metal loss"},
                  {"kind": "crack", "survey": 1060.0, "length": 10.0})
    assert grouped(rows).loss_under[2] == 5.0


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2 ** 32 - 1), st.permutations(range(20)))
def test_groups_are_linked_as_a_plain_search_does_whatever_the_order_of_the_rows(seed, order):
    """Independent: a group is the row with its common box, as `interacting` tells it; each pair by itself."""
    random = np.random.default_rng(seed)
    kinds = random.choice(["dent", "gouge", "external metal loss", "external metal loss", "internal metal loss"], 20)
    rows = arrays(*({"kind": k, "survey": float(x), "clock": float(c), "length": 20.0} for k, x, c in zip(
        kinds, random.choice(2000, 20, replace=False), random.integers(0, 12, 20), strict=True)))
    whole = {n: np.full(20, v, t) for n, v, t in (("nominal_wall", 8.74, float), ("sound_wall", np.nan, float),
                                                  ("weld", "", object), ("joint", "1", object))}
    how = Convention("6t", UPSTREAM_END)
    groups = interacting(rows | whole, np.full(20, D), how).groups
    wanted = {*pairs(rows)}
    for g in groups:
        for i in np.flatnonzero(np.isin(kinds, ["dent", "gouge"])).tolist():
            centres = abs(rows["clock"][i] - g.clock) % 12 / 12 * RING
            apart = min(centres, RING - centres) - rows["width"][i] / 2 - g.width / 2
            x = rows["survey"][i]
            if x <= g.x1 and g.x0 <= x + 20 and apart <= RING / 12 + 1e-6:
                wanted |= {(i, j) for j in g.rows}
    found = grouped(rows)
    assert {*both(found)} == wanted and len(found.damage) == len(wanted)
    mixed = grouped({n: v[list(order)] for n, v in rows.items()})
    assert {(order[a], order[b]) for a, b in both(mixed)} == wanted
    assert mixed.names.tolist() == found.names[list(order)].tolist()


def test_the_deepest_dent_is_named_and_before_it_one_whose_depth_is_not_known():
    rows = arrays(loss(1000), dent(1000, depth=3.0), dent(1001, depth=9.0))
    assert grouped(rows).names[0] == "dent F2 at 1.001 m of the log, 9 mm deep and 1 more"
    rows = arrays(loss(1000), dent(1000, depth=9.0), dent(1001, depth=math.nan))
    assert grouped(rows).names[0] == "dent F2 at 1.001 m of the log and 1 more"
    name = "dent D at 1.000 m of the log"
    assert damage_over.depth_of(f"{name}, 2.5 mm deep and 12 more") == 2.5
    assert damage_over.depth_of(f"{damage_over.GROUP}{name}, 2.5 mm deep") == 2.5
    for other in (name, "", "metal loss A at 1.000 m of the log, 2 mm deep", "dent A, 2 mm deep at 1.000 m of the log"):
        assert math.isnan(damage_over.depth_of(other))
    names = [f"{name}, 3 mm deep", f"{damage_over.GROUP}{name}, 9 mm deep"]
    assert damage_over.gravest_name(names) == names[1]
    assert damage_over.gravest_name([*names, name]) == name


def test_no_group_and_no_damage_link_nothing():
    assert both(grouped(arrays(loss(1000), loss(1090)))) == []
    assert isinstance(grouped(arrays(loss(1000), dent(9000))), damage_over.Links)


# -- answers ------------------------------------------------------------------------------------------------------
def judged(tmp_path, *rows, base=BASE):
    """(line, rows, answers, judge) of rows of one line."""
    at = line(tmp_path, more="", listing='place = "upstream end"', base=base)
    got, faults = at.resolve(block(*rows), Welds.collect([block(*welds_at(600, 612))]))
    assert faults == []
    judge = Judge(at, life=False, chance=False)
    diameter, how = judge.diameters(got["group"]), convention(at)
    found = damage_over.links(got, diameter, how, interacting(got, diameter, how).groups)
    got["riser"], got["loss_under"] = found.riser, found.loss_under
    answers = judge(got, got["group"])
    alone = {n: v.copy() for n, v in answers.items()}
    marked, told = damage_over.take_links(got, answers, found, judge.reasons.code(damage_over.REASON))
    return at, got, answers, alone, judge, marked, told


def words(judge, answers, i):
    return (DISPOSITIONS[answers["disposition"][i]], answers["deadline_days"][i],
            judge.citations.texts[answers["citation"][i]])


def test_a_dent_over_loss_at_the_top_is_immediate_and_the_loss_is_not_plain_loss(tmp_path):
    _, got, a, alone, judge, marked, told = judged(tmp_path, LOSS, DENT, LOSS | {"log_distance": 609_000.0})
    assert DISPOSITIONS[alone["disposition"][0]] == "no repair needed" and alone["deadline_days"][0] == np.inf
    # published: 49 CFR 192.714(d)(1)(ii), dent in the upper two thirds with metal loss: immediate
    assert words(judge, a, 1) == ("other repair needed", 0, "49 CFR 192.714(d)(1)(ii)")
    assert words(judge, a, 0) == ("insufficient data", 0, "49 CFR 192.714(d)(1)(ii)")
    assert judge.reasons.texts[a["reason"][0]] == damage_over.REASON
    assert judge.exclusions.texts[a["exclusion"][0]].startswith("A dent with metal loss")
    for name in ("safe_pressure", "failure_pressure", "repair_factor"):
        assert np.isnan(a[name][0]) and a[name][2] == alone[name][2]
    assert a["disposition"][2] == alone["disposition"][2] and marked.tolist() == [True, False, False]
    assert got["damage_over"].tolist() == ["dent D1 at 605.050 m of the log, 6 mm deep",
                                           "external metal loss L1 at 605.000 m of the log", ""]
    assert told == (
        "1 rows of metal loss lie under a dent, gouge or crack of the listing, or act as one with such a row: they are "
        "not judged as plain loss and get no wrap; see damage over.",
        "1 dents, gouges or cracks lie over metal loss, or a dent over a gouge or a crack: a dent there is judged with "
        "a stress riser; see damage over.")


def test_the_same_dent_beside_the_loss_changes_nothing(tmp_path):
    _, got, a, alone, *_, told = judged(tmp_path, LOSS, DENT | {"log_distance": 605_111.0})
    assert all(np.array_equal(a[n], alone[n], equal_nan=True) for n in a if a[n].dtype.kind == "f")
    assert a["disposition"].tolist() == alone["disposition"].tolist() and told == ()
    assert got["damage_over"].tolist() == ["", ""]


def test_loss_that_asks_for_a_repair_becomes_another_repair_without_a_wrap(tmp_path):
    _, _, a, alone, judge, *_ = judged(tmp_path, LOSS | {"depth_share": 0.6, "length": 400.0}, DENT)
    assert DISPOSITIONS[alone["disposition"][0]] == "repair"
    assert DISPOSITIONS[a["disposition"][0]] == "other repair needed"
    assert not a["wrap_feasible"][0] and np.isnan(a["layers"][0]) and a["wrap_reason"][0] == 0
    assert judge.reasons.texts[a["reason"][0]] == damage_over.REASON


def test_a_graver_answer_and_a_nearer_deadline_of_the_loss_stand(tmp_path):
    _, _, a, alone, judge, *_ = judged(tmp_path, LOSS | {"depth_share": 0.85, "clock": 6.0}, DENT | {"clock": 6.0})
    assert words(judge, a, 0)[0] == "other repair needed"
    assert judge.reasons.texts[a["reason"][0]].startswith("the depth with its allowance is above the depth limit")
    assert alone["deadline_days"][1] > 0  # at the bottom the dent itself has longer
    assert a["deadline_days"].tolist() == [0, 0]  # published: 192.714(d)(1)(iii), loss deeper than 80 %


def test_what_acts_as_one_with_loss_under_a_dent_is_not_plain_loss_either(tmp_path):
    base = BASE + '[assessment]\ninteraction = "6t"\ninteraction_reason = "invented"\n'
    beside = LOSS | {"log_distance": 605_130.0, "feature_id": "L2"}
    _, got, a, *_, marked, told = judged(tmp_path, LOSS, DENT, beside, beside | {"log_distance": 607e3},
                                         base=base)
    assert marked.tolist() == [True, False, True, False] and told[0].startswith("2 rows of metal loss")
    assert got["damage_over"][2] == damage_over.GROUP + "dent D1 at 605.050 m of the log, 6 mm deep"
    assert a["deadline_days"].tolist()[:3] == [0, 0, 0] and a["deadline_days"][3] == np.inf


def test_a_crack_counts_with_the_loss_under_it(tmp_path):
    """Published: 49 CFR 192.714(d)(1)(v): crack plus loss deeper than half of the wall."""
    crack = {"kind": "crack", "log_distance": 605_020.0, "depth": 3.0, "length": 30.0, "width": 5.0, "clock": 12.0}
    _, _, a, _, judge, *_ = judged(tmp_path, LOSS, crack)
    assert judge.citations.texts[a["citation"][1]].startswith("49 CFR 192.714(d)(1)(v)")
    _, _, other, *_ = judged(tmp_path, LOSS | {"log_distance": 609e3}, crack)
    assert a["deadline_days"][0] == 0 < other["deadline_days"][1]


# -- as cases -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("other", ["dent", "gouge", "crack"])
def test_the_case_of_loss_under_other_damage_is_of_that_kind_and_never_wrapped(tmp_path, other):
    damage = DENT | {"kind": other, "depth": 3.0}
    base = BASE + '[features]\ncrack = "no"\n'
    at, got, *_ = judged(tmp_path, LOSS | {"depth_share": 0.6}, damage, base=base)
    for i in (0, 1):
        row = {n: v[i] for n, v in got.items()}
        bundle = bundle_of(at, row_case(at, row, "T-1", "row"))
        assert bundle.case.defect.kind == other
        out = job.run(bundle)
        assert out.assessment is None or out.assessment.governing is None
        assert out.decision.word in ("other repair needed", "insufficient data")
    assert "metal loss, " in bundle_of(at, row_case(at, {n: v[0] for n, v in got.items()}, "T-1", "row")
                                       ).case.defect.kind.source


def case_of(at, got, i=0):
    return bundle_of(at, row_case(at, {n: v[i] for n, v in got.items()}, "T-1", "row")).case


def test_the_case_of_loss_under_a_dent_has_the_depth_of_the_dent_and_names_both_rows(tmp_path):
    at, got, *_ = judged(tmp_path, LOSS, DENT)
    case = case_of(at, got)
    assert case.defect.depth is None and case.features.dent_depth.base == 6.0
    source = case.features.dent_depth.source
    assert "dent D1 at 605.050 m of the log" in source and "over metal loss of 2.622 mm" in source
    assert source.endswith("row 2")  # of the loss
    assert "of the metal loss, dent D1" in case.defect.length.source and case.defect.length.base == 100


def test_the_case_of_loss_under_a_dent_without_depth_states_none(tmp_path):
    """A depth of loss that stood as that of the dent would pass criteria of the dent."""
    at, got, *_ = judged(tmp_path, LOSS, DENT | {"depth": math.nan})
    case = case_of(at, got)
    assert case.defect.depth is None and case.features.dent_depth is None and case.defect.kind == "dent"
    with recording(Recorder()):
        facts = dispose(bundle_of(at, row_case(at, {n: v[0] for n, v in got.items()}, "T-1", "row")), None, None).facts
    assert facts["dent_depth_in_mm"] is None and facts["dent_over_diameter"] is None


def test_the_case_of_loss_under_a_crack_or_gouge_has_its_depth(tmp_path):
    at, got, *_ = judged(tmp_path, LOSS, DENT | {"kind": "crack", "depth": 3.0})
    case = case_of(at, got)
    assert case.features.crack_depth.base == pytest.approx(3.0 + 0.3 * 8.74)  # by hand: crack and loss
    at, got, *_ = judged(tmp_path, LOSS | {"depth_share": 0.7}, DENT | {"kind": "crack", "depth": 3.0})
    assert case_of(at, got).features.crack_depth.base == 8.74  # at most the wall
    at, got, *_ = judged(tmp_path, LOSS, DENT | {"kind": "gouge", "depth": 1.5})
    assert case_of(at, got).features.gouge_depth.base == 1.5
    assert case_of(at, got).features.crack_depth is None


def test_the_case_of_a_dent_over_loss_has_the_criteria_of_its_row(tmp_path):
    at, got, a, _, judge, *_ = judged(tmp_path, LOSS, DENT)
    bundle = bundle_of(at, row_case(at, {n: v[1] for n, v in got.items()}, "T-1", "row"))
    assert bundle.case.features.dent_stress_riser == "yes"
    assert "external metal loss L1" in bundle.case.features.dent_stress_riser.source
    with recording(Recorder()):
        ruled = dispose(bundle, None, None)
    assert ruled.leading.criterion.citation == judge.citations.texts[a["citation"][1]]
    assert a["criteria_open"][1] == sum(f.verdict == NO_DATA for r in ruled.lists for f in r.findings)


def test_the_case_of_a_crack_over_loss_has_both_depths(tmp_path):
    at, got, *_ = judged(tmp_path, LOSS, DENT | {"kind": "crack", "depth": 3.0})
    case = bundle_of(at, row_case(at, {n: v[1] for n, v in got.items()}, "T-1", "row")).case
    assert case.features.crack_depth.base == pytest.approx(3.0 + 0.3 * 8.74)  # by hand
    assert "3 mm and metal loss of 2.622 mm" in case.features.crack_depth.source


def test_rows_that_become_one_under_a_dent_are_one_box_of_that_kind():
    def row(i, **more):
        return {"row": i, "feature_id": f"F{i}", "kind": "external metal loss", "survey": 1000.0 + i, "length": 100.0,
                "width": 50.0, "depth": 3.0, "clock": 6.0, "nominal_wall": 8.74, "sound_wall": math.nan,
                "weld": ""} | more

    name = "dent D1 at 1.000 m of the log"
    j = joined([row(2, damage_over=damage_over.GROUP + name), row(3, damage_over=name), row(4)], D, UPSTREAM_END)
    assert j.pits is None and j.row["damage_over"] == name and f"other damage lies over it ({name})" in j.note
    assert damage_over.of_case(j.row, "external metal loss") == "dent"
    assert damage_over.of_case(row(2), "external metal loss") == "external metal loss"


def test_a_dent_without_the_fact_is_judged_as_before():
    from tests.helpers.single_cases import written
    rows = {"depth": np.array([9.0]), "clock": np.array([2.0])}
    damage = OtherDamage(written({}), "dent")
    plain, off = damage.judge(rows), damage.judge(rows | {"riser": np.array([False]), "loss_under": np.array([np.nan])})
    assert all(np.array_equal(plain[n], off[n]) for n in plain)
