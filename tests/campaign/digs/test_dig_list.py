"""The dig list: order, hours term by term, deadlines, pressures of the section, and what cannot be read."""

import csv
import datetime
import io
import json

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as profile
from hypothesis import strategies as st

from tests.helpers import site_packages as make
from wrapcalc.campaign.digs.dig_list import dig_list, dig_rows, with_stock, write_dig_list
from wrapcalc.campaign.order.order import order_list
from wrapcalc.register.evidence import scan
from wrapcalc.register.state import snapshot

DAY = datetime.date
IMMEDIATE, SIXTY, YEAR = ("immediate", "rule 1"), ("60 days", "rule 2"), ("1 year", "rule 3")


def listed(paths, *, register=None, rows=None, **more):
    return dig_list(paths, make.settings(**more), register, rows)


def one(path, **more):
    (place,) = listed([path], **more).places
    return place


def value(magnitude, unit):
    return {"magnitude": magnitude, "unit": unit, "origin": {"kind": "step", "ref": "A9"}}


# -- hours --------------------------------------------------------------------------------------------------------
def test_expected_hours_are_the_sum_of_the_terms_and_each_term_shows_how(tmp_path):
    p = one(make.package(tmp_path, "A", volume=50.0, parts=make.wrap(units=((260.0, 2), (170.0, 1)), cure=30.0)))
    # by hand: 16 + 50 · 0.4 + 3 · 0.5 + 30 = 67.5 h, of which 37.5 h are work
    assert [(t.label, t.hours) for t in p.hours.terms] == [("fixed", 16), ("trench", 20), ("units", 1.5), ("cure", 30)]
    assert (p.hours.work, p.hours.cure, p.hours.total) == (37.5, 30, 67.5)
    assert [t.how for t in p.hours.terms] == [
        "dig.hours_fixed = 16 h", "50 m³ × 0.4 h for each m³", "3 units × 0.5 h for each",
        "by the sheet at the coldest steel expected"]
    assert p.hours.terms[1].refs == ("E21",) and p.hours.terms[2].refs == ("D1260", "D1170")


@pytest.mark.parametrize(("case", "dig", "why"), [
    ({}, {"hours_fixed": None}, "fixed: dig.hours_fixed is not stated"),
    ({}, {"hours_dig_per_m3": None}, "trench: dig.hours_dig_per_m3 is not stated"),
    ({}, {"hours_per_unit": None}, "units: dig.hours_per_unit is not stated"),
    ({"volume": None}, {}, "trench: the record has no volume of the trench: state excavation.cover"),
    ({"struck": "too deep"}, {}, "trench: the volume of the trench is struck: too deep"),
    ({"parts": make.wrap(cure=None)}, {}, "cure: the record has no time of cure: work.steel_low is not "
                                            "stated, or outside the cure table of the sheet"),
    ({"decision": "other repair needed"}, {}, "work on the pipe: what is done at this site is not designed "
                                              "(other repair needed)"),
    ({"decision": "insufficient data"}, {}, "work on the pipe: what is done at this site is not designed "
                                            "(insufficient data)")])
def test_a_term_that_is_missing_leaves_the_hours_not_stated(tmp_path, case, dig, why):
    found = listed([make.package(tmp_path, "A", **case)], **dig)
    (p,) = found.places
    assert p.hours.total is None and p.hours.work is None and p.hours.why == why
    (row,) = dig_rows(found)
    assert row["expected"] != row["expected"] and row["how counted"].endswith("hours not stated")


def test_a_look_without_repair_takes_trench_and_fixed_hours(tmp_path):
    p = one(make.package(tmp_path, "A", decision="no repair needed", volume=10.0))
    assert (p.hours.total, p.hours.cure) == (20, 0)


# -- order of the list --------------------------------------------------------------------------------------------
def test_immediate_comes_first_then_dates_then_risk_then_consequence(tmp_path):
    def site(case, **more):
        return make.package(tmp_path, case, **more)
    expected = [
        site("K", rule=IMMEDIATE, factor=1.0), site("J", rule=SIXTY, factor=1.0),
        site("I", rule=YEAR, due="2026-10-01", factor=1.0),      # the earlier of 2027-06-30 and 2026-10-01
        site("H", due="2026-12-01", factor=None),                # a factor that is not known before all
        site("G", due="2026-12-01", factor=1.5), site("F", due="2026-12-01", factor=1.2, hca=""),
        site("E", due="2026-12-01", factor=1.2, of_class=""), site("D", due="2026-12-01", factor=1.2, of_class="3"),
        site("C", due="2026-12-01", factor=1.2), site("B", decision="insufficient data", factor=9.0), site("A")]
    want = [p.name[0] for p in expected]
    for shuffled in (expected[::-1], sorted(expected)):
        found = listed(shuffled)
        assert [p.case_id for p in found.places] == want
        assert [p.number for p in found.places] == list(range(1, 12))


def test_days_after_a_discovery_that_nobody_dated_come_before_dates(tmp_path):
    paths = [make.package(tmp_path, "A", due="2026-07-01"), make.package(tmp_path, "B", rule=YEAR),
             make.package(tmp_path, "C", rule=SIXTY), make.package(tmp_path, "D", rule=IMMEDIATE)]
    found = listed(paths, discovery=None)
    assert [p.case_id for p in found.places] == ["D", "C", "B", "A"]
    assert found.places[1].deadline.words == "within 60 days of discovery (rule 2); the day of discovery is not stated"
    assert [p.deadline.date for p in found.places] == [None, None, None, DAY(2026, 7, 1)]


@given(st.permutations(range(5)))
@profile(max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_the_list_does_not_depend_on_the_order_of_the_packages(tmp_path_factory, order):
    root = tmp_path_factory.mktemp("p")
    paths = [make.package(root, f"S{i}", due=f"2026-09-0{1 + i % 2}", factor=1 + i % 3 / 10) for i in range(5)]
    assert listed([paths[i] for i in order]).data() == listed(paths).data()


# -- deadlines ----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("rule", "date"), [
    # by hand: days after 30 June 2026
    (("60 days", "r"), DAY(2026, 8, 29)), (("180 days", "r"), DAY(2026, 12, 27)), (("1 year", "r"), DAY(2027, 6, 30)),
    (("2 years", "r"), DAY(2028, 6, 29)), (("immediate", "r"), DAY(2026, 6, 30)), (("monitored", "r"), None)])
def test_the_date_is_the_day_of_discovery_and_the_days_of_the_rule(tmp_path, rule, date):
    assert one(make.package(tmp_path, "A", rule=rule)).deadline.date == date


def test_the_earliest_date_that_is_known_stands_beside_what_has_none(tmp_path):
    d = one(make.package(tmp_path, "A", rule=IMMEDIATE, due="2026-09-01"), discovery=None).deadline
    assert (d.date, d.undated) == (DAY(2026, 9, 1), True)
    assert d.words == "immediate (rule 1); by 2026-09-01 (location.due)"


def test_a_schedule_counts_by_the_response_time_of_the_record(tmp_path):
    step = {"type": "step", "id": "A40", "title": "t", "formula": "response_time", "struck": "",
            "result": {"magnitude": 1.5, "unit": "year"}}
    d = one(make.package(tmp_path, "A", rule=("by schedule", "rule 4"), items=(step,))).deadline
    assert d.date == DAY(2026, 6, 30) + datetime.timedelta(days=547) and "rule 4, A40" in d.words  # 1.5 · 365 = 547.5


def test_a_schedule_whose_time_nobody_knows_comes_right_after_what_is_immediate(tmp_path):
    paths = [make.package(tmp_path, "A", rule=SIXTY), make.package(tmp_path, "B", rule=("by schedule", "r")),
             make.package(tmp_path, "C", rule=IMMEDIATE)]
    assert [p.case_id for p in listed(paths).places] == ["C", "B", "A"]


def test_the_remaining_life_is_a_deadline_counted_from_the_measurement(tmp_path):
    life = {"life": value(2.0, "year"), "interval": value(1.0, "year")}
    p = one(make.package(tmp_path, "A", life=life, factor=0.9, inputs={"growth.measured_date": "2026-01-01"}))
    assert p.deadline.date == DAY(2026, 1, 1) + datetime.timedelta(days=730)  # 2 · 365.25 = 730.5
    assert p.deadline.words == "end of the remaining life, 730 days after measurement"
    for case, factor in (("C", 1.2), ("D", None)):
        held = one(make.package(tmp_path, case, life=life, factor=factor)).deadline
        assert held.date is not None and "not a day until which the line may run at its MAOP" in held.words
    left = one(make.package(tmp_path, "B", decision="reduce pressure and monitor", life=life))
    assert left.deadline.date == DAY(2026, 6, 30) + datetime.timedelta(days=365)
    assert left.deadline.words.startswith("next look, 365 days after discovery")


def test_rows_of_the_screening_give_a_deadline_only_where_the_package_gives_none(tmp_path):
    import numpy as np
    rows = {c: [{"feature_id": "F1", "deadline_days": np.float64(90)}, {"feature_id": "F2", "deadline_days": np.inf},
                {"feature_id": "F3", "deadline_days": np.float64(60)}] for c in "ABC"}
    paths = [make.package(tmp_path, "A"), make.package(tmp_path, "B", rule=YEAR),
             make.package(tmp_path, "C", decision="no repair needed")]
    by_case = {p.case_id: p.deadline for p in listed(paths, rows=rows).places}
    assert by_case["A"].words == "within 60 days of discovery (screening of F3)"
    assert by_case["B"].date == DAY(2027, 6, 30) and by_case["C"].words == "none"


def test_a_package_without_enough_data_takes_the_urgency_of_its_rows(tmp_path):
    rows = {"A": [{"feature_id": "F1", "deadline_days": 0.0}]}
    p = one(make.package(tmp_path, "A", decision="insufficient data"), rows=rows)
    assert p.deadline.words == "immediate (screening of F1)" and p.deadline.date == DAY(2026, 6, 30)


def test_a_deadline_that_no_calendar_holds_is_none(tmp_path):
    path = make.package(tmp_path, "A")
    assert one(path, rows={"A": [{"feature_id": "F1", "deadline_days": 1e12}]}).deadline.words == "none"


# -- what else stands in a row ------------------------------------------------------------------------------------
def test_a_row_has_joint_distance_materials_windows_and_access(tmp_path):
    weather = {"strip": {}, "windows": ["start from 9:00", ""], "verdict": "inside a window"}
    p = one(make.package(tmp_path, "A", survey=8391.8, parts=make.wrap(weather=weather), inputs={
        "location.joint_number": "118", "excavation.access": "track from the north"}))
    assert (p.joint, p.survey, p.access) == ("118", 8391800.0, "track from the north")
    assert p.materials == "2 × sleeve 260 mm wide on 406.4 mm; 2 × adhesive, packs of 2 kg"
    assert (p.windows, p.verdict) == (("start from 9:00",), "inside a window")


def test_windows_stand_only_where_there_is_a_forecast_and_the_screening_gives_a_distance(tmp_path):
    weather = {"strip": None, "windows": ["x"], "verdict": "not known"}
    p = one(make.package(tmp_path, "A", parts=make.wrap(weather=weather)), rows={"A": [{"survey": 1234.5}]})
    assert (p.windows, p.verdict, p.survey, p.joint) == ((), "", 1234.5, "joint 118")


def test_the_stock_of_each_site_is_ready_or_short(tmp_path):
    from wrapcalc.case.site_model import Stock
    paths = [make.package(tmp_path, "A", spoil=0.0), make.package(tmp_path, "B", spoil=0.0),
             make.package(tmp_path, "C", decision="other repair needed")]
    of = {"system": "example-sleeve", "expiry": "2027-12-31"}
    stock = [Stock(item="adhesive", pack="2 kg", count=2, batch="A", **of), Stock(
        item="unit", layers=8, width="260 mm", diameter="406.4 mm", count=3, batch="S", **of)]
    order = order_list(paths, stock, confidence=0.9, planned={"A": DAY(2026, 8, 3), "B": DAY(2026, 8, 10)})
    words = {p.case_id: p.stock for p in with_stock(listed(paths), order).places}
    assert words == {"A": "ready", "C": "no wrap", "B": "short: 1 × Sleeve, 260 mm wide, 8 layers, for outside "
                                                        "diameter 406.4 mm; 2 × Adhesive, packs of 2 kg"}


# -- pressures ----------------------------------------------------------------------------------------------------
def test_a_section_is_held_at_the_lowest_of_all_its_limits_while_anybody_is_in_a_trench_of_it(tmp_path):
    paths = [make.package(tmp_path, "A", interim=6.48, beside=2.0),
             make.package(tmp_path, "B", interim=5.0, beside=1.2),
             make.package(tmp_path, "C", interim=3.0, beside=0.5, section="valve 3 to 4")]
    by_case = {p.case_id: p for p in listed(paths).places}
    for case in "AB":
        s = by_case[case].section
        assert (s.lowest, s.occupied) == (5.0, 1.2)
        assert s.words("SI") == ("at most 5 MPa (case B r1 interim limit); while anybody is in a trench of this "
                                 "section at most 1.2 MPa (people beside the pipe at B)")
    assert (by_case["C"].section.lowest, by_case["C"].section.occupied) == (3.0, 0.5)


def test_sections_are_the_same_without_case_and_spacing(tmp_path):
    paths = [make.package(tmp_path, "A", section="Valve 2 to  3", beside=1.0), make.package(tmp_path, "B")]
    assert {p.section.occupied for p in listed(paths).places} == {1.0}


def test_a_restriction_that_a_case_states_counts_even_below_the_limit_beside_the_pipe(tmp_path):
    stated = {"restriction.0.pressure": ("0.9 MPa", 0.9, "MPa"), "restriction.0.reference": "letter 7"}
    s = one(make.package(tmp_path, "A", inputs=stated)).section
    assert (s.lowest, s.occupied) == (0.9, 0.9) and "case A r1: letter 7" in s.words("SI")


def test_a_site_without_a_limit_beside_the_pipe_leaves_the_section_without_one(tmp_path):
    paths = [make.package(tmp_path, "A", beside=None), make.package(tmp_path, "B")]
    found = listed(paths)
    assert {p.section.occupied for p in found.places} == {None}
    assert "not known: nobody stands beside the pipe until the engineer gives it (A)" in found.places[0].section.words(
        "SI")
    row = dig_rows(found)[0]["section at most while anybody is in a trench"]
    assert row != row


def test_restrictions_of_the_register_hold_for_the_section_and_what_it_lifted_does_not(tmp_path):
    earlier, mine = tmp_path / "earlier", tmp_path / "mine"
    make.package(earlier, "OLD", interim=4.0)
    path = make.package(mine, "A")
    s = dig_list([path], make.settings(), snapshot(scan(earlier))).places[0].section
    assert s.lowest == 4.0 and [r.case_id for r in s.open] == ["OLD", "A"]
    # the register knows A itself by its digest: its limit stands once
    s = dig_list([path], make.settings(), snapshot(scan(mine))).places[0].section
    assert [r.pressure for r in s.open] == [6.48]


def test_a_package_of_the_same_name_but_other_bytes_counts_beside_the_one_of_the_register(tmp_path):
    earlier = tmp_path / "earlier"
    make.package(earlier, "A", interim=3.0)
    s = dig_list([make.package(tmp_path / "mine", "A")], make.settings(), snapshot(scan(earlier))).places[0].section
    assert [r.pressure for r in s.open] == [3.0, 6.48]


def test_the_limit_of_an_earlier_revision_still_stands(tmp_path):
    paths = [make.package(tmp_path, "A", 1, interim=4.0), make.package(tmp_path, "A", 2, interim=6.0)]
    found = listed(paths)
    assert [p.package for p in found.places] == ["A-r2"] and found.places[0].section.lowest == 4.0
    assert not found.places[0].section.doubts


def test_a_limit_that_nobody_can_read_is_told_for_every_section(tmp_path):
    paths = [make.package(tmp_path, "A"), make.package(tmp_path, "B")]
    (paths[1] / "record.json").write_text("{}", encoding="utf-8")
    (p,) = listed(paths).places
    assert p.section.doubts == ("the limit of B-r1 is not known: its package cannot be read",)


def test_a_site_whose_section_nobody_stated_is_told_as_a_doubt_on_both_sides(tmp_path):
    paths = [make.package(tmp_path, "A", section=""), make.package(tmp_path, "B"),
             make.package(tmp_path, "C", section="", line_text="another line")]
    by_case = {p.case_id: p for p in listed(paths).places}
    assert by_case["A"].section.name == "line" and by_case["A"].told == (
        "hydraulic section not stated; the text of the line stands for it",)
    assert by_case["A"].section.doubts[0].startswith("B may lie in this section, too")
    assert by_case["B"].section.doubts[0].startswith("A may lie in this section, too")
    assert by_case["C"].section.doubts == ()


# -- bad packages, files ------------------------------------------------------------------------------------------
def test_a_package_that_cannot_be_read_is_one_line(tmp_path):
    paths = [make.package(tmp_path, "A"), make.package(tmp_path, "B", schema=7), tmp_path / "nothing"]
    odd = make.changed(make.package(tmp_path, "C"), lambda r: r["site"]["wrap"].update(materials=None))
    found = listed([*paths, odd])
    assert [p.case_id for p in found.places] == ["A"]
    assert [p.package for p in found.problems] == ["B-r1", "C-r1", "nothing"]
    # a record that cannot be listed still holds its section
    assert "C" in dict(found.places[0].section.beside)


def read_back(path):
    return list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8-sig"), newline="")))


@pytest.mark.parametrize(("display", "survey", "pressure", "number"), [
    ("SI", "survey [m]", "section at most [MPa]", 6.48), ("US", "survey [ft]", "section at most [psi]", 939.845)])
def test_the_file_has_units_in_its_headings(tmp_path, display, survey, pressure, number):
    path = make.package(tmp_path, "A", survey=304.8)
    write_dig_list(tmp_path / "dig.csv", listed([path], display=display))
    (row,) = read_back(tmp_path / "dig.csv")
    assert float(row[survey]) == pytest.approx(304.8 if display == "SI" else 1000)
    assert float(row[pressure]) == pytest.approx(number, rel=1e-5)  # 6.48 MPa / 0.00689476 MPa = 939.845 psi
    assert float(row["expected [h]"]) == 16 + 20 + 1 + 30 and row["place"] == "1"


def test_data_is_json_with_each_section_once(tmp_path):
    data = json.loads(json.dumps(listed([make.package(tmp_path, c) for c in "AB"]).data(), allow_nan=False))
    assert [s["name"] for s in data["sections"]] == ["valve 2 to 3"]
    assert {p["section"] for p in data["places"]} == {"valve 2 to 3"}


def test_a_text_that_a_spreadsheet_would_run_is_written_so_that_it_does_not(tmp_path):
    write_dig_list(tmp_path / "dig.csv", listed([make.package(tmp_path, "A", inputs={"excavation.access": "=1+1"})]))
    (row,) = read_back(tmp_path / "dig.csv")
    assert not row["access"].startswith("=") and "1+1" in row["access"]


def test_real_packages_stand_in_the_list_with_the_numbers_of_their_records(packages):
    paths = sorted(p for p in packages.iterdir() if p.name.endswith("-r1"))
    found = listed(paths)
    assert found.problems == () and len(found.places) == len(paths)
    for p in found.places:
        record = json.loads((packages / p.package / "record.json").read_text(encoding="utf-8"))
        assert p.decision == record["decision"]["word"]
        assert p.section.occupied <= record["decision"]["beside"]["magnitude"]
        interim = record["decision"]["interim_limit"]
        assert interim is None or p.section.lowest <= interim["magnitude"]
    full = next(p for p in found.places if p.case_id == "HB-07")
    record = json.loads((packages / "HB-07-r1" / "record.json").read_text(encoding="utf-8"))
    volume = next(r["value"]["magnitude"] for r in record["site"]["dig"]["trench"]
                  if r["label"] == "Volume in the ground")
    cure = record["site"]["wrap"]["cure"]["time"]["magnitude"]
    assert full.hours.total == pytest.approx(16 + 0.4 * volume + 0.5 * 2 + cure)
    assert len(full.windows) == len(record["site"]["wrap"]["weather"]["windows"]) and full.survey is not None
