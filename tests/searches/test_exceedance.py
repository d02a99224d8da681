"""Probability of exceedance: closed, integrated by scipy, sampled, and by its limits.

The forms are written out here a second time, with closed inverses for the depth: nothing of the package's bisection or
quadrature is used in the independent route.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import ndtr
from scipy.stats import binom, binomtest, norm, truncnorm

from wrapcalc.errors import CalculationError
from wrapcalc.searches.exceedance import Integral, by_integral, by_simulation, critical_depths, lobatto

D, T, SMYS, LIMIT = 508.0, 9.38, 358.5, 7.504
#: Failure pressure of the sound pipe by either form, and the length at which the original form jumps (z = 20).
SOUND = {"original": 2 * T / D * 1.1 * SMYS, "modified": 2 * T / D * (SMYS + 69)}
JUMP = math.sqrt(20 * D * T)
quick = settings(derandomize=True, max_examples=40, deadline=None)


def bulging(form, z):
    if form == "original":
        return np.sqrt(1 + 0.8 * z)
    return np.where(z <= 50, np.sqrt(np.maximum(1 + 0.6275 * z - 0.003375 * z ** 2, 1)), 3.3 + 0.032 * z)


def strength(form):
    """Failure pressure (depth, length) of one form of ASME B31G-2012 (from memory)."""
    share = {"original": 2 / 3, "modified": 0.85}[form]

    def function(d, L):
        z, x = L ** 2 / (D * T), d / T
        short = SOUND[form] * (1 - share * x) / (1 - share * x / bulging(form, z))
        return np.where(z <= 20, short, SOUND[form] * (1 - x)) if form == "original" else short
    return function


def closed_depth(form, L, target):
    """The depth that fails at the target, the form turned round by hand, at most the limit."""
    p, z = target / SOUND[form], L ** 2 / (D * T)
    share = {"original": 2 / 3, "modified": 0.85}[form]
    if form == "original" and z > 20:
        return min((1 - p) * T, LIMIT)
    M = float(bulging(form, z))
    return min((1 - p) / (1 - p / M) / share * T, LIMIT) if p < M else math.inf


def by_scipy(form, target, depth, sigma_d, length, sigma_L):
    """The same integral by scipy, in two parts where the form jumps; the length error cut at nothing."""
    def inner(L):
        density = math.exp(-((L - length) / sigma_L) ** 2 / 2) / (sigma_L * math.sqrt(2 * math.pi))
        return density * ndtr((depth - closed_depth(form, L, target)) / sigma_d)
    low, high = max(1e-9, length - 9 * sigma_L), length + 9 * sigma_L
    cuts = sorted({low, high, *np.clip([JUMP, length - sigma_L, length, length + sigma_L, length + 4 * sigma_L], low,
                                       high)})
    total = sum(quad(inner, a, b, epsabs=0, epsrel=1e-10, limit=200)[0] for a, b in pairwise(cuts))
    return total / (norm.sf(0, length, sigma_L) if low == 1e-9 else 1.0)


CASES = [(form, target, depth, length) for form in SOUND for target in (7.59, 9.5) for depth in (5.1, 6.9)
         for length in (60.0, JUMP, 400.0)]
each = pytest.mark.parametrize(("form", "target", "depth", "length"), CASES)


@each
def test_critical_depth_is_the_form_turned_round(form, target, depth, length):
    lengths = np.array([length * 0.4, length, length * 1.01])
    ours = critical_depths(strength(form), lengths, target, LIMIT)
    assert ours == pytest.approx([closed_depth(form, L, target) for L in lengths], abs=1e-9)
    assert (strength(form)(ours, lengths) >= target).all(), "the passing side"


@each
def test_closed_without_length_error(form, target, depth, length):
    found = by_integral(strength(form), target, LIMIT, depth, 0.39, length, 0.0)
    assert found == Integral(found.probability, 0.0, 1)
    assert found.probability == pytest.approx(norm.sf(closed_depth(form, length, target), depth, 0.39), rel=1e-9)


@each
def test_a_vanishing_length_error_is_none(form, target, depth, length):
    """Away from the jump; at it the answer lies between both sides."""
    shorter, longer = (by_integral(strength(form), target, LIMIT, depth, 0.39, length * (1 + hair), 0.0).probability
                       for hair in (-1e-9, 1e-9))
    small = by_integral(strength(form), target, LIMIT, depth, 0.39, length, 1e-7).probability
    assert small == pytest.approx((shorter + longer) / 2, rel=1e-5)
    assert (longer > 1.5 * shorter) == (form == "original" and length == JUMP and longer > 1e-300 and shorter < 0.5)


@each
@pytest.mark.parametrize("sigma_L", [6.2, 40.0])
def test_integral_against_scipy(form, target, depth, length, sigma_L):
    """Also across the jump of the original form, and with lengths cut at nothing (60 mm with 40 mm of error)."""
    found = by_integral(strength(form), target, LIMIT, depth, 0.39, length, sigma_L)
    assert found.probability == pytest.approx(by_scipy(form, target, depth, 0.39, length, sigma_L), rel=2e-7)
    assert found.error <= 1e-6 * found.probability and found.panels >= 16


def test_the_jump_is_closed_in_wherever_it_lies():
    """Places within a panel by even steps, and hard by the edges of panels and of their halves."""
    sigma_L, worst = 6.2, 0.0
    by_edges = [JUMP + (8 - k / 2) * sigma_L + hair for k in (8, 13, 14, 16, 17) for hair in (-1e-3, 0, 1e-6)]
    for length in (*np.linspace(JUMP - 9, JUMP + 9, 9), *by_edges):
        true = by_scipy("original", 9.5, 4.2, 0.39, length, sigma_L)
        found = by_integral(strength("original"), 9.5, LIMIT, 4.2, 0.39, length, sigma_L)
        worst = max(worst, abs(found.probability - true) / true)
    assert worst < 2e-7


@pytest.mark.parametrize("z", [37.0, 37.8, 38.05, 38.2, 38.6, 45.0])
@pytest.mark.parametrize("change", [1e-8, 1e-4])
def test_a_chance_too_small_for_its_digits_comes_to_rest(z, change):
    """A reading good to a fifth of a millimetre, far from its limit: the smallest numbers change at every halving.

    A ceiling on the calls stands for a clock: without rest, the panels double until the memory is full.
    """
    calls = 0

    def failure(d, L):
        nonlocal calls
        calls += 1
        assert calls < 5000 and d.size < 20_000, "no rest"
        return strength("modified")(d, L)
    sigma = (closed_depth("modified", 60.0, 7.59) - 2.0) / z
    found = by_integral(failure, 7.59, LIMIT, 2.0, sigma, 60.0, 6.2, change=change)
    assert 0 <= found.probability < 1e-270 and found.error <= 1e-290


def test_a_small_chance_keeps_its_digits_across_the_jump():
    """About 1e-50: what counts as no change is far below it."""
    true = by_scipy("original", 9.5, 1.0, 0.15, JUMP, 6.2)
    found = by_integral(strength("original"), 9.5, LIMIT, 1.0, 0.15, JUMP, 6.2).probability
    assert 1e-60 < true < 1e-40 and found == pytest.approx(true, rel=2e-7, abs=0)


@pytest.mark.parametrize(("form", "length"), [("original", JUMP), ("original", JUMP - 5), ("modified", 120.0)])
def test_the_error_given_covers_the_error_made(form, length):
    """Where little change is asked for, so that there is an error to see."""
    found = by_integral(strength(form), 9.5, LIMIT, 4.2, 0.39, length, 30.0, change=1e-4)
    made = abs(found.probability - by_scipy(form, 9.5, 4.2, 0.39, length, 30.0))
    assert made <= found.error <= 1e-2 * found.probability and found.error > 0


@pytest.mark.parametrize("n", [4, 8])
def test_points_with_both_ends_integrate_polynomials(n):
    """Exact up to the degree 2 n - 3, not beyond; four points are those of the textbook, at ±1 and ±√0.2."""
    nodes, weights = lobatto(n)
    assert nodes[[0, -1]].tolist() == [-1, 1] and weights.sum() == pytest.approx(2)
    for degree in range(2 * n - 2):
        assert weights @ nodes ** degree == pytest.approx((1 + (-1) ** degree) / (degree + 1), abs=1e-13)
    assert abs(weights @ nodes ** (2 * n - 2) - 2 / (2 * n - 1)) > 1e-6
    if n == 4:
        assert nodes[1:3] ** 2 == pytest.approx([0.2, 0.2]) and weights == pytest.approx([1 / 6, 5 / 6, 5 / 6, 1 / 6])


def test_the_length_error_is_made_whole_again_when_cut():
    """scipy's truncated normal: an error of the length as large as the length, on a form without any length in it."""
    chance = by_integral(lambda d, L: 12 - d + 0 * L, 6.0, LIMIT, 5.0, 0.5, 30.0, 30.0).probability
    assert chance == pytest.approx(norm.sf(6, 5, 0.5), rel=1e-9)
    # one whose whole answer hangs on the length: failed above 45 mm, sound below
    chance = by_integral(lambda d, L: np.where(L > 45, 0.0, 100.0), 6.0, LIMIT, 1.0, 0.1, 30.0, 30.0).probability
    assert chance == pytest.approx(truncnorm.sf(0.5, -1, math.inf), rel=1e-6)


# -- sampling ------------------------------------------------------------------------------------------------------

SEEDS = range(1, 13)
#: Together fewer than one run in ten thousand of an honest sampler has more misses than this.
MISSES = int(binom.isf(1e-4, len(SEEDS), 0.05))


@pytest.mark.parametrize(("form", "target", "depth", "length", "sigma_L"), [
    ("original", 9.5, 4.2, JUMP, 6.2), ("modified", 9.5, 6.2, 120.0, 20.0), ("modified", 7.59, 6.9, 60.0, 40.0),
    ("modified", 12.0, 3.2, 200.0, 0.0)])
def test_the_integral_lies_in_the_interval_of_the_simulation(form, target, depth, length, sigma_L):
    """In 95 of 100 seeds each; the count of misses over all seeds is held at a family-wise level of 1e-4."""
    integral = by_integral(strength(form), target, LIMIT, depth, 0.39, length, sigma_L).probability
    assert 0.01 < integral < 0.99, "a simulation of this size would say nothing"
    missed = 0
    for seed in SEEDS:
        found = by_simulation(strength(form), target, LIMIT, depth, 0.39, length, sigma_L, 20_000, seed)
        missed += not found.low <= integral <= found.high
    assert missed <= MISSES < len(SEEDS) / 2


def test_the_same_seed_gives_the_same_samples():
    one, two, other = (by_simulation(strength("modified"), 9.5, LIMIT, 6.2, 0.39, 120.0, 20.0, 5000, s)
                       for s in (7, 7, 8))
    assert one == two and one.probability != other.probability and (one.samples, one.seed) == (5000, 7)


def test_no_length_below_nothing_is_drawn():
    """A form with the square of the length in it would never tell."""
    drawn = []

    def failure(d, L):
        drawn.append(L)
        return 9.0 + 0 * L
    by_simulation(failure, 6.0, 90.0, 3.0, 0.4, 30.0, 30.0, 20_000, 3)
    L = np.concatenate(drawn)
    assert len(L) == 20_000 and (L > 0).all()
    # the mean within five standard errors of that of the truncated normal distribution
    assert L.mean() == pytest.approx(truncnorm.mean(-1, math.inf, 30, 30), abs=5 * 30 / math.sqrt(len(L)))


@pytest.mark.parametrize("share", [0.0, 0.0004, 0.1, 0.5, 0.97, 1.0])
def test_wilson_interval_against_scipy(share):
    """A form that fails a known share of the drawn depths: the interval of scipy for the same count."""
    n, seed = 2500, 5
    drawn = np.sort(np.maximum(np.random.Generator(np.random.PCG64(seed)).normal(3.0, 0.5, n), 0))
    count = round(share * n)
    edge = 0.0 if count == n else 99.0 if count == 0 else (drawn[n - count - 1] + drawn[n - count]) / 2
    found = by_simulation(lambda d, L: np.where(d > edge, 0.0, 9.0), 5.0, 90.0, 3.0, 0.5, 100.0, 0.0, n, seed)
    want = binomtest(count, n).proportion_ci(confidence_level=0.95, method="wilson")
    assert (found.probability, found.low, found.high) == pytest.approx((count / n, want.low, want.high), abs=1e-12)


# -- limits --------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("sigma_L", [0.0, 6.2])
@pytest.mark.parametrize("depth", [0.2, 3.0])
def test_a_target_above_the_sound_pipe_is_missed_for_certain(sigma_L, depth):
    """Whatever the depth: also where half of the readings would be below nothing."""
    target = SOUND["modified"] * 1.0001
    assert by_integral(strength("modified"), target, LIMIT, depth, 0.39, 100.0, sigma_L).probability == (
        pytest.approx(1.0, abs=1e-12))
    assert by_simulation(strength("modified"), target, LIMIT, depth, 0.39, 100.0, sigma_L, 1000, 1).probability == 1.0
    assert critical_depths(strength("modified"), np.array([10.0, 900.0]), target, LIMIT).tolist() == [-math.inf] * 2


@pytest.mark.parametrize("sigma_L", [0.0, 6.2])
def test_a_target_that_is_just_met_passes(sigma_L):
    """Below the target is a failure, at it is none."""
    def level(d, L):
        return 6.0 + 0 * d * L
    found = by_integral(level, 6.0, LIMIT, 7.0, 0.39, 100.0, sigma_L).probability
    assert found == pytest.approx(norm.sf(LIMIT, 7.0, 0.39), rel=1e-9)
    assert by_simulation(level, 6.0, 90.0, 7.0, 0.39, 100.0, sigma_L, 1000, 1).probability == 0


@pytest.mark.parametrize("sigma_L", [0.0, 6.2])
def test_a_target_that_is_always_met_leaves_the_depth_limit(sigma_L):
    found = by_integral(strength("modified"), 0.1, LIMIT, 7.0, 0.39, 100.0, sigma_L)
    assert found.probability == pytest.approx(norm.sf(LIMIT, 7.0, 0.39), rel=1e-9)


def test_a_method_that_ends_gives_no_pressure_beyond():
    """Outside its first level a factor method allows nothing (0 MPa): the depth where it ends is then critical."""
    def ends(d, L):
        return np.where(d <= 3.3, 9.0 + 0 * L, 0.0)
    assert critical_depths(ends, np.array([50.0, 500.0]), 6.0, LIMIT) == pytest.approx([3.3, 3.3], abs=1e-9)
    assert by_integral(ends, 6.0, LIMIT, 3.0, 0.39, 100.0, 6.2).probability == pytest.approx(norm.sf(3.3, 3, 0.39),
                                                                                             rel=1e-8)


@pytest.mark.parametrize("call", [by_integral, lambda *a: by_simulation(*a, 1000, 1)])
def test_no_number_is_never_a_failure_nor_a_pass(call):
    with pytest.raises(CalculationError, match=r"no number at the depth .* mm and the length .* mm"):
        call(lambda d, L: np.where(d > 4, np.nan, 9.0), 6.0, LIMIT, 3.9, 0.39, 100.0, 6.2)


@pytest.mark.parametrize(("place", "value"), [(2, 0.0), (2, math.nan), (3, math.inf), (4, 0.0), (4, -0.1),
                                              (4, math.nan), (5, 0.0), (5, -3.0), (6, -1.0), (6, math.inf),
                                              (1, math.nan)])
def test_sizes_that_are_none_are_refused(place, value):
    arguments = [strength("modified"), 7.59, LIMIT, 3.4, 0.39, 100.0, 6.2]
    arguments[place] = value
    for call in (by_integral, lambda *a: by_simulation(*a, 1000, 1)):
        with pytest.raises(CalculationError, match="must be positive"):
            call(*arguments)
    with pytest.raises(CalculationError, match="at least 1 is needed"):
        by_simulation(strength("modified"), 7.59, LIMIT, 3.4, 0.39, 100.0, 6.2, 0, 1)


@quick
@given(st.sampled_from(sorted(SOUND)), st.floats(2, 11), st.floats(0.5, 7.4), st.floats(0.1, 1.2), st.floats(30, 600),
       st.sampled_from([0.0, 3.0, 25.0]), st.floats(0.01, 0.5))
def test_more_of_anything_bad_is_never_likelier_to_hold(form, target, depth, sigma, length, sigma_L, more):
    """Never less likely with a higher target, a deeper or longer loss; never likelier with a higher depth limit."""
    def at(**changed):
        a = {"target": target, "limit": LIMIT, "depth": depth, "sigma_d": sigma, "length": length, "sigma_L": sigma_L}
        return by_integral(strength(form), **a | changed).probability
    base = at()
    slack = 1e-7 * base + 1e-13
    assert 0 <= base <= 1
    assert at(target=target + more) >= base - slack
    assert at(depth=depth + more) >= base - slack
    if sigma_L == 0:
        assert at(length=length * (1 + more)) >= base - slack
    assert at(limit=LIMIT + more) <= base + slack


@quick
@given(st.floats(2, 11), st.floats(0.5, 7.4), st.floats(30, 600), st.floats(0.1, 0.6), st.floats(1.05, 2))
def test_a_larger_tolerance_moves_the_chance_towards_a_half(target, depth, length, sigma, factor):
    """Above a half it falls, below it rises: a loose reading says less, not always worse."""
    small, large = (by_integral(strength("modified"), target, LIMIT, depth, s, length, 0.0).probability
                    for s in (sigma, sigma * factor))
    assert (large >= small) if small < 0.5 else (large <= small)
    assert (large - 0.5) * (small - 0.5) >= 0


def test_regression_of_a_known_pipe():
    """Our own earlier numbers (regression): 24 in x 0.250 in, X52, 5 in long, MAOP 780 psi, 0.85 dL form.

    60 % deep with 10 % at 80 % of readings; without and with a length error of 10 mm.
    """
    inch, psi = 25.4, 6.894757293168361e-3
    t, outside, flow = 0.25 * inch, 24 * inch, 62_000 * psi

    def failure(d, L):
        z = L ** 2 / (outside * t)
        M = np.sqrt(1 + 0.6275 * z - 0.003375 * z ** 2)
        return 2 * t / outside * flow * (1 - 0.85 * d / t) / (1 - 0.85 * d / t / M)

    sigma, sigma_L = 0.078030 * t, 0.30721 * inch
    for k, error, chance in ((1.1, 0, 0.45006), (1.0, 0, 0.13638), (1.1, sigma_L, 0.44671), (1.0, sigma_L, 0.13798)):
        found = by_integral(failure, k * 780 * psi, 0.8 * t, 0.6 * t, sigma, 5 * inch, error)
        assert found.probability == pytest.approx(chance, rel=2e-4)
