"""Temperature and strain: what the laminate may do at the service temperature, and the cure behind it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from wrapcalc.case import Bundle
from wrapcalc.checks import Check
from wrapcalc.formulas import wrap_thickness as thickness
from wrapcalc.recorder import active
from wrapcalc.standards.documents import MECHANICS, PCC_2, PRACTICE
from wrapcalc.values import Value


@dataclass(frozen=True)
class Steel:
    """Young's modulus and thermal expansion of the pipe."""

    modulus: Value
    expansion: Value


class Gates:
    """Collects the checks that the verdict depends on."""

    def __init__(self) -> None:
        self.checks: list[Check] = []

    def add(self, check: Check) -> Check:
        """Keep a check, and give it back."""
        self.checks.append(check)
        return check

    @property
    def failed(self) -> tuple[Check, ...]:
        """Those that are not met."""
        return tuple(c for c in self.checks if not c.met)


def steel(bundle: Bundle) -> Steel:
    """The steel of the case, or common practice where it gives none."""
    case, tables, rec = bundle.case, bundle.tables, active()
    out = []
    for name, what in (("steel_modulus", "Young's modulus"), ("steel_expansion", "thermal expansion")):
        given = case.optional(f"pipe.{name}")
        if given is None:
            entry = tables.entry(PRACTICE.id, name)
            given = entry.value()
            rec.assume(f"The {what} of the steel is {given.show(case.display)}; the case gives none.",
                       "common practice")
        out.append(given)
    return Steel(*out)


def allowable_strain(bundle: Bundle, gates: Gates) -> Value | None:
    """Allowable hoop strain; None when the service is hotter than the system may be."""
    case, tables, rec, system = bundle.case, bundle.tables, active(), bundle.system
    assert system is not None
    document = case.design.standard
    parts = ["laminate", "adhesive", "filler"] + (["primer"] if system.primer.used == "yes" else [])
    lowest = system.value("laminate.glass_transition")
    for n, part in enumerate(parts[1:], 2):
        lowest = rec.named(thickness.lower_glass_transition(lowest, system.value(f"{part}.glass_transition")),
                           "Lowest glass transition of " + ", ".join(parts[:n]))
    margin = tables.value(document, "glass_transition_margin")
    upper = thickness.upper_temperature_limit(lowest, margin)
    hot = case.value("service.service_temperature")
    entry = tables.entry(document, "glass_transition_margin")
    warm = gates.add(rec.check("Hottest service against the upper limit of the system", hot, "<=", upper,
                               citation=entry.citation, status=entry.status, kind="gate"))
    steel_temperature = case.value("service.installation_temperature")
    for field, sense in (("steel_temperature_min", ">="), ("steel_temperature_max", "<=")):
        gates.add(rec.check("Installation temperature against the system's range", steel_temperature, sense,
                            system.value(f"application.{field}"), citation=f"sheet of {system.system.id}",
                            status="system sheet", kind="gate"))
    gates.add(rec.check("Installation temperature against the qualified cure", steel_temperature, ">=",
                        system.value("application.cure_temperature_min"), citation=f"sheet of {system.system.id}",
                        status="system sheet", kind="gate", note="the glass transition holds only for this cure"))
    if not warm.met:
        return None
    factor = thickness.temperature_factor(thickness.temperature_margin(upper, hot))
    change = thickness.temperature_change(hot, case.value("service.lowest_temperature"), steel_temperature)
    rec.assume("The temperature factor of the hottest service and the greatest temperature change, hot or cold, are "
               "combined; one thickness then serves both.", "safer reading")
    metal = steel(bundle)
    allowed = thickness.allowable_hoop_strain(factor, _tabulated_strain(bundle, gates), change, metal.expansion,
                                              system.value("laminate.expansion_hoop"))
    zero = replace(allowed, magnitude=0.0, origin=allowed.origin, name="zero")
    left = gates.add(rec.check("Allowable hoop strain left after thermal mismatch", allowed, ">", zero,
                               citation=MECHANICS.id, status="derived", kind="gate"))
    axial = thickness.allowable_axial_strain(factor, _tabulated_axial_strain(bundle), change, metal.expansion,
                                             system.value("laminate.expansion_axial"))
    gates.add(rec.check("Allowable axial strain left after thermal mismatch", axial, ">", zero, citation=MECHANICS.id,
                        status="derived", kind="gate", note="axial load itself stays with the steel: see the axial "
                        "section"))
    return allowed if left.met else None


def _tabulated_strain(bundle: Bundle, gates: Gates) -> Value:
    case, tables, rec = bundle.case, bundle.tables, active()
    life, document = case.value("design.design_life"), case.design.standard
    if document == PCC_2.id:
        longest = tables.entry(document, "longest_life")
        gates.add(rec.check("Design life against the tabulated strain", life, "<=", longest.value(),
                            citation=longest.citation, status=longest.status, kind="gate"))
        return tables.value(document, "strain_hoop_continuous")
    for years in (2, 10, 20):
        if life.magnitude <= years or years == 20:
            entry = tables.entry(document, f"strain_hoop_{years}_y")
            if years < 20:
                rec.warn(f"The strain of the {years}-year column is from memory, and another recollection of the table "
                         "has less for short lives: verify it, or design for 20 years.", entry.citation)
            longest = replace(life, magnitude=float(years), name="life column of the strain table",
                              origin=entry.value().origin)
            gates.add(rec.check("Design life against the column of the strain table", life, "<=", longest,
                                citation=entry.citation, status=entry.status, kind="gate",
                                note="the next longer column; columns are not interpolated"))
            return entry.value()
    raise AssertionError("unreachable")


def _tabulated_axial_strain(bundle: Bundle) -> Value:
    """The axial row that goes with the stiffness and the life of the hoop row."""
    case, tables, system = bundle.case, bundle.tables, bundle.system
    assert system is not None
    document, life = case.design.standard, case.value("design.design_life").magnitude
    share = system.value("laminate.modulus_axial").magnitude / system.value("laminate.modulus_hoop").magnitude
    kind = "stiff" if share >= tables.value(document, "stiff_axial_share").magnitude else "soft"
    column = "continuous" if document == PCC_2.id else f"{2 if life <= 2 else 10 if life <= 10 else 20}_y"
    return tables.value(document, f"strain_axial_{kind}_{column}")
