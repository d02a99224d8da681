"""Times between rows of a table: Arrhenius' law as a second route, and why not a straight line."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wrapcalc.formulas import curing as f

ZERO = -273.15


def arrhenius(celsius: float, energy: float, reference: float = 23.0, time: float = 0.5) -> float:
    return time * math.exp(energy / 8.314462618 * (1 / (celsius - ZERO) - 1 / (reference - ZERO)))


@pytest.mark.guards("time_in_table", kind="independent")
@given(energy=st.floats(2e4, 1e5), low=st.floats(-5, 20), step=st.floats(2, 30), part=st.floats(0, 1))
def test_a_table_that_follows_arrhenius_is_met_everywhere(energy, low, step, part):
    high, x = low + step, low + part * step
    got = f.time_in_table.core(arrhenius(low, energy), arrhenius(high, energy), low, high, x, ZERO)
    assert got == pytest.approx(arrhenius(x, energy), rel=1e-9)
    straight = arrhenius(low, energy) + part * (arrhenius(high, energy) - arrhenius(low, energy))
    assert got <= straight * (1 + 1e-12), "a straight line would promise more time than there is"


@pytest.mark.parametrize(("celsius", "minutes"), [(8, 110.1), (31, 15.8), (38, 9.3)])
def test_field_numbers_of_60_kj_per_mol(celsius, minutes):
    """Independent, worked out before: 30 min at 23 °C with 60 kJ/mol."""
    assert arrhenius(celsius, 6e4) * 60 == pytest.approx(minutes, abs=0.05)


def test_ends_of_the_interval_are_the_rows():
    assert f.time_in_table.core(36.0, 25.0, 15.0, 22.0, 15.0, ZERO) == 36.0
    assert f.time_in_table.core(36.0, 25.0, 15.0, 22.0, 22.0, ZERO) == pytest.approx(25.0, rel=1e-12)


def test_equivalent_hours_of_a_whole_age_are_the_coldest_row():
    assert f.equivalent_hours.core(1.0, 36.0) == 36.0
