"""Probability of exceedance on arrays of anomalies, as of the measurement: `stages.assessment.chance` for every row.

The integral of `searches.exceedance` with its panels halved for all rows at once, by the same rules. The sums run in
another order than for one row, so both agree to 1e-6 of the probability, not to the last digit.
"""

from __future__ import annotations

import math

import numpy as np

from wrapcalc.campaign.rows.life_rows import Records, limit_rows
from wrapcalc.campaign.rows.method_rows import Answers, Line, Sizes
from wrapcalc.campaign.rows.rounding import How
from wrapcalc.case import Bundle
from wrapcalc.expression import normal_cdf
from wrapcalc.formulas import uncertainty
from wrapcalc.recorder import Recorder, recording
from wrapcalc.searches.exceedance import critical_depths, lobatto

#: As in `searches.exceedance`: deviations followed, points and number of the first panels, share by which the answer
#: may change at a halving, rounds, and the change that is none.
_TAIL, _POINTS, _PANELS, _CHANGE, _ROUNDS, _NOTHING = 8.0, 8, 4, 1e-8, 40, 1e-300
#: Rows worked at once: bounded memory.
_ROWS = 512


class ChanceRows:
    """Probability for the anomalies of one line, whose case states a sizing tolerance of the depth."""

    def __init__(self, bundle: Bundle, line: Line, records: Records):
        self._line, self._records = line, records
        case = bundle.case
        with recording(Recorder()):
            self._deviation, self._along = (0.0 if not given else uncertainty.deviation_from_tolerance(
                case.value(f"uncertainty.{n}_tolerance"), case.value(f"uncertainty.{n}_confidence")).magnitude
                for n, given in (("depth", True), ("length", _positive(bundle, "uncertainty.length_tolerance"))))

    def chances(self, s: Sizes, measured: np.ndarray, length: np.ndarray, found: Answers, how: How
                ) -> tuple[np.ndarray, np.ndarray]:
        """Probability that pressure or depth is beyond its limit, and of the depth alone; sizes without allowance."""
        limit = limit_rows(self._line, s, how)
        alone = uncertainty.exceedance_of_depth.array(d=measured, d_lim=limit, sigma_d=self._deviation)
        out, variant = np.empty(len(measured)), self._records.variant(found)
        for first in range(0, len(out), _ROWS):
            rows = np.arange(first, min(first + _ROWS, len(out)))
            out[rows] = self._integral(rows, measured, length, limit, s.wall, variant)
        return out, alone

    def _critical(self, rows: np.ndarray, lengths: np.ndarray, limit: np.ndarray, wall: np.ndarray,
                  variant: np.ndarray | int) -> np.ndarray:
        """Depth at which each of these rows meets its target, at these lengths."""
        function = self._records.over("failure", variant)
        return critical_depths(lambda d, L: function(d, L, wall[rows], rows), lengths, self._records.target,
                               limit[rows])  # type: ignore[arg-type]

    def _integral(self, rows: np.ndarray, depth: np.ndarray, length: np.ndarray, limit: np.ndarray, wall: np.ndarray,
                  variant: np.ndarray | int) -> np.ndarray:
        if self._along == 0:
            critical = self._critical(rows, length[rows], limit, wall, variant)
            return uncertainty.exceedance_of_depth.array(d=depth[rows], d_lim=critical, sigma_d=self._deviation)
        nodes, weights = lobatto(_POINTS)

        def over(of: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
            half = (b - a)[:, None] / 2
            at = a[:, None] + half * (1 + nodes)
            mine = np.repeat(of, _POINTS)
            critical = self._critical(mine, at.ravel(), limit, wall, variant)
            chance = uncertainty.exceedance_of_depth.array(d=depth[mine], d_lim=critical, sigma_d=self._deviation)
            density = np.exp(-((at - length[of][:, None]) / self._along) ** 2 / 2) / (
                self._along * math.sqrt(2 * math.pi))
            return np.sum(half * weights * density * chance.reshape(at.shape), axis=1)

        start, count = rows[0], len(rows)
        low = np.maximum(length[rows] - _TAIL * self._along, np.minimum(length[rows], self._along) * 1e-6)
        high = length[rows] + _TAIL * self._along
        edges = np.linspace(low, high, _PANELS + 1, axis=1)
        of, a, b = np.repeat(rows, _PANELS), edges[:, :-1].ravel(), edges[:, 1:].ravel()
        parents, quiet, total = over(of, a, b), np.zeros(len(of), bool), np.zeros(count)
        for step in range(_ROUNDS):
            middle = (a + b) / 2
            left, right = over(of, a, middle), over(of, middle, b)
            whole = total + np.bincount(of - start, left + right, count)
            small = np.abs(left + right - parents) <= np.maximum(_CHANGE * whole[of - start], _NOTHING)
            settled = small & quiet if step < _ROUNDS - 1 else np.ones(len(of), bool)
            total += np.bincount(of[settled] - start, (left + right)[settled], count)
            open_ = ~settled
            if not open_.any():
                break
            of, a, b, parents, quiet = (np.concatenate([u[open_], v[open_]]) for u, v in (
                (of, of), (a, middle), (middle, b), (left, right), (small, small)))
        inside = (normal_cdf((high - length[rows]) / self._along) - normal_cdf((low - length[rows]) / self._along))
        return np.minimum(total / inside, 1.0)


def _positive(bundle: Bundle, field: str) -> bool:
    given = bundle.case.get(field)
    return given is not None and given.base > 0
