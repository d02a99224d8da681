"""The site sheet: two pages for those who lay the wrap, and the kit list for the yard; from the record alone.

Only for the decision "wrap". What the case does not state is a line to write on. The sheet is never cut: what does not
fit on two pages is set closer step by step, and what then is left out stands on the kit list.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from wrapcalc.errors import PackageError
from wrapcalc.package.pdf import page_count
from wrapcalc.package.report import IDENTITIES, WARNING, Approval, environment
from wrapcalc.package.site_words import FIRST, TITLES, first_sentence, limit_words
from wrapcalc.render.display import Shown, hours
from wrapcalc.render.figures._site_drawing import site_drawing
from wrapcalc.render.wrap_drawings import _pieces

Record = Mapping[str, Any]
PAGES = 2
#: Columns of a table of doses or cure times that the width of a page takes.
_COLUMNS = 8
_SENSES = {"<=": "≤", ">=": "≥", "": ""}
_LONG = 15  # letters of a limit beyond which it has a line to itself

@dataclass(frozen=True)
class Setting:
    """How close a sheet is set. rows: height of a row to write in, mm; cautions: how many; laid: places to write where
    units came to lie; tall: the drawing; more: words beyond the numbers; close: 0 to 2, how close the lines stand;
    table: that of the units, which the kit list has in any case."""

    rows: float
    cautions: int
    laid: bool = False
    tall: bool = False
    more: bool = False
    close: int = 0
    table: bool = True


#: Tried in this order: the first that holds on two pages is taken.
SETTINGS = (Setting(6.2, 99, laid=True, tall=True, more=True), Setting(6.2, 8, laid=True, tall=True),
            Setting(5.8, 6, laid=True), Setting(5.8, 5), Setting(5.6, 4, laid=True, close=1), Setting(5.6, 4, close=1),
            Setting(5.2, 4, close=1), Setting(4.8, 4, close=1), Setting(0.0, 3, close=1), Setting(0.0, 2, close=2),
            Setting(0.0, 2, close=2, table=False))
_BEFORE, _AFTER = ("blast wall", "surface", "filler"), ("wrapping", "cure", "hardness", "laminate", "tap")


def site_sheet_html(record: Record, *, revision: int, digest: str, approval: Approval | None = None) -> str:
    """The site sheet of a record as one HTML page that stands alone; `html_to_pdf` makes two pages of it.

    digest: SHA-256 of the record. approval: names and date in place of the warning. The same arguments give the same
    text. Raises PackageError for a record whose decision is not "wrap", and where no setting holds on two pages.
    """
    _only_a_wrap(record)
    page = environment().get_template("site_sheet.html")
    for setting in SETTINGS:
        html = page.render(sheet="site", as_set=setting, figure=Markup(_drawing(record, setting.tall)),
                           **_common(record, revision, digest, approval), **_site(record, setting))
        if page_count(html) == PAGES:
            return html
    raise PackageError(f"{record['case']['id']}: the site sheet does not fit on {PAGES} pages, with its "
                       f"{len(_units(record))} units; split the case into repairs that are laid by themselves")


def kit_list_html(record: Record, *, revision: int, digest: str, approval: Approval | None = None) -> str:
    """What is taken along, with boxes to tick before leaving the yard; whole dose tables, batch log and cautions.

    Arguments and faults as for the site sheet; as many pages as it takes.
    """
    _only_a_wrap(record)
    wrap, order = record["site"]["wrap"], record["order"]
    stuff = wrap["materials"] or {"items": [], "consumables": [], "tools": [], "notes": [], "shelf": []}
    rows = [{"line": line, "item": next((i for i in stuff["items"] if i["item"] == line["item"]), None)}
            for line in order]
    return environment().get_template("site_sheet.html").render(
        sheet="kit", as_set=SETTINGS[0], rows=rows, stuff=stuff, doses=_doses(record, True), warned=_warned(record),
        cautions=wrap["cautions"],
        laminate=wrap["laminate"], units=_units(record), marks=wrap["marks"], figure="",
        **_common(record, revision, digest, approval))


def _only_a_wrap(record: Record) -> None:
    word = record["decision"]["word"]
    if word != "wrap" or not record.get("site") or not record["site"]["wrap"]:
        raise PackageError(f"{record['case']['id']}: the decision is '{word}'; a site sheet and a kit list are made "
                           "for a wrap only")


def _common(record: Record, revision: int, digest: str, approval: Approval | None) -> dict[str, Any]:
    return {
        "r": record, "revision": revision, "digest": digest, "approval": approval, "identities": IDENTITIES,
        "heading": approval.heading if approval else WARNING,
        "given": {i["field"]: i["shown"] for i in record["inputs"]},
        "system": {x["field"]: x["shown"] for x in record["system"]["rows"]},
        "headline": {h["label"]: h["value"]["shown"] for h in record["headline"]},
    }


def _windows(weather: Mapping[str, Any] | None) -> list[str]:
    """Windows of the forecast in words: the one that holds the planned start first."""
    if weather is None or weather["strip"] is None:
        return []
    strip, words = weather["strip"], weather["windows"]
    start = strip["planned"][0] if strip["planned"] else None
    holds = [start is not None and w[0] <= start <= w[1] for w in strip["windows"]]
    return [w for _, w in sorted(zip(holds, words, strict=True), key=lambda pair: not pair[0])]


def _site(record: Record, setting: Setting) -> dict[str, Any]:
    wrap, beside = record["site"]["wrap"], record["decision"]["beside"]
    points = wrap["hold_points"]
    half = math.ceil(len(points) / 2)
    cautions = [(c["hazard"], first_sentence(c["text"])) for c in
                sorted(wrap["cautions"], key=lambda c: c["hazard"] not in FIRST)]
    joined = _joined(record)
    return {
        "windows": _windows(wrap["weather"]),
        "wrap": wrap, "beside": beside, "laying": _laying(record, beside), "units": _units(record),
        "tiers": [_nth(n + 1) for n in range(record["geometry"]["wrap"]["tiers"])],
        "unit_pairs": [joined[i:i + 2] for i in range(0, len(joined), 2)],
        "before": _limits(points, _BEFORE), "after": _limits(points, _AFTER),
        "doses": _doses(record, setting.more),
        "cures": _chunks(list(zip(_split(record, "cure_table.temperatures"), _split(record, "cure_table.times"),
                                  strict=False))),
        "points": list(zip(points[:half], [*points[half:], *[None] * (2 * half - len(points))], strict=True)),
        "titles": TITLES, "box": (record["bears"] or {"box": []})["box"],
        "cautions": cautions[:setting.cautions],
    }


def _laying(record: Record, beside: Mapping[str, Any] | None) -> str:
    """The lower of the pressure beside the pipe and that of the plan of the work, in words; empty for neither."""
    plan = next((i for i in record["inputs"] if i["field"] == "service.installation_pressure" and i["answered"]), None)
    found = [(beside["magnitude"], beside["shown"])] if beside else []
    if plan is not None:
        found.append((plan["magnitude"], plan["shown"].removesuffix(" gauge")))
    return min(found)[1] if found else ""


# -- tables ------------------------------------------------------------------------------------------------------
def _units(record: Record) -> list[dict[str, Any]]:
    """One row for each unit of each tier: name, sides, clock and arc of its start."""
    repairs = record["site"]["wrap"]["marks"]["repairs"]
    tiers = any(u["tier"] > 1 for r in repairs for u in r["units"])
    return [{"name": _name(r, u, len(repairs)) + (f", {_nth(u['tier'])}" if tiers else "")} | u
            for r in repairs for u in r["units"]]


def _joined(record: Record) -> list[dict[str, Any]]:
    """One row for each unit, with the clocks of its starts tier by tier: all tiers have the same sides."""
    repairs = record["site"]["wrap"]["marks"]["repairs"]
    out: dict[str, dict[str, Any]] = {}
    for r in repairs:
        for u in r["units"]:
            row = out.setdefault(_name(r, u, len(repairs)), {
                "name": _name(r, u, len(repairs)), "upstream": u["upstream"], "downstream": u["downstream"],
                "clocks": []})
            row["clocks"].append(u["clock"])
    return list(out.values())


def _name(repair: Mapping[str, Any], unit: Mapping[str, Any], of: int) -> str:
    return f"{repair['label']}.{unit['number']}" if of > 1 else str(unit["number"])


def _nth(number: int) -> str:
    return f"{number}{('st', 'nd', 'rd')[number - 1] if number < 4 else 'th'}"


def _limits(points: Sequence[Mapping[str, Any]], keys: Sequence[str]) -> dict[str, Any]:
    """What is read against which limit; empty where the limit is not stated. pairs: two columns; long: whole lines."""
    rows: list[dict[str, str]] = []
    for p in points:
        for x in p["limits"] if p["key"] in keys else ():
            what = limit_words(x["what"])
            if not what:
                continue
            shown = x["value"]["shown"] if x["value"] else ""
            if rows and rows[-1]["what"] == what and shown and rows[-1]["limit"].startswith("≥"):
                rows[-1]["limit"] = f"{_number(rows[-1]['limit'][2:], shown)} to {shown}"
            else:
                rows.append({"what": what, "limit": f"{_SENSES[x['sense']]} {shown}".strip() if shown else x["words"]})
    return {"pairs": _pairs([x for x in rows if len(x["limit"]) <= _LONG]),
            "long": [x for x in rows if len(x["limit"]) > _LONG]}


def _number(low: str, high: str) -> str:
    """The lower of two limits, without its unit where the upper one has the same."""
    number, _, unit = low.partition(" ")
    return number if high.endswith(f" {unit}") else low


def _pairs(rows: Sequence[Any]) -> list[tuple[Any, Any]]:
    """Two columns, read downwards."""
    half = math.ceil(len(rows) / 2)
    return list(zip(rows[:half], [*rows[half:], *[None] * (2 * half - len(rows))], strict=True))


def _chunks(rows: Sequence[Any]) -> list[Sequence[Any]]:
    """In as few tables of about equal width as the page takes."""
    if not rows:
        return []
    count = math.ceil(len(rows) / _COLUMNS)
    wide = math.ceil(len(rows) / count)
    return [rows[i:i + wide] for i in range(0, len(rows), wide)]


def _doses(record: Record, whole: bool) -> list[dict[str, Any]]:
    """Each mix with its table: temperature, hardener for a batch. whole: else, of a long table, the rows about the plan
    (those added between rows of the sheet); cut: whether some are left out."""
    out = []
    for mix in record["site"]["wrap"]["mixing"]:
        rows = [x["shown"] for x in mix["rows"]]
        cut = len(rows) > _COLUMNS and not whole
        if cut:
            added = [k for k, x in enumerate(mix["rows"]) if x["added"]] or [0]
            first = max(0, min((added[0] + added[-1] - _COLUMNS) // 2 + 1, len(rows) - _COLUMNS))
            rows = rows[first:first + _COLUMNS]
        out.append(mix | {"tables": _chunks(rows), "to": rows[0][2] if rows else "", "cut": cut})
    return out


def _warned(record: Record) -> list[tuple[str, str]]:
    """What is said of mixes, each sentence once, with the materials that it is said of."""
    out: dict[str, list[str]] = {}
    for mix in record["site"]["wrap"]["mixing"]:
        for caution in mix["cautions"]:
            out.setdefault(caution, []).append(mix["material"])
    return [(", ".join(materials).capitalize(), caution) for caution, materials in out.items()]


def _split(record: Record, field: str) -> list[str]:
    shown = next((x["shown"] for x in record["system"]["rows"] if x["field"] == field), "")
    return shown.split(", ") if shown else []


# -- drawing -----------------------------------------------------------------------------------------------------
def _drawing(record: Record, tall: bool) -> str:
    """The unrolled pipe with its marks, from one zero."""
    size, marks, shape = Shown(record), record["site"]["wrap"]["marks"], record["geometry"]
    #: From the middle of all damage, where the geometry has its zero, to the zero of the marks.
    off = marks["repairs"][0]["middle"]["magnitude"] - shape["wrap"]["repairs"][0]["middle"]

    def place(value: Mapping[str, Any]) -> tuple[float, str]:
        return size(value["magnitude"]), value["shown"].removesuffix(f" {size.label}")

    many = len(marks["repairs"]) > 1
    repairs = []
    for r in marks["repairs"]:
        units: dict[int, dict[str, Any]] = {}
        tiers = max(u["tier"] for u in r["units"])
        for u in r["units"]:
            row = units.setdefault(u["number"], {
                "name": _name(r, u, 2 if many else 1), "upstream": place(u["upstream"]),
                "downstream": place(u["downstream"]), "starts": []})
            row["starts"].append((hours(u["clock"]), _nth(u["tier"]) if tiers > 1 else ""))
        repairs.append({"label": r["label"], "overall": [place(r["upstream_edge"]), place(r["downstream_edge"])],
                        "steel": [place(r["upstream_steel"]), place(r["downstream_steel"])],
                        "units": list(units.values())})
    clear, given = shape["clear_downstream"], {i["field"]: i for i in record["inputs"]}
    edge = (given["defect.length"]["magnitude"] or 0.0) / 2
    return site_drawing(
        circumference=size(math.pi * shape["outside_diameter"]), zero=marks["reference"],
        zero_is_weld=marks["from_weld"],
        damage=[(size(a + off), size(b + off), clock, size(w)) for a, b, clock, w, _, _ in _pieces(record)]
        if shape["defect_clock"] and shape["defect_width"] else [],
        repairs=repairs, seam_clock=hours(shape["seam_clock"]) if shape["seam_clock"] else None,
        keep_outs=_keep_outs(given, size) if marks["from_weld"] else [],
        other_weld=None if clear is None else size(off + edge + clear), ends=shape["wrap"]["ends"],
        length_unit=size.label, title=f"Case {record['case']['id']}: marks on the pipe", least=not tall,
    )


def _keep_outs(given: Mapping[str, Any], size: Shown) -> list[tuple[float, float, str]]:
    out = []
    for field, i in given.items():
        if field.startswith("keep_out.") and field.endswith(".what"):
            start, end, rule = (given[field.removesuffix("what") + k] for k in ("start", "end", "rule"))
            out.append((size(start["magnitude"]), size(end["magnitude"]),
                        f"{i['shown']}, {start['shown']} to {end['shown']} ({rule['shown']})"))
    return out
