"""XLSX: cells of a spreadsheet, and whatever it made of them told."""

import datetime
import re
import zipfile

import numpy as np
import openpyxl
import pytest

from tests.campaign.listing.making import HEADINGS, ROW, mapping, read, refused, whole
from wrapcalc.campaign.listing.read import read_blocks
from wrapcalc.campaign.screening.noted import Noted

TYPED = ["F1", "ML ext", 12.5, 45, 30.25, datetime.time(4, 30), "near seam"]


def typed(**cells):
    return [cells.get(h, c) for h, c in zip(HEADINGS, TYPED, strict=True)]


def workbook(folder, *rows, change=None, name="listing.xlsx", title="Features"):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = title
    for r in [HEADINGS, *rows]:
        sheet.append(r)
    if change:
        change(sheet)
    book.save(folder / name)
    return folder / name


def test_numbers_texts_and_times_of_day_are_read(tmp_path):
    rows = [typed(), ROW, typed(Clock=datetime.time(0, 15)), typed(Clock=datetime.time(12, 59, 30), Id=7, Note=120.0),
            typed(Length=0, Depth=None)]
    block = read(workbook(tmp_path, *rows), mapping(tmp_path))
    assert not block.faults and block.row.tolist() == [2, 3, 4, 5, 6]
    c = block.columns
    np.testing.assert_array_equal(c["clock"], [4.5, 4.5, 0.25, 59.5 / 60, 4.5])
    np.testing.assert_array_equal(c["length"], [30.25, 30, 30.25, 30.25, 0])
    np.testing.assert_array_equal(c["depth_share"], [0.45, 0.45, 0.45, 0.45, np.nan])
    assert c["feature_id"].tolist()[3] == "7" and c["comment"].tolist()[3] == "120"


@pytest.mark.parametrize(("cells", "column", "found", "mend"), [
    ({"Clock": datetime.time(16, 30)}, "Clock", "'16:30'", "write 4:30"),
    ({"Clock": 0.1875}, "Clock", "the bare number 0.1875", "format the column as h:mm"),
    ({"Clock": datetime.datetime(2026, 5, 4)}, "Clock", "the date 2026-05-04 00:00", "took the value for a date"),
    ({"Clock": datetime.timedelta(hours=30)}, "Clock", "the duration 1 day, 6:00:00", "write a position such as 4:30"),
    ({"Length": datetime.datetime(2026, 5, 4)}, "Length", "the date 2026-05-04 00:00", "took the value for a date"),
    ({"Length": datetime.time(4, 30)}, "Length", "the time of day 04:30", "format the column as a number"),
    ({"Length": True}, "Length", "the logical value TRUE", "write the value"),
    ({"Length": "#N/A"}, "Length", "the error #N/A", "leave the cell empty"),
    ({"Note": "#REF!"}, "Note", "the error #REF!", "leave the cell empty"),
    ({"Note": datetime.datetime(2026, 5, 4)}, "Note", "the date 2026-05-04 00:00", "format the column as text"),
    ({"Length": "12 in"}, "Length", "'12 in'", "a column has one unit, here mm"),
    ({"Length": -1.5}, "Length", "'-1.5'", "check the sign"),
    ({"Log": None}, "Log", "nothing", "nobody can find again")])
def test_each_fault_of_a_cell_is_told(tmp_path, cells, column, found, mend):
    block = read(workbook(tmp_path, typed(), typed(**cells)), mapping(tmp_path))
    assert [(f.row, f.column, f.found) for f in block.faults] == [(3, column, found)] and mend in block.faults[0].mend
    assert block.row.tolist() == [2]


def test_rows_keep_the_numbers_of_the_sheet_over_empty_ones(tmp_path):
    def change(sheet):
        for row in (5, 9):
            for k, value in enumerate(typed(), 1):
                sheet.cell(row, k, value)
    block = read(workbook(tmp_path, typed(), change=change), mapping(tmp_path))
    assert block.row.tolist() == [2, 5, 9] and not block.faults


def test_blocks_of_any_size_say_the_same(tmp_path):
    path = workbook(tmp_path, *[typed(Id=f"F{k}", Length=k if k % 5 else "x") for k in range(40)])
    one, many = read(path, mapping(tmp_path)), whole(read_blocks(path, mapping(tmp_path), 7))
    assert one.faults == many.faults and one.row.tolist() == many.row.tolist()
    assert one.columns["feature_id"].tolist() == many.columns["feature_id"].tolist()


def keep_values(path, values):
    """Write kept values into the formulas of a workbook, as a spreadsheet does when it saves it; None for none."""
    other = path.with_name("kept.xlsx")
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(other, "w") as new:
        for item in old.infolist():
            raw = old.read(item)
            if item.filename.endswith("sheet1.xml"):
                parts = re.split(rb"</f>(?:<v\s*/>|<v></v>)", raw)
                kept = [b"</f>" if v is None else f"</f><v>{v}</v>".encode() for v in values]
                assert len(parts) == len(kept) + 1
                raw = b"".join(a + b for a, b in zip(parts, [*kept, b""], strict=True))
            new.writestr(item, raw)
    return other


def test_a_formula_is_read_by_its_kept_value_and_refused_without_one(tmp_path):
    path = workbook(tmp_path, typed(Length="=10*3"), typed(Length="=10*4"), typed())
    block = read(keep_values(path, [30, None]), mapping(tmp_path))
    assert block.row.tolist() == [2, 4] and block.columns["length"].tolist() == [30, 30.25]
    assert [(f.row, f.column, f.found) for f in block.faults] == [
        (3, "Length", "a formula whose value was not kept")]


def test_a_row_of_formulas_without_values_is_told_not_skipped(tmp_path):
    path = workbook(tmp_path, ["=A9"] * 7, typed())
    block = read(keep_values(path, [None] * 7), mapping(tmp_path))
    assert {f.row for f in block.faults} == {2} and block.row.tolist() == [3]


def test_merged_cells_are_refused_but_for_a_title(tmp_path):
    path = workbook(tmp_path, typed(), typed(), change=lambda s: s.merge_cells("A2:A3"))
    said = refused(read_blocks, path, mapping(tmp_path))
    assert "cells A2:A3: found merged cells" in said and "take the merging back" in said

    def titled(sheet):
        sheet.insert_rows(1)
        sheet["A1"] = "Run of 2026"
        sheet.merge_cells("A1:D1")
    block = read(workbook(tmp_path, typed(), change=titled), mapping(tmp_path, 'decimal = "point"\nheader_row = 2'))
    assert block.row.tolist() == [3]


def test_the_sheet_is_the_one_that_is_named(tmp_path):
    path = workbook(tmp_path, typed())
    assert read(path, mapping(tmp_path, 'decimal = "point"\nsheet = "Features"')).row.tolist() == [2]
    said = refused(read_blocks, path, mapping(tmp_path, 'decimal = "point"\nsheet = "Dents"'))
    assert "mapping.toml, line 4: listing.sheet: found 'Dents'; allowed: a sheet of listing.xlsx: 'Features'" in said


def test_units_below_the_headings_are_held_against_the_mapping(tmp_path):
    path = workbook(tmp_path, [None, None, "ft", "%", "mm", None, None], typed())
    assert "says 'ft'" in refused(read_blocks, path, mapping(tmp_path, 'decimal = "point"\nunits_row = 2'))


@pytest.mark.parametrize(("make", "says"), [
    (lambda p: p.write_bytes(b"PK\x03\x04 nothing"), "no XLSX workbook"),
    (lambda p: p.write_bytes(b""), "it is empty"),
    (lambda p: zipfile.ZipFile(p, "w").writestr("a.txt", "a"), "a workbook that cannot be read"),
    (lambda p: zipfile.ZipFile(p, "w").writestr("xl/vbaProject.bin", "a"), "a workbook with macros"),
    (lambda p: openpyxl.Workbook().save(p), "the sheet is empty"),
    (lambda p: workbook(p.parent, name=p.name), "no row below the headings")])
def test_each_fault_of_the_file_is_told(tmp_path, make, says):
    make(tmp_path / "x.xlsx")
    assert says in refused(read_blocks, tmp_path / "x.xlsx", mapping(tmp_path))


# -- what the sheet shows -----------------------------------------------------------------------------------------
def formatted(*formats):
    """Puts number formats into cells: (row, heading, value, format)."""
    def change(sheet):
        for r, head, value, text in formats:
            cell = sheet.cell(r, HEADINGS.index(head) + 1)
            cell.value, cell.number_format = value, text
    return change


def test_cells_shown_as_per_cent_are_read_as_shown(tmp_path):
    change = formatted((2, "Depth", 0.85, "0%"), (3, "Depth", 0.29, "0.00%"), (4, "Depth", 60, "0"))
    block = read(workbook(tmp_path, typed(), typed(), typed(), change=change), mapping(tmp_path))
    assert not block.faults and block.columns["depth_share"].tolist() == [0.85, 0.29, 0.6]


def test_cells_shown_in_another_unit_are_told(tmp_path):
    change = formatted((2, "Length", 4.5, '0.0" in"'), (3, "Depth", 4.1, '0.0 "mm"'), (4, "Length", 0.4, "0%"),
                       (5, "Length", 45, '0" mm"'), (6, "Log", 12500, '0.0,'))
    block = read(workbook(tmp_path, *[typed()] * 5, change=change), mapping(tmp_path))
    assert [(f.row, f.column, f.found) for f in block.faults] == [
        (2, "Length", "4.5, which the sheet shows with 'in'"), (3, "Depth", "4.1, which the sheet shows with 'mm'"),
        (4, "Length", "0.4, which the sheet shows as per cent (40 %)"),
        (6, "Log", "12500, which the sheet shows over 1000")]
    assert block.row.tolist() == [5] and block.columns["length"].tolist() == [45.0]


def test_formats_of_texts_and_of_columns_that_nobody_reads_do_no_harm(tmp_path):
    change = formatted((2, "Id", 12, '"F"000'), (2, "Note", 0.5, "0%"))
    block = read(workbook(tmp_path, typed(), change=change), mapping(tmp_path, comment=None))
    assert not block.faults and block.columns["feature_id"].tolist() == ["12"]


# -- sheets and rows that are hidden ------------------------------------------------------------------------------
def sheets(folder, *states, chart=False):
    """A workbook of sheets with one row each; the depth says which sheet it is."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    if chart:
        book.create_chartsheet("Chart", 0)
    for k, state in enumerate(states, 1):
        sheet = book.create_sheet(f"Sheet {k}")
        sheet.sheet_state = state
        sheet.append(HEADINGS)
        sheet.append(typed(Depth=10 * k))
    book.save(folder / "listing.xlsx")
    return folder / "listing.xlsx"


def test_a_hidden_first_sheet_is_not_read(tmp_path):
    block = read(sheets(tmp_path, "hidden", "visible", "veryHidden"), mapping(tmp_path))
    assert block.columns["depth_share"].tolist() == [0.2]


def test_of_several_sheets_the_mapping_must_name_one(tmp_path):
    path = sheets(tmp_path, "visible", "hidden", "visible")
    said = refused(read_blocks, path, mapping(tmp_path))
    assert "listing.sheet: found nothing, but 2 sheets that are not hidden" in said
    assert "'Sheet 1', 'Sheet 3'" in said and "'Sheet 2'" not in said and 'write sheet = "..."' in said
    how = mapping(tmp_path, 'decimal = "point"\nsheet = "Sheet 3"')
    assert read(path, how).columns["depth_share"].tolist() == [0.3]


def test_a_workbook_that_shows_no_sheet_is_refused(tmp_path):
    path = sheets(tmp_path, "visible", "hidden")
    parts = {n: zipfile.ZipFile(path).read(n) for n in zipfile.ZipFile(path).namelist()}
    with zipfile.ZipFile(path, "w") as out:
        for name, raw in parts.items():
            out.writestr(name, raw.replace(b'state="visible"', b'state="hidden"') if "workbook.xml" in name else raw)
    said = refused(read_blocks, path, mapping(tmp_path))
    assert "listing.sheet: found nothing, but hidden sheets only" in said and "'Sheet 1', 'Sheet 2'" in said


def test_a_hidden_sheet_that_is_named_is_read_and_told(tmp_path):
    path = sheets(tmp_path, "visible", "hidden")
    noted = Noted()
    how = mapping(tmp_path, 'decimal = "point"\nsheet = "Sheet 2"')
    assert whole(read_blocks(path, how, 100, noted)).columns["depth_share"].tolist() == [0.2]
    assert noted.texts == ("1 row (row 2): the sheet that the mapping names is hidden in the workbook.",)


def test_a_chart_in_front_does_no_harm(tmp_path):
    assert read(sheets(tmp_path, "visible", chart=True), mapping(tmp_path)).columns["depth_share"].tolist() == [0.1]


@pytest.mark.parametrize("size", [1, 100])
def test_rows_that_the_workbook_hides_are_read_and_told(tmp_path, size):
    def change(sheet):
        for r in (1, 3, 4, 9):
            sheet.row_dimensions[r].hidden = True
        sheet.auto_filter.ref = "A1:G5"
    noted = Noted()
    path = workbook(tmp_path, *[typed()] * 4, change=change)
    block = whole(read_blocks(path, mapping(tmp_path), size, noted))
    assert block.row.tolist() == [2, 3, 4, 5]
    assert noted.texts == ("2 rows (rows 3, 4): the workbook hides the row, by itself or by a filter; it is read all "
                           "the same.",)
