"""Allowable sizes: bisection against closed inverses, against another root finder, and against itself.

The closed inverses are written here only: they are the independent route.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from wrapcalc.errors import CalculationError
from wrapcalc.formulas import remaining_strength as f
from wrapcalc.searches.inversions import Bracketed, largest_passing
from wrapcalc.searches.sub_lengths import weakest_sub_length

D, T, S_Y = 609.6, 9.525, 359.0
MOST = 2000.0
quick = settings(derandomize=True, max_examples=60, deadline=None)


# -- the three forms as functions of depth and length (mm, MPa), through the recorded formulas -----------------------

REFERENCE = 2 * S_Y * T / D * 0.72


def form_1991(d, L):
    raw = f.safe_pressure_1991_uncapped.core(REFERENCE, d, T, f.length_factor_1991.core(L, D, T))
    return f.safe_pressure_1991.core(raw, REFERENCE)


def form_2012(d, L):
    stress = f.failure_stress_original.core(f.length_parameter.core(L, D, T), 1.1 * S_Y, d, T)
    return f.failure_pressure.core(stress, T, D) / 1.39


def form_085dl(d, L):
    M = f.bulging_factor_085dl.core(f.length_parameter.core(L, D, T))
    return f.failure_pressure.core(f.failure_stress_085dl.core(S_Y + 69, d, T, M), T, D) / 1.39


SOUND = {form_1991: 1.1 * REFERENCE, form_2012: 2 * 1.1 * S_Y * T / D / 1.39, form_085dl: 2 * (S_Y + 69) * T / D / 1.39}
FORMS = list(SOUND)


# -- closed inverses -------------------------------------------------------------------------------------------------

def length_original(d, target, sound, growth, switch):
    """Length from M: with a = 2/3 d/t and K = target/sound, K = (1 - a)/(1 - a/M) gives M = a K/(K - 1 + a).

    M² = 1 + growth z. The parabola holds up to `switch` in z, beyond it the box 1 - d/t. None: no limit.
    """
    a, K = 2 / 3 * d / T, target / sound
    if 1 - d / T >= K:
        return None
    M = a * K / (K - 1 + a) if K - 1 + a > 0 else math.inf
    return math.sqrt(min((M ** 2 - 1) / growth, switch) * D * T)


def depth_original(L, target, sound, growth, switch):
    """d = 3/2 t (1 - K)/(1 - K/M) on the parabola, t (1 - K) on the box.

    The parabola is Y. Bai, Pipelines and Risers, 2001, eqs 14.8 and 14.9 (seen, damaged; derived again here).
    """
    K, z = target / sound, L ** 2 / (D * T)
    return 1.5 * T * (1 - K) / (1 - K / math.sqrt(1 + growth * z)) if z <= switch else T * (1 - K)


def length_085dl(d, target, sound):
    """M = a R/(R - 1 + a), then z from either branch of M; between 4.8926 and 4.9 no z has that M: z = 50."""
    a, R = 0.85 * d / T, target / sound
    if R <= 1 - a:
        return None
    M = a * R / (R - 1 + a)
    if M >= 4.9:
        z = (M - 3.3) / 0.032
    elif M ** 2 > 1 + 0.6275 * 50 - 0.003375 * 2500:
        z = 50.0
    else:
        z = (0.6275 - math.sqrt(0.6275 ** 2 - 4 * 0.003375 * (M ** 2 - 1))) / (2 * 0.003375)
    return math.sqrt(z * D * T)


def depth_085dl(L, target, sound):
    R, z = target / sound, L ** 2 / (D * T)
    M = math.sqrt(1 + 0.6275 * z - 0.003375 * z ** 2) if z <= 50 else 0.032 * z + 3.3
    return T / 0.85 * (1 - R) / (1 - R / M)


#: A = 4 of the 1991 form in z, and A² over z.
GROWTH_1991 = 0.893 ** 2
CLOSED_LENGTH = {
    form_1991: lambda d, p: length_original(d, p, SOUND[form_1991], GROWTH_1991, 16 / GROWTH_1991),
    form_2012: lambda d, p: length_original(d, p, SOUND[form_2012], 0.8, 20.0),
    form_085dl: lambda d, p: length_085dl(d, p, SOUND[form_085dl])}
CLOSED_DEPTH = {
    form_1991: lambda L, p: depth_original(L, p, SOUND[form_1991], GROWTH_1991, 16 / GROWTH_1991),
    form_2012: lambda L, p: depth_original(L, p, SOUND[form_2012], 0.8, 20.0),
    form_085dl: lambda L, p: depth_085dl(L, p, SOUND[form_085dl])}

each_form = pytest.mark.parametrize("form", FORMS, ids=lambda form: form.__name__)


def length_at(form, d, target) -> Bracketed:
    return largest_passing(lambda L: form(d, L), target, 0.0, MOST)


def depth_at(form, L, target) -> Bracketed:
    return largest_passing(lambda d: form(d, L), target, 0.0, 0.8 * T)


# -- independent routes ----------------------------------------------------------------------------------------------

@each_form
@pytest.mark.parametrize("share", [0.12, 0.2, 0.4, 0.6, 0.8])
@pytest.mark.parametrize("of_sound", [0.45, 0.61, 0.75, 0.85, 0.9])
def test_allowable_length_is_that_of_the_closed_inverse_and_of_another_root_finder(form, share, of_sound):
    d, target = share * T, of_sound * SOUND[form]
    found, want = length_at(form, d, target), CLOSED_LENGTH[form](d, target)
    if want is None or want > MOST:
        assert (found.passing, found.failing) == (MOST, None)
        assert form(d, MOST) >= target
        assert found.words.startswith("no limit up to")
        return
    assert found.passing == pytest.approx(want, abs=2e-9, rel=1e-12)
    # a change of sign, smooth or not
    other = brentq(lambda L: form(d, L) - target, 0.0, MOST, xtol=1e-10, rtol=1e-14)
    assert found.passing == pytest.approx(other, abs=3e-9)
    assert form(d, found.passing) >= target > form(d, found.failing)
    assert 0 < found.failing - found.passing <= 1e-9


@each_form
@pytest.mark.parametrize("L", [20.0, 152.4, 300.0, 341.0, 341.5, 700.0, 1500.0])
@pytest.mark.parametrize("of_sound", [0.3, 0.45, 0.6, 0.75, 0.9])
def test_allowable_depth_is_that_of_the_closed_inverse_and_of_another_root_finder(form, L, of_sound):
    """341.0 mm lies between the switches of the two original forms (z = 20 and 20.064), 341.5 mm just beyond both."""
    target = of_sound * SOUND[form]
    found, want = depth_at(form, L, target), CLOSED_DEPTH[form](L, target)
    if want > 0.8 * T:
        assert (found.passing, found.failing) == (0.8 * T, None)
        return
    assert found.passing == pytest.approx(want, abs=2e-9)
    other = brentq(lambda d: form(d, L) - target, 0.0, 0.8 * T, xtol=1e-11)
    assert found.passing == pytest.approx(other, abs=3e-9)
    assert form(found.passing, L) >= target > form(found.failing, L)
    assert "jump" not in found.words
    assert 0 <= found.residual < 1e-8


def test_lengths_between_the_switches_are_chosen_as_meant():
    assert 20 < 341.0 ** 2 / (D * T) < 16 / GROWTH_1991 < 341.5 ** 2 / (D * T)


@pytest.mark.parametrize("share", [0.18, 0.2, 0.3, 0.4, 0.55, 0.7, 0.8])
def test_allowable_length_of_the_1991_manual(share):
    """Y. Bai, Pipelines and Risers, 2001, eqs 14.5 and 14.6 (seen): L = 1.12 B sqrt(D t). 1.12 stands for 1/0.893."""
    found = length_at(form_1991, share * T, REFERENCE)
    B = math.sqrt((share / (1.1 * share - 0.15)) ** 2 - 1)
    assert found.passing == pytest.approx(B / 0.893 * math.sqrt(D * T), rel=1e-9)
    assert found.passing == pytest.approx(1.12 * B * math.sqrt(D * T), rel=2e-4)


@pytest.mark.parametrize("share", [0.11, 0.15, 0.17493])
def test_shallow_loss_stops_at_the_jump_where_the_manual_caps_B_at_4(share):
    """B <= 4 (from memory): bisection on the safe pressure finds the same end, because the form jumps at A = 4."""
    found = length_at(form_1991, share * T, REFERENCE)
    assert found.passing == pytest.approx(4 / 0.893 * math.sqrt(D * T), abs=2e-9)
    assert "at the jump" in found.words


def test_appendix_example_2_of_the_1991_manual():
    """ASME B31G-1991, appendix, example 2 (from memory): D 20 in, t 0.250 in, d 0.18 in, MAOP 400 psi, P 438 psi.

    The recalled answer of the manual's program is 2.018 in; the closed inverse with P = 438 psi gives 2.0194 in.
    Inches and psi go straight in: the form is the same in any units.
    """
    def safe(L):
        return f.safe_pressure_1991_uncapped.core(438.0, 0.18, 0.25, f.length_factor_1991.core(L, 20.0, 0.25))
    found = largest_passing(safe, 400.0, 0.0, 20.0)
    K, a = 400 / (1.1 * 438), 2 / 3 * 0.72
    M = a * K / (K - 1 + a)
    assert found.passing == pytest.approx(math.sqrt(M ** 2 - 1) / 0.893 * math.sqrt(5), rel=1e-9)
    assert found.passing == pytest.approx(2.018, abs=0.003)


def test_profile_deepened_evenly_against_another_root_finder():
    """The search inside the search: the added depth at which the effective-area answer falls to the target."""
    x, depth = np.array([0, 30, 75, 120, 190, 260.0]), np.array([0, 1.5, 3.2, 2.0, 2.6, 0])

    def of_added(more):
        return weakest_sub_length(x, np.where(depth > 0, depth + more, 0), D, T, S_Y + 69).pressure / 1.39
    found = largest_passing(of_added, 7.0, 0.0, 4.0)
    assert found.passing == pytest.approx(brentq(lambda v: of_added(v) - 7.0, 0.0, 4.0, xtol=1e-11), abs=3e-9)
    assert 0 <= found.residual < 1e-8


# -- round trips -----------------------------------------------------------------------------------------------------

@each_form
@quick
@given(share=st.floats(0.11, 0.8), of_sound=st.floats(0.2, 0.9))
def test_there_and_back(form, share, of_sound):
    """The pressure at the allowable length is the target, or the form jumps there; and the depth allowed there is
    that depth again, never less."""
    d, target = share * T, of_sound * SOUND[form]
    found = length_at(form, d, target)
    assume(found.failing is not None)
    assert form(d, found.passing) == target + found.residual
    assert form(d, found.failing) < target <= form(d, found.passing)
    back = depth_at(form, found.passing, target)
    if "jump" in found.words:
        z = found.passing ** 2 / (D * T)
        assert min(abs(z - s) for s in (20.0, 16 / GROWTH_1991, 50.0)) < 1e-6
        assert back.passing >= d - 2e-9
    else:
        assert found.residual < 1e-6 * SOUND[form]
        assert back.passing == pytest.approx(d, abs=1e-6)


@each_form
@quick
@given(share=st.floats(0.11, 0.78), of_sound=st.floats(0.3, 0.9), more=st.floats(0.001, 0.02))
def test_a_deeper_loss_may_never_be_longer(form, share, of_sound, more):
    target = of_sound * SOUND[form]
    assert (length_at(form, (share + more) * T, target).passing
            <= length_at(form, share * T, target).passing + 1e-9)


# -- where things are monotone, and where not ------------------------------------------------------------------------

@each_form
@pytest.mark.parametrize("share", [0.11, 0.4, 0.8])
def test_longer_or_deeper_never_raises(form, share):
    """Across both switches and across the step of M at z = 50, where M rises from 4.8926 to 4.9."""
    lengths = np.sort(np.concatenate([np.linspace(0, 1500, 3001), np.sqrt(
        np.array([20.0, 16 / GROWTH_1991, 50.0])[:, None] * D * T).ravel()]))
    by_length = np.array([form(share * T, float(L)) for L in lengths])
    assert (np.diff(by_length) <= 1e-12).all()
    depths = np.linspace(0, 0.8 * T, 200)
    by_depth = np.array([[form(float(d), L) for d in depths] for L in (30.0, 340.0, 345.0, 900.0)])
    assert (np.diff(by_depth) <= 1e-12).all()


def jump_of(form, z, d=0.4 * T) -> float:
    """What the form loses at z, relative."""
    L = math.sqrt(z * D * T)
    return 1 - form(d, L * (1 + 1e-12)) / form(d, L * (1 - 1e-12))


def test_sizes_of_the_jumps():
    """Original form: from parabola to box. With d/t = 0.4: 0.78404 to 0.6 of the flow stress, worked by hand from
    M = sqrt(17). 0.85 dL form: from M = sqrt(23.9375) to 4.9."""
    parabola = (1 - 0.8 / 3) / (1 - 0.8 / 3 / math.sqrt(17))
    assert parabola == pytest.approx(0.78404, abs=5e-6)
    assert jump_of(form_2012, 20.0) == pytest.approx(1 - 0.6 / parabola, rel=1e-6)
    assert jump_of(form_1991, 16 / GROWTH_1991) == pytest.approx(1 - 0.6 / parabola, rel=1e-6)
    assert jump_of(form_085dl, 50.0) == pytest.approx(
        1 - (1 - 0.34 / math.sqrt(23.9375)) / (1 - 0.34 / 4.9), rel=1e-6)
    assert 0 < jump_of(form_085dl, 50.0) < 2e-4
    assert jump_of(form_085dl, 20.0) < 1e-9


@pytest.mark.parametrize(("z", "form"), [(20.0, f.failure_stress_original), (50.0, f.failure_stress_085dl)])
def test_a_wider_pipe_is_stronger_at_the_switch(z, form):
    """Not monotone: at one depth and length a greater diameter makes the flaw shorter in z, and past the switch the
    pressure rises. So a diameter is not a size that may be inverted, and the search says so."""
    d, switch = 0.4 * T, 609.6
    L = math.sqrt(z * switch * T)

    def of_diameter(diameter):
        now = f.length_parameter.core(L, diameter, T)
        stress = (form.core(now, 395.0, d, T) if form is f.failure_stress_original
                  else form.core(395.0, d, T, f.bulging_factor_085dl.core(now)))
        return f.failure_pressure.core(stress, T, diameter)
    assert of_diameter(switch * (1 + 1e-9)) > of_diameter(switch * (1 - 1e-9)) * (1 + 1e-5)
    assert of_diameter(1.1 * switch * (1 + 1e-9)) < of_diameter(1.1 * switch * (1 - 1e-9))
    if z == 20.0:
        with pytest.raises(CalculationError, match=r"the function rises from .*no largest passing size"):
            largest_passing(of_diameter, of_diameter(0.9 * switch), 0.9 * switch, 1.1 * switch)


def test_difference_of_the_two_editions_along_the_length():
    """On one pressure at 1.1 SMYS the 1991 form is a little higher on the parabola (0.79745 z against 0.8 z), far
    higher between the switches (parabola against box), and equal beyond: the edition has to be told with the result."""
    sound = 2 * S_Y * T / D

    def difference(z):
        L, d = math.sqrt(z * D * T), 0.4 * T
        new = f.failure_pressure.core(f.failure_stress_original.core(z, 1.1 * S_Y, d, T), T, D)
        return f.safe_pressure_1991_uncapped.core(sound, d, T, f.length_factor_1991.core(L, D, T)) / new - 1
    assert 0 < difference(4.0) < 1e-3
    assert difference(20.03) > 0.3
    assert difference(20.1) == pytest.approx(0, abs=1e-12)


def test_which_form_is_the_lower_changes_with_depth_and_length():
    """1.1 SMYS is below SMYS + 69 MPa up to SMYS 690 MPa, but two thirds of d L is less loss than 0.85 of it: neither
    form is the safer one throughout."""
    assert form_2012(0.2 * T, 100.0) < form_085dl(0.2 * T, 100.0)
    assert form_2012(0.7 * T, 300.0) > form_085dl(0.7 * T, 300.0)
    assert form_2012(0.7 * T, 400.0) < form_085dl(0.7 * T, 400.0)
    for smys, lower in ((689.0, min), (691.0, max)):
        assert lower(1.1 * smys, smys + 69) == f.flow_stress_factor.core(1.1, smys)


# -- the search itself -----------------------------------------------------------------------------------------------

def test_passing_side_with_a_residual_at_a_jump():
    found = largest_passing(lambda x: 10.0 if x <= 3.0 else 1.0, 5.0, 0.0, 10.0)
    assert found.passing <= 3.0 < found.failing
    assert found.passing == pytest.approx(3.0, abs=1e-9)
    assert found.residual == 5.0
    assert found.words == "bracket closed at the jump: just beyond, the value falls at once; the passing side is taken"


def test_a_target_that_is_met_just_before_a_jump_is_told_as_one():
    found = largest_passing(lambda x: 10.0 if x <= 3.0 else 1.0, 10.0, 0.0, 10.0)
    assert (found.residual, "at the jump" in found.words) == (0.0, True)


def test_a_plain_crossing():
    found = largest_passing(lambda x: 10.0 - x, 4.0, 0.0, 10.0)
    assert found.passing == pytest.approx(6.0, abs=1e-9) and found.passing <= 6.0 < found.failing
    assert found.words == "bracket closed; the passing side is taken"
    assert found.steps == 34  # 10 halved until it is 1e-9 wide: 2^33 < 1e10 < 2^34


@pytest.mark.parametrize("tolerance", [1.0, 1e-2, 1e-5])
def test_a_wide_tolerance_is_no_jump(tolerance):
    found = largest_passing(lambda x: 10.0 - x, 4.0, 0.0, 10.0, tolerance=tolerance)
    assert 6.0 - tolerance <= found.passing <= 6.0 < found.failing <= found.passing + tolerance
    assert "jump" not in found.words


def test_a_finer_tolerance_than_the_machine_ends_at_neighbours():
    found = largest_passing(lambda x: 5e4 - x, 123.0, 0.0, 1e5, tolerance=1e-300)
    assert (found.passing, found.failing) == (49877.0, math.nextafter(49877.0, 1e9))


def test_all_pass():
    found = largest_passing(lambda x: 10.0 - x, 3.0, 0.0, 7.0)
    assert found == Bracketed(7.0, None, 0.0, 0, "no limit up to the largest size of the range")


def test_none_passes():
    found = largest_passing(lambda x: 10.0 - x, 11.0, 0.0, 7.0)
    assert found == Bracketed(None, 0.0, -1.0, 0, "none passes: not even the smallest size of the range")


def test_flat_functions():
    assert largest_passing(lambda x: 5.0, 5.0, 0.0, 1.0).passing == 1.0
    assert largest_passing(lambda x: 5.0, 5.1, 0.0, 1.0).passing is None


def test_rounding_is_not_taken_for_a_rise():
    assert largest_passing(lambda x: 5.0 + 1e-13 * x, 5.0, 0.0, 1.0).passing == 1.0


RISING = {"over the range": lambda x: x, "above what passes": lambda x: 10 - x if x < 5 else 20 - x if x < 9 else 0.0,
          "below what fails": lambda x: 10 - x if x < 4.9 else -5.0 if x < 5.1 else 0.0}


@pytest.mark.parametrize("rising", RISING.values(), ids=RISING)
def test_a_function_that_is_seen_to_rise_is_refused(rising):
    with pytest.raises(CalculationError, match="the function rises from"):
        largest_passing(rising, 4.0, 0.0, 10.0)


@pytest.mark.parametrize("where", [0.0, 5.0, 10.0])
@pytest.mark.parametrize("what", [math.nan, math.inf])
def test_no_number_is_refused(where, what):
    with pytest.raises(CalculationError, match=f"no finite number at {where}"):
        largest_passing(lambda x: what if x == where else 10.0 - x, 4.0, 0.0, 10.0)


@pytest.mark.parametrize(("target", "low", "high", "tolerance"), [
    (math.nan, 0.0, 1.0, 1e-9), (1.0, 1.0, 1.0, 1e-9), (1.0, 2.0, 1.0, 1e-9), (1.0, 0.0, math.inf, 1e-9),
    (1.0, 0.0, 1.0, 0.0), (1.0, math.nan, 1.0, 1e-9)])
def test_a_range_that_is_none_is_refused(target, low, high, tolerance):
    with pytest.raises(CalculationError, match="cannot be searched"):
        largest_passing(lambda x: -x, target, low, high, tolerance=tolerance)
