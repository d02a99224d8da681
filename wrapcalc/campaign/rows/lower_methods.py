"""Rows in which a method that does not govern gives a lower safe pressure: a single case warns, a screening counts.

The rule of the base case governs (without one the lowest of the ASME B31G forms), whatever the others say.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from wrapcalc.campaign.rows.method_rows import METHODS
from wrapcalc.campaign.rows.strength import NO_REPAIR
from wrapcalc.stages.assessment.forms import NAMES

#: By so much a pressure must be lower to count: rounding is no second opinion.
_LEAST = 1e-9


class LowerMethods:
    """Counts rows, window by window."""

    def __init__(self) -> None:
        self._lower = dict.fromkeys(METHODS[1:], 0)
        self._below = dict.fromkeys(METHODS[1:], 0)
        self.rows = self.below = 0

    def add(self, judged: Mapping[str, np.ndarray]) -> None:
        """judged: answers of `Screener.judge`; rows that no method governs do not count."""
        if "safe_pressure" not in judged:
            return
        safe = judged["safe_pressure"]
        maop = judged["repair_factor"] * safe
        stays = judged["disposition"] == NO_REPAIR
        any_lower, any_below = (np.zeros(len(safe), bool) for _ in range(2))
        for method in self._lower:
            if (given := judged.get(f"safe {method}")) is None:
                continue
            lower = given < safe * (1 - _LEAST)
            below = lower & stays & (given < maop * (1 - _LEAST))
            self._lower[method] += int(lower.sum())
            self._below[method] += int(below.sum())
            any_lower |= lower
            any_below |= below
        self.rows += int(any_lower.sum())
        self.below += int(any_below.sum())

    @property
    def told(self) -> tuple[str, ...]:
        """What the reader must know, nothing where no row is lower."""
        if not self.rows:
            return ()
        named = "; ".join(f"{NAMES[m]} {n}" for m, n in self._lower.items() if n)
        out = [f"Methods that do not govern give a lower safe pressure in {self.rows} rows ({named}). Look why before "
               "relying on the governing one."]
        if self.below:
            named = "; ".join(f"{NAMES[m]} {n}" for m, n in self._below.items() if n)
            out.append(f"{self.below} rows marked 'no repair needed' are below the MAOP by a method that does not "
                       f"govern ({named}): their columns 'safe ...' are in the table.")
        return tuple(out)
