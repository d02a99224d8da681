"""Round a design that holds: how far each input may go, what moves the count, what tolerances do, a box that holds.

A design is asked through one function of named inputs: numbers or arrays in, an array out. Its use is the share of the
wrap that is spent; at most 1 holds, and infinite means that some gate stops it. Nothing is said between two points that
were looked at but what a bracket between them says: a use that rises above 1 and falls back between two points of the
scan is not seen, so the scans are dense and their number of points is told.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from wrapcalc.errors import CalculationError

Asked = Callable[[Mapping[str, float | np.ndarray]], np.ndarray]
#: Use up to which a design holds: rounding of one part in 10⁹ spends nothing.
FULL = 1 + 1e-9
#: A bracket is cut in so many parts at once, at most so often: an array costs little more than a number.
_PARTS, _ROUNDS = 16, 40
#: Values of each input that are tried between the design and the far edge of the box, and random points besides.
_BETWEEN, _RANDOM = 3, 60
#: Halvings of the common share of the margins of a box.
_SHARES = 11
#: Draws that are worked at once: memory does not grow with their number.
_BLOCK = 20_000


@dataclass(frozen=True)
class Edge:
    """How far one input may go. value: the last that is known to hold; failing: the first known not to, None for none.

    base: of the design; use_at_value: use there; steps: cuts of the bracket; words: how it ended, for the page.
    """

    name: str
    base: float
    value: float
    failing: float | None
    use_at_value: float
    steps: int
    words: str


@dataclass(frozen=True)
class Shift:
    """The value of one input at which the count has changed, with the counts on both sides."""

    to: float
    count_before: float
    count_after: float


@dataclass(frozen=True)
class Swing:
    """What is required at both ends of the tolerance of one input."""

    name: str
    at_low: float
    at_high: float
    low: float
    high: float

    @property
    def width(self) -> float:
        """Difference of both, infinite where nothing holds at one end."""
        return abs(self.high - self.low) if math.isfinite(self.low) and math.isfinite(self.high) else math.inf


@dataclass(frozen=True)
class Sampled:
    """Share of draws whose use is above 1, its 95 % interval (Wilson), quantiles of the use."""

    above: float
    interval: tuple[float, float]
    quantiles: dict[float, float]
    samples: int
    seed: int


@dataclass(frozen=True)
class Box:
    """Edges that hold all at once. fraction: common share of the single margins; use: at the worst point looked at."""

    edges: dict[str, float]
    fraction: float
    use: float
    worst: dict[str, float]


def _closed(ask: Asked, name: str, same: float, other: float, agrees: Callable[[np.ndarray], np.ndarray],
            tolerance: float) -> tuple[float, float, float | None, float | None, int]:
    """A bracket closed round the first place where `agrees` is no longer so, seen from `same`.

    (last that agrees, first that does not, what was asked at either, None where it was not asked again, cuts).
    """
    at_same = at_other = None
    for cuts in range(_ROUNDS):
        if abs(other - same) <= tolerance:
            return same, other, at_same, at_other, cuts
        inner = np.linspace(same, other, _PARTS + 1)[1:-1]
        inner = inner[(inner != same) & (inner != other)]
        if not inner.size:
            return same, other, at_same, at_other, cuts
        found = np.asarray(ask({name: inner}), float)
        wrong = np.flatnonzero(~agrees(found))
        first = int(wrong[0]) if wrong.size else inner.size
        if first < inner.size:
            other, at_other = float(inner[first]), float(found[first])
        if first > 0:
            same, at_same = float(inner[first - 1]), float(found[first - 1])
    return same, other, at_same, at_other, _ROUNDS


def farthest_holding(use: Asked, base: Mapping[str, float], name: str, toward: float, *, tolerance: float, points: int
                     ) -> Edge:
    """How far one input may go from the design towards a value while the use stays at most 1.

    The way is scanned at so many points; the first that fails and the one before it are a bracket, which is closed down
    to the tolerance (in the unit of the input). The side that holds is given. Raises CalculationError where the design
    itself does not hold, or for a way that is none.
    """
    start = base[name]
    if not (math.isfinite(start) and math.isfinite(toward) and start != toward and tolerance > 0 and points >= 2):
        raise CalculationError(f"{name}: there is no way from {start!r} to {toward!r} with the tolerance {tolerance!r}")
    way = np.linspace(start, toward, points)
    found = np.asarray(use({name: way}), float)
    if np.any(np.isnan(found)):
        raise CalculationError(f"{name}: the use of the wrap is no number between {start!r} and {toward!r}")
    if not found[0] <= FULL:
        raise CalculationError(f"{name}: the design itself does not hold at {start!r}, its use is {found[0]!r}")
    failing = np.flatnonzero(~(found <= FULL))
    if not failing.size:
        return Edge(name, start, toward, None, float(found[-1]), 0, "holds as far as it may be looked at")
    first = int(failing[0])
    holds, fails, at, _, cuts = _closed(use, name, float(way[first - 1]), float(way[first]), lambda u: u <= FULL,
                                        tolerance)
    return Edge(name, start, holds, fails, float(found[first - 1]) if at is None else at, cuts,
                f"a bracket closed in {cuts} rounds; its side that holds is taken")


def change_of_count(count: Asked, base: Mapping[str, float], name: str, low: float, high: float, *, points: int
                    ) -> tuple[Shift | None, Shift | None]:
    """The nearest change of the count below and above the design, None where there is none up to low or high.

    Scanned at so many points on either side; the bracket is closed to one part in 10⁸.
    """
    start = base[name]
    now = float(np.asarray(count({name: start})).reshape(-1)[0])
    return _shift(count, name, start, low, now, points), _shift(count, name, start, high, now, points)


def _shift(count: Asked, name: str, start: float, end: float, now: float, points: int) -> Shift | None:
    way = np.linspace(start, end, points)
    found = np.asarray(count({name: way}), float)
    other = np.flatnonzero(found != now)
    if not other.size:
        return None
    first = int(other[0])
    if first == 0:
        raise CalculationError(f"{name}: the count is not the same twice at {start!r}")
    _, changed, _, after, _ = _closed(count, name, float(way[first - 1]), float(way[first]), lambda n: n == now,
                                      1e-8 * max(abs(start), abs(end)))
    return Shift(changed, now, float(found[first]) if after is None else after)


def tornado(required: Asked, base: Mapping[str, float], spreads: Mapping[str, tuple[float, float]]) -> list[Swing]:
    """What is required at the two ends of each input by itself, the greatest swing first."""
    out = []
    for name, (low, high) in spreads.items():
        if name not in base:
            raise CalculationError(f"{name}: no input of the design")
        worked = np.asarray(required({name: np.array([low, high])}), float)
        out.append(Swing(name, low, high, float(worked[0]), float(worked[1])))
    return sorted(out, key=lambda s: -s.width)


def sampled(use: Asked, base: Mapping[str, float], spreads: Mapping[str, tuple[str, float, float]], samples: int,
            seed: int, *, quantiles: tuple[float, ...] = (0.05, 0.5, 0.95, 0.99)) -> Sampled:
    """Use of the wrap for inputs drawn at once, independent of each other.

    spreads: input -> ("normal", half range, share of the draws within it), about the design. The same seed gives the
    same draws. A draw that makes no sense (a length below nothing) counts as one that does not hold, never as one that
    does: the function that is asked must give infinity there.
    """
    from wrapcalc.searches.student import normal_quantile
    rng, parts, done = np.random.default_rng(seed), [], 0
    scale = {}
    for name, (kind, half, share) in spreads.items():
        if kind != "normal" or not 0 < share < 1 or not half > 0:
            raise CalculationError(f"{name}: a spread {kind!r} of {half!r} within which lie {share!r}")
        scale[name] = half / normal_quantile((1 + share) / 2)
    while done < samples:
        size = min(_BLOCK, samples - done)
        drawn = {name: base[name] + s * rng.standard_normal(size) for name, s in scale.items()}
        worked = np.asarray(use(drawn), float)
        if worked.shape != (size,) or np.any(np.isnan(worked)):
            raise CalculationError("simulation of the use of the wrap: a draw gave no number")
        parts.append(worked)
        done += size
    whole = np.concatenate(parts)
    count = int((~(whole <= FULL)).sum())
    with np.errstate(invalid="ignore"):
        at = np.quantile(np.where(np.isfinite(whole), whole, np.inf), quantiles, method="higher")
    return Sampled(count / samples, _wilson(count, samples), {q: float(v) for q, v in zip(quantiles, at, strict=True)},
                   samples, seed)


def _wilson(count: int, samples: int) -> tuple[float, float]:
    """95 % interval of a share (Wilson 1927)."""
    z = 1.959963984540054
    share, n = count / samples, float(samples)
    middle = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    return max(0.0, middle - half), min(1.0, middle + half)


def box_that_holds(use: Asked, base: Mapping[str, float], edges: Mapping[str, float], *, steps: Mapping[str, float],
                   offsets: Mapping[str, float] | None = None) -> Box:
    """The largest box between the design and the single edges that holds at its corners and between.

    One common share of all margins, by bisection; then each edge is rounded to its step towards the design, and in
    finer steps (halves, down to an eighth) where a whole one would leave nothing. offsets: what a reading is more than
    the input; the readings are what is rounded. Looked at are all corners, a grid and random points of a fixed seed.
    Raises CalculationError where the design itself does not hold.
    """
    names = list(edges)

    def worst(at: Mapping[str, float]) -> tuple[float, dict[str, float]]:
        sides = [np.linspace(base[n], at[n], _BETWEEN) for n in names]
        grid = np.array(list(itertools.product(*sides)))
        share = np.random.default_rng(0).random((_RANDOM, len(names)))
        start, end = (np.array([v[n] for n in names]) for v in (base, at))
        points = np.vstack([grid, start + share * (end - start)])
        worked = np.asarray(use({n: points[:, i] for i, n in enumerate(names)}), float)
        worked = np.where(np.isnan(worked), np.inf, worked)
        i = int(np.argmax(worked))
        return float(worked[i]), dict(zip(names, map(float, points[i]), strict=True))

    def at_share(share: float) -> dict[str, float]:
        return {n: base[n] + share * (edges[n] - base[n]) for n in names}

    if not worst(at_share(0.0))[0] <= FULL:
        raise CalculationError("box: the design itself does not hold")
    low, high = 0.0, 1.0
    if worst(at_share(1.0))[0] <= FULL:
        low = 1.0
    else:
        for _ in range(_SHARES):
            middle = (low + high) / 2
            low, high = (middle, high) if worst(at_share(middle))[0] <= FULL else (low, middle)
    more = {n: (offsets or {}).get(n, 0.0) for n in names}
    rounded = {n: base[n] if (on := _toward(base[n] + more[n], v + more[n], steps[n])) == base[n] + more[n]
               else on - more[n] for n, v in at_share(low).items()}
    found, where = worst(rounded)
    if not found <= FULL:  # between the points of the last look: nothing more than the design is promised
        rounded = {n: base[n] for n in names}
        found, where = worst(rounded)
        low = 0.0
    return Box(rounded, low, found, where)


def _toward(base: float, edge: float, step: float) -> float:
    """The edge on a whole step, towards the design; a finer one where there is less room than that, else the design."""
    sign = 1.0 if edge >= base else -1.0
    for part in (1.0, 2.0, 4.0, 8.0):
        fine = step / part
        on = math.floor(edge / fine + 1e-9) * fine if sign > 0 else math.ceil(edge / fine - 1e-9) * fine
        if (on - base) * sign > 0:
            return on
    return base
