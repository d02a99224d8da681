"""From the distance in the log of a run (odometer) to the surveyed distance along the line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.formulas.excavation import surveyed_distance

#: An odometer that slips more than this share between two points was not read between these two points.
MOST_STRETCH = 0.02


@dataclass(frozen=True)
class Odometer:
    """Reference points, log rising; mm. Without points the log is taken as surveyed."""

    log: np.ndarray
    surveyed: np.ndarray

    def __call__(self, log: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Surveyed distances (mm), and which lie outside the outermost points: there the slope of the nearest interval
        goes on, which is told. NaN stays NaN.

        The formula of the dig sheet, in its unit. The points are met exactly and the order of places is kept, whatever
        the last digits do.
        """
        log = np.asarray(log, float)
        if len(self.log) == 0:
            return log.copy(), np.zeros(len(log), bool)
        k = np.clip(np.searchsorted(self.log, log, side="right") - 1, 0, len(self.log) - 2)
        first, second, start, end = self.log[k], self.log[k + 1], self.surveyed[k], self.surveyed[k + 1]
        at = 1000 * surveyed_distance.array(O=log / 1000, O_1=first / 1000, O_2=second / 1000, S_1=start / 1000,
                                            S_2=end / 1000)
        ahead = np.sign(self.surveyed[-1] - self.surveyed[0])
        before, beyond = log < self.log[0], log > self.log[-1]
        low = np.where(before, -np.inf, ahead * np.where(beyond, end, start))
        high = np.where(beyond, np.inf, ahead * np.where(before, start, end))
        at = ahead * np.clip(ahead * at, low, high)
        return np.where(log == first, start, np.where(log == second, end, at)), before | beyond

    def around(self, log: float) -> tuple[tuple[float, float], tuple[float, float]] | None:
        """The two points (log, surveyed; mm) between which a distance lies; None where it lies between none."""
        if len(self.log) == 0 or not self.log[0] <= log <= self.log[-1]:
            return None
        k = int(np.clip(np.searchsorted(self.log, log, side="right") - 1, 0, len(self.log) - 2))
        return ((float(self.log[k]), float(self.surveyed[k])), (float(self.log[k + 1]), float(self.surveyed[k + 1])))


def odometer(points: Sequence[tuple[float, float]], file: str, *, backwards: bool) -> Odometer:
    """The odometer of reference points (log, surveyed), mm, in any order. backwards: the log counts against the flow.

    Raises CaseFaults for a single point, for two points at one place, for surveyed distances that do not rise (fall,
    where the log runs backwards), for a stretch of more than 2 %, and for a log that runs backwards without points.
    """
    order = sorted(range(len(points)), key=lambda i: points[i])
    log, surveyed = (np.array([points[i][k] for i in order], float) for k in (0, 1))
    faults = []
    if len(points) == 1 or (backwards and not points):
        faults.append(Fault(file, "reference_point", "one reference point" if points else "none, and a log that counts "
                            "against the flow", "two at least: between them the log is rescaled, and turned where it "
                            "runs backwards", "add another, such as the valve at the other end"))
    for k in range(1, len(log)):
        run, rise = log[k] - log[k - 1], (surveyed[k] - surveyed[k - 1]) * (-1 if backwards else 1)
        field = f"reference_point.{order[k]}.survey"
        if run <= 0 or rise <= 0:
            faults.append(Fault(file, field, f"log {log[k] / 1000:.10g} m is surveyed {surveyed[k] / 1000:.10g} m "
                                f"after log {log[k - 1] / 1000:.10g} m, surveyed {surveyed[k - 1] / 1000:.10g} m",
                                f"surveyed distances that {'fall' if backwards else 'rise'} with the log",
                                "check both points, and line.reversed"))
        elif abs(rise / run - 1) > MOST_STRETCH:
            faults.append(Fault(file, field, f"{run / 1000:.10g} m in the log for {rise / 1000:.10g} m surveyed, from "
                                f"log {log[k - 1] / 1000:.10g} m to {log[k] / 1000:.10g} m",
                                f"at most {100 * MOST_STRETCH:g} % apart",
                                "check whether both are the same two points"))
    if faults:
        raise CaseFaults(faults)
    return Odometer(log, surveyed)
