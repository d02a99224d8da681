"""The report of one record as HTML, for the screen and for print alike; `html_to_pdf` makes the PDF of it.

Nothing is calculated here: numbers come as they are printed in the record, and at full precision in the trace
appendix only. The page loads nothing: style and drawings stand inside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from wrapcalc import units
from wrapcalc.package.glyphs import share_glyphs
from wrapcalc.render import fragments, items, tables
from wrapcalc.render.drawings import drawings

WARNING = "NOT APPROVED: not for construction"
STAGES = {"A": "Assessment", "D": "Design of the wrap", "T": "Takeoff", "I": "The work on site",
          "E": "The dig"}
#: Stages that are printed in the form of the trace, once: the work on site has many alike steps.
COMPACT = ("I", "E")
_GUARDS = ("published", "independent", "regression")
_TRUSTED = ("verified", "seen")
_PLAIN = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 .,:-")


_NAME = 32  # letters of a name at the head of a sheet; the cover has it whole
#: What every sheet and record with names on it says of them.
IDENTITIES = "identities are typed, not authenticated"


@dataclass(frozen=True)
class Approval:
    """Who made, checked and approved a package, and on which day (ISO date); names as they were typed. review: how far
    it was reviewed step by step, and the digest of that review, in one sentence; "" where nobody says. written: when
    the approval was written by the clock of the computer (UTC, to the second): the day is typed and may be earlier."""

    author: str
    checker: str
    approver: str
    on: str
    review: str = ""
    written: str = ""

    @property
    def day(self) -> str:
        """The day of the approval and, where it is known, when it was written down."""
        return f"{self.on}, {self._written('')}" if self.written else self.on

    @property
    def heading(self) -> str:
        """At the head of each page, in place of the warning."""
        return f"Approved by {self.approver}, {self.on}"

    @property
    def line(self) -> str:
        """All three and the day, for the head of a sheet; when it was written stands at its foot."""
        author, checker, approver = (n if len(n) <= _NAME else n[: _NAME - 1] + "…" for n in (
            self.author, self.checker, self.approver))
        return f"Approved on {self.on} by author {author}, checker {checker}, approver {approver}"

    @property
    def foot(self) -> str:
        """When it was written, and what every sheet says of the names."""
        return f"{self._written('approval ')}; {IDENTITIES}" if self.written else IDENTITIES

    def _written(self, what: str) -> str:
        return f"{what}written {self.written[:16].replace('T', ' ')} UTC"


def report_html(
    record: Mapping[str, Any],
    *,
    revision: int,
    digest: str,
    changes: Sequence[Mapping[str, str]] | None = None,
    guards: Mapping[str, Sequence[str]] | None = None,
    supersedes: int | None = None,
    approval: Approval | None = None,
    not_stated: Sequence[str] = (),
) -> str:
    """The calculation package of a record as one HTML page that stands alone.

    digest: SHA-256 of the record, printed in full on the cover and shortened at the foot of each page.
    changes: what differs from the revision before, rows of what / before / after; None for a first revision.
    supersedes: the revision that this one takes the place of; the one before, if not given.
    approval: names and date in place of the warning; None while it is not approved. not_stated: fields of the site
    that the case left open when it was approved.
    guards: formula name -> reference checks that guard it. The same arguments give the same text.
    """
    page = environment().get_template("report.html")
    figures = drawings(record)
    html = page.render(
        r=record,
        revision=revision,
        digest=digest,
        changes=changes,
        guards={name: guard_words(texts) for name, texts in (guards or {}).items()},
        warning=approval.heading if approval else WARNING,
        approval=approval,
        identities=IDENTITIES,
        open=not_stated,
        stages=_stages(record),
        compact=COMPACT,
        checks=[i for i in record["items"] if i["type"] == "check"],
        figures={name: Markup(svg) for name, svg in figures.items()},
        design=_design(record),
        supersedes=(supersedes or revision - 1) if revision > 1 else None,
        unverified=unverified(record),
        kinds=_kinds(record["items"]),
        not_asked=_not_asked(record),
        questions={i["field"]: i["question"] for i in record["inputs"]},
        verify=_to_verify(record),
        covers=covering(record["items"]),
    )
    return share_glyphs(html)


def unverified(record: Mapping[str, Any]) -> int:
    """How many values and formulas of the record are from memory."""
    return sum(x["status"] == "from memory" for x in (*record["table_entries"], *record["formulas"]))


def guard_words(texts: Sequence[str]) -> str:
    """Reference checks of one formula in few words: how many of each kind, and the strongest by its name."""
    found: dict[str, list[str]] = {kind: [] for kind in _GUARDS}
    for text in texts:
        kind, _, what = text.partition(": ")
        found.setdefault(kind, []).append(what)
    counts = ", ".join(f"{len(names)} {kind}" for kind, names in found.items() if names)
    named = next((names[0] for kind, names in found.items() if names and kind != "regression"), "")
    return counts + (f" (first: {named})" if named else "")


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
    """Stages with their items, in the order they were run, under the headings of the job."""
    found = []
    for letter, title in STAGES.items():
        inside = [i for i in record["items"] if i["stage"] == letter]
        topics = [
            {"title": topic, "items": _compact(group) if letter in COMPACT else _typeset(group)}
            for topic, group in groupby(inside, key=lambda i: i["topic"])
        ]
        if topics:
            found.append({"letter": letter, "title": title, "topics": topics})
    return found


def _typeset(found: Iterable[Mapping[str, Any]]) -> list[Markup]:
    return [Markup(html) for html in items.items_html(list(found), links=True)]


def _compact(found: Iterable[Mapping[str, Any]]) -> list[Any]:
    """Steps and procedures as they are, for the form of the trace; checks typeset."""
    out: list[Any] = []
    for checks, rows in ((c, list(g)) for c, g in groupby(found, key=lambda i: i["type"] == "check")):
        out += _typeset(rows) if checks else rows
    return out


def _kinds(found: Sequence[Mapping[str, Any]]) -> dict[str, int]:
    """How many checks of each kind are not met, by the words of the kinds."""
    out: dict[str, int] = {}
    for i in found:
        if i["type"] == "check" and i["verdict"] != "met":
            word = fragments.KIND_WORDS.get(i["kind"], i["kind"])
            out[word] = out.get(word, 0) + 1
    return out


def _not_asked(record: Mapping[str, Any]) -> list[str]:
    """Questions of a wrap design without an answer, where the decision did not need them."""
    if record["decision"]["word"] in ("wrap", "insufficient data"):
        return []
    return [
        i["field"] for i in record["inputs"] if i["need"] in tables.WRAP_NEEDS and i["applies"] and not i["answered"]
    ]


def _design(record: Mapping[str, Any]) -> dict[str, Any]:
    """The pressure while the wrap is laid, as printed elsewhere in the record, and the route of record."""
    given = {i["field"]: i["shown"] if i["answered"] else "" for i in record["inputs"]}
    cap = given.get("service.installation_pressure", "").removesuffix(" gauge")  # the page says that once for all
    return {"cap": cap if record["decision"]["word"] == "wrap" else "",
            "required": next((x for x in record["routes"] if x["chosen"] and x["required"]), None)}


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


def _length_in(record: Mapping[str, Any]):
    """A function that prints a length in mm in the units of the record."""
    return lambda mm: units.show(mm, "mm", system=record["case"]["display"])


def _step_links(names: Iterable[str]) -> Markup:
    """Ids of steps and checks as links to them."""
    return Markup(", ").join(Markup('<a href="#step-{0}">{0}</a>').format(n) for n in names) or Markup("–")


def _css_text(value: object) -> Markup:
    """A text as a CSS string: whatever is not plain is written as its code, so that nothing can end it.

    The blank that ends a code is part of it; without it a blank of the text after the code would be lost."""
    return Markup('"' + "".join(c if c in _PLAIN else f"\\{ord(c):06X} " for c in str(value)) + '"')


@lru_cache(1)
def environment() -> Environment:
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
        "system_table": safe(tables.system_table),
        "forms_table": safe(tables.forms_table),
        "box_table": safe(tables.box_table),
        "limits_table": safe(tables.limits_table),
        "routes_table": safe(tables.routes_table),
        "order_table": safe(tables.order_table),
        "options_table": safe(tables.options_table),
        "criteria_table": safe(tables.criteria_table),
        "clusters_table": safe(tables.clusters_table),
        "length_in": _length_in,
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
        "tidy": units.tidy,
        "step_links": _step_links,
    }
    made.filters["css_text"] = _css_text
    return made
