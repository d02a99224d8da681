"""Can the crew lay its units before the mix stiffens? Time needed against a share of the pot life; what to change."""

from __future__ import annotations

from dataclasses import dataclass, replace

from wrapcalc.case import Bundle
from wrapcalc.checks import Check
from wrapcalc.formulas import mixing as f
from wrapcalc.formulas import takeoff as quantity
from wrapcalc.recorder import active
from wrapcalc.stages.site.dosing import (
    citation,
    minutes,
    mix_of,
    pot_life_at,
    pot_life_table,
    sheet,
    units_on_clock,
)
from wrapcalc.stages.site.takeoff import tiers_below
from wrapcalc.stages.wrap.design import Design
from wrapcalc.standards.documents import MECHANICS, PRACTICE
from wrapcalc.systems.field_model import ADHESIVE
from wrapcalc.units import convert, show
from wrapcalc.values import Value


@dataclass(frozen=True)
class OnClock:
    """What is laid on one clock. units: how many; longest: developed length of the longest unit of all; all_units: of
    the repair; batches: for the clock that needs most, None without an order; in_all: when every clock begins with a
    batch of its own."""

    units: Value
    longest: Value
    all_units: Value | None = None
    batches: Value | None = None
    in_all: Value | None = None


@dataclass(frozen=True)
class Window:
    """The working window of one clock. materials: that are laid wet together; pot_life: the shortest of theirs.

    needed: None for materials without a unit to lay, and where the crew's times are not stated. remedies: what would
    fit, in words, when the check is not met.
    """

    materials: tuple[str, ...]
    pot_life: Value | None
    mixing: Value
    allowed: Value | None
    words: str
    needed: Value | None = None
    margin: Value | None = None
    check: Check | None = None
    remedies: tuple[str, ...] = ()


def together(bundle: Bundle, material: str) -> tuple[str, ...]:
    """The materials laid wet together with this one, in the order of the sheet, itself included."""
    assert bundle.system is not None
    links = {frozenset((m.material, m.laid_with)) for m in bundle.system.mix if m.laid_with not in (None, "alone")}
    found = {material}
    while more := {m for link in links if link & found for m in link} - found:
        found |= more
    return tuple(m.material for m in bundle.system.mix if m.material in found)


def on_clock(bundle: Bundle, d: Design, order: Value | None, lightest: Value) -> OnClock:
    """Units laid on one clock, and the batches that they need. order: mass of adhesive or resin, with its waste.

    lightest: mass of a mixed batch with the smallest dose, so that it is not counted for more than it is.
    """
    assert d.extent is not None
    units, longest, lengths = units_on_clock(bundle), *_lengths(bundle, d)
    widths = [w for r in d.extent.repairs if r.layout is not None for w in r.layout.widths]
    if order is None or not widths:
        return OnClock(units, longest)
    # Adhesive goes with the area of the layers: width times developed length.
    areas = sorted((w * c for w in widths for c in lengths), reverse=True)
    k = int(units.magnitude)
    clocks = [order.magnitude * sum(areas[n:n + k]) / sum(areas) for n in range(0, len(areas), k)]
    most, begun = clocks[0], sum(f.batches_for_set.core(m, lightest.magnitude) for m in clocks)
    out = active().procedure(
        "Adhesive for the units laid on one clock", "the order goes with width times developed length; units by "
        "falling area, so many on each clock; no clock uses what is left of another one's batch",
        MECHANICS.id, "derived",
        {"order with waste": order, "units on one clock": units, "developed length": longest,
         "lightest batch": lightest},
        {"units in all": (float(len(areas)), ""), "adhesive for one clock": (most, order.unit),
         "batches begun in all": (begun, "")},
        [(f"clock {n}", show(m, order.unit, system=bundle.case.display)) for n, m in enumerate(clocks, 1)])
    return OnClock(units, longest, out["units in all"], f.batches_for_set(out["adhesive for one clock"], lightest),
                   out["batches begun in all"])


def _lengths(bundle: Bundle, d: Design) -> tuple[Value, list[float]]:
    """Developed length of the longest unit, and in mm that of a unit of each tier."""
    system, case, rec = bundle.system, bundle.case, active()
    assert system is not None and d.laid is not None and d.extent is not None
    diameter, title = case.value("pipe.outside_diameter"), "Developed length of the longest unit"
    if not system.is_sleeve:
        ply = system.value("laminate.ply_thickness")
        length = rec.named(quantity.wrap_length_lay_up(d.laid.count, diameter, ply), title)
        return length, [length.magnitude]
    bond, of_one, pitch = system.value("sleeve.bond_line"), system.value("sleeve.layers"), d.extent.pitch
    under = diameter
    if d.laid.tiers > 1:
        under = quantity.diameter_under_tier(diameter, tiers_below(case, d.laid.tiers - 1), of_one, pitch)
    length = rec.named(quantity.wrap_length(of_one, under, pitch, bond), title)
    n, h, b = of_one.magnitude, pitch.magnitude, bond.magnitude
    return length, [quantity.wrap_length.core(n, quantity.diameter_under_tier.core(diameter.magnitude, k, n, h), h, b)
                    for k in range(d.laid.tiers)]


def window(bundle: Bundle, materials: tuple[str, ...], laid: OnClock | None) -> Window:
    """The working window of materials on one clock; laid: the units, None where none are laid with them."""
    rec, case = active(), bundle.case
    life, mixing = _pot_life(bundle, materials), _mixing(bundle, materials, laid)
    share = case.optional("work.window_share")
    allowed = f.time_allowed(share, life) if share is not None and life is not None else None
    words = _words(materials, life, allowed)
    if laid is None:
        return Window(materials, life, mixing, allowed, words)
    speed, settle = case.optional("work.wrap_speed"), case.optional("work.consolidate_time")
    others = " and ".join(m for m in materials if m != ADHESIVE)
    if others:
        rec.assume(f"On the clock of the adhesive one batch of {others} is mixed as well; the time to spread the "
                   f"{others} is not stated and not counted.", citation(bundle))
    needed = along = None
    if speed is not None and settle is not None:
        along = f.length_per_clock(laid.units, laid.longest)
        needed = f.time_needed(mixing, f.laying_time(along, speed), laid.units, settle)
    check = rec.check("Working window: time needed for the units laid from one batch", needed, "<=", allowed,
                      citation=PRACTICE.id, status="common practice", note=words)
    if needed is None or allowed is None or along is None:
        return Window(materials, life, mixing, allowed, words, needed, check=check)
    margin = f.window_margin(allowed, needed)
    out = Window(materials, life, mixing, allowed, words, needed, margin, check)
    return out if check.met else replace(out, remedies=_remedies(bundle, out, laid, along))


def _pot_life(bundle: Bundle, materials: tuple[str, ...]) -> Value | None:
    """The shortest pot life at the hottest plan; None where one of them is not known."""
    air, steel = bundle.case.optional("work.air_high"), bundle.case.optional("work.steel_high")
    lives = [pot_life_at(bundle, m, air, steel, words="hottest plan") for m in materials]
    out = lives[0]
    for other in lives[1:]:
        out = None if out is None or other is None else f.shorter_pot_life(out, other)
    return out


def _mixing(bundle: Bundle, materials: tuple[str, ...], laid: OnClock | None) -> Value:
    """All mixing on one clock: every batch of adhesive for it, and one of each material laid wet with it."""
    out: Value | None = None
    for m in materials:
        time = sheet(bundle, mix_of(bundle, m)[1], "mixing_time")
        if m == ADHESIVE and laid is not None and laid.batches is not None and laid.batches.magnitude > 1:
            time = f.mixing_of_batches(laid.batches, time)
        out = time if out is None else f.mixing_times(out, time)
    assert out is not None
    return out


def _words(materials: tuple[str, ...], life: Value | None, allowed: Value | None) -> str:
    """The clock as the crew must read it."""
    names = " and ".join(materials)
    start = "The clock starts when hardener first meets resin"
    if len(materials) > 1:
        all_, any_ = ("both", "either") if len(materials) == 2 else ("all", "any of them")
        start = (f"{names[0].upper()}{names[1:]} are laid wet together: one clock for {all_}, from the first contact "
                 f"of hardener and resin in {any_}; the shorter pot life governs and all mixing counts")
    if life is None:
        return f"{start}. The pot life is not known for the plan."
    end = f"used up within {minutes(allowed)}" if allowed is not None else "no share of it is stated for the work"
    return f"{start}. Pot life at the hottest plan {minutes(life)}; {end}."


# -- what to change -----------------------------------------------------------------------------------------------
def _remedies(bundle: Bundle, w: Window, laid: OnClock, along: Value) -> tuple[str, ...]:
    """What would fit, each by itself, recorded and warned of."""
    case, rec, display = bundle.case, active(), bundle.case.display
    assert w.needed is not None and w.allowed is not None and w.pot_life is not None
    share, speed = case.value("work.window_share"), case.value("work.wrap_speed")
    settle = laid.units.magnitude * case.value("work.consolidate_time").to("hour")
    left = w.allowed.to("hour") - w.mixing.to("hour") - settle
    results: dict[str, tuple[float, str]] = {}
    told: list[tuple[str, str]] = []
    if left > 0:
        fits, fast = left * 3600 * speed.to("m/s"), along.to("m") / (left * 3600)
        results |= {"length that fits": (fits, "m"), "speed needed": (fast, "m/s")}
        told += [("longest wrap on one clock", f"at most {show(fits, 'm', system=display, significant=3)} of wrap on "
                  f"one clock, instead of {show(along.to('m'), 'm', system=display, significant=3)}"),
                 ("speed", f"laid at {_speed(fast, display)} instead of {_speed(speed.to('m/s'), display)}")]
    else:
        told.append(("length and speed", "no length and no speed: mixing and consolidating alone take longer than the "
                     "share of the pot life"))
    warmest, words = _warmest(bundle, w.materials, w.needed.to("hour") / share.magnitude)
    results |= {f"warmest, {m}": (t, "degC") for m, t in warmest.items()}
    told.append(("temperature", words))
    part = w.needed.to("hour") / w.pot_life.to("hour")
    results["share needed"] = (part, "")
    told.append(("share of the pot life", f"it would take {show(part * 100, 'percent', significant=3)} of the pot life"
                 + (", more than all of it" if part > 1 else "")))
    rec.procedure("What would fit the working window", "each change by itself, the others as planned; temperatures "
                  "only inside the pot-life tables", MECHANICS.id, "derived",
                  {"needed": w.needed, "allowed": w.allowed, "pot life": w.pot_life, "share": share, "speed": speed,
                   "length": along, "mixing": w.mixing, "consolidating": case.value("work.consolidate_time"),
                   "units": laid.units}, results, told)
    remedies = tuple(words for _, words in told)
    rec.warn(f"The working window is too short: {minutes(w.needed)} are needed, {minutes(w.allowed)} are allowed. "
             "Each by itself: " + "; ".join(remedies) + ".", "case: work")
    return remedies


def _warmest(bundle: Bundle, materials: tuple[str, ...], life: float) -> tuple[dict[str, float], str]:
    """Hottest temperature in °C at which each material has this pot life in hours, and the words for all of them."""
    display, out = bundle.case.display, dict[str, float]()
    words: dict[str, tuple[float, str]] = {}
    for m in materials:
        mix, _ = mix_of(bundle, m)
        assert mix is not None
        table = pot_life_table(mix)
        top = table.hottest_with(life)
        if top is None:
            return {}, f"no temperature of its table gives the {m} enough pot life"
        out[m] = top
        edge = "below" if table.banded and top < table.hottest else "at most"
        text = f"{mix.pot_life_temperature} {edge} {show(top, 'degC', system=display, significant=3)}"
        if mix.pot_life_temperature not in words or top < words[mix.pot_life_temperature][0]:
            words[mix.pot_life_temperature] = (top, text)
    return out, "mixed and laid with " + " and ".join(text for _, text in words.values())


def _speed(metres: float, display: str) -> str:
    unit = "m/minute" if display == "SI" else "foot/minute"
    return show(float(convert(metres, "m/s", unit)), unit, significant=3)
