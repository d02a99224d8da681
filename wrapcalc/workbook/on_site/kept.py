"""One file of the user: opened, kept as typed until it is saved, saved aside and renamed, never overwritten in silence.

What was typed and not saved stands in a second file beside it (`NAME.unsaved`), so that a kernel that ends takes
nothing away. It also says over which bytes it was typed: whoever saves is told when others stand there by then.
"""

from __future__ import annotations

import json
import os
import secrets
from pathlib import Path

from wrapcalc.errors import PackageError
from wrapcalc.package.digests import sha256

#: Larger files are none that somebody filled in by hand.
MAX_BYTES = 5_000_000


class ChangedOnDisk(PackageError):
    """The file is not the one that was opened; nothing was written."""


class Kept:
    """The file at `path`. blank: what the user begins with where there is no file; base: digest of the bytes over which
    the user types, "" where there was no file."""

    def __init__(self, path: Path, blank: bytes):
        self.path, self.blank = path, blank
        self.typed: bytes | None = None
        self.base = ""
        self._read_unsaved()
        if self.typed is None:
            self.base = self._digest()

    @property
    def unsaved(self) -> Path:
        """Where what is not saved stands."""
        return self.path.with_name(self.path.name + ".unsaved")

    @property
    def saved(self) -> bytes | None:
        """The bytes on disk; None where there is no file. Raises PackageError."""
        try:
            size = self.path.stat().st_size
            raw = self.path.read_bytes() if size <= MAX_BYTES else b""
        except FileNotFoundError:
            return None
        except OSError as e:
            raise PackageError(f"{self.path}: cannot be read ({e.strerror or e})") from None
        if size > MAX_BYTES:
            raise PackageError(f"{self.path}: {size / 1e6:.3g} MB; field data of a repair have at most "
                               f"{MAX_BYTES / 1e6:g} MB")
        return raw

    @property
    def text(self) -> bytes:
        """What the user works with: what was typed, else what is saved, else the blank."""
        if self.typed is not None:
            return self.typed
        saved = self.saved
        return self.blank if saved is None else saved

    @property
    def dirty(self) -> bool:
        """Whether something was typed that is not saved."""
        return self.typed is not None

    def changed(self) -> str:
        """What happened on disk since it was opened, in words; "" when nothing did."""
        now = self._digest()
        if now == self.base:
            return ""
        what = "is there by now, and was not when you began" if not self.base else (
            "was changed by somebody else since you opened it" if now else "is not there any more")
        return f"{self.path.name} {what}"

    def keep(self, raw: bytes) -> None:
        """What the table says now; beside the file until it is saved. Raises PackageError when that cannot be written:
        it is kept in memory all the same."""
        saved = self.saved
        if raw == (self.blank if saved is None else saved) and not self.changed():
            self.drop()
            return
        self.typed = raw
        told = {"over": self.base, "text": raw.decode("utf-8")}
        put(self.unsaved, (json.dumps(told, ensure_ascii=False) + "\n").encode())

    def save(self, raw: bytes, *, over: bool = False) -> None:
        """Write the file. over: even over what somebody else has put there. Raises ChangedOnDisk, PackageError."""
        if not over and (words := self.changed()):
            raise ChangedOnDisk(f"{words}; nothing was saved. Look at what is there now, or save over it")
        put(self.path, raw)
        self.base = sha256(raw)
        self.drop()

    def drop(self) -> None:
        """Forget what was typed and not saved; go on from what is on disk."""
        self.typed = None
        self.base = self._digest()
        try:
            self.unsaved.unlink(missing_ok=True)
        except OSError as e:
            raise PackageError(f"{self.unsaved}: cannot be removed ({e.strerror or e})") from None

    def _digest(self) -> str:
        raw = self.saved
        return "" if raw is None else sha256(raw)

    def _read_unsaved(self) -> None:
        try:
            told = json.loads(self.unsaved.read_bytes())
            self.typed, self.base = str(told["text"]).encode(), str(told["over"])
        except FileNotFoundError:
            return
        except OSError as e:
            raise PackageError(f"{self.path}: cannot be read ({e.strerror or e})") from None
        except (ValueError, KeyError, TypeError):
            raise PackageError(f"{self.unsaved}: what was typed and not saved cannot be read; look at it with an "
                               "editor, then move it away") from None


def put(path: Path, raw: bytes) -> None:
    """Write a file whole: aside in the same folder, then renamed. Raises PackageError; nothing half-written is left."""
    aside = path.with_name(f".{path.name}-{os.getpid()}-{secrets.token_hex(4)}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists() and not os.access(path, os.W_OK):
            raise PermissionError(13, "it is write-protected")
        try:
            aside.write_bytes(raw)
            os.replace(aside, path)
        finally:
            aside.unlink(missing_ok=True)
    except OSError as e:
        raise PackageError(f"{path}: cannot be written ({e.strerror or e}); nothing half-written was left. Ask for "
                           "leave to write there, or name another folder for your field data") from None
