"""Routes to a thickness where wall is left: load sharing, yielded steel, laminate strain, long-term strength.

Each gives a thickness around and, where the wrap must carry axial load, along the pipe. The one that the case names
is of record; the others stand beside it for information.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from wrapcalc.case import Bundle
from wrapcalc.case.design_model import BY_STEEL, ROUTES
from wrapcalc.errors import CalculationError, ValueWaits
from wrapcalc.formulas import wrap_strain
from wrapcalc.formulas import wrap_thickness as thickness
from wrapcalc.recorder import active
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.assessment.axial import Axial, axial_stress_at
from wrapcalc.stages.wrap.loads import Loads, thickness_outside
from wrapcalc.stages.wrap.strain import Allowed, Gates, Steel, column, is_asme, steel
from wrapcalc.standards.documents import ISO_24817, MECHANICS
from wrapcalc.values import Value

LOAD_SHARING, YIELDED, STRAIN, LONG_TERM = ROUTES
TOPICS = {LOAD_SHARING: "Load sharing", YIELDED: "Yielded steel", STRAIN: "Laminate strain",
          LONG_TERM: "Long-term strength"}


@dataclass(frozen=True)
class Demand:
    """One thickness required, and by what load case. force, capacity: of an axial load that steel and wrap share."""

    what: str
    required: Value
    load_case: str
    force: Value | None = None
    capacity: Value | None = None


@dataclass(frozen=True)
class Route:
    """One way to a thickness. demands: every thickness it asks for; reason: why it gives none, when it does not."""

    key: str
    demands: tuple[Demand, ...]
    chosen: bool
    reason: str = ""

    @property
    def governing(self) -> Demand | None:
        """The demand that is greatest."""
        return max(self.demands, key=lambda d: d.required.magnitude) if self.demands and not self.reason else None

    @property
    def required(self) -> Value | None:
        """Greatest thickness that the route asks for; None where it does not apply."""
        return None if self.governing is None else self.governing.required

    @property
    def axial(self) -> Value | None:
        """Thickness that the axial load asks for; None for none."""
        return next((d.required for d in self.demands if d.what == ALONG and d.required.magnitude > 0), None)


AROUND, ALONG, TEST, OUTSIDE = "around the pipe", "along the pipe", "pressure test", "outside pressure"


@dataclass(frozen=True)
class Work:
    """What every route needs. axial: the damaged section at the repair design pressure.

    a, remaining, axial: None for an opening through the wall, where the steel is not counted on.
    """

    bundle: Bundle
    a: Assessment | None
    loads: Loads
    remaining: Value | None
    allowed: Allowed | None
    metal: Steel
    axial: Axial | None

    @property
    def diameter(self) -> Value:
        """Outside diameter of the pipe."""
        return self.bundle.case.value("pipe.outside_diameter")

    def laminate(self, name: str) -> Value:
        """A property of the laminate."""
        assert self.bundle.system is not None
        return self.bundle.system.value(f"laminate.{name}")

    @property
    def live(self) -> Value:
        """Pressure while wrapping."""
        return self.bundle.case.value("service.installation_pressure")


def routes(work: Work, gates: Gates) -> tuple[Route, ...]:
    """Every route; checks of the chosen one count, those of the others are information."""
    chosen, out = work.bundle.case.design.design_method, []
    for key, run in ((LOAD_SHARING, _load_sharing), (YIELDED, _yielded), (STRAIN, _laminate_strain),
                     (LONG_TERM, _long_term)):
        active().begin(TOPICS[key])
        mine = key == chosen
        if key != LOAD_SHARING and work.allowed is None:
            out.append(Route(key, (), mine, "no allowable strain is left"))
            continue
        try:
            demands, reason = run(work, Asked(gates if mine else Gates(), mine))
        except (CalculationError, ValueWaits) as e:
            if mine:
                raise
            demands, reason = (), f"could not be worked out: {e}"  # for information only: it must not stop the case
        out.append(Route(key, tuple(demands), mine, reason))
    case = work.bundle.case
    active().assume(f"The thickness of record is that of the route “{chosen}”, because: "
                    f"{case.design.design_method_reason} The other routes stand beside it for information.",
                    "case: design.design_method")
    return tuple(out)


def leak_routes(work: Work, gates: Gates) -> tuple[Route, ...]:
    """The routes that ignore the steel, for an opening through the wall: both conditions have to be met there."""
    chosen, out = work.bundle.case.design.design_method, []
    if chosen not in (STRAIN, LONG_TERM):
        gates.add(active().gate("Route for an opening through the wall", False, chosen or "none",
                                f"{STRAIN} or {LONG_TERM}: no wall is counted on", citation=f"{ISO_24817.id}, 7.5.7",
                                status="from memory"))
    for key, run in ((STRAIN, _laminate_strain), (LONG_TERM, _long_term)):
        active().begin(TOPICS[key])
        if key == LONG_TERM and key != chosen:
            continue
        demands, reason = run(work, Asked(gates if key == chosen else Gates(), key == chosen))
        out.append(Route(key, tuple(demands), key == chosen, reason))
    return tuple(out)


@dataclass(frozen=True)
class Asked:
    """Where the checks of a route go, and whether it is the one of record."""

    gates: Gates
    chosen: bool

    def check(self, title: str, have: Value, sense: str, limit: Value, *, citation: str = MECHANICS.id,
              status: str = "derived", note: str = "") -> bool:
        """A check of the route; information when the route was not chosen. Whether it is met."""
        kind = "gate" if self.chosen else "information"
        return self.gates.add(active().check(title, have, sense, limit, citation=citation, status=status, kind=kind,
                                             note=note)).met

    def gate(self, title: str, holds: bool, found: str, wanted: str, citation: str, status: str) -> bool:
        """A check of words."""
        kind = "gate" if self.chosen else "information"
        return self.gates.add(active().gate(title, holds, found, wanted, citation=citation, status=status,
                                            kind=kind)).met


Result = tuple[list[Demand], str]


def _load_sharing(work: Work, ask: Asked) -> Result:
    a, loads = work.a, work.loads
    assert a is not None and a.governing is not None and work.axial is not None
    bare = thickness.thickness_load_sharing(work.diameter, a.allowable, work.metal.modulus,
                                            work.laminate("modulus_hoop"), loads.equivalent, a.governing)
    if not ask.check("Installation pressure below the safe pressure, load sharing", work.live, "<", a.governing):
        return [], "the installation pressure is not below the safe pressure: the ligament has no room to share"
    around = Demand(AROUND, thickness.thickness_load_sharing_live(bare, a.governing, work.live), loads.words)
    if work.axial.check.met:
        return [around], ""
    along, reason = _axial_sharing(work, ask)
    return [around, *along], reason


def _axial_sharing(work: Work, ask: Asked) -> Result:
    """The axial load that the damaged section does not carry by itself, shared with the wrap."""
    a, rec, axial = work.a, active(), work.axial
    assert a is not None and a.section is not None and axial is not None
    force = axial.force if axial.moment is None else _equivalent(axial, work.diameter)
    capacity = thickness.axial_capacity(force, work.diameter, a.allowable, axial.stress)
    bare = thickness.thickness_load_sharing_axial(work.diameter, a.allowable, work.metal.modulus,
                                                  work.laminate("modulus_axial"), force, capacity)
    stress = rec.procedure(
        "Axial stress of the damaged section while wrapping", "every load case with the external loads and the "
        "pressure while wrapping, at its worst width", MECHANICS.id, "derived", {"installation pressure": work.live},
        {"greatest axial stress": (axial_stress_at(work.bundle, a.section, work.live.magnitude), "MPa")}
    )["greatest axial stress"]
    if not ask.check("Axial stress while wrapping below the allowable stress", stress, "<", a.allowable):
        return [], "the external loads leave the damaged section no room to share: relieve them before wrapping"
    live = thickness.axial_load_while_wrapping(stress, capacity, a.allowable)
    rec.assume("External loads act while the wrap is laid as they do afterwards.", "safer reading")
    required = rec.named(thickness.thickness_load_sharing_live(bare, capacity, live),
                         "Thickness, load sharing along the pipe, loaded while wrapping")
    return [Demand(ALONG, required, axial.words, force, capacity)], ""


def _equivalent(axial: Axial, diameter: Value) -> Value:
    """The line force of the governing load case, taken all round, in size."""
    from wrapcalc.formulas import wrap_loads
    assert axial.moment is not None
    formula = (wrap_loads.equivalent_force_stretched if axial.force.magnitude >= 0
               else wrap_loads.equivalent_force_compressed)
    return formula(axial.force, axial.moment, diameter)


def _yielded(work: Work, ask: Asked) -> Result:
    case, rec, loads = work.bundle.case, active(), work.loads
    smys, modulus = case.value("pipe.smys"), work.laminate("modulus_hoop")
    assert work.allowed is not None and work.remaining is not None and work.axial is not None
    live = thickness.ligament_stress_installation(work.live, work.diameter, work.remaining)
    below = ask.check("Ligament stress at installation pressure, yielded steel", live, "<", smys)
    required = thickness.thickness_yielded_steel(loads.equivalent, work.diameter, smys, work.remaining,
                                                 work.allowed.hoop, modulus)
    clause = {"citation": f"{ISO_24817.id}, 7.5.4", "status": "from memory"}
    if required.magnitude <= 0:
        reason = "the remaining wall carries the pressure below yield"
        rec.strike(required, reason + ": this route does not apply")
        ask.gate("Steel yields, yielded steel", False, reason, "yield is reached", **clause)
        return [], reason
    elastic = thickness.ligament_stress_elastic(loads.equivalent, work.diameter, work.remaining, required, modulus,
                                                work.metal.modulus)
    if not ask.check("Steel yields under the wrap, yielded steel", elastic, ">", smys, **clause):
        rec.strike(required, "the steel would not yield at this thickness: use load sharing")
        return [], "the steel would not yield at this thickness"
    if not below:
        return [], "the ligament yields at the installation pressure"
    _with_credit(work, smys, modulus)
    out = [Demand(AROUND, required, loads.words)]
    if loads.test is not None and work.allowed.rare is not None:
        tested = rec.named(thickness.thickness_yielded_steel(loads.test, work.diameter, smys, work.remaining,
                                                             work.allowed.rare, modulus),
                           "Thickness, yielded steel, pressure test")
        if tested.magnitude > 0:
            out.append(Demand(TEST, tested, "pressure test"))
    if not work.axial.check.met:
        out += _along(work, ask)
    return out, ""


def _with_credit(work: Work, smys: Value, modulus: Value) -> None:
    """The exact answer with pressure while wrapping: information, never the thickness of record."""
    assert work.allowed is not None and work.remaining is not None
    if not work.live.magnitude:
        return
    excess = thickness.load_beyond_yield(work.loads.equivalent, work.diameter, smys, work.remaining)
    linear = thickness.linear_term(work.allowed.hoop, work.metal.modulus, work.remaining, excess, work.live,
                                   work.diameter)
    credited = thickness.thickness_yielded_steel_live(linear, work.allowed.hoop, excess, work.metal.modulus,
                                                      work.remaining, modulus)
    active().assume("The thickness with credit for the pressure while wrapping, "
                    f"{credited.show(work.bundle.case.display)}, is printed for information; the thickness of record "
                    "takes no such credit, because it is not on the safe side.", "safer reading")


def _laminate_strain(work: Work, ask: Asked) -> Result:
    loads = work.loads
    assert work.allowed is not None
    modulus, hoop = work.laminate("modulus_hoop"), work.allowed.hoop
    # Axial load that the steel carries does not relieve the laminate.
    relief = None if work.bundle.case.design.axial_carried_by == BY_STEEL else loads.relief
    if relief is None:
        around = thickness.thickness_laminate_strain(loads.equivalent, work.diameter, modulus, hoop)
    else:
        around = thickness.thickness_strain_hoop(loads.equivalent, work.diameter, modulus, relief,
                                                 work.laminate("poisson_ratio"), hoop)
    out = [Demand(AROUND, around, loads.words + ("" if relief is None else ", axial force with least relief"))]
    return [*out, *_test(work), *_along(work, ask), *_outside(work)], ""


def _test(work: Work) -> list[Demand]:
    """The pressure test on the laminate alone, at the strain of a rare load."""
    if work.loads.test is None or work.allowed is None or work.allowed.rare is None:
        return []
    return [Demand(TEST, active().named(thickness.thickness_laminate_strain(
        work.loads.test, work.diameter, work.laminate("modulus_hoop"), work.allowed.rare),
        "Thickness, laminate strain, pressure test"), "pressure test")]


def _along(work: Work, ask: Asked) -> list[Demand]:
    """Axial thickness of a laminate that carries the axial load alone, unless the case leaves it to the steel."""
    case, rec = work.bundle.case, active()
    assert work.allowed is not None
    if case.design.axial_carried_by == BY_STEEL and work.axial is not None and work.a is not None:
        rec.assume("The remaining steel carries the axial load, because: "
                   f"{case.design.axial_carried_by_reason}", "case: design.axial_carried_by")
        ask.check("Axial load carried by the remaining steel", work.axial.stress, "<=", work.a.allowable,
                  note=work.axial.words)
        return []
    if work.allowed.axial.magnitude <= 0:
        ask.gate("Axial strain is left for the axial load", False, "none", "an allowable axial strain", MECHANICS.id,
                 "derived")
        return []
    out = [Demand(ALONG, _along_one(work, load), load.words) for load in work.loads.axial]
    return [max(out, key=lambda d: d.required.magnitude)] if out else []


def _along_one(work: Work, load) -> Value:
    modulus, allowed = work.laminate("modulus_axial"), work.allowed
    assert allowed is not None
    if load.pressure is None:
        made = thickness.thickness_strain_axial_no_relief(load.force, work.diameter, modulus, allowed.axial)
    else:
        made = thickness.thickness_strain_axial(load.force, work.diameter, modulus, load.pressure,
                                                work.laminate("poisson_ratio"), work.laminate("modulus_hoop"),
                                                allowed.axial)
    return active().named(made, f"Thickness, laminate strain along the pipe, {load.words}")


def _outside(work: Work) -> list[Demand]:
    outside = work.loads.outside
    return [] if outside is None else [Demand(OUTSIDE, thickness_outside(work.bundle, outside), "outside pressure")]


def _long_term(work: Work, ask: Asked) -> Result:
    system, loads, rec = work.bundle.system, work.loads, active()
    assert system is not None and work.allowed is not None
    if system.long_term is None:
        reason = "the sheet of the system has no long-term tests"
        if ask.chosen:
            ask.gate("Long-term strength is tested", False, "no [long_term] in the sheet", "test data",
                     f"{ISO_24817.id}, 7.5.6", "from memory")
        return [], reason
    strength = long_term_strength(work.bundle)
    factor = long_term_factor(work.bundle)
    hot = wrap_strain.temperature_factor_strength(work.allowed.margin)
    around = thickness.thickness_long_term(loads.equivalent, work.diameter, factor, hot, strength)
    if work.remaining is not None and work.a is not None:
        credited = thickness.thickness_long_term_shared(loads.equivalent, work.diameter, work.remaining,
                                                        work.a.allowable, factor, hot, strength)
        rec.assume("The long-term strength carries all of the pressure; with the remaining wall credited it would be "
                   f"{credited.show(work.bundle.case.display)}, for information.", "safer reading")
    return [Demand(AROUND, around, loads.words), *_test(work), *_along(work, ask), *_outside(work)], ""


def long_term_strength(bundle: Bundle) -> Value:
    """The tested long-term strength, or that which the survival test gives."""
    system = bundle.system
    assert system is not None and system.long_term is not None
    if system.long_term.strength is not None:
        return system.value("long_term.strength")
    value: Callable[[str], Value] = system.value
    return thickness.long_term_strength_survival(
        value("long_term.survival_pressure"), value("long_term.survival_diameter"), value("laminate.modulus_hoop"),
        value("long_term.survival_thickness"), steel(bundle).modulus, value("long_term.survival_wall"))


def long_term_factor(bundle: Bundle) -> Value:
    """Service factor on the long-term strength: by test (ASME) or by life (ISO)."""
    system, tables, document = bundle.system, bundle.tables, bundle.case.design.standard
    assert system is not None and system.long_term is not None
    if is_asme(bundle):
        short = system.long_term.data == "1000 h survival"
        return tables.value(document, "long_term_factor_1000_h" if short else "long_term_factor_design_life")
    return tables.value(document, f"long_term_factor_{column(bundle)}_y")
