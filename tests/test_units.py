"""Quantities: what may be written, what is refused and how, and how numbers are printed."""

import datetime
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc import units
from wrapcalc.units import KINDS, QuantityFault, convert, digits, parse, show, to_base

WITH_UNITS = [(k.name, u) for k in KINDS.values() for u in k.units]


def refused(text, kind="length") -> QuantityFault:
    with pytest.raises(QuantityFault) as caught:
        parse(text, kind)
    return caught.value


# -- what is accepted ---------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("text", "kind", "base"), [
    ("8.2 mm", "length", 8.2), ("8.2mm", "length", 8.2), ("  8.2   mm  ", "length", 8.2), ("16 in", "length", 406.4),
    ("12 mil", "length", 0.3048), ("12 mils", "length", 0.3048), ("1.5 ft", "length", 457.2),
    (".5 m", "length", 500), ("5. mm", "length", 5), ("+3 mm", "length", 3), ("1e1 mm", "length", 10),
    ("1000 psig", "gauge pressure", 6.89475729317), ("1000 psi", "gauge pressure", 6.89475729317),
    ("62 barg", "gauge pressure", 6.2), ("0 MPa", "gauge pressure", 0), ("52 ksi", "stress", 358.527379245),
    ("3.5 Msi", "modulus", 24131.6505261), ("207 GPa", "modulus", 207000),
    ("-10 °C", "temperature", -10), ("−10 °C", "temperature", -10), ("32 degF", "temperature", 0),
    ("147.2 °F", "temperature", 64), ("300 K", "temperature", 26.85), ("20 C", "temperature", 20),
    ("68 F", "temperature", 20),
    ("5.4 °F", "temperature difference", 3), ("3 °C", "temperature difference", 3), ("3 K", "temperature difference",
    3),
    ("11.7e-6 1/°C", "expansion", 11.7e-6), ("6.5e-6 1/°F", "expansion", 11.7e-6),
    ("0.25 %", "strain", 0.0025), ("2500 microstrain", "strain", 0.0025), ("0.0025 mm/mm", "strain", 0.0025),
    ("15 %", "percentage", 0.15), ("20 y", "duration", 20), ("1 kip", "force", 4448.22161526),
    ("1 N*m", "moment", 1000), ("1 N·m", "moment", 1000), ("2 gal", "volume", 7.570823568), ("5 lb", "mass",
    2.26796185),
    ("18 months", "duration", 1.5), ("1 month", "duration", 1 / 12), ("126 months", "duration", 10.5),
    ("0.15 mm/y", "growth rate", 0.15), ("150 um/y", "growth rate", 0.15), ("150 µm/y", "growth rate", 0.15),
    ("10 mil/y", "growth rate", 0.254), ("10 mpy", "growth rate", 0.254), ("0.01 in/yr", "growth rate", 0.254),
    ("10 lb/gal", "density", 1.19826427317), ("24 oz/yd2", "area density", 0.813737939397),
    (0.72, "number", 0.72), (3, "count", 3), (3.0, "count", 3)])
def test_a_quantity_is_read_in_its_unit(text, kind, base):
    magnitude, unit = parse(text, kind)
    assert to_base(magnitude, unit, kind) == pytest.approx(base, rel=1e-11, abs=0)


def test_conversion_leaves_no_hair():
    assert to_base(147.2, "degF", "temperature") == 64.0
    assert to_base(32, "degF", "temperature") == 0.0
    assert to_base(337.15, "kelvin", "temperature") == 64.0
    assert to_base(16, "inch", "length") == 406.4
    assert to_base(0.344, "inch", "length") == 8.7376


# -- what is refused, and how -------------------------------------------------------------------------------------
@pytest.mark.parametrize(("text", "kind", "found", "allowed", "mend"), [
    pytest.param("8,2 mm", "length", "'8,2 mm'", "mm, cm", 'decimal point and no thousands separator, such as "8.2 mm"',
                 id="comma decimal"),
    pytest.param("1,000 mm", "length", "'1,000 mm'", "mm", "no thousands separator", id="thousands separator"),
    pytest.param("-,5 mm", "length", "'-,5 mm'", "mm", "decimal point", id="leading comma"),
    pytest.param("1 000 mm", "length", "'1 000 mm'", "mm", "without spaces between its digits", id="thousands space"),
    pytest.param("8.2", "length", "'8.2', which has no unit", "mm, cm", 'add the unit, such as "8.2 mm"',
                 id="missing unit"),
    pytest.param(8.2, "length", "the bare number 8.2", "mm, cm", "add the unit", id="bare number"),
    pytest.param(8, "gauge pressure", "the bare number 8", "MPa", 'add the unit, such as "6.5 MPa"', id="bare whole"),
    pytest.param("8.2 furlong", "length", "'8.2 furlong'", "mm, cm", "'furlong' is not a unit we know",
                 id="unknown unit"),
    pytest.param("6.2 Mpa", "gauge pressure", "'6.2 Mpa'", "MPa", "did you mean 'MPa'?", id="nearest unit"),
    pytest.param("6.2 mpa", "gauge pressure", "'6.2 mpa'", "MPa", "did you mean 'MPa'?", id="unit in small letters"),
    pytest.param("8.2 MPa", "length", "'8.2 MPa'", "a length", "MPa measures a gauge pressure; write a length",
                 id="wrong kind"),
    pytest.param("8.2 mm", "temperature", "'8.2 mm'", "a temperature", "mm measures a length", id="wrong kind 2"),
    pytest.param("12 mil", "temperature", "'12 mil'", "a temperature", "mil measures a length", id="mil is no angle"),
    pytest.param("90 deg", "length", "'90 deg'", "mm", "'deg' is not a unit we know", id="an angle"),
    pytest.param("70 bara", "gauge pressure", "'70 bara'", "gauge", "refused: it is an absolute pressure", id="bara"),
    pytest.param("1000 psia", "gauge pressure", "'1000 psia'", "gauge", "every pressure here is gauge", id="psia"),
    pytest.param("6 MPa abs", "gauge pressure", "'6 MPa abs'", "gauge", "absolute pressure", id="MPa abs"),
    pytest.param("6 bar(abs)", "gauge pressure", "'6 bar(abs)'", "gauge", "absolute pressure", id="bar(abs)"),
    pytest.param("52000 psig", "stress", "'52000 psig'", "a stress", "gauge pressure is not a stress",
    id="psig stress"),
    pytest.param("207 mm", "modulus", "'207 mm'", "a modulus", "mm measures a length", id="modulus"),
    pytest.param("0.15 mm", "growth rate", "'0.15 mm'", "mm/y", "mm measures a length; write a growth rate",
                 id="rate without years"),
    pytest.param("0.15 mm/month", "growth rate", "'0.15 mm/month'", "mm/y", "is not a unit we know",
                 id="rate by month"),
    pytest.param("18 mo", "duration", "'18 mo'", "month", "is not a unit we know", id="short month"),
    pytest.param("18 month", "length", "'18 month'", "mm", "month measures a duration", id="month is no length"),
    pytest.param("2 mm/y", "length", "'2 mm/y'", "mm", "mm/y measures a growth rate", id="rate is no length"),
    pytest.param("0,15 mm/y", "growth rate", "'0,15 mm/y'", "mm/y", "decimal point", id="comma in a rate"),
    pytest.param(0.15, "growth rate", "the bare number 0.15", "mm/y", "add the unit", id="bare rate"),
    pytest.param("8.2 mm 3", "length", "'8.2 mm 3'", "mm", "'mm 3' is not a unit we know", id="two numbers"),
    pytest.param("8.2.3 mm", "length", "'8.2.3 mm'", "mm", "is not a unit we know", id="two points"),
    pytest.param("mm", "length", "'mm'", "mm", 'write it like "8.2 mm"', id="no number"),
    pytest.param("", "length", "''", "mm", 'write it like "8.2 mm"', id="empty"),
    pytest.param("nan mm", "length", "'nan mm'", "mm", 'write it like "8.2 mm"', id="nan text"),
    pytest.param("inf mm", "length", "'inf mm'", "mm", 'write it like "8.2 mm"', id="inf text"),
    pytest.param(math.nan, "length", "the bare number nan", "mm", "add the unit", id="nan"),
    pytest.param(math.nan, "number", "'nan'", "a pure number", "write a finite number", id="nan number"),
    pytest.param(math.inf, "count", "'inf'", "a whole number", "write a whole number", id="inf count"),
    pytest.param(2.5, "count", "'2.5'", "a whole number", "write a whole number", id="half a layer"),
    pytest.param(10 ** 400, "number", "a whole number of 401 digits", "a pure number", "write a finite number",
                 id="huge whole number"),
    pytest.param(10 ** 5000, "count", "a whole number of 5001 digits", "a whole number", "write a whole number",
                 id="longer than Python prints"),
    pytest.param(10 ** 5000, "length", "the bare number a whole number of 5001 digits", "mm", "add the unit",
                 id="huge bare number"),
    pytest.param("1e999 mm", "length", "'1e999 mm'", "1e-12 to 1e12 mm", "check the number, its exponent", id="1e999"),
    pytest.param("1e308 km", "length", "'1e308 km'", "1e-12 to 1e12 mm", "check the number, its exponent", id="1e308"),
    pytest.param("1e-300 mm", "length", "'1e-300 mm'", "1e-12 to 1e12 mm", "check the number", id="1e-300"),
    pytest.param(1e300, "number", "'1e+300'", "1e-12 to 1e12", "check the number", id="1e300 number"),
    pytest.param("-300 °C", "temperature", "'-300 °C'", "above absolute zero", "check the number", id="too cold"),
    pytest.param("８.２ mm", "length", "'８.２ mm'", "mm", 'write it like "8.2 mm"', id="unicode digits"),
    pytest.param("٣ mm", "length", "'٣ mm'", "mm", 'write it like "8.2 mm"', id="arabic digits"),
    pytest.param("0.5", "number", "'0.5'", "a pure number", "without quotation marks or unit, such as 0.72",
                 id="number in quotation marks"),
    pytest.param("5 mm", "count", "'5 mm'", "a whole number", "write the number alone", id="count with unit"),
    pytest.param(True, "number", "'true'", "a pure number", "write it like 0.72", id="boolean"),
    pytest.param(True, "length", "'true'", "mm", 'write it like "8.2 mm"', id="boolean length"),
    pytest.param([1, 2], "length", "a list of 2", "mm", 'write it like "8.2 mm"', id="array"),
    pytest.param({"a": 1}, "length", "a table", "mm", 'write it like "8.2 mm"', id="table"),
    pytest.param(datetime.date(2026, 9, 1), "length", "the date or time 2026-09-01", "mm", 'write it like "8.2 mm"',
    id="date"),
    pytest.param("8 " + "m" * 500, "length", "'8 mmm", "mm", "one number and its unit", id="a long text"),
    pytest.param("8 \x1b[31mmm", "length", r"'8 \x1b[31mmm'", "mm", "is not a unit we know", id="terminal escape")])
def test_a_refusal_says_found_allowed_and_mend(text, kind, found, allowed, mend):
    fault = refused(text, kind)
    assert fault.found.startswith(found.rstrip("'")) and (found[-1] != "'" or fault.found == found)
    assert allowed in fault.allowed
    assert mend in fault.mend
    assert str(fault) == f"found {fault.found}; allowed: {fault.allowed}. To mend: {fault.mend}"
    assert str(fault).isprintable() and len(str(fault)) < 500


def test_a_long_text_costs_no_time():
    """A pattern that backs up would take hours for this."""
    refused("1 a" + " " * 1_000_000 + "\nb")
    refused("1" * 1_000_000)


def test_found_is_cut_and_on_one_line():
    fault = refused("8.2 mm\n" + "x" * 70)
    assert fault.found.endswith("…'") and "\n" not in fault.found and len(fault.found) < 66


@settings(deadline=None, max_examples=300)
@given(st.text(max_size=30) | st.from_regex(r"[+-]?[0-9]{0,4}[.,]?[0-9]{0,3}([eE][+-]?[0-9]{1,4})? ?\w{0,5}"),
       st.sampled_from(sorted(KINDS)))
def test_any_text_is_a_value_or_a_clear_refusal(text, kind):
    try:
        magnitude, unit = parse(text, kind)
    except QuantityFault as e:
        assert e.found and e.allowed and e.mend and str(e).isprintable()
    else:
        assert math.isfinite(to_base(magnitude, unit, kind)) and unit in KINDS[kind].units.values()


@settings(deadline=None, max_examples=200)
@given(st.sampled_from(WITH_UNITS), st.floats(-1e6, 1e6), st.text(max_size=4))
def test_any_number_with_a_unit_and_junk(kind_unit, number, junk):
    kind, unit = kind_unit
    try:
        magnitude, name = parse(f"{number!r}{junk}{unit}", kind)
    except QuantityFault as e:
        assert e.mend
    else:
        assert math.isfinite(to_base(magnitude, name, kind))


@settings(deadline=None)
@given(st.none() | st.booleans() | st.integers() | st.floats() | st.binary() | st.dates() | st.times()
       | st.lists(st.integers(), max_size=3) | st.dictionaries(st.text(max_size=3), st.integers(), max_size=2),
       st.sampled_from(sorted(KINDS)))
def test_any_other_value_is_a_value_or_a_clear_refusal(raw, kind):
    try:
        magnitude, unit = parse(raw, kind)
    except QuantityFault as e:
        assert e.found and e.allowed and e.mend
    else:
        assert kind in ("number", "count") and unit == "" and math.isfinite(magnitude)


# -- conversion ---------------------------------------------------------------------------------------------------
@settings(deadline=None)
@given(st.sampled_from(WITH_UNITS), st.floats(-1e6, 1e6).filter(lambda x: x == 0 or abs(x) > 1e-6))
def test_there_and_back(kind_unit, number):
    kind, written = kind_unit
    base, unit = KINDS[kind].base, KINDS[kind].units[written]
    back = convert(convert(number, unit, base), base, unit)
    assert back == pytest.approx(number, rel=1e-12, abs=1e-9 if kind == "temperature" else 0)


@pytest.mark.parametrize(("kind", "written"), WITH_UNITS)
def test_conversion_agrees_with_pint(kind, written):
    base, unit = KINDS[kind].base, KINDS[kind].units[written]
    pint = units.Quantity(37.5, unit or "dimensionless").m_as(base or "dimensionless")
    assert convert(37.5, unit, base) == pytest.approx(pint, rel=1e-12)
    assert to_base(37.5, unit, kind) == pytest.approx(pint, rel=1e-11)


def test_a_difference_is_not_a_reading():
    assert convert(3.0, "delta_degC", "delta_degF") == pytest.approx(5.4)
    assert convert(3.0, "degC", "degF") == pytest.approx(37.4)


# -- printing -----------------------------------------------------------------------------------------------------
def written_digits(text: str) -> str:
    mantissa = text.split("e")[0].lstrip("-")
    return mantissa.replace(".", "").lstrip("0") if "." in mantissa else mantissa.lstrip("0").rstrip("0")


@settings(deadline=None, max_examples=300)
@given(st.floats(allow_nan=False, allow_infinity=False), st.integers(2, 15))
def test_no_more_digits_than_asked(value, significant):
    text = digits(value, significant)
    assert len(written_digits(text)) <= significant
    if abs(value) < 1e308:
        assert float(text) == pytest.approx(value, rel=0.51 * 10.0 ** (1 - significant), abs=5e-324)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_not_a_number_is_never_printed(value):
    with pytest.raises(ValueError, match="not a number that may be printed"):
        digits(value)
    with pytest.raises(ValueError, match="not a number that may be printed"):
        show(value, "mm")


@pytest.mark.parametrize(("value", "significant", "text"), [
    (0.0, 5, "0"), (-0.0, 5, "0"), (609.6, 5, "609.6"), (52000.0, 5, "52000"), (8.2, 5, "8.2"), (8.20001, 5, "8.2000"),
    (99999.6, 5, "100000"), (1234567.0, 4, "1235000"), (12345678.9, 5, "12346000"), (123456789.0, 5, "1.2346e8"),
    (0.001, 5, "0.001"), (0.00099996, 4, "0.001000"), (1e-4, 5, "1e-4"), (11.7e-6, 5, "1.17e-5"),
    (-0.25, 3, "-0.25"), (1.7976931348623157e308, 2, "1.8e308"), (5e-324, 3, "4.94e-324")])
def test_digits(value, significant, text):
    assert digits(value, significant) == text


@settings(deadline=None, max_examples=200)
@given(st.sampled_from([k.name for k in KINDS.values() if k.units]), st.sampled_from(["SI", "US"]),
       st.floats(1e-6, 1e6), st.booleans())
def test_what_is_shown_can_be_read_again(kind, system, size, negative):
    """The text that a report prints, typed into a case file, gives the printed number."""
    base = KINDS[kind].base
    value = -size if negative and kind in ("temperature difference", "length") else size
    unit = base if base in units.US_TWIN else next(iter(KINDS[kind].units.values()))
    if kind in ("strain", "percentage"):
        return  # printed as written
    text = show(value, unit, system=system, significant=6)
    magnitude, name = parse(text, kind)
    assert to_base(magnitude, name, kind) == pytest.approx(convert(value, unit, base), rel=6e-6,
                                                           abs=2e-3 if kind == "temperature" else 0)


def test_show_in_both_systems():
    assert show(406.4, "mm") == "406.4 mm" and show(406.4, "mm", system="US") == "16 in"
    assert show(8.6, "MPa", system="US") == "1247 psi" and show(-5.0, "degC") == "−5 °C"
    assert show(3.0, "delta_degC", system="US") == "5.4 °F" and show(3.0, "degC", system="US") == "37.4 °F"
    assert show(0.254, "mm/year") == "0.254 mm/y" and show(0.254, "mm/year", system="US") == "0.01 in/y"
    assert show(11.7e-6, "1/delta_degC") == "1.17 × 10⁻⁵ 1/°C" and show(0.72, "") == "0.72"


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_unit_is_of_its_kind(kind):
    """A unit listed under the wrong kind would turn millimetres into megapascals."""
    for unit in KINDS[kind].units.values():
        pair = [units.ureg.get_dimensionality(units.ureg.Unit(u or "dimensionless")) for u in (unit, KINDS[kind].base)]
        assert pair[0] == pair[1], unit


def test_close_ignores_capitals():
    assert units.close("si", ("SI", "US")) == "SI"
    assert units.close("quux", ("SI", "US")) is None
