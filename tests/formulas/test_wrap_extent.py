"""Lengths along the pipe by second routes: coordinates on a tape, and the theory of thin shells."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_bvp
from scipy.optimize import brentq

from wrapcalc.formulas import wrap_extent as f

quick = settings(max_examples=60, deadline=None)


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
    below, above = (f.overlap_hole.core(hole * (1 + x), D, t) for x in (-1e-9, 1e-9))
    assert below == pytest.approx(above, rel=1e-8)


@pytest.mark.guards("overlap_hole", kind="independent")
@pytest.mark.parametrize(("D", "t"), [(168.3, 7.11), (609.6, 9.53)])
def test_overlap_of_a_hole_walked_out(D, t):
    """Four steps of one diameter from the edge, but no further than the side of a square of the area 4 D t."""
    reach = brentq(lambda side: side * side - 4 * D * t, 1, 1000)
    for d in (3.0, 0.4 * math.sqrt(D * t), 0.7 * math.sqrt(D * t), 3 * math.sqrt(D * t)):
        walked = 0.0
        for _ in range(4):
            walked = min(walked + d, reach)
        assert f.overlap_hole.core(d, D, t) == pytest.approx(walked, rel=1e-9)


@quick
@given(st.floats(0.1, 300), st.floats(0.1, 300), st.floats(60, 1500), st.floats(3, 25))
def test_a_larger_hole_never_asks_for_less_and_no_more_than_any_damage(one, other, D, t):
    small, large = (f.overlap_hole.core(d, D, t) for d in sorted((one, other)))
    assert small <= large <= f.overlap_iso.core(D, t)


@pytest.mark.guards("bond_length", kind="independent")
@pytest.mark.parametrize(("k_b", "t_c", "tau"), [(1.0, 3.0492, 7.0), (3.0, 3.0492, 7.0), (1.0, 12.0, 5.0)])
def test_bond_length_by_adding_up_shear(k_b, t_c, tau):
    """Hundredths of a millimetre of bond, each carrying a k-th of its strength, until they hold the wrap's pull."""
    pull = 14_000.0 * 0.001906 * t_c
    step = 0.01
    held = np.cumsum(np.full(100_000, tau / k_b * step))
    assert f.bond_length.core(k_b, 14_000.0, 0.001906, t_c, tau) == pytest.approx(
        (np.argmax(held >= pull) + 1) * step, abs=step)


@pytest.mark.guards("room_factor", kind="independent")
@pytest.mark.parametrize(("needed", "room"), [
    (69.184, 40.0), (152.4, 151.0), (152.4, 10.0), (100.0, 100.0), (69.184, 90.0)])
def test_room_factor_by_its_cube(needed, room):
    """The factor whose cube is the square of what is short; one where nothing is."""
    cube = brentq(lambda x: x ** 3 - max(needed / room, 1) ** 2, 0.5, 100)
    assert f.room_factor.core(needed, room) == pytest.approx(cube, rel=1e-9)


@quick
@given(st.floats(50, 300), st.floats(1, 400), st.floats(1, 400))
def test_less_room_is_never_thinner(needed, one, other):
    less, more = (f.room_factor.core(needed, x) for x in sorted((one, other)))
    assert less >= more >= 1
    assert f.room_factor.core(needed, needed) == 1
    assert f.room_factor.core(needed, needed * (1 - 1e-9)) == pytest.approx(1, abs=1e-8)


@pytest.mark.guards("longer_overlap", kind="independent")
def test_longer_overlap_by_sorting():
    rng = np.random.default_rng(6)
    for pair in rng.uniform(30, 200, (100, 2)):
        assert f.longer_overlap.core(*pair) == sorted(pair)[-1]


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


@pytest.mark.guards("full_thickness_length_uneven", "room_for_overlap", "room_needed", "gap_to_neighbour",
                    "gap_between_repairs", kind="independent")
@pytest.mark.parametrize(("L", "a_L", "L_o", "L_e"), [(150.0, 0.0, 69.184, 15.25), (140.0, 10.0, 152.4, 40.0)])
def test_neighbours_on_a_tape(L, a_L, L_o, L_e):
    """Marks along the pipe: a weld on the left, the damage with its allowance, another repair on the right."""
    weld, clear, measured = 1000.0, 30.0, (1100.0, 1100.0 + L)
    damage = (measured[0] - a_L / 2, measured[1] + a_L / 2)
    end_of_wrap = weld + clear
    full = (end_of_wrap + L_e, damage[1] + L_o)
    room = f.room_for_overlap.core(measured[0] - weld, clear, L_e, a_L)
    assert room == pytest.approx(damage[0] - full[0])
    assert f.full_thickness_length_uneven.core(damage[1] - damage[0], L_o, room) == pytest.approx(full[1] - full[0])
    reach = full[1] + L_e - damage[1]
    assert f.room_needed.core(reach, clear) == pytest.approx(damage[0] - (damage[0] - reach - clear))
    neighbour = damage[1] + 700.0
    assert f.gap_to_neighbour.core(neighbour - damage[1], reach, L_e) == pytest.approx(neighbour - full[1])
    second = (damage[1] + 500.0, damage[1] + 620.0)
    assert f.gap_between_repairs.core(second[0] - damage[1], L_o) == pytest.approx((second[0] - L_o) - full[1])


def test_neighbours_that_run_into_each_other_have_a_gap_below_nothing():
    """The size of the overlap of both zones, which is what the sign says."""
    assert f.gap_between_repairs.core(100.0, 69.184) == pytest.approx(-(2 * 69.184 - 100.0))
    assert f.room_for_overlap.core(40.0, 30.0, 15.0, 0.0) == -5.0
