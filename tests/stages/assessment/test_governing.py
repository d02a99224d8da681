"""Which answer governs: the rule of the case, what is told of the others, and what a missing tensile strength takes."""

import pytest

from wrapcalc import record
from wrapcalc.stages.job import NO_DATA, NO_REPAIR, WRAP

FAMILY = ("original 1991", "original 2012", "0.85dL", "effective area")
SAID = "Methods that do not govern give a lower safe pressure"
WHY = {"assessment__method_reason": "company standard 4.2"}


def safe(o) -> dict[str, float]:
    return {f.key: f.safe.magnitude for f in o.assessment.forms if f.safe is not None}


def governing(o) -> float:
    return o.assessment.governing.magnitude


def warned(o, words: str) -> list[str]:
    return [w["text"] for w in o.recorder.warnings if words in w["text"]]


def flat(depth=4.2, step=10, long=240):
    """A grid that is as deep everywhere as at its deepest: a box is milder than its true area."""
    xs = list(range(0, long + step, step))
    rows = ["mm," + ",".join(map(str, xs))]
    for y in (0, 30, 60, 90):
        rows.append(f"{y}," + ",".join(str(depth) if y in (30, 60) and 0 < x < long else "0" for x in xs))
    return "\n".join(rows) + "\n"


# -- the rule of the case -----------------------------------------------------------------------------------------
def test_the_lowest_of_the_family_governs_and_the_record_says_which(judge):
    o = judge()
    found = {k: v for k, v in safe(o).items() if k in FAMILY}
    assert set(found) == set(FAMILY) and governing(o) == min(found.values())
    assert [f["governs"] for f in record.build(o)["forms"]] == [
        f.key == min(found, key=found.get) for f in o.assessment.forms]
    assert any("The lowest safe pressure of the metal-loss forms" in a["text"] for a in o.recorder.assumptions)
    assert o.assessment.repair_factor.magnitude == pytest.approx(8.6 / governing(o), rel=1e-9)


@pytest.mark.parametrize("method", ["original 2012", "0.85dL", "effective area", "DNV-RP-F101", "profile before box"])
def test_a_named_rule_stands_with_its_reason_in_the_record_and_in_the_sentence(judge, method):
    o = judge(assessment__method=method, **WHY)
    assert any(a["source"] == "case: assessment.method" and "company standard 4.2" in a["text"]
               and "although a lower answer may exist" in a["text"] for a in o.recorder.assumptions)
    assert not any("the case names no method" in a["text"] for a in o.recorder.assumptions)
    assert f"by the rule “{method}” of the case" in o.decision.sentence


def test_a_lower_answer_that_does_not_govern_is_told_with_its_number(judge):
    o = judge(assessment__method="effective area", **WHY)
    lower = {k: v for k, v in safe(o).items() if v < governing(o)}
    text, = warned(o, SAID)
    assert {"original 1991", "original 2012", "0.85dL"} <= set(lower)
    # a profile beats the boxes of its own family; the other families are told
    shown = {f.key: f.safe.show() for f in o.assessment.forms if f.key in lower}
    for key, number in shown.items():
        assert (number in text) == (key not in FAMILY), key
    o = judge(assessment__method="original 2012", **WHY)
    text, = warned(o, SAID)
    assert "0.85 dL form" in text


def test_methods_that_never_govern_are_told_where_they_are_lower(judge):
    """Of HB-07 as a box the tensile method and the remaining-strength factor are lower; the family itself is not."""
    o = judge(defect__grid=None)
    assert {k for k, v in safe(o).items() if v < governing(o)} == {"DNV single", "remaining-strength factor"}
    text, = warned(o, SAID)
    assert "single defect" in text and "remaining-strength factor" in text and "ASME B31G" not in text


def test_a_box_that_governs_a_measured_profile_is_told(judge):
    assert warned(judge(), "A profile was measured, and the ASME B31G-2012, 0.85 dL form")
    assert not warned(judge(defect__grid=None), "A profile was measured")
    assert not warned(judge(assessment__method="profile before box", **WHY), "A profile was measured")


def test_a_flat_grid_governs_by_its_true_area(judge):
    """A box takes two thirds or 0.85 of depth times length; this grid has nearly all of it."""
    o = judge(files={"flat.csv": flat()}, defect__grid="flat.csv", defect__depth="4.2 mm", defect__length="240 mm",
              defect__width="90 mm")
    found = safe(o)
    assert o.assessment.governing_key == "effective area"
    assert governing(o) == found["effective area"] < min(found[k] for k in FAMILY[:3])
    assert len(warned(o, "The river-bottom area")) == 2
    assert not warned(o, "A profile was measured")


# -- without the tensile strength ---------------------------------------------------------------------------------
@pytest.mark.parametrize(("grid", "remain"), [(None, FAMILY[:3]), ("HB-07-grid.csv", FAMILY)])
def test_without_smts_the_methods_that_remain_are_run_and_named(judge, grid, remain):
    o = judge(defect__grid=grid, pipe__smts=None)
    full = judge(defect__grid=grid)
    assert set(safe(o)) == {*remain, "remaining-strength factor"}
    assert all(safe(o)[k] == safe(full)[k] for k in remain), "SMTS does not bear on these here"
    text, = warned(o, "SMTS is not stated")
    assert "DNV-RP-F101; Leis and Stephens 1997" in text
    for key, name in {"original 1991": "ASME B31G-1991, original form", "original 2012": "ASME B31G-2012, original",
                      "0.85dL": "0.85 dL form", "effective area": "Kiefner and Vieth 1989"}.items():
        assert (name in text) == (key in remain), "the message names what was run"
    assert o.decision.word == WRAP


def test_the_tensile_method_named_without_smts_is_insufficient_data_with_the_reason(judge):
    named = {"assessment__method": "DNV-RP-F101", "pipe__smts": None} | WHY
    o = judge(**named)
    assert o.decision.word == NO_DATA and o.assessment.governing is None
    assert any("state pipe.smts" in r for r in o.decision.reasons)
    # no strength method: the pressure rule alone, 80 % of the pressure at discovery
    assert o.decision.interim_limit.magnitude == pytest.approx(0.8 * 8.1, rel=1e-12)
    assert o.decision.interim_limit.show() in o.decision.sentence
    assert judge(**named | {"pipe__smts": "460 MPa"}).assessment.governing_key == "DNV complex shape"


def test_insufficient_data_for_strength_does_not_hide_a_criterion_that_fires(judge):
    o = judge(assessment__method="DNV-RP-F101", pipe__smts=None, features__crack="yes", **WHY)
    assert o.decision.word == NO_DATA and any("crack" in r for r in o.decision.reasons)


def test_a_named_form_outside_its_scope_is_never_replaced(judge):
    """SMYS above 483 MPa (70 ksi): the forms on SMYS + 69 MPa do not hold, and another must not step in."""
    hard = {"pipe__smys": "485 MPa", "pipe__smts": "600 MPa"}
    for method in ("0.85dL", "effective area", "profile before box"):
        o = judge(**hard, assessment__method=method, **WHY)
        assert o.decision.word == NO_DATA and o.assessment.governing is None
        assert any("SMYS is above" in r for r in o.decision.reasons)
    o = judge(**hard)
    assert o.assessment.governing_key in ("original 1991", "original 2012")
    assert {f.key for f in o.assessment.forms if f.safe is None} == {"0.85dL", "effective area"}


def test_flow_stresses_are_not_above_smts(judge):
    """SMYS + 69 MPa = 429 MPa is brought down to 420, 1.1 SMYS = 396 MPa is not."""
    full, weak = (safe(judge(pipe__smts=u)) for u in ("460 MPa", "420 MPa"))
    assert weak["original 2012"] == full["original 2012"]
    for key in ("0.85dL", "effective area"):
        assert weak[key] / full[key] == pytest.approx(420 / 429, rel=1e-9)


# -- external loads and the tensile method ------------------------------------------------------------------------
def test_compression_lowers_the_tensile_method_and_only_the_single_defect_knows_it(judge):
    """DNV-RP-F101 gives neighbours and shapes for pressure alone: under compression they may not speak."""
    named = {"assessment__method": "DNV-RP-F101"} | WHY
    free = judge(**named)
    assert free.assessment.governing_key == "DNV complex shape" and free.allowable is not None
    pushed = judge(service__axial_force="-3000 kN", **named)
    assert pushed.assessment.governing_key == "DNV single"
    assert not any(f.safe for f in pushed.assessment.forms if f.key in ("DNV complex shape", "DNV interacting"))
    assert governing(pushed) < 0.7 * safe(free)["DNV single"]
    assert pushed.allowable is None and warned(pushed, "not worked out: where DNV-RP-F101 governs")
    small = judge(service__axial_force="-1 kN", **named)
    assert governing(small) == governing(free)


def test_compression_that_exhausts_the_section_leaves_no_pressure(judge):
    o = judge(service__axial_force="-4700 kN", assessment__method="DNV-RP-F101", **WHY)
    single = next(f for f in o.assessment.forms if f.key == "DNV single")
    assert single.safe is None and "exhausts the section" in single.reason
    assert o.assessment.governing is None and o.decision.word == NO_DATA


# -- what the criteria take ---------------------------------------------------------------------------------------
@pytest.mark.parametrize("method", ["original 1991", "original 2012", "0.85dL", "effective area", "DNV-RP-F101"])
def test_the_criteria_take_a_failure_pressure_that_the_rule_names(judge, method):
    """49 CFR 192.712(b): ASME B31G or PR 3-805. The tensile method, and the 1991 form, whose result is a safe pressure,
    give the lowest of those."""
    o = judge(assessment__method=method, **WHY)
    bursts = {f.key: f.failure.magnitude for f in o.assessment.forms if f.failure is not None and f.key in FAMILY}
    expected = bursts.get(method, min(bursts.values()))
    assert o.assessment.failure.magnitude == expected
    assert o.disposition.facts["failure_ratio"] == pytest.approx(expected / 8.6, rel=1e-12)


def test_a_shallow_loss_has_no_1991_answer_and_the_others_go_on(judge):
    o = judge(defect__grid=None, defect__depth="0.5 mm")
    assert "original 1991" not in safe(o) and o.decision.word == NO_REPAIR
    row = next(f for f in record.build(o)["forms"] if f["form"].startswith("ASME B31G-1991"))
    assert row["safe"] is None and "at most 0.1" in row["reason"]
