"""One reading against the limits that it meets or does not meet by itself, before the others are there.

The checks are those of the close-out, run on this reading alone; what needs several is judged with all of them.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass, field

from wrapcalc.case.readings import LAMINATE, Reading, Readings
from wrapcalc.checks import Check
from wrapcalc.errors import WrapcalcError
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.closeout import placement_readings, site_readings, wrap_readings
from wrapcalc.stages.closeout.closeout import LIMITS, told, units_of
from wrapcalc.stages.closeout.ledger import Ledger, Work
from wrapcalc.stages.closeout.wrap_readings import POINTS
from wrapcalc.stages.job import Outcome
from wrapcalc.stages.site.marks import Marks, marks


@dataclass(frozen=True)
class Said:
    """What a check says of a reading. verdict: "met" or "not met"."""

    title: str
    verdict: str
    found: str
    wanted: str
    citation: str
    note: str = ""


@dataclass
class Alone:
    """Judges single readings of one package. outcome: the run of its case."""

    outcome: Outcome
    marks: Marks = field(init=False)

    def __post_init__(self) -> None:
        design = self.outcome.design
        assert design is not None
        with recording(Recorder(self.outcome.bundle.case.display)):
            self.marks = marks(self.outcome.bundle, design)

    def said(self, r: Reading, released: datetime.datetime | None = None) -> list[Said]:
        """The checks that this reading is held against by itself. released: when the pressure was; what is logged after
        that has another limit."""
        call, titles = self._of(r, released)
        if call is None:
            return []
        design = self.outcome.design
        assert design is not None
        w = Work(self.outcome.bundle, design, Readings("", b"", (r,)), Ledger(), self.outcome.decision.beside)
        rec = Recorder(self.outcome.bundle.case.display)
        rec.stage = "B"
        try:
            with recording(rec):
                rec.begin(LIMITS)
                call(w)
        except WrapcalcError:
            return []  # it is judged with the others
        return [_said(e.check, self.outcome.bundle.case.display) for e in w.book.entered
                if e.rows == (r.row,) and e.check.verdict in ("met", "not met") and e.check.title.startswith(titles)]

    def _of(self, r: Reading, released: datetime.datetime | None
            ) -> tuple[Callable[[Work], object] | None, tuple[str, ...]]:
        """What judges a reading of this kind, and how the titles of its checks begin."""
        count = units_of(self.outcome)
        title = r.what[0].upper() + r.what[1:]
        if r.what in _SURFACE:
            return lambda w: site_readings.surface(w, None, None), (title,)
        if r.what in ("relative humidity", "steel temperature"):
            # The log of the cure has no limit of steel while working; the cure is judged with all of it.
            if r.time is None or (r.what == "steel temperature" and r.where.casefold().startswith("cure log")):
                return None, ()
            return lambda w: site_readings.weather(w, r.time, r.time), (
                "Relative humidity, ", "Steel temperature while ")
        if r.what == "line pressure":
            if r.time is None or (released is not None and r.time > released):
                return None, ()
            return lambda w: site_readings.pressures(w, None, r.time, None, None), ("Line pressure ",)
        if r.what == "installer":
            return lambda w: site_readings.installer(w, None), ("Installer, ",)
        if r.what == "layers counted":
            return lambda w: wrap_readings.layers(w, count), ("Layers of ",)
        if r.what == "wrap end off its mark":
            return lambda w: placement_readings.wrap_ends(w, self.marks, count), ("Wrap end of ",)
        if r.what == "hardness":
            return wrap_readings.hardness, ("Hardness, least single reading",)
        if r.what in ("tap test", "dull area"):
            return wrap_readings.tapping, ("Tap test", "Nothing dull ", "Share of ")
        if r.what in _LAMINATE:
            return wrap_readings.laminate, (title,)
        if r.what in POINTS:
            return wrap_readings.points, (title,)
        if r.what in ("coating thickness", "holidays found"):
            return wrap_readings.coating, ("Thickness of the coating", "Holidays left ")
        return None, ()


_SURFACE = ("wall under blasting", "blast grade", "blast profile", "soluble salt", "dust rating", "rust bloom")
_LAMINATE = (*(f"laminate: {x}" for x in LAMINATE), "end seal")


def _said(c: Check, display: str) -> Said:
    return Said(c.title, c.verdict, *told(c, display), c.citation, c.note)
