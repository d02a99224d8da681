"""The register for other programs: CSV (RFC 4180) and GeoJSON (RFC 7946).

Where a damaged pipeline lies is nobody's business by default: coordinates go out only when they are asked for.
"""

from __future__ import annotations

import csv
import io
import json
import os
import secrets
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from wrapcalc.errors import PackageError
from wrapcalc.package.explain import read_record
from wrapcalc.register.due import Due
from wrapcalc.register.evidence import GIVEN_DATUM, WHOLE, Revision, inputs_of, number
from wrapcalc.register.restrictions import same_section
from wrapcalc.register.state import Snapshot, Standing

REPAIRS = ("case", "revision", "state", "package condition", "decision", "line", "joint", "section", "system",
           "interim limit, MPa gauge", "pressure while people are beside, MPa gauge", "restored pressure, MPa gauge",
           "pressure restored at close-out, MPa gauge", "written on", "approved on", "closed on", "next inspection",
           "end of life", "earlier revisions", "manifest SHA-256")
RESTRICTIONS = ("section", "source", "case", "revision", "pressure at most, MPa gauge", "open", "since", "closed on",
                "closed by", "note")
DUE = ("date", "case", "revision", "what", "when", "overdue", "note")
WITHHELD = "coordinates were withheld; they go out only when they are asked for"
_MARK = "wrapcalc_register"
#: What a spreadsheet would take for a formula, or a reader for the end of a row.
_RUNS = ("=", "+", "-", "@", "\t", "\r", "\n")

Cell = str | float | None


def write_csv(folder: Path, now: Snapshot, due: Iterable[Due]) -> list[Path]:
    """Write repairs.csv, restrictions.csv and due.csv; the files. Earlier exports are replaced, nothing else.

    Raises PackageError when a file of that name is none of ours, or cannot be written."""
    content = {"repairs.csv": _table(REPAIRS, (_repair(s, now) for s in now.repairs)),
               "restrictions.csv": _table(RESTRICTIONS, (
                   (r.section, r.source, r.case_id, r.revision, r.pressure, "open" if r.open else "closed", r.since,
                    r.closed_on, r.closed_by, r.note) for r in now.restrictions)),
               "due.csv": _table(DUE, (
                   (d.when.isoformat() if d.when else "", d.case_id, d.revision, d.what, d.words,
                    "overdue" if d.overdue else "", d.note) for d in due))}
    for name, text in content.items():
        _ours(folder / name, text[:text.index("\n")].encode())
    for name, text in content.items():
        _put(folder / name, text)
    return [folder / name for name in content]


def _repair(s: Standing, now: Snapshot) -> tuple[Cell, ...]:
    r = s.revision
    earlier = " ".join(f"r{x.revision.revision}" for x in now.revisions_of(r.case_id) if not x.latest)
    return (r.case_id, r.revision, s.state, r.condition, r.decision, r.line, r.joint, r.section, r.system_id, r.interim,
            r.beside, r.restored, s.restored_found, r.written_on, s.approved_on, s.closed_on, s.next_inspection,
            s.end_of_life, earlier, r.digest)


def _table(head: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(head)
    writer.writerows([_cell(c) for c in row] for row in rows)
    return buffer.getvalue()


def _cell(value: Cell) -> str:
    """A number as a number; a text that a spreadsheet could run is defused with an apostrophe."""
    if value is None:
        return ""
    if isinstance(value, (int, float)):
        return f"{value:.12g}"
    return "'" + value if value.startswith(_RUNS) else value


def write_geojson(file: Path, packages: Path, now: Snapshot, *, coordinates: bool = False) -> Path:
    """Write the repairs as GeoJSON. Raises PackageError as `write_csv` does."""
    _ours(file, b'{"type": "FeatureCollection", "' + _MARK.encode())
    _put(file, json.dumps(geojson(packages, now, coordinates=coordinates), ensure_ascii=False) + "\n")
    return file


def geojson(packages: Path, now: Snapshot, *, coordinates: bool = False) -> dict[str, Any]:
    """The repairs as a FeatureCollection (RFC 7946: WGS 84, longitude first).

    Without `coordinates` every geometry is null and the collection says that they were withheld; with it a repair
    whose record states none, or another datum than WGS 84, has a null geometry and the reason."""
    return {"type": "FeatureCollection",
            _MARK: {"coordinates": "given, WGS 84" if coordinates else WITHHELD},
            "features": [_feature(packages, s, now, coordinates) for s in now.repairs]}


def _feature(packages: Path, s: Standing, now: Snapshot, coordinates: bool) -> dict[str, Any]:
    r = s.revision
    here = next((x.pressure for x in now.restrictions
                 if x.open and same_section(x.section) == same_section(r.section)), None)
    properties: dict[str, Any] = {
        "case": r.case_id, "revision": r.revision, "state": s.state, "package_condition": r.condition,
        "decision": r.decision, "line": r.line, "joint": r.joint, "section": r.section, "system": r.system_id,
        "interim_limit_MPa_gauge": r.interim, "open_restriction_of_section_MPa_gauge": here,
        "next_inspection": s.next_inspection or None, "end_of_life": s.end_of_life or None}
    geometry = None
    if coordinates:
        geometry, reason = _position(packages, r)
        if reason:
            properties["no_geometry_because"] = reason
    return {"type": "Feature", "id": r.case_id, "geometry": geometry, "properties": properties}


def _position(packages: Path, r: Revision) -> tuple[dict[str, Any] | None, str]:
    if r.condition != WHOLE:
        return None, f"the package is {r.condition}"
    try:
        inputs = inputs_of(read_record(packages / r.package))
    except PackageError:
        return None, "the record cannot be read"
    latitude, longitude = (number(inputs.get(f"location.{k}", {}).get("magnitude")) for k in ("latitude", "longitude"))
    datum = inputs.get("location.datum", {}).get("written", "")
    if latitude is None or longitude is None:
        return None, "the record states no latitude and longitude"
    if same_section(datum).replace("-", "") != GIVEN_DATUM:
        return None, (f"the datum is {datum}" if datum else "the record states no datum") + "; only WGS 84 is written"
    if not (abs(latitude) <= 90 and abs(longitude) <= 180):
        return None, "latitude and longitude are outside their range"
    return {"type": "Point", "coordinates": [longitude, latitude]}, ""


def _ours(path: Path, head: bytes) -> None:
    """Refuse to replace a file that is not an earlier export."""
    try:
        if path.is_dir() or (path.exists() and not path.read_bytes().startswith(head)):
            raise PackageError(f"{path}: there is already another file of this name; move it away, or choose another "
                               "place")
    except OSError as e:
        raise PackageError(f"{path}: cannot be read ({e.strerror or e})") from None


def _put(path: Path, text: str) -> None:
    """Write a file whole or not at all."""
    aside = path.with_name(f".{path.name}-{secrets.token_hex(4)}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        aside.write_text(text, encoding="utf-8", newline="")
        os.replace(aside, path)
    except OSError as e:
        raise PackageError(f"{path}: cannot be written ({e.strerror or e}); make room or choose another "
                           "place") from None
    finally:
        try:
            aside.unlink(missing_ok=True)
        except OSError:
            pass  # its folder is no folder
