"""The case of a package with what was found put in: ready to be packaged as the next revision.

Decided here:
- What was not measured stays as issued; the gate says that it is missing. Measuring allowances stay, too: a sheet may
  raise them, and never lowers them.
- Lengths of joints stay those of the listing: the next proof of the joint is held against it.
- A distance from a weld that contradicts the listed joint is not put in: it may be another joint.
- Where the distance to a weld was measured and the room beside the defect was not, the lesser of the two counts.
- The outside diameter stays as stated: tape or caliper only prove that it is this pipe.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from wrapcalc.case.as_found import INDICATION, NO_INDICATION, AsFound, Sighting
from wrapcalc.case.load import Bundle, load_bundle
from wrapcalc.case.model import Case
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.fields import Given

#: Field of the case -> field of the sheet.
FIELDS = {
    "pipe.sound_wall": "pipe.sound_wall", "pipe.wall_allowance": "pipe.wall_allowance",
    "pipe.joint_type": "pipe.joint_type", "pipe.seam_process": "pipe.seam_process",
    "pipe.seam_clock": "joint.seam_clock", "features.crack": "crack.result",
    "location.from_upstream_weld": "defect.from_upstream_weld",
    "location.from_downstream_weld": "defect.from_downstream_weld",
    "service.installation_pressure": "service.installation_pressure",
    "service.installation_temperature": "service.steel_now",
    **{f"defect.{k}": f"defect.{k}" for k in (
        "depth", "depth_allowance", "length", "length_allowance", "width", "clock", "clear_upstream",
        "clear_downstream", "leak_size", "grid", "grid_extension", "profile", "pits")},
}
#: What belongs to the readings of the package and goes with them.
_OF_READINGS = ("grid", "second_grid", "profile", "pits", "grid_extension", "deepest_axial", "deepest_around",
                "noise_threshold", "noise_threshold_reason", "rejoin_gap")
#: Measuring allowances, of which the greater of package and sheet counts.
ALLOWANCES = ("pipe.wall_allowance", "defect.depth_allowance", "defect.length_allowance")
#: Of a joint: distances that contradict by more than this are not put in.
_SLIP = 0.05


@dataclass(frozen=True)
class NextCase:
    """text: of the case with what was found; files: what it names, by name; bundle: all of it read and checked."""

    text: bytes
    files: dict[str, bytes]
    bundle: Bundle


def next_case(bundle: Bundle, s: Sighting, package: str) -> NextCase:
    """The case with what was found. Raises CaseFaults, at the fields of the sheet, for what the case cannot hold."""
    case, found = bundle.case, s.found
    text = _text(bundle, s, package)
    files = {n: raw for n, raw in bundle.files.items() if n != "case.toml"}
    if s.files:
        for key in ("grid", "second_grid", "profile", "pits"):
            files.pop(str(case.get(f"defect.{key}") or ""), None)
        for name in s.files:
            if name.casefold() in (n.casefold() for n in files):
                kind = found.measured_file
                assert kind is not None
                raise CaseFaults([s.fault(f"defect.{kind[0]}", f"'{name}'", "a name that no other file of the case has",
                                          "rename the file")])
    files |= s.files
    with tempfile.TemporaryDirectory(prefix="wrapcalc-") as folder:
        here = Path(folder)
        # A record beside it says that the copy of a shipped system sheet is read, as the package was made with it.
        for name, raw in {**files, "case.toml": text, "record.json": b""}.items():
            (here / name).write_bytes(raw)
        try:
            return NextCase(text, files, load_bundle(here / "case.toml"))
        except CaseFaults as e:
            raise CaseFaults([_told(f, s, case) for f in e.faults]) from None


def _told(f: Fault, s: Sighting, case: Case) -> Fault:
    """A fault of the case as one of the sheet, from which it comes."""
    if f.file != "case.toml":
        return f
    field = FIELDS.get(f.field)
    if field is None:
        return replace(f, file=f"the case with what {s.name} says", line=None)
    blank = s.found.given(field) in (None, ())
    issued = getattr(case.get(f.field), "written", None) or case.get(f.field)
    found = f"nothing here; the package has {issued}" if blank else f.found
    return s.fault(field, found, f.allowed, f.mend)


def _text(bundle: Bundle, s: Sighting, package: str) -> bytes:
    """The TOML of the case, its comments kept, with every value that was found."""
    import tomlkit
    about = s.found.as_found
    document = tomlkit.parse(bundle.files["case.toml"].decode("utf-8-sig"))
    source = ", ".join(filter(None, ("as found", str(about.reference or ""), str(about.date or ""))))
    for table, key, value in _changes(bundle.case, s):
        if table not in document:
            document[table] = tomlkit.table()
        inside: Any = document[table]
        if value is None:
            if key in inside:
                inside.remove(key)
            continue
        if isinstance(value, Given):
            row = tomlkit.inline_table()
            row.update({"value": value.written, "source": value.source or source, "source_kind": "measured"})
            value = row
        inside[key] = value
    said = ", ".join(filter(None, (str(about.date or "no date"), str(about.reference or ""))))
    return (f"# The case of {package} with what was found in the ditch: {said}.\n" + tomlkit.dumps(document)).encode()


def _changes(case: Case, s: Sighting) -> Iterator[tuple[str, str, Any]]:
    """(table, key, value) of what the sheet puts into the case; None takes the key away."""
    f = s.found
    if f.least_wall is not None:
        yield "pipe", "sound_wall", f.least_wall
    for sheet, table, key in (("pipe.wall_allowance", "pipe", "wall_allowance"),
                              ("service.installation_pressure", "service", "installation_pressure"),
                              ("service.steel_now", "service", "installation_temperature"),
                              *((f"defect.{k}", "defect", k) for k in (
                                  "depth", "depth_allowance", "length", "length_allowance", "width", "leak_size"))):
        if f.given(sheet) is not None and sheet not in lowered_allowances(case, f):
            yield table, key, f.given(sheet)
    for sheet, table, key in (("joint.seam_clock", "pipe", "seam_clock"), ("pipe.joint_type", "pipe", "joint_type"),
                              ("pipe.seam_process", "pipe", "seam_process"), ("defect.clock", "defect", "clock")):
        word = f.given(sheet)
        if word is not None and word != case.get(f"{table}.{key}"):
            yield table, key, str(word)
    if f.crack.result in (INDICATION, NO_INDICATION):
        yield "features", "crack", "yes" if f.crack.result == INDICATION else "no"
    yield from _readings(f)
    yield from _place(case, f)
    if case.growth.measured_date is not None and f.as_found.date is not None and f.defect.depth is not None:
        yield "growth", "measured_date", f.as_found.date


def lowered_allowances(case: Case, f: AsFound) -> tuple[str, ...]:
    """Fields of allowances that the sheet states lower than the package: those of the package stay."""
    return tuple(x for x in ALLOWANCES if (given := f.given(x)) is not None and (issued := case.get(x)) is not None
                 and given.base < issued.base)


def _readings(f: AsFound) -> Iterator[tuple[str, str, Any]]:
    if f.measured_file is None:
        return
    for key in _OF_READINGS:
        yield "defect", key, None
    yield "defect", f.measured_file[0], f.measured_file[1]
    if f.defect.grid_extension is not None:
        yield "defect", "grid_extension", f.defect.grid_extension


def _place(case: Case, f: AsFound) -> Iterator[tuple[str, str, Any]]:
    """Distances from the welds and to what is near, where they do not contradict the listed joint."""
    up, down, whole = f.defect.from_upstream_weld, f.defect.from_downstream_weld, case.location.joint_length
    length = f.defect.length or case.defect.length
    near = {"upstream": f.defect.clear_upstream, "downstream": f.defect.clear_downstream}
    rest = None
    if whole is not None and length is not None and (up or case.location.from_upstream_weld) is not None:
        rest = whole.base - (up or case.location.from_upstream_weld).base - length.base
        if rest < 0:
            return
    if up is not None:
        yield "location", "from_upstream_weld", up
    agrees = down is not None and (rest is None or whole is None or abs(rest - down.base) <= _SLIP * whole.base)
    if down is not None and agrees:
        yield "location", "from_downstream_weld", down
    elif up is not None or f.defect.length is not None:  # the edge moved: the distance of the package is of another
        yield "location", "from_downstream_weld", None
    for side, weld in (("upstream", up), ("downstream", down if agrees else None)):
        issued = case.get(f"defect.clear_{side}")
        if near[side] is not None:
            yield "defect", f"clear_{side}", near[side]
        elif weld is not None and issued is not None and weld.base < issued.base:
            yield "defect", f"clear_{side}", weld
