"""Plant piping: the remaining-strength factor of API 579-1 part 5 on the design pressure of ASME B31.3.

For pipelines the same factor stands beside the other methods as a cross-check.
"""

from __future__ import annotations

from wrapcalc.case import Bundle
from wrapcalc.case.model import PLANT, RSF
from wrapcalc.checks import Check
from wrapcalc.formulas import cross_checks
from wrapcalc.formulas import fitness_for_service as ffs
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.recorder import active
from wrapcalc.stages.assessment.forms import CROSS_CHECK, RECORD, Form, Sizes
from wrapcalc.stages.assessment.sound_pipe import code_pressure
from wrapcalc.standards.documents import API_579, PRACTICE
from wrapcalc.values import Value


def form_rsf(bundle: Bundle, factor: Value | None, s: Sizes) -> Form:
    """The working pressure that the factor leaves; struck where a limit of level 1 is passed."""
    case, tables, rec = bundle.case, bundle.tables, active()
    value, plant = case.value, case.service.service == PLANT
    allowance = case.optional("assessment.corrosion_allowance")
    if allowance is None:
        allowance = tables.value(PRACTICE.id, "no_corrosion_allowance")
    sound = rec.named(strength.wall_as_chosen(s.wall, allowance), "Sound wall in the corroded condition")
    least = strength.least_wall_in_loss(s.wall, s.depth)
    bore = cross_checks.inside_diameter(value("pipe.outside_diameter"), sound)
    ratio = ffs.thickness_ratio(least, allowance, sound)
    span = ffs.shell_length_parameter(s.length, bore, sound)
    left = rec.named(strength.wall_as_chosen(least, allowance), "Least wall in the loss less the future allowance")
    checks = [_scope(bundle, "Remaining thickness ratio", ratio, ">=", "least_thickness_ratio"),
              _scope(bundle, "Least wall in the loss", left, ">=", "least_wall_piping"),
              _scope(bundle, "Length parameter of the shell", span, "<=", "length_parameter_limit")]
    far = case.optional("assessment.discontinuity")
    if far is not None:
        entry = tables.entry(API_579.id, "discontinuity_factor")
        checks.append(rec.check("Distance to a structural discontinuity", far, ">=",
                                ffs.least_distance_to_discontinuity(entry.value(), bore, sound),
                                citation=entry.citation, status=entry.status, kind="scope"))
    told = {"flow": "allowable stress of the code" if plant else "design factor on SMYS",
            "basis": f"allowable factor {tables.entry(API_579.id, 'allowable_rsf').written}",
            "role": RECORD if plant else CROSS_CHECK}
    bulging = ffs.bulging_factor_level_1(span)
    failed = [c for c in checks if not c.met]
    if failed:
        reason = "; ".join(f"{c.title[0].lower()}{c.title[1:]} {c.provided.show(case.display)} is outside "
                           f"{c.limit.show(case.display)}" for c in failed)  # type: ignore[union-attr]
        rec.strike(bulging, f"{reason} ({API_579.id}, level 1)")
        return Form(RSF, None, None, reason, **told)
    remaining = ffs.remaining_strength_factor(ratio, bulging)
    sound_pressure = rec.named(code_pressure(bundle, factor, sound), "Design pressure at the sound wall")
    safe = rec.named(ffs.reduced_working_pressure(sound_pressure, remaining, tables.value(API_579.id, "allowable_rsf")),
                     "Safe pressure, remaining-strength factor")
    return Form(RSF, None, safe, **told)


def _scope(bundle: Bundle, title: str, have: Value, sense: str, name: str) -> Check:
    entry = bundle.tables.entry(API_579.id, name)
    return active().check(f"{title}, level 1", have, sense, entry.value(), citation=entry.citation,
                          status=entry.status, kind="scope")
