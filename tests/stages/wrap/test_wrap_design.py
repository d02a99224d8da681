"""The design of the wrap, from loads to layers: load cases, temperature and cycles, two kinds of system, components."""

from __future__ import annotations

import math

import pytest
import tomlkit

from wrapcalc.stages.job import NO_DATA, OTHER, WRAP, Outcome
from wrapcalc.systems import shipped_systems

BY_STEEL = {"design__axial_carried_by": "remaining steel", "design__axial_carried_by_reason": "the section is checked"}


@pytest.fixture
def sheet():
    """sheet(system, table__key=value) -> the fields of a case that names that changed sheet as its own."""
    def changed(system: str, **fields) -> dict:
        data = tomlkit.parse(shipped_systems()[system].read_text("utf-8")).unwrap()
        for dotted, value in fields.items():
            table, _, key = dotted.partition("__")
            if key:
                data[table].pop(key, None)
                if value is not None:
                    data[table][key] = value
            elif value is None:
                data.pop(table, None)
            else:
                data[table] = value
        return {"files": {"mine.toml": tomlkit.dumps(data)}, "design__system": "mine.toml"}
    return changed


def demands(o: Outcome) -> dict[str, float]:
    return {d.what: d.required.magnitude for d in o.design.chosen.demands}


def failed(o: Outcome) -> list[str]:
    return [c.title for c in o.design.failed]


# -- loads --------------------------------------------------------------------------------------------------------
STRAIN = {"design__design_method": "laminate strain"}
DEEP = {"defect__depth": "5.1 mm"}


@pytest.mark.parametrize("moment", ["40 kN*m", "-40 kN*m"])
def test_bending_acts_with_both_signs(judge, sheet, moment):
    """independent: both sides of the pipe by hand; the hoop direction takes the side with the least relief."""
    o = judge("HB-46.toml", **STRAIN, service__bending_moment=moment)
    D, p, bend = 273.1, 7.4, 4 * 40e6 / 273.1
    thrust = math.pi * D ** 2 * p / 4
    lam, allowed = o.bundle.system, o.design.allowed
    E_c, E_a, nu = (lam.value(f"laminate.{n}").magnitude for n in ("modulus_hoop", "modulus_axial", "poisson_ratio"))
    sides = [thrust + bend, thrust - bend]
    hoop = max((p * D / 2 - f * nu / (math.pi * D)) / (E_c * allowed.hoop.magnitude) for f in sides)
    along = max((f / (math.pi * D * E_a) - p * D * nu / (2 * E_c)) / allowed.axial.magnitude for f in sides)
    bare = bend / (math.pi * D * E_a) / allowed.axial.magnitude
    assert demands(o)["around the pipe"] == pytest.approx(hoop, rel=1e-9)
    assert demands(o)["along the pipe"] == pytest.approx(max(along, bare), rel=1e-9)


@pytest.mark.parametrize("restraint", [None, "restrained", "unknown"])
def test_no_relief_where_the_pipe_may_be_held(judge, restraint):
    held = {"service__restraint": restraint, "service__tie_in_temperature": "12 °C" if restraint else None}
    free, o = judge("HB-46.toml", **STRAIN, **DEEP), judge("HB-46.toml", **STRAIN, **DEEP, **held)
    p, D, E_c = 7.4, 273.1, o.bundle.system.value("laminate.modulus_hoop").magnitude
    assert demands(o)["around the pipe"] == pytest.approx(p * D / (2 * E_c * o.design.allowed.hoop.magnitude), rel=1e-9)
    assert demands(o)["around the pipe"] > demands(free)["around the pipe"]
    assert demands(o)["along the pipe"] > demands(free)["along the pipe"]


def test_axial_load_that_the_steel_carries_does_not_relieve_the_laminate(judge):
    o = judge("HB-46.toml", **STRAIN, **DEEP, **BY_STEEL, service__bending_moment="0 N*m", service__maop="8.6 MPa")
    p, D, E_c = 8.6, 273.1, o.bundle.system.value("laminate.modulus_hoop").magnitude
    need = p * D / (2 * E_c * o.design.allowed.hoop.magnitude)
    assert demands(o) == {"around the pipe": pytest.approx(need, rel=1e-9)}


def test_shear_and_torsion_raise_the_pressure_of_the_design(judge):
    plain = judge("HB-46.toml")
    o = judge("HB-46.toml", service__shear_force="40 kN", service__torsion="9 kN*m")
    D, p = 273.1, 7.4
    equivalent = p * (1 + 16 / (math.pi * D ** 2 * p) ** 2 * (40e3 + 2 * 9e6 / D) ** 2)
    assert o.design.loads.equivalent.magnitude == pytest.approx(equivalent, rel=1e-9)
    assert plain.design.loads.equivalent.magnitude == 7.4
    assert any("mean of its shear stress" in w["text"] for w in o.recorder.warnings)
    much = judge("HB-46.toml", service__torsion="900 kN*m")
    assert "Shear of the remaining wall without pressure" in failed(much) and much.decision.word == OTHER


def test_outside_pressure_by_hand(judge, sheet):
    """independent: 1.5 m of soil of 1900 kg/m³ and 0.05 MPa of water on a ring with a safety factor of 3."""
    o = judge("HB-46.toml", **STRAIN, service__soil_cover="1.5 m", service__external_pressure="0.05 MPa")
    out = 0.05 + 1900e-9 * 9.80665e-3 * 1500 * 1e3
    lam = o.bundle.system
    E_c, nu = (lam.value(f"laminate.{n}").magnitude for n in ("modulus_hoop", "poisson_ratio"))
    need = 273.1 * (3 * (1 - nu ** 2) * out / (2 * E_c)) ** (1 / 3)
    assert demands(o)["outside pressure"] == pytest.approx(need, rel=1e-6)
    assert any("not recalled" in w["text"] for w in o.recorder.warnings)


def test_an_upset_is_a_lasting_load_and_a_pressure_test_a_rare_one(judge, sheet):
    wide = sheet("example-cloth", lay_up__most_layers=90, lay_up__widths=["1500 mm"]) | STRAIN | BY_STEEL
    o = judge("HB-15.toml", **wide, service__upset_pressure="1290 psi", service__test_pressure="1500 psi")
    assert o.design.pressure.magnitude == pytest.approx(1290 * 0.00689475729, rel=1e-6)
    allowed = o.design.allowed
    assert allowed.rare.magnitude >= allowed.hoop.magnitude
    test = 1500 * 0.00689475729 * 406.4 / (2 * o.bundle.system.value("laminate.modulus_hoop").magnitude)
    assert demands(o)["pressure test"] == pytest.approx(test / allowed.rare.magnitude, rel=1e-6)
    assert any("rare" in a["text"] or "rarely" in a["text"] for a in o.recorder.assumptions)


def test_the_test_pressure_asks_for_thickness_along_the_pipe_too(judge):
    plain = judge("HB-42.toml", service__test_pressure=None)
    o = judge("HB-42.toml", service__test_pressure="1.05 MPa")
    assert demands(o)["along the pipe"] == pytest.approx(1.5 * demands(plain)["along the pipe"], rel=1e-9)


# -- temperature and strain ---------------------------------------------------------------------------------------
def test_the_lower_of_hottest_and_coldest_goes_on(judge):
    """Installed warm, the coldest service has the greater mismatch; installed cold, the hottest."""
    warm = judge("HB-15.toml", service__installation_temperature="95 °F")
    cold = judge("HB-15.toml", service__installation_temperature="62 °F")
    titles = {o.design.allowed.hoop.name for o in (warm, cold)}
    assert any("coldest" in t for t in titles) or any("hottest" in t for t in titles)
    for o in (warm, cold):
        found = [i.result.magnitude for i in o.recorder.items if getattr(i, "formula", None) is not None
                 and i.formula.name == "allowable_hoop_strain"]
        assert len(found) == 2 and o.design.allowed.hoop.magnitude == min(found)


# -- two kinds of system ------------------------------------------------------------------------------------------
def test_a_short_sleeve_is_refused_with_a_proposal_and_a_second_tier_holds(judge):
    short = judge("HB-51.toml", design__tiers=None)
    assert short.decision.word == OTHER and failed(short) == ["Wrap thickness against the thickness required"]
    assert "2 sleeves one over the other (22 layers) would be thick enough: state design.tiers = 2" in (
        short.decision.sentence)
    assert judge("HB-51.toml").design.laid.count.magnitude == 22


def test_more_tiers_than_qualified_are_refused(judge):
    o = judge("HB-51.toml", design__tiers=4)
    assert "Sleeves one over the other against the most that were qualified" in failed(o)


def test_the_second_sleeve_is_made_for_a_larger_pipe(judge):
    o = judge("HB-51.toml")
    pitch, D = o.design.extent.pitch.magnitude, 406.4
    words = " ".join(line.item for line in o.order)
    assert f"for outside diameter {D:g} mm" in words and f"{D + 2 * 11 * pitch:.4g} mm" in words


def test_only_the_thickness_to_which_the_modulus_refers_counts(judge, sheet):
    ply = judge("HB-07.toml", **sheet("example-sleeve", laminate__modulus_basis="ply"))
    both = judge("HB-07.toml", **sheet("example-sleeve", laminate__modulus_basis="ply and bond line"))
    bond = ply.bundle.system.value("sleeve.bond_line").magnitude
    assert both.design.wrap_thickness.magnitude == pytest.approx(ply.design.wrap_thickness.magnitude + 11 * bond)
    assert any("ply and bond line together" in a["text"] for a in both.recorder.assumptions)


def test_a_sleeve_made_for_another_diameter_is_refused(judge):
    o = judge("HB-07.toml", pipe__outside_diameter="420 mm")
    assert "Sleeve made for this outside diameter" in failed(o) and o.decision.word == OTHER


def test_a_lay_up_is_sized_and_not_beyond_what_was_qualified(judge, sheet):
    o = judge("HB-15.toml")
    assert o.design.laid.count.magnitude == math.ceil(o.design.laid.required.magnitude / 0.66)
    few = judge("HB-15.toml", **sheet("example-cloth", lay_up__most_layers=8))
    assert failed(few) == ["Layers against the most that were qualified"]


# -- axial load on the wrap ---------------------------------------------------------------------------------------
def test_where_axial_load_governs_one_unit_must_carry_it_across(judge):
    """A loss too long for one band of the lay-up: the lap of two does not hand the load on."""
    o = judge("HB-46.toml", defect__length="320 mm")
    assert o.decision.word == OTHER and "Full-thickness cover against the length required" in failed(o)
    assert "a lap shorter than the bond length does not hand it on" in " ".join(
        c.note for c in o.design.failed)


def test_cloth_that_is_not_qualified_for_axial_load_says_what_it_cannot_carry(judge, sheet):
    o = judge("HB-46.toml", **sheet("example-cloth", laminate__carries_axial="no"))
    assert failed(o)[0] == "Laminate qualified to carry axial load" and o.decision.word == OTHER


def test_the_bond_length_takes_the_larger_recalled_factor(judge):
    o = judge("HB-46.toml")
    step = next(i for i in o.recorder.items if getattr(i, "formula", None) is not None
                and i.formula.name == "bond_length")
    assert step.inputs["k_b"].magnitude == 3
    hand = 3 * step.inputs["E_a"].magnitude * step.inputs["eps_a"].magnitude * step.inputs["t_c"].magnitude
    assert step.result.magnitude == pytest.approx(hand / step.inputs["tau"].magnitude, rel=1e-9)


# -- room, welds, neighbours --------------------------------------------------------------------------------------
def test_little_room_is_refused_or_paid_for_with_a_thicker_wrap(judge):
    near = {"defect__clear_upstream": "140 mm"}
    refused = judge("HB-46.toml", **near)
    assert refused.decision.word == NO_DATA and "too close to a weld" in refused.decision.sentence
    paid = judge("HB-46.toml", **near, design__limited_room="thicker wrap",
                 design__limited_room_reason="the next joint is cased")
    assert paid.decision.word == WRAP, paid.decision.reasons
    full, room = paid.design.extent.overlap.magnitude, paid.design.extent.room.magnitude
    assert 25 <= room < full
    greatest = max(demands(paid).values())
    assert paid.design.laid.required.magnitude == pytest.approx(greatest * (full / room) ** (2 / 3), rel=1e-6)
    assert paid.design.layers.magnitude > judge("HB-46.toml").design.layers.magnitude
    for side, room in (("upstream", "118 mm"), ("downstream", "60 mm")):
        tight = judge("HB-46.toml", **{f"defect__clear_{side}": room}, design__limited_room="thicker wrap",
                      design__limited_room_reason="the next joint is cased")
        assert tight.decision.word == OTHER and "Overlap on the short side against the least room" in failed(tight)


def test_a_neighbouring_repair_keeps_its_gap(judge):
    o = judge("HB-46.toml", defect__neighbour_downstream="250 mm")
    assert o.decision.word == NO_DATA and "repair" in o.decision.sentence
    assert judge("HB-46.toml", defect__neighbour_downstream="2 m").decision.word == WRAP


def test_a_girth_weld_inside_is_wrapped_where_the_sheet_allows_it(judge):
    other = {"service__inside_repair": "girth weld", "pipe__other_nominal_wall": "7.8 mm",
             "pipe__other_sound_wall": "7.8 mm", "pipe__other_smys": "290 MPa", "pipe__other_smts": "415 MPa"}
    o = judge("HB-46.toml", **other)
    assert o.decision.word == WRAP, o.decision.reasons
    assert any("level with its cap" in a["text"] for a in o.recorder.assumptions)


@pytest.mark.parametrize(("part", "factor"), [("bend", 1.2), ("tee", 2.0), ("reducer", 1.1), ("flange", 1.1)])
def test_a_component_takes_its_factor_on_the_thickness(judge, sheet, part, factor):
    """ISO 24817, factors from memory."""
    wide = sheet("example-cloth", lay_up__most_layers=200, lay_up__widths=["3000 mm"])
    plain = judge("HB-46.toml", **wide, **STRAIN)
    o = judge("HB-46.toml", **wide, **STRAIN, service__inside_repair=part)
    assert o.design.laid.required.magnitude == pytest.approx(plain.design.laid.required.magnitude * factor, rel=1e-9)


# -- a gouge that was ground --------------------------------------------------------------------------------------
GROUND = {"defect__kind": "gouge", "features__gouge_ground": "yes", "features__crack": "no"}


def test_a_ground_gouge_is_metal_loss_within_the_grinding_limit(judge):
    """The limit of 0.40 of the nominal wall is from memory."""
    shallow = judge("HB-46.toml", **GROUND, defect__depth="3.0 mm")
    assert shallow.assessment is not None and shallow.decision.word in (WRAP, "no repair needed")
    deep = judge("HB-46.toml", **GROUND, defect__depth="3.2 mm")
    assert deep.decision.word == NO_DATA and "grinding" in deep.decision.sentence
    raw = judge("HB-46.toml", defect__kind="gouge", features__gouge_ground="no")
    assert raw.assessment is None and raw.decision.word != WRAP


# -- what an adversary found ---------------------------------------------------------------------------------------
def test_outside_pressure_on_a_route_that_counts_on_the_steel(judge):
    """independent: a long ring of steel, three times safe: t = D (3 (1 - 0.09) p / (2 E))^(1/3)."""
    def need(p):
        return 273.1 * (3 * (1 - 0.3 ** 2) * p / (2 * 207e3)) ** (1 / 3)
    left = 7.7 - 0.1 - 3.9
    p = (left / 273.1) ** 3 * 2 * 207e3 / (3 * 0.91)
    assert need(p) == pytest.approx(left)
    assert judge("HB-46.toml", service__external_pressure=f"{p * 0.999:.6f} MPa").decision.word == WRAP
    o = judge("HB-46.toml", service__external_pressure=f"{p * 1.001:.6f} MPa")
    assert o.decision.word == OTHER and failed(o) == ["Remaining wall against outside pressure"]


def test_the_limit_until_then_is_never_above_the_maop(judge):
    o = judge("HB-42.toml", service__discovery_pressure="1.5 MPa")
    assert o.decision.interim_limit.magnitude == 0.7


def test_torsion_over_an_opening_is_outside_what_is_known(judge):
    o = judge("HB-42.toml", service__torsion="1 kN*m")
    assert o.decision.word == NO_DATA and "Shear or torsion over an opening" in failed(o)


def test_a_drained_line_with_a_tolerance_of_its_pressure(judge):
    """A share of nothing is no tolerance."""
    o = judge("HB-46.toml", service__installation_pressure="0 MPa")
    assert o.decision.word == WRAP and "pressure while wrapping" not in [s.name for s in o.why.swings]


def test_a_pressure_that_only_a_giant_wrap_would_reach_is_a_decision(judge, sheet):
    wide = sheet("example-cloth", envelope__pressure_max="20 MPa", through_wall__pressure_max="20 MPa",
                 lay_up__most_layers=200)
    words = [judge("HB-42.toml", **wide, service__maop=f"{p} MPa", service__test_pressure=None,
                   service__discovery_pressure="0.6 MPa").decision.word for p in (4.8, 4.9, 4.95, 5.0, 5.1)]
    assert WRAP not in words[1:] and set(words) <= {WRAP, OTHER, NO_DATA}


def test_no_room_at_all_is_a_decision(judge):
    o = judge("HB-15.toml", defect__clear_upstream="0 mm", design__limited_room="thicker wrap",
              design__limited_room_reason="the next joint is cased")
    assert o.decision.word == OTHER and "Overlap on the short side against the least room" in failed(o)


def test_where_the_steel_alone_suffices_the_page_says_so(judge):
    """A repair that a criterion asks for although the strength suffices: the least number of layers, and why."""
    o = judge("HB-15.toml", service__maop="700 psi", service__discovery_pressure="700 psi",
              features__judgement_immediate="yes")
    assert o.decision.word == WRAP, o.decision.reasons
    assert o.design.laid.required.magnitude == 0 and o.design.layers.magnitude == 3, "the least of the sheet"
    assert any("No wrap is needed for strength" in a["text"] for a in o.recorder.assumptions)


def test_an_axial_modulus_above_the_hoop_modulus_is_warned_of(judge, sheet):
    o = judge("HB-46.toml", **sheet("example-cloth", laminate__modulus_axial="30 GPa"))
    assert any("mix the two up" in w["text"] for w in o.recorder.warnings)
