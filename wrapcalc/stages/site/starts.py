"""Where around the pipe the units of a repair start: off the seam, off the deepest metal, neighbours apart."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.checks import Check
from wrapcalc.fields import clock_hours
from wrapcalc.recorder import active
from wrapcalc.searches.starts import Keep, arc_between, arc_to, best_starts, clock_text
from wrapcalc.stages.wrap.design import Design
from wrapcalc.stages.wrap.extent import Repair
from wrapcalc.standards.documents import PRACTICE
from wrapcalc.units import show
from wrapcalc.values import Value

FIND_SEAM = "find the seam first and mark it: until then no start is known to be off it"
FIND_DEEPEST = "find the deepest metal first and mark it: until then no start is known to be off it"


@dataclass(frozen=True)
class Places:
    """One or two places that the units take in turns: arcs (clockwise from 12 o'clock, facing downstream) and clocks.

    checks: of the rules of the sheet; missed: what must be found before the starts hold, or which rules no start meets.
    """

    arcs: tuple[Value, ...]
    clocks: tuple[str, ...]
    checks: tuple[Check, ...]
    missed: tuple[str, ...]


@dataclass(frozen=True)
class Found:
    """Stretches of the circumference (arcs in mm, from low to high), in words; unknown: what is not known of them."""

    stretches: tuple[tuple[float, float], ...] = ()
    words: tuple[str, ...] = ()
    unknown: str = ""


def places(bundle: Bundle, d: Design, repair: Repair, crossed: tuple[str, ...], label: str) -> Places:
    """The starts of one repair. crossed: sides on which it reaches over a girth weld into the next joint."""
    system, case, rec = bundle.system, bundle.case, active()
    assert system is not None and repair.layout is not None and d.laid is not None
    diameter = case.value("pipe.outside_diameter")
    around = math.pi * diameter.magnitude
    seam, deep = seam_arcs(bundle, around, crossed), deepest_arcs(bundle, d, repair, around)
    off_seam, off_deep = system.value("placement.start_off_seam"), system.value("placement.start_off_deepest")
    many = len(repair.layout.widths) * d.laid.tiers > 1
    stagger = system.value("placement.stagger") if many else None
    keeps = [Keep(*s, off_seam.magnitude) for s in seam.stretches]
    keeps += [Keep(*s, off_deep.magnitude) for s in deep.stretches]
    best = best_starts(around, keeps, None if stagger is None else stagger.magnitude)
    results = {f"start {n}, arc clockwise from 12 o'clock": (arc, "mm")
               for n, arc in zip("ab", best.arcs, strict=False)}
    names = list(results)
    least = {}
    for what, found in (("seam", seam), ("deepest metal", deep)):
        if found.stretches:
            least[what] = f"least arc from a start to the {what}"
            results[least[what]] = (min(float(arc_to(p, *s, around)) for p in best.arcs for s in found.stretches), "mm")
    if many:
        least["apart"] = "arc between neighbouring starts"
        results[least["apart"]] = (float(arc_between(best.arcs[0], best.arcs[1], around)), "mm")
    inputs = {"outside diameter": diameter, "off the seam by": off_seam, "off the deepest metal by": off_deep}
    if stagger is not None:
        inputs["neighbours apart by"] = stagger
    details = [(what, "; ".join(filter(None, (*found.words, found.unknown))))
               for what, found in (("seam", seam), ("deepest metal", deep))]
    details += [(f"start {n}", clock_text(m)) for n, m in zip("ab", best.minutes, strict=False)]
    out = rec.procedure(
        "Starts of the units around the pipe" + label, "every minute of the clock, and every pair of them that "
        "neighbours (side by side, or one over the other) take in turns; arcs on the bare pipe; the greatest least "
        "distance beyond the rules, in the upper half where the rules can be met there, of equal ones nearest to 12 "
        "o'clock", PRACTICE.id, "common practice", inputs, results, details)
    if best.upper and best.margin >= 0:
        rec.assume("Wrap starts are put into the upper half of the pipe, where the crew reaches and sees them.",
                   PRACTICE.id)
    elif best.margin >= 0:
        rec.assume("The rules for wrap starts cannot be met with all of them in the upper half of the pipe; some start "
                   "below, where the crew reaches and sees less.", out[names[0]].origin.ref)
    checks = _checks(bundle, {k: out[n] for k, n in least.items()}, (off_seam, off_deep, stagger), seam, deep, label)
    missed = [w for w, f in ((FIND_SEAM, seam), (FIND_DEEPEST, deep)) if f.unknown]
    missed += [f"no start meets all rules: {c.title.lower()} is missed" for c in checks if c.verdict == "not met"]
    return Places(tuple(out[n] for n in names), tuple(clock_text(m) for m in best.minutes), checks, tuple(missed))


def _checks(bundle: Bundle, have: dict[str, Value], rules: tuple[Value, Value, Value | None], seam: Found, deep: Found,
            label: str) -> tuple[Check, ...]:
    """One for each rule; "no data" where what it keeps off is not known, or not known in full."""
    rec, system = active(), bundle.system
    assert system is not None
    cited = {"citation": f"sheet of {system.system.id}", "status": "system sheet"}
    out = []
    if seam.stretches or seam.unknown:
        out.append(rec.check("Wrap starts off the seam" + label, None if seam.unknown else have["seam"], ">=", rules[0],
                             note=seam.unknown, **cited))
    out.append(rec.check("Wrap starts off the deepest metal" + label, None if deep.unknown else have["deepest metal"],
                         ">=", rules[1], note=deep.unknown, **cited))
    if rules[2] is not None:
        out.append(rec.check("Starts of neighbouring units apart" + label, have["apart"], ">=", rules[2], **cited))
    return tuple(out)


def seam_arcs(bundle: Bundle, around: float, crossed: tuple[str, ...]) -> Found:
    """The seam of the joint, and of the next ones where the repair reaches over a girth weld."""
    case = bundle.case
    if case.pipe.joint_type == "seamless":
        return Found(words=("none: seamless pipe",))
    known: list[tuple[str, str | None]] = [("of the joint", case.pipe.seam_clock)]
    for side in crossed:
        beside = next((j for j in case.joint if j.side == side), None)
        known.append((f"of the joint {side}", beside.seam_clock if beside is not None else None))
    lacking = [words for words, clock in known if clock is None]
    arcs = [(clock_hours(c) / 12 * around, f"{c} {words}") for words, c in known if c is not None]
    return Found(tuple((a, a) for a, _ in arcs), tuple(w for _, w in arcs),
                 f"the clock of the seam {' and '.join(lacking)} is not known: find the seam first" if lacking else "")


def deepest_arcs(bundle: Bundle, d: Design, repair: Repair, around: float) -> Found:
    """Where the deepest metal under a repair lies: by the grid or the table of pits, else the whole stated defect."""
    case, system = bundle.case, bundle.case.display
    clock = case.defect.clock
    if bundle.pits is not None:
        b = bundle.pits.boxes(around)
        middle = (float(b.x0.min()) + float(b.x1.max())) / 2
        under = _near((b.x0 + b.x1) / 2 - middle, repair)
        worst = np.flatnonzero(under & (b.depth == b.depth[under].max()))
        stretches = tuple((float(b.y0[i]), float(b.y1[i])) for i in worst)
        return Found(stretches, tuple(_words(s, around, system, "deepest pit") for s in stretches))
    if clock is None:
        return Found(unknown="the clock of the defect is not stated: find the deepest metal first")
    at = clock_hours(clock) / 12 * around
    if bundle.grid is not None:
        g = bundle.grid
        columns = np.flatnonzero(g.depth.any(axis=0))
        middle = (g.axial[columns[0]] + g.axial[columns[-1]]) / 2
        under = _near(g.axial - middle, repair)
        rows = np.flatnonzero((g.depth[:, under] == g.depth[:, under].max()).any(axis=1))
        # The middle of the grid lies at the stated clock; the deepest metal lies up to half way to the next readings.
        turn = at - (g.around[0] + g.around[-1]) / 2
        edges = np.concatenate([g.around[:1], (g.around[:-1] + g.around[1:]) / 2, g.around[-1:]]) + turn
        stretches = tuple((float(edges[r]), float(edges[r + 1])) for r in rows)
        return Found(stretches, tuple(_words(s, around, system, "deepest reading") for s in stretches))
    width = case.optional("defect.width") or (d.opening.size if d.opening is not None else None)
    half = 0.0 if width is None else width.magnitude / 2
    one = (at - half, at + half)
    return Found((one,), (_words(one, around, system, "the whole defect as stated"),))


def _near(x: np.ndarray, repair: Repair) -> np.ndarray:
    """Which places (mm from the middle of all damage) lie under the damage of a repair; all where none does."""
    under = np.abs(x - repair.centre) <= repair.length.magnitude / 2
    return under if under.any() else np.ones_like(under)


def _words(stretch: tuple[float, float], around: float, display: str, what: str) -> str:
    low, high = stretch
    clock = clock_text(round((low + high) / 2 / around * 720) % 720)
    wide = f", {show(high - low, 'mm', system=display)} wide" if high > low else ""
    return f"{what} about {clock}{wide}"
