"""A reviewer at the review notebook: verified first, said and saved, there again after a reload and a lost kernel."""

import json
import re
import shutil

import pytest
from playwright.sync_api import expect

from tests.browser.harness import beyond, edges, restart, run_all
from wrapcalc.workbook import calm


@pytest.fixture(scope="module")
def issued(lab):
    """The folder of the lab that holds the package HB-02-r1 to copy from."""
    lab.wrapcalc("package", "example/HB-02.toml", "--out", "for-review")
    return lab.folder / "for-review"


@pytest.fixture
def package(issued, request):
    """A package of this test alone, as the notebook names it."""
    place = issued.parent / ("r-" + re.sub(r"\W+", "-", request.node.name)[:40])
    shutil.copytree(issued, place)
    return place / "HB-02-r1"


def named(lab, package) -> dict[str, str]:
    return {"package_folder": package.relative_to(lab.folder).as_posix()}


def to_step(page, item: str) -> None:
    """Choose a step in the list; its blanks do not break in the browser."""
    steps = page.get_by_label("Steps", exact=True)
    texts = steps.locator("option").all_text_contents()
    steps.select_option(index=next(k for k, t in enumerate(texts) if t.split()[0] == item))
    expect(page.locator(".wb-review-step .wc-id")).to_have_text(item)


def test_a_comment_is_there_again_after_a_reload_and_after_the_kernel_was_lost(lab, notebook, package):
    page = notebook("review.ipynb", named(lab, package))
    head = page.locator(".wb-review-head")
    expect(head).to_contain_text("Done: HB-02-r1 is verified: every byte is as it was written")
    assert beyond(page) == []
    assert edges(page) == {calm.EDGE}
    page.get_by_label("Reviewer").fill("C. Checker")
    to_step(page, "A1")
    page.get_by_role("button", name="Mark as checked").click()
    expect(page.locator(".wb-review-said")).to_contain_text("Saved: checked on A1, C. Checker")
    to_step(page, "A2")
    page.get_by_label("Text", exact=True).fill("Pit gauge: three readings, sheet 7.")
    page.get_by_role("button", name="Save as comment").click()
    expect(page.locator(".wb-review-said")).to_contain_text("Saved: comment on A2, C. Checker")
    file = package.parent / "review" / "HB-02-r1" / "comments.jsonl"
    assert [json.loads(x).get("act") for x in file.read_text("utf-8").splitlines()] == [None, "checked", "comment"]
    page.get_by_label("Text", exact=True).fill("To be asked again.")
    to_step(page, "A1")  # once this was heard, the text was
    expect(page.locator(".wb-review-said")).to_contain_text("Typed but not saved: the text on A2.")
    restart(page)  # the kernel is lost; what was saved is not, nor what was typed
    run_all(page)
    expect(page.locator(".wb-review-said")).to_contain_text("Typed earlier by C. Checker and not saved: the text on A2")
    to_step(page, "A2")
    expect(page.get_by_label("Text", exact=True)).to_have_value("To be asked again.")
    expect(page.locator(".wb-review-step")).to_contain_text("Pit gauge: three readings, sheet 7. (C. Checker,")
    page.reload()
    page.wait_for_function("() => window.jupyterapp?.shell?.currentWidget?.sessionContext?.session?.kernel")
    run_all(page)
    expect(page.locator(".wb-review-progress")).to_contain_text("2 of ")
    to_step(page, "A2")
    expect(page.locator(".wb-review-step")).to_contain_text("Pit gauge: three readings, sheet 7. (C. Checker,")


def test_a_package_that_was_tampered_with_is_told_first_and_not_reviewed(lab, notebook, package):
    record = package / "record.json"
    record.write_text(record.read_text("utf-8").replace('"word": "no repair needed"', '"word": "wrap"', 1), "utf-8")
    page = notebook("review.ipynb", named(lab, package))
    first = page.locator(".wb-view [role=alert]").first
    expect(first).to_contain_text("Fault: This package does not verify: record.json: changed since it was written")
    expect(page.get_by_text("It can be looked at, but not reviewed.")).to_be_visible()
    expect(page.get_by_role("button", name="Mark as checked")).to_be_disabled()
    expect(page.get_by_role("button", name="Save as comment")).to_be_disabled()
    page.get_by_role("button", name="Next step").click()
    expect(page.locator(".wb-review-step")).to_contain_text("Clause and status:")
    assert not (package.parent / "review").exists()


def test_a_query_is_raised_answered_closed_and_the_sheet_is_written(lab, notebook, package):
    page = notebook("review.ipynb", named(lab, package))
    who, text = page.get_by_label("Reviewer"), page.get_by_label("Text", exact=True)
    said = page.locator(".wb-review-said")
    to_step(page, "A1")
    page.get_by_role("button", name="Mark as checked").click()
    expect(said).to_contain_text("Fault: the reviewer: found nothing; allowed: a name of at least two letters")
    who.fill("C. Checker")
    text.fill("Which gauge?")
    page.get_by_role("button", name="Raise as query").click()
    expect(said).to_contain_text("Saved: query on A1")
    expect(page.locator(".wb-review-progress")).to_contain_text("Open: Q1 on A1")
    who.fill("E. Example")
    text.fill("PG-3, calibrated in May.")
    page.get_by_role("button", name="Save as answer").click()
    expect(said).to_contain_text("Saved: answer on A1, E. Example")
    page.get_by_role("button", name="Close the query").click()
    expect(said).to_contain_text("prepared the case (case.prepared_by): nobody checks work of their own")
    who.fill("C. Checker")
    page.get_by_role("button", name="Close the query").click()
    expect(said).to_contain_text("Saved: closed on A1, C. Checker")
    page.get_by_role("button", name="Write the review sheet").click()
    expect(page.locator(".wb-review-sheet")).to_contain_text("The review sheet is written: ")
    assert (package.parent / "review" / "HB-02-r1" / "sheet-1" / "review.pdf").is_file()


def test_the_list_is_narrowed_and_a_step_leads_to_where_its_values_came_from(lab, notebook, package):
    page = notebook("review.ipynb", named(lab, package))
    steps = page.get_by_label("Steps", exact=True).locator("option")
    everything = steps.count()
    page.get_by_label("Show", exact=True).select_option(label="Governing")
    expect(steps).not_to_have_count(everything)
    page.get_by_label("Show", exact=True).select_option(label="All steps")
    expect(steps).to_have_count(everything)
    to_step(page, "A8")
    came_from = page.locator(".wb-review-goto").get_by_role("button", name=re.compile("^From ")).first
    step = came_from.inner_text().removeprefix("From ")
    came_from.click()
    expect(page.locator(".wb-review-step")).to_contain_text(step)
    page.get_by_role("button", name="Back to where you were").click()
    expect(page.locator(".wb-review-step")).to_contain_text("A8")
    expect(page.locator(".wb-review-step")).to_contain_text("Tests that guard the formula:")
