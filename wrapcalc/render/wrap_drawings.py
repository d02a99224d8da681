"""The figures of a wrap design, from a record to drawings: routes, use, tolerances, sections, unrolled pipe."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from wrapcalc.render.display import Shown, hours
from wrapcalc.render.figures import quantity

Record = Mapping[str, Any]
Draw = Callable[..., str]
Line = list[tuple[float, float]]

_PIECES = {"layered sleeve": "sleeve", "wet lay-up": "band"}
#: How a bar shows what asks for a thickness; what is not named here is drawn open.
_FILLS = {"around the pipe": "solid", "along the pipe": "hatched", "outside pressure": "dashed"}
#: Points of the plain outline of a loss whose form was not measured.
_STEPS = 24


def _title(record: Record, what: str) -> str:
    return f"Case {record['case']['id']}: {what}"


def _stated(record: Record, field: str) -> float | None:
    """What the case states in a field, in the unit we calculate in; None if nothing."""
    return next((i["magnitude"] for i in record["inputs"] if i["field"] == field), None)


def _kind(record: Record) -> str:
    return next((i["written"] for i in record["inputs"] if i["field"] == "defect.kind"), "")


def routes(record: Record, draw: Draw) -> str | None:
    """Thickness that each route asks for, and the thickness provided."""
    found, wrap, why = record["routes"], record["geometry"]["wrap"], record["why"]
    if not found:
        return None
    size = Shown(record)
    rows = [[r["route"], r["chosen"], r["reason"],
             [] if r["reason"] else [[d["what"], size(d["required"]["magnitude"]), d["load_case"],
                                      _FILLS.get(d["what"], "open")] for d in r["demands"]]] for r in found]
    lines: list[list[Any]] = []
    most = next((r["required"]["magnitude"] for r in found if r["chosen"] and r["required"]), None)
    if why is not None and most is not None and abs(why["required"] - most) > 1e-9 * most:
        # More than any route asks for: an opening or an impact governs, or a factor is on it.
        lines.append([f"required in all ({why['governing']})", size(why["required"])])
    if wrap is not None:
        lines.append(["provided", size(wrap["thickness"])])
    if len(lines) == 2 and abs(lines[0][1] - lines[1][1]) < 1e-9 * lines[1][1]:
        lines = [[f"{lines[0][0]}, and provided", lines[1][1]]]
    return draw("thickness_routes", rows=rows, lines=lines, length_unit=size.label,
                title=_title(record, "thickness by each route"))


def use(record: Record, draw: Draw) -> str | None:
    """Use of the wrap over the layers designed and more."""
    bears = record["bears"]
    if bears is None or not bears["uses"]:
        return None
    return draw("use_over_layers", points=[[u["layers"], u["use"]["magnitude"], u["designed"]] for u in bears["uses"]],
                title=_title(record, "use of the wrap by layers"))


def tolerances(record: Record, draw: Draw) -> str | None:
    """Thickness required at the ends of the stated tolerances."""
    why = record["why"]
    if why is None or not why["swings"]:
        return None
    size = Shown(record)
    return draw(
        "tolerances",
        swings=[[s["name"], size.maybe(s["low"]), size.maybe(s["high"]), s["low_label"], s["high_label"]]
                for s in why["swings"]],
        required=size(why["required"]),
        provided=size(why["provided"]),
        length_unit=size.label,
        title=_title(record, "thickness required at the ends of the stated tolerances"),
    )


def along(record: Record, draw: Draw) -> str | None:
    """The repairs in section along the pipe."""
    wrap, wall = record["geometry"]["wrap"], _wall(record)
    if wrap is None or wall is None:
        return None
    size = Shown(record)
    losses, measured = _losses_along(record, wall)
    opening = wrap.get("opening")
    if not losses and opening is None:
        return None  # a whole wall would be untrue
    repairs = [
        {"label": f"repair {r['label']}", "damage": size.all(_damage(r)), "full": size.all(_ends(r, "cover")),
         "overall": size.all(_ends(r, "overall")), "needed": size(r["full_required"]),
         "units": [[size(a), size(w)] for a, w in _units(r)],
         "losses": [[size.all(p) for p in line] for line in losses
                    if line[0][0] >= _damage(r)[0] - 1e-6 and line[-1][0] <= _damage(r)[1] + 1e-6]}
        for r in wrap["repairs"]
    ]
    return draw(
        "repair_along",
        repairs=repairs,
        wall=size(wall),
        side=_side(record),
        measured=measured,
        later_depth=size.maybe(wrap.get("depth")),
        opening=size.maybe(opening),
        wrapped=_wrapped(record, size),
        overlap=size(wrap["overlap"]),
        end=size(wrap["end"]),
        ends=wrap["ends"],
        joint=size(wrap["repairs"][0]["joint"]),
        length_unit=size.label,
        title=_title(record, "repair in section along the pipe"),
    )


def cross_section(record: Record, draw: Draw) -> str | None:
    """The pipe across its axis at the deepest point."""
    shape, wrap, wall = record["geometry"], record["geometry"]["wrap"], _wall(record)
    if wrap is None or wall is None or not shape["defect_clock"] or shape["outside_diameter"] is None:
        return None
    size = Shown(record)
    losses, measured, clock = _losses_across(record, wall)
    opening = wrap.get("opening")
    if not losses and opening is None:
        return None
    return draw(
        "cross_section",
        outside_diameter=size(shape["outside_diameter"]),
        wall=size(wall),
        defect_clock=clock,
        losses=[[size.all(p) for p in line] for line in losses],
        side=_side(record),
        measured=measured,
        words=_words(losses, wall, opening, size),
        later_depth=size.maybe(wrap.get("depth")),
        opening=size.maybe(opening),
        wrapped=_wrapped(record, size),
        seam_clock=hours(shape["seam_clock"]) if shape["seam_clock"] else None,
        length_unit=size.label,
        title=_title(record, "the pipe across its axis at the deepest point"),
    )


def through_wall(record: Record, draw: Draw) -> str | None:
    """Hoop stress through steel, filler and wrap by the second opinion."""
    found = (record["opinion"] or {}).get("through")
    if not found:
        return None
    size, bar = Shown(record), Shown(record, "MPa")
    smys = _stated(record, "pipe.smys")
    return draw(
        "through_wall",
        rings=[[r["name"], [[size(radius), bar(stress)] for radius, stress in r["points"]]] for r in found["rings"]],
        lines=[] if smys is None else [["SMYS", bar(smys)]],
        state=found["state"],
        straight=all(len(r["points"]) == 2 for r in found["rings"]),
        length_unit=size.label,
        stress_unit=bar.label,
        title=_title(record, "hoop stress through the wall, second opinion"),
    )


def unwrapped(record: Record, draw: Draw) -> str | None:
    """The pipe's surface unrolled, with damage, repairs, welds and other repairs."""
    shape, wrap = record["geometry"], record["geometry"]["wrap"]
    diameter, width, length = shape["outside_diameter"], shape["defect_width"], _stated(record, "defect.length")
    if None in (diameter, length, width) or not shape["defect_clock"]:
        return None
    size = Shown(record)
    repairs = [] if wrap is None else wrap["repairs"]
    return draw(
        "unwrapped",
        circumference=size(math.pi * diameter),
        damage=[[size(a), size(b), clock, size(w), label, governs] for a, b, clock, w, label, governs in
                _pieces(record)],
        repairs=[{"label": f"repair {r['label']}", "full": size.all(_ends(r, "cover")),
                  "overall": size.all(_ends(r, "overall")),
                  "units": [[size(a), size(w), _unit_name(record, r, n, len(repairs))]
                            for n, (a, w) in enumerate(_units(r), 1)]} for r in repairs],
        seam_clock=hours(shape["seam_clock"]) if shape["seam_clock"] else None,
        upstream_clear=size.maybe(shape["clear_upstream"]),
        downstream_clear=size.maybe(shape["clear_downstream"]),
        upstream_neighbour=size.maybe(_stated(record, "defect.neighbour_upstream")),
        downstream_neighbour=size.maybe(_stated(record, "defect.neighbour_downstream")),
        keep_from_weld=size.maybe((wrap or {}).get("end_from_weld")),
        keep_from_repair=size.maybe((wrap or {}).get("least_gap")),
        length_unit=size.label,
        title=_title(record, "unwrapped pipe"),
    )


# -- from the record to places on the pipe ----------------------------------------------------------------------------
def _wall(record: Record) -> float | None:
    """The wall of the assessment; for an opening through it, which has none, the wall that the case states."""
    found = record["geometry"]["wall"] or _stated(record, "pipe.sound_wall")
    return found or _stated(record, "pipe.nominal_wall")


def _side(record: Record) -> str:
    return "inner" if _kind(record).startswith("internal") else "outer"


def _is_sleeve(record: Record) -> bool:
    return bool(record["system"]["type"] == "layered sleeve")


def _wrapped(record: Record, size: Shown) -> list[Any]:
    wrap = record["geometry"]["wrap"]
    return [wrap.get("layers"), wrap["tiers"], size(wrap["thickness"]), size(wrap["build_up"]),
            size(wrap.get("bond_line") or 0.0), _is_sleeve(record)]


def _damage(repair: Mapping[str, Any]) -> tuple[float, float]:
    return repair["damage_middle"] - repair["damage"] / 2, repair["damage_middle"] + repair["damage"] / 2


def _ends(repair: Mapping[str, Any], key: str) -> tuple[float, float]:
    return repair["middle"] - repair[key] / 2, repair["middle"] + repair[key] / 2


def _units(repair: Mapping[str, Any]) -> list[tuple[float, float]]:
    """(start, width) of each unit, upstream to downstream; the set is centred on the middle of its repair."""
    widths, joint = repair["widths"], repair["joint"]
    start = repair["middle"] - (sum(widths) - (len(widths) - 1) * joint) / 2
    placed = []
    for width in widths:
        placed.append((start, width))
        start += width - joint
    return placed


def _unit_name(record: Record, repair: Mapping[str, Any], number: int, of: int) -> str:
    piece = _PIECES.get(record["system"]["type"], "unit") if record["system"] else "unit"
    return f"{piece} {number}" if of == 1 else f"{piece} {repair['label']}.{number}"


def _middle(record: Record) -> float:
    """Middle of all clusters along the pipe, in the places of the measurement."""
    found = record["clusters"]["pieces"]
    return (min(p["along"][0] for p in found) + max(p["along"][1] for p in found)) / 2


def _clock_of(record: Record, around: float) -> float:
    """Clock position in hours of a place around the pipe, as it was measured."""
    found, round_it = record["clusters"], math.pi * record["geometry"]["outside_diameter"]
    start = 0.0
    if found["middle_around"] is not None and found["clock"]:  # the middle of the grid lies at the stated clock
        start = hours(found["clock"]) - 12 * found["middle_around"] / round_it
    return (start + 12 * around / round_it) % 12


def _split(record: Record) -> bool:
    return record["clusters"] is not None and len(record["clusters"]["pieces"]) > 1


def _pieces(record: Record) -> list[tuple[float, float, float, float, str, bool]]:
    """(start, end, clock, width, label, governs): every cluster, or the one defect as stated."""
    shape = record["geometry"]
    if not _split(record):
        half = (_stated(record, "defect.length") or 0.0) / 2
        return [(-half, half, hours(shape["defect_clock"]), shape["defect_width"], "", True)]
    middle, out = _middle(record), []
    for p in record["clusters"]["pieces"]:
        a, b = p["around"]
        out.append((p["along"][0] - middle, p["along"][1] - middle, _clock_of(record, (a + b) / 2), b - a,
                    p["label"], p["governs"]))
    return out


def _plain(start: float, end: float, depth: float) -> Line:
    """A loss whose form was not measured: full depth over most of its extent, rounded at both ends."""
    places = [start + (end - start) * k / _STEPS for k in range(_STEPS + 1)]
    return [(x, depth * max(0.0, 1 - abs(2 * k / _STEPS - 1) ** 4) ** 0.5) for k, x in enumerate(places)]


def _losses_along(record: Record, wall: float) -> tuple[list[Line], bool]:
    """Outlines of the loss along the pipe from the middle of all damage, and whether their form was measured."""
    grid, half = record["geometry"]["grid"], (_stated(record, "defect.length") or 0.0) / 2
    if _split(record):
        middle = _middle(record)
        return [_plain(p["along"][0] - middle, p["along"][1] - middle, min(p["depth"], wall))
                for p in record["clusters"]["pieces"]], False
    if grid is not None:
        places = [x - (grid["axial"][0] + grid["axial"][-1]) / 2 for x in grid["axial"]]
        line = _inside(list(zip(places, grid["profile"], strict=True)), -half, half)
        if len(line) > 1:
            return [[(x, min(max(d, 0.0), wall)) for x, d in line]], True
    depth = _stated(record, "defect.depth")
    return ([_plain(-half, half, min(depth, wall))] if depth and half else []), False


def _losses_across(record: Record, wall: float) -> tuple[list[Line], bool, float]:
    """Outlines of the loss at the deepest point (arc from its middle, depth), whether measured, and its clock."""
    shape = record["geometry"]
    grid, clock, width = shape["grid"], hours(shape["defect_clock"]), shape["defect_width"]
    if grid is not None:
        column = min(range(len(grid["axial"])), key=lambda i: abs(grid["axial"][i] - grid["deepest"][0]))
        middle = (grid["around"][0] + grid["around"][-1]) / 2
        line = [(a - middle, min(max(row[column], 0.0), wall))
                for a, row in zip(grid["around"], grid["depth"], strict=True)]
        if len(line) > 1:
            return [line], True, clock
    if record["clusters"] is not None and record["clusters"]["boxes"]:
        boxes = record["clusters"]["boxes"]
        x0, x1, y0, y1, _ = max(boxes, key=lambda b: b[4])
        middle, at, half = (y0 + y1) / 2, (x0 + x1) / 2, math.pi * shape["outside_diameter"] / 2
        out = []
        for b in boxes:
            if b[0] <= at <= b[1]:
                start = (b[2] - middle + half) % (2 * half) - half  # the shorter way round the pipe
                out.append(_plain(start, start + b[3] - b[2], min(b[4], wall)))
        return out, False, _clock_of(record, middle)
    depth = _stated(record, "defect.depth")
    return ([_plain(-width / 2, width / 2, min(depth, wall))] if depth and width else []), False, clock


def _inside(line: Sequence[tuple[float, float]], start: float, end: float) -> Line:
    return [p for p in line if start - 1e-6 <= p[0] <= end + 1e-6]


def _words(losses: Sequence[Line], wall: float, opening: float | None, size: Shown) -> list[str]:
    """What the damage is at this section, line by line."""
    if opening is not None:
        return [f"opening through the wall, {quantity(size(opening), size.label)} at the end of the repair's life"]
    deepest = max(d for line in losses for _, d in line)
    wide = max(line[-1][0] for line in losses) - min(line[0][0] for line in losses)
    pits = f" in {len(losses)} pits" if len(losses) > 1 else ""
    deep, across, left = (quantity(size(x), size.label) for x in (deepest, wide, wall - deepest))
    return [f"loss {deep} deep, {across} wide{pits}, as measured", f"{left} of the wall left there"]
