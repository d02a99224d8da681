"""What the review notebook shows, as HTML: the head of the page, what changed, one step with all that belongs to it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from typing import Any

from wrapcalc.package import review_steps
from wrapcalc.package.report import IDENTITIES, guard_words
from wrapcalc.package.review_before import Said
from wrapcalc.package.review_lines import WHOLE, Entry, Query
from wrapcalc.package.review_sheet import called, sentence, when
from wrapcalc.render.items import item_html
from wrapcalc.workbook.calm import message, page, scrolling, table
from wrapcalc.workbook.reviewer.model import Desk
from wrapcalc.workbook.shown import Shown

#: What a status means for who relies on it.
STATUS = {
    "verified": "verified by the user against a licensed copy",
    "seen": "seen in the document by us",
    "from memory": "from memory, unverified: compare it with a licensed copy before anything is built on it",
    "derived": "derived here from mechanics: follow the derivation",
    "common practice": "common practice: to be confirmed locally",
    "system sheet": "as the sheet of the wrap system says",
}
#: The step in hand keeps its height, so that the buttons below it stay where they are.
STYLE = ".wb-review-step .wb-scroll { height: 36em; max-height: 36em; padding: 0 8px; }"
TYPED = f"{IDENTITIES.capitalize()}."


def framed(html: str) -> str:
    """HTML of ours inside both styles, for a widget."""
    return Shown(page(f"<style>{STYLE}</style>{html}"), "")._repr_html_()


# -- the head of the page ----------------------------------------------------------------------------------------
def head(desk: Desk) -> str:
    """What is told first, then which package this is."""
    case, decision = desk.record["case"], desk.record["decision"]
    told = "".join(message(t.kind, t.text, t.mend) for t in desk.told)
    at = "; ".join(t for t in (case["line"], case["joint"]) if t)
    return (f"{told}<h3>{escape(desk.name)}: {escape(case['title'] or '')}</h3><p>{escape(decision['sentence'])}</p>"
            f'<p class="wb-quiet">{escape(at)}. Prepared by {escape(desk.prepared_by or "nobody named")}. Package, '
            f"SHA-256 <code>{desk.digest}</code>.</p>")


def changes(desk: Desk) -> str:
    """What changed since the revision before, in inputs and in results; nothing for a first revision."""
    found = desk.before
    out = [message("Warning", f"{p}.") for p in found.problems]
    if found.revision:
        put_in, came_out = review_steps.parted(found.rows)
        out.append(f"<h3>What changed since revision {found.revision}</h3>")
        for title, rows in (("In the inputs", put_in), ("In the results", came_out)):
            made = [(r["what"], r["before"], r["after"]) for r in rows]
            listed = scrolling(table(("What", "Before", "Now"), made), f"{title}: what changed")
            out.append(f"<p><b>{title}</b></p>" + (listed if made else "<p>Nothing that is printed.</p>"))
        if found.changed is not None:
            out.append(f"<p>{_changed_steps(desk)}</p>")
    if found.open:
        out.append(message("Warning", _left_open(desk)))
    return "".join(out)


def _left_open(desk: Desk) -> str:
    named = "; ".join(f"Q{q.number} on {called(q.item)} ({q.asked.who})" for q in desk.before.open)
    return f"Left open in the review of revision {desk.before.said_on}: {named}."


def _changed_steps(desk: Desk) -> str:
    steps, gone = desk.changed, desk.before.changed.gone if desk.before.changed else ()
    left = len(steps.keys() - desk.looked_at)
    text = f"{len(steps)} steps and checks changed, {left} of them not looked at yet; the list marks them “changed”."
    if gone:
        text += " No more there: " + "; ".join(f"{i} {t}" for i, t in gone) + "."
    return escape(text)


def progress(desk: Desk) -> str:
    """How far the review is, and the queries that are open."""
    open_ = desk.review.open()
    named = "" if not open_ else "; ".join(f"Q{q.number} on {called(q.item)}" for q in open_)
    return (f"<p><b>{escape(sentence(desk.counts()))}.</b>" + (f" Open: {escape(named)}." if named else "")
            + (f' <span class="wb-quiet">Last sheet: {desk.sheet.folder.name}'
               f'{"" if desk.sheet.current else ", older than the last line"}.</span>' if desk.sheet else "") + "</p>")


# -- one step ----------------------------------------------------------------------------------------------------
def step(desk: Desk, item: str) -> str:
    """A step with all that a reviewer asks of it; or the package as a whole."""
    from jinja2 import TemplateError
    try:
        shown = _whole(desk) if item == WHOLE else _step(desk, desk.items[item])
        return "".join([*_differs(desk, item), *shown, *_said(desk, item)])
    except (LookupError, TypeError, ValueError, AttributeError, RecursionError, TemplateError):
        if desk.verification.ok:
            raise
        return message("Fault", f"{called(item)} cannot be shown: the record was changed after it was written.")


def _differs(desk: Desk, item: str) -> Iterator[str]:
    if item in desk.changed:
        yield message("Note", f"Changed since revision {desk.before.revision}: {'; '.join(desk.changed[item])}.")


def _step(desk: Desk, i: dict[str, Any]) -> Iterator[str]:
    yield item_html(i)
    yield f"<p><b>Clause and status:</b> {escape(i['citation'])}; {escape(STATUS.get(i['status'], i['status']))}" + (
        f" ({escape(i['mark'])})" if i.get("mark") else "") + ".</p>"
    rows = [(s.name, s.value, s.place, s.told) for s in desk.sources.of(i)]
    if rows:
        yield table(("What goes in", "Value", "Where it came from", "What stands there"), rows)
    yield from _margin(desk, i)
    if i["type"] == "step":
        guard = guard_words(desk.guards.get(i["formula"], []))
        yield (f"<p><b>Tests that guard the formula:</b> {escape(guard or 'no reference check')} "
               f'<span class="wb-quiet">({escape(i["module"])}, {escape(i["formula"])})</span></p>')
    if opinion := review_steps.second_opinion(desk.record, i["id"]):
        yield f"<p><b>Second opinion:</b> {escape(opinion)}.</p>"


def _margin(desk: Desk, i: dict[str, Any]) -> Iterator[str]:
    """How much of a limit is used: of the check itself, or of the checks on the step."""
    checks = [i] if i["type"] == "check" else [desk.items[c] for c in desk.sources.covers[i["id"]]["direct"]]
    words = [f"{c['id']} {c['title']}: {c['verdict']}"
             + (f", {c['utilisation_shown']} of the limit used" if c["utilisation_shown"] else "") for c in checks]
    later = [] if i["type"] == "check" else desk.sources.covers[i["id"]]["later"]
    more = f" On what follows from it: {', '.join(later)}." if later else ""
    yield f"<p><b>Margin:</b> {escape('; '.join(words) or 'no check on this value itself')}.{escape(more)}</p>"


def _whole(desk: Desk) -> Iterator[str]:
    r = desk.record
    yield f"<p><b>{escape(r['decision']['sentence'])}</b></p>"
    for title, rows in (("Reasons", r["decision"]["reasons"]), ("Missing", r["decision"]["missing"]),
                        ("Warnings", [w["text"] for w in r["warnings"]]),
                        ("Assumptions", [f"{a['text']} ({a['source']})" for a in r["assumptions"]])):
        if rows:
            yield f"<p><b>{title}</b></p><ul>" + "".join(f"<li>{escape(x)}</li>" for x in rows) + "</ul>"


# -- what was said -----------------------------------------------------------------------------------------------
def _said(desk: Desk, item: str) -> Iterator[str]:
    said = desk.said_before(item)
    if said:
        yield f"<h3>Said on r{said[0].revision}</h3>" + "".join(map(_earlier, said))
    now = [*(_line(t, "Checked") for t in desk.review.ticks().get(item, ())), *map(_query, desk.queries(item)),
           *(_line(e, "Comment") for e in desk.review.comments() if e.item == item)]
    yield "<h3>Said of it</h3>" + ("".join(now) or '<p class="wb-quiet">Nothing yet.</p>')


def _earlier(s: Said) -> str:
    e = s.entry
    query = f" Q{e.query}{' (closed since)' if s.closed and e.act == 'query' else ''}" if e.query else ""
    return _line(e, f"said on r{s.revision} of {called(s.item)}: {e.act}{query}")


def _line(e: Entry, word: str) -> str:
    text = escape(e.text).replace("\n", "<br>")
    return f'<p><b>{escape(word)}</b> {text} <span class="wb-quiet">({escape(e.who)}, {when(e.at)})</span></p>'


def _query(q: Query) -> str:
    state = "closed" if q.closed else "open"
    lines = [_line(q.asked, f"Q{q.number}, {state}:"), *(_line(a, "Answer:") for a in q.answers)]
    return "".join(lines) + (_line(q.closed, "Closed:") if q.closed else "")


# -- without widgets ---------------------------------------------------------------------------------------------
def still(desk: Desk) -> Shown:
    """All that stands in files: what is told, what changed, how far it went, every query and comment."""
    rows = [(f"{t['part']}: {t['topic']}", str(t["of"]), str(t["looked_at"]), str(t["checked"]), str(t["open"] or "–"),
             f"{t['met']} of {t['checks']}" if t["checks"] else "–") for t in desk.topics()]
    heads = ("Heading", "Steps and checks", "Looked at", "Ticked", "Queries open", "Checks met")
    said = "".join(f"<h3>{escape(i)} {escape(desk.title(i))}</h3>{''.join(_said(desk, i))}" for i in _spoken(desk))
    html = (head(desk) + changes(desk) + progress(desk) + scrolling(table(heads, rows, numbers=(1, 2, 3, 4)),
                                                                    "How far the review is, by heading")
            + said + f'<p class="wb-quiet">{escape(TYPED)}</p>')
    return Shown(page(html), "\n".join(_lines(desk, rows)))


def _spoken(desk: Desk) -> list[str]:
    about = {q.item for q in desk.review.queries()} | {e.item for e in desk.review.comments()}
    return [i for i in (WHOLE, *desk.items) if i in about]


def _lines(desk: Desk, rows: Sequence[Sequence[str]]) -> Iterator[str]:
    yield from (f"{t.kind}: {t.text} {t.mend}".strip() for t in desk.told)
    yield f"{desk.name}: {desk.record['decision']['sentence']}"
    yield from desk.before.problems
    yield from (f"changed: {r['what']}: {r['before']} → {r['after']}" for r in desk.before.rows)
    if desk.before.open:
        yield _left_open(desk)
    yield f"{sentence(desk.counts())}."
    yield from (f"{title}: {looked} of {of} looked at, {ticked} ticked" for title, of, looked, ticked, *_ in rows)
    for q in desk.review.queries():
        yield f"Q{q.number} on {called(q.item)}, {'closed' if q.closed else 'open'}: {q.asked.text} ({q.asked.who})"
        yield from (f"  answer: {a.text} ({a.who})" for a in q.answers)
    yield from (f"comment on {called(e.item)}: {e.text} ({e.who})" for e in desk.review.comments())
