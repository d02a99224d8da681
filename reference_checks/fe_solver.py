"""Finite elements of a wrapped pipe: the elements and three models of them (long, limited length, limited width).

Small strains, elastic, every bond perfect, no slack and no residual stress. Units: mm, MPa, N.

The elements: quadratic triangles on a grid of lines (radii) over stations. Stations run along the pipe (axisymmetric),
or around it in radians (cross-section, no displacement along the pipe). Both are worked in the coordinates of the pipe,
so that a curved wall is no polygon and a layer keeps its directions. Lines that meet end a layer there (taper, edge).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.linalg import splu
from skfem import Basis, ElementTriP2, ElementVector, FacetBasis, LinearForm, MeshTri, asm

from wrapcalc.formulas import wrap_extent

RR, HH, AA, SHEAR = range(4)  # rows of strain and stress: radial, hoop, axial, and shear in the plane of the elements


@dataclass(frozen=True)
class Material:
    """Orthotropic, along the directions of the pipe. radial, hoop, axial, shear: moduli, MPa, the last in the plane of
    the elements; hoop_axial, hoop_radial, axial_radial: Poisson ratios, load in the first direction, contraction in the
    second."""

    radial: float
    hoop: float
    axial: float
    hoop_axial: float
    hoop_radial: float
    axial_radial: float
    shear: float

    @staticmethod
    def isotropic(modulus: float, poisson: float) -> Material:
        return Material(modulus, modulus, modulus, poisson, poisson, poisson, modulus / (2 * (1 + poisson)))

    @cached_property
    def stiffness(self) -> np.ndarray:
        """4 x 4, MPa. ValueError for constants that gain work from load."""
        r, h, a = self.radial, self.hoop, self.axial
        S = np.array([[1 / r, -self.hoop_radial / h, -self.axial_radial / a, 0],
                      [-self.hoop_radial / h, 1 / h, -self.hoop_axial / h, 0],
                      [-self.axial_radial / a, -self.hoop_axial / h, 1 / a, 0],
                      [0, 0, 0, 1 / self.shear]])
        if np.linalg.eigvalsh(S)[0] <= 0:
            raise ValueError(f"no elastic material: {self}")
        return np.linalg.inv(S)


#: Chosen for the examples: no system and no grade in particular.
STEEL = Material.isotropic(207_000.0, 0.3)
FILLER = Material.isotropic(3_000.0, 0.35)
WRAP = Material(radial=8_000.0, hoop=24_000.0, axial=9_000.0, hoop_axial=0.2, hoop_radial=0.3, axial_radial=0.3,
                shear=3_000.0)
DIAMETER, WALL, REMAINING, PRESSURE = 406.4, 9.53, 4.5, 7.0
BORE = DIAMETER / 2 - WALL
#: Overlap beyond the damage by the rule of ISO 24817, mm.
RULE = wrap_extent.overlap_iso.core(DIAMETER, WALL)


# -- the elements -----------------------------------------------------------------------------------------------------
class Model:
    """A pipe, or a ring of it, as a grid.

    stations (m): mm along the pipe, or radians around it where `around`; lines (n, m): radii of the grid lines, inside
    first; material(band, column) -> Material, or None for nothing there, of what lies between line and line, station
    and station.
    """

    def __init__(self, stations: np.ndarray, lines: np.ndarray,
                 material: Callable[[int, int], Material | None], *, around: bool = False):
        self.stations, self.around = np.asarray(stations, dtype=float), around
        n, m = lines.shape
        node = np.arange(n * m).reshape(n, m)
        for j in range(1, n):
            node[j] = np.where(lines[j] - lines[j - 1] < 1e-9, node[j - 1], node[j])
        triangles, bands, columns, made_of = [], [], [], []
        for j in range(n - 1):
            for i in range(m - 1):
                if (here := material(j, i)) is None:
                    continue
                a, b, c, d = node[j, i], node[j + 1, i], node[j + 1, i + 1], node[j, i + 1]
                for corners in ((a, b, c), (a, c, d)):
                    if len(set(corners)) == 3:
                        triangles.append(corners)
                        bands.append(j)
                        columns.append(i)
                        made_of.append(here)
        used, t = np.unique(np.array(triangles).T, return_inverse=True)
        points = np.array([lines.ravel(), np.tile(self.stations, n)])[:, used]
        self.node = np.full(n * m, -1)
        self.node[used] = np.arange(len(used))
        self.node = self.node[node]
        self.band, self.column = np.array(bands), np.array(columns)
        self.made_of = np.array(made_of, dtype=object)
        self.C = np.moveaxis(np.array([m.stiffness for m in made_of]), 0, -1)[..., None]
        self.mesh = MeshTri(np.ascontiguousarray(points), np.ascontiguousarray(t.reshape(3, -1)))
        self.basis = Basis(self.mesh, ElementVector(ElementTriP2()), intorder=4)
        # Written out: the form of the library takes ten times as long for the twelve functions of a triangle.
        r = self.basis.global_coordinates()[0]
        B = np.array([[np.asarray(e) for e in self._strain(f[0], r)] for f in self.basis.basis])
        CB = np.einsum("kqtn,iqtm->iktm", self.C, B)
        K = np.einsum("iktm,jktm->tij", CB * (self.basis.dx * r), B, optimize=True)
        dofs = self.basis.element_dofs.T
        place = [np.broadcast_to(x, K.shape).ravel() for x in (dofs[:, :, None], dofs[:, None, :])]
        self.K = coo_array((K.ravel(), place), shape=(self.basis.N,) * 2).tocsc()

    def _strain(self, u, r) -> list:
        g = u.grad
        if self.around:
            return [g[0, 0], (u[0] + g[1, 1]) / r, 0 * u[0], g[0, 1] / r + g[1, 0] - u[1] / r]
        return [g[0, 0], u[0] / r, g[1, 1], g[0, 1] + g[1, 0]]

    def inside(self, pressure: float) -> np.ndarray:
        """Load of a pressure on the bore (per radian; around: per mm of pipe)."""
        r = self.mesh.p[0].min()
        facets = self.mesh.facets_satisfying(lambda x: np.abs(x[0] - r) < 1e-6, boundaries_only=True)
        side = FacetBasis(self.mesh, self.basis.elem, facets=facets, intorder=4)
        return asm(LinearForm(lambda v, w: pressure * v[0] * w.x[0]), side)

    def at(self, station: float, component: int) -> np.ndarray:
        """Degrees of freedom of one component (0 radial, 1 along the stations) on the whole face at a station."""
        found = self.basis.get_dofs(lambda x: np.abs(x[1] - station) < 1e-9)
        return found.all([f"u^{component + 1}"])

    def corner(self, line: int, i: int, component: int) -> int:
        """Degree of freedom of one grid point."""
        return int(self.basis.nodal_dofs[component, self.node[line, i]])

    def solve(self, held: np.ndarray, *loads: tuple[np.ndarray, np.ndarray | float]) -> list[np.ndarray]:
        """Displacements for each (load, displacement of the held degrees of freedom), one factorisation for all."""
        free = np.setdiff1d(np.arange(self.K.shape[0]), held)
        factor, out = splu(self.K[free][:, free]), []
        for load, moved in loads:
            u = np.zeros(self.K.shape[0])
            u[held] = moved
            u[free] = factor.solve(load[free] - (self.K @ u)[free])
            out.append(u)
        return out

    def corners(self, u: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(place, strain, stress) at the corners of every triangle: (2, t, 3), (4, t, 3), (4, t, 3)."""
        return self._evaluate(u, (np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]), np.full(3, 1 / 6)))[:3]

    def through(self, u: np.ndarray, of: Material, row: int,
                middle: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
        """(force, moment) per length over the thickness of one material, from one row of stress, mean of each column.

        Moment about the radius `middle`, positive where the outside is stretched. N/mm and N.
        """
        where, _, stress, dx = self._evaluate(u, None)
        mine = np.array([m is of for m in self.made_of])
        length = np.diff(self.stations)
        arm = where[0] - np.broadcast_to(middle, length.shape)[self.column][:, None]
        force, moment = (np.bincount(self.column[mine], weights=(stress[row] * weight * dx)[mine].sum(axis=1),
                                     minlength=len(length)) / length for weight in (1.0 + 0 * arm, arm))
        return force, moment

    def strain_on(self, u: np.ndarray, line: int, of: Material, row: int) -> np.ndarray:
        """One row of strain in one material at a grid line, for every station; NaN where that is not there."""
        _, strain, _ = self.corners(u)
        mine = np.array([m is of for m in self.made_of])[:, None] & np.isin(self.mesh.t.T, self.node[line])
        node = self.mesh.t.T[mine]
        count = np.bincount(node, minlength=self.mesh.p.shape[1])
        total = np.bincount(node, weights=strain[row][mine], minlength=len(count))
        at = self.node[line]
        there = (at >= 0) & (count[at] > 0)
        return np.where(there, total[at] / np.where(there, count[at], 1), np.nan)

    def _evaluate(self, u, quadrature):
        basis = self.basis if quadrature is None else Basis(self.mesh, self.basis.elem, quadrature=quadrature)
        where = np.asarray(basis.global_coordinates())
        strain = np.array([np.asarray(e) for e in self._strain(basis.interpolate(u), where[0])])
        return where, strain, np.einsum("kqtn,qtm->ktm", self.C, strain), basis.dx


def stations(*stretches: tuple[float, float], start: float = 0.0) -> np.ndarray:
    """Stations from `start`: (end, greatest step) of one stretch after the other, even within each."""
    out = [np.array([start])]
    for end, step in stretches:
        if end - out[-1][-1] > 1e-9:
            count = max(1, math.ceil((end - out[-1][-1]) / step - 1e-9))
            out.append(np.linspace(out[-1][-1], end, count + 1)[1:])
    return np.concatenate(out)


def rows(*radii: np.ndarray | float, count: Sequence[int]) -> np.ndarray:
    """Grid lines from radii of layer edges (each a number or one for every station), `count` bands in each layer."""
    edges = np.broadcast_arrays(*map(np.atleast_1d, radii))
    out = [edges[0]]
    for (a, b), n in zip(pairwise(edges), count, strict=True):
        out += [a + (b - a) * k / n for k in range(1, n + 1)]
    return np.array(out, dtype=float)


# -- layers right round, long: generalised plane strain ---------------------------------------------------------------
@dataclass(frozen=True)
class Band:
    """One layer, radii in mm; `later`: laid when the pressure before was already on."""

    name: str
    inner: float
    outer: float
    material: Material
    later: bool = False


@dataclass(frozen=True)
class Edge:
    """What stands at one edge of a layer, as in wrapcalc.searches.cylinders."""

    radius: float
    strain_hoop: float
    strain_axial: float
    stress_radial: float
    stress_hoop: float
    stress_axial: float


def edges(bands: Sequence[Band], pressure: float, force: float | None, *, fine: int = 4) -> dict[tuple[str, str], Edge]:
    """Edges (name, "inner" or "outer") of a slice of a long cylinder whose ends stay plane.

    pressure: on the bore, MPa; force: axial, of the whole ring, N; None where the ends are held; fine: rows of elements
    in each layer.
    """
    long = 4 * max(b.outer - b.inner for b in bands)
    z = np.linspace(0.0, long, 5)
    model = Model(z, rows(bands[0].inner, *(b.outer for b in bands), count=[fine] * len(bands)) + 0 * z,
                  lambda j, i: bands[j // fine].material)
    near, far = model.at(0.0, 1), model.at(long, 1)
    held, moved = np.concatenate((near, far)), np.concatenate((0.0 * near, 0.0 * far + long))
    load = model.inside(pressure)
    u, stretched = model.solve(held, (load, 0.0), (0.0 * load, moved))
    if force is not None:
        at_rest, per_strain = (2 * math.pi * (model.K @ x)[far].sum() for x in (u, stretched))
        u = u + (force - at_rest) / per_strain * stretched
    where, strain, stress = model.corners(u)
    out = {}
    for k, b in enumerate(bands):
        for side, r in (("inner", b.inner), ("outer", b.outer)):
            here = (np.abs(where[0] - r) < 1e-9) & (model.band // fine == k)[:, None]
            mean = [float(x[here].mean()) for x in (strain[HH], strain[AA], stress[RR], stress[HH], stress[AA])]
            out[b.name, side] = Edge(r, *mean)
    return out


def end_thrust(pressure: float = PRESSURE, bore: float = BORE) -> float:
    """Force of closed ends, N."""
    return pressure * math.pi * bore ** 2


# -- a loss of limited length under a wrap of limited length ----------------------------------------------------------
@dataclass(frozen=True)
class Groove:
    """External loss right round the pipe over a limited length, mm, and the wrap over it.

    ramp: length of each end of the loss, half a cosine wave, part of `length`; 0 for square ends. cover: full
    thickness beyond the loss on each side; slope: of the tapered ends, length over height. thickness 0: no wrap.
    """

    length: float
    cover: float
    thickness: float = 10.0
    ramp: float = 0.0
    remaining: float = REMAINING
    slope: float = 5.0


@dataclass(frozen=True)
class Along:
    """What stands along a pipe, from the middle of the loss outwards.

    z: stations, mm; mid: middles of the columns between them, mm. At the stations: wrap_strain, hoop, where the wrap
    begins. In the columns: steel_hoop and steel_axial, mean of the wall, MPa; steel_bending, axial, at the outside,
    MPa; wrap_axial, force of the wrap, N per mm of circumference.
    """

    z: np.ndarray
    mid: np.ndarray
    wrap_strain: np.ndarray
    steel_hoop: np.ndarray
    steel_axial: np.ndarray
    steel_bending: np.ndarray
    wrap_axial: np.ndarray


def _depth(s: np.ndarray, half: float, ramp: float, loss: float) -> np.ndarray:
    """Depth of the lower grid line of a loss: a square end is made by material, a ramp by the line."""
    if not ramp:
        return np.full_like(s, loss)
    return loss / 2 * (1 + np.cos(math.pi * np.clip((s - half + ramp) / ramp, 0, 1)))


def _wall(mid: np.ndarray, half: float, depth: np.ndarray) -> np.ndarray:
    return np.where(mid < half, WALL - (depth[1:] + depth[:-1]) / 2, WALL)


def along(g: Groove, pressure: float = PRESSURE, force: float = 0.0, *, step: float = 2.0) -> Along:
    """A groove by axisymmetric elements; half of the pipe, `force` on its far end, N."""
    R, half = DIAMETER / 2, g.length / 2
    full = half + g.cover
    end = full + g.slope * g.thickness
    z = stations((half - g.ramp, step), (half, step), (full, step), (end, step), (end + RULE, step),
                 (end + 4 * RULE, 10.0))
    depth = _depth(z, half, g.ramp, WALL - g.remaining)
    height = np.clip(g.thickness - np.maximum(z - full, 0) / g.slope, 0, None)
    rows_of = [3, 3, 4 if g.thickness < 20 else 6]
    mid = (z[1:] + z[:-1]) / 2

    def material(j: int, i: int) -> Material | None:
        if j < rows_of[0]:
            return STEEL
        if j < rows_of[0] + rows_of[1]:
            return STEEL if mid[i] > half else FILLER if g.thickness else None
        return WRAP

    model = Model(z, rows(BORE + 0 * z, R - depth, R + 0 * z, R + height, count=rows_of), material)
    near, far = model.at(0.0, 1), model.at(z[-1], 1)
    held = np.concatenate((near, far))
    load = model.inside(pressure)
    u, pulled = model.solve(held, (load, 0.0), (0.0 * load, np.concatenate((0.0 * near, 0.0 * far + 1.0))))
    at_rest, per_mm = (2 * math.pi * (model.K @ x)[far].sum() for x in (u, pulled))
    u = u + (force - at_rest) / per_mm * pulled
    wall = _wall(mid, half, depth)
    hoop, _ = model.through(u, STEEL, HH, 0.0)
    axial, moment = model.through(u, STEEL, AA, BORE + wall / 2)
    wrap, _ = model.through(u, WRAP, AA, 0.0)
    return Along(z, mid, model.strain_on(u, sum(rows_of[:2]), WRAP, HH), hoop / wall, axial / wall,
                 6 * moment / wall ** 2, wrap)


# -- a loss of limited width ------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Around:
    """What stands around a ring with a filled pocket, from its middle, as in Along; angle in degrees.

    steel_hoop: mean of the wall; steel_bending: hoop, at the outside; wrap_strain: hoop, where the wrap begins;
    wrap_mean: hoop stress of the wrap, mean of its thickness, MPa.
    """

    angle: np.ndarray
    mid: np.ndarray
    wrap_strain: np.ndarray
    steel_hoop: np.ndarray
    steel_bending: np.ndarray
    wrap_mean: np.ndarray


def around(width: float, thickness: float = 10.0, pressure: float = PRESSURE, *, ramp: float = 0.0,
           remaining: float = REMAINING, step: float = 0.5) -> Around:
    """A pocket of one width, mm on the outside, as a cross-section of a long pipe held along its axis.

    step: degrees; ramp: as in Groove. A width of the whole circumference is the full ring. thickness 0: no wrap and no
    filler.
    """
    R = DIAMETER / 2
    half, fine = min(width / 2 / R, math.pi), math.radians(step)
    s = stations((half - ramp / R, fine), (half, fine), (min(math.pi, half + 1.0), fine), (math.pi, 0.05))
    depth = _depth(s, half, ramp / R, WALL - remaining)
    mid = (s[1:] + s[:-1]) / 2
    rows_of = [3, 3, 4 if thickness < 20 else 6]

    def material(j: int, i: int) -> Material | None:
        if j < rows_of[0]:
            return STEEL
        if j < rows_of[0] + rows_of[1]:
            return STEEL if mid[i] > half else FILLER if thickness else None
        return WRAP

    model = Model(s, rows(BORE + 0 * s, R - depth, R, R + thickness, count=rows_of), material, around=True)
    held = np.concatenate((model.at(0.0, 1), model.at(math.pi, 1), [model.corner(0, len(s) - 1, 0)]))
    load = model.inside(pressure)
    u, = model.solve(held, (load, 0.0))
    wall = _wall(mid, half, depth)
    force, moment = model.through(u, STEEL, HH, BORE + wall / 2)
    wrap, _ = model.through(u, WRAP, HH, 0.0)
    return Around(np.degrees(s), np.degrees(mid), model.strain_on(u, sum(rows_of[:2]), WRAP, HH), force / wall,
                  6 * moment / wall ** 2, wrap / thickness if thickness else 0 * wrap)
