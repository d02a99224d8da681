"""The design asked as a function of its inputs gives what the whole job gives for a case with those inputs."""

from __future__ import annotations

import numpy as np
import pytest

from wrapcalc.stages.wrap import wrap_kernel
from wrapcalc.stages.wrap.chain import DEPTH, HOT, INSTALLED, LENGTH, LIVE, OPENING, PRESSURE, WALL, WIDTH, Chain
from wrapcalc.systems import shipped_systems

WRAPS = ("HB-07", "HB-15", "HB-34", "HB-42", "HB-46", "HB-51")
#: Recorded steps are carried to 12 digits; the axial section is looked at with fewer widths by the arrays.
SAME = 2e-6


@pytest.fixture
def chain(judge):
    """chain(case, **fields) -> the chain of that case's design, which must hold."""
    def of(case="HB-15", **fields) -> Chain:
        o = judge(f"{case}.toml", **fields)
        assert o.design is not None and o.design.holds, o.decision.reasons
        return Chain(o.bundle, o.design)
    return of


@pytest.mark.parametrize("case", WRAPS)
def test_at_its_own_inputs_it_is_the_recorded_design(chain, case):
    c = chain(case)
    laid = c.design.laid
    assert c.required({})[0] == pytest.approx(laid.required.magnitude, rel=SAME)
    if not c.bundle.system.is_sleeve:
        assert c.count({})[0] == laid.count.magnitude
    assert 0 < c.use({})[0] <= 1 + 1e-9
    assert c.use({})[0] >= c.required({})[0] / laid.thickness.magnitude * (1 - 1e-12)


CHANGES = [
    ("HB-15", {"service__service_temperature": "118 °F"}, {HOT: (118 - 32) / 1.8}),
    ("HB-15", {"service__installation_temperature": "52 °F"}, {INSTALLED: (52 - 32) / 1.8}),
    ("HB-15", {"service__installation_pressure": "60 psi"}, {LIVE: 60 * 0.00689475729}),
    ("HB-15", {"defect__depth": "0.120 in"}, {DEPTH: (0.120 + 0.008) * 25.4}),
    ("HB-15", {"defect__length": "6.1 in"}, {LENGTH: (6.1 + 0.4) * 25.4}),
    ("HB-15", {"pipe__sound_wall": "0.352 in", "pipe__nominal_wall": "0.352 in"}, {WALL: (0.352 - 0.004) * 25.4}),
    ("HB-46", {"service__installation_pressure": "0.4 MPa"}, {LIVE: 0.4}),
    ("HB-46", {"defect__depth": "3.5 mm"}, {DEPTH: 3.7}),
    ("HB-46", {"defect__depth": "3.5 mm", "defect__length": "120 mm"}, {DEPTH: 3.7, LENGTH: 130.0}),
    ("HB-46", {"pipe__sound_wall": "7.75 mm"}, {WALL: 7.65}),
    ("HB-42", {"defect__leak_size": "9 mm"}, {OPENING: 13.0}),
    ("HB-42", {"service__service_temperature": "45 °C"}, {HOT: 45.0}),
]


@pytest.mark.parametrize(("case", "fields", "inputs"), CHANGES)
def test_a_changed_input_gives_what_the_whole_job_gives(chain, judge, case, fields, inputs):
    """independent: the job from the case file, with every step recorded."""
    asked, whole = chain(case).required(inputs)[0], judge(f"{case}.toml", **fields).design.laid.required.magnitude
    assert asked == pytest.approx(whole, rel=5e-6)


@pytest.mark.parametrize(("route", "more"), [
    ("load sharing", {}), ("laminate strain", {"design__axial_carried_by": "remaining steel",
                                               "design__axial_carried_by_reason": "the net section is checked"})])
def test_a_changed_pressure_gives_what_the_whole_job_gives(judge, route, more):
    """The pressure is that of a declared upset, which leaves the assessment alone; a sleeve of many layers holds."""
    sheet = shipped_systems()["example-sleeve"].read_text("utf-8").replace("layers = 11", "layers = 40")
    more = more | {"files": {"mine.toml": sheet}, "design__system": "mine.toml", "design__design_method": route}
    base, upset = judge(**more), judge(**more, service__upset_pressure="8.9 MPa")
    c = Chain(base.bundle, base.design)
    for o in (base, upset):
        assert c.required({PRESSURE: o.design.pressure.magnitude})[0] == pytest.approx(
            o.design.laid.required.magnitude, rel=5e-6)
    assert upset.design.laid.required.magnitude > base.design.laid.required.magnitude


def test_a_wider_loss_gives_what_the_whole_job_gives(chain, judge):
    """Where the axial load governs, the width is an input of the design."""
    c = chain("HB-46")
    whole = judge("HB-46.toml", defect__width="255 mm").design.laid.required.magnitude
    assert c.required({WIDTH: 255.0})[0] == pytest.approx(whole, rel=5e-5)
    assert c.use({WIDTH: 262.0})[0] > 1 > c.use({WIDTH: 258.0})[0]


def test_what_no_thickness_mends_is_inside_the_use(chain):
    """Depth and wall together against the depth limit and the least wall; axial load that the steel carries."""
    c = chain("HB-07")
    share, least = c._limits
    wall = c.base[WALL]
    assert c.use({DEPTH: share * wall * 1.001})[0] == np.inf
    deep = c.base[DEPTH]
    assert c.use({DEPTH: deep, WALL: max(deep / share, deep + least) * 0.999})[0] == np.inf
    wide = c.use({WIDTH: np.array([c.base[WIDTH], 1100.0])})
    assert wide[0] < 1 and wide[1] == np.inf, "a sleeve that is not qualified for axial load"


@pytest.mark.parametrize("case", WRAPS)
def test_arrays_are_the_rows_one_by_one(chain, case):
    c = chain(case)
    names = [n for n in c.base if n != OPENING]
    rng = np.random.default_rng(4)
    rows = {n: c.base[n] * rng.uniform(0.93, 1.07, 12) for n in names}
    together, uses = c.required(rows), c.use(rows)
    for i in range(12):
        row = {n: v[i] for n, v in rows.items()}
        assert c.required(row)[0] == pytest.approx(together[i], rel=1e-12)
        assert c.use(row)[0] == pytest.approx(uses[i], rel=1e-12)


@pytest.mark.parametrize("case", WRAPS)
def test_worse_is_never_thinner(chain, case):
    """More pressure, deeper, longer, thinner wall, more pressure while wrapping, hotter above the installation."""
    c = chain(case)
    for name in (PRESSURE, DEPTH, LENGTH, WALL, LIVE, HOT, OPENING):
        if name not in c.base or not c.base[name]:
            continue
        low, high = (1.0, 0.8) if name == WALL else (1.0, 1.5)
        found = c.required({name: c.base[name] * np.linspace(low, high, 40)})
        assert np.all(np.diff(found[np.isfinite(found)]) >= -1e-9 * found[0]), name
        stopped = np.flatnonzero(~np.isfinite(found))
        assert not stopped.size or np.all(~np.isfinite(found[stopped[0]:])), f"{name}: a gate that stops and lets go"


def test_a_gate_that_stops_gives_no_number_to_go_on_with(chain):
    c = chain()
    for inputs in ({LIVE: 1e3}, {DEPTH: 1e3}, {HOT: 200.0}):
        assert c.required(inputs)[0] == np.inf and c.use(inputs)[0] == np.inf and c.count(inputs)[0] == np.inf


def test_damage_that_is_nowhere_greater_keeps_the_safe_pressure_of_the_design(chain):
    """A complex shape may be above the single defect that the function of size is: at the design it must not fail."""
    c = chain("HB-07", assessment__method="DNV-RP-F101", assessment__method_reason="company standard")
    assert c.required({})[0] == pytest.approx(c.design.laid.required.magnitude, rel=SAME)
    assert c.required({DEPTH: c.base[DEPTH] * 0.9})[0] <= c.required({})[0] * (1 + 1e-12)


def test_layers_of_the_kernel_are_those_of_the_formula():
    found = wrap_kernel.layers(np.array([0.1, 3.0, 3.0000001, np.inf]), 1.5, 1.0)
    assert list(found) == [1, 2, 3, np.inf]
