"""Many cases at once: Ctrl-C, workers that die, runs that were killed, two runs into one folder."""

import multiprocessing
import os
import re
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from wrapcalc.cli import main
from wrapcalc.package import build, many
from wrapcalc.package.build import Result

posix = pytest.mark.skipif(sys.platform == "win32", reason="sends POSIX signals")


@pytest.fixture
def cases(example, tmp_path) -> Path:
    """Twelve copies of one case."""
    folder = tmp_path / "cases"
    folder.mkdir()
    text = (example / "HB-02.toml").read_text(encoding="utf-8")
    for i in range(1, 13):
        (folder / f"M-{i:02}.toml").write_text(text.replace('id = "HB-02"', f'id = "M-{i:02}"'), encoding="utf-8")
    return folder


def start(cases: Path, *options: str) -> subprocess.Popen:
    """The command in a process group of its own, as a shell starts it: a Ctrl-C reaches all of the group."""
    code = "import signal, sys; signal.signal(signal.SIGINT, signal.default_int_handler); " \
           "from wrapcalc.cli import main; sys.exit(main())"
    return subprocess.Popen([sys.executable, "-c", code, "package", "cases", "--out", "out", *options],
                            cwd=cases.parent, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
                            encoding="utf-8", start_new_session=True, env=os.environ | {"PYTHONUTF8": "1"})


def end(run: subprocess.Popen) -> None:
    """Whatever became of a run, nothing of it stays."""
    if run.poll() is None:
        os.killpg(run.pid, signal.SIGKILL)
        run.wait()
    run.stdout.close()


def children(pid: int) -> list[int]:
    """Worker processes of a run."""
    rows = subprocess.run(["ps", "-ewwo", "pid=,ppid=,stat=,args="], capture_output=True, text=True, check=True).stdout
    found = [r.split(None, 3) for r in rows.splitlines()]
    return [int(r[0]) for r in found if int(r[1]) == pid and "spawn_main" in r[3] and not r[2].startswith("Z")]


def until(condition, seconds: float = 15):
    end = time.monotonic() + seconds
    while not (value := condition()):
        assert time.monotonic() < end, "it never came"
        time.sleep(0.02)
    return value


def started(run: subprocess.Popen, out: Path, moment: str, workers: bool) -> None:
    """Wait for a moment of a run."""
    if moment == "import":
        until(lambda: out.is_dir())
        if workers:
            until(lambda: children(run.pid))
            time.sleep(0.15)
    else:
        until(lambda: list(out.glob(".building-*/record.json")))


@posix
@pytest.mark.parametrize("moment", ["import", "work"])
@pytest.mark.parametrize("options", [["-j", "2"], []], ids=["workers", "alone"])
@pytest.mark.parametrize("gaps", [(), (0.1,)], ids=["once", "twice"])
def test_ctrl_c_ends_a_run_soon_and_leaves_whole_packages_only(cases, moment, options, gaps):
    out = cases.parent / "out"
    run = start(cases, *options)
    try:
        started(run, out, moment, bool(options))
        workers = children(run.pid)
        pressed = time.monotonic()
        for gap in (0, *gaps):
            time.sleep(gap)
            if run.poll() is None:
                os.killpg(run.pid, signal.SIGINT)
        shown, _ = run.communicate(timeout=15)
    finally:
        end(run)
    assert run.returncode == 130
    assert time.monotonic() - pressed < 3
    lines = [line for line in shown.splitlines() if not line.startswith("[")]
    assert lines == ["Stopped by Ctrl-C. Finished packages are whole; nothing half-written was left."]
    assert not list(out.glob(".*"))
    assert all(build.digests.integrity(p) == [] for p in out.iterdir())
    until(lambda: not any(build._alive(pid) for pid in workers), 3)


@posix
def test_a_worker_that_is_killed_costs_no_package(cases):
    for path in sorted(cases.iterdir())[4:]:
        path.unlink()
    run = start(cases, "-j", "2")
    try:
        until(lambda: list((cases.parent / "out").glob(".building-*/record.json")))
        os.kill(children(run.pid)[0], signal.SIGKILL)
        shown, _ = run.communicate(timeout=30)
    finally:
        end(run)
    assert run.returncode == 0, shown
    assert "4 written" in shown
    assert {p.name for p in (cases.parent / "out").iterdir()} == {f"M-0{i}-r1" for i in range(1, 5)}


def _fake_package(source: Path, out: Path, *, isolated: bool = False) -> Result:
    """Stands in for make_package: a case named "dies" kills its worker, one named "once" the first time only."""
    (out / f"ran-{source.stem}-{os.getpid()}").touch()
    mark = out / f"mark-{source.stem}"
    if source.stem == "dies" or (source.stem == "once" and not mark.exists()):
        mark.touch()
        unfinished = out / f".building-{os.getpid()}-{build.host_name()}-0"
        unfinished.mkdir()
        os._exit(9)
    return Result(str(source), "written", source.stem)


def _fake_work(*args) -> None:
    many.make_package = _fake_package
    _real_work(*args)


_real_work = many._work


@pytest.fixture
def faked(monkeypatch, tmp_path):
    """Workers that run `_fake_package`."""
    # A worker finds this module by its name.
    monkeypatch.setitem(sys.modules, "many_for_workers", sys.modules[__name__])
    for function in (_fake_package, _fake_work):
        monkeypatch.setattr(function, "__module__", "many_for_workers")
    (tmp_path / "many_for_workers.py").write_text(Path(__file__).read_text(encoding="utf-8"), encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr(many, "_work", _fake_work)
    (tmp_path / "out").mkdir()
    return tmp_path / "out"


def package(names: list[str], out: Path, workers: int = 2) -> dict[str, Result]:
    results = many.package_all([Path(f"{n}.toml") for n in names], out, workers=workers, isolated=False,
                               done=lambda *a: None)
    return {Path(r.source).stem: r for r in results}


def test_only_the_case_that_kills_its_worker_twice_fails(faked):
    results = package(["a", "dies", "b", "once", "c", "d"], faked)
    assert {n for n, r in results.items() if r.state == "failed"} == {"dies"}
    assert len(results) == 6
    assert "its worker process ended unexpectedly, twice (exit status 9)" in results["dies"].message
    assert len(list(faked.glob("ran-dies-*"))) == len(list(faked.glob("ran-once-*"))) == 2
    assert not list(faked.glob(".building-*"))


def test_workers_are_replaced_after_some_packages(faked, monkeypatch):
    monkeypatch.setattr(many, "RUNS_PER_WORKER", 2)
    names = ["a", "b", "c", "d", "e"]
    assert all(r.state == "written" for r in package(names, faked).values())
    pids = [p.name.rpartition("-")[2] for p in faked.glob("ran-*")]
    assert len(pids) == 5 and max(pids.count(p) for p in pids) <= 2
    assert not multiprocessing.active_children()


def test_no_process_to_be_had_is_said_plainly(monkeypatch, tmp_path, example, capsys):
    def refuse(*args, **kwargs):
        raise OSError(11, "Resource temporarily unavailable")
    monkeypatch.setattr(many._SPAWN, "Process", refuse)
    before = signal.getsignal(signal.SIGINT)
    with pytest.raises(many.PackageError, match=r"no worker process could be started .*; run again with -j 1"):
        package(["a", "b"], tmp_path)
    assert signal.getsignal(signal.SIGINT) is before


def test_leftovers_of_dead_runs_are_removed_and_no_others(example, tmp_path, capsys):
    out = tmp_path / "out"
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    host = build.host_name()
    names = {"dead": f".building-{gone.pid}-{host}-aaaa", "alive": f".building-{os.getpid()}-{host}-bbbb",
             "elsewhere": f".building-{gone.pid}-{host}x-cccc", "user": ".building-mine"}
    for name in names.values():
        (out / name).mkdir(parents=True)
        (out / name / "case.toml").write_text("x", encoding="utf-8")
    for path in example.glob("HB-*.toml"):
        if path.stem != "HB-02":
            path.unlink()
    assert main(["package", str(example), "--out", str(out)]) == 0
    assert "removed 1 unfinished folder of a run that was killed" in capsys.readouterr().out
    assert {p.name for p in out.iterdir()} == {"HB-02-r1"} | {n for k, n in names.items() if k != "dead"}


@posix
def test_a_killed_run_leaves_folders_that_the_next_run_knows(cases):
    out = cases.parent / "out"
    run = start(cases)
    until(lambda: list(out.glob(".building-*/case.toml")))
    run.kill()
    run.communicate()
    assert len(list(out.glob(".building-*"))) == 1
    assert build.remove_leftovers(out) == 1
    assert not list(out.glob(".building-*"))


def _race(monkeypatch, meanwhile) -> None:
    """Let `meanwhile` run just before the first package gets its name."""
    real, calls = build.put_in_place, []

    def put(aside, folder):
        calls.append(folder)
        if len(calls) == 1:
            meanwhile()
        return real(aside, folder)
    monkeypatch.setattr(build, "put_in_place", put)


def test_another_run_that_wrote_the_same_makes_it_unchanged(example, tmp_path, monkeypatch):
    out = tmp_path / "out"
    out.mkdir()
    _race(monkeypatch, lambda: build.make_package(example / "HB-02.toml", out))
    result = build.make_package(example / "HB-02.toml", out)
    assert (result.state, Path(result.folder).name) == ("unchanged", "HB-02-r1")
    assert [p.name for p in out.iterdir()] == ["HB-02-r1"]


def test_another_run_that_wrote_something_else_makes_it_the_next_revision(example, tmp_path, monkeypatch):
    out, other = tmp_path / "out", tmp_path / "other.toml"
    out.mkdir()
    other.write_text("# a remark\n" + (example / "HB-02.toml").read_text(encoding="utf-8"), encoding="utf-8")
    _race(monkeypatch, lambda: build.make_package(other, out))
    result = build.make_package(example / "HB-02.toml", out)
    assert (result.state, Path(result.folder).name) == ("written", "HB-02-r2")
    assert {p.name for p in out.iterdir()} == {"HB-02-r1", "HB-02-r2"}
    assert all(build.digests.integrity(p) == [] for p in out.iterdir())


def test_a_name_taken_between_question_and_renaming_counts_as_taken(tmp_path, monkeypatch):
    aside, folder = tmp_path / "aside", tmp_path / "X-r1"
    for path in (aside, folder):
        path.mkdir()
        (path / "file").touch()
    answers = iter([False, True])
    monkeypatch.setattr(Path, "exists", lambda self: next(answers))
    assert build.put_in_place(aside, folder) is False


def test_progress_tells_the_first_line_of_a_failure(example, tmp_path, capsys, monkeypatch):
    for path in example.glob("HB-*.toml"):
        if path.stem != "HB-02":
            path.unlink()
    (example / "HB-10.toml").write_text('schema_version = "1"\n[case]\nid = "HB-10"\n[pipe]\nnominal_wall = "8,2 mm"\n',
                                        encoding="utf-8")

    def defect(*args, **kwargs):
        raise RuntimeError("boom")
    monkeypatch.setattr(build, "_fill", defect)
    assert main(["package", str(example), "--out", str(tmp_path / "out")]) == 1
    shown = capsys.readouterr()
    assert re.search(r"^\[2/2\] HB-10\.toml: FAILED: \d+ faults? \(listed below\)$", shown.out, re.M)
    assert "[1/2] HB-02: FAILED: an unforeseen error (RuntimeError: boom); a defect of this tool" in shown.out
    assert "nominal_wall: found '8,2 mm'" in shown.err
    assert not list((tmp_path / "out").iterdir())


def test_many_cases_run_outside_the_main_thread(faked):
    got: list[dict] = []
    thread = threading.Thread(target=lambda: got.append(package(["a", "b"], faked)))
    thread.start()
    thread.join(20)
    assert [r.state for r in got[0].values()] == ["written", "written"]
