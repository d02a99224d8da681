"""Dew point and humidity against the sheet's limits, with the errors of the instruments on the unsafe side."""

from __future__ import annotations

from dataclasses import dataclass

from wrapcalc.case import Bundle
from wrapcalc.formulas import climate as formula
from wrapcalc.recorder import active
from wrapcalc.standards.documents import IMO_COATING, MAGNUS_1996, PRACTICE
from wrapcalc.values import Value

MARGIN, HUMIDITY = ("surface.dew_margin", "dew_margin"), ("surface.humidity_max", "humidity_max")


@dataclass(frozen=True)
class Limit:
    """A limit of the climate with what it rests on."""

    value: Value
    citation: str
    status: str


@dataclass(frozen=True)
class Conditions:
    """Air and steel at one time, worked with the errors of the instruments. None: not known, or outside a scope.

    humidity: of the air; at_steel: in the air that touches the steel; margin: of the steel above the dew point.
    """

    dew_point: Value | None = None
    margin: Value | None = None
    humidity: Value | None = None
    at_steel: Value | None = None


def limit(bundle: Bundle, names: tuple[str, str]) -> Limit:
    """The sheet's limit, else that of the coating guideline. A sheet that asks for less than the guideline is told."""
    rec, system, entry = active(), bundle.system, bundle.tables.entry(IMO_COATING.id, names[1])
    assert system is not None
    usual = entry.value()
    given = getattr(system.surface, names[0].partition(".")[2])
    if given is None:
        rec.assume(f"The sheet of {system.system.id} gives no {names[0]}; the usual limit of coating work holds: "
                   f"{usual.show(bundle.case.display)}.", entry.citation)
        return Limit(usual, entry.citation, entry.status)
    own = system.value(names[0])
    if own.magnitude < usual.magnitude if names is MARGIN else own.magnitude > usual.magnitude:
        rec.warn(f"The sheet of {system.system.id} asks for {own.show(bundle.case.display)} as {names[0]}, less than "
                 f"the usual limit of coating work, {usual.show(bundle.case.display)}. The sheet holds: it has to rest "
                 "on the qualification of the system.", entry.citation)
    return Limit(own, f"sheet of {system.system.id}", "system sheet")


def planned(bundle: Bundle) -> Conditions:
    """What the plan expects: the hottest air and the coldest steel with the humidity of the plan."""
    case, rec = bundle.case, active()
    rec.begin("Surface and climate")
    if case.get("work.humidity") is not None:
        rec.assume("The dew point of the plan is that of the hottest air at the stated humidity, with the coldest "
                   "steel: warm air of the same relative humidity holds more water.", "safer reading")
    return conditions(bundle, case.optional("work.air_high"), case.optional("work.humidity"),
                      case.optional("work.steel_low"), "as planned")


def conditions(bundle: Bundle, air: Value | None, humidity: Value | None, steel: Value | None, words: str,
               most: Value | None = None) -> Conditions:
    """Dew point, margin and humidities with the errors of the instruments, and their checks.

    words: of what; most: the highest humidity, where it is not that of the hour of the dew point.
    """
    case, rec = bundle.case, active()
    error, points = case.optional("work.temperature_error"), case.optional("work.humidity_error")
    warm = phi = dew = cold = margin = at_steel = None
    if air is not None and error is not None:
        warm = rec.named(formula.reading_raised(air, error), f"Air with the error of the thermometer, {words}")
    if humidity is not None and points is not None:
        phi = rec.named(formula.humidity_raised(humidity, points),
                        f"Humidity with the error of the hygrometer, {words}")
    if steel is not None and error is not None:
        cold = rec.named(formula.reading_lowered(steel, error),
                         f"Steel with the error of the thermometer taken off, {words}")
    a, b = (bundle.tables.value(MAGNUS_1996.id, name) for name in ("magnus_a", "magnus_b"))
    if warm is not None and phi is not None and _inside(bundle, warm, f"air, {words}"):
        gamma = formula.magnus_term(phi, a, b, warm)
        dew = rec.named(formula.dew_point(a, b, gamma), f"Dew point, {words}")
        if not _inside(bundle, dew, f"dew point, {words}"):
            rec.strike(dew, "outside the range of the Magnus form")
            dew = None
    if dew is not None and cold is not None and _above_freezing(bundle, cold, words):
        margin = rec.named(formula.dew_margin(cold, dew), f"Steel above the dew point, {words}")
        if _inside(bundle, cold, f"steel, {words}"):
            at_steel = rec.named(formula.humidity_at_steel(phi, a, b, warm, cold), f"Humidity at the steel, {words}")
    if most is not None and points is not None:
        phi = rec.named(formula.humidity_raised(most, points),
                        f"Highest humidity with the error of the hygrometer, {words}")
    out = Conditions(dew, margin, phi, at_steel)
    _checks(bundle, out, words)
    return out


def _inside(bundle: Bundle, temperature: Value, what: str) -> bool:
    """Whether the Magnus form is used there; recorded where it is not."""
    rec, tables = active(), bundle.tables
    for sense, name in ((">=", "range_low"), ("<=", "range_high")):
        entry = tables.entry(MAGNUS_1996.id, name)
        low = entry.value()
        if temperature.magnitude < low.magnitude if sense == ">=" else temperature.magnitude > low.magnitude:
            rec.check(f"Range of the dew point formula: {what}", temperature, sense, low, citation=entry.citation,
                      status=entry.status, kind="scope")
            return False
    return True


def _above_freezing(bundle: Bundle, steel: Value, words: str) -> bool:
    entry = bundle.tables.entry(PRACTICE.id, "freezing")
    if steel.magnitude >= entry.value().magnitude:
        return True
    active().check(f"Steel above freezing, {words}", steel, ">=", entry.value(), citation=entry.citation,
                   status=entry.status, kind="scope", note="below it frost forms above the dew point")
    return False


def _checks(bundle: Bundle, c: Conditions, words: str) -> None:
    rec, margin, humid = active(), limit(bundle, MARGIN), limit(bundle, HUMIDITY)
    rec.check(f"Steel above the dew point, {words}", c.margin, ">=", margin.value, citation=margin.citation,
              status=margin.status, note="errors of the instruments are taken off")
    rec.check(f"Relative humidity, {words}", c.humidity, "<=", humid.value, citation=humid.citation,
              status=humid.status, note="with the error of the instrument")
    rec.check(f"Relative humidity at the steel, {words}", c.at_steel, "<=", humid.value, citation=humid.citation,
              status=humid.status, kind="information", note="in the air that touches the steel")
