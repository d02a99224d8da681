"""Depths that can be read and yet can hardly be meant: of rows that are no damage, and shares of 1 read as per cent."""

from __future__ import annotations

from collections.abc import Mapping as Named
from typing import TYPE_CHECKING

import numpy as np

from wrapcalc import units
from wrapcalc.campaign.listing.blocks import RowFault
from wrapcalc.campaign.listing.chunks import Chunk, heading
from wrapcalc.campaign.listing.columns import DAMAGE, FRACTIONS, OF_MEASURED, OF_NOMINAL, PER_CENT
from wrapcalc.campaign.screening.noted import Noted
from wrapcalc.errors import CaseFaults, Fault

if TYPE_CHECKING:
    from wrapcalc.campaign.listing.mapping import Mapping

_FRACTION = dict(zip((OF_NOMINAL, OF_MEASURED), FRACTIONS, strict=True))
#: Kinds that may have a depth; a kind that is not known is a fault already.
_FINE = frozenset((*DAMAGE, ""))
#: Below it a share in per cent is told; tools report from several per cent on.
_LITTLE = 0.01


class Depths:
    """Looks at the depths of a listing chunk by chunk; noted: takes what is odd and screened all the same."""

    def __init__(self, mapping: Mapping, noted: Noted):
        self._mapping, self._noted = mapping, noted
        column = mapping.columns.get("depth")
        self._unit = str(getattr(column, "unit", ""))
        self._heading = "" if column is None else heading(column.column)
        self._stated, self._most = 0, (0.0, 0)

    def faults(self, chunk: Chunk, read: Named[str, np.ndarray]) -> list[tuple[int, RowFault]]:
        """Places and faults of rows that are no damage and state a depth all the same. read: arrays of the chunk."""
        depth = read.get("depth_share", read.get("depth"))
        if depth is None:
            return []
        stated = np.flatnonzero(depth > 0)
        self._shares(chunk, depth, stated)
        kinds = read["kind"][stated].tolist()
        out = [(k, self._fault(chunk, k, kind)) for k, kind in zip(stated.tolist(), kinds, strict=True)
               if kind not in _FINE]
        self._summary(chunk, out)
        return out

    def _word(self, chunk: Chunk, k: int) -> str:
        return units.shown(" ".join(str(chunk.cells["kind"].text[k].as_py()).split()))

    def _fault(self, chunk: Chunk, k: int, kind: str) -> RowFault:
        cells = chunk.cells["depth"]
        text = cells.text[k].as_py()
        number = text.strip() if text is not None else f"{cells.number[k]:.12g}"  # type: ignore[index]
        return RowFault(int(chunk.row[k]), self._heading, f"a depth of {units.shown(number)} in a row that is "
                        f"{self._word(chunk, k)}, {_article(kind)}", "no depth in a row that is no anomaly, or the "
                        "word of a damage", "correct the kind of the row, or what the word means in words of "
                        "columns.kind; empty the depth if it is a slip")

    def _summary(self, chunk: Chunk, told: list[tuple[int, RowFault]]) -> None:
        of: dict[str, list[int]] = {}
        for k, fault in told:
            of.setdefault(self._word(chunk, k), []).append(fault.row)
        for word, rows in of.items():
            self._noted.add(f"{word} states a depth and is no anomaly by words of columns.kind: not screened, see "
                            "whether the word stands for damage", np.array(rows))

    def _shares(self, chunk: Chunk, depth: np.ndarray, stated: np.ndarray) -> None:
        if self._unit not in PER_CENT or not len(stated):
            return
        at = stated[np.argmax(depth[stated])]
        self._stated += len(stated)
        self._most = max(self._most, (float(depth[at]), -int(chunk.row[at])))
        little = stated[depth[stated] < _LITTLE]
        self._noted.add("a depth of less than 1 % of the wall: see whether it is a share such as 0.32, which is 32 %",
                        chunk.row[little])

    def refuse(self) -> None:
        """Raises CaseFaults when no depth of the whole listing is above 1 per cent."""
        most, row = self._most
        if self._stated and most <= _LITTLE:
            raise CaseFaults([Fault(
                self._mapping.file, "columns.depth.unit", f"'{self._unit}', but none of {self._stated} depths is above "
                f"1 % (the greatest, {100 * most:.6g}, is in row {-row})", "depths in per cent, such as 32 for 32 %",
                f'write unit = "{_FRACTION[self._unit]}" if 0.32 means 32 %',
                self._mapping.line_of("columns.depth.unit"))])


def _article(kind: str) -> str:
    return "which is no anomaly" if kind == "other" else f"a {kind}"
