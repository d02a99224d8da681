"""Mixing and the working window of every material that the system's sheet mixes, for the plan and for the crew."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from wrapcalc.case import Bundle
from wrapcalc.checks import Check
from wrapcalc.formulas import mixing as f
from wrapcalc.recorder import active
from wrapcalc.searches.time_table import row_of
from wrapcalc.stages.site.dose_rows import DoseRow, dose_rows
from wrapcalc.stages.site.dosing import (
    Dose,
    citation,
    dose_at,
    dose_value,
    edges,
    governed,
    governing_value,
    hardener,
    masses,
    mix_of,
    packs_in_batch,
    pot_life_at,
    resin_of,
    sheet,
    weighed,
)
from wrapcalc.stages.site.takeoff import Line
from wrapcalc.stages.site.working_window import OnClock, Window, on_clock, together, window
from wrapcalc.stages.wrap.design import Design
from wrapcalc.standards.documents import PRACTICE
from wrapcalc.systems.field_model import ADHESIVE, BANDS, COLDEST, FIXED, PER_PACK, POINTS
from wrapcalc.units import show
from wrapcalc.values import Value

__all__ = ["Batch", "Dose", "DoseRow", "Window", "dose_at", "governing_value", "mixing", "pot_life_at"]

READING = {
    POINTS: "between two rows in a straight line; outside the table nothing is mixed",
    BANDS: "each row holds from its temperature up to the next, nothing between; outside the table nothing is mixed",
    FIXED: "one dose for all temperatures of the table; outside it nothing is mixed",
}
OVERDOSE = ("More hardener than the table says does not mend the cold: an overdose may cure less well, and still read "
            "hard.")
TRAYS = ("A batch heavier than the pot life refers to heats itself and stiffens sooner: split it, or pour it into flat "
         "trays at once where the sheet allows that.")


@dataclass(frozen=True)
class Batch:
    """One mixed material. governing: at the coldest and hottest plan, None where not known or outside the table.

    low, high: dose there. packs, resin: in one batch. rows: the dosing table for the site. batches: to mix, of
    whole packs, None without an order. part: what the rest of the order is, "" for whole packs. share: whether the
    dose is a share. window: of the clock that this material is on.
    """

    material: str
    rule: str
    reading: str
    packs: Value
    resin: Value
    mixing_time: Value
    stages: str
    laid_with: str
    rows: tuple[DoseRow, ...]
    governing: tuple[Value | None, Value | None] = (None, None)
    low: Dose | None = None
    high: Dose | None = None
    batches: Value | None = None
    part: str = ""
    cautions: tuple[str, ...] = ()
    checks: tuple[Check, ...] = ()
    window: Window | None = field(default=None)

    @property
    def pot_life(self) -> Value | None:
        """The shortest pot life on its clock, at the hottest plan."""
        return self.window.pot_life if self.window else None

    @property
    def needed(self) -> Value | None:
        """Time that the crew needs on its clock."""
        return self.window.needed if self.window else None

    @property
    def allowed(self) -> Value | None:
        """Time that the crew may use on its clock."""
        return self.window.allowed if self.window else None


def mixing(bundle: Bundle, d: Design, order: Sequence[Line]) -> tuple[Batch, ...]:
    """Dose, masses and batches of each material of the sheet, then the working window of each clock."""
    rec, system = active(), bundle.system
    assert system is not None
    rec.begin("Mixing")
    packs = packs_in_batch(bundle)
    batches = [_batch(bundle, m.material, packs, _line(order, m.material)) for m in system.mix]
    _warn_of_rows(bundle)
    place = next(i for i, b in enumerate(batches) if b.material == ADHESIVE)
    line, glue = _line(order, ADHESIVE), batches[place]
    laid = on_clock(bundle, d, line.quantity if line else None, min(_mixed(glue), key=lambda v: v.magnitude))
    clocks = 1.0 if laid.all_units is None else laid.all_units.magnitude / laid.units.magnitude
    # What is left of one clock's batch is of no use to the next: the rest of the order is not the last batch.
    batches[place] = replace(glue, batches=_for_all_units(bundle, laid, glue.batches, packs),
                             part=glue.part if clocks <= 1 else "")
    _warn_of_parts(bundle, batches)
    rec.begin("Working window")
    windows: dict[tuple[str, ...], Window] = {}
    out = []
    for b in batches:
        materials = together(bundle, b.material)
        if materials not in windows:
            windows[materials] = window(bundle, materials, laid if ADHESIVE in materials else None)
        out.append(replace(b, window=windows[materials], checks=(*b.checks, _mass_check(bundle, b))))
    return tuple(out)


def _line(order: Sequence[Line], material: str) -> Line | None:
    return next((x for x in order if x.kind == material), None)


# -- one material -------------------------------------------------------------------------------------------------
def _batch(bundle: Bundle, material: str, packs: Value, line: Line | None) -> Batch:
    system, case = bundle.system, bundle.case
    assert system is not None
    mix, i = mix_of(bundle, material)
    assert mix is not None
    resin = resin_of(bundle, material, packs)
    coldest = case.optional("work.steel_low")
    plan: list[Value | None] = []
    checks: list[Check] = []
    doses: list[Dose | None] = []
    for end in ("low", "high"):
        if mix.governing_temperature == COLDEST and plan:  # one temperature for the whole of the plan
            plan, doses = plan * 2, doses * 2
            break
        air, steel = case.optional(f"work.air_{end}"), case.optional(f"work.steel_{end}")
        value, found = governed(bundle, material, air, steel, coldest, words=f"{_END[end]} plan")
        plan.append(value)
        checks += found
        doses.append(None if value is None else _dose(bundle, material, value, resin, packs, end, doses))
    checks.append(_pack_check(bundle, material))
    out = Batch(material, mix.governing_temperature, READING[mix.kind], packs, resin, sheet(bundle, i, "mixing_time"),
                mix.mixing_stages, mix.laid_with, dose_rows(bundle, material, packs, resin, plan[0], plan[1]),
                (plan[0], plan[1]), doses[0], doses[1], checks=tuple(checks),
                cautions=(TRAYS,) if mix.basis == PER_PACK else (OVERDOSE, TRAYS))
    if line is None or line.packs is None or line.pack is None:
        return out
    count = active().named(f.batches_of_packs(line.packs, packs), f"Batches of {material}")
    return replace(out, batches=count, part=_part(bundle, out, line))


_END = {"low": "coldest", "high": "hottest"}


def _dose(bundle: Bundle, material: str, at: Value, resin: Value, packs: Value, end: str, before: list[Dose | None]
          ) -> Dose:
    """The dose at one end of the plan; where it is that of the other end, it is not worked out again."""
    dose = dose_value(bundle, material, at)
    same = before[0] if before else None
    if same is not None and same.dose == dose:
        return replace(same, governing=at)
    return masses(bundle, material, at, dose, resin, packs, f"{_END[end]} plan")


def _pack_check(bundle: Bundle, material: str) -> Check:
    """Resin and hardener of one pack at a middle dose against the mass of the pack that the sheet states."""
    rec, system, display = active(), bundle.system, bundle.case.display
    assert system is not None
    mix, i = mix_of(bundle, material)
    assert mix is not None
    key = "pack_doses" if mix.basis == PER_PACK else "doses"
    middle = sheet(bundle, i, f"{key}.{len(getattr(mix, key)) // 2}")
    resin, pack = sheet(bundle, i, "resin_in_pack"), system.value(f"{material.replace(' ', '_')}.pack")
    part = middle if mix.basis == PER_PACK else rec.named(hardener(mix.basis, middle, resin, resin),
                                                         f"Hardener for one pack of {material} at a middle dose")
    entry = bundle.tables.entry(PRACTICE.id, "pack_difference")
    check = rec.check(f"Parts of one pack of {material} against its stated mass", f.pack_difference(resin, part, pack),
                      "<=", entry.value(), citation=entry.citation, status=entry.status, kind="information")
    if not check.met:
        rec.warn(f"One pack of {material} is stated as {weighed(pack, display)}, but {weighed(resin, display)} of "
                 f"resin and {weighed(part, display)} of hardener at a middle dose do not make that. Ask the supplier "
                 "which is right before anything is ordered or mixed.", citation(bundle))
    return check


def _mixed(b: Batch) -> list[Value]:
    """Masses that a batch may have: at the ends of the plan, or where it is not known at every row of the table."""
    return [d.mixed for d in (b.low, b.high) if d is not None] or [r.mixed for r in b.rows]


def _mass_check(bundle: Bundle, b: Batch) -> Check:
    """The pot lives hold for a stated mass, with which the heaviest batch is compared."""
    rec, display = active(), bundle.case.display
    _, i = mix_of(bundle, b.material)
    check = rec.check(f"Mass of one batch of {b.material}, to which its pot life refers",
                      max(_mixed(b), key=lambda v: v.magnitude), "<=", sheet(bundle, i, "pot_life_mass"),
                      citation=citation(bundle), status="system sheet", note=TRAYS)
    if not check.met:
        assert check.provided is not None and check.limit is not None
        rec.warn(f"A batch of {b.material} weighs {check.provided.show(display, 5)}, its pot life refers to "
                 f"{check.limit.show(display, 5)}: the real one is shorter than the table says. {TRAYS}",
                 citation(bundle))
    return check


# -- whole packs --------------------------------------------------------------------------------------------------
def _part(bundle: Bundle, b: Batch, line: Line) -> str:
    """What the last pack of the order would be if only the rest were mixed; "" for whole packs."""
    assert line.packs is not None and line.pack is not None
    rec, display = active(), bundle.case.display
    share = rec.named(f.part_of_last_pack(line.quantity, line.pack, line.packs),
                      f"Part of the last pack of {b.material} that is wanted")
    if abs(share.magnitude - 1) < 1e-6:
        return ""
    mix, i = mix_of(bundle, b.material)
    assert mix is not None
    resin = rec.named(f.resin_in_batch(share, sheet(bundle, i, "resin_in_pack")),
                      f"Resin in the part of the last pack of {b.material}")
    ends = [d for d in (b.low, b.high) if d is not None]
    told = []
    for d in ends if len(ends) < 2 or ends[0].dose != ends[1].dose else ends[:1]:
        part = rec.named(hardener(mix.basis, d.dose, resin, share), f"Hardener for the part of the last pack of "
                         f"{b.material} at {d.governing.show(display)}")
        told.append(f"{weighed(part, display)} of hardener at {d.governing.show(display, 3)}")
    wanted = show(line.packs.magnitude - 1 + share.magnitude, "", significant=3)
    amount = (f"{b.material.capitalize()}: {weighed(line.quantity, display)} wanted, {wanted} packs; part of a pack: "
              f"{weighed(resin, display)} of resin")
    return f"{amount} with {' or '.join(told)}" if told else amount


def _warn_of_parts(bundle: Bundle, batches: list[Batch]) -> None:
    parts = [b.part for b in batches if b.part]
    if parts:
        active().warn("The amounts to mix are not whole packs. Batches are whole packs; whoever mixes a part of one "
                      "weighs both parts and never divides by eye. " + ". ".join(parts) + ".", "case: work")


def _for_all_units(bundle: Bundle, laid: OnClock, of_packs: Value | None, packs: Value) -> Value | None:
    """Batches of adhesive: by the packs ordered, or more where every clock begins with a batch of its own."""
    if of_packs is None or laid.all_units is None or laid.batches is None or laid.in_all is None:
        return of_packs
    rec, each = active(), int(laid.batches.magnitude)
    if each > 1:
        rec.warn(f"One batch of adhesive does not suffice for the units that are laid from it: {each} batches are "
                 "mixed for them, on one clock.", "case: work.packs_per_batch")
    wanted = laid.in_all
    if wanted.magnitude <= of_packs.magnitude:
        return of_packs
    rec.warn(f"The order of adhesive makes {int(of_packs.magnitude)} batches, but {int(wanted.magnitude)} are begun: "
             f"{int(laid.all_units.magnitude)} units, {int(laid.units.magnitude)} laid from one batch, "
             f"{int(packs.magnitude)} whole pack{'s' if packs.magnitude > 1 else ''} in each. Order more packs, or lay "
             "more units from one batch if the working window allows it.", "case: work.units_per_batch")
    return wanted


# -- air and steel ------------------------------------------------------------------------------------------------
def _warn_of_rows(bundle: Bundle) -> None:
    """Whoever reads the wrong thermometer reads the wrong row: told where the plan allows for it."""
    case, display, system = bundle.case, bundle.case.display, bundle.system
    assert system is not None
    ends = {n: case.optional(f"work.{n}") for n in ("air_low", "air_high", "steel_low", "steel_high")}
    known = {n: v for n, v in ends.items() if v is not None}
    if len(known) < len(ends):
        return
    told = []
    for m in system.mix:
        if m.kind == FIXED:
            continue
        rows = {row_of(edges(m), v.to("degC")) for v in known.values()}
        if len(rows) > 1:
            told.append(f"{m.material} ({m.governing_temperature} governs)")
    if told:
        shown = {n: v.show(display, 3) for n, v in known.items()}
        active().warn(
            f"Air ({shown['air_low']} to {shown['air_high']}) and steel ({shown['steel_low']} to "
            f"{shown['steel_high']}) may lie in different rows of the dose table of {', '.join(told)}. Measure both "
            "before each batch.",
            "case: work")
