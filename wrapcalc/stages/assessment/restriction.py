"""Pressure limit until the repair: the options of the rule side by side, and the one that is taken."""

from __future__ import annotations

from dataclasses import dataclass

from wrapcalc.case import Bundle
from wrapcalc.case.model import LIQUID, PLANT, REDUCTIONS
from wrapcalc.formulas import pressure
from wrapcalc.formulas import restriction as reduced
from wrapcalc.recorder import active
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.assessment.axial import axial_limit
from wrapcalc.stages.scope import discovery_fraction
from wrapcalc.standards.documents import CFR_192, CFR_195
from wrapcalc.values import Value

DISCOVERY, BY_FACTOR, BY_RATIO, STRENGTH = REDUCTIONS
RECENT = "share of the two months' pressure"


@dataclass(frozen=True)
class Option:
    """One option of the rule. pressure None: it cannot be worked out, and note says why."""

    words: str
    pressure: Value | None
    note: str
    taken: bool = False


@dataclass(frozen=True)
class Interim:
    """The limit until the repair is accepted or the MAOP is lowered, and the options it was taken from.

    also: what has to be done besides, where no pressure is low enough.
    """

    limit: Value
    options: tuple[Option, ...] = ()
    also: str = ""


def interim_limit(bundle: Bundle, a: Assessment | None) -> Interim:
    """The limit: the option that the case names with a reason, or the lower of discovery and safe pressure."""
    rec, case = active(), bundle.case
    rec.begin("Interim pressure limit")
    entry = discovery_fraction(bundle)
    discovery = case.value("service.discovery_pressure")
    share = pressure.discovery_pressure_limit(entry.value(), discovery)
    options = _options(bundle, a, share, discovery)
    chosen = case.disposition.reduction
    taken = next((o for o in options if o.words == chosen), None)
    if taken is not None and taken.pressure is not None:
        rec.assume(f"The pressure is reduced by the option “{chosen}”, because: {case.disposition.reduction_reason}",
                   "case: disposition.reduction")
        limit = rec.named(pressure.lower_pressure(taken.pressure, discovery), "Interim pressure limit, option chosen")
        if a is not None and a.governing is not None and limit.magnitude > a.governing.magnitude:
            rec.warn(f"The chosen option, {limit.show(case.display)}, is above the governing safe pressure: the "
                     f"limit is brought down to {a.governing.show(case.display)}.", limit.origin.ref)
            limit = rec.named(pressure.lower_pressure(limit, a.governing),
                              "Interim pressure limit, option chosen, not above the safe pressure")
    elif a is None or a.governing is None or a.axial_check is None:
        limit = share
    else:
        rec.assume(f"The interim limit takes {entry.written} of the pressure at discovery and the safe pressure, "
                   "whichever is lower; the rule asks for one of its options.", entry.citation)
        limit = pressure.interim_pressure_limit(entry.value(), discovery, a.governing)
    if chosen and (taken is None or taken.pressure is None):
        rec.warn(f"The option “{chosen}” cannot be worked out for this case; the lowest that can be is taken.",
                 "case: disposition.reduction")
    also = ""
    if a is not None and a.axial_check is not None and not a.axial_check.met and a.section is not None:
        axial = axial_limit(bundle, a.section, a.axial_check, case.value("service.maop"), a.allowable)
        also = "" if axial is not None else ("relieve the external loads before anyone works beside the pipe: no "
                                             "pressure keeps the axial stress inside its limit")
        if axial is not None:
            limit = rec.named(pressure.lower_pressure(limit, axial), "Interim pressure limit, axial section included")
    if case.get("service.maop").base < limit.magnitude:
        limit = rec.named(pressure.lower_pressure(limit, case.value("service.maop")),
                          "Interim pressure limit, not above the MAOP")
    for i, r in enumerate(case.restriction):
        if r.pressure is not None and r.pressure.base < limit.magnitude:
            limit = rec.named(pressure.lower_pressure(limit, case.value(f"restriction.{i}.pressure")),
                              f"Interim pressure limit, {r.reference} included")
    return Interim(limit, tuple(Option(o.words, o.pressure, o.note, o is taken and o.pressure is not None)
                                for o in options), also)


def _options(bundle: Bundle, a: Assessment | None, share: Value, discovery: Value) -> list[Option]:
    case, tables = bundle.case, bundle.tables
    failure = None if a is None or a.too_deep else a.failure
    no_method = "no failure pressure by a method of the rule"

    def option(words: str, value: Value | None, why: str = no_method) -> Option:
        if value is None:
            return Option(words, None, why)
        return Option(words, value, "no reduction by this option: it is above the pressure at discovery"
                      if value.magnitude > discovery.magnitude else "")

    out = [option(DISCOVERY, share)]
    if case.service.service == PLANT:
        return [*out, option(STRENGTH, None if a is None else a.governing)]
    if case.service.service == LIQUID:
        recent = case.optional("disposition.two_month_pressure")
        out.append(option(STRENGTH, None if a is None or a.too_deep else a.governing))
        value = None if recent is None else reduced.reduced_pressure_from_recent_months(
            tables.value(CFR_195.id, "discovery_fraction"), recent)
        return [*out, option(RECENT, value, "disposition.two_month_pressure is not stated; the rule takes it where no "
                                            "method of remaining strength applies")]
    factor = None if a is None else a.design_factor
    by_factor = by_ratio = None
    if failure is not None and factor is not None:
        by_factor = reduced.reduced_pressure_by_design_factor(failure, factor)
        by_ratio = reduced.reduced_pressure_by_failure_ratio(failure, tables.value(CFR_192.id, "reduction_ratio"))
    return [*out, option(BY_FACTOR, by_factor), option(BY_RATIO, by_ratio)]
