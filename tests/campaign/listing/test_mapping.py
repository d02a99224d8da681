"""The mapping file: what it may say, and one message for each thing that it may not."""

import pytest

from tests.campaign.listing.making import mapping, mapping_text, refused
from wrapcalc.campaign.listing.columns import COLUMNS, KINDS
from wrapcalc.campaign.listing.mapping import load_mapping


def said(folder, *args, **columns):
    path = folder / "mapping.toml"
    path.write_text(mapping_text(*args, **columns), encoding="utf-8")
    return refused(load_mapping, path)


def test_a_mapping_says_what_is_where(tmp_path):
    more = ('[[reference_point]]\nlog = "0 m"\nsurvey = "10 ft"\n'
            '[[reference_point]]\nlog = "1 km"\nsurvey = "1.01 km"\n'
            '[[segment]]\nfrom = "0 m"\nto = "2 km"\nset = { "pipe.nominal_wall" = "8.74 mm" }')
    m = mapping(tmp_path, 'decimal = "comma"\nthousands = "point"\nunits_row = 3\nheader_row = 2\n'
                          'run = "run of 2026"\nplace = "middle"\nblank = ["-", " n/a "]', more)
    assert (m.file, m.place, m.listing.decimal_mark, m.listing.thousands_mark) == ("mapping.toml", "middle", ",", ".")
    assert (m.listing.heading_row, m.listing.first_row, m.listing.blank) == (2, 4, ("-", "n/a"))
    assert m.columns["depth"].unit == "% of nominal wall" and m.columns["kind"].words == {
        "ml ext": "external metal loss"}
    assert "line" not in m.columns and m.line.base == "base.toml" and m.line.reversed == "no"
    assert m.reference_point[0].survey.base == pytest.approx(3048)  # derived: 10 ft of 304.8 mm
    assert (m.segment[0].from_.base, m.segment[0].to.base) == (0, 2e6)
    assert m.segment[0].set == {"pipe.nominal_wall": "8.74 mm"}


def test_what_is_not_stated_has_the_plain_reading(tmp_path):
    s = mapping(tmp_path).listing
    assert (s.heading_row, s.first_row, s.thousands_mark, s.blank) == (1, 2, "", ())
    assert mapping(tmp_path).place == "not stated"


@pytest.mark.parametrize(("listing", "says"), [
    ("", "found nothing; allowed: Decimal mark of the numbers"),
    ('decimal = "dot"', "point, comma"),
    ('decimal = "comma"\nthousands = "comma"', "which is the decimal mark, too"),
    ('decimal = "point"\nheader_row = 2\nunits_row = 2', "a row below the headings in row 2"),
    ('decimal = "point"\nheader_row = "2"', "a whole number from 1"),
    ('decimal = "point"\nheader_row = 0', "a whole number from 1"),
    ('decimal = "point"\ndelimiter = ","', "comma, semicolon, tab, bar"),
    ('decimal = "point"\nencoding = "latin-1"', "utf-8, utf-16, windows-1252"),
    ('decimal = "point"\nblank = ["0"]', "texts without digits"),
    ('decimal = "point"\nblank = "-"', "a list of at most"),
    ('decimal = "point"\nplace = "start"', "upstream end, middle, downstream end"),
    ('decimal = "point"\ndecimals = 2', "did you mean 'decimal'?"),
])
def test_each_fault_of_the_listing_table_is_told(tmp_path, listing, says):
    assert says in said(tmp_path, listing)


@pytest.mark.parametrize(("columns", "says"), [
    ({"kind": None}, "columns.kind: found nothing; allowed: the column that says what each row is"),
    ({"log_distance": None}, 'add log_distance = { column = "...", unit = "m" }'),
    ({"length": '{ column = "Length" }'}, "columns.length.unit: found nothing"),
    ({"length": '{ column = "Length", unit = "furlong" }'}, "mm, cm, m, km, in, ft, mil"),
    ({"depth": '{ column = "Depth", unit = "%" }'}, "% of nominal wall, % of measured wall"),
    ({"clock": '{ column = "Clock", unit = "hours" }'}, "h:mm, degrees, decimal hours"),
    ({"comment": '{ column = "Note", unit = "mm" }'}, "columns.comment.unit: found a key that we do not know"),
    ({"length": '{ column = "Length", unit = "mm", words = {} }'}, "columns.length.words"),
    ({"depht": '{ column = "Depth", unit = "mm" }'}, "did you mean 'depth'?"),
    ({"comment": '{ column = "Id" }'}, "'Id' again, which is feature_id already"),
    ({"comment": '{ column = " " }'}, "columns.comment.column: found nothing"),
    ({"kind": '{ column = "Type", words = { "GW" = "girthweld" } }'}, "did you mean 'girth weld'?"),
    ({"kind": '{ column = "Type", words = { "GW" = "girth weld", " gw" = "valve" } }'}, "one meaning for each word"),
    ({"kind": '{ column = "Type", words = "GW" }'}, "a table of at most"),
    ({"line": '{ column = "Line" }'}, "listing.line: found nothing, but a column of lines"),
])
def test_each_fault_of_the_columns_is_told(tmp_path, columns, says):
    assert says in said(tmp_path, **columns)


@pytest.mark.parametrize(("more", "says"), [
    ('[[segment]]\nto = "1 m"', "segment.0.from: found nothing"),
    ('[[segment]]\nfrom = "0 m"\nto = "1 m"\nset = { "pipe.nominal_wal" = "8 mm" }',
     "did you mean 'pipe.nominal_wall'?"),
    ('[[segment]]\nfrom = "0 m"\nto = "1 m"\nset = { "defect.depth" = "8 mm" }', "fields that the rows do not give"),
    ('[[segment]]\nfrom = "0 m"\nto = "1 m"\nset = 3', "a table of fields of the case"),
    ('[[segment]]\nfrom = 0\nto = "1 m"', "the bare number 0"),
    ('[[reference_point]]\nlog = "0 m"', "reference_point.0.survey: found nothing"),
    ('[reference_point]\nlog = "0 m"', "write [[reference_point]] with two brackets"),
])
def test_each_fault_along_the_line_is_told(tmp_path, more, says):
    assert says in said(tmp_path, more=more)


@pytest.mark.parametrize(("line", "says"), [
    ("", "found nothing; allowed: the table [line]"), ('[line]\nbase = ""', "line.base: found nothing"),
    ('[line]\nbase = "../base.toml"', "a file name without folders"),
    ('[line]\nbase = "b.toml"\nreversed = "maybe"', "no, yes")])
def test_each_fault_of_the_line_table_is_told(tmp_path, line, says):
    assert says in said(tmp_path, table=line)


def test_all_faults_come_at_once_with_their_lines(tmp_path):
    text = said(tmp_path, 'decimal = "dot"', '[[segment]]\nto = "1 m"', kind=None, length='{ column = "L" }')
    lines = text.splitlines()
    assert len(lines) == 4, text
    assert lines[0].startswith("mapping.toml: columns.kind") or "line" in lines[0]
    assert any(t.startswith("mapping.toml, line 3: listing.decimal") for t in lines)
    assert any("columns.length.unit" in t and ", line " in t for t in lines)


def test_each_of_many_faults_is_told_once_and_hides_no_other(tmp_path):
    wrong = {n: f'{{ column = "{n}", unit = "choose" }}' for n, c in COLUMNS.items() if c.units}
    lines = said(tmp_path, more='[[segment]]\nto = "1 m"', **wrong, joint='{ unit = "m" }').splitlines()
    places = [t.split(": ")[1] for t in lines]
    assert sorted(places) == sorted([*(f"columns.{n}.unit" for n in wrong), "columns.joint.column",
                                     "columns.joint.unit", "segment.0.from"]), lines


@pytest.mark.parametrize("raw", [b"", b"\xff\xfe", b"= 3", b"[listing]\n"])
def test_what_is_no_mapping_is_told_without_a_traceback(tmp_path, raw):
    (tmp_path / "m.toml").write_bytes(raw)
    assert "m.toml" in refused(load_mapping, tmp_path / "m.toml")


def test_every_kind_and_column_of_the_contract_is_there():
    assert len(KINDS) == 13 and len(COLUMNS) == 19
