"""Voltage of the holiday test: only by the standard and edition that the case names, never a default."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from wrapcalc import units
from wrapcalc.case import Bundle
from wrapcalc.checks import Check
from wrapcalc.formulas import release as law
from wrapcalc.recorder import active
from wrapcalc.standards.documents import ASTM_G62, PRACTICE, SP0188, SP0274, SP0490
from wrapcalc.values import Value

#: Rows of the table of steps.
_ROWS = range(1, 8)
NO_STANDARD = ("No standard is named: at a thickness of 40 mil those in use differ by a factor of 2.4, and there is "
               "no default. Name the standard and its edition in work.holiday_standard")
CAUTIONS = (
    "Decide before the test how it is done over the wrap: a laminate with carbon fibre conducts and gives a false "
    "ground, a laminate with glass fibre adds its own insulation to that of the coating.",
    "The voltage is for the coating on the bare steel. Measure its dry thickness before the test and set the voltage "
    "by what was measured; a voltage that is too high burns sound coating, one that is too low finds nothing.",
)
#: Editions that came after the one that may be named; their voltages we have not seen.
_LATER = {SP0188.id: "January 2024", ASTM_G62.id: "2023"}


@dataclass(frozen=True)
class Holiday:
    """The test as planned. lowest and highest: equal where the standard gives one voltage, None with `reason`.

    air, film: below the first no pinhole is found, above the second a sound coating may be burnt (information).
    """

    standard: str | None
    coating: str | None
    thickness: Value | None
    lowest: Value | None = None
    highest: Value | None = None
    air: Value | None = None
    film: Value | None = None
    reason: str = ""
    cautions: tuple[str, ...] = CAUTIONS


def holiday(bundle: Bundle) -> Holiday:
    """The voltage by the named standard, or why there is none."""
    rec, case = active(), bundle.case
    rec.begin("Holiday test")
    standard, thickness = case.get("work.holiday_standard"), case.optional("work.coating_thickness")
    base = {"standard": standard and str(standard), "coating": case.get("work.coating"), "thickness": thickness}
    if standard is None:
        rec.check("Voltage of the holiday test", None, ">=", None, citation=PRACTICE.id, status="common practice",
                  kind="information", note=NO_STANDARD)
        return Holiday(**base, reason=NO_STANDARD)
    assert thickness is not None, "a case that names a standard and no thickness is refused"
    if later := _LATER.get(str(standard)):
        rec.assume(f"The holiday test is by {standard} as named; the edition of {later} was not seen and may differ.",
                   "case: work.holiday_standard")
    lowest, highest, reason = _BY[str(standard)](bundle, thickness)
    if lowest is None or highest is None:
        return Holiday(**base, reason=reason)
    air, film = _bounds(bundle, thickness, lowest, highest)
    return Holiday(**base, lowest=lowest, highest=highest, air=air, film=film)


def _scope(bundle: Bundle, document: str, thickness: Value, *, upper: bool = True) -> str:
    """"" inside the validity of the standard, else why there is no voltage."""
    rec, failed = active(), []
    sides = [("least", ">=", "holiday_thickness_min")] + [("greatest", "<=", "holiday_thickness_max")] * upper
    for word, sense, name in sides:
        entry = bundle.tables.entry(document, name)
        check = rec.check(f"Thickness of the coating against the {word} of {document}", thickness, sense, entry.value(),
                          citation=entry.citation, status=entry.status, kind="scope")
        failed += [] if check.met else [check]
    return _outside(bundle, document, thickness, failed[0]) if failed else ""


def _outside(bundle: Bundle, document: str, thickness: Value, check: Check) -> str:
    display = bundle.case.display
    assert check.limit is not None
    word = "at least" if check.sense == ">=" else "at most"
    return (f"The coating of {thickness.show(display)} is outside {document}, {word} {check.limit.show(display)}: no "
            "voltage is given; name a standard that covers it")


def _square_root(bundle: Bundle, thickness: Value) -> tuple[Value | None, Value | None, str]:
    if reason := _scope(bundle, SP0274.id, thickness):
        return None, None, reason
    at = bundle.tables.value
    volts = law.holiday_voltage_square_root(at(SP0274.id, "holiday_voltage"), thickness,
                                            at(SP0274.id, "holiday_voltage_thickness"))
    return volts, volts, ""


def _thin_film(bundle: Bundle, thickness: Value) -> tuple[Value | None, Value | None, str]:
    if reason := _scope(bundle, SP0490.id, thickness):
        return None, None, reason
    rec, at = active(), bundle.tables.value
    out = []
    for name, words in (("holiday_voltage_low", "lower"), ("holiday_voltage_high", "higher")):
        out.append(rec.named(law.holiday_voltage_thin_film(at(SP0490.id, name), thickness,
                                                           at(SP0490.id, "holiday_voltage_thickness")),
                             f"Voltage of the holiday test, {words} end"))
    rec.warn(f"{SP0490.id} is for fusion-bonded epoxy alone; the coating stated is: "
             f"{bundle.case.get('work.coating') or 'nothing'}.", "case: work.holiday_standard")
    return out[0], out[1], ""


def _two_branches(bundle: Bundle, thickness: Value) -> tuple[Value | None, Value | None, str]:
    if reason := _scope(bundle, ASTM_G62.id, thickness, upper=False):
        return None, None, reason
    rec, at = active(), bundle.tables.value
    change = at(ASTM_G62.id, "holiday_thin_up_to")
    volts = law.holiday_voltage_two_branches(
        at(ASTM_G62.id, "holiday_voltage_thin"), at(ASTM_G62.id, "holiday_voltage_thick"), thickness,
        at(ASTM_G62.id, "holiday_voltage_thickness"), change)
    entry = bundle.tables.entry(ASTM_G62.id, "holiday_voltage_max")
    check = rec.check("Voltage of the holiday test against the apparatus of method B", volts, "<=", entry.value(),
                      citation=entry.citation, status=entry.status, kind="scope")
    if not check.met:
        reason = (f"{volts.show()} is above the highest voltage of {ASTM_G62.id}, {entry.value().show()}: no voltage "
                  "is given; name a standard that covers this thickness")
        rec.strike(volts, reason)
        return None, None, reason
    rec.assume(f"{ASTM_G62.id} changes its law at {change.show(bundle.case.display)}, where the two differ by a "
               "factor of 2.4; the thickness as stated decides, and that as measured on site must lie on the same "
               "side.", "safer reading")
    return volts, volts, ""


def _steps(bundle: Bundle, thickness: Value) -> tuple[Value | None, Value | None, str]:
    """The voltage by the table of steps; between two rows, which are written in whole mils, that of the thicker."""
    rec, display, document = active(), bundle.case.display, SP0188.id
    rows = [tuple(bundle.tables.value(document, f"holiday_row_{i}_{part}") for part in ("from", "to", "voltage"))
            for i in _ROWS]
    edges = [v.magnitude for start, end, _ in rows for v in (start, end)]
    first, last = rows[0][0], rows[-1][1]
    entry = bundle.tables.entry(document, "holiday_row_1_from")
    if any(b <= a for a, b in pairwise(edges)):
        reason = (f"The rows of {document} as changed by the overlay do not rise from one to the next: no voltage is "
                  "given; correct the overlay")
        rec.check("Voltage of the holiday test", None, ">=", None, citation=entry.citation, status=entry.status,
                  kind="information", note=reason)
        return None, None, reason
    for word, sense, limit in (("least", ">=", first), ("greatest", "<=", last)):
        check = rec.check(f"Thickness of the coating against the {word} of {document}", thickness, sense, limit,
                          citation=entry.citation, status=entry.status, kind="scope")
        if not check.met:
            return None, None, _outside(bundle, document, thickness, check)
    start, end, volts = next(row for row in rows if thickness.magnitude <= row[1].magnitude)
    if thickness.magnitude < start.magnitude:
        rec.assume(f"The coating of {thickness.show(display)} lies between two rows of {document}; the row above "
                   "holds: a lower voltage can miss a holiday.", "safer reading")
    out = rec.procedure("Voltage of the holiday test",
                        "row of the table in which the thickness lies; between two rows that above; nothing outside it",
                        entry.citation, entry.status, {"thickness": thickness, "from": start, "up to": end,
                                                       "voltage": volts},
                        {"voltage of the test": (volts.magnitude, "V")},
                        [("row", f"{start.show(display)} to {end.show(display)}")])["voltage of the test"]
    return out, out, ""


_BY = {SP0274.id: _square_root, SP0490.id: _thin_film, SP0188.id: _steps, ASTM_G62.id: _two_branches}


def _bounds(bundle: Bundle, thickness: Value, lowest: Value, highest: Value) -> tuple[Value, Value]:
    """What air and film break down at: information, whatever the standard says."""
    rec, at = active(), bundle.tables

    def across(name: str, title: str) -> Value:
        over = at.value(PRACTICE.id, "strength_thickness")
        return rec.named(law.voltage_across(at.value(PRACTICE.id, name), thickness, over), title)

    air = across("air_strength", "Voltage that breaks down the air in a pinhole through the coating")
    film = across("film_strength", "Voltage that a sound coating stands, lower end")
    for title, volts, sense, bound, name, note in (
            ("Voltage of the holiday test against the air in a pinhole", lowest, ">=", air, "air_strength",
             "a voltage below it may pass over a pinhole through the whole coating"),
            ("Voltage of the holiday test against the strength of the coating", highest, "<=", film, "film_strength",
             "a voltage above it may burn sound coating: ask its supplier")):
        entry = at.entry(PRACTICE.id, name)
        check = rec.check(title, volts, sense, bound, citation=entry.citation, status=entry.status, kind="information",
                          note=note)
        if not check.met:
            rec.warn(f"Holiday test: {units.show(volts.magnitude, 'V')} by {bundle.case.get('work.holiday_standard')} "
                     f"is {'below' if sense == '>=' else 'above'} {units.show(bound.magnitude, 'V')}; {note}.",
                     volts.origin.ref)
    return air, film
