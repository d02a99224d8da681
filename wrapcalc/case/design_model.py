"""The fields of a case file that are asked once a wrap is designed."""

# mypy cannot read annotations made by calls; pydantic can, and the tests read every field.
# mypy: disable-error-code="valid-type"

from __future__ import annotations

from wrapcalc.fields import Sheet, Text, ask, choice, quantity

ROUTES = ("load sharing", "yielded steel", "laminate strain", "long-term strength")
BY_WRAP, BY_STEEL = "wrap", "remaining steel"
REFUSED, THICKER = "refused", "thicker wrap"
ISO_EDITIONS = ("ISO 24817:2017", "ISO 24817:2015", "ISO/TS 24817:2006")
ASME_EDITIONS = ("ASME PCC-2-2022", "ASME PCC-2-2018", "ASME PCC-2-2011")


class Design(Sheet):
    """[design] asked once a wrap is designed"""

    standard: choice(*ISO_EDITIONS, *ASME_EDITIONS) = ask(
        "Standard and edition for the wrap", need="design", example='"ISO 24817:2017"')
    system: Text = ask(
        "Wrap system: a shipped example or a file beside this one", need="design", example='"my_system.toml"')
    design_method: choice(*ROUTES) = ask("Thickness route", need="design", example='"load sharing"')
    design_method_reason: Text = ask(
        "Reason for this route", need="design", example='"steel stays elastic; company standard 12.3"')
    design_life: quantity("duration", above=0, most=100) = ask(
        "Design life of the repair", need="design", example='"20 y"')
    repair_class: choice("1", "2", "3") = ask(
        "Repair class of ISO 24817; without a choice 3, the most severe", need="", example='"3"')
    axial_carried_by: choice(BY_WRAP, BY_STEEL) = ask(
        "What carries the axial load where the route ignores the steel; without a choice the wrap", need="",
        example='"remaining steel"')
    axial_carried_by_reason: Text = ask("Reason why the remaining steel carries the axial load", need="")
    tiers: quantity("count", least=1, most=4) = ask(
        "Sleeves laid one over the other; without a number 1", need="", example="2")
    limited_room: choice(REFUSED, THICKER) = ask(
        "Where the overlap does not fit: refused (without a choice), or a thicker wrap by ISO 24817", need="",
        example='"thicker wrap"')
    limited_room_reason: Text = ask("Reason for a thicker wrap where there is little room", need="")


class Takeoff(Sheet):
    """[takeoff] asked once a wrap is designed"""

    adhesive_waste: quantity("percentage", least=0, most=1) = ask(
        "Waste of adhesive or resin", need="design", example='"15 %"')
    filler_waste: quantity("percentage", least=0, most=1) = ask("Waste of filler", need="design", example='"25 %"')
    cloth_waste: quantity("percentage", least=0, most=1) = ask(
        "Waste of cloth (wet lay-up)", need="lay-up", example='"5 %"')
    primer_waste: quantity("percentage", least=0, most=1) = ask(
        "Waste of primer, if the system has one", need="primer", example='"15 %"')
    seal_waste: quantity("percentage", least=0, most=1) = ask(
        "Waste of the end seal, if the system has one; without a share that of the adhesive", need="", example='"15 %"')
    seam_height: quantity("length", least=0, most=20) = ask(
        "Height of the weld cap of the seam, faired with filler", need="", example='"1.6 mm"')
    seam_run: quantity("length", least=0, most=200) = ask(
        "Length of the fairing on each side of the weld cap, around", need="", example='"12 mm"')
    spoil_share: quantity("percentage", least=0, most=0.5) = ask(
        "Share of units and packs that is spoilt in the trench", need="", example='"3 %"')
    spare_confidence: quantity("percentage", least=0.5, most=0.9999) = ask(
        "Probability with which the spares must do", need="", example='"95 %"')


class Tolerance(Sheet):
    """[tolerance] how well the inputs of the design are known, either way; for information only"""

    pressure: quantity("percentage", above=0, most=0.5) = ask("Repair design pressure", need="", example='"2 %"')
    wall: quantity("length", above=0, most=5) = ask("Sound wall", need="", example='"0.2 mm"')
    depth: quantity("length", above=0, most=10) = ask("Depth of the defect", need="", example='"0.5 mm"')
    length: quantity("length", above=0, most=1000) = ask("Length of the defect", need="", example='"10 mm"')
    modulus: quantity("percentage", above=0, most=0.9) = ask("Hoop modulus of the laminate", need="", example='"8 %"')
    ply_thickness: quantity("percentage", above=0, most=0.9) = ask("Thickness of a ply", need="", example='"5 %"')
    temperature: quantity("temperature difference", above=0, most=100) = ask(
        "Hottest service temperature", need="", example='"5 °C"')
    installation_pressure: quantity("percentage", above=0, most=0.9) = ask(
        "Pressure while wrapping", need="", example='"10 %"')
    samples: quantity("count", least=1000, most=100_000) = ask(
        "Samples of a simulation of how much of the wrap is used, on demand", need="", example="100000")
    seed: quantity("count", least=0, most=1e9) = ask("Seed of that simulation", need="", example="7")
