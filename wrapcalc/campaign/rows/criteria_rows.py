"""Repair criteria on arrays of anomalies: the same data as `standards.criteria`, judged in the same three values.

Of a criterion only what varies by row is worked out for each row; what the line states once is settled once.
`tests/campaign/rows/test_criteria_rows.py` holds every row equal to `criteria.evaluate`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from wrapcalc.campaign.rows.rounding import How, Rounded
from wrapcalc.stages.assessment.disposition import NOT_NOW
from wrapcalc.standards.conditions import Comparison, Condition, checked_facts, either, every
from wrapcalc.standards.criteria import DOES_NOT_FIRE, FIRES, NO_DATA, Criteria, Criterion

#: Verdicts by code.
VERDICTS = (DOES_NOT_FIRE, FIRES, NO_DATA)
EXCLUDED = "excluded"
#: The fact that tells today from the end of a repair's life.
AT_END = "depth_over_wall_end_of_life"

#: True, False, None where it is the same for every row; else what is to be asked.
Settled = bool | None
Rows = Mapping[str, np.ndarray]


@dataclass(frozen=True)
class Asked:
    """Parts of which every one, or at least one (`any_`), must hold. open_: a part that nobody stated is among them."""

    any_: bool
    parts: tuple[Asked | Comparison, ...]
    open_: bool


@dataclass(frozen=True)
class Live:
    """One criterion as far as it depends on the row."""

    base: Asked | Comparison | Settled
    lifted: Asked | Comparison | Settled


class RowFacts:
    """The facts of a block of rows, NaN for not stated, and what was compared already."""

    def __init__(self, values: Rows, how: How, complete: Iterable[str] = ()):
        self._values, self._how = values, how
        self._complete = set(complete)
        self._known: dict[tuple[str, str, float], np.ndarray] = {}

    def complete(self, fact: str) -> bool:
        """Whether every row states it."""
        return fact in self._complete

    def holds(self, c: Comparison) -> np.ndarray:
        """Rows for which it is stated and holds."""
        key = (c.fact, c.operator, c.limit)
        if key not in self._known:
            x, how, limit = self._values[c.fact], self._how, c.limit
            if c.operator in ("<", ">"):
                out = (how.below if c.operator == "<" else how.above)(x, limit)
            else:
                out = ~(how.above if c.operator == "<=" else how.below)(x, limit)
                if c.fact not in self._complete:
                    out &= ~np.isnan(x)
            self._known[key] = out  # type: ignore[index]
        return self._known[key]  # type: ignore[index]

    def fails(self, c: Comparison) -> np.ndarray:
        """Rows for which it is stated and does not hold."""
        out = ~self.holds(c)
        return out if c.fact in self._complete else out & ~np.isnan(self._values[c.fact])


def settle(c: Criterion, facts: Mapping[str, Any], varying: Iterable[str]) -> Live:
    """The criterion with all facts that are the same for every row settled."""
    rows = set(varying)
    groups = tuple(_all(_condition(x, facts, rows) for x in group) for group in c.any_of)
    when = [_condition(x, facts, rows) for x in c.when] + ([_joined(True, groups)] if groups else [])
    return Live(_all(when), _all(_condition(x, facts, rows) for x in c.unless) if c.unless else False)


def _condition(c: Condition, facts: Mapping[str, Any], rows: set[str]) -> Asked | Comparison | Settled:
    return _joined(True, [a if a.fact in rows else a.holds(facts) for a in c.alternatives])


def _all(parts: Iterable[Asked | Comparison | Settled]) -> Asked | Comparison | Settled:
    return _joined(False, list(parts))


def _joined(any_: bool, parts: Sequence[Asked | Comparison | Settled]) -> Asked | Comparison | Settled:
    """One question of several, as far as they are not settled."""
    known = [p for p in parts if p is None or isinstance(p, bool)]
    asked = tuple(p for p in parts if not (p is None or isinstance(p, bool)))
    settled = either(known) if any_ else every(known)
    if not asked or settled is any_:
        return settled
    return asked[0] if len(asked) == 1 and settled is not None else Asked(any_, asked, settled is None)


def holds(asked: Asked | Comparison | Settled, facts: RowFacts) -> np.ndarray | bool:
    """Rows for which it holds."""
    if isinstance(asked, Comparison):
        return facts.holds(asked)
    if not isinstance(asked, Asked):
        return asked is True
    if asked.open_ and not asked.any_:
        return False
    return _over([holds(p, facts) for p in asked.parts], asked.any_)


def fails(asked: Asked | Comparison | Settled, facts: RowFacts) -> np.ndarray | bool:
    """Rows for which it does not hold, whatever is not stated."""
    if isinstance(asked, Comparison):
        return facts.fails(asked)
    if not isinstance(asked, Asked):
        return asked is False
    if asked.open_ and asked.any_:
        return False
    return _over([fails(p, facts) for p in asked.parts], not asked.any_)


def _over(parts: list[np.ndarray | bool], any_: bool) -> np.ndarray | bool:
    out = parts[0]
    for p in parts[1:]:
        out = out | p if any_ else out & p
    return out


def fires(live: Live, facts: RowFacts) -> np.ndarray | bool:
    """Rows for which the criterion fires."""
    found = holds(live.base, facts)
    if live.lifted is False or live.lifted is None or found is False:
        return found
    lifted = holds(live.lifted, facts)
    return found & ~lifted if isinstance(lifted, np.ndarray) else found if not lifted else False


def rests(live: Live, facts: RowFacts) -> np.ndarray | bool:
    """Rows for which the criterion does not fire, whatever is not stated."""
    return fails(live.base, facts) | holds(live.lifted, facts)


def verdict_rows(criteria: Criteria, facts: Mapping[str, Any]) -> np.ndarray:
    """Codes of VERDICTS, (criteria, rows): `criteria.evaluate` for facts of which some are arrays with NaN for None."""
    arrays = {n: np.asarray(v, float) for n, v in facts.items() if isinstance(v, np.ndarray)}
    known = checked_facts({n: None if n in arrays else v for n, v in facts.items()})
    how = Rounded()
    rows = RowFacts({n: how.steady(v) for n, v in arrays.items()}, how)
    count = len(next(iter(arrays.values())))
    out = np.full((len(criteria.criteria), count), VERDICTS.index(NO_DATA), np.uint8)
    for i, c in enumerate(criteria.criteria):
        live = settle(c, known, arrays)
        out[i][np.broadcast_to(rests(live, rows), count)] = VERDICTS.index(DOES_NOT_FIRE)
        out[i][np.broadcast_to(fires(live, rows), count)] = VERDICTS.index(FIRES)
    return out


class Ruling:
    """All lists that hold for a line, what rules a wrap out among them, and the order of urgency.

    table: (citation, text, deadline in words) of every criterion; days: after discovery, infinite where there is no
    number. Codes are places in them, -1 for none.
    """

    def __init__(self, lists: Sequence[Criteria], apart: Criteria, facts: Mapping[str, Any], varying: Iterable[str]):
        known, rows = checked_facts({n: v for n, v in facts.items() if n not in set(varying)}), tuple(varying)
        every_one = [c for one in (*lists, apart) for c in one.criteria]
        listed = sum(len(one.criteria) for one in lists)
        self.table = tuple((c.citation, c.text, c.deadline.words) for c in every_one)
        self.days = np.array([np.inf if c.deadline.days is None else float(c.deadline.days) for c in every_one]
                             + [np.inf])
        live = [settle(c, known, rows) for c in every_one]
        numbered = [(i, c, x) for i, (c, x) in enumerate(zip(every_one, live, strict=True)) if x.base is not False]
        asking = [(i, c, x) for i, c, x in numbered if i < listed and c.deadline.name not in NOT_NOW]
        self._asking = [(i, x) for i, c, x in sorted(asking, key=lambda a: a[1].deadline.rank)]
        self._excluded = [(i, x) for i, c, x in numbered if c.deadline.name == EXCLUDED]
        self._listed = [x for i, _, x in numbered if i < listed]
        self.at_end = any(_mentions(part, AT_END) for _, _, x in numbered for part in (x.base, x.lifted))

    def leading(self, facts: RowFacts, count: int) -> np.ndarray:
        """Code of the most urgent criterion that asks for repair."""
        return _first(self._asking, facts, count)

    def excluded(self, facts: RowFacts, count: int) -> np.ndarray:
        """Code of the first criterion that rules a wrap out."""
        return _first(self._excluded, facts, count)

    def unanswered(self, facts: RowFacts, count: int) -> np.ndarray:
        """How many criteria of the lists cannot be told for want of answers."""
        out = np.zeros(count, np.uint16)
        for live in self._listed:
            if _may_be_open(live.base, facts):
                out += ~(fires(live, facts) | rests(live, facts) | np.zeros(count, bool))
        return out


def _first(order: list[tuple[int, Live]], facts: RowFacts, count: int) -> np.ndarray:
    out = np.full(count, -1, np.int16)
    for code, live in reversed(order):
        found = fires(live, facts)
        if found is True:
            out[:] = code
        elif found is not False and found.any():
            out[found] = code
    return out


def _mentions(asked: Asked | Comparison | Settled, fact: str) -> bool:
    if isinstance(asked, Comparison):
        return asked.fact == fact
    return isinstance(asked, Asked) and any(_mentions(p, fact) for p in asked.parts)


def _may_be_open(asked: Asked | Comparison | Settled, facts: RowFacts) -> bool:
    """Whether there may be rows for which it cannot be told."""
    if isinstance(asked, Comparison):
        return not facts.complete(asked.fact)
    if isinstance(asked, Asked):
        return asked.open_ or any(_may_be_open(p, facts) for p in asked.parts)
    return asked is None
