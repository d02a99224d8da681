"""A complex-shaped defect by the allowable-stress form on tensile strength: the depth increment, and the pit or group
of pits at it, with the lowest failure pressure.

At each depth d_j the profile is cut off there. What lies above the cut is a patch of the whole length and its mean
depth; it fails at P_patch. A plain pipe that fails at P_patch has the effective wall t_e: 2 t_e S_u/(D - t_e) =
P_patch gives t_e = P_patch D/(2 S_u + P_patch). What lies below the cut are pits in that pipe, neighbours of one
another, each with the mean depth of the profile over it, from the outer surface, less t - t_e. The lowest of the whole
profile at its mean depth, of all patches and of all runs of pits governs. Source: DNV-RP-F101 (2010), part B,
complex-shaped defect, from memory.

What is derived here. The share left by a patch, (1 - u)/(1 - u/Q) with u = d_patch/t, is between 1 - u and 1, and the
pressure of a plain pipe is convex in its wall, so t - d_patch <= t_e <= t: no effective depth is negative, and the wall
left below a pit, t_e - d_e = t - d_i, stays as measured. A patch alone is never the lowest: it has the length of the
profile and at most its mean depth, and the pits weaken the pipe that fails at P_patch.

Flat bottoms count twice. Where the cut comes near a long flat, the patch has nearly the length and depth of the flat,
and the flat is taken off the effective wall once more. So a flat-bottomed loss comes out below the single defect of the
same length and depth (by up to a fifth). That lies in the procedure, with any number of increments; we keep it, as the
safer reading. A rectangle around the profile cannot be stronger than the profile, so its pressure is given as well
(`envelope`): a governing pressure below it is a sign of this, not of weaker steel.

Which depths. The pits change by jumps where the cut passes a flat, a peak or a valley of the profile, and the lowest
pressure often lies at such a jump; equal increments only come near it. So to the increments are added d_j = 0 and each
depth of the profile with both of its limits: from below, where the pits are the parts with depth >= d_j (a peak just
reached is one of no length, at which a run may begin), and from above, where they are those with depth > d_j. Both are
taken exactly, not by a small step. Between two depths of the profile the lowest pressure is continuous in d_j, and its
low places there are closed in by golden section, so that the answer does not hang on the number of increments.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from wrapcalc.errors import CalculationError
from wrapcalc.formulas.corroded_pipe_dnv import effective_wall_dnv, failure_pressure_dnv, length_correction_factor
from wrapcalc.searches.interacting import Run, refuse_pipe, weakest_run

#: A pit group governs only if it is lower than the whole profile by more than what rounding leaves.
_ROUNDING = 1e-12
#: Low places within this share of the lowest are closed in: those farther off do not fall so much in one increment.
_NEAR = 0.05
#: Width of the bracket of the golden section at its end, as a share of the wall. The place is a smooth minimum, where
#: the pressure is off by the square of it.
_NARROW = 1e-7
_GOLDEN = (math.sqrt(5) - 1) / 2


@dataclass(frozen=True)
class Shape:
    """What governs a complex-shaped defect.

    pressure: failure pressure (MPa); total: that of the whole profile at its mean depth (MPa); mean_depth: that depth
    (mm); envelope: that of a single defect of the whole length and the greatest depth (MPa); kind: "whole profile" or
    "pit group". For a pit group: increment_depth, the cut d_j (mm), and side, whether it is the limit from "below",
    from "above", or the cut "at" it; patch_area (mm²), patch_pressure (MPa), effective_wall (mm); pits: number of pits
    at the cut; first, last: of the group, from 0 along the pipe; start (mm), in the stations of the profile; length
    (mm) overall; depth: effective depth spread over the length (mm). For the whole profile these are those of no cut:
    d_j = 0, the wall t, one pit with the length and mean depth of the profile.
    trail: (d_j, P_patch, lowest pressure of the pits at it, lower of the two) of the cuts at the increments, at the
    depths of the profile and at what governs, rising, in mm and MPa; a depth of the profile stands twice, from below
    and from above.
    """

    pressure: float
    total: float
    mean_depth: float
    envelope: float
    kind: str
    increment_depth: float
    side: str
    patch_area: float
    patch_pressure: float
    effective_wall: float
    pits: int
    first: int
    last: int
    start: float
    length: float
    depth: float
    trail: tuple[tuple[float, float, float, float], ...]


@dataclass(frozen=True, eq=False)
class _Cut:
    """The profile cut at one depth; side as in Shape."""

    at: float
    side: str
    area: float
    patch: float
    wall: float
    start: np.ndarray
    run: Run


def weakest_shape(x: Sequence[float] | np.ndarray, depth: Sequence[float] | np.ndarray, D: float, t: float, S_u: float,
                  increments: int = 50) -> Shape:
    """The lowest failure pressure of a profile, and where it comes from.

    x (n): stations, rising, any spacing, mm; depth (n): loss there, mm, straight between, nothing at both ends and less
    than t; D, t: mm; S_u: SMTS, MPa; increments: equal parts of the greatest depth, at least 1. Raises CalculationError
    for a profile that is none.
    """
    x, depth = np.asarray(x, dtype=float), np.asarray(depth, dtype=float)
    _refuse(x, depth, D, t, S_u, increments)
    increments = int(increments)
    profile = _Profile(x, depth, float(D), float(t), float(S_u))
    deepest, own = float(depth.max()), [0.0, *map(float, np.unique(depth[depth > 0]))]
    # An increment at a depth of the profile is that depth, with both its limits.
    wanted = [v for v in (deepest * j / increments for j in range(1, increments))
              if min(abs(v - d) for d in own) > _NARROW * t]
    shown: list[_Cut] = []
    low: list[tuple[float, _Cut, float]] = []
    for above, below in pairwise(own):
        grid = [above, *(v for v in wanted if above < v < below), below]
        smooth = [profile.cut(v, "at") for v in (*grid[1:-1], *((a + b) / 2 for a, b in pairwise(grid)))]
        ends = [profile.cut(above, "above")]
        if below < deepest or profile.flat_bottom:
            ends.append(profile.cut(below, "below"))
        shown += [*smooth[:len(grid) - 2], *ends]
        cuts = sorted([*smooth, *ends], key=lambda c: c.at)
        depths = [above, *(c.at for c in cuts), below]
        pressures = [math.inf, *(c.run.pressure for c in cuts), math.inf]
        low += [(depths[i], c, depths[i + 2]) for i, c in enumerate(cuts)
                if pressures[i + 1] <= min(pressures[i], pressures[i + 2])]
    best = min((c for _, c, _ in low), key=lambda c: c.run.pressure)
    limit = best.run.pressure * (1 + _NEAR)
    for left, c, right in low:
        if c.run.pressure <= limit:
            found = profile.lowest_between(left, c, right)
            if found.run.pressure < best.run.pressure * (1 - _ROUNDING):
                best = found
    if not any(c is best for c in shown):
        shown.append(best)
    return profile.answer(best, shown)


class _Profile:
    """A profile in a pipe, with the area lost up to each station."""

    def __init__(self, x: np.ndarray, depth: np.ndarray, D: float, t: float, S_u: float):
        self.x, self.depth, self.D, self.t, self.S_u = x, depth, D, t, S_u
        self.step = np.diff(x)
        self.area = np.concatenate(([0.0], np.cumsum(0.5 * (depth[1:] + depth[:-1]) * self.step)))
        self.length = float(x[-1] - x[0])
        self.flat_bottom = bool(((depth[1:] == depth.max()) & (depth[:-1] == depth.max())).any())

    def whole(self, area: float) -> float:
        """Failure pressure of a loss of this area over the whole length, MPa."""
        Q = length_correction_factor.core(self.length, self.D, self.t)
        return float(failure_pressure_dnv.core(self.t, self.S_u, self.D, area / self.length, Q))

    def cut(self, v: float, side: str) -> _Cut:
        """The patch and the weakest pits of the cut at depth v; where there is no pit, the plain effective wall."""
        inside = self.depth >= v if side == "below" else self.depth > v
        start, area_start = self._edge(np.flatnonzero(~inside[:-1] & inside[1:]), v)
        end, area_end = self._edge(np.flatnonzero(inside[:-1] & ~inside[1:]), v)
        length, area = np.maximum(end - start, 0.0), area_end - area_start
        patch_area = float(self.area[-1] - area.sum() + v * length.sum())
        patch = self.whole(patch_area)
        wall = effective_wall_dnv.core(patch, self.D, self.S_u)
        if not self.t - v - 1e-9 * self.t <= wall <= self.t * (1 + 1e-9):
            raise CalculationError(f"complex shape: the effective wall {wall!r} mm at the cut {v!r} mm is not between "
                                   f"the wall below the cut and the wall, {self.t!r} mm")
        if not len(start):
            return _Cut(v, side, patch_area, patch, wall, start, Run(0, 0, 0.0, 0.0, patch, ()))
        # A peak that the cut only reaches is a pit of no length: it takes nothing, but a run may still begin at it.
        # The mean of a pit lies between the cut and the deepest place; of a very short one rounding leaves less sure.
        mean = np.divide(area, length, out=np.full_like(area, v), where=length > 0)
        effective = np.clip(mean, v, self.depth.max()) - (self.t - wall)
        return _Cut(v, side, patch_area, patch, wall, start, weakest_run(start, end, effective, self.D, wall, self.S_u))

    def _edge(self, k: np.ndarray, v: float) -> tuple[np.ndarray, np.ndarray]:
        """Where the profile passes depth v between the stations k and k + 1, and the area lost up to there."""
        x = self.x[k] + (v - self.depth[k]) / (self.depth[k + 1] - self.depth[k]) * self.step[k]
        return x, self.area[k] + 0.5 * (self.depth[k] + v) * (x - self.x[k])

    def lowest_between(self, left: float, start: _Cut, right: float) -> _Cut:
        """The lowest cut met by golden section strictly between two depths, or the one to start with."""
        best = start
        inner = [self.cut(v, "at") for v in (right - _GOLDEN * (right - left), left + _GOLDEN * (right - left))]
        while True:
            best = min(best, *inner, key=lambda c: c.run.pressure)
            if right - left <= _NARROW * self.t:
                return best
            if inner[0].run.pressure <= inner[1].run.pressure:
                right = inner[1].at
                inner = [self.cut(right - _GOLDEN * (right - left), "at"), inner[0]]
            else:
                left = inner[0].at
                inner = [inner[1], self.cut(left + _GOLDEN * (right - left), "at")]

    def answer(self, best: _Cut, shown: list[_Cut]) -> Shape:
        """The governing cut, or the whole profile, with the trail."""
        total, mean = self.whole(float(self.area[-1])), float(self.area[-1]) / self.length
        envelope = self.whole(float(self.depth.max()) * self.length)
        order = {"below": 0, "at": 1, "above": 2}
        trail = tuple((c.at, c.patch, c.run.pressure, min(c.patch, c.run.pressure))
                      for c in sorted(shown, key=lambda c: (c.at, order[c.side])))
        run = best.run
        if total <= run.pressure * (1 + _ROUNDING):
            return Shape(total, total, mean, envelope, "whole profile", 0.0, "above", 0.0, self.whole(0.0), self.t, 1,
                         0, 0, float(self.x[0]), self.length, mean, trail)
        return Shape(run.pressure, total, mean, envelope, "pit group", best.at, best.side, best.area, best.patch,
                     best.wall, len(best.start), run.first, run.last, float(best.start[run.first]), run.length,
                     run.depth, trail)


def _refuse(x: np.ndarray, depth: np.ndarray, D: float, t: float, S_u: float, increments: int) -> None:
    """Raise CalculationError for what is no profile, or no pipe."""
    refuse_pipe(D, t, S_u)
    if x.ndim != 1 or x.shape != depth.shape or len(x) < 3:
        raise CalculationError(f"profile: {x.shape} stations and {depth.shape} depths; two lists of one length, with "
                               "at least three stations, are needed")
    if not (np.isfinite(x).all() and (x[1:] > x[:-1]).all()):
        raise CalculationError("profile: the stations must be numbers that rise from one to the next")
    if not ((depth >= 0) & (depth < t)).all() or depth[0] != 0 or depth[-1] != 0 or not depth.any():
        raise CalculationError("profile: every depth must be a number, not negative, and less than the wall of "
                               f"{t:g} mm, nothing at both ends and more than nothing somewhere; greatest depth "
                               f"{depth.max():g} mm, ends {depth[0]:g} and {depth[-1]:g} mm")
    if not (float(increments).is_integer() and increments >= 1):
        raise CalculationError("complex shape: the number of increments must be whole and at least 1; got "
                               f"{increments!r}")
