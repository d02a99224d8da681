"""Which readings a repair asks for, with limits in words: the rows of the template, and what may not be missing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from wrapcalc.case import Bundle
from wrapcalc.case.readings import LAMINATE, WHATS
from wrapcalc.standards.documents import ISO_24817, PRACTICE
from wrapcalc.systems.field_model import ADHESIVE, END_SEAL, FILLER, PRIMER

#: Moments of the job at which air, humidity and steel are read, as the template names them.
MOMENTS = ("before blasting", "before the first material", "while wrapping", "when all is laid")
PEOPLE = 2
_LOG_ROWS = 16
_SPARE_DEVIATIONS = 3


@dataclass(frozen=True)
class Wanted:
    """One row of the template. needed: without it the close-out stays open."""

    what: str
    where: str = ""
    limit: str = ""
    needed: bool = True

    @property
    def how(self) -> str:
        """How it is read."""
        return WHATS[self.what].how


def materials(bundle: Bundle) -> tuple[str, ...]:
    """The materials that are mixed, in the order in which they go on."""
    system = bundle.system
    assert system is not None
    out = [PRIMER] if system.primer.used == "yes" else []
    out += [FILLER, ADHESIVE]
    return (*out, END_SEAL) if system.end_seal.used == "yes" else tuple(out)


def edges(units: int) -> list[str]:
    """Where layers are counted: both edges of every unit."""
    return [f"unit {n}, {side} edge" for n in range(1, units + 1) for side in ("upstream", "downstream")]


def unit_places(units: int) -> list[str]:
    """The units, from upstream to downstream."""
    return [f"unit {n}" for n in range(1, units + 1)]


def wanted(bundle: Bundle, units: int, layers: int) -> tuple[Wanted, ...]:
    """Every row of the template, in the order of the job. units: of all repairs; layers: as designed."""
    return (*_before(bundle), *_surface(bundle), *_materials(bundle, units), *_wrapping(bundle, units, layers),
            *_acceptance(bundle), *_after(bundle))


def _before(bundle: Bundle) -> Iterator[Wanted]:
    yield Wanted("package")
    yield Wanted("record")
    yield Wanted("correction", needed=False)
    yield Wanted("installer", limit=_stated(bundle, "work.installer"))
    stated, inside = bundle.case.get("work.blast_least_wall"), bundle.case.optional("service.installation_pressure")
    live = inside is None or inside.magnitude > 0
    yield Wanted("least wall for blasting", limit="by the engineer, in writing, before blasting under pressure",
                 needed=stated is None and live)
    yield Wanted("wall under blasting", "thinnest place", _at_least(bundle, "work.blast_least_wall"),
                 needed=stated is not None or live)
    for _ in range(_LOG_ROWS):
        yield Wanted("line pressure", limit="at most " + _stated(bundle, "service.installation_pressure")
                     + " while it is laid and cures")


def _surface(bundle: Bundle) -> Iterator[Wanted]:
    system, s = bundle.system, bundle.system.surface if bundle.system else None
    assert system is not None and s is not None
    steel = f"{_sheet(system.application.steel_temperature_min)} to {_sheet(system.application.steel_temperature_max)}"
    for moment in MOMENTS:
        yield Wanted("air temperature", moment)
        yield Wanted("relative humidity", moment, f"at most {_sheet(s.humidity_max)}")
        yield Wanted("steel temperature", moment, f"{steel}, and {_sheet(s.dew_margin)} above the dew point")
    yield Wanted("blast finished")
    yield Wanted("blast grade", limit=str(s.grade or ""))
    for n in range(1, _count(bundle, "profile_spots") + 1):
        yield Wanted("blast profile", f"spot {n}", f"{_sheet(s.profile_min)} to {_sheet(s.profile_max)}")
    yield Wanted("soluble salt", "spot 1", f"at most {_sheet(s.salt_max)} as {s.salt_as}")
    yield Wanted("dust rating", "spot 1", f"at most {_sheet(s.dust_max)}")
    yield Wanted("rust bloom", limit=f"no; first material within {_sheet(s.open_time)} of blasting")
    beyond = f"beyond the end of the repair by {_sheet(s.prepared_beyond)}"
    yield Wanted("prepared steel, upstream end", limit=beyond)
    yield Wanted("prepared steel, downstream end", limit=beyond)


def _materials(bundle: Bundle, units: int) -> Iterator[Wanted]:
    system, case = bundle.system, bundle.case
    assert system is not None
    parts = unit_places(units) if system.is_sleeve else ["cloth"]
    for material in (*parts, *materials(bundle)):
        yield Wanted("batch", material)
    for s in case.stock:
        if s.batch is not None and s.item in (*materials(bundle), "cloth"):
            yield Wanted("expiry", f"{s.item}: {s.batch}", f"stated: {s.expiry}" if s.expiry else "", needed=False)
    tolerance = bundle.tables.entry(PRACTICE.id, "dose_tolerance").written
    for material in materials(bundle):
        mix = f"{material}, mix 1"
        yield Wanted("resin in mix", mix)
        yield Wanted("hardener in mix", mix, f"dose of the table at the measured temperature, within {tolerance}")
        yield Wanted("mixing started", mix)
        yield Wanted("material placed", mix, "within the pot life at the measured temperature")


def _wrapping(bundle: Bundle, units: int, layers: int) -> Iterator[Wanted]:
    system = bundle.system
    assert system is not None
    p = system.placement
    yield Wanted("carbon kept off the steel", limit="the isolating layer is whole, where the laminate holds carbon")
    for unit in unit_places(units):
        yield Wanted("circumference before", unit)
        yield Wanted("circumference after", unit, f"as calculated, within {_sheet(p.tape_band)}")
        for edge in edges(units):
            if edge.startswith(unit + ","):
                for _ in range(PEOPLE):
                    yield Wanted("layers counted", edge, f"at least {layers}; two people")
        yield Wanted("upstream side of unit", unit, f"mark, within {_sheet(p.side_tolerance)}")
        yield Wanted("downstream side of unit", unit, f"mark, within {_sheet(p.side_tolerance)}")
        yield Wanted("wrap start clock", unit, f"off the seam by {_sheet(p.start_off_seam)}, off the deepest metal by "
                     f"{_sheet(p.start_off_deepest)}")
        yield Wanted("wrap end off its mark", unit, f"at most {_sheet(p.end_tolerance)}")
    if system.is_sleeve:
        for n in range(1, units):
            yield Wanted("joint gap", f"unit {n} to unit {n + 1}", f"at most {_sheet(p.joint_gap_max)}",
                         needed=False)


def _acceptance(bundle: Bundle) -> Iterator[Wanted]:
    system, entry = bundle.system, bundle.tables.entry
    assert system is not None
    a = system.acceptance
    low, high = _sheet(system.application.cure_temperature_min), _sheet(system.cure_table.log_interval)
    for _ in range(_LOG_ROWS):
        yield Wanted("steel temperature", "cure log", f"at least {low}; every {high} until cured")
    share = entry(ISO_24817.id, "hardness_share").written
    for n in range(1, int(a.hardness_readings.base) + 1):
        side = "upstream" if n % 2 else "downstream"
        yield Wanted("hardness", f"{side} end, reading {n}", f"{a.hardness_scale}; mean at least {share} of "
                     f"{_sheet(a.hardness_reference)}")
    yield Wanted("tap test", limit=f"whole wrap, grid {_sheet(a.tap_spacing)}")
    yield Wanted("dull area", "ends", "none")
    yield Wanted("dull area", "elsewhere", f"at most {entry(PRACTICE.id, 'dull_share_most').written} of the area")
    limits = laminate_limits(bundle)
    for item in LAMINATE:
        yield Wanted(f"laminate: {item}", limit=limits[item])
    if system.end_seal.used == "yes":
        yield Wanted("end seal", limit="both ends, all around")


def laminate_limits(bundle: Bundle) -> dict[str, str]:
    """Limit of each item of the acceptance of the laminate, in words."""
    def of(name: str) -> str:
        return bundle.tables.entry(ISO_24817.id, name).written
    return dict(zip(LAMINATE, (
        "none", f"at most {of('surface_defect_width')} wide and {of('surface_defect_height')} high or deep",
        f"no step of more than {of('wrinkle_step')}", "none", "none", "none", "none", "none"), strict=True))


def _after(bundle: Bundle) -> Iterator[Wanted]:
    for n in range(1, _count(bundle, "coating_spots") + 1):
        yield Wanted("coating thickness", f"spot {n}", _at_least(bundle, "work.coating_thickness"))
    standard = bundle.case.get("work.holiday_standard")
    yield Wanted("holiday test voltage", limit=f"by {standard}" if standard else "no standard is named in the case")
    yield Wanted("holidays found", limit="0")
    yield Wanted("magnetic markers", limit="both ends")
    yield Wanted("cathodic protection", limit="reconnected")
    yield Wanted("leak or pressure test", limit="no leak or loss of pressure; after cure, hardness, laminate and tap "
                 "test, nobody in the trench")
    yield Wanted("pressure released by", limit="after the cure age is reached and the hardness is met")
    yield Wanted("accepted by", limit="not the installer")
    yield Wanted("photo", needed=False)
    for _ in range(_SPARE_DEVIATIONS):
        yield Wanted("accepted deviation", needed=False)


def _count(bundle: Bundle, name: str) -> int:
    return int(bundle.tables.value(PRACTICE.id, name).magnitude)


def _sheet(given) -> str:
    return given.written if given is not None else "not stated"


def _stated(bundle: Bundle, field: str) -> str:
    given = bundle.case.get(field)
    return "not stated" if given is None else getattr(given, "written", str(given))


def _at_least(bundle: Bundle, field: str) -> str:
    return "no limit stated" if bundle.case.get(field) is None else f"at least {_stated(bundle, field)}"
