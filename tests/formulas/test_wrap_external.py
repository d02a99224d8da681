"""Outside pressure by second routes: a ring of small pieces that buckles, and bracketing."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from wrapcalc.formulas import wrap_external as f

E_C, NU = 24_000.0, 0.20
quick = settings(max_examples=60, deadline=None)


def buckling_number(pieces: int = 720) -> float:
    """p R³ / E I at which a ring under outside pressure buckles: w'' + (1 + p R³ / E I) w = constant, round and round.

    By differences on a closed ring; the ring that grows (no wave) and the ring that moves (one wave) do not buckle.
    """
    step = 2 * math.pi / pieces
    ring = np.eye(pieces)
    second = (np.roll(ring, 1, 0) - 2 * ring + np.roll(ring, -1, 0)) / step ** 2
    numbers = np.linalg.eigvalsh(-second - ring)
    return float(numbers[numbers > 0.5].min())


def ring_stiffness(t: float) -> float:
    """E I of a strip of unit width that cannot widen, by integration through the thickness."""
    return E_C / (1 - NU ** 2) * quad(lambda z: z * z, -t / 2, t / 2)[0]


def test_the_ring_is_that_of_the_handbook():
    """Timoshenko and Gere, Theory of elastic stability: p = 3 E I / R³ (from memory)."""
    assert buckling_number() == pytest.approx(3, rel=1e-4)


@pytest.mark.guards("thickness_outside_pressure", kind="independent")
@pytest.mark.parametrize(("D", "t"), [(168.3, 3.0717), (609.6, 12.0), (323.85, 1.0)])
def test_thickness_by_the_least_buckling_load(D, t):
    collapse = buckling_number() * ring_stiffness(t) / (D / 2) ** 3
    assert f.thickness_outside_pressure.core(D, 3.0, NU, collapse / 3, E_C) == pytest.approx(t, rel=1e-4)


@pytest.mark.guards("thickness_outside_pressure", kind="published")
@pytest.mark.parametrize(("D", "t"), [(168.3, 3.0717), (609.6, 12.0)])
def test_thickness_by_the_handbook(D, t):
    """p = 3 E I / R³ (Timoshenko and Gere, from memory), with E / (1 - nu²) for a long one."""
    collapse = 3 * ring_stiffness(t) / (D / 2) ** 3
    assert f.thickness_outside_pressure.core(D, 1.0, NU, collapse, E_C) == pytest.approx(t, rel=1e-9)


@pytest.mark.guards("thickness_outside_pressure", kind="independent")
@pytest.mark.parametrize("D", [168.3, 609.6])
@pytest.mark.parametrize(("pressure", "safety"), [(0.101325, 3.0), (0.13859, 3.0), (1.0, 1.5)])
def test_thickness_by_thickening_the_ring(D, pressure, safety):
    """A ring is thickened until the least buckling load is the pressure times its safety factor."""
    def short(t: float) -> float:
        return 3 * ring_stiffness(t) / (D / 2) ** 3 - safety * pressure

    assert f.thickness_outside_pressure.core(D, safety, NU, pressure, E_C) == pytest.approx(
        brentq(short, 1e-3, D / 2, xtol=1e-12), rel=1e-8)


@quick
@given(st.floats(1e-3, 5), st.floats(1e-3, 5), st.floats(60, 1500), st.floats(1, 4))
def test_more_pressure_is_never_thinner(p, other, D, safety):
    low, high = (f.thickness_outside_pressure.core(D, safety, NU, x, E_C) for x in sorted((p, other)))
    assert low <= high


def test_nothing_outside_asks_for_nothing():
    assert f.thickness_outside_pressure.core(168.3, 3.0, NU, 0.0, E_C) == 0
