"""Sizes and grades found by their name in the tables of a standard, written into the case as values with a source."""

from __future__ import annotations

from typing import Any

from wrapcalc import units
from wrapcalc.errors import Fault
from wrapcalc.fields import FieldFault, read_text
from wrapcalc.reading import line_numbers
from wrapcalc.standards import pipe_data


def with_listed_values(data: dict, raw: bytes, name: str) -> tuple[dict, list[Fault]]:
    """The parsed case with what pipe.listed_size and pipe.listed_grade stand for, and the faults of both.

    A value that the case states itself must agree with the table; it is never replaced.
    """
    pipe = data.get("pipe")
    if not isinstance(pipe, dict):
        return data, []
    lines, faults = line_numbers(raw), []
    filled = dict(pipe)
    for field, look_up, gives in (
            ("listed_size", pipe_data.size, {"outside_diameter": "outside_diameter", "nominal_wall": "wall"}),
            ("listed_grade", pipe_data.grade, {"smys": "smys", "smts": "smts"})):
        text = _text(pipe.get(field))
        if not text:
            continue
        try:
            found = look_up(text)
        except FieldFault as e:
            faults.append(Fault(name, f"pipe.{field}", e.found, e.allowed, e.mend, lines.get(f"pipe.{field}")))
            continue
        for key, attribute in gives.items():
            written = getattr(found, attribute)
            stated = pipe.get(key)
            if _blank(stated):
                filled[key] = {"value": written, "source": f"{found.source}, {found.status}",
                               "source_kind": "document"}
            elif not _agree(stated, written, "length" if field == "listed_size" else "stress"):
                faults.append(Fault(name, f"pipe.{key}", units.shown(_value(stated)),
                                    f"{written}, which {text} stands for ({found.source})",
                                    "state one of the two, or correct it", lines.get(f"pipe.{key}")))
    return {**data, "pipe": filled}, faults


def _value(stated: Any) -> Any:
    return stated.get("value") if isinstance(stated, dict) else stated


def _blank(stated: Any) -> bool:
    value = _value(stated)
    return value is None or (isinstance(value, str) and not value.strip())


def _text(raw: Any) -> str | None:
    """The name asked for; None when it is blank or no text, which the reading of the field tells."""
    try:
        return read_text(_value(raw))
    except FieldFault:
        return None


def _agree(stated: Any, written: str, kind: str) -> bool:
    """Whether two quantities are the same as tables round them; a text that is no quantity is told elsewhere."""
    try:
        ours, theirs = (units.to_base(*units.parse(x, kind), kind) for x in (written, _value(stated)))
    except units.QuantityFault:
        return True
    # printed MPa of a grade in psi, and the other way round, are rounded to three digits
    return abs(ours - theirs) <= (2e-3 if kind == "stress" else 1e-3) * abs(ours)
