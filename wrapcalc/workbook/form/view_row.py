"""One question as a row of controls: the answer, its unit, where it comes from, and what is wrong with it below."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from typing import TYPE_CHECKING

import ipywidgets as w
from ipywidgets.widgets.widget_description import DescriptionStyle
from ipywidgets.widgets.widget_string import TextStyle

from wrapcalc.workbook import calm
from wrapcalc.workbook.form.draft import question_of
from wrapcalc.workbook.form.questions import NEEDED_FOR, SECTIONS, SOURCE_WORDS, in_other_words, joined, split

if TYPE_CHECKING:
    from wrapcalc.workbook.form.view import CaseForm

#: Seconds without a key after which what is typed is checked.
PAUSE = 0.4
_LABEL = {"description_width": "auto"}


class Shared:
    """Layouts that all rows share: each one of its own would cost the browser as much as a control."""

    def __init__(self) -> None:
        self.answer = w.Layout(width="19em")
        self.wide = w.Layout(width="calc(25em + 4px)")  # where there is no unit, so that sources stand in one column
        self.unit = w.Layout(width="6em")
        self.source = w.Layout(width="16em")
        self.kind = w.Layout(width="8em")
        self.line = w.Layout(flex_flow="row wrap", align_items="flex-end", overflow="visible")
        self.row = w.Layout(overflow="visible", margin="0 0 10px 0")
        self.text_style = TextStyle(**_LABEL)
        self.choice_style = DescriptionStyle(**_LABEL)


class Row:
    """The controls of one field. Nothing is kept here: what is typed goes to the draft, what is shown comes from it."""

    def __init__(self, form: CaseForm, field: str, *, options: Callable[[], Sequence[tuple[str, str]]] | None = None,
                 sheet: Callable[[str], str] | None = None):
        self.form, self.field, self.question = form, field, question_of(field)
        self._options, self._sheet = options, sheet
        self._loading = False
        self._apply = form.guarded(self._tell, self._put)
        shared = form.shared
        q = self.question
        width = shared.answer if q.units else shared.wide
        if options or q.words:
            self.answer = w.Dropdown(layout=width, style=shared.choice_style)
        else:
            self.answer = w.Text(placeholder=f"such as {q.example}" if q.example else "", layout=width,
                                 style=shared.text_style)
        self.answer.add_class("wb-form-answer")
        controls: list[w.Widget] = [self.answer]
        self.unit: w.Dropdown | None = None
        if q.units:
            self.unit = w.Dropdown(description="Unit", options=[("choose", ""), *((u, u) for u in q.units)],
                                   layout=shared.unit, style=shared.choice_style)
            controls.append(self.unit)
        self.source: w.Text | None = None
        self.kind: w.Dropdown | None = None
        if q.sourced:
            self.source = w.Text(description="Source", placeholder="where it comes from", layout=shared.source,
                                 style=shared.text_style)
            self.kind = w.Dropdown(description="Kind of source", options=SOURCE_WORDS, layout=shared.kind,
                                   style=shared.choice_style)
            controls += [self.source, self.kind]
        self.message = w.HTML()
        self.box = w.VBox([w.HBox(controls, layout=shared.line), self.message], layout=shared.row)
        self.box.add_class("wb-field")
        self.box.add_class("wb-field-" + field.replace(".", "-"))
        self.load()
        for control in (self.answer, self.unit, self.source, self.kind):
            if control is not None:
                control.observe(form.guarded(self._tell, self._changed), "value")

    # -- from the draft -----------------------------------------------------------------------------------------------
    def load(self) -> None:
        """Show what the draft holds; without this being taken for typing."""
        self._loading = True
        self.form.refused.pop(self.field, None)  # what was typed gives way to what the draft holds
        try:
            answer, q = self.form.draft.answer(self.field), self.question
            if isinstance(self.answer, w.Dropdown):
                self._offer(answer.text)
                self.answer.value = answer.text
            elif joined(self.answer.value, self.unit.value if self.unit else "") != answer.text:
                number, unit = split(answer.text, q.kind)
                self.answer.value = number
                if self.unit is not None:
                    self.unit.value = unit
            if self.source is not None and self.kind is not None:
                if " ".join(self.source.value.split()) != answer.source:
                    self.source.value = answer.source
                if answer.source_kind not in (v for _, v in SOURCE_WORDS):
                    self.kind.options = [*SOURCE_WORDS, (answer.source_kind, answer.source_kind)]
                self.kind.value = answer.source_kind
        finally:
            self._loading = False
        self.refresh()

    def _offer(self, text: str) -> None:
        given = list(self._options() if self._options else ((x, x) for x in self.question.words))
        offered = [("not answered", ""), *given]
        if text not in (v for _, v in offered):
            offered.append((f"{text[:60]} · not in this list", text))
        if tuple(offered) != tuple(self.answer.options):
            self.answer.options = offered

    def refresh(self) -> None:
        """Say what is wrong, and what the answer is for."""
        said = self.form.draft.checked
        need = NEEDED_FOR.get(said.needs.get(self.field, ""), "")
        number = f" {int(self.field.split('.')[1]) + 1}" if self.question.listed else ""
        where = f"{SECTIONS[self.question.section]}{number}: " if self.form.names_sections else ""
        label = f"{where}{self.question.asks}" + (f" ({need})" if need else "")
        if self.answer.description != label:
            self.answer.description = label
        faults = said.at.get(self.field, ())
        text = self.form.draft.answer(self.field).text
        html = self.form.refused.get(self.field) or "".join(calm.fault(f, with_field=False) for f in faults)
        other = "" if html else in_other_words(self.question, text)
        html += f'<span class="wb-quiet">{escape(other)}</span>' if other else ""
        if self._sheet is not None:
            html += self._sheet(text)
        self._say(html)

    def _say(self, html: str) -> None:
        value = calm.page(html) if html else ""
        if self.message.value != value:
            self.message.value = value

    def _tell(self, html: str) -> None:
        self._say(html)

    # -- to the draft -------------------------------------------------------------------------------------------------
    def _changed(self, change: dict) -> None:
        if self._loading:
            return
        if change["owner"] is self.unit and self.unit is not None:
            self._drop_typed_unit()
        typed = isinstance(change["owner"], w.Text)
        self.form.later(self.field, self._apply, PAUSE if typed else 0)

    def _drop_typed_unit(self) -> None:
        """The unit that was chosen holds: one that was typed behind the number goes. The number itself stays."""
        number, unit = split(self.answer.value, self.question.kind)
        if unit and number:
            self._loading = True
            self.answer.value = number
            self._loading = False

    def _put(self) -> None:
        text = str(self.answer.value or "")
        if self.unit is not None:
            number, typed = split(text, self.question.kind)
            if typed and number and self.unit.value != typed:
                self._loading = True
                self.unit.value = typed
                self._loading = False
            text = joined(text, self.unit.value)
        self._take(text)
        self.form.refresh()

    def _take(self, text: str) -> None:
        """Give it to the draft. What the draft refuses stays in the control, and its message until it is mended."""
        def take() -> None:
            self.form.draft.set(self.field, self._as_it_was(text), self.source.value if self.source else None,
                                self.kind.value if self.kind else None)
        self.form.refused.pop(self.field, None)
        self.form.guarded(lambda html: self.form.refused.update({self.field: html}), take)()

    def _as_it_was(self, text: str) -> str:
        """The text of the draft where number and unit are still the ones that it was shown as."""
        before = self.form.draft.answer(self.field).text
        kind = self.question.kind
        return before if split(before, kind) == split(text, kind) else text
