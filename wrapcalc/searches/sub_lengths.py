"""The weakest sub-length of a measured profile: the search of the effective-area method.

Every pair of stations i < j bounds a sub-length. Its area is the sum of the trapezia between, its bulging factor that
of the 0.85 dL form at its own length, its failure pressure 2 t/D S_F with S_F the effective-area form; the lowest of
all n(n-1)/2 governs. Source: Kiefner and Vieth 1989, and level 2 of ASME B31G-2012, both from memory.

How it is fast, without a change of the answer. Areas come from prefix sums. All pairs of one lag j - i, of all profiles
of a block, are one contiguous slice, worked in buffers that stay in cache. Lengths and areas are scaled once, row by
row, so that the loop has neither D nor t: with L in units of sqrt(D t)/0.003375^(1/4), M² = 1 + (h - L²) L², where
h = 0.6275/sqrt(0.003375), and the share S_F/S_flow = (L - A)/(L - A/M). Tests hold it to the formulas.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wrapcalc.errors import CalculationError

#: The bulging factor of formulas.remaining_strength.bulging_factor_085dl: end of its first branch in z, scales.
_BRANCH = 50.0
_CURVE = math.sqrt(0.003375)
_H = 0.6275 / _CURVE
#: Stations worked at once, over all profiles of a block: its six arrays take 0.8 MB, a second-level cache. Measured:
#: half as many cost a tenth more, a quarter half more, twice as many gain nothing to speak of.
_STATIONS = 16384
#: Sub-lengths whose shares differ by less are equally weak: equal pits differ by rounding.
_EQUAL = 1e-12
#: The governing sub-length and the next four.
_KEPT = 5


@dataclass(frozen=True)
class SubLength:
    """The governing sub-length. start, end: indices of its stations; length (mm), area (mm²), pressure (MPa).

    count: number of sub-lengths compared; others: the next four as (start, end, pressure), lowest first.
    """

    start: int
    end: int
    length: float
    area: float
    pressure: float
    count: int
    others: tuple[tuple[int, int, float], ...]


def weakest_sub_length(x: np.ndarray, depth: np.ndarray, D: float, t: float, flow: float) -> SubLength:
    """The sub-length with the lowest failure pressure, of all n(n-1)/2.

    x (n): stations, rising, any spacing, mm; depth (n): loss there, mm, nothing at both ends and less than t; D, t: mm;
    flow: flow stress, MPa. Of sub-lengths that are equally weak (within 1e-12, which is rounding) the one that starts
    first is taken, and of those the one that ends first. Memory grows with n, not with n². Raises CalculationError for
    a profile that is none.
    """
    x, depth = np.asarray(x, dtype=float), np.asarray(depth, dtype=float)
    if x.ndim != 1 or x.shape != depth.shape:
        raise CalculationError(f"profile: {x.shape} stations and {depth.shape} depths; two lists of one length are "
                               "needed")
    Ds, ts, flows = _of_each(1, D, t, flow)
    _refuse(x[None], depth[None], Ds, ts, flows)
    n, block = len(x), _Block(x[None], depth[None], Ds, ts)
    lowest, best = np.empty((n - 1, 1)), []
    for lag in range(1, n):
        share = block.share(lag)
        lowest[lag - 1] = share.min()
        near = np.flatnonzero(share <= best[-1][0]) if len(best) == _KEPT else np.arange(n - lag)
        near = near[np.argsort(share[near], kind="stable")[:_KEPT]]
        best = sorted([*best, *((float(share[i]), int(i), int(i) + lag) for i in near)])[:_KEPT]
    start, end = (int(i[0]) for i in _where(x[None], depth[None], Ds, ts, lowest, lowest.min(axis=0)))
    whole = 2 * float(t) / float(D) * float(flow)
    others = [(i, j, whole * share) for share, i, j in best if (i, j) != (start, end)][:_KEPT - 1]
    area = float(_trapezia(x[start:end + 1], depth[start:end + 1]).sum())
    return SubLength(start, end, float(x[end] - x[start]), area, whole * best[0][0], n * (n - 1) // 2, tuple(others))


def weakest_pressures(X: np.ndarray, depth: np.ndarray, D: float | np.ndarray, t: float | np.ndarray,
                      flow: float | np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Lowest failure pressure (m,) in MPa and the stations (m,), (m,) it lies between, of m profiles of n stations.

    X, depth (m, n): as for `weakest_sub_length`, each row with its own stations; D, t, flow: one number or (m,). Each
    row gives what `weakest_sub_length` gives, to the last bit. Memory is some times that of X. Raises CalculationError
    naming the first row that is none.
    """
    X, depth = np.asarray(X, dtype=float), np.asarray(depth, dtype=float)
    if X.ndim != 2 or X.shape != depth.shape:
        raise CalculationError(f"profiles: {X.shape} stations and {depth.shape} depths; two tables of one shape are "
                               "needed, one profile a row")
    m, n = X.shape
    D, t, flow = _of_each(m, D, t, flow)
    _refuse(X, depth, D, t, flow)
    lowest = np.empty((n - 1, m))  # of each lag
    # Profiles with one branch of the bulging factor only are worked apart: nothing is to be chosen there.
    long = _z_of_all(X, D, t) > _BRANCH
    at_once = _at_once(n)
    for rows in (np.flatnonzero(~long), np.flatnonzero(long)):
        for first in range(0, len(rows), at_once):
            take = rows[first:first + at_once]
            lowest[:, take] = _Block(X[take], depth[take], D[take], t[take]).lowest()
    share = lowest.min(axis=0)
    start, end = _where(X, depth, D, t, lowest, share)
    return 2 * t / D * flow * share, start, end


def _where(X: np.ndarray, depth: np.ndarray, D: np.ndarray, t: np.ndarray, lowest: np.ndarray, share: np.ndarray
           ) -> tuple[np.ndarray, np.ndarray]:
    """First and last station of the lowest share of each profile: only the lags that reach it are worked again.

    lowest (n-1, m): of each lag; share (m,): of all.
    """
    m, n = X.shape
    start, end = np.full(m, n), np.zeros(m, dtype=np.intp)
    limit, at_once = share * (1 + _EQUAL), _at_once(n)
    for lag in range(1, n):
        reached = np.flatnonzero((lowest[lag - 1] <= limit) & (start > 0))
        for first in range(0, len(reached), at_once):
            rows = reached[first:first + at_once]
            found = _Block(X[rows], depth[rows], D[rows], t[rows]).share(lag).reshape(-1, len(rows))
            i = (found <= limit[rows]).argmax(axis=0)
            earlier = i < start[rows]
            start[rows[earlier]], end[rows[earlier]] = i[earlier], i[earlier] + lag
    return start, end


class _Block:
    """Some profiles, stations down, one profile a column, flattened: a lag of k stations is a shift of k columns."""

    def __init__(self, X: np.ndarray, depth: np.ndarray, D: np.ndarray, t: np.ndarray):
        self.columns, self.n = X.shape
        root = np.sqrt(D * t / _CURVE)
        area = np.zeros((self.n, self.columns))
        np.cumsum(_trapezia(X, depth).T, axis=0, out=area[1:])
        area /= t * root
        self.area = area.ravel()
        self.x = ((X - X[:, :1]).T / root).ravel()
        self.length, self.lost, self.over, self.bulging = (np.empty(self.columns * (self.n - 1)) for _ in range(4))
        # Where both branches occur, the branch is chosen as the formula does, from lengths in mm: at z = 50 itself
        # the rounding of the scales would choose.
        self.mixed = bool((_z_of_all(X, D, t) > _BRANCH).any())
        if self.mixed:
            self.plain, self.tile = X.T.ravel(), np.tile(D * t, self.n - 1)

    def share(self, lag: int) -> np.ndarray:
        """S_F/S_flow of every sub-length over `lag` intervals, flattened; it lies in a buffer that is used again."""
        shift = lag * self.columns
        size = len(self.x) - shift
        length, lost, over, M = self.length[:size], self.lost[:size], self.over[:size], self.bulging[:size]
        np.subtract(self.x[shift:], self.x[:size], out=length)
        np.subtract(self.area[shift:], self.area[:size], out=lost)
        np.multiply(length, length, out=over)
        if self.mixed:
            self._bulging_mixed(shift, over, M)
        else:
            _bulging_root(over, M)
        np.divide(lost, M, out=over)
        np.subtract(length, over, out=over)
        np.subtract(length, lost, out=lost)
        return np.divide(lost, over, out=lost)

    def _bulging_mixed(self, shift: int, square: np.ndarray, M: np.ndarray) -> None:
        """Bulging factor where both branches may occur."""
        size = len(square)
        plain = self.plain[shift:] - self.plain[:size]
        np.multiply(plain, plain, out=plain)
        beyond = np.divide(plain, self.tile[:size], out=plain) > _BRANCH
        if beyond.all():
            _bulging_line(square, M)
            return
        # Beyond the branch the root is not used; its argument is held where it is real.
        _bulging_root(np.minimum(square, _H, out=plain), M)
        if beyond.any():
            _bulging_line(square, plain)
            np.copyto(M, plain, where=beyond)

    def lowest(self) -> np.ndarray:
        """The lowest share of each lag and profile, (n-1, profiles)."""
        out = np.empty((self.n - 1, self.columns))
        for lag in range(1, self.n):
            np.minimum.reduce(self.share(lag).reshape(-1, self.columns), axis=0, out=out[lag - 1])
        return out


def _at_once(n: int) -> int:
    """Profiles of n stations in a block."""
    return max(16, _STATIONS // n)


def _bulging_root(square: np.ndarray, M: np.ndarray) -> None:
    """First branch of the bulging factor, sqrt(1 + 0.6275 z - 0.003375 z²), from the scaled square of the length."""
    np.subtract(_H, square, out=M)
    M *= square
    M += 1
    np.sqrt(M, out=M)


def _bulging_line(square: np.ndarray, M: np.ndarray) -> None:
    """Second branch, 0.032 z + 3.3."""
    np.multiply(square, 0.032 / _CURVE, out=M)
    M += 3.3


def _z_of_all(X: np.ndarray, D: np.ndarray, t: np.ndarray) -> np.ndarray:
    """z of each whole profile."""
    return (X[:, -1] - X[:, 0]) ** 2 / (D * t)


def _trapezia(x: np.ndarray, depth: np.ndarray) -> np.ndarray:
    return 0.5 * (depth[..., :-1] + depth[..., 1:]) * (x[..., 1:] - x[..., :-1])


def _of_each(m: int, *numbers: float | np.ndarray) -> list[np.ndarray]:
    """Each number once for each profile."""
    try:
        return [np.broadcast_to(np.asarray(v, dtype=float), (m,)) for v in numbers]
    except ValueError:
        raise CalculationError("profiles: diameter, wall and flow stress are one number each or one for each of the "
                               f"{m} profiles; got shapes {[np.shape(v) for v in numbers]}") from None


def _refuse(X: np.ndarray, depth: np.ndarray, D: np.ndarray, t: np.ndarray, flow: np.ndarray) -> None:
    """Raise CalculationError for what is no profile, or no pipe."""
    if X.shape[1] < 2:
        raise CalculationError("profile: at least two stations are needed")
    wall = t[:, None]
    for bad, text in (
            (~(np.isfinite(D) & np.isfinite(t) & np.isfinite(flow) & (t > 0) & (2 * t < D) & (flow > 0)),
             "diameter, wall and flow stress must be positive numbers and the wall less than half the diameter"),
            (~np.isfinite(X).all(axis=1), "a station is not a number"),
            (~(X[:, 1:] > X[:, :-1]).all(axis=1), "the stations must rise from one to the next"),
            (~((depth >= 0) & (depth < wall)).all(axis=1),
             "every depth must be a number, not negative, and less than the wall"),
            ((depth[:, 0] != 0) | (depth[:, -1] != 0),
             "the depth at the first and at the last station must be nothing (full wall), so that the profile is "
             "closed")):
        if bad.any():
            row = int(np.argmax(bad))
            which = "profile" if len(bad) == 1 else f"profile in row {row}"
            raise CalculationError(f"{which}: {text}; greatest depth {depth[row].max():g} mm, wall {t[row]:g} mm, "
                                   f"diameter {D[row]:g} mm, ends {depth[row, 0]:g} and {depth[row, -1]:g} mm")
