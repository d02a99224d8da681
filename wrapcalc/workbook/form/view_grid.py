"""The depth grid: pasted from a spreadsheet, loaded from a file, or one that stands beside the case; drawn at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import ipywidgets as w

from wrapcalc.case.csv_table import UNITS
from wrapcalc.reading import read_bytes
from wrapcalc.workbook import calm
from wrapcalc.workbook.form import measured
from wrapcalc.workbook.form.pasted import COMMA, POINT, Pasted, read_pasted, text_of_file

if TYPE_CHECKING:
    from wrapcalc.workbook.form.view import CaseForm

_LABEL = {"description_width": "auto"}
_CELLS = ("Cells copied in a spreadsheet: the unit in the first cell, axial stations along the first row, then a row "
          "for each station around")
GRID = "defect.grid"
_UNITS = [("as the first cell says", ""), *((f"{u}, depth", u) for u in UNITS),
          *((f"{u}, remaining wall", f"{u} remaining") for u in UNITS)]
_SIGNS = [("as the cells show", ""), ("point: 1.4", POINT), ("comma: 1,4", COMMA)]


class GridPanel:
    """Controls of the grid, and its drawing. The grid itself stands in a CSV file beside the case."""

    def __init__(self, form: CaseForm):
        self.form = form
        self.paste = w.Textarea(description=_CELLS, rows=6, style=_LABEL, layout=w.Layout(width="100%"))
        self.paste.add_class("wb-form-answer")
        self.paste.add_class("wb-form-paste")
        self.unit = w.Dropdown(description="Unit of all numbers", options=_UNITS, style=_LABEL)
        self.sign = w.Dropdown(description="Decimal sign", options=_SIGNS, style=_LABEL)
        self.use = w.Button(description="Use the pasted grid", button_style="primary", layout=w.Layout(width="auto"))
        self.load = w.FileUpload(accept=".csv,.txt,.tsv", multiple=False, description="Load a CSV file",
                                 layout=w.Layout(width="auto"))
        self.beside = w.Dropdown(description="CSV file beside the case", options=self._names(), style=_LABEL)
        self.told = w.HTML()
        self.drawing = w.HTML()
        self.drawing.add_class("wb-form-drawing")
        self.use.on_click(form.guarded(self._tell, self._pasted))
        self.load.observe(form.guarded(self._tell, self._loaded), "value")
        self.beside.observe(form.guarded(self._tell, self._chosen), "value")
        self.box = w.VBox([
            w.HTML(calm.page("<h3>Depth grid</h3>")), self.drawing, self.told, self.paste,
            w.HBox([self.unit, self.sign, self.use, self.load], layout=w.Layout(
                flex_flow="row wrap", align_items="flex-end", overflow="visible")),
            self.beside], layout=w.Layout(overflow="visible"))
        self.box.add_class("wb-form-grid")

    def refresh(self) -> None:
        """Draw the grid that the draft names, when it or the wall has changed."""
        picture = measured.picture(self.form.draft)
        html = calm.page(picture.html) if picture is not None else ""
        if self.drawing.value != html:
            self.drawing.value = html

    def _names(self) -> list[tuple[str, str]]:
        names = measured.files_beside(self.form.draft.path.parent, ".csv")
        return [("none chosen", ""), *((n, n) for n in names)]

    def _tell(self, html: str) -> None:
        self.told.value = calm.page(html)

    def _pasted(self, _: object) -> None:
        self._take(read_pasted(self.paste.value, unit=self.unit.value, decimal=self.sign.value))
        self.paste.value = ""

    def _loaded(self, change: dict) -> None:
        if not change["new"]:
            return
        file = change["new"][0]
        name, raw = str(file["name"])[:120], bytes(file["content"])
        self.load.value = ()
        self._take(read_pasted(text_of_file(raw, name), unit=self.unit.value, decimal=self.sign.value, name=name))

    def _chosen(self, change: dict) -> None:
        name = change["new"]
        if not name:
            return
        try:
            path = self.form.draft.path.parent / name
            read_pasted(text_of_file(read_bytes(path, name, most=measured.MAX_BYTES), name), unit="", name=name)
        finally:
            self.beside.value = ""
        self._name(name, f"{name} is named as the depth grid.")

    def _take(self, pasted: Pasted) -> None:
        draft = self.form.draft
        before = draft.answer(GRID).text
        name = measured.write_grid(draft.path.parent, draft.path.stem, pasted.csv)
        kept = f" {before} is still there." if before and before != name else ""
        self.beside.options = self._names()
        self._name(name, " ".join([f"the grid stands in {name}, beside the case.{kept}", *pasted.notes]))

    def _name(self, name: str, said: str) -> None:
        form = self.form
        form.flush()
        form.draft.set(GRID, name)
        form.reload(GRID)
        form.refresh()
        self._tell(calm.message("Done", said, "Save the case to keep that it names this grid."))
