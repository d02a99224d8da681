"""Depths of an inspection run against depths measured in the ditch: bias, scatter, share within the tolerance.

What counts is the error of the run, listing less field: below zero the run reads too shallow, which is the side that
hurts people. The confidence interval of a share is exact (Clopper and Pearson), found by halving; Student's
distribution is that of `searches.student`. Lengths are in mm.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from wrapcalc.errors import CalculationError
from wrapcalc.searches.student import student_quantile

#: Where the practice comes from, and how sure we are of it.
CITATION, STATUS = "API 1163, verification of run results by field measurements", "from memory"
#: Fewer pairs than this give no interval that says much: told, and no allowance is made from them.
FEWEST = 5
_MOST = 100_000


@dataclass(frozen=True)
class Pair:
    """One anomaly in the listing and in the ditch, depths in mm; wall: that the tolerance may be a share of, mm."""

    feature_id: str
    listing: float
    field: float
    wall: float

    @property
    def error(self) -> float:
        """Listing less field, mm."""
        return self.listing - self.field


@dataclass(frozen=True)
class Bias:
    """Errors of the run, mm. mean, deviation (n - 1); low, high: two-sided interval of the mean; biased: whether it
    leaves out zero; within: pairs inside the tolerance; share with its two-sided exact interval; claimed: the share
    that the run claims, None when not stated; claim_doubted: the claim lies above the whole interval."""

    pairs: tuple[Pair, ...]
    tolerance: float | None
    confidence: float
    mean: float
    deviation: float
    low: float
    high: float
    biased: bool
    within: int
    share: float
    share_low: float
    share_high: float
    claimed: float | None
    claim_doubted: bool
    told: tuple[str, ...]
    citation: str = CITATION
    status: str = STATUS

    def allowance(self, reason: str = "", *, negative: bool = False) -> float:
        """Allowance on depth (mm) for the bias when the user chooses to carry it: how far the run reads too shallow, at
        the unfavourable end of the interval. A run that reads too deep gives 0, unless the user takes the negative
        one with a reason. Raises CalculationError for too few pairs or a negative one without a reason."""
        if len(self.pairs) < FEWEST:
            raise CalculationError(f"bias of the run: {len(self.pairs)} pairs; at least {FEWEST} are needed for an "
                                   "allowance")
        upper = -self.low
        if upper >= 0:
            return upper
        if not negative:
            return 0.0
        if not reason.strip():
            raise CalculationError("bias of the run: an allowance below 0 mm takes depth off what the run reports; "
                                   "give a reason, or carry 0 mm")
        return upper


def run_bias(pairs: Sequence[Pair], *, tolerance: float | Sequence[float] | None, confidence: float = 0.95,
             claimed: float | None = None) -> Bias:
    """Bias of a run. tolerance: of depth either way, mm, one or one for each pair, None not stated; confidence: of both
    intervals; claimed: share of readings that the run claims inside the tolerance. Raises CalculationError for fewer
    than two pairs and for numbers that are none."""
    pairs = tuple(sorted(pairs, key=lambda p: p.feature_id))
    _refuse(pairs, confidence, claimed)
    limits = [None] * len(pairs) if tolerance is None else (
        [float(tolerance)] * len(pairs) if isinstance(tolerance, (int, float)) else [float(t) for t in tolerance])
    if len(limits) != len(pairs) or any(t is not None and not (0 < t < math.inf) for t in limits):
        raise CalculationError("bias of the run: a tolerance above 0 mm is needed, one or one for each pair")
    errors, n = [p.error for p in pairs], len(pairs)
    mean = math.fsum(errors) / n
    deviation = math.sqrt(math.fsum((e - mean) ** 2 for e in errors) / (n - 1))
    half = student_quantile(1 - (1 - confidence) / 2, n - 1) * deviation / math.sqrt(n)
    low, high = mean - half, mean + half
    within = sum(abs(e) <= t * (1 + 1e-12) for e, t in zip(errors, limits, strict=True) if t is not None)
    share_low, share_high = exact_interval(within, n, confidence) if tolerance is not None else (math.nan, math.nan)
    doubted = claimed is not None and tolerance is not None and share_high < claimed
    share = within / n if tolerance is not None else math.nan
    one = limits[0] if len(set(limits)) == 1 else None
    return Bias(pairs, one, confidence, mean, deviation, low, high, not low <= 0 <= high, within, share, share_low,
                share_high, claimed, doubted, tuple(_told(n, mean, low, high, confidence, doubted, tolerance)))


def _refuse(pairs: tuple[Pair, ...], confidence: float, claimed: float | None) -> None:
    if len(pairs) < 2:
        raise CalculationError(f"bias of the run: {len(pairs)} pairs of listing and field depth; at least 2 are needed")
    if len(pairs) > _MOST:
        raise CalculationError(f"bias of the run: {len(pairs)} pairs; at most {_MOST}")
    for p in pairs:
        if not (0 <= p.listing < math.inf and 0 <= p.field < math.inf and 0 < p.wall < math.inf):
            raise CalculationError(f"bias of the run: {p.feature_id}: depths of 0 mm or more and a wall are needed; "
                                   f"got {p.listing} mm, {p.field} mm, wall {p.wall} mm")
    if len({p.feature_id for p in pairs}) < len(pairs):
        raise CalculationError("bias of the run: a feature stands twice among the pairs")
    if not 0.5 <= confidence < 1 or (claimed is not None and not 0 < claimed <= 1):
        raise CalculationError("bias of the run: confidence from 0.5 to below 1, claimed share above 0 up to 1")


#: What every bias is shown with: the pairs are no random draw.
HOW_CHOSEN = ("The pairs were chosen by listed depth, not at random: what is dug because the run lists it as deep is "
              "more often listed too deep than the rest. A run that reads shallow looks better here than it is, and an "
              "allowance from these pairs may be too small.")


def _told(n: int, mean: float, low: float, high: float, confidence: float, doubted: bool,
          tolerance: object) -> list[str]:
    out = []
    if n < FEWEST:
        out.append(f"Only {n} pairs: the intervals say little, and no allowance is made from them.")
    if not low <= 0 <= high:
        side = "shallower" if mean < 0 else "deeper"
        out.append(f"The run reads {side} than the ditch by {abs(mean):.3g} mm on the whole ({confidence:.0%} interval "
                   f"of the error {low:.3g} mm to {high:.3g} mm).")
    if tolerance is None:
        out.append("No tolerance of depth is stated: the share within it is not worked out.")
    if doubted:
        out.append("Fewer readings lie within the tolerance than the run claims, and not by chance at this confidence.")
    return [*out, HOW_CHOSEN]


def exact_interval(hits: int, of: int, confidence: float) -> tuple[float, float]:
    """Two-sided interval of a share, exact by the binomial distribution (Clopper and Pearson, from memory).

    The low end is the share at which so many hits or more have the probability (1 - confidence)/2, the high end that at
    which so many or fewer have it. At no hits the low end is 0, at all the high end is 1.
    """
    if not (0 <= hits <= of and of > 0 and 0 < confidence < 1):
        raise CalculationError(f"share of {hits} in {of} at confidence {confidence}: not a share")
    tail = (1 - confidence) / 2
    low = 0.0 if hits == 0 else _halved(lambda p: _at_least(hits, of, p) > tail)
    high = 1.0 if hits == of else _halved(lambda p: 1 - _at_least(hits + 1, of, p) <= tail)
    return low, high


def _halved(over: Callable[[float], bool]) -> float:
    """Least share from 0 to 1 for which `over` holds; it holds for all above it."""
    low, high = 0.0, 1.0
    while low < (middle := (low + high) / 2) < high:
        low, high = (low, middle) if over(middle) else (middle, high)
    return high


def _at_least(hits: int, of: int, p: float) -> float:
    """Probability of `hits` or more in `of` at the share p: the terms are summed until they no longer count."""
    if p <= 0 or p >= 1:
        return 0.0 if p <= 0 else 1.0
    logs, total = math.lgamma(of + 1), 0.0
    for k in range(hits, of + 1):
        more = math.exp(logs - math.lgamma(k + 1) - math.lgamma(of - k + 1) + k * math.log(p)
                        + (of - k) * math.log1p(-p))
        total += more
        if more < 1e-18 * total:
            break
    return min(total, 1.0)
