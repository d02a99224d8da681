"""Windows against a search that walks hour by hour, and against windows that can be counted by hand."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc.searches import weather_windows as w

HOUR = 3600


def hours(n: int, gaps: dict[int, int] | None = None) -> np.ndarray:
    """Times of n rows; gaps: row -> hours that are missing before it."""
    steps = np.ones(n, dtype=int)
    steps[0] = 0
    for row, missing in (gaps or {}).items():
        steps[row] += missing
    return 1_000_000 + HOUR * np.cumsum(steps)


def rows(n: int, *bad: int) -> np.ndarray:
    out = np.zeros(n, dtype=bool)
    out[list(bad)] = True
    return out


def walked(utc, fails, rate, work, start):
    """(reason, at, cured) of one start, hour by hour, as somebody with a pencil would do it."""
    n = len(utc)

    def follows(k):
        return k + 1 < n and utc[k + 1] - utc[k] == HOUR

    whole = math.ceil(work - 1e-9)
    for k in range(start, start + whole + 1):
        for place, f in enumerate(fails):
            if f[k]:
                return place, utc[k], 0
        if k < start + whole and not follows(k):
            return (w.ENDS if k == n - 1 else w.GAP), utc[k], 0
    age, at = 0.0, start + work
    while age < 1 - 1e-9:
        k = math.floor(at + 1e-9)
        if not follows(k):
            return (w.ENDS if k == n - 1 else w.GAP), utc[k], 0
        slower = min(rate[k], rate[k + 1])
        if slower == 0:
            return w.NO_CURE, utc[k] if rate[k] == 0 else utc[k + 1], 0
        left = k + 1 - at
        if age + left * slower >= 1 - 1e-9:
            return w.FITS, 0, utc[start] + HOUR * (at + (1 - age) / slower - start)
        age, at = age + left * slower, k + 1
    raise AssertionError


@st.composite
def forecasts(draw):
    n = draw(st.integers(2, 40))
    bad = st.lists(st.sampled_from([False] * 12 + [True]), min_size=n, max_size=n)
    fails = [np.array(draw(bad)) for _ in range(draw(st.integers(0, 3)))]
    rate = np.array(draw(st.lists(st.sampled_from([0.0, 0.05, 0.125, 0.25, 0.31, 0.5, 1.0, 3.0]), min_size=n,
                                  max_size=n)))
    if draw(st.booleans()):
        rate = np.maximum(rate, 0.125)
    gaps = draw(st.dictionaries(st.integers(1, n - 1), st.integers(1, 30), max_size=2))
    return hours(n, gaps), fails, rate, draw(st.sampled_from([0.25, 0.5, 1.0, 2.0, 3.4, 4.5, 5.0, 7.0]))


@settings(max_examples=400, deadline=None)
@given(forecasts())
def test_every_start_agrees_with_a_walk_by_hand(forecast):
    utc, fails, rate, work = forecast
    found = w.search(utc, fails, rate, work)
    for start in range(len(utc)):
        reason, at, cured = walked(utc, fails, rate, work, start)
        assert found.reason[start] == reason
        assert found.at[start] == at
        assert found.cured[start] == pytest.approx(cured, abs=0.01)


@settings(max_examples=100, deadline=None)
@given(forecasts())
def test_windows_are_the_runs_of_starts_that_fit(forecast):
    utc, fails, rate, work = forecast
    found = w.search(utc, fails, rate, work)
    inside = np.array([any(window.holds(t) for window in found.windows) for t in utc])
    assert (inside == (found.reason == w.FITS)).all()
    for a, b in zip(found.windows, found.windows[1:], strict=False):
        assert b.earliest - a.latest > HOUR or not (found.reason == w.FITS).all()
        between = (utc > a.latest) & (utc < b.earliest)
        assert (found.reason[between] != w.FITS).all()
        assert between.any() or b.earliest - a.latest > HOUR


def test_a_day_counted_by_hand():
    """24 rows, 0 to 23 h. Work of 3 h needs rows s to s + 3; row 5 fails; then 4 h of cure at 0.25/h."""
    utc = hours(24)
    found = w.search(utc, [rows(24, 5)], np.full(24, 0.25), 3.0)
    assert (np.flatnonzero(found.reason == w.FITS) == [0, 1, *range(6, 17)]).all()  # 16 + 3 + 4 = 23
    assert found.at[2] == utc[5] and found.at[17] == utc[23] and found.reason[17] == w.ENDS
    first, second = found.windows
    assert (first.earliest, first.latest) == (utc[0], utc[1])
    assert (second.earliest, second.latest, second.first_cured) == (utc[6], utc[16], utc[13])
    assert second.holds(utc[6] + 1800) and not second.holds(utc[6] - 1) and not second.holds(utc[16] + 1)


def test_an_hour_is_judged_by_its_worse_end():
    """Work of half an hour from row 3 on ends before row 4; still row 4 has to hold."""
    found = w.search(hours(12), [rows(12, 4)], np.full(12, 1.0), 0.5)
    assert found.reason[3] == 0 and found.reason[2] == w.FITS
    warm = np.array([1.0, 1.0, 1.0, 0.25, 1.0, 1.0, 1.0, 1.0])
    assert w.search(hours(8), [], warm, 1.0).cured[1] == hours(8)[2] + 2 * HOUR + HOUR / 2 * 1  # 2 h at 0.25, then 1


def test_no_credit_below_the_table_and_no_window_through_it():
    rate = np.full(24, 0.25)
    rate[9] = 0.0
    found = w.search(hours(24), [], rate, 2.0)
    assert found.reason[2] == w.FITS  # cured at row 8
    assert found.reason[3] == w.NO_CURE and found.at[3] == hours(24)[9]
    assert found.reason[7] == w.NO_CURE and found.reason[8] == w.FITS  # whose cure begins at row 10
    cold = w.search(hours(24), [], np.zeros(24), 2.0)
    assert (cold.reason[:21] == w.NO_CURE).all() and not cold.windows


def test_a_gap_is_never_part_of_a_window():
    utc = hours(24, {10: 5})
    found = w.search(utc, [], np.full(24, 0.5), 2.0)  # 2 h of work, 2 h of cure
    assert (np.flatnonzero(found.reason == w.GAP) == [6, 7, 8, 9]).all()
    assert (found.at[6:10] == utc[9]).all()
    assert [(v.earliest, v.latest) for v in found.windows] == [(utc[0], utc[5]), (utc[10], utc[19])]


def test_the_first_limit_of_the_list_names_an_hour_that_fails_several():
    found = w.search(hours(9), [rows(9), rows(9, 4), rows(9, 4, 3)], np.full(9, 1.0), 3.0)
    assert found.reason[1] == 2 and found.at[1] == hours(9)[3]
    assert found.reason[4] == 1


def test_a_forecast_shorter_than_the_work_has_no_window():
    found = w.search(hours(4), [], np.full(4, 9.0), 5.0)
    assert (found.reason == w.ENDS).all() and not found.windows and (found.at == hours(4)[-1]).all()


@pytest.mark.parametrize(("change", "words"), [
    ({"rate": np.full(3, 1.0)}, "length"), ({"fails": [rows(4)]}, "length"),
    ({"rate": np.array([1, 1, np.nan, 1, 1])}, "rate"), ({"rate": np.array([1, 1, -1, 1, 1])}, "rate"),
    ({"work": 0.0}, "work"), ({"work": math.nan}, "work"), ({"utc": hours(5)[::-1]}, "rise")])
def test_what_does_not_agree_is_refused(change, words):
    given_ = {"utc": hours(5), "fails": [rows(5)], "rate": np.full(5, 1.0), "work": 1.0} | change
    with pytest.raises(ValueError, match=words):
        w.search(**given_)
