"""Which rows of a ranked table are written: comparisons joined by "and", nothing more.

    depth >= 4 mm and kind = "external metal loss" and safe pressure < 8.2 MPa

On the left stands a column without its unit; on the right a number with its unit, or a word of a column of texts. A
number that is not known meets no comparison.
"""

from __future__ import annotations

import operator
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from wrapcalc import units
from wrapcalc.campaign.tables.tables import CODE, NUMBER, TEXT, WHOLE, Column
from wrapcalc.errors import CaseFaults, Fault

FIELD = "--where"
#: Unit of a column -> (kind of quantity, what one base unit of the kind is in it); a share takes a number or a %.
_KINDS = {"mm": ("length", 1.0), "MPa": ("gauge pressure", 1.0), "h": ("time", 1.0), "d": ("time", 1 / 24),
          "y": ("duration", 1.0), "mm/y": ("growth rate", 1.0)}
_OPS: dict[str, Callable] = {"<=": operator.le, ">=": operator.ge, "!=": operator.ne, "<": operator.lt,
                             ">": operator.gt, "=": operator.eq}
_TERM = re.compile(r"\s*([^<>=!\"']+?)\s*(<=|>=|!=|==?|<>|=<|=>|<|>)\s*(\"[^\"]*\"|'[^']*'|[^\"'<>=!]+?)\s*")
_TOKENS = re.compile(r"\"[^\"]*\"|'[^']*'|\band\b|[^\"'a]+|.", re.DOTALL)
_LONGEST = 2000


@dataclass(frozen=True)
class Term:
    """One comparison. value: a number in the unit of the column, a text, or the code of a word."""

    column: Column
    op: str
    value: float | str

    def mask(self, values: np.ndarray) -> np.ndarray:
        """Rows of this column that meet it."""
        if self.column.kind in (TEXT, CODE):
            return _OPS[self.op](np.asarray(values), self.value)
        values = np.asarray(values, float)
        return _OPS[self.op](values, self.value) & ~np.isnan(values)


@dataclass(frozen=True)
class Filter:
    """All terms must be met. text: as it was written."""

    text: str
    terms: tuple[Term, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Columns that are compared."""
        return tuple(dict.fromkeys(t.column.name for t in self.terms))

    def mask(self, block: Mapping[str, np.ndarray], count: int) -> np.ndarray:
        """Rows that meet every comparison; all when there is none. A block holds codes, not words."""
        out = np.ones(count, bool)
        for term in self.terms:
            out &= term.mask(block[term.column.name])
        return out


def read_filter(text: str, columns: Sequence[Column]) -> Filter:
    """The comparisons of a text. Raises CaseFaults with every fault of it."""
    terms, faults = [], []
    if len(text) > _LONGEST:
        raise CaseFaults([Fault("the command", FIELD, f"{len(text)} characters", f"at most {_LONGEST}", "shorten it")])
    for part in _parts(text) if text.strip() else ():
        try:
            terms.append(_term(part, columns))
        except _Wrong as e:
            faults.append(Fault("the command", FIELD, *e.args))
    if faults:
        raise CaseFaults(faults)
    return Filter(text.strip(), tuple(terms))


def _parts(text: str) -> list[str]:
    """The text cut at every "and" that stands outside quotation marks."""
    out = [""]
    for token in _TOKENS.findall(text):
        if token == "and":
            out.append("")
        else:
            out[-1] += token
    return out


class _Wrong(Exception):
    """found, allowed, mend"""


def _term(part: str, columns: Sequence[Column]) -> Term:
    m = _TERM.fullmatch(part)
    if m is None:
        raise _Wrong(units.shown(part.strip()) if part.strip() else "nothing beside an 'and'",
                     'comparisons such as depth >= 4 mm, joined by "and"',
                     "write NAME, one of = != < <= > >=, and a value with its unit; put texts in quotation marks")
    name, op, value = m.groups()
    if op in ("==", "<>", "=<", "=>"):
        right = {"==": "=", "<>": "!=", "=<": "<=", "=>": ">="}[op]
        raise _Wrong(f"'{op}'", "= != < <= > >=", f"write {right}")
    column = _column(name, columns)
    if column.kind in (TEXT, CODE):
        return Term(column, *_word(column, op, value))
    return Term(column, op, _number(column, value))


def _column(name: str, columns: Sequence[Column]) -> Column:
    wanted = re.sub(r"\s*\[.*\]", "", name).replace("_", " ").casefold()
    known = {c.name.replace("_", " ").casefold(): c for c in columns}
    if wanted in known:
        return known[wanted]
    near = units.close(wanted, known)
    some = ", ".join(c.name for c in columns[:12])
    raise _Wrong(f"the column {units.shown(name)}", f"columns of the ranked table, such as {some}",
                 f"did you mean '{known[near].name}'?" if near else "name a column of the ranked table")


def _word(column: Column, op: str, value: str) -> tuple[str, float | str]:
    word = value[1:-1] if value[0] in "\"'" else value
    if op not in ("=", "!="):
        raise _Wrong(f"'{op}' beside the column '{column.name}' of texts", "= and !=", "compare a column of numbers")
    if column.kind == TEXT:
        return op, word
    if word in column.words:
        return op, column.words.index(word)
    near = units.close(word, column.words)
    some = [w for w in column.words if w]
    raise _Wrong(units.shown(word), ", ".join(some[:40]) + (" and more" if len(some) > 40 else ""),
                 f"did you mean '{near}'?" if near else f"choose a word of the column '{column.name}'")


def _number(column: Column, value: str) -> float:
    if value[0] in "\"'":
        raise _Wrong(f"the text {value} beside the column '{column.name}' of numbers",
                     f"a number{' with its unit, such as ' + column.unit if column.unit else ''}",
                     "leave out the quotation marks")
    try:
        if column.unit:
            kind, size = _KINDS[column.unit]
            return units.steady(units.to_base(*units.parse(value, kind), kind) * size)
        if value.rstrip().endswith("%") and column.kind == NUMBER:
            return units.to_base(*units.parse(value, "percentage"), "percentage")
        return units.parse(float(value), "count" if column.kind == WHOLE else "number")[0]
    except units.QuantityFault as e:
        raise _Wrong(e.found, e.allowed, e.mend) from None
    except ValueError:
        raise _Wrong(f"{units.shown(value)} beside the column '{column.name}'",
                     "a number without a unit" + (", or with %" if column.kind == NUMBER else ""),
                     f"write it like {column.name} > {'3' if column.kind == WHOLE else '0.5'}") from None
