"""Limits of the hardness, and the pressure raised in steps up to the lowest of every limit."""

import pytest

from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.site.release import BEFORE, accepted, restoration

RESTRICTED = {"restriction": [{"pressure": "7 MPa", "reference": "restriction 9"},
                              {"pressure": "6.5 MPa", "reference": "restriction 12"}]}


@pytest.fixture
def raised(judge):
    """(restoration, recorder) of an example with these fields changed."""
    def run(file="HB-07.toml", **fields):
        o = judge(file, **fields)
        with recording(Recorder(o.bundle.case.display)) as rec:
            rec.stage = "I"
            return restoration(o.bundle, o.design, o.bears, o.decision), rec
    return run


def limits_of(judge, file):
    o = judge(file)
    with recording(Recorder(o.bundle.case.display)) as rec:
        rec.stage = "I"
        return accepted(o.bundle), rec


# -- steps --------------------------------------------------------------------------------------------------------
def test_steps_are_even_and_the_last_is_the_cap(raised):
    r, rec = raised()
    assert r.cap.magnitude == 8.6 and r.governing == "the MAOP"  # independent: MAOP of the example, no restriction
    assert [s.magnitude for s in r.steps] == pytest.approx([3.65, 5.3, 6.95, 8.6])  # independent: quarters of 6.6
    assert r.steps[-1].magnitude == r.cap.magnitude and r.hold.to("minute") == pytest.approx(30)
    assert all(s.origin.kind == "step" for s in r.steps) and not r.note and not r.none
    assert [i.title for i in rec.items if getattr(i, "formula", None)][-1] == "Pressure after step 4 of 4"
    assert {rec.place_of[i.id] for i in rec.items} == {("I", "Pressure restoration")}


def test_steps_in_us_units(raised):
    r, rec = raised("HB-15.toml")
    assert [s.to("psi") for s in r.steps] == pytest.approx([393.4, 606.8, 820.2, 1033.6, 1247])  # independent: by hand
    assert r.steps[-1].magnitude == r.cap.magnitude
    printed = [i.printed for i in rec.items if getattr(i, "formula", None)]
    assert {p.result_unit for p in printed} == {"psi"} and printed[-1].result == "1247"


@pytest.mark.parametrize("n", [1, 3, 7, 20])
def test_the_last_of_any_number_of_steps_is_the_cap_exactly(raised, n):
    r, _ = raised(work__restoration_steps=n, work__restoration_hold="25 min")
    assert len(r.steps) == n and r.steps[-1].magnitude == r.cap.magnitude
    assert all(a.magnitude < b.magnitude for a, b in zip(r.steps, r.steps[1:], strict=False))


# -- the cap ------------------------------------------------------------------------------------------------------
def test_every_open_restriction_bounds_the_pressure(raised):
    r, rec = raised(**RESTRICTED)
    assert r.cap.magnitude == 6.5 and r.governing == "restriction 12, still open in this section"
    refs = {v.origin.ref for i in rec.items if hasattr(i, "inputs") for v in i.inputs.values()}
    assert {"restriction.0.pressure", "restriction.1.pressure", "service.maop"} <= refs


def test_a_lowered_maop_bounds_the_pressure(raised):
    r, _ = raised(service__lowered_maop="8.0 MPa", service__lowered_maop_reason="owner, letter 4")
    assert r.cap.magnitude == 8.0 and r.governing == "the lowered MAOP"


def test_two_equal_limits_are_both_named(raised):
    r, _ = raised(restriction=[{"pressure": "8.6 MPa", "reference": "restriction 3"}])
    assert r.governing == "the MAOP and restriction 3, still open in this section"


def test_the_repaired_pressure_governs_only_where_it_alone_is_lowest(judge):
    from dataclasses import replace
    o = judge()
    low = replace(o.bears, restored=replace(o.bears.restored, magnitude=7.9))
    with recording(Recorder("SI")) as rec:
        rec.stage = "I"
        r = restoration(o.bundle, o.design, low, o.decision)
    assert r.cap.magnitude == 7.9 and r.governing == "the pressure that the repair restores"


# -- blanks and refusals ------------------------------------------------------------------------------------------
def test_without_steps_the_cap_still_stands(raised):
    r, rec = raised(work__restoration_steps=None, work__restoration_hold=None)
    assert r.cap.magnitude == 8.6 and r.steps == () and r.hold is None
    assert r.note == "The steps are not stated (work.restoration_steps): those who release lay them down."
    assert [c.verdict for c in rec.items if hasattr(c, "verdict")] == ["no data", "no data"]


def test_without_a_hold_the_steps_stand_and_the_hold_is_blank(raised):
    r, rec = raised(work__restoration_hold=None)
    assert len(r.steps) == 4 and r.hold is None
    assert r.note == "The hold at each step is not stated (work.restoration_hold): those who release lay it down."
    assert [c.verdict for c in rec.items if hasattr(c, "verdict")] == ["met", "no data"]


def test_fewer_steps_and_shorter_holds_than_usual_are_shown(raised):
    _, rec = raised(work__restoration_steps=3, work__restoration_hold="10 min")
    checks = [c for c in rec.items if hasattr(c, "verdict")]
    assert [(c.verdict, c.kind) for c in checks] == [("not met", "information")] * 2


def test_nothing_is_raised_where_the_line_stood_at_the_cap(raised):
    r, rec = raised(restriction=[{"pressure": "2 MPa", "reference": "restriction 9"}])
    assert r.none and r.steps == () and r.cap.magnitude == 2.0
    assert r.note == "The line is at 2 MPa while the wrap is installed, which is the cap: nothing is raised."
    assert not rec.warnings


def test_a_line_above_the_cap_comes_down(judge):
    """The interim limit would have refused such a plan; should it get here, it says what to do."""
    from dataclasses import replace
    o = judge()
    low = replace(o.bears, restored=replace(o.bears.restored, magnitude=1.5))
    with recording(Recorder("SI")) as rec:
        rec.stage = "I"
        r = restoration(o.bundle, o.design, low, o.decision)
    assert r.none and r.steps == ()
    assert r.note == ("The line is at 2 MPa while the wrap is installed, above the cap 1.5 MPa: nothing is raised, the "
                      "pressure comes down to the cap.")
    assert [w["text"] for w in rec.warnings] == [r.note]


def test_without_the_pressure_at_installation_there_are_no_steps(judge):
    o = judge()
    service = o.bundle.case.service.model_copy(update={"installation_pressure": None})
    object.__setattr__(o.bundle, "case", o.bundle.case.model_copy(update={"service": service}))
    with recording(Recorder("SI")) as rec:
        rec.stage = "I"
        r = restoration(o.bundle, o.design, o.bears, o.decision)
    assert r.start is None and r.steps == () and r.cap.magnitude == 8.6
    assert "service.installation_pressure" in r.note


def test_who_releases_is_blank_and_nobody_is_in_the_trench(raised):
    r, _ = raised()
    assert "released by, with date and time" in r.blanks and "restriction lifted by, with date and time" in r.blanks
    assert any("Nobody is in the trench" in b for b in BEFORE)
    assert r.before[:-1] == BEFORE and r.before[-1] == ("Nobody goes back beside the repair above 2 MPa before the "
                                                        "release allows it in writing.")


# -- hardness -----------------------------------------------------------------------------------------------------
def test_hardness_of_a_shore_sheet(judge):
    a, rec = limits_of(judge, "HB-07.toml")
    assert (a.scale, a.mean.magnitude, a.single.magnitude) == ("Shore D", pytest.approx(71.1), pytest.approx(67.15))
    assert a.readings.magnitude == 12 and a.usual_readings is None
    assert any("No single reading" in x["text"] for x in rec.assumptions)


def test_hardness_of_a_barcol_sheet_takes_the_row_at_or_below(judge):
    """From memory: table 1 of ASTM D2583 has 22 readings at Barcol 40; the sheet's reference is 44."""
    a, rec = limits_of(judge, "HB-15.toml")
    assert a.usual_readings.magnitude == 22 and a.usual_readings.origin.ref == "ASTM D2583/readings_40"
    check = next(c for c in rec.items if hasattr(c, "verdict"))
    assert (check.verdict, check.kind) == ("met", "information")


@pytest.mark.parametrize(("reference", "row"), [(29.9, None), (30, 29), (59, 16), (60, 10), (85, 5)])
def test_rows_of_the_readings(judge, reference, row):
    o = judge("HB-15.toml")
    given = o.bundle.system.acceptance.hardness_reference.__class__(reference, "", str(reference), "number", "", "")
    acceptance = o.bundle.system.acceptance.model_copy(update={"hardness_reference": given})
    object.__setattr__(o.bundle, "system", o.bundle.system.model_copy(update={"acceptance": acceptance}))
    with recording(Recorder("US")) as rec:
        rec.stage = "I"
        a = accepted(o.bundle)
    check = next(c for c in rec.items if hasattr(c, "verdict"))
    assert (a.usual_readings and a.usual_readings.magnitude) == row
    assert (check.verdict == "no data") == (row is None)


def test_an_overlay_changes_the_share_of_the_hardness(judge):
    who = 'by = "A. Reviewer"\non = 2026-09-30\ncopy = "copy 14"\n'
    o = judge(files={"mine.toml": f'[[value]]\nitem = "ISO 24817:2017/hardness_share"\nvalue = 0.95\n{who}'},
              documents={"overlay": "mine.toml"})
    with recording(Recorder("SI")) as rec:
        rec.stage = "I"
        assert accepted(o.bundle).mean.magnitude == pytest.approx(79 * 0.95)
    assert o.bundle.tables.entry("ISO 24817:2017", "hardness_share").status == "verified"
