"""The figures of the assessment, from a record to drawings: profile, clusters, methods, assessment curve, life."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from wrapcalc import units
from wrapcalc.render.display import Shown, hours

Record = Mapping[str, Any]
Draw = Callable[..., str]


def _title(record: Record, what: str) -> str:
    return f"Case {record['case']['id']}: {what}"


def profile(record: Record, draw: Draw) -> str | None:
    """The wall in section with its river-bottom profile, the governing sub-length and its equivalent area."""
    found, shape = record["profile"], record["geometry"]
    if found is None:
        return None
    size, share = Shown(record), shape["depth_limit_share"]
    return draw(
        "profile",
        stations=size.all(found["stations"]),
        depth=size.all(found["depth"]),
        wall=size(shape["wall"]),
        governing=size.all(found["governing"]),
        effective_depth=size(found["mean_depth"]),
        limit_depth=None if share is None else size(share * shape["wall"]),
        limit_label="" if share is None else f"depth limit, {units.digits(share)} of the wall",
        length_unit=size.label,
        depth_unit=size.label,
        title=_title(record, "river-bottom profile with allowances, and the governing sub-length"),
        side="inner" if found["internal"] else "outer",
    )


def clusters(record: Record, draw: Draw) -> str | None:
    """Pits and the clusters that act as one, on the unrolled pipe."""
    found, diameter = record["clusters"], record["geometry"]["outside_diameter"]
    if found is None or diameter is None or (len(found["boxes"]) < 2 and len(found["pieces"]) < 2):
        return None
    size, round_it = Shown(record), math.pi * diameter
    clock = 0.0
    if found["middle_around"] is not None and found["clock"]:  # the middle of the grid lies at the stated clock
        clock = (hours(found["clock"]) - 12 * found["middle_around"] / round_it) % 12
    seam = record["geometry"]["seam_clock"]
    return draw(
        "cluster_map",
        boxes=[[*size.all(b[:4]), size(b[4])] for b in found["boxes"]],
        clusters=[[*size.all(p["along"]), *size.all(p["around"]), p["label"], p["governs"]] for p in found["pieces"]],
        circumference=size(round_it),
        clock_from=clock,
        seam_clock=hours(seam) if seam else None,
        length_unit=size.label,
        depth_unit=size.label,
        title=_title(record, "pits and clusters" + (f", rule {found['rule']}" if found["rule"] else "")),
    )


def methods(record: Record, draw: Draw) -> str | None:
    """Safe and failure pressure by method, with the pressures that they are held against."""
    rows = record["forms"]
    if not rows:
        return None
    bar = Shown(record, "MPa")

    def pressure(value: Mapping[str, Any] | None) -> float | None:
        return None if value is None else bar(value["magnitude"])

    def role(f: Mapping[str, Any]) -> str:
        if f["safe"] is None:
            return "outside scope"
        return "governs" if f["governs"] else "cross-check" if f["role"] == "cross-check" else "stands beside"

    maop = next((i["magnitude"] for i in record["inputs"] if i["field"] == "service.maop" and i["answered"]), None)
    limit = record["decision"]["interim_limit"]
    lines = [["MAOP", bar(maop)]] if maop is not None else []
    if limit is not None:
        lines.append(["interim limit", bar(limit["magnitude"])])
    return draw(
        "methods",
        rows=[[f["form"], pressure(f["failure"]), pressure(f["safe"]), role(f), f["reason"]] for f in rows],
        lines=lines,
        pressure_unit=bar.label,
        title=_title(record, "methods side by side"),
    )


def curve(record: Record, draw: Draw) -> str | None:
    """Allowable depth against length at the MAOP, and this anomaly with its tolerance."""
    found, shape = record["allowable"], record["geometry"]
    if found is None:
        return None
    size, wall = Shown(record), shape["wall"]
    around = found["tolerance"]
    return draw(
        "assessment_curve",
        curves=[[c["method"], [size.all(p) for p in c["points"]], c["governs"]] for c in found["curves"]],
        point=size.all(found["point"]),
        ellipse=None if around is None or not around[0] else
        [size(around[0]), size(around[1]), f"sizing tolerance, {around[2]} of readings"],
        depth_limit=size(shape["depth_limit_share"] * wall),
        depth_limit_label=f"depth limit, {units.digits(shape['depth_limit_share'])} of the wall",
        length_unit=size.label,
        depth_unit=size.label,
        pressure_words=f"at the MAOP, {found['pressure']['shown']}",
        title=_title(record, "allowable sizes"),
    )


def life(record: Record, draw: Draw) -> str | None:
    """Depth, failure pressure and probability over the years, with the dates that matter."""
    found, chance = record["life"], record["chance"]
    if found is None:
        return None
    size, bar = Shown(record), Shown(record, "MPa")
    name = "safe pressure at the end of life" if found["failure_is_safe"] else "failure pressure at the end of life"
    return draw(
        "life",
        years=found["years"],
        depth=size.all(found["depth"]),
        depth_high=None if chance is None else size.all(chance["high_depth"]),
        limit_depth=size(found["limit_depth"]),
        failure_pressure=[bar.maybe(p) for p in found["failure"]],
        pressure_limits=[[name, bar(found["target"]["magnitude"])]],
        events=found["events"],
        probability=None if chance is None else [chance["years"], chance["depth_curve"], chance["pressure_curve"]],
        length_unit=size.label,
        pressure_unit=bar.label,
        start_label=found["start"],
        title=_title(record, "growth, with the years that matter"),
    )
