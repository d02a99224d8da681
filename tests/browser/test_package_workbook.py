"""The workbook of one case, run by a user in JupyterLab."""

from playwright.sync_api import expect

from tests.browser.harness import shown
from wrapcalc import workbook as wb


def test_the_workbook_of_a_case_runs_in_the_browser_and_shows_its_decision(notebook, lab):
    page = notebook("repair_package.ipynb", {"case_file": "example/HB-07.toml"})
    record = wb.open_case(str(lab.folder / "example" / "HB-07.toml")).record
    decision = shown(page).filter(has_text="NOT APPROVED: not for construction.").first
    expect(decision).to_contain_text(record["decision"]["sentence"])
    expect(shown(page).filter(has_text="record SHA-256")).to_contain_text(wb.fingerprint(wb.Job(record)).text)
