"""What a crew found in the ditch: as_found.toml, its fields, and the faults that its reader tells all together.

Blank means not measured, and is no fault: the gate says what is missing. What is stated must be of this package, of a
day that can be, and must not contradict itself.
"""

# mypy cannot read annotations made by calls; pydantic can, and the tests read every field.
# mypy: disable-error-code="valid-type"

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wrapcalc import units
from wrapcalc.case import grid as grids
from wrapcalc.case.model import JOINTS, LEAK, SEAMS, Case
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.fields import (
    Clock,
    Day,
    FieldFault,
    Given,
    Sheet,
    Text,
    ask,
    choice,
    examine,
    lookup,
    quantities,
    quantity,
    tables,
)
from wrapcalc.people import checked_name, person_key
from wrapcalc.reading import line_numbers, read_bytes, read_toml, shown_name
from wrapcalc.values import Origin, Value

#: So many signs of the digest of the record name it, as in the template of the readings.
DIGEST_SIGNS = 12
NO_INDICATION, INDICATION, NOT_DONE = "no indication", "indication", "not done"
NO_LAMINATION, LAMINATION = "none", "found"
NO_METHOD = "none"
#: Readings of the sound wall, at as many clocks.
WALL_CLOCKS = 4
_STAND_IN = {"as_found": {"package": "faulty-r1", "digest": "0" * DIGEST_SIGNS}}
_MEASURED = ("grid", "profile", "pits")
#: In a ditch at another longitude it may be the next day already, or the day before.
_ZONES = datetime.timedelta(hours=14)
#: Steel so far (°C) above what the case expects may have been read in °F; our own choice, on the safe side.
_STEEL_ABOVE = 8.0


class About(Sheet):
    """[as_found]"""

    package: Text = ask("Package that this sheet belongs to", example='"HB-07-r1"', default=...)
    digest: Text = ask("First 12 signs of the SHA-256 of its record", example='"0123456789ab"', default=...)
    date: Day = ask("Day on which the pipe was looked at", example='"2026-10-02"')
    found_by: Text = ask("Who measured", example='"G. Example"')
    checked_by: Text = ask("Who checked the readings in the ditch; another person", example='"H. Example"')
    reference: Text = ask("Number of the sheet, photographs", example='"sheet A-118"')


class FoundJoint(Sheet):
    """[joint] the joint with the defect"""

    length: quantity("length", above=0, most=50000) = ask("Length of the joint, weld to weld", example='"11.85 m"')
    seam_clock: Clock = ask("Clock position of its seam, facing downstream", example='"10:45"')


class Neighbour(Sheet):
    """[[neighbour]] a joint beside it, outward"""

    side: choice("upstream", "downstream") = ask("On which side", example='"upstream"')
    number: Text = ask("Its number in the listing", need="", example='"117"')
    length: quantity("length", above=0, most=50000) = ask("Its length", example='"12.10 m"')
    seam_clock: Clock = ask("Clock position of its seam, facing downstream", example='"1:20"')


class Coating(Sheet):
    """[coating] before it was removed"""

    type: Text = ask("Type of the old coating", example='"coal tar, glass wrapped"')
    condition: Text = ask("Its condition", example='"cracked over 0.4 m, wet below"')
    disbonded: Text = ask("Where it was disbonded", example='"4:00 to 7:00 over 0.6 m"')
    deposit: Text = ask("Deposit below it; none must be said", example='"white, soft"')
    ph: quantity("number", least=0, most=14) = ask("pH of water or deposit below it", need="", example="8.5")


class Crack(Sheet):
    """[crack]"""

    method: choice("MT", "PT", NO_METHOD) = ask("Magnetic particles (MT), penetrant (PT), or none", example='"MT"')
    result: choice(NO_INDICATION, INDICATION, NOT_DONE) = ask("What it showed", example='"no indication"')


class Lamination(Sheet):
    """[lamination] ultrasonic scan of the steel below the bonded ends"""

    result: choice(NO_LAMINATION, LAMINATION, NOT_DONE) = ask("What the scan showed", example='"none"')
    scanned_from: quantity("length", least=-50000, most=50000) = ask(
        "Upstream end of the scanned zone, from the upstream girth weld", example='"3.90 m"')
    scanned_to: quantity("length", least=-50000, most=50000) = ask(
        "Downstream end of the scanned zone, from the upstream girth weld", example='"4.75 m"')


class FoundPipe(Sheet):
    """[pipe]"""

    sound_wall: quantities("length", least=0.5, most=100) = ask(
        "Sound wall by ultrasound at four clocks or more, beside the defect; the least counts",
        example='["8.61 mm", "8.64 mm", "8.66 mm", "8.62 mm"]', default=())
    wall_allowance: quantity("length", least=0) = ask("Measuring allowance taken off the wall", need="",
                                                      example='"0.1 mm"')
    joint_type: choice(*JOINTS) = ask("Longitudinal joint as found", example='"electric resistance welded"')
    seam_process: choice(*SEAMS) = ask("How the seam was welded", need="",
                                       example='"high-frequency electric resistance"')
    outside_diameter: quantity("length", least=20, most=3000) = ask("Outside diameter by caliper or tape", need="",
                                                                    example='"406.4 mm"')
    circumference: quantity("length", least=60, most=10000) = ask("Circumference of the bare pipe by tape, instead",
                                                                  need="", example='"1277 mm"')


class FoundDefect(Sheet):
    """[defect]"""

    depth: quantity("length", least=0.01) = ask("Greatest depth by any means", example='"3.9 mm"')
    depth_allowance: quantity("length", least=0) = ask("Measuring allowance added to the depth", need="",
                                                       example='"0.2 mm"')
    length: quantity("length", least=0.1) = ask("Axial length", example='"236 mm"')
    length_allowance: quantity("length", least=0, most=5000) = ask("Measuring allowance added to the length", need="",
                                                                   example='"10 mm"')
    width: quantity("length", least=0.1) = ask("Circumferential width (arc)", example='"154 mm"')
    clock: Clock = ask("Clock position of its centre, facing downstream", example='"5:20"')
    from_upstream_weld: quantity("length", least=0, most=50000) = ask(
        "From the upstream girth weld to the upstream edge of the defect", example='"4.19 m"')
    from_downstream_weld: quantity("length", least=0, most=50000) = ask(
        "From the downstream girth weld to the downstream edge of the defect", example='"7.44 m"')
    clear_upstream: quantity("length", least=0) = ask(
        "From the upstream edge of the defect to the nearest girth weld, bend or fitting", example='"4.19 m"')
    clear_downstream: quantity("length", least=0) = ask(
        "From the downstream edge of the defect to the nearest girth weld, bend or fitting", example='"7.44 m"')
    leak_size: quantity("length", above=0) = ask("Size of the opening through the wall", need="", example='"6 mm"')
    grid: Text = ask("Depth grid as read: CSV file beside this file", need="", example='"found-grid.csv"')
    grid_extension: quantity("length", above=0, most=1000) = ask(
        "Distance from its outermost readings to sound wall, if it does not end there", need="", example='"15 mm"')
    profile: Text = ask("River-bottom profile: CSV file, instead of a grid", need="", example='"found-profile.csv"')
    pits: Text = ask("Table of pits: CSV file, instead of a grid", need="", example='"found-pits.csv"')


class FoundService(Sheet):
    """[service]"""

    pressure_now: quantity("gauge pressure", least=0) = ask("Pressure in the pipe now", need="", example='"2.0 MPa"')
    installation_pressure: quantity("gauge pressure", least=0) = ask(
        "Pressure while the wrap will be laid and cures, if it is another one", need="", example='"2.4 MPa"')
    steel_now: quantity("temperature", least=-60, most=300) = ask("Steel temperature now", need="", example='"16 °C"')


class AsFound(Sheet):
    """One look into the ditch."""

    as_found: About
    joint: FoundJoint = FoundJoint()
    neighbour: tables("neighbour", Neighbour) = ()
    coating: Coating = Coating()
    crack: Crack = Crack()
    lamination: Lamination = Lamination()
    pipe: FoundPipe = FoundPipe()
    defect: FoundDefect = FoundDefect()
    service: FoundService = FoundService()

    def given(self, dotted: str) -> Any:
        """What stands in a field; None when it is blank."""
        return lookup(self, dotted)

    def value(self, dotted: str, name: str = "") -> Value | None:
        """A quantity with this sheet as origin; None when it was not measured."""
        given = lookup(self, dotted)
        return found_value(given, dotted, name) if isinstance(given, Given) else None

    @property
    def least_wall(self) -> Given | None:
        """The least reading of the sound wall."""
        return min(self.pipe.sound_wall, key=lambda g: g.base, default=None)

    @property
    def measured_file(self) -> tuple[str, str] | None:
        """(grid, profile or pits, name of the file) when one is named."""
        return next(((f, str(name)) for f in _MEASURED if (name := getattr(self.defect, f))), None)


def found_value(given: Given, dotted: str, name: str = "") -> Value:
    """A quantity of the sheet as a value."""
    return given.value(Origin("as found", dotted), name or f"{dotted.rpartition('.')[2].replace('_', ' ')} as found")


@dataclass(frozen=True)
class Sighting:
    """A sheet as it was read. files: what it names, by name; raw: the sheet itself; lines: of its fields."""

    found: AsFound
    name: str
    raw: bytes
    files: dict[str, bytes]
    lines: dict[str, int]

    def fault(self, field: str, found: str, allowed: str, mend: str) -> Fault:
        """A fault at a field of the sheet."""
        return Fault(self.name, field, found, allowed, mend,
                     self.lines.get(field) or self.lines.get(field.rpartition(".")[0]))


def read_as_found(path: Path) -> Sighting:
    """Read as_found.toml and the file of readings that it names. Raises CaseFaults with all that is wrong."""
    name = shown_name(path)
    data, raw = read_toml(path)
    found, faults = examine(AsFound, data, raw, name, _STAND_IN)
    if found is None:
        raise CaseFaults(faults)
    told = {f.field for f in faults}
    out = Sighting(found, name, raw, {}, line_numbers(raw))
    faults += [f for f in _contradictions(out) if f.field not in told]
    faults += _beside(out, path.parent)
    if faults:
        raise CaseFaults(sorted(faults, key=lambda f: f.line or 0))
    return out


def _contradictions(s: Sighting) -> Iterator[Fault]:
    f = s.found
    for key in ("package", "digest"):
        if getattr(f.as_found, key) is None:
            yield s.fault(f"as_found.{key}", "nothing", "the package that this sheet belongs to",
                          "start from as-found-form.toml of the package, which has it")
    by, checked = f.as_found.found_by, f.as_found.checked_by
    for key, name in (("found_by", by), ("checked_by", checked)):
        try:
            checked_name(name or "nobody")  # a blank is missing, and no fault
        except FieldFault as e:
            yield s.fault(f"as_found.{key}", e.found, e.allowed, e.mend)
    if by and checked and person_key(by) == person_key(checked):
        yield s.fault("as_found.checked_by", units.shown(checked), "another person than found_by",
                      "nobody checks his own readings: have a second person read the tape and the gauge")
    if f.crack.method == NO_METHOD and f.crack.result not in (None, NOT_DONE):
        yield s.fault("crack.result", units.shown(f.crack.result), f"'{NOT_DONE}' with method = \"{NO_METHOD}\"",
                      "name the method, MT or PT, or write not done")
    low, high = f.lamination.scanned_from, f.lamination.scanned_to
    if low is not None and high is not None and low.base >= high.base:
        yield s.fault("lamination.scanned_from", units.shown(low.written), f"less than scanned_to = {high.written}",
                      "exchange the two: both are measured downstream from the upstream girth weld")
    if f.pipe.outside_diameter is not None and f.pipe.circumference is not None:
        yield s.fault("pipe.circumference", units.shown(f.pipe.circumference.written),
                      "outside_diameter or circumference", "state the one that was measured")
    named = [k for k in _MEASURED if getattr(f.defect, k)]
    if len(named) > 1:
        yield s.fault(f"defect.{named[1]}", f"{' and '.join(named)} together", "one of grid, profile, pits",
                      "name the one that was measured")
    if named and f.defect.depth is None:
        yield s.fault("defect.depth", "nothing", f"the greatest depth by any means, beside a {named[0]}",
                      "state the deepest reading, of the pit gauge or of the file")
    if f.defect.grid_extension is not None and not set(named) & {"grid", "profile"}:
        yield s.fault("defect.grid_extension", units.shown(f.defect.grid_extension.written),
                      "nothing: the sheet names no grid or profile", "name the file, or remove this")
    for i, row in enumerate(f.neighbour):
        if row.side is None and (row.length is not None or row.seam_clock is not None):
            yield s.fault(f"neighbour.{i}.side", "nothing", "upstream or downstream", "say on which side it lies")
    up, down = f.defect.from_upstream_weld, f.defect.from_downstream_weld
    for side, weld in (("upstream", up), ("downstream", down)):
        clear = getattr(f.defect, f"clear_{side}")
        if clear is not None and weld is not None and clear.base > weld.base + 1:
            yield s.fault(f"defect.clear_{side}", units.shown(clear.written), f"at most from_{side}_weld = "
                          f"{weld.written}: that girth weld is the nearest weld, or something is nearer",
                          "check both distances")


#: Names that the folder of the check uses itself, and those of a package.
TAKEN = frozenset(("as_found.toml", "as_found.json", "as_found.html", "as_found.pdf", "next_case.toml", "manifest.json",
                   "manifest.sha256", "run.json", "case.toml", "record.json"))


def _beside(s: Sighting, here: Path) -> Iterator[Fault]:
    """Reads the file that the sheet names into `s.files`."""
    named = s.found.measured_file
    if named is None:
        return
    field, name = f"defect.{named[0]}", named[1]
    if any(c in name for c in '/\\<>:"|?*') or name.startswith(".") or len(name) > 120 or name.casefold() in TAKEN:
        yield s.fault(field, units.shown(name), "the name of a file beside the sheet, without folders, that is not a "
                      "name of ours", "put the file beside the sheet, or rename it")
        return
    try:
        s.files[name] = read_bytes(here / name, units.printable(name), most=grids.MAX_BYTES)
    except CaseFaults as e:
        for f in e.faults:
            yield s.fault(field, f"{units.shown(name)}: {f.found}", f.allowed, f.mend)


# -- against the package ------------------------------------------------------------------------------------------
def of_package(s: Sighting, package: str, record_sha256: str) -> Iterator[Fault]:
    """The sheet is of another package, or of another record of the same name."""
    about = s.found.as_found
    if about.package.casefold() != package.casefold():
        yield s.fault("as_found.package", units.shown(about.package), package,
                      "take the sheet of this package: another one was looked at, or another revision")
    signs = about.digest.casefold().removeprefix("sha256:").strip()
    if len(signs) < DIGEST_SIGNS or not record_sha256.startswith(signs):
        yield s.fault("as_found.digest", units.shown(about.digest), record_sha256[:DIGEST_SIGNS],
                      "take as-found-form.toml of this package: the sheet was made for other numbers")


def out_of_time(s: Sighting, made: datetime.datetime, now: datetime.datetime) -> Iterator[Fault]:
    """Dated before the package was made, or in the future."""
    if s.found.as_found.date is None:
        return
    day = datetime.date.fromisoformat(s.found.as_found.date)
    if day < (made - _ZONES).date():
        yield s.fault("as_found.date", str(day), f"not before the package was made, {made.date()}",
                      "look at the pipe again for this revision, and give that day")
    elif day > (now + _ZONES).date():
        yield s.fault("as_found.date", str(day), f"not in the future (now {now.date()})", "check the date")


def against_case(s: Sighting, case: Case) -> Iterator[Fault]:
    """What cannot be of this case: neighbours that the listing does not have, steel read in the wrong scale."""
    listed: dict[str, list[str]] = {"upstream": [], "downstream": []}
    for row in case.joint:
        listed[row.side].append(str(row.number or ""))
    at = {"upstream": 0, "downstream": 0}
    for i, row in enumerate(s.found.neighbour):
        if row.side is None:
            continue
        k, at[row.side] = at[row.side], at[row.side] + 1
        if k >= len(listed[row.side]):
            if row.length is not None or row.seam_clock is not None:
                yield s.fault(f"neighbour.{i}.side", f"joint {k + 1} {row.side}",
                              f"at most {len(listed[row.side])} {row.side}, as many as the case lists",
                              "remove it, or add the joint to the case and issue a new revision")
        elif row.number and listed[row.side][k] and row.number != listed[row.side][k]:
            yield s.fault(f"neighbour.{i}.number", units.shown(row.number), f"{listed[row.side][k]}, joint {k + 1} "
                          f"{row.side} in the listing", "list the joints outward, as the form has them")
    yield from _wrong_scale(s, case)
    if case.defect.kind != LEAK and s.found.defect.leak_size is not None:
        yield s.fault("defect.leak_size", units.shown(s.found.defect.leak_size.written),
                      "nothing: the package is for metal loss", "an opening needs another package: call the engineer")


def _wrong_scale(s: Sighting, case: Case) -> Iterator[Fault]:
    """Steel in °C that would rather be in °F: hotter than the service, or far above the steel that the case expects
    and nearer to it as °F."""
    steel, hot = s.found.service.steel_now, case.get("service.service_temperature")
    expected = case.get("service.installation_temperature")
    if steel is None or steel.unit != "degC":
        return
    other = (steel.base - 32) / 1.8
    as_f = f"as {steel.base:g} °F it would be {units.show(other, 'degC', significant=3)}"
    if hot is not None and steel.base > hot.base and other <= hot.base:
        yield s.fault("service.steel_now", units.shown(steel.written), f"at most service_temperature = {hot.written}; "
                      f"{as_f}", "write °F if it was read so; if it is right, state a hotter service in the case")
    elif expected is not None and steel.base > expected.base + _STEEL_ABOVE and (
            abs(other - expected.base) < steel.base - expected.base):
        yield s.fault("service.steel_now", units.shown(steel.written),
                      f"at most {units.show(_STEEL_ABOVE, 'delta_degC')} above installation_temperature = "
                      f"{expected.written}; {as_f}", "write °F if it was read so; if "
                      "it is right, state the installation temperature as it is, and issue a new revision")
