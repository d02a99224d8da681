"""The text of a CSV file as UTF-8, checked on the way; and its first records."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO

from wrapcalc.campaign.listing.chunks import file_open, whole
from wrapcalc.errors import CaseFaults

#: Longest line among the first records.
_LONGEST = 1_000_000
_MARKS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
_CODECS = {"utf-8": "utf-8", "utf-16": "utf-16", "windows-1252": "cp1252"}


def marked(start: bytes) -> str | None:
    """The encoding that a byte order mark at the start of a file tells; None when there is none."""
    return next((encoding for mark, encoding in _MARKS if start.startswith(mark)), None)


class Utf8(io.RawIOBase):
    """A file read as UTF-8 from the encoding it is in, without byte order mark.

    Reading raises CaseFaults for bytes that the encoding does not have, and for NUL bytes.
    """

    def __init__(self, path: Path, encoding: str, name: str):
        super().__init__()
        self._path, self._name, self._encoding, self._read = path, name, encoding, 0
        self._file: BinaryIO = file_open(path, name)
        start = self._file.read(4)
        told = marked(start)
        if told is not None and told != encoding:
            self._file.close()
            raise whole(name, f"a mark of the encoding {told}", f"text in {encoding}, as the mapping says",
                        f'write encoding = "{told}" under [listing]')
        self._file.seek(3 if told == "utf-8" else 0)
        self._decoder = codecs.getincrementaldecoder(_CODECS[encoding])("strict")
        self._left = b""

    def readable(self) -> bool:
        return True

    def close(self) -> None:
        if not self.closed:
            self._file.close()
        super().close()

    def readinto(self, buffer: Any) -> int:
        while not self._left:
            raw = self._file.read(max(len(buffer), 1))
            if self._encoding == "utf-8" and raw.isascii() and not self._decoder.getstate()[0]:
                self._left = raw
            else:
                self._left = self._decoded(raw)
            if b"\0" in self._left:
                at = self._read + raw.find(b"\0") if self._encoding != "utf-16" else self._read
                raise self._fault("a NUL byte, which no text has", "text", "write the file again from its source; if "
                                  'it is in UTF-16, write encoding = "utf-16" under [listing]', at)
            self._read += len(raw)
            if not raw:
                break
        some = self._left[:len(buffer)]
        buffer[:len(some)] = some
        self._left = self._left[len(some):]
        return len(some)

    def _decoded(self, raw: bytes) -> bytes:
        before = len(self._decoder.getstate()[0])
        try:
            return self._decoder.decode(raw, final=not raw).encode()
        except UnicodeError as e:
            at = self._read - before + getattr(e, "start", 0)
            other = "windows-1252" if self._encoding == "utf-8" else "utf-8"
            raise self._fault(f"a byte that is not {self._encoding}", f"text in {self._encoding}", "save it as CSV "
                              f'(UTF-8), or write encoding = "{other}" under [listing] if it is that', at) from None

    def _fault(self, found: str, allowed: str, mend: str, at: int) -> CaseFaults:
        """The line is counted only now: it is needed only here."""
        line, left = 1, at + (3 if self._encoding == "utf-8" and self._marked() else 0)
        with self._path.open("rb") as file:
            while left > 0 and (part := file.read(min(left, 1 << 20))):
                line += part.count(b"\n")
                left -= len(part)
        return whole(self._name, found, allowed, mend, line)

    def _marked(self) -> bool:
        with self._path.open("rb") as file:
            return file.read(3) == codecs.BOM_UTF8


def open_text(path: Path, encoding: str, name: str) -> io.BufferedReader:
    """The file as a stream of UTF-8. Raises CaseFaults, also while it is read."""
    return io.BufferedReader(Utf8(path, encoding, name), 1 << 20)


def records(stream: io.BufferedReader, delimiter: str, name: str) -> Iterator[list[str]]:
    """Records of the stream, each read only when it is asked for, so that the rest of the stream begins after it."""
    returns = False  # whether the last line holds a carriage return inside

    def lines() -> Iterator[str]:
        nonlocal returns
        while line := stream.readline(_LONGEST):
            returns = b"\r" in line.rstrip(b"\r\n")
            if len(line) == _LONGEST:
                raise _no_csv(name, f"a line of more than {_LONGEST} characters", returns)
            yield line.decode()
    try:
        yield from csv.reader(lines(), delimiter=delimiter)
    except csv.Error:
        raise _no_csv(name, f"text that is not CSV, or a cell of more than {csv.field_size_limit()} characters",
                      returns) from None


def _no_csv(name: str, found: str, returns: bool) -> CaseFaults:
    if returns:
        return whole(name, "lines that end with a carriage return alone, as old systems wrote them",
                     "lines that end with a line feed", "save it again as CSV (UTF-8)")
    return whole(name, found, "lines of cells, parted by the delimiter",
                 "check that it is a CSV file, and that every quotation mark is closed")
