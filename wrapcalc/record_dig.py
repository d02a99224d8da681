"""The dig as plain data, as the dig sheet prints it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from wrapcalc.stages.dig.rows import far
from wrapcalc.values import Value

if TYPE_CHECKING:
    from wrapcalc.stages.dig.dig import Dig
    from wrapcalc.stages.dig.rows import Row

AsData = Callable[[Value | None], dict[str, Any] | None]
#: Groups of rows, in the order of the sheet.
GROUPS = ("pressure", "where", "proof", "size", "trench", "helpers")
_PLACES = ("upstream_edge", "middle", "downstream_edge", "measured")


def dig_data(dig: Dig | None, data: AsData, display: str) -> dict[str, Any] | None:
    """The dig for the record; None where the case states nothing of it. shown: "" is a blank to be filled in."""
    if dig is None:
        return None
    show = far(display)

    def ground(value: Value | None) -> dict[str, Any] | None:
        """A distance in the units of the ground: m or ft."""
        found = data(value)
        return None if found is None else found | {"shown": show(value)}

    return {**{group: [_row(r, data) for r in getattr(dig, group)] for group in GROUPS},
            "joints": [{"side": j.side, "number": j.number, "length": ground(j.length), "seam": data(j.seam),
                        "seam_clock": j.seam_clock, "apart": j.apart, "told": j.told} for j in dig.joints],
            "distances": [{"weld": x.weld, **{k: ground(getattr(x, k)) for k in _PLACES}} for x in dig.distances],
            "needs": list(dig.needs), "alike": list(dig.alike), "cautions": list(dig.cautions)}


def _row(row: Row, data: AsData) -> dict[str, Any]:
    value = data(row.value)
    return {"label": row.label, "value": value, "shown": row.words or (value["shown"] if value else ""),
            "note": row.note, "struck": row.struck}
