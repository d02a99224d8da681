"""A review beside its package: who looked at which step, what was said, asked, answered and closed.

`review/NAME-rN/comments.jsonl`, one JSON object to a line, is only ever added to. Its first line cites the package's
manifest; each further line cites the line before it. `last.json` beside it holds how many lines were said and the
digest of the last one, so that the end of the file cannot be cut or edited unseen. Both show damage and careless edits;
they do not show forgery: whoever writes lines, chain and `last.json` anew leaves no trace, and names are typed, not
authenticated. Each file is written aside and renamed, the line first. A run that ends between the two leaves one line
more than `last.json` tells: that is read as it stands, and `last.json` is put right before the next line.
"""

from __future__ import annotations

import datetime
import json
import os
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from wrapcalc.errors import PackageError
from wrapcalc.fields import FieldFault
from wrapcalc.package import digests
from wrapcalc.people import checked_name, person_key

PLACE, KIND, DATA, LAST = "review", "review", "comments.jsonl", "last.json"
SCHEMA = 1
#: What may be said of a step. `WHOLE` in place of a step: of the package as a whole.
CHECKED, BACK, COMMENT, QUERY, ANSWER, CLOSED = "checked", "tick taken back", "comment", "query", "answer", "closed"
ACTS = (CHECKED, BACK, COMMENT, QUERY, ANSWER, CLOSED)
WHOLE = ""
MOST_BYTES = 20_000_000
_ATTEMPTS = 10
#: The same for two ways to write one name.
same_person = lru_cache(4096)(person_key)
_KEYS = {"n": int, "at": str, "who": str, "item": str, "act": str, "text": str, "query": int, "previous": str}


@dataclass(frozen=True)
class Entry:
    """One line. at: UTC, ISO 8601; item: id of a step, or `WHOLE`; query: its number, 0 for a tick or a comment."""

    n: int
    at: str
    who: str
    item: str
    act: str
    text: str = ""
    query: int = 0


@dataclass(frozen=True)
class Query:
    """A query, its answers, and the line that closed it; open while that is None."""

    asked: Entry
    answers: tuple[Entry, ...] = ()
    closed: Entry | None = None

    @property
    def number(self) -> int:
        """As it is called: 3 for Q3."""
        return self.asked.query

    @property
    def item(self) -> str:
        """The step that it is about."""
        return self.asked.item


@dataclass(frozen=True)
class Review:
    """What stands in the file of one package; no entry where there is no file. digest: SHA-256 of the file."""

    folder: Path
    package: str
    package_digest: str
    entries: tuple[Entry, ...] = ()
    digest: str = ""
    raw: bytes = field(default=b"", repr=False)

    def ticks(self, *, but: Collection[str] = ()) -> dict[str, list[Entry]]:
        """Step -> the ticks that stand on it, one per person. but: names whose ticks do not count."""
        left = {same_person(n) for n in but}
        out: dict[str, dict[str, Entry]] = {}
        for e in self.entries:
            who = same_person(e.who)
            if e.act == CHECKED and who not in left:
                out.setdefault(e.item, {}).setdefault(who, e)
            elif e.act == BACK:
                out.get(e.item, {}).pop(who, None)
        return {item: list(by.values()) for item, by in out.items() if by}

    def queries(self, *, but: Collection[str] = ()) -> list[Query]:
        """All queries in the order they were raised. but: names that cannot close one; theirs stay open."""
        left = {same_person(n) for n in but}
        out: dict[int, Query] = {}
        for e in self.entries:
            if e.act == QUERY:
                out[e.query] = Query(e)
            elif e.act == ANSWER:
                q = out[e.query]
                out[e.query] = Query(q.asked, (*q.answers, e), q.closed)
            elif e.act == CLOSED and same_person(e.who) not in left:
                q = out[e.query]
                out[e.query] = Query(q.asked, q.answers, e)
        return list(out.values())

    def open(self, *, but: Collection[str] = ()) -> list[Query]:
        """Queries that nobody closed who may."""
        return [q for q in self.queries(but=but) if q.closed is None]

    def comments(self) -> list[Entry]:
        """Comments in the order they were made."""
        return [e for e in self.entries if e.act == COMMENT]

    def looked_at(self, *, but: Collection[str] = ()) -> set[str]:
        """Steps that are ticked, commented or queried. but: names of whom nothing counts."""
        left = {same_person(n) for n in but}
        said = {e.item for e in self.entries if e.act in (COMMENT, QUERY) and same_person(e.who) not in left}
        return (said | self.ticks(but=but).keys()) - {WHOLE}

    def people(self) -> list[str]:
        """Whoever said anything, by the name first typed, in the order of the first line."""
        out: dict[str, str] = {}
        for e in self.entries:
            out.setdefault(same_person(e.who), e.who)
        return list(out.values())


# -- reading -----------------------------------------------------------------------------------------------------
def place(package: Path, name: str) -> Path:
    """Where the review of a package stands: beside it."""
    return package.resolve().parent / PLACE / name


def read_review(folder: Path, package: str, package_digest: str, steps: Collection[str]) -> Review:
    """The review in `folder`; without a line where there is none. package_digest: SHA-256 of the package's manifest;
    steps: ids of its record.

    Raises PackageError when it is damaged, of a newer layout, or about another package than this.
    """
    path = folder / DATA
    _not_led_astray(folder)
    for _ in range(_ATTEMPTS):
        told = read_file(folder / LAST)
        raw = read_file(path)
        if read_file(folder / LAST) == told:  # else another session wrote between the two
            break
    if raw is None:
        if told is not None:
            raise PackageError(f"{path}: missing, though {LAST} beside it tells of lines; the review was damaged. Put "
                               "back a whole copy of both, or move the folder away and review anew")
        return Review(folder, package, package_digest)
    review = parse(raw, path, package, package_digest, steps)
    _ends_as_told(review, told)
    return review


def _not_led_astray(folder: Path) -> None:
    """Raises PackageError where a link leads nowhere, or a file stands in place of a folder: not "no review"."""
    for path in (folder.parent, folder, folder / DATA, folder / LAST):
        if os.path.islink(path) and not path.exists():
            raise PackageError(f"{path}: this is a link, and what it leads to is not there; put that back. Only if "
                               "nobody reviewed the package, take the link away")
    for path in (folder.parent, folder):
        if path.exists() and not path.is_dir():
            raise PackageError(f"{path}: found a file; allowed: a folder, with the reviews of packages in it. Move the "
                               "file away, and put the folder back if there was one")


def read_file(path: Path) -> bytes | None:
    """The file, None where there is none. Raises PackageError when it cannot be read, or is far too large."""
    try:
        if not os.path.lexists(path):
            return None
        if path.stat().st_size > MOST_BYTES:
            raise PackageError(f"{path}: larger than {MOST_BYTES / 1e6:g} MB; this is no review that wrapcalc wrote")
        return path.read_bytes()
    except OSError as e:
        raise PackageError(f"{path}: cannot be read ({e.strerror or e}); check its permissions") from None


def _ends_as_told(review: Review, told: bytes | None) -> None:
    """Raises PackageError when the lines are not those that `last.json` tells of, or those and one more."""
    lines, count = review.raw.split(b"\n")[:-1], 0
    if told is not None:
        path = review.folder / LAST
        data = _json(path, 1, told)
        if {k: type(v) for k, v in data.items()} != {"entries": int, "last_sha256": str} or data["entries"] < 1:
            raise _damaged(path, 1, "it does not tell how many lines were said")
        count = data["entries"]
        if count >= len(lines) or digests.sha256(lines[count]) != data["last_sha256"]:
            raise _damaged(review.folder / DATA, min(count + 1, len(lines)),
                           f"the last lines are not those that {LAST} tells of: they were changed or taken out")
    if len(review.entries) > count + 1:
        raise _damaged(review.folder / DATA, count + 2,
                       f"from here on there are lines that {LAST} beside it does not tell of, or it is missing")


def told_of(review: Review) -> bytes:
    """What `last.json` says of these lines."""
    last = review.raw[:-1].rpartition(b"\n")[2]
    return line_of({"entries": len(review.entries), "last_sha256": digests.sha256(last)})


def parse(raw: bytes, path: Path, package: str, package_digest: str, steps: Collection[str]) -> Review:
    """A review from the bytes of its file; see `read_review`."""
    lines = raw.split(b"\n")
    if lines[-1] != b"":
        raise _damaged(path, len(lines), "the line is not whole")
    head = _json(path, 1, lines[0])
    if head.get("kind") != KIND:
        raise _damaged(path, 1, "it does not say that this is a review")
    if head.get("schema") != SCHEMA:
        raise PackageError(f"{path}: written by a newer wrapcalc (schema {head.get('schema')!r}, this version reads "
                           f"{SCHEMA}); use that version")
    if head.get("package") != package or head.get("package_manifest_sha256") != package_digest:
        raise PackageError(f"{path}: this review is about another package ({head.get('package')}, manifest "
                           f"{str(head.get('package_manifest_sha256'))[:12]}…, not {package}, {package_digest[:12]}…); "
                           "move it away, or put the package back that it was made for")
    entries: list[Entry] = []
    raised: dict[int, Entry] = {}
    for number, (line, before) in enumerate(zip(lines[1:-1], lines, strict=False), 2):
        e = _entry(path, number, _json(path, number, line), digests.sha256(before), steps)
        why = _order(e, raised)
        if why:
            raise _damaged(path, number, why)
        entries.append(e)
    return Review(path.parent, package, package_digest, tuple(entries), digests.sha256(raw), raw)


def _damaged(path: Path, line: int, why: str) -> PackageError:
    return PackageError(f"{path}, line {line}: {why}; the review was damaged. Put back a whole copy, or move it away "
                        "and review anew")


def _json(path: Path, line: int, raw: bytes) -> dict[str, Any]:
    try:
        data = json.loads(raw, object_pairs_hook=_once)
    except (ValueError, RecursionError):
        raise _damaged(path, line, "it cannot be read, or says a thing twice") from None
    if not isinstance(data, dict):
        raise _damaged(path, line, "it is no line of a review")
    return data


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object whose keys stand there once each; of two, another reader might believe the other one."""
    data = dict(pairs)
    if len(data) != len(pairs):
        raise ValueError("a key stands there twice")
    return data


def _entry(path: Path, line: int, data: Mapping[str, Any], before: str, steps: Collection[str]) -> Entry:
    if {k: type(v) for k, v in data.items()} != _KEYS:
        raise _damaged(path, line, "it is no line of a review")
    try:
        datetime.datetime.strptime(data["at"], "%Y-%m-%dT%H:%M:%SZ")
        checked_name(data["who"])
    except (ValueError, FieldFault):
        raise _damaged(path, line, "its time or its name cannot be") from None
    if data["previous"] != before or data["n"] != line - 1:
        raise _damaged(path, line, "the line before it was changed, taken out or put in")
    if data["act"] not in ACTS or (data["item"] != WHOLE and data["item"] not in steps):
        raise _damaged(path, line, "it is about a step that the package does not have, or says something unknown")
    return Entry(**{k: v for k, v in data.items() if k != "previous"})


def _order(e: Entry, raised: dict[int, Entry]) -> str:
    """What cannot follow on the lines before, "" if all can. raised: queries so far; the new one is added."""
    if e.act == QUERY:
        if e.query != len(raised) + 1:
            return "its query has another number than it should"
        raised[e.query] = e
    elif e.act in (ANSWER, CLOSED):
        if e.query not in raised or raised[e.query].item != e.item:
            return "it is about a query that was never raised"
    elif e.query:
        return "only a query has a number"
    return ""


def line_of(data: Mapping[str, Any]) -> bytes:
    """An object on one line, as it is written."""
    return (json.dumps(data, ensure_ascii=False) + "\n").encode()


def earlier(package: Path, case: str, revision: int) -> list[tuple[int, Path]]:
    """Packages of the same case with a lower revision, the latest first."""
    found = []
    for path in package.resolve().parent.iterdir():
        m = re.fullmatch(re.escape(case) + r"-r([1-9][0-9]{0,8})", path.name)
        if m and path.is_dir() and int(m[1]) < revision:
            found.append((int(m[1]), path))
    return sorted(found, reverse=True)
