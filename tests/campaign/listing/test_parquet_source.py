"""Parquet: typed columns, and types that cannot be meant."""

import datetime
import decimal

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet

from tests.campaign.listing.making import HEADINGS, mapping, read, refused, whole
from wrapcalc.campaign.listing.read import read_blocks

TIME = datetime.time(4, 30)


def table(**columns):
    plain = {"Id": ["F1", "F2", None], "Type": ["ML ext"] * 3, "Log": [1.5, 2.5, 3.5], "Depth": [45, None, 0],
             "Length": [30.25, float("nan"), 0.0], "Clock": [TIME, None, datetime.time(12, 15)],
             "Note": ["a", "", None]}
    return pa.table({h: columns.get(h, plain[h]) for h in HEADINGS})


def written(folder, content, **more):
    parquet.write_table(content, folder / "listing.parquet", **more)
    return folder / "listing.parquet"


def test_typed_columns_are_read(tmp_path):
    block = read(written(tmp_path, table()), mapping(tmp_path))
    assert not block.faults and block.row.tolist() == [2, 3, 4]
    c = block.columns
    np.testing.assert_array_equal(c["log_distance"], [1500, 2500, 3500])
    np.testing.assert_array_equal(c["depth_share"], [0.45, np.nan, 0])
    np.testing.assert_array_equal(c["length"], [30.25, np.nan, 0])
    np.testing.assert_array_equal(c["clock"], [4.5, np.nan, 0.25])
    assert c["feature_id"].tolist() == ["F1", "F2", ""] and c["comment"].tolist() == ["a", "", ""]


@pytest.mark.parametrize("values", [
    pa.array(["30", "x", "12 in"]), pa.array(["30", "x", "12 in"]).dictionary_encode(),
    pa.array(["30", "x", "12 in"], pa.large_string())])
def test_texts_in_a_column_of_numbers_are_read_by_the_dialect(tmp_path, values):
    block = read(written(tmp_path, table(Length=values)), mapping(tmp_path))
    assert [(f.row, f.column, f.found) for f in block.faults] == [(3, "Length", "'x'"), (4, "Length", "'12 in'")]
    assert block.columns["length"].tolist() == [30]


@pytest.mark.parametrize("values", [[7, 120, 3], [7.0, 120.0, 3.0], [decimal.Decimal("7"), decimal.Decimal("120"),
                                                                    decimal.Decimal("3")]])
def test_numbers_in_a_column_of_texts_are_their_texts(tmp_path, values):
    block = read(written(tmp_path, table(Id=values)), mapping(tmp_path))
    assert block.columns["feature_id"].tolist() == ["7", "120", "3"]


def test_numbers_out_of_bounds_and_infinite_ones_are_told(tmp_path):
    block = read(written(tmp_path, table(Length=[-1.0, float("inf"), 3])), mapping(tmp_path))
    assert [(f.row, f.found) for f in block.faults] == [(2, "'-1'"), (3, "'inf'")]


@pytest.mark.parametrize(("column", "values", "says"), [
    ("Length", [True, False, None], "found the type bool for length along the pipe; allowed: texts or numbers"),
    ("Length", [datetime.date(2026, 5, 4)] * 3, "the type date32[day]"),
    ("Length", [[1.0]] * 3, "the type list<"), ("Id", [b"x"] * 3, "the type binary"),
    ("Clock", [4.5, 3.0, 2.0], "the type double for clock position facing downstream; allowed: texts such as 4:30"),
    ("Log", [datetime.datetime(2026, 5, 4)] * 3, "the type timestamp[us]"),
    ("Length", [TIME] * 3, "the type time64[us]")])
def test_each_wrong_type_is_told(tmp_path, column, values, says):
    said = refused(read_blocks, written(tmp_path, table(**{column: values})), mapping(tmp_path))
    assert f"listing.parquet: column '{column}'" in said and says in said


def test_a_time_of_day_beyond_the_clock_or_with_parts_of_seconds_is_told(tmp_path):
    times = [datetime.time(16, 30), datetime.time(4, 30, 0, 5), datetime.time(4, 30, 36)]
    block = read(written(tmp_path, table(Clock=times)), mapping(tmp_path))
    assert [f.found for f in block.faults] == ["'16:30'", "'4:30:00.000005'"]
    assert block.columns["clock"].tolist() == [4.51]


def test_blocks_and_row_groups_of_any_size_say_the_same(tmp_path):
    many = pa.concat_tables([table(Length=["1", "x", "3"])] * 30)
    path = written(tmp_path, many, row_group_size=11)
    one, some = read(path, mapping(tmp_path)), whole(read_blocks(path, mapping(tmp_path), 7))
    assert one.faults == some.faults and one.row.tolist() == some.row.tolist() and len(one.row) == 60


def test_columns_of_one_name_and_missing_ones_are_told(tmp_path):
    twice = pa.table([pa.array(["a"])] * 8, names=[*HEADINGS, "Id"])
    assert "'Id', which 2 columns" in refused(read_blocks, written(tmp_path, twice), mapping(tmp_path))
    said = refused(read_blocks, written(tmp_path, table().rename_columns(["X", *HEADINGS[1:]])), mapping(tmp_path))
    assert "'Id', which no column of listing.parquet has" in said


def test_rows_of_headings_and_units_are_not_for_parquet(tmp_path):
    path = written(tmp_path, table())
    said = refused(read_blocks, path, mapping(tmp_path, 'decimal = "point"\nunits_row = 2'))
    assert "listing.units_row: found 2; allowed: nothing for Parquet" in said
    assert "listing.header_row" in refused(read_blocks, path, mapping(tmp_path, 'decimal = "point"\nheader_row = 2'))


@pytest.mark.parametrize("cut", [20, -30])
def test_a_file_that_is_cut_off_is_told(tmp_path, cut):
    path = written(tmp_path, table())
    path.write_bytes(path.read_bytes()[:cut])
    assert "cannot be read to its end" in refused(read_blocks, path, mapping(tmp_path))


def test_a_file_without_rows_is_told(tmp_path):
    path = written(tmp_path, table().slice(0, 0))
    assert "no row below the headings" in refused(read_blocks, path, mapping(tmp_path))
