"""One mixed material at one temperature: what governs, the dose, the masses of a batch, the pot life.

Used for the plan and, with what the crew measured, for the close-out. Outside a table nothing is derived.
"""

from __future__ import annotations

from dataclasses import dataclass

from wrapcalc.case import Bundle
from wrapcalc.checks import Check
from wrapcalc.formulas import mixing as f
from wrapcalc.formulas.curing import straight_time, time_in_table
from wrapcalc.recorder import active
from wrapcalc.searches.time_table import TimeTable, row_of
from wrapcalc.standards.documents import MECHANICS, PRACTICE
from wrapcalc.systems.field_model import (
    BANDS,
    COLDEST,
    FIXED,
    HIGHEST,
    LOWEST,
    OF_AIR,
    OF_STEEL,
    PER_PACK,
    PER_RESIN,
    Mix,
)
from wrapcalc.units import show
from wrapcalc.values import Value


@dataclass(frozen=True)
class Dose:
    """Dose at the governing temperature, for one batch. dose: a share, or a mass for one pack, as the sheet has it.

    by_mass, by_volume: hardener over resin. volume: of the mix.
    """

    governing: Value
    dose: Value
    resin: Value
    hardener: Value
    mixed: Value
    volume: Value
    by_mass: Value
    by_volume: Value


def governing_value(rule: str, air: Value | None, steel: Value | None, coldest: Value | None) -> Value | None:
    """The temperature that governs by the sheet's rule; None where what the rule needs is not known."""
    if rule in (HIGHEST, LOWEST):
        if air is None or steel is None:
            return None
        return (f.highest_temperature if rule == HIGHEST else f.lowest_temperature)(air, steel)
    return {OF_AIR: air, OF_STEEL: steel, COLDEST: coldest}[rule]


def dose_at(bundle: Bundle, material: str, air: Value | None, steel: Value | None, coldest: Value | None = None, *,
            packs: Value | None = None, words: str = "") -> Dose | None:
    """Dose of a material at these temperatures; None where the sheet does not mix it, or outside its table.

    coldest: steel until cured. packs: in one batch, without it those of the plan. words: of the temperatures, for the
    titles, such as "coldest plan".
    """
    if mix_of(bundle, material)[0] is None:
        return None
    packs = packs_in_batch(bundle) if packs is None else packs
    governing, _ = governed(bundle, material, air, steel, coldest, words=words)
    if governing is None:
        return None
    resin = resin_of(bundle, material, packs)
    return masses(bundle, material, governing, dose_value(bundle, material, governing), resin, packs, words)


def pot_life_at(bundle: Bundle, material: str, air: Value | None, steel: Value | None, *, words: str = ""
                ) -> Value | None:
    """Pot life of a material at these temperatures; None where the sheet does not mix it, or outside its table."""
    mix, i = mix_of(bundle, material)
    if mix is None:
        return None
    governing, _ = governed(bundle, material, air, steel, None, words=words, of_pot_life=True)
    if governing is None:
        return None
    return time_at(bundle, f"mix.{i}.pot_life_temperatures", f"mix.{i}.pot_lives",
                   pot_life_table(mix), governing, f"Pot life of the {material}{_after(words)}")


# -- the sheet ----------------------------------------------------------------------------------------------------
def mix_of(bundle: Bundle, material: str) -> tuple[Mix | None, int]:
    """The table [[mix]] of a material and its place; (None, -1) where the system does not mix it."""
    place = bundle.system.place_of_mix(material) if bundle.system is not None else None
    return (None, -1) if place is None else (bundle.system.mix[place], place)  # type: ignore[union-attr]


def sheet(bundle: Bundle, i: int, key: str) -> Value:
    """A value of the table [[mix]] at place i."""
    assert bundle.system is not None
    return bundle.system.value(f"mix.{i}.{key}")


def citation(bundle: Bundle) -> str:
    """How the system's sheet is cited."""
    assert bundle.system is not None
    return f"sheet of {bundle.system.system.id}"


def packs_in_batch(bundle: Bundle) -> Value:
    """Whole packs in one batch, as the case says it, or one."""
    return _stated(bundle, "packs_per_batch", "One batch is one whole pack: the case states no number.")


def units_on_clock(bundle: Bundle) -> Value:
    """Units laid from one batch, as the case says it, or one."""
    return _stated(bundle, "units_per_batch", "One unit is laid from one batch: the case states no number.")


def _stated(bundle: Bundle, key: str, text: str) -> Value:
    stated = bundle.case.optional(f"work.{key}")
    if stated is not None:
        return stated
    active().assume(text, f"case: work.{key}")
    return bundle.tables.value(PRACTICE.id, key)


def resin_of(bundle: Bundle, material: str, packs: Value) -> Value:
    """Resin in one batch of so many packs."""
    _, i = mix_of(bundle, material)
    out = f.resin_in_batch(packs, sheet(bundle, i, "resin_in_pack"))
    return active().named(out, f"Resin in one batch of {material}")


def edges(mix: Mix, *, of_pot_life: bool = False) -> tuple[float, ...]:
    """Temperatures of the dose table, or of the pot-life table, in °C."""
    return tuple(t.base for t in (mix.pot_life_temperatures if of_pot_life else mix.temperatures))


def pot_life_table(mix: Mix) -> TimeTable:
    """The pot-life table on bare numbers."""
    return TimeTable(edges(mix, of_pot_life=True), tuple(t.base for t in mix.pot_lives), mix.pot_life_kind == BANDS)


# -- temperatures inside the tables -------------------------------------------------------------------------------
def governed(bundle: Bundle, material: str, air: Value | None, steel: Value | None, coldest: Value | None, *,
             words: str = "", of_pot_life: bool = False) -> tuple[Value | None, tuple[Check, ...]]:
    """The governing temperature, None where it is not known or outside the table, and the checks that say so."""
    mix, i = mix_of(bundle, material)
    assert mix is not None
    rule = mix.pot_life_temperature if of_pot_life else mix.governing_temperature
    what = "Pot life" if of_pot_life else "Dose"
    value = governing_value(rule, air, steel, coldest)
    title = f"{what} of the {material}: {rule}{_after(words)}"
    if value is not None and value.origin.kind == "step":
        value = active().named(value, title)
    key = f"mix.{i}.{'pot_life_temperatures' if of_pot_life else 'temperatures'}"
    return inside(bundle, value, key, len(edges(mix, of_pot_life=of_pot_life)), title)


def inside(bundle: Bundle, value: Value | None, key: str, rows: int, title: str, *, top: bool = True
           ) -> tuple[Value | None, tuple[Check, ...]]:
    """The value, None outside the temperatures `key` of the sheet, where it is struck; and the checks of both ends.

    top: whether the upper end bounds it.
    """
    rec, system = active(), bundle.system
    assert system is not None
    ends = [(">=", 0)] + ([("<=", rows - 1)] if top and value is not None else [])
    checks = tuple(rec.check(title, value, sense, system.value(f"{key}.{n}"), citation=citation(bundle),
                             status="system sheet", kind="scope") for sense, n in ends)
    if value is None:
        return None, checks
    failed = [c for c in checks if not c.met]
    if not failed:
        return value, checks
    limit, display = failed[0].limit, bundle.case.display
    assert limit is not None
    reason = (f"outside the table of the sheet, which {'begins' if failed[0].sense == '>=' else 'ends'} at "
              f"{limit.show(display)}; it is not extended")
    if value.origin.kind == "step":
        rec.strike(value, reason)
    rec.warn(f"{title}, {value.show(display)}: {reason}.", citation(bundle))
    return None, checks


# -- the tables ---------------------------------------------------------------------------------------------------
def dose_value(bundle: Bundle, material: str, at: Value) -> Value:
    """Dose at a temperature inside the table: a share, or a mass for one pack."""
    mix, i = mix_of(bundle, material)
    assert mix is not None
    key = "pack_doses" if mix.basis == PER_PACK else "doses"
    if mix.kind == FIXED:
        return sheet(bundle, i, f"{key}.0")
    temperatures = edges(mix)
    row = row_of(temperatures, at.to("degC"))
    assert row is not None, "outside the table nothing is dosed"
    if mix.kind == BANDS:
        return sheet(bundle, i, f"{key}.{row}")
    if at.to("degC") in temperatures:
        return sheet(bundle, i, f"{key}.{temperatures.index(at.to('degC'))}")
    between = f.pack_dose_between if mix.basis == PER_PACK else f.dose_between
    out = between(sheet(bundle, i, f"{key}.{row}"), sheet(bundle, i, f"{key}.{row + 1}"),
                  sheet(bundle, i, f"temperatures.{row}"), sheet(bundle, i, f"temperatures.{row + 1}"), at)
    return active().named(out, f"Dose of {material}, between two rows")


def time_at(bundle: Bundle, left: str, right: str, table: TimeTable, at: Value, title: str) -> Value:
    """Time of a table of the sheet at a temperature inside it: of a row as it stands, between points as a step."""
    assert bundle.system is not None
    value = bundle.system.value
    row = table.row(at.to("degC"))
    assert row is not None, "outside the table there is no time"
    if table.banded:
        return value(f"{right}.{row}")
    if at.to("degC") in table.temperatures:
        return value(f"{right}.{table.temperatures.index(at.to('degC'))}")
    if table.straight:
        out = straight_time(value(f"{right}.{row}"), value(f"{right}.{row + 1}"), value(f"{left}.{row}"),
                            value(f"{left}.{row + 1}"), at)
        return active().named(out, title)
    out = time_in_table(value(f"{right}.{row}"), value(f"{right}.{row + 1}"), value(f"{left}.{row}"),
                        value(f"{left}.{row + 1}"), at, bundle.tables.value(MECHANICS.id, "absolute_zero"))
    return active().named(out, title)


def hardener(basis: str, dose: Value, resin: Value, packs: Value) -> Value:
    """Hardener for so much resin, which so many packs hold, by what the dose refers to."""
    if basis == PER_PACK:
        return f.hardener_of_packs(packs, dose)
    return (f.hardener_of_resin if basis == PER_RESIN else f.hardener_of_mix)(dose, resin)


def masses(bundle: Bundle, material: str, governing: Value, dose: Value, resin: Value, packs: Value, words: str = ""
           ) -> Dose:
    """Masses, volume and ratios of one batch with this dose."""
    rec = active()
    mix, i = mix_of(bundle, material)
    assert mix is not None
    of_resin, of_hardener = sheet(bundle, i, "resin_density"), sheet(bundle, i, "hardener_density")
    of = f"one batch of {material}{_after(words)}"
    amount = rec.named(hardener(mix.basis, dose, resin, packs), f"Hardener for {of}")
    return Dose(governing, dose, resin, amount, rec.named(f.mixed_mass(resin, amount), f"Mass of {of}"),
                rec.named(f.mixed_volume(resin, amount, of_resin, of_hardener), f"Volume of {of}"),
                rec.named(f.ratio_by_mass(amount, resin), f"Hardener over resin by mass, {of}"),
                rec.named(f.ratio_by_volume(amount, resin, of_hardener, of_resin),
                          f"Hardener over resin by volume, {of}"))


# -- words --------------------------------------------------------------------------------------------------------
def _after(words: str) -> str:
    return f", {words}" if words else ""


def minutes(value: Value) -> str:
    """A time as a crew reads it."""
    return show(value.to("minute"), "minute", significant=3)


def weighed(value: Value, display: str) -> str:
    """A mass as it is read off the scales: small ones in g or oz."""
    small, large = ("g", "kg") if display == "SI" else ("oz", "lb")
    unit = small if value.to(large) < 1 else large
    return show(value.to(unit), unit, significant=4 if unit == large else 3)


def dosed(value: Value, display: str) -> str:
    """A dose: a share in per cent, or a mass for one pack."""
    return weighed(value, display) if value.unit else show(value.to("percent"), "percent", significant=3)
