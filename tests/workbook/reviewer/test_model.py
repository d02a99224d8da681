"""The desk of a reviewer: verified first, which steps are listed, what was said; all without widgets."""

import json
import os
import re
import subprocess
import sys

import pytest

from tests.helpers.review import AUTHOR, CHECKER, OTHER, approved, speak
from wrapcalc import workbook as wb
from wrapcalc.errors import PackageError
from wrapcalc.package import digests
from wrapcalc.package.review_lines import CHECKED, CLOSED, COMMENT, QUERY, WHOLE
from wrapcalc.workbook.reviewer import model, pages
from wrapcalc.workbook.reviewer.model import (
    ALL,
    CHANGED,
    COMMENTED,
    FILTERS,
    GOVERNING,
    MEMORY,
    NOT_LOOKED_AT,
    NOT_MET,
    QUERIES,
    SAID,
    Desk,
)


def text_of(html: str) -> str:
    return " ".join(re.sub(r"<style>.*?</style>|<[^>]*>", " ", html, flags=re.S).split())


# -- verified first --------------------------------------------------------------------------------------------------
def test_a_whole_package_is_told_to_be_verified_first(first):
    desk = Desk(first / "HB-02-r1")
    assert [t.kind for t in desk.told] == ["Done"] and not desk.shut
    assert re.match(r"HB-02-r1 is verified: every byte .* all \d+ steps and procedures and every check the same\.",
                    desk.told[0].text)
    assert text_of(pages.head(desk)).startswith("Done: HB-02-r1 is verified")


def test_a_package_that_was_tampered_with_is_told_first_and_only_looked_at(first):
    package = first / "HB-02-r1"
    raw = (package / "record.json").read_text("utf-8")
    (package / "record.json").write_text(raw.replace('"verdict": "met"', '"verdict": "not met"', 1), "utf-8")
    desk = Desk(package)
    head = text_of(pages.head(desk))
    assert head.startswith("Fault: This package does not verify: record.json: changed since it was written.")
    assert "a new run gives something else: C" in head and "It can be looked at, but not reviewed." in head
    assert desk.shut and all(pages.step(desk, i) for i in (WHOLE, *desk.items))
    for act in (lambda: desk.say(CHECKER, CHECKED, "A1"), desk.write_sheet):
        with pytest.raises(PackageError, match="this package can be looked at only; the head of the page says why"):
            act()
    assert not (first / "review").exists()


def test_a_package_that_a_new_run_does_not_give_again_is_only_looked_at(first, monkeypatch):
    monkeypatch.setattr(model, "verify", lambda folder: model.Verification([], ["A1 Wall: stored 1, recomputed 2"]))
    desk = Desk(first / "HB-02-r1")
    assert desk.shut and desk.told[0].text == (
        "This package does not verify, a new run gives something else: A1 Wall: stored 1, recomputed 2.")


@pytest.mark.parametrize(("spoil", "message"), [
    (lambda p: (p / "manifest.json").unlink(), "this is not a package folder: it has no manifest.json"),
    (lambda p: (p / "manifest.json").write_bytes(b"["), "the manifest cannot be read; the package was damaged"),
    (lambda p: _set(p / "manifest.json", schema=2), "written by a newer wrapcalc (schema 2, this version reads 1)"),
    (lambda p: _set(p / "record.json", schema=9), "schema 9 is not the 1 that this version reads; use the version th"),
    (lambda p: (p / "record.json").unlink(), "record.json: missing; the package was damaged"),
    (lambda p: (p / "record.json").write_bytes(b"{}"), "schema None is not the 1 that this version reads"),
    (lambda p: (p / "record.json").write_bytes(b'{"schema": 1}'), "does not verify (record.json: changed since it was"),
    (lambda p: _set(p / "record.json", items=[{"no": 1}]), "does not verify (record.json: changed since it was wr"),
    (lambda p: _set(p / "record.json", items=7), "the record is damaged) and cannot be shown"),
    (lambda p: _set(p / "record.json", case=None), "does not verify (record.json: changed since it was written)")])
def test_what_cannot_be_shown_gives_one_message_and_no_traceback(first, spoil, message):
    spoil(first / "HB-02-r1")
    shown = wb.review(str(first / "HB-02-r1"))
    assert message in (shown if isinstance(shown, wb.Shown) else shown.still()).text and "Traceback" not in repr(shown)
    assert isinstance(shown, wb.Shown) and shown.html.count('class="wb-message') == 1


@pytest.mark.parametrize(("change", "message"), [
    ({"items": [{"id": [1]}]}, "does not verify (record.json: the record is damaged) and cannot be shown"),
    ({"case": None}, "does not verify (record, part 'case': differs) and cannot be shown"),
    ({"decision": None}, "does not verify (record, part 'decision': differs) and cannot be shown")])
def test_a_record_changed_under_a_new_seal_is_not_called_a_defect_of_ours(first, change, message):
    package = first / "HB-02-r1"
    _set(package / "record.json", **change)
    facts = {k: v for k, v in digests.read_manifest(package).items() if k not in ("schema", "versions", "files")}
    for name in (digests.MANIFEST, digests.SEAL):
        (package / name).unlink()
    digests.write_manifest(package, facts | {"record_sha256": digests.sha256((package / "record.json").read_bytes())})
    assert message in wb.review(str(package)).text


def _set(path, **change):
    path.write_text(json.dumps(json.loads(path.read_bytes()) | change), "utf-8")


def test_a_defect_of_ours_in_a_whole_package_is_not_called_a_damaged_package(first, monkeypatch):
    def fails(_):
        raise KeyError("x")
    monkeypatch.setattr(model, "verify", fails)
    text = wb.review(str(first / "HB-02-r1")).text
    assert text.startswith("Fault: this is a defect of wrapcalc (KeyError: 'x')") and "verify" not in text


def test_no_package_there_says_how_to_make_it(tmp_path):
    text = wb.review(str(tmp_path / "HB-07-r1")).text
    assert "there is no such package" in text and "wrapcalc package example/HB-07.toml --out example/packages" in text


def test_an_approval_is_no_package(first):
    folder = approved(first / "HB-02-r1").folder
    assert "this is approval, not a calculation package" in wb.review(str(folder)).text


def test_a_superseded_and_an_approved_package_are_told_and_only_looked_at(said_before):
    old = Desk(said_before / "HB-02-r1")
    assert old.shut and "revision 1 is superseded by revision 2; review HB-02-r2" in old.told[1].text
    assert old.review.comments()  # what was said of it is still to be seen
    approved(said_before / "HB-02-r2")
    done = Desk(said_before / "HB-02-r2")
    assert done.shut and "HB-02-r2 is approved" in done.told[1].text and done.told[1].kind == "Warning"


def test_a_damaged_review_is_told_and_nothing_is_added_to_it(first):
    speak(first / "HB-02-r1", (CHECKER, CHECKED, "A1"))
    path = first / "review" / "HB-02-r1" / "comments.jsonl"
    path.write_bytes(path.read_bytes()[:-3])
    desk = Desk(first / "HB-02-r1")
    assert desk.shut and desk.told[1].kind == "Fault"
    assert "the line is not whole; the review was damaged" in desk.told[1].text
    with pytest.raises(PackageError, match="can be looked at only"):
        desk.say(CHECKER, CHECKED, "A2")


# -- which steps -----------------------------------------------------------------------------------------------------
def test_the_list_has_every_step_in_the_order_of_the_job_and_narrows(said_before):
    desk = Desk(said_before / "HB-02-r2")
    every = [i["id"] for i in desk.record["items"]]
    assert desk.shown() == [WHOLE, *every]
    desk.say(CHECKER, CHECKED, "A1")
    desk.say(CHECKER, QUERY, "A2", "Why?")
    desk.say(OTHER, COMMENT, "C1", "fine")
    assert desk.shown(NOT_LOOKED_AT) == [i for i in every if i not in ("A1", "A2", "C1")]
    assert desk.shown(QUERIES) == ["A2"] and desk.shown(COMMENTED) == ["C1"]
    assert set(desk.shown(CHANGED)) == set(desk.changed) != set() and set(desk.shown(MEMORY)) == desk.memory
    assert set(desk.shown(GOVERNING)) == desk.governing
    assert desk.shown(SAID)[0] == WHOLE and {"A1", "A3"} <= set(desk.shown(SAID))
    assert all(desk.items[i]["verdict"] != "met" for i in desk.shown(NOT_MET))
    for narrowed in FILTERS:
        listed = desk.shown(narrowed)
        assert [i for i in every if i in listed] == [i for i in listed if i != WHOLE]


def test_a_heading_narrows_further_and_the_step_in_hand_stays(first):
    desk = Desk(first / "HB-02-r1")
    heading = desk.headings[1]
    listed = desk.shown(ALL, heading)
    assert listed and all(desk.items[i]["topic"] == heading for i in listed)
    other = next(i for i in desk.items if desk.items[i]["topic"] != heading)
    assert set(desk.shown(ALL, heading, keep=other)) == {*listed, other}
    assert desk.shown(QUERIES, keep=WHOLE) == [WHOLE]


def test_a_reviewer_begins_with_the_changed_step_that_nobody_looked_at(said_before):
    desk = Desk(said_before / "HB-02-r2")
    begun = desk.first()
    assert begun in desk.changed
    for item in desk.changed:
        desk.say(CHECKER, CHECKED, item)
    assert desk.first() not in desk.changed and desk.first() not in desk.looked_at
    assert begun == next(i for i in desk.items if i in desk.changed)


def test_next_not_looked_at_goes_round_and_ends(first):
    desk = Desk(first / "HB-02-r1")
    ids = list(desk.items)
    for item in ids:
        if item not in (ids[2], ids[5]):
            desk.say(CHECKER, CHECKED, item)
    assert desk.next_left(ids[2]) == ids[5] and desk.next_left(ids[5]) == ids[2] and desk.next_left(WHOLE) == ids[2]
    for item in (ids[2], ids[5]):
        desk.say(CHECKER, CHECKED, item)
    assert desk.next_left(ids[0]) is None and desk.first() == WHOLE


def test_steps_are_gone_through_one_by_one_and_the_ends_stand(first):
    desk = Desk(first / "HB-02-r1")
    listed = desk.shown()
    assert desk.after(listed, listed[0], -1) == listed[0] and desk.after(listed, listed[-1], 1) == listed[-1]
    assert desk.after(listed, listed[3], 1) == listed[4] and desk.after(listed, "A999", 1) == listed[0]


def test_the_list_says_the_state_of_each_step_in_words(said_before):
    desk = Desk(said_before / "HB-02-r2")
    item = desk.first()
    desk.say(CHECKER, CHECKED, item)
    desk.say(CHECKER, QUERY, item, "Why?")
    desk.say(CHECKER, QUERY, item, "And this?")
    desk.say(CHECKER, CLOSED, item, "settled", 1)
    desk.say(CHECKER, COMMENT, WHOLE, "fine")
    labels = {i: label for label, i in desk.labels(desk.shown())}
    assert labels[item] == f"{item} [Q2 open, checked, changed]  {desk.items[item]['title']}"
    assert labels[WHOLE] == "— [comment]  The package as a whole"


# -- one step --------------------------------------------------------------------------------------------------------
def test_a_step_shows_formula_numbers_clause_status_inputs_guards_and_margin(first):
    desk = Desk(first / "HB-51-r1")
    record = desk.record
    step = next(i for i in record["items"] if i["type"] == "step" and desk.guards.get(i["formula"])
                and desk.sources.covers[i["id"]]["direct"])
    html, text = pages.step(desk, step["id"]), text_of(pages.step(desk, step["id"]))
    assert "<svg" in html and step["printed"].replace("-", "−") in text
    assert f"Clause and status: {step['citation']}; {pages.STATUS.get(step['status'], step['status'])}" in text
    for source in desk.sources.of(step):
        assert source.name in text and source.place in text
    assert "Tests that guard the formula:" in text and step["formula"] in text
    check = desk.items[desk.sources.covers[step["id"]]["direct"][0]]
    assert f"{check['id']} {check['title']}: {check['verdict']}" in text
    own = text_of(pages.step(desk, check["id"]))
    assert not check["utilisation_shown"] or f"{check['utilisation_shown']} of the limit used" in own


def test_every_step_of_a_wrap_can_be_shown_and_every_status_has_words(first):
    desk = Desk(first / "HB-51-r1")
    for item in (WHOLE, *desk.items):
        text = text_of(pages.step(desk, item))
        assert "Said of it" in text and ("Margin:" in text or item == WHOLE)
    assert {i["status"] for i in desk.record["items"]} <= pages.STATUS.keys()
    opinion = desk.record["opinion"]["clause"]["origin"]["ref"].partition("/")[0]
    assert "Second opinion:" in pages.step(desk, opinion) and "It decides nothing." in pages.step(desk, opinion)


def test_what_was_said_before_and_now_stands_beside_its_step(said_before):
    desk = Desk(said_before / "HB-02-r2")
    desk.say(CHECKER, QUERY, "A3", "Is <this> right?\nReally?")
    text = text_of(pages.step(desk, "A3"))
    assert "Said on r1 said on r1 of A3: query Q1 Why 5 mm?" in text and "A3" not in desk.review.ticks()
    assert "Q1, open: Is &lt;this&gt; right? Really? (C. Checker," in text
    assert "said on r1 of A1: checked" in text_of(pages.step(desk, "A1"))
    assert "(closed since)" in text_of(pages.step(desk, "A1"))


def test_changes_stand_first_in_inputs_and_results_and_steps_say_how_they_were(said_before):
    desk = Desk(said_before / "HB-02-r2")
    text = text_of(pages.changes(desk))
    assert text.startswith("What changed since revision 1 In the inputs What Before Now input defect.depth")
    assert "In the results" in text and f"{len(desk.changed)} steps and checks changed" in text
    assert "Left open in the review of revision 1: Q1 on A3 (C. Checker)." in text
    assert "Changed since revision 1:" in pages.step(desk, desk.first())
    assert pages.changes(Desk(said_before / "HB-02-r1")) == ""


# -- what is said ----------------------------------------------------------------------------------------------------
def test_what_is_said_is_there_for_a_new_desk(first):
    Desk(first / "HB-02-r1").say(CHECKER, COMMENT, "A1", "Gauge PG-3.")
    fresh = Desk(first / "HB-02-r1")
    assert [e.text for e in fresh.review.comments()] == ["Gauge PG-3."] and "Gauge PG-3." in pages.step(fresh, "A1")
    assert not fresh.ticked_by("A1", CHECKER) and not fresh.ticked_by("A1", "")


def test_lines_that_others_added_meanwhile_are_taken_up_and_counted(first):
    one, two = Desk(first / "HB-02-r1"), Desk(first / "HB-02-r1")
    two.say(OTHER, CHECKED, "A1")
    two.say(OTHER, COMMENT, "A2", "mine")
    assert one.say(CHECKER, CHECKED, "A3") == 2 and set(one.review.ticks()) == {"A1", "A3"}
    assert one.say(CHECKER, CHECKED, "A4") == 0


def test_a_package_changed_while_it_lies_open_takes_nothing_more(first):
    desk = Desk(first / "HB-02-r1")
    (first / "HB-02-r1" / "README.txt").write_text("mine", "utf-8")
    with pytest.raises(PackageError, match=r"was changed after it was written \(README\.txt"):
        desk.say(CHECKER, CHECKED, "A1")


def test_the_sheet_is_written_and_told(first):
    desk = Desk(first / "HB-02-r1")
    desk.say(CHECKER, CHECKED, "A1")
    assert desk.write_sheet() == ("The review sheet is written: review/HB-02-r1/sheet-1/review.pdf, and review.html "
                                  "beside it.")
    assert desk.write_sheet().startswith("The last sheet says all there is: review/HB-02-r1/sheet-1/")
    assert "Last sheet: sheet-1." in text_of(pages.progress(desk))
    desk.say(CHECKER, CHECKED, "A2")
    assert "Last sheet: sheet-1, older than the last line." in text_of(pages.progress(desk))
    assert not digests.integrity(first / "review" / "HB-02-r1" / "sheet-1")


# -- without widgets -------------------------------------------------------------------------------------------------
def test_the_still_page_says_all_that_stands_in_files_and_is_the_same_again(said_before):
    package = said_before / "HB-02-r2"
    speak(package, (CHECKER, CHECKED, "A1"), (CHECKER, QUERY, "A2", "Which <gauge>?"), (AUTHOR, COMMENT, WHOLE, "fine"))
    shown = pages.still(Desk(package))
    for word in ("Done: HB-02-r2 is verified", "changed: input defect.depth", "2 of ", "Q1 on A2, open: Which <gauge>?",
                 "comment on whole package: fine (E. Example)", "Left open in the review of revision 1: Q1 on A3"):
        assert word in shown.text, word
    assert "Which &lt;gauge&gt;?" in shown.html and shown.html == pages.still(Desk(package)).html


def test_the_model_and_the_pages_import_no_widgets(first):
    code = ("import sys; from pathlib import Path; from wrapcalc.workbook.reviewer import pages; "
            "from wrapcalc.workbook.reviewer.model import Desk; pages.still(Desk(Path(sys.argv[1]))); "
            "print('ipywidgets' in sys.modules)")
    done = subprocess.run([sys.executable, "-c", code, str(first / "HB-02-r1")], capture_output=True, text=True,
                          env=os.environ)
    assert done.stdout.strip() == "False", done.stderr


def test_an_installation_without_widgets_shows_the_still_page(first, monkeypatch):
    monkeypatch.setitem(sys.modules, "ipywidgets", None)
    monkeypatch.delitem(sys.modules, "wrapcalc.workbook.reviewer.view", raising=False)
    shown = wb.review(str(first / "HB-02-r1"))
    assert isinstance(shown, wb.Shown) and "is verified" in shown.text
