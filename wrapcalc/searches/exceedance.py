"""Probability that a failure pressure lies below a target: closed at one length, integrated over length error, sampled.

The failure pressure never rises with depth, so at each length there is one depth at which it meets the target; what
exceeds that depth, or the depth limit, counts. Depth and length errors are normal and independent. Nothing is said
about a length below nothing: the length error is cut where it would be, and at six deviations, and made whole again.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wrapcalc.errors import CalculationError
from wrapcalc.formulas.uncertainty import exceedance_of_depth

Strength = Callable[[np.ndarray, np.ndarray], np.ndarray]
#: How far the length error is followed, in deviations; beyond lie 2e-9 of it.
_TAIL = 6.0
_HALVINGS = 50


@dataclass(frozen=True)
class Integral:
    """probability; error: change when the panels are doubled; panels: of the length error (1 without length error)."""

    probability: float
    error: float
    panels: int


@dataclass(frozen=True)
class Simulation:
    """probability of samples that exceed; low, high: its 95 % interval (Wilson); samples, seed: to repeat it."""

    probability: float
    low: float
    high: float
    samples: int
    seed: int


def critical_depths(failure: Strength, length: np.ndarray, target: float, limit: float) -> np.ndarray:
    """Depth (n) in mm beyond which failure(depth, length) is below target, at each length; at most limit.

    Bisection on all lengths at once; the passing side. Nothing passes: 0.
    """
    length = np.asarray(length, float)
    low, high = np.zeros_like(length), np.full_like(length, limit)
    passes = failure(high, length) >= target
    low = np.where(passes, high, low)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        good = failure(middle, length) >= target
        low, high = np.where(good, middle, low), np.where(good, high, middle)
    return low


def by_integral(failure: Strength, target: float, limit: float, depth: float, sigma_d: float, length: float,
                sigma_L: float, panels: int = 64) -> Integral:
    """P[failure pressure < target or depth > limit], depth and length normal about depth, length (mm, MPa).

    Gauss-Legendre of eight points in each panel of the length error; panels of equal width, so that a jump of the
    method costs one panel only. Raises CalculationError for a deviation of depth that is not positive.
    """
    if not (sigma_d > 0 and sigma_L >= 0 and length > 0 and limit > 0):
        raise CalculationError(f"probability of exceedance: deviations {sigma_d!r} and {sigma_L!r} mm, length "
                               f"{length!r} mm and depth limit {limit!r} mm must be positive (length error may be 0)")
    if sigma_L == 0:
        critical = float(critical_depths(failure, np.array([length]), target, limit)[0])
        return Integral(float(exceedance_of_depth.core(d=depth, d_lim=critical, sigma_d=sigma_d)), 0.0, 1)
    coarse, fine = (_integrated(failure, target, limit, depth, sigma_d, length, sigma_L, n)
                    for n in (panels, 2 * panels))
    return Integral(fine, abs(fine - coarse), 2 * panels)


def _integrated(failure: Strength, target: float, limit: float, depth: float, sigma_d: float, length: float,
                sigma_L: float, panels: int) -> float:
    first = max(length - _TAIL * sigma_L, min(length, sigma_L) * 1e-6)
    edges = np.linspace(first, length + _TAIL * sigma_L, panels + 1)
    nodes, weights = np.polynomial.legendre.leggauss(8)
    half = np.diff(edges)[:, None] / 2
    at = (edges[:-1, None] + half * (1 + nodes)).ravel()
    weight = (half * weights).ravel() * np.exp(-((at - length) / sigma_L) ** 2 / 2)
    critical = critical_depths(failure, at, target, limit)
    chance = exceedance_of_depth.array(d=depth, d_lim=critical, sigma_d=sigma_d)
    return float(np.sum(weight * chance) / np.sum(weight))


def by_simulation(failure: Strength, target: float, limit: float, depth: float, sigma_d: float, length: float,
                  sigma_L: float, samples: int, seed: int) -> Simulation:
    """The same by seeded sampling: PCG64, depth first, then length; lengths that are not positive are drawn again."""
    rng = np.random.Generator(np.random.PCG64(seed))
    d = np.maximum(rng.normal(depth, sigma_d, samples), 0.0)
    L = np.full(samples, float(length))
    if sigma_L > 0:
        L = rng.normal(length, sigma_L, samples)
        while (bad := L <= 0).any():
            L[bad] = rng.normal(length, sigma_L, int(bad.sum()))
    exceeds = d > limit
    inside = np.flatnonzero(~exceeds)
    exceeds[inside] = failure(d[inside], L[inside]) < target
    return _wilson(int(exceeds.sum()), samples, seed)


def _wilson(count: int, samples: int, seed: int) -> Simulation:
    z = 1.959963984540054  # 97.5 % point of the standard normal distribution
    share, n = count / samples, samples
    middle = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    return Simulation(share, max(0.0, middle - half), min(1.0, middle + half), samples, seed)
