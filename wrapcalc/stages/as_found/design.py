"""The design as issued against the design with what was found, and whether the issued one covers what it has to.

The issued wrap lies at its issued place, measured from the girth weld; the damage lies where it was found.
"""

from __future__ import annotations

from dataclasses import dataclass

from wrapcalc import units
from wrapcalc.case.model import LEAK
from wrapcalc.fields import clock_hours
from wrapcalc.formulas import excavation as f
from wrapcalc.recorder import active
from wrapcalc.stages.as_found.book import TOLD, Book
from wrapcalc.stages.job import WRAP, Outcome
from wrapcalc.stages.wrap.chain import DEPTH, LENGTH, OPENING, WALL, WIDTH
from wrapcalc.stages.wrap.extent import Repair
from wrapcalc.standards.documents import MECHANICS, PRACTICE
from wrapcalc.values import Origin, Value

_AGAIN = {"citation": "design with what was found", "status": "derived"}
#: What the sheet must say of the defect, by its kind: field, and what it is called.
_ALWAYS = (("length", "length of the defect"), ("width", "width of the defect"), ("clock", "clock of the defect"),
           ("from_upstream_weld", "distance from the upstream girth weld"),
           ("from_downstream_weld", "distance from the downstream girth weld"),
           ("clear_upstream", "room upstream of the defect"), ("clear_downstream", "room downstream of the defect"))


@dataclass(frozen=True)
class Laid:
    """One issued wrap from the upstream girth weld, mm: full thickness, whole repair, joints of units."""

    repair: Repair
    full: tuple[Value, Value]
    whole: tuple[Value, Value]
    joints: tuple[float, ...]


def measured(book: Book) -> None:
    """What has to be measured of the defect; its clock is the one of the package."""
    case, found = book.bundle.case, book.found
    first = ("leak_size", "size of the opening") if case.defect.kind == LEAK else ("depth", "depth of the defect")
    for key, what in (first, *_ALWAYS):
        if found.given(f"defect.{key}") is None:
            book.lack(f"{what} (defect.{key})")
    if found.measured_file is None and any((case.defect.grid, case.defect.profile, case.defect.pits)):
        book.lack("depth grid, profile or pits as read in the ditch (defect.grid): the package was designed with one")
    for key, what in (("date", "day"), ("found_by", "who measured"), ("checked_by", "who checked the readings"),
                      ("reference", "number of the sheet")):
        if found.given(f"as_found.{key}") is None:
            book.lack(f"{what} (as_found.{key})")
    if found.defect.clock is None or case.defect.clock is None:
        return
    title = "Clock of the defect against the package, hours"
    seen, said = (Value(clock_hours(c), "", Origin(kind, "defect.clock"), f"clock of the defect {words}")
                  for c, kind, words in ((found.defect.clock, "as found", "as found"), (case.defect.clock, "case",
                                                                                       "of the package")))
    tolerance = book.practice("defect_clock_tolerance")
    book.limit(title, active().named(f.clocks_apart(seen, said), title), "<=", tolerance.value(),
               citation=tolerance.citation, status=tolerance.status, issued=case.defect.clock,
               found=found.defect.clock, note="another defect, or a clock read facing upstream")


def laid(book: Book, issued: Outcome) -> list[Laid]:
    """Where the issued wraps lie; nothing where the package does not say how far from the weld."""
    case, d, system = book.bundle.case, issued.design, book.bundle.system
    assert d is not None and d.extent is not None and system is not None
    edge, length = case.optional("location.from_upstream_weld"), case.optional("defect.length")
    if edge is None or length is None:
        book.unstated("location.from_upstream_weld", "the place of the wrap cannot be held against the damage")
        return []
    out, many = [], len(d.extent.repairs) > 1
    middle = edge.magnitude + length.magnitude / 2
    for r in d.extent.repairs:
        assert r.layout is not None and r.overall is not None
        at, half, all_ = middle + r.centre + r.shift, r.layout.cover.magnitude / 2, r.overall.magnitude / 2
        label = f", repair {r.label}" if many else ""
        got = active().procedure(
            "Place of the wrap as issued" + label, "from the upstream girth weld: middle of the damage, moved by the "
            "shift of the set, and half of what it covers to both sides", MECHANICS.id, "derived",
            {"damage from the weld": edge, "length of the damage": length},
            {k: (units.steady(v), "mm") for k, v in (
                ("full thickness from", at - half), ("full thickness to", at + half), ("repair from", at - all_),
                ("repair to", at + all_))})
        joints = tuple(middle + j for j in r.layout.joints) if system.is_sleeve else ()
        out.append(Laid(r, (got["full thickness from"], got["full thickness to"]),
                        (got["repair from"], got["repair to"]), joints))
    return out


def compare(book: Book, issued: Outcome, now: Outcome, places: list[Laid], damage: Outcome) -> None:
    """Decision, pressures, layers, place: the issued design against what is asked now.

    damage: the run whose pressure beside people is that of the damage as found.
    """
    a, b = issued.design, now.design
    assert a is not None
    holds = now.decision.word == WRAP and b is not None and b.holds and now.bears is not None
    before, after = _summary(book, issued, "issued"), _summary(book, now, "with what was found")
    book.gate("Decision", holds, now.decision.word, WRAP, issued=issued.decision.word,
              note="" if holds else now.decision.sentence, **_AGAIN)
    by_damage = after if damage is now else _summary(book, damage, "with what was found, at the pressure issued")
    _pressures(book, before, by_damage)
    for title, name, sense, limit in (
            ("Layers asked for now against the layers issued", "layers", "<=", "layers"),
            ("Thickness asked for now against the thickness issued", "thickness required", "<=", "thickness"),
            ("Pressure restored now against the one issued", "restored pressure", ">=", "restored pressure")):
        if name in after:  # a run that ends before it has its own reason for a stop
            book.limit(title, after[name], sense, before[limit], **_AGAIN)
    if b is not None and b.extent is not None:
        _covers(book, issued, now, places, before, after)
        _units(book, issued, now)
        _filler(book, issued, now)
    _room(book, places)
    _box(book, issued)


def _summary(book: Book, o: Outcome, words: str) -> dict[str, Value]:
    """The governing numbers of one run as one procedure, so that both runs can stand side by side."""
    d, results = o.design, {}
    if d is not None and d.laid is not None:
        results |= {"layers": d.laid.count, "thickness required": d.laid.required, "thickness": d.laid.thickness}
    if d is not None and d.extent is not None:
        results |= {"overlap": d.extent.overlap}
    if o.bears is not None:
        results["restored pressure"] = o.bears.restored
    if o.decision.interim_limit is not None:
        results["interim limit"] = o.decision.interim_limit
    if o.decision.beside is not None:
        results["pressure beside people"] = o.decision.beside
    case = o.bundle.case
    return active().procedure(
        f"The design {words}", "the whole job; " + ("case of the package" if o.bundle is book.bundle else
                                                    "case with what was found, all else as issued"),
        MECHANICS.id, "derived", {}, {k: (v.magnitude, v.unit) for k, v in results.items()},
        [("decision", o.decision.word),
         *((n, case.get(x).written) for n, x in (
             ("depth", "defect.depth"), ("length", "defect.length"), ("sound wall", "pipe.sound_wall"),
             ("pressure while wrapping", "service.installation_pressure"),
             ("steel while wrapping", "service.installation_temperature")) if case.get(x) is not None)])


def _pressures(book: Book, before: dict[str, Value], after: dict[str, Value]) -> None:
    for key, title in (("interim limit", "Interim limit issued against the one as found"),
                       ("pressure beside people", "Pressure beside people issued against the one as found")):
        if key in before and key in after:
            book.limit(title, before[key], "<=", after[key], issued=book.shown(before[key]),
                       found=book.shown(after[key]), note="hold the lower one at once", **_AGAIN)
    if "interim limit" in after:
        installed = book.bundle.case.value("service.installation_pressure")
        book.limit("Pressure while wrapping, issued, against the interim limit as found", installed, "<=",
                   after["interim limit"], issued=book.shown(installed), found=book.shown(after["interim limit"]),
                   **_AGAIN)
    beside = before.get("pressure beside people")
    for title, field, note in (
            ("Pressure now", "service.pressure_now", "leave the ditch, and lower the pressure first"),
            ("Pressure while wrapping as found", "service.installation_pressure", "people lay the wrap at it")):
        seen = book.value(field)
        if seen is not None and beside is not None:
            book.limit(f"{title} against the pressure beside people", seen, "<=", beside, citation=PRACTICE.id,
                       status="common practice", note=note)


def _covers(book: Book, issued: Outcome, now: Outcome, places: list[Laid], before: dict[str, Value],
            after: dict[str, Value]) -> None:
    """The zone that needs full thickness, as found, inside the cover at its issued place; joints off the loss."""
    d, e = issued.design, now.design
    assert d is not None and d.extent is not None and e is not None and e.extent is not None
    up, length = now.bundle.case.optional("location.from_upstream_weld"), now.bundle.case.optional("defect.length")
    if not places or up is None or length is None or book.value("defect.from_upstream_weld") is None:
        return  # each of them is missed by itself
    many = len(e.extent.repairs) > 1
    need = max((before["overlap"], after["overlap"]), key=lambda v: v.magnitude)
    for r in e.extent.repairs:
        label = f", repair {r.label}" if many else ""
        centre = up.magnitude + length.magnitude / 2 + r.centre
        ends = (centre - r.length.magnitude / 2, centre + r.length.magnitude / 2)
        over = min(places, key=lambda p: max(p.full[0].magnitude - ends[0], ends[1] - p.full[1].magnitude))
        out = active().procedure(
            "Cover as issued over the damage as found" + label, "ends of the damage as found, with its allowance, from "
            "the girth weld; how far the full thickness as issued reaches beyond them", MECHANICS.id, "derived",
            {"damage from the weld": up, "length of the damage": length, "length used": r.length,
             "full thickness from": over.full[0], "full thickness to": over.full[1]},
            {k: (units.steady(v), "mm") for k, v in (
                ("damage from", ends[0]), ("damage to", ends[1]), ("upstream", ends[0] - over.full[0].magnitude),
                ("downstream", over.full[1].magnitude - ends[1]))})
        for side, end in (("upstream", "from"), ("downstream", "to")):
            least = _least(book, issued, over, side, need)
            book.limit(f"Overlap as issued beyond the damage as found, {side}{label}", out[side], ">=", least,
                       found=f"{book.shown(out[side])}; damage {end} {book.far(out['damage ' + end])}",
                       note="the wrap at its issued place does not reach far enough", **_AGAIN)
        book.limit("Full-thickness length asked for now against the cover issued" + label,
                   _named(r.full, f"full length as found{label}"), "<=",
                   _named(over.repair.layout.cover, f"cover as issued{label}", "issued"), **_AGAIN)  # type: ignore[union-attr]
        _joints(book, over, centre, length, r, label)


def _named(v: Value, name: str, kind: str = "as found") -> Value:
    """A value of another run, which has steps of its own."""
    return Value(v.magnitude, v.unit, Origin(kind, name), name)


def _least(book: Book, issued: Outcome, over: Laid, side: str, need: Value) -> Value:
    """The overlap, or on a side with little room the one that the package accepts there with a thicker wrap."""
    d = issued.design
    assert d is not None and d.extent is not None
    short = "upstream" if over.repair.shift > 0 else "downstream"
    return need if d.extent.room is None or side != short else _named(d.extent.room, "overlap with little room",
                                                                      "issued")


def _joints(book: Book, over: Laid, centre: float, length: Value, r: Repair, label: str) -> None:
    """No butted joint over the loss as found where the package has none over the loss."""
    before = over.repair
    assert before.layout is not None
    if not over.joints or before.layout.off_joints < before.length.magnitude:
        return  # the package has told that a joint lies over the damage
    half = min(length.magnitude, r.length.magnitude) / 2
    nearest = min(over.joints, key=lambda x: abs(x - centre))
    clear = abs(nearest - centre) >= half
    at, middle = (book.far(Value(x, "mm", Origin("issued", "joint"), "")) for x in (nearest, centre))
    book.gate("Joints of the units off the metal loss as found" + label, clear, f"joint at {at}, middle of the loss at "
              f"{middle}", "no joint over the metal loss", **_AGAIN)
    if clear and abs(nearest - centre) < r.length.magnitude / 2:
        active().warn(f"A joint of the units at {at} lies within the measuring allowance of the metal loss as found.",
                      "as found")


def _units(book: Book, issued: Outcome, now: Outcome) -> None:
    """The set that would be chosen now, for reading: the issued one is judged by what it covers."""
    words = [" + ".join(units.show(w, "mm", system=book.bundle.case.display)
                        for r in o.design.extent.repairs if r.layout for w in r.layout.widths)  # type: ignore[union-attr]
             for o in (issued, now)]
    book.gate("Units that would be chosen now", words[0] == words[1], words[1], words[0], means=TOLD, **_AGAIN)


def _filler(book: Book, issued: Outcome, now: Outcome) -> None:
    """Whether the filler that was ordered fills what was found; for reading."""
    had, wants = (next((x for x in o.order if x.item.startswith("Filler")), None) for o in (issued, now))
    if had is None or wants is None:
        return
    there = had.quantity.magnitude
    if had.packs is not None and had.pack is not None and had.pack.unit == had.quantity.unit:
        there = had.packs.magnitude * had.pack.magnitude
    out = active().procedure("Filler", "needed with what was found; as ordered, in whole packs", MECHANICS.id,
                             "derived", {}, {"needed": (wants.quantity.magnitude, wants.quantity.unit),
                                             "ordered": (there, had.quantity.unit)})
    book.limit("Filler needed against the filler ordered", out["needed"], "<=", out["ordered"], means=TOLD,
               note="order more before the work", **_AGAIN)


def _room(book: Book, places: list[Laid]) -> None:
    """The issued wrap at its place stays clear of the welds, bends and fittings that were found."""
    up, length = book.value("defect.from_upstream_weld"), book.value("defect.length")
    if not places or up is None or length is None:
        return
    off = book.practice("end_from_weld")
    first, last = places[0].whole[0], places[-1].whole[1]
    for side, reach, edge in (("upstream", up.magnitude - first.magnitude, first),
                              ("downstream", last.magnitude - up.magnitude - length.magnitude, last)):
        clear = book.value(f"defect.clear_{side}")
        if clear is None:
            continue
        takes = active().procedure(
            f"Room that the repair takes, {side}", "from the damage as found to the end of the repair at its issued "
            "place, and the least distance to a weld", MECHANICS.id, "derived",
            {"damage from the weld": up, "length of the damage": length, "end of the repair": edge,
             "least distance": off.value()},
            {"room": (units.steady(reach + off.value().magnitude), "mm")})["room"]
        book.limit(f"Room that the repair takes, {side}, against the room found", takes, "<=", clear,
                   citation=off.citation, status=off.status, issued=book.shown(takes), found=book.shown(clear))


def _box(book: Book, issued: Outcome) -> None:
    """Each side of the box; it is the stop rule of the crew, and decides nothing here."""
    assert issued.bears is not None
    found = {DEPTH: book.value("defect.depth"), LENGTH: book.value("defect.length"), WIDTH: book.value("defect.width"),
             OPENING: book.value("defect.leak_size"), WALL: book.wall}
    for side in issued.bears.box:
        if found.get(side.name) is not None:
            book.limit(f"Stop rule of the crew: {side.name}", found[side.name], "<=" if side.at_most else ">=",
                       _named(side.edge, f"box: {side.name}", "issued"), means=TOLD, **_AGAIN)
