"""Every fault of a case file gets one message: file, line, field, what was found, what is allowed, how to mend it."""

import os
import re
import tomllib
from pathlib import Path

import pytest
import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wrapcalc import record
from wrapcalc.case import load_bundle
from wrapcalc.case.model import Case
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.fields import Given, walk
from wrapcalc.stages.job import DECISIONS, run

NAME = "HB-07.toml"


def line_of(text: str, field: str) -> int | None:
    """Line of `key =` under its heading, found in a plain way of its own."""
    table, _, key = field.rpartition(".")
    here = ""
    for number, line in enumerate(text.splitlines(), 1):
        if line.startswith("["):
            here = line.strip("[] ")
        elif here == table and re.match(rf"{key}\s*=", line):
            return number
    return None


@pytest.fixture
def edit(example):
    """edit(dotted=TOML text or None to leave out) writes the example with these fields changed, gives its path."""
    def change(**fields: str | None) -> Path:
        path = example / NAME
        document = tomlkit.parse(path.read_text(encoding="utf-8"))
        for dotted, toml in fields.items():
            *tables, key = dotted.split("__")
            table = document
            for t in tables:
                table = table.setdefault(t, tomlkit.table())
            table.pop(key, None)
            if toml is not None:
                table[key] = tomlkit.parse(f"x = {toml}")["x"]
        path.write_text(tomlkit.dumps(document), encoding="utf-8")
        return path
    return change


def faults_of(path: Path) -> list[Fault]:
    with pytest.raises(CaseFaults) as caught:
        load_bundle(path)
    for fault in caught.value.faults:
        assert str(fault).isprintable() and len(str(fault)) < 1200
        assert fault.file and fault.field and fault.found and fault.allowed and fault.mend
        assert str(fault) in str(caught.value)
    return caught.value.faults


def only(path: Path) -> Fault:
    faults = faults_of(path)
    assert len(faults) == 1, "\n".join(map(str, faults))
    return faults[0]


def f(field: str, toml: str, found: str, allowed: str, mend: str, name: str):
    return pytest.param(field, toml, found, allowed, mend, id=name)


@pytest.mark.parametrize(("field", "toml", "found", "allowed", "mend"), [
    # -- quantities
    f("pipe.nominal_wall", '"8,74 mm"', "'8,74 mm'", "one of the units mm", "use a decimal point", "comma decimal"),
    f("pipe.nominal_wall", '"8.74"', "'8.74', which has no unit", "mm, cm", "add the unit, such as", "missing unit"),
    f("pipe.nominal_wall", "8.74", "the bare number 8.74", "mm, cm", "add the unit, such as", "bare number"),
    f("pipe.nominal_wall", '"8.74 furlongs"', "'8.74 furlongs'", "mm, cm", "is not a unit we know", "unknown unit"),
    f("pipe.nominal_wall", '"8.74 MPa"', "'8.74 MPa'", "a length", "MPa measures a gauge pressure", "wrong kind"),
    f("service.service_temperature", '"37 mil"', "'37 mil'", "a temperature", "mil measures a length", "mil"),
    f("service.maop", '"87 bara"', "'87 bara'", "gauge", "is refused: it is an absolute pressure", "absolute"),
    f("service.maop", '{ value = "1250 psia", source = "permit" }', "'1250 psia'", "gauge", "every pressure here is "
      "gauge", "absolute in a table"),
    f("pipe.nominal_wall", '"0 mm"', "'0 mm'", "at least 0.5 mm and at most 100 mm", "check the value and its sign",
      "zero wall"),
    f("pipe.sound_wall", '"-8.61 mm"', "'-8.61 mm'", "at least 0.5 mm", "check the value and its sign",
      "negative wall"),
    f("pipe.nominal_wall", "1979-05-27", "the date or time 1979-05-27", "a length", 'write it like "8.2 mm"', "date"),
    f("pipe.nominal_wall", "04:30:00", "the date or time 04:30:00", "a length", 'write it like "8.2 mm"', "time"),
    f("pipe.nominal_wall", "[1, 2]", "a list of 2", "a length", 'write it like "8.2 mm"', "array"),
    f("pipe.nominal_wall", "true", "'true'", "a length", 'write it like "8.2 mm"', "boolean"),
    f("pipe.nominal_wall", "inf", "the bare number inf", "a length", "add the unit", "inf"),
    f("pipe.nominal_wall", "nan", "the bare number nan", "a length", "add the unit", "nan"),
    f("service.pressure_cycles", "nan", "'nan'", "a whole number", "write a whole number", "nan count"),
    f("service.pressure_cycles", "inf", "'inf'", "a whole number", "write a whole number", "inf count"),
    f("service.pressure_cycles", "900.5", "'900.5'", "a whole number", "write a whole number", "half a cycle"),
    f("service.pressure_cycles", "1" + "0" * 400, "a whole number of 401 digits", "a whole number",
      "write a whole number", "huge whole number"),
    f("service.pressure_cycles", "0x" + "F" * 5000, "a whole number of 6021 digits", "a whole number",
      "write a whole number", "huge hexadecimal"),
    f("service.pressure_cycles", '"900"', "'900'", "a whole number", "without quotation marks", "count in quotes"),
    f("service.pressure_cycles", "-1", "'-1'", "at least 0", "check the value and its sign", "negative count"),
    f("pipe.outside_diameter", '"1e308 km"', "'1e308 km'", "1e-12 to 1e12 mm", "its exponent", "huge exponent"),
    f("pipe.outside_diameter", '"1e99999 mm"', "'1e99999 mm'", "1e-12 to 1e12 mm", "its exponent", "infinite"),
    f("pipe.outside_diameter", '"1e-300 mm"', "'1e-300 mm'", "1e-12 to 1e12 mm", "its exponent", "tiny exponent"),
    f("pipe.outside_diameter", '"406.4 m"', "'406.4 m'", "at most 3000 mm", "unit and decimal point", "metres"),
    f("pipe.nominal_wall", '"８.７４ mm"', "'８.７４ mm'", "a length", 'write it like "8.2 mm"', "unicode digits"),
    f("takeoff.adhesive_waste", '"150 %"', "'150 %'", "at least 0 % and at most 100 %", "check the value", "percent"),
    f("takeoff.adhesive_waste", "0.15", "the bare number 0.15", "a percentage", 'such as "15 %"', "bare percentage"),
    f("service.lower_design_factor", "1.2", "'1.2'", "at most 1", "check the value", "design factor"),
    # -- quantity tables
    f("pipe.nominal_wall", '{ value = "8.74 mm", sorce = "x" }', "the key 'sorce'", "value, source, source_kind",
      "did you mean 'source'?", "unknown key in a quantity"),
    f("pipe.nominal_wall", '{ value = "8.74 mm", zzz = "x" }', "the key 'zzz'", "value, source, source_kind",
      "remove it", "strange key in a quantity"),
    f("pipe.nominal_wall", '{ value = "8.74 mm", source = 3 }', "source = '3'", "a text in quotation marks",
      'write source = "mill certificate 4471"', "source that is no text"),
    f("pipe.nominal_wall", '{ value = "8.74 mm", source_kind = "mesured" }', "source_kind = 'mesured'",
      "measured, document, assumed, derived", "did you mean 'measured'?", "kind of source"),
    f("pipe.nominal_wall", '{ value = "8.74 mm", source_kind = 4 }', "source_kind = '4'", "measured, document",
      "choose one of them", "kind of source that is no text"),
    f("pipe.nominal_wall", '{ value = { value = "8.74 mm" } }', "a table", "a length", 'write it like "8.2 mm"',
    "nested table"),
    # -- several fields together
    f("defect.depth", '"8.7 mm"', "'8.7 mm'", "at most the wall, 8.61 mm", "check depth and wall", "depth over wall"),
    f("pipe.smys", '"470 MPa"', "'470 MPa'", "at most pipe.smts = 460 MPa", "exchanged", "SMYS above SMTS"),
    f("pipe.smys", '"36 MPa"', "'36 MPa'", "at least 150 MPa and at most 900 MPa",
    "check the value and its sign, unit", "SMYS"),
    f("service.discovery_pressure", '"15.5 MPa"', "'15.5 MPa'", "at most 15.48 MPa, which brings the sound pipe to "
      "SMYS", "check the pressure, the wall", "pressure above yield"),
    f("service.maop", '"16 MPa"', "'16 MPa'", "at most 15.48 MPa", "check the pressure", "MAOP above yield"),
    f("service.service_temperature", '"301 °C"', "'301 °C'", "at least −60 °C and at most 300 °C", "unit", "too hot"),
    f("service.lowest_temperature", '"-61 °C"', "'-61 °C'", "at least −60 °C and at most 300 °C", "unit", "too cold"),
    f("service.installation_temperature", '"-300 °C"', "'-300 °C'", "above absolute zero", "check", "impossible"),
    f("service.lowest_temperature", '"38 °C"', "'38 °C'", "at most service.service_temperature = 37 °C",
      "check which is which", "temperatures exchanged"),
    f("service.lowered_maop", '"8.6 MPa"', "'8.6 MPa'", "less than service.maop = 8.6 MPa", "check which", "lowered"),
    f("service.upset_pressure", '"8.5 MPa"', "'8.5 MPa'", "at least service.maop = 8.6 MPa", "check which", "upset"),
    f("pipe.outside_diameter", '"34 mm"', "'34 mm'", "more than four times the wall, 34.96 mm", "check diameter",
      "diameter against wall"),
    f("pipe.wall_allowance", '"8.61 mm"', "'8.61 mm'", "less than the wall, 8.61 mm", "check the allowance",
      "allowance eats the wall"),
    f("pipe.sound_wall", '"13.2 mm"', "'13.2 mm'", "half to one and a half times pipe.nominal_wall = 8.74 mm",
      "check both walls", "walls apart"),
    f("defect.width", '"1277 mm"', "'1277 mm'", "at most the circumference, 1276.7 mm", "check the width", "width"),
    f("defect.length", '"20.1 m"', "'20.1 m'", "at most 20 m", "check the length", "length"),
    # -- choices, clocks, texts, names
    f("service.service", '"gas lin"', "'gas lin'", "gas line, liquid line", "did you mean 'gas line'?", "choice"),
    f("service.service", '"Gas Line"', "'Gas Line'", "gas line, liquid line", "did you mean 'gas line'?", "capitals"),
    f("case.display", '"si"', "'si'", "SI, US", "did you mean 'SI'?", "small letters"),
    f("service.class_location", "2", "the bare number 2", "1, 2, 3, 4", 'put it in quotation marks: "2"', "class"),
    f("service.class_location", '"5"', "'5'", "1, 2, 3, 4", "choose one of them", "class 5"),
    f("service.internal_corrosion", "false", "'false'", "none, active, unknown", "choose one of them", "choice false"),
    f("service.inside_repair", "[]", "a list of 0", "nothing, girth weld, bend", "choose one of them",
      "choice of a list"),
    f("schema_version", "1", "the bare number 1", "1", 'put it in quotation marks: "1"', "schema as a number"),
    f("schema_version", '"2"', "'2'", "1", 'write "1"', "newer schema"),
    f("schema_version", '""', "''", "1", 'write "1"', "blank schema"),
    f("defect.clock", '"16:00"', "'16:00'", "from 0:00 to 12:59", 'write "4:30"', "clock 16:00"),
    f("defect.clock", '"4.5"', "'4.5'", "from 0:00 to 12:59", 'write "4:30"', "clock 4.5"),
    f("defect.clock", "4.5", "'4.5'", "from 0:00 to 12:59", 'write "4:30"', "clock as a number"),
    f("defect.clock", "04:30:00", "the date or time 04:30:00", "from 0:00 to 12:59", 'write "4:30"', "clock as a time"),
    f("defect.clock", '"4:60"', "'4:60'", "from 0:00 to 12:59", 'write "4:30"', "clock 4:60"),
    f("defect.clock", '"４:３０"', "'４:３０'", "from 0:00 to 12:59", 'write "4:30"', "clock of unicode digits"),
    f("pipe.grade", "360", "'360'", "a text in quotation marks", "write it in quotation marks", "text as a number"),
    f("pipe.grade", '{ value = 360 }', "'360'", "a text in quotation marks", "quotation marks", "number in a table"),
    f("service.class_location", '{ value = "2", sourc = "study" }', "the key 'sourc'", "value, source, source_kind",
      "did you mean 'source'", "choice with an unknown key"),
    f("pipe.grade", '"' + "x" * 2001 + '"', "2001 characters", "at most 2000 characters", "shorten it", "long text"),
    f("pipe.grade", r'"L360\u001b[31m"', r"'L360\x1b[31m'", "without control characters", "remove what cannot be seen",
      "control characters"),
    f("pipe.grade", r'"L360\u202e063L"', r"'L360\u202e063L'", "without control characters", "remove what cannot be "
      "seen", "text that turns round"),
    f("case.id", '"HB/07"', "'HB/07'", "1 to 60 letters", 'write something like "HB-07"', "id with a separator"),
    f("case.id", r'"HB\\07"', r"'HB\07'", "1 to 60 letters", 'write something like "HB-07"', "id with a backslash"),
    f("case.id", '".HB-07"', "'.HB-07'", "beginning with a letter or digit", "HB-07", "id with a leading dot"),
    f("case.id", '".."', "'..'", "beginning with a letter or digit", "HB-07", "id two dots"),
    f("case.id", '"HB-07."', "'HB-07.'", "1 to 60 letters", "HB-07", "id with a dot at its end"),
    f("case.id", '"nul"', "'nul'", "no name that Windows reserves", "HB-07", "id nul"),
    f("case.id", '"COM1.x"', "'COM1.x'", "no name that Windows reserves", "HB-07", "id COM1.x"),
    f("case.id", '"HB 07"', "'HB 07'", "1 to 60 letters", "HB-07", "id with a space"),
    f("case.id", '"HB-0７"', "'HB-0７'", "1 to 60 letters", "HB-07", "id with a unicode digit"),
    f("case.id", f'"{"x" * 61}"', "'xxx", "1 to 60 letters", "HB-07", "id of 61 letters"),
    f("case.id", '""', "''", "1 to 60 letters", "HB-07", "blank id"),
    f("case.id", "7", "'7'", "1 to 60 letters", "HB-07", "id as a number"),
    # -- unknown keys and tables
    f("pipe.nominal_wal", '"8.7 mm"', "a key that we do not know", "outside_diameter, nominal_wall",
      "did you mean 'nominal_wall'?", "unknown key in a table"),
    f("pipe.Smys_", '"8.7 mm"', "a key that we do not know", "smys", "did you mean 'smys'?", "unknown key, capitals"),
    f("servise", '"x"', "a key that we do not know", "case, pipe, service", "did you mean 'service'?",
      "unknown key at top level"),
    f("qqq", '{ a = 1 }', "a key that we do not know", "case, pipe, service", "remove it or correct its name",
      "unknown table"),
    f("assessment", "3", "'3'", "a table with method, method_reason", "write a heading [assessment]", "no table"),
    f("documents", "[1, 2]", "a list of 2", "a table with overlay", "write a heading [documents]", "list for a table"),
    # -- files named by the case
    f("defect.grid", '"no-such.csv"', "'no-such.csv': no such file", "a readable text file", "check the name",
      "no grid file"),
    f("defect.grid", '"sub/grid.csv"', "'sub/grid.csv'", "a file name without folders", "beside the case", "folder"),
    f("defect.grid", r'"..\\grid.csv"', r"'..\grid.csv'", "a file name without folders", "beside the case",
    "backslash"),
    f("defect.grid", '".grid.csv"', "'.grid.csv'", "a file name without folders", "beside the case", "hidden grid"),
    f("defect.grid", '"takeoff.csv"', "'takeoff.csv'", "the package uses this one", "rename the file", "taken name"),
    f("defect.grid", '"Case.TOML"', "'Case.TOML'", "the package uses this one", "rename the file", "taken, capitals"),
    f("defect.grid", '"con.csv"', "'con.csv'", "that every computer can hold", "rename the file", "reserved name"),
    f("defect.grid", '"a:b.csv"', "'a:b.csv'", "that every computer can hold", "rename the file", "colon"),
    f("defect.grid", f'"{"g" * 300}.csv"', "'ggg", "at most 120 characters", "rename the file", "long file name"),
    f("design.system", '"example-sleve"', "'example-sleve'", "a shipped system or a file",
      "Did you mean 'example-sleeve'?", "unknown system"),
    f("design.system", '"qqq"', "'qqq'", "a shipped system or a file", "Known: example-cloth, example-sleeve",
      "system like no other"),
    f("design.system", '"mine.toml"', "no such file", "a readable text file", "check the name", "no system file"),
    f("design.system", '"../example-sleeve"', "'../example-sleeve'", "without folders", "beside", "system elsewhere"),
    f("documents.overlay", '"marks.toml"', "no such file", "a readable text file", "check the name", "no overlay"),
    f("documents.overlay", '"../marks.toml"', "'../marks.toml'", "without folders", "beside", "overlay elsewhere"),
])
def test_one_fault_one_message(edit, field, toml, found, allowed, mend):
    also = {"service.lowered_maop": {"service__lowered_maop_reason": '"x"'},
            "pipe.outside_diameter": {"defect__width": '""', "defect__grid": '""'}}.get(field, {})
    path = edit(**{field.replace(".", "__"): toml}, **also)
    if field == "assessment":
        path.write_text("assessment = 3\n" + path.read_text(encoding="utf-8").replace("assessment = 3\n", ""), "utf-8")
    fault = only(path)
    elsewhere = found == "no such file"
    assert fault.file == (toml.strip('"') if elsewhere else NAME)
    assert fault.field == ("the file" if elsewhere else field)
    if not elsewhere:
        assert fault.line == line_of(path.read_text(encoding="utf-8"), field) is not None
        assert str(fault).startswith(f"{NAME}, line {fault.line}: {field}: found ")
    assert fault.found == found or (found[0] == "'" and found[-1] != "'" and fault.found.startswith(found))
    assert allowed in fault.allowed and mend in fault.mend


@pytest.mark.parametrize(("field", "toml", "reason"), [
    ("pipe.wall_basis", '"nominal"', "pipe.wall_basis_reason"),
    ("assessment.method", '"0.85dL"', "assessment.method_reason"),
    ("service.lower_design_factor", "0.5", "service.lower_design_factor_reason"),
    ("service.lowered_maop", '"5 MPa"', "service.lowered_maop_reason")])
@pytest.mark.parametrize("blank", [None, '""', '"   "'])
def test_a_choice_that_is_not_the_safer_one_needs_its_reason(edit, field, toml, reason, blank):
    path = edit(**{field.replace(".", "__"): toml, reason.replace(".", "__"): blank})
    fault = only(path)
    assert (fault.field, fault.found, fault.allowed) == (reason, "nothing", "a text")
    assert f"say why {field} = " in fault.mend and fault.line == line_of(path.read_text("utf-8"), field)


@pytest.mark.parametrize("field", ["grid_extension", "deepest_axial", "deepest_around"])
def test_what_is_said_about_a_grid_needs_a_grid(edit, field):
    fault = only(edit(defect__grid=None, **{f"defect__{field}": '"20 mm"'}))
    assert (fault.field, fault.found) == (f"defect.{field}", "'20 mm'")
    assert "the case names no depth grid" in fault.allowed and "defect.grid" in fault.mend


def test_missing_heading_and_id(edit, example):
    fault = only(edit(case__id=None))
    assert (fault.field, fault.found, fault.mend) == ("case.id", "nothing", 'add id = "HB-07"')
    path = example / NAME
    path.write_text('schema_version = "1"\n', "utf-8")
    fault = only(path)
    assert (fault.field, fault.found) == ("case", "nothing") and "the table [case] with id" in fault.allowed
    path.write_text('[case]\nid = "x"\n', "utf-8")
    assert (only(path).field, only(path).mend) == ("schema_version", 'add schema_version = "1"')


def test_all_faults_are_reported_together_in_the_order_of_the_file(edit):
    path = edit(case__id='"a/b"', pipe__nominal_wall='"8,74 mm"', pipe__smys='"470 MPa"', service__maop="8.6",
                service__lowest_temperature='"50 °C"', defect__depth='"3.1 mm"', defect__clock='"16:00"',
                pipe__colour='"red"', design__system='"example-sleve"', defect__width='"15 mm"')
    faults = faults_of(path)
    assert len(faults) == 10 and {x.field for x in faults} == {
        "case.id", "pipe.nominal_wall", "pipe.smys", "pipe.colour", "service.maop", "service.lowest_temperature",
        "defect.depth", "defect.clock", "defect.width", "design.system"}
    assert [x.line for x in faults] == sorted(x.line for x in faults)


def test_markup_in_text_is_kept_as_text(edit):
    markup = "<script>alert(1)</script> $x^2$ **b** & {{ 7 * 7 }} \\frac"
    bundle = load_bundle(edit(case__title=f"'{markup}'", case__prepared_by='"A\\n  B\\tC"'))
    assert bundle.case.case.title == markup and bundle.case.case.prepared_by == "A B C"


def test_clock_half_past_four(edit):
    assert load_bundle(edit(defect__clock='"04:30"')).case.defect.clock == "4:30"
    assert load_bundle(edit(defect__clock='"0:15"')).case.defect.clock == "12:15"


def test_blank_is_unanswered_not_a_fault(edit):
    bundle = load_bundle(edit(pipe__smys='""', pipe__grade='"  "', service__service='""',
                              service__maop='{ value = "", source = "asked for" }', defect__clock='""'))
    assert [bundle.case.get(x) for x in ("pipe.smys", "pipe.grade", "service.service", "service.maop",
                                         "defect.clock")] == [None] * 5


def test_written_is_kept_and_converted(edit):
    stated = '{ value = " 344  mil ", source = "cert  4", source_kind = "document" }'
    given = load_bundle(edit(pipe__nominal_wall=stated)
                        ).case.pipe.nominal_wall
    assert isinstance(given, Given)
    assert (given.written, given.base, given.source, given.source_kind) == ("344 mil", 8.7376, "cert 4", "document")


# -- the file itself ----------------------------------------------------------------------------------------------
def raw_fault(example, raw: bytes) -> Fault:
    path = example / NAME
    path.write_bytes(raw)
    fault = only(path)
    assert fault.file == NAME and fault.field == "the file"
    return fault


def test_missing_file(example):
    fault = only(example / "none.toml")
    assert (fault.file, fault.field, fault.found) == ("none.toml", "the file", "no such file")
    assert "readable text file of at most 1 MB" in fault.allowed and "check the name and the folder" in fault.mend


def test_a_folder(example):
    fault = only(example)
    assert (fault.found, fault.mend) == ("a folder", "name the file itself")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_does_not_hang(example):
    os.mkfifo(example / "pipe.toml")
    assert only(example / "pipe.toml").found == "something that is not a file"


def test_50_mb(example):
    with open(example / NAME, "wb") as file:
        file.truncate(50_000_000)
    fault = only(example / NAME)
    assert (fault.found, fault.field) == ("50 MB", "the file") and "at most 1 MB" in fault.allowed
    assert "name the right file" in fault.mend


def test_a_name_that_no_system_can_hold(example):
    assert only(example / ("x" * 5000)).found.startswith("a file that cannot be read")
    assert only(example / "x\0y").found.startswith("a file that cannot be read")


def test_empty(example):
    for raw in (b"", b" \n\r\n\t", b"\xef\xbb\xbf"):
        fault = raw_fault(example, raw)
        assert (fault.found, fault.allowed) == ("nothing: it is empty", "a TOML file")
        assert "wrapcalc new" in fault.mend


def test_not_utf8(example):
    fault = raw_fault(example, 'schema_version = "1"\n[case]\nid = "Ä"\n'.encode("latin-1"))
    assert fault.found == "a byte that is not UTF-8 at position 34" and fault.line == 3
    assert (fault.allowed, fault.mend) == ("UTF-8 text", "save it as UTF-8")
    assert "not UTF-8" in raw_fault(example, 'schema_version = "1"'.encode("utf-16")).found


def test_byte_order_mark_and_windows_line_ends_are_accepted(example):
    path = example / NAME
    text = path.read_text("utf-8")
    plain = load_bundle(path)
    path.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    other = load_bundle(path)
    assert other.grid == plain.grid
    for field in FIELDS:
        one, two = plain.case.get(field), other.case.get(field)
        assert (one.written, one.base) == (two.written, two.base) if isinstance(one, Given) else one == two, field
    path.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").replace('"8.74 mm"', '"8,74 mm"').encode())
    assert only(path).line == line_of(text, "pipe.nominal_wall")


@pytest.mark.parametrize(("toml", "line", "found", "mend"), [
    ('schema_version = "1"\n[case\nid = "x"', 2, "not TOML: Expected", "quotation marks, brackets"),
    ('schema_version = "1"\nx = ', 2, "not TOML: Invalid value", "quotation marks"),
    ('a = 1\nb = "abc', 2, "not TOML: Unterminated string", "quotation marks"),
    ("a = 1\nb = [1,\n2", 3, "not TOML: Unclosed array", "brackets"),
    ("a = 8.2 mm", 1, "not TOML: Expected newline", "quotation marks"),
    ("a = 1\nb = 2\na = 3", 3, "given twice", "remove one of the two"),
    ("[a]\nb = 2\n\n[a]\nc = 3", 4, "given twice", "remove one of the two"),
    ("a = { b = 1, b = 2 }", 1, "given twice", "remove one of the two"),
    ("a = " + "9" * 5000, None, "4300 digits", "look at that line"),
    ('a = "\\uD800"', 1, "not a Unicode scalar", "look at that line"),
    ("a = 0000-01-01", 1, "Invalid date", "look at that line"),
    ("a = " + "[" * 5000, None, "brackets nested too deeply", "remove them"),
    ("a = " + "{a=" * 5000, None, "brackets nested too deeply", "remove them"),
    ("x = 1\n" + ".".join("a" * 40_000) + " = 1", 2, "a name of more than 16 parts", "remove it"),
    ("[" + ".".join("a" * 40_000) + "]", 1, "a name of more than 16 parts", "remove it"),
    ("x = {" + ".".join(['"a"'] * 40_000) + " = 1}", 1, "a name of more than 16 parts", "remove it"),
    ("x" * 900_000, 1, "not TOML", "look at that line")])
def test_what_is_not_toml(example, toml, line, found, mend):
    fault = raw_fault(example, toml.encode())
    assert found in fault.found and fault.line == line and mend in fault.mend


def test_the_line_is_right_after_texts_of_several_lines(edit, example):
    path = edit(pipe__nominal_wall='"8,74 mm"')
    text = path.read_text("utf-8").replace(
        'prepared_by = "E. Example"', 'prepared_by = """E.\n[pipe]\nnominal_wall = 3\n"""')
    path.write_text(text.replace("# Invented", "# a \u2028 \x85 Invented"), "utf-8")
    lines = path.read_text("utf-8").split("\n")
    assert lines[only(path).line - 1].startswith('nominal_wall = "8,74 mm"')


# -- any file at all ----------------------------------------------------------------------------------------------
def loaded_or_faults(path: Path) -> None:
    try:
        bundle = load_bundle(path)
    except CaseFaults as e:
        assert e.faults and all(str(x).isprintable() and x.mend for x in e.faults)
        return
    outcome = run(bundle)
    assert outcome.decision.word in DECISIONS
    assert (outcome.order != ()) == (outcome.decision.word == "wrap")
    assert record.to_bytes(record.build(outcome))


fuzz = settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
EXAMPLE = (Path(__file__).parents[2] / "wrapcalc" / "example" / NAME).read_text("utf-8")
DATA = tomllib.loads(EXAMPLE)
FIELDS = [n for n, _ in walk(Case)]


@settings(fuzz, max_examples=100)
@given(st.binary(max_size=60) | st.text(max_size=60).map(str.encode))
def test_any_bytes_as_a_case_file(example, raw):
    (example / NAME).write_bytes(raw)
    loaded_or_faults(example / NAME)


@settings(fuzz, max_examples=100)
@given(st.integers(0, len(EXAMPLE)), st.integers(0, 40), st.text(max_size=5))
def test_a_damaged_case_file(example, at, gone, put):
    (example / NAME).write_bytes((EXAMPLE[:at] + put + EXAMPLE[at + gone:]).encode("utf-8", "surrogatepass"))
    loaded_or_faults(example / NAME)


UNITS = st.sampled_from(["mm", "m", "in", "mil", "MPa", "psi", "bar", "°C", "°F", "K", "GPa", "N", "N*m", "%", "y",
                         "kg", "1/°C", "ksi", ""])
SIZES = st.one_of(st.floats(-1e3, 1e3), st.floats(1, 100), st.integers(0, 500), st.sampled_from(
    [0, 1e-9, 1e9, 1e-300, 1e300, 0.1, 1e-3]))
QUANTITY = st.builds(lambda n, u: f"{n:g} {u}" if isinstance(n, float) and n == n else f"{n} {u}", SIZES, UNITS)
PLAIN = st.text(alphabet=st.characters(exclude_categories=["Cs", "Cc"]), max_size=8)
VALUES = st.recursive(
    st.booleans() | st.integers(-2**63, 2**63 - 1) | st.floats() | st.dates() | st.times() | PLAIN | QUANTITY,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(
        ["value", "source", "source_kind", "x"]), inner, max_size=3), max_leaves=4)


def written(data: dict) -> str:
    """TOML of a dict whose tables are one deep; what tomlkit cannot write, inline."""
    return tomlkit.dumps(data)


@settings(fuzz, max_examples=120)
@given(st.dictionaries(st.sampled_from([*FIELDS, "pipe", "defect.x", "zzz", "design"]), VALUES, min_size=1, max_size=4))
def test_a_case_with_any_values_in_its_fields(example, changes):
    data = {k: dict(v) if isinstance(v, dict) else v for k, v in DATA.items()}
    for field, value in changes.items():
        table, _, key = field.rpartition(".")
        if not table:
            data[key] = value
        elif isinstance(data.setdefault(table, {}), dict):
            data[table][key] = value
    (example / NAME).write_bytes(written(data).encode())
    loaded_or_faults(example / NAME)


def scaled(text: str, factor: float) -> str:
    number, _, unit = text.partition(" ")
    return f"{float(number) * factor:.6g} {unit}"


def sizes_of(data: dict) -> list[str]:
    """Fields that hold one number and one unit."""
    out = []
    for table in (t for t in data if isinstance(data[t], dict)):
        for key, value in data[table].items():
            text = value.get("value") if isinstance(value, dict) else value
            if isinstance(text, str) and re.fullmatch(r"[\d.]+ \S+", text):
                out.append(f"{table}.{key}")
    return out


QUANTITIES = sizes_of(DATA)


@settings(fuzz, max_examples=120)
@given(st.dictionaries(st.sampled_from(QUANTITIES), st.floats(0.02, 4) | st.sampled_from([0, 0.5, 0.99, 1.01, 2]),
                       min_size=1, max_size=5),
       st.sampled_from(["example-sleeve", "example-cloth"]),
       st.sampled_from(["load sharing", "yielded steel", "laminate strain"]), st.sampled_from(["SI", "US"]),
       st.sampled_from(["gas line", "liquid line"]), st.sampled_from(["ISO 24817:2017", "ASME PCC-2-2018"]),
       st.booleans())
def test_a_case_with_other_sizes_ends_in_one_of_five_words(example, changes, system, route, display, service, standard,
                                                           with_grid):
    data = {k: dict(v) if isinstance(v, dict) else v for k, v in DATA.items()}
    data["design"] |= {"system": system, "design_method": route, "standard": standard}
    data["takeoff"] |= {"cloth_waste": "5 %", "primer_waste": "10 %"}
    data["case"]["display"], data["service"]["service"] = display, service
    if not with_grid:
        data["defect"].pop("grid")
    for field, factor in changes.items():
        table, key = field.split(".")
        old = data[table][key]
        data[table][key] = ({**old, "value": scaled(old["value"], factor)} if isinstance(old, dict)
                            else scaled(old, factor))
    (example / NAME).write_bytes(written(data).encode())
    loaded_or_faults(example / NAME)


def test_the_faulty_example_shows_every_fault_at_once(example):
    faults = faults_of(example / "faults" / "HB-31.toml")
    assert [(x.file, x.field) for x in faults] == [
        *[("HB-31.toml", field) for field in (
            "pipe.sound_wall", "pipe.smys", "service.class_location", "service.maop", "service.discovery_pressure",
            "service.service_temperature", "defect.depth", "defect.length", "defect.clock", "defect.clear_upsteam",
            "design.system")],
        ("HB-31-grid.csv", "row 3, column 5"), ("HB-31-grid.csv", "row 4, column 6")]
    text = (example / "faults" / "HB-31.toml").read_text("utf-8").split("\n")
    for fault in faults[:11]:
        assert "#" in text[fault.line - 1], "each fault of the example is explained on its line"


def test_a_name_that_cannot_be_shown_is_spelled_out(example):
    path = example / "HB-07.toml"
    path.write_text(path.read_text("utf-8").replace('"example-sleeve"', '"\ud7fc\u200b"'), "utf-8")
    fault = faults_of(path)[0]
    assert fault.field == "design.system" and r"named '\ud7fc\u200b'" in fault.mend


@pytest.mark.parametrize("maop", ["8.6 bar", "8.6 psi"])
def test_a_maop_in_another_unit_than_the_discovery_pressure_is_a_fault(edit, maop):
    found = [f for f in faults_of(edit(service__maop=f'"{maop}"')) if f.field == "service.discovery_pressure"]
    assert len(found) == 1 and f"at most 3 times service.maop = {maop}" in found[0].allowed
    assert "their units" in found[0].mend


def test_a_line_that_ran_above_its_maop_is_no_fault(edit):
    load_bundle(edit(service__discovery_pressure='"9.4 MPa"'))
