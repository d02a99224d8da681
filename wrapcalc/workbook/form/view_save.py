"""The bar on top of the form: what is not saved, saving, and what the saved case gives."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

import ipywidgets as w

from wrapcalc.workbook import calm
from wrapcalc.workbook.form.draft import NeedsWord, listed, question_of
from wrapcalc.workbook.form.outcome import command, outcome

if TYPE_CHECKING:
    from wrapcalc.workbook.form.view import CaseForm

_MOST = 6


class SaveBar:
    """Save, save under another name, run."""

    def __init__(self, form: CaseForm):
        self.form = form
        self.state = w.HTML()
        self.state.add_class("wb-form-state")
        self.save = w.Button(description="Save", button_style="primary", layout=w.Layout(width="auto"))
        self.name = w.Text(description="File", value=form.draft.name, layout=w.Layout(width="20em"),
                           style={"description_width": "auto"})
        self.replace = w.Checkbox(description="Replace what stands there", indent=False,
                                  layout=w.Layout(display="none", width="auto"))
        self.run = w.Button(description="Run the saved case", layout=w.Layout(width="auto"))
        self.told = w.HTML()
        self.told.add_class("wb-form-told")
        self._of: object = None  # what the last message was about
        self._result = ""  # what running gave
        self.save.on_click(form.guarded(self._tell, self._saved))
        self.run.on_click(form.guarded(self._tell, self._ran))
        self.box = w.VBox([self.state, w.HBox([self.name, self.save, self.replace, self.run], layout=w.Layout(
            flex_flow="row wrap", align_items="center", overflow="visible")), self.told], layout=w.Layout(
                overflow="visible"))

    def hold(self, held: bool) -> None:
        """While something else is to be decided first, nothing is saved."""
        self.save.disabled = self.run.disabled = held

    def refresh(self) -> None:
        """What is not saved, and how the whole stands."""
        draft = self.form.draft
        said, unsaved = draft.checked, draft.unsaved()
        where = escape(str(draft.path))
        count = len(said.faults)
        whole = ("reads without faults" if said.reads else f"{count} fault{'s' if count > 1 else ''}")
        whole += (f"; needed and not answered: {len(said.for_decision)} for any decision, {len(said.for_wrap)} for a "
                  "wrap" if said.missing else "; all that is needed is answered" if said.reads else "")
        if not draft.on_disk:
            state = calm.message("Note", "a new case, not saved yet.", draft.not_kept)
        elif unsaved:
            names = ", ".join(asked(f) for f in unsaved[:_MOST])
            names += f" and {len(unsaved) - _MOST} more" if len(unsaved) > _MOST else ""
            state = calm.message("Note", f"not saved: {names}.", "" if draft.kept else
                                 draft.not_kept)
        else:
            state = "" if self.form.refused else '<div class="wb-quiet">All that was typed is saved.</div>'
        if refused := list(self.form.refused):
            state = calm.message("Warning", f"{len(refused)} answer{'s' if len(refused) > 1 else ''} cannot be taken "
                                 f"as typed: {listed([asked(f) for f in refused])}.",
                                 "Nothing is saved until that is mended at its field.") + state
        html = calm.page(f"<div><b>{where}</b>: {escape(whole)}.</div>{state}")
        if self.state.value != html:
            self.state.value = html
        if self.told.value and self._of != self._about():  # it was about an earlier state
            old = calm.message("Warning", "worked out before the last change.", "Save, then run again.")
            self._tell(old + self._result if self._result else "")

    def _tell(self, html: str) -> None:
        self._of = self._about()
        self.told.value = calm.page(html) if html else ""

    def _about(self) -> object:
        """What a message is about: the draft, and what is typed that it cannot take."""
        return self.form.draft.text, tuple(self.form.refused)

    def _ask_for_word(self, ask: bool) -> None:
        self.replace.layout.display = "" if ask else "none"
        if not ask:
            self.replace.value = False

    def _saved(self, _: object) -> None:
        form = self.form
        form.flush()
        form.all_taken()
        draft, self._result = form.draft, ""
        before, other = draft.name, self.name.value.strip()
        try:
            saved = draft.save(other if other != before else "", overwrite=self.replace.value)
        except NeedsWord:
            self._ask_for_word(True)
            raise
        finally:
            form.refresh()
        self._ask_for_word(False)
        self.name.value = draft.name
        form.refresh()
        remark = f" ({saved.remark})" if saved.remark else ""
        if draft.name != before:
            remark += f". This form goes on with {draft.name}; name it in the first cell to open it next time"
        if saved.faults:
            count = f"{saved.faults} fault{'s' if saved.faults > 1 else ''}"
            self._tell(calm.message("Done", f"saved {draft.name}{remark}.") + calm.message(
                "Warning", f"it does not read yet: {count}. It can be opened here and mended; until then nothing is "
                "worked out from it."))
        else:
            self._tell(calm.message("Done", f"saved {draft.name}; it reads without faults{remark}.")
                       + f"<p>To make its package: <code>{escape(command(saved.path))}</code></p>")

    def _ran(self, _: object) -> None:
        self.form.flush()
        draft = self.form.draft
        unsaved = len({*draft.unsaved(), *self.form.refused}) if draft.on_disk else 0
        warning = calm.message("Warning", f"{unsaved} answer{'s' if unsaved > 1 else ''} on this page "
                               f"{'are' if unsaved > 1 else 'is'} not saved and not in this result.") if unsaved else ""
        result = calm.scrolling(outcome(draft.path).html, "What the saved case gives")
        self._result = f'<div class="wb-form-outcome">{result}</div>'
        self._tell(warning + self._result)


def asked(field: str) -> str:
    """What a field asks, in words."""
    try:
        return question_of(field).asks
    except KeyError:
        return field
