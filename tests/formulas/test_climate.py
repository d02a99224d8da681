"""Dew point and humidity by second routes: saturation over water by other equations, inverted numerically."""

from __future__ import annotations

import math

import numpy as np
import psychrolib
import pytest
from scipy.optimize import brentq

from wrapcalc.formulas import climate as f
from wrapcalc.standards.tables import shipped
from wrapcalc.units import Quantity

A, B = (shipped()[f"Alduchov and Eskridge 1996/{n}"].value().magnitude for n in ("magnus_a", "magnus_b"))
LOW, HIGH = (shipped()[f"Alduchov and Eskridge 1996/{n}"].value().magnitude for n in ("range_low", "range_high"))
#: The Magnus form against the equations below: 0.056 °C was found from -40 to 50 °C, 0.103 °C up to 60 °C. Far below
#: the error of 0.5 °C and 3 points of the instruments, which is more than 1 °C of dew point.
NEAR, WIDE = 0.06, 0.11


def dew(t: float, share: float) -> float:
    return f.dew_point.core(A, B, f.magnus_term.core(share, A, B, t))


def log_saturation(t: float) -> float:
    """ln of the vapour pressure (Pa) over liquid water, also below freezing (Murphy and Koop 2005, from memory)."""
    k = t + 273.15
    return (54.842763 - 6763.22 / k - 4.210 * math.log(k) + 0.000367 * k + math.tanh(0.0415 * (k - 218.8))
            * (53.878 - 1331.22 / k - 9.44523 * math.log(k) + 0.014025 * k))


def dew_by_root(t: float, share: float) -> float:
    want = log_saturation(t) + math.log(share)
    return brentq(lambda x: log_saturation(x) - want, -130, 70)


@pytest.fixture(autouse=True)
def si():
    psychrolib.SetUnitSystem(psychrolib.SI)


def table(low: float, high: float, step: float = 2.5):
    return [(float(t), float(s)) for t in np.arange(low, high + 0.1, step) for s in np.arange(0.05, 1.001, 0.05)]


def test_the_two_second_routes_agree_with_each_other():
    for t in range(1, 61):
        assert math.exp(log_saturation(t)) == pytest.approx(psychrolib.GetSatVapPres(t), rel=1.1e-3)


@pytest.mark.guards("magnus_term", "dew_point", kind="independent")
@pytest.mark.parametrize(("low", "high", "tolerance"), [(LOW, HIGH, NEAR), (-40.0, 60.0, WIDE)])
def test_dew_point_over_the_whole_table_by_root_finding(low, high, tolerance):
    """-40 to 50 °C, where the form is used, and to 60 °C; 5 to 100 %; dew points down to -40 °C."""
    compared = 0
    for t, share in table(low, high):
        want = dew_by_root(t, min(share, 1.0))
        if want >= LOW:
            compared += 1
            assert dew(t, min(share, 1.0)) == pytest.approx(want, abs=tolerance)
    assert compared > 600


@pytest.mark.guards("magnus_term", "dew_point", kind="independent")
def test_dew_point_over_water_by_an_independent_library():
    """psychrolib (Hyland and Wexler) takes ice below 0 °C, so only dew points over water are compared."""
    compared = 0
    for t, share in table(0.5, 50.0):
        want = psychrolib.GetTDewPointFromRelHum(t, min(share, 1.0))
        if want > 0.01:
            compared += 1
            assert dew(t, min(share, 1.0)) == pytest.approx(want, abs=NEAR)
    assert compared > 200


def test_frost_forms_above_the_dew_point_so_steel_below_freezing_is_refused():
    """Over ice the air saturates earlier: why the rule of the dew point stops at 0 °C."""
    for t in (-5.0, -15.0, -30.0):
        vapour = math.exp(log_saturation(t)) * 0.8
        frost = psychrolib.GetTDewPointFromVapPres(t, vapour)
        assert frost > dew(t, 0.8) + 0.15


def test_saturated_air_is_at_its_dew_point():
    for t in np.linspace(LOW, HIGH, 31):
        assert dew(float(t), 1.0) == pytest.approx(float(t), abs=1e-9)


@pytest.mark.guards("humidity_at_steel", kind="independent")
def test_humidity_at_the_steel_by_vapour_pressures():
    for t in (2.0, 12.0, 19.0, 35.0, 48.0):
        for steel in (1.0, 9.0, 15.0, 30.0, 49.0):
            for share in (0.2, 0.72, 0.95):
                want = share * psychrolib.GetSatVapPres(t) / psychrolib.GetSatVapPres(steel)
                assert f.humidity_at_steel.core(share, A, B, t, steel) == pytest.approx(want, rel=4e-3)


def test_steel_at_the_dew_point_is_wet():
    for t, share in ((18.0, 0.72), (-3.0, 0.5), (40.0, 0.3)):
        assert f.humidity_at_steel.core(share, A, B, t, dew(t, share)) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.guards("reading_raised", "reading_lowered", "humidity_raised", "dew_margin", kind="independent")
def test_errors_of_the_instruments_by_trying_all_corners():
    """Of all readings that the errors allow, the worst margin is the one that the steps give."""
    air, share, steel, e_t, e_h = 18.0, 0.72, 16.0, 0.5, 0.03
    corners = [steel + c * e_t - dew(air + a * e_t, min(share + b * e_h, 1.0))
               for a in (-1, 0, 1) for b in (-1, 0, 1) for c in (-1, 0, 1)]
    warm, humid = f.reading_raised.core(air, e_t), f.humidity_raised.core(share, e_h)
    assert f.dew_margin.core(f.reading_lowered.core(steel, e_t), dew(warm, humid)) == pytest.approx(min(corners))


def test_humidity_with_its_error_is_never_above_one():
    assert f.humidity_raised.core(0.99, 0.03) == 1
    assert f.humidity_raised.core(0.5, 0.03) == pytest.approx(0.53)


def test_constants_are_in_celsius_and_printed_so():
    """What comes in °F is converted at the door; the body itself cannot know."""
    gamma = f.magnus_term(Quantity(0.6, ""), Quantity(A, ""), Quantity(B * 1.8, "delta_degF"), Quantity(77.0, "degF"))
    assert gamma.m == pytest.approx(f.magnus_term.core(0.6, A, B, 25.0))
    at = f.dew_point(Quantity(A, ""), Quantity(B, "delta_degC"), gamma)
    assert at.m_as("degF") == pytest.approx(dew(25.0, 0.6) * 1.8 + 32)
    assert f.magnus_term.core(0.6, A, B, 77.0) != pytest.approx(gamma.m)
    assert f.magnus_term.unit_bound and f.dew_point.unit_bound and f.humidity_at_steel.unit_bound


@pytest.mark.parametrize(("air", "share", "want"), [
    (18.0, 0.72, 12.88),  # independent: our own table of worked values
    (25.0, 0.60, 16.70),  # independent: our own table of worked values
    (18.5, 0.75, 13.99)])  # independent: the first with 0.5 °C and 3 points on it
def test_worked_values(air, share, want):
    assert dew(air, share) == pytest.approx(want, abs=0.005)
