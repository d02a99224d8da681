"""Clocks that can be read and yet can hardly be meant: shares of a day read as decimal hours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wrapcalc.campaign.listing.columns import HOURS, OF_DAY
from wrapcalc.errors import CaseFaults, Fault

if TYPE_CHECKING:
    from wrapcalc.campaign.listing.mapping import Mapping


class Clocks:
    """Looks at the decimal hours of a listing chunk by chunk."""

    def __init__(self, mapping: Mapping):
        self._mapping = mapping
        self._seen: dict[str, tuple[int, float]] = {}

    def see(self, name: str, hours: np.ndarray) -> None:
        """Hours of a column as they are written, in bounds; NaN where nothing stands."""
        count, most = self._seen.get(name, (0, 0.0))
        self._seen[name] = (count + int(np.isfinite(hours).sum()), max(most, float(np.fmax.reduce(hours, initial=0.0))))

    def refuse(self) -> None:
        """Raises CaseFaults for each column whose clocks are all below 1 hour, unless all of them are 0."""
        faults = [Fault(
            self._mapping.file, f"columns.{name}.unit", f"'{HOURS}', but none of {count} clocks reaches 1 (the "
            f"greatest is {most:.6g}): all would lie between 12:00 and 1:00", "hours, such as 4.5 for 4:30",
            f'write unit = "{OF_DAY}" if 0.1875 means 4:30, as a spreadsheet keeps it; if all do lie there, write 12.5 '
            "in place of 0.5", self._mapping.line_of(f"columns.{name}.unit"))
            for name, (count, most) in self._seen.items() if 0 < most < 1]
        if faults:
            raise CaseFaults(faults)
