"""Many cases: find the case files, run them one by one or in worker processes, report as they finish."""

from __future__ import annotations

import multiprocessing
import os
import time
import tomllib
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

from wrapcalc.errors import PackageError
from wrapcalc.package.build import Result, make_package

#: A worker is replaced after so many packages, so that whatever a library leaks stays bounded.
RUNS_PER_WORKER = 50


def case_files(arguments: list[Path]) -> list[Path]:
    """The case files among files and folders. A folder gives every .toml directly in it that is not a system
    sheet or an overlay; a file is always taken. Raises PackageError for a folder without case files."""
    out: list[Path] = []
    for path in arguments:
        if not path.is_dir():
            out.append(path)
            continue
        files = {p: _glance(p) for p in sorted(path.glob("*.toml")) if p.is_file()}
        named = {n for data in files.values() for n in _names(data)}
        found = [p for p, data in files.items() if not (
            data is not None and "case" not in data
            and (p.name in named or {"system", "value", "formula"} & data.keys()))]
        if not found:
            raise PackageError(f"{path}: no case files (*.toml) in this folder")
        out += found
    return list(dict.fromkeys(out))


def _glance(path: Path) -> dict | None:
    """A TOML file as data, None when it is unreadable: then it counts as a case, whose faults are told."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError, RecursionError):
        return None


def _names(data: dict | None) -> list[str]:
    """Files that a case names: system sheet and overlay."""
    tables = [(data or {}).get(t) for t in ("design", "documents")]
    return [v for t in tables if isinstance(t, dict) for k, v in t.items()
            if k in ("system", "overlay") and isinstance(v, str)]


def duplicates(files: list[Path]) -> dict[Path, str]:
    """Files that cannot be packaged together because they name the same case: file -> message."""
    seen: dict[str, Path] = {}
    out: dict[Path, str] = {}
    for path in files:
        try:
            case_id = str((_glance(path) or {})["case"]["id"]).lower()
        except (KeyError, TypeError):
            continue
        if case_id in seen:
            out[path] = (f"{path.name}: case.id: found '{case_id}', which {seen[case_id].name} has too; allowed: one "
                         "id per case. To mend: rename one of them")
        else:
            seen[case_id] = path
    return out


def package_all(files: list[Path], out: Path, *, workers: int, isolated: bool,
                done: Callable[[Result, int, int, float], None]) -> list[Result]:
    """Package every file; call `done(result, finished, total, seconds_left)` as each one ends.

    One bad case never stops the others. KeyboardInterrupt stops new work, lets nothing half-written stand, and
    is raised again.
    """
    twice = duplicates(files)
    todo = [f for f in files if f not in twice]
    start, results = time.perf_counter(), []
    total = len(files)

    def finish(result: Result) -> None:
        results.append(result)
        n = len(results)
        done(result, n, total, (time.perf_counter() - start) / n * (total - n))

    for path, message in twice.items():
        finish(Result(str(path), "failed", message=message))
    for result in _run(todo, out, min(workers, len(todo)), isolated):
        finish(result)
    return results


def _run(todo: list[Path], out: Path, workers: int, isolated: bool) -> Iterator[Result]:
    if workers <= 1:
        for path in todo:
            yield make_package(path, out, isolated=isolated)
        return
    pool = ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"), initializer=_quiet,
                               max_tasks_per_child=RUNS_PER_WORKER)
    waiting: dict[Future, Path] = {}
    try:
        waiting = {pool.submit(make_package, path, out, isolated=isolated): path for path in todo}
        while waiting:
            ready, _ = wait(waiting, return_when=FIRST_COMPLETED)
            for future in ready:
                path = waiting.pop(future)
                try:
                    yield future.result()
                except BrokenProcessPool:
                    yield Result(str(path), "failed", message="its worker process ended unexpectedly (killed, or out "
                                 "of memory); run it again")
    except BaseException:
        pool.shutdown(wait=True, cancel_futures=True)
        raise
    pool.shutdown()


def _quiet() -> None:
    """One thread of numerics per worker: the packages are what runs in parallel."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
