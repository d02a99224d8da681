"""Strengths of line-pipe grades and sizes of steel pipe, found by their written name and never guessed.

A grade is nothing without its edition: the strengths of one name changed between editions (X52: 52 000 psi in 2000,
52 200 psi in 2018). A diameter is the exact one in inches, not the rounded metric one of the tables.
The tables are pipe/api_5l.toml and pipe/asme_b36_10m.toml. Faults are fields.FieldFault: found, allowed, mend.
"""

from __future__ import annotations

import functools
import hashlib
import re
import tomllib
from dataclasses import dataclass
from importlib import resources
from typing import Any

from wrapcalc import units
from wrapcalc.fields import FieldFault, read_text
from wrapcalc.standards.documents import document


@dataclass(frozen=True, slots=True)
class Grade:
    """Specified minimum strengths of one grade in one edition, each written with its unit.

    The unit follows the name: psi for B or X52, MPa for L360. status: the weaker one of the two strengths.
    """

    name: str
    edition: str
    document_id: str
    smys: str
    smts: str
    status: str
    clause: str

    @property
    def written(self) -> str:
        """The text by which `grade` finds it."""
        return f"{self.name}, {self.edition}"

    @property
    def source(self) -> str:
        """Where the strengths stand, in words."""
        place = f"{self.document_id}, {self.clause}, {self.name}"
        return place if self.edition.startswith(self.document_id[:6]) else f"{self.edition} as {place}"


@dataclass(frozen=True, slots=True)
class Size:
    """Outside diameter (inches, exact) and wall of one pipe size, each written with its unit.

    schedule: "Sch 40", "STD", ..., or "" for a preferred wall given in inches. The wall of a schedule is the listed
    one in millimetres, which is rounded to 0.01 mm. status: the weaker one of diameter and wall.
    """

    nps: int
    schedule: str
    outside_diameter: str
    wall: str
    status: str
    document_id: str
    clause: str

    @property
    def written(self) -> str:
        """The text by which `size` finds it."""
        return f"NPS {self.nps} {self.schedule or self.wall}"

    @property
    def source(self) -> str:
        """Where diameter and wall stand, in words."""
        return f"{self.document_id}, {self.clause}, {self.written}"


@dataclass(frozen=True, slots=True)
class _Edition:
    name: str
    document: str
    standard: str
    marks: list[str]
    clause: str


def _table(name: str) -> dict[str, Any]:
    file = resources.files("wrapcalc.standards").joinpath("pipe", name)
    return tomllib.loads(file.read_text(encoding="utf-8"))


@functools.lru_cache(maxsize=1)
def shipped_digest() -> str:
    """SHA-256 over both tables as read, whatever the line endings."""
    return hashlib.sha256(repr([_table(n) for n in ("api_5l.toml", "asme_b36_10m.toml")]).encode()).hexdigest()


# -- grades -------------------------------------------------------------------------------------------------------
@functools.lru_cache(maxsize=1)
def _editions() -> dict[str, _Edition]:
    return {e["name"]: _Edition(**e) for e in _table("api_5l.toml")["edition"]}


@functools.lru_cache(maxsize=1)
def grades() -> tuple[Grade, ...]:
    """Every grade of every edition that we have."""
    out = []
    for block in _table("api_5l.toml")["grade"]:
        for edition in filter(None, (block["edition"], block.get("also"))):
            e = _editions()[edition]
            out += [Grade(s["name"], edition, document(e.document).id, s["smys"], s["smts"], block["status"], e.clause)
                    for s in block["strengths"]]
    return tuple(out)


#: What may stand beside the name of a grade: a standard with a year, or with an ordinal number, of its edition.
_EDITION = re.compile(r"(?P<standard>API\s*5L|ISO\s*3183)?\s*:?\s*"
                      r"(?:(?P<year>\d{4})|(?P<ordinal>\d+(?:st|nd|rd|th)))?\s*(?:edition)?", re.IGNORECASE | re.ASCII)


def grade(text: str) -> Grade:
    """The grade of a text such as "X52, API 5L 2000 edition", "B, API 5L:2018" or "L360, ISO 3183".

    Raises FieldFault: no such grade; no edition (it says which editions have the grade, and with what strengths);
    an edition that we do not have; a grade that the edition does not have.
    """
    line = _line(text, "a grade and its edition", 'write "X52, API 5L 2000 edition"')
    known = {g.name.casefold(): g.name for g in grades()}
    names = [(m, known[m[0].casefold()]) for m in re.finditer(r"[A-Za-z0-9]+", line) if m[0].casefold() in known]
    if not names:
        # X52M is X52 in a delivery condition; any other likeness (X53, X65) would be a guess
        stems = [known[m.casefold()] for m in re.findall(r"([A-Za-z]\d+)[A-Za-z]+", line) if m.casefold() in known]
        raise FieldFault(units.shown(text), "one of the grades " + ", ".join(sorted(known.values(), key=_by_size)),
                         (f"did you mean '{stems[0]}'? " if stems else "") + "If it is none of them, state smys and "
                         "smts with their source instead")
    if len(names) > 1:
        raise FieldFault(f"{units.shown(text)}, which names {len(names)} grades", "one grade and its edition",
                         "keep the one of the pipe's own specification")
    (match, name), = names
    rest = re.sub(r"\b(?:grade|gr\.)\s*$", "", line[:match.start()], flags=re.IGNORECASE) + " " + line[match.end():]
    return _in_edition(name, " ".join(rest.replace(",", " ").split()), text)


def _in_edition(name: str, rest: str, text: str) -> Grade:
    """The grade of this name in the edition that the rest of the text names."""
    having = [g for g in grades() if g.name == name]
    m = _EDITION.fullmatch(rest)
    if m is None:
        raise FieldFault(f"{units.shown(rest)} beside the grade {name}", _choices(having),
                         f'write it like "{having[0].written}"')
    standard = " ".join(re.findall(r"[A-Z]+|\d\w*", (m["standard"] or "").upper()))
    if standard == "" or (standard == "API 5L" and m["year"] is None and m["ordinal"] is None):
        raise FieldFault(f"{units.shown(text)}, which names no edition", _choices(having),
                         "add the edition of the pipe's own specification; the strengths of one name changed between "
                         "editions")
    mark = (m["year"] or m["ordinal"] or "").casefold()
    edition = next((e for e in _editions().values() if e.standard == standard and mark in (e.marks or [""])), None)
    if edition is None:
        raise FieldFault(f"{units.shown(rest)}, an edition that we do not have", _choices(having),
                         "name one of these only if the pipe was made to it; otherwise state smys and smts with their "
                         "source instead")
    found = next((g for g in having if g.edition == edition.name), None)
    if found is None:
        there = [g.name for g in grades() if g.edition == edition.name]
        raise FieldFault(f"{name}, which is not in our table of {edition.name}",
                         f"{', '.join(sorted(there, key=_by_size))}; or {_choices(having)}",
                         "check grade and edition against the pipe's own specification")
    return found


def _choices(having: list[Grade]) -> str:
    return "; ".join(f"{g.written} (smys {g.smys}, smts {g.smts})" for g in having)


def _by_size(name: str) -> tuple[str, int]:
    return name[0], int(name[1:] or 0)


# -- sizes --------------------------------------------------------------------------------------------------------
@functools.lru_cache(maxsize=1)
def sizes() -> tuple[Size, ...]:
    """Every size in every schedule that we have, NPS 4 to 48."""
    data = _table("asme_b36_10m.toml")
    doc, status = document(data["document"]).id, _weaker(data["diameter_status"], data["wall_status"])
    return tuple(Size(s["nps"], f"Sch {name}" if name.isdigit() else name, s["outside_diameter"], f"{wall} mm", status,
                      doc, data["clause"])
                 for s in data["size"] for name, wall in s["walls_mm"].items())


@functools.lru_cache(maxsize=1)
def preferred_walls() -> dict[str, float]:
    """Walls of line pipe beside the schedules: inches as ordered -> millimetres as listed."""
    return dict(_table("api_5l.toml")["preferred_walls"]["inch_to_mm"])


_SIZE = re.compile(r"NPS\s*(?P<nps>\d+)(?:\s*,\s*|\s+|$)(?P<rest>.*)", re.IGNORECASE | re.ASCII)
_SCHEDULE = re.compile(r"(?:sch(?:edule|\.)?\s*)(?P<number>\d+)|(?:sch(?:edule|\.)?\s*)?(?P<word>STD|XS|XXS)",
                       re.IGNORECASE | re.ASCII)
_WALL = re.compile(r"(?P<wall>\d*\.\d+|\d+)\s*in", re.ASCII)


def size(text: str) -> Size:
    """The size of a text such as "NPS 20 STD", "NPS 12 Sch 40" or, with a preferred wall, "NPS 20 0.375 in".

    Raises FieldFault: no such size (it names the nearest ones), no such schedule or wall of that size (it lists them).
    """
    line = _line(text, "a size and its schedule", 'write "NPS 20 STD" or "NPS 12 Sch 40"')
    m = _SIZE.fullmatch(line)
    if m is None:
        raise FieldFault(units.shown(text), "NPS, a whole number and a schedule",
                         'write "NPS 20 STD" or "NPS 12 Sch 40"; otherwise state diameter and wall with their source '
                         "instead")
    here = [s for s in sizes() if str(s.nps) == m["nps"]]
    if not here:
        known = sorted({s.nps for s in sizes()})
        raise FieldFault(f"NPS {m['nps'][:20]}", "NPS " + ", ".join(map(str, known)),
                         f"the nearest {_near(m['nps'], known, 'NPS ')}; otherwise state diameter and wall with their "
                         "source instead")
    if (wall := _WALL.fullmatch(m["rest"])) is not None:
        return _with_wall(here[0], wall["wall"])
    schedules = [s.schedule for s in here]
    schedule = _SCHEDULE.fullmatch(m["rest"])
    if schedule is None:
        word = m["rest"]
        raise FieldFault(f"{units.shown(word)} after NPS {here[0].nps}" if word else f"NPS {here[0].nps} alone",
                         ", ".join(schedules) + ", or a preferred wall in inches such as 0.375 in",
                         f'did you mean "NPS {here[0].nps} Sch {word}"?'
                         if f"Sch {word}" in schedules else f'write it like "NPS {here[0].nps} STD"')
    wanted = schedule["word"].upper() if schedule["word"] else f"Sch {int(schedule['number'])}"
    found = next((s for s in here if s.schedule == wanted), None)
    if found is None:
        numbers = sorted(int(s.partition(" ")[2]) for s in schedules if s.startswith("Sch"))
        near = f"the nearest {_near(schedule['number'], numbers, 'Sch ')}" if schedule["number"] and numbers else \
            "choose the one of the pipe's own specification"
        raise FieldFault(f"NPS {here[0].nps} {wanted[:30]}", ", ".join(schedules),
                         f"{near}; otherwise state the wall with its source instead")
    return found


def _with_wall(any_schedule: Size, wall: str) -> Size:
    """The size with a preferred wall in inches, kept exact."""
    table = _table("api_5l.toml")["preferred_walls"]
    listed = {float(w): w for w in preferred_walls()}
    if float(wall) not in listed:
        below = [w for w in listed if w < float(wall)]
        above = [w for w in listed if w > float(wall)]
        near = " and ".join(f"{listed[w]} in" for w in (*below[-1:], *above[:1]))
        raise FieldFault(f"the wall {wall[:20]} in", "one of the preferred walls "
                         + ", ".join(preferred_walls()) + " in",
                         f"the nearest: {near}; otherwise state the wall with its source instead")
    return Size(any_schedule.nps, "", any_schedule.outside_diameter, f"{listed[float(wall)]} in",
                _weaker(any_schedule.status, table["status"]), document(table["document"]).id, table["clause"])


def _near(wanted: str, known: list[int], word: str) -> str:
    """The nearest whole numbers below and above, in words."""
    number = int(wanted[:9])
    below, above = [k for k in known if k < number], [k for k in known if k > number]
    out = [f"{word}{k}" for k in (*below[-1:], *above[:1])]
    return ("is " if len(out) == 1 else "are ") + " and ".join(out)


def _weaker(*statuses: str) -> str:
    return "seen" if set(statuses) == {"seen"} else "from memory"


def _line(text: Any, allowed: str, mend: str) -> str:
    """The text as one line. Raises FieldFault when it is none, or blank."""
    line = read_text(text)
    if line is None:
        raise FieldFault("nothing", allowed, mend)
    return line
