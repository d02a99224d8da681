"""Faults that need more than one field: a wall thinner than the defect is deep, a pressure above yield."""

from __future__ import annotations

import math
from collections.abc import Iterator

from wrapcalc.case.model import WALL_BASES, Case
from wrapcalc.errors import Fault
from wrapcalc.fields import line_numbers


def inconsistencies(case: Case, raw: bytes, name: str) -> Iterator[Fault]:
    """Every contradiction of the case file."""
    lines = line_numbers(raw)

    def base(field: str) -> float | None:
        given = case.get(field)
        return None if given is None else given.base

    def fault(field: str, allowed: str, mend: str) -> Fault:
        return Fault(name, field, f"'{case.get(field).written}'", allowed, mend, lines.get(field))

    def written(field: str) -> str:
        return f"{field} = {case.get(field).written}"

    walls = [w for f in ("pipe.nominal_wall", "pipe.sound_wall") if (w := base(f)) is not None]
    wall = min(walls, default=None)
    diameter, depth, length = base("pipe.outside_diameter"), base("defect.depth"), base("defect.length")
    if wall is not None and depth is not None and depth > wall:
        yield fault("defect.depth", f"at most the wall, {wall:g} mm", "check depth and wall, and their units; "
                    "a through-wall defect is kind = \"leak\"")
    if diameter is not None and walls and max(walls) >= diameter / 4:
        yield fault("pipe.outside_diameter", f"more than four times the wall, {4 * max(walls):g} mm",
                    "check diameter and wall, and their units")
    if len(walls) == 2 and not 0.5 <= walls[1] / walls[0] <= 1.5:
        yield fault("pipe.sound_wall", f"half to one and a half times {written('pipe.nominal_wall')}",
                    "check both walls and their units; sound wall is measured beside the defect")
    if (allowance := base("pipe.wall_allowance")) is not None and wall is not None and allowance >= wall:
        yield fault("pipe.wall_allowance", f"less than the wall, {wall:g} mm", "check the allowance and its unit")
    if (width := base("defect.width")) is not None and diameter is not None and width > math.pi * diameter:
        yield fault("defect.width", f"at most the circumference, {math.pi * diameter:.1f} mm",
                    "check the width and its unit")
    if length is not None and length > 20_000:
        yield fault("defect.length", "at most 20 m, the length of a joint", "check the length and its unit")
    yield from _strengths(case, fault, base, written)
    yield from _temperatures(case, fault, base, written)
    yield from _reasons(case, name, lines)
    for field in ("defect.grid_extension", "defect.deepest_axial", "defect.deepest_around"):
        if case.get(field) is not None and case.defect.grid is None:
            yield fault(field, "nothing: the case names no depth grid", "name the grid in defect.grid, or remove this")


def _strengths(case: Case, fault, base, written) -> Iterator[Fault]:
    smys, smts = base("pipe.smys"), base("pipe.smts")
    if smys is not None and smts is not None and smys > smts:
        yield fault("pipe.smys", f"at most {written('pipe.smts')}", "check whether the two were exchanged")
    t, d = base("pipe.nominal_wall"), base("pipe.outside_diameter")
    if None not in (smys, t, d):
        yielding = 2 * smys * t / d
        for field in ("maop", "discovery_pressure", "lowered_maop", "upset_pressure", "installation_pressure"):
            p = base(f"service.{field}")
            if p is not None and p > yielding:
                yield fault(f"service.{field}", f"at most {yielding:.4g} MPa, which brings the sound pipe to SMYS",
                            "check the pressure, the wall and their units")
    maop, lowered = base("service.maop"), base("service.lowered_maop")
    if maop is not None and lowered is not None and lowered >= maop:
        yield fault("service.lowered_maop", f"less than {written('service.maop')}", "check which is which")
    upset = base("service.upset_pressure")
    if upset is not None and maop is not None and upset < maop:
        yield fault("service.upset_pressure", f"at least {written('service.maop')}; leave it out when the MAOP is "
                    "not exceeded", "check which is which")


def _temperatures(case: Case, fault, base, written) -> Iterator[Fault]:
    hot, cold = base("service.service_temperature"), base("service.lowest_temperature")
    if hot is not None and cold is not None and cold > hot:
        yield fault("service.lowest_temperature", f"at most {written('service.service_temperature')}",
                    "check which is which")


def _reasons(case: Case, name: str, lines: dict[str, int]) -> Iterator[Fault]:
    """A choice that leaves the safer reading needs its reason."""
    for field, reason, chosen in (
            ("pipe.wall_basis", "pipe.wall_basis_reason", case.pipe.wall_basis not in (None, WALL_BASES[0])),
            ("assessment.method", "assessment.method_reason", case.assessment.method not in (None, "lower of all")),
            ("service.lower_design_factor", "service.lower_design_factor_reason",
             case.service.lower_design_factor is not None),
            ("service.lowered_maop", "service.lowered_maop_reason", case.service.lowered_maop is not None)):
        if chosen and case.get(reason) is None:
            what = case.get(field)
            yield Fault(name, reason, "nothing", "a text",
                        f"say why {field} = {getattr(what, 'written', what)} was chosen", lines.get(field))
