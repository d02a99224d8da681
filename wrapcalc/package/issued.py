"""A package that something is written beside: whole, under its own name, and the latest of its case."""

from __future__ import annotations

import datetime
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wrapcalc.errors import PackageError
from wrapcalc.package import build, digests


@dataclass(frozen=True)
class Issued:
    """A whole package. digest: SHA-256 of its manifest; made: when it was finished."""

    folder: Path
    name: str
    revision: int
    manifest: dict[str, Any]
    digest: str
    made: datetime.datetime


def issued(package: Path, what: str) -> Issued:
    """The package when every byte is as written, its name its own, and no later revision stands beside it.

    what: to be done with it, in words, such as "approve". Raises PackageError otherwise.
    """
    manifest = digests.read_manifest(package)
    if manifest.get("kind") is not None or "record_sha256" not in manifest:
        raise PackageError(f"{package}: this is {manifest.get('kind', 'something else')}, not a calculation package; "
                           "name the folder of the package")
    problems = digests.integrity(package)
    if problems:
        raise PackageError(f"{package}: this package was changed after it was written ({problems[0]}); restore it, or "
                           f"run the case again, then {what} what comes out")
    name = f"{manifest['case']}-r{manifest['revision']}"
    if package.resolve().name != name:
        raise PackageError(f"{package}: its manifest says {name}; give the folder its name back")
    last = build.latest(package.resolve().parent, manifest["case"])
    if last.revision > manifest["revision"]:
        raise PackageError(f"{package}: revision {manifest['revision']} is superseded by revision {last.revision}; "
                           f"{what} {last.folder and last.folder.name}, or move it away if it was never issued")
    try:
        told = json.loads((package / "run.json").read_bytes())["finished_utc"]
        made = datetime.datetime.strptime(told, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=datetime.UTC)
    except (OSError, ValueError, KeyError, TypeError):
        raise PackageError(f"{package / 'run.json'}: it does not say when the package was made") from None
    return Issued(package, name, manifest["revision"], manifest,
                  digests.sha256((package / digests.MANIFEST).read_bytes()), made)
