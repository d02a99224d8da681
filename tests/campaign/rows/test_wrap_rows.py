"""A wrap by first pass is the wrap that the design of the single case gives, row by row, whatever the template."""

import math
from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.helpers.single_cases import LIQUID, PLANT, Row, arrays, run, written
from wrapcalc.campaign.rows import wrap_reasons as why
from wrapcalc.campaign.rows.strength import DISPOSITIONS, Screener
from wrapcalc.campaign.rows.wrap_rows import WRAP_BASIS, WRAP_REASONS, WrapRows, first_pass
from wrapcalc.errors import CaseFaults
from wrapcalc.stages import job
from wrapcalc.stages.job import Outcome

SAME = 1e-9
DESIGN = {
    "service__installation_pressure": "2.0 MPa", "service__lowest_temperature": "3 °C",
    "service__installation_temperature": "17 °C", "design__standard": "ISO 24817:2017",
    "design__system": "example-sleeve", "design__design_method": "load sharing",
    "design__design_method_reason": "test", "design__design_life": "20 y", "takeoff__adhesive_waste": "15 %",
    "takeoff__filler_waste": "25 %", "takeoff__cloth_waste": "5 %", "takeoff__primer_waste": "15 %"}
CLOTH = {"design__system": "example-cloth"}
#: Reason code -> words in the title of a check that the single design does not meet.
TITLES = {
    why.LIVE_ABOVE_INTERIM: "Installation pressure against the interim limit",
    why.DEEP_AT_END: "Depth over wall at the end", why.NO_METHOD_AT_END: "A method of record holds",
    why.THIN_AT_END: "Remaining wall at the end of life", why.SHEAR: "Shear of the remaining wall",
    why.HOT: "Hottest service against", why.COLD_SITE: "Installation temperature against", why.NO_STRAIN: "Allowable ",
    why.LONG_LIFE: "Design life against", why.ENVELOPE: "inside the tested envelope",
    why.DEPTH_TESTED: "Depth with allowance over wall inside", why.CLASS: "inside repair class",
    why.DIAMETER: "Sleeve made for", why.GIRTH_WELD: "Repair over a girth weld", why.COMPONENT_ROUTE: "Route inside a",
    why.OUTSIDE: "Remaining wall against outside pressure", why.NO_LONG_TERM: "Long-term strength is tested",
    why.LIVE_ABOVE_SAFE: "Installation pressure below the safe pressure", why.LIVE_AXIAL: "Axial stress while wrapping",
    why.LIVE_YIELDS: "Ligament stress at installation", why.NOT_YIELDED: "Steel yields, yielded steel",
    why.NO_YIELD: "Steel yields under the wrap, ", why.AXIAL_ON_STEEL: "Axial load carried by the remaining steel",
    why.NOT_FOR_AXIAL: "Laminate qualified to carry axial load", why.LEAST_ROOM: "against the least room",
    why.TIERS: "Sleeves one over the other", why.MOST_LAYERS: "Layers against the most",
    why.FEW_LAYERS: "Wrap thickness against", why.HOOP_STRAIN: "Hoop strain of the wrap, load",
    why.TEST_STRAIN: "Hoop strain of the wrap at the pressure test", why.TEST_STRESS: "Stress of the steel under",
    why.AXIAL_AS_LAID: "Axial strain of the wrap", why.NO_YIELD_AS_LAID: "Steel yields under the wrap as laid",
    why.AXIAL_TEST: "section at the pressure test",
    why.ONE_UNIT: "Full-thickness cover", why.NO_SET: "Full-thickness cover",
    why.TOO_NEAR: ("Repair clear of", "Gap to the full thickness")}


def single(fields: dict, row: Row, *, whole: bool = False) -> Outcome:
    """The single case of a row; without `whole` what comes after its design is left out: it decides nothing."""
    fields = fields | {f"defect__{n}": f"{row[n]!r} mm" for n in ("clear_upstream", "clear_downstream") if n in row}
    if whole:
        return run(fields, row)
    with patch.object(job, "_beside_design", lambda bundle, a, out, decision: decision), \
            patch.object(job, "dig", lambda *_: None):
        return run(fields, row)


def hold_equal(fields: dict, rows: list[Row], *, template: dict | None = None, whole: bool = False) -> list[str]:
    """Every row of the first pass against the single case; gives back what was said of each."""
    bundle = written(fields | (template or {}))
    given_rows = arrays(rows)
    judged = Screener(bundle).judge(given_rows)
    found = first_pass(bundle, given_rows, judged)
    told = []
    for i, row in enumerate(rows):
        code = int(found["wrap_reason"][i])
        told.append(WRAP_REASONS[code])
        if DISPOSITIONS[judged["disposition"][i]] != "repair":
            assert not found["wrap_feasible"][i] and not code and found["wrap_basis"][i] == 0
            assert math.isnan(found["layers"][i])
            continue
        out = single(fields, row, whole=whole)
        where = (fields, row, told[-1], out.decision.sentence, out.decision.reasons)
        wrap = out.decision.word == "wrap"
        if code == why.SINGLE_CASE:
            assert not found["wrap_feasible"][i]
            continue
        assert found["wrap_feasible"][i] == wrap, where
        assert (code == 0) == wrap, where
        if wrap:
            _hold_wrap(found, i, out, where)
        else:
            _hold_reason(code, out, where)
    return told


def _hold_wrap(found: dict, i: int, out: Outcome, where: tuple) -> None:
    d = out.design
    (repair,) = d.extent.repairs
    want = {"layers": d.laid.count, "wrap_thickness": d.laid.thickness, "required_thickness": d.laid.required,
            "overlap": d.extent.overlap, "full_length": repair.full, "cover": repair.layout.cover,
            "end_length": d.extent.end, "overall_length": repair.overall}
    for name, value in want.items():
        assert found[name][i] == pytest.approx(value.magnitude, rel=SAME, abs=1e-12), (name, where)
    assert found["layers"][i] == d.laid.count.magnitude, where
    assert found["units"][i] == len(repair.layout.widths), where
    for name in found:
        if name.startswith("units of "):
            width = float(name.split()[2])
            assert found[name][i] == repair.layout.widths.count(width), (name, where)


def _hold_reason(code: int, out: Outcome, where: tuple) -> None:
    d = out.design
    if code == why.DESIGN_DATA:
        assert out.missing, where
        return
    if code == why.WAITS or d is None:  # one that is not asked for any more where something else fails before
        assert code == why.WAITS, where
        return
    unmet = [c.title for c in (*d.failed, *d.clear) if not c.met]
    words = TITLES[code] if isinstance(TITLES[code], tuple) else (TITLES[code],)
    assert any(w in title for w in words for title in unmet), (unmet, where)
    if code == why.TOO_NEAR:
        assert not d.fits
    elif d.extent is not None:
        assert d.fits, where


WALL = 8.61
ROW: Row = {"depth": 4.0, "length": 120.0, "width": 60.0, "clock": 4.5, "sound_wall": WALL, "internal": 0,
            "clear_upstream": 1500.0, "clear_downstream": 2500.0}
ROWS = st.fixed_dictionaries({
    "depth": st.floats(0.15, 0.8).map(lambda x: round(x * WALL, 3)),
    "length": st.floats(0, 1).map(lambda x: round(15 * 10 ** (x * 2), 2)),
    "width": st.floats(0, 1).map(lambda x: round(2 + x ** 2 * 1270, 2)), "clock": st.sampled_from([0.5, 4.0]),
    "sound_wall": st.sampled_from([WALL, 8.74, 9.3, 8.0]), "internal": st.sampled_from([0, 0, 1]),
    "clear_upstream": st.sampled_from([1500.0, 400.0, 235.0, 205.0, 150.0]),
    "clear_downstream": st.sampled_from([2500.0, 310.0, 190.0])})


def some(most: int = 3, **choices) -> st.SearchStrategy[dict]:
    """A few fields with another value; None leaves a field out."""
    return st.lists(st.sampled_from([(n, v) for n, values in choices.items() for v in values]), max_size=most).map(dict)


SYSTEMS = st.sampled_from([{}, {"design__tiers": 2}, CLOTH, CLOTH, {"design__tiers": 3}])
ROUTES = st.sampled_from(["load sharing", "yielded steel", "laminate strain", "long-term strength"])
STANDARDS = st.sampled_from(["ISO 24817:2017", "ISO 24817:2017", "ISO 24817:2015", "ISO/TS 24817:2006",
                             "ASME PCC-2-2022", "ASME PCC-2-2018", "ASME PCC-2-2011"])
LOADS = some(2, service__axial_force=["-700 kN", "400 kN", "900 kN"],
             service__bending_moment=["-60 kN*m", "150 kN*m"],
             service__restraint=["restrained", "unknown", "unrestrained"])
STATED = some(
    4, service__maop=["7.4 MPa", "9.1 MPa", "5 MPa"], service__installation_pressure=["0 MPa", "5 MPa", "6.3 MPa"],
    service__discovery_pressure=["2.4 MPa"], service__upset_pressure=["8.8 MPa"],
    service__lowered_maop=["8 MPa", "6.5 MPa"],
    service__test_pressure=["11 MPa", "9.2 MPa"], service__shear_force=["60 kN", "900 kN"],
    service__torsion=["20 kN*m"], service__soil_cover=["1.2 m"], service__external_pressure=["0.3 MPa"],
    service__service_temperature=["53 °C", "57 °C"], service__installation_temperature=["8 °C", "25 °C", "45 °C"],
    service__pressure_cycles=[90000], design__design_life=["2 y", "10 y", "25 y"], design__repair_class=["1", "2"],
    design__axial_carried_by=["remaining steel", "wrap"], design__limited_room=["thicker wrap"],
    service__inside_repair=["bend", "tee"], pipe__smys=["415 MPa", "320 MPa"], assessment__method=["DNV-RP-F101"],
    defect__neighbour_upstream=["600 mm"], defect__length_allowance=["0 mm"], layout__first=["least waste"],
    disposition__reduction=["failure pressure over 1.1", "failure pressure times design factor", "remaining strength"])
GROWTH = st.sampled_from([
    {"basis": "stated", "rate": "0.06 mm/y"}, {"basis": "stated", "rate": "0.02 mm/y", "length_rate": "4 mm/y"},
    {"basis": "stated", "rate": "0.3 mm/y"}, {"basis": "soil class", "soil": "medium or active corrosion"},
    {"basis": "full life", "service_date": "1966-03-01", "measured_date": "2026-05-14"},
    {"basis": "two measurements", "earlier_date": "2019-06-02", "measured_date": "2026-05-14",
     "earlier_depth": "0.9 mm", "earlier_length": "10 mm"}])
_REASONS = {"service__lowered_maop": "service__lowered_maop_reason", "assessment__method": "assessment__method_reason",
            "design__axial_carried_by": "design__axial_carried_by_reason", "disposition__reduction":
            "disposition__reduction_reason", "design__limited_room": "design__limited_room_reason"}
OF = {"gas": {}, "liquid": LIQUID, "plant": PLANT | {"service__maop": "6.9 MPa"}}


def line(service: str, *more: dict) -> dict:
    """Fields of a line with a design, without those that contradict each other."""
    fields = DESIGN | OF[service] | {n: v for m in more for n, v in m.items()}
    if fields["design__design_method"] == "load sharing":
        fields["design__axial_carried_by"] = None
    if fields["design__standard"].startswith("ASME"):
        fields["design__repair_class"] = None
    for what, reason in _REASONS.items():
        fields[reason] = "test" if fields.get(what) else None
    if fields.get("service__restraint") in ("restrained", "unknown"):
        fields["service__tie_in_temperature"] = "12 °C"
    return fields


def known(fields: dict) -> dict:
    """The fields, if they make a case."""
    try:
        written(fields, ROW)
    except CaseFaults:
        assume(False)
    return fields


@pytest.mark.parametrize("service", OF)
@given(data=st.data())
@settings(max_examples=120, deadline=None)
def test_a_row_is_the_design_of_the_single_case(service, data):
    fields = known(line(service, data.draw(SYSTEMS), {"design__design_method": data.draw(ROUTES),
                                                      "design__standard": data.draw(STANDARDS)},
                        data.draw(st.one_of(st.just({}), LOADS)), data.draw(STATED)))
    hold_equal(fields, data.draw(st.lists(ROWS, min_size=1, max_size=4)))


@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_a_loss_that_grows_under_the_wrap_is_the_design_at_the_end_of_its_life(data):
    growth = {f"growth__{n}": v for n, v in (data.draw(GROWTH) | {"basis_reason": "test"}).items()}
    fields = known(line(data.draw(st.sampled_from(list(OF))), data.draw(SYSTEMS), growth, data.draw(STATED), {
        "design__design_method": data.draw(ROUTES), "service__internal_corrosion": data.draw(
            st.sampled_from(["active", "none"]))}))
    hold_equal(fields, data.draw(st.lists(ROWS, min_size=1, max_size=3)))


@pytest.mark.parametrize("method", ["load sharing", "yielded steel", "laminate strain", "long-term strength"])
@pytest.mark.parametrize("system", [{}, CLOTH], ids=["sleeve", "cloth"])
def test_the_whole_job_says_the_same(method, system):
    """With all that comes after the design, for a plain row and a deep one."""
    told = hold_equal(DESIGN | system | {"design__design_method": method},
                      [ROW, ROW | {"depth": 4.8, "length": 310.0}, ROW | {"depth": 0.9}], whole=True)
    assert told[2] == ""


TEMPLATES = [{"defect__depth": "0.4 mm", "defect__length": "9 mm", "defect__width": "4 mm"},
             {"defect__depth": "8 mm", "defect__length": "900 mm", "defect__width": "1200 mm"},
             {"defect__depth": "5.9 mm", "defect__length": "3 m", "defect__clear_upstream": "0 mm",
              "defect__clear_downstream": "1 mm", "defect__kind": "internal metal loss", "pipe__sound_wall": "6 mm"}]


@pytest.mark.parametrize("fields", [
    {}, CLOTH, CLOTH | {"design__design_method": "laminate strain", "service__maop": "4 MPa",
                     "design__axial_carried_by": "remaining steel"},
    CLOTH | {"service__axial_force": "400 kN"}, CLOTH | {"design__limited_room": "thicker wrap"},
    {"growth__basis": "half life", "growth__service_date": "1966-03-01", "growth__measured_date": "2026-05-14",
     "growth__basis_reason": "test", "service__internal_corrosion": "active"}])
def test_the_sizes_of_the_template_have_no_influence(fields):
    rows = many(400)
    plain = None
    for template in ({}, *TEMPLATES):
        bundle = written(line("gas", fields, template))
        found = first_pass(bundle, rows, Screener(bundle).judge(rows))
        plain = plain or found
        assert 0 < found["wrap_feasible"].sum() < 300
        for name, values in found.items():
            np.testing.assert_array_equal(values, plain[name], name)


def many(count: int) -> dict[str, np.ndarray]:
    """Rows of every sort."""
    pick = np.random.default_rng(3)
    return {"depth": np.round(pick.uniform(0.5, 7.5, count), 2), "length": np.exp(pick.uniform(2, 7, count)),
            "width": pick.uniform(2, 900, count), "clock": pick.uniform(0, 12, count),
            "sound_wall": pick.choice([8.61, 8.74, 9.0, 7.9], count),
            "internal": pick.integers(0, 2, count).astype(np.uint8),
            "clear_upstream": pick.choice([3000.0, 500.0, 240.0], count),
            "clear_downstream": pick.choice([2000.0, 300.0, 180.0], count)}


@pytest.mark.parametrize("fields", [{}, CLOTH | {"service__axial_force": "900 kN"}])
def test_order_and_parts_change_nothing(fields):
    bundle, rows = written(line("gas", fields)), many(700)
    judged, wraps = Screener(bundle).judge(rows), WrapRows(bundle)
    whole = wraps.judge(rows, judged)
    order = np.random.default_rng(5).permutation(700)
    turned = wraps.judge(*({n: v[order] for n, v in x.items()} for x in (rows, judged)))
    parts = [wraps.judge(*({n: v[a:b] for n, v in x.items()} for x in (rows, judged)))
             for a, b in ((0, 0), (0, 1), (1, 130), (130, 700))]
    for name, values in whole.items():
        np.testing.assert_array_equal(turned[name], values[order], name)
        np.testing.assert_array_equal(np.concatenate([p[name] for p in parts]), values, name)


# -- every reason -------------------------------------------------------------------------------------------------
GROWS = {"growth__basis": "stated", "growth__basis_reason": "test", "service__internal_corrosion": "active"}
THIN = {"pipe__nominal_wall": "4.8 mm", "service__maop": "4.5 MPa", "service__discovery_pressure": "4.4 MPa"}
MEASURED = {"pipe__wall_basis": "measured", "pipe__wall_basis_reason": "test"}
HIGH_DISCOVERY = {"service__discovery_pressure": "9 MPa"}
YIELDED = {"design__design_method": "yielded steel"}
STRAIN = {"design__design_method": "laminate strain"}
TESTED = {"service__test_pressure": "15.4 MPa"}
OTHER_JOINT = {"pipe__other_nominal_wall": "8.74 mm", "pipe__other_sound_wall": "8.7 mm", "pipe__other_smys": "360 MPa",
               "pipe__other_smts": "460 MPa"}
EACH = [
    (why.LIVE_ABOVE_INTERIM, {"service__installation_pressure": "7 MPa"}, {}),
    (why.DEEP_AT_END, GROWS | MEASURED | {"growth__rate": "0.09 mm/y"}, {"depth": 5.0, "sound_wall": 9.3}),
    (why.NO_METHOD_AT_END, PLANT | GROWS | CLOTH | YIELDED | HIGH_DISCOVERY | {
        "growth__rate": "0.03 mm/y", "service__maop": "3.2 MPa", "service__axial_force": "-900 kN"},
     {"depth": 5.71, "length": 23.7, "width": 544.0}),
    (why.THIN_AT_END, THIN, {"depth": 3.53, "sound_wall": 4.8}), (why.SHEAR, {"service__shear_force": "900 kN"}, {}),
    (why.HOT, {"service__service_temperature": "75 °C"}, {}),
    (why.COLD_SITE, {"service__installation_temperature": "12 °C"}, {}),
    (why.NO_STRAIN, {"service__lowest_temperature": "-60 °C", "service__pressure_cycles": 9_000_000}, {}),
    (why.LONG_LIFE, {"design__design_life": "30 y"}, {}), (why.ENVELOPE, {"service__lowest_temperature": "-8 °C"}, {}),
    (why.DEPTH_TESTED, {}, {"depth": 6.5, "length": 30.0}), (why.CLASS, {"design__repair_class": "1"}, {}),
    (why.DIAMETER, {"pipe__outside_diameter": "420 mm"}, {}),
    (why.GIRTH_WELD, OTHER_JOINT | {"service__inside_repair": "girth weld"}, {}),
    (why.COMPONENT_ROUTE, {"service__inside_repair": "bend"}, {}),
    (why.OUTSIDE, {"service__external_pressure": "2 MPa"}, {"depth": 5.6, "length": 70.0}),
    (why.NO_LONG_TERM, {"design__design_method": "long-term strength"}, {}),
    (why.LIVE_ABOVE_SAFE, LIQUID | GROWS | HIGH_DISCOVERY | {
        "growth__rate": "0.03 mm/y", "service__installation_pressure": "4 MPa", "service__bending_moment": "200 kN*m",
        "assessment__method": "original 2012"}, {"depth": 5.11, "length": 468.1, "width": 621.0}),
    (why.LIVE_AXIAL, {"service__axial_force": "2600 kN"}, {"width": 400.0}),
    (why.LIVE_YIELDS, YIELDED | {"service__installation_pressure": "6 MPa", "service__axial_force": "600 kN",
                                 "service__restraint": "unrestrained"}, {"depth": 5.84, "length": 83.9}),
    (why.NOT_YIELDED, YIELDED, {"depth": 1.3, "length": 500.0}),
    (why.NO_YIELD, LIQUID | YIELDED | {"service__pressure_cycles": 30000, "service__lowest_temperature": "-4 °C",
                                       "design__tiers": 2}, {"depth": 5.73, "length": 110.4}),
    (why.NO_YIELD_AS_LAID, CLOTH | YIELDED, {"depth": 3.55, "length": 300.0}),
    (why.AXIAL_ON_STEEL, CLOTH | STRAIN | {"service__axial_force": "1400 kN",
                                           "design__axial_carried_by": "remaining steel"}, {"width": 900.0}),
    (why.NOT_FOR_AXIAL, STRAIN, {}),
    (why.LEAST_ROOM, CLOTH | {"design__limited_room": "thicker wrap"}, {"clear_upstream": 90.0}),
    (why.TIERS, {"design__tiers": 3}, {}), (why.MOST_LAYERS, CLOTH, {"depth": 5.5, "length": 400.0}),
    (why.FEW_LAYERS, {}, {"depth": 5.9, "length": 300.0}),
    (why.HOOP_STRAIN, CLOTH | {"service__pressure_cycles": 9_000_000}, {}),
    (why.TEST_STRAIN, LIQUID | TESTED | {"service__maop": "6 MPa", "design__tiers": 2}, {"depth": 5.21,
                                                                                         "length": 482.1}),
    (why.TEST_STRESS, {"service__test_pressure": "11 MPa", "service__maop": "6 MPa"}, {"depth": 4.21, "length": 398.7}),
    (why.AXIAL_AS_LAID, CLOTH | {"service__installation_pressure": "6 MPa", "service__pressure_cycles": 30000,
                                 "service__axial_force": "600 kN", "service__restraint": "unrestrained"},
     {"depth": 2.57, "length": 107.0, "width": 421.0}),
    (why.AXIAL_TEST, CLOTH | TESTED | HIGH_DISCOVERY | {"service__installation_pressure": "0 MPa"},
     {"depth": 5.58, "length": 20.1, "width": 628.0}),
    (why.NO_SET, {}, {"length": 1900.0, "depth": 2.0, "clear_upstream": 3000.0}),
    (why.ONE_UNIT, CLOTH | {"service__bending_moment": "80 kN*m", "service__restraint": "unrestrained"},
     {"depth": 2.48, "length": 215.3, "width": 333.0}),
    (why.TOO_NEAR, {}, {"clear_upstream": 150.0})]


@pytest.mark.parametrize(("code", "fields", "row"), EACH, ids=[WRAP_REASONS[e[0]] for e in EACH])
def test_each_reason_is_that_of_the_single_case(code, fields, row):
    told = hold_equal(line("gas", fields), [ROW | row])
    assert told == [WRAP_REASONS[code]]


def test_every_code_has_its_text():
    assert len(set(WRAP_REASONS)) == len(WRAP_REASONS) == why.TOO_NEAR + 1
    assert set(TITLES) | {why.DESIGN_DATA, why.WAITS, why.SINGLE_CASE} == set(range(1, len(WRAP_REASONS)))
    assert len(WRAP_BASIS) == why.SINGLE + 1


# -- what is not worked -------------------------------------------------------------------------------------------
def judge(fields: dict, rows: list[Row]) -> tuple[WrapRows, dict[str, np.ndarray]]:
    bundle = written(line("gas", fields))
    wraps = WrapRows(bundle)
    return wraps, wraps.judge(arrays(rows), Screener(bundle).judge(arrays(rows)))


@pytest.mark.parametrize(("fields", "note"), [
    ({"design__system": None}, "design.system"), ({"design__design_life": None}, "design.design_life"),
    ({"service__installation_pressure": None}, "service.installation_pressure")])
def test_what_the_line_does_not_state_is_named(fields, note):
    wraps, found = judge(fields, [ROW, ROW | {"depth": 0.5, "length": 20.0}])
    assert found["wrap_reason"].tolist() == [why.DESIGN_DATA, 0] and f"not stated: {note}" in wraps.notes
    assert single(line("gas", fields), ROW).missing == [note]
    assert not found["wrap_feasible"].any() and np.isnan(found["cover"]).all()


def test_distances_of_a_row_that_are_not_stated_are_not_taken_for_room():
    rows = [ROW, ROW | {"clear_upstream": math.nan}, ROW | {"clear_downstream": math.nan}]
    _, found = judge({}, rows)
    assert found["wrap_reason"].tolist() == [0, why.DESIGN_DATA, why.DESIGN_DATA]


def test_without_distances_of_the_row_those_of_the_template_count():
    bundle = written(DESIGN | {"defect__clear_upstream": "150 mm", "defect__clear_downstream": "2 m"})
    row = {n: v for n, v in ROW.items() if not n.startswith("clear")}
    judged = Screener(bundle).judge(arrays([row]))
    assert first_pass(bundle, arrays([row]), judged)["wrap_reason"][0] == why.TOO_NEAR
    bare = written(DESIGN)
    assert first_pass(bare, arrays([row]), judged)["wrap_reason"][0] == why.DESIGN_DATA


STOCK = [{"item": "unit", "width": "410 mm", "diameter": "406.4 mm", "count": 2, "batch": "A", "expiry": "2030-01-01"}]
KEEP = [{"what": "test lead", "start": "1 m", "end": "1.2 m", "rule": "no part"}]


@pytest.mark.parametrize(("fields", "more", "words"), [
    ({"layout__first": "symmetry"}, {}, "other objectives"),
    ({"layout__from_stock": "yes"}, {"stock": STOCK}, "units in stock"),
    ({"location__from_upstream_weld": "4 m"}, {"keep_out": KEEP}, "keep out")])
def test_what_the_arrays_cannot_say_is_left_to_the_single_case(fields, more, words):
    with patch.dict("tests.helpers.single_cases.LINE", more):
        bundle = written(line("gas", fields))
    wraps = WrapRows(bundle)
    found = wraps.judge(arrays([ROW]), Screener(bundle).judge(arrays([ROW])))
    assert found["wrap_reason"][0] == why.SINGLE_CASE and WRAP_BASIS[found["wrap_basis"][0]] == "single case only"
    assert words in wraps.notes[0] and not found["wrap_feasible"][0]


def test_growth_that_is_stated_and_not_worked_out_gives_no_wrap():
    """By DNV-RP-F101 with external loads no life is worked out: loss that goes on is left to the single case."""
    rows = [ROW | {"internal": 1}, ROW]
    fields = GROWS | {"growth__rate": "0.1 mm/y", "assessment__method": "DNV-RP-F101",
                      "service__axial_force": "-300 kN"}
    _, found = judge(fields | {"service__internal_corrosion": "none"}, rows)
    assert found["wrap_reason"].tolist() == [why.SINGLE_CASE, 0]
    _, found = judge(fields, rows)
    assert found["wrap_reason"].tolist() == [why.SINGLE_CASE] * 2


def test_a_system_of_too_many_sets_is_left_to_the_single_case(monkeypatch):
    monkeypatch.setattr("wrapcalc.campaign.rows.wrap_extent_rows._MOST_SETS", 10)
    wraps, found = judge({}, [ROW])
    assert found["wrap_reason"][0] == why.SINGLE_CASE and "more than 10 sets" in wraps.notes[0]


def test_a_value_that_is_not_known_is_named():
    wraps, found = judge({"design__standard": "ASME PCC-2-2022", "service__inside_repair": "tee"}, [ROW])
    assert found["wrap_reason"][0] == why.WAITS and "ASME PCC-2-2022" in wraps.notes[0]
