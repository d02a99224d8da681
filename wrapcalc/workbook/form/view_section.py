"""A section of the form: what is needed first, the rest behind one button; rows of a list with add and remove."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from typing import TYPE_CHECKING

import ipywidgets as w

from wrapcalc.workbook import calm
from wrapcalc.workbook.form.questions import SECTIONS, questions

if TYPE_CHECKING:
    from wrapcalc.workbook.form.view import CaseForm


class Section:
    """The questions of one section that is no list."""

    def __init__(self, form: CaseForm, section: str):
        self.form, self.section = form, section
        self._first: list[str] = []
        self._all = False
        self._more = w.Button(layout=w.Layout(width="auto"))
        self._more.on_click(form.guarded(form.tell, self._toggle))
        self._heading = w.HTML(calm.page(f"<h3>{escape(SECTIONS[section])}</h3>"))
        self.box = w.VBox(layout=w.Layout(overflow="visible"))
        self.refresh()

    def refresh(self) -> None:
        """Bring what became needed or faulty into view. Nothing in view goes away or moves: somebody types there."""
        fields = self.form.draft.fields(self.section)
        first = [f for f in fields if f in self._first or self._comes_first(f)]
        if not self.box.children or (first != self._first and not self._all):
            self._first = first
            self._lay(fields)
        for f in (fields if self._all else first):
            self.form.row(f).refresh()

    def _comes_first(self, field: str) -> bool:
        draft = self.form.draft
        said = draft.checked
        return (field in said.needs or field in said.at or field in self.form.refused
                or questions()[field].need == "site" or not draft.answer(field).blank)

    def _lay(self, fields: Sequence[str]) -> None:
        rest = [f for f in fields if f not in self._first]
        self._more.description = (f"Hide {len(rest)} optional questions" if self._all else
                                  f"Show {len(rest)} more questions, which are optional")
        shown = [self.form.row(f).box for f in self._first]
        note = [] if shown else [w.HTML(calm.page('<p class="wb-quiet">Nothing is needed here.</p>'))]
        more = ([self._more] if rest else []) + ([self.form.row(f).box for f in rest] if self._all else [])
        self.box.children = [self._heading, *note, *shown, *more]

    def _toggle(self, _: object) -> None:
        self._all = not self._all
        fields = self.form.draft.fields(self.section)
        self._first = [f for f in fields if f in self._first or self._comes_first(f)]
        self._lay(fields)


class Listed:
    """A list of tables: its rows one below the other."""

    def __init__(self, form: CaseForm, section: str):
        self.form, self.section = form, section
        self._shown = -1
        self._add = w.Button(description=f"Add to {SECTIONS[section].lower()}", layout=w.Layout(width="auto"))
        self._add.on_click(form.guarded(form.tell, self._added))
        self._heading = w.HTML(calm.page(f"<h3>{escape(SECTIONS[section])}</h3>"))
        self._told = w.HTML()
        self.box = w.VBox(layout=w.Layout(overflow="visible"))
        self.refresh()

    def refresh(self) -> None:
        """Show as many rows as there are."""
        count = self.form.draft.rows(self.section)
        if count != self._shown:
            self._shown = count
            self._lay(count)
        said = self.form.draft.checked.at
        whole = [f for field, faults in said.items() if field == self.section or (
            field.startswith(f"{self.section}.") and field.count(".") == 1) for f in faults]
        html = "".join(calm.fault(f) for f in whole)
        self._told.value = calm.page(html) if html else ""
        for field in self.form.draft.fields(self.section):
            self.form.row(field).refresh()

    def _lay(self, count: int) -> None:
        parts: list[w.Widget] = [self._heading, self._told]
        keys = [q.key for q in questions().values() if q.section == self.section]
        if not count:
            parts.append(w.HTML(calm.page('<p class="wb-quiet">None is stated.</p>')))
        for i in range(count):
            remove = w.Button(description=f"Remove number {i + 1}", layout=w.Layout(width="auto"))
            remove.on_click(self.form.guarded(self.form.tell, self._removal(i)))
            head = w.HBox([w.HTML(calm.page(f"<b>Number {i + 1}</b>")), remove], layout=w.Layout(align_items="center"))
            parts += [head, *(self.form.row(f"{self.section}.{i}.{k}").box for k in keys)]
        self.box.children = [*parts, self._add]

    def _added(self, _: object) -> None:
        self.form.flush()
        self.form.draft.add_row(self.section)
        self.form.refresh()

    def _removal(self, index: int) -> Callable[[object], None]:
        def remove(_: object) -> None:
            self.form.flush()
            self.form.all_taken(f"{self.section}.")  # the rows are shown anew: what is typed would go unsaid
            self.form.draft.drop_row(self.section, index)
            self._shown = -1
            self.form.reload(f"{self.section}.")
            self.form.refresh()
        return remove


class Found:
    """Questions from several sections: what a search found, or what is missing and faulty."""

    def __init__(self, form: CaseForm, heading: str, fields: Sequence[str], note: str = "", faults: str = ""):
        self._fields, self.form = list(fields), form
        top = f"<h3>{escape(heading)}</h3>" + faults + (f'<p class="wb-quiet">{escape(note)}</p>' if note else "")
        self.box = w.VBox([w.HTML(calm.page(top)), *(form.row(f).box for f in fields)],
                          layout=w.Layout(overflow="visible"))

    def refresh(self) -> None:
        """What is wrong with each of them now."""
        for f in self._fields:
            self.form.row(f).refresh()
