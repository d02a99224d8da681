"""Faults of what a case says about the design of the wrap, where more than one field is needed to see them."""

from __future__ import annotations

from collections.abc import Iterator

from wrapcalc.case.design_model import ASME_EDITIONS, BY_STEEL, ROUTES, THICKER, Tolerance
from wrapcalc.case.model import LEAK, Case
from wrapcalc.errors import Fault
from wrapcalc.systems.model import System

#: Routes that count on the steel and therefore need no word about who carries the axial load.
_WITH_STEEL = ROUTES[:2]


def design_faults(case: Case, name: str, lines: dict[str, int]) -> Iterator[Fault]:
    """Every contradiction in what is said of the wrap, its loads and its tolerances."""
    def stated(field: str) -> str | None:
        given = case.get(field)
        return None if given is None else str(getattr(given, "written", given))

    def fault(field: str, allowed: str, mend: str, *, at: str = "") -> Fault:
        found = stated(field)
        return Fault(name, field, "nothing" if found is None else f"'{found}'", allowed, mend,
                     lines.get(field) or lines.get(at or field.partition(".")[0]))

    low, high = case.get("service.cycle_low"), case.get("service.cycle_high")
    if (low is None) != (high is None):
        missing, there = ("low", "high") if low is None else ("high", "low")
        yield fault(f"service.cycle_{missing}", "both pressures of the cycles, or neither",
                    f"add cycle_{missing}; without both, the cycles are taken down to nothing",
                    at=f"service.cycle_{there}")
    if low is not None and high is not None and low.base > high.base:
        yield fault("service.cycle_low", f"at most cycle_high = {high.written}", "check which is which")
    for field in ("cycle_low", "cycle_high", "cycle_basis"):
        if stated(f"service.{field}") is not None and case.get("service.pressure_cycles") is None:
            yield fault("service.pressure_cycles", f"the number of cycles beside {field}", "add pressure_cycles",
                        at=f"service.{field}")
            break
    for reason, field, chosen in (
            ("axial_carried_by_reason", "axial_carried_by", case.design.axial_carried_by == BY_STEEL),
            ("limited_room_reason", "limited_room", case.design.limited_room == THICKER)):
        if chosen and stated(f"design.{reason}") is None:
            why = f"say why design.{field} = {stated(f'design.{field}')} was chosen"
            yield fault(f"design.{reason}", "a text", why, at=f"design.{field}")
    if case.design.axial_carried_by is not None and case.design.design_method in _WITH_STEEL[:1]:
        yield fault("design.axial_carried_by", f"nothing with the route “{case.design.design_method}”: steel and wrap "
                    "share the axial load there", "remove it, or choose another route")
    if case.design.repair_class is not None and case.design.standard in ASME_EDITIONS:
        yield fault("design.repair_class", f"nothing: {case.design.standard} has no repair classes",
                    "remove it, or name an edition of ISO 24817")
    test, restored = case.get("service.test_pressure"), case.get("service.lowered_maop") or case.get("service.maop")
    if test is not None and restored is not None and test.base < restored.base:
        yield fault("service.test_pressure", f"at least the pressure to be restored, {restored.written}",
                    "a test below it proves nothing; correct it or leave it out")
    yield from _of_leak(case, fault)
    yield from _tolerances(case, fault)


def _of_leak(case: Case, fault) -> Iterator[Fault]:
    if case.defect.kind in (None, LEAK):
        return
    for field in ("leak_shape", "leak_size", "leak_growth", "leak_stopped"):
        if case.get(f"defect.{field}") is not None:
            yield fault(f"defect.{field}", f"nothing for kind = “{case.defect.kind}”",
                        f'write kind = "{LEAK}" if there is an opening through the wall, or remove this')


def _tolerances(case: Case, fault) -> Iterator[Fault]:
    samples, seed = case.get("tolerance.samples"), case.get("tolerance.seed")
    if (samples is None) != (seed is None):
        missing, there = ("samples", "seed") if samples is None else ("seed", "samples")
        yield fault(f"tolerance.{missing}", "samples and seed together",
                    f"add {missing}, so that the simulation can be repeated", at=f"tolerance.{there}")
    of_inputs = [n for n in Tolerance.model_fields if n not in ("samples", "seed")]
    if samples is not None and all(case.get(f"tolerance.{n}") is None for n in of_inputs):
        yield fault("tolerance.samples", "at least one tolerance beside it: " + ", ".join(of_inputs),
                    "state how well the inputs are known, or remove the simulation")
    depth, nominal, wall = (case.get(n) for n in ("defect.depth", "pipe.nominal_wall", "tolerance.wall"))
    if depth is not None and nominal is not None and wall is not None and wall.base >= nominal.base - depth.base:
        yield fault("tolerance.wall", f"less than what is left of the wall, {nominal.base - depth.base:.4g} mm",
                    "check the tolerance and its unit")
    for part, whole in (("depth", "defect.depth"), ("length", "defect.length")):
        half, base = case.get(f"tolerance.{part}"), case.get(whole)
        if half is not None and base is not None and half.base >= base.base:
            yield fault(f"tolerance.{part}", f"less than {whole} = {base.written}", "check the tolerance and its unit")


def system_faults(case: Case, system: System, name: str, lines: dict[str, int]) -> Iterator[Fault]:
    """What the case says that its system cannot be."""
    tiers = case.get("design.tiers")
    if tiers is not None and tiers.base > 1 and not system.is_sleeve:
        yield Fault(name, "design.tiers", f"'{tiers.written}'", "nothing for a wet lay-up: its layers are sized",
                    "remove it, or name a layered sleeve", lines.get("design.tiers"))
