"""The sweep over whole arrays gives what the search of a single case gives."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc.campaign.neighbours import sweep
from wrapcalc.campaign.neighbours.sweep import Sheet, arcs, grouped, stretches
from wrapcalc.case.boxes import Boxes, shortest_arc
from wrapcalc.searches.clusters import clusters, interaction_rule

RING = math.pi * 406.4
RULE = interaction_rule("6t", 406.4, 8.74)
box = st.tuples(st.integers(0, 1500), st.integers(1, 150), st.integers(0, 1276), st.integers(1, 400))


def sheet(boxes):
    x, length, y, width = np.array(boxes, dtype=float).T
    same = np.ones(len(x))
    return Sheet(x, x + length, y, width, RULE.axial * same, RULE.around * same, RING * same)


def single_case(s):
    found = clusters(Boxes(s.x0, s.x1, s.y0, s.y0 + s.width, np.ones(len(s.x0))), RULE, RING)  # the single case
    return {c.members: (c.x0, c.x1, c.y0 % RING, c.width) for c in found}


def members(label):
    return {tuple(np.flatnonzero(label == k).tolist()) for k in set(label.tolist())}


@settings(max_examples=300, deadline=None)
@given(boxes=st.lists(box, min_size=1, max_size=40))
def test_groups_are_those_of_the_single_case(boxes):
    s = sheet(boxes)
    assert members(grouped(s, stretches(s))) == set(single_case(s))


def test_pairs_are_worked_in_parts_without_another_answer(monkeypatch):
    rng = np.random.default_rng(2)
    s = sheet(list(zip(rng.uniform(0, 30_000, 600), rng.uniform(5, 90, 600), rng.uniform(0, RING, 600),
                       rng.uniform(5, 90, 600), strict=True)))
    monkeypatch.setattr(sweep, "_PAIRS", 7)
    assert members(grouped(s, stretches(s))) == set(single_case(s))


@settings(max_examples=300, deadline=None)
@given(parts=st.lists(st.lists(st.tuples(st.integers(-2000, 3000), st.integers(0, 900)), min_size=1, max_size=6),
                      min_size=1, max_size=5))
def test_arcs_of_many_owners_are_those_of_one_after_another(parts):
    owner = np.repeat(np.arange(len(parts)), [len(p) for p in parts])
    y, width = np.array([q for p in parts for q in p], dtype=float).T
    start, wide = arcs(y, width, np.full(len(parts), RING), owner)
    for k, p in enumerate(parts):
        mine = np.array([(a, a + w) for a, w in p], dtype=float).T
        low, high = shortest_arc(mine[0], mine[1], RING)
        assert wide[k] == pytest.approx(high - low, abs=1e-8)
        if wide[k] < RING:  # of two equal gaps either may be left out
            inside = np.mod(np.array([a for a, _ in p]) - start[k] + 1e-8, RING) + [w for _, w in p]
            assert (inside <= wide[k] + 1e-6).all()


def test_a_stretch_ends_where_the_widest_gap_is_passed():
    s = sheet([(0, 100, 0, 10), (152, 10, 600, 10), (214.5, 10, 0, 10), (20, 500, 300, 10), (900, 10, 0, 10)])
    assert stretches(s).tolist() == [0, 0, 0, 0, 1]
    assert stretches(s.taken(np.array([0, 1, 2]))).tolist() == [0, 0, 1]  # 6t is 52.44 mm
    assert len(stretches(s.taken(np.array([], dtype=int)))) == 0
