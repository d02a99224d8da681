"""Faults of what stands beside the metal loss: a feature without its size, or with one that cannot be."""

from __future__ import annotations

from collections.abc import Iterator

from wrapcalc.case.model import GAS, Case
from wrapcalc.errors import Fault


def feature_faults(case: Case, name: str, lines: dict[str, int]) -> Iterator[Fault]:
    """Every contradiction of [features] and [disposition] in itself, with the kind of defect and with the pipe."""
    f, kind = case.features, case.defect.kind

    def fault(field: str, found: str, allowed: str, mend: str, at: str = "") -> Fault:
        return Fault(name, field, found, allowed, mend, lines.get(field) or lines.get(at))

    told = {"dent_depth": [n for n in ("dent_clock", "dent_strain_passed") if getattr(f, n)]
            + [n for n in ("dent_stress_riser", "dent_at_weld") if getattr(f, n) == "yes"],
            "gouge_depth": ["gouge_ground"] if f.gouge_ground and f.arc_burn != "yes" else []}
    for depth, answers in told.items():
        if answers and getattr(f, depth) is None and kind != depth.partition("_")[0]:
            yield fault(f"features.{depth}", "nothing", f"the depth, beside {', '.join(answers)}",
                        f"state {depth}, or remove {answers[0]}", f"features.{answers[0]}")
    if f.crack == "no" and (kind == "crack" or f.crack_depth is not None or f.crack_beyond_tool == "yes"):
        yield fault("features.crack", "'no'", "'yes': a crack is stated", "correct the kind of defect, or this")
    wall = case.get("pipe.nominal_wall")
    for depth in ("crack_depth", "gouge_depth"):
        given = getattr(f, depth)
        if wall is not None and given is not None and given.base > wall.base:
            yield fault(f"features.{depth}", f"'{given.written}'", f"at most pipe.nominal_wall = {wall.written}",
                        "check the depth and its unit; what goes through the wall is kind = \"leak\"")
    diameter = case.get("pipe.outside_diameter")
    if f.dent_depth is not None and diameter is not None and f.dent_depth.base > diameter.base / 2:
        yield fault("features.dent_depth", f"'{f.dent_depth.written}'",
                    f"at most half of pipe.outside_diameter = {diameter.written}", "check the depth and its unit")
    d = case.disposition
    if d.higher_pressure is not None and d.higher_pressure_by is None:
        yield fault("disposition.higher_pressure_by", "nothing", "a name", "say who allows the higher pressure",
                    "disposition.higher_pressure")
    if d.reduction == "remaining strength" and case.service.service == GAS:
        yield fault("disposition.reduction", f"'{d.reduction}'", "an option of 49 CFR 192 for a gas line: share of "
                    "discovery pressure, failure pressure times design factor, failure pressure over 1.1",
                    "choose one of them")
