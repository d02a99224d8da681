"""Faults that need more than one field: a wall thinner than the defect is deep, a pressure above yield."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator

from wrapcalc.case.features import feature_faults
from wrapcalc.case.model import AREA, LOWEST, PLANT, RSF, WALL_BASES, Case
from wrapcalc.errors import Fault
from wrapcalc.reading import line_numbers


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
    allowance = base("assessment.corrosion_allowance")
    if allowance is not None and wall is not None and allowance >= wall - (base("pipe.wall_allowance") or 0):
        yield fault("assessment.corrosion_allowance", f"less than the wall, {wall:g} mm, less its allowance",
                    "check the allowance and its unit")
    if length is not None and length > 20_000:
        yield fault("defect.length", "at most 20 m, the length of a joint", "check the length and its unit")
    yield from _strengths(case, fault, base, written)
    yield from _temperatures(case, fault, base, written)
    yield from _reasons(case, name, lines)
    yield from _measurements(case, name, lines, fault)
    yield from _neighbour(case, fault, written)
    yield from _history(case, name, lines)
    yield from _method(case, name, lines)
    yield from feature_faults(case, name, lines)


def _strengths(case: Case, fault, base, written) -> Iterator[Fault]:
    smys, smts = base("pipe.smys"), base("pipe.smts")
    above: set[str] = set()
    if smys is not None and smts is not None and smys > smts:
        yield fault("pipe.smys", f"at most {written('pipe.smts')}", "check whether the two were exchanged")
    t, d = base("pipe.nominal_wall"), base("pipe.outside_diameter")
    if None not in (smys, t, d):
        yielding = 2 * smys * t / d
        pressures = [f"service.{n}" for n in ("maop", "discovery_pressure", "lowered_maop", "upset_pressure",
                                              "installation_pressure", "test_pressure", "cycle_high",
                                              "cycle_low")]
        pressures += ["disposition.two_month_pressure", *(f"restriction.{i}.pressure"
                                                          for i in range(len(case.restriction)))]
        for field in pressures:
            p = base(field)
            if p is not None and p > yielding:
                above.add(field)
                yield fault(field, f"at most {yielding:.4g} MPa, which brings the sound pipe to SMYS",
                            "check the pressure, the wall and their units")
    maop, higher = base("service.maop"), base("disposition.higher_pressure")
    if maop is not None and higher is not None and higher > maop:
        yield fault("disposition.higher_pressure", f"at most {written('service.maop')}",
                    "nobody works beside the pipe above its MAOP")
    stress = base("service.allowable_stress")
    if smys is not None and stress is not None and stress > smys:
        yield fault("service.allowable_stress", f"at most {written('pipe.smys')}",
                    "check the table of the code, and the unit")
    maop, lowered = base("service.maop"), base("service.lowered_maop")
    if maop is not None and lowered is not None and lowered >= maop:
        yield fault("service.lowered_maop", f"less than {written('service.maop')}", "check which is which")
    discovery = base("service.discovery_pressure")
    if (maop is not None and discovery is not None and discovery > _MOST_OVER_MAOP * maop
            and "service.discovery_pressure" not in above):
        yield fault("service.discovery_pressure", f"at most {_MOST_OVER_MAOP:g} times {written('service.maop')}, "
                    "the MAOP", "check both pressures and their units: one of them is not of this line")
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
            ("assessment.method", "assessment.method_reason", case.assessment.method not in (None, LOWEST)),
            ("assessment.interaction", "assessment.interaction_reason",
             case.assessment.interaction not in (None, "all one")),
            ("defect.noise_threshold", "defect.noise_threshold_reason", case.defect.noise_threshold is not None),
            ("growth.basis", "growth.basis_reason", case.growth.basis is not None),
            ("disposition.reduction", "disposition.reduction_reason", case.disposition.reduction is not None),
            ("disposition.higher_pressure", "disposition.higher_pressure_reason",
             case.disposition.higher_pressure is not None),
            ("service.lower_design_factor", "service.lower_design_factor_reason",
             case.service.lower_design_factor is not None),
            ("service.lowered_maop", "service.lowered_maop_reason", case.service.lowered_maop is not None)):
        if chosen and case.get(reason) is None:
            what = case.get(field)
            yield Fault(name, reason, "nothing", "a text",
                        f"say why {field} = {getattr(what, 'written', what)} was chosen", lines.get(field))


def _measurements(case: Case, name: str, lines: dict[str, int], fault) -> Iterator[Fault]:
    d = case.defect
    given = [f for f in ("grid", "profile", "pits") if getattr(d, f)]
    if len(given) > 1:
        yield Fault(name, f"defect.{given[1]}", f"{' and '.join(given)} together", "one of grid, profile, pits",
                    "name the one that was measured; a grid holds its own profile", lines.get(f"defect.{given[1]}"))
    for field, holders in (("grid_extension", ("grid", "profile")), ("deepest_axial", ("grid",)),
                           ("deepest_around", ("grid",)), ("noise_threshold", ("grid",)), ("rejoin_gap", ("pits",)),
                           ("second_grid", ("grid",))):
        if case.get(f"defect.{field}") is not None and not any(getattr(d, h) for h in holders):
            what = {"grid": "depth grid", "profile": "profile", "pits": "table of pits"}
            given = case.get(f"defect.{field}")
            yield Fault(name, f"defect.{field}", f"'{getattr(given, 'written', given)}'", "nothing: the case names no "
                        + " or ".join(what[h] for h in holders), f"name it in defect.{holders[0]}, or remove this",
                        lines.get(f"defect.{field}"))
    rule, sides = case.assessment.interaction, ("axial", "around")
    for side in sides:
        stated = case.get(f"assessment.interaction_{side}")
        if stated is not None and rule != "own":
            yield fault(f"assessment.interaction_{side}", 'nothing, unless interaction = "own"',
                        'write interaction = "own", or remove this')
        if rule == "own" and stated is None:
            yield Fault(name, f"assessment.interaction_{side}", "nothing", "the gap of the own rule",
                        "state both gaps of the own rule", lines.get("assessment.interaction"))
    if rule is not None and not (d.grid or d.pits):
        yield Fault(name, "assessment.interaction", f"'{rule}'", "nothing: there are no pits to part",
                    "name a grid or a table of pits, or remove this", lines.get("assessment.interaction"))


def _neighbour(case: Case, fault, written) -> Iterator[Fault]:
    """Across a girth weld the lower wall and grade of the two joints stand in [pipe]."""
    for what in ("nominal_wall", "sound_wall", "smys", "smts"):
        ours, other = case.get(f"pipe.{what}"), case.get(f"pipe.other_{what}")
        if ours is not None and other is not None and other.base < ours.base:
            yield fault(f"pipe.other_{what}", f"at least {written(f'pipe.{what}')}: the lower of the two joints "
                        "governs, and stands there", f"exchange {what} and other_{what}")


#: A pressure at discovery beyond so many MAOPs is a slip of a unit, not an event (our own judgement: lines are relieved
#: at 1.1, and the units of pressure lie a factor of 7 and more apart).
_MOST_OVER_MAOP = 3.0
_ALL = ("two measurements", "full life", "half life", "stated", "soil class")
#: Field of [growth] -> the bases that use it.
_OF_BASIS = {"earlier_date": _ALL[:1], "earlier_depth": _ALL[:1], "earlier_length": _ALL[:1],
             "service_date": _ALL[1:3], "measured_date": _ALL, "rate": _ALL[3:4], "soil": _ALL[4:],
             "length_rate": _ALL, "failure_ratio": _ALL, "planned_interval": _ALL}


def _history(case: Case, name: str, lines: dict[str, int]) -> Iterator[Fault]:
    """Dates in their order, sizes that do not shrink, and what each basis of growth needs."""
    g = case.growth

    def fault(field: str, found: str, allowed: str, mend: str) -> Fault:
        return Fault(name, f"growth.{field}", found, allowed, mend,
                     lines.get(f"growth.{field}") or lines.get("growth.basis"))

    needed = {"two measurements": ("measured_date", "earlier_date", "earlier_depth"),
              "full life": ("measured_date", "service_date"), "half life": ("measured_date", "service_date"),
              "stated": ("rate",), "soil class": ("soil",)}.get(g.basis, ())
    for field in needed:
        if getattr(g, field) is None:
            yield fault(field, "nothing", f"what the basis “{g.basis}” needs: {', '.join(needed)}", f"add {field}")
    for earlier in ("earlier_date", "service_date"):
        first, last = getattr(g, earlier), g.measured_date
        if first is not None and last is not None:
            apart = (datetime.date.fromisoformat(last) - datetime.date.fromisoformat(first)).days
            if apart < 30:
                yield fault(earlier, f"'{first}'", f"at least 30 days before measured_date = {last}",
                            "check both dates: the earlier one comes first")
    for what in ("depth", "length"):
        before, now = getattr(g, f"earlier_{what}"), case.get(f"defect.{what}")
        if before is not None and now is not None and before.base > now.base:
            yield fault(f"earlier_{what}", f"'{before.written}'", f"at most defect.{what} = {now.written}: loss does "
                        "not grow back", "check both measurements; if the difference is measuring error, state a rate "
                        "or take the half life")
    for field, bases in _OF_BASIS.items():
        value = getattr(g, field)
        if value is not None and g.basis not in bases:
            yield fault(field, f"'{getattr(value, 'written', value)}'",
                        f"nothing with the basis “{g.basis}”" if g.basis else "a basis of growth beside it",
                        "remove it, or write basis = " + " or ".join(f'"{b}"' for b in bases))
    u = case.uncertainty
    for what in ("depth", "length"):
        if (getattr(u, f"{what}_tolerance") is None) != (getattr(u, f"{what}_confidence") is None):
            missing = f"{what}_confidence" if getattr(u, f"{what}_confidence") is None else f"{what}_tolerance"
            yield Fault(name, f"uncertainty.{missing}", "nothing", "tolerance and confidence together",
                        f"add {missing}: a tolerance means nothing without its confidence",
                        lines.get(f"uncertainty.{what}_tolerance") or lines.get(f"uncertainty.{what}_confidence"))
    for field in ("length_tolerance", "samples"):
        if getattr(u, field) is not None and u.depth_tolerance is None:
            yield Fault(name, "uncertainty.depth_tolerance", "nothing", f"the tolerance of depth, beside {field}",
                        "add depth_tolerance and depth_confidence, or remove it", lines.get(f"uncertainty.{field}"))
    if (u.samples is None) != (u.seed is None):
        missing = "seed" if u.seed is None else "samples"
        yield Fault(name, f"uncertainty.{missing}", "nothing", "samples and seed together",
                    f"add {missing}, so that the simulation can be repeated", lines.get("uncertainty.samples"))


def _method(case: Case, name: str, lines: dict[str, int]) -> Iterator[Fault]:
    method, line = case.assessment.method, lines.get("assessment.method")
    plant = case.service.service == PLANT
    if method == AREA and not (case.defect.grid or case.defect.profile or case.defect.pits):
        yield Fault(name, "assessment.method", f"'{method}'", "a method that takes one depth and one length: there is "
                    "no profile", "name a profile, a grid or a table of pits in [defect]", line)
    if method is not None and case.service.service is not None and method != LOWEST and plant != (method == RSF):
        allowed = RSF if plant else "a method for pipelines"
        yield Fault(name, "assessment.method", f"'{method}'", f"{allowed}, for service = “{case.service.service}”",
                    "choose another method", line)
    if case.service.restraint in ("restrained", "unknown") and case.service.tie_in_temperature is None:
        yield Fault(name, "service.tie_in_temperature", "nothing", "the steel temperature at tie-in, for a pipe that "
                    "is or may be restrained", "add tie_in_temperature", lines.get("service.restraint"))
    for i, r in enumerate(case.restriction):
        blank = r.pressure is None and r.reference is None
        for key in ("pressure", "reference"):
            if getattr(r, key) is None and not blank:
                yield Fault(name, f"restriction.{i}.{key}", "nothing", "pressure and reference of each restriction",
                            f"add {key}", lines.get(f"restriction.{i}"))
