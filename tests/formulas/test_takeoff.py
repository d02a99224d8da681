"""Quantities by second routes: layer by layer, ring by ring, and shapes whose volume is known."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.integrate import quad

from wrapcalc.formulas import takeoff as f
from wrapcalc.stages.site.takeoff import grid_volumes
from wrapcalc.units import Quantity

SLEEVES = [(8, 609.6, 1.6, 0.35), (1, 406.4, 1.3, 0.5), (13, 168.3, 0.9, 0.2)]


def ring_area(inner: float, outer: float) -> float:
    return quad(lambda d: math.pi * d / 2, inner, outer)[0]


@pytest.mark.guards("layer_pitch", "build_up", "wrap_length", "adhesive_volume", kind="independent")
@pytest.mark.parametrize(("n", "D", "ply", "bond"), SLEEVES)
def test_sleeve_layer_by_layer(n, D, ply, bond):
    """Lay bond line and ply in turn on the growing diameter; add lengths along the ply and rings of adhesive."""
    diameter, length, adhesive, width = D, 0.0, 0.0, 750.0
    for _ in range(n):
        adhesive += ring_area(diameter, diameter + 2 * bond) * width
        diameter += 2 * bond
        length += math.pi * (diameter + ply)
        diameter += 2 * ply
    h = f.layer_pitch.core(ply, bond)
    assert f.build_up.core(n, h) == pytest.approx((diameter - D) / 2)
    assert f.wrap_length.core(n, D, h, bond) == pytest.approx(length)
    assert f.adhesive_volume.core(n, D, h, bond, width) == pytest.approx(adhesive)
    assert length > n * math.pi * D


@pytest.mark.guards("diameter_under_tier", kind="independent")
@pytest.mark.parametrize(("n", "D", "ply", "bond"), SLEEVES)
@pytest.mark.parametrize("below", [0, 1, 3])
def test_diameter_sleeve_over_sleeve(n, D, ply, bond, below):
    """Every bond line and every ply of every sleeve below is laid on both sides of the pipe."""
    diameter = D
    for _ in range(below):
        for _ in range(n):
            for thickness in (bond, ply):
                diameter += thickness + thickness
    assert f.diameter_under_tier.core(D, below, n, f.layer_pitch.core(ply, bond)) == pytest.approx(diameter, rel=1e-12)


@pytest.mark.guards("diameter_under_tier", kind="independent")
def test_tiers_are_as_long_as_one_sleeve_of_all_their_layers():
    """Three sleeves of eight layers, each on the diameter that those below leave, against 24 layers on the pipe."""
    h = f.layer_pitch.core(1.6, 0.35)
    tiers = [f.wrap_length.core(8, f.diameter_under_tier.core(609.6, k, 8, h), h, 0.35) for k in range(3)]
    assert sum(tiers) == pytest.approx(f.wrap_length.core(24, 609.6, h, 0.35), rel=1e-12)


@pytest.mark.guards("widths_together", "areas_together", "counts_together", kind="independent")
def test_two_repairs_on_one_list():
    """Units are laid out one by one: counted, measured, and their areas painted in strips."""
    first, second = [250.0, 250.0, 300.0], [300.0, 150.0]
    laid = first + second
    assert f.counts_together.core(float(len(first)), float(len(second))) == len(laid)
    assert f.widths_together.core(sum(first), sum(second)) == pytest.approx(np.sum(laid))
    around = math.pi * 609.6
    painted = quad(lambda x: around, 0, sum(laid))[0]
    assert f.areas_together.core(f.bonded_area.core(609.6, sum(first)), f.bonded_area.core(609.6, sum(second))
                                 ) == pytest.approx(painted)


@pytest.mark.guards("wrap_length_lay_up", "cut_length", "cloth_area", kind="independent")
@pytest.mark.parametrize(("n", "D", "ply", "bond"), SLEEVES)
def test_cloth_layer_by_layer(n, D, ply, bond):
    """The cloth's area is its volume of laminate, ring by ring, over its thickness; then its length, then the cut."""
    band = 300.0
    volume = sum(ring_area(D + 2 * k * ply, D + 2 * (k + 1) * ply) * band for k in range(n))
    length = f.wrap_length_lay_up.core(n, D, ply)
    assert length * band == pytest.approx(volume / ply)
    cut = f.cut_length.core(length, 100.0)
    assert cut - length == pytest.approx(100.0)
    in_metres = f.cloth_area.core(cut / 1000, 3 * band / 1000)
    assert in_metres == pytest.approx(sum((volume / ply + 100.0 * band) * 1e-6 for _ in range(3)))


@pytest.mark.guards("end_fillet_volume", "filler_volume", kind="independent")
@pytest.mark.parametrize(("D", "L_e", "t_b"), [(609.6, 40.0, 7.8), (168.3, 30.0, 15.0)])
def test_end_fillets_slice_by_slice(D, L_e, t_b):
    """Two wedges turned round the pipe: rings of falling height along the axis."""
    one = quad(lambda x: ring_area(D, D + 2 * t_b * (1 - x / L_e)), 0, L_e)[0]
    fillets = f.end_fillet_volume.core(D, L_e, t_b)
    assert fillets == pytest.approx(2 * one)
    assert f.filler_volume.core(175_700.0, fillets) == pytest.approx(np.sum([175_700.0, one, one]))


@pytest.mark.guards("bonded_area", kind="independent")
def test_bonded_area_by_strips():
    """Strips of the circumference, chord by chord."""
    phi = np.linspace(0, 2 * math.pi, 100_001)
    x, y = 304.8 * np.cos(phi), 304.8 * np.sin(phi)
    assert f.bonded_area.core(609.6, 750.0) == pytest.approx(np.hypot(np.diff(x), np.diff(y)).sum() * 750, rel=1e-8)


@pytest.mark.guards("resin_mass", "cloth_area_with_waste", kind="independent")
def test_resin_from_the_laminate_it_makes():
    """Of all laminate mass the share w_f is cloth: solve the two balances for the resin."""
    area, areal, share, waste = 13.96, 0.9, 0.6, 0.15
    cloth, resin = np.linalg.solve([[1.0, 0.0], [share - 1, share]], [area * areal, 0.0])
    assert cloth == pytest.approx(area * areal)
    assert cloth / (cloth + resin) == pytest.approx(share)
    order = f.resin_mass.core(area, areal, share, waste)
    assert order == pytest.approx(resin + resin * 15 / 100)
    bought = f.cloth_area_with_waste.core(area, waste)
    assert (bought - area) / area == pytest.approx(waste)


@pytest.mark.guards("mass_from_volume", "coating_mass", kind="independent")
def test_masses_in_customary_units():
    """Gallons at pounds per gallon, square feet at ounces per square foot, in pounds; back to kilograms at the end."""
    gallons, pounds_per_gallon = 4.11 / 3.785411784, 1.15 * 3.785411784 / 0.45359237
    assert f.mass_from_volume.core(4.11, 1.15, 0.15) == pytest.approx(
        (gallons * pounds_per_gallon + 0.15 * gallons * pounds_per_gallon) * 0.45359237)
    feet = Quantity(1.436, "m**2").m_as("foot**2")
    ounces = Quantity(0.2, "kg/m**2").m_as("ounce/foot**2")
    assert f.coating_mass.core(1.436, 0.2, 0.1) == pytest.approx(feet * ounces / 16 * 1.1 * 0.45359237)


@pytest.mark.guards("packs", kind="independent")
def test_packs_by_opening_them():
    rng = np.random.default_rng(2)
    for need, pack in zip(rng.uniform(0.05, 40, 300), rng.uniform(0.3, 5, 300), strict=True):
        opened, n = 0.0, 0
        while opened < need - 1e-8 * pack:
            opened, n = opened + pack, n + 1
        assert f.packs.core(need, pack) == n
    for n in range(1, 40):
        assert f.packs.core(n * 0.3, 0.3) == n


@pytest.mark.guards("filler_box", kind="independent")
def test_filler_box_by_slices():
    assert f.filler_box.core(420.0, 260.0, 5.2) == pytest.approx(
        quad(lambda x: quad(lambda y: 5.2, 0, 260.0)[0], 0, 420.0)[0])


# -- the depth grid ----------------------------------------------------------------------------------------------

def volumes(axial, around, depth) -> tuple[float, float]:
    grid = SimpleNamespace(axial=list(axial), around=list(around), depth=[list(map(float, row)) for row in depth])
    estimate, bound, cells = grid_volumes(SimpleNamespace(grid=grid))
    assert cells == (len(grid.axial) - 1) * (len(grid.around) - 1)
    return estimate, bound


def test_grid_of_a_tent_and_a_wedge_is_exact():
    """Surfaces that are straight along every grid line: closed volumes, on an uneven grid."""
    x, y = np.array([0.0, 30, 50, 80, 100]), np.array([0.0, 10, 40, 60])
    wedge = np.outer(np.ones(y.size), x) * 0.05
    assert volumes(x, y, wedge)[0] == pytest.approx(0.5 * 5.0 * 100 * 60)
    tent = np.outer(np.ones(y.size), np.minimum(x, 100 - x)) * 0.1
    assert volumes(x, y, tent)[0] == pytest.approx(0.5 * 5.0 * 100 * 60)
    saddle = np.outer(y, x)
    assert volumes(x, y, saddle)[0] == pytest.approx(60 ** 2 / 2 * 100 ** 2 / 2)


def test_grid_of_a_bowl_converges_and_the_bound_bounds():
    """A paraboloid of revolution holds half the cylinder around it."""
    exact = math.pi * 40 ** 2 * 6.0 / 2
    errors = []
    for n in (11, 41, 161):
        s = np.linspace(-50, 50, n)
        bowl = np.maximum(6.0 * (1 - (s[None, :] ** 2 + s[:, None] ** 2) / 40 ** 2), 0)
        estimate, bound = volumes(s, s, bowl)
        assert bound > exact
        errors.append(abs(estimate / exact - 1))
    assert errors[0] > errors[1] > errors[2]
    assert errors[2] < 3e-4


def test_grid_of_the_field_example():
    """Our own earlier numbers (regression): 175.7 mL by trapezia, 299.8 mL with each cell at its deepest corner."""
    inside = [[1.1, 1.8, 2.4, 2.9, 1.9, 0.8], [1.6, 3.1, 4.4, 5.2, 3.6, 1.5], [1.4, 2.7, 4.0, 4.6, 3.3, 1.2],
              [0.7, 1.3, 2.1, 2.5, 1.6, 0.6]]
    estimate, bound = volumes(60 * np.arange(8.0), 52 * np.arange(6.0), np.pad(inside, 1))
    assert estimate / 1000 == pytest.approx(175.7, abs=0.05)
    assert bound / 1000 == pytest.approx(299.8, abs=0.05)
