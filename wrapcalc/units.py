"""The one pint registry, the strict parser of quantities, and the one function that prints a number.

A *kind* says what a field measures; each kind has its own list of units, because pint alone reads `mil`
as an angle, `C` as coulomb and `F` as farad, drops commas, and knows no gauge pressure. All pressures are
gauge. A temperature *difference* is a kind of its own: a difference of 3 °C is 5.4 °F, not 37.4 °F.
"""

from __future__ import annotations

import datetime
import functools
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

import pint

from wrapcalc.errors import nearest

ureg: pint.UnitRegistry = pint.UnitRegistry()
pint.set_application_registry(ureg)
Quantity = ureg.Quantity

_LENGTH = {"mm": "mm", "cm": "cm", "m": "m", "km": "km", "um": "um", "µm": "um", "in": "inch", "ft": "foot",
           "mil": "thou", "mils": "thou"}
_STRESS = {"MPa": "MPa", "GPa": "GPa", "kPa": "kPa", "N/mm2": "MPa", "N/mm²": "MPa", "psi": "psi", "ksi": "ksi",
           "Msi": "Mpsi"}
_DIFFERENCE = {"degC": "delta_degC", "°C": "delta_degC", "C": "delta_degC", "K": "delta_degC",
               "degF": "delta_degF", "°F": "delta_degF", "F": "delta_degF"}


@dataclass(frozen=True, slots=True)
class Kind:
    """What a field measures. units: text a user may write -> pint name; base: the unit we calculate in;
    note: what else the user should know; refused: known wrong spellings -> why."""

    name: str
    base: str
    units: dict[str, str]
    note: str = ""
    refused: dict[str, str] | None = None


_ABSOLUTE = dict.fromkeys(("psia", "bara", "MPaa", "kPaa", "atm", "Pa(abs)", "MPa(abs)"),
                          "it is an absolute pressure; every pressure here is gauge")

KINDS: dict[str, Kind] = {k.name: k for k in (
    Kind("length", "mm", _LENGTH),
    Kind("gauge pressure", "MPa", {"MPa": "MPa", "kPa": "kPa", "bar": "bar", "barg": "bar", "psi": "psi",
                                   "psig": "psi"}, "gauge", _ABSOLUTE),
    Kind("stress", "MPa", _STRESS, refused={"psig": "gauge pressure is not a stress"}),
    Kind("modulus", "MPa", _STRESS, refused={"psig": "gauge pressure is not a modulus"}),
    Kind("temperature", "degC", {"degC": "degC", "°C": "degC", "C": "degC", "degF": "degF", "°F": "degF",
                                 "F": "degF", "K": "kelvin"}),
    Kind("temperature difference", "delta_degC", _DIFFERENCE, "a difference, not a reading"),
    Kind("expansion", "1/delta_degC", {"1/K": "1/delta_degC", "1/°C": "1/delta_degC", "1/degC": "1/delta_degC",
                                       "1/°F": "1/delta_degF", "1/degF": "1/delta_degF"}),
    Kind("force", "N", {"N": "N", "kN": "kN", "MN": "MN", "lbf": "lbf", "kip": "kip"}),
    Kind("moment", "N*mm", {"N*mm": "N*mm", "N.mm": "N*mm", "N·mm": "N*mm", "N*m": "N*m", "N.m": "N*m",
                            "N·m": "N*m", "kN*m": "kN*m", "kN.m": "kN*m", "kN·m": "kN*m", "lbf*in": "lbf*inch",
                            "lbf·in": "lbf*inch", "lbf*ft": "lbf*foot", "lbf·ft": "lbf*foot",
                            "ft*lbf": "lbf*foot"}),
    Kind("toughness", "N/mm", {"J/m2": "J/m**2", "J/m²": "J/m**2", "kJ/m2": "kJ/m**2", "kJ/m²": "kJ/m**2",
                               "N/mm": "N/mm", "N/m": "N/m", "lbf/in": "lbf/inch", "in*lbf/in2": "lbf/inch"}),
    Kind("area density", "kg/m**2", {"kg/m2": "kg/m**2", "kg/m²": "kg/m**2", "g/m2": "g/m**2", "g/m²": "g/m**2",
                                     "oz/yd2": "oz/yard**2", "oz/yd²": "oz/yard**2", "lb/ft2": "lb/foot**2",
                                     "lb/ft²": "lb/foot**2"}),
    Kind("density", "kg/L", {"kg/m3": "kg/m**3", "kg/m³": "kg/m**3", "kg/L": "kg/L", "g/mL": "kg/L",
                             "g/cm3": "g/cm**3", "g/cm³": "g/cm**3", "lb/gal": "lb/gallon",
                             "lb/ft3": "lb/foot**3", "lb/ft³": "lb/foot**3"}),
    Kind("mass", "kg", {"kg": "kg", "g": "g", "lb": "lb", "oz": "oz"}),
    Kind("volume", "L", {"L": "L", "mL": "mL", "m3": "m**3", "m³": "m**3", "gal": "gallon", "floz": "floz"}),
    Kind("duration", "year", {"y": "year", "yr": "year", "year": "year", "years": "year", "month": "month",
                              "months": "month"}),
    Kind("growth rate", "mm/year", {"mm/y": "mm/year", "mm/yr": "mm/year", "mm/year": "mm/year", "um/y": "um/year",
                                    "µm/y": "um/year", "in/y": "inch/year", "in/yr": "inch/year",
                                    "mil/y": "thou/year", "mils/y": "thou/year", "mpy": "thou/year"}),
    Kind("time", "hour", {"h": "hour", "min": "minute", "s": "second", "d": "day"}),
    Kind("speed", "m/s", {"m/s": "m/s", "m/min": "m/minute", "km/h": "km/hour", "mph": "mile/hour",
                          "ft/min": "foot/minute", "ft/s": "foot/second", "knot": "knot"}),
    Kind("salt", "mg/m**2", {"mg/m2": "mg/m**2", "mg/m²": "mg/m**2", "ug/cm2": "ug/cm**2", "µg/cm2": "ug/cm**2",
                             "µg/cm²": "ug/cm**2"}),
    Kind("voltage", "V", {"V": "V", "kV": "kV"}),
    Kind("area", "m**2", {"m2": "m**2", "m²": "m**2", "mm2": "mm**2", "mm²": "mm**2", "cm2": "cm**2", "cm²": "cm**2",
                          "ft2": "foot**2", "ft²": "foot**2", "in2": "inch**2", "in²": "inch**2"}),
    Kind("strain", "", {"%": "percent", "mm/mm": "", "in/in": "", "microstrain": "ppm"}),
    Kind("percentage", "", {"%": "percent"}),
    Kind("number", "", {}, "a pure number, without a unit"),
    Kind("count", "", {}, "a whole number, without a unit"),
)}

#: The coherent US customary twin of each unit that a formula may declare.
US_TWIN: dict[str, str] = {
    "": "", "mm": "inch", "m": "foot", "mm**2": "inch**2", "m**2": "foot**2", "mm**3": "inch**3",
    "mm**4": "inch**4", "MPa": "psi", "N": "lbf", "N*mm": "lbf*inch", "degC": "degF", "delta_degC": "delta_degF",
    "1/delta_degC": "1/delta_degF", "L": "gallon", "kg": "lb", "kg/L": "lb/gallon", "kg/m**2": "lb/foot**2",
    "year": "year", "mm/year": "inch/year", "N/mm": "lbf/inch",
    "hour": "hour", "m/s": "foot/second", "mg/m**2": "mg/m**2", "V": "V", "m**3": "foot**3", "kg/m": "lb/foot",
}

_LABELS: dict[str, str] = {
    "": "", "percent": "%", "ppm": "microstrain", "inch": "in", "foot": "ft", "thou": "mil", "um": "µm",
    "mm**2": "mm²", "m**2": "m²", "inch**2": "in²", "foot**2": "ft²", "mm**3": "mm³", "inch**3": "in³",
    "mm**4": "mm⁴", "inch**4": "in⁴", "N*mm": "N·mm", "N*m": "N·m", "kN*m": "kN·m", "lbf*inch": "lbf·in",
    "lbf*foot": "lbf·ft", "degC": "°C", "degF": "°F", "kelvin": "K", "delta_degC": "°C", "delta_degF": "°F",
    "1/delta_degC": "1/°C", "1/delta_degF": "1/°F", "gallon": "gal", "kg/m**2": "kg/m²", "g/m**2": "g/m²",
    "lb/gallon": "lb/gal", "lb/foot**2": "lb/ft²", "year": "y", "kg/m**3": "kg/m³", "g/cm**3": "g/cm³",
    "mm/year": "mm/y", "inch/year": "in/y", "thou/year": "mil/y", "um/year": "µm/y",
    "N/mm": "N/mm", "lbf/inch": "lbf/in", "J/m**2": "J/m²", "kJ/m**2": "kJ/m²",
    "m**3": "m³", "hour": "h", "minute": "min", "second": "s", "day": "d", "m/minute": "m/min", "km/hour": "km/h",
    "mile/hour": "mph", "foot/minute": "ft/min", "foot/second": "ft/s", "mg/m**2": "mg/m²", "ug/cm**2": "µg/cm²",
    "cm**2": "cm²", "foot**3": "ft³", "lb/foot": "lb/ft", "lb/foot**3": "lb/ft³", "oz/yard**2": "oz/yd²", "Mpsi": "Msi",
}

#: Units that a result may also be shown in, because the coherent one is too small to read.
READABLE: dict[str, str] = {"mm**3": "L", "inch**3": "gallon", "mm**2": "m**2", "inch**2": "foot**2",
                            "N": "kN", "lbf": "kip", "inch/year": "thou/year"}


class QuantityFault(ValueError):
    """A text that is not a quantity of the wanted kind. found / allowed / mend are ready to print."""

    def __init__(self, found: str, allowed: str, mend: str):
        self.found, self.allowed, self.mend = found, allowed, mend
        super().__init__(f"found {found}; allowed: {allowed}. To mend: {mend}")


#: Longest text that can be one number and one unit, and the span of sizes that can be one of pipe work.
_LONGEST, _LEAST, _MOST = 80, 1e-12, 1e12
_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_QUANTITY = re.compile(rf"({_NUMBER})\s*(.*)", re.ASCII)
_COMMA = re.compile(r"[+-]?[\d ]*,\d", re.ASCII)
_POWER = re.compile(r"\s*×\s*10([⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+)")
_RAISED = str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")


def printable(text: str) -> str:
    """Text as it may stand in a message: one line, control and other invisible characters as escapes."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape", "backslashreplace").decode("ascii")
                   for c in " ".join(text.split()))


def shown(raw: object) -> str:
    """A piece of user input as it may stand in a message: quoted, cut to 60 characters, one line."""
    if isinstance(raw, dict):
        return "a table"
    if isinstance(raw, (list, tuple)):
        return f"a list of {len(raw)}"
    if isinstance(raw, bool):
        return f"'{raw}'".lower()
    if isinstance(raw, int) and abs(raw) >= 10 ** 60:
        return f"a whole number of {int(raw.bit_length() * 0.30103) + 1} digits"
    if isinstance(raw, (datetime.date, datetime.time)):
        return f"the date or time {raw.isoformat()}"
    s = printable(raw[:400] if isinstance(raw, str) else repr(raw))
    return f"'{s[:60]}…'" if len(s) > 60 else f"'{s}'"


def parse(text: object, kind: str) -> tuple[float, str]:
    """Magnitude and pint unit name of `text`, a quantity of `kind` such as "8.2 mm".

    Returns the number as written (no conversion). Raises QuantityFault for anything that is not one
    finite number followed by one unit of the kind. Numbers for the kinds "number" and "count" have no unit.
    """
    k = KINDS[kind]
    allowed = _allowed(k)
    example = _example(k)
    if isinstance(text, bool) or not isinstance(text, (int, float, str)):
        raise QuantityFault(shown(text), allowed, f"write it like {example}")
    if k.units == {}:
        return _bare(text, k, allowed), ""
    if not isinstance(text, str):
        raise QuantityFault(f"the bare number {shown(text).strip(chr(39))}", allowed,
                            f"add the unit, such as {example}")
    if len(text) > _LONGEST:
        raise QuantityFault(shown(text), allowed, f"write one number and its unit, such as {example}")
    plain = _POWER.sub(lambda m: "e" + m[1].translate(_RAISED), text.strip()).replace("−", "-")
    m = _QUANTITY.fullmatch(plain)
    if m is None or m[2].startswith(",") or "," in m[2]:
        comma = m is not None or _COMMA.match(plain)
        mend = "use a decimal point and no thousands separator, such as " if comma else "write it like "
        raise QuantityFault(shown(text), allowed, mend + example)
    number, unit = m.groups()
    if not unit:
        raise QuantityFault(f"{shown(text)}, which has no unit", allowed, f"add the unit, such as {example}")
    if unit not in k.units:
        raise QuantityFault(shown(text), allowed, _why_not(unit, k, example))
    value = float(number)
    _sensible(value, float(convert(value, k.units[unit], k.base)), text, k)
    return value, k.units[unit]


def to_base(magnitude: float, unit: str, kind: str) -> float:
    """A stated magnitude in the unit we calculate in, to 12 digits when it is converted.

    The digits beyond are noise of the conversion: without the rounding 147.2 °F would lie above 64 °C, and a
    limit that is met exactly would be missed by a hair.
    """
    base = KINDS[kind].base
    return float(magnitude) if unit == base else float(f"{convert(float(magnitude), unit, base):.12g}")


def _sensible(value: float, base: float, text: object, k: Kind) -> None:
    cold = k.name == "temperature" and base < -273.15 - 1e-9
    if not math.isfinite(base) or abs(base) > _MOST or 0 < abs(base) < _LEAST or cold:
        unit = f" {label(k.base)}".rstrip()
        raise QuantityFault(shown(text), f"0, or a size from 1e-12 to 1e12{unit}" if not cold else
                            "a temperature above absolute zero", "check the number, its exponent and its unit")


def _bare(text: object, k: Kind, allowed: str) -> float:
    whole = k.name == "count"
    if isinstance(text, str):
        raise QuantityFault(shown(text), allowed, "write the number alone, without quotation marks or unit, such as "
                            + _example(k))
    try:
        value = float(text)  # type: ignore[arg-type]
    except OverflowError:
        value = math.inf
    if not math.isfinite(value) or (whole and value != int(value)):
        raise QuantityFault(shown(text), allowed, f"write a {'whole' if whole else 'finite'} number")
    _sensible(value, value, text, k)
    return value


def _a(k: Kind) -> str:
    return f"{'an' if k.name[0] in 'aeiou' else 'a'} {k.name}"


def _allowed(k: Kind) -> str:
    if not k.units:
        return k.note
    extra = f" ({k.note})" if k.note else ""
    return f"{_a(k)} with one of the units {', '.join(k.units)}{extra}"


_EXAMPLES = {"length": '"8.2 mm"', "gauge pressure": '"6.5 MPa"', "temperature": '"20 °C"',
             "temperature difference": '"3 °C"', "expansion": '"11.7e-6 1/°C"', "strain": '"0.25 %"',
             "percentage": '"15 %"', "duration": '"20 y"', "modulus": '"24 GPa"', "stress": '"359 MPa"',
             "time": '"40 min"', "moment": '"0 N*m"', "density": '"1.15 kg/L"', "area density": '"0.9 kg/m2"'}


def _example(k: Kind) -> str:
    if not k.units:
        return "0.72" if k.name == "number" else "3"
    return _EXAMPLES.get(k.name, f'"1.5 {next(iter(k.units))}"')


def _why_not(unit: str, k: Kind, example: str) -> str:
    if k.refused and unit in k.refused:
        return f"{unit} is refused: {k.refused[unit]}; write {_a(k)} such as {example}"
    if k.refused is _ABSOLUTE and "abs" in unit.casefold():
        return f"{printable(unit)[:20]} is refused: {_ABSOLUTE['psia']}; write {_a(k)} such as {example}"
    for other in KINDS.values():
        if unit in other.units:
            return f"{unit} measures {_a(other)}; write {_a(k)} such as {example}"
    if unit[0].isdigit():
        return f"write the number without spaces between its digits, such as {example}"
    near = close(unit, k.units)
    return f"'{printable(unit)[:20]}' is not a unit we know; " + (f"did you mean '{near}'?" if near
                                                                   else f"write it like {example}")


def close(name: str, known: Iterable[str]) -> str | None:
    """The known name that `name` was probably meant to be, whatever its capitals; None when nothing is close."""
    known, name = list(known), name[:60]
    same = [k for k in known if k.casefold() == name.casefold()]
    return same[0] if len(same) == 1 else nearest(name, known)


@functools.lru_cache(maxsize=4096)
def _scale(source: str, target: str) -> tuple[float, float]:
    """(factor, offset) of the conversion, worked out once by pint."""
    zero = float(Quantity(0.0, source).m_as(target)) if source else 0.0
    if source in ("degC", "degF", "kelvin"):
        return float(Quantity(1.0, source).m_as(target)) - zero, zero
    return float(Quantity(1.0, source or "dimensionless").m_as(target or "dimensionless")), 0.0


def convert(magnitude, source: str, target: str):
    """`magnitude` (float or array) from pint unit `source` to `target`. Raises pint.DimensionalityError."""
    if source == target:
        return magnitude
    if (source, target) == ("degF", "degC"):  # 32 °F is 0 °C, not 4e-15 °C
        return (magnitude - 32) / 1.8
    if (source, target) == ("degC", "degF"):
        return magnitude * 1.8 + 32
    factor, offset = _scale(source, target)
    return magnitude * factor + offset


def steady(x: float) -> float:
    """`x` to 12 significant digits: what a calculation means, without what binary arithmetic leaves behind.

    8.2 - 0.2 is 8, not 7.999999999999999: a limit at 8 must not be decided by that.
    """
    return float(f"{x:.12g}")


def label(unit: str) -> str:
    """How a unit is printed: 'mm**2' -> 'mm²'. '' for a pure number."""
    return _LABELS.get(unit, unit)


def display_unit(unit: str, system: str) -> str:
    """The unit in which a value of formula unit `unit` is shown; system is "SI" or "US"."""
    return unit if system == "SI" else US_TWIN[unit]


def digits(value: float, significant: int = 5) -> str:
    """`value` with so many significant digits as plain text, no exponent from 1e-3 to 1e8.

    Exact short numbers stay short (609.6, 52000); nothing is printed with 17 digits. Raises ValueError for
    NaN and infinity, which are never printed.
    """
    if not math.isfinite(value):
        raise ValueError(f"{value!r} is not a number that may be printed")
    if value == 0:
        return "0"
    mantissa, exp = f"{value:.{significant - 1}e}".split("e")
    exponent = int(exp)
    rounded = float(f"{mantissa}e{exp}")  # infinite for the largest float, which then keeps its exponent
    exact = math.isclose(rounded, value, rel_tol=1e-12)
    if exponent < -3 or exponent > 7:
        if exact and "." in mantissa:
            mantissa = mantissa.rstrip("0").rstrip(".")
        return f"{mantissa}e{exponent}"
    text = f"{rounded:.{max(significant - 1 - exponent, 0)}f}"
    return text.rstrip("0").rstrip(".") if exact and "." in text else text


#: Shorter times are read in minutes.
_HOURS = 1


def show(magnitude: float, unit: str, *, system: str = "SI", significant: int = 4) -> str:
    """One quantity for reading: value in its display unit, few digits, unit label. The only printer of numbers."""
    target = display_unit(unit, system) if unit in US_TWIN else unit
    if target == "hour" and 0 < abs(magnitude) < _HOURS:
        target = "minute"
    text = tidy(digits(convert(magnitude, unit, target), significant))
    return f"{text} {label(target)}".rstrip()


def tidy(number: str) -> str:
    """Plain digits made readable: a real minus sign, and 1.2e-5 as 1.2 × 10⁻⁵."""
    if "e" in number:
        mantissa, exp = number.split("e")
        number = f"{mantissa} × 10" + exp.translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))
    return number.replace("-", "−")
