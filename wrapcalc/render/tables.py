"""Tables of a record as HTML: checks, inputs, forms of the strength method, thickness routes, the order."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from wrapcalc.render import fragments as f

_GROUPS = {
    "case": "The case",
    "pipe": "Pipe",
    "service": "Service",
    "defect": "Defect",
    "assessment": "Assessment",
    "growth": "Growth",
    "uncertainty": "Uncertainty",
    "features": "Features beside the metal loss",
    "disposition": "Repair criteria and restriction",
    "restriction": "Open restrictions",
    "design": "Design",
    "tolerance": "Tolerances of the design",
    "takeoff": "Takeoff",
    "location": "Where it is",
    "joint": "Joints beside it",
    "excavation": "Excavation",
    "layout": "What counts when units are chosen",
    "keep_out": "Stretches to keep out of",
    "stock": "Stock",
    "work": "The work",
    "documents": "Documents",
}
_PARTS = {
    "system": "The system",
    "laminate": "Laminate",
    "adhesive": "Adhesive",
    "filler": "Filler",
    "primer": "Primer",
    "resin": "Resin",
    "sleeve": "Sleeve",
    "lay_up": "Lay-up",
    "ends": "Ends",
    "application": "Application",
    "mix": "Mixing",
    "cure_table": "Cure",
    "surface": "Surface",
    "placement": "Placement",
    "end_seal": "End seal",
    "acceptance": "Acceptance",
    "consumable": "Consumables",
    "tool": "Tools",
    "envelope": "Tested envelope",
    "long_term": "Long-term tests",
    "through_wall": "Tests over openings",
}
_ROLES = {"method of record": "a method of record; another is lower or is named"}
WRAP_NEEDS = ("design", "lay-up", "primer")
NEEDS = {
    "assess": "every case",
    "design": "a wrap",
    "gas": "a gas line",
    "plant": "plant piping",
    "loss": "metal loss",
    "dent": "a dent",
    "gouge": "a gouge",
    "crack": "a crack",
    "plant strength": "metal loss of plant piping",
    "leak": "a leak of plant piping",
    "lay-up": "a wet lay-up",
    "primer": "a system with primer",
    "site": "the sheets for the site",
    "": "optional",
}


def checks_table(checks: Sequence[Mapping[str, Any]], *, links: bool = False) -> str:
    """One row to a check: provided, limit, utilisation, verdict, clause and status."""
    rows = []
    for c in checks:
        numbers = c["provided"] is not None or c["limit"] is not None
        limit = (
            f"{f.SENSES.get(c['sense'], f.text(c['sense']))} {f.value(c['limit'], 'no data')}"
            if numbers
            else f.text(c["wanted"])
        )
        number = f'<a href="#step-{f.text(c["id"])}">{f.text(c["id"])}</a>' if links else f.text(c["id"])
        rows.append(
            f.row(
                [
                    number,
                    f'{f.text(c["title"])} <span class="wc-field">({_kind(c)})</span>',
                    f.value(c["provided"], "no data") if numbers else f.text(c["found"]),
                    limit,
                    f.text(c["utilisation_shown"] or "–"),
                    f.verdict(c["verdict"]),
                    _clause(c),
                ],
                numbers=(4,),
            )
        )
    return f.table(
        ["", "Check (kind)", "Provided", "Limit", "Used", "Verdict", "Clause, status"],
        rows,
        [5, 24, 13, 18, 6, 11, 23],
        numbers=(4,),
    )


def row_of_checks(checks: Sequence[Mapping[str, Any]], *, links: bool = False) -> str:
    """Checks in place of their boxes: all that a box says, each row with its id.

    Kind, clause with status, and note are said once above the rows where all checks have the same.
    """
    shared = []
    kind, clause, note = (len({part(c) for c in checks}) == 1 for part in (_kind, _clause, _note))
    for same, part in ((kind, _kind), (clause, _clause), (note, _note)):
        if same and part(checks[0]):
            shared.append(part(checks[0]))
    rows = []
    for c in checks:
        more = "" if kind else f' <span class="wc-field">({_kind(c)})</span>'
        if _note(c) and not note:
            more += f'<br><span class="wc-quiet">{_note(c)}</span>'
        cells = [
            f"<b>{f.text(c['id'])}</b>",
            f.text(c["title"]) + more,
            demand(c, links),
            f.text(c["utilisation_shown"] or "–"),
            f.verdict(c["verdict"]),
        ]
        failed = "wc-failed" if c["verdict"] != "met" else ""
        rows.append(
            f.row(cells if clause else [*cells, _clause(c)], numbers=(3,), name=f"step-{c['id']}", style=failed)
        )
    head = ["", "Check", "Provided and limit, with their origin", "Used", "Verdict"]
    made = (
        f.table(head, rows, [6, 36, 40, 6, 12], numbers=(3,))
        if clause
        else f.table([*head, "Clause, status"], rows, [5, 26, 31, 6, 10, 22], numbers=(3,))
    )
    said = f'<div class="wc-small">All of these: {"; ".join(shared)}.</div>' if shared else ""
    return f'<div class="wc-row">{said}{made}</div>'


def _kind(c: Mapping[str, Any]) -> str:
    return f.text(f.KIND_WORDS.get(c["kind"], c["kind"]))


def _clause(c: Mapping[str, Any]) -> str:
    return f"{f.text(c['citation'])} {f.status(c['status'])}"


def _note(c: Mapping[str, Any]) -> str:
    return f.text(c["note"])


def demand(c: Mapping[str, Any], links: bool) -> str:
    """Provided, sense and limit of a check, with where both come from; of a check of words, the words."""
    if c["provided"] is None and c["limit"] is None:
        return f"found: <b>{f.text(c['found'])}</b>; wanted: {f.text(c['wanted'])}"
    sides = []
    for side in (c["provided"], c["limit"]):
        source = "" if side is None else f' <span class="wc-quiet">({f.origin(side["origin"], links)})</span>'
        sides.append(f"<b>{f.value(side, 'no data')}</b>{source}")
    return f" {f.SENSES.get(c['sense'], f.text(c['sense']))} ".join(sides)


def inputs_table(
    inputs: Iterable[Mapping[str, Any]],
    *,
    missing: Iterable[str] = (),
    links: bool = False,
    without: Iterable[str] = (),
) -> str:
    """What the case states, by its tables, each value with its source; what is missing is marked.

    Optional questions without an answer are left out. missing: fields that the decision waits for.
    without: fields to leave out.
    """
    lacking, left_out, rows, group = set(missing), set(without), [], ""
    for i in inputs:
        if i["field"] in left_out:
            continue
        asked = i["need"] and i["applies"]
        if not i["answered"] and not asked and i["field"] not in lacking:
            continue
        head = ""
        if (table := _group(i["field"])) != group:
            # Inside the first row of its group: a row of its own could be left alone at the foot of a page.
            group, head = table, f'<span class="wc-group">{f.text(_titled(table, _GROUPS))}</span>'
        question = f'{head}{f.text(i["question"])} <span class="wc-field">{f.text(i["field"])}</span>'
        name = f.place("case", i["field"]) if links else ""
        rows.append(
            f.row([question, stated(i, lacking), source(i)], name=name, style="wc-first" * bool(head))
        )
    return f.table(["Question", "Value", "Source"], rows, [46, 22, 32])


def _group(field: str) -> str:
    """The table of a field, and of a list of tables the row: "stock.1.batch" is "stock.1"."""
    table, _, rest = field.partition(".")
    row = rest.partition(".")[0]
    return f"{table}.{row}" if row.isdigit() else table


def _titled(group: str, titles: Mapping[str, str]) -> str:
    table, _, row = group.partition(".")
    return titles.get(table, table) + (f", {int(row) + 1}" if row else "")


def system_table(system: Mapping[str, Any], *, links: bool = False) -> str:
    """The data sheet of the wrap system, by its parts."""
    rows, group = [], ""
    for x in system["rows"]:
        head = ""
        if (part := _group(x["field"])) != group:
            group, head = part, f'<span class="wc-group">{f.text(_titled(part, _PARTS))}</span>'
        name = f.place("system", f"{system['id']}/{x['field']}") if links else ""
        cells = [
            f"{head}{f.text(x['question'])}",
            f.text(x["shown"]),
            f'<span class="wc-field">{f.text(x["field"])}</span>',
        ]
        rows.append(f.row(cells, name=name, style="wc-first" * bool(head)))
    return f.table(["Property", "Value", "Field of the sheet"], rows, [46, 24, 30])


def stated(i: Mapping[str, Any], lacking: set[str]) -> str:
    """The answer to a question: as used, and as written where that looks different."""
    if not i["answered"]:
        if i["field"] in lacking:
            return '<span class="wc-mark">○ unanswered: needed for a decision</span>'
        if not i["applies"]:
            return '<span class="wc-quiet">does not apply</span>'
        if not i["need"]:
            return '<span class="wc-quiet">not stated (optional)</span>'
        need = f.text(NEEDS.get(i["need"], i["need"]))
        return f'<span class="wc-quiet">○ unanswered: needed for {need}</span>'
    shown = f.text(i["shown"])
    if i["magnitude"] is not None and i["shown"].removesuffix(" gauge") != i["written"]:
        shown += f'<br><span class="wc-quiet">written: {f.text(i["written"])}</span>'
    return shown


def source(i: Mapping[str, Any]) -> str:
    """Where an answer comes from; a number without a source is marked."""
    if not i["answered"]:
        return "–"
    if i["source"] or i["source_kind"]:
        kind = f'<span class="wc-badge">{f.text(i["source_kind"])}</span> ' if i["source_kind"] else ""
        return kind + f.text(i["source"] or "not named")
    if i["magnitude"] is not None:
        return '<span class="wc-mark">○ no source given</span>'
    return '<span class="wc-quiet">stated in the case</span>'


def forms_table(forms: Iterable[Mapping[str, Any]], *, links: bool = False) -> str:
    """Forms of the strength method side by side; the one that governs is named so."""
    rows = [
        f.row(
            [
                f"{f.text(x['form'])} {f.status(x['status'])}",
                f'{f.text(x["flow"])}<br><span class="wc-quiet">{f.text(x["basis"])}</span>',
                _linked(x["failure"], links),
                _linked(x["safe"], links),
                "<b>governs</b>" if x["governs"] else f.text(x["reason"] or _ROLES.get(x["role"], x["role"])),
            ],
            numbers=(2, 3),
        )
        for x in forms
    ]
    return f.table(
        ["Method, edition", "Flow stress, safety basis", "Failure pressure", "Safe pressure", ""],
        rows,
        [29, 25, 14, 14, 18],
        numbers=(2, 3),
    )


def options_table(options: Iterable[Mapping[str, Any]], *, links: bool = False) -> str:
    """Options of the rule for a pressure reduction; the one that the case names is marked."""
    rows = []
    for x in options:
        taken = "<b>chosen</b> " if x["taken"] else ""
        rows.append(
            f.row(
                [f.text(x["option"]), _linked(x["pressure"], links), f"{taken}{f.text(x['note'])}"], numbers=(1,)
            )
        )
    return f.table(["Option", "Pressure at most", ""], rows, [40, 18, 42], numbers=(1,))


def criteria_table(findings: Iterable[Mapping[str, Any]], *, status: str) -> str:
    """Criteria with how each of them ended: a table of those that fire and those without data, the rest in a line.

    status: that of the whole list; a criterion that rests on something else says so.
    """
    found = list(findings)
    rows = []
    for x in [x for v in ("fires", "no data") for x in found if x["verdict"] == v]:
        word = "<b>▲ fires</b>" if x["verdict"] == "fires" else "○ no data"
        why = "; ".join(x["because"])
        if x["missing"] and x["verdict"] == "fires":  # what could still lift it; without data `because` says it
            why += "; not stated: " + "; ".join(x["missing"])
        lead = "<br><b>leads</b>" if x["leads"] else ""
        rests = "" if x["status"] == status else f"<br>{f.text(x['citation'])} {f.status(x['status'])}"
        rows.append(
            f.row(
                [
                    f"{f.text(x['paragraph'])}",
                    f"{f.text(x['class'])}{lead}",
                    f'{f.text(x["text"])}<br><span class="wc-quiet">{f.text(why)}</span>{rests}',
                    word,
                ]
            )
        )
    head = ["Paragraph", "Class", "Criterion, and what was found", "Verdict"]
    made = f.table(head, rows, [14, 14, 56, 16]) if rows else ""
    quiet = [
        f"{f.text(x['paragraph'])} ({f.text(x['class'])}: {f.text('; '.join(x['because']))}"
        + ("" if x["status"] == status else f"; {f.text(x['status'])}")
        + ")"
        for x in found
        if x["verdict"] == "does not fire"
    ]
    return made + (f'<p class="run">Do not fire: {"; ".join(quiet)}.</p>' if quiet else "")


def clusters_table(pieces: Iterable[Mapping[str, Any]], shown: Callable[[float], str]) -> str:
    """Clusters of pits that act as one."""
    rows = [
        f.row(
            [
                f.text(p["label"]) + (" <b>governs</b>" if p["governs"] else ""),
                str(p["count"]),
                shown(p["depth"]),
                shown(p["length"]),
                shown(p["along"][0]),
                f.text(p["failure"]),
            ],
            numbers=(1, 2, 3, 4, 5),
        )
        for p in pieces
    ]
    return f.table(
        ["Cluster", "Pits", "Depth as measured", "Length as measured", "Starts, along", "Failure pressure, to rank"],
        rows,
        [20, 8, 18, 18, 16, 20],
        numbers=(1, 2, 3, 4, 5),
    )


def routes_table(routes: Iterable[Mapping[str, Any]], *, links: bool = False) -> str:
    """Thickness routes side by side; the chosen one is named so."""
    rows = []
    for x in routes:
        part = "<b>of record</b>" if x["chosen"] else "for information"
        if x["reason"] or not x["demands"]:
            told = f"{part}{': ' + f.text(x['reason']) if x['reason'] else ''}"
            rows.append(f.row([f.text(x["route"]), "", _linked(x["required"], links), told], numbers=(2,)))
            continue
        for i, m in enumerate(x["demands"]):
            governs = x["required"] is not None and m["required"]["magnitude"] == x["required"]["magnitude"]
            what = f.text(f"{m['what']}: {m['load_case']}") + (" <b>(greatest of this route)</b>" if governs else "")
            rows.append(
                f.row(
                    ["" if i else f.text(x["route"]), what, _linked(m["required"], links), "" if i else part],
                    numbers=(2,),
                )
            )
    return f.table(["Route", "Load case", "Thickness required", ""], rows, [20, 38, 18, 24], numbers=(2,))


def box_table(rows: Iterable[Mapping[str, Any]], *, links: bool = False) -> str:
    """What may be found on the site without calling the engineer: all of it holds at once."""
    out = [
        f.row(
            [f.text(b["input"]), f.text(b["bound"]), _linked(b["edge"], links), f.text(b["designed"])], numbers=(2, 3)
        )
        for b in rows
    ]
    return f.table(["As found", "", "Limit, all at once", "In the design"], out, [36, 12, 26, 26], numbers=(2, 3))


def limits_table(rows: Iterable[Mapping[str, Any]], *, links: bool = False) -> str:
    """How far each input may go by itself, and what ends it there."""
    out = [
        f.row([f.text(x["input"]), f.text(x["designed"]), _linked(x["limit"], links), f.text(x["why"])], numbers=(1, 2))
        for x in rows
    ]
    return f.table(["Input, as calculated", "In the design", "Limit by itself", "Ends there because of"], out,
                   [26, 17, 17, 40], numbers=(1, 2))


def order_table(order: Iterable[Mapping[str, Any]], *, links: bool = False) -> str:
    """What to order: quantity with waste, whole packs, and what the quantity rests on."""
    rows = []
    for x in order:
        packs = "–" if x["packs"] is None else f"{f.value(x['packs'])} × {f.value(x['pack'])}"
        rows.append(
            f.row(
                [f.text(x["item"]), _linked(x["quantity"], links), packs, f.text(x["basis"])], numbers=(1, 2)
            )
        )
    return f.table(["Item", "Quantity", "Whole packs", "Basis"], rows, [38, 14, 16, 32], numbers=(1, 2))


def _linked(found: Mapping[str, Any] | None, links: bool) -> str:
    if found is None:
        return "–"
    return f.origin(found["origin"], links, found["shown"]) if links else f.value(found)
