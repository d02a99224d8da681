"""The few calls that notebooks make: open a case, show its steps, checks, tables and drawings.

A notebook holds no arithmetic. What it shows comes from the same run and the same record as the package; the
last call prints the digest of that record, and a package compares it with its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from importlib import resources
from pathlib import Path
from typing import Any

from wrapcalc import record as records
from wrapcalc.case import load_bundle
from wrapcalc.errors import CaseFaults, UnknownItem, WrapcalcError
from wrapcalc.recorder import TOPICS
from wrapcalc.render import items as render
from wrapcalc.render.drawings import drawings
from wrapcalc.workbook.named import named
from wrapcalc.workbook.shown import Shown

__all__ = ["Job", "Shown", "box", "checks", "criteria", "decision", "drawing", "fingerprint", "forms", "inputs",
           "judgements", "open_campaign", "open_case", "options", "order", "part", "routes", "steps", "to_verify"]


#: Drawings, and what is said where there is none.
_NOT_DRAWN = {"depth map": "This case has no depth grid.", "profile": "This case has no measured profile.",
              "clusters": "There are no pits to part.", "methods": "No method was run.",
              "assessment curve": "No method governs.", "life": "Growth is not stated.",
              "thickness routes": "No wrap was designed.", "unwrapped pipe": "There is nothing to draw.",
              "repair along": "No wrap was designed.", "cross-section": "No wrap was designed.",
              "use over layers": "No wrap was designed.", "tolerances": "The case states no tolerances.",
              "through the wall": "No second opinion was worked out.",
              "weather": "There is no forecast, or no wrap.", "margins": "There is nothing to draw."}


#: Calls that are loaded when they are asked for, and where they are: a case needs none of what they import.
_LATER = {"open_campaign": "campaign", "part": "campaign", "case_form": "form", "what_if": "bench",
          "review": "reviewer", "as_found": "on_site", "close_out": "on_site"}


def __getattr__(name: str) -> Any:
    """The calls for campaigns and for the workbench."""
    if name in _LATER:
        from importlib import import_module
        return getattr(import_module(f"wrapcalc.workbook.{_LATER[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


@dataclass(frozen=True)
class Job:
    """One case that was run, and its record."""

    record: dict[str, Any]

    def _repr_html_(self) -> str:
        return decision(self)._repr_html_()

    def __repr__(self) -> str:
        return decision(self).text


class CaseNotOpened(WrapcalcError):
    """A case file with faults; a notebook shows the message without a traceback."""

    def _render_traceback_(self) -> list[str]:
        return [str(self)]


def open_case(case_file: str) -> Job:
    """Read, check and run a case. `case_file`: a path, or "example:HB-07" for a case of the example.

    Raises CaseNotOpened, whose text names every fault; a notebook shows it without a traceback.
    """
    from wrapcalc.stages.job import run
    try:
        if isinstance(case_file, str) and case_file.startswith("example:"):
            with resources.as_file(resources.files("wrapcalc.example")) as folder:
                known = {p.stem: p for p in Path(folder).glob("*.toml")}
                name = case_file.removeprefix("example:")
                if name not in known:
                    raise UnknownItem("case in the example", name, known)
                bundle = load_bundle(known[name])
        else:
            bundle = load_bundle(named("case_file", case_file, "example/HB-07.toml"))
        return Job(records.build(run(bundle)))
    except (CaseFaults, UnknownItem) as e:
        raise CaseNotOpened(str(e)) from None


def decision(job: Job) -> Shown:
    """The decision in one sentence, with its reasons, warnings and the few numbers of the cover."""
    r = job.record
    rows = [(h["label"], h["value"]["shown"]) for h in r["headline"]]
    html = (f'<p><b>{escape(r["case"]["id"])}</b> {escape(r["case"]["title"] or "")}</p>'
            f'<p><b>{escape(r["decision"]["sentence"])}</b></p>' + _bullets(r["decision"]["reasons"])
            + _bullets([w["text"] for w in r["warnings"]], "Warning: ")
            + _table(("", ""), rows) + "<p>NOT APPROVED: not for construction.</p>")
    lines = [f"{r['case']['id']}: {r['decision']['sentence']}", *r["decision"]["reasons"],
             *(f"Warning: {w['text']}" for w in r["warnings"]), *(f"{a}: {b}" for a, b in rows)]
    return Shown(html, "\n".join(lines))


def inputs(job: Job) -> Shown:
    """What the engineer stated, with the source of each value."""
    rows = job.record["inputs"]
    text = [f"{i['field']} = {i['written']}" for i in rows if i["answered"]]
    return Shown(render.inputs_table(rows), "\n".join(text))


def steps(job: Job, topic: str) -> Shown:
    """The steps, procedures and checks under one heading of the job. Raises UnknownItem for another heading."""
    if topic not in TOPICS:
        raise UnknownItem("heading", topic, TOPICS)
    found = [i for i in job.record["items"] if i["topic"] == topic]
    if not found:
        note = f"Not reached: the decision “{job.record['decision']['word']}” was made without it."
        return Shown(f"<p>{escape(note)}</p>", note)
    return Shown("".join(render.item_html(i) for i in found), "\n".join(_line(i) for i in found))


def forms(job: Job) -> Shown:
    """The forms of remaining strength side by side."""
    rows = job.record["forms"]
    return Shown(render.forms_table(rows) if rows else "<p>None was run.</p>", "\n".join(
        f"{f['form']}: {f['safe']['shown'] if f['safe'] else f['reason']}" for f in rows) or "None was run.")


def criteria(job: Job) -> Shown:
    """Every repair criterion and how it ended, and what rules a wrap out."""
    found = job.record["disposition"]
    if found is None:
        return Shown("<p>Not reached.</p>", "Not reached.")
    html = f"<p>{escape(found['why'])}</p>" + "".join(
        f"<p><b>{escape(x['rule'])}</b>, text as of {escape(x['as_of'])}. {escape(x['recheck'])}</p>"
        + render.criteria_table(x["findings"], status=x["status"]) for x in found["lists"])
    return Shown(html, "\n".join([found["why"], *(
        f"{x['rule']} {f['paragraph']} ({f['class']}): {f['verdict']}"
        for x in found["lists"] for f in x["findings"])]))


def options(job: Job) -> Shown:
    """Options of the rule for a pressure reduction, side by side."""
    rows = job.record["options"]
    return Shown(render.options_table(rows) if rows else "<p>No reduction is asked for.</p>", "\n".join(
        f"{o['option']}: {o['pressure']['shown'] if o['pressure'] else o['note']}" for o in rows)
        or "No reduction is asked for.")


def routes(job: Job) -> Shown:
    """The routes to a thickness side by side."""
    rows = job.record["routes"]
    return Shown(render.routes_table(rows) if rows else "<p>No wrap was designed.</p>", "\n".join(
        f"{r['route']}: {r['required']['shown'] if r['required'] else r['reason']}" for r in rows)
        or "No wrap was designed.")


def box(job: Job) -> Shown:
    """What holds all at once on the site; beyond it the crew stops and calls the engineer."""
    found = job.record["bears"]
    rows = found["box"] if found else []
    return Shown(render.box_table(rows) if rows else "<p>No wrap was designed.</p>", "\n".join(
        f"{b['input']}: {b['bound']} {b['edge']['shown']}" for b in rows) or "No wrap was designed.")


def checks(job: Job) -> Shown:
    """Every check with its utilisation and verdict."""
    found = [i for i in job.record["items"] if i["type"] == "check"]
    return Shown(render.checks_table(found), "\n".join(_line(i) for i in found))


def order(job: Job) -> Shown:
    """What to order; only when the decision is "wrap"."""
    rows = job.record["order"]
    return Shown(render.order_table(rows) if rows else "<p>Nothing to order.</p>", "\n".join(
        f"{o['item']}: {o['quantity']['shown']}" for o in rows) or "Nothing to order.")


def drawing(job: Job, name: str) -> Shown:
    """One of the drawings, by its name. Raises UnknownItem for another name."""
    known = tuple(_NOT_DRAWN)
    if name not in known:
        raise UnknownItem("drawing", name, known)
    svg = drawings(job.record).get(name)
    note = _NOT_DRAWN[name]
    return Shown(svg or f"<p>{note}</p>", f"[{name}]" if svg else note)


def judgements(job: Job) -> Shown:
    """Assumptions and judgements made for the user."""
    rows = [(a["text"], a["source"]) for a in job.record["assumptions"]]
    return Shown(_table(("Assumption", "From"), rows), "\n".join(f"{a} ({b})" for a, b in rows))


def to_verify(job: Job) -> Shown:
    """Values and formulas from memory, to be verified against a licensed copy before anything is built on them."""
    r = job.record
    rows = [(e["title"], e["written"], e["citation"], e["status"]) for e in r["table_entries"]
            if e["status"] == "from memory"]
    rows += [(x["title"], x["text"], x["citation"], x["status"]) for x in r["formulas"]
             if x["status"] == "from memory"]
    return Shown(_table(("What", "As used", "Document, clause", "Status"), rows),
                 "\n".join(f"{a}: {b} [{c}]" for a, b, c, _ in rows))


def fingerprint(job: Job) -> Shown:
    """SHA-256 of the record that was shown; the package compares it with its own record."""
    text = f"record SHA-256 {records.digest(job.record)}"
    return Shown(f"<p><code>{text}</code></p>", text)


def _line(i: dict[str, Any]) -> str:
    if i["type"] == "step":
        struck = f"   STRUCK: {i['struck']}" if i["struck"] else ""
        line = f"{i['id']}  {i['title']}: {i['text']} = {i['text_numbers']} = {i['printed']} {i['unit_label']}"
        return f"{line.rstrip()}   [{i['citation']}; {i['status']}]{struck}"
    if i["type"] == "procedure":
        return f"{i['id']}  {i['title']}: " + ", ".join(f"{x['name']} {x['shown']}" for x in i["results"])
    what = (f"{i['provided']['shown']} {i['sense']} {i['limit']['shown']}" if i["provided"] and i["limit"]
            else f"{i['found']} (wanted: {i['wanted']})")
    return f"{i['id']}  {i['title']}: {what}: {i['verdict']}"


def _bullets(lines: list[str], lead: str = "") -> str:
    return "<ul>" + "".join(f"<li>{escape(lead + t)}</li>" for t in lines) + "</ul>" if lines else ""


def _table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    top = "<thead><tr>" + "".join(f"<th>{escape(h)}</th>" for h in head) + "</tr></thead>" if any(head) else ""
    return '<table class="wc-table">' + top + "<tbody>" + "".join(
        "<tr>" + "".join(f"<td>{escape(str(c))}</td>" for c in row) + "</tr>" for row in rows) + "</tbody></table>"
