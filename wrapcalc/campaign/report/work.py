"""Parts of the report of a campaign that tell of the work: field depths, order, digs, season, failures, files."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from wrapcalc import __version__
from wrapcalc.campaign.report.numbers import NONE, Numbers, cell
from wrapcalc.campaign.report.sections import Figure, Section, Table
from wrapcalc.render.figures._campaign_charts import season_bars, unity


def sections(told: Mapping[str, Any], data: Mapping[str, Any]) -> list[Section]:
    """told: campaign.json; data: roll-up.json."""
    n = Numbers(told["campaign"]["display"])
    return [Section("unity", "Listing against field", _unity(data["bias"], n)),
            Section("order", "Order", _order(data, n)), Section("dig", "Dig list", _dig(data)),
            Section("season", "Season", _season(data)), Section("failures", "Failures and faults", _failures(told)),
            Section("assumed", "What was assumed", _assumed(told, data["screening"])),
            Section("files", "Files", _files(told))]


def _unity(b: Mapping[str, Any] | None, n: Numbers) -> list[Any]:
    if b is None:
        return ["Fewer than two anomalies of the listing were measured in the field."]
    scale, unit = (1 / 25.4, "in") if n.us else (1.0, "mm")
    lines = [f"{len(b['pairs'])} pairs; mean error (listing less field) {n.show(b['mean'], 'mm', 3)}, with 95 "
             f"% confidence from {n.show(b['low'], 'mm', 3)} to {n.show(b['high'], 'mm', 3)}. "
             + ("The run is biased: the interval leaves out zero." if b["biased"] else
                "A bias is not shown: the interval holds zero."), *b["told"],
             f"{b['citation']} ({b['status']})."]
    if b["tolerance"] is None:
        return [*lines, "The base case states no sizing tolerance: the pairs are not drawn."]
    claimed = NONE if b["claimed"] is None else f"{100 * b['claimed']:g} %"
    svg = unity(pairs=[(f * scale, x * scale) for _, x, f in b["pairs"]], tolerance=b["tolerance"] * scale,
                confidence=claimed, mean_error=b["mean"] * scale, unit=unit, title="Listing against field")
    return [*lines, Figure(svg, "Depth of the listing against depth in the field, with the sizing tolerance.")]


def _order(data: Mapping[str, Any], n: Numbers) -> list[Any]:
    length = "in" if n.us else "mm"
    rows = tuple((*(cell(r, k) for k in ("item", "system", "width", "outside diameter")), _amount(r, n.us),
                  *(cell(r, k) for k in ("spares", "from stock", "to get", "needed by", "sites")))
                 for r in data["order"])
    table = [Table(("Item", "System", f"Width ({length})", f"Diameter ({length})", "Needed", "Spares", "From stock",
                    "To get", "Needed by", "Sites, and where their packages say so"), rows,
                   (15, 10, 6, 8, 7, 6, 6, 6, 9, 27), (2, 3, 4, 5, 6, 7))] if rows else ["Nothing to order."]
    short = ["The stock does not cover these; what is needed first comes first:", *data["shortages"]] if (
        data["shortages"]) else []
    return [*table, *short, *data["order_told"], "What has no unit is counted in pieces or packs. Each site's share "
            "stands in order-by-site.csv."]


def _amount(row: Mapping[str, Any], us: bool) -> str:
    """What is needed, in the one way that the line is counted."""
    for name, unit in (("needed pieces", ""), ("needed mass", "lb" if us else "kg"),
                       ("needed area", "ft²" if us else "m²")):
        if row.get(name) is not None:
            return f"{cell(row, name)} {unit}".strip()
    return NONE


def _dig(data: Mapping[str, Any]) -> list[Any]:
    rows = tuple(tuple(cell(r, k) if k != "expected" or r.get(k) is None else f"{r[k]:.1f}" for k in (
        "place", "site", "section", "joint", "decision", "state", "deadline", "deadline date", "expected", "materials",
        "stock", "pressures")) for r in data["dig"])
    table = [Table(("", "Site", "Section", "Joint", "Decision", "State", "Deadline", "By", "Expected (h)", "Materials",
                    "Stock", "Pressure of the section"), rows, (2, 7, 8, 4, 6, 7, 15, 7, 6, 12, 14, 12), (0, 8))
             ] if rows else ["There are no sites."]
    told: dict[str, list[str]] = {}
    for r in data["dig"]:
        if r.get("told"):
            told.setdefault(r["told"], []).append(r["site"])
    return [*table, *data["dig_told"], *(f"{', '.join(sites)}: {words}" for words, sites in told.items()),
            "All columns stand in dig-list.csv."]


def _season(data: Mapping[str, Any]) -> list[Any]:
    s = data["season"]
    out: list[Any] = []
    if s:
        bars = [(case, a, b, due, crew) for case, a, b, due, crew in s["bars"]]
        for k in range(0, len(bars), 34):  # as many as a page holds
            out.append(Figure(season_bars(bars=bars[k:k + 34], days=s["days"], title="Season"),
                              "Sites over working days; a heavy stroke is the deadline, a hatched bar ends after it."))
    told = [*out, *data["missed"], *data["unplaced"], *data["season_told"]]
    return told or ["There are no sites."]


def _failures(told: Mapping[str, Any]) -> list[Any]:
    rows = tuple((f["case_id"], f["message"]) for f in told["failures"])
    table = [Table(("Case", "Why there is no package"), rows, (18, 82))] if rows else ["Every case has its package."]
    gone = [f"No longer chosen, but still in packages/: {', '.join(told['no_longer_chosen'])}."] if (
        told["no_longer_chosen"]) else []
    return [*table, *gone, "Rows that could not be read stand in screening/faults.csv."]


def _assumed(told: Mapping[str, Any], screening: Mapping[str, Any]) -> list[Any]:
    texts = [*told["told"], *screening.get("told", ()), *(
        a if isinstance(a, str) else str(a.get("text", a)) for a in screening.get("assumptions", ()))]
    return list(dict.fromkeys(texts)) or ["Nothing besides what stands in the packages."]


def _files(told: Mapping[str, Any]) -> list[Any]:
    rows = tuple((k, str(v)) for k, v in told["made_from"].items())
    return [f"Made by wrapcalc {__version__}.", Table(("Made from", "SHA-256 or value"), rows, (28, 72))]
