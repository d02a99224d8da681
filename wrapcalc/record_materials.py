"""Marks on the pipe and materials for the site as plain data; positions in mm, downstream positive."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from wrapcalc import units
from wrapcalc.values import Value

if TYPE_CHECKING:
    from wrapcalc.stages.site.marks import EndRow, Marked, Marks, WrapEnd
    from wrapcalc.stages.site.materials import Item, Materials, ToTake
    from wrapcalc.stages.site.stock import Batch

AsData = Callable[[Value | None], dict[str, Any] | None]


def marks(found: Marks | None, data: AsData, display: str) -> dict[str, Any] | None:
    """The marks for the record; None where there is no wrap. data: a value as data; display: "SI" or "US"."""
    if found is None:
        return None
    taped = _taped(data, display)
    return {"reference": found.reference, "from_weld": found.from_weld, "notes": list(found.notes),
            "side_tolerance": data(found.side_tolerance), "end_tolerance": data(found.end_tolerance),
            "gap": data(found.gap), "if_not_met": found.if_not_met,
            "repairs": [_marked(r, taped) for r in found.repairs],
            "ends": [_end(e, taped, display) for e in found.ends], "checks": [c.id for c in found.checks]}


def _taped(data: AsData, display: str) -> AsData:
    """Lengths are shown as a tape is read: four digits would lose millimetres of a joint."""
    from wrapcalc.stages.site.marks import tape_text

    def taped(v: Value | None) -> dict[str, Any] | None:
        out = data(v)
        return out if out is None or v is None else out | {"shown": tape_text(v.magnitude, display)}
    return taped


def _marked(r: Marked, data: AsData) -> dict[str, Any]:
    sides = ("middle", "upstream_edge", "downstream_edge", "upstream_steel", "downstream_steel")
    return {"label": r.label} | {s: data(getattr(r, s)) for s in sides} | {
        "missed": list(r.places.missed), "checks": [c.id for c in r.places.checks],
        "units": [{"number": u.number, "tier": u.tier, "width": data(u.width), "upstream": data(u.upstream),
                   "downstream": data(u.downstream), "lap": data(u.lap), "start": data(u.start), "clock": u.clock}
                  for u in r.units]}


def _end(e: WrapEnd, data: AsData, display: str) -> dict[str, Any]:
    return {"tier": e.tier, "nominal": data(e.nominal), "made": data(e.made), "at_nominal": data(e.at_nominal),
            "least": data(e.least), "most": data(e.most), "rule": e.rule, "rows": [_row(x, display) for x in e.rows]}


def _row(x: EndRow, display: str) -> dict[str, Any]:
    """One line of the table for the tape: lengths in mm, and as a tape is read."""
    from wrapcalc.stages.site.marks import tape_text
    lengths = {"circumference": x.circumference, "length": x.length, "beyond": x.beyond}
    return {n: {"magnitude": v, "unit": "mm", "shown": tape_text(v, display)} for n, v in lengths.items()} | {
        "within": x.within}


def materials(found: Materials | None, data: AsData, display: str) -> dict[str, Any] | None:
    """The materials for the record; None where there is no wrap. Areas in m²; layers in kg, from the pipe."""
    if found is None:
        return None

    def area(v: Value) -> dict[str, Any] | None:
        return data(v.converted("m**2"))

    return {"items": [_item(i, data) for i in found.items],
            "layers": [{"number": k, "magnitude": m, "unit": "kg", "shown": units.show(m, "kg", system=display)}
                       for k, m in enumerate(found.layers, 1)],
            "of_layers": data(found.of_layers), "prepared": area(found.prepared), "abrasive": data(found.abrasive),
            "coated": area(found.coated), "batches": found.batch_count, "shelf": [_batch(b, data) for b in found.shelf],
            "consumables": [_to_take(t) for t in found.consumables], "tools": [_to_take(t) for t in found.tools],
            "checks": [c.id for c in found.checks], "notes": list(found.notes)}


def _item(i: Item, data: AsData) -> dict[str, Any]:
    c = i.cover
    return {"item": i.line.item, "kind": i.line.kind, "pieces": i.line.pieces, "spares": data(i.spares),
            "usable": c.usable if c else None, "lacking": c.lacking if c else None, "to_get": c.to_get if c else None,
            "take": [{"batch": b, "pieces": n} for b, n in c.take] if c else []}


def _batch(b: Batch, data: AsData) -> dict[str, Any]:
    return {"item": b.item, "width": data(b.width), "diameter": data(b.diameter), "count": b.count, "batch": b.batch,
            "expiry": b.expiry.isoformat(), "good_until": b.good_until.isoformat(), "consumed": data(b.consumed),
            "left": data(b.left), "usable": b.usable}


def _to_take(t: ToTake) -> dict[str, Any]:
    return {"item": t.item, "count": t.count, "why": t.why}
