"""Rows of any groups of a line judged together: each group by its own screener, texts by codes that hold for all.

Metal loss is judged as a single case would be and gets a first-pass wrap where one would be tried; other damage has no
strength method here and is judged by the repair criteria alone. Rows that act as one are judged again as one, and the
graver of both answers stands.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from wrapcalc.campaign.rows.other_damage import KINDS as OTHER_KINDS
from wrapcalc.campaign.rows.other_damage import OtherDamage
from wrapcalc.campaign.rows.strength import DISPOSITIONS, NO_DATA, NO_REPAIR, OTHER, REASONS, REDUCE, REPAIR, Screener
from wrapcalc.campaign.rows.wrap_rows import WrapRows
from wrapcalc.case import Bundle
from wrapcalc.case.model import INTERNAL_LOSS, METAL_LOSS

if TYPE_CHECKING:
    from wrapcalc.campaign.line.line import Line

LOSSES = (METAL_LOSS, INTERNAL_LOSS, "metal loss")
Rows = dict[str, np.ndarray]
#: What screener and wraps ask of a row.
_ASKED = ("depth", "length", "width", "clock", "sound_wall", "clear_upstream", "clear_downstream")
#: What is asked of other damage.
_ASKED_OTHER = ("depth", "clock", "riser", "loss_under")
#: From what may wait to what may not: what cannot be judged is graver than what may stay, and no excuse for a repair.
_GRAVER = np.array([(NO_REPAIR, REDUCE, NO_DATA, REPAIR, OTHER).index(i) for i in range(len(DISPOSITIONS))])


class Words:
    """Texts by code, in the order in which they came up; 0 is none."""

    def __init__(self, *first: str):
        self.texts = [*dict.fromkeys(("", *first))]
        self._codes = {t: i for i, t in enumerate(self.texts)}

    def code(self, text: str) -> int:
        """The code of a text, a new one if need be."""
        if text not in self._codes:
            self._codes[text] = len(self.texts)
            self.texts.append(text)
        return self._codes[text]

    def sorted(self) -> tuple[tuple[str, ...], np.ndarray]:
        """The texts in an order that does not depend on when they came up, and their new codes by the old ones."""
        order = sorted(range(len(self.texts)), key=lambda i: self.texts[i])
        new = np.empty(len(order), np.int16)
        new[order] = np.arange(len(order))
        return tuple(self.texts[i] for i in order), new


@dataclass
class _Group:
    """What judges the rows of one group."""

    bundle: Bundle
    screener: Screener
    wraps: WrapRows
    others: dict[str, OtherDamage]


class Judge:
    """Judges rows of any groups of a line. life, chance: as a `Screener` takes them.

    reasons, citations, criteria, deadlines, exclusions: the texts by code; notes: what stands in the way of every row
    of a group, in words.
    """

    def __init__(self, line: Line, *, life: bool, chance: bool):
        self._line, self._asked = line, {"life": life, "chance": chance}
        self._groups: dict[int, _Group] = {}
        self._others: dict[tuple[str, str], OtherDamage] = {}
        self.reasons = Words(*REASONS)
        self.citations, self.criteria, self.deadlines, self.exclusions = Words(), Words(), Words(), Words()

    @property
    def notes(self) -> tuple[str, ...]:
        """What of the line stands in the way of its rows, in words."""
        return tuple(sorted({n for g in self._groups.values() for n in (*g.screener.notes, *g.wraps.notes)}))

    @property
    def groups(self) -> Iterator[tuple[int, Bundle]]:
        """The groups that rows were judged in, with their templates."""
        return ((k, self._groups[k].bundle) for k in sorted(self._groups))

    def diameters(self, groups: np.ndarray) -> np.ndarray:
        """Outside diameter (mm) of each row's group."""
        known, at = np.unique(groups, return_inverse=True)
        return np.array([self._group(g).bundle.case.get("pipe.outside_diameter").base for g in known.tolist()]
                        or [0.0])[at]

    def __call__(self, rows: Mapping[str, np.ndarray], groups: np.ndarray) -> Rows:
        """Answers of `Screener` and `WrapRows` for every row; texts as codes of the lists above.

        rows: as `Line.resolve` gives them; groups: of each row.
        """
        out: Rows = {}
        count, kinds = len(groups), rows["kind"]
        outer = kinds == METAL_LOSS
        loss = outer | (kinds == INTERNAL_LOSS) | (kinds == LOSSES[2])
        inner = (~outer).astype(np.uint8)
        order = np.argsort(groups, kind="stable")
        first = np.flatnonzero(np.diff(groups[order], prepend=groups[order[:1]] - 1))
        for here in np.split(order, first[1:]) if count else ():
            g = int(groups[here[0]])
            group = self._group(g)
            mine = loss[here]
            at = here if mine.all() else here[mine]
            if len(at):
                self._losses(group, {n: rows[n][at] for n in _ASKED} | {"internal": inner[at]}, at, count, out)
            for kind in OTHER_KINDS if len(at) < len(here) else ():
                at = here[kinds[here] == kind]
                if len(at):
                    judged = self._other(g, kind).judge({n: rows[n][at] for n in _ASKED_OTHER if n in rows})
                    judged["reason"] = np.array([self.reasons.code(t) for t in judged["reason"].tolist()], np.int16)
                    self._place(judged, group.others[kind].criteria, at, count, out)
        return out

    def _group(self, g: int) -> _Group:
        if g not in self._groups:
            bundle = self._line.bundle(g)
            self._groups[g] = _Group(bundle, Screener(bundle, **self._asked), WrapRows(bundle), {})
        return self._groups[g]

    def _other(self, g: int, kind: str) -> OtherDamage:
        """What judges another kind of damage; groups with the same rules share it but for their nominal wall."""
        group = self._group(g)
        if kind not in group.others:
            key = (kind, rules_of(self._line.template(g)))
            if key not in self._others:
                self._others[key] = OtherDamage(group.bundle, kind)
            group.others[kind] = self._others[key].with_wall(group.bundle)
        return group.others[kind]

    def _losses(self, group: _Group, rows: Rows, at: np.ndarray, count: int, out: Rows) -> None:
        judged = group.screener.judge(rows)
        self._place(judged, group.screener.criteria, at, count, out)
        tried = np.flatnonzero(judged["disposition"] == REPAIR)
        if len(tried):
            wraps = group.wraps.judge({n: v[tried] for n, v in rows.items()},
                                      {n: v[tried] for n, v in judged.items()})
            for name, values in wraps.items():
                _put(out, name, values, at[tried], count)

    def _place(self, judged: Rows, criteria: tuple[tuple[str, str, str], ...], at: np.ndarray, count: int, out: Rows
               ) -> None:
        """Put answers in their rows; what is a code of this group becomes a code of all."""
        for name in ("criterion", "exclusion"):
            code = judged.pop(name)
            words = [(self.citations, 0), (self.criteria, 1), (self.deadlines, 2)] if name == "criterion" else []
            words = words or [(self.exclusions, 1)]
            for all_, part in words:
                known = np.array([0] + [all_.code(c[part]) for c in criteria], np.int16)
                judged[{0: "citation", 1: name, 2: "deadline"}[part]] = known[code.astype(int) + 1]
        for name, values in judged.items():
            _put(out, name, values, at, count)


def _put(out: Rows, name: str, values: np.ndarray, at: np.ndarray, count: int) -> None:
    if len(at) == count:
        out[name] = values
        return
    if name not in out:
        out[name] = np.full(count, _nothing(name, values), values.dtype)
    out[name][at] = values


def _nothing(name: str, like: np.ndarray) -> Any:
    """What stands where there is no answer."""
    return np.inf if name == "deadline_days" else np.nan if like.dtype.kind == "f" else 0


def rules_of(data: Mapping[str, Any]) -> str:
    """What decides which rules and values hold for a group, out of its template: groups with the same text differ in
    wall and place alone. Who states it does not count."""
    def bare(x: Any) -> Any:
        if isinstance(x, Mapping):
            return bare(x["value"]) if "value" in x else {k: bare(v) for k, v in x.items()}
        return x

    pipe = {k: v for k, v in data.get("pipe", {}).items() if k not in ("nominal_wall", "sound_wall")}
    rest = {k: v for k, v in data.items() if k not in ("location", "case")}
    return json.dumps(bare(rest | {"pipe": pipe}), sort_keys=True, default=str)


def gravest(words: np.ndarray, of: np.ndarray, count: int) -> np.ndarray:
    """The gravest disposition of each of `count` groups; of: group of each word."""
    out = np.zeros(count, int)
    np.maximum.at(out, of, _GRAVER[words.astype(int)])
    return np.argsort(_GRAVER)[out]


#: Answers that go with the word, and with the deadline; all others go with the pressure.
_WORD, _DEADLINE = ("disposition", "reason", "exclusion"), ("deadline_days", "deadline", "criterion", "citation")
WRAP = ("wrap_feasible", "wrap_reason", "wrap_basis", "layers", "wrap_thickness", "required_thickness", "overlap",
        "full_length", "cover", "end_length", "overall_length", "units")


def take_graver(alone: Rows, as_one: Mapping[str, np.ndarray], members: np.ndarray, of: np.ndarray) -> None:
    """Let the graver of both answers stand in the rows that act as one.

    alone: answers of all rows, changed in place; as_one: answers of the groups; members: rows, `of`: group of each.
    A pressure that is not known counts as lower than any. What belongs together is taken from one of the answers.
    """
    def both(name: str) -> tuple[np.ndarray, np.ndarray]:
        return alone[name][members], np.asarray(as_one[name])[of]

    def low(p: np.ndarray) -> np.ndarray:
        return np.where(np.isnan(p), -np.inf, p)

    weaker = low(both("safe_pressure")[1]) <= low(both("safe_pressure")[0])
    was, now = (_GRAVER[w.astype(int)] for w in both("disposition"))
    graver = (now > was) | ((now == was) & weaker)
    days, then = both("deadline_days")
    sooner = (then < days) | ((then == days) & weaker)
    wrapped = both("disposition")[1] == REPAIR
    for name, values in as_one.items():
        if name not in alone:
            alone[name] = np.full(len(alone["disposition"]), _nothing(name, np.asarray(values)))
        which = (graver if name in _WORD else sooner if name in _DEADLINE else wrapped if _of_wrap(name) else weaker)
        alone[name][members[which]] = np.asarray(values)[of[which]]
    unwrapped = members[alone["disposition"][members] != REPAIR]
    for name in filter(_of_wrap, alone):
        alone[name][unwrapped] = _nothing(name, alone[name])


def _of_wrap(name: str) -> bool:
    return name in WRAP or name.startswith("units of ")
