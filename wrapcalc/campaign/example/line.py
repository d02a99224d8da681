"""The invented line behind the example listing: joints, valves, walls, damage, and what an inspection run reads of it.

Everything follows from the number of rows and a seed. The line is made block by block, so that memory does not grow
with it; only the joints (some arrays of one number per 14 rows) are held whole. All of it is invented: no line, no run,
no measurement behind it. Lengths are in mm, clocks in hours.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

D = 406.4  # outside diameter, as of the shipped example cases
#: Rows for each joint, and joints made at once.
ROWS_PER_JOINT, BLOCK = 14, 4096
#: Class location and nominal wall along one section, with the share of the section.
STRETCHES = (("1", 7.92, 0.45), ("2", 8.74, 0.35), ("2", 10.31, 0.05), ("3", 10.31, 0.15))
#: Years between the first run and the second.
YEARS = 6.0
#: What the run reads of a depth, as shares of the wall: it reads too little on the whole, and scatters.
BIAS, SCATTER = -0.02, 0.05
WELD, VALVE, BEND, MARKER, CASING, DENT, GOUGE, REPAIR, EXTERNAL, INTERNAL = range(10)
#: Words of the listing for each kind, and ours.
KINDS = (("GW", "girth weld"), ("Valve", "valve"), ("Bend", "bend"), ("AGM", "marker"), ("Casing end", "other"),
         ("Dent", "dent"), ("Gouge", "gouge"), ("Repair", "repair"), ("Metal loss ext", "external metal loss"),
         ("Metal loss int", "internal metal loss"))
#: Rows for each joint of the rare kinds.
_RARE = ((BEND, 0.04), (MARKER, 0.01), (CASING, 0.004), (DENT, 0.01), (GOUGE, 0.002))


@dataclass(frozen=True)
class Stretch:
    """A segment of the line: joints first to last (not included), its class, wall (mm) and section in words."""

    first: int
    last: int
    class_location: str
    wall: float
    section: str


@dataclass(frozen=True)
class Features:
    """Rows of one block along the line; `joint` counts from 0, `at` is the upstream edge from the start of the line.

    depth: true depth as a share of the nominal wall, NaN where there is none; weld_cut: the listing cuts it at a weld.
    """

    kind: np.ndarray
    joint: np.ndarray
    at: np.ndarray
    clock: np.ndarray
    depth: np.ndarray
    length: np.ndarray
    width: np.ndarray
    weld_cut: np.ndarray

    def taken(self, at: np.ndarray) -> Features:
        """Some of the rows, by index."""
        return Features(*(getattr(self, f)[at] for f in self.__dataclass_fields__))


class Line:
    """An invented line that gives so many rows. Same rows and seed: same line, for every run over it."""

    def __init__(self, rows: int, seed: int):
        self.rows, self.seed = rows, seed
        self.joints = max(2, rows // ROWS_PER_JOINT)
        rng = np.random.default_rng([seed, 0])
        self.length = np.round(rng.uniform(11000, 12500, self.joints))
        self.start = np.concatenate([[0.0], np.cumsum(self.length)[:-1]])
        self.total = float(self.length.sum())
        self.seam = rng.integers(0, 144, self.joints) / 12
        self.sections = int(np.clip(self.joints // 1200, 2 if self.joints >= 16 else 1, 24))
        self.stretches = self._stretches()
        self.wall = np.concatenate([np.full(s.last - s.first, s.wall) for s in self.stretches])

    def _stretches(self) -> list[Stretch]:
        out: list[Stretch] = []
        bounds = np.linspace(0, self.joints, self.sections + 1).astype(int)
        share = np.cumsum([0.0, *(s for *_, s in STRETCHES)])
        for k, (a, b) in enumerate(pairwise(bounds)):
            edges = a + np.round(share * (b - a)).astype(int)
            out += [Stretch(int(p), int(q), c, w, f"Harrow Bight, valve {k + 1} to valve {k + 2}")
                    for (c, w, _), p, q in ((s, *e) for s, e in zip(STRETCHES, pairwise(edges), strict=True)) if q > p]
        return out

    @cached_property
    def valves(self) -> np.ndarray:
        """Joints in which a valve stands, half a metre from their upstream weld; the last is the receiver's."""
        return np.unique(np.append(np.linspace(0, self.joints, self.sections + 1).astype(int)[:-1], self.joints - 1))

    def valve_at(self, joint: np.ndarray) -> np.ndarray:
        """Surveyed distance of the valves, mm."""
        return self.start[joint] + 500.0

    def odometer(self, run: int) -> tuple[np.ndarray, np.ndarray]:
        """(survey, log) of knots between which the odometer of a run is linear, mm.

        The valves are knots; between them the wheel slips by some decimetres, differently in each run.
        """
        rng = np.random.default_rng([self.seed, 1, run])
        at = self.valve_at(self.valves)
        drift = rng.uniform(0.001, 0.004, len(at)) if run == 1 else rng.uniform(-0.003, -0.001, len(at))
        begins = 3000.0 if run == 1 else 14_200.0
        valve_log = begins + at[0] + np.concatenate([[0.0], np.cumsum(np.diff(at) * (1 + drift[1:]))])
        extra = self.start[25::50]
        extra = extra[(np.abs(extra[:, None] - at).min(axis=1) > 200_000)] if len(extra) else extra
        slip = rng.normal(0, 150, len(extra)).clip(-400, 400)
        knots = np.concatenate([at, extra])
        log = np.concatenate([valve_log, np.interp(extra, at, valve_log) + slip])
        order = np.argsort(knots)
        return knots[order], log[order]

    def blocks(self) -> list[tuple[int, int, int]]:
        """(first joint, last joint, rows) of each block; the rows add up."""
        cuts = [*range(0, self.joints, BLOCK), self.joints]
        if len(cuts) > 2 and cuts[-1] - cuts[-2] < BLOCK // 2:
            del cuts[-2]
        before = [self.rows * c // self.joints for c in cuts]
        return [(a, b, n - m) for (a, b), (m, n) in zip(pairwise(cuts), pairwise(before), strict=True)]

    def features(self, first: int, last: int, rows: int) -> Features:
        """What is on the joints first to last at the time of the first run, sorted along the line."""
        rng = np.random.default_rng([self.seed, 2, first])
        joints = np.arange(first, last)
        valves = self.valves[(self.valves >= first) & (self.valves < last)]
        parts = [self._plain(WELD, joints, self.start[joints]), self._plain(VALVE, valves, self.valve_at(valves))]
        room = rows - len(joints) - len(valves)
        for kind, share in _RARE:
            count = min(round(share * len(joints)), max(room // 8, 0))
            room -= count
            at = rng.integers(first, last, count)
            parts.append(self._rare(rng, kind, at))
        parts.append(self._losses(rng, first, last, max(room, 0)))
        whole = joined(parts)
        # A listing is never longer than asked for; only a line of a few rows has too many welds.
        order = np.argsort(whole.at, kind="stable")[:rows]
        return whole.taken(order)

    def _plain(self, kind: int, joint: np.ndarray, at: np.ndarray) -> Features:
        n, none = len(joint), np.full(len(joint), np.nan)
        return Features(np.full(n, kind, dtype=np.int8), joint, at, none, none, none, none, np.zeros(n, bool))

    def _rare(self, rng: np.random.Generator, kind: int, joint: np.ndarray) -> Features:
        n = len(joint)
        at = self.start[joint] + rng.uniform(0.15, 0.85, n) * self.length[joint]
        plain = self._plain(kind, joint, at)
        if kind not in (DENT, GOUGE):
            return plain
        depth = rng.uniform(0.05, 0.18, n) if kind == GOUGE else plain.depth
        return Features(plain.kind, joint, at, rng.uniform(0, 12, n), depth, rng.uniform(40, 220, n),
                        rng.uniform(30, 160, n), plain.weld_cut)

    def _losses(self, rng: np.random.Generator, first: int, last: int, n: int) -> Features:
        """Metal loss: bad joints have much of it; a fifth stands in colonies; internal loss lies low."""
        bad = np.exp(rng.normal(0, 0.8, last - first))
        bad[np.isin(np.arange(first, last), self.valves)] = 0.0
        if not bad.any():
            bad[:] = 1.0
        share = np.cumsum(bad / bad.sum())
        joint = first + np.minimum(np.searchsorted(share, rng.random(n)), last - first - 1)
        inside = rng.random(n) < 0.35
        clock = np.where(inside, rng.normal(6, 0.6, n), np.where(rng.random(n) < 0.5, rng.normal(6, 2.0, n),
                                                                 rng.uniform(0, 12, n)))
        x = rng.uniform(0, 1, n)
        depth, length, width = _sizes(rng, n)
        colony = np.flatnonzero(rng.random(n) < 0.2)
        seat = colony[rng.integers(0, max(len(colony) // 5, 1), len(colony))] if len(colony) else colony
        joint[colony], inside[colony] = joint[seat], inside[seat]
        spread = self.length[joint]
        along = x * (spread - length - 60) + 30
        along[colony] = along[seat] + rng.normal(0, 120, len(colony))
        clock[colony] = clock[seat] + rng.normal(0, 0.5, len(colony))
        along = np.clip(along, 30.0, np.maximum(spread - length - 30, 30.0))
        length = np.minimum(length, spread - along - 30)
        cut = np.zeros(n, bool)
        self._cut_at_welds(rng, joint, along, length, clock, depth, cut, inside, last)
        kind = np.where(inside, INTERNAL, EXTERNAL).astype(np.int8)
        return Features(kind, joint, self.start[joint] + along, np.mod(clock, 12), depth, length, width, cut)

    def _cut_at_welds(self, rng: np.random.Generator, joint: np.ndarray, along: np.ndarray, length: np.ndarray,
                      clock: np.ndarray, depth: np.ndarray, cut: np.ndarray, inside: np.ndarray, last: int) -> None:
        """One place in some hundred joints where loss goes over a girth weld; the listing makes two rows of it."""
        ends = np.flatnonzero(joint + 1 < last)
        ends = ends[~np.isin(joint[ends] + 1, self.valves)]
        count = min(len(ends) // 3000 + 1, len(ends) // 2)
        if not count:
            return
        pairs = rng.choice(ends, 2 * count, replace=False)
        left, right = pairs[:count], pairs[count:]
        joint[right] = joint[left] + 1
        along[left] = self.length[joint[left]] - length[left] - 6
        along[right] = 6.0
        for value in (clock, inside):
            value[right] = value[left]
        depth[right] = np.clip(depth[left] * 0.9, 0.05, None)
        cut[pairs] = True


def _sizes(rng: np.random.Generator, n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Depth (share), length and width (mm): most are shallow and short; what is long tends to be deep."""
    common = rng.normal(0, 1, n)
    depth = 0.12 * np.exp(0.42 * (0.45 * common + 0.893 * rng.normal(0, 1, n)))
    length = 26.0 * np.exp(0.62 * (0.6 * common + 0.8 * rng.normal(0, 1, n)))
    width = 24.0 * np.exp(0.55 * (0.5 * common + 0.866 * rng.normal(0, 1, n)))
    grave = rng.random(n) < 0.015  # old holidays in the coating, low points: the ones that are looked for
    depth = np.where(grave, depth * np.exp(rng.normal(0.75, 0.25, n)), depth)
    length = np.where(grave, length * np.exp(rng.normal(1.5, 0.6, n)), length)
    return depth.clip(0.04, 0.82), np.round(length.clip(6, 1500)), np.round(width.clip(6, 600))


def joined(parts: list[Features]) -> Features:
    return Features(*(np.concatenate([getattr(p, f) for p in parts]) for f in Features.__dataclass_fields__))


def read_depth(rng: np.random.Generator, depth: np.ndarray) -> np.ndarray:
    """Depth that the run reports of true depths: whole per cent of the nominal wall, none below 3 %."""
    return np.round((depth + BIAS + rng.normal(0, SCATTER, len(depth))) * 100).clip(3, 95)
