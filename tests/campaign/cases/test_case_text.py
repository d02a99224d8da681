"""Plain data as TOML: what is written is what is read."""

import datetime
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wrapcalc.campaign.cases.case_text import at, clock_text, length, mm, number, put, toml_of, value

TEXT = st.text(st.characters(exclude_categories=("Cs",)), max_size=20)
PLAIN = st.one_of(TEXT, st.booleans(), st.integers(-2**63, 2**63 - 1), st.floats(allow_nan=False), st.dates(),
                  st.times(), st.datetimes(timezones=st.sampled_from([None, datetime.UTC])))
INNER = st.recursive(PLAIN, lambda x: st.one_of(st.lists(x, max_size=3), st.dictionaries(TEXT, x, max_size=3)),
                     max_leaves=6)
TABLE = st.dictionaries(TEXT, INNER, max_size=4)


@given(st.dictionaries(TEXT, st.one_of(PLAIN, TABLE, st.lists(TABLE, min_size=1, max_size=3)), max_size=5))
def test_what_is_written_is_what_is_read(data):
    """independent: tomllib."""
    assert tomllib.loads(toml_of(data).decode()) == data


def test_a_value_with_its_source_stands_in_one_line_below_its_heading():
    text = toml_of({"pipe": {"smys": {"value": "360 MPa", "source": 'a "b"'}}, "schema_version": "1",
                    "stock": [{"item": "unit"}]}).decode()
    assert text == ('schema_version = "1"\n\n[pipe]\nsmys = { value = "360 MPa", source = "a \\"b\\"" }\n\n[[stock]]\n'
                    'item = "unit"\n')


@given(st.floats(1e-6, 1e9))
def test_a_number_is_written_so_that_it_reads_the_same(x):
    assert float(number(x)) == x


@pytest.mark.parametrize(("x", "text"), [(3.4960000000000004, "3.4960000000000004 mm"), (3.496, "3.496 mm"),
                                         (12.0, "12 mm")])
def test_lengths_stand_in_as_few_digits_as_they_need(x, text):
    assert mm(x) == text


@pytest.mark.parametrize(("hours", "text"), [(4.5, "4:30"), (0.0, "12:00"), (11.9999, "12:00"), (0.25, "12:15")])
def test_clocks_are_written_to_the_minute(hours, text):
    assert clock_text(hours) == text


def test_fields_are_found_set_and_taken_out_without_changing_the_data():
    data = {"pipe": {"smys": "360 MPa", "grade": ""}, "x": 1}
    assert at(data, "pipe.smys") == "360 MPa" and at(data, "pipe.grade") is None and at(data, "a.b") is None
    assert put(data, "pipe.smys", None) == {"pipe": {"grade": ""}, "x": 1} and put(data, "a.b", None) == data
    assert put(data, "a.b", 2) == data | {"a": {"b": 2}} and put(data, "x", None) == {"pipe": data["pipe"]}
    assert data == {"pipe": {"smys": "360 MPa", "grade": ""}, "x": 1}


def test_a_stated_length_is_read_with_or_without_its_source():
    assert length({"value": "1 in", "source": "s"}, None) == 25.4 and length("8.74 mm", None) == 8.74
    assert value("x") == "x" and length(None, type("Given", (), {"base": 7.0})) == 7.0
