"""What is wrong with a row although each of its cells can be read: faults that leave it out of the screening.

The limits are those of the case: a row that passes makes a case, and one that does not would make none.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from wrapcalc.campaign.listing.blocks import RowFault
from wrapcalc.errors import Fault

if TYPE_CHECKING:
    from wrapcalc.campaign.listing.mapping import Mapping

#: Least sizes and greatest length that a case takes, mm.
_LEAST = {"depth": 0.01, "length": 0.1, "width": 0.1}
_LONGEST, _THINNEST = 20_000.0, 0.5
#: Kinds whose depth is taken from the wall. A dent may be deeper than the wall is thick.
_IN_THE_WALL = ("external metal loss", "internal metal loss", "metal loss", "gouge", "crack")
_LEFT = "correct it; the row is not screened until then"


class Checks:
    """Faults of the rows `c` (arrays as the line fills them in), one for each row, the first that is found.

    sound: which rows have none so far.
    """

    def __init__(self, c: dict[str, np.ndarray], mapping: Mapping):
        self.c = c
        self.faults: list[RowFault] = []
        self.sound = np.ones(len(c["row"]), bool)
        self._headings = {n: str(col.column) for n, col in mapping.columns.items()}

    def _tell(self, bad: np.ndarray, field: str, found: Callable[[int], str], allowed: str | Callable[[int], str],
              mend: str) -> None:
        for i in np.flatnonzero(bad & self.sound).tolist():
            may = allowed if isinstance(allowed, str) else allowed(i)
            self.faults.append(RowFault(int(self.c["row"][i]), self._headings.get(field, field), found(i), may, mend))
        self.sound &= ~bad

    def _size(self, field: str) -> Callable[[int], str]:
        return lambda i: f"{self.c[field][i]:.6g} mm"

    def placed(self, segment: np.ndarray) -> None:
        """Rows that lie nowhere, or where no wall is known. segment: of each row, -1 for none."""
        c = self.c
        self._tell(~np.isfinite(c["survey"]), "log_distance", lambda i: "nothing", "a distance in the log",
                   "fill it in: without it the row lies nowhere")
        self._tell(c["log_distance"] < 0, "log_distance", lambda i: f"{c['log_distance'][i] / 1000:.10g} m",
                   "a distance of 0 or more", _LEFT)
        self._tell(segment < 0, "log_distance", lambda i: f"{c['log_distance'][i] / 1000:.10g} m, by survey "
                   f"{c['survey'][i] / 1000:.10g} m", "a place inside a segment of the mapping",
                   "correct the distance, or state the segment in the mapping")
        self._tell(~np.isfinite(c["nominal_wall"]), "nominal_wall", lambda i: "nothing",
                   "a nominal wall of the row, its segment or the base case", "state one of them")

    def walls(self, refused: Sequence[Fault | None], of: np.ndarray) -> None:
        """Rows whose nominal wall the case cannot hold. refused: why, for each group; of: group of each row."""
        bad = np.array([f is not None for f in refused], bool)[of]
        self._tell(bad, "nominal_wall", self._size("nominal_wall"),
                   lambda i: f"a nominal wall that the case can hold: {_words(refused[of[i]])}", "check the wall and "
                   "its unit, and the base case")

    def sizes(self, around: np.ndarray) -> None:
        """Rows whose walls and sizes cannot be. around: circumference, mm."""
        c = self.c
        nominal, measured, depth = c["nominal_wall"], c["measured_wall"], c["depth"]
        self._tell((measured < _THINNEST) | (measured < 0.5 * nominal) | (measured > 1.5 * nominal), "measured_wall",
                   lambda i: f"{measured[i]:.6g} mm beside a nominal wall of {nominal[i]:.6g} mm",
                   f"half to one and a half times the nominal wall, and at least {_THINNEST:g} mm", "check both walls "
                   "and their units")
        self._tell(np.isfinite(c["depth_share"]) & ~np.isfinite(depth) & (c["kind"] != "dent"), "depth",
                   lambda i: f"{100 * c['depth_share'][i]:.6g} % of a measured wall that is not stated",
                   "a depth whose wall is known", "state the measured wall of the row")
        wall = np.minimum(nominal, c["sound_wall"])
        self._tell(np.isin(c["kind"], _IN_THE_WALL) & (depth > wall * (1 + 1e-12)), "depth", self._size("depth"),
                   lambda i: f"at most the wall, {wall[i]:.6g} mm", "check depth, wall and their units; loss through "
                   "the wall is a leak: see to it first")
        for field, least in _LEAST.items():
            self._tell(c[field] < least, field, self._size(field), f"at least {least:g} mm, or a blank cell where it "
                       "is not known", "correct it, or leave it blank")
        self._tell(c["length"] > _LONGEST, "length", self._size("length"), f"at most {_LONGEST / 1000:g} m, the length "
                   "of a joint", "check the length and its unit")
        self._tell(c["width"] > around, "width", self._size("width"), lambda i: f"at most the circumference, "
                   f"{around[i]:.1f} mm", "check the width and its unit")


def _words(f: Fault | None) -> str:
    return "" if f is None else f"{f.field.rpartition(': ')[2]}: {f.allowed}"
