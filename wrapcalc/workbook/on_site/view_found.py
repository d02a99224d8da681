"""The as-found sheet as widgets: fields with the prediction beside them, faults below them, the verdict at the end."""

from __future__ import annotations

import re
from typing import Any

import ipywidgets as w

from wrapcalc.case.as_found import Sighting
from wrapcalc.errors import CaseFaults, Fault, WrapcalcError
from wrapcalc.workbook import calm
from wrapcalc.workbook.kept import ChangedOnDisk
from wrapcalc.workbook.on_site import pages_found as pages
from wrapcalc.workbook.on_site.questions import Question
from wrapcalc.workbook.on_site.sheet import FoundSheet
from wrapcalc.workbook.on_site.style import beside, button, field, head, html, inner, quiet, show
from wrapcalc.workbook.shown import Shown


class FoundView(calm.View):
    """The page of one sheet."""

    def __init__(self, sheet: FoundSheet):
        self.sheet = sheet
        self._filling, self._said = False, ""
        self._fields: dict[str, tuple[Any, w.HTML]] = {}
        self._told, self._state, self._general = (html(c) for c in ("wb-told", "wb-state", "wb-general"))
        self._verdict, self._grid, self._grid_told = (html(c) for c in ("wb-found-verdict", "wb-grid", "wb-grid-told"))
        self._rows = w.VBox()
        self._save = button("Save the sheet", self._on_save, self._tell, primary=True)
        self._over = button("Save over what is on disk", self._on_save_over, self._tell)
        self._drop = button("Drop what was typed", self._on_drop, self._tell)
        self._judge = button("Judge the saved sheet", self._on_judge, self._tell)
        self._write = button("Write the verdict beside the package", self._on_write, self._tell)
        self._paste = w.Textarea(description="Depth grid, pasted from a spreadsheet; unit in the first cell", rows=4,
                                 layout=w.Layout(width="60em"), style={"description_width": "24em"})
        self._take = button("Take the pasted grid", self._on_paste, self._tell_grid)
        self._upload = w.FileUpload(accept=".csv", description="Load a depth grid (CSV)", layout=w.Layout(width="auto"))
        self._upload.observe(calm.told(self._tell_grid)(self._on_upload), "value")
        self._build()
        self.box = w.VBox([
            head("wb-head", pages.head(sheet)), self._state, self._general, self._rows,
            beside(self._save, self._over, self._drop, self._judge, self._write, margin="8px 0"),
            self._told, self._verdict])
        for name in ("wb-view", "wb-found"):
            self.box.add_class(name)
        self._refresh()
        calm.told(self._tell)(self._say_verdict)()

    # -- the page ------------------------------------------------------------------------------------------------
    def _build(self) -> None:
        """A field for every question, under the headings of the sheet."""
        self._fields, rows, title = {}, [], ""
        for q in self.sheet.questions:
            if q.title != title:
                if title == "Defect":
                    rows += [w.HBox([self._upload]), beside(self._paste, self._take), self._grid, self._grid_told]
                title = q.title
                rows.append(html("wb-title", inner(f"<h3>{title}</h3>")))
            control, below = self._control(q), html("wb-fault-of")
            self._fields[q.field] = control, below
            rows.append(w.VBox([beside(control, html("wb-beside", inner(quiet(q.beside)))), below]))
        self._rows.children = rows

    def _control(self, q: Question) -> Any:
        answer = self.sheet.answer(q.field)
        if q.choices:
            options = [("not answered", ""), *((c, c) for c in q.choices)]
            if answer not in ("", *q.choices):
                options.append((f"{answer}, which cannot be read", answer))
            control = w.Dropdown(options=options, value=answer)
        else:
            control = w.Text(value=answer, continuous_update=False)
        field(control, q.asked)
        control.add_class(f"wb-field-{re.sub('[^a-z0-9]', '-', q.field)}")

        def typed(change: Any) -> None:
            if not self._filling:
                try:
                    self.sheet.put(q.field, change["new"])
                except CaseFaults:  # not taken: the field shows what is
                    control.value = self.sheet.answer(q.field)
                    raise
                finally:
                    self._tell("")
                    self._refresh()
        control.observe(calm.told(self._tell)(typed), "value")
        return control

    def _refresh(self) -> tuple[Sighting | None, list[Fault]]:
        """Faults at their fields, what is not saved, which buttons are of use."""
        s, faults = self.sheet.read()
        beyond = self.sheet.beyond(s)
        for name, (_, below) in self._fields.items():
            told = "".join(calm.fault(f, with_field=False) for f in faults if f.field == name)
            told += calm.message("Warning", beyond[name] + ".") if name in beyond else ""
            show(below, told)
        show(self._general, pages.general(faults, set(self._fields)))
        show(self._state, pages.unsaved(self.sheet))
        show(self._grid, pages.grid(self.sheet.grid(), self.sheet.opened.display))
        changed, kept = bool(self.sheet.kept.changed()), self.sheet.kept
        self._save.disabled = changed or not (kept.dirty or kept.saved is None)
        self._over.layout.display = "" if changed else "none"
        self._drop.disabled = not (kept.dirty or changed)
        self._judge.disabled = kept.dirty or changed or kept.saved is None
        self._write.disabled = not self.sheet.may_be_written
        if kept.dirty:
            self._say(calm.message("Note", "the verdict is formed from the saved sheet: save it first."))
        return s, faults

    def _say_verdict(self) -> None:
        """The verdict of what is saved."""
        if self.sheet.kept.saved is None or self.sheet.kept.dirty or self.sheet.kept.changed():
            return
        self._say(calm.message("Note", "the saved sheet is being judged."))
        try:
            said = self.sheet.verdict()
        except WrapcalcError as e:
            self._say(calm.message("Fault", "there is no verdict: the saved sheet cannot be taken.") + calm.messages(e))
        else:
            self._say(pages.verdict(*said) if said else "")
        self._write.disabled = not self.sheet.may_be_written

    def _say(self, verdict: str) -> None:
        self._said = verdict
        show(self._verdict, verdict)

    def _tell(self, message: str) -> None:
        show(self._told, message)

    def _tell_grid(self, message: str) -> None:
        show(self._grid_told, message)

    def _fill(self) -> None:
        """The fields anew, from the sheet."""
        self._filling = True
        try:
            self._build()
        finally:
            self._filling = False
        self._refresh()

    # -- what the user does --------------------------------------------------------------------------------------
    def _on_save(self, over: bool = False) -> None:
        try:
            self.sheet.save(over=over)
        except ChangedOnDisk:
            self._refresh()
            raise
        self._tell(calm.message("Done", f"saved: {self.sheet.kept.path}."))
        self._refresh()
        self._say_verdict()

    def _on_save_over(self) -> None:
        self._on_save(over=True)

    def _on_drop(self) -> None:
        self.sheet.reopen()
        self._fill()
        self._tell(calm.message("Done", "what was typed and not saved is dropped; this is what is on disk."))
        self._say_verdict()

    def _on_judge(self) -> None:
        self._tell("")
        self._say(calm.message("Note", "the saved sheet is being judged."))
        try:
            judged = self.sheet.judge()
        except WrapcalcError:
            self._say(calm.message("Fault", "there is no verdict: the saved sheet cannot be taken."))
            raise
        finally:
            self._refresh()
        self._say(pages.verdict(judged.data(self.sheet.last()[0] + 1), 0))

    def _on_write(self) -> None:
        result = self.sheet.write()
        self._tell(calm.message("Done", " ".join(result.lines[:1]) + "."))
        self._refresh()
        self._say_verdict()

    def _on_paste(self) -> None:
        self._grid_taken(self._paste.value.encode())
        self._paste.value = ""

    def _on_upload(self, change: Any) -> None:
        for file in change["new"]:
            self._grid_taken(bytes(file["content"]), str(file["name"]))

    def _grid_taken(self, raw: bytes, *name: str) -> None:
        taken = self.sheet.take_grid(raw, *name)
        self._fill()
        said = " ".join((f"the grid stands in {self.sheet.answer('defect.grid')} beside the sheet.", *taken.notes))
        self._tell_grid(calm.message("Done", said))

    def still(self) -> Shown:
        """The page without widgets."""
        _, faults = self.sheet.read()
        page = pages.still(self.sheet, faults, self._said)
        return Shown(calm.page(page), re.sub(r"<[^>]+>", " ", page))
