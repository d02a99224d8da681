"""A first look at a listing: a mapping file is proposed from its headings and first rows, and every doubt is named.

What bears on numbers and cannot be seen in the file is not settled here: such a field says "choose: ...", which no
mapping file may say, so that somebody must choose.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from wrapcalc import units
from wrapcalc.campaign.listing.cells import Reader
from wrapcalc.campaign.listing.chunks import Cells, Chunk, heading
from wrapcalc.campaign.listing.columns import (
    CLOCK,
    COLUMNS,
    DEGREES,
    DEPTH,
    FRACTIONS,
    H_MM,
    HOURS,
    LENGTH,
    OF_DAY,
    PER_CENT,
    SHARES,
)
from wrapcalc.campaign.listing.look_sample import SAMPLE, Sample, sample_of
from wrapcalc.campaign.listing.look_words import ANY_WALL, HEADINGS, KIND_WORDS, SIDES, plain_words
from wrapcalc.campaign.listing.mapping import Columns, LineTable, Listing, Mapping, words_key
from wrapcalc.campaign.listing.unit_words import PERCENT, said_in, unit_of

CHOOSE = "choose: "
_SHOWN = 5
_MOST_WORDS = 60
_NUMBER = re.compile(r"[-+]?[\d.,  ]*\d[\d.,]*")


@dataclass(frozen=True)
class Look:
    """A proposed mapping. toml: its text; doubts: what it leaves open, in words; rows: the first rows as the proposal
    reads them."""

    toml: str
    doubts: tuple[str, ...]
    rows: tuple[str, ...]

    def lines(self) -> list[str]:
        """For a terminal: the proposal, the rows it reads, and how many doubts are open."""
        n = len(self.doubts)
        return [*self.toml.splitlines(), "", *(f"# {r}" for r in self.rows), "",
                f"# {n} doubt{'s' if n != 1 else ''} to be settled: see the lines with DOUBT" if n else
                "# no doubts; check it all the same"]


def look(listing: Path) -> Look:
    """Propose a mapping for a listing. Raises CaseFaults for a file that cannot be read, or that has no headings."""
    return _Proposal(sample_of(listing)).look()


def _shares(cells: Sequence[str]) -> tuple[str, ...]:
    """Units of shares: those of numbers from 0 to 1 where no cell is above 1."""
    try:
        numbers = [float(c.replace(",", ".")) for c in cells]
    except ValueError:
        return PER_CENT
    return FRACTIONS if any(numbers) and max(numbers) <= 1 else PER_CENT


def _text(value: str) -> str:
    """A text as TOML writes it."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


class _Proposal:
    def __init__(self, sample: Sample):
        self.sample = sample
        self.doubts: list[str] = []
        self.headings = [heading(h) for h in sample.headings]
        self.units_row = sample.units
        self.chosen: dict[str, dict[str, Any]] = {}
        self.marks: dict[str, str] = {}

    def look(self) -> Look:
        columns = list(self._columns())
        lines = ["# Proposed from the headings and the first rows. Every line with DOUBT waits for somebody who knows.",
                 'schema_version = "1"', "", "[listing]", *self._listing(), "", "[columns]", *columns, "", "[line]",
                 'base = "base.toml"  # the case file with what all rows share; write it beside this file',
                 *self._doubted('reversed = "no"', "does the log count with the flow? yes when it counts against it"),
                 "", *self._doubted("", "reference points, where log and surveyed distances are both known: add "
                                    "[[reference_point]] with log, survey and name"),
                 *self._doubted("", "stretches with another wall, class or section: add [[segment]] with from, to and "
                                "set")]
        return Look("\n".join(lines).rstrip() + "\n", tuple(self.doubts), tuple(self._rows()))

    def _doubted(self, line: str, doubt: str) -> list[str]:
        self.doubts.append(doubt)
        return [f"# DOUBT: {doubt}", *([line] if line else [])]

    # -- [listing] -------------------------------------------------------------------------------------------------
    def _listing(self) -> Iterator[str]:
        s = self.sample
        yield from self._doubted('run = ""', "name and day of the run are not in the listing")
        yield 'run_date = ""'
        if "line" in self.chosen:
            names = sorted({c for c in self._cells("line") if c} - {self.chosen["line"]["column"]})
            name = names[0] if len(names) == 1 else CHOOSE + " / ".join(names[:6])
            yield from [f"line = {_text(name)}"] if len(names) == 1 else self._doubted(
                f"line = {_text(name)}", "the listing is of several lines; rows of another line are told, not screened")
        for doubt in s.doubts:
            yield from self._doubted("", doubt)
        yield from self._dialect()
        if s.delimiter:
            yield f'delimiter = "{s.delimiter}"'
            yield f'encoding = "{s.encoding}"'
        if s.sheet:
            yield f"sheet = {_text(s.sheet)}"
        if s.form != "Parquet":
            yield f"header_row = {s.header_row}"
        if s.units:
            yield f"units_row = {s.header_row + 1}"
        yield from self._doubted('# place = "upstream end"', "is the log distance that of the upstream end, the middle "
                                 "or the downstream end? Without a word every reading is reckoned with")

    def _dialect(self) -> Iterator[str]:
        """Decimal mark and mark between thousands, by what numbers of the first rows allow."""
        if self.sample.numbers:
            yield 'decimal = "point"  # for numbers that are written as text; the others are numbers'
            return
        cells = [c.strip() for n in self.chosen if not COLUMNS[n].is_text for c in self._cells(n)]
        cells = [c for c in cells if _NUMBER.fullmatch(c) and re.search(r"\d[.,]\d", c)]
        both = [c for c in cells if "." in c and "," in c]
        # 12.5 shows its mark, 1.234 may be either; in 1.234,5 the last one is the decimal mark
        marks = {max(".,", key=c.rfind) for c in both} | {
            m for c in cells for m in ".," if c not in both and c.count(m) == 1
            and not re.fullmatch(rf"[-+]?[1-9]\d{{0,2}}\{m}\d{{3}}", c)}
        if not cells:
            yield from self._doubted('decimal = "point"', "no number of the first rows has a decimal mark")
        elif len(marks) != 1:
            yield from self._doubted(f'decimal = "{CHOOSE}point / comma"', "the first rows do not show which is the "
                                     f"decimal mark: {self._such(cells, '')}")
        else:
            mark = marks.pop()
            other = "," if mark == "." else "."
            word = {".": "point", ",": "comma"}
            self.marks["decimal"] = word[mark]
            yield f'decimal = "{word[mark]}"'
            if both or any(c.count(other) > 1 for c in cells):
                self.marks["thousands"] = word[other]
                yield f'thousands = "{word[other]}"'
            elif any(other in c for c in cells):
                yield from self._doubted(f'thousands = "{CHOOSE}none / {word[other]}"', f"some numbers hold '{other}', "
                                         f"too: does it part thousands? {self._such(cells, other)}")

    def _such(self, cells: Sequence[str], mark: str) -> str:
        return ", ".join(units.shown(c) for c in [c for c in cells if mark in c][:3])

    # -- [columns] -------------------------------------------------------------------------------------------------
    def _cells(self, ours: str) -> list[str]:
        k = self.headings.index(self.chosen[ours]["column"])
        return [r[k] if k < len(r) else "" for r in self.sample.rows]

    def _columns(self) -> Iterator[str]:
        names = [plain_words(h) for h in self.headings]
        bare = [" ".join(w for w in n.split() if w not in ("mm", "cm", "m", "in", "ft", "mil", "deg", "hh", "hrs"))
                for n in names]
        used: set[int] = set()
        for ours, known in COLUMNS.items():
            found = [k for k, (n, b) in enumerate(zip(names, bare, strict=True))
                     if (n in HEADINGS[ours] or b in HEADINGS[ours]) and k not in used]
            if not found:
                if known.needed:
                    yield from self._doubted(f'{ours} = {{ column = "{CHOOSE}"{self._unit_part(ours, "")} }}',
                                             f"no heading looks like {known.says}; the column is needed")
                continue
            used |= set(found)
            if len(found) > 1:
                heads = " / ".join(self.headings[k] for k in found)
                unit = self._unit_part(ours, CHOOSE + " / ".join(known.units)) if known.units else ""
                yield from self._doubted(f"{ours} = {{ column = {_text(CHOOSE + heads)}{unit} }}",
                                         f"{len(found)} headings look like {known.says}")
                continue
            yield from self._column(ours, found[0], bare[found[0]])
        for k, h in enumerate(self.headings):
            if k not in used and h:
                yield f"# not mapped: {units.shown(h)}"
                if names[k] in SIDES:
                    yield from self._doubted("", f"{units.shown(h)} seems to say on which side loss is; the side is "
                                             "read from the kind alone, and loss without a side counts as internal: "
                                             "join the two columns in the listing")

    def _unit_part(self, ours: str, unit: str) -> str:
        known = COLUMNS[ours]
        return f", unit = {_text(unit or CHOOSE + ' / '.join(known.units))}" if known.units else ""

    def _column(self, ours: str, k: int, words: str) -> Iterator[str]:
        known, head = COLUMNS[ours], self.headings[k]
        self.chosen[ours] = {"column": head}
        if ours == "kind":
            yield from self._kinds(head)
            return
        if not known.units:
            yield f"{ours} = {{ column = {_text(head)} }}"
            return
        unit, doubt = self._unit(ours, k)
        if not unit.startswith(CHOOSE):
            self.chosen[ours]["unit"] = unit
        doubts = [d for d in (doubt, "nominal or measured wall? The heading does not say" if ours == "nominal_wall"
                              and words in ANY_WALL else "") if d]
        for d in doubts:
            yield from self._doubted("", f"{units.shown(head)}: {d}")
        yield f"{ours} = {{ column = {_text(head)}{self._unit_part(ours, unit)} }}"

    def _unit(self, ours: str, k: int) -> tuple[str, str]:
        """Unit of a column, and the doubt that is left."""
        known, head = COLUMNS[ours], self.headings[k]
        cells = [r[k].strip() for r in self.sample.rows if k < len(r) and r[k].strip()]
        told = [u for text, u in said_in(head, known) if unit_of(text, known) == u]
        if k < len(self.units_row) and (u := unit_of(heading(self.units_row[k]), known)):
            told.append(u)
        if len(set(told)) > 1 and not {PERCENT, CLOCK} & set(told):
            return CHOOSE + " / ".join(dict.fromkeys(told)), "heading and row of units do not say the same unit"
        unit = told[0] if told else ""
        if known.holds == DEPTH and unit == PERCENT:
            return CHOOSE + " / ".join(_shares(cells)), ("per cent of which wall, nominal or measured? See the "
                                                         "report of the run")
        if known.holds == CLOCK and unit in ("", CLOCK, H_MM):
            if any(":" in c for c in cells) or (unit == H_MM and not cells):
                return H_MM, ""
            if _shares(cells) == FRACTIONS:
                return f"{CHOOSE}{OF_DAY} / {HOURS} / {DEGREES}", (
                    "clock positions are numbers up to 1: times of day as a spreadsheet keeps them, 0.1875 for 4:30?")
            return f"{CHOOSE}{HOURS} / {DEGREES}", "clock positions are numbers: hours or degrees?"
        if known.holds == DEPTH and unit in SHARES:
            return unit, f"{unit}, as the heading seems to say? See the report of the run"
        if unit:
            return unit, ""
        if known.holds == LENGTH or known.holds == DEPTH:
            return CHOOSE + " / ".join(known.units), "no unit in the heading"
        return known.units[0], "no unit in the heading; degrees?"

    def _kinds(self, head: str) -> Iterator[str]:
        found = list(dict.fromkeys(" ".join(c.split()) for c in self._cells("kind") if c.strip()))
        pairs, keys = [], set()
        for word in found[:_MOST_WORDS]:
            if words_key(word) in keys or plain_words(word) in HEADINGS["kind"]:
                continue
            keys.add(words_key(word))
            ours = KIND_WORDS.get(plain_words(word), "")
            pairs.append((word, ours or CHOOSE.strip()))
        unknown = [w for w, ours in pairs if ours.startswith("choose")]
        self.chosen["kind"]["words"] = {w: o for w, o in pairs if w not in unknown}
        if unknown:
            yield from self._doubted("", f"words that we do not know: {', '.join(units.shown(w) for w in unknown[:8])}")
        if sideless := [w for w, o in pairs if o == "metal loss"]:
            yield from self._doubted("", f"{', '.join(units.shown(w) for w in sideless[:4])}: the side of the wall is "
                                     "not said; such rows count as internal, the safer reading")
        if self.sample.more:
            yield from self._doubted("", f"words after the first {SAMPLE} rows were not looked at; rows with another "
                                     "are told, not screened")
        if len(found) > _MOST_WORDS:
            yield from self._doubted("", f"{len(found)} different words; is this the column of kinds?")
        words = ", ".join(f"{_text(w)} = {_text(o)}" for w, o in pairs)
        yield f"kind = {{ column = {_text(head)}, words = {{ {words} }} }}"

    # -- the first rows --------------------------------------------------------------------------------------------
    def _rows(self) -> Iterator[str]:
        """The first rows: what the cells say, and what is read of them where nothing is left to choose."""
        import pyarrow as pa
        rows = self.sample.rows[:_SHOWN]
        settled = {n: c for n, c in self.chosen.items() if not COLUMNS[n].units or "unit" in c}
        line = next((c for c in self._cells("line") if c), "-") if "line" in self.chosen else None
        how = Listing.model_validate({"decimal": "point", "line": line, **self.marks})
        columns = Columns.model_validate(settled)
        mapping = Mapping("", how, {n: getattr(columns, n) for n in settled}, LineTable(base="base.toml"))
        number = self.sample.header_row + (2 if self.sample.units else 1) + np.arange(len(rows))
        cells = {n: Cells(pa.array([c or None for c in self._cells(n)[:_SHOWN]], pa.string())) for n in self.chosen}
        read, faults = Reader(mapping).read(Chunk(number, {n: cells[n] for n in settled}, []))
        for k, row in enumerate(number.tolist()):
            wrong = {f.column: f for j, f in faults if j == k}
            yield f"row {row}: " + "; ".join(self._said(n, c, cells[n].text[k].as_py(), read, k, wrong)
                                            for n, c in self.chosen.items() if cells[n].text[k].as_py())

    def _said(self, ours: str, column: dict[str, Any], cell: str, read: dict[str, np.ndarray], k: int,
              wrong: dict[str, Any]) -> str:
        if column["column"] in wrong:
            return f"{ours} {units.shown(cell)} cannot be read"
        if COLUMNS[ours].units and "unit" not in column:
            return f"{ours} {units.shown(cell)} in a unit to be chosen"
        name = "depth_share" if column.get("unit") in SHARES else ours
        value = read[name][k]
        if COLUMNS[ours].is_text:
            return f"{ours} {value}"
        base = {CLOCK: "h", LENGTH: "mm", DEPTH: "mm"}.get(COLUMNS[ours].holds, "") if name == ours else ""
        return f"{ours} {units.digits(float(value), 6)} {base}".rstrip()
