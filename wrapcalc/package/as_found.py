"""A look into the ditch beside its package: judged, printed, sealed; built aside, renamed when whole, never changed."""

from __future__ import annotations

import datetime
import json
import os
import re
import secrets
import shutil
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup

from wrapcalc import record as records
from wrapcalc import record_as_found
from wrapcalc.case.as_found import TAKEN, Sighting, of_package, out_of_time, read_as_found
from wrapcalc.case.load import load_bundle
from wrapcalc.errors import CaseFaults, PackageError
from wrapcalc.package import build, digests
from wrapcalc.package.issued import Issued, issued
from wrapcalc.render import fragments
from wrapcalc.render.items import items_html
from wrapcalc.stages.as_found.as_found import HOLDS, INCOMPLETE, STOP, Gate, as_found
from wrapcalc.stages.job import Outcome, run

PLACE, KIND, DATA = "as_found", "as found", "as_found.json"
_ATTEMPTS = 10
STANDING = "AS-FOUND CHECK: names are typed, not authenticated; this is not an approval and releases no work"
SENTENCES = {
    HOLDS: "The design of the package holds for what was found. Work starts only from the approved sheet of this "
           "revision, with its own hold points.",
    STOP: "The design of the package does not hold for what was found, or it is not shown to be the right pipe. Nobody "
          "goes back in before a new revision is issued; until then the lower pressure below counts.",
    INCOMPLETE: "Something was not measured, and what is not proven is not proven. Nobody starts before it is measured "
                "and checked again.",
}


@dataclass(frozen=True)
class Result:
    """What became of one look. state: "written" or "unchanged"; next_case: to be packaged as the next revision."""

    state: str
    verdict: str
    folder: Path
    reasons: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def next_case(self) -> Path:
        """The case with what was found."""
        return self.folder / "next_case.toml"

    @property
    def lines(self) -> list[str]:
        """For a terminal."""
        head = "unchanged since the last check: " if self.state == "unchanged" else ""
        out = [f"{head}{self.verdict} → {self.folder}", *(f"  stop: {r}" for r in self.reasons),
               *(f"  missing: {m}" for m in self.missing), *(f"  note: {n}" for n in self.notes)]
        if self.verdict == STOP:
            out.append(f"next: look at {self.next_case}, then: wrapcalc package {self.next_case} "
                       f"--out {self.folder.parent.parent}")
        return out


@dataclass(frozen=True)
class Judged:
    """A look held against its package; nothing of it is written. outcome: the run of the package's own case."""

    of: Issued
    outcome: Outcome
    gate: Gate
    notes: tuple[str, ...]

    def data(self, number: int) -> dict[str, Any]:
        """What its page is made from. number: which look at this package it is."""
        return record_as_found.build(
            self.gate, self.outcome, revision=self.of.revision, number=number, package_manifest_sha256=self.of.digest,
            record_sha256=self.of.manifest["record_sha256"], notes=list(self.notes))


def judge(package: Path, file: Path, *, now: datetime.datetime | None = None,
          outcome: Outcome | None = None) -> Judged:
    """Hold as_found.toml against a package, and write nothing. now: the time of day, for tests; outcome: the run of the
    package's case, when it was worked already.

    Raises CaseFaults for a sheet that cannot be taken, PackageError for a package that was changed, is superseded or
    decides something else than a wrap.
    """
    of = issued(package, "check")
    s = read_as_found(file)
    faults = [*of_package(s, of.name, of.manifest["record_sha256"]),
              *out_of_time(s, of.made, now or datetime.datetime.now(datetime.UTC))]
    if faults:
        raise CaseFaults(faults)
    if outcome is None:
        outcome = run(load_bundle(of.folder / "case.toml"))
    gate = as_found(outcome.bundle, outcome, s, package=of.name)
    return Judged(of, outcome, gate, tuple(_notes(of, outcome)))


def as_found_package(package: Path, file: Path, *, now: datetime.datetime | None = None) -> Result:
    """Hold as_found.toml against a package, and write the verdict beside it. now: the time of day, for tests.

    Raises what `judge` raises, and PackageError for an earlier look that was changed. Nothing half-written is left.
    """
    judged = judge(package, file, now=now)
    of, gate, notes = judged.of, judged.gate, list(judged.notes)
    place = of.folder.resolve().parent / PLACE
    for _ in range(_ATTEMPTS):
        number, last = latest(of)
        if last is not None and _same(last, gate, of, notes):
            return _result("unchanged", gate, place / f"{of.name}-{number}", notes)
        folder = _write(place, of, gate, judged.data(number + 1))
        if folder is not None:
            return _result("written", gate, folder, notes)
    raise PackageError(f"{place}: other runs write checks of {of.name} all the time; wait for them to end, then run "
                       "again")


def _result(state: str, gate: Gate, folder: Path, notes: list[str]) -> Result:
    return Result(state, gate.verdict, folder, gate.reasons, gate.missing, tuple(notes))


# -- may it be checked? ------------------------------------------------------------------------------------------
def _notes(of: Issued, outcome: Outcome) -> list[str]:
    """What the reader must know beside it: another version, no approval."""
    notes = []
    if records.digest(records.build(outcome)) != of.manifest["record_sha256"]:
        was, now = of.manifest["versions"].get("wrapcalc", "unknown"), digests.versions()["wrapcalc"]
        notes.append(f"A new run of the case does not give the record of the package byte for byte (made with {was}, "
                     f"now {now}). The comparison rests on the new run; `wrapcalc verify` says what differs.")
    if not (of.folder.resolve().parent / "approval" / of.name / digests.MANIFEST).is_file():
        notes.append(f"{of.name} is not approved: nothing may be built by it, whatever this check says.")
    return notes


def latest(of: Issued) -> tuple[int, dict[str, Any] | None]:
    """Number and data of the last check of this package, when every byte of it is as written; (0, None) without one."""
    place, name = of.folder.resolve().parent / PLACE, of.name
    found: list[tuple[int, Path]] = []
    for path in place.iterdir() if place.is_dir() else ():
        m = re.fullmatch(re.escape(name) + r"-([1-9][0-9]*)", path.name)
        if m and path.is_dir():
            found.append((int(m[1]), path))
    if not found:
        return 0, None
    number, path = max(found)
    problems = digests.integrity(path)
    if problems:
        raise PackageError(f"{path}: this earlier check was changed after it was written ({problems[0]}); restore it "
                           "or move it away, then run again")
    return number, json.loads((path / DATA).read_bytes())


def _same(last: dict[str, Any], gate: Gate, of: Issued, notes: list[str]) -> bool:
    files = {"as_found.toml": gate.sighting.raw, **gate.sighting.files}
    return (last.get("files") == {n: digests.sha256(raw) for n, raw in files.items()} and last["notes"] == notes
            and last["package_manifest_sha256"] == of.digest and last["verdict"] == gate.verdict)


# -- on disk -----------------------------------------------------------------------------------------------------
def _write(place: Path, of: Issued, gate: Gate, data: dict[str, Any]) -> Path | None:
    """Build the folder aside and give it its name; None when another run has taken the name."""
    from wrapcalc.package.pdf import html_to_pdf
    name = f"{of.name}-{data['number']}"
    try:
        place.mkdir(exist_ok=True)
        aside = place / f".building-{os.getpid()}-{build.host_name()}-{secrets.token_hex(4)}"
        build.in_hand.add(aside)
        try:
            aside.mkdir(0o700)
            for file, raw in _files(gate).items():
                (aside / file).write_bytes(raw)
            (aside / DATA).write_bytes(record_as_found.to_bytes(data))
            html = as_found_html(data)
            (aside / "as_found.html").write_text(html, encoding="utf-8", newline="\n")
            html_to_pdf(html, aside / "as_found.pdf", paper=data["about"]["paper"])
            build.write_json(aside / "run.json", {"schema": 1, "finished_utc": time.strftime("%Y-%m-%dT%H:%M:%SZ",
                                                                                       time.gmtime())})
            digests.write_manifest(aside, {
                "kind": KIND, "package": of.name, "case": data["case"], "revision": of.revision,
                "number": data["number"], "verdict": data["verdict"], "date": data["date"],
                "package_manifest_sha256": of.digest, "record_sha256": data["record_sha256"],
                "as_found_sha256": digests.sha256((aside / DATA).read_bytes())})
            os.chmod(aside, 0o755)
            return place / name if build.put_in_place(aside, place / name) else None
        finally:
            shutil.rmtree(aside, ignore_errors=True)
            build.in_hand.discard(aside)
    except OSError as e:
        raise PackageError(f"{place / name}: cannot be written ({e.strerror or e}); nothing half-written was "
                           "left") from None


def _files(gate: Gate) -> dict[str, bytes]:
    """The sheet and what it names, and the case with what was found and all that this names."""
    s: Sighting = gate.sighting
    clash = [n for n in gate.next.files if n.casefold() in TAKEN]
    if clash:
        raise PackageError(f"the case names the file '{clash[0]}', a name that this check uses itself; rename it in "
                           "the case and issue a new revision")
    return {**gate.next.files, **s.files, "next_case.toml": gate.next.text, "as_found.toml": s.raw}


# -- the page ----------------------------------------------------------------------------------------------------
def as_found_html(data: dict[str, Any]) -> str:
    """The page of a look into the ditch from its data alone; the same data give the same text."""
    from wrapcalc.package.glyphs import share_glyphs
    from wrapcalc.package.report import environment
    page = environment().get_template("as_found.html").render(
        c=data, sentence=SENTENCES[data["verdict"]], standing=STANDING,
        rows=[r for r in data["comparison"] if r["kind"] != "information"],
        told=[r for r in data["comparison"] if r["kind"] == "information"],
        worked=[Markup(h) for h in items_html([i for i in data["items"] if i["type"] != "check"])],
        verdict_of=lambda word: Markup(fragments.verdict(word)))
    return share_glyphs(page)
