"""What is said of a package: added to and never changed, and about this package only."""

import json
import multiprocessing
import os
import re

import pytest

from tests.helpers.review import AUTHOR, CHECKER, OTHER, approved, lines, opened, speak
from wrapcalc.errors import PackageError
from wrapcalc.package import digests, review_lines
from wrapcalc.package import review as rv
from wrapcalc.package.explain import read_record
from wrapcalc.package.report import IDENTITIES
from wrapcalc.package.review import reviewable, say
from wrapcalc.package.review_lines import ANSWER, BACK, CHECKED, CLOSED, COMMENT, QUERY, WHOLE, read_review
from wrapcalc.package.review_sheet import review_of


# -- what is said ------------------------------------------------------------------------------------------------
def test_what_is_said_stands_in_the_file_at_once_and_cites_the_package(first):
    package = first / "HB-02-r1"
    untouched = {p.name: p.read_bytes() for p in package.iterdir()}
    review = speak(package, (CHECKER, CHECKED, "A1"), (CHECKER, COMMENT, "A2", "Pit gauge, three readings."))
    head, *rest = [json.loads(x) for x in lines(first).splitlines()]
    cited = digests.sha256((package / "manifest.json").read_bytes())
    assert (head["kind"], head["package"], head["package_manifest_sha256"]) == ("review", "HB-02-r1", cited)
    assert head["notice"] == IDENTITIES
    assert [(x["n"], x["at"], x["who"], x["item"], x["act"], x["text"]) for x in rest] == [
        (1, "2026-11-02T09:30:15Z", CHECKER, "A1", "checked", ""),
        (2, "2026-11-02T09:30:15Z", CHECKER, "A2", "comment", "Pit gauge, three readings.")]
    assert review == review_of(package, "HB-02-r1", cited, read_record(package))[0]
    assert {p.name: p.read_bytes() for p in package.iterdir()} == untouched  # the package itself is never changed
    assert sorted(p.name for p in (first / "review" / "HB-02-r1").iterdir()) == [".lock", "comments.jsonl", "last.json"]


def test_lines_are_only_ever_added(first):
    speak(first / "HB-02-r1", (CHECKER, CHECKED, "A1"))
    before_ = lines(first)
    speak(first / "HB-02-r1", (CHECKER, BACK, "A1"), (CHECKER, COMMENT, WHOLE, "Looked at the drawing, too."))
    assert lines(first).startswith(before_) and len(lines(first)) > len(before_)


def test_ticks_stand_per_person_and_can_be_taken_back(first):
    review = speak(first / "HB-02-r1", (CHECKER, CHECKED, "A1"), (OTHER, CHECKED, "A1"), ("c.checker", BACK, "A1"),
                   (CHECKER, CHECKED, "A2"))
    assert {i: [t.who for t in by] for i, by in review.ticks().items()} == {"A1": [OTHER], "A2": [CHECKER]}
    assert review.ticks(but=[OTHER]).keys() == {"A2"} and review.looked_at() == {"A1", "A2"}
    assert review.people() == [CHECKER, OTHER]


def test_saying_again_what_stands_adds_nothing(first):
    speak(first / "HB-02-r1", (CHECKER, CHECKED, "A1"))
    before_ = lines(first)
    speak(first / "HB-02-r1", ("C.Checker", CHECKED, "A1"), (OTHER, BACK, "A1"))
    assert lines(first) == before_


def test_a_query_is_answered_and_closed(first):
    review = speak(first / "HB-02-r1", (CHECKER, QUERY, "A1", "Which gauge?"), (CHECKER, QUERY, "A2", "Which sheet?"),
                   (AUTHOR, ANSWER, "A1", "PG-3, calibrated in May.", 1), (OTHER, CLOSED, "A1", "", 1))
    one, two = review.queries()
    assert (one.number, one.item, one.asked.text, [a.text for a in one.answers]) == (
        1, "A1", "Which gauge?", ["PG-3, calibrated in May."])
    assert one.closed.who == OTHER and two.closed is None
    assert [q.number for q in review.open()] == [2]
    assert [q.number for q in review.open(but=[OTHER])] == [1, 2]  # what they closed does not count


@pytest.mark.parametrize(("said", "message"), [
    (("", CHECKED, "A1"), "the reviewer: found nothing; allowed: a name of at least two letters"),
    (("C. Ch\u0435cker", CHECKED, "A1"), "in letters of Cyrillic and Latin"),
    (("Q" * 61, CHECKED, "A1"), "61 letters; a name may have 60"),
    ((CHECKER, "approved", "A1"), "found 'approved'; a step may be: checked, tick taken back, comment, query, answer"),
    ((CHECKER, CHECKED, "A999"), "the package has no step 'A999'"),
    ((CHECKER, CHECKED, WHOLE), "steps are ticked one by one; the package as a whole has comments and queries only"),
    ((CHECKER, COMMENT, "A1", " \n "), "the comment is empty; write what is to be said"),
    ((CHECKER, QUERY, "A1", ""), "the query is empty"),
    ((CHECKER, COMMENT, "A1", "x" * 4001), "the text has 4001 letters; allowed: 4000. Say it in two parts"),
    ((CHECKER, COMMENT, "A1", "bell \x07"), r"the text: the page cannot print U\+0007"),
    ((CHECKER, COMMENT, "A1", "検査"), r"the text: the page cannot print U\+67FB, U\+691C"),
    ((AUTHOR, CHECKED, "A1"), "'E. Example' prepared the case .case.prepared_by.: nobody checks work of their own"),
    (("example, e", CLOSED, "A1", "mine", 1), "prepared the case"),
    ((CHECKER, ANSWER, "A1", "yes", 7), "there is no query Q7 about A1"),
    ((CHECKER, ANSWER, "A2", "yes", 1), "there is no query Q1 about A2"),
    ((CHECKER, CLOSED, "A1", "", 1), "Q1 has no answer; write how it was settled, then close it")])
def test_what_may_not_be_said_is_told_and_nothing_is_written(first, said, message):
    speak(first / "HB-02-r1", (CHECKER, QUERY, "A1", "Which gauge?"))
    before_ = lines(first)
    with pytest.raises(PackageError, match=message):
        speak(first / "HB-02-r1", said)
    assert lines(first) == before_


def test_a_closed_query_stays_closed(first):
    speak(first / "HB-02-r1", (CHECKER, QUERY, "A1", "Which gauge?"), (CHECKER, CLOSED, "A1", "found it", 1))
    for act in (ANSWER, CLOSED):
        with pytest.raises(PackageError, match=r"Q1 was closed by C\. Checker; raise another query if something is"):
            speak(first / "HB-02-r1", (OTHER, act, "A1", "but", 1))


# -- reading -----------------------------------------------------------------------------------------------------
def _spoil(first, change):
    path = first / "review" / "HB-02-r1" / "comments.jsonl"
    path.write_bytes(change(path.read_bytes()))


def _second(raw, change):
    rows = raw.split(b"\n")
    rows[2] = change(rows[2])
    return b"\n".join(rows)


def _resealed(raw, **change):
    """The second said line with other contents, written as the tool writes."""
    return _second(raw, lambda x: json.dumps(json.loads(x) | change, ensure_ascii=False).encode())


DAMAGE = [
    (lambda raw: raw[:-9], "line 4: the line is not whole"),
    (lambda raw: raw.replace(b"three readings", b"four readings"), "line 4: the line before it was changed, taken out"),
    (lambda raw: b"\n".join(x for i, x in enumerate(raw.split(b"\n")) if i != 1), "line 2: the line before it was ch"),
    (lambda raw: _second(raw, lambda x: b"{"), "line 3: it cannot be read"),
    (lambda raw: _second(raw, lambda x: b"[1]"), "line 3: it is no line of a review"),
    (lambda raw: _resealed(raw, n="two"), "line 3: it is no line of a review"),
    (lambda raw: _resealed(raw, more=1), "line 3: it is no line of a review"),
    (lambda raw: _resealed(raw, at="yesterday"), "line 3: its time or its name cannot be"),
    (lambda raw: _resealed(raw, who="?"), "line 3: its time or its name cannot be"),
    (lambda raw: _resealed(raw, item="A999"), "line 3: it is about a step that the package does not have"),
    (lambda raw: _resealed(raw, act="approved"), "line 3: it is about a step .* or says something unknown"),
    (lambda raw: _resealed(raw, act="query", query=5), "line 3: its query has another number than it should"),
    (lambda raw: _resealed(raw, act="closed", query=5), "line 3: it is about a query that was never raised"),
    (lambda raw: _resealed(raw, query=1), "line 3: only a query has a number"),
    (lambda raw: raw.replace(b'"kind": "review"', b'"kind": "letter"'), "line 1: it does not say that this is a rev"),
    (lambda raw: raw.replace(b'"schema": 1', b'"schema": 9'), r"written by a newer wrapcalc \(schema 9, this version"),
    (lambda raw: raw.replace(b'"package": "HB-02-r1"', b'"package": "HB-02-r7"'), "this review is about another pac"),
    (lambda raw: re.sub(rb'("package_manifest_sha256": ")....', rb"\g<1>0000", raw), "this review is about another pa"),
    (lambda raw: b"", "line 1: the line is not whole|line 1: it cannot be read"),
]


@pytest.mark.parametrize(("change", "message"), DAMAGE)
def test_a_review_that_was_changed_is_refused_to_read_add_to_and_approve(first, change, message):
    package = first / "HB-02-r1"
    of, record = opened(package)
    speak(package, (CHECKER, CHECKED, "A1"), (CHECKER, COMMENT, "A2", "three readings"), (CHECKER, CHECKED, "A3"))
    _spoil(first, change)
    spoilt = lines(first)
    with pytest.raises(PackageError, match=message):
        review_of(package, of.name, of.digest, record)
    with pytest.raises(PackageError, match=message):
        speak(package, (CHECKER, CHECKED, "A4"))
    with pytest.raises(PackageError, match=message):
        approved(package)
    assert lines(first) == spoilt and not (first / "approval").exists()


def _last(first):
    return first / "review" / "HB-02-r1" / "last.json"


def _told_nothing_and_refused(first, message):
    """Neither read, nor added to, nor approved over; and no file touched."""
    package, path = first / "HB-02-r1", first / "review" / "HB-02-r1"
    of, record = opened(package)
    before_ = {p.name: p.read_bytes() for p in path.iterdir() if p.is_file()} if path.is_dir() else {}
    for act in (lambda: review_of(package, of.name, of.digest, record), lambda: approved(package),
                lambda: speak(package, (CHECKER, COMMENT, "A4", "more"))):
        with pytest.raises(PackageError, match=message):
            act()
    after = {p.name: p.read_bytes() for p in path.iterdir() if p.is_file()} if path.is_dir() else {}
    assert before_ == {k: v for k, v in after.items() if k in before_} and not (first / "approval").exists()


def _asked(first):
    speak(first / "HB-02-r1", (CHECKER, CHECKED, "A1"), (CHECKER, CHECKED, "A2"), (CHECKER, QUERY, "A3", "Which?"))


@pytest.mark.parametrize("change", [
    lambda raw: b"".join(raw.splitlines(True)[:-1]), lambda raw: b"".join(raw.splitlines(True)[:-2]),
    lambda raw: b"".join(raw.splitlines(True)[:1]), lambda raw: raw.replace(b"Which?", b"Never mind."),
    lambda raw: raw.replace(b'"query", "text": "Which?", "query": 1', b'"comment", "text": "Which?", "query": 0')])
def test_an_open_query_cannot_be_cut_or_edited_away_at_the_end(first, change):
    _asked(first)
    whole = lines(first)
    _spoil(first, change)
    assert lines(first) != whole
    _told_nothing_and_refused(first, r"the last lines are not those that last\.json tells of")


def test_a_review_that_was_taken_away_whole_but_for_its_count_is_not_no_review(first):
    _asked(first)
    (first / "review" / "HB-02-r1" / "comments.jsonl").unlink()
    _told_nothing_and_refused(first, r"comments\.jsonl: missing, though last\.json beside it tells of lines")


@pytest.mark.parametrize("told", [b"{", b"[]", b'{"entries": true, "last_sha256": ""}', b'{"entries": 3}',
                                  b'{"entries": 0, "last_sha256": ""}', b'{"entries": 3, "entries": 3}', b""])
def test_a_count_that_cannot_be_read_is_damage(first, told):
    _asked(first)
    _last(first).write_bytes(told)
    _told_nothing_and_refused(first, r"last\.json, line 1: it .*the review was damaged")


def test_a_missing_count_is_damage(first):
    _asked(first)
    _last(first).unlink()
    _told_nothing_and_refused(first, r"from here on there are lines that last\.json beside it does not tell of")


@pytest.mark.parametrize("had", [0, 2])
def test_a_run_that_ended_between_the_two_files_is_taken_up_and_put_right(first, monkeypatch, had):
    package, put = first / "HB-02-r1", rv._put
    if had:
        speak(package, *[(CHECKER, CHECKED, f"A{k + 1}") for k in range(had)])

    def ends(folder, name, raw):
        if name == rv.LAST:
            raise KeyboardInterrupt
        put(folder, name, raw)
    monkeypatch.setattr(rv, "_put", ends)
    with pytest.raises(KeyboardInterrupt):
        speak(package, (CHECKER, QUERY, "A3", "Which?"))
    monkeypatch.setattr(rv, "_put", put)
    of, record = opened(package)
    assert [q.number for q in review_of(package, of.name, of.digest, record)[0].open()] == [1]
    assert not _last(first).exists() if had == 0 else json.loads(_last(first).read_bytes())["entries"] == had
    speak(package, (CHECKER, COMMENT, "A1", "on"))
    told = json.loads(_last(first).read_bytes())
    assert told == {"entries": had + 2, "last_sha256": digests.sha256(lines(first).splitlines()[-1])}


def test_a_count_that_cannot_be_written_leaves_the_line_standing(first, monkeypatch):
    package, put = first / "HB-02-r1", rv._put

    def full(folder, name, raw):
        if name == rv.LAST:
            raise OSError(28, "No space left on device")
        put(folder, name, raw)
    monkeypatch.setattr(rv, "_put", full)
    assert speak(package, (CHECKER, CHECKED, "A1")).ticks().keys() == {"A1"}
    before_ = lines(first)
    with pytest.raises(PackageError, match=r"cannot be written .No space left on device.; this was not saved"):
        speak(package, (CHECKER, CHECKED, "A2"))
    assert lines(first) == before_


def test_a_key_that_stands_twice_is_damage(first):
    _asked(first)
    _spoil(first, lambda raw: _second(raw, lambda x: x[:-1] + b', "who": "E. Example"}'))
    _told_nothing_and_refused(first, "line 3: it cannot be read, or says a thing twice")


@pytest.mark.parametrize("name", ["comments.jsonl", "last.json", "", ".."])
def test_a_link_that_leads_nowhere_is_not_no_review(first, name):
    folder = first / "review" / "HB-02-r1"
    path = folder if not name else folder.parent if name == ".." else folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.symlink_to(first / "nowhere")
    of, record = opened(first / "HB-02-r1")
    for act in (lambda: review_of(first / "HB-02-r1", of.name, of.digest, record), lambda: approved(first / "HB-02-r1"),
                lambda: speak(first / "HB-02-r1", (CHECKER, CHECKED, "A1"))):
        with pytest.raises(PackageError, match=r"this is a link, and what it leads to is not there|cannot be written"):
            act()
    assert path.is_symlink() and not (first / "approval").exists()


def test_a_file_in_place_of_the_folder_is_not_no_review(first):
    (first / "review").write_text("x", "utf-8")
    with pytest.raises(PackageError, match="found a file; allowed: a folder, with the reviews of packages in it"):
        approved(first / "HB-02-r1")


def test_a_file_far_too_large_is_not_read(first, monkeypatch):
    speak(first / "HB-02-r1", (CHECKER, CHECKED, "A1"))
    monkeypatch.setattr(review_lines, "MOST_BYTES", 100)
    with pytest.raises(PackageError, match=r"larger than 0\.0001 MB; this is no review that wrapcalc wrote"):
        read_review(first / "review" / "HB-02-r1", "HB-02-r1", "", ())


# -- may it be reviewed? -----------------------------------------------------------------------------------------
def test_a_package_that_was_changed_is_not_reviewed(first):
    package = first / "HB-02-r1"
    of, record = opened(package)
    (package / "README.txt").write_text("mine", "utf-8")
    with pytest.raises(PackageError, match=r"was changed after it was written \(README\.txt: changed"):
        say(of, record, CHECKER, CHECKED, "A1")
    assert not (first / "review").exists()


def test_another_package_in_its_place_takes_nothing(first):
    package = first / "HB-02-r1"
    of, record = opened(package)
    old = digests.read_manifest(package)
    for name in (digests.MANIFEST, digests.SEAL):
        (package / name).unlink()
    facts = {k: v for k, v in old.items() if k not in ("schema", "versions", "files")}
    digests.write_manifest(package, facts | {"more": 1})
    with pytest.raises(PackageError, match="another package took its place since it was opened; run the notebook ag"):
        say(of, record, CHECKER, CHECKED, "A1")


def test_a_superseded_revision_is_not_reviewed(later):
    with pytest.raises(PackageError, match="revision 1 is superseded by revision 2; review HB-02-r2"):
        reviewable(later / "HB-02-r1")


def test_what_is_approved_is_not_reviewed_any_more(first):
    of, record = opened(first / "HB-02-r1")
    approved(first / "HB-02-r1")
    with pytest.raises(PackageError, match=r"HB-02-r1 is approved .* its review is closed"):
        say(of, record, CHECKER, CHECKED, "A1")


# -- on disk -----------------------------------------------------------------------------------------------------
def test_a_full_disk_loses_nothing_that_was_said(first, monkeypatch):
    speak(first / "HB-02-r1", (CHECKER, CHECKED, "A1"))
    before_ = lines(first)

    def full(*_):
        raise OSError(28, "No space left on device")
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(PackageError, match=r"cannot be written \(No space left on device\); this was not saved, what "):
        speak(first / "HB-02-r1", (CHECKER, CHECKED, "A2"))
    assert lines(first) == before_
    assert sorted(p.name for p in (first / "review" / "HB-02-r1").iterdir()) == [".lock", "comments.jsonl", "last.json"]


def test_no_leave_to_write_is_one_message(first, monkeypatch):
    def denied(*_, **__):
        raise PermissionError(13, "Permission denied")
    of, record = opened(first / "HB-02-r1")
    monkeypatch.setattr("pathlib.Path.mkdir", denied)
    with pytest.raises(PackageError, match=r"comments\.jsonl: cannot be written \(Permission denied\); this was not s"):
        say(of, record, CHECKER, CHECKED, "A1")


def test_another_session_that_never_ends_its_line_is_told(first, monkeypatch):
    monkeypatch.setattr(rv, "PATIENCE", 0.05)
    monkeypatch.setattr(rv, "_locked", lambda fd: False)
    with pytest.raises(PackageError, match=r"another session has been writing there for 0\.05 s; this was not saved"):
        speak(first / "HB-02-r1", (CHECKER, CHECKED, "A1"))


def _reviewer(package, name, steps):
    of, record = opened(package)
    for step in steps:
        say(of, record, name, CHECKED, step)


def test_lines_of_several_sessions_are_all_kept(first):
    package = first / "HB-02-r1"
    steps = [i["id"] for i in read_record(package)["items"]][:8]
    names = (CHECKER, OTHER, "F. Third")
    context = multiprocessing.get_context("spawn")
    running = [context.Process(target=_reviewer, args=(package, name, steps)) for name in names]
    for p in running:
        p.start()
    for p in running:
        p.join(60)
    of, record = opened(package)
    review = review_of(package, of.name, of.digest, record)[0]
    assert [p.exitcode for p in running] == [0, 0, 0]
    assert {i: {t.who for t in by} for i, by in review.ticks().items()} == {s: set(names) for s in steps}
    assert len(review.entries) == len(steps) * len(names)
