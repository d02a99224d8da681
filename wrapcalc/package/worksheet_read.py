"""A filled worksheet back into marks of an overlay: all of its ticks or none."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import math
import os
import re
import secrets
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from wrapcalc import units
from wrapcalc.errors import CaseFaults, Fault, PackageError
from wrapcalc.fields import FieldFault, read_text, suggest
from wrapcalc.formula import Formula, registry
from wrapcalc.package.worksheet import COLUMNS, FILL_IN, FILLED, counted, restored
from wrapcalc.reading import decoded, parse_toml, read_bytes, shown_name
from wrapcalc.standards import tables
from wrapcalc.standards.tables import Entry, Mark, Tables

_MOST_BYTES = 10_000_000
_DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs"}
_AGREES, _VALUE, _BY, _ON, _COPY, _REMARK = FILLED
#: Fields of a mark, and the columns that they come from.
_FROM = {"item": "item", "name": "item", "value": _VALUE, "expression": "expression", "by": _BY, "on": _ON,
         "copy": _COPY}
_HEAD = """\
# Values and formulas that were compared with a licensed copy. A case names this file:
#   [documents]
#   overlay = "{name}"
"""


@dataclass(frozen=True)
class Tick:
    """One mark to write. number: its row in the spreadsheet; written: TOML of the value or of the expression."""

    number: int
    what: str
    item: str
    written: str
    by: str
    on: str
    copy: str
    remark: str


@dataclass
class Outcome:
    """What became of a worksheet. notices: formulas that differ from the copy, which no overlay can hold."""

    ticks: list[Tick] = field(default_factory=list)
    there: int = 0
    blank: int = 0
    notices: list[str] = field(default_factory=list)

    def lines(self, overlay: Path) -> list[str]:
        """Lines for the user."""
        values = sum(t.what == "value" for t in self.ticks)
        first = (f"wrote {counted(values, 'value')} and {counted(len(self.ticks) - values, 'formula')} as verified "
                 f"into {overlay}"
                 if self.ticks else f"no new tick: nothing was written into {overlay}")
        passed = ((self.there, "marked there already, with the same words"), (self.blank, "without a tick passed over"))
        return [first, *(f"{counted(n, 'row')} {why}" for n, why in passed if n)]


def read_worksheet(path: Path, overlay: Path) -> Outcome:
    """Add the ticks of a filled worksheet (CSV) to an overlay, new or existing; its text and comments stay.

    Raises CaseFaults with every fault of the worksheet, or of the overlay as it is; nothing is written then.
    """
    name = shown_name(path)
    raw = read_bytes(overlay, shown_name(overlay)) if overlay.exists() else b""
    blank = not raw.decode("utf-8-sig", "replace").strip()
    reader = _Reader(name, shown_name(overlay), tables.load(None if blank else overlay))
    for number, cells in _rows(read_bytes(path, name, most=_MOST_BYTES), name):
        reader.row(number, cells)
    if reader.faults:
        raise CaseFaults(reader.faults)
    if reader.out.ticks:
        _write(overlay.resolve(), b"" if blank else raw, reader.out.ticks, name)
    return reader.out


# -- the table ----------------------------------------------------------------------------------------------------
def _rows(raw: bytes, name: str) -> Iterator[tuple[int, dict[str, str]]]:
    """(row of the spreadsheet, cells by column) of every row below the head that is not empty. Raises CaseFaults."""
    text = decoded(raw, name, "save it as CSV UTF-8")
    delimiter = max(_DELIMITERS, key=lambda d: len(_names(text.split("\n", 1)[0].split(d)) & set(COLUMNS)))
    try:
        found = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as e:
        raise CaseFaults([Fault(name, "the file", f"text that is not CSV ({e})",
                                f"cells separated by {_DELIMITERS[delimiter]}", "save it again as CSV")]) from None
    head = _head(found[0] if found else [], name)
    faults = []
    for number, row in enumerate(found[1:], 2):
        if beyond := [c for i, c in enumerate(row) if c.strip() and (i >= len(head) or not head[i])]:
            faults.append(Fault(name, f"row {number}", f"{units.shown(beyond[0])} in a column without a heading",
                                "cells below a heading", "put a cell that holds a separator in quotation marks, or "
                                "remove what is beyond the last column"))
    if faults:
        raise CaseFaults(faults)
    for number, row in enumerate(found[1:], 2):
        if any(c.strip() for c in row):
            cells = dict.fromkeys(COLUMNS, "") | {n: restored(c.strip(" ")).strip()
                                                  for n, c in zip(head, row, strict=False) if n}
            yield number, cells


def _names(cells: Sequence[str]) -> set[str]:
    return {_heading(c) for c in cells}


def _heading(cell: str) -> str:
    return " ".join(cell.strip().strip('"').casefold().split())


def _head(cells: Sequence[str], name: str) -> list[str]:
    """The heading of each column, in the order of the file. Raises CaseFaults when they are not just ours."""
    head = [_heading(c) for c in cells]
    faults = []
    for i, h in enumerate(head):
        if h and h not in COLUMNS:
            faults.append(Fault(name, f"row 1, column {i + 1}", f"the heading {units.shown(cells[i])}",
                                ", ".join(COLUMNS), suggest(h, COLUMNS, "remove the column; remarks have a column of "
                                                            "their own")))
        elif h in head[:i] and h:
            faults.append(Fault(name, f"row 1, column {i + 1}", f"the heading {units.shown(h)} for the second time",
                                "each heading once", "remove one of the two columns"))
    missing = [c for c in COLUMNS if c not in head]
    if missing:
        faults.append(Fault(name, "row 1", f"no column {', '.join(missing)}", ", ".join(COLUMNS),
                            "give each column its heading, or print the worksheet anew: wrapcalc worksheet EDITION"))
    if faults:
        raise CaseFaults(faults)
    return head


# -- the ticks ----------------------------------------------------------------------------------------------------
class _Reader:
    """Reads the rows of one worksheet and collects their faults."""

    def __init__(self, name: str, overlay: str, marked: Tables):
        self.name, self.overlay, self.marked = name, overlay, marked
        self.shipped, self.formulas = tables.shipped(), registry()
        self.seen: dict[tuple[str, str], int] = {}
        self.faults: list[Fault] = []
        self.out = Outcome()

    def fault(self, number: int, column: str, found: str, allowed: str, mend: str) -> None:
        self.faults.append(Fault(self.name, f"row {number}, {column}", found, allowed, mend))

    def row(self, number: int, c: dict[str, str]) -> None:
        """One row: a tick, a formula that differs, a blank row, or faults."""
        key = (c["what"], c["item"])
        if c["item"] and key in self.seen:
            self.fault(number, "item", f"{units.shown(c['item'])} for the second time (first in row {self.seen[key]})",
                       "each item once", "remove one of the two rows")
            return
        self.seen[key] = number
        if not any(c[n] for n in FILLED if n != _REMARK):
            self.out.blank += 1
            return
        if c["what"] not in ("value", "formula"):
            self.fault(number, "what", units.shown(c["what"]), "value, formula", "write it as the worksheet had it")
            return
        known = self.shipped if c["what"] == "value" else self.formulas
        ours = known.get(c["item"])
        if ours is None:
            self.fault(number, "item", units.shown(c["item"]), f"a {c['what']} of ours",
                       suggest(c["item"], known, "write it as the worksheet had it, or print the worksheet anew"))
            return
        before = len(self.faults)
        words = self._words(number, c)
        written = (self._value(number, c, ours) if isinstance(ours, Entry) else self._expression(number, c, ours))
        if len(self.faults) > before:
            return
        tick = Tick(number, c["what"], c["item"], written, words[_BY], words[_ON], words[_COPY], words[_REMARK])
        mark = self._mark(ours)
        differs = isinstance(ours, Formula) and c[_AGREES].casefold() == "no"
        if mark is not None:
            self._again(tick, mark, ours, differs)
        elif differs:
            self._differs(tick, c[_VALUE])
        else:
            self.out.ticks.append(tick)

    def _words(self, number: int, c: dict[str, str]) -> dict[str, str]:
        """Who, when, which copy and the remark; faults for what is missing or would not print."""
        out = dict.fromkeys(FILLED, "")
        for column in (_BY, _COPY, _REMARK):
            try:
                out[column] = read_text(c[column]) or ""
            except FieldFault as e:
                self.fault(number, column, e.found, e.allowed, e.mend)
                continue
            if column == _REMARK:
                continue  # it stands in the overlay, and in no report
            if odd := _without_glyph(out[column]):
                self.fault(number, column, odd, "characters of the report's fonts: Latin, Greek, Cyrillic and common "
                           "signs", "write it in those letters")
            if not out[column]:
                self.fault(number, column, "nothing", "a mark says by whom, when, and in which copy",
                           "fill it in, or clear the row")
        out[_ON] = c[_ON]
        if not _is_day(c[_ON]):
            self.fault(number, _ON, units.shown(c[_ON]) if c[_ON] else "nothing", "a date from 1900 to 2100: "
                       "year-month-day", "write it like 2026-09-30; a spreadsheet leaves it so when the column is "
                       "formatted as text")
        return out

    def _agrees(self, number: int, c: dict[str, str], waits: bool = False) -> bool | None:
        """yes or no; None for neither, which is a fault but for a value that we do not know."""
        word = c[_AGREES].casefold()
        if word in ("yes", "no"):
            return word == "yes"
        if word or not waits:
            self.fault(number, _AGREES, units.shown(c[_AGREES]) if word else "nothing, in a row that is filled in",
                       "yes, no", "write yes or no, or clear the row")
        return None

    def _value(self, number: int, c: dict[str, str], e: Entry) -> str:
        """TOML of the value that a mark takes; "" with faults."""
        agrees = self._agrees(number, c, e.waits)
        printed = c["our value"]
        if (printed != FILL_IN) if e.waits else not _same(printed, e.written, e.kind):
            self.fault(number, "our value", units.shown(printed), units.printable(e.written),
                       "the worksheet was printed with another value, or a spreadsheet changed it: print it anew, and "
                       "import it with all columns as text")
            return ""
        if e.waits or agrees is False:
            if not c[_VALUE]:
                self.fault(number, _VALUE, "nothing", f"the value in the copy, {_allowed(e.kind)}",
                           "write it, or clear the row")
                return ""
        elif not c[_VALUE]:
            return _toml(e.written, e.kind)
        try:
            _number(c[_VALUE], e.kind)
        except units.QuantityFault as fault:
            self.fault(number, _VALUE, fault.found, fault.allowed, fault.mend)
            return ""
        if e.waits or agrees is None:
            return _toml(c[_VALUE], e.kind)
        same = _same(c[_VALUE], e.written, e.kind)
        if same != agrees:
            self.fault(number, _AGREES, f"{units.shown(c[_AGREES])} and {units.shown(c[_VALUE])} in the copy, where "
                       f"ours is {units.printable(e.written)}", "yes for the same value, no for another",
                       "look at the copy again and mend one of the two")
            return ""
        return _toml(e.written if agrees else c[_VALUE], e.kind)

    def _expression(self, number: int, c: dict[str, str], f: Formula) -> str:
        """TOML of the expression that a mark takes; "" with faults."""
        agrees = self._agrees(number, c)
        if _bare(c["expression"]) != _bare(f.text):
            self.fault(number, "expression", units.shown(c["expression"]), f.text,
                       "a mark holds only for the expression that runs: print the worksheet anew and compare again")
        elif agrees and c[_VALUE] and _bare(c[_VALUE]) != _bare(f.text):
            self.fault(number, _VALUE, units.shown(c[_VALUE]), "nothing for a formula that agrees",
                       "clear it, or write no when the copy has another expression")
        return json.dumps(f.text, ensure_ascii=False)

    def _mark(self, ours: Entry | Formula) -> Mark | None:
        """The mark that the overlay has already."""
        return (self.marked.entries[ours.key].mark if isinstance(ours, Entry) else
                self.marked.formula_marks.get(ours.name))

    def _again(self, tick: Tick, mark: Mark, ours: Entry | Formula, differs: bool) -> None:
        """An item that the overlay has a mark of: the same mark is passed over, another is a fault."""
        same = not differs and (mark.by, mark.on, mark.copy) == (tick.by, tick.on, tick.copy)
        if isinstance(ours, Entry):
            same = same and _same(tick.written.strip('"'), self.marked.entries[ours.key].written, ours.kind)
        if same:
            self.out.there += 1
        else:
            self.fault(tick.number, "item", f"{units.shown(tick.item)}, which {self.overlay} marks otherwise "
                       f"({units.printable(str(mark))})", "one mark for each item, the same as the one that is there",
                       f"clear this row, or remove the mark from {self.overlay} first")

    def _differs(self, tick: Tick, theirs: str) -> None:
        copy = f"; the copy has {units.shown(theirs)}" if theirs else ""
        self.out.notices.append(
            f"{self.name}: row {tick.number}: the formula {tick.item} differs from the copy ({tick.by}, {tick.on}, "
            f"{tick.copy}){copy}. Not written: an overlay cannot change a formula. Do not rely on what was worked out "
            "with it, and tell us.")


def _is_day(text: str) -> bool:
    import datetime
    try:
        return bool(re.fullmatch(r"(19|20)[0-9]{2}-[0-9]{2}-[0-9]{2}|2100-[0-9]{2}-[0-9]{2}", text)
                    and datetime.date.fromisoformat(text))
    except ValueError:
        return False


def _without_glyph(text: str) -> str:
    """Characters that the fonts of the report lack: a mark with them would stop every report."""
    if max(map(ord, text), default=0) < 256:
        return ""
    from wrapcalc.package.pdf import printable_characters
    missing = sorted(c for c in set(text) if ord(c) not in printable_characters())
    return ", ".join(f"'{units.printable(c)}' (U+{ord(c):04X})" for c in missing)


def _bare(expression: str) -> str:
    return "".join(expression.split())


def _allowed(kind: str) -> str:
    k = units.KINDS[kind]
    return f"a {kind} with one of the units {', '.join(k.units)}" if k.units else k.note


def _number(text: str, kind: str) -> float:
    """A cell as a number in the unit we calculate in. Raises units.QuantityFault."""
    if units.KINDS[kind].units:
        magnitude, unit = units.parse(text, kind)
        return units.to_base(magnitude, unit, kind)
    if not re.fullmatch(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?", text.strip(), re.ASCII):
        raise units.QuantityFault(units.shown(text), _allowed(kind), "write the number alone, with a decimal point")
    return units.parse(float(text), kind)[0]


def _same(one: str, other: str, kind: str) -> bool:
    try:
        return math.isclose(_number(one, kind), _number(other, kind), rel_tol=1e-9)
    except units.QuantityFault:
        return False


def _toml(text: str, kind: str) -> str:
    """A value as an overlay writes it: with its unit in quotation marks, a pure number bare."""
    if units.KINDS[kind].units:
        return json.dumps(" ".join(text.split()), ensure_ascii=False)
    number = float(text)
    return str(int(number)) if number == int(number) else repr(number)


# -- the overlay --------------------------------------------------------------------------------------------------
def _write(overlay: Path, raw: bytes, ticks: Sequence[Tick], name: str) -> None:
    """Put the marks behind what the overlay holds, byte for byte as it is; read it; only then put it in place."""
    text = "".join(_toml_of(t) for t in ticks)
    head = "\n" if raw.endswith(b"\n") else "\n\n" if raw else _HEAD.format(name=shown_name(overlay)) + "\n"
    text = (head + text).removesuffix("\n")
    if b"\r\n" in raw:
        text = text.replace("\n", "\r\n")
    partial = overlay.with_name(f".{overlay.name}-{secrets.token_hex(4)}.part")
    try:
        partial.write_bytes(raw + text.encode())
        tables.load(partial)
        if raw:
            shutil.copymode(overlay, partial)
        os.replace(partial, overlay)
    except CaseFaults as e:
        raise CaseFaults(_traced(e.faults, raw, ticks, name, shown_name(overlay))) from None
    except OSError as e:
        raise PackageError(f"{overlay}: cannot be written ({e.strerror or e}); nothing was changed; check the folder "
                           "and the permissions") from None
    finally:
        with contextlib.suppress(OSError):  # not there when it was put in place, or when it could not be written
            partial.unlink()


def _toml_of(t: Tick) -> str:
    names = ("item", "value") if t.what == "value" else ("name", "expression")
    remark = f"# {t.remark}\n" if t.remark else ""
    return (f"{remark}[[{t.what}]]\n{names[0]} = {json.dumps(t.item, ensure_ascii=False)}\n{names[1]} = {t.written}\n"
            f"by = {json.dumps(t.by, ensure_ascii=False)}\non = {t.on}\n"
            f"copy = {json.dumps(t.copy, ensure_ascii=False)}\n\n")


def _traced(faults: Sequence[Fault], raw: bytes, ticks: Sequence[Tick], name: str, overlay: str) -> list[Fault]:
    """Faults of the new overlay as faults of the rows that they come from."""
    old = parse_toml(raw, overlay) if raw else {}
    out = []
    for f in faults:
        m = re.fullmatch(r"(value|formula)\.(\d+)(?:\.(\w+))?", f.field)
        mine = [t for t in ticks if m and t.what == m[1]]
        at = int(m[2]) - len(old.get(m[1], [])) if m else -1
        if m and 0 <= at < len(mine):
            out.append(replace(f, file=name, field=f"row {mine[at].number}, {_FROM.get(m[3] or 'item', 'item')}",
                               line=None))
        else:
            out.append(replace(f, file=overlay))
    return out
