"""Strength methods on bare arrays of depth and length: for sizes that a search, a life or a probability asks for.

The formulas are those that the stages record, one by one; `tests/stages/assessment/test_kernels.py` holds both equal.
Units are mm and MPa. Outside the scope of a method its answer is not asked for: the callers keep depths below the
limit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from wrapcalc.case.model import AREA
from wrapcalc.formulas import corroded_pipe_dnv as dnv
from wrapcalc.formulas import pressure
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.searches.sub_lengths import weakest_pressures

#: (depth, length) or (depth, length, wall), mm -> MPa, arrays of shapes that go together; without a wall the case's.
Strength = Callable[..., np.ndarray]
ORIGINAL_1991, ORIGINAL, MODIFIED, SINGLE = "original 1991", "original 2012", "0.85dL", "DNV single"
#: Sizes worked at once by the profile method: bounded memory.
_ROWS = 4096


@dataclass(frozen=True)
class Steel:
    """The pipe as the methods take it: mm, MPa. t: wall, one for all rows or one for each.

    flow: flow stress by method; reference: (wall) -> reference pressure of the 1991 form.
    """

    D: float
    t: float | np.ndarray
    smts: float | None
    flow: dict[str, float]
    reference: Callable[[float | np.ndarray], np.ndarray]


@dataclass(frozen=True)
class River:
    """A river-bottom profile (mm) with the greatest depth and the length that it stands for."""

    x: np.ndarray
    depth: np.ndarray
    greatest: float
    length: float

    def at(self, depth: np.ndarray, length: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The profile as it would be with another greatest depth and length.

        Depth: the difference is added wherever there is loss, not below nothing. Length: stretched about its middle.
        """
        loss = self.depth > 0
        d = np.where(loss, np.maximum(self.depth + (depth - self.greatest)[:, None], 0.0), 0.0)
        return (self.x - self.x[0]) * (length / self.length)[:, None], d


def failure(method: str, steel: Steel, river: River | None = None) -> Strength:
    """Failure pressure (depth, length) -> MPa of one method, arrays of one shape; of the 1991 form, the safe one."""
    return _on_arrays({ORIGINAL_1991: _form_1991, ORIGINAL: _original, MODIFIED: _modified, SINGLE: _single,
                       AREA: _area}[method], steel, river)


def _on_arrays(kernel: Callable, steel: Steel, river: River | None) -> Strength:
    def function(depth, length, wall=None):
        if wall is None:
            d, L = np.broadcast_arrays(np.asarray(depth, float), np.asarray(length, float))
            return kernel(d.ravel(), L.ravel(), steel, river).reshape(d.shape)
        d, L, t = np.broadcast_arrays(*(np.asarray(v, float) for v in (depth, length, wall)))
        return kernel(d.ravel(), L.ravel(), replace(steel, t=t.ravel()), river).reshape(d.shape)
    return function


def _form_1991(d: np.ndarray, L: np.ndarray, steel: Steel, _: River | None) -> np.ndarray:
    reference = steel.reference(steel.t)
    raw = strength.safe_pressure_1991_uncapped.array(
        P=reference, d=d, t=steel.t, A=strength.length_factor_1991.array(L=L, D=steel.D, t=steel.t))
    return np.minimum(raw, reference)


def _z(L: np.ndarray, steel: Steel) -> np.ndarray:
    return strength.length_parameter.array(L=L, D=steel.D, t=steel.t)


def _pressure(stress: np.ndarray, steel: Steel) -> np.ndarray:
    return strength.failure_pressure.array(S_F=stress, t=steel.t, D=steel.D)


def _original(d: np.ndarray, L: np.ndarray, steel: Steel, _: River | None) -> np.ndarray:
    return _pressure(strength.failure_stress_original.array(z=_z(L, steel), S_flow=steel.flow[ORIGINAL], d=d,
                                                            t=steel.t), steel)


def _modified(d: np.ndarray, L: np.ndarray, steel: Steel, _: River | None) -> np.ndarray:
    return _pressure(strength.failure_stress_085dl.array(
        S_flow=steel.flow[MODIFIED], d=d, t=steel.t, M=strength.bulging_factor_085dl.array(z=_z(L, steel))), steel)


def _single(d: np.ndarray, L: np.ndarray, steel: Steel, _: River | None) -> np.ndarray:
    return dnv.failure_pressure_dnv.array(t=steel.t, S_u=steel.smts, D=steel.D, d=d,
                                          Q=dnv.length_correction_factor.array(L=L, D=steel.D, t=steel.t))


def _area(d: np.ndarray, L: np.ndarray, steel: Steel, river: River | None) -> np.ndarray:
    assert river is not None
    out = np.empty_like(d)
    for first in range(0, len(d), _ROWS):
        part = slice(first, first + _ROWS)
        x, depth = river.at(d[part], L[part])
        wall = steel.t[part] if isinstance(steel.t, np.ndarray) else steel.t
        out[part] = weakest_pressures(x, depth, steel.D, wall, steel.flow[AREA])[0]
    return out


def safe(method: str, steel: Steel, safety: float, river: River | None = None) -> Strength:
    """Safe pressure (depth, length) -> MPa of one metal-loss form; the 1991 form is already one."""
    inner = failure(method, steel, river)
    if method == ORIGINAL_1991:
        return inner
    return lambda d, L, t=None: pressure.safe_pressure.array(P_F=inner(d, L, t), SF=safety)


def lowest(functions: list[Strength]) -> Strength:
    """The lowest of several."""
    return lambda d, L, t=None: np.minimum.reduce([f(d, L, t) for f in functions])
