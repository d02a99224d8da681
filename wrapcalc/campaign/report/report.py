"""The report of a campaign, from the files in its folder alone: HTML, PDF, and the parts that the workbook shows."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wrapcalc import __version__, units
from wrapcalc.campaign.report.sections import Figure, Section, Table
from wrapcalc.errors import PackageError
from wrapcalc.package.report import WARNING, environment
from wrapcalc.render.figures._campaign_charts import histogram, season_bars, unity
from wrapcalc.render.figures._line_map import line_map

TOLD, ROLL_UP = "campaign.json", "roll-up.json"
HTML, PDF = "campaign.html", "campaign.pdf"
#: Rows of a table that may be as long as the listing.
_MOST = 60
CAUTIONS = (
    "NOT APPROVED: nothing of this is for construction before its package is approved. Local codes and licensed "
    "practice decide.",
    "Sizes are those that the inspection run reported, with the allowances of the base case, where nobody measured in "
    "the ditch. What is found there is held against each package before anybody begins (wrapcalc as-found).",
    "Until a repair is accepted its pressure limit holds for the whole hydraulic section: it is held at its lowest.")


@dataclass(frozen=True)
class Report:
    """What a campaign left, ready to print. about: texts of the first page."""

    about: dict[str, Any]
    sections: tuple[Section, ...]


def read_report(folder: Path) -> Report:
    """The report of a campaign's folder. Raises PackageError when its files are not there or cannot be read."""
    try:
        told, data = (json.loads((folder / n).read_text(encoding="utf-8")) for n in (TOLD, ROLL_UP))
    except OSError as e:
        raise PackageError(f"{folder}: {Path(e.filename or TOLD).name} cannot be read ({e.strerror or e}); name the "
                           "folder of a campaign that was run") from None
    except ValueError:
        raise PackageError(f"{folder}: {TOLD} or {ROLL_UP} is damaged; run the campaign again") from None
    screening = _screening(folder)
    p = _Parts(told, data, screening)
    return Report(p.about(), p.sections())


def write_report(folder: Path) -> tuple[Path, Path]:
    """Write campaign.html and campaign.pdf into the folder of a campaign; the same files give the same bytes."""
    from jinja2 import ChoiceLoader, PackageLoader
    from markupsafe import Markup

    from wrapcalc.campaign.run import write_aside
    from wrapcalc.package.glyphs import share_glyphs
    from wrapcalc.package.pdf import html_to_pdf
    from wrapcalc.render import items
    report = read_report(folder)
    env = environment()
    env.loader = ChoiceLoader([PackageLoader("wrapcalc.campaign.report", "templates"), env.loader])  # type: ignore[list-item]
    html = share_glyphs(env.get_template("campaign.html").render(
        s=report.about, sections=report.sections, bodies=[Markup(x.html()) for x in report.sections], warning=WARNING,
        fragment_style=Markup(items.STYLE)))
    write_aside(folder / HTML, html.encode())
    aside = folder / f".aside-{PDF}"
    try:
        html_to_pdf(html, aside)
        aside.replace(folder / PDF)
    finally:
        aside.unlink(missing_ok=True)
    return folder / HTML, folder / PDF


def _screening(folder: Path) -> dict[str, Any]:
    try:
        return json.loads((folder / "screening" / "screening.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}


@dataclass
class _Parts:
    """told: campaign.json; data: roll-up.json; screening: screening.json, {} where there is none."""

    told: Mapping[str, Any]
    data: Mapping[str, Any]
    screening: Mapping[str, Any]

    def about(self) -> dict[str, Any]:
        t, c = self.told, self.told["campaign"]
        wraps = sum(p["decision"] == "wrap" for p in t["packages"])
        asked = sum(n for w, n in self.data["dispositions"].items() if w in ("repair", "other repair needed"))
        failed = f", {len(t['failures'])} failed" if t["failures"] else ""
        missed = len(self.data["missed"])
        return {
            "name": c["name"], "paper": c["paper"], "version": t["wrapcalc"],
            "listing_sha256": str(t["made_from"].get("listing", "")),
            "headline": f"{t['ranked_rows']} anomalies ranked, {len(t['chosen'])} repairs chosen, {len(t['left'])} "
                        "left with a reason",
            "sentences": [
                f"{asked} anomalies ask for a repair. {len(t['packages'])} packages{failed}; {wraps} of them wrap.",
                f"Selection: {t['rule']}.",
                *(["The campaign was stopped before its end: run it again to go on."] if not t["complete"] else []),
                *([f"{missed} deadline{'s are' if missed > 1 else ' is'} not met or not known to be: see Season."]
                  if missed else [])],
            "cautions": CAUTIONS}

    def sections(self) -> tuple[Section, ...]:
        return (Section("found", "What was found", self._found()), Section("dug", "What is dug", self._dug()),
                Section("left", "What is left, and why", self._left()),
                Section("ranked", "Ranked list", self._ranked()), Section("map", "Map along the line", self._map()),
                Section("distributions", "Distributions", self._distributions()),
                Section("neighbours", "Neighbours", self._neighbours()),
                Section("known", "Known repairs", self._known()),
                Section("unity", "Listing against field", self._unity()), Section("order", "Order", self._order()),
                Section("dig", "Dig list", self._dig()), Section("season", "Season", self._season()),
                Section("failures", "Failures and faults", self._failures()),
                Section("assumed", "What was assumed", self._assumed()), Section("files", "Files", self._files()))

    # -- numbers ---------------------------------------------------------------------------------------------------
    def _show(self, value: float | None, unit: str, significant: int = 4) -> str:
        """A quantity of ours in the units of the campaign, "–" where there is none."""
        if value is None:
            return "–"
        us = self.told["campaign"]["display"] == "US"
        to = {"mm": "inch", "m": "foot", "MPa": "psi"}.get(unit, unit) if us else unit
        return units.show(float(units.convert(value, unit, to)), to, significant=significant)

    def _fixed(self, value: float | None, unit: str, decimals: int) -> str:
        """The same with so many decimals, that a column reads well; inches have one more, psi and feet none and one."""
        if value is None:
            return "–"
        if self.told["campaign"]["display"] == "US":
            to, decimals = {"mm": ("inch", decimals + 1), "m": ("foot", 1), "MPa": ("psi", 0)}[unit]
            return f"{float(units.convert(value, unit, to)):.{decimals}f} {units.label(to)}"
        return f"{value:.{decimals}f} {unit}"

    def _row(self, r: Mapping[str, Any]) -> tuple[str, ...]:
        survey = r.get("survey")
        clock = r.get("clock")
        return (str(r.get("feature_id") or f"row {r.get('row', '')}"), str(r.get("kind") or ""),
                self._fixed(None if survey is None else survey / 1000, "m", 2), str(r.get("joint") or "–"),
                "–" if clock is None else _clock(clock), self._fixed(r.get("depth"), "mm", 2),
                self._fixed(r.get("length"), "mm", 0), self._fixed(r.get("safe_pressure"), "MPa", 2),
                "–" if r.get("repair_factor") is None else units.digits(r["repair_factor"], 3),
                str(r.get("deadline") or "–").partition(",")[0])

    _HEAD = ("Feature", "Kind", "Surveyed distance", "Joint", "Clock", "Depth", "Length", "Safe pressure",
             "Repair factor", "Deadline")

    # -- parts -----------------------------------------------------------------------------------------------------
    def _found(self) -> list[Any]:
        rows = tuple((w, str(n)) for w, n in self.data["dispositions"].items())
        totals = [f"{name.replace('_', ' ')}: {value}" for name, value in self.screening.get("totals", {}).items()
                  if isinstance(value, (int, str))]
        return [*totals, Table(("Disposition", "Anomalies"), rows, (80, 20), (1,))]

    def _dug(self) -> list[Any]:
        made = {p["case_id"]: p for p in self.told["packages"]}
        rows = []
        for x in self.told["chosen"]:
            package = made.get(x["case"])
            for i, r in enumerate(x["rows"]):
                decision = package["decision"] if package else "no package"
                why = x["why"][0] + (f"; and {len(x['why']) - 1} more reasons" if len(x["why"]) > 1 else "")
                first = (x["case"], decision, why) if i == 0 else ("", "", "in the same repair")
                cells = self._row(r)
                rows.append((*first, cells[0], *cells[2:4], cells[5], cells[8], cells[9]))
        if not rows:
            return ["Nothing is dug."]
        return [Table(("Case", "Decision of its package", "Chosen because", "Feature", "Surveyed distance", "Joint",
                       "Depth", "Repair factor", "Deadline"), tuple(rows), (13, 13, 21, 10, 10, 6, 7, 8, 12), (7,))]

    def _left(self) -> list[Any]:
        left = self.told["left"]
        reasons = Counter(x["reason"] for x in left)
        counts = [Table(("Left because", "Rows"), tuple((why, str(n)) for why, n in reasons.most_common(20)), (85, 15),
                        (1,))] if left else []
        rows = tuple((*self._row(x["row"])[:3], *self._row(x["row"])[5:6], *self._row(x["row"])[8:], x["reason"])
                     for x in left[:_MOST])
        more = [f"{len(left) - _MOST} more stand in {TOLD}."] if len(left) > _MOST else []
        open_ = [f"{n} anomalies without enough data: {why}" for why, n in self.told["undecided"].items()]
        table = [Table(("Feature", "Kind", "Surveyed distance", "Depth", "Repair factor", "Deadline", "Left because"),
                       rows, (12, 13, 12, 8, 8, 14, 33), (4,))] if rows else ["No row that asks for a repair is left."]
        return [*counts, *table, *more, *open_]

    def _ranked(self) -> list[Any]:
        rows = tuple((str(r.get("rank", "")), *self._row(r), str(r.get("disposition") or ""))
                     for r in self.data["head"])
        return [f"The first {len(rows)} of {self.told['ranked_rows']}; all of them stand in screening/ranked.parquet.",
                Table(("Rank", *self._HEAD, "Disposition"), rows, (4, 9, 10, 9, 6, 6, 7, 7, 9, 7, 12, 14), (0, 9))]

    def _map(self) -> list[Any]:
        ends = self.data["ends"]
        if ends is None:
            return ["There is nothing to draw."]
        us = self.told["campaign"]["display"] == "US"
        scale, unit = (1 / 304.8, "ft") if us else (1e-3, "m")
        note = (f"{self.data['not_drawn']} more that stay as they are, lower in the ranking, are not drawn."
                if self.data["not_drawn"] else "")
        svg = line_map(points={m: [(x * scale, c) for x, c in p] for m, p in self.data["places"].items()},
                       start=ends[0] * scale, end=ends[1] * scale, unit=unit, title="Anomalies along the line",
                       note=note)
        return [Figure(svg, "Every place by surveyed distance and clock, facing downstream.")]

    def _distributions(self) -> list[Any]:
        out: list[Any] = []
        for counts, name, edges, limit, label in (
                (self.data["depths"], "depth with allowance over wall (%)", [5.0 * i for i in range(21)], 80.0,
                 "limit 80 %"),
                (self.data["factors"], "repair factor, MAOP over safe pressure", [0.1 * i for i in range(21)], 1.0,
                 "safe pressure is the MAOP")):
            if any(counts):
                out.append(Figure(histogram(counts=counts, edges=edges, limit=limit, limit_label=label, name=name,
                                            title=name), f"How many anomalies: {name}."))
        if self.data["factors_beyond"]:
            out.append(f"{self.data['factors_beyond']} anomalies have a repair factor above 2 and are not drawn.")
        return out or ["There is nothing to draw."]

    def _neighbours(self) -> list[Any]:
        joined = [x for x in self.told["chosen"] if len(x["rows"]) > 1]
        texts = [f"{x['case']}: one repair for {', '.join(str(r.get('feature_id') or r.get('row')) for r in x['rows'])}"
                 for x in joined]
        return [*(texts or ["No repair that is dug holds more than one anomaly."]),
                "Before and after of every group, with the reason: screening/neighbours.csv."]

    def _known(self) -> list[Any]:
        known = [x for x in self.told["left"] if x["row"].get("under_repair")]
        count = len(self.data["places"]["under repair"])
        told = f"{count} rows lie" if count else "No row lies"
        return [f"{told} under a repair that is known.",
                *(f"{x['row'].get('feature_id')}: {x['reason']}" for x in known[:_MOST])]

    def _unity(self) -> list[Any]:
        b = self.data["bias"]
        if b is None:
            return ["Fewer than two anomalies of the listing were measured in the field."]
        us = self.told["campaign"]["display"] == "US"
        scale, unit = (1 / 25.4, "in") if us else (1.0, "mm")
        lines = [f"{len(b['pairs'])} pairs; mean error (listing less field) {self._show(b['mean'], 'mm', 3)}, with 95 "
                 f"% confidence from {self._show(b['low'], 'mm', 3)} to {self._show(b['high'], 'mm', 3)}. "
                 + ("The run is biased: the interval leaves out zero." if b["biased"] else
                    "A bias is not shown: the interval holds zero."), *b["told"],
                 f"{b['citation']} ({b['status']})."]
        if b["tolerance"] is None:
            return [*lines, "The base case states no sizing tolerance: the pairs are not drawn."]
        claimed = "–" if b["claimed"] is None else f"{100 * b['claimed']:g} %"
        svg = unity(pairs=[(f * scale, x * scale) for _, x, f in b["pairs"]], tolerance=b["tolerance"] * scale,
                    confidence=claimed, mean_error=b["mean"] * scale, unit=unit, title="Listing against field")
        return [*lines, Figure(svg, "Depth of the listing against depth in the field, with the sizing tolerance.")]

    def _order(self) -> list[Any]:
        rows = tuple((*(_text(r, n) for n in ("item", "system", "width", "outside diameter")),
                      _amount(r, self.data["display"]),
                      *(_text(r, n) for n in ("spares", "from stock", "to get", "needed by", "sites")))
                     for r in self.data["order"])
        table = [Table(("Item", "System", "Width", "Diameter", "Needed", "Spares", "From stock", "To get", "Needed by",
                        "Sites"), rows, (14, 11, 6, 7, 10, 6, 7, 7, 10, 22), (2, 3, 5, 6, 7))] if rows else [
            "Nothing to order."]
        short = [f"Short: {', '.join(self.data['shortages'])}."] if self.data["shortages"] else []
        return [*table, *short, *self.data["order_told"],
                "Widths and diameters are in the unit that stands above them in order.csv; each site's share stands in "
                "order-by-site.csv."]

    def _dig(self) -> list[Any]:
        rows = tuple(tuple(_text(r, n) for n in ("place", "site", "section", "joint", "decision", "deadline",
                                                 "deadline date", "expected", "materials", "stock", "pressures"))
                     for r in self.data["dig"])
        table = [Table(("", "Site", "Section", "Joint", "Decision", "Deadline", "By", "Hours", "Materials", "Stock",
                        "Pressure of the section"), rows, (3, 9, 11, 5, 8, 10, 8, 5, 14, 9, 18), (0, 7))] if rows else [
            "There are no sites."]
        return [*table, *self.data["dig_told"], "All columns stand in dig-list.csv."]

    def _season(self) -> list[Any]:
        s = self.data["season"]
        out: list[Any] = []
        if s:
            bars = [(case, a, b, due, crew) for case, a, b, due, crew in s["bars"]]
            for k in range(0, len(bars), 34):  # as many as a page holds
                out.append(Figure(season_bars(bars=bars[k:k + 34], days=s["days"], title="Season"),
                                  "Sites over working days; a heavy stroke is the deadline, a hatched bar ends after "
                                  "it."))
        told = [*out, *self.data["missed"], *self.data["unplaced"], *self.data["season_told"]]
        return told or ["There are no sites."]

    def _failures(self) -> list[Any]:
        t = self.told
        rows = tuple((f["case_id"], f["message"]) for f in t["failures"])
        table = [Table(("Case", "Why there is no package"), rows, (18, 82))] if rows else [
            "Every case has its package."]
        gone = [f"No longer chosen, but still in packages/: {', '.join(t['no_longer_chosen'])}."] if (
            t["no_longer_chosen"]) else []
        return [*table, *gone, "Rows that could not be read stand in screening/faults.csv."]

    def _assumed(self) -> list[Any]:
        texts = [*self.told["told"], *self.screening.get("told", ()), *(
            a if isinstance(a, str) else str(a.get("text", a)) for a in self.screening.get("assumptions", ()))]
        return list(dict.fromkeys(texts)) or ["Nothing besides what stands in the packages."]

    def _files(self) -> list[Any]:
        rows = tuple((k, str(v)) for k, v in self.told["made_from"].items())
        return [f"Made by wrapcalc {__version__}.", Table(("Made from", "SHA-256 or value"), rows, (28, 72))]


def _clock(hours: float) -> str:
    minutes = round(hours * 60) % 720
    return f"{minutes // 60 or 12}:{minutes % 60:02d}"


def _text(row: Mapping[str, Any], name: str) -> str:
    value = row.get(name)
    if value is None or value == "":
        return "–"
    return units.digits(value, 4) if isinstance(value, float) else str(value)


def _amount(row: Mapping[str, Any], display: str) -> str:
    """What is needed, in the one way that the line is counted."""
    for name, unit in (("needed pieces", ""), ("needed mass", "lb" if display == "US" else "kg"),
                       ("needed area", "ft²" if display == "US" else "m²")):
        if row.get(name) is not None:
            return f"{_text(row, name)} {unit}".strip()
    return "–"
