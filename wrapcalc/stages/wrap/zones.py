"""Zones of damage along the pipe: clusters whose wraps would come close become one repair."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from wrapcalc.case import Bundle
from wrapcalc.formulas import wrap_extent as extent
from wrapcalc.recorder import active
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.standards.documents import MECHANICS
from wrapcalc.units import show
from wrapcalc.values import Value


@dataclass(frozen=True)
class Zone:
    """Damage under one wrap. centre: in mm from the middle of all damage, downstream positive; count: clusters in it.

    length: with its allowance; measured: without.
    """

    label: str
    centre: float
    length: Value
    measured: Value
    count: int = 1


def zones(bundle: Bundle, a: Assessment, overlap: Value) -> tuple[Zone, ...]:
    """The zones of a case: one, or several whose full-thickness parts stay apart by the system's least gap.

    All of them get the layers of the worst cluster.
    """
    system = bundle.system
    assert system is not None
    if a.shape is None or not a.shape.split:
        return (Zone("1", 0.0, a.extent, bundle.case.value("defect.length")),)
    allowance = a.extent.magnitude - _span(a)[1] + _span(a)[0]
    spans = _merged(a, allowance, 2 * overlap.magnitude + system.value("ends.least_gap").magnitude)
    if len(spans) == 1:
        least = system.value("ends.least_gap").show(bundle.case.display)
        active().assume(f"The {len(a.shape.pieces)} clusters are covered by one wrap: their wraps would come closer "
                        f"than the system allows ({least}).", f"sheet of {system.system.id}")
        return (Zone("1", 0.0, a.extent, bundle.case.value("defect.length"), len(a.shape.pieces)),)
    return _told(bundle, a, overlap, spans, allowance)


def _span(a: Assessment) -> tuple[float, float]:
    assert a.shape is not None
    return (min(p.along[0] for p in a.shape.pieces), max(p.along[1] for p in a.shape.pieces))


def _merged(a: Assessment, allowance: float, least: float) -> list[tuple[float, float, int]]:
    """(from, to, clusters) along the pipe, in mm; parted only where more than `least` sound metal lies between."""
    assert a.shape is not None
    out: list[tuple[float, float, int]] = []
    for piece in sorted(a.shape.pieces, key=lambda p: p.along):
        start, end = piece.along
        # Each zone has the whole allowance on its length, half at either end.
        if out and start - out[-1][1] - allowance < least:
            out[-1] = (out[-1][0], max(out[-1][1], end), out[-1][2] + 1)
        else:
            out.append((start, end, 1))
    return out


def _told(bundle: Bundle, a: Assessment, overlap: Value, spans: list[tuple[float, float, int]], allowance: float
          ) -> tuple[Zone, ...]:
    rec, system, display = active(), bundle.system, bundle.case.display
    assert system is not None
    low, high = _span(a)
    middle = (low + high) / 2
    apart = min(b[0] - x[1] - allowance for x, b in pairwise(spans))
    out = rec.procedure(
        "Repairs along the pipe", "clusters from upstream to downstream; those whose full-thickness zones would be "
        "closer than the system's least gap are one repair; every repair has the layers of the worst cluster",
        MECHANICS.id, "derived", {"overlap": overlap, "least gap": system.value("ends.least_gap"),
                    "length of all clusters": a.extent},
        {"repairs": (float(len(spans)), ""), "least sound metal between them": (apart, "mm")}
        | {f"damage under repair {i}": (end - start + allowance, "mm") for i, (start, end, _) in enumerate(spans, 1)}
        | {f"measured under repair {i}": (end - start, "mm") for i, (start, end, _) in enumerate(spans, 1)},
        [(f"repair {i}", f"{count} cluster{'s' if count > 1 else ''}, middle "
          f"{show((start + end) / 2 - middle, 'mm', system=display)} from the middle of all damage")
         for i, (start, end, count) in enumerate(spans, 1)])
    gap = extent.gap_between_repairs(out["least sound metal between them"], overlap)
    rec.check("Gap between the full thickness of neighbouring repairs", gap, ">=", system.value("ends.least_gap"),
              citation=f"sheet of {system.system.id}", status="system sheet")
    return tuple(Zone(str(i), (start + end) / 2 - middle, out[f"damage under repair {i}"],
                      out[f"measured under repair {i}"], count)
                 for i, (start, end, count) in enumerate(spans, 1))
