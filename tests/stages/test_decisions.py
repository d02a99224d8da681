"""The five words: every limit of the decision moved across its boundary by a hair, the rest of the case unchanged."""

import math

import pytest
import tomlkit

from wrapcalc import record
from wrapcalc.case import load_bundle
from wrapcalc.case.model import METHODS, Case
from wrapcalc.fields import walk
from wrapcalc.stages.job import NO_DATA, NO_REPAIR, OTHER, REDUCE, WRAP, Outcome, run
from wrapcalc.systems import shipped_systems

HAIR = 1e-6
#: f_T eps_0 of the example, from the margin 84 - 20 - 37 = 27 °C below the glass transition.
FREE = (6e-5 * 27 ** 2 + 0.001 * 27 + 0.7014) * 0.0025
NEEDED = [n for n, i in walk(Case) if i.json_schema_extra["need"] == "assess" and n != "case.id"]
NEEDED_FOR_DESIGN = [n for n, i in walk(Case) if i.json_schema_extra["need"] == "design"]


#: 11 plies of it are 2.33 mm: enough for the yielded-steel route of HB-07 (2.32 mm), and thin enough that steel yields.
THIN = {"laminate__ply_thickness": "0.2115 mm"}
UNTIL_THEN = "Installation pressure against the interim limit"


#: The wrap of a route that ignores the steel carries the hoop direction only.
LEFT_TO_THE_STEEL = {"design__axial_carried_by": "remaining steel",
                     "design__axial_carried_by_reason": "the net section is checked"}


@pytest.fixture
def decide(example):
    """decide(table__key=value, ...) runs HB-07 (a wrap by load sharing) with these fields changed; None leaves one
    out. `sheet` (a dict of the same form) changes a sheet of the system `of`, which the case then names as its own."""
    def change(file="HB-07.toml", sheet=None, of="example-sleeve", **fields) -> Outcome:
        data = tomlkit.parse((example / file).read_text("utf-8")).unwrap()
        if sheet is not None:
            system = tomlkit.parse(shipped_systems()[of].read_text(encoding="utf-8")).unwrap()
            _put(system, sheet)
            (example / "mine.toml").write_text(tomlkit.dumps(system), "utf-8")
            fields = {"design__system": "mine.toml"} | fields
        _put(data, fields)
        path = example / "changed.toml"
        path.write_text(tomlkit.dumps(data), "utf-8")
        outcome = run(load_bundle(path))
        _sound(outcome)
        return outcome
    return change


def of_the_design(o: Outcome) -> list:
    """Steps, procedures and checks without those of the dig, which is worked out for every decision but the first."""
    return [i for i in o.recorder.items if o.recorder.place_of[i.id][0] != "E"]


def _put(data: dict, fields: dict) -> None:
    for dotted, value in fields.items():
        table, _, key = dotted.partition("__")
        if not key:  # a list of tables
            data[table] = value
            continue
        data.setdefault(table, {}).pop(key, None)
        if value is not None:
            data[table][key] = value


def _sound(o: Outcome) -> None:
    """What holds for every outcome, whatever the word."""
    d = o.decision
    assert d.sentence.startswith(d.word[0].upper()) and d.sentence.endswith(".")
    assert (o.order != ()) == (d.word == WRAP), "an order for anything but a wrap"
    if d.word != NO_DATA:
        assert (d.interim_limit is not None) == (d.word in (WRAP, REDUCE, OTHER))
    assert bool(o.missing) <= (d.word == NO_DATA)
    assert record.to_bytes(record.build(o))


def mm(x: float) -> str:
    return f"{x:.12g} mm"


def mpa(x: float) -> str:
    return f"{x:.12g} MPa"


def reasons(o: Outcome) -> str:
    return " | ".join(o.decision.reasons)


def failed(o: Outcome) -> list[str]:
    """Titles of the checks on which the design failed."""
    return [c.title for c in o.design.failed]


def test_the_example_is_a_wrap(decide):
    o = decide()
    assert o.decision.word == WRAP and failed(o) == []
    for number in ("7.264 MPa", "8.6 MPa", "12.65 mm", "6.48 MPa"):
        assert number in o.decision.sentence


# -- insufficient data --------------------------------------------------------------------------------------------
@pytest.mark.parametrize("field", [*NEEDED, "service.class_location"])
def test_a_missing_value_is_named(decide, field):
    o = decide(**{field.replace(".", "__"): None}, **({"defect__grid": None} if field == "defect.depth" else {}))
    assert o.decision.word == NO_DATA and o.missing == [field]
    assert "1 value needed for a decision is missing" in o.decision.sentence
    assert o.assessment is None and {i.kind for i in of_the_design(o)} <= {"scope"}


def test_several_missing_values_are_all_named(decide):
    o = decide(pipe__smys=None, service__maop="", defect__clock=None)
    assert o.missing == ["pipe.smys", "service.maop", "defect.clock"] and "3 values" in o.decision.sentence


def test_a_liquid_line_has_no_class(decide):
    assert decide(service__service="liquid line", service__class_location=None,
                  service__maop="8.9 MPa").decision.word == WRAP


@pytest.mark.parametrize("field", [n for n in NEEDED_FOR_DESIGN if n != "design.system"] + ["design.system"])
def test_a_missing_value_of_the_design_is_named_once_a_wrap_is_tried(decide, field):
    o = decide(**{field.replace(".", "__"): None})
    assert o.decision.word == NO_DATA and o.missing == [field] and "for designing a wrap" in o.decision.sentence
    assert o.assessment is not None and o.design is None
    fit = decide(**{field.replace(".", "__"): None}, service__maop="7 MPa", service__discovery_pressure="7 MPa")
    assert fit.decision.word == NO_REPAIR


@pytest.mark.parametrize("field", ["takeoff.cloth_waste", "takeoff.primer_waste"])
def test_what_only_a_lay_up_or_a_primer_needs(decide, field):
    waste = {"takeoff__cloth_waste": "5 %", "takeoff__primer_waste": "5 %"}
    assert decide(design__system="example-cloth", **waste).decision.word == WRAP
    o = decide(design__system="example-cloth", **waste | {field.replace(".", "__"): None})
    assert o.decision.word == NO_DATA and o.missing == [field]


@pytest.mark.parametrize(("field", "inside", "outside", "words"), [
    ("service__internal_corrosion", "none", "active", "internal corrosion is active or unknown"),
    ("service__internal_corrosion", "none", "unknown", "internal corrosion is active or unknown"),
    ("service__inside_repair", "nothing", "girth weld", "there is a girth weld inside the repair"),
    ("service__inside_repair", "nothing", "fitting", "there is a fitting inside the repair"),
    ("service__inside_repair", "nothing", "corroded seam", "there is a corroded seam inside the repair"),
])
def test_a_feature_outside_scope(decide, field, inside, outside, words):
    assert decide(**{field: inside}).decision.word == WRAP
    o = decide(**{field: outside})
    assert o.decision.word == NO_DATA and len(o.decision.reasons) == 1 and words in reasons(o)
    assert words in o.decision.sentence and o.assessment is None
    assert [c.verdict for c in of_the_design(o) if getattr(c, "verdict", "met") != "met"] == ["outside scope"]


@pytest.mark.parametrize(("field", "nothing", "little"), [
    ("service__axial_force", "0 kN", "1 N"), ("service__axial_force", "0 kN", "-0.001 N"),
    ("service__bending_moment", "0 kN*m", "1 N*mm")])
def test_external_loads_are_assessed_and_designed_for(decide, field, nothing, little):
    """A load of next to nothing changes next to nothing."""
    plain, o = decide(**{field: nothing}), decide(**{field: little})
    assert plain.decision.word == o.decision.word == WRAP
    assert o.assessment.axial_check.provided.magnitude == pytest.approx(
        plain.assessment.axial_check.provided.magnitude, rel=1e-6)
    assert o.decision.interim_limit.magnitude == plain.decision.interim_limit.magnitude
    assert o.design.laid.required.magnitude == plain.design.laid.required.magnitude
    assert decide(**{field: little}, service__maop="7 MPa", service__discovery_pressure="7 MPa").decision.word == (
        NO_REPAIR)


def test_more_cycles_than_the_limit_bring_the_cyclic_factor(decide):
    """f_c of 7001 full cycles is 0.50020 (from memory, ISO 24817 7.5.9); the step is told."""
    at = {n: decide(service__pressure_cycles=n) for n in (7000, 7001)}
    factor = {n: o.design.allowed.cyclic.magnitude if o.design.allowed else None for n, o in at.items()}
    assert factor[7000] == 1 and factor[7001] == pytest.approx(0.50020, abs=5e-6)
    assert "Hoop strain of the wrap" in reasons(at[7001]) and at[7001].decision.word == OTHER
    assert any("falls from 1 at once above 7000 cycles" in w["text"] for w in at[7001].recorder.warnings)
    assert any("down to nothing" in a["text"] for a in at[7001].recorder.assumptions)


@pytest.mark.parametrize("part", ["bend", "tee", "reducer", "flange"])
def test_a_component_is_never_cleared_and_not_designed_by_a_route_that_counts_its_steel(decide, part):
    o = decide(service__inside_repair=part, sheet={"sleeve__layers": 30})
    assert o.decision.word == OTHER and failed(o) == [f"Route inside a {part}"]
    low = decide(service__inside_repair=part, service__maop="4 MPa", service__discovery_pressure="4 MPa",
                 service__lowered_maop="3 MPa", service__lowered_maop_reason="tried")
    assert low.decision.word == OTHER and f"strength of the damaged {part} is not assessed" in low.decision.sentence
    assert any("stand for information" in w["text"] for w in low.recorder.warnings)


def test_loss_that_is_said_to_be_internal_is_assessed_alike(decide):
    """Internal loss that has stopped: the same strength, the whole outer surface as farthest fibre."""
    outer, inner = decide(), decide(defect__kind="internal metal loss")
    assert governing(inner) == governing(outer) and inner.decision.word == WRAP
    assert inner.assessment.axial_check.provided.magnitude > outer.assessment.axial_check.provided.magnitude
    assert any("confirm that it has stopped" in w["text"] for w in inner.recorder.warnings)


def test_hot_service(decide):
    warm = decide(service__service_temperature="120 °C")
    assert warm.decision.word == OTHER and "Hottest service against the upper limit of the system" in failed(warm)
    hot = decide(service__service_temperature="120.0001 °C")
    assert hot.decision.word == NO_DATA and "120.0001 °C is above 120 degC" in reasons(hot)
    hotter = decide(service__service_temperature="251 °F")
    assert len(hotter.decision.reasons) == 2 and "49 CFR 192" in reasons(hotter)


def test_every_feature_outside_is_told_at_once(decide):
    o = decide(service__internal_corrosion="active", service__service_temperature="130 °C",
               service__inside_repair="fitting")
    assert len(o.decision.reasons) == 4


# -- too deep -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("service", ["gas line", "liquid line"])
def test_depth_with_allowance_over_wall(decide, service):
    """Wall as used 8.51 mm; 0.80 of it is 6.808 mm, of which 0.2 mm are the allowance."""
    low = {"service__maop": "1 MPa", "service__discovery_pressure": "1 MPa", "service__installation_pressure": "0 MPa",
           "defect__grid": None, "service__service": service}
    below = decide(defect__depth=mm(6.608 - HAIR), **low)
    assert below.decision.word == NO_REPAIR and below.assessment.relative_depth.magnitude < 0.80
    above = decide(defect__depth=mm(6.608 + HAIR), **low)
    assert above.decision.word == OTHER and above.assessment.too_deep
    assert "above the limit 0.8" in above.decision.sentence
    assert ("49 CFR 195" if service == "liquid line" else "49 CFR 192") in above.decision.sentence
    assert above.assessment.governing is None and above.design is None
    assert all(i.struck for i in above.recorder.items if getattr(i, "formula", None) is not None
               and i.formula.name.startswith("failure_stress"))


def test_exactly_080_of_the_wall_is_not_too_deep(decide):
    exact = {"pipe__nominal_wall": "10 mm", "pipe__sound_wall": "10 mm", "pipe__wall_allowance": "0 mm",
             "defect__depth_allowance": "0.5 mm", "defect__grid": None, "service__maop": "1 MPa",
             "service__discovery_pressure": "1 MPa", "service__installation_pressure": "0 MPa"}
    assert decide(defect__depth="7.5 mm", **exact).decision.word == NO_REPAIR
    assert decide(defect__depth="7.500001 mm", **exact).decision.word == OTHER


@pytest.mark.parametrize(("field", "value"), [("pipe__wall_allowance", "0.3 mm"), ("defect__depth_allowance", "0.4 mm"),
                                              ("pipe__sound_wall", "8.4 mm"), ("pipe__nominal_wall", "8.4 mm")])
def test_the_wall_is_the_smaller_less_allowance_and_the_depth_has_its_own(decide, field, value):
    low = {"service__maop": "1 MPa", "service__discovery_pressure": "1 MPa", "service__installation_pressure": "0 MPa",
           "defect__grid": None, "defect__depth": mm(6.607)}
    assert decide(**low).decision.word == NO_REPAIR
    assert decide(**low | {field: value}).decision.word == OTHER


def test_too_deep_comes_after_insufficient_data_and_before_all_else(decide):
    deep = {"defect__depth": "8 mm", "defect__grid": None}
    assert decide(**deep, service__maop="0.1 MPa", service__discovery_pressure="0.1 MPa").decision.word == OTHER
    assert decide(**deep, service__maop=None).decision.word == NO_DATA
    assert decide(**deep, service__internal_corrosion="active").decision.word == NO_DATA


# -- no repair needed ---------------------------------------------------------------------------------------------
def governing(o: Outcome) -> float:
    return o.assessment.governing.magnitude


def test_safe_pressure_against_maop(decide):
    p_s = governing(decide())
    at = {"service__maop": f"{p_s!r} MPa"}
    fit = decide(**at)
    assert fit.decision.word == NO_REPAIR and governing(fit) == p_s
    below = decide(service__maop=mpa(p_s * (1 - HAIR)))
    assert below.decision.word == NO_REPAIR and below.design is None
    above = decide(service__maop=mpa(p_s * (1 + HAIR)))
    assert above.decision.word == WRAP
    for said in (fit.decision.sentence, " ".join(a["text"] for a in fit.recorder.assumptions)):
        assert "ecoating" in said and "assumed" in said and "growth" in said and "not assessed" in said


@pytest.mark.parametrize("hair", [1e-7, 1e-8, 1e-9])
def test_a_maop_above_the_safe_pressure_by_less_than_is_printed(decide, hair):
    """The difference of two nearly equal pressures must still give a printed line that can be repeated."""
    p_s = governing(decide())
    assert decide(service__maop=f"{p_s * (1 + hair)!r} MPa").decision.word == WRAP


def test_an_upset_does_not_change_the_word_but_is_warned_of(decide):
    o = decide(service__maop="7 MPa", service__upset_pressure="7.5 MPa")
    assert o.decision.word == NO_REPAIR and any("upset" in w["text"] for w in o.recorder.warnings)
    o = decide(service__maop="7 MPa", service__upset_pressure="7.2 MPa")
    assert not any("upset" in w["text"] for w in o.recorder.warnings)


def test_no_form_inside_its_scope(decide):
    """The 1991 form named for loss that is too shallow for it: nothing governs."""
    shallow = {"defect__depth": "0.5 mm", "defect__grid": None, "assessment__method": "original 1991",
               "assessment__method_reason": "company rule"}
    o = decide(**shallow)
    assert o.decision.word == NO_DATA and "original 1991: depth over wall is at most 0.1" in reasons(o)
    assert decide(**shallow | {"defect__depth": mm(0.651 + HAIR)}).decision.word != NO_DATA
    assert decide(**shallow | {"defect__depth": mm(0.651 - HAIR)}).decision.word == NO_DATA
    assert decide(**shallow | {"assessment__method": "lower of all"}).decision.word == NO_REPAIR


# -- the governing form -------------------------------------------------------------------------------------------
BOX_FORMS = {"original 1991", "original 2012", "0.85dL"}
BESIDE = {"DNV single", "DNV complex shape", "Leis and Stephens", "remaining-strength factor"}
#: Rule of the case -> the form that governs HB-07 by it, which has a grid.
GOVERNS = {m: m for m in (*BOX_FORMS, "effective area")} | {"profile before box": "effective area",
                                                            "DNV-RP-F101": "DNV complex shape"}


@pytest.mark.parametrize("method", [m for m in METHODS if m not in ("lower of all", "remaining-strength factor")])
def test_a_named_method_governs_with_its_reason(decide, method):
    o = decide(assessment__method=method, assessment__method_reason="company standard 4.2")
    form = next(f for f in o.assessment.forms if f.key == GOVERNS[method])
    assert o.assessment.governing == form.safe and o.assessment.governing_key == form.key
    assert any("company standard 4.2" in a["text"] for a in o.recorder.assumptions)
    assert {f.key for f in o.assessment.forms if f.safe is not None} == BOX_FORMS | BESIDE | {"effective area"}


def test_without_a_profile_a_box_governs_though_the_profile_would_come_first(decide):
    rule = {"assessment__method": "profile before box", "assessment__method_reason": "company standard 4.2"}
    o = decide(**rule, defect__grid=None)
    assert o.assessment.governing_key in BOX_FORMS and governing(o) == governing(decide(defect__grid=None))
    assert "effective area" not in {f.key for f in o.assessment.forms}
    assert governing(decide(**rule)) > governing(o)


def test_without_a_choice_the_lowest_of_the_metal_loss_forms_governs(decide):
    o = decide()
    assert governing(o) == min(f.safe.magnitude for f in o.assessment.forms if f.key in BOX_FORMS | {"effective area"})
    lower = [f for f in o.assessment.forms if f.key in BESIDE and f.safe.magnitude < governing(o)]
    assert lower and any("do not govern give a lower safe pressure" in w["text"] for w in o.recorder.warnings)
    assert governing(decide(assessment__method="lower of all")) == governing(o)


def test_a_named_higher_form_can_turn_the_decision(decide):
    forms = {f.key: f.safe.magnitude for f in decide().assessment.forms if f.key in BOX_FORMS | {"effective area"}}
    high = max(forms, key=forms.get)
    between = (forms[high] + min(forms.values())) / 2
    assert decide(service__maop=mpa(between)).decision.word == WRAP
    assert decide(service__maop=mpa(between), assessment__method=high,
                  assessment__method_reason="x").decision.word == NO_REPAIR


# -- factors of gas and liquid lines ------------------------------------------------------------------------------
@pytest.mark.parametrize(("fields", "factor"), [
    ({"service__class_location": "1"}, 0.72), ({"service__class_location": "2"}, 0.60),
    ({"service__class_location": "3"}, 0.50), ({"service__class_location": "4"}, 0.40),
    ({"service__service": "liquid line"}, 0.72),
    ({"service__service": "liquid line", "service__class_location": "4"}, 0.72),
    ({"service__service": "liquid line", "service__lower_design_factor": 0.6,
      "service__lower_design_factor_reason": "x"},
     0.6),
    ({"service__lower_design_factor": 0.5, "service__lower_design_factor_reason": "road crossing"}, 0.5),
    ({"service__lower_design_factor": 0.9, "service__lower_design_factor_reason": "x"}, 0.6)])
def test_design_factor_and_safety_factor(decide, fields, factor):
    o = decide(**fields)
    a = o.assessment
    assert a.design_factor.magnitude == factor and a.allowable.magnitude == pytest.approx(factor * 360)
    form = next(f for f in a.forms if f.key == "0.85dL")
    assert form.failure.magnitude / form.safe.magnitude == pytest.approx(max(1 / factor, 1.25))
    assert any("above the 0.6 of the rule" in w["text"] for w in o.recorder.warnings) == (
        fields.get("service__lower_design_factor") == 0.9)


def test_a_liquid_line_cites_its_own_code(decide):
    def cited(o):
        return {i.formula.citation for i in o.recorder.items if getattr(i, "formula", None) is not None
                and i.formula.name.startswith("code_design_pressure")}
    assert cited(decide(service__service="liquid line")) == {"49 CFR 195, 195.106(a)"}
    assert cited(decide()) == {"49 CFR 192, 192.105(a)"}


# -- reduce pressure and monitor ----------------------------------------------------------------------------------
def test_lowered_maop_against_safe_pressure(decide):
    p_s = governing(decide())
    why = {"service__lowered_maop_reason": "operator, until 2027"}
    for lowered in (f"{p_s!r} MPa", mpa(p_s * (1 - HAIR)), "1 MPa"):
        o = decide(service__lowered_maop=lowered, **why)
        assert o.decision.word == REDUCE and o.design is None
        assert "Growth is not assessed" in o.decision.sentence
    o = decide(service__lowered_maop=mpa(p_s * (1 + HAIR)), **why)
    assert o.decision.word == WRAP and o.design.pressure.magnitude == pytest.approx(p_s * (1 + HAIR), rel=1e-12)


def test_a_maop_that_is_met_is_not_reduced(decide):
    assert decide(service__maop="7 MPa", service__lowered_maop="6 MPa",
                  service__lowered_maop_reason="x").decision.word == NO_REPAIR


@pytest.mark.parametrize(("word", "fields"), [
    (WRAP, {}), (REDUCE, {"service__lowered_maop": "6 MPa", "service__lowered_maop_reason": "x"})])
@pytest.mark.parametrize("service", ["gas line", "liquid line"])
def test_the_limit_until_then(decide, word, fields, service):
    """The lower of 80 % of the pressure at discovery and the safe pressure; 49 CFR 192.933 and 195.452."""
    fields = fields | {"service__service": service, "service__maop": "8.9 MPa"}
    p_s = governing(decide(**fields))
    low = decide(service__discovery_pressure="8.1 MPa", **fields)
    assert low.decision.word == word and low.decision.interim_limit.magnitude == pytest.approx(6.48, rel=1e-12)
    assert "at most 6.48 MPa" in low.decision.sentence
    edge = p_s / 0.8
    below = decide(service__discovery_pressure=mpa(edge * (1 - HAIR)), **fields).decision.interim_limit
    assert below.magnitude == pytest.approx(p_s * (1 - HAIR), rel=1e-9) and below.magnitude < p_s
    above = decide(service__discovery_pressure=mpa(edge * (1 + HAIR)), **fields).decision.interim_limit
    assert above.magnitude == p_s


# -- wrap or other repair: repair design pressure -----------------------------------------------------------------
@pytest.mark.parametrize(("fields", "p"), [
    ({}, 8.6), ({"service__upset_pressure": "8.8 MPa"}, 8.8), ({"service__upset_pressure": "8.6 MPa"}, 8.6),
    ({"service__lowered_maop": "8 MPa", "service__lowered_maop_reason": "x"}, 8.0),
    ({"service__lowered_maop": "8 MPa", "service__lowered_maop_reason": "x", "service__upset_pressure": "8.8 MPa"},
     8.8)])
def test_repair_design_pressure(decide, fields, p):
    assert decide(**fields).design.pressure.magnitude == pytest.approx(p)


# -- wrap or other repair: gates of the system --------------------------------------------------------------------
@pytest.mark.parametrize(("field", "met", "not_met", "title"), [
    ("envelope__outside_diameter_min", "406.4 mm", "406.401 mm", "Outside diameter inside the tested envelope"),
    ("envelope__outside_diameter_max", "406.4 mm", "406.399 mm", "Outside diameter inside the tested envelope"),
    ("envelope__smys_max", "360 MPa", "359.999 MPa", "SMYS inside the tested envelope"),
    ("envelope__depth_max", 0.481787, 0.481785, "Depth with allowance over wall inside the tested envelope"),
    ("envelope__pressure_max", "8.6 MPa", "8.5999 MPa", "Repair design pressure inside the tested envelope"),
    ("envelope__service_temperature_max", "37 °C", "36.999 °C", "Hottest service inside the tested envelope"),
    ("envelope__service_temperature_max", "98.6 °F", "98.599 °F", "Hottest service inside the tested envelope"),
    ("envelope__service_temperature_min", "3 °C", "3.001 °C", "Coldest service inside the tested envelope"),
    ("envelope__design_life_max", "20 y", "19.99 y", "Design life inside the tested envelope"),
    ("application__steel_temperature_min", "17 °C", "17.001 °C", "Installation temperature against the system's range"),
    ("application__steel_temperature_max", "17 °C", "16.999 °C", "Installation temperature against the system's range"),
    ("laminate__glass_transition", "57 °C", "56.999 °C", "Hottest service against the upper limit of the system"),
    ("adhesive__glass_transition", "57 °C", "56.999 °C", "Hottest service against the upper limit of the system"),
    ("filler__glass_transition", "57 °C", "56.999 °C", "Hottest service against the upper limit of the system"),
    ("filler__glass_transition", "134.6 °F", "134.599 °F", "Hottest service against the upper limit of the system"),
    ("sleeve__layers", 9, 8, "Wrap thickness against the thickness required"),
    ("sleeve__widths", ["484.4 mm"], ["484.3 mm"], "Full-thickness cover against the length required"),
])
def test_a_gate_of_the_sheet(decide, field, met, not_met, title):
    one = {"sleeve__most_units": 1} if field == "sleeve__widths" else {}
    assert decide(sheet={field: met} | one).decision.word == WRAP
    o = decide(sheet={field: not_met} | one)
    assert o.decision.word == OTHER and failed(o) == [title] and title in reasons(o) and len(o.decision.reasons) == 1


def test_the_primer_is_field_cured_too(decide):
    waste = {"takeoff__cloth_waste": "5 %", "takeoff__primer_waste": "5 %"}
    sheet = {"primer__glass_transition": "57 °C"}
    assert decide(sheet=sheet, of="example-cloth", **waste).decision.word == WRAP
    o = decide(sheet={"primer__glass_transition": "56.999 °C"}, of="example-cloth", **waste)
    assert o.decision.word == OTHER and failed(o) == ["Hottest service against the upper limit of the system"]
    cloth = tomlkit.parse(shipped_systems()["example-cloth"].read_text(encoding="utf-8")).unwrap()
    sheet |= {"primer__used": "no", "mix": [m for m in cloth["mix"] if m["material"] != "primer"]}
    unused = sheet | {"primer__glass_transition": "30 °C"}
    assert decide(sheet=unused, of="example-cloth", **waste).decision.word == WRAP


def test_most_layers_of_a_lay_up(decide):
    waste = {"takeoff__cloth_waste": "5 %", "takeoff__primer_waste": "5 %"}
    n = int(decide(design__system="example-cloth", **waste).design.layers.magnitude)
    assert n > 3
    assert decide(sheet={"lay_up__most_layers": n}, of="example-cloth", **waste).decision.word == WRAP
    o = decide(sheet={"lay_up__most_layers": n - 1}, of="example-cloth", **waste)
    assert o.decision.word == OTHER and failed(o) == ["Layers against the most that were qualified"]
    more = decide(sheet={"lay_up__least_layers": n + 1}, of="example-cloth", **waste)
    assert more.decision.word == WRAP and more.design.layers.magnitude == n + 1


def test_thickness_by_a_hair(decide):
    need = next(r.required.magnitude for r in decide().design.routes if r.chosen)
    assert decide(sheet={"laminate__ply_thickness": mm(need / 11 * (1 + HAIR))}).decision.word == WRAP
    o = decide(sheet={"laminate__ply_thickness": mm(need / 11 * (1 - HAIR))})
    assert o.decision.word == OTHER and failed(o) == ["Wrap thickness against the thickness required"]


def test_remaining_wall(decide):
    """A thin wall, so that 1 mm remains before 0.80 of it is lost."""
    thin = {"pipe__nominal_wall": "4 mm", "pipe__sound_wall": "4 mm", "pipe__wall_allowance": "0 mm",
            "defect__grid": None, "defect__depth_allowance": "0 mm", "service__maop": "1.6 MPa",
            "defect__width": "60 mm",
            "service__discovery_pressure": "1.6 MPa", "service__installation_pressure": "0 MPa"}
    sheet = {"envelope__depth_max": 0.8, "sleeve__layers": 30}
    assert decide(sheet=sheet, defect__depth="3 mm", **thin).decision.word == WRAP
    o = decide(sheet=sheet, defect__depth="3.000001 mm", **thin)
    assert o.decision.word == OTHER and failed(o) == ["Remaining wall at the end of life"]


# -- wrap or other repair: the case ------------------------------------------------------------------------------
def test_installation_pressure_against_thickness(decide):
    """t_c >= t_0 p_s / (p_s - p_live) turned round gives the highest pressure for this sleeve."""
    o = decide()
    p_s, t_c = governing(o), o.design.wrap_thickness.magnitude
    t_0 = next(r.required.magnitude for r in o.design.routes if r.chosen) * (p_s - 2.0) / p_s
    limit = p_s * (1 - t_0 / t_c)
    assert 3 < limit < 3.5
    assert decide(service__installation_pressure=mpa(limit * (1 - HAIR))).decision.word == WRAP
    o = decide(service__installation_pressure=mpa(limit * (1 + HAIR)))
    assert o.decision.word == OTHER and failed(o) == ["Wrap thickness against the thickness required"]


def test_installation_pressure_against_safe_pressure(decide):
    p_s = governing(decide())
    gate = "Installation pressure below the safe pressure, load sharing"
    high = {"service__discovery_pressure": "9.5 MPa"}  # so that the limit until then is the safe pressure itself
    near = decide(service__installation_pressure=mpa(p_s * (1 - HAIR)), **high)
    assert near.decision.word == OTHER and gate not in failed(near)
    for p, also in ((f"{p_s!r} MPa", []), (mpa(p_s * (1 + HAIR)), [UNTIL_THEN])):
        o = decide(service__installation_pressure=p, **high)
        assert o.decision.word == OTHER and failed(o) == [*also, gate]
        assert next(r for r in o.design.routes if r.chosen).required is None


@pytest.mark.parametrize("route", ["load sharing", "yielded steel", "laminate strain"])
def test_nobody_wraps_above_the_limit_until_then(decide, route):
    """80 % of 8.1 MPa at discovery, below the safe pressure."""
    more = {"design__design_method": route, "sheet": THIN if route == "yielded steel" else {"sleeve__layers": 70}}
    if route == "laminate strain":
        more |= LEFT_TO_THE_STEEL
    at, above = (decide(service__installation_pressure=mpa(6.48 * k), **more) for k in (1, 1 + HAIR))
    assert UNTIL_THEN not in failed(at)
    assert above.decision.word == OTHER and failed(above) == [UNTIL_THEN]


def test_the_gate_of_another_route_does_not_decide(decide):
    p_s = governing(decide())
    o = decide(service__installation_pressure=f"{p_s!r} MPa", design__design_method="laminate strain",
               service__discovery_pressure="9.5 MPa", sheet={"sleeve__layers": 24}, **LEFT_TO_THE_STEEL)
    assert o.decision.word == WRAP
    assert next(r for r in o.design.routes if r.key == "load sharing").required is None


def test_yielded_steel_and_installation_pressure(decide):
    """p_live D / (2 t_s) < SMYS, t_s = 4.41 mm."""
    limit = 2 * 4.41 * 360 / 406.4
    method = {"design__design_method": "yielded steel", "sheet": THIN}
    assert decide(**method).decision.word == WRAP
    assert failed(decide(service__installation_pressure=mpa(limit * (1 - HAIR)), **method)) == [UNTIL_THEN]
    o = decide(service__installation_pressure=mpa(limit * (1 + HAIR)), **method)
    assert failed(o) == [UNTIL_THEN, "Ligament stress at installation pressure, yielded steel"]


def test_yielded_steel_needs_a_pressure_that_yields_the_remaining_wall(decide):
    limit = 2 * 4.41 * 360 / 406.4
    method = {"design__design_method": "yielded steel", "sheet": THIN}
    o = decide(service__maop=mpa(limit * (1 + HAIR)), **method)
    assert o.decision.word == OTHER and failed(o) == ["Steel yields under the wrap as laid, yielded steel"]
    o = decide(service__maop=mpa(limit * (1 - HAIR)), **method)
    assert o.decision.word == OTHER and failed(o) == ["Steel yields, yielded steel"]
    assert "the remaining wall carries the pressure below yield" in reasons(o)


def test_yielded_steel_needs_steel_that_yields_before_the_wrap_is_spent(decide):
    """The wrap stretches by its allowable strain, and the steel with it: that must be beyond S_y / E_s."""
    def at(left):
        need = (8.6 * 406.4 / 2 - 360 * 4.41) / (left * 36500)
        return decide(design__design_method="yielded steel", sheet={
            "laminate__expansion_hoop": f"{11.7e-6 + (FREE - left) / 20:.15g} 1/°C",
            "laminate__ply_thickness": mm(need / 11 * (1 + HAIR / 100))})
    assert at(360 / 207e3 * (1 + HAIR)).decision.word == WRAP
    o = at(360 / 207e3 * (1 - HAIR))
    assert o.decision.word == OTHER and failed(o) == ["Steel yields under the wrap, yielded steel"]


def test_laminate_strain_alone(decide):
    method = {"design__design_method": "laminate strain", **LEFT_TO_THE_STEEL}
    need = next(r.required.magnitude for r in decide(**method).design.routes if r.chosen)
    assert decide(**method).decision.word == OTHER
    assert decide(sheet={"laminate__ply_thickness": mm(need / 11 * (1 + HAIR))}, **method).decision.word == WRAP
    assert decide(sheet={"laminate__ply_thickness": mm(need / 11 * (1 - HAIR))}, **method).decision.word == OTHER


def test_allowable_strain(decide):
    """f_T eps_0 - dT |alpha_s - alpha_c|, dT = 20 °C."""
    worked = next(i.result.magnitude for i in decide().recorder.items
                  if getattr(i, "formula", None) is not None and i.formula.name == "wrap_strain_load_sharing")

    def at(left):
        return decide(sheet={"laminate__expansion_hoop": f"{11.7e-6 + (FREE - left) / 20:.15g} 1/°C"})
    assert at(worked * (1 + HAIR)).decision.word == WRAP
    o = at(worked * (1 - HAIR))
    assert o.decision.word == OTHER and failed(o) == ["Hoop strain of the wrap, load sharing"]
    gone = "Allowable hoop strain left after thermal mismatch"
    assert gone not in failed(at(1e-8))
    o = at(-1e-8)
    assert o.decision.word == OTHER and gone in failed(o)
    assert {r.reason for r in o.design.routes if r.key != "load sharing"} == {"no allowable strain is left"}


@pytest.mark.parametrize(("life", "strain"), [("0.5 y", 0.0040), ("2 y", 0.0040), ("2.001 y", 0.0032), ("10 y", 0.0032),
                                              ("10.001 y", 0.0025), ("20 y", 0.0025)])
def test_the_life_column_is_the_next_longer_one(decide, life, strain):
    o = decide(design__design_life=life)
    used = next(i.inputs["eps_0"] for i in o.recorder.items
                if getattr(i, "formula", None) is not None and i.formula.name == "allowable_hoop_strain")
    assert o.decision.word == WRAP and used.magnitude == pytest.approx(strain)


@pytest.mark.parametrize(("standard", "title"), [
    ("ISO 24817:2017", "Design life against the column of the strain table"),
    ("ASME PCC-2-2018", "Design life against the tabulated strain")])
def test_a_life_beyond_the_table(decide, standard, title):
    long = {"design__standard": standard, "sheet": {"envelope__design_life_max": "50 y"}}
    assert decide(design__design_life="20 y", **long).decision.word == WRAP
    o = decide(design__design_life="20.001 y", **long)
    assert o.decision.word == OTHER and failed(o) == [title]


def test_axial_stress_of_the_damaged_section(decide):
    """The wider the loss, the higher the stress: beyond its allowable a laminate for the hoop direction will not do."""
    def at(width):
        return decide(defect__width=mm(width), defect__grid=None)
    low, high = 154.0, 700.0
    assert at(low).decision.word == WRAP and at(high).decision.word == OTHER
    while high - low > 1e-3:
        middle = (low + high) / 2
        low, high = (middle, high) if at(middle).decision.word == WRAP else (low, middle)
    o = at(high)
    assert failed(o)[0] == "Laminate qualified to carry axial load"
    assert o.assessment.axial_check.provided.magnitude == pytest.approx(0.6 * 360, rel=1e-5)
    along = next(d for r in o.design.routes if r.chosen for d in r.demands if d.what == "along the pipe")
    assert 0 < along.required.magnitude < 0.1, "what the steel does not carry just beyond its limit is next to nothing"


def test_strength_alone_does_not_clear_a_section_that_is_too_weak_axially(decide):
    p_s = governing(decide())
    wide = {"defect__width": "1270 mm", "defect__depth": "6.4 mm", "defect__depth_allowance": "0.1 mm",
            "defect__grid": None, "defect__length": "40 mm", "defect__length_allowance": "0 mm"}
    o = decide(**wide, service__maop="5 MPa", service__discovery_pressure="5 MPa", sheet={"envelope__depth_max": 0.8})
    assert p_s > 5 and o.assessment.strength_check.met and not o.assessment.axial_check.met
    assert o.decision.word == OTHER and "Laminate qualified to carry axial load" in failed(o)
    assert "axial stress" in o.decision.sentence


@pytest.mark.parametrize("side", ["upstream", "downstream"])
def test_clear_distance(decide, side):
    """Cover 520 mm, ends 3 x 15.07 mm each, and distances are taken from the edge of the measured 236 mm: the
    repair reaches 187.21 mm beyond it; its end stays 25 mm off the weld. The set may be laid off the middle by half of
    what it covers more than the 246 mm and both overlaps of 2 sqrt(406.4 x 8.74)."""
    moved = (520 - 246 - 4 * math.sqrt(406.4 * 8.74)) / 2
    reach = (520 + 2 * 3 * 11 * 1.37 - 236) / 2 + 25 - moved
    sheet = {"sleeve__widths": ["520 mm"], "sleeve__most_units": 1}
    fits = decide(sheet=sheet, **{f"defect__clear_{side}": mm(reach + 1e-4)})
    assert fits.decision.word == WRAP and any("off the middle of the damage" in a["text"]
                                              for a in fits.recorder.assumptions)
    shift = fits.design.extent.repairs[0].shift
    assert abs(shift) == pytest.approx(moved, abs=1e-3) and (shift > 0) == (side == "upstream")
    o = decide(sheet=sheet, **{f"defect__clear_{side}": mm(reach - 1e-4)})
    assert o.decision.word == NO_DATA and "too close to a weld" in o.decision.sentence
    assert len(o.decision.reasons) == 1 and f"bends and fittings, {side}" in reasons(o) and o.order == ()


def test_all_failed_checks_are_told(decide):
    o = decide(sheet={"envelope__smys_max": "350 MPa", "sleeve__layers": 2,
                      "application__steel_temperature_min": "20 °C"})
    assert o.decision.word == OTHER and len(o.decision.reasons) == 3 == len(failed(o))
    assert "does not meet 3 of its gates and checks" in o.decision.sentence


def test_every_shipped_example_comes_to_its_word(example):
    words = {p.name: run(load_bundle(p)).decision.word for p in sorted(example.glob("*.toml"))}
    assert set(words.values()) >= {NO_REPAIR, WRAP, OTHER}
    assert words["HB-07.toml"] == WRAP


def test_a_wider_stated_loss_never_passes_where_a_narrower_one_fails(decide):
    """Beyond about two thirds of the circumference the eccentricity falls again; the worst width up to the stated
    one is taken, so that the axial stress never falls with the width."""
    def stress(width):
        o = decide(defect__grid=None, defect__width=f"{width} mm", sheet={"sleeve__layers": 30})
        return o.assessment.axial_check.provided.magnitude, o.decision.word
    found = [stress(w) for w in (300, 700, 850, 1000, 1150, 1276)]
    assert [s for s, _ in found] == sorted(s for s, _ in found)
    assert found[3][1] == found[5][1] == OTHER


def test_a_limit_is_not_decided_by_binary_arithmetic(decide):
    """19.9 - 0.1 and 15.54 + 0.3 mm are 0.8 exactly, and 8.2 - 0.2 mm gives z = 20 exactly."""
    o = decide(pipe__nominal_wall="19.9 mm", pipe__sound_wall="19.9 mm", pipe__wall_allowance="0.1 mm",
               defect__depth="15.54 mm", defect__depth_allowance="0.3 mm", defect__grid=None)
    assert o.assessment.relative_depth.magnitude == 0.8 and not o.assessment.too_deep
    o = decide(pipe__outside_diameter="360 mm", pipe__nominal_wall="8.2 mm", pipe__sound_wall="8.2 mm",
               pipe__wall_allowance="0.2 mm", defect__grid=None, defect__length="239.9 mm",
               defect__length_allowance="0.1 mm")
    z = next(i.result.magnitude for i in o.recorder.items
             if getattr(i, "formula", None) is not None and i.formula.name == "length_parameter")
    assert z == 20


def test_a_yield_balance_that_cancels_does_not_stop_a_case(decide):
    """p D / 2 equals S_y t_s: the yielded-steel route, there for information only, has nothing to carry."""
    o = decide(pipe__outside_diameter="400 mm", pipe__nominal_wall="8 mm", pipe__sound_wall="8 mm",
               pipe__wall_allowance="0 mm", pipe__smys="400 MPa", defect__depth="4 mm", defect__depth_allowance="0 mm",
               defect__grid=None, service__maop="8 MPa", service__discovery_pressure="7 MPa",
               service__class_location="1", defect__length="400 mm", design__design_method="laminate strain")
    assert next(r for r in o.design.routes if r.key == "yielded steel").reason.startswith("the remaining wall carries")


def test_what_was_done_to_the_grid_is_an_assumption(decide):
    o = decide(defect__depth="4.1 mm")
    assert any("was raised to it" in a["text"] for a in o.recorder.assumptions)


def test_a_thicker_wrap_than_yielded_steel_asks_for_must_still_let_the_steel_yield(decide):
    """The least number of layers may be far more than required: then load sharing holds, not this route."""
    o = decide(design__design_method="yielded steel")
    assert o.decision.word == OTHER and failed(o) == ["Steel yields under the wrap as laid, yielded steel"]
    assert decide(design__design_method="yielded steel", sheet=THIN).decision.word == WRAP


@pytest.mark.parametrize(("service", "code_pressure"), [("gas line", 2 * 360 * 8.74 / 406.4 * 0.60),
                                                        ("liquid line", 2 * 360 * 8.74 / 406.4 * 0.72)])
def test_the_sound_pipe_must_bear_the_maop(decide, service, code_pressure):
    """A repair of the defect does not mend a pipe that is too weak for its MAOP."""
    fields = {"service__service": service, "service__class_location": "2" if service == "gas line" else None,
              "defect__grid": None, "defect__depth": "1 mm", "defect__length": "20 mm", "defect__width": "20 mm"}
    assert decide(service__maop=mpa(code_pressure * (1 - HAIR)), **fields).decision.word == NO_REPAIR
    o = decide(service__maop=mpa(code_pressure * (1 + HAIR)), **fields)
    assert o.decision.word == NO_DATA and "above the code design pressure" in reasons(o)
    o = decide(service__maop=mpa(code_pressure * (1 + HAIR)), service__maop_basis="test of 1968", **fields)
    assert o.decision.word != NO_DATA
    assert any("test of 1968" in a["text"] for a in o.recorder.assumptions)


def test_a_thin_sound_wall_is_not_the_pipe_that_was_stated(decide):
    edge = 0.875 * 8.74 + 0.1
    for basis in ({}, {"pipe__wall_basis": "nominal", "pipe__wall_basis_reason": "records"}):
        ok = decide(pipe__sound_wall=mm(edge * (1 + HAIR)), **basis)
        assert ok.decision.word != NO_DATA
        o = decide(pipe__sound_wall=mm(edge * (1 - HAIR)), **basis)
        assert o.decision.word == NO_DATA and "of the nominal wall" in reasons(o)


def test_a_seam_that_is_weaker_than_the_pipe_is_not_covered(decide):
    o = decide(pipe__joint_type="furnace butt welded", service__maop="5 MPa")
    assert o.decision.word == NO_DATA and "joint factor" in reasons(o)


def test_the_depth_limit_holds_on_the_thinner_wall(decide):
    """A measured wall above nominal must not carry a deeper pit past the limit, which is on the nominal wall."""
    wall = {"pipe__sound_wall": "9.6 mm", "pipe__wall_basis": "measured", "pipe__wall_basis_reason": "records",
            "defect__grid": None, "defect__length": "20 mm", "defect__width": "20 mm"}
    assert decide(defect__depth=mm(0.8 * 8.74 * (1 - HAIR) - 0.2), **wall).decision.word != OTHER
    assert decide(defect__depth=mm(0.8 * 8.74 * (1 + HAIR) - 0.2), **wall).decision.word == OTHER


def test_weaker_steel_never_has_a_higher_safe_pressure(decide):
    pressures = [governing(decide(pipe__smts=f"{u} MPa")) for u in (360, 380, 396, 410, 428, 429, 430, 460, 520)]
    assert pressures == sorted(pressures)


def test_the_interim_limit_knows_the_axial_section(decide):
    o = decide(defect__grid=None, defect__width="700 mm", defect__depth="6.4 mm", defect__length="10 mm",
               service__lowered_maop="3.2 MPa", service__lowered_maop_reason="test")
    stress = o.assessment.axial_check.provided.magnitude
    assert o.decision.word == REDUCE
    assert o.decision.interim_limit.magnitude == pytest.approx(8.6 * 216 / stress, rel=1e-9)
    assert o.decision.interim_limit.magnitude < 6.48


def test_a_laminate_spent_by_axial_mismatch_is_refused(decide):
    """0.10 % times the temperature factor, less 20 °C times the difference of expansions."""
    factor = 0.0010 * (6e-5 * 27 ** 2 + 0.001 * 27 + 0.7014)
    for left, word in ((1e-9, WRAP), (-1e-9, OTHER)):
        o = decide(sheet={"laminate__expansion_axial": f"{11.7e-6 + (factor - left) / 20:.15g} 1/°C"})
        assert o.decision.word == word
    assert failed(o) == ["Allowable axial strain left after thermal mismatch"]


def test_colder_than_the_qualified_cure_is_refused(decide):
    assert decide(service__installation_temperature="15 °C").decision.word == WRAP
    o = decide(service__installation_temperature="14.999 °C")
    assert o.decision.word == OTHER and failed(o) == ["Installation temperature against the qualified cure"]


def test_cautions_are_given(decide):
    def warned(words, **fields):
        return any(words in w["text"] for w in decide(**fields).recorder.warnings)
    assert warned("seam runs through the damage", pipe__seam_clock="5:20") and not warned("seam runs through")
    assert warned("consider a leak", defect__depth="4.3 mm") and not warned("consider a leak")
    assert warned("may reach farther", defect__length="208 mm", defect__length_allowance="0 mm")
    assert not warned("may reach farther")


def test_a_flat_grid_warns_that_the_forms_assume_less(decide, example):
    assert not any("river-bottom area" in w["text"] for w in decide().recorder.warnings)
    rows = ["mm," + ",".join(str(x) for x in range(0, 240, 20))]
    for y in range(0, 160, 40):
        rim = y in (0, 120)
        rows.append(f"{y}," + ",".join("0" if rim or x in (0, 220) else "3.9" for x in range(0, 240, 20)))
    (example / "flat.csv").write_text("\n".join(rows) + "\n", "utf-8")
    o = decide(defect__grid="flat.csv", defect__length="220 mm", defect__length_allowance="0 mm")
    assert sum("river-bottom area" in w["text"] for w in o.recorder.warnings) == 2
