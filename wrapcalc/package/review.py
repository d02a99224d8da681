"""Saying something in a review: who may say what of which step, and the line that is added.

What stands in the files, and what they show, is told in `review_lines`.
"""

from __future__ import annotations

import contextlib
import datetime
import os
import secrets
import time
import unicodedata
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path
from typing import Any

from wrapcalc.errors import PackageError
from wrapcalc.fields import FieldFault
from wrapcalc.package import digests
from wrapcalc.package.issued import Issued, issued
from wrapcalc.package.report import IDENTITIES
from wrapcalc.package.review_lines import (
    ACTS,
    ANSWER,
    BACK,
    CHECKED,
    CLOSED,
    COMMENT,
    DATA,
    KIND,
    LAST,
    QUERY,
    SCHEMA,
    WHOLE,
    Entry,
    Review,
    line_of,
    parse,
    place,
    read_file,
    read_review,
    same_person,
    told_of,
)
from wrapcalc.people import checked_name

MOST_LETTERS, MOST_TEXT = 60, 4000
#: So long, in seconds, a line waits for another session that writes.
PATIENCE = 5.0


def typed_name(role: str, name: str) -> str:
    """The name on one line. Raises PackageError where it can be no name, or cannot be printed."""
    try:
        shown = checked_name(name)
    except FieldFault as e:
        raise PackageError(f"{role}: found {e.found}; allowed: {e.allowed}; {e.mend}") from None
    if len(shown) > MOST_LETTERS:
        raise PackageError(f"{role} '{shown[:20]}…': {len(shown)} letters; a name may have {MOST_LETTERS}")
    if odd := _unprintable(shown):
        raise PackageError(f"{role}: the page cannot print {odd}; write the name in letters that it can, for example "
                           "Latin ones")
    return shown


def typed_text(text: str) -> str:
    """What somebody typed, in one form of Unicode. Raises PackageError for what is too long or cannot be printed."""
    lines = unicodedata.normalize("NFC", text).replace("\t", " ").splitlines()
    shown = "\n".join(line.rstrip() for line in lines).strip()
    if len(shown) > MOST_TEXT:
        raise PackageError(f"the text has {len(shown)} letters; allowed: {MOST_TEXT}. Say it in two parts")
    if odd := _unprintable(shown.replace("\n", "")):
        raise PackageError(f"the text: the page cannot print {odd}; take these out, or write them in other letters")
    return shown


def _unprintable(text: str) -> str:
    odd = sorted({c for c in text if not c.isprintable() or ord(c) > 255})
    if not odd:
        return ""
    from wrapcalc.package.pdf import printable_characters
    missing = [c for c in odd if not c.isprintable() or ord(c) not in printable_characters()]
    return ", ".join(f"U+{ord(c):04X}" for c in missing[:5])


def reviewable(package: Path) -> Issued:
    """The package when it may be reviewed. Raises PackageError: changed, renamed, superseded, or approved already."""
    of = issued(package, "review")
    target = of.folder.resolve().parent / "approval" / of.name
    if target.exists():
        raise PackageError(f"{of.name} is approved ({target}): its review is closed. What is to be different goes into "
                           "the case, and makes a new revision")
    return of


def say(of: Issued, record: Mapping[str, Any], who: str, act: str, item: str = WHOLE, text: str = "",
        query: int = 0, *, at: datetime.datetime | None = None) -> Review:
    """Add one line, and give the review as it then stands with whatever others said meanwhile.

    of, record: the package, as `reviewable` gave it. at: the time by the clock unless it is given. Saying again what
    stands already adds nothing. Raises PackageError, with nothing written, when it may not be said or not be written.
    """
    name, said = typed_name("the reviewer", who), typed_text(text)
    steps = {i["id"] for i in record["items"]}
    _sayable(record, steps, name, act, item, said)
    if reviewable(of.folder).digest != of.digest:
        raise PackageError(f"{of.folder}: another package took its place since it was opened; run the notebook again "
                           "from the top")
    folder = place(of.folder, of.name)
    when = (at or datetime.datetime.now(datetime.UTC)).strftime("%Y-%m-%dT%H:%M:%SZ")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with _alone(folder):
            review = read_review(folder, of.name, of.digest, steps)
            if review.entries and read_file(folder / LAST) != told_of(review):
                _put(folder, LAST, told_of(review))
            if _stands(review, name, act, item):
                return review
            number = _query(review, act, item, query, said)
            e = Entry(len(review.entries) + 1, when, name, item, act, said, number)
            raw = _with(review.raw or _head(of), e)
            after = parse(raw, folder / DATA, of.name, of.digest, steps)
            _put(folder, DATA, raw)
            with contextlib.suppress(OSError):  # the line stands; the next one begins by putting this right
                _put(folder, LAST, told_of(after))
    except OSError as e:
        raise PackageError(f"{folder / DATA}: cannot be written ({e.strerror or e}); this was not saved, what was said "
                           "before is as it was") from None
    return after


def _sayable(record: Mapping[str, Any], steps: Collection[str], who: str, act: str, item: str, text: str) -> None:
    if act not in ACTS:
        raise PackageError(f"found '{act}'; a step may be: {', '.join(ACTS)}")
    if item != WHOLE and item not in steps:
        raise PackageError(f"the package has no step '{item}'")
    if item == WHOLE and act in (CHECKED, BACK):
        raise PackageError("steps are ticked one by one; the package as a whole has comments and queries only")
    if act in (COMMENT, QUERY, ANSWER) and not text:
        raise PackageError(f"the {act} is empty; write what is to be said")
    prepared = str(record["case"]["prepared_by"] or "")
    if act in (CHECKED, CLOSED) and prepared and same_person(prepared) == same_person(who):
        raise PackageError(f"'{who}' prepared the case (case.prepared_by): nobody checks work of their own or closes a "
                           "query about it. To answer and to comment is open to all")


def _stands(review: Review, who: str, act: str, item: str) -> bool:
    """Whether a tick is there already, or is not there to be taken back."""
    mine = any(same_person(e.who) == same_person(who) for e in review.ticks().get(item, ()))
    return (act == CHECKED and mine) or (act == BACK and not mine)


def _query(review: Review, act: str, item: str, number: int, text: str) -> int:
    """The number that the line carries. Raises PackageError for a query that is not there, or is closed."""
    known = {q.number: q for q in review.queries()}
    if act == QUERY:
        return len(known) + 1
    if act not in (ANSWER, CLOSED):
        return 0
    if number not in known or known[number].item != item:
        raise PackageError(f"there is no query Q{number} about {item or 'the package as a whole'}")
    found = known[number]
    if found.closed is not None:
        raise PackageError(f"Q{number} was closed by {found.closed.who}; raise another query if something is left")
    if act == CLOSED and not text and not found.answers:
        raise PackageError(f"Q{number} has no answer; write how it was settled, then close it")
    return number


def _head(of: Issued) -> bytes:
    return line_of({"kind": KIND, "schema": SCHEMA, "package": of.name, "package_manifest_sha256": of.digest,
                  "record_sha256": of.manifest["record_sha256"], "notice": IDENTITIES})


def _with(raw: bytes, e: Entry) -> bytes:
    last = raw[:-1].rpartition(b"\n")[2]
    return raw + line_of({**vars(e), "previous": digests.sha256(last)})


def _put(folder: Path, name: str, raw: bytes) -> None:
    """Write aside, make sure that it is on the disk, give it its name."""
    aside = folder / f".{name}-{os.getpid()}-{secrets.token_hex(4)}"
    try:
        with open(aside, "xb") as f:
            f.write(raw)
            f.flush()
            os.fsync(f.fileno())
        os.replace(aside, folder / name)
    finally:
        aside.unlink(missing_ok=True)


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """One session writes at a time; the system lets go of the lock when a process dies."""
    with open(folder / ".lock", "ab") as f:
        end = time.monotonic() + PATIENCE
        while not _locked(f.fileno()):
            if time.monotonic() > end:
                raise PackageError(f"{folder}: another session has been writing there for {PATIENCE:g} s; this was not "
                                   "saved. Try again, or end the other session")
            time.sleep(0.02)
        yield


if os.name == "nt":
    import msvcrt

    def _locked(fd: int) -> bool:
        try:
            msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        except OSError:
            return False
        return True
else:
    import fcntl

    def _locked(fd: int) -> bool:
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True
