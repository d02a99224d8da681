"""The pages of an as-found sheet as HTML: what was answered, the verdict, what differs from the prediction."""

from __future__ import annotations

import re
from functools import cache
from html import escape
from typing import Any

from wrapcalc.case.grid import Grid
from wrapcalc.case.model import Case
from wrapcalc.errors import Fault
from wrapcalc.fields import walk
from wrapcalc.package import as_found as af
from wrapcalc.stages.as_found.as_found import HOLDS, INCOMPLETE, STOP
from wrapcalc.units import show
from wrapcalc.workbook import calm
from wrapcalc.workbook.on_site.sheet import FoundSheet

#: What the crew does, before anything else is said.
_WORD = {HOLDS: "Go, by the approved sheet only", STOP: "Stop", INCOMPLETE: "Stop for now: something is missing"}
#: What may be the name of a field in a text.
_FIELD = re.compile(r"\b[a-z_]+\.[a-z_]+\b")


def head(sheet: FoundSheet) -> str:
    """Which package, and where the sheet is kept."""
    about = sheet.opened.record["case"]
    title = f"{sheet.opened.name}: {about['title']}" if about.get("title") else sheet.opened.name
    return (f"<p><b>{escape(title)}</b></p><p>The sheet is kept in {escape(str(sheet.kept.path))}. A blank is “not "
            "measured”: then nobody starts. Clock positions face downstream.</p>")


def unsaved(sheet: FoundSheet) -> str:
    """What was typed and is not saved."""
    out = calm.message("Warning", f"{words}.", "Save over it, or drop what was typed and open what is there now."
                       ) if (words := sheet.kept.changed()) else ""
    out += "".join(calm.message("Warning", f"{t}.") for t in sheet.kept.told())
    rows = sheet.unsaved()
    if not rows:
        return out
    what = "one answer is typed and not saved" if len(rows) == 1 else f"{len(rows)} answers are typed and not saved"
    told = "; ".join(f"{label}: {now or 'blank'} (saved: {was or 'blank'})" for label, was, now in rows[:12])
    return out + calm.message("Warning", f"{what}: {told}{'; and more' if rows[12:] else ''}.")


def grid(g: Grid | None, display: str) -> str:
    """What a depth grid holds, in one line."""
    if g is None:
        return ""
    along, around = g.axial[-1] - g.axial[0], g.around[-1] - g.around[0]
    least = float(g.depth[g.depth > 0].min()) if g.remaining else None
    what = f"least remaining wall {show(least, 'mm', system=display)}" if least is not None else \
        f"deepest reading {show(g.deepest[0], 'mm', system=display)}"
    return calm.message("Note", f"depth grid: {len(g.axial)} stations over {show(along, 'mm', system=display)} along "
                        f"the pipe, {len(g.around)} over {show(around, 'mm', system=display)} around it; {what}.")


def general(faults: list[Fault], shown: set[str]) -> str:
    """Faults of no field that is on the page."""
    return "".join(calm.fault(f) for f in faults if f.field not in shown)


def verdict(data: dict[str, Any], number: int) -> str:
    """Stop or go in words first; then why, what differs, and the design worked again. number: under which it was
    written beside the package, 0 when it was not."""
    word = data["verdict"]
    kind = "Done" if word == HOLDS else "Fault" if word == STOP else "Warning"
    role = "status" if word == HOLDS else "alert"
    stands = (f"Written beside the package: {af.PLACE}/{data['package']}-{number}." if number else
              "Not written yet: this is what would be written.")
    out = [f'<div class="wb-message wb-{kind.lower()} wb-verdict" role="{role}"><b>{escape(_WORD[word])}.</b> '
           f"Verdict: {escape(word)}. {escape(af.SENTENCES[word])}</div>",
           f"<p>{escape(stands)} {escape(af.STANDING)}.</p>"]
    out += [*_list("Why to stop", [_said(t, data) for t in data["reasons"]]),
            *_list("What is missing", [_said(t, data) for t in data["missing"]])]
    out += _list("What to know beside it", [_said(t, data) for t in (
        *data["notes"], *(w["text"] for w in data["warnings"]))])
    rows = data["comparison"]
    # What nobody measured differs from nothing yet: it is told above as missing.
    measured = [r for r in rows if r["verdict"] != "no data"
                and not any(t.startswith(f"{r['what']}: ") for t in data["missing"])]
    differs = sorted((r for r in measured if r["verdict"] != "met" or r["issued"] != r["found"]),
                     key=lambda r: (r["verdict"] == "met", r["kind"] == "information"))
    out.append("<h3>What differs from the prediction</h3>")
    out.append(_compared(differs, "What differs from the prediction", data) if differs else
               "<p>Nothing of what was measured.</p>" if len(measured) < len(rows) else "<p>Nothing.</p>")
    out.append("<h3>The design, worked again with what was found</h3>")
    out.append(_designs(data))
    out.append(f"<p>{escape(_said(data['now']['sentence'], data))}</p>")
    out.append(f"<details><summary>All {len(rows)} comparisons</summary>{_compared(rows, 'All comparisons', data)}"
               "</details>")
    return "".join(out)


def _list(title: str, lines: list[str]) -> list[str]:
    return [f"<h3>{title}</h3><ul>" + "".join(f"<li>{escape(t)}</li>" for t in lines) + "</ul>"] if lines else []


def _compared(rows: list[dict[str, Any]], label: str, data: dict[str, Any]) -> str:
    return calm.scrolling(calm.table(
        ("What", "Predicted, or allowed", "As found", "Verdict", "Note"),
        [(r["what"], r["issued"], r["found"] or "not measured", r["verdict"], _said(r["note"], data)) for r in rows]),
        label)


def _designs(data: dict[str, Any]) -> str:
    """The governing numbers of the issued design and of the one with what was found, side by side."""
    found = {i["title"]: i for i in data["items"] if i["type"] == "procedure" and i["title"].startswith("The design ")}
    before, after = (_numbers(found.get(t), data["about"]["display"]) for t in (
        "The design issued", "The design with what was found"))
    none, rows = ("none", "none"), []
    for name in {**before, **after}:
        was, now = before.get(name, none), after.get(name, none)
        # In the digits of the page, but never two numbers that differ as if they were one.
        k = 1 if was[0] == now[0] and was[1] != now[1] else 0
        rows.append((name, was[k], now[k], "same" if was[1] == now[1] else "differs"))
    return calm.table(("", "As issued", "With what was found", ""), rows)


def _numbers(item: dict[str, Any] | None, system: str) -> dict[str, tuple[str, str]]:
    """What a design gives: name -> in the digits of the page, and as recorded."""
    if item is None:
        return {}
    return {str(a): (str(b), str(b)) for a, b in item["details"]} | {
        r["name"]: (show(r["magnitude"], r["unit"], system=system), r["shown"]) for r in item["results"]}


def _said(text: str, data: dict[str, Any]) -> str:
    """A line of the verdict in the words of the page: its questions by their names, as they stand beside their fields.

    A field of the case that the sheet does not ask for has the name that it has in the case form.
    """
    asked = _questions() | {s["field"]: s["question"] for s in data["stated"]}
    named = _FIELD.sub(lambda m: f"“{_called(asked[m[0]])}”" if m[0] in asked else m[0], text)
    return named.replace(", wanted ", "; expected: ")


def _called(question: str) -> str:
    """What a question asks for, without how it is answered."""
    return re.split("[:;]", question, maxsplit=1)[0]


@cache
def _questions() -> dict[str, str]:
    """Every field of a case, and what it is called."""
    return {name: str(info.description) for name, info in walk(Case)}


def still(sheet: FoundSheet, faults: list[Fault], said: str) -> str:
    """The whole page without widgets."""
    at = {f.field: f for f in faults}
    rows = [(q.title, q.label, q.beside, sheet.answer(q.field) or "not measured",
             f"found {at[q.field].found}; allowed: {at[q.field].allowed}" if q.field in at else "")
            for q in sheet.questions]
    return (head(sheet) + unsaved(sheet) + general(faults, {q.field for q in sheet.questions}) + calm.scrolling(
        calm.table(("", "Question", "Package", "Found", "Fault"), rows), "As-found sheet") + said)
