"""Spares by probability, and whole packs over several sites. Whole numbers only."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from wrapcalc.errors import CalculationError

_NOISE = 1e-12  # a probability that is met exactly must not be missed by what binary arithmetic leaves behind
_MOST = 1_000_000


def enough(need: int, spare: int, spoil: float) -> float:
    """Probability that need + spare pieces hold at least `need` good ones, each spoilt by itself with this share.

    At most `spare` of need + spare pieces may be spoilt: the spares can be spoilt as well as the others. A sum over the
    first `need` pieces alone would take every spare for good, and gives too few.
    """
    total = need + spare
    if spoil == 0:
        return 1.0
    logs = (math.lgamma(total + 1) - math.lgamma(k + 1) - math.lgamma(total - k + 1) + k * math.log(spoil)
            + (total - k) * math.log1p(-spoil) for k in range(spare + 1))
    return min(1.0, math.fsum(map(math.exp, logs)))


def spares(need: int, spoil: float, confidence: float) -> int:
    """Fewest spares with which `need` good pieces are there with this probability.

    Raises CalculationError for shares that are none, and for a number of pieces below 0 or above a million.
    """
    if not (0 <= spoil < 1 and 0 < confidence < 1 and 0 <= need <= _MOST):
        raise CalculationError(f"spares: {need!r} pieces, share spoilt {spoil!r}, confidence {confidence!r}")
    if need == 0:
        return 0
    s = 0
    while enough(need, s, spoil) < confidence - _NOISE:
        s += 1
    return s


@dataclass(frozen=True)
class Pooled:
    """Whole packs: of each site, of all sites each with its own, and with one store for all."""

    per_site: tuple[int, ...]
    apart: int
    together: int


def pooled(needs: Sequence[float], pack: float, *, two_part: bool = True) -> Pooled:
    """Whole packs for several sites, waste in the needs, in the unit of `pack`.

    A two-part pack that is opened is used up at its site: a store for all saves nothing but spares. What can be split
    and carried on unspoilt (two_part=False) is rounded up once for all sites.
    """
    if not (math.isfinite(pack) and pack > 0) or not all(math.isfinite(n) and n >= 0 for n in needs):
        raise CalculationError(f"packs over several sites: needs {list(needs)!r}, pack {pack!r}")
    each = tuple(_whole(n, pack) for n in needs)
    apart = sum(each)
    return Pooled(each, apart, apart if two_part else _whole(math.fsum(needs), pack))


def _whole(need: float, pack: float) -> int:
    """As formulas.takeoff.packs rounds: one part in 10⁹ of a pack is taken off first."""
    return max(0, math.ceil(need / pack - 1e-9))
