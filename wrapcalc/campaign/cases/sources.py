"""What a campaign is made from: the screening of its listing, and the cases of the rows that are dug."""

from __future__ import annotations

import datetime
import hashlib
import tempfile
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from wrapcalc.campaign.cases.selection import Chosen
from wrapcalc.campaign.ledger import inputs
from wrapcalc.campaign.line.windows import reach_of
from wrapcalc.campaign.measured.measured import Measured, MeasuredRow, Replaced, merged, over_row, with_less_room
from wrapcalc.campaign.measured.rows import as_measured, reaching
from wrapcalc.campaign.model import Plan
from wrapcalc.campaign.neighbours.joined import joined
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.package.digests import MANIFEST
from wrapcalc.reading import line_numbers, shown_name
from wrapcalc.units import shown


def made_from(plan: Plan) -> dict[str, str]:
    """SHA-256 of all that decides the screening: listing, mapping, base case with the files it names, known repairs,
    and what is worked out."""
    s = plan.sheet.screening
    out = {"listing": _file_digest(plan.listing), "mapping": _file_digest(plan.mapping),
           "screening": f"life {s.life or 'no'}, chance {s.chance or 'no'}"}
    base = base_case(plan.mapping)
    if base is not None and base.is_file():
        for name, raw in sorted(inputs(base)[1].items()):
            out[f"base/{name}"] = hashlib.sha256(raw).hexdigest()
    if plan.known_repairs is not None:
        h = hashlib.sha256()
        for path in sorted(plan.known_repairs.rglob(MANIFEST)):
            h.update(path.relative_to(plan.known_repairs).as_posix().encode() + b"\0"
                     + hashlib.sha256(path.read_bytes()).digest())
        out["known repairs"] = h.hexdigest()
    return out


def _file_digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def base_case(mapping: Path) -> Path | None:
    """The base case that a mapping names; None when it cannot be read, which the screening tells."""
    try:
        name = tomllib.loads(mapping.read_text(encoding="utf-8-sig"))["line"]["base"]
        return mapping.parent / name
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None


def run_date(plan: Plan) -> str:
    """Day of the run by the mapping, "" when it is not stated or cannot be read, which the screening tells."""
    try:
        found = str(tomllib.loads(plan.mapping.read_text(encoding="utf-8-sig"))["listing"]["run_date"])
        return datetime.date.fromisoformat(found).isoformat()
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return ""


def refuse_days(plan: Plan) -> None:
    """Raises CaseFaults for a discovery or a start of the digs before the day of the run."""
    run, lines = run_date(plan), line_numbers(plan.raw)
    stated = {"campaign.discovery_date": plan.sheet.campaign.discovery_date, "dig.start": plan.sheet.dig.start}
    faults = [Fault(shown_name(plan.path), field, shown(str(day)), f"the day of the run, {run}, or later",
                    "correct this date, or run_date in the mapping", lines.get(field))
              for field, day in stated.items() if day and run and str(day) < run]
    if faults:
        raise CaseFaults(faults)


def screen(plan: Plan, folder: Path) -> None:
    """Screen the listing into a new folder: ranked.parquet and what stands beside it."""
    from wrapcalc.campaign.screening import screen as screening
    s = plan.sheet.screening
    screening.screen(plan.listing, plan.mapping, folder, life=s.life == "yes", chance=s.chance == "yes",
                     register=plan.known_repairs)


class Cases:
    """Makes the case files of the repairs that are chosen: what the listing says, and over it what was measured."""

    def __init__(self, plan: Plan, measured: Measured, allowed: Plan | None = None):
        """allowed: the campaign with the bias of the run in its base case, for rows whose depth was not measured."""
        from wrapcalc.campaign.line.line import load_line
        from wrapcalc.campaign.listing.mapping import load_mapping
        self.plan, self.measured = plan, measured
        self.line = load_line(load_mapping(plan.mapping), plan.mapping.parent)
        self.listed = self.line if allowed is None else load_line(load_mapping(allowed.mapping), allowed.mapping.parent)
        self._used: set[str] = set()
        self._told: list[str] = []

    def as_measured(self, blocks: Iterable[Mapping[str, np.ndarray]]) -> dict[int, dict[str, Any]]:
        """What is judged of the ranked rows that were measured, by row number; see `measured_rows.as_measured`."""
        return as_measured(blocks, self.measured, self.line)

    def reaching(self, blocks: Iterable[Mapping[str, np.ndarray]]) -> list[str]:
        """Features found longer than listed that come near another; see `measured_rows.reaching`."""
        from wrapcalc.campaign.screening.repairs import convention
        case, walls = self.line.case, self.line.walls[np.isfinite(self.line.walls)]
        given = case.get("pipe.outside_diameter")
        diameter = 0.0 if given is None else given.base
        return reaching(blocks, self.measured, reach_of(convention(self.line), diameter, float(walls.max(initial=0.0))))

    def files(self, chosen: Chosen) -> tuple[dict[str, bytes], list[tuple[str, Replaced]]]:
        """Name -> bytes of a case and of the files it names; and which fields of which feature were measured.

        Raises CaseFaults when the rows do not make a case.
        """
        from wrapcalc.campaign.cases.row_case import row_case, write_case
        files: dict[str, bytes] = {}
        one = len(chosen.rows) == 1
        row, replaced = (dict(chosen.lead), []) if one else self._joined(chosen, files)
        line = self.line if all(self._depth_measured(r) for r in chosen.rows) else self.listed
        measured = self._measured(chosen.lead) if one else None
        grid = None if measured is None else self.measured.grid(measured)
        if measured is not None:
            row = with_less_room(row, measured)
        data = row_case(line, row, chosen.case_id, _title(chosen), pits=bool(files) or grid is not None)
        for name in files:
            data["defect"]["pits"] = name
        if measured is not None:
            data, kept = merged(data, measured, self.measured.name)
            replaced = [(measured.feature_id, r) for r in kept]
        if grid is not None:
            files[grid.name] = grid.read_bytes()
        c = self.plan.sheet.campaign
        for key, value in (("prepared_by", c.prepared_by), ("display", c.display), ("paper", c.paper)):
            if value is not None:
                data["case"][key] = str(value)
        with tempfile.TemporaryDirectory(prefix="wrapcalc-") as scratch:
            write_case(Path(scratch), line, data)
            files |= {p.name: p.read_bytes() for p in sorted(Path(scratch).iterdir())}
        return files, replaced

    def _joined(self, chosen: Chosen, files: dict[str, bytes]) -> tuple[dict[str, Any], list[tuple[str, Replaced]]]:
        """The rows of one repair as one, each with what was measured at it; its table of pits goes to `files`."""
        from wrapcalc.campaign.screening.repairs import convention
        rows, replaced = [], []
        for row in chosen.rows:
            measured = self._measured(row)
            if measured is not None:
                row, kept = over_row(row, measured, self.measured.name)
                replaced += [(measured.feature_id, r) for r in kept]
                if "grid" in measured.texts:
                    self._told.append(f"{measured.feature_id}: its depth grid is not in the case of {chosen.case_id}, "
                                      "which holds several anomalies; measure them on one grid to use it")
            rows.append(row)
        at, wall = (np.array([rows[0][k]], dtype=float) for k in ("survey", "nominal_wall"))
        diameter = self.line.bundle(int(self.line.group_of(at, wall)[0])).case.pipe.outside_diameter
        whole = joined(rows, diameter.base, convention(self.line).place)
        if whole.pits is not None:
            files[f"{chosen.case_id}-pits.csv"] = whole.pits
        self._told.append(whole.note)
        return whole.row, replaced

    def _depth_measured(self, row: Mapping[str, Any]) -> bool:
        found = self.measured.of(row)
        return found is not None and "depth" in found.sizes

    def _measured(self, row: Mapping[str, Any]) -> MeasuredRow | None:
        found = self.measured.of(row)
        if found is not None:
            self._used.add(found.feature_id)
        return found

    def told(self) -> list[str]:
        """What was joined, and measurements that went into no case."""
        spare = [i for i in self.measured.rows if i not in self._used]
        if not spare:
            return self._told
        return [*self._told, f"{len(spare)} of {len(self.measured.rows)} measured features are in no case, because "
                f"they are not dug: {', '.join(spare[:20])}" + (" and more" if len(spare) > 20 else "")]


def _title(chosen: Chosen) -> str:
    ids = [str(r["feature_id"]) for r in chosen.rows]
    return f"{chosen.lead['kind']} {ids[0]}" + (f", one repair with {', '.join(ids[1:])}" if ids[1:] else "")
