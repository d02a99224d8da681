"""What the rule book asks: which list holds, every criterion in the record, and what the decision makes of it."""

import pytest

from wrapcalc import record
from wrapcalc.stages.job import NO_DATA, NO_REPAIR, OTHER, REDUCE, WRAP
from wrapcalc.standards import criteria as rules

#: HB-07 has 7.264 MPa as governing safe pressure: strength is met at these pressures, and nothing else asks for repair.
FIT = {"service__maop": "7 MPa", "service__discovery_pressure": "7 MPa"}
ANSWERED = {f"features__{n}": "no" for n in ("crack", "arc_burn", "general_corrosion", "crossing",
                                             "girth_weld_affected", "widespread_circumferential",
                                             "judgement_immediate")} | {
    "features__seam_corrosion": "none", "pipe__seam_process": "submerged arc", "service__uprated_class_1": "no"}
COMPANY = """rule = "Company list, issue 3"
title = "What our company repairs"
text_as_of = "2026-03-01"
status = "common practice"

[[criterion]]
paragraph = "4.2"
class = "1 year"
text = "{text}"
when = ["{when}"]
"""


def company(when: str, text: str = "Loss that we repair") -> dict:
    return {"files": {"own.toml": COMPANY.format(when=when, text=text)}, "disposition__criteria": "own.toml"}


def listed(o) -> list[str]:
    return [x["rule"] for x in record.build(o)["disposition"]["lists"]]


def found(o, verdict=rules.FIRES) -> list[str]:
    return [f["paragraph"] for x in record.build(o)["disposition"]["lists"] for f in x["findings"]
            if f["verdict"] == verdict]


def warned(o, words: str) -> bool:
    return any(words in w["text"] for w in o.recorder.warnings)


# -- which list holds ---------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("service", "area", "rule", "words"), [
    ("gas line", "yes", "49 CFR 192.933", "gas line in a high-consequence area"),
    ("gas line", "no", "49 CFR 192.714", "outside high-consequence areas"),
    ("gas line", "unknown", "49 CFR 192.933", "is not known"),
    ("gas line", None, "49 CFR 192.933", "is not known"),
    ("liquid line", "yes", "49 CFR 195.452(h)(4)", "could affect a high-consequence area"),
    ("liquid line", "unknown", "49 CFR 195.452(h)(4)", "is evaluated as if it were"),
    ("liquid line", None, "49 CFR 195.452(h)(4)", "is evaluated as if it were")])
def test_the_list_that_holds_is_named_with_why(judge, service, area, rule, words):
    o = judge(service__service=service, service__high_consequence_area=area)
    assert listed(o) == [rule, "Wrap exclusions"] and words in record.build(o)["disposition"]["why"]
    assert any(a["text"].startswith("Which repair criteria hold: ") and words in a["text"]
               for a in o.recorder.assumptions)


def test_a_liquid_line_elsewhere_has_no_list_and_is_told_what_holds_instead(judge):
    o = judge(service__service="liquid line", service__high_consequence_area="no")
    assert listed(o) == ["Judgement", "Wrap exclusions"]
    why = record.build(o)["disposition"]["why"]
    assert "is for segments that could affect a high-consequence area" in why and "195.401(b)" in why


@pytest.mark.parametrize(("service", "area"), [("gas line", "yes"), ("gas line", "no"), ("liquid line", "yes")])
def test_every_criterion_stands_in_the_record_whatever_fires(judge, service, area):
    o = judge(service__service=service, service__high_consequence_area=area, features__judgement_immediate="yes")
    out = record.build(o)["disposition"]["lists"]
    for shown in out:
        whole = rules.load(shown["rule"]).criteria
        assert [f["paragraph"] for f in shown["findings"]] == [c.paragraph for c in whole]
        assert all(f["text"] and f["citation"] and f["verdict"] in (rules.FIRES, rules.DOES_NOT_FIRE, rules.NO_DATA)
                   for f in shown["findings"])
        assert all(f["missing"] for f in shown["findings"] if f["verdict"] == rules.NO_DATA)
        assert all(f["because"] for f in shown["findings"] if f["verdict"] == rules.FIRES)
    assert sum(f["leads"] for x in out for f in x["findings"]) == 1


def test_unanswered_criteria_are_counted_and_never_taken_as_not_firing(judge):
    o = judge(**FIT)
    open_ones = sum(f["verdict"] == rules.NO_DATA for f in record.build(o)["disposition"]["lists"][0]["findings"])
    assert open_ones and warned(o, f"{open_ones} of 21 repair criteria could not be evaluated")
    assert f"{open_ones} repair criteria could not be evaluated" in o.decision.sentence
    o = judge(**FIT, **ANSWERED)
    assert found(o, rules.NO_DATA) == [] and "could not be evaluated" not in o.decision.sentence


def test_what_would_rule_a_wrap_out_is_told_as_open_where_no_list_asks_for_it(judge):
    """A liquid line elsewhere: no list of the rule asks whether there is a crack; no wrap goes on in silence."""
    line = {"service__service": "liquid line", "service__high_consequence_area": "no", "service__maop": "8.9 MPa"}
    o = judge(**line)
    assert o.decision.word == WRAP
    assert warned(o, "conditions that rule a wrap out or ask for care could not be evaluated")
    assert not warned(judge(**line, **ANSWERED), "could not be evaluated")


# -- what fires and what it leads to ------------------------------------------------------------------------------
def test_a_criterion_that_fires_leads_to_a_repair_although_the_strength_suffices(judge):
    assert judge(**FIT).decision.word == NO_REPAIR
    o = judge(**FIT, features__judgement_immediate="yes")
    assert o.assessment.strength_check.met and found(o) == ["(d)(1)(vi)"] and o.decision.word == WRAP
    assert "asks for immediate repair" in o.decision.sentence
    assert any("judgement of the person designated" in r for r in o.decision.reasons)


@pytest.mark.parametrize(("service", "factor", "limit", "inclusive"), [("gas line", 0.60, 1.1, True),
                                                                       ("liquid line", 0.72, 1.0, False)])
def test_the_ratio_of_failure_pressure_and_maop_fires_at_its_limit(judge, service, factor, limit, inclusive):
    """Gas at or below 1.1 times the MAOP, liquid below 1.0: by the number of the governing form."""
    fields = {"service__service": service, "service__maop_basis": "test", "defect__grid": None}
    burst = judge(**fields).assessment.failure.magnitude
    name = "(d)(1)(i)" if service == "gas line" else "(i)(B)"
    for hair, fires in ((1 - 1e-6, False), (1 + 1e-6, True)):
        maop = f"{burst / limit * hair:.12g} MPa"
        assert (name in found(judge(**fields, service__maop=maop, service__discovery_pressure="6 MPa"))) == fires


def test_by_schedule_never_forces_a_repair_alone(judge):
    """Class 1: a ratio above 1.1 is repaired by the schedule, which gives years; here the strength suffices."""
    o = judge(service__class_location="1", service__maop="8 MPa")
    assert found(o) == ["(d)(2)(iv), class 1"] and o.decision.word == NO_REPAIR
    assert any("response schedule" in r for r in o.decision.reasons), "it is told nevertheless"
    assert o.disposition.leading is None


def test_a_monitored_dent_beside_the_loss_forces_nothing(judge):
    dent = {"features__dent_depth": "26 mm", "features__dent_clock": "6:00", "features__dent_stress_riser": "no",
            "features__dent_at_weld": "no", "features__dent_strain_passed": "yes"}
    o = judge(**FIT, **dent)
    assert found(o)[0] == "(d)(3)(i)" and o.disposition.leading is None and o.decision.word == NO_REPAIR


# -- a lowered MAOP -----------------------------------------------------------------------------------------------
LOWER = {"service__lowered_maop": "7 MPa", "service__lowered_maop_reason": "test"}


def test_a_lowered_maop_that_removes_the_firing_ratio_is_enough(judge):
    """At 8.8 MPa the failure pressure 12.1 MPa is below 1.39 times the MAOP of class 2; at 7 MPa it is 1.73 times."""
    high = {"service__maop": "8.8 MPa", "service__discovery_pressure": "8 MPa"}
    o = judge(**high)
    assert "(d)(2)(iv), class 2 to 4" in found(o) and o.decision.word == WRAP
    o = judge(**high, **LOWER)
    assert o.decision.word == REDUCE and "lowered from 8.8 MPa to 7 MPa" in o.decision.sentence
    assert "(d)(2)(iv), class 2 to 4" in found(o), "the list is evaluated at the MAOP"


def test_a_lowered_maop_at_which_a_criterion_still_fires_is_not_enough(judge):
    """The company repairs below 1.75 times the MAOP: 12.11 / 7 is 1.73, 12.11 / 6.9 is 1.755."""
    own = company("failure_ratio < 1.75")
    assert judge(**own, **LOWER).decision.word == WRAP
    assert judge(**own, **LOWER | {"service__lowered_maop": "6.9 MPa"}).decision.word == REDUCE
    assert judge(**LOWER, features__judgement_immediate="yes").decision.word == WRAP


# -- dents, cracks, leaks -----------------------------------------------------------------------------------------
BARE = {f"features__{n}": None for n in ("dent_depth", "dent_clock", "dent_stress_riser", "dent_at_weld",
                                        "dent_strain_passed")}


def test_a_dent_with_a_stress_riser_needs_another_repair(judge):
    o = judge("HB-39.toml")
    assert o.decision.word == OTHER and "192.933(d)(1)(ii)" in o.decision.sentence and o.assessment is None
    assert "dent with stress riser" in found(o)
    assert o.decision.interim_limit.magnitude == pytest.approx(0.8 * 6.6) and "rule alone" in o.decision.sentence
    bottom = judge("HB-39.toml", features__dent_clock="6:00", defect__clock="6:00")
    assert "(d)(2)(iii)" in found(bottom) and "within 1 year" in bottom.decision.sentence


@pytest.mark.parametrize(("depth", "word", "fires"), [("30.4 mm", NO_DATA, []), ("30.6 mm", OTHER, ["(d)(2)(i)"])])
def test_a_plain_dent_needs_repair_only_by_its_criteria(judge, depth, word, fires):
    """6 % of 508 mm is 30.48 mm. A shallower one is not wrapped before an assessment; no reason for a repair."""
    o = judge("HB-39.toml", features__dent_stress_riser="no", features__dent_depth=depth)
    assert o.decision.word == word and [p for p in found(o) if p.startswith("(")] == fires
    assert any("not wrapped before an assessment" in r for r in o.decision.reasons)
    if word == NO_DATA:
        assert "asks for repair of this dent" in o.decision.sentence and o.decision.interim_limit is not None


def test_a_crack_is_outside_a_wrap_and_a_deep_one_is_immediate(judge):
    crack = BARE | {"defect__kind": "crack", "features__crack": "yes", "features__crack_beyond_tool": "no"}
    o = judge("HB-39.toml", **crack, features__crack_depth="2 mm")
    assert o.decision.word == OTHER and found(o) == ["crack"] and "a crack is outside" in o.decision.sentence
    o = judge("HB-39.toml", **crack, features__crack_depth="5 mm")  # 0.52 of 9.53 mm
    assert "(d)(1)(v)(A)" in found(o) and "immediate repair" in o.decision.sentence


def test_a_crack_beside_metal_loss_rules_the_wrap_out(judge):
    for fields in ({}, FIT):
        o = judge(**fields, features__crack="yes")
        assert o.decision.word == OTHER and "A crack is outside the equations" in o.decision.sentence
        assert o.design is None


def test_a_leak_on_a_transmission_line_is_not_wrapped(judge):
    o = judge("HB-39.toml", **BARE, defect__kind="leak")
    assert o.decision.word == OTHER and found(o) == ["leak on a transmission line"]
    assert any("leaking transmission line is not repaired by a bonded wrap" in r for r in o.decision.reasons)


def test_preferential_seam_corrosion_rules_the_wrap_out_and_corrosion_along_it_asks_for_care(judge):
    o = judge(features__seam_corrosion="preferential", pipe__seam_process="flash")
    assert o.decision.word == OTHER and "Selective corrosion of the longitudinal seam" in o.decision.sentence
    o = judge(features__seam_corrosion="along the seam")
    assert o.decision.word == WRAP and warned(o, "Extra care before a wrap: Corrosion across or along")


def test_loss_that_will_be_too_deep_for_a_wrap_matters_only_where_a_wrap_is_tried(judge):
    """Internal loss of known rate: after the 20 years of a wrap it would be through the limit. Where the strength
    suffices today nobody lays one; where it does not, another repair is needed."""
    inner = {"defect__kind": "internal metal loss", "service__internal_corrosion": "active", "growth__basis": "stated",
             "growth__basis_reason": "test", "growth__rate": "0.2 mm/y", "defect__grid": None}
    o = judge(**inner, service__maop="6 MPa", service__discovery_pressure="6 MPa")
    assert o.decision.word == NO_REPAIR and "emaining life" in o.decision.sentence
    o = judge(**inner)
    assert o.decision.word == OTHER and "within the life of the repair" in o.decision.sentence and o.design is None
    lowered = judge(**inner, service__lowered_maop="6 MPa", service__lowered_maop_reason="test")
    assert lowered.decision.word == REDUCE


# -- the company's own list ---------------------------------------------------------------------------------------
def test_a_company_list_end_to_end(judge):
    """3.9 + 0.2 mm over 8.74 mm nominal is 0.4691."""
    o = judge(**FIT, **company("depth_over_nominal > 0.469", "Loss deeper than 46.9 % of the nominal wall"))
    assert listed(o) == ["49 CFR 192.933", "Company list, issue 3", "Wrap exclusions"]
    assert o.assessment.strength_check.met and o.decision.word == WRAP
    assert "Company list, issue 3, 4.2 asks for repair within 1 year" in o.decision.sentence
    assert "own.toml" in record.build(o)["files"]
    row = next(f for x in record.build(o)["disposition"]["lists"] for f in x["findings"] if f["paragraph"] == "4.2")
    assert row["verdict"] == rules.FIRES and row["leads"] and row["because"]
    assert judge(**FIT, **company("depth_over_nominal > 0.470")).decision.word == NO_REPAIR


def test_the_more_urgent_of_two_lists_leads(judge):
    o = judge(**FIT, **company("depth_over_nominal > 0.42"), features__judgement_immediate="yes")
    assert "(d)(1)(vi)" in o.decision.sentence and len(o.decision.reasons) == 2


def test_the_depth_of_the_criteria_is_the_greatest_of_all_clusters(judge):
    """HB-34 as a case whose governing cluster is not the deepest."""
    text = "name,start mm,length mm,width mm,depth mm,around mm\nA,0,12,12,6.5,100\nB,400,700,40,3.6,500\n"
    o = judge("HB-34.toml", files={"p.csv": text}, defect__pits="p.csv", defect__depth="6.5 mm",
              defect__length="1100 mm", defect__width="500 mm")
    assert o.assessment.depth.magnitude == pytest.approx(3.8)
    assert o.disposition.facts["depth_over_nominal"] == pytest.approx(6.7 / 9.53, rel=1e-9)
    assert o.disposition.facts["depth_over_wall"] == pytest.approx(6.7 / 9.38, rel=1e-9)
