"""Where the wrap lies as built: cover over the damage, joints, prepared steel, room, keep-outs.

Decided here: bare steel between two units, over the damage or within its overlap, is accepted by nobody, and so is a
lap of two bands that is none: the outer sides of a set say nothing of what lies between.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from wrapcalc import units
from wrapcalc.case.readings import CONFIRMED, Reading
from wrapcalc.recorder import active
from wrapcalc.stages.closeout.as_built import AS_FOUND, Again, Damage
from wrapcalc.stages.closeout.expected_readings import unit_places
from wrapcalc.stages.closeout.ledger import NOBODY, OTHERS, Work
from wrapcalc.stages.job import Outcome
from wrapcalc.stages.wrap.extent import Repair
from wrapcalc.standards.documents import MECHANICS, PRACTICE
from wrapcalc.values import Origin, Value

_SHEET = "system sheet"
#: More steel than this, in mm, is hardly ever blasted beyond a repair: a slip in a number, or of the weld.
_FAR_BEYOND = 3000.0


@dataclass(frozen=True)
class Span:
    """One unit as measured: both sides from the upstream girth weld."""

    unit: str
    upstream: Reading
    downstream: Reading


def spans(w: Work, count: int) -> list[Span]:
    """Every unit with both sides; what is missing is told."""
    out = []
    for unit in unit_places(count):
        sides = [w.readings.one(f"{side} side of unit", unit) for side in ("upstream", "downstream")]
        for side, row in zip(("upstream", "downstream"), sides, strict=True):
            if row is None:
                w.lacks(f"{side} side of unit", unit)
        if sides[0] is not None and sides[1] is not None:
            out.append(Span(unit, sides[0], sides[1]))
    return out if len(out) == count else []


@dataclass(frozen=True)
class _Set:
    """The units of one repair as built, and the repair as designed."""

    repair: Repair
    units: list[Span]

    @property
    def ends(self) -> tuple[float, float]:
        """Outer sides, mm from the girth weld."""
        return self.units[0].upstream.base, self.units[-1].downstream.base


def extent(w: Work, issued: Outcome, damage: Damage | None, found: list[Span], built: Again | None) -> None:
    """The cover as built of every repair against what the damage needs, joints, prepared steel, room, keep-outs.

    issued: the run of the package's case; damage: as found, None where no look is whole; found: the units.
    """
    d, case = w.design, w.bundle.case
    assert d.extent is not None
    if case.optional("location.from_upstream_weld") is None:
        w.unstated("location.from_upstream_weld", "the sides as measured cannot be set against the damage")
        return
    at, sets = 0, []
    for r in d.extent.repairs:
        assert r.layout is not None
        mine = found[at:at + len(r.layout.widths)]
        at += len(r.layout.widths)
        if not mine:
            return
        sets.append(_Set(r, mine))
    zones = [_cover(w, issued, s.repair, s, built, "") for s in sets]
    if damage is not None and damage.outcome.design is not None and damage.outcome.design.extent is not None:
        zones += _covers_found(w, damage.outcome, sets, built)
    for s in sets:
        for a, b in pairwise(s.units):
            _joint(w, a, b, zones)
    _prepared(w, found)
    _room(w, issued, found, "")
    if damage is not None:
        _room(w, damage.outcome, found, AS_FOUND)
    _keep_outs(w, found)


def _covers_found(w: Work, o: Outcome, sets: list[_Set], built: Again | None) -> list[tuple[float, float]]:
    """The damage as found, each under the set that covers it best."""
    if o.bundle.case.optional("location.from_upstream_weld") is None:
        w.book.lack("as-found check of the package: distance of the damage from the upstream girth weld")
        return []
    out = []
    for r in o.design.extent.repairs:  # type: ignore[union-attr]
        up, down = _damage(o, r)
        best = min(sets, key=lambda s: max(s.ends[0] - up, down - s.ends[1]))
        out.append(_cover(w, o, r, best, built, AS_FOUND))
    return out


def _damage(o: Outcome, r: Repair) -> tuple[float, float]:
    """Ends of the damage of a repair with its allowance, mm from the girth weld."""
    case = o.bundle.case
    middle = (case.value("location.from_upstream_weld").magnitude + case.value("defect.length").magnitude / 2
              + r.centre)
    return middle - r.length.magnitude / 2, middle + r.length.magnitude / 2


def _cover(w: Work, o: Outcome, r: Repair, built_set: _Set, built: Again | None, words: str) -> tuple[float, float]:
    """The cover over one damage; gives the zone that must be covered without a gap: the damage and its overlaps."""
    d, system, rec, case = w.design, w.bundle.system, active(), o.bundle.case
    e = o.design.extent if o.design is not None else None
    assert d.extent is not None and e is not None and system is not None
    label = (f", repair {r.label}" if len(e.repairs) > 1 else "") + words
    lost = 0.0 if system.is_sleeve else d.extent.end.magnitude
    mine = built_set.units
    first, last = (w.value(s) for s in (mine[0].upstream, mine[-1].downstream))
    up, down = _damage(o, r)
    from_weld, length = case.value("location.from_upstream_weld"), case.value("defect.length")
    out = rec.procedure(
        "Cover as built" + label, "both sides of the set as measured from the girth weld, against the damage with its "
        "allowance about its middle" + ("" if system.is_sleeve else "; tapered ends do not count"), MECHANICS.id,
        "derived",
        {"upstream side": first, "downstream side": last, "damage from the weld": from_weld,
         "length of the damage": length, "length used": r.length},
        {"cover": (last.magnitude - first.magnitude - 2 * lost, "mm"),
         "beyond the damage upstream": (up - first.magnitude - lost, "mm"),
         "beyond the damage downstream": (last.magnitude - lost - down, "mm")})
    rows = [mine[0].upstream, mine[-1].downstream]
    full = built.full.get(r.label) if built else None
    w.limit("Full-thickness cover as built against the length required" + label, out["cover"], ">=", full or r.full,
            citation=f"{case.design.standard}, overlap", status="from memory", guard=NOBODY, rows=rows)
    needs = {}
    for side in ("upstream", "downstream"):
        needs[side] = _overlap(w, o, built_set.repair, side)
        w.limit(f"Overlap from sound metal as built, {side}{label}", out[f"beyond the damage {side}"], ">=",
                needs[side], citation=f"{case.design.standard}, overlap", status="from memory", guard=NOBODY, rows=rows)
    return up - needs["upstream"].magnitude, down + needs["downstream"].magnitude


def _overlap(w: Work, o: Outcome, r: Repair, side: str) -> Value:
    """The greater overlap of both designs, or on a side with little room the one that the package accepts there with a
    thicker wrap."""
    d = w.design
    assert d.extent is not None and o.design is not None and o.design.extent is not None
    if d.extent.room is not None and side == ("upstream" if r.shift > 0 else "downstream"):
        return d.extent.room
    found = o.design.extent.overlap
    if o.design is d or found.magnitude <= d.extent.overlap.magnitude:
        return d.extent.overlap
    return Value(found.magnitude, found.unit, Origin("as found", "overlap"), "overlap as found")


def _joint(w: Work, a: Span, b: Span, zones: list[tuple[float, float]]) -> None:
    """Between neighbours: a gap that is small enough, or a lap that is long enough. zones: what must be covered."""
    system, rec = w.bundle.system, active()
    assert system is not None
    gap = rec.procedure(f"Between {a.unit} and {b.unit} as built",
                        "downstream side of one to upstream side of the next", MECHANICS.id, "derived",
                        {"one": w.value(a.downstream), "next": w.value(b.upstream)},
                        {"gap": (b.upstream.base - a.downstream.base, "mm"),
                         "lap": (a.downstream.base - b.upstream.base, "mm")})
    rows = [a.downstream, b.upstream, *w.readings.of("joint gap", f"{a.unit} to {b.unit}")]
    if system.is_sleeve:
        widest = max([gap["gap"], *(w.value(r) for r in rows[2:])], key=lambda v: v.magnitude)
        middle, half = (a.downstream.base + b.upstream.base) / 2, widest.magnitude / 2
        over = any(middle + half > low and middle - half < high for low, high in zones)
        w.limit(f"Gap between {a.unit} and {b.unit}, widest", widest, "<=", system.value("placement.joint_gap_max"),
                citation=w.sheet, status=_SHEET, guard=NOBODY if over else OTHERS, rows=rows,
                note="bare steel over the damage or within its overlap" if over else "")
    else:
        bare = gap["lap"].magnitude < 0
        w.limit(f"Lap of {a.unit} and {b.unit}", gap["lap"], ">=", system.value("lay_up.band_overlap"),
                citation=w.sheet, status=_SHEET, guard=NOBODY if bare else OTHERS, rows=rows,
                note="the bands do not meet: bare steel between them" if bare else "")


def _outside(w: Work) -> float:
    """How far the ends reach beyond the sides of the units, in mm: fillets of sleeves do, tapers of cloth do not."""
    assert w.bundle.system is not None and w.design.extent is not None
    return w.design.extent.end.magnitude if w.bundle.system.is_sleeve else 0.0


def _prepared(w: Work, found: list[Span]) -> None:
    """Prepared steel beyond both ends of the repair."""
    system, rec, d = w.bundle.system, active(), w.design
    assert system is not None and d.extent is not None
    for side, sign, edge in (("upstream", 1, found[0].upstream), ("downstream", -1, found[-1].downstream)):
        row = w.readings.one(f"prepared steel, {side} end")
        if row is None:
            w.lacks(f"prepared steel, {side} end")
            continue
        beyond = rec.procedure(f"Prepared steel beyond the repair, {side}", "end of the prepared steel to the end of "
                               "the repair, fillet or taper included", MECHANICS.id, "derived",
                               {"prepared to": w.value(row), "side of the unit": w.value(edge), "end": d.extent.end},
                               {"beyond": (sign * (edge.base - row.base) - _outside(w), "mm")})["beyond"]
        w.limit(f"Prepared steel beyond the repair, {side}", beyond, ">=", system.value("surface.prepared_beyond"),
                citation=w.sheet, status=_SHEET, rows=[row, edge])
        if beyond.magnitude > _FAR_BEYOND and not row.confirmed:
            w.lacks(f"prepared steel, {side} end", more=f"{row.text} is {w.show(beyond)} beyond the repair; check it "
                    f"against the girth weld, or begin the remark with '{CONFIRMED}'")


def _room(w: Work, o: Outcome, found: list[Span], label: str) -> None:
    """Ends as built clear of welds, bends and fittings."""
    case, rec = o.bundle.case, active()
    from_weld = case.optional("location.from_upstream_weld")
    if from_weld is None:
        return  # told already
    off = w.practice("end_from_weld")
    length = case.value("defect.length").magnitude
    for side, edge in (("upstream", found[0].upstream), ("downstream", found[-1].downstream)):
        clear = case.optional(f"defect.clear_{side}")
        if clear is None:
            continue
        reach = (from_weld.magnitude - edge.base if side == "upstream" else edge.base - from_weld.magnitude - length)
        needed = rec.procedure(f"Room that the repair takes, {side}{label}", "from the damage to the end of the "
                               "repair, and the least distance to a weld", MECHANICS.id, "derived",
                               {"side of the unit": w.value(edge), "damage from the weld": from_weld,
                                "least distance": off.value()},
                               {"room": (reach + _outside(w) + off.value().magnitude, "mm")})["room"]
        w.limit(f"Repair as built clear of welds, bends and fittings, {side}{label}", needed, "<=", clear,
                citation=PRACTICE.id, status="common practice", guard=OTHERS, rows=[edge])


def _keep_outs(w: Work, found: list[Span]) -> None:
    """Nothing of the repair, no end or no joint where the case says so."""
    out = _outside(w)
    start, end = found[0].upstream.base - out, found[-1].downstream.base + out
    joints = [s.downstream.base for s in found[:-1]]
    for k in w.bundle.case.keep_out:
        if k.start is None or k.end is None:
            continue
        low, high = k.start.base, k.end.base
        clash = {"no part": start < high and low < end, "no end": any(low < x < high for x in (start, end)),
                 "no joint": any(low < x < high for x in joints)}[str(k.rule)]
        system = w.bundle.case.display
        w.gate(f"Clear of {k.what} as built", not clash, f"repair from {units.show(start, 'mm', system=system)} to "
               f"{units.show(end, 'mm', system=system)}", f"{k.rule} from {units.show(low, 'mm', system=system)} to "
               f"{units.show(high, 'mm', system=system)}", citation="case: keep_out", status="stated", guard=OTHERS,
               rows=[found[0].upstream, found[-1].downstream])
