"""The damaged section a second time: as a polygon of many corners, and by integrals of scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import dblquad, quad

from wrapcalc.formulas import net_section as f

CASES = [(406.4, 8.5, 4.1, 154.0), (609.6, 9.53, 5.2, 260.0), (168.3, 7.11, 5.0, 250.0), (114.3, 6.02, 2.0, 20.0)]
CORNERS = 20_000


class Polygon:
    """Area and moments of a closed ring of corners by Green's theorem: no polar coordinate in sight."""

    def __init__(self, x: np.ndarray, y: np.ndarray):
        self.x, self.y = x, y
        x1, y1 = np.roll(x, -1), np.roll(y, -1)
        cross = x * y1 - x1 * y
        self.area = cross.sum() / 2
        self.first = ((y + y1) * cross).sum() / 6
        self.second = ((y * y + y * y1 + y1 * y1) * cross).sum() / 12


def arc(radius: float, start: float, end: float) -> tuple[np.ndarray, np.ndarray]:
    """Corners on a circle; the angle is measured from the loss, which lies at y > 0."""
    phi = np.linspace(start, end, CORNERS)
    return radius * np.sin(phi), radius * np.cos(phi)


def net_polygon(D: float, t: float, d: float, w: float) -> Polygon:
    """The section that is left, as one ring: outside, floor of the loss, and back along the bore."""
    half, r = w / D, D / 2
    parts = [arc(r, half, 2 * math.pi - half), arc(r - d, -half, half), arc(r - t, half, half - 2 * math.pi)]
    x, y = np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])
    ring = Polygon(x, y)
    return ring if ring.area > 0 else Polygon(x[::-1], y[::-1])


def lost_polygon(D: float, d: float, w: float) -> Polygon:
    half = w / D
    outer, inner = arc(D / 2, half, -half), arc(D / 2 - d, -half, half)
    return Polygon(np.concatenate([outer[0], inner[0]]), np.concatenate([outer[1], inner[1]]))


def ours(D: float, t: float, d: float, w: float) -> dict[str, float]:
    """The package's own chain."""
    theta = f.half_angle.core(w, D)
    A_L = f.lost_area.core(theta, d, D)
    A_n = f.net_area.core(f.sound_area.core(D, t), A_L)
    e = f.eccentricity.core(A_L, f.lost_centroid.core(theta, D, d, A_L), A_n)
    I_n = f.net_second_moment.core(f.sound_second_moment.core(D, t), f.lost_second_moment.core(D, d, theta), A_n, e)
    return {"theta": theta, "A_L": A_L, "A_n": A_n, "e": e, "I_n": I_n, "c": f.extreme_fibre.core(e, D, d, theta)}


@pytest.mark.guards("half_angle", kind="independent")
@pytest.mark.parametrize(("D", "t", "d", "w"), CASES)
def test_half_angle(D, t, d, w):
    """The arc of the outside circle between - and + the half angle is as long as the loss is wide."""
    theta = f.half_angle.core(w, D)
    x, y = arc(D / 2, -theta, theta)
    assert np.hypot(np.diff(x), np.diff(y)).sum() == pytest.approx(w, rel=1e-8)


@pytest.mark.guards("sound_area", "sound_second_moment", kind="independent")
@pytest.mark.parametrize(("D", "t", "d", "w"), CASES)
def test_sound_section(D, t, d, w):
    """Rings 2 pi r dr, and pi r³ dr for the second moment, added up."""
    inner, outer = D / 2 - t, D / 2
    assert f.sound_area.core(D, t) == pytest.approx(quad(lambda r: 2 * math.pi * r, inner, outer)[0], rel=1e-9)
    assert f.sound_second_moment.core(D, t) == pytest.approx(quad(lambda r: math.pi * r ** 3, inner, outer)[0],
                                                             rel=1e-9)


@pytest.mark.guards("sound_area", kind="published")
def test_sound_area_against_pipe_sizes():
    """Bore and outside diameter of ASME B36.10 pipe, as transcribed in the fluids package (seen)."""
    from fluids import piping
    sizes = 0
    for schedule in ("40", "80", "STD", "XS"):
        _, inside, outside, walls = piping.schedule_lookup[schedule]
        for d_i, d_o, t in zip(inside, outside, walls, strict=True):
            area = math.pi / 4 * (d_o ** 2 - d_i ** 2)
            # half a hundredth of a millimetre in the printed bore
            assert f.sound_area.core(d_o, t) == pytest.approx(area, abs=math.pi / 4 * 2 * d_i * 0.0051)
            sizes += 1
    assert sizes > 60


@pytest.mark.guards("lost_area", "lost_centroid", "lost_second_moment", kind="independent")
@pytest.mark.parametrize(("D", "t", "d", "w"), CASES)
def test_lost_sector(D, t, d, w):
    """The ring sector integrated by scipy, and once more as a polygon."""
    theta = f.half_angle.core(w, D)
    area = f.lost_area.core(theta, d, D)
    y_L = f.lost_centroid.core(theta, D, d, area)
    second = f.lost_second_moment.core(D, d, theta)

    def over_sector(function):
        return dblquad(lambda r, phi: function(r * math.cos(phi)) * r, -theta, theta, D / 2 - d, D / 2)[0]

    assert area == pytest.approx(over_sector(lambda y: 1.0), rel=1e-8)
    assert y_L == pytest.approx(over_sector(lambda y: y) / area, rel=1e-8)
    assert second == pytest.approx(over_sector(lambda y: y * y), rel=1e-8)
    polygon = lost_polygon(D, d, w)
    assert [area, area * y_L, second] == pytest.approx([abs(polygon.area), abs(polygon.first), abs(polygon.second)],
                                                       rel=1e-6)


@pytest.mark.guards("net_area", "eccentricity", "net_second_moment", kind="independent")
@pytest.mark.parametrize(("D", "t", "d", "w"), CASES)
def test_net_section_is_one_polygon(D, t, d, w):
    """What is left, drawn as one ring of corners: nothing is subtracted, no parallel-axis rule is used."""
    p, o = net_polygon(D, t, d, w), ours(D, t, d, w)
    assert o["A_n"] == pytest.approx(p.area, rel=1e-6)
    assert o["e"] == pytest.approx(-p.first / p.area, rel=1e-5)
    shifted = Polygon(p.x, p.y - p.first / p.area)
    assert o["I_n"] == pytest.approx(shifted.second, rel=1e-6)


@pytest.mark.guards("extreme_fibre", "net_section_stress", kind="independent")
@pytest.mark.parametrize(("D", "t", "d", "w"), [*CASES, (168.3, 7.11, 5.0, 40.0), (168.3, 7.11, 1.0, 120.0)])
def test_greatest_stress_of_the_net_section(D, t, d, w):
    """Find the plane of stress a + b y that carries the thrust on the pipe axis, then look at every corner.

    The two unknowns come from force and moment integrated over the polygon, about the pipe axis, not the centroid.
    """
    thrust, p, o = 2.0e6, net_polygon(D, t, d, w), ours(D, t, d, w)
    a, b = np.linalg.solve([[p.area, p.first], [p.first, p.second]], [thrust, 0.0])
    stress = a + b * p.y
    greatest = stress.max()
    ours_greatest = f.net_section_stress.core(thrust, o["A_n"], o["e"], o["c"], o["I_n"])
    assert ours_greatest == pytest.approx(greatest, rel=1e-6)
    assert ours_greatest > thrust / o["A_n"]
    assert o["c"] == pytest.approx(p.y[stress.argmax()] - p.first / p.area, rel=1e-6)


# -- axial force and bending together, restraint --------------------------------------------------------------------

LOADS = [(2.0e6, 3.0e8), (2.0e6, -3.0e8), (-1.5e6, 2.0e8), (-1.5e6, -2.0e8), (0.0, 2.5e8), (1.0e6, 0.0)]


def plane_of_stress(p: Polygon, N: float, M: float) -> np.ndarray:
    """Stress at every corner: the plane a + b y whose force is N and whose moment about the pipe axis is M.

    y points to the loss, so a positive moment stretches that side. No centroid and no parallel-axis rule is used.
    """
    a, b = np.linalg.solve([[p.area, p.first], [p.first, p.second]], [N, M])
    return a + b * p.y


@pytest.mark.guards("axial_stress_at_loss", "axial_stress_opposite", "opposite_moment", kind="independent")
@pytest.mark.parametrize(("N", "M"), LOADS)
@pytest.mark.parametrize(("D", "t", "d", "w"), [*CASES, (168.3, 7.11, 1.0, 120.0)])
def test_stress_under_force_and_bending(D, t, d, w, N, M):
    """On both sides of the section, for force and moment of either sign."""
    p, o = net_polygon(D, t, d, w), ours(D, t, d, w)
    for moment in (M, f.opposite_moment.core(M)):
        stress = plane_of_stress(p, N, moment)
        at_loss, opposite = stress[p.y.argmax()], stress[p.y.argmin()]
        scale = abs(N) / p.area + abs(moment) * D / 2 / p.second
        assert f.axial_stress_at_loss.core(N, moment, o["A_n"], o["e"], o["c"], o["I_n"]) == pytest.approx(
            abs(at_loss), abs=1e-5 * scale)
        assert f.axial_stress_opposite.core(N, moment, o["A_n"], o["e"], D, o["I_n"]) == pytest.approx(
            abs(opposite), abs=1e-5 * scale)
        assert max(abs(at_loss), abs(opposite)) == pytest.approx(np.abs(stress).max(), rel=1e-9), "no side is greater"
    assert f.opposite_moment.core(M) + M == 0


def test_without_moment_the_stress_at_the_loss_is_that_of_the_end_thrust():
    o = ours(406.4, 8.5, 4.1, 154.0)
    rest = o["A_n"], o["e"], o["c"], o["I_n"]
    thrust_alone = f.net_section_stress.core(2e6, *rest)
    assert f.axial_stress_at_loss.core(2e6, 0.0, *rest) == pytest.approx(thrust_alone, rel=1e-12)


def internal_polygon(D: float, t: float, d: float, w: float) -> Polygon:
    """What is left by an internal loss of the same half angle: the bore bulges outward by d."""
    half, r = w / D, D / 2
    # once round outside, then back along the roof of the loss and along the bore, all from the same angle
    parts = [arc(r, half, half + 2 * math.pi), arc(r - t + d, half, -half), arc(r - t, -half, half - 2 * math.pi)]
    x, y = (np.concatenate([p[k] for p in parts]) for k in (0, 1))
    ring = Polygon(x, y)
    return ring if ring.area > 0 else Polygon(x[::-1], y[::-1])


@pytest.mark.guards("extreme_fibre_internal", kind="independent")
@pytest.mark.parametrize(("N", "M"), [(2.0e6, 0.0), (2.0e6, 2.0e8)])
@pytest.mark.parametrize(("D", "t", "d", "w"), CASES)
def test_internal_loss_is_on_the_safe_side_of_its_own_section(D, t, d, w, N, M):
    """The farthest fibre is the whole outer surface over the loss: measured on the corners of the outer circle.

    The section with the loss outside, and its stress carried to that fibre, is not below the true internal section.
    """
    o = ours(D, t, d, w)
    _, y = arc(D / 2, -w / D, w / D)
    outside = net_polygon(D, t, d, w)
    fibre = f.extreme_fibre_internal.core(o["e"], D)
    assert fibre == pytest.approx(y.max() - outside.first / outside.area, rel=1e-6)
    p = internal_polygon(D, t, d, w)
    true = plane_of_stress(p, N, M).max()
    assert f.axial_stress_at_loss.core(N, M, o["A_n"], o["e"], fibre, o["I_n"]) >= true


@pytest.mark.guards("restrained_force", "warming_since_tie_in", "total_axial_force", kind="independent")
@pytest.mark.parametrize(("hoop", "tie_in", "now"), [(180.0, 10.0, 45.0), (40.0, 5.0, 60.0), (250.0, 20.0, -5.0)])
def test_restrained_pipe_by_superposition(hoop, tie_in, now):
    """A bar between walls: let it grow by heat and shrink by the hoop stress, then push it back to its length."""
    nu, E, alpha, area, length = 0.3, 207_000.0, 11.7e-6, 14_000.0, 12_000.0
    heat = np.linspace(tie_in, now, 1001)  # degree by degree
    free = length * alpha * np.diff(heat).sum() - length * nu * hoop / E
    stiffness = E * area / length
    force = -stiffness * free
    warming = f.warming_since_tie_in.core(now, tie_in)
    assert f.restrained_force.core(nu, hoop, E, alpha, warming, area) == pytest.approx(force, rel=1e-9)
    # an external force in the middle of the bar adds to it at the section: two springs of equal strain
    assert f.total_axial_force.core(force, 3e5) == pytest.approx(stiffness * (3e5 / stiffness - free), rel=1e-9)
