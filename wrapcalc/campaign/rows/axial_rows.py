"""Is the axial stress of the damaged section inside its limit? For arrays of anomalies, with the verdict of the stage.

The stage takes the worst of 2000 widths up to the stated one. Here a bound from above decides most rows, a finer one
the next, and only what is left is worked at every width. The bounds are ours, derived from the formulas of
`net_section`: every part of the stress at its worst in the range of widths; a test holds them above the stress.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wrapcalc.campaign.rows.method_rows import Line, Sizes
from wrapcalc.campaign.rows.rounding import How
from wrapcalc.case import Bundle
from wrapcalc.case.model import INTERNAL_LOSS, METAL_LOSS
from wrapcalc.formulas import net_section as section
from wrapcalc.formulas import pressure
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.assessment.axial import axial_stresses, has_loads
from wrapcalc.stages.wrap.strain import steel
from wrapcalc.standards.documents import PRACTICE

#: Widths of the stage; ranges of the second bound; rows worked at all widths at once.
_WIDTHS, _RANGES, _ROWS = 2000, 25, 64
#: What rounding may add to a bound.
_SPARE = 1e-9


class AxialRows:
    """The axial check of one line for arrays of depth, wall and width."""

    def __init__(self, bundle: Bundle, line: Line):
        case = bundle.case
        self._line, self._loaded = line, has_loads(bundle)
        self._of_kind = tuple(of_kind(bundle, k) for k in (METAL_LOSS, INTERNAL_LOSS))
        self._moment = abs(line.bending)
        self._free = case.service.restraint != "restrained"
        self._warmings: list[float] = []
        if case.service.restraint in ("restrained", "unknown"):
            with recording(Recorder()):
                self._steel = steel(bundle)
            self._nu = bundle.tables.value(PRACTICE.id, "steel_poisson").magnitude
            self._warmings = [section.warming_since_tie_in.core(
                T_d=case.get(n).base, T_i=case.get("service.tie_in_temperature").base)
                for n in ("service.service_temperature", "service.lowest_temperature") if case.get(n) is not None]

    def met(self, s: Sizes, internal: np.ndarray, at: float, how: How) -> np.ndarray:
        """Whether the greatest axial stress at this pressure (MPa) is not above the allowable stress, row by row."""
        limit = self._line.allowable
        out = self._bound(s, s.width / self._line.D, at) <= limit * (1 - _SPARE)
        if out.all():
            return out
        left = np.flatnonzero(~out)
        for first in range(0, len(left), 4096):
            rows = left[first:first + 4096]
            out[rows] = self._closer(_taken(s, rows), internal[rows], at, limit, how)
        return out

    def _closer(self, s: Sizes, internal: np.ndarray, at: float, limit: float, how: How) -> np.ndarray:
        """The same for few rows: by ranges of the width, then at every width."""
        out = self._ranged(s, internal, at) <= limit * (1 - _SPARE)
        # These widths are among those of the stage: what is above the limit there is above it.
        fails = ~out & (self._stresses(s, internal, at, _RANGES) > limit * (1 + _SPARE))
        rows = np.flatnonzero(~out & ~fails)
        if len(rows):
            out[rows] = how.steady(self._stresses(_taken(s, rows), internal[rows], at, _WIDTHS)) <= limit
        return out

    def _stresses(self, s: Sizes, internal: np.ndarray, at: float, widths: int) -> np.ndarray:
        """Greatest stress (MPa) over so many widths."""
        out = np.empty(len(s.depth))
        size = max(1, _ROWS * _WIDTHS // widths)
        for kind, bundle in enumerate(self._of_kind):
            of_kind = np.flatnonzero((internal != 0) == bool(kind))
            for first in range(0, len(of_kind), size):
                rows = of_kind[first:first + size]
                out[rows] = axial_stresses(bundle, s.depth[rows], s.wall[rows], np.full(len(rows), at), widths=widths,
                                           width=s.width[rows])
        return out

    def _greatest_force(self, wall: np.ndarray, at: float) -> float | np.ndarray:
        """Greatest axial force in size (N) over all load cases, with the pressure and without."""
        D, outer = self._line.D, self._line.axial_force
        thrust = pressure.end_thrust.core(D=D, P=at)
        if not self._loaded:
            return thrust
        out: float | np.ndarray = max(abs(thrust + outer), abs(outer)) if self._free else 0.0
        for warm in self._warmings:
            for p in (at, 0.0):
                held = section.restrained_force.array(
                    nu=self._nu, sigma_h=pressure.hoop_stress.array(P=p, D=D, t=wall), Delta_T=warm,
                    E_s=self._steel.modulus.magnitude, alpha_s=self._steel.expansion.magnitude,
                    A_0=section.sound_area.array(D=D, t=wall))
                out = np.maximum(out, np.abs(held + outer))
        return out

    def _bound(self, s: Sizes, theta: np.ndarray, at: float) -> np.ndarray:
        """A stress (MPa) that no width up to D theta brings about; infinite where it finds none.

        sin x <= x and <= 1, x + sin x cos x <= 2 x and <= pi: no trigonometry for rows that pass anyhow.
        """
        D, half = self._line.D, self._line.D / 2
        inner = half - s.depth
        square, area = inner * inner, section.sound_area.array(D=D, t=s.wall)
        net = area - section.lost_area.array(theta=theta, d=s.depth, D=D)
        lost = 2 / 3 * (half ** 3 - inner * square) * np.minimum(theta, 1.0)
        e = lost / net
        bore = D - 2 * s.wall
        bore *= bore
        moment = (np.pi / 64 * (D ** 4 - bore * bore) - (half ** 4 - square * square) / 4
                  * np.minimum(2 * theta, np.pi) - lost * e)
        force = self._greatest_force(s.wall, at)
        stress = force / net + (force * e + self._moment) * (e + half) / moment
        safe = (net > 0) & (moment > 0)
        return stress if safe.all() else np.where(safe, stress, np.inf)

    def _ranged(self, s: Sizes, internal: np.ndarray, at: float) -> np.ndarray:
        """The same with the width cut into ranges, each part of the stress at its worst in each of them."""
        D, half = self._line.D, self._line.D / 2
        d, t = s.depth[:, None], s.wall[:, None]
        edges = (s.width / D)[:, None] * np.linspace(0, 1, _RANGES + 1)
        a, b = edges[:, :-1], edges[:, 1:]
        sines = np.sin(edges)
        top = np.where((a < np.pi / 2) & (b > np.pi / 2), 1.0, np.maximum(sines[:, :-1], sines[:, 1:]))
        net = section.sound_area.array(D=D, t=t) - section.lost_area.array(theta=b, d=d, D=D)
        inner = half - d
        lost = 2 / 3 * (half ** 3 - inner ** 3) * top
        e = lost / net
        moment = (section.sound_second_moment.array(D=D, t=t) - section.lost_second_moment.array(D=D, d=d, theta=b)
                  - lost * e)
        # Before the edge of the loss falls below its bottom the farthest fibre is that edge; it falls with the width.
        fibre = e + np.where((internal != 0)[:, None], half, np.maximum(inner, half * np.cos(a)))
        least = 2 / 3 * (half ** 3 - inner ** 3) * np.minimum(sines[:, :-1], sines[:, 1:]) / (
            section.sound_area.array(D=D, t=t) - section.lost_area.array(theta=a, d=d, D=D))
        far = np.maximum(fibre, half - least)  # the opposite side
        force = self._greatest_force(s.wall, at)
        force = force[:, None] if isinstance(force, np.ndarray) else force
        stress = force / net + (force * e + self._moment) * far / moment
        return np.where((net > 0) & (moment > 0), stress, np.inf).max(axis=1)


def _taken(s: Sizes, rows: np.ndarray) -> Sizes:
    return Sizes(s.wall[rows], s.depth[rows], s.length[rows], s.share[rows], s.width[rows])


def of_kind(bundle: Bundle, kind: str) -> Bundle:
    """The case with another kind of defect."""
    case = bundle.case
    return replace(bundle, case=case.model_copy(update={"defect": case.defect.model_copy(update={"kind": kind})}))
