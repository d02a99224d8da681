"""Where a repair may not lie: welds and fittings beside it, other repairs, stretches that the case names."""

from __future__ import annotations

from decimal import ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.searches.unit_layout import KeepOut
from wrapcalc.stages.assessment.shape import Shape
from wrapcalc.stages.site.layout import Place
from wrapcalc.stages.wrap.zones import Zone
from wrapcalc.standards.documents import PRACTICE
from wrapcalc.values import Value

if TYPE_CHECKING:
    from wrapcalc.stages.wrap.extent import Repair

#: Beyond all that is looked at: so far reaches a keep-out that has no other end.
_FAR = 900_000.0
#: What touches its limit exactly still holds, while a keep-out takes its own edge in.
_HAIR = 2e-6
#: How far a set may seem to lie beyond a limit that it touches: the hair less the millionth that a set stays off a
#: keep-out, and what reading its cover and its end treatment to a millionth of a millimetre leaves.
_NOISE = 3e-6
_MILLIONTH = Decimal("1e-6")
#: A reading counts among the deepest metal from this share of the greatest depth.
_DEEP = 0.95


def place(bundle: Bundle, zones: tuple[Zone, ...], i: int, laid: list[Repair], full: Value, overlap: Value,
          short: tuple[Value, str] | None, end: Value, deepest: tuple[float, ...]) -> Place:
    """Where the repair over zone i may lie. laid: the repairs upstream of it."""
    zone = zones[i]
    damage = (zone.centre - zone.length.magnitude / 2, zone.centre + zone.length.magnitude / 2)
    up = down = overlap.magnitude
    if short is not None:
        up, down = ((short[0].magnitude, down) if short[1] == "upstream" else (up, short[0].magnitude))
    # The sum is the length required as it was worked out, to the last digit.
    start = damage[0] - up
    # A sleeve may lie off its mark by the tolerance of the sheet; its joint is then still beside the damage.
    system = bundle.system
    off = system.value("placement.side_tolerance").magnitude if system is not None and system.is_sleeve else 0.0
    return Place((start, start + full.magnitude), damage, (damage[0] - off, damage[1] + off),
                 (*_beside(bundle, zones, end), *named(bundle), *_others(bundle, zones, i, laid, overlap, end)),
                 tuple(x for x in deepest if damage[0] <= x <= damage[1]) or deepest)


def _beside(bundle: Bundle, zones: tuple[Zone, ...], end: Value) -> list[KeepOut]:
    """The nearest weld, bend or fitting on each side, and the full thickness of a repair that is there."""
    out = []
    for side, zone, sign in (("upstream", zones[0], -1), ("downstream", zones[-1], 1)):
        edge = sign * zone.centre + zone.measured.magnitude / 2
        for limit, name in _limits(bundle, side, end):
            at = min(max(edge + float(limit) + _HAIR, -_FAR), _FAR)
            out.append(KeepOut(-_FAR, -at, "no part", name) if sign < 0 else KeepOut(at, _FAR, "no part", name))
    return out


def _limits(bundle: Bundle, side: str, end: Value) -> list[tuple[Decimal, str]]:
    """How far a repair may reach beyond the measured damage on one side, in mm, and what limits it: as the numbers are
    written, so that no limit is decided by what binary arithmetic leaves behind."""
    case, system, out = bundle.case, bundle.system, []
    assert system is not None
    clear, neighbour = case.optional(f"defect.clear_{side}"), case.optional(f"defect.neighbour_{side}")
    if clear is not None:
        off = bundle.tables.value(PRACTICE.id, "end_from_weld")
        out.append((_exact(clear) - _exact(off), f"weld, bend or fitting {side}"))
    if neighbour is not None:
        out.append((_exact(neighbour) - _exact(system.value("ends.least_gap")) + _exact(end), f"next repair {side}"))
    return out


def _exact(value: Value) -> Decimal:
    return Decimal(repr(float(value.magnitude)))


def touched(bundle: Bundle, side: str, end: Value, reach: float, told: float) -> float | None:
    """The limit of one side that a set reaches to and, but for what its place on the grid of the search leaves behind,
    not beyond, in mm from the measured damage; None where it stays short of it or really lies beyond.

    reach: of the set beyond the measured damage; told: as it is recorded.
    """
    limit = min((at for at, _ in _limits(bundle, side, end)), default=None)
    if limit is None or told <= float(limit) or reach > float(limit) + _NOISE:
        return None
    return float(limit.quantize(_MILLIONTH, ROUND_FLOOR))


def named(bundle: Bundle) -> list[KeepOut]:
    """The stretches of the case, which are measured from the upstream girth weld."""
    case = bundle.case
    weld = case.optional("location.from_upstream_weld")
    if weld is None:
        return []
    middle = weld.magnitude + case.value("defect.length").magnitude / 2
    return [KeepOut(k.start.base - middle, k.end.base - middle, str(k.rule), str(k.what)) for k in case.keep_out]


def _others(bundle: Bundle, zones: tuple[Zone, ...], i: int, laid: list[Repair], overlap: Value, end: Value
            ) -> list[KeepOut]:
    """The repairs of this case on both sides: those laid as they lie, the others as they must at least."""
    system, out = bundle.system, []
    assert system is not None
    gap = system.value("ends.least_gap").magnitude - end.magnitude
    if laid and laid[-1].layout is not None:
        reach = laid[-1].layout.middle + laid[-1].layout.cover.magnitude / 2
        out.append(KeepOut(-_FAR, reach + gap - _HAIR, "no part", "repair upstream"))
    if i + 1 < len(zones):
        after = zones[i + 1]
        at = after.centre - after.length.magnitude / 2 - overlap.magnitude - gap + _HAIR
        out.append(KeepOut(at, _FAR, "no part", "repair downstream"))
    return out


def deepest_stations(bundle: Bundle, shape: Shape | None) -> tuple[float, ...]:
    """Stations of the deepest metal, in mm from the middle of all damage; () where nothing was measured along it."""
    if bundle.grid is not None:
        x, depth = np.array(bundle.grid.axial), np.array(bundle.grid.profile)
    elif bundle.profile is not None:
        x, depth = bundle.profile.stations, bundle.profile.depth
    elif shape is not None and shape.pieces:
        deep = max(shape.pieces, key=lambda p: p.depth)
        low, high = min(p.along[0] for p in shape.pieces), max(p.along[1] for p in shape.pieces)
        return (sum(deep.along) / 2 - (low + high) / 2,)
    else:
        return ()
    loss = np.flatnonzero(depth > 0)
    middle = (x[loss[0]] + x[loss[-1]]) / 2
    return tuple(float(round(v - middle, 6)) for v in x[depth >= _DEEP * depth.max()])
