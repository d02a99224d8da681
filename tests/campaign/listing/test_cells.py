"""Cells: what each reads as, in every dialect, and what is refused."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.campaign.listing.making import csv_file, mapping, only_fault, read, row, whole
from wrapcalc import units
from wrapcalc.campaign.listing.columns import COLUMNS, LENGTHS
from wrapcalc.campaign.listing.read import read_blocks
from wrapcalc.fields import FieldFault, read_text

TEN = 'decimal = "point"\nthousands = "comma"\ndelimiter = "semicolon"'
COMMA = 'decimal = "comma"\nthousands = "point"\ndelimiter = "semicolon"'


def length_of(folder, cell, listing='decimal = "point"\ndelimiter = "semicolon"', unit="mm"):
    """The length that a cell reads as; None for one that is refused."""
    how = mapping(folder, listing, length=f'{{ column = "Length", unit = "{unit}" }}')
    block = read(csv_file(folder, row(Length=cell, Log="12"), row(Length="0", Log="12"), delimiter=";"), how)
    assert len(block.row) + len({f.row for f in block.faults}) == 2
    return None if block.faults else float(block.columns["length"][0])


@pytest.mark.parametrize(("cell", "value"), [
    ("30", 30), ("0", 0), ("-0", 0), ("30.5", 30.5), (".5", 0.5), ("30.", 30), (" 30 ", 30), ("+30", 30), ("3e1", 30),
    ("30 mm", 30), ("30mm", 30), ('"30"', 30), ("007", 7), ("", math.nan), ("  ", math.nan)])
def test_a_number_reads_as_it_stands(tmp_path, cell, value):
    assert length_of(tmp_path, cell) == pytest.approx(value, nan_ok=True)


@pytest.mark.parametrize("cell", [
    "30,5", "1,234", "1 234", "30 in", "30 cm", "-", "n/a", "nan", "inf", "1.2.3", "--3", "-3", "3-", "1e400",
    "9" * 400, "0x10", "١٢", "30;", "30 mm mm", "mm", "#N/A", "1_000", "e5"])
def test_what_is_not_a_number_of_the_dialect_is_refused(tmp_path, cell):
    assert length_of(tmp_path, cell) is None


@pytest.mark.parametrize(("cell", "listing", "value"), [
    ("1,234.5", TEN, 1234.5), ("1,234", TEN, 1234), ("12,34", TEN, None), ("1234.5", TEN, 1234.5),
    ("1.234,5", COMMA, 1234.5),
    ("1.234", COMMA, 1234), ("1.23", COMMA, None), ("12,5", COMMA, 12.5), ("12.5", COMMA, None), (",5", COMMA, 0.5),
    ("1 234.5", TEN.replace('thousands = "comma"', 'thousands = "space"'), 1234.5),
    ("1\u202f234", TEN.replace('thousands = "comma"', 'thousands = "space"'), 1234)])
def test_marks_are_those_of_the_dialect_and_never_guessed(tmp_path, cell, listing, value):
    assert length_of(tmp_path, cell, listing) == value


def test_other_words_for_nothing_count_only_when_declared(tmp_path):
    assert length_of(tmp_path, "n/a") is None
    assert math.isnan(length_of(tmp_path, " n/a ", 'decimal = "point"\ndelimiter = "semicolon"\nblank = ["n/a", "-"]'))


@pytest.mark.parametrize("unit", LENGTHS)
def test_a_length_is_converted_as_a_quantity_of_a_case_is(tmp_path, unit):
    for cell in ("0.1234567", "0.2", "0.793"):
        wanted = units.to_base(*units.parse(f"{cell} {unit}", "length"), "length")
        assert length_of(tmp_path, cell, unit=unit) == wanted
    if unit != "mm":
        assert length_of(tmp_path, "0.2 mm", unit=unit) is None
    assert length_of(tmp_path, f"0.2 {unit}", unit=unit) == length_of(tmp_path, "0.2", unit=unit)


@pytest.mark.parametrize(("unit", "cell", "value"), [
    ("h:mm", "4:30", 4.5), ("h:mm", "04:30:00", 4.5), ("h:mm", "0:30", 0.5), ("h:mm", "12:30", 0.5),
    ("h:mm", "12:59", 59 / 60), ("h:mm", "13:00", None), ("h:mm", "24:30", None), ("h:mm", "4:60", None),
    ("h:mm", "4.5", None), ("h:mm", "4:30 PM", None), ("h:mm", "4:3", None), ("h:mm", "", math.nan),
    ("h:mm", " 4:30 ", 4.5), ("degrees", "135", 4.5), ("degrees", "360", 0), ("degrees", "361", None),
    ("degrees", "-1", None), ("degrees", "90°", 3), ("decimal hours", "4.5", 4.5),
    ("decimal hours", "12.5", 0.5), ("decimal hours", "13", None), ("decimal hours", "12.999", 0.999),
    ("decimal hours", "4:30", None),
    # a spreadsheet's time of day: hours / 24
    ("share of a day", "0.1875", 4.5), ("share of a day", "0.5", 0), ("share of a day", "0", 0),
    ("share of a day", "0.520833333333333", 0.5), ("share of a day", "0.54", 0.96), ("share of a day", "0.5417", None),
    ("share of a day", "4.5", None), ("share of a day", "-0.1", None), ("share of a day", "", math.nan)])
def test_a_clock_reads_from_0_to_less_than_12(tmp_path, unit, cell, value):
    how = mapping(tmp_path, clock=f'{{ column = "Clock", unit = "{unit}" }}')
    block = read(csv_file(tmp_path, row(Clock=cell)), how)
    assert len(block.faults) == (value is None)
    if value is not None:
        assert block.columns["clock"][0] == pytest.approx(value, nan_ok=True, abs=1e-12)


@pytest.mark.parametrize(("unit", "cell", "depth", "share"), [
    ("% of nominal wall", "45", math.nan, 0.45), ("% of measured wall", "45 %", math.nan, 0.45),
    ("mm", "4.5", 4.5, math.nan), ("in", "0.4", 10.16, math.nan), ("% of nominal wall", "0", math.nan, 0.0),
    ("% of nominal wall", "", math.nan, math.nan), ("% of nominal wall", "29.3", math.nan, 0.293)])
def test_a_depth_is_a_length_or_a_share(tmp_path, unit, cell, depth, share):
    how = mapping(tmp_path, depth=f'{{ column = "Depth", unit = "{unit}" }}')
    block = read(csv_file(tmp_path, row(Depth=cell)), how)
    np.testing.assert_array_equal([block.columns["depth"][0], block.columns["depth_share"][0]], [depth, share])


@pytest.mark.parametrize(("cells", "column", "found", "mend"), [
    ({"Depth": "12 mm"}, "Depth", "'12 mm'", "a column has one unit, here % of nominal wall"),
    ({"Depth": "101"}, "Depth", "'101'", "check the number, its decimal mark, and the unit"),
    ({"Log": "-3"}, "Log", "'-3'", "check the sign"),
    ({"Log": ""}, "Log", "nothing", "a row that nobody can find again"),
    ({"Type": ""}, "Type", "nothing", "fill in what the row is"),
    ({"Type": "Blob"}, "Type", "'Blob'", 'add to words of columns.kind: "Blob" = "..."'),
    ({"Clock": "24:30"}, "Clock", "'24:30'", "write 4:30"),
    ({"Clock": "4:30 pm"}, "Clock", "'4:30 pm'", "without AM or PM"),
    ({"Clock": "135"}, "Clock", "'135'", 'needs unit = "decimal hours" or "degrees"'),
    ({"Clock": "0.1875"}, "Clock", "'0.1875'", 'the mapping needs unit = "share of a day", since a spreadsheet keeps'),
    ({"Length": "30 or 31"}, "Length", "'30 or 31'", "write one number"),
    ({"Length": "1 234"}, "Length", "'1 234'", 'decimal = "point" and thousands = "none"'),
    ({"Length": "see report"}, "Length", "'see report'", "name it in blank under [listing]"),
    ({"Note": "a\u0007b"}, "Note", r"'a\x07b'", "remove what cannot be seen"),
    ({"Id": "\u202eabc"}, "Id", r"'\u202eabc'", "remove what cannot be seen")])
def test_each_fault_of_a_cell_says_where_what_and_how_to_mend(tmp_path, cells, column, found, mend):
    fault = only_fault(csv_file(tmp_path, row(), row(**cells)), mapping(tmp_path))
    assert (fault.row, fault.column, fault.found) == (3, column, found)
    assert mend in fault.mend and fault.allowed


def test_a_wall_of_nothing_is_a_fault_and_not_a_wall(tmp_path):
    how = mapping(tmp_path, length=None, nominal_wall='{ column = "Length", unit = "mm" }')
    fault = only_fault(csv_file(tmp_path, row(Length="0")), how)
    assert fault.allowed == "a number, more than 0 and at most 500 mm" and "leave the cell empty" in fault.mend


def test_rows_of_another_line_are_told(tmp_path):
    how = mapping(tmp_path, 'decimal = "point"\nline = "Harrow Bight"', comment=None, line='{ column = "Note" }')
    block = read(csv_file(tmp_path, row(Note="harrow  BIGHT"), row(Note="Tarn Fell"), row(Note="")), how)
    assert [(f.row, f.found) for f in block.faults] == [(3, "'Tarn Fell'"), (4, "nothing")]
    assert block.row.tolist() == [2]


def test_words_of_kinds_are_read_whatever_their_capitals_and_ours_need_no_word(tmp_path):
    rows = [row(Type="ml  EXT"), row(Type="Girth weld", Depth=""), row(Type=" dent ")]
    block = read(csv_file(tmp_path, *rows), mapping(tmp_path))
    assert block.columns["kind"].tolist() == ["external metal loss", "girth weld", "dent"]


def test_what_is_not_mapped_is_not_stated(tmp_path):
    block = read(csv_file(tmp_path, row()), mapping(tmp_path, comment=None))
    assert block.columns["comment"].tolist() == [""] and np.isnan(block.columns["latitude"]).all()
    assert set(block.columns) == {*COLUMNS, "depth_share"}


@settings(max_examples=60, deadline=None)
@given(st.lists(st.text(st.characters(exclude_characters='"\r\n\0', exclude_categories=("Cs",)), max_size=12),
                min_size=1, max_size=30))
def test_texts_read_as_a_text_of_a_case_does(tmp_path_factory, texts):
    """Second route: `fields.read_text`, cell by cell."""
    folder = tmp_path_factory.mktemp("texts")
    block = read(csv_file(folder, *[row(Note=f'"{t}"') for t in texts]), mapping(folder))
    got = dict(zip(block.row.tolist(), block.columns["comment"].tolist(), strict=True))
    for k, text in enumerate(texts, 2):
        try:
            wanted = read_text(text) or ""
        except FieldFault:
            assert k not in got
        else:
            assert got[k] == wanted


def test_long_texts_are_refused(tmp_path):
    fault = only_fault(csv_file(tmp_path, row(Note="x" * 2001)), mapping(tmp_path))
    assert fault.found == "2001 characters"


def test_columns_full_of_units_or_thousands_are_read_all_at_once(tmp_path):
    how = mapping(tmp_path, TEN)
    rows = [row(Length=f"{k:,} mm", Log=f" {k:,}.5") for k in range(3000)]
    block = whole(read_blocks(csv_file(tmp_path, *rows, delimiter=";"), how, 1000))
    assert not block.faults
    np.testing.assert_array_equal(block.columns["length"], np.arange(3000.0))
    np.testing.assert_array_equal(block.columns["log_distance"], 1000 * np.arange(3000.0) + 500)


@pytest.mark.parametrize("cell", ["1e308", "1e999", "9" * 320])
@pytest.mark.parametrize(("column", "unit"), [
    ("Length", "m"), ("Length", "km"), ("Clock", "degrees"), ("Clock", "decimal hours")])
def test_numbers_beyond_all_measure_are_told_without_a_warning(tmp_path, cell, column, unit):
    how = mapping(tmp_path, **{column.lower(): f'{{ column = "{column}", unit = "{unit}" }}'})
    plain = "3" if column == "Clock" else "4:30"
    fault = only_fault(csv_file(tmp_path, row(**{"Clock": plain, "Length": "0.5", column: cell})), how)
    assert fault.column == column and fault.found.startswith(f"'{cell[:50]}")
