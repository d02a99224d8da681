"""Acceptance, release, holiday test, hold points and cautions as plain data."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from wrapcalc.values import Value

if TYPE_CHECKING:
    from wrapcalc.stages.site.cautions import Caution
    from wrapcalc.stages.site.hold_points import Blasting, HoldPoint
    from wrapcalc.stages.site.holiday import Holiday
    from wrapcalc.stages.site.laminate import Defect
    from wrapcalc.stages.site.release import Accepted, Restoration

AsData = Callable[[Value | None], dict[str, Any] | None]


def parts(accepted: Accepted | None, restoration: Restoration | None, holiday: Holiday | None,
          blasting: Blasting | None, points: tuple[HoldPoint, ...], laminate: tuple[Defect, ...],
          cautions: tuple[Caution, ...], data: AsData) -> dict[str, Any]:
    """What the release adds to the record; None and empty lists where it was not reached."""
    return {"accepted": _accepted(accepted, data), "restoration": _restoration(restoration, data),
            "holiday": _holiday(holiday, data), "blasting": _blasting(blasting, data),
            "hold_points": [_point(p, data) for p in points],
            "laminate": [_without(d, "values") | {"values": [data(v) for v in d.values]} for d in laminate],
            "cautions": [asdict(c) for c in cautions]}


def table_refs(points: tuple[HoldPoint, ...], laminate: tuple[Defect, ...]) -> list[str]:
    """Keys of the table entries that stand on the sheet without being an input of a step, each once."""
    values = [x.value for p in points for x in p.limits] + [v for d in laminate for v in d.values]
    return sorted({v.origin.ref for v in values if v is not None and v.origin.kind == "table"})


def _without(part: Any, *names: str) -> dict[str, Any]:
    return {k: getattr(part, k) for k in part.__dataclass_fields__ if k not in names}


def _accepted(a: Accepted | None, data: AsData) -> dict[str, Any] | None:
    return None if a is None else {"scale": a.scale, "reference": data(a.reference), "mean": data(a.mean),
                                   "single": data(a.single), "readings": data(a.readings),
                                   "usual_readings": data(a.usual_readings)}


def _restoration(r: Restoration | None, data: AsData) -> dict[str, Any] | None:
    return None if r is None else {
        "start": data(r.start), "cap": data(r.cap), "governing": r.governing, "people": data(r.people),
        "limits": [{"what": words, "limit": data(v)} for words, v in r.limits], "steps": [data(v) for v in r.steps],
        "hold": data(r.hold), "note": r.note, "none": r.none, "before": list(r.before), "blanks": list(r.blanks)}


def _holiday(h: Holiday | None, data: AsData) -> dict[str, Any] | None:
    return None if h is None else {
        "standard": h.standard, "coating": h.coating and str(h.coating), "thickness": data(h.thickness),
        "lowest": data(h.lowest), "highest": data(h.highest), "air": data(h.air), "film": data(h.film),
        "reason": h.reason, "cautions": list(h.cautions)}


def _blasting(b: Blasting | None, data: AsData) -> dict[str, Any] | None:
    return None if b is None else {"left": data(b.left), "least": data(b.least), "check": b.check.id, "words": b.words}


def _point(p: HoldPoint, data: AsData) -> dict[str, Any]:
    return _without(p, "limits", "blanks", "signs") | {
        "limits": [{"what": x.what, "sense": x.sense, "value": data(x.value), "words": x.words} for x in p.limits],
        "blanks": list(p.blanks), "signs": list(p.signs)}
