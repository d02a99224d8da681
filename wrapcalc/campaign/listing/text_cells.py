"""Texts of a listing as `fields.read_text` reads each, all at once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from wrapcalc.fields import FieldFault, read_text

if TYPE_CHECKING:
    from wrapcalc.campaign.listing.chunks import Cells

_LONGEST, _SAMPLE = 2000, 2000
_ALLOWED = "a text of one line without control characters"
#: (place, found, allowed, how to mend)
Told = tuple[int, str, str, str]


def texts_of(cells: Cells, blanks: frozenset[str]) -> tuple[np.ndarray, list[Told]]:
    """Texts, "" for what is blank; and what is wrong with those that are none."""
    sample = cells.text.slice(0, _SAMPLE)
    if len(sample.unique()) * 2 < len(sample):
        found, at, told = distinct_texts(cells, blanks)
        return found[at], told
    values = cells.text.fill_null("")
    out = np.array(values.to_numpy(zero_copy_only=False))  # our own copy: it is written to
    wrong = _mended(values, out, blanks)
    return out, [*_odd(cells), *((k, *w) for k, w in wrong.items())]


def distinct_texts(cells: Cells, blanks: frozenset[str]) -> tuple[np.ndarray, np.ndarray, list[Told]]:
    """Distinct texts, the last of which is ""; the place of each cell among them; and what is wrong."""
    coded = cells.text.dictionary_encode()
    found = np.array([*coded.dictionary.to_pylist(), ""], dtype=object)
    wrong = _mended(coded.dictionary, found, blanks)
    at = coded.indices.fill_null(len(found) - 1).to_numpy(zero_copy_only=False)
    told = [(k, *w) for j, w in wrong.items() for k in np.flatnonzero(at == j).tolist()]
    return found, at, [*_odd(cells), *told]


def _odd(cells: Cells) -> list[Told]:
    return [(k, found, _ALLOWED, mend) for k, (found, mend) in cells.odd.items()]


def _mended(values: Any, out: np.ndarray, blanks: frozenset[str]) -> dict[int, tuple[str, str, str]]:
    """Put texts that are not plain into `out` as they are read; what cannot be read, by place."""
    import pyarrow as pa
    import pyarrow.compute as pc
    look = _not_plain(values)
    if blanks:
        found = pc.is_in(values, pa.array(sorted(blanks), pa.string()))
        look = np.union1d(look, np.flatnonzero(found.to_numpy(zero_copy_only=False)))
    wrong = {}
    for k in look.tolist():
        try:
            text = read_text(values[k].as_py()) or ""
            out[k] = "" if text in blanks else text
        except FieldFault as e:
            out[k], wrong[k] = "", (e.found, _ALLOWED, e.mend)
    return wrong


_PLAIN = np.zeros(256, bool)
_PLAIN[0x20:0x7F] = True


def _not_plain(values: Any) -> np.ndarray:
    """Places of texts with blanks at an end or two together, with anything but plain ASCII in them, or too long."""
    ends = np.frombuffer(values.buffers()[1], np.int32)[values.offset:values.offset + len(values) + 1]
    if values.buffers()[2] is None or not len(values) or ends[0] == ends[-1]:
        return np.empty(0, np.intp)
    data = np.frombuffer(values.buffers()[2], np.uint8)[ends[0]:ends[-1]]
    ends = ends - ends[0]
    blank = data == 0x20
    at = [np.flatnonzero(~_PLAIN[data]), np.flatnonzero(blank[1:] & blank[:-1])]
    rows = np.searchsorted(ends, np.concatenate(at), side="right") - 1
    some = np.flatnonzero(ends[1:] > ends[:-1])
    edge = some[blank[ends[:-1][some]] | blank[ends[1:][some] - 1]]
    return np.unique(np.concatenate([rows, edge, np.flatnonzero(np.diff(ends) > _LONGEST)]))
