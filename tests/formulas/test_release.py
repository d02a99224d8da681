"""Pressure in steps, and the voltages of the holiday test against rows that others wrote."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wrapcalc.formulas import release as f
from wrapcalc.standards import tables
from wrapcalc.units import Quantity, steady

MIL = 0.0254


@pytest.mark.guards("restoration_step", kind="independent")
def test_steps_are_an_even_ladder():
    """numpy's own ladder from the pressure at installation to the cap. The pressures are of no shipped example."""
    steps = [f.restoration_step.core(4.96, 6.50, float(k), 4.0) for k in range(5)]
    assert steps == pytest.approx(np.linspace(4.96, 6.50, 5))
    assert [round(s, 2) for s in steps[1:]] == [5.34, 5.73, 6.12, 6.50]  # independent: by hand, quarters of 1.54


@given(st.floats(0, 20), st.floats(0.1, 30), st.integers(1, 20))
def test_the_last_step_is_the_cap_exactly(start, cap, n):
    start, cap = steady(start), steady(cap)
    assert steady(f.restoration_step.core(start, cap, float(n), float(n))) == pytest.approx(cap, rel=1e-11, abs=1e-10)
    if start < cap / 1.001:
        assert steady(f.restoration_step.core(start, cap, float(n), float(n))) == cap


def volts(*names, mil, of):
    """Numbers of the shipped tables, and a thickness in mil as mm."""
    at = tables.load().value
    rest = [at(of, n).magnitude for n in names]
    return rest, mil * MIL


@pytest.mark.guards("holiday_voltage_square_root", kind="published")
@pytest.mark.parametrize(("mil", "printed"), [(20, 5590), (40, 7906), (60, 9682)])
def test_square_root_law_at_round_thicknesses(mil, printed):
    """Seen: manual of a holiday detector that quotes SP0274, undated: 1250 times the root of the thickness in mil."""
    (v, t_1), t = volts("holiday_voltage", "holiday_voltage_thickness", mil=mil, of="NACE SP0274")
    assert f.holiday_voltage_square_root.core(v, t, t_1) == pytest.approx(printed, abs=0.5)


@pytest.mark.parametrize(("mil", "printed"), [(20, 6000), (31, 7000), (62, 10000), (94, 12000), (125, 14000),
                                              (188, 17000), (500, 28000), (625, 31000), (750, 34000)])
def test_square_root_law_against_the_table_of_the_standard(mil, printed):
    """From memory: table of SP0274, whose voltages stand in whole thousands."""
    (v, t_1), t = volts("holiday_voltage", "holiday_voltage_thickness", mil=mil, of="NACE SP0274")
    assert f.holiday_voltage_square_root.core(v, t, t_1) == pytest.approx(printed, abs=520)


def test_square_root_law_in_micrometres_is_about_250():
    """Seen: the same manual, 250 times the root of the thickness in µm: 2 mm give 11 180 V; within a hundredth."""
    (v, t_1), _ = volts("holiday_voltage", "holiday_voltage_thickness", mil=1, of="NACE SP0274")
    assert f.holiday_voltage_square_root.core(v, 2.0, t_1) == pytest.approx(250 * 2000 ** 0.5, rel=0.01)
    assert f.holiday_voltage_square_root(Quantity(v, "V"), Quantity(40, "thou"), Quantity(t_1, "mm")).m == (
        pytest.approx(f.holiday_voltage_square_root.core(v, 1.016, t_1)))


@pytest.mark.guards("holiday_voltage_thin_film", kind="published")
def test_thin_film_at_16_mil():
    """Seen: a regulator's answer about SP0490-2007, 125 to 150 V for each mil, so that 16 mil are tested at about
    2400 V."""
    (low, high, t_1), t = volts("holiday_voltage_low", "holiday_voltage_high", "holiday_voltage_thickness", mil=16,
                                of="NACE SP0490-2007")
    assert f.holiday_voltage_thin_film.core(low, t, t_1) == pytest.approx(2000)
    assert f.holiday_voltage_thin_film.core(high, t, t_1) == pytest.approx(2400)


@pytest.mark.guards("holiday_voltage_two_branches", kind="published")
@pytest.mark.parametrize(("mil", "printed"), [(40, 3320), (40.1, 7916), (16, 2100), (100, 12500)])
def test_two_branches(mil, printed):
    """From memory: ASTM G62-87, 525 and 1250 times the root of the thickness in mil, changing at 40 mil."""
    (a, b, t_1, t_k), t = volts("holiday_voltage_thin", "holiday_voltage_thick", "holiday_voltage_thickness",
                                "holiday_thin_up_to", mil=mil, of="ASTM G62-87")
    assert f.holiday_voltage_two_branches.core(a, b, t, t_1, t_k) == pytest.approx(printed, abs=1)


def test_the_standards_differ_by_a_factor_of_2_4_at_40_mil():
    """Independent: 1250 / 525 = 2.38."""
    at = tables.load().value
    thick, thin = at("NACE SP0274", "holiday_voltage"), at("ASTM G62-87", "holiday_voltage_thin")
    assert thick.magnitude / thin.magnitude == pytest.approx(2.38, abs=0.005)


@pytest.mark.guards("voltage_across", kind="independent")
def test_air_at_40_mil():
    """Seen: manuals of holiday detectors, about 4 kV/mm; integrated over the gap slice by slice it is 4.1 kV."""
    slices = np.full(1016, 0.001)
    assert f.voltage_across.core(4000.0, 1.016, 1.0) == pytest.approx((slices * 4000).sum())
    assert f.voltage_across.core(4000.0, 1.016, 1.0) == pytest.approx(4100, abs=50)
