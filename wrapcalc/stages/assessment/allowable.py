"""Allowable sizes: the length that may stand at this depth, the depth at this length, by the rule that governs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.case.model import AREA, PLANT
from wrapcalc.recorder import active
from wrapcalc.searches.inversions import Bracketed, largest_passing
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.assessment.of_record import OfRecord, at_most_depth, name_of, of_record, others
from wrapcalc.standards.documents import API_579, B31G_2012
from wrapcalc.units import show
from wrapcalc.values import Value

#: Width of the bracket at its end, mm.
_NARROW = 1e-6
#: Points of each curve of the picture.
_POINTS = 32


@dataclass(frozen=True)
class Allowable:
    """length, depth: allowable sizes, None when no size passes. curves: (method, [(length, depth)]), in mm."""

    length: Value | None
    depth: Value | None
    curves: tuple[tuple[str, tuple[tuple[float, float], ...]], ...]
    pressure: Value


def allowable_sizes(bundle: Bundle, a: Assessment) -> Allowable:
    """Sizes at which the governing safe pressure is still the MAOP; bracketed, with the residual on the page."""
    rec, case = active(), bundle.case
    rec.begin("Allowable sizes")
    record, maop = of_record(bundle, a), case.value("service.maop")
    depth, length, wall = a.depth.magnitude, a.length.magnitude, a.wall.magnitude
    share = a.depth_check.limit.magnitude  # type: ignore[union-attr]
    # The depth limit is on the thinner of nominal and used wall, as it is checked.
    deepest = share * min(wall, case.get("pipe.nominal_wall").base)
    longest = max(20_000.0, 2 * length)
    along = largest_passing(lambda L: float(record.safe(np.array([depth]), np.array([L]))[0]), maop.magnitude, 1.0,
                            longest, tolerance=_NARROW)
    down = largest_passing(lambda d: float(record.safe(np.array([d]), np.array([length]))[0]), maop.magnitude, 0.0,
                           deepest, tolerance=_NARROW)
    inputs = {"MAOP": maop, "wall used": a.wall, "outside diameter": case.value("pipe.outside_diameter")}
    found_length = _told(bundle, "Allowable length at the depth used", along, inputs | {"depth used": a.depth}, record,
                         f"no limit up to {show(longest, 'mm', system=case.display)}")
    found_depth = _told(bundle, "Allowable depth at the length used", down, inputs | {"length used": a.length}, record,
                        "no limit up to the depth limit")
    return Allowable(found_length, found_depth, _curves(bundle, a, record, maop.magnitude, deepest), maop)


def _told(bundle: Bundle, title: str, found: Bracketed, inputs: dict[str, Value], record: OfRecord,
          without: str) -> Value | None:
    rec = active()
    document = API_579.id if bundle.case.service.service == PLANT else B31G_2012.id
    method = ("bisection on the safe pressure of the methods that govern ("
              + ", ".join(name_of(k) for k in record.each) + "); the side of the bracket that passes"
              + (f". {record.note.rstrip('.')}" if record.note else ""))
    if AREA in record.each:
        method += "; a profile is deepened evenly and stretched"
    if found.passing is None:
        rec.gate(title, False, "none: not even the smallest size keeps the MAOP", "an allowable size",
                 citation=document, status="from memory", kind="information")
        return None
    details = [("bracket", found.words), ("steps", str(found.steps)),
               ("safe pressure found less MAOP", show(found.residual, "MPa", system=bundle.case.display))]
    if found.failing is None:
        details.insert(0, ("limit", without))
    key = "length" if "length at" in title else "depth"
    return rec.procedure(title, method, document, "from memory", inputs,
                         {f"allowable {key}": (found.passing, "mm")}, details)[f"allowable {key}"]


def _curves(bundle: Bundle, a: Assessment, record: OfRecord, maop: float, deepest: float
            ) -> tuple[tuple[str, tuple[tuple[float, float], ...]], ...]:
    D, t = bundle.case.get("pipe.outside_diameter").base, a.wall.magnitude
    far = max(2 * a.length.magnitude, 1.6 * np.sqrt(20 * D * t))
    lengths = np.linspace(far / _POINTS, far, _POINTS)
    out = []
    for key, function in (record.each | others(bundle, a, record)).items():
        depths = at_most_depth(lambda d, f=function: f(d, lengths), maop, deepest, _POINTS)
        out.append((name_of(key), tuple(zip(map(float, lengths), map(float, depths), strict=True))))
    return tuple(out)
