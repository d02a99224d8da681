"""The widgets of the bench. Whatever is typed or moved goes to the model at once; the latest counts.

A slider sends its next place only when the kernel has answered the one before (ipywidgets holds back all but the
latest), so that a drag never queues up: each answer is worked inside the call of its slider. What takes longer, the
assessment curve, waits until the slider rests and gives way to any newer place.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import ipywidgets as widgets

from wrapcalc.errors import CaseFaults, WrapcalcError
from wrapcalc.workbook import calm
from wrapcalc.workbook.bench import pages
from wrapcalc.workbook.bench.answers import Answer
from wrapcalc.workbook.bench.bench import Bench
from wrapcalc.workbook.bench.inputs import Choice, Raw, Slider
from wrapcalc.workbook.shown import Shown

#: Seconds that a slider must rest until the rest is worked out.
_REST = 0.03
#: Names of controls wrap. What a reader looks a check up by, and whether it is met, stay in one piece. Whatever is
#: scrolled to, as by the keyboard, leaves room for what is told below it.
_STYLE = """<style>
.wb-what-if .widget-label { white-space: normal; text-align: left; line-height: 1.25; height: auto; }
.wb-what-if :is(.widget-text, .widget-dropdown) { height: auto; }
.wb-what-if .widget-dropdown select { height: 28px; }
.wb-what-if :is(input, button) { scroll-margin-bottom: 8em; }
.wb-what-if .wb-bench-answer .wb-scroll table { table-layout: auto !important; }
.wb-what-if .wb-bench-answer .wb-scroll :is(td:first-child, .wc-verdict) { white-space: nowrap; }
</style>"""


class BenchView(calm.View):
    """The page of the bench."""

    def __init__(self, bench: Bench):
        self.bench = bench
        self._silent, self._run, self._bad = False, 0, dict[str, CaseFaults]()
        self._waiting: asyncio.TimerHandle | None = None
        self._known: dict[str, Answer | WrapcalcError] = {}
        # What a button tells stands beside it: the page is longer than the window.
        self._said, self._said_of_pins, self._said_of_saving = (
            _html(f"wb-bench-said{of}") for of in ("", "-of-pins", "-of-saving"))
        self._answer, self._figures, self._compare, self._full = (
            _html(f"wb-bench-{n}-box") for n in ("answer", "figures", "compare", "full"))
        self._rows = {i.field: _Row(i, self._moved, self._tell) for i in bench.inputs.values()}
        self._pin_buttons = widgets.HBox(layout=widgets.Layout(flex_flow="row wrap"))
        self.box = self._built()
        self._first()

    # -- the page -------------------------------------------------------------------------------------------------
    def _built(self) -> widgets.Widget:
        moved = widgets.VBox([r.box for r in self._rows.values()],
                             layout=widgets.Layout(max_height="46em", overflow="auto", display="block"))
        back, whole = self._button("Back to the case", self._back), self._button("Work out in full", self._all)
        buttons = widgets.HBox([back, whole], layout=widgets.Layout(flex_flow="row wrap"))
        head = "<h3>What may be moved</h3><p class='wb-quiet'>All pressures are gauge.</p>"
        left = widgets.VBox([_html("", _STYLE + calm.page(head)), moved, buttons],
                            layout=widgets.Layout(width="400px", min_width="400px"))
        right = widgets.VBox([self._said, self._answer], layout=widgets.Layout(flex="1 1 340px", min_width="0"))
        top = widgets.HBox([left, right], layout=widgets.Layout(flex_flow="row wrap"))
        self._note = widgets.Text(description="What this variant is for", **_wide())
        pin = widgets.HBox([self._note, self._button("Pin this variant", self._pin, self._tell_of_pins)],
                           layout=widgets.Layout(flex_flow="row wrap"))
        self._id = widgets.Text(description="Name of the new case", **_wide())
        self._reason = widgets.Text(description="Reason, for the reviewer", **_wide())
        save = widgets.VBox([self._id, self._reason, self._button("Save as a new case", self._save,
                                                                  self._tell_of_saving), self._said_of_saving])
        box = widgets.VBox([
            top, self._figures, self._full,
            _html("", calm.page("<h3>Pinned variants</h3>")), pin, self._said_of_pins,
            self._pin_buttons, self._compare,
            _html("", calm.page("<h3>Save a variant as a case</h3>")), save])
        for name in ("wb-view", "wb-what-if"):
            box.add_class(name)
        return box

    def _button(self, words: str, does: Callable[[], None],
                tell: Callable[[str], None] | None = None) -> widgets.Button:
        button = widgets.Button(description=words, layout=widgets.Layout(width="auto", align_self="flex-start"))
        button.on_click(calm.told(tell or self._tell)(lambda _: does()))
        return button

    def _tell(self, html: str) -> None:
        self._tell_at(self._said, html)

    def _tell_of_pins(self, html: str) -> None:
        self._tell_at(self._said_of_pins, html)

    def _tell_of_saving(self, html: str) -> None:
        self._tell_at(self._said_of_saving, html)

    def _tell_at(self, where: widgets.HTML, html: str) -> None:
        """Say it there, and nothing elsewhere: only the last message counts."""
        for place in (self._said, self._said_of_pins, self._said_of_saving):
            place.value = calm.page(html) if place is where else ""

    def _first(self) -> None:
        self._work(at_once=True)
        self._show_pins()
        if self.bench.pins_fault is not None:
            self._tell(calm.messages(self.bench.pins_fault) + calm.message(
                "Warning", "nothing can be pinned until that file is in order"))
        elif self.bench.pins_moved_on():
            self._tell(calm.message("Warning", "the case, or a file beside it, has changed since these variants were "
                                    "pinned; they were worked again from what stands there now."))

    # -- moving ---------------------------------------------------------------------------------------------------
    def _moved(self, field: str, value: Raw) -> None:
        """Called by a row: something else stands in a field now. The page tells a move more than once; one counts."""
        if self._silent or (field not in self._bad and value == self.bench.now(field)):
            return
        # What was said of a pin or a save stays until the next one: the page may tell a move after the click behind it.
        try:
            self._bad.pop(field, None)
            self.bench.put(field, value)
            with self._quiet():
                self._rows[field].show(value)
        except CaseFaults as e:
            self._bad[field] = e
        self._work()

    @contextmanager
    def _quiet(self) -> Iterator[None]:
        """What is set inside is set by us and moves nothing."""
        self._silent = True
        try:
            yield
        finally:
            self._silent = False

    def _show_all(self) -> None:
        with self._quiet():
            for field, row in self._rows.items():
                row.show(self.bench.now(field))
        self._bad.clear()

    def _work(self, *, at_once: bool = False) -> None:
        """Answer what is moved now, and draw it."""
        self._run += 1
        self._full.value = ""
        if self._waiting is not None:
            self._waiting.cancel()
        try:
            if self._bad:
                raise CaseFaults([f for e in self._bad.values() for f in e.faults])
            a = self.bench.answer()
            answered, figures = pages.answered(self.bench, a, run=self._run), a.figures()
        except WrapcalcError as e:
            self._refuse(e)
            return
        for row in self._rows.values():
            row.fault("")
        more = a.outcome.assessment is not None and a.outcome.assessment.governing is not None
        self._answer.value = answered
        if at_once:
            self._figures.value = pages.drawn(figures, a.curve())
            return
        self._figures.value = pages.drawn(figures, None, waiting=more)
        if more:
            self._later(lambda: self._draw(a, figures))

    def _draw(self, a: Answer, figures: dict[str, str]) -> None:
        self._figures.value = pages.drawn(figures, a.curve())

    def _refuse(self, e: WrapcalcError) -> None:
        self._answer.value = pages.refused(self.bench, e, run=self._run)
        self._figures.value = pages.page("<p>No figures.</p>", "figures")
        for field, row in self._rows.items():
            row.fault(pages.at_field(e, field) if isinstance(e, CaseFaults) else "")

    def _later(self, does: Callable[[], None]) -> None:
        """Do it when nothing newer has come for a while; at once where no loop runs."""
        does = calm.told(self._tell)(does)
        try:
            self._waiting = asyncio.get_running_loop().call_later(_REST, does)
        except RuntimeError:
            does()

    # -- buttons --------------------------------------------------------------------------------------------------
    def _back(self) -> None:
        self.bench.put_all({})
        self._show_all()
        self._work()

    def _all(self) -> None:
        if self._bad:
            raise CaseFaults([f for e in self._bad.values() for f in e.faults])
        self._full.value = pages.page("<p>Working …</p>", "full")
        try:
            self._full.value = pages.full(self.bench.in_full())
        except WrapcalcError:
            self._full.value = ""
            raise

    def _pin(self) -> None:
        if self._bad:
            raise CaseFaults([f for e in self._bad.values() for f in e.faults])
        pin = self.bench.pin(self._note.value)
        self._note.value = ""
        self._show_pins()
        self._tell_of_pins(calm.message("Done", f"variant {pin.name} is pinned and kept beside the case."))

    def _unpin(self, name: str) -> None:
        self.bench.unpin(name)
        self._show_pins()
        self._tell_of_pins(calm.message("Done", f"variant {name} is no longer pinned."))

    def _put_back(self, name: str) -> None:
        pin = self.bench.pins.named(name)
        if pin is not None:
            before = dict(self.bench.changes)
            try:
                self.bench.put_all(pin.changes)
                self._show_all()
            except Exception:  # a control that cannot show it: the page goes on as it was, and the caller tells it
                self.bench.put_all(before)
                self._show_all()
                raise
            self._work()

    def _save(self) -> None:
        if self._bad:
            raise CaseFaults([f for e in self._bad.values() for f in e.faults])
        path = self.bench.save(self._id.value, self._reason.value)
        self._tell_of_saving(calm.message(
            "Done", f"{path.name} was written beside {self.bench.stated.name}. It is a case of its own: what was moved "
            "stands there as assumed, with your reason."))

    # -- pins -----------------------------------------------------------------------------------------------------
    def _show_pins(self) -> None:
        buttons = []
        for pin in self.bench.pins.pins:
            buttons += [self._button(f"Put {pin.name} on the sliders", lambda n=pin.name: self._put_back(n),
                                     self._tell_of_pins),
                        self._button(f"Unpin {pin.name}", lambda n=pin.name: self._unpin(n), self._tell_of_pins)]
        self._pin_buttons.children = buttons
        self._compare.value = pages.compared(self.bench, self.columns())

    def columns(self) -> list[pages.Column]:
        """The case as stated and every pinned variant, worked out once."""
        wanted: list[tuple[str, dict[str, Raw], str]] = [("Case as stated", {}, "")]
        wanted += [(p.name, dict(p.changes), p.note) for p in self.bench.pins.pins]
        return [(name, self._worked(changes), changes, note) for name, changes, note in wanted]

    def _worked(self, changes: dict[str, Raw]) -> Answer | WrapcalcError:
        key = repr(sorted(changes.items()))
        if key not in self._known:
            self._known[key] = self.bench.of(changes)
        return self._known[key]

    # -- without widgets ------------------------------------------------------------------------------------------
    def still(self) -> Shown:
        """The case as stated and the pinned variants: what stands in files."""
        columns = self.columns()
        first = columns[0][1]
        html = pages.case_as_stated(self.bench, first) + pages.compared(self.bench, columns)
        lines = [pages.MARK, *(f"{name}: " + (a.record["decision"]["sentence"] if isinstance(a, Answer) else str(a))
                               for name, a, _, _ in columns)]
        return Shown(html, "\n".join(lines))


class _Row:
    """The controls of one input: exact entry and slider, or a list of words; below it the place for its fault."""

    def __init__(self, one: Slider | Choice, moved: Callable[[str, Raw], None], tell: Callable[[str], None]):
        self.one, self._fault = one, _html("wb-bench-fault")
        guarded = calm.told(tell)
        if isinstance(one, Slider):
            self.text = widgets.Text(value=one.as_stated, description=one.label, continuous_update=False, **_wide())
            self.slider = widgets.FloatSlider(value=one.base, min=one.low, max=one.high, step=one.step, readout=False,
                                              tooltip=f"{one.name}: {one.span()}", disabled=one.low == one.high,
                                              layout=widgets.Layout(width="95%"))
            self.text.observe(guarded(lambda e: moved(one.field, e["new"])), "value")
            self.slider.observe(guarded(lambda e: moved(one.field, one.text(e["new"]))), "value")
            parts = [self.text, self.slider, _html("", pages.span(one)), self._fault]
        else:
            self.list = widgets.Dropdown(options=one.options, value=one.as_stated, description=one.name, **_wide())
            self.list.observe(guarded(lambda e: moved(one.field, e["new"])), "value")
            parts = [self.list, self._fault]
        self.box = widgets.VBox(parts)
        self.box.add_class(f"wb-in-{one.field.replace('.', '-').replace('_', '-')}")

    def show(self, value: Raw) -> None:
        """Show what stands in the field now; beyond its span the slider stands at its end."""
        if isinstance(self.one, Slider):
            place = min(max(self.one.place(str(value)), self.one.low), self.one.high)
            self.text.value = str(value)
            # Not set to what is the same but for its last digit: the page would tell it as a move.
            if abs(self.slider.value - place) > self.one.step / 1000:
                self.slider.value = place
        else:
            self.list.value = value

    def fault(self, html: str) -> None:
        """What is wrong with it; "" where nothing is."""
        if self._fault.value != html:
            self._fault.value = html


def _html(name: str, value: str = "") -> widgets.HTML:
    out = widgets.HTML(value)
    if name:
        out.add_class(name)
    return out


def _wide() -> dict[str, Any]:
    return {"style": {"description_width": "58%"}, "layout": widgets.Layout(width="95%", max_width="640px")}
