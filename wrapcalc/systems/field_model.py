"""What a system's data sheet says about the work on site: mixing, cure, surface, placement, acceptance."""

# mypy cannot read annotations made by calls; pydantic can, and the tests read every field.
# mypy: disable-error-code="valid-type"

from __future__ import annotations

from wrapcalc.fields import Sheet, Text, ask, choice, quantities, quantity

ADHESIVE, FILLER, PRIMER, END_SEAL = "adhesive", "filler", "primer", "end seal"
MATERIALS = (ADHESIVE, FILLER, PRIMER, END_SEAL)
POINTS, BANDS, FIXED = "points", "bands", "fixed"
PER_PACK, PER_RESIN, PER_MIX = "per pack", "per mass of resin", "per mixed mass"
HIGHEST, LOWEST, OF_AIR, OF_STEEL = "highest of air and steel", "lowest of air and steel", "air", "steel"
COLDEST = "coldest steel until cured"
GOVERNING = (HIGHEST, LOWEST, OF_AIR, OF_STEEL, COLDEST)
SHORE_D, BARCOL = "Shore D", "Barcol"
#: Need of the questions of a mix that only a dose of the table kind has.
OF_TABLE, OF_SHARE = "dose table", "dose as a share"


class Mix(Sheet):
    """[[mix]] one mixed material: what is dosed, by which temperature, and how long it can be worked

    kind: "points" are interpolated between their temperatures; of "bands" each holds from its temperature up to the
    next, and the last temperature is the upper end of the last band; "fixed" is one dose for all.
    """

    material: choice(*MATERIALS) = ask("Material", example='"adhesive"')
    kind: choice(POINTS, BANDS, FIXED) = ask("How the dose table is read", example='"points"')
    basis: choice(PER_PACK, PER_RESIN, PER_MIX) = ask(
        "What the dose of hardener refers to", example='"per mass of resin"')
    governing_temperature: choice(*GOVERNING) = ask("Temperature by which the dose is chosen",
                                                    example='"highest of air and steel"')
    temperatures: quantities("temperature", least=-60, most=150) = ask(
        "Temperatures of the dose table, rising; of bands their edges, one more than doses; of a fixed dose the two "
        "ends of its range", example='["10 °C", "20 °C", "30 °C"]', default=())
    doses: quantities("percentage", least=0, most=2) = ask(
        "Doses as shares of the resin or of the mix", need=OF_SHARE, example='["2.4 %", "1.9 %", "1.4 %"]', default=())
    pack_doses: quantities("mass", least=0, most=1000) = ask(
        "Doses as masses for one pack", need=PER_PACK, example='["46 g", "38 g", "29 g"]', default=())
    resin_in_pack: quantity("mass", above=0, most=1000) = ask("Resin in one whole pack", example='"1.4 kg"')
    resin_density: quantity("density", least=0.1, most=20) = ask("Density of the resin", example='"1.18 kg/L"')
    hardener_density: quantity("density", least=0.1, most=20) = ask("Density of the hardener", example='"1.02 kg/L"')
    mixing_time: quantity("time", above=0, most=4) = ask("Time to mix one batch", example='"4 min"')
    mixing_stages: Text = ask("How it is mixed, stage by stage", example='"resin alone 1 min; hardener in two halves"')
    laid_with: choice("alone", *MATERIALS) = ask(
        "Material that is laid wet together with this one, or alone", example='"alone"')
    pot_life_kind: choice(POINTS, BANDS) = ask("How the pot-life table is read", example='"points"')
    pot_life_temperature: choice(*GOVERNING[:4]) = ask("Temperature by which the pot life is chosen",
                                                       example='"highest of air and steel"')
    pot_life_temperatures: quantities("temperature", least=-60, most=150) = ask(
        "Temperatures of the pot-life table, rising; of bands their edges, one more than times",
        example='["10 °C", "20 °C", "30 °C"]', default=())
    pot_lives: quantities("time", least=0, most=200) = ask(
        "Pot lives", example='["70 min", "40 min", "21 min"]', default=())
    pot_life_mass: quantity("mass", above=0, most=1000) = ask(
        "Mass of the mix to which the pot lives refer; a greater one is shorter", example='"1.5 kg"')


class CureTable(Sheet):
    """[cure_table] time at constant steel temperature until load may come on"""

    kind: choice(POINTS, BANDS) = ask("How the table is read", example='"points"')
    temperatures: quantities("temperature", least=-60, most=200) = ask(
        "Steel temperatures, rising; of bands their edges, one more than times",
        example='["15 °C", "20 °C", "30 °C"]', default=())
    times: quantities("time", least=0, most=2000) = ask(
        "Times until load may come on", example='["52 h", "36 h", "20 h"]', default=())
    log_interval: quantity("time", above=0, most=24) = ask(
        "Longest time between two logged steel temperatures", example='"1 h"')


class Surface(Sheet):
    """[surface] of the steel before anything is bonded"""

    grade: Text = ask("Grade of blasting, with its standard", example='"Sa 2 1/2, ISO 8501-1"')
    profile_min: quantity("length", least=0, most=1) = ask("Least blast profile", example='"60 µm"')
    profile_max: quantity("length", above=0, most=1) = ask("Greatest blast profile", example='"100 µm"')
    salt_max: quantity("salt", above=0, most=1000) = ask("Most soluble salt", example='"20 mg/m2"')
    salt_as: Text = ask("As which salt the limit is meant", example='"mixed salts, ISO 8502-9"')
    dust_max: quantity("count", least=0, most=5) = ask("Greatest dust rating, ISO 8502-3", example="2")
    humidity_max: quantity("percentage", above=0, most=1) = ask("Most relative humidity", example='"85 %"')
    dew_margin: quantity("temperature difference", above=0, most=20) = ask(
        "Steel above the dew point by at least", example='"3 °C"')
    open_time: quantity("time", above=0, most=48) = ask("Longest time from the end of blasting to the first material",
                                                        example='"4 h"')
    prepared_beyond: quantity("length", least=0, most=1000) = ask(
        "Prepared steel beyond each end of the repair", example='"50 mm"')
    abrasive: quantity("area density", above=0, most=1000) = ask("Abrasive per area", example='"30 kg/m2"')


class Placement(Sheet):
    """[placement] where units may start and how true they must lie"""

    start_off_seam: quantity("length", least=0, most=5000) = ask("Wrap start off the seam by at least, around",
                                                                 example='"60 mm"')
    start_off_deepest: quantity("length", least=0, most=5000) = ask(
        "Wrap start off the deepest metal by at least, around", example='"100 mm"')
    stagger: quantity("length", least=0, most=5000) = ask(
        "Starts of neighbouring units, and of units one over the other, apart by at least, around", example='"150 mm"')
    side_tolerance: quantity("length", above=0, most=200) = ask("A side of a unit lies true within", example='"8 mm"')
    end_tolerance: quantity("length", above=0, most=1000) = ask(
        "The wrap ends where it should within, around", example='"40 mm"')
    joint_gap_max: quantity("length", least=0, most=200) = ask("Widest gap between butted units, filled",
                                                               example='"4 mm"')
    tape_band: quantity("length", above=0, most=500) = ask(
        "Circumference over the wrap, against the calculated one, within", example='"15 mm"')
    if_not_met: Text = ask("What to do when a mark is not met", example='"take it off while wet and lay it again"')


class EndSeal(Sheet):
    """[end_seal]"""

    used: choice("yes", "no") = ask("Are the ends sealed with a material of their own?", example='"yes"')
    width: quantity("length", above=0, most=1000) = ask("Width of the seal at each end", need=END_SEAL,
                                                        example='"80 mm"')
    coverage: quantity("area density", above=0, most=100) = ask("Mass per area", need=END_SEAL, example='"0.9 kg/m2"')
    pack: quantity("mass", above=0, most=1000) = ask("Mass of one whole pack, both parts", need=END_SEAL,
                                                     example='"0.5 kg"')


class Acceptance(Sheet):
    """[acceptance] of the finished wrap"""

    hardness_scale: choice(SHORE_D, BARCOL) = ask("Scale of hardness", example='"Shore D"')
    hardness_reference: quantity("number", above=0, most=100) = ask(
        "Least hardness that was obtained in the qualification", example="81")
    hardness_readings: quantity("count", least=1, most=100) = ask("Readings of hardness at least", example="10")
    tap_spacing: quantity("length", above=0, most=1000) = ask("Grid of the tap test", example='"80 mm"')


class Consumable(Sheet):
    """[[consumable]] what is used up besides the materials"""

    item: Text = ask("What", example='"rollers"')
    amount: quantity("count", least=1, most=10000) = ask("How many", example="3")
    per: choice("repair", "unit", "batch") = ask("For each", example='"unit"')


class Tool(Sheet):
    """[[tool]] what must be in the vehicle"""

    item: Text = ask("What", example='"thermometer for steel, calibrated"')
