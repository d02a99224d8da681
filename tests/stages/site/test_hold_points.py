"""Hold and witness points, laminate defects and cautions: in order, with the sheet's own numbers, blanks left blank."""

import json

import pytest

from wrapcalc import record, record_release, units
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.site.cautions import cautions
from wrapcalc.stages.site.hold_points import HOLD, WITNESS, Site, blasting, hold_points, readable
from wrapcalc.stages.site.holiday import holiday
from wrapcalc.stages.site.laminate import laminate_limits
from wrapcalc.stages.site.release import accepted, restoration
from wrapcalc.values import Origin, Value

ORDER = ["pressure", "joint", "blast wall", "materials", "surface", "isolation", "filler", "batch", "wrapping", "cure",
         "hardness", "laminate", "tap", "test", "coating", "cathodic", "markers", "release", "restoration", "backfill"]
WRAPS = ("HB-07", "HB-15", "HB-34", "HB-42", "HB-46", "HB-51")
WHO = 'by = "A. Reviewer"\non = 2026-09-30\ncopy = "copy 14"\n'


@pytest.fixture
def site(judge):
    """(points by key, everything as plain data, recorder, site) of an example with these fields changed."""
    def run(file="HB-07.toml", **fields):
        o = judge(file, **fields)
        with recording(Recorder(o.bundle.case.display)) as rec:
            rec.stage = "I"
            s = Site(o.bundle, o.design, o.bears, o.decision.beside, blasting(o.bundle, o.assessment),
                     accepted(o.bundle), restoration(o.bundle, o.design, o.bears, o.decision), holiday(o.bundle))
            points, rows = hold_points(s), laminate_limits(o.bundle)
        plain = record_release.parts(s.accepted, s.restoration, s.holiday, s.blasting, points, rows, cautions(),
                                     lambda v: record.value_data(v, rec.system))
        return {p.key: p for p in points}, json.loads(json.dumps(plain, allow_nan=False)), rec, s
    return run


def limit(point, words):
    return next(x for x in point.limits if words in x.what)


# -- order and completeness ---------------------------------------------------------------------------------------
@pytest.mark.parametrize("case", WRAPS)
def test_points_stand_in_the_order_of_the_work(site, case):
    points, plain, _, _ = site(f"{case}.toml")
    assert list(points) == ORDER
    assert [p.number for p in points.values()] == list(range(1, len(ORDER) + 1))
    for p in points.values():
        assert p.letter in (HOLD, WITNESS) and p.title and p.when and p.what and p.signs and p.citation and p.status
        assert p.blanks, "somebody writes something at every point"
        assert all(x.value is None or not x.words for x in p.limits), "a number or words, never both"
    assert [p["key"] for p in plain["hold_points"]] == ORDER


def test_nobody_goes_on_past_a_hold(site):
    points, *_ = site()
    assert {k for k, p in points.items() if p.letter == WITNESS} == {"materials", "batch", "wrapping", "markers",
                                                                     "cathodic", "backfill"}
    assert points["isolation"].applies == "if the laminate holds carbon fibre"
    assert [k for k, p in points.items() if p.applies] == ["isolation"]


# -- the sheet's own numbers --------------------------------------------------------------------------------------
@pytest.mark.parametrize(("case", "key", "words", "sense", "shown", "ref"), [
    ("HB-07", "pressure", "while anyone is in the trench", "<=", "2 MPa", None),
    ("HB-07", "pressure", "written down every", "<=", "30 min", "work.pressure_interval"),
    ("HB-07", "joint", "its length", "", "11.87 m", "location.joint_length"),
    ("HB-07", "blast wall", "as measured", ">=", "4.2 mm", "work.blast_least_wall"),
    ("HB-07", "surface", "humidity", "<=", "85 %", "example-sleeve/surface.humidity_max"),
    ("HB-07", "surface", "dew point", ">=", "3 °C", "example-sleeve/surface.dew_margin"),
    ("HB-07", "wrapping", "gap between", "<=", "4 mm", "example-sleeve/placement.joint_gap_max"),
    ("HB-07", "cure", "temperature that counts", ">=", "15 °C", "example-sleeve/cure_table.temperatures.0"),
    ("HB-07", "hardness", "mean", ">=", "71.1", None),
    ("HB-07", "filler", "straight edge", "<=", "0.5 mm", "Trade practice/filler_gap"),
    ("HB-07", "restoration", "never above (the MAOP)", "<=", "8.6 MPa", None),
    ("HB-15", "surface", "dew point", ">=", "5.4 °F", "example-cloth/surface.dew_margin"),
    ("HB-15", "surface", "coldest place", ">=", "48.2 °F", "example-cloth/application.steel_temperature_min"),
    ("HB-15", "coating", "dry thickness", "", "40 mil", "work.coating_thickness"),
    ("HB-15", "coating", "voltage of", "", "7906 V", None),
    ("HB-15", "restoration", "hold at each step", ">=", "20 min", "work.restoration_hold"),
    ("HB-15", "joint", "its length", "", "39.8 ft", "location.joint_length"),
    ("HB-42", "test", "test pressure", "", "0.85 MPa", "service.test_pressure")])
def test_limits_are_those_of_the_case_the_sheet_and_the_tables(site, case, key, words, sense, shown, ref):
    points, _, _, s = site(f"{case}.toml")
    x = limit(points[key], words)
    assert x.sense == sense and x.value.show(s.bundle.case.display) == shown
    assert ref is None or x.value.origin.ref == ref


def test_profile_is_shown_in_small_units(site):
    points, *_ = site()
    shown = [x.value.show("SI") for x in points["surface"].limits if x.what == "profile"]
    assert shown == ["55 µm", "105 µm"]
    points, *_ = site("HB-15.toml")
    shown = [x.value.show("US", 3) for x in points["surface"].limits if x.what == "profile"]
    assert shown == ["1.97 mil", "3.74 mil"]


@pytest.mark.parametrize("case", WRAPS)
def test_the_box_of_the_design_stands_at_the_joint(site, case):
    points, _, _, s = site(f"{case}.toml")
    shown = {x.what: (x.sense, x.value) for x in points["joint"].limits if x.sense}
    assert list(shown) == [b.name for b in s.bears.box] and shown
    for b in s.bears.box:
        sense, value = shown[b.name]
        assert sense == ("<=" if b.at_most else ">=") and value.to("mm") == pytest.approx(b.edge.to("mm"))


def test_layers_are_those_of_the_design(site):
    points, _, _, s = site()
    assert limit(points["wrapping"], "layers").value == s.design.laid.count
    assert not [x for x in site("HB-15.toml")[0]["wrapping"].limits if "gap" in x.what], "bands of cloth overlap"


def test_what_is_not_stated_is_a_blank(site):
    points, plain, *_ = site("HB-34.toml")
    blank = [(k, x.what) for k, p in points.items() for x in p.limits if x.value is None and not x.words]
    assert {("pressure", "read at"), ("joint", "joint"), ("blast wall", "blasting under pressure"),
            ("coating", "voltage of the holiday test"), ("coating", "standard of the holiday test"),
            ("restoration", "pressure at each step"), ("restoration", "hold at each step")} <= set(blank)
    assert plain["holiday"]["lowest"] is None and "no default" in plain["holiday"]["reason"]


def test_two_voltages_are_both_limits(site):
    points, *_ = site(work__holiday_standard="NACE SP0490-2007", work__coating_thickness="16 mil")
    volts = [(x.sense, round(x.value.magnitude)) for x in points["coating"].limits if "voltage of" in x.what]
    assert volts == [(">=", 2000), ("<=", 2400)]


def test_where_nothing_is_raised_the_sheet_says_so(site):
    points, plain, *_ = site(restriction=[{"pressure": "2 MPa", "reference": "restriction 9"}])
    assert "nothing is raised" in limit(points["restoration"], "raise of the pressure").words
    assert plain["restoration"]["none"] and not [x for x in points["restoration"].limits if "hold" in x.what]


# -- blasting under pressure --------------------------------------------------------------------------------------
def test_a_wall_above_the_least_may_be_blasted(site):
    """Independent: 8.51 mm sound wall, allowance off, less 4.1 mm deepest with its allowance, are 4.41 mm."""
    points, plain, rec, s = site()
    assert s.blasting.left.magnitude == pytest.approx(8.61 - 0.1 - 3.9 - 0.2) and s.blasting.check.verdict == "met"
    assert limit(points["blast wall"], "blasting under pressure").words == "allowed at the wall of the assessment"
    assert plain["blasting"]["check"] == s.blasting.check.id
    assert rec.place_of[s.blasting.check.id] == ("I", "Surface and climate")


def test_a_wall_below_the_least_is_not_blasted_under_pressure(site):
    points, _, rec, s = site(work__blast_least_wall="4.5 mm")
    assert s.blasting.check.verdict == "not met"
    assert limit(points["blast wall"], "blasting under pressure").words == "forbidden"
    assert any("No blasting under pressure: the wall left, 4.41 mm, is below the company's least, 4.5 mm" in w["text"]
               for w in rec.warnings)


def test_without_a_least_wall_nobody_says_yes(site):
    points, _, _, s = site("HB-15.toml")
    assert s.blasting.check.verdict == "no data" and "work.blast_least_wall" in s.blasting.check.note
    assert limit(points["blast wall"], "blasting under pressure").words == ""


def test_an_opening_is_not_blasted_under_pressure(site):
    points, _, rec, s = site("HB-42.toml", service__installation_pressure="0.2 MPa")
    assert s.blasting.left is None and s.blasting.check.verdict == "not met"
    assert limit(points["blast wall"], "blasting under pressure").words == "forbidden"
    assert any("over an opening" in w["text"] for w in rec.warnings)


def test_without_pressure_the_wall_does_not_matter(site):
    points, _, _, s = site("HB-42.toml")
    assert s.blasting.check.verdict == "met"
    assert "without pressure" in limit(points["blast wall"], "blasting under pressure").words


# -- laminate defects ---------------------------------------------------------------------------------------------
def test_rows_of_laminate_defects(site):
    """From memory of ISO 24817: 10 mm wide, 2.5 mm high, a step of 2.5 mm, no delamination at the ends."""
    _, plain, *_ = site()
    rows = {r["defect"]: r for r in plain["laminate"]}
    assert rows["foreign matter, blisters, pits"]["words"] == "at most 10 mm wide and 2.5 mm high or deep"
    assert rows["wrinkles"]["words"] == "no step of the thickness above 2.5 mm"
    assert rows["delamination at the ends"]["words"] == "none"
    assert {r["status"] for r in plain["laminate"]} == {"from memory"}
    assert all(r["exceeded"] and r["citation"].startswith("ISO 24817:2017") for r in plain["laminate"])
    assert [r["defect"] for r in plain["laminate"] if r["blank"]] == ["delamination elsewhere, by tapping"]
    assert "0.3937 in wide" in next(r.words for r in laminate_limits(site("HB-15.toml")[3].bundle) if r.values)


def test_an_overlay_changes_a_row_and_its_status(site):
    def marked(*names):
        return "".join(f'[[value]]\nitem = "ISO 24817:2017/{n}"\nvalue = "3 mm"\n{WHO}' for n in names)
    _, plain, *_ = site(files={"mine.toml": marked("wrinkle_step", "surface_defect_height")},
                        documents={"overlay": "mine.toml"})
    rows = {r["defect"]: r for r in plain["laminate"]}
    wrinkles = rows["wrinkles"]
    assert (wrinkles["words"], wrinkles["status"]) == ("no step of the thickness above 3 mm", "verified")
    pits = rows["foreign matter, blisters, pits"]
    assert pits["words"] == "at most 10 mm wide and 3 mm high or deep"
    assert pits["status"] == "from memory", "one of its two numbers is not verified"


def test_table_entries_of_the_sheet_are_named(site):
    _, _, _, s = site()
    refs = record_release.table_refs(hold_points(s), laminate_limits(s.bundle))
    assert refs == sorted(set(refs)) and {"ISO 24817:2017/wrinkle_step", "Trade practice/tap_dense"} <= set(refs)
    assert all(r in s.bundle.tables.entries for r in refs)


# -- cautions -----------------------------------------------------------------------------------------------------
def test_cautions_have_a_source_and_conditions_begin_with_if(site):
    found = {c.hazard: c for c in cautions()}
    assert {"cave-in", "way out", "atmosphere", "isocyanate", "silica", "peroxide", "line under pressure",
            "left-over mixes"} <= set(found)
    assert all(c.citation and c.status in ("seen", "from memory", "common practice") for c in found.values())
    assert all(c.applies == "" or c.applies.startswith("if ") for c in found.values())
    assert found["isocyanate"].applies and found["peroxide"].applies and not found["cave-in"].applies
    assert "1.5 m (5 ft)" in found["cave-in"].text and "1.2 m (4 ft)" in found["way out"].text
    _, plain, *_ = site()
    assert [c["hazard"] for c in plain["cautions"]] == list(found)


def test_metres_and_feet_in_the_cautions_agree():
    """Independent: pint's own feet, to the digit that is written."""
    import re
    text = " ".join(c.text for c in cautions())
    pairs = re.findall(r"([\d.]+) m \((\d+) ft\)", text)
    assert len(pairs) >= 5
    for metres, feet in pairs:
        exact = units.convert(float(feet), "foot", "m")
        assert float(metres) == pytest.approx(exact, abs=0.11)
    assert units.convert(44, "degC", "degF") == pytest.approx(111, abs=0.3)
    assert 0.02 * 250.25 / 24.45 == pytest.approx(0.2, abs=0.005)  # seen: ppm of MDI to mg/m³


# -- plain data ---------------------------------------------------------------------------------------------------
def test_nothing_reached_is_plain_data_too():
    plain = record_release.parts(None, None, None, None, (), (), (), lambda v: None)
    assert plain == {"accepted": None, "restoration": None, "holiday": None, "blasting": None, "hold_points": [],
                     "laminate": [], "cautions": []}


@pytest.mark.parametrize(("magnitude", "unit", "system", "shown"), [
    (0.05, "mm", "SI", "50 µm"), (0.5, "mm", "SI", "0.5 mm"), (2500.0, "mm", "SI", "2.5 m"),
    (1.016, "mm", "US", "40 mil"), (25.4, "mm", "US", "1 in"), (3048.0, "mm", "US", "10 ft"),
    (0.25, "hour", "SI", "15 min"), (4.0, "hour", "US", "4 h"), (0.0, "mm", "US", "0 in"), (8.0, "MPa", "SI", "8 MPa")])
def test_readable_units(magnitude, unit, system, shown):
    value = Value(magnitude, unit, Origin("case", "x"))
    assert readable(value, system).show(system) == shown and readable(value, system).origin == value.origin
    assert readable(None, system) is None
