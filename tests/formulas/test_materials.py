"""Materials by second routes: volumes slice by slice, layers one by one, ageing as a sum over days."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import dblquad, quad

from wrapcalc.formulas import materials as f
from wrapcalc.formulas import takeoff

SIZES = st.floats(100, 1400)


@pytest.mark.guards("seam_fairing_volume", "start_ramp_volume", kind="independent")
@given(st.floats(0.2, 4), st.floats(2, 40), st.floats(100, 3000))
def test_fairings_slice_by_slice(high, run, long):
    """The height falls to nothing over the run; on both sides of a cap, on one side of a start."""
    one = quad(lambda x: high * (1 - x / run) * long, 0, run)[0]
    assert f.seam_fairing_volume.core(high, run, long) == pytest.approx(2 * one)
    assert f.start_ramp_volume.core(run / high, high, long) == pytest.approx(one)


def test_fairings_of_the_field_example():
    """regression: our own earlier numbers, 22.5 mL along the seam and 9.6 mL at a start with a run of 16 mm."""
    assert f.seam_fairing_volume.core(2.0, 15.0, 750.0) / 1000 == pytest.approx(22.5)
    assert f.start_ramp_volume.core(10.0, 1.6, 750.0) / 1000 == pytest.approx(9.6)


@pytest.mark.guards("bond_line_volume", kind="independent")
@given(st.integers(1, 24), SIZES, st.floats(0.4, 2), st.floats(0.1, 0.8), st.floats(100, 1500))
def test_bond_lines_are_rings_and_add_up_to_the_order(n, D, ply, bond, W):
    h, inner, total = ply + bond, D / 2, 0.0
    for k in range(1, n + 1):
        ring = math.pi * ((inner + bond) ** 2 - inner**2) * W
        assert f.bond_line_volume.core(float(k), D, h, bond, W) == pytest.approx(ring)
        total, inner = total + ring, inner + h
    assert takeoff.adhesive_volume.core(float(n), D, h, bond, W) == pytest.approx(total)


@pytest.mark.guards("resin_in_layer", kind="independent")
@given(st.integers(1, 24), st.floats(0.1, 1.4), st.floats(2e-4, 2e-3), st.floats(0.1, 3), st.floats(0.2, 1.5),
       st.floats(0.4, 0.8))
def test_resin_by_layer_adds_up_to_that_of_the_length_laid(n, D, ply, W, cloth, share):
    """The area of each layer is its volume, ring by ring, over its thickness."""
    total = 0.0
    for k in range(1, n + 1):
        inner = D / 2 + (k - 1) * ply
        area = math.pi * ((inner + ply) ** 2 - inner**2) * W / ply
        resin = area * cloth * (1 / share - 1)
        assert f.resin_in_layer.core(float(k), D, ply, W, cloth, share) == pytest.approx(resin)
        total += resin
    area = takeoff.wrap_length_lay_up.core(float(n), D, ply) * W
    assert takeoff.resin_mass.core(area, cloth, share, 0.0) == pytest.approx(total)


@pytest.mark.guards("end_seal_area", "coating_area", "tie_in_area", kind="independent")
@given(SIZES, st.floats(1, 40), st.floats(200, 3000), st.floats(20, 150))
def test_skins_by_an_integral_round_and_along_the_pipe(D, high, overall, band):
    def skin(radius, long):
        return dblquad(lambda _x, _phi: radius, 0, 2 * math.pi, 0, long)[0]
    assert f.end_seal_area.core(D, high, band) == pytest.approx(2 * skin(D / 2 + high, band))
    assert f.tie_in_area.core(D, band) == pytest.approx(2 * skin(D / 2, band))
    assert f.coating_area.core(D, high, overall, band) == pytest.approx(
        skin(D / 2 + high, overall) + 2 * skin(D / 2, band))


@pytest.mark.guards("prepared_length", "abrasive_mass", kind="independent")
def test_blasting_of_the_field_example():
    """regression: our own earlier numbers, 927.9 mm, 1.78 m2 and 53 kg; and shovelled square metre by square metre."""
    long = f.prepared_length.core(827.9, 50.0)
    assert long == pytest.approx(927.9)
    area = takeoff.bonded_area.core(609.6, long) * 1e-6
    assert area == pytest.approx(1.78, abs=0.005)
    assert f.abrasive_mass.core(area, 30.0) == pytest.approx(53, abs=0.5)
    assert f.abrasive_mass.core(3.0, 28.0) == sum([28.0] * 3)


@pytest.mark.guards("shelf_life_consumed", kind="independent")
@given(st.floats(1, 3000), st.floats(1.5, 3), st.floats(26, 60), st.floats(5, 25))
def test_ageing_as_an_integral_of_its_speed(hours, factor, warm, limit):
    speed = math.exp(math.log(factor) * (warm - limit) / 10)
    assert f.shelf_life_consumed.core(hours, factor, warm, limit, 10.0) == pytest.approx(
        quad(lambda _t: speed, 0, hours)[0])


def test_ageing_of_the_field_example():
    """regression: 30 days at 40 degrees for a label of 25 degrees are 85 days."""
    assert f.shelf_life_consumed.core(30 * 24.0, 2.0, 40.0, 25.0, 10.0) / 24 == pytest.approx(85, abs=0.5)
