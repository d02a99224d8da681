"""What the people on site need, once the decision is known: the dig, and for a wrap marks, materials, mixing, weather,
cure and release. Nothing here changes the decision."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.recorder import active
from wrapcalc.searches.cure_age import credit
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.site.cautions import Caution, cautions
from wrapcalc.stages.site.curing import CurePlan, cure_plan, cure_table
from wrapcalc.stages.site.hold_points import Blasting, HoldPoint, Site, blasting, hold_points
from wrapcalc.stages.site.holiday import Holiday, holiday
from wrapcalc.stages.site.laminate import Defect, laminate_limits
from wrapcalc.stages.site.marks import Marks, marks
from wrapcalc.stages.site.materials import Materials, materials
from wrapcalc.stages.site.mixing import Batch, mixing
from wrapcalc.stages.site.release import Accepted, Restoration, accepted, restoration
from wrapcalc.stages.site.takeoff import Line
from wrapcalc.stages.site.weather import Weather, weather
from wrapcalc.stages.wrap.bears import Bears
from wrapcalc.stages.wrap.design import Design
from wrapcalc.standards.documents import MECHANICS
from wrapcalc.systems.field_model import ADHESIVE

if TYPE_CHECKING:
    from wrapcalc.stages.job import Decision


@dataclass(frozen=True)
class ForSite:
    """Everything that the site sheet of a wrap prints beside the design."""

    order: tuple[Line, ...]
    marks: Marks
    materials: Materials
    mixing: tuple[Batch, ...]
    blasting: Blasting
    weather: Weather
    cure: CurePlan | None
    accepted: Accepted
    restoration: Restoration
    holiday: Holiday
    points: tuple[HoldPoint, ...]
    laminate: tuple[Defect, ...]
    cautions: tuple[Caution, ...]


def for_site(bundle: Bundle, a: Assessment | None, d: Design, bears: Bears, order: tuple[Line, ...], decision: Decision
             ) -> ForSite:
    """All parts in the order of the work. decision: with the pressure while people are beside the pipe."""
    active().stage = "I"
    marked = marks(bundle, d)
    mixed = mixing(bundle, d, order)
    order = packs_for_batches(order, mixed)
    batches = sum(int(b.batches.magnitude) for b in mixed if b.batches is not None)
    taken = materials(bundle, d, order, batches or None)
    blast = blasting(bundle, a)
    climate = weather(bundle, bundle.forecast, _cure_rate(bundle))
    cured = cure_plan(bundle)
    limits = accepted(bundle)
    raised = restoration(bundle, d, bears, decision)
    tested = holiday(bundle)
    points = hold_points(Site(bundle, d, bears, decision.beside, blast, limits, raised, tested))
    return ForSite(order, marked, taken, mixed, blast, climate, cured, limits, raised, tested, points,
                   laminate_limits(bundle), cautions())


def packs_for_batches(order: tuple[Line, ...], mixed: tuple[Batch, ...]) -> tuple[Line, ...]:
    """The order with as many whole packs of adhesive as batches are begun: a batch serves one clock only."""
    glue = next(b for b in mixed if b.material == ADHESIVE)
    out = []
    for line in order:
        if line.kind == ADHESIVE and line.packs is not None and glue.batches is not None:
            need = active().procedure(
                "Packs of adhesive for the batches that are begun", "batches times the whole packs in each; no less "
                "than the order", MECHANICS.id, "derived",
                {"batches": glue.batches, "packs in a batch": glue.packs, "packs ordered": line.packs},
                {"packs": (max(glue.batches.magnitude * glue.packs.magnitude, line.packs.magnitude), "")})["packs"]
            if need.magnitude > line.packs.magnitude:
                line = replace(line, packs=need, pieces=int(need.magnitude),
                               basis=f"{line.basis}; a batch of its own for each clock")
        out.append(line)
    return tuple(out)


def _cure_rate(bundle: Bundle) -> Callable[[np.ndarray], np.ndarray] | None:
    """Share of the cure gained in an hour at a steel temperature in °C, by the sheet's table."""
    if bundle.system is None:
        return None
    table = cure_table(bundle)
    return lambda steel: np.array([credit(table, float(c)) for c in np.ravel(steel)])
