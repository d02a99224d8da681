"""JupyterLab as `wrapcalc lab` starts it; and that the harness sees what must not happen."""

import json
import re
import socket
import urllib.error
import urllib.request

import pytest
from playwright.sync_api import expect

from tests.browser.harness import reaction, restart, run_all, saved, shown, tracebacks
from wrapcalc.package.starters import WELCOME


def test_the_welcome_page_comes_first_and_leads_to_the_workbooks(desk, lab):
    page = desk.open()
    welcome = page.locator(".jp-MarkdownViewer")
    expect(welcome.get_by_role("heading", name="Workbench")).to_be_visible()
    assert len((lab.folder / WELCOME).read_text(encoding="utf-8").splitlines()) <= 10
    welcome.get_by_role("link", name="Step through the design").click()
    expect(page.locator(".jp-NotebookPanel")).to_contain_text("Repair package, step by step")
    expect(page.locator(".jp-toast, .Toastify__toast")).to_have_count(0)


def test_a_terminal_of_the_lab_finds_the_tool_that_started_it(lab):
    from shutil import which
    assert which("wrapcalc", path=lab.env["PATH"])
    assert "no faults" in lab.wrapcalc("check", "example/HB-07.toml")


def test_nobody_gets_in_without_the_token(lab):
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(f"{lab.url}/api/contents", timeout=20)
    refused.value.close()
    assert refused.value.code == 403


def test_the_lab_listens_on_one_loopback_address_only(lab):
    with socket.socket() as s:  # a server on all addresses would answer here, too
        assert s.connect_ex(("127.0.0.2", int(lab.url.rpartition(":")[2]))) != 0


def own(lab, name: str, *cells: str) -> str:
    """A notebook with these cells in the folder of the lab."""
    content = {"cells": [{"cell_type": "code", "id": f"cell-{n}", "metadata": {}, "source": text, "outputs": [],
                          "execution_count": None} for n, text in enumerate(cells)],
               "metadata": {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}},
               "nbformat": 4, "nbformat_minor": 5}
    (lab.folder / name).write_text(json.dumps(content), encoding="utf-8")
    return name


#: A slider whose callback writes into the page, and a button whose callback fails.
WIDGETS = """\
import ipywidgets as w
slider, button = w.IntSlider(value=3, description="Layers"), w.Button(description="Fail")
text = w.HTML("<p>at first</p>")
text.add_class("wb-told")
slider.observe(lambda change: setattr(text, "value", f"<p>now {change['new']}</p>"), "value")
button.on_click(lambda _: 1 / 0)
w.VBox([slider, text, button])"""


def test_the_harness_measures_a_slider_and_survives_a_restart(notebook, lab):
    page = notebook(own(lab, "slider.ipynb", WIDGETS))
    told = page.locator(".wb-told")
    expect(told).to_have_text("at first")
    found = reaction(page, lambda: page.get_by_role("slider").press("ArrowRight"), ".wb-told")
    expect(told).to_have_text("now 4")
    assert 0 < found.first <= found.last
    restart(page)
    run_all(page)
    expect(page.locator(".wb-told")).to_have_text("at first")
    assert saved(page).name == "slider.ipynb"


def test_the_harness_sees_a_callback_that_fails(notebook, desk, lab):
    page = notebook(own(lab, "callback.ipynb", WIDGETS))
    page.get_by_role("button", name="Fail").click()
    page.wait_for_function("() => window.wbErrors.length > 0")
    assert any("ZeroDivisionError" in t for t in tracebacks(page))
    page.evaluate("() => { window.wbErrors = []; }")
    desk.pages.clear()


def test_the_harness_sees_a_cell_that_fails(notebook, desk, lab):
    page = notebook(own(lab, "cell.ipynb", "1 / 0"))
    assert any("a cell ended in an error: ZeroDivisionError" in t for t in tracebacks(page))
    desk.pages.clear()


def test_the_harness_sees_a_page_that_reaches_for_another_machine(desk):
    page = desk.open()
    page.evaluate("() => fetch('http://192.0.2.1/x').catch(() => null)")
    page.evaluate("() => new Promise(end => { new WebSocket('ws://192.0.2.1/y').onclose = end; })")
    assert {"http://192.0.2.1/x", "ws://192.0.2.1/y"} <= set(desk.left)
    assert any("left the machine" in f for f in desk.faults())
    desk.left.clear()
    desk.errors.clear()


def test_the_harness_sees_a_page_that_logs_an_error(desk):
    page = desk.open()
    with page.expect_console_message():
        page.evaluate("() => console.error('something of ours')")
    with page.expect_event("pageerror"):
        page.evaluate("() => { setTimeout(() => { throw new Error('thrown'); }, 0); }")
    assert re.search("logged an error: something of ours.*uncaught in the page: thrown", " ".join(desk.errors))
    desk.errors.clear()


REACHES = """\
import socket
try:
    socket.create_connection(("192.0.2.1", 80), timeout=1)
except OSError as e:
    print(e)"""


def test_the_harness_sees_a_kernel_that_reaches_for_another_machine(notebook, desk, lab):
    page = notebook(own(lab, "kernel.ipynb", REACHES))
    expect(shown(page)).to_contain_text("this run is offline")
    assert any("server or kernel left the machine" in f and "192.0.2.1" in f for f in desk.faults())
