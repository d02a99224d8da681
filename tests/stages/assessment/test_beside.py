"""The pressure until the repair and while people are beside the pipe: options of the rule, restrictions, exceptions."""

import pytest

from wrapcalc import record

#: HB-07: discovery 8.1 MPa, of which 80 % are 6.48; safe pressure 7.264; installation pressure 2.0.
HIGH = {"service__installation_pressure": "7 MPa"}


def beside(o) -> float:
    out = record.build(o)["decision"]["beside"]
    assert out["unit"] == "MPa"
    return out["magnitude"]


def options(o) -> dict[str, dict]:
    return {x["option"]: x for x in record.build(o)["options"]}


def restricted(*pressures) -> dict:
    return {"restriction": [{"pressure": f"{p} MPa", "reference": f"restriction {i}"}
                            for i, p in enumerate(pressures, 1)]}


# -- the lowest of all --------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("fields", "lowest"), [
    ({}, 2.0),  # installation pressure
    (HIGH, 6.48),  # share of the discovery pressure
    (HIGH | {"service__discovery_pressure": "8.59 MPa"}, 0.8 * 8.59),
    (HIGH | restricted(6.1), 6.1),
    (HIGH | restricted(6.4, 5.9, 6.2), 5.9),
    (HIGH | restricted(7.0), 6.48),
    ({"service__installation_pressure": "1.5 MPa"} | restricted(3.0), 1.5),
    (HIGH | {"disposition__reduction": "failure pressure times design factor",
             "disposition__reduction_reason": "test"}, 6.48)])
def test_the_lowest_of_every_limit_holds(judge, fields, lowest):
    assert beside(judge(**fields)) == pytest.approx(lowest, rel=1e-9)


def test_the_safe_pressure_holds_where_it_is_the_lowest(judge):
    o = judge(**HIGH, defect__grid=None, defect__depth="5.9 mm")
    assert beside(o) == pytest.approx(o.assessment.governing.magnitude, rel=1e-12) and beside(o) < 6.48


def test_the_axial_section_holds_where_it_is_the_lowest(judge):
    o = judge(**HIGH, defect__grid=None, defect__width="700 mm", defect__depth="6.4 mm", defect__length="10 mm")
    stress = o.assessment.axial_check.provided.magnitude
    assert beside(o) == pytest.approx(8.6 * 216 / stress, rel=1e-9) and beside(o) < 6.48


def test_every_restriction_stands_in_a_step_of_its_own_with_its_reference(judge):
    o = judge(**HIGH, **restricted(6.4, 5.9))
    refs = [i["origin"]["ref"] for item in record.build(o)["items"] if item["type"] == "step"
            and item["topic"] == "Pressure while people are beside it" for i in item["inputs"]]
    assert {"restriction.0.pressure", "restriction.1.pressure", "service.installation_pressure"} <= set(refs)


def test_an_open_restriction_is_never_exceeded_by_the_interim_limit(judge):
    o = judge(**HIGH, **restricted(6.1))
    assert o.decision.interim_limit.magnitude == 6.1 and "hold at most 6.1 MPa" in o.decision.sentence
    assert judge(**restricted(7.0)).decision.interim_limit.magnitude == pytest.approx(6.48)


def test_without_a_strength_method_the_pressure_rule_alone_holds_and_it_is_told(judge):
    o = judge("HB-39.toml")
    assert beside(o) == pytest.approx(0.8 * 6.6)
    assert any("No strength method stands behind the pressure while people" in a["text"]
               for a in o.recorder.assumptions)
    assert beside(judge("HB-39.toml", **restricted(4))) == 4


# -- a higher pressure --------------------------------------------------------------------------------------------
HIGHER = {"disposition__higher_pressure": "3 MPa", "disposition__higher_pressure_by": "A. Chief",
          "disposition__higher_pressure_reason": "flow to the town"}


def test_a_higher_pressure_is_taken_with_name_and_reason_and_told(judge):
    o = judge(**HIGHER)
    assert beside(o) == 3
    text, = (w["text"] for w in o.recorder.warnings if "while people are beside the pipe" in w["text"])
    assert "A. Chief allows 3 MPa" in text and "above the lowest limit 2 MPa" in text and "flow to the town" in text
    check = next(i for i in record.build(o)["items"] if i["title"].startswith("Higher pressure while people"))
    assert check["verdict"] == "not met" and check["kind"] == "information" and "A. Chief" in check["note"]


def test_a_higher_pressure_that_is_not_higher_changes_nothing(judge):
    o = judge(**HIGHER | {"disposition__higher_pressure": "1.9 MPa"})
    assert beside(o) == 2 and any("is not above the lowest limit" in a["text"] for a in o.recorder.assumptions)


@pytest.mark.parametrize(("fields", "words"), [
    ({"disposition__higher_pressure": "7.3 MPa"}, "above the governing safe pressure 7.264 MPa"),
    ({"defect__grid": None, "defect__width": "700 mm", "defect__depth": "6.4 mm", "defect__length": "10 mm",
      "disposition__higher_pressure": "6.4 MPa"}, "keeps the axial stress inside its limit"),
    ({"defect__grid": None, "defect__depth": "8 mm"}, "no safe pressure by a strength method")])
def test_a_higher_pressure_above_what_the_pipe_bears_is_never_taken(judge, fields, words):
    """Not even with a name."""
    o = judge(**HIGHER | fields)
    assert beside(o) <= 2 and any("is not taken" in w["text"] and words in w["text"] for w in o.recorder.warnings)


# -- the options of the rule --------------------------------------------------------------------------------------
def test_the_options_of_a_gas_line_stand_side_by_side(judge):
    o = judge()
    failure, found = o.assessment.failure.magnitude, options(o)
    assert list(found) == ["share of discovery pressure", "failure pressure times design factor",
                           "failure pressure over 1.1"]
    assert [x["pressure"]["magnitude"] for x in found.values()] == pytest.approx(
        [0.8 * 8.1, failure * 0.6, failure / 1.1], rel=1e-9)
    # 12.107 / 1.1 = 11.0 MPa is above the 8.1 MPa at discovery
    assert "no reduction by this option" in found["failure pressure over 1.1"]["note"]
    assert found["share of discovery pressure"]["note"] == "" and not any(x["taken"] for x in found.values())
    assert o.decision.interim_limit.magnitude == pytest.approx(min(0.8 * 8.1, o.assessment.governing.magnitude))


@pytest.mark.parametrize(("option", "limit"), [("share of discovery pressure", 6.48),
                                               ("failure pressure times design factor", 7.2645)])
def test_the_option_that_the_case_names_is_taken_with_its_reason(judge, option, limit):
    o = judge(disposition__reduction=option, disposition__reduction_reason="easiest to hold")
    assert o.decision.interim_limit.magnitude == pytest.approx(limit, rel=1e-4)
    assert [k for k, x in options(o).items() if x["taken"]] == [option]
    assert any("easiest to hold" in a["text"] for a in o.recorder.assumptions)


def test_an_option_that_is_no_reduction_never_raises_the_pressure(judge):
    """12.107 / 1.1 = 11.0 MPa: not above discovery, and not above the safe pressure either, which is told."""
    o = judge(disposition__reduction="failure pressure over 1.1", disposition__reduction_reason="test")
    assert o.decision.interim_limit.magnitude == pytest.approx(o.assessment.governing.magnitude)
    assert any("is above the governing safe pressure" in w["text"] for w in o.recorder.warnings)


def test_the_options_of_a_liquid_line(judge):
    line = {"service__service": "liquid line", "service__maop": "8.9 MPa"}
    found = options(judge(**line, disposition__two_month_pressure="7 MPa"))
    assert list(found) == ["share of discovery pressure", "remaining strength", "share of the two months' pressure"]
    assert found["share of the two months' pressure"]["pressure"]["magnitude"] == pytest.approx(0.8 * 7)
    o = judge(**line)
    assert options(o)["share of the two months' pressure"]["pressure"] is None
    assert "two_month_pressure is not stated" in options(o)["share of the two months' pressure"]["note"]
    assert options(o)["remaining strength"]["pressure"]["magnitude"] == o.assessment.governing.magnitude


def test_an_option_that_cannot_be_worked_out_is_told_and_the_lowest_taken(judge):
    o = judge("HB-39.toml", disposition__reduction="failure pressure over 1.1", disposition__reduction_reason="test")
    assert o.decision.interim_limit.magnitude == pytest.approx(0.8 * 6.6)
    assert any("cannot be worked out for this case" in w["text"] for w in o.recorder.warnings)
    found = options(o)
    assert found["failure pressure over 1.1"]["pressure"] is None
    assert "no failure pressure" in found["failure pressure over 1.1"]["note"]
    assert not any(x["taken"] for x in found.values())
