"""Dispositions of a screening and the reasons for them, by code, and which rows state no sizes that can be judged."""

from __future__ import annotations

import math

import numpy as np

from wrapcalc.case import Bundle

#: Words by code. "repair": a wrap would be tried.
DISPOSITIONS = ("no repair needed", "reduce pressure and monitor", "repair", "other repair needed", "insufficient data")

(FIT, FIT_UPSET, LOWERED, LOWERED_UPSET, BELOW, AXIAL, COMPONENT, CRITERION, SOON, TOO_DEEP, RULED_OUT,
 END_OF_LIFE, NO_METHOD, OVER_CODE, THIN, SEAM, NOT_COVERED, NOT_KNOWN_LINE, DEPTH, LENGTH, WIDTH, CLOCK, WALL,
 SHRUNK) = range(1, 25)
_UPSET = "; the declared upset pressure is above the safe pressure: confirm that it may act on this defect"
_FIT = "strength, axial section and repair criteria are met"
_LOWERED = "the lowered MAOP is not above the safe pressure, and no criterion asks for repair at it"
#: What may not be stated: bit by bit.
MISSABLE = ("depth", "length", "width", "clock", "sound wall")
_OF_MISSING = tuple("not stated: " + ", ".join(n for i, n in enumerate(MISSABLE) if bits >> i & 1)
                    for bits in range(1, 2 ** len(MISSABLE)))
#: Reasons by code.
REASONS = (
    "", _FIT, _FIT + _UPSET, _LOWERED, _LOWERED + _UPSET,
    "the governing safe pressure is below the MAOP", "the axial stress of the damaged section is too high",
    "the strength of the damaged component is not assessed", "a repair criterion fires",
    "the next look would be due too soon: the remaining life is too short to wait",
    "the depth with its allowance is above the depth limit: no strength method and no wrap applies",
    "a criterion rules a wrap out", "a criterion rules a wrap out by the end of its life",
    "no form of remaining strength that may govern is inside its scope",
    "the MAOP is above the code design pressure of the sound pipe",
    "the sound wall is too small a share of the nominal wall: general loss, or another pipe than stated",
    "the joint factor is below the least that is covered", "outside what is covered: see the notes of the line",
    "values of the line are not stated: see the notes of the line",
    "the depth is not between 0.01 mm and the wall", "the length is not between 0.1 mm and 20 m",
    "the width is not between 0.1 mm and the circumference", "the clock position is not between 0 and 12 hours",
    "the sound wall contradicts nominal wall, diameter, allowances or the other joint",
    "depth or length is below the earlier measurement that the case states: loss does not grow back",
    *_OF_MISSING)
_FIRST_MISSING = len(REASONS) - len(_OF_MISSING)


class Stated:
    """Bounds of what a row may state, as the case file has them."""

    def __init__(self, bundle: Bundle):
        def base(field: str, otherwise: float) -> float:
            given = bundle.case.get(field)
            return otherwise if given is None else given.base

        nominal, D = base("pipe.nominal_wall", math.nan), base("pipe.outside_diameter", math.nan)
        allowance = base("pipe.wall_allowance", 0.0)
        off = max(allowance, base("assessment.corrosion_allowance", 0.0) + allowance)
        self._nominal, self._around = nominal, math.pi * D
        # The nominal wall itself was checked with the template. The margin is what rounding may take from a ratio.
        self._least = max(0.5, 0.5 * nominal * (1 - 1e-12))
        self._above = off
        self._most = min(100.0, 1.5 * nominal * (1 + 1e-12), base("pipe.other_sound_wall", math.inf))
        self._quarter = D / 4
        #: Sizes that can be judged, for rows whose own cannot be.
        self.stand_in = {"depth": 0.3 * nominal, "length": 50.0, "width": 20.0, "clock": 6.0, "sound_wall": nominal}
        self._shrunk = (base("growth.earlier_depth", 0.0), base("growth.earlier_length", 0.0))

    def codes(self, rows: dict[str, np.ndarray]) -> np.ndarray | None:
        """Why a row cannot be judged, 0 where it can; None when all can."""
        depth, length, width, clock, wall = (rows[n] for n in ("depth", "length", "width", "clock", "sound_wall"))
        wrong = {
            SHRUNK: (depth >= self._shrunk[0]) & (length >= self._shrunk[1]),
            WALL: ((wall >= self._least) & (wall <= self._most) & (wall > self._above) & (wall < self._quarter)),
            CLOCK: (clock >= 0) & (clock <= 12), WIDTH: (width >= 0.1) & (width <= self._around),
            LENGTH: (length >= 0.1) & (length <= 20_000),
            DEPTH: (depth >= 0.01) & (depth <= self._nominal) & (depth <= wall)}
        if all(fine.all() for fine in wrong.values()):
            return None
        out = np.zeros(len(depth), np.uint8)
        for code, fine in wrong.items():
            out[~fine] = code
        bits = np.zeros(len(depth), np.uint8)
        for i, x in enumerate((depth, length, width, clock, wall)):
            bits |= np.isnan(x).astype(np.uint8) << i
        return np.where(bits > 0, bits + np.uint8(_FIRST_MISSING - 1), out).astype(np.uint8)
