"""The items of a record as HTML: steps, procedures and checks, for the report and for the notebook alike.

`links`: whether references may be links; only a page that holds their targets asks for them. The pages that
use these fragments carry `STYLE` once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Any

from wrapcalc.render import fragments as f
from wrapcalc.render.fragments import STYLE
from wrapcalc.render.tables import (
    box_table,
    checks_table,
    clusters_table,
    criteria_table,
    demand,
    forms_table,
    inputs_table,
    limits_table,
    options_table,
    order_table,
    routes_table,
    row_of_checks,
    system_table,
)

__all__ = [
    "STYLE",
    "box_table",
    "check_html",
    "checks_table",
    "clusters_table",
    "criteria_table",
    "forms_table",
    "inputs_table",
    "item_html",
    "items_html",
    "limits_table",
    "options_table",
    "order_table",
    "procedure_html",
    "routes_table",
    "step_html",
    "system_table",
]

_ROW_OF_CHECKS = 3
#: So many details of a procedure stand one below the other.
_AS_LINES = 5
_SENSITIVE = (
    "Sensitive: terms of this formula nearly cancel. More digits than usual are printed so that the line "
    "can be worked again by hand."
)


def item_html(item: Mapping[str, Any], *, links: bool = False) -> str:
    """A step, a procedure or a check, each as it is printed."""
    return {"step": step_html, "procedure": procedure_html, "check": check_html}[item["type"]](
        item, links=links
    )


def step_html(step: Mapping[str, Any], *, links: bool = False) -> str:
    """One formula run: symbol = formula = formula with numbers = result, clause and status beside it."""
    result = f"<b>{f.with_unit(step['printed'], step['unit_label'])}</b>"
    if step["struck"]:
        result = f"<del>{result}</del>"
    if step["also"]:
        also = f.text(step["also"])
        result += f" &nbsp;(also {f'<del>{also}</del>' if step['struck'] else also})"
    maths = (
        f"<span>{f.maths(step['symbol'] + ' = ' + step['tex'])}</span>"
        f"<span>{f.maths('{} = ' + step['tex_numbers'])}</span>"
        f'<span class="wc-result">=&nbsp;{result}</span>'
    )
    parts = [_head(step, f.status(step["status"], step["mark"])), f'<div class="wc-maths">{maths}</div>']
    if step["struck"]:
        parts.append(_reason(step["struck"]))
    if step["tex_conditions"]:
        since = "; ".join(_condition(c, step["inputs"]) for c in step["tex_conditions"])
        parts.append(_small(f"Branch taken since {since}"))
    where = "; ".join(
        f"{f.symbol(i['tex'])}: {f.text(f.short(i['name']))} ({f.origin(i['origin'], links)})"
        for i in step["inputs"]
    )
    parts.append(_small(f"where {where}."))
    if step["unit_bound"]:
        parts.append(_small("The constants of this formula hold in the units printed here only."))
    if step["sensitive"]:
        parts.append(_small(f.text(_SENSITIVE)))
    if step["notes"]:
        parts.append(_small(f.text(step["notes"])))
    return _block("wc-step", step, parts)


def procedure_html(procedure: Mapping[str, Any], *, links: bool = False) -> str:
    """A search or an integral: method, inputs, details, what came out."""
    parts = [_head(procedure, f.status(procedure["status"]))]
    parts.append(_small(f"Method: {f.text(procedure['method'])}."))
    given = "; ".join(
        f"{f.text(f.short(i['name']))} {f.value(i)} ({f.origin(i['origin'], links)})"
        for i in procedure["inputs"]
    )
    if given:
        parts.append(_small(f"From {given}."))
    if procedure["details"]:
        parts.append(_details(procedure["details"]))
    for r in procedure["results"]:
        shown = f"<b>{f.value(r)}</b>" + (f" &nbsp;(also {f.text(r['also'])})" if r["also"] else "")
        if procedure["struck"]:
            shown = f"<del>{shown}</del>"
        parts.append(
            f'<div class="wc-maths"><span class="wc-result">{f.text(r["name"])} = {shown}</span></div>'
        )
    if procedure["struck"]:
        parts.append(_reason(procedure["struck"]))
    return _block("wc-step", procedure, parts)


def _details(rows: Sequence[tuple[str, str]]) -> str:
    """Details of a procedure: a few in one sentence, more as lines that can be told apart."""
    if len(rows) < _AS_LINES:
        return _small("; ".join(f"{f.text(name)}: {f.text(what)}" for name, what in rows) + ".")
    body = "".join(f"<tr><td>{f.text(name)}</td><td>{f.text(what)}</td></tr>" for name, what in rows)
    return f'<table class="wc-details">{body}</table>'


def check_html(check: Mapping[str, Any], *, links: bool = False) -> str:
    """What is provided against its limit, the share that is used, and the verdict."""
    parts = [_head(check, f.status(check["status"]))]
    line = [f"<span>{demand(check, links)}</span>"]
    if check["utilisation_shown"]:
        line.append(f"<span>utilisation <b>{f.text(check['utilisation_shown'])}</b></span>")
    line += [
        f.verdict(check["verdict"]),
        f'<span class="wc-quiet">{f.text(f.KIND_WORDS.get(check["kind"], check["kind"]))}</span>',
    ]
    parts.append(f'<div class="wc-line">{"".join(line)}</div>')
    if check["note"]:
        parts.append(_small(f.text(check["note"][0].upper() + check["note"][1:])))
    failed = " wc-failed" if check["verdict"] != "met" else ""
    return _block("wc-check" + failed, check, parts)


def items_html(found: Sequence[Mapping[str, Any]], *, links: bool = False) -> list[str]:
    """Items one after the other; three checks or more in a row are one compact table, each row with its id."""
    out: list[str] = []
    for kind, group in groupby(found, key=lambda i: i["type"] == "check"):
        inside = list(group)
        if kind and len(inside) >= _ROW_OF_CHECKS:
            out.append(row_of_checks(inside, links=links))
        else:
            out += [item_html(i, links=links) for i in inside]
    return out


def _head(item: Mapping[str, Any], badge: str) -> str:
    return (
        f'<div class="wc-head"><span class="wc-id">{f.text(item["id"])}</span>'
        f'<span class="wc-title">{f.text(item["title"])}</span>'
        f'<span class="wc-cite">{f.text(item["citation"])} &nbsp;{badge}</span></div>'
    )


def _block(style: str, item: Mapping[str, Any], parts: list[str]) -> str:
    out = " wc-out" if item.get("struck") else ""
    return f'<div class="{style}{out}" id="step-{f.text(item["id"])}">{"".join(parts)}</div>'


def _small(html: str) -> str:
    return f'<div class="wc-small">{html}</div>'


def _reason(struck: str) -> str:
    return (
        f'<div class="wc-reason">{f.SIGNS["outside scope"]} Struck through, not to be used: '
        f"{f.text(struck.rstrip('.'))}. Nothing is derived from it.</div>"
    )


def _condition(tex: str, inputs: list[Mapping[str, Any]]) -> str:
    """A condition as printed; where its left side is one of the inputs, with that symbol before it."""
    left = tex.partition(" ")[0]
    names = [i["tex"] for i in inputs if i["printed"] == left]
    return f.maths(f"{names[0]} = {tex}" if len(names) == 1 else tex)
