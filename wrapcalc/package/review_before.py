"""What a reviewer of a later revision looks at first: what changed since the one before, and what was said of it then.

Nothing that was said is carried on: a tick on r1 is no tick on r2.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from wrapcalc.errors import PackageError
from wrapcalc.package import digests
from wrapcalc.package.explain import read_record
from wrapcalc.package.review_lines import DATA, LAST, WHOLE, Entry, Query, Review, earlier, place, read_review
from wrapcalc.package.review_steps import Changed, changed_steps


@dataclass(frozen=True)
class Said:
    """One line of an earlier review. item: the step as it was called then; closed: whether its query was closed."""

    revision: int
    item: str
    entry: Entry
    closed: bool = False


@dataclass(frozen=True)
class Before:
    """revision: the one before, 0 where this is the first; rows: of its changes.json; changed: None where it cannot be
    told; said: step now -> what was said of it then; open: queries of that review that nobody closed; said_on: its
    revision, 0 where there was none; problems: what could not be read, in words."""

    revision: int = 0
    rows: tuple[Mapping[str, str], ...] = ()
    changed: Changed | None = None
    said: Mapping[str, tuple[Said, ...]] = field(default_factory=dict)
    open: tuple[Query, ...] = ()
    said_on: int = 0
    problems: tuple[str, ...] = ()


def before(package: Path, manifest: Mapping[str, Any], record: Mapping[str, Any]) -> Before:
    """What came before this package, as far as it stands beside it. Never raises: what cannot be read is a problem."""
    previous = manifest.get("previous")
    revision = previous.get("revision", 0) if isinstance(previous, dict) else 0
    problems: list[str] = []
    rows: tuple[Mapping[str, str], ...] = ()
    changed = None
    if revision:
        try:
            rows = tuple(json.loads((package / "changes.json").read_bytes())["changes"])
            then = _record_of(package.resolve().parent / f"{manifest['case']}-r{revision}", previous["manifest_sha256"])
            changed = changed_steps(then, record)
        except PackageError as e:
            problems.append(f"{e}. Which steps changed cannot be told")
        except (OSError, ValueError, KeyError, TypeError):
            problems.append(f"changes.json or the record of revision {revision} cannot be read. Which steps changed "
                            "cannot be told")
    said_on, said, open_ = 0, {}, []
    try:
        said_on, said, open_ = _said(package, manifest, record)
    except PackageError as e:
        problems.append(f"what was said on an earlier revision cannot be shown: {e}")
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        problems.append("what was said on an earlier revision cannot be shown: its package cannot be read")
    return Before(revision, rows, changed, said, tuple(open_), said_on, tuple(problems))


def _record_of(folder: Path, manifest_digest: str) -> dict[str, Any]:
    """The record of the revision before. Raises PackageError when it is not there, or not as it was."""
    if not folder.is_dir():
        raise PackageError(f"{folder.name} does not stand beside this package")
    if digests.sha256((folder / digests.MANIFEST).read_bytes()) != manifest_digest:
        raise PackageError(f"{folder.name} is not the one that this revision followed: its manifest was changed")
    return _whole_record(folder)


def _whole_record(folder: Path) -> dict[str, Any]:
    record = read_record(folder)
    if digests.sha256((folder / "record.json").read_bytes()) != digests.read_manifest(folder).get("record_sha256"):
        raise PackageError(f"{folder.name}: its record was changed after it was written")
    return record


def _said(package: Path, manifest: Mapping[str, Any], record: Mapping[str, Any]
          ) -> tuple[int, dict[str, tuple[Said, ...]], list[Query]]:
    """The latest earlier revision that was reviewed: its number, what was said by the step now, its open queries."""
    for revision, folder in earlier(package, manifest["case"], manifest["revision"]):
        if not any(os.path.lexists(place(folder, folder.name) / name) for name in (DATA, LAST)):
            continue
        then = _whole_record(folder)
        digest = digests.sha256((folder / digests.MANIFEST).read_bytes())
        review = read_review(place(folder, folder.name), folder.name, digest, {i["id"] for i in then["items"]})
        now = {was: is_ for is_, was in changed_steps(then, record).was.items()}
        return revision, _by_step(review, revision, now), review.open()
    return 0, {}, []


def _by_step(review: Review, revision: int, now: Mapping[str, str]) -> dict[str, tuple[Said, ...]]:
    """Under the step as it is called now; of a step that is no more, under the package as a whole."""
    closed = {q.number for q in review.queries() if q.closed}
    ticks = {t.n for found in review.ticks().values() for t in found}
    out: dict[str, list[Said]] = {}
    for e in review.entries:
        if e.act in ("checked", "tick taken back") and e.n not in ticks:
            continue
        out.setdefault(now.get(e.item, WHOLE), []).append(Said(revision, e.item, e, e.query in closed))
    return {item: tuple(lines) for item, lines in out.items()}
