"""The weakest run of neighbours, and the weakest line: against plain loops, limits and symmetries."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc.errors import CalculationError
from wrapcalc.searches.interacting import projection_lines, weakest_group

D, T_WALL, S_U = 609.6, 9.525, 455.0
ROUND = math.pi * D
REACH = math.pi * math.sqrt(D * T_WALL)
quick = settings(max_examples=60, derandomize=True, deadline=None)


def capacity(length: float, depth: float) -> float:
    """One defect, written out."""
    Q = math.sqrt(1 + 0.31 * length * length / (D * T_WALL))
    return 2 * T_WALL * S_U / (D - T_WALL) * (T_WALL - depth) / (T_WALL - depth / Q)


def by_loops(defects: list[tuple[float, float, float]]) -> float:
    """The lowest pressure of (start, length, depth), by plain loops: join, then every run, pit by pit."""
    parts: list[tuple[float, float, float]] = []
    for s, length, d in sorted(defects):
        if parts and s <= parts[-1][1]:
            a, b, e = parts.pop()
            parts.append((a, max(b, s + length), max(e, d)))
        else:
            parts.append((s, s + length, d))
    lowest = math.inf
    for n in range(len(parts)):
        for m in range(n, len(parts)):
            run = parts[n:m + 1]
            length = run[-1][1] - run[-1][0]
            for here, following in itertools.pairwise(run):
                length += (here[1] - here[0]) + (following[0] - here[1])
            depth = sum(d * (b - a) for a, b, d in run) / length
            lowest = min(lowest, capacity(length, depth))
    return lowest


def group(defects):
    return weakest_group(*np.array(defects).T, D, T_WALL, S_U)


defect = st.tuples(st.floats(0, 900), st.floats(1, 300), st.floats(0.05, 8.0))
box = st.tuples(st.floats(0, 900), st.floats(1, 300), st.floats(0.05, 8.0), st.floats(-2 * ROUND, 2 * ROUND),
                st.floats(1, 300))


# -- one line ---------------------------------------------------------------------------------------------------------

@quick
@given(st.lists(defect, min_size=1, max_size=7))
def test_the_group_is_the_lowest_of_plain_loops(defects):
    found = group(defects)
    assert found.pressure == pytest.approx(by_loops(defects), rel=1e-11)
    assert found.pressure == pytest.approx(capacity(found.length, found.depth), rel=1e-11)
    assert found.pressure <= min(found.single) * (1 + 1e-12)
    n = len(found.composites)
    assert found.count == sum(1 for i in range(n) for j in range(i, n)) and len(found.single) == n
    assert sorted(i for m in found.members for i in m) == list(range(len(defects)))
    assert found.start == found.composites[found.first][0]
    last = found.composites[found.last]
    assert found.length == pytest.approx(last[0] + last[1] - found.start, rel=1e-12)


@quick
@given(st.lists(defect, min_size=1, max_size=6), st.randoms(use_true_random=False), st.floats(-500, 500))
def test_order_direction_and_place_do_not_matter(defects, random, shift):
    want = group(defects).pressure
    mixed = random.sample(defects, len(defects))
    assert group(mixed).pressure == pytest.approx(want, rel=1e-12)
    if len({s for s, *_ in defects} | {s + length for s, length, _ in defects}) == 2 * len(defects):
        assert group([(-s - length, length, d) for s, length, d in defects]).pressure == pytest.approx(want, rel=1e-9)
    apart = sorted(defects)
    if all(a[0] + a[1] + 1e-6 < b[0] for a, b in itertools.pairwise(apart)):
        assert group([(s + shift, length, d) for s, length, d in defects]).pressure == pytest.approx(want, rel=1e-9)


@quick
@given(st.lists(defect, min_size=1, max_size=6), st.data())
def test_a_deeper_defect_never_makes_the_group_stronger(defects, data):
    i = data.draw(st.integers(0, len(defects) - 1))
    s, length, d = defects[i]
    deeper = [*defects[:i], (s, length, data.draw(st.floats(d, 9.0))), *defects[i + 1:]]
    assert group(deeper).pressure <= group(defects).pressure * (1 + 1e-12)


def test_far_apart_each_stands_alone():
    one = [(0.0, 120.0, 4.0)]
    two = [*one, (1e7, 120.0, 4.0)]
    assert group(two).pressure == pytest.approx(capacity(120.0, 4.0), rel=1e-12)
    assert (group(two).first, group(two).last) == (0, 0)
    assert group(one).single == (group(one).pressure,)


@pytest.mark.parametrize("gap", [0.0, -20.0, 1e-9])
def test_without_a_gap_neighbours_of_one_depth_are_one_long_defect(gap):
    assert group([(0.0, 120.0, 4.0), (120.0 + gap, 120.0, 4.0)]).pressure == pytest.approx(
        capacity(240.0 + gap, 4.0), rel=1e-9)


def test_two_equal_patches_as_long_as_their_gap():
    found = group([(0.0, 80.0, 4.5), (160.0, 80.0, 4.5)])
    assert (found.first, found.last) == (0, 1)
    assert found.length == pytest.approx(3 * 80) and found.depth == pytest.approx(2 * 4.5 / 3)
    assert found.pressure == pytest.approx(capacity(240.0, 3.0), rel=1e-12) and found.pressure < capacity(80.0, 4.5)


def test_overlapping_defects_take_the_overall_length_and_the_greatest_depth():
    found = group([(100.0, 60.0, 6.0), (0.0, 300.0, 2.0), (300.0, 50.0, 3.0), (500.0, 10.0, 1.0)])
    assert found.composites == ((0.0, 350.0, 6.0), (500.0, 10.0, 1.0))
    assert found.members == ((0, 1, 2), (3,))
    assert found.pressure == pytest.approx(capacity(350.0, 6.0), rel=1e-12)


def test_a_run_may_leave_out_the_outer_neighbours():
    """Two deep pits between two faint ones: neither all four nor one alone is the weakest."""
    found = group([(0.0, 30.0, 0.3), (200.0, 60.0, 5.0), (280.0, 60.0, 5.0), (500.0, 30.0, 0.3)])
    assert (found.first, found.last) == (1, 2)


# -- every line -------------------------------------------------------------------------------------------------------

def lines(boxes, reach=REACH):
    return projection_lines(*np.array(boxes).T, D, T_WALL, S_U, reach)


def on_line(boxes, at: float, reach: float) -> list[tuple[float, float, float]]:
    """Boxes with a part within reach of the line, by the distance round the pipe."""
    out = []
    for s, length, d, a, w in boxes:
        off = abs((at - (a + w / 2) + ROUND / 2) % ROUND - ROUND / 2)
        if off <= w / 2 + reach:
            out.append((s, length, d))
    return out


@quick
@given(st.lists(box, min_size=1, max_size=5), st.floats(20, 400))
def test_no_line_that_can_be_drawn_is_weaker(boxes, reach):
    """Lines at every centre, spaced by the reach from zero, and a dense set; the one found is among what is met."""
    found = lines(boxes, reach)
    centres = [a + w / 2 for *_, a, w in boxes]
    for at in (*centres, *np.arange(0, ROUND, reach), *np.linspace(0, ROUND, 60)):
        met = on_line(boxes, float(at), reach)
        assert not met or found.group.pressure <= by_loops(met) * (1 + 1e-11)
    assert found.group.pressure == pytest.approx(by_loops([boxes[i][:3] for i in found.boxes]), rel=1e-11)
    near = on_line(boxes, found.position, reach * (1 + 1e-6))
    assert all(boxes[i][:3] in near for i in found.boxes)
    assert sorted(i for m in found.group.members for i in m) == list(found.boxes)


@quick
@given(st.lists(box, min_size=1, max_size=5), st.floats(-ROUND, ROUND))
def test_twelve_o_clock_is_no_border(boxes, turn):
    """The pipe turned by any angle; by whole millimetres, so that no edge is met by a hair."""
    boxes = [(s, length, d, float(round(a)), float(round(w))) for s, length, d, a, w in boxes]
    turned = [(s, length, d, a + round(turn), w) for s, length, d, a, w in boxes]
    assert lines(turned).group.pressure == pytest.approx(lines(boxes).group.pressure, rel=1e-12)
    full = [(s, length, d, a + ROUND, w) for s, length, d, a, w in boxes]
    assert lines(full).group.pressure == pytest.approx(lines(boxes).group.pressure, rel=1e-12)


@pytest.mark.parametrize(("gap", "together"), [(2 * REACH - 1, True), (2 * REACH, True), (2 * REACH + 1, False)])
@pytest.mark.parametrize("zero", [0.0, ROUND - 60.0])
def test_two_boxes_meet_where_one_line_reaches_both(gap, together, zero):
    boxes = [(0.0, 80.0, 4.5, zero, 40.0), (100.0, 80.0, 4.5, zero + 40.0 + gap, 40.0)]
    found = lines(boxes)
    assert found.boxes == ((0, 1) if together else (0,))
    assert found.group.pressure == pytest.approx(by_loops([b[:3] for b in boxes]) if together else capacity(80.0, 4.5),
                                                 rel=1e-12)


def test_a_ring_around_the_pipe_is_on_every_line():
    ring = (100.0, 40.0, 3.0, 12.0, ROUND)
    found = lines([ring, (160.0, 40.0, 3.0, 5.0, 30.0), (160.0, 40.0, 3.0, ROUND / 2, 30.0)])
    assert 0 in found.boxes and found.lines == 3


# -- what is refused --------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("defects", "words"), [
    ([(0.0, 10.0, 3.0), (20.0, 0.0, 3.0)], "defect 2"), ([(0.0, 10.0, T_WALL)], "less than the wall"),
    ([(0.0, 10.0, 0.0)], "positive"), ([(math.nan, 10.0, 3.0)], "numbers"), ([(0.0, math.inf, 3.0)], "numbers")])
def test_what_is_no_defect_is_refused(defects, words):
    with pytest.raises(CalculationError, match=words):
        group(defects)


def test_lists_and_pipes_that_are_none_are_refused():
    with pytest.raises(CalculationError, match="lists of one length"):
        weakest_group([], [], [], D, T_WALL, S_U)
    with pytest.raises(CalculationError, match="lists of one length"):
        weakest_group([0.0], [1.0, 2.0], [1.0], D, T_WALL, S_U)
    for pipe in ((D, D / 2, S_U), (D, 0.0, S_U), (math.nan, T_WALL, S_U), (D, T_WALL, -1.0)):
        with pytest.raises(CalculationError, match="pipe"):
            weakest_group([0.0], [10.0], [1.0], *pipe)
    for place, width in ((math.nan, 10.0), (0.0, 0.0), (0.0, ROUND + 1)):
        with pytest.raises(CalculationError, match="around the pipe"):
            lines([(0.0, 10.0, 1.0, place, width)])
    with pytest.raises(CalculationError, match="lists of one length"):
        projection_lines([0.0], [1.0], [1.0], [0.0, 1.0], [1.0], D, T_WALL, S_U, REACH)
    for reach in (0.0, math.inf, math.nan):
        with pytest.raises(CalculationError, match="reach"):
            lines([(0.0, 10.0, 1.0, 0.0, 10.0)], reach)
