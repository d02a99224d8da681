"""Where values come from: the source of each field, the files of a bundle, and names that package and case share."""

import pytest
import tomlkit

from wrapcalc import record
from wrapcalc.case import load_bundle
from wrapcalc.errors import CaseFaults
from wrapcalc.fields import SOURCE_KINDS
from wrapcalc.stages.job import run
from wrapcalc.systems import shipped_systems

NAME = "HB-07.toml"


def change(example, **fields):
    path = example / NAME
    document = tomlkit.parse(path.read_text("utf-8"))
    for dotted, value in fields.items():
        table, key = dotted.split("__")
        document.setdefault(table, tomlkit.table()).pop(key, None)
        if value is not None:
            document[table][key] = value
    path.write_text(tomlkit.dumps(document), "utf-8")
    return path


def faults_of(path):
    with pytest.raises(CaseFaults) as caught:
        load_bundle(path)
    return caught.value.faults


@pytest.mark.parametrize("kind", SOURCE_KINDS)
def test_source_and_kind_go_with_the_value(example, kind):
    stated = {"value": "16 in", "source": " certificate\n 12 ", "source_kind": kind}
    bundle = load_bundle(change(example, pipe__outside_diameter=stated))
    given = bundle.case.pipe.outside_diameter
    assert (given.written, given.base, given.source, given.source_kind) == ("16 in", 406.4, "certificate 12", kind)
    value = bundle.case.value("pipe.outside_diameter")
    assert str(value.origin) == "case:pipe.outside_diameter" and (value.magnitude, value.unit) == (406.4, "mm")
    row = next(r for r in record.build(run(bundle))["inputs"] if r["field"] == "pipe.outside_diameter")
    assert (row["source"], row["source_kind"], row["written"]) == ("certificate 12", kind, "16 in")


def test_a_source_is_optional(example):
    given = load_bundle(change(example, pipe__outside_diameter="16 in")).case.pipe.outside_diameter
    assert (given.source, given.source_kind) == ("", "")
    given = load_bundle(change(example, pipe__outside_diameter={"value": "16 in"})).case.pipe.outside_diameter
    assert (given.source, given.source_kind) == ("", "")


def test_a_source_without_a_value_is_unanswered(example):
    bundle = load_bundle(change(example, service__maop={"source": "asked the owner", "source_kind": "document"}))
    assert bundle.case.service.maop is None and "service.maop" in bundle.case.unanswered({"assess"})


def test_markup_in_a_source_is_kept_as_text(example):
    text = "<img src=x onerror=alert(1)> [a](http://x) $\\alpha$"
    bundle = load_bundle(change(example, pipe__nominal_wall={"value": "8.74 mm", "source": text}))
    assert bundle.case.pipe.nominal_wall.source == text


def test_control_characters_in_a_source(example):
    fault, = faults_of(change(example, pipe__nominal_wall={"value": "8.74 mm", "source": "a\x07b"}))
    assert fault.found == r"source = 'a\x07b'" and fault.allowed == "a text without control characters"
    assert fault.field == "pipe.nominal_wall" and fault.mend == 'write source = "mill certificate 4471"'


# -- the files that made a bundle ---------------------------------------------------------------------------------
def test_the_bundle_holds_every_file_as_it_was_read(example):
    (example / "marks.toml").write_text("# no marks yet\n")
    path = change(example, documents__overlay="marks.toml")
    bundle = load_bundle(path)
    assert bundle.files == {"case.toml": path.read_bytes(), "HB-07-grid.csv": (example / "HB-07-grid.csv").read_bytes(),
                            "HB-07-forecast.csv": (example / "HB-07-forecast.csv").read_bytes(),
                            "example-sleeve.toml": shipped_systems()["example-sleeve"].read_bytes(),
                            "marks.toml": b"# no marks yet\n"}


def test_the_digest_follows_every_byte_and_name(example):
    path = example / NAME
    first = load_bundle(path).digest()
    assert load_bundle(path).digest() == first
    path.write_text(path.read_text("utf-8") + "\n", "utf-8")
    second = load_bundle(path).digest()
    (example / "HB-07-grid.csv").write_text((example / "HB-07-grid.csv").read_text() + "\n")
    third = load_bundle(path).digest()
    assert len({first, second, third}) == 3


def test_a_users_own_sheet_beside_the_case(example):
    raw = shipped_systems()["example-sleeve"].read_bytes().replace(b'id = "example-sleeve"', b'id = "mine"')
    (example / "mine.toml").write_bytes(raw)
    bundle = load_bundle(change(example, design__system="mine.toml"))
    assert bundle.system.system.id == "mine" and bundle.files["mine.toml"] == raw


def test_a_package_reads_its_own_copy_of_a_shipped_sheet(example):
    raw = shipped_systems()["example-sleeve"].read_bytes() + b"\n# the sheet as it was then\n"
    (example / "example-sleeve.toml").write_bytes(raw)
    assert load_bundle(example / NAME).files["example-sleeve.toml"] != raw
    (example / "record.json").write_text("{}")
    assert load_bundle(example / NAME).files["example-sleeve.toml"] == raw


def test_two_files_of_one_name(example):
    (example / "example-sleeve.toml").write_text("# no marks\n")
    fault, = faults_of(change(example, documents__overlay="example-sleeve.toml"))
    assert (fault.file, fault.field, fault.found) == (NAME, "documents.overlay", "'example-sleeve.toml'")
    assert fault.line and "no other file of this case" in fault.allowed and fault.mend == "rename the file"


def test_faults_of_all_files_are_reported_together(example):
    (example / "HB-07-grid.csv").write_text("mm,0,20,40\n0,0,0,0\n25,0,x,0\n50,0,0,0\n")
    (example / "mine.toml").write_text('schema_version = "1"\n[system]\nid = "mine"\nsystem_type = "sleeve"\n')
    (example / "marks.toml").write_text("[[value]]\nitem = 3\n")
    faults = faults_of(change(example, pipe__nominal_wall="8.74", design__system="mine.toml",
                              documents__overlay="marks.toml"))
    assert faults[0].file == NAME and faults[0].field == "pipe.nominal_wall"
    assert {f.file for f in faults} == {NAME, "HB-07-grid.csv", "mine.toml", "marks.toml"}


@pytest.mark.parametrize(("field", "value"), [("pipe.grade", "L360"), ("service.class_location", "2"),
                                              ("pipe.seam_clock", "10:45")])
def test_a_word_carries_its_source_too(example, field, value):
    path = example / "HB-02.toml"
    key = field.partition(".")[2]
    lines = [f'{key} = {{ value = "{value}", source = "study 9", source_kind = "document" }}'
             if line.startswith(f"{key} = ") else line for line in path.read_text(encoding="utf-8").splitlines()]
    path.write_text("\n".join(lines), encoding="utf-8")
    made = record.build(run(load_bundle(path)))
    row = next(i for i in made["inputs"] if i["field"] == field)
    assert (row["written"], row["source"], row["source_kind"]) == (value, "study 9", "document")
