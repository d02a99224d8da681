"""After the packages: one order, the dig list, the season, the bias of the run, and what the report draws."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from wrapcalc.campaign.cases.selection import ranked_blocks
from wrapcalc.campaign.digs.dig_list import DigList, dig_list, dig_rows, with_stock, write_dig_list
from wrapcalc.campaign.digs.season import season, season_columns, season_rows
from wrapcalc.campaign.digs.section_pressure import with_the_rest
from wrapcalc.campaign.measured.carried import pairs
from wrapcalc.campaign.measured.run_bias import FEWEST, run_bias
from wrapcalc.campaign.order.order import order_list
from wrapcalc.campaign.order.table import order_rows, write_order, write_sites
from wrapcalc.campaign.rows.strength import DISPOSITIONS
from wrapcalc.campaign.run import PACKAGES, RANKED, SCREENING, CampaignRun, write_aside
from wrapcalc.render.figures._line_map import MARKS

ROLL_UP, ORDER, BY_SITE, DIG_LIST, SEASON = ("roll-up.json", "order.csv", "order-by-site.csv", "dig-list.csv",
                                             "season.csv")
#: Rows of the ranking that the report lists, and places that the map draws of those that stay as they are.
_LISTED, _DRAWN = 60, 2000
#: Columns of the ranking that the report lists.
_SHOWN = ("rank", "feature_id", "kind", "survey", "joint", "clock", "depth", "length", "relative_depth",
          "safe_pressure", "repair_factor", "disposition", "reason", "deadline", "wrap_feasible",
          "layers", "repair", "under_repair")
_DEPTHS, _FACTORS = np.linspace(0.0, 1.0, 21), np.linspace(0.0, 2.0, 21)


def roll_up(run: CampaignRun) -> dict[str, Any]:
    """Write order, dig list and season of a campaign beside its packages; what roll-up.json holds.

    The same packages give the same bytes. Raises PackageError when the folder cannot be written.
    """
    sheet, out = run.plan.sheet, run.out
    packages = [out / PACKAGES / p.package for p in run.packaged]
    rows = {c.case_id: c.rows for c in run.selection.chosen}
    found = _with_the_rest(run, dig_list(packages, sheet, _snapshot(run.plan.known_repairs), rows))
    plan = season(found, sheet)
    confidence = sheet.order.spare_confidence
    order = order_list(packages, sheet.stock, confidence=None if confidence is None else confidence.base,
                       planned=plan.planned, done=plan.done, display=run.plan.display)
    found = with_stock(found, order)
    write_order(out / ORDER, order)
    write_sites(out / BY_SITE, order)
    write_dig_list(out / DIG_LIST, found)
    _write_season(out / SEASON, plan)
    data = {"display": run.plan.display, "order": [_plain(r) for r in order_rows(order)],
            "order_told": [*order.told, *(f"{p.package}: {p.words}" for p in order.problems)],
            "shortages": [x.label(order.display) for x in order.shortages],
            "without": [list(w) for w in order.without],
            "dig": [_plain(r) for r in dig_rows(found)],
            "dig_told": [f"{p.package}: {p.words}" for p in found.problems],
            "season": plan.chart() if plan.bars else None, "missed": [m.words for m in plan.missed],
            "unplaced": [f"{case}: {why}" for case, why in plan.unplaced], "season_told": list(plan.told),
            "bias": _bias(run), **_drawn(run)}
    write_aside(out / ROLL_UP, (json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode())
    return data


def _snapshot(known: Path | None):
    if known is None:
        return None
    from wrapcalc.register import current
    return current(known)


def _with_the_rest(run: CampaignRun, found: DigList) -> DigList:
    """The pressures of sections with older revisions and other packages of the folder, and cases without a result."""
    own = _snapshot(run.out / PACKAGES)
    counted = {(p.case_id, p.revision) for p in run.packaged}
    done = {case_id for case_id, _ in counted}
    silent = [c.case_id for c in run.selection.chosen if c.case_id not in done]
    told = {p.section.name: p.section for p in found.places}
    told = {name: with_the_rest(section, own, counted, silent) for name, section in told.items()}
    return replace(found, places=tuple(replace(p, section=told[p.section.name]) for p in found.places))


def _write_season(path: Path, plan: Any) -> None:
    from wrapcalc.campaign.order.table import write_rows
    write_rows(path, season_columns(), season_rows(plan))


def _plain(row: Mapping[str, Any]) -> dict[str, Any]:
    return {k: _finite(v) for k, v in row.items()}


def _finite(value: Any) -> Any:
    value = value.item() if isinstance(value, np.generic) else value
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _bias(run: CampaignRun) -> dict[str, Any] | None:
    """The listing against the field; None where nothing was measured."""
    plan = run.plan
    found = pairs(ranked_blocks(run.out / SCREENING / RANKED), run.measured)
    if len(found) < 2:
        return None
    case = _base(plan)
    tolerance = case.get("uncertainty.depth_tolerance") if case is not None else None
    claimed = case.get("uncertainty.depth_confidence") if case is not None else None
    b = run_bias(found, tolerance=None if tolerance is None else tolerance.base,
                 claimed=None if claimed is None else claimed.base)
    names = ("mean", "deviation", "low", "high", "share", "share_low", "share_high", "tolerance", "claimed")
    return {"pairs": [[p.feature_id, p.listing, p.field] for p in b.pairs], "biased": b.biased, "within": b.within,
            "claim_doubted": b.claim_doubted, "told": list(b.told), "citation": b.citation, "status": b.status,
            "enough": len(b.pairs) >= FEWEST, **{n: _finite(getattr(b, n)) for n in names}}


def _base(plan: Any) -> Any:
    from wrapcalc.campaign.cases.sources import base_case
    from wrapcalc.case.model import Case
    from wrapcalc.fields import examine
    from wrapcalc.reading import read_toml
    path = base_case(plan.mapping)
    if path is None or not path.is_file():
        return None
    data, raw = read_toml(path)
    return examine(Case, data, raw, path.name, {"schema_version": "1", "case": {"id": "base"}})[0]


def _drawn(run: CampaignRun) -> dict[str, Any]:
    """The head of the ranking, places along the line by what becomes of them, and how many of what size."""
    chosen = {(r["row"], r["feature_id"]) for c in run.selection.chosen for r in c.rows}
    head: list[dict[str, Any]] = []
    places: dict[str, list[list[float]]] = {m: [] for m in MARKS}
    depths, factors, beyond, left = np.zeros(20, int), np.zeros(20, int), 0, 0
    ends = [math.inf, -math.inf]
    words = dict.fromkeys(DISPOSITIONS, 0)
    for block in ranked_blocks(run.out / SCREENING / RANKED):
        count = len(block["row"])
        for i in range(min(count, _LISTED - len(head))):
            head.append({n: _finite(block[n][i]) for n in _SHOWN if n in block})
        share, factor = (block[n].astype(float) for n in ("relative_depth", "repair_factor"))
        depths += np.histogram(share[np.isfinite(share)], _DEPTHS)[0]
        factors += np.histogram(factor[np.isfinite(factor)], _FACTORS)[0]
        beyond += int((factor > _FACTORS[-1]).sum())
        for word, n in zip(*np.unique(block["disposition"].astype(str), return_counts=True), strict=True):
            words[str(word)] += int(n)
        survey, clock = block["survey"].astype(float), block["clock"].astype(float)
        seen = np.isfinite(survey) & np.isfinite(clock)
        if seen.any():
            ends = [min(ends[0], float(survey[seen].min())), max(ends[1], float(survey[seen].max()))]
        marks = _marks(block, chosen)
        for k, mark in enumerate(MARKS):
            at = np.flatnonzero(seen & (marks == k))
            if k == 0:  # the first of the ranking are drawn, the rest is counted
                left += len(at)
                at = at[:max(0, _DRAWN - len(places[mark]))]
            places[mark] += [[x, c] for x, c in zip(survey[at].tolist(), clock[at].tolist(), strict=True)]
    return {"head": head, "places": places, "not_drawn": max(0, left - _DRAWN),
            "ends": ends if ends[0] < ends[1] else None, "depths": depths.tolist(), "factors": factors.tolist(),
            "factors_beyond": beyond, "dispositions": words}


def _marks(block: Mapping[str, np.ndarray], chosen: set[tuple[Any, Any]]) -> np.ndarray:
    """Number in MARKS of each row."""
    out = np.where(np.isin(block["disposition"].astype(object), ("repair", "other repair needed")), 2, 0)
    if "under_repair" in block:
        out = np.where(block["under_repair"].astype(object) != "", 1, out)
    rows = np.flatnonzero(np.isin(block["row"], [r for r, _ in chosen]))
    for i in rows.tolist():
        if (block["row"][i].item(), block["feature_id"][i]) in chosen:
            out[i] = 3
    return out
