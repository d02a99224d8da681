"""Plain data of a case: its fields, the same as TOML, and numbers as a case states them."""

from __future__ import annotations

import datetime
import json
import math
import re
from collections.abc import Mapping
from typing import Any

from wrapcalc import units

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def toml_of(data: Mapping[str, Any]) -> bytes:
    """Plain data, as a TOML file is parsed to, as TOML; a value with its source stands in one line.

    Written here because a case of a campaign is checked as a file is, thousands of times, and has no comments to keep.
    """
    parts = [_lines({k: v for k, v in data.items() if not _is_table(v)})]
    for name, value in data.items():
        if isinstance(value, Mapping):
            parts.append(f"[{_key(name)}]\n{_lines(value)}")
        elif _is_table(value):
            parts += [f"[[{_key(name)}]]\n{_lines(table)}" for table in value]
    return "\n".join(p for p in parts if p).encode()


def _lines(table: Mapping[str, Any]) -> str:
    return "".join(f"{_key(k)} = {_value(v)}\n" for k, v in table.items())


def _is_table(value: Any) -> bool:
    return isinstance(value, Mapping) or (
        isinstance(value, list) and bool(value) and all(isinstance(v, Mapping) for v in value))


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _value(key)


def _value(value: Any) -> str:
    if isinstance(value, str):  # a text of JSON is one of TOML, but for one character
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, (datetime.date, datetime.time)):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }" if value else "{}"
    return "[" + ", ".join(map(_value, value)) + "]"


def number(x: float) -> str:
    """A number in the fewest digits that give it again: 12 where they do."""
    short = f"{x:.12g}"
    return short if float(short) == x else repr(float(x))


def mm(x: float) -> str:
    """A length as a case states it."""
    return f"{number(x)} mm"


def clock_text(hours: float) -> str:
    """4.5 -> "4:30", to the nearest minute."""
    minutes = round(hours * 60) % 720
    return f"{minutes // 60 or 12}:{minutes % 60:02d}"


# -- fields -------------------------------------------------------------------------------------------------------
def at(data: Mapping[str, Any], dotted: str) -> Any:
    """What stands in a field; None when there is nothing."""
    here: Any = data
    for part in dotted.split("."):
        here = here.get(part) if isinstance(here, Mapping) else None
    return None if here == "" else here


def put(data: Mapping[str, Any], dotted: str, given: Any) -> dict[str, Any]:
    """The data with a field set, or without it for None; what is not on the way is not copied."""
    head, _, rest = dotted.partition(".")
    inside = data.get(head)
    if rest and (isinstance(inside, Mapping) or (inside is None and given is not None)):
        return {**data, head: put(inside or {}, rest, given)}
    if given is None:
        return {k: v for k, v in data.items() if rest or k != head}
    return {**data, head if not rest else dotted: given}


def value(given: Any) -> Any:
    """A value without its source."""
    return given.get("value") if isinstance(given, Mapping) else given


def length(stated: Any, otherwise: Any) -> float:
    """A stated length in mm, else that of a field of a case, else NaN."""
    try:
        return units.to_base(*units.parse(value(stated), "length"), "length")
    except units.QuantityFault:  # nothing there; what is no length is told when the case is read
        return math.nan if otherwise is None else otherwise.base
