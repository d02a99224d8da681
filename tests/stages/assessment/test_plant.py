"""Plant piping: its own allowable stress, the remaining-strength factor governs, and no list of a pipeline rule."""

import math

import pytest

from wrapcalc import record
from wrapcalc.stages.job import NO_DATA, NO_REPAIR, OTHER, WRAP

#: HB-07 as plant pipe without its grid; S, E, W, Y as ASME B31.3 takes them. Wall used 8.51 mm.
PLANT = {"service__service": "plant piping", "service__class_location": None, "service__allowable_stress": "138 MPa",
         "service__allowable_stress_basis": "test table", "service__quality_factor": 0.9,
         "service__weld_strength_factor": 1.0, "service__wall_coefficient": 0.4, "assessment__discontinuity": "2 m",
         "assessment__corrosion_allowance": "0.5 mm", "service__maop": "3 MPa", "defect__grid": None,
         "service__discovery_pressure": "2.8 MPa", "service__high_consequence_area": None}
NEEDED = ["service.allowable_stress", "service.allowable_stress_basis", "service.quality_factor",
          "service.weld_strength_factor", "service.wall_coefficient", "assessment.discontinuity",
          "assessment.corrosion_allowance"]


@pytest.fixture
def plant(judge):
    return lambda **fields: judge(**PLANT | fields)


def by_hand(depth, length, bulging, fca=0.5, S=138.0, EW=0.9, Y=0.4, D=406.4, t=8.51):
    """Level 1 of API 579-1 part 5, from memory, written out anew: MPa. bulging: factor of the length parameter."""
    t_c = t - fca
    ratio = (t - depth - fca) / t_c
    lam = 1.285 * length / math.sqrt((D - 2 * t_c) * t_c)
    left = ratio / (1 - (1 - ratio) / bulging(lam))
    return 2 * S * EW * t_c / (D - 2 * Y * t_c) * min(1, left / 0.9)


@pytest.mark.parametrize("field", NEEDED)
def test_plant_piping_is_asked_for_its_own_values(plant, judge, field):
    o = plant(**{field.replace(".", "__"): None})
    assert o.decision.word == NO_DATA and o.missing == [field] and "for a decision" in o.decision.sentence
    assert judge().missing == [], "a pipeline is not asked for them"


def test_plant_piping_has_no_class_and_no_design_factor(plant):
    o = plant()
    assert o.assessment.design_factor is None and o.missing == [] and o.assessment.allowable.magnitude == 138
    assert any("The allowable stress is 138 MPa, by test table" in a["text"] for a in o.recorder.assumptions)


def test_the_remaining_strength_factor_governs_alone(plant):
    o = plant()
    assert [f.key for f in o.assessment.forms if f.safe is not None] == ["remaining-strength factor"]
    assert o.assessment.governing_key == "remaining-strength factor" and o.assessment.failure is None
    form, = record.build(o)["forms"]
    assert form["role"] == "method of record" and form["governs"] and form["failure"] is None
    assert o.assessment.strength_check.citation.startswith("API 579-1")
    assert plant(assessment__method="remaining-strength factor", assessment__method_reason="x"
                 ).assessment.governing.magnitude == o.assessment.governing.magnitude


@pytest.mark.parametrize(("depth", "length"), [(2.0, 110), (3.5, 160), (4.5, 220)])
def test_its_pressure_against_a_calculation_of_our_own(plant, depth, length):
    """With the bulging factor recorded, to the last digits; with that of the edition of 2000, sqrt(1 + 0.48 lambda²)
    (API RP 579-2000, from memory), near it: both fit the same shell solution."""
    o = plant(defect__depth=f"{depth - 0.2} mm", defect__length=f"{length - 10} mm", defect__length_allowance="10 mm",
              defect__depth_allowance="0.2 mm")
    factor = next(i["result"]["magnitude"] for i in record.build(o)["items"]
                  if i.get("formula") == "bulging_factor_level_1")
    found = o.assessment.governing.magnitude
    assert found == pytest.approx(by_hand(depth, length, lambda _: factor), rel=1e-9)
    assert found == pytest.approx(by_hand(depth, length, lambda lam: math.sqrt(1 + 0.48 * lam ** 2)), rel=0.05)


def test_future_corrosion_counts_in_the_wall_and_in_the_loss(plant):
    found = [plant(assessment__corrosion_allowance=f"{fca} mm").assessment.governing.magnitude
             for fca in (0, 0.5, 1, 1.5)]
    assert found == sorted(found, reverse=True) and found[0] > 1.15 * found[-1]


def test_loss_that_leaves_the_factor_above_its_allowable_keeps_the_design_pressure(plant):
    o = plant(defect__depth="0.5 mm", defect__depth_allowance="0 mm", defect__length="20 mm",
              assessment__corrosion_allowance="0 mm")
    assert o.assessment.governing.magnitude == pytest.approx(2 * 138 * 0.9 * 8.51 / (406.4 - 0.8 * 8.51), rel=1e-9)
    assert o.decision.word == NO_REPAIR


# -- the limits of level 1 ----------------------------------------------------------------------------------------
@pytest.mark.parametrize(("inside", "outside", "words"), [
    # remaining ratio (8.51 - d - 0.5) / 8.01 at least 0.2: d at most 6.408
    ({"defect__depth": "6.2 mm"}, {"defect__depth": "6.22 mm"}, "remaining thickness ratio"),
    # length parameter 1.285 L / sqrt(390.38 * 8.01) at most 20: L at most 870.3
    ({"defect__length": "850 mm"}, {"defect__length": "865 mm"}, "length parameter of the shell"),
    # 1.8 sqrt(390.38 * 8.01) = 100.66 mm
    ({"assessment__discontinuity": "101 mm"}, {"assessment__discontinuity": "100 mm"}, "structural discontinuity")])
def test_beyond_a_limit_of_level_1_nothing_is_derived(plant, inside, outside, words):
    common = {"defect__length_allowance": "10 mm", "defect__depth_allowance": "0.2 mm"}
    assert plant(**common | inside).assessment.governing is not None
    o = plant(**common | outside)
    form, = o.assessment.forms
    assert form.safe is None and words in form.reason and o.assessment.governing is None
    assert o.decision.word == NO_DATA and words in " ".join(o.decision.reasons)
    struck = [i for i in record.build(o)["items"] if i.get("struck")]
    assert [i["formula"] for i in struck] == ["bulging_factor_level_1"] and words in struck[0]["struck"]
    assert o.decision.interim_limit.magnitude == pytest.approx(0.8 * 2.8)
    assert o.allowable is None


def test_a_wall_below_the_least_of_level_1_is_outside(plant):
    """At least 1.3 mm: a thin pipe with most of its wall left in share."""
    thin = {"pipe__nominal_wall": "4 mm", "pipe__sound_wall": "4 mm", "pipe__wall_allowance": "0 mm",
            "assessment__corrosion_allowance": "0 mm", "defect__depth_allowance": "0 mm", "service__maop": "1 MPa",
            "service__discovery_pressure": "1 MPa", "service__installation_pressure": "0 MPa"}
    assert plant(**thin, defect__depth="2.69 mm").assessment.governing is not None
    o = plant(**thin, defect__depth="2.71 mm")
    assert "least wall in the loss" in o.assessment.forms[0].reason


# -- what follows -------------------------------------------------------------------------------------------------
def test_no_list_of_a_pipeline_rule_holds(plant):
    out = record.build(plant(features__crack="no"))["disposition"]
    assert not any("49 CFR" in r["rule"] for r in out["lists"])
    assert "not for plant piping" in out["why"]
    assert {r["rule"] for r in out["lists"]} == {"Judgement", "Wrap exclusions"}


def test_the_pressure_rule_and_the_interim_options_are_not_those_of_a_pipeline(plant):
    o = plant(service__maop="4 MPa")
    options = record.build(o)["options"]
    assert [x["option"] for x in options] == ["share of discovery pressure", "remaining strength"]
    assert o.decision.interim_limit.magnitude == pytest.approx(min(0.8 * 2.8, o.assessment.governing.magnitude))


def test_a_wrap_is_possible(plant, judge):
    """Little is missing: the laminate carries the rest at the allowable stress of the code."""
    p = plant().assessment.governing.magnitude
    more = {"service__maop": f"{p * 1.01:.9f} MPa", "design__design_method": "laminate strain",
            "service__discovery_pressure": "2 MPa", "service__installation_pressure": "1 MPa"}
    for method in ("load sharing", "laminate strain"):
        o = plant(**more | {"design__design_method": method})
        assert o.decision.word in (WRAP, OTHER) and o.design is not None
        if o.decision.word == WRAP:
            break
    assert o.decision.word == WRAP and "remaining-strength factor" in o.decision.sentence
    assert plant(service__maop=f"{p * 0.999:.9f} MPa").decision.word == NO_REPAIR


def test_the_design_pressure_of_the_sound_pipe_is_that_of_its_own_code(plant):
    """At the wall used, which is 8.51 mm: 2 S E W t / (D - 2 Y t) = 5.29 MPa."""
    most = 2 * 138 * 0.9 * 8.51 / (406.4 - 0.8 * 8.51)
    low = {"defect__depth": "0.5 mm", "defect__length": "20 mm", "assessment__corrosion_allowance": "0 mm"}
    assert plant(**low, service__maop=f"{most * (1 - 1e-6):.9f} MPa").decision.word == NO_REPAIR
    o = plant(**low, service__maop=f"{most * (1 + 1e-6):.9f} MPa")
    assert o.decision.word == NO_DATA and "above the code design pressure" in " ".join(o.decision.reasons)


def test_a_leak_in_plant_piping_is_not_excluded_but_asks_for_care(judge):
    bare = {"defect__depth": None, "defect__depth_allowance": None, "service__fluid": "non-hazardous"}
    opening = {"defect__kind": "leak", "defect__leak_shape": "hole", "defect__leak_size": "9 mm",
               "defect__leak_growth": "0 mm/y", "defect__leak_stopped": "yes"}
    o = judge(**PLANT | bare | opening)
    out = record.build(o)["disposition"]
    assert not any("leaking transmission line" in t for t in out["excluded"])
    assert any("leak" in t.lower() for t in out["care"])
    # the sleeve of HB-07 was never tested over holes
    assert o.decision.word == OTHER and "System tested over openings" in [c.title for c in o.design.failed]
