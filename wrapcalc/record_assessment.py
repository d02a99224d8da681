"""The assessment's part of a record: methods side by side, clusters, profile, curves, life, chance, criteria."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from wrapcalc import units
from wrapcalc.standards import criteria as rules
from wrapcalc.values import Value

if TYPE_CHECKING:
    from wrapcalc.stages.job import Outcome

Show = Callable[[Value | None], dict[str, Any] | None]
#: Stations of a profile and boxes of a colony that a record keeps for its drawings.
MOST_STATIONS, MOST_BOXES = 2000, 5000


def parts(outcome: Outcome, show: Show) -> dict[str, Any]:
    """What the assessment adds to the record; each part is None or empty when it was not reached."""
    return {"forms": _forms(outcome, show), "clusters": _clusters(outcome), "profile": _profile(outcome),
            "allowable": _allowable(outcome, show), "life": _life(outcome, show), "chance": _chance(outcome, show),
            "disposition": _disposition(outcome), "options": _options(outcome, show)}


def _forms(outcome: Outcome, show: Show) -> list[dict[str, Any]]:
    from wrapcalc.stages.assessment.forms import NAMES
    a = outcome.assessment
    return [{"form": NAMES[f.key], "failure": show(f.failure), "safe": show(f.safe), "reason": f.reason,
             "flow": f.flow, "basis": f.basis, "role": f.role, "status": f.status,
             "governs": f.key == a.governing_key} for f in a.forms] if a else []


def _clusters(outcome: Outcome) -> dict[str, Any] | None:
    a = outcome.assessment
    if a is None or a.shape is None or not a.shape.boxes:
        return None
    shape = a.shape
    boxes = sorted(shape.boxes, key=lambda b: -b[4])[:MOST_BOXES]
    grid = outcome.bundle.grid
    clock = outcome.bundle.case.defect.clock
    system = outcome.recorder.system
    return {"rule": shape.rule, "boxes": [list(b) for b in boxes], "left_out": len(shape.boxes) - len(boxes),
            "clock": clock, "middle_around": None if grid is None else float((grid.around[0] + grid.around[-1]) / 2),
            "pieces": [{"label": p.label, "along": list(p.along), "around": list(p.around), "depth": p.depth,
                        "length": p.length, "count": p.count, "governs": i == shape.governing,
                        "failure": units.show(shape.failures[i], "MPa", system=system) if shape.failures else ""}
                       for i, p in enumerate(shape.pieces)]}


def _profile(outcome: Outcome) -> dict[str, Any] | None:
    a = outcome.assessment
    if a is None or a.river is None or a.sub_length is None or a.mean_depth is None:
        return None
    x, d = a.river.x, a.river.depth
    keep = np.arange(len(x)) if len(x) <= MOST_STATIONS else _extremes(d)
    keep = np.union1d(keep, [a.sub_length.start, a.sub_length.end])
    return {"stations": x[keep].tolist(), "depth": d[keep].tolist(), "count": len(x),
            "governing": [float(x[a.sub_length.start]), float(x[a.sub_length.end])],
            "mean_depth": a.mean_depth.magnitude, "internal": outcome.bundle.case.defect.kind.startswith("internal")}


def _extremes(d: np.ndarray) -> np.ndarray:
    """Indices of the deepest and the shallowest station of each block, and of both ends."""
    edges = np.linspace(0, len(d), MOST_STATIONS // 2 + 1).astype(int)
    found = {0, len(d) - 1}
    for a, b in pairwise(edges):
        found |= {a + int(np.argmax(d[a:b])), a + int(np.argmin(d[a:b]))}
    return np.array(sorted(found))


def _allowable(outcome: Outcome, show: Show) -> dict[str, Any] | None:
    found, a = outcome.allowable, outcome.assessment
    if found is None or a is None:
        return None
    u = outcome.bundle.case.uncertainty
    tolerance = None
    if u.depth_tolerance is not None:
        tolerance = [0.0 if u.length_tolerance is None else u.length_tolerance.base, u.depth_tolerance.base,
                     u.depth_confidence.written]
    return {"length": show(found.length), "depth": show(found.depth), "pressure": show(found.pressure),
            "point": [a.length.magnitude, a.depth.magnitude], "tolerance": tolerance,
            "curves": [{"method": name, "points": [list(p) for p in points], "governs": name == a.governing_form}
                       for name, points in found.curves]}


def _life(outcome: Outcome, show: Show) -> dict[str, Any] | None:
    found = outcome.life
    if found is None:
        return None
    return {"rate": show(found.rate), "length_rate": show(found.length_rate), "basis": found.basis,
            "time_to_depth": show(found.time_to_depth), "time_to_safe": show(found.time_to_safe),
            "time_to_pressure": show(found.time_to_pressure),
            "life": show(found.life), "interval": show(found.interval), "words": found.words,
            "target": show(found.target), "years": list(found.years), "depth": list(found.depth),
            "failure": list(found.failure), "limit_depth": found.limit_depth,
            "failure_is_safe": found.failure_is_safe, "events": [list(e) for e in found.events],
            "start": found.start}


def _chance(outcome: Outcome, show: Show) -> dict[str, Any] | None:
    found = outcome.chance
    if found is None:
        return None
    return {"depth_deviation": show(found.depth_deviation), "length_deviation": show(found.length_deviation),
            "by_depth": show(found.by_depth), "by_pressure": show(found.by_pressure),
            "years": list(found.years), "high_depth": list(found.high_depth), "depth_curve": list(found.depth_curve),
            "pressure_curve": list(found.pressure_curve)}


def _disposition(outcome: Outcome) -> dict[str, Any] | None:
    d = outcome.disposition
    if d is None:
        return None

    def finding(f: rules.Finding) -> dict[str, Any]:
        c = f.criterion
        return {"paragraph": c.paragraph, "class": c.deadline.name, "deadline": c.deadline.words, "text": c.text,
                "verdict": f.verdict, "because": list(f.because),
                "missing": [rules.FACTS[m].label if m in rules.FACTS else m for m in f.missing],
                "citation": c.citation, "status": c.status, "leads": f is d.leading}

    return {"why": d.why, "sentence": d.sentence, "care": list(d.care), "excluded": list(d.excluded),
            "lists": [{"rule": r.criteria.rule, "title": r.criteria.title, "as_of": r.criteria.text_as_of,
                       "recheck": r.criteria.recheck, "status": r.criteria.status,
                       "findings": [finding(f) for f in r.findings]} for r in (*d.lists, d.exclusions)]}


def _options(outcome: Outcome, show: Show) -> list[dict[str, Any]]:
    interim = outcome.decision.interim
    return [{"option": o.words, "pressure": show(o.pressure), "note": o.note, "taken": o.taken}
            for o in interim.options] if interim else []
