"""Readings on the finished repair by second routes. Readings of these tests stand in no shipped example."""

import math
import statistics

import numpy as np
import pytest

from wrapcalc.formulas import acceptance as f
from wrapcalc.standards import tables


@pytest.mark.guards("hardness_limit", "hardness_single_limit", kind="independent")
def test_hardness_of_ten_readings():
    """From memory of ISO 24817: 90 % of the reference 82 is 73.8; mean 78.2 and every reading are above it."""
    at = tables.load().value
    readings = [78, 80, 76, 79, 81, 74, 77, 80, 79, 78]
    limit = f.hardness_limit.core(at("ISO 24817:2017", "hardness_share").magnitude, 82.0)
    assert limit == pytest.approx(82 - 82 / 10) == pytest.approx(73.8)
    assert statistics.mean(readings) == pytest.approx(78.2) and min(readings) > limit
    single = f.hardness_single_limit.core(at("Trade practice", "hardness_single_share").magnitude, 82.0)
    assert single == pytest.approx(82 * 17 / 20) and single < limit


@pytest.mark.guards("tape_thickness", "layers_by_tape", "circumference_over_layers", kind="independent")
def test_tape_round_a_polygon():
    """A tape round a circle of many corners, before and after; thickness and layers come back."""
    phi = np.linspace(0, 2 * math.pi, 200_001)

    def tape(radius: float) -> float:
        x, y = radius * np.cos(phi), radius * np.sin(phi)
        return float(np.hypot(np.diff(x), np.diff(y)).sum())

    before, after = tape(304.8), tape(304.8 + 8 * 0.9813)
    thickness = f.tape_thickness.core(after, before)
    assert thickness == pytest.approx(8 * 0.9813, rel=1e-6)
    assert f.layers_by_tape.core(thickness, 0.9813) == pytest.approx(8, rel=1e-6)
    assert f.circumference_over_layers.core(before, 8.0, 0.9813) == pytest.approx(after, rel=1e-8)


def test_tape_of_a_wrap_by_hand():
    """Independent: by hand, 49.3 mm over 2π are 7.85 mm; one ply of 0.973 mm less takes 6.1 mm off the tape."""
    assert f.tape_thickness.core(1964.4, 1915.1) == pytest.approx(7.85, abs=0.005)
    less = f.circumference_over_layers.core(1915.1, 8.0, 0.973) - f.circumference_over_layers.core(1915.1, 7.0, 0.973)
    assert less == pytest.approx(6.11, abs=0.01)


def test_a_thick_bond_line_reads_like_a_further_layer():
    """Independent: seven layers of 1.6 mm on 0.63 mm are as thick as eight on 0.35 mm: tape cannot tell them apart."""
    thickness = f.tape_thickness.core(f.circumference_over_layers.core(2000.0, 7.0, 1.6 + 0.63), 2000.0)
    assert f.layers_by_tape.core(thickness, 1.6 + 0.35) == pytest.approx(8.0, abs=0.01)


@pytest.mark.guards("dull_share", kind="independent")
def test_dull_share_cell_by_cell():
    cells = np.zeros(144)
    cells[[3, 40, 99]] = 1
    assert f.dull_share.core(3 * 0.01, 1.44) == pytest.approx(cells.mean())


@pytest.mark.guards("open_time", kind="independent")
def test_open_time_on_the_clock():
    import datetime as d
    blast, first = d.datetime(2026, 1, 5, 9, 40), d.datetime(2026, 1, 5, 13, 10)
    midnight = d.datetime(2026, 1, 5)
    since = [(m - midnight).total_seconds() / 3600 for m in (first, blast)]
    assert f.open_time.core(*since) == pytest.approx((first - blast).total_seconds() / 3600) == pytest.approx(3.5)
