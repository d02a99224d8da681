"""Handbook results that the elements are held against: cylinders, built-in end, ring; and a bare pocket, by us.

Formulas are recalled (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from reference_checks.fe_solver import (
    BORE,
    DIAMETER,
    PRESSURE,
    REMAINING,
    STEEL,
    WALL,
    Band,
    Material,
    Model,
    around,
    edges,
    end_thrust,
    rows,
    stations,
)


@dataclass(frozen=True)
class Anchor:
    """One number of a handbook beside that of the elements; `most`: difference allowed, and why it is not less."""

    what: str
    unit: str
    handbook: float
    elements: float
    most: float

    @property
    def difference(self) -> float:
        return self.elements / self.handbook - 1


def handbook() -> list[Anchor]:
    """Every handbook result, formulas recalled (from memory), and at the end one of beam theory, worked by us."""
    return [*_thick_cylinder(), _compound_cylinder(), *_anisotropic_cylinder(), *_built_in_end(), _ring(),
            *_bare_pocket()]


def _thick_cylinder() -> list[Anchor]:
    """Lame. Closed ends: axial stress p a^2/(b^2 - a^2) and the strains of Hooke."""
    a, b, p = 100.0, 150.0, 10.0
    found = edges([Band("tube", a, b, STEEL)], p, end_thrust(p, a), fine=8)
    share = p * a ** 2 / (b ** 2 - a ** 2)
    radial, around = share * (1 - b ** 2 / a ** 2), share * (1 + b ** 2 / a ** 2)
    inner, outer = found["tube", "inner"], found["tube", "outer"]
    return [Anchor("thick cylinder: hoop stress at the bore", "MPa", around, inner.stress_hoop, 2e-3),
            Anchor("thick cylinder: hoop stress outside", "MPa", 2 * share, outer.stress_hoop, 2e-3),
            Anchor("thick cylinder: axial stress", "MPa", share, inner.stress_axial, 5e-3),
            Anchor("thick cylinder: hoop strain at the bore", "1e-6",
                   (around - STEEL.hoop_axial * (radial + share)) / STEEL.hoop * 1e6, inner.strain_hoop * 1e6, 1e-4)]


def _compound_cylinder() -> Anchor:
    """Two cylinders, ends held: interface pressure from equal displacement there, moduli of plane strain."""
    a, c, b, p = 100.0, 110.0, 140.0, 10.0
    soft = Material.isotropic(70_000.0, 0.33)
    found = edges([Band("in", a, c, STEEL), Band("out", c, b, soft)], p, None, fine=8)
    (E1, n1), (E2, n2) = ((m.hoop / (1 - m.hoop_axial ** 2), m.hoop_axial / (1 - m.hoop_axial)) for m in (STEEL, soft))
    q = (2 * p * a ** 2 / (E1 * (c ** 2 - a ** 2))
         / (((c ** 2 + a ** 2) / (c ** 2 - a ** 2) - n1) / E1 + ((b ** 2 + c ** 2) / (b ** 2 - c ** 2) + n2) / E2))
    return Anchor("compound cylinder: pressure between the two", "MPa", q, -found["out", "inner"].stress_radial, 5e-3)


def _anisotropic_cylinder() -> list[Anchor]:
    """Lekhnitskii, cylinder of curvilinear anisotropy under inside pressure; nothing couples to the axial direction."""
    a, b, p = 100.0, 150.0, 10.0
    stuff = Material(8_000.0, 24_000.0, 9_000.0, 0.0, 0.3, 0.0, 3_000.0)
    found = edges([Band("tube", a, b, stuff)], p, None, fine=8)
    k, c = math.sqrt(stuff.hoop / stuff.radial), a / b
    stress = [p * k * c ** (k + 1) / (1 - c ** (2 * k)) * ((r / b) ** (k - 1) + (b / r) ** (k + 1)) for r in (a, b)]
    return [Anchor(f"anisotropic cylinder: hoop stress {text}", "MPa", s, found["tube", side].stress_hoop, 3e-3)
            for s, text, side in zip(stress, ("at the bore", "outside"), ("inner", "outer"), strict=True)]


def _built_in_end() -> list[Anchor]:
    """Long thin cylinder under pressure, one end built in (Timoshenko, plates and shells): Q = p/beta,
    M = p/(2 beta^2), deflection p R^2/(E h) (1 - e^(-bz) (cos bz + sin bz)). The shell has no shear strain, hence the
    margin."""
    R, h, p, nu = 200.0, 2.0, 1.0, STEEL.hoop_axial
    beta = (3 * (1 - nu ** 2)) ** 0.25 / math.sqrt(R * h)
    z = stations((60.0, 1.0), (300.0, 5.0))
    model = Model(z, rows(R - h / 2, R + h / 2, count=[4]) + 0 * z, lambda j, i: STEEL)
    root, far = np.concatenate([model.at(0.0, k) for k in (0, 1)]), model.at(z[-1], 1)
    held = np.concatenate((root, far))
    load = model.inside(p * R / (R - h / 2))  # the shell takes its pressure on the middle surface
    zero = 0.0 * held
    moved = zero.copy()
    moved[len(root):] = 1.0
    u, pulled = model.solve(held, (load, zero), (0.0 * load, moved))
    u = u - (model.K @ u)[far].sum() / (model.K @ pulled)[far].sum() * pulled
    reaction = (model.K @ u - load) / R
    radius = model.basis.doflocs[0]
    axial = model.at(0.0, 1)
    w = u[[model.corner(2, i, 0) for i in range(len(z))]]
    bz = math.pi / 2
    here = float(np.interp(bz / beta, z, w))
    return [Anchor("built-in end: shear force", "N/mm", p / beta, -reaction[model.at(0.0, 0)].sum(), 0.02),
            Anchor("built-in end: moment", "N", p / (2 * beta ** 2),
                   abs(float((reaction[axial] * (radius[axial] - R)).sum())), 0.02),
            Anchor("built-in end: deflection at beta z = pi/2", "mm",
                   p * R ** 2 / (STEEL.hoop * h) * (1 - math.exp(-bz)), here, 0.01)]


def _ring() -> Anchor:
    """Thin ring under two opposite forces (Timoshenko): the other diameter changes by (2/pi - 1/2) P R^3/(E I)."""
    R, h, P, nu = 200.0, 4.0, 1.0, STEEL.hoop_axial
    s = stations((math.pi, math.radians(1.0)))
    model = Model(s, rows(R - h / 2, R + h / 2, count=[2]) + 0 * s, lambda j, i: STEEL, around=True)
    ends = np.concatenate((model.at(0.0, 1), model.at(math.pi, 1)))
    top, bottom = model.corner(1, 0, 0), model.corner(1, len(s) - 1, 0)
    load = np.zeros(model.K.shape[0])
    load[[top, bottom]] = P / 2  # half of the ring; the force pulls outwards
    u, = model.solve(np.append(ends, bottom), (load, 0.0))
    # Of the diameter at right angles half moves here; the hold at the bottom only shifts the ring along the load.
    side = model.corner(1, len(s) // 2, 0)
    bent = (2 / math.pi - 0.5) * P * R ** 3 * 12 * (1 - nu ** 2) / (STEEL.hoop * h ** 3)
    return Anchor("ring under two forces: change of the other diameter", "mm", bent, -2 * float(u[side]), 0.01)


def _bare_pocket() -> list[Anchor]:
    """The ring with a square pocket and no wrap, as a thin curved beam whose middle jumps inwards at the pocket.

    Force and moment at the middle of the pocket from the least energy of bending and stretching (Castigliano). The
    stress of a thick ring falls by p from bore to outside (Lame), which counts as bending of -p/2 here. In the beam the
    thick wall is stiff right up to the edge; in the ring its corner carries nothing, as if the pocket were wider by
    about half a ligament on each side. Hence the margin; it is larger for narrow pockets.
    """
    width = 120.0
    half = width / DIAMETER
    s = np.linspace(0, math.pi, 20001)
    s = (s[1:] + s[:-1]) / 2
    wall = np.where(s < half, REMAINING, WALL)
    centre, whole = BORE + wall / 2, PRESSURE * BORE
    bending, stretching = 12 / wall ** 3 * centre, centre / wall
    # N = n cos s + p r (1 - cos s); M = m + n centre_0 - N centre: each is (own load, share of n, share of m).
    N = np.array([whole * (1 - np.cos(s)), np.cos(s), 0 * s])
    M = np.array([-N[0] * centre, centre[0] - N[1] * centre, 1 + 0 * s])
    energy = np.einsum("is,js,s->ij", M, M, bending) + np.einsum("is,js,s->ij", N, N, stretching)
    n, m = np.linalg.solve(energy[1:, 1:], -energy[1:, 0])
    found = around(width, 0.0)
    return [Anchor("bare pocket, curved beam (ours): hoop force over wall", "MPa", n / REMAINING, found.steel_hoop[0],
                   0.01),
            Anchor("bare pocket, curved beam (ours): bending stress", "MPa", 6 * m / REMAINING ** 2 - PRESSURE / 2,
                   found.steel_bending[0], 0.05)]
