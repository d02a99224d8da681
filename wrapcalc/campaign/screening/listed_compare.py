"""Repair factors as the listing prints them beside ours: a unit or pressure that is wrong for all rows shows there.

A run reckons with a method, a factor and allowances of its own, so that ours may be higher for sound reasons. Ours
lower than the listed one is the side on which somebody may be hurt: those rows are named. Design factors may hide that
loss is read too small; therefore it is also looked at how fast the listed factors grow with the sizes as they are read.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from wrapcalc.campaign.screening.noted import Noted
from wrapcalc.formulas import remaining_strength as strength

#: How far ours may be above the listed factor of a row, and below it, before the row is counted.
HIGHER, LOWER = 0.10, 0.02
#: Bounds of the median of ours over the listed one outside of which it is said that something is wrong with all rows:
#: ours is higher by design factors of 0.72 against 0.4, and by flow stress and allowances about half as much again.
_MEDIANS = (0.95, 2.7)
#: The median is counted out in steps of a two-thousandth of a decade (0.12 %), over three decades either way.
_STEPS, _DECADES = 2000, 3
_LOWER = (f"our repair factor is lower than that of the listing by more than {100 * LOWER:.0f} %: see why before ours "
          "is relied on")
#: Rows that a slope needs, and the slope above which loss is read too small. Other methods than the 0.85 dL form give
#: up to about 1; depths read in mil instead of per cent of 8 mm give 3.8.
_ENOUGH, _STEEP = 30, 2.0
#: Share of the wall up to which rows are looked at, and about how many of a window: a slope needs no more.
_DEEPEST, _SAMPLE = 0.8, 8192


class ListedCompare:
    """Compares rows window by window; memory does not grow with them. diameter: outside diameter of the base case, mm,
    None when it is not stated."""

    def __init__(self, diameter: float | None) -> None:
        self._diameter = diameter
        self._counts = np.zeros(2 * _DECADES * _STEPS + 1, np.int64)
        self._sums = np.zeros((4, 4))
        self.rows = self.higher = self.lower = 0
        self._noted = Noted()

    def add(self, rows: Mapping[str, np.ndarray], judged: Mapping[str, np.ndarray]) -> None:
        """rows: as the listing states them; judged: our answers of the same rows, each judged alone."""
        listed, ours = rows.get("listed_repair_factor"), judged.get("repair_factor")
        if listed is None or ours is None or not (some := listed > 0).any():
            return
        both = some & (ours > 0) & np.isfinite(ours)
        ratio = ours[both] / listed[both]
        self.rows += len(ratio)
        self.higher += int((ratio > 1 + HIGHER).sum())
        lower = ratio < 1 - LOWER
        self.lower += int(lower.sum())
        self._noted.add(_LOWER, rows["row"][both][lower])
        step = np.rint(np.log10(ratio) * _STEPS).astype(np.int64) + _DECADES * _STEPS
        self._counts += np.bincount(np.clip(step, 0, len(self._counts) - 1), minlength=len(self._counts))
        if self._diameter:
            self._sum(listed[some], *(rows[n][some] for n in ("depth", "length", "nominal_wall")))

    def _sum(self, listed: np.ndarray, d: np.ndarray, L: np.ndarray, t: np.ndarray) -> None:
        """Sums of products of 1, the wall, the loss as we read it and the listed factor, as logarithms. The loss: how
        much weaker it makes the pipe by the 0.85 dL form, without allowances."""
        fit = np.flatnonzero((d > 0) & (d < _DEEPEST * t) & np.isfinite(L))
        fit = fit[::max(1, len(fit) // _SAMPLE)]
        d, L, t, listed = d[fit], L[fit], t[fit], listed[fit]
        z = strength.length_parameter.array(L=L, D=self._diameter, t=t)
        left = strength.failure_stress_085dl.array(S_flow=1.0, d=d, t=t, M=strength.bulging_factor_085dl.array(z=z))
        of = np.stack([np.ones(len(d)), np.log(t), -np.log(left), np.log(listed)])
        self._sums += of @ of.T

    @property
    def median(self) -> float:
        """Ours over the listed one in the middle of all rows that have both, to 0.12 %; NaN without rows."""
        if not self.rows:
            return float("nan")
        at = int(np.searchsorted(np.cumsum(self._counts), (self.rows + 1) // 2))
        return float(10.0 ** ((at - _DECADES * _STEPS) / _STEPS))

    @property
    def slope(self) -> tuple[float, float]:
        """By how many per cent the listed factor grows for each per cent that the loss as read explains, walls apart;
        and the standard error of it. NaN where too few rows show it."""
        count = self._sums[0, 0]
        if count < _ENOUGH:
            return float("nan"), float("nan")
        known, rest = self._sums[:2, :2], self._sums[:2, 2:]
        left = self._sums[2:, 2:] - rest.T @ np.linalg.lstsq(known, rest, rcond=1e-12)[0]
        x, xy, y = left[0, 0], left[0, 1], left[1, 1]
        if x <= 1e-9 * self._sums[2, 2] or x <= 0:
            return float("nan"), float("nan")
        return float(xy / x), float(np.sqrt(max(y - xy * xy / x, 0.0) / (count - 3) / x))

    @property
    def told(self) -> tuple[str, ...]:
        """What the reader must know; nothing where no row has both."""
        out = []
        if self.rows:
            text = (f"Repair factors of {self.rows} rows beside those of the listing: ours is higher by more than "
                    f"{100 * HIGHER:.0f} % in {self.higher}, lower by more than {100 * LOWER:.0f} % in {self.lower}; "
                    f"ours over the listed one has the median {self.median:.3g}.")
            if not _MEDIANS[0] <= self.median <= _MEDIANS[1]:
                text += (" That is far for a whole listing: before anything here is relied on, look for a wrong unit "
                         "of depth, length or wall in the mapping, and compare MAOP and factors with the report of "
                         "the run.")
            out.append(text)
        slope, error = self.slope
        if slope - 3 * error > _STEEP:
            times = f"{slope:.1f}" if slope < 100 else "more than 100"
            out.append(f"The repair factors of the listing grow {times} times as fast with the loss as depth and "
                       "length as they are read can explain: the loss is probably read too small. Look at the units of "
                       "depth and length in the mapping before anything here is relied on.")
        return (*out, *self._noted.texts)
