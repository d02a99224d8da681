"""Bias of a run: scipy is the second route; a sample that is biased on purpose must be found out."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wrapcalc.campaign.measured.run_bias import FEWEST, Pair, exact_interval, run_bias
from wrapcalc.errors import CalculationError


def pairs(listing, field, wall=8.74):
    return [Pair(f"F{i:03d}", a, b, wall) for i, (a, b) in enumerate(zip(listing, field, strict=True))]


def sample(n=60, shift=-0.4, scatter=0.3, seed=1):
    rng = np.random.default_rng(seed)
    field = rng.uniform(1.5, 5, n)
    return pairs(np.maximum(field + shift + rng.normal(0, scatter, n), 0), field)


@given(of=st.integers(1, 400), share=st.floats(0, 1), confidence=st.floats(0.5, 0.999))
def test_the_exact_interval_is_that_of_the_beta_distribution(of, share, confidence):
    hits = round(share * of)
    want = stats.binomtest(hits, of).proportion_ci(confidence, method="exact")  # independent: beta quantiles
    assert exact_interval(hits, of, confidence) == pytest.approx((want.low, want.high), rel=1e-9, abs=1e-12)


def test_many_readings_give_the_interval_too():
    want = stats.binomtest(7900, 10_000).proportion_ci(0.95, method="exact")  # independent
    assert exact_interval(7900, 10_000, 0.95) == pytest.approx((want.low, want.high), rel=1e-9)


def test_all_or_none_inside_give_the_closed_form():
    # independent: p^n = tail at all hits, (1 - p)^n = tail at none
    assert exact_interval(20, 20, 0.95) == pytest.approx((0.025 ** (1 / 20), 1.0), rel=1e-12)
    assert exact_interval(0, 20, 0.95) == pytest.approx((0.0, 1 - 0.025 ** (1 / 20)), rel=1e-12)


@pytest.mark.parametrize("bad", [(3, 2, 0.9), (-1, 2, 0.9), (0, 0, 0.9), (1, 2, 1.0)])
def test_what_is_no_share_is_refused(bad):
    with pytest.raises(CalculationError, match="not a share"):
        exact_interval(*bad)


@given(seed=st.integers(0, 1000), n=st.integers(3, 80))
def test_mean_and_its_interval_are_those_of_the_t_test(seed, n):
    p = sample(n, seed=seed)
    errors = [q.error for q in p]
    got = run_bias(p, tolerance=0.87)
    want = stats.ttest_1samp(errors, 0.0).confidence_interval(0.95)  # independent
    assert (got.low, got.high) == pytest.approx((want.low, want.high), rel=1e-8)
    assert got.deviation == pytest.approx(np.std(errors, ddof=1)) and got.mean == pytest.approx(np.mean(errors))
    assert got.biased == (stats.ttest_1samp(errors, 0.0).pvalue < 0.05)
    assert got.within == sum(abs(e) <= 0.87 for e in errors)


def test_a_run_that_reads_too_shallow_gives_an_allowance_of_the_worse_end():
    got = run_bias(sample(), tolerance=0.87, claimed=0.8)
    assert got.biased and got.mean < 0 and got.allowance() == -got.low > 0.4
    assert "The run reads shallower than the ditch by" in got.told[0]
    assert got.status == "from memory" and "API 1163" in got.citation


def test_pairs_that_were_dug_for_their_listed_depth_hide_how_shallow_a_run_reads():
    """Independent: a run with no bias at all, of which the features listed deepest are dug, seems to read too deep."""
    rng = np.random.default_rng(3)
    true = rng.uniform(1.0, 5.0, 4000)
    listed = np.maximum(true + rng.normal(0.0, 0.6, len(true)), 0.0)
    every = [Pair(f"F{i}", a, b, 8.7) for i, (a, b) in enumerate(zip(listed.tolist(), true.tolist(), strict=True))]
    deepest = sorted(every, key=lambda p: -p.listing)[:200]
    whole, dug = run_bias(every, tolerance=0.87), run_bias(deepest, tolerance=0.87)
    assert abs(whole.mean) < 0.05 and dug.biased and dug.mean > 0.3
    assert all(b.told[-1].startswith("The pairs were chosen by listed depth, not at random") for b in (whole, dug))


def test_a_run_that_reads_too_deep_takes_nothing_off_without_a_reason():
    got = run_bias(sample(shift=0.6), tolerance=0.87)
    assert got.low > 0 and got.allowance() == 0.0 and "deeper" in got.told[0]
    with pytest.raises(CalculationError, match="give a reason, or carry 0 mm"):
        got.allowance(" ", negative=True)
    assert got.allowance("engineer's decision 14", negative=True) == -got.low < 0


def test_a_claim_that_cannot_be_chance_is_doubted():
    got = run_bias(sample(scatter=1.5, shift=0), tolerance=0.87, claimed=0.8)
    assert got.claim_doubted and got.share_high < 0.8
    assert "Fewer readings lie within the tolerance" in " ".join(got.told)
    assert not run_bias(sample(scatter=0.3, shift=0), tolerance=0.87, claimed=0.8).claim_doubted


def test_a_tolerance_may_be_one_for_each_pair():
    p = pairs([3.0, 3.0, 3.0], [3.5, 3.9, 2.0])
    assert run_bias(p, tolerance=[0.5, 0.8, 1.0]).within == 2
    none = run_bias(p, tolerance=None)
    assert math.isnan(none.share) and "No tolerance of depth is stated" in " ".join(none.told)


def test_few_pairs_are_told_and_give_no_allowance():
    got = run_bias(sample(FEWEST - 1), tolerance=0.87)
    assert f"Only {FEWEST - 1} pairs" in got.told[0]
    with pytest.raises(CalculationError, match="at least 5 are needed"):
        got.allowance()


def test_the_order_of_the_pairs_does_not_matter():
    p = sample()
    assert run_bias(p, tolerance=0.87) == run_bias(p[::-1], tolerance=0.87)


@pytest.mark.parametrize(("p", "more", "told"), [
    (sample(1), {}, "1 pairs of listing"), (pairs([1, math.nan], [1, 1]), {}, "F001: depths of 0 mm or more"),
    (pairs([1, 2], [1, -1]), {}, "got 2 mm, -1 mm"), (pairs([1, 2], [1, 1], wall=0), {}, "wall 0 mm"),
    ([Pair("A", 1, 1, 8), Pair("A", 2, 1, 8)], {}, "twice"), (sample(5), {"tolerance": 0.0}, "tolerance above 0"),
    (sample(5), {"tolerance": [1.0]}, "one for each pair"), (sample(5), {"confidence": 0.2}, "confidence from"),
    (sample(5), {"claimed": 1.2}, "claimed share")])
def test_numbers_that_are_none_are_refused(p, more, told):
    with pytest.raises(CalculationError, match=told):
        run_bias(p, **{"tolerance": 0.87} | more)
