"""The weakest sub-length against plain loops, and what must hold for any profile."""

from __future__ import annotations

import tracemalloc
from decimal import Decimal, localcontext
from fractions import Fraction
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc.errors import CalculationError
from wrapcalc.formulas import effective_area
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.searches import sub_lengths
from wrapcalc.searches.sub_lengths import weakest_pressures, weakest_sub_length

D, T, FLOW = 609.6, 9.525, 428.0
quick = settings(derandomize=True, max_examples=60, deadline=None)


# -- two plain loops -------------------------------------------------------------------------------------------------

def pressure_of(area: float, length: float, D=D, t=T, flow=FLOW) -> float:
    """The recorded formulas, one after the other."""
    M = strength.bulging_factor_085dl.core(strength.length_parameter.core(length, D, t))
    return strength.failure_pressure.core(
        effective_area.failure_stress_effective_area.core(flow, area, length, t, M), t, D)


def by_formulas(x, depth, D=D, t=T, flow=FLOW) -> dict[tuple[int, int], float]:
    """Every sub-length through the recorded formulas; each area summed afresh."""
    x, depth = [float(v) for v in x], [float(v) for v in depth]
    return {(i, j): pressure_of(sum((depth[k] + depth[k + 1]) / 2 * (x[k + 1] - x[k]) for k in range(i, j)),
                                x[j] - x[i], D, t, flow)
            for i, j in combinations(range(len(x)), 2)}


def exactly(x, depth, D, t, flow) -> dict[tuple[int, int], float]:
    """Every sub-length in rational numbers and 50-digit roots; inputs as decimal text. Shares no code with ours."""
    x, depth, D, t, flow = [Fraction(v) for v in x], [Fraction(v) for v in depth], *map(Fraction, (D, t, flow))
    out = {}
    with localcontext() as digits:
        digits.prec = 50
        for i, j in combinations(range(len(x)), 2):
            length = x[j] - x[i]
            share = sum(((depth[k] + depth[k + 1]) * (x[k + 1] - x[k]) for k in range(i, j)), Fraction(0)) / (
                2 * length * t)
            z = length ** 2 / (D * t)
            if z <= 50:
                square = 1 + Fraction(6275, 10000) * z - Fraction(3375, 10 ** 6) * z ** 2
                M = (Decimal(square.numerator) / Decimal(square.denominator)).sqrt()
            else:
                line = Fraction(32, 1000) * z + Fraction(33, 10)
                M = Decimal(line.numerator) / Decimal(line.denominator)
            a = Decimal(share.numerator) / Decimal(share.denominator)
            whole = 2 * t / D * flow
            out[i, j] = float(Decimal(whole.numerator) / Decimal(whole.denominator) * (1 - a) / (1 - a / M))
    return out


def ranked(pressures: dict[tuple[int, int], float]) -> list[tuple[int, int, float]]:
    return [(i, j, p) for p, i, j in sorted((p, i, j) for (i, j), p in pressures.items())]


# -- profiles --------------------------------------------------------------------------------------------------------

@st.composite
def profiles(draw, least: int = 2, most: int = 14, wall: float = T):
    """Irregular stations, depths up to 0.8 of the wall, some of them nothing; short and long (z up to far above 50)."""
    n = draw(st.integers(least, most))
    stretch = draw(st.sampled_from([1.0, 4.0, 20.0]))
    gaps = draw(st.lists(st.floats(0.5, 60), min_size=n - 1, max_size=n - 1))
    inner = draw(st.lists(st.one_of(st.just(0.0), st.floats(0.01, 0.8)), min_size=n - 2, max_size=n - 2))
    start = draw(st.sampled_from([0.0, 137.5]))
    return (start + stretch * np.concatenate([[0.0], np.cumsum(gaps)]), wall * np.array([0.0, *inner, 0.0]))


def random_table(m: int, n: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    X = np.cumsum(rng.uniform(0.2, 1.8, (m, n)), axis=1) * rng.uniform(1, 40, (m, 1))
    depth = rng.uniform(0, 0.8, (m, n)) * T * (rng.uniform(size=(m, n)) > 0.2)
    depth[:, [0, -1]] = 0
    return X, depth


# -- values ----------------------------------------------------------------------------------------------------------

#: An invented profile on 24 in x 0.375 in pipe, inches and psi; flow stress 62 ksi.
INCHES = ("0 1 2 3 4 5 6 7 8 9 10".split(), "0 .05 .08 .10 .18 .20 .12 .06 .05 .03 0".split(), "24", "0.375", "62000")


def test_invented_profile_of_eleven_stations():
    """Independent: rational numbers. regression: 1582.7 psi and the next four as an earlier calculation of ours gave.

    The forms are the same in any units, so inches and psi go straight in.
    """
    x, depth = (np.array(v, dtype=float) for v in INCHES[:2])
    found = weakest_sub_length(x, depth, 24.0, 0.375, 62000.0)
    want = exactly(*INCHES)
    assert found.count == len(want) == 55  # IPC2022-87259 (seen): n!/(2 (n-2)!) for n = 11
    first, *others = ranked(want)[:5]
    assert (found.start, found.end) == first[:2] == (1, 7)
    assert found.pressure == pytest.approx(first[2], rel=1e-13)
    assert [o[:2] for o in found.others] == [o[:2] for o in others] == [(1, 8), (2, 8), (2, 7), (1, 9)]
    assert [o[2] for o in found.others] == pytest.approx([o[2] for o in others], rel=1e-13)
    assert (found.length, found.area) == (6.0, pytest.approx(0.735, rel=1e-13))
    # regression
    assert found.pressure == pytest.approx(1582.7, abs=0.05)
    assert [o[2] for o in found.others] == pytest.approx([1583.8, 1588.5, 1589.8, 1593.1], abs=0.05)
    assert pressure_of(float(np.trapezoid(depth, x)), 10.0, 24.0, 0.375, 62000.0) == pytest.approx(1625.2, abs=0.05)
    # the closed formulas at the governing sub-length
    assert pressure_of(found.area, found.length, 24.0, 0.375, 62000.0) == pytest.approx(found.pressure, rel=1e-13)


def test_profile_of_a_complex_shape():
    """Depths recalled from the appendix of DNV-RP-F101 (from memory); the effective-area answer is regression."""
    x = [str(Decimal("28.9") * k) for k in range(11)]
    depth = "0 1.0 1.1 1.1 1.1 1.3 1.8 2.8 2.8 1.6 0".split()
    found = weakest_sub_length(np.array(x, float), np.array(depth, float), 611.0, 8.2, 517.0)
    want = ranked(exactly(x, depth, "611.0", "8.20", "517"))[0]
    assert (found.start, found.end, found.pressure) == (*want[:2], pytest.approx(want[2], rel=1e-13))
    # regression
    assert found.pressure == pytest.approx(11.960, abs=5e-4)
    assert (found.start, found.end) == (1, 9)
    assert (found.length, found.area) == (pytest.approx(231.2), pytest.approx(384.37, abs=5e-3))


@pytest.mark.parametrize("length", [30.0, 300.0, 900.0])
def test_a_triangle_governs_as_a_whole(length):
    """Every part of a triangle from its foot has the mean depth d/2 or less, or is shorter: known in closed form."""
    d = 0.6 * T
    found = weakest_sub_length(np.array([0, 0.4 * length, length]), np.array([0, d, 0]), D, T, FLOW)
    assert (found.start, found.end) == (0, 2)
    assert found.pressure == pytest.approx(pressure_of(d * length / 2, length), rel=1e-13)
    assert len(found.others) == 2


@pytest.mark.parametrize("length", [50.0, 300.0, 538.0, 900.0])
@pytest.mark.parametrize("share", [0.2, 0.5, 0.8])
def test_a_box_with_ramps_lies_between_two_rectangles(length, share):
    """The flat part alone is a sub-length, so the answer is at most that of the rectangle d L. No sub-length holds more
    than d times its length, so it is at least that of a rectangle over flat part and ramps. Steep ramps: both meet."""
    d = share * T
    for ramp in (0.3 * length, 0.01 * length, 1e-7 * length):
        x = np.array([0, ramp, ramp + length, 2 * ramp + length])
        found = weakest_sub_length(x, np.array([0, d, d, 0]), D, T, FLOW)
        outer = x[-1]
        assert pressure_of(d * outer, outer) * (1 - 1e-12) <= found.pressure
        assert found.pressure <= pressure_of(d * length, length) * (1 + 1e-12)
    assert found.pressure == pytest.approx(pressure_of(d * length, length), rel=1e-6)


def test_a_long_box_is_weaker_than_the_085dl_form_says():
    """That form counts 85 % of the box: a profile that is flat brings the answer down, never up."""
    d, L = 0.7 * T, 900.0
    M = strength.bulging_factor_085dl.core(strength.length_parameter.core(L, D, T))
    modified = strength.failure_pressure.core(strength.failure_stress_085dl.core(FLOW, d, T, M), T, D)
    found = weakest_sub_length(np.array([0, 1, 1 + L, 2 + L]), np.array([0, d, d, 0]), D, T, FLOW)
    assert found.pressure < 0.8 * modified


@pytest.mark.parametrize("start", [0.0, 0.1, 12345.6])
def test_the_branch_at_z_50_is_chosen_as_the_formula_does(start):
    """D t = 5000 mm² and 500 mm: z = 50 in binary arithmetic too, unless the start is rounded; the scales must not
    decide. The other branch would differ by 4e-4."""
    x, depth = start + np.array([0, 50, 550, 600]), np.array([0, 5.0, 5.0, 0])
    want = by_formulas(x, depth, 500.0, 10.0)
    found = weakest_sub_length(x, depth, 500.0, 10.0, FLOW)
    assert found.pressure == pytest.approx(min(want.values()), rel=1e-12)
    for i, j, p in found.others:
        assert p == pytest.approx(want[i, j], rel=1e-12)
    whole = weakest_sub_length(x[1:], np.array([0, 5.0, 0]), 500.0, 10.0, FLOW)
    assert whole.pressure == pytest.approx(min(by_formulas(x[1:], [0, 5.0, 0], 500.0, 10.0).values()), rel=1e-12)
    in_rows = weakest_pressures(x[None], depth[None], 500.0, 10.0, FLOW)
    assert in_rows[0][0] == found.pressure


# -- properties ------------------------------------------------------------------------------------------------------

@quick
@given(profiles(), st.floats(100, 1500), st.floats(1, 3))
def test_every_sub_length_is_that_of_the_formulas(profile, diameter, wall_over):
    x, depth = profile
    t = T * wall_over
    want = by_formulas(x, depth, diameter, t)
    found = weakest_sub_length(x, depth, diameter, t, FLOW)
    n = len(x)
    assert found.count == len(want) == n * (n - 1) // 2
    assert found.pressure == pytest.approx(min(want.values()), rel=1e-12)
    assert want[found.start, found.end] == pytest.approx(found.pressure, rel=2e-12)
    assert pressure_of(found.area, found.length, diameter, t) == pytest.approx(found.pressure, rel=2e-12)
    assert [p for *_, p in found.others] == pytest.approx([p for *_, p in ranked(want)[1:5]], rel=2e-12)
    for i, j, p in found.others:
        assert want[i, j] == pytest.approx(p, rel=1e-12)
    assert len({(found.start, found.end), *((i, j) for i, j, _ in found.others)}) == 1 + len(found.others)
    assert max(want.values()) <= 2 * t / diameter * FLOW * (1 + 1e-12)


@pytest.mark.parametrize(("m", "n"), [(1, 2), (1, 3), (40, 5), (37, 23), (3, 200)])
def test_rows_give_what_each_gives_alone_to_the_last_bit(m, n, monkeypatch):
    """Short and long profiles mixed, each with a pipe of its own, in several blocks."""
    monkeypatch.setattr(sub_lengths, "_STATIONS", 16)
    X, depth = random_table(m, n, seed=m * n)
    rng = np.random.default_rng(m)
    diameter, wall, flow = rng.uniform(100, 1500, m), rng.uniform(9.6, 25, m), rng.uniform(230, 620, m)
    got = weakest_pressures(X, depth, diameter, wall, flow)
    alone = [weakest_sub_length(X[r], depth[r], diameter[r], wall[r], flow[r]) for r in range(m)]
    for column, name in zip(got, ("pressure", "start", "end"), strict=True):
        assert column.tolist() == [getattr(a, name) for a in alone]


def test_one_pipe_for_all_rows_is_the_same_as_one_for_each():
    X, depth = random_table(20, 9, seed=1)
    each = weakest_pressures(X, depth, np.full(20, D), np.full(20, T), np.full(20, FLOW))
    for a, b in zip(weakest_pressures(X, depth, D, T, FLOW), each, strict=True):
        assert a.tolist() == b.tolist()
    assert [len(v) for v in weakest_pressures(X[:0], depth[:0], D, T, FLOW)] == [0, 0, 0]


@quick
@given(profiles(least=3), st.floats(0, 1))
def test_deeper_anywhere_never_raises_the_pressure(profile, share):
    x, depth = profile
    limit = 0.9 * T
    before = weakest_sub_length(x, depth, D, T, FLOW).pressure
    for k in range(1, len(x) - 1):
        deeper = depth.copy()
        deeper[k] += share * (limit - depth[k])
        assert weakest_sub_length(x, deeper, D, T, FLOW).pressure <= before * (1 + 1e-12)


@quick
@given(profiles(), st.floats(1, 5))
def test_a_stretched_profile_is_never_stronger(profile, factor):
    """Each sub-length keeps its mean depth and grows; M never falls with length, not at its step either."""
    x, depth = profile
    assert (weakest_sub_length(x * factor, depth, D, T, FLOW).pressure
            <= weakest_sub_length(x, depth, D, T, FLOW).pressure * (1 + 1e-12))


@quick
@given(profiles(), st.data())
def test_a_station_more_on_a_straight_part_never_raises_the_pressure(profile, data):
    """All the old sub-lengths are still there, with their areas; new ones can only be weaker."""
    x, depth = profile
    k = data.draw(st.integers(0, len(x) - 2))
    at = x[k] + data.draw(st.floats(0.1, 0.9)) * (x[k + 1] - x[k])
    finer = weakest_sub_length(np.insert(x, k + 1, at), np.insert(depth, k + 1, np.interp(at, x, depth)), D, T, FLOW)
    assert finer.pressure <= weakest_sub_length(x, depth, D, T, FLOW).pressure * (1 + 1e-12)


@quick
@given(profiles())
def test_between_the_whole_length_and_the_deepest_box(profile):
    """Never above the exact area over the whole length; never below a box of the greatest depth over it."""
    x, depth = profile
    length = float(x[-1] - x[0])
    found = weakest_sub_length(x, depth, D, T, FLOW).pressure
    assert found <= pressure_of(float(np.trapezoid(depth, x)), length) * (1 + 1e-12)
    assert found >= pressure_of(float(depth.max()) * length, length) * (1 - 1e-12)


@quick
@given(profiles(least=3))
def test_the_mirror_image_is_as_strong(profile):
    x, depth = profile
    assert weakest_sub_length(-x[::-1], depth[::-1], D, T, FLOW).pressure == pytest.approx(
        weakest_sub_length(x, depth, D, T, FLOW).pressure, rel=1e-12)


# -- what does not hold ----------------------------------------------------------------------------------------------

def test_the_whole_length_alone_is_not_monotone_but_the_search_is():
    """Shallow loss added at one end raises the answer of the whole length, so it cannot stand for the profile."""
    x, depth = np.array([0, 50, 150, 200.0]), np.array([0, 5.0, 5.0, 0])
    longer, deeper = np.append(x, 600.0), np.array([0, 5.0, 5.0, 0.2, 0])
    assert pressure_of(np.trapezoid(deeper, longer), 600.0) > 1.05 * pressure_of(np.trapezoid(depth, x), 200.0)
    assert (weakest_sub_length(longer, deeper, D, T, FLOW).pressure
            <= weakest_sub_length(x, depth, D, T, FLOW).pressure)


def test_leaving_out_a_station_goes_either_way():
    """A coarser reading may miss the peak (unsafe) or bridge a ridge of sound steel (safe): it is never neutral."""
    x, depth = np.linspace(0, 240, 5), np.array([0, 4.0, 1.0, 4.0, 0])
    full = weakest_sub_length(x, depth, D, T, FLOW).pressure
    assert weakest_sub_length(np.delete(x, 1), np.delete(depth, 1), D, T, FLOW).pressure > full
    assert weakest_sub_length(np.delete(x, 2), np.delete(depth, 2), D, T, FLOW).pressure < full


# -- ends, ties, refusals --------------------------------------------------------------------------------------------

def test_no_loss_gives_the_sound_pipe_and_the_first_sub_length():
    whole = 2 * T / D * FLOW
    x = np.array([0, 10.3, 700.7, 900.1])
    found = weakest_sub_length(x, np.zeros(4), D, T, FLOW)
    assert (found.start, found.end, found.area, found.pressure) == (0, 1, 0.0, whole)
    assert found.others == ((0, 2, whole), (0, 3, whole), (1, 2, whole), (1, 3, whole))
    pressure, start, end = weakest_pressures(x[None], np.zeros((1, 4)), D, T, FLOW)
    assert (pressure[0], start[0], end[0]) == (whole, 0, 1)
    many = weakest_sub_length(np.arange(60.0), np.zeros(60), D, T, FLOW)
    assert (many.start, many.end) == (0, 1)
    assert many.others == tuple((0, j, whole) for j in range(2, 6))


def test_two_stations():
    found = weakest_sub_length(np.array([0, 10.0]), np.zeros(2), D, T, FLOW)
    assert (found.start, found.end, found.count, found.others) == (0, 1, 1, ())


@pytest.mark.parametrize("gap", [60.0, 60.1, 59.7])
@pytest.mark.parametrize("far", [400.0, 400.3, 1234.5, 5000.7])
def test_of_equal_pits_the_first_is_named(gap, far):
    """Equal but for rounding, which may favour either."""
    pit = np.array([0, gap, 2 * gap])
    x = np.concatenate([pit, far + pit, 2 * far + pit])
    found = weakest_sub_length(x, np.tile([0, 7.0, 0], 3), D, T, FLOW)
    assert (found.start, found.end) == (0, 2)
    assert {(3, 5), (6, 8)} <= {o[:2] for o in found.others}
    _, start, end = weakest_pressures(x[None], np.tile([0, 7.0, 0], 3)[None], D, T, FLOW)
    assert (start[0], end[0]) == (0, 2)


GOOD = (np.array([0, 10.0, 20.0]), np.array([0, 3.0, 0]), D, T, FLOW)
REFUSED = {
    "end open": ({1: np.array([0, 3.0, 0.5])}, "the depth at the first and at the last station must be nothing"),
    "start open": ({1: np.array([0.1, 3.0, 0])}, "the depth at the first and at the last station must be nothing"),
    "through the wall": ({1: np.array([0, T, 0])}, "every depth must be a number, not negative, and less than the"),
    "deeper than the wall": ({1: np.array([0, 2 * T, 0])}, "less than the wall"),
    "negative depth": ({1: np.array([0, -0.1, 0])}, "not negative"),
    "no depth": ({1: np.array([0, np.nan, 0])}, "every depth must be a number"),
    "stations fall": ({0: np.array([0, 20.0, 10.0])}, "the stations must rise"),
    "station twice": ({0: np.array([0, 10.0, 10.0])}, "the stations must rise"),
    "no station": ({0: np.array([0, np.nan, 20.0])}, "a station is not a number"),
    "endless": ({0: np.array([0, 10.0, np.inf])}, "a station is not a number"),
    "lengths differ": ({1: np.array([0, 3.0, 2.0, 0])}, "of one"),
    "one station": ({0: np.array([0.0]), 1: np.array([0.0])}, "at least two stations"),
    "no diameter": ({2: np.nan}, "must be positive numbers"),
    "no wall": ({3: 0.0}, "must be positive numbers"),
    "all wall": ({2: 2 * T}, "less than half the diameter"),
    "no flow stress": ({4: -1.0}, "must be positive numbers"),
}


@pytest.mark.parametrize(("changed", "why"), REFUSED.values(), ids=REFUSED)
def test_what_is_no_profile_is_refused(changed, why):
    arguments = [changed.get(k, v) for k, v in enumerate(GOOD)]
    with pytest.raises(CalculationError) as e:
        weakest_sub_length(*arguments)
    assert why in str(e.value)
    rows = [np.atleast_2d(v) for v in arguments[:2]]
    with pytest.raises(CalculationError) as e:
        weakest_pressures(*rows, *arguments[2:])
    assert why in str(e.value)


def test_the_first_bad_row_is_named():
    X, depth = random_table(6, 5, seed=2)
    depth[3, 2] = 99.0
    with pytest.raises(CalculationError, match=r"profile in row 3: every depth .* greatest depth 99 mm, wall 9.525 mm"):
        weakest_pressures(X, depth, D, T, FLOW)
    with pytest.raises(CalculationError, match="one number each or one for each of the 6 profiles"):
        weakest_pressures(X, depth, D, np.full(5, T), FLOW)
    with pytest.raises(CalculationError, match="two tables of one shape"):
        weakest_pressures(X[0], depth[0], D, T, FLOW)


def test_memory_does_not_grow_with_the_number_of_pairs():
    """1,500 stations: the pairs alone would take 9 MB for each number kept of them."""
    X, depth = random_table(1, 1500, seed=3)
    tracemalloc.start()
    try:
        weakest_sub_length(X[0], depth[0], D, T, FLOW)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 1e6
