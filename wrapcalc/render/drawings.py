"""The figures of one record: from the lengths in its geometry to drawings in the units that it prints."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

from wrapcalc import units
from wrapcalc.render import figures

_PIECES = {"layered sleeve": "sleeve", "wet lay-up": "band"}


def drawings(record: Mapping[str, Any]) -> dict[str, str]:
    """Name -> inline SVG: "depth map", "unwrapped pipe", "margins", without those that do not apply."""
    made = {
        "depth map": _depth_map(record),
        "unwrapped pipe": _unwrapped(record),
        "margins": _margins(record),
    }
    return {name: svg for name, svg in made.items() if svg is not None}


class _Lengths:
    """Lengths of the geometry (mm) in the unit of display."""

    def __init__(self, record: Mapping[str, Any]):
        self.unit = units.display_unit("mm", record["case"]["display"])
        self.label = units.label(self.unit)

    def __call__(self, length: float) -> float:
        return float(units.convert(length, "mm", self.unit))

    def all(self, lengths: Sequence[float]) -> list[float]:
        return [self(x) for x in lengths]

    def maybe(self, length: float | None) -> float | None:
        return None if length is None else self(length)


def _depth_map(record: Mapping[str, Any]) -> str | None:
    shape = record["geometry"]
    grid, wall, share = shape["grid"], shape["wall"], shape["depth_limit_share"]
    if grid is None or wall is None:
        return None
    size = _Lengths(record)
    return _drawn(
        "depth_map",
        axial=size.all(grid["axial"]),
        around=size.all(grid["around"]),
        depth=[size.all(row) for row in grid["depth"]],
        wall=size(wall),
        profile=size.all(grid["profile"]),
        length_unit=size.label,
        depth_unit=size.label,
        title=f"Case {record['case']['id']}: measured depth and river-bottom profile",
        deepest=(size(grid["deepest"][0]), size(grid["deepest"][1])),
        limit_depth=None if share is None else size(share * wall),
        limit_label="" if share is None else f"depth limit, {units.digits(share)} of the wall",
    )


def _unwrapped(record: Mapping[str, Any]) -> str | None:
    shape, wrap = record["geometry"], record["geometry"]["wrap"]
    diameter, length, width = (shape[k] for k in ("outside_diameter", "defect_length", "defect_width"))
    if None in (diameter, length, width) or not shape["defect_clock"]:
        return None
    size = _Lengths(record)
    return _drawn(
        "unwrapped",
        circumference=size(math.pi * diameter),
        defect=(size(length), size(width)),
        units=[] if wrap is None else _placed(wrap, _piece(record), size),
        full_thickness=None if wrap is None else _centred(size(wrap["cover"])),
        overall=None if wrap is None else _centred(size(wrap["overall"])),
        seam_clock=_hours(shape["seam_clock"]) if shape["seam_clock"] else None,
        defect_clock=_hours(shape["defect_clock"]),
        upstream_clear=size.maybe(shape["clear_upstream"]),
        downstream_clear=size.maybe(shape["clear_downstream"]),
        length_unit=size.label,
        title=f"Case {record['case']['id']}: unwrapped pipe",
    )


def _placed(wrap: Mapping[str, Any], piece: str, size: _Lengths) -> list[tuple[float, float, str]]:
    """Start, width and label of each unit, upstream to downstream; the set is centred on the defect."""
    widths, joint = wrap["widths"], wrap["joint"]
    start = -(sum(widths) - (len(widths) - 1) * joint) / 2
    placed = []
    for number, width in enumerate(widths, 1):
        placed.append((size(start), size(width), f"{piece} {number}"))
        start += width - joint
    return placed


def _piece(record: Mapping[str, Any]) -> str:
    return _PIECES.get(record["system"]["type"], "unit") if record["system"] else "unit"


def _centred(length: float) -> tuple[float, float]:
    return -length / 2, length / 2


def _hours(clock: str) -> float:
    """ "4:30" -> 4.5; 12 o'clock is 0."""
    hours, minutes = clock.split(":")
    return int(hours) % 12 + int(minutes) / 60


def _margins(record: Mapping[str, Any]) -> str | None:
    """Every check with a share of its limit, and of the others those that are not met."""
    rows = [
        (f"{c['id']} {c['title']}", c["utilisation"], c["verdict"])
        for c in record["items"]
        if c["type"] == "check" and (c["utilisation"] is not None or c["verdict"] != "met")
    ]
    return (
        _drawn("margins", rows=rows, title=f"Case {record['case']['id']}: use of the limits")
        if rows
        else None
    )


def _drawn(figure: str, **arguments: Any) -> str:
    return _cached(figure, json.dumps(arguments))


@lru_cache(64)
def _cached(figure: str, arguments: str) -> str:
    """Each drawing is made once: the notebook of a case and its report show the same ones."""
    given = json.loads(arguments)
    first = [given.pop("rows")] if figure == "margins" else []
    return getattr(figures, figure)(*first, **given)
