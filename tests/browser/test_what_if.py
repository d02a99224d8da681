"""The what-if bench in a real JupyterLab: move, read, pin, save, run the package from it."""

import re
import shutil

import pytest
from playwright.sync_api import expect

from tests.browser.harness import beyond, edges, restart, run_all
from wrapcalc.case import load_bundle
from wrapcalc.stages.job import run
from wrapcalc.workbook import calm

MARK = "Exploratory: not a package"


@pytest.fixture
def case(lab, request):
    """HB-07 in a folder of this test's own, below that of the lab."""
    folder = lab.folder / f"bench-{request.node.name[:40]}"
    folder.mkdir()
    for path in (lab.folder / "example").glob("HB-07*"):
        shutil.copy(path, folder)
    return folder / "HB-07.toml"


@pytest.fixture
def page(notebook, lab, case):
    return notebook("what_if.ipynb", {"case_file": case.relative_to(lab.folder).as_posix()})


def cell(page, label):
    """The number beside a label in the panel of the answer."""
    return page.locator(".wb-bench-answer tr", has=page.get_by_text(label, exact=True)).locator("td").last


def press(page, words):
    """Press a button that stands in the middle of the window, as it does for whoever has scrolled to it."""
    button = page.get_by_role("button", name=words)
    button.evaluate("e => e.scrollIntoView({block: 'center'})")
    button.click()


def enter(page, label, text):
    field = page.get_by_label(label, exact=True)
    field.fill(text)
    field.press("Tab")


#: Ids and verdicts of the table of checks that are broken into lines, or run into the cell beside them.
BROKEN = """() => [...document.querySelectorAll('.wb-bench-answer [aria-label="governing checks"] tbody :is('
    + 'td:first-child, td:has(.wc-verdict))')].filter(cell => {
        const text = document.createRange();
        text.selectNodeContents(cell);
        const at = [...text.getClientRects()];
        return new Set(at.map(r => Math.round(r.bottom))).size > 1 || at.some(
            r => r.right > cell.getBoundingClientRect().right + 1);
    }).map(cell => cell.innerText)"""


def test_a_slider_moved_by_the_keyboard_gives_the_layers_of_the_job_and_a_bad_value_none(page, case):
    assert beyond(page) == []
    assert edges(page) == {calm.EDGE}  # tests/workbook/test_calm.py holds its contrast
    assert page.locator(".wb-bench-answer .wc-verdict").count() and page.evaluate(BROKEN) == []
    expect(cell(page, "Layers")).to_have_text("11")
    enter(page, "Depth of the defect (mm)", "4.3 mm")
    expect(page.locator(".wb-what")).to_contain_text("Depth of the defect 4.3 mm (case: 3.9 mm)")
    handle = page.locator(".wb-in-defect-depth .noUi-handle")
    handle.focus()
    for _ in range(3):
        handle.press("ArrowRight")
    expect(page.locator(".wb-what")).to_contain_text("Depth of the defect 4.6 mm (case: 3.9 mm)")
    expect(page.get_by_label("Depth of the defect (mm)", exact=True)).to_have_value("4.6 mm")
    text = case.read_text(encoding="utf-8").replace('depth = { value = "3.9 mm"', 'depth = { value = "4.6 mm"')
    moved = case.with_name("moved.toml")
    moved.write_text(text, encoding="utf-8")
    whole = run(load_bundle(moved))
    expect(page.locator(".wb-decision").first).to_have_text(whole.decision.sentence)
    expect(cell(page, "Layers")).to_have_text(re.compile(rf"^{whole.design.laid.count.magnitude:.0f}\b"))
    figures = page.locator(".wb-bench-figures svg")
    expect(figures).to_have_count(4 if whole.bears else 3)
    for panel in (".wb-bench-answer", ".wb-bench-figures", ".wb-bench-compare"):
        expect(page.locator(panel)).to_contain_text(MARK)
    # What cannot be is told at its field, and nothing of the last valid values stays on the page.
    enter(page, "Depth of the defect (mm)", "4.1")
    told = page.locator(".wb-in-defect-depth [role=alert]")
    expect(told).to_contain_text("which has no unit")
    expect(page.locator(".wb-bench-answer")).to_contain_text("those of the last valid values were removed")
    expect(figures).to_have_count(0)
    enter(page, "Depth of the defect (mm)", "12 mm")
    expect(told).to_contain_text("at most the wall, 8.61 mm")
    enter(page, "Depth of the defect (mm)", "4.1 mm")
    expect(told).to_have_count(0)
    expect(cell(page, "Layers")).to_have_text("11")


def test_a_drag_shows_the_last_place_and_never_queues_up(page):
    handle = page.locator(".wb-in-service-maop .noUi-handle")
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    for k in range(1, 80):
        page.mouse.move(x - k, y)
    page.mouse.up()
    place = round(float(handle.get_attribute("aria-valuetext")), 6)
    assert place < 8.6
    expect(page.get_by_label("MAOP (MPa)", exact=True)).to_have_value(f"{place:g} MPa")
    expect(page.locator(".wb-what")).to_contain_text(f"MAOP {place:g} MPa (case: 8.6 MPa)")
    # Far fewer answers than places: what is overtaken is not worked.
    assert int(page.locator(".wb-bench-answer .wb-run").get_attribute("data-run")) < 79


def test_pinned_variants_outlive_the_kernel_and_one_is_saved_and_packaged(page, case, lab):
    enter(page, "Depth of the defect (mm)", "4.1 mm")
    page.get_by_label("What this variant is for").fill("deeper")
    press(page, "Pin this variant")
    said = page.locator(".wb-bench-said-of-pins")
    expect(said).to_contain_text("variant A is pinned")
    expect(said).to_be_in_viewport(ratio=1)
    page.get_by_label("Thickness route", exact=True).select_option("laminate strain")
    press(page, "Pin this variant")
    expect(said).to_contain_text("variant B is pinned")
    row = page.locator(".wb-bench-compare tr", has=page.get_by_text("Decision", exact=True))
    expect(row.locator("td")).to_have_text(["wrap", "wrap", "other repair needed"])
    expect(row.locator("td.wb-differs")).to_have_count(1)
    assert page.evaluate("() => getComputedStyle(document.querySelector('.wb-bench-compare td.wb-differs'), "
                         "'::before').content") == '"≠ "'
    before = page.locator(".wb-bench-compare table").inner_text()
    view = page.locator(".wb-view")
    expect(view).not_to_have_class(re.compile("disconnected"))
    restart(page)
    expect(view).to_have_class(re.compile("jupyter-widgets-disconnected"))
    assert view.evaluate("e => getComputedStyle(e, '::before').content") == f'"{calm.DEAD}"'
    # Neither the mouse nor the keyboard moves what nobody answers.
    expect(page.locator(".wb-in-defect-depth .noUi-handle")).to_be_hidden()
    assert view.get_by_role("button", name="Pin this variant").evaluate("e => getComputedStyle(e).pointerEvents") == (
        "none")
    run_all(page)
    expect(page.locator(".wb-bench-compare table")).to_have_text(re.compile("deeper"))
    assert page.locator(".wb-bench-compare table").inner_text() == before
    # A variant is put back and saved as a case of its own, and a package is made from it.
    page.get_by_role("button", name="Put A on the sliders").click()
    expect(page.get_by_label("Depth of the defect (mm)", exact=True)).to_have_value("4.1 mm")
    expect(page.locator(".wb-what")).to_contain_text("4.1 mm")
    sentence = page.locator(".wb-decision").first.inner_text()
    page.get_by_label("Name of the new case").fill("HB-07")
    page.get_by_label("Reason, for the reviewer").fill("what the next look may find")
    press(page, "Save as a new case")
    said = page.locator(".wb-bench-said-of-saving")
    expect(said.get_by_role("alert")).to_contain_text("nothing is overwritten")
    expect(said).to_be_in_viewport(ratio=1)
    page.get_by_label("Name of the new case").fill("HB-07-deeper")
    press(page, "Save as a new case")
    expect(said.get_by_role("status")).to_contain_text("HB-07-deeper.toml was written")
    expect(said).to_be_in_viewport(ratio=1)
    lab.wrapcalc("package", str(case.with_name("HB-07-deeper.toml")), "--out", str(case.parent / "packages"))
    html = (case.parent / "packages" / "HB-07-deeper-r1" / "package.html").read_text(encoding="utf-8")
    assert sentence in html and "what the next look may find" in html
