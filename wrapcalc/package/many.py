"""Many cases: find the case files, run them one by one or in worker processes, report as they finish."""

from __future__ import annotations

import multiprocessing
import os
import pickle
import signal
import sys
import tempfile
import time
import tomllib
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from multiprocessing.connection import Connection, wait
from pathlib import Path

from wrapcalc.errors import PackageError
from wrapcalc.package.build import Result, make_package, remove_unfinished

#: A worker is replaced after so many packages, so that whatever a library leaks stays bounded.
RUNS_PER_WORKER = 50
#: Windows waits for no more than 63 things at once.
MOST_WORKERS = 60 if sys.platform == "win32" else 64
#: So often, in seconds, the run looks whether Ctrl-C was pressed or a worker died.
TICK = 0.2
_SPAWN = multiprocessing.get_context("spawn")


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


#: Packages the files it is given into a folder, in any order, and gives each result as it comes.
Workshop = Callable[[list[Path], Path], Iterator[Result]]


def package_all(files: list[Path], out: Path, *, workers: int, isolated: bool,
                done: Callable[[Result, int, int, float], None], elsewhere: Workshop | None = None) -> list[Result]:
    """Package every file; call `done(result, finished, total, seconds_left)` as each one ends.

    elsewhere: does the work instead of processes of this computer. One bad case never stops the others.
    KeyboardInterrupt stops new work, lets nothing half-written stand, and is raised again.
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
    work = elsewhere(todo, out) if elsewhere else _run(todo, out, min(workers, len(todo), MOST_WORKERS), isolated)
    with closing(work) as ended:  # type: ignore[type-var]
        for result in ended:
            finish(result)
    return results


def _run(todo: list[Path], out: Path, workers: int, isolated: bool) -> Iterator[Result]:
    # A notebook with a kernel of its own takes Ctrl-C for itself (nbclient does), so that never runs in here.
    if todo and (workers > 1 or isolated):
        yield from _in_workers(todo, out, workers, isolated)
        return
    for path in todo:
        yield make_package(path, out, isolated=isolated)


# Why not concurrent.futures: its pool breaks as a whole when one worker dies, does not tell which case that
# worker had, and waits in threads that a second Ctrl-C leaves behind, which hangs the interpreter at its exit.

class _Worker:
    """A worker process and the case that it has in hand."""

    def __init__(self, out: Path, isolated: bool, scratch: str):
        self.case: Path | None = None
        self.given = 0
        self.line, theirs = _SPAWN.Pipe()
        self.process = _SPAWN.Process(target=_work, args=(theirs, out, isolated, scratch), daemon=True)
        try:
            with _for_children():
                self.process.start()
        except BaseException:
            self.line.close()
            raise
        finally:
            theirs.close()  # so that the line ends when the worker does

    def give(self, case: Path) -> bool:
        """Hand out a case; False when the worker has died since."""
        try:
            self.line.send(case)
        except OSError:
            return False
        self.case, self.given = case, self.given + 1
        return True

    def result(self) -> Result | None:
        """What the worker sent; None when it died instead."""
        try:
            return self.line.recv() if self.line.poll() else None
        except (EOFError, OSError, pickle.UnpicklingError):
            return None

    def how_it_ended(self) -> str:
        code = self.process.exitcode or 0
        return f"killed by signal {-code}, as when memory runs out" if code < 0 else f"exit status {code}"


def _in_workers(todo: list[Path], out: Path, workers: int, isolated: bool) -> Iterator[Result]:
    """The cases in worker processes. A case whose worker dies is tried once more, when nothing else runs."""
    queue, again, again_tried = deque(todo), deque[Path](), set[Path]()
    crew: list[_Worker] = []
    hired: list[_Worker] = []
    well = False
    with (ctrl_c_noted() as pressed,
          tempfile.TemporaryDirectory(prefix="wrapcalc-", ignore_cleanup_errors=True) as scratch):
        try:
            while queue or again or any(w.case for w in crew):
                if pressed:
                    raise KeyboardInterrupt
                busy = sum(w.case is not None for w in crew)
                while (queue and busy < workers) or (again and not queue and not busy):
                    worker = next((w for w in crew if w.case is None), None)
                    if worker is None:
                        try:
                            worker = _Worker(out, isolated, scratch)
                        except OSError as e:
                            if not crew:
                                raise PackageError("no worker process could be started "
                                                   f"({e.strerror or e}); run again with -j 1") from None
                            workers = len(crew)  # memory or process numbers are short: go on with those there are
                            continue
                        crew.append(worker)
                        hired.append(worker)
                    source = queue or again
                    if worker.give(source[0]):
                        source.popleft()
                        busy += 1
                    else:
                        crew.remove(worker)
                ready = wait([w.line for w in crew], TICK)
                for worker in [w for w in crew if w.line in ready or not w.process.is_alive()]:
                    result, case = worker.result(), worker.case
                    worker.case = None
                    if result is not None:
                        if worker.given >= RUNS_PER_WORKER:
                            crew.remove(worker)
                            worker.line.close()  # it goes home
                        yield result
                        continue
                    crew.remove(worker)
                    worker.process.join(1)
                    remove_unfinished(out, lambda pid, dead=worker.process.pid: pid == dead)
                    if case is None:
                        continue
                    if case in again_tried:
                        yield Result(str(case), "failed", message="its worker process ended unexpectedly, twice "
                                     f"({worker.how_it_ended()}); the other cases went on. Run it again with more "
                                     "memory free; if that does not help, please report it")
                    else:
                        again_tried.add(case)
                        again.append(case)
            well = True
        finally:
            _dismiss(hired, out, at_once=not well)


def _dismiss(hired: list[_Worker], out: Path, *, at_once: bool) -> None:
    """End all workers within seconds, and remove what those that were stopped leave unfinished."""
    for worker in hired:
        worker.line.close()
        if at_once:
            worker.process.terminate()
    for stop in (lambda process: None, lambda process: process.kill()):
        deadline = time.monotonic() + 1
        for worker in hired:
            if worker.process.is_alive():
                stop(worker.process)
                worker.process.join(max(0, deadline - time.monotonic()))
    pids = {worker.process.pid for worker in hired}
    remove_unfinished(out, lambda pid: pid in pids)


def _work(line: Connection, out: Path, isolated: bool, scratch: str) -> None:
    """A worker's life: a case in, a result out, until the line ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    tempfile.tempdir = scratch  # the parent removes it, also after a worker that was killed
    try:
        while True:
            line.send(make_package(line.recv(), out, isolated=isolated))
    except (EOFError, OSError):
        pass  # dismissed, or the parent is gone


@contextmanager
def _for_children() -> Iterator[None]:
    """Processes started within do not hear Ctrl-C from their first moment on, when they could only answer it with
    a traceback: the parent decides what becomes of them. They run one thread of numerics each, for the packages
    are what runs in parallel; the libraries read that when they are loaded."""
    names = [n for n in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS") if n not in os.environ]
    os.environ.update(dict.fromkeys(names, "1"))
    try:
        if sys.platform == "win32":
            import ctypes
            # Children inherit that Ctrl-C is ignored. A key pressed in these milliseconds is lost.
            ctypes.windll.kernel32.SetConsoleCtrlHandler(None, True)
            try:
                yield
            finally:
                ctypes.windll.kernel32.SetConsoleCtrlHandler(None, False)
        else:
            from multiprocessing import resource_tracker
            # Started by the first child otherwise, which unblocks the signal again.
            resource_tracker.ensure_running()
            # Children inherit that the signal is blocked; in the parent it is only put off.
            mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
            try:
                yield
            finally:
                signal.pthread_sigmask(signal.SIG_SETMASK, mask)
    finally:
        for name in names:
            os.environ.pop(name, None)


@contextmanager
def ctrl_c_noted() -> Iterator[list[int]]:
    """Within, Ctrl-C only fills the list: no exception in the middle of starting or stopping a worker, however
    often it is pressed."""
    pressed: list[int] = []
    try:
        before = signal.getsignal(signal.SIGINT)
        if before in (signal.SIG_IGN, None):  # a job in the background, or a host with a handler not of Python
            yield pressed
            return
        signal.signal(signal.SIGINT, lambda number, frame: pressed.append(number))
    except ValueError:  # not the main thread, which alone hears of signals
        yield pressed
        return
    try:
        yield pressed
    finally:
        signal.signal(signal.SIGINT, before)
