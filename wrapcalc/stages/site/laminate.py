"""What the finished laminate may show, zone by zone: wording as data, every number a table entry."""

from __future__ import annotations

from dataclasses import dataclass

from wrapcalc.case import Bundle
from wrapcalc.standards.documents import ISO_24817
from wrapcalc.standards.tables import Entry
from wrapcalc.values import Value

_WORDS = "acceptance of the laminate"


@dataclass(frozen=True)
class Defect:
    """One row as printed. words: the limit; values: the numbers in it; blank: what the engineer has to lay down.

    status: of the numbers where there are any, else of the wording, which is recalled.
    """

    zone: str
    defect: str
    words: str
    exceeded: str
    citation: str
    status: str
    values: tuple[Value, ...] = ()
    blank: str = ""


#: (zone, defect, limit with {entries} of ISO 24817:2017 in it, what to do when it is exceeded, blank to fill in)
_ROWS = (
    ("before application", "surface, temperature, shape, marked place and extent, prepared length", "as on this sheet",
     "do it again", ""),
    ("bond line", "delamination at the ends", "none", "remove and lay again", ""),
    ("bond line", "delamination elsewhere, by tapping", "as the engineer has laid down for this repair; none under "
                                                        "what is not laid down",
     "stop and call the engineer", "most dull area allowed, laid down by"),
    ("resin-rich surface", "cracks", "none", "in the resin only: grind and coat again; deeper: stop and call the "
                                             "engineer",
     ""),
    ("resin-rich surface", "foreign matter, blisters, pits", "at most {surface_defect_width} wide and "
                                                             "{surface_defect_height} high or deep",
     "dress that place; no ply may be cut", ""),
    ("resin-rich surface", "wrinkles", "no step of the thickness above {wrinkle_step}", "stop and call the engineer",
     ""),
    ("resin-rich surface", "pinholes", "not deeper than the resin-rich layer", "seal them", ""),
    ("resin-rich surface", "colour", "uniform", "check the mix and the hardness there", ""),
    ("laminate", "direction of the fibres", "as designed", "reject", ""),
    ("laminate", "dry fibre, cut edges that are exposed", "none", "remove and lay again", ""),
    ("laminate", "foreign matter in the laminate", "none", "remove and lay again", ""),
    ("laminate", "extent along the pipe and place", "as designed, and nowhere past the prepared steel",
     "reject, or extend as the engineer lays down", ""),
    ("laminate", "layers and thickness", "at least as designed, both",
     "add layers as the engineer lays down, while the system allows it, or reject", ""),
)


def laminate_limits(bundle: Bundle) -> tuple[Defect, ...]:
    """Every row with the numbers of the tables of this run in it."""
    out = []
    for zone, defect, words, exceeded, blank in _ROWS:
        entries = [bundle.tables.entry(ISO_24817.id, name) for name in _names(words)]
        shown = {e.name: e.value().show(bundle.case.display) for e in entries}
        out.append(Defect(zone, defect, words.format(**shown), exceeded, f"{ISO_24817.id}, {_WORDS}", _status(entries),
                          tuple(e.value() for e in entries), blank))
    return tuple(out)


def _names(words: str) -> list[str]:
    return [part.partition("}")[0] for part in words.split("{")[1:]]


def _status(entries: list[Entry]) -> str:
    """Verified only where every number of the row is."""
    return "verified" if entries and all(e.status == "verified" for e in entries) else "from memory"
