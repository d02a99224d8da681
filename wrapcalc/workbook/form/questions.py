"""The questions of a case, by section: what is asked, in which units or words, and how an answer is written in TOML."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from pydantic import BeforeValidator

from wrapcalc import units
from wrapcalc.case.model import Case
from wrapcalc.fields import SOURCE_KINDS, FieldFault, choices, walk
from wrapcalc.package.starters import LISTED
from wrapcalc.stages.scope import missing_for_assessment, missing_for_design
from wrapcalc.workbook.form import toml_text

#: Sections of the case file in a practitioner's words, in the order of the file.
SECTIONS: dict[str, str] = {
    "case": "The anomaly", "pipe": "Pipe", "service": "Service and loads", "defect": "Defect",
    "assessment": "Method of assessment", "design": "Wrap: standard, system, life", "growth": "Growth of the loss",
    "uncertainty": "Uncertainty of sizing", "features": "Features beside the loss",
    "disposition": "Repair criteria, reduction", "restriction": "Open restrictions",
    "location": "Location of the joint", "joint": "Neighbouring joints", "excavation": "Excavation",
    "layout": "Choice of units", "keep_out": "Keep-out stretches", "stock": "Stock", "work": "Plan of the work",
    "takeoff": "Waste and spares", "tolerance": "Tolerances of the design", "documents": "Verified marks"}

#: Words for a kind of source, and for none.
SOURCE_WORDS = (("not said", ""), *((kind, kind) for kind in SOURCE_KINDS))
#: What a question is needed for, in words that stand beside it.
NEEDED_FOR = {"decision": "needed", "wrap": "needed for a wrap"}


@dataclass(frozen=True)
class Question:
    """One field of a case. kind: of its quantity, "" for a word or a text; units: one spelling of each unit.

    words: what may be chosen, () when it is no choice; sourced: whether its answer may carry a source.
    """

    field: str
    section: str
    key: str
    asks: str
    need: str
    example: str
    kind: str
    units: tuple[str, ...]
    words: tuple[str, ...]
    sourced: bool

    @property
    def listed(self) -> bool:
        """Whether the section may stand several times in a case."""
        return self.section in LISTED

    @property
    def bare(self) -> bool:
        """Whether the answer is a number without a unit, which TOML writes without quotation marks."""
        return bool(self.kind) and not self.units


@lru_cache(maxsize=1)
def questions() -> dict[str, Question]:
    """Every question of a case by its field, in the order of the file. The version of the format is not asked."""
    return {name: _question(name, info) for name, info in walk(Case) if name in _asked()}


@lru_cache(maxsize=1)
def _asked() -> frozenset[str]:
    return frozenset(name for name, _ in walk(Case) if "." in name)


def _question(name: str, info: Any) -> Question:
    section, _, key = name.rpartition(".")
    extra = info.json_schema_extra
    read = _reader(info)
    kind = _kind(read)
    return Question(name, section, key, info.description, extra["need"], extra["example"].replace('"', ""), kind,
                    spellings(kind), choices(info), _accepts(read, {"value": "", "source": "of whom"}))


def _reader(info: Any) -> Callable[[Any], Any]:
    return next(m.func for m in info.metadata if isinstance(m, BeforeValidator))


def _accepts(read: Callable[[Any], Any], raw: Any) -> bool:
    try:
        read(raw)
    except FieldFault:
        return False
    return True


@lru_cache(maxsize=1)
def _refusals() -> dict[str, str]:
    """What the parser of quantities allows -> the kind: each kind refuses in its own words."""
    out = {}
    for kind in units.KINDS:
        try:
            units.parse("?", kind)
        except units.QuantityFault as e:
            out[e.allowed] = kind
    return out


def _kind(read: Callable[[Any], Any]) -> str:
    """The kind of quantity that a reader reads, asked of the reader itself; "" for a word or a text."""
    try:
        read("?")
    except FieldFault as e:
        return _refusals().get(e.allowed, "")
    return ""


def spellings(kind: str) -> tuple[str, ...]:
    """One spelling of each unit of a kind, the one that is printed where a user may write it."""
    out: dict[str, str] = {}
    known = units.KINDS[kind].units if kind else {}
    for written, unit in known.items():
        out.setdefault(unit, units.label(unit) if units.label(unit) in known else written)
    return tuple(out.values())


# -- number and unit --------------------------------------------------------------------------------------------------
_NUMBER = r"[+\-−]?[\d.,][\d.,' \u00a0\u202f]*(?:[eE][+-]?\d+)?"


def split(text: str, kind: str) -> tuple[str, str]:
    """("0.375", "in") of "0.375 in"; the text whole and no unit where it is not a number and a unit of the kind."""
    known = units.KINDS[kind].units if kind else {}
    for unit in sorted(known, key=len, reverse=True):
        number = text.strip().removesuffix(unit).rstrip()
        if text.strip().endswith(unit) and re.fullmatch(_NUMBER, number):
            return number, next(s for s in spellings(kind) if known[s] == known[unit])
    return text, ""


def joined(text: str, unit: str) -> str:
    """A typed answer with the chosen unit, where the text is a number alone. The number is never converted."""
    text = text.strip()
    return f"{text} {unit}" if unit and re.fullmatch(_NUMBER, text) else text


def in_other_words(question: Question, text: str) -> str:
    """The quantity in the unit that we calculate in, where it was stated in another one; "" else."""
    if not question.units:
        return ""
    try:
        magnitude, unit = units.parse(text, question.kind)
    except units.QuantityFault:
        return ""
    base = units.KINDS[question.kind].base
    if unit == base or not base:
        return ""
    return "= " + units.show(units.to_base(magnitude, unit, question.kind), base)


# -- as TOML writes it ------------------------------------------------------------------------------------------------
def toml_value(question: Question, text: str) -> str:
    """An answer as TOML: a pure number bare, all else in quotation marks, also what is no number yet."""
    if question.bare and text and _is_number(text):
        return text
    return toml_text.quoted_text(text)


#: A plain decimal: TOML knows more (0x10, 5_0, and what stands behind a #), which nobody means in a form.
_DECIMAL = re.compile(r"[+-]?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?")


def _is_number(text: str) -> bool:
    return _DECIMAL.fullmatch(text) is not None and math.isfinite(float(text))


# -- what a case needs ------------------------------------------------------------------------------------------------
def needed(bundle: Any) -> dict[str, str]:
    """Field -> "decision" or "wrap", for what such a case needs, answered or not.

    It is asked of the same functions as by `wrapcalc check`, for a case that states only what decides about the need.
    """
    case = bundle.case
    said = {"schema_version": "1", "case": {"id": "asked"}}
    for section, keys in (("service", ("service",)), ("defect", ("kind",)), ("features", ("gouge_ground", "crack"))):
        stated = {k: str(v) for k in keys if (v := getattr(getattr(case, section), k)) is not None}
        said |= {section: stated} if stated else {}
    asked = type(bundle)(Case.model_validate(said), bundle.tables, system=bundle.system)
    out = dict.fromkeys(missing_for_design(asked), "wrap")
    out |= dict.fromkeys(missing_for_assessment(asked), "decision")
    return out | dict.fromkeys(("case.id", "service.service", "defect.kind"), "decision")
