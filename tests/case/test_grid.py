"""Depth grids: how they are read, what is refused, and how they are made to agree with the stated sizes."""

import numpy as np
import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc.case import csv_table, load_bundle
from wrapcalc.case import grid as grids
from wrapcalc.case.grid import Grid, as_depth, merged, read_grid, with_noise_removed
from wrapcalc.errors import CaseFaults

GOOD = "mm,0,20,40\n0,0,0,0\n25,0,1.4,0\n50,0,0,0\n"
REMAINING = "mm remaining,0,20,40\n0,9.5,9.6,9.5\n25,9.5,8.1,9.5\n50,9.5,9.5,9.5\n"


def read(text: str | bytes) -> Grid:
    return read_grid(text.encode() if isinstance(text, str) else text, "g.csv")


def faults_of(text: str | bytes):
    with pytest.raises(CaseFaults) as caught:
        read(text)
    for fault in caught.value.faults:
        assert fault.file == "g.csv" and str(fault).isprintable() and fault.allowed and fault.mend
    return caught.value.faults


def only(text: str | bytes):
    faults = faults_of(text)
    assert len(faults) == 1, "\n".join(map(str, faults))
    return faults[0]


# -- reading ------------------------------------------------------------------------------------------------------
def test_a_grid_is_read():
    grid = read(GOOD)
    assert grid == Grid((0, 20, 40), (0, 25, 50), ((0, 0, 0), (0, 1.4, 0), (0, 0, 0)), "mm")
    assert grid.deepest_at == (1, 1) and grid.deepest == (1.4, 1, 1) and grid.ends_on_sound_wall()
    assert grid.profile.tolist() == [0, 1.4, 0]


@pytest.mark.parametrize(("unit", "factor"), [("mm", 1), ("cm", 10), ("m", 1000), ("in", 25.4), ("mil", 0.0254)])
def test_one_unit_for_all(unit, factor):
    grid = read(GOOD.replace("mm", unit))
    assert grid.axial[1] == pytest.approx(20 * factor, rel=1e-11)
    assert grid.around[1] == pytest.approx(25 * factor, rel=1e-11)
    assert grid.depth[1][1] == pytest.approx(1.4 * factor, rel=1e-11)


@pytest.mark.parametrize("raw", [
    b"\xef\xbb\xbf" + GOOD.encode(), GOOD.replace("\n", "\r\n").encode(), GOOD.replace("\n", "\r").encode(),
    GOOD.replace("1.4", ' "1.4" ').replace(' "', '"').replace('" ', '"').encode(), GOOD.replace("1.4",
    " 1.4 ").encode(),
    ("\n\n" + GOOD + "\n,,,\n").encode()],
    ids=["byte order mark", "CRLF", "CR", "quoted cells", "spaces", "blank rows"])
def test_what_spreadsheets_write_is_read(raw):
    assert read(raw) == read(GOOD)


def test_arrays_cannot_be_changed():
    grid = read(GOOD)
    for array in (grid.axial, grid.around, grid.depth):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1


def test_a_grid_is_no_other_grid():
    assert read(GOOD) != read(GOOD.replace("1.4", "1.5")) and read(GOOD) != read(GOOD.replace("50,", "51,"))
    assert read(GOOD) != GOOD


CELL = st.floats(1e-9, 1e9) | st.floats(0, 20).map(lambda v: round(v, 2)) | st.integers(0, 99) | st.sampled_from(
    ["0", "+1", ".5", "5.", "1e-3", "1.00000000000050", "0.1234567890125", "12345678901.25", "9.9999999999999"])


@settings(deadline=None, max_examples=150, derandomize=True)
@given(st.lists(st.lists(CELL, min_size=3, max_size=3), min_size=3, max_size=3), st.sampled_from(csv_table.UNITS))
def test_read_at_once_or_cell_by_cell_is_the_same_to_the_last_bit(cells, unit):
    """A blank row of commas sends a file down the careful way."""
    text = f"{unit},0,1,2\n" + "".join(f"{i},{','.join(map(str, row))}\n" for i, row in enumerate(cells))
    raw = text.encode()
    fast = grids._at_once(raw, "g.csv")
    try:
        careful = read(text + ",,,\n")
    except CaseFaults:
        assert fast is None
        return
    assert fast is not None and fast == careful
    assert (fast.axial.tolist(), fast.depth.tolist()) == (careful.axial.tolist(), careful.depth.tolist())


def test_a_scan_of_a_million_readings_is_read():
    row = (np.random.default_rng(1).integers(0, 900, 1000) / 100).tolist()
    text = "mm," + ",".join(map(str, range(1000))) + "\n" + "\n".join(
        f"{i}," + ",".join(map(str, row)) for i in range(1000)) + "\n"
    grid = read(text)
    assert grid.depth.shape == (1000, 1000) and (grid.depth == row).all()
    fault = only(text[:-1] + "o\n")
    assert fault.line == 1001 and fault.field == "row 1001, column 1001" and fault.found == f"'{row[-1]}o'"


# -- refusing -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("text", "field", "line", "found", "allowed", "mend"), [
    pytest.param(GOOD.replace("mm,", ","), "row 1, column 1", 1, "no unit", "mm, cm, m, in, mil",
                 "write the unit into the first cell", id="no unit"),
    pytest.param(GOOD.replace("mm,", "0,"), "row 1, column 1", 1, "'0'", "the unit of all numbers", "write the unit",
                 id="number for the unit"),
    pytest.param(GOOD.replace("mm,", "MM,"), "row 1, column 1", 1, "'MM'", "the unit of all numbers",
    "did you mean 'mm'?",
                 id="unit in capitals"),
    pytest.param(GOOD.replace("mm,", "deg,"), "row 1, column 1", 1, "'deg'", "the unit of all numbers",
    "write the unit",
                 id="unknown unit"),
    pytest.param(GOOD.replace("25,0,1.4,0", "25,0,1.4"), "row 3, column 4", 3, "3 cells",
    "4 cells, as in the first row",
                 "add or remove cells", id="short row"),
    pytest.param(GOOD.replace("25,0,1.4,0", "25,0,1.4,0,0"), "row 3, column 5", 3, "5 cells", "4 cells",
                 "add or remove cells", id="long row"),
    pytest.param(GOOD.replace("1.4", "deep"), "row 3, column 3", 3, "'deep'",
    "a number with a decimal point; 0 for sound",
                 "correct this cell", id="text cell"),
    pytest.param(GOOD.replace("1.4", '"1,4"'), "row 3, column 3", 3, "'1,4'", "a number with a decimal point",
                 "correct this cell", id="comma decimal"),
    pytest.param(GOOD.replace("1.4", "1.4 mm"), "row 3, column 3", 3, "'1.4 mm'", "a number", "correct",
    id="unit again"),
    pytest.param(GOOD.replace("1.4", ""), "row 3, column 3", 3, "an empty cell", "0 for sound wall",
    "correct this cell",
                 id="empty cell"),
    pytest.param(GOOD.replace("1.4", "NaN"), "row 3, column 3", 3, "'NaN'", "a number", "correct this cell", id="nan"),
    pytest.param(GOOD.replace("1.4", "1e999"), "row 3, column 3", 3, "'1e999'", "a number", "correct", id="infinite"),
    pytest.param(GOOD.replace("1.4", "１.４"), "row 3, column 3", 3, "'１.４'", "a number", "correct",
                 id="unicode digits"),
    pytest.param(GOOD.replace("1.4", "-1.4"), "row 3, column 3", 3, "'-1.4'", "a depth of 0 or more",
                 "depths are positive; where the cells are remaining wall, write 'mm remaining' into the first cell",
                 id="negative depth"),
    pytest.param(REMAINING.replace("8.1", "0"), "row 3, column 3", 3, "'0'", "a remaining wall above 0",
                 "a hole is a leak, and no echo is no reading", id="no wall remaining"),
    pytest.param(REMAINING.replace("8.1", "-8.1"), "row 3, column 3", 3, "'-8.1'", "a remaining wall above 0",
                 "measure there again", id="negative wall remaining"),
    pytest.param(REMAINING.replace("8.1", ""), "row 3, column 3", 3, "an empty cell", "a number with a decimal point",
                 "correct this cell", id="empty cell of remaining wall"),
    pytest.param(REMAINING.replace("remaining", "remainig"), "row 1, column 1", 1, "'mm remainig'",
                 "the unit of all numbers", "did you mean 'mm remaining'?", id="remaining misspelt"),
    pytest.param(GOOD.replace(",20,", ",,"), "row 1, column 3", 1, "an empty cell", "a number", "correct",
                 id="station missing"),
    pytest.param(GOOD.replace(",20,40", ",40,20"), "row 1, column 4", 1, "20 mm after 40 mm", "growing axial stations",
                 "sort the stations", id="decreasing axial stations"),
    pytest.param(GOOD.replace("50,0", "25,0"), "row 4, column 1", 4, "25 mm after 25 mm", "growing around stations",
                 "sort the stations", id="station twice"),
    pytest.param(GOOD.replace("1.4", "0"), "row 2, column 2", 2, "zero everywhere", "at least one depth",
    "check the file",
                 id="no loss"),
    pytest.param("\n\n" + GOOD.replace("1.4", "deep"), "row 5, column 3", 5, "'deep'", "a number", "correct",
                 id="line of the file after blank rows"),
    pytest.param("", "the file", None, "nothing: it is empty", "a unit, axial stations, and at least two rows",
                 "wrapcalc example", id="empty file"),
    pytest.param("mm,0,20\n0,0,0\n", "the file", None, "less than two stations in one direction", "at least two rows",
                 "wrapcalc example", id="one row"),
    pytest.param(GOOD.replace(",", ";"), "the file", None, "semicolons between the cells", "separated by commas",
                 "save it as CSV with commas", id="semicolons"),
    pytest.param(GOOD.replace(",", ";").replace(".", ",").replace("20", "20,5").replace("40", "40,5"), "the file", None,
                 "semicolons between the cells", "decimal point", "replace decimal commas by points",
                 id="semicolons and decimal commas"),
    pytest.param(GOOD.replace(",", "\t"), "the file", None, "tabs between the cells", "separated by commas", "save it",
                 id="tabs"),
    pytest.param(GOOD.replace("1.4", '"1.4'), "the file", None, "text that is not CSV", "numbers separated by commas",
                 "save it again as CSV", id="open quotation mark"),
    pytest.param(GOOD.replace("1.4", "1" * 200_000), "the file", None, "text that is not CSV", "numbers",
    "save it again",
                 id="a cell of 200 000 digits"),
    pytest.param("mm," + ",".join(map(str, range(2000))) + "\n" + ("0," * 2000 + "0\n") * 2000, "the file", None,
                 "4004001 cells", "at most 4000000", "coarser grid", id="too many cells"),
])
def test_one_fault_one_message(text, field, line, found, allowed, mend):
    fault = only(text)
    assert (fault.field, fault.line) == (field, line)
    assert fault.found == found or (found == "text that is not CSV" and fault.found.startswith(found))
    assert allowed in fault.allowed and mend in fault.mend


def test_not_utf8():
    fault = only(GOOD.replace("1.4", "é").encode("latin-1"))
    assert (fault.field, fault.line, fault.found) == ("the file", 3, "a byte that is not UTF-8 at position 24")
    assert "save it as CSV (UTF-8)" in fault.mend


def test_all_bad_cells_are_reported_together():
    faults = faults_of("MM,0,x,40\n0,0,0\n25,0,deep,-2\n20,0,,0,0\n")
    assert [(x.field, x.found) for x in faults] == [
        ("row 1, column 1", "'MM'"), ("row 1, column 3", "'x'"), ("row 2, column 4", "3 cells"),
        ("row 3, column 3", "'deep'"), ("row 3, column 4", "'-2'"), ("row 4, column 5", "5 cells"),
        ("row 4, column 3", "an empty cell"), ("row 4, column 1", "20 mm after 25 mm")]


def test_many_bad_cells_are_counted():
    faults = faults_of("mm," + ",".join(map(str, range(30))) + "\n0" + ",x" * 30 + "\n1" + ",x" * 30 + "\n")
    assert len(faults) == 21 and faults[-1].found == "40 more faults like these" and "check again" in faults[-1].mend


# -- beside a case ------------------------------------------------------------------------------------------------
@pytest.fixture
def load(example):
    """load(grid text, **fields of [defect] or, as pipe__..., of [pipe]) loads the example case with that grid."""
    def change(text: str | bytes | None = None, **fields: str | None):
        path = example / "HB-07.toml"
        document = tomlkit.parse(path.read_text("utf-8"))
        for name, value in fields.items():
            table, _, key = name.rpartition("__")
            document[table or "defect"].pop(key, None)
            if value is not None:
                document[table or "defect"][key] = value
        path.write_text(tomlkit.dumps(document), "utf-8")
        if text is not None:
            (example / "HB-07-grid.csv").write_bytes(text.encode() if isinstance(text, str) else text)
        return load_bundle(path)
    return change


def case_fault(load, *args, **kwargs):
    with pytest.raises(CaseFaults) as caught:
        load(*args, **kwargs)
    assert len(caught.value.faults) == 1, str(caught.value)
    assert str(caught.value).isprintable()
    return caught.value.faults[0]


def sizes(depth="1.4 mm", length="40 mm", width="50 mm", **more):
    return {"depth": depth, "length": length, "width": width, **more}


def test_a_bad_cell_names_the_grid_file(load):
    fault = case_fault(load, GOOD.replace("1.4", "deep"))
    assert str(fault).startswith("HB-07-grid.csv, line 3: row 3, column 3: found 'deep'; allowed: a number")


def test_grid_of_50_mb_and_folder(load, example):
    with open(example / "HB-07-grid.csv", "wb") as file:
        file.truncate(50_000_000)
    fault = case_fault(load)
    assert (fault.file, fault.field, fault.found) == ("HB-07.toml", "defect.grid", "'HB-07-grid.csv': 50 MB")
    assert "at most 40 MB" in fault.allowed and "thinned" in fault.mend
    (example / "HB-07-grid.csv").unlink()
    (example / "HB-07-grid.csv").mkdir()
    assert case_fault(load).found == "'HB-07-grid.csv': a folder"


def test_deepest_reading_above_the_stated_depth_is_a_fault(load):
    fault = case_fault(load, GOOD, **sizes(depth="1.39 mm"))
    assert (fault.file, fault.field, fault.found) == ("HB-07.toml", "defect.depth", "'1.39 mm'")
    assert fault.line and "at least 1.4 mm, the deepest reading of the grid" in fault.allowed
    assert "state the greatest depth measured by any means" in fault.mend


def test_stated_depth_above_the_grid_raises_the_deepest_node(load):
    bundle = load(GOOD, **sizes(depth="1.6 mm"))
    assert bundle.grid.depth.tolist() == [[0, 0, 0], [0, 1.6, 0], [0, 0, 0]]
    assert bundle.grid.notes == (
        "The stated depth 1.6 mm is above what the grid shows: its deepest node (1.4 mm), at axial 20 mm, around "
        "25 mm, was raised to it.",)
    assert grid_of_record(bundle)["notes"] == list(bundle.grid.notes)


def grid_of_record(bundle):
    from wrapcalc import record
    from wrapcalc.stages.job import run
    return record.build(run(bundle))["geometry"]["grid"]


WIDE = "mm,0,20,40,60\n0,0,0,0,0\n25,0,1.4,0.9,0\n50,0,0.3,0.2,0\n75,0,0,0,0\n"


def test_stated_depth_above_the_grid_at_a_stated_position(load):
    bundle = load(WIDE, **sizes("1.6 mm", "60 mm", "75 mm", deepest_axial="38 mm", deepest_around="44 mm"))
    assert bundle.grid.depth[2][2] == 1.6 and bundle.grid.depth[1][1] == 1.4
    assert "its node nearest to the stated position (0.2 mm), at axial 40 mm, around 50 mm, was raised" in \
        bundle.grid.notes[0]


def test_a_position_at_the_deepest_node_changes_nothing_more(load):
    bundle = load(WIDE, **sizes("1.4 mm", "60 mm", "75 mm", deepest_axial="21 mm", deepest_around="26 mm"))
    assert bundle.grid == read(WIDE)


def test_equal_in_another_unit_is_equal(load):
    """0.15 in is 150 mil: conversion must leave neither a fault nor a raised node; the same for the extents."""
    text = "mil,0,787.5,1181.3,2000\n0,0,0,0,0\n1000,0,150,20,0\n1100.1,0,10,20,0\n2000,0,0,0,0\n"
    bundle = load(text, **sizes("0.15 in", "0.3938 in", "0.1001 in"))
    assert bundle.grid.notes == ()


@pytest.mark.parametrize(("given", "other"), [("deepest_axial", "deepest_around"), ("deepest_around", "deepest_axial")])
def test_half_a_position(load, given, other):
    fault = case_fault(load, GOOD, **sizes("1.6 mm", **{given: "20 mm"}))
    assert (fault.field, fault.found, fault.mend) == (f"defect.{given}", "one of two coordinates", f"add {other}")
    assert "both deepest_axial and deepest_around, or neither" in fault.allowed and fault.line


@pytest.mark.parametrize(("axial", "around"), [("61 mm", "25 mm"), ("-1 mm", "25 mm"), ("20 mm", "80 mm"),
                                               ("59 mm", "25 mm"), ("20 mm", "2 mm")])
def test_a_position_off_the_grid_or_on_its_rim(load, axial, around):
    """Raising a node of the rim would leave a grid that does not end on sound wall."""
    fault = case_fault(load, WIDE, **sizes("1.6 mm", "60 mm", "75 mm", deepest_axial=axial, deepest_around=around))
    assert (fault.field, fault.found) == ("defect.deepest_axial", f"'{axial}', '{around}'")
    assert "nearer to 20 to 40 mm axially and 25 to 50 mm around" in fault.allowed
    assert "correct the position" in fault.mend


RAGGED_EDGE = GOOD.replace("25,0,1.4,0", "25,0.2,1.4,0")


def test_a_grid_that_does_not_end_on_sound_wall_is_asked_about(load):
    fault = case_fault(load, RAGGED_EDGE, **sizes())
    assert (fault.file, fault.field) == ("HB-07.toml", "defect.grid") and fault.line
    assert fault.found == "'HB-07-grid.csv', whose outermost readings are not all 0"
    assert fault.allowed == "a grid that ends on sound wall" and "declare grid_extension" in fault.mend


@pytest.mark.parametrize("cell", [(1, 1), (2, 1), (3, 2), (2, 3), (1, 3)])
def test_every_side_of_the_rim_is_looked_at(cell):
    rows = [line.split(",") for line in GOOD.split()]
    rows[cell[0]][cell[1]] = "0.1"
    assert not read("\n".join(",".join(r) for r in rows)).ends_on_sound_wall()


def test_a_declared_extension_adds_a_rim_and_says_so(load):
    grid = load(RAGGED_EDGE, **sizes(grid_extension="15 mm")).grid
    assert grid.axial.tolist() == [-15, 0, 20, 40, 55] and grid.around.tolist() == [-15, 0, 25, 50, 65]
    assert grid.depth.tolist() == [[0] * 5, [0] * 5, [0, 0.2, 1.4, 0, 0], [0] * 5, [0] * 5]
    assert grid.ends_on_sound_wall()
    assert grid.notes == ("A rim of sound wall was added 15 mm outside the outermost readings, as declared in "
                          "defect.grid_extension.",)


def test_an_extension_that_is_not_needed(load):
    fault = case_fault(load, GOOD, **sizes(grid_extension="15 mm"))
    assert (fault.field, fault.found, fault.mend) == ("defect.grid_extension", "'15 mm'", "remove it")
    assert fault.allowed == "nothing: this grid ends on sound wall"


@pytest.mark.parametrize(("field", "stated", "allowed"), [("length", "19 mm", "at least 20 mm"),
                                                          ("width", "24 mm", "at least 25 mm")])
def test_a_stated_size_below_the_extent_of_the_grid(load, field, stated, allowed):
    given = sizes("1.4 mm", "60 mm", "75 mm") | {field: stated}
    fault = case_fault(load, WIDE, **given)
    assert (fault.field, fault.found) == (f"defect.{field}", f"'{stated}'") and fault.line
    assert f"{allowed}, over which the grid shows loss" in fault.allowed
    assert fault.mend == "correct the stated size or the grid"


def test_the_raised_node_counts_for_the_extent(load):
    text = WIDE.replace("25,0,1.4,0.9,0", "25,0,1.4,0,0").replace("50,0,0.3,0.2,0", "50,0,0,0,0")
    ok = sizes("1.4 mm", "10 mm", "10 mm")
    assert load(text, **ok).grid.extent() == (0, 0)
    fault = case_fault(load, text, **ok | {"depth": "1.6 mm", "width": "25 mm"}, deepest_axial="40 mm",
                       deepest_around="50 mm")
    assert (fault.field, fault.found) == ("defect.length", "'10 mm'")


def test_no_stated_depth_leaves_the_grid_alone(load):
    assert load(GOOD, **sizes(depth=None)).grid == read(GOOD)


# -- remaining wall, noise, two grids, thinning -------------------------------------------------------------------
def test_remaining_wall_becomes_depth():
    grid = read(REMAINING)
    assert grid.remaining and grid.unit == "mm" and grid.depth[1, 1] == 8.1
    deep = as_depth(grid, 9.5, "nominal wall")
    assert deep.depth.tolist() == [[0, 0, 0], [0, 1.4, 0], [0, 0, 0]] and not deep.remaining
    assert deep.notes == (
        "Depths are the wall of 9.5 mm (nominal wall) less the remaining wall that was read.",
        "1 reading lies above that wall, by at most 0.1 mm, and counts as no loss.")
    assert as_depth(deep, 9.5) is deep
    assert "in remaining" in REMAINING.replace("mm", "in") and read(REMAINING.replace("mm", "in")).remaining


def test_readings_above_the_wall_are_counted():
    assert as_depth(read(REMAINING), 9.4).notes[1] == (
        "8 readings lie above that wall, by at most 0.2 mm, and count as no loss.")
    assert len(as_depth(read(REMAINING), 9.6).notes) == 1


def test_a_case_takes_remaining_wall_from_the_smaller_of_its_walls(load):
    text = REMAINING.replace("9.6", "8.8").replace("9.5", "8.7").replace("8.1", "7.3")
    for nominal, sound, words in (("8.7 mm", "8.8 mm", "nominal wall"), ("8.8 mm", "8.7 mm", "measured sound wall")):
        grid = load(text, **sizes("1.4 mm", pipe__nominal_wall=nominal, pipe__sound_wall=sound)).grid
        assert grid.depth.tolist() == [[0, 0, 0], [0, 1.4, 0], [0, 0, 0]] and not grid.remaining
        assert grid.notes[0] == f"Depths are the wall of 8.7 mm ({words}) less the remaining wall that was read."


def test_remaining_wall_without_a_wall(load):
    fault = case_fault(load, REMAINING, **sizes("1.4 mm", pipe__nominal_wall=None, pipe__sound_wall=None))
    assert (fault.field, fault.found) == ("pipe.nominal_wall", "nothing") and "defect.grid" in fault.allowed
    assert fault.mend == "add nominal_wall or sound_wall" and fault.line


def test_remaining_wall_that_is_nowhere_below_the_wall(load):
    fault = case_fault(load, REMAINING, **sizes("1.4 mm", pipe__nominal_wall="8.1 mm", pipe__sound_wall="8 mm"))
    assert fault.field == "defect.grid" and "no reading is below the measured sound wall of 8 mm" in fault.found
    assert fault.allowed == "at least one reading of less" and fault.mend == "check the wall and the file"


def test_noise_is_removed_and_told():
    grid = read(GOOD.replace("25,0,1.4,0", "25,0.1,1.4,0.19").replace("50,0,0", "50,0.2,0"))
    quiet = with_noise_removed(grid, 0.2)
    assert quiet.depth.tolist() == [[0, 0, 0], [0, 1.4, 0], [0.2, 0, 0]]
    assert quiet.notes == ("2 readings lie below the stated noise threshold of 0.2 mm, the greatest 0.19 mm, and count "
                           "as sound wall.",)
    assert with_noise_removed(quiet, 0.2) is quiet
    assert "1 reading lies below" in with_noise_removed(grid, 0.15).notes[0]


def test_a_case_with_a_noise_threshold(load):
    given = sizes(noise_threshold="0.3 mm", noise_threshold_reason="scatter on sound wall")
    grid = load(RAGGED_EDGE, **given).grid
    assert grid.ends_on_sound_wall() and "noise threshold of 0.3 mm" in grid.notes[0]
    fault = case_fault(load, RAGGED_EDGE, **given | {"noise_threshold": "1.5 mm"})
    assert (fault.field, fault.found) == ("defect.noise_threshold", "'1.5 mm'") and fault.line
    assert fault.allowed == "at most 1.4 mm, the deepest reading of the grid" and "remove every" in fault.mend


LEFT = "mm,0,10,20\n0,0,0,0\n5,0,1,2\n10,0,0,0\n"
RIGHT = "mm,20,30\n0,0,0\n5,2,0\n10,0,0\n"


def test_two_grids_that_overlap_and_agree_are_one():
    one = merged(read(LEFT), read(RIGHT))
    assert one.axial.tolist() == [0, 10, 20, 30] and one.around.tolist() == [0, 5, 10]
    assert one.depth.tolist() == [[0] * 4, [0, 1, 2, 0], [0] * 4]
    assert one.notes == ("Two grids were joined: 3 × 3 and 3 × 2 readings.",)
    assert merged(read(RIGHT), read(LEFT)).depth.tolist() == one.depth.tolist()
    near = merged(read(LEFT), read(RIGHT.replace("20,", "20.0000001,")))
    assert near.axial.tolist() == [0, 10, 20, 30]


def merge_faults(a: str, b: str):
    with pytest.raises(CaseFaults) as caught:
        merged(read(a), read(b), "two.csv")
    assert all(str(x).isprintable() and x.mend and x.file == "two.csv" for x in caught.value.faults)
    return caught.value.faults


def test_two_grids_that_overlap_with_different_readings():
    fault, = merge_faults(LEFT, RIGHT.replace("5,2", "5,2.1"))
    assert fault.field == "around 5 mm (row 3), axial 20 mm (column 2 of the second grid)"
    assert fault.found == "2 mm in the first grid and 2.1 mm in the second"
    assert fault.allowed == "one reading at one place" and "same datum" in fault.mend


def test_two_grids_that_leave_a_hole():
    fault, = merge_faults(LEFT, "mm,20,30\n0,0,0\n10,0,1\n")
    assert fault.found == "no reading at 1 of 12 pairs of stations: around 5 mm, axial 30 mm"
    assert fault.allowed == "two grids that fill a rectangle"
    fault, = merge_faults(LEFT, "mm,50,60\n30,1,1\n40,1,1\n")
    assert "no reading at 12 of 25 pairs of stations" in fault.found and "; …" in fault.found


def test_depths_and_remaining_wall_do_not_mix():
    fault, = merge_faults(LEFT, REMAINING)
    assert fault.found == "one grid of depths and one of remaining wall"


@settings(deadline=None, max_examples=80, derandomize=True)
@given(st.integers(2, 30), st.integers(2, 30), st.integers(3, 9), st.integers(3, 9), st.integers(0, 10 ** 6))
def test_a_thinned_grid_is_nowhere_lower(m, n, rows, columns, seed):
    random = np.random.default_rng(seed)
    depth = np.pad(random.random((m, n)), 1)
    grid = Grid(np.arange(n + 2.0), np.cumsum(np.ones(m + 2)), depth, "mm")
    thin = grid.thinned(rows, columns)
    assert len(thin.around) == min(rows, m + 2) and len(thin.axial) == min(columns, n + 2)
    assert thin.ends_on_sound_wall() and thin.deepest[0] == grid.deepest[0]
    for fine, coarse in ((grid.axial, thin.axial), (grid.around, thin.around)):
        assert set(coarse) <= set(fine) and (coarse[0], coarse[-1]) == (fine[0], fine[-1])
        assert (np.diff(coarse) > 0).all()
    (r, c), (fr, fc) = thin.deepest_at, grid.deepest_at
    assert (thin.around[r], thin.axial[c]) == (grid.around[fr], grid.axial[fc])
    assert thin.depth.max(axis=0).max() == thin.profile.max() == grid.profile.max()
    blocks = grids._blocks(n + 2, columns)
    for k, start in enumerate(blocks):
        end = blocks[k + 1] if k + 1 < len(blocks) else n + 2
        assert thin.profile[k] == grid.profile[start:end].max()


def test_a_small_grid_is_not_thinned_and_remaining_wall_keeps_its_least():
    grid = read(GOOD)
    assert grid.thinned(3, 3) is grid
    with pytest.raises(ValueError, match="3 rows and 3 columns or more"):
        grid.thinned(2, 3)
    wall = Grid(np.arange(5), np.arange(5), 5 + np.arange(25).reshape(5, 5), "mm", remaining=True)
    assert wall.thinned(3, 3).depth.tolist() == [[5, 6, 9], [10, 11, 14], [25, 26, 29]]


def test_the_record_holds_a_thinned_grid_and_says_so(load):
    x = range(250)
    rows = [[0] * 250 for _ in x]
    rows[100][33] = 1.4
    text = "mm," + ",".join(map(str, x)) + "\n" + "\n".join(f"{i}," + ",".join(map(str, r)) for i, r in enumerate(rows))
    kept = grid_of_record(load(text, **sizes("1.4 mm")))
    assert len(kept["axial"]) == len(kept["around"]) == len(kept["depth"]) == len(kept["profile"]) == 200
    assert kept["deepest"] == [33, 100] and max(map(max, kept["depth"])) == max(kept["profile"]) == 1.4
    assert kept["notes"] == ["Drawn and recorded as 200 × 200 readings, each the greatest of its block; the "
                             "calculation took all 250 × 250 of the grid."]


# -- any file at all ----------------------------------------------------------------------------------------------
CELLS = st.sampled_from(["", "0", "1.5", "20", "-3", "x", "mm", "in", "1e9", "1e400", "nan", '"', "é", "1,5", " 2 "])


@settings(deadline=None, max_examples=150)
@given(st.binary(max_size=80) | st.text(max_size=80).map(str.encode)
       | st.lists(st.lists(CELLS, max_size=5), max_size=5).map(lambda r: "\n".join(map(",".join, r)).encode()))
def test_any_bytes_are_a_grid_or_clear_faults(raw):
    try:
        grid = read_grid(raw, "g.csv")
    except CaseFaults as e:
        assert e.faults and all(str(x).isprintable() and x.mend for x in e.faults)
    else:
        assert grid.deepest[0] > 0 and len(grid.depth) == len(grid.around) and grid.extended(5).ends_on_sound_wall()


@settings(deadline=None, max_examples=150)
@given(st.data())
def test_a_good_grid_is_read_back_as_written(data):
    n, m = data.draw(st.integers(2, 5)), data.draw(st.integers(2, 5))
    steps = st.floats(0.1, 50).map(lambda x: round(x, 3))
    axial = [sum(data.draw(st.lists(steps, min_size=n, max_size=n))[:i]) for i in range(1, n + 1)]
    axial = sorted(set(round(x, 3) for x in axial))
    around = [round(i * data.draw(steps), 3) for i in range(1, m + 1)]
    around = sorted(set(around))
    if len(axial) < 2 or len(around) < 2:
        return
    depth = [[round(data.draw(st.floats(0, 9)), 2) for _ in axial] for _ in around]
    depth[0][0] = 1.0
    text = "mm," + ",".join(map(str, axial)) + "\n" + "\n".join(
        f"{y}," + ",".join(map(str, row)) for y, row in zip(around, depth, strict=True))
    assert read(text) == Grid(tuple(axial), tuple(around), tuple(map(tuple, depth)), "mm")
