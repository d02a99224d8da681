"""The register on disk: one SQLite file beside the packages, brought up to date in one transaction."""

from __future__ import annotations

import datetime
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from wrapcalc.errors import PackageError
from wrapcalc.register.evidence import APPROVAL, AS_FOUND, CLOSE_OUT, Evidence, Revision, Stated, folders, scan
from wrapcalc.register.restrictions import Restriction
from wrapcalc.register.state import Snapshot, Standing, snapshot
from wrapcalc.units import printable

FOLDER, FILE = "register", "register.sqlite"
#: Marks the file as ours; the version of the layout of its tables.
APPLICATION_ID, VERSION = 0x57524150, 1
#: So long, in seconds, another run that writes is waited for.
WAIT = 2.0

_REVISION = [f.name for f in fields(Revision)]
_STANDING = [f.name for f in fields(Standing) if f.name not in ("revision", "latest")]
_COLUMNS = {"revisions": [*_REVISION, *_STANDING], "evidence": [f.name for f in fields(Evidence)],
            "restrictions": [f.name for f in fields(Restriction)]}
_NUMBERS = {"revision": "INTEGER", "number": "INTEGER", "open": "INTEGER"} | dict.fromkeys(
    ("interim", "beside", "restored", "life", "look", "restored_found", "pressure"), "REAL")
_KEYS = {"revisions": ", PRIMARY KEY (case_id, revision)", "evidence": ", PRIMARY KEY (folder)", "restrictions": ""}
_SCHEMA = [
    *(f"CREATE TABLE {table} (" + ", ".join(f'"{c}" {_NUMBERS.get(c, "TEXT")}' for c in columns)
      + _KEYS[table] + ")" for table, columns in _COLUMNS.items()),
    "CREATE TABLE history (number INTEGER PRIMARY KEY AUTOINCREMENT, seen_on TEXT NOT NULL, case_id TEXT NOT NULL, "
    "revision INTEGER NOT NULL, before TEXT NOT NULL, after TEXT NOT NULL, because TEXT NOT NULL, "
    "digest TEXT NOT NULL)",
    *(f"CREATE TRIGGER history_is_kept_from_{what} BEFORE {what} ON history BEGIN "
      "SELECT RAISE(ABORT, 'the history is only ever added to'); END" for what in ("UPDATE", "DELETE")),
    "CREATE VIEW repairs AS SELECT * FROM revisions AS r WHERE revision = "
    "(SELECT max(revision) FROM revisions WHERE case_id = r.case_id)",
]


@dataclass(frozen=True, slots=True)
class Change:
    """One change of state that was seen. before: blank when the revision is new; digest: of the manifest that
    decides."""

    case_id: str
    revision: int
    before: str
    after: str
    because: str
    digest: str
    seen_on: str = ""


@dataclass(frozen=True)
class Changes:
    """What an update found: the repairs now, and every change of state since the last one."""

    now: Snapshot
    changes: tuple[Change, ...]

    def lines(self) -> list[str]:
        """The outcome for a terminal."""
        out = [f"{c.case_id} r{c.revision}: " + (f"{c.before} → {c.after}" if c.before else c.after)
               + f" ({printable(c.because)})" for c in self.changes]
        repairs, revisions = len(self.now.repairs), len(self.now.standings)
        return [*out, f"{repairs} repair{'s' if repairs != 1 else ''}, {revisions} revision"
                f"{'s' if revisions != 1 else ''}: " + (f"{len(out)} change{'s' if len(out) > 1 else ''} of state"
                                                         if out else "no change since the last run"),
                *(f"warning: {printable(p)}" for p in self.now.problems)]


def update(packages: Path, *, today: datetime.date | None = None) -> Changes:
    """Bring the register of a folder of packages up to date; the second run in a row writes nothing.

    today: the day to enter as seen (default: the day of this computer). Raises PackageError when the folder holds no
    package, or when the register cannot be written, is another program's, of a newer version, damaged or in use.
    """
    path = packages / FOLDER / FILE
    if not folders(packages) and not path.exists():
        raise PackageError(f"{packages}: there are no packages in this folder; name the folder that was given to "
                           "--out")
    with _explained(path):
        try:
            path.parent.mkdir(exist_ok=True)
        except OSError as e:
            raise PackageError(f"{path.parent}: cannot be made ({e.strerror or e}); the register is kept there: make "
                               "the folder writable") from None
        with closing(_connect(path)) as db:
            _check(db, path)
            with _transaction(db):
                if _check(db, path) == 0:
                    _make(db)
                old = _rows(db, "revisions")
                # The folders are read with the lock held: who reads later, writes later.
                now = snapshot(scan(packages), [_revision(r) for r in old],
                               [_evidence(r) for r in _rows(db, "evidence")])
                changes = _changes(old, now, (today or datetime.date.today()).isoformat())
                _write(db, now, changes)
    return Changes(now, changes)


def current(packages: Path) -> Snapshot:
    """The repairs now, from the folders and from what the register remembers; writes nothing, needs no register.

    Raises PackageError as `update` does."""
    return snapshot(scan(packages), remembered(packages), remembered_evidence(packages))


def remembered(packages: Path) -> list[Revision]:
    """Every revision as the register knows it; empty without a register."""
    path = packages / FOLDER / FILE
    with _explained(path):
        return [_revision(r) for r in _read(path, "revisions")]


def remembered_evidence(packages: Path) -> list[Evidence]:
    """Every approval, look and close-out that the register saw; empty without a register."""
    path = packages / FOLDER / FILE
    with _explained(path):
        return [_evidence(r) for r in _read(path, "evidence")]


def history(packages: Path) -> list[Change]:
    """Every change of state that was ever seen, the first first; empty without a register."""
    return [Change(**{f.name: r[f.name] for f in fields(Change)})
            for r in _read(packages / FOLDER / FILE, "history", "ORDER BY number")]


def _read(path: Path, table: str, order: str = "") -> list[dict[str, Any]]:
    if not path.exists():
        return []
    with _explained(path), closing(_connect(path, only_read=True)) as db:
        return _rows(db, table, order) if _check(db, path) else []


def _connect(path: Path, *, only_read: bool = False) -> sqlite3.Connection:
    mode = "ro" if only_read else "rwc"
    db = sqlite3.connect(f"{path.absolute().as_uri()}?mode={mode}", uri=True, timeout=WAIT, isolation_level=None)
    db.row_factory = sqlite3.Row
    return db


@contextmanager
def _transaction(db: sqlite3.Connection) -> Iterator[None]:
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def _check(db: sqlite3.Connection, path: Path) -> int:
    """Version of the tables, 0 of a file that is still empty. Raises PackageError for a file that is not ours."""
    mark, version = (db.execute(f"PRAGMA {p}").fetchone()[0] for p in ("application_id", "user_version"))
    if mark == APPLICATION_ID and version == VERSION:
        return version
    if mark == APPLICATION_ID and version > VERSION:
        raise PackageError(f"{path}: written by a newer wrapcalc (register {version}, this version reads {VERSION}); "
                           "use that version")
    if (mark, version) != (0, 0) or db.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]:
        raise PackageError(f"{path}: this file is not a register of wrapcalc; move it away, then run again")
    return 0


def _make(db: sqlite3.Connection) -> None:
    for statement in _SCHEMA:
        db.execute(statement)
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute(f"PRAGMA user_version = {VERSION}")


def _rows(db: sqlite3.Connection, table: str, order: str = "") -> list[dict[str, Any]]:
    return [dict(r) for r in db.execute(f"SELECT * FROM {table} {order}")]


def _revision(row: dict[str, Any]) -> Revision:
    """A row as it was written. Raises sqlite3.DataError for one that was edited into something else."""
    try:
        stated = tuple(Stated(str(r), float(p)) for r, p in json.loads(row["stated"]))
        sound = _typed(row, _REVISION)
        for day in ("written_on", "measured_on", "due_by"):
            if row[day]:
                datetime.date.fromisoformat(row[day])
    except (KeyError, TypeError, ValueError):
        sound = False
    if not sound:
        raise sqlite3.DataError("a row of the table revisions is not as it was written")
    return Revision(**{name: row[name] for name in _REVISION if name != "stated"}, stated=stated)


def _evidence(row: dict[str, Any]) -> Evidence:
    """A row as it was written. Raises sqlite3.DataError for one that was edited into something else."""
    names = _COLUMNS["evidence"]
    if not _typed(row, names) or row["kind"] not in (APPROVAL, AS_FOUND, CLOSE_OUT):
        raise sqlite3.DataError("a row of the table evidence is not as it was written")
    return Evidence(**{name: row[name] for name in names})


def _typed(row: dict[str, Any], names: list[str]) -> bool:
    kinds: dict[str, tuple[type, ...]] = {"REAL": (float, type(None)), "INTEGER": (int,)}
    return all(isinstance(row.get(n, b""), kinds.get(_NUMBERS.get(n, ""), (str,))) for n in names)


def _changes(old: list[dict[str, Any]], now: Snapshot, day: str) -> tuple[Change, ...]:
    before = {(r["case_id"], r["revision"]): r for r in old}
    out = []
    for s in now.standings:
        r, was = s.revision, before.get((s.revision.case_id, s.revision.revision))
        words = "" if was is None else Standing(_revision(was), was["state"], s.latest, "", "").words
        if words != s.words or (was is not None and was["evidence_digest"] != s.evidence_digest):
            because = s.because if not r.reason else f"{s.because}; {r.reason}"
            out.append(Change(r.case_id, r.revision, words, s.words, because, s.evidence_digest, day))
    return tuple(out)


def _write(db: sqlite3.Connection, now: Snapshot, changes: tuple[Change, ...]) -> None:
    """Tables that differ are written anew; the history is added to."""
    content = {"revisions": [_of(s.revision, _REVISION) + _of(s, _STANDING) for s in now.standings],
               "evidence": [_of(e, _COLUMNS["evidence"]) for e in (*now.evidence, *now.spoilt)],
               "restrictions": [_of(r, _COLUMNS["restrictions"]) for r in now.restrictions]}
    for table, rows in content.items():
        if [tuple(r.values()) for r in _rows(db, table, "ORDER BY rowid")] == rows:
            continue
        db.execute(f"DELETE FROM {table}")
        marks = ", ".join("?" * len(_COLUMNS[table]))
        db.executemany(f"INSERT INTO {table} VALUES ({marks})", rows)
    names = [f.name for f in fields(Change)]
    db.executemany(f"INSERT INTO history ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})",
                   [_of(c, names) for c in changes])


def _of(item: Any, names: list[str]) -> tuple[Any, ...]:
    def cell(value: Any) -> Any:
        if isinstance(value, tuple):
            return json.dumps([[s.reference, s.pressure] for s in value], ensure_ascii=False)
        return int(value) if isinstance(value, bool) else value
    return tuple(cell(getattr(item, n)) for n in names)


@contextmanager
def _explained(path: Path) -> Iterator[None]:
    """What SQLite says, as one message with what to do."""
    try:
        yield
    except sqlite3.Error as e:
        name = getattr(e, "sqlite_errorname", None) or ""
        raise PackageError(f"{path}: {_why(name, e)}") from None


def _why(name: str, e: sqlite3.Error) -> str:
    untouched = "; nothing was changed in the register"
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return "the register is in use by another run; wait, then run again"
    if name.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM")):
        return f"the register cannot be read or written here; make this file and its folder writable{untouched}"
    if name.startswith("SQLITE_FULL"):
        return f"there is no room on the disk; make room, then run again{untouched}"
    if name.startswith("SQLITE_NOTADB"):
        return "this file is not a register of wrapcalc; move it away, then run again"
    if name.startswith("SQLITE_CORRUPT") or isinstance(e, sqlite3.DataError):
        return ("the register is damaged; restore it from a copy, or move it away: the next run makes a new one from "
                "the packages, without the history")
    return f"the register cannot be read or written ({e}){untouched}"
