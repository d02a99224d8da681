"""After the packages: one order, the dig list, the season, the bias of the run, and what the report draws.

All that the report shows besides campaign.json goes into roll-up.json, with the digest of the campaign.json it is of.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from wrapcalc.campaign.cases.selection import ranked_blocks
from wrapcalc.campaign.digs.dig_list import DigList, dig_list, dig_rows, with_stock, write_dig_list
from wrapcalc.campaign.digs.season import season, season_columns, season_rows
from wrapcalc.campaign.digs.section_pressure import with_the_rest
from wrapcalc.campaign.folder import BY_SITE, DIG_LIST, ORDER, ROLL_UP, SEASON, write_aside
from wrapcalc.campaign.measured.carried import pairs
from wrapcalc.campaign.measured.run_bias import FEWEST, run_bias
from wrapcalc.campaign.order.order import order_list
from wrapcalc.campaign.order.table import order_rows, write_order, write_sites
from wrapcalc.campaign.report.ranked import drawn, finite, joined, screened
from wrapcalc.campaign.run import PACKAGES, RANKED, SCREENING, CampaignRun, told_bytes
from wrapcalc.package import digests


def roll_up(run: CampaignRun, to: Path | None = None) -> dict[str, Any]:
    """Write order, dig list and season of a campaign into the folder `to` (beside its packages); what roll-up.json
    holds.

    The same packages give the same bytes. Raises PackageError when the folder cannot be written.
    """
    sheet, out = run.plan.sheet, to or run.out
    packages = [run.out / PACKAGES / p.package for p in run.packaged]
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
    screening = run.out / SCREENING
    data = {"of": digests.sha256(told_bytes(run)), "display": run.plan.display,
            "order": [_plain(r) for r in order_rows(order)],
            "order_told": [*order.told, *(f"{p.package}: {p.words}" for p in order.problems)],
            "shortages": [x.label(order.display) for x in order.shortages],
            "without": [list(w) for w in order.without],
            "dig": [_plain(r) for r in dig_rows(found)],
            "dig_told": [f"{p.package}: {p.words}" for p in found.problems],
            "season": plan.chart() if plan.bars else None, "missed": [m.words for m in plan.missed],
            "unplaced": [f"{case}: {why}" for case, why in plan.unplaced], "season_told": list(plan.told),
            "bias": _bias(run), "screening": screened(screening), "neighbours": joined(screening, run.selection.chosen),
            **drawn(screening / RANKED, run.selection.chosen)}
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
    return {k: finite(v) for k, v in row.items()}


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
            "enough": len(b.pairs) >= FEWEST, **{n: finite(getattr(b, n)) for n in names}}


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
