"""A look into the ditch as plain data: the one truth of its page. Same package, same sheet, same bytes."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from wrapcalc import record as records
from wrapcalc.fields import Given, lookup, walk
from wrapcalc.stages.as_found.as_found import Gate
from wrapcalc.stages.job import Decision, Outcome

SCHEMA = 1


def to_bytes(data: dict[str, Any]) -> bytes:
    """The data as the bytes of as_found.json. Raises ValueError for NaN."""
    return (json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def build(gate: Gate, issued: Outcome, *, revision: int, number: int, package_manifest_sha256: str, record_sha256: str,
          notes: list[str]) -> dict[str, Any]:
    """Everything that a page, the register or an auditor needs. number: which look at this package it is.

    Nothing in it depends on the clock or the machine.
    """
    rec, bundle, about = gate.recorder, issued.bundle, gate.sighting.found.as_found
    holder = Outcome(bundle, rec, Decision(gate.verdict, ""))  # what an item is printed with: units and tables
    files = {"as_found.toml": gate.sighting.raw, **gate.sighting.files}
    return {
        "schema": SCHEMA,
        "package": gate.package, "case": bundle.case.id, "revision": revision, "number": number,
        "package_manifest_sha256": package_manifest_sha256, "record_sha256": record_sha256,
        "about": {n: getattr(bundle.case.case, n) for n in ("title", "line", "joint")}
        | {"display": bundle.case.display, "paper": bundle.case.case.paper or "A4"},
        "verdict": gate.verdict, "reasons": list(gate.reasons), "missing": list(gate.missing),
        "date": about.date or "", "found_by": about.found_by or "", "checked_by": about.checked_by or "",
        "reference": about.reference or "",
        "now": {"decision": gate.now.decision.word, "sentence": gate.now.decision.sentence},
        "comparison": [{"check": r.check.id, "what": r.what, "issued": r.issued, "found": r.found,
                        "verdict": r.check.verdict, "kind": r.check.kind, "note": r.check.note} for r in gate.rows],
        "stated": _stated(gate),
        "batches": [],
        "notes": notes,
        "items": [records.item_data(i, rec.place_of[i.id], holder) for i in rec.items],
        "assumptions": rec.assumptions, "warnings": rec.warnings,
        "files": {n: hashlib.sha256(raw).hexdigest() for n, raw in sorted(files.items())},
        "next_case_sha256": hashlib.sha256(gate.next.text).hexdigest(),
    }


def _stated(gate: Gate) -> list[dict[str, str]]:
    """Every question of the sheet, and the answer as it was written."""
    found = gate.sighting.found
    out = []
    for name, info in walk(type(found)):
        table, _, key = name.partition(".")
        rows = getattr(found, table)
        for dotted in [f"{table}.{i}.{key}" for i in range(len(rows))] if isinstance(rows, tuple) else [name]:
            given = lookup(found, dotted)
            parts = given if isinstance(given, tuple) else (given,)
            text = ", ".join(g.written if isinstance(g, Given) else str(g) for g in parts if g is not None)
            out.append({"field": dotted, "question": info.description, "answer": text})
    return out
