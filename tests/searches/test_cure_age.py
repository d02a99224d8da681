"""Cure age: against direct integration, and what must never happen: credit that nobody measured."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from wrapcalc.searches.cure_age import credit, cure_age
from wrapcalc.searches.time_table import TimeTable

POINTS = TimeTable((15.0, 22.0, 32.0, 48.0), (36.0, 25.0, 15.0, 8.0), banded=False)
BANDS = TimeTable((16.0, 21.0, 29.0, 45.0), (30.0, 23.0, 13.0), banded=True)
tables = st.sampled_from([POINTS, BANDS])
logs = st.lists(st.tuples(st.floats(0.05, 1.6), st.floats(5, 60)), min_size=2, max_size=40)


def axes(log):
    return list(itertools.accumulate(step for step, _ in log)), [t for _, t in log]


def integrated(table, hours, temperatures, longest):
    """quad over each interval, of a temperature that is the colder of its two readings."""
    total = 0.0
    for (a, b), (x, y) in zip(itertools.pairwise(hours), itertools.pairwise(temperatures), strict=True):
        if b - a <= longest:
            colder = min(x, y)
            total += quad(lambda _, t=colder: credit(table, t), a, b)[0]
    return total


@given(table=tables, log=logs)
def test_age_against_direct_integration(table, log):
    hours, temperatures = axes(log)
    assert cure_age(table, hours, temperatures, 1.0).share == pytest.approx(
        integrated(table, hours, temperatures, 1.0), rel=1e-9, abs=1e-12)


def test_age_of_a_fine_log_meets_the_integral_of_the_true_curve_from_below():
    """Steel that swings with the day; readings ever closer give ever more of the age, never more than all of it."""
    def steel(h):
        return 21 + 4 * np.sin(2 * np.pi * h / 24)

    def rate(h):
        return credit(POINTS, float(steel(h)))

    true = quad(rate, 0, 24, limit=200)[0]
    shares = [cure_age(POINTS, h := np.linspace(0, 24, n), [float(x) for x in steel(h)], 1.0).share
              for n in (25, 97, 1441)]
    assert shares == sorted(shares) and shares[-1] < true
    assert shares[-1] == pytest.approx(true, rel=1e-3)


@given(table=tables, log=logs, colder=st.lists(st.floats(0, 20), min_size=40, max_size=40))
def test_a_colder_log_never_cures_earlier(table, log, colder):
    hours, temperatures = axes(log)
    warm = cure_age(table, hours, temperatures, 1.0)
    cold = cure_age(table, hours, [t - d for t, d in zip(temperatures, colder, strict=False)], 1.0)
    assert cold.share <= warm.share
    if cold.reached is not None:
        assert warm.reached is not None and warm.reached <= cold.reached + 1e-9


@given(table=tables, t=st.floats(5, 60), hours=st.integers(1, 60), parts=st.integers(2, 7))
def test_splitting_an_interval_at_constant_temperature_changes_nothing(table, t, hours, parts):
    whole = cure_age(table, [float(h) for h in range(hours + 1)], [t] * (hours + 1), 1.0)
    fine = cure_age(table, [n / parts for n in range(hours * parts + 1)], [t] * (hours * parts + 1), 1.0)
    assert fine.share == pytest.approx(whole.share, rel=1e-11)
    if whole.reached is not None:
        assert fine.reached == pytest.approx(whole.reached, rel=1e-9)


@given(table=tables, log=logs, missing=st.integers(0, 39))
def test_a_missing_reading_never_helps(table, log, missing):
    """Of one between two others it is asked that it was not the coldest: who strikes out cold readings, lies."""
    hours, temperatures = axes(log)
    full, i = cure_age(table, hours, temperatures, 1.0), missing % len(hours)
    beside = temperatures[max(i - 1, 0):i] + temperatures[i + 1:i + 2]
    if len(beside) == 2:
        temperatures[i] = max(temperatures[i], min(beside))
        full = cure_age(table, hours, temperatures, 1.0)
    del hours[i], temperatures[i]
    assert cure_age(table, hours, temperatures, 1.0).share <= full.share * (1 + 1e-11)


@given(table=tables, log=logs, at=st.integers(0, 38), wait=st.floats(1.01, 50))
def test_a_gap_gives_nothing_whatever_its_ends_read(table, log, at, wait):
    hours, temperatures = axes(log)
    at %= len(hours) - 1
    late = hours[:at + 1] + [h + wait + 1 for h in hours[at + 1:]]
    before, after = cure_age(table, hours, temperatures, 1.0), cure_age(table, late, temperatures, 1.0)
    assert after.share <= before.share * (1 + 1e-9) and (late[at], late[at + 1]) in after.gaps


@pytest.mark.parametrize("table", [POINTS, BANDS])
def test_whole_hours_at_a_row_make_a_whole_age_and_not_before(table):
    n = int(table.times[0])
    row = [table.coldest] * (n + 1)
    out = cure_age(table, [float(h) for h in range(n + 1)], row, 1.0)
    assert out.share == 1 and out.reached == pytest.approx(n, rel=1e-11)
    short = cure_age(table, [float(h) for h in range(n)], row[:-1], 1.0)
    assert short.share == pytest.approx(1 - 1 / n) and short.reached is None


def test_no_credit_below_the_lowest_row_and_no_more_than_the_highest():
    assert credit(POINTS, 14.999) == 0 and credit(POINTS, 15) == pytest.approx(1 / 36)
    assert credit(POINTS, 48) == credit(POINTS, 90) == pytest.approx(1 / 8)
    assert credit(BANDS, 44.9) == credit(BANDS, 45) == credit(BANDS, 60) == pytest.approx(1 / 13)
    out = cure_age(POINTS, [0, 1, 2, 3], [20, 14.9, 20, 60], 1.0)
    assert out.share == pytest.approx(credit(POINTS, 20)) and out.cold == 2 and out.hot == 0
    assert cure_age(POINTS, [0, 1, 2], [60, 60, 60], 1.0).hot == 2


def test_age_one_is_found_inside_its_interval():
    out = cure_age(POINTS, [h * 0.9 for h in range(60)], [22.0] * 60, 1.0)
    assert out.reached == pytest.approx(25.0, rel=1e-12)


def test_nothing_counts_before_the_last_unit_was_laid_and_a_gap_stays_a_gap():
    out = cure_age(POINTS, [0, 1, 2, 3], [22.0] * 4, 1.0, since=1.5)
    assert out.share == pytest.approx(1.5 / 25)
    late = cure_age(POINTS, [0, 3, 4], [22.0] * 3, 1.0, since=2.5)
    assert late.gaps == ((2.5, 3),) and late.share == pytest.approx(1 / 25)
    assert cure_age(POINTS, [0, 1], [22.0] * 2, 1.0, since=9).share == 0


def test_the_longest_interval_itself_is_no_gap():
    ten = [n / 6 for n in range(7)]
    assert cure_age(POINTS, ten, [22.0] * 7, 1 / 6).gaps == ()
    assert len(cure_age(POINTS, ten, [22.0] * 7, 0.166).gaps) == 6


@pytest.mark.parametrize(("hours", "temperatures"), [
    ([0, 1, 1], [20, 20, 20]), ([1, 0], [20, 20]), ([0, 1], [20, float("nan")]), ([0, 1], [20])])
def test_a_log_that_its_reader_should_have_refused_stops_here(hours, temperatures):
    with pytest.raises(AssertionError):
        cure_age(POINTS, hours, temperatures, 1.0)


def test_one_reading_is_no_time():
    assert cure_age(POINTS, [0.0], [30.0], 1.0).share == 0
