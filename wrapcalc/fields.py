"""Fields of a case file or a system sheet: what is asked, what may stand there, and faults in one language.

Models are frozen pydantic models whose fields are made by the types below. A quantity is "8.2 mm", or a table
{ value = "8.2 mm", source = "...", source_kind = "measured" }. An absent or empty field is *unanswered*,
which is not a fault: the decision says "insufficient data" and names it.
"""

from __future__ import annotations

import datetime
import re
import unicodedata
from collections.abc import Callable, Collection, Iterator
from typing import Annotated, Any, get_args, get_origin

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from wrapcalc import units
from wrapcalc.errors import Fault
from wrapcalc.reading import line_numbers
from wrapcalc.values import Origin, Value

SOURCE_KINDS = ("measured", "document", "assumed", "derived")


class Sheet(BaseModel):
    """Base of every table of a case file or system sheet: frozen, no unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)


class Given:
    """A quantity as somebody stated it: magnitude and unit as written, and where it comes from."""

    __slots__ = ("kind", "magnitude", "source", "source_kind", "unit", "written")

    def __init__(self, magnitude: float, unit: str, written: str, kind: str, source: str, source_kind: str):
        self.magnitude, self.unit, self.written, self.kind = magnitude, unit, written, kind
        self.source, self.source_kind = source, source_kind

    @property
    def base(self) -> float:
        """Magnitude in the unit we calculate in."""
        return units.to_base(self.magnitude, self.unit, self.kind)

    def value(self, origin: Origin, name: str) -> Value:
        """The quantity with its origin, in the unit we calculate in."""
        return Value(self.base, units.KINDS[self.kind].base, origin, name)


class FieldFault(ValueError):
    """A fault that knows what may stand in the field."""

    def __init__(self, found: str, allowed: str, mend: str):
        self.found, self.allowed, self.mend = found, allowed, mend
        super().__init__(found)


def _reader(kind: str, above: float | None, least: float | None, most: float | None):
    def read(raw: Any) -> Given | None:
        source, source_kind = "", ""
        if isinstance(raw, Given):
            return raw
        if isinstance(raw, dict):
            raw, source, source_kind = _unpack(raw)
        if raw is None or (isinstance(raw, str) and not raw.strip()):
            return None
        magnitude, unit = _parsed(raw, kind)
        given = Given(magnitude, unit, " ".join(str(raw).split()), kind, source, source_kind)
        if ((above is not None and given.base <= above) or (least is not None and given.base < least)
                or (most is not None and given.base > most)):
            raise FieldFault(units.shown(raw), _range(kind, above, least, most),
                             "check the value and its sign, unit and decimal point")
        return given
    return read


def _parsed(raw: Any, kind: str) -> tuple[float, str]:
    try:
        return units.parse(raw, kind)
    except units.QuantityFault as e:
        raise FieldFault(e.found, e.allowed, e.mend) from None


def _range(kind: str, above: float | None, least: float | None, most: float | None) -> str:
    """Bounds in words, in the first unit of the kind: a share is 0 to 100 %, not 0 to 1."""
    k = units.KINDS[kind]
    unit = next(iter(k.units.values()), k.base)
    low, high = ("" if bound is None else units.show(float(units.convert(float(bound), k.base, unit)), unit)
                 for bound in (least if above is None else above, most))
    words = [w for w in (low and f"{'at least' if above is None else 'more than'} {low}",
                         high and f"at most {high}") if w]
    return " and ".join(words)


def _unpack(table: dict) -> tuple[Any, str, str]:
    keys = ("value", "source", "source_kind")
    for key in table:
        if key not in keys:
            raise FieldFault(f"the key {units.shown(key)}", ", ".join(keys), suggest(key, keys, "remove it"))
    kind = table.get("source_kind", "")
    try:
        source = read_text(table.get("source", "")) or ""
    except FieldFault as e:
        raise FieldFault(f"source = {e.found}", e.allowed, 'write source = "mill certificate 4471"') from None
    if kind not in ("", *SOURCE_KINDS):
        raise FieldFault(f"source_kind = {units.shown(kind)}", ", ".join(SOURCE_KINDS),
                         suggest(kind, SOURCE_KINDS, "choose one of them"))
    return table.get("value"), source, kind


def suggest(name: Any, known: Collection[str], otherwise: str) -> str:
    """How to mend a name that is not known: the nearest one, or `otherwise`."""
    near = units.close(name, known) if isinstance(name, str) else None
    return f"did you mean '{near}'?" if near else otherwise


def quantity(kind: str, *, above: float | None = None, least: float | None = None, most: float | None = None) -> Any:
    """Type of a field that holds a quantity of `kind`; bounds are in the unit we calculate in."""
    return Annotated[Given | None, BeforeValidator(_reader(kind, above, least, most))]


def ask(question: str, *, need: str = "assess", example: str = "", kind: str = "", **kwargs: Any) -> Any:
    """A field with its question. need: "assess" (for every decision), "design" (once a wrap is tried), "" (not)."""
    kwargs.setdefault("default", None)
    return Field(description=question, json_schema_extra={"need": need, "example": example, "kind": kind}, **kwargs)


def tables(name: str, row: type[Sheet], most: int = 100_000) -> Any:
    """Type of a list of tables [[name]], at most so many; those whose fields are all blank are not stated."""
    def read(raw: Any) -> Any:
        if raw is None:
            return ()
        if not isinstance(raw, (list, tuple)) or not all(isinstance(r, (dict, row)) for r in raw):
            raise FieldFault(units.shown(raw), f"tables [[{name}]] with {', '.join(row.model_fields)}",
                             f"write [[{name}]] with two brackets")
        if len(raw) > most:
            raise FieldFault(f"{len(raw)} tables", f"at most {most}", "leave out those that change nothing")
        return tuple(r for r in raw if not (isinstance(r, dict) and all(v == "" for v in r.values())))
    return Annotated[tuple[row, ...], BeforeValidator(read)]  # type: ignore[valid-type]


_TURNS_TEXT = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def read_text(raw: Any) -> str | None:
    """One line of text; None when blank. Refuses what would not print, or would print other than it reads."""
    if raw is None:
        return None
    if not isinstance(raw, str):
        raise FieldFault(units.shown(raw), "a text in quotation marks", 'write it in quotation marks, such as "text"')
    if len(raw) > 2000:
        raise FieldFault(f"{len(raw)} characters", "at most 2000 characters", "shorten it")
    line = " ".join(raw.split())
    if any(unicodedata.category(c) in ("Cc", "Cs") or c in _TURNS_TEXT or ord(c) & 0xFFFE == 0xFFFE for c in line):
        raise FieldFault(units.shown(raw), "a text without control characters", "remove what cannot be seen in it")
    return line or None


class Stated(str):
    """A word or text as somebody stated it, and where it comes from."""

    source = ""
    source_kind = ""


def _with_source(read: Callable[[Any], str | None]) -> Callable[[Any], str | None]:
    """A reader that also takes { value = "...", source = "...", source_kind = "..." }."""
    def outer(raw: Any) -> str | None:
        if not isinstance(raw, dict):
            return read(raw)
        value, source, source_kind = _unpack(raw)
        text = read(value)
        if text is None:
            return None
        stated = Stated(text)
        stated.source, stated.source_kind = source, source_kind
        return stated
    return outer


Text = Annotated[Any, BeforeValidator(_with_source(read_text))]

RESERVED_NAME = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?", re.IGNORECASE)


def _identifier(raw: Any) -> str:
    ok = isinstance(raw, str) and re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,59}", raw)
    if not ok or raw.endswith(".") or RESERVED_NAME.fullmatch(raw):
        raise FieldFault(units.shown(raw), "1 to 60 letters, digits, '.', '-' or '_', beginning with a letter or "
                         "digit, because it names a folder, and no name that Windows reserves",
                         'write something like "HB-07"')
    return raw


Identifier = Annotated[str, BeforeValidator(_identifier)]


class Choices(tuple):
    """The words that a field takes, for those who print its question."""


def choices(info: Any) -> tuple[str, ...]:
    """The words that a field takes; none when it is not a choice."""
    return next((tuple(m) for m in info.metadata if isinstance(m, Choices)), ())


def choice(*options: str, required: bool = False) -> Any:
    """Type of a field that holds one of these words; blank is unanswered, unless it is required."""
    def read(raw: Any) -> str | None:
        if (raw is None or raw == "") and not required:
            return None
        if isinstance(raw, str) and raw in options:
            return raw
        bare = str(raw) if isinstance(raw, int) and units.shown(raw) == f"'{raw}'" else raw
        raise FieldFault(f"the bare number {bare}" if bare in options else units.shown(raw), ", ".join(options),
                         f'put it in quotation marks: "{bare}"' if bare in options else
                         suggest(raw, options, "choose one of them" if len(options) > 1 else f'write "{options[0]}"'))
    return Annotated[Any, BeforeValidator(_with_source(read)), Choices(options)]


def _clock(raw: Any) -> str | None:
    if raw is None or raw == "":
        return None
    m = re.fullmatch(r"([0-9]{1,2}):([0-5][0-9])", raw) if isinstance(raw, str) else None
    if m is None or int(m[1]) > 12:
        raise FieldFault(units.shown(raw), "a clock position facing downstream from 0:00 to 12:59",
                         'write "4:30" for half past four')
    return f"{int(m[1]) % 12 or 12}:{m[2]}"


Clock = Annotated[Any, BeforeValidator(_with_source(_clock))]


def _day(raw: Any) -> str | None:
    if raw is None or raw == "":
        return None
    try:
        plain = not isinstance(raw, str) or re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", raw)
        day = datetime.date.fromisoformat(raw) if plain and isinstance(raw, str) else raw
    except ValueError:
        day = None
    if not isinstance(day, datetime.date) or isinstance(day, datetime.datetime) or not 1900 <= day.year <= 2100:
        raise FieldFault(units.shown(raw), "a date from 1900 to 2100: year-month-day", 'write "2026-05-14"')
    return day.isoformat()


Day = Annotated[Any, BeforeValidator(_with_source(_day))]


def _moment(raw: Any) -> str | None:
    if raw is None or raw == "":
        return None
    try:
        moment = raw if isinstance(raw, datetime.datetime) else datetime.datetime.fromisoformat(raw)
    except (TypeError, ValueError):
        moment = None
    if moment is None or (isinstance(raw, str) and "T" not in raw) or not 1900 <= moment.year <= 2100:
        raise FieldFault(units.shown(raw), "a date and time of day with its offset from UTC",
                         'write "2026-05-14T07:30+01:00"')
    if moment.tzinfo is None:
        raise FieldFault(f"{units.shown(raw)}, which has no time zone",
                         "a date and time of day with its offset from UTC",
                         'write "2026-05-14T07:30+01:00"')
    return moment.isoformat(timespec="minutes")


Moment = Annotated[Any, BeforeValidator(_with_source(_moment))]


def quantities(kind: str, *, least: float | None = None, most: float | None = None, rows: int = 24) -> Any:
    """Type of a field that holds a list of quantities of `kind`, in their order; () when it is empty."""
    one = _reader(kind, None, least, most)

    def read(raw: Any) -> tuple[Given, ...]:
        if raw is None or raw == "":
            return ()
        if not isinstance(raw, (list, tuple)) or len(raw) > rows:
            raise FieldFault(units.shown(raw), f"a list of at most {rows} of {kind}", "write [ ... ] with commas")
        out = []
        for i, item in enumerate(raw, 1):
            given = one(item)
            if given is None:
                raise FieldFault(f"nothing at place {i}", f"a {kind} at each place", "fill it in or remove it")
            out.append(given)
        return tuple(out)
    return Annotated[tuple[Given, ...], BeforeValidator(read)]


def clock_hours(clock: str) -> float:
    """"4:30" -> 4.5; 12 o'clock is 0."""
    hours, minutes = clock.split(":")
    return int(hours) % 12 + int(minutes) / 60


# -- from parsed TOML to a model ----------------------------------------------------------------------------------
def examine(model: type[Sheet], data: dict, raw: bytes, name: str, stand_in: dict) -> tuple[Any, list[Fault]]:
    """The model of what is sound in the file, and a fault for each field that is not.

    Faulty fields are left out, and those that cannot be missing are taken from `stand_in`, so that the checks of
    several fields can still run and all faults are reported together. None when not even that gives a model.
    """
    faults: list[Fault] = []
    lines = line_numbers(raw)
    for _ in range(3):
        try:
            return model.model_validate(data), faults
        except ValidationError as e:
            for err in e.errors(include_url=False):
                faults.append(_fault(model, err, name, lines))  # type: ignore[arg-type]
                data = _replaced(data, err["loc"], stand_in)
    return None, faults


def _replaced(data: Any, loc: tuple, stand_in: Any) -> Any:
    """`data` with the item at `loc` taken from stand_in, or left out; what is not on the way is not copied."""
    head, rest = loc[0], loc[1:]
    spare = stand_in.get(head) if isinstance(stand_in, dict) else None
    if isinstance(data, list) and isinstance(head, int):
        new = _replaced(data[head], rest, None) if rest else {}
        return [*data[:head], new, *data[head + 1:]]
    inside = data.get(head) if isinstance(data, dict) else None
    if rest and isinstance(inside, (dict, list)):
        return {**data, head: _replaced(inside, rest, spare)}
    left = {k: v for k, v in data.items() if k != head} if isinstance(data, dict) else {}
    return left if spare is None else {**left, head: spare}


def _fault(model: type[Sheet], err: dict, name: str, lines: dict[str, int]) -> Fault:
    loc = [str(p) for p in err["loc"]]
    line = next((lines[p] for n in range(len(loc), 0, -1) if (p := ".".join(loc[:n])) in lines), None)
    path = units.printable(".".join(loc))[:120]
    if err["type"] == "extra_forbidden":
        known = _fields_at(model, loc[:-1])
        return Fault(name, path, "a key that we do not know", ", ".join(known),
                     suggest(loc[-1], known, "remove it or correct its name"), line)
    cause = err.get("ctx", {}).get("error")
    if isinstance(cause, FieldFault):
        return Fault(name, path, cause.found, cause.allowed, cause.mend, line)
    inner = _fields_at(model, loc)
    if err["type"] == "missing":
        field = _field_at(model, loc)
        extra = field.json_schema_extra if field and field.json_schema_extra else {}
        if inner or not extra:
            return Fault(name, path, "nothing", f"the table [{path}] with {', '.join(inner)}", "add it", line)
        return Fault(name, path, "nothing", field.description, f"add {loc[-1]} = {extra['example']}", line)
    return Fault(name, path, units.shown(err["input"]), f"a table with {', '.join(inner)}",
                 f"write a heading [{path}] and its fields below", line)


def _field_at(model: Any, loc: list[str]) -> Any:
    """The pydantic field at a location (numbers of list items skipped); None when there is none."""
    field = None
    for part in loc:
        if isinstance(model, type) and issubclass(model, BaseModel) and part in model.model_fields:
            field = model.model_fields[part]
            model = _inner(field.annotation)
    return field


def _fields_at(model: Any, loc: list[str]) -> list[str]:
    field = _field_at(model, loc)
    model = model if field is None else _inner(field.annotation)
    return list(model.model_fields) if isinstance(model, type) and issubclass(model, BaseModel) else []


def _inner(annotation: Any) -> Any:
    """The model inside `Model | None`, `list[Model]` or `Model`."""
    if isinstance(annotation, type) and get_origin(annotation) is None:
        return annotation
    return next((found for a in get_args(annotation) if isinstance(found := _inner(a), type)
                 and issubclass(found, BaseModel)), annotation)


# -- walking a model ----------------------------------------------------------------------------------------------
def walk(model: type[Sheet], prefix: str = "") -> Iterator[tuple[str, Any]]:
    """(dotted name, pydantic field) of every field that holds a value, in the order of the file."""
    for name, info in model.model_fields.items():
        inner = _inner(info.annotation)
        if isinstance(inner, type) and issubclass(inner, Sheet):
            yield from walk(inner, f"{prefix}{name}.")
        else:
            yield f"{prefix}{name}", info


def lookup(sheet: Sheet, dotted: str) -> Any:
    """What stands in a field; None when it, or the table around it, is unanswered."""
    here: Any = sheet
    for part in dotted.split("."):
        if isinstance(here, tuple):  # a list of tables: only an item of it holds values
            here = here[int(part)] if part.isdigit() and int(part) < len(here) else None
        else:
            here = getattr(here, part) if here is not None else None
    return here
