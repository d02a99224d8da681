"""Several rows in one repair as one row with their common box, and as the table of pits of its case.

Lengths in mm, clocks in hours. The box holds all rows; the pits keep each of them, so that the case may judge by the
rule of interaction that it names. Where the depths do not tell what wall is left (loss from within beside loss from
without, or beside loss whose side is not stated), and where a size is not known, there are no pits: the box is as deep
as both together. Rows of which none states its side count as of one side, as in the screening.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from wrapcalc.campaign.neighbours.damage_over import gravest_name
from wrapcalc.campaign.neighbours.features_beside import joined_beside
from wrapcalc.campaign.neighbours.neighbours import DOWNSTREAM_END, MIDDLE, NOT_STATED, UPSTREAM_END, deepest_of, edges
from wrapcalc.case.boxes import shortest_arc
from wrapcalc.case.model import INTERNAL_LOSS, METAL_LOSS
from wrapcalc.case.pits import read_pits

_LEAST = ("nominal_wall", "sound_wall", "measured_wall", "from_upstream_weld", "from_downstream_weld",
          "clear_upstream", "clear_downstream")
_LOSSES = (METAL_LOSS, INTERNAL_LOSS, "metal loss")


@dataclass(frozen=True)
class Joined:
    """row: the leading row with sizes and place of the whole; pits: CSV of a case, None when there are none; note: in
    words, what was joined."""

    row: dict[str, Any]
    pits: bytes | None
    note: str


def joined(rows: Sequence[Mapping[str, Any]], diameter: float, place: str = NOT_STATED) -> Joined:
    """Rows of metal loss as one. diameter: outside, mm; place: of which edge the surveyed distance is."""
    around = math.pi * diameter
    x0, x1 = _edges(rows, place)
    start, length = float(np.min(x0)), float(np.max(x1) - np.min(x0))
    deep = _deepest(rows)
    depth, both = sum(r["depth"] for r in deep), len(deep) > 1
    width, clock = _around(rows, around)
    over = gravest_name([str(r.get("damage_over") or "") for r in rows])
    pits = None if both or over or math.isnan(width) else _pits(rows, x0 - start)
    if pits is not None:
        table = read_pits(pits, "pits")  # the sizes as the case reads them: clocks stand there in whole minutes
        length, wide = table.extent(around)
        width = width if wide is None else max(width, wide)
    row = dict(rows[0]) | {"depth": depth, "length": length, "width": width, "clock": clock,
                           "survey": start + {MIDDLE: 0.5, DOWNSTREAM_END: 1.0}.get(place, 0.0) * length,
                           "kind": METAL_LOSS if all(r["kind"] == METAL_LOSS for r in rows) else INTERNAL_LOSS}
    for name in _LEAST:
        known = [r[name] for r in rows if not math.isnan(r.get(name, math.nan))]
        if known:
            row[name] = min(known)
    row |= _sources(rows, row, deep) | joined_beside(rows, _ends(rows, place), float(np.max(x1)))
    row["damage_over"] = over
    ids = ", ".join(str(r["feature_id"]) for r in rows)
    why = (f"; as one box, because other damage lies over it ({over})" if over else
           "; loss from within beside loss from without, or of a side that is not stated: depths added" if both else
           "" if pits is not None else "; as one box, because a size or a clock is not known")
    return Joined(row, pits, f"one repair for {ids} (rows {', '.join(str(r['row']) for r in rows)}){why}")


def _sources(rows: Sequence[Mapping[str, Any]], whole: Mapping[str, Any], deep: list[Mapping[str, Any]]
             ) -> dict[str, Any]:
    """Where the values of the whole come from, "NAME_source", as far as one of them was measured in the ditch: `deep`,
    the row that has the depth, or those whose depths are added; the least wall; every row for the box. "" where all
    is of the listing. depth_share: what the listing says of that depth, NaN where it is not of one row."""
    thin = [r for r in rows if r.get("sound_wall", math.nan) == whole.get("sound_wall")][:1]
    out: dict[str, Any] = {"depth_share": deep[0].get("depth_share", math.nan) if len(deep) == 1 else math.nan}
    for name, of in (("depth", deep), ("sound_wall", thin), *((n, rows) for n in ("length", "width", "clock"))):
        field = [r for r in of if r.get(f"{name}_source")]
        out[f"{name}_source"] = "; ".join(
            [f"{r['feature_id']}: {r[f'{name}_source']}" for r in field]
            + ([_listed([r for r in of if r not in field])] if len(field) < len(of) else [])) if field else ""
    return out


def _listed(rows: Sequence[Mapping[str, Any]]) -> str:
    return f"{', '.join(str(r['feature_id']) for r in rows)}: as listed, row {', '.join(str(r['row']) for r in rows)}"


def _edges(rows: Sequence[Mapping[str, Any]], place: str) -> tuple[np.ndarray, np.ndarray]:
    """Upstream and downstream edges; where the listing does not say of which edge its distance is, the reading that
    makes the whole longer."""
    some = {k: np.array([r[k] for r in rows], dtype=float) for k in ("survey", "length")}
    read = [edges(some, p) for p in ((UPSTREAM_END, MIDDLE) if place == NOT_STATED else (place,))]
    return max(read, key=lambda e: float(e[1].max() - e[0].min()))


def _ends(rows: Sequence[Mapping[str, Any]], place: str) -> np.ndarray:
    """Downstream edges at the outer of their readings, from which the clear pipe is told."""
    return edges({k: np.array([r[k] for r in rows], dtype=float) for k in ("survey", "length")}, place)[1]


def _deepest(rows: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """The rows whose depths, added, are that of the whole, by the same rule as in the screening."""
    depth, kind = np.array([r["depth"] for r in rows], float), np.array([r["kind"] for r in rows], object)
    return [rows[i] for i in deepest_of(depth, kind)]


def _around(rows: Sequence[Mapping[str, Any]], around: float) -> tuple[float, float]:
    """Width of the arc that holds all rows and the clock of its middle; NaN where one is not known."""
    width, clock = (np.array([r[k] for r in rows], dtype=float) for k in ("width", "clock"))
    if np.isnan(width).any() or np.isnan(clock).any():
        return math.nan, math.nan
    width = np.minimum(width, around)
    y0 = np.mod(clock / 12 * around - width / 2, around)
    a, b = shortest_arc(y0, y0 + width, around)
    return b - a, (a + b) / 2 % around / around * 12


def _pits(rows: Sequence[Mapping[str, Any]], start: np.ndarray) -> bytes:
    """The rows as a table of pits from the upstream edge of the first. Of rows that are the same box, as when a listing
    has a row twice, the deepest stands for all."""
    names: set[str] = set()
    boxes: dict[tuple[str, ...], tuple[float, tuple[str, str]]] = {}
    for r, x in sorted(zip(rows, start.tolist(), strict=True), key=lambda p: (p[1], -p[0]["depth"], p[0]["row"])):
        name = str(r["feature_id"])
        name = name if name and name not in names else f"{name} row {r['row']}".strip()
        names.add(name)
        minutes = round(r["clock"] * 60) % 720
        # To a nanometre: what is left of a difference of two distances is no place.
        sizes = (f"{round(v, 6):.12g}" for v in (x, r["length"], r["width"]))
        key = (*sizes, f"{minutes // 60 or 12}:{minutes % 60:02d}")
        boxes.setdefault(key, (r["depth"], (name, r.get("weld", ""))))
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["name", "start mm", "length mm", "width mm", "depth mm", "clock", "weld"])
    for (x, length, width, clock), (depth, (name, weld)) in boxes.items():
        writer.writerow([name, x, length, width, f"{depth:.12g}", clock, weld])
    return out.getvalue().encode()
