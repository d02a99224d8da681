"""What was measured in the ditch, row by row of the ranking: which row each measurement is of, and how it is judged.

A measurement goes before the listing only where it is plain which row it is of and that it is no older than the run:
anything else is a fault, because the wrong depth at the wrong place, or of another year, may let a defect stay. The
selection looks at both readings, and what either of them asks for is done. Lengths in mm, clocks in hours.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from wrapcalc.campaign.measured.measured import Measured, MeasuredRow, over_row
from wrapcalc.campaign.rows.judging import Judge
from wrapcalc.campaign.rows.strength import DISPOSITIONS
from wrapcalc.campaign.screening.dates import today
from wrapcalc.case.csv_table import counted
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.fields import clock_hours
from wrapcalc.units import close, shown

if TYPE_CHECKING:
    from wrapcalc.campaign.line.line import Line

#: Columns of the ranking that a measurement changes for the selection.
_JUDGED = ("safe_pressure", "repair_factor", "deadline_days", "depth_used", "wall")
#: Within how much a place that the ditch states is that of a listed row: mm of distance from the girth weld beside the
#: length of the anomaly, hours of the clock (our own judgement).
_FROM_WELD, _CLOCK = 500.0, 1.0
_PLACE = ("row", "joint", "upstream_weld", "from_upstream_weld", "clock", "length")
_SIZES = ("depth", "length", "width", "clock", "sound_wall", "clear_upstream", "clear_downstream")


def matched(blocks: Iterable[Mapping[str, np.ndarray]], measured: Measured, run_date: str = "") -> Measured:
    """The measurements with the ranked row that each is of, in `at` by feature id.

    blocks: ranked rows. run_date: ISO day of the run, "" when it is not stated. Raises CaseFaults for an id that no
    row has or that several have without a place that tells them apart, for a place that is not that of the row, and
    for a measurement older than the run, or yet to come.
    """
    if not measured.rows:
        return measured
    wanted, found = list(measured.rows), {i: [] for i in measured.rows}
    ids: set[str] = set()
    for block in blocks:
        names = block["feature_id"].astype(object)
        ids.update(names.tolist())
        for i in np.flatnonzero(np.isin(names, wanted)).tolist():
            found[str(names[i])].append({n: block[n][i] for n in _PLACE if n in block})
    faults, at = [], {}
    for name, row in measured.rows.items():
        faults += _too_old(measured.name, row, run_date)
        fits = [r for r in found[name] if not _apart(row, r)]
        if len(fits) == 1:
            at[name] = int(fits[0]["row"])
        else:
            faults.append(_unplaced(measured.name, row, found[name], fits, ids))
    if faults:
        raise CaseFaults(counted(faults, measured.name))
    return replace(measured, at=at)


def _too_old(name: str, row: MeasuredRow, run_date: str) -> Iterator[Fault]:
    day = row.texts.get("measured on", "")
    if day and datetime.date.fromisoformat(day) > today():
        yield Fault(name, f"row {row.line}, measured on", shown(day), f"a day that is over; today is {today()}",
                    "correct the date", row.line)
    if day and run_date and datetime.date.fromisoformat(day) < datetime.date.fromisoformat(run_date):
        yield Fault(name, f"row {row.line}, measured on", shown(day), f"the day of the run, {run_date}, or later: an "
                    "older measurement does not stand against a newer run", "correct the date, or remove the row",
                    row.line)


def _apart(row: MeasuredRow, ranked: Mapping[str, Any]) -> str:
    """How the place that a measurement states differs from that of a ranked row, "" where it does not; what either
    does not state does not differ."""
    for column, key in (("joint", "joint"), ("girth weld", "upstream_weld")):
        stated, listed = row.texts.get(column, ""), str(ranked.get(key) or "")
        if stated and listed and stated != listed:
            return f"{column} {shown(stated)}, and the row has {shown(listed)}"
    far, from_weld = row.sizes.get("from girth weld"), _plain(ranked.get("from_upstream_weld"))
    length = _plain(ranked.get("length"))
    reach = _FROM_WELD + (0.0 if math.isnan(length) else length)
    if far is not None and not math.isnan(from_weld) and abs(far - from_weld) > reach:
        return f"{far:.6g} mm from the girth weld, and the row lies {from_weld:.6g} mm from it"
    clock = _plain(ranked.get("clock"))
    if "clock" in row.texts and not math.isnan(clock):
        ahead = (clock_hours(row.texts["clock"]) - clock) % 12
        if min(ahead, 12 - ahead) > _CLOCK:
            return f"clock {row.texts['clock']}, and the row has {clock:.3g} h"
    return ""


def _plain(x: Any) -> float:
    return math.nan if x is None else float(x)


def _unplaced(name: str, row: MeasuredRow, all_: list[dict[str, Any]], fits: list[dict[str, Any]], ids: set[str]
              ) -> Fault:
    field = f"row {row.line}, feature_id"
    if not all_:
        near = close(row.feature_id, sorted(ids))
        return Fault(name, field, f"{shown(row.feature_id)}, which no ranked row has", "the id of a ranked row, as the "
                     "listing writes it (a row with a fault stands in screening/faults.csv)",
                     f"did you mean '{near}'?" if near else "correct it; a feature that the listing does not have is a "
                     "case of its own: remove it here and use `wrapcalc new`", row.line)
    rows = ", ".join(str(r["row"]) for r in all_[:5])
    if fits:
        return Fault(name, field, f"{shown(row.feature_id)}, which {len(fits)} ranked rows have (rows {rows})", "an id "
                     "that one row has, or a place that tells the rows apart",
                     "add joint, from girth weld or clock to the measurement", row.line)
    return Fault(name, field, f"{shown(row.feature_id)} at {_apart(row, all_[0])} (row {rows})",
                 "the place of that row in the listing", "see which feature was measured: correct the id or the place",
                 row.line)


def reaching(blocks: Iterable[Mapping[str, np.ndarray]], measured: Measured, reach: float) -> list[str]:
    """What must be known of features that were found longer than listed and now come near another anomaly.

    reach: mm from an edge within which two may act as one. What was listed decides which rows are one repair: such a
    pair is judged by itself until somebody measures both as one.
    """
    numbers = {row: measured.rows[i].sizes["length"] for i, row in measured.at.items()
               if "length" in measured.rows[i].sizes}
    if not numbers:
        return []
    names = ("row", "feature_id", "survey", "length", "repair")
    known = {n: np.concatenate(parts) for n, parts in zip(names, zip(*(
        [b[n] for n in names] for b in blocks), strict=True), strict=True)}
    out = []
    longest = float(np.fmax.reduce(known["length"], initial=0.0))
    order = np.argsort(known["survey"], kind="stable")
    survey = known["survey"][order]
    for i in np.flatnonzero(np.isin(known["row"], list(numbers))).tolist():
        new, old = numbers[int(known["row"][i])], float(known["length"][i])
        if not new > old:
            continue
        # Of which edge the place is, and on which side it grew, is not known: both sides are looked at.
        low, high = known["survey"][i] - new - reach, known["survey"][i] + new + reach
        a, b = np.searchsorted(survey, (low - longest, high + longest))
        at = order[a:b]
        at = at[(at != i) & (known["survey"][at] + known["length"][at] >= low)
                & (known["survey"][at] - known["length"][at] <= high)]
        mine = str(known["repair"][i])
        others = [str(known["feature_id"][k]) for k in at.tolist() if not mine or str(known["repair"][k]) != mine]
        if others:
            out.append(f"{known['feature_id'][i]} was found {new:.6g} mm long instead of {old:.6g} mm and may act as "
                       f"one with {', '.join(others[:5])}{' and more' * (len(others) > 5)}: each is judged by itself, "
                       "measure them on one grid, or state the neighbour in its case")
    return out


# -- judged as measured -------------------------------------------------------------------------------------------
def as_measured(blocks: Iterable[Mapping[str, np.ndarray]], measured: Measured, line: Line
                ) -> dict[int, dict[str, Any]]:
    """Number of a ranked row -> what is judged of it with what was measured, for the columns that a selection asks.

    line: with the allowances of the base case, which hold where the measurement states none: the safer reading.
    "worse": a member of a repair of several rows that was found deeper, longer or with less wall than listed.
    """
    numbers = {row: measured.rows[i] for i, row in measured.at.items()}
    rows: list[dict[str, Any]] = []
    kept: list[dict[str, Any]] = []
    for block in blocks if numbers else ():
        for i in np.flatnonzero(np.isin(block["row"], list(numbers))).tolist():
            row = {n: v[i].item() if isinstance(v[i], np.generic) else v[i] for n, v in block.items()}
            new, _ = over_row(row, numbers[row["row"]], measured.name)
            rows.append(new)
            kept.append(row)
    if not rows:
        return {}
    judge = Judge(line, life=False, chance=False)
    arrays = {n: np.array([r.get(n, np.nan) for r in rows], float) for n in _SIZES}
    arrays["kind"] = np.array([r["kind"] for r in rows], object)
    place, wall = (np.array([r[n] for r in rows], float) for n in ("survey", "nominal_wall"))
    answers = judge(arrays, line.group_of(place, wall))
    out: dict[int, dict[str, Any]] = {}
    for k, (new, row) in enumerate(zip(rows, kept, strict=True)):
        found: dict[str, Any] = {n: float(answers[n][k]) for n in _JUDGED if n in answers}
        found["disposition"] = DISPOSITIONS[int(answers["disposition"][k])]
        found["worse"] = bool(row.get("repair")) and _worse(new, row)
        out[int(row["row"])] = found
    return out


def _worse(new: Mapping[str, Any], row: Mapping[str, Any]) -> bool:
    return new["depth"] > row["depth"] or new["length"] > row["length"] or (
        not math.isnan(row.get("sound_wall", math.nan)) and new["sound_wall"] < row["sound_wall"])
