"""May this system be used on this pipe at all? Tested envelope, repair class, risk, sleeve for this diameter."""

from __future__ import annotations

from wrapcalc import units
from wrapcalc.case import Bundle
from wrapcalc.recorder import active
from wrapcalc.stages.wrap.strain import Gates, is_asme
from wrapcalc.standards.documents import PCC_2
from wrapcalc.values import Value

#: How far the diameter of a pipe may be from that which a sleeve is made for: rounding of sizes.
_SAME_DIAMETER = 0.01


def envelope(bundle: Bundle, p: Value, depth_share: Value | None, gates: Gates) -> None:
    """Does this case lie inside what was tested? depth_share: of the wall, None for an opening through it."""
    case, system, rec = bundle.case, bundle.system, active()
    assert system is not None
    diameter, hot = case.value("pipe.outside_diameter"), case.value("service.service_temperature")
    rows = [("Outside diameter", diameter, ">=", "outside_diameter_min"),
            ("Outside diameter", diameter, "<=", "outside_diameter_max"),
            ("SMYS", case.value("pipe.smys"), "<=", "smys_max"),
            ("Repair design pressure", p, "<=", "pressure_max"),
            ("Hottest service", hot, "<=", "service_temperature_max"),
            ("Coldest service", case.value("service.lowest_temperature"), ">=", "service_temperature_min"),
            ("Design life", case.value("design.design_life"), "<=", "design_life_max")]
    if depth_share is not None:
        rows.insert(3, ("Depth with allowance over wall", depth_share, "<=", "depth_max"))
    for title, have, sense, field in rows:
        gates.add(rec.check(f"{title} inside the tested envelope", have, sense, system.value(f"envelope.{field}"),
                            citation=f"sheet of {system.system.id}", status="system sheet", kind="gate",
                            note=f"evidence cited by the user, not examined by this tool: {system.envelope.reference}"))
    test = case.optional("service.test_pressure")
    if test is not None and not rec.check(
            "Pressure test inside the tested envelope", test, "<=", system.value("envelope.pressure_max"),
            citation=f"sheet of {system.system.id}", status="system sheet", kind="information").met:
        rec.warn("The pressure test is above the highest design pressure that was tested: ask the supplier of the "
                 "system whether it may be tested so.", "case: service.test_pressure")
    if system.is_sleeve:
        _made_for(bundle, diameter, gates)
    if system.value("laminate.modulus_axial").magnitude > system.value("laminate.modulus_hoop").magnitude:
        rec.warn("The axial modulus of the laminate is above its hoop modulus: confirm that the sheet does not mix the "
                 "two up.", f"sheet of {system.system.id}")


def _made_for(bundle: Bundle, diameter: Value, gates: Gates) -> None:
    system, display = bundle.system, bundle.case.display
    assert system is not None and system.sleeve is not None
    made = system.sleeve.diameters
    near = [g for g in made if abs(g.base - diameter.magnitude) <= _SAME_DIAMETER * diameter.magnitude]
    gates.add(active().gate("Sleeve made for this outside diameter", bool(near), diameter.show(display),
                            "one of " + ", ".join(units.show(g.base, "mm", system=display) for g in made),
                            citation=f"sheet of {system.system.id}",
                            status="system sheet"))


def repair_class(bundle: Bundle, p: Value, gates: Gates) -> None:
    """Repair class of ISO 24817, or the split of risk of ASME PCC-2."""
    case, rec, tables = bundle.case, active(), bundle.tables
    hot = case.value("service.service_temperature")
    if is_asme(bundle):
        for title, have, sense, name in (
                ("Repair design pressure", p, "<", "high_risk_pressure"),
                ("Hottest service", hot, "<", "high_risk_temperature_hot"),
                ("Coldest service", case.value("service.lowest_temperature"), ">", "high_risk_temperature_cold")):
            entry = tables.entry(PCC_2.id, name)
            rec.check(f"{title}, split of high and low risk", have, sense, entry.value(), citation=entry.citation,
                      status=entry.status, kind="information",
                      note="where it is not met the repair is of high risk; it is designed as such in any case")
        return
    grade = case.design.repair_class
    if grade is None or grade == "3":
        if grade is None:
            rec.assume("Repair class 3 of ISO 24817 is taken; the case names none.", "safer reading")
        return
    for title, have, name in (("Repair design pressure", p, f"class_{grade}_pressure"),
                              ("Hottest service", hot, f"class_{grade}_temperature")):
        entry = tables.entry(case.design.standard, name)
        gates.add(rec.check(f"{title} inside repair class {grade}", have, "<", entry.value(), citation=entry.citation,
                            status=entry.status, kind="gate"))
