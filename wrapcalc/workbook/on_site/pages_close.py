"""The pages of the readings of a repair as HTML: what is missing, each reading against its limit, the verdict."""

from __future__ import annotations

from collections import Counter
from html import escape
from typing import Any

from wrapcalc.package import closeout as co
from wrapcalc.stages.closeout.closeout import ACCEPTED, DEVIATION, OPEN, REJECTED
from wrapcalc.workbook import calm
from wrapcalc.workbook.on_site.book import (
    MET,
    MISSING,
    NOT_MET,
    OPTIONAL,
    READ,
    UNREAD,
    Entry,
    Judgement,
    ReadingsBook,
    Standing,
)
from wrapcalc.workbook.on_site.topics import TOPICS, topic_of

_COUNTED = (MET, READ, NOT_MET, UNREAD, MISSING, OPTIONAL)
_KIND = {ACCEPTED: "done", DEVIATION: "warning", REJECTED: "fault", OPEN: "note"}


def head(book: ReadingsBook) -> str:
    """Which package, and where the readings are kept."""
    about = book.opened.record["case"]
    title = f"{book.opened.name}: {about['title']}" if about.get("title") else book.opened.name
    return (f"<p><b>{escape(title)}</b></p><p>The readings are kept in {escape(str(book.kept.path))}. Nothing is "
            "filled in for you; a blank is missing. Times carry their offset from UTC, such as 2026-05-14T07:30+01:00."
            "</p>")


def unsaved(book: ReadingsBook) -> str:
    """What was typed and is not saved."""
    out = calm.message("Warning", f"{words}.", "Save over it, or drop what was typed and open what is there now."
                       ) if (words := book.kept.changed()) else ""
    out += "".join(calm.message("Warning", f"{t}.") for t in book.kept.told())
    rows = book.unsaved()
    if not rows:
        return out + (calm.message("Note", "the readings are as they are saved; saving writes the file anew, in the "
                                   "form of the template.") if book.kept.dirty else "")
    what = "one row is typed and not saved" if len(rows) == 1 else f"{len(rows)} rows are typed and not saved"
    return out + calm.message("Warning", f"{what}: {'; '.join(rows[:6])}{'; and more' if rows[6:] else ''}.")


def overview(book: ReadingsBook, j: Judgement) -> str:
    """How many rows of each topic stand how."""
    counts = {t: Counter[str]() for t in TOPICS}
    for e, s in zip(book.entries, j.rows, strict=True):
        counts[topic_of(e.what)][s.word] += 1
    rows = [(t, *(str(c[w]) if c[w] else "" for w in _COUNTED)) for t, c in counts.items()]
    return calm.table(("Topic", *(w[0].upper() + w[1:] for w in _COUNTED)), rows, numbers=range(1, len(_COUNTED) + 1))


def row_head(e: Entry) -> str:
    """What is read, where, against which limit and clause, and how."""
    limit = "; ".join(filter(None, (f"limit: {e.limit}" if e.limit else "", e.clause)))
    return (f"<b>Row {escape(e.cells['row'])}: {escape(e.title)}</b> {escape(limit)} "
            f'<span class="wb-quiet">{escape(e.how)}</span>')


def standing(s: Standing) -> str:
    """How a row stands, in words."""
    if s.word == UNREAD:
        return "".join(calm.message("Fault", f"cannot be read: {f.field}: found {f.found}; allowed: {f.allowed}.",
                                    f"To mend it: {f.mend}.") for f in s.faults)
    if s.word == NOT_MET:
        return "".join(calm.message("Fault", f"not met: {x.title}: {x.found}, wanted {x.wanted} ({x.citation})."
                                    + (f" {x.note}." if x.note else "")) for x in s.said)
    if s.word == MET:
        said = "; ".join(f"{x.title}: {x.found}, wanted {x.wanted}" for x in s.said[:4])
        return f'<div class="wb-standing"><b>Met:</b> <span class="wb-quiet">{escape(said)}</span></div>'
    return f'<div class="wb-standing"><b>{escape(s.word[0].upper() + s.word[1:])}.</b></div>'


def verdict(j: Judgement, dirty: bool) -> str:
    """The verdict as it stands now, and what is not met; in words why there is none."""
    told = "".join(calm.fault(f) for f in j.faults)
    if j.judged is None:
        return told + calm.message("Note", f"no verdict yet: {j.why}.".replace("..", "."))
    data, written = j.judged.data, j.judged.closed is None
    word = data["verdict"]
    who = f" by {data['accepted_by']}" if data["accepted_by"] else ""
    deviations = sorted({n["accepted_by"] for n in data["nonconformances"] if n["accepted_by"]})
    who += f"; deviations by {', '.join(deviations)}" if deviations else ""
    lacks = f" Missing: {_lacking(j)}; listed below." if data["missing"] else ""
    stands = (f"Written beside the package: {co.PLACE}/{j.judged.before.name}." if written else
              "Not written yet: this is what would be written" + (" once what was typed is saved." if dirty else "."))
    role = "alert" if word == REJECTED else "status"
    out = [told, f'<div class="wb-message wb-{_KIND[word]} wb-verdict" role="{role}"><b>'
           f"{escape(word[0].upper() + word[1:])}{escape(who)}.</b> {escape(co.SENTENCES[word])}{lacks}</div>"
           f"<p>{escape(stands)} {escape(co.STANDING)}.</p>"]
    if rows := data["nonconformances"]:
        out.append("<h3>Not met</h3>" + calm.scrolling(calm.table(
            ("Number", "What", "Found", "Wanted", "Clause", "Who may accept it", "Accepted by", "Reason"),
            [(n["number"], n["title"], n["found"], n["wanted"], n["citation"], n["may_be_accepted_by"],
              n["accepted_by"] or "nobody", n["reason"]) for n in rows]), "Not met"))
    out.append(_facts(data))
    return "".join(out)


def missing(j: Judgement) -> str:
    """What is missing for a verdict, and what to know beside it."""
    data, out = j.judged.data if j.judged is not None else {}, []
    if lacks := data.get("missing"):
        out.append(f"<h3>Missing ({_lacking(j)})</h3>" + calm.scrolling(
            "<ul>" + "".join(f"<li>{escape(m)}</li>" for m in lacks) + "</ul>", "Missing"))
    if notes := [*data.get("notes", ()), *(w["text"] for w in data.get("warnings", ()))]:
        out.append("<h3>What to know beside it</h3><ul>" + "".join(f"<li>{escape(n)}</li>" for n in notes) + "</ul>")
    return "".join(out)


def _lacking(j: Judgement) -> str:
    """How much is missing: the verdict names each kind once, the table counts every row."""
    assert j.judged is not None
    kinds, rows = len(j.judged.data["missing"]), sum(s.word == MISSING for s in j.rows)
    return (f"{kinds} kind{'' if kinds == 1 else 's'} of entry"
            + (f", {rows} row{'' if rows == 1 else 's'} of the table" if rows else ""))


def _facts(data: dict[str, Any]) -> str:
    restored = data["pressure_restored"]
    rows = [(label, value) for label, value in (
        ("Accepted by", data["accepted_by"]), ("Closed on", data["closed_on"]),
        ("Pressure restored", restored["shown"] if restored else ""), ("Next look", data["next_inspection"]),
        ("End of the design life", data["end_of_life"]),
        ("Reason of the correction", data["correction_reason"])) if value]
    return calm.table(("", ""), rows) if rows else ""


def still(book: ReadingsBook, j: Judgement) -> str:
    """The whole page without widgets."""
    rows = []
    for topic in TOPICS:
        for e, s in zip(book.entries, j.rows, strict=True):
            if topic_of(e.what) == topic:
                rows.append((topic, e.cells["row"], e.title, e.limit, e.clause, e.cells["reading"] or "blank",
                             e.cells["time"], e.cells["by"], _words(s)))
    return (head(book) + unsaved(book) + verdict(j, book.kept.dirty) + overview(book, j) + calm.scrolling(calm.table(
        ("Topic", "Row", "What", "Limit", "Clause", "Reading", "Time", "By", "Against the limit"), rows),
        "Readings against their limits") + missing(j))


def _words(s: Standing) -> str:
    if s.word == UNREAD:
        return f"{s.word}: " + "; ".join(f"{f.field}: found {f.found}; allowed: {f.allowed}" for f in s.faults)
    if s.word == NOT_MET:
        return f"{s.word}: " + "; ".join(f"{x.title}: {x.found}, wanted {x.wanted}" for x in s.said)
    return s.word
