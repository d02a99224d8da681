"""Regions, interaction rules, clusters and river bottoms: by hand, by a second route, and what must always hold."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from wrapcalc.errors import CalculationError, UnknownItem
from wrapcalc.searches import clusters as grouping
from wrapcalc.searches.clusters import (
    RULES,
    SIDE,
    Boxes,
    Rule,
    boxes_of_grid,
    clusters,
    interaction_rule,
    profile_of_boxes,
    profile_of_cluster,
    thinned_profile,
)
from wrapcalc.standards.documents import DOCUMENTS

quick = settings(deadline=None, derandomize=True, max_examples=100)
ROUND = 240  # circumference of the property tests, mm


def rule(axial: float, around: float) -> Rule:
    return interaction_rule("own", 100, 5, axial, around)


def boxes(*rows: tuple) -> Boxes:
    return Boxes(*(np.array(c, dtype=float) for c in zip(*rows, strict=True)))


def groups(found) -> set[frozenset[int]]:
    return {frozenset(c.members) for c in found}


# -- rules --------------------------------------------------------------------------------------------------------
# Pipe of 609.6 x 9.525 mm (24 in x 0.375 in): ASME B31G-2012 (3 t), trade practice (6 t), Kiefner and Vieth 1989
# (1 in x 6 t), DNV-RP-F101 (2 sqrt(Dt); angle 360 sqrt(t/D) = 45 degrees), all from memory; worked by hand.
@pytest.mark.parametrize(("name", "axial", "around"), [
    ("3t", 28.575, 28.575), ("6t", 57.15, 57.15), ("1 in x 6t", 25.4, 57.15),
    ("2 sqrt(Dt)", 152.4, math.pi * 609.6 * 45 / 360)])
def test_the_rules_have_the_gaps_of_their_documents(name, axial, around):
    found = interaction_rule(name, 609.6, 9.525)
    assert (found.axial, found.around) == (pytest.approx(axial, rel=1e-12), pytest.approx(around, rel=1e-12))
    assert found.name == name and found.words and found.citation in DOCUMENTS


def test_every_rule_but_the_trivial_ones_is_one_that_a_case_may_name():
    from wrapcalc.case.model import INTERACTIONS
    assert {*RULES, "own", "all one"} == set(INTERACTIONS)


def test_the_own_rule_takes_its_gaps_as_stated():
    found = interaction_rule("own", 609.6, 9.525, 50, 0)
    assert (found.axial, found.around) == (50, 0) and "50 mm along and 0 mm around" in found.words


@pytest.mark.parametrize("gaps", [(None, 5), (5, None), (-1, 5), (5, math.nan), (math.inf, 5)])
def test_an_own_rule_needs_both_gaps(gaps):
    with pytest.raises(CalculationError, match="own interaction rule: gaps of 0 mm or more"):
        interaction_rule("own", 609.6, 9.525, *gaps)


@pytest.mark.parametrize(("D", "t"), [(609.6, 0), (609.6, -1), (10, 5), (math.nan, 5), (609.6, math.nan)])
def test_a_rule_needs_a_pipe(D, t):
    with pytest.raises(CalculationError, match=r"the wall .* must be above 0 and below half the diameter"):
        interaction_rule("3t", D, t)


def test_an_unknown_rule_is_named():
    with pytest.raises(UnknownItem, match="there is no interaction rule named '4t'"):
        interaction_rule("4t", 609.6, 9.525)


# -- regions ------------------------------------------------------------------------------------------------------
def labelled_boxes(x, y, depth):
    """Second route: labels by scipy, a cell at a time."""
    label, count = ndimage.label(depth > 0, structure=np.ones((3, 3)))
    x, y = ([2 * s[0] - s[1], *s, 2 * s[-1] - s[-2]] for s in (x, y))
    out = []
    for k, (rows, columns) in enumerate(ndimage.find_objects(label), 1):
        out.append((x[columns.start], x[columns.stop + 1], y[rows.start], y[rows.stop + 1], depth[label == k].max()))
    assert len(out) == count
    return sorted(out)


def as_rows(b: Boxes) -> list[tuple]:
    return sorted(zip(b.x0, b.x1, b.y0, b.y1, b.depth, strict=True))


@quick
@given(st.integers(2, 12), st.integers(2, 12), st.sampled_from([0.1, 0.3, 0.5, 0.8]), st.integers(0, 10 ** 6))
def test_regions_are_those_of_a_labelling_by_scipy(m, n, share, seed):
    random = np.random.default_rng(seed)
    depth = np.where(random.random((m, n)) < share, random.integers(1, 9, (m, n)), 0).astype(float)
    x, y = (np.cumsum(random.integers(1, 5, k)).astype(float) for k in (n, m))
    assert as_rows(boxes_of_grid(x, y, depth)) == labelled_boxes(x, y, depth)


def test_regions_of_a_large_grid_are_those_of_a_labelling_by_scipy():
    random = np.random.default_rng(5)
    depth = np.where(random.random((300, 400)) < 0.35, random.random((300, 400)), 0)
    x, y = np.arange(400.0), np.arange(300.0)
    assert as_rows(boxes_of_grid(x, y, depth)) == labelled_boxes(x, y, depth)


def test_a_box_runs_from_sound_wall_to_sound_wall_and_regions_touch_at_corners():
    x, y = [0, 10, 30, 40, 60], [0, 5, 15, 20]
    depth = [[0, 0, 0, 0, 0], [0, 1, 0, 0, 0], [0, 0, 2, 0, 0], [0, 0, 0, 0, 0]]
    assert as_rows(boxes_of_grid(x, y, depth)) == [(0, 40, 0, 20, 2)]
    depth[2] = [0, 0, 0, 2, 0]
    assert as_rows(boxes_of_grid(x, y, depth)) == [(0, 30, 0, 15, 1), (30, 60, 5, 20, 2)]


def test_loss_on_the_rim_reaches_one_step_beyond():
    assert as_rows(boxes_of_grid([0, 10, 30], [0, 5], [[1, 0, 0], [0, 0, 2]])) == [(-10, 10, -5, 5, 1),
                                                                                  (10, 50, 0, 10, 2)]


def test_no_loss_gives_no_boxes_and_no_clusters():
    found = boxes_of_grid([0, 1], [0, 1], np.zeros((2, 2)))
    assert len(found) == 0 and clusters(found, rule(5, 5), 100) == []


@quick
@given(st.integers(3, 9), st.integers(2, 9), st.sampled_from([0.2, 0.4, 0.6]), st.integers(0, 10 ** 6),
       st.integers(0, 8))
def test_a_grid_right_around_has_no_seam(m, n, share, seed, turn):
    """The sheet may begin at any row: the same boxes, turned. Stations 10 mm apart."""
    random = np.random.default_rng(seed)
    depth = np.where(random.random((m, n)) < share, random.integers(1, 9, (m, n)), 0).astype(float)
    turn, around, x, y = turn % m, 10.0 * m, np.arange(n), 10.0 * np.arange(m)

    def turned(b, by):
        # what goes right around may begin anywhere
        return sorted((x0, x1, (y0 + by) % around if y1 - y0 < around else 0, y1 - y0, d) for x0, x1, y0, y1, d in
                      as_rows(b))

    one, other = (boxes_of_grid(x, y, np.roll(depth, k, axis=0), around) for k in (0, turn))
    assert turned(one, 10.0 * turn) == turned(other, 0)
    assert (one.y1 - one.y0 <= around).all()


def test_a_grid_that_leaves_an_arc_open_is_not_closed():
    x, y, depth = [0, 1, 2], [0, 10, 20], [[0, 1, 0], [0, 0, 0], [0, 1, 0]]
    assert len(boxes_of_grid(x, y, depth, 30)) == 1 and len(boxes_of_grid(x, y, depth, 36)) == 2
    assert len(boxes_of_grid(x, y, depth)) == 2
    assert as_rows(boxes_of_grid(x, y, depth, 30)) == [(0, 2, 10, 40, 1)]


@pytest.mark.parametrize(("x", "y", "depth", "words"), [
    ([0, 1], [0, 1], [[0, 1]], "a depth for each pair"), ([0], [0, 1], [[0], [1]], "two stations or more"),
    ([1, 0], [0, 1], [[0, 1], [0, 0]], "rise"), ([0, math.nan], [0, 1], [[0, 1], [0, 0]], "rise"),
    ([0, 1], [0, 1], [[0, -1], [0, 0]], "not negative"), ([0, 1], [0, 1], [[0, math.nan], [0, 0]], "not negative")])
def test_what_is_no_grid_is_refused(x, y, depth, words):
    with pytest.raises(CalculationError, match=words):
        boxes_of_grid(x, y, depth)


# -- clusters by hand ---------------------------------------------------------------------------------------------
PAIR = [(0, 10, 0, 10, 1), (40, 60, 25, 35, 2)]  # gaps: 30 along, 15 around


@pytest.mark.parametrize(("axial", "around", "count"), [(30, 15, 1), (29.9, 15, 2), (30, 14.9, 2), (0, 0, 2),
                                                        (100, 14, 2), (29, 100, 2), (31, 16, 1)])
def test_both_gaps_must_be_within_the_rule(axial, around, count):
    found = clusters(boxes(*PAIR), rule(axial, around), 500)
    assert len(found) == count
    if count == 1:
        c = found[0]
        assert (c.members, c.x0, c.x1, c.y0, c.y1, c.depth) == ((0, 1), 0, 60, 0, 35, 2)
        assert (c.length, c.width) == (60, 35)


def test_a_gap_equal_to_the_rule_joins_in_spite_of_the_arithmetic():
    assert 0.1 + 0.2 > 0.3
    assert len(clusters(boxes((0, 0.1, 0, 1, 1), (0.1 + 0.3 + 1e-13, 1, 0, 1, 1)), rule(0.3, 0), 100)) == 1


def test_two_pits_across_twelve_oclock_join():
    found = clusters(boxes((0, 10, 485, 495, 1), (0, 10, 2, 8, 3)), rule(5, 8), 500)
    assert len(found) == 1 and (found[0].y0, found[0].y1, found[0].depth) == (485, 508, 3)
    assert len(clusters(boxes((0, 10, 485, 495, 1), (0, 10, 2, 8, 3)), rule(5, 6.9), 500)) == 2


def test_a_pit_that_lies_across_the_seam_overlaps_what_lies_behind_it():
    assert len(clusters(boxes((0, 10, 490, 510, 1), (0, 10, 5, 15, 3)), rule(0, 0), 500)) == 1


def test_envelopes_join_what_the_boxes_alone_do_not():
    """Two legs of an L, and a pit inside its corner: far from both legs, inside the box around them."""
    legs = boxes((0, 100, 0, 5, 1), (95, 100, 0, 100, 1), (40, 50, 50, 60, 2))
    assert groups(clusters(legs, rule(10, 10), 500)) == {frozenset((0, 1, 2))}
    assert groups(clusters(legs, rule(10, 10), 500, envelope=False)) == {frozenset((0, 1)), frozenset((2,))}


def test_pits_all_round_reach_all_but_the_greatest_gap():
    ring = boxes(*((0, 10, y, y + 20, 1) for y in (0, 50, 100, 155)))  # gaps 30, 30, 35 and 25 to the seam
    found = clusters(ring, rule(1, 40), 200)
    assert len(found) == 1 and found[0].y0 == 155 and found[0].width == 165 and found[0].y1 == 320
    full = clusters(boxes((0, 1, 0, 120, 1), (0, 1, 100, 210, 1)), rule(1, 1), 200)
    assert full[0].width == 200


@pytest.mark.parametrize(("bad", "around", "words"), [
    ((0, math.nan, 0, 1, 1), 100, "no number"), ((1, 0, 0, 1, 1), 100, "ends before it starts"),
    ((0, 1, 1, 0, 1), 100, "ends before it starts"), ((0, 1, 0, 1, 1), 0, "circumference"),
    ((0, 1, 0, 1, 1), math.nan, "circumference")])
def test_what_are_no_boxes_is_refused(bad, around, words):
    with pytest.raises(CalculationError, match=words):
        clusters(boxes(bad), rule(1, 1), around)


# -- clusters: what must hold -------------------------------------------------------------------------------------
BOX = st.tuples(st.integers(0, 400), st.integers(0, 40), st.integers(0, ROUND - 1), st.integers(0, 60),
                st.integers(1, 9)).map(lambda b: (b[0], b[0] + b[1], b[2], b[2] + b[3], b[4]))
BOXES = st.lists(BOX, min_size=1, max_size=40)
GAP = st.integers(0, 60)


def gap_around(a, b) -> float:
    """Second route: the least gap over the sheet laid three times side by side."""
    return min(max(b[2] + k * ROUND - a[3], a[2] - b[3] - k * ROUND, 0) for k in (-2, -1, 0, 1, 2))


@quick
@given(BOXES, GAP, GAP)
def test_without_envelopes_they_are_the_connected_components_of_all_pairs(rows, axial, around):
    n = len(rows)
    near = np.array([[max(b[0] - a[1], a[0] - b[1], 0) <= axial and gap_around(a, b) <= around for b in rows]
                     for a in rows])
    label = connected_components(coo_matrix(near), directed=False)[1]
    want = {frozenset(np.flatnonzero(label == k).tolist()) for k in range(n)} - {frozenset()}
    assert groups(clusters(boxes(*rows), rule(axial, around), ROUND, envelope=False)) == want


@quick
@given(BOXES, GAP, GAP)
def test_no_two_envelopes_are_within_the_rule_and_each_holds_its_members(rows, axial, around):
    found = clusters(boxes(*rows), rule(axial, around), ROUND)
    assert sorted(i for c in found for i in c.members) == list(range(len(rows)))
    sides = [(c.x0, c.x1, c.y0, c.y1) for c in found]
    for k, a in enumerate(sides):
        for b in sides[k + 1:]:
            assert max(b[0] - a[1], a[0] - b[1]) > axial or gap_around(a, b) > around
    for c in found:
        some = [rows[i] for i in c.members]
        assert (c.x0, c.x1, c.depth) == (min(b[0] for b in some), max(b[1] for b in some), max(b[4] for b in some))
        for b in some:
            assert c.width >= ROUND or (b[2] - c.y0) % ROUND + b[3] - b[2] <= c.width + 1e-9
        assert c.width <= ROUND


@quick
@given(BOXES, GAP, GAP)
def test_the_finest_grouping_that_closes_is_found(rows, axial, around):
    """Second route: join one pair of envelopes at a time, by brute force, until none is within the rule."""
    found = [({i}, b) for i, b in enumerate(rows)]
    while True:
        pair = next(((i, j) for i in range(len(found)) for j in range(i) if
                     max(found[i][1][0] - found[j][1][1], found[j][1][0] - found[i][1][1]) <= axial
                     and gap_around(found[i][1], found[j][1]) <= around), None)
        if pair is None:
            break
        (m, a), (n, b) = found.pop(pair[0]), found.pop(pair[1])
        found.append((m | n, (min(a[0], b[0]), max(a[1], b[1]), *_arc([rows[k] for k in m | n]), 1)))
    assert groups(clusters(boxes(*rows), rule(axial, around), ROUND)) == {frozenset(m) for m, _ in found}


def _arc(some) -> tuple[float, float]:
    """Shortest arc over whole millimetres, each one tried as its beginning."""
    # in half millimetres, so that gaps of 1 mm show
    covered = {y % (2 * ROUND) for b in some for y in range(2 * b[2], 2 * b[3] + 1)}
    lengths = [(max((y - s) % (2 * ROUND) for y in covered), s) for s in covered]
    least, start = min(lengths)
    return start / 2, (start + least) / 2


@quick
@given(BOXES, GAP, GAP, st.integers(0, ROUND), st.randoms(use_true_random=False))
def test_neither_a_turn_of_the_pipe_nor_the_order_of_the_boxes_changes_a_cluster(rows, axial, around, turn, random):
    order = list(range(len(rows)))
    random.shuffle(order)
    turned = [(b[0], b[1], (b[2] + turn) % ROUND, (b[2] + turn) % ROUND + b[3] - b[2], b[4])
              for b in (rows[i] for i in order)]
    one = clusters(boxes(*rows), rule(axial, around), ROUND)
    other = clusters(boxes(*turned), rule(axial, around), ROUND)
    assert groups(one) == {frozenset(order[i] for i in c.members) for c in other}

    def sizes(found):
        return sorted((c.x0, c.x1, round(c.width, 6), c.depth) for c in found)
    assert sizes(one) == sizes(other)


@quick
@given(BOXES, GAP, GAP, st.integers(0, 30), st.integers(0, 30))
def test_a_wider_rule_only_joins(rows, axial, around, more, more_around):
    narrow = clusters(boxes(*rows), rule(axial, around), ROUND)
    wide = groups(clusters(boxes(*rows), rule(axial + more, around + more_around), ROUND))
    assert all(any(set(c.members) <= w for w in wide) for c in narrow)


@quick
@given(BOX)
def test_a_cluster_of_one_box_is_the_box(row):
    c, = clusters(boxes(row), rule(5, 5), ROUND)
    assert (c.members, c.x0, c.x1, c.y0, c.y1, c.depth) == ((0,), *row)


def test_ten_thousand_boxes_in_small_portions_are_the_same(monkeypatch):
    random = np.random.default_rng(2)
    x0, y0 = random.uniform(0, 90_000, 10_000), random.uniform(0, 1900, 10_000)
    many = Boxes(x0, x0 + random.uniform(5, 40, 10_000), y0, y0 + random.uniform(5, 40, 10_000), np.ones(10_000))
    near = interaction_rule("1 in x 6t", 610, 9.53)
    one = groups(clusters(many, near, 1916, envelope=False))
    monkeypatch.setattr(grouping, "_PAIRS", 1000)
    assert groups(clusters(many, near, 1916, envelope=False)) == one and 1000 < len(one) < 10_000


# -- river bottoms ------------------------------------------------------------------------------------------------
# A grid made up by hand, 1 in apart; the deepest of each column is taken: .05, .10, .15, .12; area by trapezia:
# (0 + .05)/2 + (.05 + .10)/2 + (.10 + .15)/2 + (.15 + .12)/2 + (.12 + 0)/2 = 0.42.
HAND = [[.05, .10, .02, .00], [.00, .04, .15, .03], [.01, .02, .06, .12]]


def test_the_river_bottom_worked_by_hand():
    c, = clusters(boxes_of_grid([1, 2, 3, 4], [0, 1, 2], HAND), rule(1, 1), 100)
    x, d = profile_of_cluster([1, 2, 3, 4], [0, 1, 2], HAND, c)
    assert x.tolist() == [0, 1, 2, 3, 4, 5] and d.tolist() == [0, .05, .10, .15, .12, 0]
    assert ((d[1:] + d[:-1]) / 2 * np.diff(x)).sum() == pytest.approx(0.42, rel=1e-12)


def test_only_the_rows_of_the_cluster_count():
    x, y = np.arange(5.0), np.arange(12.0)
    depth = np.zeros((12, 5))
    depth[2, 1:3], depth[9, 2] = (1, 2), 5
    low, high = sorted(clusters(boxes_of_grid(x, y, depth), rule(1, 1), 100), key=lambda c: c.depth)
    assert [v.tolist() for v in profile_of_cluster(x, y, depth, low)] == [[0, 1, 2, 3], [0, 1, 2, 0]]
    assert [v.tolist() for v in profile_of_cluster(x, y, depth, high)] == [[1, 2, 3], [0, 5, 0]]


def test_the_river_bottom_goes_on_across_the_seam():
    x, y = np.arange(4.0), np.arange(10.0)
    depth = np.zeros((10, 4))
    depth[9, 1], depth[0, 2] = 1, 2
    c, = clusters(boxes_of_grid(x, y, depth, 10), rule(0, 0), 10)
    assert (c.y0, c.y1) == (8, 11)
    assert [v.tolist() for v in profile_of_cluster(x, y, depth, c)] == [[0, 1, 2, 3], [0, 1, 2, 0]]


@quick
@given(st.integers(3, 9), st.integers(3, 9), st.integers(0, 10 ** 6), st.integers(0, 3))
def test_river_bottoms_of_all_clusters_hold_every_reading(m, n, seed, gap):
    random = np.random.default_rng(seed)
    depth = np.where(random.random((m, n)) < 0.3, random.integers(1, 9, (m, n)), 0).astype(float)
    x, y = np.arange(float(n)), np.arange(float(m))
    best = np.zeros(n)
    for c in clusters(boxes_of_grid(x, y, depth), rule(gap, gap), 10 * m):
        at, d = profile_of_cluster(x, y, depth, c)
        assert d[0] == d[-1] == 0 and d.max() == c.depth and (np.diff(at) > 0).all()
        best = np.maximum(best, np.interp(x, at, d, 0, 0))
    assert (best == depth.max(axis=0)).all()


def test_a_cluster_off_the_grid_is_refused():
    c, = clusters(boxes((500, 510, 0, 1, 1)), rule(1, 1), 100)
    with pytest.raises(CalculationError, match="does not lie on this grid"):
        profile_of_cluster([1, 2, 3, 4], [0, 1, 2], HAND, c)


def test_pits_of_a_table_have_their_full_depth_over_their_length():
    x, d = profile_of_boxes(boxes((0, 10, 0, 5, 2), (10, 30, 50, 60, 1), (50, 60, 0, 5, 3), (20, 55, 0, 5, 1.5)))
    assert d[0] == d[-1] == 0 and (x[0], x[-1]) == (-SIDE, 60 + SIDE) and (np.diff(x) > 0).all()
    for place, want in ((0, 2), (5, 2), (10, 2), (10.02, 1), (19, 1), (20, 1.5), (40, 1.5), (50, 3), (60, 3)):
        assert np.interp(place, x, d) == pytest.approx(want, abs=1e-12)


@quick
@given(BOXES, st.floats(-20, 500))
def test_the_river_bottom_of_pits_is_nowhere_less_deep_than_a_pit(rows, place):
    x, d = profile_of_boxes(boxes(*rows))
    assert (np.diff(x) > 0).all() and d[0] == d[-1] == 0
    there = [b[4] for b in rows if b[0] <= place <= b[1]]
    assert np.interp(place, x, d) >= max(there, default=0) - 1e-9
    if all(abs(place - s) > 2 * SIDE for b in rows for s in b[:2]):
        assert np.interp(place, x, d) == pytest.approx(max(there, default=0))


def test_some_of_the_pits_only():
    x, d = profile_of_boxes(boxes((0, 10, 0, 5, 2), (100, 130, 50, 60, 1)), (1,))
    assert x.tolist() == [99.99, 100, 130, 130.01] and d.tolist() == [0, 1, 1, 0]
    with pytest.raises(CalculationError, match="there are no pits"):
        profile_of_boxes(boxes((0, 10, 0, 5, 2)), ())


@quick
@given(st.lists(st.integers(0, 3), min_size=1, max_size=12))
def test_thinning_keeps_shape_and_area(depths):
    x, d = np.arange(len(depths) + 2) * 2.5, np.array([0, *depths, 0], dtype=float)
    few, deep = thinned_profile(x, d)
    assert np.interp(x, few, deep) == pytest.approx(d, abs=1e-12) and set(few) <= set(x)
    assert ((deep[1:] + deep[:-1]) * np.diff(few)).sum() == pytest.approx(((d[1:] + d[:-1]) * np.diff(x)).sum())
    for i in range(1, len(few) - 1):
        assert deep[i] != pytest.approx(np.interp(few[i], [few[i - 1], few[i + 1]], [deep[i - 1], deep[i + 1]]))


def test_thinned_stations_may_matter_to_the_weakest_sub_length():
    """Why `thinned_profile` must not go before the search: on a straight slope a sub-length may end anywhere."""
    from wrapcalc.searches.sub_lengths import weakest_sub_length
    x = np.linspace(0, 400, 81)
    d = np.interp(x, [0, 100, 400], [0, 7, 0])
    few = thinned_profile(x, d)
    assert len(few[0]) == 3
    assert weakest_sub_length(x, d, 610, 9.53, 400).pressure < weakest_sub_length(*few, 610, 9.53, 400).pressure
