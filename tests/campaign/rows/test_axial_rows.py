"""The verdict along the pipe is that of every width, and the bounds that spare the work are never below the stress."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.helpers.single_cases import written
from wrapcalc.campaign.rows.axial_rows import AxialRows
from wrapcalc.campaign.rows.method_rows import Sizes, line_of
from wrapcalc.campaign.rows.rounding import Unrounded

LOADS = st.fixed_dictionaries({}, optional={
    "service__axial_force": st.sampled_from(["-900 kN", "-100 kN", "600 kN"]),
    "service__bending_moment": st.sampled_from(["-60 kN*m", "40 kN*m", "150 kN*m"]),
    "service__restraint": st.sampled_from(["restrained", "unknown"]),
    "service__lowest_temperature": st.sampled_from(["-20 °C"])})
COUNT = 24


def sizes(seed: int) -> tuple[Sizes, np.ndarray]:
    pick = np.random.default_rng(seed)
    wall = pick.uniform(6, 9, COUNT)
    share = pick.choice([0.001, 0.2, 0.5, 0.79], COUNT) * pick.uniform(0.9, 1, COUNT)
    width = pick.choice([0.1, 60, 400, 850, 1276], COUNT) * pick.uniform(0.9, 1, COUNT)
    return Sizes(wall, share * wall, np.full(COUNT, 50.0), share, width), pick.integers(0, 2, COUNT)


def rows_of(fields: dict) -> AxialRows:
    bundle = written(fields | {"service__tie_in_temperature": "12 °C"})
    return AxialRows(bundle, line_of(bundle))


@given(LOADS, st.integers(0, 10_000), st.sampled_from([0.1, 4.0, 8.6]))
@settings(max_examples=30, deadline=None)
def test_no_bound_is_below_the_stress(fields, seed, at):
    """Independent: the stage's own formulas at 2000 widths."""
    axial, (s, internal) = rows_of(fields), sizes(seed)
    stress = axial._stresses(s, internal, at, 2000)
    with np.errstate(all="ignore"):
        for bound in (axial._bound(s, s.width / 406.4, at), axial._ranged(s, internal, at)):
            assert (bound >= stress * (1 - 1e-12)).all(), (bound / stress).min()
    few = axial._stresses(s, internal, at, 25)
    assert (few <= stress * (1 + 1e-12)).all(), "25 widths are among the 2000"


@given(LOADS, st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_the_verdict_is_that_of_every_width(fields, seed):
    """A limit among the stresses themselves: rows on both sides of it, and close to it."""
    bundle = written(fields | {"service__tie_in_temperature": "12 °C"})
    line, (s, internal) = line_of(bundle), sizes(seed)
    stress = AxialRows(bundle, line)._stresses(s, internal, 8.6, 2000)
    for limit in (np.median(stress) * (1 + 1e-6), stress.min() * 1.01, stress.max() * (1 - 1e-7)):
        object.__setattr__(line, "allowable", float(limit))
        with np.errstate(all="ignore"):
            found = AxialRows(bundle, line).met(s, internal, 8.6, Unrounded())
        assert (found == (stress <= limit)).all()


def test_small_loss_is_decided_without_any_width(monkeypatch):
    axial = rows_of({})
    monkeypatch.setattr(axial, "_closer", lambda *a: pytest.fail("the bound decides these"))
    s, internal = sizes(1)
    small = Sizes(s.wall, 0.4 * s.wall, s.length, s.share, np.full(COUNT, 80.0))
    assert axial.met(small, internal, 4.0, Unrounded()).all()
