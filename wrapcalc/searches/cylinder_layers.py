"""Layers of a thick cylinder: what a stack of them is and what is told of it; for the elastic and the yielded way.

Directions stand in the order radial, hoop, axial. Units: mm, MPa, N.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NoReturn

import numpy as np

from wrapcalc.errors import CalculationError

#: Small strains: hoop and axial strains above this are refused (a twentieth also shifts every radius by a twentieth).
_SMALL = 0.05


@dataclass(frozen=True)
class Layer:
    """One layer. inner, outer: radii, mm; radial, hoop, axial: moduli, MPa.

    hoop_axial, hoop_radial, axial_radial: Poisson ratios, load in the first direction, contraction in the second.
    yields: von Mises yield stress, MPa, of an isotropic layer that yields without hardening. later: bonded at the
    installation pressure and free of stress then.
    """

    name: str
    inner: float
    outer: float
    radial: float
    hoop: float
    axial: float
    hoop_axial: float
    hoop_radial: float
    axial_radial: float
    yields: float = math.inf
    later: bool = False

    @classmethod
    def isotropic(cls, name: str, inner: float, outer: float, modulus: float, poisson: float, *,
                  yields: float = math.inf, later: bool = False) -> Layer:
        """A layer with one modulus (MPa) and one Poisson ratio."""
        return cls(name, inner, outer, modulus, modulus, modulus, poisson, poisson, poisson, yields, later)


@dataclass(frozen=True)
class Edge:
    """Strains and stresses (MPa) at one face of a layer, radius in mm. Strain of a later layer: since its bonding."""

    radius: float
    strain_hoop: float
    strain_axial: float
    stress_radial: float
    stress_hoop: float
    stress_axial: float


@dataclass(frozen=True)
class Stack:
    """The state at full load. inner, outer: both faces by name of the layer; axial_strain: of the first layer.

    yielded: share of the thickness of the layers with a yield stress that has yielded; residual: the greatest
    imbalance over the pressure (radial equilibrium, axial force); words: how it was worked, for the page.
    """

    inner: dict[str, Edge]
    outer: dict[str, Edge]
    axial_strain: float
    yielded: float
    residual: float
    words: str


@dataclass(frozen=True)
class Load:
    """Pressure (MPa) at the inner radius and axial force (N) on the whole section; no force: axially held."""

    pressure: float
    force: float | None

    def less(self, other: Load) -> Load:
        """The rise from the other load to this one."""
        return Load(self.pressure - other.pressure,
                    None if self.force is None else self.force - (other.force or 0.0))

    def past(self, start: Load, share: float) -> Load:
        """The load at this share of the way from start."""
        rise = self.less(start)
        return Load(start.pressure + share * rise.pressure,
                    None if rise.force is None else (start.force or 0.0) + share * rise.force)

    def size(self, radius: float) -> float:
        """The load as a pressure, MPa: what imbalances are measured by."""
        return max(abs(self.pressure), abs(self.force or 0.0) / (math.pi * radius ** 2))


@dataclass(frozen=True)
class Stage:
    """strain, stress (layer, inner and outer face, direction); residual: imbalance over the full pressure."""

    strain: np.ndarray
    stress: np.ndarray
    residual: float


# -- the law of a layer ----------------------------------------------------------------------------------------------

def compliance(layer: Layer) -> np.ndarray:
    """Strains from stresses, 1/MPa."""
    hoop_radial, hoop_axial = -layer.hoop_radial / layer.hoop, -layer.hoop_axial / layer.hoop
    axial_radial = -layer.axial_radial / layer.axial
    return np.array([[1 / layer.radial, hoop_radial, axial_radial], [hoop_radial, 1 / layer.hoop, hoop_axial],
                     [axial_radial, hoop_axial, 1 / layer.axial]])


def stiffness(layer: Layer) -> np.ndarray:
    """Inverse of the compliance, MPa, its diagonal scaled to 1 first: moduli may lie far apart."""
    S = compliance(layer)
    scale = np.sqrt(np.diag(S))
    return np.linalg.inv(S / np.outer(scale, scale)) / np.outer(scale, scale)


def mises(stress: np.ndarray) -> np.ndarray:
    """Von Mises stress; directions along the last axis."""
    deviator = stress - stress.mean(axis=-1, keepdims=True)
    return np.sqrt(1.5 * (deviator ** 2).sum(axis=-1))


# -- what is refused, and what is told -------------------------------------------------------------------------------

def refuse(what: str) -> NoReturn:
    """Raises CalculationError."""
    raise CalculationError(f"layered cylinder: {what}")


def must_be_small(strain: np.ndarray) -> None:
    """Refuse what is beyond small strains; directions along the last axis."""
    most = float(np.abs(strain[..., 1:]).max())
    if most > _SMALL:
        refuse(f"a hoop or axial strain of {most:.1%} (above {_SMALL:.0%}): beyond small strains nothing is derived; "
               "lower the pressure or thicken the layers")


def told(layers: Sequence[Layer], at: Stage, yielded: float, words: str) -> Stack:
    """The state as a Stack; refused where it is not finite or beyond small strains."""
    if not (np.isfinite(at.strain).all() and np.isfinite(at.stress).all()):
        refuse("the result is not finite; check moduli and thicknesses")
    must_be_small(at.strain)

    def edges(face: int) -> dict[str, Edge]:
        return {layer.name: Edge((layer.inner, layer.outer)[face], *map(float, at.strain[i, face, 1:]),
                                 *map(float, at.stress[i, face])) for i, layer in enumerate(layers)}
    return Stack(edges(0), edges(1), float(at.strain[0, 0, 2]), yielded, at.residual, words)
