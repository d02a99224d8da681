"""What was built: where it lies, how far it covers, and the design checked again with it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from wrapcalc import units
from wrapcalc.case import Bundle
from wrapcalc.case.readings import CONFIRMED, Reading
from wrapcalc.errors import ValueWaits
from wrapcalc.fields import Given
from wrapcalc.formulas import wrap_thickness as thickness
from wrapcalc.recorder import Recorder, active, recording
from wrapcalc.stages import job, scope
from wrapcalc.stages.assessment.assess import assess
from wrapcalc.stages.assessment.life import remaining_life
from wrapcalc.stages.assessment.sound_pipe import allowable
from wrapcalc.stages.closeout.expected_readings import unit_places
from wrapcalc.stages.closeout.ledger import NOBODY, OTHERS, Work
from wrapcalc.stages.wrap.design import Design, design, design_leak
from wrapcalc.stages.wrap.extent import Repair
from wrapcalc.standards.documents import MECHANICS, PRACTICE
from wrapcalc.values import Value

_SHEET = "system sheet"
#: More steel than this, in mm, is hardly ever blasted beyond a repair: a slip in a number, or of the weld.
_FAR_BEYOND = 3000.0


@dataclass(frozen=True)
class Again:
    """The design with what was built. required: thickness; full: full-thickness lengths by repair; restored: pressure,
    None where the design does not hold any more."""

    required: Value | None
    full: dict[str, Value]
    restored: Value | None


# -- the design, checked again ------------------------------------------------------------------------------------
def again(w: Work, as_stated: job.Outcome, pressures: Sequence[Reading], temperatures: Sequence[Reading],
          counted: dict[str, Value]) -> Again | None:
    """Run the job with the logged pressure, the measured temperature and the layers that were counted.

    Of the logged values the worst set counts: each corner of stated, highest and lowest pressure and temperature is
    designed, and the one that asks for the thickest wrap, or does not hold, goes through the whole job.
    """
    if not counted or not pressures or not temperatures:
        return None
    rec, case, display = active(), w.bundle.case, w.bundle.case.display
    least = min(counted.values(), key=lambda v: v.magnitude)
    built = _with_layers(w, least)
    p = _ends(case.get("service.installation_pressure"), pressures)
    t = _ends(case.get("service.installation_temperature"), temperatures)
    corners = [_at(built, a, b) for a in p for b in t]
    worst = corners[0] if len(corners) == 1 else _worst(corners)
    outcome = as_stated if _same(worst, w.bundle) else job.run(worst)
    d, service = outcome.design, worst.case.service
    holds = outcome.decision.word == job.WRAP and d is not None and d.holds and outcome.bears is not None
    inputs = {"highest logged pressure": w.value(max(pressures, key=lambda r: r.base)),
              "lowest logged pressure": w.value(min(pressures, key=lambda r: r.base)),
              "coldest logged steel": w.value(min(temperatures, key=lambda r: r.base)),
              "hottest logged steel": w.value(max(temperatures, key=lambda r: r.base)), "layers counted": least}
    results: dict[str, tuple[float, str]] = {}
    if d is not None and d.laid is not None:
        results["thickness required"] = (d.laid.required.magnitude, "mm")
    if d is not None and d.extent is not None:
        results |= {_full(r, d): (r.full.magnitude, "mm") for r in d.extent.repairs}
    if holds and outcome.bears is not None:
        results["restored pressure"] = (outcome.bears.restored.magnitude, "MPa")
    out = rec.procedure(
        "Design with what was built", "the whole job once more, with the worst set of what is stated and what was "
        "logged: pressure from the first mix until cured, steel temperature while it was laid; and with the least "
        "number of layers that was counted",
        MECHANICS.id, "derived", inputs, results,
        [("pressure while wrapping taken", service.installation_pressure.written),
         ("steel temperature taken", service.installation_temperature.written),
         ("decision", outcome.decision.word), ("sets tried", str(len(corners)))])
    failed = [] if d is None else [c.title for c in d.failed]
    w.gate("The design holds with what was built", holds, ": ".join(filter(None, (outcome.decision.word,
           "; ".join(failed)))), "wrap", citation=str(case.design.standard), status="derived", guard=NOBODY,
           rows=[*pressures[:1], *temperatures[:1]], note="" if holds else outcome.decision.sentence)
    if "thickness required" in out and w.design.ply is not None:
        laid = rec.named(thickness.wrap_thickness(least, w.design.ply),
                         "Wrap thickness as built: layers counted times ply")
        w.limit("Wrap thickness as built against the thickness required as built", laid, ">=",
                out["thickness required"], citation=str(case.design.standard), status="derived", guard=NOBODY)
    restored = out.get("restored pressure")
    if restored is not None and as_stated.bears is not None:
        w.limit("Restored pressure as built against that of the design", restored, ">=", as_stated.bears.restored,
                citation="record: restored pressure", status="derived", guard=OTHERS,
                note=f"accepted, it is restored to {restored.show(display)} only")
    full = {} if d is None or d.extent is None else {r.label: out[_full(r, d)] for r in d.extent.repairs}
    return Again(out.get("thickness required"), full, restored)


def _full(r: Repair, d: Design) -> str:
    assert d.extent is not None
    return "full-thickness length required" + (f", repair {r.label}" if len(d.extent.repairs) > 1 else "")


def _with_layers(w: Work, least: Value) -> Bundle:
    """The bundle with a sleeve of the layers that were counted; more than designed are not credited."""
    bundle, system, laid = w.bundle, w.bundle.system, w.design.laid
    assert system is not None and laid is not None
    if not system.is_sleeve or least.magnitude >= laid.count.magnitude:
        return bundle
    each = max(int(least.magnitude // laid.tiers), 1)
    given = Given(float(each), "", str(each), "count", least.origin.ref, "measured")
    sleeve = system.sleeve.model_copy(update={"layers": given})
    return replace(bundle, system=system.model_copy(update={"sleeve": sleeve}))


def _ends(stated: Given, rows: Sequence[Reading]) -> list[Given]:
    """The least and the greatest of what is stated and what was logged; one where they are the same."""
    found = [stated, *(r.given for r in rows if r.given is not None)]
    low, high = min(found, key=lambda g: g.base), max(found, key=lambda g: g.base)
    return [low] if low.base == high.base else [high, low]


def _same(a: Bundle, b: Bundle) -> bool:
    """Whether two bundles state the same pressure, temperature and layers: one run serves both."""
    fields = ("service.installation_pressure", "service.installation_temperature")
    return a.system is b.system and all(a.case.get(f).base == b.case.get(f).base for f in fields)


def _at(bundle: Bundle, pressure: Given, temperature: Given) -> Bundle:
    service = bundle.case.service.model_copy(update={"installation_pressure": pressure,
                                                     "installation_temperature": temperature})
    return replace(bundle, case=bundle.case.model_copy(update={"service": service}))


def _worst(corners: list[Bundle]) -> Bundle:
    """The set that asks for most: one that fails, or the thickest wrap; by the design alone, nothing is kept.

    What the damage can bear depends on none of the two: it is assessed once.
    """
    first = corners[0]
    with recording(Recorder(first.case.display)):
        a = None if scope.is_leak(first) else assess(first)
        life = remaining_life(first, a) if a is not None and a.governing is not None and not a.too_deep else None

    def demand(bundle: Bundle) -> tuple[int, float]:
        with recording(Recorder(bundle.case.display)) as rec:
            rec.stage = "D"
            try:
                if a is None:
                    d = design_leak(bundle, allowable(bundle, None))
                else:
                    d = None if a.governing is None else design(bundle, a, life)
            except ValueWaits:
                d = None
        if d is None or d.laid is None:
            return 2, 0.0
        return int(bool(d.failed)), d.laid.required.magnitude

    return max(corners, key=demand)


# -- where it lies -----------------------------------------------------------------------------------------------
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


def extent(w: Work, found: list[Span], built: Again | None) -> None:
    """The cover as built of every repair against what the damage needs, joints, prepared steel, room, keep-outs."""
    d, case, system = w.design, w.bundle.case, w.bundle.system
    assert d.extent is not None and system is not None
    from_weld = case.optional("location.from_upstream_weld")
    if from_weld is None:
        w.unstated("location.from_upstream_weld", "the sides as measured cannot be set against the damage")
        return
    at = 0
    for r in d.extent.repairs:
        assert r.layout is not None
        mine = found[at:at + len(r.layout.widths)]
        at += len(r.layout.widths)
        if not mine:
            return
        _cover(w, r, mine, from_weld, built)
        for a, b in pairwise(mine):
            _joint(w, a, b)
    _prepared(w, found)
    _room(w, found, from_weld)
    _keep_outs(w, found)


def _cover(w: Work, r: Repair, mine: list[Span], from_weld: Value, built: Again | None) -> None:
    d, system, rec, case = w.design, w.bundle.system, active(), w.bundle.case
    assert d.extent is not None and system is not None
    label = f", repair {r.label}" if len(d.extent.repairs) > 1 else ""
    lost = 0.0 if system.is_sleeve else d.extent.end.magnitude
    first, last = (w.value(s) for s in (mine[0].upstream, mine[-1].downstream))
    middle = from_weld.magnitude + case.value("defect.length").magnitude / 2 + r.centre
    up, down = middle - r.length.magnitude / 2, middle + r.length.magnitude / 2
    out = rec.procedure(
        "Cover as built" + label, "both sides of the set as measured from the girth weld, against the damage with its "
        "allowance about its middle" + ("" if system.is_sleeve else "; tapered ends do not count"), MECHANICS.id,
        "derived",
        {"upstream side": first, "downstream side": last, "damage from the weld": from_weld,
         "length of the damage": case.value("defect.length"), "length used": r.length},
        {"cover": (last.magnitude - first.magnitude - 2 * lost, "mm"),
         "beyond the damage upstream": (up - first.magnitude - lost, "mm"),
         "beyond the damage downstream": (last.magnitude - lost - down, "mm")})
    rows = [mine[0].upstream, mine[-1].downstream]
    full = built.full.get(r.label) if built else None
    w.limit("Full-thickness cover as built against the length required" + label, out["cover"], ">=", full or r.full,
            citation=f"{case.design.standard}, overlap", status="from memory", guard=NOBODY, rows=rows)
    short = "upstream" if r.shift > 0 else "downstream"
    for side in ("upstream", "downstream"):
        need = d.extent.room if d.extent.room is not None and side == short else d.extent.overlap
        w.limit(f"Overlap from sound metal as built, {side}{label}", out[f"beyond the damage {side}"], ">=", need,
                citation=f"{case.design.standard}, overlap", status="from memory", guard=NOBODY, rows=rows)


def _joint(w: Work, a: Span, b: Span) -> None:
    """Between neighbours: a gap that is small enough, or a lap that is long enough."""
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
        w.limit(f"Gap between {a.unit} and {b.unit}, widest", widest, "<=", system.value("placement.joint_gap_max"),
                citation=w.sheet, status=_SHEET, guard=OTHERS, rows=rows)
    else:
        w.limit(f"Lap of {a.unit} and {b.unit}", gap["lap"], ">=", system.value("lay_up.band_overlap"),
                citation=w.sheet, status=_SHEET, guard=OTHERS, rows=rows)


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


def _room(w: Work, found: list[Span], from_weld: Value) -> None:
    """Ends as built clear of welds, bends and fittings."""
    case, rec = w.bundle.case, active()
    off = w.practice("end_from_weld")
    length = case.value("defect.length").magnitude
    for side, edge in (("upstream", found[0].upstream), ("downstream", found[-1].downstream)):
        clear = case.optional(f"defect.clear_{side}")
        if clear is None:
            continue
        reach = (from_weld.magnitude - edge.base if side == "upstream" else edge.base - from_weld.magnitude - length)
        needed = rec.procedure(f"Room that the repair takes, {side}", "from the damage to the end of the repair, and "
                               "the least distance to a weld", MECHANICS.id, "derived",
                               {"side of the unit": w.value(edge), "damage from the weld": from_weld,
                                "least distance": off.value()},
                               {"room": (reach + _outside(w) + off.value().magnitude, "mm")})["room"]
        w.limit(f"Repair as built clear of welds, bends and fittings, {side}", needed, "<=", clear,
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
