"""Tables of pits: how they are read, what is refused, pieces made one, and agreement with the stated sizes."""

import math

import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc.case import load_bundle
from wrapcalc.case import pits as pit_tables
from wrapcalc.case.boxes import Boxes, shortest_arc
from wrapcalc.case.pits import PitTable, read_pits, rejoined
from wrapcalc.errors import CaseFaults

HEAD = "name,start mm,length mm,width mm,depth mm,clock\n"
GOOD = HEAD + "A,120,40,30,1.8,4:30\nB,190,25,20,2.4,12:00\n"
ARC = "start mm,length mm,width mm,depth mm,around mm\n120,40,30,1.8,100\n190,25,20,2.4,5\n"
SPLIT = ("name,start mm,length mm,width mm,depth mm,around mm,weld\n"
         "A,100,50,30,1.8,100,GW 7\nB,160,40,20,2.4,110,GW 7\nC,300,10,10,1,100,GW 7\nD,160,40,20,2,500,\n")


def read(text: str) -> PitTable:
    return read_pits(text.encode(), "t.csv")


def faults_of(text: str):
    with pytest.raises(CaseFaults) as caught:
        read(text)
    for fault in caught.value.faults:
        assert fault.file == "t.csv" and str(fault).isprintable() and fault.allowed and fault.mend
    return caught.value.faults


def only(text: str):
    faults = faults_of(text)
    assert len(faults) == 1, "\n".join(map(str, faults))
    return faults[0]


def rows(b: Boxes) -> list[tuple]:
    return list(zip(*(v.tolist() for v in (b.x0, b.x1, b.y0, b.y1, b.depth)), strict=True))


# -- reading ------------------------------------------------------------------------------------------------------
def test_a_table_by_the_clock_is_read():
    table = read(GOOD)
    assert len(table) == 2 and table.by_clock and table.names == ("A", "B") and table.welds == ("", "")
    a, b = table.pits
    assert (a.start, a.length, a.width, a.depth, a.hours, a.around) == (120, 40, 30, 1.8, 4.5, None)
    assert b.hours == 0
    assert rows(table.boxes(1200)) == [(120, 160, 435, 465, 1.8), (190, 215, 1190, 1210, 2.4)]


def test_a_table_by_the_arc_is_read_in_any_order_of_columns_and_any_units():
    table = read(ARC)
    assert not table.by_clock and table.names == ("", "") and table.pits[1].around == 5
    assert rows(table.boxes(1200)) == [(120, 160, 85, 115, 1.8), (190, 215, 1195, 1215, 2.4)]
    other = read("around in,depth mil,weld,width mm,start m,length cm\n1,100,W,30,0.12,4\n")
    assert other.pits[0] == pit_tables.Pit("", 120, 40, 30, 2.54, None, 25.4, "W")


def test_arrays_cannot_be_changed():
    with pytest.raises(ValueError, match="read-only"):
        read(GOOD).depth[0] = 1


def changed(old: str, new: str) -> str:
    assert old in GOOD
    return GOOD.replace(old, new, 1)


@pytest.mark.parametrize(("text", "field", "line", "found", "allowed", "mend"), [
    *[pytest.param(changed("4:30", clock), "row 2, column 6", 2, f"'{clock}'",
                   "a clock position facing downstream from 0:00 to 12:59", "write 4:30 for half past four", id=clock)
      for clock in ("13:70", "24:00", "13:00", "4:60", "4.5", "-1:00", "4:3", "04:30:00", "４:30")],
    pytest.param(changed("4:30", ""), "row 2, column 6", 2, "an empty cell", "a clock position such as 4:30",
                 "correct this cell", id="no clock"),
    *[pytest.param(changed(old, new), f"row 2, column {column}", 2, f"'{new}'", f"a {what} of more than 0",
                   "correct it, or remove the row", id=f"{what} {new}")
      for old, new, column, what in (("40", "0", 3, "length"), ("40", "-4", 3, "length"), ("30", "0", 4, "width"),
                                     ("1.8", "0", 5, "depth"), ("1.8", "-1.8", 5, "depth"))],
    pytest.param(changed("1.8", ""), "row 2, column 5", 2, "an empty cell", "a number with a decimal point",
                 "correct this cell", id="no depth"),
    pytest.param(changed("1.8", '"1,8"'), "row 2, column 5", 2, "'1,8'", "a number with a decimal point", "correct",
                 id="quoted decimal comma"),
    pytest.param(changed("1.8", "1,8"), "row 2, column 7", 2, "7 cells", "6 cells, as in the first row",
                 "numbers take a decimal point", id="decimal comma"),
    pytest.param(changed("1.8", "deep"), "row 2, column 5", 2, "'deep'", "a number", "correct", id="text"),
    pytest.param(changed("1.8", "nan"), "row 2, column 5", 2, "'nan'", "a number", "correct", id="not a number"),
    pytest.param(changed("A,", "\x01,"), "row 2, column 1", 2, r"'\x01'", "without control characters", "remove",
                 id="control character"),
    pytest.param(changed("depth mm", "depth %"), "row 1, column 5", 1, "'depth %'", "depth, then one of the units",
                 "multiply each share by the wall", id="share of the wall"),
    pytest.param(changed("depth mm", "depth"), "row 1, column 5", 1, "'depth'", "depth, then one of the units",
                 "write 'depth mm'", id="no unit"),
    pytest.param(changed("depth mm", "Depth mm"), "row 1, column 5", 1, "'Depth mm'", "start mm, length mm",
                 "did you mean 'depth mm'?", id="capitals"),
    pytest.param("start mm,length mm,width mm,clock\n1,2,3,4:00\n", "row 1, column 5", 1, "no column 'depth mm'",
                 "a heading such as", "add it", id="no column of depths"),
    pytest.param("start mm,length mm,width mm,depth mm\n1,2,3,4\n", "row 1, column 5", 1,
                 "no column 'clock' or 'around mm'", "a heading such as", "add one of the two", id="no place around"),
    pytest.param(changed("clock", "clock,around mm").replace("4:30", "4:30,1").replace("12:00", "12:00,2"),
                 "row 1, column 7", 1, "'clock' and 'around' together", "one of the two", "remove", id="two places"),
    pytest.param(changed("clock", "clock,clock"), "row 1, column 7", 1, "'clock' again", "each column once", "remove",
                 id="column twice"),
    pytest.param(changed("clock", "clock,colour"), "row 1, column 7", 1, "'colour'", "clock, name, weld", "",
                 id="unknown column"),
    pytest.param(changed("clock", "clock,"), "row 1, column 7", 1, "a column without a heading", "clock, name, weld",
                 "remove this column", id="column without heading"),
    pytest.param(changed("B,", "A,"), "row 3", 3, "the name 'A' again (line 2)", "a name for one pit",
                 "rename one of the two", id="name twice"),
    pytest.param(GOOD + "C,120,40,30,3,4:30\n", "row 4", 4, "the same pit again: place and sizes of line 2",
                 "each pit once", "the shallower one", id="pit twice"),
    pytest.param(HEAD, "the file", None, "no pits", "a row for each pit", "below the heading", id="no pits"),
    pytest.param("", "the file", None, "nothing: it is empty", "a heading such as", "write", id="empty"),
    pytest.param(GOOD.replace(",", ";"), "the file", None, "semicolons between the cells", "commas", "save it",
                 id="semicolons"),
])
def test_one_fault_one_message(text, field, line, found, allowed, mend):
    fault = only(text)
    assert (fault.field, fault.line, fault.found) == (field, line, found)
    assert allowed in fault.allowed and mend in fault.mend


def test_all_faults_are_reported_together_and_counted():
    faults = faults_of(HEAD + "A,x,0,30,,24:00\nA,1,2\n")
    assert [(f.field, f.found) for f in faults] == [
        ("row 2, column 2", "'x'"), ("row 2, column 3", "'0'"), ("row 2, column 5", "an empty cell"),
        ("row 2, column 6", "'24:00'"), ("row 3, column 4", "3 cells")]
    faults = faults_of(HEAD + "".join(f"{i},x,x,x,x,x\n" for i in range(10)))
    assert len(faults) == 21 and faults[-1].found == "30 more faults like these"


def test_too_many_pits(monkeypatch):
    assert pit_tables.MAX_PITS == 5_000
    monkeypatch.setattr(pit_tables, "MAX_PITS", 1)
    assert (only(GOOD).found, only(GOOD).allowed) == ("2 pits", "at most 1")


# -- arcs ---------------------------------------------------------------------------------------------------------
@settings(deadline=None, max_examples=100, derandomize=True)
@given(st.lists(st.tuples(st.integers(0, 119), st.integers(0, 40)), min_size=1, max_size=8))
def test_the_shortest_arc_is_that_of_a_search_over_all_beginnings(arcs):
    import numpy as np
    y0 = np.array([a for a, _ in arcs], dtype=float)
    y1 = y0 + [w for _, w in arcs]
    covered = {y % 240 for a, w in arcs for y in range(2 * a, 2 * (a + w) + 1)}  # in halves of a mm
    least = min(max((y - s) % 240 for y in covered) for s in covered) / 2
    start, end = shortest_arc(y0, y1, 120)
    if end - start < 120:
        assert end - start == pytest.approx(least)
        assert all((a - start) % 120 + w <= end - start + 1e-9 for a, w in arcs)
    else:
        assert end - start == 120 and len(covered) >= 239


# -- pieces made one ----------------------------------------------------------------------------------------------
def test_pieces_cut_by_one_weld_are_one():
    table = rejoined(read(SPLIT), 10, 1000)
    assert table.names == ("A + B", "C", "D") and len(table) == 3
    assert table.pits[0] == pit_tables.Pit("A + B", 100, 100, 35, 2.4, None, 102.5, "GW 7")
    assert table.notes == ("Pits A and B, which the listing parts at girth weld GW 7, are one: 100 mm long, 35 mm "
                           "wide, 2.4 mm deep.",)


@pytest.mark.parametrize(("text", "gap", "count"), [
    (SPLIT, 9.9, 4), (SPLIT, 0, 4), (SPLIT, 100, 2), (SPLIT.replace("110,GW 7", "110,GW 8"), 10, 4),
    (SPLIT.replace("110,", "126,"), 10, 4), (SPLIT.replace("110,", "125,"), 10, 3)])
def test_pieces_join_only_with_one_weld_within_the_gap_and_overlapping_around(text, gap, count):
    assert len(rejoined(read(text), gap, 1000)) == count


def test_pieces_across_twelve_oclock_by_the_clock():
    head = "start mm,length mm,width mm,depth mm,clock,weld\n"
    table = rejoined(read(head + "0,50,40,1,11:54,W\n60,40,30,2,0:06,W\n"), 20, 1200)  # middles at 1190 and 10 mm
    assert len(table) == 1 and rows(table.boxes(1200)) == [pytest.approx((0, 100, 1170, 1225, 2))]
    assert "Pits at 0 mm and at 60 mm" in table.notes[0]


# -- beside a case ------------------------------------------------------------------------------------------------
@pytest.fixture
def load(example):
    """load(table, **fields of [defect] or, as pipe__..., of [pipe]) loads the example case with that table of pits."""
    def change(text: str, **fields: str | None):
        path = example / "HB-07.toml"
        document = tomlkit.parse(path.read_text("utf-8"))
        given = {"grid": None, "pits": "t.csv", "depth": "2.4 mm", "length": "100 mm", "width": "800 mm"} | fields
        for name, value in given.items():
            table, _, key = name.rpartition("__")
            document[table or "defect"].pop(key, None)
            if value is not None:
                document[table or "defect"][key] = value
        path.write_text(tomlkit.dumps(document), "utf-8")
        (example / "t.csv").write_text(text, "utf-8")
        return load_bundle(path)
    return change


def case_fault(load, *args, **kwargs):
    with pytest.raises(CaseFaults) as caught:
        load(*args, **kwargs)
    fault, = caught.value.faults
    assert str(fault).isprintable() and fault.file == "HB-07.toml" and fault.line
    return fault


def test_a_good_table_is_left_alone(load):
    table = load(GOOD).pits
    assert table.pits == read(GOOD).pits and table.notes == ()


def test_stated_depth_above_the_table_raises_its_deepest_pit(load):
    table = load(GOOD, depth="2.6 mm").pits
    assert table.depth.tolist() == [1.8, 2.6]
    assert table.notes == ("The stated depth 2.6 mm is above what the table shows: its deepest pit (2.4 mm), B, was "
                           "raised to it.",)
    assert "at 190 mm, was raised" in load(ARC, depth="2.6 mm").pits.notes[0]


def test_stated_sizes_below_the_table(load):
    fault = case_fault(load, GOOD, depth="2.3 mm")
    assert (fault.field, fault.allowed) == ("defect.depth", "at least 2.4 mm, the deepest pit of the table")
    fault = case_fault(load, GOOD, length="94 mm")
    assert (fault.field, fault.allowed) == ("defect.length", "at least 95 mm, over which the table has pits")
    fault = case_fault(load, ARC, width="100 mm")  # from 5 mm before 12 o'clock to 115 mm after it
    assert (fault.field, fault.allowed) == ("defect.width", "at least 120 mm, over which the table has pits")
    assert load(ARC, width="120 mm").pits.notes == ()


def test_a_pit_wider_than_the_pipe(load):
    fault = case_fault(load, GOOD.replace("30,", "3000,"))
    assert fault.field == "defect.pits" and fault.found == "'t.csv', where a pit is 3000 mm wide"
    assert "the circumference" in fault.allowed


def test_a_case_that_rejoins(load):
    given = {"length": "300 mm", "width": "1200 mm"}
    table = load(SPLIT, rejoin_gap="10 mm", **given).pits
    assert len(table) == 3 and "which the listing parts at girth weld GW 7" in table.notes[0]
    apart = load(SPLIT, **given, rejoin_gap=None).pits
    assert len(apart) == 4 and "without defect.rejoin_gap" in apart.notes[0]
    fault = case_fault(load, GOOD, rejoin_gap="10 mm")
    assert (fault.field, fault.allowed) == ("defect.rejoin_gap", "nothing: the table of pits has no column 'weld'")
    assert "in a column 'weld'" in fault.mend


def test_without_a_diameter_what_needs_none_is_checked(load):
    fault = case_fault(load, GOOD, pipe__outside_diameter=None, length="94 mm", width="1 mm")
    assert fault.field == "defect.length"


CELLS = st.sampled_from(["", "0", "1.5", "20", "-3", "x", "4:30", "24:00", "1e400", '"', "1,5", "A"])


@settings(deadline=None, max_examples=150, derandomize=True)
@given(st.text(max_size=60) | st.lists(st.lists(CELLS, min_size=5, max_size=6), max_size=5).map(
    lambda r: HEAD + "\n".join(map(",".join, r))) | st.lists(st.sampled_from(
        ["start mm", "length mm", "width in", "depth mm", "clock", "around", "name", "weld", "x"]), max_size=8).map(
        lambda h: ",".join(h) + "\n1,2,3,4,5\n"))
def test_any_text_is_a_table_or_clear_faults(text):
    try:
        table = read(text)
    except CaseFaults as e:
        assert e.faults and all(str(x).isprintable() and x.mend for x in e.faults)
    else:
        assert len(table) and (table.depth > 0).all() and all(math.isfinite(v) for row in rows(table.boxes(500))
                                                              for v in row)
