"""CSV: rows and their numbers, what is told of the file as a whole, and any dialect read back."""

import csv
import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.campaign.listing.making import HEADINGS, ROW, csv_file, mapping, mapping_text, read, refused, row, whole
from wrapcalc.campaign.listing.mapping import DELIMITERS, load_mapping
from wrapcalc.campaign.listing.read import read_blocks


def raw_file(folder, raw, name="listing.csv"):
    path = folder / name
    path.write_bytes(raw)
    return path


def lines(*rows):
    return ("\n".join(",".join(r) for r in (HEADINGS, *rows)) + "\n").encode()


# -- rows ---------------------------------------------------------------------------------------------------------
def test_rows_are_numbered_as_a_spreadsheet_shows_them(tmp_path):
    rows = [row(Id="a"), row(Id="b", Note='"two\nlines, and a ""word"""'), row(Id="c", Log="x"), row(Id="d")]
    block = read(csv_file(tmp_path, *rows), mapping(tmp_path))
    assert dict(zip(block.columns["feature_id"], block.row.tolist(), strict=True)) == {"a": 2, "b": 3, "d": 5}
    assert block.columns["comment"][1] == 'two lines, and a "word"' and [f.row for f in block.faults] == [4]


def test_empty_lines_are_no_rows_but_are_counted(tmp_path):
    raw = lines(row(Id="a")) + b"\n\n,,,,,,\n" + ",".join(row(Id="b")).encode() + b"\n\n\n"
    block = read(raw_file(tmp_path, raw), mapping(tmp_path))
    assert block.row.tolist() == [2, 6] and not block.faults


def test_a_row_with_something_outside_the_mapping_only_is_told(tmp_path):
    block = read(csv_file(tmp_path, row(), ["", "", "", "", "", "", "end of list"]), mapping(tmp_path, comment=None))
    assert {f.row for f in block.faults} == {3} and block.row.tolist() == [2]


def test_rows_with_too_many_or_too_few_cells_are_told_and_shift_nothing(tmp_path):
    rows = [row(Id="a"), row()[:5], row(Id="b"), [*row(), "more"], [*row(), "more"], row(Id="c"), ["x"]]
    block = read(csv_file(tmp_path, *rows), mapping(tmp_path))
    assert [(f.row, f.column, f.found) for f in block.faults] == [
        (3, "the row", "5 cells"), (5, "the row", "8 cells"), (6, "the row", "8 cells"), (8, "the row", "1 cells")]
    assert dict(zip(block.columns["feature_id"], block.row.tolist(), strict=True)) == {"a": 2, "b": 4, "c": 7}
    assert "7 cells, one under each heading" in block.faults[0].allowed and "quotation marks" in block.faults[0].mend


@pytest.mark.parametrize("change", [str.upper, str.lower, lambda h: f" {h.title()} "])
def test_headings_again_in_other_capitals_are_one_fault(tmp_path, change):
    block = read(csv_file(tmp_path, row(), [change(h) for h in HEADINGS], row()), mapping(tmp_path))
    assert [(f.row, f.column, f.found) for f in block.faults] == [(3, "the row", "the headings again")]


def test_headings_again_are_one_fault(tmp_path):
    block = read(csv_file(tmp_path, row(), HEADINGS, row()), mapping(tmp_path))
    assert [(f.row, f.column, f.found) for f in block.faults] == [(3, "the row", "the headings again")]


@pytest.mark.parametrize("note", [True, False])
def test_a_quotation_mark_that_is_not_closed_does_not_swallow_rows_in_silence(tmp_path, note):
    """The mark is closed by chance three rows further on, and the record has the right number of cells again."""
    rows = [row(Id="a"), row(Id="b", Note='"near'), row(Id="c"), row(Id="d", Note='seam"'), row(Id="e")]
    how = mapping(tmp_path, **({} if note else {"comment": None}))
    block = read(csv_file(tmp_path, *rows), how)
    assert dict(zip(block.columns["feature_id"], block.row.tolist(), strict=True)) == {"a": 2, "e": 6}
    assert [f.row for f in block.faults] == [3, 4, 5]
    assert "a cell over 3 lines" in block.faults[0].found and "rows 4 to 5 are inside" in block.faults[0].mend
    assert block.faults[1].found == "a row inside of a cell of row 3"


def test_a_quotation_mark_that_is_never_closed_is_told(tmp_path):
    path = csv_file(tmp_path, row(), row(Note='"near'), *[row()] * 70_000)
    said = refused(read_blocks, path, mapping(tmp_path))
    assert "a record that does not end" in said and "look below row" in said


@pytest.mark.parametrize("size", [1, 3, 65_536])
def test_rows_inside_of_a_quotation_mark_are_counted_where_the_record_has_too_many_cells(tmp_path, size):
    """The mark closes before a cell that begins with one: the record has more cells than a row."""
    rows = [row(Id="a"), row(Id="b", Depth='"45'), row(Id="c"), row(Id="d", Note='"near, seam"'), row(Id="e"),
            row()[:5], row(Id="f", Note='"x'), row(Id="g"), row(Id="h", Note='y"'), row(Id="i")]
    block = whole(read_blocks(csv_file(tmp_path, *rows), mapping(tmp_path), size))
    assert dict(zip(block.columns["feature_id"], block.row.tolist(), strict=True)) == {"a": 2, "e": 6, "i": 11}
    assert [(f.row, f.found) for f in block.faults] == [
        (3, "a cell over 3 lines that holds as many delimiters as a row"), (4, "a row inside of a cell of row 3"),
        (5, "a row inside of a cell of row 3"), (7, "5 cells"),
        (8, "a cell over 3 lines that holds as many delimiters as a row"), (9, "a row inside of a cell of row 8"),
        (10, "a row inside of a cell of row 8")]
    assert "rows 4 to 5 are inside of this cell" in block.faults[0].mend
    assert "close the quotation mark in row 3" in block.faults[1].mend


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_a_row_over_two_lines_with_too_many_cells_is_one_row(tmp_path, ending):
    raw = ending.join([",".join(HEADINGS), ",".join(row(Id='"first\nnote"')) + ",more",
                       ",".join(row(Id="b", Note='"two\nlines"')) + ",more", ",".join(row(Id="c"))]).encode() + b"\n"
    block = read(raw_file(tmp_path, raw), mapping(tmp_path))
    assert [(f.row, f.found) for f in block.faults] == [(2, "8 cells"), (3, "8 cells")] and block.row.tolist() == [4]


def test_a_record_of_too_many_cells_that_holds_most_of_the_file_is_told(tmp_path):
    rows = [row(), row(Depth='"45'), *[row()] * 150, row(Note='"near, seam"'), row()]
    said = refused(read_blocks, csv_file(tmp_path, *rows), mapping(tmp_path))
    assert "a record that does not end" in said and "look below row" in said


def test_inch_marks_in_texts_do_no_harm(tmp_path):
    block = read(csv_file(tmp_path, row(Note='dent 6"'), row(Note='4" x 2"')), mapping(tmp_path))
    assert block.columns["comment"].tolist() == ['dent 6"', '4" x 2"']


# -- headings and units -------------------------------------------------------------------------------------------
def test_headings_may_stand_further_down_and_hold_line_breaks(tmp_path):
    raw = (b'Report of the run,,\n"over\ntwo lines"\n\nId,Type,"Log\n distance",Depth,Length,Clock,Note\n'
           + ",".join(ROW).encode() + b"\n")
    how = mapping(tmp_path, 'decimal = "point"\nheader_row = 4', log_distance='{ column = "Log distance", unit = "m" }')
    block = read(raw_file(tmp_path, raw), how)
    assert block.row.tolist() == [5] and block.columns["log_distance"].tolist() == [12500.0]


@pytest.mark.parametrize(("units", "says"), [
    (["", "", "m", "%", "mm", "hh:mm", ""], ""), (["", "", "[m]", "(% WT)", "", "o'clock", ""], ""),
    (["", "", "ft", "%", "mm", "", ""], "log_distance.unit: found 'm', but the row of units of 'Log' says 'ft'"),
    (["", "", "m", "mm", "mm", "", ""], "columns.depth.unit: found '% of nominal wall', but the row of units"),
    (["", "", "m", "%", "parsec", "", ""], "found 'parsec' in the row of units under 'Length'")])
def test_a_row_of_units_is_held_against_the_mapping(tmp_path, units, says):
    how = mapping(tmp_path, 'decimal = "point"\nunits_row = 2')
    path = csv_file(tmp_path, units, row())
    if says:
        assert says in refused(read_blocks, path, how)
    else:
        assert read(path, how).row.tolist() == [3]


@pytest.mark.parametrize(("heading", "ok"), [("Length [mm]", True), ("Length (mm)", True), ("Length [in]", False),
                                             ("Length (see note)", True)])
def test_a_unit_in_a_heading_is_held_against_the_mapping(tmp_path, heading, ok):
    how = mapping(tmp_path, length=f'{{ column = "{heading}", unit = "mm" }}')
    path = csv_file(tmp_path, row(), head=[heading if h == "Length" else h for h in HEADINGS])
    if ok:
        assert read(path, how).row.tolist() == [2]
    else:
        assert "but the heading of 'Length [in]' says 'in'" in refused(read_blocks, path, how)


def test_headings_that_are_missing_or_twice_there_are_told_together(tmp_path):
    path = csv_file(tmp_path, row(), head=["Id", "Type", "Log", "Depht", "Id", "Clock", "Note"])
    said = refused(read_blocks, path, mapping(tmp_path)).splitlines()
    assert len(said) == 3
    assert any("'Id', which 2 columns of listing.csv have (A, E)" in s for s in said)
    assert any("'Depth', which no column of listing.csv has" in s and "did you mean 'Depht'?" in s for s in said)
    assert all(s.startswith("mapping.toml, line ") for s in said)


def test_a_wrong_delimiter_is_one_fault_that_names_the_right_one(tmp_path):
    path = csv_file(tmp_path, row(), delimiter=";")
    said = refused(read_blocks, path, mapping(tmp_path)).splitlines()
    assert len(said) == 1 and "listing.delimiter: found 'comma', but none of the 7 headings" in said[0]
    assert 'write delimiter = "semicolon"' in said[0]


def test_a_wrong_row_of_headings_is_one_fault(tmp_path):
    path = csv_file(tmp_path, HEADINGS, row(), head=["Report of the run", *[""] * 6])
    said = refused(read_blocks, path, mapping(tmp_path)).splitlines()
    assert len(said) == 1 and "listing.header_row: found 1, but none of the 7 headings of the mapping stands in row 1" \
        in said[0] and "'Report of the run'" in said[0] and "correct header_row" in said[0]


def test_two_columns_of_one_name_that_nobody_reads_do_no_harm(tmp_path):
    path = csv_file(tmp_path, [*row(), "", ""], head=[*HEADINGS, "x", "x"])
    assert read(path, mapping(tmp_path)).row.tolist() == [2]


# -- the file as a whole ------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("raw", "says"), [
    (b"", "nothing: it is empty"), (b"\n\n \n", "nothing: it is empty"), (lines(), "no row below the headings"),
    (lines() + b",,,,,,\n\n", "no row below the headings"),
    (lines(row()) + b"a,b\0c\n", "line 3: the file: found a NUL byte"),
    (lines(row()) + b"a,b\xff\n", "line 3: the file: found a byte that is not utf-8"),
    (lines(row()) + b"a,b\xc3", "line 3: the file: found a byte that is not utf-8"),
    (lines(row()).decode().encode("utf-16"), 'write encoding = "utf-16"'),
    (lines(row()).decode().encode("utf-16-le"), 'in UTF-16, write encoding = "utf-16"'),
    (b"\xd0\xcf\x11\xe0" + b"x" * 100, "a workbook of the old form"),
    (b"a" * 1_100_000, "a line of more than"), (b"x" * 200_000, "text that is not CSV, or a cell of more than 131072"),
    (lines(row(), row()).replace(b"\n", b"\r"), "lines that end with a carriage return alone"),
    (lines(*[row()] * 40_000).replace(b"\n", b"\r"), "lines that end with a carriage return alone")])
def test_each_fault_of_the_file_is_told(tmp_path, raw, says):
    assert says in refused(read_blocks, raw_file(tmp_path, raw), mapping(tmp_path))


def test_a_fault_of_the_text_far_down_is_told_with_its_line(tmp_path):
    raw = lines(*[row()] * 200_000) + "Ø\n".encode("cp1252")
    assert "line 200002: the file: found a byte that is not utf-8" in refused(
        read_blocks, raw_file(tmp_path, raw), mapping(tmp_path))


def test_the_first_block_comes_before_the_file_is_read_to_its_end(tmp_path):
    blocks = read_blocks(raw_file(tmp_path, lines(*[row()] * 300_000) + b"\0"), mapping(tmp_path), 1000)
    assert len(next(blocks).row) == 1000
    assert "a NUL byte" in refused(list, blocks)


def test_what_is_no_file_is_told(tmp_path):
    how = mapping(tmp_path)
    assert "no such file" in refused(read_blocks, tmp_path / "none.csv", how)
    assert "a folder" in refused(read_blocks, tmp_path, how)
    assert "not what .xlsx means" in refused(read_blocks, raw_file(tmp_path, b"a,b\n", "x.xlsx"), how)


def test_windows_1252_and_marks_are_read(tmp_path):
    how = mapping(tmp_path, 'decimal = "point"\nencoding = "windows-1252"')
    raw = lines(row(Note="Bøgen 5 °")).decode().encode("cp1252")
    assert read(raw_file(tmp_path, raw), how).columns["comment"].tolist() == ["Bøgen 5 °"]
    assert "a byte that is not windows-1252" in refused(read_blocks, raw_file(tmp_path, raw + b"\x81"), how)
    marked = b"\xef\xbb\xbf" + lines(row(Note="Bøgen"))
    assert read(raw_file(tmp_path, marked), mapping(tmp_path)).columns["comment"].tolist() == ["Bøgen"]


# -- round trips --------------------------------------------------------------------------------------------------
NOTES = st.text(st.characters(codec="cp1252", categories=("L", "N", "P", "S", "Zs")), max_size=15)


@st.composite
def listings(draw):
    """Rows of numbers, and how they are to be written."""
    mark = draw(st.sampled_from([("point", "none"), ("point", "comma"), ("point", "space"), ("comma", "none"),
                                 ("comma", "point"), ("comma", "space")]))
    rows = draw(st.lists(st.tuples(
        st.integers(0, 9_999_999), st.one_of(st.none(), st.integers(0, 1000)),
        st.one_of(st.none(), st.integers(0, 719)), NOTES), min_size=1, max_size=40))
    return (mark, draw(st.sampled_from(sorted(DELIMITERS))), draw(st.sampled_from(["utf-8", "utf-16", "windows-1252"])),
            draw(st.booleans()), draw(st.sampled_from(["\n", "\r\n"])), draw(st.integers(1, 50)), rows)


def written(thousandths, decimal, thousands):
    whole_part, rest = divmod(thousandths, 1000)
    mark = {"none": "", "comma": ",", "point": ".", "space": " "}[thousands]
    return f"{whole_part:,}".replace(",", mark) + {"point": ".", "comma": ","}[decimal] + f"{rest:03d}"


@settings(max_examples=120, deadline=None)
@given(listings())
def test_whatever_is_written_in_a_dialect_reads_back(tmp_path_factory, made):
    """Second route: the csv module writes, integers are divided by powers of ten."""
    (decimal, thousands), delimiter, encoding, quoted, ending, block, rows = made
    rows = [*rows, (0, 450, None, "")]  # shares that are all below 1 % would be refused
    folder = tmp_path_factory.mktemp("dialect")
    out = io.StringIO()
    sheet = csv.writer(out, delimiter=DELIMITERS[delimiter], lineterminator=ending,
                       quoting=csv.QUOTE_ALL if quoted else csv.QUOTE_MINIMAL)
    sheet.writerow(HEADINGS)
    for k, (log, depth, minutes, note) in enumerate(rows):
        clock = "" if minutes is None else f"{minutes // 60}:{minutes % 60:02d}"
        percent = "" if depth is None else written(depth * 100, decimal, thousands)
        sheet.writerow([f"F{k}", "ML ext", written(log, decimal, thousands), percent, "", clock, note])
    path = folder / "listing.csv"
    path.write_bytes(out.getvalue().encode({"windows-1252": "cp1252"}.get(encoding, encoding)))
    text = mapping_text(f'decimal = "{decimal}"\nthousands = "{thousands}"\ndelimiter = "{delimiter}"\n'
                        f'encoding = "{encoding}"')
    (folder / "m.toml").write_text(text, encoding="utf-8")
    found = whole(read_blocks(path, load_mapping(folder / "m.toml"), block))
    assert not found.faults and found.row.tolist() == list(range(2, len(rows) + 2))
    c = found.columns
    assert c["log_distance"].tolist() == [float(r[0]) for r in rows]  # thousandths of a metre
    np.testing.assert_array_equal(c["depth_share"], [np.nan if r[1] is None else r[1] / 1000 for r in rows])
    np.testing.assert_array_equal(c["clock"], [np.nan if r[2] is None else r[2] // 60 + r[2] % 60 / 60 for r in rows])
    assert c["comment"].tolist() == [" ".join(r[3].split()) for r in rows]


CELLS = st.sampled_from(["", "1.5", "x", "12 mm", "4:30", "ML ext", "GW", "-3", "Log", '"a\nb"', '"a,b"', "  7  "])


@settings(max_examples=80, deadline=None)
@given(st.lists(st.lists(CELLS, min_size=0, max_size=9), min_size=1, max_size=40), st.integers(1, 12))
def test_blocks_of_any_size_say_the_same_and_every_row_is_read_or_told(tmp_path_factory, rows, size):
    folder = tmp_path_factory.mktemp("blocks")
    how = mapping(folder)
    path = csv_file(folder, row(), *rows, row())
    one, many = read(path, how), whole(read_blocks(path, how, size))
    assert one.row.tolist() == many.row.tolist() and one.faults == many.faults
    for name, values in one.columns.items():
        np.testing.assert_array_equal(values, many.columns[name])
    numbers = [n for n, r in enumerate([row(), *rows, row()], 2) if any(c for c in r)]
    assert sorted({*one.row.tolist(), *(f.row for f in one.faults)}) == numbers
    assert not set(one.row.tolist()) & {f.row for f in one.faults}
