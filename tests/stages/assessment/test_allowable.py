"""Allowable sizes: a case changed to them has the MAOP as governing safe pressure, and the curves go through them."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.stages.assessment.test_plant import PLANT
from wrapcalc import record
from wrapcalc.stages.assessment import kernels
from wrapcalc.stages.assessment.kernels import River
from wrapcalc.stages.assessment.of_record import envelope
from wrapcalc.stages.assessment.ranking import bare_steel

WHY = {"assessment__method_reason": "test"}
#: Beyond the allowable size by this share the MAOP is no longer kept.
BIT = 1e-5


def allowed(o) -> dict:
    return record.build(o)["allowable"]


def governing(o) -> float:
    return o.assessment.governing.magnitude


@pytest.fixture
def sized(box):
    """sized(depth, length, ...) is HB-07 as a box of these sizes used, in mm, allowances inside."""
    def change(depth, length, **fields):
        return box(defect__depth=f"{depth - 0.2:.12g} mm", defect__length=f"{length - 10:.12g} mm",
                   defect__width="60 mm", **fields)
    return change


@pytest.mark.parametrize("method", ["lower of all", "original 2012", "0.85dL", "DNV-RP-F101", "plant"])
@pytest.mark.parametrize(("depth", "length"), [(4.1, 246), (2.6, 120)])
def test_a_case_of_the_allowable_size_has_the_maop_as_its_safe_pressure(sized, method, depth, length):
    fields = {"assessment__method": method} | WHY
    if method == "plant":
        fields = PLANT | {"service__maop": "4 MPa", "service__discovery_pressure": "2 MPa"}
        fields.pop("defect__grid")
    o = sized(depth, length, **fields)
    found, maop = allowed(o), o.bundle.case.get("service.maop").base
    longest, deepest = found["length"]["magnitude"], found["depth"]["magnitude"]
    assert found["point"] == [pytest.approx(length), pytest.approx(depth)] and found["pressure"]["magnitude"] == maop
    by_length, by_depth = sized(depth, longest, **fields), sized(deepest, length, **fields)
    for there in (by_length, by_depth):
        assert governing(there) == pytest.approx(maop, rel=1e-6)
        assert governing(there) >= maop * (1 - 1e-9), "the passing side of the bracket was not taken"
    assert governing(sized(depth, longest * (1 + BIT), **fields)) < maop
    assert governing(sized(deepest * (1 + BIT), length, **fields)) < maop


def test_a_jump_is_left_on_its_safe_side(sized):
    """The original form falls at z = 20, here from 8.07 to 6.44 MPa: between them the jump is the answer."""
    fields = {"assessment__method": "original 2012", "service__maop": "7.5 MPa"} | WHY
    edge = math.sqrt(20 * 406.4 * 8.51)
    o = sized(3.0, edge - 20, **fields)
    assert allowed(o)["length"]["magnitude"] == pytest.approx(edge, abs=1e-4)
    told = next(i for i in record.build(o)["items"] if i["title"] == "Allowable length at the depth used")
    assert "jump" in dict(map(tuple, told["details"]))["bracket"]
    assert governing(sized(3.0, edge - 1e-3, **fields)) > 7.5 > governing(sized(3.0, edge + 1e-3, **fields))


def profile(x, d) -> str:
    return "station mm,depth mm\n" + "".join(f"{a:.10f},{b:.10f}\n" for a, b in zip(x, d, strict=True))


def test_a_profile_of_the_allowable_size_has_the_maop_as_its_safe_pressure(judge):
    """Stretched evenly, or deepened evenly wherever there is loss: so it is said beside the number."""
    x, d = np.array([0.0, 20, 60, 90, 130, 180, 230]), np.array([0, 1.5, 4.1, 2.2, 3.3, 1.0, 0])

    def of(x, d, length):
        return judge("HB-34.toml", files={"p.csv": profile(x, d)}, defect__pits=None, defect__profile="p.csv",
                     assessment__interaction=None, assessment__interaction_reason=None, growth=None,
                     defect__depth=f"{d.max():.10f} mm", defect__length=f"{length:.10f} mm",
                     defect__depth_allowance="0 mm", defect__length_allowance="0 mm", defect__width="60 mm",
                     assessment__method="effective area", service__maop="8.2 MPa", restriction=None, **WHY)
    o = of(x, d, 230)
    found = allowed(o)
    longest, deepest = found["length"]["magnitude"], found["depth"]["magnitude"]
    assert longest < 2000 and deepest < 0.8 * 9.38 - 1e-6
    for there in (of(x * longest / 230, d, longest), of(x, np.where(d > 0, d + deepest - 4.1, 0), 230)):
        assert governing(there) == pytest.approx(8.2, rel=1e-6)
    told = next(i for i in record.build(o)["items"] if i["title"] == "Allowable depth at the length used")
    assert "deepened evenly and stretched" in told["method"]


# -- the limits ---------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("sound", "basis"), [("8.61 mm", {}), ("9.6 mm", {"pipe__wall_basis": "measured",
                                                                         "pipe__wall_basis_reason": "test"})])
def test_the_allowable_depth_ends_at_the_depth_limit_on_the_thinner_wall(sized, sound, basis):
    """0.80 of the nominal wall, 6.992 mm, where the measured wall is thicker; of the wall used where it is thinner."""
    o = sized(2.0, 60, service__maop="2 MPa", service__discovery_pressure="2 MPa", pipe__sound_wall=sound, **basis)
    limit = 0.8 * min(8.74, float(sound.split()[0]) - 0.1)
    assert allowed(o)["depth"]["magnitude"] == pytest.approx(limit, rel=1e-9)
    assert allowed(o)["length"]["magnitude"] == 20_000
    told = next(i for i in record.build(o)["items"] if i["title"] == "Allowable depth at the length used")
    assert ["limit", "no limit up to the depth limit"] in told["details"]
    low = {"service__maop": "1 MPa", "service__discovery_pressure": "1 MPa", "pipe__sound_wall": sound} | basis
    assert not sized(limit - 1e-6, 60, **low).assessment.too_deep
    assert sized(limit + 1e-6, 60, **low).assessment.too_deep


def test_where_not_even_the_smallest_size_keeps_the_maop_nothing_is_made_up(sized):
    """Sound pipe of this steel has 0.60 * 2 * 396 * 8.51 / 406.4 = 9.95 MPa by the original form."""
    o = sized(4.1, 246, service__maop="11 MPa", service__maop_basis="test")
    assert allowed(o)["depth"] is None and allowed(o)["length"] is None
    gates = [i for i in record.build(o)["items"] if i["topic"] == "Allowable sizes"]
    assert [g["type"] for g in gates] == ["check", "check"]
    assert all("not even the smallest size keeps the MAOP" in g["found"] for g in gates)
    assert all(d == 0 for c in allowed(o)["curves"] for _, d in c["points"] if "2012" in c["method"])


# -- the curves ---------------------------------------------------------------------------------------------------
def test_the_lowest_of_the_curves_goes_through_the_allowable_depth(sized):
    o = sized(4.1, 246)
    found, family = allowed(o), {"ASME B31G-1991", "ASME B31G-2012"}
    depths = []
    for curve in found["curves"]:
        if curve["method"].split(",")[0] in family:
            at = [d for L, d in curve["points"] if L == pytest.approx(246, rel=1e-12)]
            assert len(at) == 1
            depths += at
    assert len(depths) == 3 and min(depths) == pytest.approx(found["depth"]["magnitude"], abs=1e-5)
    assert [c["governs"] for c in found["curves"]].count(True) == 1


def test_on_every_curve_the_safe_pressure_is_the_maop(sized):
    o = sized(4.1, 246)
    a, keys = o.assessment, {"ASME B31G-2012, original form": "original 2012", "ASME B31G-2012, 0.85 dL form": "0.85dL"}
    steel = bare_steel(o.bundle, a.wall.magnitude)
    seen = 0
    for curve in allowed(o)["curves"]:
        if curve["method"] not in keys:
            continue
        safe = kernels.safe(keys[curve["method"]], steel, a.safety.magnitude)
        for L, d in curve["points"]:
            assert float(safe(d, L)) >= 8.6 * (1 - 1e-12)
            if d < 0.8 * 8.51 - 1e-4:
                assert float(safe(d + 1e-4, L)) < 8.6
                seen += 1
        assert [d for _, d in curve["points"]] == sorted((d for _, d in curve["points"]), reverse=True)
    assert seen > 40


# -- the envelope of a long profile -------------------------------------------------------------------------------
@given(st.lists(st.floats(0, 8), min_size=12, max_size=120), st.integers(4, 40), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_the_envelope_is_never_shallower_and_no_deeper_than_the_deepest(depths, most, pick):
    d = np.array([0.0, *depths, 0.0])
    d[len(d) // 2] = 3.0
    x = np.cumsum([pick.uniform(0.5, 4) for _ in d])
    out = envelope(River(x, d, float(d.max()), 100.0), most)
    fine = np.unique(np.concatenate([x, np.linspace(x[0], x[-1], 800)]))
    assert (np.interp(fine, out.x, out.depth) >= np.interp(fine, x, d) - 1e-9).all()
    assert out.depth.max() == pytest.approx(d.max()) == out.greatest and out.depth[0] == out.depth[-1] == 0
    assert len(out.x) <= most + 2 and (np.diff(out.x) > 0).all() and out.length == 100


def test_a_long_profile_is_worked_by_its_envelope_on_the_safe_side(judge):
    """400 stations: the sizes found are not above those of the profile itself, of which the stage knows each one."""
    x = np.linspace(0, 300, 400)
    d = np.round(np.where((x > 0) & (x < 300), 2.2 + 1.6 * np.sin(x / 17) ** 2 * np.sin(math.pi * x / 300), 0), 4)
    o = judge("HB-34.toml", files={"p.csv": profile(x, d)}, defect__pits=None, defect__profile="p.csv",
              assessment__interaction=None, assessment__interaction_reason=None, growth=None, restriction=None,
              defect__depth=f"{d.max()} mm", defect__length="300 mm", defect__depth_allowance="0 mm",
              defect__length_allowance="0 mm", assessment__method="effective area", **WHY)
    a = o.assessment
    deepest = allowed(o)["depth"]["magnitude"]
    exact = kernels.safe("effective area", bare_steel(o.bundle, a.wall.magnitude), a.safety.magnitude, a.river)
    assert float(exact(deepest, 300.0)) >= 7.6 * (1 - 1e-9)
    told = next(i for i in record.build(o)["items"] if i["title"] == "Allowable depth at the length used")
    assert "replaced by an envelope" in told["method"]
