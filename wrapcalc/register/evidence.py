"""What stands on disk below a folder of packages: packages, approvals, as-found checks, close-outs.

Everything here only reads, and reads with care: a missing key leaves a blank, a damaged folder says so in words.
"""

from __future__ import annotations

import datetime
import json
import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wrapcalc import units
from wrapcalc.errors import PackageError
from wrapcalc.package import digests
from wrapcalc.package.explain import read_record

#: Words of a close-out's verdict.
ACCEPTED, DEVIATION, REJECTED, OPEN = "accepted", "accepted with deviation", "rejected", "open"
VERDICTS = (ACCEPTED, DEVIATION, REJECTED, OPEN)
WHOLE, DAMAGED, MISSING = "whole", "damaged", "missing"
APPROVAL, AS_FOUND, CLOSE_OUT = "approval", "as found", "close-out"
#: Verdicts of a look into the ditch; only the first lets the work begin.
LOOKS = HOLDS, STOP, INCOMPLETE = "the design holds", "stop: new revision", "incomplete"
#: Folder beside the packages -> kind of evidence, and the file that holds it (the approval is its manifest).
PLACES = {"approval": (APPROVAL, ""), "as_found": (AS_FOUND, "as_found.json"), "closeout": (CLOSE_OUT, "closeout.json")}
#: The only datum whose coordinates go out, as compared: without case and spacing.
GIVEN_DATUM = "wgs84"
_PACKAGE = re.compile(r"(?P<case>[A-Za-z0-9][A-Za-z0-9._-]{0,59})-r(?P<revision>[1-9][0-9]{0,8})")
_NUMBERED = re.compile(r"(?P<package>.+)-(?P<number>[1-9][0-9]{0,8})")


@dataclass(frozen=True, slots=True)
class Stated:
    """A restriction that the case states: its reference and its pressure in MPa gauge."""

    reference: str
    pressure: float


@dataclass(frozen=True, slots=True)
class Revision:
    """One package as the register knows it. Pressures in MPa gauge, times in years, dates as text (ISO 8601).

    condition, reason: whether its bytes are as they were written, and if not, why. section: as written, the text of
    the line where no hydraulic section is stated. digest: SHA-256 of its manifest. written_on: the day it was made.
    life, look: remaining life without a repair and time to the next look, from the measurement. deadline, rule:
    how soon the leading repair criterion asks for repair. due_by: the date by which the case asks for it.
    """

    case_id: str
    revision: int
    condition: str = WHOLE
    reason: str = ""
    title: str = ""
    line: str = ""
    joint: str = ""
    section: str = ""
    display: str = "SI"
    decision: str = ""
    interim: float | None = None
    beside: float | None = None
    restored: float | None = None
    system_id: str = ""
    digest: str = ""
    record_sha256: str = ""
    written_on: str = ""
    measured_on: str = ""
    life: float | None = None
    look: float | None = None
    deadline: str = ""
    rule: str = ""
    due_by: str = ""
    stated: tuple[Stated, ...] = ()

    @property
    def package(self) -> str:
        """Name of its folder."""
        return f"{self.case_id}-r{self.revision}"


@dataclass(frozen=True, slots=True)
class Evidence:
    """One folder beside the packages. number: of an as-found check or close-out, 0 of an approval; word: the verdict
    of a close-out; on, by: when and by whom; restored: MPa gauge; package_digest: the manifest it was made for."""

    kind: str
    folder: str
    case_id: str
    revision: int
    number: int = 0
    condition: str = WHOLE
    reason: str = ""
    digest: str = ""
    package_digest: str = ""
    word: str = ""
    on: str = ""
    by: str = ""
    next_inspection: str = ""
    end_of_life: str = ""
    restored: float | None = None

    @property
    def package(self) -> str:
        """The package that it is about."""
        return f"{self.case_id}-r{self.revision}"


@dataclass(frozen=True)
class Scan:
    """What stands on disk, sorted; problems: what could not be taken, in words."""

    revisions: tuple[Revision, ...]
    evidence: tuple[Evidence, ...]
    problems: tuple[str, ...]


def folders(packages: Path) -> list[Path]:
    """Every folder that may be a package or evidence of one. Raises PackageError when `packages` cannot be read."""
    if not packages.is_dir():
        raise PackageError(f"{packages}: there is no such folder; name the folder that holds the packages")
    try:
        out = [p for p in packages.iterdir() if p.is_dir() and _PACKAGE.fullmatch(p.name)]
        for place in PLACES:
            if (packages / place).is_dir():
                out += [p for p in (packages / place).iterdir() if p.is_dir() and not p.name.startswith(".")]
    except OSError as e:
        raise PackageError(f"{packages}: cannot be read ({e.strerror or e}); check its permissions") from None
    return sorted(out)


def scan(packages: Path, found: Iterable[Path] | None = None) -> Scan:
    """Read packages and evidence. found: the folders of `folders(packages)`, in whatever order; the outcome does not
    depend on it."""
    revisions: list[Revision] = []
    evidence: list[Evidence] = []
    problems: list[str] = []
    for path in folders(packages) if found is None else found:
        try:
            if path.parent != packages:
                evidence.append(_evidence(path))
            elif _is_package(path):
                revisions.append(_package(path))
        except PackageError as e:
            problems.append(str(e))
    return Scan(tuple(sorted(revisions, key=lambda r: (r.case_id, r.revision))),
                tuple(sorted(evidence, key=lambda e: (e.case_id, e.revision, e.kind, e.number))),
                tuple(sorted(problems)))


def _is_package(path: Path) -> bool:
    """A foreign folder that only looks like one by its name has neither of the two files."""
    return any((path / name).is_file() for name in (digests.MANIFEST, digests.SEAL, "record.json"))


def _package(path: Path) -> Revision:
    m = _PACKAGE.fullmatch(path.name)
    assert m is not None
    case_id, revision = m["case"], int(m["revision"])
    try:
        problems = digests.integrity(path)
        if problems:
            raise PackageError("; ".join(problems[:3]) + (f"; and {len(problems) - 3} more" if problems[3:] else ""))
        manifest = digests.read_manifest(path)
        if (manifest.get("case"), manifest["revision"]) != (case_id, revision):
            raise PackageError(f"its manifest is of {manifest.get('case')} revision {manifest['revision']}; the folder "
                               "was renamed")
        record = read_record(path)
        return _revision(case_id, revision, path, manifest, record)
    except PackageError as e:
        return Revision(case_id, revision, DAMAGED, _local(str(e), path))
    except OSError as e:
        return Revision(case_id, revision, DAMAGED, f"cannot be read ({e.strerror or type(e).__name__})")


def _local(message: str, path: Path) -> str:
    """A message without the path of the folder: it is kept, and folders are moved."""
    return message.replace(f"{path}: ", "").replace(str(path), path.name)


def _revision(case_id: str, revision: int, path: Path, manifest: dict, record: dict) -> Revision:
    inputs = inputs_of(record)
    case, decision = part(record, "case"), part(record, "decision")
    word = text(decision.get("word")) or text(manifest.get("decision"))
    if not word:
        raise PackageError("record.json names no decision")
    life, line = part(record, "life"), text(case.get("line"))
    deadline, rule = _deadline(record)
    run = _json(path / "run.json") or {}
    return Revision(
        case_id, revision, title=text(case.get("title")), line=line, joint=text(case.get("joint")),
        section=inputs.get("location.section", {}).get("written") or line,
        display="US" if case.get("display") == "US" else "SI", decision=word,
        interim=_pressure(decision.get("interim_limit")), beside=_pressure(decision.get("beside")),
        restored=_pressure(part(record, "bears").get("restored")), system_id=text(part(record, "system").get("id")),
        digest=digests.sha256((path / digests.MANIFEST).read_bytes()),
        record_sha256=text(manifest.get("record_sha256")), written_on=_day(text(run.get("finished_utc"))[:10]),
        measured_on=_day(inputs.get("growth.measured_date", {}).get("written")),
        life=_in(life.get("life"), "year"), look=_in(life.get("interval"), "year"),
        deadline=deadline, rule=rule, due_by=_day(inputs.get("location.due", {}).get("written")),
        stated=tuple(_stated(inputs)))


def _stated(inputs: dict[str, dict[str, Any]]) -> Iterator[Stated]:
    for field, row in inputs.items():
        m = re.fullmatch(r"restriction\.(\d+)\.pressure", field)
        pressure = _pressure(row) if m else None
        if m and pressure is not None:
            reference = inputs.get(f"restriction.{m[1]}.reference", {}).get("written", "")
            yield Stated(reference or "a restriction without a number", pressure)


def _deadline(record: dict[str, Any]) -> tuple[str, str]:
    """Class and citation of the criterion that leads, ("", "") when none fires."""
    for rules in listed(part(record, "disposition"), "lists"):
        for f in listed(rules, "findings"):
            if f.get("leads") is True and f.get("verdict") == "fires":
                return text(f.get("class")), text(f.get("citation"))
    return "", ""


def _evidence(path: Path) -> Evidence:
    kind, name = PLACES[path.parent.name]
    folder = f"{path.parent.name}/{path.name}"
    m = _NUMBERED.fullmatch(path.name) if name else None
    of = _PACKAGE.fullmatch(m["package"] if m else path.name)
    if of is None or bool(name) != bool(m):
        raise PackageError(f"{folder}: this folder is not counted; its name is not that of a package"
                           + (" and a number, such as HB-07-r1-1" if name else ", such as HB-07-r1"))
    base: dict[str, Any] = {"kind": kind, "folder": folder, "case_id": of["case"], "revision": int(of["revision"]),
            "number": int(m["number"]) if m else 0}
    try:
        manifest, digest = _sealed(path)
        data = (_json(path / name) if name else manifest)
        if manifest.get("kind") != kind or manifest.get("package") != of[0]:
            raise PackageError(f"its manifest says kind {manifest.get('kind')!r}, package {manifest.get('package')!r}")
        if data is None:
            raise PackageError(f"{name} is missing or cannot be read")
        return Evidence(**base, digest=digest, **_facts(kind, manifest, data))
    except PackageError as e:
        return Evidence(**base, condition=DAMAGED, reason=_local(str(e), path))
    except OSError as e:
        return Evidence(**base, condition=DAMAGED, reason=f"cannot be read ({e.strerror or type(e).__name__})")


def _facts(kind: str, manifest: dict[str, Any], data: dict[str, Any]) -> dict[str, Any]:
    """What counts of the evidence; raises PackageError for a verdict that is not one of its words."""
    told = text(data.get("package_manifest_sha256")) or text(manifest.get("package_manifest_sha256"))
    out: dict[str, Any] = {"package_digest": told}
    if kind == APPROVAL:
        return out | {"on": _day(data.get("approved_on")), "by": text(data.get("approver"))}
    if kind == AS_FOUND:
        word = text(data.get("verdict"))
        if word not in LOOKS:
            raise PackageError(f"its verdict is {word!r}; allowed: {', '.join(LOOKS)}")
        return out | {"word": word, "on": _day(data.get("date"))}
    if kind == CLOSE_OUT:
        word = text(data.get("verdict"))
        if word not in VERDICTS:
            raise PackageError(f"its verdict is {word!r}; allowed: {', '.join(VERDICTS)}")
        return out | {"word": word, "on": _day(data.get("closed_on")), "by": text(data.get("accepted_by")),
                      "next_inspection": _day(data.get("next_inspection")),
                      "end_of_life": _day(data.get("end_of_life")),
                      "restored": _pressure(data.get("pressure_restored"))}
    return out


def _sealed(path: Path) -> tuple[dict[str, Any], str]:
    """Manifest and its digest when every byte is as it was written; PackageError says what is not.

    Not `digests.integrity`, which asks for the manifest of a package."""
    raw, manifest = _bytes(path / digests.MANIFEST), _json(path / digests.MANIFEST)
    if raw is None or manifest is None or not isinstance(manifest.get("files"), dict):
        raise PackageError(f"{digests.MANIFEST} is missing or cannot be read")
    digest = digests.sha256(raw)
    if _bytes(path / digests.SEAL) != f"{digest}  {digests.MANIFEST}\n".encode():
        raise PackageError(f"{digests.MANIFEST}, or its seal {digests.SEAL}, was changed")
    there = {p.relative_to(path).as_posix() for p in path.rglob("*") if p.is_file()}
    there -= {digests.MANIFEST, digests.SEAL}
    for name in sorted(there | set(manifest["files"])):
        inside = _bytes(path / name) if name in there else None
        if name not in manifest["files"]:
            raise PackageError(f"{name}: was added after it was written")
        if inside is None or digests.sha256(inside) != manifest["files"][name]:
            raise PackageError(f"{name}: " + ("missing" if inside is None else "changed since it was written"))
    return manifest, digest


def _bytes(path: Path) -> bytes | None:
    return path.read_bytes() if path.is_file() else None


def _json(path: Path) -> dict[str, Any] | None:
    """A JSON file that holds an object; None when it is missing or holds something else."""
    raw = _bytes(path)
    try:
        data = json.loads(raw) if raw is not None else None
    except (ValueError, RecursionError):
        return None
    return data if isinstance(data, dict) else None


def part(data: dict[str, Any], key: str) -> dict[str, Any]:
    """A part that is an object; empty when it is missing or something else."""
    found = data.get(key)
    return found if isinstance(found, dict) else {}


def listed(data: dict[str, Any], key: str) -> list[dict[str, Any]]:
    """The objects of a part that is a list; empty when it is missing or something else."""
    found = data.get(key)
    return [f for f in found if isinstance(f, dict)] if isinstance(found, list) else []


def text(raw: Any) -> str:
    """A text as one line; blank when it is none."""
    return " ".join(raw.split()) if isinstance(raw, str) else ""


def inputs_of(record: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """The answered questions of a record by their field; `written` is a text of one line."""
    return {row["field"]: row | {"written": text(row.get("written"))} for row in listed(record, "inputs")
            if isinstance(row.get("field"), str) and row.get("answered") is not False}


def _day(raw: Any) -> str:
    try:
        return datetime.date.fromisoformat(raw).isoformat() if isinstance(raw, str) else ""
    except ValueError:
        return ""


def number(raw: Any) -> float | None:
    """A finite number; None when it is none."""
    ok = isinstance(raw, (int, float)) and not isinstance(raw, bool) and math.isfinite(raw)
    return float(raw) if ok else None


def _in(value: Any, unit: str) -> float | None:
    """Magnitude of a value of a record in `unit`; None when it is none or measures something else."""
    magnitude = number(value.get("magnitude")) if isinstance(value, dict) else None
    if magnitude is None:
        return None
    try:
        return units.steady(units.convert(magnitude, text(value.get("unit")), unit))
    except Exception:  # pint raises errors of many kinds for a text that is no unit
        return None


def _pressure(value: Any) -> float | None:
    return _in(value, "MPa")
