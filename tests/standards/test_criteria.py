"""Repair criteria: three-valued logic, the most urgent, what is said of a finding, facts, and which rule holds."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.helpers.criteria import LOSS, NEAR, PASSED, SMALL, SOUND, TOP, draw, finding, firing
from wrapcalc.errors import CalculationError, UnknownItem
from wrapcalc.standards import criteria as c

HCA, OTHER, LIQUID, WRAP = c.GAS_HCA, c.GAS_OTHER, c.LIQUID_HCA, c.WRAP


# -- the most urgent --------------------------------------------------------------------------------------------------
def test_all_are_evaluated_and_the_most_urgent_leads():
    facts = SOUND | LOSS | TOP | {"class_location": "3", "failure_ratio": 1.2, "dent_stress_riser": "yes",
                                  "depth_over_nominal": 0.9}
    found = c.evaluate(c.load(HCA), facts)
    assert len(found) == len(c.load(HCA).criteria)
    assert {f.criterion.paragraph for f in found if f.verdict == c.FIRES} == {
        "(d)(1)(ii)", "(d)(1)(iii)", "(d)(2)(iv), class 2 to 4"}
    assert c.leading(found).criterion.paragraph == "(d)(1)(ii)"
    assert c.leading(found[::-1]).criterion.paragraph == "(d)(1)(iii)"
    assert c.leading(c.evaluate(c.load(HCA), SOUND)) is None
    liquid = c.leading(c.evaluate(c.load(LIQUID), SOUND | TOP | {"dent_over_diameter": 0.04}))
    assert liquid.criterion.paragraph == "(ii)(A)"


def test_a_schedule_without_its_answer_comes_right_after_immediate():
    facts = SOUND | LOSS | {"class_location": "1", "failure_ratio": 1.2, "crossing": "yes"}
    found = c.evaluate(c.load(HCA), facts)
    assert c.leading(found).criterion.paragraph == "(d)(2)(iv), class 1"
    assert c.leading(found, schedule_days=100).criterion.paragraph == "(d)(2)(iv), class 1"
    assert c.leading(found, schedule_days=1200).criterion.paragraph == "(d)(2)(v)"
    both = c.evaluate(c.load(HCA), facts | {"depth_over_nominal": 0.81})
    assert c.leading(both).criterion.paragraph == "(d)(1)(iii)"


def test_excluded_leads_before_extra_care():
    found = c.evaluate(c.load(WRAP), SOUND | {"seam_corrosion_along": "yes", "arc_burn": "yes"})
    assert c.leading(found).criterion.paragraph == "arc burn not ground"


def test_order_of_the_criteria_does_not_change_what_fires():
    for rule in c.shipped():
        loaded, pick = c.load(rule), random.Random(3)
        for _ in range(20):
            facts, order = draw(pick, 0.2), list(loaded.criteria)
            pick.shuffle(order)
            shuffled = c.Criteria(rule, "", "", "", "seen", tuple(order))
            assert {(f.criterion, f.verdict) for f in c.evaluate(shuffled, facts)} == {
                (f.criterion, f.verdict) for f in c.evaluate(loaded, facts)}


# -- three values -----------------------------------------------------------------------------------------------------
def test_with_nothing_stated_every_criterion_is_no_data_and_says_what_is_missing():
    for rule in c.shipped():
        for f in c.evaluate(c.load(rule), {}):
            assert f.verdict == c.NO_DATA and f.missing and all("not stated" in b for b in f.because)


@pytest.mark.parametrize(("facts", "verdict", "missing"), [
    ({"failure_ratio": 1.2}, c.FIRES, ()),  # below both limits: the class does not matter
    ({"failure_ratio": 1.5}, c.DOES_NOT_FIRE, ()),  # above both
    ({"failure_ratio": 1.45}, c.NO_DATA, ("class_location", "uprated_class_1")),
    ({"failure_ratio": 1.45, "class_location": "2"}, c.NO_DATA, ("uprated_class_1",)),
    ({"failure_ratio": 1.45, "class_location": "3"}, c.FIRES, ()),
    ({"failure_ratio": 1.45, "class_location": "1"}, c.DOES_NOT_FIRE, ()),
    ({"failure_ratio": 1.45, "uprated_class_1": "yes"}, c.NO_DATA, ("class_location",)),
    ({"failure_ratio": 1.2, "crossing": None}, c.NO_DATA, ("crossing",)),
    ({"crossing": None, "failure_ratio": 2.0}, c.DOES_NOT_FIRE, ()),
    ({"class_location": "1"}, c.NO_DATA, ("failure_ratio",)),
])
def test_only_what_it_depends_on_is_missing(facts, verdict, missing):
    known = SOUND | LOSS | {"crossing": "yes"} | dict.fromkeys(("class_location", "uprated_class_1", "failure_ratio"))
    found = finding(HCA, "(d)(2)(v)", known | facts)
    assert (found.verdict, found.missing) == (verdict, missing)


def test_an_exception_that_nobody_showed_lifts_nothing_and_is_named():
    found = finding(HCA, "(d)(1)(ii)", SOUND | TOP | {"dent_stress_riser": "yes", "dent_strain_passed": None})
    assert found.verdict == c.FIRES and found.missing == ("dent_strain_passed",)
    assert found.because[-1].startswith("not lifted by assessment") and "not stated" in found.because[-1]
    found = finding(HCA, "(d)(1)(ii)", SOUND | TOP | {"dent_stress_riser": "yes"} | PASSED)
    assert found.verdict == c.DOES_NOT_FIRE and "critical strain is not exceeded (192.712(c)): yes" in found.because[0]


@pytest.mark.parametrize("rule", [HCA, OTHER, LIQUID, WRAP])
def test_what_is_decided_holds_however_the_open_questions_are_answered(rule):
    """And an open one names only facts that are not stated; answering all that are named decides it."""
    pick = random.Random(5)
    for _ in range(60):
        facts = draw(pick, 0.5)
        before = c.evaluate(c.load(rule), facts)
        answers = draw(pick)
        after = c.evaluate(c.load(rule), {n: answers[n] if v is None else v for n, v in facts.items()})
        for old, new in zip(before, after, strict=True):
            assert new.verdict != c.NO_DATA
            assert all(facts[m] is None for m in old.missing) and bool(old.missing) >= (old.verdict == c.NO_DATA)
            lifted = old.criterion.unless and old.verdict == c.FIRES and old.missing
            assert old.verdict in (c.NO_DATA, new.verdict) or lifted


NAMES = list(c.FACTS)
FACTS = st.fixed_dictionaries({}, optional={n: st.sampled_from(f.words or NEAR) for n, f in c.FACTS.items()})


@settings(deadline=None, max_examples=60, derandomize=True)
@given(FACTS, st.lists(st.sampled_from(NAMES), max_size=25))
def test_knowing_more_never_turns_a_verdict_into_no_data(facts, forgotten):
    less = {n: v for n, v in facts.items() if n not in forgotten}
    for rule in c.shipped():
        for old, new in zip(c.evaluate(c.load(rule), less), c.evaluate(c.load(rule), facts), strict=True):
            assert not (old.verdict != c.NO_DATA and new.verdict == c.NO_DATA)
            assert not (old.verdict == c.DOES_NOT_FIRE and new.verdict == c.FIRES)


# -- what is printed of a finding -------------------------------------------------------------------------------------
@pytest.mark.parametrize(("paragraph", "facts", "because"), [
    ("(d)(1)(i)", LOSS | {"failure_ratio": 1.05}, "failure pressure of the metal loss over MAOP: 1.05 "
                                                  "(asked: at most 1.1)"),
    ("(d)(1)(iii)", LOSS | {"depth_over_nominal": 0.8}, "depth of metal loss over nominal wall: 80 % "
                                                        "(asked: above 80 %)"),
    ("(d)(1)(iii)", LOSS | {"depth_over_nominal": 0.8000001}, "depth of metal loss over nominal wall: 80.00001 % "
                                                              "(asked: above 80 %)"),
    ("(d)(2)(i)", TOP | SMALL | {"dent_depth_in_mm": 15.0}, "depth of dent: 15 mm (asked: above 12.7 mm)"),
    ("(d)(1)(i)", {"metal_loss": None}, "metal loss: not stated (asked: yes)"),
    ("(d)(2)(iv), class 2 to 4", LOSS | {"class_location": "1"}, "class location: 1 (asked: 2, 3 or 4)"),
    ("(d)(2)(v)", LOSS | {"crossing": "yes"}, "failure pressure of the metal loss over MAOP: 3 (asked: below 1.5)"),
])
def test_numbers_and_words_that_decide_are_said(paragraph, facts, because):
    facts = SOUND | {"failure_ratio": 0.5 if facts.get("metal_loss", 1) is None else 3.0} | facts
    assert because in finding(HCA, paragraph, facts).because


def test_all_that_fails_is_said_and_nothing_else():
    found = finding(LIQUID, "(iii)(F)", SOUND | {"depth_over_nominal": 0.6})
    assert [b.split(":")[0] for b in found.because] == [
        "metal loss", "metal loss where another pipeline crosses", "widespread circumferential corrosion",
        "metal loss that could affect a girth weld"]


# -- facts ------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("value", [float("nan"), float("inf"), -0.1, "0.5", True])
def test_a_number_that_is_none_is_refused(value):
    with pytest.raises(CalculationError, match="depth_over_nominal"):
        c.evaluate(c.load(HCA), {"depth_over_nominal": value})


def test_unknown_names_and_words_are_refused():
    with pytest.raises(UnknownItem, match="Did you mean 'failure_ratio'"):
        c.evaluate(c.load(HCA), {"failure_ration": 1.0})
    with pytest.raises(UnknownItem, match="word for the fact seam_type"):
        c.evaluate(c.load(HCA), {"seam_type": "spiral"})
    with pytest.raises(UnknownItem, match="word for the fact dent"):
        c.evaluate(c.load(HCA), {"dent": "maybe"})


def test_yes_and_no_may_be_booleans_and_binary_dust_decides_nothing():
    assert firing(HCA, SOUND | {"metal_loss": True, "depth_over_nominal": 0.81}) == {"(d)(1)(iii)"}
    assert firing(HCA, SOUND | {"metal_loss": False, "depth_over_nominal": 0.81}) == set()
    dust = 8.0 / 10 + 1e-16
    assert not firing(HCA, SOUND | LOSS | {"depth_over_nominal": dust * (1 + 2e-16)})


@pytest.mark.parametrize(("hours", "position"), [
    (0, "top"), (12, "top"), (3, "top"), (4, "top"), (4 + 1 / 60, "bottom"), (6, "bottom"), (8 - 1 / 60, "bottom"),
    (8, "top"), (9, "top"), (11.98, "top"), (2.5, "top")])
def test_top_is_the_upper_two_thirds_with_both_its_ends(hours, position):
    assert c.dent_position(hours) == position


@pytest.mark.parametrize("hours", [-0.1, 12.1, float("nan"), float("inf")])
def test_a_clock_position_off_the_clock_is_refused(hours):
    with pytest.raises(CalculationError, match="clock position"):
        c.dent_position(hours)


# -- which rule -------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("service", "area", "rules", "words"), [
    ("gas line", "yes", (HCA,), "gas line in a high-consequence area"),
    ("gas line", "no", (OTHER,), "outside high-consequence areas"),
    ("gas line", "unknown", (HCA,), "not known; 49 CFR 192.933 is evaluated, whose deadlines are shorter"),
    ("gas line", None, (HCA,), "not known"),
    ("liquid line", "yes", (LIQUID,), "could affect"),
    ("liquid line", "no", (), "reasonable time"),
    ("liquid line", "unknown", (LIQUID,), "not known; 49 CFR 195.452(h)(4) is evaluated as if it were"),
    ("liquid line", None, (LIQUID,), "not known"),
    ("plant piping", "unknown", (), "not for plant piping"),
    (None, "no", (HCA, LIQUID), "the service is not known"),
])
def test_which_rule_holds_and_the_safer_one_when_that_is_not_known(service, area, rules, words):
    found, why = c.rules_for(service, area)
    assert found == rules and words in why and set(found) <= set(c.shipped())


def test_the_list_taken_when_the_area_is_unknown_is_nowhere_later_than_the_other():
    for a, b in zip(c.load(HCA).criteria, c.load(OTHER).criteria, strict=True):
        assert a.deadline.rank <= b.deadline.rank


def test_an_unknown_service_or_answer_is_refused():
    with pytest.raises(UnknownItem):
        c.rules_for("gas", "yes")
    with pytest.raises(UnknownItem):
        c.rules_for("gas line", "perhaps")
