"""Packages made on a dask.distributed cluster: the same packages as in processes of this computer.

The workers need not share a disk: the files of a case go to a worker as bytes, the package comes back as bytes and gets
its name here. Workers of another version are refused, because their records would be others.
"""

from __future__ import annotations

import logging
import os
import platform
import queue
import secrets
import shutil
import tempfile
import threading
import time
import uuid
import warnings
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from importlib import metadata
from pathlib import Path
from typing import Any

from wrapcalc import __version__
from wrapcalc import record as records
from wrapcalc.campaign.ledger import inputs, tool
from wrapcalc.errors import PackageError
from wrapcalc.package import build, digests
from wrapcalc.package.build import Result, host_name, latest, make_package, put_in_place
from wrapcalc.package.many import ctrl_c_noted

#: Seconds: to connect, between two looks at the cluster, without any worker, and to let go at the end.
CONNECT, LOOK, WITHOUT_WORKERS, LET_GO = 10.0, 5.0, 60.0, 2.0
TICK = 0.2
#: So many cases for each thread of the workers are on their way at once.
AHEAD = 3
_RESUME = "What is finished stays; the same command goes on from there"
_one_at_a_time = threading.Lock()
Files = dict[str, bytes]


def facts() -> dict[str, str]:
    """What decides the bytes of a record: versions, and the files of the tool."""
    return {"python": platform.python_version(), "numpy": metadata.version("numpy"), "pint": metadata.version("pint"),
            "wrapcalc": __version__, "record schema": str(records.SCHEMA), "files of wrapcalc": tool()[:12]}


# -- on the worker ------------------------------------------------------------------------------------------------
def package_there(case: str, files: Files, previous: str, earlier: Files, wanted: dict[str, str]) -> dict[str, Any]:
    """One case on a worker. case: name of its file among `files`; previous, earlier: name and files of the latest
    package of the case, blank when there is none; wanted: facts of the caller.

    Gives {"facts"} when they are others here, else {"result", "name", "files"}; no files when it is not "written".
    """
    here = facts()
    if here != wanted:
        return {"facts": here}
    # A notebook run changes folder and streams of its process: the threads of a worker take turns.
    with _one_at_a_time, tempfile.TemporaryDirectory(prefix="wrapcalc-", ignore_cleanup_errors=True) as scratch:
        source, out = Path(scratch) / "cases", Path(scratch) / "packages"
        _write(source, files)
        _write(out / previous if previous else out, earlier)
        result = make_package(source / case, out)
        folder = Path(result.folder) if result.folder else None
        message = result.message.replace(f"{out}{os.sep}", "").replace(f"{source}{os.sep}", "")
        return {"result": replace(result, source=case, folder="", message=message),
                "name": folder.name if folder else "",
                "files": _read(folder) if folder and result.state == "written" else {}}


def _write(folder: Path, files: Files) -> None:
    folder.mkdir(parents=True)
    for name, raw in files.items():
        path = folder / name
        if not path.resolve().is_relative_to(folder.resolve()):
            raise PackageError(f"'{name}' would lie outside its package; nothing was written")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(raw)


def _read(folder: Path) -> Files:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


# -- here ---------------------------------------------------------------------------------------------------------
class Cluster:
    """A connection to a scheduler whose workers were found to be of our version. Use as a context manager."""

    def __init__(self, address: str):
        self.address = address
        self._looked = self._had_workers = time.monotonic()

    def __enter__(self) -> Cluster:
        with _quiet(), warnings.catch_warnings():
            warnings.simplefilter("ignore")  # distributed warns of versions, which we compare ourselves
            self.client = self._connect()
            try:
                self._check_versions()
            except BaseException:
                self.__exit__()
                raise
        return self

    def __exit__(self, *_: object) -> None:
        with _quiet(), suppress(Exception):
            self.client.close(timeout=LET_GO)

    def _connect(self) -> Any:
        try:
            from distributed import Client
        except ImportError:
            raise PackageError("a scheduler needs dask.distributed: pip install 'wrapcalc[cluster]', or leave "
                               "--scheduler out") from None
        try:
            return Client(self.address, timeout=CONNECT, set_as_default=False, name="wrapcalc")
        except Exception as e:  # of distributed's own: connection, address, event loop that did not start in time
            raise PackageError(f"{self.address}: no scheduler answers there ({_first(e)}). Check the address (such as "
                               "tcp://host:8786) and that `dask scheduler` runs, or leave --scheduler out to work on "
                               f"this computer. {_RESUME}") from None

    def _check_versions(self) -> None:
        """Raises PackageError naming the first worker of another version, with both versions."""
        try:
            self.client.wait_for_workers(1, timeout=CONNECT)
            # What every Python knows is asked first: it tells more than a function that cannot be loaded.
            self._compare("python", self.client.run(platform.python_version, on_error="return"))
            there = self.client.run(facts, on_error="return")
            for worker, found in there.items():
                if not isinstance(found, dict):
                    raise PackageError(f"{self.address}: worker {worker} cannot package cases ({_first(found)}); it "
                                       f"needs wrapcalc {__version__} with its extras report and campaign, as here")
            for key in facts():
                self._compare(key, {worker: found.get(key, "not known") for worker, found in there.items()})
        except TimeoutError:
            raise PackageError(f"{self.address}: the scheduler has no workers; start some with `dask worker "
                               f"{self.address}`, then run again") from None
        except OSError as e:
            raise self._lost(_first(e)) from None

    def _compare(self, what: str, found: dict[str, Any]) -> None:
        ours = facts()[what]
        for worker in sorted(found):
            if found[worker] != ours:
                raise PackageError(f"{self.address}: worker {worker} has {what} {found[worker]}, here it is {ours}; "
                                   "records would differ. Install the same versions there and start the worker again")

    def package(self, todo: list[Path], out: Path) -> Iterator[Result]:
        """Package the files on the workers, the packages in `out`. Raises PackageError when the cluster is lost."""
        waiting, running = deque(todo), {}
        ended: queue.SimpleQueue = queue.SimpleQueue()
        with _quiet(), ctrl_c_noted() as pressed:
            try:
                ahead = AHEAD * max(1, sum(self.client.nthreads().values()))
                while waiting or running:
                    if pressed:
                        raise KeyboardInterrupt
                    while waiting and len(running) < ahead:
                        case = waiting.popleft()
                        future = self._submit(case, out)
                        running[future] = case
                        future.add_done_callback(ended.put)
                    try:
                        future = ended.get(timeout=TICK)
                    except queue.Empty:
                        self._look()
                        continue
                    yield self._result(future, running.pop(future), out)
            except OSError as e:
                raise self._lost(_first(e)) from None
            finally:
                with suppress(Exception):
                    self.client.cancel(list(running), asynchronous=False, force=True)

    def _submit(self, case: Path, out: Path) -> Any:
        case_id, files = inputs(case)
        before = latest(out, case_id).folder if case_id else None
        # The same case may be asked of one scheduler twice: each has a key of its own.
        return self.client.submit(package_there, case.name, files, before.name if before else "",
                                  _read(before) if before else {}, facts(), pure=False,
                                  key=f"wrapcalc-{case.stem}-{uuid.uuid4().hex}")

    def _look(self) -> None:
        """Raises PackageError when the scheduler is gone, or there has not been a worker for long."""
        now = time.monotonic()
        if self.client.status != "running":
            raise self._lost("the connection was closed")
        if now - self._looked < LOOK:
            return
        self._looked = now
        if self.client.nthreads():
            self._had_workers = now
        elif now - self._had_workers > WITHOUT_WORKERS:
            raise PackageError(f"{self.address}: the scheduler has had no worker for {WITHOUT_WORKERS:g} s; start some "
                               f"with `dask worker {self.address}`. {_RESUME}")

    def _lost(self, why: str) -> PackageError:
        return PackageError(f"{self.address}: the scheduler was lost while it was at work ({why}). {_RESUME}")

    def _result(self, future: Any, case: Path, out: Path) -> Result:
        if future.status in ("cancelled", "lost"):
            raise self._lost("it no longer knows what it was asked for")
        if future.status == "error":
            return Result(str(case), "failed", message=_died(future.exception()))
        answer = future.result(timeout=60)
        if "facts" in answer:
            ours = facts()
            other = next(k for k in ours if answer["facts"].get(k) != ours[k])
            raise PackageError(f"{self.address}: a worker that joined later has {other} {answer['facts'].get(other)}, "
                               f"here it is {ours[other]}; records would differ. End that worker. {_RESUME}")
        result: Result = replace(answer["result"], source=str(case))
        if result.state == "failed":
            return result
        folder = out / answer["name"]
        if result.state == "written" and not _receive(answer["files"], folder, out):
            return make_package(case, out)  # another run took the name meanwhile: this finds out what is right
        return replace(result, folder=str(folder))


def _receive(files: Files, folder: Path, out: Path) -> bool:
    """Put a package that came as bytes in its place; False when the name is taken."""
    aside = (out / f".building-{os.getpid()}-{host_name()}-{secrets.token_hex(4)}").absolute()
    build.in_hand.add(aside)
    try:
        _write(aside, files)
        if problems := digests.integrity(aside):
            raise PackageError(f"{folder.name}: it was damaged on its way from the worker ({problems[0]}). {_RESUME}")
        return put_in_place(aside, folder)
    finally:
        shutil.rmtree(aside, ignore_errors=True)
        build.in_hand.discard(aside)


def _died(error: BaseException | None) -> str:
    if type(error).__name__ == "KilledWorker":
        return ("every worker that had it ended unexpectedly, as when memory runs out; the other cases went on. Run it "
                "again with more memory for the workers; if that does not help, please report it")
    return f"the worker could not package it ({type(error).__name__}: {_first(error)})"


def _first(error: object) -> str:
    """The first line of an error, at most 200 characters."""
    return (str(error).strip().splitlines() or [type(error).__name__])[0][:200]


@contextmanager
def _quiet() -> Iterator[None]:
    """Within, distributed logs nothing: what matters is told by us, once."""
    names = ("distributed", "tornado.application", "asyncio")
    kept = {name: logging.getLogger(name).level for name in names}
    for name in names:
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        for name, level in kept.items():
            logging.getLogger(name).setLevel(level)
