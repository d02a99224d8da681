"""Row i of a screening is what the single case of that row gives, whatever the line, the service and the order."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.helpers.single_cases import LIQUID, PLANT, Row, arrays, expected, run, says, written
from wrapcalc.campaign.rows import reasons
from wrapcalc.campaign.rows.strength import AXIAL_VERDICTS, DISPOSITIONS, METHODS, REASONS, SCOPE, Screener
from wrapcalc.case import load_bundle
from wrapcalc.errors import CalculationError, CaseFaults

#: Steps of a single case are carried to 12 significant digits, those of the rows are not rounded on their way.
SAME = 1e-9
#: A search ends with a bracket of 1e-9 years, an integral with a change of 1e-8 of the probability.
SEARCHED = 1e-6
_SEARCHED = {"remaining_life", "next_look", "probability"}
#: Columns that are there on request only.
ON_REQUEST = {"growth_rate": "life", "remaining_life": "life", "next_look": "life", "probability": "chance",
              "probability_of_depth": "chance"}

#: What a case file is refused for: no row may be judged that is no case.
REFUSED = {reasons.DEPTH: "defect.depth", reasons.LENGTH: "defect.length", reasons.WIDTH: "defect.width",
           reasons.WALL: "pipe.sound_wall", reasons.SHRUNK: "growth.earlier_depth"}


def hold_equal(fields: dict, rows: list[Row], criteria: str = "", **asked) -> np.ndarray:
    """Every row of the screening against the single case; gives back the dispositions."""
    screener = Screener(written(fields, criteria=criteria), **asked)
    found = screener.judge(arrays(rows))
    for i, row in enumerate(rows):
        try:
            out = run(fields, row, criteria)
        except CaseFaults as e:
            assert DISPOSITIONS[found["disposition"][i]] == "insufficient data", row
            assert REFUSED[found["reason"][i]] in {f.field for f in e.faults}, (row, str(e))
            continue
        want = expected(out)
        where = f"row {i} {row}: {out.decision.sentence}"
        reason = int(found["reason"][i])
        assert DISPOSITIONS[found["disposition"][i]] == want.pop("disposition"), (where, REASONS[reason])
        assert says(out, reason), (where, REASONS[reason])
        assert METHODS[found["governing"][i]] == want.pop("governing"), where
        criterion, exclusion = found["criterion"][i], found["exclusion"][i]
        assert (None if criterion < 0 else screener.criteria[criterion][:2]) == want.pop("criterion"), where
        ruled_out = None if exclusion < 0 else "{1} ({0})".format(*screener.criteria[exclusion])
        assert ruled_out == want.pop("exclusion"), where
        for name, value in want.items():
            if name not in found:
                assert not asked.get(ON_REQUEST[name]), name
                continue
            assert found[name][i] == pytest.approx(value, rel=SEARCHED if name in _SEARCHED else SAME, abs=1e-12 if
                                                   name in _SEARCHED else 0, nan_ok=True), (name, where)
        for m in METHODS[1:]:
            assert (found[f"scope {m}"][i] == 0) == (not math.isnan(found[f"safe {m}"][i])), (m, where)
    return found["disposition"]


WALL, D = 8.61, 406.4
ROW: Row = {"depth": 3.0, "length": 80.0, "width": 60.0, "clock": 4.5, "sound_wall": WALL, "internal": 0}


# -- lines and rows -----------------------------------------------------------------------------------------------
#: Edges: nothing, the lower end of the 1991 form, exactly the depth limit, the wall; with the allowance of 0.2 mm off.
DEPTHS = st.one_of(st.floats(0.05, 1).map(lambda x: max(0.01, round(x * WALL, 3))),
                   st.sampled_from([0.01, 0.651, 0.85, 4.05, 6.6, 6.608, 6.61, 8.0, WALL]))
LENGTHS = st.one_of(st.floats(0, 1).map(lambda x: round(0.1 * 10 ** (x * 5.3), 2)),
                    st.sampled_from([0.1, 20_000.0, 256.0, 257.0, 407.0]))
WIDTHS = st.one_of(st.floats(0, 1).map(lambda x: round(1 + x ** 2 * (math.pi * D - 2), 2)),
                   st.sampled_from([0.1, 1276.0]))
ROWS = st.fixed_dictionaries({
    "depth": DEPTHS, "length": LENGTHS, "width": WIDTHS, "clock": st.sampled_from([0.5, 4.0, 11.75]),
    "sound_wall": st.sampled_from([WALL, WALL, 8.6, 8.74, 9.3, 8.0, 7.7, 7.0]), "internal": st.sampled_from([0, 0, 1])})


def some(**choices) -> st.SearchStrategy[dict]:
    """A few fields of the line with another value; None leaves a field out."""
    return st.lists(st.sampled_from([(n, v) for n, values in choices.items() for v in values]), max_size=3).map(dict)


LOADS = some(service__axial_force=["-900 kN", "-300 kN", "600 kN"], service__bending_moment=["-60 kN*m", "150 kN*m"],
             service__restraint=["restrained", "unknown", "unrestrained"], service__lowest_temperature=["-5 °C"])
STATED = some(
    service__upset_pressure=["9.0 MPa"], service__lowered_maop=["6.5 MPa", "4 MPa"],
    service__inside_repair=["bend", "fitting"],
    service__internal_corrosion=["active", "unknown"], service__high_consequence_area=["yes", "no"],
    defect__depth_allowance=["0 mm"], defect__length_allowance=["0 mm"], pipe__wall_allowance=["0 mm"],
    features__crossing=["yes"], features__general_corrosion=["yes"], features__seam_corrosion=["preferential"],
    features__judgement_immediate=["yes"], pipe__seam_process=["flash"], pipe__wall_basis=["nominal", "measured"],
    service__maop_basis=["tested"], design__design_life=["20 y"])
GAS = some(service__class_location=["1", "3", "4"], service__maop=["3 MPa", "7.74 MPa", "9.2862 MPa", "11 MPa"],
           pipe__smts=[None, "380 MPa", "1000 MPa"], pipe__smys=["484 MPa"], pipe__joint_type=["furnace butt welded"],
           assessment__method=["original 1991", "original 2012", "0.85dL", "DNV-RP-F101", "profile before box",
                               "lower of all"], service__lower_design_factor=[0.5])
OF_PLANT = some(assessment__corrosion_allowance=["0 mm", "2 mm"], assessment__discontinuity=["90 mm"],
                service__maop=["2 MPa", "6.0 MPa", "7.2 MPa"], pipe__smts=[None])
GROWTH = st.sampled_from([
    {"basis": "stated", "rate": "0.3 mm/y"}, {"basis": "stated", "rate": "0.02 mm/y", "length_rate": "5 mm/y"},
    {"basis": "stated", "rate": "2 mm/y"}, {"basis": "soil class", "soil": "conductive, worst case"},
    {"basis": "full life", "service_date": "1990-03-01", "measured_date": "2026-05-14"},
    {"basis": "half life", "service_date": "1990-03-01", "measured_date": "2026-05-14", "failure_ratio": 1.5},
    {"basis": "two measurements", "earlier_date": "2019-06-02", "measured_date": "2026-05-14",
     "earlier_depth": "0.01 mm", "earlier_length": "0.1 mm"}])
UNCERTAIN = st.sampled_from([
    {"depth_tolerance": "0.9 mm", "depth_confidence": "80 %"},
    {"depth_tolerance": "0.3 mm", "depth_confidence": "80 %", "length_tolerance": "15 mm",
     "length_confidence": "90 %"}])
OF = {"gas": ({}, GAS), "liquid": (LIQUID, GAS), "plant": (PLANT, OF_PLANT)}


def line(service: str, *more: dict) -> dict:
    """Fields of the line; those of the service first, and those that it does not have left out."""
    fields = OF[service][0] | {n: v for m in more for n, v in m.items()}
    if service != "gas":
        fields["service__class_location"] = None
    for what, reason in (("service__lowered_maop", "service__lowered_maop_reason"),
                         ("service__lower_design_factor", "service__lower_design_factor_reason"),
                         ("pipe__wall_basis", "pipe__wall_basis_reason"),
                         ("assessment__method", "assessment__method_reason")):
        fields[reason] = "test" if fields.get(what) else None
    if fields.get("service__restraint") in ("restrained", "unknown"):
        fields["service__tie_in_temperature"] = "12 °C"
    return fields


def known(fields: dict) -> dict:
    """The fields, if they make a case: contradictions of a case file are refused before any screening."""
    try:
        written(fields, {"depth": 3.0, "length": 50.0, "width": 50.0, "clock": 3.0, "sound_wall": WALL, "internal": 0})
    except CaseFaults:
        assume(False)
    return fields


@pytest.mark.parametrize("service", OF)
@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_a_row_is_the_single_case(service, data):
    fields = known(line(service, data.draw(LOADS), data.draw(STATED), data.draw(OF[service][1])))
    hold_equal(fields, data.draw(st.lists(ROWS, min_size=1, max_size=5)))


@pytest.mark.parametrize("service", OF)
@given(data=st.data(), asked=st.booleans())
@settings(max_examples=30, deadline=None)
def test_a_row_that_grows_is_the_single_case(service, data, asked):
    """Whether the life is asked for or not: a growth that is stated counts in the disposition."""
    growth = {f"growth__{n}": v for n, v in (data.draw(GROWTH) | {"basis_reason": "test"}).items()}
    more = data.draw(st.sampled_from([{}, {"service__axial_force": "-300 kN"}, {
        "uncertainty__depth_tolerance": "0.4 mm", "uncertainty__depth_confidence": "80 %"}]))
    fields = known(line(service, data.draw(STATED), data.draw(OF[service][1]), growth, more))
    hold_equal(fields, data.draw(st.lists(ROWS, min_size=1, max_size=4)), **({"life": True} if asked else {}))


@pytest.mark.parametrize("fields", [
    {"assessment__method": "DNV-RP-F101", "pipe__smts": None}, {"assessment__method": "0.85dL", "pipe__smys": "484 MPa",
                                                                "pipe__smts": "600 MPa"},
    {"assessment__method": "original 1991", "pipe__smts": "380 MPa"}], ids=["no SMTS", "high yield", "soft steel"])
def test_a_line_on_which_no_method_may_govern_still_has_its_words(fields):
    more = {"assessment__method_reason": "test", "growth__basis": "stated", "growth__rate": "0.3 mm/y",
            "growth__basis_reason": "test", "uncertainty__depth_tolerance": "0.4 mm",
            "uncertainty__depth_confidence": "80 %"}
    hold_equal(fields | more, [ROW, ROW | {"depth": 7.9}], life=True, chance=True)


@pytest.mark.parametrize("service", OF)
@given(data=st.data())
@settings(max_examples=6, deadline=None)
def test_the_chance_of_a_row_is_that_of_the_single_case(service, data):
    uncertain = {f"uncertainty__{n}": v for n, v in data.draw(UNCERTAIN).items()}
    fields = known(line(service, data.draw(OF[service][1]), uncertain))
    hold_equal(fields, data.draw(st.lists(ROWS, min_size=1, max_size=3)), chance=True)


COMPANY = """rule = "Test list"
title = "Made up"
text_as_of = "2026"
status = "common practice"
[[criterion]]
paragraph = "1"
class = "60 days"
text = "deep, or weak"
when = ["depth_over_wall >= 0.5 or failure_ratio <= 1.3", "class_location in 1, 2"]
unless = ["depth_over_wall < 0.3 or operating_ratio >= 1.2", "crossing = no"]
[[criterion]]
paragraph = "2"
class = "excluded"
text = "too deep for us"
when = ["depth_over_nominal > 0.7"]
[[criterion]]
paragraph = "3"
class = "immediate"
text = "at once"
any_of = [["operating_ratio < 0.8"], ["depth_over_wall_end_of_life > 0.75"]]
when = ["metal_loss = yes"]
"""


@given(st.lists(ROWS, min_size=1, max_size=5), some(
    features__crossing=["no"], service__class_location=["3"], service__internal_corrosion=["active"],
    design__design_life=["20 y"], service__maop=["7 MPa"]), st.booleans())
@settings(max_examples=40, deadline=None)
def test_the_list_of_the_company_counts(rows, fields, grows):
    if grows or "service__internal_corrosion" in fields:
        fields = fields | {"growth__basis": "stated", "growth__rate": "0.1 mm/y", "growth__basis_reason": "test"}
    hold_equal(fields, rows, COMPANY)


@pytest.mark.parametrize("wall", [7.9, 8.0, 8.17, 8.33, 8.61])
def test_two_forms_that_say_the_same_are_told_apart_as_in_the_single_case(wall):
    """At the design factor 0.5 the 1991 form of long loss is that of 2012: the last of 12 digits names the lower."""
    rows = [ROW | {"depth": d, "length": 4000.0, "sound_wall": wall} for d in (1.1, 1.63, 2.27, 3.363, 4.79)]
    hold_equal({"service__class_location": "3", "service__maop": "3 MPa"}, rows)


# -- what is not stated -------------------------------------------------------------------------------------------
FIELDS = {"depth": "defect.depth", "length": "defect.length", "width": "defect.width", "clock": "defect.clock",
          "sound_wall": "pipe.sound_wall"}


@pytest.mark.parametrize("missing", [["depth"], ["clock"], ["sound_wall"], ["length", "width"], list(FIELDS)],
                         ids=" ".join)
def test_a_size_that_is_not_stated_is_named_and_nothing_is_worked_out(missing):
    row = ROW | dict.fromkeys(missing, math.nan)
    out = run({}, row)
    assert set(out.missing) == {FIELDS[n] for n in missing}, "the single case asks for the same"
    screener = Screener(written({}), life=True, chance=True)
    found = screener.judge(arrays([ROW, row, ROW]))
    blank = screener.judge(arrays([row]))
    named = ", ".join(n.replace("_", " ") for n in FIELDS if n in missing)
    assert REASONS[found["reason"][1]] == f"not stated: {named}"
    assert DISPOSITIONS[found["disposition"][1]] == "insufficient data"
    assert (found["governing"][1], found["axial"][1], found["criterion"][1], found["exclusion"][1]) == (0, 0, -1, -1)
    assert all(math.isnan(v[1]) for n, v in found.items() if v.dtype == float and n != "deadline_days")
    assert all(SCOPE[found[f"scope {m}"][1]].startswith("not reached") for m in METHODS[1:])
    for name, values in found.items():
        np.testing.assert_equal(values[0], values[2], name)
        np.testing.assert_equal(values[1], blank[name][0], name)


@pytest.mark.parametrize(("row", "reason"), [
    ({"depth": 0.0}, reasons.DEPTH), ({"depth": 8.7}, reasons.DEPTH), ({"length": 0.0}, reasons.LENGTH),
    ({"length": 20_001.0}, reasons.LENGTH), ({"width": 0.0}, reasons.WIDTH), ({"width": 1277.0}, reasons.WIDTH),
    ({"sound_wall": 4.3}, reasons.WALL), ({"sound_wall": 13.2}, reasons.WALL)])
def test_sizes_that_are_no_case_are_refused_like_the_case(row, reason):
    with pytest.raises(CaseFaults) as e:
        written({}, ROW | row)
    assert REFUSED[reason] in {f.field for f in e.value.faults}
    found = Screener(written({})).judge(arrays([ROW | row, ROW]))
    assert found["reason"][0] == reason and DISPOSITIONS[found["disposition"][0]] == "insufficient data"
    assert math.isnan(found["wall"][0]) and found["reason"][1] != reason


@pytest.mark.parametrize("clock", [-0.1, 12.1, math.inf])
def test_a_clock_that_is_none_is_refused(clock):
    found = Screener(written({})).judge(arrays([ROW | {"clock": clock}]))
    assert "clock" in REASONS[found["reason"][0]]


@pytest.mark.parametrize(("fields", "reason", "note"), [
    ({"service__maop": None, "pipe__smys": None}, reasons.NOT_KNOWN_LINE, "service.maop"),
    ({"service__inside_repair": "fitting"}, reasons.NOT_COVERED, "fitting"),
    ({"service__internal_corrosion": "active"}, reasons.NOT_COVERED, "internal corrosion")])
def test_what_the_line_does_not_state_or_cover_stops_every_row(fields, reason, note):
    screener = Screener(written(fields))
    found = screener.judge(arrays([ROW, ROW | {"depth": math.nan}]))
    assert found["reason"][0] == reason and says(run(fields, ROW), reason)
    assert any(note in n for n in screener.notes)
    assert REASONS[found["reason"][1]] == "not stated: depth"
    assert [DISPOSITIONS[d] for d in found["disposition"]] == ["insufficient data"] * 2
    assert screener.criteria == () and np.isnan(found["safe_pressure"]).all()


# -- order and blocks ---------------------------------------------------------------------------------------------
def many(count: int) -> dict[str, np.ndarray]:
    """Rows of every sort: too deep, not stated, at limits."""
    pick = np.random.default_rng(11)
    rows = {"depth": np.round(pick.uniform(0.05, 7.9, count), 1), "length": np.exp(pick.uniform(0, 7, count)),
            "width": pick.uniform(1, 600, count), "clock": pick.uniform(0, 12, count),
            "sound_wall": pick.choice([8.6, 8.61, 8.74, 9.0, 7.2], count),
            "internal": pick.integers(0, 2, count).astype(np.uint8)}
    for name in FIELDS:
        rows[name][pick.integers(0, count, count // 50)] = math.nan
    return rows


GROWING = {"growth__basis": "half life", "growth__service_date": "1990-03-01", "growth__measured_date": "2026-05-14",
           "growth__basis_reason": "test", "uncertainty__depth_tolerance": "0.9 mm",
           "uncertainty__depth_confidence": "80 %", "service__bending_moment": "60 kN*m",
           "service__lowered_maop": "7 MPa", "service__lowered_maop_reason": "test"}


@pytest.mark.parametrize(("fields", "asked", "count"), [({}, {}, 40_000), (GROWING, {}, 3000),
                                                        (GROWING, {"life": True, "chance": True}, 600)])
def test_order_and_parts_change_nothing(monkeypatch, fields, asked, count):
    screener, rows = Screener(written(fields), **asked), many(count)
    whole = screener.judge(rows)
    assert set(whole["disposition"]) >= {0, 2, 3, 4}
    order = np.random.default_rng(5).permutation(count)
    turned = screener.judge({n: v[order] for n, v in rows.items()})
    parts = [screener.judge({n: v[a:b] for n, v in rows.items()}) for a, b in ((0, 1), (1, 257), (257, count))]
    monkeypatch.setattr("wrapcalc.campaign.rows.strength._BLOCK", 97)
    blocks = screener.judge(rows)
    for name, values in whole.items():
        np.testing.assert_equal(turned[name], values[order], name)
        np.testing.assert_equal(np.concatenate([p[name] for p in parts]), values, name)
        np.testing.assert_equal(blocks[name], values, name)


def test_no_rows_are_no_rows():
    found = Screener(written({}), life=True, chance=True).judge({n: v[:0] for n, v in many(50).items()})
    assert {len(v) for v in found.values()} == {0}


def test_arrays_of_different_lengths_are_refused():
    rows = many(50)
    with pytest.raises(CalculationError, match="arrays of one length"):
        Screener(written({})).judge(rows | {"width": rows["width"][:-1]})


@pytest.mark.parametrize(("file", "words"), [("HB-07.toml", "a measured grid"), ("HB-34.toml", "table of pits"),
                                             ("HB-39.toml", "template case is a dent"), ("HB-42.toml", "a leak")])
def test_only_metal_loss_of_one_depth_and_one_length_is_screened(example, file, words):
    with pytest.raises(CalculationError, match=words):
        Screener(load_bundle(example / file))


def test_every_code_has_its_text():
    assert len(set(REASONS)) == len(REASONS) < 256
    assert REASONS[reasons.SHRUNK].endswith("loss does not grow back") and len(AXIAL_VERDICTS) == 3
    assert REASONS[reasons.SHRUNK + 1] == "not stated: depth" and REASONS[-1].count(",") == 4
