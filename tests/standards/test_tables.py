"""Tables of the documents, and the overlay of a user's verified marks."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wrapcalc import units
from wrapcalc.errors import CaseFaults, UnknownItem, ValueWaits
from wrapcalc.formula import STATUSES, registry
from wrapcalc.standards import tables
from wrapcalc.standards.documents import DOCUMENTS

WHO = 'by = "A. Reviewer"\non = 2026-09-30\ncopy = "company library, copy 14"\n'
ITEM = "ISO 24817:2017/strain_hoop_20_y"
VALUE = f'[[value]]\nitem = "{ITEM}"\nvalue = "0.25 %"\n{WHO}'
#: What is nothing where the case states none, and a temperature below freezing.
MAY_BE_NOTHING = ("no_corrosion_allowance", "cycle_ratio_unknown", "no_pressure", "no_force", "no_moment", "no_strain",
                  "high_risk_temperature_cold", "range_low", "absolute_zero", "slope_stable_rock")
FORMULA = f'[[formula]]\nname = "safe_pressure"\nexpression = "P_F / SF"\n{WHO}'


@pytest.fixture
def load(tmp_path):
    def read(text: str | bytes) -> tables.Tables:
        path = tmp_path / "verified.toml"
        path.write_bytes(text.encode() if isinstance(text, str) else text)
        return tables.load(path)
    return read


def faults_of(load, text):
    with pytest.raises(CaseFaults) as caught:
        load(text)
    for fault in caught.value.faults:
        assert fault.file == "verified.toml" and fault.found and fault.allowed and fault.mend
        assert str(fault).isprintable()
    return caught.value.faults


def only(load, text):
    faults = faults_of(load, text)
    assert len(faults) == 1, "\n".join(map(str, faults))
    return faults[0]


# -- what ships ---------------------------------------------------------------------------------------------------
def test_every_shipped_entry_is_sound():
    for key, entry in tables.shipped().items():
        assert entry.title and entry.key == key and entry.mark is None and entry.document in DOCUMENTS
        assert entry.kind in units.KINDS and entry.waits == (entry.status == "not known")
        if entry.waits:
            with pytest.raises(ValueWaits, match="not known to us"):
                entry.value()
            continue
        assert entry.status in STATUSES and entry.status != "verified"
        value = entry.value()
        assert value.magnitude > 0 or entry.name in MAY_BE_NOTHING
        assert str(value.origin) == f"table:{key}"


def test_an_unknown_entry_names_the_nearest():
    with pytest.raises(UnknownItem, match="Did you mean 'ISO 24817:2017/strain_hoop_20_y'"):
        tables.load().entry("ISO 24817:2017", "strain_hoop_20y")


def test_values_are_converted_without_a_hair():
    assert tables.load().value("49 CFR 192", "temperature_factor_limit").magnitude == 121.111111111


# -- marks that hold ----------------------------------------------------------------------------------------------
def test_a_mark_makes_a_value_verified(load):
    entry = load(VALUE).entry(*ITEM.split("/"))
    assert entry.status == "verified" and entry.value().magnitude == 0.0025
    assert str(entry.mark) == "A. Reviewer, 2026-09-30, company library, copy 14" and entry.mark.changed_from == ""
    assert tables.load().entry(*ITEM.split("/")).status == "from memory"
    others = {k: e for k, e in load(VALUE).entries.items() if k != ITEM}
    assert others == {k: e for k, e in tables.shipped().items() if k != ITEM}


@pytest.mark.parametrize("written", ['"2500 microstrain"', '"0.0025 mm/mm"', '"0.250 %"'])
def test_the_same_value_in_another_unit_is_no_change(load, written):
    entry = load(VALUE.replace('"0.25 %"', written)).entry(*ITEM.split("/"))
    assert entry.status == "verified" and entry.mark.changed_from == ""


def test_a_changed_value_is_used_and_says_what_it_was(load):
    entry = load(VALUE.replace("0.25 %", "0.24 %")).entry(*ITEM.split("/"))
    assert entry.written == "0.24 %" and entry.value().magnitude == pytest.approx(0.0024)
    assert entry.mark.changed_from == "0.25 %" and "(was 0.25 %)" in str(entry.mark)


def test_a_pure_number(load):
    text = VALUE.replace(ITEM, "49 CFR 195/design_factor").replace('"0.25 %"', "0.6")
    entry = load(text).entry("49 CFR 195", "design_factor")
    assert entry.value().magnitude == 0.6 and entry.mark.changed_from == "0.72"


@pytest.mark.parametrize("expression", ["P_F / SF", "P_F/SF", " P_F  /\\n SF "])
def test_a_mark_makes_a_formula_verified(load, expression):
    marked = load(FORMULA.replace("P_F / SF", expression))
    f = registry()["safe_pressure"]
    assert f.status == "from memory" and tables.load().formula_status(f) == ("from memory", None)
    status, mark = marked.formula_status(f)
    assert status == "verified" and (mark.by, mark.on, mark.copy) == (
        "A. Reviewer", "2026-09-30", "company library, copy 14")
    other = registry()["failure_pressure"]
    assert marked.formula_status(other) == (other.status, None)


@pytest.mark.parametrize("on", ["2026-09-30", '"2026-09-30"', "2026-09-30T10:00:00Z"])
def test_days(load, on):
    assert load(VALUE.replace("on = 2026-09-30", f"on = {on}")).entry(*ITEM.split("/")).mark.on == "2026-09-30"


def test_no_marks_at_all(load):
    assert load("# nothing yet\n").entries == tables.shipped()
    assert load(b"\xef\xbb\xbf# nothing yet\r\n").entries == tables.shipped()


# -- marks that do not --------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("text", "field", "line", "found", "allowed", "mend"), [
    pytest.param(VALUE.replace("20_y", "20y"), "value.0.item", 2, "'ISO 24817:2017/strain_hoop_20y'",
                 "a table entry 'document/name'", f"did you mean '{ITEM}'?", id="unknown item"),
    pytest.param(VALUE.replace(ITEM, "zzz"), "value.0.item", 2, "'zzz'", "a table entry", "see the list in a report",
                 id="item like no other"),
    *[pytest.param(VALUE.replace(f"\n{key} =", f"\n{key} = {blank} #"), f"value.0.{key}", line, "nothing",
                   "item, value, by, on, copy", "by whom, when, and in which copy", id=f"{key} = {blank}")
      for key, line in (("item", 2), ("value", 3), ("by", 4), ("on", 5), ("copy", 6)) for blank in ('""', '"  "')],
    *[pytest.param("\n".join(x for x in VALUE.split("\n") if not x.startswith(key)), f"value.0.{key}", 1, "nothing",
                   "item, value, by, on, copy", "by whom, when", id=f"no {key}") for key in ("item", "value", "by",
                   "on",
                                                                                            "copy")],
    pytest.param(VALUE.replace('"A. Reviewer"', "3"), "value.0.by", 4, "'3'", "a text in quotation marks", "quotation",
                 id="who is a number"),
    pytest.param(VALUE.replace("2026-09-30", '"last week"'), "value.0.on", 5, "'last week'", "a date: year-month-day",
                 'write on = "2026-09-30"', id="no date"),
    pytest.param(VALUE.replace("2026-09-30", "true"), "value.0.on", 5, "'true'", "a date", "write on",
    id="boolean date"),
    pytest.param(VALUE.replace("2026-09-30", "20260930"), "value.0.on", 5, "'20260930'", "a date", "write on",
                 id="number for a date"),
    pytest.param(VALUE.replace("copy =", "kopy = 1\ncopy ="), "value.0.kopy", 6, "a key that we do not know",
                 "item, value, by, on, copy", "did you mean 'copy'?", id="unknown key in a mark"),
    pytest.param(VALUE.replace("0.25 %", "0,25 %"), "value.0.value", 3, "'0,25 %'", "a strain", "decimal point",
                 id="comma decimal"),
    pytest.param(VALUE.replace('"0.25 %"', "0.25"), "value.0.value", 3, "the bare number 0.25", "a strain",
    "add the unit",
                 id="bare number"),
    pytest.param(VALUE.replace("0.25 %", "0.25 MPa"), "value.0.value", 3, "'0.25 MPa'", "a strain",
                 "measures a gauge pressure", id="wrong kind"),
    pytest.param(VALUE.replace('"0.25 %"', "true"), "value.0.value", 3, "'true'", "a strain", "write", id="boolean"),
    pytest.param(VALUE.replace('"0.25 %"', "[1]"), "value.0.value", 3, "a list of 1", "a strain", "write", id="list"),
    pytest.param(VALUE.replace('"0.25 %"', '"0.25 mm/mm"'), "value.0.value", 3, "'0.25 mm/mm'",
                 "6.25 × 10⁻⁴ to 0.01; ours is 0.25 %",
                 "check the value and its unit",
                 id="a hundredfold"),
    pytest.param(VALUE.replace("0.25 %", "-0.25 %"), "value.0.value", 3, "'-0.25 %'", "ours is 0.25 %",
    "check the value",
                 id="negative"),
    pytest.param(VALUE.replace(ITEM, "49 CFR 195/design_factor").replace('"0.25 %"', "1.1"), "value.0.value", 3,
    "'1.1'",
                 "0.18 to 1; ours is 0.72", "check the value", id="a share above 1"),
    pytest.param(VALUE.replace(ITEM, "49 CFR 195/depth_limit").replace('"0.25 %"', "1.0"), "value.0.value", 3, "'1.0'",
                 "0.2 to 0.9; ours is 0.8", "check the value", id="the whole wall"),
    pytest.param(VALUE + VALUE, "value.1.item", 8, f"'{ITEM}' for the second time", "one mark for each",
                 "remove one of the two", id="marked twice"),
    pytest.param(VALUE.replace("[[value]]", "[value]"), "value", 1, "a table", "tables [[value]] with item, value",
                 "write [[value]] with two brackets", id="single brackets"),
    pytest.param("formula = 3", "formula", 1, "'3'", "tables [[formula]] with name, expression", "two brackets",
                 id="no tables"),
    pytest.param("value = [1]", "value.0", 1, "'1'", "a table [[value]]", "write [[value]]", id="a list of numbers"),
    pytest.param(VALUE.replace("[[value]]", "[[values]]"), "values", None, "a key that we do not know",
                 "[[value]], [[formula]]", "did you mean 'value'?", id="unknown table"),
    pytest.param(FORMULA.replace("safe_pressure", "safe_presure"), "formula.0.name", 2, "'safe_presure'",
                 "the name of a formula", "did you mean 'safe_pressure'?", id="unknown formula"),
    pytest.param(FORMULA.replace("P_F / SF", "P_F * SF"), "formula.0.expression", 3, "'P_F * SF'", "P_F / SF",
                 "a mark holds only for the expression that runs", id="expression that does not agree"),
    pytest.param(FORMULA.replace('"P_F / SF"', "3"), "formula.0.expression", 3, "'3'", "a text in quotation marks",
                 "quotation marks", id="expression that is no text"),
    pytest.param(FORMULA.replace("\nexpression", "\nexpresion"), None, None, None, None, None, id="misspelt key"),
    pytest.param("", "the file", None, "nothing: it is empty", "a TOML file", "wrapcalc new", id="empty"),
    pytest.param("[[value]\n", "the file", 1, "text that is not TOML", "lines such as", "look at that line",
    id="no TOML"),
])
def test_one_fault_one_message(load, text, field, line, found, allowed, mend):
    if field is None:
        faults = faults_of(load, text)
        assert {(f.field, f.mend[:40]) for f in faults} == {
            ("formula.0.expresion", "did you mean 'expression'?"),
            ("formula.0.expression", "say what was verified, by whom, when, and"[:40])}
        return
    fault = only(load, text)
    assert fault.field == field and fault.found.startswith(found) and allowed in fault.allowed and mend in fault.mend
    if line is not None:
        assert fault.line == line
        assert str(fault).startswith(f"verified.toml, line {line}: {field}: found ")


def test_all_faults_are_reported_together(load):
    text = VALUE.replace("20_y", "21_y") + VALUE.replace("2026-09-30", "7") + FORMULA.replace("P_F /",
        "P_F +") + "[x]\n"
    assert [f.field for f in faults_of(load, text)] == ["x", "value.0.item", "value.1.on", "formula.0.expression"]


def test_a_faulty_overlay_marks_nothing(load):
    with pytest.raises(CaseFaults):
        load(VALUE + FORMULA.replace("P_F /", "P_F +"))
    assert tables.load().entry(*ITEM.split("/")).status == "from memory"


def test_missing_big_folder_and_not_utf8(load, tmp_path):
    for name, found in (("none.toml", "no such file"), ("folder.toml", "a folder"), ("big.toml", "50 MB")):
        if found == "a folder":
            (tmp_path / name).mkdir()
        if found == "50 MB":
            with open(tmp_path / name, "wb") as file:
                file.truncate(50_000_000)
        with pytest.raises(CaseFaults) as caught:
            tables.load(tmp_path / name)
        fault, = caught.value.faults
        assert (fault.file, fault.field, fault.found) == (name, "the file", found)
    assert "not UTF-8" in only(load, b'by = "\xe9"').found


JUNK = st.recursive(st.booleans() | st.integers() | st.floats() | st.dates() | st.text(max_size=5)
                    | st.sampled_from([ITEM, "safe_pressure", "0.24 %", "P_F / SF", "2026-09-30"]),
                    lambda i: st.lists(i, max_size=2) | st.dictionaries(st.text(max_size=3), i, max_size=2),
                    max_leaves=3)
MARK = st.dictionaries(st.sampled_from(["item", "value", "name", "expression", "by", "on", "copy", "x"]), JUNK,
    max_size=6)


@settings(deadline=None, max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.dictionaries(st.sampled_from(["value", "formula", "x"]), JUNK | st.lists(MARK | JUNK, max_size=2)))
def test_any_marks_are_tables_or_clear_faults(load, data):
    import tomlkit
    tables_or_faults(load, tomlkit.dumps(data).encode("utf-8", "backslashreplace"))


@settings(deadline=None, max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=40) | st.tuples(st.integers(0, len(VALUE + FORMULA)), st.integers(0, 20), st.text(max_size=4))
       .map(lambda x: ((VALUE + FORMULA)[:x[0]] + x[2] + (VALUE + FORMULA)[x[0] + x[1]:]).encode("utf-8",
       "surrogatepass")))
def test_any_bytes_are_tables_or_clear_faults(load, raw):
    tables_or_faults(load, raw)


def tables_or_faults(load, raw):
    try:
        marked = load(raw)
    except CaseFaults as e:
        assert e.faults and all(str(f).isprintable() and f.mend for f in e.faults)
    else:
        assert marked.entries.keys() == tables.shipped().keys()
        for entry in marked.entries.values():
            assert (entry.status == "verified") == (entry.mark is not None)
            assert entry.waits or entry.value().magnitude > 0 or entry.name in MAY_BE_NOTHING
            assert units.KINDS[entry.kind]
