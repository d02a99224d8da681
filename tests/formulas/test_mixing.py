"""Doses, masses and times of a batch by second routes: numpy's interpolation, balances of mass, counting, walking."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from wrapcalc.formulas import mixing as f

share = st.floats(0.005, 0.6)
mass = st.floats(0.05, 20)
density = st.floats(0.7, 2.5)


@pytest.mark.guards("dose_between", "pack_dose_between", kind="independent")
@given(a=share, b=share, x=st.floats(10, 20))
def test_doses_between_rows_against_numpy(a, b, x):
    want = np.interp(x, [10.0, 20.0], [a, b])
    assert f.dose_between.core(a, b, 10.0, 20.0, x) == pytest.approx(want, rel=1e-12)
    assert f.pack_dose_between.core(a, b, 10.0, 20.0, x) == pytest.approx(want, rel=1e-12)


def test_dose_of_the_field_table():
    """Published: none. Independent: 5 to 30 °C, 3.0 to 1.25 %; at 12.5 °C 2.25 %, of 10.71 kg 241 g."""
    dose = f.dose_between.core(0.025, 0.020, 10.0, 15.0, 12.5)
    assert dose == pytest.approx(0.0225)
    assert f.hardener_of_resin.core(dose, 10.71) == pytest.approx(0.241, abs=5e-4)


@pytest.mark.guards("hardener_of_mix", "mixed_mass", kind="independent")
@given(s=share, resin=mass)
def test_hardener_of_a_mix_is_that_share_of_all(s, resin):
    """The balance of mass, solved by a root finder."""
    want = brentq(lambda h: h - s * (resin + h), 0, 1e3 * resin, xtol=1e-14)
    hardener = f.hardener_of_mix.core(s, resin)
    assert hardener == pytest.approx(want, rel=1e-9)
    assert hardener / f.mixed_mass.core(resin, hardener) == pytest.approx(s, rel=1e-12)
    assert hardener > f.hardener_of_resin.core(s, resin), "the same share of the mix is more than of the resin"


@pytest.mark.guards("ratio_by_mass", "ratio_by_volume", "mixed_volume", kind="independent")
@given(resin=mass, hardener=mass, r=density, h=density)
def test_ratios_and_volume_from_filled_cups(resin, hardener, r, h):
    cup_r, cup_h = resin / r, hardener / h
    assert f.ratio_by_volume.core(hardener, resin, h, r) == pytest.approx(cup_h / cup_r, rel=1e-12)
    assert f.ratio_by_mass.core(hardener, resin) * r / h == pytest.approx(cup_h / cup_r, rel=1e-12)
    assert f.mixed_volume.core(resin, hardener, r, h) == pytest.approx(cup_r + cup_h, rel=1e-12)


@pytest.mark.guards("batches_of_packs", "batches_for_set", "part_of_last_pack", kind="independent")
@given(packs=st.integers(1, 60), each=st.integers(1, 6))
def test_batches_by_handing_out_packs(packs, each):
    left, count = packs, 0
    while left > 0:
        left, count = left - each, count + 1
    assert f.batches_of_packs.core(packs, each) == count
    assert f.batches_for_set.core(packs * 1.7, each * 1.7) == count, "whole multiples are not raised"
    assert f.part_of_last_pack.core(packs * 1.7 - 0.17, 1.7, packs) == pytest.approx(0.9)


@pytest.mark.guards("laying_time", "time_needed", "length_per_clock", kind="independent")
@given(length=st.floats(1, 60), speed=st.floats(0.5, 4), units=st.integers(1, 4), settle=st.floats(0, 20))
def test_time_needed_second_by_second(length, speed, units, settle):
    """Walk along the wrap in steps of a second; lengths in m, speed in m/min, times in min."""
    seconds = np.arange(0, units * length / speed * 60 + 1)
    laid = np.searchsorted(seconds * speed / 60, units * length)
    along = f.length_per_clock.core(units, length)
    walk = f.laying_time.core(along, speed / 60)
    assert walk * 3600 == pytest.approx(laid, abs=1.0)
    needed = f.time_needed.core(4 / 60, walk, units, settle / 60)
    assert needed * 60 == pytest.approx(4 + laid / 60 + units * settle, abs=1 / 60 + 1e-9)
