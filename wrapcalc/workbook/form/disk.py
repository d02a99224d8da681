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

from wrapcalc.errors import PackageError
from wrapcalc.reading import MAX_BYTES, decoded, read_bytes, shown_name

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

    It is a convenience: where it cannot be written, the view says that what is typed lives in the page alone.
    """

    def __init__(self, path: Path):
        self.path = path.with_name(f".{path.name}.unsaved")

    def keep(self, text: str, opened: str) -> bool:
        """Keep a draft of the file that had this digest when it was opened; whether that was possible."""
        aside = self.path.with_name(f"{self.path.name}-{secrets.token_hex(4)}")
        try:
            aside.write_text(json.dumps({"opened": opened, "text": text}), encoding="utf-8")
            os.replace(aside, self.path)
            return True
        except OSError:
            with contextlib.suppress(OSError):
                aside.unlink()
            return False

    def drop(self) -> None:
        """Nothing is unsaved any more."""
        with contextlib.suppress(OSError):
            self.path.unlink()

    def read(self) -> tuple[str, str] | None:
        """(text, digest of the file when it was opened) of a draft that was left; None when there is none."""
        try:
            held = json.loads(self.path.read_text(encoding="utf-8"))
            text, opened = held["text"], held["opened"]
        except (OSError, ValueError, KeyError, TypeError):
            return None
        return (text, opened) if isinstance(text, str) and isinstance(opened, str) else None
