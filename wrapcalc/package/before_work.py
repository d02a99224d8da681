"""What stands beside a package before the work, as a close-out reads it: its approval, and the look into the ditch."""

from __future__ import annotations

import datetime
import functools
import json
import re
from dataclasses import replace
from pathlib import Path

from wrapcalc.case.load import load_bundle
from wrapcalc.case.readings import Readings
from wrapcalc.errors import CaseFaults, PackageError
from wrapcalc.package import digests
from wrapcalc.package.issued import Issued
from wrapcalc.package.readings_template import DIGEST_SIGNS
from wrapcalc.stages.as_found.as_found import HOLDS
from wrapcalc.stages.closeout.before_work import Look
from wrapcalc.stages.job import PARTS, Outcome, run


def approval(of: Issued) -> tuple[dict[str, str] | None, list[str]]:
    """The approval beside the package, when it is whole and of these bytes; else None, and why."""
    folder = of.folder.resolve().parent / "approval" / of.name
    if not (folder / digests.MANIFEST).is_file():
        return None, []
    try:
        raw = (folder / digests.MANIFEST).read_bytes()
        told = json.loads(raw)
        sealed = (folder / digests.SEAL).read_text(encoding="utf-8") == f"{digests.sha256(raw)}  {digests.MANIFEST}\n"
        whole = sealed and all(digests.sha256((folder / n).read_bytes()) == d for n, d in told["files"].items())
        same = told.get("package_manifest_sha256") == of.digest and told.get("kind") == "approval"
        out = {"by": str(told["approver"]), "on": datetime.date.fromisoformat(told["approved_on"]).isoformat(),
               "written_utc": str(told["written_utc"])}
        if datetime.datetime.fromisoformat(out["written_utc"]).tzinfo is None:
            raise ValueError("no offset from UTC")
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None, [f"approval/{of.name} cannot be read; it counts for nothing"]
    if not whole or not same:
        why = "was changed after it was written" if not whole else "is of other bytes than this package"
        return None, [f"approval/{of.name} {why}; it counts for nothing"]
    return out, []


def first_mix(read: Readings) -> str:
    """The day of the first mix (ISO 8601), blank where nobody noted it."""
    days = [r.time.date().isoformat() for r in read.of("mixing started") if r.time is not None]
    return min(days, default="")


def look(of: Issued, began: str) -> Look | None:
    """The look into the ditch that counts for this package; None when nobody looked. began: day of the first mix.

    That is the last one, but one that found all well only after the first mix says nothing of what was wrapped, and the
    one before it counts. One that is not whole, or of other bytes than this package, has no verdict: an earlier one
    does not take its place.
    """
    place = of.folder.resolve().parent / "as_found"
    found = []
    for path in place.iterdir() if place.is_dir() else ():
        m = re.fullmatch(re.escape(of.name) + r"-([1-9][0-9]*)", path.name)
        if m:
            found.append((int(m[1]), path))
    if not found:
        return None
    looks = [_one_look(of, path) for _, path in sorted(found, reverse=True)]
    return next((x for x in looks if x.verdict != HOLDS or not began or x.on <= began), looks[0])


def _one_look(of: Issued, path: Path) -> Look:
    """One look as it stands there; its verdict is blank where it counts for nothing."""
    name = f"as_found/{path.name}"
    try:
        problems = digests.integrity(path)
        manifest, data = digests.read_manifest(path), json.loads((path / "as_found.json").read_bytes())
        verdict, same = str(data["verdict"]), manifest.get("package_manifest_sha256") == of.digest
        kind = manifest.get("kind") == "as found" and manifest.get("package") == of.name
        on = str(manifest.get("date") or "")
        if verdict == HOLDS:  # without its day there is no such verdict
            on = datetime.date.fromisoformat(on).isoformat()
    except (PackageError, OSError, ValueError, KeyError, TypeError, AttributeError):
        return Look(name, "", f"{name} cannot be read; restore it, or look again")
    if problems or not kind or not same or manifest.get("verdict") != verdict:
        why = "is of other bytes than this package" if kind and not problems and not same else (
            "was changed after it was written")
        return Look(name, "", f"{name} {why}; it counts for nothing; restore it, or look again")
    seal = digests.sha256((path / digests.MANIFEST).read_bytes())
    return Look(name, verdict, f"{name} says '{verdict}' ({f'{on}, ' if on else ''}sha256:{seal[:DIGEST_SIGNS]})", on)


def with_damage(of: Issued, look: Look) -> Look:
    """A look that lets the work begin, with the run of the case that it found; without one where it cannot be run."""
    if look.verdict != HOLDS:
        return look
    folder = of.folder.resolve().parent / look.name
    try:
        return replace(look, found=_ran_again(folder, digests.sha256((folder / digests.MANIFEST).read_bytes())))
    except (CaseFaults, PackageError, OSError):
        return look


@functools.lru_cache(maxsize=4)
def _ran_again(folder: Path, seal: str) -> Outcome:
    """The case with what was found, run again for decision and design. seal: SHA-256 of its manifest, so that other
    bytes are another run."""
    return run(load_bundle(folder / "next_case.toml"), without=PARTS)
