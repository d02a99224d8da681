"""Pressure while people are beside the pipe: the lowest of every limit that holds, or a higher one with a name."""

from __future__ import annotations

from wrapcalc.case import Bundle
from wrapcalc.checks import compare
from wrapcalc.formulas import pressure
from wrapcalc.recorder import active
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.assessment.axial import axial_limit
from wrapcalc.stages.scope import discovery_fraction
from wrapcalc.standards.documents import PRACTICE
from wrapcalc.values import Value


def pressure_beside(bundle: Bundle, a: Assessment | None, interim: Value | None) -> Value | None:
    """The lowest limit; None where not even the pressure at discovery is known.

    interim: the limit that the decision has laid down, in which the chosen restriction is contained.
    """
    rec, case = active(), bundle.case
    discovery = case.optional("service.discovery_pressure")
    if discovery is None:
        return None
    rec.begin("Pressure while people are beside it")
    share = discovery_fraction(bundle)
    lowest = rec.named(pressure.discovery_pressure_limit(share.value(), discovery),
                       "Share of the pressure at discovery")
    if a is None or a.governing is None:
        rec.assume("No strength method stands behind the pressure while people are beside the pipe; those who are "
                   "licensed may ask for less.", "scope")
    limits: list[tuple[str, Value]] = []
    axial = None
    if a is not None and a.governing is not None:
        limits.append(("governing safe pressure", a.governing))
        if a.axial_check is not None and not a.axial_check.met and a.section is not None:
            axial = axial_limit(bundle, a.section, a.axial_check, case.value("service.maop"), a.allowable)
            if axial is not None:
                limits.append(("axial section", axial))
    if interim is not None:
        limits.append(("interim limit", interim))
    installation = case.optional("service.installation_pressure")
    if installation is not None:
        limits.append(("installation pressure", installation))
    limits += [(f"restriction {r.reference}", case.value(f"restriction.{i}.pressure"))
               for i, r in enumerate(case.restriction) if r.pressure is not None]
    for i, (words, limit) in enumerate(limits):
        last = i == len(limits) - 1
        lowest = rec.named(pressure.lower_pressure(lowest, limit), "Pressure while people are beside the pipe" if last
                           else f"Lower pressure, {words} included")
    higher = case.optional("disposition.higher_pressure")
    if higher is None:
        return lowest
    if compare(higher, "<=", lowest):
        rec.assume("The higher pressure of the case is not above the lowest limit; the lowest limit holds.",
                   "case: disposition.higher_pressure")
        return lowest
    d = case.disposition
    strong, words = (a.governing if a is not None else None), "governing safe pressure"
    if strong is not None and axial is not None and axial.magnitude < strong.magnitude:
        strong, words = axial, "pressure that keeps the axial stress inside its limit,"
    if strong is None or higher.magnitude > strong.magnitude:
        rec.warn(f"The higher pressure {higher.show(case.display)} of the case is not taken: "
                 + ("there is no safe pressure by a strength method" if strong is None else
                    f"it is above the {words} {strong.show(case.display)}")
                 + ". The lowest limit holds.", "case: disposition.higher_pressure")
        return lowest
    rec.check("Higher pressure while people are beside the pipe", higher, "<=", lowest, citation=PRACTICE.id,
              status="common practice", kind="information",
              note=f"allowed by {d.higher_pressure_by}, because: {d.higher_pressure_reason}")
    rec.warn(f"{d.higher_pressure_by} allows {higher.show(case.display)} while people are beside the pipe, above the "
             f"lowest limit {lowest.show(case.display)}, because: {d.higher_pressure_reason}",
             "case: disposition.higher_pressure")
    return higher
