"""The figures of one record: from the lengths in its geometry to drawings in the units that it prints."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from wrapcalc import units
from wrapcalc.render import assessment_drawings as assessment
from wrapcalc.render import figures
from wrapcalc.render import weather_drawings as forecast
from wrapcalc.render import wrap_drawings as wrap
from wrapcalc.render.display import Shown

#: Letters of assessment, design and takeoff.
_OF_THE_DESIGN = ("A", "D", "T")


def drawings(record: Mapping[str, Any]) -> dict[str, str]:
    """Name -> inline SVG, in the order of the page, without those that do not apply."""
    made = {
        "depth map": _depth_map(record),
        "profile": assessment.profile(record, _drawn),
        "clusters": assessment.clusters(record, _drawn),
        "methods": assessment.methods(record, _drawn),
        "assessment curve": assessment.curve(record, _drawn),
        "life": assessment.life(record, _drawn),
        "thickness routes": wrap.routes(record, _drawn),
        "unwrapped pipe": wrap.unwrapped(record, _drawn),
        "repair along": wrap.along(record, _drawn),
        "cross-section": wrap.cross_section(record, _drawn),
        "use over layers": wrap.use(record, _drawn),
        "tolerances": wrap.tolerances(record, _drawn),
        "through the wall": wrap.through_wall(record, _drawn),
        "weather": forecast.weather(record, _drawn),
        "margins": _margins(record),
    }
    return {name: svg for name, svg in made.items() if svg is not None}


def _depth_map(record: Mapping[str, Any]) -> str | None:
    shape = record["geometry"]
    grid, wall, share = shape["grid"], shape["wall"], shape["depth_limit_share"]
    if grid is None or wall is None:
        return None
    size = Shown(record)
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


def _margins(record: Mapping[str, Any]) -> str | None:
    """Every check of the design with a share of its limit, and of the others those that are not met.

    What is checked of the work on site stands on its sheets.
    """
    rows = [
        (f"{c['id']} {c['title']}", c["utilisation"], c["verdict"])
        for c in record["items"]
        if c["type"] == "check"
        and c["stage"] in _OF_THE_DESIGN
        and (c["utilisation"] is not None or c["verdict"] != "met")
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
