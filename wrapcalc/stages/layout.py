"""Which units side by side cover the length: every set of the system's widths is tried."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from itertools import accumulate, combinations_with_replacement

from wrapcalc.case import Bundle
from wrapcalc.recorder import active
from wrapcalc.standards.documents import MECHANICS
from wrapcalc.units import show
from wrapcalc.values import Value


@dataclass(frozen=True)
class Layout:
    """Units from upstream to downstream. widths in mm; joint: overlap of neighbours in mm (0 butted);
    cover: full-thickness length; total_width: sum of the widths; counts: width in mm -> number of units."""

    widths: tuple[float, ...]
    joint: float
    cover: Value
    total_width: Value
    counts: dict[float, Value]

    @property
    def off_joints(self) -> float:
        """Length, centred, that no butted joint lies over, in mm; infinite without one."""
        return 2 * min((abs(x) for x in _joints(self.widths)), default=math.inf) if not self.joint else math.inf


def lay_out(bundle: Bundle, full: Value, end: Value, length: Value, *, single: bool = False, label: str = ""
            ) -> Layout | None:
    """The set of units with the fewest units, then the least width; None when no set covers the length.

    single: the wrap carries axial load, which neither a butted joint nor a lap shorter than the bond length hands on:
    one unit must cover all.

    Sleeves are butted, and their square ends count in full; a set whose joints stay off the damage (`length`,
    centred) comes before one whose joints do not. Bands of cloth overlap, and their tapered ends do not count, so
    that the bands must cover the ends as well. Recorded as a procedure.
    """
    system, rec, display = bundle.system, active(), bundle.case.display
    assert system is not None
    part = "sleeve" if system.is_sleeve else "lay_up"
    most = int(system.value(f"{part}.most_units").magnitude)
    joint = 0.0 if system.is_sleeve else system.value("lay_up.band_overlap").magnitude
    ends = 0.0 if system.is_sleeve else 2 * end.magnitude
    widths = [w.magnitude for w in system.unit_widths]
    need = full.magnitude
    found, tried = [], 0
    for n in range(1, 2 if single else most + 1):
        for chosen in combinations_with_replacement(widths, n):
            tried += 1
            cover = sum(chosen) - (n - 1) * joint - ends
            if cover >= need:
                over = system.is_sleeve and any(abs(x) < length.magnitude / 2 for x in _joints(_deal(chosen)))
                found.append((over, n, sum(chosen), cover, chosen))
    if not found:
        return None
    found.sort()
    over, _, total, cover, chosen = found[0]
    if over:
        rec.warn("A butted joint of the sleeves lies over the damage: no set of the system's widths covers the length "
                 "without one. Confirm with the system's supplier that it may.", full.origin.ref)
    inputs = {"full-thickness length": full, "length used": length}
    inputs |= {f"width {i + 1}": w for i, w in enumerate(system.unit_widths)}
    inputs["most units"] = system.value(f"{part}.most_units")
    if not system.is_sleeve:
        inputs |= {"band overlap": system.value("lay_up.band_overlap"), "end length": end}

    def words(option) -> str:
        return " + ".join(show(w, "mm", system=display) for w in _deal(option[4]))

    details = [("sets tried", str(tried)), ("sets that cover", str(len(found))), ("chosen", words(found[0])),
               ("covers", show(cover, "mm", system=display)),
               ("beyond the need", show(cover - need, "mm", system=display))]
    if system.is_sleeve:
        details.insert(2, ("of these with no joint over the damage", str(sum(not f[0] for f in found))))
    details += [(f"next choice {i}", f"{words(o)}, covers {show(o[3], 'mm', system=display)}")
                for i, o in enumerate(found[1:3], 1)]
    counts = Counter(chosen)
    if single:
        details.append(("one unit only", "the wrap carries axial load, which "
                        + ("a butted joint" if system.is_sleeve else "a lap shorter than the bond length")
                        + " does not hand on"))
    names = {w: f"units {show(w, 'mm', system=display)} wide" for w in counts}
    method = ("every set of the system's widths, joints off the damage first, then fewest units, then least width; "
              "sleeves butted" if system.is_sleeve else
              "every set of the system's widths, by fewest units, then least width; bands overlapped, tapered ends not "
              "counted")
    out = rec.procedure("Units side by side" + label, method, MECHANICS.id, "derived", inputs,
                        {"full-thickness cover": (cover, "mm"), "sum of widths": (total, "mm"),
                         **{names[w]: (k, "") for w, k in counts.items()}}, details)
    return Layout(_deal(chosen), joint, out["full-thickness cover"], out["sum of widths"],
                  {w: out[names[w]] for w in counts})


def _joints(widths: tuple[float, ...]) -> list[float]:
    """Where butted units meet, from the middle of the set."""
    edges = list(accumulate(widths))
    return [x - edges[-1] / 2 for x in edges[:-1]]


def _deal(widths: tuple[float, ...]) -> tuple[float, ...]:
    """The widest in the middle, so that joints lie away from the deepest metal and the set looks symmetric."""
    order: list[float] = []
    for i, w in enumerate(sorted(widths, reverse=True)):
        order = [*order, w] if i % 2 == 0 else [w, *order]
    return tuple(order)
