"""Can a wrap restore the pipe? Gates of the system, three thickness routes, layers, extent, units side by side."""

from __future__ import annotations

from dataclasses import dataclass, replace

from wrapcalc.case import Bundle
from wrapcalc.case.model import ROUTES
from wrapcalc.checks import Check
from wrapcalc.errors import CalculationError
from wrapcalc.formulas import pressure
from wrapcalc.formulas import takeoff as quantity
from wrapcalc.formulas import wrap_extent as extent
from wrapcalc.formulas import wrap_thickness as thickness
from wrapcalc.recorder import active
from wrapcalc.stages.assess import Assessment
from wrapcalc.stages.axial import axial_check
from wrapcalc.stages.end_of_life import goes_on, worn
from wrapcalc.stages.layout import Layout, lay_out
from wrapcalc.stages.life import Life
from wrapcalc.stages.restriction import Interim, interim_limit
from wrapcalc.stages.scope import discovery_fraction
from wrapcalc.stages.strain import Gates, allowable_strain, steel
from wrapcalc.standards.documents import ISO_24817, MECHANICS, PRACTICE
from wrapcalc.values import Value

LOAD_SHARING, YIELDED, STRAIN = ROUTES


@dataclass(frozen=True)
class Route:
    """One way to a thickness. required is None when its gate forbids it; reason says why."""

    key: str
    required: Value | None
    chosen: bool
    reason: str = ""


@dataclass(frozen=True)
class Design:
    """What the design hands on. clear: the checks that it stays clear of welds, bends and fittings."""

    pressure: Value
    remaining_wall: Value
    routes: tuple[Route, ...]
    interim: Interim
    layers: Value | None = None
    wrap_thickness: Value | None = None
    pitch: Value | None = None
    build_up: Value | None = None
    end_length: Value | None = None
    overlap: Value | None = None
    full_thickness: Value | None = None
    layout: Layout | None = None
    overall: Value | None = None
    clear: tuple[Check, ...] = ()
    failed: tuple[Check, ...] = ()

    @property
    def fits(self) -> bool:
        """The repair stays clear of welds, bends and fittings."""
        return all(c.met for c in self.clear)

    @property
    def holds(self) -> bool:
        """Every gate and check of the chosen design is met, and there is a design to speak of."""
        return not self.failed and self.overall is not None


def design(bundle: Bundle, a: Assessment, life: Life | None = None) -> Design:
    """Design the wrap for a case whose fields for it are all answered. `a.governing` must exist.

    What the wrap is designed for is the damage at the end of its life.
    """
    case, rec, system = bundle.case, active(), bundle.system
    assert system is not None and a.governing is not None
    gates = Gates()
    interim = interim_limit(bundle, a)
    entry = discovery_fraction(bundle)
    gates.add(rec.check("Installation pressure against the interim limit",
                        case.value("service.installation_pressure"), "<=", interim.limit, citation=entry.citation,
                        status=entry.status, kind="gate"))
    same_damage, now = not goes_on(bundle), a
    at_end = worn(bundle, a, life, gates)
    rec.begin("Repair design pressure and remaining wall")
    p = _repair_pressure(bundle)
    if at_end is None:
        none = replace(a.depth, magnitude=0.0, name="no wall is left to design on")
        return Design(p, none, (), interim, failed=gates.failed)
    a = at_end
    remaining = thickness.remaining_wall(a.wall, a.greatest)
    least = bundle.tables.entry(case.design.standard, "minimum_remaining_wall")
    gates.add(rec.check("Remaining wall at the end of life", remaining, ">=", least.value(), citation=least.citation,
                        status=least.status, kind="gate", note="thinner is designed as through-wall, which this "
                        "version does not do"))
    assert a.section is not None and now.axial_check is not None
    same = p.origin == case.value("service.maop").origin
    gates.add(now.axial_check if same and same_damage else
              axial_check(bundle, a.section, p, a.allowable, "repair design pressure"))
    rec.begin("Temperature and allowable strain")
    strain = allowable_strain(bundle, gates)
    rec.begin("Tested envelope")
    _envelope(bundle, a, p, gates)
    routes = _routes(bundle, a, p, remaining, strain, gates)
    chosen = next(r for r in routes if r.chosen)
    base = Design(p, remaining, routes, interim, failed=gates.failed)
    if chosen.required is None or strain is None:
        return base
    rec.begin("Layers and wrap thickness")
    layers, t_c = _layers(bundle, chosen.required, gates)
    if chosen.key == LOAD_SHARING:
        diameter = case.value("pipe.outside_diameter")
        worked = thickness.wrap_strain_load_sharing(
            p, diameter, steel(bundle).modulus, thickness.equivalent_wall(a.governing, diameter, a.allowable),
            system.value("laminate.modulus_hoop"), t_c)
        gates.add(rec.check("Hoop strain of the wrap, load sharing", worked, "<=", strain, citation=MECHANICS.id,
                            status="derived"))
    if chosen.key == YIELDED:
        _still_yields(bundle, p, remaining, t_c, gates)
    _thick(bundle, t_c)
    rec.begin("Extent, ends and units")
    return _extent(bundle, a, replace(base, layers=layers, wrap_thickness=t_c), gates)


def _repair_pressure(bundle: Bundle) -> Value:
    case, rec = bundle.case, active()
    restored = case.optional("service.lowered_maop")
    if restored is None:
        restored = case.value("service.maop")
    else:
        rec.assume("The wrap is designed for the lowered MAOP, not for the present one.", "case: service.lowered_maop")
    upset = case.optional("service.upset_pressure")
    return restored if upset is None else pressure.repair_design_pressure(restored, upset)


def _envelope(bundle: Bundle, a: Assessment, p: Value, gates: Gates) -> None:
    """Does this case lie inside what was tested?"""
    case, system, rec = bundle.case, bundle.system, active()
    assert system is not None
    diameter, hot = case.value("pipe.outside_diameter"), case.value("service.service_temperature")
    for title, have, sense, field in (
            ("Outside diameter", diameter, ">=", "outside_diameter_min"),
            ("Outside diameter", diameter, "<=", "outside_diameter_max"),
            ("SMYS", case.value("pipe.smys"), "<=", "smys_max"),
            ("Depth with allowance over wall", a.greatest_share, "<=", "depth_max"),
            ("Repair design pressure", p, "<=", "pressure_max"),
            ("Hottest service", hot, "<=", "service_temperature_max"),
            ("Coldest service", case.value("service.lowest_temperature"), ">=", "service_temperature_min"),
            ("Design life", case.value("design.design_life"), "<=", "design_life_max")):
        gates.add(rec.check(f"{title} inside the tested envelope", have, sense, system.value(f"envelope.{field}"),
                            citation=f"sheet of {system.system.id}", status="system sheet", kind="gate",
                            note="evidence cited by the user, not examined by this tool"))


def _routes(bundle: Bundle, a: Assessment, p: Value, remaining: Value, strain: Value | None,
            gates: Gates) -> tuple[Route, ...]:
    chosen = bundle.case.design.design_method
    quiet = Gates()
    pick = {key: gates if key == chosen else quiet for key in ROUTES}
    metal = steel(bundle)
    out = []
    topics = {LOAD_SHARING: "Load sharing", YIELDED: "Yielded steel", STRAIN: "Laminate strain"}
    for key, run in ((LOAD_SHARING, _load_sharing), (YIELDED, _yielded), (STRAIN, _laminate_strain)):
        active().begin(topics[key])
        if key != LOAD_SHARING and strain is None:
            out.append(Route(key, None, key == chosen, "no allowable strain is left"))
            continue
        try:
            required, reason = run(bundle, a, p, remaining, strain, metal, pick[key], key == chosen)
        except CalculationError as e:
            if key == chosen:
                raise
            required, reason = None, f"could not be worked out: {e}"  # for information only: it must not stop the case
        out.append(Route(key, required, key == chosen, reason))
    active().assume(f"The thickness of record is that of the route “{chosen}”, because: "
                    f"{bundle.case.design.design_method_reason} The other routes stand beside it for information.",
                    "case: design.design_method")
    return tuple(out)


def _note(check_kwargs: dict, chosen: bool) -> dict:
    """Checks of the routes that were not chosen are information and say so."""
    return check_kwargs if chosen else {**check_kwargs, "kind": "information"}


def _load_sharing(bundle, a, p, remaining, strain, steel, gates, chosen):
    case, system, rec = bundle.case, bundle.system, active()
    diameter = case.value("pipe.outside_diameter")
    bare = thickness.thickness_load_sharing(diameter, a.allowable, steel.modulus,
                                            system.value("laminate.modulus_hoop"), p, a.governing)
    live = case.value("service.installation_pressure")
    low = gates.add(rec.check("Installation pressure below the safe pressure, load sharing", live, "<", a.governing,
                              **_note({"citation": MECHANICS.id, "status": "derived", "kind": "gate"}, chosen)))
    if not low.met:
        return None, "the installation pressure is not below the safe pressure: the ligament has no room to share"
    return thickness.thickness_load_sharing_live(bare, a.governing, live), ""


def _yielded(bundle, a, p, remaining, strain, steel, gates, chosen):
    case, system, rec = bundle.case, bundle.system, active()
    diameter, smys = case.value("pipe.outside_diameter"), case.value("pipe.smys")
    modulus = system.value("laminate.modulus_hoop")
    live = thickness.ligament_stress_installation(case.value("service.installation_pressure"), diameter, remaining)
    below = gates.add(rec.check("Ligament stress at installation pressure, yielded steel", live, "<", smys,
                                **_note({"citation": MECHANICS.id, "status": "derived", "kind": "gate"}, chosen)))
    required = thickness.thickness_yielded_steel(p, diameter, smys, remaining, strain, modulus)
    if required.magnitude <= 0:
        reason = "the remaining wall carries the pressure below yield"
        rec.strike(required, reason + ": this route does not apply")
        gates.add(rec.gate("Steel yields, yielded steel", False, reason, "yield is reached",
                           **_note({"citation": f"{ISO_24817.id}, 7.5.4", "status": "from memory", "kind": "gate"},
                                   chosen)))
        return None, reason
    elastic = thickness.ligament_stress_elastic(p, diameter, remaining, required, modulus, steel.modulus)
    reached = gates.add(rec.check("Steel yields under the wrap, yielded steel", elastic, ">", smys,
                                  **_note({"citation": f"{ISO_24817.id}, 7.5.4", "status": "from memory",
                                           "kind": "gate"}, chosen)))
    if not reached.met:
        rec.strike(required, "the steel would not yield at this thickness: use load sharing")
        return None, "the steel would not yield at this thickness"
    return (required, "") if below.met else (None, "the ligament yields at the installation pressure")


def _laminate_strain(bundle, a, p, remaining, strain, steel, gates, chosen):
    system = bundle.system
    if chosen:
        active().assume("No Poisson relief from axial load is taken: support and restraint are not known.",
                        "safer reading")
    return thickness.thickness_laminate_strain(p, bundle.case.value("pipe.outside_diameter"),
                                               system.value("laminate.modulus_hoop"), strain), ""


def _layers(bundle: Bundle, required: Value, gates: Gates) -> tuple[Value, Value]:
    """Layers and wrap thickness: a sleeve's are checked, a lay-up's are sized."""
    system, rec = bundle.system, active()
    assert system is not None
    ply = system.value("laminate.ply_thickness")
    sheet = f"sheet of {system.system.id}"
    if system.is_sleeve:
        layers = system.value("sleeve.layers")
        t_c = thickness.wrap_thickness(layers, ply)
    else:
        layers = thickness.layers_required(required, ply, system.value("lay_up.least_layers"))
        t_c = thickness.wrap_thickness(layers, ply)
        gates.add(rec.check("Layers against the most that were qualified", layers, "<=",
                            system.value("lay_up.most_layers"), citation=sheet, status="system sheet", kind="gate"))
    gates.add(rec.check("Wrap thickness against the thickness required", t_c, ">=", required,
                        citation=f"{bundle.case.design.standard}, thickness", status="from memory"))
    return layers, t_c


def _still_yields(bundle: Bundle, p: Value, remaining: Value, t_c: Value, gates: Gates) -> None:
    """The route holds only if the steel yields under the wrap as laid, which may be thicker than required."""
    case, rec = bundle.case, active()
    elastic = rec.named(thickness.ligament_stress_elastic(p, case.value("pipe.outside_diameter"), remaining, t_c,
                                                          bundle.system.value("laminate.modulus_hoop"),
                                                          steel(bundle).modulus),
                        "Stress of the remaining wall under the wrap as laid, if it stayed elastic")
    gates.add(rec.check("Steel yields under the wrap as laid, yielded steel", elastic, ">", case.value("pipe.smys"),
                        citation=f"{ISO_24817.id}, 7.5.4", status="from memory", kind="gate",
                        note="if it does not, the route does not hold: use load sharing"))
    rec.warn("The yielded-steel route limits the strain of the wrap; it has no margin of its own against burst. "
             "Confirm that margin by the system's tests.", elastic.origin.ref)


def _thick(bundle: Bundle, t_c: Value) -> None:
    slender = thickness.slenderness(bundle.case.value("pipe.outside_diameter"), t_c)
    limit = bundle.tables.entry(ISO_24817.id, "thick_laminate")
    if slender.magnitude < limit.value().magnitude:
        active().warn(f"The wrap is thicker than D/{limit.written} ({limit.citation}, {limit.status}): thin-wall "
                      "design is doubtful.", slender.origin.ref)


def _extent(bundle: Bundle, a: Assessment, d: Design, gates: Gates) -> Design:
    case, system, rec, tables = bundle.case, bundle.system, active(), bundle.tables
    assert system is not None and d.layers is not None and d.wrap_thickness is not None
    diameter, nominal = case.value("pipe.outside_diameter"), case.value("pipe.nominal_wall")
    overlap = extent.overlap_required(tables.value(case.design.standard, "minimum_overlap"),
                                      extent.overlap_pcc2(diameter, nominal), extent.overlap_iso(diameter, nominal))
    full = extent.full_thickness_length(a.extent, overlap)
    ply = system.value("laminate.ply_thickness")
    pitch = quantity.layer_pitch(ply, system.value("sleeve.bond_line")) if system.is_sleeve else ply
    build = quantity.build_up(d.layers, pitch) if system.is_sleeve else d.wrap_thickness
    end = extent.end_length(system.value("ends.slope"), build)
    placed = lay_out(bundle, full, end, a.extent)
    d = replace(d, overlap=overlap, full_thickness=full, pitch=pitch, build_up=build, end_length=end, layout=placed)
    covered = gates.add(rec.check("Full-thickness cover against the length required",
                                  placed.cover if placed else None, ">=", full,
                                  citation=f"{case.design.standard}, overlap", status="from memory",
                                  note="" if placed else "no set of the system's widths covers it"))
    if not covered.met or placed is None:
        return replace(d, failed=gates.failed)
    overall = extent.overall_length(placed.cover, end)
    reach = extent.reach_beyond_defect(overall, case.value("defect.length"))
    clear = tuple(rec.check(f"Repair clear of welds, bends and fittings, {side}", reach, "<=",
                       case.value(f"defect.clear_{side}"), citation=PRACTICE.id, status="common practice",
                       kind="scope") for side in ("upstream", "downstream"))
    return replace(d, overall=overall, clear=clear, failed=gates.failed)
