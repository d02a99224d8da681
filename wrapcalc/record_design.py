"""The design of the wrap as plain data: routes, lengths for the drawings, what the repair can bear."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from wrapcalc import units
from wrapcalc.standards.documents import PRACTICE
from wrapcalc.values import Value

if TYPE_CHECKING:
    from wrapcalc.case import Bundle
    from wrapcalc.stages.job import Outcome
    from wrapcalc.stages.wrap.design import Design

AsData = Callable[[Value | None], dict[str, Any] | None]


def routes(outcome: Outcome, data: AsData) -> list[dict[str, Any]]:
    """Every route to a thickness with its demands."""
    d = outcome.design
    return [{"route": r.key, "required": data(r.required), "chosen": r.chosen, "reason": r.reason,
             "demands": [{"what": m.what, "required": data(m.required), "load_case": m.load_case} for m in r.demands]}
            for r in d.routes] if d else []


def wrap_geometry(bundle: Bundle, d: Design) -> dict[str, Any]:
    """Lengths in mm of every repair; positions from the middle of all damage, downstream positive."""
    assert d.extent is not None and d.laid is not None
    repairs = []
    for r in d.extent.repairs:
        assert r.layout is not None and r.overall is not None
        repairs.append({"label": r.label, "middle": r.centre + r.shift, "damage_middle": r.centre,
                        "damage": r.length.magnitude, "widths": r.layout.widths, "joint": r.layout.joint,
                        "cover": r.layout.cover.magnitude, "overall": r.overall.magnitude,
                        "full_required": r.full.magnitude})
    system = bundle.system
    assert system is not None
    return {"repairs": repairs, "overlap": d.extent.overlap.magnitude, "end": d.extent.end.magnitude,
            "build_up": d.extent.build_up.magnitude, "tiers": d.laid.tiers, "thickness": d.laid.thickness.magnitude,
            "layers": int(d.laid.count.magnitude), "ends": system.ends.treatment,
            "bond_line": system.value("sleeve.bond_line").magnitude if system.is_sleeve else 0.0,
            "depth": d.at_end.greatest.magnitude if d.at_end else None,
            "opening": d.opening.size.magnitude if d.opening else None,
            "least_gap": system.value("ends.least_gap").magnitude,
            "end_from_weld": bundle.tables.value(PRACTICE.id, "end_from_weld").magnitude}


def parts(outcome: Outcome, data: AsData) -> dict[str, Any]:
    """What the design adds to the record beside its steps; None where it was not reached."""
    return {"bears": _bears(outcome, data), "why": _why(outcome), "opinion": _opinion(outcome, data)}


def _bears(outcome: Outcome, data: AsData) -> dict[str, Any] | None:
    from wrapcalc.stages.wrap.chain import UNITS
    b, system = outcome.bears, outcome.recorder.system
    if b is None:
        return None
    return {"restored": data(b.restored),
            "uses": [{"layers": n, "use": data(u), "designed": now} for n, u, now in b.uses],
            "limits": [{"input": x.name, "limit": data(x.value), "why": x.why,
                        "designed": units.show(x.designed, UNITS[x.name], system=system)} for x in b.limits],
            "box": [{"input": s.name, "bound": "at most" if s.at_most else "at least", "edge": data(s.edge),
                     "designed": units.show(s.designed, UNITS[s.name], system=system)} for s in b.box]}


def _why(outcome: Outcome) -> dict[str, Any] | None:
    from wrapcalc.stages.wrap.chain import UNITS
    w, d, system = outcome.why, outcome.design, outcome.recorder.system
    if w is None or d is None or d.laid is None:
        return None

    def finite(v: float) -> float | None:
        return float(v) if math.isfinite(v) else None

    return {"required": d.laid.required.magnitude, "provided": d.laid.thickness.magnitude,
            "governing": f"{d.laid.governing.what}, {d.laid.governing.load_case}",
            "swings": [{"name": s.name, "low": finite(s.low), "high": finite(s.high),
                        "low_label": units.show(s.at_low, UNITS[s.name], system=system),
                        "high_label": units.show(s.at_high, UNITS[s.name], system=system)} for s in w.swings]}


def _opinion(outcome: Outcome, data: AsData) -> dict[str, Any] | None:
    o = outcome.opinion
    if o is None:
        return None
    return {"difference": data(o.difference), "clause": data(o.clause), "strain": data(o.strain), "rings": o.rings,
            "through": o.through}
