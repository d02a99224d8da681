"""A grid from a spreadsheet: what reads in one way is read, all else is one fault with row and column."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wrapcalc.case.grid import read_grid
from wrapcalc.errors import CaseFaults
from wrapcalc.workbook.form.pasted import COMMA, POINT, read_pasted, text_of_file

GOOD = "mm\t0\t20\t40\n0\t0\t0\t0\n25\t0\t1.4\t0\n50\t0\t0\t0\n"


@pytest.mark.parametrize("text, options", [
    (GOOD, {}), (GOOD.replace("\n", "\r\n"), {}), (GOOD.replace("\t", ";"), {}), (GOOD.replace("\t", ","), {}),
    (GOOD.replace("1.4", "1,4"), {}), (GOOD.replace("1.4", "1,4").replace("\t", ";"), {}),
    (GOOD.replace("1.4", "1,400"), {"decimal": COMMA}), (GOOD.replace("mm", "", 1), {"unit": "mm"}),
    ("\ufeff" + GOOD.rstrip(), {}), (GOOD + "\t\t\t\n\n", {}), (GOOD.replace("\n", "\t\t\n"), {}),
    (GOOD.replace("\t1.4", '\t"1.4"'), {}), (GOOD.replace("mm\t", " mm \t"), {}),
])
def test_one_table_in_all_its_spellings(text, options):
    pasted = read_pasted(text, **options)
    assert pasted.grid.depth.tolist() == [[0, 0, 0], [0, 1.4, 0], [0, 0, 0]]
    assert read_grid(pasted.csv, "again.csv") == pasted.grid


def test_what_was_done_to_the_table_is_said():
    assert "Decimal commas" in " ".join(read_pasted(GOOD.replace("1.4", "1,4")).notes)
    assert "Empty columns" in " ".join(read_pasted(GOOD.replace("\n", "\t\t\n")).notes)
    assert read_pasted(GOOD).notes == ()


def test_remaining_wall_may_be_chosen():
    text = GOOD.replace("mm", "", 1).replace("\t0", "\t8").replace("mm\t8", "\t0")
    assert read_pasted(text.replace("\t8\t20\t40", "\t0\t20\t40", 1), unit="mm remaining").grid.remaining


@pytest.mark.parametrize("text, options, where, says", [
    ("", {}, "the whole", "nothing"), ("a\tb", {}, "the whole", "1 row and 2 columns"),
    ("mm 0 20\n0 0 0", {}, "row 1", "without a separator"),
    ("Grid of joint 118\t\t\t\n" + GOOD, {}, "row 1, column 1", "without headings"),
    (GOOD.replace("mm", "pos", 1), {}, "row 1, column 1", "the unit of all numbers"),
    (GOOD.replace("mm", "", 1), {}, "row 1, column 1", "choose the unit"),
    (GOOD, {"unit": "in"}, "row 1, column 1", "the chosen unit, in"),
    (GOOD.replace("\t20", "\tA 20"), {}, "row 1, column 3", "a number with a decimal point"),
    (GOOD.replace("\t20", "\tstation"), {}, "row 1, column 3", "without headings"),
    (GOOD.replace("\t1.4", "\t"), {}, "row 3, column 3", "an empty cell"),
    (GOOD.replace("\t1.4", "\t").replace("\t20", "\t"), {}, "row 1, column 3", "an empty cell (1 more like it)"),
    (GOOD.replace("25\t0\t1.4\t0", "25\t0"), {}, "row 3, column 3", "a merged cell holds its number once"),
    (GOOD.replace("\n50", "\n\t\t\t\n50"), {}, "row 4, column 1", "here a station"),
    (GOOD.replace("1.4", "#N/A"), {}, "row 3, column 3", "is no reading"),
    (GOOD.replace("1.4", "n/a"), {}, "row 3, column 3", "is no reading"),
    (GOOD.replace("1.4", "1.4 mm"), {}, "row 3, column 3", "write the number alone: 1.4"),
    (GOOD.replace("1.4", "-1.4"), {}, "row 3, column 3", "a depth of 0 or more"),
    (GOOD.replace("1.4", "1 400"), {}, "row 3, column 3", "a number with a decimal point"),
    (GOOD.replace("1.4", "3:00"), {}, "row 3, column 3", "a number with a decimal point"),
    (GOOD.replace("1.4", "1,400"), {}, "row 3, column 3", "may be 1.400 or 1400"),
    (GOOD.replace("1.4", "1.400,5"), {}, "row 3, column 3", "with comma and point"),
    (GOOD.replace("1.4\t0", "1,4\t0.5"), {}, "row 3, column 3", "while row 3, column 4 has '0.5'"),
    (GOOD.replace("1.4", "1,4"), {"decimal": POINT}, "row 3, column 3", "as chosen"),
    (GOOD.replace("1.4", '"1,4"').replace("\t", ","), {}, "row 3, column 3", "where commas separate"),
    (GOOD.replace("\t40", "\t20"), {}, "row 1, column 4", "growing axial stations"),
    (GOOD.replace('1.4', '"1.4'), {}, "the whole", "cells that cannot be told apart"),
    (GOOD.replace("1.4", "0"), {}, "row 2, column 2", "zero everywhere"),
])
def test_what_cannot_be_read_in_one_way_is_one_fault_with_its_place(text, options, where, says):
    with pytest.raises(CaseFaults) as e:
        read_pasted(text, **options)
    assert len(e.value.faults) == 1
    assert e.value.faults[0].field == where and says in str(e.value), str(e.value)


def test_a_workbook_and_another_encoding_are_told():
    with pytest.raises(CaseFaults, match="a workbook of a spreadsheet"):
        text_of_file(b"PK\x03\x04...", "grid.xlsx")
    with pytest.raises(CaseFaults, match="not UTF-8"):
        text_of_file("mm,0,1\nä".encode("latin-1"), "grid.csv")
    assert text_of_file(b"\xef\xbb\xbfmm,0", "grid.csv") == "mm,0"


@given(st.data())
def test_a_table_pasted_with_decimal_commas_is_the_same_table_or_a_fault_never_another_one(data):
    """Second route: the numbers as Python prints them; commas only where the sign is a comma."""
    shape = data.draw(st.tuples(st.integers(2, 5), st.integers(2, 5)))
    cells = data.draw(st.lists(st.integers(0, 9999), min_size=shape[0] * shape[1], max_size=shape[0] * shape[1]))
    depth = np.array(cells).reshape(shape) / data.draw(st.sampled_from([1, 10, 1000]))
    rows = [["mm", *(str(20 * k) for k in range(shape[1]))]]
    rows += [[str(25 * r), *(f"{x:g}" for x in line)] for r, line in enumerate(depth)]
    text = "\n".join("\t".join(r) for r in rows).replace(".", ",")
    try:
        found = read_pasted(text).grid.depth
    except CaseFaults:
        return
    np.testing.assert_allclose(found, depth)
