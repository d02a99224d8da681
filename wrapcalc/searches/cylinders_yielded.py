"""Thick cylinder of bonded layers where the steel passes yield: finite elements along the radius.

Von Mises without hardening, the load raised in steps, because what the steel keeps depends on the way there. Reached
through wrapcalc.searches.cylinders.stacked, which refuses bad layers and loads and works what stays elastic.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wrapcalc.searches.cylinder_layers import Layer, Load, Stack, Stage, mises, must_be_small, refuse, stiffness, told

#: The imbalance, as a share of the load, that the elements aim at.
_AIM = 1e-9
#: Elements over all the thickness that may yield; load steps of a stage after first yield; halvings of a step before
#: collapse is called; Newton steps before a load step is halved.
_ELEMENTS, _STEPS, _HALVINGS, _NEWTON = 24, 20, 6, 12
#: Axes of the plane of deviators.
_PLANE = np.array([[1, -1, 0], [1, 1, -2]]) / np.sqrt([[2], [6]])
_DEVIATORIC = np.eye(3) - 1 / 3


@dataclass(frozen=True)
class _Law:
    """Law at a row of points: stiffness (point, 3, 3), shear modulus, radius of the von Mises circle."""

    stiffness: np.ndarray
    shear: np.ndarray
    circle: np.ndarray

    @classmethod
    def of(cls, layers: Sequence[Layer], owner: np.ndarray) -> _Law:
        return cls(np.array([stiffness(layer) for layer in layers])[owner],
                   np.array([_shear(layer) for layer in layers])[owner],
                   np.array([layer.yields for layer in layers])[owner] * math.sqrt(2 / 3))

    def after(self, stress: np.ndarray, rise: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Stress after a rise of strain, its slope over the rise, and the equivalent plastic strain gained.

        Without shear the deviator is a vector in a plane and yield a circle there. Up to the circle it goes straight;
        on it, it turns towards the direction of straining: with psi the angle between, d psi = -sin psi d kappa, so
        tan(psi/2) falls with exp(-kappa), kappa the straining 2 G e over the radius. This is exact for a straight
        rise, where the usual return in one go is not: with that, twenty load steps left errors of some per cent.
        Source: Krieg and Krieg, J. Pressure Vessel Technology 99, 1977 (from memory; derived again).
        """
        rise = (self.stiffness @ rise[:, :, None])[:, :, 0]
        trial = stress + rise
        flat = _PLANE @ trial.T
        over = np.flatnonzero(_dot(flat, flat) > (self.circle * (1 + 1e-13)) ** 2)
        slope, gained = self.stiffness, np.zeros(len(trial))
        if not over.size:
            return trial, slope, gained
        R, twice = self.circle[over], 2 * self.shear[over]
        s, v = _PLANE @ stress[over].T, _PLANE @ rise[over].T
        # share of the rise up to the circle, the deviator there (c), and what is left of the rise
        square = _dot(v, v)
        size, sv, short = np.sqrt(square), _dot(s, v), np.minimum(_dot(s, s) - R ** 2, 0)
        root = np.sqrt(sv ** 2 - square * short)
        alpha = np.where(sv > 0, -short / (np.abs(sv) + root), (root - sv) / square)
        c, ahead, kappa = s + alpha * v, v / size, (1 - alpha) * size / R
        left_c, left_ahead = _left(c), _left(ahead)
        t0 = _dot(left_c, ahead) / (R + _dot(c, ahead))  # tan(psi/2): psi is below a right angle
        t1 = t0 * np.exp(-kappa)
        cos1, sin1 = (1 - t1 ** 2) / (1 + t1 ** 2), 2 * t1 / (1 + t1 ** 2)
        lost = kappa - np.log1p(t0 ** 2) + np.log1p(t1 ** 2)  # -ln(sin psi1 / sin psi0)
        now = ahead * cos1 - left_ahead * sin1
        # what a change of v does to the angle of the deviator
        d_alpha = -alpha / np.maximum(_dot(c, v), 1e-300) * c
        d_start = (alpha * left_c + _dot(left_c, v) * d_alpha) / R ** 2
        d_kappa = ((1 - alpha) * ahead - size * d_alpha) / R
        kept = np.exp(-lost)
        d_angle = (1 - kept) / size * left_ahead + kept * d_start + sin1 * d_kappa
        slope = self.stiffness.copy()
        slope[over] += twice[:, None, None] * (
            ((R * _left(now)).T @ _PLANE)[:, :, None] * (d_angle.T @ _PLANE)[:, None, :] - _DEVIATORIC)
        trial[over] += (R * now - s - v).T @ _PLANE
        gained[over] = math.sqrt(2 / 3) * R / twice * lost
        return trial, slope, gained


def _dot(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return a[0] * b[0] + a[1] * b[1]


def _left(a: np.ndarray) -> np.ndarray:
    """A quarter turn."""
    return np.array([-a[1], a[0]])


def _shear(layer: Layer) -> float:
    return layer.radial / (2 + 2 * layer.hoop_radial)


class _Elements:
    """Quadratic elements along the radius and the state they are in.

    Two points an element: plastic flow keeps its volume, and with more points the elements would lock. Unknowns: the
    displacement of the ends of the elements, then the axial strain; the middle nodes are worked out of each element.
    Only rises of strain are kept, never the whole displacement: in a thin wall its differences would lose the figures
    that equilibrium needs. The state at the faces is followed apart: hoop and axial strain there are those of the nodes
    and the radial stress is the force that the layer passes on, all three more exact than what the nearest points
    would extrapolate to.
    """

    def __init__(self, layers: Sequence[Layer], size: float, held: bool):
        self.layers, self.size, self.held = layers, size, held
        counts = _counts(layers)
        self.owner, self.end = np.repeat(np.arange(len(layers)), counts), np.cumsum(counts)
        edges = np.concatenate([*(np.linspace(layer.inner, layer.outer, n + 1)[:-1]
                                  for layer, n in zip(layers, counts, strict=True)), [layers[-1].outer]])
        n, half, xi = len(edges) - 1, np.diff(edges) / 2, np.array([-1, 1]) / math.sqrt(3)
        self.radius = edges[:-1, None] + half[:, None] * (1 + xi)
        # of an element: inner end, outer end, axial strain, middle
        self.strains = np.zeros((n, 2, 3, 4))
        self.strains[:, :, 0][..., [0, 1, 3]] = np.stack([xi - 0.5, xi + 0.5, -2 * xi], axis=1) / half[:, None, None]
        shape = np.stack([xi * (xi - 1) / 2, xi * (xi + 1) / 2, 1 - xi ** 2], axis=1)
        self.strains[:, :, 1][..., [0, 1, 3]] = shape / self.radius[:, :, None]
        self.strains[:, :, 2, 2] = 1
        self.weight = half[:, None] * self.radius
        self.unknowns = n + 2
        self.places = np.stack([np.arange(n), np.arange(1, n + 1), np.full(n, n + 1)], axis=1)
        self.law = _Law.of(layers, np.repeat(self.owner, 2))
        self.stress, self.run = np.zeros((2 * n, 3)), np.zeros(2 * n)
        # faces: all inner ones, then all outer ones
        self.first = np.concatenate([[0], self.end[:-1]])
        self.face_law = _Law.of(layers, np.tile(np.arange(len(layers)), 2))
        self.face_radius = edges[np.concatenate([self.first, self.end])]
        faces = 2 * len(layers)
        self.face_strain, self.face_stress, self.face_run = np.zeros((faces, 3)), np.zeros((faces, 3)), np.zeros(faces)
        self.residual = 0.0

    def bond(self, bonded: Sequence[bool]) -> None:
        """Give these layers their stiffness; those that had none are free of stress and strain as they lie now."""
        self.alive = np.array(bonded)
        n = len(self.owner)
        self.active = self.alive[self.owner]
        weight = (self.weight * self.active[:, None])[:, :, None, None]
        self.turned = np.ascontiguousarray((self.strains * weight).reshape(n, 6, 4).transpose(0, 2, 1))
        free = np.arange(int(self.end[self.alive][-1]) + 1)
        self.free = free if self.held else np.append(free, self.unknowns - 1)
        self.last, self.face_last = np.zeros((n, 4)), np.zeros(2 * len(self.layers))

    def _strained(self, moved: np.ndarray) -> np.ndarray:
        """Strains at the points of the bonded layers."""
        moved = moved * self.active[:, None]
        return (self.strains @ moved[:, None, :, None])[..., 0].reshape(-1, 3)

    def carries(self, load: Load, ahead: float) -> bool:
        """Find the equilibrium under this load and keep it; False, and nothing kept, where none is found.

        ahead: this step over the last one, for a first guess.
        """
        n, inner = len(self.owner), self.layers[0].inner
        outside = np.zeros(self.unknowns)
        outside[0], outside[-1] = load.pressure * inner, (load.force or 0.0) / (2 * math.pi)
        measure = np.full(self.unknowns, 1 / (self.size * inner))
        measure[-1] = 2 / (self.size * inner ** 2)
        step = ahead * self.last
        rise = self._strained(step)
        for _ in range(_NEWTON):
            stress, slope, gained = self.law.after(self.stress, rise)
            inside = (self.turned @ stress.reshape(n, 6, 1))[..., 0]
            off = np.bincount(self.places.ravel(), inside[:, :3].ravel(), self.unknowns) - outside
            residual = max(float(np.max(np.abs(off * measure)[self.free])),
                           float(np.max(np.abs(inside[:, 3])) * measure[0]))
            if not (residual < 1e9 and np.abs(rise[:, 1:]).max() < 1):
                return False
            if residual < _AIM:
                return self._keep(step, ahead, stress, gained, inside, residual)
            matrix = self.turned @ (slope.reshape(n, 2, 3, 3) @ self.strains).reshape(n, 6, 4)
            middle = np.where(self.active, matrix[:, 3, 3], 1.0)
            across = matrix[:, :3, 3] / middle[:, None]
            off -= np.bincount(self.places.ravel(), (across * inside[:, 3:]).ravel(), self.unknowns)
            more = np.empty((n, 4))
            more[:, :3] = self._solved(matrix[:, :3, :3] - across[:, :, None] * matrix[:, 3:, :3], -off)[self.places]
            more[:, 3] = -(inside[:, 3] + (matrix[:, 3, :3] * more[:, :3]).sum(axis=1)) / middle
            step, rise = step + more, rise + self._strained(more)
        return False

    def _solved(self, ends: np.ndarray, right: np.ndarray) -> np.ndarray:
        """Ends and axial strain: three diagonals and a border, so no more than a sweep out and one back."""
        n = int(self.end[self.alive][-1])
        ends = ends[:n]
        main, border, bottom = np.zeros((3, n + 1))
        main[:-1], border[:-1], bottom[:-1] = ends[:, 0, 0], ends[:, 0, 2], ends[:, 2, 0]
        main[1:] += ends[:, 1, 1]
        border[1:] += ends[:, 1, 2]
        bottom[1:] += ends[:, 2, 1]
        above, below, diagonal = ends[:, 0, 1].tolist(), ends[:, 1, 0].tolist(), main.tolist()
        first, second = right[:n + 1].tolist(), border.tolist()
        for i in range(n):
            share = below[i] / diagonal[i] if diagonal[i] else math.nan
            diagonal[i + 1] -= share * above[i]
            first[i + 1] -= share * first[i]
            second[i + 1] -= share * second[i]
        for i in range(n, -1, -1):
            pivot = diagonal[i] or math.nan
            first[i] = (first[i] - (above[i] * first[i + 1] if i < n else 0.0)) / pivot
            second[i] = (second[i] - (above[i] * second[i + 1] if i < n else 0.0)) / pivot
        out, axial = np.zeros(self.unknowns), 0.0
        if not self.held:
            axial = (right[-1] - bottom @ first) / (ends[:, 2, 2].sum() - bottom @ second)
        out[:n + 1], out[-1] = np.array(first) - axial * np.array(second), axial
        return out

    def _keep(self, step: np.ndarray, ahead: float, stress: np.ndarray, gained: np.ndarray, inside: np.ndarray,
              residual: float) -> bool:
        last = self.end - 1
        passed = np.concatenate([-inside[self.first, 0], inside[last, 1]]) / self.face_radius
        rise = np.zeros_like(self.face_strain)
        rise[:, 1] = np.concatenate([step[self.first, 0], step[last, 1]]) / self.face_radius
        rise[:, 2] = step[0, 2]
        rise *= np.tile(self.alive, 2)[:, None]
        rise[:, 0] = ahead * self.face_last
        for i in range(200):
            face_stress, slope, face_gained = self.face_law.after(self.face_stress, rise)
            gap = passed - face_stress[:, 0]
            if np.max(np.abs(gap)) <= _AIM * self.size:
                break
            # Newton; should it swing, the elastic slope, which is the steepest there is, creeps up from one side.
            rise[:, 0] += gap / (slope if i < 12 else self.face_law.stiffness)[:, 0, 0]
        else:
            return False
        self.last, self.face_last, self.residual = step, rise[:, 0], residual
        self.stress, self.run = stress, self.run + gained
        self.face_strain = self.face_strain + rise
        self.face_stress, self.face_run = face_stress, self.face_run + face_gained
        return True

    def may_collapse(self) -> bool:
        """Whether no bonded layer stays elastic: one that does carries any load, at some strain."""
        return not any(alive and layer.yields == math.inf for alive, layer in zip(self.alive, self.layers, strict=True))

    def yielded(self) -> float:
        """Share of the thickness that has yielded. Between a point that has and one that has not: where the plastic
        strain, over the strain at yield, and what is missing to the yield stress pass through nothing."""
        whole = share = 0.0
        n = len(self.layers)
        for i, layer in enumerate(self.layers):
            if layer.yields == math.inf:
                continue
            mine = np.flatnonzero(np.repeat(self.owner, 2) == i)
            r = np.concatenate([[layer.inner], self.radius.ravel()[mine], [layer.outer]])
            run = np.concatenate([[self.face_run[i]], self.run[mine], [self.face_run[n + i]]])
            stress = np.concatenate([self.face_stress[[i]], self.stress[mine], self.face_stress[[n + i]]])
            missing = np.minimum(mises(stress) / layer.yields - 1, 0)
            past = np.where(run > 0, 3 * _shear(layer) * run / layer.yields, missing)
            a, b = past[:-1], past[1:]
            some = np.where((a > 0) & (b > 0), 1.0, np.where((a > 0) | (b > 0), np.maximum(a, b) / (np.abs(a - b)), 0))
            share += float(some @ np.diff(r))
            whole += layer.outer - layer.inner
        return min(share / whole, 1.0) if whole else 0.0


def _counts(layers: Sequence[Layer]) -> list[int]:
    """Elements of each layer: fine where it may yield, elsewhere by how far the fields bend."""
    whole = sum(layer.outer - layer.inner for layer in layers if layer.yields < math.inf)
    out = []
    for layer in layers:
        C = stiffness(layer)
        bend = math.sqrt(max(C[1, 1] / C[0, 0], 1)) * math.log(layer.outer / layer.inner)
        fine = math.ceil(_ELEMENTS * (layer.outer - layer.inner) / whole) if layer.yields < math.inf else 0
        out.append(max(2, fine, math.ceil(10 * bend)))
    return out


def _first_yield(layers: Sequence[Layer], start: np.ndarray, end: np.ndarray) -> float:
    """Share of the way from stress start to stress end, at the faces, at which the first layer yields; 1: none."""
    first = 1.0
    for i, layer in enumerate(layers):
        for a, b in zip(start[i], end[i], strict=True):
            a, rise = a - a.mean(), b - a - (b - a).mean()
            square, middle, rest = rise @ rise, a @ rise, a @ a - layer.yields ** 2 / 1.5
            if rest >= 0:
                return 0.0
            if layer.yields < math.inf and square > 0:
                first = min(first, (-middle + math.sqrt(middle ** 2 - square * rest)) / square)
    return first


def by_elements(layers: Sequence[Layer], bonding: Load, full: Load, size: float,
                elastic: tuple[np.ndarray, np.ndarray]) -> Stack:
    """The load raised in steps to bonding, then to full.

    size: the greatest load, MPa; elastic: stresses at the faces (layer, face, direction) at bonding and at the end,
    were there no yield. Raises CalculationError beyond small strains and where no equilibrium is found.
    """
    at, n, steps = _Elements(layers, size, full.force is None), len(layers), 0
    nothing = Load(0.0, None if full.force is None else 0.0)
    for low, high, start, end, bonded in (
            (nothing, bonding, np.zeros_like(elastic[0]), elastic[0], [not layer.later for layer in layers]),
            (bonding, full, *elastic, [True] * n)):
        at.bond(bonded)
        if low != high:
            # To first yield in one step: there the way makes no difference. If it yielded before, start is void.
            steps += _raised(at, low, high, 0.0 if at.run.any() or at.face_run.any() else
                             _first_yield(layers, start, end))
    share = at.yielded()
    both = Stage(np.stack([at.face_strain[:n], at.face_strain[n:]], axis=1),
                 np.stack([at.face_stress[:n], at.face_stress[n:]], axis=1), at.residual)
    return told(layers, both, share, f"yielded over {share:.1%} of the thickness that may yield; {steps} load steps, "
                                     f"{len(at.owner)} elements")


def _raised(at: _Elements, low: Load, high: Load, elastic: float) -> int:
    """The load raised from low to high, the share `elastic` of it at once; the number of steps."""
    whole, done, last, steps = 1 / _STEPS, 0.0, 0.0, 0
    step = elastic if elastic > whole / 10 else whole
    while done < 1:
        end = done + step > 1 - 1e-9
        step = 1 - done if end else step
        if at.carries(high.past(low, done + step), step / last if last else 0.0):
            must_be_small(at.face_strain)
            steps += 1
            done, last = (1.0 if end else done + step), step
            step = whole if steps == 1 else min(whole, 2 * step)
            continue
        step = min(step, whole) / 2
        if step < whole / 2 ** _HALVINGS:
            reached = high.past(low, done)
            along = "" if reached.force is None else f" with an axial force of {reached.force:.6g} N"
            refuse(f"no equilibrium found beyond {reached.pressure:.6g} MPa{along}, on the way to {high.pressure:.6g} "
                   f"MPa; {at.yielded():.0%} of the thickness that may yield is plastic there"
                   + (": collapse" if at.may_collapse() else "") + ". Lower the pressure or thicken the layers")
    return steps
