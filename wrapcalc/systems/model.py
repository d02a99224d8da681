"""What a wrap system's data sheet must say before anything may be designed with it.

Two kinds: a pre-cured layered sleeve in fixed widths with a fixed number of layers, and a wet lay-up. A sheet
is complete or refused: every value of its kind must be there, and its evidence must be named.
"""

# mypy cannot read annotations made by calls; pydantic can, and the tests read every field.
# mypy: disable-error-code="valid-type"

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator

from wrapcalc import units
from wrapcalc.errors import CaseFaults, Fault, UnknownItem
from wrapcalc.fields import (
    FieldFault,
    Given,
    Identifier,
    Sheet,
    Text,
    ask,
    choice,
    examine,
    lookup,
    quantity,
    walk,
)
from wrapcalc.reading import line_numbers, read_toml, shown_name
from wrapcalc.values import Origin, Value

SLEEVE, LAYUP = "layered sleeve", "wet lay-up"


_MOST_WIDTHS, _MOST_UNITS = 8, 12  # every set of widths is tried; more would take minutes


def _widths(raw: Any) -> tuple[Given, ...] | None:
    if raw is None or raw == [] or raw == "":
        return None
    if not isinstance(raw, list) or len(raw) > _MOST_WIDTHS:
        raise FieldFault(units.shown(raw), f"a list of 1 to {_MOST_WIDTHS} widths", 'write ["220 mm", "340 mm"]')
    out: list[Given] = []
    for item in raw:
        try:
            magnitude, unit = units.parse(item, "length")
        except units.QuantityFault as e:
            raise FieldFault(e.found, e.allowed, e.mend) from None
        width = Given(magnitude, unit, " ".join(item.split()), "length", "", "")
        if not 10 <= width.base <= 5000:
            raise FieldFault(units.shown(item), "widths from 10 to 5000 mm", "check the width, its sign and unit")
        if any(width.base == other.base for other in out):
            raise FieldFault(f"{units.shown(item)} twice", "each width once", "remove one")
        out.append(width)
    return tuple(out)


Widths = Annotated[tuple[Given, ...] | None, BeforeValidator(_widths)]


class Identity(Sheet):
    """[system]"""

    id: Identifier = ask("Name of the system in case files", example='"my-sleeve"', default=...)
    name: Text = ask("Full name as printed", example='"Example sleeve"')
    system_type: choice(SLEEVE, LAYUP) = ask("Kind of system", example='"layered sleeve"')
    sheet: Text = ask("Data sheet: number, revision and date", example='"DS-12 rev 3, 2026-01-15"')


class Laminate(Sheet):
    """[laminate] the modulus refers to the plies alone"""

    ply_thickness: quantity("length", least=0.05, most=20) = ask("Cured thickness of one ply", example='"0.8 mm"')
    modulus_hoop: quantity("modulus", least=1e3, most=1e6) = ask("Tensile modulus around the pipe", example='"24 GPa"')
    modulus_axial: quantity("modulus", least=100, most=1e6) = ask("Tensile modulus along the pipe", example='"9 GPa"')
    poisson_ratio: quantity("number", least=0, most=1) = ask(
        "Poisson ratio, load around, contraction along", example="0.2")
    expansion_hoop: quantity("expansion", least=-1e-4, most=1e-3) = ask(
        "Thermal expansion around the pipe", example='"12e-6 1/°C"')
    expansion_axial: quantity("expansion", least=-1e-4, most=1e-3) = ask(
        "Thermal expansion along the pipe", example='"20e-6 1/°C"')
    glass_transition: quantity("temperature", least=-100, most=500) = ask(
        "Glass transition temperature; of field-cured parts as cured on site", example='"95 °C"')


class Bonding(Sheet):
    """[adhesive] between pipe and layers (sleeve), or the resin that wets the cloth (lay-up)"""

    glass_transition: quantity("temperature", least=-100, most=500) = ask(
        "Glass transition temperature as cured on site", example='"90 °C"')
    density: quantity("density", least=0.1, most=20) = ask("Density of the mix", example='"1.15 kg/L"')
    pack: quantity("mass", least=0.001, most=10000) = ask("Mass of one whole pack, both parts", example='"2 kg"')


class Filler(Sheet):
    """[filler]"""

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
    bond_line: quantity("length", above=0, most=10) = ask("Thickness of one bond line", need=SLEEVE, example='"0.3 mm"')
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


class Evidence(Sheet):
    """[[evidence]]"""

    covers: Text = ask("What it proves", example='"hoop modulus and strength"')
    reference: Text = ask("Report: author, number, date", example='"Test laboratory, report 88, 2025-03-02"')


def _evidence(raw: Any) -> Any:
    if not isinstance(raw, list):
        raise FieldFault(units.shown(raw), "tables [[evidence]] with covers and reference", "name the test reports")
    return raw


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
    envelope: Envelope = Envelope()
    evidence: Annotated[tuple[Evidence, ...], BeforeValidator(_evidence)] = ()

    @property
    def is_sleeve(self) -> bool:
        """Pre-cured layered sleeve, as opposed to a wet lay-up."""
        return self.system.system_type == SLEEVE

    def value(self, dotted: str) -> Value:
        """A quantity of the sheet with its origin, such as value("laminate.ply_thickness")."""
        given = lookup(self, dotted)
        names = {n: i.description for n, i in walk(System)}
        return given.value(Origin("system", f"{self.system.id}/{dotted}"), names[dotted])

    @property
    def unit_widths(self) -> list[Value]:
        """The widths that exist, ascending, each with its origin."""
        part = "sleeve" if self.is_sleeve else "lay_up"
        given = getattr(self, part).widths
        return sorted((g.value(Origin("system", f"{self.system.id}/{part}.widths/{i}"), "unit width")
                       for i, g in enumerate(given)), key=lambda v: v.magnitude)


_STAND_IN = {"schema_version": "1", "system": {"id": "faulty"}}


def read_system(path: Path, *, shown_as: str | None = None) -> tuple[System, bytes]:
    """A sheet from a file, with its bytes. Raises CaseFaults naming everything wrong or missing."""
    name = shown_as or shown_name(path)
    data, raw = read_toml(path, shown_as=name)
    sheet, faults = examine(System, data, raw, name, _STAND_IN)
    if sheet is not None:
        faulty = {f.field for f in faults}
        lines = line_numbers(raw)
        faults += [f for f in _incomplete(sheet, lines, name)
                   if not any(f.field == g or f.field.startswith(f"{g}.") for g in faulty)]
        faults += _inconsistent(sheet, lines, name)
    if faults:
        raise CaseFaults(sorted(faults, key=lambda f: f.line or 0))
    return sheet, raw


def _incomplete(sheet: System, lines: dict[str, int], name: str):
    kind = sheet.system.system_type
    part = {SLEEVE: "sleeve", LAYUP: "lay_up"}
    for dotted, info in walk(System):
        if dotted.startswith("evidence"):
            continue
        need = info.json_schema_extra["need"]
        wanted = need in ("assess", kind) or (need == "primer" and sheet.primer.used == "yes")
        if wanted and lookup(sheet, dotted) is None:
            yield Fault(name, dotted, "nothing", info.description + f", such as {info.json_schema_extra['example']}",
                        "a system sheet is complete or it is not used; fill it in",
                        lines.get(dotted, lines.get(dotted.partition(".")[0])))
    for k, p in part.items():
        if kind is not None and k != kind and getattr(sheet, p) is not None:
            yield Fault(name, p, f"a table for a {k}", f"no [{p}] for a {kind}", "remove it or correct system_type",
                        lines.get(p))
    if not sheet.evidence:
        yield Fault(name, "evidence", "nothing", "at least one [[evidence]] with covers and reference",
                    "name the test reports", lines.get("evidence"))
    for i, e in enumerate(sheet.evidence):
        for key in ("covers", "reference"):
            if getattr(e, key) is None:
                yield Fault(name, f"evidence.{i}.{key}", "nothing", "a text", "name the report",
                            lines.get(f"evidence.{i}"))


def _inconsistent(sheet: System, lines: dict[str, int], name: str):
    for low, high in (("application.steel_temperature_min", "application.steel_temperature_max"),
                      ("envelope.outside_diameter_min", "envelope.outside_diameter_max"),
                      ("envelope.service_temperature_min", "envelope.service_temperature_max"),
                      ("lay_up.least_layers", "lay_up.most_layers")):
        a, b = lookup(sheet, low), lookup(sheet, high)
        if a is not None and b is not None and a.base > b.base:
            yield Fault(name, low, units.shown(a.written), f"at most {high} = {b.written}", "correct one of the two",
                        lines.get(low))
    lay_up = sheet.lay_up
    if lay_up is not None and lay_up.band_overlap is not None and lay_up.widths is not None:
        if lay_up.band_overlap.base >= min(w.base for w in lay_up.widths):
            yield Fault(name, "lay_up.band_overlap", units.shown(lay_up.band_overlap.written),
                        "less than the narrowest cloth", "correct the overlap or the widths",
                        lines.get("lay_up.band_overlap"))


def shipped_systems() -> dict[str, Any]:
    """The invented example systems that ship with wrapcalc: id -> file."""
    folder = resources.files("wrapcalc.systems").joinpath("data")
    return {f.name.removesuffix(".toml"): f for f in sorted(folder.iterdir(), key=lambda f: f.name)
            if f.name.endswith(".toml")}


def load_system(name: str, beside: Path, *, packaged: bool = False) -> tuple[System, bytes, str]:
    """The system a case names: a file (ends in .toml, beside the case) or a shipped one.

    packaged: the case stands in a package, which carries its own copy of a shipped sheet; that copy is read.

    Returns sheet, bytes and file name. Raises CaseFaults for a bad sheet, UnknownItem for an unknown name.
    """
    known = shipped_systems()
    copied = packaged and name in known and (beside / f"{name}.toml").is_file()
    if name.endswith(".toml") or copied:
        name = name if name.endswith(".toml") else f"{name}.toml"
        sheet, raw = read_system(beside / name)
        return sheet, raw, Path(name).name
    if name not in known:
        raise UnknownItem("wrap system", name[:80], known)
    with resources.as_file(known[name]) as path:
        sheet, raw = read_system(path)
    return sheet, raw, f"{name}.toml"
