"""What the report shows of the screening: head of the ranking, places along the line, how many of what size, known
repairs, and the groups that are dug. What is counted and not shown is counted too."""

from __future__ import annotations

import csv
import json
import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from wrapcalc.campaign.cases.selection import Chosen, plain_heading, ranked_blocks
from wrapcalc.campaign.rows.strength import DISPOSITIONS
from wrapcalc.campaign.screening.screen import NEIGHBOURS
from wrapcalc.campaign.screening.screen import TOLD as SCREENED
from wrapcalc.render.figures._line_map import MARKS

#: Rows of the ranking that the report lists; places of each mark that the map draws; rows without one that it names.
LISTED, DRAWN, NAMED = 60, 2000, 60
#: Columns of the ranking that the report lists.
_SHOWN = ("rank", "feature_id", "row", "kind", "survey", "joint", "clock", "depth", "length", "relative_depth",
          "safe_pressure", "repair_factor", "disposition", "reason", "deadline", "wrap_feasible",
          "layers", "repair", "under_repair")
_DEPTHS, _FACTORS = np.linspace(0.0, 1.0, 21), np.linspace(0.0, 2.0, 21)
#: Columns of neighbours.csv that are no numbers.
_WORDS = ("what", "repair", "rows", "feature_ids", "reason", "disposition_before", "disposition_after", "disposition")
#: What is taken of screening.json, so that the report never reads another screening than its own.
_SCREENED = ("totals", "no_anomaly", "told", "assumptions")


def finite(value: Any) -> Any:
    """For JSON: a number that is not finite is nothing."""
    value = value.item() if isinstance(value, np.generic) else value
    return None if isinstance(value, float) and not math.isfinite(value) else value


def screened(folder: Path) -> dict[str, Any]:
    """Totals and assumptions of the screening in `folder`; {} where there are none."""
    try:
        told = json.loads((folder / SCREENED).read_text(encoding="utf-8"))
        return {n: told[n] for n in _SCREENED if n in told}
    except (OSError, ValueError, TypeError):
        return {}


def drawn(ranked: Path, chosen: Iterable[Chosen]) -> dict[str, Any]:
    """The head of the ranking, places along the line by what becomes of them, and how many of what size."""
    dug = {(r["row"], r["feature_id"]) for c in chosen for r in c.rows}
    head: list[dict[str, Any]] = []
    places: dict[str, list[list[float]]] = {m: [] for m in MARKS}
    depths, factors = np.zeros(20, int), np.zeros(20, int)
    count: Counter[str] = Counter()
    not_drawn, no_place, named = Counter[str](), Counter[str](), {m: list[str]() for m in MARKS}
    known: Counter[tuple[str, str]] = Counter()
    ends = [math.inf, -math.inf]
    words = dict.fromkeys(DISPOSITIONS, 0)
    for block in ranked_blocks(ranked):
        for i in range(min(len(block["row"]), LISTED - len(head))):
            head.append({n: finite(block[n][i]) for n in _SHOWN if n in block})
        share, factor = (block[n].astype(float) for n in ("relative_depth", "repair_factor"))
        depths += np.histogram(share[np.isfinite(share)], _DEPTHS)[0]
        factors += np.histogram(factor[np.isfinite(factor)], _FACTORS)[0]
        count.update({"depths_beyond": int((share > _DEPTHS[-1]).sum()), "depths_unknown": int(np.isnan(share).sum()),
                      "factors_beyond": int((factor > _FACTORS[-1]).sum()),
                      "factors_unknown": int(np.isnan(factor).sum())})
        for word, n in zip(*np.unique(block["disposition"].astype(str), return_counts=True), strict=True):
            words[str(word)] += int(n)
        count["under_repair"] += _known(block, known)
        survey, clock = block["survey"].astype(float), block["clock"].astype(float)
        seen = np.isfinite(survey) & np.isfinite(clock)
        if seen.any():
            ends = [min(ends[0], float(survey[seen].min())), max(ends[1], float(survey[seen].max()))]
        marks = _marks(block, dug)
        for k, mark in enumerate(MARKS):
            at, lost = np.flatnonzero(seen & (marks == k)), np.flatnonzero(~seen & (marks == k))
            not_drawn[mark] += max(0, len(at) - max(0, DRAWN - len(places[mark])))  # the first of the ranking are drawn
            at = at[:max(0, DRAWN - len(places[mark]))]
            places[mark] += [[x, c] for x, c in zip(survey[at].tolist(), clock[at].tolist(), strict=True)]
            no_place[mark] += len(lost)
            named[mark] += [str(block["feature_id"][i] or f"row {block['row'][i]}")
                            for i in lost[:NAMED - len(named[mark])].tolist()]
    return {"head": head, "places": places, "not_drawn": dict(not_drawn), "no_place": dict(no_place),
            "no_place_named": named, "ends": ends if ends[0] < ends[1] else None, "depths": depths.tolist(),
            "factors": factors.tolist(), **{n: count[n] for n in (
                "depths_beyond", "depths_unknown", "factors_beyond", "factors_unknown", "under_repair")},
            "known": [[*of, n] for of, n in sorted(known.items())], "dispositions": words}


def _known(block: Mapping[str, np.ndarray], known: Counter[tuple[str, str]]) -> int:
    """How many rows are marked as under repair; adds to `known` how the rows near each known repair lie to it."""
    if "under_repair" not in block:
        return 0
    under = block["under_repair"].astype(object) != ""
    if "known_repair" in block:
        near = block["known_repair"].astype(object) != ""
        known.update((str(r), f"{w}{'' if u or w != 'under repair' else ', which does not carry it'}")
                     for r, w, u in zip(block["known_repair"][near].tolist(), block["known_repair_is"][near].tolist(),
                                        under[near].tolist(), strict=True))
    else:
        known.update((str(r), "under repair") for r in block["under_repair"][under].tolist())
    return int(under.sum())


def _marks(block: Mapping[str, np.ndarray], chosen: set[tuple[Any, Any]]) -> np.ndarray:
    """Number in MARKS of each row."""
    out = np.where(np.isin(block["disposition"].astype(object), ("repair", "other repair needed")), 2, 0)
    if "under_repair" in block:
        out = np.where(block["under_repair"].astype(object) != "", 1, out)
    rows = np.flatnonzero(np.isin(block["row"], [r for r, _ in chosen]))
    for i in rows.tolist():
        if (block["row"][i].item(), block["feature_id"][i]) in chosen:
            out[i] = 3
    return out


def joined(folder: Path, chosen: Iterable[Chosen]) -> list[dict[str, Any]]:
    """The lines of neighbours.csv of the repairs that are dug, each with its case; in the order of the cases."""
    of = {str(r["repair"]): (i, c.case_id) for i, c in enumerate(chosen) for r in c.rows if r.get("repair")}
    if not of:
        return []
    found = sorted(((of[r["repair"]][0], r) for r in _lines(folder / NEIGHBOURS) if r["repair"] in of),
                   key=lambda x: x[0])
    return [{"case": of[r["repair"]][1], **r} for _, r in found]


def _lines(path: Path) -> Iterator[dict[str, Any]]:
    """Heading without its unit -> text, or a number, None where nothing stands."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            for row in csv.DictReader(file):
                plain = {plain_heading(n): v for n, v in row.items()}
                yield {n: v if n in _WORDS else finite(float(v)) if v else None for n, v in plain.items()}
    except FileNotFoundError:
        return
