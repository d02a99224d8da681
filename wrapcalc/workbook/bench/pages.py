"""What the bench shows, as HTML: the variant of now, its figures, the variants side by side. Nothing is worked out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from html import escape
from typing import Any

from wrapcalc.errors import CaseFaults, WrapcalcError
from wrapcalc.render import items as render
from wrapcalc.workbook import calm
from wrapcalc.workbook.bench.answers import MARK, Answer
from wrapcalc.workbook.bench.bench import Bench
from wrapcalc.workbook.bench.inputs import NOT_STATED, Raw, Slider

STYLE = f"""
.wb-mark {{ font-weight: bold; border: 2px solid {calm.INK}; padding: 2px 8px; display: inline-block; margin: 2px 0; }}
.wb-decision {{ font-size: 16px; font-weight: bold; margin: 6px 0; }}
.wb-differs::before {{ content: "≠ "; }}
.wb-differs {{ font-weight: bold; border-left: 3px solid {calm.ACCENT}; }}
.wb-figures {{ display: grid; grid-template-columns: repeat(auto-fit, minmax(380px, 1fr)); gap: 10px; }}
.wb-figures figure {{ margin: 0; border: 1px solid {calm.EDGE}; padding: 4px; }}
.wb-figures figcaption {{ font-size: 13px; }}
.wb-none {{ min-height: 15em; }}
.wb-numbers {{ display: grid; grid-template-columns: repeat(auto-fit, minmax(300px, 1fr)); gap: 0 20px;
align-items: start; }}
.wb-panel .wb-scroll table {{ min-width: 640px; }}
.wb-warnings .wb-scroll {{ max-height: 10em; }}
.wb-what-if .noUi-handle {{ background: {calm.ACCENT} !important; border: 1px solid {calm.INK} !important; }}
.wb-what-if .noUi-base {{ background: {calm.EDGE}; }}
.wb-what-if .noUi-handle:focus-visible {{ outline: 3px solid {calm.ACCENT}; outline-offset: 3px; }}
@media print {{ .wb-mark {{ font-size: 20px; }} }}
"""
#: Names of the figures as a reader calls them.
_CAPTIONS = {"methods": "Methods side by side", "thickness routes": "Thickness by each route",
             "use over layers": "Use of the wrap by layers", "curve": "Allowable sizes, and this defect"}
#: Shown for what a variant does not have.
NONE = "none"


def page(html: str, name: str) -> str:
    """A panel of the bench: what it is stands in it, wherever it is read or printed."""
    return calm.page(f'<style>{render.STYLE}{STYLE}</style><div class="wb-panel wb-bench-{name}">'
                     f'<div class="wb-mark">{MARK}</div>{html}</div>')


def answered(bench: Bench, a: Answer, *, run: int = 0) -> str:
    """Decision, governing checks, layers, order. run: the number of the run, for whoever waits for it."""
    r = a.record
    parts = [f'<div class="wb-run" data-run="{run}"></div>', _changed_on_disk(a),
             f'<p class="wb-what">{escape(moved(bench))}</p>',
             f'<p class="wb-decision">{escape(r["decision"]["sentence"])}</p>']
    if r["decision"]["reasons"]:
        parts.append("<ul>" + "".join(f"<li>{escape(t)}</li>" for t in r["decision"]["reasons"]) + "</ul>")
    if r["decision"]["missing"]:
        parts.append("<p>Not answered: " + escape(", ".join(r["decision"]["missing"])) + "</p>")
    parts.append(_numbers(a))
    parts.append(_warnings(a))
    if a.checks:
        parts.append("<h3>Governing checks</h3>" + calm.scrolling(render.checks_table(a.checks), "governing checks"))
    if a.struck:
        parts.append("<h3>Outside their validity</h3><ul>" + "".join(
            f"<li>{escape(what)}: <del>{escape(value)}</del> – struck through, not to be used: {escape(why)}</li>"
            for what, value, why in a.struck) + "</ul>")
    parts.append("<h3>Order</h3>" + (calm.scrolling(render.order_table(r["order"]), "order") if r["order"] else
                                     "<p>Nothing to order.</p>"))
    if a.left_out:
        parts.append(f'<p class="wb-quiet">Not worked out here, nor its warnings: {escape("; ".join(a.left_out))}.</p>')
    return page("".join(parts), "answer")


def case_as_stated(bench: Bench, a: Answer | WrapcalcError) -> str:
    """The case without any change, for a page without widgets."""
    if isinstance(a, WrapcalcError):
        return refused(bench, a)
    return answered(bench.untouched(), a) + drawn(a.figures(), a.curve())


def _changed_on_disk(*answers: Answer) -> str:
    """A warning when files are others by now than those that were worked from."""
    names = list(dict.fromkeys(n for a in answers for n in a.changed_on_disk))
    if not names:
        return ""
    were = "was" if len(names) == 1 else "were"
    return calm.message("Warning", f"{', '.join(names)} {were} changed on disk after the bench was opened: what is "
                        "shown is of the case as it was then.", "Run the notebook again from the top.")


def moved(bench: Bench) -> str:
    """What is moved, in one sentence."""
    case = bench.stated.bundle.case.id
    if not bench.changes:
        return f"{case} as stated; nothing is moved."
    return f"{case} with " + "; ".join(f"{bench.inputs[f].name} {_word(v)} (case: {_word(bench.inputs[f].as_stated)})"
                                       for f, v in bench.changes.items()) + "."


def _word(value: Raw) -> str:
    return NOT_STATED if value is None else str(value)


def _numbers(a: Answer) -> str:
    """The numbers in two tables side by side, where there is room for two."""
    rows = rows_of(a)
    half = (len(rows) + 1) // 2
    tables = "".join(calm.table(("", ""), part, numbers=(1,)) for part in (rows[:half], rows[half:]) if part)
    return f'<div class="wb-numbers">{tables}</div>'


def _warnings(a: Answer) -> str:
    """All warnings, inside a place of their own that scrolls: they are not to push the numbers off the page."""
    found = a.record["warnings"]
    if not found:
        return ""
    count = f"{len(found)} warnings" if len(found) > 1 else "1 warning"
    inside = "".join(calm.message("Warning", w["text"]) for w in found)
    return f'<h3>{count}</h3><div class="wb-warnings">{calm.scrolling(inside, count)}</div>'


def rows_of(a: Answer) -> list[tuple[str, str]]:
    """The numbers of a variant that a reader compares: (what, number with its unit)."""
    r, d = a.record, a.outcome.design
    system = a.outcome.recorder.system
    rows: list[tuple[str, str | None]] = [("Decision", r["decision"]["word"])]
    # Until when a limit holds follows from the decision: the number is compared under one name.
    headline = {h["label"].partition(", until")[0].removesuffix(" without a repair"): h["value"]["shown"]
                for h in r["headline"]}
    if d is not None and d.laid is not None:
        fails = "" if d.holds and d.fits else " (does not hold)"
        laid = {"Layers": d.laid.count.show(system) + fails, "Wrap thickness": d.laid.thickness.show(system) + fails,
                "Thickness required": d.laid.required.show(system),
                "What asks for most": f"{d.laid.governing.what}, {d.laid.governing.load_case}"}
        headline = laid | {k: v for k, v in headline.items() if k not in laid}
    use = next((u["use"]["shown"] for u in (r["bears"] or {"uses": []})["uses"] if u["designed"]), None)
    governs = next((f["form"] for f in r["forms"] if f["governs"]), None)
    rows += [*headline.items(), ("Method that governs", governs), ("Use of the wrap (1: all of it)", use),
             ("Restored pressure", r["bears"]["restored"]["shown"] if r["bears"] else None)]
    return [(label, value) for label, value in rows if value is not None]


def drawn(figures: dict[str, str], curve: str | None, *, waiting: bool = False) -> str:
    """The figures of a variant. curve: the assessment curve; waiting: it is still being worked out."""
    shown = [(_CAPTIONS[name], svg) for name, svg in figures.items()]
    if curve is not None:
        shown.append((_CAPTIONS["curve"], curve))
    elif waiting:
        shown.append((_CAPTIONS["curve"], '<p class="wb-quiet wb-none">Drawn as soon as the slider rests.</p>'))
    if not shown:
        return page("<p>There is nothing to draw.</p>", "figures")
    return page('<div class="wb-figures">' + "".join(
        f"<figure><figcaption>{escape(caption)}. {MARK}.</figcaption>{svg}</figure>" for caption, svg in shown)
        + "</div>", "figures")


def refused(bench: Bench, e: WrapcalcError, *, run: int = 0) -> str:
    """What is shown in the place of results that cannot be had: never those of another variant."""
    return page(f'<div class="wb-run" data-run="{run}"></div>{calm.messages(named(bench, e))}<p>No results: those of '
                "the last valid values were removed.</p>", "answer")


def named(bench: Bench, e: WrapcalcError) -> WrapcalcError:
    """The same faults, fields of the bench by the names that they have there."""
    if not isinstance(e, CaseFaults):
        return e
    names = {i.field: i.name for i in bench.inputs.values()}
    return CaseFaults([replace(f, field=names.get(f.field, f.field)) for f in e.faults])


def at_field(e: CaseFaults, field: str) -> str:
    """The faults of one field, for the place below it."""
    return calm.page("".join(calm.fault(f, with_field=False) for f in e.faults if f.field == field))


def span(s: Slider) -> str:
    """The span of a slider, below it."""
    return calm.page(f'<span class="wb-quiet">slider: {escape(s.span())}; case: {escape(s.as_stated)}</span>')


# -- side by side -------------------------------------------------------------------------------------------------
Column = tuple[str, Answer | WrapcalcError, dict[str, Raw], str]


def compared(bench: Bench, columns: Sequence[Column]) -> str:
    """Variants side by side; the first is what the others are compared with. A column that cannot be had says why."""
    if len(columns) < 2:
        return page("<p>No variant is pinned. Move something and pin it; four can stand side by side.</p>", "compare")
    fields = [f for f in bench.inputs if any(f in changes for _, _, changes, _ in columns)]
    head = "".join(f"<th>{escape(name)}{'<br>' + escape(note) if note else ''}</th>" for name, _, _, note in columns)
    inputs = bench.inputs
    rows = [_row(inputs[f].name, [_word(c[2].get(f, inputs[f].as_stated)) for c in columns]) for f in fields]
    answers = [a if isinstance(a, Answer) else None for _, a, _, _ in columns]
    found = [dict(rows_of(a)) if a else {} for a in answers]
    rows += [_row(label, [f.get(label, NONE) for f in found]) for label in _in_order(found)]
    orders = [{o["item"]: _packs(o) for o in a.record["order"]} if a else {} for a in answers]
    rows += [_row(f"Order: {item}", [o.get(item, NONE) for o in orders]) for item in _in_order(orders)]
    told = "".join(f"<p><b>{escape(name)}</b></p>{calm.messages(named(bench, a))}" for name, a, _, _ in columns
                   if isinstance(a, WrapcalcError))
    table = f'<table class="wc-table"><thead><tr><th></th>{head}</tr></thead><tbody>{"".join(rows)}</tbody></table>'
    return page('<p class="wb-quiet">“≠”, bold, with a line at its left: differs from the case as stated.</p>'
                + _changed_on_disk(*filter(None, answers)) + told
                + calm.scrolling(table, "variants side by side"), "compare")


def _row(label: str, cells: list[str]) -> str:
    body = "".join(f'<td{" class=wb-differs" if c != cells[0] else ""}>{escape(c)}</td>' for c in cells)
    return f"<tr><th scope=row>{escape(label)}</th>{body}</tr>"


def _packs(line: dict[str, Any]) -> str:
    if line["packs"] is None:
        return str(line["quantity"]["shown"])
    return f"{line['quantity']['shown']}; {line['packs']['shown']} × {line['pack']['shown']}"


def _in_order(found: Sequence[dict[str, str]]) -> list[str]:
    return list(dict.fromkeys(label for f in found for label in f))


def full(a: Answer) -> str:
    """What a run with every part says beside: its numbers and all its warnings."""
    r = a.record
    rows = [(h["label"], h["value"]["shown"]) for h in r["headline"]]
    box = (r["bears"] or {"box": []})["box"]
    return page("<h3>Worked out in full</h3>" + _changed_on_disk(a)
                + "".join(calm.message("Warning", w["text"]) for w in r["warnings"])
                + f'<p class="wb-decision">{escape(r["decision"]["sentence"])}</p>'
                + calm.table(("", ""), rows, numbers=(1,))
                + ("<h3>Box for the site</h3>" + calm.scrolling(render.box_table(box), "box for the site") if box else
                   ""), "full")
