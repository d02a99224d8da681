"""Data sheets of wrap systems: complete or refused, one message for each fault."""

import re

import pytest
import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wrapcalc.errors import CaseFaults, UnknownItem
from wrapcalc.fields import walk
from wrapcalc.systems import System, load_system, shipped_systems
from wrapcalc.systems.sheets import read_system

SLEEVE = shipped_systems()["example-sleeve"].read_text(encoding="utf-8")
CLOTH = shipped_systems()["example-cloth"].read_text(encoding="utf-8")


def faults_of(path):
    with pytest.raises(CaseFaults) as caught:
        read_system(path)
    for fault in caught.value.faults:
        assert fault.file == path.name and fault.field and fault.found and fault.allowed and fault.mend
        assert str(fault).isprintable()
    return caught.value.faults


@pytest.fixture
def edited(tmp_path):
    """edited(text, dotted=TOML text or None) writes a sheet with these fields changed."""
    def change(text: str, **fields):
        data = tomlkit.parse(text).unwrap()
        for dotted, toml in fields.items():
            *tables, key = dotted.split("__")
            table = data
            for t in tables:
                table = table[int(t)] if t.isdigit() else table.setdefault(t, {})
            table.pop(key, None)
            if toml is not None:
                table[key] = tomlkit.parse(f"x = {toml}").unwrap()["x"]
        plain = {k: v for k, v in data.items() if not isinstance(v, dict)}
        path = tmp_path / "my_system.toml"
        path.write_text(tomlkit.dumps(plain | data), encoding="utf-8")
        return path
    return change


def only(path):
    faults = faults_of(path)
    assert len(faults) == 1, "\n".join(map(str, faults))
    return faults[0]


@pytest.mark.parametrize("name", ["example-sleeve", "example-cloth"])
def test_the_shipped_sheets_are_complete(name, tmp_path):
    sheet, raw, file = load_system(name, tmp_path)
    assert sheet.system.id == name and file == f"{name}.toml" and raw == shipped_systems()[name].read_bytes()
    assert [w.magnitude for w in sheet.unit_widths] == sorted(w.magnitude for w in sheet.unit_widths)
    assert str(sheet.value("laminate.ply_thickness").origin) == f"system:{name}/laminate.ply_thickness"


ROWS = ("evidence", "blister", "consumable", "tool")
NEEDED = [(text, name.replace("mix.", "mix.0.")) for text in (SLEEVE, CLOTH) for name in (
    [n for n, i in walk(System) if i.json_schema_extra["need"] in (
        "assess", "dose as a share", *(["layered sleeve", "end seal"] if text is SLEEVE else ["wet lay-up", "primer"]))
     and not n.startswith(ROWS) and n not in ("schema_version", "system.id", "system.system_type", "mix.material")])]


@pytest.mark.parametrize(("text", "field"), NEEDED, ids=[f"{'sleeve' if t is SLEEVE else 'cloth'}-{n}" for t,
    n in NEEDED])
def test_every_value_of_the_kind_must_be_there(edited, text, field):
    for blank in (None, '""'):
        fault = only(edited(text, **{field.replace(".", "__"): blank}))
        assert (fault.field, fault.found) == (field, "nothing") and fault.line
        assert ", such as " in fault.allowed and "complete or it is not used" in fault.mend


def test_a_primer_must_be_described_only_if_there_is_one(edited):
    assert {f.field for f in faults_of(edited(SLEEVE, primer__used='"yes"'))} == {
        "primer.glass_transition", "primer.coverage", "primer.pack", "mix"}


def test_a_missing_table_names_every_value_in_it(edited):
    faults = faults_of(edited(SLEEVE, envelope=None))
    assert {f.field for f in faults} == {n for n, _ in walk(System) if n.startswith("envelope.")}


def test_system_type_decides_which_table_there_is(edited):
    missing = faults_of(edited(SLEEVE, system__system_type=None))
    assert [f.field for f in missing] == ["system.system_type"]
    faults = faults_of(edited(SLEEVE, system__system_type='"wet lay-up"'))
    other = next(f for f in faults if f.field == "sleeve")
    assert (other.found, other.allowed) == ("a table for a layered sleeve", "no [sleeve] for a wet lay-up")
    assert "correct system_type" in other.mend and other.line
    assert {f.field for f in faults if f.field.startswith("lay_up.")} == {
        n for n, _ in walk(System) if n.startswith("lay_up.")}


@pytest.mark.parametrize(("field", "toml", "found", "allowed", "mend"), [
    ("laminate.modulus_hoop", '"36,5 GPa"', "'36,5 GPa'", "a modulus", "use a decimal point"),
    ("laminate.modulus_hoop", "36.5", "the bare number 36.5", "a modulus", "add the unit"),
    ("laminate.modulus_hoop", '"36.5 MPa"', "'36.5 MPa'", "at least 1000 MPa", "unit and decimal point"),
    ("laminate.modulus_hoop", '"36.5 mm"', "'36.5 mm'", "a modulus", "mm measures a length"),
    ("laminate.expansion_hoop", '"9.8e-6 °C"', "'9.8e-6 °C'", "an expansion", "1/"),
    ("laminate.expansion_hoop", '"9.8 1/°C"', "'9.8 1/°C'", "at most 0.001 1/°C", "decimal point"),
    ("laminate.glass_transition", '"8400 °C"', "'8400 °C'", "at most 500 °C", "check the value"),
    ("laminate.poisson_ratio", "1.2", "'1.2'", "at least 0 and at most 0.9", "check the value"),
    ("adhesive.density", '"1190 kg/L"', "'1190 kg/L'", "at most 20000 kg/m³", "unit"),
    ("sleeve.layers", "0", "'0'", "at least 1 and at most 200", "check the value"),
    ("sleeve.layers", "2.5", "'2.5'", "a whole number", "write a whole number"),
    ("sleeve.widths", '"170 mm"', "'170 mm'", "a list of 1 to 8 widths", 'write ["220 mm", "340 mm"]'),
    ("sleeve.widths", '["170 mm", 3]', "the bare number 3", "a length", "add the unit"),
    ("sleeve.widths", '["170 mm", "17 cm"]', "'17 cm' twice", "each width once", "remove one"),
    ("sleeve.widths", '["0 mm"]', "'0 mm'", "widths from 10 to 5000 mm", "check the width"),
    ("sleeve.widths", '["-170 mm"]', "'-170 mm'", "widths from 10 to 5000 mm", "check the width"),
    ("sleeve.widths", str([f"{100 + i} mm" for i in range(9)]).replace("'", '"'), "a list of 9",
     "a list of 1 to 8 widths", "write"),
    ("sleeve.most_units", "13", "'13'", "at most 12", "check the value"),
    ("primer.used", "false", "'false'", "yes, no", "choose one of them"),
    ("ends.treatment", '"Tapered"', "'Tapered'", "square with fillet, tapered", "did you mean 'tapered'?"),
    ("system.system_type", '"layerd sleeve"', "'layerd sleeve'", "layered sleeve, wet lay-up",
     "did you mean 'layered sleeve'?"),
    ("system.id", '"a/b"', "'a/b'", "1 to 60 letters", "HB-07"),
    ("system.name", "3", "'3'", "a text in quotation marks", "quotation marks"),
    ("schema_version", "1", "the bare number 1", "1", "put it in quotation marks"),
    ("laminate.modulus_hop", '"1 GPa"', "a key that we do not know", "modulus_hoop", "did you mean 'modulus_hoop'?"),
    ("laminat", "{ a = 1 }", "a key that we do not know", "laminate", "did you mean 'laminate'?"),
    ("evidence.0.covrs", '"x"', "a key that we do not know", "covers, reference", "did you mean 'covers'?"),
    ("evidence.0.covers", "3", "'3'", "a text in quotation marks", "quotation marks"),
    ("application.steel_temperature_min", '"49 °C"', "'49 °C'", "at most application.steel_temperature_max = 48 °C",
     "correct one of the two"),
    ("envelope.outside_diameter_min", '"763 mm"', "'763 mm'", "at most envelope.outside_diameter_max = 762 mm",
     "correct one"),
    ("envelope.service_temperature_min", '"56 °C"', "'56 °C'", "envelope.service_temperature_max = 55 °C",
    "correct one"),
])
def test_one_fault_one_message(edited, field, toml, found, allowed, mend):
    path = edited(SLEEVE, **{field.replace(".", "__"): toml})
    fault = only(path)
    assert (fault.field, fault.found) == (field, found)
    assert allowed in fault.allowed and mend in fault.mend
    key = field.rpartition(".")[2]
    assert re.match(rf"\s*({key}\s*=|\[{key}\])", path.read_text("utf-8").split("\n")[fault.line - 1])


@pytest.mark.parametrize(("field", "toml", "found", "allowed"), [
    ("lay_up.band_overlap", '"280 mm"', "'280 mm'", "less than the narrowest cloth"),
    ("lay_up.least_layers", "35", "'35'", "at most lay_up.most_layers = 34"),
    ("lay_up.fibre_mass_share", "1.0", "'1.0'", "at least 0.1 and at most 0.95")])
def test_faults_of_a_lay_up(edited, field, toml, found, allowed):
    fault = only(edited(CLOTH, **{field.replace(".", "__"): toml}))
    assert (fault.field, fault.found) == (field, found) and allowed in fault.allowed and fault.line and fault.mend


def test_evidence_must_be_named(edited):
    fault = only(edited(SLEEVE, evidence=None))
    assert (fault.field, fault.found, fault.mend) == ("evidence", "nothing", "name the test reports")
    assert "at least one [[evidence]]" in fault.allowed
    fault = only(edited(SLEEVE, evidence__1__reference='" "'))
    assert (fault.field, fault.found, fault.mend) == ("evidence.1.reference", "nothing", "fill it in")
    assert fault.line
    fault = only(edited(SLEEVE.split("[[evidence]]")[0], evidence='"a report"'))
    assert (fault.field, fault.found) == ("evidence", "'a report'")


def test_all_faults_are_reported_together(edited):
    faults = faults_of(edited(SLEEVE, laminate__modulus_hoop="36.5", filler__pack=None, ends__slop="3",
                              application__steel_temperature_min='"49 °C"', evidence__0__covers=None))
    assert {f.field for f in faults} == {"laminate.modulus_hoop", "filler.pack", "ends.slop",
                                         "application.steel_temperature_min", "evidence.0.covers"}
    assert len(faults) == 5


@pytest.mark.parametrize(("raw", "found"), [
    (b"", "nothing: it is empty"), (b"\xff\xfe", "a byte that is not UTF-8 at position 0"),
    (b"x = ", "text that is not TOML: Invalid value"), (b"a = 1\na = 2", "a name that is given twice"),
    (b"a = " + b"[" * 3000, "brackets nested too deeply")])
def test_a_file_that_is_no_sheet(tmp_path, raw, found):
    path = tmp_path / "my_system.toml"
    path.write_bytes(raw)
    fault = only(path)
    assert fault.field == "the file" and fault.found.startswith(found)


def test_missing_big_and_folder(tmp_path):
    assert only(tmp_path / "no.toml").found == "no such file"
    (tmp_path / "d.toml").mkdir()
    assert only(tmp_path / "d.toml").found == "a folder"
    with open(tmp_path / "big.toml", "wb") as file:
        file.truncate(50_000_000)
    assert only(tmp_path / "big.toml").found == "50 MB"


def test_another_document_is_no_sheet(tmp_path):
    path = tmp_path / "my_system.toml"
    path.write_text("x = 1\n")
    faults = faults_of(path)
    assert {"x", "schema_version", "system"} <= {f.field for f in faults}
    assert next(f for f in faults if f.field == "system").allowed.startswith("the table [system] with id, name")


def test_unknown_names(tmp_path):
    with pytest.raises(UnknownItem, match=r"no wrap system named 'example-slieve'\. Did you mean 'example-sleeve'"):
        load_system("example-slieve", tmp_path)
    with pytest.raises(UnknownItem, match="Known: example-cloth, example-sleeve"):
        load_system("zzz" * 4000, tmp_path, packaged=True)


def test_a_name_never_leads_out_of_the_folder(tmp_path):
    (tmp_path / "case").mkdir()
    (tmp_path / "x.toml").write_text(SLEEVE, "utf-8")
    with pytest.raises(UnknownItem):
        load_system("../x", tmp_path / "case", packaged=True)


VALUES = st.recursive(st.booleans() | st.integers(-2**63, 2**63 - 1) | st.floats() | st.dates() | st.text(max_size=5)
                      | st.sampled_from(["3 mm", "4 GPa", "-5 °C", "1e9 kg", "2 kg/L", "yes", "tapered"]),
                      lambda i: st.lists(i, max_size=3) | st.dictionaries(st.sampled_from(["value", "source", "x"]), i,
                                                                          max_size=2), max_leaves=3)


@settings(deadline=None, max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from([SLEEVE, CLOTH]), st.dictionaries(
    st.sampled_from([n for n, _ in walk(System) if n.count(".") == 1] + ["laminate.x", "sleeve.widths", "evidence"]),
    VALUES, max_size=3))
def test_a_sheet_with_any_values_is_a_system_or_clear_faults(tmp_path, text, changes):
    data = tomlkit.parse(text).unwrap()
    for field, value in changes.items():
        table, _, key = field.rpartition(".")
        if not table:
            data[key] = value
        elif isinstance(data.setdefault(table, {}), dict):
            data[table][key] = value
        else:
            data[table] = value
    path = tmp_path / "my_system.toml"
    path.write_bytes(tomlkit.dumps(data).encode("utf-8", "backslashreplace"))
    sheet_or_faults(path)


@settings(deadline=None, max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=40) | st.tuples(st.integers(0, len(SLEEVE)), st.integers(0, 30), st.text(max_size=4)).map(
    lambda x: (SLEEVE[:x[0]] + x[2] + SLEEVE[x[0] + x[1]:]).encode("utf-8", "surrogatepass")))
def test_any_bytes_are_a_system_or_clear_faults(tmp_path, raw):
    path = tmp_path / "my_system.toml"
    path.write_bytes(raw)
    sheet_or_faults(path)


def sheet_or_faults(path):
    try:
        sheet, _ = read_system(path)
    except CaseFaults as e:
        assert e.faults and all(str(f).isprintable() and f.mend for f in e.faults)
    else:
        assert sheet.unit_widths and sheet.evidence
