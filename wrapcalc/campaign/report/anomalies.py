"""Parts of the report of a campaign that tell of the anomalies: found, dug, left, drawn, joined, under repair."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any

from wrapcalc import units
from wrapcalc.campaign.report.numbers import NONE, Numbers, cut, name_of, several
from wrapcalc.campaign.report.sections import Figure, Section, Table
from wrapcalc.render.figures._campaign_charts import histogram
from wrapcalc.render.figures._line_map import MARKS, line_map

#: Rows of a table that may be as long as the listing, reasons that are told apart, reasons of one repair.
MOST, REASONS, WHY = 60, 20, 4
_FIELDS = {"defect.depth": "depth", "defect.length": "length", "defect.width": "width", "pipe.sound_wall": "sound wall",
           "defect.clock": "clock", "growth.measured_date": "date of the sizes", "defect.grid": "depth grid"}
_TOTALS = {"rows_in_the_file": "Rows in the file", "ranked": "ranked as anomalies", "no_anomaly": "that are no anomaly",
           "faulty": "with faults, in no ranking (screening/faults.csv)"}
_MORE = {"groups_that_act_as_one": "Groups that act as one", "repairs_of_several_rows": "Repairs of several rows",
         "under_a_known_repair": "Rows under a known repair"}


def sections(told: Mapping[str, Any], data: Mapping[str, Any]) -> list[Section]:
    """told: campaign.json; data: roll-up.json."""
    n = Numbers(told["campaign"]["display"])
    return [Section("found", "What was found", _found(data)), Section("dug", "What is dug", _dug(told, n)),
            Section("left", "What is left, and why", _left(told, n)),
            Section("ranked", "Ranked list", _ranked(told, data, n)),
            Section("map", "Map along the line", _map(data, n)),
            Section("distributions", "Distributions", _distributions(data)),
            Section("neighbours", "Neighbours", _neighbours(told, data, n)),
            Section("known", "Known repairs", _known(told, data))]


def _found(data: Mapping[str, Any]) -> list[Any]:
    screening = data["screening"]
    totals, others = screening.get("totals", {}), screening.get("no_anomaly", {})
    rows = [(words, str(totals[k])) for k, words in _TOTALS.items() if k in totals]
    if others:
        kinds = ", ".join(f"{k} {n}" for k, n in others.items() if n)
        rows = [(f"{w} ({kinds})" if w == _TOTALS["no_anomaly"] and kinds else w, n) for w, n in rows]
    rows += [(words, str(totals[k])) for k, words in _MORE.items() if k in totals]
    out: list[Any] = [Table(("Listing", "Count"), tuple(rows), (80, 20), (1,))] if rows else []
    return [*out, Table(("Disposition by the listing", "Anomalies"),
                        tuple((w, str(n)) for w, n in data["dispositions"].items()), (80, 20), (1,))]


# -- dug and left -------------------------------------------------------------------------------------------------
def reasons(x: Mapping[str, Any]) -> str:
    """Why a repair is chosen: each reason once, whichever of its features gives it."""
    ids = {name_of(r) for r in x["rows"]}
    plain = list(dict.fromkeys(rest if head in ids else w for w in x["why"] for head, _, rest in [w.partition(": ")]))
    more = len(plain) - WHY
    return "; ".join(plain[:WHY]) + (f"; and {several(more, 'more reason', 'more reasons')}" if more > 0 else "")


def _dug(told: Mapping[str, Any], n: Numbers) -> list[Any]:
    made = {p["case_id"]: p for p in told["packages"]}
    rows, both = [], []
    for x in told["chosen"]:
        package = made.get(x["case"])
        measured = {r["feature_id"]: r["measured"] for r in x["replaced"] if r["field"] == "defect.depth"}
        grids = {r["feature_id"] for r in x["replaced"] if r["field"] == "defect.grid"}
        shared = Counter(r.get("feature_id") for r in x["rows"])
        for i, r in enumerate(x["rows"]):
            decision = package["decision"] if package else "no package"
            first = (x["case"], decision, reasons(x)) if i == 0 else ("", "", "in the same repair")
            c, feature = n.row(r), r.get("feature_id")
            found = ("depth grid" if feature in grids else NONE if feature not in measured else
                     "see below" if shared[feature] > 1 else n.written(measured[feature], "mm", 2))
            rows.append((*first, c["Feature"], c["Surveyed distance"], c["Joint"], c["Depth"], found,
                         c["Repair factor"], c["Deadline"]))
        both += [(x["case"], str(r["feature_id"]), _FIELDS.get(r["field"], r["field"]), r["listing"] or NONE,
                  r["measured"], r["source"]) for r in x["replaced"]]
    if not rows:
        return ["Nothing is dug."]
    out: list[Any] = [
        "Distance, listed depth, repair factor and deadline are those of the listing, with the allowances of the base "
        "case in factor and deadline. Where a depth was measured in the ditch, the package of the case is made of it.",
        Table(("Case", "Decision of its package", "Chosen because", "Feature", "Surveyed distance", "Joint",
               "Depth listed", "Depth measured", "Repair factor, listing", "Deadline, listing"), tuple(rows),
              (10, 11, 20, 9, 9, 5, 9, 9, 8, 10), (8,))]
    if both:
        out += ["Measured in the ditch, and what the listing or the base case says of it; both are kept, the package "
                "takes what was measured:",
                Table(("Case", "Feature", "What", "Listing or base case", "Measured", "Source"), tuple(both[:MOST]),
                      (12, 12, 14, 16, 14, 32))]
        out += [f"{several(len(both) - MOST, 'more value stands', 'more values stand')} in campaign.json."] if (
            len(both) > MOST) else []
    return out


def _left(told: Mapping[str, Any], n: Numbers) -> list[Any]:
    left = told["left"]
    out: list[Any] = []
    if left:
        counts = Counter(x["reason"] for x in left).most_common()
        rows = [(why, str(k)) for why, k in counts[:REASONS]]
        rest = counts[REASONS:]
        if rest:
            rows.append((f"{len(rest)} other reason{'s' if len(rest) > 1 else ''}, each in campaign.json",
                         str(sum(k for _, k in rest))))
        out.append(Table(("Left because", "Rows"), tuple(rows), (85, 15), (1,)))
    names = ("Feature", "Kind", "Surveyed distance", "Depth", "Repair factor", "Deadline")
    table = tuple((*(n.row(x["row"])[k] for k in names), x["reason"]) for x in left[:MOST])
    out.append(Table((*names, "Left because"), table, (12, 13, 12, 8, 8, 14, 33), (4,)) if table else
               "No row that asks for a repair is left.")
    if len(left) > MOST:
        out.append(f"{several(len(left) - MOST, 'more stands', 'more stand')} in campaign.json.")
    return [*out, *(f"{several(k, 'anomaly', 'anomalies')} without enough data: {why}"
                    for why, k in told["undecided"].items()), *_undecided(told, n)]


def _undecided(told: Mapping[str, Any], n: Numbers) -> list[Any]:
    """Which rows lack data, the deepest first, and where the rest of them stands."""
    rows, beyond = told["undecided_deepest"], told["undecided_not_named"]
    if not rows:
        return []
    names = ("Feature", "Kind", "Surveyed distance", "Joint", "Depth")
    share = [None if r.get("relative_depth") is None else f"{100 * r['relative_depth']:.0f} %" for r in rows]
    table = tuple((*(n.row(r)[k] for k in names), of or NONE, str(r.get("reason") or ""))
                  for r, of in zip(rows[:MOST], share, strict=False))
    out: list[Any] = ["Without enough data, the deepest first; one whose wall is not known comes before all, one "
                      "without a depth last. Nobody knows whether they ask for a repair:",
                      Table((*names, "Depth with allowance over wall", "What is lacking"), table,
                            (12, 14, 12, 8, 9, 12, 33), (5,))]
    more = len(rows) - MOST
    if more > 0:
        out.append(f"{several(more, 'more stands', 'more stand')} in campaign.json.")
    if beyond:
        out.append(f"{beyond} less deep or without a depth {'is' if beyond == 1 else 'are'} counted above and named in "
                   "screening/ranked.parquet only.")
    return out


def _ranked(told: Mapping[str, Any], data: Mapping[str, Any], n: Numbers) -> list[Any]:
    rows = tuple((str(r.get("rank") or ""), *n.row(r).values(), str(r.get("disposition") or "")) for r in data["head"])
    return [f"The first {len(rows)} of {told['ranked_rows']}, by the listing; all of them stand in "
            "screening/ranked.parquet.",
            Table(("Rank", *n.row({}), "Disposition"), rows, (4, 9, 11, 9, 6, 6, 7, 7, 9, 7, 12, 13), (0, 9))]


# -- drawn --------------------------------------------------------------------------------------------------------
def _map(data: Mapping[str, Any], n: Numbers) -> list[Any]:
    ends, lost = data["ends"], {m: k for m, k in data["no_place"].items() if k}
    out: list[Any] = []
    if ends is None:
        out.append("There is nothing to draw.")
    else:
        scale, unit = (1 / 304.8, "ft") if n.us else (1e-3, "m")
        over = {m: k for m, k in data["not_drawn"].items() if k}
        note = (f" Not drawn, since lower in the ranking: {', '.join(f'{k} {m}' for m, k in over.items())}."
                if over else "")
        svg = line_map(points={m: [(x * scale, c) for x, c in p] for m, p in data["places"].items()},
                       start=ends[0] * scale, end=ends[1] * scale, unit=unit, title="Anomalies along the line")
        shown = sum(len(p) for p in data["places"].values())
        total = shown + sum(over.values()) + sum(lost.values())
        out.append(Figure(svg, f"{shown} of {total} anomalies by surveyed distance and clock, facing downstream."
                               f"{note}"))
    for mark in reversed(MARKS):  # the chosen first
        if count := lost.get(mark, 0):
            names = data["no_place_named"][mark]
            out.append(f"Not on the map, without clock or surveyed distance, {mark}: {cut(names, count)}.")
    return out


def _distributions(data: Mapping[str, Any]) -> list[Any]:
    out: list[Any] = []
    for counts, name, edges, limit, label in (
            (data["depths"], "depth with allowance over wall (%)", [5.0 * i for i in range(21)], 80.0, "limit 80 %"),
            (data["factors"], "repair factor, MAOP over safe pressure", [0.1 * i for i in range(21)], 1.0,
             "safe pressure is the MAOP")):
        if any(counts):
            out.append(Figure(histogram(counts=counts, edges=edges, limit=limit, limit_label=label, name=name,
                                        title=name), f"How many anomalies: {name}."))
    for key, words in (("depths_beyond", "a depth with allowance of more than 100 % of the wall"),
                       ("depths_unknown", "no depth or no wall to hold it against"),
                       ("factors_beyond", "a repair factor above 2"), ("factors_unknown", "no repair factor")):
        if data[key]:
            out.append(f"{several(data[key], 'anomaly has', 'anomalies have')} {words}: not drawn.")
    return out or ["There is nothing to draw."]


# -- joined and known ---------------------------------------------------------------------------------------------
def _neighbours(told: Mapping[str, Any], data: Mapping[str, Any], n: Numbers) -> list[Any]:
    lines, cases = data["neighbours"], {x["case"] for x in told["chosen"] if len(x["rows"]) > 1}
    out: list[Any] = []
    if lines:
        out.append(Table(("Case", "Joined", "Because", "Before: the governing one alone", "After: all as one"),
                         tuple((x["case"], f"{x['what']}: {x['feature_ids']}", x["reason"], _state(x, "before", n),
                                _state(x, "after", n)) for x in lines[:MOST]), (10, 27, 21, 21, 21)))
        if len(lines) > MOST:
            out.append(f"{several(len(lines) - MOST, 'more line stands', 'more lines stand')} in "
                       "screening/neighbours.csv.")
    if rest := sorted(cases - {x["case"] for x in lines}):
        out += [f"{x['case']}: one repair for {', '.join(map(name_of, x['rows']))}" for x in told["chosen"]
                if x["case"] in rest]
    return [*(out or ["No repair that is dug holds more than one anomaly."]),
            "Sizes and pressures are those of the listing with the allowances. Of what was not chosen, before and "
            "after stand in screening/neighbours.csv."]


def _state(x: Mapping[str, Any], when: str, n: Numbers) -> str:
    """How long, deep and safe it is before or after the joining."""
    def of(name: str) -> Any:
        return x.get(f"{name}_{when}")
    out = []
    if when == "before":
        out += [several(int(x[k]), one, more) for k, one, more in (
            ("anomalies", "anomaly", "anomalies"), ("repairs", "repair", "repairs")) if x.get(k) is not None]
        out += [f"gap {n.show(x['gap'], 'mm', 3)}"] if x.get("gap") is not None else []
    for name, words, unit in (("length", "{} long", "mm"), ("depth", "{} deep", "mm"), ("cover", "cover {}", "mm"),
                              ("layers", "{} layers", ""), ("safe_pressure", "safe pressure {}", "MPa")):
        if of(name) is not None:
            out.append(words.format(n.show(of(name), unit, 3) if unit else units.digits(of(name), 4)))
    return "; ".join([*out, *([str(of("disposition"))] if of("disposition") else [])]) or NONE


def _known(told: Mapping[str, Any], data: Mapping[str, Any]) -> list[Any]:
    count, known = data["under_repair"], data["known"]
    out: list[Any] = [f"{several(count, 'row lies', 'rows lie')} under a repair that is known and "
                      f"{'is' if count == 1 else 'are'} not dug again." if count else
                      "No row lies under a repair that is known."]
    if known:
        out.append(Table(("Known repair", "How rows near it lie", "Rows"),
                         tuple((repair, words, str(k)) for repair, words, k in known[:MOST]), (30, 55, 15), (2,)))
        if len(known) > MOST:
            out.append(f"{several(len(known) - MOST, 'more line is', 'more lines are')} not printed; the columns "
                       "'known repair' stand in screening/ranked.parquet.")
    asking = [x for x in told["left"] if x["row"].get("under_repair")]
    if asking:
        out.append("Of these ask for a repair, have a deadline or are not as their design plans:")
        out += [f"{name_of(x['row'])}: {x['reason']}" for x in asking[:MOST]]
        if len(asking) > MOST:
            out.append(f"{several(len(asking) - MOST, 'more stands', 'more stand')} in campaign.json.")
    return out
