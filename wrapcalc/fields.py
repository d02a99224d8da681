"""Fields of a case file or a system sheet: what is asked, what may stand there, and faults in one language.

Models are frozen pydantic models whose fields are made by the types below. A quantity is "8.2 mm", or a table
{ value = "8.2 mm", source = "...", source_kind = "measured" }. An absent or empty field is *unanswered*,
which is not a fault: the decision says "insufficient data" and names it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal, get_args, get_origin

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from wrapcalc import units
from wrapcalc.errors import CaseFaults, Fault, nearest
from wrapcalc.values import Origin, Value

SOURCE_KINDS = ("measured", "document", "assumed", "derived")
MAX_BYTES = 1_000_000


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
        return float(units.convert(self.magnitude, self.unit, units.KINDS[self.kind].base))

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
        if isinstance(raw, dict):
            raw, source, source_kind = _unpack(raw)
        if raw is None or (isinstance(raw, str) and not raw.strip()):
            return None
        if isinstance(raw, Given):
            return raw
        try:
            magnitude, unit = units.parse(raw, kind)
        except units.QuantityFault as e:
            raise FieldFault(e.found, e.allowed, e.mend) from None
        given = Given(magnitude, unit, str(raw), kind, source, source_kind)
        base = units.KINDS[kind].base
        for bound, bad, word in ((above, above is not None and given.base <= above, "more than"),
                                 (least, least is not None and given.base < least, "at least"),
                                 (most, most is not None and given.base > most, "at most")):
            if bad:
                limit = f"{word} {units.show(float(bound), base)}"  # type: ignore[arg-type]
                raise FieldFault(units.shown(raw), limit, "check the value and its sign, unit and decimal point")
        return given
    return read


def _unpack(table: dict) -> tuple[Any, str, str]:
    keys = ("value", "source", "source_kind")
    for key in table:
        if key not in keys:
            near = nearest(str(key), keys)
            raise FieldFault(f"the key {units.shown(str(key))}", "value, source, source_kind",
                             f"did you mean '{near}'?" if near else "remove it")
    source, kind = table.get("source", ""), table.get("source_kind", "")
    if not isinstance(source, str):
        raise FieldFault(f"source = {source!r}", "a text", 'write source = "mill certificate 4471"')
    if kind not in ("", *SOURCE_KINDS):
        raise FieldFault(f"source_kind = {units.shown(kind)}", ", ".join(SOURCE_KINDS), "choose one of them")
    return table.get("value"), _line(source), kind


def quantity(kind: str, *, above: float | None = None, least: float | None = None, most: float | None = None) -> Any:
    """Type of a field that holds a quantity of `kind`; bounds are in the unit we calculate in."""
    return Annotated[Given | None, BeforeValidator(_reader(kind, above, least, most))]


def ask(question: str, *, need: str = "assess", example: str = "", kind: str = "", **kwargs: Any) -> Any:
    """A field with its question. need: "assess" (for every decision), "design" (once a wrap is designed), "" (optional)."""
    kwargs.setdefault("default", None)
    return Field(description=question, json_schema_extra={"need": need, "example": example, "kind": kind}, **kwargs)


def _line(text: str) -> str:
    return " ".join(text.split())


def _text(raw: Any) -> str | None:
    if raw is None or raw == "":
        return None
    if not isinstance(raw, str):
        raise FieldFault(repr(raw), "a text in quotation marks", f'write "{raw}"')
    if len(raw) > 2000 or any(ord(c) < 32 and c not in "\n\t" for c in raw):
        raise FieldFault(units.shown(raw), "at most 2000 characters, without control characters", "shorten it")
    return _line(raw)


Text = Annotated[str | None, BeforeValidator(_text)]

_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)


def _identifier(raw: Any) -> str:
    ok = isinstance(raw, str) and re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,59}", raw)
    if not ok or raw.endswith(".") or _RESERVED.fullmatch(raw):
        raise FieldFault(units.shown(raw), "1 to 60 letters, digits, '.', '-' or '_', beginning with a letter or digit, "
                         "because it names a folder", 'write something like "HB-07"')
    return raw


Identifier = Annotated[str, BeforeValidator(_identifier)]


def _blank_is_none(raw: Any) -> Any:
    return None if raw == "" else raw


def choice(*options: str) -> Any:
    """Type of a field that holds one of these words."""
    return Annotated[Literal[options] | None, BeforeValidator(_blank_is_none)]  # type: ignore[valid-type]


def _clock(raw: Any) -> str | None:
    if raw is None or raw == "":
        return None
    m = re.fullmatch(r"(\d{1,2}):([0-5]\d)", raw) if isinstance(raw, str) else None
    if m is None or int(m[1]) > 12:
        raise FieldFault(units.shown(raw) if isinstance(raw, str) else repr(raw),
                         "a clock position facing downstream from 0:00 to 12:59", 'write "4:30" for half past four')
    return f"{int(m[1]) % 12 or 12}:{m[2]}"


Clock = Annotated[str | None, BeforeValidator(_clock)]


def clock_hours(clock: str) -> float:
    """"4:30" -> 4.5; 12 o'clock is 0."""
    hours, minutes = clock.split(":")
    return int(hours) % 12 + int(minutes) / 60


# -- reading a file -----------------------------------------------------------------------------------------------
def read_toml(path: Path, *, shown_as: str | None = None) -> tuple[dict, bytes]:
    """Parsed TOML and its bytes. Raises CaseFaults when it is missing, too big, not UTF-8, empty or not TOML."""
    import tomllib
    name = shown_as or path.name
    raw = read_bytes(path, name)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as e:
        raise CaseFaults([Fault(name, "the file", f"a byte that is not UTF-8 at position {e.start}", "UTF-8 text",
                                "save it as UTF-8")]) from None
    if not text.strip():
        raise CaseFaults([Fault(name, "the file", "nothing: it is empty", "a TOML file",
                                "start from `wrapcalc new`")])
    try:
        return tomllib.loads(text), raw
    except tomllib.TOMLDecodeError as e:
        m = re.search(r"\(at line (\d+)", str(e))
        what = re.sub(r" ?\(at .*", "", str(e))
        raise CaseFaults([Fault(name, "the file", f"text that is not TOML: {what}",
                                'lines such as nominal_wall = "9.53 mm" under a heading such as [pipe]',
                                "look at that line: quotation marks, brackets, equals sign",
                                int(m[1]) if m else None)]) from None
    except RecursionError:
        raise CaseFaults([Fault(name, "the file", "brackets nested too deeply", "plain tables", "remove them")]) from None


def read_bytes(path: Path, name: str) -> bytes:
    """The bytes of a small file. Raises CaseFaults when it is not a readable file of at most 1 MB."""
    def fault(found: str, mend: str) -> CaseFaults:
        return CaseFaults([Fault(name, "the file", found, "a readable text file of at most 1 MB", mend)])
    try:
        if path.is_dir():
            raise fault("a folder", "name the file itself")
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise fault(f"{size / 1e6:.0f} MB", "name the right file; grids belong in CSV files of their own")
        return path.read_bytes()
    except FileNotFoundError:
        raise fault("no such file", "check the name and the folder") from None
    except (OSError, ValueError) as e:
        raise fault(f"a file that cannot be read ({type(e).__name__})", "check the name and the permissions") from None


def validate(model: type[Sheet], data: dict, raw: bytes, name: str) -> Any:
    """The model made from parsed TOML. Raises CaseFaults with every fault of the file."""
    try:
        return model.model_validate(data)
    except ValidationError as e:
        lines = line_numbers(raw)
        raise CaseFaults(_fault(model, err, name, lines) for err in e.errors()) from None  # type: ignore[arg-type]


def _fault(model: type[Sheet], err: dict, name: str, lines: dict[str, int]) -> Fault:
    loc = [str(p) for p in err["loc"]]
    path = ".".join(loc)
    line = next((lines[p] for n in range(len(loc), 0, -1) if (p := ".".join(loc[:n])) in lines), None)
    known = _fields_at(model, loc[:-1])
    if err["type"] == "extra_forbidden":
        near = nearest(loc[-1], known)
        return Fault(name, path, "a key that we do not know", ", ".join(known),
                     f"did you mean '{near}'?" if near else "remove it or correct its name", line)
    cause = err.get("ctx", {}).get("error")
    if isinstance(cause, FieldFault):
        return Fault(name, path, cause.found, cause.allowed, cause.mend, line)
    if err["type"] == "missing":
        return Fault(name, path, "nothing", "this field is needed to name the case" if loc[-1] == "id" else "a value",
                     "add it", line)
    if err["type"] == "literal_error":
        options = re.findall(r"'([^']*)'|\b(\d+)\b", err["ctx"]["expected"])
        words = [a or b for a, b in options]
        near = nearest(str(err["input"]), words)
        return Fault(name, path, units.shown(err["input"]), ", ".join(words),
                     f"did you mean '{near}'?" if near else "choose one of them", line)
    return Fault(name, path, units.shown(err["input"]) if not isinstance(err["input"], (dict, list)) else
                 f"a {type(err['input']).__name__}".replace("dict", "table"), _plain(err["msg"]),
                 "see the blank file of `wrapcalc new`", line)


def _plain(message: str) -> str:
    return message.replace("Input should be a valid dictionary or instance of", "a table of the kind").replace(
        "Input should be", "it should be")


def _fields_at(model: Any, loc: list[str]) -> list[str]:
    for part in loc:
        if isinstance(model, type) and issubclass(model, BaseModel) and part in model.model_fields:
            model = _inner(model.model_fields[part].annotation)
    return list(model.model_fields) if isinstance(model, type) and issubclass(model, BaseModel) else []


def _inner(annotation: Any) -> Any:
    """The model inside `Model | None`, `list[Model]` or `Model`."""
    if isinstance(annotation, type) and get_origin(annotation) is None:
        return annotation
    return next((found for a in get_args(annotation) if isinstance(found := _inner(a), type)
                 and issubclass(found, BaseModel)), annotation)


def line_numbers(raw: bytes) -> dict[str, int]:
    """Line of each dotted key of a TOML text; plain headings and keys only, which is all we write."""
    out: dict[str, int] = {}
    table = ""
    counts: dict[str, int] = {}
    for number, text in enumerate(raw.decode("utf-8-sig", "replace").splitlines(), 1):
        if m := re.match(r"\s*\[\[\s*([\w.-]+)\s*\]\]", text):
            counts[m[1]] = counts.get(m[1], -1) + 1
            table = f"{m[1]}.{counts[m[1]]}."
            out[table[:-1]] = number
        elif m := re.match(r"\s*\[\s*([\w.-]+)\s*\]", text):
            table = m[1] + "."
            out[m[1]] = number
        elif m := re.match(r"\s*([\w-]+)\s*=", text):
            out[table + m[1]] = number
    return out


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
        here = getattr(here, part) if here is not None else None
    return here
