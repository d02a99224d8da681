"""The questions of a case, asked of its readers."""

import tomllib

import pytest

from wrapcalc import units
from wrapcalc.case import Case
from wrapcalc.case.model import QUESTIONS
from wrapcalc.fields import walk
from wrapcalc.workbook.form.questions import (
    SECTIONS,
    in_other_words,
    joined,
    questions,
    spellings,
    split,
    toml_value,
)


def test_every_field_of_a_case_but_its_version_is_asked_in_the_order_of_the_file():
    assert [*questions()] == [n for n, _ in walk(Case) if n != "schema_version"]
    assert all(q.asks == QUESTIONS[q.field] and q.section in SECTIONS for q in questions().values())
    assert [*SECTIONS] == [n for n in Case.model_fields if n != "schema_version"]


def test_kinds_are_those_of_the_examples():
    """Second route: each example reads as a quantity of the kind that the reader named."""
    for q in questions().values():
        if q.kind:
            number = float(q.example) if q.bare else q.example
            assert units.parse(number, q.kind), q.field
        elif q.example and not q.words:
            with pytest.raises(units.QuantityFault):
                units.parse(f"{q.example} x", "length")
    kinds = {"pipe.smys": "stress", "pipe.steel_modulus": "modulus", "service.maop": "gauge pressure", "case.id": "",
             "tolerance.temperature": "temperature difference", "service.service_temperature": "temperature",
             "service.pressure_cycles": "count", "design.system": "", "defect.clock": ""}
    assert {f: questions()[f].kind for f in kinds} == kinds


@pytest.mark.parametrize("text, bare", [
    ("5", True), ("-5.25", True), ("+5", True), ("1E2", True), ("0.5e-3", True), ("0", True),
    ("5 # 7", False), ("5 #", False), ("5_0", False), ("0b11", False), ("0x10", False), ("0o7", False), ("007", False),
    (".5", False), ("5.", False), ("inf", False), ("nan", False), ("1e400", False), ("9" * 400, False),
    ("9" * 5000, False), ("５", False), ("2026-01-01", False)])
def test_only_a_plain_decimal_is_written_without_quotation_marks(text, bare):
    written = toml_value(questions()["service.pressure_cycles"], text)
    assert (written == text) == bare
    assert tomllib.loads(f"x = {written}")["x"] == (float(text) if bare else text)


def test_each_unit_is_offered_once_and_may_be_written():
    for kind, k in units.KINDS.items():
        offered = spellings(kind)
        assert set(offered) <= set(k.units) and len({k.units[s] for s in offered}) == len(offered)
        assert {k.units[s] for s in offered} == set(k.units.values())


@pytest.mark.parametrize("text, kind, parts", [
    ("0.375 in", "length", ("0.375", "in")), ("0.375in", "length", ("0.375", "in")),
    ("20 C", "temperature", ("20", "°C")),
    ("-3 °C", "temperature", ("-3", "°C")), ("11.7e-6 1/°C", "expansion", ("11.7e-6", "1/°C")),
    ("nine", "length", ("nine", "")),
    ("9 bananas", "length", ("9 bananas", "")), ("900", "count", ("900", "")), ("5 mm", "", ("5 mm", "")),
    ("1,5 mm", "length", ("1,5", "mm")), ("in", "length", ("in", "")), ("5 1/°C", "expansion", ("5", "1/°C"))])
def test_a_quantity_is_shown_as_number_and_unit(text, kind, parts):
    assert split(text, kind) == parts


@pytest.mark.parametrize("text, unit, whole", [
    ("0.375", "in", "0.375 in"), (" 0.375 ", "", "0.375"), ("0.375 in", "mm", "0.375 in"),
    ("9 bananas", "mm", "9 bananas"),
    ("1,5", "mm", "1,5 mm"), ("", "mm", ""), ("−3", "°C", "−3 °C"), ("1e-6", "1/°C", "1e-6 1/°C")])
def test_the_chosen_unit_stands_behind_a_number_alone(text, unit, whole):
    assert joined(text, unit) == whole


def test_a_quantity_in_another_unit_is_repeated_in_ours():
    assert in_other_words(questions()["pipe.nominal_wall"], "0.375 in") == "= 9.525 mm"
    assert in_other_words(questions()["service.service_temperature"], "100 °F") == "= 37.78 °C"
    for text in ("9.5 mm", "nine", ""):
        assert in_other_words(questions()["pipe.nominal_wall"], text) == ""


@pytest.mark.parametrize("text, written", [("900", "900"), ("1.50", "1.50"), ("1e3", "1e3"), ("007", '"007"'),
                                           ("9 x", '"9 x"'), ("true", '"true"'), ("1\n2", '"1\\n2"'), ("", '""')])
def test_a_bare_number_is_written_bare_and_all_else_in_quotation_marks(text, written):
    assert toml_value(questions()["service.quality_factor"], text) == written
    assert toml_value(questions()["case.title"], "900") == '"900"'
