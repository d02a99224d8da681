"""From cells to numbers in mm, shares, hours of the clock, and texts; and what is wrong with a cell.

Cells that are plain are read all at once; those with anything else in them (blanks, a unit, a mark between thousands)
go through a stricter reading; what that refuses is a fault. Nothing is guessed: decimal mark, mark between thousands
and unit are those of the mapping.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from wrapcalc import units
from wrapcalc.campaign.listing.blocks import RowFault
from wrapcalc.campaign.listing.chunks import Cells, Chunk, heading
from wrapcalc.campaign.listing.clock_sense import Clocks
from wrapcalc.campaign.listing.columns import (
    ANGLE,
    CLOCK,
    CLOCK_HIGH,
    COLUMNS,
    DEGREES,
    H_MM,
    HOURS,
    KINDS,
    OF_DAY,
    PER_CENT,
    SHARES,
    Known,
    range_words,
)
from wrapcalc.campaign.listing.mapping import words_key
from wrapcalc.campaign.listing.text_cells import Told, distinct_texts, texts_of
from wrapcalc.campaign.tables.tables import short

if TYPE_CHECKING:
    from wrapcalc.campaign.listing.mapping import Mapping

#: How a unit may be written in a cell, beside its own name.
_IN_CELL = {"in": ('"',), "ft": ("'",), DEGREES: ("°", "deg"), **dict.fromkeys(PER_CENT, ("%",))}
_CLOCK = re.compile(r"([0-9]{1,2}):([0-5][0-9])(?::([0-5][0-9]))?")
_CLOCK_SAYS = "a clock position facing downstream from 0:00 to 12:59"
_SPACES = "[ \u00a0\u202f]"


class Reader:
    """Reads chunks of a listing by its mapping."""

    def __init__(self, mapping: Mapping):
        self._mapping = mapping
        self._columns = mapping.columns
        self._blanks = frozenset(mapping.listing.blank)
        #: Looks at the clocks while they are read.
        self.clocks = Clocks(mapping)

    def read(self, chunk: Chunk) -> tuple[dict[str, np.ndarray], list[tuple[int, RowFault]]]:
        """Arrays of all rows of the chunk, and faults with their places in it."""
        again = self._headings_again(chunk)
        out: dict[str, np.ndarray] = {}
        faults = [(k, RowFault(int(chunk.row[k]), "the row", "the headings again", "a row for each feature",
                               "remove this row")) for k in sorted(again)]
        for name, cells in chunk.cells.items():
            column, known = self._columns[name], COLUMNS[name]
            values, told = (self._text(known, column, cells) if known.is_text else
                            self._number(known, column, cells, again))
            out["depth_share" if getattr(column, "unit", None) in SHARES else name] = values
            shown = heading(column.column)
            faults += [(k, RowFault(int(chunk.row[k]), shown, *words)) for k, *words in told if k not in again]
        return out, faults

    def _headings_again(self, chunk: Chunk) -> set[int]:
        """Places of rows that hold the headings again."""
        import pyarrow as pa
        if "log_distance" not in chunk.cells:
            return set()
        texts = chunk.cells["log_distance"].text
        if texts.null_count == len(texts):
            return set()
        odd = _odd(texts, _plain_bytes(self._mapping.listing.decimal_mark))
        head = words_key(str(self._columns["log_distance"].column))
        return {k for k, text in zip(odd.tolist(), texts.take(pa.array(odd)).to_pylist(), strict=True)
                if words_key(text) == head}

    # -- texts -----------------------------------------------------------------------------------------------------
    def _text(self, known: Known, column: Any, cells: Cells) -> tuple[np.ndarray, list[Told]]:
        if known.name not in ("kind", "line"):
            return texts_of(cells, self._blanks)
        found, at, told = distinct_texts(cells, self._blanks)
        wrong = {k for k, *_ in told}
        ours, faults = self._kinds(column.words, found) if known.name == "kind" else (found, self._other_lines(found))
        told += [(k, *fault) for j, fault in faults.items() for k in np.flatnonzero(at == j).tolist() if k not in wrong]
        return ours[at], told

    def _kinds(self, words: dict[str, str], found: np.ndarray) -> tuple[np.ndarray, dict[int, tuple[str, str, str]]]:
        """Our words for those of the listing, and faults of those that we do not know."""
        ours, faults = [], {}
        allowed = f"a word of columns.kind.words, or one of {', '.join(KINDS)}"
        for j, word in enumerate(found.tolist()):
            key = words_key(word)
            ours.append(words.get(key) or (key if key in KINDS else ""))
            if not word:
                faults[j] = ("nothing", allowed, "fill in what the row is")
            elif not ours[-1]:
                faults[j] = (units.shown(word), allowed,
                             f'add to words of columns.kind: "{units.printable(word)[:60]}" = "..."')
        return np.array(ours, dtype=object), faults

    def _other_lines(self, found: np.ndarray) -> dict[int, tuple[str, str, str]]:
        mine = str(self._mapping.listing.line)
        return {j: (units.shown(text) if text else "nothing", f"{units.shown(mine)}, the line of the mapping",
                    "screen rows of another line by themselves, with their own mapping" if text else "fill in the line")
                for j, text in enumerate(found.tolist()) if words_key(text) != words_key(mine)}

    # -- numbers ---------------------------------------------------------------------------------------------------
    def _number(self, known: Known, column: Any, cells: Cells, again: set[int]) -> tuple[np.ndarray, list[Told]]:
        unit = getattr(column, "unit", "")
        allowed = _CLOCK_SAYS if unit == H_MM else range_words(known, unit)
        told: list[Told] = [(k, found, allowed, mend) for k, (found, mend) in cells.odd.items()]
        if unit == H_MM:
            values, bad = _clocks(cells, self._blanks)
        else:
            values, bad = numbers(cells.text, self._mapping, unit, self._blanks)
            if cells.number is not None:
                values = np.where(np.isnan(cells.number), values, cells.number)
        told += [(k, found, allowed, mend if mend else self._why(found, known, unit)) for k, found, mend in bad
                 if k not in again]
        with np.errstate(invalid="ignore", over="ignore"):  # what is too great is told as out of bounds
            base = values if unit == H_MM else _base(values, known, unit)
            outside = np.flatnonzero(_outside(base, values, known, unit)).tolist()
            out = base if known.holds != CLOCK else _hours(base, unit)
        if unit == HOURS:
            self.clocks.see(known.name, np.delete(base, outside))
        told += [(k, _shown(cells, k), allowed, _suspect(known, float(values[k]))) for k in outside]
        if known.needed:
            none = np.flatnonzero(np.isnan(values)).tolist()
            seen = {k for k, *_ in told}
            told += [(k, "nothing", allowed, "fill it in: a row that nobody can find again is not screened")
                     for k in none if k not in seen]
        return out, told

    def _why(self, found: str, known: Known, unit: str) -> str:
        """How to mend a cell that is no number as the mapping says numbers are."""
        s = self._mapping.listing
        text = found.strip("'")
        if m := re.fullmatch(r"[-+−]?[\d.,\s\u00a0\u202f]+\s*([^\d\s.,].*)", text):
            given = m[1].strip()
            if given in known.units or given in ("%", '"', "°"):
                return f"a column has one unit, here {unit}: convert this cell, or remove its unit if it is a slip"
        if re.fullmatch(r"[-+−]?\d[\d.,\s\u00a0\u202f]*", text):
            return (f"the mapping says decimal = \"{s.decimal}\" and thousands = \"{s.thousands or 'none'}\": correct "
                    "the cell, or the mapping if the whole column is so")
        if not any(c.isdigit() for c in text):
            return "write the number, or leave the cell empty; if such a text means 'not stated', name it in blank " \
                "under [listing]"
        return "write one number, without text"


def _shown(cells: Cells, k: int) -> str:
    text = cells.text[k].as_py()
    return units.shown(text if text is not None else f"{cells.number[k]:.12g}")  # type: ignore[index]


def _suspect(known: Known, value: float) -> str:
    if value < 0 and known.low >= 0:
        return "check the sign; leave the cell empty if it is not known"
    if value == 0 and known.above:
        return "leave the cell empty if it was not measured"
    return "check the number, its decimal mark, and the unit of the column in the mapping"


def _base(values: np.ndarray, known: Known, unit: str) -> np.ndarray:
    """Numbers in the unit we calculate in, as units.to_base gives each."""
    if unit in PER_CENT:
        return short(values / 100)
    if not unit or unit in SHARES or known.holds in (CLOCK, ANGLE) or unit == "mm":
        return values
    return short(units.convert(values, units.KINDS["length"].units[unit], "mm"))


def _outside(base: np.ndarray, values: np.ndarray, known: Known, unit: str) -> np.ndarray:
    if unit == H_MM:
        return np.zeros(len(base), bool)
    if known.holds == CLOCK:
        high = CLOCK_HIGH[unit]
        return (values < 0) | (values > high) | ((values == high) & (unit != DEGREES))
    high = 1.0 if unit in SHARES else known.high
    return (base < known.low) | (base > high) | ((base == known.low) & known.above)


def _hours(values: np.ndarray, unit: str) -> np.ndarray:
    """Hours of the clock from 0 to less than 12."""
    if unit == H_MM:
        return values
    return short(values / 30) % 12 if unit == DEGREES else short(values * 24) % 12 if unit == OF_DAY else values % 12


# -- clock positions ----------------------------------------------------------------------------------------------
def _clocks(cells: Cells, blanks: frozenset[str]) -> tuple[np.ndarray, list[tuple[int, str, str]]]:
    """Hours, and (place, found, how to mend) of what is no clock position."""
    coded = cells.text.dictionary_encode()
    found = coded.dictionary.to_pylist()
    hours = np.array([*map(_clock, found), np.nan])
    at = coded.indices.fill_null(len(found)).to_numpy(zero_copy_only=False)
    bad: list[tuple[int, str, str]] = []
    for j, text in enumerate(found):
        if np.isnan(hours[j]) and text.strip() and text.strip() not in blanks:
            mend = "write 4:30 for half past four"
            if re.search(r"[ap]\.?m\.?$", text.strip(), re.IGNORECASE):
                mend = "write 4:30 without AM or PM; format the column as h:mm before it is exported"
            elif re.fullmatch(r"\s*[\d.,]+\s*", text):
                mend = f"write 4:30; {_so(text)}"
            bad += [(k, units.shown(text), mend) for k in np.flatnonzero(at == j).tolist()]
    if cells.number is not None:
        bad += [(k, f"the bare number {cells.number[k]:.6g}", f"format the column as h:mm; {_so(cells.number[k])}")
                for k in np.flatnonzero(~np.isnan(cells.number)).tolist()]
    return hours[at], bad


def _so(number: str | float) -> str:
    """Which unit the mapping needs where a whole column holds such numbers."""
    try:
        value = float(number.strip().replace(",", ".") if isinstance(number, str) else number)
    except ValueError:
        value = np.nan
    needs = f'"{OF_DAY}", since a spreadsheet keeps 4:30 as 0.1875' if 0 < value < CLOCK_HIGH[OF_DAY] else \
        f'"{HOURS}" or "{DEGREES}"'
    return f"if the whole column is so, the mapping needs unit = {needs}"


def _clock(text: str) -> float:
    m = _CLOCK.fullmatch(text.strip())
    if m is None or int(m[1]) > 12:
        return np.nan
    return int(m[1]) % 12 + (int(m[2]) + int(m[3] or 0) / 60) / 60


# -- numbers as texts ---------------------------------------------------------------------------------------------
def numbers(texts: Any, mapping: Mapping, unit: str, blanks: Iterable[str]) -> tuple[np.ndarray,
                                                                                     list[tuple[int, str, str]]]:
    """Numbers in texts, NaN for what is blank; and (place, found, "") of what is no number as the mapping says."""
    import pyarrow as pa
    import pyarrow.compute as pc
    decimal = mapping.listing.decimal_mark
    if decimal == ".":
        try:
            values = texts.cast(pa.float64()).to_numpy(zero_copy_only=False)
            if np.count_nonzero(np.isfinite(values)) == len(texts) - texts.null_count:  # nan and inf are no numbers
                return values, []
        except pa.ArrowInvalid:
            pass
    odd = _odd(texts, _plain_bytes(decimal))
    plain = texts
    if len(odd):
        mask = np.zeros(len(texts), bool)
        mask[odd] = True
        plain = pc.if_else(pa.array(mask), pa.scalar(None, pa.string()), texts)
    if decimal != ".":
        plain = pc.replace_substring(plain, decimal, ".")
    try:
        values = _floats(plain.cast(pa.float64()))
    except pa.ArrowInvalid:  # such as 1.2.3, or -
        sound = pc.fill_null(pc.match_substring_regex(plain, r"^-?(\d+(\.\d*)?|\.\d+)$"), True)
        odd = np.union1d(odd, np.flatnonzero(~sound.to_numpy(zero_copy_only=False)))
        values = _one_by_one(pc.if_else(sound, plain, pa.scalar(None, pa.string())))
    if not len(odd):
        return values, []
    some = texts.take(pa.array(odd))
    read, refused = _strict(some, mapping, unit, frozenset(blanks))
    values[odd] = read
    return values, [(int(odd[k]), units.shown(some[k].as_py()), "") for k in refused.tolist()]


def _floats(array: Any) -> np.ndarray:
    return np.array(array.to_numpy(zero_copy_only=False), dtype=float)  # our own copy: it is written to


def _one_by_one(array: Any) -> np.ndarray:
    import pyarrow as pa
    try:
        return _floats(array.cast(pa.float64()))
    except pa.ArrowInvalid:  # a number beyond all floats; its size is told
        return np.array([np.nan if t is None else float(t) for t in array.to_pylist()])


def _odd(texts: Any, plain: np.ndarray) -> np.ndarray:
    """Places of texts with a byte that is not plain."""
    ends = np.frombuffer(texts.buffers()[1], np.int32)[texts.offset:texts.offset + len(texts) + 1]
    data = texts.buffers()[2]
    if data is None or not len(texts) or ends[0] == ends[-1]:
        return np.empty(0, np.intp)
    other = np.flatnonzero(~plain[np.frombuffer(data, np.uint8)[ends[0]:ends[-1]]])
    if not len(other):
        return np.empty(0, np.intp)
    return np.unique(np.searchsorted(ends, other + ends[0], side="right") - 1)


@lru_cache
def _plain_bytes(decimal: str) -> np.ndarray:
    plain = np.zeros(256, bool)
    plain[[ord(c) for c in f"0123456789-{decimal}"]] = True
    return plain


def _strict(some: Any, mapping: Mapping, unit: str, blanks: frozenset[str]) -> tuple[np.ndarray, np.ndarray]:
    """Numbers in texts that are not plain; and the places of what is neither a number nor blank."""
    import pyarrow as pa
    import pyarrow.compute as pc
    s = mapping.listing
    mark = {"": "", " ": _SPACES}.get(s.thousands_mark, re.escape(s.thousands_mark))
    whole = rf"(?:\d{{1,3}}(?:{mark}\d{{3}})+|\d+)" if mark else r"\d+"
    point = re.escape(s.decimal_mark)
    named = [u for u in (unit, *_IN_CELL.get(unit, ())) if u]
    ending = rf"(?:\s*(?:{'|'.join(map(re.escape, named))}))?" if named else ""
    number = rf"[-+]?(?:{whole}(?:{point}\d*)?|{point}\d+)(?:[eE][-+]?\d+)?"
    some = pc.replace_substring(pc.utf8_trim_whitespace(some), "−", "-")
    sound = pc.match_substring_regex(some, rf"\A{number}{ending}\z")
    text = pc.if_else(sound, some, pa.scalar(None, pa.string()))
    if ending:
        text = pc.replace_substring_regex(text, rf"{ending}\z", "")
    if mark:
        text = pc.replace_substring_regex(text, mark, "")
    text = pc.replace_substring(text, s.decimal_mark, ".")
    values = _one_by_one(pc.replace_substring_regex(text, r"\A\+", ""))
    blank = pc.is_in(some, pa.array(["", *blanks], pa.string()))
    refused = ~(sound.to_numpy(zero_copy_only=False) | blank.to_numpy(zero_copy_only=False))
    return values, np.flatnonzero(refused)
