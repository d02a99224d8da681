"""Field data in the browser: what is beyond its limit is told, mended, saved, judged; a reload gives the same page."""

import re
import shutil

import pytest
from playwright.sync_api import expect

from tests.browser.harness import beyond, edges, restart, run_all, settled
from wrapcalc.workbook import calm


@pytest.fixture(scope="module")
def package(lab):
    """A package of this file's own, in the folder of the lab."""
    lab.wrapcalc("package", "example/HB-07.toml", "--out", "on-site/packages")
    return lab.folder / "on-site" / "packages" / "HB-07-r1"


@pytest.fixture(autouse=True)
def clean(lab, package):
    """No field data, and nothing beside the package, of another test."""
    for left in (lab.folder / "field", package.parent / "as_found", package.parent / "closeout"):
        shutil.rmtree(left, ignore_errors=True)


def open_(notebook, name):
    return notebook(name, {"package_folder": "on-site/packages/HB-07-r1"})


def part(page, name):
    return page.locator(f".wb-view .{name}")


def answer(page, label, text):
    field = page.locator(".wb-view").get_by_label(label)
    field.fill(text)
    field.press("Tab")
    settled(page)
    return field


def test_a_depth_is_typed_wrongly_mended_saved_and_judged_and_a_reload_gives_the_same_page(notebook, lab, package):
    page = open_(notebook, "as_found.ipynb")
    expect(page.locator(".wb-view").get_by_text("predicted 3.9 mm; stop beyond 4 mm")).to_be_visible()
    assert beyond(page) == []
    assert edges(page) == {calm.EDGE}
    answer(page, "Greatest depth by any means", "4.3")
    fault = part(page, "wb-fault-of").get_by_role("alert")
    expect(fault).to_contain_text("found '4.3', which has no unit")
    answer(page, "Greatest depth by any means", "4.3 mm")
    expect(fault).to_have_count(0)
    expect(page.locator(".wb-view").get_by_text("4.3 mm is beyond 4 mm, the stop rule of the crew")).to_be_visible()
    expect(part(page, "wb-state")).to_contain_text("typed and not saved: Greatest depth by any means: 4.3 mm")
    page.get_by_role("button", name="Save the sheet").click()
    settled(page)
    sheet = lab.folder / "field" / "HB-07-r1" / "as_found.toml"
    comment = "# Greatest depth by any means; issued: 3.9 mm"
    assert re.search(rf'^depth = "4\.3 mm" +{comment}', sheet.read_text("utf-8"), re.M)
    verdict = part(page, "wb-verdict")
    expect(verdict).to_contain_text("Stop. Verdict: stop: new revision")
    before = part(page, "wb-found-verdict").inner_text()
    assert not (package.parent / "as_found").exists()  # a preview writes nothing
    run_all(page)
    expect(part(page, "wb-found-verdict")).to_have_text(re.compile(re.escape(before[:60])))
    assert part(page, "wb-found-verdict").inner_text() == before
    expect(page.locator(".wb-view").get_by_label("Greatest depth by any means")).to_have_value("4.3 mm")
    page.get_by_role("button", name="Write the verdict beside the package").click()
    settled(page)
    assert (package.parent / "as_found" / "HB-07-r1-1" / "as_found.pdf").is_file()
    expect(part(page, "wb-found-verdict")).to_contain_text("Written beside the package: as_found/HB-07-r1-1.")


def test_a_restart_of_the_kernel_loses_nothing_and_says_what_was_not_saved(notebook, lab, package):
    page = open_(notebook, "as_found.ipynb")
    answer(page, "Axial length", "230 mm")
    restart(page)
    run_all(page)
    expect(page.locator(".wb-view").get_by_label("Axial length")).to_have_value("230 mm")
    expect(part(page, "wb-state")).to_contain_text("one answer is typed and not saved: Axial length: 230 mm")
    sheet = lab.folder / "field" / "HB-07-r1" / "as_found.toml"
    assert not sheet.exists()
    page.get_by_role("button", name="Drop what was typed").click()
    settled(page)
    expect(page.locator(".wb-view").get_by_label("Axial length")).to_have_value("")


def test_a_reading_beyond_its_limit_is_seen_mended_and_saved_and_a_reload_gives_the_same_page(notebook, lab, package):
    page = open_(notebook, "close_out.ipynb")
    expect(part(page, "wb-verdict")).to_contain_text("Open.")
    assert beyond(page) == []
    assert edges(page) == {calm.EDGE}
    page.locator(".wb-view").get_by_label("Topic").select_option("Blast")
    settled(page)
    row = part(page, "wb-row-41")
    expect(row).to_contain_text("limit: at most 2; sheet of example-sleeve; ISO 8502, part 3")
    expect(row).to_contain_text("Missing.")
    answer(page, "dust rating, spot 1", "4")
    expect(row.get_by_role("alert")).to_contain_text("not met: Dust rating, greatest: 4, wanted at most 2")
    expect(part(page, "wb-close-verdict")).to_contain_text("HB-07-r1-N1")
    answer(page, "dust rating, spot 1", "one")
    expect(row.get_by_role("alert")).to_contain_text("cannot be read: reading: found 'one'")
    answer(page, "dust rating, spot 1", "1")
    expect(row).to_contain_text("Met:")
    expect(part(page, "wb-close-verdict")).not_to_contain_text("HB-07-r1-N1")
    page.get_by_role("button", name="Save the readings").click()
    settled(page)
    readings = lab.folder / "field" / "HB-07-r1" / "readings.csv"
    assert re.search(r"^41,dust rating,spot 1,1,", readings.read_text("utf-8-sig"), re.M)
    before = part(page, "wb-close-verdict").inner_text()
    restart(page)
    run_all(page)
    assert part(page, "wb-close-verdict").inner_text() == before
    page.locator(".wb-view").get_by_label("Topic").select_option("Blast")
    expect(page.locator(".wb-view").get_by_label("dust rating, spot 1")).to_have_value("1")
    page.get_by_role("button", name="Write the close-out").click()
    expect(part(page, "wb-told")).to_contain_text("this writes close-out 1 of HB-07-r1")
    assert not (package.parent / "closeout").exists()
    page.get_by_role("button", name="Yes, write it beside the package").click()
    settled(page)
    assert (package.parent / "closeout" / "HB-07-r1-1" / "closeout.pdf").is_file()


def test_readings_of_another_repair_are_told_and_a_file_changed_on_disk_is_never_overwritten_in_silence(notebook, lab,
                                                                                                        package):
    page = open_(notebook, "close_out.ipynb")
    answer(page, "package (text)", "HB-11-r1")
    expect(part(page, "wb-row-1").get_by_role("alert")).to_contain_text("these readings are of another repair")
    answer(page, "package (text)", "HB-07-r1")
    answer(page, "installer (a name)", "F. Example")
    readings = lab.folder / "field" / "HB-07-r1" / "readings.csv"
    theirs = (package / "readings-template.csv").read_bytes().replace(b"correction,,,", b"correction,,mine,", 1)
    readings.write_bytes(theirs)
    page.get_by_role("button", name="Save the readings").click()
    settled(page)
    expect(part(page, "wb-told")).to_contain_text("is there by now, and was not when you began; nothing was saved")
    assert readings.read_bytes() == theirs
    page.get_by_role("button", name="Save over what is on disk").click()
    settled(page)
    assert b"F. Example,,,WI" not in readings.read_bytes() and b"installer,,F. Example," in readings.read_bytes()


def test_a_folder_without_a_package_gives_one_calm_message(notebook):
    page = notebook("close_out.ipynb", {"package_folder": "on-site/none"})
    expect(page.get_by_text("there is no such folder. Make a package first")).to_be_visible()
