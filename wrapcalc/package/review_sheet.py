"""The review sheet: what stands in the review of a package, as data, HTML and PDF; built aside, renamed when whole.

`review/NAME-rN/sheet-K/` is never changed. A sheet cites the package and as much of the comments as there was; one who
goes on reviewing writes another sheet.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

from wrapcalc.errors import PackageError
from wrapcalc.package import build, digests, review_steps
from wrapcalc.package.issued import Issued
from wrapcalc.package.report import IDENTITIES, STAGES, unverified
from wrapcalc.package.review import reviewable
from wrapcalc.package.review_before import Before, before
from wrapcalc.package.review_lines import (
    ANSWER,
    CHECKED,
    CLOSED,
    COMMENT,
    QUERY,
    WHOLE,
    Entry,
    Query,
    Review,
    place,
    read_review,
)
from wrapcalc.people import person_key

KIND, DATA = "review sheet", "review.json"
STANDING = f"REVIEW SHEET: {IDENTITIES}; this is not an approval"
_SHEET = re.compile(r"sheet-([1-9][0-9]{0,6})")
_ATTEMPTS = 10


@dataclass(frozen=True)
class Result:
    """state: "written", or "unchanged" where the last sheet says all there is."""

    state: str
    folder: Path
    data: dict[str, Any]


@dataclass(frozen=True)
class Sheet:
    """The last sheet of a review. current: whether it has every line; digest: SHA-256 of its manifest."""

    folder: Path
    number: int
    digest: str
    current: bool


def steps_of(record: Mapping[str, Any]) -> set[str]:
    """Ids of all that a reviewer may look at: steps, procedures and checks."""
    return {i["id"] for i in record["items"]}


def review_of(package: Path, name: str, digest: str, record: Mapping[str, Any]) -> tuple[Review, Sheet | None]:
    """The review of a package and its last sheet. name, digest: of the package, SHA-256 of its manifest. Raises
    PackageError when one of them is damaged, or about another package."""
    review = read_review(place(package, name), name, digest, steps_of(record))
    return review, last_sheet(review)


def last_sheet(review: Review) -> Sheet | None:
    """The last sheet, when every sheet is whole and the comments begin with what it cites. Raises PackageError."""
    found = sorted((int(m[1]), p) for p in (review.folder.iterdir() if review.folder.is_dir() else ())
                   if (m := _SHEET.fullmatch(p.name)) and p.is_dir())
    out = None
    for number, folder in found:
        manifest = digests.read_manifest(folder)
        problems = digests.integrity(folder)
        if problems or manifest.get("kind") != KIND or not isinstance(manifest.get("entries"), int):
            raise PackageError(f"{folder}: this review sheet was changed after it was written "
                               f"({problems[0] if problems else 'its manifest'}); put it back, or move it away")
        if manifest.get("package_manifest_sha256") != review.package_digest:
            raise PackageError(f"{folder}: this review sheet is about another package; move it away")
        lines = review.raw.split(b"\n")[:-1][: manifest["entries"] + 1]
        cited = digests.sha256(b"".join(line + b"\n" for line in lines))
        if cited != manifest.get("comments_sha256"):
            raise PackageError(f"{review.folder}: the comments are not those that {folder.name} cites: lines were "
                               "taken out or changed; the review was damaged. Put back a whole copy")
        out = Sheet(folder, number, digests.sha256((folder / digests.MANIFEST).read_bytes()),
                    manifest["entries"] == len(review.entries))
    return out


def write_sheet(package: Path) -> Result:
    """Write the review sheet of a package from what stands in its review; the package is verified first.

    Raises PackageError when the package does not verify, when nothing was said of it yet, or when nothing can be
    written.
    """
    from wrapcalc.package.explain import read_record
    from wrapcalc.package.verify import verify
    of = reviewable(package)
    found = verify(package)
    if not found.ok:
        raise PackageError(f"{package}: this package does not verify ({(found.problems + found.differences)[0]}); no "
                           "review sheet is written of it")
    record = read_record(package)
    for _ in range(_ATTEMPTS):
        review, last = review_of(of.folder, of.name, of.digest, record)
        if not review.entries:
            raise PackageError(f"{of.name}: nothing was said of it yet; a review sheet says who looked at what")
        earlier = before(of.folder, of.manifest, record)
        number = last.number + 1 if last else 1
        data = sheet_data(of, record, review, earlier, number, found.steps, found.notes)
        if last is not None and last.current:
            stored = json.loads((last.folder / DATA).read_bytes())
            if stored == data | {"number": last.number}:
                return Result("unchanged", last.folder, stored)
        folder = _write(review.folder, of, data)
        if folder is not None:
            return Result("written", folder, data)
    raise PackageError(f"{place(of.folder, of.name)}: other sessions write sheets all the time; wait, then try again")


# -- the data ----------------------------------------------------------------------------------------------------
def sheet_data(of: Issued, record: Mapping[str, Any], review: Review, earlier: Before, number: int, steps: int,
               notes: Iterable[str]) -> dict[str, Any]:
    """All that the sheet says; the same review of the same package gives the same data. steps, notes: what a new run
    of the package found."""
    case = record["case"]
    titles = {i["id"]: i["title"] for i in record["items"]} | {WHOLE: "the package as a whole"}
    looked, ticks = review.looked_at(but=preparer(record)), review.ticks()
    memory = review_steps.from_memory(record)
    return {
        "schema": 1, "kind": KIND, "package": of.name, "case": case["id"], "revision": of.revision, "number": number,
        "package_manifest_sha256": of.digest, "record_sha256": of.manifest["record_sha256"],
        "comments_sha256": review.digest, "entries": len(review.entries), "notice": IDENTITIES,
        "about": {k: case[k] for k in ("title", "line", "joint", "prepared_by", "display", "paper")},
        "decision": {k: record["decision"][k] for k in ("word", "sentence")},
        "verified": {"steps": steps, "notes": list(notes)},
        "counts": counts(record, review, but=preparer(record)),
        "people": _people(review, preparer(record)),
        "topics": topics(record, review),
        "queries": [_query(q, titles) for q in review.queries()],
        "comments": [_entry(e, titles) for e in review.comments()],
        "changed": _changed(record, earlier, looked, titles),
        "left_open": {"revision": earlier.said_on, "queries": [
            {"number": q.number, "item": q.item, "who": q.asked.who, "text": q.asked.text} for q in earlier.open]},
        "memory": {"unverified": unverified(record), "steps": len(memory), "looked_at": len(memory & looked),
                   "left": _in_order(record, memory - looked)},
        "governing_left": _in_order(record, review_steps.governing(record) - looked),
        "not_looked_at": _left(record, looked), "not_checked": _in_order(record, looked - ticks.keys()),
        "problems": list(earlier.problems),
    }


def counts(record: Mapping[str, Any], review: Review, *, but: Collection[str] = ()) -> dict[str, int]:
    """Of all steps, procedures and checks: looked at, ticked; queries, how many open; comments. but: names of whom
    nothing counts, as of who prepared the case."""
    return {"of": len(record["items"]), "looked_at": len(review.looked_at(but=but)),
            "checked": len(review.ticks(but=but)), "queries": len(review.queries()),
            "open": len(review.open(but=but)), "comments": len(review.comments())}


def preparer(record: Mapping[str, Any]) -> list[str]:
    """Who prepared the case, as far as it says so: a look of theirs is no look of a reviewer."""
    return [name] if (name := str(record["case"]["prepared_by"] or "")) else []


def topics(record: Mapping[str, Any], review: Review) -> list[dict[str, Any]]:
    """One row to a heading of the job: how many steps, ticked, looked at, queries open, checks met."""
    looked, ticks, open_ = review.looked_at(but=preparer(record)), review.ticks(), review.open()
    out = []
    for (stage, topic), group in groupby(record["items"], key=lambda i: (i["stage"], i["topic"])):
        inside = list(group)
        ids = {i["id"] for i in inside}
        checks = [i for i in inside if i["type"] == "check"]
        row = next((r for r in out if (r["stage"], r["topic"]) == (stage, topic)), None)
        if row is None:
            row = {"stage": stage, "part": STAGES.get(stage, stage), "topic": topic} | dict.fromkeys(
                ("of", "looked_at", "checked", "open", "checks", "met"), 0)
            out.append(row)
        row["of"] += len(ids)
        row["looked_at"] += len(ids & looked)
        row["checked"] += len(ids & ticks.keys())
        row["open"] += sum(q.item in ids for q in open_)
        row["checks"] += len(checks)
        row["met"] += sum(c["verdict"] == "met" for c in checks)
    return out


def _people(review: Review, prepared: Collection[str]) -> list[dict[str, Any]]:
    ticks = [t for found in review.ticks().values() for t in found]
    out = []
    for name in review.people():
        mine = [e for e in review.entries if person_key(e.who) == person_key(name)]
        acts = {word: sum(e.act == word for e in mine) for word in (COMMENT, QUERY, ANSWER, CLOSED)}
        out.append({"name": name, CHECKED: sum(person_key(t.who) == person_key(name) for t in ticks)} | acts | {
            "first": mine[0].at, "last": mine[-1].at,
            "prepared": person_key(name) in map(person_key, prepared)})
    return out


def _entry(e: Entry, titles: Mapping[str, str]) -> dict[str, Any]:
    return {"item": e.item, "title": titles[e.item], "who": e.who, "at": e.at, "text": e.text}


def _query(q: Query, titles: Mapping[str, str]) -> dict[str, Any]:
    return {"number": q.number, "open": q.closed is None} | _entry(q.asked, titles) | {
        "answers": [_entry(a, titles) for a in q.answers], "closed": _entry(q.closed, titles) if q.closed else None}


def _changed(record: Mapping[str, Any], earlier: Before, looked: Collection[str], titles: Mapping[str, str]
             ) -> dict[str, Any] | None:
    if not earlier.revision:
        return None
    put_in, came_out = review_steps.parted(earlier.rows)
    steps = earlier.changed.steps if earlier.changed else {}
    return {"since": earlier.revision, "inputs": put_in, "results": came_out, "told": earlier.changed is not None,
            "steps": [{"item": i, "title": titles[i], "differs": list(steps[i]), "looked_at": i in looked}
                      for i in _in_order(record, steps)],
            "gone": [list(g) for g in (earlier.changed.gone if earlier.changed else ())]}


def _left(record: Mapping[str, Any], looked: Collection[str]) -> list[dict[str, Any]]:
    out: dict[str, list[str]] = {}
    for i in record["items"]:
        if i["id"] not in looked:
            out.setdefault(i["topic"], []).append(i["id"])
    return [{"topic": t, "items": ids} for t, ids in out.items()]


def _in_order(record: Mapping[str, Any], ids: Collection[str]) -> list[str]:
    return [i["id"] for i in record["items"] if i["id"] in ids]


def sentence(count: Mapping[str, int]) -> str:
    """How far a review went, in one sentence."""
    queries = f"queries: {count['queries']} raised, {count['open']} open" if count["queries"] else "no query was raised"
    return (f"{count['looked_at']} of {count['of']} steps and checks looked at, {count['checked']} ticked as checked; "
            f"{queries}")


# -- on disk -----------------------------------------------------------------------------------------------------
def _write(folder: Path, of: Issued, data: dict[str, Any]) -> Path | None:
    """Build the sheet aside and give it its name; None when another session has taken the name."""
    from wrapcalc.package.pdf import html_to_pdf
    target = folder / f"sheet-{data['number']}"
    aside = folder / f".building-{os.getpid()}-{build.host_name()}-{secrets.token_hex(4)}"
    try:
        build.in_hand.add(aside)
        try:
            aside.mkdir(0o700)
            html = sheet_html(data)
            (aside / "review.html").write_text(html, encoding="utf-8", newline="\n")
            html_to_pdf(html, aside / "review.pdf", paper=data["about"]["paper"])
            build.write_json(aside / DATA, data)
            digests.write_manifest(aside, {
                "kind": KIND, "package": of.name, "case": data["case"], "revision": of.revision,
                "number": data["number"], "package_manifest_sha256": of.digest,
                "record_sha256": data["record_sha256"], "comments_sha256": data["comments_sha256"],
                "entries": data["entries"]})
            os.chmod(aside, 0o755)
            return target if build.put_in_place(aside, target) else None
        finally:
            shutil.rmtree(aside, ignore_errors=True)
            build.in_hand.discard(aside)
    except OSError as e:
        raise PackageError(f"{target}: cannot be written ({e.strerror or e}); nothing half-written was left") from None


def sheet_html(data: dict[str, Any]) -> str:
    """The page of a review from its data alone; the same data give the same text."""
    from wrapcalc.package.glyphs import share_glyphs
    from wrapcalc.package.report import environment
    return share_glyphs(environment().get_template("review.html").render(
        c=data, standing=STANDING, sentence=sentence(data["counts"]), when=when, called=called))


def when(at: str) -> str:
    """A time as it is printed."""
    return at.replace("T", " ").removesuffix("Z") + " UTC" if at else "–"


def called(item: str) -> str:
    """A step as it is called in running text."""
    return item or "whole package"
