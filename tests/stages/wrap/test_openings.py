"""A wrap over an opening through the wall of plant piping: what it asks for, and everything that refuses it."""

from __future__ import annotations

import math

import pytest
from scipy.optimize import brentq

from wrapcalc.formulas import wrap_through_wall as leak
from wrapcalc.stages.job import NO_DATA, OTHER, WRAP, Outcome


@pytest.fixture
def plug(judge):
    """plug(table__key=value, ...) runs the leak of the example with these fields changed."""
    return lambda **fields: judge("HB-42.toml", **fields)


def failed(o: Outcome) -> list[str]:
    return [c.title for c in o.design.failed]


def curve(o: Outcome):
    """Pressure over thickness by the equation itself, with the factors by hand (from memory, class 3, 10 years)."""
    system, size = o.bundle.system, o.design.opening.size.magnitude
    value = lambda n: system.value(n).magnitude  # noqa: E731
    margin = min(value(f"{p}.glass_transition") for p in ("laminate", "adhesive", "filler", "primer")) - 30 - 32
    hot = min(1.0, 9e-5 * margin ** 2 + 0.0014 * margin + 0.5014)
    K = hot * value("through_wall.degradation_factor") * 0.666 * 10 ** (-0.01584 * 9)
    E = math.sqrt(value("laminate.modulus_axial") * value("laminate.modulus_hoop"))
    nu, G, gamma = value("laminate.poisson_ratio"), value("through_wall.shear_modulus"), value("through_wall.toughness")

    def reached(t: float) -> float:
        room = (1 - nu ** 2) / E * (3 * size ** 4 / (512 * t ** 3) + size / math.pi) + 3 * size ** 2 / (64 * G * t)
        return K * math.sqrt(gamma / room)
    return reached, K * math.sqrt(math.pi * gamma * E / ((1 - nu ** 2) * size))


def test_the_thickness_over_a_hole_is_the_root_of_the_equation(plug):
    """independent: the equation written out again and scipy; the test pressure is designed for as a lasting load."""
    o = plug()
    reached, _ = curve(o)
    root = brentq(lambda t: reached(t) - 0.85, 0.01, 200)
    assert o.design.opening.required.magnitude == pytest.approx(root, rel=1e-6)
    assert o.design.opening.size.magnitude == 6 + 2 * 0.2 * 10


def test_all_conditions_are_met_and_the_greatest_governs(plug):
    o = plug()
    laid = o.design.laid
    assert laid.governing.what == "impact" and laid.thickness.magnitude >= laid.required.magnitude
    assert {d.what for d in o.design.chosen.demands} >= {"around the pipe", "along the pipe"}
    hard = plug(design__repair_class="3", service__maop="1.0 MPa", service__discovery_pressure="0.9 MPa",
                service__test_pressure="1.5 MPa", defect__leak_size="17 mm")
    assert hard.design.laid.governing.what == "over the opening"


def test_no_thickness_reaches_the_ceiling(plug, judge):
    """A pressure just above the ceiling is refused, and nothing is derived from a thickness."""
    o = plug(service__test_pressure=None)
    _, ceiling = curve(o)
    assert ceiling > 0.7
    weak = o.bundle.system.value("through_wall.toughness").magnitude * (0.7 / ceiling) ** 2
    text = (o.bundle.files["example-cloth.toml"]).decode().replace('toughness = "70 J/m2"',
                                                                  f'toughness = "{weak * 1000 * 0.999:.6f} J/m2"')
    low = plug(service__test_pressure=None, files={"mine.toml": text}, design__system="mine.toml")
    assert low.decision.word == OTHER
    assert failed(low)[-1] == "Equivalent pressure against the ceiling that no thickness reaches"
    assert low.design.opening.required is None and low.design.laid is None


@pytest.mark.parametrize(("fields", "title"), [
    ({"service__fluid": "hazardous"}, "Fluid that leaks"),
    ({"service__fluid": "unknown"}, "Fluid that leaks"),
    ({"defect__leak_stopped": "no"}, "Flow stopped before anything is bonded"),
    ({"design__design_method": "load sharing"}, "Route for an opening through the wall"),
    ({"defect__leak_size": "25 mm"}, "Opening inside what was tested"),
    ({"service__maop": "1.7 MPa", "service__discovery_pressure": "1.7 MPa", "service__test_pressure": None},
     "Pressure over the opening inside what was tested over openings"),
    ({"service__service_temperature": "57 °C"}, "Hottest service against the upper limit of the system"),
])
def test_what_refuses_it(plug, fields, title):
    o = plug(**fields)
    assert o.decision.word == OTHER and title in failed(o) and "welded or bolted" in o.decision.sentence


def test_a_leaking_transmission_line_is_refused_by_its_line_code(judge):
    o = judge(defect__kind="leak", defect__grid=None, defect__depth=None, defect__depth_allowance=None)
    assert o.decision.word == OTHER and o.design is None
    assert "leak" in o.decision.sentence


def test_the_hole_must_be_inside_the_validity_of_the_equation(plug):
    """The smaller of two recollections: the root of 6 D t."""
    o = plug(defect__leak_size="21 mm")
    checks = [c for c in o.recorder.items if getattr(c, "title", "") == "Opening inside the validity of the equation"]
    assert len(checks) == 1 and checks[0].kind == "scope"
    t_c = o.design.wrap_thickness.magnitude
    assert checks[0].limit.magnitude == pytest.approx(math.sqrt(6 * 168.3 * t_c), rel=1e-9)
    assert leak.hole_limit.core(6, 168.3, t_c) < 6 * math.sqrt(168.3 * t_c)


def test_a_slot_right_round_has_its_own_equation_and_an_axial_one_is_information_only(plug):
    ring = plug(defect__leak_shape="circumferential slot", defect__leak_size="3 mm")
    assert ring.decision.word in (WRAP, OTHER)
    used = [i.formula.name for i in ring.recorder.items if getattr(i, "formula", None) is not None]
    assert "leak_pressure_slot" in used and "leak_pressure_hole" not in used
    slot = plug(defect__leak_shape="axial slot", defect__leak_size="3 mm")
    assert slot.decision.word == NO_DATA and "Equation for an axial slot is known" in failed(slot)
    assert any("was not recalled" in w["text"] for w in slot.recorder.warnings)


def test_what_is_not_stated_of_an_opening_is_asked_for(plug):
    o = plug(defect__leak_growth=None, service__fluid=None)
    assert o.decision.word == NO_DATA and set(o.missing) == {"defect.leak_growth", "service.fluid"}


def test_a_longer_life_is_a_larger_opening_and_a_lower_factor(plug):
    short, long = plug(design__design_life="4 y"), plug(design__design_life="10 y")
    assert long.design.opening.required.magnitude > short.design.opening.required.magnitude
    assert long.design.opening.size.magnitude == pytest.approx(short.design.opening.size.magnitude + 2.4)


def test_a_toughness_above_its_own_tests_is_refused(plug):
    o = plug()
    text = o.bundle.files["example-cloth.toml"].decode().replace('toughness = "70 J/m2"', 'toughness = "79 J/m2"')
    much = plug(files={"mine.toml": text}, design__system="mine.toml")
    assert "Toughness of the sheet against the lower limit of its tests" in failed(much)


def test_the_second_opinion_is_outside_its_scope(plug):
    o = plug()
    assert o.opinion is None
    said = [c for c in o.recorder.items if getattr(c, "title", "") == "Second opinion covers this design"]
    assert len(said) == 1 and "outside scope" in said[0].found and said[0].kind == "scope"


def test_the_thinned_metal_grows_where_the_case_says_so(plug):
    plain, grows = plug(), plug(growth__length_rate="1 mm/y")
    assert grows.design.extent.repairs[0].length.magnitude == pytest.approx(
        plain.design.extent.repairs[0].length.magnitude + 20)
    assert any("keeps its length" in a["text"] for a in plain.recorder.assumptions)


def test_tests_that_say_nothing_of_the_toughness_are_a_gate_and_not_a_stop(plug):
    """Two tests only; and three that scatter so much that nothing is left."""
    text = plug().bundle.files["example-cloth.toml"].decode()
    head, tail = text[:text.index("[[blister]]")], text[text.index("[[evidence]]"):]

    def tests(*pressures: str) -> str:
        return "".join(f'[[blister]]\nhole = "10 mm"\npressure = "{p} MPa"\nthickness = "6.6 mm"\n' for p in pressures)
    for rows in (tests("9", "9.2"), tests("1", "20", "2")):
        o = plug(files={"mine.toml": head + rows + tail}, design__system="mine.toml")
        assert o.decision.word == OTHER and "Toughness from tests over holes" in failed(o)
