"""Layered thick cylinders with yield of the steel: against Hill, rates on straight paths, balance and the closed way.

Check values marked `independent` come from a second route worked here or by hand; those from memory say so.
"""

from __future__ import annotations

import dataclasses
import math
import re
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from tests.searches.test_cylinders import (
    NU,
    A,
    B,
    E,
    closed,
    like,
    pipe,
    quick,
    some_pipe,
    some_wrap,
    steel,
    table,
    wrap,
)
from wrapcalc.errors import CalculationError
from wrapcalc.searches import cylinders, cylinders_yielded
from wrapcalc.searches.cylinder_layers import Edge, Load
from wrapcalc.searches.cylinder_layers import mises as mises_of
from wrapcalc.searches.cylinders import Layer, Stack, stacked


def by_elements(layers, pressure, force=None, pressure_before=0.0, force_before=0.0) -> Stack:
    """The elements alone, whether or not anything yields."""
    bonding = Load(pressure_before, None if force is None else force_before)
    full = Load(pressure, force)
    early = [layer for layer in layers if not layer.later]
    size = full.size(layers[0].inner)
    first = cylinders._closed(early, bonding, size).stress
    first = np.concatenate([first, np.zeros((len(layers) - len(early), 2, 3))])
    return cylinders_yielded.by_elements(
        layers, bonding, full, size, (first, first + cylinders._closed(layers, full.less(bonding), size).stress))


def mises(edge: Edge) -> float:
    r, h, a = edge.stress_radial, edge.stress_hoop, edge.stress_axial
    return math.sqrt(((r - h) ** 2 + (h - a) ** 2 + (a - r) ** 2) / 2)


# -- yield -----------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("b", [1.2, 2.0, 3.0])
@pytest.mark.parametrize("into", [0.1, 0.5, 0.85])
def test_boundary_of_yield_in_a_thick_cylinder(b, into):
    """Hill, The Mathematical Theory of Plasticity, 1950, chapter V (from memory): held, incompressible, plastic to c:
    p = 2 Y/sqrt(3) (ln(c/a) + (1 - c²/b²)/2), and u r = sqrt(3)/2 Y/E c² throughout. nu is 0.4999 here."""
    a, Y = 100.0, 300.0
    b *= a
    c = a + into * (b - a)
    k = Y / math.sqrt(3)
    p = 2 * k * (math.log(c / a) + (1 - (c / b) ** 2) / 2)
    got = stacked([steel(a, b, yields=Y, nu=0.4999)], p)
    assert got.yielded == pytest.approx(into, abs=2e-3)
    assert got.inner["steel"].strain_hoop == pytest.approx(1.5 * k / E * (c / a) ** 2, rel=2e-3)
    assert got.outer["steel"].strain_hoop == pytest.approx(1.5 * k / E * (c / b) ** 2, rel=2e-3)
    # at the bore on yield: hoop less radial is 2k; at the outside elastic: k (c²/b²) 2
    assert got.inner["steel"].stress_hoop == pytest.approx(2 * k - p, abs=2e-3 * k)
    assert got.outer["steel"].stress_hoop == pytest.approx(2 * k * (c / b) ** 2, rel=2e-3)
    assert got.inner["steel"].stress_radial == pytest.approx(-p, rel=1e-8)
    assert abs(got.outer["steel"].stress_radial) < 1e-7 * p


@pytest.mark.parametrize("ends", ["held", "closed"])
@pytest.mark.parametrize(("a", "b"), [(A, B), (50.0, 100.0)])
@pytest.mark.parametrize("nu", [0.3, 0.49])
def test_collapse_of_bare_steel(ends, a, b, nu):
    """Full plasticity, held or closed: 2/sqrt(3) Y ln(b/a) (Hill 1950, from memory)."""
    most = 2 / math.sqrt(3) * 300.0 * math.log(b / a)

    def at(p):
        return stacked([steel(a, b, 300.0, nu)], p, force=None if ends == "held" else closed(p, a))
    got = at(0.997 * most)
    assert 0.5 < got.yielded <= 1 and got.residual < 1e-8
    with pytest.raises(CalculationError, match=r"no equilibrium found beyond .* collapse\. Lower the pressure"):
        at(1.002 * most)


def test_open_ends_collapse_of_a_thin_ring():
    """Uniaxial: p R = Y t (independent), R the mean radius to first order."""
    R, t, Y = 500.0, 0.5, 300.0
    most = Y * math.log(1 + t / R)
    assert stacked([steel(R, R + t, Y)], 0.997 * most, force=0.0).inner["steel"].stress_hoop < Y
    with pytest.raises(CalculationError, match="collapse"):
        stacked([steel(R, R + t, Y)], 1.003 * most, force=0.0)


def test_first_yield_is_where_lame_says():
    """Held: Mises at the bore from Lamé (independent). Just below elastic, just above yielded a little."""
    base = A ** 2 / (B ** 2 - A ** 2)
    radial, hoop, axial = -1.0, base * (1 + (B / A) ** 2), 2 * NU * base
    first = 300 / math.sqrt(((radial - hoop) ** 2 + (hoop - axial) ** 2 + (axial - radial) ** 2) / 2)
    below, above = (stacked([steel(yields=300.0)], first * f) for f in (1 - 1e-9, 1 + 1e-3))
    assert below.yielded == 0 and below.words.startswith("elastic")
    assert 0 < above.yielded < 0.05 and above.words.startswith("yielded")
    assert mises(below.inner["steel"]) == pytest.approx(300, rel=1e-8)
    like(above, stacked([steel()], first * (1 + 1e-3)), 2e-3)


@pytest.mark.parametrize("force", [None, 0.0, 1.0, -0.5])
@pytest.mark.parametrize("before", [0.0, 3.0])
def test_elements_and_closed_solution_agree_below_yield(force, before):
    for layers in (pipe(1e4), [steel(50, 90, 1e4), wrap(90, 140, later=False)], [steel(), wrap(B, B + 0.5)]):
        kept = {"force": None if force is None else force * closed(8.0, layers[0].inner), "pressure_before": before,
                "force_before": 0.0 if force is None else force * closed(before, layers[0].inner)}
        elements = by_elements(layers, 8.0, **kept)
        assert elements.yielded == 0
        like(elements, stacked(layers, 8.0, **kept), 1e-6)


def straight(stress, rise, modulus, nu, Y) -> np.ndarray:
    """The rate equations of an elastic, perfectly plastic point on a straight path, by an initial-value solver."""
    K, G = modulus / (3 - 6 * nu), modulus / (2 + 2 * nu)
    mean, dev = rise.mean(), rise - rise.mean()

    def rates(_, s):
        rate = 2 * G * dev
        d = s - s.mean()
        full = math.sqrt(1.5 * d @ d) >= Y * (1 - 1e-9) and d @ rate > 0
        return 3 * K * mean + (rate - d * (d @ rate) / (d @ d) if full else rate)

    def reached(_, s):
        d = s - s.mean()
        return math.sqrt(1.5 * d @ d) - Y
    reached.terminal, reached.direction = True, 1
    start, options = 0.0, {"rtol": 1e-11, "atol": 1e-10, "max_step": 0.01}
    if reached(0, stress) < -1e-6 * Y or (stress - stress.mean()) @ dev < 0:
        way = solve_ivp(rates, (0, 1), stress, events=reached, **options)
        start, stress = way.t[-1], way.y[:, -1]
    return solve_ivp(rates, (start, 1), stress, **options).y[:, -1] if start < 1 else stress


@pytest.mark.parametrize("stress", [(0, 0, 0), (-20, 150, 60), (0, 300, 0), (-10, 336.3, 163.1)])
@pytest.mark.parametrize("rise", [(1, 2, 0), (-4, 3, 0.5), (-1, -1.5, 3), (0.1, -6, 2)])
def test_law_of_a_yielding_point(stress, rise):
    """Stress against the rates on a straight path (independent); slope against differences of the stress."""
    law = cylinders_yielded._Law.of([steel(yields=300.0)], np.array([0]))
    stress, rise = np.array([stress], float), np.array([rise], float) * 1e-3
    stress[0] = stress[0].mean() + (stress[0] - stress[0].mean()) * min(1, 300 / max(mises_of(stress)[0], 1))
    got, slope, gained = law.after(stress, rise)
    assert got[0] == pytest.approx(straight(stress[0], rise[0], E, NU, 300.0), abs=2e-4)
    assert mises_of(got)[0] <= 300 * (1 + 1e-12)
    for j in range(3):
        step = np.zeros((1, 3))
        step[0, j] = 1e-8
        numeric = (law.after(stress, rise + step)[0] - law.after(stress, rise - step)[0])[0] / 2e-8
        assert slope[0, :, j] == pytest.approx(numeric, abs=2e-5 * E)
    # plastic strain is what is left of the rise when the elastic part is taken off
    left = rise[0] - np.linalg.solve(law.stiffness[0], (got - stress)[0])
    assert left.sum() == pytest.approx(0, abs=1e-15)
    assert gained[0] >= math.sqrt(2 / 3 * left @ left) - 1e-12  # length of the way, and the chord
    assert gained[0] == pytest.approx(math.sqrt(2 / 3 * left @ left), rel=0.15, abs=1e-12)


@pytest.mark.parametrize("axial", [0.0, 0.5])
@pytest.mark.parametrize("before", [0.0, 0.9])
def test_wrapped_thin_ring_against_the_rates(axial, before):
    """Membrane steel with a hoop-only wrap, integrated by scipy from first yield (independent). axial: axial stress
    over p R/t. Balance p R = s_h t + E_w t (e_h - e_bonding); with both stresses on the ellipse of Mises, d s_h and
    d s_z keep to it, whatever the flow."""
    R, t, Y, Ew = 500.0, 0.05, 300.0, 40e3
    unit = R / t
    p, p_b = 1.6 * Y / unit, before * Y / (unit * math.sqrt(1 + axial ** 2 - axial))
    outer = Layer("wrap", R + t, R + 2 * t, radial=2e5, hoop=Ew, axial=1.0, hoop_axial=0.0, hoop_radial=0.0,
                  axial_radial=0.0, later=True)
    force, force_b = (2 * math.pi * R ** 2 * axial * q for q in (p, p_b))
    got = stacked([steel(R, R + t, Y), outer], p, force=force, pressure_before=p_b, force_before=force_b)
    at_bonding = p_b * unit * (1 - NU * axial) / E

    def elastic(q):
        """Hoop and axial stress and hoop strain above bonding: s + E_w (e - e_bonding) = q R/t."""
        z = axial * q * unit
        s = (q * unit + Ew * at_bonding + Ew * NU * z / E) / (1 + Ew / E)
        return s, z, (s - NU * z) / E

    def excess(q):
        s, z, _ = elastic(q)
        return math.sqrt(s * s + z * z - s * z) - Y

    def rates(_, y):
        s, z, _ = y
        dz = axial * unit
        ds = -(2 * z - s) / (2 * s - z) * dz
        return [ds, dz, (unit - ds) / Ew]
    first = brentq(excess, p_b, p, xtol=1e-14)
    s, z, e = solve_ivp(rates, (first, p), elastic(first), rtol=1e-10, atol=1e-12).y[:, -1]
    assert got.yielded == pytest.approx(1.0)
    assert got.inner["steel"].stress_hoop == pytest.approx(s, rel=1e-3)
    assert got.inner["steel"].stress_axial == pytest.approx(z, abs=1e-3 * Y)
    assert got.inner["steel"].strain_hoop == pytest.approx(e, rel=2e-3)
    assert got.inner["wrap"].strain_hoop == pytest.approx(e - at_bonding, rel=2e-3)


def cut(layer: Layer, n: int) -> list[Layer]:
    faces = np.linspace(layer.inner, layer.outer, n + 1)
    return [dataclasses.replace(layer, name=f"{layer.name} {i}", inner=float(a), outer=float(b))
            for i, (a, b) in enumerate(pairwise(faces))]


@pytest.mark.parametrize("ends", ["held", "closed", "open"])
@pytest.mark.parametrize("before", [0.0, 8.0])
def test_half_ring_and_axial_balance_of_a_wrapped_yielded_pipe(ends, before):
    """p a is the hoop stress summed over all layers, F the axial stress over the section: trapezia over the faces of
    sublayers (independent of the elements and of the closed solution)."""
    p = 22.0
    layers = [part for layer in pipe(300.0) for part in cut(layer, 8)]
    force, force_b = ({"held": None, "closed": closed(q), "open": 0.0}[ends] for q in (p, before))
    got = stacked(layers, p, force=force, pressure_before=before, force_before=force_b or 0.0)
    assert got.yielded == pytest.approx(1.0) and got.residual < 1e-8

    def summed(weight):
        return sum((weight(got.inner[layer.name]) + weight(got.outer[layer.name])) / 2 * (layer.outer - layer.inner)
                   for layer in layers)
    assert summed(lambda e: e.stress_hoop) == pytest.approx(p * A, rel=2e-4)
    if force is not None:
        assert summed(lambda e: 2 * math.pi * e.radius * e.stress_axial) == pytest.approx(force, abs=2e-4 * closed(p))
    for layer in layers[:8]:
        for edge in (got.inner[layer.name], got.outer[layer.name]):
            assert mises(edge) == pytest.approx(300.0, rel=1e-9)
    for below, above in pairwise(layers):
        a, b = got.outer[below.name], got.inner[above.name]
        assert a.stress_radial == pytest.approx(b.stress_radial, abs=1e-6)
        if below.later == above.later:
            assert (a.strain_hoop, a.strain_axial) == pytest.approx((b.strain_hoop, b.strain_axial), rel=1e-12)
    # sublayers or not, the answer is one
    whole = stacked(pipe(300.0), p, force=force, pressure_before=before, force_before=force_b or 0.0)
    assert whole.inner["wrap"].strain_hoop == pytest.approx(got.inner["wrap 0"].strain_hoop, rel=1e-4)
    assert whole.inner["steel"].stress_hoop == pytest.approx(got.inner["steel 0"].stress_hoop, rel=1e-4)


def test_what_a_plastic_held_pipe_leaves_to_its_wrap():
    """Held and plastic throughout, the steel takes 2/sqrt(3) Y ln(b/a) of the pressure (Hill 1950, from memory) and
    the wrap the rest; that wrap alone, under the rest, has the same strain (independent)."""
    p, Y = 26.0, 300.0
    layers = [steel(yields=Y), wrap(B, B + 8)]
    got = stacked(layers, p)
    rest = p - 2 / math.sqrt(3) * Y * math.log(B / A)
    assert -got.inner["wrap"].stress_radial == pytest.approx(rest, rel=3e-3)
    alone = stacked([dataclasses.replace(layers[1], later=False)], -got.inner["wrap"].stress_radial)
    assert dataclasses.astuple(got.inner["wrap"]) == pytest.approx(dataclasses.astuple(alone.inner["wrap"]), rel=1e-6)


@pytest.mark.parametrize(("p", "before", "ends"), [(15.0, 0.0, 0.0), (20.0, 0.0, None), (20.0, 12.0, None),
                                                   (22.0, 6.0, 1.0), (30.0, 9.0, 0.0)])
def test_more_steps_and_elements_change_little(monkeypatch, p, before, ends):
    kept = {"force": None if ends is None else ends * closed(p), "pressure_before": before,
            "force_before": 0.0 if ends is None else ends * closed(before)}
    usual = stacked(pipe(300.0), p, **kept)
    monkeypatch.setattr(cylinders_yielded, "_STEPS", 200)
    monkeypatch.setattr(cylinders_yielded, "_ELEMENTS", 60)
    fine = stacked(pipe(300.0), p, **kept)
    assert usual.yielded > 0
    assert usual.yielded == pytest.approx(fine.yielded, abs=3e-3)
    few, many = (int(re.search(r"(\d+) load steps", stack.words)[1]) for stack in (usual, fine))
    assert many > 2 * few
    like(usual, fine, 3e-3)
    assert usual.inner["wrap"].strain_hoop == pytest.approx(fine.inner["wrap"].strain_hoop, rel=5e-4)


def test_yield_at_bonding_alone_is_seen():
    """Pressed along the axis past yield at the bore, wrapped, and the force turned to that of closed ends, where all
    is elastic: what yielded stays. Lamé at the bore, 100 MPa in 50 to 100 mm: -100 and 166.7 MPa; with -190 MPa
    axially Mises is 321 MPa, with -140 MPa 290 MPa, with the 33 MPa of closed ends 231 MPa (independent)."""
    section = math.pi * (100.0 ** 2 - 50.0 ** 2)
    for axial, yields in ((-140.0, False), (-190.0, True)):
        got, elastic = (stacked([steel(50.0, 100.0, Y), wrap(100.0, 110.0)], 100.0, force=closed(100.0, 50.0),
                                pressure_before=100.0, force_before=axial * section) for Y in (300.0, math.inf))
        assert (got.yielded > 0) == yields == (got.words != elastic.words)
        assert (got.axial_strain < elastic.axial_strain - 1e-6) == yields
        assert mises(elastic.inner["steel"]) < 240 and mises(got.inner["steel"]) < 240


def test_the_way_counts():
    """Steel that yields before it is wrapped keeps that strain: wrapped under 12 MPa it stretches more, and the wrap
    less, than wrapped without pressure."""
    early, late = (stacked(pipe(255.0), 20.0, pressure_before=q) for q in (0.0, 12.0))
    assert stacked([steel(yields=255.0)], 12.0).yielded > 0
    assert late.inner["steel"].strain_hoop > early.inner["steel"].strain_hoop
    assert late.inner["wrap"].strain_hoop < early.inner["wrap"].strain_hoop


@pytest.mark.parametrize("yields", [math.inf, 190.0])
def test_bonded_at_full_pressure_the_wrap_carries_nothing(yields):
    """190 MPa: the bare steel is plastic in part."""
    got, bare = (stacked(layers, 8.0, force=0.0, pressure_before=8.0)
                 for layers in (pipe(yields), [steel(yields=yields)]))
    for name in ("filler", "wrap"):
        assert dataclasses.astuple(got.inner[name])[1:] == (0.0,) * 5
    assert dataclasses.astuple(got.inner["steel"]) == pytest.approx(dataclasses.astuple(bare.inner["steel"]), rel=1e-12)
    assert got.yielded < 1 and (got.yielded > 0) == (yields < math.inf)


# -- properties ------------------------------------------------------------------------------------------------------

@quick
@given(sizes=some_wrap, p=st.floats(5, 40), more=st.floats(1.02, 1.5), ends=st.sampled_from([None, 0.0]),
       Y=st.floats(150, 450))
def test_yielded_more_pressure_more_strain_and_never_less_than_elastic(sizes, p, more, ends, Y):
    """No yield, no help: the wrap of a yielding pipe strains at least as much as that of an elastic one."""
    try:
        low, high = (stacked(some_pipe(sizes, Y), q, force=ends) for q in (p, more * p))
    except CalculationError as error:
        assert "small strains" in str(error)
        return
    assert low.inner["wrap"].strain_hoop < high.inner["wrap"].strain_hoop
    assert low.yielded <= high.yielded + 1e-9
    elastic = stacked(some_pipe(sizes), p, force=ends).inner["wrap"].strain_hoop
    assert low.inner["wrap"].strain_hoop >= elastic * (1 - 1e-9)


@quick
@given(sizes=some_wrap, p=st.floats(5, 30), scale=st.floats(0.01, 50), Y=st.floats(320, 450))
def test_lengths_may_be_in_any_unit(sizes, p, scale, Y):
    """All radii times a number, forces times its square: the same strains and stresses."""
    def scaled(by):
        layers = [dataclasses.replace(layer, inner=layer.inner * by, outer=layer.outer * by)
                  for layer in some_pipe(sizes, Y)]
        end = closed(p) * by ** 2
        return stacked(layers, p, force=end, pressure_before=p / 3, force_before=end / 3)
    try:
        one, other = scaled(1.0), scaled(scale)
    except CalculationError as error:
        assert "small strains" in str(error)
        return
    assert table(other)[:, 1:] == pytest.approx(table(one)[:, 1:], rel=1e-6, abs=1e-6)
    assert other.yielded == pytest.approx(one.yielded, abs=1e-6)


@settings(derandomize=True, max_examples=80, deadline=None)
@given(inner=st.floats(1e-3, 1e5), walls=st.lists(st.floats(1e-6, 10), min_size=1, max_size=4),
       moduli=st.lists(st.floats(1e-3, 1e9), min_size=12, max_size=12),
       ratios=st.lists(st.floats(-0.9, 0.6), min_size=12, max_size=12), p=st.floats(0, 1e4),
       share=st.floats(0, 1), force=st.none() | st.floats(-1e9, 1e9), Y=st.floats(1e-3, 1e4))
def test_finite_or_refused(inner, walls, moduli, ratios, p, share, force, Y):
    layers, r = [steel(inner, inner * 1.1, Y)], inner * 1.1
    for i, wall in enumerate(walls[1:]):
        layers.append(Layer(f"layer {i}", r, r * (1 + wall), *moduli[3 * i:3 * i + 3], *ratios[3 * i:3 * i + 3],
                            later=i > 0))
        r *= 1 + wall
    try:
        got = stacked(layers, p, force=force, pressure_before=share * p)
    except CalculationError as error:
        assert str(error).startswith("layered cylinder: ")
        return
    assert np.isfinite(table(got)).all()
    assert 0 <= got.yielded <= 1 and 0 <= got.residual < 1e-6
