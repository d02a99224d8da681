"""The review sheet, and what an approval asks of a review."""

import json
import re
import shutil

import pypdf
import pytest

from tests.helpers.review import AUTHOR, CHECKER, OTHER, approved, lines, opened, speak
from wrapcalc.errors import PackageError
from wrapcalc.package import digests
from wrapcalc.package.explain import read_record
from wrapcalc.package.report import IDENTITIES
from wrapcalc.package.review_lines import ANSWER, CHECKED, CLOSED, COMMENT, QUERY
from wrapcalc.package.review_sheet import review_of, sheet_html, write_sheet


# -- the sheet ---------------------------------------------------------------------------------------------------
def text_of(html: str) -> str:
    return " ".join(re.sub(r"<[^>]*>", " ", html.partition("<body>")[2]).split())


def test_the_review_sheet_says_who_what_and_how_far(said_before):
    package = said_before / "HB-02-r2"
    speak(package, (CHECKER, CHECKED, "A1"), (CHECKER, QUERY, "A2", "Which < gauge?"),
          (AUTHOR, ANSWER, "A2", "PG-3", 1), (OTHER, COMMENT, "C1", "first line\nsecond line"),
          (AUTHOR, COMMENT, "A4", "by hand, too"))
    result = write_sheet(package)
    folder = said_before / "review" / "HB-02-r2" / "sheet-1"
    assert result.state == "written" and result.folder == folder and not digests.integrity(folder)
    assert {p.name for p in folder.iterdir()} == {"review.html", "review.pdf", "review.json", "manifest.json",
                                                  "manifest.sha256"}
    record, html = read_record(package), (folder / "review.html").read_text("utf-8")
    data, text = json.loads((folder / "review.json").read_bytes()), text_of(html)
    total = len(record["items"])
    assert f"3 of {total} steps and checks looked at, 1 ticked as checked; queries: 1 raised, 1 open" in text
    assert IDENTITIES in text and "this is not an approval" in text and "Which &lt; gauge?" in html
    assert digests.sha256((package / "manifest.json").read_bytes()) in text
    for word in ("Q1 on A2", "Answer: PG-3", "first line second line", "Left open on revision 1: Q1 on A3 (C. Checker)",
                 "E. Example (prepared the case)", "What changed since revision 1", "2026-11-02 09:30:15 UTC",
                 "values and formulas of this package are from memory", "Commented or queried, but not ticked: C1, A2"):
        assert word in text, word
    assert sum(t["of"] for t in data["topics"]) == total
    assert sum(t["looked_at"] for t in data["topics"]) == 3  # a look of who prepared the case is no look of a reviewer
    assert sorted(i for row in data["not_looked_at"] for i in row["items"]) == sorted(
        {i["id"] for i in record["items"]} - {"A1", "A2", "C1"})
    checks = [i for i in record["items"] if i["type"] == "check"]
    assert sum(t["checks"] for t in data["topics"]) == len(checks)
    assert sum(t["met"] for t in data["topics"]) == sum(c["verdict"] == "met" for c in checks)
    assert sheet_html(data) == html  # from its data alone
    pages = pypdf.PdfReader(folder / "review.pdf").pages
    assert all("Not an approval" in p.extract_text() for p in pages) and "Which < gauge?" in "".join(
        p.extract_text() for p in pages)


def test_a_sheet_that_says_all_is_not_written_again_and_a_later_line_gives_another(first):
    package = first / "HB-02-r1"
    speak(package, (CHECKER, CHECKED, "A1"))
    first = write_sheet(package)
    assert write_sheet(package).state == "unchanged"
    speak(package, (CHECKER, CHECKED, "A2"))
    of, record = opened(package)
    assert review_of(package, of.name, of.digest, record)[1].current is False
    second = write_sheet(package)
    assert (second.state, second.folder.name) == ("written", "sheet-2") and not digests.integrity(first.folder)
    assert review_of(package, of.name, of.digest, record)[1].current is True


def test_nothing_said_gives_no_sheet(first):
    with pytest.raises(PackageError, match="nothing was said of it yet; a review sheet says who looked at what"):
        write_sheet(first / "HB-02-r1")


def test_a_package_that_a_new_run_does_not_give_again_gets_no_sheet(first, monkeypatch):
    from wrapcalc.package import verify
    speak(first / "HB-02-r1", (CHECKER, CHECKED, "A1"))
    monkeypatch.setattr(verify, "verify", lambda folder: verify.Verification([], ["A1: stored 1, recomputed 2"]))
    with pytest.raises(PackageError, match=r"does not verify \(A1: stored 1, recomputed 2\); no review sheet is w"):
        write_sheet(first / "HB-02-r1")


def _sealed_anew(sheet):
    """A manifest written over the folder by somebody who leaves out what it cites."""
    for name in (digests.MANIFEST, digests.SEAL):
        (sheet / name).unlink()
    digests.write_manifest(sheet, {"kind": "review sheet", "revision": 1})


@pytest.mark.parametrize(("spoil", "message"), [
    (lambda f: (f / "sheet-1" / "review.html").write_text("all well", "utf-8"), "this review sheet was changed after"),
    (lambda f: (f / "comments.jsonl").write_bytes(
        b"\n".join((f / "comments.jsonl").read_bytes().split(b"\n")[:2]) + b"\n"),
     "the comments are not those that sheet-1 cites: lines were taken out or changed"),
    (lambda f: (f / "comments.jsonl").unlink(), "the comments are not those that sheet-1 cites"),
    (lambda f: _sealed_anew(f / "sheet-1"), r"this review sheet was changed after it was written \(its manifest\)")])
def test_lines_taken_off_the_end_and_a_changed_sheet_are_found_by_the_sheet(first, spoil, message):
    package = first / "HB-02-r1"
    speak(package, (CHECKER, CHECKED, "A1"), (CHECKER, QUERY, "A2", "Why?"))
    write_sheet(package)
    spoil(first / "review" / "HB-02-r1")
    if "the comments" in message:  # the sheet alone is left to tell
        (first / "review" / "HB-02-r1" / "last.json").unlink()
    of, record = opened(package)
    with pytest.raises(PackageError, match=message):
        review_of(package, of.name, of.digest, record)
    with pytest.raises(PackageError, match=message):
        approved(package)


def test_a_sheet_of_another_package_is_refused(first):
    speak(first / "HB-02-r1", (CHECKER, CHECKED, "A1"))
    speak(first / "HB-51-r1", (CHECKER, CHECKED, "A1"))
    sheet = write_sheet(first / "HB-51-r1").folder
    shutil.copytree(sheet, first / "review" / "HB-02-r1" / "sheet-1")
    with pytest.raises(PackageError, match="this review sheet is about another package; move it away"):
        approved(first / "HB-02-r1")


def test_a_full_disk_leaves_no_half_a_sheet(first, monkeypatch):
    from wrapcalc.package import pdf

    def full(*_, **__):
        raise OSError(28, "No space left on device")
    speak(first / "HB-02-r1", (CHECKER, CHECKED, "A1"))
    monkeypatch.setattr(pdf, "html_to_pdf", full)
    with pytest.raises(PackageError, match=r"sheet-1: cannot be written \(No space left on device\); nothing half-wr"):
        write_sheet(first / "HB-02-r1")
    assert sorted(p.name for p in (first / "review" / "HB-02-r1").iterdir()) == [".lock", "comments.jsonl", "last.json"]


# -- the approval ------------------------------------------------------------------------------------------------
def test_an_open_query_refuses_the_approval_and_is_named(first):
    package = first / "HB-02-r1"
    speak(package, (CHECKER, QUERY, "A1", "Which\ngauge?"), (AUTHOR, ANSWER, "A1", "PG-3", 1))
    with pytest.raises(PackageError, match=r"open in its review: Q1 on A1, C\. Checker: Which gauge\?\. Answer and"):
        approved(package)
    assert not (first / "approval").exists()
    speak(package, (CHECKER, CLOSED, "A1", "", 1))
    assert approved(package).folder.is_dir()


def test_what_the_author_closed_is_still_open(first):
    package = first / "HB-02-r1"
    speak(package, (CHECKER, QUERY, "A1", "Which gauge?"), (OTHER, CLOSED, "A1", "PG-3", 1), (OTHER, CHECKED, "A2"))
    with pytest.raises(PackageError, match="open in its review: Q1 on A1"):
        approved(package, author=OTHER)


def test_ticks_of_the_author_do_not_count(first):
    speak(first / "HB-02-r1", (OTHER, CHECKED, "A1"), (CHECKER, CHECKED, "A2"))
    result = approved(first / "HB-02-r1", author=OTHER)
    assert "1 tick by the author 'D. Second' in the review does not count." in result.notices
    assert json.loads((result.folder / "approval.json").read_bytes())["review"]["checked"] == 1


def test_an_approval_cites_the_review_in_data_manifest_and_on_the_page(first):
    package = first / "HB-02-r1"
    speak(package, (CHECKER, CHECKED, "A1"), (CHECKER, COMMENT, "A2", "fine"))
    sheet = write_sheet(package)
    result = approved(package)
    data = json.loads((result.folder / "approval.json").read_bytes())
    cited = digests.sha256(lines(first))
    total = len(read_record(package)["items"])
    wanted = {"comments_sha256": cited, "entries": 2, "reviewers": [CHECKER], "of": total, "looked_at": 2, "checked": 1,
              "queries": 0, "open": 0, "comments": 1, "sheet": "sheet-1",
              "sheet_manifest_sha256": digests.sha256((sheet.folder / "manifest.json").read_bytes())}
    assert data["review"] == digests.read_manifest(result.folder)["review"] == wanted
    text = text_of((result.folder / "package.html").read_text("utf-8"))
    assert f"Reviewed step by step: 2 of {total} steps and checks looked at, 1 ticked as checked" in text
    assert f"ticked by {CHECKER} (as typed). Review, SHA-256: {cited}" in text
    assert any(f"{total - 2} of {total} steps and checks were not looked at in the review" in n for n in result.notices)
    assert not any("sheet" in n or "ticked no step" in n for n in result.notices)


def test_no_review_is_noted_and_does_not_stop_an_approval(first):
    result = approved(first / "HB-02-r1")
    assert "No review stands beside the package: nobody says that its steps were looked at." in result.notices
    assert json.loads((result.folder / "approval.json").read_bytes())["review"] is None
    assert "Reviewed step by step" not in (result.folder / "package.html").read_text("utf-8")


def test_a_checker_who_ticked_nothing_and_a_review_not_ended_are_noted(first):
    speak(first / "HB-02-r1", (OTHER, CHECKED, "A1"), (CHECKER, COMMENT, "A2", "fine"))
    notices = approved(first / "HB-02-r1").notices
    assert "The checker 'C. Checker' ticked no step in the review." in notices
    assert "The review was not ended: no review sheet was written." in notices


def test_a_review_that_went_on_after_its_sheet_is_noted(first):
    package = first / "HB-02-r1"
    speak(package, (CHECKER, CHECKED, "A1"))
    write_sheet(package)
    speak(package, (CHECKER, CHECKED, "A2"))
    assert "The review went on after its last sheet (sheet-1): that does not say all." in approved(package).notices


def test_queries_left_open_on_the_revision_before_are_noted(said_before):
    assert "Left open in the review of revision 1: Q1 on A3." in approved(said_before / "HB-02-r2").notices
