"""A real scheduler and two workers on this computer: the same packages as one process, and plain words else."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.helpers import campaign as helper
from wrapcalc.campaign import cluster, ledger
from wrapcalc.campaign.cluster import Cluster
from wrapcalc.campaign.run import run_campaign
from wrapcalc.errors import PackageError
from wrapcalc.package import digests
from wrapcalc.package.build import make_package

pytest.importorskip("distributed")
posix = pytest.mark.skipif(sys.platform == "win32", reason="sends POSIX signals")
SECONDS = 60
OLD = ("import sys, wrapcalc; wrapcalc.__version__ = '0.0.9'; "
       "from distributed.cli.dask_worker import main; main()")


class Local:
    """A scheduler and workers as processes of their own."""

    def __init__(self, folder: Path):
        self.folder, self.processes = folder, []
        self.scheduler = self.start("scheduler", "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1",
                                    "--port", "0", "--no-dashboard", "--scheduler-file", str(folder / "scheduler.json"))
        self.address = until(self._address)

    def start(self, name: str, *words: str) -> subprocess.Popen:
        with (self.folder / f"{name}.log").open("w") as log:
            process = subprocess.Popen([sys.executable, *words], cwd=self.folder, stdout=log, stderr=subprocess.STDOUT,
                                       env=os.environ | {"PYTHONDONTWRITEBYTECODE": "1"})
        self.processes.append(process)
        return process

    def _address(self) -> str:
        try:
            return json.loads((self.folder / "scheduler.json").read_text())["address"]
        except (OSError, ValueError):
            return ""

    def worker(self, name: str, code: str = "", threads: int = 1) -> subprocess.Popen:
        start = ("-c", code) if code else ("-m", "distributed.cli.dask_worker")
        return self.start(name, *start, self.address, "--nthreads", str(threads), "--no-nanny", "--no-dashboard",
                          "--host", "127.0.0.1", "--name", name, "--local-directory", str(self.folder / name))

    def end(self) -> None:
        for process in reversed(self.processes):
            process.kill()
            process.wait()


def until(condition, seconds: float = SECONDS):
    end = time.monotonic() + seconds
    while not (value := condition()):
        assert time.monotonic() < end, "it never came"
        time.sleep(0.05)
    return value


@pytest.fixture
def local(tmp_path_factory):
    it = Local(tmp_path_factory.mktemp("cluster"))
    yield it
    it.end()


@pytest.fixture
def faked(monkeypatch):
    monkeypatch.setattr("wrapcalc.campaign.cases.sources.screen", helper.fake_screen)
    monkeypatch.setattr("wrapcalc.campaign.cases.sources.Cases", helper.FakeCases)


def test_a_cluster_gives_the_same_bytes_as_one_process_and_a_revision_where_one_is_due(local, faked, tmp_path):
    local.worker("one", threads=2)  # whose threads must take turns
    local.worker("two")
    path = helper.campaign(tmp_path / "campaign", 4)
    here = run_campaign(path, tmp_path / "here")
    seen = []
    there = run_campaign(path, tmp_path / "there", scheduler=local.address, progress=seen.append)
    assert here.complete and there.complete and len(there.packaged) == 4
    assert [p.finished for p in seen] == [1, 2, 3, 4] and {p.result.state for p in seen} == {"written"}
    assert helper.records(tmp_path / "here") == helper.records(tmp_path / "there")
    told = [json.loads((tmp_path / d / "campaign.json").read_text(encoding="utf-8")) for d in ("here", "there")]
    assert told[0] == told[1]
    packages = tmp_path / "there" / "packages"
    assert sorted(p.name for p in packages.iterdir()) == ["M-01-r1", "M-02-r1", "M-03-r1", "M-04-r1"]
    assert all(digests.integrity(p) == [] for p in packages.iterdir())

    case = tmp_path / "there" / "cases" / "M-01.toml"
    case.write_text(case.read_text(encoding="utf-8").replace('display = "SI"', 'display = "US"'), encoding="utf-8")
    bad = tmp_path / "there" / "cases" / "M-02.toml"
    bad.write_text("[case]\nid = 7\n", encoding="utf-8")
    same = tmp_path / "there" / "cases" / "M-03.toml"
    with Cluster(local.address) as cluster_:
        results = {Path(r.source).stem: r for r in cluster_.package([case, bad, same], packages)}
    assert {n: r.state for n, r in results.items()} == {"M-01": "written", "M-02": "failed", "M-03": "unchanged"}
    assert "M-02.toml, line 2: case.id: found '7'" in results["M-02"].message
    assert results["M-03"].folder == str(packages / "M-03-r1")
    assert results["M-01"].folder == str(packages / "M-01-r2")
    alone = Path(make_package(case, tmp_path / "here" / "packages").folder)
    for name in ("changes.json", "record.json", "workbook.ipynb", "package.html"):
        assert (packages / "M-01-r2" / name).read_bytes() == (alone / name).read_bytes()


def test_a_worker_of_another_version_is_refused_by_its_name_with_both_versions(local, faked, tmp_path):
    local.worker("old", code=OLD)
    path = helper.campaign(tmp_path / "campaign", 1)
    with pytest.raises(PackageError, match=r"worker tcp://127\.0\.0\.1:\d+ has wrapcalc 0\.0\.9, here it is 0\.1\.0; "
                                           "records would differ"):
        run_campaign(path, tmp_path / "out", scheduler=local.address)
    assert not (tmp_path / "out" / "packages").exists()


def test_a_worker_of_another_version_that_joins_later_does_no_work(local, faked, tmp_path):
    local.worker("good")
    with Cluster(local.address) as cluster_:
        local.worker("old", code=OLD)
        until(lambda: len(cluster_.client.nthreads()) == 2)
        versions = cluster_.client.run(lambda: __import__("wrapcalc").__version__)
        good = next(w for w, version in versions.items() if version == "0.1.0")
        cluster_.client.retire_workers([good])
        case = tmp_path / "M-01.toml"
        case.write_text('[case]\nid = "M-01"\n', encoding="utf-8")
        (tmp_path / "out").mkdir()
        with pytest.raises(PackageError, match=r"a worker that joined later has wrapcalc 0\.0\.9, here it is 0\.1\.0"):
            list(cluster_.package([case], tmp_path / "out"))
    assert not list((tmp_path / "out").iterdir())


def test_a_scheduler_that_is_not_there_is_said_in_one_message_before_any_work(faked, tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "CONNECT", 0.5)
    path = helper.campaign(tmp_path / "campaign", 1)
    with pytest.raises(PackageError, match=r"^tcp://127\.0\.0\.1:9: no scheduler answers there \(.*goes on from "
                                           "there$"):
        run_campaign(path, tmp_path / "out", scheduler="tcp://127.0.0.1:9")
    with pytest.raises(PackageError, match=r"^nonsense://x: no scheduler answers there"):
        run_campaign(path, tmp_path / "out", scheduler="nonsense://x")
    assert not (tmp_path / "out").exists()


def test_a_folder_that_was_there_is_left_as_it_was_when_the_scheduler_is_not(faked, tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "CONNECT", 0.5)
    out = tmp_path / "out"
    out.mkdir()
    (out / "mine.txt").write_text("x", encoding="utf-8")
    with pytest.raises(PackageError, match="no scheduler answers there"):
        run_campaign(helper.campaign(tmp_path / "campaign", 1), out, scheduler="tcp://127.0.0.1:9")
    assert [p.name for p in out.iterdir()] == ["mine.txt"]


def test_a_scheduler_without_workers_is_said(local, monkeypatch):
    monkeypatch.setattr(cluster, "CONNECT", 1.0)
    with pytest.raises(PackageError, match="the scheduler has no workers; start some with `dask worker"), \
            Cluster(local.address):
        pass


def test_a_scheduler_without_workers_leaves_no_folder(local, faked, tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "CONNECT", 1.0)
    with pytest.raises(PackageError, match="the scheduler has no workers"):
        run_campaign(helper.campaign(tmp_path / "campaign", 1), tmp_path / "out", scheduler=local.address)
    assert not (tmp_path / "out").exists()


@posix
def test_a_scheduler_that_dies_half_way_leaves_what_is_done_and_the_next_run_goes_on(local, faked, tmp_path):
    local.worker("one")
    path = helper.campaign(tmp_path / "campaign", 8)

    def kill_after_two(p):
        if p.finished == 2:
            local.scheduler.send_signal(signal.SIGKILL)
    with pytest.raises(PackageError, match=r"^tcp://\S+: the scheduler was lost while it was at work .*goes on from"):
        run_campaign(path, tmp_path / "out", scheduler=local.address, progress=kill_after_two)
    told = json.loads((tmp_path / "out" / "campaign.json").read_text(encoding="utf-8"))
    assert told["complete"] is False and 2 <= len(told["packages"]) < 8
    assert not list((tmp_path / "out" / "packages").glob(".*"))
    again = run_campaign(path, tmp_path / "out")
    assert again.complete and again.kept == len(told["packages"]) and len(again.packaged) == 8


@posix
def test_a_worker_that_dies_costs_no_package(local, faked, tmp_path):
    first = local.worker("one")
    local.worker("two")
    path = helper.campaign(tmp_path / "campaign", 4)

    def kill_once(p):
        if p.finished == 1:
            first.kill()
    run = run_campaign(path, tmp_path / "out", scheduler=local.address, progress=kill_once)
    assert run.complete and len(run.packaged) == 4 and not run.failures


def test_what_comes_back_damaged_or_would_lie_elsewhere_is_refused(tmp_path, example):
    whole = Path(make_package(example / "HB-02.toml", example).folder)
    tmp_path = tmp_path / "out"
    tmp_path.mkdir()
    files = cluster._read(whole)
    assert cluster._receive(files, tmp_path / whole.name, tmp_path)
    assert cluster._read(tmp_path / whole.name) == files
    assert not cluster._receive(files, tmp_path / whole.name, tmp_path)
    with pytest.raises(PackageError, match="damaged on its way"):
        cluster._receive(files | {"record.json": b"{}"}, tmp_path / "X-r1", tmp_path)
    with pytest.raises(PackageError, match="outside its package"):
        cluster._receive(files | {"../x": b""}, tmp_path / "X-r1", tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == [whole.name]


def test_the_files_of_a_case_are_those_that_loading_it_reads(example):
    from wrapcalc.case import load_bundle
    for case in sorted(example.glob("HB-*.toml")):
        case_id, files = ledger.inputs(case)
        read = load_bundle(case)
        beside = {n: raw for n, raw in read.files.items() if n != "case.toml" and (example / n).is_file()}
        assert case_id == read.case.id and files == {case.name: case.read_bytes()} | beside
