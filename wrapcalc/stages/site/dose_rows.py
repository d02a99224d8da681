"""The dosing table for the site: the crew doses by what it measures, so it gets more than the plan."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wrapcalc.case import Bundle
from wrapcalc.formulas import mixing as f
from wrapcalc.recorder import active
from wrapcalc.searches.time_table import row_of
from wrapcalc.stages.site.dosing import dosed, edges, mix_of, sheet, weighed
from wrapcalc.standards.documents import MECHANICS
from wrapcalc.systems.field_model import BANDS, FIXED, PER_PACK, PER_RESIN
from wrapcalc.units import KINDS, convert, show, steady
from wrapcalc.values import Value

#: Steps of the rows between, in the degrees that the crew reads: the first that makes few rows of the planned range.
_STEPS = {"SI": (1, 2), "US": (2, 4)}
_FEW = 8


@dataclass(frozen=True)
class DoseRow:
    """One line of the table, for one batch. temperature: as shown; low: °C from which it holds; added: between rows of
    the sheet. volume: of the mix."""

    temperature: str
    low: float
    dose: Value
    hardener: Value
    mixed: Value
    volume: Value
    added: bool
    shown: tuple[str, ...]


def dose_rows(bundle: Bundle, material: str, packs: Value, resin: Value, cold: Value | None, hot: Value | None
              ) -> tuple[DoseRow, ...]:
    """A row for each row of the sheet and, of points, steps between them in the planned range from cold to hot."""
    mix, i = mix_of(bundle, material)
    assert mix is not None
    display, table = bundle.case.display, edges(mix)
    key = "pack_doses" if mix.basis == PER_PACK else "doses"
    given = [d.base for d in getattr(mix, key)]
    lines = _lines(table, given, mix.kind, cold, hot, display)
    unit = "kg" if mix.basis == PER_PACK else ""
    densities = sheet(bundle, i, "resin_density"), sheet(bundle, i, "hardener_density")
    bare = [d.magnitude for d in densities]
    results: dict[str, tuple[float, str]] = {}
    for label, _, dose, _ in lines:
        amount = _hardener(mix.basis, dose, resin.magnitude, packs.magnitude)
        results |= {f"dose, {label}": (dose, unit), f"hardener, {label}": (amount, "kg"),
                    f"mixed, {label}": (f.mixed_mass.core(resin.magnitude, amount), "kg"),
                    f"volume, {label}": (f.mixed_volume.core(resin.magnitude, amount, *bare), "L")}
    inputs = {"resin of one batch": resin, "packs": packs, "resin density": densities[0],
              "hardener density": densities[1]}
    inputs |= {f"temperature {n + 1}": sheet(bundle, i, f"temperatures.{n}") for n in range(len(table))}
    inputs |= {f"dose {n + 1}": sheet(bundle, i, f"{key}.{n}") for n in range(len(given))}
    out = active().procedure(f"Dosing table of {material}, one batch", f"{mix.kind} of the sheet, {mix.basis}; by "
                             f"{mix.governing_temperature}; rows between points in a straight line, none outside",
                             MECHANICS.id, "derived", inputs, {n: (steady(v), u) for n, (v, u) in results.items()})
    rows = []
    for label, low, _, added in lines:
        share, part, mass, volume = (out[f"{n}, {label}"] for n in ("dose", "hardener", "mixed", "volume"))
        rows.append(DoseRow(label, low, share, part, mass, volume, added, (
            label, dosed(share, display), weighed(resin, display), weighed(part, display), weighed(mass, display),
            volume.show(display, 3))))
    return tuple(rows)


def _lines(table: tuple[float, ...], given: list[float], kind: str, cold: Value | None, hot: Value | None, display: str
           ) -> list[tuple[str, float, float, bool]]:
    """(label, from °C, dose, whether it is added) of every row, the coldest first."""
    if kind == FIXED:
        return [(f"{_degrees(table[0], display)} to {_degrees(table[-1], display)}", table[0], given[0], False)]
    if kind == BANDS:
        last = len(given) - 1
        return [(f"{_degrees(table[n], display)} {'to' if n == last else 'to below'} {_degrees(table[n + 1], display)}",
                 table[n], dose, False) for n, dose in enumerate(given)]
    out = [(_degrees(t, display), t, dose, False) for t, dose in zip(table, given, strict=True)]
    known = {label for label, *_ in out}
    for t in _between(table, cold, hot, display):
        row = row_of(table, t)
        assert row is not None
        if (label := _degrees(t, display)) not in known:
            dose = f.dose_between.core(given[row], given[row + 1], table[row], table[row + 1], t)
            out.append((label, t, dose, True))
    return sorted(out, key=lambda line: line[1])


def _between(table: tuple[float, ...], cold: Value | None, hot: Value | None, display: str) -> list[float]:
    """Whole degrees of the display around the planned range and inside the table, in °C."""
    if cold is None or hot is None:
        return []
    unit = "degC" if display == "SI" else "degF"
    low, high = (round(v.to(unit), 6) for v in (cold, hot))  # 62 °F stated is 62, not a hair more
    step = next((s for s in _STEPS[display] if (high - low) / s <= _FEW), _STEPS[display][-1])
    marks = range(math.floor(low / step), math.ceil(high / step) + 1)
    return [t for n in marks if table[0] < (t := steady(float(convert(n * step, unit, "degC")))) < table[-1]]


def _degrees(celsius: float, display: str) -> str:
    return show(celsius, KINDS["temperature"].base, system=display, significant=4)


def _hardener(basis: str, dose: float, resin: float, packs: float) -> float:
    """The formulas of dosing.hardener on bare numbers."""
    if basis == PER_PACK:
        return f.hardener_of_packs.core(packs, dose)
    return (f.hardener_of_resin if basis == PER_RESIN else f.hardener_of_mix).core(dose, resin)
