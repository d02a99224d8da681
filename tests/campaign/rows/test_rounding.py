"""Rounding on arrays is rounding of each number, and no row next to a limit goes unseen."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc import units
from wrapcalc.campaign.rows.rounding import Rounded, Unrounded, steady_rows

NUMBERS = st.one_of(st.floats(1e-9, 1e15), st.floats(-1e15, -1e-9), st.just(0.0),
                    st.integers(1, 10 ** 12).flatmap(lambda n: st.sampled_from([n / 10 ** k for k in range(14)])),
                    st.integers(-6, 14).map(lambda k: 10.0 ** k),
                    st.integers(-6, 13).map(lambda k: 9.9999999999999 * 10.0 ** k))


@given(st.lists(NUMBERS, min_size=1, max_size=40))
@settings(max_examples=300, deadline=None)
def test_many_numbers_are_rounded_like_one(numbers):
    """Independent: second route, by decimal text."""
    found = steady_rows(np.array(numbers))
    for x, y in zip(numbers, found, strict=True):
        if 1e-11 < abs(x) < 1e12:
            assert y == units.steady(x)
        else:
            assert y == pytest.approx(units.steady(x), rel=1.1e-11)


@given(st.lists(st.tuples(st.integers(10 ** 11, 10 ** 12 - 1), st.integers(0, 14), st.sampled_from([2, 4, 8, 5, 0.5])),
                min_size=1, max_size=30))
@settings(max_examples=300, deadline=None)
def test_what_is_half_way_goes_the_way_of_one(parts):
    """Twelve digits over two: with a safety factor of 2 every other safe pressure is half way."""
    numbers = [n / 10.0 ** k / by for n, k, by in parts if 1e-3 < n / 10.0 ** k / by < 1e11]
    assert steady_rows(np.array(numbers)).tolist() == [units.steady(x) for x in numbers]


def test_what_means_a_limit_is_the_limit():
    """8.2 - 0.2 is 8; 0.1 three times is 0.3: regression of what the single case decides so."""
    x = np.array([8.2 - 0.2, 0.1 + 0.1 + 0.1, 6.808 / 8.51, 7.0 * 0.8 / 7.0])
    assert steady_rows(x).tolist() == [8.0, 0.3, 0.8, 0.8]


def test_what_is_no_number_stays_so():
    x = np.array([np.nan, np.inf, -np.inf, 0.0, -0.0])
    np.testing.assert_equal(steady_rows(x), x)


def test_rows_next_to_a_limit_are_told():
    how = Unrounded()
    assert how.above(np.array([0.79, 0.81]), 0.8).tolist() == [False, True] and how.near is None
    how.above(np.array([0.8 + 1e-12, 0.81]), 0.8)
    assert how.near is not None and how.near.tolist() == [True, False]
    how.below(np.array([0.5, 0.8]), np.array([0.6, 0.8]))
    assert how.near.tolist() == [True, True]
    how = Unrounded()
    assert not how.below(np.array([math.nan]), 0.8).any() and how.near is None


def test_rounded_comparisons_are_as_they_stand():
    how = Rounded()
    assert not how.above(how.steady(np.array([0.8 + 1e-16 * 3])), 0.8).any()
    assert how.below(np.array([0.8 - 1e-11]), 0.8).all() and how.near is None
