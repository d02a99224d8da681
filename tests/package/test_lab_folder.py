"""The folder of `wrapcalc lab`, and how JupyterLab is started on it."""

import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from wrapcalc.errors import PackageError
from wrapcalc.package import starters
from wrapcalc.package.starters import WELCOME, lab_command, lab_environment, write_lab

WORKBOOKS = Path(__file__).parents[2] / "workbooks"


@pytest.fixture
def lab(tmp_path) -> Path:
    write_lab(tmp_path / "lab")
    return tmp_path / "lab"


def edit(path: Path, change) -> None:
    content = json.loads(path.read_text(encoding="utf-8"))
    change(content["cells"])
    path.write_text(json.dumps(content), encoding="utf-8")


def test_a_new_folder_has_welcome_page_workbooks_and_example_and_nothing_else(lab):
    assert {p.name for p in lab.iterdir()} == {WELCOME, "example", *(p.name for p in WORKBOOKS.glob("*.ipynb"))}
    assert (lab / "example" / "HB-07.toml").is_file()


def test_the_welcome_page_has_ten_lines_and_leads_to_every_workbook():
    text = (WORKBOOKS / WELCOME).read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 10
    links = re.findall(r"\]\(([^)]+)\)", text)
    assert {p.name for p in WORKBOOKS.glob("*.ipynb")} <= set(links)
    assert links == ["case_form.ipynb", "what_if.ipynb", "repair_package.ipynb", "review.ipynb", "as_found.ipynb",
                     "close_out.ipynb", "campaign.ipynb"]  # the order of the work


def test_the_welcome_page_says_how_to_make_the_packages_of_the_example(lab, monkeypatch):
    from wrapcalc.cli import main
    command = re.search(r"`wrapcalc (package [^`]+)`", (lab / WELCOME).read_text(encoding="utf-8"))[1].split()
    shutil.rmtree(lab / "example" / "faults")
    for case in (lab / "example").glob("HB-*.toml"):  # one is enough to see that the command is right
        if case.stem != "HB-23":
            case.unlink()
    monkeypatch.chdir(lab)
    assert main(command) == 0
    assert (lab / "example" / "packages" / "HB-23-r1" / "manifest.json").is_file()


def test_a_second_start_changes_nothing_and_says_nothing(lab):
    before = {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in lab.rglob("*") if p.is_file()}
    assert write_lab(lab) == []
    assert {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in lab.rglob("*") if p.is_file()} == before


def test_a_workbook_that_was_run_or_opens_another_case_is_still_the_shipped_one(lab):
    def run(cells):
        for n, cell in enumerate(c for c in cells if c["cell_type"] == "code"):
            cell["execution_count"], cell["outputs"] = n, [{"output_type": "stream", "name": "stdout", "text": "x"}]
            if "parameters" in cell["metadata"].get("tags", []):
                cell["source"] = 'case_file = "mine.toml"'

    edit(lab / "repair_package.ipynb", run)
    assert write_lab(lab) == []


def changed(cells) -> None:
    cells[0]["source"] += " mine"


@pytest.mark.parametrize("name", ["repair_package.ipynb", WELCOME])
def test_a_file_of_the_user_that_differs_is_named_and_left_as_it_is(lab, name):
    if name == WELCOME:
        (lab / name).write_text("mine", encoding="utf-8")
    else:
        edit(lab / name, changed)
    before = (lab / name).read_bytes()
    said = write_lab(lab)
    assert len(said) == 1
    assert re.match(rf"{re.escape(str(lab / name))} is not the one of wrapcalc .*left as it is.*rename yours", said[0])
    assert (lab / name).read_bytes() == before


def test_after_renaming_ones_own_the_shipped_one_comes(lab):
    edit(lab / "repair_package.ipynb", changed)
    (lab / "repair_package.ipynb").rename(lab / "mine.ipynb")
    assert write_lab(lab) == [f"wrote {lab / 'repair_package.ipynb'}"]
    assert (lab / "repair_package.ipynb").read_bytes() == (WORKBOOKS / "repair_package.ipynb").read_bytes()


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"cells": 3}', '{"cells": [{"source": 1}]}', "\x00", "no notebook"])
def test_whatever_stands_under_the_name_of_a_workbook_is_left_and_named(lab, text):
    (lab / "campaign.ipynb").write_text(text, encoding="utf-8")
    assert len(write_lab(lab)) == 1
    assert (lab / "campaign.ipynb").read_text(encoding="utf-8") == text


def test_an_interrupted_start_leaves_nothing_half_written(tmp_path, monkeypatch):
    def stopped(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(starters, "write_example", stopped)
    with pytest.raises(KeyboardInterrupt):
        write_lab(tmp_path / "lab")
    assert not [p for p in (tmp_path / "lab").iterdir() if p.suffix not in (".ipynb", ".md")]
    monkeypatch.undo()
    assert write_lab(tmp_path / "lab") == [f"wrote {tmp_path / 'lab' / 'example'}"]


def test_a_folder_that_cannot_be_written_is_one_message(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(PackageError, match="this is a file; name a folder"):
        write_lab(tmp_path / "file")
    with pytest.raises(PackageError, match=r"cannot write here \(Not a directory\); choose another folder"):
        write_lab(tmp_path / "file" / "lab")

    def denied(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(shutil, "copyfile", denied)
    with pytest.raises(PackageError, match=r"cannot write here \(Permission denied\)"):
        write_lab(tmp_path / "lab")


def test_jupyterlab_is_told_to_stay_on_this_machine_and_to_ask_nobody(tmp_path):
    command = lab_command(tmp_path, tmp_path, no_browser=True, port=8888)
    assert {"--ip=127.0.0.1", "--port=8888", "--LabApp.news_url=None", "--LabApp.extension_manager=readonly",
            "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate", "--no-browser",
            f"--LabApp.default_url=/lab/tree/{WELCOME}"} <= set(command)
    assert not any("token" in word or "password" in word for word in command)  # JupyterLab makes its token
    settings = json.loads((tmp_path / "overrides.json").read_text(encoding="utf-8"))
    assert settings["@jupyterlab/apputils-extension:notification"] == {"fetchNews": "false", "checkForUpdates": False}
    page = json.loads((tmp_path / "page_config.json").read_text(encoding="utf-8"))
    assert page == {"buildAvailable": False, "buildCheck": False}


def test_a_terminal_of_the_lab_finds_this_wrapcalc_first():
    found = shutil.which("wrapcalc", path=lab_environment()["PATH"])
    assert found and Path(found).parent.samefile(Path(sys.executable).parent)


def answers(url: str) -> bool:
    """Whether the server answers; it names its address a moment before it listens there."""
    for _ in range(600):
        try:
            with urllib.request.urlopen(url, timeout=60) as answer:
                return answer.status == 200
        except urllib.error.URLError:
            time.sleep(0.1)
    return False


@pytest.mark.skipif(sys.platform == "win32", reason="signals of a terminal")
@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM], ids=["ctrl-c", "end"])
def test_jupyterlab_ends_its_kernels_by_itself_when_the_command_is_stopped(tmp_path, sent):
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        port = s.getsockname()[1]
    own = {n: str(tmp_path / n) for n in ("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR")}
    command = [sys.executable, "-m", "wrapcalc", "lab", str(tmp_path / "lab"), "--no-browser", f"--port={port}"]
    with subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
                          env=os.environ | own | {"PYTHONUNBUFFERED": "1"}, text=True, encoding="utf-8",
                          start_new_session=True) as process:
        try:
            said = ""
            for line in process.stdout:
                said += line
                if url := re.search(r"http://127\.0\.0\.1:\d+/lab/\S*token=\w+", line):
                    break
            assert url, said
            assert answers(url[0])
            if sent == signal.SIGINT:
                os.killpg(process.pid, sent)  # as a terminal does: to the command and to JupyterLab
            else:
                process.send_signal(sent)
            rest = process.stdout.read()
            assert process.wait(60) == 0, rest
            assert re.search("received signal|Interrupted", rest)
        finally:
            process.kill()
    with socket.socket() as s:
        assert s.connect_ex(("127.0.0.1", port)) != 0
