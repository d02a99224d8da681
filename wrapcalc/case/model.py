"""The fields of a case file. The question of each field is what `wrapcalc new` and the data form print."""

# mypy cannot read annotations made by calls; pydantic can, and the tests read every field.
# mypy: disable-error-code="valid-type"

from __future__ import annotations

from wrapcalc.fields import Clock, Identifier, Sheet, Text, ask, choice, lookup, quantity, walk
from wrapcalc.values import Origin, Value

GAS, LIQUID = "gas line", "liquid line"
METAL_LOSS = "external metal loss"
METHODS = ("lower of all", "original 1991", "original 2012", "0.85dL")
ROUTES = ("load sharing", "yielded steel", "laminate strain")
WALL_BASES = ("smaller of nominal and measured", "nominal", "measured")
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
    grade: Text = ask("Grade and specification", example='"L360"')
    smys: quantity("stress", least=150, most=900) = ask("Specified minimum yield strength", example='"360 MPa"')
    smts: quantity("stress", above=0, most=2000) = ask("Specified minimum tensile strength", example='"460 MPa"')
    joint_type: choice(*JOINTS) = ask("Longitudinal joint", example='"electric resistance welded"')
    seam_clock: Clock = ask("Clock position of the longitudinal seam, facing downstream", need="", example='"10:30"')
    steel_modulus: quantity("modulus", least=100e3, most=300e3) = ask(
        "Young's modulus of the steel, if not common practice", need="", example='"207 GPa"')
    steel_expansion: quantity("expansion", least=1e-6, most=50e-6) = ask(
        "Thermal expansion of the steel, if not common practice", need="", example='"11.7e-6 1/°C"')


class Service(Sheet):
    """[service] all pressures are gauge"""

    service: choice(GAS, LIQUID) = ask("Service: it decides which design-factor rule holds", example='"gas line"')
    product: Text = ask("Product", need="", example='"natural gas"')
    class_location: choice("1", "2", "3", "4") = ask("Class location (gas line)", need="gas", example='"2"')
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
    axial_force: quantity("force") = ask("External axial force besides end thrust; 0 N must be said", example='"0 N"')
    bending_moment: quantity("moment") = ask("External bending moment; 0 N*m must be said", example='"0 N*m"')
    internal_corrosion: choice("none", "active", "unknown") = ask("Internal corrosion at the defect", example='"none"')
    inside_repair: choice("nothing", "bend", "girth weld", "fitting", "corroded seam") = ask(
        "Bend, girth weld, fitting or corroded seam inside the defect or the wrap", example='"nothing"')


class Defect(Sheet):
    """[defect]"""

    kind: choice(METAL_LOSS, "internal metal loss", "dent", "gouge", "crack", "leak") = ask(
        "Kind of defect", example='"external metal loss"')
    depth: quantity("length", least=0.01) = ask("Greatest measured depth", example='"3.4 mm"')
    depth_allowance: quantity("length", least=0) = ask(
        "Measuring allowance added to the depth; 0 mm must be said", example='"0.2 mm"')
    length: quantity("length", least=0.1) = ask("Measured axial length", example='"180 mm"')
    length_allowance: quantity("length", least=0, most=5000) = ask(
        "Measuring allowance added to the length; 0 mm must be said", example='"10 mm"')
    width: quantity("length", least=0.1) = ask("Measured circumferential width (arc)", example='"120 mm"')
    clock: Clock = ask("Clock position of its centre, facing downstream", example='"4:30"')
    grid: Text = ask("Depth grid: CSV file beside this file", need="", example='"grid.csv"')
    grid_extension: quantity("length", above=0, most=1000) = ask(
        "Distance from the outermost readings to sound wall, if the grid does not end on sound wall", need="",
        example='"15 mm"')
    deepest_axial: quantity("length") = ask("Where in the grid the stated depth is: axial", need="", example='"90 mm"')
    deepest_around: quantity("length") = ask(
        "Where in the grid the stated depth is: around", need="", example='"45 mm"')
    clear_upstream: quantity("length", least=0) = ask(
        "From the upstream edge of the defect to the nearest girth weld, bend or fitting", need="design",
        example='"2.4 m"')
    clear_downstream: quantity("length", least=0) = ask(
        "From the downstream edge of the defect to the nearest girth weld, bend or fitting", need="design",
        example='"6.1 m"')


class Assessment(Sheet):
    """[assessment]"""

    method: choice(*METHODS) = ask(
        "Which form governs; without a choice the lower of all", need="", example='"lower of all"')
    method_reason: Text = ask("Reason for another choice than the lower", need="")


class Design(Sheet):
    """[design] asked once a wrap is designed"""

    standard: choice("ISO 24817:2017", "ASME PCC-2-2018") = ask(
        "Standard and edition for allowable strain and temperature", need="design", example='"ISO 24817:2017"')
    system: Text = ask(
        "Wrap system: a shipped example or a file beside this one", need="design", example='"my_system.toml"')
    design_method: choice(*ROUTES) = ask("Thickness route", need="design", example='"load sharing"')
    design_method_reason: Text = ask(
        "Reason for this route", need="design", example='"steel stays elastic; company standard 12.3"')
    design_life: quantity("duration", above=0, most=100) = ask(
        "Design life of the repair", need="design", example='"20 y"')


class Takeoff(Sheet):
    """[takeoff] asked once a wrap is designed"""

    adhesive_waste: quantity("percentage", least=0, most=1) = ask(
        "Waste of adhesive or resin", need="design", example='"15 %"')
    filler_waste: quantity("percentage", least=0, most=1) = ask("Waste of filler", need="design", example='"25 %"')
    cloth_waste: quantity("percentage", least=0, most=1) = ask(
        "Waste of cloth (wet lay-up)", need="lay-up", example='"5 %"')
    primer_waste: quantity("percentage", least=0, most=1) = ask(
        "Waste of primer, if the system has one", need="primer", example='"15 %"')


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
    takeoff: Takeoff = Takeoff()
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
        return given.value(Origin("case", dotted), QUESTIONS[dotted])

    def optional(self, dotted: str) -> Value | None:
        """The quantity, or None when unanswered."""
        return None if lookup(self, dotted) is None else self.value(dotted)

    def unanswered(self, needs: set[str]) -> list[str]:
        """Fields of these needs without an answer, in the order of the file."""
        return [n for n, i in walk(Case) if i.json_schema_extra["need"] in needs and lookup(self, n) is None]


QUESTIONS: dict[str, str] = {n: i.description for n, i in walk(Case)}
