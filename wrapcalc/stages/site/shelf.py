"""Whether a row of the shelf is of the system of a case."""

from __future__ import annotations

from wrapcalc.case import Bundle
from wrapcalc.case.site_model import PACKED, SAME_PACK, Stock


def other_than(bundle: Bundle, s: Stock) -> str:
    """Of which other system, layers or pack a row of the shelf says that it is; "" when it may be of this one. What it
    does not state is that of the sheet of this case."""
    system = bundle.system
    assert system is not None
    if s.system is not None and s.system.casefold() != str(system.system.id).casefold():
        return f"it is of system {s.system}, the case is of {system.system.id}"
    if s.layers is not None and s.item == "unit" and system.is_sleeve:
        made = system.value("sleeve.layers").magnitude
        if s.layers.base != made:
            return f"its units have {s.layers.base:g} layers, those of the sheet {made:g}"
    part = getattr(system, str(s.item).replace(" ", "_"), None) if s.item in PACKED else None
    pack = getattr(part, "pack", None)
    if s.pack is not None and pack is not None and abs(s.pack.base - pack.base) > SAME_PACK * pack.base:
        return f"its packs are of {s.pack.written}, those of the sheet of {pack.written}"
    return ""
