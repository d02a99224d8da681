"""Thick cylinders of any number of bonded layers under internal pressure, plane stress: the exact second route
for every thin-wall sharing of load in the package. Layers may be stiffer around than through the thickness."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Layer:
    """thickness in mm; hoop and radial modulus in MPa; nu: contraction radially for load around."""

    thickness: float
    hoop: float
    radial: float
    nu: float = 0.3

    @property
    def power(self) -> float:
        """u = A r^k + B r^-k."""
        return math.sqrt(self.hoop / self.radial)

    def stresses(self, u_over_r: float, slope: float) -> tuple[float, float]:
        """(hoop, radial) stress for hoop strain u/r and radial strain du/dr."""
        nu_rt = self.nu * self.radial / self.hoop
        scale = 1 / (1 - self.nu * nu_rt)
        return (scale * (self.hoop * u_over_r + self.nu * self.radial * slope),
                scale * (self.radial * slope + self.nu * self.radial * u_over_r))


@dataclass(frozen=True)
class Result:
    """Per layer: hoop stress and hoop strain at its inner and outer face, and the mean hoop stress."""

    stress: list[tuple[float, float]]
    strain: list[tuple[float, float]]
    mean: list[float]


def pressurised(bore: float, layers: list[Layer], pressure: float) -> Result:
    """Displacement and radial stress are continuous at every face; radial stress is -p inside and 0 outside."""
    faces = [bore / 2]
    for layer in layers:
        faces.append(faces[-1] + layer.thickness)
    scale = faces[0]

    def column(layer: Layer, r: float) -> list[tuple[float, float, float]]:
        """u, hoop and radial stress at r of the two solutions."""
        out = []
        for sign in (1, -1):
            k = sign * layer.power
            u = (r / scale) ** k
            hoop, radial = layer.stresses(u / r, k * u / r)
            out.append((u, hoop, radial))
        return out

    n = len(layers)
    matrix, right = np.zeros((2 * n, 2 * n)), np.zeros(2 * n)
    for j, solution in enumerate(column(layers[0], faces[0])):
        matrix[0, j] = solution[2]
    right[0] = -pressure
    for i in range(n - 1):
        below, above = column(layers[i], faces[i + 1]), column(layers[i + 1], faces[i + 1])
        for j in range(2):
            for row, part in ((2 * i + 1, 0), (2 * i + 2, 2)):
                matrix[row, 2 * i + j] = below[j][part]
                matrix[row, 2 * i + 2 + j] = -above[j][part]
    for j, solution in enumerate(column(layers[-1], faces[-1])):
        matrix[2 * n - 1, 2 * n - 2 + j] = solution[2]
    size = np.abs(matrix).max(axis=1)
    factors = np.linalg.solve(matrix / size[:, None], right / size)
    stress, strain, mean = [], [], []
    for i, layer in enumerate(layers):
        def at(r: float, i: int = i, layer: Layer = layer) -> tuple[float, float]:
            u, hoop = (sum(factors[2 * i + j] * column(layer, r)[j][part] for j in range(2)) for part in (0, 1))
            return hoop, u / r

        ends = [at(faces[i]), at(faces[i + 1])]
        stress.append((ends[0][0], ends[1][0]))
        strain.append((ends[0][1], ends[1][1]))
        nodes, weights = np.polynomial.legendre.leggauss(12)
        middle, half = (faces[i] + faces[i + 1]) / 2, layer.thickness / 2
        mean.append(float(sum(w * at(middle + half * x)[0] for x, w in zip(nodes, weights, strict=True)) / 2))
    return Result(stress, strain, mean)


def lame(bore: float, outside: float, pressure: float, at: float) -> float:
    """Hoop stress of a single isotropic thick cylinder at diameter `at`, after Lamé."""
    return pressure * bore ** 2 / (outside ** 2 - bore ** 2) * (1 + outside ** 2 / at ** 2)
