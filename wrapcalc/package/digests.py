"""The manifest of a package: SHA-256 of every file, versions, and the check that no byte has changed."""

from __future__ import annotations

import hashlib
import json
import platform
import sys
from collections.abc import Callable
from importlib import metadata
from pathlib import Path
from typing import Any

from wrapcalc import __version__
from wrapcalc.errors import PackageError

MANIFEST, SEAL = "manifest.json", "manifest.sha256"
_LIBRARIES = ("numpy", "pint", "pydantic", "papermill", "nbformat", "matplotlib", "ziamath", "plutoprint", "jinja2")


def versions() -> dict[str, str]:
    """Versions of what computed and printed: enough to explain a difference years later."""
    out = {"wrapcalc": __version__, "python": platform.python_version(), "system": sys.platform}
    for name in _LIBRARIES:
        try:
            out[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            out[name] = "not installed"
    return out


def sha256(raw: bytes) -> str:
    """Hex SHA-256."""
    return hashlib.sha256(raw).hexdigest()


def write_manifest(folder: Path, facts: dict[str, Any]) -> str:
    """Write manifest.json over all files of the folder, and its seal. Returns the digest of the manifest."""
    files = {p.relative_to(folder).as_posix(): sha256(p.read_bytes())
             for p in sorted(folder.rglob("*")) if p.is_file()}
    raw = (json.dumps({"schema": 1} | facts | {"versions": versions(), "files": files}, indent=1,
                      ensure_ascii=False) + "\n").encode()
    (folder / MANIFEST).write_bytes(raw)
    (folder / SEAL).write_text(f"{sha256(raw)}  {MANIFEST}\n", encoding="utf-8")
    return sha256(raw)


def read_manifest(folder: Path) -> dict[str, Any]:
    """The manifest as data. Raises PackageError when the folder is not a package, when the manifest is unreadable, and
    when a key of it holds what wrapcalc never writes there."""
    path = folder / MANIFEST
    if not path.is_file():
        raise PackageError(f"{folder}: this is not a package folder: it has no {MANIFEST}")
    try:
        data = json.loads(path.read_bytes())
    except (ValueError, RecursionError):
        data = None
    if not isinstance(data, dict):
        raise PackageError(f"{path}: the manifest cannot be read; the package was damaged")
    if data.get("schema") != 1:
        raise PackageError(f"{folder / MANIFEST}: written by a newer wrapcalc (schema {data.get('schema')!r}, this "
                           "version reads 1); use that version")
    for key, (allowed, may) in _KEYS.items():
        if not may(data.get(key), data):
            found = repr(data[key]) if key in data else "nothing"
            raise PackageError(f"{path}, {key}: found {found[:40]}; allowed: {allowed}. The package was damaged; "
                               "restore it, or run the case again")
    return data


def _count(x: Any) -> bool:
    return isinstance(x, int) and not isinstance(x, bool) and x > 0


def _texts(x: Any) -> bool:
    return isinstance(x, dict) and all(isinstance(v, str) for v in x.values())


def _text_or_nothing(x: Any, _: dict[str, Any]) -> bool:
    return x is None or isinstance(x, str)


#: Key -> what may stand there, in words, and whether it does. A calculation package is of no kind, and names its case.
_KEYS: dict[str, tuple[str, Callable[[Any, dict[str, Any]], bool]]] = {
    "kind": ("a text, or nothing", _text_or_nothing),
    "case": ("a text", lambda x, all_: isinstance(x, str) or (x is None and all_.get("kind") is not None)),
    "revision": ("a whole number from 1", lambda x, _: _count(x)),
    "previous": ("nothing, or revision and manifest_sha256 of the one before", lambda x, _: x is None or (
        isinstance(x, dict) and _count(x.get("revision")) and isinstance(x.get("manifest_sha256"), str))),
    **{key: ("a text, or nothing", _text_or_nothing) for key in (
        "decision", "package", "record_sha256", "package_manifest_sha256", "comments_sha256")},
    "versions": ("names, each with a text", lambda x, _: _texts(x)),
    "files": ("names, each with a text", lambda x, _: _texts(x)),
}


def integrity(folder: Path) -> list[str]:
    """Every byte that is not as it was written, in words; empty when the package is intact."""
    manifest = read_manifest(folder)
    problems = []
    try:
        sealed = (folder / SEAL).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        sealed = ""
    if sealed != f"{sha256((folder / MANIFEST).read_bytes())}  {MANIFEST}\n":
        problems.append(f"{MANIFEST}: it, or its seal {SEAL}, was changed")
    for name, want in manifest["files"].items():
        path = folder / name
        if not path.is_file():
            problems.append(f"{name}: missing")
        elif sha256(path.read_bytes()) != want:
            problems.append(f"{name}: changed since it was written")
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_file() and name not in manifest["files"] and name not in (MANIFEST, SEAL):
            problems.append(f"{name}: was added after the package was written")
    return problems
