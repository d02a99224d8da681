"""What may be moved, and how far."""

from importlib import resources
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc import units
from wrapcalc.case import load_bundle
from wrapcalc.case.model import QUESTIONS
from wrapcalc.errors import CaseFaults
from wrapcalc.workbook.bench.bench import Bench
from wrapcalc.workbook.bench.inputs import NOT_STATED, QUANTITIES, Slider, choices, sliders

EXAMPLE = Path(str(resources.files("wrapcalc.example")))
CASES = sorted(p.stem for p in EXAMPLE.glob("*.toml"))


def test_every_quantity_is_a_field_of_a_case_and_has_a_name_of_its_own():
    assert set(QUANTITIES) <= set(QUESTIONS)
    names = [name for name, _ in QUANTITIES.values()]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("name", CASES)
def test_both_ends_of_every_slider_are_taken_by_the_readers_and_the_stated_value_is_on_it(name):
    bench = Bench.open(EXAMPLE / f"{name}.toml")
    assert bench.sliders
    for s in bench.sliders:
        assert s.low <= s.base <= s.high and s.text(s.base) == s.as_stated
        for end in (s.low, s.high):
            bench.stated.with_changes({s.field: s.text(end)})


def test_sliders_have_the_units_of_the_display_of_the_case(bench):
    units_of = {s.field: s.unit for s in bench("HB-15").sliders}
    assert units_of["defect.depth"] == "in" and units_of["service.maop"] == "psi"
    assert units_of["service.service_temperature"] == "°F" and units_of["defect.clear_upstream"] == "ft"
    units_of = {s.field: s.unit for s in bench("HB-07").sliders}
    assert units_of["defect.depth"] == "mm" and units_of["defect.clear_upstream"] == "m"


def test_a_value_in_units_of_the_other_system_is_shown_in_those_of_the_display(example):
    path = example / "HB-15.toml"
    text = path.read_text(encoding="utf-8")
    assert '"0.135 in"' in text
    path.write_text(text.replace('"0.135 in"', '"3.429 mm"'), encoding="utf-8")
    depth = Bench.open(path).inputs["defect.depth"]
    assert depth.unit == "in" and depth.base == 0.135 and depth.as_stated == "3.429 mm"


def test_a_depth_is_never_less_than_the_grid_shows(bench):
    one = bench("HB-07")
    depth = one.inputs["defect.depth"]
    with pytest.raises(CaseFaults, match="the deepest reading of the grid"):
        one.stated.with_changes({"defect.depth": depth.text(depth.low - depth.step)})


def test_only_what_the_case_states_has_a_slider(bench):
    assert "growth.rate" not in bench("HB-07").inputs and "growth.rate" in bench("HB-42").inputs
    assert "defect.leak_size" not in bench("HB-07").inputs and "defect.leak_size" in bench("HB-42").inputs
    assert "design.system" not in bench("HB-02").inputs


def test_a_choice_that_the_case_leaves_open_can_stay_open(bench):
    method = bench("HB-07").inputs["assessment.method"]
    assert method.as_stated is None and method.options[0] == (NOT_STATED, None)


def test_a_method_that_needs_what_the_case_has_not_is_not_offered(bench):
    def words(name):
        return {v for _, v in bench(name).inputs["assessment.method"].options}
    assert "effective area" in words("HB-07") and "effective area" not in words("HB-02")
    assert "remaining-strength factor" not in words("HB-07")


def test_sound_system_sheets_beside_the_case_are_offered(example):
    sheet = Path(str(resources.files("wrapcalc.systems"))) / "data" / "example-cloth.toml"
    (example / "ours.toml").write_bytes(sheet.read_bytes())
    (example / "broken.toml").write_text("[system]\nid = 'x'\n", encoding="utf-8")
    offered = [v for _, v in Bench.open(example / "HB-07.toml").inputs["design.system"].options]
    assert "ours.toml" in offered and "broken.toml" not in offered and "HB-02.toml" not in offered


@settings(max_examples=200, deadline=None)
@given(data=st.data())
def test_a_place_and_its_text_lead_to_each_other(data):
    found = _SLIDERS[data.draw(st.integers(0, len(_SLIDERS) - 1))]
    place = data.draw(st.floats(found.low, found.high))
    text = found.text(place)
    units.parse(text, found.kind)
    assert abs(found.place(text) - place) <= found.step / 2 * (1 + 1e-6)
    assert found.text(found.place(text)) == text


def _all() -> list[Slider]:
    found = []
    for name in ("HB-07", "HB-15", "HB-42"):
        bundle = load_bundle(EXAMPLE / f"{name}.toml")
        found += sliders(bundle, lambda field, text: True)
        assert choices(bundle, ())
    return found


_SLIDERS = _all()
