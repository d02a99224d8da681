"""What is finished: a line for each package, so that a run that was stopped goes on without working it out again."""

from __future__ import annotations

import hashlib
import json
import os
import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from wrapcalc import __version__
from wrapcalc.errors import WrapcalcError
from wrapcalc.package import digests
from wrapcalc.package.build import template

#: Fields of a case that name a file beside it.
BESIDE = ("defect.grid", "defect.second_grid", "defect.profile", "defect.pits", "design.system", "documents.overlay",
          "disposition.criteria", "work.forecast")
_REVISION = re.compile(r"(.+)-r(\d+)")


@dataclass(frozen=True)
class Finished:
    """A package that is whole and made of just these inputs."""

    case_id: str
    folder: str
    manifest: dict[str, Any]


@lru_cache(1)
def tool() -> str:
    """SHA-256 over the files of this installation and of the notebook: two that differ in it may give other numbers."""
    h = hashlib.sha256(__version__.encode())
    root = Path(__file__).parents[1]
    for path in sorted(root.rglob("*")):
        if path.is_file() and path.suffix in (".py", ".toml", ".json", ".html", ".css", ".csv"):
            h.update(path.relative_to(root).as_posix().encode() + b"\0" + hashlib.sha256(path.read_bytes()).digest())
    h.update(template().read_bytes())
    return h.hexdigest()


def inputs(case: Path) -> tuple[str, dict[str, bytes]]:
    """The id in a case file, "" when there is none, and the bytes of the file and of those it names beside it.

    Raises OSError. A file that is named and not there is left out: whoever packages the case tells that.
    """
    raw = case.read_bytes()
    files = {case.name: raw}
    try:
        data = tomllib.loads(raw.decode("utf-8-sig"))
    except (ValueError, RecursionError):
        return "", files
    for dotted in BESIDE:
        name = _at(data, dotted)
        path = case.parent / name if isinstance(name, str) and name and not re.search(r"[/\\\0]", name) else None
        if path is not None and path.is_file():
            files[path.name] = path.read_bytes()
    case_id = _at(data, "case.id")
    return (case_id if isinstance(case_id, str) else ""), files


def _at(data: Any, dotted: str) -> Any:
    for part in dotted.split("."):
        data = data.get(part) if isinstance(data, dict) else None
    return data.get("value") if isinstance(data, dict) else data


def inputs_digest(files: dict[str, bytes]) -> str:
    """SHA-256 over names and bytes of the files of a case, and over the tool."""
    h = hashlib.sha256(tool().encode())
    for name in sorted(files):
        h.update(name.encode() + b"\0" + hashlib.sha256(files[name]).digest())
    return h.hexdigest()


class Ledger:
    """The file with a line for each package that was finished. A line that was cut off by a kill counts for nothing."""

    def __init__(self, path: Path, packages: Path):
        self.path, self.packages = path, packages
        self.entries: dict[str, dict[str, str]] = {}
        for line in self._lines():
            try:
                entry = json.loads(line)
                entry = {k: str(entry[k]) for k in ("case", "inputs", "folder", "manifest")}
            except (ValueError, KeyError, TypeError):
                continue
            self.entries[entry["case"]] = entry

    def _lines(self) -> list[str]:
        try:
            return self.path.read_text(encoding="utf-8", errors="replace").splitlines()
        except FileNotFoundError:
            return []

    def finished(self, cases: Iterable[Path]) -> dict[Path, Finished]:
        """The cases of which the latest package is whole and made of what the case says now."""
        last = self._latest()
        out = {}
        for case in cases:
            case_id, files = inputs(case)
            entry = self.entries.get(case.name)
            if entry is None or entry["folder"] != last.get(case_id) or entry["inputs"] != inputs_digest(files):
                continue
            folder = self.packages / entry["folder"]
            try:
                if (digests.sha256((folder / digests.MANIFEST).read_bytes()) == entry["manifest"]
                        and not digests.integrity(folder)):
                    out[case] = Finished(case_id, entry["folder"], digests.read_manifest(folder))
            except (OSError, WrapcalcError):
                continue  # packaging it tells what is wrong
        return out

    def _latest(self) -> dict[str, str]:
        """Case id -> name of the package of its highest revision, with one look at the folder."""
        best: dict[str, tuple[int, str]] = {}
        for path in self.packages.iterdir() if self.packages.is_dir() else ():
            if m := _REVISION.fullmatch(path.name):
                best[m[1]] = max(best.get(m[1], (0, "")), (int(m[2]), path.name))
        return {case_id: name for case_id, (_, name) in best.items()}

    def note(self, case: Path, folder: Path) -> None:
        """Write down that the package in `folder` was made of what the case says now."""
        _, files = inputs(case)
        entry = {"case": case.name, "inputs": inputs_digest(files), "folder": folder.name,
                 "manifest": digests.sha256((folder / digests.MANIFEST).read_bytes())}
        self.entries[case.name] = entry
        with self.path.open("a", encoding="utf-8", newline="\n") as file:
            # a line that a kill cut off is ended first
            file.write(("" if self._ended() else "\n") + json.dumps(entry) + "\n")

    def _ended(self) -> bool:
        try:
            with self.path.open("rb") as file:
                if file.seek(0, os.SEEK_END) == 0:
                    return True
                file.seek(-1, os.SEEK_END)
                return file.read(1) == b"\n"
        except FileNotFoundError:
            return True
