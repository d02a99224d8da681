"""The case form as widgets: sections on the left, questions on the right, saving on top. No engineering."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping

import ipywidgets as w

from wrapcalc.errors import PackageError, WrapcalcError
from wrapcalc.package.starters import LISTED
from wrapcalc.standards.tables import Entry
from wrapcalc.standards.tables import load as load_tables
from wrapcalc.workbook import calm
from wrapcalc.workbook.form import shelf
from wrapcalc.workbook.form.draft import Draft, listed, question_of
from wrapcalc.workbook.form.outcome import outcome, still
from wrapcalc.workbook.form.questions import SECTIONS
from wrapcalc.workbook.form.view_grid import GRID, GridPanel
from wrapcalc.workbook.form.view_row import Row, Shared
from wrapcalc.workbook.form.view_save import SaveBar, asked
from wrapcalc.workbook.form.view_section import Found, Listed, Section
from wrapcalc.workbook.shown import Shown

_MISSING, _SEARCH, _GRID = "what is missing", "search", "grid"
#: What stands in the list on the left, in its order.
_NAV = {_MISSING: "What is missing or faulty"}
for _name, _title in SECTIONS.items():
    _NAV |= {_name: _title} | ({_GRID: "Depth grid"} if _name == "defect" else {})
_MOST_FOUND = 25

STYLE = f"""<style>
.wb-form .wb-column, .wb-form .wb-form-answer, .wb-form .wb-field .widget-inline-hbox,
.wb-form .wb-form-grid .widget-inline-hbox {{ flex-direction: column; align-items: stretch; height: auto; }}
.wb-form .wb-column > *, .wb-form .wb-field .widget-inline-hbox > *, .wb-form .wb-form-grid .widget-inline-hbox > * {{
  flex: 0 0 auto !important; width: 100% !important; }}
.wb-form .wb-column > .widget-label, .wb-form .wb-field .widget-label, .wb-form .wb-form-grid .widget-label {{
  text-align: left; white-space: normal; overflow: visible; line-height: 1.3; height: auto; color: {calm.QUIET}; }}
.wb-form .wb-field select, .wb-form .wb-field input, .wb-form .wb-form-grid select {{ height: 28px; }}
.wb-form .wb-form-answer > .widget-label {{ color: {calm.INK}; }}
.wb-form .wb-form-outcome .wb-scroll {{ padding: 0 10px; }}
.wb-form .wb-nav {{ padding: 4px; }}
.wb-form .wb-nav button {{ text-align: left; white-space: normal; height: auto; min-height: 28px; line-height: 1.25;
  padding: 4px 8px; margin: 0 0 2px; background: {calm.GROUND}; color: {calm.INK}; }}
.wb-form .wb-nav button.mod-primary {{ background: {calm.ACCENT}; color: {calm.GROUND}; }}
.wb-form button:focus-visible, .wb-form input:focus-visible, .wb-form select:focus-visible,
.wb-form textarea:focus-visible {{ outline: 3px solid {calm.ACCENT} !important; outline-offset: 1px; }}
.wb-form input::placeholder {{ color: {calm.QUIET}; opacity: 1; }}
</style>"""


class CaseForm(calm.View):
    """The form of one draft."""

    def __init__(self, draft: Draft):
        self.draft, self.shared = draft, Shared()
        self.names_sections = False
        #: Field -> the message of what is typed there and the draft, which holds what stood there before, cannot take.
        self.refused: dict[str, str] = {}
        self._rows: dict[str, Row] = {}
        self._panels: dict[str, Section | Listed | GridPanel] = {}
        self._waiting: dict[str, tuple[object, Callable[[], object]]] = {}
        self._here = ""
        self._panel: Section | Listed | Found | GridPanel | None = None
        self._told = w.HTML()
        self._nav = {name: w.Button(layout=w.Layout(width="auto")) for name in _NAV}
        for name, button in self._nav.items():
            button.on_click(self.guarded(self.tell, self._opener(name)))
        self._search = w.Text(description="Find a question", placeholder="such as wall, seam, forecast",
                              style={"description_width": "auto"}, layout=w.Layout(width="auto"))
        self._search.add_class("wb-column")
        self._search.observe(lambda _: self.later(_SEARCH, self.guarded(self.tell, self._find), 0.4), "value")
        self._save = SaveBar(self)
        self._place = w.VBox(layout=w.Layout(flex="1 1 0", overflow="visible", min_width="0", padding="0 0 0 16px"))
        nav = w.VBox([self._search, *self._nav.values()], layout=w.Layout(
            flex="0 0 250px", width="250px", overflow="visible"))
        nav.add_class("wb-nav")
        self._work = w.HBox([nav, self._place], layout=w.Layout(overflow="visible", align_items="flex-start"))
        self.box = w.VBox([w.HTML(STYLE), self._save.box, self._told, self._work], layout=w.Layout(overflow="visible"))
        for name in ("wb-view", "wb-form"):
            self.box.add_class(name)
        if draft.damaged:
            self.tell(calm.message("Warning", draft.damaged))
        if draft.left_over():
            self._ask_for_left_over()
        else:
            self.show("case")

    # -- what stands in files -----------------------------------------------------------------------------------------
    def still(self) -> Shown:
        """The answers that stand in the case file."""
        try:
            shown = still(self.draft.path)
            if self.draft.damaged:
                shown = Shown(calm.page(calm.message("Warning", self.draft.damaged)) + shown.html,
                              f"{self.draft.damaged}\n{shown.text}")
            return shown
        except WrapcalcError as e:  # spoilt or gone since it was opened
            return Shown(calm.page(calm.messages(e)), str(e))

    def outcome(self) -> Shown:
        """What the case file gives as it stands on disk: the decision, or its faults, and what is not answered."""
        shown = outcome(self.draft.path)
        return Shown(calm.page(shown.html), shown.text)

    # -- what the parts of the view share -----------------------------------------------------------------------------
    def row(self, field: str) -> Row:
        """The controls of a field, made when they are first shown."""
        if field not in self._rows:
            folder = self.draft.path.parent
            if field == "design.system":
                self._rows[field] = Row(self, field, options=lambda: [
                    (c.label, c.value) for c in shelf.systems(folder)],
                    sheet=lambda name: shelf.system_sheet(name, folder))
            elif field == "design.standard":
                self._rows[field] = Row(self, field, options=lambda: [
                    (c.label, c.value) for c in shelf.editions(self._entries())],
                    sheet=lambda name: shelf.edition_sheet(name, self._entries()))
            else:
                self._rows[field] = Row(self, field)
        return self._rows[field]

    def _entries(self) -> Mapping[str, Entry]:
        bundle = self.draft.checked.bundle
        return (bundle.tables if bundle is not None else load_tables()).entries

    def reload(self, start: str) -> None:
        """Show anew what the draft holds in the fields that begin so."""
        for field in [f for f in self._rows if f.startswith(start)]:
            if question_of(field).listed and int(field.split(".")[1]) >= self.draft.rows(field.split(".")[0]):
                del self._rows[field]
                self.refused.pop(field, None)
            else:
                self._rows[field].load()

    def tell(self, html: str) -> None:
        """One message of the whole form; "" takes it away."""
        self._told.value = calm.page(html) if html else ""

    def later(self, key: str, act: Callable[[], object], seconds: float) -> None:
        """Do something when no more is typed for so long; at once where nothing waits (no running loop)."""
        try:
            loop = asyncio.get_running_loop() if seconds else None
        except RuntimeError:
            loop = None
        token = object()
        with calm.ONE_AT_A_TIME:
            self._waiting[key] = (token, act)

        def now() -> None:
            with calm.ONE_AT_A_TIME:
                if self._waiting.get(key, (None,))[0] is token:  # nothing was typed since, nor done meanwhile
                    del self._waiting[key]
                    act()
        if loop is None:
            now()
        else:
            loop.call_later(seconds, now)

    def flush(self) -> None:
        """Do at once what waits for the end of typing, so that nothing that was typed is left out."""
        with calm.ONE_AT_A_TIME:
            while self._waiting:
                act = self._waiting.pop(next(iter(self._waiting)))[1]
                act()

    def all_taken(self, start: str = "") -> None:
        """Raises PackageError while something is typed, in the fields that begin so, that the draft cannot take."""
        fields = [f for f in self.refused if f.startswith(start)]
        if fields:
            raise PackageError(f"what is typed cannot be taken: {listed([asked(f) for f in fields])}; nothing was "
                               "done; mend it at its field, or put back what stood there")

    def guarded(self, tell: Callable[[str], None], act: Callable[..., object]) -> Callable[..., object]:
        """A callback of a control: one at a time, and its faults are messages."""
        return calm.told(tell)(act)

    def refresh(self) -> None:
        """After a change: faults at their fields, counts at their sections, what is not saved."""
        if self._panel is not None:
            self._panel.refresh()
        self._count()
        self._save.refresh()

    # -- sections -----------------------------------------------------------------------------------------------------
    def _opener(self, name: str) -> Callable[[object], None]:
        def open_(_: object) -> None:
            self.flush()
            self.tell("")
            self.show(name)
        return open_

    def show(self, name: str) -> None:
        """Show a section, or what is missing."""
        self._here = name
        self.names_sections = name not in SECTIONS
        self._panel = self._missing() if name == _MISSING else self._section(name)
        self._place.children = [self._panel.box]
        self.refresh()

    def _section(self, name: str) -> Section | Listed | GridPanel:
        if name not in self._panels:
            self._panels[name] = (GridPanel(self) if name == _GRID else Listed(self, name) if name in LISTED
                                  else Section(self, name))
        return self._panels[name]

    def _missing(self) -> Found:
        said = self.draft.checked
        known = {f for s in SECTIONS for f in self.draft.fields(s)}
        fields = [f for f in known if f in said.at or f in said.missing or f in self.refused]
        order = {f: i for i, f in enumerate(f for s in SECTIONS for f in self.draft.fields(s))}
        elsewhere = "".join(calm.fault(f) for f in said.elsewhere(known))
        note = "" if fields or elsewhere else "Nothing: all that is needed is answered, and the case has no faults."
        return Found(self, "What is missing or faulty", sorted(fields, key=order.__getitem__), note, elsewhere)

    def _find(self) -> None:
        words = self._search.value.lower().split()
        if not words:
            self.show("case")
            return
        hits = [f for s in SECTIONS for f in self.draft.fields(s) if all(
            x in f"{SECTIONS[s]} {question_of(f).asks} {question_of(f).key.replace('_', ' ')}".lower() for x in words)]
        note = "" if hits else "No question has these words."
        if len(hits) > _MOST_FOUND:
            note = f"The first {_MOST_FOUND} of {len(hits)}; another word narrows it down."
        self._here, self.names_sections = _SEARCH, True
        self._panel = Found(self, f"Questions with “{' '.join(words)[:60]}”", hits[:_MOST_FOUND], note)
        self._place.children = [self._panel.box]
        self.refresh()

    def _count(self) -> None:
        said = self.draft.checked
        for name, button in self._nav.items():
            def here(field: str, name: str = name) -> bool:
                return name == _MISSING or field.partition(".")[0] == name or (name == _GRID and field == GRID)
            missing = [f for f in said.missing if here(f)]
            count = sum(len(faults) for f, faults in said.at.items() if here(f) and f not in self.refused)
            count += sum(here(f) for f in self.refused)
            parts = [_NAV[name]] + ([f"{count} fault{'s' if count > 1 else ''}"] if count else []) + (
                [f"{len(missing)} needed"] if missing else [])
            if button.description != (text := " · ".join(parts)):
                button.description = text
            style = "primary" if name == self._here else ""
            if button.button_style != style:
                button.button_style = style

    # -- after a kernel that ended ------------------------------------------------------------------------------------
    def _ask_for_left_over(self) -> None:
        fields = self.draft.left_over()
        back = w.Button(description="Take it back", button_style="primary", layout=w.Layout(width="auto"))
        away = w.Button(description="Throw it away", layout=w.Layout(width="auto"))
        names = ", ".join(asked(f) for f in fields[:8]) + (f" and {len(fields) - 8} more" if len(fields) > 8 else "")
        text = w.HTML(calm.page(calm.message(
            "Warning", f"{len(fields)} answers were typed earlier and not saved: {names}.",
            "Take them back, or go on with what stands in the file.")))
        self._place.children = [w.VBox([text, w.HBox([back, away])])]
        for button in self._nav.values():
            button.disabled = True
        self._save.hold(True)

        def decide(act: Callable[[], object]) -> Callable[[object], None]:
            def on_click(_: object) -> None:
                act()
                for button in self._nav.values():
                    button.disabled = False
                self._save.hold(False)
                self.show("case")
            return on_click
        back.on_click(self.guarded(self.tell, decide(self.draft.take_back)))
        away.on_click(self.guarded(self.tell, decide(self.draft.throw_away)))
        self._count()
        self._save.refresh()
