"""A campaign that is killed, started twice, stopped or changed: the folder is whole and the bytes are the same."""

import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.helpers import campaign as helper
from wrapcalc.campaign import run as runs
from wrapcalc.campaign.cases import sources
from wrapcalc.campaign.folder import held
from wrapcalc.campaign.run import CASES, PACKAGES, RANKED, SCREENING, TOLD, run_campaign
from wrapcalc.errors import CaseFaults, Fault, PackageError
from wrapcalc.package import build, digests

posix = pytest.mark.skipif(sys.platform == "win32", reason="sends POSIX signals")
ROOT = Path(__file__).parents[2]


@pytest.fixture
def faked(monkeypatch):
    monkeypatch.setattr(sources, "screen", helper.fake_screen)
    monkeypatch.setattr(sources, "Cases", helper.FakeCases)


@pytest.fixture
def unmade(monkeypatch):
    """Packages that only have a manifest: for tests of what stands around them."""
    def package(files, out, *, workers, isolated, done, elsewhere=None):
        results = []
        for i, case in enumerate(files):
            folder = out / f"{case.stem}-r1"
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
            digests.write_manifest(folder, {"case": case.stem, "revision": 1, "decision": "wrap", "record_sha256": "0"})
            results.append(build.Result(str(case), "written", case.stem, str(folder), "wrap"))
            done(results[-1], i + 1, len(files), 1.0)
        return results
    monkeypatch.setattr(runs, "package_all", package)


def start(folder: Path, workers: int = 1) -> subprocess.Popen:
    """The campaign of `folder` in a process group of its own."""
    return subprocess.Popen([sys.executable, "-m", "tests.helpers.campaign", str(folder / "CAMPAIGN.toml"),
                             str(folder / "out"), str(workers)], cwd=ROOT, stdout=subprocess.PIPE,
                            stderr=subprocess.STDOUT, text=True, start_new_session=True)


def end(run: subprocess.Popen) -> str:
    """Kill what is left of a run, its workers too."""
    if run.poll() is None:
        os.killpg(run.pid, signal.SIGKILL)
    shown, _ = run.communicate()
    return shown


def told(out: Path) -> dict:
    return json.loads((out / TOLD).read_text(encoding="utf-8"))


# -- kills --------------------------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory) -> tuple[dict[str, bytes], dict]:
    """Records and campaign.json of a run that nothing disturbed."""
    folder = tmp_path_factory.mktemp("undisturbed")
    helper.campaign(folder, 3)
    run = start(folder)
    shown = run.communicate(timeout=100)[0]
    assert run.returncode == 0, shown
    return helper.records(folder / "out"), told(folder / "out")


@posix
@pytest.mark.parametrize(("seed", "workers"), [(1, 1), (2, 2), (3, 1)])
def test_a_run_killed_at_random_moments_and_started_again_gives_the_same_bytes(tmp_path, undisturbed, seed, workers):
    helper.campaign(tmp_path, 3)
    out, moments = tmp_path / "out", random.Random(seed)
    for _ in range(2):
        run = start(tmp_path, workers)
        deadline = time.monotonic() + 20
        while not (out / CASES).exists() and run.poll() is None and time.monotonic() < deadline:
            time.sleep(0.01)
        time.sleep(moments.uniform(0, 3))
        end(run)
        for package in (out / PACKAGES).glob("[!.]*"):
            assert digests.integrity(package) == []
    run = start(tmp_path, workers)
    shown = run.communicate(timeout=100)[0]
    assert run.returncode == 0, shown
    assert helper.records(out) == undisturbed[0]
    assert told(out) == undisturbed[1] | {"made_from": told(out)["made_from"]}
    assert sorted(p.name for p in (out / PACKAGES).iterdir()) == [f"M-0{i}-r1" for i in range(1, 4)]
    assert not list(out.glob(".aside-*"))


@posix
def test_a_killed_run_leaves_no_stale_lock_and_finished_packages_are_not_made_again(tmp_path):
    helper.campaign(tmp_path, 3)
    run = start(tmp_path)
    assert run.stdout.readline() == "1 3 written\n"
    words = (rf"another run works in this folder \(process {run.pid} on \S+, since 20.*\); wait until it ends, or "
             "choose another --out folder")
    with pytest.raises(PackageError, match=words), held(tmp_path / "out"):
        pass
    second = start(tmp_path)
    shown = second.communicate(timeout=30)[0]
    assert second.returncode == 2 and f"another run works in this folder (process {run.pid}" in shown
    end(run)
    before = {p: p.stat().st_mtime_ns for p in (tmp_path / "out" / PACKAGES).glob("M-*/manifest.json")}
    third = start(tmp_path)
    shown = third.communicate(timeout=60)[0]
    assert third.returncode == 0
    assert shown.splitlines()[-1].startswith("3 3 ") and "1 3 " not in shown
    assert {p: p.stat().st_mtime_ns for p in before} == before


@posix
def test_ctrl_c_leaves_whole_packages_and_says_so_in_the_folder(tmp_path):
    helper.campaign(tmp_path, 4)
    run = start(tmp_path, 2)
    run.stdout.readline()
    os.killpg(run.pid, signal.SIGINT)
    shown = run.communicate(timeout=30)[0]
    out = tmp_path / "out"
    assert run.returncode == 130 and shown.splitlines()[-1] == "stopped", shown
    assert not list((out / PACKAGES).glob(".*")) and not list(out.glob(".aside-*"))
    assert all(digests.integrity(p) == [] for p in (out / PACKAGES).iterdir())
    about = told(out)
    assert about["complete"] is False and 1 <= len(about["packages"]) < 4
    assert {p["package"] for p in about["packages"]} <= {p.name for p in (out / PACKAGES).iterdir()}


# -- what is done again -------------------------------------------------------------------------------------------
def test_nothing_is_done_twice_and_what_changed_is_done(faked, unmade, tmp_path, monkeypatch):
    path, out = helper.campaign(tmp_path, 3), tmp_path / "out"
    screened = []

    def screen(plan, folder):
        screened.append(1)
        helper.fake_screen(plan, folder)
    monkeypatch.setattr(sources, "screen", screen)
    first = run_campaign(path, out)
    assert (first.kept, len(first.packaged), first.complete) == (0, 3, True)
    again = run_campaign(path, out)
    assert (again.kept, len(again.packaged), len(screened)) == (3, 3, 1)
    (tmp_path / "listing.csv").write_text("4\n", encoding="utf-8")
    more = run_campaign(path, out)
    assert (more.kept, len(more.packaged), len(screened)) == (3, 4, 2)
    (out / SCREENING / RANKED).write_bytes(b"damaged")
    assert run_campaign(path, out).kept == 4 and len(screened) == 3
    (out / PACKAGES / "M-02-r1" / "manifest.json").write_text("{}", encoding="utf-8")
    assert run_campaign(path, out).kept == 3


def test_what_a_kill_left_aside_is_removed(faked, unmade, tmp_path):
    path, out = helper.campaign(tmp_path, 1), tmp_path / "out"
    (out / ".aside-folder" / "screening").mkdir(parents=True)
    (out / ".aside-file").write_text("x", encoding="utf-8")
    run_campaign(path, out)
    assert not list(out.glob(".aside-*"))


def test_a_torn_line_of_the_ledger_counts_for_nothing(faked, unmade, tmp_path):
    path, out = helper.campaign(tmp_path, 3), tmp_path / "out"
    run_campaign(path, out)
    ledger = out / "finished.jsonl"
    ledger.write_text(ledger.read_text(encoding="utf-8")[:-20], encoding="utf-8")
    assert run_campaign(path, out).kept == 2
    assert run_campaign(path, out).kept == 3


def test_a_case_that_is_no_longer_chosen_goes_and_its_package_stays_and_is_named(faked, unmade, tmp_path):
    path, out = helper.campaign(tmp_path, 3), tmp_path / "out"
    run_campaign(path, out)
    helper.campaign(tmp_path, 3, '[[leave]]\nid = "M-02"\nreason = "pipe is replaced"\nby = "E. Example"\n')
    run = run_campaign(path, out)
    assert sorted(p.name for p in (out / CASES).iterdir()) == ["M-01.toml", "M-03.toml"]
    assert (out / PACKAGES / "M-02-r1").is_dir()
    assert told(out)["no_longer_chosen"] == ["M-02-r1"]
    assert [x["reason"] for x in told(out)["left"]] == ["left by E. Example: pipe is replaced"]
    assert len(run.packaged) == 2


def test_a_case_that_somebody_changed_is_not_written_over(faked, unmade, tmp_path):
    path, out = helper.campaign(tmp_path, 2), tmp_path / "out"
    run_campaign(path, out)
    case = out / CASES / "M-01.toml"
    case.write_text("# mine\n", encoding="utf-8")
    (out / CASES / "note.txt").write_text("mine, too", encoding="utf-8")
    with pytest.raises(PackageError, match=r"M-01\.toml: this file was changed since the campaign wrote it"):
        run_campaign(path, out)
    assert case.read_text(encoding="utf-8") == "# mine\n"
    case.unlink()
    assert run_campaign(path, out).complete
    assert (out / CASES / "note.txt").exists()


def test_a_kill_between_index_and_cases_is_no_change_of_somebody(faked, unmade, tmp_path, monkeypatch):
    path, out = helper.campaign(tmp_path, 2), tmp_path / "out"
    run_campaign(path, out)
    text = helper.FakeCases.files
    monkeypatch.setattr(helper.FakeCases, "files", lambda self, c: (
        {n: raw + b"# changed\n" for n, raw in text(self, c)[0].items()}, []))
    real, calls = runs.write_aside, []

    def write(path, raw):
        calls.append(path.name)
        if path.name == "M-02.toml":
            raise KeyboardInterrupt
        real(path, raw)
    monkeypatch.setattr(runs, "write_aside", write)
    with pytest.raises(KeyboardInterrupt):
        run_campaign(path, out)
    assert "M-01.toml" in calls
    monkeypatch.setattr(runs, "write_aside", real)
    assert run_campaign(path, out).complete
    assert (out / CASES / "M-02.toml").read_text(encoding="utf-8").endswith("# changed\n")


def test_failures_are_told_as_they_happen_and_tried_again(faked, tmp_path, monkeypatch):
    path, out = helper.campaign(tmp_path, 2), tmp_path / "out"
    text = helper.FakeCases.files

    def bad(self, chosen):
        files, kept = text(self, chosen)
        if chosen.case_id == "M-01":
            files = {n: raw.replace(b'value = "1.5 mm"', b'value = "1,5 mm"') for n, raw in files.items()}
        return files, kept
    monkeypatch.setattr(helper.FakeCases, "files", bad)
    lines, seen = [], []
    run = run_campaign(path, out, progress=seen.append, fail=lines.append)
    assert len(lines) == 1 and re.match(r"M-01: 1 fault: M-01\.toml, line \d+: defect\.depth: found '1,5 mm'", lines[0])
    assert [f.case_id for f in run.failures] == ["M-01"] and run.complete
    about = told(out)
    assert about["failures"][0]["case_id"] == "M-01" and "depth" in about["failures"][0]["message"]
    assert [c["packaged"] for c in about["chosen"]] == [False, True]
    assert seen[-1].finished == seen[-1].total == 2 and seen[-1].per_minute > 0 and seen[-1].seconds_left == 0
    again = run_campaign(path, out)
    assert again.kept == 1 and len(again.failures) == 1


def test_rows_that_make_no_case_are_failures_and_the_others_go_on(faked, unmade, tmp_path, monkeypatch):
    text = helper.FakeCases.files

    def none(self, chosen):
        if chosen.case_id == "M-01":
            raise CaseFaults([Fault("listing.csv", "row 2", "nothing", "a width", "state it")])
        return text(self, chosen)
    monkeypatch.setattr(helper.FakeCases, "files", none)
    lines = []
    run = run_campaign(helper.campaign(tmp_path, 2), tmp_path / "out", fail=lines.append)
    assert lines == ["M-01: listing.csv: row 2: found nothing; allowed: a width. To mend: state it"]
    assert [p.case_id for p in run.packaged] == ["M-02"] and run.complete
    assert told(tmp_path / "out")["chosen"][0]["case_sha256"] is None


# -- what is refused ----------------------------------------------------------------------------------------------
def test_two_files_of_one_name_are_refused(faked, unmade, tmp_path, monkeypatch):
    monkeypatch.setattr(helper.FakeCases, "files", lambda self, c: (
        {f"{c.case_id}.toml": b"", "grid.csv": c.case_id.encode()}, []))
    with pytest.raises(PackageError, match=r"grid\.csv: two cases name different files by this name"):
        run_campaign(helper.campaign(tmp_path, 2), tmp_path / "out")


def test_known_repairs_inside_the_folder_of_the_campaign_are_refused(faked, unmade, tmp_path):
    path = helper.campaign(tmp_path, 1)
    run_campaign(path, tmp_path / "out")
    path.write_text(path.read_text(encoding="utf-8") + 'known_repairs = "out/packages"\n', encoding="utf-8")
    with pytest.raises(CaseFaults, match=r"campaign\.known_repairs: found 'out/packages'; allowed: a folder outside"):
        run_campaign(path, tmp_path / "out")


def test_a_folder_that_cannot_be_used_is_said(faked, tmp_path):
    (tmp_path / "out").write_text("x", encoding="utf-8")
    with pytest.raises(PackageError, match="this is a file"):
        run_campaign(helper.campaign(tmp_path, 1), tmp_path / "out")


def test_without_filelock_the_extra_is_named(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "filelock", None)
    with pytest.raises(PackageError, match=r"pip install 'wrapcalc\[campaign\]'"), held(tmp_path):
        pass


def test_what_decides_the_screening_is_in_its_digest(tmp_path, example):
    folder = tmp_path / "c"
    path = helper.campaign(folder, 1)
    (folder / "mapping.toml").write_text('[line]\nbase = "base.toml"\n', encoding="utf-8")
    (folder / "base.toml").write_text('[design]\nsystem = "mine.toml"\n', encoding="utf-8")
    (folder / "mine.toml").write_text("a", encoding="utf-8")
    from wrapcalc.campaign.model import load_campaign
    one = sources.made_from(load_campaign(path))
    assert {"listing", "mapping", "screening", "base/base.toml", "base/mine.toml"} == set(one)
    (folder / "mine.toml").write_text("b", encoding="utf-8")
    two = sources.made_from(load_campaign(path))
    assert {k for k in one if one[k] != two[k]} == {"base/mine.toml"}
