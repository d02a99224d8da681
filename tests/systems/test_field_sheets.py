"""What a system sheet says about the work on site: complete, in order, and one message for each fault."""

import pytest
import tomlkit

from wrapcalc.errors import CaseFaults
from wrapcalc.systems import shipped_systems
from wrapcalc.systems.sheets import read_system

SLEEVE = shipped_systems()["example-sleeve"].read_text(encoding="utf-8")
CLOTH = shipped_systems()["example-cloth"].read_text(encoding="utf-8")


@pytest.fixture
def faults(tmp_path):
    """faults(text, change) -> the faults of a sheet that `change(data)` spoiled; [] for a sound one."""
    def read(text, change):
        data = tomlkit.parse(text).unwrap()
        change(data)
        path = tmp_path / "my_system.toml"
        path.write_text(tomlkit.dumps(data), encoding="utf-8")
        try:
            read_system(path)
        except CaseFaults as e:
            assert all(f.file == path.name and f.found and f.allowed and f.mend for f in e.faults)
            return e.faults
        return []
    return read


def put(place, key, value):
    """A change of one key of one table, [[mix]] by number."""
    def change(data):
        table = data
        for part in place:
            table = table[part]
        table[key] = value
    return change


@pytest.mark.parametrize(("text", "place", "key", "value", "field", "found", "allowed"), [
    (SLEEVE, ("mix", 0), "doses", ["3 %", "2 %"], "mix.0.doses", "2 values for 5 temperatures", "as many values"),
    (SLEEVE, ("mix", 1), "pack_doses", ["3 g"], "mix.1.pack_doses", "1 values for 4 temperatures", "one value fewer"),
    (SLEEVE, ("mix", 0), "temperatures", ["7 °C", "23 °C", "14 °C", "34 °C", "48 °C"], "mix.0.temperatures",
     "7 °C, 23 °C, 14 °C, 34 °C, 48 °C", "rising temperatures"),
    (SLEEVE, ("mix", 0), "pot_lives", ["5 min", "66 min", "43 min", "26 min", "14 min"], "mix.0.pot_lives",
     "5 min, 66 min, 43 min, 26 min, 14 min", "do not rise"),
    (SLEEVE, ("mix", 0), "pot_lives", ["95 min", "66 min", "43 min", "26 min", "0 min"], "mix.0.pot_lives",
     "95 min, 66 min, 43 min, 26 min, 0 min", "above 0"),
    (SLEEVE, ("mix", 0), "doses", ["3,4 %", "2.9 %", "2.3 %", "1.7 %", "1.2 %"], "mix.0.doses", "'3,4 %'",
     "a percentage"),
    (SLEEVE, ("mix", 0), "doses", "3 %", "mix.0.doses", "'3 %'", "a list of at most 24 of percentage"),
    (SLEEVE, ("mix", 0), "doses", ["3 %", ""], "mix.0.doses", "nothing at place 2", "a percentage at each place"),
    (SLEEVE, ("mix", 0), "pack_doses", ["3 g"], "mix.0.pack_doses", "a list of 1", 'basis = "per mass of resin"'),
    (SLEEVE, ("mix", 0), "laid_with", "primer", "mix.0.laid_with", "'primer'", "another material of this sheet"),
    (SLEEVE, ("mix", 0), "laid_with", "adhesive", "mix.0.laid_with", "'adhesive'", "another material"),
    (SLEEVE, ("mix", 0), "material", "primer", "mix.0.material", "'primer'", "adhesive, filler, end seal"),
    (SLEEVE, ("mix", 2), "temperatures", ["7 °C"], "mix.2.temperatures", "1 temperatures", "two: the ends"),
    (SLEEVE, ("cure_table",), "temperatures", ["12 °C", "22 °C", "32 °C", "48 °C"], "cure_table.temperatures",
     "'12 °C'", "application.cure_temperature_min = 15 °C"),
    (SLEEVE, ("surface",), "profile_min", "105 µm", "surface.profile_min", "'105 µm'", "less than profile_max"),
    (SLEEVE, ("consumable", 0), "amount", "", "consumable.0.amount", "nothing", "item, amount, per"),
    (CLOTH, ("mix", 0), "doses", ["29 %", "28 %"], "mix.0.doses", "2 values for 2 temperatures", "one value"),
    (CLOTH, ("mix", 1), "governing_temperature", "warmest", "mix.1.governing_temperature", "'warmest'",
     "highest of air and steel"),
])
def test_one_fault_one_message(faults, text, place, key, value, field, found, allowed):
    fault = next(f for f in faults(text, put(place, key, value)) if f.field == field)
    assert fault.found == found and allowed in fault.allowed and fault.line


def test_each_material_that_is_mixed_is_described_once(faults):
    (fault,) = faults(SLEEVE, lambda d: d["mix"].pop(1))
    assert (fault.field, fault.found) == ("mix", "nothing") and 'material = "filler"' in fault.allowed
    (fault,) = faults(SLEEVE, lambda d: d["mix"].append(d["mix"][0]))
    assert (fault.field, fault.found) == ("mix", "2 tables")
    (fault,) = faults(SLEEVE, lambda d: d.pop("tool"))
    assert (fault.field, fault.found) == ("tool", "nothing")


def test_a_list_is_read_with_its_units_and_its_origin(tmp_path):
    path = tmp_path / "s.toml"
    path.write_text(SLEEVE, encoding="utf-8")
    sheet, _ = read_system(path)
    value = sheet.value("mix.0.pot_lives.2")
    assert (value.to("minute"), str(value.origin)) == (pytest.approx(43), "system:example-sleeve/mix.0.pot_lives.2")
    assert sheet.place_of_mix("filler") == 1 and sheet.place_of_mix("primer") is None
