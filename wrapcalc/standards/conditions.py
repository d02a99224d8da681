"""Facts that repair criteria ask for, and conditions over them: a closed vocabulary, parsed strictly, three-valued.

A condition is a small text such as "depth_over_nominal > 0.80", "dent = yes" or "class_location in 3, 4"; " or " joins
alternatives inside one condition. A fact that nobody stated is None; what depends on it is neither true nor false.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from wrapcalc import units
from wrapcalc.errors import CalculationError, UnknownItem
from wrapcalc.fields import FieldFault, read_text, suggest


# -- facts --------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Fact:
    """One thing that a criterion may ask for.

    kind: "number", "yes-no" or "word"; label: how it is called in print; words: what a yes-no or word may be;
    unit: "%" for a share (0 to 1), "mm", or "" for a ratio; most: greatest limit that a condition may name.
    """

    kind: str
    label: str
    words: tuple[str, ...] = ()
    unit: str = ""
    most: float = math.inf


def _share(label: str) -> Fact:
    return Fact("number", label, unit="%", most=1.0)


def _ratio(label: str, most: float = 10.0) -> Fact:
    return Fact("number", label, most=most)


def _yes_no(label: str) -> Fact:
    return Fact("yes-no", label, ("yes", "no"))


#: The closed vocabulary of conditions. Numbers are shares and ratios, or mm.
FACTS: dict[str, Fact] = {
    "metal_loss": _yes_no("metal loss"),
    "depth_over_nominal": _share("depth of metal loss over nominal wall"),
    "depth_over_wall": _share("depth of metal loss over the wall beside it"),
    "depth_over_wall_end_of_life": _share("depth over wall at the end of the repair's life"),
    "failure_ratio": _ratio("failure pressure of the metal loss over MAOP"),
    "operating_ratio": _ratio("safe pressure by remaining strength over maximum operating pressure"),
    "class_location": Fact("word", "class location", ("1", "2", "3", "4")),
    "uprated_class_1": _yes_no("class 2 location with class 1 pipe uprated under 49 CFR 192.611"),
    "high_consequence_area": _yes_no("high-consequence area"),
    "transmission_line": _yes_no("transmission line"),
    "general_corrosion": _yes_no("general corrosion"),
    "crossing": _yes_no("metal loss where another pipeline crosses"),
    "widespread_circumferential": _yes_no("widespread circumferential corrosion"),
    "girth_weld_affected": _yes_no("metal loss that could affect a girth weld"),
    "small_pipe": _yes_no("pipe below NPS 12 (outside diameter below 12.75 in)"),
    "dent": _yes_no("dent"),
    "dent_over_diameter": _share("depth of dent over outside diameter"),
    "dent_depth_in_mm": Fact("number", "depth of dent", unit="mm", most=500.0),
    "dent_position": Fact("word", "position of dent", ("top", "bottom")),
    "dent_stress_riser": _yes_no("metal loss, cracking or a stress riser in the dent"),
    "dent_at_weld": _yes_no("dent that affects curvature at a girth weld or a seam weld"),
    "dent_strain_passed": _yes_no("assessment of the dent that shows critical strain is not exceeded (192.712(c))"),
    "seam_corrosion_preferential": _yes_no("metal loss that prefers the longitudinal seam"),
    "seam_corrosion_along": _yes_no("corrosion of or along a longitudinal seam weld"),
    "seam_type": Fact("word", "seam", ("seamless", "direct current", "low-frequency electric resistance",
                                       "high-frequency electric resistance", "flash", "submerged arc", "other")),
    "joint_factor": _ratio("longitudinal joint factor", 1.0),
    "seam_failure_ratio": _ratio("failure pressure of the corroded seam (192.712(d)) over MAOP"),
    "crack": _yes_no("crack or crack-like indication"),
    "crack_depth_over_wall": _share("depth of crack and metal loss over wall"),
    "crack_beyond_tool": _yes_no("crack and metal loss deeper than the tool can measure"),
    "crack_failure_ratio": _ratio("failure pressure of the crack (192.712(d)) over MAOP"),
    "gouge": _yes_no("gouge or groove"),
    "gouge_over_nominal": _share("depth of gouge or groove over nominal wall"),
    "gouge_ground": _yes_no("gouge or arc burn ground smooth, found free of cracks, and the wall measured again"),
    "arc_burn": _yes_no("arc burn"),
    "leak": _yes_no("leak"),
    "internal_corrosion": Fact("word", "internal corrosion", ("none", "active", "unknown")),
    "growth_rate_known": _yes_no("growth rate of the internal corrosion known"),
    "judgement_immediate": _yes_no("immediate repair in the judgement of the person who evaluates the assessment"),
}

Facts = Mapping[str, float | str | bool | None]


def checked_facts(facts: Facts) -> dict[str, float | str | None]:
    """Every fact of FACTS, None where nothing is stated. Raises UnknownItem, CalculationError."""
    for name in facts:
        if name not in FACTS:
            raise UnknownItem("fact", str(name), FACTS)
    out: dict[str, float | str | None] = {}
    for name, fact in FACTS.items():
        value = facts.get(name)
        if value is not None and fact.kind == "number":
            if isinstance(value, (bool, str)) or not math.isfinite(value) or value < 0:
                raise CalculationError(f"the fact {name} is {value!r}; it must be a finite number, 0 or more")
            value = units.steady(float(value))
        elif value is not None:
            value = {True: "yes", False: "no"}[value] if isinstance(value, bool) else value
            if value not in fact.words:
                raise UnknownItem(f"word for the fact {name}", str(value), fact.words)
        out[name] = value
    return out


def dent_position(clock_hours: float) -> str:
    """"top" (the upper two thirds, 8 over 12 to 4 o'clock) or "bottom"; exactly at 4 or 8 the safer "top".

    clock_hours: 0 to 12, facing downstream. Raises CalculationError for anything else.
    """
    if not 0 <= clock_hours <= 12:
        raise CalculationError(f"a clock position of {clock_hours!r} hours; it must be 0 to 12")
    return "bottom" if 4 < clock_hours < 8 else "top"


# -- conditions ---------------------------------------------------------------------------------------------------
_ASKED = {"<": "below", "<=": "at most", ">": "above", ">=": "at least"}
_COMPARISON = re.compile(r"([A-Za-z]\w*)\s*(<=|>=|≤|≥|<|>|=|\bin\b)\s*(.*)", re.ASCII)
_NUMBER = re.compile(r"(\d+(?:\.\d*)?|\.\d+)\s*(%?)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Comparison:
    """One fact against a limit (a number) or against the words that are wanted."""

    fact: str
    operator: str
    limit: float | tuple[str, ...]

    def holds(self, facts: Facts) -> bool | None:
        """Whether it holds; None when the fact is not stated."""
        found = facts[self.fact]
        if found is None:
            return None
        if isinstance(self.limit, tuple):
            return found in self.limit
        return {"<": found < self.limit, "<=": found <= self.limit, ">": found > self.limit,  # type: ignore[operator]
                ">=": found >= self.limit}[self.operator]  # type: ignore[operator]

    def words(self, facts: Facts) -> str:
        """The found value in words, and what is asked."""
        fact, found = FACTS[self.fact], facts[self.fact]
        if isinstance(self.limit, tuple):
            asked = " or ".join(w for w in (", ".join(self.limit[:-1]), self.limit[-1]) if w)
            said = "not stated" if found is None else str(found)
        else:
            asked = f"{_ASKED[self.operator]} {_figures(self.limit, fact)}"
            said = "not stated" if found is None else _figures(float(found), fact, self.limit)
        return f"{fact.label}: {said}" + ("" if said == asked else f" (asked: {asked})")


def _figures(value: float, fact: Fact, beside: float = math.nan) -> str:
    """A number for reading; with enough digits that it does not look like the limit it is compared with."""
    share = 100.0 if fact.unit == "%" else 1.0
    texts = [units.digits(units.steady(value * share), n) for n in range(4, 13)]
    text = next((t for t in texts if value == beside or float(t) != units.steady(beside * share)), texts[-1])
    return f"{units.tidy(text)} {fact.unit}".rstrip()


@dataclass(frozen=True, slots=True)
class Condition:
    """Alternatives, of which one must hold. text: as the file writes it."""

    text: str
    alternatives: tuple[Comparison, ...]

    def holds(self, facts: Facts) -> bool | None:
        """Whether it holds; None when that depends on facts that are not stated."""
        return either(c.holds(facts) for c in self.alternatives)

    def said(self, facts: Facts) -> list[str]:
        """The alternatives that decide it, in words."""
        verdict = self.holds(facts)
        return [c.words(facts) for c in self.alternatives if c.holds(facts) is verdict]

    def missing(self, facts: Facts) -> list[str]:
        """Facts on which it depends, and that are not stated."""
        return [c.fact for c in self.alternatives if facts[c.fact] is None] if self.holds(facts) is None else []


def either(values: Iterable[bool | None]) -> bool | None:
    """Three-valued or: True if one is, False if all are, else None."""
    found = list(values)
    return True if True in found else None if None in found else False


def every(values: Iterable[bool | None]) -> bool | None:
    """Three-valued and: False if one is, True if all are, else None."""
    found = list(values)
    return False if False in found else None if None in found else True


def parse_condition(text: str) -> Condition:
    """The condition that a text means. Raises FieldFault for anything but comparisons of FACTS joined by " or "."""
    text = read_text(text) or ""
    return Condition(text, tuple(_comparison(part.strip()) for part in re.split(r"\bor\b", text)))


def _comparison(text: str) -> Comparison:
    m = _COMPARISON.fullmatch(text)
    if m is None:
        raise FieldFault(units.shown(text), 'a condition such as "depth_over_nominal > 0.80", "dent = yes" or '
                         '"class_location in 3, 4"', "write a fact, then one of = in < <= > >=, then a limit")
    name, operator, wanted = m[1], {"≤": "<=", "≥": ">="}.get(m[2], m[2]), m[3].strip()
    fact = FACTS.get(name)
    if fact is None:
        raise FieldFault(f"the fact {units.shown(name)}", ", ".join(FACTS),
                         suggest(name, FACTS, "use one of these facts"))
    if fact.kind == "number":
        number = _NUMBER.fullmatch(wanted)
        if operator in ("=", "in"):
            raise FieldFault(units.shown(text), f"{name} with < <= > or >=: it is a number", "write a limit")
        if number is None or (number[2] and fact.unit != "%"):
            raise FieldFault(f"the limit {units.shown(wanted)}", "a plain number"
                             + {"%": ", a share such as 0.80 or 80 %", "mm": " of mm"}.get(fact.unit, ""),
                             "check the number, its decimal point and its unit")
        limit = units.steady(float(number[1]) / (100 if number[2] else 1))
        if not limit <= fact.most:
            raise FieldFault(f"the limit {units.shown(wanted)}", f"0 to {fact.most:g}{' mm' * (fact.unit == 'mm')}",
                             "check the number; 80 % of the wall is written 0.80 or 80 %")
        return Comparison(name, operator, limit)
    if operator not in ("=", "in"):
        raise FieldFault(units.shown(text), f"{name} with = or in: it is one of {', '.join(fact.words)}",
                         f'write "{name} = {fact.words[0]}"')
    words = tuple(w.strip() for w in wanted.split(",")) if operator == "in" else (wanted,)
    for word in words:
        if word not in fact.words:
            raise FieldFault(f"the word {units.shown(word)}", ", ".join(fact.words),
                             suggest(word, fact.words, "choose one of them"))
    return Comparison(name, "in", words)


def possible(conditions: Iterable[Condition]) -> bool:
    """Whether facts can meet all the conditions that have no alternative."""
    words: dict[str, set[str]] = {}
    low: dict[str, tuple[float, bool]] = {}  # bound, and whether the bound itself is left out
    high: dict[str, tuple[float, bool]] = {}
    for c in (c.alternatives[0] for c in conditions if len(c.alternatives) == 1):
        if isinstance(c.limit, tuple):
            words[c.fact] = words.get(c.fact, set(FACTS[c.fact].words)) & set(c.limit)
        elif c.operator.startswith(">"):
            low[c.fact] = max(low.get(c.fact, (0.0, False)), (c.limit, c.operator == ">"))
        else:
            strict = c.operator == "<"
            high[c.fact] = min(high.get(c.fact, (math.inf, False)), (c.limit, strict), key=lambda b: (b[0], not b[1]))
    for name in low.keys() | high.keys():
        (least, above), (most, below) = low.get(name, (0.0, False)), high.get(name, (FACTS[name].most, False))
        if least > most or (least == most and (above or below)):
            return False
    return all(words.values())
