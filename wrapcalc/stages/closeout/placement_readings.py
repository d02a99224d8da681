"""Where the units lie against their marks: sides, starts around the pipe, and where each wrap ends."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

from wrapcalc.fields import clock_hours
from wrapcalc.recorder import active
from wrapcalc.searches.starts import arc_between, arc_to
from wrapcalc.stages.closeout.cover_readings import Span
from wrapcalc.stages.closeout.expected_readings import unit_places
from wrapcalc.stages.closeout.ledger import Work
from wrapcalc.stages.site import starts
from wrapcalc.stages.site.marks import Marks, Unit
from wrapcalc.standards.documents import MECHANICS
from wrapcalc.values import Origin, Value

_SHEET = "system sheet"


def marked_units(m: Marks) -> list[Unit]:
    """The units that lie on the pipe, numbered through all repairs from upstream."""
    return [u for r in m.repairs for u in r.units if u.tier == 1]


def sides(w: Work, m: Marks, found: list[Span]) -> None:
    """Each side as measured against its mark."""
    rec = active()
    if not m.from_weld:
        return  # told already: the sides cannot be set against the damage
    for span, mark in zip(found, marked_units(m), strict=True):
        for side, row, at in (("upstream", span.upstream, mark.upstream),
                              ("downstream", span.downstream, mark.downstream)):
            at = replace(at, origin=Origin("record", "marks on the pipe"))  # its steps are those of the package
            off = rec.procedure(f"{side.capitalize()} side of {span.unit}, off its mark",
                                "difference, without its sign", MECHANICS.id, "derived",
                                {"measured": w.value(row), "mark": at},
                                {"off": (abs(row.base - at.magnitude), "mm")})["off"]
            w.limit(f"{side.capitalize()} side of {span.unit} against its mark", off, "<=", m.side_tolerance,
                    citation=w.sheet, status=_SHEET, rows=[row], note=m.if_not_met)


def wrap_ends(w: Work, m: Marks, units: int) -> None:
    """Where each wrap ended, against the tolerance."""
    for unit in unit_places(units):
        row = w.readings.one("wrap end off its mark", unit)
        if row is None:
            w.lacks("wrap end off its mark", unit)
        else:
            w.limit(f"Wrap end of {unit} off its mark", w.value(row), "<=", m.end_tolerance, citation=w.sheet,
                    status=_SHEET, rows=[row], note=m.if_not_met)


def starts_around(w: Work, m: Marks, units: int) -> None:
    """Starts as built off the seam, off the deepest metal, and neighbours apart."""
    case, d, system = w.bundle.case, w.design, w.bundle.system
    assert system is not None and d.extent is not None
    around = math.pi * case.value("pipe.outside_diameter").magnitude
    arcs: dict[str, float] = {}
    for unit in unit_places(units):
        row = w.readings.one("wrap start clock", unit)
        if row is None:
            w.lacks("wrap start clock", unit)
        else:
            arcs[unit] = clock_hours(row.text) / 12 * around
    if len(arcs) < units:
        return
    names = iter(unit_places(units))
    for repair, marked in zip(d.extent.repairs, m.repairs, strict=True):
        mine = [next(names) for u in marked.units if u.tier == 1]
        crossed = tuple(s for s, over in (("upstream", m.from_weld and marked.upstream_edge.magnitude < 0),
                                          ("downstream", _over(w, m, marked.downstream_edge))) if over)
        deepest = starts.deepest_arcs(w.bundle, d, repair, around)
        for what, found, rule in (("the seam", starts.seam_arcs(w.bundle, around, crossed), "start_off_seam"),
                                  ("the deepest metal", deepest, "start_off_deepest")):
            if found.unknown:
                w.book.lack(f"case: {found.unknown}")
                continue
            for unit in mine if found.stretches else ():
                least = min(float(arc_to(arcs[unit], *s, around)) for s in found.stretches)
                _arc(w, f"Start of {unit} off {what}", unit, least, system.value(f"placement.{rule}"), found.words)
        for a, b in pairwise(mine):
            _arc(w, f"Starts of {a} and {b} apart", a, float(arc_between(arcs[a], arcs[b], around)),
                 system.value("placement.stagger"), (), other=b)


def _over(w: Work, m: Marks, edge: Value) -> bool:
    whole = w.bundle.case.optional("location.joint_length")
    return m.from_weld and whole is not None and edge.magnitude > whole.magnitude


def _arc(w: Work, title: str, unit: str, arc: float, limit: Value, words: tuple[str, ...], other: str = "") -> None:
    """One arc on the bare pipe as a procedure, and its check."""
    rows = [r for u in (unit, other) if u and (r := w.readings.one("wrap start clock", u)) is not None]
    details = [(f"start of {r.where}", r.text) for r in rows] + [("it lies at", x) for x in words]
    have = active().procedure(title, "shorter way around the bare pipe, from the clock positions", MECHANICS.id,
                              "derived", {"outside diameter": w.bundle.case.value("pipe.outside_diameter")},
                              {"arc": (arc, "mm")}, details)["arc"]
    w.limit(title, have, ">=", limit, citation=w.sheet, status=_SHEET, rows=rows)
