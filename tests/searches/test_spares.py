"""Spares against the binomial distribution of scipy; packs by opening them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, nbinom

from wrapcalc.errors import CalculationError
from wrapcalc.searches.spares import enough, pooled, spares

SHARES = st.floats(0.001, 0.5)


@given(st.integers(1, 400), st.integers(0, 40), SHARES)
def test_probability_is_that_of_scipy(need, spare, spoil):
    """independent: binomial over all pieces, and the negative binomial of spoilt ones before the last good one."""
    assert enough(need, spare, spoil) == pytest.approx(binom.cdf(spare, need + spare, spoil), rel=1e-9)
    assert enough(need, spare, spoil) == pytest.approx(nbinom.cdf(spare, need, 1 - spoil), rel=1e-9)


@given(st.integers(1, 300), SHARES, st.floats(0.5, 0.9999))
def test_spares_are_the_fewest_that_do(need, spoil, confidence):
    s = spares(need, spoil, confidence)
    assert nbinom.cdf(s, need, 1 - spoil) >= confidence - 1e-9
    assert s == 0 or nbinom.cdf(s - 1, need, 1 - spoil) < confidence + 1e-9


@given(st.lists(st.integers(0, 60), min_size=1, max_size=6), SHARES, st.floats(0.9, 0.999))
def test_spares_are_never_fewer_than_a_sum_over_the_needed_pieces_alone_gives(needs, spoil, confidence):
    """That sum takes every spare for good."""
    for need in needs:
        alone = next(s for s in range(need + 1) if binom.cdf(s, need, spoil) >= confidence - 1e-12)
        assert spares(need, spoil, confidence) >= alone


@pytest.mark.parametrize(("need", "alone", "ours"), [(20, 2, 3), (40, 4, 4)])
def test_rows_that_count_the_needed_pieces_only(need, alone, ours):
    """regression: our own earlier numbers for 4 % and 95 %, by the sum over the needed pieces alone."""
    assert next(s for s in range(need) if binom.cdf(s, need, 0.04) >= 0.95) == alone
    assert spares(need, 0.04, 0.95) == ours


def test_spares_of_nothing_of_what_is_never_spoilt_and_of_a_limit_met_exactly():
    assert spares(0, 0.3, 0.99) == 0 and spares(50, 0.0, 0.9999) == 0
    assert spares(1, 0.05, 0.95) == 0
    assert spares(1, 0.0500001, 0.95) == 1
    assert spares(100_000, 0.001, 0.95) > 100


@pytest.mark.parametrize("wrong", [(-1, 0.1, 0.9), (1, 1.0, 0.9), (1, -0.1, 0.9), (1, 0.1, 1.0), (1, math.nan, 0.9),
                                   (2_000_000, 0.1, 0.9)])
def test_what_is_no_share_or_number_is_refused(wrong):
    with pytest.raises(CalculationError, match="spares"):
        spares(*wrong)


def test_an_opened_pack_stays_at_its_site():
    """regression: four needs of our own earlier calculation in packs of 0.5 kg, 7 packs site by site."""
    needs = [0.416, 0.62, 0.21, 1.05]
    two = pooled(needs, 0.5)
    assert (two.per_site, two.apart, two.together) == ((1, 2, 1, 3), 7, 7)
    assert pooled(needs, 0.5, two_part=False).together == 5


@given(st.lists(st.floats(0, 30), max_size=8), st.floats(0.1, 5))
def test_one_store_never_needs_more_and_always_holds_what_is_needed(needs, pack):
    p = pooled(needs, pack, two_part=False)
    assert p.together <= p.apart == sum(p.per_site)
    assert p.together * pack >= sum(needs) - 1e-8 * pack * (len(needs) + 1)
    assert pooled(needs, pack).together == p.apart


def test_an_exact_number_of_packs_is_not_raised():
    assert pooled([0.3 * 3, 0.3 * 7], 0.3).per_site == (3, 7)


@pytest.mark.parametrize(("needs", "pack"), [([1.0], 0.0), ([-1.0], 1.0), ([math.nan], 1.0), ([1.0], math.inf)])
def test_packs_of_no_size_and_needs_below_nothing_are_refused(needs, pack):
    with pytest.raises(CalculationError, match="packs over several sites"):
        pooled(needs, pack)
