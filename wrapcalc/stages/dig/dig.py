"""The dig: the right joint and its proof, the place on it, the pressure beside it, and the trench."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from wrapcalc import units
from wrapcalc.case import Bundle
from wrapcalc.case.model import GAS
from wrapcalc.fields import clock_hours
from wrapcalc.formulas import excavation as f
from wrapcalc.recorder import active
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.dig.joints import JointRow, joint_rows
from wrapcalc.stages.dig.rows import Row, clock_text, far
from wrapcalc.stages.dig.trench import trench
from wrapcalc.stages.wrap.design import Design
from wrapcalc.standards.documents import CFR_192, PRACTICE
from wrapcalc.values import Origin, Value

if TYPE_CHECKING:
    from wrapcalc.stages.job import Decision

TOPIC = "Where it is and how it is dug"


@dataclass(frozen=True)
class Distances:
    """From one girth weld of the joint. measured: to the downstream edge as the case states it."""

    weld: str
    upstream_edge: Value | None = None
    middle: Value | None = None
    downstream_edge: Value | None = None
    measured: Value | None = None


@dataclass(frozen=True)
class Dig:
    """What the dig sheet prints; a row without value and words is a blank to be filled in.

    distances: from both girth welds; joints: from upstream to downstream; proof: tolerances; needs: what the depth asks
    for; helpers: errors of gauges, for those who measure; alike: joints that could be taken for this one; cautions: for
    the crew.
    """

    pressure: tuple[Row, ...]
    distances: tuple[Distances, Distances]
    where: tuple[Row, ...]
    joints: tuple[JointRow, ...]
    proof: tuple[Row, ...]
    size: tuple[Row, ...]
    trench: tuple[Row, ...]
    needs: tuple[str, ...]
    helpers: tuple[Row, ...]
    alike: tuple[str, ...]
    cautions: tuple[str, ...]


def dig(bundle: Bundle, a: Assessment | None, d: Design | None, decision: Decision) -> Dig | None:
    """The dig of one case; None where the case states nothing of its place and nothing of its trench."""
    case = bundle.case
    if all(getattr(table, key) is None for table in (case.location, case.excavation)
           for key in type(table).model_fields):
        return None
    active().begin(TOPIC)
    distances = _distances(bundle)
    joints, alike = joint_rows(bundle)
    hole = trench(bundle, a, d)
    return Dig(_pressure(bundle, decision), distances, (*_clock(bundle), *_stated(bundle)), joints, _proof(bundle),
               _size(bundle), hole.rows, hole.needs, _helpers(bundle), alike,
               hole.cautions)


def _pressure(bundle: Bundle, decision: Decision) -> tuple[Row, ...]:
    rows = [Row("Pressure at most while people are beside the pipe", decision.beside,
                note="" if decision.beside else "not known: nobody stands beside the pipe until the engineer gives it")]
    if decision.interim_limit is not None:
        rows.append(Row("Until it is repaired at most", decision.interim_limit))
    source = bundle.case.get("work.pressure_source")
    rows.append(Row("Read at", words=str(source or "")))
    return tuple(rows)


def _distances(bundle: Bundle) -> tuple[Distances, Distances]:
    """Upstream edge, middle and downstream edge of the defect, from either girth weld of the joint."""
    case, rec = bundle.case, active()
    up, down = (f"{side} weld {case.get(f'location.{side}_weld') or ''}".rstrip()
                for side in ("upstream", "downstream"))
    edge, length = case.optional("location.from_upstream_weld"), case.optional("defect.length")
    whole, stated = case.optional("location.joint_length"), case.optional("location.from_downstream_weld")
    if edge is None or length is None:
        return Distances(up, edge), Distances(down, downstream_edge=stated)
    here = Distances(up, edge, f.defect_middle(edge, length), f.defect_far_edge(edge, length))
    if whole is None:
        return here, Distances(down, downstream_edge=stated)
    there = [rec.named(f.rest_of_joint(whole, x), f"From the downstream girth weld to the {words} of the defect")
             for x, words in ((here.upstream_edge, "upstream edge"), (here.middle, "middle"),
                              (here.downstream_edge, "downstream edge"))]
    return here, Distances(down, *there, measured=stated)


def _clock(bundle: Bundle) -> list[Row]:
    case, rec = bundle.case, active()
    if case.defect.clock is None:
        return [Row("Clock")]
    hours = Value(clock_hours(case.defect.clock), "", Origin("case", "defect.clock"), "Clock in decimal hours")
    turned = f.clock_degrees(hours)
    middle = f"{case.defect.clock}, {turned.show()}°"
    diameter, width = case.optional("pipe.outside_diameter"), case.optional("defect.width")
    if diameter is None:
        return [Row("Clock", turned, middle)]
    arc = rec.named(f.clock_arc(diameter, hours), "Arc from the top to the middle of the defect")
    sense = "clockwise" if hours.magnitude <= 6 else "counter-clockwise"
    rows = [Row("Clock", turned, f"{middle}, {arc.show(case.display)} {sense} from the top")]
    if width is not None:
        wide = f.clock_width(width, diameter)
        rows.append(Row("Width on the clock", wide, f"{clock_text(wide.magnitude, span=True)} (h:min)"))
    return rows


def _stated(bundle: Bundle) -> list[Row]:
    """Reference point, log distance, coordinates, date, whom to call."""
    case, show = bundle.case, far(bundle.case.display)
    where, away = case.location, case.optional("location.marker_distance")
    marker = Row("Reference point", words=str(where.marker or ""))
    if where.marker is not None and away is not None:
        marker = Row("Reference point", away, f"{where.marker}, {show(away)} along the line, above ground")
    rows = [marker, *_log(bundle)]
    spot = "" if where.latitude is None or where.longitude is None else (
        f"{case.value('location.latitude').show(significant=8)}°, "
        f"{case.value('location.longitude').show(significant=8)}° ({where.datum})")
    rows.append(Row("Latitude, longitude", words=spot, note=str(where.coordinates_of or "")))
    return [*rows, Row("To be repaired by", words=str(where.due or "")),
            Row("Call", words=str(where.contact or ""))]


def _log(bundle: Bundle) -> list[Row]:
    case, show = bundle.case, far(bundle.case.display, 1)
    log = case.optional("location.log_distance")
    points = [case.optional(f"location.{p}") for p in ("first_point_log", "second_point_log", "first_point_survey",
                                                       "second_point_survey")]
    if log is None:
        return []
    if any(p is None for p in points):
        return [Row("Distance in the log", log, show(log), "not rescaled")]
    first, second, start, end = points
    true = f.surveyed_distance(log, first, second, start, end)
    naive = f.naive_distance(log, first, start)
    active().named(f.lengths_apart(true, naive), "Rescaled distance against the log carried on alone")
    return [Row("Distance in the log", log, show(log)),
            Row("By survey, rescaled", true, show(true), f"not {show(naive)}")]


def _proof(bundle: Bundle) -> tuple[Row, ...]:
    show = far(bundle.case.display, 2)
    length = bundle.tables.value(PRACTICE.id, "joint_length_tolerance")
    seam = bundle.tables.value(PRACTICE.id, "seam_clock_tolerance")
    return (Row("Lengths agree within", length, show(length), "common practice"),
            Row("Seams agree within", seam, f"{clock_text(seam.magnitude, span=True)} (h:min)", "common practice"))


def _size(bundle: Bundle) -> tuple[Row, ...]:
    """What is expected, with its sources: it may be a listing or an earlier look into the ditch."""
    case = bundle.case
    rows = [Row("Kind", words=str(case.defect.kind or "metal loss, side not stated"))]
    for key, label in (("depth", "Depth"), ("length", "Length"), ("width", "Width")):
        value, given = case.optional(f"defect.{key}"), case.get(f"defect.{key}")
        source = "" if given is None else ", ".join(filter(None, (given.source_kind, given.source)))
        rows.append(Row(label, value, "" if value is None else value.show(case.display), source))
    return tuple(rows)


def _helpers(bundle: Bundle) -> tuple[Row, ...]:
    """Errors of gauges on this pipe, and the impact radius of a gas line."""
    case, tables, rec = bundle.case, bundle.tables, active()
    rows = []
    wall, diameter = case.optional("pipe.nominal_wall"), case.optional("pipe.outside_diameter")
    if wall is not None:
        step = tables.value(PRACTICE.id, "ultrasonic_step")
        excess = f.ultrasonic_excess(wall, step, tables.value(PRACTICE.id, "sound_slowing"),
                                     tables.value(PRACTICE.id, "sound_slowing_over"))
        rows.append(Row(f"Ultrasonic gauge on steel {step.show(case.display)} warmer than its block: reads too thick "
                        "by", excess, _thin(excess, case.display)))
    bar = tables.value(PRACTICE.id, "pit_gauge_bar")
    if diameter is not None and bar.magnitude < diameter.magnitude:
        error = f.bar_error(diameter, bar)
        rows.append(Row(f"Pit gauge with its bar of {bar.show(case.display, 3)} round the pipe, not along it: wrong by "
                        "up to", error, error.show(case.display, 2)))
    maop = case.optional("service.maop")
    if case.service.service == GAS and maop is not None and diameter is not None:
        radius = f.impact_radius(tables.value(CFR_192.id, "impact_radius_factor"), maop, diameter)
        rows.append(Row("For the cordon: potential impact radius at the MAOP (natural gas, 49 CFR 192.903)", radius,
                        far(case.display, 0)(radius)))
        rec.assume("The potential impact radius is that of natural gas; it is information for who decides on the "
                   "cordon, and decides nothing here.", "scope")
    return tuple(rows)


def _thin(value: Value, display: str) -> str:
    """A very small length: in hundredths of a millimetre or in mil."""
    unit = "mm" if display == "SI" else "thou"
    return units.show(value.to(unit), unit, system="SI", significant=2)
