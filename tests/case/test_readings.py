"""Files of readings: what is taken, and the one message for each thing that cannot be."""

import datetime
import io

import openpyxl
import pytest

from wrapcalc.case.readings import COLUMNS, HELP_COLUMNS, WHATS, read_readings
from wrapcalc.errors import CaseFaults

HEAD = ",".join(COLUMNS)
TIME = "2026-10-06T09:30+01:00"


def faults(tmp_path, *rows: str, head: str = HEAD, name: str = "readings.csv") -> list[str]:
    path = tmp_path / name
    path.write_text("\n".join([head, *rows]) + "\n", "utf-8")
    with pytest.raises(CaseFaults) as e:
        read_readings(path)
    return [str(f) for f in e.value.faults]


def read(tmp_path, *rows: str, head: str = HEAD):
    path = tmp_path / "readings.csv"
    path.write_text("\n".join([head, *rows]) + "\n", "utf-8")
    return read_readings(path)


def test_readings_are_taken_with_unit_place_time_and_who(tmp_path):
    got = read(tmp_path, f"1,Steel  Temperature,6:00,61.7 °F,{TIME},I. Inspector,T 3,shade").rows
    (r,) = got
    assert (r.what, r.where, r.by, r.instrument, r.remark, r.line) == (
        "steel temperature", "6:00", "I. Inspector", "T 3", "shade", 2)
    assert r.base == pytest.approx((61.7 - 32) / 1.8)  # independent: definition of the scales
    assert r.time == datetime.datetime.fromisoformat(TIME)


def test_blanks_of_the_template_say_nothing_and_its_help_is_not_read(tmp_path):
    got = read(tmp_path, "1,blast grade,,yes,,,,,no such limit,how", "2,blast grade,,,,,,,x,y", ",,,,,,,,,",
               head=",".join((*COLUMNS, *HELP_COLUMNS)))
    assert [r.what for r in got.rows] == ["blast grade"] and got.rows[0].yes


@pytest.mark.parametrize(("head", "words"), [
    (HEAD + ",colour", "found 'colour'; allowed: row, what"),
    (HEAD.replace("instrument", "instruments"), "did you mean 'instrument'?"),
    (HEAD.replace(",remark", ""), "no column 'remark'"),
    (HEAD + ",what", "'what' 2 times"),
    (HEAD + ",,x", "a column without a name"),
])
def test_a_heading_that_is_not_that_of_the_template_is_told(tmp_path, head, words):
    assert any(words in f for f in faults(tmp_path, "1,blast grade,,yes,,,,", head=head))


@pytest.mark.parametrize(("row", "words"), [
    ("1,stel temperature,x,15 °C,,,,", "did you mean 'steel temperature'?"),
    ("1,,x,15 °C,,,,", "what: found nothing"),
    (f"1,steel temperature,x,15.8,{TIME},,,", "'15.8', which has no unit"),
    (f"1,steel temperature,x,2 MPa,{TIME},,,", "MPa measures a gauge pressure"),
    (f"1,line pressure,,2.1 MPaa,{TIME},,,", "absolute pressure"),
    (f"1,line pressure,,\"2,1 MPa\",{TIME},,,", "use a decimal point"),
    (f"1,relative humidity,x,120 %,{TIME},,,", "allowed: 2 % to 100 %"),
    (f"1,relative humidity,x,0.6 %,{TIME},,,", "allowed: 2 % to 100 %"),
    (f"1,air temperature,x,88 °C,{TIME},,,", "−60 °C to 60 °C"),
    ("1,hardness,x,131,,,,", "allowed: 0 to 100"),
    ("1,dust rating,x,1.5,,,,", "write a whole number"),
    ("1,dust rating,x,two,,,,", "a whole number"),
    ("1,blast grade,,maybe,,,,", "allowed: yes or no"),
    ("1,blast finished,,no,,,,", "allowed: yes, with its time"),
    ("1,blast finished,,yes,,,,", "time: found nothing"),
    ("1,blast finished,,yes,2026-10-06T09:30,,,", "which has no offset from UTC"),
    ("1,blast finished,,yes,2026-10-06,,,", "date and time of day with the offset"),
    ("1,blast finished,,yes,6/10/2026 9:30,,,", "date and time of day with the offset"),
    ("1,wrap start clock,unit 1,10:45:00,,,,", "a clock position facing downstream"),
    ("1,wrap start clock,unit 1,13:10,,,,", "a clock position facing downstream"),
    ("1,expiry,adhesive: A-1,31.12.2027,,,,", "a date from 1990 to 2100"),
    ("1,layers counted,unit 1,11,,A. Name,,", "where: found 'unit 1'; allowed: \"unit 1, upstream edge\""),
    ("1,\"layers counted\",\"unit 1, upstream edge\",11,,,,", "by: found nothing"),
    ("1,resin in mix,adhesive,1.7 kg,,,,", "\"adhesive, mix 1\""),
    ("1,soluble salt,,12 mg/m2,,,,", "where: found nothing"),
    ("1,accepted deviation,HB-07-r1-N1,Hardness,,E. Engineer,,", "remark: found nothing"),
    ("1,accepted deviation,the first,Hardness,,E. Engineer,,why", "the number of a non-conformance"),
    ("1,steel temperature,cure log,,,I. Inspector,,", "nothing, although time or by is filled in"),
    ("1,blast grade,,yes,,,,,,extra", "10 cells"),
    ("1,photo,,a\u202eb.jpg,,,,", "control characters"),
])
def test_each_cell_that_cannot_be_taken_has_its_message(tmp_path, row, words):
    told = faults(tmp_path, row)
    assert any(words in f for f in told), told
    assert all("line 2" in f and "To mend:" in f for f in told)


def test_the_same_reading_twice_is_refused_with_both_lines(tmp_path):
    told = faults(tmp_path, *(f"{n},line pressure,,2 MPa,{TIME},A. Name,G 7," for n in (1, 2)))
    assert len(told) == 1 and "line 3" in told[0] and "line 2 already" in told[0]


def test_two_people_may_count_at_one_place_but_one_person_counts_once(tmp_path):
    rows = ['1,layers counted,"unit 1, upstream edge",11,,A. Name,,',
            '2,layers counted,"unit 1, upstream edge",11,,B. Name,,']
    assert len(read(tmp_path, *rows).rows) == 2
    assert "again" in faults(tmp_path, *rows, '3,layers counted,"unit 1, upstream edge",10,,a.name,,')[0]


BY = "I. Inspector,T 3,"


@pytest.mark.parametrize(("row", "words"), [
    (f"1,steel temperature,forecast,17 °C,{TIME},{BY}", "'forecast' is none"),
    (f"1,steel temperature,6:00,17 °C,{TIME},I. Inspector,weather service,", "'weather' is none"),
    (f"1,steel temperature,6:00,17 °C,{TIME},I. Inspector,,", "instrument: found nothing"),
    (f"1,steel temperature,6:00,17 °C,{TIME},,T 3,", "by: found nothing"),
    (f"1,line pressure,,2 MPa,{TIME},A. Name,-,", "instrument: found '-'"),
    (f"1,hardness,upstream end,79,{TIME},-,H 5,", "by: found '-'"),
    ("1,hardness,upstream end,79,,A. Name,H 5,", "time: found nothing"),
    (f"1,pressure released by,,-,{TIME},,,", "a name of at least two letters"),
    (f"1,accepted by,,?,{TIME},,,", "a name of at least two letters"),
    ("1,blast finished,,yes,2026-10-06T09:30+15:00,,,", "an offset from -14:00 to +14:00"),
    ("1,blast finished,,yes,2026-W41-2T09:30+01:00,,,", "date and time of day with the offset"),
    ("1,blast finished,,yes,20261006T09:30+01:00,,,", "date and time of day with the offset"),
    ('1,"prepared steel, upstream end",,-100 m,,,,', "check the number and its unit"),
])
def test_what_proves_nothing_or_cannot_be_is_refused(tmp_path, row, words):
    told = faults(tmp_path, row)
    assert any(words in f for f in told), told


def test_offsets_of_one_file_are_those_of_one_clock(tmp_path):
    told = faults(tmp_path, "1,blast finished,,yes,2026-10-06T09:30+01:00,,,",
                  "2,rust bloom,,no,2026-10-06T10:00+05:00,,,")
    assert len(told) == 1 and "another offset from UTC than line 2" in told[0]
    assert len(read(tmp_path, "1,blast finished,,yes,2026-10-06T09:30+01:00,,,",
                    "2,rust bloom,,no,2026-10-06T09:40Z,,,").rows) == 2


@pytest.mark.parametrize(("what", "where", "one", "two"), [
    ("wrap end off its mark", "unit 1", "60 mm", "3 mm"), ("resin in mix", '"adhesive, mix 1"', "1 kg", "2 kg"),
    ('"prepared steel, upstream end"', "a", "3 m", "4 m")])
def test_what_stands_once_has_no_second_answer_at_another_time(tmp_path, what, where, one, two):
    told = faults(tmp_path, f"1,{what},{where},{one},{TIME},,,", f"2,{what},{where},{two},,,,")
    assert len(told) == 1 and "remove the one that is wrong" in told[0]


def test_a_row_number_stands_once(tmp_path):
    assert "number '1' again" in faults(tmp_path, "1,blast grade,,yes,,,,", f"1,tap test,,yes,{TIME},,,")[0]


def test_all_faults_are_told_together_and_counted(tmp_path):
    told = faults(tmp_path, *(f"{n},nonsense,,1,,,," for n in range(30)))
    assert len(told) == 21 and "10 more faults like these" in told[-1]


def test_a_file_without_a_reading_or_of_another_kind_is_told(tmp_path):
    assert "no reading" in faults(tmp_path, "1,blast grade,,,,,,")[0]
    assert "semicolons" in faults(tmp_path, head=HEAD.replace(",", ";"))[0]
    (tmp_path / "latin.csv").write_bytes(HEAD.encode() + "\n1,photo,,größe.jpg,,,,\n".encode("latin-1"))
    with pytest.raises(CaseFaults, match="not UTF-8"):
        read_readings(tmp_path / "latin.csv")
    with pytest.raises(CaseFaults, match="no such file"):
        read_readings(tmp_path / "none.csv")


def test_every_kind_of_reading_can_be_read_in_its_example_form(tmp_path):
    """No word of the closed list is one that nothing can be written for."""
    from wrapcalc.case.readings import _EXAMPLES, CLOCK, DATE, DONE, EVENT, PLACES, YES_NO
    sample = {"": "", "unit": "unit 1", "edge": "unit 1, upstream edge", "joint": "unit 1 to unit 2",
              "material": "adhesive", "batch": "adhesive: A-1", "mix": "adhesive, mix 1", "ends": "ends",
              "number": "X-r1-N1", "spot": "spot 1"}
    assert set(sample) == set(PLACES)
    rows = []
    for n, w in enumerate(WHATS.values()):
        text = {YES_NO: "yes", EVENT: "yes", DONE: "none", CLOCK: "4:30", DATE: "2027-01-01"}.get(w.kind)
        text = text or _EXAMPLES.get(w.kind, "text")
        text = "3" if w.name in ("dust rating", "holidays found") else text
        rows.append(f'{n},"{w.name}","{sample[w.where]}",{text},{TIME},A. Name,T 3,reason')
    assert [r.what for r in read(tmp_path, *rows).rows] == list(WHATS)


# -- workbooks ---------------------------------------------------------------------------------------------------
ROWS = [["1", "blast grade", None, "yes", None, "A. Name", None, None],
        ["2", "dust rating", "spot 1", 2, None, "A. Name", None, None],
        ["3", "blast profile", "spot 1", "80 µm", TIME, "A. Name", "R 2", None]]


def book(tmp_path, rows, *, change=None, sheet: str = "readings"):
    b = openpyxl.Workbook()
    s = b.active
    s.title = sheet
    for row in [list(COLUMNS), *rows]:
        s.append(row)
    if change:
        change(b, s)
    path = tmp_path / "readings.xlsx"
    b.save(path)
    return path


def test_a_workbook_says_the_same_as_a_csv(tmp_path):
    got = read_readings(book(tmp_path, ROWS)).rows
    csv = read(tmp_path, *(",".join("" if c is None else str(c) for c in r) for r in ROWS)).rows
    assert [(r.line, r.what, r.where, r.text, r.by) for r in got] == [
        (r.line, r.what, r.where, r.text, r.by) for r in csv]


def test_the_sheet_of_readings_is_found_by_its_name(tmp_path):
    assert len(read_readings(book(tmp_path, ROWS, change=lambda b, s: b.create_sheet("notes"))).rows) == 3
    with pytest.raises(CaseFaults, match="one sheet named 'readings'"):
        read_readings(book(tmp_path, ROWS, change=lambda b, s: b.create_sheet("b"), sheet="a"))


@pytest.mark.parametrize(("value", "words"), [
    (datetime.datetime(2026, 10, 6, 9, 30), "without an offset from UTC"),
    (datetime.date(2027, 2, 28), "a date or time as text"),
    (datetime.time(4, 30), "the time of day 04:30:00"),
    (True, "the logical value TRUE"),
    ("=1+1", "a formula whose value was not kept"),
])
def test_what_a_spreadsheet_made_of_a_cell_is_told_with_its_cell(tmp_path, value, words):
    with pytest.raises(CaseFaults) as e:
        read_readings(book(tmp_path, [["1", "wrap start clock", "unit 1", value, None, None, None, None]]))
    assert words in str(e.value) and "cell D2" in str(e.value)


def test_merged_cells_and_what_is_no_workbook_are_refused(tmp_path):
    with pytest.raises(CaseFaults, match="merged cells"):
        read_readings(book(tmp_path, ROWS, change=lambda b, s: s.merge_cells("C2:C3")))
    (tmp_path / "x.xlsx").write_bytes(b"not a workbook")
    with pytest.raises(CaseFaults, match="no XLSX workbook"):
        read_readings(tmp_path / "x.xlsx")
    import zipfile
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as z:
        z.writestr("xl/bomb.xml", b"0" * 50_000_000)
    (tmp_path / "bomb.xlsx").write_bytes(buffer.getvalue())
    with pytest.raises(CaseFaults, match="when unpacked"):
        read_readings(tmp_path / "bomb.xlsx")
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as z:
        z.writestr("xl/vbaProject.bin", b"x")
    (tmp_path / "m.xlsx").write_bytes(buffer.getvalue())
    with pytest.raises(CaseFaults, match="macros"):
        read_readings(tmp_path / "m.xlsx")
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as z:
        z.writestr("x", b"x")
    (tmp_path / "n.xlsx").write_bytes(buffer.getvalue())
    with pytest.raises(CaseFaults, match="cannot be read"):
        read_readings(tmp_path / "n.xlsx")
