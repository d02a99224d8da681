"""A case with some fields changed: the text of a case file, read by the readers of every case, so that its faults are
theirs and its numbers those of the job. The text that is run is the text that is saved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import InlineTable

from wrapcalc.case import Bundle, load_bundle
from wrapcalc.case.load import read_bundle
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.reading import read_bytes, shown_name
from wrapcalc.workbook.bench.inputs import REASONS, Raw

#: What stands for the reason as long as nobody gave one.
EXPLORED = "exploring, no reason stated"
#: Longest reason; a source may be 2000 characters, and holds more than the reason.
MOST_REASON = 400

#: Field -> what is to stand there.
Changes = Mapping[str, Raw]


@dataclass
class Stated:
    """The case as it was when the bench was opened. raw: bytes of its file."""

    path: Path
    raw: bytes
    bundle: Bundle
    _texts: dict[frozenset[str], Any] = field(default_factory=dict, repr=False)
    _seen: dict[str, tuple[tuple[int, int] | None, bool]] = field(default_factory=dict, repr=False)

    @classmethod
    def read(cls, path: Path) -> Stated:
        """Read and check the case. Raises CaseFaults."""
        bundle = load_bundle(path)
        return cls(path, bundle.files["case.toml"], bundle)

    @property
    def name(self) -> str:
        """File name as it may stand in a message."""
        return shown_name(self.path)

    def digest(self) -> str:
        """SHA-256 of the case file and all that it names."""
        return self.bundle.digest()

    def text(self, changes: Changes, reason: str = EXPLORED) -> str:
        """The text of the case file with these changes, each with the reason as its source; comments stay."""
        doc, before = self._document(frozenset(changes)), {}
        try:
            for name, value in changes.items():
                self._set(doc, before, name, self._cell(name, value, reason))
                if name in REASONS:
                    self._set(doc, before, REASONS[name], _because(self.bundle.case.id, reason))
            return tomlkit.dumps(doc)
        finally:
            for (table, key), item in before.items():
                doc[table][key] = item

    def run_text(self, text: str) -> Bundle:
        """Read a changed text by the readers of every case. Raises CaseFaults, also when a file beside has changed."""
        bundle = read_bundle(text.encode(), self.path.parent, self.name)
        for name, raw in self.bundle.files.items():
            if name != "case.toml" and name in bundle.files and bundle.files[name] != raw:
                raise CaseFaults([_moved_on(name)])
        return bundle

    def with_changes(self, changes: Changes, reason: str = EXPLORED) -> Bundle:
        """The case with these changes; without any, the case itself."""
        return self.run_text(self.text(changes, reason)) if changes else self.bundle

    def refuse_if_changed(self) -> None:
        """Raises CaseFaults when the case file is not any more what was opened."""
        if read_bytes(self.path, self.name) != self.raw:
            raise CaseFaults([_moved_on(self.name)])

    def changed_on_disk(self) -> tuple[str, ...]:
        """Names of the files, the case first, that are not any more what was opened.

        Size and time are looked at; only where they moved the bytes are read, for a file may be saved as it was.
        """
        return tuple(shown_name(path) for name, path in self._files().items() if self._differs(name, path))

    def _files(self) -> dict[str, Path]:
        """Name in the bundle -> where it was read; a shipped system sheet is no file of the user."""
        sheet = self.bundle.case.design.system
        packaged = (self.path.parent / "record.json").is_file()  # a package carries its own copy of a shipped sheet
        shipped = {f"{sheet}.toml"} if sheet and not sheet.endswith(".toml") and not packaged else set()
        return {"case.toml": self.path} | {n: self.path.parent / n for n in self.bundle.files
                                           if n != "case.toml" and n not in shipped}

    def _differs(self, name: str, path: Path) -> bool:
        try:
            about = path.stat()
            now = (about.st_size, about.st_mtime_ns)
            if name not in self._seen or self._seen[name][0] != now:
                self._seen[name] = (now, path.read_bytes() != self.bundle.files[name])
        except OSError:
            self._seen[name] = (None, True)
        return self._seen[name][1]

    # -- the text -------------------------------------------------------------------------------------------------
    def _document(self, names: frozenset[str]) -> Any:
        """A document that has a key for each of these fields; made once for those that the case lacks."""
        wanted = names | {REASONS[n] for n in names if n in REASONS}
        lacking = frozenset(n for n in wanted if not _has(self._plain, n))
        if lacking not in self._texts:
            doc = tomlkit.parse(self.raw.decode("utf-8-sig"))
            for name in sorted(lacking):
                table, _, key = name.partition(".")
                if table not in doc:
                    doc[table] = tomlkit.table()
                doc[table][key] = ""
            self._texts[lacking] = doc
        return self._texts[lacking]

    @property
    def _plain(self) -> Any:
        if frozenset() not in self._texts:
            self._texts[frozenset()] = tomlkit.parse(self.raw.decode("utf-8-sig"))
        return self._texts[frozenset()]

    @staticmethod
    def _set(doc: Any, before: dict[tuple[str, str], Any], name: str, item: Any) -> None:
        table, _, key = name.partition(".")
        before.setdefault((table, key), doc[table][key])
        doc[table][key] = item

    def _cell(self, name: str, value: Raw, reason: str) -> InlineTable | str:
        if value is None:
            return ""
        table, _, key = name.partition(".")
        was = self._plain.get(table, {}).get(key)
        old = was.get("value", "") if isinstance(was, dict) else was
        origin = was.get("source", "") if isinstance(was, dict) else ""
        cell = tomlkit.inline_table()
        cell["value"] = value
        before = f"before: {old}" + (f" ({origin})" if origin else "") if old not in (None, "") else "not stated before"
        cell["source"] = f"{_because(self.bundle.case.id, reason)}; {before}"[:2000]
        cell["source_kind"] = "assumed"
        return cell


def _because(case_id: str, reason: str) -> str:
    return f"what-if of {case_id}: {reason}"


def _has(doc: Any, name: str) -> bool:
    table, _, key = name.partition(".")
    return table in doc and key in doc[table]


def _moved_on(name: str) -> Fault:
    return Fault(name, "the file", "other bytes than when this bench was opened", "the file that was opened",
                 "run the notebook again from the top; what is pinned stays, and is worked again from the new file")
