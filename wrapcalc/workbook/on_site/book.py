"""The readings of a repair while they are entered: rows as by hand, each against its limit, and the verdict."""

from __future__ import annotations

import csv
import datetime
import io
import re
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from wrapcalc import units
from wrapcalc.case.csv_table import Row as Cells
from wrapcalc.case.csv_table import counted, read_rows
from wrapcalc.case.readings import COLUMNS, HELP_COLUMNS, MAX_BYTES, WHATS, Reading, Readings, parse_rows
from wrapcalc.errors import CaseFaults, Fault, PackageError, WrapcalcError
from wrapcalc.package import closeout as co
from wrapcalc.package.digests import sha256
from wrapcalc.workbook.kept import Kept, unwritable
from wrapcalc.workbook.on_site.alone import Alone, Said
from wrapcalc.workbook.on_site.opened import Opened
from wrapcalc.workbook.on_site.topics import called, clause, topic_of

NAME, TEMPLATE = "readings.csv", "readings-template.csv"
#: Columns that are filled in by hand.
BY_HAND = ("reading", "time", "by", "instrument", "remark")
MET, NOT_MET, MISSING, UNREAD, READ, OPTIONAL = (
    "met", "not met", "missing", "cannot be read", "read, judged with the others",
    "not needed unless it applies")
#: What a spreadsheet takes for a formula, and of that what is but a number, with its unit or without.
_RUNS = re.compile(r"[=+\-@]")
_NUMBER = re.compile(r"[+-](?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?"
                     r"(?: ?[µA-Za-z][A-Za-z]{0,7}[23²³]?| ?°[CFR]| ?%)?", re.ASCII)
_LOGS = ("line pressure", "steel temperature")


@dataclass
class Entry:
    """One row. cells: as they stand in the file; limit, how: of the template; needed: the repair asks for it."""

    cells: dict[str, str]
    limit: str = ""
    how: str = ""
    needed: bool = False
    clause: str = ""

    @property
    def what(self) -> str:
        """What is read, as the reader knows it."""
        return self.cells["what"].casefold()

    @property
    def title(self) -> str:
        """What is read, and where."""
        return ", ".join(filter(None, (called(self.cells["what"]), self.cells["where"])))

    @property
    def blank(self) -> bool:
        """Whether nothing was read yet."""
        return not any(self.cells[c] for c in ("reading", "time", "by"))


@dataclass(frozen=True)
class Standing:
    """What is to be said of one row, in words."""

    word: str
    said: tuple[Said, ...] = ()
    faults: tuple[Fault, ...] = ()


@dataclass
class Judgement:
    """All rows, and the verdict. rows: one standing for each entry; faults: of no row; judged: None as long as the
    verdict cannot be formed, and then `why` says why not."""

    rows: list[Standing] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    judged: co.Judged | None = None
    why: str = ""


class ReadingsBook:
    """The readings of one package in the user's folder. Raises PackageError or CaseFaults when they cannot be opened.
    """

    def __init__(self, opened: Opened):
        self.opened = opened
        try:
            blank = (opened.package / TEMPLATE).read_bytes()
        except OSError as e:
            raise PackageError(f"{opened.package / TEMPLATE}: cannot be read ({e.strerror or e}); the package was made "
                               "by an earlier wrapcalc: issue a new revision") from None
        self._template = self._entries(read_rows(blank, TEMPLATE, "the template", ""), TEMPLATE)
        for e in self._template:
            e.needed = not e.how.endswith("; where it applies")
        self.kept = Kept(opened.field_folder / NAME, blank)
        try:
            self._open(self.kept.text)
        except CaseFaults:
            if not self.kept.dirty:
                raise
            self.kept.set_aside()
            self._open(self.kept.text)

    def _open(self, raw: bytes) -> None:
        self.entries = self._with_template(self._entries(read_rows(
            raw, NAME, "a table of readings with the columns " + ", ".join(COLUMNS),
            "start from readings-template.csv of the package"), NAME))

    # -- rows ----------------------------------------------------------------------------------------------------
    def _entries(self, rows: list[Cells], name: str) -> list[Entry]:
        """Rows of a file as entries. Raises CaseFaults for what the table cannot hold."""
        head = [_plain(c).casefold() for c in rows[0][1]]
        while head and not head[-1]:
            head.pop()
        if faults := [f for f in _faults([rows[0]], name) if f.field == "the heading"]:
            raise CaseFaults(faults)
        out, faults = [], []
        for line, cells in rows[1:]:
            if any(c.strip() for c in cells[len(head):]):
                faults += _faults([rows[0], (line, cells)], name)
                continue
            text = {c: _plain(cells[i]) if i < len(cells) else "" for i, c in enumerate(head)}
            out.append(Entry({c: text.get(c, "") for c in COLUMNS}, text.get("limit", ""), text.get("how", "")))
        if faults:
            raise CaseFaults(faults)
        return out

    def _with_template(self, entries: list[Entry]) -> list[Entry]:
        """The entries with limits, and after them what the template asks for and the file does not have."""
        left = list(self._template)
        open_ = [e for e in entries if not self._matched(e, left, exact=True)]
        for e in open_:  # a log goes on under other names of the place
            if not self._matched(e, left, exact=False):
                like = next((t for t in self._template if t.what == e.what), None)
                e.limit, e.how = (like.limit, like.how) if like else ("", "")
        taken = {e.cells["row"] for e in entries}
        for t in left:
            number = t.cells["row"] if t.cells["row"] not in taken else self._free(taken)
            taken.add(number)
            entries.append(Entry({**t.cells, "row": number}, t.limit, t.how, t.needed))
        bundle = self.opened.again.outcome.bundle
        for e in entries:
            e.clause = clause(e.what, e.cells["where"].casefold(), bundle)
        return entries

    @staticmethod
    def _matched(e: Entry, left: list[Entry], *, exact: bool) -> bool:
        for t in left:
            one, other = (x.cells["where"].casefold() for x in (t, e))
            loose = WHATS[t.what].where in ("", "spot") or (WHATS[t.what].where == "ends" and other.startswith(one))
            if t.what == e.what and (one == other if exact else loose):
                e.limit, e.how, e.needed = t.limit, t.how, t.needed
                left.remove(t)
                return True
        return False

    @staticmethod
    def _free(taken: set[str]) -> str:
        return str(max((int(n) for n in taken if n.isdecimal() and len(n) < 9), default=0) + 1)

    def put(self, index: int, column: str, text: str) -> None:
        """Write one cell. What cannot be read is taken, and the standing of its row says so. CaseFaults for what no
        file can hold, and what a spreadsheet would run: the reader takes cells as they are, so nothing defuses them."""
        text = _plain(text)
        if fault := _refused(NAME, column, text, index + 2):
            raise CaseFaults([fault])
        self.entries[index].cells[column] = text
        self.kept.keep(self.raw)

    def add(self, what: str, where: str) -> int:
        """One more row; gives its index. Raises CaseFaults as `put` does."""
        if fault := _refused(NAME, "where", _plain(where), None):
            raise CaseFaults([fault])
        like = next((t for t in self._template if t.what == what), None)
        number = self._free({e.cells["row"] for e in self.entries})
        cells = dict.fromkeys(COLUMNS, "") | {"row": number, "what": what, "where": _plain(where)}
        bundle = self.opened.again.outcome.bundle
        self.entries.append(Entry(cells, like.limit if like else "", WHATS[what].how, False,
                                  clause(what, where.casefold(), bundle)))
        self.kept.keep(self.raw)
        return len(self.entries) - 1

    def load(self, raw: bytes, name: str) -> int:
        """Take the rows of another file, CSV or XLSX, in place of these; nothing is saved yet. Gives how many have a
        reading. Raises CaseFaults."""
        if len(raw) > MAX_BYTES:
            raise CaseFaults([Fault(name, "the file", f"{len(raw) / 1e6:.3g} MB", f"at most {MAX_BYTES / 1e6:g} MB",
                                    "load the file of the readings alone")])
        if Path(name).suffix.casefold() in (".xlsx", ".xlsm", ".xls", ".ods"):
            from wrapcalc.case.readings_workbook import workbook_rows
            rows = workbook_rows(raw, name)
        else:
            rows = read_rows(raw, name, "a table of readings with the columns " + ", ".join(COLUMNS),
                             "start from readings-template.csv of the package")
        entries = self._entries(rows, name)
        refused = [f for e, (line, _) in zip(entries, rows[1:], strict=True) for c in COLUMNS
                   if (f := _refused(name, c, e.cells[c], line))]
        if refused:
            raise CaseFaults(counted(refused, name))
        self.entries = self._with_template(entries)
        self.kept.keep(self.raw)
        return sum(not e.blank for e in self.entries)

    @property
    def raw(self) -> bytes:
        """The readings as they would be saved: the columns of the template, with its byte order mark."""
        if self._untouched():
            return self.kept.blank
        buffer = io.StringIO()
        writer = csv.writer(buffer)
        writer.writerow([*COLUMNS, *HELP_COLUMNS])
        for e in self.entries:
            writer.writerow([*(e.cells[c] for c in COLUMNS), *(_inert(t) for t in (e.limit, e.how))])
        return "\ufeff".encode() + buffer.getvalue().encode("utf-8")

    def _untouched(self) -> bool:
        return [e.cells for e in self.entries] == [t.cells for t in self._template]

    def unsaved(self) -> list[str]:
        """Rows that are not as they are saved, in words."""
        if not self.kept.dirty:
            return []
        saved = self.kept.saved
        try:
            before = {e.cells["row"]: e for e in (self._template if saved is None else self._with_template(
                self._entries(read_rows(saved, NAME, "", ""), NAME)))}
        except CaseFaults:
            return ["all of it; what is saved cannot be read"]
        out = []
        for e in self.entries:
            was = before.get(e.cells["row"])
            if (was is None and not e.blank) or (was is not None and was.cells != e.cells):
                old, new = was.cells["reading"] if was else "", e.cells["reading"]
                saved_as = f" (saved: {old or 'blank'})" if old != new else ", its other cells"
                out.append(f"row {e.cells['row']} {e.title}: {new or 'blank'}{saved_as}")
        return out

    # -- judging -------------------------------------------------------------------------------------------------
    @cached_property
    def _alone(self) -> Alone:
        return Alone(self.opened.again.outcome)

    def judge(self, now: datetime.datetime | None = None) -> Judgement:
        """Every row against its limit, and the verdict as it would be written now; nothing is written."""
        out = Judgement()
        readings: list[Reading | None] = []
        faults: dict[int, list[Fault]] = {}
        for i in range(len(self.entries)):
            one, found = self._one(i)
            readings.append(one)
            if found:
                faults[i] = found
        good = [r for r in readings if r is not None]
        read: Readings | None = None
        if good:
            try:
                whole = parse_rows([_HEAD, *(self._line(i) for i, r in enumerate(readings) if r is not None)],
                                   self._bytes, NAME)
                read = None if faults else whole
            except CaseFaults as e:
                self._sort(e.faults, faults, out.faults)
        if read is not None:
            self._hold(read, readings, faults, out, now)
        if out.judged is None and not out.why:
            out.why = ("nothing was read yet" if not good and not faults else
                       "the rows that cannot be read, or cannot be of this repair, must be mended first")
        released = next((r.time for r in good if r.what == "pressure released by"), None)
        checks = _by_row(out.judged)
        # A log that has begun goes on as long as it must; the verdict says whether it has a gap.
        begun = {(e.what, e.cells["where"]) for e in self.entries if e.what in _LOGS and not e.blank}
        for i, (e, r) in enumerate(zip(self.entries, readings, strict=True)):
            if i in faults:
                out.rows.append(Standing(UNREAD, (), tuple(faults[i])))
            elif r is None:
                out.rows.append(Standing(MISSING if e.needed and (e.what, e.cells["where"]) not in begun else OPTIONAL))
            else:
                out.rows.append(_standing([*checks.get(r.row, []), *self._alone.said(r, released)]))
        return out

    def _hold(self, read: Readings, readings: list[Reading | None], faults: dict[int, list[Fault]], out: Judgement,
              now: datetime.datetime | None) -> None:
        """The readings against the package. Of many faults only the first are told at a time: those rows are set aside,
        and the rest is asked again, until each fault stands at its row."""
        while True:
            try:
                judged = co.judge(self.opened.of, read, now=now, again=self.opened.again)
                out.judged = None if faults else judged
                return
            except CaseFaults as e:
                known = len(faults)
                more = any(f.line is None and f.field == "the file" for f in e.faults)
                self._sort([f for f in e.faults if f.line is not None or not more], faults, out.faults)
                left = [r for i, r in enumerate(readings) if r is not None and i not in faults]
                if not more or len(faults) == known or not left:
                    return
                read = Readings(read.name, read.raw, tuple(left))
            except WrapcalcError as e:
                out.why = str(e)
                out.judged = self._written()
                return

    def _written(self) -> co.Judged | None:
        """The last close-out, when it is of these very readings: one that accepted is not judged again."""
        try:
            before = co.latest(self.opened.of)
        except WrapcalcError:
            return None
        if before.number and before.data["readings_file"]["sha256"] == sha256(self._bytes):
            return co.Judged(self.opened.of, before, before.data, None)
        return None

    @property
    def _bytes(self) -> bytes:
        """What a close-out would rest on: the file as it is, or as it would be saved."""
        return self.raw if self.kept.dirty or self.kept.saved is None else self.kept.text

    def _line(self, i: int) -> Cells:
        """A row as it stands in the file that would be saved."""
        return i + 2, [self.entries[i].cells[c] for c in COLUMNS]

    def _one(self, i: int) -> tuple[Reading | None, list[Fault]]:
        """One row by itself: what is read, or its faults; neither for a blank."""
        try:
            return parse_rows([_HEAD, self._line(i)], b"", NAME).rows[0], []
        except CaseFaults as e:
            return None, [f for f in e.faults if f.line is not None]

    def _sort(self, found: list[Fault], rows: dict[int, list[Fault]], rest: list[Fault]) -> None:
        for f in found:
            if f.line is not None and 0 <= f.line - 2 < len(self.entries):
                rows.setdefault(f.line - 2, []).append(f)
            else:
                rest.append(f)

    # -- saving and writing --------------------------------------------------------------------------------------
    def save(self, *, over: bool = False) -> None:
        """Write the readings into the user's folder."""
        self.kept.save(self.raw, over=over)

    def reopen(self) -> None:
        """Drop what was typed and not saved; go on from what is on disk."""
        self.kept.drop()
        self._open(self.kept.text)

    def write(self, now: datetime.datetime | None = None) -> co.Result:
        """Write the close-out beside the package, as `wrapcalc closeout` does with the saved file."""
        if words := self.kept.changed():
            raise PackageError(f"{words}; save the readings, or open what is there, before the close-out is written")
        if self.kept.dirty or self.kept.saved is None:
            raise PackageError("readings are typed and not saved; save them before the close-out is written")
        return co.closeout_package(self.opened.package, self.kept.path, now=now)

    def topic(self, e: Entry) -> str:
        """Under which topic a row is entered."""
        return topic_of(e.what)


_HEAD: Cells = (1, list(COLUMNS))


def _faults(rows: list[Cells], name: str) -> list[Fault]:
    try:
        parse_rows(rows, b"", name)
    except CaseFaults as e:
        return e.faults
    return []


def _by_row(judged: co.Judged | None) -> dict[str, list[Said]]:
    """Row -> what the checks of the close-out say of it."""
    out: dict[str, list[Said]] = {}
    for c in judged.data["checks"] if judged is not None else ():
        for row in c["rows"]:
            out.setdefault(row, []).append(Said(c["title"], c["verdict"], c["found"], c["wanted"], c["citation"],
                                                c["note"]))
    return out


def _standing(said: list[Said]) -> Standing:
    bad = {s.title: s for s in said if s.verdict == "not met"}
    good = {s.title: s for s in said if s.verdict == "met"}
    if bad:
        return Standing(NOT_MET, tuple(bad.values()))
    return Standing(MET, tuple(good.values())) if good else Standing(READ)


def _plain(text: str) -> str:
    return " ".join(text.split())


def _inert(text: str) -> str:
    """A cell that only helps, as the template writes it: never one that a spreadsheet could run."""
    return "'" + text if text[:1] in ("=", "+", "-", "@", "\t") else text


def _refused(file: str, column: str, text: str, line: int | None) -> Fault | None:
    """The fault of a cell that cannot be saved as it is; None of one that can."""
    if _RUNS.match(text) and not _NUMBER.fullmatch(text):
        return Fault(file, column, f"{units.shown(text)}, which a spreadsheet would run as a formula", "a number with "
                     "its unit, or a text that does not begin with = + - or @", "begin it with a letter or a digit",
                     line)
    return unwritable(file, column, text, line)
