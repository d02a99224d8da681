"""A close-out beside its package: judged, printed, sealed; built aside, renamed when whole, never changed."""

from __future__ import annotations

import datetime
import json
import os
import re
import secrets
import shutil
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from markupsafe import Markup

from wrapcalc import record as records
from wrapcalc import record_closeout, units
from wrapcalc.case.csv_table import counted
from wrapcalc.case.load import load_bundle
from wrapcalc.case.readings import Reading, Readings, read_readings
from wrapcalc.errors import CaseFaults, Fault, PackageError
from wrapcalc.package import before_work, build, digests
from wrapcalc.package.issued import Issued, issued
from wrapcalc.package.readings_template import DIGEST_SIGNS
from wrapcalc.recorder import CLOSING_TOPICS, TOPICS
from wrapcalc.render import fragments
from wrapcalc.render.items import items_html
from wrapcalc.stages.closeout.before_work import Approval
from wrapcalc.stages.closeout.closeout import ACCEPTED, DEVIATION, OPEN, REJECTED, Closeout, closeout
from wrapcalc.stages.job import Outcome, run

PLACE, KIND, DATA = "closeout", "close-out", "closeout.json"
_ATTEMPTS = 10
_LOOK = "As-found check that counts: "
#: A log of more readings is not printed in full.
_LONG_LOG = 150
#: What stands at the head of each page.
STANDING = "CLOSE-OUT: names are typed, not authenticated; this is not an approval"
SENTENCES = {
    ACCEPTED: "Every reading is there and inside its limit, and the design holds with what was built.",
    DEVIATION: "The design holds with what was built. What is outside its limit is accepted below, by name and with a "
               "reason.",
    REJECTED: "The repair does not restore the pipe. The pressure limits of the package stay, until it is mended and "
              "closed out again, or replaced.",
    OPEN: "Something is missing, and nothing is filled in. The pressure limits of the package stay until it is closed "
          "out with everything.",
}


@dataclass(frozen=True)
class Result:
    """What became of one close-out. state: "written" or "unchanged"."""

    state: str
    verdict: str
    folder: Path
    nonconformances: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def lines(self) -> list[str]:
        """For a terminal."""
        head = "unchanged since the last close-out: " if self.state == "unchanged" else ""
        return [f"{head}{self.verdict} → {self.folder}", *(f"  not met: {n}" for n in self.nonconformances),
                *(f"  missing: {m}" for m in self.missing), *(f"  note: {n}" for n in self.notes)]


@dataclass(frozen=True)
class Before:
    """The close-out before this one; number 0 without one."""

    number: int = 0
    name: str = ""
    data: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Judged:
    """Readings held against a package; nothing of it is written. closed: None when nothing has changed since the last
    close-out, whose data these are then."""

    of: Issued
    before: Before
    data: dict[str, Any]
    closed: Closeout | None


@dataclass(frozen=True)
class Rerun:
    """The case of a package run again, and whether that gives its record, in words."""

    outcome: Outcome
    notes: tuple[str, ...]


def rerun(of: Issued) -> Rerun:
    """Run the case of a package again."""
    outcome = run(load_bundle(of.folder / "case.toml"))
    return Rerun(outcome, tuple(_recomputed(of, outcome)))


def judge(of: Issued, read: Readings, *, now: datetime.datetime | None = None, again: Rerun | None = None) -> Judged:
    """Hold readings against a package, and write nothing. now: the time of day, for tests; again: the run of the
    package's case, when it was worked already.

    Raises CaseFaults for readings that cannot be taken, PackageError for a package that cannot be closed out: not a
    wrap, or closed already.
    """
    _printable(read)
    _same_repair(of, read)
    before = latest(of)
    approval, notes = before_work.approval(of)
    looked = before_work.look(of, before_work.first_mix(read))
    notes += [_LOOK + looked.words] if looked is not None else []
    sha = digests.sha256(read.raw)
    if _unchanged(of, before, sha, approval, notes):
        return Judged(of, before, before.data, None)
    _may_follow(of, before, read)
    again = rerun(of) if again is None else again
    outcome, notes = again.outcome, [*notes, *again.notes]
    closed = closeout(outcome.bundle, outcome, read, package=of.name, made=of.made,
                      now=now or datetime.datetime.now(datetime.UTC),
                      approval=None if approval is None else Approval(
                          approval["by"], approval["on"], datetime.datetime.fromisoformat(approval["written_utc"])),
                      look=None if looked is None else before_work.with_damage(of, looked))
    return Judged(of, before, record_closeout.build(
        closed, outcome, revision=of.revision, closeout_revision=before.number + 1, package_manifest_sha256=of.digest,
        record_sha256=of.manifest["record_sha256"], readings_sha256=sha, supersedes=before.name, approval=approval,
        notes=[*notes, *_instruments(read)]), closed)


def closeout_package(package: Path, readings: Path, *, now: datetime.datetime | None = None) -> Result:
    """Close out a package with a file of readings. now: the time of day, for tests.

    Raises CaseFaults for readings that cannot be taken, PackageError for a package that cannot be closed out: changed,
    superseded, not a wrap, or closed already. Nothing half-written is left.
    """
    of = issued(package, "close out")
    read = read_readings(readings)
    for _ in range(_ATTEMPTS):
        judged = judge(of, read, now=now)
        if judged.closed is None:
            return _result("unchanged", judged.data, of.folder.resolve().parent / PLACE / judged.before.name)
        folder = _write(of, judged.closed, judged.data, readings)
        if folder is not None:
            return _result("written", judged.data, folder)
    raise PackageError(f"{package.parent / PLACE}: other runs write close-outs of {of.name} all the time; wait for "
                       "them to end, then run again")


def _result(state: str, data: dict[str, Any], folder: Path) -> Result:
    return Result(state, data["verdict"], folder,
                  tuple(f"{n['number']} {n['title']}: {n['found']}, wanted {n['wanted']}"
                        + (f" (accepted by {n['accepted_by']})" if n["accepted_by"] else "")
                        for n in data["nonconformances"]), tuple(data["missing"]), tuple(data["notes"]))


# -- may it be closed out? ---------------------------------------------------------------------------------------
def _same_repair(of: Issued, read: Readings) -> None:
    """The readings say of which package and record they are."""
    faults = []
    whole = of.manifest["record_sha256"]
    for what, wanted, fits in (
            ("package", of.name, lambda t: t.casefold() == of.name.casefold()),
            ("record", f"sha256:{whole[:DIGEST_SIGNS]}", lambda t: _digest_fits(t, whole))):
        rows = read.of(what)
        if not rows:
            faults.append(Fault(read.name, what, "no such row with a reading", f"{what}, {wanted}",
                                "start from readings-template.csv of this package, which has it"))
        faults += [read.fault(r, "reading", units.shown(r.text), wanted, "these readings are of another repair or "
                   "revision: take the file that belongs to this package") for r in rows if not fits(r.text)]
    if faults:
        raise CaseFaults(faults)


def _printable(read: Readings) -> None:
    """Every text can be printed with the fonts of the page: what cannot would be left out without a word."""
    from wrapcalc.package.pdf import printable_characters
    faults = []
    for r in read.rows:
        for column, text in (("where", r.where), ("reading", r.text), ("by", r.by), ("instrument", r.instrument),
                             ("remark", r.remark)):
            odd = sorted({c for c in text if not c.isascii() and ord(c) not in printable_characters()})
            if odd:
                faults.append(read.fault(r, column, ", ".join(f"{c} (U+{ord(c):04X})" for c in odd[:5]),
                                         "characters that the page can print", "write it in Latin letters"))
    if faults:
        raise CaseFaults(counted(faults, read.name))


def _digest_fits(text: str, whole: str) -> bool:
    signs = text.casefold().removeprefix("sha256:").strip()
    return len(signs) >= DIGEST_SIGNS and whole.startswith(signs)


def latest(of: Issued) -> Before:
    """The highest close-out of this package, when every byte of it is as written."""
    place = of.folder.resolve().parent / PLACE
    found: list[tuple[int, Path]] = []
    for path in place.iterdir() if place.is_dir() else ():
        m = re.fullmatch(re.escape(of.name) + r"-([1-9][0-9]*)", path.name)
        if m and path.is_dir():
            found.append((int(m[1]), path))
    if not found:
        return Before()
    number, path = max(found)
    problems = digests.integrity(path)
    if problems:
        raise PackageError(f"{path}: this earlier close-out was changed after it was written ({problems[0]}); restore "
                           "it or move it away, then run again")
    data = json.loads((path / DATA).read_bytes())
    if data.get("schema") != record_closeout.SCHEMA:
        raise PackageError(f"{path / DATA}: schema {data.get('schema')!r} is not the {record_closeout.SCHEMA} that "
                           "this version reads; use the version that wrote it")
    return Before(number, path.name, data)


def _unchanged(of: Issued, before: Before, sha: str, approval: dict[str, str] | None,
               notes: list[str]) -> bool:
    """Whether nothing that a close-out rests on has changed; notes: of the approval and of the as-found check."""
    if not before.number or before.data["verdict"] in (ACCEPTED, DEVIATION):
        return False
    return (before.data["readings_file"]["sha256"] == sha and before.data["package_manifest_sha256"] == of.digest
            and before.data["approval"] == approval and before.data["notes"][:len(notes)] == notes
            and any(n.startswith(_LOOK) for n in notes) == any(n.startswith(_LOOK) for n in before.data["notes"]))


def _may_follow(of: Issued, before: Before, read: Readings) -> None:
    """A close-out that accepted is corrected with a reason only; so is a reading that stood in an earlier one."""
    correction = read.one("correction")
    if not before.number:
        if correction is not None:
            raise CaseFaults([read.fault(correction, "what", "a correction", "nothing: there is no earlier close-out "
                              f"of {of.name}", "remove the row")])
        return
    if correction is not None:
        return
    if before.data["verdict"] in (ACCEPTED, DEVIATION):
        raise PackageError(f"{of.name} is closed already: {before.name} says '{before.data['verdict']}'. To correct "
                           "it, add a row 'correction' with the reason to the readings")
    now = {(r.what, r.where, r.row): _said(r) for r in read.rows}
    changed = [b for b in before.data["readings"] if b["what"] not in ("accepted deviation", "accepted by")
               and now.get((b["what"], b["where"], b["row"])) != (b["reading"], b["time"], b["by"])]
    if changed:
        b = changed[0]
        more = f" and {len(changed) - 1} more" if changed[1:] else ""
        raise CaseFaults([Fault(read.name, "the readings", f"row {b['row']} ({b['what']}){more} not as it was in "
                                f"{before.name}", f"'{units.printable(b['reading'])[:60]}', or a reason",
                                "leave what was read as it is and add to it, or add a row 'correction' with a reason")])


def _said(r: Reading) -> tuple[str, str, str]:
    return r.text, r.time.isoformat() if r.time else "", r.by


def _recomputed(of: Issued, outcome: Outcome) -> list[str]:
    """Whether a new run of the case gives the record of the package."""
    if records.digest(records.build(outcome)) == of.manifest["record_sha256"]:
        return []
    was, now = of.manifest["versions"].get("wrapcalc", "unknown"), digests.versions()["wrapcalc"]
    return [f"A new run of the case does not give the record of the package byte for byte (made with {was}, now "
            f"{now}). The comparison rests on the new run; `wrapcalc verify` says what differs."]


def _instruments(read: Readings) -> list[str]:
    """How many measured readings name no instrument."""
    bare = [r.row for r in read.rows if r.given is not None and not r.instrument
            and r.what not in ("layers counted", "holidays found")]
    many = len(bare)
    return [f"{many} measured reading{'s name' if many > 1 else ' names'} no instrument: row{'s' if many > 1 else ''} "
            + ", ".join(bare[:12]) + (" and more" if many > 12 else "")] if bare else []


# -- on disk -----------------------------------------------------------------------------------------------------
def _write(of: Issued, closed: Closeout, data: dict[str, Any], readings: Path) -> Path | None:
    """Build the folder aside and give it its name; None when another run has taken the name."""
    from wrapcalc.package.pdf import html_to_pdf
    place = of.folder.resolve().parent / PLACE
    name = f"{of.name}-{data['closeout_revision']}"
    try:
        place.mkdir(exist_ok=True)
        aside = place / f".building-{os.getpid()}-{build.host_name()}-{secrets.token_hex(4)}"
        build.in_hand.add(aside)
        try:
            aside.mkdir(0o700)
            (aside / DATA).write_bytes(record_closeout.to_bytes(data))
            (aside / f"readings{_suffix(readings)}").write_bytes(closed.readings.raw)
            html = closeout_html(data)
            (aside / "closeout.html").write_text(html, encoding="utf-8", newline="\n")
            html_to_pdf(html, aside / "closeout.pdf", paper=data["about"]["paper"])
            build.write_json(aside / "run.json", {"schema": 1, "finished_utc": time.strftime("%Y-%m-%dT%H:%M:%SZ",
                                                                                       time.gmtime())})
            digests.write_manifest(aside, {
                "kind": KIND, "package": of.name, "case": data["case"], "revision": of.revision,
                "closeout_revision": data["closeout_revision"], "verdict": data["verdict"],
                "package_manifest_sha256": of.digest, "record_sha256": data["record_sha256"],
                "closeout_sha256": digests.sha256((aside / DATA).read_bytes())})
            os.chmod(aside, 0o755)
            return place / name if build.put_in_place(aside, place / name) else None
        finally:
            shutil.rmtree(aside, ignore_errors=True)
            build.in_hand.discard(aside)
    except OSError as e:
        raise PackageError(f"{place / name}: cannot be written ({e.strerror or e}); nothing half-written was "
                           "left") from None


def _suffix(readings: Path) -> str:
    return ".xlsx" if readings.suffix.casefold() == ".xlsx" else ".csv"


# -- the page ----------------------------------------------------------------------------------------------------
def _printed(readings: list[dict[str, Any]]) -> tuple[list[dict[str, Any]], list[str]]:
    """The readings that the page shows (of a long log the ends and those behind checks), and what is left out."""
    shown, out = [], []
    logs: dict[str, list[dict[str, Any]]] = {}
    for r in readings:
        logs.setdefault(r["what"], []).append(r)
    long = {what: rows for what, rows in logs.items() if len(rows) > _LONG_LOG}
    for r in readings:
        rows = long.get(r["what"])
        if rows is None or r["checks"] or r is rows[0] or r is rows[-1]:
            shown.append(r)
    for what, rows in long.items():
        left = len(rows) - sum(r["what"] == what for r in shown)
        out.append(f"{left} of {len(rows)} readings of {what} are not printed; all are in closeout.json and in the "
                   "file as read.")
    return shown, out


def closeout_html(data: dict[str, Any]) -> str:
    """The page of a close-out from its data alone; the same data give the same text."""
    from wrapcalc.package.glyphs import share_glyphs
    from wrapcalc.package.report import environment
    topics: dict[str, list[dict[str, Any]]] = {}
    for i in sorted(data["items"], key=lambda i: (*TOPICS, *CLOSING_TOPICS).index(i["topic"])):
        topics.setdefault(i["topic"], []).append(i)
    shown, left_out = _printed(data["readings"])
    page = environment().get_template("closeout.html").render(
        c=data, readings=shown, left_out=left_out, sentence=SENTENCES[data["verdict"]], standing=STANDING,
        in_book=[i for i in data["items"] if i["type"] == "check" and i["id"] in {e["id"] for e in data["checks"]}],
        topics=[{"title": t, "items": [Markup(h) for h in items_html([i for i in found if i["type"] != "check"])]}
                for t, found in topics.items() if any(i["type"] != "check" for i in found)],
        verdict_of=lambda word: Markup(fragments.verdict(word)))
    return share_glyphs(page)
