"""Methods on bare arrays are the formulas that the stages record: nothing is calculated twice in two ways."""

import math
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc.errors import CalculationError
from wrapcalc.searches.sub_lengths import weakest_sub_length
from wrapcalc.stages.assessment import kernels
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.assessment.kernels import River, Steel
from wrapcalc.stages.assessment.ranking import bare_steel

#: Every recorded step is carried to 12 significant digits, the kernels are not rounded on their way.
SAME = 3e-11
OF_BOX = ("original 1991", "original 2012", "0.85dL", "DNV single")
#: Random pipes and damage, the same ones every time; each runs the whole assessment.
RANDOM = [random.Random(n) for n in range(6)]


def some_case(pick: random.Random) -> dict[str, str | None]:
    t = pick.uniform(6, 14)
    D, depth = pick.uniform(200, 900), pick.uniform(0.15, 0.7) * t
    length = pick.choice([0.3, 1.5, 4, 8]) * math.sqrt(D * t) * pick.uniform(0.8, 1.2)
    smys = pick.choice([241, 290, 360, 448])
    maop = pick.uniform(0.3, 0.99) * 2 * smys * t / D * 0.6
    mm = "{:.6f} mm".format
    return {"pipe__outside_diameter": mm(D), "pipe__nominal_wall": mm(t), "pipe__sound_wall": mm(t),
            "pipe__wall_allowance": "0.05 mm", "pipe__smys": f"{smys} MPa", "pipe__smts": f"{smys * 1.3:.6f} MPa",
            "defect__depth": mm(depth), "defect__length": mm(length), "defect__width": "40 mm",
            "service__maop": f"{maop:.9f} MPa", "service__discovery_pressure": f"{maop:.9f} MPa",
            "service__installation_pressure": "0 MPa", "defect__grid": None}


def reference(o) -> float:
    """The reference pressure of the 1991 form as it was recorded."""
    return next(i.result.magnitude for i in o.recorder.items if getattr(i, "formula", None) is not None
                and i.formula.name == "reference_pressure_1991")


def always(number: float):
    """The same reference pressure for every wall."""
    return lambda wall: np.full(np.shape(wall), number)


@pytest.mark.parametrize("pick", RANDOM, ids=range(len(RANDOM)))
def test_every_kernel_gives_what_the_stage_recorded(judge, pick):
    o = judge(**some_case(pick))
    a: Assessment = o.assessment
    steel = bare_steel(o.bundle, a.wall.magnitude, always(reference(o)))
    size = (np.array([a.depth.magnitude]), np.array([a.length.magnitude]))
    forms = {f.key: f for f in a.forms}
    for key in OF_BOX:
        form = forms[key]
        assert form.safe is not None, (key, form.reason)
        assert kernels.failure(key, steel)(*size)[0] == pytest.approx(
            (form.failure or form.safe).magnitude, rel=SAME)
        if key != "DNV single":
            assert kernels.safe(key, steel, a.safety.magnitude)(*size)[0] == pytest.approx(
                form.safe.magnitude, rel=SAME)


@pytest.mark.parametrize(("file", "fields"), [
    ("HB-07.toml", {}), ("HB-27.toml", {"uncertainty": None}), ("HB-34.toml", {}),
    ("HB-34.toml", {"assessment__interaction": None, "assessment__interaction_reason": None})])
def test_the_profile_kernel_gives_what_the_stage_recorded(judge, file, fields):
    """The stage runs the closed formula at the sub-length found; the kernel searches on its own."""
    o = judge(file, **fields)
    a = o.assessment
    form = next(f for f in a.forms if f.key == "effective area")
    steel = bare_steel(o.bundle, a.wall.magnitude)
    found = kernels.failure("effective area", steel, a.river)(a.depth.magnitude, a.length.magnitude)
    assert float(found) == pytest.approx(form.failure.magnitude, rel=SAME)


def test_a_method_outside_its_scope_has_no_flow_stress(judge):
    """1.1 SMYS above SMTS takes the 1991 form out; SMYS above 483 MPa those that rest on SMYS + 69 MPa."""
    o = judge(defect__grid=None, pipe__smts="380 MPa")
    steel = bare_steel(o.bundle, o.assessment.wall.magnitude, always(7.9))
    assert set(steel.flow) == {"original 2012", "0.85dL", "effective area"}
    assert set(steel.flow.values()) == {380.0}
    o = judge(defect__grid=None, pipe__smys="500 MPa", pipe__smts="600 MPa")
    flow = bare_steel(o.bundle, o.assessment.wall.magnitude, always(7.9)).flow
    assert set(flow) == {"original 2012", "original 1991"}


STEEL = Steel(508.0, 9.4, 455.0, {"original 2012": 394.9, "original 1991": 394.9, "0.85dL": 428.0,
                                  "effective area": 428.0}, always(7.9))
RIVER = River(np.array([0.0, 20, 50, 90, 130, 160]), np.array([0.0, 2.1, 4.0, 1.2, 3.0, 0]), 4.0, 165.0)


@pytest.mark.parametrize("method", [*OF_BOX, "effective area"])
def test_an_array_of_sizes_is_the_sizes_one_by_one(method):
    pick = np.random.default_rng(3)
    depth, length = pick.uniform(0.1, 7.4, 60), pick.uniform(1, 1500, 60)
    function = kernels.safe(method, STEEL, 1.39, RIVER)
    together = function(depth, length)
    assert together.shape == (60,)
    assert [float(function(d, L)) for d, L in zip(depth, length, strict=True)] == pytest.approx(together, rel=1e-12)
    assert function(depth.reshape(6, 10), length.reshape(6, 10)) == pytest.approx(together.reshape(6, 10), rel=1e-12)
    assert function(depth, 200.0) == pytest.approx(function(depth, np.full(60, 200.0)), rel=1e-12)


@pytest.mark.parametrize("method", [*OF_BOX, "effective area"])
def test_no_method_gains_strength_by_more_loss(method):
    """Searches by bisection rest on it."""
    function = kernels.failure(method, STEEL, RIVER)
    depth, length = np.linspace(0.05, 7.5, 120), np.linspace(5, 2500, 120)
    for L in (20.0, 160.0, 800.0):
        assert (np.diff(function(depth, L)) <= 1e-12).all()
    for d in (1.0, 4.0, 7.0):
        assert (np.diff(function(d, length)) <= 1e-12).all()


def test_the_lowest_is_the_lowest():
    each = [kernels.safe(m, STEEL, 1.39, RIVER) for m in (*OF_BOX, "effective area")]
    depth, length = np.linspace(0.5, 7, 20), np.linspace(10, 900, 20)
    assert kernels.lowest(each)(depth, length) == pytest.approx(
        np.min([f(depth, length) for f in each], axis=0), rel=0)


def test_many_sizes_of_a_profile_are_worked_in_parts_without_a_seam(monkeypatch):
    depth, length = np.linspace(0.5, 7, 23), np.linspace(30, 600, 23)
    whole = kernels.failure("effective area", STEEL, RIVER)(depth, length)
    monkeypatch.setattr(kernels, "_ROWS", 5)
    assert kernels.failure("effective area", STEEL, RIVER)(depth, length) == pytest.approx(whole, rel=0)


# -- a river bottom of another size -------------------------------------------------------------------------------
@given(st.lists(st.one_of(st.just(0.0), st.floats(0.1, 6)), min_size=3, max_size=12), st.floats(0.1, 9),
       st.floats(20, 900))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_a_river_of_another_size_keeps_its_shape(depths, depth, length):
    if not any(depths):
        depths = [*depths, 2.0]
    d = np.array([0.0, *depths, 0.0])
    x = 5 + 10 * np.arange(len(d))
    river = River(x, d, float(d.max()), 137.0)
    at, deep = river.at(np.array([depth, d.max()]), np.array([length, 137.0]))
    assert at[0] == pytest.approx((x - 5) * length / 137) and at[1] == pytest.approx(x - 5, rel=1e-12)
    assert deep[1] == pytest.approx(d, abs=1e-12)
    assert deep[0].max() == pytest.approx(depth), "the deepest has the depth that was asked for"
    assert (deep[0][d == 0] == 0).all() and (deep >= 0).all(), "loss where there was none"
    assert (np.diff(deep[0][np.argsort(d)]) >= -1e-12).all(), "deeper places stay the deeper ones"


def test_a_stretched_and_deepened_river_is_assessed_like_a_profile_that_was_measured_so():
    """An independent second route: the search on arrays that were stretched and deepened by hand."""
    deeper, longer = 1.3, 1.7
    by_hand = weakest_sub_length(RIVER.x * longer, np.where(RIVER.depth > 0, RIVER.depth + deeper, 0), STEEL.D, STEEL.t,
                                 STEEL.flow["effective area"])
    found = kernels.failure("effective area", STEEL, RIVER)(RIVER.greatest + deeper, RIVER.length * longer)
    assert float(found) == pytest.approx(by_hand.pressure, rel=1e-12)


@pytest.mark.parametrize("method", [*OF_BOX, "effective area"])
def test_a_wall_for_each_row_is_the_walls_one_by_one(method):
    """The reference pressure goes with the wall, too."""
    by_wall = Steel(STEEL.D, STEEL.t, STEEL.smts, STEEL.flow, lambda wall: 0.8 * np.asarray(wall))
    depth, length, walls = np.array([2.0, 3.0, 4.0]), np.array([30.0, 160.0, 400.0]), np.array([8.0, 9.4, 12.0])
    found = kernels.safe(method, by_wall, 1.39, RIVER)(depth, length, walls)
    for d, L, t, pressure in zip(depth, length, walls, found, strict=True):
        alone = Steel(STEEL.D, t, STEEL.smts, STEEL.flow, lambda wall: 0.8 * np.asarray(wall))
        assert float(kernels.safe(method, alone, 1.39, RIVER)(d, L)) == pytest.approx(pressure, rel=1e-13)


def test_the_1991_form_without_its_reference_is_refused(judge):
    o = judge(defect__grid=None)
    steel = bare_steel(o.bundle, o.assessment.wall.magnitude)
    assert "original 1991" not in steel.flow
    with pytest.raises(CalculationError, match="reference pressure"):
        kernels.failure("original 1991", steel)(3.0, 100.0)
