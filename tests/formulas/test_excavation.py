"""Joints, trenches and spans by second routes: integration, interpolation, statics and the units of the rule."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from wrapcalc.formulas import excavation as f
from wrapcalc.formulas.net_section import sound_second_moment
from wrapcalc.units import Quantity


@pytest.mark.guards("trench_volume", "trench_top", kind="independent")
@given(long=st.floats(0.5, 15), wide=st.floats(0.5, 5), slope=st.floats(0, 2), deep=st.floats(0.3, 6))
def test_volume_is_the_integral_of_the_area_over_the_depth(long, wide, slope, deep):
    """Independent: slices of the trench, each a rectangle that grows by the slope on both sides."""
    slices = quad(lambda h: (long + 2 * slope * h) * (wide + 2 * slope * h), 0, deep)[0]
    assert f.trench_volume.core(long, wide, slope, deep) == pytest.approx(slices, rel=1e-9)
    assert f.trench_top.core(long, slope, deep) == pytest.approx(long + deep * slope + deep * slope)


@pytest.mark.guards("unsupported_length", kind="independent")
def test_soil_ends_where_the_sloped_wall_meets_the_underside_of_the_pipe():
    """Independent: walk down the wall in steps until the height of the underside."""
    long, slope, below = 3.9, 1.5, 0.45
    heights = np.linspace(0, 2.26, 100001)
    width = f.trench_top.array(long, slope, heights)
    assert f.unsupported_length.core(long, slope, below) == pytest.approx(np.interp(below, heights, width), rel=1e-9)


@pytest.mark.guards("surveyed_distance", "naive_distance", kind="independent")
@given(share=st.floats(0, 1), stretch=st.floats(0.9, 1.1))
def test_rescaling_is_interpolation_between_the_two_points(share, stretch):
    """Independent: numpy's own interpolation; where the wheel does not slip the log carried on alone is right, too."""
    log, points = 12031.4 + share * 963.5, [12031.4, 12994.9]
    ends = 12000.0, 12000.0 + 963.5 * stretch
    assert f.surveyed_distance.core(log, *points, *ends) == pytest.approx(np.interp(log, points, ends))
    assert f.naive_distance.core(log, 12031.4, 12000.0) == pytest.approx(np.interp(log, points, [12000.0, 12963.5]))


@pytest.mark.guards("clock_arc", "clock_degrees", "clock_width", kind="independent")
@pytest.mark.parametrize("hour", [0, 0.5, 3, 4.5, 6, 7.25, 11.9])
def test_arc_by_walking_round_the_circle(hour):
    """Independent: short chords along the surface from the top, either way round; the shorter one counts."""
    diameter = 609.6
    angle = math.radians(f.clock_degrees.core(hour))
    ways = []
    for end in (angle, angle - 2 * math.pi):
        turn = np.linspace(0, end, 20001)
        x, y = diameter / 2 * np.sin(turn), diameter / 2 * np.cos(turn)
        ways.append(np.hypot(np.diff(x), np.diff(y)).sum())
    assert f.clock_arc.core(diameter, hour) == pytest.approx(min(ways), rel=1e-7, abs=1e-9)
    assert f.clock_width.core(min(ways), diameter) == pytest.approx(min(hour, 12 - hour), rel=1e-7, abs=1e-9)


@pytest.mark.guards("clocks_apart", kind="independent")
@given(one=st.integers(0, 719), other=st.integers(0, 719))
def test_clocks_apart_by_counting_minutes_both_ways(one, other):
    """Independent: minutes round the dial, the fewer of both ways."""
    fewest = min((one - other) % 720, (other - one) % 720)
    assert f.clocks_apart.core(one / 60, other / 60) == pytest.approx(fewest / 60, abs=1e-12)


@pytest.mark.guards("defect_middle", "defect_far_edge", "rest_of_joint", kind="independent")
@given(start=st.floats(0, 9), length=st.floats(0.01, 2))
def test_parts_of_a_joint_make_up_the_joint(start, length):
    """Independent: upstream part, defect and downstream part, laid end to end."""
    end, middle = f.defect_far_edge.core(start, length), f.defect_middle.core(start, length)
    assert start + length + f.rest_of_joint.core(12.0, end) == pytest.approx(12.0)
    assert middle == pytest.approx(np.mean([start, end]))


@pytest.mark.guards("bar_error", kind="independent")
@given(diameter=st.floats(105, 1500), bar=st.floats(10, 100))
def test_bar_stands_off_as_the_circle_does(diameter, bar):
    """Independent: height of the circle over the middle of the chord, by its angle."""
    half = math.asin(bar / diameter)
    assert f.bar_error.core(diameter, bar) == pytest.approx(diameter / 2 * (1 - math.cos(half)), rel=1e-6)


def test_bar_of_100_mm_on_24_in_is_near_the_flat_arc_of_the_trade():
    """Independent: c²/(8 R), the form for flat arcs, gives 4.10 mm; the circle itself 4.13 mm."""
    assert f.bar_error.core(609.6, 100) == pytest.approx(100 ** 2 / (8 * 304.8), rel=0.01)


@pytest.mark.guards("unsupported_span", "section_modulus", "steel_per_length", "contents_per_length",
                    kind="independent")
def test_at_the_span_the_own_weight_bends_the_pipe_to_the_stress():
    """Independent: weight in N/m from volumes in m³, moment over the span, stress from inertia and radius."""
    diameter, wall, density = 0.4064, 0.00874, 850.0
    steel = f.steel_per_length.core(diameter, wall, 7.85)
    inside = f.contents_per_length.core(diameter, wall, density / 1000)
    ring = quad(lambda r: 2 * math.pi * r, diameter / 2 - wall, diameter / 2)[0]
    assert steel == pytest.approx(ring * 7850)
    assert inside == pytest.approx(quad(lambda r: 2 * math.pi * r, 0, diameter / 2 - wall)[0] * density)
    inertia = sound_second_moment.core(406.4, 8.74)
    span = f.unsupported_span.core(36.0, f.section_modulus.core(inertia, 406.4), steel, inside)
    moment = 9.80665 * (steel + inside) * span ** 2 / 10
    assert moment * 1000 * 203.2 / inertia == pytest.approx(36.0)


@pytest.mark.guards("impact_radius", kind="independent")
@pytest.mark.parametrize(("psi", "inches"), [(943, 24), (100, 10), (1440, 36)])
def test_impact_radius_in_the_units_of_the_rule(psi, inches):
    """Independent: feet, psi and inches throughout, as the rule is written (from memory)."""
    found = f.impact_radius(Quantity(0.69, ""), Quantity(psi, "psi"), Quantity(inches, "inch"))
    assert found.m_as("foot") == pytest.approx(0.69 * math.sqrt(psi * inches ** 2), rel=1e-6)


@pytest.mark.guards("ultrasonic_excess", kind="independent")
def test_a_gauge_set_to_the_speed_of_cold_steel_reads_hot_steel_too_thick():
    """Independent: time of flight at the slower speed, times the speed that the gauge was set to."""
    cold, warming, wall = 5920.0, 40.0, 9.54
    hot = cold * (1 - 0.01 * warming / 55)
    reading = wall / hot * cold
    assert reading - f.ultrasonic_excess.core(reading, warming, 0.01, 55) == pytest.approx(wall)


@pytest.mark.guards("bared_length", "trench_length", "trench_width", "trench_depth", kind="independent")
def test_the_trench_is_its_parts_laid_end_to_end():
    """Independent: each part once, from one end, one side and the surface to the other."""
    along = [1.2, 0.3, 0.05, 0.803, 0.05, 0.3, 1.2]
    assert f.trench_length.core(f.bared_length.core(0.803, 0.05, 0.3), 1.2) == pytest.approx(sum(along))
    assert f.trench_width.core(0.6096, 0.6) == pytest.approx(sum([0.6, 0.6096, 0.6]))
    assert f.trench_depth.core(1.2, 0.6096, 0.45) == pytest.approx(sum([1.2, 0.6096, 0.45]))


@pytest.mark.guards("lengths_apart", "least_apart", "least_clock_apart", kind="independent")
@given(first=st.floats(5, 15), second=st.floats(5, 15), error=st.floats(0.01, 0.3))
def test_lengths_farther_apart_than_that_stay_apart_however_they_are_read(first, second, error):
    """Independent: both read as wrongly as they may be, toward each other; the order of the two stays."""
    low, high = sorted((first, second))
    assert f.lengths_apart.core(first, second) == high - low
    assert (f.lengths_apart.core(first, second) > f.least_apart.core(error)) == (high - error > low + error) or (
        abs(high - low - 2 * error) < 1e-9)
    assert f.least_clock_apart.core(error) == error + error
