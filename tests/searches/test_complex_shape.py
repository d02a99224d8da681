"""The complex shape: against a procedure written out step by step, scipy between the cuts, limits and symmetries."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from wrapcalc.errors import CalculationError
from wrapcalc.searches.complex_shape import weakest_shape
from wrapcalc.searches.interacting import weakest_group

#: DNV-RP-F101 (2010), appendix of part B, complex-shaped defect: inputs and answers from memory.
EXAMPLE = dict(x=[28.9 * i for i in range(11)], depth=[0, 1.0, 1.1, 1.1, 1.1, 1.3, 1.8, 2.8, 2.8, 1.6, 0],
               D=611.0, t=8.2, S_u=571.0)
quick = settings(max_examples=25, derandomize=True, deadline=None)


# -- a second route: the procedure step by step, in plain lists -------------------------------------------------------

def plain(t, D, S):
    return 2 * t * S / (D - t)


def one(length, d, t, D, S):
    Q = math.sqrt(1 + 0.31 * length ** 2 / (D * t))
    return plain(t, D, S) * (1 - d / t) / (1 - d / t / Q)


def pieces(x, depth, v):
    """The profile with stations added where it passes depth v."""
    out = [(x[0], depth[0])]
    for (a, p), (b, q) in itertools.pairwise(zip(x, depth, strict=True)):
        if (p - v) * (q - v) < 0:
            out.append((a + (b - a) * (v - p) / (q - p), v))
        out.append((b, q))
    return out


def step_by_step(x, depth, D, t, S_u, v):
    """(P_patch, lowest of the pits and their runs) at the cut v, which is no depth of the profile."""
    points = pieces(x, depth, v)
    clipped = sum((b - a) * (min(p, v) + min(q, v)) / 2 for (a, p), (b, q) in itertools.pairwise(points))
    total = x[-1] - x[0]
    patch = one(total, clipped / total, t, D, S_u)
    # the wall of the plain pipe that fails at this pressure, by halving
    low, high = 0.0, t * (1 + 1e-9)
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if plain(middle, D, S_u) < patch else (low, middle)
    wall = (low + high) / 2
    pits: list[list[float]] = []
    inside = False
    for (a, p), (b, q) in itertools.pairwise(points):
        if max(p, q) > v:
            if not inside:
                pits.append([a, b, 0.0])
            pits[-1][1], inside = b, q > v
            pits[-1][2] += (b - a) * (p + q) / 2
        else:
            inside = False
    effective = [(a, b, area / (b - a) - (t - wall)) for a, b, area in pits]
    assert all(d >= 0 for *_, d in effective)
    lowest = math.inf
    for n in range(len(effective)):
        for m in range(n, len(effective)):
            run = effective[n:m + 1]
            length = run[-1][1] - run[0][0]
            lowest = min(lowest, one(length, sum(d * (b - a) for a, b, d in run) / length, wall, D, S_u))
    return patch, lowest


def whole(x, depth, D, t, S_u):
    area = sum((b - a) * (p + q) / 2 for (a, p), (b, q) in itertools.pairwise(zip(x, depth, strict=True)))
    return one(x[-1] - x[0], area / (x[-1] - x[0]), t, D, S_u)


def equal_increments(case, n):
    """The lowest of the procedure with n equal increments and nothing else."""
    deepest = max(case["depth"])
    return min(whole(**case), *(min(step_by_step(**case, v=deepest * j / n + 1e-12)) for j in range(1, n)))


@st.composite
def profiles(draw):
    """Pits of random stations; some with flats, some with sound steel between."""
    n = draw(st.integers(1, 9))
    gaps = draw(st.lists(st.floats(2, 80), min_size=n + 1, max_size=n + 1))
    t, D = draw(st.floats(5, 15)), draw(st.floats(200, 1200))
    shares = draw(st.lists(st.one_of(st.floats(0.02, 0.84), st.sampled_from([0.0, 0.1, 0.3, 0.6])), min_size=n,
                           max_size=n))
    shares[draw(st.integers(0, n - 1))] = draw(st.floats(0.05, 0.84))
    return dict(x=[0.0, *itertools.accumulate(gaps)], depth=[0.0, *(s * t for s in shares), 0.0], D=D, t=t, S_u=500.0)


# -- the recalled example ---------------------------------------------------------------------------------------------

def test_recalled_worked_example():
    """13.21 MPa and, for the rectangle, 11.86 MPa: DNV-RP-F101 (2010), appendix of part B, from memory."""
    found = weakest_shape(**EXAMPLE)
    assert found.pressure == pytest.approx(13.21, abs=0.005)
    assert found.envelope == pytest.approx(11.86, abs=0.005)
    assert (found.kind, found.increment_depth, found.side, found.pits) == ("pit group", 1.1, "below", 1)
    assert found.start == pytest.approx(57.8)
    # by hand: the last flank, from 1.6 to nothing over 28.9 mm, passes 1.1 at 5/16 of it
    assert found.length == pytest.approx(28.9 * (9 + 5 / 16 - 2), rel=1e-12)


def test_equal_increments_alone_straddle_the_lowest_pressure():
    """They come down to it slowly; with the depths of the profile the answer is there with any number of them."""
    alone = [equal_increments(EXAMPLE, n) for n in (10, 50, 100, 1000)]
    ours = [weakest_shape(**EXAMPLE, increments=n).pressure for n in (1, 10, 50, 1000)]
    assert alone == sorted(alone, reverse=True)
    assert alone[0] / ours[0] - 1 > 0.003 and alone[1] / ours[0] - 1 > 0.0008
    assert 0 < alone[-1] / ours[0] - 1 < 1e-4
    assert ours == pytest.approx([ours[0]] * 4, rel=1e-12)
    assert min(step_by_step(**EXAMPLE, v=1.1 - 1e-9)) == pytest.approx(ours[0], rel=1e-8)


# -- against the second route -----------------------------------------------------------------------------------------

@quick
@given(profiles())
def test_each_cut_is_the_procedure_step_by_step(case):
    found = weakest_shape(**case, increments=7)
    own = np.unique(case["depth"])
    for v, patch, pits, lower in found.trail:
        assert lower == min(patch, pits)
        if np.abs(own - v).min() > 1e-6:
            assert (patch, pits) == pytest.approx(step_by_step(**case, v=v), rel=1e-9)


@quick
@given(profiles())
def test_both_limits_at_the_depths_of_the_profile(case):
    found = weakest_shape(**case, increments=1)
    own = [float(v) for v in np.unique(case["depth"])]
    if len(own) < 3 or np.diff(own).min() < 1e-3:
        return
    for v in own[1:-1]:
        below, above = (row[2] for row in found.trail if row[0] == v)
        assert below == pytest.approx(step_by_step(**case, v=v - 1e-9)[1], rel=1e-5)
        assert above == pytest.approx(step_by_step(**case, v=v + 1e-9)[1], rel=1e-5)


@quick
@given(profiles())
def test_nothing_lower_is_found_by_dense_cuts_and_scipy(case):
    found = weakest_shape(**case).pressure
    own = [float(v) for v in np.unique([0.0, *case["depth"]])]
    lowest = whole(**case)
    for a, b in itertools.pairwise(own):
        if b - a < 1e-6:
            continue
        cuts = [a + 1e-9, *np.linspace(a, b, 14)[1:-1], b - 1e-9]
        pressures = [step_by_step(**case, v=v)[1] for v in cuts]
        lowest = min(lowest, *pressures)
        i = min(max(int(np.argmin(pressures)), 1), len(cuts) - 2)
        near = minimize_scalar(lambda v: step_by_step(**case, v=v)[1], bounds=(cuts[i - 1], cuts[i + 1]),
                               method="bounded", options={"xatol": 1e-7})
        lowest = min(lowest, near.fun)
    assert found <= lowest * (1 + 1e-7)
    assert found == pytest.approx(lowest, rel=1e-5)


@quick
@given(profiles(), st.integers(1, 300))
def test_the_number_of_increments_does_not_matter(case, n):
    assert weakest_shape(**case, increments=n).pressure == pytest.approx(weakest_shape(**case).pressure, rel=1e-8)


# -- limits and symmetries --------------------------------------------------------------------------------------------

@quick
@given(profiles())
def test_bounds_and_the_governing_steps(case):
    """Between the plain pipe of the wall left and the whole profile; the printed steps give the pressure again."""
    found = weakest_shape(**case)
    D, t, S_u = case["D"], case["t"], case["S_u"]
    total = whole(**case)
    assert found.total == pytest.approx(total, rel=1e-12)
    assert plain(t - max(case["depth"]), D, S_u) < found.pressure <= total * (1 + 1e-12)
    assert t - found.increment_depth <= found.effective_wall <= t
    assert 0 < found.depth < found.effective_wall
    length = case["x"][-1] - case["x"][0]
    assert found.patch_pressure == pytest.approx(one(length, found.patch_area / length, t, D, S_u), rel=1e-12)
    assert plain(found.effective_wall, D, S_u) == pytest.approx(found.patch_pressure, rel=1e-12)
    assert found.pressure == pytest.approx(one(found.length, found.depth, found.effective_wall, D, S_u), rel=1e-11)
    assert found.pressure == pytest.approx(min(found.total, *(row[3] for row in found.trail)), rel=1e-11)
    assert 0 <= found.first <= found.last < found.pits
    cuts = [row[0] for row in found.trail]
    assert cuts == sorted(cuts)


@quick
@given(profiles(), st.floats(0.2, 5), st.floats(-1000, 1000))
def test_mirrored_moved_scaled_or_stronger_pipe(case, scale, shift):
    want = weakest_shape(**case).pressure
    mirrored = case | dict(x=[-v for v in case["x"][::-1]], depth=case["depth"][::-1])
    assert weakest_shape(**mirrored).pressure == pytest.approx(want, rel=1e-9)
    moved = case | dict(x=[v + shift for v in case["x"]])
    assert weakest_shape(**moved).pressure == pytest.approx(want, rel=1e-9)
    larger = {n: np.asarray(v) * scale for n, v in case.items() if n != "S_u"}
    assert weakest_shape(**larger, S_u=500.0).pressure == pytest.approx(want, rel=1e-9)
    assert weakest_shape(**case | dict(S_u=500.0 * scale)).pressure == pytest.approx(scale * want, rel=1e-9)


@quick
@given(profiles(), st.floats(0.1, 0.9))
def test_stations_added_on_a_straight_line_change_nothing(case, share):
    x = sorted([*case["x"], *(a + share * (b - a) for a, b in itertools.pairwise(case["x"]))])
    denser = case | dict(x=x, depth=np.interp(x, case["x"], case["depth"]))
    assert weakest_shape(**denser).pressure == pytest.approx(weakest_shape(**case).pressure, rel=1e-7)


@quick
@given(profiles(), st.floats(1.0, 1.18))
def test_a_profile_deepened_as_a_whole_is_never_stronger(case, factor):
    deeper = case | dict(depth=[d * factor for d in case["depth"]])
    assert weakest_shape(**deeper).pressure <= weakest_shape(**case).pressure * (1 + 1e-9)


@quick
@given(profiles())
def test_without_a_cut_the_parts_are_interacting_defects(case):
    """d_j = 0: no patch, the wall as it is, and the parts between sound steel at their mean depths."""
    x, depth = np.array(case["x"]), np.array(case["depth"])
    sound = np.flatnonzero(depth == 0)
    parts = [(x[a], x[b] - x[a], np.trapezoid(depth[a:b + 1], x[a:b + 1]) / (x[b] - x[a]))
             for a, b in itertools.pairwise(sound) if depth[a:b + 1].any()]
    pipe = case["D"], case["t"], case["S_u"]
    row = weakest_shape(**case).trail[0]
    assert row[0] == 0 and row[1] == pytest.approx(plain(case["t"], case["D"], case["S_u"]), rel=1e-12)
    if all(a[0] + a[1] < b[0] for a, b in itertools.pairwise(parts)):
        assert row[2] == pytest.approx(weakest_group(*np.array(parts).T, *pipe).pressure, rel=1e-11)


@pytest.mark.parametrize("share", [0.1, 0.4, 0.8])
@pytest.mark.parametrize("length", [30.0, 152.4, 800.0])
def test_a_rectangle_is_one_defect_but_for_the_flat_that_counts_twice(share, length):
    """Whole profile, envelope and no cut: the single defect. The cut just above the bottom is lower, see the module."""
    D, t, S_u = 609.6, 9.525, 455.0
    found = weakest_shape([0, 1e-7, length - 1e-7, length], [0, share * t, share * t, 0], D, t, S_u)
    single = one(length, share * t, t, D, S_u)
    for same in (found.total, found.envelope, found.trail[0][2]):
        assert same == pytest.approx(single, rel=1e-6)
    assert (found.kind, found.side) == ("pit group", "below")
    wall = found.effective_wall
    assert plain(wall, D, S_u) == pytest.approx(single, rel=1e-6)
    assert found.pressure == pytest.approx(one(length, share * t - (t - wall), wall, D, S_u), rel=1e-6)
    assert plain(t * (1 - share), D, S_u) < found.pressure < single


def test_steep_peaks_and_depths_a_hair_apart():
    """A spike too thin to matter, far along the line; two depths that differ in the last bit."""
    pipe = dict(D=609.6, t=9.525, S_u=455.0)
    for at in (0.0, 1e6):
        spike = weakest_shape(at + np.array([0, 400, 400.000001, 400.000002, 800]), [0, 2, 7, 2, 0], **pipe)
        blunt = weakest_shape([0, 400, 800], [0, 2, 0], **pipe)
        assert spike.pressure == pytest.approx(blunt.pressure, rel=1e-3)
    hair, flat = (weakest_shape([0, 50, 100, 150, 200], [0, 3.0, d, 2.0, 0], **pipe) for d in (np.nextafter(3, 4), 3.0))
    assert hair.pressure == pytest.approx(flat.pressure, rel=1e-9)


# -- what is refused --------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("changed", "words"), [
    (dict(x=[0, 1, 1], depth=[0, 1, 0]), "rise"), (dict(x=[0, 1, math.nan], depth=[0, 1, 0]), "rise"),
    (dict(x=[0, 1, 2], depth=[0, 9, 0]), "less than the wall"), (dict(x=[0, 1, 2], depth=[0, -1, 0]), "not negative"),
    (dict(x=[0, 1, 2], depth=[0, math.nan, 0]), "must be a number"),
    (dict(x=[0, 1, 2], depth=[1, 2, 0]), "nothing at both ends"), (dict(x=[0, 1, 2], depth=[0, 0, 0]), "somewhere"),
    (dict(x=[0, 1], depth=[0, 0]), "three stations"), (dict(x=[0, 1, 2, 3], depth=[0, 1, 0]), "one length"),
    (dict(increments=0), "increments"), (dict(increments=2.5), "increments"), (dict(increments=math.nan), "increments"),
    (dict(t=400.0), "pipe"), (dict(S_u=math.inf), "pipe")])
def test_what_is_no_profile_is_refused(changed, words):
    with pytest.raises(CalculationError, match=words):
        weakest_shape(**EXAMPLE | changed)
