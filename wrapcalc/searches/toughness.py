"""Toughness of a bond from tests over holes: fit through the origin, and its lower confidence limit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wrapcalc.errors import CalculationError
from wrapcalc.searches.student import student_quantile

#: Fewest tests that leave a spread to speak of.
LEAST_TESTS = 3


@dataclass(frozen=True)
class Toughness:
    """mean, lower: toughness and its lower 95 % confidence limit in N/mm; deviation: of the pressures, MPa.

    student: two-sided 95 % quantile; tests: how many.
    """

    mean: float
    lower: float
    deviation: float
    student: float
    tests: int


def toughness_of_tests(roots: Sequence[float], pressures: Sequence[float]) -> Toughness:
    """Least squares of pressure = √toughness × root, through the origin.

    roots: pressure that the equation of the hole gives for a toughness of 1 N/mm, in MPa/√(N/mm); pressures: at
    failure, MPa. The spread is taken with two degrees of freedom fewer than tests, as the recalled text does; one fewer
    would be enough for one parameter and gives a little more. Raises CalculationError for too few tests, for numbers
    that make no sense, and where nothing is left of the toughness.
    """
    a, p = np.asarray(roots, float), np.asarray(pressures, float)
    if a.shape != p.shape or a.ndim != 1 or a.size < LEAST_TESTS:
        raise CalculationError(f"toughness: {a.size} tests, at least {LEAST_TESTS} are needed")
    if not (np.all(np.isfinite(a)) and np.all(np.isfinite(p)) and np.all(a > 0) and np.all(p > 0)):
        raise CalculationError("toughness: a test without a positive pressure, hole or thickness")
    squares = float((a * a).sum())
    root = float((a * p).sum()) / squares
    freedom = a.size - 2
    deviation = math.sqrt(float(((p - root * a) ** 2).sum()) / freedom)
    student = student_quantile(0.975, freedom)
    lower = root - student * deviation / math.sqrt(squares)
    if lower <= 0:
        raise CalculationError("toughness: the tests scatter so much that nothing is left of their lower limit")
    return Toughness(root ** 2, lower ** 2, deviation, student, int(a.size))
