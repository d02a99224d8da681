"""Strains for the second opinion, by second routes: equilibrium found by bracketing, exact cylinders, lengths."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from tests.helpers.cylinder import Layer, pressurised
from wrapcalc.formulas import second_opinion as f
from wrapcalc.formulas import wrap_thickness

E_S, E_C, SMYS = 207_000.0, 24_000.0, 241.0
quick = settings(max_examples=60, deadline=None)


def strain_under(p: float, D: float, t_s: float, t_c: float) -> float:
    """Hoop strain at which steel, elastic and then perfectly plastic, and wrap carry half of the ring's load."""
    return brentq(lambda e: min(E_S * e, SMYS) * t_s + E_C * e * t_c - p * D / 2, 0, 10, xtol=1e-16)


@pytest.mark.guards("wrap_strain_yielded", kind="independent")
@pytest.mark.parametrize(("p", "D", "t_s", "t_c"), [
    (12.0, 168.3, 3.5, 2.0), (12.0, 168.3, 3.5, 4.5), (12.265, 323.85, 2.38125, 9.0), (12.265, 323.85, 2.38125, 21.606),
    (9.0, 609.6, 4.33, 30.0)])
def test_strain_over_yielded_steel(p, D, t_s, t_c):
    searched = strain_under(p, D, t_s, t_c)
    assert searched * E_S > SMYS, "the case is meant to yield"
    assert f.wrap_strain_yielded.core(p, D, SMYS, t_s, E_C, t_c) == pytest.approx(searched, rel=1e-8)


@pytest.mark.guards("wrap_strain_alone", kind="independent")
@pytest.mark.parametrize("slender", [2_000, 20_000])
def test_strain_of_a_wrap_alone_is_the_thin_limit_of_a_cylinder(slender):
    t_c = 14.34
    D = slender * t_c
    p = 0.002 * 2 * E_C * t_c / D
    exact = pressurised(D, [Layer(t_c, E_C, 9_000.0, 0.1)], p)
    assert f.wrap_strain_alone.core(p, D, E_C, t_c) == pytest.approx(sum(exact.strain[0]) / 2, rel=12 / slender)
    assert f.wrap_strain_alone.core(p, D, E_C, t_c) == pytest.approx(strain_under(p, D, 0.0, t_c), rel=1e-8)


@quick
@given(st.floats(1, 20), st.floats(60, 1500), st.floats(0, 12), st.floats(0.001, 0.004))
def test_strain_at_the_required_thickness_is_the_allowable_one(p, D, t_s, allowed):
    """What is held against a second opinion undoes the clause; without steel both are one."""
    alone = wrap_thickness.thickness_laminate_strain.core(p, D, E_C, allowed)
    assert f.wrap_strain_alone.core(p, D, E_C, alone) == pytest.approx(allowed, rel=1e-9)
    assert f.wrap_strain_yielded.core(p, D, SMYS, 0.0, E_C, alone) == pytest.approx(allowed, rel=1e-9)
    shared = wrap_thickness.thickness_yielded_steel.core(p, D, SMYS, t_s, allowed, E_C)
    if shared > 0.01:
        assert f.wrap_strain_yielded.core(p, D, SMYS, t_s, E_C, shared) == pytest.approx(allowed, rel=1e-9)
        assert f.wrap_strain_yielded.core(p, D, SMYS, t_s, E_C, 1.2 * shared) < allowed


@pytest.mark.guards("opinion_difference", kind="independent")
@pytest.mark.parametrize(("second", "clause", "share"), [
    (0.0022, 0.002, 0.10), (0.0018, 0.002, -0.10), (0.002, 0.002, 0)])
def test_difference_as_a_share_of_the_clause(second, clause, share):
    """By hand: 22 instead of 20 is a tenth more."""
    assert f.opinion_difference.core(second, clause) == pytest.approx(share, abs=1e-12)
    assert clause + share * clause == pytest.approx(second)
