"""Quantiles of the normal and of Student's distribution, by halving of their exact integrals."""

from __future__ import annotations

import math
from statistics import NormalDist

from wrapcalc.errors import CalculationError

_HALVINGS = 200


def normal_quantile(share: float) -> float:
    """Below it lies so much of the standard normal distribution."""
    if not 0 < share < 1:
        raise CalculationError(f"normal quantile: {share!r} is no share between 0 and 1")
    return NormalDist().inv_cdf(share)


def student_cdf(t: float, freedom: int) -> float:
    """Share of Student's distribution below t, for whole degrees of freedom.

    Finite sums in the angle atan(t/√ν) (Abramowitz and Stegun 1964, 26.7.3 and 26.7.4).
    """
    if freedom < 1:
        raise CalculationError(f"Student's distribution: {freedom!r} degrees of freedom")
    angle = math.atan(t / math.sqrt(freedom))
    sine, cosine = math.sin(angle), math.cos(angle)
    total, term = 0.0, 1.0
    if freedom % 2:  # odd
        if freedom > 1:
            term = cosine
            total = term
            for k in range(3, freedom - 1, 2):
                term *= cosine * cosine * (k - 1) / k
                total += term
        inside = 2 / math.pi * (angle + sine * total)
    else:
        total = term
        for k in range(2, freedom - 1, 2):
            term *= cosine * cosine * (k - 1) / k
            total += term
        inside = sine * total
    return 0.5 + inside / 2


def student_quantile(share: float, freedom: int) -> float:
    """Below it lies so much of Student's distribution; halving down to neighbouring numbers of the machine."""
    if not 0 < share < 1:
        raise CalculationError(f"Student quantile: {share!r} is no share between 0 and 1")
    if share < 0.5:
        return -student_quantile(1 - share, freedom)
    low, high = 0.0, 1.0
    while student_cdf(high, freedom) < share:
        high *= 2
        if high > 1e300:
            raise CalculationError(f"Student quantile: {share!r} lies beyond what can be found")
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        low, high = (middle, high) if student_cdf(middle, freedom) < share else (low, middle)
    return high
