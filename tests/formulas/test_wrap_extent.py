"""Lengths along the pipe by second routes: coordinates on a tape, and the theory of thin shells."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from wrapcalc.formulas import wrap_extent as f


def decay(D: float, t: float, distance: float) -> float:
    """How much of the bending at one place of a thin pipe is left at a distance, from the shell's own equation.

    w'''' + 4 b⁴ w = 0 for the half-infinite shell with w = 1, w' = -b at the end (the pure edge wave e^-bx cos bx);
    the envelope sqrt(w² + (w + w'/b)²) falls as e^-bx.
    """
    b = (3 * (1 - 0.3 ** 2)) ** 0.25 / math.sqrt(D / 2 * t)
    far = 12 / b
    x = np.linspace(0, far, 4001)

    def slope(_, y):
        return np.vstack([y[1:], -4 * b ** 4 * y[:1]])

    def ends(first, last):
        return np.array([first[0] - 1, (first[1] + b) / b, last[0], last[1] / b])

    guess = np.zeros((4, x.size))
    guess[0] = np.exp(-b * x)
    found = solve_bvp(slope, ends, x, guess, tol=1e-8, max_nodes=200_000)
    assert found.success
    w, turn = found.sol(distance)[:2]
    return math.hypot(w, w + turn / b)


@pytest.mark.guards("overlap_pcc2", "overlap_iso", kind="independent")
@pytest.mark.parametrize(("D", "t"), [(168.3, 7.11), (609.6, 9.53)])
def test_overlap_is_the_reach_of_bending_in_a_shell(D, t):
    """2.5 sqrt(R t) is the length over which edge bending falls to 4 % of its size (the classical reason, from
    memory); 2 sqrt(D t) = 2.83 sqrt(R t) leaves 2.6 %."""
    assert decay(D, t, f.overlap_pcc2.core(D, t)) == pytest.approx(0.0402, abs=0.0004)
    assert decay(D, t, f.overlap_iso.core(D, t)) == pytest.approx(0.0264, abs=0.0004)


@pytest.mark.guards("overlap_iso", kind="independent")
@pytest.mark.parametrize(("D", "t"), [(168.3, 7.11), (609.6, 9.53)])
def test_overlap_joins_the_rule_for_holes(D, t):
    """The same standard asks for 4 d beyond a hole with d < 0.5 sqrt(D t) (from memory): both meet there."""
    hole = math.sqrt(D * t) / 2
    assert f.overlap_iso.core(D, t) == pytest.approx(4 * hole)


@pytest.mark.guards("overlap_required", kind="independent")
def test_overlap_required_by_sorting():
    rng = np.random.default_rng(5)
    for three in rng.uniform(30, 200, (100, 3)):
        assert f.overlap_required.core(*three) == sorted(three)[-1]


@pytest.mark.guards("full_thickness_length", "overall_length", "reach_beyond_defect", "end_length",
                    kind="independent")
@pytest.mark.parametrize(("L", "L_o", "k_e", "t_b"), [(150.0, 69.184, 5.0, 3.05), (420.0, 152.4, 4.0, 7.79)])
def test_lengths_on_a_tape(L, L_o, k_e, t_b):
    """Marks on a tape along the pipe; the end is where a slope of k_e : 1 comes down to the pipe."""
    start = 1310.0
    damage = (start, start + L)
    full = (damage[0] - L_o, damage[1] + L_o)
    assert f.full_thickness_length.core(L, L_o) == pytest.approx(full[1] - full[0])
    x = np.linspace(0, 100, 1_000_001)
    end = x[np.argmax(t_b - x / k_e <= 0)]
    assert f.end_length.core(k_e, t_b) == pytest.approx(end, abs=2e-4)
    overall = (full[0] - end, full[1] + end)
    assert f.overall_length.core(full[1] - full[0], end) == pytest.approx(overall[1] - overall[0])
    assert f.reach_beyond_defect.core(overall[1] - overall[0], L) == pytest.approx(damage[0] - overall[0])
