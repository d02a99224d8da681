"""Contradictions of measurements, rules, names, restrictions, methods and restraint: one clear message each."""

import pytest
import tomlkit

from wrapcalc.case import load_bundle
from wrapcalc.errors import CaseFaults


@pytest.fixture
def faults(example):
    """faults(file, table__key=value, ...) gives the faults of an example with these fields changed."""
    def change(file="HB-07.toml", **fields):
        data = tomlkit.parse((example / file).read_text("utf-8")).unwrap()
        for dotted, value in fields.items():
            table, _, key = dotted.partition("__")
            holder = data.setdefault(table, {}) if key else data
            holder.pop(key or table, None)
            if value is not None:
                holder[key or table] = value
        path = example / file
        path.write_text(tomlkit.dumps(data), "utf-8")
        with pytest.raises(CaseFaults) as caught:
            load_bundle(path)
        for f in caught.value.faults:
            assert f.file == file and f.field and f.found and f.allowed and f.mend and str(f).isprintable()
            assert str(f) in str(caught.value)
            if f.line is not None:  # the line of the field, or of what asks for it, in the file as it stands
                assert 1 <= f.line <= len(path.read_text("utf-8").splitlines())
        return caught.value.faults
    return change


PLANT = {"service__service": "plant piping", "service__class_location": None}


@pytest.mark.parametrize(("file", "fields", "field", "found", "allowed", "mend"), [
    # -- interaction
    ("HB-07.toml", {"defect__grid": None, "assessment__interaction": "6t", "assessment__interaction_reason": "x"},
     "assessment.interaction", "'6t'", "there are no pits to part", "name a grid or a table of pits"),
    ("HB-27.toml", {"assessment__interaction": "3t", "assessment__interaction_reason": "x"}, "assessment.interaction",
     "'3t'", "there are no pits to part", "remove this"),
    ("HB-34.toml", {"assessment__interaction": "own", "assessment__interaction_axial": "20 mm"},
     "assessment.interaction_around", "nothing", "the gap of the own rule", "state both gaps"),
    ("HB-34.toml", {"assessment__interaction": "own", "assessment__interaction_around": "20 mm"},
     "assessment.interaction_axial", "nothing", "the gap of the own rule", "state both gaps"),
    ("HB-34.toml", {"assessment__interaction_axial": "20 mm"}, "assessment.interaction_axial", "'20 mm'",
     'nothing, unless interaction = "own"', 'write interaction = "own"'),
    ("HB-34.toml", {"assessment__interaction_reason": None}, "assessment.interaction_reason", "nothing", "a text",
     "say why assessment.interaction = 6t"),
    ("HB-34.toml", {"assessment__interaction": "12t"}, "assessment.interaction", "'12t'", "3t, 6t", ""),
    # -- sizes and grades by name
    ("HB-34.toml", {"pipe__listed_size": "NPS 21 STD"}, "pipe.listed_size", "NPS 21", "", ""),
    ("HB-34.toml", {"pipe__listed_grade": "X53, API 5L 2000 edition"}, "pipe.listed_grade", "X53", "", ""),
    ("HB-34.toml", {"pipe__smys": "414 MPa"}, "pipe.smys", "'414 MPa'", "which X52, API 5L 2000 edition stands for",
     "state one of the two, or correct it"),
    ("HB-34.toml", {"pipe__nominal_wall": "9.8 mm"}, "pipe.nominal_wall", "'9.8 mm'", "which NPS 20 STD stands for",
     "state one of the two"),
    # -- restrictions
    ("HB-07.toml", {"restriction": [{"pressure": "5 MPa"}]}, "restriction.0.reference", "nothing",
     "pressure and reference of each restriction", "add reference"),
    ("HB-07.toml", {"restriction": [{"pressure": "5 MPa", "reference": "r 1"}, {"reference": "r 2"}]},
     "restriction.1.pressure", "nothing", "pressure and reference of each restriction", "add pressure"),
    ("HB-07.toml", {"restriction": [{"pressure": "50 MPa", "reference": "r"}]}, "restriction.0.pressure", "'50 MPa'",
     "which brings the sound pipe to SMYS", "check the pressure"),
    ("HB-07.toml", {"restriction": "5 MPa"}, "restriction", "'5 MPa'", "tables [[restriction]]", "two brackets"),
    # -- methods
    ("HB-07.toml", {"assessment__method": "remaining-strength factor", "assessment__method_reason": "x"},
     "assessment.method", "'remaining-strength factor'", "a method for pipelines, for service = “gas line”",
     "choose another"),
    ("HB-07.toml", PLANT | {"assessment__method": "0.85dL", "assessment__method_reason": "x"}, "assessment.method",
     "'0.85dL'", "remaining-strength factor, for service = “plant piping”", "choose another"),
    ("HB-07.toml", {"defect__grid": None, "assessment__method": "effective area", "assessment__method_reason": "x"},
     "assessment.method", "'effective area'", "there is no profile", "name a profile, a grid or a table of pits"),
    ("HB-07.toml", {"assessment__method": "0.85dL"}, "assessment.method_reason", "nothing", "a text",
     "say why assessment.method = 0.85dL"),
    # -- restraint
    ("HB-07.toml", {"service__restraint": "restrained"}, "service.tie_in_temperature", "nothing",
     "the steel temperature at tie-in", "add tie_in_temperature"),
    ("HB-07.toml", {"service__restraint": "unknown"}, "service.tie_in_temperature", "nothing",
     "is or may be restrained", "add tie_in_temperature"),
    # -- pressure beside the pipe
    ("HB-07.toml", {"disposition__higher_pressure": "3 MPa", "disposition__higher_pressure_reason": "x"},
     "disposition.higher_pressure_by", "nothing", "a name", "say who allows"),
    ("HB-07.toml", {"disposition__higher_pressure": "3 MPa", "disposition__higher_pressure_by": "A"},
     "disposition.higher_pressure_reason", "nothing", "a text", "say why disposition.higher_pressure = 3 MPa"),
    ("HB-07.toml", {"disposition__higher_pressure": "9 MPa", "disposition__higher_pressure_by": "A",
                    "disposition__higher_pressure_reason": "x"}, "disposition.higher_pressure", "'9 MPa'",
     "at most service.maop = 8.6 MPa", "nobody works beside the pipe above its MAOP"),
    ("HB-07.toml", {"disposition__reduction": "remaining strength", "disposition__reduction_reason": "x"},
     "disposition.reduction", "'remaining strength'", "an option of 49 CFR 192 for a gas line", "choose one of them"),
    ("HB-07.toml", {"disposition__reduction": "share of discovery pressure"}, "disposition.reduction_reason", "nothing",
     "a text", "say why disposition.reduction"),
    # -- what a grid, a profile or a table alone can have
    ("HB-27.toml", {"defect__noise_threshold": "0.1 mm", "defect__noise_threshold_reason": "x"},
     "defect.noise_threshold", "'0.1 mm'", "the case names no depth grid", "name it in defect.grid"),
    ("HB-07.toml", {"defect__rejoin_gap": "20 mm"}, "defect.rejoin_gap", "'20 mm'", "the case names no table of pits",
     "name it in defect.pits"),
    # -- plant
    ("HB-07.toml", PLANT | {"service__allowable_stress": "400 MPa"}, "service.allowable_stress", "'400 MPa'",
     "at most pipe.smys = 360 MPa", "check the table of the code"),
    ("HB-07.toml", PLANT | {"assessment__corrosion_allowance": "9 mm"}, "assessment.corrosion_allowance", "'9 mm'",
     "less than the wall", "check the allowance"),
    # -- files
    ("HB-07.toml", {"disposition__criteria": "none.toml"}, "disposition.criteria", "none.toml", "", ""),
    ("HB-27.toml", {"defect__profile": "none.csv"}, "defect.profile", "none.csv", "", ""),
    ("HB-34.toml", {"defect__pits": "../pits.csv"}, "defect.pits", "../pits.csv", "a file name without folders",
     "put the file beside the case file")])
def test_one_contradiction_is_one_message(faults, file, fields, field, found, allowed, mend):
    got = faults(file, **fields)
    assert [f.field for f in got] == [field], "\n".join(map(str, got))
    fault, = got
    assert found in fault.found and allowed in fault.allowed and mend in fault.mend, str(fault)


@pytest.mark.parametrize(("field", "file", "words"), [("profile", "HB-27-profile.csv", "grid and profile together"),
                                                      ("pits", "HB-34-pits.csv", "grid and pits together")])
def test_two_measurements_of_one_loss_are_refused(faults, field, file, words):
    fault, = (f for f in faults(**{f"defect__{field}": file}) if f.field == f"defect.{field}")
    assert fault.found == words and fault.allowed == "one of grid, profile, pits" and fault.line is not None
    assert "name the one that was measured; a grid holds its own profile" in fault.mend


def test_a_misspelt_field_of_a_restriction_is_guessed(faults):
    got = {f.field: f for f in faults(restriction=[{"presure": "5 MPa", "reference": "r"}])}
    assert "did you mean 'pressure'?" in got["restriction.0.presure"].mend


def test_the_message_stands_on_the_line_of_its_field(faults, example):
    fault, = faults("HB-34.toml", pipe__smys="414 MPa")
    lines = (example / "HB-34.toml").read_text("utf-8").splitlines()
    assert lines[fault.line - 1].startswith("smys")
    fault, = faults(restriction=[{"pressure": "5 MPa", "reference": "r"}, {"pressure": "4 MPa"}])
    lines = (example / "HB-07.toml").read_text("utf-8").splitlines()
    start = [n for n, text in enumerate(lines, 1) if text == "[[restriction]]"][1]
    assert fault.line is not None and start <= fault.line <= start + 2


def test_contradictions_of_different_parts_are_told_together(faults):
    got = faults(defect__profile="HB-27-profile.csv", service__restraint="restrained",
                 restriction=[{"pressure": "5 MPa"}], disposition__higher_pressure="3 MPa")
    assert {f.field for f in got} >= {"defect.profile", "service.tie_in_temperature", "restriction.0.reference",
                                      "disposition.higher_pressure_by", "disposition.higher_pressure_reason"}


def test_what_agrees_with_a_name_may_be_stated_beside_it(example):
    path = example / "HB-34.toml"
    data = tomlkit.parse(path.read_text("utf-8")).unwrap()
    data["pipe"] |= {"smys": "359 MPa", "outside_diameter": "20 in", "nominal_wall": "9.53 mm"}
    path.write_text(tomlkit.dumps(data), "utf-8")
    bundle = load_bundle(path)
    assert bundle.case.get("pipe.smys").base == 359 and bundle.case.get("pipe.outside_diameter").base == 508
