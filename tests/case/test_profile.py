"""River-bottom profiles: how they are read, what is refused, and how they are made to agree with the stated sizes."""

import numpy as np
import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc.case import load_bundle
from wrapcalc.case import profile as profiles
from wrapcalc.case.profile import Profile, deeper_than, read_profile
from wrapcalc.errors import CaseFaults

GOOD = "station mm,depth mm\n0,0\n20,1.4\n40,0.6\n60,0\n"
WALL = "station mm,remaining mm\n0,8.7\n20,7.3\n40,8.9\n60,8.7\n"


def read(text: str) -> Profile:
    return read_profile(text.encode(), "p.csv")


def faults_of(text: str):
    with pytest.raises(CaseFaults) as caught:
        read(text)
    for fault in caught.value.faults:
        assert fault.file == "p.csv" and str(fault).isprintable() and fault.allowed and fault.mend
    return caught.value.faults


def only(text: str):
    fault, = faults_of(text)
    return fault


def test_a_profile_is_read():
    profile = read(GOOD)
    assert profile == Profile([0, 20, 40, 60], [0, 1.4, 0.6, 0], "mm")
    assert profile.deepest_at == 1 and profile.extent() == 20 and profile.ends_on_sound_wall()
    assert profile != read(GOOD.replace("1.4", "1.5")) and profile != GOOD
    with pytest.raises(ValueError, match="read-only"):
        profile.depth[0] = 1


def test_each_column_has_its_own_unit():
    profile = read(" station  in ,depth mil\n0,0\n1,100\n2,0\n")
    assert profile.stations.tolist() == [0, 25.4, 50.8] and profile.depth.tolist() == [0, 2.54, 0]
    assert profile.unit == "in" and not profile.remaining


def test_remaining_wall_is_marked():
    profile = read(WALL)
    assert profile.remaining and profile.depth.tolist() == [8.7, 7.3, 8.9, 8.7]


@pytest.mark.parametrize(("text", "field", "line", "found", "allowed", "mend"), [
    pytest.param("0,0\n20,1.4\n40,0\n", None, None, "2 stations", "at least three rows", "read at least one",
                 id="no heading"),
    pytest.param("0,0\n" + GOOD.partition("\n")[2], 0, 1, "'0'", "station, then one of", "write 'station mm'",
                 id="a number for the heading"),
    pytest.param(GOOD.replace("station mm", "Station mm"), "row 1, column 1", 1, "'Station mm'",
                 "station, then one of the units mm, cm, m, in, mil", "did you mean 'station mm'?", id="capitals"),
    pytest.param(GOOD.replace("depth mm", "depth"), "row 1, column 2", 1, "'depth'", "depth or remaining, then",
                 "write 'depth mm' into this cell", id="no unit"),
    pytest.param(WALL.replace("remaining mm", "remaining deg"), "row 1, column 2", 1, "'remaining deg'",
                 "depth or remaining, then one of", "write 'remaining mm' into this cell", id="unknown unit"),
    pytest.param(WALL.replace("remaining mm", "remainig mm"), "row 1, column 2", 1, "'remainig mm'",
                 "depth or remaining, then one of", "did you mean 'remaining mm'?", id="misspelt"),
    pytest.param(GOOD.replace("depth mm", ""), "row 1, column 2", 1, "no heading", "depth or remaining, then",
                 "write 'depth mm' into this cell", id="empty heading"),
    pytest.param("station mm\n0\n1\n2\n", "row 1", 1, "1 columns", "two columns", "keep these two", id="one column"),
    pytest.param("station mm,depth mm\n0,0\n1,0.5\n", "the file", None, "2 stations", "at least three rows of station",
                 "read at least one station with loss and the sound wall on both sides", id="two stations"),
    pytest.param("", "the file", None, "nothing: it is empty", "station mm,depth mm", "write", id="empty"),
    pytest.param(GOOD.replace(",", ";"), "the file", None, "semicolons between the cells", "commas", "save it",
                 id="semicolons"),
    pytest.param(GOOD.replace("20,", "40,").replace("40,0.6", "20,0.6"), "row 4, column 1", 4,
                 "station 20 mm after 40 mm (line 3)", "growing stations, each once", "sort the stations",
                 id="out of order"),
    pytest.param(GOOD.replace("40,", "20,"), "row 4, column 1", 4, "station 20 mm again (line 3)", "each once",
                 "remove one of the two", id="twice"),
    pytest.param(GOOD.replace("1.4", "-1.4"), "row 3, column 2", 3, "'-1.4'", "a depth of 0 or more",
                 "write 'remaining mm' above them", id="negative"),
    pytest.param(WALL.replace("7.3", "0"), "row 3, column 2", 3, "'0'", "a remaining wall above 0", "a hole is a leak",
                 id="hole"),
    pytest.param(WALL.replace("7.3", ""), "row 3, column 2", 3, "an empty cell", "a number with a decimal point",
                 "correct this cell", id="empty cell of remaining wall"),
    pytest.param(GOOD.replace("1.4", ""), "row 3, column 2", 3, "an empty cell", "0 for sound wall",
                 "correct this cell", id="empty cell"),
    pytest.param(GOOD.replace("1.4", '"1,4"'), "row 3, column 2", 3, "'1,4'", "a number with a decimal point",
                 "correct this cell", id="quoted decimal comma"),
    pytest.param(GOOD.replace("1.4", "1,4"), "row 3, column 3", 3, "3 cells", "2 cells: station and depth",
                 "numbers take a decimal point", id="decimal comma"),
    pytest.param(GOOD.replace("20,1.4", "20"), "row 3, column 2", 3, "1 cells", "2 cells", "add or remove",
                 id="cell missing"),
    pytest.param(GOOD.replace("1.4", "NaN"), "row 3, column 2", 3, "'NaN'", "a number", "correct", id="not a number"),
    pytest.param(GOOD.replace("1.4", "0").replace("0.6", "0"), "row 2, column 2", 2, "zero everywhere",
                 "at least one depth", "check the file", id="no loss"),
])
def test_one_fault_one_message(text, field, line, found, allowed, mend):
    if field == 0:
        faults = faults_of(text)
        assert [f.field for f in faults] == ["row 1, column 1", "row 1, column 2"]
        fault = faults[0]
    else:
        fault = only(text)
        assert fault.field == (field or "the file")
    assert (fault.line, fault.found) == (line, found) and allowed in fault.allowed and mend in fault.mend


def test_too_many_stations(monkeypatch):
    assert profiles.MAX_STATIONS == 20_000
    monkeypatch.setattr(profiles, "MAX_STATIONS", 3)
    fault = only(GOOD)
    assert (fault.found, fault.allowed) == ("4 stations", "at most 3") and "deepest" in fault.mend


def test_many_faults_are_counted():
    faults = faults_of("station mm,depth mm\n" + "x,y\n" * 30)
    assert len(faults) == 21 and faults[-1].found == "40 more faults like these"


def test_a_depth_over_the_wall_names_its_station():
    fault, = deeper_than(read(GOOD), 1.0, "nominal wall", "p.csv")
    assert (fault.file, fault.field, fault.found) == ("p.csv", "station 20 mm", "a depth of 1.4 mm")
    assert fault.allowed == "at most the nominal wall of 1 mm" and "correct the reading" in fault.mend
    assert deeper_than(read(GOOD), None, "", "p.csv") == deeper_than(read(GOOD), 1.4, "wall", "p.csv") == []


# -- beside a case ------------------------------------------------------------------------------------------------
@pytest.fixture
def load(example):
    """load(profile text, **fields of [defect] or, as pipe__..., of [pipe]) loads the example with that profile."""
    def change(text: str, **fields: str | None):
        path = example / "HB-07.toml"
        document = tomlkit.parse(path.read_text("utf-8"))
        given = {"grid": None, "profile": "p.csv", "depth": "1.4 mm", "length": "40 mm"} | fields
        for name, value in given.items():
            table, _, key = name.rpartition("__")
            document[table or "defect"].pop(key, None)
            if value is not None:
                document[table or "defect"][key] = value
        path.write_text(tomlkit.dumps(document), "utf-8")
        (example / "p.csv").write_text(text, "utf-8")
        return load_bundle(path)
    return change


def case_fault(load, *args, **kwargs):
    with pytest.raises(CaseFaults) as caught:
        load(*args, **kwargs)
    fault, = caught.value.faults
    assert str(fault).isprintable()
    return fault


def test_a_good_profile_is_left_alone(load):
    assert load(GOOD).profile == read(GOOD) and load(GOOD, depth=None).profile == read(GOOD)


def test_stated_depth_above_the_profile_raises_its_deepest_station(load):
    profile = load(GOOD, depth="1.6 mm").profile
    assert profile.depth.tolist() == [0, 1.6, 0.6, 0] and profile.notes == (
        "The stated depth 1.6 mm is above what the profile shows: its deepest station (1.4 mm), at 20 mm, was raised "
        "to it.",)


def test_stated_sizes_below_the_profile(load):
    fault = case_fault(load, GOOD, depth="1.3 mm")
    assert (fault.file, fault.field, fault.found) == ("HB-07.toml", "defect.depth", "'1.3 mm'") and fault.line
    assert fault.allowed == "at least 1.4 mm, the deepest reading of the profile"
    fault = case_fault(load, GOOD, length="19 mm")
    assert (fault.field, fault.allowed) == ("defect.length", "at least 20 mm, over which the profile shows loss")


def test_ends_with_loss_need_an_extension(load):
    ragged = GOOD.replace("0,0\n20", "0,0.3\n20")
    fault = case_fault(load, ragged)
    assert (fault.field, fault.found) == ("defect.profile", "'p.csv', whose first and last depths are not both 0")
    assert "declare grid_extension" in fault.mend
    profile = load(ragged, grid_extension="15 mm").profile
    assert profile.stations.tolist() == [-15, 0, 20, 40, 60, 75] and profile.depth.tolist() == [0, .3, 1.4, .6, 0, 0]
    assert profile.notes == ("Sound wall was added 15 mm outside both ends of the profile, as declared in "
                             "defect.grid_extension.",)
    fault = case_fault(load, GOOD, grid_extension="15 mm")
    assert (fault.field, fault.allowed) == ("defect.grid_extension", "nothing: this profile ends on sound wall")


def test_a_profile_of_remaining_wall(load):
    profile = load(WALL, pipe__nominal_wall="8.8 mm", pipe__sound_wall="8.7 mm").profile
    assert profile.depth.tolist() == [0, 1.4, 0, 0] and not profile.remaining and profile.notes == (
        "Depths are the wall of 8.7 mm (measured sound wall) less the remaining wall that was read.",
        "1 reading lies above that wall, by at most 0.2 mm, and counts as no loss.")
    fault = case_fault(load, WALL, pipe__nominal_wall=None, pipe__sound_wall=None)
    assert fault.field == "pipe.nominal_wall" and "defect.profile" in fault.allowed
    fault = case_fault(load, WALL, pipe__nominal_wall="7.3 mm", pipe__sound_wall="7.2 mm")
    assert fault.field == "defect.profile" and "no reading is below the measured sound wall of 7.2 mm" in fault.found


def test_depth_over_the_wall_is_a_fault_of_the_profile(load):
    with pytest.raises(CaseFaults) as caught:
        load(GOOD.replace("1.4", "14"))
    over = [f for f in caught.value.faults if f.file == "p.csv"]
    assert len(over) == 1 and over[0].field == "station 20 mm" and over[0].found == "a depth of 14 mm"


CELLS = st.sampled_from(["", "0", "1.5", "20", "-3", "x", "station mm", "depth mm", "remaining in", "1e400", '"',
                         "1,5"])


@settings(deadline=None, max_examples=150, derandomize=True)
@given(st.text(max_size=60) | st.lists(st.lists(CELLS, max_size=3), max_size=6).map(
    lambda r: "station mm,depth mm\n" + "\n".join(map(",".join, r))))
def test_any_text_is_a_profile_or_clear_faults(text):
    try:
        profile = read(text)
    except CaseFaults as e:
        assert e.faults and all(str(x).isprintable() and x.mend for x in e.faults)
    else:
        assert profile.remaining or (profile.depth.max() > 0 and profile.extended(5).ends_on_sound_wall())
        assert len(profile.stations) >= 3 and (np.diff(profile.stations) > 0).all()
