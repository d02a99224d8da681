"""Readings of a repair in the order of the job: the topics they are entered under, and the clause of each limit."""

from __future__ import annotations

from wrapcalc.case import Bundle
from wrapcalc.case.readings import ANSWERS, CLOCK, DATE, DONE, EVENT, LAMINATE, NAME, TEXT, WHATS, YES_NO
from wrapcalc.standards.documents import IMO_COATING, ISO_8501, ISO_8502, ISO_24817, PRACTICE

#: Topic -> what is read there. Every word that the reader knows stands in one of them; a test holds them complete.
TOPICS: dict[str, tuple[str, ...]] = {
    "Repair and people": ("package", "record", "correction", "installer"),
    "Pressure": ("line pressure",),
    "Climate and cure": ("air temperature", "relative humidity", "steel temperature"),
    "Blast": ("least wall for blasting", "wall under blasting", "blast finished", "blast grade", "blast profile",
              "soluble salt", "dust rating", "rust bloom"),
    "Batches and mixing": ("batch", "expiry", "resin in mix", "hardener in mix", "mixing started", "material placed"),
    "Layers": ("carbon kept off the steel", "layers counted", "circumference before", "circumference after"),
    "Extents": ("prepared steel, upstream end", "prepared steel, downstream end", "upstream side of unit",
                "downstream side of unit", "wrap start clock", "wrap end off its mark", "joint gap"),
    "Hardness and laminate": ("hardness", "tap test", "dull area", *(f"laminate: {x}" for x in LAMINATE), "end seal"),
    "Coating and holiday test": ("coating thickness", "holiday test voltage", "holidays found", "magnetic markers",
                                 "cathodic protection"),
    "Release and acceptance": ("leak or pressure test", "pressure released by", "accepted by", "accepted deviation"),
    "Photos": ("photo",),
}
_OF = {what: topic for topic, whats in TOPICS.items() for what in whats}
#: What is not known by its word alone is entered with the first.
_FIRST = next(iter(TOPICS))


def topic_of(what: str) -> str:
    """Where a reading is entered; a word that nobody knows stands with the first, where its fault is seen."""
    return _OF.get(" ".join(what.casefold().split()), _FIRST)


#: What a reading is called where its word in the file does not say by itself what is asked.
_CALLED = {"package": "name of the package", "record": "digest of the record", "correction": "reason of the correction",
           "batch": "batch number", "expiry": "expiry date", "photo": "photo, name of the file",
           "resin in mix": "mass of resin in mix", "hardener in mix": "mass of hardener in mix",
           "dull area": "area that sounds dull", "end seal": "end seal whole", "blast grade": "blast grade reached",
           **{f"laminate: {x}": f"laminate, beyond the limit: {x}" for x in LAMINATE}}


def called(what: str) -> str:
    """A reading in the words of who enters it; its own word where that says it, or where nobody knows it."""
    return _CALLED.get(what.casefold(), what)


def clause(what: str, where: str, bundle: Bundle) -> str:
    """Document and clause of the limit of a reading, as the close-out cites it; "" where it has none of its own.

    A test holds these equal to what the checks of a close-out cite.
    """
    assert bundle.system is not None
    sheet = f"sheet of {bundle.system.system.id}"
    laminate = f"{ISO_24817.id}, acceptance of the laminate"
    if what == "dull area":
        return laminate if where.startswith("ends") else PRACTICE.id
    if what.startswith("laminate: "):
        return laminate
    return {
        "installer": "case: work.installer", "line pressure": "case: service.installation_pressure",
        "relative humidity": f"{sheet}; {IMO_COATING.id}", "steel temperature": sheet,
        "wall under blasting": "case: work.blast_least_wall" if bundle.case.get("work.blast_least_wall") else "",
        "blast grade": f"{sheet}; {ISO_8501.id}", "blast profile": sheet, "soluble salt": f"{sheet}; {ISO_8502.id}",
        "dust rating": f"{sheet}; {ISO_8502.id}, part 3", "rust bloom": PRACTICE.id,
        "prepared steel, upstream end": sheet, "prepared steel, downstream end": sheet, "hardener in mix": PRACTICE.id,
        "material placed": sheet, "circumference before": sheet, "circumference after": sheet,
        "layers counted": "record: layers",
        "upstream side of unit": sheet, "downstream side of unit": sheet, "wrap start clock": sheet,
        "wrap end off its mark": sheet, "joint gap": sheet, "hardness": f"{ISO_24817.id}, acceptance, hardness",
        "tap test": sheet, "end seal": sheet,
        "coating thickness": "case: work.coating_thickness" if bundle.case.get("work.coating_thickness") else "",
        "holiday test voltage": str(bundle.case.get("work.holiday_standard") or ""), "holidays found": PRACTICE.id,
        "magnetic markers": PRACTICE.id, "cathodic protection": PRACTICE.id,
        "carbon kept off the steel": PRACTICE.id, "leak or pressure test": PRACTICE.id, "pressure released by": sheet,
        "accepted by": PRACTICE.id,
    }.get(what, "")


#: How a reading is written, by its kind: in the units of a case in SI, and in US customary ones.
_HINTS = {"gauge pressure": ("MPa", "psi"), "temperature": ("°C", "°F"), "percentage": ("%", "%"),
          "length": ("mm", "in"), "salt": ("mg/m2", "mg/m2"), "mass": ("kg", "lb"), "area": ("m2", "ft2"),
          "voltage": ("kV", "kV")}
_FINE = {"blast profile": ("µm", "mil"), "coating thickness": ("mm", "mil")}
_WORDS = {YES_NO: "yes or no", DONE: "yes, no or none", EVENT: "yes, with its time", NAME: "a name",
          CLOCK: "such as 4:30", DATE: "year-month-day", TEXT: "text", "count": "a whole number", "number": "a number"}


def hint(what: str, display: str) -> str:
    """How a reading is written, in words."""
    kind = WHATS[what].kind if what in WHATS else TEXT
    units = _FINE.get(what) or _HINTS.get(kind)
    return f"with unit: {units[display == 'US']}" if units else _WORDS[kind]


def answers(what: str) -> tuple[str, ...]:
    """The words that a reading can be; none when it is something else."""
    return ANSWERS.get(WHATS[what].kind, ()) if what in WHATS else ()
