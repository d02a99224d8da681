"""One site of a campaign as its package tells it: the record, read with care, and what could not be read."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields, is_dataclass
from pathlib import Path
from typing import Any, TypeVar

from wrapcalc import units
from wrapcalc.errors import CalculationError, PackageError
from wrapcalc.package.explain import read_record
from wrapcalc.register import evidence
from wrapcalc.register.evidence import Revision, inputs_of, listed, number, part, text

T = TypeVar("T")
WRAP = "wrap"


@dataclass(frozen=True)
class Problem:
    """A package that cannot be counted, and why, in one line."""

    package: str
    words: str


@dataclass(frozen=True)
class Site:
    """A whole package. record: its record.json; known: what the register reads of it; inputs: its answered questions
    by field."""

    record: dict[str, Any]
    known: Revision
    inputs: dict[str, dict[str, Any]]

    @property
    def case_id(self) -> str:
        """Short name of the anomaly."""
        return self.known.case_id

    @property
    def package(self) -> str:
        """Name of its folder."""
        return self.known.package

    def written(self, field: str) -> str:
        """An input as it was written, "" when nobody answered."""
        return text(self.inputs.get(field, {}).get("written"))

    def magnitude(self, field: str) -> float | None:
        """An input in the unit we calculate in."""
        return number(self.inputs.get(field, {}).get("magnitude"))

    @property
    def wrap(self) -> dict[str, Any]:
        """What the record says to those who lay the wrap; empty where there is none."""
        return part(part(self.record, "site"), "wrap")

    @property
    def dig(self) -> dict[str, Any]:
        """The dig as the record tells it; empty where the case states nothing of it."""
        return part(part(self.record, "site"), "dig")

    def step(self, formula: str) -> tuple[float, str, str] | None:
        """(magnitude, unit, id) of the first step that a formula left and that was not struck."""
        for item in listed(self.record, "items"):
            result = part(item, "result")
            magnitude = number(result.get("magnitude"))
            if item.get("formula") == formula and not item.get("struck") and magnitude is not None:
                return magnitude, text(result.get("unit")), text(item.get("id"))
        return None

    @property
    def longest_cure(self) -> float | None:
        """Longest time of the cure table of the sheet, in hours, as the record prints it."""
        for row in listed(part(self.record, "system"), "rows"):
            if row.get("field") == "cure_table.times":
                found = [_hours(t.partition("(")[0]) for t in text(row.get("shown")).split(",")]
                return max((h for h in found if h is not None), default=None)
        return None


def _hours(written: str) -> float | None:
    try:
        return units.to_base(*units.parse(written.strip(), "time"), "time")
    except ValueError:
        return None


@dataclass(frozen=True)
class Read:
    """The sites, sorted by case; older: other revisions of them, of which only pressures count; unread: packages that
    cannot be read; problems: both, in words."""

    sites: tuple[Site, ...]
    older: tuple[Site, ...]
    unread: tuple[str, ...]
    problems: tuple[Problem, ...]


def read_sites(packages: Iterable[Path]) -> Read:
    """Read the packages. Of a case only its latest revision counts.

    A package that is damaged, of another schema, or none at all is a Problem, never an exception.
    """
    found: list[tuple[Path, Site]] = []
    unread: list[str] = []
    problems: list[Problem] = []
    there: dict[Path, set[Path]] = {}
    for path in sorted({Path(p) for p in packages}):
        try:
            if path.parent not in there:
                there[path.parent] = set(evidence.folders(path.parent))
            found.append((path, _read(path, path in there[path.parent])))
        except PackageError as e:
            unread.append(path.name)
            problems.append(Problem(path.name, _one_line(str(e), path)))
    # Of two folders with one name the first counts.
    found.sort(key=lambda x: (x[1].case_id, -x[1].known.revision, x[0]))
    sites: dict[str, Site] = {}
    older: list[Site] = []
    for _, site in found:
        last = sites.setdefault(site.case_id, site)
        if last is not site:
            older.append(site)
            problems.append(Problem(site.package, f"not counted: {last.package} takes its place"
                                    if last.package != site.package else "not counted: a package of this name stands "
                                    "in another folder, too"))
    return Read(tuple(sites.values()), tuple(older), tuple(unread),
                tuple(sorted(problems, key=lambda p: (p.package, p.words))))


def _read(path: Path, is_folder: bool) -> Site:
    found = evidence.scan(path.parent, [path]).revisions if is_folder else ()
    if not found:
        raise PackageError("this is no package; name the folder of one, such as HB-07-r1")
    known = found[0]
    if known.condition != evidence.WHOLE:
        raise PackageError(f"{known.condition}: {known.reason}")
    record = read_record(path)
    return Site(record, known, inputs_of(record))


def _one_line(message: str, path: Path) -> str:
    return " ".join(message.replace(f"{path}: ", "").replace(str(path), path.name).split())


def counted(sites: Iterable[Site], read: Callable[[Site], T], problems: list[Problem]) -> list[tuple[Site, T]]:
    """What `read` makes of each site; a record whose parts are not as expected becomes a Problem."""
    out = []
    for site in sites:
        try:
            out.append((site, read(site)))
        except (LookupError, TypeError, ValueError, AttributeError, ArithmeticError, CalculationError) as e:
            words = " ".join(str(e).split()) or type(e).__name__
            problems.append(Problem(site.package, f"record.json is not as expected ({type(e).__name__}: {words}); run "
                                    "the case again with this version"))
    return out


# -- for print and for files --------------------------------------------------------------------------------------
def plain(raw: Any) -> Any:
    """Dataclasses, dates and tuples as data for JSON; a number that is not finite is nothing."""
    if is_dataclass(raw) and not isinstance(raw, type):
        return {f.name: plain(getattr(raw, f.name)) for f in fields(raw)}
    if isinstance(raw, datetime.date):
        return raw.isoformat()
    if isinstance(raw, dict):
        return {str(k): plain(v) for k, v in raw.items()}
    if isinstance(raw, (list, tuple)):
        return [plain(v) for v in raw]
    return None if isinstance(raw, float) and not math.isfinite(raw) else raw


def refs(*values: dict[str, Any] | None) -> tuple[str, ...]:
    """Where values of a record come from: ids of steps and procedures, fields, entries; each once."""
    found = (text(part(v, "origin").get("ref")) for v in values if isinstance(v, dict))
    return tuple(dict.fromkeys(r for r in found if r))


def shown(magnitude: float | None, unit: str, display: str) -> str:
    """A quantity as it is printed; "" when it is not known."""
    return "" if magnitude is None else units.show(magnitude, unit, system=display)


def in_display(magnitude: float | None, unit: str, display: str) -> float:
    """A quantity in the unit of a column; NaN when it is not known."""
    return math.nan if magnitude is None else float(units.convert(magnitude, unit, units.display_unit(unit, display)))


def column_unit(unit: str, display: str) -> str:
    """The unit of a column as it stands in its heading."""
    return units.label(units.display_unit(unit, display))


def joined(words: Sequence[str]) -> str:
    """Words of a list in one cell."""
    return "; ".join(w for w in words if w)
