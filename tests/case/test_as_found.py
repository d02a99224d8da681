"""The sheet of what was found: read whole or refused with all that is wrong; the case with what it says."""

import datetime
import tomllib
from importlib import resources
from pathlib import Path

import pytest

from tests.helpers.as_found import HB_07, HB_15, Sheet
from wrapcalc.case import load_bundle
from wrapcalc.case.as_found import against_case, of_package, out_of_time, read_as_found
from wrapcalc.case.as_found_case import next_case
from wrapcalc.errors import CaseFaults

EXAMPLE = Path(str(resources.files("wrapcalc.example")))
GRID = (EXAMPLE / "HB-07-grid.csv").read_bytes()
NOW = datetime.datetime(2026, 10, 2, 12, tzinfo=datetime.UTC)


@pytest.fixture(scope="module")
def hb07():
    return load_bundle(EXAMPLE / "HB-07.toml")


def sheet(tmp_path, base=HB_07, grid=GRID) -> Sheet:
    return Sheet(base, tmp_path, digest="0123456789ab", date="2026-10-02", grid=grid)


def told(tmp_path, dotted: str, value, base=HB_07) -> str:
    with pytest.raises(CaseFaults) as e:
        read_as_found(sheet(tmp_path, base).put(dotted, value).write())
    return str(e.value)


def test_a_sheet_is_read_with_its_grid_and_its_least_wall(tmp_path):
    s = read_as_found(sheet(tmp_path).write())
    assert s.files == {"found.csv": GRID} and s.found.least_wall.written == "8.61 mm"
    assert s.found.value("defect.depth").magnitude == 3.9 and s.found.value("defect.leak_size") is None


def test_a_blank_is_not_a_fault(tmp_path):
    path = tmp_path / "as_found.toml"
    path.write_text('[as_found]\npackage = "HB-07-r1"\ndigest = "0123456789ab"\n[defect]\ndepth = ""\n', "utf-8")
    assert read_as_found(path).found.given("defect.depth") is None


@pytest.mark.parametrize(("dotted", "value", "words"), [
    ("defect.dept", "3 mm", "a key that we do not know"),
    ("defect.depth", "3.9", "which has no unit"),
    ("pipe.sound_wall", ["8.6 mm", "8.6"], "which has no unit"),
    ("defect.grid", "nowhere.csv", "no such file"),
    ("defect.grid", "../found.csv", "without folders"),
    ("defect.grid", "next_case.toml", "not a name of ours"),
    ("defect.profile", "found.csv", "one of grid, profile, pits"),
    ("defect.depth", None, "the greatest depth by any means, beside a grid"),
    ("defect.clear_upstream", "4.3 m", "that girth weld is the nearest weld"),
    ("as_found.checked_by", "g.  EXAMPLE", "another person than found_by"),
    ("as_found.date", "2 October", "a date from 1900 to 2100"),
    ("crack.method", "none", "name the method, MT or PT, or write not done"),
    ("crack.method", "UT", "MT, PT, none"),
    ("lamination.scanned_to", "3.0 m", "less than scanned_to"),
    ("neighbour.0.side", None, "say on which side it lies"),
    ("as_found.package", None, "as_found.package"),
])
def test_bad_sheets_are_refused_at_the_field(tmp_path, dotted, value, words):
    text = told(tmp_path, dotted, value)
    assert words in text and "as_found.toml" in text


def test_tape_and_caliper_are_not_both_taken(tmp_path):
    s = sheet(tmp_path).put("pipe.outside_diameter", "406.4 mm").put("pipe.circumference", "1277 mm")
    with pytest.raises(CaseFaults, match="state the one that was measured"):
        read_as_found(s.write())


def test_all_faults_are_told_at_once(tmp_path):
    s = sheet(tmp_path).put("defect.width", "154").put("crack.result", "fine").put("defect.grid", "nowhere.csv")
    with pytest.raises(CaseFaults) as e:
        read_as_found(s.write())
    assert {f.field for f in e.value.faults} == {"defect.width", "crack.result", "defect.grid"}


def test_a_sheet_of_another_package_or_record_is_told(tmp_path):
    s = read_as_found(sheet(tmp_path).write())
    assert list(of_package(s, "HB-07-r1", "0123456789abcdef")) == []
    wrong = [str(f) for f in of_package(s, "HB-07-r2", "f" * 64)]
    assert "found 'HB-07-r1'; allowed: HB-07-r2" in wrong[0] and "allowed: ffffffffffff" in wrong[1]


@pytest.mark.parametrize(("day", "words"), [("2026-09-28", "not before the package was made"),
                                            ("2026-10-05", "not in the future"), ("2026-10-01", ""),
                                            ("2026-10-03", "")])
def test_a_day_that_cannot_be_is_told(tmp_path, day, words):
    """A day to each side is another longitude."""
    s = read_as_found(sheet(tmp_path).put("as_found.date", day).write())
    faults = list(out_of_time(s, NOW - datetime.timedelta(hours=20), NOW))
    assert [words in str(f) for f in faults] == ([True] if words else [])


def test_what_cannot_be_of_the_case_is_told(tmp_path, hb07):
    s = sheet(tmp_path).put("service.steel_now", "62 °C").put("neighbour.0.number", "171")
    s.put("defect.leak_size", "5 mm").data["neighbour"].append({"side": "downstream", "length": "9 m"})
    text = "\n".join(map(str, against_case(read_as_found(s.write()), hb07.case)))
    assert "as 62 °F it would be 16.7 °C" in text  # independent: (62 - 32) / 1.8
    assert "joint 2 downstream" in text and "found '171'; allowed: 117" in text and "metal loss" in text


# -- the case with what was found ------------------------------------------------------------------------------
def test_the_next_case_keeps_comments_and_says_where_each_value_comes_from(tmp_path, hb07):
    got = next_case(hb07, read_as_found(sheet(tmp_path).put("defect.depth", "4.4 mm").write()), "HB-07-r1")
    text = got.text.decode()
    assert "# Invented example." in text and "# The case of HB-07-r1" in text
    data = tomllib.loads(text)
    assert data["defect"]["depth"] == {"value": "4.4 mm", "source": "as found, sheet A-118, 2026-10-02",
                                       "source_kind": "measured"}
    assert data["defect"]["grid"] == "found.csv" and data["features"]["crack"] == "no"
    before = tomllib.loads(hb07.files["case.toml"].decode())
    assert data["location"]["joint_length"] == before["location"]["joint_length"]
    assert "HB-07-grid.csv" not in got.files and got.files["found.csv"] == GRID
    assert got.bundle.case.get("defect.depth").base == 4.4 and got.bundle.case.id == "HB-07"


def test_what_was_not_measured_stays_as_issued(tmp_path, hb07):
    s = sheet(tmp_path, grid=b"")
    for field in ("depth", "length", "grid", "from_upstream_weld", "from_downstream_weld"):
        s.put(f"defect.{field}", None)
    got = next_case(hb07, read_as_found(s.write()), "HB-07-r1").bundle.case
    for field in ("defect.depth", "defect.length", "location.from_upstream_weld"):
        assert got.get(field).base == hb07.case.get(field).base
    assert got.get("defect.grid") == "HB-07-grid.csv"


def test_a_moved_edge_takes_the_old_distance_and_the_longer_room_away(tmp_path, hb07):
    s = sheet(tmp_path).put("defect.from_upstream_weld", "4.10 m")
    for field in ("from_downstream_weld", "clear_upstream"):
        s.put(f"defect.{field}", None)
    got = next_case(hb07, read_as_found(s.write()), "HB-07-r1").bundle.case
    assert got.get("location.from_downstream_weld") is None and got.get("defect.clear_upstream").base == 4100


def test_a_place_beyond_the_listed_joint_is_not_put_in(tmp_path, hb07):
    s = sheet(tmp_path).put("defect.from_upstream_weld", "14 m").put("defect.clear_upstream", None)
    got = next_case(hb07, read_as_found(s.write()), "HB-07-r1").bundle.case
    assert got.get("location.from_upstream_weld").base == 4190


@pytest.mark.parametrize(("dotted", "value", "words"), [
    ("defect.depth", "3.2 mm", "defect.depth: found '3.2 mm'; allowed: at least 3.7 mm, the deepest reading"),
    ("defect.length", "150 mm", "defect.length: found '150 mm'"),
    ("defect.depth", "9 mm", "defect.depth: found '9 mm'; allowed: at most the wall"),
    ("pipe.sound_wall", ["3 mm"] * 4, "pipe.sound_wall"),
])
def test_what_the_case_cannot_hold_is_told_at_the_field_of_the_sheet(tmp_path, hb07, dotted, value, words):
    s = read_as_found(sheet(tmp_path).put(dotted, value).write())
    with pytest.raises(CaseFaults) as e:
        next_case(hb07, s, "HB-07-r1")
    assert "as_found.toml, line" in str(e.value) and words in str(e.value)


def test_a_blank_that_contradicts_the_grid_names_what_the_package_has(tmp_path, hb07):
    wide = b"mm,0,60,120,180,240,300,360,420,480,540" + GRID[GRID.index(b"\n"):]
    s = read_as_found(sheet(tmp_path, grid=wide).put("defect.length", None).write())
    with pytest.raises(CaseFaults, match=r"defect\.length: found nothing here; the package has 236 mm"):
        next_case(hb07, s, "HB-07-r1")


def test_a_name_of_another_file_of_the_case_is_refused(tmp_path, hb07):
    s = sheet(tmp_path).put("defect.grid", "HB-07-forecast.csv")
    (tmp_path / "HB-07-forecast.csv").write_bytes(GRID)
    with pytest.raises(CaseFaults, match="a name that no other file of the case has"):
        next_case(hb07, read_as_found(s.write()), "HB-07-r1")


def test_a_package_in_us_units_takes_its_units(tmp_path):
    bundle = load_bundle(EXAMPLE / "HB-15.toml")
    s = read_as_found(sheet(tmp_path, HB_15, b"").put("service.steel_now", "60 °F").write())
    got = next_case(bundle, s, "HB-15-r1").bundle.case
    assert got.get("service.installation_temperature").written == "60 °F"
    assert got.get("defect.depth").written == "0.135 in"


@pytest.mark.parametrize(("steel", "words"), [
    ("36 °C", "at most 8 °C above installation_temperature = 17 °C; as 36 °F it would be 2.22 °C"),  # (36 - 32) / 1.8
    ("29 °C", ""),  # as °F it would be -1.7 °C: farther from 17 °C than 29 °C is
    ("24 °C", ""), ("45 °F", ""),
])
def test_steel_far_above_what_the_case_expects_may_be_fahrenheit(tmp_path, hb07, steel, words):
    """The case expects steel at 17 °C; its service at 37 °C is hotter than each."""
    faults = [str(f) for f in against_case(read_as_found(sheet(tmp_path).put("service.steel_now", steel).write()),
                                           hb07.case)]
    assert [words in f for f in faults] == ([True] if words else [])


@pytest.mark.parametrize(("field", "name", "words"), [
    ("checked_by", "Example, G", "another person than found_by"), ("checked_by", "-", "at least two letters"),
    ("found_by", "?", "at least two letters"), ("checked_by", "H. Ex\u0430mple", "in letters of Cyrillic and Latin"),
    ("found_by", "G. Exam\u00adple", "U+00AD"),
])
def test_who_measured_and_who_checked_are_two_people_with_names(tmp_path, field, name, words):
    assert words in told(tmp_path, f"as_found.{field}", name)
