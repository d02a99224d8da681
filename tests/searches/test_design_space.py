"""Round a design: edges, changes of the count, swings, draws and a box, on functions whose answers are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc.errors import CalculationError
from wrapcalc.searches import design_space as space

BASE = {"a": 2.0, "b": 3.0}


def asked(function):
    """A function of a and b that takes what `design_space` gives: some inputs, the others as designed."""
    def use(v):
        return np.atleast_1d(np.asarray(function(np.asarray(v.get("a", BASE["a"]), float),
                                                 np.asarray(v.get("b", BASE["b"]), float))))
    return use


PRODUCT = asked(lambda a, b: a * b / 12)  # 0.5 in the design; a up to 4, b up to 6


# -- edges --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("name", "edge"), [("a", 4.0), ("b", 6.0)])
def test_an_edge_is_where_the_use_is_full(name, edge):
    """independent: a b = 12 by hand."""
    found = space.farthest_holding(PRODUCT, BASE, name, 100.0, tolerance=1e-10, points=50)
    assert found.value <= edge * (1 + 2e-9) and found.value == pytest.approx(edge, rel=1e-8)
    assert found.failing is not None and found.failing > found.value
    assert found.failing - found.value <= 1e-10 and found.use_at_value == pytest.approx(1, rel=1e-8)
    assert float(PRODUCT({name: found.failing})[0]) > 1


def test_an_edge_downwards():
    found = space.farthest_holding(asked(lambda a, b: 1 / a), BASE, "a", 0.1, tolerance=1e-10, points=50)
    assert found.value == pytest.approx(1, rel=1e-8) and found.failing < found.value


def test_where_nothing_stops_the_edge_is_the_end_of_the_way():
    found = space.farthest_holding(PRODUCT, BASE, "a", 3.0, tolerance=1e-9, points=10)
    assert (found.value, found.failing, found.steps) == (3.0, None, 0) and "as far as" in found.words


def test_the_nearest_failure_counts_and_not_a_later_island():
    island = asked(lambda a, b: np.where((a > 3) & (a < 4), 2.0, 0.5))
    found = space.farthest_holding(island, BASE, "a", 10.0, tolerance=1e-9, points=200)
    assert found.value == pytest.approx(3.0, abs=1e-8) and found.value <= 3.0


def test_infinite_use_is_a_failure_and_no_number_is_refused():
    stopped = asked(lambda a, b: np.where(a > 5, np.inf, 0.2))
    found = space.farthest_holding(stopped, BASE, "a", 9.0, tolerance=1e-9, points=20)
    assert found.value == pytest.approx(5, abs=1e-8)
    with pytest.raises(CalculationError, match="no number"):
        space.farthest_holding(asked(lambda a, b: np.where(a > 5, np.nan, 0.2)), BASE, "a", 9.0, tolerance=1e-9,
                               points=20)


def test_a_design_that_does_not_hold_has_no_edges():
    with pytest.raises(CalculationError, match="itself does not hold"):
        space.farthest_holding(asked(lambda a, b: a), BASE, "a", 9.0, tolerance=1e-9, points=20)
    with pytest.raises(CalculationError, match="itself does not hold"):
        space.box_that_holds(asked(lambda a, b: a), BASE, {"a": 9.0}, steps={"a": 1.0})


@pytest.mark.parametrize(("toward", "tolerance"), [(2.0, 1e-9), (math.nan, 1e-9), (3.0, 0.0)])
def test_a_way_that_is_none_is_refused(toward, tolerance):
    with pytest.raises(CalculationError, match="no way"):
        space.farthest_holding(PRODUCT, BASE, "a", toward, tolerance=tolerance, points=20)


# -- counts -------------------------------------------------------------------------------------------------------
def test_the_change_of_a_count_is_at_its_step():
    """independent: ceil(a b) is 6 in the design, 7 beyond a = 2, 5 up to a = 5/3."""
    count = asked(lambda a, b: np.ceil(a * b - 1e-9))
    down, up = space.change_of_count(count, BASE, "a", 0.5, 5.0, points=100)
    assert down.to == pytest.approx(5 / 3, rel=1e-7) and (down.count_before, down.count_after) == (6, 5)
    assert up.to == pytest.approx(2, rel=1e-7) and (up.count_before, up.count_after) == (6, 7)
    assert count({"a": down.to})[0] == 5 and count({"a": up.to})[0] == 7


def test_a_count_that_does_not_change_near_has_none():
    count = asked(lambda a, b: np.ceil(a * b - 1e-9))
    assert space.change_of_count(count, BASE, "a", 1.9, 2.0, points=50) == (None, None)


# -- swings -------------------------------------------------------------------------------------------------------
def test_the_greatest_swing_comes_first_and_no_thickness_before_all():
    required = asked(lambda a, b: np.where(a > 4, np.inf, a + 10 * b))
    swings = space.tornado(required, BASE, {"a": (1.9, 2.1), "b": (2.5, 3.5)})
    assert [s.name for s in swings] == ["b", "a"]
    assert (swings[0].low, swings[0].high) == (27.0, 37.0) and (swings[1].low, swings[1].high) == (31.9, 32.1)
    assert space.tornado(required, BASE, {"b": (2.5, 3.5), "a": (1.0, 5.0)})[0].name == "a"


def test_a_tolerance_of_what_is_no_input_is_refused():
    with pytest.raises(CalculationError, match="no input"):
        space.tornado(PRODUCT, BASE, {"c": (1.0, 2.0)})


# -- draws --------------------------------------------------------------------------------------------------------
def test_draws_agree_with_the_closed_form_and_repeat():
    """independent: a normal about 2 with deviation 0.5 is above 3 with the probability of two deviations."""
    use = asked(lambda a, b: a / 3)
    found = space.sampled(use, BASE, {"a": ("normal", 0.5 * 1.959963984540054, 0.95)}, 200_000, 11)
    exact = 0.5 * math.erfc(2 / math.sqrt(2))
    assert found.interval[0] <= exact <= found.interval[1] and found.interval[0] <= found.above <= found.interval[1]
    assert found.quantiles[0.5] == pytest.approx(2 / 3, rel=0.01)
    assert found == space.sampled(use, BASE, {"a": ("normal", 0.5 * 1.959963984540054, 0.95)}, 200_000, 11)
    assert found.above != space.sampled(use, BASE, {"a": ("normal", 0.98, 0.95)}, 200_000, 12).above


def test_draws_in_blocks_are_the_same_inputs_as_one_by_one():
    """The number of draws is no multiple of a block, and every draw is asked exactly once."""
    asked_for = []

    def use(v):
        asked_for.append(len(v["a"]))
        return np.zeros(len(v["a"]))
    found = space.sampled(use, BASE, {"a": ("normal", 1.0, 0.95)}, 45_001, 1)
    assert sum(asked_for) == 45_001 and found.above == 0 and found.interval[0] == 0 and found.interval[1] > 0


def test_a_draw_without_a_number_is_refused_and_a_stopped_one_counts():
    with pytest.raises(CalculationError, match="no number"):
        space.sampled(asked(lambda a, b: a * np.nan), BASE, {"a": ("normal", 1.0, 0.95)}, 1000, 1)
    half = asked(lambda a, b: np.where(a > 2, np.inf, 0.5))
    stopped = space.sampled(half, BASE, {"a": ("normal", 1.0, 0.95)}, 1000, 1)
    assert 0.4 < stopped.above < 0.6 and stopped.quantiles[0.95] == math.inf


# -- box ----------------------------------------------------------------------------------------------------------
def test_the_box_holds_at_its_worst_corner_where_single_edges_do_not():
    """independent: with a to 4 and b to 6 the corner is 24; the common share s solves (2 + 2s)(3 + 3s) = 12."""
    box = space.box_that_holds(PRODUCT, BASE, {"a": 4.0, "b": 6.0}, steps={"a": 1e-6, "b": 1e-6})
    assert box.fraction == pytest.approx(math.sqrt(2) - 1, abs=2 ** -11) and box.use <= space.FULL
    assert box.worst == pytest.approx({"a": box.edges["a"], "b": box.edges["b"]})


def test_the_box_is_rounded_towards_the_design():
    box = space.box_that_holds(PRODUCT, BASE, {"a": 4.0, "b": 6.0}, steps={"a": 0.5, "b": 0.25})
    assert box.edges == {"a": 2.5, "b": 4.0}
    down = space.box_that_holds(asked(lambda a, b: 1.1 / a), BASE, {"a": 1.1}, steps={"a": 0.25})
    assert down.edges == {"a": 1.25}


def test_a_box_with_no_room_is_the_design():
    full = asked(lambda a, b: a * b / 6)
    box = space.box_that_holds(full, BASE, {"a": 2.0 + 1e-12, "b": 3.0 + 1e-12}, steps={"a": 0.1, "b": 0.1})
    assert box.edges == BASE


@settings(max_examples=60, deadline=None)
@given(st.floats(1.0, 6.0), st.floats(1.0, 6.0), st.integers(0, 2**31))
def test_every_point_of_a_box_holds(pa, pb, seed):
    """A use that grows with both inputs: no point drawn inside the box is above 1."""
    use = asked(lambda a, b: 0.5 * ((a / 2) ** pa + (b / 3) ** pb))
    edges = {n: space.farthest_holding(use, BASE, n, 20.0, tolerance=1e-9, points=40).value for n in BASE}
    box = space.box_that_holds(use, {"a": 1.0, "b": 1.5}, edges, steps={"a": 0.01, "b": 0.01})
    draw = np.random.default_rng(seed).random((200, 2))
    low = np.array([1.0, 1.5])
    points = low + draw * (np.array([box.edges["a"], box.edges["b"]]) - low)
    assert np.all(use({"a": points[:, 0], "b": points[:, 1]}) <= space.FULL)
