"""Package folders: whole or not at all, never changed, a revision for every change."""

import csv
import errno
import io
import json
import os
from pathlib import Path

import pytest

from wrapcalc.cli import main
from wrapcalc.package import build

DECISIONS = {"HB-02": "no repair needed", "HB-07": "wrap", "HB-11": "reduce pressure and monitor", "HB-15": "wrap",
             "HB-23": "other repair needed", "HB-27": "no repair needed",
             "HB-34": "wrap", "HB-39": "other repair needed", "HB-42": "wrap", "HB-46": "wrap", "HB-51": "wrap"}
ALWAYS = {"case.toml", "record.json", "workbook.ipynb", "package.html", "package.pdf", "manifest.json",
          "manifest.sha256", "run.json", "README.txt"}


def files(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def only(example: Path, *keep: str) -> None:
    for path in example.glob("HB-*.toml"):
        if path.stem not in keep:
            path.unlink()


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1, old
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_the_example_gives_one_package_per_anomaly(packages):
    assert {p.name for p in packages.iterdir()} == {f"{k}-r1" for k in DECISIONS}
    for case, word in DECISIONS.items():
        folder = packages / f"{case}-r1"
        assert json.loads((folder / "record.json").read_text(encoding="utf-8"))["decision"]["word"] == word
        names = set(files(folder))
        assert names >= ALWAYS
        assert ("takeoff.csv" in names) == (word == "wrap")


def test_a_package_carries_everything_that_made_it(packages):
    assert {"HB-07-grid.csv", "example-sleeve.toml"} <= set(files(packages / "HB-07-r1"))


def test_takeoff_lists_whole_packs(packages):
    text = (packages / "HB-07-r1" / "takeoff.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [r["item"].split(",")[0] for r in rows] == ["Sleeve", "Sleeve", "Adhesive", "Filler", "End seal"]
    assert all(float(r["packs"]) == int(float(r["packs"])) for r in rows if r["packs"])
    assert all(r["unit"] for r in rows)


def test_a_text_that_a_spreadsheet_could_run_is_defused():
    record = {"case": {"id": "X"}, "order": [{"item": "=1+1", "basis": "@SUM(A1)", "packs": None, "pack": None,
              "quantity": {"shown": "2 kg", "origin": {"ref": "T1"}}}]}
    row = build.takeoff_csv(record).splitlines()[1]
    assert "'=1+1" in row and "'@SUM(A1)" in row and ",2," in row


def test_unchanged_does_no_work(example, tmp_path, capsys):
    only(example, "HB-02")
    out = tmp_path / "out"
    assert main(["package", str(example), "--out", str(out)]) == 0
    before = {p: p.stat().st_mtime_ns for p in (out / "HB-02-r1").iterdir()}
    capsys.readouterr()
    assert main(["package", str(example), "--out", str(out)]) == 0
    assert "unchanged" in capsys.readouterr().out
    assert [p.name for p in out.iterdir()] == ["HB-02-r1"]
    assert {p: p.stat().st_mtime_ns for p in (out / "HB-02-r1").iterdir()} == before


def test_two_runs_give_the_same_bytes_but_for_times(example, tmp_path):
    only(example, "HB-07")
    for name in ("one", "two"):
        assert main(["package", str(example), "--out", str(tmp_path / name)]) == 0
    one, two = (files(tmp_path / n / "HB-07-r1") for n in ("one", "two"))
    assert {n for n in one if one[n] != two[n]} <= {"run.json", "manifest.json", "manifest.sha256"}


def test_a_change_gives_a_new_revision_that_says_what_differs(example, tmp_path):
    only(example, "HB-07")
    out = tmp_path / "out"
    main(["package", str(example), "--out", str(out)])
    first = files(out / "HB-07-r1")
    edit(example / "HB-07.toml", 'value = "2.0 MPa"', 'value = "1.4 MPa"')
    assert main(["package", str(example), "--out", str(out)]) == 0
    assert files(out / "HB-07-r1") == first
    rows = json.loads((out / "HB-07-r2" / "changes.json").read_text(encoding="utf-8"))["changes"]
    assert {"what": "input service.installation_pressure", "before": "2.0 MPa [document, work plan WP-07]",
            "after": "1.4 MPa [document, work plan WP-07]"} in rows
    manifest = json.loads((out / "HB-07-r2" / "manifest.json").read_text(encoding="utf-8"))
    assert manifest["previous"]["revision"] == 1
    assert "1.4 MPa" in (out / "HB-07-r2" / "package.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("kind", ["grid", "system", "overlay", "comment"])
def test_everything_that_made_it_counts_as_a_change(example, tmp_path, kind):
    only(example, "HB-07")
    out, case = tmp_path / "out", example / "HB-07.toml"
    shipped = Path(build.__file__).parents[1] / "systems" / "data" / "example-sleeve.toml"
    (example / "mine.toml").write_text(shipped.read_text(encoding="utf-8"), encoding="utf-8")
    (example / "marks.toml").write_text("# none yet\n", encoding="utf-8")
    edit(case, 'system = "example-sleeve"', 'system = "mine.toml"')
    case.write_text(case.read_text(encoding="utf-8") + '\n[documents]\noverlay = "marks.toml"\n', encoding="utf-8")
    assert main(["package", str(example), "--out", str(out)]) == 0
    if kind == "grid":
        edit(example / "HB-07-grid.csv", "66,0,1.1,", "66,0,1.2,")
    elif kind == "system":
        edit(example / "mine.toml", 'density = "1.72 kg/L"', 'density = "1.73 kg/L"')
    elif kind == "overlay":
        (example / "marks.toml").write_text(
            '[[value]]\nitem = "ASME B31G-2012/flow_increment"\nvalue = "69 MPa"\nby = "R. Reviewer"\n'
            'on = "2026-11-02"\ncopy = "company copy 3"\n', encoding="utf-8")
    else:
        case.write_text("# a remark\n" + case.read_text(encoding="utf-8"), encoding="utf-8")
    assert main(["package", str(example), "--out", str(out)]) == 0
    assert {p.name for p in out.iterdir()} == {"HB-07-r1", "HB-07-r2"}
    if kind == "overlay":
        record = json.loads((out / "HB-07-r2" / "record.json").read_text(encoding="utf-8"))
        entry = next(e for e in record["table_entries"] if e["key"] == "ASME B31G-2012/flow_increment")
        assert entry["status"] == "verified" and "R. Reviewer" in entry["mark"]


def test_one_bad_case_stops_nothing_and_is_told_at_the_end(example, tmp_path, capsys):
    only(example, "HB-02", "HB-23")
    (example / "HB-10.toml").write_text('schema_version = "1"\n[case]\nid = "HB-10"\n[pipe]\nnominal_wall = "8,2 mm"\n',
                                        encoding="utf-8")
    assert main(["package", str(example), "--out", str(tmp_path / "out")]) == 1
    shown = capsys.readouterr()
    assert {p.name for p in (tmp_path / "out").iterdir()} == {"HB-02-r1", "HB-23-r1"}
    assert "HB-10.toml, line 5: pipe.nominal_wall: found '8,2 mm'" in shown.err
    assert "2 written, 1 failed" in shown.out


def test_worker_processes_give_the_same_packages(example, tmp_path, packages):
    assert main(["package", str(example), "--out", str(tmp_path / "out"), "-j", "2"]) == 0
    for case in DECISIONS:
        a, b = files(tmp_path / "out" / f"{case}-r1"), files(packages / f"{case}-r1")
        assert {n for n in a if a[n] != b[n]} <= {"run.json", "manifest.json", "manifest.sha256"}


def test_two_files_with_one_id_are_refused(example, tmp_path, capsys):
    only(example, "HB-02")
    (example / "HB-99.toml").write_text((example / "HB-02.toml").read_text(encoding="utf-8"), encoding="utf-8")
    assert main(["package", str(example), "--out", str(tmp_path / "out")]) == 1
    assert "HB-99.toml: case.id: found 'hb-02', which HB-02.toml has too" in capsys.readouterr().err


def test_output_that_is_a_file_is_refused(example, tmp_path, capsys):
    (tmp_path / "out").write_text("mine", encoding="utf-8")
    assert main(["package", str(example), "--out", str(tmp_path / "out")]) == 1
    assert "this is a file; --out wants a folder" in capsys.readouterr().err
    assert (tmp_path / "out").read_text(encoding="utf-8") == "mine"


def test_output_that_cannot_be_written_is_refused(example, tmp_path, capsys, monkeypatch):
    def refuse(*args, **kwargs):
        raise PermissionError(errno.EACCES, "Permission denied")
    monkeypatch.setattr(build.tempfile, "TemporaryFile", refuse)
    assert main(["package", str(example), "--out", str(tmp_path / "out")]) == 1
    assert "cannot write here (Permission denied)" in capsys.readouterr().err


def test_a_full_disk_leaves_nothing_half_written(example, tmp_path, capsys, monkeypatch):
    import wrapcalc.package.pdf as pdf

    def full(*args, **kwargs):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    monkeypatch.setattr(pdf, "html_to_pdf", full)
    only(example, "HB-02")
    assert main(["package", str(example), "--out", str(tmp_path / "out")]) == 1
    assert "No space left on device" in capsys.readouterr().err
    assert list((tmp_path / "out").iterdir()) == []


def test_ctrl_c_in_the_middle_leaves_whole_packages_only(example, tmp_path, capsys, monkeypatch):
    import wrapcalc.package.engine as engine
    real, calls = engine.run_notebook, []

    def stop(*args, **kwargs):
        calls.append(1)
        if len(calls) == 2:
            raise KeyboardInterrupt
        return real(*args, **kwargs)
    monkeypatch.setattr(engine, "run_notebook", stop)
    assert main(["package", str(example), "--out", str(tmp_path / "out")]) == 130
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["HB-02-r1"]
    assert "Stopped by Ctrl-C" in capsys.readouterr().err


def test_a_package_changed_by_hand_is_not_built_upon(example, tmp_path, capsys):
    only(example, "HB-02")
    out = tmp_path / "out"
    main(["package", str(example), "--out", str(out)])
    (out / "HB-02-r1" / "README.txt").write_text("mine", encoding="utf-8")
    assert main(["package", str(example), "--out", str(out)]) == 1
    assert "README.txt: changed since it was written" in capsys.readouterr().err


def test_a_folder_without_cases_is_refused(tmp_path, capsys):
    (tmp_path / "in").mkdir()
    assert main(["package", str(tmp_path / "in"), "--out", str(tmp_path / "out")]) == 1
    assert "no case files" in capsys.readouterr().err


def test_no_absolute_path_in_a_package(packages):
    for folder in packages.iterdir():
        for name, raw in files(folder).items():
            assert str(packages).encode() not in raw, f"{folder.name}/{name}"


def test_missing_values_make_a_package_that_names_them(example, tmp_path):
    only(example, "HB-02")
    edit(example / "HB-02.toml", 'clock = "2:10"', 'clock = ""')
    assert main(["package", str(example), "--out", str(tmp_path / "out")]) == 0
    record = json.loads((tmp_path / "out" / "HB-02-r1" / "record.json").read_text(encoding="utf-8"))
    assert record["decision"]["word"] == "insufficient data" and record["decision"]["missing"] == ["defect.clock"]
    assert "defect.clock" in (tmp_path / "out" / "HB-02-r1" / "package.html").read_text(encoding="utf-8")


def test_a_kernel_of_its_own_gives_the_same_notebook(example, tmp_path, packages):
    only(example, "HB-02")
    assert main(["package", str(example), "--out", str(tmp_path / "out"), "--isolated"]) == 0
    name = "workbook.ipynb"
    assert files(tmp_path / "out" / "HB-02-r1")[name] == files(packages / "HB-02-r1")[name]
