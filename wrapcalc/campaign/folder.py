"""The folder of a campaign: one run at a time in it, files that are there whole or not at all, and what is made of the
packages, which never stands beside a campaign that it is not of."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from wrapcalc.errors import PackageError
from wrapcalc.package.build import host_name

_LOCK, _HOLDER = ".campaign.lock", ".campaign.holder"
ROLL_UP, ORDER, BY_SITE, DIG_LIST, SEASON = ("roll-up.json", "order.csv", "order-by-site.csv", "dig-list.csv",
                                             "season.csv")
HTML, PDF, WORKBOOK = "campaign.html", "campaign.pdf", "campaign.ipynb"
#: What is made of the packages. The roll-up comes last: where it stands, the others do.
OUTPUTS = (ORDER, BY_SITE, DIG_LIST, SEASON, HTML, PDF, WORKBOOK, ROLL_UP)
#: Where the outputs of the run before wait until those of this one are in place.
SUPERSEDED = "superseded"


@contextmanager
def held(out: Path) -> Iterator[None]:
    """Within, no other run works in the folder. The system lets go of the lock when the process dies, however."""
    try:
        from filelock import FileLock, Timeout
    except ImportError:
        raise PackageError("a campaign needs filelock and pyarrow: pip install 'wrapcalc[campaign]'") from None
    lock = FileLock(out / _LOCK, timeout=0)
    try:
        lock.acquire()
    except Timeout:
        raise PackageError(f"{out}: another run works in this folder{_holder(out)}; wait until it ends, or choose "
                           "another --out folder") from None
    except (OSError, NotImplementedError) as e:
        raise PackageError(f"{out}: the folder cannot be locked ({e}); choose a folder on a disk of this "
                           "computer") from None
    try:
        write_aside(out / _HOLDER, json.dumps({"process": os.getpid(), "host": host_name().partition(".")[0],
                                               "since": time.strftime("%Y-%m-%d %H:%M:%S")}).encode())
        yield
    finally:
        lock.release()


def _holder(out: Path) -> str:
    """Who holds the folder, in words; nothing when that cannot be read."""
    try:
        about = json.loads((out / _HOLDER).read_bytes())
        return f" (process {about['process']} on {about['host']}, since {about['since']})"
    except (OSError, ValueError, KeyError, TypeError):
        return ""


def write_aside(path: Path, raw: bytes) -> None:
    """Write a file so that it is there whole or not at all."""
    handle, name = tempfile.mkstemp(prefix=".aside-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(raw)
        os.chmod(name, 0o644)
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def put_away(out: Path) -> None:
    """Before anything changes that they were made of: move the outputs of the run before to `superseded`.

    A kill between two moves leaves no roll-up, without which nothing reads them. Raises PackageError when one of them
    cannot be moved.
    """
    there = [n for n in reversed(OUTPUTS) if (out / n).exists()]
    if not there:
        return
    folder = out / SUPERSEDED
    try:
        if ROLL_UP in there and folder.exists():
            shutil.rmtree(folder)
        folder.mkdir(exist_ok=True)
        for name in there:
            if (folder / name).exists():  # a kill left a part of a newer set, which is made again
                (out / name).unlink()
            else:
                os.replace(out / name, folder / name)
    except OSError as e:
        raise _not_moved(e) from None


def put_in_place(out: Path, made: Path) -> None:
    """Move the outputs in the folder `made` to where they belong, those of the run before away. Raises PackageError
    when one of them cannot be moved."""
    put_away(out)
    try:
        for name in OUTPUTS:
            os.replace(made / name, out / name)
    except OSError as e:
        raise _not_moved(e) from None
    shutil.rmtree(out / SUPERSEDED, ignore_errors=True)


def outputs_wait(out: Path) -> list[str]:
    """What to say of the outputs of a run that was stopped before they were in place."""
    if (out / ROLL_UP).exists():
        return []
    before = f"; those of the run before are in {out / SUPERSEDED}" if (out / SUPERSEDED).exists() else ""
    return [f"order, dig list and report are not made{before}. Run the same command again to go on"]


def _not_moved(e: OSError) -> PackageError:
    return PackageError(f"{e.filename or 'a file'}: cannot be moved or taken away ({e.strerror or e}); close it where "
                        "it is open, see that the folder can be written, and run the same command again")
