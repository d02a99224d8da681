"""Corrosion across a girth weld: the lower wall and grade of both joints, assessed, but not wrapped."""

import pytest

from wrapcalc.errors import CaseFaults
from wrapcalc.stages.job import NO_DATA, NO_REPAIR

#: The joint beyond the weld is thicker and harder than that of [pipe].
OTHER = {"pipe__other_nominal_wall": "9.53 mm", "pipe__other_sound_wall": "9.4 mm", "pipe__other_smys": "415 MPa",
         "pipe__other_smts": "520 MPa"}
ACROSS = {"service__inside_repair": "girth weld"}


@pytest.mark.parametrize("field", list(OTHER))
def test_the_other_joint_must_be_known(judge, field):
    o = judge(**ACROSS, **OTHER | {field: None})
    assert o.decision.word == NO_DATA and o.assessment is None
    assert "the other joint is not stated" in o.decision.sentence and field.replace("__", ".") in o.decision.sentence


def test_without_the_tensile_strength_of_either_joint_that_of_the_other_is_not_asked(judge):
    o = judge(**ACROSS, **OTHER | {"pipe__other_smts": None}, pipe__smts=None)
    assert o.assessment is not None and o.assessment.governing is not None


def test_the_loss_is_assessed_at_its_whole_length_with_the_values_of_the_weaker_joint(judge):
    o, plain = judge(**ACROSS, **OTHER), judge()
    assert o.assessment.governing.magnitude == plain.assessment.governing.magnitude
    assert o.assessment.length.magnitude == plain.assessment.length.magnitude
    assert any("at its full length across the girth weld" in a["text"] and "weld metal itself is not assessed"
               in a["text"] for a in o.recorder.assumptions)


def test_a_wrap_across_it_is_refused_and_the_pressure_is_laid_down(judge):
    o = judge(**ACROSS, **OTHER)
    assert o.decision.word == "other repair needed" and o.order == ()
    assert [c.title for c in o.design.failed] == ["Repair over a girth weld"], "the sheet does not allow it"
    assert "hold at most 6.48 MPa" in o.decision.sentence


def test_no_repair_needed_is_still_an_answer(judge):
    o = judge(**ACROSS, **OTHER, service__maop="7 MPa", service__discovery_pressure="7 MPa")
    assert o.decision.word == NO_REPAIR


@pytest.mark.parametrize(("field", "weaker", "words"), [
    ("nominal_wall", "8.6 mm", "at least pipe.nominal_wall = 8.74 mm"),
    ("sound_wall", "8.5 mm", "at least pipe.sound_wall = 8.61 mm"),
    ("smys", "359 MPa", "at least pipe.smys = 360 MPa"), ("smts", "450 MPa", "at least pipe.smts = 460 MPa")])
def test_the_lower_values_stand_in_pipe_or_it_is_a_fault(judge, field, weaker, words):
    with pytest.raises(CaseFaults) as caught:
        judge(**ACROSS, **OTHER | {f"pipe__other_{field}": weaker})
    fault, = caught.value.faults
    assert fault.field == f"pipe.other_{field}" and words in fault.allowed and f"exchange {field}" in fault.mend
