"""Small sealed packages with those parts of a record that the order, the dig list and the season read."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from wrapcalc.campaign.model import Campaign
from wrapcalc.package import digests


def value(magnitude: float, unit: str = "", ref: str = "A1") -> dict[str, Any]:
    return {"magnitude": magnitude, "unit": unit, "shown": f"{magnitude} {unit}", "name": "n",
            "origin": {"kind": "step", "ref": ref}}


def line(item: str, kind: str, mass: float, pack: float, packs: int, ref: str) -> tuple[dict, dict]:
    """(line of the order, line of the materials) of something in packs."""
    return ({"item": item, "quantity": value(mass, "kg", ref), "packs": value(packs, "", ref + "p"),
             "pack": value(pack, "kg", "sheet/pack")}, {"item": item, "kind": kind, "pieces": packs})


def laid(item: str, kind: str, quantity: float, unit: str, pieces: int, ref: str) -> tuple[dict, dict]:
    """(line of the order, line of the materials) of units or cloth."""
    return ({"item": item, "quantity": value(quantity, unit, ref), "packs": None, "pack": None},
            {"item": item, "kind": kind, "pieces": pieces})


def wrap(*, units: tuple[tuple[float, int], ...] = ((260.0, 2),), adhesive: float = 3.1, packs: int = 2,
         pack: float = 2.0, more: tuple[tuple[dict, dict], ...] = (), cure: float | None = 30.0, abrasive: float = 40.0,
         consumables: tuple[tuple[str, int], ...] = (("rollers", 6),), layers: int = 8, tiers: int = 1,
         cloth: tuple[dict, dict] | None = None, weather: dict | None = None,
         hardener: tuple[float | None, float | None] | None = None, batches: int = 2) -> dict[str, Any]:
    """Parts of a record with a wrap. units: (width in mm, count); hardener: kg in a batch, coldest and hottest plan."""
    lines = [laid(f"Sleeve {t}, {w:g} mm wide, {layers} layers, for outside diameter x", "unit", n, "", n, f"D{t}{w:g}")
             for t in range(1, tiers + 1) for w, n in sorted(units, reverse=True)]
    lines = [cloth] if cloth else lines
    lines += [line("Adhesive", "adhesive", adhesive, pack, packs, "T3"), *more]
    marks = [{"number": i, "tier": t, "width": value(w, "mm")} for t in range(1, tiers + 1)
             for i, w in enumerate([w for w, n in units for _ in range(n)], 1)]
    ends = [None if h is None else {"hardener": value(h, "kg", f"I{i}")} for i, h in enumerate(hardener or ())]
    mixing = [{"material": "adhesive", "batches": value(batches, "", "I9"), "low": ends[0], "high": ends[1]}] if ends \
        else []
    of_wrap = {"marks": {"repairs": [{"units": marks}]}, "mixing": mixing, "weather": weather or {"strip": None},
               "materials": {"items": [i for _, i in lines], "abrasive": value(abrasive, "kg", "I5"),
                             "consumables": [{"item": n, "count": c, "why": ""} for n, c in consumables]},
               "cure": None if cure is None else {"time": value(cure, "hour", "sheet/cure")}}
    return {"order": [o for o, _ in lines], "wrap": of_wrap}


def package(root: Path, case: str = "HB-07", revision: int = 1, *, decision: str = "wrap", parts: dict | None = None,
            diameter: float = 406.4, spoil: float | None = 0.03, section: str = "valve 2 to 3", line_text: str = "line",
            beside: float | None = 2.0, interim: float | None = 6.48, factor: float | None = 1.2, hca: str = "no",
            of_class: str = "2", due: str = "", rule: tuple[str, str] = ("", ""), volume: float | None = 50.0,
            struck: str = "", survey: float | None = None, display: str = "SI", system: str = "example-sleeve",
            sheet: str = "sheet 1", cure_table: str = "36 h, 20 h", items: tuple[dict, ...] = (),
            life: dict | None = None, inputs: dict[str, Any] | None = None, schema: int = 1) -> Path:
    """Write one package. rule: (class, citation) of the criterion that leads; volume: of the trench, m³."""
    folder = root / f"{case}-r{revision}"
    folder.mkdir(parents=True)
    parts = wrap() if parts is None and decision == "wrap" else parts
    stated: dict[str, Any] = {"pipe.outside_diameter": (f"{diameter} mm", diameter, "mm"),
                              "service.high_consequence_area": hca, "service.class_location": of_class,
                              "location.section": section, "location.due": due, **(inputs or {})}
    if spoil is not None:
        stated["takeoff.spoil_share"] = (f"{100 * spoil:g} %", spoil, "")
    rows = [{"field": f, "answered": True, "written": g[0] if isinstance(g, tuple) else g,
             "magnitude": g[1] if isinstance(g, tuple) else None, "unit": g[2] if isinstance(g, tuple) else ""}
            for f, g in stated.items() if g]
    trench = [] if volume is None else [{"label": "Volume in the ground", "value": value(volume, "m**3", "E21"),
                                         "shown": "", "note": "", "struck": struck}]
    where = [] if survey is None else [{"label": "By survey, rescaled", "value": value(survey, "m", "E31")}]
    finding = {"class": rule[0], "citation": rule[1], "verdict": "fires", "leads": True}
    record = {
        "schema": schema, "case": {"id": case, "title": "t", "line": line_text, "joint": "joint 118",
                                   "display": display},
        "decision": {"word": decision, "interim_limit": None if interim is None else value(interim, "MPa"),
                     "beside": None if beside is None else value(beside, "MPa")},
        "headline": [] if factor is None else [{"label": "Repair factor, MAOP over governing safe pressure",
                                                "value": value(factor)}],
        "inputs": rows, "life": life, "disposition": {"lists": [{"findings": [finding] if rule[0] else []}]},
        "items": [{"type": "procedure", "id": "I101", "title": "Consumables"}, *items],
        "system": {"id": system, "sheet": sheet, "rows": [{"field": "cure_table.times", "shown": cure_table}]},
        "order": (parts or {}).get("order", []),
        "site": {"dig": {"where": where, "trench": trench, "cautions": []}, "wrap": (parts or {}).get("wrap")}}
    (folder / "record.json").write_text(json.dumps(record), encoding="utf-8")
    (folder / "run.json").write_text(json.dumps({"finished_utc": "2026-05-01T10:00:00Z"}), encoding="utf-8")
    digests.write_manifest(folder, {"case": case, "revision": revision, "decision": decision,
                                    "record_sha256": "0" * 64})
    return folder


def changed(folder: Path, change: Callable[[dict[str, Any]], Any]) -> Path:
    """The package with another record, sealed again."""
    record = json.loads((folder / "record.json").read_bytes())
    manifest = digests.read_manifest(folder)
    change(record)
    (folder / "record.json").write_text(json.dumps(record), encoding="utf-8")
    for name in (digests.MANIFEST, digests.SEAL):
        (folder / name).unlink()
    digests.write_manifest(folder, {k: manifest[k] for k in ("case", "revision", "decision", "record_sha256")})
    return folder


def approve(package: Path, on: str = "2026-05-03") -> None:
    """Approve a package, as far as the register reads it."""
    folder = package.parent / "approval" / package.name
    folder.mkdir(parents=True)
    digests.write_manifest(folder, {"kind": "approval", "package": package.name, "approver": "C", "approved_on": on,
                                    "package_manifest_sha256": _digest(package)})


def close(package: Path, verdict: str = "accepted", *, number: int = 1, on: str = "2026-09-01") -> None:
    """Close a package out, as far as the register reads it."""
    folder = package.parent / "closeout" / f"{package.name}-{number}"
    folder.mkdir(parents=True)
    data = {"schema": 1, "package": package.name, "closeout_revision": number, "verdict": verdict, "closed_on": on,
            "package_manifest_sha256": _digest(package), "accepted_by": "D", "next_inspection": "2027-09-01",
            "end_of_life": "2046-09-01", "batches": [], "nonconformances": [], "pressure_restored": None, "items": []}
    (folder / "closeout.json").write_text(json.dumps(data), encoding="utf-8")
    digests.write_manifest(folder, {"kind": "close-out", "package": package.name})


def _digest(package: Path) -> str:
    return digests.sha256((package / digests.MANIFEST).read_bytes())


def settings(*, discovery: str = "2026-06-30", display: str = "SI", **dig: Any) -> Campaign:
    """A campaign; dig: fields of [dig], all of them stated unless None."""
    usual = {"start": "2026-08-03", "crews": 1, "hours_per_day": "10 h", "hours_dig_per_m3": "0.4 h",
             "hours_per_unit": "0.5 h", "hours_fixed": "16 h", "working_days": ["Mon", "Tue", "Wed", "Thu", "Fri"]}
    of_dig = {k: v for k, v in (usual | dig).items() if v is not None}
    about = {"name": "n", "listing": "l.csv", "mapping": "m.toml", "discovery_date": discovery, "display": display}
    return Campaign(schema_version="1", campaign=about, dig=of_dig)
