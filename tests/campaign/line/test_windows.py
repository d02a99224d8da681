"""Rows along the line cut where nothing acts across: nobody is lost, and no two neighbours are parted."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wrapcalc.campaign.line.windows import reach_of, windows
from wrapcalc.campaign.neighbours.neighbours import PLACES, Convention, edges


def blocks(survey, length, size):
    rows = {"survey": survey, "length": length, "row": np.arange(len(survey))}
    return [{n: v[i:i + size] for n, v in rows.items()} for i in range(0, len(survey), size)]


@given(st.integers(0, 2 ** 32 - 1), st.integers(1, 40), st.sampled_from(PLACES), st.sampled_from([1.0, 30.0, 400.0]))
def test_no_two_rows_within_reach_are_parted(seed, size, place, reach):
    random = np.random.default_rng(seed)
    survey = np.sort(random.uniform(0, 20_000, 80))
    length = random.choice([5.0, 60.0, 900.0, np.nan], 80)
    got = list(windows(blocks(survey, length, size), place, 900.0, reach))
    assert np.concatenate([g["row"] for g in got]).tolist() == list(range(80))
    low, high = edges({"survey": survey, "length": np.nan_to_num(length)}, place)
    window = np.repeat(np.arange(len(got)), [len(g["row"]) for g in got])
    near = np.maximum(low[:, None], low) - np.minimum(high[:, None], high) <= reach  # brute force: every pair
    assert (window[:, None] == window)[near].all()


def test_a_long_line_is_cut_as_it_comes():
    survey = np.arange(1000) * 1000.0
    got = list(windows(blocks(survey, np.full(1000, 50.0), 100), "upstream end", 50.0, 100.0))
    assert len(got) >= 10 and max(len(g["row"]) for g in got) <= 101


def test_no_rows_are_no_window():
    assert not list(windows([], "middle", 0.0, 1.0))
    assert not list(windows(blocks(np.empty(0), np.empty(0), 5), "middle", 0.0, 1.0))


@pytest.mark.parametrize("rule, own, gap", [("6t", (None, None), 60.0), ("own", (200.0, 50.0), 200.0),
                                            (None, (None, None), 60.0)])
def test_the_reach_is_that_of_the_rule_with_the_allowance(rule, own, gap):
    # published rule: six walls; without one the neighbours that are only told are found by the same
    how = Convention(rule, "middle", own, length_allowance=20.0, rejoin_gap=None)
    assert reach_of(how, 400.0, 10.0) == gap + 20.0 + 1.0
    assert reach_of(Convention(rule, "middle", own, 20.0, 500.0), 400.0, 10.0) == 521.0
