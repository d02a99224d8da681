"""What may be moved on the bench: quantities with the span of their slider, and choices; each where the case has it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from wrapcalc import units
from wrapcalc.case import Bundle
from wrapcalc.case.design_model import ASME_EDITIONS, ISO_EDITIONS, ROUTES
from wrapcalc.case.model import DNV, GAS, METHODS, PLANT, RSF
from wrapcalc.case.site_model import OBJECTIVES
from wrapcalc.fields import Given, lookup
from wrapcalc.systems import shipped_systems

#: Steps of a slider on each side of the stated value at most.
_MOST_STEPS = 60
#: pint units of US customary sizes; the others are of the SI or metric.
_US = frozenset(("inch", "foot", "thou", "psi", "ksi", "Mpsi", "degF", "delta_degF", "lbf", "kip", "inch/year",
                 "thou/year"))
_SAME = 1e-9
NOT_STATED = "not stated in the case"

#: What a raw field of a case file may hold: "4.2 mm", a bare number, a word; None takes it out.
Raw = str | int | None


@dataclass(frozen=True)
class Reach:
    """How far a slider goes. low, high: factors on the stated value; room: amount added beyond, in the base unit."""

    low: float
    high: float
    room: float = 0.0


#: Field -> name on the bench, reach.
QUANTITIES: dict[str, tuple[str, Reach]] = {
    "defect.depth": ("Depth of the defect", Reach(0.3, 2.0)),
    "defect.length": ("Length of the defect", Reach(0.2, 2.5)),
    "defect.width": ("Width of the defect, around", Reach(0.3, 2.0)),
    "defect.leak_size": ("Opening through the wall", Reach(0.3, 2.5)),
    "pipe.sound_wall": ("Sound wall", Reach(0.8, 1.2)),
    "service.maop": ("MAOP", Reach(0.6, 1.25)),
    "service.lowered_maop": ("Lowered MAOP", Reach(0.5, 1.25)),
    "service.upset_pressure": ("Upset pressure", Reach(0.8, 1.25)),
    "service.test_pressure": ("Test pressure", Reach(0.8, 1.25)),
    "service.installation_pressure": ("Pressure while wrapping", Reach(0.0, 2.0, 1.0)),
    "service.service_temperature": ("Hottest service temperature", Reach(1.0, 1.0, 40.0)),
    "service.lowest_temperature": ("Coldest service temperature", Reach(1.0, 1.0, 25.0)),
    "service.installation_temperature": ("Steel temperature while wrapping", Reach(1.0, 1.0, 25.0)),
    "defect.clear_upstream": ("Clear pipe upstream", Reach(0.05, 1.5)),
    "defect.clear_downstream": ("Clear pipe downstream", Reach(0.05, 1.5)),
    "growth.rate": ("Growth rate of depth", Reach(0.2, 3.0)),
    "design.design_life": ("Design life of the repair", Reach(0.25, 2.0)),
}


@dataclass(frozen=True)
class Slider:
    """A quantity that may be moved. unit: as written in its texts; base, step, low, high: numbers in that unit.

    as_stated: the text of the case; its slider stands at `base`, and every place is a whole number of steps from it.
    """

    field: str
    name: str
    kind: str
    unit: str
    pint: str
    as_stated: str
    base: float
    step: float
    low: float
    high: float

    @property
    def label(self) -> str:
        """Its name with its unit."""
        return f"{self.name} ({self.unit})"

    def text(self, place: float) -> str:
        """The text of a case file for a place of the slider; at the stated value that of the case itself."""
        number = self.base + round((place - self.base) / self.step) * self.step
        if abs(number - self.base) < self.step / 2:
            return self.as_stated
        return f"{units.digits(units.steady(number), 8)} {self.unit}"

    def place(self, text: str) -> float:
        """Where a text stands on the slider, in its unit. Raises units.QuantityFault for what is no such quantity."""
        number, unit = units.parse(text, self.kind)
        return units.steady(float(units.convert(number, unit, self.pint)))

    def span(self) -> str:
        """From where to where the slider goes."""
        return f"{units.tidy(units.digits(self.low, 4))} to {units.tidy(units.digits(self.high, 4))} {self.unit}"


@dataclass(frozen=True)
class Choice:
    """A field that takes one of some words. options: (shown, what stands in the file); as_stated: of the case."""

    field: str
    name: str
    options: tuple[tuple[str, Raw], ...]
    as_stated: Raw


Input = Slider | Choice


def sliders(bundle: Bundle, accepts: Callable[[str, str], bool]) -> tuple[Slider, ...]:
    """A slider for each quantity that the case states. accepts: whether the readers take a text in a field."""
    return tuple(_bounded(s, accepts) for field, (name, reach) in QUANTITIES.items()
                 if (s := _slider(bundle, field, name, reach)) is not None)


def _slider(bundle: Bundle, field: str, name: str, reach: Reach) -> Slider | None:
    given = lookup(bundle.case, field)
    if not isinstance(given, Given):
        return None
    kind = units.KINDS[given.kind]
    us = bundle.case.display == "US"
    pint = given.unit if (given.unit in _US) == us or kind.base == "year" else units.display_unit(
        kind.base, bundle.case.display)
    unit = next(text for text in (units.label(pint), *kind.units) if kind.units.get(text) == pint)
    base = units.steady(float(units.convert(given.magnitude, given.unit, pint)))
    room = abs(float(units.convert(given.base + reach.room, kind.base, pint))
               - float(units.convert(given.base, kind.base, pint)))
    low, high = min(base * reach.low, base) - (room if kind.name == "temperature" else 0), base * reach.high + room
    step = _step((high - low) / (2 * _MOST_STEPS))
    return Slider(field, name, given.kind, unit, pint, given.written, base, step, _on_step(base, low, step, math.ceil),
                  _on_step(base, high, step, math.floor))


def _step(least: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that is not below `least`."""
    power = 10.0 ** math.floor(math.log10(least))
    return units.steady(next(k * power for k in (1, 2, 5, 10) if k * power >= least * (1 - _SAME)))


def _on_step(base: float, end: float, step: float, way: Callable[[float], int]) -> float:
    return units.steady(base + way((end - base) / step - _SAME if way is math.ceil else (end - base) / step + _SAME)
                        * step)


def _bounded(s: Slider, accepts: Callable[[str, str], bool]) -> Slider:
    """The slider with ends that the readers take, all else as stated: found by halving on its steps."""
    ends = []
    for end in (s.low, s.high):
        steps = round((end - s.base) / s.step)
        good, bad = 0, steps
        if steps and not accepts(s.field, s.text(end)):
            while abs(bad - good) > 1:
                middle = int((good + bad) / 2)
                good, bad = (middle, bad) if accepts(s.field, s.text(s.base + middle * s.step)) else (good, middle)
            steps = good
        ends.append(units.steady(s.base + steps * s.step))
    return Slider(s.field, s.name, s.kind, s.unit, s.pint, s.as_stated, s.base, s.step, ends[0], ends[1])


# -- choices ------------------------------------------------------------------------------------------------------
#: Field of a choice -> field that says why; a choice that leaves the safer reading needs its reason.
REASONS = {"assessment.method": "assessment.method_reason", "design.design_method": "design.design_method_reason"}


def choices(bundle: Bundle, sheets_beside: tuple[str, ...]) -> tuple[Choice, ...]:
    """The choices that this case has. sheets_beside: file names of system sheets beside the case."""
    return tuple(c for c in _choices(bundle, sheets_beside) if len(c.options) > 1)


def _choices(bundle: Bundle, sheets_beside: tuple[str, ...]) -> Iterator[Choice]:
    case = bundle.case
    if case.service.service == GAS:
        yield _words(bundle, "service.class_location", "Class location", ("1", "2", "3", "4"))
    if case.defect.depth is not None:
        known = [m for m in METHODS if (m == RSF) == (case.service.service == PLANT) or m in ("lower of all",)]
        if bundle.grid is None and bundle.profile is None and bundle.pits is None:
            known = [m for m in known if m not in ("effective area", "profile before box")]
        if case.get("pipe.smts") is None:
            known = [m for m in known if m != DNV]
        yield _words(bundle, "assessment.method", "Method of remaining strength that governs", tuple(known))
    if case.design.system is None:
        return
    yield _words(bundle, "design.system", "Wrap system", (*shipped_systems(), *sheets_beside))
    yield _words(bundle, "design.standard", "Standard and edition of the wrap", (*ISO_EDITIONS, *ASME_EDITIONS))
    yield _words(bundle, "design.design_method", "Thickness route", ROUTES)
    if case.design.tiers is not None:
        stated = int(case.design.tiers.base)
        yield Choice("design.tiers", "Sleeves one over the other", tuple((str(n), n) for n in range(1, 5)), stated)
    if case.layout.second is None:
        yield _words(bundle, "layout.first", "What counts most when the set of units is chosen", OBJECTIVES)
    if any(s.item in ("unit", "cloth") for s in case.stock):
        yield _words(bundle, "layout.from_stock", "Only units that are in stock", ("yes", "no"))


def _words(bundle: Bundle, field: str, name: str, known: tuple[str, ...]) -> Choice:
    stated = lookup(bundle.case, field)
    words = list(dict.fromkeys((*known, *(() if stated is None else (str(stated),)))))
    options: list[tuple[str, Raw]] = [(w, w) for w in words]
    if stated is None:
        options.insert(0, (NOT_STATED, None))
    return Choice(field, name, tuple(options), None if stated is None else str(stated))
