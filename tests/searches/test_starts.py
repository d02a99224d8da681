"""Starts of units against brute force with angles, and against the best that any place on the circle could give."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc.errors import CalculationError
from wrapcalc.searches.starts import PLACES, Keep, arc_between, arc_to, best_starts, clock_text

AROUND = st.floats(300, 4000)
SHARE = st.floats(0, 1)


def apart(a: float, b: float, around: float) -> float:
    """independent: the angle between two directions, by their scalar product."""
    u, v = (2 * math.pi * x / around for x in (a, b))
    scalar = math.cos(u) * math.cos(v) + math.sin(u) * math.sin(v)
    return around / (2 * math.pi) * math.acos(max(-1.0, min(1.0, scalar)))


def margin_at(places, keeps, stagger, around):
    """independent: a stretch is walked in 400 steps."""
    out = []
    for p in places:
        for k in keeps:
            out.append(min(apart(p, k.low + (k.high - k.low) * i / 400, around) for i in range(401)) - k.clear)
    if stagger is not None:
        out.append(apart(*places, around) - stagger)
    return min(out, default=math.inf)


@st.composite
def problems(draw):
    around = draw(AROUND)
    keeps = []
    for _ in range(draw(st.integers(0, 3))):
        low = draw(SHARE) * around
        keeps.append(Keep(low, low + draw(st.floats(0, 0.3)) * around, draw(st.floats(0, 0.25)) * around))
    return around, keeps, draw(st.none() | st.floats(0, 0.6).map(lambda s: s * around))


@given(SHARE, SHARE, AROUND)
def test_shorter_way_round(a, b, around):
    assert float(arc_between(a * around, b * around, around)) == pytest.approx(apart(a * around, b * around, around),
                                                                               abs=1e-4 * around)


@given(problems())
@settings(max_examples=60, deadline=None)
def test_margin_is_what_a_walk_round_the_pipe_finds(problem):
    around, keeps, stagger = problem
    found = best_starts(around, keeps, stagger)
    assert len(found.arcs) == (1 if stagger is None else 2)
    walked = margin_at(found.arcs, keeps, stagger, around)
    assert walked == pytest.approx(found.margin, abs=2e-3 * around) if math.isfinite(walked) else found.margin == walked
    assert found.arcs == pytest.approx([m / PLACES * around for m in found.minutes])


def best_anywhere(around, keeps, stagger, upper, steps):
    """independent: every pair on a grid of `steps` places, in complex numbers."""
    place = np.arange(steps) / steps
    turn = np.exp(2j * np.pi * place)
    free = np.full(steps, np.inf)
    for k in keeps:
        stretch = np.exp(2j * np.pi * np.linspace(k.low, k.high, 301) / around)
        away = np.abs(np.angle(turn[:, None] / stretch[None, :])).min(axis=1) * around / (2 * np.pi)
        free = np.minimum(free, away - k.clear)
    high = np.cos(2 * np.pi * place) >= -1e-9 if upper else np.full(steps, True)
    if stagger is None:
        return free[high].max()
    pair = np.abs(np.angle(turn[:, None] / turn[None, :])) * around / (2 * np.pi) - stagger
    return np.minimum(np.minimum(free[:, None], free[None, :]), pair)[np.ix_(high, high)].max()


@given(problems())
@settings(max_examples=40, deadline=None)
def test_nothing_on_a_fine_grid_is_better_by_more_than_one_minute_of_the_clock(problem):
    around, keeps, stagger = problem
    found = best_starts(around, keeps, stagger)
    fine = best_anywhere(around, keeps, stagger, found.upper and found.margin >= 0, 1031)  # 1031 is prime
    if math.isinf(fine):
        assert found.margin == fine
    else:
        assert found.margin >= fine - around / PLACES - 2e-3 * around


@given(problems())
@settings(max_examples=60, deadline=None)
def test_the_upper_half_is_left_only_where_its_places_miss_a_rule(problem):
    around, keeps, stagger = problem
    found = best_starts(around, keeps, stagger)
    if not found.upper:
        assert best_anywhere(around, keeps, stagger, True, 360) < 2e-3 * around


@pytest.mark.parametrize("units", range(2, 8))
def test_a_pair_in_turns_is_as_good_as_a_place_for_each_unit(units):
    """independent: dynamic programming over every row of places, against the pair."""
    around, keeps, stagger = 600.0, [Keep(80, 80, 70), Keep(400, 470, 60)], 250.0
    place = around * np.arange(120) / 120
    free = np.minimum.reduce([arc_to(place, k.low, k.high, around) - k.clear for k in keeps])
    pair = arc_between(place[:, None], place[None, :], around) - stagger
    row = free
    for _ in range(units - 1):
        row = np.minimum(np.minimum(row[:, None], pair).max(axis=0), free)
    two = np.minimum(np.minimum(free[:, None], free[None, :]), pair).max()
    assert row.max() == pytest.approx(two)


def test_without_a_rule_the_start_is_at_the_top():
    found = best_starts(1000.0, [], None)
    assert found.minutes == (0,) and found.upper and math.isinf(found.margin)


def test_known_places():
    """By hand, 1200 mm round: seam at 12:00, damage from 5:00 to 7:00; the middle between is at 2:30 and 9:30."""
    found = best_starts(1200.0, [Keep(0, 0, 50), Keep(500, 700, 50)], None)
    assert clock_text(found.minutes[0]) in ("2:30", "9:30") and found.margin == pytest.approx(200.0)
    two = best_starts(1200.0, [Keep(0, 0, 50), Keep(500, 700, 50)], 100.0)
    assert sorted(map(clock_text, two.minutes)) == ["2:30", "9:30"] and two.margin == pytest.approx(200.0)


def test_rules_that_no_place_meets_leave_a_margin_below_nothing():
    found = best_starts(1200.0, [Keep(0, 1200, 50)], None)
    assert found.margin == pytest.approx(-50.0)
    assert best_starts(300.0, [], 200.0).margin == pytest.approx(-50.0)
    assert best_starts(1200.0, [Keep(900, 1500, 400)], None).margin == pytest.approx(-100.0)


def test_a_stretch_across_twelve_o_clock_is_one():
    assert arc_to(10.0, 1100.0, 1300.0, 1200.0) == 0 and arc_to(150.0, 1100.0, 1300.0, 1200.0) == pytest.approx(50.0)


@pytest.mark.parametrize(("minutes", "words"), [(0, "12:00"), (1, "12:01"), (60, "1:00"), (719, "11:59"),
                                               (645, "10:45")])
def test_clock(minutes, words):
    assert clock_text(minutes) == words


@pytest.mark.parametrize("wrong", [(0.0, [], None), (math.nan, [], None), (1200.0, [Keep(0, 0, math.inf)], None),
                                   (1200.0, [], math.nan)])
def test_what_is_no_length_is_refused(wrong):
    with pytest.raises(CalculationError, match="starts"):
        best_starts(*wrong)
