"""The mapping file: what the columns of a listing are and in which units, and what line it is."""

# mypy cannot read annotations made by calls; pydantic can, and the tests read every field.
# mypy: disable-error-code="valid-type"

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, create_model

from wrapcalc import units
from wrapcalc.campaign.listing.columns import COLUMNS, KINDS, WORD
from wrapcalc.campaign.neighbours.neighbours import NOT_STATED, PLACES
from wrapcalc.case.model import Case
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.fields import (
    Day,
    FieldFault,
    Sheet,
    Text,
    ask,
    choice,
    examine,
    quantity,
    read_text,
    suggest,
    tables,
    walk,
)
from wrapcalc.reading import line_numbers, read_toml, shown_name

DECIMAL = {"point": ".", "comma": ","}
THOUSANDS = {"none": "", "comma": ",", "point": ".", "space": " "}
DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}
ENCODINGS = ("utf-8", "utf-16", "windows-1252")
_MOST_ROW, _MOST_WORDS, _MOST_BLANKS, _MOST_TABLES = 1000, 500, 50, 5000
#: Fields of the defect that come from the rows, and so stand in no segment.
_OF_ROWS = ("defect.depth", "defect.length", "defect.width", "defect.clock", "defect.grid", "defect.second_grid",
            "defect.profile", "defect.pits")


def _row(raw: Any) -> int | None:
    if raw is None or raw == "":
        return None
    if isinstance(raw, bool) or not isinstance(raw, int) or not 1 <= raw <= _MOST_ROW:
        raise FieldFault(units.shown(raw), f"a whole number from 1 to {_MOST_ROW}", "count the rows as the spreadsheet "
                         "shows them, the first is 1; no quotation marks")
    return raw


RowNumber = Annotated[int | None, BeforeValidator(_row)]


def _blanks(raw: Any) -> tuple[str, ...]:
    if raw is None or raw == "":
        return ()
    if not isinstance(raw, (list, tuple)) or len(raw) > _MOST_BLANKS:
        raise FieldFault(units.shown(raw), f"a list of at most {_MOST_BLANKS} texts",
                         'write [ ... ] such as ["-", "n/a"]')
    out = [t for t in map(read_text, raw) if t]
    for text in out:
        if any(c.isdigit() for c in text):
            raise FieldFault(units.shown(text), "texts without digits: a number is always a statement",
                             "remove it; correct such cells in the listing")
    return tuple(out)


class Listing(Sheet):
    """[listing] how the file is written"""

    run: Text = ask("Name of the inspection run", need="", example='"run of 2026"')
    run_date: Day = ask("Day of the run", need="", example='"2026-05-14"')
    line: Text = ask("Name of the line; when a column of lines is mapped, rows of another line are faults", need="",
                     example='"Harrow Bight"')
    decimal: choice(*DECIMAL, required=True) = ask(
        "Decimal mark of the numbers: point or comma; it is never guessed", example='"point"', default=...)
    thousands: choice(*THOUSANDS) = ask("Mark between thousands; none when not stated", need="", example='"none"')
    delimiter: choice(*DELIMITERS) = ask("What parts the cells of a CSV file; comma when not stated", need="",
                                         example='"comma"')
    encoding: choice(*ENCODINGS) = ask("Encoding of a CSV file; utf-8 when not stated", need="", example='"utf-8"')
    sheet: Text = ask("Sheet of a workbook; the only one that is not hidden when not stated", need="",
                      example='"Features"')
    header_row: RowNumber = ask("Row of the headings; 1 when not stated", need="", example="1")
    units_row: RowNumber = ask("Row of units under the headings, if there is one", need="", example="2")
    blank: Annotated[tuple[str, ...], BeforeValidator(_blanks)] = ask(
        "Texts that stand for 'not stated'", need="", example='["-", "n/a"]', default=())
    place: choice(*PLACES[:3]) = ask("Which part of an anomaly the log distance is of; when not stated, every "
                                     "reading is reckoned with", need="", example='"upstream end"')

    @property
    def heading_row(self) -> int:
        """Row of the headings, the first of the file is 1."""
        return self.header_row or 1

    @property
    def first_row(self) -> int:
        """First row below headings and units."""
        return (self.units_row or self.heading_row) + 1

    @property
    def decimal_mark(self) -> str:
        """Decimal mark of numbers that are written as text."""
        return DECIMAL[self.decimal]

    @property
    def thousands_mark(self) -> str:
        """Mark between thousands; "" when there is none."""
        return THOUSANDS[self.thousands or "none"]


def words_key(text: str) -> str:
    """A word of a listing as it is compared: spacing and capitals do not count."""
    return " ".join(text.split()).casefold()


def _words(raw: Any) -> dict[str, str]:
    """Words of the listing -> ours, by their keys."""
    if raw is None or raw == "":
        return {}
    if not isinstance(raw, dict) or len(raw) > _MOST_WORDS:
        raise FieldFault(units.shown(raw), f"a table of at most {_MOST_WORDS} words",
                         'write words = { "Metal loss ext" = "external metal loss" }')
    out: dict[str, str] = {}
    for theirs, ours in raw.items():
        if ours not in KINDS:
            raise FieldFault(f"{units.shown(theirs)} = {units.shown(ours)}", ", ".join(KINDS),
                             suggest(ours, KINDS, "choose one of them"))
        if out.setdefault(words_key(theirs), ours) != ours:
            raise FieldFault(f"{units.shown(theirs)} as '{out[words_key(theirs)]}' and as '{ours}'",
                             "one meaning for each word; spacing and capitals do not count", "remove one of the two")
    return out


def _column(holds: str, allowed: tuple[str, ...]) -> type[Sheet]:
    """The table of a column: its heading, the unit where there is one, words where it holds words."""
    fields: dict[str, Any] = {"column": (Text, ask("Heading as written", example='"Depth"', default=...))}
    if allowed:
        fields["unit"] = (choice(*allowed, required=True), ask(
            f"how its numbers are to be read: {', '.join(allowed)}", example=f'"{allowed[0]}"', default=...))
    if holds == WORD:
        fields["words"] = (Annotated[dict[str, str], BeforeValidator(_words)], ask(
            "Words of the listing, and ours", need="", example='{ "GW" = "girth weld" }', default={}))
    return create_model(f"Column_{holds}", __base__=Sheet, **fields)


_OF = {c.holds: _column(c.holds, c.units) for c in COLUMNS.values()}
Columns = create_model("Columns", __base__=Sheet, __doc__="[columns] what is where", **{  # type: ignore[call-overload]
    c.name: (_OF[c.holds] | None, ask(c.says, need="", default=None)) for c in COLUMNS.values()})


class LineTable(Sheet):
    """[line] the line that the listing is of"""

    base: Text = ask("Case file beside this file with what all rows share", example='"base.toml"', default=...)
    reversed: choice("no", "yes") = ask("Does the log count against the flow? no when not stated", need="",
                                        example='"no"', default="no")


_DISTANCE = quantity("length", least=-1e10, most=1e10)


class ReferencePoint(Sheet):
    """[[reference_point]] a place whose log distance and surveyed distance are both known"""

    log: _DISTANCE = ask("Distance by the odometer", example='"842.762 m"')
    survey: _DISTANCE = ask("Surveyed distance", example='"837.492 m"')
    name: Text = ask("What it is", need="", example='"valve 2"')


def _overrides(raw: Any) -> dict[str, Any]:
    if not isinstance(raw, dict):
        raise FieldFault(units.shown(raw), "a table of fields of the case",
                         'write set = { "pipe.nominal_wall" = "8.74 mm" }')
    return dict(raw)


class _FromTo(Sheet):
    """[[segment]] a stretch of the line on which fields of the base case are others"""

    @property
    def from_(self) -> Any:
        """Surveyed distance at which it begins."""
        return getattr(self, "from")  # a name that Python keeps for itself


Segment = create_model("Segment", __base__=_FromTo, **{  # type: ignore[call-overload]
    "from": (_DISTANCE, ask("Surveyed distance at which it begins", example='"0 m"')),
    "to": (_DISTANCE, ask("Surveyed distance at which it ends", example='"2340 m"')),
    "set": (Annotated[dict[str, Any], BeforeValidator(_overrides)], ask(
        "Fields of the case that are others here", example='{ "pipe.nominal_wall" = "8.74 mm" }', default={}))})


class MappingFile(Sheet):
    """A mapping file as it is written."""

    schema_version: choice("1", required=True) = ask("Version of this file format", need="", example='"1"', default=...)
    listing: Listing
    columns: Columns  # type: ignore[valid-type]
    line: LineTable
    reference_point: tables("reference_point", ReferencePoint, _MOST_TABLES) = ()
    segment: tables("segment", Segment, _MOST_TABLES) = ()


@dataclass(frozen=True)
class Mapping:
    """A mapping that was read and checked. file: its name; columns: our name -> column, heading, unit (texts have none)
    of those that are mapped, in the order of our list."""

    file: str
    listing: Listing
    columns: dict[str, Any]
    line: LineTable
    reference_point: tuple[ReferencePoint, ...] = ()
    segment: tuple[Any, ...] = ()
    lines: dict[str, int] = field(default_factory=dict)

    @property
    def place(self) -> str:
        """Which part of an anomaly the log distance is of."""
        return str(self.listing.place or NOT_STATED)

    def line_of(self, dotted: str) -> int | None:
        """Line of a field in the mapping file; of the table around it when it has none of its own."""
        while dotted and dotted not in self.lines:
            dotted = dotted.rpartition(".")[0]
        return self.lines.get(dotted)


#: What stands in for a field that is faulty, so that each fault is told once and the other checks still run; such
#: headings meet no other.
_STAND_IN = {"schema_version": "1", "listing": {"decimal": "point"}, "line": {"base": "base.toml"},
             "columns": {c.name: {"column": f"(heading of {c.name})", **({"unit": c.units[0]} if c.units else {})}
                         for c in COLUMNS.values()}}


def load_mapping(path: Path) -> Mapping:
    """Read and check a mapping file. Raises CaseFaults with every fault of it."""
    name = shown_name(path)
    data, raw = read_toml(path)
    return read_mapping(data, raw, name)


def read_mapping(data: dict, raw: bytes, name: str) -> Mapping:
    """The mapping in parsed TOML; raw: its text, for the lines. Raises CaseFaults."""
    sheet, faults = examine(MappingFile, data, raw, name, _STAND_IN)
    if sheet is None:
        raise CaseFaults(faults)
    stated = {n: c for n in COLUMNS if (c := getattr(sheet.columns, n)) is not None}
    mapping = Mapping(name, sheet.listing, stated, sheet.line, sheet.reference_point, sheet.segment, line_numbers(raw))
    told = [f.field for f in faults]
    faults += [f for f in _contradictions(mapping, data) if not any(f.field.startswith(t) for t in told)]
    if faults:
        raise CaseFaults(sorted(faults, key=lambda f: f.line or 0))
    return mapping


# -- what is wrong although each field can be read ----------------------------------------------------------------
def _contradictions(mapping: Mapping, data: dict) -> Iterator[Fault]:
    def fault(dotted: str, found: str, allowed: str, mend: str) -> Fault:
        return Fault(mapping.file, dotted, found, allowed, mend, mapping.line_of(dotted))

    s = mapping.listing
    if s.thousands_mark == s.decimal_mark:
        yield fault("listing.thousands", f"'{s.thousands}', which is the decimal mark, too", "another mark, or none",
                    "look at a number above a thousand in the listing")
    if s.units_row is not None and s.units_row <= s.heading_row:
        yield fault("listing.units_row", str(s.units_row), f"a row below the headings in row {s.heading_row}",
                    "correct one of the two")
    if "line" in mapping.columns and s.line is None:
        yield fault("listing.line", "nothing, but a column of lines", "the name of the line, as in the column",
                    'add line = "..." under [listing]: rows of another line are told, not screened')
    base = mapping.line.base
    if base is None:
        yield fault("line.base", "nothing", "the case file with what all rows share", 'add base = "base.toml"')
    elif "/" in base or "\\" in base or base.startswith("."):
        yield fault("line.base", units.shown(base), "a file name without folders", "put the file beside this file")
    yield from _columns(mapping, data, fault)
    yield from _along(mapping, fault)


def _columns(mapping: Mapping, data: dict, fault: Any) -> Iterator[Fault]:
    given = data.get("columns")
    for name, needed in (("kind", "what each row is"), ("log_distance", "where each row lies")):
        if isinstance(given, dict) and name not in given:
            example = '{ column = "..." }' if name == "kind" else '{ column = "...", unit = "m" }'
            yield fault(f"columns.{name}", "nothing", f"the column that says {needed}", f"add {name} = {example}")
    seen: dict[str, str] = {}
    for name, column in mapping.columns.items():
        if column.column is None:
            yield fault(f"columns.{name}.column", "nothing", "a heading as written in the listing",
                        "fill it in, or remove the line")
        elif column.column in seen:
            yield fault(f"columns.{name}.column", f"{units.shown(column.column)} again, which is {seen[column.column]} "
                        "already", "one column for each", "correct one of the two")
        else:
            seen[column.column] = name


def _along(mapping: Mapping, fault: Any) -> Iterator[Fault]:
    """Reference points and segments: what is not filled in. How they lie is seen when the line is read."""
    for i, point in enumerate(mapping.reference_point):
        for key in ("log", "survey"):
            if getattr(point, key) is None:
                yield fault(f"reference_point.{i}.{key}", "nothing", "a distance", "fill it in, or remove the table")
    known = [name for name, _ in walk(Case)]
    for i, segment in enumerate(mapping.segment):
        for key in ("from", "to"):
            if getattr(segment, key) is None:
                yield fault(f"segment.{i}.{key}", "nothing", "a surveyed distance", "fill it in")
        for name in segment.set:
            if name in _OF_ROWS:
                yield fault(f"segment.{i}.set", f"'{name}'", "fields that the rows do not give", "remove it")
            elif name not in known:
                yield fault(f"segment.{i}.set", units.shown(name), "fields of a case with their table, such as "
                            "pipe.nominal_wall", suggest(name, known, "correct its name"))
