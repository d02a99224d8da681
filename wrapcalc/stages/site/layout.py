"""Which units side by side cover a repair, in which order and where: the best set by the objectives of the case."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace

from wrapcalc.case import Bundle
from wrapcalc.case.site_model import OBJECTIVES
from wrapcalc.recorder import active
from wrapcalc.searches.unit_layout import Alternative, Best, KeepOut, Problem, Unit, best
from wrapcalc.searches.unit_layout import Layout as Found
from wrapcalc.stages.site.shelf import good_until, in_date, other_than, times
from wrapcalc.standards.documents import MECHANICS
from wrapcalc.units import show
from wrapcalc.values import Value

#: Symmetry before joints: the spare of the overlap then lies on both sides of damage that turns out longer.
DEFAULT_ORDER = ("fewest units", "least waste", "symmetry", "joints away from the deepest metal", "oldest stock")
#: Sleeves are made for an outside diameter; stock of another one is not ours.
_SAME_DIAMETER = 0.6


@dataclass(frozen=True)
class Place:
    """Where one repair may lie, in mm from the middle of all damage, downstream positive.

    need: full thickness required; damage: what lies under it, allowance included; free: where no butted joint should
    lie, the damage and the side tolerance of the sheet; keep_outs: for the whole repair; deepest: stations of the
    deepest metal.
    """

    need: tuple[float, float]
    damage: tuple[float, float]
    free: tuple[float, float]
    keep_outs: tuple[KeepOut, ...]
    deepest: tuple[float, ...]


@dataclass(frozen=True)
class Layout:
    """Units from upstream to downstream. widths in mm; joint: overlap of neighbours in mm (0 butted);
    cover: full-thickness length; total_width: sum of the widths; counts: width in mm -> number of units.

    start: upstream side of the first unit, and joints: where butted units meet, in mm from the middle of all damage;
    fits: False where the keep-outs leave no room and the set lies over the middle all the same;
    clear: greatest length, centred on the damage, that no butted joint lies over.
    """

    widths: tuple[float, ...]
    joint: float
    cover: Value
    total_width: Value
    counts: dict[float, Value]
    start: float
    joints: tuple[float, ...]
    middle: float
    off_joints: float
    fits: bool = True
    reason: str = ""


def order_of(bundle: Bundle) -> tuple[str, ...]:
    """The objectives in the order of the case; those it does not name follow in ours."""
    chosen = [str(w) for p in ("first", "second", "third", "fourth", "fifth")
              if (w := getattr(bundle.case.layout, p)) is not None]
    return (*chosen, *(o for o in DEFAULT_ORDER if o not in chosen))


def lay_out(bundle: Bundle, full: Value, end: Value, length: Value, place: Place, *, single: bool = False,
            label: str = "") -> Layout | None:
    """The best set of units and its place; None when no set covers the length.

    single: the wrap carries axial load, which neither a butted joint nor a lap shorter than the bond length hands on:
    one unit must cover all.

    Sleeves are butted, and their square ends count in full; a set whose joints stay off the damage, by the side
    tolerance of the sheet, comes before one whose joints do not. Bands of cloth overlap, and their tapered ends do not
    count, so that the bands must cover the ends as well. Recorded as a procedure.
    """
    system, rec = bundle.system, active()
    assert system is not None
    part = "sleeve" if system.is_sleeve else "lay_up"
    joint = 0.0 if system.is_sleeve else system.value("lay_up.band_overlap").magnitude
    units = _units(bundle)
    asked = Problem(place.need, units, joint, system.is_sleeve, 0.0 if system.is_sleeve else end.magnitude,
                    end.magnitude if system.is_sleeve else 0.0, int(system.value(f"{part}.most_units").magnitude),
                    place.keep_outs, place.deepest, place.free, order_of(bundle), single)
    found = best(asked)
    if found.reason == "stock too small":
        rec.warn(f"The stock is too small{label}: it covers {_mm(bundle, found.numbers['greatest cover'])} of "
                 f"{_mm(bundle, found.numbers['need'])}. The set below has to be ordered.", "case: layout.from_stock")
        asked = _without(asked, units=tuple(Unit(w.magnitude, None) for w in system.unit_widths))
        found = best(asked)
    fits, reason = found.layout is not None, found.reason
    if reason in ("keep-outs cover the damage", "no room between keep-outs"):
        # The set that would do without them is shown; the checks on the distances say that it may not lie there.
        found = best(_without(asked, keep_outs=()))
    if found.layout is None:
        return None
    if not found.exact:
        rec.warn("There are too many sets of units to look at all; the one that was found holds, a better one may be "
                 "there.", full.origin.ref)
    if found.layout.over_damage and any(place.damage[0] < x < place.damage[1] for j in found.layout.joints for x in j):
        rec.warn("A butted joint of the sleeves lies over the damage: no set of the system's widths covers the length "
                 "without one. Confirm with the system's supplier that it may.", full.origin.ref)
    return _recorded(bundle, full, end, length, place, found, asked, fits=fits, reason=reason, label=label)


def _without(asked: Problem, **changes) -> Problem:
    return replace(asked, **changes)


def _units(bundle: Bundle) -> tuple[Unit, ...]:
    """What the system makes, and what of it lies in stock and is in date until the release, as the stock against the
    order counts it: what is good for the shortest time has the lowest rank."""
    system, case = bundle.system, bundle.case
    assert system is not None
    widths = [w.magnitude for w in system.unit_widths]
    made = tuple(Unit(w, None) for w in widths)
    if not system.is_sleeve:
        return made  # cloth is cut from rolls: a roll on the shelf is no unit
    diameter = case.value("pipe.outside_diameter").magnitude
    plan = times(bundle)
    rows = {i: s for i, s in enumerate(case.stock) if s.item == "unit" and s.width is not None
            and s.diameter is not None and s.count is not None and not other_than(bundle, s) and s.width.base in widths
            and abs(s.diameter.base - diameter) <= _SAME_DIAMETER and in_date(bundle, i, plan) is not False}
    until = {i: good_until(bundle, i) for i in rows}
    ranks = {t: k for k, t in enumerate(sorted(set(until.values())))}
    stock = tuple(Unit(s.width.base, int(s.count.base), ranks[until[i]]) for i, s in rows.items())
    if case.layout.from_stock == "yes":
        if rows and plan.released is None:
            active().warn("The set of units rests on stock of which nobody knows whether it is in date when the wrap "
                          "is released: the planned start is not stated (work.planned_start).",
                          "case: layout.from_stock")
        return stock or tuple(Unit(w, 0) for w in widths)
    return (*stock, *made)


def _recorded(bundle: Bundle, full: Value, end: Value, length: Value, place: Place, found: Best, asked: Problem, *,
              fits: bool, reason: str, label: str) -> Layout:
    system, rec, laid = bundle.system, active(), found.layout
    assert system is not None and laid is not None
    part = "sleeve" if system.is_sleeve else "lay_up"
    _warn_of_place(bundle, laid, place)
    inputs = {"full-thickness length": full, "length used": length}
    inputs |= {f"width {i + 1}": w for i, w in enumerate(system.unit_widths)}
    inputs["most units"] = system.value(f"{part}.most_units")
    if not system.is_sleeve:
        inputs |= {"band overlap": system.value("lay_up.band_overlap"), "end length": end}
    need = place.need[1] - place.need[0]
    cover = laid.cover[1] - laid.cover[0]
    middle = (laid.cover[0] + laid.cover[1]) / 2
    centre = (place.damage[0] + place.damage[1]) / 2
    details = [("sets that cover", str(found.counts.get("sets", 0))), ("of these with room", str(
                   found.counts.get("sets with room", 0))),
               ("chosen", _words(bundle, laid)), ("covers", _mm(bundle, cover)),
               ("beyond the need", _mm(bundle, cover - need)),
               ("middle of the set from the middle of the damage", _mm(bundle, middle - centre))]
    if system.is_sleeve and laid.joints:
        details.append(("nearest joint to the deepest metal",
                        _mm(bundle, laid.values["joints away from the deepest metal"])))
    details += [(f"next choice {i}", _alternative(bundle, o)) for i, o in enumerate(found.alternatives, 1)]
    if asked.single:
        details.append(("one unit only", "the wrap carries axial load, which "
                        + ("a butted joint" if system.is_sleeve else "a lap shorter than the bond length")
                        + " does not hand on"))
    if not fits:
        details.append(("no room", f"{reason}: {_numbers(bundle, asked)}; the set is shown as if there were room"))
    counts = Counter(laid.widths)
    names = {w: f"units {_mm(bundle, w)} wide" for w in sorted(counts)}
    kind = "sleeves butted" if system.is_sleeve else "bands overlapped, tapered ends not counted"
    method = ("all sets of the system's widths, in every order and place; joints off the damage first, then "
              + ", then ".join(order_of(bundle)) + f"; {kind}")
    out = rec.procedure("Units side by side" + label, method, MECHANICS.id, "derived", inputs,
                        {"full-thickness cover": (cover, "mm"), "sum of widths": (sum(laid.widths), "mm"),
                         **{names[w]: (k, "") for w, k in sorted(counts.items())}}, details)
    joints = tuple((a + b) / 2 for a, b in laid.joints)
    off = 2 * min((abs(x - centre) for x in joints), default=math.inf) if system.is_sleeve else math.inf
    return Layout(laid.widths, asked.joint, out["full-thickness cover"], out["sum of widths"],
                  {w: out[names[w]] for w in counts}, laid.start, joints, middle, off, fits, reason)


def _warn_of_place(bundle: Bundle, laid: Found, place: Place) -> None:
    """Little spare beyond the overlap, and joints of sleeves that lie one over the other."""
    system, rec = bundle.system, active()
    assert system is not None
    true = system.value("placement.side_tolerance")
    spare = min(place.need[0] - laid.cover[0], laid.cover[1] - place.need[1])
    if spare < true.magnitude:
        rec.warn(f"The full thickness reaches only {_mm(bundle, max(spare, 0.0))} beyond what is required on one side, "
                 f"less than a unit may lie off its mark ({true.show(bundle.case.display)}): lay it true, or the "
                 "overlap is short.", "layout of the units")
    tiers = bundle.case.optional("design.tiers")
    if system.is_sleeve and laid.joints and tiers is not None and tiers.magnitude > 1:
        rec.warn("The butt joints of the sleeves that lie one over the other are in line. Confirm with the system's "
                 "supplier that they may be, or lay the upper set the other way round if its joints stay off the "
                 "damage.", "layout of the units")


def _mm(bundle: Bundle, length: float) -> str:
    return show(length, "mm", system=bundle.case.display)


def _words(bundle: Bundle, laid: Found) -> str:
    return " + ".join(_mm(bundle, w) for w in laid.widths)


def _numbers(bundle: Bundle, asked: Problem) -> str:
    """What blocks the set, by name."""
    names = dict.fromkeys(k.name for k in asked.keep_outs)
    return ", ".join(n for n in names if n) or f"{len(asked.keep_outs)} keep-outs"


_COST = {"fewest units": "units", "least waste": "cover beyond the need", "symmetry": "off the middle",
         "joints away from the deepest metal": "nearer to the deepest metal", "oldest stock": "in age of stock"}


def _alternative(bundle: Bundle, other: Alternative) -> str:
    """Another set and what it costs against the chosen one."""
    told = []
    for name in OBJECTIVES:
        cost = other.costs[name]
        if not cost or not math.isfinite(cost):
            continue
        size = f"{abs(cost):.0f}" if name in ("fewest units", "oldest stock") else _mm(bundle, abs(cost))
        told.append(f"{size} {'more' if cost > 0 else 'less'} {_COST[name]}" if name != OBJECTIVES[2] else
                    f"joints {size} {'nearer to' if cost > 0 else 'farther from'} the deepest metal")
    if other.layout.over_damage:
        told.append("a joint over the damage")
    return f"{_words(bundle, other.layout)}: " + (", ".join(told) or "no difference")
