"""Tables as files: read back by other libraries, what a spreadsheet must not run, and what does not fit."""

import csv
import io
import math

import numpy as np
import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wrapcalc.campaign.tables import tables
from wrapcalc.campaign.tables.tables import CODE, NUMBER, TEXT, WHOLE, Column
from wrapcalc.errors import CalculationError, PackageError

COLUMNS = (Column("row", WHOLE), Column("feature_id", TEXT), Column("safe pressure", NUMBER, "MPa"),
           Column("disposition", CODE, words=("no repair needed", "repair", "=1+1")))
DANGER = ["=1+1", "+1", "-1", "@x", "\tx", "\rx", "=cmd|' /C calc'!A0"]


def block(count: int = 3) -> dict[str, np.ndarray]:
    return {"row": np.arange(2, 2 + count), "feature_id": np.array([f"F-{i}" for i in range(count)], object),
            "safe pressure": np.linspace(-1.25, 9, count), "disposition": np.arange(count) % 2}


def written(path, columns, *blocks):
    with tables.open_table(path, columns, path.suffix[1:], sum(len(next(iter(b.values()))) for b in blocks)) as table:
        for b in blocks:
            table.write(tables.batch(columns, b))
    return path


def read_back(path) -> list[list]:
    """Heading and rows by another library than the writer's own."""
    if path.suffix == ".csv":
        return list(csv.reader(io.StringIO(path.read_bytes().decode("utf-8-sig"), newline="")))
    if path.suffix == ".xlsx":
        return [list(r) for r in openpyxl.load_workbook(path).active.iter_rows(values_only=True)]
    import pandas
    frame = pandas.read_parquet(path)
    return [list(frame.columns), *([None if v is None or v != v else v for v in r] for r in frame.to_numpy().tolist())]


@pytest.mark.parametrize("suffix", tables.FORMATS)
def test_numbers_texts_and_words_come_back(tmp_path, suffix):
    b = block() | {"safe pressure": np.array([8.2, np.nan, np.inf]), "disposition": np.array([0, 1, -1])}
    rows = read_back(written(tmp_path / f"x.{suffix}", COLUMNS, b))
    empty = "" if suffix == "csv" else None
    number = str if suffix == "csv" else (lambda v: v)
    assert rows == [["row", "feature_id", "safe pressure [MPa]", "disposition"],
                    [number(2), "F-0", number(8.2), "no repair needed"], [number(3), "F-1", empty, "repair"],
                    [number(4), "F-2", empty, empty]]


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
@pytest.mark.parametrize("text", DANGER)
def test_a_text_that_a_spreadsheet_would_run_is_written_so_that_it_does_not(tmp_path, suffix, text):
    b = block(1) | {"feature_id": np.array([text], object), "disposition": np.array([2])}
    path = written(tmp_path / f"x.{suffix}", COLUMNS, b)
    row = read_back(path)[1]
    assert not row[1].startswith(("=", "+", "-", "@", "\t", "\r")) and text.strip() in row[1]
    assert not row[3].startswith("=")  # words of a company's own file are texts, too
    if suffix == "xlsx":
        assert [c.data_type for c in openpyxl.load_workbook(path).active[2]] == ["n", "s", "n", "s"]


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
def test_a_negative_number_stays_a_number(tmp_path, suffix):
    assert float(read_back(written(tmp_path / f"x.{suffix}", COLUMNS, block()))[1][2]) == -1.25


def test_texts_stand_in_parquet_as_they_are(tmp_path):
    b = block(len(DANGER)) | {"feature_id": np.array(DANGER, object)}
    assert [r[1] for r in read_back(written(tmp_path / "x.parquet", COLUMNS, b))[1:]] == DANGER


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
def test_marks_of_the_format_inside_a_text_come_back(tmp_path, suffix):
    texts = ['a "b", c', "x < y & z > w", "two\nlines", " spaces ", "über Å", ""]
    b = block(len(texts)) | {"feature_id": np.array(texts, object)}
    back = [r[1] or "" for r in read_back(written(tmp_path / f"x.{suffix}", COLUMNS, b))[1:]]
    assert back == texts


def test_characters_that_xml_does_not_know_do_not_spoil_a_sheet(tmp_path):
    b = block(2) | {"feature_id": np.array(["a\x01b\ufffe", "c_x0041_"], object)}
    back = [r[1] for r in read_back(written(tmp_path / "x.xlsx", COLUMNS, b))[1:]]
    assert "\x01" not in back[0] and back[0].startswith("a") and "b" in back[0]
    assert openpyxl.utils.escape.unescape(back[1]) == "c_x0041_"


def test_a_sheet_has_a_bold_heading_that_stays_and_filters(tmp_path):
    sheet = openpyxl.load_workbook(written(tmp_path / "x.xlsx", COLUMNS, block())).active
    assert sheet.freeze_panes == "A2" and sheet.auto_filter.ref == "A1:D4"
    assert sheet["A1"].font.b and not sheet["A2"].font.b


def test_units_stand_in_the_metadata_of_parquet(tmp_path):
    from pyarrow import parquet
    fields = parquet.read_schema(written(tmp_path / "x.parquet", COLUMNS, block()))
    assert fields.field("safe pressure [MPa]").metadata[b"unit"] == b"MPa"


@pytest.mark.parametrize("suffix", tables.FORMATS)
def test_the_same_blocks_give_the_same_bytes(tmp_path, suffix):
    one, two = (written(tmp_path / f"{n}.{suffix}", COLUMNS, block()).read_bytes() for n in "ab")
    assert one == two


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
def test_how_the_rows_were_cut_does_not_matter(tmp_path, suffix):
    whole = block(10)
    parts = [{k: v[i:i + 3] for k, v in whole.items()} for i in range(0, 10, 3)]
    a, b = written(tmp_path / f"a.{suffix}", COLUMNS, whole), written(tmp_path / f"b.{suffix}", COLUMNS, *parts)
    assert read_back(a) == read_back(b)
    if suffix == "csv":
        assert a.read_bytes() == b.read_bytes()


@pytest.mark.parametrize("suffix", tables.FORMATS)
def test_a_table_without_rows_has_its_heading(tmp_path, suffix):
    assert read_back(written(tmp_path / f"x.{suffix}", COLUMNS, block(0)))[0] == [c.heading for c in COLUMNS]


@pytest.mark.parametrize("suffix", tables.FORMATS)
def test_a_table_that_is_not_finished_leaves_nothing_and_keeps_what_was_there(tmp_path, suffix):
    path = tmp_path / f"x.{suffix}"
    path.write_bytes(b"before")
    with pytest.raises(KeyboardInterrupt), tables.open_table(path, COLUMNS, suffix, 6) as table:
        table.write(tables.batch(COLUMNS, block()))
        raise KeyboardInterrupt
    assert path.read_bytes() == b"before" and [p.name for p in tmp_path.iterdir()] == [path.name]


def test_more_rows_than_a_sheet_holds_are_refused_before_anything_is_written(tmp_path):
    tables.refuse_rows(1_048_575, "xlsx")
    tables.refuse_rows(9_000_000, "csv")
    with pytest.raises(PackageError, match=r"1048576 rows.*XLSX holds 1048575.*Parquet or CSV") as e:
        with tables.open_table(tmp_path / "x.xlsx", COLUMNS, "xlsx", 1_048_576):
            pass
    assert "--format parquet" in str(e.value) and not list(tmp_path.iterdir())


def test_a_text_that_is_too_long_for_a_cell_is_refused(tmp_path):
    b = block(1) | {"feature_id": np.array(["x" * 32_768], object)}
    with pytest.raises(PackageError, match=r"'feature_id'.*32768 characters.*Parquet or CSV"):
        written(tmp_path / "x.xlsx", COLUMNS, b)
    assert not list(tmp_path.iterdir())


def test_a_format_that_is_none_is_refused(tmp_path):
    with pytest.raises(PackageError, match="no format 'ods'; allowed: parquet, csv, xlsx"):
        with tables.open_table(tmp_path / "x", COLUMNS, "ods", 1):
            pass


def test_columns_that_do_not_go_together_are_refused():
    with pytest.raises(CalculationError, match="row 3, feature_id missing"):
        tables.batch(COLUMNS, {n: v for n, v in block().items() if n != "feature_id"})
    with pytest.raises(CalculationError, match="row 2"):
        tables.batch(COLUMNS, block() | {"row": np.arange(2)})


@given(st.lists(st.floats(allow_nan=False), min_size=1, max_size=40))
def test_floats_are_rounded_to_12_significant_digits(numbers):
    # independent: Python's own rounding of the decimal form
    got = tables.short(np.array(numbers)).tolist()
    for x, y in zip(numbers, got, strict=True):
        wanted = float(f"{x:.12g}")
        assert y == wanted or math.isclose(y, wanted, rel_tol=1.0001e-12)  # a tie may fall to the other side
        if math.isfinite(y) and abs(y) < 1e300:
            assert float(f"{y:.12g}") == y


@pytest.mark.parametrize("x", [0.1 + 0.2, 9.9999999999996, 99999.99999999, 1e-10, 1e12, 0.5, 1024.0, 2 ** -33, 1 / 3,
                               123456789012.3, 6.02e23, 1e-300, 0.0])
def test_awkward_floats_are_rounded_as_python_does(x):
    assert tables.short(np.array([x, -x])).tolist() == [float(f"{x:.12g}"), -float(f"{x:.12g}")]
    assert str(tables.short(np.array([-0.0]))[0]) == "0.0"
