"""Changing one thing in the text of a TOML file: every other line stays as it is, byte for byte.

Each change is proven before it is given back: the new text must hold just the wanted data and every comment of the old
one, else the change is refused.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Table

from wrapcalc.errors import WrapcalcError
from wrapcalc.reading import line_numbers

#: Keys that a value with its source has.
VALUE, SOURCE, SOURCE_KIND = "value", "source", "source_kind"


class CannotChange(WrapcalcError):
    """A file that is written in a way that this form cannot change without touching other lines."""


def put(text: str, place: Sequence[str | int], written: str, order: Sequence[str] = ()) -> str:
    """The text with `written` (TOML) as the value at `place`: ("pipe", "grade") or ("stock", 0, "width").

    order: the keys of the table in the order of the questions, for where a new line goes. Raises CannotChange.
    """
    wanted = tomllib.loads(text)
    table = _at(wanted, place[:-1], make=True)
    if not isinstance(table, dict):
        raise CannotChange(f"“{place[0]}” is no table in this file; put that right in the file itself")
    there = place[-1] in table
    table[place[-1]] = tomllib.loads(f"x = {written}")["x"]
    ways: Iterable[Callable[[], str]]
    if there:
        ways = (lambda: _in_its_line(text, place, written), lambda: _replaced(text, place, written))
    else:
        ways = (lambda: _inserted(text, place, written, order), lambda: _appended(text, place, written))
    return _proven(ways, wanted, ".".join(map(str, place)), comments(text))


def add_row(text: str, table: str) -> str:
    """The text with one more [[table]], empty, behind the last one. Raises CannotChange."""
    wanted = tomllib.loads(text)
    rows = wanted.setdefault(table, [])
    if not isinstance(rows, list):
        raise CannotChange(f"“{table}” is no list of tables in this file; write [[{table}]] with two brackets")
    rows.append({})
    heading = f"[[{table}]]"

    def behind() -> str:
        lines = text.split("\n")
        end = _end(lines, _headings(lines, table)[-1])
        return "\n".join([*lines[:end], heading, *lines[end:]])

    def last() -> str:
        return f"{text.rstrip()}\n\n{heading}\n"

    return _proven((behind, last), wanted, table, comments(text))


def drop_row(text: str, table: str, index: int) -> str:
    """The text without one of the [[table]] and its comments; what is said in front of the next heading stays.

    Raises CannotChange.
    """
    wanted = tomllib.loads(text)
    del wanted[table][index]
    if not wanted[table]:
        del wanted[table]

    def cut() -> str:
        lines = text.split("\n")
        start = _headings(lines, table)[index]
        return "\n".join([*lines[:start], *lines[_end(lines, start):]])

    return _proven((cut,), wanted, table, Counter())


#: Texts first, so that a # inside one begins no comment.
_TEXT_OR_COMMENT = re.compile(r'''"""(?:\\.|[^\\])*?"{3,5}|'{3}.*?'{3,5}|"(?:\\.|[^"\\\n])*"|'[^'\n]*'|#[^\n]*''', re.S)


def comments(text: str) -> Counter[str]:
    """Every comment of a sound TOML text, and how often it stands there."""
    return Counter(m[0].strip() for m in _TEXT_OR_COMMENT.finditer(text) if m[0].startswith("#"))


def _proven(ways: Iterable[Callable[[], str]], wanted: dict, what: str, said: Counter[str]) -> str:
    """The first way to a text with the wanted data and at least these comments."""
    for way in ways:
        try:
            out = way()
            if _plain(tomllib.loads(out)) == _plain(wanted) and said <= comments(out):
                return out
        except (TOMLKitError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
            continue
    raise CannotChange(f"{what} is written in a way that the form cannot change without touching other lines or "
                       "losing a comment; change it in the file itself, then open it here again")


def _plain(data: Any) -> Any:
    """Data that can be compared: what is not a number equals itself, and 1 is not 1.0."""
    if isinstance(data, dict):
        return {k: _plain(v) for k, v in data.items()}
    return [_plain(v) for v in data] if isinstance(data, list) else repr(data)


def _at(data: Any, place: Sequence[str | int], *, make: bool = False) -> Any:
    for part in place:
        if make and isinstance(data, dict) and part not in data:
            data[part] = {}
        if isinstance(part, int) or isinstance(data, dict):
            data = data[part]
        else:
            return None
    return data


# -- one value --------------------------------------------------------------------------------------------------------
def written_at(text: str, place: Sequence[str | int]) -> str:
    """The value at a place as the file writes it, without its source."""
    item: Any = _at(tomlkit.parse(text), place)
    return (item[VALUE] if isinstance(item, dict) else item).as_string()


def _in_its_line(text: str, place: Sequence[str | int], written: str) -> str:
    """What nearly every value is: one line. Read alone, for reading a whole file takes a hundred times as long."""
    lines = text.split("\n")
    at = line_numbers(text.encode())[".".join(map(str, place))] - 1
    line = tomlkit.parse(lines[at])
    line[str(place[-1])] = tomlkit.value(written)
    lines[at] = tomlkit.dumps(line)
    return "\n".join(lines)


def _replaced(text: str, place: Sequence[str | int], written: str) -> str:
    document = tomlkit.parse(text)
    table = _at(document, place[:-1])
    old, new = table[place[-1]], tomlkit.value(written)
    if isinstance(old, Table) and isinstance(new, dict):  # [pipe.grade] under its own heading: its lines stay
        for key in list(old):
            if key not in new:
                del old[key]
        for key, value in new.items():
            old[key] = value
    else:
        table[place[-1]] = new
    return tomlkit.dumps(document)


def _inserted(text: str, place: Sequence[str | int], written: str, order: Sequence[str]) -> str:
    """A new line behind the nearest question before it that has one, else behind the heading."""
    lines, known = text.split("\n"), line_numbers(text.encode())
    table, key = ".".join(map(str, place[:-1])), str(place[-1])
    before = list(order[:order.index(key)]) if key in order else []
    at = next((known[f"{table}.{k}"] for k in reversed(before) if f"{table}.{k}" in known), None)
    at = known[table] if at is None else at
    return "\n".join([*lines[:at], f"{_key(key)} = {written}", *lines[at:]])


def _appended(text: str, place: Sequence[str | int], written: str) -> str:
    if len(place) == 2 and place[0] not in tomllib.loads(text):
        return f"{text.rstrip()}\n\n[{place[0]}]\n{_key(str(place[1]))} = {written}\n"
    document = tomlkit.parse(text)
    _at(document, place[:-1])[place[-1]] = tomlkit.value(written)
    return tomlkit.dumps(document)


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else quoted_text(key)


# -- rows -------------------------------------------------------------------------------------------------------------
def _headings(lines: Sequence[str], table: str) -> list[int]:
    return [i for i, line in enumerate(lines) if re.match(rf"\s*\[\[\s*{re.escape(table)}\s*\]\]", line)]


def _end(lines: Sequence[str], start: int) -> int:
    """The line behind a table; blank lines and comments in front of the next heading belong to that one."""
    end = next((i for i in range(start + 1, len(lines)) if re.match(r"\s*\[", lines[i])), len(lines))
    while end > start + 1 and (not lines[end - 1].strip() or lines[end - 1].lstrip().startswith("#")):
        end -= 1
    return end


def with_source(text: str, place: Sequence[str | int], value: str, source: str, source_kind: str) -> str:
    """TOML of a value with its source, a plain value where there is none. Other keys stay, so that they are told."""
    held = copy.copy(_at_or_none(text, place))
    others = {k: v for k, v in held.items() if k not in (VALUE, SOURCE, SOURCE_KIND)} if isinstance(held, dict) else {}
    said = [(SOURCE, quoted_text(source))] if source else []
    said += [(SOURCE_KIND, quoted_text(source_kind))] if source_kind else []
    said += [(_key(k), tomlkit.item(v).as_string()) for k, v in others.items()]
    return "{ " + ", ".join(f"{k} = {v}" for k, v in ((VALUE, value), *said)) + " }" if said else value


def quoted_text(text: str) -> str:
    """A text in quotation marks, with what TOML wants escaped."""
    return tomlkit.string(text).as_string()


def _at_or_none(text: str, place: Sequence[str | int]) -> Any:
    try:
        return _at(tomllib.loads(text), place)
    except (LookupError, TypeError):
        return None
