"""Times by temperature: rows, edges, nothing outside, and the inverse against a root finder."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from wrapcalc.searches.time_table import TimeTable, row_of

POINTS = TimeTable((7.0, 14.0, 23.0, 34.0), (1.6, 1.1, 0.7, 0.4), banded=False)
BANDS = TimeTable((7.0, 16.0, 27.0, 48.0), (0.9, 0.6, 0.3), banded=True)


@pytest.mark.parametrize("table", [POINTS, BANDS])
def test_outside_there_is_no_time(table):
    assert table.at(table.coldest) == table.times[0] and table.at(table.hottest) == table.times[-1]
    for t in (table.coldest - 1e-9, table.hottest + 1e-9):
        assert table.at(t) is None and table.row(t) is None


@pytest.mark.parametrize(("t", "time"), [(7, 0.9), (15.999, 0.9), (16, 0.6), (26.999, 0.6), (27, 0.3), (48, 0.3)])
def test_the_lower_edge_belongs_to_the_band(t, time):
    assert BANDS.at(t) == time


def test_points_are_met_and_lie_between_their_neighbours():
    assert [POINTS.at(t) for t in POINTS.temperatures] == pytest.approx(POINTS.times)
    assert POINTS.times[1] < POINTS.at(10.0) < POINTS.times[0]


@pytest.mark.parametrize(("t", "row"), [(7, 0), (13.9, 0), (14, 1), (34, 2), (34.1, None), (6.9, None)])
def test_rows(t, row):
    assert row_of(POINTS.temperatures, t) == row


@given(time=st.floats(0.41, 1.59))
def test_the_hottest_with_enough_time_against_a_root_finder(time):
    want = brentq(lambda t: POINTS.at(t) - time, POINTS.coldest, POINTS.hottest, xtol=1e-12)
    assert POINTS.hottest_with(time) == pytest.approx(want, abs=1e-8)


@pytest.mark.parametrize(("table", "time", "top"), [
    (POINTS, 0.3, 34), (POINTS, 1.7, None), (POINTS, 1.6, 7), (POINTS, 0.4, 34),
    (BANDS, 0.2, 48), (BANDS, 0.5, 27), (BANDS, 0.6, 27), (BANDS, 0.91, None)])
def test_the_hottest_with_enough_time_stays_inside_the_table(table, time, top):
    assert table.hottest_with(time) == (None if top is None else pytest.approx(top))


def test_equal_times_in_neighbouring_rows():
    flat = TimeTable((10.0, 20.0, 30.0), (1.0, 1.0, 0.5), banded=False)
    assert flat.at(15.0) == 1.0 and flat.hottest_with(1.0) == pytest.approx(20.0)
