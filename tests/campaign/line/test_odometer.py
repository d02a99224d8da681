"""From the log of a run to the surveyed distance: exact at the points, monotone, refused where the points cannot be."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wrapcalc.campaign.line.odometer import odometer
from wrapcalc.errors import CaseFaults
from wrapcalc.formulas.excavation import surveyed_distance
from wrapcalc.values import Origin, Value

STEPS = st.lists(st.tuples(st.floats(5, 5000), st.floats(0.985, 1.015)), min_size=1, max_size=6)


def points(steps, start: float = 0.0, *, backwards: bool = False) -> list[tuple[float, float]]:
    """Reference points, mm. steps: metres of the log, and the stretch of each."""
    log = start + np.cumsum([0.0, *(1000 * s for s, _ in steps)])
    surveyed = np.cumsum([0.0, *(1000 * s * f for s, f in steps)])
    return list(zip(log.tolist(), (surveyed[-1] - surveyed if backwards else surveyed).tolist(), strict=True))


@given(STEPS, st.floats(0, 1e7), st.booleans(), st.lists(st.floats(-0.2, 1.2), min_size=2, max_size=20))
def test_points_are_met_exactly_and_places_keep_their_order(steps, start, backwards, shares):
    """independent: np.interp between the points."""
    known = points(steps, start, backwards=backwards)
    o = odometer(known[::-1], "mapping.toml", backwards=backwards)
    log, surveyed = (np.array(v) for v in zip(*known, strict=True))
    at, outside = o(log)
    assert at.tolist() == surveyed.tolist() and not outside.any()
    asked = np.sort(np.concatenate([log, log[0] + np.array(shares) * (log[-1] - log[0])]))
    found, outside = o(asked)
    assert outside.tolist() == ((asked < log[0]) | (asked > log[-1])).tolist()
    inside = ~outside
    np.testing.assert_allclose(found[inside], np.interp(asked[inside], log, surveyed), rtol=1e-9, atol=1e-5)
    assert ((np.diff(found) <= 0) if backwards else (np.diff(found) >= 0)).all()


@given(st.floats(0, 1))
def test_the_dig_sheet_says_the_same_place(share):
    """independent: the formula on values, as the dig sheet of a case runs it."""
    known = [(842_762.0, 837_492.0), (2_411_903.0, 2_390_400.0)]
    log = known[0][0] + share * (known[1][0] - known[0][0])
    values = [Value(x, "mm", Origin("case", "location")) for x in
              (log, known[0][0], known[1][0], known[0][1], known[1][1])]
    single = surveyed_distance(*values).to("mm")
    assert odometer(known, "m", backwards=False)(np.array([log]))[0][0] == pytest.approx(single, rel=1e-11)


def test_beyond_the_outermost_points_the_slope_goes_on_and_is_flagged():
    o = odometer([(0.0, 0.0), (1000.0, 1010.0), (2000.0, 2000.0)], "mapping.toml", backwards=False)
    at, outside = o(np.array([-100.0, 500.0, 3000.0, np.nan]))
    np.testing.assert_allclose(at[:3], [-101.0, 505.0, 2990.0])
    assert outside.tolist() == [True, False, True, False] and math.isnan(at[3])


def test_a_log_that_counts_against_the_flow_falls_along_the_survey():
    o = odometer([(0.0, 5000.0), (5000.0, 0.0)], "mapping.toml", backwards=True)
    assert o(np.array([1000.0, -100.0]))[0].tolist() == [4000.0, 5100.0]


def test_without_points_the_log_is_the_survey():
    at, outside = odometer([], "mapping.toml", backwards=False)(np.array([12.0]))
    assert at.tolist() == [12.0] and not outside.any()


def test_the_points_around_a_place_and_none_outside():
    o = odometer([(0.0, 0.0), (1000.0, 1010.0), (2000.0, 2000.0)], "mapping.toml", backwards=False)
    assert o.around(1000.0) == ((1000.0, 1010.0), (2000.0, 2000.0))
    assert o.around(2000.0) == ((1000.0, 1010.0), (2000.0, 2000.0))
    assert o.around(2001.0) is None and o.around(math.nan) is None
    assert odometer([], "mapping.toml", backwards=False).around(1.0) is None


@pytest.mark.parametrize(("known", "backwards", "field", "words"), [
    ([(0.0, 0.0), (1000.0, -5.0)], False, "reference_point.1.survey", "surveyed distances that rise with the log"),
    ([(1000.0, 5.0), (0.0, 10.0)], False, "reference_point.0.survey", "log 1 m is surveyed 0.005 m after log 0 m"),
    ([(0.0, 0.0), (0.0, 5.0)], False, "reference_point.1.survey", "surveyed distances that rise with the log"),
    ([(0.0, 0.0), (1000.0, 1000.0)], True, "reference_point.1.survey", "surveyed distances that fall with the log"),
    ([(0.0, 0.0), (1000.0, 1030.0)], False, "reference_point.1.survey", "at most 2 % apart"),
    ([(0.0, 0.0)], False, "reference_point", "found one reference point; allowed: two at least"),
    ([], True, "reference_point", "found none, and a log that counts against the flow; allowed: two at least")])
def test_points_that_cannot_be_are_refused_by_place(known, backwards, field, words):
    with pytest.raises(CaseFaults) as e:
        odometer(known, "mapping.toml", backwards=backwards)
    assert words in str(e.value) and f"mapping.toml: {field}:" in str(e.value)


@pytest.mark.parametrize(("stretch", "refused"), [(1.0199, False), (1.0201, True), (0.9801, False), (0.9799, True)])
def test_two_per_cent_is_the_limit_either_way(stretch, refused):
    known = [(0.0, 0.0), (1e6, 1e6 * stretch)]
    if refused:
        with pytest.raises(CaseFaults, match="at most 2 % apart"):
            odometer(known, "mapping.toml", backwards=False)
    else:
        odometer(known, "mapping.toml", backwards=False)
