"""The fields of a case file about the site: where it is, how it is dug, laid out, worked and released.

Nothing here decides whether a wrap holds. What is not stated stands as a blank on the sheets for the site.
"""

# mypy cannot read annotations made by calls; pydantic can, and the tests read every field.
# mypy: disable-error-code="valid-type"

from __future__ import annotations

from wrapcalc.fields import Clock, Day, Moment, Sheet, Text, ask, choice, quantity

OBJECTIVES = ("fewest units", "least waste", "joints away from the deepest metal", "symmetry", "oldest stock")
KEEP_RULES = ("no part", "no end", "no joint")
SOILS_TO_DIG = ("stable rock", "type A", "type B", "type C")
HELD_BY_PRODUCT, FOLLOWS_AIR = "product", "air"
STOCK_ITEMS = ("unit", "cloth", "adhesive", "filler", "primer", "end seal", "hardener")
#: What of them comes in packs that are counted.
PACKED = ("adhesive", "filler", "primer", "end seal")
#: Packs of one size, of which the mass is stated in two units, agree within this share.
SAME_PACK = 0.01
HOLIDAY_STANDARDS = ("NACE SP0274", "NACE SP0490-2007", "NACE SP0188-2006", "ASTM G62-87")
SITE = "site"  # asked for the sheets of the site


class Location(Sheet):
    """[location] where the joint is and how the right one is proven"""

    section: Text = ask("Hydraulic section: pressure restrictions hold for all of it", need=SITE,
                        example='"valve 2 to valve 3"')
    joint_number: Text = ask("Number of the joint", need=SITE, example='"118"')
    joint_length: quantity("length", above=0, most=50000) = ask("Length of the joint", need=SITE, example='"11.74 m"')
    upstream_weld: Text = ask("Number of the girth weld upstream", need=SITE, example='"1180"')
    downstream_weld: Text = ask("Number of the girth weld downstream", need=SITE, example='"1190"')
    from_upstream_weld: quantity("length", least=0, most=50000) = ask(
        "From the upstream girth weld to the upstream edge of the defect", need=SITE, example='"4.19 m"')
    from_downstream_weld: quantity("length", least=0, most=50000) = ask(
        "From the downstream girth weld to the downstream edge of the defect", need="", example='"7.31 m"')
    marker: Text = ask("Reference point above ground", need="", example='"marker post 14"')
    marker_distance: quantity("length", least=0, most=1e8) = ask(
        "From the reference point to the defect, along the line, above ground", need="", example='"212 m"')
    log_distance: quantity("length", least=0, most=1e10) = ask(
        "Distance of the defect in the inspection log (odometer)", need="", example='"12487.2 m"')
    first_point_log: quantity("length", least=0, most=1e10) = ask(
        "Reference point upstream: distance in the log", need="", example='"12031.4 m"')
    first_point_survey: quantity("length", least=0, most=1e10) = ask(
        "Reference point upstream: surveyed distance", need="", example='"12000.0 m"')
    second_point_log: quantity("length", least=0, most=1e10) = ask(
        "Reference point downstream: distance in the log", need="", example='"12994.9 m"')
    second_point_survey: quantity("length", least=0, most=1e10) = ask(
        "Reference point downstream: surveyed distance", need="", example='"12960.0 m"')
    latitude: quantity("number", least=-90, most=90) = ask("Latitude, degrees north", need="", example="52.1234")
    longitude: quantity("number", least=-180, most=180) = ask("Longitude, degrees east", need="", example="1.2345")
    datum: Text = ask("Datum of the coordinates", need="", example='"WGS 84"')
    coordinates_of: Text = ask("What the coordinates are of, and how they were taken", need="",
                               example='"top of pipe at the defect, satellite fix, 0.1 m"')
    due: Day = ask("Date by which it must be repaired", need="", example='"2026-09-30"')
    contact: Text = ask("Who is called when something is not as expected, with number", need=SITE,
                        example='"duty engineer, 555 0118"')


class Joint(Sheet):
    """[[joint]] a joint beside the one with the defect, outward from it"""

    side: choice("upstream", "downstream") = ask("On which side", need="", example='"upstream"')
    number: Text = ask("Number of the joint", need="", example='"117"')
    length: quantity("length", above=0, most=50000) = ask("Its length", need="", example='"12.02 m"')
    seam_clock: Clock = ask("Clock position of its seam, facing downstream", need="", example='"2:15"')


class Excavation(Sheet):
    """[excavation]"""

    cover: quantity("length", least=0, most=20000) = ask("Ground above the pipe", need=SITE, example='"1.1 m"')
    soil: choice(*SOILS_TO_DIG) = ask("Soil by 29 CFR 1926 subpart P; without a word type C", need="",
                                      example='"type C"')
    room_below: quantity("length", least=0, most=5000) = ask("Room under the pipe", need="", example='"0.5 m"')
    room_beside: quantity("length", least=0, most=10000) = ask("Room on each side of the pipe", need="",
                                                               example='"0.7 m"')
    room_ends: quantity("length", least=0, most=20000) = ask("Room beyond the bared length, each end", need="",
                                                             example='"1.2 m"')
    coating_tie_in: quantity("length", least=0, most=5000) = ask(
        "Old coating removed and tied in, each end, beyond the prepared steel", need="", example='"0.3 m"')
    product_density: quantity("density", least=0, most=5) = ask(
        "Density of what is in the pipe, for its weight over the unsupported span", need="", example='"840 kg/m3"')
    span_stress: quantity("stress", above=0, most=500) = ask(
        "Bending stress that the engineer allows over the unsupported span", need="", example='"30 MPa"')
    access: Text = ask("Access, ground water, power and cables nearby", need="", example='"track from the north"')


class Work(Sheet):
    """[work] the plan of the work and its limits"""

    planned_start: Moment = ask("Planned start of blasting", need="", example='"2026-05-14T07:30+01:00"')
    forecast: Text = ask("Hourly forecast: CSV file beside this file", need="", example='"forecast.csv"')
    air_low: quantity("temperature", least=-60, most=70) = ask("Coldest air expected from blasting to release",
                                                               need=SITE, example='"8 °C"')
    air_high: quantity("temperature", least=-60, most=70) = ask("Hottest air expected while mixing and wrapping",
                                                                need=SITE, example='"21 °C"')
    steel_low: quantity("temperature", least=-60, most=150) = ask("Coldest steel expected from blasting to release",
                                                                  need=SITE, example='"11 °C"')
    steel_high: quantity("temperature", least=-60, most=150) = ask("Hottest steel expected while wrapping", need=SITE,
                                                                   example='"18 °C"')
    steel_held_by: choice(HELD_BY_PRODUCT, FOLLOWS_AIR) = ask(
        "What holds the steel temperature: the product of a live line, or the air", need="", example='"product"')
    humidity: quantity("percentage", above=0, most=1) = ask("Relative humidity expected", need="", example='"78 %"')
    temperature_error: quantity("temperature difference", least=0, most=5) = ask(
        "Error of the thermometers; it is taken off the margin to the dew point", need=SITE, example='"0.5 °C"')
    humidity_error: quantity("percentage", least=0, most=0.2) = ask(
        "Error of the hygrometer, in points", need=SITE, example='"3 %"')
    wind_max: quantity("speed", above=0, most=60) = ask("Most wind for the work", need="", example='"10 m/s"')
    blast_time: quantity("time", above=0, most=48) = ask("Time to blast and check", need="", example='"2 h"')
    application_time: quantity("time", above=0, most=48) = ask("Time to fill and wrap all units", need="",
                                                               example='"3 h"')
    wrap_speed: quantity("speed", above=0, most=2) = ask("Length of wrap that the crew lays per time", need="",
                                                         example='"1.4 m/min"')
    consolidate_time: quantity("time", least=0, most=8) = ask(
        "Time to tension, consolidate and secure one unit", need="", example='"6 min"')
    units_per_batch: quantity("count", least=1, most=20) = ask(
        "Units laid from one mixed batch; without a number 1", need="", example="1")
    packs_per_batch: quantity("count", least=1, most=50) = ask(
        "Whole packs mixed in one batch; without a number 1", need="", example="1")
    window_share: quantity("percentage", above=0, most=1) = ask(
        "Share of the pot life that the crew may use", need="", example='"70 %"')
    installer: Text = ask("Qualified installer: name", need=SITE, example='"F. Example"')
    installer_certificate: Text = ask("Certificate of the installer: number", need=SITE, example='"WI-204"')
    qualified_until: Day = ask("The certificate ends on", need=SITE, example='"2027-03-31"')
    pressure_source: Text = ask("Where the line pressure is read, for this elevation", need=SITE,
                                example='"gauge at valve 2, corrected for elevation"')
    pressure_interval: quantity("time", above=0, most=24) = ask("Interval of the pressure log", need="",
                                                                example='"30 min"')
    blast_least_wall: quantity("length", least=0, most=50) = ask(
        "Least wall for blasting under pressure, of the company", need="", example='"4.5 mm"')
    restoration_steps: quantity("count", least=1, most=20) = ask("Steps in which the pressure is raised", need="",
                                                                 example="4")
    restoration_hold: quantity("time", above=0, most=72) = ask("Hold at each step", need="", example='"30 min"')
    coating: Text = ask("Coating over the wrap and the bared steel", need="", example='"two-part epoxy, brushed"')
    coating_thickness: quantity("length", above=0, most=25) = ask("Dry thickness of the coating", need="",
                                                                  example='"1.0 mm"')
    holiday_standard: choice(*HOLIDAY_STANDARDS) = ask(
        "Standard and edition of the holiday test; without one there is no voltage", need="", example='"NACE SP0274"')


class LayoutChoice(Sheet):
    """[layout] what counts most when units are chosen, first to last; joints stay off the damage before all of these"""

    first: choice(*OBJECTIVES) = ask("What counts most", need="", example='"fewest units"')
    second: choice(*OBJECTIVES) = ask("What counts second", need="", example='"least waste"')
    third: choice(*OBJECTIVES) = ask("What counts third", need="", example='"joints away from the deepest metal"')
    fourth: choice(*OBJECTIVES) = ask("What counts fourth", need="", example='"symmetry"')
    fifth: choice(*OBJECTIVES) = ask("What counts fifth", need="", example='"oldest stock"')
    from_stock: choice("yes", "no") = ask("Only units that are in stock; without a word no", need="", example='"no"')


class KeepOut(Sheet):
    """[[keep_out]] a stretch of pipe, measured from the upstream girth weld of the joint"""

    what: Text = ask("What is there", need="", example='"test lead"')
    start: quantity("length", least=-1e5, most=1e5) = ask("Upstream edge, from the upstream girth weld", need="",
                                                          example='"5.2 m"')
    end: quantity("length", least=-1e5, most=1e5) = ask("Downstream edge, from the upstream girth weld", need="",
                                                        example='"5.3 m"')
    rule: choice(*KEEP_RULES) = ask("What may not lie there: a part of the repair, an end, or a joint of units",
                                    need="", example='"no part"')


class Stock(Sheet):
    """[[stock]] what is on the shelf: one row for each item and batch"""

    item: choice(*STOCK_ITEMS) = ask("What it is", need="", example='"unit"')
    system: Text = ask("Wrap system that it belongs to, by the id of its sheet", need="", example='"example-sleeve"')
    width: quantity("length", above=0, most=5000) = ask("Width of the units or of the cloth", need="",
                                                        example='"260 mm"')
    diameter: quantity("length", above=0, most=3000) = ask("Outside diameter that the sleeves are made for", need="",
                                                           example='"406.4 mm"')
    layers: quantity("count", least=1, most=200) = ask("Layers of each unit, by its label", need="", example="8")
    pack: quantity("mass", least=0.001, most=10000) = ask("Mass of one whole pack, both parts, by its label", need="",
                                                          example='"2 kg"')
    count: quantity("count", least=0, most=10000) = ask("How many units or whole packs", need="", example="4")
    batch: Text = ask("Batch number", need="", example='"A-2207"')
    expiry: Day = ask("Use before", need="", example='"2027-02-28"')
    storage_limit: quantity("temperature", least=-60, most=80) = ask(
        "Warmest storage to which the expiry refers", need="", example='"25 °C"')
    excursion_temperature: quantity("temperature", least=-60, most=90) = ask(
        "Storage above that: how warm", need="", example='"38 °C"')
    excursion_time: quantity("time", least=0, most=100000) = ask("Storage above that: how long in all", need="",
                                                                 example='"12 d"')


def misplaced(s: Stock) -> list[tuple[str, str]]:
    """(field, what it may be stated of) of fields that such an item does not have."""
    of = (("layers", ("unit",)), ("pack", PACKED))
    return [(name, ", ".join(items)) for name, items in of
            if getattr(s, name) is not None and s.item is not None and s.item not in items]
