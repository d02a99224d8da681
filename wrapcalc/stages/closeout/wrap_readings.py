"""Readings on the wrap itself against their limits: layers, circumference, hardness, laminate, coating, release."""

from __future__ import annotations

import datetime
import math
import re
from dataclasses import replace

from wrapcalc.case.readings import LAMINATE, NONE, Reading, same_name
from wrapcalc.fields import Given
from wrapcalc.formulas import acceptance
from wrapcalc.formulas import takeoff as quantity
from wrapcalc.recorder import active
from wrapcalc.stages.closeout.expected_readings import PEOPLE, edges, laminate_limits, unit_places
from wrapcalc.stages.closeout.ledger import ANYONE, NOBODY, OTHERS, Work
from wrapcalc.stages.closeout.site_readings import answer, installers, stamp
from wrapcalc.stages.site.holiday import holiday
from wrapcalc.stages.site.release import accepted
from wrapcalc.standards.documents import ISO_24817, MECHANICS, PRACTICE
from wrapcalc.values import Value

_SHEET = "system sheet"
TOPIC = "Readings against their limits"


# -- layers and circumference ------------------------------------------------------------------------------------
def layers(w: Work, units: int) -> dict[str, Value]:
    """Layers of each unit as counted by two people at both edges; the least of all counts is what was built."""
    d, rec, system = w.design, active(), w.bundle.system
    assert d.laid is not None and system is not None
    out: dict[str, Value] = {}
    whole = True
    for unit in unit_places(units):
        counts: list[Reading] = []
        for edge in edges(units):
            if not edge.startswith(unit + ","):
                continue
            rows = w.readings.of("layers counted", edge)
            people = {same_name(r.by) for r in rows}
            if people and people <= installers(w):
                whole = False
                w.lacks("layers counted", edge, "by nobody but the installer; a second person counts too")
            if len(people) < PEOPLE:
                whole = False
                w.lacks("layers counted", edge, f"by {len(people)} of {PEOPLE} people")
            counts += rows
            if len({r.base for r in rows}) > 1:
                w.gate(f"Two people count the same layers, {edge}", False,
                       "; ".join(f"{r.by}: {r.text}" for r in rows), "the same count", citation=PRACTICE.id,
                       status="common practice", guard=OTHERS, rows=rows, note="the least of the counts goes on")
        if not counts:
            continue
        least = min(counts, key=lambda r: r.base)
        out[unit] = rec.procedure(
            f"Layers of {unit} as built", "the least of all counts, by position and by two people; the tape is never "
            "the count", PRACTICE.id, "common practice", {f"count {i}": w.value(r) for i, r in enumerate(counts, 1)},
            {"layers": (least.base, "")},
            [(r.where.partition(", ")[2], f"{r.text}, {r.by}") for r in counts])["layers"]
        # Of cloth the standard and the design size the number: one layer fewer is another design.
        w.limit(f"Layers of {unit} against the design", out[unit], ">=", d.laid.count, citation="record: layers",
                status="derived", guard=OTHERS if system.is_sleeve else NOBODY, rows=counts)
    return out if whole and len(out) == units else {}


def circumference(w: Work, units: int, counted: dict[str, Value]) -> None:
    """Circumference over the wrap, against the one that the counted layers make: a cross-check, never the count."""
    d, system, rec = w.design, w.bundle.system, active()
    assert d.extent is not None and system is not None
    for unit in unit_places(units):
        before, after = w.readings.one("circumference before", unit), w.readings.one("circumference after", unit)
        for what, row in (("circumference before", before), ("circumference after", after)):
            if row is None:
                w.lacks(what, unit)
        if before is not None:
            _girth(w, unit, before)
        if before is None or after is None or unit not in counted:
            continue
        c_0, c_1 = w.value(before), w.value(after)
        acceptance.layers_by_tape(acceptance.tape_thickness(c_1, c_0), d.extent.pitch)
        expected = rec.named(acceptance.circumference_over_layers(c_0, counted[unit], d.extent.pitch),
                             f"Circumference over {unit} with the layers counted")
        off = rec.procedure(f"Circumference over {unit}, off the calculated one", "difference, without its sign",
                            MECHANICS.id, "derived", {"measured": c_1, "calculated": expected},
                            {"difference": (abs(c_1.magnitude - expected.magnitude), "mm")})["difference"]
        w.limit(f"Circumference over {unit}, cross-check of the layers", off, "<=", system.value("placement.tape_band"),
                citation=w.sheet, status=_SHEET, rows=[before, after],
                note="bond lines that are thick read like a further layer")


def _girth(w: Work, unit: str, row: Reading) -> None:
    """The girth before wrapping against that of the pipe of the design: less than the bare pipe, or more than the pipe
    with the cap of its seam all around, is another pipe or a slip. What the tape may be off by is that of the sheet."""
    case, rec = w.bundle.case, active()
    diameter, cap = case.value("pipe.outside_diameter"), case.optional("takeoff.seam_height")
    band = w.bundle.system.value("placement.tape_band")
    bare, rise = math.pi * diameter.magnitude, 2 * math.pi * (cap.magnitude if cap is not None else 0.0)
    inputs = {"outside diameter": diameter, "band of the tape": band}
    out = rec.procedure(
        f"Girth under {unit}", "pi times the outside diameter; least: the band of the tape less; greatest: over the "
        "cap of the seam, as if it stood all around, and the band of the tape more", MECHANICS.id, "derived",
        inputs if cap is None else inputs | {"cap of the seam": cap},
        {"least": (bare - band.magnitude, "mm"), "greatest": (bare + rise + band.magnitude, "mm")})
    for sense, word in ((">=", "least"), ("<=", "greatest")):
        w.limit(f"Circumference before {unit}, {word} of this pipe", w.value(row), sense, out[word],
                citation=w.sheet, status=_SHEET, guard=OTHERS, rows=[row],
                note=f"the design is for an outside diameter of {w.show(diameter)}")


# -- hardness, tapping, laminate ---------------------------------------------------------------------------------
def hardness(w: Work) -> datetime.datetime | None:
    """Number of readings, mean, and single readings. Gives the time of the last reading that has one."""
    rec, limits = active(), accepted(w.bundle)
    rec.begin(TOPIC)
    rows = w.readings.of("hardness")
    need = int(limits.readings.magnitude)
    if len(rows) < need:
        w.lacks("hardness", more=f"{len(rows)} of {need} readings")
    if not rows:
        return None
    bare = [r.row for r in rows if not _names(limits.scale, f"{r.instrument} / {r.remark}")]
    if bare:
        w.lacks("hardness", more=f"{limits.scale} is not named in instrument or remark, row {', '.join(bare[:5])}"
                + (" and more" if bare[5:] else ""))
    for side in ("upstream", "downstream"):
        if not any(_names(side, r.where) for r in rows):
            w.lacks("hardness", f"{side} end")
    values = {f"reading {i}": w.value(r) for i, r in enumerate(rows, 1)}
    found = rec.procedure(f"Hardness, {limits.scale}", "arithmetic mean and least of all readings", MECHANICS.id,
                          "derived", values, {"mean": (math.fsum(r.base for r in rows) / len(rows), ""),
                                   "least": (min(r.base for r in rows), "")}, [("readings", str(len(rows)))])
    w.limit("Hardness, mean", found["mean"], ">=", limits.mean, citation=f"{ISO_24817.id}, acceptance, hardness",
            status="from memory", guard=NOBODY, rows=rows)
    low = min(rows, key=lambda r: r.base)
    w.limit("Hardness, least single reading", found["least"], ">=", limits.single, citation=PRACTICE.id,
            status="common practice", guard=OTHERS, rows=[low])
    return max((r.time for r in rows if r.time is not None), default=None)


def _names(words: str, text: str) -> bool:
    """Whether the words stand in the text one after the other, as whole words."""
    wanted, found = (re.findall(r"[^\W_]+", x.casefold()) for x in (words, text))
    return any(found[i:i + len(wanted)] == wanted for i in range(len(found)))


def tapping(w: Work) -> None:
    """Tap map: nothing dull at the ends, and little elsewhere."""
    d, system, rec = w.design, w.bundle.system, active()
    assert d.extent is not None and system is not None
    answer(w, "tap test", True, f"whole wrap, grid {system.acceptance.tap_spacing.written}", w.sheet)
    areas = w.readings.of("dull area")
    ends = [r for r in areas if r.where.startswith("ends")]
    inside = [r for r in areas if not r.where.startswith("ends")]
    for place, rows in (("ends", ends), ("elsewhere", inside)):
        if not rows:
            w.lacks("dull area", place, "0 m2 where there is none")
    if ends:
        total = math.fsum(r.base for r in ends)
        w.gate("Nothing dull at the ends of the wrap", total == 0, ", ".join(r.text for r in ends), "none",
               citation=f"{ISO_24817.id}, acceptance of the laminate", status="from memory", guard=OTHERS, rows=ends)
    if inside:
        lengths = [r.overall for r in d.extent.repairs if r.overall is not None]
        bonded = [quantity.bonded_area(w.bundle.case.value("pipe.outside_diameter"), x) for x in lengths]
        area = bonded[0]
        for other in bonded[1:]:
            area = quantity.areas_together(area, other)
        total = rec.procedure("Area that sounds dull away from the ends", "sum", MECHANICS.id, "derived",
                              {f"area {i}": w.value(r) for i, r in enumerate(inside, 1)},
                              {"dull": (math.fsum(r.base for r in inside), "m**2")})["dull"]
        entry = w.practice("dull_share_most")
        share = acceptance.dull_share(total, area.converted("m**2"))
        w.limit("Share of the bonded area that sounds dull", w.fine(share), "<=", w.fine(entry.value()),
                citation=entry.citation, status=entry.status, rows=inside)


def laminate(w: Work) -> None:
    """Acceptance of the laminate, item by item, and the end seal where the system has one."""
    limits = laminate_limits(w.bundle)
    strict = ("fibres not as designed", "dry or bare fibres", "cut plies or bare edges")
    for item in LAMINATE:
        answer(w, f"laminate: {item}", False, limits[item], f"{ISO_24817.id}, acceptance of the laminate",
              OTHERS if item in strict else ANYONE)
    assert w.bundle.system is not None
    if w.bundle.system.end_seal.used == "yes":
        answer(w, "end seal", True, "both ends, all around", w.sheet)


#: Hold points of the site sheet that a job may do without, and who may accept one that failed.
POINTS = {"carbon kept off the steel": OTHERS, "leak or pressure test": NOBODY, "cathodic protection": ANYONE,
          "magnetic markers": ANYONE}


def points(w: Work) -> None:
    """Hold points that are done, or not done because somebody says so by name: never the installer."""
    for what, guard in POINTS.items():
        rows = w.readings.of(what)
        if not rows:
            w.lacks(what, more="yes, or none: by whom, and why")
        none = [r for r in rows if r.text == NONE]
        if [r for r in none if same_name(r.by) in installers(w)]:
            w.lacks(what, more="the installer says that it is not done; somebody else has to")
        if what == "leak or pressure test" and any(r.yes and r.time is None for r in rows):
            w.lacks(what, more="with its time")
        if rows:
            w.gate(what[0].upper() + what[1:], all(r.yes or r in none for r in rows), "; ".join(
                f"{r.text}, {r.by}" + (f": {r.remark}" if r in none else "") for r in rows), "done, or none with a "
                "reason", citation=PRACTICE.id, status="common practice", guard=guard, rows=rows)


# -- coating and release -----------------------------------------------------------------------------------------
def coating(w: Work) -> None:
    """Thickness, voltage by the named standard for the thickness as measured, and no holidays."""
    case, rows = w.bundle.case, w.readings.of("coating thickness")
    many = w.practice("coating_spots")
    if len(rows) < many.value().magnitude:
        w.lacks("coating thickness", more=f"{len(rows)} of {many.written} spots")
    stated = case.optional("work.coating_thickness")
    if stated is None:
        w.unstated("work.coating_thickness", "the coating has no limit")
    elif rows:
        thin = min(rows, key=lambda r: r.base)
        w.limit("Thickness of the coating, least", w.value(thin), ">=", stated, citation="case: work.coating_thickness",
                status="stated", rows=[thin])
    if case.get("work.holiday_standard") is None:
        w.unstated("work.holiday_standard", "the holiday test has no voltage")
    elif rows and stated is not None:
        _voltage(w, max(rows, key=lambda r: r.base))
    if not w.readings.of("holiday test voltage"):
        w.lacks("holiday test voltage")
    found = w.worst("holidays found", most=True)
    if found is not None:
        w.gate("Holidays left in the coating", found.base == 0, found.text, "0", citation=PRACTICE.id,
               status="common practice", rows=[found])


def _voltage(w: Work, thick: Reading) -> None:
    """The voltage as set, against that of the standard for the thickest coating that was measured."""
    case, rec, set_to = w.bundle.case, active(), w.readings.of("holiday test voltage")
    assert thick.given is not None
    given = Given(thick.given.magnitude, thick.given.unit, thick.given.written, "length", f"row {thick.row}",
                  "measured")
    work = case.work.model_copy(update={"coating_thickness": given})
    test = holiday(replace(w.bundle, case=case.model_copy(update={"work": work})))
    rec.begin(TOPIC)
    if test.lowest is None or test.highest is None:
        w.book.lack(f"voltage of the holiday test: {test.reason}")
        return
    if not set_to:
        return
    low, high = min(set_to, key=lambda r: r.base), max(set_to, key=lambda r: r.base)
    w.limit("Voltage of the holiday test, least", w.value(low), ">=", test.lowest, citation=str(test.standard),
            status="from memory", rows=[low])
    above = w.practice("voltage_above")
    most = rec.procedure("Highest voltage of the holiday test", "voltage of the standard, higher by the share",
                         PRACTICE.id, "common practice", {"voltage": test.highest, "share": above.value()},
                         {"highest": (test.highest.magnitude * (1 + above.value().magnitude), "V")})["highest"]
    w.limit("Voltage of the holiday test, highest", w.value(high), "<=", most, citation=above.citation,
            status=above.status, rows=[high], note="a voltage that is too high burns sound coating")


def release(w: Work, cured: datetime.datetime | None, hard: datetime.datetime | None) -> datetime.datetime | None:
    """Written release: who and when; after the cure and after the hardness. Gives its time."""
    row = w.first("pressure released by")
    if row is None:
        w.lacks("pressure released by")
        return None
    assert row.time is not None
    if cured is not None:
        w.gate("Pressure released after the cure age was reached", row.time >= cured, stamp(row.time),
               f"not before {stamp(cured)}", citation=w.sheet, status=_SHEET, guard=NOBODY, rows=[row])
    if hard is not None:
        w.gate("Pressure released after the hardness was read", row.time >= hard, stamp(row.time),
               f"not before {stamp(hard)}", citation=PRACTICE.id, status="common practice", guard=NOBODY, rows=[row])
    elif w.readings.of("hardness"):
        w.lacks("hardness", more="with the time of at least one reading")
    return row.time
