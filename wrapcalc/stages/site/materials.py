"""Materials for the site: layers of adhesive, blasting, coating, spares, stock, consumables and tools to tick."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

from wrapcalc.case import Bundle
from wrapcalc.checks import Check
from wrapcalc.errors import CalculationError
from wrapcalc.formulas import materials as site
from wrapcalc.formulas import takeoff as quantity
from wrapcalc.recorder import active
from wrapcalc.searches.spares import enough, spares
from wrapcalc.stages.site.stock import Batch, Cover, batches, certificate, cover, times
from wrapcalc.stages.site.takeoff import Line
from wrapcalc.stages.wrap.design import Design
from wrapcalc.standards.documents import MECHANICS, PRACTICE
from wrapcalc.units import show
from wrapcalc.values import Value


@dataclass(frozen=True)
class Item:
    """A line of the order with its spares (None where no share of spoilt pieces is stated) and how it is covered."""

    line: Line
    spares: Value | None
    cover: Cover | None


@dataclass(frozen=True)
class ToTake:
    """A row to tick. count: None for a tool; why: for what it is counted."""

    item: str
    count: int | None = None
    why: str = ""


@dataclass(frozen=True)
class Materials:
    """What must be in the vehicle. layers: adhesive or resin of each layer from the pipe (kg), all units, no waste.

    of_layers: their sum; prepared: area of steel to blast; coated: area to coat; batch_count: batches that are mixed.
    """

    items: tuple[Item, ...]
    layers: tuple[float, ...]
    of_layers: Value
    prepared: Value
    abrasive: Value
    coated: Value
    batch_count: int
    shelf: tuple[Batch, ...]
    consumables: tuple[ToTake, ...]
    tools: tuple[ToTake, ...]
    checks: tuple[Check, ...]
    notes: tuple[str, ...]


def materials(bundle: Bundle, design: Design, order: Sequence[Line], batch_count: int | None = None) -> Materials:
    """Everything beside the order. batch_count: batches that will be mixed; without it one for each whole pack."""
    system, rec = bundle.system, active()
    assert system is not None and design.extent is not None and design.laid is not None
    rec.begin("Materials for the site")
    notes: list[str] = []
    layers, of_layers = _layers(bundle, design)
    prepared, abrasive, coated = _surfaces(bundle, design)
    spare = _spares(bundle, order, notes)
    plan = times(bundle)
    shelf, in_date = batches(bundle, plan)
    covers, covered = cover(bundle, order, [0 if s is None else int(s.magnitude) for s in spare], shelf)
    if not shelf:
        notes.append(f"{'None of the stock is of this system' if bundle.case.stock else 'No stock is stated'}: all of "
                     "the order is to be got.")
    items = tuple(Item(line, s, covers[i] if covers else None)
                  for i, (line, s) in enumerate(zip(order, spare, strict=True)))
    if batch_count is None:
        batch_count = _batches(bundle, order)
    checks = (*in_date, *covered, certificate(bundle, plan))
    tools = tuple(ToTake(str(t.item)) for t in system.tool)
    return Materials(items, layers, of_layers, prepared, abrasive, coated, batch_count, shelf,
                     _consumables(bundle, design, order, batch_count), tools, checks, tuple(notes))


def _batches(bundle: Bundle, order: Sequence[Line]) -> int:
    """Batches of whole packs: each material by itself."""
    packs = bundle.case.optional("work.packs_per_batch")
    if packs is None:
        active().assume("One batch is mixed for each whole pack.", "scope")
    each = 1 if packs is None else int(packs.magnitude)
    return sum(math.ceil(line.pieces / each) for line in order if line.packs is not None)


def _layers(bundle: Bundle, d: Design) -> tuple[tuple[float, ...], Value]:
    """Adhesive of every bond line, or resin of every layer of a lay-up; their sum is the closed form of the order."""
    system, case = bundle.system, bundle.case
    assert system is not None and d.extent is not None and d.laid is not None
    diameter, n = case.value("pipe.outside_diameter"), int(d.laid.count.magnitude)
    widths = [r.layout.total_width for r in d.extent.repairs if r.layout is not None]
    width = math.fsum(w.magnitude for w in widths)
    inputs = {"layers": d.laid.count, "outside diameter": diameter}
    inputs |= {f"widths of repair {i}" if len(widths) > 1 else "sum of widths": w for i, w in enumerate(widths, 1)}
    if system.is_sleeve:
        bond, density = system.value("sleeve.bond_line"), system.value("adhesive.density")
        given = {"D": diameter.magnitude, "h": d.extent.pitch.magnitude, "delta": bond.magnitude, "W": width}
        to_mass = density.magnitude * 1e-6  # mm³ at kg/L
        each = tuple(site.bond_line_volume.core(k_b=float(k), **given) * to_mass for k in range(1, n + 1))
        closed = quantity.adhesive_volume.core(n=float(n), **given) * to_mass
        inputs |= {"pitch of a layer": d.extent.pitch, "bond line": bond, "density": density}
        what, method = "Adhesive", "bond line on the diameter that the layers below leave; all units together"
    else:
        ply = system.value("laminate.ply_thickness")
        cloth, share = system.value("lay_up.cloth_areal_mass"), system.value("lay_up.fibre_mass_share")
        each = tuple(site.resin_in_layer.core(k_b=float(k), D=diameter.to("m"), t_ply=ply.to("m"), W=width / 1000,
                                              g_f=cloth.magnitude, w_f=share.magnitude) for k in range(1, n + 1))
        length = quantity.wrap_length_lay_up.core(n=float(n), D=diameter.to("m"), t_ply=ply.to("m"))
        closed = quantity.resin_mass.core(A_f=length * width / 1000, g_f=cloth.magnitude, w_f=share.magnitude, u=0.0)
        inputs |= {"ply": ply, "mass of dry cloth": cloth, "fibre mass share": share}
        what, method = "Resin", "layer on the diameter that the layers below leave; all bands together"
    total = math.fsum(each)
    if not math.isclose(total, closed, rel_tol=1e-9):
        raise CalculationError(f"{what} by layer adds up to {total!r} kg, the closed form to {closed!r} kg")
    rows = "; ".join(f"{k}: {show(m, 'kg', system=case.display)}" for k, m in enumerate(each, 1))
    out = active().procedure(f"{what} by layer, without waste", method, MECHANICS.id, "derived", inputs,
                             {"all layers": (total, "kg"), "first layer": (each[0], "kg"),
                              "last layer": (each[-1], "kg")}, [("layer from the pipe: mass", rows)])
    return each, out["all layers"]


def _surfaces(bundle: Bundle, d: Design) -> tuple[Value, Value, Value]:
    """(steel to blast, abrasive, area to coat), of all repairs."""
    system, case, rec = bundle.system, bundle.case, active()
    assert system is not None and d.extent is not None
    diameter, beyond = case.value("pipe.outside_diameter"), system.value("surface.prepared_beyond")
    tie_in = case.optional("excavation.coating_tie_in")
    blasted, coated = [], []
    for r in d.extent.repairs:
        assert r.overall is not None
        area = quantity.bonded_area(diameter, site.prepared_length(r.overall, beyond))
        blasted.append(rec.named(area, "Area of steel to prepare"))
        coated.append(site.coating_area(diameter, d.extent.build_up, r.overall, beyond))
        if tie_in is not None:
            coated.append(site.tie_in_area(diameter, tie_in))
    if tie_in is None:
        rec.assume("The area to coat ends with the prepared steel: excavation.coating_tie_in is not stated.", "scope")
    steel, skin = (reduce(quantity.areas_together, areas) for areas in (blasted, coated))
    if len(coated) > 1:
        skin = rec.named(skin, "Area to coat in all")
    if len(blasted) > 1:
        steel = rec.named(steel, "Area of steel to prepare in all")
    return steel, site.abrasive_mass(steel, system.value("surface.abrasive")), skin


def _spares(bundle: Bundle, order: Sequence[Line], notes: list[str]) -> list[Value | None]:
    """Spares of every line that comes in pieces; None where the case does not say how many are spoilt."""
    case, rec = bundle.case, active()
    share, sure = case.optional("takeoff.spoil_share"), case.optional("takeoff.spare_confidence")
    if share is None or sure is None:
        lacking = [f"takeoff.{n}" for n, v in (("spoil_share", share), ("spare_confidence", sure)) if v is None]
        notes.append(f"No spares are counted: {' and '.join(lacking)} not stated.")
        return [None] * len(order)
    found = [spares(line.pieces, share.magnitude, sure.magnitude) for line in order]
    out = rec.procedure(
        "Spares by probability", "fewest spares with which the order is there with the wanted probability, each line "
        "by itself; binomial over order and spares together, as a spare may be spoilt, too: a sum over the pieces of "
        "the order alone would take each spare for good and may give too few", PRACTICE.id, "common practice",
        {"share spoilt": share, "probability": sure},
        {f"spares: {line.item}": (float(s), "") for line, s in zip(order, found, strict=True)},
        [(line.item, f"{line.pieces} needed; {100 * enough(line.pieces, s, share.magnitude):.4g} % with {s} spare")
         for line, s in zip(order, found, strict=True)])
    rec.assume("Waste is in the quantities; spares are for whole units, bands and packs that are spoilt.", PRACTICE.id)
    return [out[f"spares: {line.item}"] for line in order]


def _consumables(bundle: Bundle, d: Design, order: Sequence[Line], batch_count: int) -> tuple[ToTake, ...]:
    """What the sheet counts for each repair, unit or batch."""
    system, rec = bundle.system, active()
    assert system is not None and d.extent is not None
    if not system.consumable:
        return ()
    counts = {"repair": len(d.extent.repairs), "batch": batch_count,
              "unit": sum(line.pieces for line in order if line.kind in ("unit", "cloth"))}
    rows = [ToTake(str(c.item), int(c.amount.base) * counts[c.per],
                   f"{int(c.amount.base)} for each {c.per}, {counts[c.per]} in all") for c in system.consumable]
    rec.procedure("Consumables", "amount of the sheet for each repair, unit or batch", f"sheet of {system.system.id}",
                  "system sheet", {str(c.item): system.value(f"consumable.{i}.amount")
                                   for i, c in enumerate(system.consumable)},
                  {f"take: {r.item}": (float(r.count or 0), "") for r in rows}, [(r.item, r.why) for r in rows])
    return tuple(rows)
