"""Two questions about a package: is every byte as it was written, and does a new run give the same numbers?"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from wrapcalc import record as records
from wrapcalc.case import load_bundle
from wrapcalc.errors import WrapcalcError
from wrapcalc.package import digests
from wrapcalc.package.explain import read_record


@dataclass(frozen=True)
class Verification:
    """problems: bytes that changed; differences: what a new run gives otherwise; notes: versions that changed."""

    problems: list[str] = field(default_factory=list)
    differences: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    steps: int = 0

    @property
    def ok(self) -> bool:
        """Intact and reproduced."""
        return not self.problems and not self.differences


def verify(folder: Path) -> Verification:
    """Check integrity, then recompute from the package's own copies. Raises PackageError when it is no package."""
    manifest = digests.read_manifest(folder)
    problems = digests.integrity(folder)
    now = digests.versions()
    notes = [f"{name} {was} → {now.get(name, 'not installed')}" for name, was in manifest["versions"].items()
             if now.get(name) != was]
    try:
        stored = read_record(folder)
    except WrapcalcError as e:
        return Verification([*problems, str(e)], notes=notes)
    if not whole(stored):
        return Verification([*problems, "record.json: the record is damaged"], notes=notes)
    from wrapcalc.stages.job import run
    try:
        fresh = json.loads(records.to_bytes(records.build(run(load_bundle(folder / "case.toml")))))
    except WrapcalcError as e:
        return Verification(problems, [f"the case cannot be run again: {e}"], notes)
    steps = sum(i["type"] != "check" for i in fresh["items"])
    return Verification(problems, list(_differences(stored, fresh)), notes, steps)


def whole(record: dict[str, Any]) -> bool:
    """Whether the record can be compared step by step: items with an id each, steps with a formula and a result."""
    items = record.get("items")
    if not isinstance(items, list) or not all(isinstance(i, dict) for i in items):
        return False
    ids = [i.get("id") for i in items]
    texts = all(isinstance(i.get(k), str) for i in items for k in ("id", "type", "title"))
    return texts and len(set(ids)) == len(ids) and all(
        isinstance(i.get("formula"), str) and isinstance(i.get("result"), dict) and {"magnitude", "unit"} <= i[
            "result"].keys() for i in items if i["type"] == "step")


def _differences(stored: dict[str, Any], fresh: dict[str, Any]):
    """Step by step, then everything else that the record says."""
    # The line of a formula in its file is a signpost: it moves without any number moving.
    old, new = ({i["id"]: {k: v for k, v in i.items() if k != "line"} for i in r["items"]} for r in (stored, fresh))
    for key in dict.fromkeys([*old, *new]):
        a, b = old.get(key), new.get(key)
        if a == b:
            continue
        if a is None or b is None:
            yield f"{key}: {'not stored' if a is None else 'stored'}, {'not ' if b is None else ''}recomputed"
        elif a["type"] == "step" and b["type"] == "step" and a["formula"] != b["formula"]:
            yield f"{key}: stored formula {a['formula']}, recomputed with {b['formula']}"
        elif a["type"] == "step" and a["result"] != b["result"]:
            yield (f"{key} {a['title']}: stored {a['result']['magnitude']!r} {a['result']['unit']}, recomputed "
                   f"{b['result']['magnitude']!r} {b['result']['unit']}")
        else:
            parts = [k for k in dict.fromkeys([*a, *b]) if a.get(k) != b.get(k)]
            yield f"{key} {a['title']}: differs in {', '.join(parts)}"
    for part in dict.fromkeys([*stored, *fresh]):
        if part not in ("items", "tool") and stored.get(part) != fresh.get(part):
            yield f"record, part '{part}': differs"
