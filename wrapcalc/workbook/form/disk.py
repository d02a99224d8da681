"""The case file on disk: read with its marks of origin, written aside and renamed, and what was typed but not saved."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import secrets
import shutil
from dataclasses import dataclass
from pathlib import Path

from wrapcalc.errors import CaseFaults, PackageError
from wrapcalc.reading import MAX_BYTES, decoded, parse_toml, read_bytes, shown_name

_BOM = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class Form:
    """How a file spells its text: with a byte order mark or not, and the end of its lines."""

    bom: bool = False
    crlf: bool = False

    def bytes_of(self, text: str) -> bytes:
        """The text as this file holds it."""
        return (_BOM if self.bom else b"") + (text.replace("\n", "\r\n") if self.crlf else text).encode()


def text_of(raw: bytes, name: str) -> tuple[str, Form]:
    """The text of a case file with "\\n" at the end of its lines, and how the file spells it. Raises CaseFaults."""
    text = decoded(raw, name, "save it as UTF-8")
    ends = text.count("\n")
    crlf = ends > 0 and text.count("\r\n") == ends
    return (text.replace("\r\n", "\n") if crlf else text), Form(raw.startswith(_BOM), crlf)


def bytes_on_disk(path: Path) -> bytes | None:
    """What stands in the file now; None when it is not there. Raises CaseFaults for what cannot be read."""
    return read_bytes(path, shown_name(path)) if os.path.lexists(path) else None


def digest(raw: bytes | None) -> str:
    """SHA-256 of a file; "" of none."""
    return "" if raw is None else hashlib.sha256(raw).hexdigest()


def write(path: Path, raw: bytes, *, new: bool, most: int = MAX_BYTES) -> None:
    """A file with these bytes, or as it was before. new: nothing may stand there yet.

    Raises PackageError when it cannot be written, or when `new` and somebody else has made it meanwhile.
    """
    if len(raw) > most:
        raise PackageError(f"{path.name}: {len(raw) / 1e6:.3g} MB; such a file has at most {most / 1e6:g} MB, and a "
                           "longer one could not be opened again; nothing was saved; shorten the longest texts")
    target = path.resolve()  # a link stays one
    aside = target.with_name(f".{target.name}-{secrets.token_hex(4)}.part")
    try:
        if target.exists() and not os.access(target, os.W_OK):
            raise PermissionError(13, "the file is write-protected")
        aside.write_bytes(raw)
        if new:
            _name_once(aside, target)
        else:
            shutil.copymode(target, aside)
            os.replace(aside, target)
    except FileExistsError:
        raise PackageError(f"{path.name}: somebody has written a file of this name meanwhile; nothing was saved; save "
                           "again, or under another name") from None
    except OSError as e:
        raise PackageError(f"{path.name}: cannot be written ({e.strerror or e}); nothing was saved; choose another "
                           "name or folder, or ask for leave to write there") from None
    finally:
        with contextlib.suppress(OSError):  # not there any more when it was put in place
            aside.unlink()


def _name_once(aside: Path, target: Path) -> None:
    """Give the file its name; FileExistsError when there is one of that name."""
    try:
        os.link(aside, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without links: between the question and the renaming is an instant
        if os.path.lexists(target):
            raise FileExistsError from None
        os.rename(aside, target)


# -- what was typed and not saved -------------------------------------------------------------------------------------
class Unsaved:
    """The draft of a case beside its file, so that a kernel that ends takes nothing with it unsaid.

    It is a convenience: where it cannot be written, the view says that what is typed lives in the page alone. Two
    windows on one case share its name, so only what this object wrote or took over is ever overwritten or removed.
    remark: what became of a damaged one; why: why nothing could be kept.
    """

    def __init__(self, path: Path):
        self.path = path.with_name(f".{path.name}.unsaved")
        self._case, self._mine, self.why = path, b"", ""
        self._seen = self._bytes()
        self.remark = self._set_aside() if self._seen is not None and _draft_in(self._seen) is None else ""

    def keep(self, text: str, opened: str) -> bool:
        """Keep a draft of the file that had this digest when it was opened; whether that was possible."""
        aside = self.path.with_name(f"{self.path.name}-{secrets.token_hex(4)}")
        self.why = ""
        if self._of_others():
            self.why = ("Another window has typed answers of this case that are not saved: what you type here lives in "
                        "this page alone. Save or close one of the two.")
            return False
        held = json.dumps({"opened": opened, "text": text})
        try:
            aside.write_text(held, encoding="utf-8", newline="\n")
            os.replace(aside, self.path)
            self._mine = held.encode()
            return True
        except OSError:
            self.why = "This folder cannot be written: what you type lives in this page alone."
            with contextlib.suppress(OSError):
                aside.unlink()
            return False

    def drop(self, *, seen: bool = False) -> bool:
        """Nothing is unsaved any more; whether nothing is left. seen: also what stood there when this was opened."""
        if self._of_others() and not (seen and self._bytes() == self._seen):
            return False
        with contextlib.suppress(OSError):
            self.path.unlink()
        return True

    def read(self) -> tuple[str, str] | None:
        """(text, digest of the file when it was opened) of a sound draft that was left; None when there is none."""
        raw = self._bytes()
        return None if raw is None else _draft_in(raw)

    def take_over(self) -> tuple[str, str] | None:
        """The same; from now on it is ours to overwrite."""
        raw = self._bytes()
        held = None if raw is None else _draft_in(raw)
        if raw is not None and held is not None:
            self._mine = raw
        return held

    def _of_others(self) -> bool:
        return os.path.lexists(self.path) and self._bytes() != self._mine

    def _bytes(self) -> bytes | None:
        try:
            return self.path.read_bytes()
        except OSError:
            return None

    def _set_aside(self) -> str:
        """Give a damaged draft another name, under which somebody may look at it; what is to be said of it."""
        for number in range(1, 100):
            name = f"{self._case.name}.damaged-draft" + (f"-{number}" if number > 1 else "")
            try:
                _name_once(self.path, self.path.with_name(name))
            except FileExistsError:
                continue
            except OSError:
                break
            with contextlib.suppress(OSError):  # renamed where there are no links
                self.path.unlink()
            return ("answers that were typed earlier and not saved cannot be read: the file that held them is damaged. "
                    f"It is kept as {name}.")
        return (f"answers that were typed earlier and not saved cannot be read: {self.path.name} is damaged. It could "
                "not be given another name and stays as it is.")


def _draft_in(raw: bytes) -> tuple[str, str] | None:
    """(text, digest) of a kept draft; None for what is none, or holds no TOML."""
    try:
        held = json.loads(raw)
        text, opened = held["text"], held["opened"]
        if not (isinstance(text, str) and isinstance(opened, str)):
            return None
        parse_toml(text.encode(), "the draft")
    except (CaseFaults, ValueError, LookupError, TypeError, RecursionError):
        return None
    return text, opened
