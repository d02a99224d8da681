"""The widgets of the review notebook, driven without a browser: every press is saved, every fault is a message."""

import html
import json
import re

import pytest

from tests.helpers.review import CHECKER, OTHER, lines, speak
from wrapcalc import workbook as wb
from wrapcalc.package.review_lines import CHECKED, QUERY, WHOLE

pytest.importorskip("ipywidgets")


def told(widget) -> str:
    return html.unescape(" ".join(re.sub(r"<style>.*?</style>|<[^>]*>", " ", widget.value, flags=re.S).split()))


@pytest.fixture
def view(first):
    return wb.review(str(first / "HB-02-r1"))


def to(view, item):
    view.steps.value = item
    assert view.current == item


def test_a_tick_is_saved_at_once_and_leads_to_the_next_step(view, first):
    view.who.value = CHECKER
    to(view, "A1")
    listed = [i for _, i in view.steps.options]
    view.tick.click()
    assert '"item": "A1", "act": "checked"' in lines(first).decode()
    assert re.match(r"Done: Saved: checked on A1, C\. Checker, \d{4}-", told(view.said))
    assert view.current == listed[listed.index("A1") + 1] == view.steps.value
    assert told(view.progress).startswith("1 of ")


def test_a_tick_is_taken_back_by_who_made_it(view, first):
    view.who.value, view.go_on.value = CHECKER, False
    to(view, "A1")
    view.tick.click()
    assert view.current == "A1" and view.tick.description == "Take my tick back"
    view.who.value = OTHER
    assert view.tick.description == "Mark as checked"
    view.who.value = CHECKER
    view.tick.click()
    assert view.tick.description == "Mark as checked" and not view.desk.review.ticks()


def test_under_a_filter_the_next_of_the_list_follows(view):
    view.who.value = CHECKER
    view.narrow.value = "governing"
    listed = [i for _, i in view.steps.options if i in view.desk.governing]
    to(view, listed[0])
    view.tick.click()
    assert view.current == listed[1]
    assert listed[0] in [i for _, i in view.steps.options]  # it governs still


def test_without_a_name_nothing_is_saved_and_the_fault_is_told(view, first):
    to(view, "A1")
    view.tick.click()
    assert told(view.said).startswith("Fault: the reviewer: found nothing; allowed: a name of at least two letters")
    assert view.current == "A1" and not (first / "review").exists()


def test_a_wrong_name_is_told_beside_it_as_it_is_typed(view):
    view.who.value = "12"
    assert told(view.who_fault).startswith("Fault: reviewer: found '12'; allowed: a name")
    view.who.value = CHECKER
    assert told(view.who_fault) == "Identities are typed, not authenticated."


def test_a_query_is_raised_answered_and_closed(view):
    to(view, "A1")
    assert view.on_query.layout.display == "none"
    view.who.value, view.text.value = CHECKER, "Which gauge?"
    view.ask.click()
    assert view.text.value == "" and view.on_query.layout.display == "flex" and view.query.value == 1
    view.who.value, view.text.value = "E. Example", "PG-3."
    view.answer.click()
    view.close.click()
    assert "nobody checks work of their own" in told(view.said)
    view.who.value = OTHER
    view.close.click()
    assert told(view.said).startswith("Done: Saved: closed on A1, D. Second") and view.on_query.layout.display == "none"
    assert "Q1, closed: Which gauge? (C. Checker," in told(view.panel)


def test_of_two_queries_the_one_that_was_chosen_is_closed(view):
    view.who.value = CHECKER
    to(view, "A1")
    for text in ("One?", "Two?"):
        view.text.value = text
        view.ask.click()
    view.query.value = 2
    view.who.value = OTHER  # the page is shown anew; the choice stays
    view.text.value = "settled"
    view.close.click()
    assert [q.number for q in view.desk.review.open()] == [1] and view.query.value == 1


def test_text_that_was_not_saved_is_kept_for_its_step_and_told(view):
    view.who.value = CHECKER
    to(view, "A1")
    view.text.value = "half a thought"
    to(view, "A2")
    assert view.text.value == "" and told(view.said).startswith("Note: Typed but not saved: the text on A1.")
    view.sheet.click()
    assert told(view.sheet_said).startswith("Fault: a text is typed but not saved; save it, or take it out")
    to(view, "A1")
    assert view.text.value == "half a thought"
    view.comment.click()
    assert told(view.said).startswith("Done: Saved: comment on A1") and "half a thought" in told(view.panel)


def unsaved(first):
    """Files in which text stands that was typed and not saved."""
    return sorted(p.name for p in (first / "review" / "HB-02-r1").glob("typed.json*"))


def test_text_that_was_not_saved_outlives_the_kernel_and_counts_for_nothing(view, first):
    view.who.value = CHECKER
    to(view, "A1")
    view.text.value = "Where is the certificate?"
    to(view, "A2")
    view.text.value = "Is this \ud800?"  # half a sign, as a paste may leave it
    again = wb.review(str(first / "HB-02-r1"))  # as after a restart
    assert told(again.said) == (f"Note: Typed earlier by {CHECKER} and not saved: the text on A1, A2. It stands in its "
                                "field again; save it, or take it out.")
    assert not again.desk.review.entries and not (first / "review" / "HB-02-r1" / "comments.jsonl").exists()
    to(again, "A2")
    assert again.text.value == "Is this \ud800?"
    to(again, "A1")
    assert again.text.value == "Where is the certificate?"
    again.sheet.click()
    assert "a text is typed but not saved" in told(again.sheet_said)
    again.who.value = CHECKER
    again.ask.click()
    to(again, "A2")
    again.text.value = ""
    assert unsaved(first) == [] and [e.text for e in again.desk.review.entries] == ["Where is the certificate?"]
    assert told(wb.review(str(first / "HB-02-r1")).said) == ""


def test_text_of_the_first_step_in_sight_is_there_at_once(view, first):
    view.text.value = "see A7"
    assert wb.review(str(first / "HB-02-r1")).text.value == "see A7"


@pytest.mark.parametrize("raw", [b"", b"[]", b"{", b'{"text": 1, "over": ""}',
                                 b'{"text": "{\\"who\\": 1, \\"texts\\": {}}", "over": ""}',
                                 b'{"text": "{\\"who\\": \\"A\\", \\"texts\\": [1]}", "over": ""}'])
def test_damaged_text_of_earlier_is_put_aside_and_the_review_goes_on(first, raw):
    place = first / "review" / "HB-02-r1"
    place.mkdir(parents=True)
    (place / "typed.json.unsaved").write_bytes(raw)
    view = wb.review(str(first / "HB-02-r1"))
    assert view.text.value == "" and not view.text.disabled
    assert unsaved(first) == ["typed.json.unsaved-damaged"]
    assert "cannot be read" in told(view.head)


def test_text_of_a_step_that_is_no_more_is_not_shown(first):
    place = first / "review" / "HB-02-r1"
    place.mkdir(parents=True)
    inner = json.dumps({"who": CHECKER, "texts": {"A1": "kept", "Z99": "of another revision"}})
    (place / "typed.json.unsaved").write_text(json.dumps({"text": inner, "over": ""}), encoding="utf-8")
    assert "the text on A1." in told(wb.review(str(first / "HB-02-r1")).said)


def test_a_text_that_could_not_be_saved_stays_in_its_field(view, monkeypatch):
    view.who.value, view.text.value = CHECKER, "to be kept"

    def full(*_):
        raise OSError(28, "No space left on device")
    monkeypatch.setattr("os.fsync", full)
    view.comment.click()
    assert "cannot be written (No space left on device); this was not saved" in told(view.said)
    assert view.text.value == "to be kept"


def test_steps_are_gone_through_by_buttons_and_links_lead_back(view):
    to(view, "A1")
    listed = [i for _, i in view.steps.options]
    view.next.click()
    assert view.current == listed[listed.index("A1") + 1]
    view.before.click()
    assert view.current == "A1" and view.back.disabled
    uses = [b for b in view.go_to.children if b.description.startswith("To ")]
    uses[0].click()
    assert view.current == uses[0].description.removeprefix("To ") and not view.back.disabled
    assert "From A1" in [b.description for b in view.go_to.children]
    view.back.click()
    assert view.current == "A1" and view.back.disabled


def test_the_package_as_a_whole_has_no_tick_and_no_links(view):
    to(view, WHOLE)
    assert view.tick.disabled and not view.go_to.children and "Assumptions" in told(view.panel)
    to(view, "A1")
    assert not view.tick.disabled


def test_next_not_looked_at_says_when_there_is_none(view):
    for item in view.desk.items:
        view.desk.say(CHECKER, CHECKED, item)
    view.next_left.click()
    assert told(view.said) == "Done: Every step was looked at."


def test_next_not_looked_at_passes_over_what_was_ticked(view):
    to(view, "A1")
    view.who.value, view.go_on.value = CHECKER, False
    ids = list(view.desk.items)
    nxt, after = ids[ids.index("A1") + 1: ids.index("A1") + 3]
    view.desk.say(CHECKER, CHECKED, nxt)
    view.next_left.click()
    assert view.current == after


def test_the_review_sheet_is_written_and_told(view, first):
    view.who.value = CHECKER
    view.sheet.click()
    assert "nothing was said of it yet" in told(view.sheet_said)
    view.tick.click()
    view.sheet.click()
    assert told(view.sheet_said).startswith("Done: The review sheet is written: review/HB-02-r1/sheet-1/review.pdf")
    assert (first / "review" / "HB-02-r1" / "sheet-1" / "review.html").is_file()


def test_names_already_typed_are_offered(first):
    speak(first / "HB-02-r1", (CHECKER, CHECKED, "A1"), (OTHER, QUERY, "A2", "Why?"))
    view = wb.review(str(first / "HB-02-r1"))
    assert list(view.who.options) == [CHECKER, OTHER] and view.who.value == ""  # nobody is taken for somebody else


def test_a_package_that_does_not_verify_has_all_controls_that_write_shut(first):
    (first / "HB-02-r1" / "README.txt").write_text("mine", "utf-8")
    view = wb.review(str(first / "HB-02-r1"))
    for control in (view.tick, view.comment, view.ask, view.answer, view.close, view.sheet, view.text, view.who):
        assert control.disabled
    view.next.click()
    assert "Clause and status:" in told(view.panel)


def test_a_step_of_a_changed_record_that_cannot_be_drawn_is_a_message(first):
    path = first / "HB-02-r1" / "record.json"
    path.write_text(path.read_text("utf-8").replace('"citation"', '"cited"'), "utf-8")
    shown = wb.review(str(first / "HB-02-r1"))
    text = shown.text if isinstance(shown, wb.Shown) else told(shown.panel)
    assert "cannot be shown" in text


def test_the_view_carries_what_stands_in_files_for_readers_without_a_kernel(view):
    bundle = view._repr_mimebundle_()
    assert "application/vnd.jupyter.widget-view+json" in bundle and "is verified" in bundle["text/plain"]
