"""What is said of rows at known repairs: those that are left since a wrap carries them, and those that are dug all the
same."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from wrapcalc import units
from wrapcalc.campaign.screening.known import AHEAD, DEPTH_NOT_KNOWN, DEPTHS

#: A row under a known repair that is not simply as its design plans it: in words of the ranked table.
_OFF_PLAN = {DEPTHS[AHEAD]: "ahead of the plan of its design",
             DEPTHS[DEPTH_NOT_KNOWN]: "not known to be as its design plans"}
#: So many features are named in one line.
NAMED = 20


def off_plan(block: Mapping[str, np.ndarray]) -> np.ndarray:
    """Rows under a known repair of which nobody may say that all is as planned."""
    if "depth_against_design" not in block or "under_repair" not in block:
        return np.zeros(len(block["feature_id"]), dtype=bool)
    return np.isin(block["depth_against_design"].astype(object), list(_OFF_PLAN)) & (
        block["under_repair"].astype(object) != "")


def under(row: Mapping[str, Any], display: str) -> str:
    """Why a row under a known repair is left, with its depth where that is not as planned."""
    words = _OFF_PLAN.get(str(row.get("depth_against_design") or ""))
    out = f"under repair {row['under_repair']}"
    if words is None:
        return out
    depths = [f"{what} {units.show(row[name], 'mm', system=display)}" for what, name in (
        ("listed without allowance", "depth"), ("planned by now with allowance", "planned_depth"),
        ("carried by the design", "carried_depth"))
        if np.isfinite(row.get(name, np.nan))]
    return f"{out}, but {words}" + (f" ({', '.join(depths)})" if depths else "")


def told_off_plan(rows: Iterable[Mapping[str, Any]]) -> list[str]:
    """One line for each repair under which rows are not as planned."""
    found: dict[tuple[str, str], list[str]] = {}
    for row in rows:
        words = _OFF_PLAN.get(str(row.get("depth_against_design") or ""))
        if words is not None and row.get("under_repair"):
            found.setdefault((str(row["under_repair"]), words), []).append(str(row["feature_id"]))
    return [f"{len(ids)} row{'' if len(ids) == 1 else 's'} under repair {repair} {'is' if len(ids) == 1 else 'are'} "
            f"{words}: {', '.join(ids[:NAMED])}{' and more' if len(ids) > NAMED else ''}. Not dug: the wrap stands "
            "over it, but its life is in question; the engineer decides on a look or a new design"
            for (repair, words), ids in found.items()]


def at_known(dug: Iterable[Mapping[str, Any]]) -> list[str]:
    """One line for each known repair at which something is dug: a wrap may lie there, unknown to the case."""
    found: dict[tuple[str, str], list[str]] = {}
    for row in dug:
        if row.get("known_repair") and not row.get("under_repair"):
            what = [str(row.get(n) or "") for n in ("known_repair_is", "depth_against_design")]
            found.setdefault((str(row["known_repair"]), ", ".join(w for w in what if w)), []).append(
                str(row["feature_id"]))
    return [f"{', '.join(ids[:NAMED])}{' and more' if len(ids) > NAMED else ''} at the known repair {repair} ({what}): "
            "a wrap may lie on the pipe there, of which the case knows nothing; look before anybody digs"
            for (repair, what), ids in found.items()]
