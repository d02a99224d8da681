"""One dose and one pot life at measured temperatures: rules, rows, edges, refusal at both ends, units."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
import tomlkit

from wrapcalc.case import load_bundle
from wrapcalc.checks import Check
from wrapcalc.errors import CalculationError
from wrapcalc.formulas import mixing as f
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.site.mixing import dose_at, governing_value, pot_life_at
from wrapcalc.values import Origin, Value


def t(celsius: float, unit: str = "degC") -> Value:
    return Value(celsius, unit, Origin("case", "reading"), "reading")


@pytest.fixture
def bundle(example):
    """bundle(case, mix place -> fields) loads an example with a system sheet whose mixes are changed."""
    def load(file: str = "HB-07.toml", **mixes):
        case = tomlkit.parse((example / file).read_text("utf-8")).unwrap()
        if mixes:
            shipped = load_bundle(example / file)
            raw = shipped.files[f"{shipped.system.system.id}.toml"].decode()
            sheet = tomlkit.parse(raw).unwrap()
            for material, fields in mixes.items():
                mix = next(m for m in sheet["mix"] if m["material"] == material)
                mix.update(fields)
                for key in [k for k, v in mix.items() if v is None]:
                    del mix[key]
            (example / "own.toml").write_text(tomlkit.dumps(sheet), "utf-8")
            case["design"]["system"] = "own.toml"
        (example / "changed.toml").write_text(tomlkit.dumps(case), "utf-8")
        return load_bundle(example / "changed.toml")
    return load


@pytest.fixture
def ask():
    """ask(function, ...) calls it in a recorder and gives its answer and the recorder."""
    def call(function, *args, system: str = "SI", **kwargs):
        with recording(Recorder(system)) as rec:
            rec.stage = "I"
            return SimpleNamespace(out=function(*args, **kwargs), rec=rec)
    return call


def scopes(rec) -> list[str]:
    return [i.verdict for i in rec.items if isinstance(i, Check) and i.kind == "scope"]


# -- what governs -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("rule", "want"), [
    ("highest of air and steel", 19), ("lowest of air and steel", 12), ("air", 19), ("steel", 12),
    ("coldest steel until cured", 9)])
def test_the_rule_of_the_sheet_governs(ask, rule, want):
    assert ask(governing_value, rule, t(19), t(12), t(9)).out.magnitude == want


@pytest.mark.parametrize(("rule", "air", "steel"), [
    ("highest of air and steel", None, t(9)), ("lowest of air and steel", t(9), None), ("air", None, t(9)),
    ("steel", t(9), None), ("coldest steel until cured", t(9), t(9))])
def test_what_the_rule_needs_and_nobody_measured_is_never_guessed(ask, rule, air, steel):
    assert ask(governing_value, rule, air, steel, None).out is None


def test_a_dose_without_its_temperature_is_no_data(ask, bundle):
    asked = ask(dose_at, bundle(), "adhesive", t(18), None)
    assert asked.out is None and scopes(asked.rec) == ["no data"]


# -- points, bands, fixed -----------------------------------------------------------------------------------------
def test_points_are_interpolated_in_a_straight_line(ask, bundle):
    """14 °C 2.9 %, 23 °C 2.3 %: a third of the way at 17 °C is 2.7 %, of 1.95 kg 52.65 g. Independent: by hand."""
    dose = ask(dose_at, bundle(), "adhesive", t(17), t(12)).out
    assert dose.dose.magnitude == pytest.approx(0.027)
    assert dose.hardener.to("g") == pytest.approx(52.65)
    assert dose.mixed.magnitude == pytest.approx(1.95 + 0.05265)
    assert dose.by_volume.magnitude == pytest.approx(0.027 * 1.20 / 1.04)
    assert dose.volume.magnitude == pytest.approx(1.95 / 1.20 + 0.05265 / 1.04)


def test_a_row_itself_is_the_value_of_the_sheet(ask, bundle):
    dose = ask(dose_at, bundle(), "adhesive", t(14), t(3)).out
    assert str(dose.dose.origin) == "system:example-sleeve/mix.0.doses.1"


@pytest.mark.parametrize(("air", "grams"), [(7, 21), (15.99, 21), (16, 15), (26.99, 15), (27, 10), (48, 10)])
def test_bands_are_not_interpolated_and_own_their_lower_edge(ask, bundle, air, grams):
    assert ask(dose_at, bundle(), "filler", t(air), t(0)).out.hardener.to("g") == pytest.approx(grams)


def test_a_fixed_dose_is_one_for_all(ask, bundle):
    b = bundle()
    doses = [ask(dose_at, b, "end seal", t(0), t(x)).out.hardener.magnitude for x in (7, 30, 48)]
    assert doses == pytest.approx([0.22 * 0.45] * 3)


def test_a_share_of_the_mix_is_more_hardener_than_the_same_share_of_the_resin(ask, bundle):
    """Coldest steel 19 °C: 3.2 % of the mix, on 0.58 kg of resin."""
    dose = ask(dose_at, bundle("HB-15.toml"), "filler", t(19), t(19), t(19)).out
    assert dose.hardener.magnitude / dose.mixed.magnitude == pytest.approx(0.032)
    assert dose.hardener.magnitude == pytest.approx(0.58 * 0.032 / 0.968)


def test_packs_of_the_batch_as_mixed(ask, bundle):
    three = Value(3.0, "", Origin("case", "reading"))
    one, more = (ask(dose_at, bundle(), "filler", t(20), t(20), packs=p).out for p in (None, three))
    assert more.hardener.magnitude == pytest.approx(3 * one.hardener.magnitude)
    assert more.resin.magnitude == pytest.approx(3 * 0.73)


def test_a_material_that_the_system_does_not_mix(ask, bundle):
    assert ask(dose_at, bundle(), "primer", t(20), t(20)).out is None
    assert ask(pot_life_at, bundle(), "primer", t(20), t(20)).out is None


# -- outside ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("air", "end"), [(6.9, "begins at 7 °C"), (48.1, "ends at 48 °C")])
@pytest.mark.parametrize("material", ["adhesive", "filler"])
def test_outside_the_dose_table_nothing_is_derived_and_it_is_told(ask, bundle, material, air, end):
    asked = ask(dose_at, bundle(), material, t(air), t(1), words="as mixed")
    assert asked.out is None and "outside scope" in scopes(asked.rec)
    struck = [i for i in asked.rec.items if getattr(i, "struck", "")]
    assert len(struck) == 1 and end in struck[0].struck and "not extended" in struck[0].struck
    assert [w["text"] for w in asked.rec.warnings] == [
        f"Dose of the {material}: highest of air and steel, as mixed, {air} °C: outside the table of the sheet, which "
        f"{end}; it is not extended."]
    with recording(asked.rec), pytest.raises(CalculationError, match="struck"):
        f.highest_temperature(struck[0].result, t(20))


@pytest.mark.parametrize(("steel", "end"), [(6.5, "begins at 7 °C"), (50, "ends at 48 °C")])
def test_outside_a_table_read_by_one_thermometer(ask, bundle, steel, end):
    """The rule "steel" makes no step that could be struck; the refusal is the same."""
    asked = ask(dose_at, bundle(), "end seal", t(20), t(steel))
    assert asked.out is None and "outside scope" in scopes(asked.rec)
    assert end in asked.rec.warnings[0]["text"]


@pytest.mark.parametrize("air", [6.9, 48.1])
@pytest.mark.parametrize("material", ["adhesive", "filler", "end seal"])
def test_outside_the_pot_life_table_there_is_no_time(ask, bundle, material, air):
    asked = ask(pot_life_at, bundle(), material, t(air), t(2))
    assert asked.out is None and "outside scope" in scopes(asked.rec)
    assert asked.rec.warnings[0]["text"].startswith(f"Pot life of the {material}: highest of air and steel, {air} °C")


@pytest.mark.parametrize("air", [7, 48])
def test_the_ends_of_the_tables_are_inside(ask, bundle, air):
    for material in ("adhesive", "filler"):
        assert ask(dose_at, bundle(), material, t(air), t(0)).out is not None
        assert ask(pot_life_at, bundle(), material, t(air), t(0)).out is not None


# -- pot life -----------------------------------------------------------------------------------------------------
def test_pot_life_of_points_lies_below_the_straight_line(ask, bundle):
    """18.5 °C is the middle of 14 and 23 °C: 66 and 43 min, straight 54.5 min."""
    life = ask(pot_life_at, bundle(), "adhesive", t(18.5), t(0)).out
    assert 43 < life.to("minute") < 54.5 and life.to("minute") == pytest.approx((66 * 43) ** 0.5, rel=0.01)


@pytest.mark.parametrize(("air", "time"), [(15.9, 54), (16, 37), (26.9, 37), (27, 17)])
def test_pot_life_of_bands_is_that_of_the_band(ask, bundle, air, time):
    assert ask(pot_life_at, bundle(), "filler", t(air), t(0)).out.to("minute") == pytest.approx(time)


def test_readings_in_fahrenheit_find_the_same_row_and_print_in_fahrenheit(ask, bundle):
    b = bundle("HB-15.toml")
    cold, warm = (ask(pot_life_at, b, "adhesive", t(x, u), t(x, u), system="US")
                  for x, u in ((64.4, "degF"), (18, "degC")))
    assert cold.out.to("minute") == pytest.approx(71) and warm.out.to("minute") == pytest.approx(71)
    asked = ask(dose_at, b, "filler", t(70, "degF"), t(70, "degF"), t(62.6, "degF"), system="US")
    step = next(i for i in asked.rec.items if "between two rows" in getattr(i, "title", ""))
    assert step.printed.input_units["T"] == "degF" and step.printed.inputs["T"] == "62.6"
    assert asked.out.dose.magnitude == pytest.approx(0.041 + (0.032 - 0.041) * 0.8)
    out = ask(dose_at, b, "filler", t(70, "degF"), t(70, "degF"), t(40, "degF"), system="US")
    assert "40 °F: outside the table of the sheet, which begins at 48.2 °F" in out.rec.warnings[0]["text"]


def test_each_rule_and_basis_of_a_changed_sheet(ask, bundle):
    b = bundle(adhesive={"governing_temperature": "coldest steel until cured", "kind": "bands", "basis": "per pack",
                         "doses": None, "pack_doses": ["50 g", "40 g", "30 g", "20 g"]},
               filler={"kind": "points", "pack_doses": ["24 g", "16 g", "12 g", "8 g"]})
    assert ask(dose_at, b, "adhesive", t(30), t(30), t(14)).out.hardener.to("g") == pytest.approx(40)
    between = ask(dose_at, b, "filler", t(11.5), t(3)).out
    assert between.hardener.to("g") == pytest.approx(20), "halfway from 24 to 16 g"
