"""The review notebook as widgets. It holds no engineering and no state: what counts stands in the review's file."""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets as w

from wrapcalc.errors import PackageError
from wrapcalc.package.review import typed_name
from wrapcalc.package.review_lines import ANSWER, BACK, CHECKED, CLOSED, COMMENT, QUERY, WHOLE
from wrapcalc.package.review_sheet import called, when
from wrapcalc.workbook import calm
from wrapcalc.workbook.reviewer import pages
from wrapcalc.workbook.reviewer.model import ALL, FILTERS, Desk
from wrapcalc.workbook.shown import Shown

_WIDE = {"description_width": "initial"}


class ReviewView(calm.View):
    """A package, its steps on the left, one step with all that belongs to it on the right."""

    def __init__(self, desk: Desk):
        self.desk = desk
        self.current = desk.first()
        self._drafts = dict(desk.drafts.texts) if desk.drafts is not None else {}
        self._back: list[str] = []
        self._busy = False
        self._make()
        self.box = self._laid_out()
        self.box.add_class("wb-view").add_class("wb-review")
        self._list()
        self._show()
        self._tell(self._found_typed())
        self._wire()

    def still(self) -> Shown:
        """What stands in files: verification, changes, how far the review is, queries and comments."""
        return pages.still(self.desk)

    # -- controls --------------------------------------------------------------------------------------------------
    def _make(self) -> None:
        shut = self.desk.shut
        self.head = _html(pages.head(self.desk), "wb-review-head")
        self.changes = _html(pages.changes(self.desk), "wb-review-changes")
        self.who = w.Combobox(description="Reviewer", placeholder="your full name", options=self._known_names(),
                              ensure_option=False, style=_WIDE, disabled=shut, continuous_update=True)
        self.who_fault = _html(f'<span class="wb-quiet">{pages.TYPED}</span>', "wb-review-who")
        self.progress = _html("", "wb-review-progress")
        self.narrow = w.Dropdown(description="Show", options=[(t.capitalize(), t) for t in FILTERS], value=ALL,
                                 style=_WIDE, layout=w.Layout(width="auto"))
        self.heading = w.Dropdown(description="Heading", options=[("All headings", ""), *(
            (h, h) for h in self.desk.headings)], value="", style=_WIDE, layout=w.Layout(width="auto"))
        self.steps = w.Select(description="Steps", rows=22, style=_WIDE, layout=w.Layout(width="auto"))
        self.steps.add_class("wb-review-steps")
        self.panel = _html("", "wb-review-step")
        self.go_to = w.Box([], layout=w.Layout(flex_flow="row wrap"))
        self.go_to.add_class("wb-review-goto")
        self.tick = _button("Mark as checked", shut, primary=True)
        self.go_on = w.Checkbox(description="then go to the next step", value=True, indent=False, disabled=shut)
        self.text = w.Textarea(self._drafts.pop(self.current, ""), description="Text", rows=3, style=_WIDE,
                               layout=w.Layout(width="auto"), disabled=shut,
                               placeholder="comment, query or answer; saved only by one of the buttons below",
                               continuous_update=True)
        self.comment, self.ask = _button("Save as comment", shut), _button("Raise as query", shut)
        self.query = w.Dropdown(description="Query", options=[], style=_WIDE, disabled=shut)
        self.answer, self.close = _button("Save as answer", shut), _button("Close the query", shut)
        self.said = _html("", "wb-review-said")
        self.sheet = _button("Write the review sheet", shut)
        self.sheet_said = _html("", "wb-review-sheet")
        self.before, self.next = _button("Previous step"), _button("Next step")
        self.next_left, self.back = _button("Next not looked at"), _button("Back to where you were")

    def _laid_out(self) -> w.Widget:
        left = w.VBox([self.narrow, self.heading, self.steps, _row(self.before, self.next),
                       _row(self.next_left, self.back)], layout=w.Layout(flex="0 0 340px"))
        self.on_query = _row(self.query, self.answer, self.close)
        right = w.VBox([self.panel, self.go_to, _row(self.tick, self.go_on), self.text, _row(self.comment, self.ask),
                        self.on_query, self.said], layout=w.Layout(flex="1 1 0%", min_width="0", padding="0 0 0 12px"))
        return w.VBox([self.head, self.changes, _row(self.who, self.who_fault), self.progress,
                       w.HBox([left, right]), _row(self.sheet), self.sheet_said])

    def _wire(self) -> None:
        tell = self._tell
        for widget, act in ((self.narrow, self._list), (self.heading, self._list), (self.steps, self._chosen),
                            (self.who, self._named), (self.text, self._keep)):
            widget.observe(self._heard(calm.told(tell)(act)), "value")
        for button, act in (
                (self.before, lambda: self._move(-1)), (self.next, lambda: self._move(1)),
                (self.next_left, self._to_next_left), (self.back, self._go_back), (self.tick, self._tick),
                (self.comment, lambda: self._say(COMMENT)), (self.ask, lambda: self._say(QUERY)),
                (self.answer, lambda: self._say(ANSWER)), (self.close, lambda: self._say(CLOSED))):
            button.on_click(self._heard(calm.told(tell)(act)))
        self.sheet.on_click(self._heard(calm.told(self._tell_sheet)(self._write_sheet)))

    def _heard(self, act: Callable[[], object]) -> Callable[[object], None]:
        """A callback that needs nothing of what the widget tells it, and waits for the one that is running."""
        def heard(_: object) -> None:
            with calm.ONE_AT_A_TIME:
                act()
        return heard

    # -- where we are ------------------------------------------------------------------------------------------------
    def _list(self) -> None:
        """Fill the list anew; the step in hand stays in it."""
        listed = self.desk.shown(self.narrow.value, self.heading.value, keep=self.current)
        self._busy = True
        try:
            self.steps.options = self.desk.labels(listed)
            self.steps.value = self.current
        finally:
            self._busy = False
        self.progress.value = pages.framed(pages.progress(self.desk))

    def _chosen(self) -> None:
        if not self._busy and self.steps.value is not None and self.steps.value != self.current:
            self._to(self.steps.value)

    def _move(self, by: int) -> None:
        self._to(self.desk.after([v for _, v in self.steps.options], self.current, by))

    def _to_next_left(self) -> None:
        item = self.desk.next_left(self.current)
        if item is None:
            self._tell(calm.message("Done", "Every step was looked at."))
        else:
            self._to(item)

    def _jump(self, item: str) -> None:
        self._back.append(self.current)
        self._to(item)

    def _go_back(self) -> None:
        if self._back:
            self._to(self._back.pop())

    def _to(self, item: str) -> None:
        if item == self.current:
            return
        if self.text.value.strip():
            self._drafts[self.current] = self.text.value
        self.current = item
        self.text.value = self._drafts.pop(item, "")
        self._list()
        self._show()
        self._tell(self._unsaved())

    def _unsaved(self) -> str:
        if not self._drafts:
            return ""
        named = ", ".join(called(i) for i in self._drafts)
        return calm.message("Note", f"Typed but not saved: the text on {named}.", "It is kept, and counts for nothing "
                            "until it is saved.")

    def _found_typed(self) -> str:
        """What an earlier kernel left, in words."""
        drafts = self.desk.drafts
        if drafts is None or not drafts.texts:
            return ""
        named = ", ".join(called(i) for i in sorted(drafts.texts))
        return calm.message("Note", f"Typed earlier{f' by {drafts.who}' if drafts.who else ''} and not saved: the text "
                            f"on {named}.", "It stands in its field again; save it, or take it out.")

    def _keep(self) -> None:
        """Put what is typed and not saved beside the review, the text of the step in hand too."""
        if self.desk.drafts is not None:
            self.desk.drafts.keep(self.who.value, {**self._drafts, self.current: self.text.value})

    def _show(self) -> None:
        """The step in hand, and the buttons that belong to it."""
        desk, item = self.desk, self.current
        self.panel.value = pages.framed(calm.scrolling(pages.step(desk, item), f"The step in hand: {called(item)}"))
        self._links()
        self._mine()
        self.tick.disabled = desk.shut or item == WHOLE
        open_ = [q for q in desk.queries(item) if q.closed is None]
        chosen = self.query.value
        self.query.options = [(f"Q{q.number}: {q.asked.text[:50]}", q.number) for q in open_]
        if open_:
            self.query.value = chosen if chosen in [q.number for q in open_] else open_[0].number
        self.on_query.layout.display = "flex" if open_ else "none"
        self.back.disabled = not self._back

    def _mine(self) -> None:
        mine = self.desk.ticked_by(self.current, self.who.value)
        self.tick.description = "Take my tick back" if mine else "Mark as checked"

    def _links(self) -> None:
        """Buttons to the steps that this one takes from and gives to."""
        for child in self.go_to.children:
            child.close()
        if self.current == WHOLE:
            self.go_to.children = ()
            return
        item, desk = self.desk.items[self.current], self.desk
        sources = dict.fromkeys(s.step for s in desk.sources.of(item) if s.step in desk.items)
        uses = dict.fromkeys(desk.sources.used_by.get(self.current, ()))
        made = [self._link(f"From {s}", s) for s in sources] + [self._link(f"To {s}", s) for s in uses]
        self.go_to.children = tuple(made)

    def _link(self, words: str, item: str) -> w.Button:
        button = w.Button(description=words, tooltip=self.desk.items[item]["title"], layout=w.Layout(width="auto"))
        button.on_click(self._heard(calm.told(self._tell)(lambda: self._jump(item))))
        return button

    # -- what is said ------------------------------------------------------------------------------------------------
    def _known_names(self) -> list[str]:
        return self.desk.review.people()

    def _named(self) -> None:
        """A name is looked at as it is typed; what is wrong with it stands beside it."""
        told = f'<span class="wb-quiet">{pages.TYPED}</span>'
        try:
            if len(self.who.value.strip()) > 1:
                typed_name("reviewer", self.who.value)
        except PackageError as e:
            told = calm.messages(e)
        self.who_fault.value = pages.framed(told)
        self._mine()

    def _tick(self) -> None:
        item, back = self.current, self.desk.ticked_by(self.current, self.who.value)
        further = self.desk.after([v for _, v in self.steps.options], item, 1)
        self._say(BACK if back else CHECKED)
        if self.go_on.value and not back and self.desk.ticked_by(item, self.who.value):
            told = self.said.value
            self._to(further)
            self.said.value = told

    def _say(self, act: str) -> None:
        """Save one line; it is on the disk when this returns."""
        with_text = act not in (CHECKED, BACK)
        others = self.desk.say(self.who.value, act, self.current, self.text.value if with_text else "",
                               self.query.value or 0 if act in (ANSWER, CLOSED) else 0)
        if with_text:
            self.text.value = ""
        self.who.options = self._known_names()
        self._list()
        self._show()
        last = self.desk.review.entries[-1]
        more = f" Others added {others} {'line' if others == 1 else 'lines'} meanwhile." if others else ""
        self._tell(calm.message("Done", f"Saved: {act} on {called(self.current)}, {last.who}, {when(last.at)}.{more}",
                                f"It stands in review/{self.desk.name}/comments.jsonl."))

    def _write_sheet(self) -> None:
        if self.text.value.strip() or self._drafts:
            raise PackageError("a text is typed but not saved; save it, or take it out, then write the sheet")
        self._tell_sheet(calm.message("Note", "The package is being verified again, and the sheet is being written."))
        self._tell_sheet(calm.message("Done", self.desk.write_sheet()))
        self.progress.value = pages.framed(pages.progress(self.desk))

    def _tell(self, html: str) -> None:
        self.said.value = pages.framed(html) if html else ""

    def _tell_sheet(self, html: str) -> None:
        self.sheet_said.value = pages.framed(html)


def _html(html: str, name: str) -> w.HTML:
    made = w.HTML(pages.framed(html) if html else "")
    made.add_class(name)
    return made


def _button(words: str, disabled: bool = False, *, primary: bool = False) -> w.Button:
    return w.Button(description=words, disabled=disabled, button_style="primary" if primary else "",
                    layout=w.Layout(width="auto"))


def _row(*children: w.Widget) -> w.Box:
    return w.Box(list(children), layout=w.Layout(flex_flow="row wrap", align_items="center"))
