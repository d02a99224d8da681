"""Probability that a failure pressure lies below a target: closed at one length, integrated over length error, sampled.

The failure pressure never rises with depth, so at each length there is one depth at which it meets the target; what
exceeds that depth, or the depth limit, counts. Depth and length errors are normal and independent. Nothing is said
about a length below nothing: the length error is cut where it would be, and at eight deviations, and made whole again.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wrapcalc.errors import CalculationError
from wrapcalc.expression import normal_cdf
from wrapcalc.formulas.uncertainty import exceedance_of_depth

Strength = Callable[[np.ndarray, np.ndarray], np.ndarray]
#: How far the length error is followed, in deviations; beyond lie 1e-15 of it.
_TAIL = 8.0
#: Halvings of the depth limit: 1e-12 of it.
_HALVINGS = 40
#: How often a panel is halved at most. One with a jump of the method inside changes half as much each time.
_ROUNDS = 40
#: A change below this is none: numbers so small lose their digits, and no halving would bring a panel to rest.
_NOTHING = 1e-300


@dataclass(frozen=True)
class Integral:
    """probability; error: sum of the changes at the last halving of each panel; panels: of the length error in the end
    (1 without length error)."""

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

    Bisection on all lengths at once; the passing side. Where not even the sound pipe passes, minus infinity: every
    depth is too much. Raises CalculationError where the method gives no number.
    """
    length = np.asarray(length, float)
    low, high = np.zeros_like(length), np.full_like(length, limit)
    sound = _passes(failure, low, length, target)
    low = np.where(_passes(failure, high, length, target), high, low)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        good = _passes(failure, middle, length, target)
        low, high = np.where(good, middle, low), np.where(good, high, middle)
    return np.where(sound, low, -np.inf)


def _passes(failure: Strength, depth: np.ndarray, length: np.ndarray, target: float) -> np.ndarray:
    pressure = np.asarray(failure(depth, length), float)
    if not np.isfinite(pressure).all():
        where = int(np.flatnonzero(~np.isfinite(pressure))[0])
        raise CalculationError(f"probability of exceedance: the method gives no number at the depth "
                               f"{float(depth[where])!r} mm and the length {float(length[where])!r} mm")
    return pressure >= target


def by_integral(failure: Strength, target: float, limit: float, depth: float, sigma_d: float, length: float,
                sigma_L: float, *, panels: int = 4, change: float = 1e-8) -> Integral:
    """P[failure pressure < target or depth > limit], depth and length normal about depth, length (mm, MPa).

    Gauss-Lobatto of eight points in each panel of the length error; a panel whose answer changes when it is halved is
    halved again, so that a jump of the method is closed in. The ends of a panel are among its points: a jump hard by an
    edge would pass unseen otherwise. Once without a change may be chance: twice is asked for. panels: to begin with;
    change: share of the probability that a panel may change by at its last halving. Raises CalculationError for a
    deviation of depth that is not positive, and for sizes that are none.
    """
    _must_be_sizes(target, limit, depth, sigma_d, length, sigma_L)
    if sigma_L == 0:
        critical = float(critical_depths(failure, np.array([length]), target, limit)[0])
        return Integral(float(exceedance_of_depth.core(d=depth, d_lim=critical, sigma_d=sigma_d)), 0.0, 1)
    nodes, weights = lobatto(8)

    def over(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        """The integral over each panel from a to b."""
        half = (b - a)[:, None] / 2
        at = a[:, None] + half * (1 + nodes)
        critical = critical_depths(failure, at.ravel(), target, limit).reshape(at.shape)
        chance = exceedance_of_depth.array(d=depth, d_lim=critical, sigma_d=sigma_d)
        density = np.exp(-((at - length) / sigma_L) ** 2 / 2) / (sigma_L * math.sqrt(2 * math.pi))
        return np.sum(half * weights * density * chance, axis=1)

    first, last = max(length - _TAIL * sigma_L, min(length, sigma_L) * 1e-6), length + _TAIL * sigma_L
    edges = np.linspace(first, last, panels + 1)
    a, b = edges[:-1], edges[1:]
    parents, quiet = over(a, b), np.zeros(panels, bool)
    total = error = 0.0
    count = 0
    for step in range(_ROUNDS):
        middle = (a + b) / 2
        left, right = over(a, middle), over(middle, b)
        moved = np.abs(left + right - parents)
        small = moved <= max(change * (total + float(np.sum(left + right))), _NOTHING)
        settled = small & quiet
        if step == _ROUNDS - 1:
            settled[:] = True
        total += float(np.sum((left + right)[settled]))
        error += float(np.sum(moved[settled]))
        count += 2 * int(settled.sum())
        open_ = ~settled
        if not open_.any():
            break
        a, b, parents, quiet = (np.concatenate([u[open_], v[open_]]) for u, v in (
            (a, middle), (middle, b), (left, right), (small, small)))
    inside = normal_cdf((last - length) / sigma_L) - normal_cdf((first - length) / sigma_L)
    return Integral(min(total / inside, 1.0), error / inside, count)


def lobatto(n: int) -> tuple[np.ndarray, np.ndarray]:
    """Points and weights on [-1, 1], both ends among them; exact for polynomials up to the degree 2 n - 3.

    The points inside are the zeros of the slope of the Legendre polynomial of degree n - 1 (textbook, from memory).
    """
    last = np.polynomial.Legendre.basis(n - 1)
    nodes = np.concatenate([[-1.0], np.sort(last.deriv().roots().real), [1.0]])
    return nodes, 2 / (n * (n - 1) * last(nodes) ** 2)


def _must_be_sizes(target: float, limit: float, depth: float, sigma_d: float, length: float, sigma_L: float) -> None:
    if not (all(map(math.isfinite, (target, limit, depth, sigma_d, length, sigma_L)))
            and sigma_d > 0 and sigma_L >= 0 and length > 0 and limit > 0):
        raise CalculationError(f"probability of exceedance: deviations {sigma_d!r} and {sigma_L!r} mm, length "
                               f"{length!r} mm and depth limit {limit!r} mm must be positive (length error may be 0), "
                               f"depth {depth!r} mm and target {target!r} MPa finite numbers")


def by_simulation(failure: Strength, target: float, limit: float, depth: float, sigma_d: float, length: float,
                  sigma_L: float, samples: int, seed: int) -> Simulation:
    """The same by seeded sampling: PCG64, depth first, then length; lengths that are not positive are drawn again.

    A depth below nothing is no loss: the sound pipe is asked then.
    """
    _must_be_sizes(target, limit, depth, sigma_d, length, sigma_L)
    if samples < 1:
        raise CalculationError(f"probability of exceedance: {samples!r} samples; at least 1 is needed")
    rng = np.random.Generator(np.random.PCG64(seed))
    d = np.maximum(rng.normal(depth, sigma_d, samples), 0.0)
    L = np.full(samples, float(length))
    if sigma_L > 0:
        L = rng.normal(length, sigma_L, samples)
        while (bad := L <= 0).any():
            L[bad] = rng.normal(length, sigma_L, int(bad.sum()))
    exceeds = d > limit
    inside = np.flatnonzero(~exceeds)
    exceeds[inside] = ~_passes(failure, d[inside], L[inside], target)
    return _wilson(int(exceeds.sum()), samples, seed)


def _wilson(count: int, samples: int, seed: int) -> Simulation:
    z = 1.959963984540054  # 97.5 % point of the standard normal distribution
    share, n = count / samples, samples
    middle = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    return Simulation(share, max(0.0, middle - half), min(1.0, middle + half), samples, seed)
