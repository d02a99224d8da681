"""What a wrap system's data sheet must say before anything may be designed with it.

Two kinds: a pre-cured layered sleeve in fixed widths with a fixed number of layers, and a wet lay-up. A sheet
is complete or refused: every value of its kind must be there, and its evidence must be named.
"""

# mypy cannot read annotations made by calls; pydantic can, and the tests read every field.
# mypy: disable-error-code="valid-type"

from __future__ import annotations

import functools
from typing import Annotated, Any

from pydantic import BeforeValidator

from wrapcalc import units
from wrapcalc.fields import FieldFault, Given, Identifier, Sheet, Text, ask, choice, lookup, quantity, walk
from wrapcalc.systems.field_model import Acceptance, Consumable, CureTable, EndSeal, Mix, Placement, Surface, Tool
from wrapcalc.values import Origin, Value

SLEEVE, LAYUP = "layered sleeve", "wet lay-up"
SURVIVAL, REGRESSION = "1000 h survival", "design-life regression"
#: Needs of the tables that a sheet may leave out as a whole.
LONG_TERM, THROUGH = "long term", "through wall"
PLY, PLY_AND_BOND = "ply", "ply and bond line"


_MOST_WIDTHS, _MOST_UNITS = 8, 12  # every set of widths is tried; more would take minutes
_MOST_DIAMETERS = 60


def _lengths(what: str, most: int) -> Any:
    """A list of lengths, each once."""
    def read(raw: Any) -> tuple[Given, ...] | None:
        if raw is None or raw == [] or raw == "":
            return None
        if not isinstance(raw, list) or len(raw) > most:
            raise FieldFault(units.shown(raw), f"a list of 1 to {most} {what}s", 'write ["220 mm", "340 mm"]')
        out: list[Given] = []
        for item in raw:
            try:
                magnitude, unit = units.parse(item, "length")
            except units.QuantityFault as e:
                raise FieldFault(e.found, e.allowed, e.mend) from None
            one = Given(magnitude, unit, " ".join(item.split()), "length", "", "")
            if not 10 <= one.base <= 5000:
                raise FieldFault(units.shown(item), f"{what}s from 10 to 5000 mm",
                                 f"check the {what}, its sign and unit")
            if any(one.base == other.base for other in out):
                raise FieldFault(f"{units.shown(item)} twice", f"each {what} once", "remove one")
            out.append(one)
        return tuple(out)
    return Annotated[tuple[Given, ...] | None, BeforeValidator(read)]


Widths = _lengths("width", _MOST_WIDTHS)
Diameters = _lengths("diameter", _MOST_DIAMETERS)


class Identity(Sheet):
    """[system]"""

    id: Identifier = ask("Name of the system in case files", example='"my-sleeve"', default=...)
    name: Text = ask("Full name as printed", example='"Example sleeve"')
    system_type: choice(SLEEVE, LAYUP) = ask("Kind of system", example='"layered sleeve"')
    sheet: Text = ask("Data sheet: number, revision and date", example='"DS-12 rev 3, 2026-01-15"')


class Laminate(Sheet):
    """[laminate] of a sleeve: modulus_basis says which thickness the moduli refer to, and only that counts"""

    ply_thickness: quantity("length", least=0.05, most=20) = ask("Cured thickness of one ply", example='"0.8 mm"')
    modulus_hoop: quantity("modulus", least=1e3, most=1e6) = ask("Tensile modulus around the pipe", example='"24 GPa"')
    modulus_axial: quantity("modulus", least=100, most=1e6) = ask("Tensile modulus along the pipe", example='"9 GPa"')
    modulus_through: quantity("modulus", least=100, most=1e6) = ask(
        "Modulus through the thickness (for the second opinion)", example='"8 GPa"')
    modulus_basis: choice(PLY, PLY_AND_BOND) = ask(
        "Thickness per layer to which the moduli refer", need=SLEEVE, example='"ply"')
    carries_axial: choice("yes", "no") = ask(
        "Is the laminate qualified to carry axial load?", example='"yes"')
    poisson_ratio: quantity("number", least=0, most=0.9) = ask(
        "Poisson ratio, load around, contraction along", example="0.2")
    expansion_hoop: quantity("expansion", least=-1e-4, most=1e-3) = ask(
        "Thermal expansion around the pipe", example='"12e-6 1/°C"')
    expansion_axial: quantity("expansion", least=-1e-4, most=1e-3) = ask(
        "Thermal expansion along the pipe", example='"20e-6 1/°C"')
    glass_transition: quantity("temperature", least=-100, most=500) = ask(
        "Glass transition temperature; of field-cured parts as cured on site", example='"95 °C"')


class Bonding(Sheet):
    """[adhesive] between pipe and layers (sleeve), or the resin that wets the cloth (lay-up)"""

    lap_shear: quantity("stress", least=0.1, most=100) = ask(
        "Average short-term lap shear strength on blasted steel", example='"9 MPa"')

    glass_transition: quantity("temperature", least=-100, most=500) = ask(
        "Glass transition temperature as cured on site", example='"90 °C"')
    density: quantity("density", least=0.1, most=20) = ask("Density of the mix", example='"1.15 kg/L"')
    pack: quantity("mass", least=0.001, most=10000) = ask("Mass of one whole pack, both parts", example='"2 kg"')


class Filler(Sheet):
    """[filler]"""

    modulus: quantity("modulus", least=1, most=1e5) = ask("Modulus of the cured filler", example='"3 GPa"')
    poisson_ratio: quantity("number", least=0, most=0.49) = ask("Poisson ratio of the cured filler", example="0.35")

    glass_transition: quantity("temperature", least=-100, most=500) = ask(
        "Glass transition temperature as cured on site", example='"85 °C"')
    density: quantity("density", least=0.1, most=20) = ask("Density of the mix", example='"1.6 kg/L"')
    pack: quantity("mass", least=0.001, most=10000) = ask("Mass of one whole pack, both parts", example='"0.5 kg"')


class Primer(Sheet):
    """[primer]"""

    used: choice("yes", "no") = ask("Does the system use a primer?", example='"yes"')
    glass_transition: quantity("temperature", least=-100, most=500) = ask(
        "Glass transition temperature as cured on site", need="primer", example='"85 °C"')
    coverage: quantity("area density", least=0.001, most=100) = ask(
        "Mass per bonded area", need="primer", example='"0.2 kg/m2"')
    pack: quantity("mass", least=0.001, most=10000) = ask(
        "Mass of one whole pack, both parts", need="primer", example='"0.5 kg"')


class Sleeve(Sheet):
    """[sleeve] only for a layered sleeve; neighbouring sleeves are butted"""

    layers: quantity("count", least=1, most=200) = ask("Layers of the sleeve, fixed", need=SLEEVE, example="6")
    most_tiers: quantity("count", least=1, most=4) = ask(
        "Most sleeves one over the other that were qualified", need=SLEEVE, example="2")
    bond_line: quantity("length", above=0, most=10) = ask("Thickness of one bond line", need=SLEEVE, example='"0.3 mm"')
    diameters: Diameters = ask("Outside diameters of pipe that it is made for", need=SLEEVE,
                               example='["219.1 mm", "508 mm"]')
    widths: Widths = ask("Widths that are made", need=SLEEVE, example='["220 mm", "340 mm"]')
    most_units: quantity("count", least=1, most=_MOST_UNITS) = ask(
        "Most sleeves side by side", need=SLEEVE, example="4")


class Layup(Sheet):
    """[lay_up] only for a wet lay-up"""

    least_layers: quantity("count", least=1, most=200) = ask("Least number of layers", need=LAYUP, example="2")
    most_layers: quantity("count", least=1, most=200) = ask("Most layers that were qualified", need=LAYUP, example="20")
    cloth_areal_mass: quantity("area density", least=0.001, most=100) = ask(
        "Mass of dry cloth per area", need=LAYUP, example='"0.8 kg/m2"')
    fibre_mass_share: quantity("number", least=0.1, most=0.95) = ask(
        "Fibre mass over laminate mass", need=LAYUP, example="0.58")
    widths: Widths = ask("Widths of the cloth rolls", need=LAYUP, example='["300 mm"]')
    band_overlap: quantity("length", least=0) = ask("Overlap of neighbouring bands", need=LAYUP, example='"30 mm"')
    cutting_allowance: quantity("length", least=0, most=10000) = ask(
        "Added to each band when it is cut", need=LAYUP, example='"100 mm"')
    most_units: quantity("count", least=1, most=_MOST_UNITS) = ask("Most bands side by side", need=LAYUP, example="6")


class Ends(Sheet):
    """[ends] not counted as cover"""

    treatment: choice("square with fillet", "tapered") = ask("End treatment", example='"tapered"')
    slope: quantity("number", least=0, most=100) = ask("Length of taper or fillet over wrap thickness", example="5")
    least_gap: quantity("length", least=0, most=5000) = ask(
        "Least gap between the full thickness of neighbouring repairs; closer ones become one", example='"150 mm"')
    over_girth_weld: choice("yes", "no") = ask("May the repair lie over a girth weld?", example='"yes"')


class Application(Sheet):
    """[application]"""

    steel_temperature_min: quantity("temperature", least=-100, most=500) = ask(
        "Coldest steel for application", example='"10 °C"')
    steel_temperature_max: quantity("temperature", least=-100, most=500) = ask(
        "Hottest steel for application", example='"45 °C"')
    cure_temperature_min: quantity("temperature") = ask(  # type: ignore
        "Coldest steel at which the cure was qualified", example='"15 °C"')
    cure: Text = ask("Cure schedule to which the glass transition refers", example='"24 h at 20 °C or more"')


class Envelope(Sheet):
    """[envelope] what was tested; a case outside it is not covered by the evidence"""

    outside_diameter_min: quantity("length", above=0) = ask("Smallest pipe tested", example='"150 mm"')
    outside_diameter_max: quantity("length", above=0) = ask("Largest pipe tested or justified", example='"914 mm"')
    smys_max: quantity("stress", above=0) = ask("Highest SMYS", example='"450 MPa"')
    depth_max: quantity("number", above=0, most=1) = ask("Deepest loss, depth over wall", example="0.75")
    pressure_max: quantity("gauge pressure", above=0) = ask("Highest design pressure", example='"10 MPa"')
    service_temperature_min: quantity("temperature", least=-100, most=500) = ask("Coldest service", example='"-10 °C"')
    service_temperature_max: quantity("temperature", least=-100, most=500) = ask("Hottest service", example='"60 °C"')
    design_life_max: quantity("duration", above=0) = ask("Longest design life", example='"20 y"')
    reference: Text = ask("Report behind this envelope", example='"Test laboratory, spool report 88"')


class LongTerm(Sheet):
    """[long_term] only where a long-term strength was tested: the strength itself, or the survival test"""

    data: choice(SURVIVAL, REGRESSION) = ask("What was tested", need=LONG_TERM, example='"1000 h survival"')
    strength: quantity("stress", above=0) = ask("Long-term strength that the tests give", need="", example='"120 MPa"')
    survival_pressure: quantity("gauge pressure", above=0) = ask("Pressure that the spool withstood", need="",
                                                                 example='"20 MPa"')
    survival_diameter: quantity("length", above=0) = ask("Outside diameter of the spool", need="",
                                                         example='"168.3 mm"')
    survival_wall: quantity("length", above=0) = ask("Remaining wall of the spool", need="", example='"3.5 mm"')
    survival_thickness: quantity("length", above=0) = ask("Wrap thickness on the spool", need="", example='"6 mm"')
    reference: Text = ask("Report", need=LONG_TERM, example='"Test laboratory, report 91"')


class ThroughWall(Sheet):
    """[through_wall] only where the system was tested over holes"""

    toughness: quantity("toughness", above=0, most=10) = ask(
        "Toughness of the bond, 95 % lower confidence limit", need=THROUGH, example='"90 J/m2"')
    shear_modulus: quantity("modulus", least=10, most=1e5) = ask(
        "Shear modulus of the laminate through the thickness", need=THROUGH, example='"2.5 GPa"')
    degradation_factor: quantity("number", above=0, most=1) = ask(
        "Factor for degradation of the bond in service, as measured", need=THROUGH, example="0.8")
    impact_thickness: quantity("length", above=0) = ask(
        "Thickness of the impact test over a hole", need=THROUGH, example='"4 mm"')
    largest_opening: quantity("length", above=0) = ask("Largest opening tested", need=THROUGH, example='"25 mm"')
    pressure_max: quantity("gauge pressure", above=0) = ask(
        "Highest design pressure of leak repairs", need=THROUGH, example='"3 MPa"')
    reference: Text = ask("Report", need=THROUGH, example='"Test laboratory, report 93"')


class Blister(Sheet):
    """[[blister]] one test over a hole, from which the toughness follows"""

    hole: quantity("length", above=0) = ask("Diameter of the hole", need="", example='"15 mm"')
    pressure: quantity("gauge pressure", above=0) = ask("Pressure at failure", need="", example='"7.1 MPa"')
    thickness: quantity("length", above=0) = ask("Thickness of the laminate", need="", example='"8 mm"')


class Evidence(Sheet):
    """[[evidence]]"""

    covers: Text = ask("What it proves", example='"hoop modulus and strength"')
    reference: Text = ask("Report: author, number, date", example='"Test laboratory, report 88, 2025-03-02"')


def _blank(raw: Any) -> bool:
    return isinstance(raw, dict) and all(v == "" for v in raw.values())


def _optional(raw: Any) -> Any:
    """A table whose fields are all blank is not stated."""
    return None if _blank(raw) else raw


def _rows(name: str, keys: str) -> Any:
    def read(raw: Any) -> Any:
        if isinstance(raw, tuple):
            return raw
        if isinstance(raw, list) and name in ("blister", "consumable"):
            return [r for r in raw if not _blank(r)]
        if not isinstance(raw, list):
            raise FieldFault(units.shown(raw), f"tables [[{name}]] with {keys}", "write them as tables, one for each")
        return raw
    return read


class System(Sheet):
    """A data sheet. Tables may be missing while it is read; `read_system` refuses an incomplete one."""

    schema_version: choice("1", required=True) = ask("Version of this file format", example='"1"', default=...)
    system: Identity
    laminate: Laminate = Laminate()
    adhesive: Bonding = Bonding()
    filler: Filler = Filler()
    primer: Primer = Primer()
    sleeve: Sleeve | None = None
    lay_up: Layup | None = None
    ends: Ends = Ends()
    application: Application = Application()
    mix: Annotated[tuple[Mix, ...], BeforeValidator(_rows("mix", ", ".join(Mix.model_fields)))] = ()
    cure_table: CureTable = CureTable()
    surface: Surface = Surface()
    placement: Placement = Placement()
    end_seal: EndSeal = EndSeal()
    acceptance: Acceptance = Acceptance()
    consumable: Annotated[tuple[Consumable, ...], BeforeValidator(_rows("consumable", "item, amount and per"))] = ()
    tool: Annotated[tuple[Tool, ...], BeforeValidator(_rows("tool", "item"))] = ()
    envelope: Envelope = Envelope()
    long_term: Annotated[LongTerm | None, BeforeValidator(_optional)] = None
    through_wall: Annotated[ThroughWall | None, BeforeValidator(_optional)] = None
    blister: Annotated[tuple[Blister, ...], BeforeValidator(_rows("blister", "hole, pressure and thickness"))] = ()
    evidence: Annotated[tuple[Evidence, ...], BeforeValidator(_rows("evidence", "covers and reference"))] = ()

    @property
    def is_sleeve(self) -> bool:
        """Pre-cured layered sleeve, as opposed to a wet lay-up."""
        return self.system.system_type == SLEEVE

    def value(self, dotted: str) -> Value:
        """A quantity of the sheet with its origin, such as value("laminate.ply_thickness")."""
        given = lookup(self, dotted)
        plain = ".".join(p for p in dotted.split(".") if not p.isdigit())
        return given.value(Origin("system", f"{self.system.id}/{dotted}"), _descriptions()[plain])

    def place_of_mix(self, material: str) -> int | None:
        """Where in [[mix]] a material stands; None when it is not mixed."""
        return next((i for i, m in enumerate(self.mix) if m.material == material), None)

    @property
    def unit_widths(self) -> list[Value]:
        """The widths that exist, ascending, each with its origin."""
        part = "sleeve" if self.is_sleeve else "lay_up"
        given = getattr(self, part).widths
        return sorted((g.value(Origin("system", f"{self.system.id}/{part}.widths/{i}"), "unit width")
                       for i, g in enumerate(given)), key=lambda v: v.magnitude)


@functools.cache
def _descriptions() -> dict[str, str]:
    """Field -> its question: walking the model for every value asked for would cost more than the value."""
    return {n: i.description for n, i in walk(System)}
