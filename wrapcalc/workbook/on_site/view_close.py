"""The readings of a repair as widgets: topic by topic, each row against its limit at once, the verdict as they come."""

from __future__ import annotations

import re
from typing import Any

import ipywidgets as w

from wrapcalc.case.readings import WHATS
from wrapcalc.errors import CaseFaults, PackageError
from wrapcalc.workbook import calm
from wrapcalc.workbook.kept import ChangedOnDisk
from wrapcalc.workbook.on_site import pages_close as pages
from wrapcalc.workbook.on_site.book import BY_HAND, Judgement, ReadingsBook
from wrapcalc.workbook.on_site.style import beside, button, field, head, html, inner, quiet, show
from wrapcalc.workbook.on_site.topics import TOPICS, answers, hint, topic_of
from wrapcalc.workbook.shown import Shown

#: So many rows are on the page at a time: a long log stays quick.
PAGE = 12
#: Width of a field, and of the label in it.
_WIDTHS = {"time": ("20em", "7em"), "by": ("19em", "6em"), "instrument": ("21em", "10em"), "remark": ("30em", "8em"),
           "where": ("24em", "8em")}


class CloseView(calm.View):
    """The page of the readings of one package."""

    def __init__(self, book: ReadingsBook):
        self.book, self._first, self._standing = book, 0, {}
        self.judgement: Judgement = book.judge()
        self._told, self._state, self._verdict, self._overview, self._which = (
            html(c) for c in ("wb-told", "wb-state", "wb-close-verdict", "wb-overview", "wb-which"))
        tell = self._tell
        self._save = button("Save the readings", self._on_save, tell, primary=True)
        self._over = button("Save over what is on disk", lambda: self._on_save(over=True), tell)
        self._drop = button("Drop what was typed", self._on_drop, tell)
        self._write = button("Write the close-out", self._on_ask, tell)
        self._really = button("Yes, write it beside the package", self._on_write, tell)
        self._topic = field(w.Dropdown(options=list(TOPICS)), "Topic", "24em", "5em")
        self._topic.observe(calm.told(tell)(lambda _: self._turn(0)), "value")
        self._earlier = button("Earlier rows", lambda: self._turn(self._first - PAGE), tell)
        self._later = button("Later rows", lambda: self._turn(self._first + PAGE), tell)
        self._what = field(w.Dropdown(options=list(TOPICS["Repair and people"])), "One more row of", "26em", "9em")
        self._where = field(w.Text(), "Where", "24em", "4em")
        self._add = button("Add the row", self._on_add, tell)
        self._upload = w.FileUpload(accept=".csv,.xlsx", description="Load readings (CSV or XLSX)",
                                    layout=w.Layout(width="auto"))
        self._upload.observe(calm.told(tell)(self._on_upload), "value")
        self._rows, self._missing = w.VBox(), html("wb-missing")
        self.box = w.VBox([
            head("wb-head", pages.head(book)), self._state, self._verdict, self._overview,
            beside(self._save, self._over, self._drop, self._upload, self._write, self._really, margin="8px 0"),
            self._told,
            beside(self._topic, self._earlier, self._later, self._which, margin="8px 0"), self._rows,
            beside(self._what, self._where, self._add, margin="8px 0"), self._missing])
        for name in ("wb-view", "wb-close"):
            self.box.add_class(name)
        self._turn(0)

    # -- the page ------------------------------------------------------------------------------------------------
    def _turn(self, first: int) -> None:
        """Show the rows of the topic from the first one on."""
        topic = self._topic.value
        if tuple(self._what.options) != TOPICS[topic]:
            self._what.options = TOPICS[topic]
        mine = [i for i, e in enumerate(self.book.entries) if topic_of(e.what) == topic]
        self._first = first if 0 <= first < len(mine) else 0
        page = mine[self._first:self._first + PAGE]
        self._standing = {}
        self._rows.children = [self._row(i) for i in page]
        self._earlier.disabled, self._later.disabled = self._first == 0, self._first + PAGE >= len(mine)
        show(self._which, quiet(f"rows {self._first + 1} to {self._first + len(page)} of {len(mine)}"))
        self._refresh()

    def _row(self, i: int) -> w.VBox:
        e = self.book.entries[i]
        words = answers(e.what)
        value = e.cells["reading"]
        if words and value in ("", *words):
            reading = w.Dropdown(options=[("not read", ""), *((x, x) for x in words)], value=value)
        else:
            reading = w.Text(value=value, continuous_update=False)
        field(reading, f"{e.title} ({hint(e.what, self.book.opened.display)})", "30em", "18em")
        controls = {"reading": reading}
        # Where the repair does not say the place itself, such as the number of a non-conformance, it is written here.
        placed = e.what in WHATS and WHATS[e.what].where and not e.needed
        for column in (*(("where",) if placed else ()), *BY_HAND[1:]):
            control = w.Text(value=e.cells[column], continuous_update=False)
            controls[column] = field(control, f"{column.capitalize()}, row {e.cells['row']}", *_WIDTHS[column])
        for column, control in controls.items():
            control.observe(calm.told(self._tell)(self._typed(i, column)), "value")
        below = html("wb-standing-of")
        self._standing[i] = below
        out = w.VBox([html("wb-row-head", inner(pages.row_head(e))),
                      beside(*controls.values()), below],
                     layout=w.Layout(margin="6px 0"))
        out.add_class(f"wb-row-{re.sub('[^A-Za-z0-9]', '-', e.cells['row'])}")
        return out

    def _typed(self, i: int, column: str) -> Any:
        def typed(change: Any) -> None:
            try:
                self.book.put(i, column, change["new"])
            except CaseFaults:  # not taken: the field shows what is
                change["owner"].value = self.book.entries[i].cells[column]
                raise
            finally:
                self._tell("")
                self._judge()
        return typed

    def _judge(self) -> None:
        """Everything anew, from what is typed."""
        self.judgement = self.book.judge()
        self._refresh()

    def _refresh(self) -> None:
        j, kept = self.judgement, self.book.kept
        for i, below in self._standing.items():
            show(below, pages.standing(j.rows[i]))
        changed = bool(kept.changed())
        show(self._state, pages.unsaved(self.book))
        show(self._verdict, pages.verdict(j, kept.dirty))
        show(self._missing, pages.missing(j))
        show(self._overview, pages.overview(self.book, j))
        self._save.disabled = changed or not (kept.dirty or kept.saved is None)
        self._over.layout.display = "" if changed else "none"
        self._drop.disabled = not (kept.dirty or changed)
        nothing_new = j.judged is None or j.judged.closed is None
        self._write.disabled = kept.dirty or changed or kept.saved is None or nothing_new
        self._really.layout.display = "none"

    def _tell(self, message: str) -> None:
        show(self._told, message)

    # -- what the user does --------------------------------------------------------------------------------------
    def _on_save(self, over: bool = False) -> None:
        try:
            self.book.save(over=over)
        except ChangedOnDisk:
            self._refresh()
            raise
        self._judge()
        self._tell(calm.message("Done", f"saved: {self.book.kept.path}."))

    def _on_drop(self) -> None:
        self.book.reopen()
        self.judgement = self.book.judge()
        self._turn(0)
        self._tell(calm.message("Done", "what was typed and not saved is dropped; this is what is on disk."))

    def _on_add(self) -> None:
        if self._what.value not in WHATS:
            raise PackageError("choose what is read, then add the row")
        self.book.add(self._what.value, self._where.value)
        self._where.value = ""
        self.judgement = self.book.judge()
        mine = [i for i, e in enumerate(self.book.entries) if topic_of(e.what) == self._topic.value]
        self._turn((len(mine) - 1) // PAGE * PAGE)
        self._tell(calm.message("Done", "the row stands last."))

    def _on_upload(self, change: Any) -> None:
        for file in change["new"]:
            count = self.book.load(bytes(file["content"]), str(file["name"]))
            self.judgement = self.book.judge()
            self._turn(0)
            self._tell(calm.message("Done", f"{count} readings of {file['name']} are in the table, in place of what "
                                    "stood there; they are not saved yet."))

    def _on_ask(self) -> None:
        self._judge()
        j = self.judgement.judged
        if j is None:
            raise PackageError(f"there is no verdict to be written: {self.judgement.why}")
        self._tell(calm.message("Warning", f"this writes close-out {j.before.number + 1} of {self.book.opened.name} "
                                f"beside the package, with the verdict '{j.data['verdict']}'. It is sealed: it can be "
                                "followed by another one, never changed.",
                                "Press the button “Yes, write it beside the package”."))
        self._really.layout.display = ""

    def _on_write(self) -> None:
        self._really.layout.display = "none"
        result = self.book.write()
        self._judge()
        self._tell(calm.message("Done", f"{result.lines[0]}."))

    def still(self) -> Shown:
        """The page without widgets."""
        page = pages.still(self.book, self.judgement)
        return Shown(calm.page(page), re.sub(r"<[^>]+>", " ", page))
