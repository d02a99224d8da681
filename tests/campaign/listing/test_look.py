"""A first look proposes a mapping, names every doubt, and settles nothing that the file does not show."""

import datetime
import tomllib

import openpyxl
import pandas as pd
import pytest

from tests.campaign.listing.making import csv_file, refused
from wrapcalc.campaign.listing.columns import COLUMNS
from wrapcalc.campaign.listing.look import CHOOSE, look
from wrapcalc.campaign.listing.look_words import HEADINGS, KIND_WORDS, plain_words
from wrapcalc.campaign.listing.mapping import load_mapping
from wrapcalc.campaign.listing.read import read_blocks

HEAD = ["Feature ID", "Feature type", "Log distance [m]", "Depth [%WT]", "Length [mm]", "O'clock", "WT [mm]", "Remarks",
        "Surface"]
ROWS = [["F1", "Metal loss ext", "12.5", "45", "30.5", "4:30", "8.74", "near seam", "EXT"],
        ["F2", "Metal loss", "13.25", "12", "7", "11:05", "8.74", "", "INT"],
        ["F3", "GW", "14.1", "", "", "", "8.74", "", ""], ["F4", "Strange thing", "15.0", "", "", "", "", "", ""],
        ["F5", "Valve", "16.75", "", "", "", "", "", ""], ["F6", "Valve", "17.75", "", "", "", "", "", ""]]


def proposed(found):
    return tomllib.loads(found.toml)


def test_what_the_file_shows_is_proposed(tmp_path):
    found = proposed(look(csv_file(tmp_path, *ROWS, head=HEAD)))
    c = found["columns"]
    assert {n: t["column"] for n, t in c.items()} == {
        "feature_id": "Feature ID", "kind": "Feature type", "log_distance": "Log distance [m]", "depth": "Depth [%WT]",
        "length": "Length [mm]", "clock": "O'clock", "nominal_wall": "WT [mm]", "comment": "Remarks"}
    assert (c["log_distance"]["unit"], c["length"]["unit"], c["clock"]["unit"], c["nominal_wall"]["unit"]) == (
        "m", "mm", "h:mm", "mm")
    assert c["kind"]["words"]["GW"] == "girth weld" and c["kind"]["words"]["Metal loss ext"] == "external metal loss"
    s = found["listing"]
    assert (s["decimal"], s["delimiter"], s["encoding"], s["header_row"]) == ("point", "comma", "utf-8", 1)


@pytest.mark.parametrize("doubt", [
    "'Depth [%WT]': per cent of which wall, nominal or measured?", "'WT [mm]': nominal or measured wall?",
    "words that we do not know: 'Strange thing'", "'Metal loss': the side of the wall is not said",
    "'Surface' seems to say on which side loss is", "name and day of the run", "does the log count with the flow?",
    "upstream end, the middle or the downstream end"])
def test_each_doubt_is_a_comment_in_the_proposal(tmp_path, doubt):
    found = look(csv_file(tmp_path, *ROWS, head=HEAD))
    assert any(doubt in d for d in found.doubts)
    assert all(f"# DOUBT: {d}" in found.toml.splitlines() for d in found.doubts)
    assert f"# {len(found.doubts)} doubts to be settled" in found.lines()[-1]


def test_what_must_be_chosen_is_refused_until_somebody_chooses(tmp_path):
    listing = csv_file(tmp_path, *ROWS, head=HEAD)
    text = look(listing).toml
    path = tmp_path / "mapping.toml"
    path.write_text(text, encoding="utf-8")
    said = refused(load_mapping, path)
    assert "columns.depth.unit: found 'choose: % of nominal wall / % of measured wall'" in said
    assert "columns.kind.words: found 'Strange thing' = 'choose:'" in said
    text = text.replace("choose: % of nominal wall / % of measured wall", "% of nominal wall")
    path.write_text(text.replace('"Strange thing" = "choose:"', '"Strange thing" = "other"'), encoding="utf-8")
    block = next(read_blocks(listing, load_mapping(path)))
    assert len(block.row) == 6 and not block.faults
    assert block.columns["depth_share"][:2].tolist() == [0.45, 0.12]


def test_five_rows_are_shown_as_they_are_read(tmp_path):
    rows = look(csv_file(tmp_path, *ROWS, head=HEAD)).rows
    assert len(rows) == 5
    assert rows[0] == ("row 2: feature_id F1; kind external metal loss; log_distance 12500 mm; depth '45' in a unit to "
                       "be chosen; length 30.5 mm; clock 4.5 h; nominal_wall 8.74 mm; comment near seam")
    assert "kind 'Strange thing' cannot be read" in rows[3]


@pytest.mark.parametrize(("number", "decimal", "thousands"), [
    ("12.5", "point", None), ("12,5", "comma", None), ("1.234,5", "comma", "point"), ("1,234.5", "point", "comma"),
    ("1,234", "choose: point / comma", None), ("1.234", "choose: point / comma", None)])
def test_marks_are_proposed_only_where_the_numbers_show_them(tmp_path, number, decimal, thousands):
    rows = [["F1", "GW", number, "45"], ["F2", "GW", number, "45"]]
    head = ["Id", "Type", "Distance (m)", "Depth (mm)"]
    s = proposed(look(csv_file(tmp_path, *rows, head=head, delimiter=";")))["listing"]
    assert (s["decimal"], s.get("thousands"), s["delimiter"]) == (decimal, thousands, "semicolon")


def test_both_marks_in_one_column_are_a_doubt(tmp_path):
    rows = [["F1", "GW", "12.5"], ["F2", "GW", "1,234"]]
    found = look(csv_file(tmp_path, *rows, head=["Id", "Type", "Distance (m)"], delimiter=";"))
    assert proposed(found)["listing"]["thousands"] == "choose: none / comma"
    rows = [["F1", "GW", "12.5"], ["F2", "GW", "12,5"]]
    found = look(csv_file(tmp_path, *rows, head=["Id", "Type", "Distance (m)"], delimiter=";"))
    assert proposed(found)["listing"]["decimal"] == "choose: point / comma"


def test_a_unit_that_nothing_shows_must_be_chosen(tmp_path):
    rows = [["F1", "GW", "12.5", "4.5", "2"]]
    c = proposed(look(csv_file(tmp_path, *rows, head=["Id", "Type", "Distance", "Orientation", "Depth"])))["columns"]
    assert all(c[n]["unit"].startswith(CHOOSE) for n in ("log_distance", "clock", "depth"))


def test_a_row_of_units_and_a_title_are_seen(tmp_path):
    path = tmp_path / "l.csv"
    path.write_text("Report of the run,,,\nId,Type,Log distance,Length\n,,m,[in]\nF1,GW,12.5,3\n", encoding="utf-8")
    found = look(path)
    s, c = proposed(found)["listing"], proposed(found)["columns"]
    assert (s["header_row"], s["units_row"], c["log_distance"]["unit"], c["length"]["unit"]) == (2, 3, "m", "in")
    assert any("the headings seem to stand in row 2" in d for d in found.doubts)
    assert found.rows[0].startswith("row 4: feature_id F1")


def test_two_headings_for_one_column_must_be_chosen(tmp_path):
    found = proposed(look(csv_file(tmp_path, ["F1", "GW", "1.5", "45", "3.2"],
                                   head=["Id", "Type", "Distance (m)", "Depth [%]", "Depth [mm]"])))
    assert found["columns"]["depth"]["column"] == "choose: Depth [%] / Depth [mm]"


def test_a_file_in_another_encoding_is_read_and_told(tmp_path):
    path = tmp_path / "l.csv"
    path.write_bytes("Id;Type;Distance (m)\nF1;Bøgen °;12,5\nF2;GW;13,5\n".encode("cp1252"))
    found = look(path)
    assert proposed(found)["listing"]["encoding"] == "windows-1252"
    assert any("windows-1252 is a guess" in d for d in found.doubts)
    path.write_bytes("Id;Type;Distance (m)\nF1;Bøgen °;12,5\n".encode("utf-16"))
    assert proposed(look(path))["listing"]["encoding"] == "utf-16"


def test_workbooks_and_parquet_are_looked_at_too(tmp_path):
    book = openpyxl.Workbook()
    for r in (HEAD, ["F1", "GW", 12.5, 45, 30, datetime.time(4, 30), 8.74, None, None]):
        book.active.append(r)
    book.create_sheet("Dents")
    book.save(tmp_path / "l.xlsx")
    found = look(tmp_path / "l.xlsx")
    assert proposed(found)["listing"]["sheet"] == "Sheet" and proposed(found)["columns"]["clock"]["unit"] == "h:mm"
    assert any("there are 1 more: Dents" in d for d in found.doubts)
    pd.DataFrame(ROWS, columns=HEAD).to_parquet(tmp_path / "l.parquet")
    found = proposed(look(tmp_path / "l.parquet"))
    assert found["columns"]["length"]["unit"] == "mm" and "header_row" not in found["listing"]


def test_hidden_sheets_and_charts_are_not_looked_at_and_per_cent_is_shown_as_the_sheet_shows_it(tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["old"])
    book.active.sheet_state = "hidden"
    book.create_chartsheet("Chart", 0)
    sheet = book.create_sheet("Features")
    for r in (HEAD, ["F1", "GW", 12.5, None, 30, "4:30", 8.74, None, None],
              ["F2", "ML", 13.5, 0.29, 30, "4:30", 8.74, None, None]):
        sheet.append(r)
    sheet["D3"].number_format = "0%"
    book.save(tmp_path / "l.xlsx")
    found = look(tmp_path / "l.xlsx")
    assert proposed(found)["listing"]["sheet"] == "Features"
    assert "1 hidden sheet was not looked at" in found.doubts and not any("first sheet" in d for d in found.doubts)
    assert any("depth '29%'" in r for r in found.rows)


def test_per_cent_of_which_no_cell_is_above_1_is_proposed_as_shares(tmp_path):
    rows = [[*r[:3], d, *r[4:]] for r, d in zip(ROWS, ("0.45", "0.12", "", "", "", ""), strict=True)]
    unit = proposed(look(csv_file(tmp_path, *rows, head=HEAD)))["columns"]["depth"]["unit"]
    assert unit == CHOOSE + "share of nominal wall / share of measured wall"


@pytest.mark.parametrize("head", ["Length_mm", "Length mm.", "Length/mm", "Length (mm)", "Length [mm.]"])
def test_units_of_headings_are_seen_however_they_stand(tmp_path, head):
    names = [head if h == "Length [mm]" else h for h in HEAD]
    assert proposed(look(csv_file(tmp_path, *ROWS, head=names)))["columns"]["length"]["unit"] == "mm"


@pytest.mark.parametrize(("raw", "says"), [
    (b"", "it is empty"), (b"Id,Type,Distance\n", "no row below the headings"), (b",,\n7,7,7\n", "no row below"),
    (b"PK\x03\x04", "a workbook that cannot be read"), (b"PAR1", "cannot be read"), (b"a,b\0\n1,2\n", "a NUL byte")])
def test_what_cannot_be_looked_at_is_told(tmp_path, raw, says):
    (tmp_path / "l").write_bytes(raw)
    assert says in refused(look, tmp_path / "l")


@pytest.mark.parametrize("head", [["a", "b"], ["Id", 'Ty"pe\\', "Distance\tx", "# [columns]", "\x7f"]])
def test_strange_headings_make_a_file_that_is_toml_all_the_same(tmp_path, head):
    path = tmp_path / "l.csv"
    cells = ",".join('"' + h.replace('"', '""') + '"' for h in head)
    path.write_text(f"{cells}\n{','.join(['7'] * len(head))}\n", encoding="utf-8")
    found = proposed(look(path))
    assert found["columns"]["log_distance"]["column"].startswith(CHOOSE)


def test_our_words_are_as_they_are_compared_and_name_one_column_each():
    assert all(plain_words(w) == w for words in (*HEADINGS.values(), KIND_WORDS) for w in words)
    every = [w for words in HEADINGS.values() for w in words]
    assert len(every) == len(set(every)) and set(HEADINGS) == set(COLUMNS)
