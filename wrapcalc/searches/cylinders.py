"""Thick cylinder of bonded layers under internal pressure: steel pipe, filler and wrap, with yield of the steel.

Axisymmetric, generalised plane strain: the axial strain is one number over the section, either held at nothing or set
by the axial force. Layers are orthotropic along hoop, axial and radial direction. Small strains.

Elastic, in closed form (Lekhnitskii, Anisotropic Plates, for the powers; from memory, derived again): equilibrium
r sigma_r' + sigma_r - sigma_hoop = 0 with the law of the layer has the displacements r^k and r^-k, k² = C_hh / C_rr,
and one that goes with the axial strain. Layers that are bonded under pressure: their stresses and strains come from
the rise of load after that alone, so two solutions are added. Where the steel passes yield: cylinders_yielded.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from wrapcalc.errors import CalculationError
from wrapcalc.searches.cylinder_layers import Layer, Load, Stack, Stage, compliance, mises, refuse, stiffness, told
from wrapcalc.searches.cylinders_yielded import by_elements

#: Faces of neighbours coincide within this share of the radius.
_TOUCHING = 1e-9
#: Smallest eigenvalue of the compliance, its diagonal scaled to 1, that counts as positive. 1 - 2 nu if isotropic.
_DEFINITE = 1e-8
#: Greatest k ln(outer/inner) of a layer: exp(30), beyond which the far face no longer feels the near one.
_REACH = 30.0
#: An imbalance above this share of the pressure is no equilibrium.
_BALANCED = 1e-6
#: Points of the integrals over a layer; exact to rounding up to the reach above.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)


def stacked(layers: Sequence[Layer], pressure: float, *, force: float | None = None, pressure_before: float = 0.0,
            force_before: float = 0.0) -> Stack:
    """Stresses and strains of bonded layers, from the inside out, under a pressure (MPa) in the first.

    force: axial force on the whole section at full pressure, N (closed ends: pi inner² pressure); None: axially held,
    no axial strain at any time. pressure_before, force_before: the load when the later layers are bonded; where force
    goes with pressure, force_before must be given too. The load rises in proportion from nothing to there and from
    there to the full one; steel that yields does so without hardening and has not yielded before. Raises
    CalculationError for layers that are none, for a load that falls, for hoop or axial strains above 5 %, and where
    no equilibrium is found: collapse.
    """
    layers = tuple(layers)
    with np.errstate(all="ignore"):  # what is not finite is refused
        _must_be_layers(layers)
        _must_be_loads(pressure, force, pressure_before, force_before)
        bonding, full = Load(pressure_before, None if force is None else force_before), Load(pressure, force)
        size = max(bonding.size(layers[0].inner), full.size(layers[0].inner))
        early = [layer for layer in layers if not layer.later]
        before = _closed(early, bonding, size)
        rise = _closed(layers, full.less(bonding), size)
        more = ((0, len(layers) - len(early)), (0, 0), (0, 0))
        start = Stage(np.pad(before.strain, more), np.pad(before.stress, more), before.residual)
        end = Stage(start.strain + rise.strain, start.stress + rise.stress, start.residual + rise.residual)
        limits = np.array([layer.yields for layer in layers])[:, None]
        if not ((mises(start.stress) > limits).any() or (mises(end.stress) > limits).any()):
            return told(layers, end, 0.0, "elastic, closed solution")
        return by_elements(layers, bonding, full, size, (start.stress, end.stress))


# -- what is refused -------------------------------------------------------------------------------------------------

def _finite(value: object) -> bool:
    return (isinstance(value, int | float | np.integer | np.floating) and not isinstance(value, bool)
            and math.isfinite(value))


def _must_be_layers(layers: tuple[Layer, ...]) -> None:
    if not layers:
        refuse("no layers; give at least one, from the inside out")
    if len({layer.name for layer in layers}) < len(layers):
        refuse(f"two layers have the same name, in {[layer.name for layer in layers]}; name each differently")
    for layer in layers:
        at = f"layer '{layer.name}': "
        moduli = {"radial": layer.radial, "hoop": layer.hoop, "axial": layer.axial}
        ratios = {"hoop_axial": layer.hoop_axial, "hoop_radial": layer.hoop_radial, "axial_radial": layer.axial_radial}
        for what, value in {"inner": layer.inner, "outer": layer.outer, **moduli, **ratios}.items():
            if not _finite(value):
                refuse(f"{at}{what} is {value!r}; it must be a finite number")
        if not 0 < layer.inner < layer.outer:
            refuse(f"{at}inner radius {layer.inner!r} mm, outer radius {layer.outer!r} mm; the inner one must be "
                   "above 0 and below the outer one")
        for what, value in moduli.items():
            if value <= 0:
                refuse(f"{at}{what} modulus {value!r} MPa; it must be above 0")
        if not (layer.yields == math.inf or _finite(layer.yields)) or layer.yields <= 0:
            refuse(f"{at}yield stress {layer.yields!r} MPa; it must be above 0 (without one: math.inf)")
        if layer.yields < math.inf and not (len(set(moduli.values())) == len(set(ratios.values())) == 1):
            refuse(f"{at}yield stress {layer.yields!r} MPa on moduli and Poisson ratios that differ by direction; "
                   "only an isotropic layer may yield")
        S = compliance(layer)
        scale = np.sqrt(np.diag(S))
        if not (np.isfinite(S).all() and (scale > 0).all()):
            refuse(f"{at}moduli {moduli} with Poisson ratios {ratios} go beyond the machine's numbers; correct them")
        if not np.linalg.eigvalsh(S / np.outer(scale, scale))[0] > _DEFINITE:
            refuse(f"{at}Poisson ratios {ratios} do not go with the moduli {moduli}: such a material would gain "
                   "work from load (isotropic: between -1 and 0.5); correct them")
        reach = math.sqrt(stiffness(layer)[1, 1] / stiffness(layer)[0, 0]) * math.log(layer.outer / layer.inner)
        if not reach < _REACH:
            refuse(f"{at}too thick or too stiff around for this solution: sqrt(C_hh/C_rr) ln(outer/inner) is "
                   f"{reach:.4g}; it must be below {_REACH:g}")
    for below, above in pairwise(layers):
        if not math.isclose(below.outer, above.inner, rel_tol=_TOUCHING):
            refuse(f"layer '{below.name}' ends at {below.outer!r} mm and layer '{above.name}' begins at "
                   f"{above.inner!r} mm; they must touch")
        if below.later and not above.later:
            refuse(f"layer '{above.name}' lies on '{below.name}', which is bonded later; mark it later as well")
    if layers[0].later:
        refuse(f"layer '{layers[0].name}', the innermost, is marked later; the first layer carries from the start")


def _must_be_loads(pressure: float, force: float | None, pressure_before: float, force_before: float) -> None:
    for what, value in {"pressure": pressure, "pressure_before": pressure_before, "force_before": force_before,
                        "force": 0.0 if force is None else force}.items():
        if not _finite(value):
            refuse(f"{what} is {value!r}; it must be a finite number")
    if not 0 <= pressure_before <= pressure:
        refuse(f"pressure {pressure!r} MPa, {pressure_before!r} MPa at bonding; the one at bonding must be at least "
               "0 and at most the full pressure")
    if force is None and force_before != 0:
        refuse(f"force_before {force_before!r} N without a force: axially held, no force may be given")


# -- elastic, closed -------------------------------------------------------------------------------------------------

def _strains(layer: Layer, C: np.ndarray, x: np.ndarray) -> np.ndarray:
    """Strains at x = ln(r/inner), (point, direction, solution), of three solutions of equilibrium.

    The first and second are r^k and r^-k mixed to cosh and sinh from the middle of the layer: in a thin wall the two
    powers are nearly one, these are a hoop and a radial strain. The third goes with an axial strain of 1 and is
    nothing at the inner face: (C_ha - C_ra)/C_rr (r - r^k)/(1 - k²), written so that it passes smoothly through k = 1.
    """
    k, whole = math.sqrt(C[1, 1] / C[0, 0]), math.log(layer.outer / layer.inner)
    c, off = (C[1, 2] - C[0, 2]) / C[0, 0], x - whole / 2
    scale = np.exp(-off) / np.cosh(k * whole / 2)
    power = (k - 1) * x
    grown = x * np.where(power == 0, 1.0, np.expm1(power) / np.where(power == 0, 1.0, power))
    out = np.zeros((len(x), 3, 3))
    out[:, 0, 0], out[:, 1, 0] = k * np.sinh(k * off) * scale, np.cosh(k * off) * scale
    out[:, 0, 1], out[:, 1, 1] = np.cosh(k * off) * scale, np.sinh(k * off) * scale / k
    out[:, 0, 2], out[:, 1, 2] = c * (grown + np.exp(power)) / (1 + k), c * grown / (1 + k)
    out[:, 2, 2] = 1
    return out


def _closed(layers: Sequence[Layer], load: Load, size: float) -> Stage:
    """One load step, elastic: two factors a layer and the axial strain from one linear system. size: full load, MPa."""
    n = len(layers)
    if load.pressure == 0 and not load.force:
        return Stage(np.zeros((n, 2, 3)), np.zeros((n, 2, 3)), 0.0)
    laws = [stiffness(layer) for layer in layers]
    faces, inside, stresses, around, along = [], [], [], [], []
    for layer, C in zip(layers, laws, strict=True):
        whole = math.log(layer.outer / layer.inner)
        x = whole * (1 + _NODES) / 2
        fields = _strains(layer, C, np.concatenate([[0.0, whole], x]))
        faces.append(fields[:2])
        stresses.append(C @ fields[:2])
        inside.append(C @ fields[2:])
        r = layer.inner * np.exp(x)
        around.append(_WEIGHTS * whole / 2 * r)  # dr = r dx
        along.append(_WEIGHTS * whole * math.pi * r ** 2)
    matrix, right = np.zeros((2 * n + 1, 2 * n + 1)), np.zeros(2 * n + 1)

    def own(i: int) -> list[int]:
        return [2 * i, 2 * i + 1, 2 * n]

    matrix[0, own(0)], right[0] = stresses[0][0, 0], -load.pressure
    for i in range(n - 1):
        for row, side, direction in ((2 * i + 1, faces, 1), (2 * i + 2, stresses, 0)):
            matrix[row, own(i)] += side[i][1, direction]
            matrix[row, own(i + 1)] -= side[i + 1][0, direction]
    matrix[2 * n - 1, own(n - 1)] = stresses[-1][1, 0]
    if load.force is None:
        matrix[2 * n, 2 * n] = 1.0
    else:
        for i in range(n):
            matrix[2 * n, own(i)] += along[i] @ inside[i][:, 2]
        right[2 * n] = load.force
    rows = np.abs(matrix).max(axis=1)
    try:
        factors = np.linalg.solve(matrix / rows[:, None], right / rows)
    except np.linalg.LinAlgError:
        raise CalculationError("layered cylinder: the equations of these layers have no single solution; check the "
                               f"moduli and thicknesses of {[layer.name for layer in layers]}") from None
    mine = factors[[own(i) for i in range(n)]][:, None, :, None]
    strain, stress = (np.array(faces) @ mine)[..., 0], (np.array(stresses) @ mine)[..., 0]
    # Balance by another way than the equations just solved: the half ring, face by face, and the axial force.
    radius = layers[0].inner
    hoop = sum(float(around[i] @ (inside[i][:, 1] @ mine[i, 0, :, 0])) for i in range(n))
    off = [abs(hoop / radius - load.pressure), *np.abs(stress[1:, 0, 0] - stress[:-1, 1, 0])]
    if load.force is not None:
        total = sum(float(along[i] @ (inside[i][:, 2] @ mine[i, 0, :, 0])) for i in range(n))
        off.append(abs(total - load.force) / (math.pi * radius ** 2))
    residual = float(np.max(off)) / size
    if not residual < _BALANCED:
        refuse(f"the closed solution of {[layer.name for layer in layers]} is out of balance by {residual:.1e} of "
               "the load; the moduli or thicknesses lie too far apart for the machine's numbers")
    return Stage(strain, stress, residual)
