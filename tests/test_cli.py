"""The commands as a user meets them."""

import subprocess
import sys
from pathlib import Path

import pytest

from wrapcalc.cli import main

ROOT = Path(__file__).parents[1]


def test_every_command_has_help(capsys):
    for command in ("new", "example", "check", "package", "explain", "verify", "lab"):
        with pytest.raises(SystemExit) as stop:
            main([command, "--help"])
        assert stop.value.code == 0
        assert "usage: wrapcalc " + command in capsys.readouterr().out


def test_help_imports_nothing_heavy():
    code = ("import sys; from wrapcalc.cli import main\n"
            "try: main(['--help'])\nexcept SystemExit: pass\n"
            "print(sorted({'pint', 'numpy', 'pydantic', 'matplotlib', 'IPython'} & sys.modules.keys()))")
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert out.splitlines()[-1] == "[]"


@pytest.mark.parametrize("arguments", [[], ["nothing"], ["package", "x"], ["package", "x", "--out", "y", "-j", "0"],
                                       ["package", "x", "--out", "y", "-j", "many"], ["explain", "x"]])
def test_wrong_use_ends_with_status_2_and_a_usage_line(arguments, capsys):
    with pytest.raises(SystemExit) as stop:
        main(arguments)
    assert stop.value.code == 2
    assert "usage: wrapcalc" in capsys.readouterr().err


def test_check_passes_the_example_and_tells_all_faults_of_the_faulty_case(example, capsys):
    before = sorted(p.name for p in example.rglob("*"))
    assert main(["check", str(example)]) == 0
    capsys.readouterr()
    assert main(["check", str(example / "faults")]) == 1
    out = capsys.readouterr().out
    faults = [line for line in out.splitlines() if line.startswith("  ")]
    assert len(faults) >= 8
    assert all(": found " in f and "; allowed: " in f and ". To mend: " in f for f in faults)
    assert sorted(p.name for p in example.rglob("*")) == before


def test_example_never_overwrites(tmp_path, capsys):
    assert main(["example", str(tmp_path / "e")]) == 0
    assert main(["check", str(tmp_path / "e")]) == 0
    assert main(["example", str(tmp_path / "e")]) == 1
    assert "not empty" in capsys.readouterr().err


def test_new_writes_blank_files_that_are_read_and_a_form(tmp_path, capsys):
    assert main(["new", str(tmp_path / "n")]) == 0
    names = {p.name for p in (tmp_path / "n").iterdir()}
    assert names == {"case.toml", "sleeve_system.toml", "lay_up_system.toml", "owner_form.html", "owner_form.pdf"}
    capsys.readouterr()
    assert main(["check", str(tmp_path / "n" / "case.toml")]) == 0
    shown = capsys.readouterr().out
    assert "not answered yet, 25 needed for any decision:" in shown and "case.line  Line, section" in shown


def test_a_blank_case_gives_insufficient_data(tmp_path, capsys):
    main(["new", str(tmp_path / "n")])
    assert main(["package", str(tmp_path / "n" / "case.toml"), "--out", str(tmp_path / "out")]) == 0
    assert "insufficient data" in capsys.readouterr().out


@pytest.mark.parametrize("sheet", ["sleeve_system.toml", "lay_up_system.toml"])
def test_a_blank_system_sheet_is_refused_with_everything_it_lacks(tmp_path, sheet):
    from wrapcalc.errors import CaseFaults
    from wrapcalc.systems.sheets import read_system
    main(["new", str(tmp_path / "n")])
    with pytest.raises(CaseFaults) as caught:
        read_system(tmp_path / "n" / sheet)
    fields = {f.field for f in caught.value.faults}
    assert {"laminate.modulus_hoop", "filler.density", "envelope.depth_max", "evidence.0.reference"} <= fields


def test_the_owner_form_asks_every_question_of_a_case(tmp_path):
    from html import unescape

    from wrapcalc.case.model import QUESTIONS
    main(["new", str(tmp_path / "n")])
    form = unescape((tmp_path / "n" / "owner_form.html").read_text(encoding="utf-8"))
    for name, question in QUESTIONS.items():
        if name != "schema_version" and not name.startswith("documents"):
            assert question in form


def test_lab_prepares_its_folder_and_never_overwrites(tmp_path):
    from wrapcalc.package.starters import write_lab
    write_lab(tmp_path / "lab")
    assert (tmp_path / "lab" / "repair_package.ipynb").is_file()
    assert (tmp_path / "lab" / "example" / "HB-07.toml").is_file()
    (tmp_path / "lab" / "repair_package.ipynb").write_text("mine", encoding="utf-8")
    said = write_lab(tmp_path / "lab")
    assert len(said) == 1 and "repair_package.ipynb is not the one of wrapcalc" in said[0]
    assert (tmp_path / "lab" / "repair_package.ipynb").read_text(encoding="utf-8") == "mine"


def test_lab_refuses_a_port_in_use(tmp_path):
    import socket

    from wrapcalc.errors import PackageError
    from wrapcalc.package.starters import start_lab
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        s.listen()
        with pytest.raises(PackageError, match=r"port \d+ is in use"):
            start_lab(tmp_path, no_browser=True, port=s.getsockname()[1])


def test_the_readme_has_each_command_as_one_line_with_its_powershell_twin():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    import re
    bash = re.findall(r"```bash\n(.*?)```", text, re.S)
    twins = re.findall(r"```powershell\n(.*?)```", text, re.S)
    assert len(bash) == len(twins) == 2
    assert all(len(block.strip().splitlines()) == 1 for block in bash + twins)
    for block, twin in zip(bash, twins, strict=True):
        ours = re.findall(r'\[[a-z,]+\]|wrapcalc \w+|pytest.*', block.strip())
        theirs = re.findall(r'\[[a-z,]+\]|wrapcalc \w+|pytest.*', twin.strip())
        assert ours == theirs


def test_a_console_without_unicode_does_not_stop_a_run(example):
    out = subprocess.run([sys.executable, "-m", "wrapcalc", "check", str(example)], capture_output=True, check=True,
                         env={"PYTHONIOENCODING": "ascii", "PATH": "", "SYSTEMROOT": ""})
    assert b"no faults" in out.stdout


def test_check_and_package_agree_on_letters_that_the_report_cannot_print(example, tmp_path, capsys):
    path = example / "HB-02.toml"
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join('title = "管道 Ω Ж"' if x.startswith("title = ") else x for x in lines), encoding="utf-8")
    assert main(["check", str(path)]) == 1
    told = capsys.readouterr().out
    assert "case.title: found '管' (U+7BA1), '道' (U+9053); allowed: characters of the report's fonts" in told
    assert main(["package", str(path), "--out", str(tmp_path / "out")]) == 1
    assert "case.title: found '管'" in capsys.readouterr().err
    assert list((tmp_path / "out").iterdir()) == []
