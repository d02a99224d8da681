"""Windows of an hourly forecast in which blasting, application and cure fit, on bare arrays.

A row of the forecast holds at its own time. An hour of work lies between two rows, and both have to meet the limits; so
an hour is never judged by its better end. Cure between two rows goes by the slower of their rates.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

HOUR = 3600.0
_NOISE = 1e-9  # of an hour, and of a cure
#: Reasons that are no limit of the work: below zero, beside the places of the limits.
FITS, NO_CURE, GAP, ENDS = -1, -2, -3, -4


@dataclass(frozen=True)
class Window:
    """Starts that fit and follow each other: earliest and latest start, and when the cure of each ends (s, UTC)."""

    earliest: float
    latest: float
    first_cured: float
    last_cured: float

    def holds(self, start: float) -> bool:
        """Whether a start (s, UTC) lies inside."""
        return self.earliest <= start <= self.latest


@dataclass(frozen=True, eq=False)
class Search:
    """What each row is as a start. reason: FITS, the place of the first limit that fails, or NO_CURE, GAP, ENDS;
    at: when that is, and cured: when the cure is complete (s, UTC); each is 0 where it does not apply."""

    reason: np.ndarray
    at: np.ndarray
    cured: np.ndarray
    windows: tuple[Window, ...]


def search(utc: np.ndarray, fails: Sequence[np.ndarray], rate: np.ndarray, work: float) -> Search:
    """Every row as a start.

    utc: times of the rows (s), rising, an hour apart or with gaps. fails: for each limit of the work, in the order in
    which they are named when several fail at once, whether a row fails it. rate: cure per hour at each row, 0 where
    the cure table gives no credit. work: hours from the start of blasting to the end of application.

    From the end of application the rate must stay above 0 until its sum is 1. Raises ValueError for arguments that do
    not agree.
    """
    n = len(utc)
    _agree(utc, fails, rate, work)
    rows = np.arange(n)
    code = np.full(n, FITS)
    for place in reversed(range(len(fails))):
        code[fails[place]] = place
    next_fail = _next(code != FITS, n + 2)
    broken = np.append(np.diff(utc) != HOUR, True)  # the hour after a row is missing, or the forecast ends
    next_break = _next(broken, n + 2)
    whole = int(np.ceil(work - _NOISE))

    # The work: rows start .. start + whole, and the hours between them.
    fails_work = (next_fail <= rows + whole) & (next_fail <= next_break)
    breaks_work = ~fails_work & (next_break < rows + whole)
    # The cure, from some place between two rows on.
    begin = np.minimum(rows + int(np.floor(work + _NOISE)), n - 1)
    share = work - np.floor(work + _NOISE)
    done, stop, cold = _cure(rate, begin, max(share, 0.0), broken, next_break)

    reason = np.where(cold, NO_CURE, FITS)
    at = np.where(cold, utc[np.minimum(stop, n - 1)], 0.0)
    ended = ~cold & ~np.isfinite(done)
    for which, row in ((ended, next_break[begin]), (breaks_work, next_break)):
        last = np.minimum(row, n - 1)
        reason = np.where(which, np.where(last == n - 1, ENDS, GAP), reason)
        at = np.where(which, utc[last], at)
    failing = np.minimum(next_fail, n - 1)
    reason = np.where(fails_work, code[failing], reason)
    at = np.where(fails_work, utc[failing], at)

    lower = np.where(np.isfinite(done), done, 0.0)
    cured = np.where(reason == FITS, utc[0] + HOUR * _elapsed(utc, begin, lower), 0.0)
    return Search(reason, at.astype(float), cured, _merged(utc, reason == FITS, cured))


def _agree(utc: np.ndarray, fails: Sequence[np.ndarray], rate: np.ndarray, work: float) -> None:
    n = len(utc)
    if n < 2 or any(len(f) != n for f in fails) or len(rate) != n:
        raise ValueError("all arrays have the length of the forecast, at least 2")
    if not (np.diff(utc) > 0).all():
        raise ValueError("the times have to rise")
    if not np.isfinite(rate).all() or (rate < 0).any():
        raise ValueError("a rate of cure is a finite number of at least 0")
    if not 0 < work < np.inf:
        raise ValueError("the work takes some time")


def _next(where: np.ndarray, beyond: int) -> np.ndarray:
    """For each place the first place from there on where it holds; `beyond` where there is none."""
    place = np.where(where, np.arange(len(where)), beyond)
    return np.minimum.accumulate(place[::-1])[::-1]


def _cure(rate: np.ndarray, begin: np.ndarray, share: float, broken: np.ndarray, next_break: np.ndarray
          ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(done, stop, cold) for cures that begin `share` of an hour after the rows `begin`.

    done: in rows, infinite where a gap or the end comes first; stop: row at which the rate is 0; cold: whether that
    comes before everything else.
    """
    n = len(rate)
    slower = np.where(broken, 0.0, np.minimum(rate, np.append(rate[1:], 0.0)))  # over the hour after each row
    age = np.concatenate([[0.0], np.cumsum(slower)])[:n]
    wanted = age[begin] + share * slower[begin] + 1.0
    reached = np.searchsorted(age, wanted - _NOISE)
    inside = np.clip(reached, 1, n - 1) - 1
    with np.errstate(divide="ignore", invalid="ignore"):
        done = inside + np.clip((wanted - age[inside]) / slower[inside], 0.0, 1.0)
    done = np.where(reached < n, done, np.inf)
    idle = _next(~broken & (slower == 0), n + 2)[begin]  # the first hour without credit
    ends = next_break[begin]
    cold = (idle < ends) & (idle < done - _NOISE)
    done = np.where((ends < done - _NOISE) | cold, np.inf, done)
    first = np.minimum(idle, n - 2)
    return done, np.where(rate[first] == 0, first, first + 1), cold


def _elapsed(utc: np.ndarray, begin: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Hours from the first row to a place in rows that no gap parts from the row `begin`."""
    return (utc[begin] - utc[0]) / HOUR + (place - begin)


def _merged(utc: np.ndarray, fits: np.ndarray, cured: np.ndarray) -> tuple[Window, ...]:
    """Runs of starts that fit, an hour apart each."""
    rows = np.flatnonzero(fits)
    if not len(rows):
        return ()
    parts = np.split(rows, np.flatnonzero(np.diff(utc[rows]) != HOUR) + 1)
    return tuple(Window(float(utc[p[0]]), float(utc[p[-1]]), float(cured[p[0]]), float(cured[p[-1]]))
                 for p in parts)
