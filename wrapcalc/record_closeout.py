"""A close-out as plain data: the one truth from which its page is made. Same package, same readings, same bytes."""

from __future__ import annotations

import json
from typing import Any

from wrapcalc import record as records
from wrapcalc.case.readings import Reading
from wrapcalc.stages.closeout.closeout import Closeout, Nonconformance, told
from wrapcalc.stages.closeout.ledger import Entered
from wrapcalc.stages.job import Decision, Outcome

SCHEMA = 1


def to_bytes(data: dict[str, Any]) -> bytes:
    """The data as the bytes of closeout.json. Raises ValueError for NaN."""
    return (json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def build(closed: Closeout, outcome: Outcome, *, revision: int, closeout_revision: int, package_manifest_sha256: str,
          record_sha256: str, readings_sha256: str, supersedes: str, approval: dict[str, str] | None,
          notes: list[str]) -> dict[str, Any]:
    """Everything that a page, the register or an auditor needs.

    closeout_revision: which close-out of this package it is; supersedes: the folder of the one before, or "". notes:
    what the reader must know beside it. Nothing in it depends on the clock or the machine.
    """
    rec, bundle, display = closed.recorder, outcome.bundle, outcome.bundle.case.display
    holder = Outcome(bundle, rec, Decision(closed.verdict, ""))  # what an item is printed with: units and tables
    items = [records.item_data(i, rec.place_of[i.id], holder) for i in rec.items]
    return {
        "schema": SCHEMA,
        "package": closed.package, "case": bundle.case.id, "revision": revision,
        "closeout_revision": closeout_revision,
        "package_manifest_sha256": package_manifest_sha256, "record_sha256": record_sha256,
        "about": {n: getattr(bundle.case.case, n) for n in ("title", "line", "joint")}
        | {"display": display, "paper": bundle.case.case.paper or "A4",
           "system": bundle.system.system.name if bundle.system else "",
           "design_life": bundle.case.get("design.design_life").written},
        "verdict": closed.verdict, "accepted_by": closed.accepted_by, "closed_on": closed.closed_on,
        "next_inspection": closed.next_inspection, "end_of_life": closed.end_of_life,
        "pressure_restored": records.value_data(closed.restored, display),
        "approval": approval,
        "batches": list(closed.batches),
        "nonconformances": [_nonconformance(n) for n in closed.nonconformances],
        "missing": list(closed.missing),
        "notes": notes,
        "checks": [_entered(e, display) for e in closed.entered],
        "items": items,
        "assumptions": rec.assumptions, "warnings": rec.warnings,
        "readings_file": {"name": closed.readings.name, "sha256": readings_sha256},
        "readings": [_reading(r, closed.entered) for r in closed.readings.rows],
        "supersedes": supersedes, "correction_reason": closed.correction,
    }


def _nonconformance(n: Nonconformance) -> dict[str, Any]:
    return {"number": n.number, "title": n.title, "check": n.check, "found": n.found, "wanted": n.wanted,
            "citation": n.citation, "may_be_accepted_by": n.guard, "rows": list(n.rows), "accepted_by": n.accepted_by,
            "reason": n.reason}


def _entered(e: Entered, display: str) -> dict[str, Any]:
    found, wanted = told(e.check, display)
    return {"id": e.check.id, "title": e.check.title, "found": found, "wanted": wanted, "verdict": e.check.verdict,
            "citation": e.check.citation, "status": e.check.status, "rows": list(e.rows), "note": e.check.note}


def _reading(r: Reading, entered: tuple[Entered, ...]) -> dict[str, Any]:
    """A row as read, and the checks that it stands behind."""
    return {"row": r.row, "line": r.line, "what": r.what, "where": r.where, "reading": r.text,
            "magnitude": r.base if r.given is not None else None, "unit": r.given.unit if r.given is not None else "",
            "time": r.time.isoformat() if r.time else "", "by": r.by, "instrument": r.instrument, "remark": r.remark,
            "checks": [e.check.id for e in entered if r.row in e.rows]}
