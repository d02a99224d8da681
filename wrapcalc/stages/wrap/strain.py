"""Temperature, fatigue and strain: what the laminate may do at the service temperatures, and the cure behind it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from wrapcalc.case import Bundle
from wrapcalc.case.design_model import ASME_EDITIONS
from wrapcalc.checks import Check
from wrapcalc.formulas import wrap_strain as strain
from wrapcalc.recorder import active
from wrapcalc.standards.documents import ISO_24817, MECHANICS, PRACTICE
from wrapcalc.standards.tables import Entry, Tables
from wrapcalc.values import Value

#: Columns of the strain tables of ISO 24817, in years.
_COLUMNS = (2, 10, 20)


@dataclass(frozen=True)
class Steel:
    """Young's modulus and thermal expansion of the pipe."""

    modulus: Value
    expansion: Value


@dataclass(frozen=True)
class Allowed:
    """Strains that the laminate may have: hoop and axial over its life, rare during a pressure test (None: no test).

    Each is that of the hottest or of the coldest service, whichever is lower. base_*: the tabulated ones before any
    factor. upper: highest service temperature; margin: of the hottest service below it; cyclic: the cyclic factor.
    """

    hoop: Value
    axial: Value
    rare: Value | None
    base_hoop: Value
    base_axial: Value
    base_rare: Value | None
    upper: Value
    margin: Value
    cyclic: Value


class Gates:
    """Collects the checks that the verdict depends on."""

    def __init__(self) -> None:
        self.checks: list[Check] = []

    def add(self, check: Check) -> Check:
        """Keep a check, and give it back."""
        self.checks.append(check)
        return check

    @property
    def failed(self) -> tuple[Check, ...]:
        """Those that are not met."""
        return tuple(c for c in self.checks if not c.met)


def is_asme(bundle: Bundle) -> bool:
    """Whether the edition that the case names is one of ASME PCC-2."""
    return bundle.case.design.standard in ASME_EDITIONS


def steel(bundle: Bundle) -> Steel:
    """The steel of the case, or common practice where it gives none."""
    case, tables, rec = bundle.case, bundle.tables, active()
    out = []
    for name, what in (("steel_modulus", "Young's modulus"), ("steel_expansion", "thermal expansion")):
        given = case.optional(f"pipe.{name}")
        if given is None:
            entry = tables.entry(PRACTICE.id, name)
            given = entry.value()
            rec.assume(f"The {what} of the steel is {given.show(case.display)}; the case gives none.",
                       "common practice")
        out.append(given)
    return Steel(*out)


def allowable_strain(bundle: Bundle, gates: Gates, *, through_wall: bool = False) -> Allowed | None:
    """Allowable strains; None when the service is hotter than the system may be, or when no hoop strain is left.

    The hottest and the coldest service are worked by themselves against the installation temperature; the lower strain
    goes on.
    """
    case, rec, system, tables = bundle.case, active(), bundle.system, bundle.tables
    assert system is not None
    entry = tables.entry(case.design.standard, "glass_transition_margin_through_wall" if through_wall
                         else "glass_transition_margin")
    upper = strain.upper_temperature_limit(_lowest_transition(bundle), entry.value())
    hot = case.value("service.service_temperature")
    warm = gates.add(rec.check("Hottest service against the upper limit of the system", hot, "<=", upper,
                               citation=entry.citation, status=entry.status, kind="gate"))
    _cure(bundle, gates)
    if not warm.met:
        return None
    cyclic, test = _cyclic(bundle), case.optional("service.test_pressure")
    base = {way: _tabulated(bundle, gates, way) for way in ("hoop", "axial")}
    base_rare = None if test is None else _tabulated_rare(bundle, base["hoop"])
    metal, margins, found = steel(bundle), [], {}
    installed = case.value("service.installation_temperature")
    for state, field in (("hottest", "service_temperature"), ("coldest", "lowest_temperature")):
        at = case.value(f"service.{field}")
        margins.append(rec.named(strain.temperature_margin(upper, at), f"Margin to the upper limit, {state} service"))
        factor = rec.named(_temperature_factor(bundle, margins[-1]), f"Temperature factor, {state} service")
        change = rec.named(strain.temperature_change(at, installed),
                           f"Change from the installation temperature, {state} service")
        runs = [("hoop", strain.allowable_hoop_strain, (cyclic, factor, base["hoop"])),
                ("axial", strain.allowable_axial_strain, (cyclic, factor, base["axial"]))]
        if base_rare is not None:
            runs.append(("rare", strain.allowable_hoop_strain_rare, (factor, base_rare)))
        for way, formula, first in runs:
            expansion = system.value("laminate.expansion_" + ("axial" if way == "axial" else "hoop"))
            words = {"rare": "hoop strain during a pressure test"}.get(way, f"{way} strain")
            found.setdefault(way, []).append(rec.named(formula(*first, change, metal.expansion, expansion),
                                                       f"Allowable {words}, {state} service"))
    lower = {way: min(values, key=lambda v: v.magnitude) for way, values in found.items()}
    left = [_left(tables, gates, lower[way], way) for way in ("hoop", "axial")]
    if not left[0].met:
        return None
    return Allowed(lower["hoop"], lower["axial"], lower.get("rare"), base["hoop"], base["axial"], base_rare, upper,
                   margins[0], cyclic)


def same_equations(bundle: Bundle) -> None:
    """The equations that run are cited by one edition; another one must be known to have them. Raises ValueWaits."""
    document = bundle.case.design.standard
    if f"{document}/equations" not in bundle.tables.entries:
        return
    entry = bundle.tables.entry(document, "equations")
    entry.value()
    active().assume(f"The design equations of {document} are those of {ISO_24817.id}, by which they are cited "
                    f"({entry.status}).", entry.citation)


def temperature_rows(bundle: Bundle) -> tuple[Value, ...]:
    """The table of temperature factors of an edition that has one instead of an equation; empty for the others."""
    document, entries = bundle.case.design.standard, bundle.tables.entries
    rows = [f"temperature_factor_{margin}" for margin in (0, 20, 40, 50, 60)]
    return tuple(entries[f"{document}/{n}"].value() for n in rows) if f"{document}/{rows[0]}" in entries else ()


def _temperature_factor(bundle: Bundle, margin: Value) -> Value:
    rows = temperature_rows(bundle)
    return strain.temperature_factor_by_table(margin, *rows) if rows else strain.temperature_factor(margin)


def _left(tables: Tables, gates: Gates, allowed: Value, way: str) -> Check:
    zero = tables.value(PRACTICE.id, "no_strain")
    return gates.add(active().check(
        f"Allowable {way} strain left after thermal mismatch", allowed, ">", zero, citation=MECHANICS.id,
        status="derived", kind="gate", note="the lower of hottest and coldest service: " + allowed.name.rpartition(
            ", ")[2]))


def _lowest_transition(bundle: Bundle) -> Value:
    """Lowest glass transition of all parts of the system."""
    system, rec = bundle.system, active()
    assert system is not None
    parts = ["laminate", "adhesive", "filler"] + (["primer"] if system.primer.used == "yes" else [])
    lowest = system.value("laminate.glass_transition")
    for n, part in enumerate(parts[1:], 2):
        lowest = rec.named(strain.lower_glass_transition(lowest, system.value(f"{part}.glass_transition")),
                           "Lowest glass transition of " + ", ".join(parts[:n]))
    return lowest


def _cure(bundle: Bundle, gates: Gates) -> None:
    """Installation temperature inside the range of the system, and of the cure behind its glass transition."""
    rec, system = active(), bundle.system
    assert system is not None
    at = bundle.case.value("service.installation_temperature")
    for title, sense, field, note in (
            ("Installation temperature against the system's range", ">=", "steel_temperature_min", ""),
            ("Installation temperature against the system's range", "<=", "steel_temperature_max", ""),
            ("Installation temperature against the qualified cure", ">=", "cure_temperature_min",
             "the glass transition holds only for this cure")):
        gates.add(rec.check(title, at, sense, system.value(f"application.{field}"),
                            citation=f"sheet of {system.system.id}", status="system sheet", kind="gate", note=note))


def _cyclic(bundle: Bundle) -> Value:
    """Cyclic factor; without stated pressures of the cycles they are taken as going down to nothing."""
    case, rec, tables = bundle.case, active(), bundle.tables
    count, low, high = (case.optional(f"service.{n}") for n in ("pressure_cycles", "cycle_low", "cycle_high"))
    assert count is not None
    entry = tables.entry(case.design.standard, "cycles_without_factor")
    most = entry.value()
    ratio = tables.value(PRACTICE.id, "cycle_ratio_unknown")
    if low is not None and high is not None:
        ratio = strain.cycle_ratio(low, high)
    factor = strain.cyclic_factor(count, most, ratio)
    if count.magnitude > most.magnitude:
        if low is None:
            rec.assume("The pressures of the cycles are not stated: they are taken as full cycles down to nothing.",
                       "safer reading")
        basis = case.service.cycle_basis
        rec.assume(f"Counting basis of the {count.show()} cycles: {basis}" if basis else
                   "The counting basis of the pressure cycles is not stated.", "case: service.cycle_basis")
        rec.warn(f"More than {entry.written} pressure cycles: the cyclic factor {factor.show(significant=3)} applies. "
                 f"It falls from 1 at once above {entry.written} cycles ({entry.citation}, {entry.status}), so that "
                 "the count decides; state how it was counted. Fatigue of the steel and of its welds is not assessed.",
                 factor.origin.ref)
    return factor


def column(bundle: Bundle) -> int:
    """Column of the life tables of ISO 24817: the next longer life; columns are not interpolated."""
    life = bundle.case.get("design.design_life").base
    return next((c for c in _COLUMNS if life <= c), _COLUMNS[-1])


def _tabulated(bundle: Bundle, gates: Gates, way: str) -> Value:
    """Tabulated strain; the axial row goes with the stiffness of the laminate."""
    case, tables, system = bundle.case, bundle.tables, bundle.system
    assert system is not None
    document, row = case.design.standard, way
    if way == "axial":
        share = system.value("laminate.modulus_axial").magnitude / system.value("laminate.modulus_hoop").magnitude
        row = "axial_stiff" if share >= tables.value(document, "stiff_axial_share").magnitude else "axial_soft"
    if is_asme(bundle):
        if way == "hoop":
            longest = tables.entry(document, "longest_life")
            gates.add(_life_check(bundle, longest.value(), longest, ""))
        return tables.value(document, f"strain_{row}_continuous")
    years = column(bundle)
    entry = tables.entry(document, f"strain_{row}_{years}_y")
    if way == "hoop":
        if years < _COLUMNS[-1]:
            active().warn(f"The strain of the {years}-year column is from memory, and another recollection of the "
                          "table has less for short lives: verify it, or design for 20 years.", entry.citation)
        limit = replace(case.value("design.design_life"), magnitude=float(years), origin=entry.value().origin,
                        name="life column of the strain table")
        gates.add(_life_check(bundle, limit, entry, "the next longer column; columns are not interpolated"))
    return entry.value()


def _life_check(bundle: Bundle, limit: Value, entry: Entry, note: str) -> Check:
    title = "Design life against the " + ("column of the strain table" if note else "tabulated strain")
    return active().check(title, bundle.case.value("design.design_life"), "<=", limit, citation=entry.citation,
                          status=entry.status, kind="gate", note=note)


def _tabulated_rare(bundle: Bundle, lasting: Value) -> Value:
    """Strain for a load that occurs rarely; that of lasting load where the edition has none that we know."""
    entry = bundle.tables.entries.get(f"{bundle.case.design.standard}/strain_hoop_rare")
    if entry is None or entry.waits:
        active().assume("The pressure test is checked with the strain of lasting load: a higher one for a load that "
                        f"occurs rarely is not known to us for {bundle.case.design.standard}.", "safer reading")
        return lasting
    return entry.value()
