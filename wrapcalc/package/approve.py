"""An approval beside its package: the same record printed again with names; built aside, renamed when whole."""

from __future__ import annotations

import datetime
import json
import os
import secrets
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wrapcalc.errors import PackageError
from wrapcalc.package import build, digests
from wrapcalc.package.issued import Issued, issued
from wrapcalc.package.report import IDENTITIES, Approval, report_html, unverified
from wrapcalc.package.review import typed_name
from wrapcalc.package.review_approval import Reviewed, reviewed
from wrapcalc.package.verify import verify
from wrapcalc.people import person_key

PLACE, KIND, DATA = "approval", "approval", "approval.json"
RECORD = "record.json"
#: So many faults of a package that does not verify are named.
_MOST_TOLD = 3


@dataclass(frozen=True)
class Result:
    """What became of an approval. notices: what stands on it that its reader has to know."""

    folder: Path
    decision: str
    unverified: int
    notices: tuple[str, ...] = ()

    @property
    def lines(self) -> list[str]:
        """For a terminal."""
        return [f"approved: {self.decision} → {self.folder}", f"  {IDENTITIES}",
                f"  unverified values and formulas: {self.unverified}", *(f"  note: {n}" for n in self.notices)]


@dataclass(frozen=True)
class _Package(Issued):
    """notes: versions that changed since the package was made, as `verify` tells them."""

    record: Mapping[str, Any]
    notes: tuple[str, ...]


def approve(package: Path, author: str, checker: str, approver: str, on: datetime.date, *,
            now: datetime.datetime | None = None) -> Result:
    """Approve a package; writes PACKAGES/approval/<its name>. on: the day as typed; now: by the clock, unless given.

    Raises PackageError when the package is not as it was written, when a new run does not give its record again (see
    `verify`: other versions that give the same are a notice), when it is superseded or approved already, when the names
    do not stand for people who may check and approve each other's work, when the day cannot be, when its review is
    damaged or has an open query, and when nothing can be written. Identities are typed, not authenticated: that is
    printed wherever the names are.
    """
    of = _sound(package)
    given = {"author": author, "checker": checker, "approver": approver}
    typed = {role: typed_name(role, name) for role, name in given.items()}
    prepared = str(of.record["case"]["prepared_by"] or "")
    _apart(typed, prepared)
    now = (now or datetime.datetime.now(datetime.UTC)).astimezone(datetime.UTC)
    _day(of, on, max(_days(now)))
    target = of.folder.resolve().parent / PLACE / of.name
    if target.exists():
        raise PackageError(f"{of.name} is approved already ({target}); an approval is never changed: what is to be "
                           "different goes into the case, and makes a new revision")
    review = reviewed(of, of.record, author=typed["author"], checker=typed["checker"])
    approval = Approval(**typed, on=on.isoformat(), review=review.line, written=now.strftime("%Y-%m-%dT%H:%M:%SZ"))
    notices = _notices(of, approval, prepared) + list(review.notices)
    if on not in _days(now):
        notices.insert(0, f"Dated back: approved on {approval.day}.")
    _write(of, approval, review, notices, target)
    return Result(target, of.record["decision"]["word"], unverified(of.record), tuple(notices))


# -- may it be approved? -----------------------------------------------------------------------------------------
def _sound(package: Path) -> _Package:
    of = issued(package, "approve")
    record = _record(package, of.manifest)
    found = verify(package)
    if not found.ok:
        told = found.problems + found.differences
        more = f"; and {len(told) - _MOST_TOLD} more" if told[_MOST_TOLD:] else ""
        raise PackageError(f"{package}: this package does not verify ({'; '.join(told[:_MOST_TOLD])}{more}) and is not "
                           "approved; restore it, or run the case again and approve what comes out")
    return _Package(**vars(of), record=record, notes=tuple(found.notes))


def _record(package: Path, manifest: Mapping[str, Any]) -> Mapping[str, Any]:
    """The record whose digest the manifest names. Raises PackageError for another one, or one of another layout."""
    from wrapcalc.record import SCHEMA
    raw = (package / RECORD).read_bytes()
    if digests.sha256(raw) != manifest["record_sha256"]:
        raise PackageError(f"{package / RECORD}: this is not the record that the manifest names; the package was "
                           "damaged")
    try:
        record = json.loads(raw)
    except (ValueError, RecursionError):
        record = None
    if not isinstance(record, dict):
        raise PackageError(f"{package / RECORD}: the record is damaged; restore the package, or run the case again")
    if record.get("schema") != SCHEMA or "site" not in record:
        raise PackageError(f"{package / RECORD}: written by another version of wrapcalc, with another layout; run the "
                           "case again with this version and approve what comes out")
    return record


def _apart(typed: Mapping[str, str], prepared: str) -> None:
    """Nobody checks or approves work of their own. The checker may be the approver."""
    for role in ("checker", "approver"):
        if person_key(typed[role]) == person_key(typed["author"]):
            raise PackageError(f"{role} and author are both '{typed[role]}': nobody may be {role} of work of their "
                               "own; name somebody else")
        if prepared and person_key(typed[role]) == person_key(prepared):
            raise PackageError(f"{role} '{typed[role]}' prepared the case (case.prepared_by): nobody may be {role} of "
                               "work of their own; name somebody else")


def _days(moment: datetime.datetime) -> tuple[datetime.date, datetime.date]:
    """The day of a moment by UTC and by the clock of this place."""
    return moment.astimezone(datetime.UTC).date(), moment.astimezone().date()


def _day(of: _Package, on: datetime.date, today: datetime.date) -> None:
    """Not before the package was made and not after today; the day by UTC or by the clock of this place."""
    if on < min(_days(of.made)):
        raise PackageError(f"approved on {on}: the package was made on {of.made.date()} (UTC); nothing is approved "
                           "before it is there")
    if on > today:
        raise PackageError(f"approved on {on}: that day is still to come (today is {today}); an approval is not dated "
                           "forward")


def _notices(of: _Package, approval: Approval, prepared: str) -> list[str]:
    record = of.record
    out = []
    if not prepared:
        out.append("The case does not state who prepared it (case.prepared_by).")
    elif person_key(prepared) != person_key(approval.author):
        out.append(f"The author '{approval.author}' is not who prepared the case ('{prepared}', case.prepared_by).")
    if person_key(approval.checker) == person_key(approval.approver):
        out.append("Checker and approver are the same person.")
    if count := unverified(record):
        out.append(f"{count} values and formulas are from memory and not verified against a licensed copy.")
    if of.notes:
        out.append(f"Versions changed since the package was made: {'; '.join(of.notes)}.")
    if open_ := not_stated(record):
        out.append(f"Not stated for the site, to be filled in before work: {', '.join(open_)}.")
    return out


def not_stated(record: Mapping[str, Any]) -> list[str]:
    """Questions of the site without an answer, of those that the decision needs: all for a wrap, else those of the
    dig, and none where nothing is repaired."""
    word = record["decision"]["word"]
    dug = ("location.", "excavation.")
    return [f for f in record["site"]["not_stated"]
            if word == "wrap" or (word != "no repair needed" and f.startswith(dug))]


# -- on disk -----------------------------------------------------------------------------------------------------
def _write(of: _Package, approval: Approval, review: Reviewed, notices: list[str], target: Path) -> None:
    """Build the folder aside, among the packages where leftovers are looked for, and give it its name."""
    place = target.parent.parent
    aside = place / f".building-{os.getpid()}-{build.host_name()}-{secrets.token_hex(4)}"
    try:
        build.in_hand.add(aside)
        try:
            aside.mkdir(0o700)
            for name, html in pages(of.record, of.folder, of.revision, of.manifest, approval).items():
                _print(aside / name, html, of.record["case"]["paper"])
            build.write_json(aside / DATA, {"schema": 1, "kind": KIND, **(facts := _facts(of, approval, review)),
                                       "record_sha256": of.manifest["record_sha256"], "notice": IDENTITIES,
                                       "unverified": unverified(of.record),
                                       "not_stated": not_stated(of.record), "notices": notices})
            digests.write_manifest(aside, {"kind": KIND} | facts)
            os.chmod(aside, 0o755)
            target.parent.mkdir(exist_ok=True)
            if not build.put_in_place(aside, target):
                raise PackageError(f"{of.name} was approved by another run meanwhile ({target}); an approval is never "
                                   "changed")
        finally:
            shutil.rmtree(aside, ignore_errors=True)
            build.in_hand.discard(aside)
    except OSError as e:
        raise PackageError(f"{target}: cannot be written ({e.strerror or e}); nothing half-written was left") from None


def _facts(of: _Package, approval: Approval, review: Reviewed) -> dict[str, Any]:
    return {"package": of.name, "case": of.manifest["case"], "revision": of.revision,
            "package_manifest_sha256": of.digest, "author": approval.author, "checker": approval.checker,
            "approver": approval.approver, "approved_on": approval.on, "written_utc": approval.written,
            "review": review.data}


def _print(path: Path, html: str, paper: Any) -> None:
    from wrapcalc.package.pdf import html_to_pdf
    path.with_suffix(".html").write_text(html, encoding="utf-8", newline="\n")
    html_to_pdf(html, path.with_suffix(".pdf"), paper=paper)


def pages(record: Mapping[str, Any], folder: Path, revision: int, manifest: Mapping[str, Any], approval: Approval
          ) -> dict[str, str]:
    """File name without suffix -> page with names and date, from the record of the package."""
    from wrapcalc.package.dig_sheet import dig_sheet_html
    from wrapcalc.package.site_sheet import kit_list_html, site_sheet_html
    same: dict[str, Any] = {"revision": revision, "digest": manifest["record_sha256"]}
    differs = json.loads((folder / "changes.json").read_bytes())["changes"] if (
        folder / "changes.json").is_file() else None
    out = {"package": report_html(record, changes=differs, guards=build.guards(), approval=approval,
                                  not_stated=not_stated(record),
                                  supersedes=(manifest.get("previous") or {}).get("revision"), **same)}
    if record["decision"]["word"] == "wrap" and record["site"]["wrap"]:
        out["site-sheet"] = site_sheet_html(record, approval=approval, **same)
        out["kit-list"] = kit_list_html(record, approval=approval, **same)
    if record["site"]["dig"]:
        out["dig-sheet"] = dig_sheet_html(record, approval=approval, **same)
    return out
