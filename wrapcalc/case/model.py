"""The fields of a case file. The question of each field is what `wrapcalc new` and the data form print."""

# mypy cannot read annotations made by calls; pydantic can, and the tests read every field.
# mypy: disable-error-code="valid-type"

from __future__ import annotations

from wrapcalc.case.design_model import Design, Takeoff, Tolerance
from wrapcalc.case.site_model import Excavation, Joint, KeepOut, LayoutChoice, Location, Stock, Work
from wrapcalc.fields import Clock, Day, Identifier, Sheet, Text, ask, choice, lookup, quantity, tables, walk
from wrapcalc.values import Origin, Value

GAS, LIQUID, PLANT = "gas line", "liquid line", "plant piping"
METAL_LOSS, INTERNAL_LOSS = "external metal loss", "internal metal loss"
LEAK = "leak"
LOSSES = (METAL_LOSS, INTERNAL_LOSS)
LOWEST, PROFILE_FIRST = "lower of all", "profile before box"
DNV, RSF, AREA = "DNV-RP-F101", "remaining-strength factor", "effective area"
METHODS = (LOWEST, PROFILE_FIRST, "original 1991", "original 2012", "0.85dL", AREA, DNV, RSF)
INTERACTIONS = ("all one", "3t", "6t", "1 in x 6t", "2 sqrt(Dt)", "own")
#: Parts of a line for which the wrap standards give a factor on the thickness of straight pipe.
COMPONENTS = ("bend", "tee", "reducer", "flange")
HOLE, RING_SLOT, AXIAL_SLOT = "hole", "circumferential slot", "axial slot"
YES_NO, YES_NO_UNKNOWN = ("yes", "no"), ("yes", "no", "unknown")
GROWTHS = ("two measurements", "full life", "half life", "stated", "soil class")
SOILS = ("resistive, no active corrosion", "medium or active corrosion", "conductive, worst case")
REDUCTIONS = ("share of discovery pressure", "failure pressure times design factor", "failure pressure over 1.1",
              "remaining strength")
WALL_BASES = ("smaller of nominal and measured", "nominal", "measured")
SEAMS = ("seamless", "direct current", "low-frequency electric resistance", "high-frequency electric resistance",
         "flash", "submerged arc", "other")
JOINTS = ("seamless", "electric resistance welded", "submerged arc welded", "furnace butt welded")


class Identity(Sheet):
    """[case]"""

    id: Identifier = ask("Short name of the anomaly; it names the package folder", example='"HB-07"', default=...)
    title: Text = ask("One line that says what this is", need="", example='"External corrosion near the stream"')
    line: Text = ask("Line, section", need="assess", example='"Line 4, valve 2 to valve 3"')
    joint: Text = ask(
        "Joint and position from its girth welds", need="assess",
        example='"joint 118, 4.31 m downstream of girth weld 1180"')
    prepared_by: Text = ask("Who prepared this case", need="", example='"A. Engineer"')
    display: choice("SI", "US") = ask("Units of the printed package: SI or US (customary)", need="", example='"SI"')
    paper: choice("A4", "Letter") = ask("Paper of the printed package", need="", example='"A4"')


class Pipe(Sheet):
    """[pipe]"""

    outside_diameter: quantity("length", least=20, most=3000) = ask("Outside diameter", example='"406.4 mm"')
    nominal_wall: quantity("length", least=0.5, most=100) = ask("Nominal wall", example='"9.53 mm"')
    sound_wall: quantity("length", least=0.5, most=100) = ask("Measured sound wall near the defect", example='"9.4 mm"')
    wall_allowance: quantity("length", least=0) = ask(
        "Measuring allowance taken off the wall; 0 mm must be said", example='"0.1 mm"')
    wall_basis: choice(*WALL_BASES) = ask(
        "Wall used, if not the smaller of nominal and measured", need="", example='"smaller of nominal and measured"')
    wall_basis_reason: Text = ask("Reason for another wall than the smaller", need="")
    listed_size: Text = ask("Diameter and nominal wall by name, instead of the two", need="", example='"NPS 20 STD"')
    grade: Text = ask("Grade and specification", example='"L360"')
    listed_grade: Text = ask("SMYS and SMTS by name and edition, instead of the two", need="",
                             example='"X52, API 5L 2000 edition"')
    smys: quantity("stress", least=150, most=900) = ask("Specified minimum yield strength", example='"360 MPa"')
    smts: quantity("stress", above=0, most=2000) = ask(
        "Specified minimum tensile strength", need="", example='"460 MPa"')
    joint_type: choice(*JOINTS) = ask("Longitudinal joint", example='"electric resistance welded"')
    seam_process: choice(*SEAMS) = ask("How the longitudinal seam was welded, for the repair criteria", need="",
                                       example='"high-frequency electric resistance"')
    seam_clock: Clock = ask("Clock position of the longitudinal seam, facing downstream", need="", example='"10:30"')
    steel_modulus: quantity("modulus", least=100e3, most=300e3) = ask(
        "Young's modulus of the steel, if not common practice", need="", example='"207 GPa"')
    steel_expansion: quantity("expansion", least=1e-6, most=50e-6) = ask(
        "Thermal expansion of the steel, if not common practice", need="", example='"11.7e-6 1/°C"')
    other_nominal_wall: quantity("length", least=0.5, most=100) = ask(
        "Where corrosion crosses a girth weld: nominal wall of the other joint; the lower one stands in nominal_wall",
        need="", example='"9.53 mm"')
    other_sound_wall: quantity("length", least=0.5, most=100) = ask(
        "Where corrosion crosses a girth weld: sound wall of the other joint", need="", example='"9.4 mm"')
    other_smys: quantity("stress", least=150, most=900) = ask(
        "Where corrosion crosses a girth weld: SMYS of the other joint", need="", example='"360 MPa"')
    other_smts: quantity("stress", above=0, most=2000) = ask(
        "Where corrosion crosses a girth weld: SMTS of the other joint", need="", example='"460 MPa"')


class Service(Sheet):
    """[service] all pressures are gauge"""

    service: choice(GAS, LIQUID, PLANT) = ask("Service: it decides which design rule holds", example='"gas line"')
    product: Text = ask("Product", need="", example='"natural gas"')
    class_location: choice("1", "2", "3", "4") = ask("Class location (gas line)", need="gas", example='"2"')
    high_consequence_area: choice(*YES_NO_UNKNOWN) = ask(
        "Can a release here affect a high-consequence area? It decides which repair criteria hold", need="",
        example='"yes"')
    uprated_class_1: choice(*YES_NO) = ask(
        "Class 2 location with class 1 pipe uprated under 49 CFR 192.611", need="", example='"no"')
    allowable_stress: quantity("stress", least=20, most=600) = ask(
        "Allowable stress at design temperature (plant piping)", need="plant", example='"138 MPa"')
    allowable_stress_basis: Text = ask("Its code, edition and table (plant piping)", need="plant",
                                       example='"ASME B31.3-2018, table A-1"')
    quality_factor: quantity("number", least=0.1, most=1) = ask(
        "Longitudinal joint quality factor (plant piping)", need="plant", example="1.0")
    weld_strength_factor: quantity("number", least=0.1, most=1) = ask(
        "Weld joint strength reduction factor (plant piping)", need="plant", example="1.0")
    wall_coefficient: quantity("number", least=0.2, most=0.7) = ask(
        "Coefficient Y of the wall equation (plant piping)", need="plant", example="0.4")
    lower_design_factor: quantity("number", least=0.1, most=1) = ask(
        "Lower design factor than the class asks for (crossing, station)", need="", example="0.5")
    lower_design_factor_reason: Text = ask("Reason for the lower design factor", need="")
    maop: quantity("gauge pressure", least=0.01) = ask("MAOP (liquid: MOP) to be kept or restored", example='"6.2 MPa"')
    maop_basis: Text = ask("How the MAOP was established, if it is above the code design pressure of the sound pipe",
                           need="")
    discovery_pressure: quantity("gauge pressure", least=0) = ask(
        "Highest recent pressure at the anomaly when it was discovered", example='"5.8 MPa"')
    lowered_maop: quantity("gauge pressure", least=0.01) = ask(
        "MAOP lowered to, if that is decided", need="", example='"5.0 MPa"')
    lowered_maop_reason: Text = ask("Who lowers the MAOP and why", need="")
    upset_pressure: quantity("gauge pressure", above=0) = ask(
        "Declared upset (surge) pressure, if above the MAOP", need="", example='"6.8 MPa"')
    test_pressure: quantity("gauge pressure", above=0) = ask(
        "Pressure test after the repair, short", need="", example='"7.6 MPa"')
    installation_pressure: quantity("gauge pressure", least=0) = ask(
        "Pressure in the pipe while the wrap is laid and cures; its upper limit on site", need="design",
        example='"3.0 MPa"')
    service_temperature: quantity("temperature", least=-60, most=300) = ask(
        "Hottest service temperature", example='"38 °C"')
    lowest_temperature: quantity("temperature", least=-60, most=300) = ask(
        "Coldest service temperature", need="design", example='"2 °C"')
    installation_temperature: quantity("temperature", least=-60, most=300) = ask(
        "Steel temperature during application", need="design", example='"16 °C"')
    pressure_cycles: quantity("count", least=0) = ask("Pressure cycles over the design life", example="1200")
    cycle_low: quantity("gauge pressure", least=0) = ask(
        "Lowest pressure of the cycles", need="", example='"3.1 MPa"')
    cycle_high: quantity("gauge pressure", above=0) = ask(
        "Highest pressure of the cycles", need="", example='"5.9 MPa"')
    cycle_basis: Text = ask("How the cycles were counted, over which record", need="",
                            example='"rainflow count of 12 months of hourly data, as cycles of the full range"')
    axial_force: quantity("force") = ask("External axial force besides end thrust; 0 N must be said", example='"0 N"')
    bending_moment: quantity("moment") = ask("External bending moment; 0 N*m must be said", example='"0 N*m"')
    shear_force: quantity("force", least=0) = ask("Shear force on the pipe, in size", need="", example='"0 N"')
    torsion: quantity("moment", least=0) = ask("Torsion of the pipe, in size", need="", example='"0 N*m"')
    external_pressure: quantity("gauge pressure", least=0, most=60) = ask(
        "Outside over inside pressure of the empty pipe: water, vacuum", need="", example='"0.1 MPa"')
    soil_cover: quantity("length", least=0, most=100000) = ask("Soil above the pipe", need="", example='"1.2 m"')
    soil_density: quantity("density", least=0.5, most=3) = ask("Density of the soil", need="", example='"1900 kg/m3"')
    surface_pressure: quantity("gauge pressure", least=0, most=10) = ask(
        "Pressure at the pipe from load on the surface", need="", example='"0.02 MPa"')
    fluid: choice("non-hazardous", "hazardous", "unknown") = ask(
        "Would the fluid harm people or set fire if it leaked? (plant piping)", need="leak", example='"non-hazardous"')
    restraint: choice("unrestrained", "restrained", "unknown") = ask(
        "Is the pipe held lengthwise (buried, anchored)? Unknown is taken both ways", need="", example='"restrained"')
    tie_in_temperature: quantity("temperature", least=-60, most=300) = ask(
        "Steel temperature when the pipe was tied in (restrained pipe)", need="", example='"12 °C"')
    internal_corrosion: choice("none", "active", "unknown") = ask("Internal corrosion at the defect", example='"none"')
    inside_repair: choice("nothing", "girth weld", *COMPONENTS, "fitting", "corroded seam") = ask(
        "What is inside the defect or the wrap besides straight pipe", example='"nothing"')


class Defect(Sheet):
    """[defect]"""

    kind: choice(METAL_LOSS, INTERNAL_LOSS, "dent", "gouge", "crack", LEAK) = ask(
        "Kind of defect", example='"external metal loss"')
    depth: quantity("length", least=0.01) = ask("Greatest measured depth", need="loss", example='"3.4 mm"')
    depth_allowance: quantity("length", least=0) = ask(
        "Measuring allowance added to the depth; 0 mm must be said", need="loss", example='"0.2 mm"')
    length: quantity("length", least=0.1) = ask("Measured axial length", need="loss", example='"180 mm"')
    length_allowance: quantity("length", least=0, most=5000) = ask(
        "Measuring allowance added to the length; 0 mm must be said", need="loss", example='"10 mm"')
    width: quantity("length", least=0.1) = ask("Measured circumferential width (arc)", need="loss", example='"120 mm"')
    clock: Clock = ask("Clock position of its centre, facing downstream", example='"4:30"')
    grid: Text = ask("Depth grid: CSV file beside this file", need="", example='"grid.csv"')
    second_grid: Text = ask("A second grid of the same anomaly on the same datum, if it was read in two", need="",
                            example='"grid-2.csv"')
    profile: Text = ask("River-bottom profile: CSV file beside this file, instead of a grid", need="",
                        example='"profile.csv"')
    pits: Text = ask("Table of pits: CSV file beside this file, instead of a grid", need="", example='"pits.csv"')
    noise_threshold: quantity("length", above=0, most=2) = ask(
        "Readings of the grid below this depth are noise", need="", example='"0.2 mm"')
    noise_threshold_reason: Text = ask("Reason for the noise threshold", need="")
    rejoin_gap: quantity("length", least=0, most=1000) = ask(
        "Pits that a listing split at a girth weld are one when no farther apart than this", need="", example='"60 mm"')
    grid_extension: quantity("length", above=0, most=1000) = ask(
        "Distance from the outermost readings to sound wall, if grid or profile do not end on sound wall", need="",
        example='"15 mm"')
    deepest_axial: quantity("length") = ask("Where in the grid the stated depth is: axial", need="", example='"90 mm"')
    deepest_around: quantity("length") = ask(
        "Where in the grid the stated depth is: around", need="", example='"45 mm"')
    leak_shape: choice(HOLE, RING_SLOT, AXIAL_SLOT) = ask(
        "Shape of the opening through the wall", need="leak", example='"hole"')
    leak_size: quantity("length", above=0) = ask(
        "Circle that encloses the opening, or width of the slot, now", need="leak", example='"12 mm"')
    leak_growth: quantity("growth rate", least=0, most=20) = ask(
        "Growth of each edge of the opening; 0 mm/y must be said", need="leak", example='"0 mm/y"')
    leak_stopped: choice(*YES_NO) = ask("Is the flow stopped before anything is bonded?", need="leak",
                                        example='"yes"')
    neighbour_upstream: quantity("length", least=0) = ask(
        "From the upstream edge of the defect to the full thickness of the next repair, if there is one", need="",
        example='"3 m"')
    neighbour_downstream: quantity("length", least=0) = ask(
        "From the downstream edge of the defect to the full thickness of the next repair, if there is one", need="",
        example='"3 m"')
    clear_upstream: quantity("length", least=0) = ask(
        "From the upstream edge of the defect to the nearest girth weld, bend or fitting", need="design",
        example='"2.4 m"')
    clear_downstream: quantity("length", least=0) = ask(
        "From the downstream edge of the defect to the nearest girth weld, bend or fitting", need="design",
        example='"6.1 m"')


class Assessment(Sheet):
    """[assessment]"""

    method: choice(*METHODS) = ask(
        "Which method governs; without a choice the lowest of the metal-loss forms", need="", example='"lower of all"')
    method_reason: Text = ask("Reason for another choice than the lowest", need="")
    interaction: choice(*INTERACTIONS) = ask(
        "Rule by which neighbouring pits act as one; without a choice all of them are one", need="", example='"6t"')
    interaction_axial: quantity("length", least=0, most=5000) = ask(
        "Own rule: axial gap up to which pits act as one", need="", example='"50 mm"')
    interaction_around: quantity("length", least=0, most=5000) = ask(
        "Own rule: circumferential gap up to which pits act as one", need="", example='"50 mm"')
    interaction_reason: Text = ask("Reason for the interaction rule", need="")
    discontinuity: quantity("length", least=0) = ask(
        "Distance to the nearest structural discontinuity (remaining-strength factor)", need="plant strength",
        example='"2 m"')
    corrosion_allowance: quantity("length", least=0, most=20) = ask(
        "Future corrosion allowance (remaining-strength factor)", need="plant strength", example='"1 mm"')


class Growth(Sheet):
    """[growth] asked for a remaining life"""

    basis: choice(*GROWTHS) = ask("How the rate of growth is found", need="", example='"two measurements"')
    basis_reason: Text = ask("Reason for this basis", need="")
    measured_date: Day = ask("Date of the measurement of [defect]", need="", example='"2026-05-14"')
    earlier_date: Day = ask("Date of the earlier measurement", need="", example='"2019-06-02"')
    earlier_depth: quantity("length", least=0) = ask("Depth at the earlier measurement", need="", example='"2.6 mm"')
    earlier_length: quantity("length", least=0) = ask("Length at the earlier measurement", need="", example='"150 mm"')
    service_date: Day = ask("Date since which the pipe may corrode (full life, half life)", need="",
                            example='"1988-09-01"')
    rate: quantity("growth rate", above=0, most=20) = ask("Stated rate of depth", need="", example='"0.15 mm/y"')
    length_rate: quantity("growth rate", least=0, most=1000) = ask(
        "Stated rate of the whole length; without one the length is held", need="", example='"5 mm/y"')
    soil: choice(*SOILS) = ask("Soil class", need="", example='"medium or active corrosion"')
    failure_ratio: quantity("number", least=1, most=4) = ask(
        "Failure pressure over MAOP at which life ends, if not that of the rule", need="", example="1.1")
    planned_interval: quantity("duration", above=0, most=30) = ask(
        "Planned time to the next assessment", need="", example='"7 y"')


class Uncertainty(Sheet):
    """[uncertainty] asked for a probability of exceedance"""

    depth_tolerance: quantity("length", above=0, most=50) = ask(
        "Sizing tolerance of depth, either way", need="", example='"0.9 mm"')
    depth_confidence: quantity("percentage", least=0.5, most=0.999) = ask(
        "Share of readings inside the depth tolerance", need="", example='"80 %"')
    length_tolerance: quantity("length", least=0, most=500) = ask(
        "Sizing tolerance of length, either way", need="", example='"10 mm"')
    length_confidence: quantity("percentage", least=0.5, most=0.999) = ask(
        "Share of readings inside the length tolerance", need="", example='"80 %"')
    samples: quantity("count", least=1000, most=5_000_000) = ask(
        "Samples of a simulation beside the integral, on demand", need="", example="200000")
    seed: quantity("count", least=0, most=1e9) = ask("Seed of the simulation", need="", example="7")


class Features(Sheet):
    """[features] what stands beside the metal loss; the repair criteria ask for it"""

    dent_depth: quantity("length", above=0) = ask("Depth of the dent", need="dent", example='"9 mm"')
    dent_clock: Clock = ask("Clock position of the dent", need="dent", example='"2:00"')
    dent_stress_riser: choice(*YES_NO) = ask(
        "Metal loss, cracking or a stress riser in the dent", need="dent", example='"no"')
    dent_at_weld: choice(*YES_NO) = ask(
        "Does the dent affect curvature at a girth or seam weld?", need="dent", example='"no"')
    dent_strain_passed: choice(*YES_NO) = ask(
        "An engineering assessment of the dent's strain (49 CFR 192.712(c)) is passed", need="", example='"no"')
    crack: choice(*YES_NO) = ask("Crack or crack-like indication (magnetic particle or penetrant test)", need="",
                                 example='"no"')
    crack_depth: quantity("length", above=0) = ask(
        "Depth of the crack plus any metal loss", need="crack", example='"2 mm"')
    crack_beyond_tool: choice(*YES_NO) = ask("Is the crack deeper than its tool can measure?", need="",
                                             example='"no"')
    gouge_depth: quantity("length", above=0) = ask("Depth of the gouge or groove", need="gouge", example='"1.2 mm"')
    gouge_ground: choice(*YES_NO) = ask("Is the gouge or arc burn ground smooth, crack-free, and the wall measured "
                                        "again?", need="gouge", example='"no"')
    arc_burn: choice(*YES_NO) = ask("Arc burn", need="", example='"no"')
    seam_corrosion: choice("none", "along the seam", "preferential", "unknown") = ask(
        "Corrosion of the longitudinal seam", need="", example='"none"')
    general_corrosion: choice(*YES_NO) = ask("General corrosion", need="", example='"no"')
    crossing: choice(*YES_NO) = ask("Metal loss where another pipeline crosses", need="", example='"no"')
    widespread_circumferential: choice(*YES_NO) = ask("Widespread circumferential corrosion", need="",
                                                      example='"no"')
    girth_weld_affected: choice(*YES_NO) = ask("Could the metal loss affect a girth weld?", need="", example='"no"')
    judgement_immediate: choice(*YES_NO) = ask(
        "Immediate repair in the judgement of the person who evaluates the assessment", need="", example='"no"')


class Disposition(Sheet):
    """[disposition] what the rule book asks, and the pressure restriction that is chosen"""

    criteria: Text = ask("Criteria file of the company, beside this file", need="", example='"criteria.toml"')
    reduction: choice(*REDUCTIONS) = ask(
        "Option of the rule by which the pressure is reduced; without a choice the lowest", need="",
        example='"share of discovery pressure"')
    reduction_reason: Text = ask("Reason for this option", need="")
    two_month_pressure: quantity("gauge pressure", least=0) = ask(
        "Liquid line: actual operating pressure of the two months before the inspection", need="", example='"5.6 MPa"')
    higher_pressure: quantity("gauge pressure", above=0) = ask(
        "A higher pressure than the lowest while people are beside the pipe", need="", example='"4 MPa"')
    higher_pressure_by: Text = ask("Who allows the higher pressure", need="")
    higher_pressure_reason: Text = ask("Why the higher pressure is allowed", need="")


class Restriction(Sheet):
    """[[restriction]] an open pressure restriction of the same hydraulic section"""

    pressure: quantity("gauge pressure", above=0) = ask("Pressure that it allows", need="", example='"5.2 MPa"')
    reference: Text = ask("Its number, and where it was laid down", need="", example='"restriction 14"')


class Documents(Sheet):
    """[documents]"""

    overlay: Text = ask("File with verified marks of your licensed copies", need="", example='"verified.toml"')


class Case(Sheet):
    """One anomaly as stated. Every table but [case] may be missing: what is missing is unanswered."""

    schema_version: choice("1", required=True) = ask("Version of this file format", need="", example='"1"', default=...)
    case: Identity
    pipe: Pipe = Pipe()
    service: Service = Service()
    defect: Defect = Defect()
    assessment: Assessment = Assessment()
    design: Design = Design()
    growth: Growth = Growth()
    uncertainty: Uncertainty = Uncertainty()
    features: Features = Features()
    disposition: Disposition = Disposition()
    restriction: tables("restriction", Restriction) = ()
    location: Location = Location()
    joint: tables("joint", Joint) = ()
    excavation: Excavation = Excavation()
    layout: LayoutChoice = LayoutChoice()
    keep_out: tables("keep_out", KeepOut) = ()
    stock: tables("stock", Stock) = ()
    work: Work = Work()
    takeoff: Takeoff = Takeoff()
    tolerance: Tolerance = Tolerance()
    documents: Documents = Documents()

    @property
    def id(self) -> str:
        """Short name of the anomaly."""
        return self.case.id

    @property
    def display(self) -> str:
        """"SI" or "US"."""
        return self.case.display or "SI"

    def get(self, dotted: str):
        """What stands in a field, None when unanswered."""
        return lookup(self, dotted)

    def value(self, dotted: str) -> Value:
        """A quantity of the case with its origin, in the unit we calculate in."""
        given = lookup(self, dotted)
        return given.value(Origin("case", dotted), QUESTIONS[plain(dotted)])

    def optional(self, dotted: str) -> Value | None:
        """The quantity, or None when unanswered."""
        return None if lookup(self, dotted) is None else self.value(dotted)

    def unanswered(self, needs: set[str]) -> list[str]:
        """Fields of these needs without an answer, in the order of the file."""
        return [n for n, i in walk(Case) if i.json_schema_extra["need"] in needs and lookup(self, n) is None]


def plain(dotted: str) -> str:
    """The name of a field without the numbers of list items: "restriction.0.pressure" is "restriction.pressure"."""
    return ".".join(p for p in dotted.split(".") if not p.isdigit())


QUESTIONS: dict[str, str] = {n: i.description for n, i in walk(Case)}
