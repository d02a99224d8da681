"""Hold and witness points in the order of the work, each with the sheet's own limits, blanks and who signs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from wrapcalc.case import Bundle
from wrapcalc.checks import Check
from wrapcalc.formulas import wrap_thickness as thickness
from wrapcalc.recorder import active
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.scope import is_leak
from wrapcalc.stages.site.holiday import Holiday
from wrapcalc.stages.site.release import Accepted, Restoration
from wrapcalc.stages.wrap.bears import Bears
from wrapcalc.stages.wrap.design import Design
from wrapcalc.standards.documents import ISO_24817, PRACTICE
from wrapcalc.values import Value

HOLD, WITNESS = "H", "W"
ENGINEER, INSPECTOR, CREW = "engineer", "inspector", "crew lead"
COATING, CONTROL = "coating inspector", "control room"
#: Sizes that read better in another unit: below the first, mil or µm; from the second, feet or metres. In mm.
_SMALL, _LARGE = {"SI": 0.2, "US": 2.54}, {"SI": 2000.0, "US": 1828.8}
_FINE, _COARSE = {"SI": "um", "US": "thou"}, {"SI": "m", "US": "foot"}


@dataclass(frozen=True)
class Limit:
    """One limit of a point. sense: "<=", ">=" or "" (a statement); value: None with words "" is a blank to fill in."""

    what: str
    sense: str = ""
    value: Value | None = None
    words: str = ""


@dataclass(frozen=True)
class HoldPoint:
    """letter: H, nobody goes on before it is signed, or W, somebody is called to look. applies: "" or an "if"."""

    number: int
    key: str
    letter: str
    title: str
    when: str
    what: str
    limits: tuple[Limit, ...]
    blanks: tuple[str, ...]
    signs: tuple[str, ...]
    citation: str
    status: str
    applies: str = ""


@dataclass(frozen=True)
class Blasting:
    """Blasting under pressure. left: wall left today at the deepest metal, None over an opening; least: of the company.

    words: whether it may be done, "" where the engineer has to say so.
    """

    left: Value | None
    least: Value | None
    check: Check
    words: str


@dataclass(frozen=True)
class Site:
    """What the points take their numbers from."""

    bundle: Bundle
    design: Design
    bears: Bears
    beside: Value | None
    blasting: Blasting
    accepted: Accepted
    restoration: Restoration
    holiday: Holiday


def blasting(bundle: Bundle, a: Assessment | None) -> Blasting:
    """Wall left today, allowances off, against the company's least wall for blasting under pressure."""
    rec, case = active(), bundle.case
    least, inside = case.optional("work.blast_least_wall"), case.optional("service.installation_pressure")
    rec.begin("Surface and climate")
    at = {"citation": PRACTICE.id, "status": "common practice", "kind": "gate"}
    left = None if a is None or is_leak(bundle) else rec.named(
        thickness.remaining_wall(a.wall, a.greatest), "Wall left today at the deepest metal")
    if inside is not None and inside.magnitude == 0:
        check = rec.gate("Blasting under pressure", True, "no pressure in the pipe",
                         "no pressure, or a wall that is thick enough", **at)
        return Blasting(left, least, check, "none: the pipe is without pressure, and proven so, while it is blasted")
    if left is None:
        check = rec.gate("Blasting under pressure", False, "an opening through the wall", "a wall that holds", **at)
        rec.warn("No blasting under pressure over an opening through the wall.", check.id)
        return Blasting(None, least, check, "forbidden")
    blank = ("the company's least wall is not stated (work.blast_least_wall): no blasting under pressure before the "
             "engineer has laid one down")
    check = rec.check("Wall left today against the least for blasting under pressure", left, ">=", least, **at,
                      note="least wall of the company" if least else blank)
    if least is None:
        return Blasting(left, None, check, "")
    if not check.met:
        rec.warn(f"No blasting under pressure: the wall left, {left.show(case.display)}, is below the company's "
                 f"least, {least.show(case.display)}.", check.id)
    return Blasting(left, least, check, "allowed at the wall of the assessment" if check.met else "forbidden")


# -- limits -------------------------------------------------------------------------------------------------------
def readable(value: Value | None, display: str) -> Value | None:
    """The same value in a unit that reads well on a sheet: mil, µm, feet, metres, minutes."""
    if value is None or value.magnitude == 0:
        return value
    size = abs(value.magnitude)
    if value.unit == "mm" and size < _SMALL[display]:
        return value.converted(_FINE[display])
    if value.unit == "mm" and size >= _LARGE[display]:
        return value.converted(_COARSE[display])
    return value.converted("minute") if value.unit == "hour" and size < 1 else value


def _of_case(s: Site, what: str, sense: str, name: str) -> Limit:
    return Limit(what, sense, s.bundle.case.optional(name))


def _of_sheet(s: Site, what: str, sense: str, name: str) -> Limit:
    assert s.bundle.system is not None
    return Limit(what, sense, s.bundle.system.value(name))


def _of_table(s: Site, what: str, sense: str, name: str) -> Limit:
    return Limit(what, sense, s.bundle.tables.value(PRACTICE.id, name))


def _stated(s: Site, what: str, name: str) -> Limit:
    """A word or a text of the case; blank where it says none."""
    return Limit(what, words=str(s.bundle.case.get(name) or ""))


def _pressure(s: Site) -> tuple[Limit, ...]:
    return (Limit("line pressure while anyone is in the trench", "<=", s.beside),
            _of_case(s, "pressure in the plan of the work, held steady from the filler to the cure", "",
                     "service.installation_pressure"),
            _stated(s, "read at", "work.pressure_source"), _of_case(s, "written down every", "<=",
                                                                    "work.pressure_interval"))


def _joint(s: Site) -> tuple[Limit, ...]:
    return (_stated(s, "joint", "location.joint_number"), _of_case(s, "its length", "", "location.joint_length"),
            *(Limit(x.name, "<=" if x.at_most else ">=", x.edge) for x in s.bears.box))


def _blast(s: Site) -> tuple[Limit, ...]:
    b = s.blasting
    left = (Limit("wall left by the assessment, allowances off", "", b.left),) if b.left else ()
    return (Limit("wall left at the deepest metal, as measured", ">=", b.least), *left,
            Limit("blasting under pressure", words=b.words))


def _surface(s: Site) -> tuple[Limit, ...]:
    assert s.bundle.system is not None and s.design.extent is not None
    sheet, several = s.bundle.system.surface, len(s.design.extent.repairs) > 1
    return (Limit("grade", words=str(sheet.grade)), _of_sheet(s, "profile", ">=", "surface.profile_min"),
            _of_sheet(s, "profile", "<=", "surface.profile_max"),
            _of_sheet(s, f"soluble salt, as {sheet.salt_as}", "<=", "surface.salt_max"),
            _of_sheet(s, "dust rating, ISO 8502-3", "<=", "surface.dust_max"),
            Limit("relative humidity, error of the instrument added", "<=",
                  s.bundle.system.value("surface.humidity_max").converted("percent")),
            _of_sheet(s, "steel above the dew point, errors of the instruments taken off", ">=", "surface.dew_margin"),
            _of_sheet(s, "steel, at its coldest place", ">=", "application.steel_temperature_min"),
            _of_sheet(s, "steel, at its hottest place", "<=", "application.steel_temperature_max"),
            *(Limit(f"overall length of repair {r.label}" if several else "overall length of the repair", "", r.overall)
              for r in s.design.extent.repairs),
            _of_sheet(s, "blasted beyond each end of it", ">=", "surface.prepared_beyond"),
            _of_sheet(s, "from the end of blasting, on the oldest area, to the first material", "<=",
                      "surface.open_time"))


def _filler(s: Site) -> tuple[Limit, ...]:
    return (_of_table(s, "gap under a straight edge", "<=", "filler_gap"),)


def _wrapping(s: Site) -> tuple[Limit, ...]:
    assert s.design.laid is not None and s.bundle.system is not None
    out = [Limit("layers, counted by position and by two people", ">=", s.design.laid.count),
           _of_sheet(s, "a side lies true within", "<=", "placement.side_tolerance"),
           _of_sheet(s, "the wrap ends where it should within", "<=", "placement.end_tolerance"),
           _of_sheet(s, "starts of neighbouring units apart", ">=", "placement.stagger")]
    if s.bundle.system.is_sleeve:
        out.append(_of_sheet(s, "gap between butted units, filled", "<=", "placement.joint_gap_max"))
    return (*out, _of_sheet(s, "tape over the wrap against the calculated circumference, a cross-check, within", "<=",
                            "placement.tape_band"))


def _cure(s: Site) -> tuple[Limit, ...]:
    return (_of_sheet(s, "logged steel temperature that counts", ">=", "cure_table.temperatures.0"),
            _of_sheet(s, "time between two readings of it", "<=", "cure_table.log_interval"),
            Limit("cure", words="complete by the cure table of the system sheet at the logged steel temperature"))


def _hardness(s: Site) -> tuple[Limit, ...]:
    a = s.accepted
    return (Limit(f"mean hardness, {a.scale}", ">=", a.mean), Limit(f"each single reading, {a.scale}", ">=", a.single),
            Limit("readings", ">=", a.readings), Limit("reference of the qualification", "", a.reference))


def _laminate(s: Site) -> tuple[Limit, ...]:
    assert s.design.laid is not None
    return (Limit("every row of the table of laminate defects", words="inside its limit"),
            Limit("thickness that counts", ">=", s.design.laid.thickness))


def _tap(s: Site) -> tuple[Limit, ...]:
    return (_of_sheet(s, "grid", "<=", "acceptance.tap_spacing"),
            _of_table(s, "grid at the ends and over the filler", "<=", "tap_dense"),
            Limit("dull places at the ends", words="none"),
            Limit("dull area elsewhere: none, unless the engineer lays down here at most", "<="))


def _test(s: Site) -> tuple[Limit, ...]:
    return (_of_case(s, "test pressure", "", "service.test_pressure"), Limit("time at that pressure", ">="),
            Limit("leak or loss of pressure", words="none"))


def _coating(s: Site) -> tuple[Limit, ...]:
    h, what = s.holiday, "voltage of the holiday test"
    one = h.lowest == h.highest
    volts = (Limit(what, "", h.lowest),) if one else (Limit(what, ">=", h.lowest), Limit(what, "<=", h.highest))
    return (Limit("coating", words=h.coating or ""),
            Limit("dry thickness planned; set the voltage by what is measured", "", h.thickness),
            Limit("standard of the holiday test", words=h.standard or ""), *volts, Limit("holidays", words="none"))


def _restoring(s: Site) -> tuple[Limit, ...]:
    r = s.restoration
    steps = tuple(Limit(f"step {i}: pressure", "", p) for i, p in enumerate(r.steps, 1))
    if not steps:
        steps = (Limit("raise of the pressure", words=r.note) if r.none else Limit("pressure at each step"),)
    hold = () if r.none else (Limit("hold at each step", ">=", r.hold),)
    return (*steps, *hold, Limit(f"never above ({r.governing})", "<=", r.cap))


def _backfill(s: Site) -> tuple[Limit, ...]:
    return (Limit("padding without stones", words="150 to 300 mm (6 to 12 in)"),)


def _no_numbers(s: Site) -> tuple[Limit, ...]:
    return ()


# -- the points ---------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class _Point:
    """One row of the list below, without its numbers."""

    key: str
    letter: str
    title: str
    when: str
    what: str
    blanks: tuple[str, ...]
    signs: tuple[str, ...]
    limits: Callable[[Site], tuple[Limit, ...]] = _no_numbers
    citation: str = PRACTICE.id
    status: str = "common practice"
    applies: str = ""


_POINTS = (
    _Point("pressure", HOLD, "Pressure confirmed and logged", "before anyone goes into the trench, and while work "
                                                              "lasts",
           "The control room confirms the pressure and keeps it; no surge, no pig. Read where the elevation is "
           "allowed for.", ("pressure read", "time", "confirmed by"), (CONTROL, CREW), _pressure),
    _Point("joint", HOLD, "Right joint, and the defect inside the box", "after exposure, before anything is prepared",
           "Lengths of the joint and its neighbours and the seams prove the joint. Crack check and lamination scan "
           "done. The defect as measured is inside every limit; outside any of them: stop, a new revision before "
           "anyone goes back.", ("as measured, beside each limit", "crack check: result", "lamination scan: result"),
           (INSPECTOR, ENGINEER), _joint),
    _Point("blast wall", HOLD, "Least wall for blasting under pressure", "before blasting",
           "The thinnest wall as measured is not below the least. Never over a suspected leak.",
           ("thinnest wall measured",), (INSPECTOR, ENGINEER), _blast),
    _Point("materials", WITNESS, "Materials", "before the first pack is opened",
           "Batch, expiry, storage and number of every item against the list.", ("batches and expiry dates",),
           (CREW, INSPECTOR)),
    _Point("surface", HOLD, "Surface", "after blasting, before the first material",
           "Grade, profile, salts, dust, climate and extent read and written down. Rust bloom: blast again.",
           ("profile", "salt", "dust", "air, humidity, dew point", "steel", "end of blasting", "first material"),
           (COATING, CREW), _surface, citation="the system sheet"),
    _Point("isolation", HOLD, "Carbon kept off the steel", "before the first layer that holds carbon fibre",
           "No carbon fibre touches the steel: the isolating layer is whole over the bonded area and at both ends.",
           ("isolating layer, as laid", "reading between laminate and steel"), (INSPECTOR, CREW),
           applies="if the laminate holds carbon fibre"),
    _Point("filler", HOLD, "Filler", "before wrapping",
           "Mixed as stated, everything filled, faired, no sag; hard where the system asks for that before wrapping.",
           ("gap found", "time"), (INSPECTOR, CREW), _filler),
    _Point("batch", WITNESS, "Each batch", "at each mix",
           "Masses of both parts, time and temperature written down; a sample kept in its cup, which hardens.",
           ("batch, masses, time, temperature of air and steel", "sample hard at"), (CREW,)),
    _Point("wrapping", WITNESS, "Wrapping", "while the wrap is laid",
           "Layers called aloud and ticked; true to its marks; tension, wetting out, no dry fibre.",
           ("layers, first person", "layers, second person", "circumference before and after"), (CREW, INSPECTOR),
           _wrapping, citation="the system sheet"),
    _Point("cure", HOLD, "Cure", "before anything is loaded or coated",
           "Only by logged steel temperature and the system's table, and with a dose inside its table. A forecast "
           "releases nothing.", ("log of the steel temperature: file", "cure complete at"), (INSPECTOR,), _cure,
           citation="the system sheet"),
    _Point("hardness", HOLD, "Hardness", "after the cure",
           "On the dry, resin-rich surface, at the coldest place and both ends, temperature written down. It is not "
           "proof of cure by itself: a dose that is too high may still read hard.",
           ("readings", "mean", "instrument and its check", "temperature of the surface"), (INSPECTOR,), _hardness,
           citation=f"{ISO_24817.id}, acceptance, hardness", status="from memory"),
    _Point("laminate", HOLD, "Laminate", "after the cure, before coating",
           "Every row of the table of laminate defects looked at, at every clock position.",
           ("findings, each with its place",), (INSPECTOR, ENGINEER), _laminate,
           citation=f"{ISO_24817.id}, acceptance of the laminate", status="from memory"),
    _Point("tap", HOLD, "Tap test", "after the cure, before coating",
           "Tapped on the grid, dull places mapped. No method is known that proves the bond: this finds gross faults "
           "only.", ("map of dull places", "dull area"), (INSPECTOR,), _tap),
    _Point("test", HOLD, "Leak or pressure test", "after cure, hardness, laminate and tap test; nobody in the trench",
           "As the owner's code asks for it; where it asks for none, the engineer writes so here.",
           ("kind of test, or none and why", "pressure, time, result"), (ENGINEER, CONTROL), _test),
    _Point("coating", HOLD, "Coating and holiday test", "after the coating has hardened, before backfill",
           "Over old coating, bare steel, both ends and the wrap, compatible with each. Tested all over; each "
           "holiday mended and tested again.",
           ("thickness measured", "voltage used", "instrument and its calibration", "holidays mended"), (COATING,),
           _coating),
    _Point("cathodic", WITNESS, "Cathodic protection", "before backfill",
           "Test leads and bonds connected again and read.", ("reading", "time"), (INSPECTOR,)),
    _Point("markers", WITNESS, "Magnetic markers", "before backfill",
           "One at each end of the repair, so that the next in-line inspection knows it.", ("place of each",), (CREW,)),
    _Point("release", HOLD, "Release", "before the pressure is raised",
           "All hold points above are signed and nothing is open. In writing, with the name of who lifts which "
           "restriction.", ("released by", "restriction lifted by", "date and time"), (ENGINEER,)),
    _Point("restoration", HOLD, "Pressure in steps", "after the release, nobody in the trench or beside the repair",
           "Each step with its hold, the pressure read at its end. Noise, leak, an edge that lifts: back to the step "
           "before, and call the engineer.", ("pressure and time at the end of each step",), (CONTROL, ENGINEER),
           _restoring),
    _Point("backfill", WITNESS, "Backfill", "last",
           "Padding without stones, nothing dropped on soft coating, the pipe supported, marker tape, coordinates of "
           "both ends taken.", ("coordinates of both ends", "photographs"), (INSPECTOR, CREW), _backfill),
)


def hold_points(site: Site) -> tuple[HoldPoint, ...]:
    """Every point in the order of the work, its numbers in units that read well."""
    display, out = site.bundle.case.display, []
    for i, p in enumerate(_POINTS, 1):
        limits = tuple(replace(x, value=readable(x.value, display)) for x in p.limits(site))
        out.append(HoldPoint(i, p.key, p.letter, p.title, p.when, p.what, limits, p.blanks, p.signs, p.citation,
                             p.status, p.applies))
    return tuple(out)
