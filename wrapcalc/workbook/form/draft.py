"""A case while it is worked on: opened or new, changed field by field, checked by the readers of the case, saved whole.

A draft holds the text of the file, never a second truth beside it: what is asked of it is read from that text, and a
change is a change of that text. So what is saved is what somebody would have written by hand, comments and all.

A case with faults may be saved. Somebody who measures in the morning and looks up the mill certificate in the afternoon
must not lose the morning; a half-typed value stands in the file as it was typed, `wrapcalc check` tells it just as the
form does, and nothing can be calculated with it. The message of saving says that the case does not read yet.
"""

from __future__ import annotations

import datetime
import re
import tomllib
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wrapcalc import units
from wrapcalc.errors import CaseFaults, Fault, PackageError
from wrapcalc.fields import RESERVED_NAME
from wrapcalc.package import starters
from wrapcalc.reading import parse_toml, shown_name
from wrapcalc.workbook.form import disk, toml_text
from wrapcalc.workbook.form.checked import Checked, checked
from wrapcalc.workbook.form.questions import Question, questions, toml_value

#: Longest text that a field of the form takes; the reader of texts allows 2000.
_LONGEST = 10_000
_VERSION = "1"


@dataclass(frozen=True)
class Answer:
    """What stands in a field, as written, and where it comes from."""

    text: str = ""
    source: str = ""
    source_kind: str = ""

    @property
    def blank(self) -> bool:
        """Whether nothing is stated."""
        return not self.text.strip()


@dataclass(frozen=True)
class Saved:
    """What was saved. remark: what the user should know besides."""

    path: Path
    faults: int
    remark: str = ""


class NeedsWord(PackageError):
    """Saving would replace something that the user has not seen; it takes an explicit word."""


class Draft:
    """One case file in work."""

    def __init__(self, path: Path, text: str, form: disk.Form, opened: bytes | None):
        self.path, self.text, self._form = path, text, form
        self._parsed: tuple[str, dict[str, Any]] = ("", {})
        self._opened = disk.digest(opened)
        self._saved_data = {} if opened is None else tomllib.loads(text)
        self._unsaved = disk.Unsaved(path)
        self.kept = True
        self.checked = self.check()
        if not self.left_over():  # it says what the file says: nothing is lost with it
            self._unsaved.take_over()

    @classmethod
    def open(cls, path: Path) -> Draft:
        """A case file, or a new case where there is none. Raises CaseFaults, PackageError."""
        name = shown_name(path)
        if path.suffix != ".toml":
            raise PackageError(f"{name}: a case file ends in .toml; name one such as HB-07.toml")
        raw = disk.bytes_on_disk(path)
        if raw is None:
            if not path.parent.is_dir():
                raise PackageError(f"{path.parent}: there is no such folder; make it, or name another one")
            return cls(path, _blank(path.stem), disk.Form(), None)
        data = parse_toml(raw, name)
        version = data.get("schema_version", _VERSION)
        if not isinstance(version, str):
            raise PackageError(f"{name}: schema_version: found {units.shown(version)}, which is no text; allowed: "
                               f'"{_VERSION}". Put it in quotation marks: schema_version = "{_VERSION}"')
        if version != _VERSION:
            raise PackageError(f"{name}: this case file has the format version {units.shown(version)}; this wrapcalc "
                               f"knows version '{_VERSION}'. Open it with the wrapcalc that wrote it, or a newer one")
        return cls(path, *disk.text_of(raw, name), raw)

    # -- asking -------------------------------------------------------------------------------------------------------
    @property
    def name(self) -> str:
        """Name of the file."""
        return self.path.name

    @property
    def data(self) -> dict[str, Any]:
        """The draft as parsed TOML; to be read only."""
        if self._parsed[0] != self.text:
            self._parsed = (self.text, tomllib.loads(self.text))
        return self._parsed[1]

    def answer(self, field: str) -> Answer:
        """What stands in a field; `field` of a row of a list is such as "stock.0.width"."""
        return answer_in(self.data, field)

    def rows(self, table: str) -> int:
        """How many [[table]] there are, blank ones too."""
        found = self.data.get(table)
        return len(found) if isinstance(found, list) else 0

    def fields(self, section: str) -> list[str]:
        """The fields of a section in their order; of a list, those of each row."""
        keys = [q for q in questions().values() if q.section == section]
        if not keys[0].listed:
            return [q.field for q in keys]
        return [f"{section}.{i}.{q.key}" for i in range(self.rows(section)) for q in keys]

    def unsaved(self) -> list[str]:
        """Fields whose answer is not the one in the file as it was opened or saved last."""
        now, then = dict(flat(self.data)), dict(flat(self._saved_data))
        return [f for f in {**then, **now} if now.get(f) != then.get(f)]

    @property
    def on_disk(self) -> bool:
        """Whether the file has been there since it was opened."""
        return bool(self._opened)

    def check(self) -> Checked:
        """All faults and all that is missing, by the readers of the case, with the files beside it as they are now."""
        return checked(self.text, self.path.parent, shown_name(self.path))

    # -- changing -----------------------------------------------------------------------------------------------------
    def set(self, field: str, text: str, source: str | None = None, source_kind: str | None = None) -> Checked:
        """Put an answer into a field; a source of None stays as it is. Everything is checked again.

        Raises CaseFaults for what no file can hold, toml_text.CannotChange where the file is written too unusually.
        """
        question, before = question_of(field), self.answer(field)
        if text != before.text:
            text = " ".join(text.split())
        source = before.source if source is None else " ".join(source.split())
        source_kind = before.source_kind if source_kind is None else source_kind
        after = Answer(text, source if question.sourced else "", source_kind if question.sourced else "")
        if after == before or (after == Answer() and not self._stands(field)):
            return self.checked
        self._refuse(field, (text, source))
        place, order = place_of(field), [q.key for q in questions().values() if q.section == question.section]
        keep = text == before.text and self._stands(field)  # its spelling, when only its source changes
        value = toml_text.written_at(self.text, place) if keep else toml_value(question, text)
        written = toml_text.with_source(self.text, place, value, after.source, after.source_kind)
        return self._take(toml_text.put(self.text, place, written, order))

    def add_row(self, table: str) -> Checked:
        """One more row of a list of tables, blank."""
        return self._take(toml_text.add_row(self.text, table))

    def drop_row(self, table: str, index: int) -> Checked:
        """One row of a list of tables less."""
        return self._take(toml_text.drop_row(self.text, table, index))

    def _take(self, text: str) -> Checked:
        self.text = text
        self.checked = self.check()
        self.kept = self._unsaved.keep(text, self._opened)
        return self.checked

    def _stands(self, field: str) -> bool:
        return raw_of(self.data, field) is not None

    def _refuse(self, field: str, texts: tuple[str, ...]) -> None:
        for text in texts:
            odd = any(0xD800 <= ord(c) <= 0xDFFF for c in text)
            if odd or len(text) > _LONGEST:
                raise CaseFaults([Fault(self.name, field, "characters that no file can hold" if odd else
                                        f"{len(text)} characters", "a text of at most 2000 characters",
                                        "type it again; what stood there before is kept")])

    # -- what was left unsaved ----------------------------------------------------------------------------------------
    def left_over(self) -> list[str]:
        """Fields that were typed earlier and never saved (the kernel ended); [] when there are none."""
        held = self._unsaved.read()
        if held is None:
            return []
        now, then = dict(flat(self.data)), dict(flat(tomllib.loads(held[0])))
        return [f for f in {**now, **then} if now.get(f) != then.get(f)]

    @property
    def damaged(self) -> str:
        """What became of a draft that was left and cannot be read; "" when there was none."""
        return self._unsaved.remark

    @property
    def not_kept(self) -> str:
        """Why what is typed lives in the page alone; "" when it is kept beside the file."""
        return self._unsaved.why

    def take_back(self) -> Checked:
        """Go on with what was typed earlier. The file that it was typed against counts as the one that was opened."""
        held = self._unsaved.take_over()
        if held is None:
            return self.checked
        self.text, self._opened = held
        self.checked = self.check()
        return self.checked

    def throw_away(self) -> None:
        """Forget what was typed earlier. Raises PackageError when another window has typed more meanwhile."""
        if not self._unsaved.drop(seen=True):
            raise PackageError(f"{self.name}: another window has typed more since this form was opened; nothing was "
                               "thrown away; run the notebook again to see what stands there now")

    # -- saving -------------------------------------------------------------------------------------------------------
    def save(self, name: str = "", *, overwrite: bool = False) -> Saved:
        """Write the case file, whole or not at all; `name`: another file name in the same folder.

        Raises NeedsWord when that would replace what the user has not seen, unless `overwrite`; PackageError when it
        cannot be written.
        """
        target = self.path.with_name(_file_name(name)) if name else self.path
        now = disk.bytes_on_disk(target)
        same = target == self.path
        if now is not None and disk.digest(now) != (self._opened if same else "") and not overwrite:
            raise NeedsWord(self._seen(now) if same and self._opened else
                            f"there is a file {target.name} already; nothing was saved; tick “Replace what stands "
                            "there” and save again, or save under another name")
        gone = same and now is None and bool(self._opened)
        raw = self._form.bytes_of(self.text)
        disk.write(target, raw, new=now is None)
        remarks = ["the file was gone and was written anew"] if gone else []
        if not self._unsaved.drop():
            remarks.append("answers that another window has typed and not saved are still kept beside it")
        self.path, self._opened, self._saved_data = target, disk.digest(raw), self.data
        self._unsaved = disk.Unsaved(target)
        self.checked = self.check()
        return Saved(target, len(self.checked.faults), "; ".join(remarks))

    def _seen(self, now: bytes) -> str:
        """What somebody else changed in the file, in words."""
        try:
            theirs = dict(flat(tomllib.loads(disk.text_of(now, self.name)[0])))
            ours = dict(flat(self._saved_data))
            fields = [f for f in {**ours, **theirs} if ours.get(f) != theirs.get(f)]
        except (CaseFaults, ValueError, RecursionError):
            fields = []
        what = f" ({listed(fields)})" if fields else ""
        return (f"{self.name} was changed on disk since it was opened{what}; nothing was saved; tick “Replace what "
                "stands there” and save again to overwrite what was changed, or save under another name, or run the "
                "notebook again to open what is there now")


def listed(names: list[str], most: int = 6) -> str:
    """Names in a sentence, the first few."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(units.printable(n)[:60] for n in names[:most]) + more


def question_of(field: str) -> Question:
    """The question of a field, also of a field in a row of a list."""
    return questions()[".".join(p for p in field.split(".") if not p.isdigit())]


def place_of(field: str) -> tuple[str | int, ...]:
    """("stock", 0, "width") of "stock.0.width"."""
    return tuple(int(p) if p.isdigit() else p for p in field.split("."))


def raw_of(data: Any, field: str) -> Any:
    """What the parsed file holds in a field; None when it holds nothing there."""
    for part in place_of(field):
        if isinstance(part, int):
            data = data[part] if isinstance(data, list) and part < len(data) else None
        else:
            data = data.get(part) if isinstance(data, dict) else None
    return data


def answer_in(data: dict[str, Any], field: str) -> Answer:
    """The answer that a parsed file holds in a field."""
    raw = raw_of(data, field)
    if not isinstance(raw, dict):
        return Answer(_text(raw))
    return Answer(_text(raw.get("value")), _text(raw.get("source")), _text(raw.get("source_kind")))


def _text(raw: Any) -> str:
    if raw is None or isinstance(raw, str):
        return raw or ""
    if isinstance(raw, bool):
        return str(raw).lower()
    if isinstance(raw, (int, float)):
        return units.shown(raw).strip("'")
    if isinstance(raw, (datetime.date, datetime.time)):
        return raw.isoformat()
    return units.shown(raw)


def flat(data: Any, before: str = "") -> Iterator[tuple[str, Any]]:
    """(field, what stands there) of a parsed file: lists of tables by their rows; a value has its source with it."""
    for key, value in data.items() if isinstance(data, dict) else enumerate(data):
        rows = isinstance(value, list) and value and all(isinstance(v, dict) for v in value)
        if rows or (isinstance(value, dict) and not before):
            yield from flat(value, f"{before}{key}.")
        elif isinstance(value, dict) and before.count(".") == 1 and isinstance(data, list):
            yield f"{before}{key}", None  # that there is such a row
            yield from flat(value, f"{before}{key}.")
        elif value != "":
            yield f"{before}{key}", str(value)


def _blank(stem: str) -> str:
    """The blank case file of `wrapcalc new`; the name of the file is that of the anomaly where it can be one."""
    text = starters.blank_case()
    if re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,59}", stem) and not stem.endswith("."):
        text = toml_text.put(text, ("case", "id"), toml_text.quoted_text(stem))
    return text


def _file_name(name: str) -> str:
    """The name of a file to save under. Raises PackageError for what is none."""
    name = name.strip()
    name = name if name.endswith(".toml") else f"{name}.toml"
    stem = name.removesuffix(".toml")
    unseen = any(unicodedata.category(c)[0] == "C" or unicodedata.category(c) in ("Zl", "Zp") for c in name)
    if (not re.fullmatch(r"[^/\\<>:\"|?*\x00-\x1f]{1,110}\.toml", name) or name.startswith(".") or unseen
            or stem != stem.rstrip(" .") or RESERVED_NAME.fullmatch(name.partition(".")[0].rstrip())):
        raise PackageError(f"{units.shown(name)}: a case is saved beside the others, under a file name without folders "
                           "that every computer can hold, such as HB-08.toml; nothing was saved")
    return name
