"""A Check: something provided against a limit, with the clause that asks for it. NaN never passes."""

from __future__ import annotations

from dataclasses import dataclass

from wrapcalc.values import Value

VERDICTS = ("met", "not met", "outside scope", "no data")


@dataclass(frozen=True)
class Check:
    """provided `sense` limit. kind: "limit" (the engineering criterion), "gate" (may the method be used at
    all), "scope" (limit of validity: beyond it nothing is derived). Text checks have no numbers."""

    id: str
    title: str
    kind: str
    verdict: str
    citation: str
    status: str
    provided: Value | None = None
    sense: str = ""
    limit: Value | None = None
    found: str = ""
    wanted: str = ""
    note: str = ""

    @property
    def met(self) -> bool:
        """True only for the verdict "met"."""
        return self.verdict == "met"

    @property
    def utilisation(self) -> float | None:
        """Share of the limit that is used; at most 1 is good, whatever the sense. None without numbers, and for
        temperatures, whose zero is arbitrary."""
        if self.provided is None or self.limit is None or self.provided.unit in ("degC", "degF"):
            return None
        have, need = self.provided.magnitude, self.limit.to(self.provided.unit)
        over, under = (have, need) if self.sense in ("<=", "<") else (need, have)
        return over / under if under > 0 and over > 0 else None


def compare(provided: Value, sense: str, limit: Value) -> bool:
    """Whether provided `sense` limit holds, in the unit of `provided`; exact, no tolerance."""
    a, b = provided.magnitude, limit.to(provided.unit)
    return {"<=": a <= b, "<": a < b, ">=": a >= b, ">": a > b}[sense]
