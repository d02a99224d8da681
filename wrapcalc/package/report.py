"""The report of one record as HTML, for the screen and for print alike; `pdf.html_to_pdf` makes the PDF of it.

Nothing is calculated here: numbers come as they are printed in the record, and at full precision in the trace
appendix only. The page loads nothing: style and drawings stand inside it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from wrapcalc import units
from wrapcalc.render import fragments, items, tables
from wrapcalc.render.drawings import drawings

WARNING = "NOT APPROVED: not for construction"
STAGES = {"A": "Assessment", "D": "Design of the wrap", "T": "Takeoff"}
_TRUSTED = ("verified", "seen")
_GLYPH = re.compile(r'<path transform="([^"<>]*)" d="([^"<>]{40,})" fill="currentColor" />')
_PLAIN = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 .,:-")


def report_html(
    record: Mapping[str, Any],
    *,
    revision: int,
    digest: str,
    changes: Sequence[Mapping[str, str]] | None = None,
    guards: Mapping[str, Sequence[str]] | None = None,
) -> str:
    """The calculation package of a record as one HTML page that stands alone.

    digest: SHA-256 of the record, printed in full on the cover and shortened at the foot of each page.
    changes: what differs from the revision before, rows of what / before / after; None for a first revision.
    guards: formula name -> reference checks that guard it. The same arguments give the same text.
    """
    page = _environment().get_template("report.html")
    html = page.render(
        r=record,
        revision=revision,
        digest=digest,
        changes=changes,
        guards=guards or {},
        warning=WARNING,
        stages=_stages(record),
        checks=[i for i in record["items"] if i["type"] == "check"],
        figures={name: Markup(svg) for name, svg in drawings(record).items()},
        questions={i["field"]: i["question"] for i in record["inputs"]},
        verify=_to_verify(record),
        covers=covering(record["items"]),
    )
    return _share_glyphs(html)


def covering(record_items: Sequence[Mapping[str, Any]]) -> dict[str, dict[str, list[str]]]:
    """Step -> the checks that judge it: "direct", its own value; "later", a value that follows from it."""
    parents = {
        i["id"]: {_step_of(x["origin"]) for x in i["inputs"]} - {""}
        for i in record_items
        if i["type"] != "check"
    }
    out: dict[str, dict[str, list[str]]] = {name: {"direct": [], "later": []} for name in parents}
    for check in record_items:
        if check["type"] != "check":
            continue
        sides = {_step_of(check[s]["origin"]) for s in ("provided", "limit") if check[s]} - {""}
        seen, waiting = set(sides), list(sides)
        while waiting:
            more = parents.get(waiting.pop(), set()) - seen
            seen |= more
            waiting += more
        for name in seen & out.keys():
            out[name]["direct" if name in sides else "later"].append(check["id"])
    return out


def _step_of(source: Mapping[str, str]) -> str:
    return source["ref"].partition("/")[0] if source["kind"] in ("step", "procedure") else ""


def _stages(record: Mapping[str, Any]) -> list[dict[str, Any]]:
    found = []
    for letter, title in STAGES.items():
        inside = [Markup(items.item_html(i, links=True)) for i in record["items"] if i["stage"] == letter]
        if inside:
            found.append({"letter": letter, "title": title, "items": inside})
    return found


def _to_verify(record: Mapping[str, Any]) -> dict[str, list[Mapping[str, Any]]]:
    """Values and formulas by what their reader has to do about them; rules are clauses behind checks."""
    values, formulas = record["table_entries"], record["formulas"]
    rules: dict[tuple[str, str], list[str]] = {}
    for i in record["items"]:
        if i["type"] == "check" and i["status"] not in (*_TRUSTED, "derived"):
            rules.setdefault((i["citation"], i["status"]), []).append(i["id"])
    return {
        "values": [v for v in values if v["status"] not in _TRUSTED],
        "known values": [v for v in values if v["status"] in _TRUSTED],
        "formulas": [x for x in formulas if x["status"] not in (*_TRUSTED, "derived")],
        "derived": [x for x in formulas if x["status"] == "derived"],
        "known formulas": [x for x in formulas if x["status"] in _TRUSTED],
        "rules": [{"citation": c, "status": s, "used_in": used} for (c, s), used in rules.items()],
    }


def _full(found: Mapping[str, Any]) -> str:
    """A value at full precision with its unit: for the trace appendix only."""
    return f"{found['magnitude']!r} {units.label(found['unit'])}".rstrip()


def _step_links(names: Iterable[str]) -> Markup:
    """Ids of steps and checks as links to them."""
    return Markup(", ").join(Markup('<a href="#step-{0}">{0}</a>').format(n) for n in names) or Markup("–")


def _css_text(value: object) -> Markup:
    """A text as a CSS string: whatever is not plain is written as its code, so that nothing can end it."""
    return Markup('"' + "".join(c if c in _PLAIN else f"\\{ord(c):06X}" for c in str(value)) + '"')


def _share_glyphs(html: str) -> str:
    """Put each outline of a character that occurs in several formulas once at the start of the page.

    A page of a hundred formulas is a third of the size then, and its PDF is made in half the time.
    """
    names: dict[str, str] = {}

    def use(found: re.Match[str]) -> str:
        name = names.setdefault(found[2], f"glyph-{len(names)}")
        return f'<use href="#{name}" transform="{found[1]}"/>'

    body = _GLYPH.sub(use, html)
    outlines = "".join(f'<path id="{name}" d="{d}" fill="currentColor"/>' for d, name in names.items())
    store = f'<svg width="0" height="0" aria-hidden="true" style="position:absolute"><defs>{outlines}</defs></svg>'
    return body.replace("<!-- outlines -->", store if names else "", 1)


@lru_cache(1)
def _environment() -> Environment:
    """Text is escaped everywhere; a name that the record does not have is an error, not an empty place."""
    made = Environment(
        loader=PackageLoader("wrapcalc.package", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )

    def safe(render):
        return lambda *args, **options: Markup(render(*args, **options))

    made.globals |= {
        "checks_table": safe(tables.checks_table),
        "inputs_table": safe(tables.inputs_table),
        "forms_table": safe(tables.forms_table),
        "routes_table": safe(tables.routes_table),
        "order_table": safe(tables.order_table),
        "stated": safe(tables.stated),
        "source": safe(tables.source),
        "origin": safe(fragments.origin),
        "status": safe(fragments.status),
        "symbol": safe(fragments.symbol),
        "verdict": safe(fragments.verdict),
        "place": fragments.place,
        "fragment_style": Markup(items.STYLE),
        "needs": tables.NEEDS,
        "full": _full,
        "step_links": _step_links,
    }
    made.filters["css_text"] = _css_text
    return made
