"""One file of the user: opened, kept as typed until it is saved, saved aside and renamed, never overwritten in silence.

What was typed and not saved stands in a second file beside it (`NAME.unsaved`), so that a kernel that ends takes
nothing away. It also says over which bytes it was typed: whoever saves is told when others stand there by then. Each
window writes over and removes only what it wrote itself: a second one on the same file has its own `NAME.unsaved-2`.
"""

from __future__ import annotations

import json
import os
import secrets
from collections.abc import Iterator
from pathlib import Path

from wrapcalc.errors import Fault, PackageError
from wrapcalc.package.digests import sha256

#: Larger files are none that somebody filled in by hand.
MAX_BYTES = 5_000_000
#: So many windows on one file keep what is typed; more are a mistake.
_MOST_WINDOWS = 99


class ChangedOnDisk(PackageError):
    """The file is not the one that was opened; nothing was written."""


class Kept:
    """The file at `path`. blank: what the user begins with where there is no file; base: digest of the bytes over which
    the user types, "" where there was no file."""

    def __init__(self, path: Path, blank: bytes):
        self.path, self.blank = path, blank
        self.typed: bytes | None = None
        self.base = ""
        self._own: Path | None = None  # where what this window typed stands, and its bytes there
        self._wrote = b""
        self._damaged: list[str] = []
        self._read_unsaved()
        if self.typed is None:
            self.base = self._digest()

    def _slots(self) -> Iterator[Path]:
        """Where what is typed and not saved can stand: one place for each window."""
        for n in range(1, _MOST_WINDOWS + 1):
            yield self.path.with_name(self.path.name + ".unsaved" + (f"-{n}" if n > 1 else ""))

    def told(self) -> list[str]:
        """What the user must know of other files of typed work beside this one, in words."""
        out = list(self._damaged)
        others = [p.name for p in self._slots() if os.path.lexists(p) and not (p == self._own and self._is_mine())]
        if others:
            out.append(f"something else was typed over {self.path.name} and not saved, in another window or earlier: "
                       f"it stands in {', '.join(others)}, and nothing of it is shown here; it is kept. To go on with "
                       "it, save or drop what is typed here, and what is typed in the other window, then run this cell "
                       "again")
        return out

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
            raise PackageError(f"{self.path}: {size / 1e6:.3g} MB; what is typed here has at most "
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
        text = (json.dumps(told, ensure_ascii=False) + "\n").encode()
        place = self._own if self._own is not None and self._is_mine() else self._free()
        put(place, text)
        self._own, self._wrote = place, text

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
        if self._own is None:
            return
        try:
            if self._is_mine():
                self._own.unlink(missing_ok=True)
        except OSError as e:
            raise PackageError(f"{self._own}: cannot be removed ({e.strerror or e})") from None
        self._own = None

    def set_aside(self) -> None:
        """What was typed earlier proves to be no table of ours: put it aside, go on from what is on disk."""
        if self._own is not None:
            self._set_aside(self._own)
        self.typed, self._own = None, None
        self.base = self._digest()

    def _is_mine(self) -> bool:
        """Whether what stands at the place of this window is what it wrote last; an other one may go on from it."""
        try:
            return self._own is not None and self._own.read_bytes() == self._wrote
        except OSError:
            return False

    def _free(self) -> Path:
        """The first place at which nobody's typed work stands. Raises PackageError."""
        place = next((p for p in self._slots() if not os.path.lexists(p)), None)
        if place is None:
            raise PackageError(f"{self.path.parent}: too many files {self.path.name}.unsaved of other windows; look at "
                               "them with an editor, then move them away")
        return place

    def _digest(self) -> str:
        raw = self.saved
        return "" if raw is None else sha256(raw)

    def _read_unsaved(self) -> None:
        """Go on from what was typed earlier, the first that can be read; what cannot is put aside and told."""
        for place in self._slots():
            try:
                raw = place.read_bytes()
            except (FileNotFoundError, NotADirectoryError):
                continue
            except OSError as e:
                raise PackageError(f"{place}: cannot be read ({e.strerror or e})") from None
            try:
                told = json.loads(raw)
                text, over = told["text"], told["over"]
                if not (isinstance(text, str) and isinstance(over, str)):
                    raise TypeError
                self.typed, self.base = text.encode(), over
            except (ValueError, KeyError, TypeError, RecursionError):
                self._set_aside(place)
                continue
            self._own, self._wrote = place, raw
            return

    def _set_aside(self, place: Path) -> None:
        """Give a damaged file another name, under which nobody writes over it. Raises PackageError."""
        number, aside = 1, place.with_name(f"{place.name}-damaged")
        while os.path.lexists(aside):
            number += 1
            aside = place.with_name(f"{place.name}-damaged-{number}")
        try:
            place.rename(aside)
        except OSError as e:
            raise PackageError(f"{place}: what was typed and not saved cannot be read, and cannot be renamed "
                               f"({e.strerror or e}); look at it with an editor, then move it away") from None
        self._damaged.append(f"what was typed and not saved earlier cannot be read: {place.name} is damaged, and "
                             f"stands as {aside.name} now; look at it with an editor")


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
                           "leave to write there, or name another folder") from None


def unwritable(file: str, field: str, text: str, line: int | None = None) -> Fault | None:
    """The fault of a text that no file can hold, half of a sign that is written as a pair; None of any other."""
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        shown = text.encode("ascii", "backslashreplace").decode()[:60]
        return Fault(file, field, f"'{shown}', half a sign that cannot be written", "a text that can be written as "
                     "UTF-8", "type it again", line)
    return None
