"""A line, rows of it, and the same rows as single cases run by the whole job: what a screening is held equal to."""

from __future__ import annotations

import copy
import math
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import tomlkit

from wrapcalc.campaign.rows import reasons
from wrapcalc.campaign.rows.strength import METHODS
from wrapcalc.case import Bundle, load_bundle
from wrapcalc.stages import job
from wrapcalc.stages.job import Outcome
from wrapcalc.standards import criteria as rules

LINE: dict[str, dict[str, Any]] = {
    "case": {"id": "T-1", "title": "row of a listing", "line": "test line", "joint": "joint 1"},
    "pipe": {"outside_diameter": "406.4 mm", "nominal_wall": "8.74 mm", "wall_allowance": "0.1 mm", "grade": "L360",
             "smys": "360 MPa", "smts": "460 MPa", "joint_type": "electric resistance welded"},
    "service": {"service": "gas line", "class_location": "2", "maop": "8.6 MPa", "discovery_pressure": "8.1 MPa",
                "service_temperature": "37 °C", "pressure_cycles": 900, "axial_force": "0 N",
                "bending_moment": "0 N*m", "internal_corrosion": "none", "inside_repair": "nothing"},
    "defect": {"depth_allowance": "0.2 mm", "length_allowance": "10 mm"},
}
PLANT: dict[str, Any] = {
    "service__service": "plant piping", "service__class_location": None, "service__allowable_stress": "138 MPa",
    "service__allowable_stress_basis": "test", "service__quality_factor": 1.0, "service__weld_strength_factor": 1.0,
    "service__wall_coefficient": 0.4, "assessment__discontinuity": "2 m", "assessment__corrosion_allowance": "0.5 mm",
    "service__maop": "5 MPa", "service__discovery_pressure": "5 MPa"}
LIQUID: dict[str, Any] = {"service__service": "liquid line", "service__class_location": None}
KINDS = ("external metal loss", "internal metal loss")
#: A row as a screening takes it, mm and hours.
Row = dict[str, float]

#: Reason code -> words of the decision of the single case.
SAID = {
    reasons.FIT: "No repair needed for strength", reasons.FIT_UPSET: "No repair needed for strength",
    reasons.LOWERED: "Reduce pressure and monitor", reasons.LOWERED_UPSET: "Reduce pressure and monitor",
    reasons.BELOW: ") is below the MAOP", reasons.AXIAL: "the axial stress of the damaged section is too high",
    reasons.COMPONENT: "the strength of the damaged", reasons.SOON: "too short to wait",
    reasons.TOO_DEEP: "of the wall, above the limit",
    reasons.NO_METHOD: "no form of remaining strength that may govern",
    reasons.OVER_CODE: "above the code design pressure", reasons.THIN: "of the nominal wall: general loss",
    reasons.SEAM: "Insufficient data: the joint factor is", reasons.NOT_COVERED: "Insufficient data: ",
    reasons.NOT_KNOWN_LINE: "needed for a decision"}


def written(fields: dict[str, Any], row: Row | None = None, criteria: str = "") -> Bundle:
    """The line with these fields changed (None leaves one out), as a template, or as the single case of one row.

    criteria: text of the company's criteria file, "" for none.
    """
    data = copy.deepcopy(LINE)
    if row is not None:
        fields = fields | {"defect__kind": KINDS[int(row["internal"])], "pipe__sound_wall": _mm(row["sound_wall"])} | {
            f"defect__{n}": _mm(row[n]) for n in ("depth", "length", "width")} | {"defect__clock": _clock(row["clock"])}
    if criteria:
        fields = fields | {"disposition__criteria": "criteria.toml"}
    for name, value in fields.items():
        table, _, key = name.partition("__")
        holder = data.setdefault(table, {})
        holder.pop(key, None)
        if value is not None:
            holder[key] = value
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "criteria.toml").write_text(criteria, "utf-8")
        path = Path(folder) / "case.toml"
        path.write_text(tomlkit.dumps({"schema_version": "1"} | data), "utf-8")
        return load_bundle(path)


def _mm(x: float) -> str | None:
    return None if math.isnan(x) else f"{float(x)!r} mm"


def _clock(hours: float) -> str | None:
    return None if math.isnan(hours) else f"{int(hours) or 12}:{int(hours % 1 * 60):02d}"


def arrays(rows: list[Row]) -> dict[str, np.ndarray]:
    """Rows as a screening takes them."""
    return {n: np.array([r[n] for r in rows], np.uint8 if n == "internal" else float) for n in rows[0]}


def expected(out: Outcome) -> dict[str, Any]:
    """What a screening must say of this case, by its columns; the reason apart."""
    a = out.assessment
    number: dict[str, Any] = dict.fromkeys((
        "wall", "depth_used", "length_used", "relative_depth", "safe_pressure", "failure_pressure", "repair_factor",
        "failure original 2012", "failure 0.85dL", "failure DNV single", *(f"safe {m}" for m in METHODS[1:]),
        "growth_rate", "remaining_life", "next_look", "probability", "probability_of_depth"), math.nan)
    number |= {"governing": "", "axial": 0, "criterion": None, "exclusion": None, "deadline_days": math.inf,
               "criteria_open": 0, "disposition": _word(out)}

    def put(name: str, value: Any) -> None:
        if value is not None:
            number[name] = value.magnitude

    if a is not None:
        for name, value in (("wall", a.wall), ("depth_used", a.depth), ("length_used", a.length),
                            ("relative_depth", a.relative_depth), ("safe_pressure", a.governing),
                            ("failure_pressure", a.failure), ("repair_factor", a.repair_factor)):
            put(name, value)
        for form in a.forms:
            if form.key in METHODS:
                put(f"safe {form.key}", form.safe)
                put(f"failure {form.key}", form.failure)
        number["governing"] = a.governing_key
        number["axial"] = 0 if a.axial_check is None else 1 if a.axial_check.met else 2
    if out.disposition is not None and a is not None:
        d = out.disposition
        if d.leading is not None:
            c = d.leading.criterion
            number["criterion"] = (c.citation, c.text)
            number["deadline_days"] = math.inf if c.deadline.days is None else c.deadline.days
        number["exclusion"] = d.excluded[0] if d.excluded else None
        number["criteria_open"] = sum(f.verdict == rules.NO_DATA for r in d.lists for f in r.findings)
    if out.life is not None:
        for name, value in (("growth_rate", out.life.rate), ("remaining_life", out.life.life),
                            ("next_look", out.life.interval)):
            put(name, value)
    if out.chance is not None:
        put("probability", out.chance.by_pressure)
        put("probability_of_depth", out.chance.by_depth)
    return number


def _word(out: Outcome) -> str:
    """The word of the screening: what leads to the design of a wrap is "repair"."""
    tried = out.assessment is not None and (out.design is not None or bool(out.missing))
    return "repair" if tried else out.decision.word


def run(fields: dict[str, Any], row: Row, criteria: str = "") -> Outcome:
    """The whole job for the single case of one row."""
    return job.run(written(fields, row, criteria))


def says(out: Outcome, reason: int) -> bool:
    """Whether the decision of the single case gives this reason."""
    sentence = out.decision.sentence
    if reason == reasons.CRITERION:
        return out.disposition is not None and bool(out.disposition.sentence) and out.disposition.sentence in sentence
    if reason in (reasons.RULED_OUT, reasons.END_OF_LIFE):
        d = out.disposition
        assert d is not None
        why = d.excluded_now if reason == reasons.RULED_OUT else d.excluded
        return bool(why) and f"Other repair needed: {why[0]}." in sentence
    upset = any("The declared upset pressure" in w["text"] for w in out.recorder.warnings)
    if reason in (reasons.FIT, reasons.LOWERED, reasons.FIT_UPSET, reasons.LOWERED_UPSET) and upset != (
            reason in (reasons.FIT_UPSET, reasons.LOWERED_UPSET)):
        return False
    return SAID[reason] in sentence
