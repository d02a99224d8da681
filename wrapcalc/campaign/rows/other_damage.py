"""Dents, gouges and cracks of a listing: no strength method here, but the repair criteria speak as in a single case.

What a listing does not state of them (stress risers, welds, strain) is not stated to the criteria either: they are
open, never taken as passed. Where its boxes show other damage over metal loss, that is stated.
"""

from __future__ import annotations

import copy
from dataclasses import replace
from typing import Any

import numpy as np

from wrapcalc.campaign.rows.criteria_rows import RowFacts, Ruling
from wrapcalc.campaign.rows.reasons import CRITERION, REASONS, RULED_OUT
from wrapcalc.campaign.rows.rounding import Rounded
from wrapcalc.campaign.rows.strength import NO_DATA, OTHER
from wrapcalc.case import Bundle
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.assessment.disposition import AWAITS, dispose
from wrapcalc.standards.conditions import dent_position

KINDS = ("dent", "gouge", "crack")
#: Why there is no pressure.
NO_STRENGTH = {k: f"there is no strength method here for a {k}" for k in KINDS}
#: Facts that differ from row to row.
_FACTS = {"dent": ("dent_over_diameter", "dent_depth_in_mm"), "gouge": ("gouge_over_nominal",),
          "crack": ("crack_depth_over_wall",)}
#: What is stated besides where other damage lies over metal loss.
_OVER_LOSS: dict[str, dict[str, Any]] = {
    "dent": {"dent_stress_riser": "yes", "metal_loss": None}, "gouge": {"metal_loss": "yes"},
    "crack": {"metal_loss": "yes"}}
_CRACK = "a crack is outside what a wrap of this kind may restore"


class OtherDamage:
    """The criteria of one group for one kind of damage. criteria: (citation, text, deadline in words) by code."""

    def __init__(self, bundle: Bundle, kind: str):
        case = bundle.case
        self._kind = kind
        self._measure(bundle)
        asked = replace(bundle, case=case.model_copy(update={
            "defect": case.defect.model_copy(update={"kind": kind})}))
        with recording(Recorder()):
            ruled = dispose(asked, None, None)
        lists = [r.criteria for r in ruled.lists]
        # What only waits for an assessment is no reason for another repair by itself.
        apart = replace(ruled.exclusions.criteria, criteria=tuple(
            c for c in ruled.exclusions.criteria.criteria if c.paragraph not in AWAITS))
        places = (None, "top", "bottom") if kind == "dent" else (None,)
        self._rulings = {(p, over): Ruling(
            lists, apart, ruled.facts | ({"dent_position": p} if kind == "dent" else {})
            | (_OVER_LOSS[kind] if over else {}), _FACTS[kind]) for p in places for over in (False, True)}
        self.criteria = self._rulings[None, False].table

    def _measure(self, bundle: Bundle) -> None:
        self._D, self._nominal = (bundle.case.get(f"pipe.{n}").base for n in ("outside_diameter", "nominal_wall"))

    def with_wall(self, bundle: Bundle) -> OtherDamage:
        """The same criteria for a group that differs in its wall alone."""
        other = copy.copy(self)
        other._measure(bundle)
        return other

    def judge(self, rows: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
        """disposition, reason (texts), criterion, exclusion, deadline_days, criteria_open of every row.

        rows: depth (mm, NaN where it is not known), clock (hours), as `Line.resolve` gives them; where it is known also
        riser (whether it lies over loss) and loss_under (the greatest depth of that, mm), as `damage_over.links` does.
        """
        count = len(rows["depth"])
        out: dict[str, np.ndarray] = {
            "disposition": np.full(count, np.uint8(NO_DATA)), "criterion": np.full(count, np.int16(-1)),
            "exclusion": np.full(count, np.int16(-1)), "deadline_days": np.full(count, np.inf),
            "criteria_open": np.zeros(count, np.uint16),
            "reason": np.full(count, NO_STRENGTH[self._kind], dtype=object)}
        place, over = self._places(rows["clock"]), rows.get("riser", np.zeros(count, bool))
        depth = rows["depth"]
        if self._kind == "crack" and "loss_under" in rows:  # the criteria ask for the crack with the loss above it
            depth = depth + np.nan_to_num(rows["loss_under"])
        for (name, riser), ruling in self._rulings.items():
            at = np.flatnonzero((place == name) & (over == riser))
            if len(at):
                self._judged(ruling, depth[at], at, out)
        return out

    def _places(self, clock: np.ndarray) -> np.ndarray:
        out = np.full(len(clock), None, dtype=object)
        if self._kind == "dent":
            for i in np.flatnonzero((clock >= 0) & (clock <= 12)).tolist():
                out[i] = dent_position(float(clock[i]))
        return out

    def _judged(self, ruling: Ruling, depth: np.ndarray, at: np.ndarray, out: dict[str, np.ndarray]) -> None:
        how, depth = Rounded(), np.where(depth > 0, depth, np.nan)
        values = {"dent": (depth / self._D, depth)}.get(self._kind, (depth / self._nominal,))
        facts = RowFacts({n: how.steady(v) for n, v in zip(_FACTS[self._kind], values, strict=True)}, how)
        leading, excluded = ruling.leading(facts, len(at)), ruling.excluded(facts, len(at))
        out["criterion"][at], out["exclusion"][at] = leading, excluded
        out["deadline_days"][at] = ruling.days[leading]
        out["criteria_open"][at] = ruling.unanswered(facts, len(at))
        other = (leading >= 0) | (excluded >= 0) | (self._kind == "crack")
        out["disposition"][at[other]] = OTHER
        out["reason"][at[other]] = _CRACK if self._kind == "crack" else REASONS[RULED_OUT]
        out["reason"][at[leading >= 0]] = REASONS[CRITERION]
