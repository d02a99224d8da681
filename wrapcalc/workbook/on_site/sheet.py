"""An as-found sheet while it is filled in: answers in a TOML file whose comments stay, faults at their fields."""

from __future__ import annotations

import datetime
import re
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from wrapcalc import units
from wrapcalc.case.as_found import AsFound, Sighting, of_package, out_of_time, read_as_found
from wrapcalc.case.grid import Grid, read_grid
from wrapcalc.checks import compare
from wrapcalc.errors import CaseFaults, Fault, PackageError
from wrapcalc.fields import walk
from wrapcalc.package import as_found as af
from wrapcalc.package.digests import sha256
from wrapcalc.reading import decoded, parse_toml
from wrapcalc.stages.wrap.chain import DEPTH, LENGTH, OPENING, WALL, WIDTH
from wrapcalc.values import Origin, Value
from wrapcalc.workbook.form.pasted import Pasted, read_pasted, text_of_file
from wrapcalc.workbook.kept import Kept, put, unwritable
from wrapcalc.workbook.on_site.opened import Opened
from wrapcalc.workbook.on_site.questions import FIXED, TITLES, Question, questions

NAME, FORM, GRID = "as_found.toml", "as-found-form.toml", "found-grid.csv"
#: Fields whose answer is a number without a unit, and those that hold several readings.
_BARE = frozenset(n for n, i in walk(AsFound) if not str(i.json_schema_extra["example"]).startswith(('"', "[")))
_MANY = frozenset(n for n, i in walk(AsFound) if str(i.json_schema_extra["example"]).startswith("["))
#: Sides of the box -> fields of the sheet.
_BOX = {DEPTH: "defect.depth", LENGTH: "defect.length", WIDTH: "defect.width", OPENING: "defect.leak_size",
        WALL: "pipe.sound_wall"}
#: Between readings: a semicolon, or a comma after a unit; a comma between digits stays, for the reader to refuse.
_BETWEEN = re.compile(r"\s*(?:;|(?<=[^\W\d])\s*,)\s*")


class FoundSheet:
    """The sheet of one package in the user's folder. Raises PackageError or CaseFaults when it cannot be opened."""

    def __init__(self, opened: Opened):
        self.opened = opened
        form = opened.package / FORM
        try:
            blank = form.read_bytes()
        except OSError as e:
            raise PackageError(f"{form}: cannot be read ({e.strerror or e}); the package was made by an earlier "
                               "wrapcalc: issue a new revision") from None
        self._form = tomlkit.parse(blank.decode("utf-8"))
        self.kept = Kept(opened.field_folder / NAME, blank)
        self._judged: tuple[str, af.Judged] | None = None
        try:
            self._open()
        except CaseFaults:
            if not self.kept.dirty:
                raise
            self.kept.set_aside()
            self._open()

    def _open(self) -> None:
        raw = self.kept.text
        parse_toml(raw, NAME)  # its messages are those of every other file of ours
        try:
            self._sheet = tomlkit.parse(decoded(raw, NAME, "save it as UTF-8"))
        except TOMLKitError as e:
            raise CaseFaults([Fault(NAME, "the file", f"text that is not TOML: {e}", "a sheet made from the form of "
                                    "the package", "mend that line with an editor")]) from None
        if faults := list(_misshapen(self._sheet)):
            raise CaseFaults(faults)

    # -- questions and answers -----------------------------------------------------------------------------------
    @property
    def questions(self) -> list[Question]:
        """Every question that is to be answered by hand."""
        return [q for q in questions(self._form, self._sheet) if q.field not in FIXED]

    def answer(self, field: str) -> str:
        """What stands in a field, as text; blank when nothing does."""
        return _answer(self._sheet, field)

    def unsaved(self) -> list[tuple[str, str, str]]:
        """(question, what is saved, what was typed) of every answer that is not saved."""
        if not self.kept.dirty:
            return []
        raw = self.kept.saved
        try:
            saved = tomlkit.parse(decoded(self.kept.blank if raw is None else raw, NAME, "save it as UTF-8"))
        except (TOMLKitError, CaseFaults):
            return [("the whole sheet", "a file that is not TOML", "as shown below")]
        return [(q.label, was, now) for q in self.questions
                if (was := _answer(saved, q.field)) != (now := self.answer(q.field))]

    def put(self, field: str, text: str) -> None:
        """Answer a field. What cannot be read is taken, and `read` says so; CaseFaults for what no file can hold."""
        if fault := unwritable(NAME, field, text):
            raise CaseFaults([fault])
        *path, key = field.split(".")
        here: Any = self._sheet
        for part in path:
            if part.isdigit():
                here = here[int(part)]
            else:
                if part not in here:
                    here[part] = tomlkit.table()
                here = here[part]
        value = _value(re.sub(r"\.\d+\.", ".", field), " ".join(text.split()))
        if isinstance(here.get(key), dict):  # with its source
            here[key]["value"] = value
        else:
            here[key] = value
        self.kept.keep(self.raw)

    @property
    def raw(self) -> bytes:
        """The sheet as it would be saved."""
        return tomlkit.dumps(self._sheet).encode("utf-8")

    # -- faults --------------------------------------------------------------------------------------------------
    def read(self, now: datetime.datetime | None = None) -> tuple[Sighting | None, list[Fault]]:
        """The sheet as it stands, by the reader of `wrapcalc as-found`, and all its faults."""
        with tempfile.TemporaryDirectory(prefix="wrapcalc-") as folder:
            here = Path(folder)
            (here / NAME).write_bytes(self.raw)
            for name in self._named():
                try:
                    (here / name).write_bytes((self.kept.path.parent / name).read_bytes())
                except (OSError, ValueError):
                    continue  # the reader says that it is not there
            try:
                s = read_as_found(here / NAME)
            except CaseFaults as e:
                return None, e.faults
        of = self.opened.of
        faults = [*of_package(s, of.name, of.manifest["record_sha256"]),
                  *out_of_time(s, of.made, now or datetime.datetime.now(datetime.UTC)), *_readable(s)]
        return s, faults

    def _named(self) -> Iterator[str]:
        for key in ("grid", "profile", "pits"):
            name = self.answer(f"defect.{key}")
            if name and name not in (NAME, ".", "..") and not re.search(r'[/\\:\x00]', name):
                yield name

    # -- readings of the depth -----------------------------------------------------------------------------------
    def take_grid(self, raw: bytes, name: str = GRID) -> Pasted:
        """Put a depth grid, as a spreadsheet gives it, beside the sheet and name it there. Raises CaseFaults for what
        is no grid; a file of that name with other readings stays, and the new one gets a number."""
        taken = read_pasted(text_of_file(raw, name), name=name)
        place = self.kept.path.parent
        stem, suffix = Path(name).stem, Path(name).suffix or ".csv"
        for number in range(1, 1000):
            path = place / (f"{stem}{suffix}" if number == 1 else f"{stem}-{number}{suffix}")
            if not path.exists():
                put(path, taken.csv)
                break
            if path.read_bytes() == taken.csv:
                break
        else:
            raise PackageError(f"{place}: too many grids named {name}; move some of them away")
        self.put("defect.grid", path.name)
        return taken

    def grid(self) -> Grid | None:
        """The grid that the sheet names, when it can be read."""
        name = self.answer("defect.grid")
        try:
            return read_grid((self.kept.path.parent / name).read_bytes(), name) if name else None
        except (OSError, ValueError, CaseFaults):
            return None

    # -- saving and judging --------------------------------------------------------------------------------------
    def save(self, *, over: bool = False) -> None:
        """Write the sheet into the user's folder."""
        self.kept.save(self.raw, over=over)

    def reopen(self) -> None:
        """Drop what was typed and not saved; go on from what is on disk."""
        self.kept.drop()
        self._open()

    def judge(self, now: datetime.datetime | None = None) -> af.Judged:
        """Hold the saved sheet against the package; nothing is written. Raises PackageError when it is not saved."""
        self._must_be_saved("judged")
        judged = af.judge(self.opened.package, self.kept.path, now=now, outcome=self.opened.again.outcome)
        self._judged = (self._state(), judged)
        return judged

    def write(self, now: datetime.datetime | None = None) -> af.Result:
        """Write the verdict beside the package, as `wrapcalc as-found` does; only what was judged before."""
        self._must_be_saved("written")
        if not self.may_be_written:
            raise PackageError("the saved sheet is not the one that was judged last: judge it again, and look at the "
                               "verdict, before it is written")
        self._judged = None
        return af.as_found_package(self.opened.package, self.kept.path, now=now)

    def last(self) -> tuple[int, dict[str, Any] | None]:
        """Number and data of the last verdict that was written beside the package; (0, None) without one."""
        return af.latest(self.opened.of)

    def is_of_the_sheet(self, data: dict[str, Any]) -> bool:
        """Whether a written verdict is of the sheet as it is saved now."""
        if self.kept.saved is None or self.kept.dirty:
            return False
        files = {NAME: self.kept.saved}
        for name in self._named():
            try:
                files[name] = (self.kept.path.parent / name).read_bytes()
            except OSError:
                return False
        return (data.get("files") == {n: sha256(r) for n, r in files.items()}
                and data.get("package_manifest_sha256") == self.opened.of.digest)

    def verdict(self, now: datetime.datetime | None = None) -> tuple[dict[str, Any], int] | None:
        """What is to be said of the saved sheet, and the number under which it was written, 0 when it was not.

        None as long as nothing is saved, or more was typed than saved. Raises CaseFaults for a sheet with faults.
        """
        if self.kept.saved is None or self.kept.dirty or self.kept.changed():
            return None
        number, data = self.last()
        if data is not None and self.is_of_the_sheet(data):
            return data, number
        return self.judge(now).data(number + 1), 0

    @property
    def may_be_written(self) -> bool:
        """Whether the saved sheet was judged, and nothing was typed since."""
        return self._judged is not None and not self.kept.dirty and self._judged[0] == self._state()

    def beyond(self, s: Sighting | None) -> dict[str, str]:
        """Field -> words, for what was measured beyond the stop rule of the crew."""
        out = {}
        for side in (self.opened.record["bears"] or {"box": []})["box"] if s is not None else ():
            field = _BOX.get(side["input"], "")
            given = s.found.least_wall if field == "pipe.sound_wall" else s.found.given(field) if field else None
            if given is None:
                continue
            have = Value(given.base, units.KINDS[given.kind].base, Origin("as found", field), side["input"])
            edge = Value(side["edge"]["magnitude"], side["edge"]["unit"], Origin("record", field), side["input"])
            if not compare(have, "<=" if side["bound"] == "at most" else ">=", edge):
                out[field] = (f"{given.written} is {'beyond' if side['bound'] == 'at most' else 'below'} "
                              f"{side['edge']['shown']}, the stop rule of the crew: stop, and call the engineer")
        return out

    def _state(self) -> str:
        """Digest of all that a verdict rests on in the user's folder."""
        parts = [self.kept.saved or b""]
        for name in self._named():
            try:
                parts.append((self.kept.path.parent / name).read_bytes())
            except OSError:
                parts.append(b"")
        return sha256(b"".join(sha256(p).encode() for p in parts))

    def _must_be_saved(self, what: str) -> None:
        if words := self.kept.changed():
            raise PackageError(f"{words}; save it, or open what is there, before it is {what}")
        if self.kept.dirty or self.kept.saved is None:
            raise PackageError(f"the sheet has answers that are not saved; save it before it is {what}")


def _misshapen(sheet: Any) -> Iterator[Fault]:
    """Faults of a sheet whose tables are none."""
    for table in TITLES:
        item = sheet.get(table)
        rows = table == "neighbour"
        if item is None or (isinstance(item, list) and all(isinstance(r, dict) for r in item) if rows
                            else isinstance(item, dict)):
            continue
        head = f"[[{table}]]" if rows else f"[{table}]"
        yield Fault(NAME, table, units.shown(_text(item)), f"{'tables' if rows else 'a table'}, headed {head}",
                    f"write it below a heading {head}, as the form of the package does")


def _readable(s: Sighting) -> Iterator[Fault]:
    """Faults of the depth grid that the sheet names."""
    named = s.found.measured_file
    if named is None or named[0] != "grid":
        return
    try:
        read_grid(s.files[named[1]], named[1])
    except CaseFaults as e:
        for f in e.faults[:3]:
            yield s.fault("defect.grid", f"{named[1]}, {f.field}: {f.found}", f.allowed, f.mend)


def _answer(sheet: Any, field: str) -> str:
    here: Any = sheet
    for part in field.split("."):
        if isinstance(here, list):
            here = here[int(part)] if part.isdigit() and int(part) < len(here) else ""
        else:
            here = here.get(part, "") if isinstance(here, dict) else ""
    return _text(here)


def _text(item: Any) -> str:
    if isinstance(item, dict):
        item = item.get("value", "")
    if isinstance(item, list):
        return "; ".join(_text(x) for x in item)
    if isinstance(item, bool):
        return str(item).lower()
    return str(item)


def _value(field: str, text: str) -> Any:
    """A text as the sheet holds it: a list of readings, a bare number, or a text in quotation marks."""
    if field in _MANY:
        out = tomlkit.array()
        for part in filter(None, _BETWEEN.split(text)):
            out.append(part)
        return out
    if field in _BARE and re.fullmatch(r"[+-]?\d+(?:\.\d+)?", text, re.ASCII):
        return tomlkit.float_(text) if "." in text else tomlkit.integer(text)
    return text
