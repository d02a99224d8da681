"""Whether enough was mixed: a bond line of a tenth of its adhesive is no bond line."""

from __future__ import annotations

import math

from wrapcalc.recorder import Recorder, active, recording
from wrapcalc.stages.closeout.expected_readings import materials
from wrapcalc.stages.closeout.ledger import OTHERS, Work
from wrapcalc.stages.site.takeoff import grid_volumes, takeoff
from wrapcalc.standards.documents import MECHANICS
from wrapcalc.systems.field_model import ADHESIVE, END_SEAL, FILLER, PRIMER
from wrapcalc.values import Value

_WASTE = {ADHESIVE: "adhesive_waste", PRIMER: "primer_waste", END_SEAL: "seal_waste"}


def enough(w: Work) -> None:
    """Resin and hardener of all mixes of each material against what the repair takes without waste.

    Filler is ordered for an upper bound; it is held against the trapezium rule over the depth grid, and against nothing
    where there is no grid.
    """
    with recording(Recorder(w.bundle.case.display)):
        net = {m: _net(w, m) for m in materials(w.bundle)}
    for material, need in net.items():
        rows = [r for what in ("resin in mix", "hardener in mix") for r in w.readings.of(what)
                if r.where.startswith(f"{material}, mix ")]
        if not rows or need is None:
            continue
        out = active().procedure(
            f"{material.capitalize()}, mixed and needed", "sum of all mixes; needed: what the take-off orders, its "
            "waste taken off" if material != FILLER else "sum of all mixes; needed: trapezium rule over the depth grid",
            MECHANICS.id, "derived", {f"mass {i}": w.value(r) for i, r in enumerate(rows, 1)},
            {"mixed": (math.fsum(r.base for r in rows), "kg"), "needed": (need, "kg")})
        w.limit(f"{material.capitalize()} mixed, against what the repair takes without waste", out["mixed"], ">=",
                out["needed"], citation="record: take-off", status="derived", guard=OTHERS, rows=rows)


def _net(w: Work, material: str) -> float | None:
    """In kg; None where it is not known."""
    if material == FILLER:
        if w.bundle.grid is None:
            return None
        density: Value = w.bundle.system.value("filler.density")
        return grid_volumes(w.bundle)[0] * 1e-9 * density.to("kg/m**3")
    line = next((x for x in takeoff(w.bundle, w.design) if x.kind == material), None)
    waste = w.bundle.case.optional(f"takeoff.{_WASTE[material]}")
    return None if line is None or waste is None else line.quantity.to("kg") / (1 + waste.magnitude)
