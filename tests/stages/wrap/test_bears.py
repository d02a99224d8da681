"""What a repair can bear: restored pressure and its caps, use over layers, single edges, the box for the site."""

from __future__ import annotations

import itertools

import pytest

from wrapcalc.stages.job import WRAP
from wrapcalc.stages.wrap.chain import DEPTH, HOT, LENGTH, OPENING, PRESSURE, WALL, WIDTH
from wrapcalc.systems import shipped_systems

WRAPS = ("HB-07", "HB-15", "HB-34", "HB-42", "HB-46", "HB-51")


@pytest.fixture(scope="module")
def bore():
    """Outcomes by case, so that each example runs once."""
    from importlib import resources
    from pathlib import Path

    from wrapcalc.case import load_bundle
    from wrapcalc.stages.job import run
    folder = Path(str(resources.files("wrapcalc.example")))
    return {c: run(load_bundle(folder / f"{c}.toml")) for c in WRAPS}


def in_mm(value: float) -> str:
    return f"{value:.9f} mm"


# -- restored pressure --------------------------------------------------------------------------------------------
@pytest.mark.parametrize("case", WRAPS)
def test_restored_is_never_above_what_was_asked_for(bore, case):
    o = bore[case]
    assert 0 < o.bears.restored.magnitude <= o.design.pressure.magnitude * (1 + 1e-12)


def test_an_open_restriction_stays(bore, judge):
    """HB-34 is restricted to 6 MPa; without the restriction the MAOP is restored."""
    assert bore["HB-34"].bears.restored.magnitude == 6.0
    assert any("still open in this section" in w["text"] for w in bore["HB-34"].recorder.warnings)
    assert "After the repair the pressure stays at 6 MPa" in bore["HB-34"].decision.sentence
    free = judge("HB-34.toml", restriction=None)
    assert free.bears.restored.magnitude == 7.6 and "the pressure stays" not in free.decision.sentence


def test_a_lowered_maop_is_what_is_restored(judge):
    o = judge(service__lowered_maop="8.0 MPa", service__lowered_maop_reason="owner, letter 4")
    assert o.decision.word == WRAP and o.bears.restored.magnitude == 8.0


def test_an_opening_is_not_said_to_hold_beyond_what_was_tested(bore):
    assert bore["HB-42"].bears.edges[PRESSURE].value <= 1.6


# -- use over layers ----------------------------------------------------------------------------------------------
@pytest.mark.parametrize("case", WRAPS)
def test_more_layers_use_less_and_fewer_are_never_offered(bore, case):
    o = bore[case]
    counts, uses = [n for n, _, _ in o.bears.uses], [u.magnitude for _, u, _ in o.bears.uses]
    assert counts[0] == o.design.layers.magnitude and counts == sorted(counts)
    assert uses == sorted(uses, reverse=True) and uses[0] <= 1 + 1e-9
    assert [d for _, _, d in o.bears.uses] == [True] + [False] * (len(counts) - 1)


# -- single edges -------------------------------------------------------------------------------------------------
def again(judge, case: str, name: str, value: float):
    """The whole job with one input at a value, allowances as in the case."""
    get = judge(case).bundle.case.get
    if name == DEPTH:
        return judge(case, defect__grid=None, defect__depth=in_mm(value - get("defect.depth_allowance").base))
    if name == LENGTH:
        return judge(case, defect__length=in_mm(value - get("defect.length_allowance").base))
    if name == WALL:
        return judge(case, pipe__sound_wall=in_mm(value + get("pipe.wall_allowance").base))
    return judge(case, defect__width=in_mm(value))


@pytest.mark.parametrize(("case", "name"), [("HB-15", DEPTH), ("HB-15", LENGTH), ("HB-15", WALL), ("HB-46", DEPTH),
                                            ("HB-46", WIDTH), ("HB-46", WALL)])
def test_an_edge_is_an_edge_of_the_whole_job(bore, judge, case, name):
    """independent: the job from the case file holds with these layers a hair inside, and asks for more beyond."""
    edge = bore[case].bears.edges[name]
    laid = bore[case].design.laid.thickness.magnitude
    hair = 3e-4 * (edge.value - edge.base)
    inside = again(judge, f"{case}.toml", name, edge.value - hair)
    assert inside.design.laid.required.magnitude <= laid * (1 + 1e-9)
    if edge.failing is not None:
        beyond = again(judge, f"{case}.toml", name, edge.failing + hair)
        assert beyond.design.laid.required.magnitude > laid or beyond.design.failed


def test_the_edges_of_heat_end_where_the_tests_end(bore):
    for case in WRAPS:
        edge = bore[case].bears.edges.get(HOT)
        most = bore[case].bundle.system.value("envelope.service_temperature_max").magnitude
        assert edge is None or edge.value <= most


def test_heat_is_not_looked_at_where_it_pushes_a_held_pipe(judge):
    o = judge("HB-46.toml", service__restraint="unknown", service__tie_in_temperature="15 °C")
    assert o.bears is None or HOT not in o.bears.edges


# -- the box ------------------------------------------------------------------------------------------------------
FIELDS = {DEPTH: "defect__depth", LENGTH: "defect__length", WIDTH: "defect__width", WALL: "pipe__sound_wall",
          OPENING: "defect__leak_size"}


@pytest.mark.parametrize("case", WRAPS)
def test_each_side_says_its_sense_and_stands_as_a_reading(bore, case):
    o = bore[case]
    for side in o.bears.box:
        assert side.at_most == (side.name != WALL)
        stated = {DEPTH: "defect.depth", LENGTH: "defect.length", WIDTH: "defect.width", OPENING: "defect.leak_size"}
        if side.name in stated:
            assert side.designed == pytest.approx(o.bundle.case.get(stated[side.name]).base, rel=1e-12)
        ahead = side.edge.magnitude - side.designed
        assert ahead >= -1e-9 if side.at_most else ahead <= 1e-9


@pytest.mark.parametrize("case", ["HB-07", "HB-15", "HB-42", "HB-46", "HB-51"])
def test_the_box_holds_at_its_corners_by_the_whole_job(bore, judge, case):
    """independent: the job with the readings of every corner, same allowances: no more layers, no more length."""
    o = bore[case]
    laid = o.design.laid.thickness.magnitude
    sides = o.bears.box
    assert sides
    for corner in itertools.product((False, True), repeat=len(sides)):
        at = {FIELDS[s.name]: in_mm(s.edge.magnitude if far else s.designed)
              for s, far in zip(sides, corner, strict=True)}
        if case == "HB-07":
            at["defect__grid"] = None
        found = judge(f"{case}.toml", **at)
        assert found.design is not None and found.design.laid is not None
        assert found.design.laid.required.magnitude <= laid * (1 + 1e-6), at
        assert all(r.full.magnitude <= s.layout.cover.magnitude * (1 + 1e-9) for r, s in zip(
            found.design.extent.repairs, o.design.extent.repairs, strict=True)), at


def test_nobody_wraps_above_the_safe_pressure_of_what_the_box_allows(judge):
    """By a route that leaves the steel out, too: the box ends where the pressure while wrapping meets it."""
    sheet = shipped_systems()["example-sleeve"].read_text("utf-8").replace("layers = 11", "layers = 60")
    more = {"files": {"mine.toml": sheet}, "design__system": "mine.toml", "design__design_method": "laminate strain",
            "design__axial_carried_by": "remaining steel", "design__axial_carried_by_reason": "the section is checked"}
    low, high = (judge(**more, service__installation_pressure=p) for p in ("0 MPa", "6.4 MPa"))
    edges = [o.bears.edges[DEPTH].value for o in (low, high)]
    assert edges[1] < edges[0]
    found = judge(**more, service__installation_pressure="6.4 MPa", defect__grid=None,
                  defect__depth=in_mm(edges[1] - 0.2 - 1e-4))
    assert found.assessment.governing.magnitude >= 6.4 * (1 - 1e-4)


def test_the_length_edge_minds_the_welds(judge):
    """Longer damage at one end brings the wrap nearer to what is there by half as much."""
    wide = judge("HB-46.toml", defect__clear_upstream="5 m", defect__clear_downstream="5 m")
    near = judge("HB-46.toml", defect__clear_upstream="236 mm")
    needed = next(c for c in near.design.clear if c.title.endswith("upstream"))
    slack = needed.limit.magnitude - needed.provided.magnitude
    assert near.bears.edges[LENGTH].value == pytest.approx(near.design.at_end.extent.magnitude + 2 * slack, abs=1e-6)
    assert wide.bears.edges[LENGTH].value > near.bears.edges[LENGTH].value


def test_what_has_no_room_stands_at_the_reading_of_the_case(judge):
    """With little room the length of the damage decides how much there is: the ditch may show no more of it."""
    o = judge("HB-46.toml", defect__clear_upstream="140 mm", design__limited_room="thicker wrap",
              design__limited_room_reason="the next joint is cased")
    assert o.decision.word == WRAP and LENGTH not in o.bears.edges
    side = next(s for s in o.bears.box if s.name == LENGTH)
    assert side.edge.magnitude == side.designed == o.bundle.case.get("defect.length").base and side.at_most
    assert [s.name for s in o.bears.box] == [DEPTH, LENGTH, WIDTH, WALL]
