"""What the run says to the people on site, as plain data: the dig, and the site sheet of a wrap."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from wrapcalc import record_materials, record_release, record_weather
from wrapcalc.record_dig import dig_data
from wrapcalc.values import Value

if TYPE_CHECKING:
    from wrapcalc.stages.job import Outcome
    from wrapcalc.stages.site.curing import CurePlan
    from wrapcalc.stages.site.mixing import Batch, Window

AsData = Callable[[Value | None], dict[str, Any] | None]


def part(outcome: Outcome, data: AsData) -> dict[str, Any]:
    """dig: None where the case states nothing of it; wrap: None where there is none; not_stated: questions of the
    site that the case leaves open."""
    display, for_site = outcome.recorder.system, outcome.site
    out: dict[str, Any] = {"dig": dig_data(outcome.dig, data, display), "wrap": None,
                           "not_stated": outcome.bundle.case.unanswered({"site"})}
    if for_site is None:
        return out
    s = for_site
    out["wrap"] = {
        "marks": record_materials.marks(s.marks, data, display),
        "materials": record_materials.materials(s.materials, data, display),
        "mixing": [_batch(b, data) for b in s.mixing], "weather": record_weather.part(s.weather, data),
        "cure": _cure(s.cure, data),
        **record_release.parts(s.accepted, s.restoration, s.holiday, s.blasting, s.points, s.laminate, s.cautions,
                               data)}
    return out


def table_refs(outcome: Outcome) -> list[str]:
    """Keys of table entries that the sheets print without being an input of a step."""
    s = outcome.site
    return [] if s is None else record_release.table_refs(s.points, s.laminate)


def _batch(b: Batch, data: AsData) -> dict[str, Any]:
    doses = [None if d is None else {"governing": data(d.governing), "hardener": data(d.hardener),
                                     "mixed": data(d.mixed), "by_mass": data(d.by_mass), "by_volume": data(d.by_volume)}
             for d in (b.low, b.high)]
    return {"material": b.material, "rule": b.rule, "reading": b.reading, "packs": data(b.packs),
            "resin": data(b.resin), "mixing_time": data(b.mixing_time), "stages": b.stages, "laid_with": b.laid_with,
            "governing": [data(g) for g in b.governing], "low": doses[0], "high": doses[1], "batches": data(b.batches),
            "part": b.part, "cautions": list(b.cautions), "checks": [c.id for c in b.checks],
            "rows": [{"shown": list(r.shown), "added": r.added} for r in b.rows], "window": _window(b.window, data)}


def _window(w: Window | None, data: AsData) -> dict[str, Any] | None:
    return None if w is None else {
        "materials": list(w.materials), "pot_life": data(w.pot_life), "mixing": data(w.mixing),
        "allowed": data(w.allowed), "needed": data(w.needed), "margin": data(w.margin), "words": w.words,
        "check": w.check.id if w.check else None, "remedies": list(w.remedies)}


def _cure(c: CurePlan | None, data: AsData) -> dict[str, Any] | None:
    return None if c is None else {"time": data(c.time), "earliest": c.earliest, "words": c.words,
                                   "checks": [x.id for x in c.checks]}
