"""The axial section: external force, bending in both senses, restraint hot and cold, and the pressure that is left."""

import math
from itertools import product

import numpy as np
import pytest

from wrapcalc import record

D, T, DEPTH, WIDTH = 406.4, 8.51, 4.6, 60.0  # HB-07 without its grid: wall used, depth with allowance; a narrow loss
NU, E, ALPHA = 0.3, 207e3, 11.7e-6
ALLOWED = 0.60 * 360
HOT, COLD, TIE_IN = 37.0, 3.0, 12.0
NARROW = {"defect__width": f"{WIDTH} mm", "defect__depth": "4.4 mm", "service__lowest_temperature": f"{COLD} °C",
          "service__service_temperature": f"{HOT} °C"}
#: Restraint needs the temperature at tie-in.
HELD = {"service__restraint": "restrained", "service__tie_in_temperature": f"{TIE_IN} °C"}


# -- an independent route: the section cut into small pieces ------------------------------------------------------
def fibres(internal=False):
    """(y, area) of small pieces of the net section; y towards the loss, which is a sector outside. Midpoint rule."""
    angle = (np.arange(6000) + 0.5) / 6000 * 2 * math.pi - math.pi
    half = WIDTH / D
    out = []
    for k in range(40):
        lost = DEPTH * (k + 0.5) / 40, DEPTH / 40  # the part of the wall that the loss takes
        kept = DEPTH + (T - DEPTH) * (k + 0.5) / 40, (T - DEPTH) / 40
        for (inward, thick), there in ((lost, np.abs(angle) > half), (kept, np.full(6000, True))):
            r = D / 2 - inward
            out.append(np.stack([r * np.cos(angle[there]), np.full(there.sum(), r * thick * 2 * math.pi / 6000)]))
    return np.concatenate(out, axis=1)


Y, A = fibres()
AREA, MIDDLE = A.sum(), (A * Y).sum() / A.sum()
SECOND = (A * (Y - MIDDLE) ** 2).sum()
#: Farthest fibres: the bottom of the loss or sound steel at its edge, and the outside opposite.
NEAR, FAR = max(D / 2 - DEPTH, D / 2 * math.cos(WIDTH / D)), -D / 2


def by_fibres(force, moment):
    """Greatest axial stress in size, plane sections: force on the pipe axis, moment positive where it stretches the
    side of the loss."""
    def stress(y):
        return force / AREA + (moment + force * (0 - MIDDLE)) * (y - MIDDLE) / SECOND
    return max(abs(stress(NEAR)), abs(stress(FAR)))


def states(at, restraint, force=0.0, moment=0.0):
    """Every state that may act: with the pressure and without, hot and cold, bending both ways."""
    out = []
    for p, sign in product((at, 0.0), (1, -1)):
        if restraint != "restrained":
            out.append((math.pi / 4 * D ** 2 * p + force, sign * moment))
        if restraint in ("restrained", "unknown"):
            for warm in (HOT - TIE_IN, COLD - TIE_IN):
                wall = NU * p * D / (2 * T) - E * ALPHA * warm
                out.append((wall * math.pi * T * (D - T) + force, sign * moment))
    return out


def expected(at, restraint="unrestrained", force=0.0, moment=0.0):
    return max(by_fibres(*s) for s in states(at, restraint, force, moment))


def stress(o):
    return o.assessment.axial_check.provided.magnitude


@pytest.fixture
def axial(box):
    return lambda **fields: box(**NARROW | fields)


def test_the_fibres_are_those_of_the_ring():
    assert AREA == pytest.approx(math.pi * T * (D - T) - WIDTH / D * DEPTH * (D - DEPTH), rel=1e-3)


def test_without_loads_the_end_thrust_acts_on_the_net_section(axial):
    o = axial()
    assert stress(o) == pytest.approx(expected(8.6), rel=2e-3)
    assert "end thrust unrestrained" in o.assessment.axial_check.note


def test_no_loads_stated_a_free_pipe_and_zero_loads_are_the_same_answer(axial):
    plain = stress(axial())
    assert stress(axial(service__restraint="unrestrained")) == plain
    assert stress(axial(service__axial_force="0 kN", service__bending_moment="0 N*m")) == plain
    assert stress(axial(service__axial_force="1e-9 N")) == pytest.approx(plain, rel=1e-9)


@pytest.mark.parametrize("force", [-2500, -600, 400, 900])
@pytest.mark.parametrize("moment", [0, 60, -60])
def test_force_and_moment_against_the_fibres(axial, force, moment):
    o = axial(service__axial_force=f"{force} kN", service__bending_moment=f"{moment} kN*m")
    assert stress(o) == pytest.approx(expected(8.6, "unrestrained", force * 1e3, moment * 1e6), rel=2e-3)


def test_bending_is_taken_in_both_senses(axial):
    """Where on the pipe the loss lies against the bending is not asked: the sign of the moment does not matter."""
    up, down = (axial(service__bending_moment=m, service__axial_force="-2000 kN") for m in ("90 kN*m", "-90 kN*m"))
    assert stress(up) == stress(down) > stress(axial(service__axial_force="-2000 kN"))
    assert "bending" in up.assessment.axial_check.note
    assert up.assessment.axial_check.note == down.assessment.axial_check.note


@pytest.mark.parametrize(("hot", "cold", "worst"), [(37, 3, "hottest"), (80, 3, "hottest"), (20, -45, "coldest")])
def test_a_restrained_pipe_is_taken_hot_and_cold(axial, monkeypatch, hot, cold, worst):
    monkeypatch.setitem(globals(), "HOT", hot)
    monkeypatch.setitem(globals(), "COLD", cold)
    o = axial(**HELD | {"service__service_temperature": f"{hot} °C", "service__lowest_temperature": f"{cold} °C"})
    assert stress(o) == pytest.approx(expected(8.6, "restrained"), rel=2e-3)
    if worst == "coldest" or hot == 80:
        assert worst in o.assessment.axial_check.note


def test_a_warm_restrained_pipe_is_worst_without_pressure(axial):
    """The tension from pressure relieves the compression of warming: a line that is shut in and vented must hold, too.
    Warming by 58 °C alone is 140 MPa in the wall."""
    o = axial(**HELD | {"service__service_temperature": "70 °C"})
    assert "hottest, without pressure" in o.assessment.axial_check.note
    warm = by_fibres(-E * ALPHA * 58 * math.pi * T * (D - T), 0)
    assert stress(o) == pytest.approx(warm, rel=2e-3)
    assert stress(o) > by_fibres((NU * 8.6 * D / 2 / T - E * ALPHA * 58) * math.pi * T * (D - T), 0)
    assert any("buckling" in w["text"] for w in o.recorder.warnings)


def test_a_force_that_pushes_is_worst_without_pressure(axial):
    """End thrust relieves it while the line runs."""
    o = axial(service__axial_force="-1500 kN")
    assert stress(o) == pytest.approx(by_fibres(-1.5e6, 0), rel=2e-3) and "without pressure" in (
        o.assessment.axial_check.note)


@pytest.mark.parametrize("fields", [{}, {"service__axial_force": "300 kN", "service__bending_moment": "40 kN*m"}])
def test_unknown_restraint_is_the_worst_of_both(axial, fields):
    free, held, unknown = (stress(axial(**fields, **HELD | {"service__restraint": r}))
                           for r in ("unrestrained", "restrained", "unknown"))
    assert unknown == pytest.approx(max(free, held), rel=1e-12)


def test_a_coldest_temperature_that_is_not_stated_is_told(axial):
    o = axial(**HELD | {"service__lowest_temperature": None})
    assert [w["text"] for w in o.recorder.warnings if "coldest service temperature is not stated" in w["text"]]
    assert not any("coldest" in w["text"] for w in axial(**HELD).recorder.warnings)


def test_the_load_cases_stand_in_the_record(axial):
    o = axial(**HELD | {"service__restraint": "unknown", "service__bending_moment": "10 kN*m"})
    told = next(i for i in record.build(o)["items"] if i["title"] == "Load cases of the axial section")
    words = [d[0] for d in told["details"]]
    # free, hot, cold; two senses; with pressure and without
    assert len(words) == 3 * 2 * 2 + 1 and words[-1] == "governs"
    assert max(float(d[1].removesuffix(" MPa")) for d in told["details"][:-1]) == pytest.approx(stress(o), rel=1e-3)


# -- the pressure that is left ------------------------------------------------------------------------------------
def axial_pressure(o):
    """The pressure limit of the axial section in the record, None when there is none."""
    return next((i["results"][0]["magnitude"] for i in record.build(o)["items"]
                 if i["title"] == "Pressure that keeps the axial stress inside its limit"), None)


@pytest.mark.parametrize(("fields", "args"), [
    ({"service__axial_force": "1300 kN"}, ("unrestrained", 1.3e6, 0.0)),
    ({"service__axial_force": "400 kN", "service__bending_moment": "70 kN*m"}, ("unrestrained", 0.4e6, 70e6)),
    (HELD | {"service__axial_force": "1300 kN", "service__restraint": "unknown"}, ("unknown", 1.3e6, 0.0))])
def test_the_pressure_limit_with_loads_is_where_the_stress_meets_its_limit(axial, fields, args):
    o = axial(**fields)
    assert not o.assessment.axial_check.met
    low, high = 0.0, 8.6
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if expected(middle, *args) <= ALLOWED else (low, middle)
    assert axial_pressure(o) == pytest.approx(low, rel=5e-3) and 0 < low < 8.6
    assert o.decision.interim_limit.magnitude <= axial_pressure(o)
    just_below = f"{axial_pressure(o) * (1 - 1e-8):.12g} MPa"
    again = axial(**fields, service__maop=just_below, service__discovery_pressure="1 MPa")
    assert again.assessment.axial_check.met and stress(again) == pytest.approx(ALLOWED, rel=1e-6)


def test_loads_that_no_pressure_mends_are_told_and_nothing_is_made_up(axial):
    o = axial(service__axial_force="-3000 kN")
    assert not o.assessment.axial_check.met and axial_pressure(o) is None
    assert "relieve the external loads before anyone works beside the pipe" in o.decision.sentence
    assert any("no pressure limit mends that" in w["text"] for w in o.recorder.warnings)


def test_a_lower_pressure_never_clears_what_fails_without_pressure(axial):
    """Reducing the pressure of a hot restrained pipe does not make it safe."""
    o = axial(**HELD | {"service__service_temperature": "110 °C", "service__lowered_maop": "2 MPa",
                        "service__lowered_maop_reason": "test"})
    assert not o.assessment.axial_check.met and o.decision.word != "reduce pressure and monitor"
    assert axial_pressure(o) is None


def test_internal_loss_has_the_whole_outer_surface_as_farthest_fibre(axial):
    inner, outer = (stress(axial(defect__kind=k, service__axial_force="400 kN"))
                    for k in ("internal metal loss", "external metal loss"))
    assert inner > outer
