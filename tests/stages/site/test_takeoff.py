"""The order line by line: filler of every kind, end seal, and what each line is on the shelf."""

import math

import numpy as np
import pytest
from scipy.integrate import trapezoid

from wrapcalc.stages.site.takeoff import grid_volumes

ORDER = {"HB-07.toml": ["unit", "unit", "adhesive", "filler", "end seal"],
         "HB-15.toml": ["cloth", "adhesive", "filler", "primer"]}


def line(outcome, kind):
    return next(x for x in outcome.order if x.kind == kind)


def filler_volume(outcome) -> float:
    """Volume of the filler in mm³ without its waste."""
    sheet, mass = outcome.bundle.system, line(outcome, "filler").quantity.magnitude
    waste = outcome.bundle.case.value("takeoff.filler_waste").magnitude
    return mass / sheet.value("filler.density").magnitude / (1 + waste) * 1e6


@pytest.mark.parametrize("file", ORDER)
def test_every_line_says_what_it_is_on_the_shelf(judge, file):
    o = judge(file)
    kinds = [x.kind for x in o.order]
    assert set(kinds) == set(ORDER[file]) and kinds == sorted(kinds, key=ORDER[file].index)
    for x in o.order:
        assert x.pieces >= 1
        assert x.packs is None or x.pieces == x.packs.magnitude
    units = [x for x in o.order if x.kind == "unit"]
    assert all(x.width and x.diameter == pytest.approx(406.4) and x.pieces == x.quantity.magnitude for x in units)


def test_grid_by_scipy(judge):
    """independent: trapezia of scipy along both axes; the bound by an outer maximum filter."""
    o = judge("HB-07.toml")
    g = o.bundle.grid
    estimate, bound, _ = grid_volumes(o.bundle)
    assert estimate == pytest.approx(trapezoid(trapezoid(np.asarray(g.depth), g.axial, axis=1), g.around))
    highest = np.lib.stride_tricks.sliding_window_view(np.asarray(g.depth), (2, 2)).max(axis=(2, 3))
    assert bound == pytest.approx(np.diff(g.around) @ highest @ np.diff(g.axial))
    assert bound > estimate


def test_filler_is_the_sum_of_its_parts(judge):
    """independent: grid, both end fillets by Pappus, both triangles beside the seam, a ramp for each unit."""
    o = judge("HB-07.toml")
    d, (r,) = o.design.extent, o.design.extent.repairs
    D, end, high = 406.4, d.end.magnitude, d.build_up.magnitude
    fillets = 2 * (end * high / 2) * math.pi * (D + 2 * high / 3)
    seam = 2 * (1.4 * 11 / 2) * r.overall.magnitude
    slope, first = o.bundle.system.value("ends.slope").magnitude, d.pitch.magnitude
    ramps = sum(w * first * slope * first / 2 for w in r.layout.widths)
    assert filler_volume(o) == pytest.approx(grid_volumes(o.bundle)[1] + fillets + seam + ramps)
    assert line(o, "filler").basis == ("upper bound of the depth grid, end fillets, fairing of the seam and ramps at "
                                       "the starts, with waste")


@pytest.mark.parametrize(("fields", "words"), [
    ({"takeoff__seam_height": None}, "takeoff.seam_height not stated"),
    ({"takeoff__seam_run": None}, "takeoff.seam_run not stated"),
    ({"takeoff__seam_height": None, "takeoff__seam_run": None}, "takeoff.seam_height and takeoff.seam_run not stated")])
def test_a_seam_that_was_not_measured_is_not_faired_and_that_is_said(judge, fields, words):
    whole, without = judge("HB-07.toml"), judge("HB-07.toml", **fields)
    text, = (a["text"] for a in without.recorder.assumptions if "fairing the seam" in a["text"])
    assert words in text and "fairing" not in line(without, "filler").basis
    lacking = filler_volume(whole) - filler_volume(without)
    assert lacking == pytest.approx(1.4 * 11 * whole.design.extent.repairs[0].overall.magnitude)
    assert not any("fairing the seam" in a["text"] for a in whole.recorder.assumptions)


def test_a_seamless_pipe_has_no_seam_to_fair(judge):
    o = judge("HB-07.toml", pipe__joint_type="seamless", pipe__seam_clock=None)
    assert "fairing" not in line(o, "filler").basis
    assert not any("fairing the seam" in a["text"] for a in o.recorder.assumptions)


def test_every_sleeve_of_every_tier_has_a_ramp(judge):
    o = judge("HB-51.toml")
    ramps = [i for i in o.recorder.items if getattr(getattr(i, "formula", None), "name", "") == "start_ramp_volume"]
    assert len(ramps) == o.design.laid.tiers == 2


def test_end_seal_on_both_ends(judge):
    """independent: area of two bands on the outside of the wrap."""
    o = judge("HB-07.toml")
    outside = 406.4 + 2 * o.design.extent.build_up.magnitude
    mass = 2 * math.pi * outside * 90e-6 * 0.95 * 1.15  # 90 mm, 0.95 kg/m², waste 15 % of the sheet and the case
    assert line(o, "end seal").quantity.magnitude == pytest.approx(mass)
    assert line(o, "end seal").packs.magnitude == math.ceil(mass / 0.55)
    assert not any(x.kind == "end seal" for x in judge("HB-15.toml").order)


def test_waste_of_the_seal_is_that_of_the_adhesive_where_it_is_not_stated(judge):
    o = judge("HB-07.toml", takeoff__seal_waste=None, takeoff__adhesive_waste="40 %")
    assert line(o, "end seal").quantity.magnitude == pytest.approx(
        line(judge("HB-07.toml"), "end seal").quantity.magnitude * 1.40 / 1.15)
    assert any("waste of the end seal is not stated" in a["text"] for a in o.recorder.assumptions)


def test_the_order_says_what_is_not_in_it(judge):
    assert any("spares, consumables and abrasive stand with the materials" in a["text"]
               for a in judge("HB-07.toml").recorder.assumptions)
