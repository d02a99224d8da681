"""Marks by second routes: layers one by one on the tape's circumference, sides by widths laid end to end."""

import math
from itertools import accumulate

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from wrapcalc.formulas import marks as f
from wrapcalc.formulas import takeoff

TAPES = st.floats(300, 4000)
LAYERS = st.integers(1, 30)


@pytest.mark.guards("sleeve_length_on", "circumference_under", kind="independent")
@given(LAYERS, st.floats(100, 1200), st.floats(0.5, 2), st.floats(0.1, 0.6))
def test_sleeve_layer_by_layer(n, D, ply, bond):
    """Bond line and ply in turn; the length of each ply by an integral round its mid-line."""
    radius, length = D / 2, 0.0
    for _ in range(n):
        radius += bond
        length += quad(lambda _phi, r=radius + ply / 2: r, 0, 2 * math.pi)[0]
        radius += ply
    U = f.circumference_under.core(D)
    assert f.sleeve_length_on.core(float(n), U, ply + bond, bond) == pytest.approx(length)
    assert takeoff.wrap_length.core(float(n), D, ply + bond, bond) == pytest.approx(length)


@pytest.mark.guards("cloth_length_on", kind="independent")
@given(LAYERS, TAPES, st.floats(0.2, 2))
def test_cloth_layer_by_layer(n, U, ply):
    length = sum(2 * math.pi * (U / (2 * math.pi) + (k + 0.5) * ply) for k in range(n))
    assert f.cloth_length_on.core(float(n), U, ply) == pytest.approx(length)


@pytest.mark.guards("wrap_end_beyond_start", "circumference_off", kind="independent")
@given(LAYERS, TAPES, st.floats(-20, 20), st.floats(10, 90))
def test_wrap_end_by_laying_a_length_on_another_circumference(n, U, wider, tolerance):
    """The made length is laid turn by turn; what is left over, or lacking, is the end."""
    made, left = f.sleeve_length_on.core(float(n), U, 1.4, 0.2), 0.0
    left = made
    for k in range(n):
        left -= U + wider + 2 * math.pi * (k * 1.4 + 0.2 + 1.2 / 2)
    on_site = f.sleeve_length_on.core(float(n), U + wider, 1.4, 0.2)
    assert f.wrap_end_beyond_start.core(made, on_site) == pytest.approx(left, abs=1e-6)
    off = f.circumference_off.core(tolerance, float(n))
    at_edge = f.sleeve_length_on.core(float(n), U + off, 1.4, 0.2)
    assert made - at_edge == pytest.approx(-tolerance, abs=1e-6)


@pytest.mark.guards("damage_middle", "set_middle", "set_upstream_side", "unit_downstream_side", "next_upstream_side",
                    kind="independent")
@given(st.floats(0, 12000), st.floats(10, 900), st.floats(-300, 300), st.lists(st.floats(100, 600), min_size=1,
                                                                               max_size=6), st.floats(0, 50))
def test_sides_by_laying_the_units_end_to_end_about_their_middle(edge, length, off, widths, lap):
    starts = [0.0, *(x - lap * k for k, x in enumerate(accumulate(widths), 1))][:len(widths)]
    span = starts[-1] + widths[-1]
    middle = f.set_middle.core(f.damage_middle.core(edge, length), off)
    side = f.set_upstream_side.core(middle, span)
    found = []
    for width in widths:
        end = f.unit_downstream_side.core(side, width)
        found.append((side, end))
        side = f.next_upstream_side.core(end, lap)
    shift = edge + length / 2 + off - span / 2
    assert [a for a, _ in found] == pytest.approx([shift + s for s in starts], abs=1e-6)
    assert found[0][0] + found[-1][1] == pytest.approx(2 * (edge + length / 2 + off), abs=1e-6)


@pytest.mark.guards("upstream_edge_of_repair", "downstream_edge_of_repair", "upstream_edge_of_steel",
                    "downstream_edge_of_steel", kind="independent")
@given(st.floats(0, 12000), st.floats(100, 3000), st.floats(0, 100))
def test_edges_lie_about_the_middle(middle, overall, beyond):
    up, down = f.upstream_edge_of_repair.core(middle, overall), f.downstream_edge_of_repair.core(middle, overall)
    assert (up + down) / 2 == pytest.approx(middle) and down - up == pytest.approx(overall)
    steel = f.upstream_edge_of_steel.core(up, beyond), f.downstream_edge_of_steel.core(down, beyond)
    assert steel[1] - steel[0] == pytest.approx(overall + 2 * beyond) and steel[0] <= up and steel[1] >= down
