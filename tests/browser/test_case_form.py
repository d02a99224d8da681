"""The case form in JupyterLab: fill it, see a fault, mend it, save, and make the package of what was saved."""

import json
import re
import tomllib

from playwright.sync_api import expect

from tests.browser.harness import beyond, edges, restart, run_all, settled
from wrapcalc import workbook as wb
from wrapcalc.workbook import calm
from wrapcalc.workbook.form.draft import answer_in
from wrapcalc.workbook.form.questions import SECTIONS, questions


def section(page, name: str) -> None:
    page.locator(".wb-nav").get_by_role("button", name=re.compile(rf"^{re.escape(name)}( ·|$)")).click()


def row(page, field: str):
    return page.locator(f".wb-field-{field.replace('.', '-')}")


def fill(page, field: str, text: str) -> None:
    control = row(page, field).locator(".wb-form-answer").locator("input, select")
    if control.evaluate("e => e.tagName") == "SELECT":
        control.select_option(control.evaluate(
            "(e, t) => [...e.options].map(o => o.value).find(v => v === t || v.startsWith(t + ' ·'))", text))
    else:
        control.fill(text)


def save(page) -> None:
    page.get_by_role("button", name="Save", exact=True).click()


def told(page):
    return page.locator(".wb-form-told")


def test_a_new_case_is_filled_in_saved_and_packaged(notebook, lab):
    model = tomllib.loads((lab.folder / "example" / "HB-02.toml").read_text(encoding="utf-8"))
    page = notebook("case_form.ipynb", {"case_file": "example/FORM-1.toml"})
    expect(page.locator(".wb-form-state")).to_contain_text("a new case, not saved yet")
    answers = {f: a for f, q in questions().items() if not q.listed and f != "case.id"
               and not (a := answer_in(model, f)).blank}
    for name, title in SECTIONS.items():
        here = [f for f in answers if f.startswith(f"{name}.")]
        if here:
            section(page, title)
        if any(not row(page, f).count() for f in here):
            page.get_by_role("button", name=re.compile(r"Show \d+ more questions")).click()
        for field in here:
            fill(page, field, answers[field].text)
            if answers[field].source and name == "pipe":  # one section says how it goes with sources
                row(page, field).get_by_label("Source", exact=True).fill(answers[field].source)
    save(page)
    expect(told(page)).to_contain_text("saved FORM-1.toml; it reads without faults")
    saved = tomllib.loads((lab.folder / "example" / "FORM-1.toml").read_text(encoding="utf-8"))
    for field, answer in answers.items():
        assert answer_in(saved, field).text == answer.text, field
        assert answer_in(saved, field).source == (answer.source if field.startswith("pipe.") else ""), field
    page.get_by_role("button", name="Run the saved case").click()
    expect(told(page).locator(".wb-form-outcome")).to_contain_text("FORM-1")
    lab.wrapcalc("package", "example/FORM-1.toml", "--out", "example/form-packages")
    record = lab.folder / "example" / "form-packages" / "FORM-1-r1" / "record.json"
    by_hand = wb.open_case(str(lab.folder / "example" / "HB-02.toml")).record
    assert json.loads(record.read_text(encoding="utf-8"))["decision"] == by_hand["decision"]


def test_a_fault_is_seen_as_one_types_and_mended_and_comments_survive(notebook, lab):
    path = lab.folder / "example" / "FORM-2.toml"
    before = (lab.folder / "example" / "HB-07.toml").read_text(encoding="utf-8").replace(
        'smts = {', "# read twice\nsmts = {")
    path.write_text(before, encoding="utf-8")
    page = notebook("case_form.ipynb", {"case_file": "example/FORM-2.toml"})
    section(page, "Pipe")
    assert beyond(page) == []
    assert edges(page) == {calm.EDGE}
    wall = row(page, "pipe.nominal_wall")
    wall.get_by_label("Nominal wall").fill("")
    wall.get_by_label("Nominal wall").press_sequentially("0.34 bananas")
    expect(wall.get_by_role("alert")).to_contain_text("is not a unit we know")
    expect(page.locator(".wb-nav").get_by_role("button", name="Pipe · 1 fault")).to_be_visible()
    wall.get_by_label("Nominal wall").fill("0.344 in")
    expect(wall).to_contain_text("= 8.738 mm")
    expect(wall.get_by_role("alert")).to_have_count(0)
    expect(wall.get_by_label("Unit", exact=True)).to_have_value("in")
    expect(page.locator(".wb-form-state")).to_contain_text("not saved: Nominal wall")
    save(page)
    expect(told(page)).to_contain_text("reads without faults")
    assert path.read_text(encoding="utf-8") == before.replace('nominal_wall = { value = "8.74 mm"',
                                                              'nominal_wall = { value = "0.344 in"')
    # pasted from a spreadsheet, with a hole in it, and mended
    section(page, "Depth grid")
    expect(page.locator(".wb-form-drawing svg")).to_be_visible()
    cells = "mm\t0\t60\t236\n0\t0\t0\t0\n70\t0\t\t0\n154\t0\t0\t0"
    page.locator(".wb-form-paste textarea").fill(cells)
    page.get_by_role("button", name="Use the pasted grid").click()
    expect(page.locator(".wb-form-grid").get_by_role("alert")).to_contain_text("row 3, column 3: found an empty cell")
    page.locator(".wb-form-paste textarea").fill(cells.replace("\t\t", "\t3,4\t"))
    page.get_by_role("button", name="Use the pasted grid").click()
    expect(page.locator(".wb-form-drawing")).to_contain_text("3 stations around × 3 along")
    assert (lab.folder / "example" / "FORM-2-grid.csv").read_text() == "mm,0,60,236\n0,0,0,0\n70,0,3.4,0\n154,0,0,0\n"
    # somebody else changes the file
    path.write_text(path.read_text(encoding="utf-8").replace('"37 °C"', '"36 °C"'), encoding="utf-8")
    save(page)
    expect(told(page).get_by_role("alert")).to_contain_text("was changed on disk since it was opened")
    assert '"HB-07-grid.csv"' in path.read_text(encoding="utf-8")
    page.get_by_label("Replace what stands there").check()
    save(page)
    expect(told(page)).to_contain_text("reads without faults")
    after = path.read_text(encoding="utf-8")
    assert '"FORM-2-grid.csv"' in after and "# read twice" in after


def test_a_kernel_that_is_lost_takes_nothing_with_it_unsaid(notebook, lab):
    path = lab.folder / "example" / "FORM-3.toml"
    path.write_bytes((lab.folder / "example" / "HB-02.toml").read_bytes())
    page = notebook("case_form.ipynb", {"case_file": "example/FORM-3.toml"})
    section(page, "Pipe")
    fill(page, "pipe.nominal_wall", "7.0 mm")
    expect(page.locator(".wb-form-state")).to_contain_text("not saved: Nominal wall")
    restart(page)
    run_all(page)
    form = page.locator(".wb-form")
    expect(form).to_contain_text("typed earlier and not saved: Nominal wall")
    form.get_by_role("button", name="Take it back").click()
    settled(page)
    save(page)
    expect(told(page)).to_contain_text("saved FORM-3.toml")
    assert answer_in(tomllib.loads(path.read_text(encoding="utf-8")), "pipe.nominal_wall").text == "7.0 mm"
